"""Events in histories and records made for the purpose, and what is measured of them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import xarray as xr

from groundborne._checks import BandError, LevelError, RecordingError, TableError
from groundborne.levels import stamp
from groundborne.path import FOUNDATION
from groundborne.records.detection import events_at, find_events
from groundborne.records.events import judge_events
from groundborne.records.history import band_history
from groundborne.records.recording import Recording
from groundborne.source import Passbys, read_passbys
from groundborne.source.passbys.background import correct_for_background
from groundborne.source.passbys.extraction import DetectionRule, extract_passbys
from groundborne.source.passbys.file import write_passbys
from groundborne.source.passbys.measuring import measure_passbys
from groundborne.waveform.filterbank.bank import ThirdOctaveBank

STEP = 0.5
RATE = 512.0


def velocity_level(values, dims="passby", reference="1 nm/s", **coords):
    array = xr.DataArray(np.asarray(values, float), dims=dims, coords=coords)
    return stamp(array, quantity="velocity", reference=reference, long_name="velocity level",
                 time_weighting="S max")  # fmt: skip


def history(*events, length=300.0, floor=50.0):
    """Level history with flat events (start, end, level); sample t stands for (t - STEP, t]."""
    time = np.arange(1, int(length / STEP) + 1) * STEP
    values = np.full(time.size, floor)
    for start, end, level in events:
        values[(time > start) & (time <= end)] = level
    return stamp(xr.DataArray(values, dims="time", coords={"time": time}), quantity="velocity",
                 reference="1 nm/s", long_name="history")  # fmt: skip


def spans(events):
    return np.stack([events.table["start"], events.table["end"]], axis=-1).tolist()


def test_times_and_levels_of_a_plain_event():
    found = find_events(history((100.0, 112.0, 70.0)))
    row = found.table.isel(event=0)
    assert spans(found) == [[100.0, 112.0]]
    assert row["level"].item() == 70.0
    assert row["above_background"].item() == 20.0
    assert row["peak"].item() == 100.5
    assert row["equivalent_duration"].item() == pytest.approx(12.0)
    assert row["kept"].item()
    assert found.log() == ()


def test_hysteresis_holds_an_event_together():
    around = history((90.0, 100.0, 54.5), (100.0, 110.0, 58.0), (110.0, 120.0, 54.5))
    assert spans(find_events(around, threshold=6.0, hysteresis=2.0)) == [[90.0, 120.0]]
    assert spans(find_events(around, threshold=6.0, hysteresis=0.0)) == [[100.0, 110.0]]
    # What only reaches the lower level is no event.
    assert len(find_events(history((90.0, 100.0, 55.0)), threshold=6.0, hysteresis=2.0)) == 0


@pytest.mark.parametrize(("gap", "count"), [(1.5, 1), (2.0, 2), (5.0, 2)])
def test_gaps_are_joined_below_their_length(gap, count):
    two = history((100.0, 110.0, 70.0), (110.0 + gap, 120.0 + gap, 70.0))
    assert len(find_events(two, join=2.0, margin=0.0)) == count


def test_events_are_left_out_by_length():
    three = history((50.0, 52.0, 80.0), (100.0, 110.0, 70.0), (150.0, 190.0, 70.0))
    found = find_events(three, least=3.0, most=30.0)
    assert found.table["kept"].values.tolist() == [False, True, False]
    assert len(found.only_kept()) == 1
    first, last = found.log()
    assert first == "event 1, 50.0 to 52.0 s, left out: too short (2.0 s): knock or step"
    assert "too long (40.0 s)" in last


def test_events_at_the_ends_of_the_record_are_left_out():
    found = find_events(history((0.0, 10.0, 70.0), (150.0, 160.0, 70.0), (290.0, 300.0, 70.0)))
    assert found.table["kept"].values.tolist() == [False, True, False]
    assert "record's start" in found.log()[0]
    assert "record's end" in found.log()[1]


def test_several_reasons_are_all_given():
    found = find_events(history((0.0, 1.0, 70.0)))
    assert "too short" in found.log()[0]
    assert "record's start" in found.log()[0]


def test_a_level_may_be_the_threshold():
    both = history((50.0, 60.0, 62.0), (100.0, 110.0, 70.0))
    assert spans(find_events(both, threshold=65.0, absolute=True)) == [[100.0, 110.0]]
    assert spans(find_events(both, threshold=65.0, absolute=True, background=0.0)) == [
        [100.0, 110.0]
    ]


def test_the_background_may_drift():
    """A floor that rises by 10 dB drowns a fixed threshold; the median of 60 s follows it."""
    drifting = history((100.0, 110.0, 8.0), (200.0, 210.0, 8.0), floor=0.0)
    drifting = drifting.copy(data=drifting.values + 50.0 + 10.0 * (drifting["time"].values > 150))
    found = find_events(drifting, window=60.0)
    assert spans(found) == [[100.0, 110.0], [200.0, 210.0]]
    assert [100.0, 110.0] not in spans(find_events(drifting))


def test_a_drop_out_has_no_energy_and_does_no_harm():
    cut = history((100.0, 110.0, 70.0))
    cut[20:24] = -np.inf
    assert spans(find_events(cut)) == [[100.0, 110.0]]


def test_bad_histories_are_refused():
    good = history((100.0, 110.0, 70.0))
    hole = good.copy()
    hole[7] = np.nan
    with pytest.raises(RecordingError, match="level at 4 s is not a number"):
        find_events(hole)
    with pytest.raises(RecordingError, match="levels in dB"):
        find_events(good.drop_attrs())
    with pytest.raises(RecordingError, match="not evenly spaced"):
        find_events(good.isel(time=[0, 1, 2, 5, 6]))
    with pytest.raises(RecordingError, match="dead channel"):
        find_events(good.copy(data=np.full(good.size, -np.inf)))
    with pytest.raises(ValueError, match="must exceed least"):
        find_events(good, least=10.0, most=5.0)
    with pytest.raises(ValueError, match="not both"):
        find_events(good, background=50.0, window=60.0)


def test_times_may_be_given():
    level = history((100.0, 112.0, 70.0), (200.0, 212.0, 75.0))
    found = events_at([(198.0, 214.0), (98.0, 114.0)], history=level)
    assert spans(found) == [[98.0, 114.0], [198.0, 214.0]]
    assert found.table["level"].values.tolist() == [70.0, 75.0]
    assert found.table["kept"].values.all()
    close = events_at([(98.0, 114.0), (110.0, 150.0), (160.0, 170.0)], history=level)
    assert close.table["kept"].values.tolist() == [False, False, True]
    assert "overlaps another event" in close.log()[0]
    with pytest.raises(ValueError, match="from 290 to 310 s"):
        events_at([(290.0, 310.0)], history=level)
    with pytest.raises(ValueError, match=r"times is .* each is a tuple of a number and a number"):
        events_at([1.0, 2.0], history=level)


def test_an_event_inside_another_spoils_both():
    found = events_at([(50.0, 150.0), (60.0, 70.0), (145.0, 160.0)], history=history())
    assert not found.table["kept"].values.any()


def test_band_history_adds_bands_and_channels():
    square = xr.DataArray(
        np.full((2, 3, 4), 1e-12), dims=("channel", "frequency", "time"),
        coords={"channel": ["x", "z"], "frequency": [25.0, 31.5, 40.0],
                "time": [2.0, 2.5, 3.0, 3.5]},
        attrs={"quantity": "velocity", "units": "(m/s)²", "time_weighting": "linear, 2 s"},
    )  # fmt: skip
    total = band_history(square)
    np.testing.assert_allclose(total, 60.0 + 10 * np.log10(6.0))
    assert total["time"].values.tolist() == [1.0, 1.5, 2.0, 2.5]
    assert total.attrs["reference"] == "1 nm/s"
    part = band_history(square, low=31.5, high=31.5, channels=["z"])
    np.testing.assert_allclose(part, 60.0)
    with pytest.raises(RecordingError, match="channel is 'y'"):
        band_history(square, channels=["y"])
    with pytest.raises(BandError):
        band_history(square, low=50.0)
    with pytest.raises(RecordingError, match="quantity"):
        band_history(square.drop_attrs())


def noise(seed, seconds=60.0, channels=("z",), size=1e-6):
    rng = np.random.default_rng(seed)
    values = size * rng.standard_normal((len(channels), int(seconds * RATE)))
    return xr.DataArray(values, dims=("channel", "time"), coords={"channel": list(channels)},
                        attrs={"quantity": "velocity", "units": "m/s"})  # fmt: skip


def three_events():
    return events_at([(10.0, 20.0), (25.0, 35.0), (40.0, 50.0)], history=history(length=60.0))


def test_a_clipped_event_is_left_out():
    record = noise(1, channels=("x", "z"))
    record[1, 14000:14004] = 5e-6
    record[1, 17000:17004] = -5e-6
    judged = judge_events(three_events(), record, sample_rate=RATE)
    assert judged.table["kept"].values.tolist() == [True, False, True]
    assert judged.log() == ("event 2, 25.0 to 35.0 s, left out: clipped (channel z)",)
    # With the logger's full scale, single samples in a row count at any lower value too.
    record[0, 6000:6003] = 4.9e-6
    judged = judge_events(three_events(), record, sample_rate=RATE, full_scale=4.9e-6)
    assert "channel x" in judged.log()[0]


def test_one_largest_sample_is_no_clip():
    record = noise(2)
    record[0, 14000] = 5e-6
    assert judge_events(three_events(), record, sample_rate=RATE).table["kept"].values.all()


@pytest.mark.parametrize("fill", [0.0, 3e-7, np.nan])
def test_a_drop_out_spoils_an_event(fill):
    record = noise(3)
    record[0, 21000:21200] = fill
    judged = judge_events(three_events(), record, sample_rate=RATE, drop_out=0.1)
    assert judged.table["kept"].values.tolist() == [True, True, False]
    assert "drop-out (channel z)" in judged.log()[0]


def test_an_impulse_is_no_train():
    record = noise(4)
    record[0, 7000] = 1e-4
    judged = judge_events(three_events(), record, sample_rate=RATE)
    assert judged.table["kept"].values.tolist() == [False, True, True]
    assert "an impulse (channel z)" in judged.log()[0]
    assert (
        judge_events(three_events(), record, sample_rate=RATE, crest=None)
        .table["kept"]
        .values.all()
    )


def test_events_beyond_the_record_are_refused():
    with pytest.raises(RecordingError, match="the record lasts 30 s"):
        judge_events(three_events(), noise(5, seconds=30.0), sample_rate=RATE)


def test_background_rule():
    level = velocity_level([61.0, 62.99, 63.01, 66.0, 69.99, 70.0, 90.0])
    floor = velocity_level(np.full(7, 60.0))
    train, limit = correct_for_background(level, floor)
    assert limit.values.tolist() == [True, True, False, False, False, False, False]
    # 6 dB above: 10 lg(1 - 10^-0.6) = -1.256 dB.
    assert (train - level).values[3] == pytest.approx(-1.256, abs=5e-4)
    assert (train - level).values[[0, 1, 5, 6]].tolist() == [0.0, 0.0, 0.0, 0.0]
    again = 10 * np.log10(10 ** (train[2:5] / 10) + 10 ** (floor[2:5] / 10))
    np.testing.assert_allclose(again, level[2:5], atol=1e-9)


def test_a_maximum_is_compared_with_the_maximum_of_the_background():
    level, floor = velocity_level([65.0]), velocity_level([60.0])
    _, limit = correct_for_background(level, floor, compared_with=velocity_level([63.0]))
    assert limit.item()
    with pytest.raises(LevelError, match="convert first"):
        correct_for_background(level, velocity_level([60.0], reference="50 nm/s"))
    with pytest.raises(ValueError, match="0 < detectable"):
        correct_for_background(level, floor, detectable=12.0)


BANDS = {"low": 25.0, "high": 100.0}
BURSTS = (60.0, 120.0, 180.0)
TONE = 50.11872336  # exact middle of the 50 Hz band


def bursts(level=80.0, seed=11, seconds=240.0, size=6e-6, length=12.0):
    """Three 50 Hz bursts of a known velocity level in white noise, on x half as strong."""
    record = noise(seed, seconds, ("x", "z"), size)
    t = np.arange(record.sizes["time"]) / RATE
    on = np.any([np.abs(t - b) < length / 2 for b in BURSTS], axis=0)
    tone = np.sqrt(2) * 1e-9 * 10 ** (level / 20) * np.sin(2 * np.pi * TONE * t) * on
    record.values += np.array([[0.5], [1.0]]) * tone
    return Recording(signal=record, sample_rate=RATE, file="bursts")


RULE = DetectionRule(low=50.0, high=50.0, averaging=1.0, threshold=6.0, least=5.0)


@pytest.fixture(scope="module")
def loud():
    about = {"train_type": ["metro"] * 3, "track": ["1", "2", "1"], "speed_kmh": [50, 60.5, 70]}
    return extract_passbys(bursts(), rule=RULE, about=about, **BANDS)


def test_bursts_are_found_where_they_are(loud):
    start, end = loud.data["start"].values, loud.data["end"].values
    # A linear mean over 1 s smears each edge by half a second, the filter adds a little.
    np.testing.assert_allclose(start, np.array(BURSTS) - 6.0, atol=0.7)
    np.testing.assert_allclose(end, np.array(BURSTS) + 6.0, atol=0.7)
    assert loud.data["passby"].values.tolist() == ["P001", "P002", "P003"]


def test_levels_far_above_the_noise_are_those_of_the_tone(loud):
    """Noise 18 dB below beats with the tone and moves the S maximum by some tenths of a dB."""
    level = loud.corrected("S max").sel(channel="z", frequency=50.0)
    np.testing.assert_allclose(level, 80.0, atol=0.6)
    assert not level["upper_limit"].any()


def test_measures_hold_together(loud):
    z = loud.data.sel(channel="z", frequency=50.0)
    np.testing.assert_allclose(z["exposure"] - z["leq_t3"], 10 * np.log10(z["t3"]), atol=1e-9)
    assert (z["f_max"] >= z["s_max"] - 0.01).all()
    assert (z["at_maximum"] <= z["s_max"] + 1e-9).all()
    np.testing.assert_allclose(z["t1"], 4.0)
    assert (
        (loud.data["s_max"].sel(channel="x") < loud.data["s_max"].sel(channel="z"))
        .sel(frequency=50.0)
        .all()
    )
    white = 10 * np.log10(0.2316 * 50.11872 * (6e-6) ** 2 / (RATE / 2) / 1e-18)
    np.testing.assert_allclose(z["background"], white, atol=1.0)


def test_t2_is_the_passage():
    """12 s of burst, and the F weighting's decay by 12 dB, 0.35 s; all noise 27 dB below."""
    found = extract_passbys(bursts(size=6e-7), rule=RULE, **BANDS).data
    np.testing.assert_allclose(found["t2"], 12.35, atol=0.25)
    # A sine of 80 dB re 1 nm/s peaks at √2 × 1e-5 m/s; noise adds 2 to 4 standard deviations.
    np.testing.assert_allclose(found["peak"].sel(channel="z"), 1.6e-5, rtol=0.05)
    tone = found["leq_t2"].sel(channel="z", frequency=50.0)
    np.testing.assert_allclose(tone, 80.0 + 10 * np.log10(12.0 / found["t2"]), atol=0.1)


