"""Work given to the workers of a dask client."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from typing import Any

from groundborne._arguments import checked

_WAITING = 2  # tasks that wait for each worker, whose results are in memory at most


@checked
def mapper_of(client: Any) -> Callable[[Callable[[Any], Any], Iterable[Any]], Iterator[Any]]:
    """A mapper for a ``dask.distributed`` client, on this machine or elsewhere.

    Parameters
    ----------
    client : distributed.Client
        Its workers have the same versions of this library.

    Returns
    -------
    callable
        As ``map``, of one iterable: results come as they are done, in any order. The function goes
        to every worker once, and only a few results for each worker are held at a time. An error
        in a worker is raised here.

    Examples
    --------
    A cluster of two processes on this machine::

        from dask.distributed import Client
        with Client(n_workers=2, threads_per_worker=1) as client:
            sure = how_sure(study, result, samples=1_000_000, mapper=mapper_of(client))

    >>> from importlib.util import find_spec
    >>> callable(mapper_of(None)) or find_spec("distributed") is None
    True
    """

    def mapper(function: Callable[[Any], Any], each: Iterable[Any]) -> Iterator[Any]:
        from distributed import as_completed

        held = client.scatter(function, broadcast=True, hash=False)
        left = iter(each)
        most = _WAITING * max(1, len(client.scheduler_info(n_workers=-1)["workers"]))

        def given(one: Any) -> Any:
            return client.submit(_called, held, one, pure=False)

        waiting = as_completed([given(one) for one in islice(left, most)])
        for future in waiting:
            yield future.result()
            future.release()
            for one in islice(left, 1):
                waiting.add(given(one))

    return mapper


def _called(function: Callable[[Any], Any], one: Any) -> Any:
    return function(one)
