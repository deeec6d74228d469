"""A column lost: who takes its load, who is relieved, and what lifts off."""

from __future__ import annotations

import json
import time
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from groundborne.sizing import (
    ColumnLoads,
    Components,
    FloorsAbove,
    PackRules,
    choose_packs,
    column_loss_travel,
    combine,
    hold_down,
    lose_columns,
    make_schedule,
    read_loads,
)
from groundborne.sizing.packs.schedule import Schedule
from groundborne.structure import PlateBeam

TOWER = FloorsAbove(storeys=25, thickness=0.23)  # levels 2 to the roof, data/tower/structure.csv
SCHOOL = FloorsAbove(storeys=3, thickness=0.28)


def grid(nx: int, ny: int, load=5e6, spacing: float = 6.0) -> ColumnLoads:
    x, y = np.meshgrid(np.arange(nx) * spacing, np.arange(ny) * spacing, indexing="ij")
    names = [f"{chr(65 + i)}{j + 1}" for i in range(nx) for j in range(ny)]
    data = {
        "x": ("column", x.ravel()),
        "y": ("column", y.ravel()),
        "permanent": ("column", np.broadcast_to(load, nx * ny).astype(float)),
        "imposed": ("column", np.zeros(nx * ny)),
    }
    return ColumnLoads(data=xr.Dataset(data, coords={"column": names}), revision="P1")


@pytest.fixture(scope="module", params=["tower", "music_school"])
def demonstration(request, data_folder):
    loads = read_loads(data_folder / request.param / "columns.csv", revision="P1")
    floors = TOWER if request.param == "tower" else SCHOOL
    start = time.perf_counter()
    found = lose_columns(loads, combine(loads), floors=floors)
    return loads, found, time.perf_counter() - start


@pytest.fixture(scope="module")
def tower(data_folder):
    return read_loads(data_folder / "tower" / "columns.csv", revision="P1")


# -- Balance ---------------------------------------------------------------------------------------


def test_every_loss_balances(demonstration) -> None:
    """What is added elsewhere weighs what was lost, and its resultant stands there: to rounding."""
    loads, found, _ = demonstration
    data = loads.data
    lost = found.before.rename(column="lost").drop_vars("row", errors="ignore")
    change = xr.where(found.load["lost"] == found.load["column"], 0.0, found.load - found.before)
    handed = found.dynamic * lost
    assert float(abs(change.sum("column") / handed - 1).max()) < 1e-10
    for axis in ("x", "y"):
        place = data[axis].drop_vars("row", errors="ignore")
        there = place.rename(column="lost")
        arm = (change * place).sum("column") / handed - there
        assert float(abs(arm).max()) < 1e-9  # m
    assert float(found.offset.max()) < 1e-9
    assert (found.load >= 0).all()
    own = found.load.where(found.load["lost"] == found.load["column"], 0.0)
    assert float(abs(own).max()) == 0.0


def test_the_tower_takes_less_than_two_seconds(demonstration) -> None:
    loads, found, seconds = demonstration
    assert found.load.sizes["lost"] == len(loads.names)
    assert seconds < 2.0


def test_the_rough_rule_does_not_balance_and_says_so(tower) -> None:
    """28 of the 60 columns: 2 m off at an edge, 4.2 m at a corner."""
    found = lose_columns(tower, combine(tower), rule="inverse distance")
    assert found.load["rigidity"].values.tolist() == ["inverse distance"]
    offset = found.offset.squeeze("rigidity")
    assert int((offset > 0.1).sum()) == 28
    assert float(offset.max()) == pytest.approx(4.243, abs=1e-3)
    assert "does not balance" in found.load.attrs["rule"]
    assert "rough rule" in found.worst_neighbours().attrs["rule"]


# -- Shares ----------------------------------------------------------------------------------------


