"""Piles: vertical stiffness and radiation damping of a single pile, and groups by efficiency."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation

PILE_WINKLER = Citation(
    key="pile-winkler",
    author="NIST GCR 12-917-21",
    year="2012",
    title="single pile, vertical stiffness",
    locator="as transcribed; factor under the root derived from its own bar on springs",
    mark="derived",
    status="transcribed",
)
PILE_RADIATION = Citation(
    key="pile-radiation",
    author="Gazetas and Makris",
    year="1991",
    title="axially vibrating pile: spring 0.6 Es (1 + √a0/2), dashpot 1.2 a0^(−1/4) π d ρ Vs",
    mark="from memory",
    status="transcribed",
)
PILE_GROUP = Citation(
    key="pile-group-efficiency",
    author="NIST GCR 12-917-21",
    year="2012",
    title="pile group: efficiency times the sum of the single piles",
    mark="seen second-hand",
    status="transcribed",
)

SHAFT_SPRING = 0.6
"""Static shaft spring per length over the soil's modulus, δ [-]."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Pile:
    """A single vertical pile in uniform soil, pushed at its head.

    Parameters
    ----------
    diameter, length : float or DataArray
        [m], above 0; the pile is solid and round.
    youngs_modulus : float or DataArray
        Of the pile [Pa], above 0.
    density : float or DataArray
        Of the pile [kg/m³], above 0.
    soil_shear_wave_speed : float or DataArray
        At small strain [m/s], above 0.
    soil_density : float or DataArray
        [kg/m³], above 0.
    soil_poisson : float or DataArray
        0 to 0.499.
    soil_loss_factor : float or DataArray
        Hysteretic loss factor of the soil [-], above 0 and at most 1.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    The pile is an elastic bar of axial stiffness ``E A`` and mass ``ρ A`` per length on springs
    along its shaft and one under its tip. Statically the shaft spring is ``k = δ E_s``, δ = 0.6,
    and the tip a rigid disc of the pile's diameter, ``K_b = E_s d/(1 − ν²)``. The bar's
    equation gives ``λ = √(k/(E A))`` and the head stiffness
    ``E A λ (Ω + tanh λL)/(1 + Ω tanh λL)`` with ``Ω = K_b/(E A λ)``.

    Since ``E A λ = √(E A k) = √(π δ/4) √(E/E_s) E_s d``, the factor under the root is ``π δ/4``.
    As it reached us the formula has ``π δ/2``; its own λ and Ω are those of the bar above
    and require ``π δ/4``. With ``π δ/2`` the stiffness would be 41 % too high.

    Dynamically the shaft spring becomes ``k (1 + √a0/2)(1 + jη)`` with ``a0 = ω d/V_s``, a
    radiation dashpot ``1.2 a0^(−1/4) π d ρ_s V_s`` per length is added, and Lysmer's dashpot
    under the tip. Both follow a plane-strain cylinder within 11 % for a0 of 0.2 to 2
    (``tests/unit``). A weak layer over a strong one is not modelled; give the engineer's stiffness
    to :class:`~groundborne.structure.SpringFoundation` instead.

    References
    ----------
    NIST GCR 12-917-21 (2012) as transcribed, corrected as above [derived]; Gazetas and Makris
    1991 for the radiation [from memory].

    Examples
    --------
    >>> pile = Pile(diameter=0.9, length=24.0, youngs_modulus=33e9, density=2450.0,
    ...             soil_shear_wave_speed=150.0, soil_density=1900.0, soil_poisson=0.45,
    ...             soil_loss_factor=0.06)
    >>> round(float(pile.static_stiffness) / 1e6)
    1140
    """

    diameter: Numeric
    length: Numeric
    youngs_modulus: Numeric
    density: Numeric
    soil_shear_wave_speed: Numeric
    soil_density: Numeric
    soil_poisson: Numeric
    soil_loss_factor: Numeric

    def __post_init__(self) -> None:
        positive("Pile", "diameter", self.diameter, "m")
        positive("Pile", "length", self.length, "m")
        positive("Pile", "youngs_modulus", self.youngs_modulus, "Pa")
        positive("Pile", "density", self.density, "kg/m³")
        positive("Pile", "soil_shear_wave_speed", self.soil_shear_wave_speed, "m/s")
        positive("Pile", "soil_density", self.soil_density, "kg/m³")
        within("Pile", "soil_poisson", self.soil_poisson, 0.0, 0.499, "")
        positive("Pile", "soil_loss_factor", self.soil_loss_factor, "")
        within("Pile", "soil_loss_factor", self.soil_loss_factor, 0.0, 1.0, "")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (PILE_WINKLER, PILE_RADIATION)

    @property
    def loss_factor_floor(self) -> float:
        """The soil's hysteretic loss, 0.05 at least where radiation damps it further."""
        return float(max(np.min(np.asarray(self.soil_loss_factor)), 0.05))

    @property
    def area(self) -> Numeric:
        """Cross-section [m²]."""
        return np.pi / 4 * self.diameter**2

    @property
    def soil_modulus(self) -> Numeric:
        """Young's modulus of the soil, ``2 (1 + ν) ρ Vs²`` [Pa]."""
        return 2 * (1 + self.soil_poisson) * self.soil_density * self.soil_shear_wave_speed**2

    @property
    def tip_stiffness(self) -> Numeric:
        """Static stiffness under the tip, a rigid disc [N/m]."""
        return self.soil_modulus * self.diameter / (1 - self.soil_poisson**2)

    @property
    def static_stiffness(self) -> Numeric:
        """Vertical stiffness at the head at zero frequency [N/m]."""
        axial = self.youngs_modulus * self.area
        wave = np.sqrt(SHAFT_SPRING * self.soil_modulus / axial)
        omega, tanh = self.tip_stiffness / (axial * wave), np.tanh(wave * self.length)
        stiffness: Numeric = axial * wave * (omega + tanh) / (1 + omega * tanh)
        return stiffness

    def shaft_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Complex stiffness of the soil per length of shaft [N/m²]."""
        omega = 2 * np.pi * frequency
        a0 = omega * self.diameter / self.soil_shear_wave_speed
        spring = SHAFT_SPRING * self.soil_modulus * (1 + np.sqrt(a0) / 2)
        cylinder = np.pi * self.diameter * self.soil_density * self.soil_shear_wave_speed
        radiation = 1.2 * a0**-0.25 * cylinder
        stiffness = spring * (1 + 1j * self.soil_loss_factor) + 1j * omega * radiation
        return cast("xr.DataArray", stiffness)

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Complex stiffness at the head [N/m], the inertia of the pile in it."""
        omega = 2 * np.pi * frequency
        axial = self.youngs_modulus * self.area
        inertia = omega**2 * self.density * self.area
        wave = np.sqrt((self.shaft_stiffness(frequency) - inertia) / axial)
        impedance = self.soil_density * self.soil_shear_wave_speed
        dashpot = 3.4 * (self.diameter / 2) ** 2 * impedance / (1 - self.soil_poisson)
        tip = self.tip_stiffness * (1 + 1j * self.soil_loss_factor) + 1j * omega * dashpot
        ratio, tanh = tip / (axial * wave), np.tanh(wave * self.length)
        stiffness = axial * wave * (ratio + tanh) / (1 + ratio * tanh)
        return cast("xr.DataArray", stiffness)

    def soil_impedance(self, frequency: Frequency) -> xr.DataArray:
        """Impedance at the head [N s/m]; the mass along the pile is part of it."""
        impedance: xr.DataArray = self.dynamic_stiffness(frequency) / (2j * np.pi * frequency)
        return impedance

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility at the head [m/(N s)]."""
        mobility: xr.DataArray = 2j * np.pi * frequency / self.dynamic_stiffness(frequency)
        return mobility


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class PileGroup:
    """Equal piles under one rigid cap, with a group efficiency.

    Parameters
    ----------
    pile : Pile
        One of them.
    count : float or DataArray
        Number of piles, 1 or more; a share of a large group may be a fraction above 1.
    efficiency : float or DataArray
        Stiffness of the group over the sum of its piles [-], above 0; below 1 at low frequency,
        and possibly above 1 where waves between the piles are out of phase. A DataArray on
        ``frequency`` may follow a chart.
    cap_mass : float or DataArray
        Mass of the cap [kg], 0 or more.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    Charts of efficiency are not built in; they need spacing, pattern and soil. 1 is a wide
    spacing and the stiffest case.

    References
    ----------
    NIST GCR 12-917-21 (2012) as transcribed: ``K_group = EF · Σ K_single``.

    Examples
    --------
    >>> pile = Pile(diameter=0.9, length=24.0, youngs_modulus=33e9, density=2450.0,
    ...             soil_shear_wave_speed=150.0, soil_density=1900.0, soil_poisson=0.45,
    ...             soil_loss_factor=0.06)
    >>> pair = PileGroup(pile=pile, count=2, efficiency=0.8)
    >>> round(float(pair.static_stiffness / pile.static_stiffness), 6)
    1.6
    """

    pile: Pile
    count: Numeric
    efficiency: Numeric = 1.0
    cap_mass: Numeric = 0.0

    def __post_init__(self) -> None:
        positive("PileGroup", "count", self.count, "piles")
        if np.any(np.asarray(self.count) < 1):
            raise ValueError("PileGroup: count is below 1; at least one pile is needed")
        positive("PileGroup", "efficiency", self.efficiency, "")
        not_negative("PileGroup", "cap_mass", self.cap_mass, "kg")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (*self.pile.citations, PILE_GROUP)

    @property
    def loss_factor_floor(self) -> float:
        """As of the single pile."""
        return self.pile.loss_factor_floor

    @property
    def static_stiffness(self) -> Numeric:
        """Of the group at zero frequency [N/m]."""
        return self.count * self.efficiency * self.pile.static_stiffness

    def soil_impedance(self, frequency: Frequency) -> xr.DataArray:
        """Impedance of piles and soil, without the mass of the cap [N s/m]."""
        piles = self.count * self.efficiency * self.pile.dynamic_stiffness(frequency)
        impedance: xr.DataArray = piles / (2j * np.pi * frequency)
        return impedance

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility at the cap [m/(N s)]."""
        inertia = 2j * np.pi * frequency * self.cap_mass
        mobility: xr.DataArray = 1 / (self.soil_impedance(frequency) + inertia)
        return mobility
