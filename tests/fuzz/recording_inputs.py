"""Odd recordings: WAV, text, compressed, MiniSEED and universal files, and stored results."""

from __future__ import annotations

import gzip
import struct
from collections.abc import Callable
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import oddities
from outcomes import Trial, not_finite
from study_inputs import SMALL, evaluated, wrong_result

import groundborne as gb
from groundborne.records import (
    Channel,
    Recording,
    read_miniseed,
    read_text_recording,
    read_uff,
    read_wav,
    stream_wav,
)

NOISE = np.random.default_rng(5).normal(size=(40, 2))
_MM = {"unit": "mm/s", "quantity": "velocity"}
Z, X = (Channel(name=n, full_scale=5.0, **_MM) for n in "zx")
PLAIN = {name: Channel(name=name, **_MM) for name in ("vx", "vz")}
COUNTED = Channel(name="z", unit="m/s", quantity="velocity", sensitivity=4e8)

Reader = Callable[[Path], Any]


def _wav(code: int, bits: int, data: bytes) -> bytes:
    fmt = struct.pack("<HHIIHH", code, 2, 500, 500 * bits // 4, bits // 4, bits)
    size = struct.pack("<QQQI", 0, len(data), 0, 0)
    body = b"ds64" + struct.pack("<I", len(size)) + size
    body += b"fmt " + struct.pack("<I", 16) + fmt + b"data" + struct.pack("<I", len(data)) + data
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WAVE" + body


WAVES = (
    _wav(1, 16, (8000 * NOISE).astype("<i2").tobytes()),
    _wav(1, 24, (8000 * NOISE).astype("<i4").tobytes()[: 40 * 2 * 3]),
    _wav(3, 32, NOISE.astype("<f4").tobytes()),
    _wav(3, 64, NOISE.astype("<f8").tobytes()).replace(b"RIFF", b"RF64"),
)
LOGGED = "logger 7\nt,vx,vz\ns,mm/s,mm/s\n" + "".join(
    f"{i / 250:.3f},{row[0]:.4f},{row[1]:.4f}\n" for i, row in enumerate(NOISE)
)
STAMPED = "when;vx;vz\n" + "".join(
    f"2024-05-06T07:08:0{i // 10}.{i % 10}00;{row[0]:.4f};{row[1]:.4f}\n".replace(".", ",")
    for i, row in enumerate(NOISE)
)
_LINES = "".join("".join(f"{v:20.12e}" for v in r) + "\n" for r in NOISE[:, 0].reshape(-1, 4))
UNIVERSAL = f"""    -1
    58
invented
NONE
NONE
NONE
NONE
    1         0    0         0 NONE               1   3 NONE               0   0
         4        40         1  0.00000e+00  4.00000e-03  0.00000e+00
        17    0    0    0                 NONE                 NONE
        11    0    0    0                 NONE                 mm/s
         0    0    0    0                 NONE                 NONE
         0    0    0    0                 NONE                 NONE
{_LINES}    -1
"""


@cache
def mini_seed() -> bytes:
    """Two axes of forty counts."""
    import tempfile

    import pymseed

    traces = pymseed.MS3TraceList()
    for axis in "NZ":
        counts = (1000 * NOISE[:, 0]).astype(np.int32)
        start = "2024-05-06T00:00:00Z"
        traces.add_data(f"FDSN:XX_ROOM__H_H_{axis}", counts, "i", 200.0, starttime_str=start)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "good.mseed"
        traces.to_file(str(file), max_record_length=512)
        return file.read_bytes()


@cache
def stored_result() -> bytes:
    """A result as it is stored."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "good.nc"
        gb.save_result(evaluated(gb.read_study(SMALL / "tables" / "study.toml")), file)
        return file.read_bytes()


def _stream(file: Path) -> Any:
    return list(stream_wav(file, channels=[X, Z], seconds=0.02))


def _text(rng: Random) -> Reader:
    units, uniform = rng.random() < 0.8, rng.random() < 0.5
    return lambda file: read_text_recording(
        file, channels=PLAIN, time_column="t", units_row=units, uniform_clock=uniform
    )


def _stamped(rng: Random) -> Reader:
    zone = rng.choice([None, "UTC", "Europe/Berlin"])
    return lambda file: read_text_recording(
        file, channels=PLAIN, time_column="when", time_kind="timestamp", delimiter=";",
        decimal=",", time_zone=zone, uniform_clock=True,
    )  # fmt: skip


def _wave(rng: Random) -> Reader:
    if rng.random() < 0.2:
        return _stream
    return lambda file: read_wav(file, channels=[X, Z])


KINDS: dict[str, tuple[Callable[[], tuple[bytes, ...]], str, Callable[[Random], Reader]]] = {
    "wav": (lambda: WAVES, "odd.wav", _wave),
    "text": (lambda: (LOGGED.encode(),), "odd.csv", _text),
    "stamped": (lambda: (STAMPED.encode(),), "odd.csv", _stamped),
    "gzip": (lambda: (gzip.compress(LOGGED.encode(), mtime=0),), "odd.csv.gz", _text),
    "mseed": (
        lambda: (mini_seed(),),
        "odd.mseed",
        lambda _: lambda file: read_miniseed(file, channels={"H_H_Z": COUNTED}),
    ),
    "uff": (
        lambda: (UNIVERSAL.encode(),),
        "odd.uff",
        lambda _: lambda file: read_uff(file, channels={0: PLAIN["vz"]}),
    ),
    "result": (lambda: (stored_result(),), "odd.nc", lambda _: gb.read_result),
}
"""Good files of each kind, their name, and how they are read."""


def recording(rng: Random, place: Path) -> Trial:
    """One file of a recording, changed or made of chance."""
    kind = rng.choice(["wav"] * 4 + ["text"] * 3 + ["stamped"] * 2 + list(KINDS))
    whole, name, reader = KINDS[kind]
    raw = rng.choice(whole())
    if rng.random() < 0.07:
        raw = rng.choice([rng.randbytes(rng.randint(0, 300)), oddities.text(rng).encode()])
    elif kind in ("text", "stamped"):
        mark = "," if kind == "text" else ";"
        raw = oddities.encoded(rng, oddities.mangled_text(rng, raw.decode(), mark))
    else:
        raw = oddities.mangled_bytes(rng, raw, head={"uff": 800, "result": 6000}.get(kind, 120))
    file, read = place / name, reader(rng)
    file.write_bytes(raw)
    return Trial(f"{kind}: {raw[:60]!r}", lambda: read(file), (name,), wrong)


def wrong(found: Any) -> str:
    """What is wrong with what was read: a number that is none, a rate of 0, no sample."""
    if not isinstance(found, (Recording, list)):
        return wrong_result(found) if "applies" in found else not_finite(found)
    for part in found if isinstance(found, list) else [found]:
        said = not_finite(part.signal) or not_finite(part.sample_rate)
        if said or part.sample_rate <= 0 or part.signal.size == 0:
            return said or f"rate {part.sample_rate}, {part.signal.shape} samples"
    return ""