def test_shares_of_the_worst_neighbour_in_the_tower(tower) -> None:
    """More than the rough rule says, most at the corners (0.50 and 0.33 there)."""
    table = lose_columns(tower, combine(tower), floors=TOWER).worst_neighbours()
    x, y = abs(tower.data["x"]) == 27, abs(tower.data["y"]) == 15
    names = tower.data["column"]
    corner, edge = names[(x & y).values].values, names[(x ^ y).values].values
    share = table["share"]
    for bound, low, high in (("soft", 0.93, 0.94), ("stiff", 0.79, 0.81)):
        there = share.sel(rigidity=bound, lost=corner)
        assert float(there.min()) > low
        assert float(there.max()) < high
    for bound, low, high in (("soft", 0.49, 0.62), ("stiff", 0.42, 0.52)):
        there = share.sel(rigidity=bound, lost=edge)
        assert float(there.min()) > low
        assert float(there.max()) < high
    assert (share.sel(rigidity="soft") > share.sel(rigidity="stiff")).all()
    # back spans unload
    assert float(table["relief"].sel(lost=corner).max()) < -0.1
    assert table["neighbour"].sel(lost="A1", rigidity="soft").item() in ("A2", "B1")
    assert json.loads(table.attrs["cautions"])
    assert "8.71e+08" in table.attrs["rule"]
    assert "2.18e+08" in table.attrs["rule"]


def test_between_two_it_is_the_lever_rule() -> None:
    """Three in line, the middle lost: exact for any floor, as statics say."""
    data = grid(3, 1).data.assign(x=("column", [0.0, 4.0, 12.0]))
    loads = ColumnLoads(data=data, revision="P1")
    for storeys in (1, 40):
        floors = FloorsAbove(storeys=storeys)
        found = lose_columns(loads, combine(loads), floors=floors, lost=["B1"], dynamic=1.0)
        for bound in ("soft", "stiff"):
            got = found.share.sel(lost="B1", rigidity=bound)
            assert got.values == pytest.approx([2 / 3, 0.0, 1 / 3], rel=1e-9)


def test_worst_of_both_bounds_goes_to_the_packs(tower) -> None:
    load = combine(tower)
    found = lose_columns(tower, load, floors=TOWER)
    both = found.add_to(load)
    assert any("8.71e+08 N m" in note for note in json.loads(both.attrs["notes"]))
    case = both.sel(case="column loss")
    assert (case == found.load.max(["rigidity", "lost"])).all()
    assert (case >= found.load.sel(rigidity="soft").max("lost")).all()
    old = lose_columns(tower, load, rule="inverse distance").worst().squeeze("case")
    assert float((case / old).min()) > 1.0


def test_stiffer_packs_gather_more_at_the_next_column(tower) -> None:
    load = combine(tower)
    soft = lose_columns(tower, load, floors=TOWER).worst_neighbours()["share"]
    rubber = replace(TOWER, deflection=0.003)
    stiff = lose_columns(tower, load, floors=rubber).worst_neighbours()["share"]
    assert (stiff > soft).all()
    given = replace(TOWER, mount_stiffness=load.sel(case="accidental", drop=True) / 0.003)
    same = lose_columns(tower, load, floors=given).worst_neighbours()["share"]
    assert same.values == pytest.approx(stiff.values)
    # a column in series takes away from it
    series = replace(given, column_stiffness=load.sel(case="accidental", drop=True) / 0.012)
    back = lose_columns(tower, load, floors=series).worst_neighbours()["share"]
    assert back.values == pytest.approx(soft.values)


def test_a_transfer_beam_spreads_along_itself() -> None:
    loads = grid(5, 3)
    load = combine(loads)
    plain = FloorsAbove(storeys=2)
    beam = PlateBeam(start=(0.0, 0.0), end=(24.0, 0.0), bending_stiffness=2e10)
    far = {}
    assert "GPa and 1 beam bend together" in replace(plain, beams=[beam]).said()
    for name, floors in (("plain", plain), ("beam", replace(plain, beams=[beam]))):
        found = lose_columns(loads, load, floors=floors, lost=["C1"])
        far[name] = float(found.share.sel(lost="C1", column=["A1", "E1"], rigidity="stiff").sum())
    assert far["beam"] > far["plain"] + 0.05


# -- Lifting off -----------------------------------------------------------------------------------


