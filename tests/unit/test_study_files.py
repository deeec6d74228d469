"""Study files: every fault is a sentence that names the file, and the row and column or the key."""

from __future__ import annotations

import os
import re
import shutil
import tomllib
import warnings

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import propagation, receiver
from groundborne._checks import RatingError, StudyError, StudyFileError, TableError
from groundborne.path import COLUMN, FLOOR_AVERAGE, GROUND, GivenChange, TransmissionPath
from groundborne.study import MobilityPlane, Option, RoomMeasure, tuned_mount

S = "study.toml"
SURFACES = (
    'model = "room surfaces"\nfield = "diffuse"  # as the calculation by hand has it\n'
    "slabs = { longitudinal_wave_speed_m_s = 4061 }\n"
    "walls = { thickness_m = 0.14, longitudinal_wave_speed_m_s = 2500 }\n"
)


@pytest.fixture
def copied_study(copied_study):
    """The school without column lines by default: all tables of the simple model are in it."""
    return lambda name="music_school_plain": copied_study(name)


def refused(path, sentence, error=ValueError):
    with pytest.raises(error, match=sentence):
        gb.read_study(path)


def evaluated(path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return gb.read_study(path).evaluate()


@pytest.mark.parametrize("name", ["music_school", "tower"])
def test_a_study_holds_what_its_files_hold(name, data_folder):
    folder = data_folder / name
    study = gb.read_study(folder / S)
    toml = tomllib.loads((folder / S).read_text())
    assert study.name == toml["name"]
    assert study.invented
    assert [o.name for o in study.options] == [o["name"] for o in toml["options"]]
    assert set(study.periods) == set(toml["periods"])
    assert set(study.inputs) == {
        S,
        "passbys.csv",
        "floors.csv",
        "rooms.csv",
        "columns.csv",
        "structure.csv",
        "crossings.csv",
    }
    rows = [
        line for line in (folder / "rooms.csv").read_text().splitlines() if not line.startswith("#")
    ][1:]
    assert study.rooms == [row.split(",")[0] for row in rows]
    assert study.frequency.values[0] == toml["bands"]["low_hz"]
    assert study.frequency.values[-1] == toml["bands"]["high_hz"]
    columns = study.building.columns
    mass = float((columns["permanent"] + 0.3 * columns["imposed"]).sum()) / 9.80665
    assert float(study.plane.mass.sum()) == pytest.approx(mass, rel=1e-12)


# The study file itself


def test_places_that_hold_no_study(tmp_path):
    refused(tmp_path / "none.toml", r"none\.toml: there is no such file", StudyError)
    refused(tmp_path, "this is a folder; the study file is needed", StudyError)
    refused("", "this is a folder", StudyError)
    refused(tmp_path / ("x" * 300), "cannot be read", StudyError)
    refused("a\x00b", "cannot be read", StudyError)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"\xff\xfe", r"study\.toml: the file is not UTF-8 text"),
        (b"room;size\n", r"study\.toml: not valid TOML: "),
        (b"format = 'groundborne study 1'\nname = ", r"study\.toml: not valid TOML: "),
        (b"a = 1\na = 2\n", r"study\.toml: not valid TOML: .*overwrite"),
        (b"", r"study\.toml: 'format' is missing; a text is needed"),
        (
            b"format = 'groundborne study 2'\n",
            r"study\.toml: 'format' is 'groundborne study 2'; kn",
        ),
        (b"format = 1\n", r"study\.toml: 'format' is 1; a text is needed"),
        (
            b"format = 'groundborne study 1'\n",
            r"study\.toml: 'bands' is missing; a table is needed",
        ),
        (
            b"format = 'groundborne study 1'\nbands = 5\n",
            r"study\.toml: 'bands' is 5; a table is n",
        ),
        (b"a = " + b"[" * 5000 + b"]" * 5000, r"study\.toml: not valid TOML: RecursionError"),
    ],
)
def test_files_that_are_no_study(tmp_path, content, sentence):
    file = tmp_path / S
    file.write_bytes(content)
    refused(file, sentence, StudyError)


