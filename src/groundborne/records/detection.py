"""Events in a level history: threshold over a robust background, and why an event was left out.

A passby is told from a knock by how long it lasts. With exponential averaging a knock decays for
seconds (4.3 dB/s with S), so that its length above a threshold depends on its strength; a linear
mean over 1 to 2 s keeps every knock just as long as the window, and is the better history here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RecordingError, finite, not_negative, positive
from groundborne.records.events import Events
from groundborne.records.windows import window_maximum, window_span, window_sum

Array = np.ndarray[Any, Any]

_COLUMNS = {
    "start": {"units": "s", "long_name": "start, from the record's start"},
    "end": {"units": "s", "long_name": "end, from the record's start"},
    "peak": {"units": "s", "long_name": "time of the largest level"},
    "level": {"units": "dB", "long_name": "largest level"},
    "above_background": {"units": "dB", "long_name": "largest level above the background"},
    "equivalent_duration": {
        "units": "s",
        "long_name": "exposure above the background over its largest value",
    },
}


@checked(nan=("history",), infinite=("history",))
def find_events(
    history: xr.DataArray,
    *,
    threshold: float = 6.0,
    absolute: bool = False,
    background: float | None = None,
    window: float | None = None,
    hysteresis: float = 2.0,
    least: float = 3.0,
    most: float = 120.0,
    join: float = 2.0,
    margin: float = 1.0,
) -> Events:
    """Find events where a level history rises above its background.

    Parameters
    ----------
    history : DataArray
        Level [dB] on ``time`` [s], evenly spaced, as from `band_history`.
    threshold : float
        An event must reach this [dB above the background; a level if `absolute`].
    absolute : bool
        Whether `threshold` is a level.
    background : float, optional
        Background level [dB]; by default the median of the history, which stands while events
        fill less than half of it.
    window : float, optional
        Length of the stretches [s] whose medians, joined by straight lines, follow a drifting
        background; by default one median for the whole history.
    hysteresis : float
        An event lasts from where the level rises to where it falls past threshold − hysteresis
        [dB].
    least, most : float
        Shortest and longest event kept [s]: shorter ones are knocks or footsteps. With a linear
        mean of T a single knock lasts T, so `least` must exceed T.
    join : float
        Events less than this apart are one [s].
    margin : float
        Time clear of other events and of the record's ends that a kept event needs on either
        side [s].

    Returns
    -------
    Events
        In order of time; those spoilt by their length, the record's ends or each other with the
        reason.

    Raises
    ------
    RecordingError
        The history is not a level on evenly spaced times, or holds NaN.
    ValueError
        A number out of its range.

    Examples
    --------
    >>> from groundborne.levels import stamp
    >>> t = np.arange(0.0, 60.0, 0.5)
    >>> history = stamp(xr.DataArray(np.where(abs(t - 30) < 4, 80.0, 60.0), coords={"time": t}),
    ...                 quantity="velocity", reference="1 nm/s", long_name="level history")
    >>> found = find_events(history)
    >>> found.table["start"].values.tolist(), found.table["above_background"].values.tolist()
    ([26.0], [20.0])
    """
    where = "find_events"
    time, level = _checked_history(history, where)
    finite(where, "threshold", threshold)
    for name, value in (("hysteresis", hysteresis), ("join", join), ("margin", margin)):
        not_negative(where, name, value, "dB" if name == "hysteresis" else "s")
    positive(where, "least", least, "s")
    if not most > least:
        raise ValueError(f"{where}: most is {most:g} s; it must exceed least, {least:g} s")
    if not absolute:
        positive(where, "threshold", threshold, "dB above the background")
        if hysteresis >= threshold:
            raise ValueError(
                f"{where}: hysteresis is {hysteresis:g} dB and threshold {threshold:g} dB; events "
                "would end below the background. Take less hysteresis"
            )
    floor, said = _background(time, level, background, window)
    enter = np.full_like(level, threshold) if absolute else floor + threshold
    starts, ends = _runs(level > enter - hysteresis)
    # Count of samples above the threshold up to each one: a run without any is no event.
    above = np.concatenate([[0], np.cumsum(level > enter)])
    real = above[ends] > above[starts]
    starts, ends = starts[real], ends[real]
    step = _step(time)
    if starts.size:
        apart = time[starts[1:]] - time[ends[:-1] - 1] - step >= join - 1e-9
        starts = starts[np.concatenate([[True], apart])]
        ends = ends[np.concatenate([apart, [True]])]
    notes = (
        f"events reach {threshold:g} dB" + (", a level" if absolute else f" above {said}"),
        f"they end {hysteresis:g} dB below that and are joined across gaps under {join:g} s",
        f"kept ones last {least:g} to {most:g} s",
    )
    events = _described(time, level, floor, starts, ends, notes)
    lasts = events.table["end"].values - events.table["start"].values
    text = np.char.mod("%.1f s", lasts)
    events = events.left_out(lasts < least - 1e-9, _text("too short (", text, "): knock or step"))
    events = events.left_out(lasts > most + 1e-9, _text("too long (", text, ")"))
    return _placed(events, time, margin)


@checked(nan=("history",), infinite=("history",))
def events_at(
    times: Sequence[tuple[float, float]] | Array,
    *,
    history: xr.DataArray,
    background: float | None = None,
    margin: float = 1.0,
) -> Events:
    """Events whose times the user names.

    Parameters
    ----------
    times : sequence of (start, end)
        Times [s] from the record's start.
    history : DataArray
        Level [dB] on ``time`` [s], as from `band_history`.
    background : float, optional
        Background level [dB]; the median of the history by default.
    margin : float
        As in `find_events`.

    Returns
    -------
    Events
        In order of time; those that overlap each other or leave the record with the reason.

    Raises
    ------
    RecordingError
        The history is not a level on evenly spaced times, or holds NaN.
    ValueError
        Times that are not pairs, or an event that ends before it starts or lies outside.

    Examples
    --------
    >>> from groundborne.levels import stamp
    >>> t = np.arange(0.0, 60.0, 0.5)
    >>> history = stamp(xr.DataArray(np.where(abs(t - 30) < 4, 80.0, 60.0), coords={"time": t}),
    ...                 quantity="velocity", reference="1 nm/s", long_name="level history")
    >>> events_at([(25.0, 36.0)], history=history).table["level"].item()
    80.0
    """
    where = "events_at"
    time, level = _checked_history(history, where)
    not_negative(where, "margin", margin, "s")
    pairs = np.asarray(times, dtype=float)
    if pairs.ndim != 2 or pairs.shape[1] != 2 or not np.isfinite(pairs).all():
        raise ValueError(f"{where}: times must be pairs of start and end [s]; got {times!r}")
    pairs = pairs[np.argsort(pairs[:, 0], kind="stable")]
    step = _step(time)
    first, last = time[0] - step, time[-1]
    bad = (pairs[:, 1] - pairs[:, 0] < step) | (pairs[:, 0] < first) | (pairs[:, 1] > last)
    if bad.any():
        a, b = pairs[int(np.argmax(bad))]
        raise ValueError(
            f"{where}: times hold an event from {a:g} to {b:g} s; it must last at least {step:g} s "
            f"and lie between {first:g} and {last:g} s"
        )
    floor, said = _background(time, level, background, None)
    starts = np.searchsorted(time, pairs[:, 0], side="right")
    ends = np.maximum(np.searchsorted(time, pairs[:, 1] + 1e-9, side="right"), starts + 1)
    starts = np.minimum(starts, time.size - 1)
    notes = (f"times given by the user; the background is {said}",)
    events = _described(time, level, floor, starts, np.minimum(ends, time.size), notes)
    table = events.table.assign(start=("event", pairs[:, 0]), end=("event", pairs[:, 1]))
    for name in ("start", "end"):
        table[name].attrs = events.table[name].attrs
    return _placed(Events(table=table, notes=notes), time, margin)


def _checked_history(history: Any, where: str) -> tuple[Array, Array]:
    if not isinstance(history, xr.DataArray) or history.dims != ("time",):
        has = history.dims if isinstance(history, xr.DataArray) else type(history).__name__
        raise RecordingError(
            f"{where}: the history is {has}; a DataArray on time is needed (see band_history)"
        )
    if history.attrs.get("units") != "dB":
        raise RecordingError(
            f"{where}: the history is in {history.attrs.get('units')!r}; levels in dB are needed"
        )
    if "time" not in history.coords or history.sizes["time"] < 3:
        raise RecordingError(f"{where}: the history needs at least 3 values with times in s")
    if history["time"].dtype.kind not in "fiu":
        raise RecordingError(
            f"{where}: the times of the history are {history['time'].dtype}, such as "
            f"{history['time'].values[0]}; numbers in s from the start of the record are needed"
        )
    time, level = history["time"].values.astype(float), history.values.astype(float)
    steps = np.diff(time)
    if not (steps > 0).all() or np.ptp(steps) > 1e-6 * steps.max() + 1e-9:
        raise RecordingError(f"{where}: the times of the history are not evenly spaced and rising")
    bad = np.isnan(level) | (level == np.inf)
    if bad.any():
        raise RecordingError(
            f"{where}: the level at {time[int(np.argmax(bad))]:g} s is not a number"
        )
    return time, level


def _step(time: Array) -> float:
    return float((time[-1] - time[0]) / (time.size - 1))


def _background(
    time: Array, level: Array, given: float | None, window: float | None
) -> tuple[Array, str]:
    if given is not None:
        if window is not None:
            raise ValueError("find_events: give a background or a window for it, not both")
        value = float(finite("find_events", "background", given))
        return np.full_like(level, value), f"the background given, {value:.1f} dB"
    if window is None:
        middle = np.full_like(level, np.median(level))
        said = f"the median of the history, {middle[0]:.1f} dB"
    else:
        positive("find_events", "window", window, "s")
        size = max(round(window / _step(time)), 1)
        if level.size < size:
            raise ValueError(
                f"find_events: window is {window:g} s; the history lasts "
                f"{level.size * _step(time):g} s"
            )
        # Stretches of nearly the window that cover all of the history; the outer half of the
        # first and last hold their own median.
        stretches = np.array_split(np.arange(level.size), round(level.size / size))
        medians = np.array([np.median(level[s]) for s in stretches])
        centres = np.array([time[s].mean() for s in stretches])
        middle = np.interp(time, centres, medians)
        said = f"medians of {window:g} s, {medians.min():.1f} to {medians.max():.1f} dB"
    if not np.isfinite(middle).all():
        raise RecordingError(
            "find_events: half of the history or of a window holds no energy; a dead channel?"
        )
    return middle, said


def _runs(mask: Array) -> tuple[Array, Array]:
    """First and one past the last index of each run of True."""
    change = np.diff(np.concatenate([[0], mask.astype(np.int8), [0]]))
    return np.flatnonzero(change == 1), np.flatnonzero(change == -1)


def _text(before: str, middle: Array, after: str) -> Array:
    return np.char.add(np.char.add(before, middle), after)


def _described(
    time: Array, level: Array, floor: Array, starts: Array, ends: Array, notes: tuple[str, ...]
) -> Events:
    """Times and levels of events between sample indices; a sample stands for the step before it."""
    step = _step(time)
    top = window_maximum(level, starts, ends)
    peak, _ = window_span(level, top, starts, ends)
    net = np.maximum(10 ** (level / 10) - 10 ** (floor / 10), 0.0)
    largest = window_maximum(net, starts, ends)
    exposure = window_sum(net, starts, ends) * step
    with np.errstate(invalid="ignore"):
        equivalent = np.where(largest > 0, exposure / largest, 0.0)
    values = {
        "start": time[starts] - step,
        "end": time[ends - 1],
        "peak": time[peak],
        "level": top,
        "above_background": top - floor[peak],
        "equivalent_duration": equivalent,
    }
    data = {name: ("event", np.asarray(v, float), _COLUMNS[name]) for name, v in values.items()}
    table = xr.Dataset(data, coords={"event": np.arange(1, starts.size + 1)})
    table["kept"] = ("event", np.ones(starts.size, dtype=bool))
    table["reason"] = ("event", np.full(starts.size, "", dtype="<U1"))
    return Events(table=table, notes=notes)


def _placed(events: Events, time: Array, margin: float) -> Events:
    """Leave out what stands too near the record's ends or another event."""
    start, end = events.table["start"].values, events.table["end"].values
    first, last = time[0] - _step(time), time[-1]
    events = events.left_out(start - margin < first - 1e-9, "too near the record's start")
    events = events.left_out(end + margin > last + 1e-9, "too near the record's end")
    if start.size > 1:
        # Against the latest end of all earlier events, not of the one before only.
        before = np.concatenate([[-np.inf], np.maximum.accumulate(end)[:-1]])
        after = np.concatenate([start[1:], [np.inf]])
        close = (start - before < margin - 1e-9) | (after - end < margin - 1e-9)
        events = events.left_out(close, "overlaps another event")
    return events
