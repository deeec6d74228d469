"""The clock of a recording: its rate from a time column, and what is wrong with the column."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from groundborne._checks import RecordingError, positive

_OFF_GRID = 0.3
"""A step this far from a whole number of periods is a clock jump, not jitter of its print."""

_LEAST_DIGITS = 3
"""Digits of the print that a step must hold for its rounding to be told from a lost sample."""

_LISTED = 8


@dataclass(frozen=True, kw_only=True, eq=False)
class Clock:
    """A time column laid on a uniform grid.

    Parameters
    ----------
    sample_rate : float
        Samples a second, by least squares over the whole column [Hz].
    slot : numpy array of int
        Place of every row on the uniform grid, from 0; equal for doubled samples.
    doubled : numpy array of float
        Times given twice [s].
    missing : numpy array of float
        Times on the grid without a row [s].
    first_time : float
        Time of the first row [s].
    notes : tuple of str
        Sentences about it; empty for a uniform column.
    """

    sample_rate: float
    slot: np.ndarray[Any, Any]
    doubled: np.ndarray[Any, Any]
    missing: np.ndarray[Any, Any]
    first_time: float
    notes: tuple[str, ...]

    @property
    def uniform(self) -> bool:
        """Whether every row has the next place of the grid."""
        return self.doubled.size == 0 and self.missing.size == 0


def clock_of(times: np.ndarray[Any, Any], *, file: str, sample_rate: float | None = None) -> Clock:
    """Estimate the rate of a time column, and name what is doubled and missing.

    Parameters
    ----------
    times : numpy array
        Time of every row [s].
    file : str
        Name for messages.
    sample_rate : float, optional
        Stated rate [Hz]; it must agree with the column within what its print resolves.

    Returns
    -------
    Clock
        Rate, places on the grid, doubled and missing samples.

    Raises
    ------
    RecordingError
        Fewer than three rows, times that are not finite, run backwards, jump by a part of a period,
        are printed too coarsely to tell a lost sample from rounding, or contradict the stated rate.

    Notes
    -----
    The usual step is the median difference. Every step is rounded to whole periods, so that the
    rounding of the print does not add up; a straight line through time against place gives the
    rate. It is taken as a whole number of hertz if the residuals leave that open.

    Examples
    --------
    >>> times = np.array([0.0, 0.008, 0.016, 0.016, 0.032, 0.04])
    >>> clock = clock_of(times, file="invented.csv")
    >>> clock.sample_rate, clock.doubled.tolist(), clock.missing.round(3).tolist()
    (125.0, [0.016], [0.024])
    """
    t = np.asarray(times, dtype=float)
    if t.ndim != 1 or t.size < 3:
        raise RecordingError(f"{file}: {t.size} times; at least three are needed to tell the rate")
    if not np.isfinite(t).all():
        at = int(np.argmax(~np.isfinite(t)))
        raise RecordingError(f"{file}: time {at + 1} is {t[at]}; every time must be finite")
    if sample_rate is not None:
        positive(file, "sample_rate", sample_rate, "Hz")
    steps = np.diff(t)
    usual = float(np.median(steps))
    if not steps.max() > 0 or usual < 0:
        raise RecordingError(f"{file}: the time column does not rise")
    if usual == 0 or not np.isfinite(usual):
        raise RecordingError(
            f"{file}: most times repeat (first {t[0]:g} s): they are printed too coarsely to tell "
            "samples apart; leave the time column out and give the rate"
        )
    if (steps < 0).any():
        at = int(np.argmax(steps < 0))
        raise RecordingError(
            f"{file}: clock jump: time runs back from {t[at]:.6g} to {t[at + 1]:.6g} s"
        )
    # The median of a rounded print may be off by half a digit: mean of the steps near it is not.
    near = np.abs(steps - usual) < 0.5 * usual
    period = float(steps[near].mean()) if sample_rate is None else 1 / float(sample_rate)
    digit = _last_digit(t)
    coarse = digit > period / _LEAST_DIGITS and bool((np.abs(steps - usual) > digit / 2).any())
    if coarse and sample_rate is None:
        at = int(np.argmax(np.abs(steps - usual) > digit / 2))
        raise RecordingError(
            f"{file}: the times are printed to {digit:g} s, too coarsely to tell a missing or "
            f"doubled sample from rounding (near {t[at]:.6g} s); give the rate as well, or leave "
            "the time column out"
        )
    whole = np.rint(steps / period)
    if whole.max() > 1e9:
        at = int(np.argmax(whole))
        raise RecordingError(f"{file}: clock jump: {steps[at]:g} s after {t[at]:.6g} s")
    off = np.abs(steps / period - whole)
    # Over a long gap the estimate of the period itself adds up.
    jumps = (off > _OFF_GRID) & (whole < 100)
    if jumps.any():
        at = int(np.argmax(jumps))
        raise RecordingError(
            f"{file}: clock jump: {t[at]:.6g} s is followed by {t[at + 1]:.6g} s, "
            f"{steps[at] / period:.2f} of the usual step of {period:.6g} s; {int(jumps.sum())} "
            "such steps; cut the file there"
        )
    slot = np.concatenate([[0], np.cumsum(whole)]).astype(np.int64)
    slope, offset = np.polyfit(slot - slot.mean(), t, 1)
    residual = t - (offset + slope * (slot - slot.mean()))
    spread = float(np.abs(residual).max())
    found = _settled(1 / float(slope), spread, float(t[-1] - t[0]))
    notes: list[str] = []
    if sample_rate is not None:
        allowed = max(2 * spread / float(t[-1] - t[0]), 1e-6)
        if abs(found / sample_rate - 1) > allowed:
            raise RecordingError(
                f"{file}: the rate is given as {sample_rate:g} Hz, the time column runs at "
                f"{found:.7g} Hz"
            )
        found = float(sample_rate)
    if spread > 0.5 * period:
        at = int(np.argmax(np.abs(residual)))
        notes.append(
            f"{file}: the clock wanders: near {t[at]:.6g} s it is {spread:.3g} s away from a "
            f"steady {found:.6g} Hz"
        )
    doubled = t[1:][whole == 0]
    absent = np.setdiff1d(np.arange(slot[-1] + 1), slot) if slot[-1] < 50 * t.size else None
    if absent is None:
        at = int(np.argmax(steps))
        raise RecordingError(
            f"{file}: gap of {steps[at]:g} s after {t[at]:.6g} s; cut the file there"
        )
    before = np.searchsorted(slot, absent, side="right") - 1
    missing = t[before] + (absent - slot[before]) / found
    if doubled.size:
        notes.append(f"{file}: {doubled.size} doubled samples, at {_seconds(doubled)}")
    if missing.size:
        runs = np.split(missing, np.flatnonzero(np.diff(absent) > 1) + 1)
        gaps = [run for run in runs if run.size > 1]
        notes.append(f"{file}: {missing.size} missing samples, at {_seconds(missing)}")
        if gaps:
            listed = "; ".join(f"{run.size} samples from {run[0]:.6g} s" for run in gaps[:_LISTED])
            notes.append(f"{file}: {len(gaps)} of these are gaps: {listed}")
    return Clock(
        sample_rate=found,
        slot=slot,
        doubled=doubled,
        missing=missing,
        first_time=float(t[0]),
        notes=tuple(notes),
    )


def snapped(sample_rate: float, relative: float) -> float:
    """Whole number of hertz if it lies within a share of the rate, else the rate itself.

    Parameters
    ----------
    sample_rate : float
        Found [Hz].
    relative : float
        How far off it may be, as a share.

    Returns
    -------
    float
        Rate [Hz].

    Examples
    --------
    >>> snapped(2047.999, 2e-6), snapped(99.4315, 2e-6)
    (2048.0, 99.4315)
    """
    whole = float(np.rint(sample_rate))
    return whole if whole > 0 and abs(sample_rate / whole - 1) <= relative else sample_rate


def _last_digit(times: np.ndarray[Any, Any]) -> float:
    """Coarsest power of ten [s] that holds every time, down to 1 ns."""
    sample = times - times[0]
    for exponent in range(10):
        scaled = sample * 10.0**exponent
        if np.abs(scaled - np.rint(scaled)).max() < 1e-4:
            return float(10.0**-exponent)
    return 0.0


def _settled(sample_rate: float, spread: float, duration: float) -> float:
    return snapped(sample_rate, min(2 * spread / duration, 1e-4) + 1e-9)


def _seconds(times: Iterable[float]) -> str:
    listed = [f"{float(time):.6g}" for time in times]
    shown = ", ".join(listed[:_LISTED])
    more = f" and {len(listed) - _LISTED} more up to {listed[-1]}" if len(listed) > _LISTED else ""
    return f"{shown} s{more}" if not more else f"{shown}{more} s"


def onto_uniform_clock(
    values: np.ndarray[Any, Any], clock: Clock, *, file: str, longest_gap: int
) -> tuple[np.ndarray[Any, Any], str]:
    """Put rows on the uniform grid: doubled ones once, missing ones by straight lines.

    Parameters
    ----------
    values : numpy array
        Shape (channel, row).
    clock : Clock
        Of the same rows.
    file : str
        Name for messages.
    longest_gap : int
        Most missing samples in a row that may be bridged.

    Returns
    -------
    values : numpy array
        Shape (channel, time), one value for each place of the grid.
    note : str
        What was done.

    Raises
    ------
    RecordingError
        Doubled samples differ, or a gap is longer.

    Examples
    --------
    >>> clock = clock_of(np.array([0.0, 0.008, 0.016, 0.032]), file="invented.csv")
    >>> onto_uniform_clock(np.array([[0.0, 1.0, 2.0, 6.0]]), clock, file="i.csv", longest_gap=1)[0]
    array([[0., 1., 2., 4., 6.]])
    """
    again = np.flatnonzero(np.diff(clock.slot) == 0) + 1
    differ = (values[:, again] != values[:, again - 1]).any(axis=0)
    if differ.any():
        at = int(again[np.argmax(differ)])
        raise RecordingError(
            f"{file}: the time {clock.first_time + clock.slot[at] / clock.sample_rate:.6g} s "
            f"is given "
            "twice with different values; it cannot be told which holds"
        )
    longest = int(np.diff(clock.slot).max()) - 1
    if longest > longest_gap:
        at = int(np.argmax(np.diff(clock.slot)))
        raise RecordingError(
            f"{file}: gap of {longest} samples after "
            f"{clock.first_time + clock.slot[at] / clock.sample_rate:.6g} s; at most "
            f"{longest_gap} may be "
            "bridged; cut the file there"
        )
    kept = np.concatenate([[True], np.diff(clock.slot) > 0])
    grid = np.arange(clock.slot[-1] + 1)
    place = np.searchsorted(clock.slot[kept], grid, side="right") - 1
    nodes, held = clock.slot[kept], values[:, kept]
    after = np.minimum(place + 1, nodes.size - 1)
    width = np.maximum(nodes[after] - nodes[place], 1)
    share = (grid - nodes[place]) / width
    result = held[:, place] * (1 - share) + held[:, after] * share
    note = (
        f"{file}: put on a uniform clock of {clock.sample_rate:.7g} Hz as asked: "
        f"{again.size} doubled "
        f"samples dropped, {clock.missing.size} missing ones bridged by straight lines"
    )
    return result, note
