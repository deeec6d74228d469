"""One load model: by column and level, below mounts, lines and schedules."""

from __future__ import annotations

import re
import shutil
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import loads, sizing, structure
from groundborne._checks import StudyFileError
from quiet_studies import read

SMALL = Path(__file__).resolve().parents[1] / "fuzz" / "small" / "lines"
G = 9.80665
COLUMNS = """column,x_m,y_m,permanent_kn,imposed_kn,panel_share
A1,0,0,450,90,0.5
B1,6,0,245,45,0.25
"""
PLACES = """column,x_m,y_m,panel_share
A1,0,0,0.5
B1,6,0,0.25
"""
LEVELS = """column,floor,permanent_kn,imposed_kn
A1,0,160,36
A1,1,160,36
A1,2,130,18
B1,0,85,18
B1,1,85,18
B1,2,75,9
"""
# Slabs of 0.25 m and 2400 kg/m3 on 18 and 9 m2; 0.16 m2 x 3.5 m x 2450 kg/m3 of column on floors 0
# and 1, none on the roof.
SLAB = {"A1": 0.25 * 2400 * 18, "B1": 0.25 * 2400 * 9}
SEGMENT = {"0": 0.16 * 3.5 * 2450, "1": 0.16 * 3.5 * 2450, "2": 0.0}


@pytest.fixture
def study(tmp_path):
    """A frame of three storeys on two columns, with changes of its files."""

    def make(*exchanges, levels=LEVELS, columns=COLUMNS, stated=""):
        folder = tmp_path / "frame"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(SMALL, folder)
        text = (folder / "study.toml").read_text(encoding="utf-8")
        named = 'columns = "columns.csv"'
        for old, new in ((named, f'{named}\nfloor_loads = "levels.csv"'), *exchanges):
            assert old in text, old
            text = text.replace(old, new, 1)
        (folder / "study.toml").write_text(text, encoding="utf-8")
        (folder / "levels.csv").write_text(levels, encoding="utf-8")
        (folder / "columns.csv").write_text(columns, encoding="utf-8")
        slabs = (folder / "structure.csv").read_text(encoding="utf-8")
        if not stated:
            slabs = slabs.replace(",superimposed_kg_m2", "")
        slabs = re.sub(r",100$", f",{stated}" if stated else "", slabs, flags=re.MULTILINE)
        (folder / "structure.csv").write_text(slabs, encoding="utf-8")
        return folder / "study.toml"

    return make


def refused(path, sentence, **more):
    with pytest.raises(StudyFileError) as caught:
        read(path, **more)
    (said,) = caught.value.errors
    assert re.search(sentence, said), said


def by_hand(cells, share=0.3):
    """Mass of each level and column by the numbers of the table [kg]."""
    rows = [line.split(",") for line in cells.splitlines()[1:]]
    return {(r[0], r[1]): (float(r[2]) + share * float(r[3])) * 1e3 / G for r in rows}


def test_masses_of_a_frame_of_three_storeys_on_two_columns_by_hand(study):
    found = read(study())
    masses = by_hand(LEVELS)
    assert masses["A1", "0"] == pytest.approx(17416.75, abs=0.01)  # (160 + 0.3 * 36) kN over g
    for storey in found.plane.line.storeys:
        for column, area in (("A1", 18), ("B1", 9)):
            own = SLAB[column] + SEGMENT[storey.floor]
            carried = (masses[column, storey.floor] - own) / area
            there = float(storey.slab.superimposed_mass.sel(column=column))
            assert there == pytest.approx(carried, rel=1e-12)
    above = {c: sum(m for (column, _), m in masses.items() if column == c) for c in ("A1", "B1")}
    for column, mass in above.items():
        assert float(found.plane.mass.sel(column=column)) == pytest.approx(mass, rel=1e-12)


