"""Parts of a building that stand apart: each as it would be in a study of its own."""

from __future__ import annotations

import html
import shutil
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from matplotlib.figure import Figure

import groundborne as gb
from groundborne import plot
from groundborne._checks import StudyError
from groundborne.study import notes_of
from groundborne.study.cross_checks import check_floors
from quiet_studies import evaluated

DATA = Path(__file__).parents[2] / "data" / "music_school"
HALL_AND_ANNEXE = DATA.parent / "assembly_hall" / "study.toml"
BANDS = "[5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250]"
WING = f"""
[parts.wing.path]
coupling = {{ model = "handbook", foundation = "large masonry on piles" }}
storeys = {{ model = "none" }}
mid_span = {{ model = "given", place = "mid-span", frequency_hz = {BANDS}, gain_db = {[9.0] * 18} }}
radiation = {{ model = "relation", relation = "minus 27" }}

[parts.wing.path.floor]
model = "given"
place = "surface average"
frequency_hz = {BANDS}
gain_db = {[3.0] * 18}
source = "measured in the wing, invented"
"""
ISOLATION = """
[isolation]
lowest_isolated_floor = "0"

[isolation.load]
imposed_share = 0.3
"""
HALL = """
[parts.hall.isolation]
lowest_isolated_floor = "0"
imposed_share = 0.3
"""
IN_WING = ("R2.1", "R2.2", "R2.3")


