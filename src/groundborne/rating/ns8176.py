"""Statistical maximum of weighted velocity over passbys, as the Scandinavian rules form it."""

from __future__ import annotations

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RatingError, known, not_negative
from groundborne.citation import Citation
from groundborne.rating.vibration import require_weighted, running_rms
from groundborne.waveform.record import Recorded, signal_of

NS_8176 = Citation(
    key="ns8176",
    author="NS 8176",
    year="2017",
    title="Vibration in buildings from land-based transport",
    locator="weighted velocity v_w, statistical maximum v_w,95, classes A to D",
    mark="from memory",
)
VELOCITY_FACTOR = 0.028
"""v_w over Wm-weighted acceleration [s]: the Wm corner is 1/(2π · 0.028 s)."""
FEWEST = 15
"""Passbys a statistical maximum needs."""


@checked(nan=("record",), infinite=("record",))
def weighted_velocity(
    record: xr.DataArray | Recorded, *, sample_rate: float | None = None
) -> xr.DataArray:
    """Largest weighted velocity with S weighting, v_w,max.

    Parameters
    ----------
    record : DataArray or Recording
        Acceleration weighted by Wm [m/s²], from ``waveform.weighted`` or ``Recording.weighted``.
    sample_rate : float, optional
        Samples per second of a DataArray [Hz].

    Returns
    -------
    xarray.DataArray
        v_w,max [m/s], rms with 1 s exponential weighting, without ``time``.

    Raises
    ------
    RatingError
        The record is weighted otherwise.

    References
    ----------
    NS 8176:2017 [from memory].

    Examples
    --------
    >>> import numpy as np
    >>> record = xr.DataArray(np.full(2000, 0.01), dims="time", attrs={"quantity": "acceleration",
    ...                       "units": "m/s²", "frequency_weighting": "Wm"})
    >>> weighted_velocity(record, sample_rate=100.0).round(7).item()
    0.00028
    """
    given, sample_rate = signal_of("weighted_velocity", record, sample_rate)
    signal = require_weighted(given, where="weighted_velocity")
    if signal.attrs["frequency_weighting"] != "Wm":
        raise RatingError(
            f"weighted_velocity: the record is weighted by {signal.attrs['frequency_weighting']}; "
            "Wm is needed"
        )
    running = running_rms(signal, sample_rate=sample_rate, kind="exponential")
    found = VELOCITY_FACTOR * running.max("time", skipna=False)
    found.attrs = {
        "long_name": "largest weighted velocity",
        "units": "m/s",
        "time_weighting": "S max",
        "citations": NS_8176.text,
    }
    return found


@checked
def statistical_maximum(
    maxima: xr.DataArray, *, dim: str = "passby", factor: float = 1.8
) -> xr.DataArray:
    """Statistical maximum of passby maxima, mean plus 1.8 standard deviations.

    The next passby of a normal population stays below it with 95 % probability when 15 were
    measured (the exact factor is then 1.82).

    Parameters
    ----------
    maxima : DataArray
        v_w,max of each passby [m/s], not in dB, on `dim`; of the class of trains that governs.
    dim : str
        Dimension of the passbys; 15 or more.
    factor : float
        Standard deviations added [-].

    Returns
    -------
    xarray.DataArray
        v_w,95 [m/s] without `dim`.

    Raises
    ------
    RatingError
        Fewer than 15 passbys.
    ValueError
        A negative value (a level?), or no such dimension.

    References
    ----------
    NS 8176:2017 [from memory].

    Examples
    --------
    >>> maxima = xr.DataArray([1e-4, 3e-4] * 8, dims="passby")
    >>> round(statistical_maximum(maxima).item() * 1e3, 4)
    0.3859
    """
    where = "statistical_maximum"
    known(where, "dim", dim, [str(d) for d in maxima.dims])
    not_negative(where, "maxima", maxima, "m/s")
    if maxima.attrs.get("units") == "dB":
        raise RatingError(f"{where}: the maxima are levels; velocities in m/s are needed")
    not_negative(where, "factor", factor, "")
    if maxima.sizes[dim] < FEWEST:
        raise RatingError(
            f"{where}: there are {maxima.sizes[dim]} passbys; {FEWEST} or more are needed. Measure "
            "more trains, or report the largest"
        )
    found: xr.DataArray = maxima.mean(dim, skipna=False) + factor * maxima.std(
        dim, ddof=1, skipna=False
    )
    found.attrs = {
        "long_name": "statistical maximum of weighted velocity",
        "units": "m/s",
        "citations": NS_8176.text,
    }
    return found
