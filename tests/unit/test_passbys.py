"""Passby files: what is refused, whether the sentence says where, and what comes back."""

from __future__ import annotations

import numpy as np
import pytest

from groundborne import levels
from groundborne._checks import BandError, LevelError, TableError
from groundborne.path import COLUMN, FOUNDATION
from groundborne.source import read_passbys

HEAD = "passby,train_type,track,speed_kmh,duration_s,50 Hz,63 Hz,80 Hz"
ROW = "P1,metro,north,60,8,90.1,95.2,88.3"
CLEAN = f"{HEAD}\n{ROW}\nP2,metro,south,70,7,91.4,96.5,89.6\n"


@pytest.fixture
def read(tmp_path):
    def make(content: str | bytes, **more):
        file = tmp_path / "passbys.csv"
        file.write_bytes(content.encode() if isinstance(content, str) else content)
        arguments = {
            "quantity": "velocity", "reference": "1 nm/s", "time_weighting": "S max", **more
        }  # fmt: skip
        return read_passbys(file, **arguments)

    return make


def test_what_stands_in_the_file_comes_back(read):
    passbys = read(f"# invented\n{CLEAN}")
    assert passbys.level.dims == ("passby", "frequency")
    assert passbys.level["passby"].values.tolist() == ["P1", "P2"]
    assert passbys.level["frequency"].values.tolist() == [50.0, 63.0, 80.0]
    assert passbys.level.values.tolist() == [[90.1, 95.2, 88.3], [91.4, 96.5, 89.6]]
    assert passbys.level["speed_kmh"].values.tolist() == [60.0, 70.0]
    assert passbys.level["duration_s"].attrs["units"] == "s"
    assert passbys.level["track"].values.tolist() == ["north", "south"]
    assert passbys.level.attrs["location"] == "of the ground"
    assert passbys.level.attrs["time_weighting"] == "S max"
    assert passbys.notes == ("invented",)
    assert passbys.background is None
    assert passbys.above_background() is None


def test_columns_may_stand_in_any_order_and_bands_may_not(read):
    moved = "50 Hz,duration_s,63 Hz,passby,80 Hz\n90.1,8,95.2,P1,88.3\n"
    assert read(moved).level.values.tolist() == [[90.1, 95.2, 88.3]]
    with pytest.raises(BandError, match=r"passbys\.csv: after 80 Hz comes 63 Hz; bands must asce"):
        read("passby,50 Hz,80 Hz,63 Hz\nP1,90,88,95\n")


@pytest.mark.parametrize(
    ("header", "sentence"),
    [
        ("passby,50 Hz,80 Hz", r"passbys\.csv: after 50 Hz comes 80 Hz; 63 Hz is missing"),
        ("passby,63 Hz,50 Hz", r"passbys\.csv: after 63 Hz comes 50 Hz; bands must ascend"),
        ("passby,50 Hz,50 Hz", r"passbys\.csv: the column '50 Hz' is given twice"),
        ("passby,50 Hz,50.0 Hz", r"passbys\.csv: the band 50 Hz is given twice"),
        ("passby,50 Hz,62 Hz", r"passbys\.csv: 62 Hz is not a nominal .* the nearest is 63 Hz"),
        (
            "passby,50.0 Hz,63 Hz",
            r"passbys\.csv: the band column '50\.0 Hz' must be written '50 Hz",
        ),
        ("passby,5e1 Hz,63 Hz", r"passbys\.csv: the band column '5e1 Hz' must be written '50 Hz'"),
        ("passby,-50 Hz,63 Hz", r"passbys\.csv: frequency is -50 at .*; a frequency is above 0 Hz"),
        ("passby,nan Hz,63 Hz", r"passbys\.csv: frequency is nan"),
        ("passby,inf Hz,63 Hz", r"passbys\.csv: frequency is inf"),
        ("passby,50Hz,63Hz", r"passbys\.csv: no column is named like a band, for example '63 Hz'"),
        (
            "passby,50 Hz,63Hz",
            r"passbys\.csv: column '63Hz' is unknown; known are 'passby', '50 Hz",
        ),
        ("passby,50 Hz,63 hz", r"passbys\.csv: column '63 hz' is unknown"),
        ("passby,50 Hz,sum", r"passbys\.csv: column 'sum' is unknown; known are"),
        (
            "pass-by,50 Hz,63 Hz",
            r"passbys\.csv: column 'passby' is missing; the header holds 'pass",
        ),
        ("passby,50 Hz,speed_mph", r"passbys\.csv: column 'speed_mph' is unknown"),
    ],
)
def test_headers_that_are_refused(read, header, sentence):
    with pytest.raises(ValueError, match=sentence):
        read(f"{header}\nP1,90,95\n")