UNKNOWN = [
    ("invented = true", "inventd = true", r"study\.toml: key is 'inventd'; .* mean 'invented'"),
    ("high_hz = 250", "high_hz = 250\nlow = 5", r"study\.toml, \[bands\]: key is 'low'; known are"),
    ('location = "ground"', 'location = "ground"\nlocatoin = "x"',
     r"study\.toml, \[source\]: key is 'locatoin'; .* mean 'location'"),
    ("hours = 16", "hours = 16\nhour = 1", r"study\.toml, \[periods\], \[day\]: key is 'hour'"),
    ('floors = "floors.csv"', 'floors = "floors.csv"\nflors = "x"',
     r"study\.toml, \[building\]: key is 'flors'; .* mean 'floors'"),
    ("[path.storeys]", "[path.storey]\n[path.storeys]", r"study\.toml, \[path\]: key is 'storey'"),
    ('[path.storeys]\nmodel = "none"', '[path.storeys]\nmodel = "none"\nper_storey = 1',
     r"study\.toml, \[path\], \[storeys\]: key is 'per_storey'"),
    ('model = "fundamental"', 'model = "fundamental"\ngain = 6',
     r"study\.toml, \[path\], \[floor\]: key is 'gain'; .* mean 'gain_db'"),
    ("thickness_m = 0.14,", "thickness_m = 0.14, thickness_mm = 140,",
     r"study\.toml, \[path\], \[radiation\], \[walls\]: key is 'thickness_mm'"),
    ("imposed_share = 0.3", "imposed_share = 0.3\nimposed = 1",
     r"study\.toml, \[isolation\], \[load\]: key is 'imposed'"),
    ("poisson = 0.35", "poisson = 0.35\npoison = 1",
     r"study\.toml, \[isolation\], \[below\]: key is 'poison'; .* mean 'poisson'"),
    ("area_m2 = 3.0", "area_m2 = 3.0\narea = 1", r"study\.toml, \[isolation\], \[above\]: key is"),
    ("limit = 25", "limit = 25\nlimits = 1", r"study\.toml, \[criteria\], hall 1: key is 'limits'"),
    ('name = "rubber 9 Hz"', 'name = "rubber 9 Hz"\nnames = "x"',
     r"study\.toml, options 2: key is 'names'; .* mean 'name'"),
    ("dynamic_to_static = 1.5", "dynamic_to_static = 1.5, static = 1",
     r"study\.toml, options 2, \[base\]: key is 'static'"),
    ('measure = "box in box, hall"', 'measure = "box in box, hall"\nroom = "R0.1"',
     r"study\.toml, options 4, rooms 1: key is 'room'; .* mean 'rooms'"),
    ("floor = { natural_frequency_hz = 7.0,", "floor = { loss = 1, natural_frequency_hz = 7.0,",
     r"study\.toml, options 4, rooms 1, \[floor\]: key is 'loss'"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "sentence"), UNKNOWN)
def test_unknown_keys_are_named_with_the_nearest(spoiled, old, new, sentence):
    refused(spoiled(S, (old, new)), sentence, StudyError)