def write(folder: Path, *, parts: str, isolation: str, rooms=None, columns="hall") -> Path:
    shutil.copytree(DATA, folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    assert ISOLATION in text
    text = text.replace(ISOLATION, f"{isolation}{parts}", 1)
    if "[parts.hall" in parts:
        text = text.replace("[structure", "[parts.hall.structure")
    (folder / "study.toml").write_text(text, encoding="utf-8")
    for name, column in (("rooms", rooms), ("columns", columns)):
        if column is not None:
            table = pd.read_csv(folder / f"{name}.csv", comment="#")
            own = table["room"].isin(IN_WING) if name == "rooms" else False
            table["part"] = np.where(own, "wing", column)
            table.to_csv(folder / f"{name}.csv", index=False)
    return folder / "study.toml"


@pytest.fixture(scope="module")
def halves(tmp_path_factory) -> gb.Study:
    folder = tmp_path_factory.mktemp("parts") / "study"
    file = write(folder, parts=HALL + WING, isolation="", rooms="hall")
    return gb.read_study(file)


def test_each_part_is_as_in_a_study_of_its_own(halves) -> None:
    """Rooms of the hall as in the whole school; those of the wing by numbers written by hand."""
    options = [o for o in halves.options if o.name in ("no isolation", "springs 4.5 Hz")]
    found = evaluated(halves.with_options(options))
    whole = gb.read_study(DATA / "study.toml")
    alone = evaluated(whole.with_options([o for o in whole.options if o.name != "x"][:3]))
    hall = [r for r in halves.rooms if r not in IN_WING]
    names = [o.name for o in options]
    for name in ("sound_level", "floor_level", "rating", "margin"):
        one, two = (r[name].sel(room=hall, option=names) for r in (found, alone))
        np.testing.assert_allclose(
            one.values.astype(float), two.transpose(*one.dims).values.astype(float), atol=1e-9
        )
    wing = found.sel(room=list(IN_WING))
    change = wing["level_change"].sum("stage").transpose("option", "room", "frequency")
    loss = gb.propagation.published_coupling("large masonry on piles").level_change(
        halves.frequency
    )
    # 3 dB by the floor, and 27 dB from velocity re 1 nm/s to pressure re 20 µPa.
    np.testing.assert_allclose(
        change.sel(option="no isolation").values,
        np.broadcast_to((loss + 3.0 - 27.0).values, (3, 18)),
        atol=1e-9,
    )
    assert float(abs(change.diff("option")).max()) == 0.0, "the springs stand under the hall"
    felt = wing["floor_change"].transpose("option", "room", "frequency").values
    np.testing.assert_allclose(felt, np.broadcast_to((loss + 9.0).values, (2, 3, 18)), atol=1e-9)
    assert found["room"].values.tolist() == halves.rooms


def test_notes_and_words_name_the_part(halves) -> None:
    options = [o for o in halves.options if o.name in ("no isolation", "springs 4.5 Hz")]
    result = evaluated(halves.with_options(options))
    notes = [n for n in gb.study.notes_of(result) if n.kind == "coincident resonances"]
    assert notes
    assert {n.part for n in notes} <= {"hall", "wing"}
    assert "the springs" not in str(notes)
    assert set(halves.with_options(options).paths("wing")["springs 4.5 Hz"].names) == {
        "coupling", "storeys", "floor", "radiation",
    }  # fmt: skip
    with pytest.raises(StudyError, match="has the parts 'hall', 'wing'; say which"):
        halves.paths()
    assert {key.split(" · ")[1] for key in halves.described() if key.startswith("parts")} >= {
        "hall", "wing",
    }  # fmt: skip


def test_mounts_by_part_and_report(halves, tmp_path) -> None:
    base = halves.mount(natural_frequency=4.5, loss_factor=0.02)
    by_part = gb.Option(name="springs", bases={"hall": base})
    study = halves.with_options([halves.options[0], by_part])
    result = evaluated(study)
    plain = evaluated(
        halves.with_options([halves.options[0], gb.Option(name="springs", base=base)])
    )
    np.testing.assert_array_equal(result["sound_level"].values, plain["sound_level"].values)
    text = (gb.report.write_report(study, result, tmp_path / "out")).read_text(encoding="utf-8")
    assert "of part 'hall'" in html.unescape(text)
    with pytest.raises(StudyError, match="part 'wing' of the study has no isolation plane"):
        halves.with_options([gb.Option(name="x", bases={"wing": base})])


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"parts": HALL + WING, "isolation": "", "rooms": "annexe"}, "'annexe'"),
        ({"parts": HALL + WING, "isolation": "", "rooms": None}, "'part' is missing"),
        ({"parts": HALL + WING, "isolation": "", "rooms": "hall", "columns": None},
         "isolation plane of its own|'part' is missing|columns.csv"),
        ({"parts": WING, "isolation": ISOLATION, "rooms": "hall"}, "'hall'"),
        ({"parts": HALL + WING, "isolation": ISOLATION, "rooms": "hall"}, "this is of no part"),
        ({"parts": "", "isolation": ISOLATION, "rooms": "hall"}, r"has no \[parts\]"),
    ],
)  # fmt: skip
def test_parts_that_do_not_fit_are_told(tmp_path, given, said) -> None:
    if given.get("columns", "hall") is None:
        given = {**given, "parts": given["parts"] + "[parts.wing.structure]\n"}
    with pytest.raises(StudyError, match=said):
        gb.read_study(write(tmp_path / "study", **given))


SMALL = Path(__file__).resolve().parents[1] / "fuzz" / "small" / "lines"


