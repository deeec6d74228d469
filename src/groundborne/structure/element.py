"""Driving-point mobilities of simple elements: mass, foundation on springs, rod."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive
from groundborne.citation import DERIVED, Citation

GRAVITY = 9.80665
"""Standard gravity [m/s²]."""

VIGRAN_TABLE_2_1 = Citation(
    key="vigran2008-table2.1",
    author="Vigran",
    year="2008",
    title="Building Acoustics",
    locator="Table 2.1, mobility of mass, spring and dashpot",
    mark="seen",
    status="transcribed",
)


@runtime_checkable
class Mobility(Protocol):
    """Anything that answers with its driving-point mobility."""

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the numbers."""
        ...

    @property
    def loss_factor_floor(self) -> float:
        """Smallest loss factor [-] inside; it sets how finely a band is sampled."""
        ...

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Complex mobility [m/(N s)] at frequencies in Hz; real part 0 or more."""
        ...


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class RigidMass:
    """A rigid mass, free to move vertically.

    Parameters
    ----------
    mass : float or DataArray
        Mass [kg], above 0.

    References
    ----------
    Vigran 2008, Table 2.1: ``Y = 1/(jωm)``.

    Examples
    --------
    >>> f = xr.DataArray([1.0 / (2 * np.pi)], dims="frequency")
    >>> float(RigidMass(mass=2.0).driving_point_mobility(f)[0].imag)
    -0.5
    """

    mass: Numeric

    def __post_init__(self) -> None:
        positive("RigidMass", "mass", self.mass, "kg")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (VIGRAN_TABLE_2_1,)

    @property
    def loss_factor_floor(self) -> float:
        """A mass alone has no resonance."""
        return 1.0

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """``1/(jωm)`` [m/(N s)]."""
        mobility: xr.DataArray = -1j / (2 * np.pi * frequency * self.mass)
        return mobility


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class SpringFoundation:
    """A rigid foundation whose soil or piles are given as a spring and a dashpot.

    Parameters
    ----------
    stiffness : float or DataArray
        Vertical dynamic stiffness [N/m], above 0; from the geotechnical engineer.
    damping : float or DataArray
        Viscous (radiation) damping [N s/m], 0 or more.
    loss_factor : float or DataArray
        Hysteretic loss factor of the soil [-], 0 or more.
    mass : float or DataArray
        Mass of the foundation itself [kg], 0 or more.

    Raises
    ------
    ValueError
        A stiffness or mass out of bounds, or neither damping nor loss factor.

    References
    ----------
    Derived from Vigran 2008, Table 2.1: ``Y = 1/(jωm + k(1+jη)/(jω) + c)``.

    Examples
    --------
    >>> f = xr.DataArray([1e-3], dims="frequency")
    >>> pile = SpringFoundation(stiffness=9e8, damping=6e6, loss_factor=0.08, mass=0.0)
    >>> bool(pile.driving_point_mobility(f).real[0] >= 0)
    True
    """

    stiffness: Numeric
    damping: Numeric = 0.0
    loss_factor: Numeric = 0.0
    mass: Numeric = 0.0

    def __post_init__(self) -> None:
        where = "SpringFoundation"
        positive(where, "stiffness", self.stiffness, "N/m")
        not_negative(where, "damping", self.damping, "N s/m")
        not_negative(where, "loss_factor", self.loss_factor, "")
        not_negative(where, "mass", self.mass, "kg")
        if np.max(np.asarray(self.damping)) == 0 and np.max(np.asarray(self.loss_factor)) == 0:
            raise ValueError(f"{where}: damping and loss_factor are both 0; soil has one or both")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (DERIVED, VIGRAN_TABLE_2_1)

    @property
    def loss_factor_floor(self) -> float:
        """Hysteretic loss factor, or what the dashpot gives at 1 Hz if there is none."""
        viscous = 2 * np.pi * np.min(np.asarray(self.damping / self.stiffness))
        return float(max(np.min(np.asarray(self.loss_factor)), viscous))

    def soil_impedance(self, frequency: Frequency) -> xr.DataArray:
        """Impedance of soil or piles alone, without the mass of the foundation [N s/m]."""
        spring = self.stiffness * (1 + 1j * self.loss_factor) / (2j * np.pi * frequency)
        impedance: xr.DataArray = spring + self.damping
        return impedance

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility [m/(N s)]."""
        inertia = 2j * np.pi * frequency * self.mass
        mobility: xr.DataArray = 1 / (self.soil_impedance(frequency) + inertia)
        return mobility


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class SemiInfiniteRod:
    """The end of a rod that goes on for ever: a column without reflections.

    The mean trend of a lightly damped frame, not a bound: at its own modes a real frame lies
    well below or above it.

    Parameters
    ----------
    area : float or DataArray
        Cross-section [m²].
    youngs_modulus : float or DataArray
        Dynamic modulus [Pa].
    density : float or DataArray
        Density [kg/m³].

    References
    ----------
    Derived: ``Y = 1/(A √(E ρ))`` [m/(N s)].

    Examples
    --------
    >>> f = xr.DataArray([63.0], dims="frequency")
    >>> column = SemiInfiniteRod(area=0.36, youngs_modulus=30e9, density=2400.0)
    >>> round(float(1 / column.driving_point_mobility(f).real[0]) / 1e6, 2)
    3.05
    """

    area: Numeric
    youngs_modulus: Numeric
    density: Numeric

    def __post_init__(self) -> None:
        positive("SemiInfiniteRod", "area", self.area, "m²")
        positive("SemiInfiniteRod", "youngs_modulus", self.youngs_modulus, "Pa")
        positive("SemiInfiniteRod", "density", self.density, "kg/m³")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (DERIVED,)

    @property
    def loss_factor_floor(self) -> float:
        """A rod without reflections has no resonance."""
        return 1.0

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """``1/(A √(E ρ))`` [m/(N s)], the same at every frequency."""
        impedance = self.area * np.sqrt(self.youngs_modulus * self.density)
        one = xr.ones_like(frequency, dtype=complex)
        mobility: xr.DataArray = one / impedance
        return mobility
