"""Which jacks to turn after a survey, how far, and in which passes: fewest turns within limits."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import finite, positive, within
from groundborne.citation import DERIVED, citation_texts
from groundborne.sizing.correction.blunders import marked
from groundborne.sizing.correction.passes import BY_LOAD, BY_ROOM, RESERVES, Passes, planned
from groundborne.sizing.correction.reasons import (
    MIDWAY,
    between_bounds,
    loads_outside,
    unmet_points,
)
from groundborne.sizing.correction.rows import (
    ROUNDING,
    between_rows,
    level_rows,
    load_rows,
    moment_rows,
    require_start,
)
from groundborne.sizing.correction.whole_turns import Program, ProgramError
from groundborne.sizing.jacking.effects import Effects, StateError, effects
from groundborne.sizing.jacking.floor import BOUNDS, CRACKED, WOOD_ARMER, JackedFloor, JackLimits
from groundborne.sizing.jacking.grid import ORDERS, JackGrid, on_jacks
from groundborne.sizing.jacking.rules import (
    CAUTIONS,
    JACK_PRACTICE,
    LiftError,
    LiftRules,
    check_pitch,
)
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived

Array = np.ndarray[Any, Any]

_MM = 1e3


class CorrectionError(ValueError):
    """No schedule of corrections was found."""


@checked
def correction_schedule(
    *,
    judged: xr.Dataset,
    floor: JackedFloor,
    limits: JackLimits,
    pitch: float,
    rules: LiftRules,
    load: xr.DataArray | None = None,
    lowering: bool = False,
    most_turns: float | None = None,
    most_between: float | None = None,
    most_nodes: int = 5000,
) -> xr.Dataset:
    r"""Turns of jacks that bring every believed point inside the aim, or else the limit.

    Parameters
    ----------
    judged : Dataset
        From :func:`~groundborne.sizing.judge_survey`; blunders are left out.
    floor : JackedFloor
        The slab on its mounts.
    limits : JackLimits
        Between which loads and moments stay, after every single jack. A load beyond its limit
        before any turn goes no further out, and is named in ``outside``.
    pitch : float
        Rise in one turn [m].
    rules : LiftRules
        Part of a turn worked with; within a pass a jack moves by `differential` at most, and so
        do neighbouring jacks against one another.
    load : DataArray, optional
        On each mount before [N], on ``jack`` (and ``bound``): measured compression times static
        stiffness, or ``load_end`` of :func:`plan_lift`. Where left out, jacks are taken to stand
        level under the floor's weight, as after a lift only where all were taken up alike.
    lowering : bool
        Whether jacks may be turned back as well.
    most_turns : float, optional
        Largest number of turns of any jack, either way.
    most_between : float, optional
        Largest difference of the corrections of neighbouring jacks [m].
    most_nodes : int
        Of the branching that proves turns fewest, on up to 16 jacks.

    Returns
    -------
    xarray.Dataset
        On ``jack``: ``turns`` (up positive), ``movement`` [m], ``floor_before`` [m], the deviation
        estimated there; on ``bound`` (uncracked, cracked, midway) and ``jack``: ``load_before``,
        ``load`` [N]; on ``point``, blunders left out: ``deviation`` [m], ``reached`` (``aim``,
        ``limit`` or ``outside``, at the worse bound); on ``bound`` and ``point`` ``predicted`` [m];
        on ``bound``: ``sagging_used``, ``hogging_used``, the largest moment over its limit [-]. On
        ``lift_pass`` and ``jack``: ``pass_turns``, ``rank`` within the pass (0: not turned); on
        ``lift_pass``: ``pass_order``, and over all moments of the pass and both bounds
        ``load_used``, ``load_spare``, the largest load over the most and the smallest over the
        least allowed [-], ``moment_used`` [-]; ``load_after`` [N] and ``predicted_after`` [m] on
        ``bound`` as well. In the attributes ``total_turns`` and ``fewest_turns`` (no schedule that
        comes as near has fewer; 0 where that is not known, and ``proof`` says why), ``proof``,
        ``passes``, and sentences: ``unmet``, ``blunders``, ``midway``, and ``outside``, on mounts
        whose load is beyond its limit before: limits hold only where it is empty.

    Raises
    ------
    ValueError
        Arguments that are unfit, or a surveyed point that is not on the floor.
    LiftError
        The smallest part of a turn is beyond the limit between neighbours.
    CorrectionError
        A mount that hangs loose, loads that do not fit the weight, a floor bent beyond its limit
        already, limits that cannot belong to the loads present, no turns that keep the limits, or
        none found with an order that keeps them on the way: two usual orders and one by load are
        tried in equal passes, then one in passes that go as far as the limits leave room.

    Warns
    -----
    UnusualValueWarning
        Loads allowed that look like another unit beside those present.

    Notes
    -----
    The floor is an elastic plate on its mounts. Whole parts of turns n are sought with
    :math:`|d + W n| \le` aim at every point, W of the whole slab and W of the cracked one, loads
    :math:`r + K n` and moments of both within their limits, and the least sum of :math:`|n|`.
    Both bounds hold, and not a mean, because nobody knows where between them a slab lies and the
    tolerance is wide beside what they differ by; what comes midway is calculated as a check. Where
    the aim cannot be, first the sum of what is beyond the limit is made least, then the sum beyond
    the aim, then the turns; no point beyond the limit is moved further out. Between the points
    nobody has measured: no jack takes the floor beyond the limit, estimated in a straight line
    between the points around (by the nearest point outside of them all).

    A linear program without whole parts gives the bound; whole parts are searched for from it, by
    steps of one or two jacks, and on up to 16 jacks by branching. Where they come less near than
    parts of any size would, twice and four times the part and so on are tried as well, and the
    nearest counts, so that a finer part of a turn never leaves a floor further off than a coarser
    one. Turns are cut into passes, equal ones where those do, with a survey after each;
    within a pass the limits hold after every jack, and an order is chosen that does so. `limits`
    are those of the mounts less what their stiffness may differ by.
    Moments count with twisting added, over a mount as means of half the way to the next ones.

    References
    ----------
    Derived: mixed-integer program on a plate on springs, solved by HiGHS through scipy; twisting
    after Wood and Armer 1968, the cracked slab after ACI 318 (both from memory).

    Examples
    --------
    >>> names = {"jack": ["A1", "B1", "A2", "B2"]}
    >>> grid = JackGrid(x=xr.DataArray([0.0, 2.0, 0.0, 2.0], dims="jack", coords=names),
    ...                 y=xr.DataArray([0.0, 0.0, 2.0, 2.0], dims="jack", coords=names))
    >>> floor = JackedFloor(grid=grid, thickness=0.12, youngs_modulus=30e9, mount_stiffness=6e5)
    >>> limits = JackLimits(least_load=1e3, most_load=6e3, sagging=5e3, hogging=5e3)
    >>> from groundborne.sizing.correction.survey import Survey
    >>> from groundborne.sizing.correction.blunders import judge_survey
    >>> points = xr.Dataset({"x": ("point", [0.0, 2.0, 0.0, 2.0, 1.0]),
    ...     "y": ("point", [0.0, 0.0, 2.0, 2.0, 1.0]),
    ...     "height": ("point", [0.050, 0.050, 0.049, 0.041, 0.0475])},
    ...     coords={"point": ["P1", "P2", "P3", "P4", "P5"]})
    >>> judged = judge_survey(survey=Survey(data=points, quantity="gap"), target=0.05)
    >>> plan = correction_schedule(judged=judged, floor=floor, limits=limits, pitch=3e-3,
    ...                            rules=LiftRules(kind="rubber"))
    >>> plan.turns.values.tolist(), plan.attrs["proof"]
    ([0.0, 0.0, 0.0, 1.75], 'optimal: the bounds of the solver meet')
    """
    where = "correction_schedule"
    check_pitch(where, pitch)
    within(where, "most_nodes", most_nodes, 1, 10**7, "nodes")
    if most_between is not None:
        positive(where, "most_between", most_between, "m")
    part = pitch * rules.turn_fraction
    within_pass = int(rules.differential / part + 1e-9)
    if within_pass < 1:
        raise LiftError(
            f"{where}: {rules.turn_fraction:g} turn raises {part * _MM:.3g} mm, above the "
            f"{rules.differential * _MM:.3g} mm allowed between neighbours; work in smaller parts"
        )
    grid = floor.grid
    good = judged.isel(point=np.flatnonzero(~marked(where, judged, "blunder")))
    floor.require_on(f"{where}: judged", good[["x", "y"]])
    try:
        does = effects(floor, x=good["x"].values, y=good["y"].values, load=_load(where, load, grid))
        require_start(does, grid, limits)
    except StateError as error:
        raise CorrectionError(f"{where}: {error}") from None
    least, most_load = limits.loads(where, grid)
    _compare(where, does, least, most_load)
    level = _floor_at_jacks(good, grid)
    limit = float(judged.attrs["limit"])
    most = _most(where, most_turns, rules.turn_fraction)

    def program(reserve: float, size: int = 1) -> Program:
        """Of parts of a turn `size` times the smallest one."""
        step, jacks = part * size, does.load.shape[-1]
        return Program(
            rise=does.rise[:2] * step * _MM,
            deviation=good["deviation"].values * _MM,
            aim=float(judged.attrs["aim"]) * _MM,
            limit=limit * _MM,
            held=(
                load_rows(does, grid, least, most_load, step, reserve),
                moment_rows(does, limits, step, reserve),
                level_rows(does, grid, level, limit, step),
                *between_rows(grid, most_between, step),
            ),
            most_up=np.full(jacks, np.floor(most / size)),
            most_down=np.full(jacks, np.floor(most / size) if lowering else 0.0),
            most_nodes=most_nodes,
        )

    bare = program(0.0)
    try:
        plan = planned(program, grid=grid, within_pass=within_pass)
    except ProgramError as error:
        raise CorrectionError(
            f"{where}: {error}; look at the loads on the mounts, widen the limits, or allow "
            "lowering"
        ) from None
    if plan is None:
        raise CorrectionError(
            f"{where}: an order of turning that keeps the limits after every jack was not found "
            f"among {', '.join((*ORDERS, BY_LOAD))}, in equal passes, nor {BY_ROOM}, with up to "
            f"{RESERVES[-1]:g} of the range of loads and moments in reserve; others were not "
            "tried; work in smaller parts of a turn, or widen the limits of the loads"
        )
    words = list(plan.open_words)
    if plan.reserve:
        words.append(
            f"{plan.reserve:g} of the range of loads and moments is kept for the way there"
        )
    total = int(np.abs(plan.parts).sum())
    fewest = min(total, int(np.ceil(plan.bound - 1e-6)))
    if 0 < fewest < total:
        words.append(
            f"{total * rules.turn_fraction:g} turns, no fewer than {fewest * rules.turn_fraction:g}"
        )
    result = _result(good, grid, does, limits, plan.passes, plan.parts, part, rules)
    result["floor_before"] = ("jack", level, {"units": "m"})
    result.attrs.update(
        {
            "total_turns": total * rules.turn_fraction,
            "fewest_turns": fewest * rules.turn_fraction,
            "proof": "not proven: " + "; ".join(words)
            if words
            else "optimal: the bounds of the solver meet",
            "unmet": unmet_points(
                good, bare, plan.parts, kept=program(plan.reserve), reserve=plan.reserve
            ),
            "outside": (outside := loads_outside(result, least, most_load)),
            "midway": between_bounds(result, limit, least, most_load, loads_kept=not outside),
            "blunders": judged.attrs["blunders"],
            "pitch": pitch,
            "loads": "as given" if load is not None else "of level jacks under the floor's weight",
        }
    )
    return result


def _compare(where: str, does: Effects, least: Array, most: Array) -> None:
    """Hold the loads allowed on mounts against those present: N and kN are easily mixed up."""
    present = float(np.median(does.load_before[:2]))
    for name, allowed in (("most", most), ("least", least)):
        middle = float(np.median(allowed))
        said = (
            f"{where}: {name}_load of limits, {middle:.4g} N, over the {present:.4g} N that mounts "
            "carry (medians)"
        )
        judge(
            derived(f"{name} load of mounts over the present"),
            [middle / present],
            subject=[said].__getitem__,
            error=CorrectionError,
        )


def _load(where: str, load: xr.DataArray | None, grid: JackGrid) -> xr.DataArray | None:
    if load is None:
        return None
    finite(where, "load", load)
    if "bound" in load.dims:
        known = load["bound"].values.tolist() if "bound" in load.coords else []
        if any(b not in known for b in BOUNDS):
            raise ValueError(f"{where}: load has 'bound' without the labels {', '.join(BOUNDS)}")
        for b in BOUNDS:
            on_jacks(where, "load", load.sel(bound=b, drop=True), grid)
        return load
    return on_jacks(where, "load", load, grid)


def _most(where: str, most_turns: float | None, fraction: float) -> float:
    if most_turns is None:
        return np.inf
    positive(where, "most_turns", most_turns, "turns")
    return float(int(most_turns / fraction + 1e-9))


def _floor_at_jacks(good: xr.Dataset, grid: JackGrid) -> Array:
    from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

    place = np.stack([good["x"].values, good["y"].values], axis=1)
    jacks = np.stack([grid.x.values, grid.y.values], axis=1)
    inner = LinearNDInterpolator(place, good["deviation"].values)(jacks)
    outer = NearestNDInterpolator(place, good["deviation"].values)(jacks)
    return np.where(np.isnan(inner), outer, inner)


def _result(
    good: xr.Dataset,
    grid: JackGrid,
    does: Effects,
    limits: JackLimits,
    passes: Passes,
    parts: Array,
    part: float,
    rules: LiftRules,
) -> xr.Dataset:
    least, most = limits.loads("correction_schedule", grid)
    bounds = [*BOUNDS, MIDWAY]
    count, jacks = passes.parts.shape
    up = np.cumsum(passes.parts, axis=0) * part
    deviation = good["deviation"].values

    def after(before: Array, effect: Array) -> Array:
        return np.asarray(before[:, None] + np.einsum("brj,pj->bpr", effect, up))

    rank = np.zeros((count, jacks), int)
    used, spare, bent = np.zeros(count), np.zeros(count), np.zeros(count)
    start = np.zeros(jacks)
    for k, order in enumerate(passes.turned):
        rank[k, list(order)] = np.arange(1, len(order) + 1)
        path = start + np.tri(len(order)) @ (np.eye(jacks)[list(order)] * passes.parts[k]) * part
        load = does.load_before[:2, None] + np.einsum("brj,sj->bsr", does.load[:2], path)
        moment = does.moment_before[:2, None] + np.einsum("brj,sj->bsr", does.moment[:2], path)
        used[k], spare[k] = (load / most).max(), (load / least).min()
        bent[k] = np.maximum(moment / limits.sagging, -moment / limits.hogging).max()
        start = path[-1]
    move = parts * part
    predicted = deviation + does.rise @ move
    size = np.abs(predicted[:2]).max(axis=0) * _MM
    aim, limit = float(good.attrs["aim"]) * _MM, float(good.attrs["limit"]) * _MM
    moment = does.moment_before + does.moment @ move
    metres, newtons = {"units": "m"}, {"units": "N"}
    return xr.Dataset(
        {
            "turns": ("jack", parts * rules.turn_fraction, {"units": "turns"}),
            "movement": ("jack", move, metres),
            "load_before": (("bound", "jack"), does.load_before, newtons),
            "load": (("bound", "jack"), does.load_before + does.load @ move, newtons),
            "deviation": good["deviation"],
            "predicted": (("bound", "point"), predicted, metres),
            "reached": (
                "point",
                np.select(
                    [size <= aim + ROUNDING, size <= limit + ROUNDING], ["aim", "limit"], "outside"
                ),
            ),
            "sagging_used": ("bound", moment.max(axis=1) / limits.sagging),
            "hogging_used": ("bound", -moment.min(axis=1) / limits.hogging),
            "pass_turns": (("lift_pass", "jack"), passes.parts * rules.turn_fraction),
            "rank": (("lift_pass", "jack"), rank),
            "pass_order": ("lift_pass", np.array(passes.orders, dtype=object)),
            "load_used": ("lift_pass", used),
            "load_spare": ("lift_pass", spare),
            "moment_used": ("lift_pass", bent),
            "load_after": (
                ("bound", "lift_pass", "jack"),
                after(does.load_before, does.load),
                newtons,
            ),
            "predicted_after": (
                ("bound", "lift_pass", "point"),
                after(np.tile(deviation, (len(bounds), 1)), does.rise),
                metres,
            ),
        },
        coords={
            "jack": grid.jack.values,
            "bound": bounds,
            "lift_pass": np.arange(1, count + 1),
        },
        attrs={
            "jacks_turned": int(np.count_nonzero(parts)),
            "passes": count,
            "most_between": float(
                np.abs(move[grid.neighbours[0]] - move[grid.neighbours[1]]).max(initial=0)
            ),
            "note": "an elastic plate on linear mounts, whole and cracked; creep, walls and what "
            "touches an edge are not in it: survey, and read the mounts, after each pass",
            "cautions": " ".join(CAUTIONS),
            "citations": citation_texts((CRACKED, WOOD_ARMER, JACK_PRACTICE, DERIVED)),
        },
    )
