"""What an annotation allows: a value of its kind, numbers that are numbers, a frequency axis."""

from __future__ import annotations

import builtins
import functools
import inspect
import math
import sys
import types
import typing
from collections import ChainMap
from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, TypeVar

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._causes import wrong
from groundborne._checks import ArgumentError, BandError, axis, first_bad, is_lazy, plain

Frequency = Annotated[Any, "frequency axis"]
"""Frequencies [Hz]: a number, a list, a tuple, an array, a Series or a DataArray. In the function
it is a DataArray; all but the last become an axis on ``frequency``."""

Words = Annotated[xr.DataArray, "words"]
"""A DataArray of labels or other words; other DataArrays hold numbers."""

_HIGHEST = 1e5  # Hz; no structure of a building or record of it is described above
_HALF_BAND = 1.15  # half a third of an octave, and the rounding of nominal labels


@dataclass(frozen=True)
class Rules:
    """Arguments that are free of a rule (``return`` is the result), and those with new names."""

    nan: frozenset[str]
    infinite: frozenset[str]
    own_labels: frozenset[str]
    bare: frozenset[str]
    renamed: Mapping[str, str] = field(default_factory=dict)


_NONE = frozenset[str]()
NO_EXCEPTION = Rules(_NONE, _NONE, _NONE, _NONE)


# -- Arguments against their annotations -----------------------------------------------------------


def argument_checks(
    function: Callable[..., Any],
    signature: inspect.Signature,
    rules: Rules,
    where: str,
    builds: type | None = None,
) -> dict[str, Callable[[Any], Any]]:
    checks: dict[str, Callable[[Any], Any]] = {}
    # Of a class also those of the classes it stands on, whose fields it inherits.
    scopes = [vars(sys.modules[c.__module__]) for c in builds.__mro__] if builds else []
    names = _Names(ChainMap(*scopes) if scopes else function.__globals__)
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


def _check_each(note: Any, where: str, rules: Rules, values: dict[str, Any]) -> dict[str, Any]:
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


def _check(note: Any, where: str, name: str, rules: Rules) -> Callable[[Any], Any] | None:
    """A function that returns the argument as the function wants it, or refuses it."""
    if note == Frequency:
        return functools.partial(frequency_axis, where, name)
    words = Words in _kinds(note)
    kinds = tuple(xr.DataArray if k == Words else k for k in _kinds(note))
    if any(k is Any or isinstance(k, (TypeVar, str)) for k in kinds):
        return None
    bare = name in rules.bare
    numbers = not words and _of_numbers(kinds)
    classes = {k for k in kinds if isinstance(k, type) and k is not np.ndarray}

    def check(value: Any) -> Any:
        if isinstance(value, np.ndarray | xr.DataArray) and value.ndim == 0:
            labelled = isinstance(value, xr.DataArray) and xr.DataArray in kinds
            value = value if labelled else value.item()
        if numbers and type(value) is int and abs(value) >= 2**63:
            value = float(value) if abs(value) < 10**300 else value  # as a double, not an object
        if isinstance(value, list) and any(typing.get_origin(kind) is tuple for kind in kinds):
            value = tuple(value)
        if type(value) not in classes and not _is_any(value, kinds, bare):
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
    if origin is Callable:
        return callable(value)
    if isinstance(value, str) or not isinstance(value, origin):
        return False  # a word is not a list of letters

    def fits(element: Any, note: Any) -> bool:
        return _is_any(element, _kinds(note), bare)

    if isinstance(value, Mapping) and len(inner) == 1:
        return all(fits(key, inner[0]) for key in value)
    if isinstance(value, Mapping) and len(inner) == 2:
        return all(fits(k, inner[0]) and fits(v, inner[1]) for k, v in value.items())
    if origin is tuple and inner and inner[-1] is not Ellipsis:
        return len(value) == len(inner) and all(
            fits(v, k) for v, k in zip(value, inner, strict=True)
        )
    if isinstance(value, pd.Series | pd.Index | np.ndarray | xr.DataArray):
        value = list(value) if value.ndim else [None]  # a single number is not a list of one
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
        try:
            shape = " × ".join(map(str, np.shape(value)))
        except ValueError:  # lists of unlike length
            shape = str(len(value))
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
    kinds = list(kinds)
    shown = [k for k in kinds if np.ndarray not in (k, typing.get_origin(k))] or kinds
    return " or ".join(dict.fromkeys(map(_kind_words, shown)))


