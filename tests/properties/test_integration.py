"""Integration and differentiation of records against closed forms, and their symmetries."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st

from groundborne._checks import RecordingError
from groundborne.waveform.integration import (
    EDGE_PERIODS,
    corner_gain,
    differentiate,
    integrate,
)

rates = st.floats(90.0, 4000.0)
phases = st.floats(0.0, 2 * np.pi)
seeds = st.integers(0, 2**32 - 1)


def record(values, quantity="acceleration"):
    units = {"acceleration": "m/s²", "velocity": "m/s", "displacement": "m"}[quantity]
    values = np.asarray(values)
    dims = ("time",) if values.ndim == 1 else ("channel", "time")
    return xr.DataArray(values, dims=dims, attrs={"quantity": quantity, "units": units})


def inside(values, sample_rate, low_cut):
    edge = int(np.ceil(EDGE_PERIODS * sample_rate / low_cut))
    return values[..., edge:-edge]


@given(
    sample_rate=rates,
    share=st.floats(0.0, 1.0),
    phase=phases,
    low_cut=st.sampled_from([1.0, 2.0, 5.0]),
)
def test_a_sine_is_divided_and_multiplied_by_its_circular_frequency(
    sample_rate, share, phase, low_cut
):
    frequency = low_cut * (0.45 * sample_rate / low_cut) ** share
    samples = int(14 * sample_rate / low_cut)
    turn = 2 * np.pi * frequency * np.arange(samples) / sample_rate + phase
    omega = 2 * np.pi * frequency
    velocity = integrate(record(np.cos(turn)), sample_rate=sample_rate, low_cut=low_cut)
    # What the docstring promises four periods of the cut inside the record.
    promised = 0.0075 if frequency <= 0.3 * sample_rate else 0.03
    np.testing.assert_allclose(
        inside(velocity.values, sample_rate, low_cut),
        inside(np.sin(turn), sample_rate, low_cut) / omega,
        atol=promised / omega,
    )
    back = differentiate(record(np.sin(turn), "velocity"), sample_rate=sample_rate, low_cut=low_cut)
    np.testing.assert_allclose(
        inside(back.values, sample_rate, low_cut),
        inside(omega * np.cos(turn), sample_rate, low_cut),
        atol=0.005 * omega,
    )  # fmt: skip


@given(sample_rate=rates, frequency=st.floats(8.0, 30.0), phase=phases)
def test_a_burst_has_its_closed_derivative_and_integral(sample_rate, frequency, phase):
    """A wave under a Gaussian has nothing at the ends and nothing below the cut."""
    time = np.arange(int(8 * sample_rate)) / sample_rate - 4.0
    width = 0.3
    envelope = np.exp(-0.5 * (time / width) ** 2)
    omega = 2 * np.pi * frequency
    velocity = envelope * np.sin(omega * time + phase)
    acceleration = envelope * (
        omega * np.cos(omega * time + phase) - time / width**2 * np.sin(omega * time + phase)
    )
    got = integrate(record(acceleration), sample_rate=sample_rate, low_cut=1.0)
    # The Gaussian of 0.5 Hz width is 1e-9 of its peak six widths away, below 4.8 Hz and, at the
    # slowest rate, above 45 Hz: no line is cut or folded.
    np.testing.assert_allclose(got, velocity, atol=1e-6)
    got = differentiate(record(velocity, "velocity"), sample_rate=sample_rate, low_cut=1.0)
    np.testing.assert_allclose(got, acceleration, atol=1e-6 * omega)


@given(seed=seeds, low_cut=st.floats(0.5, 5.0))
def test_differentiating_an_integral_gives_the_record_back(seed, low_cut):
    """Within the pass band: the test signal has nothing where the corners act."""
    rng = np.random.default_rng(seed)
    sample_rate = 200.0
    samples = int(20 * sample_rate / low_cut)
    frequency = rng.uniform(1.5 * low_cut, 80.0, 5)
    turn = 2 * np.pi * frequency[:, None] * np.arange(samples) / sample_rate
    signal = (rng.normal(size=(5, 1)) * np.cos(turn + rng.uniform(0, 6, (5, 1)))).sum(axis=0)
    velocity = integrate(record(signal), sample_rate=sample_rate, low_cut=low_cut)
    again = differentiate(velocity, sample_rate=sample_rate, low_cut=low_cut)
    np.testing.assert_allclose(
        inside(again.values, sample_rate, low_cut), inside(signal, sample_rate, low_cut),
        atol=0.02 * np.abs(signal).max(),
    )  # fmt: skip


@given(seed=seeds, scale=st.floats(-1e3, 1e3), offset=st.floats(-10.0, 10.0))
def test_linear_and_blind_to_an_offset_which_is_said(seed, scale, offset):
    rng = np.random.default_rng(seed)
    a, b = rng.normal(size=(2, 3, 3000))
    one = integrate(record(a), sample_rate=500.0, low_cut=2.0)
    two = integrate(record(b), sample_rate=500.0, low_cut=2.0)
    both = integrate(record(a + scale * b + offset), sample_rate=500.0, low_cut=2.0)
    np.testing.assert_allclose(both, one + scale * two, atol=1e-10 * (1 + abs(scale)))
    means = ", ".join(f"{m:.3g}" for m in (a + scale * b + offset).mean(axis=1))
    assert means in both.attrs["processing"]
    assert both.dims == ("channel", "time")
    assert (both.attrs["quantity"], both.attrs["units"]) == ("velocity", "m/s")


@given(seed=seeds)
def test_reversed_time_turns_the_sign(seed):
    """The corner has no phase: an integral run backwards is its own negative."""
    signal = np.random.default_rng(seed).normal(size=2001)
    forward = integrate(record(signal), sample_rate=100.0, low_cut=1.0)
    backward = integrate(record(signal[::-1]), sample_rate=100.0, low_cut=1.0)
    # An even transform length loses the line at half the rate in both directions alike.
    np.testing.assert_allclose(backward[::-1], -forward, atol=1e-12)


@pytest.mark.parametrize("function", [integrate, differentiate])
@pytest.mark.parametrize("at", [0.2, 19.8])
def test_nothing_wraps_around(function, at):
    """A blow next to one end leaves the other half of the record silent."""
    sample_rate = 500.0
    time = np.arange(int(20 * sample_rate)) / sample_rate
    blow = np.exp(-0.5 * ((time - at) / 0.01) ** 2)
    got = function(record(blow, "velocity"), sample_rate=sample_rate, low_cut=1.0).values
    far = got[time > 10] if at < 10 else got[time < 10]
    # The removed mean, 1.3e-3 of the blow, is felt at the far end too; a wrapped blow is not 1e-3.
    assert np.abs(far[1500:-1500]).max() < 2e-4 * np.abs(got).max()


def test_the_corner_is_what_it_says():
    frequency = np.array([0.0, 0.4, 0.5, 0.6, 2**-0.5, 0.9, 1.0, 50.0])
    gain = corner_gain(frequency, 1.0)
    assert gain[:3].tolist() == [0.0, 0.0, 0.0]
    assert gain[-2:].tolist() == [1.0, 1.0]
    assert gain[4] == pytest.approx(0.5)
    assert (np.diff(gain) >= 0).all()


@pytest.mark.parametrize(
    ("values", "quantity", "arguments", "sentence"),
    [
        (np.ones(399), "acceleration", {"low_cut": 1.0}, "at least 4 s are needed"),
        (np.ones(800), "acceleration", {"low_cut": 50.0}, "below half the rate, 50 Hz"),
        (np.ones(800), "acceleration", {"low_cut": 0.0}, "low_cut is 0; it must be above 0 Hz"),
        (np.ones(800), "displacement", {"low_cut": 1.0}, "quantity of the record is 'dis"),
        (np.r_[np.ones(700), np.nan, np.ones(99)], "acceleration", {"low_cut": 1.0}, "7 s: the"),
        (np.full(800, 1e308), "acceleration", {"low_cut": 1.0}, "too large"),
    ],
)  # fmt: skip
@pytest.mark.filterwarnings("ignore:overflow encountered:RuntimeWarning")
def test_what_cannot_be_integrated_is_refused(values, quantity, arguments, sentence):
    error = ValueError if "low_cut is" in sentence or "half" in sentence else RecordingError
    with pytest.raises(error, match=sentence):
        integrate(record(values, quantity), sample_rate=100.0, **arguments)
