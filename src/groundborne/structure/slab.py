"""A flat slab on a column grid as a modal impedance, and what any slab of a column line is.

All bending modes of a thin plate are summed in closed form (:mod:`groundborne.structure.panel`); a
floating floor is carried mode by mode.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any, Protocol, runtime_checkable

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known
from groundborne.citation import Citation
from groundborne.structure import lattice, panel, reverberant, thin_slab
from groundborne.structure.edge_slab import EdgeSupportedSlab
from groundborne.structure.floating import FloatingFloor
from groundborne.structure.one_way_slab import OneWaySlab
from groundborne.structure.phases import ColumnPhases
from groundborne.structure.plate import INTERIOR_FACTOR
from groundborne.structure.poles import Poles


@runtime_checkable
class Slab(Protocol):
    """Anything that loads a column with an impedance at a storey."""

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the numbers."""
        ...

    @property
    def loss_factor_floor(self) -> float:
        """Smallest loss factor [-] inside; it sets how finely a band is sampled."""
        ...

    def impedance(self, frequency: Frequency) -> xr.DataArray:
        """Force on the slab over the velocity of the column [N s/m]."""
        ...


LOADS = ("panel", "endless plate", "endless plate with panel mass")
"""How a flat slab loads its columns: as the panels it has; as a plate that never sends anything
back; as that in series with the mass of the panel."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FlatSlab:
    """A flat slab on a regular column grid, all columns of the grid moving in phase.

    Parameters
    ----------
    span_x, span_y : float or DataArray
        Column grid [m], above 0.
    thickness : float or DataArray
        [m], above 0.
    youngs_modulus : float or DataArray
        Dynamic modulus [Pa], above 0; of a cracked slab the cracked one.
    density : float or DataArray
        Of the concrete [kg/m³].
    poisson : float or DataArray
        Poisson's ratio, 0 to 0.499.
    loss_factor : float or DataArray
        Hysteretic loss factor η of the slab with its finishes [-], above 0 and at most 1.
    superimposed_mass : float or DataArray
        Finishes, partitions and the share of live load that moves with the slab [kg/m²].
    panel_share : float or DataArray
        Panels carried by the column: 1 for an interior column, 0.5 at an edge, 0.25 in a corner.
        The free edge's own modes are not modelled.
    floating_floor : FloatingFloor, optional
        Carried by the slab, mode by mode, with its own bending where it has any. The velocities
        of :meth:`mid_panel_ratio` and :meth:`surface_mean_square_ratio` are of the slab, or with
        ``on_floating_floor=True`` of the floor on it.
    load : str
        One of ``LOADS``. Of an endless plate ``8 √(B′m″)``, mid-panel and surface stay those of
        the panel. It is one column moving alone against neighbours that do not answer, has no
        mass below the first resonance (Z does not fall to ``jωm″ab``), and loses energy in every
        storey without end: fair up to eight storeys, too quiet above. In series with the mass of
        the panel the first fault is mended.

    Raises
    ------
    ValueError
        A parameter out of bounds, or an unknown load.

    Notes
    -----
    The panel between four columns has modes ``cos(2πmx/a) cos(2πny/b)`` with m, n = 0, 1, 2 …,
    ``k² = (2πm/a)² + (2πn/b)²`` and weights ε = 1 for index 0, else 2. Mobility at the column:
    ``Y = (jω/(a b)) Σ ε_m ε_n/(B′(1 + jη) k⁴ − ω² m″)``; at mid-panel each term carries
    ``(−1)^(m+n)``; the surface mean square is ``Σ ε_m ε_n/|…|²`` over the square of the column's
    sum. All modes are in the sums (relative error about 1e-6; ``tests/properties`` compares them
    with double sums).

    At low frequency the slab is its whole mass; in band average well above its first resonances
    an infinite plate, ``1/(8 √(B′m″))``, from which single bands stray by up to 15 dB. The plate
    is thin: fair while a bending wave is longer than about six thicknesses.

    An engineer's floor frequency is :attr:`first_resonance`, where the column stands still and the
    panel moves. That is the zero of Y, well below its first pole; use :meth:`tuned` to fit E.

    References
    ----------
    Derived from thin-plate theory.

    Examples
    --------
    >>> slab = FlatSlab(span_x=8.0, span_y=7.5, thickness=0.28, youngs_modulus=38e9,
    ...                 density=2400.0, poisson=0.2, loss_factor=0.05, superimposed_mass=150.0)
    >>> round(float(slab.first_resonance), 1)
    11.9
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
    load: str = LOADS[0]

    def __post_init__(self) -> None:
        thin_slab.check("FlatSlab", self)
        known("FlatSlab", "load", self.load, LOADS)

    @classmethod
    def tuned(cls, *, first_resonance: Numeric, **parameters: Any) -> FlatSlab:
        """Slab whose modulus is fitted to a given first resonance.

        Parameters
        ----------
        first_resonance : float or DataArray
            Frequency [Hz] at which the panel resonates with its columns at rest, without a
            floating floor.
        **parameters
            All of the class but `youngs_modulus`.

        Returns
        -------
        FlatSlab
            With ``E`` such that :attr:`first_resonance` is the one given.

        Raises
        ------
        ValueError
            A frequency that is not above 0, a modulus given as well, or a parameter out of bounds.
        """
        modulus = thin_slab.modulus_for(
            "FlatSlab.tuned", partial(cls, **parameters), parameters, first_resonance
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
        """Mass the column carries, with a floating floor [kg]."""
        return thin_slab.mass(self)

    @cached_property
    def first_resonance(self) -> Numeric:
        """First panel resonance with the columns at rest, without a floating floor [Hz]."""
        z = xr.apply_ufunc(
            lambda a, b: panel.first_zero(np.asarray(a, float), np.asarray(b, float)),
            self.span_x,
            self.span_y,
            join="exact",
            keep_attrs=False,
            dask="parallelized",
            output_dtypes=[float],
        )
        frequency: Numeric = np.sqrt(z * self.bending_stiffness / self.mass_per_area) / (2 * np.pi)
        return frequency

    def point_mobility(self) -> Numeric:
        """Mobility at a point far from the supports, as of an endless plate [m/(N s)].

        ``1/(8 √(B′m″))``, real, without a floating floor: see
        :class:`~groundborne.structure.InfinitePlate`.
        """
        return thin_slab.point_mobility(self)

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility at the column [m/(N s)]."""
        poles = Poles.of(self, frequency)
        area = self.span_x * self.span_y * self.panel_share
        mobility: xr.DataArray = (
            2j * np.pi * frequency / area * poles.total(panel.columns_sum, self, poles.slab)
        )
        return mobility

    def impedance(self, frequency: Frequency) -> xr.DataArray:
        """Impedance at the column, by :attr:`load` [N s/m]."""
        if self.load == LOADS[0]:
            return 1 / self.driving_point_mobility(frequency)
        per_area = thin_slab.effective_mass(self, frequency)
        stiffness = self.bending_stiffness * (1 + 1j * self.loss_factor)
        plate = 1 / (INTERIOR_FACTOR * np.sqrt(stiffness * per_area) + 0 * frequency)
        if self.load == LOADS[2]:
            whole = per_area * self.span_x * self.span_y
            plate = plate + 1 / (2j * np.pi * frequency * whole)
        impedance: xr.DataArray = self.panel_share / plate
        return impedance

    def lattice_impedance(self, frequency: Frequency, phases: ColumnPhases) -> xr.DataArray:
        """Impedance of one panel at its column, where columns move with phases [N s/m].

        Parameters
        ----------
        frequency : DataArray
            Frequencies [Hz], not band labels.
        phases : ColumnPhases
            How the columns move against each other.

        Returns
        -------
        xarray.DataArray
            Complex, dims ``phase_x`` and ``phase_y`` before those of :meth:`impedance`; in phase
            equal to it.
        """
        if phases.in_phase or self.load != LOADS[0]:
            return self.impedance(frequency)
        theta = phases.theta(frequency, span_x=self.span_x, span_y=self.span_y)
        poles = Poles.of(self, frequency)
        waves = poles.total(lattice.lattice_sum, self, poles.slab, *theta)
        area = self.span_x * self.span_y * self.panel_share
        impedance: xr.DataArray = area / (2j * np.pi * frequency * waves)
        return impedance

    def mean_velocity_ratio(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Surface mean of the velocity over that of the column, complex [-].

        What is left of the panel where its halves move against each other: the wave of zero
        wave number, and by Newton's law the impedance over ``jω`` times the mass of the panel.
        """
        poles = Poles.of(self, frequency)
        shares = poles.top if on_floating_floor else poles.slab
        flat: Any = sum(-share / z for share, z in zip(shares, poles.at, strict=True))
        ratio: xr.DataArray = flat / poles.total(panel.columns_sum, self, poles.slab)
        return ratio

    def reverberant_ratio(self, frequency: Frequency) -> xr.DataArray:
        """Mean square over that of the columns by the balance of power, see ``ColumnLine`` [-]."""
        return reverberant.of_columns(self, frequency)

    def mid_panel_ratio(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Velocity at mid-panel over that of the column, complex [-]."""
        poles = Poles.of(self, frequency)
        shares = poles.top if on_floating_floor else poles.slab
        column = poles.total(panel.columns_sum, self, poles.slab)
        return poles.total(panel.columns_mid_sum, self, shares) / column

    def surface_mean_square_ratio(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Surface mean square of the velocity over that of the column squared [-]."""
        poles = Poles.of(self, frequency)
        shares = poles.top if on_floating_floor else poles.slab
        column = abs(poles.total(panel.columns_sum, self, poles.slab)) ** 2
        return poles.mean_square(panel.columns_sum, self, shares) / column


BareSlab = FlatSlab | EdgeSupportedSlab | OneWaySlab
"""A slab that may carry a floating floor: on columns, on four edges, or between two supports."""