def test_corrected_levels_near_the_noise_are_those_of_the_tone():
    """Tone 5 dB above the noise of its band. Over 30 s the noise is known to 1/√(11.6 × 30),
    5 %, of a third of the tone's energy, and beats with it by as much: 0.3 dB at one sigma."""
    recording = bursts(level=67.1)
    flat = history(length=240.0)
    events = events_at([(b - 5.0, b + 5.0) for b in BURSTS], history=flat)
    measured = measure_passbys(recording, events, **BANDS)
    z = measured.data.sel(channel="z", frequency=50.0)
    level = measured.corrected("leq T3").sel(channel="z", frequency=50.0)
    assert ((z["leq_t3"] - z["background"]) < 9.0).all()
    assert not level["upper_limit"].any()
    raw, mean = (10 * np.log10((10 ** (x / 10)).mean()).item() for x in (z["leq_t3"], level))
    assert mean == pytest.approx(67.1, abs=0.6)
    # Uncorrected it would be 10 lg(1 + 10^-0.5) = 1.2 dB too high.
    assert raw - mean == pytest.approx(1.2, abs=0.5)


def test_bands_without_a_train_are_upper_limits(loud):
    level = loud.corrected("S max").sel(channel="z")
    limits = level["upper_limit"]
    assert limits.sel(frequency=[25.0, 100.0]).all()
    # Where nothing is told from the background, the level as measured stands.
    np.testing.assert_array_equal(
        level.where(limits, 0.0), loud.data["s_max"].sel(channel="z").where(limits, 0.0)
    )


