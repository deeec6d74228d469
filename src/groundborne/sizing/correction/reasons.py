"""Why a point of a floor cannot be brought within its limit: what binds, and what would do."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne.sizing.correction.rows import ROUNDING
from groundborne.sizing.correction.whole_turns import Program

Array = np.ndarray[Any, Any]

MIDWAY = "midway"
"""Rigidity whose logarithm lies midway between those of the bounds."""
_MOST_NAMED = 4
_TOLD = 0.005
"""What a reserve costs a point is told from this on [mm]."""


def reason(program: Program, point: int) -> tuple[float, tuple[str, ...]]:
    """Least deviation that one point can be brought to [mm], and the limits that then bind.

    Parameters
    ----------
    program : Program
        With limits of loads, moments and turns.
    point : int
        Number of the point; the others may go to the limit, or stay as far out as they are.

    Notes
    -----
    The multipliers of the linear program tell which limits bind: those that would let the point
    come nearer if they were wider, the strongest first.
    """
    from scipy.optimize import linprog

    others = np.maximum(program.limit, np.abs(program.deviation))
    others[point] = np.inf
    held = [program.points(others), *program.held]
    jacks = program.most_up.size
    effect = np.vstack([r.effect for r in held])
    low = np.concatenate([r.low - r.before for r in held])
    high = np.concatenate([r.high - r.before for r in held])
    names = [
        *[f"the limit of point #{k}#" for k in range(others.size)] * program.rise.shape[0],
        *[w for r in program.held for w in r.words],
    ]
    own = program.rise[:, point]
    # One more unknown: how far the point is off at the worse bound.
    rows = [
        np.hstack([own, -own, -np.ones((own.shape[0], 1))]),
        np.hstack([-own, own, -np.ones((own.shape[0], 1))]),
    ]
    right = [np.full(own.shape[0], -program.deviation[point]),
             np.full(own.shape[0], program.deviation[point])]  # fmt: skip
    said: list[str] = [""] * (2 * own.shape[0])
    for sign, limit, way in ((1.0, high, "greatest"), (-1.0, low, "least")):
        use = np.flatnonzero(np.isfinite(limit))
        rows.append(np.hstack([sign * effect[use], -sign * effect[use], np.zeros((use.size, 1))]))
        right.append(sign * limit[use])
        said += [names[k].replace("{}", way) for k in use.tolist()]
    found: Any = linprog(
        np.append(np.zeros(2 * jacks), 1.0),
        A_ub=np.vstack(rows),
        b_ub=np.concatenate(right),
        bounds=[*((0.0, float(m)) for m in (*program.most_up, *program.most_down)), (0.0, None)],
        method="highs",
    )
    if found.status != 0:
        return float(np.abs(program.deviation[point])), ("the solver, which found no answer",)
    force = np.abs(found.ineqlin.marginals)
    binding = {text: float(f) for text, f in zip(said, force, strict=True) if text and f > 1e-7}
    turns = np.abs(found.upper.marginals[: 2 * jacks])
    if (turns > 1e-7).any():
        if (turns * (np.append(program.most_up, program.most_down) > 0) > 1e-7).any():
            binding["the turns allowed"] = float(turns.max())
        down = turns[jacks:]
        if (down[program.most_down == 0] > 1e-7).any():
            binding["that jacks only lift"] = float(down.max())
    strongest = sorted(binding, key=lambda text: (-round(binding[text], 7), text))
    return float(found.x[-1]), tuple(strongest[:_MOST_NAMED])


def unmet_points(
    good: xr.Dataset, program: Program, parts: Array, *, kept: Program, reserve: float
) -> tuple[str, ...]:
    """A sentence on each point that stays beyond the limit: how far, what binds, what would do.

    `program` holds the limits as they are, `kept` those narrowed by the `reserve` (may be 0) under
    which the turns were chosen. What a point could come to is that of the limits as they are.
    """
    predicted = program.predicted(parts)
    size = np.abs(predicted).max(axis=0)
    names, x, y = good["point"].values, good["x"].values, good["y"].values
    found = []
    for i in np.flatnonzero(size > program.limit + ROUNDING).tolist():
        worse = predicted[np.abs(predicted[:, i]).argmax(), i]
        near, binding = reason(program, i)
        narrowed = reason(kept, i)[0] if reserve else near
        named = ", ".join(binding) or "no limit of this list"
        number = program.deviation.size
        for k in range(number):
            named = named.replace(f"the limit of point #{k}#", f"the limit of point {names[k]}")
        if near > program.limit:
            way = f"alone it could come to {near:.3g} mm, which is the tolerance it needs"
        elif narrowed > program.limit:
            way = (
                "alone, with parts of any size and without the reserve for the way there, it "
                f"would come to {near:.3g} mm"
            )
        else:
            way = (
                f"alone, with parts of any size, it would come to {near:.3g} mm, and no whole "
                "parts that do were found, which does not prove that there are none"
            )
        if narrowed > near + _TOLD:
            way += (
                f" ({narrowed:.3g} mm with {reserve:g} of the range of loads and moments kept for "
                "the way there)"
            )
        found.append(
            f"point {names[i]} at ({x[i]:g}, {y[i]:g}) m cannot be met: it stays {size[i]:.3g} mm "
            f"{'above' if worse > 0 else 'below'} its target, the limit is {program.limit:g} mm; "
            f"{way}; what binds: {named}"
        )
    return tuple(found)


def loads_outside(result: xr.Dataset, least: Array, most: Array) -> tuple[str, ...]:
    """Sentences on mounts whose load is beyond its limit before any turn; the first on all of them.

    Parameters
    ----------
    result : Dataset
        ``turns``, and ``load_before`` and ``load`` at both bounds.
    least, most : array
        Between which the load on each mount should be [N].
    """

    def beyond(load: Array) -> Array:
        return np.asarray(np.maximum(load - most * (1 + ROUNDING), least * (1 - ROUNDING) - load))

    bounds = result["bound"].values[:2]
    before, after = (result[n].values[:2] for n in ("load_before", "load"))
    off, then = beyond(before), beyond(after)
    names = result["jack"].values
    mounts = np.flatnonzero((off > 0).any(axis=0) | (then > 0).any(axis=0)).tolist()
    if not mounts:
        return ()
    each = []
    for at in mounts:
        worse = int(np.argmax(then[:, at] if (then[:, at] > 0).any() else off[:, at]))
        ends = f"{least[at] / 1e3:.3g} to {most[at] / 1e3:.3g} kN"
        each.append(
            f"mount {names[at]} carries {before[worse, at] / 1e3:.3g} kN before and "
            f"{after[worse, at] / 1e3:.3g} kN after, allowed are {ends} ({bounds[worse]})"
        )
    count = f"{len(mounts)} of {names.size} mounts {'are' if len(mounts) > 1 else 'is'}"
    if not result["turns"].values.any():
        first = f"no jack is turned, and as the floor stands {count} beyond the loads allowed"
    else:
        left = int((then > 0).any(axis=0).sum())
        first = f"{count} beyond the loads allowed before any turn, {left or 'none'} of them after"
    return (f"{first}; the engineer decides before anything is jacked", *each)


def between_bounds(
    result: xr.Dataset, limit: float, least: Array, most: Array, *, loads_kept: bool
) -> str:
    """Whether what holds at both bounds holds between them.

    Parameters
    ----------
    result : Dataset
        Levels [m] and loads [N], before and after.
    limit : float
        Of the levels [m].
    least, most : array
        Of the loads [N].
    loads_kept : bool
        Whether all loads are within their limits at both bounds.
    """
    one = result.sel(bound=MIDWAY)
    load = one["load"].values
    at_bounds = np.abs(result["predicted"].values[:2]).max(axis=0)
    out = np.abs(one["predicted"].values) > np.maximum(limit, at_bounds) * (1 + 1e-6)
    before = result["load_before"].values[2]
    over = (load < np.minimum(least, before) * (1 - 1e-3)) | (
        load > np.maximum(most, before) * (1 + 1e-3)
    )
    names = [*result["point"].values[out], *(f"mount {n}" for n in result["jack"].values[over])]
    if names:
        return f"between the bounds not kept: {', '.join(map(str, names))}"
    if loads_kept and (at_bounds <= limit * (1 + 1e-6)).all():
        return "between the bounds all limits hold as well"
    return (
        "not all limits hold; between the bounds nothing is further beyond them than at the bounds"
    )
