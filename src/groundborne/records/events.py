"""Events of a recording: when, how loud, kept or left out and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RecordingError, not_negative, positive
from groundborne.records.windows import window_maximum, window_sum

Array = np.ndarray[Any, Any]

CREST_LIMIT = 9.0
"""Peak over rms of the event above which it is an impulse, not a train [-]. Passbys stand at 4 to
5 (common practice); 9 is where human-vibration standards stop trusting the rms value. Ours."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Events:
    """Events found in a history or named by the user, with those left out and why.

    Parameters
    ----------
    table : Dataset
        Dim ``event``: ``start``, ``end``, ``peak`` [s from the record's start], ``level`` [dB],
        ``above_background`` [dB], ``equivalent_duration`` [s], ``kept`` (bool) and ``reason``
        (text, empty for a kept event).
    notes : tuple of str
        How they were found.
    """

    table: xr.Dataset
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        """Count all events, kept or not."""
        return int(self.table.sizes["event"])

    def only_kept(self) -> Events:
        """Events that were kept."""
        return Events(table=self.table.isel(event=self.table["kept"].values), notes=self.notes)

    def log(self) -> tuple[str, ...]:
        """One sentence for each event that was left out."""
        out = self.table.isel(event=~self.table["kept"].values)
        names, starts = out["event"].values.tolist(), out["start"].values.tolist()
        ends, reasons = out["end"].values.tolist(), out["reason"].values.tolist()
        return tuple(
            f"event {n}, {a:.1f} to {b:.1f} s, left out: {why}"
            for n, a, b, why in zip(names, starts, ends, reasons, strict=True)
        )

    def widened(self, seconds: float) -> Events:
        """The same events, each begun earlier and ended later, as ratings over time want them.

        Parameters
        ----------
        seconds : float
            On either side [s], 0 or more; events may then overlap.
        """
        not_negative("Events.widened", "seconds", seconds, "s")
        start, end = self.table["start"], self.table["end"]
        table = self.table.assign(
            start=(start - seconds).assign_attrs(start.attrs),
            end=(end + seconds).assign_attrs(end.attrs),
        )
        return Events(table=table, notes=(*self.notes, f"widened by {seconds:g} s on either side"))

    def left_out(self, bad: Array, reason: str | Array) -> Events:
        """Leave further events out.

        Parameters
        ----------
        bad : array of bool
            Which, one for each event.
        reason : str or array of str
            Why; added to what is there.

        Returns
        -------
        Events
            A copy.
        """
        bad = np.asarray(bad, dtype=bool)
        old = self.table["reason"].values.astype(object)
        said = np.broadcast_to(np.asarray(reason, dtype=object), old.shape)
        joined = np.where(old == "", said, old + "; " + said)
        table = self.table.assign(
            kept=("event", self.table["kept"].values & ~bad),
            reason=("event", np.where(bad, joined, old).astype(str)),
        )
        return Events(table=table, notes=self.notes)


@checked(nan=("record",), infinite=("record",))
def judge_events(
    events: Events,
    record: xr.DataArray,
    *,
    sample_rate: float,
    full_scale: float | None = None,
    clipped: int = 3,
    drop_out: float = 0.1,
    crest: float | None = CREST_LIMIT,
) -> Events:
    """Leave out events that the record itself shows to be spoilt.

    Parameters
    ----------
    events : Events
        Events in the record.
    record : DataArray
        Time record, dims (channel, time) or (time).
    sample_rate : float
        Samples per second [Hz].
    full_scale : float, optional
        Largest value the logger can write; values at or beyond it are clipped. Without it a run of
        samples at the record's own largest or smallest value is.
    clipped : int
        Samples in a row at the extreme that make a clip, at least 2.
    drop_out : float
        Time [s] for which equal samples, or samples that are not finite, make a drop-out.
    crest : float, optional
        Largest peak over rms of a train within the event, above the channel's median [-]; None
        lets any pass.

    Returns
    -------
    Events
        With what is spoilt left out; the reason names the channel.

    Raises
    ------
    RecordingError
        The record is too short for the events, or has no time.
    ValueError
        A number out of its range.

    Examples
    --------
    >>> table = xr.Dataset({"start": ("event", [1.0]), "end": ("event", [3.0]),
    ...                     "kept": ("event", [True]), "reason": ("event", [""])},
    ...                    coords={"event": [1]})
    >>> record = xr.DataArray(np.sin(np.arange(400.0)), dims="time")
    >>> record[150:180] = 0.0
    >>> judge_events(Events(table=table), record, sample_rate=100.0).log()
    ('event 1, 1.0 to 3.0 s, left out: drop-out (channel 1)',)
    """
    where = "judge_events"
    positive(where, "sample_rate", sample_rate, "Hz")
    positive(where, "drop_out", drop_out, "s")
    if "time" not in record.dims or not set(record.dims) <= {"channel", "time"}:
        raise RecordingError(f"{where}: the dims are {record.dims}; (channel, time) is needed")
    if clipped < 2:
        raise ValueError(f"{where}: clipped is {clipped}; at least 2 samples in a row are needed")
    signal = record.transpose(..., "time").values.reshape(-1, record.sizes["time"])
    names = record["channel"].values.astype(str) if "channel" in record.coords else None
    if names is None:
        names = np.arange(1, signal.shape[0] + 1).astype(str)
    starts = np.round(events.table["start"].values * sample_rate).astype(int)
    ends = np.round(events.table["end"].values * sample_rate).astype(int)
    if (ends > signal.shape[-1] + 1).any():
        at = int(np.argmax(ends > signal.shape[-1] + 1))
        raise RecordingError(
            f"{where}: event {events.table['event'].values[at]} ends at "
            f"{events.table['end'].values[at]:g} s; the record lasts "
            f"{signal.shape[-1] / sample_rate:g} s"
        )
    starts = np.clip(starts, 0, signal.shape[-1] - 1)
    ends = np.clip(ends, starts + 1, signal.shape[-1])
    finite = np.isfinite(signal)
    known = np.where(finite, signal, 0.0)
    same = np.concatenate([np.zeros((signal.shape[0], 1), bool), np.diff(known) == 0], axis=-1)
    still = _held(same | ~finite, max(round(drop_out * sample_rate) - 1, 1)) | ~finite
    events = _name(events, window_maximum(still, starts, ends), names, "drop-out")
    if full_scale is None:
        top, bottom = known.max(axis=-1, keepdims=True), known.min(axis=-1, keepdims=True)
        extreme = ((known == top) | (known == bottom)) & (top > bottom)
    else:
        positive(where, "full_scale", full_scale, "in the units of the record")
        extreme = np.abs(known) >= full_scale
    clip = _held(extreme, clipped) & ~still
    events = _name(events, window_maximum(clip, starts, ends), names, "clipped")
    if crest is not None:
        positive(where, "crest", crest, "")
        factor = crest_factor(known, starts, ends)
        largest = np.char.mod("%.1f", factor.max(axis=0)) if factor.size else np.array([], str)
        said = np.char.add(np.char.add("crest factor ", largest), ", an impulse")
        events = _name(events, factor > crest, names, said)
    return events


