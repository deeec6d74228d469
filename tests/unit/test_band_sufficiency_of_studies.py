"""Whether the bands of a study carry its criteria: of every passby, and below the first band."""

from __future__ import annotations

import warnings
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne.rating import statistic
from groundborne.rating.band_rules import octaves_summed
from groundborne.rating.sufficiency import FALL, Missing, envelope, judge_ends
from groundborne.rating.vibration_bands import vdv_of_bands
from groundborne.rating.vibration_curves import class_reached
from groundborne.structure import column_mean
from groundborne.study.band_sufficiency import changes_below
from groundborne.study.trains import _added, trains_of

LACKS = Missing(words="bands are missing")


def evaluated(study):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return study.evaluate()


def with_source(study, level, criteria, *, periods=None):
    """The study with another source, on its bands, and one list of criteria in every room."""
    passbys = replace(study.passbys, level=level, background=None)
    sets = dict.fromkeys(study.criteria, tuple(criteria))
    f = level["frequency"]
    return replace(
        study, passbys=passbys, criteria=sets, frequency=f.copy(data=f.values).drop_attrs(),
        periods=periods or study.periods,
    )  # fmt: skip


def source_like(study, values, frequency):
    """Levels of made-up passbys, labelled as those of the study."""
    old = study.passbys.level
    count = np.shape(values)[0]
    level = xr.DataArray(
        np.asarray(values, dtype=float),
        dims=("passby", "frequency"),
        coords={
            "passby": [f"T{i}" for i in range(count)],
            "frequency": frequency,
            "duration_s": ("passby", np.full(count, 8.0)),
            "train_type": ("passby", np.full(count, "all")),
        },
    )
    level.attrs = dict(old.attrs)
    return level


ALL = gb.study.Period(name="day", hours=16.0, trains={"all": 100.0})


def dose_criterion(limit):
    return gb.Criterion(
        metric="VDV", limit=limit, statistic="fourth-power sum", period="day",
        time_weighting="S max",
    )  # fmt: skip


def test_a_resonance_below_the_first_band_makes_a_lower_bound(music_school):
    """Mounts at 3.3 Hz and a source that falls by 10 dB per octave below 5 Hz: the dose with the
    bands from 2 Hz is larger than the one from 5 Hz allows for, and a limit between them is not
    said to be met."""
    study = music_school.study
    f = study.frequency.values
    shape = np.where(f > 6, 70.0, 100.0)
    source = source_like(study, np.tile(shape, (12, 1)), f)
    option = next(o for o in study.options if o.name == "springs 4.5 Hz")
    soft = study.mount(natural_frequency=3.3, loss_factor=0.05)
    study = replace(
        study, options=(gb.Option(name="none"), replace(option, name="soft", base=soft))
    )
    periods = {"day": ALL, **{n: replace(p, trains=ALL.trains) for n, p in study.periods.items()}}
    here = {"option": "soft", "room": "R2.1"}
    cut = evaluated(with_source(study, source, [dose_criterion(1.0)], periods=periods)).sel(here)
    below = cut["floor_change_below"].rename(band_below="frequency").sel(frequency=slice(2, 4))
    change = xr.concat([below, cut["floor_change"]], dim="frequency")
    labels = change["frequency"].values
    whole = xr.DataArray(
        np.where(labels < 5, 100.0 + 10 * np.log2(labels / 5), np.where(labels > 6, 70.0, 100.0)),
        coords={"frequency": labels},
    )
    level = gb.levels.stamp(
        change.drop_attrs() + whole, quantity="velocity", reference="1 nm/s", long_name="level",
        time_weighting="S max",
    )  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        high = float(vdv_of_bands(level, curve="Wb", duration=8.0, count=100.0))
    low = float(cut["rating"].item())
    assert 20 * np.log10(high / low) > 1.0  # what the missing bands hold
    between = dose_criterion(float(np.sqrt(low * high)))
    said = evaluated(with_source(study, source, [between], periods=periods)).sel(here)
    assert said["margin"].item() > 0.5
    assert said["answer"].item() == "not shown"
    assert "there the spectrum has safely fallen" in said["bound"].item()


def test_the_path_below_the_first_band_is_worked_out(tower):
    """Mounts at 4 Hz under the tower: below 5 Hz lines and foundation answer."""
    study = tower.study
    floors = study.floor_paths()
    below = changes_below(floors, study.frequency, 1.0)
    assert below["band_below"].values.tolist() == [1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0]
    option = next(o for o in study.options if o.name == "springs 4 Hz")
    frame = study.plane
    line = frame.isolated_line(option.base)
    lower = gb.bands.third_octaves(1, 4)
    # By the way that limits one stage arrives what does without mounts, 25 dB lower.
    each, built = (of.floor_mean_squares(lower)["mid_panel"] for of in (line, frame.line))
    mean = column_mean(each + 10**-2.5 * built, weights=frame.column_weights)
    coupling = floors[option.name]["coupling"].level_change(lower)
    wanted = 10 * np.log10(mean) + coupling
    found = below.sel(option=option.name, drop=True).rename(band_below="frequency")
    for room in ("B20", "L04", "B02"):
        floor = str(frame.floor_of_room.sel(room=room).item())
        np.testing.assert_allclose(
            found.sel(room=room).transpose("frequency").values,
            wanted.sel(floor=floor).transpose("frequency").values,
            atol=1e-9,
        )
    # The building bounces on its mounts there: far from what the first band says.
    at_5 = tower.result["floor_change"].sel(option=option.name, room="B20", frequency=5.0)
    assert float(found.sel(room="B20").max() - at_5) > 15.0
    assert changes_below(floors, gb.bands.third_octaves(1, 80), 1.0) is None


