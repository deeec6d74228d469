"""A floating floor on a slab, as a mass that reacts locally through its layer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, positive, within
from groundborne.citation import Citation

LOCAL_REACTION = Citation(
    key="floating-floor-local-reaction",
    author="groundborne",
    title="floating floor as a locally reacting mass on each mode of the slab",
    locator="local reaction as behind Vigran 2008, Building Acoustics, eq. 8.40",
    mark="derived",
    status="transcribed",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class FloatingFloor:
    """A heavy layer on mounts or a resilient layer, every part of it moving with the slab below.

    Parameters
    ----------
    mass_per_area : float or DataArray
        Of the floating layer [kg/m²], above 0.
    stiffness_per_area : float or DataArray
        Dynamic stiffness of mounts *and* enclosed air together [N/m³], above 0.
    loss_factor : float or DataArray
        Of the layer [-], above 0 and at most 1.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    The layer's own bending stiffness and waves are left out (local reaction), so every mode of the
    slab carries the same frequency-dependent mass ``m_f/[1 − (f/f_f)²/(1 + jη)]``, which adds to
    the slab below ``f_f`` and changes its sign above. Waves in the floating layer and rigid
    bridges, which limit a built floor well above ``f_f``, are not in it.

    References
    ----------
    Derived; local reaction as behind Vigran 2008, eq. 8.40.

    Examples
    --------
    >>> floor = FloatingFloor(mass_per_area=250.0, stiffness_per_area=250.0 * (2*np.pi*10.0)**2,
    ...                       loss_factor=0.1)
    >>> round(float(floor.natural_frequency), 6)
    10.0
    >>> f = xr.DataArray([0.01, 40.0], dims="frequency")
    >>> abs(floor.velocity_ratio(f)).round(3).values.tolist()
    [1.0, 0.067]
    """

    mass_per_area: Numeric
    stiffness_per_area: Numeric
    loss_factor: Numeric

    def __post_init__(self) -> None:
        positive("FloatingFloor", "mass_per_area", self.mass_per_area, "kg/m²")
        positive("FloatingFloor", "stiffness_per_area", self.stiffness_per_area, "N/m³")
        positive("FloatingFloor", "loss_factor", self.loss_factor, "")
        within("FloatingFloor", "loss_factor", self.loss_factor, 0.0, 1.0, "")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (LOCAL_REACTION,)

    @property
    def natural_frequency(self) -> Numeric:
        """Of the layer on a slab that does not move [Hz]."""
        frequency: Numeric = np.sqrt(self.stiffness_per_area / self.mass_per_area) / (2 * np.pi)
        return frequency

    def velocity_ratio(self, frequency: xr.DataArray) -> xr.DataArray:
        """Velocity of the floating floor over that of the slab under it, complex [-]."""
        squared = (frequency / self.natural_frequency) ** 2
        ratio: xr.DataArray = 1 / (1 - squared / (1 + 1j * self.loss_factor))
        return ratio

    def effective_mass(self, frequency: xr.DataArray) -> xr.DataArray:
        """Mass per area the slab feels, complex [kg/m²]."""
        return self.velocity_ratio(frequency) * self.mass_per_area
