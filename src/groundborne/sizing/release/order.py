"""In which order packs are released, so that neighbours and the whole building stay level."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, positive, within
from groundborne.sizing.movement.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.release.check import check_release
from groundborne.sizing.release.fewest import Fewest, fewest_steps
from groundborne.sizing.release.frame import ReleaseFrame
from groundborne.sizing.release.loads import table_of_loads
from groundborne.sizing.release.no_order import listed, why_not
from groundborne.sizing.release.rules import FrameBearing, Rules
from groundborne.sizing.release.states import MOST_AT_ONCE
from groundborne.sizing.release.task import SLACK, Task
from groundborne.structure.supports import on_columns

FRAME_AND_SOFT = (
    "limits of movement are kept where every column carries its own load (the frame follows: soft "
    "bound) and on every plate of the frame; loads are those of the plates"
)


class ReleaseError(ValueError):
    """No order of release that keeps the limits."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class ReleaseWork:
    """How a site releases packs.

    Parameters
    ----------
    at_once : int
        Columns worked on in one step, 1 or more: sets of jacks or crews.
    steps : int
        Most steps there may be, 1 or more.
    largest_step : float or DataArray, optional
        Most one column is let down in one step [m], above 0; the whole of it where left out.
    increment : float, optional
        Let-down of one turn or shim [m], above 0: a column moves by whole increments, and by what
        is left at its last. Any amount where left out.

    Examples
    --------
    >>> ReleaseWork(at_once=0, steps=10)
    Traceback (most recent call last):
    ...
    ValueError: ReleaseWork: at_once is 0; a whole number, 1 or more, is needed
    """

    at_once: int
    steps: int
    largest_step: Numeric | None = None
    increment: float | None = None

    def __post_init__(self) -> None:
        where = "ReleaseWork"
        for name in ("at_once", "steps"):
            value = getattr(self, name)
            if value < 1:
                raise ValueError(
                    f"{where}: {name} is {value}; a whole number, 1 or more, is needed"
                )
        if self.largest_step is not None:
            positive(where, "largest_step", self.largest_step, "m")
        if self.increment is not None:
            positive(where, "increment", self.increment, "m")
            if self.largest_step is not None and np.any(
                np.asarray(self.largest_step) < self.increment
            ):
                raise ValueError(
                    f"{where}: largest_step is below the increment of {self.increment:g} m; "
                    "a step must hold at least one"
                )