@pytest.mark.parametrize(
    ("cell", "sentence"),
    [
        ("loud", "'loud' is not a number"),
        ('"95,2"', "'95,2' has a decimal comma; write a decimal point"),
        ("", "the cell is empty; a number is needed"),
        ("nan", "a missing value cannot be used"),
        ("inf", "a missing value cannot be used"),
        ("-inf", "a missing value cannot be used"),
        ("1e400", "1e400 is out of bounds"),
        ("-2900", "-2900 is out of bounds; .* is the reference .* right, and are these levels"),
        ("250", "250 is out of bounds; .*at least -60 and at most 200 dB; is the reference"),
    ],
)
def test_cells_that_are_refused(read, cell, sentence):
    broken = CLEAN.replace("96.5", cell)
    with pytest.raises(TableError, match=rf"passbys\.csv, row 3, column '63 Hz': .*{sentence}"):
        read(broken)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (",70,", ",0,", r"row 3, column 'speed_kmh': 0 is out of bounds; it must be above 0 km/h"),
        (",7,", ",-7,", r"row 3, column 'duration_s': -7 is out of bounds; it must be above 0 s"),
        (",7,", ",long,", r"row 3, column 'duration_s': 'long' is not a number"),
        ("P2,metro", "P2,", r"row 3, column 'train_type': the cell is empty"),
        ("P2", "", r"row 3, column 'passby': the cell is empty"),
        ("P2", "P1", r"row 3, column 'passby': 'P1' was given in row 2 already"),
        ("96.5", "96,5", r"row 3: 9 cells where the header has 8; a decimal comma"),
        (",", ";", r"columns are separated by semicolons; commas are needed"),
    ],
)
def test_rows_that_are_refused(read, old, new, sentence):
    with pytest.raises(TableError, match=rf"passbys\.csv(, |: ){sentence}"):
        read(CLEAN.replace(old, new))


def test_files_without_rows(read):
    with pytest.raises(TableError, match=r"passbys\.csv: the file is empty"):
        read("")
    with pytest.raises(TableError, match=r"passbys\.csv: there is a header and no row below it"):
        read(HEAD + "\n")


@pytest.mark.parametrize(
    ("row", "unit"),
    [
        ("1.2e-6,3.4e-5,9.1e-6", "m/s"),
        ("0.0012,0.034,0.0091", "mm/s"),
    ],
)
def test_velocities_that_are_not_levels(read, row, unit):
    """No train leaves every band near 0 dB re 1 nm/s: these are linear values."""
    with pytest.raises(TableError, match="are these levels"):
        read(f"passby,50 Hz,63 Hz,80 Hz\nP1,{row}\nP2,{row}\n")


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"reference": "1 mm/s"}, "reference for velocity is '1 mm/s'; known are '1 nm/s'"),
        ({"reference": "20 µPa"}, "reference for velocity is '20 µPa'"),
        ({"reference": "1 µm/s²"}, "reference for velocity is '1 µm/s²'"),
        ({"quantity": "acceleration"}, "reference for acceleration is '1 nm/s'"),
        ({"quantity": "sound pressure"}, "quantity is 'sound pressure'; known are 'velocity'"),
        ({"quantity": "velocty"}, "quantity is 'velocty'; known are .* Did you mean 'velocity'"),
        ({"time_weighting": "slow"}, "time_weighting is 'slow'; known are 'S max', 'F max', 'leq'"),
        (
            {"location": COLUMN},
            "location is velocity of the columns .*; it must be velocity of the",
        ),
    ],
)
def test_labels_that_are_refused(read, more, sentence):
    with pytest.raises(LevelError, match=sentence):
        read(CLEAN, **more)


