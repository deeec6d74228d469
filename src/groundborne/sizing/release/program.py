"""Fewest steps as a mixed-integer program over all steps at once."""

from __future__ import annotations

from typing import Any

import numpy as np

from groundborne.sizing.programs import solve_program
from groundborne.sizing.release.exact import Found
from groundborne.sizing.release.search import tilt_kept, worst_directions
from groundborne.sizing.release.task import DIRECTIONS, Array, Task

_FAN = 72
_ROUNDS = 5


def search_program(task: Task, steps: int, *, most_nodes: int) -> Found:
    """Look for an order of so many steps.

    The tilt is held in some directions at first; those in which an answer exceeds it are added,
    until none does. "None" is proven at any time, to the tolerance of the solver.

    Returns
    -------
    Found
        An order if one was found; ``least`` above `steps` where it is proven that none is.
    """
    rows = set(range(0, DIRECTIONS, DIRECTIONS // _FAN))
    for _ in range(_ROUNDS):
        way, none = _all_steps(task, steps, task.fan[sorted(rows)], most_nodes)
        if none:
            return Found(way=None, least=steps + 1, none=True)
        if way is None:
            break
        if tilt_kept(task, way):
            return Found(way=way, least=0)
        more = set(worst_directions(task, way).tolist()) - rows
        if not more:
            break
        rows |= more
    return Found(way=None, least=0)


def _all_steps(task: Task, steps: int, fan: Array, most_nodes: int) -> tuple[Array | None, bool]:
    from scipy.optimize import LinearConstraint
    from scipy.sparse import block_array, csr_array, eye_array, kron

    count = task.size.size
    unit, down = task.differential, task.down
    size = task.size / unit
    # Variables by step and column, in this order: how far each column has come (in units of the
    # limit), whether it is worked on; and with increments their number, and whether it is done.
    kinds = 2 if task.increment is None else 4
    after, before, eye = eye_array(steps), eye_array(steps, k=-1), np.eye(count)
    constraints = []

    def add(low: Any, high: Any, **parts: Any) -> None:
        blocks = [csr_array((steps * len(low), steps * count)) for _ in range(kinds)]
        for name, part in parts.items():
            kind = ("way", "pick", "number", "done").index(name.removeprefix("last_"))
            shift = before if name.startswith("last_") else after
            blocks[kind] = blocks[kind] + kron(shift, csr_array(part))
        lower, upper = (np.tile(np.asarray(v, float), steps) for v in (low, high))
        constraints.append(LinearConstraint(block_array([blocks]).tocsr(), lower, upper))

    none, endless = np.full(count, -np.inf), np.full(count, np.inf)
    cap = np.minimum(size, task.largest_step / unit)
    add(np.zeros(count), endless, way=eye, last_way=-eye)
    add(none, np.zeros(count), way=eye, last_way=-eye, pick=-np.diag(cap))
    add([0.0], [task.at_once], pick=np.ones((1, count)))
    top, bottom = np.where(down > 0, 1.0, 0.0), np.where(down > 0, 0.0, 1.0)
    for a, b in ((task.first, task.second), (task.second, task.first)):
        # Highest of a (after if it goes down, before if it rises) less lowest of b.
        on_after = eye[a] * (down * top) - eye[b] * (down * bottom)
        on_before = eye[a] * (down * bottom) - eye[b] * (down * top)
        limit = 1 - (task.start[a] - task.start[b]) / unit
        add(np.full(a.size, -np.inf), limit, way=on_after, last_way=on_before)
    signed = fan * down * unit / task.tilt
    add(
        np.full(len(fan), -np.inf),
        1 - fan @ task.start / task.tilt,
        way=signed.clip(min=0),
        last_way=signed.clip(max=0),
    )
    ends = [np.tile(size, steps), np.ones(steps * count)]
    if task.increment is not None:
        part = task.increment / unit
        parts = np.ceil(size / part * (1 - 1e-9) - 1e-9)
        ends += [np.tile(parts, steps), np.ones(steps * count)]
        short = np.diag(parts * part - size)
        add(np.zeros(count), np.zeros(count), way=eye, number=-part * eye, done=short)
        add(np.zeros(count), endless, number=eye, done=-np.diag(parts))
        add(none, np.maximum(parts - 1, 0), number=eye, done=-eye)
    low = np.zeros((kinds, steps, count))
    low[0, -1] = size
    target = np.zeros((kinds, steps * count))
    target[1] = 1.0
    found = solve_program(
        target.ravel(),
        constraints=constraints,
        lower=low.ravel(),
        upper=np.concatenate(ends),
        whole=np.repeat([0, 1, 1, 1][:kinds], steps * count),
        nodes=most_nodes,
        gap=1.0,
    )
    if found.x is None:
        return None, found.none
    ways, picks, *numbers = found.x.reshape(kinds, steps, count)
    if numbers:
        assert task.increment is not None
        way = np.minimum(np.round(numbers[0]) * task.increment, task.size)
    else:
        moved = np.where(picks > 0.5, np.diff(ways, axis=0, prepend=0.0).clip(min=0.0), 0.0)
        way = np.cumsum(moved, axis=0) * unit
    way = np.concatenate([np.zeros((1, count)), way])
    done = task.size - way <= 1e-6 * task.size.max(initial=0.0)
    closed: Array = np.where(done, task.size, way)
    return closed, False
