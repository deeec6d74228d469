"""The vibration ratings of the same events side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RatingError, known
from groundborne.rating.kb import kb_running
from groundborne.rating.ns8176 import VELOCITY_FACTOR
from groundborne.rating.vibration import ESTIMATED_DOSE, running_rms
from groundborne.rating.vibration_curves import class_reached
from groundborne.records.events import Events, spans_of
from groundborne.records.windows import window_maximum, window_sum
from groundborne.waveform.filtering import weighted
from groundborne.waveform.record import Recorded, require_usable, signal_of
from groundborne.weighting import KB_BANDS

Array = np.ndarray[Any, Any]
_UNITS = {
    "a_w": ("m/s²", "weighted rms acceleration over the event"),
    "vdv": ("m/s^1.75", "vibration dose value"),
    "evdv": ("m/s^1.75", "estimated dose value, 1.4 a_w T^0.25"),
    "mtvv": ("m/s²", "largest running rms, linear, 1 s"),
    "mtvv_exponential": ("m/s²", "largest running rms, exponential, 1 s"),
    "crest_factor": ("1", "weighted peak over weighted rms"),
    "kb_fmax": ("1", "KB_Fmax, uncertain by about 15 %"),
    "v_w_max": ("m/s", "largest Wm-weighted velocity, S"),
    "v_peak": ("m/s", "largest velocity within the band limits"),
}


@checked(nan=("record",), infinite=("record",))
def event_ratings(
    record: xr.DataArray | Recorded,
    events: Events | Sequence[tuple[float, float]] | Array,
    *,
    sample_rate: float | None = None,
    curves: Mapping[str, str] | str,
    band: str = "1-80 Hz",
    spectra: xr.DataArray | None = None,
) -> xr.Dataset:
    """Rate the events of one record by every method at once.

    The whole record is weighted once and then cut, so that filters have settled when an event
    starts. Running values within an event remember what came up to a second before it.

    Parameters
    ----------
    record : DataArray or Recording
        Velocity [m/s] or acceleration [m/s²] record, dims (channel, time) or (time).
    events : Events, sequence of pairs, or array
        Of events those that are kept; of pairs start and end of each [s from the start of the
        record], shape (event, 2).
    sample_rate : float, optional
        Samples per second of a DataArray [Hz].
    curves : str or mapping
        W curve of each channel by its name, or one for all: ``Wb`` vertical, ``Wd`` horizontal for
        BS 6472-1.
    band : str
        Working range of KB and v_peak, ``1-80 Hz`` or ``4-315 Hz``.
    spectra : DataArray, optional
        Velocity band levels of the events [dB], dims (event, channel, frequency), from a filter
        bank; the VC class is added when they are given.

    Returns
    -------
    xarray.Dataset
        Dims (event, channel): ``a_w``, ``vdv``, ``evdv``, ``mtvv``, ``mtvv_exponential``,
        ``crest_factor``, ``kb_fmax``, ``v_w_max``, ``v_peak``, each with its unit; ``vc_class``;
        ``start`` and ``end`` [s] on ``event``. Of Events ``event`` holds their numbers, and the
        attribute ``left_out`` one sentence for each that was not kept.

    Raises
    ------
    RecordingError
        A record that is damaged or too slow; an event outside it or shorter than two samples.
    RatingError
        An event at rest throughout: it has no crest factor; spectra of other events.
    ValueError
        An unknown curve, a channel without one, or a wrong shape.

    Notes
    -----
    ``to_dataframe()`` of the result is the table.

    Examples
    --------
    >>> t = np.arange(20480) / 1024
    >>> burst = np.where((t > 8) & (t < 12), 1e-3 * np.sin(2 * np.pi * 25 * t), 0.0)
    >>> record = xr.DataArray(burst, dims="time", attrs={"quantity": "velocity", "units": "m/s"})
    >>> found = event_ratings(record, [(7.0, 13.0)], sample_rate=1024.0, curves="Wb")
    >>> found["kb_fmax"].round(2).item(), round(found["v_peak"].item() * 1e3, 1)
    (0.7, 1.0)
    """
    where = "event_ratings"
    known(where, "band", band, KB_BANDS)
    given, sample_rate = signal_of(where, record, sample_rate)
    signal = require_usable(given, where=where)
    numbers, spans = spans_of(where, events, sample_rate=sample_rate, samples=signal.sizes["time"])
    names = _curve_of(signal, curves, where)
    people = _by_curve(signal, sample_rate, names)
    squares = people**2
    bounds = spans.T
    lasts = (bounds[1] - bounds[0]) / sample_rate

    def largest(values: xr.DataArray) -> Array:
        return window_maximum(values.values, *bounds)

    mean = window_sum(squares.values, *bounds) / (lasts * sample_rate)
    if not (mean > 0).all():
        bad = int(np.argwhere(~(mean > 0))[0][-1])
        raise RatingError(f"{where}: event {numbers[bad]} holds nothing but zeros in a channel")
    a_w = np.sqrt(mean)
    exponential = running_rms(people, sample_rate=sample_rate, kind="exponential")
    limits = weighted(
        signal, sample_rate=sample_rate, curve=KB_BANDS[band].replace("KB", "velocity")
    )
    sway = running_rms(
        weighted(signal, sample_rate=sample_rate, curve="Wm"),
        sample_rate=sample_rate,
        kind="exponential",
    )
    values = {
        "a_w": a_w,
        "vdv": (window_sum(squares.values**2, *bounds) / sample_rate) ** 0.25,
        "evdv": ESTIMATED_DOSE * a_w * lasts**0.25,
        "mtvv": largest(running_rms(people, sample_rate=sample_rate)),
        "mtvv_exponential": largest(exponential),
        "crest_factor": largest(abs(people)) / a_w,
        "kb_fmax": largest(kb_running(signal, sample_rate=sample_rate, band=band)),
        "v_w_max": VELOCITY_FACTOR * largest(sway),
        "v_peak": largest(abs(limits)),
    }
    dims = (*signal.dims[:-1], "event")
    labels = {"event": numbers} if isinstance(events, Events) else {}
    found = xr.Dataset(
        {
            name: (dims, value, {"units": _UNITS[name][0], "long_name": _UNITS[name][1]})
            for name, value in values.items()
        },
        coords={
            **{n: c for n, c in signal.coords.items() if "time" not in c.dims},
            **labels,
            "start": ("event", spans[:, 0] / sample_rate, {"units": "s"}),
            "end": ("event", spans[:, 1] / sample_rate, {"units": "s"}),
        },
    ).transpose("event", ...)
    found.attrs = {"band": band}
    if isinstance(events, Events):
        found.attrs["left_out"] = "; ".join(events.log())
    for name in ("a_w", "vdv", "evdv", "mtvv", "mtvv_exponential", "crest_factor"):
        found[name].attrs["frequency_weighting"] = ", ".join(dict.fromkeys(names))
    return found if spectra is None else _with_class(found, spectra, where)


@checked
def record_ratings(
    records: Sequence[xr.DataArray | Recorded],
    *,
    sample_rate: float | None = None,
    curves: Mapping[str, str] | str,
    band: str = "1-80 Hz",
) -> xr.Dataset:
    """Rate records that each hold one event, by every method at once.

    Parameters
    ----------
    records : sequence of DataArray or Recording
        As for ``event_ratings``, with the same channels; each counts over its whole length, from
        rest.
    sample_rate : float, optional
        Samples per second of all DataArrays [Hz].
    curves, band
        As for ``event_ratings``.

    Returns
    -------
    xarray.Dataset
        As from ``event_ratings``, one event a record.

    Raises
    ------
    RecordingError, RatingError, ValueError
        As for ``event_ratings``; no record at all.

    Examples
    --------
    >>> noise = np.random.default_rng(1).normal(size=(2, 4096))
    >>> pair = [xr.DataArray(n, dims="time", attrs={"quantity": "acceleration", "units": "m/s²"})
    ...         for n in noise]
    >>> record_ratings(pair, sample_rate=1024.0, curves="Wk")["vdv"].dims
    ('event',)
    """
    if not len(records):
        raise ValueError("record_ratings: there is no record; at least one is needed")
    # Records differ in length, so they are rated one after the other.
    rated = []
    for record in records:
        signal, its_rate = signal_of("record_ratings", record, sample_rate)
        whole = (0.0, require_usable(signal, where="record_ratings").sizes["time"] / its_rate)
        rated.append(event_ratings(signal, [whole], sample_rate=its_rate, curves=curves, band=band))
    return xr.concat(rated, dim="event", join="exact", combine_attrs="override")


def _curve_of(record: xr.DataArray, curves: Mapping[str, str] | str, where: str) -> list[str]:
    if "channel" not in record.dims:
        channels = [""]
    else:
        channels = [str(name) for name in record["channel"].values]
    if isinstance(curves, str):
        names = [curves] * len(channels)
    else:
        lacking = [name for name in channels if name not in curves]
        if lacking:
            raise ValueError(
                f"{where}: channel {lacking[0]!r} has no curve; curves name {[*curves]}"
            )
        names = [curves[name] for name in channels]
    for name in names:
        known(where, "curves", name, ("Wb", "Wc", "Wd", "Wk", "Wm"))
    return names


def _by_curve(record: xr.DataArray, sample_rate: float, names: list[str]) -> xr.DataArray:
    """Record weighted channel by channel, those of one curve together."""
    if len(set(names)) == 1:
        return weighted(record, sample_rate=sample_rate, curve=names[0])
    out = np.empty(record.shape)
    for curve in dict.fromkeys(names):
        rows = [i for i, name in enumerate(names) if name == curve]
        found = weighted(record.isel(channel=rows), sample_rate=sample_rate, curve=curve)
        out[rows] = found.values
    found = record.copy(data=out)
    found.attrs = {
        "quantity": "acceleration",
        "units": "m/s²",
        "frequency_weighting": ", ".join(dict.fromkeys(names)),
    }
    return found


def _with_class(found: xr.Dataset, spectra: xr.DataArray, where: str) -> xr.Dataset:
    if spectra.sizes.get("event") != found.sizes["event"]:
        raise RatingError(
            f"{where}: the spectra have {spectra.sizes.get('event', 'no')} events; "
            f"{found.sizes['event']} are rated"
        )
    if "event" in found.coords and "event" in spectra.coords:
        ours, theirs = found["event"].values, spectra["event"].values
        if not np.array_equal(ours, theirs):
            raise RatingError(
                f"{where}: the spectra are of the events {theirs.tolist()}; rated are "
                f"{ours.tolist()}"
            )
    rated = class_reached(spectra)
    found = found.assign(vc_class=rated["reached"])
    found["vc_class"].attrs = {"long_name": "strictest curve met", **rated.attrs}
    return found
