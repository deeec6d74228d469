"""A floating floor on a slab: a mass on its layer, with or without bending of its own."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, positive, within
from groundborne.citation import Citation

LOCAL_REACTION = Citation(
    key="floating-floor-local-reaction",
    author="groundborne",
    title="floating floor on each mode of the slab, limp or bending with it",
    locator="local reaction as behind Vigran 2008, Building Acoustics, eq. 8.40",
    mark="derived",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FloatingFloor:
    """A heavy layer on mounts or a resilient layer, on every mode of the slab below.

    Parameters
    ----------
    mass_per_area : float or DataArray
        Of the floating layer [kg/m²], above 0.
    stiffness_per_area : float or DataArray
        Dynamic stiffness of mounts *and* enclosed air together [N/m³], above 0.
    loss_factor : float or DataArray
        Of the layer [-], above 0 and at most 1.
    bending_stiffness : float or DataArray
        B′ of the floating layer [N m]; 0 where it is limp.
    span_bending_stiffness : float or DataArray, optional
        B′ along the span of a one-way slab [N m], where battens make it differ.
    bending_loss_factor : float or DataArray
        Of its bending [-], above 0 and at most 1; 0.03 is concrete or boards as built, common
        practice.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    A limp layer reacts locally: every mode of the slab carries the same frequency-dependent mass
    ``m_f/[1 − (f/f_f)²/(1 + jη)]``, which adds to the slab below ``f_f`` and changes its sign
    above. A layer that bends resists short waves: the mode with wave number k of a flat slab sees
    ``s (1 − T)`` with ``T = s/(s + B′ k⁴ − m_f ω²)``. There the layer is taken to run on over the
    panels as the slab does, and its free edges are not in it; on a one-way slab its ends are free.
    Rigid bridges, which limit a built floor well above ``f_f``, are in neither.

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
    bending_stiffness: Numeric = 0.0
    bending_loss_factor: Numeric = 0.03
    span_bending_stiffness: Numeric | None = None

    def __post_init__(self) -> None:
        positive("FloatingFloor", "mass_per_area", self.mass_per_area, "kg/m²")
        positive("FloatingFloor", "stiffness_per_area", self.stiffness_per_area, "N/m³")
        positive("FloatingFloor", "loss_factor", self.loss_factor, "")
        within("FloatingFloor", "loss_factor", self.loss_factor, 0.0, 1.0, "")
        if self.bends:
            positive("FloatingFloor", "bending_stiffness", self.bending_stiffness, "N m")
        if self.span_bending_stiffness is not None:
            along = self.span_bending_stiffness
            positive("FloatingFloor", "span_bending_stiffness", along, "N m")
        positive("FloatingFloor", "bending_loss_factor", self.bending_loss_factor, "")
        within("FloatingFloor", "bending_loss_factor", self.bending_loss_factor, 0.0, 1.0, "")

    @property
    def bends(self) -> bool:
        """Whether the layer has a bending stiffness of its own."""
        return bool(np.any(np.asarray(self.stiffness_along_span) != 0))

    @property
    def stiffness_along_span(self) -> Numeric:
        """B′ along the span of a one-way slab [N m]."""
        along = self.span_bending_stiffness
        return self.bending_stiffness if along is None else along

    def limp(self) -> FloatingFloor:
        """The same layer without bending stiffness."""
        return replace(self, bending_stiffness=0.0, span_bending_stiffness=None)

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (LOCAL_REACTION,)

    @property
    def natural_frequency(self) -> Numeric:
        """Of the layer on a slab that does not move [Hz]."""
        frequency: Numeric = np.sqrt(self.stiffness_per_area / self.mass_per_area) / (2 * np.pi)
        return frequency

    def velocity_ratio(self, frequency: Frequency) -> xr.DataArray:
        """Velocity of a limp layer, or of a rigid base's floor, over that below, complex [-]."""
        squared = (frequency / self.natural_frequency) ** 2
        ratio: xr.DataArray = 1 / (1 - squared / (1 + 1j * self.loss_factor))
        return ratio

    def effective_mass(self, frequency: Frequency) -> xr.DataArray:
        """Mass per area of a limp layer as the slab feels it, complex [kg/m²]."""
        return self.velocity_ratio(frequency) * self.mass_per_area
