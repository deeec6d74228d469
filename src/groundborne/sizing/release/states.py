"""States of a building while its packs are released: reactions by let-downs, in plain arrays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]

MOST_AT_ONCE = 12
"""Columns of one step for which all orders of work, 2 to this power, are worked out."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """Loads [N] and movement [m] in states, arrays (states, columns).

    ``lock`` is above 0 where it holds the springs down and below 0 where it carries the column.
    """

    column: Array
    pack: Array
    lock: Array
    movement: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class OnTheWay:
    """A step over all orders of work within it.

    Parameters
    ----------
    ends : Outcome
        Least and most of each quantity, (2, columns).
    movement : ndarray
        At all corners [m], (corners, columns).
    after : Outcome
        After the step, (1, columns).
    worked : ndarray
        Whether each column is worked on.
    imbalance : float
        Force and moments of the reactions less those of the loads, over force and its arms.
    """

    ends: Outcome
    movement: Array
    after: Outcome
    worked: Array
    imbalance: float


@dataclass(frozen=True, kw_only=True, eq=False)
class States:
    """One plate in plain arrays: reactions by let-downs and by which supports are released.

    With reactions ``ρ`` beyond those before work, a column lies at ``e + ρ/K`` below its place
    then if held at a let-down ``e``, and at ``(Q − P)/k + ρ/k`` if released. That is a plate whose
    supports are lowered by ``e``, or by all that remains, the released ones with the compliance
    ``1/k − 1/K`` added (Woodbury's identity); so ``ρ = −S e`` balances whatever is let down.
    """

    raise_: Array
    locked: Array
    place: Array
    load: Array
    precompression: Array
    stiffness: Array

    @cached_property
    def remaining(self) -> Array:
        """Movement of each column released alone [m]."""
        return np.asarray((self.load - self.precompression) / self.stiffness)

    @cached_property
    def added(self) -> Array:
        """Compliance that a release adds [m/N]."""
        return np.asarray(1 / self.stiffness - 1 / self.locked)

    @cached_property
    def _kept(self) -> dict[bytes, Array]:
        return {}

    def with_released(self, free: Array) -> Array:
        """Reactions by raised supports [N/m] with some released."""
        key = np.packbits(free).tobytes()
        if key not in self._kept:
            if len(self._kept) * self.load.size**2 > 4e6:
                self._kept.clear()
            some = np.flatnonzero(free)
            matrix = self.raise_
            if some.size:
                inner = matrix[np.ix_(some, some)] + np.diag(1 / self.added[some])
                matrix = matrix - matrix[:, some] @ np.linalg.solve(inner, matrix[some])
            self._kept[key] = matrix
        return self._kept[key]

    def outcome(self, let_down: Array, free: Array, change: Array) -> Outcome:
        """From let-downs, who is released and changes of reactions (states, columns)."""
        return self._outcome_of(slice(None), let_down, free, change)

    def _outcome_of(self, some: Any, let_down: Array, free: Array, change: Array) -> Outcome:
        held = let_down + change / self.locked[some]
        gone = self.remaining[some] + change / self.stiffness[some]
        movement = np.where(free, gone, held)
        column = self.load[some] + change
        pack = self.precompression[some] + self.stiffness[some] * movement
        return Outcome(
            column=column, pack=pack, lock=np.where(free, 0.0, pack - column), movement=movement
        )

    def state(self, let_down: Array, free: Array) -> Outcome:
        """One state."""
        change = -self.with_released(free) @ let_down
        return self.outcome(let_down[None], free[None], change[None])

    def on_the_way(
        self, before: Array, after: Array, free_before: Array, free_after: Array
    ) -> OnTheWay:
        """All corners of a step: every set of its columns done, the others not yet.

        While one column is let down all loads change in proportion until its lock is free, so that
        they are largest and least at corners, whatever the order of work. Of a column that is not
        worked on all quantities follow the change of its reaction, so that the least and the most
        of that are enough.
        """
        worked = (before != after) | (free_before != free_after)
        some = np.flatnonzero(worked)
        if some.size > MOST_AT_ONCE:
            raise ValueError(
                f"loads are worked out for at most {MOST_AT_ONCE} columns in one step, for every "
                f"order of work; here are {some.size}"
            )
        bits = (np.arange(2**some.size)[:, None] >> np.arange(some.size)) & 1
        matrix = self.with_released(free_before)
        start = -matrix @ before
        softer = np.where(free_after & ~free_before, self.added, 0.0)[some] * bits
        inner = np.eye(some.size) + softer[:, :, None] * matrix[np.ix_(some, some)]
        right = (after - before)[some] * bits + softer * start[some]
        ways = np.linalg.solve(inner, right[:, :, None])[:, :, 0]
        change = start - ways @ matrix[some]
        ends = self.outcome(before, free_before, np.stack([change.min(axis=0), change.max(axis=0)]))
        own = self._outcome_of(
            some,
            np.where(bits, after[some], before[some]),
            np.where(bits, free_after[some], free_before[some]),
            change[:, some],
        )
        least_and_most = {}
        for name, value in vars(ends).items():
            value = np.sort(value, axis=0)
            corners = getattr(own, name)
            value[:, some] = [corners.min(axis=0), corners.max(axis=0)]
            least_and_most[name] = value
        movement = change * np.where(free_before, 1 / self.stiffness, 1 / self.locked)
        movement += np.where(free_before, self.remaining, before)
        movement[:, some] = own.movement
        return OnTheWay(
            ends=Outcome(**least_and_most),
            movement=movement,
            after=self.outcome(after, free_after, change[-1:]),
            worked=worked,
            imbalance=self.imbalance(change),
        )

    def imbalance(self, change: Array) -> float:
        """Force and moments of changes of reactions, over the load and its arms."""
        arm = self.place - self.place.mean(axis=1, keepdims=True)
        lever = np.stack([np.ones(arm.shape[1]), *(arm / max(float(abs(arm).max()), 1e-9))])
        return float(abs(change @ lever.T).max()) / max(float(self.load.sum()), 1e-30)