@pytest.mark.parametrize("pattern", ["63 Hz", "{band}{band}", ""])
def test_a_pattern_needs_its_band_once(read, pattern):
    with pytest.raises(TableError, match=r"band_column is .*; it needs {band} once"):
        read(CLEAN, band_column=pattern)


def test_levels_on_another_reference_become_re_1_nm_s(read):
    other = read("passby,50 Hz\nP1,60\n", reference="50 nm/s").level
    assert other.item() == pytest.approx(93.979, abs=1e-3)
    assert other.attrs["reference"] == "1 nm/s"
    # Bounds follow the reference: 180 dB re 50 nm/s would be 500 m/s.
    with pytest.raises(TableError, match="180 is out of bounds"):
        read("passby,50 Hz\nP1,180\n", reference="50 nm/s")


def test_acceleration_becomes_velocity_at_exact_centres(read):
    text = "passby,63 Hz\nP1,70\n"
    level = read(text, quantity="acceleration", reference="1 µm/s²").level
    expected = 70 - 20 * np.log10(2 * np.pi * 10**1.8) + 60
    assert level.item() == pytest.approx(expected, abs=1e-9)
    assert level.attrs["quantity"] == "velocity"
    levels.require(level, where="test", quantity="velocity")


KINDS = (
    "segment,kind,axis,L50,L63\ns1,train,z,90,91\ns2,train,x,80,81\ns3,quiet,z,60,61\n"
    "s4,quiet,x,50,51\n"
)
KIND_ARGUMENTS = {
    "name_column": "segment", "kind_column": "kind", "passby_kinds": ["train"],
    "background_kinds": ["quiet"], "band_column": "L{band}", "location": FOUNDATION,
}  # fmt: skip


def test_background_is_kept_apart(read):
    passbys = read(KINDS, **KIND_ARGUMENTS, select={"axis": "z"})
    assert passbys.level["passby"].values.tolist() == ["s1"]
    assert passbys.level.values.tolist() == [[90.0, 91.0]]
    assert passbys.background.dims == ("segment", "frequency")
    assert passbys.background["segment"].values.tolist() == ["s3"]
    assert passbys.background.values.tolist() == [[60.0, 61.0]]
    np.testing.assert_allclose(passbys.above_background(), 30.0, atol=1e-12)
    both = read(KINDS, **KIND_ARGUMENTS, ignore_columns=["axis"])
    assert both.level.sizes["passby"] == 2
    assert both.background.sizes["segment"] == 2


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"select": {"axis": "y"}}, "no row has axis = 'y'"),
        ({"select": {"axes": "z"}}, "column 'axes'"),
        (
            {"select": {"axis": "z"}, "passby_kinds": ["tram"]},
            "row 2, column 'kind': 'train' is unk",
        ),
        (
            {"ignore_columns": ["axis"], "background_kinds": []},
            "row 4, column 'kind': 'quiet' is unknown; known are 'train'",
        ),
        (
            {
                "ignore_columns": ["axis"],
                "passby_kinds": [],
                "background_kinds": ["train", "quiet"],
            },
            "no row is a passby; at least one is needed",
        ),
        ({}, "column 'axis' is unknown; known are"),
        ({"ignore_columns": ["axis"], "kind_column": "type"}, "column 'type' is missing"),
        ({"ignore_columns": ["axis"], "name_column": "name"}, "column 'name' is missing"),
    ],
)
def test_choices_that_fit_no_row(read, more, sentence):
    with pytest.raises(TableError, match=rf"passbys\.csv(, |: ){sentence}"):
        read(KINDS, **{**KIND_ARGUMENTS, **more})


def test_places_that_hold_no_file(tmp_path):
    arguments = {"quantity": "velocity", "reference": "1 nm/s", "time_weighting": "S max"}
    with pytest.raises(TableError, match="there is no such file"):
        read_passbys(tmp_path / "none.csv", **arguments)
    with pytest.raises(TableError, match="this is a folder"):
        read_passbys(tmp_path, **arguments)
