"""Steps that are measured or tabulated by floor, room or column, beside computed ones."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne._checks import LabelError, PathError, StudyError
from groundborne.levels import decibel, energy
from groundborne.path import (
    COLUMN,
    FOUNDATION,
    FREE_FOUNDATION,
    MID_SPAN,
    GivenChange,
    Unchanged,
    Where,
)
from groundborne.path.columns import weighted_mean
from groundborne.study.line_change import LineChange, following
from note_sentences import sentences_of
from quiet_studies import errors_of, evaluated, levels_of, read

SMALL = Path(__file__).resolve().parents[1] / "fuzz" / "small"
F = gb.bands.third_octaves(5, 250)
BANDS = [f"{gb.bands.label(f)} Hz" for f in F.values]
STOREYS = '[path.storeys]\nmodel = "column line"\n'
FLOOR = '[path.floor]\nmodel = "column line"\n'
TABLE = 'table = "transfer.csv"\n'


def csv(label: str, rows: dict[str, np.ndarray | list[float]], bands=BANDS) -> str:
    lines = [",".join([label, *bands])]
    lines += [",".join([name, *(repr(float(v)) for v in values)]) for name, values in rows.items()]
    return "# Invented for tests.\n" + "\n".join(lines) + "\n"


def changing(place: Path):
    """A small study with texts of its file exchanged, and tables beside it."""

    def make(*exchanges: tuple[str, str], name: str = "lines", **tables: str) -> Path:
        folder = place / f"{name}{len(list(place.iterdir()))}"
        shutil.copytree(SMALL / name, folder)
        study = folder / "study.toml"
        text = study.read_text(encoding="utf-8")
        for old, new in exchanges:
            assert old in text, old
            text = text.replace(old, new, 1)
        study.write_text(text, encoding="utf-8")
        for table, content in tables.items():
            (folder / f"{table}.csv").write_text(content, encoding="utf-8")
        return study

    return make


@pytest.fixture
def changed(tmp_path):
    return changing(tmp_path)


@pytest.fixture(scope="module")
def lines():
    """The small study by its lines alone, and its result."""
    study = read(SMALL / "lines" / "study.toml")
    return study, evaluated(study)


def by_lines(study, what: str) -> dict[str, np.ndarray]:
    """What the lines give from the loaded foundation to the columns, or on to the slabs, by floor.

    All columns of the small study are alike.
    """
    found = study.plane.as_built
    standing = study.plane.line.foundation_mean_square(F)
    ratio = {
        "storeys": found.column / standing,
        "floor": found.surface / found.column,
        "mid_span": found.mid_panel / found.column,
    }[what]
    change = decibel(ratio.isel(column=0))
    return {str(floor): change.sel(floor=floor).values for floor in change["floor"].values}


def same(one, other, *, but: str = "", tolerance: float = 1e-9) -> None:
    for name in ("mean_level", "floor_level", "sound_level", "base_change"):
        first, second = (r[name].drop_sel(option=but) if but else r[name] for r in (one, other))
        np.testing.assert_allclose(first.values, second.values, atol=tolerance, err_msg=name)


# What lines say, measured: the same building


def test_a_table_of_what_the_lines_give_is_the_lines(lines, changed) -> None:
    """As built, on mounts, with a box: what mounts change is added to what was measured."""
    study, result = lines
    table = csv("floor", by_lines(study, "storeys"))
    same(evaluated(read(changed((STOREYS, STOREYS + TABLE), transfer=table))), result)


def test_a_table_by_column_of_what_the_lines_give_is_the_lines(lines, changed) -> None:
    """A row by column holds on all floors: here for rooms of one floor alone."""
    study, result = lines
    rows = {name: by_lines(study, "storeys")["0"] for name in ("A1", "B2")}
    by_column = levels_of(read(changed((STOREYS, STOREYS + TABLE), transfer=csv("column", rows))))
    assert "column" not in by_column["mean_level"].dims
    floor = [r["floor_level"].sel(room="S1").values for r in (by_column, result)]
    np.testing.assert_allclose(*floor, atol=1e-9)
    apart = abs(by_column["floor_level"] - result["floor_level"]).sel(room="O1")
    assert float(apart.max()) > 0.1


def test_floor_gains_of_the_lines_are_the_lines(lines, changed) -> None:
    """As built and on mounts, which change how slabs move on their columns too."""
    study, result = lines
    place = 'place = "surface average"\n'
    table = csv("floor", by_lines(study, "floor"))
    same(evaluated(read(changed((FLOOR, FLOOR + TABLE + place), transfer=table))), result)


CHANGED = """[[options]]
name = "heavier"

