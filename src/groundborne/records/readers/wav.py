"""Recordings in WAV files: RIFF and RF64, PCM of 16, 24 and 32 bits, float of 32 and 64 bits."""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import RecordingError, positive
from groundborne.files import require_plain
from groundborne.records.channel import Channel
from groundborne.records.checks.faults import inspected
from groundborne.records.recording import Recording, assemble, require_start

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
# The last fourteen bytes of a sub-format identifier are the same for every wave format.
_SUBFORMAT_TAIL = bytes.fromhex("000000001000800000aa00389b71")
_WITHIN_DS64 = 0xFFFFFFFF


@dataclass(frozen=True, kw_only=True)
class _Format:
    code: int
    channels: int
    sample_rate: int
    bits: int

    @property
    def frame(self) -> int:
        return self.channels * self.bits // 8


@checked
def read_wav(
    path: str | FilePath,
    *,
    channels: Sequence[Channel | None],
    start: np.datetime64 | None = None,
    section: tuple[float, float] | None = None,
) -> Recording:
    """Read a WAV file, or a section of it.

    Parameters
    ----------
    path : str or Path
        RIFF or RF64 file, plain or WAVE_FORMAT_EXTENSIBLE; PCM of 16, 24 or 32 bits, float of 32 or
        64 bits.
    channels : sequence of Channel or None
        One entry for each track of the file, in order; None leaves a track out. Each needs
        ``full_scale``: the value in its unit that stands at full scale (for float files, at 1.0).
    start : numpy.datetime64, optional
        First sample of the file in UTC.
    section : pair of float, optional
        From and to [s of the file]; the rest is not read.

    Returns
    -------
    Recording
        SI units, ``first_time`` where the section begins; what was suspicious stands in its notes.

    Raises
    ------
    RecordingError
        The file is missing, damaged, cut off or of another format; the tracks do not match
        ``channels``; a full scale is missing; a sample is not finite; a channel is dead.

    Warns
    -----
    RecordingWarning
        Clipping, standstills, or a doubtful sensitivity.

    Examples
    --------
    >>> import pathlib, tempfile, wave
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "invented.wav"
    >>> with wave.open(str(file), "wb") as out:
    ...     out.setparams((1, 2, 500, 0, "NONE", ""))
    ...     out.writeframes(np.arange(-200, 200, dtype="<i2").tobytes())
    >>> z = Channel(name="z", unit="m/s²", quantity="acceleration", full_scale=32.768)
    >>> read = read_wav(file, channels=[z])
    >>> read.sample_rate, round(float(read.signal[0, 0]), 6)
    (500.0, -0.2)
    """
    tracks = _Tracks.of(path, channels)
    first, count = (0, tracks.count) if section is None else tracks.within(section)
    recording = tracks.part(first, count, start=start)
    return inspected(recording, full_scale=tracks.full_scale)


@checked
def stream_wav(
    path: str | FilePath,
    *,
    channels: Sequence[Channel | None],
    seconds: float = 60.0,
    start: np.datetime64 | None = None,
) -> Iterator[Recording]:
    """Read a WAV file part by part, for files longer than memory.

    Parameters
    ----------
    path, channels, start
        As for :func:`read_wav`.
    seconds : float
        Length of a part [s], above 0.

    Yields
    ------
    Recording
        Consecutive parts with the time of the file. Samples that are not finite are refused; what
        only a whole record tells (clipping, standstills, sensitivity) is not looked for.

    Raises
    ------
    RecordingError
        As for :func:`read_wav`.

    Examples
    --------
    >>> import pathlib, tempfile, wave
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "invented.wav"
    >>> with wave.open(str(file), "wb") as out:
    ...     out.setparams((1, 2, 500, 0, "NONE", ""))
    ...     out.writeframes(np.arange(-600, 600, dtype="<i2").tobytes())
    >>> z = Channel(name="z", unit="m/s²", quantity="acceleration", full_scale=32.768)
    >>> [(part.first_time, part.samples) for part in stream_wav(file, channels=[z], seconds=1.0)]
    [(0.0, 500), (1.0, 500), (2.0, 200)]
    """
    positive("stream_wav", "seconds", seconds, "s")
    tracks = _Tracks.of(path, channels)
    size = max(round(seconds * tracks.format.sample_rate), 1)
    for first in range(0, tracks.count, size):
        yield tracks.part(first, min(size, tracks.count - first), start=start)


