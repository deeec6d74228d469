"""Laws of the one-third-octave bank and of running mean squares."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st

from groundborne import bands
from groundborne._checks import BandError, RecordingError
from groundborne.waveform.averaging import Averaging
from groundborne.waveform.filterbank.bank import ThirdOctaveBank
from groundborne.waveform.filterbank.design import half_band
from groundborne.waveform.running import RunningMeanSquare, running_mean_square

ATTRS = {"quantity": "velocity", "units": "m/s"}
LINEAR = Averaging(kind="linear", seconds=0.75)


def noise(sample_rate: float, seconds: float, channels: int = 2, seed: int = 1) -> xr.DataArray:
    signal = np.random.default_rng(seed).standard_normal((channels, int(sample_rate * seconds)))
    names = ["x", "y", "z"][:channels]
    return xr.DataArray(signal, dims=("channel", "time"), coords={"channel": names}, attrs=ATTRS)


def recursion(squares: np.ndarray, sample_rate: float, seconds: float) -> np.ndarray:
    """The average sample by sample, as the standard's digital form is written."""
    a = 1 - np.exp(-1 / (sample_rate * seconds))
    found = np.empty(squares.size)
    y = 0.0
    for k, x in enumerate(squares.tolist()):
        y += a * (x - y)
        found[k] = y
    return found


@pytest.mark.parametrize(
    ("sample_rate", "every"), [(1000.0, 0.125), (512.0, 0.125), (1000.0, 0.001)]
)
@pytest.mark.parametrize("seconds", [1.0, 0.125, 0.03])
def test_steps_are_the_recursion(sample_rate: float, every: float, seconds: float) -> None:
    record = noise(sample_rate, 3.0, 1)[0]
    average = Averaging(kind="exponential", seconds=seconds)
    found = running_mean_square(record, sample_rate=sample_rate, averaging=average, every=every)
    at = np.round(found["time"].values * sample_rate).astype(int) - 1
    exact = recursion(record.values**2, sample_rate, seconds)[at]
    assert found.values == pytest.approx(exact, rel=1e-11)


@given(
    st.floats(20.0, 60.0), st.floats(0.06, 0.5), st.floats(0.0, 1.0),
    st.sampled_from(["exponential", "linear"]), st.integers(1, 40),
)  # fmt: skip
def test_steps_that_do_not_divide(
    sample_rate: float, every: float, delay: float, kind: str, size: int
) -> None:
    """Against the integral of held squares, computed on every sample; any cut into blocks."""
    seconds = 3 * every
    running = RunningMeanSquare(
        sample_rate=sample_rate,
        averaging=Averaging(kind=kind, seconds=seconds),
        every=every,
        delay=delay,
    )
    squares = np.random.default_rng(5).standard_normal(200) ** 2
    state, pieces = running.start(()), []
    for first in range(0, squares.size, size):
        values, state = running.advance(state, squares[first : first + size])
        pieces.append(values)
    found = np.concatenate(pieces)
    ends = np.arange(running.window, running.window + found.size) * every + delay
    assert ends[-1] <= 200 / sample_rate + 1e-6 < ends[-1] + every + 1 / sample_rate + 1e-5
    since = np.clip(ends[:, None] - np.arange(201) / sample_rate, 0, None)
    if kind == "exponential":
        weight = np.exp(-since[:, 1:] / seconds) - np.exp(-since[:, :-1] / seconds)
    else:
        weight = -np.diff(np.minimum(since, seconds), axis=-1) / seconds
    # Edges within 1e-6 of a sample count as on it.
    assert found == pytest.approx(weight @ squares, rel=1e-5, abs=1e-5)


@pytest.mark.parametrize("averaging", ["S", "F", "linear", LINEAR])
@pytest.mark.parametrize("sample_rate", [512.0, 99.43])
def test_streamed_is_whole(sample_rate: float, averaging: str | Averaging) -> None:
    record = noise(sample_rate, 30.0)
    bank = ThirdOctaveBank(sample_rate=sample_rate, low=2.0, high=31.5)
    whole = bank.mean_square(record, averaging=averaging)
    cuts = np.r_[0, np.sort(np.random.default_rng(2).integers(1, record.sizes["time"], 12)), 10**9]
    blocks = [record.isel(time=slice(a, b)) for a, b in pairwise(cuts.tolist())]
    pieces = list(bank.stream(blocks, averaging=averaging))
    assert len(pieces) > 3
    joined = xr.concat(pieces, "time")
    xr.testing.assert_allclose(joined, whole, rtol=1e-10)
    assert joined.attrs == whole.attrs
    assert joined["time"].values == pytest.approx(whole["time"].values, abs=1e-12)


