"""F and S averages of time records against IEC 61672-1; values in ``filters``."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr

from groundborne.waveform.averaging import TIME_CONSTANTS, Averaging
from groundborne.waveform.running import running_mean_square

FILE = Path(__file__).parent / "filters" / "iec61672_1_bursts.toml"
PRINTED: dict[str, Any] = tomllib.loads(FILE.read_text(encoding="utf-8"))
RATE = 51200.0
ATTRS = {"quantity": "sound pressure", "units": "Pa"}
BURSTS = [(name, i) for name in ("F", "S") for i in range(len(PRINTED[name]["duration"]))]


def tone(seconds: float, silence: float) -> xr.DataArray:
    """A 4 kHz tone of mean square 1, whole periods, then silence."""
    t = np.arange(round((seconds + silence) * RATE)) / RATE
    signal = np.sqrt(2) * np.sin(2 * np.pi * 4000 * t) * (t < seconds - 1e-9)
    return xr.DataArray(signal, dims="time", attrs=ATTRS)


@pytest.mark.parametrize(("name", "row"), BURSTS)
def test_toneburst(name: str, row: int) -> None:
    table = PRINTED[name]
    seconds = table["duration"][row]
    found = running_mean_square(tone(seconds, 0.02), sample_rate=RATE, averaging=name, every=1e-4)
    level = 10 * np.log10(float(found.max()))
    assert table["below"][row] <= level - table["response"][row] <= table["above"][row]
    # Equation (7); the print is rounded to 0.1 dB.
    exact = 10 * np.log10(1 - np.exp(-seconds / TIME_CONSTANTS[name]))
    assert level == pytest.approx(exact, abs=0.01)
    assert level == pytest.approx(table["response"][row], abs=0.051)


@pytest.mark.parametrize("name", ["F", "S"])
def test_decay(name: str) -> None:
    sample_rate, above, below = PRINTED[name]["decay"]
    found = 10 * np.log10(
        running_mean_square(tone(0.5, 1.1), sample_rate=RATE, averaging=name, every=0.1)
    )
    fall = float(found.sel(time=0.5, method="nearest") - found.sel(time=1.5, method="nearest"))
    assert below <= fall - sample_rate <= above
    assert fall == pytest.approx(
        Averaging(kind="exponential", seconds=TIME_CONSTANTS[name]).decay_rate, abs=1e-6
    )


def test_a_wrong_time_constant_is_seen() -> None:
    """The limits can fail: an average of 0.2 s taken for F."""
    wrong = running_mean_square(
        tone(0.02, 0.02),
        sample_rate=RATE,
        averaging=Averaging(kind="exponential", seconds=0.2),
        every=1e-4,
    )
    row = PRINTED["F"]["duration"].index(0.02)
    off = 10 * np.log10(float(wrong.max())) - PRINTED["F"]["response"][row]
    assert off < PRINTED["F"]["below"][row]