TYPES = [
    ("low_hz = 5", 'low_hz = "5"', r"\[bands\]: 'low_hz' is '5'; a number is needed"),
    ("low_hz = 5", "low_hz = true", r"\[bands\]: 'low_hz' is True; a number is needed"),
    ("low_hz = 5", "low_hz = [5]", r"\[bands\]: 'low_hz' is \[5\]; a number is needed"),
    ("low_hz = 5", "low_hz = nan", r"\[bands\]: 'low_hz' is nan; it must be"),
    ("low_hz = 5", "low_hz = inf", r"\[bands\]: 'low_hz' is inf; it must be"),
    ("low_hz = 5", "low_hz = 1" + "0" * 400, r"\[bands\]: .*too large"),
    ("low_hz = 5", "low_hz = 2020-01-01", r"\[bands\]: 'low_hz' is .*; a number is needed"),
    ("low_hz = 5", "", r"\[bands\]: 'low_hz' is missing; a number is needed"),
    ("low_hz = 5", "low_hz = 0", r"\[bands\]: 'low_hz' is 0; it must be above 0 Hz"),
    ("low_hz = 5", "low_hz = 5.5", r"\[bands\]: .*5\.5 Hz is not a nominal .* nearest is 5 Hz"),
    ("low_hz = 5", "low_hz = 500", r"\[bands\]: .*low is 500 Hz and high is 250 Hz"),
    ("invented = true", 'invented = "yes"', r"'invented' is 'yes'; true or false is needed"),
    ("invented = true", "invented = 1", r"'invented' is 1; true or false is needed"),
    ('passbys = "passbys.csv"', "passbys = 3", r"\[source\]: 'passbys' is 3; a text is needed"),
    ('passbys = "passbys.csv"', 'passbys = ""', r"\[source\]: 'passbys' is empty; a text is"),
    ('quantity = "velocity"', 'quantity = "velocit"', r"\[source\]: 'quantity' is 'velocit'; .* m"),
    ('reference = "1 nm/s"', 'reference = "1 mm/s"', r"reference for velocity is '1 mm/s'; known"),
    ('reference = "1 nm/s"', 'reference = "20 µPa"', r"reference for velocity is '20 µPa'"),
    ('time_weighting = "S max"', 'time_weighting = "S"', r"\[source\]: 'time_weighting' is 'S'; k"),
    ('location = "ground"', 'location = "rail"', r"\[source\]: 'location' is 'rail'; known are"),
    ("hours = 16", "hours = 0", r"\[periods\], \[day\]: 'hours' is 0; it must be above 0 h"),
    ("hours = 16", "hours = 25", r"study\.toml.*day.*'hours' is 25 h, out of bounds; .* to 24 h"),
    ("metro_6car = 328", "metro_6car = -1", r"\[day\], \[trains\]: 'metro_6car' is -1; it must be"),
    ("metro_6car = 328", "metro_6car = 0", r"study\.toml.*day.*it holds no train"),
    ("loss_db = [0.0, ", "loss_db = [", r"'frequency_hz' has 18 entries and 'loss_db' has 17"),
    ("loss_db = [0.0, ", 'loss_db = ["0.0", ', r"\[coupling\]: 'loss_db' is .*; a list of numbers"),
    ("loss_db = [0.0, ", "loss_db = [nan, ", r"\[coupling\]: 'loss_db' is nan; it must be finite"),
    ("[5.0, 6.3,", "[6.3, 5.0,", r"\[coupling\]: after 6\.3 Hz comes 5 Hz; bands must ascend"),
    ("[5.0, 6.3,", "[5.0, 5.0,", r"\[coupling\]: the band 5 Hz is given twice"),
    ("[5.0, 6.3,", "[5.0, 6.0,", r"\[coupling\]: 6 Hz is not a nominal"),
    ('model = "given"', 'model = "gven"', r"\[coupling\]: 'model' is 'gven'; .* mean 'given'"),
    ("thickness_m = 0.14", "thickness_m = 0", r"\[walls\]: 'thickness_m' is 0; it must be above 0"),
    ("imposed_share = 0.3", "imposed_share = -0.3", r"\[load\]: 'imposed_share' is -0\.3"),
    ("lowest_isolated_floor = \"0\"", 'lowest_isolated_floor = "-1"',
     r"\[isolation\]: 'lowest_isolated_floor' is '-1'; known are '0', '1'"),
    ("lowest_isolated_floor = \"0\"", "lowest_isolated_floor = 0",
     r"\[isolation\]: 'lowest_isolated_floor' is 0; a text is needed"),
    ("length_m = 24.0", "length_m = -24", r"\[below\]: 'length_m' is -24; it must be above 0 m"),
    ("length_m = 24.0", "length_m = 14.0", r"study\.toml.*\[below\].*width is above length"),
    ("poisson = 0.35", "poisson = 0.6",
     r"\[below\]: 'poisson' is 0\.6, out of bounds; possible: 0 to 0\.499, usual: 0\.1 to"),
    ("area_m2 = 3.0", "area_m2 = 0", r"\[above\]: 'area_m2' is 0; it must be above 0 m²"),
    ('metric = "LASmax"', 'metric = "LAmax"', r"\[criteria\], hall 1: 'metric' is 'LAmax'; known"),
    ("limit = 25", 'limit = "25"', r"\[criteria\], hall 1: 'limit' is '25'; a number is needed"),
    ("limit = 25", "", r"\[criteria\], hall 1: 'limit' is missing; a number is needed"),
    ("percentile = 95", "percentile = 101", r"hall 1: 'percentile' is 101, out of bounds"),
    ("percentile = 95", "", r"\[criteria\], hall 1: .*percentile is None with statistic"),
    ("natural_frequency_hz = 9.0", "natural_frequency_hz = 0",
     r"options 2, \[base\]: 'natural_frequency_hz' is 0; it must be above 0 Hz"),
    ("natural_frequency_hz = 9.0", "natural_frequency_hz = 900",
     r"study\.toml, options 2.*natural_frequency.* is 900 Hz, out of bounds; .* to 100 Hz"),
    ("loss_factor = 0.10, dyn", "loss_factor = 10, dyn",
     r"study\.toml, options 2.*loss_factor.* is 10, out of bounds; .* 10 looks like %"),
    ("dynamic_to_static = 1.5", "dynamic_to_static = 0.5",
     r"study\.toml, options 2.*dynamic_to_static.* is 0\.5, out of bounds; .* 1 to 5"),
    ("floor = { natural_frequency_hz = 7.0, loss_factor = 0.10",
     "floor = { natural_frequency_hz = 7.0, loss_factor = 10",
     r"study\.toml, options 4.*loss_factor.* is 10, out of bounds; .* 10 looks like %"),
    ('name = "rubber 9 Hz"', 'name = "  "', r"study\.toml, options 2.*the name is empty"),
    ('rooms = ["R0.1"]', "rooms = []", r"study\.toml, options 4.*at least one room"),
    ('rooms = ["R0.1"]', 'rooms = "R0.1"', r"options 4, rooms 1: 'rooms' is 'R0\.1'; a list of te"),
    ('rooms = ["R0.1"]', "rooms = [1]", r"options 4, rooms 1: 'rooms' is \[1\]; a list of texts"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "sentence"), TYPES)
