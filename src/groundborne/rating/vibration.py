"""Vibration of people from weighted acceleration records: rms, vdv, running rms, crest."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import (
    Numeric,
    RatingError,
    RecordingError,
    known,
    not_negative,
    positive,
)
from groundborne.citation import Citation
from groundborne.waveform.record import Recorded, require_usable, signal_of

ISO_2631_1 = Citation(
    key="iso2631-1-second-evaluation",
    author="ISO 2631-1",
    year="1997",
    title="Evaluation of human exposure to whole-body vibration",
    locator="running rms, MTVV, fourth-power dose; marks of a second evaluation: crest factor 9 "
    "seen second-hand, ratios 1.5 and 1.75 from memory",
    mark="from memory",
)
BS_6472_DOSE = Citation(
    key="bs6472-1-dose",
    author="BS 6472-1",
    year="2008",
    title="Human exposure to vibration in buildings",
    locator="vibration dose value, estimated dose value 1.4 a T^0.25, doses of several events",
    mark="seen second-hand",
)

ESTIMATED_DOSE, SINE_DOSE, GAUSSIAN_DOSE = 1.4, 1.5**0.25, 3.0**0.25
"""VDV over ``a_w T^0.25``: the usual estimate, a sine (1.107), Gaussian noise (1.316)."""


@checked(nan=("record",), infinite=("record",))
def weighted_rms(record: xr.DataArray | Recorded) -> xr.DataArray:
    """Root mean square of a weighted acceleration record, a_w.

    Parameters
    ----------
    record : DataArray or Recording
        Weighted acceleration [m/s²] from ``waveform.weighted`` or ``Recording.weighted``; its whole
        length counts.

    Returns
    -------
    xarray.DataArray
        a_w [m/s²] without ``time``.

    Raises
    ------
    RatingError
        The record is not a weighted acceleration.
    RecordingError
        The record is damaged.

    References
    ----------
    ISO 2631-1:1997.

    Examples
    --------
    >>> record = xr.DataArray([0.1, -0.1], dims="time", attrs={"quantity": "acceleration",
    ...                       "units": "m/s²", "frequency_weighting": "Wb"})
    >>> weighted_rms(record).item()
    0.1
    """
    given = record if isinstance(record, xr.DataArray) else record.signal
    signal = require_weighted(given, where="weighted_rms")
    return _stamped(
        (signal**2).mean("time", skipna=False) ** 0.5, signal, "weighted rms acceleration", "m/s²"
    )


@checked(nan=("record",), infinite=("record",))
def vdv(record: xr.DataArray | Recorded, *, sample_rate: float | None = None) -> xr.DataArray:
    """Vibration dose value of a weighted acceleration record, ``(∫ a_w⁴ dt)^(1/4)``.

    Parameters
    ----------
    record : DataArray or Recording
        Weighted acceleration [m/s²] from ``waveform.weighted`` or ``Recording.weighted``.
    sample_rate : float, optional
        Samples per second of a DataArray [Hz]. It has to be above four times the 100 Hz corner, or
        the sum over samples misreads the fourth power of the highest part: 500 Hz or more.

    Returns
    -------
    xarray.DataArray
        VDV [m/s^1.75] without ``time``.

    Raises
    ------
    RatingError
        The record is not a weighted acceleration.
    RecordingError
        The record is damaged.
    ValueError
        The rate is not above zero.

    References
    ----------
    BS 6472-1:2008; ISO 2631-1:1997, fourth-power dose.

    Examples
    --------
    >>> record = xr.DataArray(np.full(16, 0.5), dims="time", attrs={"quantity": "acceleration",
    ...                       "units": "m/s²", "frequency_weighting": "Wb"})
    >>> vdv(record, sample_rate=1.0).item()  # 0.5 · 16^0.25
    1.0
    """
    given, sample_rate = signal_of("vdv", record, sample_rate)
    signal = require_weighted(given, where="vdv")
    total = (signal**4).sum("time", skipna=False) / sample_rate
    return _stamped(total**0.25, signal, "vibration dose value", "m/s^1.75")


@checked
def vdv_estimated(value: Numeric, *, duration: Numeric, count: Numeric = 1.0) -> Numeric:
    """Estimated dose value from an rms, ``1.4 a_w (N T)^0.25``.

    Too low where the crest factor is above about 6, so it is no substitute for the dose of a
    record; 6 % high for Gaussian noise, 26 % for a sine.

    Parameters
    ----------
    value : float or DataArray
        Weighted rms acceleration over one event, a_w [m/s²].
    duration : float or DataArray
        Time that rms is taken over [s].
    count : float or DataArray
        Number of such events [-].

    Returns
    -------
    same type
        eVDV [m/s^1.75].

    Raises
    ------
    ValueError
        A negative number, or a duration that is not above zero.

    References
    ----------
    BS 6472-1:2008, eVDV [seen second-hand].

    Examples
    --------
    >>> round(vdv_estimated(0.01, duration=16.0), 3)
    0.028
    """
    not_negative("vdv_estimated", "value", value, "m/s²")
    positive("vdv_estimated", "duration", duration, "s")
    not_negative("vdv_estimated", "count", count, "events")
    result: Numeric = ESTIMATED_DOSE * value * (duration * count) ** 0.25
    return result


@checked
def vdv_combined(value: xr.DataArray, *, count: Numeric = 1.0, dim: str = "passby") -> xr.DataArray:
    """Dose of several events, ``(Σ N VDV⁴)^(1/4)``.

    Parameters
    ----------
    value : DataArray
        VDV of one event of each kind [m/s^1.75], with `dim`.
    count : float or DataArray
        How many of each kind [-].
    dim : str
        Dimension of the kinds.

    Returns
    -------
    xarray.DataArray
        VDV [m/s^1.75] without `dim`.

    Raises
    ------
    ValueError
        A negative number, or no such dimension.

    References
    ----------
    BS 6472-1:2008 [seen second-hand].

    Examples
    --------
    >>> vdv_combined(xr.DataArray([0.1], dims="passby"), count=16.0).round(12).item()
    0.2
    """
    known("vdv_combined", "dim", dim, [str(d) for d in value.dims])
    not_negative("vdv_combined", "value", value, "m/s^1.75")
    not_negative("vdv_combined", "count", count, "events")
    total: xr.DataArray = (value**4 * count).sum(dim, skipna=False) ** 0.25
    total.attrs = {
        "long_name": "vibration dose value of all events",
        "units": "m/s^1.75",
        "citations": BS_6472_DOSE.text,
    }
    return total


@checked(nan=("record",), infinite=("record",))
def running_rms(
    record: xr.DataArray | Recorded,
    *,
    sample_rate: float | None = None,
    kind: str = "linear",
    seconds: float = 1.0,
) -> xr.DataArray:
    """Running rms of a weighted record at every sample.

    Parameters
    ----------
    record : DataArray or Recording
        Weighted record from ``waveform.weighted`` or ``Recording.weighted``; before its start it is
        taken to be at rest.
    sample_rate : float, optional
        Samples per second of a DataArray [Hz].
    kind : str
        ``linear``: over the `seconds` before; ``exponential``: with that time constant.
    seconds : float
        Window or time constant [s].

    Returns
    -------
    xarray.DataArray
        Running rms [unit of the record], dims as the record.

    Raises
    ------
    RatingError
        The record is not weighted.
    RecordingError
        The record is damaged or shorter than a sample of the window.
    ValueError
        An unknown kind or a number that is not above zero.

    References
    ----------
    ISO 2631-1:1997, running rms, both forms.

    Examples
    --------
    >>> record = xr.DataArray(np.full(200, 0.5), dims="time", attrs={"quantity": "acceleration",
    ...                       "units": "m/s²", "frequency_weighting": "Wb"})
    >>> running_rms(record, sample_rate=100.0).isel(time=[24, 99]).values.tolist()
    [0.25, 0.5]
    """
    where = "running_rms"
    signal, sample_rate = signal_of(where, record, sample_rate)
    if "frequency_weighting" not in signal.attrs:
        raise RatingError(f"{where}: the record is not weighted; use waveform.weighted first")
    signal = require_usable(signal, where=where)
    known(where, "kind", kind, ("linear", "exponential"))
    positive(where, "seconds", seconds, "s")
    squares = signal.values**2
    if kind == "linear":
        window = round(seconds * sample_rate)
        if window < 1:
            raise RecordingError(
                f"{where}: seconds is {seconds:g}, less than a sample at the rate of "
                f"{sample_rate:g} Hz"
            )
        total = np.cumsum(squares, axis=-1)
        total[..., window:] -= total[..., :-window].copy()
        # A difference of sums may fall below zero by rounding after a loud event.
        power = np.maximum(total / window, 0.0)
    else:
        from scipy.signal import lfilter

        share = -np.expm1(-1 / (sample_rate * seconds))
        power = lfilter([share], [1.0, share - 1.0], squares, axis=-1)
    found = signal.copy(data=np.sqrt(power))
    found.attrs = {
        **signal.attrs,
        "long_name": f"running rms, {kind}, {seconds:g} s",
    }
    return found


@checked(nan=("record",), infinite=("record",))
def mtvv(
    record: xr.DataArray | Recorded, *, sample_rate: float | None = None, kind: str = "linear"
) -> xr.DataArray:
    """Largest running rms of a weighted acceleration record over 1 s, MTVV.

    Parameters
    ----------
    record : DataArray or Recording
        Weighted acceleration [m/s²], at least 1 s long.
    sample_rate : float, optional
        Samples per second of a DataArray [Hz].
    kind : str
        ``linear`` over 1 s, or ``exponential`` with 1 s. They differ by up to 20 % for events of
        1 s: say which.

    Returns
    -------
    xarray.DataArray
        MTVV [m/s²] without ``time``.

    Raises
    ------
    RatingError
        The record is not a weighted acceleration.
    RecordingError
        The record is damaged or shorter than 1 s.
    ValueError
        An unknown kind.

    References
    ----------
    ISO 2631-1:1997, maximum transient vibration value.

    Examples
    --------
    >>> record = xr.DataArray(np.full(200, 0.5), dims="time", attrs={"quantity": "acceleration",
    ...                       "units": "m/s²", "frequency_weighting": "Wb"})
    >>> mtvv(record, sample_rate=100.0).item()
    0.5
    """
    given, sample_rate = signal_of("mtvv", record, sample_rate)
    signal = require_weighted(given, where="mtvv")
    if signal.sizes["time"] < round(sample_rate):
        raise RecordingError(
            f"mtvv: the record lasts {signal.sizes['time'] / sample_rate:.3g} s; 1 s or more "
            f"is needed"
        )
    running = running_rms(signal, sample_rate=sample_rate, kind=kind)
    return _stamped(running.max("time", skipna=False), signal, f"MTVV, {kind}", "m/s²")


def require_weighted(record: xr.DataArray, *, where: str) -> xr.DataArray:
    """Refuse what is not an acceleration weighted by a W curve.

    Parameters
    ----------
    record : DataArray
        What was handed in.
    where : str
        Who asks.

    Returns
    -------
    xarray.DataArray
        The record, time last.

    Raises
    ------
    RatingError
        Names what the record is.
    """
    record = require_usable(record, where=where)
    curve = record.attrs.get("frequency_weighting", "none")
    if record.attrs["quantity"] != "acceleration" or not curve.startswith("W"):
        raise RatingError(
            f"{where}: the record is {record.attrs['quantity']} with the weighting {curve!r}; an "
            "acceleration weighted by a W curve is needed, see waveform.weighted"
        )
    return record


def _stamped(value: xr.DataArray, record: xr.DataArray, name: str, units: str) -> xr.DataArray:
    citation = BS_6472_DOSE if units == "m/s^1.75" else ISO_2631_1
    value.attrs = {
        "long_name": name,
        "units": units,
        "frequency_weighting": record.attrs["frequency_weighting"],
        "citations": citation.text,
    }
    return value
