"""Why no order of release was found, in words: what is proven, what stops it, what may help."""

from __future__ import annotations

from typing import Any

import numpy as np

from groundborne._checks import counted
from groundborne.sizing.movement.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.release.fewest import Fewest, held_up_by
from groundborne.sizing.release.task import NEVER, Task


def why_not(
    task: Task,
    found: Fewest,
    plan: ColumnPlan,
    limits: MovementLimits,
    steps: int,
    most_nodes: int,
) -> str:
    """Whether it is proven that there is none, where the search stopped, and what may help."""
    if found.least > steps and found.because.startswith("bound"):
        visits = task.visits()
        most = int(visits.max())
        said = (
            "no number of steps suffices: an increment is beyond what the limits leave a column"
            if found.least >= NEVER
            else f"{counted(steps, 'step')} cannot suffice: with "
            f"{counted(task.at_once, 'column')} at once any "
            f"order takes {found.least} or more ({found.because})"
        )
        head = f"{said}; most visits are needed at {listed(plan, visits == most)}"
        if most >= NEVER:
            fits = float(task.most[visits == most].min()) / 2
            return (
                f"{head}. Release in smaller increments, of {1e3 * fits:.2g} mm or less, or allow "
                "more between neighbours and more tilt"
            )
        return f"{head} ({most} each). Allow more steps, more columns at once, or larger steps"
    left = task.left(found.halted) > 0
    held = held_up_by(task, found.halted)
    stopped = "; ".join(
        f"{name} stops {listed(plan, np.isin(np.arange(left.size), columns))}"
        for name, columns in held.items()
    )
    verdict = (
        f"there is none (proven by the exact search: {found.because})"
        if found.least > steps
        else f"none was found in {most_nodes} nodes, which does not prove there is none"
    )
    halted = "comes to a halt" if len(held) else "runs out of steps"
    if found.unasked:
        verdict = (
            "that does not prove there is none (a program over all steps, for "
            f"{left.size} columns and {steps} steps, is asked from "
            f"most_nodes={found.unasked} on, for many minutes)"
        )
    return (
        f"no order of {counted(steps, 'step')} with {counted(task.at_once, 'column')} at "
        "once keeps "
        f"{limits.differential:g} m between neighbours and a tilt of {limits.tilt:g}: the quick "
        f"search {halted}, and {verdict}. Still to be released then: {listed(plan, left)}"
        + (f". There {stopped}" if stopped else "")
        + f". What may help: {_remedies(task, held, found.least > steps)}"
    )


def _remedies(task: Task, held: dict[str, list[int]], proven: bool) -> str:
    """What would lift the limits that stop a search, in words."""
    movement = {"the differential between neighbours", "the tilt"}
    found = [] if held else ["more steps, or more columns at once"]
    if "the largest step" in held:
        found.append("larger steps")
    if task.increment is not None:
        found.append(f"smaller increments than {1e3 * task.increment:g} mm")
    if movement & set(held) or any("differential" in n or "tilt" in n for n in held):
        found.append("wider limits of movement, where the engineer agrees")
    if any("load" in n or "travel" in n for n in held):
        found.append("wider limits of the loads named, or another precompression")
    if not proven:
        found.append("larger most_nodes, which take longer")
    return "; ".join(found) or "wider limits"


def listed(plan: ColumnPlan, chosen: np.ndarray[Any, Any]) -> str:
    """Names of the chosen columns, the first twelve of many."""
    names = [str(n) for n in plan.column.values[chosen]]
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
