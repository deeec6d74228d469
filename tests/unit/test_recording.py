"""The recording itself, its checks, its clock, and the calibration tone."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import xarray as xr

from groundborne._checks import BandError, RecordingError
from groundborne.records.channel import Channel, require_channels, unit_name
from groundborne.records.checks.faults import (
    clipping,
    doubtful_sensitivity,
    inspected,
    noise_model_departure,
    repeated_blocks,
    require_live,
    require_rate,
)
from groundborne.records.checks.noise_models import new_high_noise_model, new_low_noise_model
from groundborne.records.checks.tone import check_tone
from groundborne.records.readers.clock import clock_of, onto_uniform_clock, snapped
from groundborne.records.recording import Recording, RecordingWarning, assemble

UNITS = {"acceleration": "m/s²", "velocity": "m/s", "sound pressure": "Pa", "force": "N"}


def made(values, sample_rate=200.0, quantity="acceleration", **arguments):
    values = np.atleast_2d(np.asarray(values, dtype=float))
    channels = [
        Channel(name=name, axis=name, unit=UNITS[quantity], quantity=quantity)
        for name in "xyz"[: values.shape[0]]
    ]
    return assemble(values, channels, sample_rate=sample_rate, file="hall.wav", **arguments)


def noise(rows=1, samples=12000, seed=3):
    return np.random.default_rng(seed).normal(size=(rows, samples))


# --- Recording


def test_a_recording_knows_its_clock_and_channels():
    start = np.datetime64("2024-05-06T07:08:09.25")
    recording = made(noise(3, 1000), start=start, first_time=-2.0)
    assert recording.channels == ("x", "y", "z")
    assert recording.duration == 5.0
    np.testing.assert_allclose(recording.times()[[0, 1, -1]], [0.0, 0.005, 4.995])
    part = recording.between(1.5, 2.0)
    assert part.samples == 100
    np.testing.assert_array_equal(part.signal, recording.signal[:, 300:400])
    assert part.start == np.datetime64("2024-05-06T07:08:10.75")
    assert part.first_time == -0.5
    assert part.notes[-1] == "hall.wav: cut to 1.5 to 2 s"
    assert "time" not in part.signal.coords
    picked = recording.select(["z", "x"])
    assert picked.channels == ("z", "x")
    np.testing.assert_array_equal(picked.signal[1], recording.signal[0])
    assert recording.select("y").signal["axis"].values.tolist() == ["y"]


@pytest.mark.parametrize(("t1", "t2"), [(-0.1, 1.0), (1.0, 1.0), (2.0, 1.0), (4.0, 5.1)])
def test_a_part_outside_is_refused(t1, t2):
    with pytest.raises(RecordingError, match=r"hall\.wav\.between: .* holds 0 to 5 s"):
        made(noise(1, 1000)).between(t1, t2)


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [("Z", "known are 'x', 'y', 'z'"), ([], "no channel"), (["x", "x"], "asked for twice")],
)
def test_a_wrong_channel_is_refused(asked, sentence):
    with pytest.raises(RecordingError, match=sentence):
        made(noise(3)).select(asked)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"signal": xr.DataArray(np.ones(5), dims="time")}, "dims"),
        ({"signal": xr.DataArray(np.ones((1, 5)), dims=("channel", "time"))}, "no names"),
        ({"sample_rate": 0.0}, "rate is 0; it must be above 0 Hz"),
        ({"sample_rate": np.nan}, "rate is nan"),
        ({"start": np.datetime64("NaT")}, "not a time; give a numpy.datetime64"),
    ],
)
def test_a_recording_that_is_none_is_refused(changes, sentence):
    whole = made(noise(1, 50))
    arguments = {"signal": whole.signal, "sample_rate": 200.0, "file": "hall.wav", **changes}
    with pytest.raises(ValueError, match=sentence):
        Recording(**arguments)


@pytest.mark.parametrize(
    ("attrs", "sentence"),
    [({}, "quantity is None"), ({"quantity": "velocity", "units": "mm/s"}, "is in 'm/s'")],
)
def test_an_unlabelled_signal_is_refused(attrs, sentence):
    signal = made(noise(1, 50)).signal.copy()
    signal.attrs = attrs
    with pytest.raises(RecordingError, match=sentence):
        Recording(signal=signal, sample_rate=100.0)


def test_velocity_is_integrated_and_noted():
    time = np.arange(4000) / 200.0
    recording = made(np.cos(2 * np.pi * 10 * time) + 0.5)
    velocity = recording.velocity(low_cut=1.0)
    expected = np.sin(2 * np.pi * 10 * time) / (2 * np.pi * 10)
    # 0.5 % is what the integration promises four periods of the cut inside.
    np.testing.assert_allclose(
        velocity.signal[0, 800:-800], expected[800:-800], atol=0.005 / (2 * np.pi * 10)
    )
    assert velocity.quantity == "velocity"
    assert "low cut of 1 Hz" in velocity.notes[-1]
    assert "0.5 m/s²" in velocity.notes[-1]
    again = velocity.velocity(low_cut=1.0)
    assert again.signal is velocity.signal
    assert "no low cut was applied" in again.notes[-1]
    with pytest.raises(RecordingError, match="low_cut is missing"):
        recording.velocity()
    with pytest.raises(RecordingError, match="sound pressure cannot become velocity"):
        made(noise(), quantity="sound pressure").velocity(low_cut=1.0)
    with pytest.raises(RecordingError, match=r"hall\.wav: integrate: .* at least 40 s"):
        recording.velocity(low_cut=0.1)


# --- channels


@pytest.mark.parametrize(
    ("text", "name"),
    [("m/s2", "m/s²"), ("[m/s^2]", "m/s²"), ("mm/s**2", "mm/s²"), ("um/s", "µm/s"), ("μg", "µg"),
     ("(ug)", "µg"), ("m/s/s", "m/s²"), ("mm / s", "mm/s"), ("g", "g"), ("kN", "kN"),
     ("furlong", "furlong"), ("m2", "m2"), ("", "")],
)  # fmt: skip
def test_spellings_of_units(text, name):
    assert unit_name(text) == name


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ({"unit": "V", "quantity": "velocity"}, "unit is 'V'"),
        ({"unit": "mm/s", "quantity": "acceleration"}, "one of velocity, the quantity is"),
        ({"unit": "mm/s", "quantity": "speed"}, "quantity is 'speed'"),
        ({"unit": "g", "quantity": "acceleration", "full_scale": 0.0}, "full_scale is 0"),
        ({"unit": "g", "quantity": "acceleration", "sensitivity": -1.0}, "sensitivity is -1"),
    ],
)
def test_a_channel_that_contradicts_itself_is_refused(arguments, sentence):
    with pytest.raises(ValueError, match=sentence):
        Channel(name="z", **arguments)


def test_channels_of_two_quantities_or_names_are_refused():
    z = Channel(name="z", unit="g", quantity="acceleration")
    p = Channel(name="p", unit="Pa", quantity="sound pressure")
    with pytest.raises(RecordingError, match="one quantity at a time"):
        require_channels("a.csv", [z, p])
    with pytest.raises(RecordingError, match="'z' is given twice"):
        require_channels("a.csv", [z, z])
    with pytest.raises(RecordingError, match="Channel objects are needed"):
        require_channels("a.csv", [])


# --- faults


def test_samples_that_are_not_finite_are_named():
    values = noise(2, 1000)
    values[1, 300:303] = np.nan
    with pytest.raises(RecordingError, match=r"hall\.wav, channel 'y', 1\.5 s: .* nan; 3 samples"):
        made(values)
    values[1, 100] = -np.inf
    with pytest.raises(RecordingError, match=r"channel 'y', 0\.5 s: the value is -inf"):
        inspected(made(values))


@pytest.mark.parametrize("value", [0.0, 1.25])
def test_a_dead_channel_is_named(value):
    values = noise(3)
    values[2] = value
    with pytest.raises(
        RecordingError, match=f"channel 'z', 0 s: dead channel: all 12000 .* {value:g}"
    ):
        require_live(made(values))


def test_clipping_is_named_with_side_and_time():
    values = 1e-3 * noise(2)
    values[1] = np.minimum(values[1], 1.5e-3)
    (text,) = clipping(made(values))
    runs = np.flatnonzero(np.convolve(values[1] == 1.5e-3, np.ones(3), "valid") == 3)
    assert f"channel 'y', {runs[0] / 200:g} s: clipping" in text
    assert "at 0.0015 m/s²" in text
    with pytest.warns(RecordingWarning, match="clipping"):
        assert any("clipping" in note for note in inspected(made(values)).notes)


def test_a_coarse_slow_wave_is_not_taken_for_clipping():
    """Its crests rest on one step of the digitiser for many samples, one step from the next."""
    crest = np.rint(20 * np.sin(2 * np.pi * 0.5 * np.arange(8000) / 200.0)) * 1e-4
    assert (crest == crest.max()).sum() > 100
    assert clipping(made(crest)) == ()
    assert clipping(made(np.clip(crest, -1.0, 1e-3))) == ()
    fast = np.rint(2000 * np.sin(2 * np.pi * 9.7 * np.arange(8000) / 200.0))
    assert clipping(made(fast)) == ()
    assert len(clipping(made(np.clip(fast, -1500, 1500)))) == 2


def test_a_single_sample_at_full_scale_is_named():
    values = np.clip(1e-3 * noise(), -2e-3, 2e-3)
    values[0, 700] = 0.01
    assert clipping(made(values), full_scale={"x": 0.011}) == clipping(made(values))
    (text, *_) = clipping(made(values), full_scale={"x": 0.01})
    assert "channel 'x', 3.5 s: clipping: 1 times at full scale 0.01 m/s²" in text


def test_a_standstill_is_named():
    values = 1e-4 * noise(2)
    values[0, 4000:4100] = values[0, 4000]
    (text,) = repeated_blocks(made(values))
    assert text.startswith("hall.wav, channel 'x', 20 s: the value stands still for 0.5 s")
    assert repeated_blocks(made(values), longest=0.6) == ()


# --- sensitivity against natural ground noise


def shaped(level_db, quantity="acceleration", sample_rate=100.0, seconds=400):
    """Noise of a flat power spectral density [dB re 1 (m/s²)²/Hz]."""
    white = noise(1, int(sample_rate * seconds))
    values = white * np.sqrt(10 ** (level_db / 10) * sample_rate / 2)
    if quantity == "acceleration":
        return made(values, sample_rate=sample_rate)
    lines = np.fft.rfftfreq(values.shape[1], 1 / sample_rate)
    spectrum = np.fft.rfft(values)
    spectrum[:, 1:] /= 2j * np.pi * lines[1:]
    spectrum[:, 0] = 0.0
    return made(
        np.fft.irfft(spectrum, n=values.shape[1]), sample_rate=sample_rate, quantity="velocity"
    )


@pytest.mark.parametrize("quantity", ["acceleration", "velocity"])
@pytest.mark.parametrize("level", [-20.0, -230.0])
def test_the_departure_is_the_distance_to_the_models(quantity, level):
    found = float(noise_model_departure(shaped(level, quantity))[0])
    lines = np.linspace(0.1, 10.0, 1000)
    model = new_high_noise_model if level > -100 else new_low_noise_model
    expected = float(np.median(level - model(lines)))
    # The tenth percentile of 15 medians over some 500 lines lies within 1 dB of the truth.
    assert found == pytest.approx(expected, abs=1.0)


@pytest.mark.parametrize(("level", "count"), [(-60.0, 0), (-130.0, 0), (-20.0, 1), (-230.0, 1)])
def test_only_what_lies_40_db_outside_is_doubted(level, count):
    assert len(doubtful_sensitivity(shaped(level))) == count


def test_a_short_or_slow_record_is_not_compared():
    assert noise_model_departure(made(noise(1, 400))) is None
    assert noise_model_departure(made(noise(), quantity="force")) is None


def test_a_passby_does_not_decide():
    values = shaped(-110.0).signal.values.copy()
    values[0, 10000:16000] += 3.0 * noise(1, 6000)[0]
    assert doubtful_sensitivity(made(values, sample_rate=100.0)) == ()


@pytest.mark.parametrize("model", [new_low_noise_model, new_high_noise_model])
def test_the_models_are_continuous_and_not_extrapolated(model):
    lines = np.geomspace(1e-5, 10.0, 20001)
    # The printed coefficients meet within 0.1 dB; the steepest piece falls 163 dB a decade.
    assert np.abs(np.diff(model(lines))).max() < 0.1 + 163 * 6 / 20000
    for frequency in (10.01, 9.9e-6):
        with pytest.raises(ValueError, match="the model holds from 1e-05 to 10 Hz"):
            model(frequency)
    low = xr.DataArray(lines, dims="line")
    assert model(low).attrs["units"] == "dB"
    assert (new_high_noise_model(lines) > new_low_noise_model(lines)).all()


# --- rate


def test_a_rate_is_refused_or_doubted_for_a_band():
    require_rate(sample_rate=2048.0, high_band=630.0)
    with pytest.warns(RecordingWarning, match=r"band 800 Hz .* anti-alias"):
        require_rate(sample_rate=2048.0, high_band=800.0)
    with pytest.raises(RecordingError, match=r"a\.wav: the band 1000 Hz reaches up to 1122 Hz"):
        require_rate(sample_rate=2048.0, high_band=1000.0, where="a.wav")
    with pytest.raises(BandError):
        require_rate(sample_rate=2048.0, high_band=640.0)


# --- clock


def test_an_odd_rate_survives_the_rounding_of_its_column():
    times = np.round(-40 + np.arange(6000) / 99.4315, 3)
    clock = clock_of(times, file="a.csv")
    # Rounding to 1 ms over 60 s leaves 2e-5 of the rate open at most, and a line far less.
    assert clock.sample_rate == pytest.approx(99.4315, rel=2e-6)
    assert clock.uniform
    with pytest.raises(RecordingError, match=r"printed to 0\.01 s, too coarsely to tell a missing"):
        clock_of(np.round(times, 2), file="a.csv")
    with pytest.raises(RecordingError, match=r"given as 99\.4315 Hz, the time column runs at"):
        clock_of(np.round(times, 2), file="a.csv", sample_rate=99.4315)
    seconds = np.r_[0:50, 51:100].astype(float)
    assert clock_of(seconds, file="a.csv", sample_rate=1.0).missing.tolist() == [50.0]
    assert clock_of(np.arange(1000) * 0.001, file="a.csv").sample_rate == 1000.0
    assert snapped(500.002, 2e-6) == 500.002


def test_doubled_missing_and_gaps_are_named_and_mended():
    slots = np.r_[0:100, 99, 100, 102:200, 230:400]
    times = slots / 128.0 + 5
    values = np.sin(slots / 10.0)[None]
    clock = clock_of(times, file="a.csv")
    assert clock.sample_rate == 128.0
    np.testing.assert_array_equal(clock.slot[-3:], [397, 398, 399])
    np.testing.assert_allclose(clock.doubled, [5 + 99 / 128])
    np.testing.assert_allclose(clock.missing, 5 + np.r_[101, 200:230] / 128)
    assert "1 of these are gaps: 30 samples from 6.5625 s" in clock.notes[-1]
    with pytest.raises(RecordingError, match=r"gap of 30 samples after 6\.55"):
        onto_uniform_clock(values, clock, file="a.csv", longest_gap=2)
    mended, note = onto_uniform_clock(values, clock, file="a.csv", longest_gap=30)
    assert mended.shape == (1, 400)
    np.testing.assert_array_equal(mended[0, slots], values[0])
    assert mended[0, 101] == pytest.approx((np.sin(10.0) + np.sin(10.2)) / 2)
    assert "1 doubled samples dropped, 31 missing ones" in note
    values[0, 100] += 1e-9
    with pytest.raises(RecordingError, match=r"5\.77344 s is given twice with different values"):
        onto_uniform_clock(values, clock, file="a.csv", longest_gap=30)


@pytest.mark.parametrize(
    ("times", "sentence"),
    [
        ([0.0, 0.01], "at least three"),
        ([0.0, 0.01, np.nan], "time 3 is nan"),
        ([0.0, 0.01, 0.02, 0.015, 0.025], r"clock jump: time runs back from 0\.02 to 0\.015"),
        ([0.0, 0.01, 0.02, 0.036, 0.046, 0.056], r"clock jump: 0\.02 s is followed by 0\.036 s"),
        ([1.0, 1.0, 1.0, 1.001, 1.001, 1.001], "printed too coarsely"),
        ([3.0, 2.0, 1.0], "does not rise"),
        ([0.0, 0.01, 0.02, 0.0305, 1e12], "clock jump: 1e.12 s after"),
        ([0.0, 0.01, 0.02, 0.0299, 1e5], "gap of 100000 s after 0.0299"),
    ],
)
def test_a_clock_that_cannot_be_laid_on_a_grid_is_refused(times, sentence):
    with pytest.raises(RecordingError, match=f"a.csv: .*{sentence}"):
        clock_of(np.array(times), file="a.csv")


def test_a_drifting_clock_is_noted():
    n = np.arange(20000)
    times = n / 100.0 + 2e-3 * (n / 1000.0) ** 2
    clock = clock_of(times, file="a.csv")
    assert "the clock wanders: near" in clock.notes[0]


# --- tone


@pytest.mark.parametrize("frequency", [15.9155, 79.6, 159.155])
@pytest.mark.parametrize("ratio", [0.8, 1.0, 1.02])
def test_a_tone_is_found(frequency, ratio):
    time = np.arange(int(2000 * 5.37)) / 2000.0
    rms = 10.0
    tone = ratio * rms * np.sqrt(2) * np.sin(2 * np.pi * frequency * 1.003 * time + 0.7)
    recording = made(tone + 0.3 + 0.05 * noise(1, time.size)[0], sample_rate=2000.0)
    found = check_tone(recording, channel="x", frequency=frequency, rms=rms, tolerance_db=0.2)
    # Noise of 0.05 m/s² against 10 m/s² over 10 000 samples: 5e-5 of the amplitude.
    assert found.sensitivity_ratio == pytest.approx(ratio, rel=5e-4)
    assert found.frequency == pytest.approx(1.003 * frequency, rel=1e-5)
    assert found.met == (ratio != 0.8)
    assert found.rest == pytest.approx(20 * np.log10(0.05 / (10 * ratio)), abs=0.5)
    assert ("would be right" in found.text) == (ratio == 0.8)
    if ratio == 0.8:
        assert f"{found.sensitivity_ratio:.5g} times the one used" in found.text


@pytest.mark.parametrize(
    ("values", "arguments", "sentence"),
    [
        (noise(1, 4000), {}, "no clear tone near 80 Hz"),
        (np.zeros((1, 4000)), {}, "silent"),
        (np.sin(2 * np.pi * 50 * np.arange(4000) / 500), {}, "no clear tone near 80 Hz"),
        (noise(1, 4000), {"frequency": 240.0}, "needs more than 528 samples"),
        (noise(1, 40), {}, "fewer than ten periods"),
        (noise(1, 4000), {"rms": 0.0}, "rms is 0"),
        (noise(1, 4000), {"channel": "q"}, "channel is 'q'"),
    ],
)
def test_what_is_no_tone_is_refused(values, arguments, sentence):
    asked = {"channel": "x", "frequency": 80.0, "rms": 1.0, "tolerance_db": 0.5, **arguments}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(ValueError, match=sentence):
            check_tone(made(values, sample_rate=500.0), **asked)
