"""The same reader and study code on measured spectra of station passbys, with background apart."""

from __future__ import annotations

import csv
import dataclasses
import warnings
from pathlib import Path

import numpy as np
import pytest

import groundborne as gb
from groundborne._checks import StudyFileError, TableError
from groundborne.path import FOUNDATION
from groundborne.source import read_passbys
from note_sentences import sentences_of

MEASURED = (
    Path(__file__).resolve().parents[3]
    / "shared"
    / "data"
    / "station_third_octave_velocity_levels.csv"
)
pytestmark = [
    pytest.mark.shared,
    pytest.mark.skipif(not MEASURED.is_file(), reason="the measured station spectra are not here"),
]
READ = {
    "quantity": "velocity", "reference": "1 nm/s", "time_weighting": "leq",
    "location": FOUNDATION, "band_column": "Lv_{band}Hz", "name_column": "segment",
    "kind_column": "kind", "passby_kinds": ["train_pass"], "background_kinds": ["background"],
    "select": {"axis": "z"}, "ignore_columns": ["position"],
}  # fmt: skip
STUDY = """
format = "groundborne study 1"
name = "Hall under a station"

[bands]
low_hz = 4
high_hz = 40

[source]
passbys = "levels.csv"
quantity = "velocity"
reference = "1 nm/s"
time_weighting = "leq"
location = "foundation"
band_column = "Lv_{band}Hz"
name_column = "segment"
kind_column = "kind"
passby_kinds = ["train_pass"]
background_kinds = ["background"]
ignore_columns = ["position"]
select = { axis = "z" }

[building]
floors = "floors.csv"
rooms = "rooms.csv"

[path.storeys]
model = "none"

[path.floor]
model = "fixed"
gain_db = 0

[path.radiation]
model = "room surfaces"
slabs = { longitudinal_wave_speed_m_s = 3500 }
walls = { thickness_m = 0.2, longitudinal_wave_speed_m_s = 2500 }

[[criteria.hall]]
metric = "NR"
limit = 60
statistic = "energy mean"
time_weighting = "leq"

[[options]]
name = "as built"
"""
FLOORS = "floor,storeys,height_m,slab_thickness_m\n0,0,0,0.3\n1,1,4,0.3\n"
ROOMS = (
    "room,name,floor,ceiling_floor,length_m,width_m,height_m,rt_s,criteria\n"
    "H,Waiting hall,0,1,20,12,4,1.5,hall\n"
)


def rows():
    with MEASURED.open(newline="") as file:
        return [r for r in csv.DictReader(file) if r["axis"] == "z"]


def levels_of(kind):
    found = [r for r in rows() if r["kind"] == kind]
    bands = [c for c in found[0] if c.startswith("Lv_")]
    return [r["segment"] for r in found], np.array([[float(r[b]) for b in bands] for r in found])


@pytest.fixture
def study(tmp_path):
    def make(text=STUDY):
        (tmp_path / "levels.csv").write_bytes(MEASURED.read_bytes())
        (tmp_path / "floors.csv").write_text(FLOORS)
        (tmp_path / "rooms.csv").write_text(ROOMS)
        file = tmp_path / "study.toml"
        file.write_text(text)
        return gb.read_study(file)

    return make


def evaluated(study):
    with warnings.catch_warnings():
        # The 31.5 Hz octave is whole, the 63 Hz octave is not there at all.
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return study.evaluate()


def test_passbys_and_background_are_read_apart():
    passbys = read_passbys(MEASURED, **READ)
    for kind, array, dim in (
        ("train_pass", passbys.level, "passby"),
        ("background", passbys.background, "segment"),
    ):
        names, values = levels_of(kind)
        assert array[dim].values.tolist() == names
        np.testing.assert_array_equal(array.transpose(dim, "frequency"), values)
    assert passbys.level.sizes == {"passby": 9, "frequency": 11}
    assert passbys.background.sizes == {"segment": 18, "frequency": 11}
    assert passbys.level.attrs["location"] == FOUNDATION.location
    assert passbys.level.attrs["time_weighting"] == "leq"


