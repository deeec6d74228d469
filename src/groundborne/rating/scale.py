"""How numbers of a metric are read, held against a limit and printed: one rule for all outputs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.levels import decibel

ROUNDING = (
    "Ratings are rounded up to the last digit printed: one decimal of dB and NR (two or three "
    "where the limit has as many), three figures at least of vibration; lower bounds are rounded "
    "down. Margins are those of the numbers printed, rounded down to one decimal of dB for "
    "vibration, of lower bounds up; ends of intervals are rounded outward. "
    "Where a document asks for whole noise ratings, round up (common practice)."
)
"""The one rule by which ratings and margins are printed."""


@checked(infinite=("least", "limit", "value", "return"))  # where a room has no limit
@dataclass(frozen=True, kw_only=True)
class Scale:
    """What the numbers of a metric mean; larger ones are worse.

    Parameters
    ----------
    unit : str
        As printed behind a value; empty where there is none.
    margin_unit : str
        Of the margin: ``dB``, or the name of a curve number such as ``NR``.
    decimals : int
        With which it is printed.
    ratio : bool
        Whether the margin is ``20 lg(limit/value)`` dB, as of amplitudes, and not
        ``limit − value``, as of levels; three figures at least are then printed.
    least : float
        Smallest value that can be measured, heard or felt, or is defined; a smaller one is printed
        as below it.

    Examples
    --------
    >>> dose = Scale(unit="m/s^1.75", decimals=3, ratio=True)
    >>> dose.text(dose.printed(0.001203, 0.2)), dose.printed_margin(0.1, 0.2)
    ('0.00121', 6.0)
    """

    unit: str
    margin_unit: str = "dB"
    decimals: int = 1
    ratio: bool = False
    least: float = -np.inf

    def margin(self, value: xr.DataArray, limit: float | xr.DataArray) -> xr.DataArray:
        """Margin of values to limits that may differ, positive where they are met.

        Parameters
        ----------
        value : DataArray
            In the unit of the scale.
        limit : float or DataArray
            Likewise; infinite where there is none.

        Returns
        -------
        xarray.DataArray
            In `margin_unit`. Where the attribute ``lower_bound`` of the values says why they are
            at least so large, the attribute ``upper_bound`` of the margins says it of them: no
            such margin shows that a limit is met.
        """
        margin: xr.DataArray = 2 * decibel(limit / value) if self.ratio else limit - value
        why = str(value.attrs.get("lower_bound", ""))
        margin.attrs = {"upper_bound": why} if why else {}
        return margin

    def printed(self, value: float, limit: float, *, down: bool = False) -> float:
        """A value rounded up to the last digit that is printed, so that no miss reads as met.

        Parameters
        ----------
        value, limit : float
            In the unit of the scale.
        down : bool
            Rounded down instead, as a lower bound is, which would else claim too much.

        Examples
        --------
        >>> Scale(unit="").printed(25.04, 25.0)
        25.1
        """
        digits = max(self._decimals_of(value), places(limit))
        # Six decimals more first, so that 25.0000000001 does not become 25.1.
        whole = np.floor if down else np.ceil
        return float(whole(round(value * 10.0**digits, 6)) / 10.0**digits) + 0.0

    def printed_margin(self, shown: float, limit: float, *, up: bool = False) -> float:
        """Margin of a value that was rounded; of ratios with one decimal, rounded down.

        Parameters
        ----------
        shown, limit : float
            In the unit of the scale.
        up : bool
            Rounded up instead: an upper bound.
        """
        if not self.ratio:
            return round(limit - shown, 3) + 0.0
        whole = np.ceil if up else np.floor
        return float(whole(round(200.0 * np.log10(limit / shown), 6)) / 10.0) + 0.0

    def text(self, value: float) -> str:
        """A value that was rounded, with the digits it is printed with.

        Parameters
        ----------
        value : float
            From :meth:`printed`.
        """
        return f"{value:.{max(self._decimals_of(value), places(value))}f}"

    @property
    def least_words(self) -> str:
        """The smallest value with its unit; of a curve number, such as NR, behind its name."""
        if not self.unit and self.margin_unit != "dB":
            return f"{self.margin_unit} {self.least:g}"
        return f"{self.least:g} {self.unit}".rstrip()

    def _decimals_of(self, value: float) -> int:
        if not self.ratio or value <= 0:
            return self.decimals
        return max(self.decimals, 2 - int(np.floor(np.log10(value))))


def places(number: float) -> int:
    """Decimals that a number is written with, three at most.

    Examples
    --------
    >>> places(25.0), places(0.25)
    (0, 2)
    """
    return next((n for n in range(3) if round(number, n) == round(number, 3)), 3)


def scale_coords(scales: Iterable[Scale]) -> dict[str, Any]:
    """Coordinates on ``criterion`` that hold the scale of each: what :func:`scale_of` reads."""
    rows = [asdict(scale) for scale in scales]
    return {f.name: ("criterion", [row[f.name] for row in rows]) for f in fields(Scale)}


@checked
def scale_of(result: xr.Dataset, criterion: str) -> Scale:
    """Scale of a criterion, from a result alone.

    Parameters
    ----------
    result : Dataset
        Result of a study, evaluated or read from a file.
    criterion : str
        Its label, on ``criterion``.

    Raises
    ------
    StudyError
        An unknown criterion, or a result that does not hold what its numbers mean.

    Examples
    --------
    >>> result = xr.Dataset(coords={"criterion": ["NR, mean"], **scale_coords([Scale(unit="")])})
    >>> scale_of(result, "NR, mean").decimals
    1
    """
    names = np.atleast_1d(result["criterion"].values).astype(str).tolist()
    at = names.index(known("scale_of", "criterion", criterion, names, StudyError))
    lacking = [f.name for f in fields(Scale) if f.name not in result.coords]
    if lacking:
        raise StudyError(
            f"scale_of: the result does not say what its ratings mean ({', '.join(lacking)} of its "
            "criteria); evaluate its study anew"
        )
    held = {f.name: np.atleast_1d(result[f.name].values).tolist()[at] for f in fields(Scale)}
    return Scale(**held)


def scales_of(result: xr.Dataset) -> dict[str, Scale]:
    """Scales of all criteria of a result, by label."""
    names = np.atleast_1d(result["criterion"].values).astype(str).tolist()
    return {name: scale_of(result, name) for name in names}
