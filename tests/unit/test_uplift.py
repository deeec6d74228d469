"""Wind that unloads or lifts a column: cases of every direction, rules of packs, forces in ties.

Factors: EN 1990:2002, Tables A1.2(A) and A1.2(B) [seen second-hand]; the rest by hand.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
import xarray as xr

from groundborne import ValidityWarning, sizing
from groundborne.sizing import ColumnLoads, Components, Factors, PackRules
from groundborne.sizing.loads.cases import one_way

RULES = PackRules(deflection=(0.020, 0.030), most=80)


def loads(**columns: dict[str, float]) -> ColumnLoads:
    """Loads by column in kN; x and y follow from the order."""
    names = list(dict.fromkeys(n for c in columns.values() for n in c))
    data = {n: ("column", [c.get(n, 0.0) * 1e3 for c in columns.values()]) for n in names}
    data |= {"x": ("column", 6.0 * np.arange(len(columns))), "y": ("column", [0.0] * len(columns))}
    return ColumnLoads(data=xr.Dataset(data, coords={"column": list(columns)}), revision="P1")


def springs(least: float = 12e3) -> Components:
    """One type: 2000 kN sink 25 mm on 80 MN/m, and 80 of them need 960 kN at the least."""
    part = {
        "kind": "spring", "static_stiffness": 1e6, "dynamic_stiffness": 1e6, "loss_factor": 0.01,
        "own_mass": 8.0, "least_load": least, "rated_load": 3e4, "largest_load": 9e4,
        "largest_deflection": 0.09, "lateral_stiffness": 7e5, "height": 0.3, "plan_x": 0.2,
        "plan_y": 0.2, "stiffness_tolerance": 0.05, "creep_per_decade": 0.0,
    }  # fmt: skip
    data = {n: ("component", [v]) for n, v in part.items()}
    return Components(data=xr.Dataset(data, coords={"component": ["S1"]}))


def chosen(wind: float, **rules: object) -> sizing.Packs:
    load = sizing.combine(loads(A={"permanent": 2000, "imposed": 0, "wind_x": wind}))
    given = {"deflection": (0.0249, 0.0251), "most": 80}
    return sizing.choose_packs(load, springs(), rules=PackRules(**given | rules))


def test_wind_that_lifts_a_column_breaks_a_rule() -> None:
    """2000 kN permanent and 2600 kN wind: version 0.1 said that every rule was kept."""
    found = chosen(2600.0)
    assert not found.is_met
    assert not found.met.any()
    assert "uplift: -2100 kN in the case 'equilibrium x-'; the column lifts" in found.why["A"]


def test_wind_that_unloads_a_column_below_its_least_load_breaks_a_rule() -> None:
    """700 kN under 80 springs that need 960 kN: version 0.1 passed over it without a word."""
    mild = Factors(equilibrium_favourable=1.0, equilibrium_variable=1.0, variable=1.0)
    load = sizing.combine(loads(A={"permanent": 2000, "imposed": 0, "wind_x": 1300}), factors=mild)
    rules = PackRules(deflection=(0.0249, 0.0251), most=80, tied=("A",))
    found = sizing.choose_packs(load, springs(), rules=rules)
    assert not found.is_met
    assert "least load: 700 kN in the case 'wind x-', 960 kN needed" in found.why["A"]
    schedule = sizing.make_schedule(found)
    assert any(
        n.startswith("A: 700 kN in the case 'wind x-', below the 960 kN") for n in schedule.notes
    )
    with pytest.raises(ValueError, match="1 column cannot be met, first 'A'"):
        schedule.mount()


@pytest.mark.filterwarnings("ignore:.*not reversed")
@pytest.mark.parametrize("direction", ["x+", "x-", "y+", "y-", "ne"])
def test_each_direction_is_looked_at(direction: str) -> None:
    """Only one direction lifts; the sentence names its case."""
    name, sign = f"wind_{direction.rstrip('+-')}", -1.0 if direction[-1] != "-" else 1.0
    load = sizing.combine(loads(A={"permanent": 2000, "imposed": 0, name: sign * 1900}))
    found = sizing.choose_packs(load, springs(), rules=RULES)
    assert f"in the case 'equilibrium {direction}'" in found.why["A"]
    assert float(load.sel(case=f"wind {direction}")[0]) == pytest.approx(100e3)
    assert float(load.sel(case=f"equilibrium {direction}")[0]) == pytest.approx(
        (0.9 * 2000 - 1.5 * 1900) * 1e3
    )


def test_a_direction_of_its_own_name_is_read_and_not_turned_round(tmp_path) -> None:
    file = tmp_path / "loads.csv"
    file.write_text(
        "column,x_m,y_m,permanent_kn,imposed_kn,wind_x_kn,wind_ne_kn\n"
        "A1,0,0,3000,300,40,-90\nA2,0,6,5000,600,-40,70\n"
    )
    table = sizing.read_loads(file, revision="P1")
    assert list(table.winds) == ["x+", "x-", "ne"]
    with pytest.warns(ValidityWarning, match="wind ne is taken as it stands, not reversed"):
        load = sizing.combine(table)
    assert [c for c in load["case"].values if "ne" in c.split()] == ["wind ne", "equilibrium ne"]
    assert load.sel(case="wind ne").values.tolist() == [2910e3, 5000e3 + 70e3 + 0.7 * 600e3]
    # The most that any direction presses or lifts: A1 is lifted by 90, A2 pressed by 70.
    assert load.sel(case="uplift").values.tolist() == [3000e3 - 1.5 * 90e3, 5000e3 - 1.5 * 40e3]
    assert float(load.sel(case="service", column="A2")) == pytest.approx(5642e3)
    later = sizing.compare_revisions(
        table,
        ColumnLoads(data=table.data.assign(wind_ne=2 * table.data["wind_ne"]), revision="P2"),
    )
    assert any("column 'wind_ne': 'A1' is -180 kN, was -90 kN" in s for s in later.sentences)


def test_a_direction_without_its_opposite_is_cautioned_wherever_it_counts() -> None:
    """Lifted by sw only: version 0.1 said that nothing lifts, and not that sw is not in it."""
    table = loads(A={"permanent": 800, "imposed": 100, "wind_ne": 700})
    with pytest.warns(ValidityWarning, match="wind ne is taken as it stands, not reversed"):
        load = sizing.combine(table)
    said = "wind ne is taken as it stands, not reversed; give its opposite as a direction of its"
    assert json.loads(load.attrs["notes"])[0].startswith(said)
    found = sizing.hold_down(load)
    assert not found["lifts"].any()
    assert said in found.attrs["caution"]
    assert said in sizing.hold_down_table(found).attrs["caution"]
    packs = sizing.choose_packs(load, springs(1e3), rules=RULES)
    schedule = sizing.make_schedule(packs)
    assert [c for c in schedule.cautions if c.startswith(said)]
    assert not any(n.startswith(said) for n in schedule.notes)


def four(sign: bool) -> ColumnLoads:
    """Wind from east and west that turns four columns over, with signs or as magnitudes."""
    east = {"A": -400, "B": -100, "C": 100, "D": 400}
    winds = {c: (e, -e) if sign else (abs(e), abs(e)) for c, e in east.items()}
    return loads(
        **{
            c: {"permanent": 500, "imposed": 100, "wind_e": e, "wind_w": w}
            for c, (e, w) in winds.items()
        }
    )


def test_a_named_wind_without_signs_is_named_wherever_its_uplift_counts() -> None:
    """Magnitudes pressed every column: nothing lifted, and nobody was told."""
    said = "wind e presses the columns by 1000 kN in all and lifts them by 0 kN"
    with pytest.warns(ValidityWarning, match=said):
        load = sizing.combine(four(sign=False))
    held = sizing.hold_down(load)
    assert not held["lifts"].any()
    assert said in held.attrs["caution"]
    assert said.replace(" e ", " w ") in sizing.hold_down_table(held).attrs["caution"]
    schedule = sizing.make_schedule(sizing.choose_packs(load, springs(1e3), rules=RULES))
    assert [c for c in schedule.cautions if c.startswith(said)]


def test_a_named_wind_with_signs_lifts_and_says_nothing_of_axes() -> None:
    load = sizing.combine(four(sign=True))  # a warning would be an error here
    held = sizing.hold_down(load)
    assert held["lifts"].values.tolist() == [True, False, False, True]
    assert not [n for n in json.loads(load.attrs["notes"]) if "no wind in" in n]
    one = sizing.combine(loads(A={"permanent": 500, "imposed": 100, "wind_x": 40}))
    assert "the table holds no wind in y; its cases are left out" in one.attrs["notes"]


def test_a_name_that_tells_no_direction_is_cautioned() -> None:
    assert [s.split(" is ")[0] for s in one_way(["wind a1", "wind ne", "wind x+", "wind x-"])] == [
        "wind a1", "wind ne",
    ]  # fmt: skip


def test_a_direction_with_its_opposite_needs_no_caution() -> None:
    both = {"wind_ne": 700, "wind_sw": -600, "wind_30": 100, "wind_210": -90, "wind_x": 50}
    load = sizing.combine(loads(A={"permanent": 800, "imposed": 100, **both}))
    assert "not reversed" not in load.attrs["notes"] + sizing.hold_down(load).attrs["caution"]
    assert float(load.sel(case="equilibrium sw")[0]) == pytest.approx((0.9 * 800 - 900) * 1e3)


def test_no_tie_is_asked_for_where_a_column_lifts_in_service() -> None:
    """Declared tied, and told that it needs a tie, one that must not touch where it had to."""
    table = {"permanent": 330, "imposed": 60, "wind_w": -400, "wind_e": 400}
    load = sizing.combine(loads(F1=table))
    rules = PackRules(deflection=(0.020, 0.030), most=80, tied=("F1",))
    packs = sizing.choose_packs(load, springs(1e3), rules=rules)
    assert (
        "uplift: -70 kN in the case 'wind w'; the column lifts in service: no tie cures that"
        in (packs.why["F1"])
    )
    assert "needs a tie" not in packs.why["F1"]
    free = sizing.choose_packs(load, springs(1e3), rules=RULES).why["F1"]
    assert "lifts, in service too, -70 kN in the case 'wind w': no tie cures that" in free
    (note,) = (n for n in sizing.make_schedule(packs).notes if n.startswith("F1: lifts"))
    assert note.startswith(
        "F1: lifts in service, by 70 kN in the case 'wind w' (at most 303 kN, in the case "
        "'equilibrium w'); no tie cures that"
    )
    assert "must not touch" not in note
    held = sizing.hold_down_table(sizing.hold_down(load))
    assert held[["service_pull_kn", "service_case"]].values.tolist() == [[70.0, "wind w"]]
    assert "F1: lifts in service, and no tie cures that" in held.attrs["caution"]


def test_factors_of_strength_and_of_equilibrium_are_apart() -> None:
    table = loads(A={"permanent": 2000, "imposed": 500, "wind_x": 400})

    def moved(**factors: float) -> set[str]:
        before, after = sizing.combine(table), sizing.combine(table, factors=Factors(**factors))
        return set(before["case"].values[(before != after).any("column").values].tolist())

    assert moved(permanent_favourable=0.95) == {"uplift"}
    assert moved(least=0.9) == {"least"}
    assert moved(equilibrium_favourable=1.0) == {"equilibrium x-"}
    assert moved(equilibrium_permanent=1.35) == {"equilibrium x+"}
    assert moved(equilibrium_variable=1.3) == {"equilibrium x+", "equilibrium x-"}
    assert moved(variable=1.3) == {"ultimate", "uplift"}
    assert moved(permanent=1.2) == {"ultimate"}
    with pytest.raises(ValueError, match=r"equilibrium_favourable is 1\.1; it must lie between"):
        Factors(equilibrium_favourable=1.1)


def test_an_accident_that_lifts_has_no_imposed_load_to_hold_against_it() -> None:
    load = sizing.combine(
        loads(
            A={"permanent": 2000, "imposed": 500, "accidental": -300},
            B={"permanent": 2000, "imposed": 500, "accidental": 300},
        )
    )
    assert load.sel(case="accidental").values.tolist() == [1700e3, 2000e3 + 300e3 + 0.5 * 500e3]


def test_ties_are_demanded_where_a_column_lifts() -> None:
    """0.90 G - 1.5 W at the edge: 1800 - 1950 kN; the inner column does not lift."""
    load = sizing.combine(
        loads(
            A={"permanent": 2000, "imposed": 100, "wind_x": 1300},
            B={"permanent": 4000, "imposed": 200, "wind_x": 100},
            C={"permanent": 2000, "imposed": 100, "wind_x": 1400},
        )
    )
    found = sizing.hold_down(load)
    assert found.tie_force.values.tolist() == [150e3, 0.0, 300e3]
    assert found.lifts.values.tolist() == [True, False, True]
    assert not found.lifts_in_service.any()
    table = sizing.hold_down_table(found)
    assert table["column"].tolist() == ["C", "A"]
    assert table["tie_force_kn"].tolist() == [300.0, 150.0]
    assert "licensed engineers govern" in table.attrs["caution"]
    # What holds the columns down, and nothing else, closes the gap to 0.
    held = load.min("case") + found.tie_force
    assert held.values.tolist() == [0.0, float(load.sel(column="B").min()), 0.0]


def test_a_tied_column_is_met_and_its_tie_stands_in_the_schedule() -> None:
    load = sizing.combine(loads(A={"permanent": 2000, "imposed": 0, "wind_x": 1300}))
    loose = sizing.choose_packs(load, springs(4e3), rules=RULES)
    assert "uplift: -150 kN in the case 'equilibrium x-'" in loose.why["A"]
    tied = PackRules(deflection=(0.020, 0.030), most=80, tied=("A",))
    found = sizing.choose_packs(load, springs(4e3), rules=tied)
    assert found.is_met
    schedule = sizing.make_schedule(found)
    row = schedule.table().iloc[0]
    assert (row["tie_force_kn"], row["lowest_load_kn"]) == (150.0, -150.0)
    assert row["lowest_case"] == "equilibrium x-"
    assert any("its tie takes 150 kN, and must not touch in service" in n for n in schedule.notes)
    assert any("no design of a tie" in n for n in schedule.notes)
    assert any("licensed" in c for c in schedule.table().attrs["cautions"])
    with pytest.raises(ValueError, match="column of tied is 'Z'"):
        sizing.choose_packs(load, springs(), rules=PackRules(tied=("Z",)))


def test_a_tie_is_no_help_in_service() -> None:
    """2600 kN of wind lift the column by 600 kN without any factor."""
    found = chosen(2600.0, tied=("A",))
    assert "uplift: -600 kN in the case 'wind x-'" in found.why["A"]
    assert bool(sizing.hold_down(found.load)["lifts_in_service"].all())


def test_calm_columns_keep_their_packs_and_need_no_tie() -> None:
    found = chosen(100.0)
    assert found.is_met
    assert int(found.parts) == 80
    schedule = sizing.make_schedule(found)
    assert float(schedule.data["tie_force"].max()) == 0.0
    assert not any("lifts" in n for n in schedule.notes)
    assert json.loads(schedule.data.attrs["cautions"]) == list(sizing.CAUTIONS)
