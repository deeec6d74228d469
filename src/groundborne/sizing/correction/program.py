"""Whole parts of turns within limits: linear programs for bounds, a search for whole numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from groundborne.sizing.correction.limit_rows import ROUNDING, Rows, broken_rows, near_rows
from groundborne.sizing.correction.search import search
from groundborne.sizing.programs import solve_program

Array = np.ndarray[Any, Any]

_MOST_BRANCHED = 16
"""Jacks up to which branching comes to an end; with more it takes minutes and proves nothing."""


@dataclass(frozen=True, eq=False)
class Found:
    """Signed parts of turns, a bound on their sum, and what could not be proven."""

    parts: Array
    bound: float
    open_words: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Program:
    """Fewest parts of turns that bring points (mm) inside the aim, or else the limit.

    Parameters
    ----------
    rise, deviation : array
        Of the points by one part of each jack, (states, points, jacks), and before, (points,).
    aim, limit : float
        Of the points [mm].
    held : sequence of Rows
        Loads, moments and the like, never broken.
    most_up, most_down : array
        Parts of each jack.
    most_nodes : int
        Of the branching for better whole numbers at the end.
    """

    rise: Array
    deviation: Array
    aim: float
    limit: float
    held: tuple[Rows, ...]
    most_up: Array
    most_down: Array
    most_nodes: int

    @cached_property
    def _largest(self) -> Array:
        """Most a point may be beyond the limit: as far as it was found."""
        return np.maximum(np.abs(self.deviation) - self.limit, 0.0)

    def points(self, band: Array) -> Rows:
        """Rows that hold the points within a band each [mm]."""
        states, _, jacks = self.rise.shape
        before = np.tile(self.deviation, states)
        return Rows(
            effect=self.rise.reshape(-1, jacks),
            before=before,
            low=-np.tile(band, states),
            high=np.tile(band, states),
            words=("",) * before.size,
        )

    def predicted(self, parts: Array) -> Array:
        """Deviation of each point at each state [mm]."""
        return np.asarray(self.deviation + self.rise @ parts)

    # -- Without whole parts -----------------------------------------------------------------------

    def solve(self) -> tuple[Array, Array, float]:
        """Parts, band of each point [mm], and the least sum of parts, none of them whole."""
        points = self.deviation.size
        jacks = self.most_up.size
        held = [r for r in self.held if not r.lazy]
        while True:
            most: dict[str, float] = {}
            for target in ("excess", "beyond", "turns"):
                found = self._linear(target, most, held)
                most[target] = found[1] + 1e-6 * (1 + abs(found[1]))
            x = found[0]
            parts = x[:jacks] - x[jacks : 2 * jacks]
            more = [cut for cut in (broken_rows(r, parts) for r in self.held if r.lazy) if cut]
            if not more:
                break
            held.extend(more)
        excess, beyond = x[2 * jacks : 2 * jacks + points], x[2 * jacks + points :]
        band = (
            self.aim + np.where(beyond > 1e-5, beyond, 0.0) + np.where(excess > 1e-5, excess, 0.0)
        )
        return parts, band, found[1]

    def _linear(self, target: str, most: dict[str, float], held: list[Rows]) -> tuple[Array, float]:
        from scipy.optimize import LinearConstraint

        states, points, jacks = self.rise.shape
        flat = self.rise.reshape(-1, jacks)
        one = np.tile(np.eye(points), (states, 1))
        before = np.tile(self.deviation, states)
        rows = [
            LinearConstraint(np.hstack([flat, -flat, -one, -one]), -np.inf, self.aim - before),
            LinearConstraint(np.hstack([flat, -flat, one, one]), -self.aim - before, np.inf),
        ]
        for r in held:
            blank = np.zeros((r.before.size, 2 * points))
            whole = np.hstack([r.effect, -r.effect, blank])
            rows.append(LinearConstraint(whole, r.low - r.before, r.high - r.before))
        zero = [np.zeros(2 * jacks), np.zeros(points), np.zeros(points)]
        sums = {
            "turns": np.concatenate([np.ones(2 * jacks), *zero[1:]]),
            "excess": np.concatenate([zero[0], np.ones(points), zero[2]]),
            "beyond": np.concatenate([*zero[:2], np.ones(points)]),
        }
        rows += [LinearConstraint(sums[n][None, :], -np.inf, m) for n, m in most.items()]
        upper = np.concatenate(
            [self.most_up, self.most_down, self._largest, np.full(points, self.limit - self.aim)]
        )
        found = solve_program(
            sums[target],
            whole=np.zeros(upper.size),
            lower=0.0,
            upper=upper,
            constraints=rows,
            nodes=1,
        )
        if found.x is None:
            raise ProgramError("no turns, however small, keep the limits")
        return found.x, float(sums[target] @ found.x)

    # -- Whole parts -------------------------------------------------------------------------------

    def whole(self) -> Found:
        """Whole parts of turns, as few as were found."""
        start, band, least = self.solve()
        # No further out than they are, whatever the band: so no turns at all are always allowed.
        fixed = self.points(np.maximum(self.limit, np.abs(self.deviation)))
        found = search(
            self.points(band),
            (fixed, *self.held),
            start=start,
            most_up=self.most_up,
            most_down=self.most_down,
        )
        off = float(self.points(band).off(found).max(initial=0.0))
        reached = off <= ROUNDING
        better, bound = self._better(start, band, float(np.abs(found).sum()) if reached else None)
        if better is not None or reached:
            return Found(found if better is None else better, max(least, bound), ())
        words = f"whole parts of turns leave points up to {off:.2g} mm further off than "
        return Found(found, 0.0, (f"{words}uneven ones would",))

    def _better(self, near: Array, band: Array, total: float | None) -> tuple[Array | None, float]:
        """Fewer parts than `total`, or any, by branching on few jacks; the bound of the solver."""
        from scipy.optimize import LinearConstraint

        jacks = near.size
        if total == 0 or jacks > _MOST_BRANCHED:
            return None, 0.0
        held = [self.points(band), *(r for r in self.held if not r.lazy)]
        held += [
            cut for cut in (near_rows(r, near) for r in self.held if r.lazy) if cut.before.size
        ]
        rows = [
            LinearConstraint(np.hstack([r.effect, -r.effect]), r.low - r.before, r.high - r.before)
            for r in held
        ]
        if total is not None:
            rows.append(LinearConstraint(np.ones((1, 2 * jacks)), -np.inf, total - 1))
        found = solve_program(
            np.ones(2 * jacks),
            whole=np.ones(2 * jacks),
            lower=0.0,
            upper=np.concatenate([self.most_up, self.most_down]),
            constraints=rows,
            nodes=self.most_nodes,
        )
        if found.none:
            return None, total or 0.0
        bound = max(0.0, found.bound)
        if found.x is None:
            return None, bound
        fewer = np.rint(found.x[:jacks] - found.x[jacks:])
        broken = max(float(r.off(fewer).max(initial=0.0)) for r in (self.points(band), *self.held))
        return (fewer + 0.0 if broken <= ROUNDING else None), bound


class ProgramError(ValueError):
    """A program without an answer."""