[options.changes]
storeys.1.superimposed_kg_m2 = 300
storeys.1.slab_thickness_m = 0.34

[[options]]
name = "heavier on mounts"
base = { natural_frequency_hz = 8.0, loss_factor = 0.05, own_mass_kg_per_mn = 200 }

[options.changes]
storeys.1.superimposed_kg_m2 = 300
storeys.1.slab_thickness_m = 0.34

"""


OPTION = ("[[options]]\n", CHANGED + "[[options]]\n")


@pytest.fixture(scope="module")
def heavier(tmp_path_factory):
    """The small study with options that change the building, by its lines, and its result."""
    study = read(changing(tmp_path_factory.mktemp("heavier"))(OPTION))
    return study, evaluated(study)


@pytest.mark.parametrize("steps", [("storeys",), ("floor",), ("storeys", "floor")])
def test_what_an_option_changes_in_the_lines_changes_what_was_measured(
    heavier, changed, steps
) -> None:
    """Tables that say what the lines say give what the lines give, also of a changed building."""
    study, result = heavier
    heads = {"storeys": (STOREYS, ""), "floor": (FLOOR, 'place = "surface average"\n')}
    exchanges, tables = [OPTION], {}
    for step in steps:
        head, place = heads[step]
        table = TABLE.replace("transfer", f"transfer_{step}")
        exchanges.append((head, head + table + place))
        tables[f"transfer_{step}"] = csv("floor", by_lines(study, step))
    same(evaluated(read(changed(*exchanges, **tables))), result)
    levels = result["floor_level"]
    moved = levels.sel(option="heavier") - levels.sel(option="no isolation", drop=True)
    assert float(abs(moved).max()) > 1.0


SECTION = "area_m2,modulus_pa,density_kg_m3,loss_factor"
UNLIKE = f"""column,x_m,y_m,permanent_kn,imposed_kn,wind_kn,panel_share,{SECTION}
A1,0,0,198,54,5,0.28,0.6,4e9,1800,0.04
A2,0,6,198,54,5,0.28,,,,
B1,6,0,198,54,5,0.25,0.25,,,
B2,6,6,198,54,5,0.19,,20e9,,
"""


def in_mean(study, what: str) -> dict[str, np.ndarray]:
    """What the lines give, each mean square in the mean over columns by the floor they carry."""
    found, weights = study.plane.as_built, study.plane.column_weights
    standing = study.plane.line.foundation_mean_square(F)
    mean = {"standing": weighted_mean(standing, weights)}
    mean |= {n: weighted_mean(getattr(found, n), weights) for n in ("column", "surface")}
    first, last = {"storeys": ("standing", "column"), "floor": ("column", "surface")}[what]
    change = decibel(mean[last] / mean[first])
    return {str(f): change.sel(floor=f).values for f in change["floor"].values}


@pytest.fixture(scope="module")
def unlike(tmp_path_factory):
    """The same on columns that differ."""
    study = read(changing(tmp_path_factory.mktemp("unlike"))(OPTION, columns=UNLIKE))
    return study, evaluated(study)


@pytest.mark.parametrize("steps", [("storeys",), ("storeys", "floor")])
def test_columns_that_differ_are_heard_in_the_mean(unlike, changed, steps) -> None:
    """What was measured for a floor is of all its columns: mounts, and options, change the mean.

    The mean of what they change at each column would be up to 10 dB off: one wall decides it.
    """
    study, lines = unlike
    heads = {"storeys": (STOREYS, ""), "floor": (FLOOR, 'place = "surface average"\n')}
    exchanges, tables = [OPTION], {}
    for step in steps:
        head, place = heads[step]
        exchanges.append((head, head + TABLE.replace("transfer", f"transfer_{step}") + place))
        tables[f"transfer_{step}"] = csv("floor", in_mean(study, step))
    measured = levels_of(read(changed(*exchanges, columns=UNLIKE, **tables)))
    # With both steps measured nothing is left to differ. With one, the gain of each slab over its
    # own column is computed, and goes with that column: by up to a decibel or two.
    # A box is solved with the line, column by column.
    levels = [r["mean_level"].drop_sel(option="box").values for r in (measured, lines)]
    np.testing.assert_allclose(*levels, atol=1e-9 if len(steps) == 2 else 2.5)


def test_a_foundation_was_measured_under_the_building_as_it_stood(heavier, changed) -> None:
    """The free velocity is what was measured, less what the building of that time makes of it."""
    study, free = heavier
    standing = decibel(study.plane.line.foundation_mean_square(F).isel(column=0, drop=True))
    loaded = read(
        changed(
            OPTION,
            ('[path.coupling]\nmodel = "none"\n', ""),
            ('location = "ground"', 'location = "foundation"'),
        )
    )
    level = loaded.passbys.level
    under = (level + standing).transpose(*level.dims).assign_attrs(level.attrs)
    found = levels_of(replace(loaded, passbys=replace(loaded.passbys, level=under)))
    for option in ("heavier", "heavier on mounts"):
        for name in ("mean_level", "floor_level"):
            both = [r[name].sel(option=option).values for r in (found, free)]
            np.testing.assert_allclose(*both, atol=1e-9, err_msg=f"{option}: {name}")


def test_one_list_for_all_floors_is_a_table_with_the_same_rows(lines, changed) -> None:
    study, _ = lines
    place = 'place = "surface average"\n'
    gains = by_lines(study, "floor")["1"]
    text = (SMALL / "lines" / "study.toml").read_text(encoding="utf-8")
    plain = (text[text.index('[[options]]\nname = "box"') :], "")
    lists = f"frequency_hz = {F.values.tolist()}\ngain_db = {gains.tolist()}\n"
    given = f'[path.floor]\nmodel = "given"\n{place}'
    mid = '\n[path.mid_span]\nmodel = "column line"\n'
    by_list = read(changed((FLOOR, given + lists + mid), plain))
    table = csv("floor", dict.fromkeys(("0", "1", "2"), gains))
    by_table = read(changed((FLOOR, given + TABLE + mid), plain, transfer=table))
    same(evaluated(by_list), evaluated(by_table))
    option = "rubber and floors"
    floor = [absolute(s, option, "floor").sel(room="O1").values for s in (by_list, study)]
    np.testing.assert_allclose(*floor, atol=1e-9)


def test_mid_span_by_table(lines, changed) -> None:
    study, result = lines
    place = 'place = "mid-span"\n'
    step = f'[path.mid_span]\nmodel = "column line"\n{TABLE}{place}\n'
    gains = by_lines(study, "mid_span")
    table = csv("room", {"S1": gains["0"] + 4.0})
    measured = read(changed(("[path.radiation]", f"{step}[path.radiation]"), transfer=table))
    moved = levels_of(measured)["floor_level"] - result["floor_level"]
    np.testing.assert_allclose(moved.sel(room="S1", option="no isolation"), 4.0, atol=1e-9)
    np.testing.assert_allclose(moved.sel(room="O1"), 0.0, atol=1e-9)


# One floor measured, the others computed


def absolute(study, option: str, surface: str) -> xr.DataArray:
    """From the source to a surface of each room, of one option, before any treatment [dB]."""
    chosen = next(o for o in study.options if o.name == option)
    frame, part = study.plane, study.part()
    path, surfaces = part.as_built, part.surfaces
    if chosen.base is not None:
        path, surfaces = frame.isolate(chosen.base, path, surfaces, study.above_plane)
    up = path.up_to("isolation" if chosen.base is not None else "storeys")
    change = sum(e.level_change(F) for e in up.elements.values())
    velocity = surfaces[surface].velocity
    found = change if velocity is None else change + velocity.level_change(F)
    return decibel(energy(found).mean("column")).transpose("room", ..., "frequency")


@pytest.mark.parametrize("option", ["no isolation", "rubber and floors"])
def test_a_measured_floor_moves_by_itself(lines, changed, option) -> None:
    """7 dB more on floor 1: felt by its rooms, by the ceiling below it, and by nothing else."""
    study, _ = lines
    table = csv("floor", {"1": by_lines(study, "storeys")["1"] + 7.0})
    measured = read(changed((STOREYS, STOREYS + TABLE), transfer=table))
    wanted = {
        ("floor", "S1"): 0.0, ("ceiling", "S1"): 7.0, ("long walls", "S1"): 0.0,
        ("floor", "O1"): 7.0, ("ceiling", "O1"): 0.0, ("long walls", "O1"): 7.0,
    }  # fmt: skip
    for (surface, room), more in wanted.items():
        moved = absolute(measured, option, surface) - absolute(study, option, surface)
        np.testing.assert_allclose(
            moved.sel(room=room), more, atol=1e-9, err_msg=f"{surface} {room}"
        )


def test_a_measured_slab_moves_by_itself(lines, changed) -> None:
    """5 dB more on the slab of floor 1: walls move with the floor of their room."""
    study, _ = lines
    place = 'place = "surface average"\n'
    table = csv("floor", {"1": by_lines(study, "floor")["1"] + 5.0})
    measured = read(changed((FLOOR, FLOOR + TABLE + place), transfer=table))
    for surface, room, more in (("ceiling", "S1", 5.0), ("floor", "O1", 5.0), ("floor", "S1", 0.0),
                                ("ceiling", "O1", 0.0), ("long walls", "S1", 0.0),
                                ("long walls", "O1", 5.0)):  # fmt: skip
        moved = absolute(measured, "no isolation", surface) - absolute(
            study, "no isolation", surface
        )
        np.testing.assert_allclose(moved.sel(room=room), more, atol=1e-9)


def test_the_note_says_what_was_measured_and_what_is_computed(lines, changed) -> None:
    _, result = lines
    kind = "measured as built"
    assert not [n for n in gb.study.notes_of(result) if n.kind == kind]
    measured = changed(
        (STOREYS, STOREYS + TABLE + 'table_source = "site, 2026"\n'),
        transfer=csv("floor", {"1": [-3.0] * F.size}),
    )
    found = evaluated(read(measured))
    (note,) = [n for n in gb.study.notes_of(found) if n.kind == kind]
    assert (note.option, note.rooms) == ("rubber and floors", ("S1", "O1"))  # a ceiling, a floor
    assert any("without mounts. What mounts change, or an option" in s for s in sentences_of(found))
    assert "site, 2026" in found.attrs["citations"]


def test_rooms_by_row_and_the_ceiling_over_them(lines, changed) -> None:
    """A row by room holds for the slab over it too: its columns move as those of the floor."""
    study, _ = lines
    rows = {"S1": by_lines(study, "storeys")["0"]}
    measured = read(changed((STOREYS, STOREYS + TABLE), transfer=csv("room", rows)))
    floor = absolute(measured, "no isolation", "floor").sel(room="S1")
    ceiling = absolute(measured, "no isolation", "ceiling").sel(room="S1")
    gain = by_lines(study, "floor")
    np.testing.assert_allclose(ceiling - floor, gain["1"] - gain["0"], atol=1e-9)


def test_the_rest_by_a_spectrum(changed) -> None:
    """Two floors by table and one spectrum for all others, without column lines."""
    f = gb.bands.third_octaves(12.5, 125)
    lists = f"frequency_hz = {f.values.tolist()}\nchange_db = {[-1.0] * f.size}\n"
    given = f'[path.storeys]\nmodel = "given"\n{TABLE}{lists}'
    old = '[path.storeys]\nmodel = "fixed"\nper_storey_db = 2\nsource = "assumed"\n'
    bands = [f"{gb.bands.label(v)} Hz" for v in f.values]
    transfer = csv("floor", {"0": [-4.0] * f.size}, bands)
    study = read(changed((old, given), name="tables", transfer=transfer))
    change = study.as_built["storeys"].level_change(f)
    assert change.sel(room="A").values.tolist() == [-4.0] * f.size
    assert change.sel(room="B").values.tolist() == [-1.0] * f.size
    ceiling = study.surfaces["ceiling"].velocity["columns"].level_change(f)
    assert ceiling.sel(room="A").values.tolist() == [3.0] * f.size  # over it is floor 1
    assert ceiling.sel(room="B").values.tolist() == [0.0] * f.size
    evaluated(study)


def test_losses_by_room(changed) -> None:
    """Numbers of a coupling are losses, by table as in lists."""
    f = gb.bands.third_octaves(12.5, 125)
    bands = [f"{gb.bands.label(v)} Hz" for v in f.values]
    table = csv("room", {"B": [9.0] * f.size}, bands)
    model = '[path.coupling]\nmodel = "given"\n'
    study = read(changed((model, model + TABLE), name="tables", transfer=table))
    change = study.as_built["coupling"].level_change(f)
    assert change.sel(room="B").values.tolist() == [-9.0] * f.size
    assert change.sel(room="A").values[0] == -1.0


def test_losses_by_column_are_heard_by_share(lines, changed) -> None:
    """One of four columns that rooms hear alike loses 6 dB: 10 lg((3 + 10^-0.6)/4) = -0.88 dB."""
    _, result = lines
    none = '[path.coupling]\nmodel = "none"\n'
    table = csv("column", {"B1": [6.0] * F.size})
    flag = f"{TABLE}free_field_correction_only = true\n"
    found = evaluated(read(changed((none, none + flag), transfer=table)))
    moved = found["mean_level"] - result["mean_level"]
    np.testing.assert_allclose(moved.values, 10 * np.log10((3 + 10**-0.6) / 4), atol=1e-9)


def test_a_part_has_tables_of_its_own(changed) -> None:
    text = (SMALL / "lines" / "study.toml").read_text(encoding="utf-8")
    path = text[text.index("[path.coupling]") : text.index("[structure]")]
    own = path.replace("[path.", "[parts.one.path.").replace(
        'storeys]\nmodel = "column line"\n', f'storeys]\nmodel = "column line"\n{TABLE}'
    )
    study = changed(
        ("[structure]", f"{own}[parts.one.structure]"),
        ("[structure.foundation]", "[parts.one.structure.foundation]"),
        ("[isolation]\n", "[parts.one.isolation]\nimposed_share = 0.3\n"),
        ("[isolation.load]\nimposed_share = 0.3\n", ""),
        ("base = {", "bases = { one = {"),
        ("years = 50 } }", "years = 50 } } }"),
        (STOREYS, '[path.storeys]\nmodel = "none"\n'),
        (FLOOR, '[path.floor]\nmodel = "fixed"\ngain_db = 3\n'),
        transfer=csv("floor", {"0": [-3.0] * F.size}),
    )
    for table in (study.with_name("rooms.csv"), study.with_name("columns.csv")):
        note, header, *rows = table.read_text(encoding="utf-8").splitlines()
        rows = [note, f"{header},part", *(f"{row},one" for row in rows)]
        table.write_text("\n".join(rows), encoding="utf-8")
    found = read(study, changes={"parts.one.path.storeys.table.0.50 Hz": -5.0})
    assert isinstance(found.as_built["storeys"], Where)
    assert [d.key for d in found.changed] == ["parts.one.path.storeys.table.0.50 Hz"]


# Ceilings follow their own columns onto mounts, whatever the floors are made by


def test_a_ceiling_above_the_mounts_gains_over_a_floor_below_them(changed) -> None:
    """Mounts under floor 1: the room on floor 0 is below, its ceiling above them."""
    text = (SMALL / "lines" / "study.toml").read_text(encoding="utf-8")
    box = (text[text.index('[[options]]\nname = "box"') :], "")
    unneeded = text[text.index(", travel_to_solid_m") : text.index(" }\n\n[[options.rooms]]")]
    study = read(
        changed(
            ('lowest_isolated_floor = "0"', 'lowest_isolated_floor = "1"'),
            (FLOOR, '[path.floor]\nmodel = "fixed"\ngain_db = 3\n'),
            (unneeded, ""),
            box,
            columns=(SMALL / "lines" / "columns.csv").read_text().replace("198,54", "132,36"),
        )
    )
    frame, option = study.plane, study.options[1]
    built = frame.as_built.column.isel(column=0)
    moved = frame.on_mounts(option.base).column.isel(column=0)
    gain = decibel(moved / built)
    assert float(gain.sel(floor="1", frequency=63.0)) < -10 < float(gain.sel(floor="0").min())
    for surface, level in (("floor", "0"), ("ceiling", "1")):
        change = absolute(study, option.name, surface) - absolute(study, "no isolation", surface)
        wanted = gain.sel(floor=level).values
        np.testing.assert_allclose(change.sel(room="S1").values, wanted, atol=1e-9)


def test_steps_that_are_no_lines_stay_as_they_are(lines) -> None:
    study, _ = lines
    frame = study.plane
    response = frame.on_mounts(study.options[1].base)
    fixed = GivenChange(xr.zeros_like(F, dtype=float), quantity_in=COLUMN, quantity_out=MID_SPAN)
    line = frame.to_mid_span(frame.as_built)
    assert following(fixed, response) is fixed
    here = xr.DataArray([True, False], coords={"room": ["S1", "O1"]})
    mixed = following(Where(fixed, here, otherwise=line), response)
    assert isinstance(mixed, Where)
    assert mixed.element is fixed
    assert isinstance(mixed.otherwise, LineChange)
    wanted = frame.to_mid_span(response).level_change(F)
    np.testing.assert_array_equal(mixed.otherwise.level_change(F).values, wanted.values)


# Objects, for scripts


def test_where_takes_another_element_elsewhere() -> None:
    here = xr.DataArray([True, False, True], coords={"floor": ["0", "1", "2"]})
    table = xr.DataArray(
        [[-1.0], [-2.0], [-3.0]], coords={"floor": ["0", "1", "2"], "frequency": [63.0]}
    )
    measured = GivenChange(table, quantity_in=FOUNDATION, quantity_out=COLUMN)
    both = Where(measured, here, otherwise=Unchanged(FOUNDATION, COLUMN))
    f = gb.bands.third_octaves(63, 63)
    assert both.level_change(f).values.ravel().tolist() == [-1.0, 0.0, -3.0]
    assert bool(both.valid(f).all())
    with pytest.raises(
        PathError, match=r"Unchanged elsewhere velocity of the columns .* both must"
    ):
        Where(measured, here, otherwise=Unchanged(COLUMN, COLUMN))
    with pytest.raises(LabelError, match="the labels of 'floor' differ"):
        Where(measured, here.assign_coords(floor=["0", "1", "3"]), otherwise=measured)


@pytest.mark.parametrize("dim", ["floor", "room", "column"])
def test_given_changes_take_any_place_and_refuse_other_labels(lines, dim) -> None:
    study, _ = lines
    labels = {"floor": ["0", "1", "2"], "room": ["S1", "O1"], "column": ["A1", "A2", "B1", "B2"]}
    names = labels[dim]
    table = xr.DataArray(
        np.linspace(-9, 0, len(names))[:, None] + np.zeros(F.size),
        coords={dim: names, "frequency": F.values},
    )
    if dim == "floor":
        table = table.sel(floor=study.building.rooms["floor_of_room"])
        table = table.reset_coords(drop=True)
    own = GivenChange(table, quantity_in=FREE_FOUNDATION, quantity_out=COLUMN)
    result = evaluated(study.with_part(as_built=study.as_built.replace(storeys=own)))
    assert dict(result["mean_level"].sizes) == {"option": 3, "room": 2, "frequency": 18}
    at = "room" if dim == "floor" else dim
    other = table.assign_coords({at: [*table[at].values[:-1], "elsewhere"]})
    own = GivenChange(other, quantity_in=FREE_FOUNDATION, quantity_out=COLUMN)
    with pytest.raises(LabelError, match=f"the labels of '{at}' differ"):
        evaluated(study.with_part(as_built=study.as_built.replace(storeys=own)))


def test_a_path_by_floor_is_refused_in_a_study_of_rooms(lines) -> None:
    study, _ = lines
    table = xr.DataArray(
        np.zeros((3, F.size)), coords={"floor": ["0", "1", "2"], "frequency": F.values}
    )
    own = GivenChange(table, quantity_in=FREE_FOUNDATION, quantity_out=COLUMN)
    with pytest.raises(StudyError, match=r"'storeys' is on 'floor'.*floor_of_room"):
        study.with_part(as_built=study.as_built.replace(storeys=own))


def test_transfers_are_read_by_scripts(tmp_path) -> None:
    file = tmp_path / "own.csv"
    file.write_text("room,50 Hz,63 Hz\nS1,-1,-2\nO1,0,3.5\n", encoding="utf-8")
    table = gb.study.read_transfers(file)
    assert table.dims == ("room", "frequency")
    assert table.sel(room="O1", frequency=63.0).item() == 3.5


def test_cells_may_be_sampled(changed) -> None:
    table = csv("floor", {"1": [-3.0] * F.size})
    address = "path.storeys.table.1.63 Hz"
    values = xr.DataArray([-4.0, -6.0], dims="sample")
    file = changed((STOREYS, STOREYS + TABLE), transfer=table)
    sampled = read(file, changes={address: values})
    assert [d.key for d in sampled.changed] == [address]
    both = levels_of(sampled)["mean_level"]
    for at in range(2):
        alone = levels_of(read(file, changes={address: float(values[at])}))["mean_level"]
        np.testing.assert_allclose(
            both.isel(sample=at).transpose(*alone.dims).values, alone.values, atol=1e-9
        )


# What cannot be


ZERO = [0.0] * F.size
GIVEN = '[path.storeys]\nmodel = "given"\n'


@pytest.mark.parametrize(
    ("exchange", "table", "sentence"),
    [
        ((STOREYS, STOREYS + TABLE), csv("floor", {"1": ZERO, "7": ZERO}),
         r"transfer\.csv, row 4, column 'floor': there is no floor '7'; known are '0', '1', '2'"),
        ((STOREYS, STOREYS + TABLE), csv("room", {"S9": ZERO}), r"there is no room 'S9'"),
        ((STOREYS, STOREYS + TABLE), csv("column", {"C1": ZERO}), r"there is no column 'C1'"),
        ((STOREYS, STOREYS + TABLE), csv("level", {"1": ZERO}),
         r"transfer\.csv: the first column is 'level'; it must name .*'floor', 'room', 'column'"),
        ((STOREYS, STOREYS + TABLE), csv("floor", {"1": [-200.0, *ZERO[1:]]}),
         r"row 3, column '5 Hz' is -200 dB, out of bounds; possible: -100 to 60 dB"),
        ((STOREYS, STOREYS + TABLE), csv("floor", {"1": ZERO[1:]}, BANDS[1:]),
         r"column '5 Hz' is missing; .* from 5 Hz to 250 Hz, and the table holds 6\.3 Hz to 250 H"),
        ((STOREYS, STOREYS + TABLE), csv("floor", {"1": ZERO[1:]}, [*BANDS[:4], *BANDS[5:]]),
         r"transfer\.csv: after 10 Hz comes 16 Hz; 12\.5 Hz is missing"),
        ((STOREYS, STOREYS + TABLE), csv("floor", {"1": ZERO}, [f"{b}z" for b in BANDS]),
         r"transfer\.csv: no column is named like a band, for example '63 Hz'"),
        ((STOREYS, STOREYS + TABLE), csv("floor", {"1": ZERO}, [*BANDS[:-1], "250 m/s"]),
         r"transfer\.csv: column '250 m/s' is unknown; known are 'floor', '5 Hz'"),
        ((STOREYS, STOREYS + TABLE), csv("floor", {"1": ZERO}).replace("0.0,", "quiet,", 1),
         r"row 3, column '5 Hz': 'quiet' is not a number"),
        ((STOREYS, STOREYS + TABLE), csv("floor", {"1": ZERO}) + "1" + ",0" * F.size,
         r"row 4, column 'floor': '1' was given in row 3 already"),
        ((STOREYS, GIVEN + TABLE), csv("floor", {"0": ZERO, "1": ZERO}),
         (r"\[storeys\]: transfer\.csv has no row for floor '2', which is the ceiling of room 'O"
          r"1'; "
          "give a row for each floor, or the spectrum or another model")),
        ((STOREYS, GIVEN + TABLE), csv("room", {"S1": ZERO}), r"no row for room 'O1'; give a row"),
        ((STOREYS, GIVEN + TABLE), csv("column", {"A1": ZERO}),
         r"no row for column 'A2' \(nor for 'B1', 'B2'\)"),
        ((STOREYS, f"{GIVEN}{TABLE}frequency_hz = [5]\n"), csv("floor", {"0": ZERO}),
         r"'frequency_hz' is given and 'change_db' is not; give both"),
        ((STOREYS, GIVEN), "", r"\[storeys\]: 'frequency_hz' is missing"),
        ((STOREYS, STOREYS + TABLE), None, r"\[storeys\]: 'table': .*transfer\.csv"),
        ((STOREYS, f'{STOREYS}table_source = "site"\n'), "",
         r"key is 'table_source'; .*goes with with `table`"),
        ((FLOOR, FLOOR + TABLE), csv("floor", {"0": ZERO}), r"\[floor\]: 'place' is missing"),
        ((FLOOR, f'{FLOOR}{TABLE}place = "mid-span"\n'), csv("floor", {"0": ZERO}),
         (r"\[floor\]: transfer\.csv gives the velocity of the floor at mid-span, and the model "
          r"'column line' the velocity of the floor, surface average; both have to give the same")),
        (('[path.coupling]\nmodel = "none"\n', f'[path.coupling]\nmodel = "none"\n{TABLE}'),
         csv("room", {"S1": ZERO}), r"'loss_db' or 'table' holds no more .*say so with free_field"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told_in_a_sentence(changed, exchange, table, sentence) -> None:
    tables = {} if table is None else {"transfer": table or "unused\n"}
    (error, *_) = errors_of(changed(exchange, **tables))
    assert re.search(sentence, error), error


def test_all_that_is_wrong_in_tables_is_told_in_one_run(changed) -> None:
    study = changed(
        (STOREYS, STOREYS + TABLE),
        (FLOOR, f'{FLOOR}table = "gains.csv"\nplace = "surface average"\n'),
        transfer=csv("floor", {"9": ZERO}),
        gains=csv("room", {"S9": ZERO}, BANDS),
    )
    errors = errors_of(study, changes={"path.storeys.table.9.63 Hz": 300.0})
    assert len(errors) == 3
    for sentence in ("no floor '9'", "no room 'S9'", "'path.storeys.table.9.63 Hz' is 300 dB"):
        assert any(sentence in e for e in errors), errors


def test_columns_need_lines_that_say_what_rooms_hear(changed) -> None:
    f = gb.bands.third_octaves(12.5, 125)
    bands = [f"{gb.bands.label(v)} Hz" for v in f.values]
    table = csv("column", {"A1": [0.0] * f.size}, bands)
    old = '[path.storeys]\nmodel = "fixed"\n'
    (error,) = errors_of(changed((old, old + TABLE), name="tables", transfer=table))
    assert "its rows are of columns, and [building] names no column table" in error
    columns = (SMALL / "lines" / "columns.csv").read_text(encoding="utf-8")
    more = ('rooms = "rooms.csv"', 'rooms = "rooms.csv"\ncolumns = "columns.csv"')
    (error,) = errors_of(
        changed((old, old + TABLE), more, name="tables", transfer=table, columns=columns)
    )
    assert "only column lines with a column table say what each room hears" in error
