"""What floors and ceilings on resilient supports share: air beside them, frequency, headroom."""

from __future__ import annotations

from abc import ABC, abstractmethod

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, known, positive
from groundborne.citation import Citation
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.isolation.rooms.air import (
    AIR_LOSS_FACTOR,
    AIR_LOSS_PRACTICE,
    AIR_MODULUS,
    AIR_SPRING,
    AIR_STANDARD,
    air_stiffness,
)
from groundborne.isolation.rooms.floor_on_slab import FloorOnSlab
from groundborne.isolation.rooms.surface import SurfaceIsolation
from groundborne.path import PathElement
from groundborne.structure import BareSlab, FloatingFloor, Mobility

_DEEPEST = 10.0
"""No room gives a construction more depth [m]; a larger limit is in another unit."""

PARALLEL = Citation(
    key="supports-and-air-in-parallel",
    author="groundborne",
    title="supports and enclosed air as springs in parallel, √[(s′supports + s′air)/m″]/2π",
    mark="derived",
    status="transcribed",
)


class SprungSurface(ABC):
    """A heavy surface on mounts, battens or hangers, with air in the gap beside them."""

    @property
    @abstractmethod
    def mass_per_area(self) -> Numeric:
        """Of all that moves [kg/m²]."""

    @property
    @abstractmethod
    def support_stiffness_per_area(self) -> Numeric:
        """Dynamic stiffness of the supports alone [N/m³]."""

    @property
    @abstractmethod
    def build_up(self) -> Numeric:
        """Height it takes [m]."""

    @property
    @abstractmethod
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""

    @property
    @abstractmethod
    def air(self) -> tuple[Numeric, str]:
        """Depth [m] and state of the air."""

    @property
    @abstractmethod
    def in_words(self) -> str:
        """What it is, in two or three words."""

    @abstractmethod
    def _support_loss_factor(self) -> Numeric:
        """Of the supports alone."""

    @property
    def _where(self) -> str:
        return type(self).__name__

    def _check_air(self, name: str) -> None:
        gap, state = self.air
        positive(self._where, name, gap, "m")
        known(self._where, "air_state", state, AIR_MODULUS)

    @property
    def air_stiffness_per_area(self) -> Numeric:
        """Of the air in its state [N/m³]."""
        gap, state = self.air
        return air_stiffness(gap=gap, state=state)

    @property
    def stiffness_per_area(self) -> Numeric:
        """Supports and air in parallel [N/m³]."""
        return self.support_stiffness_per_area + self.air_stiffness_per_area

    @property
    def loss_factor_combined(self) -> Numeric:
        """Of supports and air together, each by its share of the stiffness [-].

        Air in a porous fill loses a tenth, sealed air without one half of that (common practice).
        """
        _, state = self.air
        supports = self.support_stiffness_per_area * self._support_loss_factor()
        air = self.air_stiffness_per_area * AIR_LOSS_FACTOR[state]
        return (supports + air) / self.stiffness_per_area

    @property
    def natural_frequency(self) -> Numeric:
        """With the air in its state, on a base that does not move [Hz]."""
        return _frequency(self.stiffness_per_area, self.mass_per_area)

    @property
    def vented_frequency(self) -> Numeric:
        """Of mass and supports alone [Hz]; what is reached only where the air can escape."""
        return _frequency(self.support_stiffness_per_area, self.mass_per_area)

    @property
    def frequencies(self) -> xr.DataArray:
        """Natural frequency for every state of the air, on the dimension ``air`` [Hz]."""
        gap, _ = self.air
        modulus = xr.DataArray(list(AIR_MODULUS.values()), coords={"air": list(AIR_MODULUS)})
        stiffness = modulus / gap + self.support_stiffness_per_area
        frequency: xr.DataArray = (stiffness / self.mass_per_area) ** 0.5 / (2 * np.pi)
        frequency.attrs = {"units": "Hz", "long_name": "natural frequency"}
        return frequency

    def frequency_over(self, *, mass_per_area: Numeric) -> Numeric:
        """Natural frequency over a base that is free to move [Hz].

        Parameters
        ----------
        mass_per_area : float or DataArray
            Of the base, or the modal mass per area of the slab's mode in question [kg/m²].
        """
        positive(f"{self._where}.frequency_over", "mass_per_area", mass_per_area, "kg/m²")
        together = 1 / (1 / self.mass_per_area + 1 / mass_per_area)
        return _frequency(self.stiffness_per_area, together)

    def fits(self, *, limit: Numeric) -> Numeric:
        """Height left under a limit [m].

        Parameters
        ----------
        limit : float or DataArray
            Depth that may be used up [m], above 0.

        Returns
        -------
        float or DataArray
            Limit minus build-up [m], 0 or more.

        Raises
        ------
        ValueError
            It does not fit.
        """
        where = f"{self._where}.fits"
        positive(where, "limit", limit, "m")
        if np.any(np.asarray(limit) > _DEEPEST):
            raise ValueError(
                f"{where}: limit is {float(np.max(np.asarray(limit))):g}; it must be at most "
                f"{_DEEPEST:g} m, and is in metres: {1e3 * _DEEPEST:,.0f} mm are {_DEEPEST:g} m"
            )
        left = limit - self.build_up
        # Half a micrometre: sums of decimal lengths do not meet exactly.
        if np.any(np.asarray(left) < -5e-7):
            short = -1e3 * float(np.min(np.asarray(left)))
            built = 1e3 * float(np.max(np.asarray(self.build_up)))
            raise ValueError(
                f"{where}: headroom is exceeded: the build-up takes {built:.0f} mm, {short:.0f} mm "
                "more than the limit; make layers or air gap thinner (less air is stiffer), or "
                "find the height"
            )
        return left

    def layer(self) -> FloatingFloor:
        """The same as a layer for slabs of :mod:`groundborne.structure`."""
        return FloatingFloor(
            mass_per_area=self.mass_per_area,
            stiffness_per_area=self.stiffness_per_area,
            loss_factor=self.loss_factor_combined,
            bending_stiffness=self._layer_bending_stiffness(),
            span_bending_stiffness=self._span_bending_stiffness(),
        )

    def isolation(self, *, largest_loss: Numeric = SINGLE_STAGE_LIMIT) -> SurfaceIsolation:
        """Path element of the surface on a slab that the layer does not slow down.

        Parameters
        ----------
        largest_loss : float or DataArray
            Most it may give in any band [dB].
        """
        return SurfaceIsolation(
            natural_frequency=self.natural_frequency,
            loss_factor=self.loss_factor_combined,
            largest_loss=largest_loss,
        )

    def on_slab(
        self,
        *,
        slab: BareSlab,
        below: Mobility | None = None,
        largest_loss: Numeric = SINGLE_STAGE_LIMIT,
    ) -> FloorOnSlab:
        """Path element of the surface on a slab with its own modes.

        Parameters
        ----------
        slab, below, largest_loss
            As for :class:`FloorOnSlab`.
        """
        return FloorOnSlab(floor=self.layer(), slab=slab, below=below, largest_loss=largest_loss)

    def treatment(self, *, slab: BareSlab | None, largest_loss: Numeric) -> PathElement:
        """Path element of the surface: on a slab where it is known, else :meth:`isolation`.

        Parameters
        ----------
        slab : BareSlab or None
            The bare slab that carries it; with None it is taken as heavy and stiff.
        largest_loss : float or DataArray
            Most it may give in any band [dB].
        """
        if slab is None:
            return self.isolation(largest_loss=largest_loss)
        return self.on_slab(slab=slab, largest_loss=largest_loss)

    def _layer_bending_stiffness(self) -> Numeric:
        """B′ of the layer; 0 where it is limp or not known."""
        return 0.0

    def _span_bending_stiffness(self) -> Numeric | None:
        """B′ along the span of a one-way slab; None where it is the same in all directions."""
        return None

    def _own_citations(self) -> tuple[Citation, ...]:
        _, state = self.air
        own = (PARALLEL, AIR_STANDARD if state == "standard" else AIR_SPRING)
        return (*own, AIR_LOSS_PRACTICE) if AIR_LOSS_FACTOR[state] else own


def _frequency(stiffness: Numeric, mass: Numeric) -> Numeric:
    frequency: Numeric = np.sqrt(stiffness / mass) / (2 * np.pi)
    return frequency


def require_capacity(
    where: str, *, support: str, load: Numeric, capacity: Numeric | None, remedy: str
) -> None:
    """Refuse supports that carry more than they may."""
    if capacity is None:
        return
    positive(where, f"{support}_capacity", capacity, "N")
    share = np.asarray(load / capacity)
    if np.any(share > 1):
        worst = float(np.max(share))
        most = float(np.max(np.asarray(load))) / 1e3
        raise ValueError(
            f"{where}: the {support}s are overloaded: {most:.3g} kN is {100 * worst:.3g} % of "
            f"{support}_capacity, what one may carry; {remedy}"
        )
