"""Readers of recordings under mangled files: a refusal that names the file, or finite numbers."""

from __future__ import annotations

import gzip
import struct
import tempfile
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from groundborne.source.channel import Channel
from groundborne.source.miniseed import read_miniseed
from groundborne.source.recording import Recording
from groundborne.source.text_recording import read_text_recording
from groundborne.source.uff import read_uff
from groundborne.source.wav import read_wav

many = settings(max_examples=100, suppress_health_check=list(HealthCheck))
few = settings(max_examples=40, suppress_health_check=list(HealthCheck))

NOISE = np.random.default_rng(5).normal(size=(40, 2))
Z = Channel(name="z", unit="mm/s", quantity="velocity", full_scale=5.0)
X = Channel(name="x", unit="mm/s", quantity="velocity", full_scale=5.0)
PLAIN = {
    name: Channel(name=name, unit="mm/s", quantity="velocity") for name in ("vx", "vz")
}  # fmt: skip


def wav(code, bits, data):
    fmt = struct.pack("<HHIIHH", code, 2, 500, 500 * bits // 4, bits // 4, bits)
    size = struct.pack("<QQQI", 0, len(data), 0, 0)
    body = b"ds64" + struct.pack("<I", len(size)) + size
    body += b"fmt " + struct.pack("<I", 16) + fmt + b"data" + struct.pack("<I", len(data)) + data
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WAVE" + body


WAVES = [
    wav(1, 16, (8000 * NOISE).astype("<i2").tobytes()),
    wav(1, 24, (8000 * NOISE).astype("<i4").tobytes()[: 40 * 2 * 3]),
    wav(3, 32, NOISE.astype("<f4").tobytes()),
    wav(3, 64, NOISE.astype("<f8").tobytes()).replace(b"RIFF", b"RF64"),
]
TEXT = "logger 7\nt,vx,vz\ns,mm/s,mm/s\n" + "".join(
    f"{i / 250:.3f},{row[0]:.4f},{row[1]:.4f}\n" for i, row in enumerate(NOISE)
)
STAMPED = "when;vx;vz\n" + "".join(
    f"2024-05-06T07:08:0{i // 10}.{i % 10}00;{row[0]:.4f};{row[1]:.4f}\n".replace(".", ",")
    for i, row in enumerate(NOISE)
)
ODD = st.sampled_from(
    ["", " ", ",", ";", "\t", '"', "\n", "\r", "\x00", "\ufeff", "nan", "inf", "-inf", "1e999",
     "1e308", "-1e308", "1e-320", "0", "-0.0", "1,5", "0x1", "1_0", "١", "½", "\u2028", "#", "NaT",
     "2262-04-12", "9999-99-99", "1e300", "99999999999999999999"]
)  # fmt: skip


@st.composite
def mangled_bytes(draw, whole):
    """One to four changes: bytes exchanged, cut out, put in, repeated, or the tail lost."""
    raw = bytearray(draw(st.sampled_from(whole)) if isinstance(whole, list) else whole)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, max(min(len(raw), 120) - 1, 0)))
        if draw(st.booleans()):
            at = draw(st.integers(0, max(len(raw) - 1, 0)))
        kind = draw(st.sampled_from(["byte", "word", "cut", "insert", "repeat", "tail"]))
        if kind == "byte":
            raw[at : at + 1] = bytes([draw(st.integers(0, 255))])
        elif kind == "word":
            word = draw(st.sampled_from([0, 1, 2**16, 2**31 - 1, 2**32 - 1, 2**32 - 2]))
            raw[at : at + 4] = struct.pack("<I", word)
        elif kind == "cut":
            del raw[at : at + draw(st.integers(1, 16))]
        elif kind == "insert":
            raw[at:at] = draw(st.binary(max_size=8))
        elif kind == "repeat":
            raw[at:at] = raw[at : at + 24]
        else:
            del raw[at:]
    return bytes(raw)


@st.composite
def mangled_text(draw, whole):
    """One to three changes: characters, cells, lines, numbers."""
    text = whole
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, max(len(text) - 1, 0)))
        lines = text.split("\n")
        line = draw(st.integers(0, len(lines) - 1))
        kind = draw(st.sampled_from(["insert", "replace", "cell", "drop", "repeat", "cut", "swap"]))
        if kind == "insert":
            text = text[:at] + draw(ODD) + text[at:]
        elif kind == "replace":
            text = text[:at] + draw(ODD) + text[at + 1 :]
        elif kind == "cell":
            mark = ";" if ";" in lines[line] else ","
            cells = lines[line].split(mark)
            cells[draw(st.integers(0, len(cells) - 1))] = draw(ODD)
            lines[line] = mark.join(cells)
            text = "\n".join(lines)
        elif kind == "drop":
            text = "\n".join(lines[:line] + lines[line + 1 :])
        elif kind == "repeat":
            text = "\n".join(lines[:line] + lines[line : line + 1] * 2 + lines[line + 1 :])
        elif kind == "swap":
            other = draw(st.integers(0, len(lines) - 1))
            lines[line], lines[other] = lines[other], lines[line]
            text = "\n".join(lines)
        else:
            text = text[:at]
    return text