def test_statistics_over_trains_are_raised_by_what_each_train_may_hold():
    """92 quiet trains, 4 with 45 dB at 40 Hz, 4 that rise to 250 Hz: the 95th percentile lies
    between the last two kinds, and more bands would raise it by those that rise."""
    f = gb.bands.third_octaves(25, 250).values
    quiet, low, rising = (np.full(f.size, v) for v in (10.0, 0.0, 0.0))
    low[2] = 45.0
    rising[-4:] = 20.0, 27.0, 33.0, 39.0
    rows = np.vstack([np.tile(quiet, (92, 1)), np.tile(low, (4, 1)), np.tile(rising, (4, 1))])
    each = xr.DataArray(rows, dims=("passby", "frequency"), coords={"frequency": f})
    over = partial(statistic, name="percentile", percentile=95.0)
    found = judge_ends(xr.zeros_like(each[0]), each=each, over=over, below=None, above=LACKS)
    assert bool(found.lower_bound)


def test_doses_add_fourth_powers_of_what_is_outside():
    """One train in fifty holds much outside: the dose rises by its fourth power, not its energy."""
    f = gb.bands.third_octaves(5, 80).values
    rows = np.full((50, f.size), 40.0)
    rows[:, 8] = 80.0
    each = xr.DataArray(rows, dims=("passby", "frequency"), coords={"frequency": f})
    outside = np.full((50, 1), 20.0)
    outside[0] = 86.0
    beyond = xr.DataArray(outside, dims=("passby", "frequency"), coords={"frequency": [4.0]})
    over = partial(_added, share=xr.DataArray(np.ones(50), dims="passby"), power=2.0)
    found = judge_ends(
        xr.zeros_like(each[0]), each=each, over=over, below=LACKS, above=None, beyond=beyond
    )
    assert bool(found.lower_bound)  # 5 lg of the sum of squares: 0.9 dB, of energies 0.15 dB
    beyond = beyond - 10.0
    small = judge_ends(
        xr.zeros_like(each[0]), each=each, over=over, below=LACKS, above=None, beyond=beyond
    )
    whole = 10 * np.log10((10 ** (rows / 10)).sum(axis=1) + 10 ** (beyond.values[:, 0] / 10))
    inside = 10 * np.log10((10 ** (rows / 10)).sum(axis=1))
    dose = [5 * np.log10((10 ** (x / 5)).sum()) for x in (inside, whole)]
    assert small.may_add.item() >= dose[1] - dose[0] - 1e-12


def test_the_dose_is_judged_where_it_comes_from(music_school):
    """One train in fifty brings nearly all of the dose, from the lowest band; the others are many
    and govern the energy mean at 20 Hz."""
    study = music_school.study
    f = gb.bands.third_octaves(5, 80).values
    many = np.where(np.isclose(f, 20), 100.0, 60.0)
    heavy = np.where(np.isclose(f, 5), 125.0, 60.0)
    level = source_like(study, np.vstack([np.tile(many, (49, 1)), heavy[None]]), f)
    flat = xr.DataArray(np.zeros(f.size), coords={"frequency": f})
    dose = gb.Criterion(
        metric="VDV", limit=1.0, statistic="fourth-power sum", period="day", time_weighting="S max"
    )
    weight = xr.DataArray(np.ones(50), coords={"passby": level["passby"].values})

    def judged(source, weight):
        trains = trains_of(source, dose, weight)
        return dose.of.rule.judge(flat, trains.level, over=trains.over, below=None)

    found = judged(level, weight)
    assert found.governing.item() == 5.0
    assert bool(found.lower_bound)
    # Without that train nothing is left open.
    assert not bool(judged(level.isel(passby=slice(49)), weight[:49]).lower_bound)