def test_a_light_column_behind_a_heavy_corner_lifts_off() -> None:
    """Its pack does not pull: the others balance without it, and what would hold it is said."""
    load = np.full(9, 2e6)
    load[0] = 9e6  # A1
    load[2] = load[6] = 2e5  # A3, C1
    loads = grid(3, 3, load)
    floors = FloorsAbove(storeys=20, mount_stiffness=4e8)
    found = lose_columns(loads, combine(loads), floors=floors, lost=["A1"], dynamic=1.0)
    lifted = found.lifted.sel(lost="A1", rigidity="stiff")
    assert {"A3", "C1"} <= set(lifted["column"].values[lifted.values].tolist())
    assert float(found.hold_down.sel(lost="A1", column="A3").max()) > 1e5
    notes = json.loads(found.add_to(combine(loads)).attrs["notes"])
    assert any(note.startswith("A1 lost: A3, ") and "would lift off" in note for note in notes)
    assert float(found.offset.max()) < 1e-9
    held = lose_columns(
        loads, combine(loads), floors=floors, lost=["A1"], dynamic=1.0, held=["A3", "C1"]
    )
    assert float(held.load.sel(lost="A1", column="A3").min()) < 0
    packs = xr.Dataset(
        {
            "static_stiffness": found.before / 0.015,
            "deflection": 0 * found.before + 0.015,
            "fail_safe_gap_most": 0 * found.before + 0.1,
        }
    ).assign(pack=("column", ["1 × S"] * 9))
    travel = column_loss_travel(found, schedule=Schedule(data=packs))
    sentences = json.loads(travel.attrs["sentences"])
    assert any(s.startswith("A1 lost: A3 would lift off its pack (1 × S); ") for s in sentences)
    assert float(travel["least_load"].sel(lost="A1", column="A3")) == 0.0


def test_a_building_that_tips_is_refused() -> None:
    loads = grid(2, 2)
    with pytest.raises(ValueError, match=r"lost A1: no pushing springs .*go into held"):
        lose_columns(loads, combine(loads), floors=FloorsAbove(storeys=5), lost=["A1"])


def test_refuses() -> None:
    loads = grid(3, 2)
    load = combine(loads)
    with pytest.raises(ValueError, match=r"needs floors, such as FloorsAbove\(storeys=8\)"):
        lose_columns(loads, load)
    with pytest.raises(ValueError, match="rule is 'lever'"):
        lose_columns(loads, load, rule="lever")
    with pytest.raises(ValueError, match="held is 'Z'"):
        lose_columns(loads, load, floors=FloorsAbove(storeys=2), held=["Z"])
    with pytest.raises(ValueError, match="storeys is 0"):
        FloorsAbove(storeys=0)
    with pytest.raises(ValueError, match="thickness is 250"):
        FloorsAbove(storeys=3, thickness=250.0)
    box = [((0.0, 5.0), (0.0, 6.0))]
    with pytest.raises(ValueError, match=r"the column at \(6, 0\) m lies outside the plate"):
        lose_columns(loads, load, floors=FloorsAbove(storeys=2, outline=box))


def test_five_hundred_columns() -> None:
    """25 by 20: all single losses for both bounds, far below a minute."""
    loads = grid(25, 20)
    start = time.perf_counter()
    found = lose_columns(loads, combine(loads), floors=FloorsAbove(storeys=10))
    assert time.perf_counter() - start < 60.0
    assert float(found.offset.max()) < 1e-8
    assert float(abs(found.share.sum("column") - 1).max()) < 1e-10


# -- Columns held down -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def six() -> tuple[ColumnLoads, FloorsAbove]:
    """Two rows of three; with C0 lost, C5 opposite is pulled up."""
    x, y = [0.0, 8.0, 16.0] * 2, [0.0] * 3 + [8.0] * 3
    data = {
        "x": ("column", x),
        "y": ("column", y),
        "permanent": ("column", np.array([6.0, 2, 3, 1, 2, 1]) * 1e6),
        "imposed": ("column", np.zeros(6)),
    }
    names = [f"C{i}" for i in range(6)]
    loads = ColumnLoads(data=xr.Dataset(data, coords={"column": names}), revision="P1")
    return loads, FloorsAbove(storeys=12)


