"""How sure measured levels are: instrument, positions, background, number of trains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from numbers import Integral
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import known, not_negative, positive
from groundborne.citation import Citation
from groundborne.receiver.positions import POSITION_SPREAD, position_standard_deviation
from groundborne.source import correct_for_background
from groundborne.uncertainty.spread import QUANTITIES

ISO_16283_1 = Citation(
    key="iso16283-1-background",
    author="ISO 16283-1",
    year="2014",
    title="Field measurement of sound insulation in buildings and of building elements",
    locator="9.2, background: none to take off from 10 dB, energies from 6 dB, below a limit only",
    mark="from memory",
    status="transcribed",
)
MEASURED_BY_PRACTICE = Citation(
    key="measured-levels-by-practice",
    author="common practice",
    title="standard deviations of measured levels: instrument, place on a floor, background",
    mark="common practice",
    status="practice",
)

INSTRUMENT = 0.7
"""Standard deviation of a calibrated chain, in all bands alike [dB]; common practice."""
PLACE_ON_FLOOR = 1.5
"""Standard deviation by where near mid-span a transducer stands [dB]; common practice."""
BACKGROUND = 1.0
"""Standard deviation of a level of background during a passby [dB]; common practice."""
POSITIONS = "positions"
"""Attribute of levels: how many positions stand behind that of a room."""
DETECTABLE, NEGLIGIBLE = 6.0, 10.0
"""Height above the background from which energies are taken off, and from which nothing is [dB]."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class MeasurementError:
    """Standard deviations of measured band levels, apart from the number of trains.

    Parameters
    ----------
    instrument : float or DataArray
        Of the chain, the same error in all bands [dB], 0 or more.
    positions : int, optional
        Microphones in a room, or transducers on a floor, whose mean was taken, 1 or more; by
        default as many as the levels say, and one where they do not. Another number than they say
        is refused.
    position : float or DataArray, optional
        Of one of them, each band by itself [dB]; by default
        :func:`~groundborne.receiver.position_standard_deviation` in rooms and 1.5 dB on floors.

    Raises
    ------
    ValueError
        A negative standard deviation, no position, or no whole number of them.

    References
    ----------
    Positions in rooms: modal sums [derived]; instrument and floors: common practice.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> three = MeasurementError(positions=3)
    >>> three.by_band(third_octaves(63, 125), "sound pressure").round(2).values.tolist()
    [2.89, 2.89, 2.89, 2.31]
    """

    instrument: float | xr.DataArray = INSTRUMENT
    positions: int | None = None
    position: float | xr.DataArray | None = None

    def __post_init__(self) -> None:
        where = "MeasurementError"
        not_negative(where, "instrument", self.instrument, "dB")
        if self.positions is not None:
            positive(where, "positions", self.positions, "positions")
            if not isinstance(self.positions, Integral):
                raise ValueError(f"{where}: positions is {self.positions}; a whole number is")
        if self.position is not None:
            not_negative(where, "position", self.position, "dB")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the numbers that were not given."""
        return (POSITION_SPREAD, MEASURED_BY_PRACTICE)

    def by_band(self, frequency: Frequency, quantity: str) -> xr.DataArray:
        """Standard deviation of each band by itself, by the positions [dB].

        Parameters
        ----------
        frequency : DataArray
            Nominal labels [Hz].
        quantity : str
            ``sound pressure`` or ``velocity``.
        """
        where = "MeasurementError.by_band"
        known(where, "quantity", quantity, QUANTITIES)
        number = self.positions or 1
        if self.position is None and quantity == QUANTITIES[0]:
            return position_standard_deviation(frequency, positions=number)
        one = xr.DataArray(PLACE_ON_FLOOR if self.position is None else self.position)
        if "frequency" in one.dims:
            one = at_labels(where, one, {"frequency": frequency.values.tolist()})
        found: xr.DataArray = xr.zeros_like(frequency, dtype=float) + one
        return xr.DataArray(found / np.sqrt(number))

    def of_levels(self, level: xr.DataArray) -> MeasurementError:
        """The same with as many positions as levels say that stand behind them.

        Parameters
        ----------
        level : DataArray
            Which may have the attribute ``positions``.

        Raises
        ------
        ValueError
            They say another number than was given.

        Examples
        --------
        >>> level = xr.DataArray([60.0], dims="frequency", attrs={"positions": 2})
        >>> MeasurementError().of_levels(level).positions
        2
        """
        said = level.attrs.get(POSITIONS)
        if said is None:
            return self
        if self.positions not in (None, int(said)):
            raise ValueError(
                f"MeasurementError: positions is {self.positions}, and the levels are means over "
                f"{said} in the room with the fewest; leave positions out, or judge rooms with "
                "more of them by themselves"
            )
        return replace(self, positions=int(said))


def at_labels(where: str, size: Any, labels: Mapping[str, Sequence[Any]]) -> xr.DataArray:
    """A standard deviation at the labels of levels [dB].

    Parameters
    ----------
    where : str
        For sentences.
    size : float or DataArray
        On some of their dims.
    labels : mapping of str to sequence
        Of each dim.

    Raises
    ------
    ValueError
        Another dim, or a label that it does not hold.
    """
    found = xr.DataArray(size)
    for dim in found.dims:
        if dim not in labels:
            raise ValueError(
                f"{where}: an error is on {dim!r}; the levels have {', '.join(map(repr, labels))}"
            )
        missing = [n for n in labels[str(dim)] if n not in found[dim].values.tolist()]
        if missing:
            raise ValueError(
                f"{where}: an error has no {dim} {missing[0]!r}; spreads and error must be of the "
                "same study"
            )
        found = found.sel({dim: list(labels[str(dim)])})
    return found


@checked
def without_background(
    level: xr.DataArray,
    background: xr.DataArray,
    *,
    compared_with: xr.DataArray | None = None,
    detectable: float = DETECTABLE,
    negligible: float = NEGLIGIBLE,
    uncertainty: float = BACKGROUND,
) -> xr.DataArray:
    """Levels of trains in a room or on a floor without the background, band by band.

    Parameters
    ----------
    level : DataArray
        Labelled levels with trains [dB], with ``frequency``.
    background : DataArray
        Labelled level without them [dB]: the energy mean where maxima are compared.
    compared_with : DataArray, optional
        Background by the same statistic as the level, which decides whether a train stands out of
        it; `background` by default.
    detectable, negligible : float
        Height above the background from which energies are taken off, and from which nothing is
        [dB].
    uncertainty : float
        Standard deviation of the background during a passby [dB].

    Returns
    -------
    xarray.DataArray
        Levels [dB] with the attributes of `level` and the coordinates ``upper_limit``: where the
        level stands less than `detectable` above the background, is the one that was measured and
        only an upper limit of that of trains; and ``background_error``, standard deviation by what
        was taken off [dB], 0 at upper limits.

    Raises
    ------
    LevelError
        Levels that are not labelled, or of different quantities or references.
    ValueError
        Heights out of order, a negative uncertainty.

    Notes
    -----
    ``10 lg(10^(L/10) − 10^(L_b/10))``. An error of the background moves that by
    ``1/(10^(d/10) − 1)`` of itself, d being the height: a third at 6 dB, a ninth at 10. The
    standard takes 1.3 dB off below 6 dB; here the level stays as measured, which is the safe side
    of a limit.

    References
    ----------
    ISO 16283-1:2014, 9.2 [from memory]; its use for trains and for vibration is common practice.

    Examples
    --------
    >>> from groundborne.levels import stamp
    >>> level, floor = (stamp(xr.DataArray(x, dims="frequency"), quantity="sound pressure",
    ...                       reference="20 µPa", long_name="level")
    ...                 for x in ([34.0, 38.0, 45.0], [30.0, 30.0, 30.0]))
    >>> train = without_background(level, floor)
    >>> train.round(1).values.tolist(), train["upper_limit"].values.tolist()
    ([34.0, 37.3, 45.0], [True, False, False])
    """
    not_negative("without_background", "uncertainty", uncertainty, "dB")
    found, limit = correct_for_background(
        level, background, compared_with=compared_with, detectable=detectable,
        negligible=negligible,
    )  # fmt: skip
    above = xr.where(limit, np.inf, level - background)
    error = uncertainty / (10 ** (above / 10) - 1)
    return found.assign_coords(
        upper_limit=limit, background_error=error.drop_attrs().assign_attrs(units="dB")
    )
