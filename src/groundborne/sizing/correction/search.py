"""Search for whole parts of turns within limits: steps of one jack or two, without chance."""

from __future__ import annotations

from typing import Any

import numpy as np

from groundborne.sizing.correction.limit_rows import ROUNDING, Rows, broken_rows, near_rows

Array = np.ndarray[Any, Any]

_ROUNDS = 32
_LAST = 5
_NEAR = 0.05
"""Sums [mm] by which points are off their bands count as equal in steps of this."""


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
    return float(np.ceil(wanted.off(parts).sum() / _NEAR - 1e-3))


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

    def weigh(self, parts: Array) -> None:
        """More for what is broken, or less for all."""
        off = self.off(self.effect @ parts) > ROUNDING / 2
        if off.any():
            self.weight[off] *= 2
        else:
            self.weight *= 0.6


def _descend(rows: _Weighted, start: Array, most_up: Array, most_down: Array) -> Array:
    """Steps of one part, of one jack or of two, until none makes the cost less."""
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
        single = np.round(rows.cost(now + step[choice]) + more[choice], 6)
        least, move = float(single.min()), [int(choice[single.argmin()])]
        if least >= base:
            for one in choice.tolist():
                other = choice[jack[choice] > jack[one]]
                if other.size == 0:
                    continue
                cost = rows.cost(now + step[one] + step[other])
                both = np.round(cost + more[one] + more[other], 6)
                if both.min() < least:
                    least, move = float(both.min()), [one, int(other[both.argmin()])]
        if least >= base:
            return parts
        for k in move:
            parts[jack[k]] += way[k]
            now = now + step[k]