def test_wrong_types_and_bounds_name_file_and_key(spoiled, old, new, sentence):
    refused(spoiled(S, (old, new)), sentence)


@pytest.mark.parametrize("table", ["passbys", "floors", "rooms", "columns"])
@pytest.mark.parametrize(
    ("file", "sentence"),
    [
        ("none.csv", r"none\.csv: there is no such file"),
        (".", "this is a folder; a CSV file is needed"),
        ("a" * 300, "cannot be read"),
        (r"a\u0000b", "cannot be read"),
        (S, r"study\.toml"),
    ],
    ids=["missing", "folder", "too long a name", "zero byte", "the study file itself"],
)
def test_tables_that_are_not_there(spoiled, table, file, sentence):
    refused(spoiled(S, (f'"{table}.csv"', f'"{file}"')), sentence)


def test_names_given_twice(spoiled):
    twice = 'name = "rubber 9 Hz"\n'
    refused(
        spoiled(S, ('name = "springs 4.5 Hz"\n', twice)),
        "the option 'rubber 9 Hz' is given twice",
        StudyError,
    )


@pytest.mark.parametrize(
    ("file", "old", "new", "sentence"),
    [
        ("rooms.csv", "\nR1.2,", "\nR1.1,", r"row 7, column 'room': 'R1\.1' was given in row 6 al"),
        ("passbys.csv", "\nS1-002,", "\nS1-001,", r"row 5, column 'passby': 'S1-001' was given in"),
        ("floors.csv", "\n1,1,", "\n0,1,", r"row 4, column 'floor': '0' was given in row 3 alread"),
        ("columns.csv", "\nA2,", "\nA1,", r"row 5, column 'column': 'A1' was given in row 4"),
        ("rooms.csv", "hall,0,2,14", "hall,9,2,14", r"row 4, column 'floor': there is no floor '9"),
        ("rooms.csv", "hall,0,2,14", "hall,0,9,14", r"row 4, column 'ceiling_floor': .* floor '9'"),
        ("rooms.csv", ",2,14,7,", ",2,-14,7,", r"row 4, column 'length_m': -14 is out of bounds"),
        ("rooms.csv", ",14,7,6.5", ",14,0,6.5", r"row 4, column 'width_m': 0 .* above 0 m"),
        ("rooms.csv", ",7,6.5,", ",7,nan,", r"row 4, column 'height_m': 'nan' is not a number"),
        ("rooms.csv", ",7,6.5,", ',7,"6,5",', r"row 4, column 'height_m': '6,5' has a decimal com"),
        ("rooms.csv", ",7,6.5,", ",7,6,5,", r"row 4: 18 cells where the header has 17; a decimal"),
        ("rooms.csv", "6.5,1.4,", "6.5,0,", r"row 4, column 'rt_4hz_s': 0 is out of bounds; it mu"),
        ("rooms.csv", "6.5,1.4,", "6.5,,", r"row 4, column 'rt_4hz_s': the cell is empty"),
        ("rooms.csv", "6.5,1.4,", "6.5,45,", r"row 4, column 'rt_4hz_s' is 45 .* to 30 s"),
        ("rooms.csv", ",hall\n", ",\n", r"row 4, column 'criteria': the cell is empty"),
        ("rooms.csv", "R0.1,", ",", r"row 4, column 'room': the cell is empty"),
        ("rooms.csv", "rt_4hz_s", "rt_4_s", "column 'rt_4_s' is unknown"),
        ("rooms.csv", "rt_4hz_s", "rt_s", "columns 'rt_s' and 'rt_8hz_s' exclude each other"),
        ("rooms.csv", "length_m", "length_mm", "column 'length_m' is missing; the header holds"),
        ("rooms.csv", "group,", "volume_m3,", r"row 4, column 'volume_m3': 'recital hall' is not "),
        ("floors.csv", "5.1", "0.5", r"row 4, column 'height_m': floors must ascend; this one"),
        ("floors.csv", "\n1,1,", "\n1,-1,", r"row 4, column 'storeys': -1 .* at least 0 storeys"),
        ("floors.csv", "17.5", "0", r"row 3, column 'natural_frequency_hz': 0 .* above 0 Hz"),
        ("floors.csv", "natural_frequency_hz", "natural_frequency", "column 'natural_frequency' i"),
        ("columns.csv", "permanent_kn", "permanent_n", "'imposed_kn' is in kN and 'permanent"),
        ("columns.csv", "imposed_kn", "imposed", "column 'imposed' has no unit; write"),
        ("columns.csv", "wind_kn", "breeze_kn", "column 'breeze_kn' is unknown; .*'wind_kn'"),
        ("columns.csv", ",758,", ",0,", r"row 4, column 'permanent_kn': 0 .* above 0"),
        ("columns.csv", ",758,", ",7580000000,", r"row 4, column 'permanent_kn' .* to 1e\+06"),
        ("columns.csv", ",90,", ",-90,", r"row 4, column 'imposed_kn': -90 .* at least 0"),
    ],
)  # fmt: skip
def test_cells_that_are_refused(spoiled, file, old, new, sentence):
    refused(spoiled(file, (old, new)), rf"{re.escape(file)}(, |: ){sentence}", TableError)


