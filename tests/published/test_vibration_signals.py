"""Printed answers of vibration meters to printed signals, through the whole chain."""

from __future__ import annotations

import tomllib
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pytest
import xarray as xr

from groundborne.rating.kb import kb_running
from groundborne.rating.vibration import mtvv, vdv, weighted_rms
from groundborne.waveform.filtering import weighted

FOLDER = FilePath(__file__).parent / "signals"


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((FOLDER / name).read_text(encoding="utf-8"))


SAW = _read("iso8041_1_sawtooth.toml")
PULSES = _read("din45669_1_pulses.toml")
RATE = 10000.0

# The standard's own tolerances are 10 to 12 %. The prints have three digits (up to 0.5 % by
# rounding) and come from a simulation whose rate and filters are not stated; the strongly
# attenuating curves, which see mostly the ideal vertical fall, differ most.
SHARE = {"Wd": 0.015, "Wm": 0.006}
USUAL = 0.005


def _saw(cycles: int) -> np.ndarray:
    t = np.arange(round(SAW["duration"] * RATE)) / RATE
    period = 2 * np.pi / SAW["angular_frequency"]
    since = t if cycles == 0 else np.mod(t - SAW["first_burst"], SAW["repeat"])
    wave = 2 * np.mod(since / period + 0.5, 1.0) - 1
    if cycles == 0:
        return SAW["amplitude"] * wave
    on = (t >= SAW["first_burst"]) & (since < cycles * period)
    return np.where(on, SAW["amplitude"] * wave, 0.0)


@pytest.mark.parametrize("curve", sorted({row["curve"] for row in SAW["bursts"]}))
def test_sawtooth_bursts(curve: str) -> None:
    rows = [row for row in SAW["bursts"] if row["curve"] == curve]
    record = xr.DataArray(
        np.array([_saw(row["cycles"]) for row in rows]),
        dims=("channel", "time"),
        attrs={"quantity": "acceleration", "units": "m/s²"},
    )
    found = weighted(record, sample_rate=RATE, curve=curve)
    got = np.stack(
        [
            weighted_rms(found).values,
            vdv(found, sample_rate=RATE).values,
            mtvv(found, sample_rate=RATE).values,
            mtvv(found, sample_rate=RATE, kind="exponential").values,
        ],
        axis=-1,
    )
    printed = np.array([[float(text) for text in row["printed"]] for row in rows])
    off = np.abs(got / printed - 1)
    assert off.max() <= SHARE.get(curve, USUAL), off.round(4).tolist()


def test_pulses_of_80_hertz() -> None:
    """Pulse percentages refer to the KB_F of the continuous tone, its mean over time.

    0.55 points: the phase at which a pulse starts is not printed, and it matters for the shortest,
    of one cycle (0.52 off when it starts at zero); all others are within 0.2.
    """
    sample_rate = 8000.0
    t = np.arange(round(8 * sample_rate)) / sample_rate
    lasts = np.array([pulse["lasts"] for pulse in PULSES["pulses"]])[:, None]
    on = (lasts == 0) | (np.mod(t, PULSES["repeat"]) < lasts - 1e-9)
    tone = np.where(on, 1e-3 * np.sin(2 * np.pi * PULSES["tone"] * t), 0.0)
    record = xr.DataArray(
        tone, dims=("channel", "time"), attrs={"quantity": "velocity", "units": "m/s"}
    )
    late = kb_running(record, sample_rate=sample_rate).isel(
        time=slice(round(4 * sample_rate), None)
    )
    steady = float(np.sqrt((late.isel(channel=0) ** 2).mean()))
    got = 100 * late.max("time").values / steady
    printed = np.array([float(pulse["printed"]) for pulse in PULSES["pulses"]])
    assert np.abs(got - printed)[:-1].max() <= 0.2
    assert np.abs(got - printed).max() <= 0.55, (got.round(2).tolist(), printed.tolist())


@pytest.mark.parametrize(
    ("tone", "mean", "largest"),
    [(2.0, 0.234, 0.268), (8.0, 0.579, 0.602), (25.0, 0.689, 0.697), (50.0, 0.682, 0.686)],
)
def test_sines_worked_out_beside_the_formula(tone: float, mean: float, largest: float) -> None:
    """Derived: 1 mm/s amplitude; the mean is of KB_F(t), below its rms by its ripple."""
    sample_rate = 1024.0
    t = np.arange(round(12 * sample_rate)) / sample_rate
    record = xr.DataArray(
        1e-3 * np.sin(2 * np.pi * tone * t),
        dims="time",
        attrs={"quantity": "velocity", "units": "m/s"},
    )
    late = kb_running(record, sample_rate=sample_rate).isel(
        time=slice(round(4 * sample_rate), None)
    )
    assert float(late.mean()) == pytest.approx(mean, abs=0.0015)
    assert float(late.max()) == pytest.approx(largest, abs=0.0015)
