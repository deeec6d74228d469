"""Readers of recordings: WAV written byte by byte, text, miniSEED and universal files."""

from __future__ import annotations

import gc
import gzip
import struct
import uuid
import warnings
import wave

import numpy as np
import pytest

from groundborne._checks import RecordingError
from groundborne.records.channel import Channel
from groundborne.records.readers.miniseed import read_miniseed
from groundborne.records.readers.text import read_text_recording
from groundborne.records.readers.uff import read_uff
from groundborne.records.readers.wav import read_wav, stream_wav
from groundborne.records.recording import RecordingWarning
from groundborne.waveform.filterbank.bank import ThirdOctaveBank

SUBFORMAT = uuid.UUID("00000001-0000-0010-8000-00aa00389b71")
Z = Channel(name="z", axis="z", unit="mm/s", quantity="velocity", full_scale=10.0)
X = Channel(name="x", axis="x", unit="mm/s", quantity="velocity", full_scale=5.0)
RNG = np.random.default_rng(11)
SIGNAL = np.clip(0.2 * RNG.normal(size=(400, 2)), -0.9, 0.9)
"""Full scale 1; the few clipped values are apart."""


def pcm(values, bits):
    whole = np.rint(values * 2.0 ** (bits - 1)).astype(np.int64).ravel()
    if bits == 24:
        return b"".join(int(v).to_bytes(3, "little", signed=True) for v in whole)
    return whole.astype(f"<i{bits // 8}").tobytes()


