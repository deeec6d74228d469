"""Turns of a correction cut into passes, and an order within each that keeps every limit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from groundborne.sizing.correction.rows import ROUNDING, Rows
from groundborne.sizing.jacking.grid import ORDERS, JackGrid

Array = np.ndarray[Any, Any]

BY_LOAD = "by load"
"""Next the jack that leaves loads and moments furthest from their limits."""


@dataclass(frozen=True, eq=False)
class Passes:
    """Parts of each pass, (passes, jacks); the jacks turned, in order; the name of each order."""

    parts: Array
    turned: tuple[tuple[int, ...], ...]
    orders: tuple[str, ...]


def in_passes(
    parts: Array, *, held: tuple[Rows, ...], grid: JackGrid, within_pass: int
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
