"""Loads on mounts and bending of a floor while it is lifted, jack by jack."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne.sizing.jacking.effects import Effects, effects
from groundborne.sizing.jacking.floor import BOUNDS, JackedFloor, JackLimits
from groundborne.sizing.jacking.grid import JackGrid
from groundborne.sizing.jacking.rules import LiftError

_ROUNDING = 1e-9

Array = np.ndarray[Any, Any]


@dataclass(frozen=True, eq=False)
class LiftWay:
    """What a pass does on its way, per metre of rise: loads and moments after every jack."""

    does: Effects
    limits: JackLimits
    grid: JackGrid
    load: Array
    moment: Array
    order: Array

    @classmethod
    def of(
        cls,
        where: str,
        floor: JackedFloor | None,
        limits: JackLimits | None,
        grid: JackGrid,
        order: str,
    ) -> LiftWay | None:
        """None where neither floor nor limits are given."""
        if floor is None and limits is None:
            return None
        if floor is None or limits is None:
            raise ValueError(f"{where}: floor and limits are needed together")
        same = floor.grid.names == grid.names
        same = same and all(
            np.array_equal(getattr(floor.grid, n).values, getattr(grid, n).values) for n in "xy"
        )
        if not same:
            raise ValueError(f"{where}: floor stands on other jacks than grid; give floor.grid")
        none = np.zeros(0)
        does = effects(floor, x=none, y=none, load=None)
        turned = grid.numbers(order)
        load, moment = (
            np.cumsum(np.moveaxis(e[:2][..., turned], -1, 1), axis=1)
            for e in (does.load, does.moment)
        )
        return cls(does, limits, grid, load, moment, turned)

    def _used(self, rise: float) -> tuple[Array, Array, Array]:
        """Loads (bounds, steps, mounts) and shares of the moment limits (bounds, steps, rows)."""
        load = self.does.load_before[:2, None] + self.load * rise
        moment = self.does.moment_before[:2, None] + self.moment * rise
        return load, np.maximum(moment / self.limits.sagging, -moment / self.limits.hogging), moment

    def highest(self, where: str, most: int, part: float) -> int:
        """Parts of a turn in one pass that keep the limits."""
        least, largest = self.limits.loads(where, self.grid)
        for parts in range(most, 0, -1):
            load, bent, moment = self._used(parts * part)
            over = np.maximum(load / largest, 2 - load / least)
            if over.max() <= 1 + _ROUNDING and bent.max() <= 1 + _ROUNDING:
                return parts
        bound, step, at = np.unravel_index(
            int((over if over.max() > bent.max() else bent).argmax()),
            (over if over.max() > bent.max() else bent).shape,
        )
        state = BOUNDS[int(bound)]
        what = (
            f"mount {self.grid.names[int(at)]} carries {load[bound, step, at] / 1e3:.3g} kN, "
            f"allowed are {least[at] / 1e3:.3g} to {largest[at] / 1e3:.3g} kN"
            if over.max() > bent.max()
            else f"the slab bends with {moment[bound, step, at] / 1e3:.3g} kN m/m "
            f"{self.does.places[int(at)]}, allowed are {-self.limits.hogging / 1e3:.3g} to "
            f"{self.limits.sagging / 1e3:.3g} kN m/m"
        )
        raise LiftError(
            f"{where}: with one part of a turn ({part * 1e3:.3g} mm) in a pass, after jack "
            f"{self.grid.names[int(self.order[step])]} {what} ({state}); work in smaller parts of "
            "a turn, another order, or wider limits"
        )

    def added(self, result: xr.Dataset, rise: Array) -> xr.Dataset:
        """The plan with loads and moments of each pass."""
        least, most = (np.zeros((rise.size, self.grid.x.size)) for _ in range(2))
        used = np.zeros(rise.size)
        rest = self.does.load_before[:2]
        for k, one in enumerate(rise.tolist()):
            load, bent, _ = self._used(one)
            least[k] = np.minimum(load.min(axis=(0, 1)), rest.min(axis=0)) if one else 0.0
            most[k] = np.maximum(load.max(axis=(0, 1)), rest.max(axis=0))
            used[k] = bent.max() if one else 0.0
        dims = ("lift_pass", "jack")
        return result.assign(
            load_least=(dims, least, {"units": "N"}),
            load_most=(dims, most, {"units": "N"}),
            moment_used=("lift_pass", used),
        )