def test_upper_limits_do_not_pass_silently(loud):
    with pytest.raises(RecordingError, match=r"bursts, channel z: \d+ of 21 band levels are upper"):
        loud.to_passbys(upper_limits="refuse", channel="z")
    kept = loud.to_passbys(upper_limits="keep", channel="z", location=FOUNDATION)
    assert kept.level["upper_limit"].dims == ("passby", "frequency")
    assert any("P001: not detectable, upper limit only, at 25" in n for n in kept.notes)
    assert kept.level.attrs["location"] == FOUNDATION.location
    assert kept.level.attrs["time_weighting"] == "S max"
    with pytest.raises(ValueError, match="name one of the channels x, z"):
        loud.to_passbys(upper_limits="keep")
    with pytest.raises(TypeError):
        loud.to_passbys(channel="z")


def test_refuse_passes_what_is_detectable():
    only = extract_passbys(bursts(), rule=RULE, low=50.0, high=50.0)
    passbys = only.to_passbys(upper_limits="refuse", channel="z")
    assert passbys.level.sizes == {"passby": 3, "frequency": 1}


def test_what_is_written_is_read_back_exactly(loud, tmp_path):
    file = loud.write_passbys(tmp_path / "p.csv", upper_limits="keep", channel="z")
    want = loud.to_passbys(upper_limits="keep", channel="z")
    got = read_passbys(file, quantity="velocity", reference="1 nm/s", time_weighting="S max",
                       kind_column="kind")  # fmt: skip
    for name in ("level", "background"):
        np.testing.assert_array_equal(getattr(got, name), getattr(want, name))
    for name in ("passby", "train_type", "track", "speed_kmh", "duration_s"):
        np.testing.assert_array_equal(got.level[name], want.level[name])
    assert got.level["speed_kmh"].values.tolist() == [50.0, 60.5, 70.0]
    assert any("upper limit only" in note for note in got.notes)
    with pytest.raises(TableError, match="there already"):
        loud.write_passbys(file, upper_limits="keep", channel="z")


