"""Search for an order of release: step by step, or over all steps at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from groundborne.sizing.programs import solve_program

Array = np.ndarray[Any, Any]

_DIRECTIONS = 32
_STEP_NODES = 1000
_DONE = 1e-9
"""Share of a movement below which it counts as finished."""

_STRATEGIES = ((0.0, 0.0, 0.3), (1.0, 0.0, 0.0), (3.0, 0.3, 0.0), (0.0, 1.0, 1.0))
"""Weight of what remains, of nearness to the middle, and of finishing a column."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Task:
    """What is to be released, in plain arrays over the columns.

    Parameters
    ----------
    start, remaining : ndarray
        Movement before release and what each column has still to move [m].
    largest_step : ndarray
        Most one column moves in a step [m].
    increment : float or None
        Whole parts in which a column moves [m].
    first, second : ndarray
        Columns of each pair of neighbours.
    slope : ndarray
        (2, columns): from movement to the slopes of the plane.
    centre_distance : ndarray
        From the middle of the plan [m].
    differential, tilt : float
        Limits.
    at_once : int
        Columns in one step.
    """

    start: Array
    remaining: Array
    largest_step: Array
    increment: float | None
    first: Array
    second: Array
    slope: Array
    centre_distance: Array
    differential: float
    tilt: float
    at_once: int

    @property
    def down(self) -> Array:
        """1 where a column goes down, −1 where it rises."""
        return np.where(self.remaining < 0, -1.0, 1.0)

    @property
    def size(self) -> Array:
        """How far each column has to go, either way [m]."""
        return abs(self.remaining)

    def visits(self) -> Array:
        """Least number of steps in which each column must be worked on.

        A column with a neighbour passes from one limit below it to one limit above it at most;
        whole increments, and what neighbours and tilt ask for together, only add to that.
        """
        coupled = np.zeros(self.size.size, bool)
        coupled[np.concatenate([self.first, self.second])] = True
        most = np.minimum(self.largest_step, np.where(coupled, 2 * self.differential, np.inf))
        least: Array = np.ceil(self.size / most * (1 - _DONE)).astype(int)
        return least

    def unfinished(self, released: Array) -> Array:
        """Columns not yet fully released."""
        left: Array = abs(self.remaining - released) > _DONE * self.size.max(initial=0.0)
        return left

    def tilt_rows(self) -> Array:
        """Slopes in a fan of directions (directions, columns)."""
        angle = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
        rows: Array = np.stack([np.cos(angle), np.sin(angle)], axis=-1) @ self.slope
        return rows


def search_greedily(task: Task) -> tuple[Array | None, Array]:
    """Choose step after step, in several ways, and keep the shortest order.

    Returns
    -------
    tuple
        Released movement (steps + 1, columns), or None if all ways come to a halt; and where the
        best of them halted, the columns left.
    """
    best: Array | None = None
    blocked = np.ones(task.size.size, bool)
    for strategy in _STRATEGIES:
        states = [np.zeros(task.size.size)]
        while task.unfinished(states[-1]).any():
            if best is not None and len(states) >= len(best):
                break
            move = _next_step(task, states[-1], strategy)
            if not move.any():
                break
            states.append(states[-1] + move)
        left = task.unfinished(states[-1])
        if not left.any():
            best = _closed(task, np.stack(states))
        elif left.sum() < blocked.sum():
            blocked = left
    return best, blocked


def _closed(task: Task, states: Array) -> Array:
    """Last entries exactly what was asked, without the rounding of the search."""
    done = ~np.stack([task.unfinished(s) for s in states])
    closed: Array = np.where(done, task.remaining, states)
    return closed