@dataclass(frozen=True, kw_only=True)
class _Tracks:
    """A WAV file with the channels its tracks are."""

    file: FilePath
    format: _Format
    offset: int
    count: int
    kept: tuple[Channel, ...]
    index: tuple[int, ...]

    @classmethod
    def of(cls, path: str | FilePath, channels: Sequence[Channel | None]) -> _Tracks:
        file = FilePath(path)
        name = file.name
        with _opened(file) as stream:
            format_, offset, length = _chunks(stream, file.stat().st_size, name)
        if len(channels) != format_.channels:
            raise RecordingError(
                f"{name}: the file has {format_.channels} tracks, channels has {len(channels)} "
                "entries; write None for a track to leave out"
            )
        kept = [channel for channel in channels if channel is not None]
        for channel in kept:
            _require_scale(name, channel)
        return cls(
            file=file,
            format=format_,
            offset=offset,
            count=length // format_.frame,
            kept=tuple(kept),
            index=tuple(i for i, channel in enumerate(channels) if channel is not None),
        )

    @property
    def scale(self) -> np.ndarray[Any, Any]:
        return np.array([float(c.full_scale or 0.0) * c.factor for c in self.kept])

    @property
    def full_scale(self) -> dict[str, float] | None:
        if self.format.code != _PCM:
            return None
        # The largest positive value is one step short of full scale.
        top = 1 - 2.0 ** (1 - min(self.format.bits, 24))
        return {c.name: s * top for c, s in zip(self.kept, self.scale.tolist(), strict=True)}

    def within(self, section: tuple[float, float]) -> tuple[int, int]:
        """First frame and number of frames of a section in seconds."""
        sample_rate = self.format.sample_rate
        given: Any = section
        numbers = (int, float, np.integer, np.floating)
        if not (
            isinstance(given, (tuple, list))
            and len(given) == 2
            and all(isinstance(t, numbers) and np.isfinite(t) for t in given)
        ):
            raise RecordingError(
                f"{self.file.name}: section is {section!r}; two finite numbers are needed, "
                "from and to in seconds of the file"
            )
        begin, end = (round(t * sample_rate) for t in section)
        if not 0 <= begin < end <= self.count:
            raise RecordingError(
                f"{self.file.name}: section is {section[0]:g} to {section[1]:g} s; the file holds "
                f"0 to {self.count / sample_rate:g} s, and the end must lie after the beginning"
            )
        return begin, end - begin

    def part(self, first: int, count: int, *, start: np.datetime64 | None) -> Recording:
        """Frames as a recording with the time of the file."""
        require_start(self.file.name, start)
        with _opened(self.file) as stream:
            stream.seek(self.offset + first * self.format.frame)
            raw = stream.read(count * self.format.frame)
        frames = _samples(raw, self.format)[:, list(self.index)]
        with np.errstate(over="ignore", invalid="ignore"):
            values = frames.T * self.scale[:, None]
        seconds = first / self.format.sample_rate
        if start is not None:
            start = start.astype("datetime64[ns]") + np.timedelta64(round(seconds * 1e9), "ns")
        return assemble(
            values,
            self.kept,
            sample_rate=float(self.format.sample_rate),
            file=self.file.name,
            start=start,
            first_time=seconds,
        )


@contextmanager
def _opened(file: FilePath) -> Iterator[Any]:
    require_plain(file, error=RecordingError, wanted="a WAV file")
    try:
        with file.open("rb") as stream:
            yield stream
    except OSError as error:
        raise RecordingError(f"{file}: cannot be read ({error})") from None


def _require_scale(name: str, channel: Channel) -> None:
    if channel.full_scale is None or channel.sensitivity is not None:
        raise RecordingError(
            f"{name}, channel {channel.name!r}: full_scale is needed (the value in {channel.unit} "
            "at full scale, from the recorder's range or a calibration tone), and no sensitivity"
        )