def riff(data, *, code, bits, tracks=2, sample_rate=1000, extensible=False, rf64=False, extra=b""):
    frame = tracks * bits // 8
    fmt = struct.pack(
        "<HHIIHH",
        0xFFFE if extensible else code,
        tracks,
        sample_rate,
        sample_rate * frame,
        frame,
        bits,
    )
    if extensible:
        kind = struct.pack("<I", code) + SUBFORMAT.bytes_le[4:]
        fmt += struct.pack("<HHI", 22, bits, 3) + kind
    chunks = extra + b"fmt " + struct.pack("<I", len(fmt)) + fmt
    size = 0xFFFFFFFF if rf64 else len(data)
    chunks += b"data" + struct.pack("<I", size) + data
    if rf64:
        ds64 = struct.pack("<QQQI", 36 + len(chunks), len(data), len(data) // frame, 0)
        chunks = b"ds64" + struct.pack("<I", len(ds64)) + ds64 + chunks
        return b"RF64" + struct.pack("<I", 0xFFFFFFFF) + b"WAVE" + chunks
    return b"RIFF" + struct.pack("<I", 4 + len(chunks)) + b"WAVE" + chunks


@pytest.fixture
def wav(tmp_path):
    def write(content):
        file = tmp_path / "hall.wav"
        file.write_bytes(content)
        return file

    return write


# --- WAV


@pytest.mark.parametrize("rf64", [False, True])
@pytest.mark.parametrize("extensible", [False, True])
@pytest.mark.parametrize(("code", "bits"), [(1, 16), (1, 24), (1, 32), (3, 32), (3, 64)], ids=str)
def test_every_format_gives_the_same_record(wav, code, bits, extensible, rf64):
    data = pcm(SIGNAL, bits) if code == 1 else SIGNAL.astype(f"<f{bits // 8}").tobytes()
    odd_chunk = b"note" + struct.pack("<I", 3) + b"abc\x00"
    file = wav(riff(data, code=code, bits=bits, extensible=extensible, rf64=rf64, extra=odd_chunk))
    start = np.datetime64("2024-05-06T07:08:09")
    recording = read_wav(file, channels=[X, Z], start=start)
    step = 2.0 ** -(bits - 1) if code == 1 else 2.0 ** (-24 if bits == 32 else -53)
    np.testing.assert_allclose(
        recording.signal, SIGNAL.T * np.array([[5e-3], [10e-3]]), atol=0.5 * step * 10e-3 * 1.01
    )
    assert recording.sample_rate == 1000.0
    assert recording.start == start
    assert recording.channels == ("x", "z")
    assert recording.signal.attrs == {"quantity": "velocity", "units": "m/s"}
    assert recording.notes == ()


def test_the_most_negative_and_positive_steps_of_24_bits(wav):
    steps = [-(2**23), 2**23 - 1, 1, -1, 0, 4660, -4660, 77]
    raw = b"".join(v.to_bytes(3, "little", signed=True) for v in steps)
    with pytest.warns(RecordingWarning, match="clipping"):
        recording = read_wav(wav(riff(raw, code=1, bits=24, tracks=1)), channels=[Z])
    np.testing.assert_allclose(recording.signal[0], np.array(steps) * 10e-3 / 2**23, rtol=1e-15)
    assert len(recording.notes) == 2
    assert "1 times at full scale -0.01 m/s" in recording.notes[1]


@pytest.fixture
def long_wav(wav):
    """Eight seconds of noise, 24 bits, two tracks at 512 Hz."""
    values = 1e-3 * RNG.normal(size=(4096, 2))
    return wav(riff(pcm(values, 24), code=1, bits=24, sample_rate=512))


def test_a_section_is_that_part_of_the_file(long_wav):
    whole = read_wav(long_wav, channels=[X, Z])
    start = np.datetime64("2024-05-06T07:08:09")
    part = read_wav(long_wav, channels=[X, Z], section=(1.5, 4.0), start=start)
    np.testing.assert_array_equal(part.signal, whole.signal[:, 768:2048])
    assert part.first_time == 1.5
    assert part.start == start + np.timedelta64(1500, "ms")
    for section in ((-1.0, 2.0), (2.0, 2.0), (5.0, 9.0)):
        with pytest.raises(RecordingError, match=r"hall.wav: section is .* holds 0 to 8 s"):
            read_wav(long_wav, channels=[X, Z], section=section)


@pytest.mark.parametrize(
    "section", [(0, "1"), 5, (1,), "12", (0.0, np.nan), (0.0, np.inf), [None, 1]]
)
def test_a_section_that_is_none_is_told(long_wav, section):
    with pytest.raises(ValueError, match="section"):
        read_wav(long_wav, channels=[X, Z], section=section)


@pytest.mark.parametrize("start", ["2026-01-01", 12.0, np.datetime64("NaT")])
def test_a_start_that_is_no_time_is_told(long_wav, start):
    with pytest.raises(ValueError, match="start is "):
        read_wav(long_wav, channels=[X, Z], start=start)
    with pytest.raises(ValueError, match="start is "):
        list(stream_wav(long_wav, channels=[X, Z], start=start))


def test_a_file_longer_than_memory_passes_the_bank_in_parts(long_wav):
    """Equal to the whole record to rounding, with parts of odd length."""
    bank = ThirdOctaveBank(sample_rate=512.0, low=16.0, high=160.0)
    whole = read_wav(long_wav, channels=[X, Z])
    parts = stream_wav(long_wav, channels=[X, Z], seconds=0.77)
    pieces = list(bank.stream((part.signal for part in parts), averaging="F", every=0.125))
    assert len(pieces) > 1
    found = np.concatenate([piece.values for piece in pieces], axis=-1)
    expected = bank.mean_square(whole.signal, averaging="F", every=0.125)
    np.testing.assert_allclose(found, expected.values, rtol=1e-9)
    times = [part.first_time for part in stream_wav(long_wav, channels=[X, None], seconds=3.0)]
    assert times == [0.0, 3.0, 6.0]


def test_a_sample_that_is_no_number_is_named_in_its_part(wav):
    values = np.full((4096, 1), 0.1)
    values[3000] = np.nan
    file = wav(riff(values.astype("<f8").tobytes(), code=3, bits=64, tracks=1, sample_rate=512))
    with pytest.raises(RecordingError, match=r"channel 'z'.* 5.859"):
        list(stream_wav(file, channels=[Z], seconds=1.0))


@pytest.mark.parametrize("bits", [16, 24, 32])
def test_the_standard_library_writes_the_same_container(tmp_path, bits):
    file = tmp_path / "hall.wav"
    with wave.open(str(file), "wb") as out:
        out.setparams((2, bits // 8, 500, 0, "NONE", ""))
        out.writeframes(pcm(SIGNAL, bits))
    recording = read_wav(file, channels=[None, Z])
    assert recording.channels == ("z",)
    np.testing.assert_allclose(recording.signal[0], SIGNAL[:, 1] * 10e-3, atol=10e-3 * 2.0**-bits)


@pytest.mark.parametrize(
    ("subtype", "container"),
    [("PCM_16", "WAV"), ("PCM_24", "WAV"), ("PCM_32", "WAVEX"), ("FLOAT", "WAVEX"),
     ("DOUBLE", "RF64"), ("PCM_24", "RF64")],
)  # fmt: skip
def test_a_general_library_writes_the_same_container(tmp_path, subtype, container):
    soundfile = pytest.importorskip("soundfile")
    file = tmp_path / "hall.wav"
    soundfile.write(file, SIGNAL, 1000, subtype=subtype, format=container)
    recording = read_wav(file, channels=[X, Z])
    back, sample_rate = soundfile.read(file)
    assert sample_rate == recording.sample_rate
    np.testing.assert_allclose(recording.signal, back.T * [[5e-3], [10e-3]], rtol=1e-12)


GOOD = riff(pcm(SIGNAL, 16), code=1, bits=16)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "not a WAV file"),
        (b"RIFX" + GOOD[4:], "not a WAV file"),
        (GOOD[:-2], "header says 1600 bytes of samples, the file holds 1598"),
        (GOOD[:12], "there is no fmt chunk"),
        (GOOD[:36], "there is no data chunk"),
        (riff(pcm(SIGNAL, 16)[:-2], code=1, bits=16), "1598 bytes .* whole number of frames"),
        (riff(b"", code=1, bits=16), "no sample"),
        (riff(pcm(SIGNAL, 16), code=2, bits=16), "format 2 with 16 bits"),
        (riff(bytes(800), code=1, bits=8), "format 1 with 8 bits"),
        (riff(pcm(SIGNAL, 16), code=1, bits=16, tracks=4), "the file has 4 tracks, channels has 2"),
        (GOOD.replace(b"fmt ", b"junk"), "before the fmt chunk"),
        (riff(np.full(800, np.nan, "<f4").tobytes(), code=3, bits=32), "channel 'x', 0 s: .* nan"),
        (riff(np.zeros(800, "<f4").tobytes(), code=3, bits=32), "channel 'x', 0 s: dead channel"),
        (GOOD[:40] + bytes(4) + GOOD[44:], "header says 0 bytes of samples, the file holds 1600"),
        (GOOD[:24] + bytes(4) + GOOD[28:], "contradicts itself: 2 tracks, 0 Hz"),
    ],
)
def test_a_damaged_wav_file_is_refused(wav, content, sentence):
    with pytest.raises(RecordingError, match=f"hall.wav.*{sentence}"):
        read_wav(wav(content), channels=[X, Z])