def west_and_east(
    folder: Path, *, rooms="west,east", columns="west,west,east,east", more=""
) -> Path:
    """The small study in two parts, each with half of its columns and a table of storeys."""
    shutil.copytree(SMALL, folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    start, end = text.index("[structure]"), text.index("[[criteria.studio]]")
    own, _, _ = text[start:end].partition("[isolation]")
    both = ""
    for name in ("west", "east"):
        shutil.copy(folder / "structure.csv", folder / f"{name}_storeys.csv")
        both += own.replace("[structure", f"[parts.{name}.structure").replace(
            "structure.csv", f"{name}_storeys.csv"
        )
        both += f'[parts.{name}.isolation]\nlowest_isolated_floor = "0"\nimposed_share = 0.3\n\n'
    text, rest = text[:start] + both + more + text[end:], "[[options]]"
    text = text[: text.index(rest)] + '[[options]]\nname = "as built"\n'
    (folder / "study.toml").write_text(text, encoding="utf-8")
    for name, parts in (("rooms", rooms), ("columns", columns)):
        table = pd.read_csv(folder / f"{name}.csv", comment="#")
        table["part"] = parts.split(",")
        table.to_csv(folder / f"{name}.csv", index=False)
    return folder / "study.toml"


def test_what_is_odd_in_a_part_is_told_of_its_own_tables(tmp_path) -> None:
    file = west_and_east(tmp_path / "study")
    levels = file.with_name("west_storeys.csv")
    text = levels.read_text(encoding="utf-8")
    levels.write_text(text.replace("1,3.5,0.16", "1,3.5,0.016"), encoding="utf-8")
    toml = file.read_text(encoding="utf-8")
    file.write_text(toml.replace("length_m = 7.0\n", "length_m = 90.0\n", 1), encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.UnusualValueWarning)
        unusual = gb.read_study(file).unusual
    assert any(s.startswith("west_storeys.csv, storey '0': 'column_area_m2' over") for s in unusual)
    assert not any("column_area_m2' over that of the next" in s and "east" in s for s in unusual)
    stiff = "study.toml, [parts], [west], [structure], [foundation]: the frequency of the building"
    assert any(s.startswith(stiff) for s in unusual), unusual


def test_a_part_needs_loads_of_its_own_floors_alone(tmp_path) -> None:
    """Floors of a part with a structure are its rows, of one without those of its rooms."""
    file = west_and_east(tmp_path / "study")
    text = file.read_text(encoding="utf-8")
    start, end = text.index("[parts.east.structure]"), text.index("[[criteria.studio]]")
    path = '\n[parts.east.path]\ncoupling = { model = "none" }\nstoreys = { model = "none" }\n'
    floor = f'floor = {{ model = "given", place = "surface average", frequency_hz = {BANDS}, '
    path += floor + f'gain_db = {[3.0] * 18}, source = "assumed" }}\n'
    path += 'radiation = { model = "relation", relation = "minus 27" }\n\n'
    text = text[:start] + path.lstrip() + text[end:]
    named = 'columns = "columns.csv"'
    text = text.replace(named, f'{named}\nfloor_loads = "loads.csv"', 1)
    file.write_text(text, encoding="utf-8")
    follows = {"columns": ["permanent_kn", "imposed_kn"], "west_storeys": ["superimposed_kg_m2"]}
    for name, left_out in follows.items():
        table = file.with_name(f"{name}.csv")
        pd.read_csv(table, comment="#").drop(columns=left_out).to_csv(table, index=False)

    def with_floors(west: str, east: str) -> Path:
        rows = [f"{c},{f},80,18" for c in ("A1", "A2") for f in west]
        rows += [f"{c},{f},80,18" for c in ("B1", "B2") for f in east]
        head = "column,floor,permanent_kn,imposed_kn"
        file.with_name("loads.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
        return file

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.UnusualValueWarning)
        # The office of the east stands on floor 1 under floor 2; nothing is known of floor 0.
        assert gb.read_study(with_floors("012", "12")).building.loads is not None
        for west, east, part, missing in (("01", "12", "west", "2"), ("012", "1", "east", "2")):
            said = rf"loads\.csv: there is no row of floor '{missing}' for part '{part}'; give each"
            with pytest.raises(StudyError, match=said):
                gb.read_study(with_floors(west, east))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"rooms": "west,west", "columns": "west,west,west,west"},
         r"\[parts\], \[east\]: no column and no room names the part; give it a room, or leave"),
        ({"rooms": "west,west"}, r"\[parts\], \[east\]: no room is in it, and 2 columns are; "),
    ],
)  # fmt: skip
def test_a_part_without_rooms_is_told_by_its_name(tmp_path, given, said) -> None:
    with pytest.raises(StudyError, match=said) as caught:
        gb.read_study(west_and_east(tmp_path / "study", **given))
    assert len(caught.value.errors) == 1


