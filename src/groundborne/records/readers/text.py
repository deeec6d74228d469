"""Recordings in CSV and other text files, plain or gzip."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pandas as pd

from groundborne._arguments import checked
from groundborne._checks import RecordingError, positive
from groundborne.records.channel import UNITS, Channel, unit_name
from groundborne.records.checks.faults import inspected
from groundborne.records.readers.clock import Clock, clock_of, onto_uniform_clock
from groundborne.records.readers.text_lines import Lines, read_lines
from groundborne.records.recording import Recording, assemble

TIME_KINDS = {"s": 1.0, "ms": 1e-3, "timestamp": 0.0}
"""What a time column may hold: seconds, milliseconds, or date and time."""


@checked
def read_text_recording(
    path: str | FilePath,
    *,
    channels: Mapping[str, Channel],
    time_column: str | None = None,
    time_kind: str = "s",
    time_format: str = "ISO8601",
    time_zone: str | None = None,
    sample_rate: float | None = None,
    start: np.datetime64 | None = None,
    delimiter: str = ",",
    decimal: str = ".",
    units_row: bool = False,
    columns: Sequence[str] | None = None,
    skip_lines: int = 0,
    select: Mapping[str, str] | None = None,
    ignore_columns: Sequence[str] = (),
    uniform_clock: bool = False,
    longest_gap: int = 1,
    encoding: str = "utf-8",
) -> Recording:
    r"""Read a text recording.

    Parameters
    ----------
    path : str or Path
        File, plain or gzip. Lines before the header are kept as notes.
    channels : mapping of str to Channel
        What to read, by column. Every unit is given; it is compared with a units row and with a
        unit in brackets at the end of a column name.
    time_column : str, optional
        Column of times; without one, ``sample_rate`` is needed.
    time_kind : str
        ``s``, ``ms`` or ``timestamp``.
    time_format : str
        Format of timestamps, as of :func:`pandas.to_datetime`.
    time_zone : str, optional
        Zone of timestamps that carry none, for example ``UTC``; without it they give the rate, but
        not the start.
    sample_rate : float, optional
        Samples a second [Hz]. With a time column the two must agree.
    start : numpy.datetime64, optional
        First sample in UTC, where the file does not say it.
    delimiter : str
        ``","``, ``";"``, tab, or ``" "`` for runs of blanks.
    decimal : str
        ``"."`` or ``","``.
    units_row : bool
        Whether the row below the header holds units.
    columns : sequence of str, optional
        Names of all columns of a file without header.
    skip_lines : int
        Lines to pass over first.
    select : mapping of str to str, optional
        Keep the rows whose column holds a value, for example ``{"segment": "007"}``.
    ignore_columns : sequence of str
        Columns to leave out knowingly; any other that is not named is refused.
    uniform_clock : bool
        Whether doubled samples may be dropped and missing ones bridged by straight lines; without
        it a file that has any is refused.
    longest_gap : int
        Most missing samples in a row that may be bridged.
    encoding : str
        Of the text.

    Returns
    -------
    Recording
        SI units; what was noticed stands in its notes.

    Raises
    ------
    RecordingError
        The file, a row, a column, a unit or the time column is not as it should be; each is named.

    Warns
    -----
    RecordingWarning
        Clipping, standstills, a doubtful sensitivity, a wandering clock, or a mended one.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "invented.txt"
    >>> _ = file.write_text("logger 7\nt;vz\ns;mm/s\n" + "".join(
    ...     f"{i / 100};{(-1) ** i * 0.25}\n".replace(".", ",") for i in range(64)))
    >>> z = Channel(name="z", unit="mm/s", quantity="velocity", axis="z")
    >>> read = read_text_recording(file, channels={"vz": z}, time_column="t", delimiter=";",
    ...                            decimal=",", units_row=True)
    >>> read.sample_rate, float(read.signal[0, 0]), read.notes
    (100.0, 0.00025, ('invented.txt: file head: logger 7',))
    """
    name = FilePath(path).name
    chosen = dict(channels)
    for channel in chosen.values():
        _require_plain(name, channel)
    if time_kind not in TIME_KINDS:
        raise RecordingError(
            f"{name}: time_kind is {time_kind!r}; known are {', '.join(map(repr, TIME_KINDS))}"
        )
    if time_column is None and sample_rate is None:
        raise RecordingError(f"{name}: a time column or a rate is needed")
    if sample_rate is not None:
        positive(name, "sample_rate", sample_rate, "Hz")
    picked = dict(select or {})
    timed = [time_column] if time_column is not None else []
    lines = read_lines(
        path,
        needed=[*timed, *chosen, *picked],
        columns=columns,
        skip_lines=skip_lines,
        delimiter=delimiter,
        decimal=decimal,
        units_row=units_row,
        encoding=encoding,
    )
    for column in lines.header:
        if column not in (*timed, *chosen, *picked, *ignore_columns):
            raise RecordingError(
                f"{name}: the column {column!r} is not named; give it as a channel or put it into "
                "ignore_columns"
            )
    for column, channel in chosen.items():
        _require_units(lines, column, channel)
    if time_column is not None and units_row:
        _require_time_unit(lines, time_column, time_kind)
    frame = _selected(lines, lines.frame(), picked)
    kept = list(chosen.values())
    values = np.stack([lines.numbers(frame, c) * chosen[c].factor for c in chosen])
    notes = tuple(f"{name}: file head: {line.strip()}" for line in lines.head if line.strip())
    warned: tuple[str, ...] = ()
    first_time = 0.0
    if time_column is None:
        assert sample_rate is not None
        found = float(sample_rate)
    else:
        times, stamped = _times(lines, frame, time_column, time_kind, time_format, time_zone)
        clock = clock_of(times, file=name, sample_rate=sample_rate)
        found, first_time, warned = clock.sample_rate, clock.first_time, clock.notes
        if time_kind == "timestamp":
            first_time = 0.0
            if start is not None and stamped is not None:
                raise RecordingError(f"{name}: the timestamps say the start; drop start")
            start = start if stamped is None else stamped
            if stamped is None:
                notes += (f"{name}: the timestamps carry no time zone; the start is left out",)
        if not clock.uniform:
            values, mended = _uniform(values, clock, name, uniform_clock, longest_gap)
            warned = (*warned, mended)
    recording = assemble(
        values, kept, sample_rate=found, file=name, start=start, first_time=first_time, notes=notes
    )
    return inspected(recording.noted(*warned, warn=True))


def _require_plain(name: str, channel: Channel) -> None:
    if channel.full_scale is not None or channel.sensitivity is not None:
        raise RecordingError(
            f"{name}, channel {channel.name!r}: a text file holds units; drop full_scale and "
            "sensitivity"
        )


def _require_units(lines: Lines, column: str, channel: Channel) -> None:
    if lines.units:
        stated = lines.units[lines.column(column)]
        channel.require_unit(lines.file, f"column {column!r}, units row", stated)
    bracketed = re.search(r"[\[(]([^\[\]()]+)[\])]\s*$", column)
    if bracketed and unit_name(bracketed.group(1)) in UNITS:
        channel.require_unit(lines.file, f"column {column!r}", bracketed.group(1))


def _require_time_unit(lines: Lines, column: str, kind: str) -> None:
    stated = lines.units[lines.column(column)].strip("[]() ").lower()
    allowed = {"s": ("s", "sec", "seconds"), "ms": ("ms", "msec", "milliseconds")}
    if kind in allowed and stated not in allowed[kind]:
        raise RecordingError(
            f"{lines.file}, column {column!r}, units row: the file says {stated!r}, time_kind is "
            f"{kind!r}"
        )


def _selected(lines: Lines, frame: pd.DataFrame, picked: Mapping[str, str]) -> pd.DataFrame:
    keep = np.ones(len(frame), dtype=bool)
    for column, wanted in picked.items():
        keep &= (frame[lines.column(column)].str.strip() == wanted).to_numpy(dtype=bool)
    if not keep.any():
        wants = " and ".join(f"{column} = {wanted!r}" for column, wanted in picked.items())
        raise RecordingError(f"{lines.file}: no row has {wants}")
    rows = np.flatnonzero(keep)
    if rows[-1] - rows[0] + 1 != rows.size:
        at = int(rows[np.argmax(np.diff(rows) > 1)])
        raise RecordingError(
            f"{lines.file}: the rows selected are interrupted after row {lines.first + at}"
        )
    return frame[keep] if picked else frame


def _times(
    lines: Lines,
    frame: pd.DataFrame,
    column: str,
    kind: str,
    time_format: str,
    time_zone: str | None,
) -> tuple[np.ndarray[Any, Any], np.datetime64 | None]:
    """Seconds of every row, and the first time in UTC if the timestamps tell it."""
    if kind != "timestamp":
        return lines.numbers(frame, column) * TIME_KINDS[kind], None
    cells = frame[lines.column(column)].str.strip().str.strip('"')
    if lines.decimal == ",":
        cells = cells.str.replace(",", ".", regex=False)
    zone = "UTC" if time_zone is None else time_zone
    try:
        stamps = pd.to_datetime(cells, format=time_format, errors="raise")
        if not isinstance(stamps.dtype, (np.dtype, pd.DatetimeTZDtype)) or stamps.isna().any():
            raise ValueError("an empty cell, or zones that differ")
        naive = stamps.dt.tz is None
        aware = stamps.dt.tz_localize(zone) if naive else stamps.dt.tz_convert("UTC")
        moments = aware.dt.tz_convert("UTC").dt.tz_localize(None).to_numpy()
        nanoseconds = moments.astype("datetime64[ns]").astype(np.int64)
    except (ValueError, TypeError, AttributeError, KeyError, OverflowError) as error:
        why = " ".join(str(error).split())[:200]
        raise RecordingError(
            f"{lines.file}, column {column!r}: the timestamps cannot be read ({why})"
        ) from None
    first = None if naive and time_zone is None else np.datetime64(int(nanoseconds[0]), "ns")
    return (nanoseconds - nanoseconds[0]) * 1e-9, first


def _uniform(
    values: np.ndarray[Any, Any], clock: Clock, name: str, asked: bool, longest_gap: int
) -> tuple[np.ndarray[Any, Any], str]:
    if not asked:
        raise RecordingError(
            f"{'; '.join(clock.notes)}; say uniform_clock=True to drop the doubled and bridge the "
            "missing ones, or cut the file there"
        )
    return onto_uniform_clock(values, clock, file=name, longest_gap=longest_gap)
