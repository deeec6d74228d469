"""Which source of error decides, by variance: Sobol' indices of factors that may be vectors."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne.citation import Citation

SALTELLI = Citation(
    key="saltelli2010",
    author="Saltelli, Annoni, Azzini, Campolongo, Ratto and Tarantola",
    year="2010",
    title="Variance based sensitivity analysis of model output",
    locator="estimators of first-order and total indices, as scipy.stats.sobol_indices has them",
    mark="from memory",
    status="transcribed",
)

Errors = Mapping[str, xr.DataArray]
"""Samples of every factor by its name, each with the dim ``sample``."""

_BLOCKS = 2  # the scatter of one tells nothing


@checked
def sobol_indices(
    model: Callable[[Errors], xr.DataArray], blocks: Iterable[tuple[Errors, Errors]]
) -> xr.Dataset:
    """Share of the variance of a result that each factor makes, alone and with all others.

    Parameters
    ----------
    model : callable
        From samples of all factors to results, with the dim ``sample``.
    blocks : iterable of pairs
        Twice the samples of all factors, such as :meth:`Draws.block` of two streams gives them
        by the method ``random``; a power of two samples each. Low-discrepancy points of two streams
        follow one sequence, so that pairs of them fill no square, and do not serve. A factor may
        have more dims, as an error has bands and rooms: it is exchanged as a whole.

    Returns
    -------
    xarray.Dataset
        ``first_order`` and ``total_order`` on ``factor`` and the dims of the results: means over
        the blocks, with their standard errors ``first_order_error`` and ``total_order_error``;
        0 where the result does not vary at all. ``variance`` of the results.

    Raises
    ------
    ValueError
        Fewer than two blocks, factors of other names, samples that are no power of two.

    Notes
    -----
    Pick and freeze: results of the first samples, of the second, and of the first with one factor
    taken from the second. Estimates scatter about the index, also below 0 and above 1; they are
    not cut off.

    References
    ----------
    Saltelli et al. 2010 [from memory].

    Examples
    --------
    >>> from groundborne.uncertainty import Draws, Spread
    >>> rooms = xr.Dataset(coords={"room": ["A"], "part_of_room": ("room", [""]),
    ...                            "floor_of_room": ("room", ["1"])})
    >>> one = xr.DataArray([50.0], coords={"frequency": [50.0]}, dims="frequency")
    >>> draws = Draws(spreads=(Spread(name="a"), Spread(name="b")), frequency=one, rooms=rooms,
    ...               seed=1, method="random")
    >>> pairs = [(draws.block(n), draws.block(n, stream=1)) for n in range(16)]
    >>> found = sobol_indices(lambda e: (3 * e["a"] + 4 * e["b"]).sum("frequency"), pairs)
    >>> found["first_order"].round(2).values.tolist()
    [0.37, 0.64]
    """
    rows: dict[str, list[np.ndarray[Any, Any]]] = {"first_order": [], "total_order": []}
    names: list[str] = []
    variance: xr.DataArray | None = None
    like: xr.DataArray | None = None
    for first, second in blocks:
        names = names or list(first)
        if list(first) != names or list(second) != names:
            raise ValueError(
                f"sobol_indices: the samples hold {', '.join(map(repr, [*first, *second]))}; "
                f"both of a pair hold {', '.join(map(repr, names))}"
            )
        mixed = ({**first, name: second[name]} for name in names)
        a, b, *both = (_samples_last(model(e)) for e in (first, second, *mixed))
        like = a.isel(sample=0, drop=True)
        size = a.sizes["sample"]
        if size & (size - 1):
            raise ValueError(
                f"sobol_indices: a block has {size} samples; it must be a power of two"
            )
        found = _estimated(a, b, both)
        here = xr.concat([a, b], dim="sample", join="exact").var("sample")
        variance = here if variance is None else variance + here
        for row, values in zip(rows.values(), found, strict=True):
            row.append(values)
    count = len(rows["first_order"])
    if like is None or count < _BLOCKS:
        raise ValueError(
            f"sobol_indices: {count} blocks of samples tell no error of an index; at least "
            f"{_BLOCKS} do"
        )
    assert variance is not None
    data = {"variance": variance / count}
    for name, row in rows.items():
        each = np.stack(row)
        for label, values in (
            (name, each.mean(axis=0)),
            (f"{name}_error", each.std(axis=0, ddof=1) / np.sqrt(count)),
        ):
            shaped = values.reshape(len(names), *like.shape)
            data[label] = xr.DataArray(
                shaped, dims=("factor", *like.dims), coords={**like.coords, "factor": names}
            )
    return xr.Dataset(data)


def _samples_last(result: xr.DataArray) -> xr.DataArray:
    return result.transpose(..., "sample").astype(float)


def _estimated(
    a: xr.DataArray, b: xr.DataArray, mixed: list[xr.DataArray]
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """First-order and total indices of one block: factor, results."""
    size = a.sizes["sample"]
    flat = [np.asarray(x.values).reshape(-1, size) for x in (a, b, *mixed)]
    varies = np.ptp(np.concatenate(flat[:2], axis=1), axis=1) > 0
    found = np.zeros((2, len(mixed), len(varies)))
    if varies.any():
        from scipy import stats  # seldom needed, and slow to import

        # The first result once more, since scipy cannot do with a single one.
        kept = [np.concatenate([x[varies], x[varies][:1]]) for x in flat]
        indices = stats.sobol_indices(
            func={"f_A": kept[0], "f_B": kept[1], "f_AB": np.stack(kept[2:])}, n=size
        )
        for at, index in enumerate((indices.first_order, indices.total_order)):
            found[at][:, varies] = np.reshape(index, (-1, len(mixed)))[:-1].T
    return found[0], found[1]
