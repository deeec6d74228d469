"""One-third-octave levels of an hour of three channels, beside the same filters at full rate.

Both use fourth-order second-order sections, one thread, one process each, and start from the same
invented record. The plain way filters every band at the rate of the record, squares in place,
averages by ``lfilter`` and reads off later by the group delay of the band.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

RATE, EVERY, CHANNELS, HOUR = 2048.0, 0.125, 3, 3600.0
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
ATTRS = {"quantity": "velocity", "units": "m/s"}
WANTED = {"ratio": 2.5, "maximum": 0.15, "leq": 0.02, "memory": 1.3}


def block(number: int, seconds: float) -> np.ndarray:
    """Invented noise with a passby every 150 s."""
    rng = np.random.default_rng(number)
    t = number * seconds + np.arange(int(seconds * RATE)) / RATE
    passby = 0.02 + np.exp(-0.5 * ((t % 150.0 - 75.0) / 4.0) ** 2)
    return rng.standard_normal((CHANNELS, t.size)) * passby


def record() -> np.ndarray:
    """An hour, filled minute by minute so that making it takes no second copy."""
    signal = np.empty((CHANNELS, int(HOUR * RATE)))
    size = int(60 * RATE)
    for minute in range(60):
        signal[:, minute * size : (minute + 1) * size] = block(minute, 60.0)
    return signal


def plain(signal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """S every 125 ms and mean square, every band at full rate."""
    from scipy.signal import butter, lfilter, sosfilt, sosfreqz

    a = 1 - np.exp(-1 / RATE)
    centres = 10 ** (np.arange(29) / 10)
    steps = int(HOUR / EVERY)
    s = np.empty((CHANNELS, centres.size, steps))
    equivalent = np.empty((CHANNELS, centres.size))
    for b, centre in enumerate(centres):
        edges = [centre * 10**-0.05, centre * 10**0.05]
        sos = butter(4, edges, "bandpass", fs=RATE, output="sos")
        near = centre * np.array([1 - 1e-3, 1 + 1e-3])
        turn = np.diff(np.unwrap(np.angle(sosfreqz(sos, near, fs=RATE)[1])))[0]
        late = -turn / (2 * np.pi * (near[1] - near[0])) * RATE
        at = np.round(np.arange(1, steps + 1) * EVERY * RATE + late).astype(int) - 1
        for c in range(CHANNELS):
            y = sosfilt(sos, signal[c])
            y *= y
            equivalent[c, b] = y.mean()
            y = lfilter([a], [1.0, a - 1.0], y)
            s[c, b] = y[np.minimum(at, y.size - 1)]
    return s, equivalent


def bank(signal: np.ndarray) -> tuple[np.ndarray, np.ndarray | None]:
    """S every 125 ms by the library."""
    from groundborne.waveform.filterbank.bank import ThirdOctaveBank

    held = xr.DataArray(signal, dims=("channel", "time"), attrs=ATTRS)
    return ThirdOctaveBank(sample_rate=RATE, high=630.0).mean_square(held, every=EVERY).values, None


def _peak() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def hour(method: str, file: str) -> dict[str, Any]:
    """Time and memory of one method; levels go to a file."""
    import scipy.signal  # noqa: F401  loaded before the clock and the memory are read

    import groundborne.waveform.filterbank.bank  # noqa: F401

    before = _peak()
    signal = record()
    size = signal.nbytes / 2**20
    start = time.perf_counter()
    s, equivalent = {"plain": plain, "bank": bank}[method](signal)
    seconds = time.perf_counter() - start
    found = {"seconds": seconds, "memory": (_peak() - before) / size, "size": size}
    if equivalent is None:
        from groundborne.waveform.filterbank.bank import ThirdOctaveBank

        held = xr.DataArray(signal, dims=("channel", "time"), attrs=ATTRS)
        equivalent = ThirdOctaveBank(sample_rate=RATE, high=630.0).equivalent(held).values
    np.savez(file, maximum=s.reshape(*s.shape[:2], -1, 1200).max(-1), equivalent=equivalent)
    return found


def day() -> dict[str, Any]:
    """24 h of one channel in blocks of a minute; the noise is made once and used again."""
    from groundborne.waveform.filterbank.bank import ThirdOctaveBank

    minutes = 24 * 60
    noise = [block(k, 60.0) for k in range(5)]

    def blocks() -> Iterator[xr.DataArray]:
        for k in range(minutes):
            yield xr.DataArray(noise[k % 5][:1], dims=("channel", "time"), attrs=ATTRS)

    before = _peak()
    start = time.perf_counter()
    count = 0
    for piece in ThirdOctaveBank(sample_rate=RATE, high=630.0).stream(blocks(), every=EVERY):
        count += piece.sizes["time"]
    return {
        "seconds": time.perf_counter() - start,
        "memory": _peak() - before,
        "size": minutes * 60 * RATE * 8 / 2**20,
        "steps": count,
    }


def _child(*arguments: str) -> dict[str, Any]:
    env = os.environ | dict.fromkeys(THREADS, "1")
    command = [sys.executable, __file__, *arguments]
    run = subprocess.run(command, capture_output=True, text=True, check=True, env=env)
    return dict(json.loads(run.stdout.splitlines()[-1]))


def main() -> None:
    """Print times, memories and the largest differences."""
    with tempfile.TemporaryDirectory() as folder:
        files = {name: str(Path(folder) / f"{name}.npz") for name in ("plain", "bank")}
        runs = {name: _child("hour", name, file) for name, file in files.items()}
        full, ours = (np.load(files[name]) for name in ("plain", "bank"))
        off = {
            key: float(np.abs(10 * np.log10(ours[key] / full[key])).max())
            for key in ("maximum", "equivalent")
        }
    ratio = runs["plain"]["seconds"] / runs["bank"]["seconds"]
    print("one-third-octave bands 1 to 630 Hz, 3 channels, 1 h at 2048 Hz, S every 125 ms")
    print(
        f"  full rate {runs['plain']['seconds']:.1f} s, bank {runs['bank']['seconds']:.1f} s: "
        f"ratio {ratio:.1f} (wanted {WANTED['ratio']:g})"
    )
    print(
        f"  S maxima of 150 s within {off['maximum']:.3f} dB (wanted {WANTED['maximum']:g}), "
        f"Leq within {off['equivalent']:.3f} dB (wanted {WANTED['leq']:g})"
    )
    print(
        f"  peak memory over the record of {runs['bank']['size']:.0f} MiB, itself included: bank "
        f"{runs['bank']['memory']:.2f} (wanted {WANTED['memory']:g}), full rate "
        f"{runs['plain']['memory']:.2f}"
    )
    whole = _child("day")
    print(
        f"  24 h of one channel in blocks of a minute: {whole['seconds']:.0f} s, "
        f"{whole['memory']:.0f} MiB for {whole['size']:.0f} MiB, {whole['steps']} steps"
    )


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["hour", name, target]:
            print(json.dumps(hour(name, target)))
        case ["day"]:
            print(json.dumps(day()))
        case _:
            main()