def test_a_record_longer_than_a_block_is_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    record = noise(512.0, 30.0)
    bank = ThirdOctaveBank(sample_rate=512.0, low=4.0)
    once, part = bank.mean_square(record), bank.equivalent(record, start=3.0, end=21.7)
    monkeypatch.setattr("groundborne.waveform.record.BLOCK", 1001)
    xr.testing.assert_allclose(bank.mean_square(record), once, rtol=1e-10)
    xr.testing.assert_allclose(bank.equivalent(record, start=3.0, end=21.7), part, rtol=1e-10)


def test_scaling_and_channels() -> None:
    record = noise(512.0, 20.0)
    bank = ThirdOctaveBank(sample_rate=512.0, low=8.0)
    found = bank.mean_square(record)
    tripled = bank.mean_square((3 * record).assign_attrs(ATTRS))
    assert tripled.values == pytest.approx(9 * found.values, rel=1e-12)
    alone = bank.mean_square(record.sel(channel="y"))
    assert alone.dims == ("frequency", "time")
    assert alone.values == pytest.approx(found.sel(channel="y").values, rel=1e-12)
    assert found.attrs["units"] == "(m/s)²"
    assert found.attrs["quantity"] == "velocity"


def test_parts_add_up() -> None:
    """Time-weighted means of parts are the mean of the whole, and of linear windows."""
    record = noise(512.0, 24.0)
    bank = ThirdOctaveBank(sample_rate=512.0, low=4.0)
    whole = bank.equivalent(record)
    cuts = xr.DataArray([0.0, 3.1, 9.007, 20.0, 24.0], dims="part")
    start, end = cuts[:-1], cuts[1:]
    parts = bank.equivalent(record, start=start, end=end)
    total = (parts * (end - start)).sum("part") / 24.0
    assert total.values == pytest.approx(whole.values, rel=1e-9)
    windows = bank.mean_square(record, averaging="linear", every=0.5)
    assert windows.mean("time").values == pytest.approx(whole.values, rel=1e-9)


def test_energy_of_bands_is_energy_of_noise() -> None:
    """White noise: each band holds its share of the power, the sum that of the range."""
    record = noise(512.0, 200.0, 3)
    bank = ThirdOctaveBank(sample_rate=512.0, low=25.0)
    found = 10 * np.log10(float(bank.equivalent(record).mean("channel").sum()))
    # 25 to 160 Hz of 256 Hz; 0.11 dB of effective bandwidth; scatter 4.34/sqrt(160 · 600) = 0.014.
    share = (10**2.25 - 10**1.35) / 256.0
    assert found == pytest.approx(10 * np.log10(share) + 0.11, abs=0.06)


@pytest.mark.parametrize(("shift", "every"), [(16, 0.03125), (64, 0.125)])
def test_time_shift(shift: int, every: float) -> None:
    record = noise(512.0, 12.0, 1)[0].copy()
    record[:2000] = 0.0
    record[4000:] = 0.0
    later = xr.DataArray(np.r_[np.zeros(shift), record.values[:-shift]], dims="time", attrs=ATTRS)
    bank = ThirdOctaveBank(sample_rate=512.0, low=10.0)
    a, b = (bank.mean_square(r, averaging="F", every=every).values for r in (record, later))
    steps = round(shift / 512.0 / every)
    assert b[:, steps:] == pytest.approx(a[:, :-steps], rel=1e-9, abs=1e-13)


def test_bands_are_lined_up() -> None:
    """The energy of a smooth event has its middle where the event has it, in every band."""
    sample_rate, middle = 512.0, 20.0
    t = np.arange(int(40 * sample_rate)) / sample_rate
    bank = ThirdOctaveBank(sample_rate=sample_rate, low=2.0)
    exact = bands.exact(bank.frequency).values
    envelope = np.exp(-0.5 * ((t - middle) / 4.0) ** 2)
    signal = envelope * np.sin(2 * np.pi * exact[:, None] * t)
    record = xr.DataArray(signal, dims=("channel", "time"), attrs=ATTRS)
    found = bank.mean_square(record, averaging="linear", every=0.125)
    own = np.arange(exact.size)
    energy = found.values[own, own]
    centre = (energy * (found["time"].values - 0.0625)).sum(-1) / energy.sum(-1)
    # Without compensation the 2 Hz band is 1.8 s late, the 160 Hz band 0.02 s. What is left is the
    # group delay away from mid-band, longest at 2 Hz.
    assert centre == pytest.approx(np.full(exact.size, middle), abs=0.02)
    assert centre[exact > 6] == pytest.approx(middle, abs=0.002)


def test_the_half_band_filter() -> None:
    taps = half_band()
    assert taps == pytest.approx(taps[::-1], abs=1e-15)
    assert taps.sum() == pytest.approx(1.0, abs=1e-12)
    n = np.arange(taps.size)
    f = np.linspace(0, 0.5, 501)
    level = 20 * np.log10(np.abs(np.exp(-2j * np.pi * f[:, None] * n) @ taps) + 1e-12)
    assert np.abs(level[f <= 0.1405]).max() < 0.002  # upper edge of the highest band of the stage
    assert level[f >= 0.3595].max() < -78