def test_loads_that_do_not_add_up(spoiled):
    refused(
        spoiled("columns.csv", (",1922,", ",1900,"), name="tower"),
        r"columns\.csv, row 4: structure and superimposed add up to 3441 kN, and permanent is",
        TableError,
    )


def test_reverberation_times_must_reach_all_bands(spoiled):
    refused(
        spoiled("rooms.csv", ("rt_4hz_s", "rt_500hz_s")),
        r"rooms\.csv: column 'rt_4hz_s' is missing; the bands of the study need the reverberation",
        TableError,
    )


def test_a_ceiling_must_lie_above_its_floor(spoiled):
    refused(
        spoiled("rooms.csv", ("classrooms,2,3,8,7,3", "classrooms,2,0,8,7,3")),
        r"rooms\.csv, row 14, column 'ceiling_floor'",
        TableError,
    )


def test_a_criteria_set_must_be_known(spoiled):
    refused(
        spoiled("rooms.csv", (",hall\n", ",halls\n")),
        r"rooms\.csv, row 4, column 'criteria': there is no set of criteria 'halls'; known are",
        TableError,
    )


def test_options_name_known_rooms(spoiled):
    refused(
        spoiled(S, ('rooms = ["R0.1"]', 'rooms = ["R0.9"]')),
        r"study\.toml, options 4, rooms 1: room is 'R0\.9'; known are 'R0\.1', .* Did you mean",
        StudyError,
    )


