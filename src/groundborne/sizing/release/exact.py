"""Fewest steps of a small plan: best-first search over its states."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from groundborne.sizing.release.task import SLACK, Array, Task

_LOOKS = 300
"""Corners of steps looked at for each state opened, at most."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """What a search came to: ways (steps + 1, columns) or None, and what is proven.

    ``least`` steps are needed by any order; ``none`` says that there is none at all (of the number
    of steps asked for).
    """

    way: Array | None
    least: int
    none: bool = False


@dataclass(kw_only=True, eq=False)
class Positions:
    """States of a plan in whole increments, each column at a position; a state is a number.

    A step takes some columns from one position to another. Whatever the order of work, the states
    on the way are the corners of a box, and those between two corners are borne if the corners are
    (limits are convex in how far each column has come), so that a step is possible if all its
    corners are.
    """

    task: Task
    known: dict[int, bool] = field(default_factory=dict)
    barred: dict[int, Array] = field(default_factory=dict)

    @cached_property
    def way(self) -> list[Array]:
        """Way of each column at its positions [m]."""
        task = self.task
        assert task.increment is not None
        found = []
        for size in task.size:
            count = int(np.ceil(size / task.increment * (1 - 1e-9) - 1e-9)) if size else 0
            found.append(np.minimum(np.arange(count + 1) * task.increment, size))
            found[-1][-1] = size
        return found

    @cached_property
    def stride(self) -> list[int]:
        """What one position of each column adds to the number of a state."""
        sizes = [1]
        for ways in self.way[:-1]:
            sizes.append(sizes[-1] * ways.size)
        return sizes

    @cached_property
    def last(self) -> int:
        """The state in which all is released."""
        return sum(s * (w.size - 1) for s, w in zip(self.stride, self.way, strict=True))

    @cached_property
    def jumps(self) -> list[list[list[int]]]:
        """Positions that one visit may reach, by column and position."""
        task = self.task
        found = []
        for most, ways in zip(task.most, self.way, strict=True):
            top = np.searchsorted(ways - most * (1 + 1e-9), ways, side="right")
            found.append([list(range(k + 1, int(t))) for k, t in enumerate(top)])
        return found

    @cached_property
    def visits(self) -> list[list[int]]:
        """Visits that each column needs from each position."""
        found = []
        for jumps in self.jumps:
            need = [0] * len(jumps)
            for k in reversed(range(len(jumps) - 1)):
                need[k] = 1 + need[jumps[k][-1]]
            found.append(need)
        return found

    def positions(self, state: int) -> list[int]:
        """Level of each column."""
        found = []
        for ways in self.way:
            state, position = divmod(state, ways.size)
            found.append(position)
        return found

    def ways(self, state: int) -> Array:
        """Way of each column [m]."""
        return np.array([w[k] for w, k in zip(self.way, self.positions(state), strict=True)])

    def possible(self, state: int) -> bool:
        """Whether a state keeps all limits."""
        known = self.known.get(state)
        if known is None:
            task = self.task
            way = self.ways(state)
            moved = task.start + task.down * way
            apart = abs(moved[task.first] - moved[task.second]).max(initial=0.0)
            known = apart <= task.differential * (1 + SLACK) and float(
                np.hypot(*(task.slope @ moved))
            ) <= task.tilt * (1 + SLACK)
            if known and task.bearing is not None:
                known, self.barred[state] = task.bearing.state(way)
            self.known[state] = known
        return known


def search_positions(task: Task, *, fewer_than: int, most_nodes: int) -> Found:
    """Fewest steps in whole increments, proven unless the work allowed ends it.

    Best first by steps made and a bound of those to come (A*): visits over columns at once, and
    the visits of one column. A step that leaves more visits than the rest of `fewer_than` can hold
    is not followed; neither is a larger step around one that is not possible.

    Returns
    -------
    Found
        An order of fewer steps than `fewer_than`, if there is one.
    """
    positions = Positions(task=task)
    visits, jumps, stride = positions.visits, positions.jumps, positions.stride
    count, at_once = len(visits), task.at_once
    if any(len(n) > 1 and not j[0] for n, j in zip(visits, jumps, strict=True)):
        return Found(way=None, least=fewer_than, none=True)

    def bound(at: list[int]) -> tuple[int, int]:
        need = [v[k] for v, k in zip(visits, at, strict=True)]
        total = sum(need)
        return max(max(need), -(-total // at_once)), total

    start, end = 0, positions.last
    if not positions.possible(start):
        return Found(way=None, least=fewer_than, none=True)
    best = {start: 0}
    came: dict[int, int] = {}
    least = bound([0] * count)[0]
    queue = [(least, 0, start)]
    looked_at, opened = 0, 0
    while queue:
        estimate, minus, state = heapq.heappop(queue)
        made = -minus
        if best[state] < made:
            continue
        least = max(least, estimate)
        if state == end:
            path = [state]
            while path[-1] != start:
                path.append(came[path[-1]])
            return Found(way=np.stack([positions.ways(s) for s in path[::-1]]), least=made)
        opened += 1
        if opened > most_nodes:
            return Found(way=None, least=least)
        at = positions.positions(state)
        total = bound(at)[1]
        needed = total - at_once * (fewer_than - made - 2)  # visits that this step must save
        # Steps as boxes: first column not decided yet, corners, columns taken, visits saved.
        stack: list[tuple[int, tuple[int, ...], tuple[int, ...], int, int]]
        stack = [(0, (state,), (), 0, state)]
        while stack and looked_at <= _LOOKS * most_nodes:
            first, corners, taken, saved, top = stack.pop()
            for c in range(first, count):
                for to in jumps[c][at[c]]:
                    gain = visits[c][at[c]] - visits[c][to]
                    room = at_once - len(taken) - 1
                    if saved + gain + min(room, count - c - 1) < needed:
                        continue
                    looked_at += len(corners)
                    shift = (to - at[c]) * stride[c]
                    moved = tuple(k + shift for k in corners)
                    if not all(map(positions.possible, moved)):
                        if task.bearing is None:
                            break  # convex: farther is not possible either
                        continue
                    every = corners + moved
                    if positions.barred and _barred(positions, every, (*taken, c)):
                        continue
                    target = top + shift
                    if room:
                        stack.append((c + 1, every, (*taken, c), saved + gain, target))
                    if saved + gain < needed or best.get(target, made + 2) <= made + 1:
                        continue
                    goal = at.copy()
                    for k in (*taken, c):
                        goal[k] = target // stride[k] % positions.way[k].size
                    rest = bound(goal)[0]
                    if made + 1 + rest >= fewer_than:
                        continue
                    best[target], came[target] = made + 1, state
                    heapq.heappush(queue, (made + 1 + rest, -made - 1, target))
        if looked_at > _LOOKS * most_nodes:
            return Found(way=None, least=least)
    return Found(way=None, least=fewer_than, none=True)


def _barred(positions: Positions, corners: tuple[int, ...], taken: tuple[int, ...]) -> bool:
    return any(positions.barred[k][list(taken)].any() for k in corners)
