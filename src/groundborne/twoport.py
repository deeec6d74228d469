"""Mechanical two-ports: force and velocity on one side in terms of the other.

``F1 = a F2 + b v2`` and ``v1 = c F2 + d v2``; side 1 faces the source, side 2 the receiver, time
factor ``exp(jωt)``. ``upper @ lower`` cascades with the source side on the left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive
from groundborne.citation import Citation

VIGRAN_MOBILITY = Citation(
    key="vigran2008-2.43",
    author="Vigran",
    year="2008",
    title="Building Acoustics",
    locator="eq. 2.43, isolator between mobilities",
    mark="seen",
    status="transcribed",
)
TWO_PORT_INSERTION = Citation(
    key="two-port-insertion-loss",
    author="groundborne",
    title="insertion loss of a two-port between mobilities, from the definition",
    mark="derived",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True)
class TwoPort:
    """Four complex parameters per frequency.

    Parameters
    ----------
    a, d : DataArray
        Force ratio and velocity ratio [-].
    b : DataArray
        Impedance [N s/m].
    c : DataArray
        Mobility [m/(N s)].

    Examples
    --------
    >>> f = xr.DataArray([10.0], dims="frequency")
    >>> mass, spring = TwoPort.mass(f, mass=100.0), TwoPort.spring(f, stiffness=1e6)
    >>> complex((mass @ spring).determinant[0])
    (1+0j)
    """

    a: xr.DataArray
    b: xr.DataArray
    c: xr.DataArray
    d: xr.DataArray

    def __matmul__(self, other: TwoPort) -> TwoPort:
        """Cascade: `self` on the source side of `other`."""
        return TwoPort(
            a=self.a * other.a + self.b * other.c,
            b=self.a * other.b + self.b * other.d,
            c=self.c * other.a + self.d * other.c,
            d=self.c * other.b + self.d * other.d,
        )

    @classmethod
    def mass(cls, frequency: Frequency, *, mass: Numeric) -> TwoPort:
        """Rigid mass [kg].

        Examples
        --------
        >>> complex(TwoPort.mass(xr.DataArray([1.0], dims="frequency"), mass=1.0).c[0])
        0j
        """
        not_negative("TwoPort.mass", "mass", mass, "kg")
        one, zero = _one_and_zero(frequency)
        return cls(a=one, b=2j * np.pi * frequency * mass, c=zero, d=one)

    @classmethod
    def spring(
        cls, frequency: Frequency, *, stiffness: Numeric, loss_factor: Numeric = 0.0
    ) -> TwoPort:
        """Massless spring of stiffness ``k (1 + jη)`` [N/m].

        Examples
        --------
        >>> complex(TwoPort.spring(xr.DataArray([1.0], dims="frequency"), stiffness=1.0).b[0])
        0j
        """
        positive("TwoPort.spring", "stiffness", stiffness, "N/m")
        not_negative("TwoPort.spring", "loss_factor", loss_factor, "")
        complex_stiffness = (
            xr.ones_like(frequency, dtype=complex) * stiffness * (1 + 1j * loss_factor)
        )
        return cls.from_dynamic_stiffness(frequency, complex_stiffness)

    @classmethod
    def dashpot(cls, frequency: Frequency, *, damping: Numeric) -> TwoPort:
        """Viscous dashpot [N s/m]."""
        positive("TwoPort.dashpot", "damping", damping, "N s/m")
        one, zero = _one_and_zero(frequency)
        return cls(a=one, b=zero, c=one / damping, d=one)

    @classmethod
    def from_dynamic_stiffness(cls, frequency: Frequency, stiffness: xr.DataArray) -> TwoPort:
        """Massless element of complex dynamic stiffness [N/m]."""
        one, zero = _one_and_zero(frequency)
        return cls(a=one, b=zero, c=2j * np.pi * frequency / stiffness, d=one)

    @classmethod
    def line(
        cls,
        frequency: Frequency,
        *,
        stiffness: Numeric,
        mass: Numeric,
        loss_factor: Numeric = 0.0,
    ) -> TwoPort:
        """Uniform elastic line (rod, coil, thick rubber block) of static stiffness and own mass.

        ``βL = ω √(m/k)`` and ``Z = √(k m)`` with complex k.

        Examples
        --------
        >>> f = xr.DataArray([1e-3], dims="frequency")
        >>> line = TwoPort.line(f, stiffness=1e6, mass=10.0)
        >>> spring = TwoPort.spring(f, stiffness=1e6)
        >>> bool(abs(line.c / spring.c - 1).max() < 1e-6)
        True
        """
        positive("TwoPort.line", "stiffness", stiffness, "N/m")
        positive("TwoPort.line", "mass", mass, "kg")
        not_negative("TwoPort.line", "loss_factor", loss_factor, "")
        k = xr.ones_like(frequency, dtype=complex) * stiffness * (1 + 1j * loss_factor)
        phase = 2 * np.pi * frequency * (mass / k) ** 0.5
        z = (k * mass) ** 0.5
        cos: xr.DataArray = np.cos(phase)
        sin: xr.DataArray = np.sin(phase)
        return cls(a=cos, b=1j * z * sin, c=1j * sin / z, d=cos)

    def parallel(self, other: TwoPort) -> TwoPort:
        """Both elements between the same two points: velocities alike, forces added.

        Neither may be a rigid link (``c = 0``), which would short-circuit the other.

        Examples
        --------
        >>> f = xr.DataArray([10.0], dims="frequency")
        >>> one, two = (TwoPort.spring(f, stiffness=k) for k in (1e6, 2e6))
        >>> both = TwoPort.spring(f, stiffness=3e6)
        >>> bool(abs(one.parallel(two).c / both.c - 1).max() < 1e-12)
        True
        """
        through = 1 / self.c + 1 / other.c
        a = (self.a / self.c + other.a / other.c) / through
        d = (self.d / self.c + other.d / other.c) / through
        # The blocked impedances of both elements, less what the transfer takes back.
        b = a * d * through - through
        return TwoPort(a=a, b=b, c=1 / through, d=d)

    def beside(self, impedance: xr.DataArray) -> TwoPort:
        """The element with a massless one next to it, between the same two points.

        Parameters
        ----------
        impedance : DataArray
            Force through the other over the difference of the velocities at its ends [N s/m]; 0
            where there is nothing beside.

        Examples
        --------
        >>> f = xr.DataArray([10.0], dims="frequency")
        >>> spring = TwoPort.spring(f, stiffness=1e6)
        >>> nothing = spring.beside(xr.zeros_like(f, dtype=complex))
        >>> bool(abs(nothing.c / spring.c - 1).max() < 1e-12)
        True
        """
        through = 1 / self.c + impedance
        a = (self.a / self.c + impedance) / through
        d = (self.d / self.c + impedance) / through
        return TwoPort(a=a, b=a * d * through - through, c=1 / through, d=d)

    @property
    def determinant(self) -> xr.DataArray:
        """``a d − b c``; 1 for every reciprocal element."""
        return self.a * self.d - self.b * self.c

    def input_mobility(self, receiver_mobility: xr.DataArray) -> xr.DataArray:
        """Mobility seen from the source side with a receiver attached [m/(N s)]."""
        return (self.c + self.d * receiver_mobility) / (self.a + self.b * receiver_mobility)

    def velocity_ratio(
        self, *, source_mobility: xr.DataArray | float, receiver_mobility: xr.DataArray
    ) -> xr.DataArray:
        """Receiver velocity over the free velocity of the source [-].

        The source is its free velocity (what moves with nothing attached) behind its mobility.

        Parameters
        ----------
        source_mobility, receiver_mobility : DataArray
            Driving-point mobilities on the two sides [m/(N s)]; a source mobility of 0 is an
            imposed motion.

        Returns
        -------
        xarray.DataArray
            Complex ratio [-].

        References
        ----------
        From the definition of the two-port: ``v2 = v0 Yr/(c + d Yr + a Ys + b Ys Yr)``.
        """
        ys, yr = source_mobility, receiver_mobility
        return yr / (self.c + self.d * yr + self.a * ys + self.b * ys * yr)


@checked
def rigid_link(frequency: Frequency) -> TwoPort:
    """A two-port that passes force and velocity unchanged."""
    one, zero = _one_and_zero(frequency)
    return TwoPort(a=one, b=zero, c=zero, d=one)


def _one_and_zero(frequency: xr.DataArray) -> tuple[xr.DataArray, xr.DataArray]:
    one = xr.ones_like(frequency, dtype=complex).drop_attrs(deep=False)
    return one, xr.zeros_like(one)
