"""Level against distance over ground, and against train speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, finite, not_negative, positive, within
from groundborne.bands import exact, label
from groundborne.citation import Citation
from groundborne.levels import stamp_change
from groundborne.path import GROUND, End

DIN_4150_1 = Citation(
    key="din4150-1",
    author="DIN 4150-1",
    year="2001",
    title="Vibrations in buildings: prediction",
    locator="formulas (1) and (2), Fig. 1 exponents",
    mark="seen second-hand",
    status="transcribed",
)
_NEPER = 20 / math.log(10)  # one neper of amplitude [dB]

SPEED_LAW = Citation(
    key="fta2006-speed",
    author="US Federal Transit Administration",
    year="2006",
    title="Transit Noise and Vibration Impact Assessment",
    locator="Table 10-1, speed",
    mark="seen",
    status="verified",
)
EDIN_45672_3_SPEED = Citation(
    key="edin45672-3-speed",
    author="E DIN 45672-3",
    year="2023",
    locator="speed correction within ±30 %",
    mark="seen second-hand",
    status="transcribed",
)


@checked
def geometric_exponent(*, point: bool, impulsive: bool, body: bool) -> float:
    """Amplitude exponent n of geometric spreading, 0.5 for each of point, impulsive and body.

    Parameters
    ----------
    point : bool
        Point source; else a line.
    impulsive : bool
        Impulsive; else harmonic or stationary.
    body : bool
        Body waves; else surface waves.

    Returns
    -------
    float
        n in ``v ~ R^-n`` [-].

    References
    ----------
    DIN 4150-1:2001, Fig. 1 [seen second-hand]. A train as a chain of incoherent points lies
    between 0.3 and 0.5.

    Examples
    --------
    >>> geometric_exponent(point=True, impulsive=False, body=True)
    1.0
    """
    return 0.5 * point + 0.5 * impulsive + 0.5 * body


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class GroundDistance:
    """From the measured distance to another, by geometric spreading and material damping.

    Parameters
    ----------
    distance, reference_distance : float or DataArray
        Wanted and measured distance from the source axis [m], above 0.
    exponent : float or DataArray
        Amplitude exponent n [-], 0 to 2; see :func:`geometric_exponent`.
    damping_ratio : float or DataArray
        Damping ratio ζ of the ground [-]; half the loss factor. The source allows up to 0.01 for
        a first estimate in loose ground, more must be shown.
    wave_speed : float or DataArray
        Speed of the governing wave [m/s].
    source_extent : float or DataArray
        Extent of the source a along the line of travel to the receiver [m].

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    ``v(R) = v1 (R/R1)^-n exp[-α (R − R1)]``, ``α = 2π ζ f / c`` at the exact band centre. Valid
    where both distances are at least ``a/2 + c/f``, half the source plus one wavelength; bands
    below that are marked.

    References
    ----------
    DIN 4150-1:2001, formulas (1) and (2) [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> away = GroundDistance(distance=40.0, reference_distance=20.0, exponent=0.5,
    ...                       damping_ratio=0.01, wave_speed=200.0)
    >>> away.level_change(third_octaves(63, 63)).round(2).item()
    -6.45
    """

    distance: Numeric
    reference_distance: Numeric
    exponent: Numeric
    damping_ratio: Numeric
    wave_speed: Numeric
    source_extent: Numeric = 0.0

    def __post_init__(self) -> None:
        where = "GroundDistance"
        positive(where, "distance", self.distance, "m")
        positive(where, "reference_distance", self.reference_distance, "m")
        within(where, "exponent", self.exponent, 0.0, 2.0, "")
        within(where, "damping_ratio", self.damping_ratio, 0.0, 0.5, "")
        positive(where, "wave_speed", self.wave_speed, "m/s")
        not_negative(where, "source_extent", self.source_extent, "m")

    @property
    def quantity_in(self) -> End:
        """Velocity of the ground."""
        return GROUND

    @property
    def quantity_out(self) -> End:
        """Velocity of the ground."""
        return GROUND

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (DIN_4150_1,)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """``-20 n lg(R/R1) − 8.686 α (R − R1)`` [dB]."""
        alpha = exact(frequency) * 2 * np.pi * self.damping_ratio / self.wave_speed
        further = self.distance - self.reference_distance
        spread = 20 * self.exponent * np.log10(self.distance / self.reference_distance)
        change = -alpha * further * _NEPER - spread
        return stamp_change(change, long_name="ground distance", citations=self.citations)

    def validity_radius(self, frequency: Frequency) -> xr.DataArray:
        """``a/2 + c/f``, the least distance the formula is meant for [m]."""
        radius: xr.DataArray = 1 / exact(frequency) * self.wave_speed + self.source_extent / 2
        return radius

    def range_in_words(self, frequency: Frequency) -> str:
        """From which distance on it holds in the first and last band, and what there is."""
        radius = self.validity_radius(frequency)
        ends = [radius.isel(frequency=at) for at in dict.fromkeys((0, frequency.size - 1))]
        holds = " and ".join(
            f"{_metres(end)} at {label(float(end['frequency']))} Hz" for end in ends
        )
        return (
            f"it holds from {holds} on, and the distance is {_metres(self.distance)}, that of the "
            f"source {_metres(self.reference_distance)}"
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True where both distances reach the validity radius."""
        radius = self.validity_radius(frequency)
        valid: xr.DataArray = (radius <= self.distance) & (radius <= self.reference_distance)
        return valid


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class SpeedChange:
    """From the measured train speed to another, the same in all bands.

    Parameters
    ----------
    speed, reference_speed : float or DataArray
        Wanted and measured speed, in one unit [any].
    slope : float or DataArray
        dB per decade of speed [-]; 20 by the source, 10 to 15 has been observed.

    Notes
    -----
    ``slope · lg(v/v0)``; meant for the same trains and for changes within ±30 %, beyond which the
    peaks that follow sleeper and axle passage move to other bands.

    References
    ----------
    US FTA 2006, Table 10-1 [seen]; ±30 % from E DIN 45672-3:2023 [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> SpeedChange(speed=60.0, reference_speed=50.0).level_change(
    ...     third_octaves(63, 63)).round(1).item()
    1.6
    """

    speed: Numeric
    reference_speed: Numeric
    slope: Numeric = 20.0

    def __post_init__(self) -> None:
        positive("SpeedChange", "speed", self.speed, "")
        positive("SpeedChange", "reference_speed", self.reference_speed, "")
        finite("SpeedChange", "slope", self.slope)

    @property
    def quantity_in(self) -> End:
        """Velocity of the ground."""
        return GROUND

    @property
    def quantity_out(self) -> End:
        """Velocity of the ground."""
        return GROUND

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the law and of its range."""
        return (SPEED_LAW, EDIN_45672_3_SPEED)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """``slope · lg(v/v0)`` [dB]."""
        ratio = self.speed / self.reference_speed
        change = xr.zeros_like(frequency, dtype=float) + self.slope * np.log10(ratio)
        return stamp_change(change, long_name="train speed", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True within ±30 % of the measured speed."""
        ratio = self.speed / self.reference_speed
        near = (ratio >= 0.7) & (ratio <= 1.3)
        valid: xr.DataArray = xr.ones_like(frequency, dtype=bool) & near
        return valid


def _metres(distance: Numeric) -> str:
    low, high = (f"{float(end(np.asarray(distance))):.1f}" for end in (np.min, np.max))
    return f"{low} m" if low == high else f"{low} to {high} m"
