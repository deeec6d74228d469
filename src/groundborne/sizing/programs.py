"""Mixed-integer programs with a limit on work instead of time: one answer on every machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]
_NONE, _UNBOUNDED = 2, 3


@dataclass(frozen=True, eq=False)
class Solved:
    """What a program came to.

    Parameters
    ----------
    x : numpy array or None
        The best found; None if nothing was.
    bound : float
        Nothing that the program allows is less.
    none : bool
        Whether it is proven that the program allows nothing.
    """

    x: Array | None
    bound: float
    none: bool


def solve_program(
    target: Array,
    *,
    whole: Array,
    lower: Array | float,
    upper: Array | float,
    constraints: Sequence[Any],
    nodes: int,
    gap: float = 0.0,
) -> Solved:
    """Least of a linear target, by HiGHS through scipy.

    Parameters
    ----------
    target : numpy array
        Coefficients.
    whole : numpy array
        1 where a variable is a whole number, else 0.
    lower, upper : numpy array or float
        Bounds of the variables.
    constraints : sequence of LinearConstraint
        What must hold.
    nodes : int
        Most nodes of the search tree. A limit of time would make the answer depend on the machine
        and on what else it does.
    gap : float
        Share by which the best found may be above the bound.

    Returns
    -------
    Solved
        The answer of one version of the solver is always the same.

    Examples
    --------
    >>> found = solve_program(np.array([-1.0]), whole=np.ones(1), lower=0.0, upper=2.5,
    ...                       constraints=[], nodes=10)
    >>> found.x.tolist(), found.bound
    ([2.0], -2.0)
    """
    from scipy.optimize import Bounds, milp

    found = milp(
        target,
        integrality=whole,
        bounds=Bounds(lower, upper),
        constraints=list(constraints),
        options={"node_limit": nodes, "mip_rel_gap": gap},
    )
    bound: Any = getattr(found, "mip_dual_bound", None)
    if found.status == _NONE or found.status == _UNBOUNDED:
        return Solved(None, np.inf, found.status == _NONE)
    x = None if found.x is None else np.asarray(found.x)
    return Solved(x, -np.inf if bound is None else float(bound), False)