@pytest.mark.parametrize("floor", ["0", "1", "2"])
def test_mounts_line_and_schedule_weigh_the_same_at_any_plane(study, floor):
    path = study(
        ('lowest_isolated_floor = "0"', f'lowest_isolated_floor = "{floor}"'), columns=PLACES
    )
    found = read(path)
    plane = found.plane
    masses = by_hand(LEVELS)
    above = sum(m for (_, level), m in masses.items() if level >= floor)
    assert float(plane.mass.sum()) == pytest.approx(above, rel=1e-12)
    np.testing.assert_allclose(plane.mass, plane.moving_mass, rtol=1e-9)
    load = sizing.combine(found.loads.of_revision("P1"))
    np.testing.assert_allclose(load.sel(case="quasi-permanent"), plane.mass * G, rtol=1e-12)


def test_an_evaluation_follows_the_levels(study):
    path = study()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = read(path).evaluate(band_levels=False)
    np.testing.assert_allclose(found["moving_mass"], found["carried_mass"], rtol=1e-9)
    # Of the same mass, but for crossings that are not listed: a twentieth of all, by area.
    plane = read(path).plane
    beside = 9.0**2 * 0.05 * plane.mass.sum() * plane.column_weights / plane.mass
    wanted = np.sqrt(found["nominal_frequency"] ** 2 + beside)  # of rubber in service
    np.testing.assert_allclose(found["mount_frequency"], wanted, rtol=1e-6)
    assert not [n for n in gb.study.notes_of(found) if n.kind == "masses differ"]
    assert "column" not in found["sound_level"].dims


def test_the_share_that_moves_is_told_by_floor_category_or_both_tables(study):
    share = ("imposed_share = 0.3", "")
    head, *rows = LEVELS.splitlines()
    uses = {"0": "E", "1": "B", "2": "H"}  # psi2 0.8, 0.3 and 0
    told = "\n".join([f"{head},category", *(f"{r},{uses[r.split(',')[1]]}" for r in rows)])
    by_category = read(study(share, levels=told))
    a1 = 450e3 + 0.8 * 36e3 + 0.3 * 36e3 + 0.0 * 18e3
    assert float(by_category.plane.mass.sel(column="A1")) * G == pytest.approx(a1)
    np.testing.assert_allclose(by_category.plane.mass, by_category.plane.moving_mass, rtol=1e-9)
    load = sizing.combine(by_category.loads.of_revision("P1"))
    assert float(load.sel(case="quasi-permanent", column="A1")) == pytest.approx(a1)
    # psi1 of E, B and H beside an accident: 0.9, 0.5 and 0.
    accident = 450e3 + 0.9 * 36e3 + 0.5 * 36e3
    assert float(load.sel(case="accidental", column="A1")) == pytest.approx(accident)
    psi2 = {"0": "0.8", "1": "0.3", "2": "0"}
    told = "\n".join([f"{head},imposed_share", *(f"{r},{psi2[r.split(',')[1]]}" for r in rows)])
    by_number = read(study(share, levels=told))
    np.testing.assert_allclose(by_number.plane.mass, by_category.plane.mass, rtol=1e-12)
    by_floor = xr.DataArray([0.8, 0.3, 0.0], coords={"floor": ["0", "1", "2"]})
    scripted = read(study(), changes={"isolation.load.imposed_share": by_floor})
    np.testing.assert_allclose(scripted.plane.mass, by_category.plane.mass, rtol=1e-12)
    twice = (
        r"\[isolation\], \[load\]: 'imposed_share' and the column 'NAME' .* both say .* leave one"
    )
    refused(study(levels=told), twice.replace("NAME", "imposed_share"))
    used = "\n".join([f"{head},category", *(f"{r},B" for r in rows)])
    refused(study(levels=used), twice.replace("NAME", "category"))
    first, *lines = COLUMNS.splitlines()
    used = "\n".join([f"{first},category", *(f"{line},E" for line in lines)])
    refused(study(columns=used), twice.replace("NAME", "category"))
    refused(study(share), r"the share of the imposed load that moves is not known; give it as 'imp")
    refused(study(share, levels=told.replace("imposed_share", "category")), r"category is '0'")


