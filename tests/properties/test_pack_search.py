"""The search of packs against trying everything, on sites small enough for that."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne.loads import read_loads
from groundborne.sizing.packs.choice import choose_packs
from groundborne.sizing.packs.components import Components
from groundborne.sizing.packs.program import UndecidedError, limited_choice
from groundborne.sizing.packs.rules import PackRules
from groundborne.sizing.packs.search import combinations, common_band, typed_band

# A nanometre: the solver's tolerance. The other searches are exact to rounding.
SOLVER, EXACT = 1e-9, 1e-12


class Site(NamedTuple):
    owner: np.ndarray
    value: np.ndarray
    cost: np.ndarray
    counts: np.ndarray
    weight: np.ndarray


@st.composite
def sites(draw) -> Site:
    """Up to four groups with up to five candidates each, of three types."""
    sizes = draw(st.lists(st.integers(1, 5), min_size=1, max_size=4))
    owner = np.repeat(np.arange(len(sizes)), sizes)
    m = owner.size
    value = np.array(draw(st.lists(st.integers(1, 60), min_size=m, max_size=m))) * 0.25e-3
    part = st.sampled_from([(1, 0, 0), (0, 2, 0), (0, 0, 3), (1, 1, 0), (2, 0, 2), (0, 4, 1)])
    counts = np.array(draw(st.lists(part, min_size=m, max_size=m)))
    weight = np.array(draw(st.lists(st.integers(1, 4), min_size=len(sizes), max_size=len(sizes))))
    return Site(owner, value, counts.sum(axis=1).astype(float), counts, weight.astype(float))


def everything(site: Site, most_types: int | None = None, stock: np.ndarray | None = None):
    """Spread and cost of every choice that meets the limits."""
    found = []
    groups = [np.flatnonzero(site.owner == g).tolist() for g in range(site.weight.size)]
    for chosen in itertools.product(*groups):
        counts = site.counts[list(chosen)]
        if most_types is not None and (counts.sum(axis=0) > 0).sum() > most_types:
            continue
        if stock is not None and (site.weight @ counts > stock).any():
            continue
        cost = float((site.weight * site.cost[list(chosen)]).sum())
        found.append((float(np.ptp(site.value[list(chosen)])), cost))
    return found


@given(site=sites(), resolution=st.sampled_from([0.0, 0.3e-3, 2e-3]))
@settings(max_examples=150)
def test_common_band_is_the_best_of_all(site: Site, resolution: float) -> None:
    found = common_band(
        site.owner, site.value, site.cost, weight=site.weight, resolution=resolution
    )
    choices = everything(site)
    narrowest = min(spread for spread, _ in choices)
    cheapest = min(cost for spread, cost in choices if spread <= narrowest + resolution + EXACT)
    assert found.bound == pytest.approx(narrowest, abs=EXACT)
    assert found.cost == cheapest == found.cost_bound
    assert found.spread <= narrowest + resolution + 1e-11
    assert (site.owner[found.chosen] == np.arange(site.weight.size)).all()
    assert float(np.ptp(site.value[found.chosen])) == found.spread
    if resolution == 0.0:
        assert found.spread == pytest.approx(narrowest, abs=1e-11)


@given(site=sites(), resolution=st.sampled_from([0.0, 0.6e-3]), most=st.integers(1, 3))
@settings(max_examples=60)
def test_limits_on_types_are_the_best_of_all(site: Site, resolution: float, most: int) -> None:
    """Trying all sets of types, and the mixed-integer programs, against trying all choices."""
    arguments = {"weight": site.weight, "counts": site.counts, "resolution": resolution}
    by_sets = typed_band(site.owner, site.value, site.cost, **arguments, most_types=most)
    solved = limited_choice(site.owner, site.value, site.cost, **arguments, most_types=most)
    choices = everything(site, most_types=most)
    if not choices:
        assert by_sets is None
        assert solved is None
        return
    free = min(spread for spread, _ in everything(site))
    narrowest = min(spread for spread, _ in choices)
    width = max(narrowest, free + resolution)
    cheapest = min(cost for spread, cost in choices if spread <= width + EXACT)
    for found in (by_sets, solved):
        assert found is not None
        assert found.cost == cheapest
        assert found.spread <= width + SOLVER
        assert found.bound <= narrowest + SOLVER
        assert found.proof.startswith("optimal")
        assert (site.counts[found.chosen].sum(axis=0) > 0).sum() <= most
    assert by_sets is not None
    assert by_sets.bound == pytest.approx(narrowest, abs=EXACT)


stocks = st.lists(st.integers(0, 20), min_size=3, max_size=3).map(lambda s: np.array(s, float))


@given(site=sites(), stock=stocks, resolution=st.sampled_from([0.0, 0.6e-3]))
@settings(max_examples=150)
def test_a_stock_is_kept_and_the_best_found(site: Site, stock, resolution: float) -> None:
    arguments = {"weight": site.weight, "counts": site.counts, "resolution": resolution}
    solved = limited_choice(site.owner, site.value, site.cost, **arguments, stock=stock)
    choices = everything(site, stock=stock)
    if not choices:
        assert solved is None
        return
    narrowest = min(spread for spread, _ in choices)
    enough = min(spread for spread, _ in everything(site)) + resolution
    width = max(narrowest, enough)
    cheapest = min(cost for spread, cost in choices if spread <= width + EXACT)
    assert solved is not None
    assert solved.proof.startswith("optimal")
    assert solved.spread <= width + SOLVER
    assert solved.bound <= narrowest + SOLVER
    assert solved.cost == cheapest == solved.cost_bound
    assert (site.weight @ site.counts[solved.chosen] <= stock + 1e-9).all()


@given(site=sites(), spare=stocks, resolution=st.sampled_from([0.0, 0.6e-3]))
@settings(max_examples=100)
def test_a_stock_that_holds_the_best_choice_changes_nothing(site: Site, spare, resolution) -> None:
    """However much more there is: the choice without a stock is the choice."""
    arguments = {"weight": site.weight, "resolution": resolution}
    free = common_band(site.owner, site.value, site.cost, **arguments)
    stock = site.weight @ site.counts[free.chosen] + spare
    types = int((site.counts[free.chosen].sum(axis=0) > 0).sum())
    found = limited_choice(
        site.owner,
        site.value,
        site.cost,
        **arguments,
        counts=site.counts,
        stock=stock,
        most_types=types,
    )
    assert found is not None
    assert found.chosen.tolist() == free.chosen.tolist()
    assert (found.spread, found.bound, found.cost) == (free.spread, free.bound, free.cost)
    assert found.proof.startswith("optimal")


@given(site=sites(), stock=stocks, more=stocks)
@settings(max_examples=60)
def test_more_stock_never_costs_more(site: Site, stock, more) -> None:
    arguments = {"weight": site.weight, "counts": site.counts, "resolution": 0.6e-3}
    less = limited_choice(site.owner, site.value, site.cost, **arguments, stock=stock)
    greater = limited_choice(site.owner, site.value, site.cost, **arguments, stock=stock + more)
    if less is None:
        return
    assert greater is not None
    assert greater.bound <= less.bound + SOLVER
    if greater.spread >= less.spread - SOLVER:  # a narrower band may cost more
        assert greater.cost <= less.cost


@given(site=sites(), stock=stocks, programs=st.integers(1, 12))
@settings(max_examples=60)
def test_few_programs_leave_a_gap_that_is_stated(site: Site, stock, programs: int) -> None:
    arguments = {"weight": site.weight, "counts": site.counts, "resolution": 0.0}
    choices = everything(site, stock=stock)
    given = (site.owner, site.value, site.cost)
    try:
        found = limited_choice(*given, **arguments, stock=stock, most_programs=programs)
    except UndecidedError:
        # Never with the number that is there without being asked for.
        limited_choice(*given, **arguments, stock=stock)
        return
    assert (found is None) == (not choices)
    if found is None:
        return
    narrowest = min(spread for spread, _ in choices)
    assert found.spread >= narrowest - SOLVER
    assert found.bound <= narrowest + SOLVER
    within = [c for spread, c in choices if spread <= max(found.spread, found.bound) + EXACT]
    assert found.cost_bound <= min(within) <= found.cost
    if found.proof.startswith("optimal"):
        assert found.spread == pytest.approx(narrowest, abs=SOLVER)
        assert found.cost == min(within)


@given(types=st.integers(1, 4), fewest=st.integers(1, 3), more=st.integers(0, 4))
def test_combinations_are_all_and_differ(types: int, fewest: int, more: int) -> None:
    most = fewest + more
    found = {tuple(row) for row in combinations(types, fewest=fewest, most=most, mixed=True)}
    every = {
        counts
        for counts in itertools.product(range(most + 1), repeat=types)
        if fewest <= sum(counts) <= most and 1 <= sum(c > 0 for c in counts) <= 2
    }
    assert found == every
    assert len(combinations(types, fewest=fewest, most=most, mixed=True)) == len(every)


def _parts(stiffness: list[float]) -> Components:
    k = np.array(stiffness)
    columns = {
        "kind": np.full(k.size, "spring"),
        "static_stiffness": k,
        "dynamic_stiffness": k,
        "least_load": 4e-3 * k,
        "rated_load": 30e-3 * k,
        "largest_load": 60e-3 * k,
        "largest_deflection": np.full(k.size, 60e-3),
        "plan_x": np.full(k.size, 0.2),
        "plan_y": np.full(k.size, 0.2),
    }
    data = xr.Dataset({n: ("component", v) for n, v in columns.items()})
    return Components(data=data.assign_coords(component=[f"S{i}" for i in range(k.size)]))


@given(
    load=st.lists(st.floats(1e5, 6e5), min_size=1, max_size=3),
    stiffness=st.lists(st.floats(1e6, 6e6), min_size=1, max_size=2),
    peak=st.floats(1.0, 2.2),
)
@settings(max_examples=60)
def test_packs_are_the_best_of_all(load: list[float], stiffness: list[float], peak: float) -> None:
    """Rules, groups and search together against every pack under every column."""
    names = [f"C{i}" for i in range(len(load))]
    loads = xr.DataArray(
        [load, [peak * w for w in load]],
        coords={"case": ["quasi-permanent", "ultimate"], "column": names},
        dims=("case", "column"),
        attrs={"units": "N"},
    )
    rules = PackRules(most=5, gap=0.0, resolution=0.0, deflection=(10e-3, 35e-3))
    found = choose_packs(loads, _parts(stiffness), rules=rules)
    k = np.array(stiffness)
    fits = []
    for w in load:
        mine = []
        for counts in itertools.product(range(6), repeat=k.size):
            if not 1 <= sum(counts) <= 5:
                continue
            d = w / float(k @ counts)
            if 10e-3 <= d <= 30e-3 and d * peak <= 60e-3:
                mine.append((d, sum(counts)))
        fits.append(mine)
    assert found.met.values.tolist() == [bool(mine) for mine in fits]
    assert set(found.why) == {n for n, mine in zip(names, fits, strict=True) if not mine}
    served = [mine for mine in fits if mine]
    if not served:
        assert found.proof == "no column can be met"
        return
    every = [
        (max(d for d, _ in choice) - min(d for d, _ in choice), sum(n for _, n in choice))
        for choice in itertools.product(*served)
    ]
    narrowest = min(spread for spread, _ in every)
    assert found.spread == pytest.approx(narrowest, abs=1e-11)
    assert found.parts == min(n for spread, n in every if spread <= narrowest + 1e-11)


@given(load=st.floats(5e4, 4.9999e7), number=st.integers(1, 4))
def test_newtons_and_kilonewtons_never_pass_for_each_other(tmp_path_factory, load, number) -> None:
    """Whatever passes in one unit is refused when the heading says the other."""
    folder = tmp_path_factory.mktemp("loads")
    rows = [f"C{i},{6 * i},0,{load * (1 + 0.01 * i) / 1e3!r}" for i in range(number)]
    for name, factor in (("kn", 1.0), ("n", 1e3)):
        file = folder / f"{name}.csv"
        body = [f"{r.rsplit(',', 1)[0]},{float(r.rsplit(',', 1)[1]) * factor!r}" for r in rows]
        lines = [f"{b},{0.1 * float(b.rsplit(',', 1)[1])!r}" for b in body]
        for unit in ("kn", "n"):
            head = f"column,x_m,y_m,permanent_{unit},imposed_{unit}"
            file.write_text("\n".join([head, *lines]), encoding="utf-8")
            heaviest = load * (1 + 0.01 * (number - 1))
            if unit == name and heaviest < 5e7:
                read = read_loads(file, revision="P1")
                assert float(read.data["permanent"][0]) == pytest.approx(load, rel=1e-9)
            else:
                with pytest.raises(
                    ValueError, match=r"no plausible permanent load|out of bounds; possible"
                ):
                    read_loads(file, revision="P1")


def test_resolution_only_ever_saves_parts() -> None:
    loads = xr.DataArray(
        [[3.1e5, 4.4e5, 7.9e5]],
        coords={"case": ["quasi-permanent"], "column": ["A", "B", "C"]},
        dims=("case", "column"),
        attrs={"units": "N"},
    )
    rules = PackRules(most=12, resolution=0.0)
    before = None
    for resolution in (0.0, 1e-4, 1e-3, 5e-3):
        found = choose_packs(
            loads, _parts([1.3e6, 2.9e6, 5.3e6]), rules=replace(rules, resolution=resolution)
        )
        assert found.spread <= found.spread_bound + resolution + EXACT
        if before is not None:
            assert found.parts <= before.parts
            assert found.spread_bound == before.spread_bound
        before = found
