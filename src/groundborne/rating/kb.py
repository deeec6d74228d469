"""KB values of people in buildings: running, clock maxima, and the severity over a period.

A measured KB_F is uncertain by about 15 % (DIN 4150-2:1999, 5.4, seen second-hand); the same holds
for everything made of it here.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, RatingError, RecordingError, known, not_negative, positive
from groundborne.citation import Citation
from groundborne.rating.vibration import running_rms
from groundborne.waveform.filtering import weighted
from groundborne.waveform.record import Recorded, signal_of
from groundborne.weighting import DIN_45669_1, KB_BANDS

DIN_4150_2 = Citation(
    key="din4150-2",
    author="DIN 4150-2",
    year="1999",
    title="Vibration in buildings, effects on persons",
    locator="formulas 3 to 5, A.1 to A.3, Table 1, Annex C",
    mark="seen second-hand",
    status="verified",
)

CLOCK = 30.0
"""Length of a clock interval [s]."""
NEGLIGIBLE = 0.1
"""Clock maxima up to this count as 0 in KB_FTm and KB_FTr, but do count in the number."""
UNCERTAINTY = 0.15
"""Share a measured KB value is uncertain by."""
PERIODS = {"day": 16.0 * 3600.0, "night": 8.0 * 3600.0}
"""Assessment periods T_r [s]: 6 to 22 h and 22 to 6 h; 1920 and 960 clock intervals."""


@checked(nan=("record",), infinite=("record",))
def kb_running(
    record: xr.DataArray | Recorded, *, sample_rate: float | None = None, band: str = "1-80 Hz"
) -> xr.DataArray:
    """Weighted vibration severity KB_F(t): running rms of KB(t) with 0.125 s.

    Parameters
    ----------
    record : DataArray or Recording
        Velocity [m/s] or acceleration [m/s²] record, dims (channel, time) or (time).
    sample_rate : float, optional
        Samples per second of a DataArray [Hz].
    band : str
        Working range ``1-80 Hz`` or ``4-315 Hz``.

    Returns
    -------
    xarray.DataArray
        KB_F [-] at every sample; uncertain by about 15 %.

    Raises
    ------
    RecordingError
        The record is unlabelled, damaged, too slow, or of sound pressure.
    ValueError
        An unknown working range.

    References
    ----------
    DIN 45669-1:2010.

    Examples
    --------
    >>> t = np.arange(8192) / 1024
    >>> tone = xr.DataArray(1e-3 * np.sin(2 * np.pi * 25 * t), dims="time",
    ...                     attrs={"quantity": "velocity", "units": "m/s"})
    >>> kb_running(tone, sample_rate=1024.0).isel(time=slice(4096, None)).max().round(2).item()
    0.7
    """
    known("kb_running", "band", band, KB_BANDS)
    given, sample_rate = signal_of("kb_running", record, sample_rate)
    signal = weighted(given, sample_rate=sample_rate, curve=KB_BANDS[band])
    running = 1e3 * running_rms(signal, sample_rate=sample_rate, kind="exponential", seconds=0.125)
    running.attrs = {
        "long_name": "KB_F(t)",
        "units": "1",
        "quantity": "KB",
        "frequency_weighting": KB_BANDS[band],
        "time_weighting": "F",
        "citations": DIN_45669_1.text,
    }
    return running


@checked
def kb_clock_maxima(severity: xr.DataArray, *, sample_rate: float) -> xr.DataArray:
    """Largest KB_F in each 30 s clock interval, KB_FTi; the largest of them is KB_Fmax.

    Parameters
    ----------
    severity : DataArray
        KB_F(t) from ``kb_running``.
    sample_rate : float
        Samples per second [Hz].

    Returns
    -------
    xarray.DataArray
        KB_FTi [-], ``clock`` [s] the start of each interval. A last interval that is not full is
        kept and named in the attribute ``note``.

    Raises
    ------
    RatingError
        Not a KB_F(t).

    References
    ----------
    DIN 4150-2:1999, clock maximum method [seen second-hand].

    Examples
    --------
    >>> kb_f = xr.DataArray([0.1, 0.3, 0.2, 0.1], dims="time", attrs={"quantity": "KB"})
    >>> kb_clock_maxima(kb_f, sample_rate=2 / 30).values.tolist()
    [0.3, 0.2]
    """
    if severity.attrs.get("quantity") != "KB" or "time" not in severity.dims:
        raise RatingError("kb_clock_maxima: KB_F(t) from kb_running is needed, with dim time")
    positive("kb_clock_maxima", "sample_rate", sample_rate, "Hz")
    severity = severity.transpose(..., "time")
    not_negative("kb_clock_maxima", "severity", severity, "KB")
    count = severity.sizes["time"]
    if count == 0:
        raise RecordingError("kb_clock_maxima: the record holds no sample")
    # An interval of a broken number of samples starts at the first sample within it.
    intervals = max(int(np.ceil(count / sample_rate / CLOCK - 1e-9)), 1)
    starts = np.minimum(
        np.ceil(np.arange(intervals) * CLOCK * sample_rate - 1e-6).astype(int), count - 1
    )
    values = np.maximum.reduceat(severity.values, starts, axis=-1)
    found = xr.DataArray(
        values,
        dims=(*severity.dims[:-1], "clock"),
        coords={
            **{n: c for n, c in severity.coords.items() if "time" not in c.dims},
            "clock": ("clock", np.arange(intervals) * CLOCK, {"units": "s"}),
        },
        attrs={
            "long_name": "clock maximum KB_FTi",
            "units": "1",
            "quantity": "KB",
            "citations": DIN_4150_2.text,
        },
    )
    left = count / sample_rate - (intervals - 1) * CLOCK
    if left < CLOCK - 0.5 / sample_rate:
        found.attrs["note"] = f"the last clock interval holds {left:.4g} s of 30 s"
    return found


@checked
def kb_clock_mean(severity: xr.DataArray, *, dim: str = "clock") -> xr.DataArray:
    """Root mean square of clock maxima, KB_FTm.

    Values up to 0.1 enter as 0 and count in the number. For rail, hand in the occupied intervals
    only (those that hold the maximum of a train).

    Parameters
    ----------
    severity : DataArray
        KB_FTi [-].
    dim : str
        Dimension of the intervals.

    Returns
    -------
    xarray.DataArray
        KB_FTm [-] without `dim`.

    Raises
    ------
    ValueError
        A negative value, none at all, or no such dimension.

    References
    ----------
    DIN 4150-2:1999, formulas 3 and A.1 [seen second-hand].

    Examples
    --------
    >>> kb_clock_mean(xr.DataArray([0.92, 0.6, 0.9], dims="clock")).round(2).item()
    0.82
    """
    known("kb_clock_mean", "dim", dim, [str(d) for d in severity.dims])
    not_negative("kb_clock_mean", "severity", severity, "KB")
    if severity.sizes[dim] == 0:
        raise ValueError("kb_clock_mean: there is no clock interval; at least one is needed")
    counted = severity.where(~(severity <= NEGLIGIBLE), 0.0)
    return _severity((counted**2).mean(dim, skipna=False) ** 0.5, "KB_FTm")


@checked
def kb_period_severity(
    severity: xr.DataArray,
    *,
    exposure: xr.DataArray | float,
    period: str,
    rest: xr.DataArray | bool = False,
    dim: str = "stretch",
) -> xr.DataArray:
    """Assessment severity over a period, ``KB_FTr = √(1/T_r Σ w T_e KB_FTm²)``.

    Parameters
    ----------
    severity : DataArray
        KB_FTm of each stretch of exposure [-], on `dim`.
    exposure : float or DataArray
        How long each lasts within the period, T_e [s].
    period : str
        ``day`` (16 h) or ``night`` (8 h).
    rest : bool or DataArray
        Whether a stretch falls in the rest hours (weight 2): 6 to 7 and 19 to 22 h on working
        days, the whole day on Sundays and holidays. Not for road and rail; never at night.
    dim : str
        Dimension of the stretches.

    Returns
    -------
    xarray.DataArray
        KB_FTr [-] without `dim`.

    Raises
    ------
    ValueError
        More exposure than the period lasts, rest hours at night, a negative number.

    References
    ----------
    DIN 4150-2:1999, formulas 4 and 5 [seen second-hand].

    Examples
    --------
    >>> two = xr.DataArray([0.16, 0.39], dims="stretch")
    >>> hours = xr.DataArray([6.0, 1.5], dims="stretch")
    >>> kb_period_severity(two, exposure=3600 * hours, period="day").round(3).item()
    0.154
    """
    where = "kb_period_severity"
    known(where, "period", period, PERIODS)
    known(where, "dim", dim, [str(d) for d in severity.dims])
    not_negative(where, "severity", severity, "KB")
    not_negative(where, "exposure", exposure, "s")
    if period == "night" and bool(np.any(rest)):
        raise ValueError(f"{where}: rest hours are part of the day; the night has none")
    share = xr.zeros_like(severity) + exposure
    lasts = float(share.sum(dim).max())
    if lasts > PERIODS[period] * (1 + 1e-9):
        raise ValueError(
            f"{where}: the stretches last {lasts / 3600:.4g} h together; the {period} has "
            f"{PERIODS[period] / 3600:g} h"
        )
    weight = xr.where(xr.zeros_like(severity, dtype=bool) | rest, 2.0, 1.0)
    total = (weight * share * severity**2).sum(dim, skipna=False) / PERIODS[period]
    return _severity(total**0.5, "KB_FTr")


@checked
def kb_period_severity_rail(
    severity: xr.DataArray, *, occupied: xr.DataArray | float, period: str, dim: str = "train_type"
) -> xr.DataArray:
    """Assessment severity of rail traffic, ``KB_FTr = √(Σ M_j KB_FTm,j² / N_r)``.

    Parameters
    ----------
    severity : DataArray
        KB_FTm of each train class, over its occupied clock intervals only [-].
    occupied : float or DataArray
        Clock intervals M_j each class occupies in the period [-]: trains times intervals of one.
    period : str
        ``day`` (N_r = 1920) or ``night`` (960).
    dim : str
        Dimension of the classes.

    Returns
    -------
    xarray.DataArray
        KB_FTr [-] without `dim`.

    Raises
    ------
    ValueError
        More occupied intervals than the period holds, or a negative number.

    References
    ----------
    DIN 4150-2:1999, formula A.3 [seen second-hand].

    Examples
    --------
    >>> classes = xr.DataArray([0.82, 0.22], dims="train_type")
    >>> occupied = xr.DataArray([288.0, 192.0], dims="train_type")
    >>> kb_period_severity_rail(classes, occupied=occupied, period="day").round(3).item()
    0.325
    """
    where = "kb_period_severity_rail"
    known(where, "period", period, PERIODS)
    known(where, "dim", dim, [str(d) for d in severity.dims])
    not_negative(where, "severity", severity, "KB")
    not_negative(where, "occupied", occupied, "intervals")
    holds = PERIODS[period] / CLOCK
    number = xr.zeros_like(severity) + occupied
    most = float(number.sum(dim).max())
    if most > holds * (1 + 1e-9):
        raise ValueError(f"{where}: {most:g} intervals are occupied; the {period} has {holds:g}")
    total = (number * severity**2).sum(dim, skipna=False) / holds
    return _severity(total**0.5, "KB_FTr, rail")


@checked
def kb_hourly_severity(severity: Numeric, *, trains: Numeric) -> Numeric:
    """Assessment severity of one train class, one interval a train: ``KB_FTm √(n/120)``.

    Parameters
    ----------
    severity : float or DataArray
        KB_FTm over occupied intervals [-].
    trains : float or DataArray
        Trains an hour, at most 120 [1/h].

    Returns
    -------
    same type
        KB_FTr [-].

    Raises
    ------
    ValueError
        A number out of its range.

    References
    ----------
    DIN 4150-2:1999, Annex D, from formula A.3 [seen second-hand].

    Examples
    --------
    >>> round(kb_hourly_severity(0.2, trains=7.0), 3)
    0.048
    """
    not_negative("kb_hourly_severity", "severity", severity, "KB")
    not_negative("kb_hourly_severity", "trains", trains, "trains an hour")
    if np.any(np.asarray(trains) > 120):
        raise ValueError(
            "kb_hourly_severity: more than 120 trains an hour leave no interval for each"
        )
    result: Numeric = severity * (trains / 120.0) ** 0.5
    return result


def _severity(value: xr.DataArray, name: str) -> xr.DataArray:
    value.attrs = {
        "long_name": name,
        "units": "1",
        "quantity": "KB",
        "uncertainty": "about 15 %",
        "citations": DIN_4150_2.text,
    }
    return value
