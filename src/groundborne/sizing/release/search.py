"""Search for a good order of release: step by step, several orders side by side."""

from __future__ import annotations

from itertools import product

import numpy as np

from groundborne.sizing.release.task import DIRECTIONS, SLACK, Array, Task

_KEPT = 12
"""Orders followed side by side."""
_WORK = 500
"""Columns times orders followed: with more columns fewer orders."""
_SMALL, _COARSE = 30, 6
"""Columns up to which the tilt is held in all directions of the fan; else in every sixth."""

# Weight of what remains, of how much of its best a column goes, of the tilt it leaves, of one
# colour of a chequerboard, and of nearness to the middle.
_CHOICES = tuple(
    (rest, share, level, colour, 0.1)
    for rest, share, level, colour in product((0.0, 1.0), (0.3, 1.5), (0.2, 1.5), (0.0, 0.5))
)


def search_step_by_step(task: Task, *, least: int, most_steps: int) -> tuple[Array | None, Array]:
    """One order at first; several side by side if that does not come to the least of steps.

    Returns
    -------
    tuple
        Ways (steps + 1, columns) or None; and the way where the best halted or was cut off.
    """
    chooser = _Chooser(task)
    way, halted = _follow(chooser, 1, most_steps)
    if way is not None and len(way) - 1 <= least:
        return way, halted
    kept = min(_KEPT, _WORK // max(task.size.size, 1))
    if kept > 1:
        wider, ended = _follow(chooser, kept, most_steps if way is None else len(way) - 2)
        if wider is not None or way is None:
            return wider, ended
    return way, halted


def _follow(chooser: _Chooser, kept: int, most_steps: int) -> tuple[Array | None, Array]:
    """Follow orders side by side and keep the first that ends.

    Each is continued in each of several ways of choosing the next columns; those with the fewest
    visits left are kept. A step takes one column after the other, each as far as it may go
    whatever the order of work within the step.
    """
    task = chooser.task
    orders: list[list[Array]] = [[np.zeros(task.size.size)]]
    for _ in range(most_steps):
        if not (task.left(orders[0][-1]) > 0).any():
            break
        grown: dict[bytes, tuple[tuple[float, ...], list[Array]]] = {}
        for order in orders:
            for choice in _CHOICES:
                after = chooser.step(order[-1], choice)
                if after is None:
                    continue
                key = np.round(after / max(task.tiny, 1e-30)).tobytes()
                if key not in grown:
                    grown[key] = (chooser.rest(after), [*order, after])
        if not grown:
            return None, orders[0][-1]
        best = sorted(grown.values(), key=lambda g: g[0])
        orders = [order for _, order in best[:kept]]
    final = orders[0]
    if (task.left(final[-1]) > 0).any():
        return None, final[-1]
    return np.stack(final), final[-1]


class _Chooser:
    """Steps from a state, with what does not change from one to the next."""

    def __init__(self, task: Task) -> None:
        self.task = task
        size = task.size.size
        # Large plans: fewer directions, and the tilt held for those between as well.
        every = 1 if size <= _SMALL else _COARSE
        self.tilt = task.tilt * (1 + SLACK if every == 1 else np.cos(np.pi * every / DIRECTIONS))
        self.fan = task.fan[::every]
        self.up = (self.fan * task.down).clip(min=0.0)
        with np.errstate(divide="ignore"):
            self.per_way = np.where(self.up > 0, 1 / np.maximum(self.up, 1e-300), 1e30)
        self.middle = 1 - task.centre_distance / max(task.centre_distance.max(initial=0.0), 1e-12)
        near: list[list[int]] = [[] for _ in range(size)]
        for a, b in zip(task.first.tolist(), task.second.tolist(), strict=True):
            near[a].append(b)
            near[b].append(a)
        self.near = [np.array(n, int) for n in near]
        # The same as one table; behind the last column stands one for no neighbour.
        self.beside = np.full((size, max(map(len, near), default=0) or 1), size)
        for column, others in enumerate(near):
            self.beside[column, : len(others)] = others
        self.colour = np.full(size, -1)
        for seed in np.argsort(task.centre_distance, kind="stable").tolist():
            if self.colour[seed] >= 0:
                continue
            self.colour[seed], line = 0, [seed]
            while line:
                here = line.pop()
                for there in near[here]:
                    if self.colour[there] < 0:
                        self.colour[there] = 1 - self.colour[here]
                        line.append(there)

    def rest(self, way: Array) -> tuple[float, ...]:
        """How much is left: visits, way, and the tilt."""
        task = self.task
        left = task.left(way)
        moved = task.start + task.down * way
        return (
            float(task.visits(way).sum()),
            round(float((left / np.maximum(task.most, 1e-30)).sum()), 9),
            round(float(np.hypot(*(task.slope @ moved))) / task.tilt, 9),
        )

    def step(self, way: Array, choice: tuple[float, ...]) -> Array | None:
        """The state after the next step, or None where nothing can move."""
        after = self._pick(way, choice, checked=False)
        bearing = self.task.bearing
        if after is not None and bearing is not None and not bearing.step(way, after):
            after = self._pick(way, choice, checked=True)
        return after

    def _pick(self, way: Array, choice: tuple[float, ...], *, checked: bool) -> Array | None:
        task = self.task
        by_rest, by_share, by_level, by_colour, by_middle = choice
        down = task.down
        left = task.left(way)
        now = task.start + down * way
        low, high = now.copy(), now.copy()
        limit = task.differential * (1 + SLACK)
        # Largest lead over a neighbour that a column may still take.
        floor, ceiling = self._bounds(low, high)
        reach = self.fan @ now
        slope = task.slope @ now
        free = left > 0
        best = task.whole(np.minimum(task.most, left), left)
        rest = left / np.maximum(task.most, 1e-30)
        fixed = by_rest * rest / max(rest.max(initial=0.0), 1e-30) + by_middle * self.middle
        fixed = fixed - by_colour * self.colour
        after, chosen, refused = way.copy(), 0, 0
        while chosen < task.at_once and free.any() and refused < 4 * task.at_once:
            some = np.flatnonzero(free)
            room = np.where(down > 0, floor + limit - now, now - (ceiling - limit))[some]
            turn = ((self.tilt - reach)[:, None] * self.per_way[:, some]).min(axis=0)
            amount = np.minimum.reduce([left[some], task.largest_step[some], room, turn])
            amount = task.whole(np.maximum(amount, 0.0), left[some])
            can = amount > task.tiny
            if not can.any():
                break
            some, amount = some[can], amount[can]
            ends = slope[:, None] + task.slope[:, some] * (down[some] * amount)
            score = (
                fixed[some]
                + by_share * amount / np.maximum(best[some], 1e-30)
                + 0.3 * (amount >= left[some])
                - by_level * np.hypot(*ends) / task.tilt
            )
            # Rounded, so that equal ones do not turn on the last digit of a machine.
            at = int(np.argmax(np.round(score, 9)))
            column, go = int(some[at]), float(amount[at])
            if checked:
                go = self._borne(way, after, column, go, float(left[column]))
                if go == 0:
                    free[column], refused = False, refused + 1
                    continue
            free[column], chosen = False, chosen + 1
            after[column] = task.size[column] if go >= left[column] else way[column] + go
            there = now[column] + down[column] * go
            low[column], high[column] = min(low[column], there), max(high[column], there)
            near = self.near[column]
            if near.size:
                floor[near] = np.minimum(floor[near], low[column])
                ceiling[near] = np.maximum(ceiling[near], high[column])
            reach = reach + self.up[:, column] * go
            slope = slope + task.slope[:, column] * (down[column] * go)
        return after if chosen else None

    def _bounds(self, low: Array, high: Array) -> tuple[Array, Array]:
        """Lowest and highest place of the neighbours of each column."""
        floor = np.append(low, np.inf)[self.beside].min(axis=1)
        ceiling = np.append(high, -np.inf)[self.beside].max(axis=1)
        return floor, ceiling

    def _borne(self, way: Array, after: Array, column: int, go: float, left: float) -> float:
        """Amount up to `go` that the loads allow too, 0 for none."""
        task = self.task
        assert task.bearing is not None
        for part in (1.0, 0.5, 0.25):
            amount = float(task.whole(np.array([part * go]), np.array([left]))[0])
            if amount <= task.tiny:
                break
            tried = after.copy()
            tried[column] = way[column] + amount
            if task.bearing.step(way, tried):
                return amount
        return 0.0


def tilt_kept(task: Task, way: Array) -> bool:
    """Whether the tilt holds on the way, for every order of work within a step."""
    moved = task.start + task.down * way
    low, high = np.minimum(moved[1:], moved[:-1]), np.maximum(moved[1:], moved[:-1])
    reach = high @ task.fan.clip(min=0).T + low @ task.fan.clip(max=0).T
    return bool(reach.max(initial=0.0) <= task.tilt * (1 + SLACK))


def worst_directions(task: Task, way: Array) -> Array:
    """Rows of the fan in which the tilt is exceeded most, one for each step that exceeds it."""
    moved = task.start + task.down * way
    low, high = np.minimum(moved[1:], moved[:-1]), np.maximum(moved[1:], moved[:-1])
    reach = high @ task.fan.clip(min=0).T + low @ task.fan.clip(max=0).T
    over = reach.max(axis=1) > task.tilt
    assert reach.shape[1] == DIRECTIONS
    found: Array = np.unique(reach[over].argmax(axis=1))
    return found