def _chunks(stream: Any, size: int, name: str) -> tuple[_Format, int, int]:
    """Format, and where the samples begin and how many bytes they are."""
    head = stream.read(12)
    if len(head) < 12 or head[:4] not in (b"RIFF", b"RF64") or head[8:] != b"WAVE":
        raise RecordingError(f"{name}: this is not a WAV file (RIFF or RF64)")
    long_size: int | None = None
    format_: _Format | None = None
    position = 12
    while position + 8 <= size:
        stream.seek(position)
        kind, length = struct.unpack("<4sI", stream.read(8))
        body = position + 8
        if kind == b"ds64":
            block = stream.read(min(length, 24))
            if len(block) < 24:
                raise RecordingError(f"{name}: the ds64 chunk at byte {position} is cut off")
            long_size = struct.unpack("<Q", block[8:16])[0]
        elif kind == b"fmt ":
            format_ = _format(stream.read(min(length, 40)), name)
        elif kind == b"data":
            if format_ is None:
                raise RecordingError(f"{name}: the samples come before the fmt chunk")
            if length == _WITHIN_DS64 and head[:4] == b"RF64":
                if long_size is None:
                    raise RecordingError(f"{name}: an RF64 file without a ds64 chunk")
                length = long_size
            return format_, body, _length(length, size - body, format_, name)
        position = body + length + length % 2
    raise RecordingError(f"{name}: there is no {'fmt' if format_ is None else 'data'} chunk")


def _length(stated: int, there: int, format_: _Format, name: str) -> int:
    if stated > there or (stated == 0 and there >= format_.frame):
        raise RecordingError(
            f"{name}: the header says {stated} bytes of samples, the file holds {there}; the copy "
            "or the recording was cut off: correct the header or take the original"
        )
    if stated == 0:
        raise RecordingError(f"{name}: there is no sample")
    if stated % format_.frame:
        raise RecordingError(
            f"{name}: {stated} bytes of samples are not a whole number of frames of "
            f"{format_.frame} bytes"
        )
    return stated


def _format(block: bytes, name: str) -> _Format:
    if len(block) < 16:
        raise RecordingError(f"{name}: the fmt chunk is cut off")
    code, channels, sample_rate, _, align, bits = struct.unpack("<HHIIHH", block[:16])
    if code == _EXTENSIBLE:
        if len(block) < 40 or block[26:40] != _SUBFORMAT_TAIL:
            raise RecordingError(f"{name}: the extensible format is cut off or unknown")
        code = struct.unpack("<H", block[24:26])[0]
    if (code, bits) not in ((_PCM, 16), (_PCM, 24), (_PCM, 32), (_FLOAT, 32), (_FLOAT, 64)):
        raise RecordingError(
            f"{name}: format {code} with {bits} bits; PCM of 16, 24 or 32 bits and float of 32 or "
            "64 bits can be read"
        )
    if channels == 0 or sample_rate == 0 or align != channels * bits // 8:
        raise RecordingError(
            f"{name}: the fmt chunk contradicts itself: {channels} tracks, {sample_rate} Hz, "
            f"{bits} bits, "
            f"frames of {align} bytes"
        )
    return _Format(code=code, channels=channels, sample_rate=sample_rate, bits=bits)


def _samples(raw: bytes, format_: _Format) -> np.ndarray[Any, Any]:
    """Frames of tracks, full scale 1."""
    if format_.code == _FLOAT:
        with np.errstate(invalid="ignore"):  # what is no number is refused with its place
            data = np.frombuffer(raw, dtype=f"<f{format_.bits // 8}").astype(float)
    elif format_.bits == 24:
        wide = np.zeros((len(raw) // 3, 4), dtype=np.uint8)
        # In the upper three bytes the sign stands where it belongs.
        wide[:, 1:] = np.frombuffer(raw, dtype=np.uint8).reshape(-1, 3)
        data = wide.view("<i4")[:, 0] / 2.0**31
    else:
        whole = np.frombuffer(raw, dtype=f"<i{format_.bits // 8}")
        data = whole / 2.0 ** (format_.bits - 1)
    return data.reshape(-1, format_.channels)
