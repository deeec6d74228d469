"""What a number in a file may be, and what it usually is: unit slips are named, not computed with.

Every key of a study file and every column of its tables has a quantity with two ranges. A value
outside the possible one is refused; one outside the usual one is used, and an
:class:`UnusualValueWarning` names the file, the row and column or the key, the usual range and,
where it can be recognised, the unit the value seems to be in. The ranges stand with the keys
(:mod:`groundborne.study.keys`) and columns (:mod:`groundborne.csv_columns`), those of what follows
from several of them in :mod:`groundborne.usual_values`.

Only files are judged. Objects made in code may be swept through any value they accept.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np

from groundborne._checks import is_lazy
from groundborne.citation import ValidityWarning

PRACTICE = "common practice"
"""Mark of a range without a published source."""

SLIPS: dict[str, dict[str, float]] = {
    "m": {"mm": 1e-3, "cm": 1e-2, "km": 1e3},
    "m²": {"mm²": 1e-6, "cm²": 1e-4},
    "m³": {"litres": 1e-3},
    "mm": {"m": 1e3, "cm": 10.0, "µm": 1e-3},
    "kN": {"N": 1e-3, "MN": 1e3, "t": 9.80665, "kg": 9.80665e-3},
    "N": {"kN": 1e3, "MN": 1e6, "kg": 9.80665, "t": 9806.65},
    "N/m": {"N/mm": 1e3, "kN/mm": 1e6, "MN/m": 1e6, "GN/m": 1e9},
    "N/m²": {"kN/m²": 1e3, "kg/m²": 9.80665, "N/mm²": 1e6},
    "N s/m": {"kN s/m": 1e3, "MN s/m": 1e6},
    "Pa": {"GPa": 1e9, "MPa or N/mm²": 1e6, "kN/mm²": 1e9, "kPa": 1e3},
    "kg": {"t": 1e3, "g": 1e-3, "kN": 1e3 / 9.80665},
    "kg/m": {"g/m": 1e-3, "kN/m": 1e3 / 9.80665},
    "kg/m²": {"g/m²": 1e-3, "t/m²": 1e3, "kN/m²": 1e3 / 9.80665, "N/m²": 1 / 9.80665},
    "kg/m³": {"g/cm³ or t/m³": 1e3, "kN/m³": 1e3 / 9.80665, "N/m³": 1 / 9.80665},
    "kg/MN": {"kg/kN": 1e3, "kg/N": 1e6},
    "m/s": {"km/h": 1 / 3.6, "km/s": 1e3, "mm/s": 1e-3},
    "km/h": {"m/s": 3.6},
    "Hz": {"kHz": 1e3, "per minute": 1 / 60},
    "s": {"ms": 1e-3, "min": 60.0},
    "h": {"min": 1 / 60, "s": 1 / 3600},
    "share": {"%": 1e-2},
    "percent": {"a share": 1e2},
    "kN/m²": {
        "t in place of kN": 9.80665,
        "kg in place of kN": 9.80665e-3,
        "N in place of kN": 1e-3,
        "MN in place of kN": 1e3,
    },
    "N for N": {"kN in place of N": 1e3, "MN in place of N": 1e6, "kg in place of N": 9.80665},
    "m for m": {"mm in place of m": 1e-3, "cm in place of m": 1e-2},
}
"""Units a number is often written in by mistake, by the right unit, with their size in it.

