"""Argument checks and the sentences that go with them.

A sentence says where, which argument, what was given, what is allowed and, where
there is one, the remedy. Every error is a :class:`ValueError` or a named subclass.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

_NUMERIC_TYPES = (int, float, np.floating, np.integer, np.ndarray, xr.DataArray)
Numeric = float | np.ndarray[Any, Any] | xr.DataArray


class ArgumentError(ValueError):
    """An argument of the wrong kind, or that is not a number."""


class LabelError(ValueError):
    """Labels that repeat, or differ where values are to be combined; they are never joined."""


class BandError(LabelError):
    """A frequency axis that is not a run of one-third-octave bands, or does not match another."""


class LevelError(ValueError):
    """A level without its quantity or reference, or with the wrong one."""


class PathError(ValueError):
    """Path elements whose ends do not meet, or names that are unknown or repeated."""


class FileError(ValueError):
    """What is wrong in a file: one sentence, or several that were found together, a line each."""

    @property
    def errors(self) -> tuple[str, ...]:
        """The sentences."""
        return tuple(str(sentence) for sentence in self.args)

    def __str__(self) -> str:
        """All sentences, one on a line."""
        return "\n".join(self.errors)


class TableError(FileError):
    """A table file that cannot be read as it stands."""


class StudyError(FileError):
    """A study file that is incomplete, unknown or contradicts itself."""


class StudyFileError(StudyError, TableError):
    """All that was found wrong in a study file and the tables beside it."""


class RatingError(ValueError):
    """A rating asked of levels that do not carry it."""


class RecordingError(ValueError):
    """A recording that is damaged, unlabelled, or too short or too slow for what is asked."""


def plain(value: Any) -> str:
    """A number as it is read, without the name of its type."""
    if isinstance(value, (bool, np.bool_)):
        return str(bool(value))
    if isinstance(value, int) and abs(value) > 10**300:
        return "too large for a number"
    if isinstance(value, (float, int, np.floating, np.integer)):
        return f"{float(value):g}"
    if isinstance(value, (complex, np.complexfloating)):
        return f"{complex(value):g}"
    return repr(value)


def labels_at(array: xr.DataArray, at: int) -> str:
    """Where the element at a flat position stands, by the labels of its dims; empty of a scalar."""
    index = np.unravel_index(at, array.shape)
    return ", ".join(
        f"{dim}={array[dim].values[i] if dim in array.coords else int(i)}"
        for dim, i in zip(array.dims, index, strict=True)
    )


def first_bad(value: Any, bad: Any) -> str:
    """Describe the first offending element of an array, with its labels."""
    if isinstance(value, xr.DataArray):
        at = int(np.argmax(np.asarray(bad)))
        labels = labels_at(value, at)
        here = f" at {labels}" if labels else ""
        return f"{plain(value.values.ravel()[at])}{here}"
    flat = np.asarray(value)
    index = np.unravel_index(int(np.argmax(np.asarray(bad))), flat.shape)
    here = f" at position {tuple(int(i) for i in index)}" if flat.ndim else ""
    return f"{plain(flat[index])}{here}"


def _number(where: str, name: str, value: Any) -> Numeric:
    if isinstance(value, (bool, np.bool_)) or not isinstance(value, _NUMERIC_TYPES):
        held = "a table" if isinstance(value, (xr.Dataset, pd.DataFrame)) else repr(value)
        raise ValueError(f"{where}: {name} is {held}; a number or a DataArray is needed")
    if not isinstance(value, (np.ndarray, xr.DataArray)):
        try:
            return float(value)
        except OverflowError:
            raise ValueError(f"{where}: {name} is too large for a number") from None
    if value.dtype.kind not in "iuf":
        raise ValueError(f"{where}: {name} holds {value.dtype}; real numbers are needed")
    return value


def _refuse(where: str, name: str, value: Numeric, bad: Any, allowed: str) -> None:
    if np.any(np.asarray(bad)):
        raise ValueError(f"{where}: {name} is {first_bad(value, bad)}; {allowed}")


def is_lazy(value: Any) -> bool:
    """Chunked arrays are checked when they are computed, not when they are passed in."""
    # What `chunks` says takes long to ask of numpy arrays, which have none.
    return (
        isinstance(value, xr.DataArray)
        and not isinstance(value.variable, xr.IndexVariable)
        and not isinstance(value.data, np.ndarray)
        and value.chunks is not None
    )


def _checked(where: str, name: str, value: Any, bad: Callable[[Any], Any], allowed: str) -> Numeric:
    number = _number(where, name, value)
    if not is_lazy(number):
        data = np.asarray(number, dtype=float)
        _refuse(where, name, number, ~np.isfinite(data) | bad(data), allowed)
    return number


def axis(labels: Any) -> xr.DataArray:
    """Nominal labels or frequencies [Hz] as a ``frequency`` coordinate with its attributes."""
    values = np.asarray(labels, dtype=float)
    attrs = {"units": "Hz", "long_name": "nominal one-third-octave mid-band frequency"}
    return xr.DataArray(
        values,
        dims="frequency",
        coords={"frequency": ("frequency", values, attrs)},
        attrs=attrs,
        name="frequency",
    )


def finite(where: str, name: str, value: Any) -> Numeric:
    """Refuse anything but finite numbers."""
    return _checked(where, name, value, lambda x: np.zeros(x.shape, bool), "it must be finite")


def positive(where: str, name: str, value: Any, unit: str) -> Numeric:
    """Refuse zero, negative and non-finite numbers."""
    return _checked(where, name, value, lambda x: x <= 0, f"it must be above 0 {unit}")


def not_negative(where: str, name: str, value: Any, unit: str) -> Numeric:
    """Refuse negative and non-finite numbers."""
    return _checked(where, name, value, lambda x: x < 0, f"it must be 0 {unit} or more")


def within(
    where: str, name: str, value: Any, low: float, high: float, unit: str, hint: str = ""
) -> Numeric:
    """Refuse numbers outside [low, high]; a hint says what may have happened, such as a unit."""
    return _checked(
        where,
        name,
        value,
        lambda x: (x < low) | (x > high),
        f"it must lie between {low:g} and {high:g} {unit}" + (f"; {hint}" if hint else ""),
    )


def known(
    where: str, name: str, value: Any, allowed: Iterable[str], error: type[ValueError] = ValueError
) -> str:
    """Refuse a name that is not in a list, naming the list and the nearest entry."""
    names = list(allowed)
    if isinstance(value, str):
        value = str(value)  # numpy's own texts print their type
    if value in names:
        return str(value)
    near = difflib.get_close_matches(str(value), names, n=1)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    listed = ", ".join(repr(n) for n in names) or "(none)"
    raise error(f"{where}: {name} is {value!r}; known are {listed}.{hint}")


def watched(where: str, array: xr.DataArray) -> xr.DataArray:
    """A chunked array of numbers that is refused when it is computed, if it then holds NaN."""
    if not is_lazy(array) or array.dtype.kind not in "fc":
        return array

    def look(block: Any) -> Any:
        if np.isnan(block).any():
            raise ArgumentError(
                f"{where}: the result is not a number somewhere; a chunk of an argument holds NaN, "
                "or values outside the range for which there is an answer"
            )
        return block

    data = array.data.map_blocks(look, dtype=array.dtype, meta=array.data._meta)
    return array.copy(data=data)


def meant(missing: str, unknown: Iterable[str]) -> str:
    """Words that point from a name that is missing to one that is there and unknown; or nothing.

    Parameters
    ----------
    missing : str
        What is needed.
    unknown : iterable of str
        Names that are there and stand for nothing.
    """
    near = difflib.get_close_matches(missing, list(unknown), n=1, cutoff=0.7)
    return f"; {near[0]!r} is unknown, is {missing!r} meant by it?" if near else ""


def no_nan(where: str, array: xr.DataArray, error: type[ValueError] = ValueError) -> xr.DataArray:
    """Refuse a result that holds NaN, naming its place."""
    if not is_lazy(array):
        bad = np.isnan(np.asarray(array.values))
        if bad.any():
            raise error(f"{where}: the result is not a number: {first_bad(array, bad)}")
    return array


def counted(number: int, one: str, many: str = "") -> str:
    """A number with its noun: one beam, or many; `many` adds an s where left out.

    Examples
    --------
    >>> counted(1, "beam"), counted(2, "beam"), counted(2, "column is", "columns are")
    ('1 beam', '2 beams', '2 columns are')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


class Faults:
    """Sentences of what is wrong, gathered so that all are told together.

    Examples
    --------
    >>> faults = Faults()
    >>> with faults.gathered():
    ...     raise StudyError("one thing")
    >>> faults.add("another")
    >>> faults.settle()
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyFileError: one thing
    another
    """

    def __init__(self) -> None:
        self.found: list[str] = []

    def add(self, *sentences: str) -> None:
        """Keep sentences, each once."""
        self.found.extend(s for s in sentences if s not in self.found)

    @contextmanager
    def gathered(self) -> Iterator[None]:
        """Keep what is raised inside, and go on after it."""
        try:
            yield
        except ValueError as error:
            self.add(*getattr(error, "errors", (str(error),)))

    def settle(self) -> None:
        """Refuse if anything was kept.

        Raises
        ------
        StudyFileError
            With every sentence.
        """
        if self.found:
            raise StudyFileError(*self.found)
