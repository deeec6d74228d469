"""Radiation efficiency of plates by ISO 12354-1, Annex B."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, positive
from groundborne.bands import exact
from groundborne.citation import Citation

ISO_12354_1_B = Citation(
    key="iso12354-1-b",
    author="ISO 12354-1",
    year="2017",
    title="Airborne sound insulation between rooms",
    locator="Annex B, radiation factor of free and forced waves",
    mark="seen second-hand",
    status="verified",
)
BAFFLED_PISTON = Citation(
    key="baffled-rectangular-piston",
    author="textbook acoustics",
    title="radiation resistance of a rectangular piston in a baffle, Rayleigh integral",
    mark="derived",
    status="transcribed",
)
HOPKINS_A2 = Citation(
    key="hopkins2007-a2",
    author="Hopkins",
    year="2007",
    title="Sound Insulation",
    locator="Table A2, longitudinal wave speeds and h·fc",
    mark="seen second-hand",
    status="verified",
)

SPEED_OF_SOUND = 340.0
"""Speed of sound of ISO 12354-1 [m/s]."""

_LARGEST = 2.0  # the standard's own upper limit of the radiation factor

_RAYS, _WEIGHTS = np.polynomial.legendre.leggauss(32)
_WIDE = 40.0  # k times the shorter side from which a piston radiates like a plane wave, to 0.01


@checked
def critical_frequency(
    *, longitudinal_speed: Numeric, thickness: Numeric, speed_of_sound: float = SPEED_OF_SOUND
) -> Numeric:
    """Critical frequency of a homogeneous plate.

    Parameters
    ----------
    longitudinal_speed : float or DataArray
        Quasi-longitudinal wave speed cL [m/s].
    thickness : float or DataArray
        Plate thickness [m].
    speed_of_sound : float
        c0 [m/s]; 340 in the standard, 343 in Hopkins' table.

    Returns
    -------
    float or DataArray
        ``c0² √3/(π cL t)`` [Hz]. The standard rounds ``π/√3 = 1.814`` to 1.8, 0.8 % higher.

    Raises
    ------
    ValueError
        A parameter that is not above 0.

    References
    ----------
    Hopkins 2007, Table A2 [seen second-hand].

    Examples
    --------
    >>> round(critical_frequency(longitudinal_speed=3800.0, thickness=0.25))
    67
    """
    where = "critical_frequency"
    positive(where, "longitudinal_speed", longitudinal_speed, "m/s")
    positive(where, "thickness", thickness, "m")
    positive(where, "speed_of_sound", speed_of_sound, "m/s")
    return float(speed_of_sound**2 * np.sqrt(3.0)) / (np.pi * longitudinal_speed * thickness)


def _free(f: Any, fc: Any, long: Any, short: Any, c0: float) -> Any:
    """Radiation factor of free bending waves; arrays broadcast."""
    area, edge = long * short, 2 * (long + short)
    f11 = c0**2 / (4 * fc) * (1 / long**2 + 1 / short**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        above = 1 / np.sqrt(1 - fc / np.where(f > fc, f, np.inf))
        above = np.where(f > fc, above, np.inf)
        low = 4 * area * (f / c0) ** 2
        line = np.sqrt(2 * np.pi * f * (long + short) / (16 * c0))
        lam = np.sqrt(np.minimum(f, fc) / fc)
        rest = 1 - lam**2
        edge_part = (rest * np.log((1 + lam) / (1 - lam)) + 2 * lam) / (4 * np.pi**2 * rest**1.5)
        corner = 8 * c0**2 * (1 - 2 * lam**2) / (fc**2 * np.pi**4 * area * lam * np.sqrt(rest))
        below = edge / area * (c0 / fc) * edge_part + np.where(f <= fc / 2, corner, 0.0)
        below = np.where(np.isfinite(below), below, np.inf)
    below = np.where((f < f11) & (f11 < fc / 2) & (below > low), low, below)
    large = np.where(f >= fc, above, below)
    small = np.where((f < fc) & (low < line), low, np.where((f > fc) & (above < line), above, line))
    return np.minimum(np.where(f11 <= fc / 2, large, small), _LARGEST)


@checked
def radiation_efficiency(
    frequency: Frequency,
    *,
    length: Numeric,
    width: Numeric,
    critical_frequency: Numeric,
    speed_of_sound: float = SPEED_OF_SOUND,
) -> xr.DataArray:
    """Radiation factor σ of the free bending waves of a baffled rectangular plate.

    Parameters
    ----------
    frequency : DataArray
        Frequencies [Hz]; the standard prints its example at nominal labels, 63.0 Hz and so on.
    length, width : float or DataArray
        Plate size in any order [m].
    critical_frequency : float or DataArray
        [Hz].
    speed_of_sound : float
        c0 [m/s].

    Returns
    -------
    xarray.DataArray
        σ [-], above 0 and at most 2 (the standard's limit).

    Raises
    ------
    ValueError
        A parameter that is not above 0.

    Notes
    -----
    Well below the critical frequency, walls at right angles along the edges raise σ two to four
    times; that is not included.

    References
    ----------
    ISO 12354-1:2017, Annex B [seen second-hand].

    Examples
    --------
    >>> f = xr.DataArray([63.0], dims="frequency")
    >>> radiation_efficiency(f, length=5.0, width=4.0, critical_frequency=76.8).round(4).item()
    0.8092
    """
    where = "radiation_efficiency"
    positive(where, "length", length, "m")
    positive(where, "width", width, "m")
    positive(where, "critical_frequency", critical_frequency, "Hz")
    sigma: xr.DataArray = xr.apply_ufunc(
        _free,
        frequency,
        critical_frequency,
        np.maximum(length, width),
        np.minimum(length, width),
        speed_of_sound,
        dask="parallelized",
        output_dtypes=[float],
        keep_attrs=False,
    )
    sigma.attrs = {"long_name": "radiation factor", "units": "1", "citations": ISO_12354_1_B.text}
    return sigma


@checked
def forced_radiation_efficiency(
    frequency: Frequency,
    *,
    length: Numeric,
    width: Numeric,
    speed_of_sound: float = SPEED_OF_SOUND,
) -> xr.DataArray:
    """Radiation factor of forced waves on a baffled rectangular plate.

    Parameters
    ----------
    frequency : DataArray
        Frequencies [Hz].
    length, width : float or DataArray
        Plate size in any order [m].
    speed_of_sound : float
        c0 [m/s].

    Returns
    -------
    xarray.DataArray
        ``0.5 [ln(k0 √(l1 l2)) − Λ]`` [-], at most 2.

    Raises
    ------
    ValueError
        A size that is not above 0, or a frequency so low that the formula leaves no factor above
        0 (k0 √(l1 l2) below about 0.5).

    References
    ----------
    ISO 12354-1:2017, Annex B [seen second-hand].

    Examples
    --------
    >>> f = xr.DataArray([63.0], dims="frequency")
    >>> forced_radiation_efficiency(f, length=5.0, width=4.0).round(4).item()
    0.9059
    """
    positive("forced_radiation_efficiency", "length", length, "m")
    positive("forced_radiation_efficiency", "width", width, "m")
    long, short = np.maximum(length, width), np.minimum(length, width)
    k0 = 2 * np.pi * frequency / speed_of_sound
    ratio = short / long
    shape = (
        -0.964
        - (0.5 + ratio / np.pi) * np.log(ratio)
        + 5 * ratio / (2 * np.pi)
        - 1 / (4 * np.pi * long * short * k0**2)
    )
    sigma: xr.DataArray = 0.5 * (np.log(k0 * np.sqrt(long * short)) - shape)
    positive("forced_radiation_efficiency", "radiation factor", sigma, "; the band is too low")
    sigma = sigma.where(sigma < _LARGEST, _LARGEST)
    sigma.attrs = {"long_name": "radiation factor", "units": "1", "citations": ISO_12354_1_B.text}
    return sigma


def _piston(k: Any, long: Any, short: Any) -> Any:
    """``2k/(π a b) ∫∫ (a − x)(b − y) sin(kr)/r dx dy`` in polar coordinates; arrays broadcast."""
    k, a, b = (np.asarray(x, float)[..., np.newaxis] for x in (k, long, short))
    corner = np.arctan2(b, a)
    total: Any = 0.0
    for start, end, side in ((0.0, corner, "a"), (corner, np.pi / 2, "b")):
        angle = start + (end - start) * (_RAYS + 1) / 2
        c, s = np.cos(angle), np.sin(angle)
        reach = k * (a / c if side == "a" else b / s)
        wave, across = np.cos(reach), np.sin(reach)
        first = (1 - wave) / k
        second = (across - reach * wave) / k**2
        third = ((2 - reach**2) * wave + 2 * reach * across - 2) / k**3
        along = a * b * first - (a * s + b * c) * second + c * s * third
        total = total + (_WEIGHTS / 2 * (end - start) * along).sum(-1)
    k, a, b = (x[..., 0] for x in (k, a, b))
    # Of a plate that is small to the wave the terms cancel to rounding; there the limit is exact.
    factor = np.where(k * a < 1e-2, k**2 * a * b / (2 * np.pi), 2 * k / (np.pi * a * b) * total)
    return np.where(k * b > _WIDE, 1.0, factor)


@checked
def piston_radiation_efficiency(
    frequency: Frequency,
    *,
    length: Numeric,
    width: Numeric,
    speed_of_sound: float = SPEED_OF_SOUND,
) -> xr.DataArray:
    """Radiation factor of a baffled rectangular plate that moves to and fro as a whole.

    Parameters
    ----------
    frequency : DataArray
        Frequencies [Hz].
    length, width : float or DataArray
        Plate size in any order [m].
    speed_of_sound : float
        c0 [m/s].

    Returns
    -------
    xarray.DataArray
        σ [-], above 0 and about 1.1 at most.

    Raises
    ------
    ValueError
        A size or speed that is not above 0.

    Notes
    -----
    ``k² S/(2π)`` while the plate is small to the wave, 1 when it is large. The factor of forced
    waves of ISO 12354-1 (:func:`forced_radiation_efficiency`) is a mean over waves that run along
    the plate at all angles, as airborne sound forces them: of 5 x 4 m it is 1.2 dB lower at
    31.5 Hz, 0.9 dB higher at 125 Hz, and has no value below about 9 Hz.

    References
    ----------
    Derived: Rayleigh integral over the piston, exact.

    Examples
    --------
    >>> f = xr.DataArray([10.0, 63.0, 250.0], dims="frequency")
    >>> piston_radiation_efficiency(f, length=5.0, width=4.0).round(4).values.tolist()
    [0.1046, 1.0578, 1.0025]
    """
    where = "piston_radiation_efficiency"
    positive(where, "length", length, "m")
    positive(where, "width", width, "m")
    positive(where, "speed_of_sound", speed_of_sound, "m/s")
    sigma: xr.DataArray = xr.apply_ufunc(
        _piston,
        2 * np.pi * frequency / speed_of_sound,
        np.maximum(length, width),
        np.minimum(length, width),
        dask="parallelized",
        output_dtypes=[float],
        keep_attrs=False,
    )
    sigma.attrs = {"long_name": "radiation factor", "units": "1", "citations": BAFFLED_PISTON.text}
    return sigma


@runtime_checkable
class Radiation(Protocol):
    """Anything that answers with a radiation factor per band."""

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the numbers."""
        ...

    def efficiency(self, frequency: Frequency) -> xr.DataArray:
        """Radiation factor σ [-] at nominal bands."""
        ...


@runtime_checkable
class PistonRadiation(Radiation, Protocol):
    """A radiation that also answers for the motion of the surface as a whole."""

    def piston_efficiency(self, frequency: Frequency) -> xr.DataArray:
        """Radiation factor σ [-] of the mean velocity, at nominal bands."""
        ...


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class RadiatingPlate:
    """A slab, wall or leaf that radiates by its free bending waves, and by its mean velocity.

    Parameters
    ----------
    length, width : float or DataArray
        Size [m].
    critical_frequency : float or DataArray
        [Hz]; see :func:`critical_frequency`.
    factor : float or DataArray
        Multiplies σ [-], for example 0.5 where half the walls are light; above 0.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> slab = RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
    >>> slab.efficiency(third_octaves(100, 100)).round(4).item()
    1.0196
    """

    length: Numeric
    width: Numeric
    critical_frequency: Numeric
    factor: Numeric = 1.0

    def __post_init__(self) -> None:
        positive("RadiatingPlate", "length", self.length, "m")
        positive("RadiatingPlate", "width", self.width, "m")
        positive("RadiatingPlate", "critical_frequency", self.critical_frequency, "Hz")
        positive("RadiatingPlate", "factor", self.factor, "")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (ISO_12354_1_B,)

    def efficiency(self, frequency: Frequency) -> xr.DataArray:
        """Radiation factor times `factor` [-]."""
        sigma = radiation_efficiency(
            exact(frequency),
            length=self.length,
            width=self.width,
            critical_frequency=self.critical_frequency,
        )
        return sigma * self.factor

    def piston_efficiency(self, frequency: Frequency) -> xr.DataArray:
        """Radiation factor of the mean velocity times `factor` [-]."""
        sigma = piston_radiation_efficiency(exact(frequency), length=self.length, width=self.width)
        return sigma * self.factor
