"""Columns of a site with what may stand under each, and the search for one pack under every one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import counted, known
from groundborne.sizing.loads.cases import in_service
from groundborne.sizing.packs.bench import Bench, surge_frequency
from groundborne.sizing.packs.components import Components
from groundborne.sizing.packs.program import UndecidedError, limited_choice
from groundborne.sizing.packs.rules import PackRules, at_most
from groundborne.sizing.packs.search import (
    Choice,
    combinations,
    common_band,
    sets_are_few,
    thinned,
    typed_band,
)

Array = np.ndarray[Any, Any]

_LEAST_RESOLUTION = 1e-4
"""Resolution where parts have no tolerance [m]."""


@dataclass(frozen=True, eq=False)
class Site:
    """Groups of equal columns against all packs.

    Parameters
    ----------
    bench : Bench
        Packs and groups.
    group : numpy array of int
        Group of each column.
    held : numpy array of int
        For each group the pack that stands there already, -1 where none does.
    kept : numpy array of bool
        Shape (rule, group, pack).
    good : numpy array of bool
        Shape (group, pack): every rule is kept, and the pack may stand there.
    """

    bench: Bench
    group: Array
    held: Array
    kept: Array
    good: Array

    @property
    def reachable(self) -> Array:
        """Which groups can be met."""
        found: Array = np.any(self.good, axis=1)
        return found


@dataclass(frozen=True, eq=False)
class Found:
    """What a search came to.

    Parameters
    ----------
    pack : numpy array of int
        Pack of each group that can be met, in their order.
    choice : Choice
        Its cost is the number of parts.
    resolution : float
        What the search was given beyond the narrowest band [m].
    """

    pack: Array
    choice: Choice
    resolution: float


def site_of(
    load: xr.DataArray, parts: Components, rules: PackRules, held: xr.DataArray | None
) -> Site:
    """Hold all packs against all groups of columns.

    Packs that stand already stay where they keep every rule, unless `most_spread` asks for less;
    they stand for their own columns only, whatever is asked of new ones.
    """
    if rules.surge_frequency is not None:
        bare = ~np.isfinite(surge_frequency(parts))
        if bare.any():
            name = parts.names[int(np.argmax(bare))]
            raise ValueError(
                f"PackRules: surge_frequency is given, and {name!r} has no own mass to surge with; "
                "give own_mass, or leave the rule out"
            )
    counts = combinations(len(parts.names), fewest=rules.fewest, most=rules.most, mixed=rules.mixed)
    if "height" in parts.data:
        counts = counts[_level(counts, parts, rules.height_difference)]
    standing = _standing(load, parts, held)
    there = standing.any(axis=1)
    ordered, inverse = np.unique(standing[there], axis=0, return_inverse=True)
    own = np.full(len(standing), -1)
    own[there] = inverse.ravel() + len(counts)
    free = len(counts)
    counts = np.concatenate([counts, ordered]) if held is not None else counts
    room, tied = _places(load, rules)
    features = np.concatenate([load.values.T, room, tied[:, None], own[:, None]], axis=1)
    if rules.stock is not None:
        # Equal columns may need different packs when parts run short.
        features = np.concatenate([features, np.arange(len(features))[:, None]], axis=1)
    _, first, group = np.unique(features, axis=0, return_index=True, return_inverse=True)
    cases = [str(c) for c in load["case"].values]
    bench = Bench(
        counts=counts,
        components=parts,
        load=load.values.T[first],
        cases=cases,
        service=in_service(cases),
        room=room[first],
        tied=tied[first],
        rules=rules,
    )
    kept, there = bench.kept(), own[first]
    good: Array = np.all(kept, axis=0)
    if held is not None:
        rows = np.flatnonzero(there >= 0)
        stays = good[rows, there[rows]]
        good[:, free:] = False
        good[rows, there[rows]] = stays
        if rules.most_spread is None:
            for row in rows[stays].tolist():
                good[row] = False
                good[row, there[row]] = True
    return Site(bench, group.ravel(), there, kept, good)


def _level(counts: Array, parts: Components, most: float) -> Array:
    """Whether the parts of each pack are nearly of one height."""
    height = parts.data["height"].values
    highest = np.where(counts > 0, height, -np.inf).max(axis=1)
    lowest = np.where(counts > 0, height, np.inf).min(axis=1)
    return at_most(highest, lowest + most)


def _standing(load: xr.DataArray, parts: Components, held: xr.DataArray | None) -> Array:
    """Parts that stand under each column already, shape (column, component)."""
    names = load["column"].values.tolist()
    found = np.zeros((len(names), len(parts.names)), dtype=np.int64)
    if held is None:
        return found
    if set(held.dims) != {"column", "component"}:
        raise ValueError(
            f"choose_packs: held has the dims {held.dims}; ('column', 'component') are needed, as "
            "in Packs.count"
        )
    held = held.transpose("column", "component")
    if not bool(((held >= 0) & (held == np.round(held))).all()):
        raise ValueError("choose_packs: held must be whole numbers of parts, 0 or more")
    used = held["component"].values[(held > 0).any("column").values].tolist()
    for name in used:
        known("choose_packs", "component of held", name, parts.names)
    gone = held["column"].values[(held > 0).any("component").values].tolist()
    gone = [str(c) for c in gone if c not in names]
    if gone:
        raise ValueError(
            f"choose_packs: held has packs for {', '.join(gone)}, which load does not hold; mend "
            "the names, or leave out of held what is ordered for columns that are gone"
        )
    to = [parts.names.index(n) for n in used]
    places = {c: i for i, c in enumerate(held["column"].values.tolist())}
    values = held.sel(component=used).values.astype(np.int64)
    for row, name in enumerate(names):
        if name in places:
            found[row, to] = values[places[name]]
    return found


def _places(load: xr.DataArray, rules: PackRules) -> tuple[Array, Array]:
    """Room in plan of each column [m], and whether a tie holds it down."""
    room = np.full((load.sizes["column"], 2), np.inf)
    names = load["column"].values.tolist()
    for axis, plan in enumerate((rules.plan_x, rules.plan_y)):
        if isinstance(plan, xr.DataArray) and plan.dims:
            for name in names:
                known("PackRules", "column of plan", name, plan["column"].values.tolist())
            room[:, axis] = plan.sel(column=load["column"]).values
        elif plan is not None:
            room[:, axis] = plan
    for name in rules.tied:
        known("PackRules", "column of tied", name, names)
    return room, np.isin(names, rules.tied)


def chance(counts: Array, parts: Components, deflection: Array) -> Array:
    """Standard deviation of the difference that chance makes between two equal packs [m].

    Parameters
    ----------
    counts : numpy array of int
        Shape (packs, component).
    parts : Components
        With ``stiffness_tolerance``; without it nothing scatters.
    deflection : numpy array
        Of each pack [m].
    """
    if "stiffness_tolerance" not in parts.data:
        return np.zeros(len(counts))
    stiffness = parts.data["static_stiffness"].values
    # Spread evenly within plus and minus the tolerance, each part by itself.
    variance = (stiffness * parts.data["stiffness_tolerance"].values) ** 2 / 3
    found: Array = deflection * np.sqrt(2 * (counts @ variance)) / (counts @ stiffness)
    return found


def search(site: Site, most_programs: int) -> Found:
    """Pack of every group that can be met: narrowest band, then fewest parts."""
    bench, rules, reachable = site.bench, site.bench.rules, site.reachable
    weight = np.bincount(site.group, minlength=reachable.size)[reachable].astype(float)
    owner, pack = np.nonzero(site.good[reachable])
    value = bench.found["deflection"][reachable][owner, pack]
    own = site.held[reachable][owner]
    # A change costs more than all parts together, so that the fewest columns change.
    change = float(rules.most * weight.sum() + 1) if rules.most_spread is not None else 0.0
    changed = (own >= 0) & (own != pack)
    cost = bench.found["number"][pack] + change * changed
    free = common_band(owner, value, cost, weight=weight, resolution=0.0)
    if rules.most_spread is not None:
        if not at_most(free.bound, rules.most_spread):
            raise ValueError(
                f"choose_packs: most_spread is {rules.most_spread * 1e3:g} mm, and no packs are "
                f"nearer than {free.bound * 1e3:.3f} mm; allow more"
            )
        resolution = max(0.0, rules.most_spread - free.bound)
    elif rules.resolution is not None:
        resolution = rules.resolution
    else:
        chosen = pack[free.chosen]
        each = chance(bench.counts[chosen], bench.components, value[free.chosen])
        resolution = max(_LEAST_RESOLUTION, float(weight @ each / weight.sum()))
    choice, stay = _limited(site, (owner, value, cost, pack), weight, resolution, most_programs)
    if rules.most_spread is not None and not at_most(choice.spread, rules.most_spread + 1e-9):
        raise ValueError(
            f"choose_packs: with {_asked(rules)} the narrowest spread found is "
            f"{choice.spread * 1e3:.3f} mm, above most_spread {rules.most_spread * 1e3:g} mm"
        )
    picked = stay[choice.chosen]
    changes = change * float(weight @ changed[picked])
    parts = replace(
        choice, cost=choice.cost - changes, cost_bound=max(0.0, choice.cost_bound - changes)
    )
    return Found(pack[picked], parts, resolution)


def _limited(
    site: Site,
    candidates: tuple[Array, Array, Array, Array],
    weight: Array,
    resolution: float,
    most_programs: int,
) -> tuple[Choice, Array]:
    """The choice within the limits of the site, and the candidates that it chose from."""
    owner, value, cost, pack = candidates
    bench, rules = site.bench, site.bench.rules
    if rules.most_types is None and rules.stock is None:
        choice = common_band(owner, value, cost, weight=weight, resolution=resolution)
        return choice, np.arange(owner.size)
    stock = None
    if rules.stock is not None:
        stock = _stock(rules.stock, bench.components.names)
        stay = np.arange(owner.size)
    else:
        stay = thinned(owner, value, cost, bench.counts[pack] > 0)
    few = rules.most_types is not None and sets_are_few(bench.counts.shape[1], rules.most_types)
    found: Choice | None
    given: dict[str, Any] = {
        "weight": weight,
        "counts": bench.counts[pack[stay]],
        "resolution": resolution,
    }
    if stock is None and few and rules.most_types is not None:
        found = typed_band(
            owner[stay], value[stay], cost[stay], most_types=rules.most_types, **given
        )
    else:
        try:
            found = limited_choice(
                owner[stay],
                value[stay],
                cost[stay],
                most_types=rules.most_types,
                stock=stock,
                most_programs=most_programs,
                **given,
            )
        except UndecidedError as error:
            raise ValueError(
                f"choose_packs: with {_asked(rules)}, {error}; allow more of them (most_programs) "
                "or more parts"
            ) from None
    if found is None:
        raise ValueError(
            f"choose_packs: with {_asked(rules)} no choice of packs meets the rules of all columns "
            "that can be met one by one; allow more"
        )
    return found, stay


def _asked(rules: PackRules) -> str:
    """Limits for the site in words."""
    types = f"{counted(rules.most_types, 'type')} on the site" if rules.most_types else ""
    return " and ".join(filter(None, (types, "the stock" if rules.stock is not None else "")))


def _stock(stock: xr.DataArray, names: list[str]) -> Array:
    for name in stock["component"].values.tolist():
        known("PackRules", "component of stock", name, names)
    return np.asarray(stock.reindex(component=names, fill_value=np.inf).values, dtype=float)
