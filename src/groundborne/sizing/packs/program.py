"""Searching packs under limits for the whole site: all bands, each a mixed-integer program.

Candidates are flat arrays as in the search of the common band. With a band given, what is left to
choose is one candidate in it for each owner, within the stock and the types: a program that the
solver answers in milliseconds. How many are solved is limited, and what is left open is stated.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from groundborne.sizing.packs.search import (
    ROUNDING,
    Array,
    Choice,
    common_band,
    narrowest_bands,
    window_costs,
)
from groundborne.sizing.programs import solve_program

_MM = 1e3
_FINE = 1e-9
"""No narrower band is sought for the sake of less than that [m]."""
_LEAST_WIDTH = 1e-6
_CHEAPER = 1e-6
_NODES = 500
_TRIED = 8
"""Bands of one width that are tried before wider ones are."""


class UndecidedError(ValueError):
    """Neither was a choice found, nor was it proven that there is none."""


def limited_choice(
    owner: Array,
    value: Array,
    cost: Array,
    *,
    weight: Array,
    counts: Array,
    resolution: float,
    most_types: int | None = None,
    stock: Array | None = None,
    most_programs: int = 500,
) -> Choice | None:
    """Narrowest band, then fewest parts, under limits that tie the columns of a site together.

    Where the best choice without limits keeps them, it is the answer. Else every band that could
    be the narrowest is tried, then every band of that width for the fewest parts. A spread within
    `resolution` of the narrowest without limits is as good as it.

    Parameters
    ----------
    owner, value, cost : numpy array
        Candidates; every owner has at least one.
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
    most_programs : int
        Most programs that are solved for the narrowest band, and again for the fewest parts.

    Returns
    -------
    Choice or None
        With bounds on spread and cost; None if no choice meets the limits.

    Raises
    ------
    UndecidedError
        The programs were too few to find a choice, or to prove that there is none.
    """
    free = common_band(owner, value, cost, weight=weight, resolution=resolution)
    site = _Site(owner, value, cost, weight, counts, most_types, stock)
    if site.keeps(free.chosen):
        return replace(free, proof=f"{free.proof}; the limits of the site leave it as it is")
    narrow = _narrowest(site, free.bound, free.bound + resolution, most_programs)
    if narrow is None:
        return None
    chosen, bound = narrow
    width = max(float(np.ptp(value[chosen])), free.bound + resolution)
    chosen, cost_bound = _cheapest(site, chosen, width, _Work(most_programs))
    total, spread = site.total(chosen), float(np.ptp(value[chosen]))
    words = []
    if width - max(bound, free.bound + resolution) > 2 * _FINE:
        words.append(f"the spread is {spread * _MM:.3f} mm and no less than {bound * _MM:.3f} mm")
    if total - cost_bound > _CHEAPER:
        words.append(f"the parts are {total:g} and no fewer than {np.ceil(cost_bound - 1e-6):g}")
    return Choice(
        chosen=chosen,
        spread=spread,
        bound=bound,
        cost=total,
        cost_bound=min(cost_bound, total),
        proof=f"not proven within {most_programs} programs: {'; '.join(words)}"
        if words
        else "optimal: every band that could be narrowest was tried, with the limits of the site",
    )


@dataclass
class _Work:
    """How many programs may still be solved."""

    left: int

    def take(self) -> bool:
        """Whether there is one left."""
        self.left -= 1
        return self.left >= 0


@dataclass(frozen=True, eq=False)
class _Band:
    """What a band holds: a choice, or proof that there is none, or neither; and the least cost."""

    chosen: Array | None
    none: bool
    bound: float


@dataclass(frozen=True, eq=False)
class _Site:
    """Candidates with the limits of the site."""

    owner: Array
    value: Array
    cost: Array
    weight: Array
    counts: Array
    most_types: int | None
    stock: Array | None
    slack: float = field(init=False)

    def __post_init__(self) -> None:
        slack = ROUNDING * max(1.0, float(np.abs(self.value).max()))
        object.__setattr__(self, "slack", slack)

    def keeps(self, chosen: Array) -> bool:
        """Whether a choice is within stock and types."""
        used = self.weight @ self.counts[chosen]
        if self.most_types is not None and int((used > 0).sum()) > self.most_types:
            return False
        return self.stock is None or bool((used <= self.stock + _CHEAPER).all())

    def total(self, chosen: Array) -> float:
        """Cost of a choice."""
        return float((self.weight * self.cost[chosen]).sum())

    def band(self, low: float, width: float, *, below: float | None = None) -> _Band:
        """Any choice in a band, or the cheapest one below a cost."""
        from scipy import sparse
        from scipy.optimize import LinearConstraint

        within = (self.value >= low - self.slack) & (self.value <= low + width + self.slack)
        index = np.flatnonzero(within)
        owner, counts = self.owner[index], self.counts[index]
        m, owners = index.size, self.weight.size
        if np.unique(owner).size < owners:
            return _Band(None, True, np.inf)
        types = counts.shape[1] if self.most_types is not None else 0
        size = m + types
        price = np.concatenate([self.weight[owner] * self.cost[index], np.zeros(types)])
        # Columns: which candidate; which types are used at all.
        one = sparse.coo_array((np.ones(m), (owner, np.arange(m))), shape=(owners, size))
        rows = [LinearConstraint(one, 1.0, 1.0)]
        if self.stock is not None:
            scarce = np.flatnonzero(np.isfinite(self.stock))
            parts = np.zeros((scarce.size, size))
            parts[:, :m] = (self.weight[owner][:, None] * counts[:, scarce]).T
            rows.append(LinearConstraint(sparse.coo_array(parts), -np.inf, self.stock[scarce]))
        if self.most_types is not None:
            row, kind = np.nonzero(counts)
            place = owner[row] * types + kind
            uses = sparse.coo_array((np.ones(row.size), (place, row)), shape=(owners * types, m))
            gate = sparse.kron(np.ones((owners, 1)), sparse.eye_array(types))
            rows.append(LinearConstraint(sparse.hstack([-uses, gate]), 0.0, np.inf))
            few = np.concatenate([np.zeros(m), np.ones(types)])[None, :]
            rows.append(LinearConstraint(few, 0.0, float(self.most_types)))
        if below is not None:
            rows.append(LinearConstraint(price[None, :], -np.inf, below - _CHEAPER))
        found = solve_program(
            np.zeros(size) if below is None else price,
            whole=np.ones(size),
            lower=0.0,
            upper=1.0,
            constraints=rows,
            nodes=_NODES,
            gap=0.0,
        )
        if found.x is None:
            return _Band(None, found.none, found.bound)
        picked = np.flatnonzero(found.x[:m] > 0.5)
        return _Band(index[picked[np.argsort(owner[picked])]], False, found.bound)


def _narrowest(
    site: _Site, least: float, enough: float, most_programs: int
) -> tuple[Array, float] | None:
    """Choice in the narrowest band, or one that is narrow enough, and the bound of the spread."""
    work = _Work(most_programs)
    low, high = narrowest_bands(site.owner, site.value, site.weight.size)
    # Bands that can be narrow first: they leave the most to choose from.
    order = np.lexsort((low, high - low))
    bands = (low[order], (high - low)[order])
    found = None
    for start, width, last in _ever_wider(site, bands, enough, most_programs // 2):
        if not work.take():
            break
        band = site.band(start, width)
        if band.none and last:
            return None
        if band.chosen is not None:
            found = band.chosen
            break
    if found is None:
        raise UndecidedError(
            f"{most_programs} programs found no choice, and no proof that there is none"
        )
    if float(np.ptp(site.value[found])) <= enough + site.slack:
        return found, least
    return _narrowed(site, found, bands, least, work)


def _ever_wider(
    site: _Site, bands: tuple[Array, Array], enough: float, most: int
) -> Iterator[tuple[float, float, bool]]:
    """Bands to look for a first choice in: low, width, and whether it is all there is.

    All that are narrow enough, then a few of each double width, at last the whole.
    """
    low, reach = bands
    width, first, whole = enough, True, float(np.ptp(site.value))
    while width < whole:
        fits = int(np.searchsorted(reach, width + site.slack, side="right"))
        for start in low[: min(fits, most if first else _TRIED)].tolist():
            yield start, width, False
        width, first = max(2 * width, _LEAST_WIDTH), False
    yield float(site.value.min()), whole, True


def _narrowed(
    site: _Site, found: Array, bands: tuple[Array, Array], least: float, work: _Work
) -> tuple[Array, float]:
    """Narrower and narrower bands until none is left that could be narrower still."""
    closed = True
    best = float(np.ptp(site.value[found]))
    for low, reach in zip(*bands, strict=True):
        if reach >= best - _FINE:
            break  # nor can those to come be narrower
        inside = (site.value >= low + reach - site.slack) & (site.value < low + best - _FINE)
        ends = np.unique(site.value[inside])
        fails, at = -1, ends.size - 1
        while at > fails:
            if not work.take():
                return found, least
            band = site.band(float(low), float(ends[at] - low))
            if band.chosen is None:
                closed &= band.none
                fails = at
            else:
                found = band.chosen
                best = float(np.ptp(site.value[found]))
            # First just below the best, which settles most bands; once that is beaten, by halves.
            top = int(np.searchsorted(ends, low + best - _FINE)) - 1
            at = (fails + 1 + top) // 2 if top > fails else fails
    return found, best if closed else least


def _cheapest(site: _Site, found: Array, width: float, work: _Work) -> tuple[Array, float]:
    """Fewest parts in any band of a width, those first that could have the fewest; the bound."""
    low, high = narrowest_bands(site.owner, site.value, site.weight.size)
    lows = np.unique(low[high - low <= width + site.slack])
    near = (site.value >= lows[0] - site.slack) & (site.value <= lows[-1] + width + site.slack)
    least = (
        window_costs(
            site.owner[near],
            site.value[near],
            site.cost[near],
            lows - site.slack,
            width + 2 * site.slack,
        )
        @ site.weight
    )
    best, bound = site.total(found), np.inf
    for at in np.lexsort((lows, least)).tolist():
        if least[at] >= best - _CHEAPER:
            break
        if not work.take():
            bound = min(bound, float(least[at]))
            break
        band = site.band(float(lows[at]), width, below=best)
        if band.chosen is not None:
            found, best = band.chosen, site.total(band.chosen)
        if not band.none and (band.chosen is None or band.bound < best - _CHEAPER):
            bound = min(bound, max(band.bound, float(least[at])))
    return found, min(bound, best)
