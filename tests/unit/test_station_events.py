"""Passbys in measured records: a station hall in poor signal to noise, and a test bridge.

One rule for every station record: the two horizontal axes added, the 31.5 Hz band, linear mean over
1.5 s, 4.5 dB above the median of the record, least duration 2.5 s. It was chosen on these records:
it shows that one rule can do it, not how it fares elsewhere.
"""

from __future__ import annotations

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from groundborne._checks import RecordingError
from groundborne.records.channel import Channel
from groundborne.records.readers.text import read_text_recording
from groundborne.records.recording import RecordingWarning
from groundborne.source.passbys.extraction import DetectionRule
from groundborne.source.passbys.measuring import measure_passbys

MEASURED = Path(__file__).resolve().parents[3] / "shared" / "data" / "third_party"
STATION = MEASURED / "station_floor_accel"
BRIDGE = MEASURED / "support_load_test" / "reference_load_passes_100Hz.csv.gz"
pytestmark = [
    pytest.mark.shared,
    pytest.mark.skipif(not BRIDGE.is_file(), reason="the measured records are not here"),
]
RULE = DetectionRule(
    low=31.5, high=31.5, channels=("x", "y"), averaging=1.5, threshold=4.5, hysteresis=2.0,
    least=2.5, most=60.0, join=1.0, margin=0.5, crest=None,
)  # fmt: skip
DESK = [f"ev0{n}" for n in range(1, 8)]
NULL = ["ev09", "ev10"]
KNOCKS = "full_record_with_knocks_01"
FULL_START = 262.13
"""Where the full record holds the time zero of ``ev01`` [s], checked below."""


AXES = {
    f"a{axis}_mps2": Channel(name=axis, unit="m/s²", quantity="acceleration", axis=axis)
    for axis in "xyz"
}


def station(file, **choices):
    """Record of a file; its one doubled and one missing sample are mended, and it says so."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RecordingWarning)
        return read_text_recording(
            file, channels=AXES, time_column="t_s", uniform_clock=True, **choices
        )


@pytest.fixture(scope="module")
def records():
    files = {file.name.split(".")[0]: file for file in STATION.glob("*.csv*")}
    return {name: station(files[name]) for name in (*DESK, *NULL, KNOCKS)}


@pytest.fixture(scope="module")
def annotated():
    return pd.read_csv(STATION / "index.csv").set_index("file")["event_end_s"]


@pytest.fixture(scope="module")
def background(tmp_path_factory):
    """The 18 segments, one file each: the whole is long to read 18 times."""
    folder = tmp_path_factory.mktemp("segments")
    table = pd.read_csv(STATION / "background_segments.csv.gz", dtype=str)
    for name, part in table.groupby("segment"):
        part.drop(columns="segment").to_csv(folder / f"{name}.csv", index=False)
    return {file.stem: station(file) for file in sorted(folder.iterdir())}


def spans(recording, rule=RULE, kept=True):
    """Start and end on the file's own clock."""
    events = rule.find(recording)
    table = (events.only_kept() if kept else events).table
    return np.stack([table["start"], table["end"]], axis=-1) + recording.first_time


def overlaps(found, start, end):
    return (found[:, 0] < end) & (found[:, 1] > start)


@pytest.mark.parametrize("name", DESK)
def test_each_annotated_passby_is_the_one_event_of_its_record(name, records, annotated):
    found = spans(records[name])
    assert overlaps(found, 0.0, annotated[f"{name}.csv"]).tolist() == [True]


@pytest.mark.parametrize("name", NULL)
def test_nothing_is_found_where_nothing_stands_out(name, records):
    assert spans(records[name]).size == 0


@pytest.mark.parametrize("name", NULL)
def test_a_null_record_cannot_be_measured(name, records):
    with pytest.raises(RecordingError, match="no event is left to measure"):
        measure_passbys(records[name], RULE.find(records[name]), low=10.0, high=31.5)


def test_knocks_are_left_out_by_their_length(records):
    """The full record holds the passby of ev01; what else rises are knocks by hand."""
    full, first = records[KNOCKS], records["ev01"]
    whole, z = full.signal.sel(channel="z").values, first.signal.sel(channel="z").values[-2000:]
    energy = np.convolve(whole**2, np.ones(z.size), "valid")
    lag = np.argmax(np.correlate(whole, z, "valid") / np.sqrt(energy))
    zero = lag / full.sample_rate - (first.samples - 2000) / first.sample_rate - first.first_time
    assert zero == pytest.approx(FULL_START, abs=0.05)
    assert overlaps(spans(full), FULL_START, FULL_START + 8.865).tolist() == [True]
    log = RULE.find(full).log()
    assert len(log) >= 2
    assert all("too short" in line or "end" in line for line in log)


def test_the_knock_before_a_passby_is_left_out(records):
    log = RULE.find(records["ev03"]).log()
    assert len(log) == 1
    assert "too short" in log[0]


def test_false_alarms_in_the_background(background):
    found = {n: spans(r) for n, r in background.items()}
    assert len(found) == 18
    assert [n for n, s in found.items() if s.size] == []


@pytest.mark.parametrize("step", [-0.5, 0.5])
def test_half_a_decibel_either_way(step, records, annotated, background):
    """What the rule leans on: nothing is lost, and no false alarm comes in."""
    rule = replace(RULE, threshold=RULE.threshold + step)
    hits = {n: overlaps(spans(records[n], rule), 0.0, annotated[f"{n}.csv"]) for n in DESK}
    assert all(h.any() for h in hits.values())
    assert sum((~h).sum() for h in hits.values()) == 0
    assert all(spans(records[n], rule).size == 0 for n in NULL)
    assert sum(len(spans(r, rule)) for r in background.values()) == 0


def test_bands_near_the_noise_are_upper_limits(records):
    """ev05 stands 15 dB above the noise of the sensor at 31.5 Hz, and not at all at 10 Hz."""
    recording = records["ev05"]
    measured = measure_passbys(
        recording, RULE.find(recording), low=10.0, high=31.5, clear=2.0, background=8.0
    )
    level = measured.corrected("leq T2").sel(channel="x").isel(passby=0)
    limit = level["upper_limit"]
    assert not limit.sel(frequency=31.5).item()
    assert limit.sel(frequency=10.0).item()
    with pytest.raises(RecordingError, match="upper limits"):
        measured.to_passbys(upper_limits="refuse", statistic="leq T2", channel="x")
    kept = measured.to_passbys(upper_limits="keep", statistic="leq T2", channel="x")
    assert any("not detectable, upper limit only, at 10" in note for note in kept.notes)


BRIDGE_RULE = DetectionRule(
    low=5.0, high=31.5, averaging=2.0, threshold=6.0, hysteresis=3.0, least=3.0, most=120.0,
    join=5.0, margin=0.0, crest=None,
)  # fmt: skip


def test_the_seven_disturbances_of_the_bridge():
    acceleration = Channel(name="z", unit="g", quantity="acceleration")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RecordingWarning)
        recording = read_text_recording(
            BRIDGE, channels={"acc_g": acceleration}, time_column="t_s",
            ignore_columns=["strain_ume", "force_kN", "incl_deg"],
        )  # fmt: skip
    near = np.array([20.0, 72.0, 110.0, 230.0, 365.0, 500.0, 545.0])
    for threshold in (5.0, 6.0, 8.0, 10.0):
        found = spans(recording, replace(BRIDGE_RULE, threshold=threshold))
        assert found.shape == (7, 2)
        # The times are rounded to about 5 s where they come from.
        assert ((found[:, 0] < near + 5.0) & (found[:, 1] > near - 5.0)).all(), found
