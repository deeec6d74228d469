"""Errors of the libraries below, told in the words of the arguments that brought them."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from types import NoneType, TracebackType
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._checks import ArgumentError, BandError, LabelError, is_lazy, plain

_LIBRARY = xr.__path__[0]
_LARGE, _UNKNOWN = 12.0, 0.0  # powers of ten, beyond which a number is named alone


def explained(where: str, arguments: Mapping[str, Any], error: Exception) -> ValueError | None:
    """A sentence of ours for an error of a library below that an argument brought, or None.

    Only what certainly comes of the arguments is told so: labels that differ, labels and variables
    that are not there, numbers out of the range of arithmetic, results that do not fit into memory.
    Everything else is a defect and stays what it is.
    """
    if isinstance(error, xr.AlignmentError):
        return _label_error(where, arguments, error)
    if isinstance(error, KeyError) and error.args:
        return _missing(where, arguments, error)
    if isinstance(error, ValueError) and "imension" in str(error):
        return _missing_dim(where, arguments, error)
    if isinstance(error, MemoryError):
        what = "the result does not fit into memory"
    elif isinstance(error, (OverflowError, ZeroDivisionError)):
        what = "numbers leave the range of arithmetic"
    else:
        return None
    return ArgumentError(f"{where}: {what}; given were {numbers_given(arguments)}")


def numbers_given(arguments: Mapping[str, Any]) -> str:
    """Arguments that hold numbers, each with its value or the largest one."""
    found: dict[str, tuple[float, str]] = {}
    own = arguments.get("self")
    if is_dataclass(own):
        arguments = {f.name: getattr(own, f.name, None) for f in fields(own)} | dict(arguments)
    for name, value in arguments.items():
        if isinstance(value, (int, float, complex, np.number)) and not isinstance(value, bool):
            found[name] = (_size(value), plain(value))
        elif isinstance(value, (np.ndarray, xr.DataArray)) and not is_lazy(value):
            data = np.asarray(value)
            if data.dtype.kind in "iufc" and data.size:
                found[name] = (_size(np.abs(data).max()), f"up to {np.abs(data).max():g}")
        elif isinstance(value, (tuple, list, str, Mapping, xr.Dataset)) or is_dataclass(value):
            found[name] = (_UNKNOWN, "")
    found.pop("self", None)
    odd = {n: v for n, v in found.items() if not v[0] < _LARGE}
    return ", ".join(f"{n} {said}".rstrip() for n, (_, said) in (odd or found).items())


def _size(value: Any) -> float:
    """Powers of ten that a number lies away from 1."""
    size = abs(complex(value)) if abs(value) < 1e300 else np.inf
    return float(abs(np.log10(size))) if size else 0.0


def _missing(where: str, arguments: Mapping[str, Any], error: KeyError) -> ArgumentError | None:
    """A variable, coordinate or dimension that an argument lacks."""
    if not _last_file(error.__traceback__).startswith(_LIBRARY):
        return None
    found = re.match(r"No variable named '(.*?)'\.", str(error.args[0]))
    key = found[1] if found else error.args[0]
    for place, array in arrays("", arguments):
        if isinstance(key, str) and key not in array.coords and key not in array.dims:
            if isinstance(array, xr.Dataset) and key in array:
                continue
            held = listed(array.variables if isinstance(array, xr.Dataset) else array.dims)
            return ArgumentError(f"{where}: {place} has no {key!r}; it has {held or 'nothing'}")
    return None


def _missing_dim(where: str, arguments: Mapping[str, Any], error: Exception) -> LabelError | None:
    """A dimension that a variable of an argument lacks: of an empty table, or of one row chosen."""
    if not _last_file(error.__traceback__).startswith(_LIBRARY):
        return None
    said = re.match(
        r"Dimensions? (.*?) (?:do not exist|not found)|'(\w+)' not found in", str(error)
    )
    dims = re.findall(r"'(\w+)'", said[0]) if said else []
    places = [place for place, _ in arrays("", arguments)]
    if not dims or not places:
        return None
    kind = wrong(dims[0])
    return kind(
        f"{where}: {' or '.join(places)} lacks the dim {listed(dims)}; give the whole table"
    )


def _last_file(trace: TracebackType | None) -> str:
    name = ""
    while trace is not None:
        name, trace = trace.tb_frame.f_code.co_filename, trace.tb_next
    return name


def wrong(dim: Hashable) -> type[LabelError]:
    return BandError if dim == "frequency" else LabelError


def differ(where: str, dim: Hashable, found: Mapping[str, pd.Index]) -> LabelError:
    lists = "; ".join(f"{name} has {listed(index)}" for name, index in found.items())
    # As lists: labels of several levels and plain ones have no difference in pandas.
    first, *others = (list(index) for index in found.values())
    odd = [v for other in others for a, b in ((first, other), (other, first)) for v in a
           if v not in b]  # fmt: skip
    only = f"in one of them only: {listed(list(dict.fromkeys(odd)))}" if odd else "in their order"
    by = ", by bands.select" if dim == "frequency" else ""
    return wrong(dim)(
        f"{where}: the labels of {dim!r} differ: {lists}; {only}. Give both the same labels{by}"
    )


def listed(labels: Any) -> str:
    values = [v.item() if isinstance(v, np.generic) else v for v in labels]
    words = [f"{v:g}" if isinstance(v, float) else repr(v) for v in values]
    return ", ".join(words if len(words) <= 8 else [*words[:4], "...", *words[-2:]])


def _label_error(where: str, arguments: Mapping[str, Any], error: Exception) -> LabelError:
    """One sentence for labels that met inside a call, with the arguments that brought them."""
    dims = re.findall(r"dimension '(\w+)'|\('(\w+)',\)", str(error))
    dim = next((a or b for a, b in dims), None)
    if dim is None:
        return LabelError(f"{where}: labels differ: {error}")
    found: dict[str, pd.Index] = {}
    for place, array in arrays("", arguments):
        if dim in array.dims:
            index = array.indexes.get(dim, pd.RangeIndex(array.sizes[dim]))
            if not any(index.equals(other) for other in found.values()):
                found[place] = index
    if len(found) < 2:
        return LabelError(f"{where}: labels or lengths of {dim!r} differ between what is combined")
    return differ(where, dim, dict(list(found.items())[:3]))


def arrays(place: str, value: Any, depth: int = 0) -> Iterator[tuple[str, Any]]:
    """Every labelled array inside a value, with the name that leads to it."""
    if isinstance(value, (xr.DataArray, xr.Dataset)):
        yield place, value
    elif depth < 6 and not isinstance(value, (str, int, float, NoneType)):
        inner: Iterable[tuple[str, Any]] = ()
        if is_dataclass(value) and not isinstance(value, type):
            inner = ((f.name, getattr(value, f.name, None)) for f in fields(value))
        elif isinstance(value, Mapping):
            inner = ((str(k), v) for k, v in value.items())
        elif isinstance(value, (tuple, list)):
            inner = ((str(i), v) for i, v in enumerate(value))
        for name, part in inner:
            yield from arrays(f"{place}.{name}" if place else name, part, depth + 1)
