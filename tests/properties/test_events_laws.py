"""What must hold of any history and any record: scaling, shifting, order, energy."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne.levels import stamp
from groundborne.records.detection import events_at, find_events
from groundborne.records.recording import Recording
from groundborne.records.windows import window_maximum, window_span, window_sum
from groundborne.source import statistics
from groundborne.source.passbys.background import correct_for_background
from groundborne.source.passbys.measuring import measure_passbys

RATE = 256.0


def labelled(values, **coords):
    array = xr.DataArray(np.asarray(values, float), coords=coords) if coords else xr.DataArray(
        np.asarray(values, float), dims="passby"
    )  # fmt: skip
    return stamp(array, quantity="velocity", reference="1 nm/s", long_name="level")


def history(values):
    return labelled(values, time=np.arange(1, len(values) + 1) * 0.5)


levels = st.lists(st.integers(40, 80), min_size=20, max_size=120)


@settings(max_examples=30, deadline=None)
@given(levels, st.integers(-30, 30))
def test_a_change_of_level_moves_no_event(values, shift):
    """Whole decibels, so that thresholds are hit or missed alike."""
    one, two = find_events(history(values)), find_events(history(np.array(values) + shift))
    for name in ("start", "end", "peak", "above_background"):
        np.testing.assert_allclose(one.table[name], two.table[name])
    np.testing.assert_array_equal(one.table["reason"], two.table["reason"])


@settings(max_examples=30, deadline=None)
@given(levels)
def test_events_are_ordered_apart_and_explained(values):
    found = find_events(history(values), join=1.0, margin=0.0).table
    start, end = found["start"].values, found["end"].values
    assert (end > start).all()
    assert (start[1:] - end[:-1] >= 1.0 - 1e-9).all()
    assert ((found["peak"] > found["start"]) & (found["peak"] <= found["end"])).all()
    assert (found["kept"].values == (found["reason"].values == "")).all()
    assert (found["above_background"] >= 6.0).all()
    duration = end - start
    assert (found["equivalent_duration"].values <= duration + 1e-9).all()


@settings(max_examples=30, deadline=None)
@given(levels, st.integers(1, 10))
def test_a_higher_threshold_finds_nothing_new(values, more):
    """With the same release level every event of the higher threshold is one of the lower."""
    kind = {"join": 0.0, "margin": 0.0}
    low = find_events(history(values), threshold=6.0, hysteresis=2.0, **kind).table
    high = find_events(history(values), threshold=6.0 + more, hysteresis=2.0 + more, **kind).table
    assert set(high["start"].values.tolist()) <= set(low["start"].values.tolist())


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_window_operations_are_those_of_slices(data):
    values = np.array(data.draw(st.lists(st.integers(-9, 9), min_size=2, max_size=40)), float)
    pairs = st.tuples(st.integers(0, values.size - 1), st.integers(1, 10))
    windows = data.draw(st.lists(pairs, max_size=6))
    starts = np.array([a for a, _ in windows], dtype=int)
    ends = np.array([min(a + n, values.size) for a, n in windows], dtype=int)
    parts = [values[a:b] for a, b in zip(starts, ends, strict=True)]
    top = window_maximum(values, starts, ends)
    assert top.tolist() == [p.max() for p in parts]
    assert window_sum(values, starts, ends).tolist() == [p.sum() for p in parts]
    first, last = window_span(values, top, starts, ends)
    assert first.tolist() == [a + np.argmax(p) for a, p in zip(starts, parts, strict=True)]
    assert last.tolist() == [b - 1 - np.argmax(p[::-1]) for b, p in zip(ends, parts, strict=True)]


@settings(max_examples=40, deadline=None)
@given(st.floats(40, 90), st.floats(-20, 40), st.floats(0, 10))
def test_the_correction_lowers_by_less_than_3_02_db_and_keeps_order(floor, above, more):
    level, base = labelled([floor + above, floor + above + more]), labelled([floor, floor])
    train, limit = correct_for_background(level, base)
    off = (level - train).values
    assert (off >= 0.0).all()
    assert (off <= 3.0206).all()  # 10 lg(1 - 10^-0.3) at the least height that is corrected
    assert (off[limit.values] == 0.0).all()
    if not limit.any():
        assert train[1] >= train[0] - 1e-9


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(30, 90), min_size=2, max_size=30), st.floats(-40, 40))
def test_statistics_move_with_the_levels(values, shift):
    one, two = statistics.summary(labelled(values)), statistics.summary(
        labelled(np.array(values) + shift)
    )  # fmt: skip
    for name in ("mean", "energy_mean", "percentile", "percentile_high", "maximum_estimate"):
        assert (two[name] - one[name]).item() == pytest.approx(shift, abs=1e-6)
    assert one["energy_mean"] >= one["mean"] - 1e-9
    assert one["percentile_high"] >= one["percentile_low"] - 1e-9


@pytest.fixture(scope="module")
def burst():
    rng = np.random.default_rng(6)
    values = 1e-6 * rng.standard_normal((2, int(80 * RATE)))
    t = np.arange(values.shape[1]) / RATE
    values += 2e-5 * rng.standard_normal(values.shape) * (np.abs(t - 40) < 5)
    return values


def measured(values, channels=("x", "z")):
    signal = xr.DataArray(values, dims=("channel", "time"), coords={"channel": list(channels)},
                          attrs={"quantity": "velocity", "units": "m/s"})  # fmt: skip
    flat = history(np.full(160, 50.0))
    events = events_at([(35.0, 45.0)], history=flat)
    return measure_passbys(
        Recording(signal=signal, sample_rate=RATE), events, low=20.0, high=63.0
    ).data


def test_ten_times_the_record_is_20_db_more(burst):
    one, ten = measured(burst), measured(10.0 * burst)
    for name in ("s_max", "f_max", "leq_t1", "leq_t2", "leq_t3", "exposure", "background"):
        np.testing.assert_allclose(ten[name] - one[name], 20.0, atol=1e-6)
    np.testing.assert_allclose(ten["crest_factor"], one["crest_factor"], rtol=1e-9)


def test_the_order_of_channels_does_not_matter(burst):
    one, other = measured(burst), measured(burst[::-1], ("z", "x"))
    for name in ("s_max", "leq_t2", "background_s_max", "peak"):
        np.testing.assert_allclose(
            other[name].sel(channel=["x", "z"]), one[name].sel(channel=["x", "z"]), rtol=1e-12
        )


def test_a_weaker_passby_is_nowhere_stronger(burst):
    quiet = burst.copy()
    on = slice(int(35 * RATE), int(45 * RATE))
    quiet[:, on] *= 0.5
    assert (measured(quiet)["leq_t3"] <= measured(burst)["leq_t3"]).all()


def test_exposure_bounds_the_s_maximum(burst):
    """LSmax ≤ LE for any event whole within T3; the burst is, its filter tails nearly so."""
    found = measured(burst)
    assert (found["s_max"] <= found["exposure"] + 0.1).all()