def test_a_full_scale_is_never_guessed(wav, tmp_path):
    bare = Channel(name="z", unit="mm/s", quantity="velocity")
    with pytest.raises(RecordingError, match=r"channel 'z': full_scale is needed"):
        read_wav(wav(GOOD), channels=[None, bare])
    with pytest.raises(RecordingError, match="there is no such file"):
        read_wav(tmp_path / "none.wav", channels=[X, Z])
    with pytest.raises(RecordingError, match="this is a folder"):
        read_wav(tmp_path, channels=[X, Z])
    with pytest.raises(RecordingError, match="Channel objects are needed"):
        read_wav(wav(GOOD), channels=[None, None])


# --- text

VX = Channel(name="x", axis="x", unit="mm/s", quantity="velocity")
VZ = Channel(name="z", axis="z", unit="µm/s", quantity="velocity")
ROWS = np.round(RNG.normal(size=(200, 2)), 4)


@pytest.fixture
def text(tmp_path):
    def write(head, rows, delimiter=",", decimal=".", name="hall.csv"):
        lines = [*head, *(delimiter.join(str(cell) for cell in row) for row in rows)]
        content = "\n".join(line.replace(".", decimal) for line in lines) + "\n"
        file = tmp_path / name
        raw = content.encode("utf-8")
        file.write_bytes(gzip.compress(raw) if name.endswith("gz") else raw)
        return file

    return write


def timed(step=1 / 128):
    return [(round(i * step, 7), *row) for i, row in enumerate(ROWS.tolist())]


EXPECTED = ROWS.T * [[1e-3], [1e-6]]