def test_samples_go_through_loads_lines_and_mounts(study):
    path = study(columns=PLACES)
    sample = {"sample": [0, 1]}
    share = xr.DataArray([0.2, 0.5], coords=sample)
    roof = xr.DataArray([120.0, 140.0], coords=sample)
    cell = "floor_loads.A1.2.permanent_kn"
    found = read(path, changes={"isolation.load.imposed_share": share, cell: roof})
    np.testing.assert_allclose(found.plane.mass, found.plane.moving_mass.transpose(
        *found.plane.mass.dims), rtol=1e-9)  # fmt: skip
    for at in (0, 1):
        changes = {"isolation.load.imposed_share": float(share[at]), cell: float(roof[at])}
        alone = read(path, changes=changes)
        one = found.plane.mass.isel(sample=at)
        np.testing.assert_allclose(one, alone.plane.mass, rtol=1e-12)
        np.testing.assert_allclose(
            sizing.combine(found.loads.of_revision("A")).isel(sample=at),
            sizing.combine(alone.loads.of_revision("A")),
            rtol=1e-12,
        )


WRONG = [
    ({"levels": LEVELS.replace("B1,2,", "B1,9,")}, r"levels\.csv, row 7, .* no floor '9'; known"),
    ({"levels": LEVELS.replace("B1,2,", "C7,2,")}, r"row 7, .* no column 'C7' in columns\.csv;"),
    ({"levels": LEVELS.replace("B1,2,75,9\n", "")}, r"column 'B1' has no row on floor '2', and"),
    ({"levels": LEVELS.replace("B1,2,", "B1,1,")}, r"'B1', '1' was given in row 6 already"),
    (
        {"levels": LEVELS.replace("A1,1,160", "A1,1,80").replace("A1,0,160", "A1,0,240")},
        r"floor '1', column 'A1': by its loads it weighs 9\.3 t, and .* weigh 12\.2 t, .* negative",
    ),
    (
        {"levels": LEVELS.replace("A1,1,160", "A1,1,170")},
        r"permanent of column 'A1' is 450 kN, and its floors above .* add up to 460 kN",
    ),
    ({"stated": "100"}, r"structure\.csv, row 3, .* it is 100 kg/m², .* 285 kg/m² rest on the"),
    (
        {"levels": re.sub(r"[AB]1,2,.*\n", "", LEVELS)},
        r"levels\.csv: there is no row of floor '2'; give each column one, of 0 kN where the floor",
    ),
    (
        {"levels": LEVELS.replace("permanent_kn", "permanent_n")},
        r"levels\.csv: 'imposed_kn' is in kN and 'permanent_n' in N",
    ),
    (
        {"levels": LEVELS.replace("permanent_kn", "wind_x_kn")},
        r"levels\.csv: column 'wind_x_kn' is unknown",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("files", "sentence"), WRONG)
def test_bad_tables_of_levels_get_one_sentence(study, files, sentence):
    refused(study(**files), sentence)


def test_labels_with_dots_are_not_taken_for_others(tmp_path):
    columns = COLUMNS.replace("A1,", "A,").replace("B1,", "A.1,")
    levels = "column,floor,permanent_kn,imposed_kn\nA,1.2,450,90\nA.1,1.2,245,45\n"
    for name, text in (("columns.csv", columns), ("levels.csv", levels)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    files = {"path": tmp_path / "columns.csv", "by_floor": tmp_path / "levels.csv", "revision": "A"}
    assert loads.read_loads(**files).names == ["A", "A.1"]
    (tmp_path / "levels.csv").write_text(f"{levels}A.1,2,1,1\nA,2,1,1\n", encoding="utf-8")
    with pytest.raises(ValueError, match=r"two rows are both named 'A\.1\.2' by column and floor"):
        loads.read_loads(**files)


@pytest.fixture
def rigid_study(tmp_path):
    """The small study without column lines, its mounts under four columns of three floors."""

    def make(levels, *exchanges, floors=""):
        folder = tmp_path / "tables"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(SMALL.parent / "tables", folder)
        text = (folder / "study.toml").read_text(encoding="utf-8")
        named = 'rooms = "rooms.csv"'
        tables = f'{named}\ncolumns = "columns.csv"\nfloor_loads = "levels.csv"'
        weight = ("load = { mass_kg = 700000 }", "load = { imposed_share = 0.3 }")
        for old, new in ((named, tables), weight, *exchanges):
            assert old in text, old
            text = text.replace(old, new, 1)
        (folder / "study.toml").write_text(text, encoding="utf-8")
        places = "column,x_m,y_m\nA1,0,0\nA2,0,6\nB1,6,0\nB2,6,6\n"
        (folder / "columns.csv").write_text(places, encoding="utf-8")
        (folder / "levels.csv").write_text(levels, encoding="utf-8")
        with (folder / "floors.csv").open("a", encoding="utf-8") as table:
            table.write(floors)
        return folder / "study.toml"

    return make


def of_floors(*floors, load="600,80"):
    columns = ("A1", "A2", "B1", "B2")
    rows = [f"{column},{floor},{load}\n" for column in columns for floor in floors]
    return "".join(["column,floor,permanent_kn,imposed_kn\n", *rows])


def test_a_floor_without_rows_weighs_nothing_only_where_that_is_said(rigid_study):
    def mass(path):
        return float(read(path).plane.mass) * G

    assert mass(rigid_study(of_floors("0", "1", "2"))) == pytest.approx(12 * 624e3)
    missing = r"levels\.csv: there is no row of floor '2'; give each column one, of 0 kN where"
    refused(rigid_study(of_floors("0", "1")), missing)
    missing = missing.replace("'2'", "'0'")
    refused(rigid_study(of_floors("1", "2")), missing)
    # Below the plane nothing is needed.
    plane = ('lowest_isolated_floor = "0"', 'lowest_isolated_floor = "1"')
    assert mass(rigid_study(of_floors("1", "2"), plane)) == pytest.approx(8 * 624e3)
    # A floor that is but a height carries 0 kN, and its rows say so.
    top = {"floors": "3,3,11.4,0.25\n"}
    levels = of_floors("0", "1", "2")
    refused(rigid_study(levels, **top), missing.replace("'0'", "'3'"))
    nothing = "".join(of_floors("3", load="0,0").partition("\n")[2:])
    assert mass(rigid_study(levels + nothing, **top)) == pytest.approx(12 * 624e3)


def test_rows_in_any_order_give_the_loads_of_the_floors_that_are_said(tmp_path):
    """A plane under floor 1, on which 450 + 400 kN and 180 + 90 kN of floors 1 and 2 rest."""
    head, rows = "column,floor,permanent_kn,imposed_kn", ["A1,2,400,90", "A1,1,450,180"]
    rows.append("A1,0,500,180")
    (tmp_path / "columns.csv").write_text("column,x_m,y_m\nA1,0,0\n", encoding="utf-8")
    files = {"path": tmp_path / "columns.csv", "by_floor": tmp_path / "levels.csv", "revision": "A"}
    for order in (rows, rows[::-1], [rows[1], rows[0], rows[2]]):
        files["by_floor"].write_text("\n".join([head, *order]) + "\n", encoding="utf-8")
        found = loads.read_loads(**files, lowest="1", floors=["0", "1", "2"])
        sums = [float(found.data[name][0]) / 1e3 for name in ("permanent", "imposed")]
        assert sums == [850.0, 270.0]
        assert float(loads.read_loads(**files).data["permanent"][0]) == 1350e3
        with pytest.raises(
            ValueError, match=r"lowest is '1', and the order .*; give 'floors', all"
        ):
            loads.read_loads(**files, lowest="1")
    with pytest.raises(ValueError, match=r"levels\.csv: there is no row of floor '3', which 'flo"):
        loads.read_loads(**files, floors=["0", "1", "2", "3"])
    with pytest.raises(ValueError, match=r"row [234], column 'floor': there is no floor '1'"):
        loads.read_loads(**files, floors=["0", "2"])
    with pytest.raises(ValueError, match="floors names one floor twice: 0, 1, 2, 1"):
        loads.read_loads(**files, floors=["0", "1", "2", "1"])
    with pytest.raises(ValueError, match="'lowest' and 'floors' are of loads by floor"):
        loads.read_loads(files["path"], revision="A", lowest="1")


def test_what_is_wrong_with_loads_of_levels_is_told_of_their_file(study):
    head, *rows = LEVELS.splitlines()
    uses = ["E", "B", "H", "E", "b", "H"]
    told = "\n".join([f"{head},category", *(f"{r},{u}" for r, u in zip(rows, uses, strict=True))])
    share = ("imposed_share = 0.3", "")
    refused(
        study(share, levels=told), r"levels\.csv, row 6, column 'category': category is 'b'; kn"
    )
    in_newtons = [
        ",".join([*r.split(",")[:2], *(f"{v}000" for v in r.split(",")[2:])]) for r in rows
    ]
    as_kn = "\n".join([head, *in_newtons])
    refused(
        study(levels=as_kn, columns=PLACES),
        r"and 'permanent_kn' and 'imposed_kn' of levels\.csv, at column=A1",
    )
    as_n = "\n".join([head.replace("_kn", "_n"), *in_newtons])
    kn, n = (read(study(levels=levels, columns=PLACES)) for levels in (LEVELS, as_n))
    np.testing.assert_allclose(n.plane.mass, kn.plane.mass, rtol=1e-12)


def test_a_sum_of_levels_that_cannot_be_is_told_of_their_file_and_column(rigid_study):
    found = rigid_study(of_floors("0", "1", "2", load="600000,80000"))
    refused(found, r"levels\.csv: all 'permanent_kn' over the plan by 'x_m' and 'y_m' on 3 floors")
    text = found.with_name("levels.csv").read_text(encoding="utf-8").replace("_kn", "_n")
    found.with_name("levels.csv").write_text(text.replace("600000", "60"), encoding="utf-8")
    refused(found, r"levels\.csv, column 'A1': 'imposed_n' over 'permanent_n'")


def test_levels_that_lie_below_the_plane_alone_are_refused(study):
    rows = LEVELS.replace("A1,2,130,18", "A1,2,0,0").replace("B1,2,75,9", "B1,2,0,0")
    plane = ('lowest_isolated_floor = "0"', 'lowest_isolated_floor = "2"')
    refused(study(plane, levels=rows), r"no floor adds to column 'A1' above the isolation plane")
    columns = ('columns = "columns.csv"\n', "")
    refused(study(columns), r"\[building\]: 'floor_loads' needs the places of the columns")


def test_a_stated_mass_that_agrees_is_taken_and_none_of_both_is_refused(study):
    # The mean over columns by area: (2 x 291.4 + 272.2) / 3 and so on, by the table above.
    masses = by_hand(LEVELS)
    means = []
    for level in ("0", "1", "2"):
        rest = sum(masses[c, level] - SLAB[c] - SEGMENT[level] for c in ("A1", "B1"))
        means.append(rest / 27)
    path = study(stated="100")
    table = path.parent / "structure.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    given = [re.sub("100$", f"{m:.0f}", x) for m, x in zip(means, lines[-3:], strict=True)]
    table.write_text("\n".join([*lines[:-3], *given]), encoding="utf-8")
    plane = read(path).plane
    np.testing.assert_allclose(plane.mass, plane.moving_mass, rtol=1e-9)
    none = ('\nfloor_loads = "levels.csv"', "")
    refused(study(none), r"structure\.csv: column 'superimposed_kg_m2' is missing; it is needed")


def test_parts_of_a_building_may_have_other_floors(tmp_path):
    columns = COLUMNS.replace("panel_share", "part").replace(",0.5\n", ",hall\n")
    columns = columns.replace(",0.25\n", ",annexe\n").replace(",245,45,", ",170,36,")
    levels = LEVELS.replace("B1,2,75,9\n", "")
    (tmp_path / "columns.csv").write_text(columns, encoding="utf-8")
    (tmp_path / "levels.csv").write_text(levels, encoding="utf-8")
    found = loads.read_loads(tmp_path / "columns.csv", by_floor=tmp_path / "levels.csv",
                             revision="A")  # fmt: skip
    assert found.of_part("annexe").names == ["B1"]
    assert float(found.of_part("annexe").data["permanent"][0]) == 170e3
    assert found.by_floor["permanent"].sel(column="B1").values.tolist() == [85e3, 85e3, 0.0]
    with pytest.raises(ValueError, match="part is 'shed'; known are 'hall', 'annexe'"):
        found.of_part("shed")


def scripted(**more):
    at = {"column": ["A1"], "floor": ["0", "1"]}
    table = xr.Dataset(
        {"permanent": (("column", "floor"), [[90e3, 70e3]]),
         "imposed": (("column", "floor"), [[20e3, 10e3]])}, coords=at,
    )  # fmt: skip
    data = xr.Dataset({"x": ("column", [0.0]), "y": ("column", [0.0])}, coords={"column": ["A1"]})
    return loads.ColumnLoads(data=data.assign(more), by_floor=table, revision="A")


def test_loads_of_a_script_are_summed_above_the_plane():
    whole, upper = scripted(), scripted(lowest=("column", ["1"]))
    assert float(whole.quasi_permanent(0.5)[0]) == 175e3
    assert float(upper.quasi_permanent(0.5)[0]) == 75e3
    assert upper.quasi_permanent_by_floor(0.5).values.tolist() == [[100e3, 75e3]]
    assert float(whole.with_share(0.1).quasi_permanent()[0]) == pytest.approx(163e3)
    with pytest.raises(ValueError, match="lowest floor above the plane is '7'; known are '0', '1'"):
        scripted(lowest=("column", ["7"]))
    with pytest.raises(ValueError, match=r"permanent of column 'A1' is 150 kN, .* up to 160 kN"):
        scripted(permanent=("column", [150e3]))
    assert float(scripted(permanent=("column", [161e3])).data["permanent"][0]) == 160e3
    with pytest.raises(ValueError, match=r"share of the imposed load is 1\.5; it must lie"):
        whole.with_share(1.5)
    with pytest.raises(ValueError, match="floor"):
        whole.with_share(xr.DataArray([0.1, 0.2], coords={"floor": ["0", "5"]}))
    flat = replace(whole, by_floor=None)
    with pytest.raises(ValueError, match="differs between floors, and the loads are not given flo"):
        flat.with_share(xr.DataArray([0.1, 0.2], coords={"floor": ["0", "1"]}))
    with pytest.raises(ValueError, match="the loads are not given floor by floor"):
        flat.quasi_permanent_by_floor(0.3)


def test_loads_without_a_revision_make_no_schedule():
    bare = replace(scripted(), revision="")
    with pytest.raises(ValueError, match=r"of no revision, .*loads\.of_revision\('P1'\)"):
        sizing.combine(bare)
    with pytest.raises(ValueError, match="are of revision 'A', and 'B' was asked for"):
        scripted().of_revision("B")
    # The share of the factors goes before that of the loads, and that before psi2.
    own = scripted().with_share(0.1)
    for factors, share in ((None, 0.1), (sizing.Factors(quasi_permanent=0.6), 0.6)):
        found = sizing.combine(own, factors=factors).sel(case="quasi-permanent")
        assert float(found[0]) == pytest.approx(160e3 + share * 30e3)
    found = sizing.combine(scripted()).sel(case="quasi-permanent")
    assert float(found[0]) == pytest.approx(160e3 + 0.3 * 30e3)


def test_lines_take_masses_of_levels_and_refuse_what_cannot_carry_them():
    slab = structure.FlatSlab(span_x=6.0, span_y=6.0, thickness=0.25, youngs_modulus=33e9,
                              density=2400.0, poisson=0.2, loss_factor=0.05)  # fmt: skip
    storey = structure.Storey(floor="1", height=3.5, area=0.16, youngs_modulus=33e9,
                              density=2450.0, loss_factor=0.02, slab=slab)  # fmt: skip
    soil = structure.SpringFoundation(stiffness=1e9, loss_factor=0.1)
    line = structure.ColumnLine(storeys=(storey,), foundation=soil)
    mass = xr.DataArray([30e3], coords={"floor": ["1"]})
    found = structure.weighed(line=line, mass=mass).storeys[0].slab.superimposed_mass
    assert float(found) == pytest.approx((30e3 - 21600) / 36)
    with pytest.raises(ValueError, match=r"floor '1': by its loads it weighs 20\.0 t, .* 21\.6 t"):
        structure.weighed(line=line, mass=mass * 2 / 3)
    with pytest.raises(ValueError, match="its mass on 'floor' is '1'; known are '2'"):
        structure.weighed(line=line, mass=mass.assign_coords(floor=["2"]))
    rigid = replace(line, storeys=(replace(storey, slab=structure.RigidMass(mass=3e4)),))
    with pytest.raises(ValueError, match="a RigidMass takes no superimposed mass"):
        structure.weighed(line=rigid, mass=mass)


def test_an_option_adds_mass_to_a_level_whose_loads_are_given(study):
    """A screed of 100 kg/m2 on level 1: 18 and 9 m2 gain 1800 and 900 kg."""
    plane = read(study()).plane
    slab = next(s.slab for s in plane.line.storeys if s.floor == "1")
    rests = slab.superimposed_mass
    mean = float((rests * xr.DataArray([18.0, 9.0], dims="column")).sum() / 27)
    change = f"\n[options.changes]\nstoreys.1.superimposed_kg_m2 = {mean + 100!r}\n"
    path = study()
    text = path.read_text(encoding="utf-8")
    text = text[: text.index("[[options]]")] + '[[options]]\nname = "as built"\n'
    path.write_text(f'{text}\n[[options]]\nname = "screed"\n{change}', encoding="utf-8")
    found = read(path)
    changed = found.options[1].parts[0].frame
    for storey in changed.line.storeys:
        before = next(s.slab for s in plane.line.storeys if s.floor == storey.floor)
        more = storey.slab.superimposed_mass - before.superimposed_mass
        np.testing.assert_allclose(more, 100.0 if storey.floor == "1" else 0.0, atol=1e-9)
    np.testing.assert_allclose(changed.mass - plane.mass, [1800.0, 900.0], rtol=1e-9)
    np.testing.assert_allclose(changed.mass, changed.moving_mass, rtol=1e-9)
    told = found.options[1].changes
    assert [(d.key, d.read) for d in told] == [
        ("storeys.1.superimposed_kg_m2", "by the loads of its floor")
    ]
    path.write_text(path.read_text(encoding="utf-8").replace(repr(mean + 100), "1.0"))
    refused(
        path, r"option 'screed'.*floor '1': 'superimposed_kg_m2' of 1 kg/m² .* less than nothing"
    )
    whole = "storeys.superimposed_kg_m2 = 400.0"
    path.write_text(
        re.sub(r"storeys\.1\.superimposed_kg_m2 = .*", whole, path.read_text(encoding="utf-8"))
    )
    line = read(path).options[1].parts[0].frame.line
    for storey in line.storeys:
        mean = (storey.slab.superimposed_mass * [18.0, 9.0]).sum() / 27
        assert float(mean) == pytest.approx(400.0)