def test_texts_that_would_change_on_the_way_are_refused(tmp_path):
    for name in ("=1+1", " P1", "# P1", "a\nb", "", "\uff1d1+1", "\u200b=1+1", "\uff0b1", "@a"):
        level = velocity_level([[61.0]], ("passby", "frequency"), passby=[name], frequency=[50.0])
        with pytest.raises(TableError, match="would not be read back"):
            write_passbys(Passbys(level), tmp_path / "p.csv")
    assert not (tmp_path / "p.csv").exists()


def test_no_piece_of_a_remark_is_like_a_formula(tmp_path):
    level = velocity_level([[61.0]], ("passby", "frequency"), passby=["P1"], frequency=[50.0])
    notes = ("measured twice,=cmd|' /c calc'!A0;\uff1d1",)
    file = write_passbys(Passbys(level, notes=notes), tmp_path / "p.csv")
    first = file.read_text(encoding="utf-8").splitlines()[0]
    assert first == "# measured twice,'=cmd|' /c calc'!A0;'\uff1d1"


def test_a_file_without_background_has_no_kinds(tmp_path):
    level = velocity_level([[81.1, 82.7]], ("passby", "frequency"), passby=["a,b"],
                           frequency=[50.0, 63.0])  # fmt: skip
    file = write_passbys(Passbys(level), tmp_path / "p.csv")
    got = read_passbys(file, quantity="velocity", reference="1 nm/s", time_weighting="S max")
    np.testing.assert_array_equal(got.level, level)
    assert got.level["passby"].values.tolist() == ["a,b"]
    assert got.background is None


