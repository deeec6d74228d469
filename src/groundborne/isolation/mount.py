"""Mounts: what carries the load and gives way dynamically."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import DERIVED, Citation
from groundborne.structure.element import GRAVITY
from groundborne.twoport import TwoPort


@runtime_checkable
class Mount(Protocol):
    """Anything that can stand between what is below and what is above."""

    @property
    def loss_factor_floor(self) -> float:
        """Smallest loss factor [-] inside; it sets how finely a band is sampled."""
        ...

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the numbers."""
        ...

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Complex transfer stiffness [N/m] at frequencies in Hz."""
        ...

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening [m] under a load [N]."""
        ...

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Two-port from below to above at frequencies in Hz."""
        ...


def require_travel(where: str, travel: Numeric) -> None:
    """Refuse a travel to solid that is not above 0; infinite means unlimited."""
    if np.any(~(np.asarray(travel) > 0)):
        raise ValueError(f"{where}: travel_to_solid must be above 0 m")


def not_solid(where: str, deflection: Numeric, travel: Numeric) -> Numeric:
    """Refuse a deflection beyond the travel to solid: such a mount isolates nothing."""
    within(
        where,
        "deflection under load, over the travel to solid,",
        deflection / travel,
        0.0,
        1.0,
        "or the mount is solid and isolates nothing",
    )
    return deflection


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class ChosenFor:
    """What mounts were chosen for, so that a study can hold its own loads against it.

    Parameters
    ----------
    load : float or DataArray
        Quasi-permanent load [N], above 0, with the dims of the mount.
    revision : str
        Of the loads; empty where it is not known.

    Raises
    ------
    ValueError
        A load that is not above 0.

    Examples
    --------
    >>> ChosenFor(load=1.2e6, revision="P2").revision
    'P2'
    """

    load: Numeric
    revision: str = ""

    def __post_init__(self) -> None:
        positive("ChosenFor", "load", self.load, "N")


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class LinearMount:
    """A massless spring with hysteretic or viscous damping: rubber, steel, or a whole pack.

    Parameters
    ----------
    stiffness : float or DataArray
        Dynamic stiffness at the working load and small amplitude [N/m], above 0.
    loss_factor : float or DataArray
        Hysteretic loss factor η [-], 0 to 1: steel and rubber.
    damping : float or DataArray
        Viscous damping [N s/m], 0 or more: dashpots only.
    dynamic_to_static : float or DataArray
        Dynamic over static stiffness [-], 1 or more; 1 for steel, above 1 for rubber.
    travel_to_solid : float or DataArray
        Deflection at which the mount goes solid [m], above 0; unlimited if not given.
    chosen_for : ChosenFor, optional
        The loads it was chosen for, where they are known; no formula uses them.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Examples
    --------
    >>> spring = LinearMount.tuned(natural_frequency=4.0, mass=1e5, loss_factor=0.02)
    >>> round(float(spring.static_deflection(1e5 * 9.80665)) * 1e3, 1)
    15.5
    """

    stiffness: Numeric
    loss_factor: Numeric = 0.0
    damping: Numeric = 0.0
    dynamic_to_static: Numeric = 1.0
    travel_to_solid: Numeric = np.inf
    chosen_for: ChosenFor | None = None

    def __post_init__(self) -> None:
        require_travel("LinearMount", self.travel_to_solid)
        positive("LinearMount", "stiffness", self.stiffness, "N/m")
        within("LinearMount", "loss_factor", self.loss_factor, 0.0, 1.0, "")
        not_negative("LinearMount", "damping", self.damping, "N s/m")
        within("LinearMount", "dynamic_to_static", self.dynamic_to_static, 1.0, 5.0, "")

    @classmethod
    def tuned(
        cls,
        *,
        natural_frequency: Numeric,
        mass: Numeric,
        loss_factor: Numeric,
        dynamic_to_static: Numeric = 1.0,
        travel_to_solid: Numeric = np.inf,
    ) -> LinearMount:
        """Mount that gives a mass its natural frequency on a rigid base.

        Parameters
        ----------
        natural_frequency : float or DataArray
            [Hz], above 0 and at most 100.
        mass : float or DataArray
            Mass carried [kg].
        loss_factor, dynamic_to_static, travel_to_solid : float or DataArray
            As for the class.

        Returns
        -------
        LinearMount
            ``k = (2π f0)² m``.

        Raises
        ------
        ValueError
            A frequency above 100 Hz, or a parameter that is not above 0.
        """
        positive("LinearMount.tuned", "natural_frequency", natural_frequency, "Hz")
        within("LinearMount.tuned", "natural_frequency", natural_frequency, 0.0, 100.0, "Hz")
        positive("LinearMount.tuned", "mass", mass, "kg")
        return cls(
            stiffness=(2 * np.pi * natural_frequency) ** 2 * mass,
            loss_factor=loss_factor,
            dynamic_to_static=dynamic_to_static,
            travel_to_solid=travel_to_solid,
        )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formulas."""
        return (DERIVED,)

    @property
    def loss_factor_floor(self) -> float:
        """Hysteretic loss factor, or what the dashpot gives at 1 Hz."""
        viscous = 2 * np.pi * np.min(np.asarray(self.damping / self.stiffness))
        return float(max(np.min(np.asarray(self.loss_factor)), viscous))

    def natural_frequency(self, mass: Numeric) -> Numeric:
        """Natural frequency with a rigid mass [kg] on a rigid base [Hz]."""
        positive("LinearMount.natural_frequency", "mass", mass, "kg")
        result: Numeric = np.sqrt(self.stiffness / mass) / (2 * np.pi)
        return result

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """``k(1 + jη) + jωc`` [N/m]."""
        one = xr.ones_like(frequency, dtype=complex)
        stiffness: xr.DataArray = (
            one * self.stiffness * (1 + 1j * self.loss_factor)
            + 2j * np.pi * frequency * self.damping
        )
        return stiffness

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening under a load [N], at the static stiffness [m].

        Raises
        ------
        ValueError
            The load is negative, or so large that the mount goes solid.
        """
        where = "LinearMount.static_deflection"
        not_negative(where, "load", load, "N")
        return not_solid(
            where, load * self.dynamic_to_static / self.stiffness, self.travel_to_solid
        )

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Massless two-port."""
        return TwoPort.from_dynamic_stiffness(frequency, self.dynamic_stiffness(frequency))


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class TwoStageMount:
    """Two mounts in a row with a mass between them.

    Parameters
    ----------
    lower, upper : Mount
        The mount that faces the ground and the one that faces the building.
    intermediate_mass : float or DataArray
        Mass between them [kg], above 0.

    Examples
    --------
    >>> stage = LinearMount(stiffness=2e6, loss_factor=0.05)
    >>> pair = TwoStageMount(lower=stage, upper=stage, intermediate_mass=1e-6)
    >>> f = xr.DataArray([1.0], dims="frequency")
    >>> round(float(abs(pair.dynamic_stiffness(f))[0] / 1e6), 3)
    1.001
    """

    lower: Mount
    upper: Mount
    intermediate_mass: Numeric

    def __post_init__(self) -> None:
        positive("TwoStageMount", "intermediate_mass", self.intermediate_mass, "kg")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of both mounts."""
        return tuple(dict.fromkeys((*self.lower.citations, *self.upper.citations)))

    @property
    def loss_factor_floor(self) -> float:
        """Smaller of the two."""
        return min(self.lower.loss_factor_floor, self.upper.loss_factor_floor)

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Transfer stiffness: force above, blocked, over displacement below [N/m]."""
        stiffness: xr.DataArray = 2j * np.pi * frequency / self.two_port(frequency).c
        return stiffness

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening of both under the load above the upper one [m]."""
        carried = load + self.intermediate_mass * GRAVITY
        return self.upper.static_deflection(load) + self.lower.static_deflection(carried)

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Cascade of lower mount, mass and upper mount."""
        middle = TwoPort.mass(frequency, mass=self.intermediate_mass)
        return self.lower.two_port(frequency) @ middle @ self.upper.two_port(frequency)
