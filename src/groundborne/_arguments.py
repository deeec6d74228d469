"""What every public function and class may be given, checked in one place.

``@checked`` stands on every public function and class. Before the call it compares each argument
with its annotation; while the call runs, xarray may only combine arrays whose labels are equal;
after it, a result that is not a number is refused. So labels that differ are an error and never a
join, an array without dimension names is never laid on whatever dimension happens to be last, and
NaN neither enters nor leaves.
"""

from __future__ import annotations

import builtins
import functools
import inspect
import math
import threading
import types
import typing
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence, Set
from contextlib import contextmanager
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Annotated, Any, TypeVar, overload

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._causes import arrays, differ, explained, listed, numbers_given, wrong
from groundborne._checks import (
    ArgumentError,
    BandError,
    axis,
    first_bad,
    is_lazy,
    known,
    plain,
    watched,
)

Frequency = Annotated[Any, "frequency axis"]
"""Frequencies [Hz]: a number, a list, a tuple, an array, a Series or a DataArray. In the function
it is a DataArray; all but the last become an axis on ``frequency``."""

Words = Annotated[xr.DataArray, "words"]
"""A DataArray of labels or other words; other DataArrays hold numbers."""

C = TypeVar("C", bound=Callable[..., Any])
_MARK = "_groundborne_checked"
_HIGHEST = 1e5  # Hz; no structure of a building or record of it is described above
_HALF_BAND = 1.15  # half a third of an octave, and the rounding of nominal labels


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


@dataclass(frozen=True)
class _Rules:
    """Names of the arguments that are free of a rule; ``return`` is the result."""

    nan: frozenset[str]
    infinite: frozenset[str]
    own_labels: frozenset[str]
    bare: frozenset[str]


_NO_EXCEPTION = _Rules(*(frozenset[str]() for _ in range(4)))