def _springs() -> Components:
    part = {
        "kind": "spring", "static_stiffness": 4e6, "dynamic_stiffness": 4e6, "loss_factor": 0.01,
        "own_mass": 20.0,
        "least_load": 5e3, "rated_load": 1.2e5, "largest_load": 1e7, "largest_deflection": 0.5,
        "lateral_stiffness": 7e5, "height": 0.3, "plan_x": 0.2, "plan_y": 0.2,
        "stiffness_tolerance": 0.05,
        "creep_per_decade": 0.001,
    }  # fmt: skip
    data = {n: ("component", [v]) for n, v in part.items()}
    return Components(data=xr.Dataset(data, coords={"component": ["S1"]}))


def test_a_pull_reaches_tie_and_schedule(six) -> None:
    """What C5 pulls when C0 is lost is no smaller for C2's loss, when it carries 4000 kN."""
    loads, floors = six
    load = combine(loads)
    found = lose_columns(loads, load, floors=floors, lost=["C0", "C2"], held=["C5"], dynamic=2.0)
    pull = -found.load.sel(lost="C0", column="C5")
    assert (pull / 1e3).round().sel(rigidity=["soft", "stiff"]).values.tolist() == [3173.0, 3334.0]
    # in balance: forces, and moments about both axes
    stands = load.sel(case="accidental").values * np.array([2.0, 1, 1, 1, 1, 1])
    for arm in (np.ones(6), loads.data["x"].values, loads.data["y"].values):
        left = found.load.sel(lost="C0").values @ arm - stands @ arm
        assert abs(left).max() < 1e-6
    assert found.hold_down.sel(lost="C0", column="C5").values == pytest.approx(pull.values)
    both = found.add_to(load)
    most = float(pull.max())
    assert float(both.sel(case="column loss", column="C5")) == pytest.approx(4e6)
    assert float(both.sel(case="column loss least", column="C5")) == pytest.approx(-most)
    tie = hold_down(both).sel(column="C5")
    assert float(tie["tie_force"]) == pytest.approx(most)
    assert tie["lowest_case"].item() == "column loss least"
    assert "C0 lost: C5 held down, would pull with 3334 kN" in json.loads(both.attrs["notes"])

    rules = PackRules(deflection=(0.02, 0.03), most=100, gap=0.0)
    untied = make_schedule(choose_packs(both, _springs(), rules=rules))
    assert not bool(untied.data["met"].sel(column="C5"))
    chosen = choose_packs(both, _springs(), rules=replace(rules, tied=("C5",)))
    tied = make_schedule(chosen)
    row = tied.data.sel(column="C5")
    assert bool(row["met"])
    assert float(row["tie_force"]) == pytest.approx(most)
    # C3 lifts off after the loss of C2 alone, and no tie of it is spoken of
    assert not bool(tied.data["met"].sel(column="C3"))
    assert "least load: 0 kN in the case 'column loss least'" in chosen.why["C3"]
    travel = column_loss_travel(found, schedule=tied)
    assert float(travel["hold_down"].sel(lost="C0", column="C5")) == pytest.approx(most)
    sentences = json.loads(travel.attrs["sentences"])
    assert "C0 lost: C5, held down, would pull with 3334 kN" in sentences


def test_what_would_hold_a_column_is_what_its_tie_then_takes(six) -> None:
    """Each column that lifts off, held alone beside what is held already, pulls what was said."""
    loads, floors = six
    load = combine(loads)
    tried = 0
    for lost, held in (("C2", []), ("C2", ["C5"]), ("C0", ["C5"])):
        asked = {"floors": floors, "lost": [lost], "dynamic": 2.0}
        found = lose_columns(loads, load, held=held, **asked)
        off = found.lifted.sel(lost=lost)
        for name in off["column"].values[off.any("rigidity").values].tolist():
            tied = lose_columns(loads, load, held=[*held, name], **asked)
            pull = (-tied.load.sel(lost=lost, column=name)).where(off.sel(column=name), 0.0)
            said = found.hold_down.sel(lost=lost, column=name)
            assert said.values == pytest.approx(pull.values, rel=1e-9)
            tried += 1
    assert tried >= 3


