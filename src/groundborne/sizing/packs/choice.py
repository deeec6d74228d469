"""One pack under every column, so that the whole site goes down by the same amount."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import within
from groundborne.sizing.loads.cases import check_load
from groundborne.sizing.packs.bench import Bench
from groundborne.sizing.packs.components import Components
from groundborne.sizing.packs.rules import RULES, PackRules, pack_text
from groundborne.sizing.packs.site import Found, Site, chance, search, site_of

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
        How the bounds are known, in words; which columns are not in them, and how many packs were
        held.
    edges : tuple of str
        Columns at the two ends of the common band.
    resolution : float
        How much wider than the narrowest the band was allowed to be [m].
    changed : mapping of str to str
        For each column whose pack does not stay as it was `held`, why.
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
    resolution: float = 0.0
    changed: Mapping[str, str] = field(default_factory=dict)

    @property
    def is_met(self) -> bool:
        """Whether every column is met."""
        return not self.why

    @property
    def gap(self) -> float:
        """How far the spread may be from the best, beyond the resolution [m]."""
        return max(0.0, self.spread - self.resolution - self.spread_bound)

    @property
    def deflection(self) -> xr.DataArray:
        """Static deflection under the quasi-permanent load [m], on ``column``."""
        stiffness = self.count @ self.components.data["static_stiffness"]
        found: xr.DataArray = self.load.sel(case="quasi-permanent", drop=True) / stiffness
        return found.assign_attrs(units="m")


@checked(own_labels=["rules", "held"])
def choose_packs(
    load: xr.DataArray,
    components: Components,
    *,
    rules: PackRules,
    held: xr.DataArray | None = None,
    most_programs: int = 500,
) -> Packs:
    """Choose a pack for every column: least spread of deflection, then fewest parts.

    Parameters
    ----------
    load : DataArray
        Combined loads [N], dims (case, column), with the case ``quasi-permanent``; those of
        :meth:`ColumnLoss.add_to <groundborne.sizing.ColumnLoss.add_to>` may be among them.
    components : Components
        Parts to choose from.
    rules : PackRules
        What every pack must keep, and limits for the site.
    held : DataArray of int, optional
        Packs that stand or are ordered already, dims (column, component): ``Packs.count``, or
        ``schedule.data["count"]`` of the revision before, of columns of `load` only. Each stays
        where it keeps every rule under the new loads. With ``most_spread``, as few more change as
        bring the spread below it. A stock counts the parts held as well.
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
    site = site_of(load, parts, rules, held)
    bench, group, kept, reachable = site.bench, site.group, site.kept, site.reachable
    pack = np.zeros(reachable.size, dtype=np.int64)
    found: Found | None = None
    if reachable.any():
        found = search(site, most_programs)
        pack[reachable] = found.pack
    middle = _middle(bench, pack, reachable, rules)
    words = {}
    for g in np.flatnonzero(~reachable).tolist():
        nearest = bench.nearest(g, kept[:, g], middle)
        # What stands there already is not exchanged for another pack that does not do either.
        pack[g] = site.held[g] if site.held[g] >= 0 else nearest
        shown = int(pack[g])
        what = "the nearest" if shown != site.held[g] else "the one that is held"
        words[g] = _why(bench, kept[:, g], g, shown, what, middle)
    names = load["column"].values
    unmet = np.flatnonzero(~reachable[group]).tolist()
    defl = bench.found["deflection"][np.arange(pack.size), pack]
    choice = found.choice if found else None
    return Packs(
        count=xr.DataArray(
            bench.counts[pack[group]],
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
        proof=_proof(choice.proof, site, pack, names[unmet]) if choice else "no column can be met",
        edges=_edges(names, defl[group], reachable[group]),
        resolution=found.resolution if found else 0.0,
        changed=_changed(site, pack, names),
    )


@checked
def chance_difference(packs: Packs) -> xr.DataArray:
    """By how much two packs of the same parts differ by chance, from the tolerance of stiffness.

    Parameters
    ----------
    packs : Packs
        Of a site.

    Returns
    -------
    DataArray
        Standard deviation of the difference of deflection [m], on ``column``:
        ``δ √(2 Σ n (k t)²/3)/Σ n k`` for n parts of stiffness k and tolerance t.

    Notes
    -----
    The stiffness of each part is taken as spread evenly within its tolerance, and each part by
    itself. A delivery that is soft as a whole moves all packs of its type together, which is not
    in it. A spread below this value cannot be told from chance; it is the default resolution of
    :class:`PackRules`.

    References
    ----------
    Derived for independent, evenly spread tolerances, which are an assumption [common practice].

    Examples
    --------
    >>> part = {n: ("component", [v]) for n, v in dict(
    ...     kind="spring", static_stiffness=1e6, dynamic_stiffness=1e6, least_load=5e3,
    ...     rated_load=3e4, largest_load=6e4, largest_deflection=0.06, plan_x=0.2,
    ...     plan_y=0.2, stiffness_tolerance=0.06).items()}
    >>> springs = Components(data=xr.Dataset(part, coords={"component": ["S1"]}))
    >>> load = xr.DataArray([[6e5]], attrs={"units": "N"},
    ...     coords={"case": ["quasi-permanent"], "column": ["A"]}, dims=("case", "column"))
    >>> packs = choose_packs(load, springs, rules=PackRules(deflection=(0.0249, 0.0251)))
    >>> (chance_difference(packs) * 1e3).round(3).values.tolist()  # 25 mm on 24 springs
    [0.25]
    """
    each = chance(packs.count.values, packs.components, packs.deflection.values)
    found: xr.DataArray = packs.deflection.copy(data=each)
    return found.assign_attrs(units="m", long_name="difference by chance")


def _proof(known: str, site: Site, pack: Array, unmet: Array) -> str:
    """What is known of the bounds, of which columns, and how many packs were held."""
    total = site.group.size
    if unmet.size:
        known += (
            f"; spread and bounds are of {total - unmet.size} of {total} columns, without those "
            f"that cannot be met: {', '.join(map(str, unmet))}"
        )
    held = site.held[site.group]
    if (held >= 0).any():
        stay = int((held == pack[site.group]).sum())
        known += f"; {int((held >= 0).sum())} of {total} packs were held, {stay} of them stay"
    return known


def _changed(site: Site, pack: Array, names: Array) -> dict[str, str]:
    """Columns that do not keep the pack they have, with the reason."""
    found = {}
    bench = site.bench
    for name, g in zip(names.tolist(), site.group.tolist(), strict=True):
        was, now = int(site.held[g]), int(pack[g])
        if was < 0 or was == now:
            continue
        broken = [
            bench.describe(rule, g, was)
            for rule, fine in zip(RULES, site.kept[:, g, was], strict=True)
            if not fine
        ]
        parts = bench.components.names
        why = "; ".join(broken) or "to keep the spread of the site"
        found[str(name)] = (
            f"{name}: {pack_text(bench.counts[was], parts)} becomes "
            f"{pack_text(bench.counts[now], parts)}; {why}"
        )
    return found


def _middle(bench: Bench, pack: Array, reachable: Array, rules: PackRules) -> float:
    """Deflection that packs which break rules should be near to [m]."""
    if reachable.any():
        here = np.flatnonzero(reachable)
        chosen = bench.found["deflection"][here, pack[here]]
        return float(0.5 * (chosen.min() + chosen.max()))
    if rules.deflection is not None:
        return float(np.mean(rules.deflection))
    return float(np.median(bench.found["at_rated"]))


def _why(bench: Bench, kept: Array, group: int, shown: int, what: str, middle: float) -> str:
    """Sentence on a column that cannot be met; ``{column}`` stands for its name."""
    names = bench.components.names
    others = np.stack([np.delete(kept, i, axis=0).all(axis=0) for i in range(len(RULES))])
    alone = [i for i in range(len(RULES)) if others[i].any()]
    working = bench.load[group, bench.cases.index("quasi-permanent")] / 1e3
    kind = bench.rules.kind
    head = f"{{column}} ({working:.0f} kN): no {kind} pack keeps every rule"
    broken = [
        bench.describe(rule, group, shown)
        for rule, fine in zip(RULES, kept[:, shown], strict=True)
        if not fine
    ]
    # A pack that is held for other columns may keep every rule here.
    tried = [
        f"{what}, {pack_text(bench.counts[shown], names)}, breaks "
        + (", ".join(broken) or "none, and is held for another column")
    ]
    if alone:
        for i in alone:
            only = np.flatnonzero(others[i])
            away = np.abs(bench.found["deflection"][group, only] - middle)
            pack = int(only[np.lexsort((away, bench.excess(RULES[i], group)[only]))[0]])
            if pack == shown:
                continue
            tried.append(
                f"{pack_text(bench.counts[pack], names)} keeps all but "
                f"{bench.describe(RULES[i], group, pack)}"
            )
    return "; ".join([head, *tried])


def _edges(names: Array, deflection: Array, met: Array) -> tuple[str, ...]:
    if not met.any():
        return ()
    here = np.flatnonzero(met)
    ends = (int(here[np.argmin(deflection[here])]), int(here[np.argmax(deflection[here])]))
    return tuple(dict.fromkeys(str(names[i]) for i in ends))