@pytest.mark.parametrize("name", ["hall.csv", "hall.txt.gz"])
@pytest.mark.parametrize(
    ("delimiter", "decimal"), [(",", "."), (";", ","), ("\t", ","), (" ", ".")]
)
def test_text_of_every_shape_gives_the_same_record(text, name, delimiter, decimal):
    head = ["Logger 7", "", "Gain 1", delimiter.join(("t", "vx", "vz"))]
    units = delimiter.join(("[s]", "[mm/s]", "um/s"))
    file = text([*head, units], timed(), delimiter, decimal, name)
    recording = read_text_recording(
        file, channels={"vz": VZ, "vx": VX}, time_column="t", delimiter=delimiter,
        decimal=decimal, units_row=True,
    )  # fmt: skip
    assert recording.sample_rate == 128.0
    assert recording.channels == ("z", "x")
    np.testing.assert_allclose(recording.signal, EXPECTED[::-1], rtol=1e-15)
    assert recording.notes == (f"{name}: file head: Logger 7", f"{name}: file head: Gain 1")


def test_text_without_time_or_header(text):
    file = text(["# a", "b"], ROWS.tolist())
    recording = read_text_recording(
        file, channels={"vz": VZ}, columns=["vx", "vz"], ignore_columns=["vx"], skip_lines=2,
        sample_rate=99.43,
    )  # fmt: skip
    assert recording.sample_rate == 99.43
    np.testing.assert_allclose(recording.signal[0], EXPECTED[1], rtol=1e-15)
    with pytest.raises(RecordingError, match="a time column or a rate is needed"):
        read_text_recording(file, channels={"vz": VZ}, columns=["vx", "vz"])


@pytest.mark.parametrize(
    ("zone", "mark", "start"),
    [
        (None, "", None),
        ("UTC", "", "2024-03-01T23:59:59.5"),
        ("Etc/GMT-2", "", "2024-03-01T21:59:59.5"),
        (None, "+01:00", "2024-03-01T22:59:59.5"),
    ],
)
def test_timestamps_give_rate_and_start(text, zone, mark, start):
    first = np.datetime64("2024-03-01T23:59:59.500")
    rows = [
        (f"{first + np.timedelta64(4 * i, 'ms')}{mark}", value)
        for i, value in enumerate(ROWS[:, 0])
    ]
    recording = read_text_recording(
        text(["when,vx"], rows), channels={"vx": VX}, time_column="when", time_kind="timestamp",
        time_zone=zone,
    )  # fmt: skip
    assert recording.sample_rate == 250.0
    assert recording.start == (None if start is None else np.datetime64(start))
    assert any("no time zone" in note for note in recording.notes) == (start is None)


def test_a_column_that_is_not_named_is_refused_unless_left_out_knowingly(text):
    file = text(["t,vx,vz"], timed())
    with pytest.raises(RecordingError, match=r"hall\.csv: the column 'vx' is not named"):
        read_text_recording(file, channels={"vz": VZ}, time_column="t")
    read_text_recording(file, channels={"vz": VZ}, time_column="t", ignore_columns=["vx"])


def test_milliseconds(text):
    rows = [(4 * i + 1000, value) for i, value in enumerate(ROWS[:, 0])]
    file = text(["t,vx", "ms,mm/s"], rows)
    recording = read_text_recording(
        file, channels={"vx": VX}, time_column="t", time_kind="ms", units_row=True
    )
    assert recording.sample_rate == 250.0
    assert recording.first_time == 1.0
    with pytest.raises(RecordingError, match="units row: the file says 'ms', time_kind is 's'"):
        read_text_recording(file, channels={"vx": VX}, time_column="t", units_row=True)


def test_a_lost_sample_is_refused_or_bridged_knowingly(text):
    rows = timed()
    del rows[50]
    file = text(["t,vx,vz"], rows)
    asked = {"channels": {"vx": VX, "vz": VZ}, "time_column": "t"}
    with pytest.raises(RecordingError, match=r"hall.csv: 1 missing samples, at 0\.390625 s; say"):
        read_text_recording(file, **asked)
    with pytest.warns(RecordingWarning) as caught:
        recording = read_text_recording(file, uniform_clock=True, **asked)
    assert [str(w.message) for w in caught] == list(recording.notes)
    assert "1 missing ones bridged by straight lines" in recording.notes[1]
    assert recording.samples == 200
    expected = EXPECTED.copy()
    expected[:, 50] = (expected[:, 49] + expected[:, 51]) / 2
    np.testing.assert_allclose(recording.signal, expected, rtol=1e-12)
    assert "0.390625 s" in recording.notes[0]


