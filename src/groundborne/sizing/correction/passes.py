"""Turns of a correction in passes, with an order that keeps every limit after every jack."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from groundborne.sizing.correction.rows import ROUNDING, Rows
from groundborne.sizing.correction.whole_turns import Program, ProgramError
from groundborne.sizing.jacking.grid import ORDERS, JackGrid

Array = np.ndarray[Any, Any]

BY_LOAD = "by load"
"""Next the jack that leaves loads and moments furthest from their limits."""
BY_ROOM = "as far as there is room"
"""Next the jack and the part of its turns that leave loads and moments the most room."""
RESERVES = (0.0, 0.02, 0.04, 0.07, 0.1, 0.15, 0.2)
"""Share of the range of loads and moments kept at the end for the steps before it."""
_NEAR_LIMIT = 0.7
"""Share of half a range from its middle on which a load or moment counts as near its limit."""
_STEP = 0.01
"""Sums [mm] by which points are off count as equal in steps of this."""


@dataclass(frozen=True, eq=False)
class Passes:
    """Parts of each pass, (passes, jacks); the jacks turned, in order; the name of each order."""

    parts: Array
    turned: tuple[tuple[int, ...], ...]
    orders: tuple[str, ...]

    def times(self, size: int) -> Passes:
        """The same in parts of which each is so many."""
        return replace(self, parts=self.parts * size)


@dataclass(frozen=True, eq=False)
class Plan:
    """Signed parts of turns with their passes, reserve, bound on the sum, and what is open."""

    parts: Array
    passes: Passes
    reserve: float
    bound: float
    open_words: tuple[str, ...]


def planned(
    program: Callable[[float, int], Program], *, grid: JackGrid, within_pass: int
) -> Plan | None:
    """Turns that come nearest, with an order on the way; None where no order was found.

    Parameters
    ----------
    program : callable
        Makes the program of a reserve and of parts so many times the smallest one.
    grid : JackGrid
        Gives the usual orders.
    within_pass : int
        Most of the smallest parts of a jack in one pass.

    Raises
    ------
    ProgramError
        No turns keep the limits.
    """
    bare, best, size = program(0.0, 1), None, 1
    nearest = bare.solve()[1]
    while size <= within_pass:
        plan = _of_size(program, size, nearest, grid, within_pass)
        if plan is not None and (best is None or _far(bare, plan) < _far(bare, best)):
            best = plan
        if best is not None and bare.points(nearest).off(best.parts).max(initial=0) <= ROUNDING:
            break  # no parts come nearer
        size *= 2
    return best


def _far(program: Program, plan: Plan) -> tuple[float, ...]:
    """How far points are beyond the limit and the aim, in steps of their sums, and turns."""
    off = np.abs(program.predicted(plan.parts)).max(axis=0)
    beyond = (np.maximum(off - band, 0.0).sum() for band in (program.limit, program.aim))
    return (*(float(np.ceil(b / _STEP - 1e-3)) for b in beyond), float(np.abs(plan.parts).sum()))


def _of_size(
    program: Callable[[float, int], Program],
    size: int,
    nearest: Array,
    grid: JackGrid,
    within_pass: int,
) -> Plan | None:
    bare, bound = program(0.0, size), 0.0
    best: Plan | None = None
    tried = []
    for reserve in RESERVES:
        try:
            found = (program(reserve, size) if reserve else bare).whole()
        except ProgramError as error:
            if reserve == 0:
                raise
            raise ProgramError(f"{error} with {reserve:g} of their range in reserve") from None
        # Only without reserve it is a bound on every schedule, and only on those that come as near.
        bound = found.bound if reserve == 0 and size == 1 else bound
        near = bare.points(nearest).off(found.parts).max(initial=0.0) <= ROUNDING
        plan = Plan(
            parts=found.parts * size,
            passes=Passes(np.zeros((0, found.parts.size)), (), ()),
            reserve=reserve,
            bound=bound if near else 0.0,
            open_words=found.open_words,
        )
        passes = in_passes(found.parts, bare.held[:2], grid=grid, within_pass=within_pass // size)
        if passes is None:
            tried.append(plan)
            continue
        best = replace(plan, passes=passes.times(size))
        if near:
            return best
        break
    # More passes, and surveys, than equal ones take: only where those leave points further off.
    one = program(0.0, 1)
    for plan in tried:
        passes = by_room(plan.parts / size, bare.held, grid=grid, within_pass=within_pass // size)
        if passes is not None:
            plan = replace(plan, passes=passes.times(size))
            return plan if best is None or _far(one, plan) < _far(one, best) else best
    return best


def in_passes(
    parts: Array, held: tuple[Rows, ...], *, grid: JackGrid, within_pass: int
) -> Passes | None:
    """Cut into as few equal passes as keep the limits after every single jack.

    None where no such order was found: the usual ones and one by load are tried, no others.

    Parameters
    ----------
    parts : array
        Signed parts of turns of each jack.
    held : sequence of Rows
        Limits that hold after every jack, not only at the end.
    grid : JackGrid
        Gives the usual orders.
    within_pass : int
        Most parts of a jack in one pass, and of neighbouring jacks against one another: whichever
        is turned first, they are furthest apart when one is or when both are.
    """
    most = int(np.abs(parts).max(initial=0))
    if most == 0:
        return Passes(np.zeros((0, parts.size)), (), ())
    # Without rows that nothing here can bring to their limits the check is the same and shorter.
    reach = [np.abs(r.effect) @ np.abs(parts) for r in held]
    near = [
        (r.before + s > r.high) | (r.before - s < r.low) for r, s in zip(held, reach, strict=True)
    ]
    effect, before, low, high = (
        np.concatenate([getattr(r, n)[k] for r, k in zip(held, near, strict=True)])
        for n in ("effect", "before", "low", "high")
    )
    usual = {name: grid.numbers(name).tolist() for name in ORDERS}
    for each in _cuts(parts, grid, within_pass):
        state, turned, orders = before, [], []
        for now in each:
            jacks = np.flatnonzero(now)
            for name in (*ORDERS, BY_LOAD):
                if name == BY_LOAD:
                    order = _by_load(effect, state, low, high, now, jacks)
                else:
                    order = [k for k in usual[name] if now[k] != 0]
                path = state + np.cumsum([effect[:, k] * now[k] for k in order], axis=0)
                if not ((path > high + ROUNDING) | (path < low - ROUNDING)).any():
                    break
            else:
                break
            turned.append(tuple(order))
            orders.append(name)
            state = state + effect @ now
        else:
            return Passes(each, tuple(turned), tuple(orders))
    return None


def by_room(
    parts: Array, held: tuple[Rows, ...], *, grid: JackGrid, within_pass: int
) -> Passes | None:
    """Passes off the straight line: each jack once in a pass, as far as leaves the most room.

    Parameters
    ----------
    parts : array
        Signed parts of turns of each jack.
    held : sequence of Rows
        Limits that hold after every jack: off the line nothing holds because it does at the ends.
    grid : JackGrid
        Says which jacks are neighbours.
    within_pass : int
        As for :func:`in_passes`.
    """
    first, second = grid.neighbours
    beside = [np.r_[second[first == k], first[second == k]] for k in range(parts.size)]
    effect, state, low, high = (
        np.concatenate([getattr(r, n) for r in held]) for n in ("effect", "before", "low", "high")
    )
    sign = np.sign(parts)
    effect = effect * sign
    middle, half = (low + high) / 2, np.maximum((high - low) / 2, 1e-9)
    left = np.abs(parts)
    each, turned = [], []
    while left.any():
        now, order = np.zeros(parts.size), []
        while True:
            best: tuple[float, int, int] | None = None
            for count in range(within_pass, 0, -1):
                jacks = np.flatnonzero((left >= count) & (now == 0))
                kept = [
                    (np.abs(count * sign[k] - (now * sign)[beside[k]]) <= within_pass).all()
                    for k in jacks
                ]
                jacks = jacks[np.array(kept, dtype=bool)]
                after = state[:, None] + effect[:, jacks] * count
                out = (after > high[:, None] + ROUNDING) | (after < low[:, None] - ROUNDING)
                jacks, after = jacks[~out.any(axis=0)], after[:, ~out.any(axis=0)]
                if jacks.size == 0:
                    continue
                near = np.abs((after - middle[:, None]) / half[:, None]) - _NEAR_LIMIT
                near = np.round((np.maximum(near, 0.0) ** 2).sum(axis=0), 9)
                k = int(near.argmin())
                if best is None or near[k] < best[0]:
                    best = (float(near[k]), int(jacks[k]), count)
            if best is None:
                break
            _, jack, count = best
            state, now[jack] = state + effect[:, jack] * count, count
            left[jack] -= count
            order.append(jack)
        if not order:
            return None
        each.append(now * sign)
        turned.append(tuple(order))
    return Passes(np.array(each), tuple(turned), (BY_ROOM,) * len(each))


def _cuts(parts: Array, grid: JackGrid, within_pass: int) -> Iterator[Array]:
    """Parts in each of as few passes as keep neighbours together, then in more and more."""
    first, second = grid.neighbours
    most, found = int(np.abs(parts).max()), False
    for count in range(-(-most // within_pass), most + 1):
        # Towards the end along a straight line, on which limits hold where they hold at its ends.
        goal = np.floor(np.outer(np.arange(count + 1), np.abs(parts)) / count + 0.5)
        each = np.diff(goal, axis=0) * np.sign(parts)
        if (np.abs(each[:, first] - each[:, second]) <= within_pass).all():
            found = True
            yield each
    if not found:
        # Not even part by part: what goes up and what goes down in turns.
        both = np.stack([np.minimum(each, 0), np.maximum(each, 0)], axis=1).reshape(-1, parts.size)
        yield both[both.any(axis=1)]


def _by_load(
    effect: Array, state: Array, low: Array, high: Array, now: Array, jacks: Array
) -> list[int]:
    left, order = jacks.tolist(), []
    middle, half = (low + high) / 2, np.maximum((high - low) / 2, 1e-9)
    while left:
        after = state[:, None] + effect[:, left] * now[left]
        used = np.round(
            np.abs((after - middle[:, None]) / half[:, None]).max(axis=0, initial=0.0), 9
        )
        best = left.pop(int(used.argmin()))
        order.append(best)
        state = state + effect[:, best] * now[best]
    return order
