"""Whole parts of turns within limits: linear programs for bounds, a search for whole numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from groundborne.sizing.correction.rows import ROUNDING, Rows, broken_rows, near_rows
from groundborne.sizing.programs import solve_program

Array = np.ndarray[Any, Any]

_MOST_BRANCHED = 16
"""Jacks up to which branching comes to an end; with more it takes minutes and proves nothing."""
_ROUNDS = 32
_LAST = 5
_AT_ONCE = 500
"""Pairs of steps looked at together, so that they take little memory."""
_NEAR = 0.05
"""Sums [mm] by which points are off their bands count as equal in steps of this."""


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
        words = f"the whole parts found leave points up to {off:.2g} mm further off than "
        return Found(found, 0.0, (f"{words}parts of any size would",))

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


def search(
    wanted: Rows, held: tuple[Rows, ...], *, start: Array, most_up: Array, most_down: Array
) -> Array:
    """Whole parts that keep what is held, come nearest to what is wanted, and are then fewest.

    Parameters
    ----------
    wanted : Rows
        Bands of the points [mm].
    held : sequence of Rows
        Never broken; no turns at all must keep them.
    start : array
        Parts, not whole, from which to begin.
    most_up, most_down : array
        Parts of each jack.

    Returns
    -------
    array
        Signed whole parts.

    Notes
    -----
    From the rounded start one jack, or two together, are changed by one part as long as the parts
    and the weighted sum of what is broken become less. Then rows still broken weigh twice as much,
    or all weigh less where none is, and it begins again from there. Where nothing comes to what is
    wanted, steps from the best so far that break nothing end it. Costs are rounded before they
    are compared, so that the last bits of a sum decide nothing.
    """
    best = np.zeros(start.size)
    best_key = (_steps(wanted, best), 0.0)
    parts = np.clip(np.rint(start), -most_down, most_up)
    # Rows that a few parts cannot reach wait until they are broken.
    rows = _Weighted([near_rows(wanted, parts), *(near_rows(r, parts) for r in held)])
    for number in range(_ROUNDS + _LAST):
        if number == _ROUNDS and best_key[0] == 0:
            break
        if number >= _ROUNDS:
            # What is held weighs more than all else: from the best so far, straight on.
            parts = best
            rows = _Weighted([wanted, *(near_rows(r, parts) for r in held)])
            rows.weight[:] = 1e6
            rows.weight[: wanted.low.size] = 10.0 * 4.0 ** (number - _ROUNDS)
        parts = _descend(rows, parts, most_up, most_down)
        rows.add([cut for cut in (broken_rows(r, parts) for r in (wanted, *held)) if cut])
        if all(broken_rows(r, parts) is None for r in held):
            key = (_steps(wanted, parts), float(np.abs(parts).sum()))
            if key < best_key:
                best, best_key = parts.copy(), key
        rows.weigh(parts)
    return best + 0.0


def _steps(wanted: Rows, parts: Array) -> float:
    off = wanted.off(parts)
    if off.max(initial=0.0) <= ROUNDING:
        return 0.0
    return max(1.0, float(np.ceil(off.sum() / _NEAR - 1e-3)))


class _Weighted:
    """Rows that take part, and what each weighs."""

    def __init__(self, rows: list[Rows]) -> None:
        self.effect = np.vstack([r.effect for r in rows])
        self.low = np.concatenate([r.low - r.before for r in rows])
        self.high = np.concatenate([r.high - r.before for r in rows])
        self.weight = np.full(self.low.size, 10.0)

    def add(self, rows: list[Rows]) -> None:
        """Rows that did not take part and are broken; some may be there already."""
        for r in rows:
            low, high = r.low - r.before, r.high - r.before
            known = [
                bool(
                    ((self.low == a) & (self.high == b)
                     & (self.effect == e).all(axis=1)).any()
                )
                for a, b, e in zip(low, high, r.effect, strict=True)
            ]  # fmt: skip
            new = ~np.array(known)
            self.effect = np.vstack([self.effect, r.effect[new]])
            self.low = np.concatenate([self.low, low[new]])
            self.high = np.concatenate([self.high, high[new]])
            self.weight = np.concatenate([self.weight, np.full(int(new.sum()), 10.0)])

    def off(self, now: Array) -> Array:
        """How far outside, of many states in rows."""
        return np.asarray(np.maximum(np.maximum(now - self.high, self.low - now), 0.0))

    def cost(self, now: Array) -> Array:
        """Weighted sum of what is broken."""
        return np.asarray(self.off(now) @ self.weight)

    def slope(self, now: Array) -> Array:
        """Of the cost over what each row holds, of many states in rows: a subgradient."""
        return np.asarray(self.weight * ((now > self.high).astype(float) - (now < self.low)))

    def weigh(self, parts: Array) -> None:
        """More for what is broken, or less for all."""
        off = self.off(self.effect @ parts) > ROUNDING / 2
        if off.any():
            self.weight[off] *= 2
        else:
            self.weight *= 0.6


def _descend(rows: _Weighted, start: Array, most_up: Array, most_down: Array) -> Array:
    """Steps of one part, of one jack or of two, until none makes the cost less.

    The cost is convex: after one step, another changes it by no less than its slope there says, so
    that only pairs are tried that could be a gain whichever of the two came first.
    """
    count, parts = start.size, start.copy()
    step = np.concatenate([rows.effect.T, -rows.effect.T])
    way = np.concatenate([np.ones(count), -np.ones(count)])
    jack = np.tile(np.arange(count), 2)
    now = rows.effect @ parts
    while True:
        after = parts[jack] + way
        more = np.abs(after) - np.abs(parts[jack])
        choice = np.flatnonzero((after <= most_up[jack]) & (after >= -most_down[jack]))
        if choice.size == 0:
            return parts
        base = round(float(rows.cost(now)), 6)
        single = rows.cost(now + step[choice]) + more[choice]
        least, move = float(np.round(single.min(), 6)), [choice[np.round(single, 6).argmin()]]
        if least >= base:
            slope = rows.slope(now + step[choice]) @ step[choice].T
            bound = single[:, None] + slope + more[choice]
            # Costs are rounded to a quarter of the first, and summed to less than the second.
            gain = np.maximum(bound, bound.T) < base + 2e-6 + 1e-12 * single[:, None]
            one, other = choice[np.argwhere(gain & (jack[choice] > jack[choice][:, None]))].T
            for some in np.array_split(np.arange(one.size), one.size // _AT_ONCE + 1):
                a, b = one[some], other[some]
                both = np.round(rows.cost(now + step[a] + step[b]) + more[a] + more[b], 6)
                if both.min(initial=np.inf) < least:
                    least, move = float(both.min()), [a[both.argmin()], b[both.argmin()]]
        if least >= base:
            return parts
        for k in move:
            parts[jack[k]] += way[k]
            now = now + step[k]