@pytest.mark.parametrize(
    ("old", "new", "arguments", "sentence"),
    [
        ("t,vx,vz", "t,vx,vy", {}, "row 2 comes nearest and lacks 'vz'"),
        ("t,vx,vz", "t;vx;vz", {}, "separated by semicolons"),
        ("t,vx,vz", "t,vx,vz,vz", {}, "'vz' is given twice"),
        ("t,vx,vz", "t,vx,vz,q", {}, "row 3: 3 units where the header has 4"),
        ("s,mm/s,um/s", "s,mm/s,mm/s", {}, "column 'vz', units row: the file says 'mm/s'"),
        ("s,mm/s,um/s", "ms,mm/s,um/s", {}, "column 't', units row: the file says 'ms'"),
        ("s,mm/s,um/s", "s,mm/s", {}, "row 3: 2 units where the header has 3"),
        ("s,mm/s,um/s", "s,mm/s,um/s", {"units_row": False}, "row 3, column 't'|say units_row"),
        (",0.5,", ",,", {}, "row 4, column 'vx': '' is empty"),
        (",0.5,", ",nan,", {}, "row 4, column 'vx': 'nan' is not a number"),
        (",0.5,", ",1e999,", {}, "row 4, column 'vx': '1e999' is too large"),
        (",0.5,", ",0,5,", {}, "row 4: 4 cells where the header has 3; a decimal comma"),
        (",0.5,", ",0x1,", {}, "row 4, column 'vx': '0x1' is not a number"),
        (",0.5,", ',"0.5",', {}, "is not a number"),
        ("Logger", "Lo\x00er", {}, "zero byte"),
        ("Logger", "Log", {"sample_rate": 100.0}, "given as 100 Hz, the time column runs at 128"),
        ("Logger", "Log", {"delimiter": "|"}, "delimiter is '|'"),
        ("Logger", "Log", {"delimiter": ",", "decimal": ","}, "they must differ"),
        ("Logger", "Log", {"time_kind": "h"}, "time_kind is 'h'"),
        ("Logger", "Log", {"encoding": "klingon"}, "encoding 'klingon' is unknown"),
        ("Logger", "Log", {"select": {"t": "9"}}, "no row has t = '9'"),
        ("Logger", "Log", {"channels": {}}, "Channel objects are needed|not named"),
    ],
)  # fmt: skip
def test_damaged_text_is_refused_with_its_place(text, tmp_path, old, new, arguments, sentence):
    rows = timed()
    rows[0] = (0.0, 0.5, 0.25)
    whole = text(["Logger", "t,vx,vz", "s,mm/s,um/s"], rows).read_text()
    assert old in whole
    file = tmp_path / "spoiled.csv"
    file.write_text(whole.replace(old, new, 1))
    asked = {"channels": {"vx": VX, "vz": VZ}, "time_column": "t", "units_row": True, **arguments}
    with pytest.raises(RecordingError, match=f"spoiled.csv.*({sentence})"):
        read_text_recording(file, **asked)


def test_a_unit_in_the_column_name_is_compared(text):
    file = text(["vx [m/s],q (3)"], ROWS.tolist())
    with pytest.raises(RecordingError, match=r"the file says 'm/s', the channel 'x' is given in"):
        read_text_recording(
            file, channels={"vx [m/s]": VX}, ignore_columns=["q (3)"], sample_rate=50.0
        )
    read_text_recording(file, channels={"q (3)": VX}, ignore_columns=["vx [m/s]"], sample_rate=50.0)


def test_a_decimal_comma_is_asked_for(text):
    file = text(["vx;vz"], ROWS.tolist(), ";", ",")
    asked = {"channels": {"vx": VX, "vz": VZ}, "sample_rate": 50.0, "delimiter": ";"}
    with pytest.raises(RecordingError, match=r"row 2, column 'vx': .* say decimal=','"):
        read_text_recording(file, **asked)
    point = text(["vx;vz"], ROWS.tolist(), ";", ".", "point.csv")
    with pytest.raises(RecordingError, match=r"row 2, column 'vx': .* has a decimal point"):
        read_text_recording(point, decimal=",", **asked)


