"""Recordings and their events are rated as they are, without their rate and times copied out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import xarray as xr

from groundborne import rating, waveform
from groundborne._checks import RatingError, RecordingError
from groundborne.records import Events, Recording

RATE = 512.0


def _recording(seconds: float = 20.0, quantity: str = "acceleration") -> Recording:
    values = np.random.default_rng(3).normal(size=(2, round(seconds * RATE)))
    signal = xr.DataArray(
        values,
        dims=("channel", "time"),
        coords={"channel": ["x", "z"]},
        attrs={
            "quantity": quantity,
            "units": {"acceleration": "m/s²", "velocity": "m/s", "sound pressure": "Pa"}[quantity],
        },
    )
    return Recording(signal=signal, sample_rate=RATE, file="hall.wav")


def _events(*kept: bool) -> Events:
    start = np.array([2.0, 6.0, 12.0])
    table = xr.Dataset(
        {
            "start": ("event", start, {"units": "s"}),
            "end": ("event", start + 3.0, {"units": "s"}),
            "kept": ("event", list(kept)),
            "reason": ("event", ["" if k else "too long" for k in kept]),
        },
        coords={"event": [1, 2, 3]},
    )
    return Events(table=table)


def test_kept_events_are_rated_under_their_numbers() -> None:
    recording = _recording()
    found = rating.event_ratings(recording, _events(True, False, True), curves="Wb")
    bare = rating.event_ratings(
        recording.signal, [(2.0, 5.0), (12.0, 15.0)], sample_rate=RATE, curves="Wb"
    )
    assert found["event"].values.tolist() == [1, 3]
    assert found.attrs.pop("left_out") == "event 2, 6.0 to 9.0 s, left out: too long"
    assert "event" not in bare.coords
    xr.testing.assert_identical(found.drop_vars("event"), bare)


def test_events_of_another_record_are_refused_by_their_numbers() -> None:
    with pytest.raises(RecordingError, match=r"event 3 reaches from 12 to 15 s; it must lie"):
        rating.event_ratings(_recording(14.0), _events(True, False, True), curves="Wb")
    with pytest.raises(RecordingError, match=r"no event is kept: event 1, 2\.0 to 5\.0 s, left"):
        rating.event_ratings(_recording(), _events(False, False, False), curves="Wb")
    still = _recording()
    still.signal[:] = 0.0
    with pytest.raises(RatingError, match="event 2 holds nothing but zeros"):
        rating.event_ratings(still, _events(False, True, True), curves="Wb")


def test_spectra_of_other_events_get_no_class() -> None:
    frequency = [float(f) for f in (4, 5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80)]
    spectra = xr.DataArray(
        np.full((2, 2, len(frequency)), 60.0),
        coords={"event": [1, 3], "channel": ["x", "z"], "frequency": frequency},
        dims=("event", "channel", "frequency"),
        attrs={
            "quantity": "velocity", "units": "dB", "reference": "1 nm/s", "long_name": "level",
            "time_weighting": "S max",
        },
    )  # fmt: skip

    def rated(events: Events) -> xr.Dataset:
        return rating.event_ratings(_recording(), events, curves="Wb", spectra=spectra)

    assert rated(_events(True, False, True))["vc_class"].notnull().all()
    with pytest.raises(RatingError, match=r"spectra are of the events \[1, 3\]; rated are \[1, 2"):
        rated(_events(True, True, False))


def test_widened_events_take_more_of_the_record() -> None:
    events = _events(True, True, True)
    wide = events.widened(0.5)
    assert wide.table["start"].values.tolist() == [1.5, 5.5, 11.5]
    assert wide.table["end"].values.tolist() == [5.5, 9.5, 15.5]
    assert wide.table["start"].attrs == events.table["start"].attrs
    assert wide.notes == ("widened by 0.5 s on either side",)
    with pytest.raises(ValueError, match="seconds"):
        events.widened(-1.0)
    dose = rating.event_ratings(_recording(), wide, curves="Wb")["vdv"]
    assert (dose > rating.event_ratings(_recording(), events, curves="Wb")["vdv"]).all()


RATINGS: dict[str, tuple[Callable[..., Any], str]] = {
    "a_w": (rating.weighted_rms, "Wb"),
    "VDV": (rating.vdv, "Wb"),
    "running": (rating.running_rms, "Wk"),
    "MTVV": (rating.mtvv, "Wk"),
    "second": (rating.additional_evaluation, "Wk"),
    "v_w": (rating.weighted_velocity, "Wm"),
}


@pytest.mark.parametrize("name", RATINGS)
def test_a_weighted_recording_is_rated_as_its_signal(name: str) -> None:
    call, curve = RATINGS[name]
    recording = _recording()
    heavy = recording.weighted(curve)
    signal = waveform.weighted(recording.signal, sample_rate=RATE, curve=curve)
    beside = {} if name == "a_w" else {"sample_rate": RATE}
    xr.testing.assert_identical(call(heavy), call(signal, **beside))
    assert heavy.notes[-1] == f"hall.wav: weighted by {curve}"
    if beside:
        with pytest.raises(RecordingError, match="has its own, 512 Hz; leave it out"):
            call(heavy, sample_rate=RATE)
        with pytest.raises(RecordingError, match="sample_rate is missing; a bare record"):
            call(signal)


def test_kb_of_a_recording() -> None:
    recording = _recording(quantity="velocity")
    bare = rating.kb_running(recording.signal, sample_rate=RATE)
    xr.testing.assert_identical(rating.kb_running(recording), bare)


def test_records_of_several_recordings() -> None:
    parts = [_recording(4.0), _recording(6.0)]
    found = rating.record_ratings(parts, curves="Wb")
    bare = rating.record_ratings([p.signal for p in parts], sample_rate=RATE, curves="Wb")
    xr.testing.assert_identical(found, bare)


def test_a_recording_that_cannot_be_weighted_names_its_file() -> None:
    with pytest.raises(RecordingError, match=r"^hall\.wav: weighted: the record is weighted by Wb"):
        _recording().weighted("Wb").weighted("Wk")
    with pytest.raises(RecordingError, match=r"^hall\.wav: .*of sound pressure; Wb weights"):
        _recording(quantity="sound pressure").weighted("Wb")