def _kind_words(kind: Any) -> str:
    """What one annotation allows, in words; of a container also what it holds."""
    if kind is Ellipsis or kind is None:
        return "None"
    if kind in _WORDS:
        return _WORDS[kind]
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Literal:
        return " or ".join(map(repr, inner))
    if origin is Callable:
        return "a function"
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
    _require_numbers(where, name, value, NO_EXCEPTION, True)
    if not is_lazy(value):
        data = held_values(value)
        if data.dtype.kind not in "iuf":
            raise BandError(
                f"{where}: {name} holds words or mixed things ({data.dtype}); frequencies are "
                "numbers [Hz]"
            )
        out = (data <= 0) | (data > _HIGHEST)
        if out.any():
            raise BandError(
                f"{where}: {name} is {first_bad(value, out)}; a frequency is above 0 Hz and at "
                f"most {_HIGHEST:g} Hz"
            )
    if value.dims == ("frequency",) and "frequency" in value.coords:
        labels = value.get_index("frequency").to_numpy()
        if labels.dtype.kind not in "iuf":
            raise BandError(
                f"{where}: {name} has the labels {labels[:3]!r}; numbers [Hz] are wanted"
            )
        if not isinstance(value.variable, xr.IndexVariable):  # those are their own labels
            _require_own_labels(where, name, value, labels)
    return found


def held_values(array: xr.DataArray) -> Any:
    """What an array holds; of a coordinate that is an axis, without a copy through its index."""
    if isinstance(array.variable, xr.IndexVariable):
        return array.get_index(array.dims[0]).to_numpy()
    return array.data


def _require_filled(where: str, name: str, value: Any) -> None:
    """Refuse an array without values: no sum, mean or largest of it means anything."""
    if isinstance(value, xr.DataArray) and 0 in value.shape:
        empty = next(dim for dim, size in value.sizes.items() if size == 0)
        raise wrong(empty)(f"{where}: {name} holds nothing along {empty!r}")


def _require_own_labels(where: str, name: str, value: xr.DataArray, labels: Any) -> None:
    """Refuse the values of a spectrum where its axis is meant."""
    own = value.values
    odd = (own > _HALF_BAND * labels) | (own * _HALF_BAND < labels)
    if odd.any():
        raise BandError(
            f"{where}: {name} is {first_bad(value, odd)}; its values are not the frequencies "
            "of its labels. Of a spectrum, give its axis: spectrum['frequency']"
        )


# -- Values ----------------------------------------------------------------------------------------

HOLDS_NUMBERS = (xr.DataArray, np.ndarray, float, complex, np.floating, np.complexfloating)


def _require_numbers(where: str, name: str, value: Any, rules: Rules, numbers: bool) -> None:
    """Refuse NaN, infinite values, and words where numbers are meant."""
    if isinstance(value, HOLDS_NUMBERS):
        dtype = np.dtype(getattr(value, "dtype", complex))
        if dtype.kind not in "biufcm":
            if not numbers:
                return
            raise ArgumentError(f"{where}: {name} holds {dtype}; real numbers are needed")
        bad = no_numbers(value, nan=name in rules.nan, infinite=name in rules.infinite)
        if bad is not None:
            raise ArgumentError(f"{where}: {name} is {first_bad(value, bad)}; it must be finite")
    elif isinstance(value, xr.Dataset):
        for part, variable in value.data_vars.items():
            bad = no_numbers(variable, nan=name in rules.nan, infinite=True)
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


def no_numbers(value: Any, *, nan: bool, infinite: bool) -> np.ndarray[Any, Any] | None:
    """Where a value is not a number; None where it is one throughout."""
    if nan and infinite:
        return None
    if isinstance(value, float) and math.isfinite(value):
        return None
    data = held_values(value) if isinstance(value, xr.DataArray) else np.asarray(value)
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
