"""Searching packs under limits for the whole site: mixed-integer programs, with what they prove.

Candidates are flat arrays as in the search of the common band.
"""

from __future__ import annotations

from time import monotonic
from typing import Any

import numpy as np

from groundborne.sizing.packs_search import Array, Choice, common_band

_MM = 1e3
"""The solver's tolerances are absolute; in millimetres they are a nanometre."""
_SOLVED = 1e-5
_LEAST_WIDTH = 1e-6
_ROUNDING = 1e-12


def limited_band(
    owner: Array,
    value: Array,
    cost: Array,
    *,
    weight: Array,
    counts: Array,
    resolution: float,
    most_types: int | None = None,
    stock: Array | None = None,
    time_limit: float = 10.0,
) -> Choice | None:
    """Narrowest band, then fewest parts, under limits that tie the columns of a site together.

    Two mixed-integer programs, solved by HiGHS through scipy: the spread first, then the cost with
    the spread held. A spread within `resolution` of the narrowest without limits is as good as it.

    Parameters
    ----------
    owner, value, cost : numpy array
        Candidates.
    weight : numpy array
        How many columns each owner stands for.
    counts : numpy array of int
        Shape (candidates, types): parts of each candidate.
    resolution : float
        How much wider than the narrowest the band may be for the sake of cost.
    most_types : int, optional
        How many types the site may use.
    stock : numpy array, optional
        How many parts there are of each type; infinite where there is no limit.
    time_limit : float
        For each of the two programs [s].

    Returns
    -------
    Choice or None
        With the bounds of the solver; None if no choice meets the limits.

    Raises
    ------
    RuntimeError
        The solver found no choice in time.
    """
    free = common_band(owner, value, cost, weight=weight, resolution=0.0)
    enough = (free.bound + resolution) * _MM
    program = _Program(owner, value * _MM, cost, weight, counts, most_types, stock)
    first = program.solve(spread=None, floor=enough, time_limit=time_limit)
    if first is None:
        return None
    chosen, least = first
    reached = max(float(np.ptp(value[chosen])) * _MM, enough)
    try:
        second = program.solve(spread=reached, floor=0.0, time_limit=time_limit)
    except RuntimeError:
        second = None
    cost_bound = 0.0
    if second is not None:
        chosen, cost_bound = second
    total = float((weight * cost[chosen]).sum())
    # The program cannot tell spreads below `enough` apart, and proves nothing about them.
    bound = least / _MM if least > enough + _SOLVED else free.bound
    spread_closed = reached - least <= _SOLVED
    cost_closed = total - cost_bound <= _SOLVED * max(1.0, total)
    words = []
    if not spread_closed:
        words.append(f"the spread is {reached:.3f} mm and no less than {bound * _MM:.3f} mm")
    if not cost_closed:
        words.append(f"the parts are {total:g} and no fewer than {np.ceil(cost_bound - 1e-6):g}")
    return Choice(
        chosen=chosen,
        spread=float(np.ptp(value[chosen])),
        bound=bound,
        cost=total,
        cost_bound=min(cost_bound, total),
        proof="not proven: " + "; ".join(words) if words else "optimal: the solver's bounds meet",
    )


def banded_choice(
    owner: Array,
    value: Array,
    cost: Array,
    *,
    weight: Array,
    counts: Array,
    resolution: float,
    most_types: int | None = None,
    stock: Array | None = None,
    time_limit: float = 10.0,
) -> Choice | None:
    """Fewest parts under limits for the site, in bands around the best one without limits.

    For sites too large for :func:`limited_band`: the band is widened until a choice is found, then
    narrowed between the last two; one program for each. What is left open is stated.

    Parameters
    ----------
    owner, value, cost : numpy array
        Candidates.
    weight : numpy array
        How many columns each owner stands for.
    counts : numpy array of int
        Shape (candidates, types): parts of each candidate.
    resolution : float
        How much wider than the narrowest without limits the band may be at no loss.
    most_types : int, optional
        How many types the site may use.
    stock : numpy array, optional
        How many parts there are of each type; infinite where there is no limit.
    time_limit : float
        For all programs together [s].

    Returns
    -------
    Choice or None
        With a bound on the spread from the band without limits; None if no choice meets the
        limits.

    Raises
    ------
    RuntimeError
        The solver found no choice in time.
    """
    end = monotonic() + time_limit
    free = common_band(owner, value, cost, weight=weight, resolution=0.0)
    middle = float(np.mean([value[free.chosen].min(), value[free.chosen].max()]))
    enough = free.bound + resolution
    whole = 2 * float(np.abs(value - middle).max()) * (1 + 1e-9)

    def attempt(width: float) -> tuple[Array, float] | None:
        near = np.flatnonzero(np.abs(value - middle) <= width / 2)
        if np.unique(owner[near]).size < weight.size:
            return None
        program = _Program(
            owner[near], value[near] * _MM, cost[near], weight, counts[near], most_types, stock
        )
        left = max(0.5, 0.5 * (end - monotonic()))
        found = program.solve(spread=width * _MM, floor=0.0, time_limit=left)
        return None if found is None else (near[found[0]], found[1])

    # From nothing no doubling would ever widen the band.
    fails, width = 0.0, max(enough * (1 + 1e-9), _LEAST_WIDTH)
    while (found := attempt(min(width, whole))) is None:
        if width >= whole:
            return None
        fails, width = width, 2 * width
    while fails > 0 and width - fails > max(resolution, 0.02 * width) and monotonic() < end:
        half = 0.5 * (fails + width)
        try:
            better = attempt(half)
        except RuntimeError:
            break
        if better is None:
            fails = half
        else:
            found, width = better, half
    chosen, cost_bound = found
    total = float((weight * cost[chosen]).sum())
    spread = float(np.ptp(value[chosen]))
    words = [f"the parts are {total:g} and no fewer than {np.ceil(cost_bound - 1e-6):g}"]
    words[0] += f" in a band of {width * _MM:.3f} mm around {middle * _MM:.2f} mm"
    if spread > enough + _ROUNDING:
        words.append(
            f"the spread is {spread * _MM:.3f} mm and no less than {free.bound * _MM:.3f} mm"
        )
    return Choice(
        chosen=chosen,
        spread=spread,
        bound=free.bound,
        cost=total,
        cost_bound=min(cost_bound, total),
        proof="not proven for all bands: " + "; ".join(words),
    )


