"""Measured records taken through the comparison as far as they go: a test bridge, a station hall.

Neither was made to commission anything: nothing was predicted for them, the bridge was crossed
three times, twice before its support was lowered and once after, by distances that are not in the
files.
"""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from groundborne._checks import RecordingError
from groundborne.bands import label
from groundborne.commissioning import (
    MeasurementError,
    compare_levels,
    judge_measured,
    levels_by_room,
    measured_insertion_loss,
    measured_level_difference,
    read_room_levels,
)
from groundborne.levels import stamp
from groundborne.rating import Criterion
from groundborne.records import Recording, band_history, events_at, read_text_recording
from groundborne.records.channel import Channel
from groundborne.records.recording import RecordingWarning
from groundborne.source import MeasuredPassbys, measure_passbys
from groundborne.uncertainty import Spread
from groundborne.waveform import ThirdOctaveBank

MEASURED = Path(__file__).resolve().parents[3] / "shared" / "data" / "third_party"
BRIDGE = MEASURED / "support_load_test" / "reference_load_passes_100Hz.csv.gz"
STATION = MEASURED / "station_floor_accel"
pytestmark = [
    pytest.mark.shared,
    pytest.mark.skipif(not BRIDGE.is_file(), reason="the measured records are not here"),
]
LOW, HIGH = 5.0, 31.5
CROSSINGS = [(15.0, 30.0), (67.0, 82.0), (540.0, 555.0)]
"""About the crossings; the first two before the support was lowered, the last one after."""
MOVES = [(100.0, 125.0), (220.0, 245.0), (355.0, 380.0), (490.0, 515.0)]
SPREADS = [Spread(name="path", of_floor=6.0)]


def passbys(
    recording: Recording, spans: list[tuple[float, float]], **more: float
) -> MeasuredPassbys:
    bank = ThirdOctaveBank(sample_rate=recording.sample_rate, low=LOW, high=HIGH)
    history = band_history(bank.mean_square(recording.signal))
    return measure_passbys(recording, events_at(spans, history=history), low=LOW, high=HIGH, **more)


@pytest.fixture(scope="module")
def bridge() -> MeasuredPassbys:
    acceleration = Channel(name="z", unit="g", quantity="acceleration")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RecordingWarning)
        recording = read_text_recording(
            BRIDGE, channels={"acc_g": acceleration}, time_column="t_s",
            ignore_columns=["strain_ume", "force_kN", "incl_deg"],
        )  # fmt: skip
    return passbys(recording, sorted(CROSSINGS + MOVES))


def crossings(bridge: MeasuredPassbys, state: str, wanted: list[int]) -> xr.DataArray:
    level = levels_by_room(
        bridge, rooms={"z": "deck"}, provenance="load test", state=state, statistic="leq T2"
    )
    return level.isel(passby=wanted)


def test_crossings_stand_out_of_the_background(bridge: MeasuredPassbys) -> None:
    """All three, in all bands, by more than 10 dB: nothing is to be taken off."""
    level = crossings(bridge, "", [0, 1, 6])
    assert not bool(level["upper_limit"].any())
    assert float(level["background_error"].max()) < 0.15
    np.testing.assert_array_equal(level["duration_s"], bridge.data["t2"].values[[0, 1, 6]])


def test_one_crossing_after_is_not_enough_for_a_loss(bridge: MeasuredPassbys) -> None:
    before = crossings(bridge, "before release", [0, 1])
    after = crossings(bridge, "after release", [6])
    with pytest.raises(ValueError, match="after holds 1 passby; two at least"):
        measured_insertion_loss(before=before, after=after)


def test_crossings_against_a_prediction_that_is_their_own_mean(bridge: MeasuredPassbys) -> None:
    """Two crossings held against a level 3 dB below their mean: off by 3 dB, and no wonder."""
    measured = crossings(bridge, "before release", [0, 1])
    flat = measured.mean("passby") - 3.0 + xr.DataArray([-1e-3, 1e-3], dims="passby")
    flat = flat.reset_coords(drop=True).transpose("room", "passby", "frequency")
    source = stamp(
        0.0 * flat.isel(room=0, drop=True), quantity="velocity", reference="1 nm/s",
        long_name="velocity level", time_weighting="leq",
    )  # fmt: skip
    change = flat.isel(passby=0, drop=True).expand_dims(option=["as built"])
    level = stamp(change, quantity="velocity", reference="1 nm/s", long_name="velocity level",
                  time_weighting="leq")  # fmt: skip
    result = xr.Dataset({"source_level": source, "floor_change": change, "floor_level": level})
    found = compare_levels(
        measured, result, option="as built", spreads=SPREADS, error=MeasurementError()
    )
    np.testing.assert_allclose(found["difference"].values, 3.0, atol=0.6)
    assert found["p_value"].item() > 0.5
    assert found.attrs["provenance"] == "load test"


