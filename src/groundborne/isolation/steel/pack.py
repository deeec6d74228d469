"""Springs side by side under one column, with or without a damping pad below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive
from groundborne.citation import Citation
from groundborne.isolation.distributed import InParallel, InSeries
from groundborne.isolation.mount import Mount
from groundborne.isolation.steel.spring import HelicalSpring
from groundborne.structure.element import GRAVITY

QUASI_STATIC = 0.01
"""Frequency at which a mount's dynamic stiffness is read for its natural frequency [Hz]."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class SpringPack:
    """Springs between the same two plates, alike or mixed; all shorten alike.

    Parameters
    ----------
    springs : sequence of HelicalSpring
        The kinds of spring. Different free lengths are taken to be levelled by shims, so that all
        kinds begin to carry together.
    counts : sequence of float or DataArray
        How many of each kind, above 0.
    pad : Mount, optional
        Rubber or polymer pad below the whole pack, in series: it damps the surge of the coils.

    Raises
    ------
    ValueError
        No spring, or not one count for each.

    Notes
    -----
    The pack goes solid with the kind that has the least travel. Below its first surge a coil pack
    behaves like a spring; there and above it lets vibration through unless a pad damps it.

    Examples
    --------
    >>> coil = HelicalSpring(wire_diameter=0.040, coil_diameter=0.180, active_coils=5.0,
    ...                      free_length=0.330)
    >>> pack = SpringPack(springs=[coil], counts=[6])
    >>> round(float(pack.deflection(150e3)) * 1e3, 1), bool(pack.is_solid(150e3))
    (29.0, False)
    >>> round(float(pack.natural_frequency(150e3)), 2)
    2.93
    """

    springs: Sequence[HelicalSpring]
    counts: Sequence[Numeric]
    pad: Mount | None = None

    def __post_init__(self) -> None:
        if not self.springs or len(self.springs) != len(self.counts):
            raise ValueError(
                f"SpringPack: {len(self.springs)} kinds of spring and {len(self.counts)} counts; "
                "one count for each of one or more kinds is needed"
            )
        for count in self.counts:
            positive("SpringPack", "counts", count, "")
        object.__setattr__(self, "springs", tuple(self.springs))
        object.__setattr__(self, "counts", tuple(self.counts))

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of springs and pad."""
        every = [c for spring in self.springs for c in spring.citations]
        return tuple(dict.fromkeys((*every, *(self.pad.citations if self.pad else ()))))

    @property
    def rate(self) -> Numeric:
        """Axial rate of the springs together, without the pad [N/m]."""
        return sum(n * s.rate for s, n in zip(self.springs, self.counts, strict=True))

    @property
    def mass(self) -> Numeric:
        """Mass of all active coils [kg]."""
        return sum(n * s.mass for s, n in zip(self.springs, self.counts, strict=True))

    @property
    def travel_to_solid(self) -> Numeric:
        """Travel of the springs until the first kind is solid [m]."""
        return reduce(np.minimum, (s.travel_to_solid for s in self.springs))

    @property
    def load_at_solid(self) -> Numeric:
        """Load at which the first kind is solid [N]."""
        return self.travel_to_solid * self.rate

    def is_solid(self, load: Numeric) -> Numeric:
        """Whether a load [N] presses the coils of any kind together."""
        not_negative("SpringPack.is_solid", "load", load, "N")
        solid: Numeric = load >= self.load_at_solid
        return solid

    def shares(self, load: Numeric) -> tuple[Numeric, ...]:
        """Load on one spring of each kind [N], by rate."""
        self._spring_deflection(load)
        return tuple(load * s.rate / self.rate for s in self.springs)

    def _spring_deflection(self, load: Numeric) -> Numeric:
        if np.any(np.asarray(self.is_solid(load))):
            raise ValueError(
                f"SpringPack: a load of up to {np.max(np.asarray(load)) / 1e3:.1f} kN presses "
                "coils together, which takes "
                f"{np.min(np.asarray(self.load_at_solid)) / 1e3:.1f} kN; more or stiffer "
                "springs are needed"
            )
        return load / self.rate

    def deflection(self, load: Numeric) -> Numeric:
        """Shortening of springs and pad under a load [N] that leaves the coils apart [m]."""
        below: Numeric = 0.0 if self.pad is None else self.pad.static_deflection(load)
        return self._spring_deflection(load) + below

    def lateral_rate(self, load: Numeric) -> Numeric:
        """Lateral rate of the springs together under a load [N], without the pad [N/m]."""
        shared = self.shares(load)
        return sum(
            n * s.lateral_rate(part)
            for s, n, part in zip(self.springs, self.counts, shared, strict=True)
        )

    def mount(self) -> Mount:
        """Dynamic model of the pack; linear, so check :meth:`is_solid` for every load."""
        lines: list[Mount] = [
            s.mount(count=n) for s, n in zip(self.springs, self.counts, strict=True)
        ]
        coils = reduce(InParallel, lines)
        return coils if self.pad is None else InSeries(self.pad, coils)

    def natural_frequency(self, load: Numeric) -> Numeric:
        """Natural frequency with a rigid mass of this weight [N] on rigid ground [Hz].

        From the dynamic stiffness at small amplitude, pad included; a load that makes a spring
        solid is refused.
        """
        positive("SpringPack.natural_frequency", "load", load, "N")
        self._spring_deflection(load)
        slow = xr.DataArray([QUASI_STATIC], dims="frequency")
        stiffness = self.mount().dynamic_stiffness(slow).isel(frequency=0, drop=True).real
        frequency: Numeric = np.sqrt(stiffness * GRAVITY / load) / (2 * np.pi)
        return frequency