def _next_step(task: Task, released: Array, strategy: tuple[float, float, float]) -> Array:
    """Best set of columns for the next step and how far each goes: a small integer program."""
    from scipy.optimize import LinearConstraint
    from scipy.sparse import csr_array, diags_array, hstack, vstack

    count = task.size.size
    left = task.size - abs(released)
    left = np.where(task.unfinished(released), left, 0.0)
    now, down = task.start + released, task.down
    cap = np.minimum(left, task.largest_step)
    if task.increment is not None:
        cap = np.where(
            cap >= left, left, np.floor(cap / task.increment * (1 + _DONE)) * task.increment
        )
    # Variables: way of each column in units of the limit, its choice (0/1), its finish (0/1).
    unit = task.differential
    rows, limits = [], []
    for a, b in ((task.first, task.second), (task.second, task.first)):
        # Highest of a against lowest of b, whatever the order of work.
        pair = np.arange(a.size)
        data = np.concatenate([(down[a] > 0).astype(float), (down[b] < 0).astype(float)])
        rows.append(
            csr_array((data, (np.tile(pair, 2), np.concatenate([a, b]))), shape=(a.size, count))
        )
        limits.append((task.differential - (now[a] - now[b])) / unit)
    fan = task.tilt_rows()
    scale = max(task.tilt, 1e-12)
    rows.append(csr_array((fan * down).clip(min=0.0) * unit / scale))
    limits.append((task.tilt * np.cos(np.pi / _DIRECTIONS) - fan @ now) / scale)
    way = vstack(rows)
    none = csr_array((way.shape[0], 2 * count))
    eye, nil = diags_array(np.ones(count)), csr_array((count, count))
    constraints = [
        LinearConstraint(hstack([way, none]), ub=np.maximum(np.concatenate(limits), 0.0)),
        LinearConstraint(hstack([eye, -diags_array(cap / unit), nil]), ub=0.0),
        LinearConstraint(hstack([eye, nil, -diags_array(left / unit)]), lb=0.0),
        LinearConstraint(
            np.concatenate([np.zeros(count), np.ones(count), np.zeros(count)])[None],
            ub=task.at_once,
        ),
    ]
    by_rest, by_middle, by_finish = strategy
    middle = 1 - task.centre_distance / max(task.centre_distance.max(), 1e-12)
    weight = 1 + by_rest * left / max(left.max(), 1e-30) + by_middle * middle + 1e-3 * middle
    gain = np.concatenate([weight, np.zeros(count), np.full(count, by_finish)])
    upper = np.concatenate([cap / unit, (left > 0).astype(float), (cap >= left) & (left > 0)])
    found = solve_program(
        -gain,
        constraints=constraints,
        lower=0.0,
        upper=upper,
        whole=np.concatenate([np.zeros(count), np.ones(2 * count)]),
        nodes=_STEP_NODES,
        gap=1e-3,
    )
    if found.x is None:
        return np.zeros(count)
    chosen = found.x[count : 2 * count] > 0.5
    amount = np.where(chosen, np.clip(found.x[:count] * unit, 0.0, cap), 0.0)
    amount = np.where(left - amount <= _DONE * task.size.max(), left, amount)
    if task.increment is not None:
        # Going less far than allowed keeps every limit, as all states in between are covered.
        whole = np.floor(amount / task.increment * (1 + _DONE)) * task.increment
        amount = np.where(amount >= left, amount, whole)
    move: Array = amount * down
    return np.where(amount > _DONE * task.size.max(), move, 0.0)


def search_exactly(task: Task, steps: int, most_nodes: int) -> tuple[Array | None, bool]:
    """Look for an order over all steps at once.

    Increments are left out: an order in any amounts is wider, so that "none" holds for
    increments too, but an order found is of use only without them.

    Returns
    -------
    tuple
        Released movement (steps + 1, columns) or None, and whether it is proven that none exists.
    """
    for tilt, proves in ((task.tilt, True), (task.tilt * np.cos(np.pi / _DIRECTIONS), False)):
        released, infeasible = _all_steps(task, steps, tilt, most_nodes)
        if infeasible:
            return None, proves
        if released is None:
            return None, False
        if task.increment is None and _tilt_kept(task, released):
            return released, False
    return None, False


