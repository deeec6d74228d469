"""A slab on walls or stiff beams as a modal impedance: it loads them otherwise than columns."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric
from groundborne.citation import Citation
from groundborne.structure import panel, reverberant, thin_slab
from groundborne.structure.floating import FloatingFloor
from groundborne.structure.poles import Poles


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class EdgeSupportedSlab:
    """A slab simply supported on four edges (walls, stiff beams) that move together.

    Parameters
    ----------
    span_x, span_y : float or DataArray
        Panel [m], above 0.
    thickness, youngs_modulus, density, poisson, loss_factor, superimposed_mass : float or DataArray
        As for :class:`FlatSlab`.
    panel_share : float or DataArray
        Panels carried by the column or wall line this slab is attached to.
    floating_floor : FloatingFloor, optional
        Carried by the slab, mode by mode; it must be limp. ``on_floating_floor`` as for
        :class:`FlatSlab`.

    Raises
    ------
    ValueError
        A parameter out of bounds, or a floating floor with a bending stiffness.

    Notes
    -----
    Moving edges excite the modes with odd m, n; each carries the share ``μ = 64/(π⁴ m² n²)`` of
    the mass M (they add up to 1):
    ``Z = jωM Σ μ ω_mn²(1 + jη)/(ω_mn²(1 + jη) − ω²) = jωM (1 + κ⁴ Σ μ/(k⁴ − κ⁴))``. The second
    form holds the mass of every mode, so no residual mass is left over. Mid-panel and surface
    values are of the absolute velocity: the edges' own and the bending on top of it.

    At low frequency the slab is its whole mass; in band average at high frequency a plate driven
    along its edges, ``perimeter × m″ c_B (1 + j)/2``.

    References
    ----------
    Derived from thin-plate theory.

    Examples
    --------
    >>> slab = EdgeSupportedSlab(span_x=6.0, span_y=4.0, thickness=0.18, youngs_modulus=26e9,
    ...                          density=2300.0, poisson=0.2, loss_factor=0.04)
    >>> round(float(slab.first_resonance), 1)
    25.3
    """

    span_x: Numeric
    span_y: Numeric
    thickness: Numeric
    youngs_modulus: Numeric
    density: Numeric
    poisson: Numeric
    loss_factor: Numeric
    superimposed_mass: Numeric = 0.0
    panel_share: Numeric = 1.0
    floating_floor: FloatingFloor | None = None

    def __post_init__(self) -> None:
        thin_slab.check("EdgeSupportedSlab", self)
        if self.floating_floor is not None and self.floating_floor.bends:
            raise ValueError(
                "EdgeSupportedSlab: floating_floor has a bending stiffness; its free edges do not "
                "follow the modes of a supported slab. Give floating_floor.limp(), which holds up "
                "to FloorOnSlab.local_up_to"
            )

    @classmethod
    def tuned(cls, *, first_resonance: Numeric, **parameters: Any) -> EdgeSupportedSlab:
        """Slab whose modulus is fitted to a given first resonance [Hz], see :class:`FlatSlab`."""
        modulus = thin_slab.modulus_for(
            "EdgeSupportedSlab.tuned", partial(cls, **parameters), parameters, first_resonance
        )
        return cls(youngs_modulus=modulus, **parameters)

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return thin_slab.citations(self)

    @property
    def loss_factor_floor(self) -> float:
        """Smaller loss factor of slab and floating floor."""
        return thin_slab.loss_factor_floor(self)

    @property
    def bending_stiffness(self) -> Numeric:
        """B′ [N m]."""
        return thin_slab.bending_stiffness(self)

    @property
    def mass_per_area(self) -> Numeric:
        """Slab and superimposed mass, without a floating floor [kg/m²]."""
        return thin_slab.mass_per_area(self)

    @property
    def mass(self) -> Numeric:
        """Mass on the edges, with a floating floor [kg]."""
        return thin_slab.mass(self)

    @property
    def first_resonance(self) -> Numeric:
        """First resonance with the edges at rest, without a floating floor [Hz]."""
        shape = 1 / self.span_x**2 + 1 / self.span_y**2
        frequency: Numeric = (
            np.pi / 2 * np.sqrt(self.bending_stiffness / self.mass_per_area) * shape
        )
        return frequency

    def point_mobility(self) -> Numeric:
        """Mobility at a point far from the supports, as of an endless plate [m/(N s)].

        ``1/(8 √(B′m″))``, real, without a floating floor: see
        :class:`~groundborne.structure.InfinitePlate`.
        """
        return thin_slab.point_mobility(self)

    def impedance(self, frequency: Frequency) -> xr.DataArray:
        """Force on all edges together over their velocity [N s/m]."""
        z = thin_slab.wavenumber4(self, frequency)
        area = self.span_x * self.span_y * self.panel_share
        mass = thin_slab.effective_mass(self, frequency) * area
        impedance: xr.DataArray = (
            2j * np.pi * frequency * mass * (1 + z * thin_slab.modal_sum(panel.edges_sum, self, z))
        )
        return impedance

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility of the edges together [m/(N s)]."""
        return 1 / self.impedance(frequency)

    def mean_velocity_ratio(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Surface mean of the absolute velocity over that of the edges, complex [-]."""
        z = thin_slab.wavenumber4(self, frequency)
        slab = 1 + z * thin_slab.modal_sum(panel.edges_sum, self, z)
        ratio: xr.DataArray = slab * thin_slab.top_ratio(self, frequency, on_floating_floor)
        return ratio

    def reverberant_ratio(self, frequency: Frequency) -> xr.DataArray:
        """Mean square over that of the edges by the balance of power, see ``ColumnLine`` [-]."""
        around = 2 / self.span_x + 2 / self.span_y
        return reverberant.of_edges(self, frequency, supported=around)

    def mid_panel_ratio(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Velocity at mid-panel over that of the edges, complex [-]."""
        z = thin_slab.wavenumber4(self, frequency)
        slab = 1 + z * thin_slab.modal_sum(panel.edges_mid_sum, self, z)
        ratio: xr.DataArray = slab * thin_slab.top_ratio(self, frequency, on_floating_floor)
        return ratio

    def surface_mean_square_ratio(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Surface mean square of the absolute velocity over that of the edges squared [-]."""
        poles = Poles.of(self, frequency)
        (z,) = poles.at
        rigid = 1 + 2 * (z * thin_slab.modal_sum(panel.edges_sum, self, z)).real
        slab = rigid + abs(z) ** 2 * poles.mean_square(panel.edges_sum, self, (1.0,))
        ratio: xr.DataArray = (
            slab * abs(thin_slab.top_ratio(self, frequency, on_floating_floor)) ** 2
        )
        return ratio
