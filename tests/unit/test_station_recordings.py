"""The text reader on measured sets: a station floor while trains pass, and a bridge load test."""

from __future__ import annotations

import csv
import gzip
import warnings
from pathlib import Path

import numpy as np
import pytest

from groundborne._checks import RecordingError
from groundborne.records.channel import Channel
from groundborne.records.checks.faults import noise_model_departure, require_rate
from groundborne.records.readers.text import read_text_recording
from groundborne.records.recording import RecordingWarning

MEASURED = Path(__file__).resolve().parents[3] / "shared" / "data" / "third_party"
STATION = MEASURED / "station_floor_accel"
BRIDGE = MEASURED / "support_load_test"
pytestmark = [
    pytest.mark.shared,
    pytest.mark.skipif(not STATION.is_dir(), reason="the measured recordings are not here"),
]
AXES = {
    f"a{axis}_mps2": Channel(name=axis, axis=axis, unit="m/s²", quantity="acceleration")
    for axis in "xyz"
}
EVENTS = ("ev01", "ev02", "ev03", "ev04", "ev05", "ev06", "ev07", "ev09", "ev10")
FULL = ("full_record_with_knocks_01.csv.gz", "platform_boarding_16.csv.gz")


def read(name, **arguments):
    """The phone sensor's own noise lies far above natural ground noise, so every file warns."""
    arguments = {"channels": AXES, "time_column": "t_s", **arguments}
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        recording = read_text_recording(STATION / name, **arguments)
    assert {w.category for w in caught} <= {RecordingWarning}
    return recording, [str(w.message) for w in caught]


def index():
    with (STATION / "index.csv").open(newline="") as file:
        return {row["file"]: row for row in csv.DictReader(file)}


def plain(name):
    opened = gzip.open if name.endswith("gz") else open
    with opened(STATION / name, "rt") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("name", [e for e in EVENTS if e != "ev03"])
def test_events_are_read_with_their_odd_rate(name):
    recording, caught = read(f"{name}.csv")
    row = index()[f"{name}.csv"]
    rows = plain(f"{name}.csv")
    assert recording.samples == int(row["n"])
    # The index prints four decimals.
    assert recording.sample_rate == pytest.approx(float(row["fs_hz"]), abs=1e-4)
    assert recording.first_time == float(rows[0]["t_s"])
    np.testing.assert_array_equal(
        recording.signal.sel(channel="z"), [float(r["az_mps2"]) for r in rows]
    )
    assert any("channel 'z'" in text for text in caught)
    assert all("noise model of natural ground" in text for text in caught)


def test_doubled_and_missing_samples_are_named_and_refused():
    with pytest.raises(RecordingError) as refused:
        read("ev03.csv")
    text = str(refused.value)
    # Counted by hand in the file: thirteen steps of 0 s, twenty of 0.0201 s.
    assert "ev03.csv: 13 doubled samples, at -35.4038, -26.3826, -23.3755" in text
    assert "20 missing samples, at -38.4008, -35.3937, -32.3866" in text
    assert "uniform_clock=True" in text


def test_doubled_and_missing_samples_are_mended_if_asked():
    recording, caught = read("ev03.csv", uniform_clock=True)
    # Its clock creeps by 0.4 ms over the minute, so the straight line is 7 millionths off.
    assert recording.sample_rate == pytest.approx(99.4315, abs=1e-3)
    assert recording.samples == 6002 - 13 + 20
    assert any("13 doubled samples dropped, 20 missing ones bridged" in text for text in caught)
    assert any("13 doubled samples, at" in note for note in recording.notes)
    # The last sample keeps its time: nothing has slipped.
    rows = plain("ev03.csv")
    last = recording.first_time + (recording.samples - 1) / recording.sample_rate
    assert last == pytest.approx(float(rows[-1]["t_s"]), abs=2e-3)
    # Around the first doubled sample (row 456 of the data, -35.4038 s) and the gap after it; one
    # sample was missing before.
    z = recording.signal.sel(channel="z").values
    assert z[457] == 0.027703
    assert z[459] == 0.054058
    assert z[458] == pytest.approx((0.027703 + 0.054058) / 2)


def test_a_stated_rate_that_is_not_the_columns_is_refused():
    with pytest.raises(RecordingError, match=r"given as 100 Hz, the time column runs at 99\.43"):
        read("ev01.csv", sample_rate=100.0)