BY_PART = (
    '[[options]]\nname = "as built"\n\n[[options]]\nname = "unlike"\n'
    "bases = { west = { natural_frequency_hz = 9.0, loss_factor = 0.1 }, "
    "east = { natural_frequency_hz = 4.5, loss_factor = 0.02 } }\n"
)


def two_parts(folder: Path, options: str) -> Path:
    """The school as two parts on column lines, each with half of the columns and a plane."""
    shutil.copytree(DATA, folder)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8").replace(ISOLATION, "", 1)
    start, end = text.index("[structure]"), text.index("[[criteria.hall]]")
    own = text[start:end]
    both = "".join(
        own.replace("[structure", f"[parts.{name}.structure")
        .replace("length_m = 24.0\nwidth_m = 15.0", "length_m = 15.0\nwidth_m = 12.0")
        .replace("mass_kg = 518400", "mass_kg = 259200")
        + f'[parts.{name}.isolation]\nlowest_isolated_floor = "0"\nimposed_share = 0.3\n\n'
        for name in ("west", "east")
    )
    text = text[:start] + both + text[end : text.index("[[options]]")] + options
    file.write_text(text, encoding="utf-8")
    for name, at in (("rooms", None), ("columns", "x_m")):
        table = pd.read_csv(folder / f"{name}.csv", comment="#")
        west = np.arange(len(table)) % 2 == 0 if at is None else table[at] < 12
        table["part"] = np.where(west, "west", "east")
        table.to_csv(folder / f"{name}.csv", index=False)
    return file


def test_two_isolated_parts_have_their_own_tables_and_figures(tmp_path) -> None:
    """Both parts on column lines, each with half of the columns and mounts of its own."""
    file = two_parts(tmp_path / "study", BY_PART)
    study = gb.read_study(file)
    result = evaluated(study)
    assert result["base_change"].sel(option="unlike")["part"].values.tolist() == ["west", "east"]
    at = result["base_change"].sel(option="unlike", frequency=63.0)
    assert float(at.sel(part="east")) < float(at.sel(part="west")) - 3.0
    columns = study.building.columns
    assert columns is not None
    assert set(result["carried_mass"]["column"].values) == set(columns["column"].values)
    gb.report.write_report(study, result, tmp_path / "out")
    table = pd.read_csv(tmp_path / "out" / "tables" / "base_isolation.csv", comment="#")
    assert set(table["part"]) == {"west", "east"}
    names = {f.name for f in (tmp_path / "out").rglob("*.svg")}
    assert any("west" in n for n in names)
    assert any("east" in n for n in names)
    text = (
        file.read_text(encoding="utf-8")
        .replace("bases = { west = {", "base = {")
        .replace(" }, east = { natural_frequency_hz = 4.5, loss_factor = 0.02 } }", " }")
    )
    file.write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match="'west', 'east' can be isolated; say which by bases"):
        gb.read_study(file)


# -- Parts with floors of their own ----------------------------------------------------------------