def test_scatter_is_that_of_noise() -> None:
    record = noise(128.0, 2000.0, 1)[0]
    bank = ThirdOctaveBank(sample_rate=128.0, low=20.0, high=31.5)
    level = 10 * np.log10(bank.mean_square(record).isel(time=slice(200, None)))
    assert level.std("time").values == pytest.approx(bank.scatter().values, rel=0.15)
    assert float(ThirdOctaveBank(sample_rate=2048.0).scatter().sel(frequency=4.0)) > 3.0


def test_refusals() -> None:
    with pytest.raises(RecordingError, match="800 Hz band needs a rate of at least 2270 Hz"):
        ThirdOctaveBank(sample_rate=2048.0, high=800.0)
    with pytest.raises(RecordingError, match="1 Hz band needs"):
        ThirdOctaveBank(sample_rate=2.0)
    with pytest.raises(BandError, match="low must come first"):
        ThirdOctaveBank(sample_rate=2048.0, low=100.0, high=50.0)
    with pytest.raises(ValueError, match="order is 3"):
        ThirdOctaveBank(sample_rate=2048.0, order=3)
    bank = ThirdOctaveBank(sample_rate=256.0, low=8.0)
    record = noise(256.0, 10.0)
    with pytest.raises(RecordingError, match="does not say its units"):
        bank.mean_square(record.assign_attrs(units=""))
    with pytest.raises(RecordingError, match="the dims"):
        bank.mean_square(record.rename(channel="place"))
    with pytest.raises(RecordingError, match=r"lasts 0\.3.* answers after"):
        bank.mean_square(record[:, :77])
    with pytest.raises(ValueError, match="a step must be at least that long"):
        bank.mean_square(record, every=0.001)
    with pytest.raises(ValueError, match="averaging is 'slow'"):
        bank.mean_square(record, averaging="slow")
    with pytest.raises(ValueError, match="whole number"):
        bank.mean_square(record, averaging=LINEAR, every=0.5)
    with pytest.raises(ValueError, match="from 5 s to 11 s is asked for"):
        bank.equivalent(record, start=5.0, end=11.0)
    holed = record.copy()
    holed[1, 1280] = np.nan
    with pytest.raises(RecordingError, match="nan at 5 s, channel y"):
        bank.mean_square(holed)
    other = record.assign_attrs(units="mm/s")
    with pytest.raises(RecordingError, match="block 2 differs"):
        list(bank.stream([record, other]))
    with pytest.raises(RecordingError, match="there is no block"):
        list(bank.stream([]))


def test_largest_within_steps_of_many_channels() -> None:
    """Pieces shorter than the first whole step: the same as of one channel by itself, 1e-9."""
    rng = np.random.default_rng(4)
    one = rng.normal(size=8192 * 6)
    attrs = {"quantity": "velocity", "units": "m/s"}
    many = xr.DataArray(np.tile(one, (64, 1)), dims=("channel", "time"), attrs=attrs)
    alone = xr.DataArray(one, dims="time", attrs=attrs)
    bank = ThirdOctaveBank(sample_rate=8192.0, low=500.0, high=1000.0)
    how = Averaging(kind="linear", seconds=1.25)
    found = bank.step_maximum(many, averaging=how, every=1.0)
    expected = bank.step_maximum(alone, averaging=how, every=1.0)
    np.testing.assert_allclose(found.isel(channel=5), expected, rtol=1e-9)
    np.testing.assert_allclose(found["time"], expected["time"])
    readings = bank.mean_square(alone, averaging=how, every=0.125)
    for end in expected["time"].values.tolist():
        inside = readings.sel(time=slice(end - 1.0 + 1e-6, end + 1e-6)).max("time")
        np.testing.assert_allclose(expected.sel(time=end), inside, rtol=1e-9)


def test_what_is_shorter_than_a_step_is_refused() -> None:
    short = xr.DataArray(np.ones(8192), dims="time", attrs={"quantity": "velocity", "units": "m/s"})
    bank = ThirdOctaveBank(sample_rate=8192.0, low=500.0, high=1000.0)
    how = Averaging(kind="linear", seconds=30.0)
    with pytest.raises(RecordingError, match="lasts 1 s, less than one step"):
        bank.mean_square(short, averaging=how, every=1.0)
    with pytest.raises(RecordingError, match="shorter than one step"):
        bank.step_maximum(short, averaging=how, every=1.0)
    with pytest.raises(ValueError, match=r"finer is 2.5; a whole number"):
        bank.step_maximum(short, averaging="S", every=0.5, finer=2.5)  # type: ignore[arg-type]
