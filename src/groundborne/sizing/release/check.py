"""Movement at every step of a release against limits, for every order of work within a step."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import finite
from groundborne.citation import Citation, citation_texts
from groundborne.sizing.movement.column_plan import MOVEMENT, ColumnPlan, MovementLimits
from groundborne.sizing.release.stages import CAUTION, FRAME_FOLLOWS
from groundborne.sizing.release.task import DIRECTIONS, SLACK
from groundborne.structure.supports import on_columns

RELEASE = Citation(
    key="release-order",
    author="groundborne",
    title="limits checked after every step and for every order of work within a step",
    mark="derived",
    status="transcribed",
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
