"""The decimating bank against filters of general libraries that run at the rate of the record."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy import signal

from groundborne import bands
from groundborne.waveform.filterbank.bank import ThirdOctaveBank

ATTRS = {"quantity": "velocity", "units": "m/s"}


def passbys(sample_rate: float, seconds: float) -> np.ndarray:
    """Invented noise that swells every 40 s."""
    rng = np.random.default_rng(7)
    t = np.arange(int(sample_rate * seconds)) / sample_rate
    return rng.standard_normal(t.size) * (0.02 + np.exp(-0.5 * ((t % 40 - 20) / 3.0) ** 2))


def slow(squares: np.ndarray, sample_rate: float) -> np.ndarray:
    a = 1 - np.exp(-1 / sample_rate)
    return signal.lfilter([a], [1.0, a - 1.0], squares)


def maxima(levels: np.ndarray, per_window: int) -> np.ndarray:
    cut = levels[..., : levels.shape[-1] // per_window * per_window]
    return 10 * np.log10(cut.reshape(*cut.shape[:-1], -1, per_window).max(-1))


@pytest.mark.parametrize("sample_rate", [2048.0, 1000.0, 99.43])
def test_same_filters_at_full_rate(sample_rate: float) -> None:
    """Fourth-order Butterworth second-order sections of scipy, sample by sample.

    S maxima within 0.15 dB and mean squares within 0.02 dB: what is left is the bilinear skirt,
    bent at a quarter of the rate of a stage.
    """
    seconds = 161.0
    x = passbys(sample_rate, seconds)
    bank = ThirdOctaveBank(sample_rate=sample_rate, low=4.0)
    record = xr.DataArray(x, dims="time", attrs=ATTRS)
    ours = maxima(bank.mean_square(record, every=1 / 64).values, 64 * 40)
    equivalent = 10 * np.log10(bank.equivalent(record).values)
    for band, centre in enumerate(bands.exact(bank.frequency).values):
        sos = signal.butter(
            4, [centre * 10**-0.05, centre * 10**0.05], "bandpass", fs=sample_rate, output="sos"
        )
        squares = signal.sosfilt(sos, x) ** 2
        assert equivalent[band] == pytest.approx(10 * np.log10(squares.mean()), abs=0.02)
        full = maxima(slow(squares, sample_rate), round(40 * sample_rate))
        assert ours[band, : full.size] == pytest.approx(full, abs=0.15)


def test_a_general_acoustics_library() -> None:
    """Mean-square levels of PyOctaveBand, order 4, over a long stretch of noise, within 0.1 dB.

    Its exact centres are those of the standard; its own resampling explains the difference.
    """
    library = pytest.importorskip("pyoctaveband")
    sample_rate = 2048
    x = np.random.default_rng(3).standard_normal(sample_rate * 120)
    levels, centres = library.octavefilter(
        x, sample_rate, fraction=3, order=4, limits=[20.0, 500.0]
    )
    bank = ThirdOctaveBank(sample_rate=float(sample_rate), low=20.0, high=500.0)
    ours = 10 * np.log10(bank.equivalent(xr.DataArray(x, dims="time", attrs=ATTRS)).values)
    centres = np.asarray(centres)
    exact = bands.exact(bank.frequency).values
    nearest = np.abs(np.log(centres[:, None] / exact)).argmin(0)
    assert centres[nearest] == pytest.approx(exact, rel=0.02)
    theirs = np.asarray(levels)[nearest] + 20 * np.log10(2e-5)
    assert ours == pytest.approx(theirs, abs=0.1)
