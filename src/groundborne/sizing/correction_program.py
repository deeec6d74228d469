"""Whole parts of turns within limits: linear programs for bounds, a search for whole numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from groundborne.sizing.programs import solve_program

Array = np.ndarray[Any, Any]

ROUNDING = 1e-6
"""Of rows, in their own scale (millimetres, twentieths of a range)."""
_ROUNDS = 24
_MOST_BRANCHED = 16
"""Jacks up to which branching comes to an end; with more it takes minutes and proves nothing."""
_WIDER = (0.0, 0.05, 0.1, 0.2, 0.4, 0.8, 1.6)
"""By how much more than the program without whole parts points may be off [mm]."""


@dataclass(frozen=True, eq=False)
class Rows:
    """What must lie between two limits: ``low <= before + effect @ parts <= high``.

    ``words`` says of each row what it is; ``lazy`` rows enter a program only when they are broken.
    """

    effect: Array
    before: Array
    low: Array
    high: Array
    words: tuple[str, ...]
    lazy: bool = False

    def off(self, parts: Array) -> Array:
        """How far each row is outside its limits."""
        now = self.before + self.effect @ parts
        return np.asarray(np.maximum(np.maximum(now - self.high, self.low - now), 0.0))


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
        states, count, jacks = self.rise.shape
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
            more = [cut for cut in (_broken(r, parts) for r in self.held if r.lazy) if cut]
            if not more:
                break
            held.extend(more)
        excess, beyond = x[2 * jacks : 2 * jacks + points], x[2 * jacks + points :]
        band = self.aim + np.where(beyond > 1e-5, beyond, 0.0) + np.where(excess > 1e-5, excess, 0.0)
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
        for wider in _WIDER:
            allowed = np.where(band <= self.limit, np.minimum(band + wider, self.limit), band + wider)
            allowed = np.minimum(allowed, np.maximum(self.limit, np.abs(self.deviation)))
            found = self._search(start, allowed)
            if found is not None:
                break
        else:
            raise ProgramError("no whole parts of turns near the best uneven ones keep the limits")
        words = []
        if wider > 0:
            words.append(
                f"points are up to {wider:g} mm further off than uneven parts of turns would leave them"
            )
            return Found(found, least, tuple(words))
        better, bound = self._better(found, allowed)
        return Found(found if better is None else better, max(least, bound), tuple(words))

    def _search(self, start: Array, band: Array) -> Array | None:
        """Steps of one part on one jack or two, with what is broken weighing ever more."""
        near = [self.points(band), *self.held]
        # Rows that a few parts cannot reach wait until they are broken.
        active = [_near(r, start) for r in near]
        for _ in range(8):
            found = _descend(
                np.vstack([r.effect for r in active]),
                np.concatenate([r.low - r.before for r in active]),
                np.concatenate([r.high - r.before for r in active]),
                np.rint(start),
                self.most_up,
                self.most_down,
            )
            if found is None:
                return None
            more = [cut for cut in (_broken(r, found) for r in near) if cut]
            if not more:
                return found
            active.extend(more)
        return None

    def _better(self, parts: Array, band: Array) -> tuple[Array | None, float]:
        """Fewer parts by branching, on few jacks, and the bound of the solver."""
        from scipy.optimize import LinearConstraint

        total = float(np.abs(parts).sum())
        if total == 0 or parts.size > _MOST_BRANCHED:
            return None, 0.0
        held = [self.points(band), *(r for r in self.held if not r.lazy)]
        held += [cut for cut in (_near(r, parts) for r in self.held if r.lazy) if cut.before.size]
        rows = [
            LinearConstraint(np.hstack([r.effect, -r.effect]), r.low - r.before, r.high - r.before)
            for r in held
        ]
        rows.append(LinearConstraint(np.ones((1, 2 * parts.size)), -np.inf, total - 1))
        found = solve_program(
            np.ones(2 * parts.size),
            whole=np.ones(2 * parts.size),
            lower=0.0,
            upper=np.concatenate([self.most_up, self.most_down]),
            constraints=rows,
            nodes=self.most_nodes,
        )
        if found.none:
            return None, total
        bound = max(0.0, found.bound)
        if found.x is None:
            return None, bound
        fewer = np.rint(found.x[: parts.size] - found.x[parts.size :])
        broken = max(float(r.off(fewer).max(initial=0.0)) for r in (self.points(band), *self.held))
        return (fewer if broken <= ROUNDING else None), bound


class ProgramError(ValueError):
    """A program without an answer."""


def _broken(rows: Rows, parts: Array) -> Rows | None:
    off = rows.off(parts) > ROUNDING
    return _cut(rows, off) if off.any() else None


def _near(rows: Rows, parts: Array) -> Rows:
    """Rows within reach of a few parts."""
    now = rows.before + rows.effect @ parts
    reach = 4 * np.abs(rows.effect).max(axis=1)
    return _cut(rows, (now + reach > rows.high) | (now - reach < rows.low))


def _cut(rows: Rows, keep: Array) -> Rows:
    words = tuple(np.array(rows.words, dtype=object)[keep].tolist())
    return replace(rows, effect=rows.effect[keep], before=rows.before[keep], low=rows.low[keep],
                   high=rows.high[keep], words=words, lazy=False)  # fmt: skip


def _descend(
    effect: Array, low: Array, high: Array, start: Array, most_up: Array, most_down: Array
) -> Array | None:
    """Fewest whole parts found within limits; None if none was.

    Costs are rounded before they are compared, so that the last bits of a sum decide nothing.
    """
    count = start.size
    best: Array | None = None
    parts = np.clip(start, -most_down, most_up)
    weight = np.full(low.size, 10.0)
    step = np.concatenate([effect.T, -effect.T])
    way = np.concatenate([np.ones(count), -np.ones(count)])
    jack = np.tile(np.arange(count), 2)
    for _ in range(_ROUNDS):
        now = effect @ parts
        while True:
            size = np.abs(parts)
            more = np.abs(parts[jack] + way) - size[jack]
            can = (parts[jack] + way <= most_up[jack]) & (parts[jack] + way >= -most_down[jack])
            base = round(float(_cost(now, low, high, weight)), 6)
            choice = np.flatnonzero(can)
            single = np.round(_cost(now + step[choice], low, high, weight) + more[choice], 6)
            move = [int(choice[single.argmin()])] if choice.size else []
            least = float(single.min(initial=np.inf))
            if least >= base:
                for one in choice.tolist():
                    other = choice[jack[choice] > jack[one]]
                    if other.size == 0:
                        continue
                    cost = _cost(now + step[one] + step[other], low, high, weight)
                    both = np.round(cost + more[one] + more[other], 6)
                    if both.min() < least:
                        least, move = float(both.min()), [one, int(other[both.argmin()])]
            if least >= base:
                break
            for k in move:
                parts[jack[k]] += way[k]
                now = now + step[k]
        off = np.maximum(np.maximum(now - high, low - now), 0.0) > ROUNDING / 2
        if off.any():
            weight[off] *= 2
        else:
            if best is None or np.abs(parts).sum() < np.abs(best).sum():
                best = parts.copy()
            weight *= 0.6
    return best


def _cost(now: Array, low: Array, high: Array, weight: Array) -> Array:
    return np.asarray(np.maximum(np.maximum(now - high, low - now), 0.0) @ weight)