def test_columns_of_a_part_are_held_against_its_own_floors() -> None:
    """The hall has three floors and the annexe three, and none of their loads is unusual."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", gb.UnusualValueWarning)
        study = gb.read_study(HALL_AND_ANNEXE)
    assert study.unusual == ()
    columns = study.building.columns
    lighter = columns["permanent"] / 1e3 * xr.where(columns["part"] == "hall", 0.3, 1.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.UnusualValueWarning)
        study = gb.read_study(HALL_AND_ANNEXE, changes={"columns.permanent_kn": lighter})
    said = "columns.csv: all 'permanent_kn' over the plan by 'x_m' and 'y_m' on 3 floors is "
    assert [words for words in study.unusual if words.startswith(said)]


def test_a_part_that_cannot_be_isolated_is_not_below_the_plane(assembly_hall) -> None:
    assert not [n for n in notes_of(assembly_hall.result) if n.kind == "below the plane"]


def test_no_line_joins_the_floors_of_two_parts(assembly_hall) -> None:
    """Nor is a plane drawn between floors of which none is below that of its part."""
    result = assembly_hall.result
    ax = plot.floors(result, criterion="LASmax, 95th percentile", ax=Figure().subplots())
    heights = {"hall": {1.2, 5.4}, "annexe": {0.8, 4.6}}
    assert set(result["part_of_room"].values.tolist()) == set(heights)
    drawn = [line for line in ax.lines if line.get_linestyle() not in ("None", "none")]
    assert len(drawn) == result.sizes["option"]
    for line in drawn:
        y = np.asarray(line.get_ydata(), dtype=float)
        pieces = [set(p[np.isfinite(p)]) for p in np.split(y, np.flatnonzero(np.isnan(y)))]
        assert [p for p in pieces if p] == list(heights.values())


def test_a_room_in_the_plan_of_another_part_is_told(tmp_path) -> None:
    """Rooms of the west at x = 4 m among columns to x = 8 m; one at 16.5 m is in the east."""
    file = two_parts(tmp_path / "study", BY_PART)
    table = pd.read_csv(file.parent / "rooms.csv", comment="#")
    table["x_m"], table["y_m"] = np.where(table["part"] == "west", 4.0, 20.0), 7.5
    table.to_csv(file.parent / "rooms.csv", index=False)
    with warnings.catch_warnings():
        warnings.simplefilter("error", gb.UnusualValueWarning)
        gb.read_study(file)
    table.loc[0, "x_m"] = 16.5
    table.to_csv(file.parent / "rooms.csv", index=False)
    room = table.loc[0, "room"]
    with pytest.warns(gb.UnusualValueWarning, match=(
        rf"rooms.csv, row 2, .*room '{room}' at \(16.5, 7.5\) m from the plan of the columns of "
        r"its part 'west', in the plan of part 'east', is 8.5 m"
    )):  # fmt: skip
        gb.read_study(file)


def test_cells_of_the_levels_of_a_part_are_found_by_their_address(tmp_path) -> None:
    """Of a building in parts there is no table 'storeys'; the refusal says which there are."""
    changed = BY_PART + "\n[options.changes]\nstoreys.1.slab_thickness_m = 0.35\n"
    file = two_parts(tmp_path / "study", changed)
    with pytest.raises(StudyError, match=(
        r"""there is no key 'storeys.1.slab_thickness_m'; .* Did you mean """
        r'''"storeys of west".1.slab_thickness_m or "storeys of east".1.slab_thickness_m\?'''
    )):  # fmt: skip
        gb.read_study(file)
    text = file.read_text(encoding="utf-8")
    own = "storeys.1.slab_thickness_m = 0.35", '"storeys of west".1.superimposed_kg_m2 = 340'
    file.write_text(text.replace(*own), encoding="utf-8")
    (part,) = gb.read_study(file).options[1].parts
    assert part.name == "west"
    file.write_text(text[: text.index("[options.changes]")], encoding="utf-8")
    with pytest.raises(StudyError, match=(
        r"Did you mean 'storeys of west.1.slab_thickness_m' or 'storeys of east.1.slab_thickness_m'"
    )):  # fmt: skip
        gb.read_study(file, changes={"storeys.1.slab_thickness_m": 0.35})


def test_rooms_below_the_plane_are_those_of_the_isolated_part(halves, tmp_path) -> None:
    springs = [o for o in halves.options if o.name in ("no isolation", "springs 4.5 Hz")]
    result = evaluated(halves.with_options(springs))
    # The plane of the hall is under its lowest rooms, and the wing has none.
    assert not [n for n in gb.study.notes_of(result) if n.kind == "below the plane"]
    study = gb.read_study(two_parts(tmp_path / "study", BY_PART))
    east = study.part("east")
    line = east.plane.line
    raised = replace(east.plane, floor="1", mass=line.mass_from("1"))
    study = study.with_part("east", plane=raised)
    one = {"natural_frequency": 9.0, "loss_factor": 0.1}
    by_part = [
        gb.Option(name=f"under {name}", bases={name: study.mount(part=name, **one)})
        for name in ("west", "east")
    ]
    result = evaluated(study.with_options([study.options[0], *by_part]))
    (note,) = [n for n in gb.study.notes_of(result) if n.kind == "below the plane"]
    floors = study.building.rooms["floor_of_room"]
    assert note.rooms == tuple(r for r in east.rooms if floors.sel(room=r) == "0") != ()
    assert list(note.values["changes"]) == ["under east"]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("wing", (r"part 'wing' has no isolation plane; give it \[parts.wing.isolation\], or the "
                 r"mounts to a part that has one: 'hall'$")),
        ("hal", "part is 'hal'; known are 'hall', 'wing'. Did you mean 'hall'"),
    ],
)  # fmt: skip
def test_mounts_under_a_part_without_a_plane_are_refused(tmp_path, name, said) -> None:
    file = write(tmp_path / "study", parts=HALL + WING, isolation="", rooms="hall")
    mounts = f"bases = {{ {name} = {{ natural_frequency_hz = 9.0, loss_factor = 0.1 }} }}"
    text = file.read_text(encoding="utf-8")
    file.write_text(f'{text}\n[[options]]\nname = "other"\n{mounts}\n', encoding="utf-8")
    with pytest.raises(StudyError, match=said):
        gb.read_study(file)


@pytest.mark.parametrize("possible", [[12.5], [12.5, 20.0]])
def test_a_wing_on_timber_floors_beside_a_hall_of_concrete(tmp_path, possible) -> None:
    """The table from the ground to timber floors in one part, column lines in the other."""
    wing = f"""