@checked
def order_of_release(
    remaining: xr.DataArray,
    *,
    plan: ColumnPlan,
    limits: MovementLimits,
    work: ReleaseWork,
    already_moved: Numeric = 0.0,
    frame: ReleaseFrame | None = None,
    most_nodes: int = 2000,
) -> xr.Dataset:
    """Find an order of release that keeps limits in few steps, and check it step by step.

    Parameters
    ----------
    remaining : DataArray
        What each column will move when released [m] on ``column``, downwards; below 0 it rises.
        See ``remaining`` of :func:`stage_movement`.
    plan : ColumnPlan
        Positions and neighbours.
    limits : MovementLimits
        Kept after every step and on the way, whatever the order of work within a step.
    work : ReleaseWork
        Columns at once, steps, and how far a column may go in one.
    already_moved : float or DataArray
        Movement before release [m], which counts towards the limits.
    frame : ReleaseFrame, optional
        The building as a plate, with limits of loads; `remaining` must be that of the frame. Left
        out, the frame follows: loads are not looked at.
    most_nodes : int
        Most states opened by the exact search; programs take a quarter of that as nodes, or less
        where they are large. A program over all steps looks for any order where none was found
        otherwise, if columns times steps are at most 0.35 of it. That takes up to a minute or so
        with the default, and grows faster than `most_nodes`: minutes at 4000, hours at 20000.

    Returns
    -------
    xarray.Dataset
        As :func:`check_release`, with ``step`` from 0 (before work) to the number used, and on
        ``step, column``: ``step_movement``, ``released`` and ``movement`` [m] (the last with what
        moved before), ``worked_on``, ``share_released``; with `frame` what
        :func:`~groundborne.sizing.release_loads` gives. Attributes ``steps_used``,
        ``steps_at_least``, a lower bound for any order, and ``proof``: whether the order is proven
        to have the fewest steps, and what the bound follows from.

    Raises
    ------
    ReleaseError
        Limits exceeded at the start or once everything is released, which no order mends; steps
        that cannot suffice (proven); or no order found, with the columns that hold it up. The
        sentence says whether it is proven that there is none (to a solver's tolerance).

    Notes
    -----
    Each released column moves by what remains for it and no other moves: the frame follows. That
    is the soft bound of the building, in which differences between neighbours are largest; limits
    of movement are kept there in any case, and with a frame on each of its plates as well, together
    with the limits of loads.

    Bounds from visits, neighbours and tilt say how few steps could do. Several orders are followed
    step by step; where the best takes more than the bound, plans in increments of up to 16 columns
    are searched state by state (best first; a step is possible if all states are that some order of
    work passes through), and plans of few steps by a program over all steps at once. All of it is
    limited by work, not by time. Proofs of the program hold to the tolerance of its solver, those
    of the states to 0.001 % of the limits.

    References
    ----------
    Derived.

    Examples
    --------
    >>> corners = {"column": ["A1", "B1", "B2", "A2"]}
    >>> plan = ColumnPlan(x=xr.DataArray([0.0, 6.0, 6.0, 0.0], dims="column", coords=corners),
    ...                   y=xr.DataArray([0.0, 0.0, 6.0, 6.0], dims="column", coords=corners),
    ...                   neighbour_distance=6.1)
    >>> order = order_of_release(
    ...     xr.full_like(plan.x, 3e-3), plan=plan, work=ReleaseWork(at_once=2, steps=4),
    ...     limits=MovementLimits(differential=3e-3, tilt=1 / 2000))
    >>> order.attrs["steps_used"], bool(order.within_limits.all())
    (2, True)
    """
    where = "order_of_release"
    within(where, "most_nodes", most_nodes, 1, 10**7, "nodes")
    if remaining.dims != ("column",):
        raise ValueError(f"{where}: remaining must be a DataArray with dim 'column' only")
    task = _task(where, remaining, plan, limits, work, already_moved, frame)
    _require_ends(where, task, plan, limits)
    _require_loads_at_ends(where, task)
    found = fewest_steps(task, most_steps=work.steps, most_nodes=most_nodes)
    if found.way is None:
        raise ReleaseError(f"{where}: {why_not(task, found, plan, limits, work.steps, most_nodes)}")
    result = _result(where, task, found, plan, limits)
    if frame is None:
        return result
    assert isinstance(task.bearing, FrameBearing)
    gone = result["released"].transpose("step", "column").values
    loads = table_of_loads(task.bearing.rules, gone, result["step"].values, plan, frame)
    kept = loads["limits_kept"].values
    if not kept.all():
        raise ReleaseError(
            f"{where}: the order found exceeds {loads['exceeded'].values[~kept][0]} at step "
            f"{int(np.argmin(kept))} and is withheld"
        )
    loads.attrs = result.attrs | {"assumption": FRAME_AND_SOFT}
    return result.merge(loads, combine_attrs="drop").assign_attrs(loads.attrs)


def _task(
    where: str,
    remaining: xr.DataArray,
    plan: ColumnPlan,
    limits: MovementLimits,
    work: ReleaseWork,
    already_moved: Numeric,
    frame: ReleaseFrame | None,
) -> Task:
    largest: Any = np.inf
    if work.largest_step is not None:
        largest = on_columns(where, "largest_step", work.largest_step, plan.column).values
    start = on_columns(where, "already_moved", already_moved, plan.column)
    if start.dims != ("column",):
        raise ValueError(f"{where}: already_moved must have dim 'column' only")
    i, j = np.nonzero(np.triu(plan.adjacent))
    x, y = plan.x.values, plan.y.values
    gone = on_columns(where, "remaining", remaining, plan.column).values
    bearing = None
    if frame is not None:
        if work.at_once > MOST_AT_ONCE:
            raise ValueError(
                f"{where}: at_once is {work.at_once}; with a frame at most {MOST_AT_ONCE}, as "
                "loads are worked out for every order of work within a step"
            )
        rules = Rules.of(frame, plan, limits, start.values)
        off = abs(gone - rules.remaining) > 1e-6 * abs(rules.remaining).max(initial=0.0)
        if off.any():
            raise ValueError(
                f"{where}: remaining of {plan.column.values[off][0]} is {gone[off][0]:g} m and "
                f"that of the frame {rules.remaining[off][0]:g} m; give frame.remaining"
            )
        bearing = FrameBearing(rules=rules, down=np.where(gone < 0, -1.0, 1.0))
    return Task(
        start=start.values,
        remaining=gone,
        largest_step=np.broadcast_to(np.asarray(largest, float), (plan.column.size,)),
        increment=work.increment,
        first=i,
        second=j,
        slope=plan.slope_operator,
        centre_distance=np.hypot(x - x.mean(), y - y.mean()),
        differential=limits.differential,
        tilt=limits.tilt,
        at_once=work.at_once,
        bearing=bearing,
    )


