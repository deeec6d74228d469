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
    """What a pass does on its way, from where the jacks stand once every mount is taken up.

    Parameters
    ----------
    does : Effects
        Of the floor.
    limits : JackLimits
        For the way.
    grid : JackGrid
        Names of the jacks.
    load, moment : array
        Per metre of rise, before the first jack of a pass and after each, (bounds, steps, mounts)
        and (bounds, steps, rows).
    order : array
        Numbers of the jacks as they are turned.
    start_load, start_moment : array
        Before each pass [N], [N m/m], (bounds, mounts) and (bounds, rows): of jacks that stand
        as far above one another as what they took up differs. A rise of all changes nothing.
    on_bed : array
        Most that each mount carries while the floor still rests at it [N].
    start_rise : float
        Of the floor off its bed then [m], the mean by stiffness: what the mounts are compressed
        beyond the weight. Below 0 so much is still to be taken up.
    """

    does: Effects
    limits: JackLimits
    grid: JackGrid
    load: Array
    moment: Array
    order: Array
    start_load: Array
    start_moment: Array
    on_bed: Array
    start_rise: float

    @classmethod
    def of(
        cls,
        where: str,
        floor: JackedFloor | None,
        limits: JackLimits | None,
        grid: JackGrid,
        order: str,
        taken: Array,
    ) -> LiftWay | None:
        """None where neither floor nor limits are given; `taken` up at each jack [m]."""
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
            np.pad(
                np.cumsum(np.moveaxis(e[:2][..., turned], -1, 1), axis=1), ((0, 0), (1, 0), (0, 0))
            )
            for e in (does.load, does.moment)
        )
        start_load = does.load_before[:2] + does.load[:2] @ taken
        start_moment = does.moment_before[:2] + does.moment[:2] @ taken
        on_bed = np.asarray(floor.mount_stiffness) * taken
        start_rise = float((on_bed.sum() - floor.weight) / np.asarray(floor.mount_stiffness).sum())
        return cls(does, limits, grid, load, moment, turned, start_load, start_moment, on_bed,
                   start_rise)  # fmt: skip

    def _used(self, rise: float) -> tuple[Array, Array, Array]:
        """Loads (bounds, steps, mounts) and shares of the moment limits (bounds, steps, rows)."""
        load = self.start_load[:, None] + self.load * rise
        moment = self.start_moment[:, None] + self.moment * rise
        return load, np.maximum(moment / self.limits.sagging, -moment / self.limits.hogging), moment

    def require_taken_up(self, where: str, part: float) -> None:
        """Refuse travel after which the floor is not just off its bed, by a part of a turn."""
        if abs(self.start_rise) <= part * (1 + _ROUNDING):
            return
        weight = self.does.load_before[0].sum()
        raise LiftError(
            f"{where}: travel does not fit floor: with it the mounts carry "
            f"{self.on_bed.sum() / 1e3:.4g} kN and the floor weighs {weight / 1e3:.4g} kN, so that "
            f"it would be {abs(self.start_rise) * 1e3:.3g} mm "
            f"{'off its bed already' if self.start_rise > 0 else 'short of leaving its bed'} when "
            "every mount is taken to be up; give free_travel of these mounts under their loads, "
            "or leave travel out"
        )

    def highest(self, where: str, most: int, part: float) -> int:
        """Parts of a turn in one pass that keep the limits."""
        least, largest = self.limits.loads(where, self.grid)
        heavy = np.flatnonzero(self.on_bed > largest * (1 + _ROUNDING))
        if heavy.size:
            at = int(heavy[0])
            raise LiftError(
                f"{where}: taken up by its travel, mount {self.grid.names[at]} carries "
                f"{self.on_bed[at] / 1e3:.3g} kN, allowed are {largest[at] / 1e3:.3g} kN"
            )
        if said := self._broken(0.0, least, largest):
            raise LiftError(
                f"{where}: once every mount is taken up, before any pass, {said[1]}; take all up "
                "alike where travel differs, or widen the limits"
            )
        for parts in range(most, 0, -1):
            if not (said := self._broken(parts * part, least, largest)):
                return parts
        assert said
        raise LiftError(
            f"{where}: with one part of a turn ({part * 1e3:.3g} mm) in a pass, after jack "
            f"{self.grid.names[int(self.order[said[0] - 1])]} {said[1]}; work in smaller parts of "
            "a turn, another order, or wider limits"
        )

    def _broken(self, rise: float, least: Array, largest: Array) -> tuple[int, str] | None:
        """The step of a pass that breaks a limit most and how; None where all are kept."""
        load, bent, moment = self._used(rise)
        over = np.maximum(load / largest, 2 - load / least)
        by_load = over.max() > bent.max()
        worse = over if by_load else bent
        if worse.max() <= 1 + _ROUNDING:
            return None
        bound, step, at = (int(k) for k in np.unravel_index(int(worse.argmax()), worse.shape))
        what = (
            f"mount {self.grid.names[at]} carries {load[bound, step, at] / 1e3:.3g} kN, "
            f"allowed are {least[at] / 1e3:.3g} to {largest[at] / 1e3:.3g} kN"
            if by_load
            else f"the slab bends with {moment[bound, step, at] / 1e3:.3g} kN m/m "
            f"{self.does.places[at]}, allowed are {-self.limits.hogging / 1e3:.3g} to "
            f"{self.limits.sagging / 1e3:.3g} kN m/m"
        )
        return step, f"{what} ({BOUNDS[bound]})"

    def added(self, result: xr.Dataset, rise: Array) -> xr.Dataset:
        """The plan with loads and moments of each pass."""
        least, most = (np.zeros((rise.size, self.grid.x.size)) for _ in range(2))
        used = np.zeros(rise.size)
        for k, one in enumerate(rise.tolist()):
            load, bent, _ = self._used(one)
            least[k] = load.min(axis=(0, 1)) if one else 0.0
            most[k] = (
                load.max(axis=(0, 1)) if one else np.maximum(self.on_bed, load.max(axis=(0, 1)))
            )
            used[k] = bent.max() if one else 0.0
        dims = ("lift_pass", "jack")
        return result.assign(
            load_least=(dims, least, {"units": "N"}),
            load_most=(dims, most, {"units": "N"}),
            moment_used=("lift_pass", used),
            load_end=(("bound", "jack"), self.start_load, {"units": "N"}),
        ).assign_coords(bound=list(BOUNDS))
