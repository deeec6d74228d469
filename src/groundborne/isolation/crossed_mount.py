"""Mounts with what crosses the isolation plane beside them, as one mount."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric
from groundborne.citation import DERIVED, Citation
from groundborne.isolation.crossings import Crossing
from groundborne.isolation.mount import Mount
from groundborne.twoport import TwoPort


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class CrossedMount:
    """Mounts with what crosses the isolation plane beside them.

    Parameters
    ----------
    mount : Mount
        The mounts themselves; they alone carry the building.
    crossings : sequence of Crossing
        At least one.
    weights : DataArray
        Share of each column in the floor area carried [-], on ``column``; 1 for one line.

    Notes
    -----
    Parallel to a massless mount of stiffness k that carries a rigid mass, a crossing of stiffness
    ``k_b`` raises the natural frequency by ``√(1 + k_b/k)``.

    References
    ----------
    Derived.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> spring = LinearMount(stiffness=4e6, loss_factor=0.02)
    >>> stair = Crossing(name="stair on 10 mm rubber", stiffness=1e6, loss_factor=0.1)
    >>> both = CrossedMount(mount=spring, crossings=[stair], weights=xr.DataArray(1.0))
    >>> f = xr.DataArray([1.0], dims="frequency")
    >>> float(both.dynamic_stiffness(f).real[0])
    5000000.0
    """

    mount: Mount
    crossings: Sequence[Crossing]
    weights: xr.DataArray

    def __post_init__(self) -> None:
        if not self.crossings:
            raise ValueError("CrossedMount: there is no crossing; take the mount itself")
        object.__setattr__(self, "crossings", tuple(self.crossings))

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the mounts and of what crosses beside them."""
        own = [c for crossing in self.crossings for c in crossing.citations]
        return tuple(dict.fromkeys((*self.mount.citations, *own, DERIVED)))

    @property
    def loss_factor_floor(self) -> float:
        """Smallest loss factor of mounts and crossings."""
        own = [
            float(np.min(np.asarray(c.loss_factor)))
            for c in self.crossings
            if np.any(np.asarray(c.stiffness) > 0) and np.all(np.asarray(c.loss_factor) > 0)
        ]
        return min([self.mount.loss_factor_floor, *own])

    def beside(self, frequency: Frequency) -> xr.DataArray:
        """Dynamic stiffness of all crossings at each column [N/m]."""
        total = xr.zeros_like(frequency, dtype=complex)
        for crossing in self.crossings:
            total = total + crossing.shares(self.weights) * crossing.dynamic_stiffness(frequency)
        return total

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Transfer stiffness of mounts and crossings together [N/m]."""
        whole: xr.DataArray = self.mount.dynamic_stiffness(frequency) + self.beside(frequency)
        return whole

    def static_deflection(self, load: Numeric) -> Numeric:
        """Of the mounts, which alone carry [m]."""
        return self.mount.static_deflection(load)

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Forces of mounts and crossings added at both ends."""
        impedance = self.beside(frequency) / (2j * np.pi * frequency)
        return self.mount.two_port(frequency).beside(impedance)
