"""The searches in their order: bound, step by step, states, programs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from groundborne.sizing.release.exact import search_positions
from groundborne.sizing.release.program import search_program
from groundborne.sizing.release.search import search_step_by_step
from groundborne.sizing.release.task import SLACK, Array, Task

_STATES = 16
"""Columns up to which states are searched."""
_SHORTEN = 48
"""Columns times steps up to which a program looks for fewer steps with all its nodes."""
_RESCUE = 0.35
"""Columns times steps per node allowed up to which a program looks for any order: its root alone
takes half a minute at 700 of them, and several at 1300."""
_OPEN = 2
"""Programs that may end without an answer before no more are asked."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fewest:
    """What all searches came to.

    Parameters
    ----------
    way : ndarray or None
        (steps + 1, columns) [m], without regard to direction.
    least : int
        No order takes fewer steps.
    because : str
        What that follows from.
    halted : ndarray
        Way where the search step by step ended.
    unasked : int
        Nodes from which on a program would have looked for any order; 0 where one did.
    """

    way: Array | None
    least: int
    because: str
    halted: Array
    unasked: int = 0


def fewest_steps(task: Task, *, most_steps: int, most_nodes: int) -> Fewest:
    """Shortest order that the work allowed finds, and the least number of steps known.

    Proven shortest where ``least`` is the number of steps. For plans in increments of up to some
    ten columns the states are searched; otherwise, and where that ends without a proof, a program
    over all steps is asked for ever more steps, if it is small.
    """
    least, bound = task.least_steps()
    because = f"bound from {bound}"
    if least > most_steps:
        return Fewest(way=None, least=least, because=because, halted=np.zeros_like(task.size))
    # Loads seldom forbid an order; one that was found without them is checked first.
    freely = replace(task, bearing=None)
    way, halted = search_step_by_step(freely, least=least, most_steps=most_steps)
    if task.bearing is not None and (way is None or not _borne(task, way)):
        way, halted = search_step_by_step(task, least=least, most_steps=most_steps)
    below = most_steps + 1 if way is None else len(way) - 1
    if below > least and task.increment is not None and task.size.size <= _STATES:
        exact = search_positions(task, fewer_than=below, most_nodes=most_nodes)
        if exact.least > least:
            least, because = exact.least, "search of the states"
        if exact.way is not None:
            way, below = exact.way, len(exact.way) - 1
    steps, unanswered = least, 0
    while steps < below and steps * task.size.size <= _SHORTEN and unanswered < _OPEN:
        trial = search_program(task, steps, most_nodes=-(-most_nodes // 4))
        if trial.way is not None and _borne(task, trial.way):
            way, below = _without_rests(trial.way), steps
        elif trial.least > least and not unanswered:
            least, because = trial.least, "program over all steps"
        else:
            unanswered += 1
        steps += 1
    if way is None and least <= most_steps:
        size = most_steps * task.size.size
        if size > _RESCUE * most_nodes and size > _SHORTEN:
            more = int(np.ceil(size / _RESCUE))
            return Fewest(way=None, least=least, because=because, halted=halted, unasked=more)
        # A node costs more the larger the program is.
        nodes = -(-most_nodes * _SHORTEN // max(size, _SHORTEN))
        trial = search_program(task, most_steps, most_nodes=nodes)
        if trial.way is not None and _borne(task, trial.way):
            way = _without_rests(trial.way)
        elif trial.least > least:
            least, because = trial.least, "program over all steps"
    return Fewest(way=way, least=least, because=because, halted=halted)


def _without_rests(way: Array) -> Array:
    """Steps in which nothing moves are none."""
    keep = np.concatenate([[True], (np.diff(way, axis=0) != 0).any(axis=1)])
    found: Array = way[keep]
    return found


def _borne(task: Task, way: Array) -> bool:
    bearing = task.bearing
    if bearing is None:
        return True
    return all(bearing.step(a, b) for a, b in pairwise(way))


def held_up_by(task: Task, way: Array) -> dict[str, list[int]]:
    """Which limit keeps each unfinished column from its smallest move, columns by limit."""
    found: dict[str, list[int]] = {}
    now = task.start + task.down * way
    least = task.differential / 1000 if task.increment is None else task.increment
    for column in np.flatnonzero(task.left(way) > 0).tolist():
        after = way.copy()
        after[column] = min(way[column] + least, task.size[column])
        moved = task.start + task.down * after
        apart = abs(moved[task.first] - moved[task.second])
        if after[column] - way[column] > task.largest_step[column] * (1 + SLACK):
            name = "the largest step"
        elif apart.max(initial=0.0) > task.differential * (1 + SLACK):
            name = "the differential between neighbours"
        elif max(np.hypot(*(task.slope @ m)) for m in (moved, now)) > task.tilt * (1 + SLACK):
            name = "the tilt"
        elif task.bearing is not None and not task.bearing.step(way, after):
            name = task.bearing.why(way, after)
        else:
            continue
        found.setdefault(name, []).append(column)
    return found
