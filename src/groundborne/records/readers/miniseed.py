"""Recordings in miniSEED files, read with the package pymseed of the extra ``io``."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import RecordingError
from groundborne.files import require_plain
from groundborne.records.channel import Channel
from groundborne.records.checks.faults import inspected
from groundborne.records.recording import Recording, assemble

_OFF_GRID = 0.05
_Piece = tuple[int, float, np.ndarray[Any, Any]]
"""First sample [ns], rate [Hz], samples."""


@checked
def read_miniseed(
    path: str | FilePath, *, channels: Mapping[str, Channel], segment: int | None = None
) -> Recording:
    """Read a miniSEED file.

    Parameters
    ----------
    path : str or Path
        MiniSEED file, version 2 or 3.
    channels : mapping of str to Channel
        By source identifier, for example ``FDSN:XX_ROOM__H_H_Z``, or any unambiguous end of it;
        what is not named is left out. Each needs ``sensitivity``: counts per unit.
    segment : int, optional
        Where a file has gaps: which of the stretches without gap to read, from 0. Without it a file
        with gaps is refused, and the message lists the stretches.

    Returns
    -------
    Recording
        SI units, with the time of the first sample in UTC.

    Raises
    ------
    ImportError
        The package pymseed is not installed.
    RecordingError
        The file is missing or damaged, a channel is unknown or without sensitivity, rates or
        sampling instants differ, there is a gap, or the stretch asked for does not exist.

    Warns
    -----
    RecordingWarning
        Clipping, standstills, or a doubtful sensitivity.

    Notes
    -----
    Only the sensitivity is divided out: the instrument response is not, so the flat range of the
    sensor is all that holds.

    Examples
    --------
    >>> z = Channel(name="z", unit="m/s", quantity="velocity", sensitivity=4e8)
    >>> read_miniseed("none.mseed", channels={"HHZ": z})
    Traceback (most recent call last):
    ...
    groundborne._checks.RecordingError: none.mseed: there is no such file
    """
    file = require_plain(path, error=RecordingError, wanted="a MiniSEED file")
    for channel in channels.values():
        if channel.sensitivity is None or channel.full_scale is not None:
            raise RecordingError(
                f"{file.name}, channel {channel.name!r}: sensitivity is needed (counts per "
                f"{channel.unit}), and no full_scale"
            )
    pieces = _pieces(file)
    chosen = [_named(file.name, key, pieces) for key in channels]
    rates = {sample_rate for name in chosen for _, sample_rate, _ in pieces[name]}
    if len(rates) != 1:
        listed = ", ".join(f"{sample_rate:g}" for sample_rate in sorted(rates))
        raise RecordingError(f"{file.name}: several rates: {listed} Hz; read them one by one")
    sample_rate = rates.pop()
    stretches = _stretches(file.name, [pieces[name] for name in chosen], sample_rate)
    if segment is None and len(stretches) > 1:
        listed = "; ".join(
            f"{i}: {_utc(begin)} to {_utc(end)}" for i, (begin, end) in enumerate(stretches[:8])
        )
        more = f" and {len(stretches) - 8} more" if len(stretches) > 8 else ""
        raise RecordingError(
            f"{file.name}: {len(stretches) - 1} gaps; say which segment to read: {listed}{more}"
        )
    index = 0 if segment is None else segment
    if not 0 <= index < len(stretches):
        raise RecordingError(
            f"{file.name}: segment is {segment!r}; there are segments 0 to {len(stretches) - 1}"
        )
    begin, end = stretches[index]
    kept = list(channels.values())
    rows = [
        _cut(pieces[name], begin, end, sample_rate) / (channel.sensitivity or 1.0) * channel.factor
        for name, channel in zip(chosen, kept, strict=True)
    ]
    notes: tuple[str, ...] = ()
    if len(stretches) > 1:
        notes = (f"{file.name}: segment {index} of {len(stretches)}, the file has gaps",)
    recording = assemble(
        np.stack(rows),
        kept,
        sample_rate=sample_rate,
        file=file.name,
        start=np.datetime64(begin, "ns"),
        notes=notes,
    )
    return inspected(recording)


def _pieces(file: FilePath) -> dict[str, list[_Piece]]:
    """Stretches of every channel of the file, in time."""
    try:
        from pymseed import MS3TraceList
    except ImportError:
        raise ImportError("miniSEED files need pymseed: pip install groundborne[io]") from None
    found: dict[str, list[_Piece]] = {}
    try:
        traces = MS3TraceList.from_file(str(file), unpack_data=True)
        for trace in traces:
            for piece in trace:
                samples = np.array(piece.np_datasamples)
                if samples.dtype.kind not in "if":
                    raise RecordingError(f"{file.name}, {trace.sourceid}: text, not samples")
                sample_rate = float(piece.samprate)
                found.setdefault(str(trace.sourceid), []).append(
                    (int(piece.starttime), sample_rate, samples.astype(float))
                )
    except RecordingError:
        raise
    except Exception as error:  # the package has errors of several kinds for damaged files
        why = " ".join(str(error).split())[:200] or type(error).__name__
        raise RecordingError(f"{file.name}: cannot be read as miniSEED ({why})") from None
    if not any(samples.size for parts in found.values() for _, _, samples in parts):
        raise RecordingError(f"{file.name}: there is no sample")
    for name, parts in found.items():
        for begin, sample_rate, samples in parts:
            if not (np.isfinite(sample_rate) and sample_rate > 0) or samples.size == 0:
                raise RecordingError(
                    f"{file.name}, {name}: rate {sample_rate:g} Hz at {_utc(begin)}"
                )
            if not _FIRST_NS < begin < _LAST_NS:
                raise RecordingError(f"{file.name}, {name}: a start time that cannot be")
        parts.sort(key=lambda part: part[0])
    return found


_FIRST_NS = int(np.datetime64("1900-01-01", "ns").astype(np.int64))
_LAST_NS = int(np.datetime64("2200-01-01", "ns").astype(np.int64))


def _named(file: str, key: str, pieces: Mapping[str, Any]) -> str:
    ends = [name for name in pieces if name == key] or [
        name for name in pieces if name.replace("_", "").endswith(key.replace("_", ""))
    ]
    if len(ends) != 1:
        raise RecordingError(
            f"{file}: the channel {key!r} {'is not there' if not ends else 'is ambiguous'}; the "
            f"file holds {', '.join(repr(name) for name in pieces)}"
        )
    return ends[0]


def _stretches(
    file: str, channels: list[list[_Piece]], sample_rate: float
) -> list[tuple[int, int]]:
    """First and last sample [ns] of every stretch that all channels have without gap."""
    each = [
        [
            (begin, begin + round((samples.size - 1) / sample_rate * 1e9))
            for begin, _, samples in parts
        ]
        for parts in channels
    ]
    common = each[0]
    for own in each[1:]:
        met = [(x, y) for x in common for y in own if min(x[1], y[1]) > max(x[0], y[0])]
        for x, y in met:
            places = (x[0] - y[0]) * 1e-9 * sample_rate
            off = abs(places - round(places))
            if off > _OFF_GRID:
                raise RecordingError(
                    f"{file}: the channels are sampled at different instants, {off:.2f} of a "
                    f"period apart from {_utc(max(x[0], y[0]))}"
                )
        common = sorted((max(x[0], y[0]), min(x[1], y[1])) for x, y in met)
    if not common:
        raise RecordingError(f"{file}: the channels have no time in common")
    return common


def _cut(parts: list[_Piece], begin: int, end: int, sample_rate: float) -> np.ndarray[Any, Any]:
    for first, _, samples in parts:
        skip = round((begin - first) * 1e-9 * sample_rate)
        count = round((end - begin) * 1e-9 * sample_rate) + 1
        if skip >= 0 and skip + count <= samples.size:
            return samples[skip : skip + count]
    raise AssertionError("a common stretch lies inside a piece of every channel")


def _utc(nanoseconds: int) -> str:
    return f"{np.datetime64(nanoseconds, 'ns').astype('datetime64[ms]')}Z"