def test_rows_are_counted_in_the_file_after_a_selection(text):
    rows = [(s, i, "x" if (s, i) == ("b", 5) else 0.1 * (-1) ** i) for s in "ab" for i in range(20)]
    with pytest.raises(RecordingError, match="row 27, column 'vx': 'x' is not a number"):
        read_text_recording(
            text(["part,t,vx"], rows), channels={"vx": VX}, time_column="t", select={"part": "b"}
        )
    mixed = [("a", 1), ("b", 2), ("a", 3)]
    with pytest.raises(RecordingError, match="interrupted after row 2"):
        read_text_recording(
            text(["part,vx"], mixed), channels={"vx": VX}, sample_rate=5.0, select={"part": "a"}
        )


# --- miniSEED

COUNTS = np.rint(1e4 * RNG.normal(size=(3, 3000))).astype(np.int32)
SEED = {
    f"H_H_{axis}": Channel(
        name=axis, axis=axis, unit="m/s", quantity="velocity", sensitivity=4e8
    )
    for axis in "ZNE"
}  # fmt: skip


@pytest.fixture
def mseed(tmp_path):
    pymseed = pytest.importorskip("pymseed")

    def write(*pieces, sample_rate=200.0):
        traces = pymseed.MS3TraceList()
        for axis, samples, start in pieces:
            traces.add_data(
                f"FDSN:XX_ROOM__H_H_{axis}", samples, "i", sample_rate, starttime_str=start
            )
        file = tmp_path / "hall.mseed"
        traces.to_file(str(file))
        return file

    return write


def test_miniseed_is_read_with_its_start(mseed):
    start = "2024-05-06T07:08:09.250Z"
    file = mseed(*((axis, COUNTS[i], start) for i, axis in enumerate("ZNE")))
    recording = read_miniseed(file, channels={key: SEED[key] for key in ("H_H_N", "H_H_Z")})
    np.testing.assert_allclose(recording.signal, COUNTS[[1, 0]] / 4e8, rtol=1e-15)
    assert recording.sample_rate == 200.0
    assert recording.start == np.datetime64("2024-05-06T07:08:09.250")
    assert recording.channels == ("N", "Z")


def test_gaps_in_miniseed_are_named_and_a_stretch_is_read_if_asked(mseed):
    file = mseed(
        ("Z", COUNTS[0, :1000], "2024-05-06T00:00:00Z"),
        ("Z", COUNTS[0, 1400:], "2024-05-06T00:00:07Z"),
        ("N", COUNTS[1], "2024-05-06T00:00:01Z"),
    )
    asked = {"H_H_Z": SEED["H_H_Z"], "H_H_N": SEED["H_H_N"]}
    with pytest.raises(RecordingError) as refused:
        read_miniseed(file, channels=asked)
    text = str(refused.value)
    assert "hall.mseed: 1 gaps; say which segment to read: 0: 2024-05-06T00:00:01.000Z" in text
    assert "1: 2024-05-06T00:00:07.000Z to 2024-05-06T00:00:14.995Z" in text
    second = read_miniseed(file, channels=asked, segment=1)
    np.testing.assert_allclose(second.signal[0], COUNTS[0, 1400:] / 4e8, rtol=1e-15)
    np.testing.assert_allclose(second.signal[1], COUNTS[1, 1200:2800] / 4e8, rtol=1e-15)
    assert second.start == np.datetime64("2024-05-06T00:00:07")
    assert "segment 1 of 2" in second.notes[0]
    first = read_miniseed(file, channels=asked, segment=0)
    np.testing.assert_allclose(first.signal[0], COUNTS[0, 200:1000] / 4e8, rtol=1e-15)
    with pytest.raises(RecordingError, match="there are segments 0 to 1"):
        read_miniseed(file, channels=asked, segment=2)


