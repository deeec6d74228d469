"""What every public function and class may be given, checked in one place.

``@checked`` stands on every public function and class. Before the call it compares each argument
with its annotation; while the call runs, xarray may only combine arrays whose labels are equal;
after it, a result that is not a number is refused. So labels that differ are an error and never a
join, an array without dimension names is never laid on whatever dimension happens to be last, and
NaN neither enters nor leaves.
"""

from __future__ import annotations

import functools
import inspect
import threading
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar, overload

import pandas as pd
import xarray as xr

from groundborne._causes import arrays, differ, explained, listed, numbers_given, wrong
from groundborne._checks import (
    ArgumentError,
    BandError,
    first_bad,
    known,
    watched,
)
from groundborne._kinds import (
    HOLDS_NUMBERS,
    Frequency,
    Rules,
    Words,
    argument_checks,
    frequency_axis,
    no_numbers,
)

__all__ = ["Frequency", "Words", "checked", "frequency_axis", "is_checked"]

C = TypeVar("C", bound=Callable[..., Any])
_MARK = "_groundborne_checked"


class _ExactLabels:
    """Only equal labels are combined while any call of ours runs; a join is xarray's default.

    The setting is process-wide, so calls are counted: the first sets it, the last restores it.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._depth = 0
        self._own = threading.local()
        self._setting: Any = None

    @contextmanager
    def held(self, where: str) -> Iterator[None]:
        with self._lock:
            if self._depth == 0:
                self._setting = xr.set_options(arithmetic_join="exact")
            self._depth += 1
        self._own.depth = self.depth + 1
        try:
            yield
            if xr.get_options()["arithmetic_join"] != "exact":
                raise ArgumentError(
                    f"{where}: xarray's option 'arithmetic_join' was changed elsewhere while this "
                    "ran, so that labels may have been joined, and no result is given; set options "
                    "before other threads start"
                )
        finally:
            self._own.depth = self.depth - 1
            with self._lock:
                self._depth -= 1
                if self._depth == 0:
                    self._setting.__exit__(None, None, None)

    @property
    def depth(self) -> int:
        """How many calls of ours this thread is inside of."""
        return int(getattr(self._own, "depth", 0))


_EXACT = _ExactLabels()


@overload
def checked(thing: C, /) -> C: ...
@overload
def checked(
    *,
    nan: Sequence[str] = (),
    infinite: Sequence[str] = (),
    own_labels: Sequence[str] = (),
    bare: Sequence[str] = (),
    renamed: Mapping[str, str] | None = None,
) -> Callable[[C], C]: ...
def checked(
    thing: Any = None,
    /,
    *,
    nan: Sequence[str] = (),
    infinite: Sequence[str] = (),
    own_labels: Sequence[str] = (),
    bare: Sequence[str] = (),
    renamed: Mapping[str, str] | None = None,
) -> Any:
    """Check the arguments and the result of a public function, or of a class and its methods.

    Parameters
    ----------
    nan, infinite : sequence of str
        Arguments that may hold NaN (which then means: not given) or infinite values; ``return``
        stands for the result.
    own_labels : sequence of str
        Arguments whose labels may differ from those of the others (a table that is looked up).
    bare : sequence of str
        Arguments that may be arrays without dimension names.
    renamed : mapping of str to str, optional
        What arguments are called now, by their old names: for the sentence that says so.
    """
    free = [frozenset(names) for names in (nan, infinite, own_labels, bare)]
    rules = Rules(free[0], free[1], free[2], free[3], renamed or {})

    def mark(thing: Any) -> Any:
        if inspect.isclass(thing):
            return _class(thing, rules)
        return _function(thing, rules, thing.__qualname__)

    return mark if thing is None else mark(thing)


def is_checked(thing: Any) -> bool:
    """Whether ``@checked`` stands on a function or class."""
    return bool(getattr(thing, "__dict__", {}).get(_MARK, False))


def _class(cls: Any, rules: Rules) -> Any:
    for name, member in list(vars(cls).items()):
        if name.startswith("_") and name not in ("__init__", "__matmul__"):
            continue
        where = cls.__qualname__ if name == "__init__" else f"{cls.__qualname__}.{name}"
        if isinstance(member, (classmethod, staticmethod)):
            wrapped: Any = type(member)(_function(member.__func__, rules, where))
        elif isinstance(member, property) and member.fget is not None:
            wrapped = member.getter(_function(member.fget, rules, where))
        elif isinstance(member, functools.cached_property):
            wrapped = functools.cached_property(_function(member.func, rules, where))
            wrapped.__set_name__(cls, name)
        elif inspect.isfunction(member):
            wrapped = _function(member, rules, where, builds=cls if name == "__init__" else None)
        else:
            continue
        setattr(cls, name, wrapped)
    setattr(cls, _MARK, True)
    return cls


def _function(
    function: Callable[..., Any], rules: Rules, where: str, *, builds: type | None = None
) -> Any:
    if is_checked(function):
        return function
    signature: inspect.Signature | None = None
    checks: dict[str, Callable[[Any], Any]] = {}
    alone = False  # a property: there is nothing to compare

    def compared(args: tuple[Any, ...], kwargs: dict[str, Any]) -> inspect.BoundArguments:
        nonlocal signature, checks, alone
        if signature is None:  # at the first call: an annotation may name what comes later
            found = inspect.signature(function)
            checks = argument_checks(function, found, rules, where, builds)
            alone = list(found.parameters) == ["self"]
            signature = found  # last, so that no other thread calls without checks
        for old, now in rules.renamed.items():
            if old in kwargs and now in signature.parameters:
                raise ArgumentError(f"{where}: {old} is called {now} now")
        given = signature.bind(*args, **kwargs)
        arguments = given.arguments
        for name, check in checks.items():
            if name in arguments:
                arguments[name] = check(arguments[name])
        _match_labels(where, arguments, rules)
        if builds:
            _match_parts(where, arguments, rules)
        if isinstance(arguments.get("dim"), str):
            _require_dim(where, arguments)
        return given

    @functools.wraps(function)
    def call(*args: Any, **kwargs: Any) -> Any:
        if alone and len(args) == 1 and not kwargs:
            arguments = {"self": args[0]}
        else:
            given = compared(args, kwargs)
            args, kwargs, arguments = given.args, given.kwargs, given.arguments
        try:
            if _EXACT.depth:  # the outermost call holds the labels for all inside
                result = function(*args, **kwargs)
            else:
                with _EXACT.held(where):
                    result = function(*args, **kwargs)
        except Exception as error:
            said = explained(where, arguments, error)
            if said is None:
                raise
            raise said from error
        return _result(where, result, arguments, rules)

    setattr(call, _MARK, True)
    return call


def _result(where: str, result: Any, arguments: Mapping[str, Any], rules: Rules) -> Any:
    """Refuse a result that is not a number; of a chunked one, when it is computed."""
    nan, infinite = "return" in rules.nan, "return" in rules.infinite
    for part in result if isinstance(result, tuple) else (result,):
        if not isinstance(part, HOLDS_NUMBERS):
            continue
        bad = no_numbers(part, nan=nan, infinite=infinite)
        if bad is not None:
            raise ArgumentError(
                f"{where}: the result is {first_bad(part, bad)}; an argument lies outside the "
                f"range for which there is an answer: {numbers_given(arguments)}"
            )
    # Only what is handed out is watched: inside, a gap stays one on the way to it.
    if not nan and _EXACT.depth == 0 and isinstance(result, xr.DataArray):
        return watched(where, result)
    return result


# -- Labels ----------------------------------------------------------------------------------------


def _match_labels(where: str, arguments: dict[str, Any], rules: Rules) -> None:
    """Bring arguments into one order of labels; refuse labels that differ."""
    held = {n: v for n, v in arguments.items() if isinstance(v, (xr.DataArray, xr.Dataset))}
    if not held:
        return
    known = _own_labels(arguments.get("self"))
    lengths: dict[Hashable, tuple[str, int]] = {}
    for name, value in held.items():
        indexes = _indexes(value)
        _require_unique(where, name, value, indexes)
        if name in rules.own_labels:
            continue
        for dim, length in value.sizes.items():
            index = indexes.get(dim)
            if index is None or dim not in known:
                first, other = lengths.setdefault(dim, (name, length))
                if length != other:
                    raise wrong(dim)(
                        f"{where}: {first} has {other} and {name} {length} along {dim!r}; both "
                        "must be of the same"
                    )
            if index is None:
                continue
            if dim == "frequency" and index.dtype.kind not in "iuf":
                raise BandError(f"{where}: the bands of {name} are {listed(index)}; numbers [Hz]")
            if dim not in known:
                known[dim] = (name, index)
                continue
            first, wanted = known[dim]
            if index is wanted or index.equals(wanted):
                continue
            if len(index) != len(wanted) or set(index) != set(wanted):
                raise differ(where, dim, {first: wanted, name: index})
            value = arguments[name] = value.sel({dim: wanted})


def _indexes(value: xr.DataArray | xr.Dataset) -> Mapping[Hashable, pd.Index]:
    """Labels of the dims that have any."""
    if isinstance(value, xr.Dataset):
        return value.indexes
    coords = value.coords
    return {dim: value.get_index(dim) for dim in value.dims if dim in coords}


def _require_unique(
    where: str, name: str, value: xr.DataArray | xr.Dataset, indexes: Mapping[Hashable, pd.Index]
) -> None:
    """Refuse an array that holds a label twice."""
    if isinstance(value, xr.Dataset):
        return
    for dim, index in indexes.items():
        if not index.is_unique:
            twice = listed(index[index.duplicated()][:1])
            raise wrong(dim)(f"{where}: {name} holds {dim} {twice} twice; keep one")


def _require_dim(where: str, arguments: Mapping[str, Any]) -> None:
    """Refuse the name of a dimension that no array among the arguments has."""
    arrays = [v for v in arguments.values() if isinstance(v, (xr.DataArray, xr.Dataset))]
    dims = dict.fromkeys(str(dim) for array in arrays for dim in array.dims)
    if arrays:
        known(where, "dim", arguments["dim"], dims, ArgumentError)


def _match_parts(where: str, arguments: Mapping[str, Any], rules: Rules) -> None:
    """Refuse to put parts together whose own arrays have other labels."""
    known: dict[Hashable, tuple[str, pd.Index]] = {}
    for name, value in arguments.items():
        if name == "self" or name in rules.own_labels:
            continue
        for place, array in arrays(name, value):
            for dim, index in array.indexes.items():
                first, wanted = known.setdefault(dim, (place, index))
                if dim == "frequency" or index is wanted or index.equals(wanted):
                    continue
                if set(index) == set(wanted):
                    continue
                raise differ(where, dim, {first: wanted, place: index})


def _own_labels(thing: Any) -> dict[Hashable, tuple[str, pd.Index]]:
    """Labels of the arrays an object holds itself, frequencies aside: those are looked up."""
    found: dict[Hashable, tuple[str, pd.Index]] = {}
    if is_dataclass(thing):
        for field in fields(thing):
            value = getattr(thing, field.name, None)
            if isinstance(value, xr.DataArray):
                for dim, index in _indexes(value).items():
                    if dim != "frequency":
                        found.setdefault(dim, (f"self.{field.name}", index))
    return found