def test_acceleration_becomes_velocity():
    """A tone at the exact middle of the band: a = 2π f v."""
    recording = bursts(size=6e-7)
    factor = 2 * np.pi * TONE
    signal = (recording.signal * factor).assign_attrs(quantity="acceleration", units="m/s²")
    measured = extract_passbys(Recording(signal=signal, sample_rate=RATE), rule=RULE, **BANDS)
    level = measured.corrected("S max").sel(channel="z", frequency=50.0)
    np.testing.assert_allclose(level, 80.0, atol=0.2)


def test_nothing_to_measure_says_why():
    quiet = Recording(signal=noise(21, 120.0), sample_rate=RATE, file="quiet")
    with pytest.raises(RecordingError, match="quiet: no event is left to measure; none was found"):
        extract_passbys(quiet, rule=RULE, **BANDS)
    two = bursts()
    with pytest.raises(RecordingError, match=r"left out: too long \(1[23]\."):
        extract_passbys(two, rule=DetectionRule(low=50.0, high=50.0, averaging=1.0, least=5.0,
                                                most=8.0), **BANDS)  # fmt: skip


def test_an_event_without_background_nearby_is_left_out():
    recording = bursts()
    events = RULE.find(recording)
    measured = measure_passbys(recording, events, background=110.0, clear=2.0, **BANDS)
    assert measured.data["passby"].values.tolist() == ["P002"]
    assert "no 55 s of background before it" in measured.events.log()[0]


