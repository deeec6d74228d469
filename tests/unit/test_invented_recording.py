"""The invented recording: its truth against an independent reckoning, and what it is made of."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.signal import fftconvolve, firwin, welch

from groundborne import bands
from groundborne.records.checks.noise_models import new_high_noise_model, new_low_noise_model
from groundborne.source.invented.site import invented_recording, unrest
from groundborne.source.invented.trains import FREIGHT, METRO, REGIONAL, InventedTrain

ALONE = {"meetings": 0, "knocks": (0, 0), "footsteps": (0, 0), "drop_outs": (0, 0)}
SILENT = {"sensor_noise": 0.0, "unrest_share": 0.0}


@pytest.fixture(scope="module")
def site():
    return invented_recording(
        seed=3, duration=1500.0, sample_rate=512.0, trains=((METRO, 6), (FREIGHT, 4)),
        knocks=(3, 1), footsteps=(1, 1), drop_outs=(1, 1), meetings=1,
    )  # fmt: skip


@pytest.fixture(scope="module")
def clean():
    return invented_recording(
        seed=5,
        duration=400.0,
        trains=((METRO, 3), (FREIGHT, 2)),
        quantity="velocity",
        **ALONE,
        **SILENT,
    )


# ---------------------------------------------------------------- the truth


@pytest.mark.parametrize("band", [16.0, 31.5, 63.0])
@pytest.mark.parametrize(("name", "tau", "tolerance"), [("s_max", 1.0, 0.6), ("f_max", 0.125, 0.7)])
def test_truth_equals_another_filter_and_another_average(clean, band, name, tau, tolerance):
    # A long finite filter of linear phase stands for the ideal band, a plain recursion in the time
    # of the record for the average. It rings for 2 s and an ideal one for ever, and a line
    # at a band edge falls to either side: at most 0.47 dB with S and 0.55 dB with F.
    recording, truth = clean
    z = recording.signal.sel(channel="z").values
    low, high = bands.edges(band)
    kernel = firwin(
        4097, (low, high), pass_zero=False, window=("kaiser", 4.0), fs=recording.sample_rate
    )
    square = fftconvolve(z, kernel, mode="same") ** 2
    share = 1 - np.exp(-1 / (recording.sample_rate * tau))
    spans = zip(truth["start"].values, truth["end"].values, strict=True)
    found = []
    for start, end in spans:
        running, largest = 0.0, 0.0
        part = square[
            round((start - 5) * recording.sample_rate) : round((end + 2) * recording.sample_rate)
        ]
        for value in part:
            running += share * (value - running)
            largest = max(largest, running)
        found.append(10 * np.log10(largest / 1e-18))
    truth_here = truth[name].sel(channel="z", frequency=band).values
    np.testing.assert_allclose(found, truth_here, atol=tolerance)


def test_equivalent_levels_hold_the_energy_of_the_record(clean):
    # All bands together are the mean square of the record from start to end: there is nothing
    # else in it but the last of the noise, and next to no energy outside the bands.
    recording, truth = clean
    total = (10 ** (truth["leq"] / 10)).sum("frequency")
    for name in truth["passby"].values.tolist():
        start, end = (float(truth[k].sel(passby=name)) for k in ("start", "end"))
        part = recording.signal[
            :, round(start * recording.sample_rate) : round(end * recording.sample_rate)
        ]
        mean_square = (part**2).mean("time") / 1e-18
        np.testing.assert_allclose(
            10 * np.log10(mean_square.values / total.sel(passby=name).values), 0.0, atol=0.15
        )


def test_acceleration_is_the_derivative_of_the_velocity():
    kwargs = dict(duration=120.0, trains=((METRO, 1),), **ALONE, **SILENT)
    a, _ = invented_recording(seed=2, **kwargs)
    v, truth = invented_recording(seed=2, **kwargs, quantity="velocity")
    inside = slice(
        round((float(truth["start"][0]) - 1) * v.sample_rate),
        round((float(truth["end"][0]) + 1) * v.sample_rate),
    )
    part = v.signal.sel(channel="z").values[inside]
    # Central differences are low by (2π f / rate)²/6; at 80 Hz and 1024 Hz that is 4 %.
    np.testing.assert_allclose(
        np.gradient(part, 1 / v.sample_rate)[1:-1],
        a.signal.sel(channel="z").values[inside][1:-1],
        atol=0.08 * np.abs(a.signal.values).max(),
    )
    assert (a.signal.attrs["quantity"], a.signal.attrs["units"]) == ("acceleration", "m/s²")
    assert (v.signal.attrs["quantity"], v.signal.attrs["units"]) == ("velocity", "m/s")


def test_usual_trains_have_the_level_they_are_given():
    steady = dataclasses.replace(METRO, speed_spread=0.0, level_spread=0.0)
    _, truth = invented_recording(
        seed=4, duration=900.0, trains=((steady, 16),), tracks=(("one", 12.0),), **ALONE, **SILENT
    )
    all_bands = 10 * np.log10((10 ** (truth["leq"].sel(channel="z") / 10)).sum("frequency"))
    # From 10 dB down to 10 dB down the mean lies below the largest; by how much follows from the
    # envelope. Sixteen trains leave a standard error of 0.05 dB.
    energy, _ = steady.envelope(sample_rate=64.0, speed=steady.speed, distance=12.0)
    assert energy.max() == pytest.approx(1.0, abs=0.02)
    below = 10 * np.log10(energy[energy >= 0.1 * energy.max()].mean())
    assert float(all_bands.mean()) == pytest.approx(steady.level + below, abs=0.25)


def test_far_track_is_quieter_and_loses_its_high_frequencies():
    steady = dataclasses.replace(REGIONAL, speed_spread=0.0, level_spread=0.0)
    _, truth = invented_recording(
        seed=6, duration=1800.0, trains=((steady, 24),), tracks=(("near", 12.0), ("far", 24.0)),
        **ALONE, **SILENT,
    )  # fmt: skip
    by_track = truth["leq"].sel(channel="z").groupby("track").mean("passby")
    drop = by_track.sel(track="near") - by_track.sel(track="far")
    # Damping: 4.343 2π f η Δr / c, from 20 to 100 Hz; the rest is the same for both.
    expected = 4.343 * 2 * np.pi * (100 - 20) * 0.06 * 12 / 250
    assert float(drop.sel(frequency=100.0) - drop.sel(frequency=20.0)) == pytest.approx(
        expected, abs=1.0
    )
    assert float(drop.sel(frequency=20.0)) > 2.0


# ---------------------------------------------------------------- the parts


def test_the_record_is_what_was_asked_for(site):
    recording, truth = site
    assert recording.signal.shape == (3, 1500 * 512)
    assert recording.signal["channel"].values.tolist() == ["x", "y", "z"]
    assert np.isfinite(recording.signal.values).all()
    assert "invented" in recording.notes[0]
    assert truth.attrs["invented"] == "true"
    kinds, counts = np.unique(truth["kind"].values, return_counts=True)
    expected = {"train": 10, "knock": 4, "footsteps": 2, "drop-out": 2}
    assert dict(zip(kinds.tolist(), counts.tolist(), strict=True)) == expected
    kinds, counts = np.unique(truth["spoilt_by"].values, return_counts=True)
    assert dict(zip(kinds.tolist(), counts.tolist(), strict=True)) == {
        "": 5, "another train": 2, "knock": 1, "footsteps": 1, "drop-out": 1
    }  # fmt: skip
    types, tracks = truth["train_type"].values, truth["track"].values
    pairs = sorted(zip(types.tolist(), tracks.tolist(), strict=True))
    assert pairs == sorted(
        [("metro", "near")] * 3 + [("metro", "far")] * 3
        + [("freight", "near")] * 2 + [("freight", "far")] * 2
    )  # fmt: skip
    assert bool((truth["end"] > truth["start"]).all())
    assert np.isfinite(truth["s_max"].values).all()


def test_spoilt_trains_are_hit_and_others_are_not(site):
    _, truth = site
    others = truth["kind"].values != "train"
    starts, ends = truth["event_start"].values, truth["event_end"].values
    for name in truth["passby"].values.tolist():
        one = truth.sel(passby=name)
        hit = (starts < float(one["end"])) & (ends > float(one["start"]))
        reasons = set(truth["kind"].values[hit & others].tolist())
        if (hit & ~others).sum() == 2:
            reasons.add("another train")
        assert ", ".join(sorted(reasons)) == one["spoilt_by"].item()


def test_trains_stand_out_at_the_times_told(site):
    recording, truth = site
    z = recording.signal.sel(channel="z").values
    quiet = np.ones(z.size, bool)
    spans = zip(truth["event_start"].values, truth["event_end"].values, strict=True)
    for start, end in spans:
        quiet[max(0, int((start - 8) * 512)) : int((end + 8) * 512)] = False
    noise = np.sqrt((z[quiet] ** 2).mean())
    for name in truth["passby"].values[truth["spoilt_by"].values == ""].tolist():
        start, end = (float(truth[k].sel(passby=name)) for k in ("start", "end"))
        part = z[int(start * 512) : int(end * 512)]
        assert np.sqrt((part**2).mean()) > 5 * noise


def test_drop_outs_are_zeros(site):
    recording, truth = site
    for at in np.flatnonzero(truth["kind"].values == "drop-out"):
        start = float(truth["event_start"][at])
        part = recording.signal.values[:, round(start * 512) : round((start + 1.5) * 512)]
        assert (part == 0).mean() > 0.99
    zeros = (recording.signal.values == 0).all(0).sum()
    assert zeros == 2 * 1.5 * 512


def test_the_floor_has_the_density_it_was_given():
    recording, truth = invented_recording(
        seed=8, duration=600.0, trains=((METRO, 1),), sensor_noise=3e-5, unrest_share=0.8, **ALONE
    )
    start, end = float(truth["start"][0]) - 15, float(truth["end"][0]) + 15
    z = recording.signal.sel(channel="z").values
    quiet = z[: int(start * 1024)] if start > 600 - end else z[int(end * 1024) :]
    assert quiet.size > 200 * 1024
    f, density = welch(quiet, fs=1024.0, nperseg=8192)
    wanted = unrest(f, 0.8) + 3e-5**2
    for low, high in ((2.0, 8.0), (8.0, 30.0), (100.0, 400.0)):
        part = (f > low) & (f < high)
        # Fifty averages or more over forty-eight lines or more: 0.1 dB.
        ratio = 10 * np.log10(density[part].mean() / wanted[part].mean())
        assert abs(ratio) < 0.4


def test_same_seed_same_record_other_seed_another():
    kwargs = dict(duration=100.0, sample_rate=256.0, trains=((METRO, 1),), **ALONE)
    one, truth = invented_recording(seed=11, **kwargs)
    same, _ = invented_recording(seed=np.random.default_rng(11), **kwargs)
    other, _ = invented_recording(seed=12, **kwargs)
    np.testing.assert_array_equal(one.signal.values, same.signal.values)
    assert not np.array_equal(one.signal.values, other.signal.values)
    # A logger of 256 Hz carries bands up to 80 Hz; 100 Hz ends at 112 Hz, beyond 256/2.56.
    assert truth["frequency"].values[[0, -1]].tolist() == [2.0, 80.0]


def test_clipping_is_told():
    kwargs = dict(duration=200.0, trains=((METRO, 2),), **ALONE)
    whole, _ = invented_recording(seed=7, **kwargs)
    largest = float(np.abs(whole.signal.values).max())
    cut, truth = invented_recording(seed=7, **kwargs, clip=0.9 * largest)
    assert float(np.abs(cut.signal.values).max()) == pytest.approx(0.9 * largest, rel=1e-12)
    assert sorted(truth["spoilt_by"].values.tolist()) == ["", "clipping"]


def test_speed_moves_the_line_of_the_sleepers():
    lines = np.arange(0.0, 256.0, 0.05)
    slow = METRO.density(lines, speed=15.0, distance=12.0)
    fast = METRO.density(lines, speed=24.0, distance=12.0)
    # 15/0.6 and 24/0.6 Hz.
    assert slow[500] > 5 * fast[500]
    assert fast[800] > 2.5 * slow[800]
    for density in (slow, fast):
        assert density.sum() * 0.05 == pytest.approx(10 ** (METRO.level / 10) * 1e-18, rel=1e-6)


def test_the_envelope_lasts_as_long_as_the_train_needs():
    for train in (METRO, FREIGHT, REGIONAL):
        energy, front = train.envelope(sample_rate=128.0, speed=train.speed, distance=12.0)
        loud = np.flatnonzero(energy >= 0.5 * energy.max()) / 128.0
        # From the front to the end beside the receiver, half the energy at either.
        assert loud[0] == pytest.approx(front, abs=0.4)
        assert np.ptp(loud) == pytest.approx(train.length / train.speed, abs=0.8)
        assert energy[0] < 1e-6
        assert energy[-1] < 1e-4


# ---------------------------------------------------------------- noise models


def test_unrest_lies_between_the_models_and_is_held_beyond_them():
    f = np.geomspace(0.1, 10.0, 50)
    low, high = new_low_noise_model(f), new_high_noise_model(f)
    np.testing.assert_allclose(10 * np.log10(unrest(f, 0.25)), 0.75 * low + 0.25 * high, atol=1e-9)
    np.testing.assert_allclose(unrest(np.array([80.0]), 0.5), unrest(np.array([10.0]), 0.5))


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("kwargs", "words"),
    [
        ({"duration": 100.0}, "needs .* s at least"),
        ({"duration": -1.0}, "duration is -1; it must be above 0 s"),
        ({"sample_rate": 50.0}, "rate is 50; it must lie between 200 and 20000 Hz"),
        ({"trains": ()}, "at least one train"),
        ({"tracks": (("near", 3.0),)}, "must lie between 6 and 40 m"),
        ({"trains": ((METRO, 2),), "meetings": 2}, "not enough trains on different tracks"),
        ({"trains": ((METRO, 2),), "meetings": 0, "knocks": (0, 3)}, "only 2 are left whole"),
        ({"unrest_share": 1.5}, "unrest_share is 1.5"),
        ({"sensor_noise": -1.0}, "sensor_noise is -1"),
        ({"quantity": "displacement"}, "known are 'acceleration', 'velocity'"),
        ({"clip": 0.0}, "clip is 0"),
    ],
)
def test_refuses(kwargs, words):
    with pytest.raises(ValueError, match=words):
        invented_recording(seed=1, **{"sample_rate": 256.0, **kwargs})


@pytest.mark.parametrize(
    ("kwargs", "words"),
    [
        ({"speed": 0.0}, "speed is 0"),
        ({"axle_share": 0.9}, "axle_share is 0.9"),
        ({"vehicles": 0}, "vehicles is 0"),
        ({"hump": float("nan")}, "hump is nan"),
    ],
)
def test_train_refuses(kwargs, words):
    with pytest.raises(ValueError, match=words):
        InventedTrain(
            **{
                "name": "t", "vehicles": 2, "vehicle_length": 20.0, "bogie_distance": 13.0,
                "axle_distance": 2.0, "speed": 18.0, "level": 84.0, "hump": 50.0, **kwargs,
            }
        )  # fmt: skip