def test_miniseed_needs_sensitivity_known_names_and_one_grid(mseed, tmp_path):
    file = mseed(
        ("Z", COUNTS[0], "2024-05-06T00:00:00Z"), ("N", COUNTS[1], "2024-05-06T00:00:00.002Z")
    )
    bare = Channel(name="z", unit="m/s", quantity="velocity")
    with pytest.raises(RecordingError, match="sensitivity is needed"):
        read_miniseed(file, channels={"H_H_Z": bare})
    with pytest.raises(RecordingError, match="'H_H_E' is not there; the file holds"):
        read_miniseed(file, channels={"H_H_E": SEED["H_H_E"]})
    with pytest.raises(RecordingError, match=r"different instants, 0\.40 of a period apart"):
        read_miniseed(file, channels={"H_H_Z": SEED["H_H_Z"], "H_H_N": SEED["H_H_N"]})
    broken = tmp_path / "broken.mseed"
    broken.write_bytes(b"no seed" * 100)
    with pytest.raises(RecordingError, match=r"broken\.mseed: cannot be read as miniSEED"):
        read_miniseed(broken, channels={"H_H_Z": SEED["H_H_Z"]})


# --- universal files

ACC = Channel(name="z", axis="z", unit="m/s²", quantity="acceleration")


def every_field():
    axes = ("abscissa", "ordinate", "orddenom", "z_axis")
    fields = {f"id{i}": "NONE" for i in range(1, 6)}
    fields |= {f"{axis}_axis_units_lab": "NONE" for axis in axes}
    fields |= {f"{axis}_spec_data_type": 0 for axis in axes}
    fields |= {f"{axis}_{kind}_unit_exp": 0 for axis in axes for kind in ("len", "force", "temp")}
    return fields | {"ver_num": 0, "load_case_id": 0, "z_axis_value": 0.0}


@pytest.fixture
def uff(tmp_path):
    pyuff = pytest.importorskip("pyuff")

    def write(*rows, binary=0, **changes):
        file = tmp_path / "hall.uff"
        out = pyuff.UFF(str(file))
        for i, row in enumerate(rows):
            fields = {
                "binary": binary, "func_type": 1, "rsp_node": i + 1, "rsp_dir": 3, "ref_node": 0,
                "ref_dir": 0, "ord_data_type": 4, "num_pts": row.size, "abscissa_spacing": 1,
                "abscissa_min": 0.0, "abscissa_inc": 1 / 2048, "abscissa_spec_data_type": 17,
                "ordinate_spec_data_type": 12, "orddenom_spec_data_type": 0,
                "ordinate_axis_units_lab": "m/s^2", "data": row, "x": np.arange(row.size) / 2048,
                "id1": "invented", "rsp_ent_name": "hall", "ref_ent_name": "NONE", **changes,
            }  # fmt: skip
            # The package writes unreadable sets unless every field is there.
            with warnings.catch_warnings():
                # It leaves files open when it writes.
                warnings.simplefilter("ignore", ResourceWarning)
                out.write_sets({**every_field(), **fields, "type": 58}, mode="add")
                gc.collect()
        return file

    return write


@pytest.mark.parametrize("binary", [0, 1])
def test_a_universal_file_is_read_and_its_rate_snapped(uff, binary):
    rows = 1e-2 * RNG.normal(size=(2, 512))
    file = uff(*rows, binary=binary)
    second = Channel(name="x", axis="x", unit="m/s²", quantity="acceleration")
    recording = read_uff(file, channels={1: second, 0: ACC})
    assert recording.sample_rate == 2048.0
    # Sets of type 4 are written with single precision or six digits.
    np.testing.assert_allclose(recording.signal, rows[::-1], rtol=1e-5, atol=1e-12)
    assert recording.channels == ("x", "z")


@pytest.mark.parametrize(
    ("changes", "place", "sentence"),
    [
        ({"func_type": 4}, 0, "set 0: function type 4"),
        ({"ordinate_spec_data_type": 11}, 0, "the file says velocity"),
        ({"ordinate_axis_units_lab": "g"}, 0, "the file says 'g'"),
        ({}, 3, "set 3 is asked for; there are 1"),
        ({"abscissa_spacing": 0}, 0, "not evenly spaced|cannot be read"),
    ],
)
def test_a_universal_file_of_something_else_is_refused(uff, changes, place, sentence):
    file = uff(1e-2 * RNG.normal(size=256), **changes)
    with pytest.raises(RecordingError, match=f"hall.uff.*({sentence})"):
        read_uff(file, channels={place: ACC})


def test_a_broken_universal_file_is_refused(tmp_path):
    pytest.importorskip("pyuff")
    file = tmp_path / "broken.uff"
    file.write_text("    -1\n    58\nnothing\n")
    with pytest.raises(RecordingError, match=r"broken\.uff"):
        read_uff(file, channels={0: ACC})
