"""Searching packs: all combinations of parts, and the narrowest common band, by trying all.

Candidates are given flat: ``owner`` says which group of equal columns a candidate is for, ``value``
is its deflection, ``cost`` its number of parts. All arrays are numpy.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations as subsets
from math import comb
from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]

ROUNDING = 1e-12
_TIED_WINDOWS = 16
_MOST_SETS = 5000


@dataclass(frozen=True, eq=False)
class Choice:
    """One candidate for each owner.

    Parameters
    ----------
    chosen : numpy array of int
        Index of the candidate, by owner.
    spread : float
        Largest less smallest value of the chosen ones.
    bound : float
        No choice has a smaller spread than this.
    cost : float
        Total cost.
    cost_bound : float
        No choice within the allowed spread costs less than this.
    proof : str
        How the bounds are known.
    """

    chosen: Array
    spread: float
    bound: float
    cost: float
    cost_bound: float
    proof: str


def combinations(types: int, *, fewest: int, most: int, mixed: bool) -> Array:
    """Counts of every pack of one type, and if `mixed` of two.

    Parameters
    ----------
    types : int
        Number of types.
    fewest, most : int
        Number of parts of a pack.
    mixed : bool
        Whether two types may share a pack.

    Returns
    -------
    numpy array of int
        Shape (packs, types), each row with one or two entries above 0.

    Examples
    --------
    >>> combinations(2, fewest=2, most=2, mixed=True).tolist()
    [[2, 0], [0, 2], [1, 1]]
    """
    numbers = np.arange(fewest, most + 1)
    kind, number = (a.ravel() for a in np.meshgrid(np.arange(types), numbers, indexing="ij"))
    single = np.zeros((kind.size, types), dtype=np.int64)
    single[np.arange(kind.size), kind] = number
    if not mixed or types < 2 or most < 2:
        return single
    first, second = np.triu_indices(types, k=1)
    a, b = (g.ravel() for g in np.meshgrid(np.arange(1, most), np.arange(1, most), indexing="ij"))
    fits = (a + b >= fewest) & (a + b <= most)
    a, b = a[fits], b[fits]
    pair, share = (
        g.ravel() for g in np.meshgrid(np.arange(first.size), np.arange(a.size), indexing="ij")
    )
    double = np.zeros((pair.size, types), dtype=np.int64)
    rows = np.arange(pair.size)
    double[rows, first[pair]] = a[share]
    double[rows, second[pair]] = b[share]
    return np.concatenate([single, double])


def narrowest_bands(owner: Array, value: Array, owners: int) -> tuple[Array, Array]:
    """For every candidate as the lowest: where the band must end to hold all owners.

    Returns the lows in ascending order and the ends.
    """
    order = np.argsort(value, kind="stable")
    low = value[order]
    following = np.full((owners, low.size), np.inf)
    following[owner[order], np.arange(low.size)] = low
    following = np.minimum.accumulate(following[:, ::-1], axis=1)[:, ::-1]
    return low, following.max(axis=0)


def common_band(
    owner: Array,
    value: Array,
    cost: Array,
    *,
    weight: Array,
    resolution: float,
    width: float | None = None,
) -> Choice:
    """Narrowest band that holds a candidate of every owner, then the cheapest choice.

    Every band that could be narrowest begins at a candidate; all of them are tried, so that the
    result is the optimum and its own bound.

    Parameters
    ----------
    owner, value, cost : numpy array
        Candidates; every owner has at least one.
    weight : numpy array
        How many columns each owner stands for; its size is the number of owners.
    resolution : float
        How much wider than the narrowest the band may be for the sake of cost.
    width : float, optional
        How wide it may be instead, at least the narrowest.

    Returns
    -------
    Choice
        Optimal.

    Examples
    --------
    >>> owner, value = np.array([0, 0, 1, 1]), np.array([1.0, 2.0, 2.2, 5.0])
    >>> found = common_band(owner, value, np.ones(4), weight=np.ones(2), resolution=0.0)
    >>> found.chosen.tolist(), round(found.spread, 3)
    ([1, 2], 0.2)
    """
    low, high = narrowest_bands(owner, value, weight.size)
    narrowest = float((high - low).min())
    width = narrowest + resolution if width is None else width
    slack = ROUNDING * max(1.0, float(np.abs(value).max()))
    lows = np.unique(low[high - low <= width + slack])
    near = (value >= lows[0] - slack) & (value <= lows[-1] + width + slack)
    index = np.flatnonzero(near)
    total = window_costs(owner[index], value[index], cost[index], lows - slack, width + 2 * slack)
    total = total @ weight
    cheapest = float(total.min())
    tied = lows[total <= cheapest + ROUNDING * max(1.0, cheapest)][:_TIED_WINDOWS]
    choices = [_within(index, owner, value, cost, (a - slack, a + width + slack)) for a in tied]
    spreads = [float(np.ptp(value[c])) for c in choices]
    chosen = choices[int(np.argmin(spreads))]
    return Choice(
        chosen=chosen,
        spread=min(spreads),
        bound=narrowest,
        cost=cheapest,
        cost_bound=cheapest,
        proof="optimal: every band that could be narrowest was tried",
    )


def window_costs(owner: Array, value: Array, cost: Array, lows: Array, width: float) -> Array:
    """Least cost of every owner in windows of one width, shape (lows, owners).

    Least values of runs of 1, 2, 4, ... candidates make the least of any run the lesser of two.
    """
    owners = int(owner.max()) + 1
    origin = min(float(value.min()), float(lows.min()))
    stride = 2 * (float(value.max()) + width - origin) + 1e-6
    key = owner * stride + (value - origin)
    order = np.argsort(key, kind="stable")
    key, runs = key[order], [cost[order]]
    while 2 ** len(runs) <= key.size:
        half = 2 ** (len(runs) - 1)
        longer = runs[-1].copy()
        np.minimum(longer[:-half], runs[-1][half:], out=longer[:-half])
        runs.append(longer)
    table = np.stack(runs)
    begin = np.arange(owners) * stride + (lows[:, None] - origin)
    first = np.searchsorted(key, begin, side="left")
    length = np.searchsorted(key, begin + width, side="right") - first
    level = np.frexp(np.maximum(length, 1))[1] - 1
    safe = np.minimum(first, key.size - 1)
    tail = np.maximum(first + length - 2**level, 0)
    least = np.minimum(table[level, safe], table[level, tail])
    return np.where(length > 0, least, np.inf)


def _within(
    index: Array, owner: Array, value: Array, cost: Array, window: tuple[float, float]
) -> Array:
    """Cheapest candidate of every owner inside a window, as close together as they can be."""
    index = index[(value[index] >= window[0]) & (value[index] <= window[1])]
    owners = int(owner[index].max()) + 1
    least = np.full(owners, np.inf)
    np.minimum.at(least, owner[index], cost[index])
    index = index[cost[index] <= least[owner[index]] + ROUNDING]
    low, high = narrowest_bands(owner[index], value[index], owners)
    at = int(np.argmin(high - low))
    index = index[(value[index] >= low[at]) & (value[index] <= high[at])]
    away = np.abs(value[index] - 0.5 * (low[at] + high[at]))
    index = index[np.lexsort((away, owner[index]))]
    return index[np.searchsorted(owner[index], np.arange(owners))]


def thinned(owner: Array, value: Array, cost: Array, used: Array) -> Array:
    """Candidates that are not dominated: same owner, types and value, and fewer parts elsewhere.

    Parameters
    ----------
    owner, value, cost : numpy array
        Candidates.
    used : numpy array of bool
        Shape (candidates, types): which types each is made of.

    Returns
    -------
    numpy array of int
        Indices that stay, ascending.

    Examples
    --------
    >>> used = np.array([[True], [True], [True]])
    >>> thinned(np.zeros(3, int), np.array([1.0, 1.0, 2.0]), np.array([4, 3, 5]), used).tolist()
    [1, 2]
    """
    code = used @ (1 << np.arange(used.shape[1], dtype=np.int64))
    rounded = np.round(value / 1e-9).astype(np.int64)
    order = np.lexsort((cost, rounded, code, owner))
    keys = np.stack([owner[order], code[order], rounded[order]])
    first = np.ones(order.size, dtype=bool)
    first[1:] = (keys[:, 1:] != keys[:, :-1]).any(axis=0)
    return np.sort(order[first])


def typed_band(
    owner: Array,
    value: Array,
    cost: Array,
    *,
    weight: Array,
    counts: Array,
    resolution: float,
    most_types: int,
) -> Choice | None:
    """Narrowest band, then fewest parts, when the site may use a few types only.

    Every set of types is tried. A set may be as wide as the narrowest of all sets, or as the
    narrowest band without the limit and `resolution`, whichever is wider.

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
    most_types : int
        How many types the site may use.

    Returns
    -------
    Choice or None
        Optimal; None if no set of types serves every owner.
    """
    bits = 1 << np.arange(counts.shape[1], dtype=np.int64)
    code = (counts > 0) @ bits
    free = common_band(owner, value, cost, weight=weight, resolution=0.0)
    found: list[tuple[Array, float]] = []
    for chosen in subsets(range(counts.shape[1]), min(most_types, counts.shape[1])):
        inside = np.flatnonzero((code & ~bits[list(chosen)].sum()) == 0)
        if not np.bincount(owner[inside], minlength=weight.size).all():
            continue
        low, high = narrowest_bands(owner[inside], value[inside], weight.size)
        found.append((inside, float((high - low).min())))
    if not found:
        return None
    narrowest = min(spread for _, spread in found)
    width = max(narrowest, free.bound + resolution)
    best: tuple[float, float] | None = None
    for inside, spread in found:
        if spread > width + ROUNDING:
            continue
        o, v, c = owner[inside], value[inside], cost[inside]
        one = common_band(o, v, c, weight=weight, resolution=0.0, width=width)
        if best is None or (one.cost, one.spread) < best:
            best, choice, members = (one.cost, one.spread), one, inside
    return Choice(
        chosen=members[choice.chosen],
        spread=choice.spread,
        bound=narrowest,
        cost=choice.cost,
        cost_bound=choice.cost,
        proof=f"optimal: every set of {most_types} types was tried",
    )


def sets_are_few(types: int, most_types: int) -> bool:
    """Whether :func:`typed_band` can try every set of types in a moment."""
    return comb(types, min(types, most_types)) <= _MOST_SETS