def outcome(file, read):
    """A recording, or the sentence of a refusal; any other exception goes on."""
    try:
        return read(file), ""
    except ValueError as error:
        return None, str(error)


def survives(raw, name, read):
    """A refusal is a ValueError that names the file; a result is finite and has a true clock."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.filterwarnings("ignore", category=UserWarning, module="groundborne|tests|test_")
        file = Path(folder) / name
        file.write_bytes(raw)
        recording, said = outcome(file, read)
    if recording is None:
        assert name in said, said
        assert len(said) > len(name) + 10
        return None
    assert isinstance(recording, Recording)
    assert np.isfinite(recording.signal.values).all()
    assert np.isfinite(recording.rate)
    assert recording.rate > 0
    return recording


@many
@given(raw=mangled_bytes(WAVES))
def test_wav(raw):
    survives(raw, "odd.wav", lambda file: read_wav(file, channels=[X, Z]))


@many
@given(raw=st.binary(max_size=200))
def test_any_bytes_are_no_recording(raw):
    assert survives(raw, "odd.wav", lambda file: read_wav(file, channels=[X, Z])) is None


@many
@given(text=mangled_text(TEXT), uniform=st.booleans(), units=st.booleans())
def test_text(text, uniform, units):
    survives(
        text.encode("utf-8", "replace"), "odd.csv",
        lambda file: read_text_recording(
            file, channels=PLAIN, time_column="t", units_row=units, uniform_clock=uniform,
        ),
    )  # fmt: skip


@many
@given(text=mangled_text(STAMPED), zone=st.sampled_from([None, "UTC"]))
def test_timestamps(text, zone):
    survives(
        text.encode("utf-8", "replace"), "odd.csv",
        lambda file: read_text_recording(
            file, channels=PLAIN, time_column="when", time_kind="timestamp", delimiter=";",
            decimal=",", time_zone=zone, uniform_clock=True,
        ),
    )  # fmt: skip


@few
@given(raw=mangled_bytes(gzip.compress(TEXT.encode(), mtime=0)))
def test_gzip(raw):
    survives(
        raw, "odd.csv.gz",
        lambda file: read_text_recording(
            file, channels=PLAIN, time_column="t", units_row=True
        ),
    )  # fmt: skip


@few
@given(raw=st.one_of(st.binary(max_size=300), st.text(max_size=300).map(lambda t: t.encode())))
def test_any_text_is_no_recording(raw):
    assert survives(
        raw, "odd.csv", lambda file: read_text_recording(file, channels=PLAIN, time_column="t")
    ) is None  # fmt: skip


def test_untouched_files_are_read():
    """The mangled files start from good ones."""
    for raw in WAVES:
        assert survives(raw, "good.wav", lambda file: read_wav(file, channels=[X, Z])) is not None
    for raw in (TEXT.encode(), gzip.compress(TEXT.encode())):
        assert survives(
            raw, "good.csv",
            lambda file: read_text_recording(
                file, channels=PLAIN, time_column="t", units_row=True
            ),
        ) is not None  # fmt: skip


@pytest.fixture(scope="module")
def seed():
    pymseed = pytest.importorskip("pymseed")
    with tempfile.TemporaryDirectory() as folder:
        traces = pymseed.MS3TraceList()
        for axis in "NZ":
            counts = (1000 * NOISE[:, 0]).astype(np.int32)
            traces.add_data(
                f"FDSN:XX_ROOM__H_H_{axis}",
                counts,
                "i",
                200.0,
                starttime_str="2024-05-06T00:00:00Z",
            )
        file = Path(folder) / "good.mseed"
        traces.to_file(str(file), max_record_length=512)
        return file.read_bytes()


@few
@given(data=st.data())
def test_miniseed(seed, data):
    z = Channel(name="z", unit="m/s", quantity="velocity", sensitivity=4e8)
    raw = data.draw(mangled_bytes(seed))
    survives(raw, "odd.mseed", lambda file: read_miniseed(file, channels={"H_H_Z": z}))


UFF = (
    """    -1
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
"""
    + "".join(
        "".join(f"{v:20.12e}" for v in row) + "\n" for row in np.reshape(NOISE[:, 0], (-1, 4))
    )
    + "    -1\n"
)


@few
@given(raw=mangled_bytes(UFF.encode()))
def test_universal_file(raw):
    pytest.importorskip("pyuff")
    plain = Channel(name="z", unit="mm/s", quantity="velocity")
    survives(raw, "odd.uff", lambda file: read_uff(file, channels={0: plain}))


def test_the_untouched_universal_file_is_read():
    pytest.importorskip("pyuff")
    plain = Channel(name="z", unit="mm/s", quantity="velocity")
    read = survives(UFF.encode(), "good.uff", lambda file: read_uff(file, channels={0: plain}))
    np.testing.assert_allclose(read.signal[0], NOISE[:, 0] * 1e-3, rtol=1e-5)