def test_what_these_records_carry_and_what_they_do_not(
    bridge: MeasuredPassbys, tmp_path: Path
) -> None:
    """Each step of a commissioning by what comes of it: levels, or the sentence why not."""
    level = crossings(bridge, "before release", [0, 1])
    after = crossings(bridge, "after release", [6])
    limit = Criterion.on_curve("VC-A", statistic="energy mean", time_weighting="leq")
    steps = {
        "levels with background": lambda: level,
        "both as a table, read again": lambda: _through_a_table(bridge, tmp_path),
        "insertion loss": lambda: measured_insertion_loss(before=level, after=after),
        "level difference": lambda: measured_level_difference(unisolated=level, isolated=level),
        "answer to a criterion": lambda: judge_measured(level, criteria={"deck": [limit]}),
    }
    found = {}
    for name, step in steps.items():
        try:
            step()
            found[name] = "possible"
        except ValueError as error:
            found[name] = str(error)
    possible = [name for name, said in found.items() if said == "possible"]
    assert possible == ["levels with background", "both as a table, read again"]
    assert "after holds 1 passby; two at least" in found["insertion loss"]
    # One accelerometer on the deck: there is no other side.
    assert "'un-isolated side' is needed" in found["level difference"]
    assert "5 to 31.5 Hz; 8 to 80 Hz is needed" in found["answer to a criterion"]


def _through_a_table(bridge: MeasuredPassbys, folder: Path) -> None:
    """What was measured, with its background, written as a table of rooms and read again."""
    rows, bands = [], [f"{label(f)} Hz" for f in bridge.data["frequency"].values]
    for at in (0, 1):
        for kind, statistic, name in (("passby", "leq", "leq_t2"),
                                      ("background", "leq", "background")):  # fmt: skip
            values = bridge.data[name].isel(passby=at).sel(channel="z").values
            cells = ",".join(f"{v:.6f}" for v in values)
            rows.append(f"deck,{kind[0].upper()}{at},{kind},{statistic},{cells}")
    file = folder / "deck.csv"
    file.write_text("\n".join([",".join(["room,passby,kind,statistic", *bands]), *rows]) + "\n")
    read = read_room_levels(
        file, quantity="velocity", reference=str(bridge.data["leq_t2"].attrs["reference"]),
        provenance="load test",
    )  # fmt: skip
    own = crossings(bridge, "", [0, 1])
    assert not bool(read["upper_limit"].any())
    # By all of the background here, and by that about each crossing there.
    np.testing.assert_allclose(read.sel(room="deck").values, own.sel(room="deck").values, atol=0.5)


def station(name: str) -> MeasuredPassbys:
    axes = {"az_mps2": Channel(name="z", unit="m/s²", quantity="acceleration", axis="z")}
    ends = pd.read_csv(STATION / "index.csv").set_index("file")["event_end_s"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RecordingWarning)
        recording = read_text_recording(
            STATION / f"{name}.csv", channels=axes, time_column="t_s", uniform_clock=True,
            ignore_columns=["ax_mps2", "ay_mps2"],
        )  # fmt: skip
    begin = -recording.first_time
    spans = [(begin, begin + float(ends[f"{name}.csv"]))]
    return passbys(recording, spans, t1=2.0, background=8.0, clear=3.0)


def test_an_event_without_a_train_is_limits_and_no_levels() -> None:
    """A null case of the station hall: of 6 dB above the background asked, hardly a band is a
    level; the record of the other one is too short to hold a background, and is refused."""
    level = levels_by_room(station("ev10"), rooms={"z": "hall"}, provenance="station")
    assert float(level["upper_limit"].mean()) > 0.85
    with pytest.raises(RecordingError, match="no 4 s of background before it"):
        station("ev09")