def test_bands_beyond_the_passbys(spoiled):
    refused(
        spoiled(S, ("high_hz = 250", "high_hz = 315")),
        r"study\.toml, \[bands\]: 315 Hz is asked for, and the passbys hold 5 to 250 Hz",
        StudyError,
    )


def test_bands_beyond_a_given_spectrum(spoiled):
    study = spoiled(S, ("frequency_hz = [5.0, ", "frequency_hz = ["), ("[0.0, 0.0", "[0.0"))
    sentence = r"study\.toml, \[path\], \[coupling\]: .*5 Hz is asked for and not there; .* 6.3 to"
    refused(study, sentence, StudyError)


def test_bands_beyond_the_table_of_a_standard(spoiled):
    study = spoiled(S, ("high_hz = 250", "high_hz = 100"))
    text = study.read_text(encoding="utf-8")
    start = text.index("[path.coupling]")
    end = text.index("[path.", start + 1)
    table = '[path.coupling]\nmodel = "E DIN 45672-3"\nplace = "basement"\n\n'
    study.write_text(text[:start] + table + text[end:], encoding="utf-8")
    refused(study, r"toml, \[path\], \[coupling\]: .*100 Hz is asked .* 4 to 80 Hz", StudyError)


# --- where tables may lie ------------------------------------------------------------------------


@pytest.mark.parametrize("way", ["absolute", "above", "link"])
def test_tables_outside_the_folder_of_the_study_are_refused(spoiled, tmp_path, way):
    """They go into the report whole: a password file would as well."""
    secret = tmp_path / "elsewhere" / "floors.csv"
    secret.parent.mkdir()
    study = spoiled(S)
    shutil.copy(study.with_name("floors.csv"), secret)
    name = {"absolute": secret.as_posix(), "above": "../elsewhere/floors.csv", "link": "l.csv"}[way]
    study.with_name("l.csv").symlink_to(secret)
    text = study.read_text(encoding="utf-8").replace('"floors.csv"', f'"{name}"')
    study.write_text(text, encoding="utf-8")
    sentence = r"study\.toml, \[building\]: 'floors' is .* outside the folder of the study .*other_"
    refused(study, sentence, StudyError)
    study.write_text('other_folders = ["../elsewhere"]\n' + text, encoding="utf-8")
    read = gb.read_study(study)
    assert read.inputs[name] == secret.read_text(encoding="utf-8")
    study.write_text('other_folders = "../elsewhere"\n' + text, encoding="utf-8")
    refused(study, "'other_folders' is '../elsewhere'; a list of texts is needed", StudyError)


def test_two_tables_of_one_name_are_both_kept(spoiled):
    study = spoiled(S)
    below = study.parent / "sub" / "rooms.csv"
    below.parent.mkdir()
    shutil.copy(study.with_name("floors.csv"), below)
    text = study.read_text(encoding="utf-8").replace('"floors.csv"', '"sub/rooms.csv"')
    study.write_text(text, encoding="utf-8")
    inputs = gb.read_study(study).inputs
    assert inputs["sub/rooms.csv"] != inputs["rooms.csv"]


def test_a_table_that_is_a_device_or_without_end_is_refused(spoiled):
    study = spoiled(S)
    floors = study.with_name("floors.csv")
    with floors.open("wb") as stream:
        stream.truncate(65 * 2**20)
    refused(
        study, r"floors\.csv: the file holds 65\.0 MB; a CSV file of at most 64\.0 MB", TableError
    )
    if not hasattr(os, "mkfifo"):
        return
    floors.unlink()
    os.mkfifo(floors)
    refused(study, r"floors\.csv: this is a device, a pipe or a socket", TableError)


