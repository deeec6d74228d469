"""Why a point of a floor cannot be brought within its limit: what binds, and what would do."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne.sizing.correction.rows import ROUNDING
from groundborne.sizing.correction.whole_turns import Program

Array = np.ndarray[Any, Any]

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
