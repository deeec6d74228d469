"""Column loads: units, doubles, revisions, combinations and the loss of a column."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import xarray as xr

from groundborne._checks import TableError
from groundborne.loads import PSI, ColumnLoads, Psi, psi_factors, read_loads
from groundborne.sizing.loads.cases import CASES, combine
from groundborne.sizing.loads.factors import Factors
from groundborne.sizing.loads.revision import compare_revisions
from groundborne.sizing.lost_columns.column_loss import lose_columns
from groundborne.sizing.lost_columns.handing_over import adjacent_columns
from groundborne.usual_ranges import UnusualValueWarning

ROUGH = "inverse distance"
HEAD = "column,x_m,y_m,permanent_kn,imposed_kn,wind_x_kn,wind_y_kn"
ROWS = (
    "A1,0,0,3000,300,40,-90",
    "A2,0,6,5000,600,40,0",
    "A3,0,12,3000,300,40,90",
    "B1,6,0,4000,500,-40,-90",
    "B2,6,6,8000,900,-40,0",
    "B3,6,12,4000,500,-40,90",
)


@pytest.fixture
def write(tmp_path):
    def make(*rows: str, head: str = HEAD, name: str = "loads.csv"):
        file = tmp_path / name
        file.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
        return file

    return make


@pytest.fixture
def loads(write) -> ColumnLoads:
    return read_loads(write(*ROWS), revision="P1")


def in_newtons(row: str) -> str:
    cells = row.split(",")
    return ",".join([*cells[:3], *(f"{float(c) * 1e3:g}" for c in cells[3:])])


def test_kilonewtons_and_newtons_give_the_same(write, loads) -> None:
    other = read_loads(
        write(*map(in_newtons, ROWS), head=HEAD.replace("_kn", "_n"), name="n.csv"), revision="P1"
    )
    xr.testing.assert_allclose(other.data, loads.data, rtol=1e-12)
    assert float(loads.data["permanent"].sel(column="B2")) == 8e6
    assert loads.data["permanent"].attrs["units"] == "N"
    assert loads.data["row"].values.tolist() == [2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize(
    ("slip", "said"),
    [
        (("B1,6,0,4000", "B1,6,0,40000"), r"row 5, column 'permanent_kn': .*'B1' .* is 10, unus"),
        (("A3,0,12,3000", "A3,0,12,300"), r"row 4, column 'permanent_kn': .*'A3' .* is 0\.0\d"),
        (("A2,0,6,5000,600", "A2,0,6,5000,6000"), r"row 3, column 'imposed_kn': .*'A2' .* is 12,"),
    ],
)
def test_a_load_ten_times_off_its_neighbours_is_named(write, slip, said) -> None:
    wide = (1e5, 1e8)
    rows = [row.replace(*slip) for row in ROWS]
    assert rows != list(ROWS)
    with pytest.warns(UnusualValueWarning, match=said):
        read_loads(write(*rows), revision="P1", plausible=wide)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        read_loads(write(*ROWS), revision="P1", plausible=wide)


def test_newtons_under_a_heading_of_kilonewtons_are_refused(write) -> None:
    with pytest.raises(TableError, match=r"'permanent_kn' is 3e\+06 kN, out .* looks like N "):
        read_loads(write(*map(in_newtons, ROWS)), revision="P1")
    with pytest.raises(TableError, match=r"row 2, column 'permanent_n': .*is the table in kN\?"):
        read_loads(write(*ROWS, head=HEAD.replace("_kn", "_n")), revision="P1")


def test_one_column_in_the_wrong_unit_is_refused(write) -> None:
    rows = [r.replace(",300,", ",300000,").replace(",600,", ",600000,") for r in ROWS]
    rows = [r.replace(",500,", ",500000,").replace(",900,", ",900000,") for r in rows]
    with pytest.raises(TableError, match=r"column 'imposed_kn': the loads are 115 of"):
        read_loads(write(*rows), revision="P1")


def test_bounds_that_would_let_units_be_confused_are_refused(write) -> None:
    with pytest.raises(ValueError, match="at most 1000 times it, or N and kN could be confused"):
        read_loads(write(*ROWS), revision="P1", plausible=(1e3, 1e8))


@pytest.mark.parametrize(
    ("head", "message"),
    [
        (HEAD.replace("imposed_kn", "imposed"), "'imposed' has no unit"),
        (HEAD.replace("imposed_kn", "imposed_n"), "'permanent_kn' is in kN and 'imposed_n' in N"),
        (HEAD.replace("imposed_kn", "imposed_mn"), "'imposed_mn' is in 'mn'"),
        (HEAD.replace("wind_x_kn", "permanent_n"), "'permanent_kn' and 'permanent_n' are the same"),
        (HEAD.replace("wind_x_kn", "colour"), "column 'colour' is unknown"),
        (HEAD.replace("permanent_kn", "structure_kn"), "the permanent load is missing"),
        (HEAD.replace("imposed_kn", "accidental_kn"), "'imposed_kn' .* is missing"),
        (HEAD.replace("wind_x_kn", "wind_kn"), "exclude another"),
    ],
)
def test_headers_are_refused(write, head: str, message: str) -> None:
    with pytest.raises(TableError, match=message):
        read_loads(write(*ROWS, head=head), revision="P1")


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("A1,6,18,3000,300,40,0", r"row 8, column 'column': 'A1' was given in row 2 already"),
        ("C1,0.01,0,3000,300,40,0", r"row 8, columns 'x_m' and 'y_m': 'C1' stands where 'A1'"),
        (
            "C1,12,0,3000,-300,40,0",
            r"row 8, column 'imposed_kn': -300 is out of bounds; it must be",
        ),
        ("C1,12,0,,300,40,0", r"row 8, column 'permanent_kn': the cell is empty"),
        ("total,12,0,27000,3100,0,0", r"row 8: 'total' carries as much as all others"),
    ],
)
def test_rows_are_refused(write, row: str, message: str) -> None:
    with pytest.raises(TableError, match=message):
        read_loads(write(*ROWS, row), revision="P1")


def test_parts_must_add_up(write) -> None:
    head = "column,x_m,y_m,permanent_kn,structure_kn,superimposed_kn,imposed_kn"
    with pytest.raises(TableError, match=r"row 3: .* add up to 4900 kN, and permanent is 5000 kN"):
        read_loads(
            write("A1,0,0,3000,2000,1000,300", "A2,0,6,5000,3900,1000,600", head=head),
            revision="P1",
        )


def test_revision_is_needed_and_one(write) -> None:
    with pytest.raises(TableError, match="no revision is known"):
        read_loads(write(*ROWS))
    noted = write(*ROWS, head=f"# Invented.\n# revision: P3\n{HEAD}")
    assert read_loads(noted).revision == "P3"
    with pytest.raises(TableError, match="notes revision 'P3', and 'P4' was asked for"):
        read_loads(noted, revision="P4")


def test_combinations_by_hand(loads) -> None:
    """Written out for A1: G 3000, Q 300, wind x 40, wind y -90 kN; psi0 0.7, wind 0.6 (EN 1990)."""
    load = combine(loads).sel(column="A1") / 1e3
    expected = {
        "least": 3000.0,
        "quasi-permanent": 3000 + 0.3 * 300,
        "service": 3000 + 300 + 0.6 * 90,
        "wind x+": 3000 + 40 + 0.7 * 300,
        "wind x-": 3000 - 40,
        "wind y+": 3000 - 90,
        "wind y-": 3000 + 90 + 0.7 * 300,
        "ultimate": 1.35 * 3000 + 1.5 * (300 + 0.6 * 90),
        "uplift": 3000 - 1.5 * 90,
        "equilibrium x+": 1.1 * 3000 + 1.5 * (40 + 0.7 * 300),
        "equilibrium x-": 0.9 * 3000 - 1.5 * 40,
        "equilibrium y+": 0.9 * 3000 - 1.5 * 90,
        "equilibrium y-": 1.1 * 3000 + 1.5 * (90 + 0.7 * 300),
        "accidental": 3000 + 0.5 * 300,
    }
    assert load["case"].values.tolist() == list(CASES) == list(expected)
    np.testing.assert_allclose(load.values, list(expected.values()), rtol=1e-12)


def test_leading_wind_governs_where_it_is_larger(write) -> None:
    loads = read_loads(write("A1,0,0,3000,100,0,900", "A2,0,6,3000,100,0,0"), revision="P1")
    found = float(combine(loads).sel(case="ultimate", column="A1")) / 1e3
    assert found == pytest.approx(1.35 * 3000 + 1.5 * (900 + 0.7 * 100), rel=1e-12)


def test_factors_are_editable(loads) -> None:
    tenth = combine(loads, factors=Factors(quasi_permanent=0.1, accidental="psi2"))
    assert float(tenth.sel(case="quasi-permanent", column="B2")) == pytest.approx(8.09e6)
    assert float(tenth.sel(case="accidental", column="B2")) == pytest.approx(8.27e6)
    annex = Factors(psi={**PSI, "A": Psi(psi0=0.7, psi1=0.5, psi2=0.2)})
    found = combine(loads, factors=annex)
    assert float(found.sel(case="quasi-permanent", column="B2")) == pytest.approx(8.18e6)
    with pytest.raises(ValueError, match=r"permanent is 0\.9; it must lie between 1 and 2"):
        Factors(permanent=0.9)
    with pytest.raises(ValueError, match=r"psi2 is 1\.3"):
        Psi(psi0=0.7, psi1=0.5, psi2=1.3)
    with pytest.raises(ValueError, match="name is 'Z'; known are"):
        psi_factors("Z")


def test_category_by_column(write) -> None:
    head = "column,x_m,y_m,permanent_n,imposed_n,category"
    rows = ("A1,0,0,3e6,3e5,E", "A2,0,6,3e6,3e5,B")
    loads = read_loads(write(*rows, head=head), revision="P1")
    working = combine(loads).sel(case="quasi-permanent")
    np.testing.assert_allclose(working.values, [3.24e6, 3.09e6], rtol=1e-12)
    odd = read_loads(write("A1,0,0,3e6,3e5,K", rows[1], head=head), revision="P1")
    with pytest.raises(ValueError, match=r"loads\.csv, row 2, column 'category': category is 'K'"):
        combine(odd)


def test_missing_wind_and_accident_are_said(write) -> None:
    loads = read_loads(
        write("A1,0,0,3000,300", "A2,0,6,3000,300", head="column,x_m,y_m,permanent_kn,imposed_kn"),
        revision="P1",
    )
    load = combine(loads)
    assert [c for c in load["case"].values if "wind" in c] == []
    assert "no wind in x" in load.attrs["notes"]
    assert "no accidental load" in load.attrs["notes"]
    assert load.attrs["units"] == "N"
    assert load.attrs["revision"] == "P1"
    assert "from memory" in load.attrs["citations"]


def test_every_change_of_a_revision_is_named(write, loads) -> None:
    after = read_loads(
        write(
            "A1,0,0,3000,300,40,-90",
            "A02,0,6,5000,600,40,0",
            "A3,0,12,3600,300,40,90",
            "B2,6,6,8000,900,-40,0",
            "B3,6.5,12,4000,500,-40,90",
            "C1,12,0,2000,200,0,0",
            "A1,12,6,2000,200,0,0",
            "C4,12,0,2100,200,0,0",
            name="second.csv",
        ),
        revision="P2",
        refuse_doubles=False,
    )
    found = compare_revisions(loads, after)
    said = "\n".join(found.sentences)
    assert "second.csv, row 3: 'A2' of P1 is now called 'A02'" in said
    assert "loads.csv, row 5: 'B1' (4000 kN permanent) is missing in P2" in said
    assert "second.csv, row 7: 'C1' (2000 kN permanent) is new" in said
    assert "second.csv, row 8, column 'column': 'A1' was given in row 2 already" in said
    assert "second.csv, row 9, columns 'x_m' and 'y_m': 'C4' stands where 'C1' of row 7" in said
    assert "row 6, columns 'x_m' and 'y_m': 'B3' stands at (6.5, 12) m, was at (6, 12) m" in said
    assert "row 4, column 'permanent': 'A3' is 3600 kN, was 3000 kN in P1 (+20.0 %)" in said
    assert found.of("renamed") == ["A02"]
    assert found.of("missing") == ["B1"]
    assert found.of("added") == ["C1", "C4"]
    assert found.of("changed") == ["A3"]
    assert len(found.of("doubled")) == 2
    assert not found.is_clean
    with pytest.raises(ValueError, match=r"combine: second.csv, row 8"):
        combine(after)


def test_equal_revisions_are_clean_and_small_changes_pass(write, loads) -> None:
    rows = [ROWS[0].replace("3000", "3020"), *ROWS[1:]]
    after = read_loads(write(*rows, name="second.csv"), revision="P2")
    assert compare_revisions(loads, after).is_clean
    tight = compare_revisions(loads, after, tolerance=0.005)
    assert tight.of("changed") == ["A1"]


def test_swapped_names_are_moved(write, loads) -> None:
    rows = [ROWS[0].replace("A1,", "A2,"), ROWS[1].replace("A2,", "A1,"), *ROWS[2:]]
    found = compare_revisions(loads, read_loads(write(*rows, name="s.csv"), revision="P2"))
    assert sorted(found.of("moved")) == ["A1", "A2"]
    assert found.of("renamed") == []


def test_a_load_only_one_revision_holds_is_named(write, loads) -> None:
    rows = [r.rsplit(",", 1)[0] for r in ROWS]
    after = read_loads(write(*rows, head=HEAD.rsplit(",", 1)[0], name="s.csv"), revision="P2")
    assert "P1 holds 'wind_y', and P2 does not" in compare_revisions(loads, after).sentences


def test_lost_column_goes_to_its_neighbours_by_the_rough_rule(loads) -> None:
    load = combine(loads)
    found = lose_columns(loads, load, lost=["A2", "B2"], dynamic=1.5, rule=ROUGH)
    before = load.sel(case="accidental")
    after = found.load.sel(lost="A2").squeeze("rigidity")
    assert float(after.sel(column="A2")) == 0.0
    third = float(before.sel(column="A2")) / 3
    for name in ("A1", "A3", "B2"):
        expected = float(before.sel(column=name)) + 1.5 * third
        assert float(after.sel(column=name)) == pytest.approx(expected, rel=1e-12)
    for name in ("B1", "B3"):
        assert float(after.sel(column=name)) == float(before.sel(column=name))
    np.testing.assert_allclose(found.share.sum("column"), 1.0, rtol=1e-12)
    both = found.add_to(load)
    assert both["case"].values[-2:].tolist() == ["column loss", "column loss least"]
    assert float(both.sel(case="column loss", column="A1")) == pytest.approx(
        float(found.load.sel(column="A1").max()), rel=1e-12
    )


def test_nearer_neighbours_take_more(write) -> None:
    loads = read_loads(
        write("A,0,0,3000,300", "B,4,0,3000,300", "C,12,0,3000,300",
              head="column,x_m,y_m,permanent_kn,imposed_kn"),
        revision="P1",
    )  # fmt: skip
    found = lose_columns(loads, combine(loads), lost=["B"], rule=ROUGH)
    share = found.share.sel(lost="B").squeeze("rigidity")
    np.testing.assert_allclose(share.values, [2 / 3, 0, 1 / 3], rtol=1e-12)
    assert adjacent_columns(loads).sel(lost="A").values.tolist() == [np.inf, 4.0, np.inf]


def test_a_column_loss_refuses(write, loads) -> None:
    load = combine(loads)
    with pytest.raises(ValueError, match=r"lost is 'Z9'; known are"):
        lose_columns(loads, load, lost=["Z9"], rule=ROUGH)
    with pytest.raises(ValueError, match="dynamic is 3"):
        lose_columns(loads, load, dynamic=3.0, rule=ROUGH)
    alone = read_loads(
        write("A,0,0,3000,300", "B,5,5,3000,300", head="column,x_m,y_m,permanent_kn,imposed_kn"),
        revision="P1",
    )
    with pytest.raises(ValueError, match="'A' has no other column on its grid lines"):
        lose_columns(alone, combine(alone), rule=ROUGH)


def test_the_tower_is_read(data_folder) -> None:
    loads = read_loads(data_folder / "tower" / "columns.csv", revision="P1")
    assert len(loads.names) == 60
    load = combine(loads)
    # Working load of an interior column, as the study states it: G + 0.3 Q.
    assert float(load.sel(case="quasi-permanent", column="B2")) == pytest.approx(8114.4e3)
    increase = lose_columns(loads, load, rule=ROUGH).increase
    assert float(increase.min()) > 1.1
    assert float(increase.max()) < 2.5


def test_printed_combinations_of_strength(write) -> None:
    """1.35 G + 1.5 S + 0.9 W and 1.35 G + 1.5 W + 0.75 S, as a design guide prints them.

    Steel Buildings in Europe, part 3: Actions, section 3.2 [seen], for expression 6.10 of EN 1990.
    """
    head = "column,x_m,y_m,permanent_kn,imposed_kn,wind_x_kn,category"
    rows = ('A1,0,0,3000,500,100,"snow, low"', 'A2,0,6,3000,100,500,"snow, low"')
    load = combine(read_loads(write(*rows, head=head), revision="P1")).sel(case="ultimate") / 1e3
    assert float(load.sel(column="A1")) == pytest.approx(1.35 * 3000 + 1.5 * 500 + 0.9 * 100)
    assert float(load.sel(column="A2")) == pytest.approx(1.35 * 3000 + 1.5 * 500 + 0.75 * 100)


def test_an_imposed_load_that_lifts_is_refused_in_memory_as_in_files() -> None:
    """It was never factored as an action that lifts: 0.9 G - 1.5 Q of 1000 and 1200 kN is -900."""
    data = {"x": 0.0, "y": 0.0, "permanent": 1e6, "imposed": -1.2e6}
    dataset = xr.Dataset({n: ("column", [v]) for n, v in data.items()}, coords={"column": ["A"]})
    with pytest.raises(
        ValueError, match=r"imposed \(only wind and accident may lift\) is -1.2e\+06"
    ):
        ColumnLoads(data=dataset, revision="P1")
    # As wind, which lifts, it is factored; 1.5 × 1200 - 0.9 × 1000 by hand.
    lifts = dataset.assign(imposed=0 * dataset["imposed"], wind_n=dataset["imposed"])
    lifts["wind_s"] = -lifts["wind_n"]
    assert float(combine(ColumnLoads(data=lifts, revision="P1")).min()) == pytest.approx(-9e5)


def test_columns_in_millimetres_are_refused(write, tmp_path) -> None:
    text = "column,x_m,y_m,permanent_kn,imposed_kn\nA,0,0,1000,100\nB,6000,0,1000,100\n"
    file = tmp_path / "mm.csv"
    file.write_text(text + "C,0,6000,1000,100\n", encoding="utf-8")
    with pytest.raises(
        TableError, match=r"distance of a column to the next one is 6000 m.*like mm"
    ):
        read_loads(file, revision="P1")
    file.write_text((text + "C,0,6000,1000,100\n").replace("6000", "6"), encoding="utf-8")
    found = read_loads(file, revision="P1")
    data = found.data.assign(x=found.data["x"] * 1e3, y=found.data["y"] * 1e3)
    with pytest.raises(ValueError, match=r"the next one is 6000; .* are x and y in mm"):
        ColumnLoads(data=data, revision="P1")
