"""Which jacks to turn after a survey, and how far: the fewest turns that bring the floor level."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import positive, within
from groundborne.citation import DERIVED, citation_texts
from groundborne.sizing.jack_grid import INFLUENCE, JackGrid
from groundborne.sizing.lift_rules import (
    CAUTIONS,
    JACK_PRACTICE,
    LiftError,
    LiftRules,
    check_pitch,
)
from groundborne.sizing.programs import solve_program

Array = np.ndarray[Any, Any]

_MM = 1e3
_ROUNDING = 1e-5
"""Of the solver, in millimetres: it keeps rows to 1e-6, and sums of up to ten add up."""


class CorrectionError(ValueError):
    """No schedule of corrections was found."""


@checked
def correction_schedule(
    *,
    judged: xr.Dataset,
    grid: JackGrid,
    pitch: float,
    rules: LiftRules,
    lowering: bool = False,
    most_turns: float | None = None,
    most_between: float | None = None,
    most_nodes: int = 5000,
) -> xr.Dataset:
    r"""Turns of jacks that bring every believed point inside the aim, or else the limit.

    Parameters
    ----------
    judged : Dataset
        From :func:`~groundborne.sizing.survey_blunders.judge_survey`; blunders are left out.
    grid : JackGrid
        Jacks in plan.
    pitch : float
        Rise in one turn [m].
    rules : LiftRules
        Part of a turn worked with, and the limit between neighbours within a pass.
    lowering : bool
        Whether jacks may be turned back as well.
    most_turns : float, optional
        Largest number of turns of any jack, either way.
    most_between : float, optional
        Largest difference of the corrections of neighbouring jacks [m].
    most_nodes : int
        Of the search, for each program; there are three at most after the first.

    Returns
    -------
    xarray.Dataset
        On ``jack``: ``turns`` (up positive), ``movement`` [m], ``floor_before`` [m], the deviation
        estimated there; on ``point``, blunders left out: ``deviation``, ``predicted`` [m] and
        ``reached`` (``aim``, ``limit`` or ``outside``). In the attributes ``total_turns`` and
        ``fewest_turns`` (no schedule has fewer), ``proof``, ``passes``, and sentences: ``unmet``,
        ``blunders``.

    Raises
    ------
    LiftError
        The smallest part of a turn is beyond the limit between neighbours.
    CorrectionError
        The solver found nothing in so many nodes.

    Notes
    -----
    Whole parts of turns n are sought with :math:`|d + W n| \le` aim at every point, W from the
    four jacks around it, and the least sum of :math:`|n|`. Where that cannot be, first the sum of
    what is beyond the limit is made least, then the number of points beyond the aim, then the
    turns; no point beyond the limit is moved further out. Between the points nobody has measured:
    no jack goes beyond the limit by the floor estimated at it, in a straight line between the
    points around (by the nearest point outside of them all). Mounts shift their load as jacks are
    turned, and the plate bends: what is predicted is to be surveyed again.

    References
    ----------
    Derived: mixed-integer program, solved by HiGHS through scipy.

    Examples
    --------
    >>> names = {"jack": ["A1", "B1", "A2", "B2"]}
    >>> grid = JackGrid(x=xr.DataArray([0.0, 2.0, 0.0, 2.0], dims="jack", coords=names),
    ...                 y=xr.DataArray([0.0, 0.0, 2.0, 2.0], dims="jack", coords=names))
    >>> from groundborne.sizing.survey import Survey
    >>> from groundborne.sizing.survey_blunders import judge_survey
    >>> points = xr.Dataset({"x": ("point", [0.0, 2.0, 0.0, 2.0, 1.0]),
    ...     "y": ("point", [0.0, 0.0, 2.0, 2.0, 1.0]),
    ...     "height": ("point", [0.050, 0.050, 0.049, 0.041, 0.0475])},
    ...     coords={"point": ["P1", "P2", "P3", "P4", "P5"]})
    >>> judged = judge_survey(survey=Survey(data=points, quantity="gap"), target=0.05)
    >>> plan = correction_schedule(judged=judged, grid=grid, pitch=3e-3,
    ...                            rules=LiftRules(kind="rubber"))
    >>> plan.turns.values.tolist(), plan.attrs["proof"]
    ([0.0, 0.0, 0.0, 1.5], 'optimal: the bounds of the solver meet')
    """
    where = "correction_schedule"
    check_pitch(where, pitch)
    within(where, "most_nodes", most_nodes, 1, 10**7, "nodes")
    part = pitch * rules.turn_fraction
    within_pass = int(rules.differential / part + 1e-9)
    if within_pass < 1:
        raise LiftError(
            f"{where}: {rules.turn_fraction:g} turn raises {part * _MM:.3g} mm, above the "
            f"{rules.differential * _MM:.3g} mm allowed between neighbours; work in smaller parts"
        )
    good = judged.isel(point=np.flatnonzero(~judged["blunder"].values))
    influence = grid.influence(x=good["x"], y=good["y"])
    floor, limit = _floor_at_jacks(good, grid), float(judged.attrs["limit"])
    most = _most(where, most_turns, rules.turn_fraction)
    program = _Program(
        deviation=good["deviation"].values * _MM,
        influence=influence.values * part * _MM,
        aim=float(judged.attrs["aim"]) * _MM,
        limit=limit * _MM,
        most_up=_room(limit - floor, most, part),
        most_down=_room(limit + floor, most if lowering else 0.0, part),
        pairs=grid.neighbours,
        between=_between(where, most_between, part),
        most_nodes=most_nodes,
    )
    parts, bound, open_words = _search(program)
    turns = xr.DataArray(
        parts * rules.turn_fraction, dims="jack", coords={"jack": grid.jack.values}
    )
    predicted = program.deviation + program.influence @ parts
    size = np.abs(predicted)
    reached = np.select(
        [size <= program.aim + _ROUNDING, size <= program.limit + _ROUNDING],
        ["aim", "limit"],
        "outside",
    )
    total = int(np.abs(parts).sum())
    least = min(total, int(np.ceil(bound - 1e-6)))
    words = list(open_words)
    if least < total:
        words.append(
            f"{total * rules.turn_fraction:g} turns, no fewer than {least * rules.turn_fraction:g}"
        )
    first, second = grid.neighbours
    return xr.Dataset(
        {
            "turns": turns.assign_attrs(units="turns"),
            "movement": (turns * pitch).assign_attrs(units="m"),
            "floor_before": ("jack", floor, {"units": "m"}),
            "deviation": good["deviation"],
            "predicted": ("point", predicted / _MM, {"units": "m"}),
            "reached": ("point", reached),
        },
        attrs={
            "total_turns": total * rules.turn_fraction,
            "fewest_turns": least * rules.turn_fraction,
            "proof": "not proven: " + "; ".join(words)
            if words
            else "optimal: the bounds of the solver meet",
            "jacks_turned": int(np.count_nonzero(parts)),
            "passes": -(-int(np.abs(parts).max()) // within_pass),
            "most_between": float(np.abs(parts[first] - parts[second]).max(initial=0)) * part,
            "unmet": _unmet(good, predicted, program, lowering),
            "blunders": judged.attrs["blunders"],
            "pitch": pitch,
            "note": "the floor follows its four nearest jacks, bending and shift of load left out; "
            "survey again after each pass",
            "cautions": " ".join(CAUTIONS),
            "citations": citation_texts((INFLUENCE, JACK_PRACTICE, DERIVED)),
        },
    )


@checked
def correction_table(result: xr.Dataset) -> pd.DataFrame:
    """Jacks that are turned, one row each, from :func:`correction_schedule`.

    Parameters
    ----------
    result : Dataset
        From :func:`correction_schedule`.

    Returns
    -------
    pandas.DataFrame
        Jack, turns, direction, movement; the cautions, the points not met and the blunders stand
        in ``attrs``.

    Examples
    --------
    >>> schedule = xr.Dataset({"turns": ("jack", [0.0, 1.5]), "movement": ("jack", [0.0, 4.5e-3])},
    ...     coords={"jack": ["A1", "A2"]}, attrs={"cautions": "", "unmet": (), "blunders": ()})
    >>> correction_table(schedule).values.tolist()
    [['A2', 1.5, 'raise', 4.5]]
    """
    turned = result["turns"].values != 0
    turns = result["turns"].values[turned]
    frame = pd.DataFrame(
        {
            "jack": result["jack"].values[turned].astype(object),
            "turns": np.abs(turns),
            "direction": np.where(turns > 0, "raise", "lower").astype(object),
            "movement_mm": (result["movement"].values[turned] * _MM).round(3),
        }
    )
    frame.attrs.update({k: result.attrs[k] for k in ("cautions", "unmet", "blunders")})
    return frame


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


def _room(space: Array, most: float, part: float) -> Array:
    """Parts of turns until a jack meets the limit, none where it is beyond already."""
    return np.clip(np.floor(space / part + 1e-9), 0.0, most)


def _between(where: str, most_between: float | None, part: float) -> float:
    if most_between is None:
        return np.inf
    positive(where, "most_between", most_between, "m")
    return float(int(most_between / part + 1e-9))


def _search(program: _Program) -> tuple[Array, float, list[str]]:
    """Turns of each jack in parts, a bound on their sum, and what could not be proven."""
    found = program.solve("turns", excess=0.0, beyond=0.0)
    if found is not None:
        return program.parts(found[0]), found[1], []
    words = []
    first = program.solve("excess", excess=np.inf, beyond=np.inf)
    if first is None:
        raise CorrectionError(
            "correction_schedule: the solver contradicts itself; nothing is given"
        )
    excess, bound = program.totals(first[0])[0], first[1]
    if excess - bound > 1e-3:
        words.append(f"{excess:.3f} mm in sum beyond the limit, no less than {bound:.3f} mm")
    second = program.solve("beyond", excess=excess, beyond=np.inf)
    chosen = first[0] if second is None else second[0]
    beyond = program.totals(chosen)[1]
    if second is None or beyond - second[1] > 1 - 1e-6:
        words.append(f"{beyond:g} points beyond the aim, perhaps fewer")
    third = program.solve("turns", excess=excess, beyond=beyond)
    if third is None:
        return program.parts(chosen), 0.0, [*words, "the turns were not made fewest"]
    return program.parts(third[0]), third[1], words


def _unmet(
    good: xr.Dataset, predicted: Array, program: _Program, lowering: bool
) -> tuple[str, ...]:
    size = np.abs(predicted)
    names, x, y = good["point"].values, good["x"].values, good["y"].values
    found = []
    for i in np.flatnonzero(size > program.limit + _ROUNDING).tolist():
        high = predicted[i] > 0
        if high and not lowering:
            way = "it is too high, and jacks only lift: allow lowering, or raise the target"
        else:
            way = "more turns, more between neighbours, or a closer survey is needed"
        found.append(
            f"point {names[i]} at ({x[i]:g}, {y[i]:g}) m cannot be met: it stays {size[i]:.3g} mm "
            f"{'above' if high else 'below'} its target, the limit is {program.limit:g} mm; {way}"
        )
    return tuple(found)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Program:
    """Parts of turns up and down, excess over the limit, and points beyond the aim; in mm."""

    deviation: Array
    influence: Array
    aim: float
    limit: float
    most_up: Array
    most_down: Array
    pairs: tuple[Array, Array]
    between: float
    most_nodes: int

    @property
    def _largest(self) -> Array:
        """Most a point may be beyond the limit: as far as it was found."""
        return np.maximum(np.abs(self.deviation) - self.limit, 0.0)

    def parts(self, x: Array) -> Array:
        """Signed parts of turns of each jack."""
        jacks = self.influence.shape[1]
        return np.asarray(np.rint(x[:jacks] - x[jacks : 2 * jacks]).astype(int))

    def totals(self, x: Array) -> tuple[float, float]:
        """Sum beyond the limit [mm] and points beyond the aim."""
        size = np.abs(self.deviation + self.influence @ self.parts(x))
        excess = np.maximum(size - self.limit, 0.0)
        return float(excess.sum()), float((size > self.aim + _ROUNDING).sum())

    def solve(self, target: str, *, excess: float, beyond: float) -> tuple[Array, float] | None:
        """Least of the target with the other sums held, and the solver's bound; None if none."""
        from scipy import sparse
        from scipy.optimize import LinearConstraint

        points, jacks = self.influence.shape
        w = sparse.csr_array(self.influence)
        one, none = sparse.eye_array(points), sparse.csr_array((points, 2 * jacks))
        slack = sparse.diags_array(np.full(points, self.limit - self.aim))
        upper = sparse.hstack([w, -w, -one, -slack])
        lower = sparse.hstack([w, -w, one, slack])
        # Excess only at points that count as beyond the aim.
        tied = sparse.hstack([none, one, -sparse.diags_array(self._largest)])
        rows = [
            LinearConstraint(upper, -np.inf, self.aim - self.deviation),
            LinearConstraint(lower, -self.aim - self.deviation, np.inf),
            LinearConstraint(tied, -np.inf, 0.0),
        ]
        zeros = [np.zeros(2 * jacks), np.zeros(points), np.zeros(points)]
        sums = {
            "turns": np.concatenate([np.ones(2 * jacks), *zeros[1:]]),
            "excess": np.concatenate([zeros[0], np.ones(points), zeros[2]]),
            "beyond": np.concatenate([*zeros[:2], np.ones(points)]),
        }
        for name, most in (("excess", excess), ("beyond", beyond)):
            if np.isfinite(most):
                rows.append(LinearConstraint(sums[name][None, :], -np.inf, most + 1e-6))
        if np.isfinite(self.between):
            first, second = self.pairs
            across = sparse.coo_array(
                (
                    np.repeat([1.0, -1.0], first.size),
                    (np.tile(np.arange(first.size), 2), np.concatenate([first, second])),
                ),
                shape=(first.size, jacks),
            )
            blank = sparse.coo_array((first.size, 2 * points))
            rows.append(
                LinearConstraint(
                    sparse.hstack([across, -across, blank]), -self.between, self.between
                )
            )
        found = solve_program(
            sums[target],
            whole=np.concatenate([np.ones(2 * jacks), zeros[1], np.ones(points)]),
            lower=0.0,
            upper=np.concatenate(
                [
                    self.most_up,
                    self.most_down,
                    self._largest,
                    np.full(points, 1.0 if beyond > 0 else 0.0),
                ]
            ),
            constraints=rows,
            nodes=self.most_nodes,
        )
        if found.none:
            return None
        if found.x is None:
            raise CorrectionError(
                f"correction_schedule: the solver found nothing in {self.most_nodes} nodes; allow "
                "more (most_nodes)"
            )
        # All three sums are of nothing negative, whatever the solver knew when it stopped.
        return found.x, max(0.0, found.bound)