@overload
def checked(thing: C, /) -> C: ...
@overload
def checked(
    *,
    nan: Sequence[str] = (),
    infinite: Sequence[str] = (),
    own_labels: Sequence[str] = (),
    bare: Sequence[str] = (),
) -> Callable[[C], C]: ...
def checked(
    thing: Any = None,
    /,
    *,
    nan: Sequence[str] = (),
    infinite: Sequence[str] = (),
    own_labels: Sequence[str] = (),
    bare: Sequence[str] = (),
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
    """
    rules = _Rules(*(frozenset(names) for names in (nan, infinite, own_labels, bare)))

    def mark(thing: Any) -> Any:
        if inspect.isclass(thing):
            return _class(thing, rules)
        return _function(thing, rules, thing.__qualname__)

    return mark if thing is None else mark(thing)


def is_checked(thing: Any) -> bool:
    """Whether ``@checked`` stands on a function or class."""
    return bool(getattr(thing, "__dict__", {}).get(_MARK, False))


def _class(cls: Any, rules: _Rules) -> Any:
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
            wrapped = _function(member, rules, where)
        else:
            continue
        setattr(cls, name, wrapped)
    setattr(cls, _MARK, True)
    return cls


def _function(function: Callable[..., Any], rules: _Rules, where: str) -> Any:
    if is_checked(function):
        return function
    signature: inspect.Signature | None = None
    checks: dict[str, Callable[[Any], Any]] = {}

    @functools.wraps(function)
    def call(*args: Any, **kwargs: Any) -> Any:
        nonlocal signature, checks
        if signature is None:  # at the first call: an annotation may name what comes later
            found = inspect.signature(function)
            checks = _argument_checks(function, found, rules, where)
            signature = found  # last, so that no other thread calls without checks
        given = signature.bind(*args, **kwargs)
        arguments = given.arguments
        for name, check in checks.items():
            if name in arguments:
                arguments[name] = check(arguments[name])
        _match_labels(where, arguments, rules)
        if isinstance(arguments.get("dim"), str):
            _require_dim(where, arguments)
        try:
            with _EXACT.held(where):
                result = function(*given.args, **given.kwargs)
        except Exception as error:
            said = explained(where, arguments, error)
            if said is None:
                raise
            raise said from error
        return _result(where, result, arguments, rules)

    setattr(call, _MARK, True)
    return call


# -- Arguments against their annotations -----------------------------------------------------------


def _argument_checks(
    function: Callable[..., Any], signature: inspect.Signature, rules: _Rules, where: str
) -> dict[str, Callable[[Any], Any]]:
    checks: dict[str, Callable[[Any], Any]] = {}
    names = _Names(function.__globals__)
    for name, parameter in signature.parameters.items():
        note = parameter.annotation
        if note is inspect.Parameter.empty or name in ("self", "cls"):
            continue
        if isinstance(note, str):
            note = eval(note, {}, names)
        if parameter.kind is inspect.Parameter.VAR_POSITIONAL:
            note = tuple[note, ...]  # type: ignore[valid-type]
        elif parameter.kind is inspect.Parameter.VAR_KEYWORD:
            checks[name] = functools.partial(_check_each, note, where, rules)
            continue
        free = rules
        if isinstance(parameter.default, float) and math.isinf(parameter.default):
            free = replace(rules, infinite=rules.infinite | {name})  # infinite means: no limit
        check = _check(note, where, name, free)
        if check is not None:
            checks[name] = check
    return checks


def _check_each(note: Any, where: str, rules: _Rules, values: dict[str, Any]) -> dict[str, Any]:
    """Keywords that have no names of their own in the signature, each under its name."""
    checks = {key: _check(note, where, key, rules) for key in values}
    return {key: check(values[key]) if check else values[key] for key, check in checks.items()}


class _Names(dict[str, Any]):
    """Names an annotation may use; a type imported for type checking only is known by its name."""

    def __init__(self, scope: Mapping[str, Any]) -> None:
        self._scope = scope

    def __missing__(self, name: str) -> Any:
        if name in self._scope:
            return self._scope[name]
        return getattr(builtins, name, None) or type(name, (_ByName,), {})


class _ByName:
    """Stands for a class that is not imported where an annotation names it."""


def _check(note: Any, where: str, name: str, rules: _Rules) -> Callable[[Any], Any] | None:
    """A function that returns the argument as the function wants it, or refuses it."""
    if note == Frequency:
        return functools.partial(frequency_axis, where, name)
    words = Words in _kinds(note)
    kinds = tuple(xr.DataArray if k == Words else k for k in _kinds(note))
    if any(k is Any or isinstance(k, (TypeVar, str)) for k in kinds):
        return None
    bare = name in rules.bare
    numbers = not words and _of_numbers(kinds)

    def check(value: Any) -> Any:
        if isinstance(value, np.ndarray | xr.DataArray) and value.ndim == 0:
            labelled = isinstance(value, xr.DataArray) and xr.DataArray in kinds
            value = value if labelled else value.item()
        if isinstance(value, list) and any(typing.get_origin(kind) is tuple for kind in kinds):
            value = tuple(value)
        if not _is_any(value, kinds, bare):
            raise ArgumentError(_kind_sentence(where, name, value, kinds))
        _require_filled(where, name, value)
        if not words:
            _require_numbers(where, name, value, rules, numbers)
        return value

    return check


def _kinds(note: Any) -> tuple[Any, ...]:
    union = typing.get_origin(note) in (typing.Union, types.UnionType)
    return typing.get_args(note) if union else (note,)


def _of_numbers(kinds: Iterable[Any]) -> bool:
    """Whether an annotation names numbers, be it inside of a container."""
    return any(k in (float, xr.DataArray) or _of_numbers(typing.get_args(k)) for k in kinds)


def _is_any(value: Any, kinds: tuple[Any, ...], bare: bool) -> bool:
    # An array is bare where names could have been given; where only an array will do, it is meant.
    bare = bare or xr.DataArray not in kinds
    return any(_is(value, kind, bare) for kind in kinds)


def _is(value: Any, kind: Any, bare: bool) -> bool:
    """Whether a value is of the kind of one annotation, elements of containers included."""
    if kind is Any or isinstance(kind, TypeVar):
        return True
    if kind is None or kind is type(None):
        return value is None
    if kind is bool:
        return isinstance(value, (bool, np.bool_))
    if kind in _NUMBERS:
        return isinstance(value, _NUMBERS[kind]) and not isinstance(value, (bool, np.bool_))
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Literal:
        return isinstance(value, str) or value in inner  # which words are known is said by `known`
    if kind is np.ndarray or origin is np.ndarray:
        return bare and isinstance(value, np.ndarray)
    if isinstance(origin, type) and origin is not type:
        return _is_filled(value, origin, inner, bare)
    if not isinstance(kind, type):
        return True
    if issubclass(kind, _ByName):
        return any(c.__name__ == kind.__name__ for c in type(value).__mro__)
    if getattr(kind, "_is_protocol", False):  # `isinstance` would evaluate every property
        return {*dir(type(value)), *getattr(value, "__dict__", ())} >= _members(kind)
    return isinstance(value, kind)


def _is_filled(value: Any, origin: Any, inner: tuple[Any, ...], bare: bool) -> bool:
    if origin is Sequence and isinstance(value, np.ndarray | pd.Series | pd.Index):
        value = value.tolist() if value.ndim == 1 else value
    if isinstance(value, str) or not isinstance(value, origin):
        return False  # a word is not a list of letters

    def fits(element: Any, note: Any) -> bool:
        return _is_any(element, _kinds(note), bare)

    if isinstance(value, Mapping) and len(inner) == 2:
        return all(fits(k, inner[0]) and fits(v, inner[1]) for k, v in value.items())
    if origin is tuple and inner and inner[-1] is not Ellipsis:
        return len(value) == len(inner) and all(
            fits(v, k) for v, k in zip(value, inner, strict=True)
        )
    if isinstance(value, (Sequence, Set)) and inner:
        return all(fits(element, inner[0]) for element in value)
    return True


_NUMBERS: dict[Any, tuple[type, ...]] = {
    int: (int, np.integer),
    float: (int, np.integer, float, np.floating),
    complex: (int, np.integer, float, np.floating, complex, np.complexfloating),
}
_WORDS: dict[Any, str] = {
    complex: "a number",
    float: "a number",
    int: "a whole number",
    bool: "True or False",
    str: "a word",
    type(None): "None",
}


def _kind_sentence(where: str, name: str, value: Any, kinds: tuple[Any, ...]) -> str:
    allowed = [k for k in kinds if np.ndarray not in (k, typing.get_origin(k))] or kinds
    given, remedy = _shown(value), ""
    if isinstance(value, (np.ndarray, list, tuple, pd.Series, pd.Index)) and xr.DataArray in kinds:
        shape = " × ".join(map(str, np.shape(value)))
        given = f"a bare {type(value).__name__} of {shape} without named dimensions"
        remedy = "; name its dimensions: xr.DataArray(values, dims=..., coords=...)"
    return f"{where}: {name} is {given}; {_wanted(allowed)} is needed{remedy}"


def _shown(value: Any) -> str:
    """A value as it was written, where that is short; else its kind."""
    if isinstance(value, int) and abs(value) > 10**300:
        return plain(value)
    words = repr(value.item() if isinstance(value, np.generic) else value) if _plain(value) else ""
    return words if 0 < len(words) <= 60 else _with_article(type(value).__name__)


def _plain(value: Any) -> bool:
    if isinstance(value, (tuple, list)):
        return all(map(_plain, value))
    return isinstance(value, (type(None), str, int, float, np.generic))


def _wanted(kinds: Iterable[Any]) -> str:
    return " or ".join(dict.fromkeys(map(_kind_words, kinds)))


def _kind_words(kind: Any) -> str:
    """What one annotation allows, in words; of a container also what it holds."""
    if kind is Ellipsis or kind is None:
        return "None"
    if kind in _WORDS:
        return _WORDS[kind]
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Literal:
        return " or ".join(map(repr, inner))
    name = str(getattr(origin or kind, "__name__", kind))
    name = _with_article(name.lower() if inner else name)
    if getattr(kind, "_is_protocol", False):
        return f"{name} (it has {', '.join(sorted(_members(kind)))})"
    held = [n for n in inner if n is not Ellipsis]
    if not held or held == [Any]:
        return name
    if issubclass(origin, Mapping):
        return f"{name} from {_wanted(held[:1])} to {_wanted(_kinds(held[-1]))}"
    if origin is tuple and inner[-1] is not Ellipsis:
        return f"{name} of {' and '.join(_wanted(_kinds(n)) for n in held)}"
    return f"{name} of which each is {_wanted(_kinds(held[0]))}"


def _with_article(name: str) -> str:
    return f"{'an' if name[0] in 'AEIOUaeio' else 'a'} {name}"


def _members(protocol: Any) -> set[str]:
    """Names an object must have to stand for a protocol."""
    parts = [c for c in protocol.__mro__ if getattr(c, "_is_protocol", False)]
    names = {n for c in parts for n in (*vars(c), *vars(c).get("__annotations__", ()))}
    return {n for n in names if not n.startswith("_")}


def frequency_axis(where: str, name: str, value: Any) -> xr.DataArray:
    """A frequency axis of whatever stands for one."""
    if not isinstance(value, xr.DataArray):
        if isinstance(value, pd.Series) and value.index.dtype.kind == "f":
            _require_own_labels(where, name, value.to_xarray(), value.index.to_numpy())
        try:
            values = np.atleast_1d(np.asarray(value))
        except (ValueError, TypeError):
            values = np.empty(0)
        if values.ndim != 1 or values.dtype.kind not in "iuf" or values.size == 0:
            raise BandError(
                f"{where}: {name} is {_shown(value)}; frequencies are wanted, as a number, a list "
                "or an array [Hz]"
            )
        value = axis(values.astype(float))
    found: xr.DataArray = value
    _require_filled(where, name, value)
    _require_numbers(where, name, value, _NO_EXCEPTION, True)
    if not is_lazy(value):
        out = (np.asarray(value) <= 0) | (np.asarray(value) > _HIGHEST)
        if out.any():
            raise BandError(
                f"{where}: {name} is {first_bad(value, out)}; a frequency is above 0 Hz and at "
                f"most {_HIGHEST:g} Hz"
            )
    if value.dims == ("frequency",) and "frequency" in value.coords:
        labels = value["frequency"].values
        if labels.dtype.kind not in "iuf":
            raise BandError(
                f"{where}: {name} has the labels {labels[:3]!r}; numbers [Hz] are wanted"
            )
        _require_own_labels(where, name, value, labels)
    return found


def _require_filled(where: str, name: str, value: Any) -> None:
    """Refuse an array without values: no sum, mean or largest of it means anything."""
    if isinstance(value, xr.DataArray) and 0 in value.shape:
        empty = next(dim for dim, size in value.sizes.items() if size == 0)
        raise wrong(empty)(f"{where}: {name} holds nothing along {empty!r}")


def _require_own_labels(where: str, name: str, value: xr.DataArray, labels: Any) -> None:
    """Refuse the values of a spectrum where its axis is meant."""
    odd = (value.values > _HALF_BAND * labels) | (value.values * _HALF_BAND < labels)
    if odd.any():
        raise BandError(
            f"{where}: {name} is {first_bad(value, odd)}; its values are not the frequencies "
            "of its labels. Of a spectrum, give its axis: spectrum['frequency']"
        )


# -- Values ----------------------------------------------------------------------------------------

_HOLDS_NUMBERS = (xr.DataArray, np.ndarray, float, complex, np.floating, np.complexfloating)


def _require_numbers(where: str, name: str, value: Any, rules: _Rules, numbers: bool) -> None:
    """Refuse NaN, infinite values, and words where numbers are meant."""
    if isinstance(value, _HOLDS_NUMBERS):
        dtype = np.dtype(getattr(value, "dtype", complex))
        if dtype.kind not in "biufcm":
            if not numbers:
                return
            raise ArgumentError(f"{where}: {name} holds {dtype}; real numbers are needed")
        bad = _no_numbers(value, nan=name in rules.nan, infinite=name in rules.infinite)
        if bad is not None:
            raise ArgumentError(f"{where}: {name} is {first_bad(value, bad)}; it must be finite")
    elif isinstance(value, xr.Dataset):
        for part, variable in value.data_vars.items():
            bad = _no_numbers(variable, nan=name in rules.nan, infinite=True)
            if bad is not None:
                raise ArgumentError(
                    f"{where}: {part!r} of {name} is {first_bad(variable, bad)}; it must be a "
                    "number"
                )
    elif isinstance(value, (tuple, list)):
        for element in value:
            _require_numbers(where, name, element, rules, numbers)
    elif isinstance(value, Mapping) and not isinstance(value, xr.Dataset):
        for element in value.values():
            _require_numbers(where, name, element, rules, numbers)


def _no_numbers(value: Any, *, nan: bool, infinite: bool) -> np.ndarray[Any, Any] | None:
    """Where a value is not a number; None where it is one throughout."""
    if nan and infinite:
        return None
    if isinstance(value, float) and math.isfinite(value):
        return None
    data = value.data if isinstance(value, xr.DataArray) else np.asarray(value)
    if not isinstance(data, np.ndarray):
        if is_lazy(value):  # chunked values are checked where they are computed
            return None
        data = np.asarray(data)
    if data.dtype.kind not in "fc" or np.isfinite(data).all():
        return None
    bad = np.zeros(data.shape, bool) if nan else np.isnan(data)
    if not infinite:
        bad |= np.isinf(data)
    return bad if bad.any() else None


def _result(where: str, result: Any, arguments: Mapping[str, Any], rules: _Rules) -> Any:
    """Refuse a result that is not a number; of a chunked one, when it is computed."""
    nan, infinite = "return" in rules.nan, "return" in rules.infinite
    for part in result if isinstance(result, tuple) else (result,):
        if not isinstance(part, _HOLDS_NUMBERS):
            continue
        bad = _no_numbers(part, nan=nan, infinite=infinite)
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


def _match_labels(where: str, arguments: dict[str, Any], rules: _Rules) -> None:
    """Bring arguments into one order of labels; refuse labels that differ."""
    known = _own_labels(arguments.get("self"))
    lengths: dict[Hashable, tuple[str, int]] = {}
    for name, value in arguments.items():
        if not isinstance(value, (xr.DataArray, xr.Dataset)) or name in rules.own_labels:
            continue
        indexes = value.indexes
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
            if isinstance(value, xr.DataArray) and not index.is_unique:
                twice = listed(index[index.duplicated()][:1])
                raise wrong(dim)(f"{where}: {name} holds {dim} {twice} twice; keep one")
            if dim not in known:
                known[dim] = (name, index)
                continue
            first, wanted = known[dim]
            if index is wanted or index.equals(wanted):
                continue
            if len(index) != len(wanted) or set(index) != set(wanted):
                raise differ(where, dim, {first: wanted, name: index})
            value = arguments[name] = value.sel({dim: wanted})
    if any(where == cls.__qualname__ for cls in type(arguments.get("self")).__mro__):
        _match_parts(where, arguments, rules)


def _require_dim(where: str, arguments: Mapping[str, Any]) -> None:
    """Refuse the name of a dimension that no array among the arguments has."""
    arrays = [v for v in arguments.values() if isinstance(v, (xr.DataArray, xr.Dataset))]
    dims = dict.fromkeys(str(dim) for array in arrays for dim in array.dims)
    if arrays:
        known(where, "dim", arguments["dim"], dims, ArgumentError)


def _match_parts(where: str, arguments: Mapping[str, Any], rules: _Rules) -> None:
    """Refuse to put parts together whose own arrays have other labels."""
    known: dict[Hashable, tuple[str, pd.Index]] = {}
    for name, value in arguments.items():
        if name == "self" or name in rules.own_labels:
            continue
        for place, array in arrays(name, value):
            for dim, index in array.indexes.items():
                first, wanted = known.setdefault(dim, (place, index))
                if dim == "frequency" or index is wanted or set(index) == set(wanted):
                    continue
                raise differ(where, dim, {first: wanted, place: index})


def _own_labels(thing: Any) -> dict[Hashable, tuple[str, pd.Index]]:
    """Labels of the arrays an object holds itself, frequencies aside: those are looked up."""
    found: dict[Hashable, tuple[str, pd.Index]] = {}
    if is_dataclass(thing):
        for field in fields(thing):
            value = getattr(thing, field.name, None)
            if isinstance(value, xr.DataArray):
                for dim, index in value.indexes.items():
                    if dim != "frequency":
                        found.setdefault(dim, (f"self.{field.name}", index))
    return found