def test_a_column_that_is_lost_itself_is_not_unloaded_by_it(six) -> None:
    loads, floors = six
    found = lose_columns(loads, combine(loads), floors=floors, lost=["C1"])
    for case in (found.worst(), found.least()):
        assert float(case.sel(column="C1").squeeze()) == pytest.approx(2e6)
        assert json.loads(case.attrs["cautions"])
    assert json.loads(found.load.attrs["cautions"])


def test_refuses_nothing_lost_and_a_column_loss_twice(six) -> None:
    loads, floors = six
    load = combine(loads)
    with pytest.raises(ValueError, match="lose_columns: lost holds no column"):
        lose_columns(loads, load, floors=floors, lost=[])
    found = lose_columns(loads, load, floors=floors, lost=["C1"])
    both = found.add_to(load)
    assert json.loads(both.attrs["cautions"]) == json.loads(load.attrs["cautions"]) != []
    with pytest.raises(ValueError, match="load holds the case 'column loss' already"):
        found.add_to(both)


def test_a_column_loss_keeps_to_the_loads_it_was_made_for(six) -> None:
    """That of a revision with half the loads went into the schedule of the next one."""
    loads, floors = six
    heavy = loads.data.copy()
    heavy["permanent"] = 2 * heavy["permanent"]
    later = ColumnLoads(data=heavy, revision="P2")
    load, load_later = combine(loads), combine(later)
    found = lose_columns(loads, load, floors=floors, lost=["C1"])
    rules = PackRules(deflection=(0.02, 0.03), most=100, gap=0.0)
    packs = {n: make_schedule(choose_packs(q, _springs(), rules=rules))
             for n, q in (("P1", load), ("P2", load_later))}  # fmt: skip
    found.add_to(load)
    column_loss_travel(found, schedule=packs["P1"])
    with pytest.raises(ValueError, match="of revision 'P1' and these loads are of 'P2'"):
        found.add_to(load_later)
    with pytest.raises(ValueError, match="of revision 'P1' and these loads are of 'P2'"):
        column_loss_travel(found, schedule=packs["P2"])
    with pytest.raises(ValueError, match="load is of revision 'P2' and loads are of 'P1'"):
        lose_columns(loads, load_later, floors=floors)
    # under one label as well
    again = combine(ColumnLoads(data=heavy, revision="P1"))
    with pytest.raises(ValueError, match=r"made for other loads: column C0 carries 6000 kN there"):
        found.add_to(again)
    schedule = make_schedule(choose_packs(again, _springs(), rules=rules))
    with pytest.raises(ValueError, match=r"case 'quasi-permanent' and 12000 kN here"):
        column_loss_travel(found, schedule=schedule)


def test_a_column_that_a_loss_lifts_off_is_said_to_lift(six) -> None:
    """Its least load is 0, which was told in the notes only."""
    loads, floors = six
    load = combine(loads)
    found = lose_columns(loads, load, floors=floors, lost=["C2"], dynamic=2.0)
    off = found.lifted.any(["rigidity", "lost"])
    names = off["column"].values[off.values].tolist()
    assert names
    down = hold_down(found.add_to(load))
    assert down["column"].values[down["lifts"].values].tolist() == names
    assert down["lowest_case"].sel(column=names).str.startswith("column loss").all()
    assert float(down["tie_force"].max()) == 0.0
    assert f"{', '.join(names)} would lift off, untied" in down.attrs["caution"]
    assert not bool(hold_down(load)["lifts"].any())
    assert "would lift off" not in hold_down(load).attrs["caution"]


@pytest.mark.parametrize("slip", [70.0, 7e4])
def test_packs_in_another_unit_of_stiffness_are_refused(six, slip) -> None:
    """70 kN/mm, or as many thousand N/mm, taken for N/m, hand a load on as no pack would."""
    loads, floors = six
    for given in (slip, xr.full_like(loads.data["x"].drop_attrs(), slip)):
        with pytest.raises(ValueError, match=r"mount_stiffness is in N/m, is it given in N/mm"):
            lose_columns(loads, combine(loads), floors=replace(floors, mount_stiffness=given))
    lose_columns(loads, combine(loads), floors=replace(floors, mount_stiffness=7e7), lost=["C1"])