@pytest.mark.parametrize("name", FULL)
def test_full_records_are_read(name):
    recording, _ = read(name)
    row = index()[name]
    assert recording.samples == int(row["n"])
    # The column is printed to 1 ms or less: over 94 s and more that leaves 2e-5 of the rate open.
    assert recording.sample_rate == pytest.approx(float(row["fs_hz"]), rel=2e-5)


def test_background_segments_are_read_one_by_one():
    rows = plain("background_segments.csv.gz")
    names = sorted({row["segment"] for row in rows})
    counts = {name: sum(row["segment"] == name for row in rows) for name in names}
    assert len(names) == 18
    for name in names:
        arguments = {"select": {"segment": name}, "uniform_clock": name == "007"}
        recording, _ = read("background_segments.csv.gz", **arguments)
        assert recording.sample_rate == pytest.approx(99.4315, rel=5e-5), name
        if name != "007":
            assert recording.samples == counts[name]
    with pytest.raises(RecordingError, match=r"6 doubled samples, at .* 12 missing samples, at"):
        read("background_segments.csv.gz", select={"segment": "007"})
    with pytest.raises(RecordingError, match="column 'segment' is not named"):
        read("background_segments.csv.gz")


def test_the_offset_goes_with_the_integration_and_is_said():
    recording, _ = read("ev01.csv")
    offset = float(recording.signal.sel(channel="z").mean())
    assert 0.024 < offset < 0.03
    velocity = recording.velocity(low_cut=4.0)
    assert abs(float(velocity.signal.sel(channel="z").mean())) < 1e-6
    assert f"{offset:.3g} m/s²" in velocity.notes[-1]
    assert velocity.signal.attrs["units"] == "m/s"


def test_the_sensor_noise_stands_where_it_was_measured():
    # 8e-6 (m/s²)²/Hz, flat: -51 dB, against -91.5 to -117 dB of the high model from 1 to 10 Hz.
    recording, _ = read("full_record_with_knocks_01.csv.gz")
    departure = noise_model_departure(recording).sel(channel="z")
    assert 40 < float(departure) < 65


def test_a_band_beyond_the_rate_is_refused():
    recording, _ = read("ev01.csv")
    with pytest.raises(RecordingError, match="band 50 Hz"):
        require_rate(sample_rate=recording.sample_rate, high_band=50.0, where=recording.file)
    with pytest.warns(RecordingWarning, match="anti-alias"):
        require_rate(sample_rate=recording.sample_rate, high_band=40.0, where=recording.file)
    require_rate(sample_rate=recording.sample_rate, high_band=31.5, where=recording.file)


def test_a_bridge_record_in_g_is_read_beside_columns_left_out():
    z = Channel(name="deck", axis="z", unit="g", quantity="acceleration")
    recording = read_text_recording(
        BRIDGE / "reference_load_passes_100Hz.csv.gz",
        channels={"acc_g": z},
        time_column="t_s",
        ignore_columns=["strain_ume", "force_kN", "incl_deg"],
    )
    assert recording.sample_rate == 100.0
    assert recording.duration == 720.0
    assert float(recording.signal[0, 0]) == 4.93101e-05 * 9.80665
    force = Channel(name="support", unit="kN", quantity="force")
    loads = read_text_recording(
        BRIDGE / "reference_load_passes_100Hz.csv.gz",
        channels={"force_kN": force},
        time_column="t_s",
        ignore_columns=["strain_ume", "acc_g", "incl_deg"],
    )
    assert float(loads.signal.min()) == 233783.0
    with pytest.raises(RecordingError, match="force cannot become velocity"):
        loads.velocity(low_cut=1.0)


@pytest.mark.parametrize(
    ("state", "seconds"),
    [("reference_state", 600), ("ref_support_load_01", 720), ("support_load_01", 720),
     ("support_load_02", 720), ("support_load_03", 720)],
)  # fmt: skip
def test_support_forces_are_read_state_by_state(state, seconds):
    forces = {
        f"force{i}_kN": Channel(name=f"support {i}", unit="kN", quantity="force") for i in (1, 2)
    }
    recording = read_text_recording(
        BRIDGE / "support_forces_1Hz.csv",
        channels=forces,
        time_column="t_s",
        select={"state": state},
    )
    assert recording.sample_rate == 1.0
    assert recording.samples == seconds
    assert recording.signal.attrs["units"] == "N"