[parts.wing.path]
coupling = {{ model = "none" }}
storeys = {{ model = "none" }}
radiation = {{ model = "relation", relation = "minus 27" }}

[parts.wing.path.floor]
model = "E DIN 45672-3, ground to floor"
construction = "timber"
natural_frequencies_hz = {possible}
place = "surface average"
"""
    file = write(tmp_path / "study", parts=HALL + wing, isolation="", rooms="hall")
    study = gb.read_study(file)
    result = evaluated(study.with_options([study.options[0]]))
    levels = result.sel(room=list(IN_WING)).isel(option=0, drop=True)
    change = levels["level_change"].sum("stage")
    for at, hertz in enumerate(possible):
        table = gb.propagation.edin_ground_to_floor(hertz, "timber").level_change(study.frequency)
        for found, more in ((change, -27.0), (levels["floor_change"], 0.0)):
            one = found.isel(floor_frequency=at) if "floor_frequency" in found.dims else found
            for room in IN_WING:
                np.testing.assert_allclose(one.sel(room=room), table + more, atol=1e-9)
    hall = [r for r in study.rooms if r not in IN_WING]
    whole = gb.read_study(DATA / "study.toml")
    alone = evaluated(whole.with_options([whole.options[0]]))
    for name in ("rating", "margin"):
        one, two = (r[name].sel(room=hall) for r in (result, alone))
        np.testing.assert_allclose(one.values, two.transpose(*one.dims).values, atol=1e-9)
    assert not [n for n in notes_of(result) if n.kind == "joists by column lines"]


def test_storeys_of_parts_rise_each_by_itself() -> None:
    """A low wing, whose second floor lies below the first of the hall: only its own count."""
    building = gb.read_study(DATA / "study.toml").building
    floors = building.floors.isel(floor=[0, 2, 1])
    floors["height"].values[:] = [0.9, 4.9, 5.1]
    assert floors["storeys"].values.tolist() == [0.0, 2.0, 1.0]
    rooms = building.rooms.isel(room=building.rooms["floor_of_room"].isin(["0", "1"]).values)
    both = replace(building, floors=floors, rooms=rooms)
    files = {"floors": "floors.csv"}
    check_floors(both, files, own=True)
    with pytest.raises(ValueError, match="the rise of 'height_m' over that of 'storeys'"):
        check_floors(both, files)
