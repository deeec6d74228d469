"""Whether the weighted rms alone describes a vibration."""

from __future__ import annotations

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RatingError
from groundborne.rating.vibration import (
    ISO_2631_1,
    mtvv,
    require_weighted,
    vdv,
    weighted_rms,
)
from groundborne.waveform.record import Recorded, signal_of

CREST_LIMIT, MTVV_LIMIT, DOSE_LIMIT = 9.0, 1.5, 1.75
"""Marks of ISO 2631-1 above which rms alone does not describe a vibration: crest factor (seen
second-hand), MTVV/a_w and VDV/(a_w T^0.25) (both from memory)."""


@checked(nan=("record",), infinite=("record",))
def additional_evaluation(
    record: xr.DataArray | Recorded, *, sample_rate: float | None = None
) -> xr.Dataset:
    """Whether rms alone describes a vibration, by three ratios.

    Parameters
    ----------
    record : DataArray or Recording
        Weighted acceleration [m/s²], at least 1 s long and not all zero.
    sample_rate : float, optional
        Samples per second of a DataArray [Hz].

    Returns
    -------
    xarray.Dataset
        ``crest_factor``, ``mtvv_ratio`` (MTVV/a_w), ``vdv_ratio`` (VDV/(a_w T^0.25)), each with
        its mark in the attributes; ``needed``, true where one of them lies above its mark.

    Raises
    ------
    RatingError
        Not a weighted acceleration, or a channel at rest: it has no ratio.
    RecordingError
        The record is damaged or shorter than 1 s.

    References
    ----------
    ISO 2631-1:1997: crest factor 9 [seen second-hand], 1.5 and 1.75 [from memory].

    Examples
    --------
    >>> import numpy as np
    >>> tone = np.sin(2 * np.pi * 8 * np.arange(4000) / 1000)
    >>> record = xr.DataArray(tone, dims="time", attrs={"quantity": "acceleration",
    ...                       "units": "m/s²", "frequency_weighting": "Wb"})
    >>> found = additional_evaluation(record, sample_rate=1000.0)
    >>> found["crest_factor"].round(3).item(), found["vdv_ratio"].round(3).item()
    (1.414, 1.107)
    """
    given, sample_rate = signal_of("additional_evaluation", record, sample_rate)
    signal = require_weighted(given, where="additional_evaluation")
    rms = weighted_rms(signal)
    if (rms == 0).any():
        raise RatingError(
            "additional_evaluation: a channel of the record is at rest throughout; it has no ratios"
        )
    lasts = signal.sizes["time"] / sample_rate
    ratios = {
        "crest_factor": (
            abs(signal).max("time", skipna=False) / rms,
            CREST_LIMIT,
            "seen second-hand",
        ),
        "mtvv_ratio": (mtvv(signal, sample_rate=sample_rate) / rms, MTVV_LIMIT, "from memory"),
        "vdv_ratio": (
            vdv(signal, sample_rate=sample_rate) / (rms * lasts**0.25),
            DOSE_LIMIT,
            "from memory",
        ),
    }
    found = xr.Dataset(
        {
            name: ratio.assign_attrs(units="1", limit=limit, mark=mark)
            for name, (ratio, limit, mark) in ratios.items()
        }
    )
    needed = sum(ratio > limit for ratio, limit, _ in ratios.values()) > 0
    return found.assign(needed=needed).assign_attrs(citations=ISO_2631_1.text)