def test_a_base_needs_a_plane(spoiled):
    study = spoiled(S)
    text = study.read_text()
    start, end = text.index("[isolation]"), text.index("[[criteria.hall]]")
    study.write_text(text[:start] + text[end:])
    refused(
        study,
        r"study\.toml, options 2: it isolates the base, and the study has no table \[isolation\]",
        StudyError,
    )


def test_a_load_needs_columns_or_a_mass(spoiled):
    refused(
        spoiled(S, ('columns = "columns.csv"\n', "")),
        r"study\.toml, \[isolation\], \[load\]: the mass comes from the columns, and \[building\] ",
        StudyError,
    )


def test_a_mass_may_stand_in_place_of_columns(spoiled):
    study = spoiled(
        S, ('columns = "columns.csv"\n', ""), ("imposed_share = 0.3", "mass_kg = 1.7e6")
    )
    assert gb.read_study(study).plane.mass == 1.7e6


def test_a_room_is_treated_once(spoiled):
    study = spoiled(S, ('rooms = ["R1.1",', 'rooms = ["R0.1",'))
    with pytest.raises(
        StudyError, match=r"option 'rooms only': the floor of room 'R0.1' is treated"
    ):
        evaluated(study)


def test_a_measure_names_a_room_once(spoiled):
    study = spoiled(S, ('rooms = ["R1.1",', 'rooms = ["R1.1", "R1.1",'))
    with pytest.raises(StudyError, match=r"R1\.1.* twice"):
        evaluated(study)


def test_a_criterion_on_another_time_weighting(spoiled):
    study = spoiled(S, ('time_weighting = "S max"', 'time_weighting = "F max"'))
    with pytest.raises(
        StudyFileError,
        match=r"study\.toml with passbys\.csv: criterion 'LASmax, 95th percentile': .* is 'F m",
    ):
        gb.read_study(study)


def test_a_percentile_needs_enough_passbys(spoiled):
    study = spoiled(S, ("percentile = 95", "percentile = 99"))
    with pytest.raises(
        RatingError, match="36 passbys carry no 99th percentile; with these weights"
    ):
        evaluated(study)


NIGHT = ("percentile = 95\n", 'percentile = 95\nperiod = "night"\n')


def test_periods_are_known_and_measured(spoiled):
    with pytest.raises(StudyError, match="period is 'evening'; known are 'day', 'night'"):
        evaluated(spoiled(S, ("percentile = 95\n", 'percentile = 95\nperiod = "evening"\n')))


def test_the_timetable_names_measured_trains(spoiled):
    study = spoiled(S, NIGHT, ("metro_6car = 52", "metro_8car = 52"))
    with pytest.raises(
        StudyError,
        match="period 'night': the timetable has the train type 'metro_8car', of which no passby "
        "was measured; measured were 'me",
    ):
        evaluated(study)


def test_measured_trains_stand_in_the_timetable(spoiled):
    study = spoiled("passbys.csv", ("S1-001,metro_6car", "S1-001,works train"))
    text = study.read_text().replace(*NIGHT)
    study.write_text(text)
    with pytest.raises(
        StudyError, match="period 'night': the train_type 'works train' was measured and is not in"
    ):
        evaluated(study)


def test_the_path_starts_where_the_levels_were_measured(spoiled):
    refused(
        spoiled(S, ('location = "ground"', 'location = "foundation"')),
        r"\[path\]: the passbys of \[source\] were measured on the foundation.*: remove "
        r"\[path\.coupling\], or",
        StudyError,
    )


def test_path_ends_in_a_study_name_both_steps(spoiled):
    refused(
        spoiled(S, (SURFACES, 'model = "relation"\nrelation = "HJ 453-2018"\n')),
        r"study\.toml, \[path\]: TransmissionPath: 'floor' gives velocity of the floor, surface",
        StudyError,
    )


