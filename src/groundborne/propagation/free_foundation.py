"""From the free ground to the foundation free of the building: short waves, and its own mass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, finite, positive, within
from groundborne.bands import exact, single_frequencies
from groundborne.citation import Citation
from groundborne.levels import decibel, mean_square, stamp_change
from groundborne.path import FREE_FOUNDATION, GROUND, End
from groundborne.structure import Mobility, Raft, free_velocity_ratio

KINEMATIC = Citation(
    key="kinematic-averaging",
    author="groundborne",
    title="waves along the ground under a rigid rectangle, or under a plate on its bed; mass of "
    "the foundation on its soil",
    mark="derived",
    status="transcribed",
)
COHERENT = Citation(
    key="coherent-share",
    author="groundborne",
    title="share 0.7 of the motion that no plan averages, fitted to the means of E DIN "
    "45672-3:2023, Annex A",
    mark="derived",
    status="assumed",
)
COHERENT_SHARE = 0.7
"""Amplitude share of ground motion that a rigid plan follows at all frequencies: fitted to the
means of E DIN 45672-3:2023 Annex A, which therefore cannot validate it."""
SPEEDS = (200.0, 2000.0)
"""Apparent speeds [m/s] taken where none is given, evenly over their logarithm: surface waves at a
few hundred, steep waves from a tunnel at a thousand and more [common practice]."""
_SPEEDS, _DIRECTIONS = 41, 180
_OVER, _AROUND = "apparent_speed", "direction_in_plan"


@checked
def plan_averaging(
    frequency: Frequency,
    *,
    length: Numeric,
    width: Numeric,
    apparent_speed: Numeric | None = None,
    direction: Numeric | None = None,
    rocking: bool = True,
) -> xr.DataArray:
    """Mean square of a rigid rectangle on waves along the ground over that of the ground [-].

    Parameters
    ----------
    frequency : DataArray
        Frequencies [Hz], not band labels.
    length, width : float or DataArray
        Plan [m], above 0.
    apparent_speed : float or DataArray, optional
        Speed [m/s] at which waves pass along the ground; without it the mean over ``SPEEDS``.
    direction : float or DataArray, optional
        Of a plane wave in plan [°], from the length towards the width; without it the mean over
        all.
    rocking : bool
        Whether the rectangle turns with the waves, and the mean over its plan is taken; else it
        only moves up and down.

    Returns
    -------
    xarray.DataArray
        0 to 1, on the dims of the frequencies and parameters.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    For a plane wave of wave numbers ``k_x, k_y``, ``X = k_x L/2``, ``Y = k_y W/2`` and spherical
    Bessel functions: ``j0²(X) j0²(Y)``, with rocking
    ``+ 3 j1²(X) j0²(Y) + 3 j0²(X) j1²(Y)``.

    References
    ----------
    Derived: least squares of a wave over a rectangle; ``Σ (2n+1) j_n² = 1`` is the limit of a
    foundation that follows every wave.

    Examples
    --------
    >>> f = xr.DataArray([10.0], dims="frequency")
    >>> plan_averaging(f, length=24.0, width=15.0, apparent_speed=300.0).round(4).values.tolist()
    [0.6903]
    """
    where = "plan_averaging"
    positive(where, "length", length, "m")
    positive(where, "width", width, "m")
    angle: Any = xr.DataArray(
        (np.arange(_DIRECTIONS) + 0.5) * np.pi / 2 / _DIRECTIONS, dims=_AROUND
    )
    if direction is not None:
        angle = np.deg2rad(finite(where, "direction", direction))
    wave = 2 * np.pi * frequency / _speeds(where, apparent_speed)
    x, y = wave * np.cos(angle) * length / 2, wave * np.sin(angle) * width / 2
    x0, y0 = (_bessel(0, v) ** 2 for v in (x, y))
    found = x0 * y0
    if rocking:
        x1, y1 = (_bessel(1, v) ** 2 for v in (x, y))
        found = found + 3 * (x1 * y0 + x0 * y1)
    return _mean(found, _AROUND, _OVER)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FreeFoundation:
    """From the free ground to the foundation on its soil, free of the building.

    Two things happen there that neither a column line nor an impedance of the soil holds: a large
    foundation does not follow waves shorter than itself, and its own mass rides on the soil.

    Parameters
    ----------
    foundation : Mobility
        Soil and foundation without the building, of one column or whole.
    length, width : float or DataArray, optional
        Plan [m] over which a rigid foundation averages waves, both or neither; pads and strips of a
        few metres have none. For a :class:`~groundborne.structure.Raft`, which averages by its
        stiffness, its size, beyond which it cannot.
    apparent_speed : float or DataArray, optional
        Speed [m/s] at which waves pass along the ground; where unknown the mean over ``SPEEDS``.
    direction : float or DataArray, optional
        Of a plane wave in plan [°]; without it the mean over all. Of no effect on a raft but by its
        size.
    rocking : bool
        As for :func:`plan_averaging`.
    coherent_share : float or DataArray, optional
        Amplitude share q of the motion that no plan averages [-], 0 to 1: the mean square is
        ``q² + (1 − q²)`` times that of the averaging. Without it 0.7 for a rigid plan [fitted] and
        for a raft that bends on waves of a given speed, and 0 for such a raft where the mean over
        ``SPEEDS`` is taken, in which fast waves are the share that nothing averages.

    Raises
    ------
    ValueError
        A parameter out of bounds, or a length without a width.

    Notes
    -----
    A raft moves in a wave of wave number k by ``s/(s′ + B k⁴)``, or where that is more as the rigid
    rectangle of its size; other foundations as that rectangle times ``Z_soil/(Z_soil + jωm)``.

    Vertically arriving waves, which reach the whole plan at once, are not reduced by any plan, and
    the bare rigid rectangle on slow waves is refuted by statistics: with 300 m/s it lies 15 dB
    below the means of buildings at 40 to 80 Hz (``tests/statistics/foundations.py``), and rafts
    that bend with basement walls 25 dB. Hence q.

    It leads to the velocity that drives a column line. Published losses
    (:func:`~groundborne.propagation.published_coupling`,
    :func:`~groundborne.propagation.edin_foundation`) lead from the ground to the loaded foundation,
    in which this averaging and the building's reaction are included: a path that has both does not
    meet, and is refused.

    References
    ----------
    Derived; share q fitted to E DIN 45672-3:2023 Annex A.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.structure import SpringFoundation
    >>> soil = SpringFoundation(stiffness=1e10, damping=5e8)
    >>> step = FreeFoundation(foundation=soil, length=24.0, width=15.0)
    >>> step.level_change(third_octaves(20, 20)).round(2).item()
    -1.0
    """

    foundation: Mobility
    length: Numeric | None = None
    width: Numeric | None = None
    apparent_speed: Numeric | None = None
    direction: Numeric | None = None
    rocking: bool = True
    coherent_share: Numeric | None = None

    def __post_init__(self) -> None:
        where = "FreeFoundation"
        if (self.length is None) != (self.width is None):
            raise ValueError(f"{where}: length and width are given together, or neither is")
        if self.length is not None and self.width is not None:
            positive(where, "length", self.length, "m")
            positive(where, "width", self.width, "m")
        if self.apparent_speed is not None:
            positive(where, "apparent_speed", self.apparent_speed, "m/s")
        if self.direction is not None:
            finite(where, "direction", self.direction)
        if self.coherent_share is not None:
            within(where, "coherent_share", self.coherent_share, 0.0, 1.0, "")

    @property
    def quantity_in(self) -> End:
        """Velocity of the ground."""
        return GROUND

    @property
    def quantity_out(self) -> End:
        """Velocity of the foundation, free of the building."""
        return FREE_FOUNDATION

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the method and of the foundation."""
        fitted = (COHERENT,) if self.coherent_share is None and self._share > 0 else ()
        return tuple(dict.fromkeys((KINEMATIC, *fitted, *self.foundation.citations)))

    @property
    def _share(self) -> Numeric:
        if self.coherent_share is not None:
            return self.coherent_share
        if isinstance(self.foundation, Raft):
            return 0.0 if self.apparent_speed is None else COHERENT_SHARE
        return 0.0 if self.length is None else COHERENT_SHARE

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Energy mean over the band, over directions and, where unknown, speeds [dB]."""
        f = single_frequencies(frequency, loss_factor=self.foundation.loss_factor_floor)
        alone = mean_square(free_velocity_ratio(self.foundation, f), "single_frequency")
        rigid: Any = None
        if self.length is not None and self.width is not None:
            rigid = plan_averaging(
                exact(frequency),
                length=self.length,
                width=self.width,
                apparent_speed=self.apparent_speed,
                direction=self.direction,
                rocking=self.rocking,
            )
        followed: Any
        if isinstance(self.foundation, Raft):
            wave = 2 * np.pi * f / _speeds("FreeFoundation", self.apparent_speed)
            bent = mean_square(self.foundation.velocity_in_wave(f, wave), "single_frequency")
            followed = _mean(bent, _OVER)
            if rigid is not None:
                followed = np.maximum(followed, rigid * alone)
        elif rigid is None:
            followed = alone
        else:
            followed = rigid * alone
        square = self._share**2
        return stamp_change(
            decibel(square * alone + (1 - square) * followed),
            long_name="ground to foundation free of the building",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere; there are statistics to hold it against from 5 to 80 Hz only."""
        return xr.ones_like(frequency, dtype=bool)


def _speeds(where: str, given: Numeric | None) -> Numeric:
    if given is not None:
        return positive(where, "apparent_speed", given, "m/s")
    return xr.DataArray(np.geomspace(*SPEEDS, _SPEEDS), dims=_OVER)


def _mean(found: xr.DataArray, *dims: str) -> xr.DataArray:
    return found.mean([d for d in dims if d in found.dims], skipna=False)


def _bessel(order: int, x: xr.DataArray) -> xr.DataArray:
    # Here, because scipy would double the time it takes to import the package.
    from scipy.special import spherical_jn

    result: xr.DataArray = xr.apply_ufunc(
        lambda v: spherical_jn(order, v),
        x,
        join="exact",
        keep_attrs=False,
        dask="parallelized",
        output_dtypes=[float],
    )
    return result