def spans_of(
    where: str,
    events: Events | Sequence[tuple[float, float]] | Array,
    *,
    sample_rate: float,
    samples: int,
) -> tuple[Array, Array]:
    """Names of events, and the samples of a record each begins with and ends before.

    Parameters
    ----------
    where : str
        Who asks; it starts the sentence.
    events : Events, sequence of pairs, or array
        Of events those that are kept; of pairs start and end [s], shape (event, 2).
    sample_rate : float
        Samples per second [Hz].
    samples : int
        How many the record holds.

    Returns
    -------
    numpy array, numpy array
        Numbers of the events, of pairs their place; first sample and the one after the last, shape
        (event, 2).

    Raises
    ------
    RecordingError
        No event is kept; one is outside the record or shorter than two samples.
    ValueError
        No pairs, or a time that is not a number.

    Examples
    --------
    >>> spans_of("example", [(1.0, 2.5)], sample_rate=100.0, samples=300)[1].tolist()
    [[100, 250]]
    """
    if isinstance(events, Events):
        kept = events.only_kept().table
        names = kept["event"].values
        pairs = np.stack([kept["start"].values, kept["end"].values], axis=1).astype(float)
        if not names.size:
            why = "; ".join(events.log()) or "none was found"
            raise RecordingError(f"{where}: no event is kept: {why}")
    else:
        pairs = np.asarray(events, dtype=float)
        if pairs.ndim != 2 or pairs.shape[1] != 2 or not len(pairs):
            raise ValueError(f"{where}: events have the shape {pairs.shape}; (event, 2) is needed")
        names = np.arange(len(pairs))
    if not np.isfinite(pairs).all():
        raise ValueError(f"{where}: a start or end of an event is not a number")
    spans = np.round(pairs * sample_rate).astype(int)
    bad = (spans[:, 0] < 0) | (spans[:, 1] > samples) | (spans[:, 1] - spans[:, 0] < 2)
    if bad.any():
        i = int(np.argmax(bad))
        raise RecordingError(
            f"{where}: event {names[i]} reaches from {pairs[i, 0]:g} to {pairs[i, 1]:g} s; it must "
            f"lie within 0 to {samples / sample_rate:g} s and last two samples or more"
        )
    return names, spans


def crest_factor(signal: Array, starts: Array, ends: Array) -> Array:
    """Peak over rms [-] in each window, both about the median of the whole channel."""
    centred = signal - np.median(signal, axis=-1, keepdims=True)
    rms = np.sqrt(window_sum(np.square(centred), starts, ends) / (ends - starts))
    peak = window_maximum(np.abs(centred), starts, ends)
    factor: Array = np.divide(peak, rms, out=np.ones_like(peak), where=rms > 0)
    return factor


def _held(mask: Array, count: int) -> Array:
    """Where the last `count` values along the last axis were all True."""
    total = np.cumsum(mask, axis=-1, dtype=np.int64)
    before = np.concatenate([np.zeros_like(total[..., :count]), total[..., :-count]], axis=-1)
    held: Array = (total - before[..., : total.shape[-1]]) == count
    return held


def _name(events: Events, bad: Array, names: Array, reason: Any) -> Events:
    """Leave events out for which any channel is bad, naming the first such channel."""
    if not bad.size:
        return events
    channel = names[np.argmax(bad, axis=0)]
    said = np.char.add(np.char.add(np.char.add(reason, " (channel "), channel), ")")
    return events.left_out(np.asarray(bad.any(axis=0)), said)