def _require_ends(where: str, task: Task, plan: ColumnPlan, limits: MovementLimits) -> None:
    """No order helps if the state before work, or that after it, is beyond the limits."""
    states = np.stack([task.start, task.start + task.remaining])
    moved = xr.DataArray(
        states,
        dims=("step", "column"),
        coords={"step": ["before work begins", "once everything is released"]}
        | {"column": plan.column.values},
    )
    pairs, tilt = plan.differential(moved), plan.plane(moved)["tilt"]
    for state in moved["step"].values:
        here = pairs.sel(step=state)
        over = here > limits.differential * (1 + SLACK)
        if bool(over.any()):
            names = [str(n) for n in here["pair"].values[over.values]]
            raise ReleaseError(
                f"{where}: {state}, neighbours {', '.join(names[:8])}"
                f"{f' and {len(names) - 8} more' if len(names) > 8 else ''} differ by up to "
                f"{float(here.max()):.3g} m, above {limits.differential:g} m; no order mends that: "
                "change the packs or the precompression"
            )
        slope = float(tilt.sel(step=state))
        if slope > limits.tilt * (1 + SLACK):
            far = abs(moved.sel(step=state) - float(moved.sel(step=state).mean()))
            worst = far.values >= np.sort(far.values)[-3:].min()
            raise ReleaseError(
                f"{where}: {state}, the building tilts by {slope:.3g}, above {limits.tilt:g}; no "
                f"order mends that: change the packs or the precompression. Furthest from the "
                f"mean are {listed(plan, worst)}"
            )


def _require_loads_at_ends(where: str, task: Task) -> None:
    if task.bearing is None:
        return
    ends = {
        "before work begins": np.zeros_like(task.size),
        "once everything is released": task.size,
    }
    for said, way in ends.items():
        if not task.bearing.step(way, way):
            raise ReleaseError(
                f"{where}: {said}, a limit is exceeded by {task.bearing.why(way, way)}; no order "
                "mends that: change the packs, the precompression or the frame"
            )


def _result(
    where: str, task: Task, found: Fewest, plan: ColumnPlan, limits: MovementLimits
) -> xr.Dataset:
    assert found.way is not None
    released = task.down * found.way
    released = np.where(found.way >= task.size, task.remaining, released)
    steps = np.arange(len(released))
    sums = xr.DataArray(
        released,
        dims=("step", "column"),
        coords={"step": steps, "column": plan.column.values},
        attrs={"units": "m"},
    )
    moved = (sums + xr.DataArray(task.start, dims="column")).assign_attrs(units="m")
    result = check_release(moved, plan=plan, limits=limits)
    if not bool(result["within_limits"].all()):
        step = int(np.argmin(result["within_limits"].values))
        raise ReleaseError(
            f"{where}: the order found fails its own check at step {step} and is withheld; this is "
            "a fault of the search, slightly wider limits may avoid it"
        )
    change = sums - sums.shift(step=1, fill_value=0.0)
    total = xr.DataArray(task.remaining, dims="column", coords={"column": plan.column.values})
    result["step_movement"] = change.assign_attrs(units="m")
    result["released"] = sums
    result["movement"] = moved
    result["worked_on"] = change != 0
    result["share_released"] = (sums / total.where(total != 0)).fillna(1.0)
    used = len(released) - 1
    result.attrs["steps_used"] = used
    result.attrs["steps_at_least"] = found.least
    result.attrs["proof"] = (
        f"fewest steps, proven: {found.because}"
        if found.least == used
        else f"not proven to be fewest: {used} steps, and no order takes fewer than {found.least} "
        f"({found.because})"
    )
    return result