def test_what_is_known_of_each_train_must_fit():
    recording = bursts()
    events = RULE.find(recording)
    with pytest.raises(ValueError, match=r"about\['track'\] has 2 entries for 3 events"):
        measure_passbys(recording, events, about={"track": ["1", "2"]}, **BANDS)
    with pytest.raises(ValueError, match="about is 'trak'"):
        measure_passbys(recording, events, about={"trak": ["1", "2", "1"]}, **BANDS)
    with pytest.raises(ValueError, match="speed_kmh is -5"):
        measure_passbys(recording, events, about={"speed_kmh": [50, -5, 60]}, **BANDS)


def test_sound_is_measured_in_its_own_reference_and_displacement_is_refused():
    recording = bursts()
    events = RULE.find(recording)
    signal = recording.signal.assign_attrs(quantity="sound pressure", units="Pa")
    sound = measure_passbys(Recording(signal=signal, sample_rate=RATE), events, **BANDS)
    as_velocity = measure_passbys(recording, events, **BANDS)
    assert sound.data["s_max"].attrs["reference"] == "20 µPa"
    # The same numbers, in Pa re 20 µPa and not in m/s re 1 nm/s.
    apart = as_velocity.data["s_max"] - sound.data["s_max"]
    np.testing.assert_allclose(apart, 20 * np.log10(20e-6 / 1e-9), atol=1e-9)
    signal = recording.signal.assign_attrs(quantity="displacement", units="m")
    with pytest.raises(RecordingError, match="velocity, acceleration or sound pressure"):
        measure_passbys(Recording(signal=signal, sample_rate=RATE), events, **BANDS)


def test_a_rule_that_keeps_knocks_is_refused():
    with pytest.raises(ValueError, match="a knock lasts as long as the mean"):
        DetectionRule(low=50.0, high=50.0, averaging=2.0, least=2.0)


def test_a_rate_too_low_names_file_and_channels():
    signal = xr.DataArray(
        np.zeros((2, 4096)), dims=("channel", "time"), coords={"channel": ["x", "z"]},
        attrs={"quantity": "velocity", "units": "m/s"},
    )  # fmt: skip
    recording = Recording(signal=signal, sample_rate=RATE, file="monday.wav")
    rule = DetectionRule(low=20.0, high=200.0)
    with pytest.raises(RecordingError, match=r"monday.wav, channels x, z: .*200 Hz band needs"):
        rule.find(recording)


def test_noise_in_the_lowest_bands_is_no_train():
    """Twice the scatter of a reading is asked for below 8 Hz; steady noise alone, forty times."""
    rng = np.random.default_rng(3)
    steady = xr.DataArray(
        rng.normal(size=(1, int(RATE * 1600))), dims=("channel", "time"),
        coords={"channel": ["z"]}, attrs={"quantity": "velocity", "units": "m/s"},
    )  # fmt: skip
    recording = Recording(signal=steady, sample_rate=RATE, file="")
    times = [(20.0 + 39.0 * i, 35.0 + 39.0 * i) for i in range(40)]
    bank = ThirdOctaveBank(sample_rate=RATE, low=4.0, high=80.0)
    events = events_at(times, history=band_history(bank.mean_square(steady), low=20.0, high=80.0))
    found = measure_passbys(recording, events, low=4.0, high=80.0)
    taken = ~found.corrected("S max")["upper_limit"].values
    assert taken.mean() < 0.02


