"""In which order packs are released, so that neighbours and the whole building stay level."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.sizing.column_plan import MOVEMENT, ColumnPlan, MovementLimits
from groundborne.sizing.release_fewest import Fewest, fewest_steps, held_up_by
from groundborne.sizing.release_task import DIRECTIONS, NEVER, SLACK, Task
from groundborne.sizing.stages import CAUTION, FRAME_FOLLOWS
from groundborne.structure.supports import on_columns

RELEASE = Citation(
    key="release-order",
    author="groundborne",
    title="limits checked after every step and for every order of work within a step",
    mark="derived",
    status="transcribed",
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
def check_release(
    movement: xr.DataArray, *, plan: ColumnPlan, limits: MovementLimits
) -> xr.Dataset:
    """Check every step of a release against limits.

    Parameters
    ----------
    movement : DataArray
        Movement of each column since locking [m], downwards, on ``step, column``; the first entry
        of ``step`` is the state before work begins.
    plan : ColumnPlan
        Positions and neighbours.
    limits : MovementLimits
        What neighbours and the building bear.

    Returns
    -------
    xarray.Dataset
        On ``step``, after the step: ``differential`` [m], the largest between neighbours,
        ``worst_pair`` and ``tilt``; and on the way there, whatever the order of work within the
        step: ``differential_on_the_way`` [m], ``worst_pair_on_the_way`` and ``tilt_on_the_way``
        (an upper bound, at most 0.001 % high); ``within_limits``, to 0.001 %.

    Raises
    ------
    ValueError
        A movement without steps or columns, or with columns unknown to the plan.

    Notes
    -----
    On the way every column lies anywhere between its two states. Differences and slopes are
    largest at the ends of those ranges, and all combinations of ends are covered.

    References
    ----------
    Derived.

    Examples
    --------
    >>> corners = {"column": ["A1", "B1", "B2", "A2"]}
    >>> plan = ColumnPlan(x=xr.DataArray([0.0, 6.0, 6.0, 0.0], dims="column", coords=corners),
    ...                   y=xr.DataArray([0.0, 0.0, 6.0, 6.0], dims="column", coords=corners),
    ...                   neighbour_distance=6.1)
    >>> moved = xr.DataArray([[0, 0, 0, 0], [2e-3, 0, 2e-3, 0], [2e-3] * 4],
    ...                      dims=("step", "column"), coords={"step": [0, 1, 2], **corners})
    >>> checked = check_release(moved, plan=plan,
    ...                         limits=MovementLimits(differential=3e-3, tilt=1 / 2000))
    >>> checked.differential.values.tolist(), checked.within_limits.values.tolist()
    ([0.0, 0.002, 0.0], [True, True, True])
    """
    where = "check_release"
    if set(movement.dims) != {"step", "column"}:
        raise ValueError(f"{where}: movement must be a DataArray with dims 'step' and 'column'")
    if "step" not in movement.coords:
        movement = movement.assign_coords(step=np.arange(movement.sizes["step"]))
    finite(where, "movement", movement)
    after = on_columns(where, "movement", movement, plan.column).transpose("step", "column").values
    start = np.concatenate([after[:1], after[:-1]])
    low, high = np.minimum(start, after), np.maximum(start, after)
    i, j = np.nonzero(np.triu(plan.adjacent))
    differential = abs(after[:, i] - after[:, j])
    way = np.maximum(high[:, i] - low[:, j], high[:, j] - low[:, i])
    slope = plan.slope_operator
    angle = 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    row = np.cos(angle)[:, None] * slope[0] + np.sin(angle)[:, None] * slope[1]
    tilt = np.hypot(*(slope @ after.T))
    tilt_way = (high @ row.clip(min=0).T + low @ row.clip(max=0).T).max(axis=1)
    tilt_way = np.maximum(tilt_way / np.cos(np.pi / DIRECTIONS), tilt)
    slack = (1 + SLACK) / np.cos(np.pi / DIRECTIONS)
    within = (way.max(axis=1) <= limits.differential * (1 + SLACK)) & (
        tilt_way <= limits.tilt * slack
    )
    names = plan.pairs["pair"].values
    metres = {"units": "m"}
    return xr.Dataset(
        {
            "differential": ("step", differential.max(axis=1), metres),
            "worst_pair": ("step", names[differential.argmax(axis=1)]),
            "tilt": ("step", tilt),
            "differential_on_the_way": ("step", way.max(axis=1), metres),
            "worst_pair_on_the_way": ("step", names[way.argmax(axis=1)]),
            "tilt_on_the_way": ("step", tilt_way),
            "within_limits": ("step", within),
        },
        coords={"step": movement["step"].values},
        attrs={
            "citations": citation_texts([RELEASE, MOVEMENT]),
            "assumption": FRAME_FOLLOWS,
            "caution": CAUTION,
        },
    )


@checked
def order_of_release(
    remaining: xr.DataArray,
    *,
    plan: ColumnPlan,
    limits: MovementLimits,
    work: ReleaseWork,
    already_moved: Numeric = 0.0,
    most_nodes: int = 2000,
) -> xr.Dataset:
    """Find an order of release that keeps limits, and prove it step by step.

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
    most_nodes : int
        Most nodes of the exact search, which is made if the quick one needs too many steps.

    Returns
    -------
    xarray.Dataset
        As :func:`check_release`, with ``step`` from 0 (before work) to the number used, and on
        ``step, column``: ``step_movement``, ``released`` and ``movement`` [m] (the last with what
        moved before), ``worked_on``, ``share_released``. Attributes ``steps_used`` and
        ``steps_at_least``: a lower bound for any order.

    Raises
    ------
    ReleaseError
        Limits exceeded at the start or once everything is released, which no order mends; steps
        that cannot suffice (proven); or no order found, with the columns that hold it up. The
        sentence says whether it is proven that there is none (to a solver's tolerance).

    Notes
    -----
    Each released column moves by what remains for it and no other moves. From the middle outward,
    several ways of choosing the next columns are followed to the end and the shortest order kept;
    if it is too long, a mixed-integer program looks for one over all steps at once.

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
    task = _task(where, remaining, plan, limits, work, already_moved)
    _require_ends(where, task, plan, limits)
    found = fewest_steps(task, most_steps=work.steps, most_nodes=most_nodes)
    if found.way is None:
        raise ReleaseError(f"{where}: {_why_not(task, found, plan, limits, work, most_nodes)}")
    return _result(where, task, found, plan, limits)


def _why_not(
    task: Task,
    found: Fewest,
    plan: ColumnPlan,
    limits: MovementLimits,
    work: ReleaseWork,
    most_nodes: int,
) -> str:
    if found.least > work.steps and found.because.startswith("bound"):
        visits = task.visits()
        most = int(visits.max())
        said = (
            "no number of steps suffices: an increment is beyond what the limits leave a column"
            if found.least >= NEVER
            else f"{work.steps} steps cannot suffice: with {work.at_once} columns at once any order "
            f"takes {found.least} or more ({found.because})"
        )
        return (
            f"{said}; most visits are needed at {_listed(plan, visits == most)}"
            + (f" ({most} each)" if most < NEVER else "")
            + ". Allow more steps, more columns at once, or larger steps"
        )
    left = task.left(found.halted) > 0
    held = held_up_by(task, found.halted)
    stopped = "; ".join(
        f"{name} stops {_listed(plan, np.isin(np.arange(left.size), columns))}"
        for name, columns in held.items()
    )
    verdict = (
        f"there is none (proven by the exact search: {found.because})"
        if found.least > work.steps
        else f"none was found in {most_nodes} nodes, which does not prove there is none"
    )
    halted = "comes to a halt" if len(held) else "runs out of steps"
    return (
        f"no order of {work.steps} steps with {work.at_once} columns at once keeps "
        f"{limits.differential:g} m between neighbours and a tilt of {limits.tilt:g}: the quick "
        f"search {halted}, and {verdict}. Still to be released then: {_listed(plan, left)}"
        + (f". There {stopped}" if stopped else "")
    )


def _task(
    where: str,
    remaining: xr.DataArray,
    plan: ColumnPlan,
    limits: MovementLimits,
    work: ReleaseWork,
    already_moved: Numeric,
) -> Task:
    largest: Any = np.inf
    if work.largest_step is not None:
        largest = on_columns(where, "largest_step", work.largest_step, plan.column).values
    start = on_columns(where, "already_moved", already_moved, plan.column)
    if start.dims != ("column",):
        raise ValueError(f"{where}: already_moved must have dim 'column' only")
    i, j = np.nonzero(np.triu(plan.adjacent))
    x, y = plan.x.values, plan.y.values
    return Task(
        start=start.values,
        remaining=on_columns(where, "remaining", remaining, plan.column).values,
        largest_step=np.broadcast_to(np.asarray(largest, float), (plan.column.size,)),
        increment=work.increment,
        first=i,
        second=j,
        slope=plan.slope_operator,
        centre_distance=np.hypot(x - x.mean(), y - y.mean()),
        differential=limits.differential,
        tilt=limits.tilt,
        at_once=work.at_once,
    )


def _listed(plan: ColumnPlan, chosen: np.ndarray[Any, Any]) -> str:
    names = [str(n) for n in plan.column.values[chosen]]
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")


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
                f"mean are {_listed(plan, worst)}"
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