def test_percentiles_of_noise_ratings_and_curves_are_of_passbys(music_school):
    """Half of the trains are loud at 31.5 Hz, half at 63: each has NR 40, and so has any percentile
    of them; the percentile of each band by itself would have less."""
    f = gb.bands.third_octaves(25, 250).values
    change = xr.DataArray(np.zeros(f.size), coords={"frequency": f})
    octave = gb.bands.octave(f)
    rows = [np.where(octave == (31.5 if i % 2 else 63.0), 70.0, 0.0) for i in range(12)]
    source = xr.DataArray(rows, dims=("passby", "frequency"), coords={"frequency": f})
    each = gb.rating.noise_rating_curves.octave_ratings(octaves_summed(change, source)).max(
        "frequency"
    )
    study = music_school.study
    here = study.frequency.values
    octave = gb.bands.octave(here)
    rows = [np.where(octave == (31.5 if i % 2 else 63.0), 100.0, 30.0) for i in range(12)]
    nr = gb.Criterion(metric="NR", limit=30.0, statistic="percentile", percentile=30.0,
                      time_weighting="S max")  # fmt: skip
    study = replace(study, options=study.options[:1])
    result = evaluated(with_source(study, source_like(study, rows, here), [nr]))
    change = result["level_change"].sum("stage")
    by_hand = []
    for row in rows:
        level = gb.levels.stamp(
            change + xr.DataArray(row, coords={"frequency": here}), quantity="sound pressure",
            reference="20 µPa", long_name="level",
        )  # fmt: skip
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            by_hand.append(gb.rating.noise_rating(level))
    expected = statistic(xr.concat(by_hand, "passby"), "percentile", percentile=30.0)
    np.testing.assert_allclose(
        result["rating"].sel(criterion=nr.label).values, expected.values, atol=1e-9
    )
    assert set(np.round(each.values, 6)) == set(np.round(each.values[:2], 6))

    level = source_like(study, rows, here)
    vc = gb.Criterion.on_curve("VC-A", statistic="percentile", percentile=30.0,
                               time_weighting="S max")  # fmt: skip
    result = evaluated(with_source(study, level, [vc]))
    floor = gb.levels.stamp(
        result["floor_change"].drop_attrs() + level.drop_attrs(), quantity="velocity",
        reference="1 nm/s", long_name="level", time_weighting="S max",
    )  # fmt: skip
    margin = class_reached(floor)["margin"].sel(curve="VC-A", drop=True)
    expected = -statistic(-margin, "percentile", percentile=30.0)
    np.testing.assert_allclose(
        result["margin"].sel(criterion=vc.label).values, expected.values, atol=1e-6
    )


def test_passbys_are_judged_one_by_one():
    """Trains that are loud in one band each: the percentile of each band by itself sees none."""
    f = gb.bands.third_octaves(50, 250).values
    rows = np.full((40, f.size), 0.0)
    rows[:, 0] = 50.0
    for i, band in enumerate((4, 5, 6, 7)):
        rows[i * 2 : i * 2 + 2, band] = 58.0  # two of forty at each of the last four bands
    each = xr.DataArray(rows, dims=("passby", "frequency"), coords={"frequency": f})
    zero = xr.zeros_like(each.isel(passby=0))
    over = partial(statistic, name="percentile", percentile=90.0)
    ends = {"below": None, "above": LACKS}
    assert bool(judge_ends(zero, each=each, over=over, **ends).lower_bound)
    banded = statistic(each, "percentile", percentile=90.0)
    assert not bool(judge_ends(banded, **ends).lower_bound)
    # One array or two in parts: the same.
    apart = judge_ends(zero, each=each, over=over, **ends)
    whole = judge_ends(each, over=over, **ends)
    assert apart.may_add.item() == whole.may_add.item()
    assert apart.governing.item() == whole.governing.item()
    finite = judge_ends(zero, each=each - FALL * np.arange(f.size), over=over,
                        below=None, above=replace(LACKS, needed=False))  # fmt: skip
    both = judge_ends(each - FALL * xr.DataArray(np.arange(f.size), coords={"frequency": f}),
                      over=over, below=None, above=LACKS)  # fmt: skip
    assert finite.may_add.item() == pytest.approx(both.may_add.item(), abs=1e-12)


def test_a_rise_towards_the_end_goes_on():
    """-25, -18, -11 dB: the next band would stand at -4."""
    f = {"frequency": gb.bands.third_octaves(63, 250).values}
    level = xr.DataArray([60.0, 40.0, 30.0, 28.0, 35.0, 42.0, 49.0], coords=f)
    found = judge_ends(level, below=None, above=LACKS)
    assert bool(found.lower_bound)
    assert "has safely fallen 4.0 dB below what governs, and 10 dB are needed" in found.why
    assert not bool(judge_ends(level - xr.where(level < 55, 8.0, 0.0), below=None,
                               above=LACKS).lower_bound)  # fmt: skip


def test_what_is_refused_of_a_spectrum():
    f = {"frequency": [63.0, 80.0]}
    level = xr.DataArray([60.0, 40.0], coords=f)
    with pytest.raises(ValueError, match="thirds holds 1 numbers for 2 bands"):
        judge_ends(level, below=None, above=None, thirds=[3])
    with pytest.raises(ValueError, match="no dim 'frequency'"):
        judge_ends(xr.DataArray([60.0], dims="frequency"), below=None, above=None)
    outside = envelope(level, [100.0, 50.0])
    np.testing.assert_allclose(outside.values, [60.0 - 2 * FALL, 80.0])  # it rises towards 63 Hz
