"""Helical compression springs of round steel bar: rate, stress, travel, surge, own mass."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.isolation.distributed import SURGE, DistributedMount
from groundborne.isolation.steel.coil_loss import BARE_COIL_DAMPING, coil_loss_statement
from groundborne.isolation.steel.coiling import (
    COIL,
    COLD_COILED,
    HOT_COILED,
    Coiling,
    curvature_factor,
)
from groundborne.isolation.steel.stability import (
    BUCKLING,
    HINGED,
    LATERAL_RATE,
    PARALLEL_FIXED,
    buckling_deflection,
    lateral_ratio,
    safe_slenderness,
)
from groundborne.isolation.steel.strength import (
    COLD_SOLID_STRESS,
    COLD_STATIC_STRESS,
    FATIGUE,
    MANY_CYCLES,
    RELAXATION,
    SOLID_STRESS,
    FatigueLines,
    modulus_temperature_factor,
    stress_limit,
)


@checked(infinite=("return",))  # a spring that never buckles, lines without limit
@dataclass(frozen=True, kw_only=True, eq=False)
class HelicalSpring:
    """One helical compression spring with ground ends.

    Its mass matters: coils under buildings surge near 60 to 120 Hz, inside the band of re-radiated
    noise, so :meth:`mount` is a line with mass and not a massless spring. Only its first surge is
    that of a helix: beams along the helix of the example surge at 85 Hz (here 87.9) and have
    further modes at 98, 110, 112 and 163 Hz, where a line has its second at 175.7 Hz. Trains move
    it by micrometres; the static stress, relaxation, the way to solid and wind govern, not their
    fatigue.

    Parameters
    ----------
    wire_diameter, coil_diameter : float or DataArray
        Bar d and mean coil D [m], above 0; D/d from 2 to 30 (makers coil about 3 to 20).
    active_coils : float or DataArray
        n [-], at least 1.
    free_length : float or DataArray
        L0 [m], above the solid length.
    coiling : Coiling
        ``HOT_COILED`` (default) or ``COLD_COILED``; see :meth:`cold_coiled` for its modulus.
    shear_modulus, youngs_modulus : float or DataArray
        G and E at 20 °C [Pa], above 0.
    density : float or DataArray
        [kg/m³], above 0.
    wire_tolerance : float or DataArray
        Largest less nominal bar diameter [m], 0 or more; it lengthens the solid spring.
    seating : float or DataArray
        Seating coefficient ν for buckling [-], 0.5 between parallel plates to 2 with a free end.
        It takes the plates as held sideways: a building on springs alone may shift, see
        :meth:`sway_deflection`.
    loss_factor : float or DataArray
        Hysteretic [-], 0 to 0.02 (common practice); dampers and rubber pads belong beside or below,
        see :class:`SpringPack`.
    tensile_strength : float or DataArray, optional
        Least Rm of cold-drawn wire [Pa], see ``wire_strength``; limits of cold-coiled springs
        need it.

    Raises
    ------
    ValueError
        A parameter out of bounds, or a free length that is not above the solid length.

    Notes
    -----
    No value is a certificate: loads are the structural engineer's; local codes, the maker's tests
    and licensed practice govern.

    References
    ----------
    EN 13906-1:2013 [seen second-hand].

    Examples
    --------
    >>> coil = HelicalSpring(wire_diameter=0.040, coil_diameter=0.180, active_coils=5.0,
    ...                      free_length=0.330)
    >>> round(float(coil.rate) / 1e3, 1), round(float(coil.surge_frequency), 1)
    (861.5, 87.9)
    >>> round(float(coil.load_at_solid) / 1e3, 1), bool(coil.is_solid(80e3))
    (70.6, True)
    """

    wire_diameter: Numeric
    coil_diameter: Numeric
    active_coils: Numeric
    free_length: Numeric
    coiling: Coiling = HOT_COILED
    shear_modulus: Numeric = 78.5e9
    youngs_modulus: Numeric = 206e9
    density: Numeric = 7850.0
    wire_tolerance: Numeric = 0.0
    seating: Numeric = PARALLEL_FIXED
    loss_factor: Numeric = 0.01
    tensile_strength: Numeric | None = None

    def __post_init__(self) -> None:
        where = "HelicalSpring"
        units = {"wire_diameter": "m", "coil_diameter": "m", "free_length": "m"}
        units |= {"shear_modulus": "Pa", "youngs_modulus": "Pa", "density": "kg/m³"}
        for name, unit in units.items():
            positive(where, name, getattr(self, name), unit)
        within(where, "active_coils", self.active_coils, 1.0, 100.0, "")
        index = "coil_diameter / wire_diameter (the spring index)"
        within(where, index, self.spring_index, 2.0, 30.0, "")
        not_negative(where, "wire_tolerance", self.wire_tolerance, "m")
        within(where, "seating", self.seating, 0.5, 2.0, "")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        if said := coil_loss_statement(loss_factor=self.loss_factor):
            raise ValueError(f"{where}: {said}")
        ratio = self.shear_modulus / self.youngs_modulus
        within(where, "shear_modulus / youngs_modulus", ratio, 0.2, 0.6, "")
        positive(where, "free_length less the solid length", self.travel_to_solid, "m")
        if self.tensile_strength is not None:
            positive(where, "tensile_strength", self.tensile_strength, "Pa")
            if not self.coiling.cold:
                raise ValueError(
                    f"{where}: tensile_strength is given; limits of hot-coiled springs go by the "
                    "bar diameter and do not use it"
                )

    @classmethod
    def cold_coiled(cls, *, shear_modulus: Numeric = 81.5e9, **parameters: Any) -> HelicalSpring:
        """Spring of cold-drawn wire.

        Parameters
        ----------
        shear_modulus : float or DataArray
            [Pa]; 81.5 GPa by EN 10270-1 [seen second-hand].
        **parameters
            The other parameters of the class, with ``COLD_COILED`` as `coiling`.
        """
        return cls(coiling=COLD_COILED, shear_modulus=shear_modulus, **parameters)

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of formulas and limits."""
        cold = self.coiling.cold
        limits = (COLD_SOLID_STRESS, COLD_STATIC_STRESS) if cold else (SOLID_STRESS, FATIGUE)
        own = (COIL, self.coiling.citation, SURGE, LATERAL_RATE, BUCKLING, *limits)
        return tuple(dict.fromkeys((*own, BARE_COIL_DAMPING, RELAXATION)))

    @property
    def spring_index(self) -> Numeric:
        """D/d [-]."""
        return self.coil_diameter / self.wire_diameter

    @property
    def rate(self) -> Numeric:
        """Axial rate ``G d⁴/(8 D³ n)`` [N/m]."""
        coil = 8 * self.coil_diameter**3 * self.active_coils
        rate: Numeric = self.shear_modulus * self.wire_diameter**4 / coil
        return rate

    @property
    def total_coils(self) -> Numeric:
        """Active and dead coils [-]."""
        return self.active_coils + self.coiling.dead_coils

    @property
    def solid_length(self) -> Numeric:
        """Length with all coils touching [m]."""
        largest = self.wire_diameter + self.wire_tolerance
        return (self.total_coils - self.coiling.ground_off) * largest

    @property
    def travel_to_solid(self) -> Numeric:
        """Free less solid length [m]."""
        return self.free_length - self.solid_length

    @property
    def load_at_solid(self) -> Numeric:
        """Load that presses the coils together [N]; beyond it the spring is a block of steel."""
        return self.travel_to_solid * self.rate

    @property
    def mass(self) -> Numeric:
        """Mass of the active coils ``ρ π² d² D n/4`` [kg]: the part that surges."""
        section = self.density * np.pi**2 * self.wire_diameter**2
        mass: Numeric = section * self.coil_diameter * self.active_coils / 4
        return mass

    @property
    def surge_frequency(self) -> Numeric:
        """First internal mode, both ends held, ``½ √(rate/mass)`` [Hz]."""
        frequency: Numeric = 0.5 * np.sqrt(self.rate / self.mass)
        return frequency

    @property
    def surge_frequency_free(self) -> Numeric:
        """First internal mode with one end free, half of :attr:`surge_frequency` [Hz]."""
        return 0.5 * self.surge_frequency

    def is_solid(self, load: Numeric) -> Numeric:
        """Whether a load [N] presses the coils together."""
        not_negative("HelicalSpring.is_solid", "load", load, "N")
        solid: Numeric = load >= self.load_at_solid
        return solid

    def deflection(self, load: Numeric) -> Numeric:
        """Shortening under a load [N] that does not press the coils together [m].

        Raises
        ------
        ValueError
            A load that makes the spring solid.
        """
        if np.any(np.asarray(self.is_solid(load))):
            raise ValueError(
                f"HelicalSpring: a load of up to {np.max(np.asarray(load)) / 1e3:.1f} kN presses"
                f" the coils together, which takes "
                f"{np.min(np.asarray(self.load_at_solid)) / 1e3:.1f} kN; more or stiffer springs "
                "are needed"
            )
        return load / self.rate

    def shear_stress(self, load: Numeric) -> Numeric:
        """Uncorrected shear stress ``8 D F/(π d³)``, up to the load at solid [Pa]."""
        within(
            "HelicalSpring.shear_stress", "load/load_at_solid", load / self.load_at_solid, 0, 1, ""
        )
        return 8 * self.coil_diameter * load / (np.pi * self.wire_diameter**3)

    def corrected_shear_stress(self, load: Numeric) -> Numeric:
        """Shear stress with the curvature of the bar, for alternating loads [Pa]."""
        return curvature_factor(spring_index=self.spring_index) * self.shear_stress(load)

    def stress_limit(self, *, solid: bool) -> Numeric:
        """Permissible uncorrected shear stress [Pa].

        Parameters
        ----------
        solid : bool
            Pressed solid; else under static load, of cold-coiled springs only (from memory).

        Raises
        ------
        ValueError
            A hot-coiled bar outside its table or under static load, for which there is no limit
            here; a cold-coiled spring without the strength of its wire.
        """
        wire = (self.wire_diameter, self.tensile_strength)
        return stress_limit(
            "HelicalSpring.stress_limit", *wire, cold=self.coiling.cold, solid=solid
        )

    @property
    def solid_utilisation(self) -> Numeric:
        """Stress at solid over :meth:`stress_limit` [-]; above 1 the spring may set."""
        return self.shear_stress(self.load_at_solid) / self.stress_limit(solid=True)

    def least_gap(self, *, dynamic: bool = False) -> Numeric:
        """Sum of gaps that must be left at the largest working load [m].

        Parameters
        ----------
        dynamic : bool
            The load alternates noticeably: wind, machines; not trains.
        """
        wire, coil, rule = self.wire_diameter, self.coil_diameter, self.coiling
        per_coil = rule.gap_wire * wire + rule.gap_diameter * coil + rule.gap_ratio * coil**2 / wire
        return per_coil * self.active_coils * (rule.dynamic_gap if dynamic else 1.0)

    def usable_travel(self, *, dynamic: bool = False) -> Numeric:
        """Travel to solid less :meth:`least_gap` [m]; negative where none is left."""
        return self.travel_to_solid - self.least_gap(dynamic=dynamic)

    def lateral_rate(self, load: Numeric) -> Numeric:
        """Lateral rate under a load [N] between plates that stay parallel [N/m]."""
        ratio = lateral_ratio(
            deflection=self.deflection(load),
            free_length=self.free_length,
            coil_diameter=self.coil_diameter,
            modulus_ratio=self.shear_modulus / self.youngs_modulus,
        )
        return ratio * self.rate

    @property
    def buckling_deflection(self) -> Numeric:
        """Deflection at which the coil buckles, infinite where it cannot [m]."""
        return self._buckling(self.seating)

    @property
    def sway_deflection(self) -> Numeric:
        """Deflection at which parallel plates that may shift would sway aside [m]; may be infinite.

        A building on springs alone, without sideways restraint, is closer to this than to fixed
        plates.
        """
        return self._buckling(HINGED)

    def _buckling(self, seating: Numeric) -> Numeric:
        return buckling_deflection(
            free_length=self.free_length,
            coil_diameter=self.coil_diameter,
            seating=seating,
            modulus_ratio=self.shear_modulus / self.youngs_modulus,
        )

    @property
    def slenderness_utilisation(self) -> Numeric:
        """Slenderness over the one below which no buckling is possible [-]."""
        ratio = self.shear_modulus / self.youngs_modulus
        safe = safe_slenderness(seating=self.seating, modulus_ratio=ratio)
        return self.free_length / self.coil_diameter / safe

    def fatigue_utilisation(
        self, *, least_load: Numeric, largest_load: Numeric, lines: FatigueLines = MANY_CYCLES
    ) -> Numeric:
        """Largest corrected stress of a cycle over the one permitted (hot coiled, peened) [-].

        Parameters
        ----------
        least_load, largest_load : float or DataArray
            Ends of the cycle [N], 0 or more.
        lines : FatigueLines
            For 2e6 cycles unless given.

        Raises
        ------
        ValueError
            A largest load below the least, a load that makes the spring solid, a bar outside the
            table, or a cold-coiled spring: its fatigue lines are not here.
        """
        where = "HelicalSpring.fatigue_utilisation"
        if self.coiling.cold:
            raise ValueError(
                f"{where}: the spring is cold coiled; the fatigue lines are those of hot-coiled, "
                "shot-peened bars, and the maker's test decides"
            )
        not_negative(where, "least_load", least_load, "N")
        not_negative(where, "largest_load less least_load", largest_load - least_load, "N")
        self.deflection(largest_load)
        permitted = lines.limit(
            wire_diameter=self.wire_diameter, least_stress=self.corrected_shear_stress(least_load)
        )
        return self.corrected_shear_stress(largest_load) / permitted

    def at_temperature(self, temperature: Numeric) -> HelicalSpring:
        """The spring with its moduli at a temperature.

        Parameters
        ----------
        temperature : float or DataArray
            [°C], -40 to 250.
        """
        factor = modulus_temperature_factor(temperature=temperature)
        return replace(
            self,
            shear_modulus=self.shear_modulus * factor,
            youngs_modulus=self.youngs_modulus * factor,
        )

    def mount(self, *, count: Numeric = 1.0) -> DistributedMount:
        """Dynamic model: alike coils side by side as one line with mass.

        It is linear and does not know where the coils touch: check :meth:`is_solid` for every load.

        Parameters
        ----------
        count : float or DataArray
            Number of coils, above 0.
        """
        positive("HelicalSpring.mount", "count", count, "")
        return DistributedMount(
            stiffness=self.rate * count, mass=self.mass * count, loss_factor=self.loss_factor
        )
