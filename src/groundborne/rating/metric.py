"""A metric: what it rates, how its number is formed of passbys, read and printed, and its needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known
from groundborne.citation import Citation
from groundborne.rating.band_rules import BandRule
from groundborne.rating.rectangular_event import TIME_CONSTANTS
from groundborne.rating.scale import Scale
from groundborne.usual_ranges import Quantity

Quantities = Literal["sound pressure", "velocity"]

LEQ = "leq"
STATISTICS_OF_PASSBY = (*TIME_CONSTANTS, LEQ)
"""What band levels of a passby may be: their time weighting."""

Value = Callable[[xr.DataArray, float], xr.DataArray]
"""From a level [dB], and the hours of the period, to the unit of a metric."""


def as_level(level: xr.DataArray, hours: float) -> xr.DataArray:
    """The level is the value."""
    del hours
    return level


def amplitude(level: xr.DataArray, hours: float, *, factor: float) -> xr.DataArray:
    """What a level is of, in units of `factor` at 0 dB."""
    del hours
    value: xr.DataArray = factor * 10 ** (level / 20)
    return value


def nothing_approximated(made: str, frequency: xr.DataArray) -> str:
    """Nothing stands between band levels and the value."""
    del made, frequency
    return ""


@checked
@dataclass(frozen=True, kw_only=True)
class Metric:
    """What a criterion is on. Everything that studies, reports and figures know of it stands here.

    Parameters
    ----------
    name : str
        As in criteria, labels and tables.
    quantity : str
        ``sound pressure`` in the room, or ``velocity`` of its floor at mid-span.
    rule : BandRule
        What is made of the band levels of a passby, and which bands that needs; see
        :mod:`groundborne.rating.band_rules`.
    scale : Scale
        Unit, digits, margin, and the smallest value there is.
    statistics : tuple of str
        Those it may be formed by, of ``STATISTICS``; of a metric that adds trains the one name for
        that.
    time_weightings : tuple of str
        Of the band levels it can be formed from: ``S max``, ``F max``, ``leq``.
    of_passby : str, optional
        Time weighting that the levels of a passby are brought to before they are rated, as of a
        rectangular event; passbys then need a duration. None where they are rated as they are.
    adds : float, optional
        Where all trains of a period are added, the power of the mean square that is: 1 of
        energies, 2 of fourth powers of amplitudes. Criteria then need a period.
    value : callable
        From the level that `rule` and passbys come to [dB], and the hours of the period (0 without
        one), to the unit; itself by default.
    approximation : callable
        What stands between band levels and the value, in words, from their time weighting and
        their ``frequency``; nothing by default.
    octave_curve : callable, optional
        Octave levels that a limit stands for, of the limit: drawn beside spectra.
    citations : tuple of Citation
        Where it is defined.
    fixed_limit : float, optional
        The one limit it can have, where it is a curve.
    usual_limit, usual_value : Quantity, optional
        What limits are usual in files, and values without any measure.

    Raises
    ------
    ValueError
        An unknown time weighting, or no statistic.

    Examples
    --------
    A metric of your own is one of these; :class:`Criterion` takes it in place of a name:

    >>> from groundborne import weighting
    >>> from groundborne.rating import STATISTICS, WeightedBands, sufficiency
    >>> lcs = Metric(name="LCSmax", quantity="sound pressure", statistics=STATISTICS,
    ...              time_weightings=("S max",), scale=Scale(unit="dB re 20 µPa"),
    ...              rule=WeightedBands(gain=weighting.c, span=(10.0, 20000.0),
    ...                                 needed=sufficiency.HEARD))
    >>> lcs.needs_duration, lcs.needs_period, lcs.felt
    (False, False, False)
    """

    name: str
    quantity: Quantities
    rule: BandRule
    scale: Scale
    statistics: tuple[str, ...]
    time_weightings: tuple[str, ...]
    of_passby: str | None = None
    adds: float | None = None
    value: Value = as_level
    approximation: Callable[[str, xr.DataArray], str] = nothing_approximated
    octave_curve: Callable[[float], xr.DataArray] | None = None
    citations: tuple[Citation, ...] = ()
    fixed_limit: float | None = None
    usual_limit: Quantity | None = None
    usual_value: Quantity | None = None

    def __post_init__(self) -> None:
        where = f"Metric {self.name!r}"
        if not self.statistics:
            raise ValueError(f"{where}: statistics is empty; at least one is needed")
        if not self.time_weightings:
            raise ValueError(f"{where}: time_weightings is empty; at least one is needed")
        if not self.name or "," in self.name:
            # A label is made of the name and what follows a comma.
            raise ValueError(f"{where}: its name is empty or holds a comma; a word is needed")
        known(where, "quantity", self.quantity, get_args(Quantities))
        for weighting in self.time_weightings:
            known(where, "time_weighting", weighting, STATISTICS_OF_PASSBY)
        if self.of_passby is not None:
            known(where, "of_passby", self.of_passby, STATISTICS_OF_PASSBY)

    @property
    def felt(self) -> bool:
        """Whether it is of the floor at mid-span, and not of the sound in the room."""
        return self.quantity == "velocity"

    @property
    def needs_period(self) -> bool:
        """Whether a criterion needs a period of the timetable."""
        return self.adds is not None

    @property
    def needs_duration(self) -> bool:
        """Whether passbys need a duration."""
        return self.of_passby is not None or self.adds is not None
