"""Frequency weighting of time records, from rest and without wrapping."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RecordingError, known, positive
from groundborne.waveform.record import UNITS, require_usable
from groundborne.weighting import CURVES, response

_FORGOTTEN = 20.7
"""A pole has lost 1e-9 of its start after this many of its time constants."""


@checked(nan=("record",), infinite=("record",))
def weighted(record: xr.DataArray, *, sample_rate: float, curve: str) -> xr.DataArray:
    """Weight a time record.

    The record is multiplied by the exact response of the curve in the frequency domain, so that no
    bilinear warping enters. It is padded with zeros until the slowest pole has decayed to 1e-9:
    the filter starts from rest and the end does not wrap onto the start. A record that does not
    start at zero, or carries an offset, therefore rings at its start as an instrument does when it
    is switched on: start some seconds (W curves about 3 s, KB 1.5 s) before the first event.

    A velocity record is weighted by a W curve, and an acceleration record by KB, through ``jω``
    within the same multiplication; no separate integration is needed, since the curves fall off
    faster than ``1/ω`` rises.

    Parameters
    ----------
    record : DataArray
        Time record, dims (channel, time) or (time), with ``quantity`` and ``units``.
    sample_rate : float
        Samples per second [Hz]. At least 200 Hz for the W curves and KB, 788 Hz for the railway
        range: twice the corner of their low pass, which lies within the record only then. What
        lies above half the rate is not in the record. For fourth powers and peaks take five times
        that, since the largest value lies between samples.
    curve : str
        One of ``weighting.CURVES``.

    Returns
    -------
    xarray.DataArray
        Weighted record [m/s², m/s or Pa, by the curve], dims and length as the record, attribute
        ``frequency_weighting``.

    Raises
    ------
    RecordingError
        The record is unlabelled, holds no number, is too slow, or of a quantity that the curve
        does not take.
    ValueError
        An unknown curve or a rate that is not above zero.

    Notes
    -----
    The transform of the whole record is held in memory: with all that is made of it, four to
    six times the record. Weight sections of a long one.

    References
    ----------
    ISO 8041-1:2017; DIN 45669-1:2010; IEC 61672-1:2013.

    Examples
    --------
    >>> t = np.arange(16000) / 1000
    >>> tone = xr.DataArray(np.sin(2 * np.pi * 8 * t), dims="time",
    ...                     attrs={"quantity": "acceleration", "units": "m/s²"})
    >>> found = weighted(tone, sample_rate=1000.0, curve="Wk").isel(time=slice(8000, None))
    >>> float(found.max().round(3))
    1.036
    """
    where = "weighted"
    known(where, "curve", curve, CURVES)
    positive(where, "sample_rate", sample_rate, "Hz")
    usable = require_usable(record, where=where, sample_rate=sample_rate)
    dims, record = record.dims, usable
    if "frequency_weighting" in record.attrs:
        raise RecordingError(
            f"{where}: the record is weighted by {record.attrs['frequency_weighting']} already; "
            "take the record as it was measured"
        )
    wanted, has = CURVES[curve].quantity, record.attrs["quantity"]
    if "sound pressure" in (wanted, has) and wanted != has:
        raise RecordingError(f"{where}: the record is of {has}; {curve} weights {wanted}")
    if sample_rate < CURVES[curve].least_rate:
        raise RecordingError(
            f"{where}: the record has {sample_rate:g} samples per second; {curve} needs "
            f"{CURVES[curve].least_rate:g} or more, or part of its range is missing"
        )
    from scipy import fft

    count = record.sizes["time"]
    padded = fft.next_fast_len(
        count + int(np.ceil(_FORGOTTEN / CURVES[curve].memory * sample_rate)), real=True
    )
    frequencies = fft.rfftfreq(padded, 1 / sample_rate)
    factor = _response(curve, frequencies, has)
    spectrum = fft.rfft(record.values, padded, axis=-1)
    spectrum *= factor
    values = fft.irfft(spectrum, padded, axis=-1, overwrite_x=True)[..., :count]
    found = record.copy(data=np.ascontiguousarray(values))
    found.attrs = {
        "long_name": f"{curve}-weighted {wanted}",
        "quantity": wanted,
        "units": UNITS[wanted],
        "frequency_weighting": curve,
        "citations": CURVES[curve].citation.text,
    }
    if has != wanted:
        found.attrs["made_from"] = f"{has} record"
    return found.transpose(*dims)


def _response(curve: str, frequencies: np.ndarray[Any, Any], has: str) -> np.ndarray[Any, Any]:
    factor = response(curve, frequencies)
    wanted = CURVES[curve].quantity
    if wanted == has:
        return factor
    s = 2j * np.pi * frequencies
    if wanted == "acceleration":
        return factor * s
    # Both zero at 0 Hz, where the two zeros of the high pass win.
    quotient = np.divide(factor, s, out=np.zeros_like(factor), where=frequencies > 0)
    return np.asarray(quotient)