``share`` and ``percent`` are numbers without a unit; ``m for m`` and ``N for N`` are ratios of a
length and of a load to one in another place. Other ratios are no numbers that anybody writes, and
have none.
"""

_FEET = {
    "m": {"ft": 0.3048, "in": 0.0254},
    "m for m": {"ft in place of m": 0.3048},
    "m for m, from 0": {"ft in place of m": 0.3048},
    "m² for m²": {"ft in place of m": 0.3048**2},
    "m³ for m³": {"ft³ in place of m³": 0.3048**3},
}
"""Units of another system by the right unit: numbers in them are near enough to look usual."""

_CREST = 12.0
"""Peak over rms of train vibration at most [dB]; common practice."""

_REFERENCES = {"10 nm/s": 20.0, "1 µin/s": 28.1, "50 nm/s": 34.0}
"""Velocity references by what they lie above 1 nm/s [dB], 1 µin/s = 25.4 nm/s."""


class UnusualValueWarning(ValidityWarning):
    """A number in a file lies outside its usual range; it is used, and the result says so."""


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """Bounds of one kind of number.

    Parameters
    ----------
    unit : str
        As in messages; empty for a ratio.
    usual : tuple of float
        From and to what practice would not be surprised by.
    possible : tuple of float
        From and to what can be built or measured at all; values outside are refused.
    zero : bool
        Whether exactly 0 stands for "none" and is not judged.
    mark : str
        Where the usual range comes from.
    slips : str, optional
        What is tried on a number outside: a key of ``SLIPS``, that of the unit if not given;
        ``level`` and ``velocity`` for
        what is off by the step between two references, in dB and by its factor; ``step`` for a
        difference of levels, of which ten times as much means nothing.

    Raises
    ------
    ValueError
        Ranges that are not ascending, or a usual range that reaches beyond the possible one.
    """

    unit: str
    usual: tuple[float, float]
    possible: tuple[float, float]
    zero: bool = False
    mark: str = PRACTICE
    slips: str | None = None

    def __post_init__(self) -> None:
        ends = (self.possible[0], *self.usual, self.possible[1])
        if list(ends) != sorted(ends) or self.usual[0] == self.usual[1]:
            raise ValueError(f"Quantity: {ends} must ascend")

    @property
    def usual_words(self) -> str:
        """The usual range with its source.

        Examples
        --------
        >>> Quantity(unit="m", usual=(0.08, 0.8), possible=(0.01, 5)).usual_words
        'usual: 0.08 to 0.8 m (common practice)'
        """
        return f"usual: {_span(self.usual, self.unit)} ({self.mark})"

    @property
    def possible_words(self) -> str:
        """The possible range; empty where there is none.

        Examples
        --------
        >>> Quantity(unit="m", usual=(0.08, 0.8), possible=(0.01, 5)).possible_words
        '0.01 to 5 m'
        """
        if not np.isfinite(self.possible).any():
            return ""
        return _span(self.possible, self.unit)

    def hint(self, value: float) -> str:
        """What seems to have happened to a value outside the usual range; empty if nothing fits.

        Parameters
        ----------
        value : float
            As given.

        Examples
        --------
        >>> Quantity(unit="m", usual=(0.08, 0.8), possible=(0.01, 5)).hint(280.0)
        ' 280 looks like mm (0.28 m).'
        """
        low, high = self.usual
        fits = [
            f"{unit} ({f'{right:.4g} {self.unit}'.rstrip()})"
            for unit, right in self._read_otherwise(value)
            if low <= right <= high
        ]
        if fits:
            return f" {_short(value)} looks like {' or '.join(fits)}."
        if self.slips in ("level", "step"):
            return ""
        for factor, words in ((10.0, "ten times as much"), (0.1, "a tenth of it")):
            if low <= value * factor <= high:
                return f" {words[0].upper()}{words[1:]} would be usual."
        return ""

    def _read_otherwise(self, value: float) -> list[tuple[str, float]]:
        """What the number would be if it was written otherwise, with the words for that."""
        if self.slips not in ("level", "velocity"):
            of = self.unit if self.slips is None else self.slips
            units = {**SLIPS.get(of, {}), **_FEET.get(of, {})}
            return [(unit, value * size) for unit, size in units.items()]
        found = []
        if value > self.usual[1]:
            least = value - _CREST if self.slips == "level" else value * 10 ** (-_CREST / 20)
            found.append((f"peak in place of rms, up to {_CREST:g} dB too high", least))
        for name, step in _REFERENCES.items():
            if value > self.usual[1]:
                words, change = f"{name} in place of 1 nm/s, {step:.1f} dB too high", -step
            else:
                words, change = f"1 nm/s in place of {name}, {step:.1f} dB too low", step
            right = value + change if self.slips == "level" else value * 10 ** (change / 20)
            found.append((words, right))
        return found


def _short(value: float) -> str:
    """Four figures, or as many as keep it readable."""
    text = f"{value:.4g}"
    return f"{value:g}" if "e" in text else text


def judge(
    quantity: Quantity | None,
    values: Any,
    *,
    subject: Callable[[int], str],
    error: type[ValueError],
) -> None:
    """Refuse impossible values, and warn of unusual ones, once for all of them.

    Parameters
    ----------
    quantity : Quantity or None
        Bounds; None judges nothing.
    values : array_like
        Finite numbers; those of a chunked array are not known yet, and not judged.
    subject : callable
        Names the value at a position in the flattened array: file, row and column, or key.
    error : type
        Of the refusal.

    Raises
    ------
    ValueError
        Of the type given: a value outside the possible range.

    Warns
    -----
    UnusualValueWarning
        A value outside the usual range.
    """
    if quantity is None or is_lazy(values):
        return
    array = np.ravel(np.asarray(values, dtype=float))
    given = np.ones(array.size, bool) if not quantity.zero else array != 0
    wrong = np.flatnonzero(given & _outside(array, quantity.possible))
    if wrong.size:
        raise error(_sentence(quantity, array, wrong, subject, impossible=True))
    odd = np.flatnonzero(given & _outside(array, quantity.usual))
    if odd.size:
        text = _sentence(quantity, array, odd, subject, impossible=False)
        warnings.warn(text, UnusualValueWarning, stacklevel=4)


@contextmanager
def collected() -> Iterator[list[str]]:
    """Collect the sentences of :class:`UnusualValueWarning`, each once, in a list.

    Other warnings pass as they are. An error on the way carries what was collected as its notes:
    what is unusual is often its cause.
    """
    found: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", UnusualValueWarning)
        try:
            yield found
        except ValueError as error:
            for text in dict.fromkeys(str(w.message) for w in caught):
                error.add_note(f"Unusual besides: {text}")
            raise
    for warning in caught:
        if not issubclass(warning.category, UnusualValueWarning):
            warnings.warn_explicit(
                warning.message, warning.category, warning.filename, warning.lineno
            )
        elif str(warning.message) not in found:
            found.append(str(warning.message))


@contextmanager
def overheard() -> Iterator[list[str]]:
    """As :func:`collected`, and the warnings go on."""
    with collected() as found:
        yield found
    for text in found:
        warnings.warn(text, UnusualValueWarning, stacklevel=3)


def _outside(values: np.ndarray[Any, Any], bounds: tuple[float, float]) -> np.ndarray[Any, Any]:
    low, high = bounds
    found: np.ndarray[Any, Any] = (values < low - 1e-9 * abs(low)) | (
        values > high + 1e-9 * abs(high)
    )
    return found


def _sentence(
    quantity: Quantity,
    values: np.ndarray[Any, Any],
    bad: np.ndarray[Any, Any],
    subject: Callable[[int], str],
    *,
    impossible: bool,
) -> str:
    first = int(bad[0])
    value = float(values[first])
    ranges = f"possible: {_span(quantity.possible, quantity.unit)}, {quantity.usual_words}."
    says = f"{value:.4g} {quantity.unit}".rstrip()
    if not impossible:
        says += f", unusual; {quantity.usual_words}."
    elif value <= 0 <= quantity.possible[0]:
        zero = f"0 {quantity.unit}".rstrip()
        must = f"{zero} or more" if quantity.possible[0] == 0 else f"above {zero}"
        says = f"{value:.4g}; it must be {must}; {ranges}"
    else:
        says += f", out of bounds; {ranges}"
    more = ""
    if bad.size > 1:
        more = f" So {'are' if bad.size > 2 else 'is'} {bad.size - 1} more."
    return f"{subject(first)} is {says}{quantity.hint(value)}{more}"


def _span(bounds: tuple[float, float], unit: str) -> str:
    low, high = bounds
    if not np.isfinite(low):
        return f"at most {high:g} {unit}".rstrip()
    if not np.isfinite(high):
        return f"at least {low:g} {unit}".rstrip()
    return f"{low:g} to {high:g} {unit}".rstrip()
