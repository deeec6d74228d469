"""What each passby of a recording measures: band levels, durations, background, upper limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne import weighting
from groundborne._arguments import checked
from groundborne._checks import RecordingError, known, not_negative, positive
from groundborne.bands import edges, label, select
from groundborne.citation import Citation
from groundborne.levels import decibel, energy, stamp
from groundborne.records.bank import bank_of
from groundborne.records.events import Events, crest_factor
from groundborne.records.recording import Recording
from groundborne.records.windows import window_maximum, window_span, window_sum
from groundborne.source.passbys.background import BACKGROUND
from groundborne.source.passbys.measured import MeasuredPassbys
from groundborne.waveform.filterbank.bank import ThirdOctaveBank
from groundborne.waveform.filterbank.design import LOWEST_RATE
from groundborne.waveform.integration import integrate

Array = np.ndarray[Any, Any]

WINDOWS = Citation(
    key="din45672-2-windows",
    author="DIN 45672-2",
    title="Vibration measurement near railways, evaluation",
    locator="T1 4 s around the maximum, T2 passage above a quarter of the maxima, T3 whole event",
    mark="seen second-hand",
    status="transcribed",
)
QUARTER = 12.04
"""A quarter of the maximum [dB]; T2 lasts from the first to the last time within it."""

_FINER = 8
"""Readings of the S and F averages within a step."""
_ABOUT = {"train_type": "", "track": "", "speed_kmh": "km/h"}


@checked
def measure_passbys(
    recording: Recording,
    events: Events,
    *,
    low: float,
    high: float,
    bank: ThirdOctaveBank | None = None,
    about: Mapping[str, Sequence[Any]] | None = None,
    t1: float = 4.0,
    background: float = 10.0,
    clear: float = 5.0,
    every: float = 0.125,
    prefix: str = "P",
) -> MeasuredPassbys:
    """Measure the kept events of a recording.

    Parameters
    ----------
    recording : Recording
        Velocity, or acceleration, which is integrated from half the lowest band edge up; or sound
        pressure in rooms.
    events : Events
        Events in the recording; those left out are not measured, but kept clear of.
    low, high : float
        First and last band [Hz].
    bank : ThirdOctaveBank, optional
        Filters; by default those of the recording's rate from `low` to `high`.
    about : mapping of str to sequence, optional
        ``train_type``, ``track``, ``speed_kmh``: one entry for each event, kept or not.
    t1 : float
        Length of T1 around the maximum [s].
    background : float
        Length of the stretches before and after each event whose energy mean is its background
        [s]; the nearest time clear of all events, perhaps in pieces. Half of it must be there.
    clear : float
        Distance of these stretches from any event [s]. It lets the S weighting die away, 4.3 dB/s.
    every : float
        Step of the level histories [s].
    prefix : str
        Names of passbys are this and the number of the event.

    Returns
    -------
    MeasuredPassbys
        Levels as measured; see its `corrected`.

    Raises
    ------
    RecordingError
        No event is left to measure; another quantity.
    ValueError
        A number out of its range, or `about` of another length than the events.

    Notes
    -----
    T2 lasts from the first to the last time the F-weighted sum of the bands over all channels lies
    within a quarter of its maximum (12 dB), T3 is the event as found, T1 stands around the maximum
    of the F-weighted sum. Maxima are sought from the start to 1 s after the end of the event.

    References
    ----------
    DIN 45672-2 [seen second-hand] for T1, T2 and T3; reading "the usual maxima" of T2 as the
    F-weighted maximum of the passby itself is ours.

    Examples
    --------
    >>> from groundborne.records import band_history, events_at
    >>> t = np.arange(60 * 512) / 512
    >>> burst = 1e-4 * np.sin(2 * np.pi * 50 * t) * (abs(t - 30) < 5)
    >>> hum = 1e-7 * np.random.default_rng(1).standard_normal(t.size)
    >>> signal = xr.DataArray((burst + hum)[None], dims=("channel", "time"),
    ...                       coords={"channel": ["z"]},
    ...                       attrs={"quantity": "velocity", "units": "m/s"})
    >>> recording = Recording(signal=signal, sample_rate=512.0, start=None, file="", notes=())
    >>> square = ThirdOctaveBank(sample_rate=512.0, low=25.0, high=100.0).mean_square(signal)
    >>> events = events_at([(25.0, 35.0)], history=band_history(square))
    >>> measured = measure_passbys(recording, events, low=25.0, high=100.0)
    >>> round(measured.data["leq_t2"].sel(frequency=50.0).item())
    97
    """
    where = "measure_passbys"
    for name, value in (("t1", t1), ("background", background), ("every", every)):
        positive(where, name, value, "s")
    not_negative(where, "clear", clear, "s")
    signal, quantity = _signal(recording, low, where)
    sample_rate = recording.sample_rate
    if bank is not None and bank.sample_rate != sample_rate:
        raise RecordingError(
            f"{where}: {recording.file or 'the recording'} has {sample_rate:g} Hz, the bank is for "
            f"{bank.sample_rate:g} Hz"
        )
    bank = bank or bank_of(recording, low=low, high=high)
    linear, slow, fast = _histories(bank, signal, low, high, every)
    steps = linear.sizes["time"]
    first = round(float(linear["time"][0]) / every) - 1

    def index(times: Any) -> Array:
        """Step that begins at a time."""
        return np.floor(np.asarray(times, float) / every + 1e-6).astype(int) - first

    weight = energy(weighting.a(linear["frequency"]))
    overall = fast.sum(("channel", "frequency")).values
    begin, end = index(events.table["start"]), index(events.table["end"])
    end = np.clip(end, 1, steps)
    begin = np.clip(begin, 0, end - 1)
    heard = np.minimum(end + round(1.0 / every), steps)
    peak, _ = window_span(overall, window_maximum(overall, begin, heard), begin, heard)
    half = max(round(t1 / every / 2), 1)
    centre = peak + 1  # a value stands at the end of its step
    events = events.left_out(
        (centre < half) | (centre + half > steps),
        f"the {t1:g} s around its maximum leave the record",
    )
    quiet = _quiet(events, linear["time"].values, every, clear)
    wanted = max(round(background / every), 1)
    before, after = np.searchsorted(quiet, begin), np.searchsorted(quiet, end)
    short = (before < wanted / 2, quiet.size - after < wanted / 2)
    for bad, side in zip(short, ("before", "after"), strict=True):
        events = events.left_out(bad, f"no {background / 2:g} s of background {side} it")
    kept = np.flatnonzero(events.table["kept"].values)
    if kept.size == 0:
        raise RecordingError(
            f"{where}: {recording.file or 'the recording'}: no event is left to measure; "
            + ("; ".join(events.log()) or "none was found")
        )
    begin, end, heard, centre = begin[kept], end[kept], heard[kept], centre[kept]
    before, after = before[kept], after[kept]
    least = window_maximum(overall, begin, heard) * 10 ** (-QUARTER / 10)
    from_, to = window_span(overall, least, begin, heard)
    spans = {"t1": (centre - half, centre + half), "t2": (from_, to + 1), "t3": (begin, end)}
    sides = {
        "before": (np.maximum(before - wanted, 0), before),
        "after": (after, np.minimum(after + wanted, quiet.size)),
    }
    dims, found = ("channel", "frequency", "passby"), {}
    for name, span in spans.items():
        found[f"leq_{name}"] = window_sum(linear.values, *span) / (span[1] - span[0])
    found["exposure"] = found["leq_t3"] * (end - begin) * every
    found["s_max"] = window_maximum(slow.values, begin, heard)
    found["f_max"] = window_maximum(fast.values, begin, heard)
    heaviest = xr.dot(slow, weight, dim="frequency").values
    when, _ = window_span(heaviest, window_maximum(heaviest, begin, heard), begin, heard)
    found["at_maximum"] = np.take_along_axis(slow.values, when[:, None, :], axis=-1)
    still = {n: a.values[..., quiet] for n, a in (("l", linear), ("s", slow), ("f", fast))}
    sums = {side: window_sum(still["l"], *span) for side, span in sides.items()}
    counts = {side: span[1] - span[0] for side, span in sides.items()}
    for side in sides:
        found[f"background_{side}"] = sums[side] / counts[side]
    found["background"] = sum(sums.values()) / sum(counts.values())
    for name in ("s", "f"):
        found[f"background_{name}_max"] = np.maximum(
            *(window_maximum(still[name], *span) for span in sides.values())
        )
    data = xr.Dataset(
        {
            name: _level(xr.DataArray(values, dims=dims), name, quantity)
            for name, values in found.items()
        },
        coords={
            **{n: linear[n] for n in linear.coords if "time" not in linear[n].dims},
            "passby": np.char.add(prefix, np.char.mod("%03d", events.table["event"].values[kept])),
        },
    ).transpose("passby", "channel", "frequency", ...)
    data = data.assign(_broad_band(signal, quantity, events.table.isel(event=kept), sample_rate))
    for name, span in spans.items():
        data[name] = ("passby", (span[1] - span[0]) * every, {"units": "s"})
    for name in ("start", "end"):
        data[name] = ("passby", events.table[name].values[kept], {"units": "s"})
    data = data.assign_coords(_known_of(about or {}, events, kept, where))
    data.attrs["citations"] = f"{WINDOWS.text}; {BACKGROUND.text}"
    notes = (
        *recording.notes,
        *events.notes,
        f"one-third-octave bands {label(low)} to {label(high)} Hz, {quantity}",
        f"T1 is {t1:g} s around the maximum, T2 lies within a quarter of it, T3 is the event",
        f"background: {background:g} s before and after, {clear:g} s clear of any event",
    )
    return MeasuredPassbys(data=data, events=events, file=recording.file, notes=notes)


_REFERENCES = {"velocity": ("1 nm/s", 1e-9, "m/s"), "sound pressure": ("20 µPa", 20e-6, "Pa")}
"""Reference of levels, its value, and the unit of peaks."""


def _signal(recording: Recording, low: float, where: str) -> tuple[xr.DataArray, str]:
    """The record whose levels are measured, and its quantity."""
    signal: xr.DataArray = recording.signal
    quantity = str(signal.attrs.get("quantity"))
    if quantity in _REFERENCES:
        return signal, quantity
    if quantity != "acceleration":
        raise RecordingError(
            f"{where}: the recording is of {quantity}; velocity, acceleration or sound pressure"
        )
    low_cut = float(edges(low)[0]) / 2
    return integrate(signal, sample_rate=recording.sample_rate, low_cut=low_cut), "velocity"


def _histories(
    bank: ThirdOctaveBank, record: xr.DataArray, low: float, high: float, every: float
) -> list[xr.DataArray]:
    """Linear mean squares, and S and F maxima of each step, on the times they share."""
    # No finer than the slowest stage of the bank can tell.
    finer = max(1, min(_FINER, int(every * min(bank.sample_rate, LOWEST_RATE))))
    made = [
        select(bank.mean_square(record, averaging="linear", every=every), low, high),
        *(
            select(bank.step_maximum(record, averaging=a, every=every, finer=finer), low, high)
            for a in ("S", "F")
        ),
    ]
    start = max(float(a["time"][0]) for a in made) - every / 2
    stop = min(float(a["time"][-1]) for a in made) + every / 2
    return [a.sel(time=slice(start, stop)).transpose("channel", "frequency", "time") for a in made]


def _quiet(events: Events, time: Array, every: float, clear: float) -> Array:
    """Indices of the steps that keep clear of every event."""
    start, end = events.table["start"].values - clear, events.table["end"].values + clear
    # +1 where an event's surroundings begin, -1 where they end: the running sum counts them.
    opened = np.searchsorted(np.sort(start), time, side="left")
    closed = np.searchsorted(np.sort(end), time - every, side="right")
    return np.flatnonzero(opened == closed)


def _level(square: xr.DataArray, name: str, quantity: str) -> xr.DataArray:
    reference, value, _ = _REFERENCES[quantity]
    level = decibel(square / value**2)
    if not np.isfinite(level.values).all():
        raise RecordingError(
            f"measure_passbys: {name} holds a band without any energy; a dead channel?"
        )
    return stamp(
        level,
        quantity=quantity,
        reference=reference,
        long_name=f"{quantity} level, {name.replace('_', ' ')}",
    )


def _broad_band(
    record: xr.DataArray, quantity: str, table: xr.Dataset, sample_rate: float
) -> dict[str, Any]:
    """Peak and crest factor of the whole record's band within each event."""
    signal, dims = record.values, ("passby", "channel")
    starts = np.clip(
        np.round(table["start"].values * sample_rate).astype(int), 0, signal.shape[-1] - 1
    )
    ends = np.clip(
        np.round(table["end"].values * sample_rate).astype(int), starts + 1, signal.shape[-1]
    )
    return {
        "peak": (
            dims,
            window_maximum(np.abs(signal), starts, ends).T,
            {"units": _REFERENCES[quantity][2]},
        ),
        "crest_factor": (dims, crest_factor(signal, starts, ends).T, {"units": "1"}),
    }


def _known_of(
    about: Mapping[str, Sequence[Any]], events: Events, kept: Array, where: str
) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, values in about.items():
        known(where, "about", name, _ABOUT)
        if len(values) != len(events):
            raise ValueError(
                f"{where}: about[{name!r}] has {len(values)} entries for {len(events)} events"
            )
        column = np.asarray(values)[kept]
        if name == "speed_kmh":
            column = np.asarray(positive(where, name, column.astype(float), "km/h"))
        else:
            column = column.astype(str)
        found[name] = ("passby", column, {"units": _ABOUT[name]} if _ABOUT[name] else {})
    return found
