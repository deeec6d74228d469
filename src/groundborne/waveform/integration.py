"""Acceleration, velocity and displacement records into one another, in the frequency domain.

Both directions use the same low cut, without phase: what is at and above ``low_cut`` passes
unchanged, what is at and below half of it is gone, and between them the gain rises as half a
cosine over the logarithm of frequency. The mean is removed first and said in the attributes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RecordingError, positive
from groundborne.waveform.record import UNITS

_UNITS = {**UNITS, "displacement": "m"}

LEAST_PERIODS = 4.0
"""Shortest record, in periods of the low cut."""

EDGE_PERIODS = 4.0
"""Further than this from either end, in periods of the low cut, a sine is within 0.5 %."""

_PADDED_PERIODS = 4.0

_INTEGRAL = {"acceleration": ("velocity", "m/s"), "velocity": ("displacement", "m")}
_DERIVATIVE = {"displacement": ("velocity", "m/s"), "velocity": ("acceleration", "m/s²")}


@checked(nan=("record",), infinite=("record",))
def integrate(record: xr.DataArray, *, sample_rate: float, low_cut: float) -> xr.DataArray:
    """Integrate a time record once: acceleration to velocity, or velocity to displacement.

    Parameters
    ----------
    record : DataArray
        Acceleration [m/s²] or velocity [m/s], with dim ``time`` and attr ``quantity``; any further
        dims are carried through.
    sample_rate : float
        Sample rate [Hz].
    low_cut : float
        Lowest frequency that passes unchanged [Hz]. At half of it and below nothing passes.

    Returns
    -------
    xarray.DataArray
        Same dims and coordinates; attrs ``quantity`` and ``units`` of the integral and
        ``processing``, one sentence that names the cut and the means that were removed.

    Raises
    ------
    RecordingError
        The record has no ``time``, no or another quantity, values that are not finite, or fewer
        than four periods of the low cut.
    ValueError
        ``sample_rate`` or ``low_cut`` is not positive, or the cut is not below half the rate.

    Notes
    -----
    Outside the record the signal is unknown. It is continued by its own reflection, faded to zero
    over four periods of the low cut and followed by as many zeros, so that nothing wraps around.
    Near the ends the result depends on that continuation: a steady sine at or above the cut comes
    out within 3 % from two periods of the low cut on. From four on it is within 0.5 % up to a fifth
    of the sample rate, within 0.75 % up to 0.3 and within 3 % up to 0.45 of it (measured for the
    worst phase).
    The corner has no phase: nothing is delayed, but a step or a drift answers before it comes.

    Examples
    --------
    >>> t = np.arange(12000) / 1000
    >>> record = xr.DataArray(np.cos(2 * np.pi * 16 * t), dims="time",
    ...                       attrs={"quantity": "acceleration", "units": "m/s²"})
    >>> velocity = integrate(record, sample_rate=1000.0, low_cut=1.0)
    >>> print(velocity.attrs["units"], f"{float(velocity[5000:7000].max()) * 2 * np.pi * 16:.2f}")
    m/s 1.00
    """
    return _changed("integrate", record, sample_rate, low_cut, _INTEGRAL, -1)


@checked(nan=("record",), infinite=("record",))
def differentiate(record: xr.DataArray, *, sample_rate: float, low_cut: float) -> xr.DataArray:
    """Differentiate a time record once: displacement to velocity, or velocity to acceleration.

    Parameters
    ----------
    record : DataArray
        Displacement [m] or velocity [m/s], with dim ``time`` and attr ``quantity``; any further
        dims are carried through.
    sample_rate : float
        Sample rate [Hz].
    low_cut : float
        Lowest frequency that passes unchanged [Hz]. At half of it and below nothing passes.

    Returns
    -------
    xarray.DataArray
        Same dims and coordinates; attrs ``quantity`` and ``units`` of the derivative and
        ``processing``, one sentence that names the cut and the means that were removed.

    Raises
    ------
    RecordingError
        As :func:`integrate`.
    ValueError
        As :func:`integrate`.

    Notes
    -----
    The ends are treated as in :func:`integrate`. What is at a frequency up to half the
    rate is multiplied by it, so noise near half the rate is raised most.

    Examples
    --------
    >>> t = np.arange(8000) / 1000
    >>> record = xr.DataArray(np.sin(2 * np.pi * 16 * t), dims="time",
    ...                       attrs={"quantity": "velocity", "units": "m/s"})
    >>> acceleration = differentiate(record, sample_rate=1000.0, low_cut=1.0)
    >>> print(f"{float(acceleration[2500:5500].max()) / (2 * np.pi * 16):.3f}")
    1.000
    """
    return _changed("differentiate", record, sample_rate, low_cut, _DERIVATIVE, 1)


def corner_gain(frequency: np.ndarray[Any, Any], low_cut: float) -> np.ndarray[Any, Any]:
    """Gain of the low cut at frequencies [Hz]: 0 up to half the cut, 1 from the cut on.

    Examples
    --------
    >>> corner_gain(np.array([0.0, 0.5, 0.5 * 2**0.5, 1.0, 80.0]), 1.0).round(3).tolist()
    [0.0, 0.0, 0.5, 1.0, 1.0]
    """
    octaves = np.log2(np.maximum(frequency / low_cut, 0.25))
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(octaves + 1.0, 0.0, 1.0)))


def _changed(
    where: str,
    record: xr.DataArray,
    sample_rate: float,
    low_cut: float,
    steps: dict[str, tuple[str, str]],
    power: int,
) -> xr.DataArray:
    quantity, units = _asked(where, record, steps)
    positive(where, "sample_rate", sample_rate, "Hz")
    positive(where, "low_cut", low_cut, "Hz")
    if low_cut >= sample_rate / 2:
        raise ValueError(
            f"{where}: low_cut is {low_cut:g} Hz; it must lie below half the rate, "
            f"{sample_rate / 2:g} Hz"
        )
    samples = record.sizes["time"]
    least = int(np.ceil(LEAST_PERIODS * sample_rate / low_cut))
    if samples < least:
        raise RecordingError(
            f"{where}: the record lasts {samples / sample_rate:g} s; with a low cut of "
            f"{low_cut:g} Hz at "
            f"least {least / sample_rate:g} s are needed; raise low_cut or take a longer record"
        )
    data = record.transpose(..., "time")
    values = np.asarray(data.values, dtype=float)
    mean = values.mean(axis=-1, keepdims=True)
    if not np.isfinite(mean).all():
        _complain(where, data, values, sample_rate)
    result = _filtered(values - mean, sample_rate, low_cut, power)
    if not np.isfinite(result).all():
        raise RecordingError(f"{where}: the values are too large to be {quantity} records")
    means = ", ".join(f"{m:.3g}" for m in np.ravel(mean))
    text = (
        f"{where}d with a low cut of {low_cut:g} Hz (gain 0 at {low_cut / 2:g} Hz); "
        f"means removed first: {means} {record.attrs.get('units', '')}".rstrip()
    )
    kept = {k: v for k, v in record.attrs.items() if k not in ("long_name", "processing")}
    before = record.attrs.get("processing", "")
    return (
        data.copy(data=result)
        .assign_attrs(kept)
        .assign_attrs(
            quantity=quantity,
            units=units,
            processing=f"{before}; {text}" if before else text,
        )
        .transpose(*record.dims)
    )


def _asked(where: str, record: Any, steps: dict[str, tuple[str, str]]) -> tuple[str, str]:
    if not isinstance(record, xr.DataArray) or "time" not in record.dims:
        raise RecordingError(f"{where}: a DataArray with the dim 'time' is needed")
    quantity = record.attrs.get("quantity")
    if quantity not in steps:
        raise RecordingError(
            f"{where}: the quantity of the record is {quantity!r}; it must be "
            f"{' or '.join(repr(name) for name in steps)}"
        )
    if record.attrs.get("units") != _UNITS[quantity]:
        raise RecordingError(
            f"{where}: the units of the record are {record.attrs.get('units')!r}; {quantity} in "
            f"{_UNITS[quantity]!r} is needed"
        )
    if "frequency_weighting" in record.attrs:
        raise RecordingError(
            f"{where}: the record is weighted by {record.attrs['frequency_weighting']}; take the "
            "record as it was measured"
        )
    if record.dtype.kind not in "iuf":
        raise RecordingError(f"{where}: the record holds {record.dtype}; real numbers are needed")
    return steps[quantity]


def _complain(
    where: str, data: xr.DataArray, values: np.ndarray[Any, Any], sample_rate: float
) -> None:
    bad = ~np.isfinite(values)
    if not bad.any():
        raise RecordingError(f"{where}: the values are too large to be averaged")
    index = np.unravel_index(int(np.argmax(bad)), values.shape)
    labels = [
        f"{dim} {data[dim].values[i] if dim in data.coords else i}, "
        for dim, i in zip(data.dims[:-1], index[:-1], strict=True)
    ]
    raise RecordingError(
        f"{where}: {''.join(labels)}{index[-1] / sample_rate:.6g} s: the value is "
        f"{values[index]}; every "
        "sample must be finite"
    )


def _filtered(
    values: np.ndarray[Any, Any], sample_rate: float, low_cut: float, power: int
) -> np.ndarray[Any, Any]:
    from scipy.fft import irfft, next_fast_len, rfft

    samples = values.shape[-1]
    pad = min(samples - 1, int(np.ceil(_PADDED_PERIODS * sample_rate / low_cut)))
    length = next_fast_len(samples + 4 * pad, real=True)
    fade = 0.5 - 0.5 * np.cos(np.pi * (np.arange(pad) + 0.5) / pad)
    padded = np.zeros((*values.shape[:-1], length))
    padded[..., pad : pad + samples] = values
    # A derivative needs its slope continued, hence the reflection about the end point. An integral
    # would read that as a pedestal of twice the last sample, and needs only the value continued.
    before, after = values[..., pad:0:-1], values[..., -1 - pad : -1][..., ::-1]
    if power > 0:
        before, after = 2 * values[..., :1] - before, 2 * values[..., -1:] - after
    padded[..., :pad] = before * fade
    padded[..., pad + samples : samples + 2 * pad] = after * fade[::-1]
    frequency = np.fft.rfftfreq(length, 1 / sample_rate)
    gain = corner_gain(frequency, low_cut).astype(complex)
    gain[1:] *= (2j * np.pi * frequency[1:]) ** power
    if length % 2 == 0:
        gain[-1] = 0.0  # at half the rate a quarter-period shift cannot be written in samples
    spectrum = rfft(padded, axis=-1, overwrite_x=True)
    spectrum *= gain
    filtered: np.ndarray[Any, Any] = irfft(spectrum, n=length, axis=-1, overwrite_x=True)
    return filtered[..., pad : pad + samples].copy()
