"""One pack under every column, so that the whole site goes down by the same amount."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known, within
from groundborne.sizing.components import Components
from groundborne.sizing.loads import check_load, in_service
from groundborne.sizing.pack_bench import Bench
from groundborne.sizing.pack_rules import RULES, PackRules, at_most, pack_text
from groundborne.sizing.packs_program import UndecidedError, limited_choice
from groundborne.sizing.packs_search import (
    Choice,
    combinations,
    common_band,
    sets_are_few,
    thinned,
    typed_band,
)

Array = np.ndarray[Any, Any]


@checked(own_labels=["rules"])  # a stock names the types that are scarce
@dataclass(frozen=True, kw_only=True, eq=False)
class Packs:
    """Packs of a site, with what is known about their being the best.

    Parameters
    ----------
    count : DataArray of int
        Parts, dims (column, component).
    met : DataArray of bool
        Whether the pack of a column keeps every rule; where not, it is the nearest there is.
    why : mapping of str to str
        For each column that cannot be met, the rules that stand against it.
    load : DataArray
        Combined loads [N], dims (case, column).
    components : Components
        The parts that were to choose from, of one kind.
    rules : PackRules
        What was asked.
    spread : float
        Largest less smallest deflection of the columns that are met [m].
    spread_bound : float
        No choice of packs has a smaller spread [m].
    parts : int
        Number of parts under the columns that are met.
    parts_bound : float
        No choice within the spread and resolution has fewer.
    proof : str
        How the bounds are known, in words.
    edges : tuple of str
        Columns at the two ends of the common band.
    """

    count: xr.DataArray
    met: xr.DataArray
    why: Mapping[str, str]
    load: xr.DataArray
    components: Components
    rules: PackRules
    spread: float
    spread_bound: float
    parts: int
    parts_bound: float
    proof: str
    edges: tuple[str, ...]

    @property
    def is_met(self) -> bool:
        """Whether every column is met."""
        return not self.why

    @property
    def gap(self) -> float:
        """How far the spread may be from the best, beyond the resolution [m]."""
        return max(0.0, self.spread - self.rules.resolution - self.spread_bound)

    @property
    def deflection(self) -> xr.DataArray:
        """Static deflection under the quasi-permanent load [m], on ``column``."""
        stiffness = self.count @ self.components.data["static_stiffness"]
        found: xr.DataArray = self.load.sel(case="quasi-permanent", drop=True) / stiffness
        return found.assign_attrs(units="m")


@checked
def choose_packs(
    load: xr.DataArray, components: Components, *, rules: PackRules, most_programs: int = 500
) -> Packs:
    """Choose a pack for every column: least spread of deflection, then fewest parts.

    Parameters
    ----------
    load : DataArray
        Combined loads [N], dims (case, column), with the case ``quasi-permanent``; the case
        ``removal`` of :meth:`Removal.add_to <groundborne.sizing.Removal.add_to>` may be among
        them.
    components : Components
        Parts to choose from.
    rules : PackRules
        What every pack must keep, and limits for the site.
    most_programs : int
        Where the site has limits: how many programs of some milliseconds are solved for the
        narrowest band, and again for the fewest parts. What they leave open stands in ``proof``.

    Returns
    -------
    Packs
        A pack for every column. Columns that cannot be met are not dropped: they get the nearest
        pack, ``met`` is false, and ``why`` names the rules against them. They do not widen the
        common band of the others.

    Raises
    ------
    ValueError
        Loads or parts are unfit, the site limits cannot be met by any choice, or the programs were
        too few to find one.

    Notes
    -----
    All packs of one or two types are made for every group of equal columns and held against the
    rules. Without limits for the site, every band that could be the narrowest is tried; with a
    limit on types, for every set of types; with a stock, a mixed-integer program is solved for each
    band, and ``proof`` states what is left open. Nothing depends on time: the same input gives the
    same packs, with one version of the solver. Where the best choice without limits for the site
    keeps them, it is the choice. Parts of a pack share one deflection, at their static
    stiffness; tilt of a pack by an uneven layout is not in it.

    References
    ----------
    Worked out from the stated rules [derived].

    Examples
    --------
    >>> import xarray as xr
    >>> part = {n: ("component", [v]) for n, v in dict(
    ...     kind="spring", static_stiffness=1e6, dynamic_stiffness=1e6, least_load=5e3,
    ...     rated_load=3e4, largest_load=6e4, largest_deflection=0.06, plan_x=0.2,
    ...     plan_y=0.2).items()}
    >>> springs = Components(data=xr.Dataset(part, coords={"component": ["S1"]}))
    >>> load = xr.DataArray([[2.5e5, 5e5]], attrs={"units": "N"},
    ...     coords={"case": ["quasi-permanent"], "column": ["A", "B"]}, dims=("case", "column"))
    >>> found = choose_packs(load, springs, rules=PackRules(deflection=(0.024, 0.026)))
    >>> found.count.values.ravel().tolist(), round(found.spread * 1e3, 6)
    ([10, 20], 0.0)
    """
    load = check_load("choose_packs", load)
    within("choose_packs", "most_programs", most_programs, 1, 10**6, "programs")
    parts = components.of(rules.kind)
    counts = combinations(len(parts.names), fewest=rules.fewest, most=rules.most, mixed=rules.mixed)
    if "height" in parts.data:
        counts = counts[_level(counts, parts, rules.height_difference)]
    bench, group = _bench(load, parts, counts, rules)
    kept = bench.kept()
    good: Array = np.all(kept, axis=0)
    reachable: Array = np.any(good, axis=1)
    pack = np.zeros(reachable.size, dtype=np.int64)
    choice: Choice | None = None
    if reachable.any():
        weight = np.bincount(group, minlength=reachable.size)[reachable].astype(float)
        pack[reachable], choice = _search(bench, good[reachable], reachable, weight, most_programs)
    middle = _middle(bench, pack, reachable, rules)
    pairs = [(g, bench.nearest(g, kept[:, g], middle)) for g in np.flatnonzero(~reachable).tolist()]
    for g, nearest in pairs:
        pack[g] = nearest
    words = {g: _why(bench, kept[:, g], g, p, middle) for g, p in pairs}
    names = load["column"].values
    unmet = np.flatnonzero(~reachable[group]).tolist()
    defl = bench.found["deflection"][np.arange(pack.size), pack]
    return Packs(
        count=xr.DataArray(
            counts[pack[group]],
            coords={"column": names, "component": parts.names},
            dims=("column", "component"),
        ),
        met=xr.DataArray(reachable[group], coords={"column": names}, dims="column"),
        why={str(names[i]): words[int(group[i])].format(column=names[i]) for i in unmet},
        load=load,
        components=parts,
        rules=rules,
        spread=choice.spread if choice else 0.0,
        spread_bound=choice.bound if choice else 0.0,
        parts=round(choice.cost) if choice else 0,
        parts_bound=choice.cost_bound if choice else 0.0,
        proof=choice.proof if choice else "no column can be met",
        edges=_edges(names, defl[group], reachable[group]),
    )


def _level(counts: Array, parts: Components, most: float) -> Array:
    """Whether the parts of each pack are nearly of one height."""
    height = parts.data["height"].values
    highest = np.where(counts > 0, height, -np.inf).max(axis=1)
    lowest = np.where(counts > 0, height, np.inf).min(axis=1)
    return at_most(highest, lowest + most)


def _bench(
    load: xr.DataArray, parts: Components, counts: Array, rules: PackRules
) -> tuple[Bench, Array]:
    """Groups of columns with the same loads and room, and the group of each column."""
    cases = [str(c) for c in load["case"].values]
    room = np.full((load.sizes["column"], 2), np.inf)
    for axis, plan in enumerate((rules.plan_x, rules.plan_y)):
        if isinstance(plan, xr.DataArray) and plan.dims:
            for name in load["column"].values.tolist():
                known("PackRules", "column of plan", name, plan["column"].values.tolist())
            room[:, axis] = plan.sel(column=load["column"]).values
        elif plan is not None:
            room[:, axis] = plan
    names = [str(c) for c in load["column"].values]
    for name in rules.tied:
        known("PackRules", "column of tied", name, names)
    tied = np.isin(names, rules.tied)
    features = np.concatenate([load.values.T, room, tied[:, None]], axis=1)
    if rules.stock is not None:
        # Equal columns may need different packs when parts run short.
        features = np.concatenate([features, np.arange(len(features))[:, None]], axis=1)
    _, first, group = np.unique(features, axis=0, return_index=True, return_inverse=True)
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
    return bench, group.ravel()


def _search(
    bench: Bench, good: Array, reachable: Array, weight: Array, most_programs: int
) -> tuple[Array, Choice]:
    """Pack of every group that can be met, in their order."""
    rules = bench.rules
    owner, pack = np.nonzero(good)
    value = bench.found["deflection"][reachable][owner, pack]
    cost = bench.found["number"][pack].astype(float)
    if rules.most_types is None and rules.stock is None:
        choice = common_band(owner, value, cost, weight=weight, resolution=rules.resolution)
        return pack[choice.chosen], choice
    stock = None
    if rules.stock is not None:
        stock = _stock(rules.stock, bench.components.names)
        stay = np.arange(owner.size)
    else:
        stay = thinned(owner, value, cost, bench.counts[pack] > 0)
    few = rules.most_types is not None and sets_are_few(bench.counts.shape[1], rules.most_types)
    owner, value, cost, counts = owner[stay], value[stay], cost[stay], bench.counts[pack[stay]]
    found: Choice | None
    if stock is None and few and rules.most_types is not None:
        found = typed_band(
            owner,
            value,
            cost,
            weight=weight,
            counts=counts,
            resolution=rules.resolution,
            most_types=rules.most_types,
        )
    else:
        try:
            found = limited_choice(
                owner,
                value,
                cost,
                weight=weight,
                counts=counts,
                resolution=rules.resolution,
                most_types=rules.most_types,
                stock=stock,
                most_programs=most_programs,
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
    return pack[stay][found.chosen], found


def _asked(rules: PackRules) -> str:
    """Limits for the site in words."""
    types = f"{rules.most_types} types on the site" if rules.most_types is not None else ""
    return " and ".join(filter(None, (types, "the stock" if rules.stock is not None else "")))


def _stock(stock: xr.DataArray, names: list[str]) -> Array:
    for name in stock["component"].values.tolist():
        known("PackRules", "component of stock", name, names)
    return np.asarray(stock.reindex(component=names, fill_value=np.inf).values, dtype=float)


def _middle(bench: Bench, pack: Array, reachable: Array, rules: PackRules) -> float:
    """Deflection that packs which break rules should be near to [m]."""
    if reachable.any():
        here = np.flatnonzero(reachable)
        chosen = bench.found["deflection"][here, pack[here]]
        return float(0.5 * (chosen.min() + chosen.max()))
    if rules.deflection is not None:
        return float(np.mean(rules.deflection))
    return float(np.median(bench.found["at_rated"]))


def _why(bench: Bench, kept: Array, group: int, nearest: int, middle: float) -> str:
    """Sentence on a column that cannot be met; ``{column}`` stands for its name."""
    names = bench.components.names
    others = np.stack([np.delete(kept, i, axis=0).all(axis=0) for i in range(len(RULES))])
    alone = [i for i in range(len(RULES)) if others[i].any()]
    working = bench.load[group, bench.cases.index("quasi-permanent")] / 1e3
    kind = bench.rules.kind
    head = f"{{column}} ({working:.0f} kN): no {kind} pack keeps every rule; "
    if alone:
        tried = []
        for i in alone:
            only = np.flatnonzero(others[i])
            away = np.abs(bench.found["deflection"][group, only] - middle)
            pack = int(only[np.lexsort((away, bench.excess(RULES[i], group)[only]))[0]])
            tried.append(
                f"{pack_text(bench.counts[pack], names)} keeps all but "
                f"{bench.describe(RULES[i], group, pack)}"
            )
        return head + "; ".join(tried)
    broken = [
        bench.describe(rule, group, nearest)
        for rule, fine in zip(RULES, kept[:, nearest], strict=True)
        if not fine
    ]
    return f"{head}the nearest, {pack_text(bench.counts[nearest], names)}, breaks " + ", ".join(
        broken
    )


def _edges(names: Array, deflection: Array, met: Array) -> tuple[str, ...]:
    if not met.any():
        return ()
    here = np.flatnonzero(met)
    ends = (int(here[np.argmin(deflection[here])]), int(here[np.argmax(deflection[here])]))
    return tuple(dict.fromkeys(str(names[i]) for i in ends))