def test_events_are_found_part_by_part_as_in_the_whole():
    """Parts of odd length; what judges the signal itself is left to the sections."""
    recording = bursts()
    whole = RULE.find(recording)
    cuts = [0.0, 7.3, 31.1, recording.duration]
    parts = [recording.between(a, b) for a, b in pairwise(cuts)]
    found = RULE.search(iter(parts))
    for name in ("start", "end", "peak", "level"):
        np.testing.assert_allclose(found.table[name], whole.table[name], rtol=1e-9)
    assert any("part by part" in note for note in found.notes)
    with pytest.raises(RecordingError, match="there is no part"):
        RULE.search([])


@pytest.mark.parametrize(("statistic", "window"), [("leq T1", "t1"), ("leq T2", "t2"),
                                                   ("leq T3", "t3"), ("S max", "t2")])  # fmt: skip
def test_the_duration_goes_with_the_statistic(loud, statistic, window):
    """Of T3 the level and its duration give the exposure that was measured, within 0.01 dB where
    nothing was taken off for the background."""
    level = loud.to_passbys(upper_limits="keep", statistic=statistic, channel="z").level
    np.testing.assert_allclose(level["duration_s"], loud.data[window])
    if statistic == "leq T3":
        exposure = loud.data["exposure"].sel(channel="z") + 0 * level
        found = level + 10 * np.log10(level["duration_s"])
        clear = (level - loud.data["background"].sel(channel="z")) > 10
        assert bool(clear.any())
        assert float(abs(found - exposure).where(clear, 0.0).max()) < 0.01


def test_parts_that_do_not_join_are_refused():
    recording = bursts()
    one, two = recording.between(0.0, 20.0), recording.between(20.0, 60.0)
    late = recording.between(25.0, 60.0)
    with pytest.raises(RecordingError, match=r"part 2: it begins \+5 s from the end"):
        RULE.search([one, late])
    with pytest.raises(RecordingError, match="part 2: it begins -60 s"):
        RULE.search([two, one])
    faster = Recording(signal=two.signal, sample_rate=2 * RATE, file="", first_time=20.0)
    with pytest.raises(RecordingError, match=r"part 2: 1024 Hz, channels .*has 512 Hz"):
        RULE.search([one, faster])


def test_a_bank_of_another_rate_is_refused():
    recording = bursts()
    events = RULE.find(recording)
    bank = ThirdOctaveBank(sample_rate=480.0, low=25.0, high=100.0)
    with pytest.raises(RecordingError, match="has 512 Hz, the bank is for 480 Hz"):
        measure_passbys(recording, events, low=25.0, high=100.0, bank=bank)


def test_histories_in_other_units_or_of_no_channel_are_refused():
    square = ThirdOctaveBank(sample_rate=RATE, low=25.0, high=100.0).mean_square(bursts().signal)
    with pytest.raises(RecordingError, match=r"units are '\(mm/s\)²'.*'\(m/s\)²' are needed"):
        band_history(square.assign_attrs(units="(mm/s)²"))
    first = str(square["channel"].values[0])
    with pytest.raises(RecordingError, match="named once"):
        band_history(square, channels=[first, first])
    with pytest.raises(RecordingError, match="no dim channel"):
        band_history(square.isel(channel=0), channels=[first])


def test_hysteresis_stays_below_the_threshold():
    with pytest.raises(ValueError, match="would end below the background"):
        find_events(history((100, 120, 80)), threshold=6.0, hysteresis=6.0)


def test_the_background_is_taken_to_the_end_of_the_record():
    """It rises by 8 dB after ten minutes; a train of the last stretch is found all the same."""
    raised = history((600, 1190, 58), (900, 915, 80), length=1190.0)
    found = find_events(raised, window=600.0, threshold=10.0)
    kept = found.only_kept().table
    assert kept["start"].values.tolist() == [900.0]


@pytest.mark.parametrize("kind", ["datetime64[s]", "U3"])
def test_times_of_a_history_are_numbers(kind) -> None:
    """Clock times would count as nanoseconds, and words are none."""
    time = np.arange(120).astype(kind)
    history = stamp(
        xr.DataArray(np.full(120, 60.0), coords={"time": time}, dims="time"),
        quantity="velocity", reference="1 nm/s", long_name="level history",
    )  # fmt: skip
    with pytest.raises(RecordingError, match=r"such as .*; numbers in s from the start of the rec"):
        find_events(history)
