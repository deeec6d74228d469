"""Levels of the bands over time, in which passbys are sought."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RecordingError, known
from groundborne.bands import require_labels, select
from groundborne.levels import REFERENCES, decibel, stamp
from groundborne.waveform.running import at_window_centre, squared_quantity


@checked(infinite=("return",))
def band_history(
    mean_square: xr.DataArray,
    *,
    low: float | None = None,
    high: float | None = None,
    channels: Sequence[str] | None = None,
) -> xr.DataArray:
    """Level history of a band range, summed over bands and channels.

    Parameters
    ----------
    mean_square : DataArray
        Mean square [units²] with ``frequency`` (nominal thirds) and ``time`` [s], and perhaps
        ``channel``, as a filter bank gives it.
    low, high : float, optional
        First and last band [Hz]; all by default.
    channels : sequence of str, optional
        Channels to add up; all by default.

    Returns
    -------
    xarray.DataArray
        Level [dB] on ``time``; that of a linear mean stands at the middle of its window.

    Raises
    ------
    RecordingError
        An unknown quantity, or no time axis.
    BandError
        Bands that are not there.

    Examples
    --------
    >>> square = xr.DataArray(np.full((2, 3), 5e-13), dims=("frequency", "time"),
    ...                       coords={"frequency": [31.5, 40.0], "time": [0.0, 1.0, 2.0]},
    ...                       attrs={"quantity": "velocity", "units": "(m/s)²"})
    >>> band_history(square).round(2).values.tolist()
    [60.0, 60.0, 60.0]
    """
    quantity = squared_quantity("band_history", mean_square)
    if not {"frequency", "time"} <= set(mean_square.dims) or "time" not in mean_square.coords:
        raise RecordingError(
            f"band_history: the dims are {mean_square.dims}; frequency and time, with the times "
            "in s, are needed"
        )
    labels = require_labels(mean_square["frequency"], "band_history")
    picked = select(
        mean_square,
        float(labels[0]) if low is None else low,
        float(labels[-1]) if high is None else high,
    )
    total = picked.sum("frequency", skipna=False)
    if channels is not None and (not channels or len(set(channels)) != len(channels)):
        raise RecordingError(
            f"band_history: channels is {list(channels)}; each is named once, and at least one"
        )
    if channels is not None and "channel" not in total.dims:
        raise RecordingError("band_history: channels are named and the record has no dim channel")
    if "channel" in total.dims:
        if channels is not None:
            there = [str(c) for c in total["channel"].values]
            wanted = [known("band_history", "channel", c, there, RecordingError) for c in channels]
            total = total.isel(channel=[there.index(c) for c in wanted])
        total = total.sum("channel", skipna=False)
    weighting = str(mean_square.attrs.get("time_weighting", ""))
    total = at_window_centre(total.assign_attrs(mean_square.attrs))
    reference, value = next(iter(REFERENCES[quantity].items()))
    with np.errstate(divide="ignore"):  # a drop-out has no energy: minus infinity is its level
        level = decibel(total.drop_attrs(deep=False) / value**2)
    return stamp(
        level,
        quantity=quantity,
        reference=reference,
        long_name=f"{quantity} level history",
        averaging=weighting,
    )
