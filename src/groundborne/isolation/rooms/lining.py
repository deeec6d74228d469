"""Linings whose fixings bridge them: radiation from points and lines of contact."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.bands import single_frequencies
from groundborne.citation import Citation
from groundborne.isolation.transmissibility import HYSTERETIC, hysteretic
from groundborne.levels import decibel, mean_square, stamp_change
from groundborne.path import SURFACE, End

VIGRAN_LINING = Citation(
    key="vigran2008-8.16",
    author="Vigran",
    year="2008",
    title="Building Acoustics",
    locator="eq. 8.16, lining on bridges",
    mark="seen",
    status="transcribed",
)
POINT_FACTOR = Citation(
    key="lining-point-bridge",
    author="groundborne",
    title="bridge factor of a point, 8 c0²/(π³ S fc²)",
    locator="from the power of a point-driven plate, Vigran 2008, eq. 6.62",
    mark="derived",
    status="transcribed",
)
LINE_FACTOR = Citation(
    key="lining-line-bridge",
    author="Cremer and Heckl",
    title="bridge factor of a line, 2 l c0/(π S fc)",
    mark="from memory",
    status="transcribed",
)
SOUND_SPEED = 340.0
"""c0 in air [m/s]."""


@checked
def point_bridge_factor(
    *, area: Numeric, critical_frequency: Numeric, sound_speed: Numeric = SOUND_SPEED
) -> Numeric:
    """Radiation of a lining that is driven at one point, over that of the bare base.

    Parameters
    ----------
    area : float or DataArray
        Of the lining [m²], above 0.
    critical_frequency : float or DataArray
        Of the lining [Hz], above 0.
    sound_speed : float or DataArray
        In air [m/s], above 0.

    Returns
    -------
    float or DataArray
        ``8 c0²/(π³ S fc²)`` [-].

    Raises
    ------
    ValueError
        A parameter that is not above 0.

    References
    ----------
    Derived from Vigran 2008, eq. 6.62: near field of a point-driven plate, well below fc.

    Examples
    --------
    >>> factor = point_bridge_factor(area=1.0, critical_frequency=2500.0)
    >>> [round(float(-10 * np.log10(n * factor)), 1) for n in (1, 2, 4)]
    [23.2, 20.2, 17.2]
    """
    where = "point_bridge_factor"
    positive(where, "area", area, "m²")
    positive(where, "critical_frequency", critical_frequency, "Hz")
    positive(where, "sound_speed", sound_speed, "m/s")
    return 8 * sound_speed**2 / (np.pi**3 * area * critical_frequency**2)


@checked
def line_bridge_factor(
    *,
    length: Numeric,
    area: Numeric,
    critical_frequency: Numeric,
    sound_speed: Numeric = SOUND_SPEED,
) -> Numeric:
    """Radiation of a lining that is driven along one line (stud, batten), over the bare base.

    Parameters
    ----------
    length : float or DataArray
        Of the line [m], above 0.
    area, critical_frequency, sound_speed : float or DataArray
        As for :func:`point_bridge_factor`.

    Returns
    -------
    float or DataArray
        ``2 l c0/(π S fc)`` [-].

    Raises
    ------
    ValueError
        A parameter that is not above 0.

    References
    ----------
    Cremer and Heckl [from memory].

    Examples
    --------
    >>> round(line_bridge_factor(length=2.5, area=10.0, critical_frequency=2500.0), 4)
    0.0216
    """
    where = "line_bridge_factor"
    positive(where, "length", length, "m")
    positive(where, "area", area, "m²")
    positive(where, "critical_frequency", critical_frequency, "Hz")
    positive(where, "sound_speed", sound_speed, "m/s")
    return 2 * length * sound_speed / (np.pi * area * critical_frequency)


@checked
def lining_improvement(
    frequency: Frequency,
    *,
    natural_frequency: Numeric,
    count: Numeric,
    factor: Numeric,
    velocity_ratio: Numeric = 1.0,
) -> xr.DataArray:
    """Improvement of a heavy base by a lining on bridges, as printed.

    Parameters
    ----------
    frequency : DataArray
        Frequencies [Hz], all above the natural frequency.
    natural_frequency : float or DataArray
        Of the lining on its air and studs [Hz], above 0.
    count : float or DataArray
        Bridges, 0 or more.
    factor : float or DataArray
        Bridge factor of one, 0 or more.
    velocity_ratio : float or DataArray
        Velocity of the lining at a bridge over that of the base, 0 to 1: 1 for rigid fixings.

    Returns
    -------
    xarray.DataArray
        ``−10 lg[(f0/f)⁴ + n σ_B (u2/u1)²]`` [dB]; positive improves.

    Raises
    ------
    ValueError
        A parameter out of bounds, or a frequency at or below the natural one.

    References
    ----------
    Vigran 2008, eq. 8.16 [seen].

    Examples
    --------
    >>> f = xr.DataArray([500.0], dims="frequency")
    >>> factor = point_bridge_factor(area=10.0, critical_frequency=2500.0)
    >>> lining_improvement(f, natural_frequency=50.0, count=20, factor=factor).round(1).item()
    20.2
    """
    where = "lining_improvement"
    _check_lining(where, natural_frequency, count, factor, velocity_ratio)
    ratio = frequency / natural_frequency
    if not bool((ratio > 1).all()):
        raise ValueError(
            f"{where}: a frequency is at or below the lining's own; the formula holds above it, "
            "and at it a lining amplifies"
        )
    return stamp_change(
        -decibel(ratio**-4 + count * factor * velocity_ratio**2),
        long_name="lining improvement",
        citations=(VIGRAN_LINING,),
    )


def _check_lining(
    where: str, natural_frequency: Numeric, count: Numeric, factor: Numeric, ratio: Numeric
) -> None:
    positive(where, "natural_frequency", natural_frequency, "Hz")
    not_negative(where, "count", count, "")
    not_negative(where, "factor", factor, "")
    within(where, "velocity_ratio", ratio, 0.0, 1.0, "")


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class BridgedLining:
    """A lining or hung ceiling with fixings that bridge it, as a path element.

    Parameters
    ----------
    natural_frequency : float or DataArray
        Of the lining on its hangers and air [Hz], above 0.
    loss_factor : float or DataArray
        Hysteretic loss factor [-], above 0 and at most 1.
    count, factor, velocity_ratio : float or DataArray
        As for :func:`lining_improvement`.
    critical_frequency : float or DataArray
        Of the lining [Hz]; bands from half of it upwards are not valid.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    ``10 lg(T² + n σ_B (u2/u1)²)`` with the band mean of the hysteretic transmissibility in place
    of ``(f0/f)⁴``, so that it holds at the resonance too. It is the change of the radiated power,
    written as a velocity that radiates like the base: the factor of bridges is of radiation.

    References
    ----------
    Vigran 2008, eq. 8.16 [seen]; transmissibility [from memory].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> factor = point_bridge_factor(area=10.0, critical_frequency=2500.0)
    >>> lining = BridgedLining(natural_frequency=25.0, loss_factor=0.1, count=10, factor=factor,
    ...                        critical_frequency=2500.0)
    >>> lining.level_change(third_octaves(25, 250))[[0, 4, 10]].round(1).values.tolist()
    [17.0, -13.9, -23.1]
    """

    natural_frequency: Numeric
    loss_factor: Numeric
    count: Numeric
    factor: Numeric
    critical_frequency: Numeric
    velocity_ratio: Numeric = 1.0

    def __post_init__(self) -> None:
        where = "BridgedLining"
        _check_lining(where, self.natural_frequency, self.count, self.factor, self.velocity_ratio)
        positive(where, "loss_factor", self.loss_factor, "")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        positive(where, "critical_frequency", self.critical_frequency, "Hz")

    @property
    def quantity_in(self) -> End:
        """Velocity of the bare surface."""
        return SURFACE

    @property
    def quantity_out(self) -> End:
        """Velocity of the lined surface that radiates the same power like the bare one."""
        return SURFACE

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (VIGRAN_LINING, HYSTERETIC)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Change of the radiated power [dB]."""
        f = single_frequencies(frequency, loss_factor=self.loss_factor)
        ratio = hysteretic(f / self.natural_frequency, loss_factor=self.loss_factor)
        layer = mean_square(xr.DataArray(ratio), "single_frequency")
        bridges = self.count * self.factor * self.velocity_ratio**2
        return stamp_change(
            decibel(layer + bridges), long_name="bridged lining", citations=self.citations
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """Below half the critical frequency of the lining."""
        valid: xr.DataArray = frequency < self.critical_frequency / 2
        return valid
