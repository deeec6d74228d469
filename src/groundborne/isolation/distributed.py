"""Mounts whose own mass matters: coils that surge and thick rubber blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.isolation.mount import ChosenFor, LinearMount, Mount, not_solid, require_travel
from groundborne.twoport import TwoPort

SURGE = Citation(
    key="en13906-1-surge",
    author="EN 13906-1",
    year="2013",
    title="Helical compression springs",
    locator="clause 9.12, fundamental frequency; equal to half of √(rate/own mass)",
    mark="seen second-hand",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class DistributedMount:
    """A uniform elastic mount with mass: a helical coil, or a thick block of rubber.

    Below its first internal mode it is a spring; at that mode and above it passes vibration that a
    massless spring would stop. Coils under buildings surge inside the band of re-radiated noise.
    Of a coil only the first mode is meant: from a tenth above it on, a helix bends and twists at
    frequencies that this line does not have, and its second surge lies lower.

    Parameters
    ----------
    stiffness : float or DataArray
        Dynamic stiffness at low frequency [N/m], above 0.
    mass : float or DataArray
        Mass of the part that gives way: active coils, or rubber with its plates [kg], above 0.
    loss_factor : float or DataArray
        Hysteretic loss factor [-], 0 to 1. Bare coils have very little: 0.002 to 0.02 (common
        practice).
    dynamic_to_static : float or DataArray
        Dynamic over static stiffness [-], 1 or more.
    travel_to_solid : float or DataArray
        Deflection at which the mount goes solid [m], above 0; unlimited if not given.
    chosen_for : ChosenFor, optional
        The loads it was chosen for, where they are known; no formula uses them.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    A line of ``βL = ω √(m/k)`` and ``Z = √(k m)`` with complex k; internal modes, both ends held,
    at ``(n/2) √(k/m)``.

    References
    ----------
    Surge frequency: EN 13906-1:2013, clause 9.12 [seen second-hand]; line derived.

    Examples
    --------
    >>> coil = DistributedMount(stiffness=861.5e3, mass=27.9, loss_factor=0.005)
    >>> round(float(coil.internal_frequency), 1)
    87.9
    """

    stiffness: Numeric
    mass: Numeric
    loss_factor: Numeric
    dynamic_to_static: Numeric = 1.0
    travel_to_solid: Numeric = np.inf
    chosen_for: ChosenFor | None = None

    def __post_init__(self) -> None:
        require_travel("DistributedMount", self.travel_to_solid)
        positive("DistributedMount", "stiffness", self.stiffness, "N/m")
        positive("DistributedMount", "mass", self.mass, "kg")
        within("DistributedMount", "loss_factor", self.loss_factor, 0.0, 1.0, "")
        within("DistributedMount", "dynamic_to_static", self.dynamic_to_static, 1.0, 5.0, "")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the surge frequency."""
        return (SURGE,)

    @property
    def loss_factor_floor(self) -> float:
        """Hysteretic loss factor."""
        return float(np.min(np.asarray(self.loss_factor)))

    @property
    def internal_frequency(self) -> Numeric:
        """First internal mode with both ends held [Hz]."""
        result: Numeric = 0.5 * np.sqrt(self.stiffness / self.mass)
        return result

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Transfer stiffness: force above, blocked, over displacement below [N/m]."""
        return transfer_stiffness(self.two_port(frequency), frequency)

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening under a load [N], at the static stiffness [m].

        Raises
        ------
        ValueError
            The load is negative, or so large that the mount goes solid.
        """
        where = "DistributedMount.static_deflection"
        not_negative(where, "load", load, "N")
        return not_solid(
            where, load * self.dynamic_to_static / self.stiffness, self.travel_to_solid
        )

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Two-port of the line."""
        return TwoPort.line(
            frequency, stiffness=self.stiffness, mass=self.mass, loss_factor=self.loss_factor
        )


def transfer_stiffness(port: TwoPort, frequency: Frequency) -> xr.DataArray:
    """Force above, blocked, over displacement below [N/m]."""
    stiffness: xr.DataArray = 2j * np.pi * frequency / port.c
    return stiffness


@checked
@dataclass(frozen=True, eq=False)
class InSeries:
    """Two mounts in a row without a mass between: a coil on a rubber pad.

    Parameters
    ----------
    lower, upper : Mount
        The one that faces the ground, and the one that faces the building.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> half = LinearMount(stiffness=2e6, loss_factor=0.1)
    >>> f = xr.DataArray([10.0], dims="frequency")
    >>> round(float(InSeries(half, half).dynamic_stiffness(f)[0].real) / 1e6, 3)
    1.0
    """

    lower: Mount
    upper: Mount

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of both."""
        return tuple(dict.fromkeys((*self.lower.citations, *self.upper.citations)))

    @property
    def loss_factor_floor(self) -> float:
        """Smaller of the two."""
        return min(self.lower.loss_factor_floor, self.upper.loss_factor_floor)

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Transfer stiffness [N/m]."""
        return transfer_stiffness(self.two_port(frequency), frequency)

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening of both under one load [m]."""
        return self.lower.static_deflection(load) + self.upper.static_deflection(load)

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Cascade of both."""
        return self.lower.two_port(frequency) @ self.upper.two_port(frequency)


@checked
@dataclass(frozen=True, eq=False)
class InParallel:
    """Two mounts side by side between the same plates: a coil and a viscous damper.

    Parameters
    ----------
    first, second : Mount
        Both carry their share of the load by static stiffness.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> half = LinearMount(stiffness=1e6, loss_factor=0.1)
    >>> f = xr.DataArray([10.0], dims="frequency")
    >>> round(float(InParallel(half, half).dynamic_stiffness(f)[0].real) / 1e6, 3)
    2.0
    """

    first: Mount
    second: Mount

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of both."""
        return tuple(dict.fromkeys((*self.first.citations, *self.second.citations)))

    @property
    def loss_factor_floor(self) -> float:
        """Smaller of the two; of a massless spring beside a dashpot what that gives at 1 Hz."""
        smaller = min(self.first.loss_factor_floor, self.second.loss_factor_floor)
        # A dashpot beside a coil does not damp the waves in it.
        if {type(self.first), type(self.second)} != {LinearMount, Dashpot}:
            return smaller
        pair = self.dynamic_stiffness(xr.DataArray(1.0))
        return max(smaller, float((pair.imag / pair.real).min()))

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Transfer stiffness [N/m]."""
        return transfer_stiffness(self.two_port(frequency), frequency)

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening of the pair, linear in the load [m]."""
        one = self.first.static_deflection(1.0)
        two = self.second.static_deflection(1.0)
        return load / (1 / one + 1 / two)

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Forces added at both ends."""
        return self.first.two_port(frequency).parallel(self.second.two_port(frequency))


@checked(infinite=("return",))  # it carries nothing
@dataclass(frozen=True, kw_only=True, eq=False)
class Dashpot:
    """A viscous damper without stiffness, to stand beside a mount.

    Parameters
    ----------
    damping : float or DataArray
        [N s/m], above 0.

    Examples
    --------
    >>> f = xr.DataArray([1 / (2 * np.pi)], dims="frequency")
    >>> complex(Dashpot(damping=5.0).dynamic_stiffness(f).round(6)[0])
    5j
    """

    damping: Numeric

    def __post_init__(self) -> None:
        positive("Dashpot", "damping", self.damping, "N s/m")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """No source: the element is its definition."""
        return ()

    @property
    def loss_factor_floor(self) -> float:
        """Nothing in it resonates."""
        return 1.0

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """``jωc`` [N/m]."""
        stiffness: xr.DataArray = 2j * np.pi * frequency * self.damping
        return stiffness

    def static_deflection(self, load: Numeric) -> Numeric:  # noqa: ARG002
        """A dashpot carries nothing: infinite."""
        return np.inf

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Two-port of the dashpot."""
        return TwoPort.dashpot(frequency, damping=self.damping)