class _Program:
    """Binary choices x, one for each owner; the band's ends; and which types are used."""

    def __init__(
        self,
        owner: Array,
        value: Array,
        cost: Array,
        weight: Array,
        counts: Array,
        most_types: int | None,
        stock: Array | None,
    ) -> None:
        from scipy import sparse

        m, owners, types = owner.size, weight.size, counts.shape[1]
        self.m, self.types = m, types
        self.cost = weight[owner] * cost
        self.value = value
        self.owner = owner
        one = sparse.coo_array((np.ones(m), (owner, np.arange(m))), shape=(owners, m))
        values = sparse.coo_array((value, (owner, np.arange(m))), shape=(owners, m))
        column = sparse.coo_array(np.ones((owners, 1)))
        none = sparse.coo_array((owners, 1))
        idle = sparse.coo_array((owners, types))
        # Columns: x, low, high, y.
        self.rows: list[tuple[Any, Any, Any]] = [
            (sparse.hstack([one, none, none, idle]), 1.0, 1.0),
            (sparse.hstack([values, -column, none, idle]), 0.0, np.inf),
            (sparse.hstack([-values, none, column, idle]), 0.0, np.inf),
        ]
        if most_types is not None:
            row, kind = np.nonzero(counts)
            place = owner[row] * types + kind
            uses = sparse.coo_array((np.ones(row.size), (place, row)), shape=(owners * types, m))
            gate = sparse.kron(np.ones((owners, 1)), sparse.eye_array(types))
            blank = sparse.coo_array((owners * types, 2))
            self.rows.append((sparse.hstack([-uses, blank, gate]), 0.0, np.inf))
            total = np.concatenate([np.zeros(m + 2), np.ones(types)])[None, :]
            self.rows.append((sparse.coo_array(total), 0.0, float(most_types)))
        if stock is not None:
            parts = sparse.coo_array((weight[owner][:, None] * counts).T.astype(float))
            blank = sparse.coo_array((types, 2 + types))
            self.rows.append((sparse.hstack([parts, blank]), -np.inf, stock))

    def solve(
        self, *, spread: float | None, floor: float, time_limit: float
    ) -> tuple[Array, float] | None:
        """Least spread, or least cost within a spread; the choice and the bound."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        size = self.m + 2 + self.types
        ends = np.zeros((1, size))
        ends[0, self.m : self.m + 2] = -1.0, 1.0
        target = ends[0] if spread is None else np.concatenate(
            [self.cost, np.zeros(2 + self.types)]
        )  # fmt: skip
        # Rounding in the solver must not shut out the choice the band was taken from.
        most = np.inf if spread is None else spread + 1e-6
        rows = [LinearConstraint(a, low, high) for a, low, high in self.rows]
        rows.append(LinearConstraint(ends, floor, most))
        lower, upper = np.zeros(size), np.ones(size)
        # The band may reach beyond all values, or a floor wider than they are could not be met.
        lower[self.m : self.m + 2] = self.value.min() - floor
        upper[self.m : self.m + 2] = self.value.max() + floor
        whole = np.ones(size)
        whole[self.m : self.m + 2] = 0
        found = milp(
            target,
            integrality=whole,
            bounds=Bounds(lower, upper),
            constraints=rows,
            options={"time_limit": time_limit, "mip_rel_gap": 0.0},
        )
        if found.status == 2:
            return None
        if found.x is None:
            raise RuntimeError(f"packs: the solver found no choice in {time_limit:g} s")
        picked = np.flatnonzero(found.x[: self.m] > 0.5)
        return picked[np.argsort(self.owner[picked])], float(found.mip_dual_bound)
