"""Lifting a floor on its jacks: how far, in which passes, and whether every mount then carries."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, positive, within
from groundborne.citation import DERIVED, citation_texts
from groundborne.isolation.mount import Mount
from groundborne.sizing.jacking.floor import JackedFloor, JackLimits
from groundborne.sizing.jacking.grid import ORDERS, JackGrid, on_jacks
from groundborne.sizing.jacking.rules import (
    CAUTIONS,
    FREE_TRAVEL,
    JACK_PRACTICE,
    STAGE,
    LiftError,
    LiftRules,
    check_pitch,
)
from groundborne.sizing.jacking.way import LiftWay

_ROUNDING = 1e-9
_MOST_TRAVEL = 0.2
"""By which no mount of a floor is compressed [m]."""

Array = np.ndarray[Any, Any]


@checked
def free_travel(*, mount: Mount, load: Numeric) -> Numeric:
    """Compression of the mounts before the floor leaves its bed.

    Parameters
    ----------
    mount : Mount
        With its static stiffness.
    load : float or DataArray
        Share of the floor's weight on each mount [N], on ``jack`` for a lift. Where that differs
        from mount to mount, so does the travel of equal mounts, and the jacks no longer stand
        level: the mean of all leaves them so.

    Returns
    -------
    float or DataArray
        [m].

    References
    ----------
    Derived; :data:`FREE_TRAVEL` holds what common practice expects.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> pad = LinearMount(stiffness=1.3e6, dynamic_to_static=1.3)
    >>> float(free_travel(mount=pad, load=5000.0))
    0.005
    """
    positive("free_travel", "load", load, "N")
    return mount.static_deflection(load)


@checked
def plan_lift(
    *,
    grid: JackGrid,
    gap: float,
    pitch: float,
    rules: LiftRules,
    strength: xr.Dataset,
    travel: Numeric | None = None,
    order: str = "middle outward",
    floor: JackedFloor | None = None,
    limits: JackLimits | None = None,
) -> xr.Dataset:
    """Turns of every jack in every pass, from the bed to the final gap.

    Parameters
    ----------
    grid : JackGrid
        Jacks in plan.
    gap : float
        Final gap below the floor [m].
    pitch : float
        Rise in one turn [m].
    rules : LiftRules
        Stages, limit between neighbours, part of a turn.
    strength : Dataset
        From :func:`lifting_strength`.
    travel : float or DataArray, optional
        Compression before the floor moves [m], on ``jack``. Where left out, with `floor` its
        weight over the stiffness of all mounts, alike at every jack, else the middle of common
        practice for the kind.
    order : str
        ``"middle outward"`` or ``"row by row"``.
    floor : JackedFloor, optional
        The slab on its mounts, with `limits`: passes are then no higher than keeps loads and
        moments within them after every single jack.
    limits : JackLimits, optional
        Between which they stay.

    Returns
    -------
    xarray.Dataset
        On ``lift_pass`` and ``jack``: ``turns``; on ``lift_pass``: ``phase`` (take up, or lift),
        ``stage`` (0 while mounts are taken up), ``floor_rise`` [m] after the pass,
        ``largest_differential`` of neighbouring jacks [m] and ``hold`` (survey before going on); on
        ``jack``: ``rank`` within a pass, ``total_turns``, ``travel`` [m]. With `floor` on
        ``lift_pass`` and ``jack`` ``load_least``, ``load_most`` [N] at any moment of the pass at
        the worse bound, and ``moment_used`` [-] on ``lift_pass``: while mounts are taken up
        the floor rests on its bed, and they carry from 0 to the larger of what their travel
        presses and their load when all are up; ``load_end`` [N] on ``bound`` and ``jack``: with
        what the lift leaves, for the `load` of a correction.

    Raises
    ------
    LiftError
        The concrete is too weak, the smallest part of a turn is beyond the limit, or breaks those
        of loads or moments, or travel is not that of this floor on these mounts.

    Notes
    -----
    The floor rests until every mount is taken up, and rises with every pass from there, which
    changes no load once every jack has been turned. Jacks taken up alike stand level; where
    `travel` differs, they stand as far above one another for good, and with `floor` loads and
    moments begin from that state. On the way a jack that is ahead lifts the slab by a small part
    of its own rise, and takes load from its neighbours: what mounts then carry and how the slab
    bends is known only with `floor`. The mounts must then be compressed by its weight to within
    one part of a turn; the mean by which they are not is in ``floor_rise``. What the bed still
    carries in the first pass is left out. Turns are rounded to whole parts; what that costs is in
    the attributes.

    References
    ----------
    Common practice for the values; the passes derived.

    Examples
    --------
    >>> names = {"jack": ["A1", "B1", "A2", "B2"]}
    >>> grid = JackGrid(x=xr.DataArray([0.0, 1.5, 0.0, 1.5], dims="jack", coords=names),
    ...                 y=xr.DataArray([0.0, 0.0, 1.5, 1.5], dims="jack", coords=names))
    >>> from groundborne.sizing.jacking.rules import lifting_strength
    >>> lift = plan_lift(grid=grid, gap=0.06, pitch=3e-3, rules=LiftRules(kind="rubber"),
    ...                  strength=lifting_strength(cubes=(24.1,)))
    >>> lift.sizes["lift_pass"], float(lift.total_turns[0]), lift.attrs["stages"]
    (23, 21.75, 2)
    """
    where = "plan_lift"
    within(where, "gap", gap, 1e-3, 0.5, "m")
    check_pitch(where, pitch)
    known(where, "order", order, ORDERS)
    may_lift = strength["may_lift"]
    if may_lift.ndim or may_lift.dtype != bool:
        raise ValueError(
            f"{where}: strength holds may_lift as {may_lift.dtype} on {may_lift.dims or 'no dim'}; "
            "one answer, yes or no, is needed, as lifting_strength gives"
        )
    if not bool(may_lift):
        raise LiftError(f"{where}: {strength.attrs['verdict']}")
    low, high = FREE_TRAVEL[rules.kind]
    basis = "given"
    if travel is None and floor is not None:
        travel = floor.weight / float(np.asarray(floor.mount_stiffness).sum())
        basis = "weight of the floor over the stiffness of its mounts"
    elif travel is None:
        travel = (low + high) / 2
        basis = f"common practice, {low * 1e3:g}-{high * 1e3:g} mm"
    free = on_jacks(where, "travel", travel, grid)
    positive(where, "travel", free, "m")
    within(where, "travel", free, 0.0, _MOST_TRAVEL, "m", "is it in mm?")
    part = pitch * rules.turn_fraction
    most = int(rules.differential / part + _ROUNDING)
    stage_limit = rules.stage if rules.stage is not None else STAGE[rules.kind]
    stage = int(stage_limit / part + _ROUNDING)
    if most < 1 or stage < 1:
        raise LiftError(
            f"{where}: {rules.turn_fraction:g} turn raises {part * 1e3:.3g} mm, above the "
            f"{min(rules.differential, stage_limit) * 1e3:.3g} mm allowed; work in smaller parts "
            "of a turn"
        )
    taken = np.rint(free.values / part).astype(int)
    way = LiftWay.of(where, floor, limits, grid, order, taken * part)
    start = 0.0
    if way is not None:
        way.require_taken_up(where, part)
        start = way.start_rise
    lift = round((gap - start) / part)
    if lift < 1:
        raise LiftError(f"{where}: the gap of {gap:g} m is less than half of one part of a turn")
    take_up = _parts(taken, most)
    stages = _parts(np.array([lift]), stage)[:, 0]
    high = most if way is None else way.highest(where, most, part)
    rises = [_parts(np.array([s]), high) for s in stages]
    rise = np.concatenate(rises)
    number = np.repeat(np.arange(1, stages.size + 1), [r.shape[0] for r in rises])
    parts = np.concatenate([take_up, np.broadcast_to(rise, (rise.shape[0], free.size))])
    risen = np.concatenate([np.zeros(take_up.shape[0], int), rise[:, 0]])
    passes = np.arange(1, parts.shape[0] + 1)
    stage_of = np.concatenate([np.zeros(take_up.shape[0], int), number])
    coords = {"lift_pass": passes, "jack": grid.jack.values}
    turns = xr.DataArray(
        parts * rules.turn_fraction,
        dims=("lift_pass", "jack"),
        coords=coords,
        attrs={"units": "turns"},
    )
    moved = xr.DataArray(
        np.broadcast_to(risen[:, None] * part, parts.shape), dims=turns.dims, coords=coords
    )
    apart = grid.pass_differential(moved, order=order)
    if bool((apart > rules.differential * (1 + 1e-9)).any()):
        raise LiftError(f"{where}: the passes fail their own check and are withheld")
    names = grid.order(order).values.tolist()
    rank = xr.DataArray(
        np.arange(1, len(names) + 1), dims="jack", coords={"jack": names}
    ).sel(jack=grid.names)  # fmt: skip
    # A floor not yet off its bed when all is taken up lies there until it is.
    rise_of_floor = np.cumsum(risen) * part + np.where(stage_of == 0, max(start, 0.0), start)
    rise_of_floor[: max(take_up.shape[0] - 1, 0)] = 0.0
    unlevel = float(np.ptp(taken) * part)
    result = xr.Dataset(
        {
            "turns": turns,
            "phase": ("lift_pass", np.where(stage_of == 0, "take up", "lift")),
            "stage": ("lift_pass", stage_of),
            "floor_rise": ("lift_pass", rise_of_floor, {"units": "m"}),
            "largest_differential": apart,
            "hold": ("lift_pass", np.append(np.diff(stage_of) > 0, True)),
            "rank": ("jack", rank.values),
            "total_turns": turns.sum("lift_pass").assign_attrs(units="turns"),
            "travel": free.assign_attrs(units="m"),
        },
        attrs={
            "stages": int(stages.size),
            "order": order,
            "pitch": pitch,
            "gap_off": lift * part + start - gap,
            "take_up_off_most": float(np.abs(taken * part - free.values).max()),
            "travel_basis": basis,
            "verdict": strength.attrs["verdict"],
            "note": (
                "loads on mounts and bending of the slab on the way are not known: give floor "
                "and limits"
                if way is None
                else "an elastic plate on linear mounts, whole and cracked; while mounts are taken "
                "up the floor rests on its bed"
            )
            + (
                f"; jacks stand up to {unlevel * 1e3:.3g} mm above one another once taken up"
                if unlevel
                else ""
            ),
            "cautions": " ".join(CAUTIONS),
            "citations": citation_texts((JACK_PRACTICE, DERIVED)),
        },
    )
    return result if way is None else way.added(result, risen * part)


@checked
def lift_table(result: xr.Dataset) -> pd.DataFrame:
    """One row per pass of :func:`plan_lift`, for the site.

    Parameters
    ----------
    result : Dataset
        From :func:`plan_lift`.

    Returns
    -------
    pandas.DataFrame
        Pass, phase, stage, least and most turns of a jack, gap after it, largest difference
        between neighbouring jacks, least and largest load of a mount where they are known, and what
        follows. The cautions and the note stand in ``attrs``.

    Examples
    --------
    >>> names = {"jack": ["A1", "B1", "A2", "B2"]}
    >>> grid = JackGrid(x=xr.DataArray([0.0, 1.5, 0.0, 1.5], dims="jack", coords=names),
    ...                 y=xr.DataArray([0.0, 0.0, 1.5, 1.5], dims="jack", coords=names))
    >>> from groundborne.sizing.jacking.rules import lifting_strength
    >>> lift = plan_lift(grid=grid, gap=0.03, pitch=3e-3, rules=LiftRules(kind="rubber"),
    ...                  strength=lifting_strength(cubes=(24.1,)))
    >>> lift_table(lift)[["pass", "phase", "turns_most", "gap_mm", "then"]].iloc[1].to_dict()
    {'pass': 2, 'phase': 'take up', 'turns_most': 0.75, 'gap_mm': 0.0, 'then': 'hold: check mounts'}
    """
    turns = result["turns"]
    last = np.where(
        result["stage"].values == 0,
        "hold: check mounts",
        "hold: survey",
    )
    frame = pd.DataFrame(
        {
            "pass": result["lift_pass"].values,
            "phase": result["phase"].values,
            "stage": result["stage"].values,
            "turns_least": turns.min("jack").values,
            "turns_most": turns.max("jack").values,
            "gap_mm": (result["floor_rise"].values * 1e3).round(3),
            "largest_differential_mm": (result["largest_differential"].values * 1e3).round(3),
            "then": np.where(result["hold"].values, last, "next pass"),
        }
    )
    for name, of in (("load_least", "min"), ("load_most", "max")):
        if name in result:
            load = getattr(result[name], of)("jack").values * 1e-3
            frame.insert(len(frame.columns) - 1, f"{name}_kn", load.round(2))
    frame.attrs.update({name: result.attrs[name] for name in ("cautions", "note")})
    return frame


def _parts(total: np.ndarray[Any, Any], most: int) -> np.ndarray[Any, Any]:
    """Whole numbers cut into rows of `most` and a rest, shape (rows, entries)."""
    rows = np.arange(max(0, -(-int(total.max()) // most)))
    return np.clip(total[None, :] - rows[:, None] * most, 0, most)