def test_rooms_cannot_be_treated_with_a_fixed_relation(spoiled):
    study = spoiled(S, (SURFACES, 'model = "relation"\nrelation = "minus 27"\n'))
    with pytest.raises(
        StudyError, match="option 'rooms only': rooms can be treated only where the p"
    ):
        evaluated(study)


def test_surfaces_need_a_surface_average(spoiled):
    refused(
        spoiled(S, ('model = "fundamental"', 'model = "ANC 2001, vibration"')),
        r"study\.toml, \[path\], \[radiation\]: the sum over room surfaces needs the velocity of t",
        StudyError,
    )


def test_a_base_cannot_be_isolated_where_no_foundation_is():
    above = xr.DataArray([True], coords={"room": ["hall"]})
    one_step = TransmissionPath(
        all=GivenChange(
            xr.DataArray([0.0], coords={"frequency": [63.0]}),
            quantity_in=GROUND,
            quantity_out=FLOOR_AVERAGE,
        ),
        radiation=receiver.relation("minus 27"),
    )
    plane = MobilityPlane(
        floor="0",
        mass=1e6,
        below=gb.structure.SpringFoundation(stiffness=1e9, damping=1e6),
        above=gb.structure.RigidMass(mass=1e6),
    )
    option = Option(name="rubber", base=tuned_mount(plane, natural_frequency=9.0, loss_factor=0.1))
    with pytest.raises(
        StudyError, match="option 'rubber': the path never gives the velocity of the"
    ):
        option.path(one_step, plane=plane, above_plane=above, surfaces=None)
    from_column = TransmissionPath(
        floor=propagation.anc_floor_for_noise(), radiation=receiver.relation("minus 27")
    )
    assert from_column.quantity_in == COLUMN
    with pytest.raises(StudyError, match="there is no place to isolate"):
        option.path(from_column, plane=plane, above_plane=above, surfaces=None)


def test_options_and_measures_by_hand_are_strict(music_school):
    with pytest.raises(StudyError, match="Option: the name is empty"):
        Option(name=" ")
    layer = gb.isolation.SurfaceIsolation(natural_frequency=9.0, loss_factor=0.1)
    with pytest.raises(StudyError, match="it needs at least one room and one surface"):
        RoomMeasure(rooms=(), treatments={"floor": layer})
    with pytest.raises(StudyError, match="at least one room and one surface"):
        RoomMeasure(rooms=("R0.1",), treatments={})
    with pytest.raises(StudyError, match=r"surface is 'celing'; .* Did you mean 'ceiling'"):
        RoomMeasure(rooms=("R0.1",), treatments={"celing": layer})
    unknown = Option(name="x", measures=(RoomMeasure(rooms=("R9",), treatments={"floor": layer}),))
    with pytest.raises(StudyError, match="option 'x': room is 'R9'; known are"):
        music_school.study.with_options([unknown]).paths()
    with pytest.raises(StudyError, match="there is no option; at least one is needed"):
        music_school.study.with_options([])
    with pytest.raises(StudyError, match="the option 'a' is given twice"):
        music_school.study.with_options([Option(name="a"), Option(name="a")])
    mass = gb.structure.RigidMass(mass=1.0)
    with pytest.raises(ValueError, match="MobilityPlane: mass is 0"):
        MobilityPlane(floor="0", mass=0.0, below=mass, above=mass)


def test_reading_a_study_twice_gives_the_same_result(copied_study, music_school):
    again = evaluated(copied_study("music_school"))
    xr.testing.assert_identical(again, music_school.result)


def test_windows_line_ends_and_a_byte_order_mark_change_nothing(copied_study, music_school):
    study = copied_study("music_school")
    for file in (f for f in study.parent.iterdir() if f.is_file()):
        file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n"))
    again = evaluated(study)
    np.testing.assert_array_equal(again["sound_level"], music_school.result["sound_level"])


def test_no_sentence_speaks_in_the_types_of_a_library(spoiled):
    with pytest.raises(TableError) as caught:
        gb.read_study(spoiled("rooms.csv", ("hall,0,2,14", "hall,9,2,14")))
    assert "np.str_" not in str(caught.value)