def _tilt_kept(task: Task, released: Array) -> bool:
    """Whether the tilt holds between the directions of the fan as well."""
    fine = 2 * np.pi * np.arange(1440) / 1440
    rows = np.stack([np.cos(fine), np.sin(fine)], axis=-1) @ task.slope
    moved = task.start + released
    low, high = np.minimum(moved[1:], moved[:-1]), np.maximum(moved[1:], moved[:-1])
    reach = high @ rows.clip(min=0).T + low @ rows.clip(max=0).T
    return bool(reach.max() <= task.tilt)


def _all_steps(task: Task, steps: int, tilt: float, most_nodes: int) -> tuple[Array | None, bool]:
    from scipy.optimize import LinearConstraint
    from scipy.sparse import csr_array, eye_array, hstack, kron

    count = task.size.size
    unit, down = task.differential, task.down
    size = task.size / unit
    # Variables by step: how far each column has come (in units of the limit), and its choice.
    after = eye_array(steps)
    before = eye_array(steps, k=-1)
    constraints = []

    def add(on_after: Any, on_before: Any, choice: Any, low: Any, high: Any) -> None:
        way = kron(after, csr_array(on_after)) + kron(before, csr_array(on_before))
        picks = kron(after, csr_array(choice))
        lower = np.tile(np.asarray(low, float), steps)
        upper = np.tile(np.asarray(high, float), steps)
        constraints.append(LinearConstraint(hstack([way, picks]).tocsr(), lower, upper))

    eye = np.eye(count)
    cap = np.minimum(size, task.largest_step / unit)
    add(eye, -eye, 0 * eye, np.zeros(count), np.full(count, np.inf))
    add(eye, -eye, -np.diag(cap), np.full(count, -np.inf), np.zeros(count))
    add(0 * eye[:1], 0 * eye[:1], np.ones((1, count)), [0.0], [task.at_once])
    for a, b in ((task.first, task.second), (task.second, task.first)):
        top, bottom = np.where(down > 0, 1.0, 0.0), np.where(down > 0, 0.0, 1.0)
        # Highest of a (after if it goes down, before if it rises) less lowest of b.
        on_after = eye[a] * (down * top) - eye[b] * (down * bottom)
        on_before = eye[a] * (down * bottom) - eye[b] * (down * top)
        limit = 1 - (task.start[a] - task.start[b]) / unit
        add(on_after, on_before, 0 * on_after, np.full(a.size, -np.inf), limit)
    fan = task.tilt_rows()
    signed = fan * down * unit / tilt
    none = np.full(len(fan), -np.inf)
    add(signed.clip(min=0), signed.clip(max=0), 0 * signed, none, 1 - fan @ task.start / tilt)
    low = np.zeros((2, steps, count))
    high = np.ones((2, steps, count))
    high[0] = size
    low[0, -1] = size
    found = solve_program(
        np.concatenate([np.zeros(steps * count), np.ones(steps * count)]),
        constraints=constraints,
        lower=low.ravel(),
        upper=high.ravel(),
        whole=np.repeat([0, 1], steps * count),
        nodes=most_nodes,
        gap=1.0,
    )
    if found.x is None:
        return None, found.none
    way = found.x[: steps * count].reshape(steps, count)
    chosen = found.x[steps * count :].reshape(steps, count) > 0.5
    moved = np.where(chosen, np.diff(way, axis=0, prepend=0.0).clip(min=0.0), 0.0)
    released = np.concatenate([np.zeros((1, count)), np.cumsum(moved, axis=0)]) * unit * down
    return _closed_exactly(task, released), False


def _closed_exactly(task: Task, released: Array) -> Array:
    done = abs(task.remaining - released) <= 1e-6 * task.size.max(initial=0.0)
    closed: Array = np.where(done, task.remaining, released)
    return closed
