"""From a recording of hours to measured passbys in one call: find, judge, measure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RecordingError, positive
from groundborne.bands import label
from groundborne.records.bank import bank_of
from groundborne.records.detection import find_events
from groundborne.records.events import CREST_LIMIT, Events, judge_events
from groundborne.records.history import band_history
from groundborne.records.recording import Recording
from groundborne.source.passbys.measured import MeasuredPassbys
from groundborne.source.passbys.measuring import measure_passbys
from groundborne.waveform.averaging import Averaging


@checked
@dataclass(frozen=True, kw_only=True)
class DetectionRule:
    """How passbys are found in a recording: one rule for all records of a survey.

    Parameters
    ----------
    low, high : float
        Bands summed to find events [Hz]: those in which trains stand out.
    channels : tuple of str, optional
        Channels added up; all by default.
    averaging : float
        Length of the linear mean [s]; a knock lasts as long.
    threshold, hysteresis : float
        As in `records.find_events` [dB].
    least, most, join, margin : float
        As in `records.find_events` [s]; `least` must exceed `averaging`.
    window : float, optional
        As in `records.find_events` [s].
    full_scale : float, optional
        As in `records.judge_events`.
    crest : float, optional
        As in `records.judge_events`.

    Raises
    ------
    ValueError
        A `least` that single knocks reach.

    Examples
    --------
    >>> DetectionRule(low=31.5, high=80.0, averaging=2.0, least=1.0)
    Traceback (most recent call last):
    ...
    ValueError: DetectionRule: least is 1 s; a knock lasts as long as the mean, 2 s: ask for more
    """

    low: float
    high: float
    channels: tuple[str, ...] | None = None
    averaging: float = 2.0
    threshold: float = 6.0
    hysteresis: float = 2.0
    least: float = 3.0
    most: float = 120.0
    join: float = 2.0
    margin: float = 1.0
    window: float | None = None
    full_scale: float | None = None
    crest: float | None = CREST_LIMIT

    def __post_init__(self) -> None:
        """Check the fields that the finding itself does not."""
        positive("DetectionRule", "averaging", self.averaging, "s")
        positive("DetectionRule", "least", self.least, "s")
        if self.least <= self.averaging:
            raise ValueError(
                f"DetectionRule: least is {self.least:g} s; a knock lasts as long as the mean, "
                f"{self.averaging:g} s: ask for more"
            )

    def find(self, recording: Recording, *, every: float = 0.125) -> Events:
        """Find and judge the events of a recording, in the quantity it was recorded in.

        Parameters
        ----------
        recording : Recording
            Any quantity.
        every : float
            Step of the level history [s].

        Returns
        -------
        Events
            All of them, with those left out and why.

        Raises
        ------
        RecordingError
            The recording carries no such bands or channels, or is too short.
        """
        bank = bank_of(recording, low=self.low, high=self.high)
        square = bank.mean_square(
            recording.signal,
            averaging=Averaging(kind="linear", seconds=self.averaging),
            every=every,
        )
        history = band_history(square, low=self.low, high=self.high, channels=self.channels)
        events = judge_events(
            self._in_history(history),
            recording.signal,
            sample_rate=recording.sample_rate,
            full_scale=self.full_scale,
            crest=self.crest,
        )
        return Events(table=events.table, notes=(self._said, *events.notes))

    def search(self, parts: Iterable[Recording], *, every: float = 0.125) -> Events:
        """Find the events of a record that comes in parts, however long it is.

        Only the level history is kept (a day: some megabytes). The signal itself is not judged:
        read each event with its surroundings as a section of the file, and use :meth:`find` there.

        Parameters
        ----------
        parts : iterable of Recording
            Consecutive parts of one record, as from `stream_wav`.
        every : float
            Step of the level history [s].

        Returns
        -------
        Events
            Left out by duration only; times from the start of the first part.

        Raises
        ------
        RecordingError
            There is no part, a part does not join the one before it, or as in :meth:`find`.
        """
        rest = iter(parts)
        first = next(rest, None)
        if first is None:
            raise RecordingError("DetectionRule.search: there is no part")
        joined = _joined(first, rest)
        pieces = bank_of(first, low=self.low, high=self.high).stream(
            (part.signal for part in joined),
            averaging=Averaging(kind="linear", seconds=self.averaging),
            every=every,
        )
        histories = [
            band_history(piece, low=self.low, high=self.high, channels=self.channels)
            for piece in pieces
        ]
        events = self._in_history(
            xr.concat(histories, dim="time", coords="minimal", compat="override")
        )
        unjudged = "found part by part: crest factor, clipping and drop-outs were not looked at"
        return Events(table=events.table, notes=(self._said, unjudged, *events.notes))

    @property
    def _said(self) -> str:
        where = f"{label(self.low)} to {label(self.high)} Hz"
        return f"found in {where}, linear mean over {self.averaging:g} s"

    def _in_history(self, history: xr.DataArray) -> Events:
        return find_events(
            history,
            threshold=self.threshold,
            hysteresis=self.hysteresis,
            least=self.least,
            most=self.most,
            join=self.join,
            margin=self.margin,
            window=self.window,
        )


def _joined(first: Recording, rest: Iterator[Recording]) -> Iterator[Recording]:
    """Parts one after the other, each held against the one before."""
    before = first
    yield first
    for number, part in enumerate(rest, start=2):
        where = f"DetectionRule.search: {part.file or 'recording'}, part {number}"
        if part.sample_rate != before.sample_rate or part.channels != before.channels:
            raise RecordingError(
                f"{where}: {part.sample_rate:g} Hz, channels {', '.join(part.channels)}; the part "
                f"before "
                f"has {before.sample_rate:g} Hz, channels {', '.join(before.channels)}"
            )
        late = part.first_time - (before.first_time + before.duration)
        if part.start is not None and before.start is not None:
            # The clock of the recorder also joins files that each begin at 0 s.
            late = float((part.start - before.start) / np.timedelta64(1, "ns")) * 1e-9
            late -= before.duration
        if abs(late) > 0.5 / part.sample_rate:
            raise RecordingError(
                f"{where}: it begins {late:+.6g} s from the end of the part before; parts must "
                "follow each other without a gap"
            )
        before = part
        yield part


@checked
def extract_passbys(
    recording: Recording,
    *,
    rule: DetectionRule,
    low: float,
    high: float,
    about: Mapping[str, Sequence[Any]] | None = None,
    **choices: Any,
) -> MeasuredPassbys:
    """Find, judge and measure the passbys of a recording.

    Parameters
    ----------
    recording : Recording
        Velocity or acceleration; the work takes about five times its size in memory. For longer
        ones see :meth:`DetectionRule.search`.
    rule : DetectionRule
        How passbys are found.
    low, high : float
        First and last band measured [Hz].
    about : mapping of str to sequence, optional
        As in `measure_passbys`: one entry for each event found, kept or not; run
        ``rule.find`` first to see them.
    **choices
        Further arguments of `measure_passbys`.

    Returns
    -------
    MeasuredPassbys
        Levels as measured, and all events.

    Raises
    ------
    RecordingError
        No passby is left to measure; the message holds the reasons.
    ValueError
        A number out of its range.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> t = np.arange(90 * 512) / 512
    >>> burst = 1e-4 * np.sin(2 * np.pi * 50 * t) * (abs(t - 45) < 5)
    >>> hum = 1e-6 * np.random.default_rng(1).standard_normal(t.size)
    >>> signal = xr.DataArray((burst + hum)[None], dims=("channel", "time"),
    ...                       coords={"channel": ["z"]},
    ...                       attrs={"quantity": "velocity", "units": "m/s"})
    >>> recording = Recording(signal=signal, sample_rate=512.0, start=None, file="", notes=())
    >>> rule = DetectionRule(low=31.5, high=80.0)
    >>> measured = extract_passbys(recording, rule=rule, low=25.0, high=100.0)
    >>> passbys = measured.to_passbys(upper_limits="keep")
    >>> round(passbys.level.sel(frequency=50.0).item()), passbys.level["upper_limit"].sum().item()
    (97, 0)
    """
    events = rule.find(recording)
    return measure_passbys(recording, events, low=low, high=high, about=about, **choices)