def test_all_axes_together_repeat_names_and_are_refused():
    arguments = {**READ, "select": None, "ignore_columns": ["position", "axis"]}
    with pytest.raises(TableError, match="column 'segment': 'ev01' was given in row 2 already"):
        read_passbys(MEASURED, **arguments)


def test_a_kind_nobody_named_is_refused():
    with pytest.raises(
        TableError, match="column 'kind': 'background' is unknown; known are 'train"
    ):
        read_passbys(MEASURED, **{**READ, "background_kinds": []})


def test_passbys_above_background_are_what_the_file_says():
    passbys = read_passbys(MEASURED, **READ)
    mean = [10 * np.log10((10 ** (v / 10)).mean(axis=0))
            for v in (levels_of("train_pass")[1], levels_of("background")[1])]  # fmt: skip
    np.testing.assert_allclose(passbys.above_background(), mean[0] - mean[1], atol=1e-9)


def test_background_is_not_in_the_rating(study):
    read = study()
    result = evaluated(read)
    names, values = levels_of("train_pass")
    assert result["passby"].values.tolist() == names
    np.testing.assert_array_equal(result["source_level"], values)
    assert result["background_level"].sizes == {"segment": 18, "frequency": 11}
    # Another background moves the notes and nothing else.
    quieter = gb.source.Passbys(read.passbys.level, read.passbys.background - 40.0)
    other = evaluated(dataclasses.replace(read, passbys=quieter))
    for name in ("rating", "nr", "sound_level", "mean_level", "margin"):
        np.testing.assert_array_equal(result[name], other[name])
    assert "above the background" in " ".join(sentences_of(result))
    assert "above the background" not in " ".join(sentences_of(other))


def test_the_rating_is_that_of_the_passbys(study):
    result = evaluated(study())
    change = result["level_change"].isel(option=0, room=0).sum("stage")
    mean = 10 * np.log10((10 ** (levels_of("train_pass")[1] / 10)).mean(axis=0))
    room = mean + change.values
    f = result["frequency"].values
    octave = 10 * np.log10((10 ** (room[np.isin(f, [25.0, 31.5, 40.0])] / 10)).sum())
    # NR of the 31.5 Hz octave alone: a = 55.4 dB, b = 0.681 (AS 1469).
    assert result["nr"].item() == pytest.approx((octave - 55.4) / 0.681, abs=1e-9)
    assert result["rating"].item() == pytest.approx(result["nr"].item(), abs=1e-9)


def test_bands_near_the_background_are_named_and_no_others(study):
    read = study()
    notes = sentences_of(evaluated(read))
    found = [n for n in notes if "above the background" in n]
    above = read.passbys.above_background()
    near = above["frequency"].values[above.values < 6.0]
    assert near.size > 0
    assert len(found) == 1
    listed = found[0].split(" at ")[1].split(" Hz")[0].split(", ")
    assert listed == [f"{f:g}" for f in near]
    assert "upper limit, not a train level" in found[0]


def test_a_null_case_is_marked_in_every_band(study):
    """Two segments named passbys show nothing above the noise of the sensor."""
    read = study()
    null = read.passbys.level.sel(passby=["ev09", "ev10"])
    alone = dataclasses.replace(read, passbys=gb.source.Passbys(null, read.passbys.background))
    notes = sentences_of(evaluated(alone))
    found = [n for n in notes if "above the background" in n]
    assert len(found) == 1
    assert all(f"{f:g}" in found[0] for f in null["frequency"].values)


def test_a_maximum_level_cannot_be_had_from_leq(study):
    text = STUDY.replace('metric = "NR"', 'metric = "LASmax"').replace(
        'statistic = "energy mean"\ntime_weighting = "leq"',
        'statistic = "maximum"\ntime_weighting = "S max"',
    )
    with pytest.raises(
        StudyFileError, match="of the levels is 'leq', the limit is on 'S max'; use level"
    ):
        study(text)
    with pytest.raises(
        ValueError, match=r"study\.toml, \[criteria\], hall 1: 'time_weighting' is 'l"
    ):
        study(text.replace('time_weighting = "S max"', 'time_weighting = "leq"'))


def test_nothing_of_a_maximum_is_said_of_leq(study):
    notes = sentences_of(evaluated(study()))
    assert not [n for n in notes if "upper bound of the maximum" in n]
