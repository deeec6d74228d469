"""What a study holds, value by value, and what differs from what was read from its files."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from types import FunctionType, MethodType
from typing import Any

import numpy as np
import xarray as xr

from groundborne.citation import Citation
from groundborne.path import End

_SHOWN = 6
"""Values of an array that are written out; of larger ones the ends, with a checksum of all."""

_DIGITS = 10
"""Figures that count: the last bits of what was calculated differ between machines."""

_LAST = 1 << 18
"""The same in binary: the last bit of the 52 that counts."""

_SEPARATOR = " · "


@dataclass(frozen=True, kw_only=True)
class Difference:
    """A value that is not what was read.

    Parameters
    ----------
    key : str
        Where it stands, from the outside in.
    read, now : str
        As read and as it is; empty where there is none.
    """

    key: str
    read: str
    now: str


def describe(thing: object) -> dict[str, str]:
    """Every value inside a frozen dataclass, mapping, sequence or dataset, as text.

    Parameters
    ----------
    thing : object
        Dataclasses go by their fields, mappings by their keys, sequences by number (or by the
        ``name`` of their entries), arrays and datasets by their values. Any other object goes by
        its class and public attributes.

    Returns
    -------
    dict of str to str
        Key from the outside in, and value. Equal objects give equal descriptions; two that differ
        in any value, also one inside an array that was changed in place, give different ones.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> mount = LinearMount(stiffness=1e6, loss_factor=0.1)
    >>> describe(mount)["stiffness"]
    '1000000'
    """
    return dict(_values(thing, (), ()))


def differences(read: Mapping[str, str], now: Mapping[str, str]) -> tuple[Difference, ...]:
    """Values that differ between two descriptions, those of `now` first.

    Parameters
    ----------
    read, now : mapping of str to str
        From :func:`describe`.

    Examples
    --------
    >>> differences({"name": "A", "height": "3.0"}, {"name": "A", "height": "3.2"})
    (Difference(key='height', read='3.0', now='3.2'),)
    """
    keys = [*now, *(k for k in read if k not in now)]
    return tuple(
        Difference(key=k, read=read.get(k, ""), now=now.get(k, ""))
        for k in keys
        if read.get(k) != now.get(k)
    )


def outermost(keys: Sequence[str], depth: int = 2) -> list[str]:
    """Keys cut to their outer parts, without repeats, in order.

    Examples
    --------
    >>> outermost(["options · rubber · base · mass", "options · rubber · name"])
    ['options · rubber']
    """
    return list(dict.fromkeys(_SEPARATOR.join(k.split(_SEPARATOR)[:depth]) for k in keys))


def checksum(description: Mapping[str, str]) -> str:
    """SHA-256 of a description.

    Examples
    --------
    >>> checksum({"a": "1"}) == checksum({"a": "1"}), len(checksum({}))
    (True, 64)
    """
    text = "\n".join(f"{key}\t{value}" for key, value in description.items())
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _values(thing: Any, at: tuple[str, ...], above: tuple[int, ...]) -> Iterator[tuple[str, str]]:
    """Walk to the values; `above` are the objects on the way, which must not come again."""
    key = _SEPARATOR.join(at)
    parts = None if id(thing) in above else _parts(thing)
    if parts is None:
        yield key, _text(thing)
        return
    kind, inner = parts
    if kind and key:
        yield key, kind
    for name, part in inner:
        yield from _values(part, (*at, name), (*above, id(thing)))


def _parts(thing: Any) -> tuple[str, list[tuple[str, Any]]] | None:
    """Name of the kind and what is inside; None of a value."""
    if isinstance(thing, type | Enum | Citation | End):
        return None
    if is_dataclass(thing):
        inner = [(f.name, getattr(thing, f.name)) for f in fields(thing)]
        # A dataclass around one mapping, such as a path, adds no level of its own.
        if isinstance(inner[0][1] if inner else None, Mapping) and len(inner) <= 2:
            held = list(inner[0][1].items())
            more = [(name, value) for name, value in inner[1:] if value is not None]
            return f"{type(thing).__name__}: {', '.join(k for k, _ in held)}", [*held, *more]
        return type(thing).__name__, inner
    if isinstance(thing, Mapping) and not isinstance(thing, xr.Dataset):
        return ("" if thing else "none"), [(str(k), v) for k, v in thing.items()]
    if isinstance(thing, xr.Dataset):
        return "", [*((str(k), v) for k, v in thing.data_vars.items())]
    if isinstance(thing, tuple | list) and not _plain(thing):
        names = _names(thing)
        return ", ".join(names), list(zip(names, thing, strict=True))
    if isinstance(thing, FunctionType | MethodType | np.ndarray | np.generic | xr.DataArray):
        return None
    own = getattr(thing, "__dict__", None)
    if own is None:
        return None
    return type(thing).__qualname__, [(k, v) for k, v in own.items() if not k.startswith("_")]


def _plain(thing: Sequence[Any]) -> bool:
    return all(isinstance(v, str | int | float | bool) or v is None for v in thing)


def _names(thing: Sequence[Any]) -> list[str]:
    """Entries by name where every one has its own, else by number."""
    names = [getattr(v, "name", None) or getattr(v, "floor", None) for v in thing]
    if all(isinstance(n, str) for n in names) and len(set(names)) == len(names):
        return [str(n) for n in names]
    return [str(n) for n in range(1, len(thing) + 1)]


def _text(value: Any) -> str:
    if isinstance(value, xr.DataArray):
        return _array(value)
    if isinstance(value, np.ndarray):
        return _array(xr.DataArray(value))
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple | list):
        return ", ".join(_text(v) for v in value) or "none"
    if value is None:
        return "none"
    if isinstance(value, Citation):
        return f"{value.text}, {value.status}"
    if isinstance(value, FunctionType | MethodType):
        return f"function {value.__module__}.{value.__qualname__}"
    if isinstance(value, float):
        return f"{value:.{_DIGITS}g}"
    if isinstance(value, str | int | complex | Enum | End):
        return str(value)
    text = repr(value)
    # The default text of an object holds its address, which no two runs share.
    return type(value).__qualname__ if " at 0x" in text else text


def _array(array: xr.DataArray) -> str:
    """Values in words, with a checksum of values, labels and attributes where they are many."""
    if array.chunks is not None:
        return f"{dict(array.sizes)}, not computed before the evaluation"
    if not array.dims:
        return _text(array.values.item())
    on = " × ".join(f"{n} {dim}" for dim, n in array.sizes.items())
    values = array.values.ravel()
    if values.size <= _SHOWN and array.ndim == 1 and len(array.coords) <= 1:
        labels = array[array.dims[0]].values.tolist() if array.coords else [""] * values.size
        pairs = zip(labels, values.tolist(), strict=True)
        return ", ".join(f"{_text(k)}: {_text(v)}" if k != "" else _text(v) for k, v in pairs)
    digest = hashlib.sha256()
    for part in (
        array.variable,
        *(array.coords[c].variable for c in sorted(array.coords, key=str)),
    ):
        digest.update(repr((part.dims, sorted(part.attrs.items(), key=str))).encode("utf-8"))
        digest.update(_as_bytes(part.values))
    ends = f"{values[0]} to {values[-1]}" if values.size else "no value"
    if values.size and values.dtype.kind in "iuf":
        ends = f"{values.min():.6g} to {values.max():.6g}"
    return f"{ends} ({on}) [{digest.hexdigest()[:8]}]"


def _as_bytes(values: np.ndarray[Any, Any]) -> bytes:
    """Values as they are, numbers to the figures that count."""
    if values.dtype.kind != "f":
        return repr(values.tolist()).encode("utf-8")
    bits = (values.astype("<f8") + 0.0).view("<i8")  # 0 without a sign
    kept: np.ndarray[Any, Any] = (bits + (_LAST >> 1)) & -_LAST
    return kept.tobytes()
