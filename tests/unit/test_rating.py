"""Ratings: statistics over passbys, noise rating, exposure, and criteria that have no meaning."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st
from hypothesis.extra.numpy import arrays

from groundborne import bands, levels, weighting
from groundborne._checks import BandError, LevelError, RatingError, StudyError
from groundborne.citation import ValidityWarning
from groundborne.rating import (
    PUBLISHED_LIMITS,
    STATISTICS,
    Criterion,
    laeq_of_period,
    noise_rating,
    nr_curve,
    octaves_from_thirds,
    sel_from_maximum,
    sound_level,
    statistic,
)
from groundborne.study import Period

LEVELS = st.integers(11, 60).flatmap(
    lambda n: arrays(float, n, elements=st.floats(0.0, 90.0, allow_subnormal=False))
)
F = bands.third_octaves(25, 10000)


def passbys(values, **coords):
    return xr.DataArray(np.asarray(values, float), dims="passby", coords=coords)


def pressure(values, frequency=F):
    array = xr.DataArray(np.asarray(values, float), coords={"frequency": frequency.values})
    return levels.stamp(array, quantity="sound pressure", reference="20 µPa", long_name="level")


# Statistics


@given(LEVELS, st.floats(5.0, 95.0))
def test_equal_passbys_have_the_quantile_of_numpy(values, percentile):
    expected = np.quantile(values, percentile / 100, method="hazen")
    plain = statistic(passbys(values), "percentile", percentile=percentile)
    weighted = statistic(
        passbys(values),
        "percentile",
        percentile=percentile,
        weight=xr.full_like(passbys(values), 3.7),
    )
    np.testing.assert_allclose(plain, expected, atol=1e-9)
    np.testing.assert_allclose(weighted, expected, atol=1e-9)


@given(st.data())
def test_whole_weights_are_repeated_passbys_where_both_have_a_rank(data):
    """At the mid-rank of a group of equal passbys, repeating them and weighing them agree."""
    n = data.draw(st.integers(12, 25))
    values = np.sort(data.draw(arrays(float, n, elements=st.floats(0, 90), unique=True)))
    weights = np.array(data.draw(st.lists(st.integers(1, 4), min_size=n, max_size=n)))
    rank = (np.cumsum(weights) - weights / 2) / weights.sum()
    share = weights.max() / weights.sum() / 2
    at = data.draw(st.sampled_from(np.flatnonzero((rank >= share) & (rank <= 1 - share)).tolist()))
    weighted = statistic(
        passbys(values),
        "percentile",
        percentile=100 * rank[at],
        weight=passbys(weights),
    )
    repeated = np.quantile(np.repeat(values, weights), rank[at], method="hazen")
    np.testing.assert_allclose(weighted, repeated, atol=1e-6)


@given(st.data())
def test_between_those_ranks_the_two_differ_by_less_than_one_step(data):
    n = data.draw(st.integers(12, 25))
    values = np.sort(data.draw(arrays(float, n, elements=st.floats(0, 90))))
    weights = np.array(data.draw(st.lists(st.integers(1, 4), min_size=n, max_size=n)))
    p = data.draw(st.floats(0.2, 0.8))
    weighted = float(
        statistic(passbys(values), "percentile", percentile=100 * p, weight=passbys(weights))
    )
    repeated = np.quantile(np.repeat(values, weights), p, method="hazen")
    gap = np.diff(values).max()
    assert abs(weighted - repeated) <= gap + 1e-9


@given(LEVELS)
def test_statistics_lie_in_their_order(values):
    level = passbys(values)
    mean, energy, largest = (
        float(statistic(level, name)) for name in ("mean", "energy mean", "maximum")
    )
    assert values.min() - 1e-9 <= mean <= energy + 1e-9
    assert energy <= largest + 1e-9
    high = [float(statistic(level, "percentile", percentile=p)) for p in (10, 50, 90)]
    assert high == sorted(high)
    assert high[-1] <= largest


@given(LEVELS, st.floats(-30.0, 30.0))
def test_every_statistic_shifts_with_the_levels(values, shift):
    for name in STATISTICS:
        percentile = 90.0 if name == "percentile" else None
        a = statistic(passbys(values), name, percentile=percentile)
        b = statistic(passbys(values) + shift, name, percentile=percentile)
        np.testing.assert_allclose(b - a, shift, atol=1e-9)


@given(LEVELS)
def test_passbys_of_weight_zero_do_not_count(values):
    level = passbys([*values, 200.0])
    weight = passbys([1.0] * values.size + [0.0])
    for name in STATISTICS:
        percentile = 90.0 if name == "percentile" else None
        a = statistic(level, name, percentile=percentile, weight=weight)
        b = statistic(passbys(values), name, percentile=percentile)
        np.testing.assert_allclose(a, b, atol=1e-9)


@pytest.mark.parametrize(("count", "enough"), [(9, False), (10, True)])
def test_ten_passbys_carry_a_95th_percentile_and_nine_do_not(count, enough):
    level = passbys(np.arange(float(count)))
    if enough:
        top = statistic(level, "percentile", percentile=95.0)
        np.testing.assert_allclose(top, count - 1, atol=1e-9)
        return
    with pytest.raises(RatingError, match="9 passbys carry no 95th percentile; with these weights"):
        statistic(level, "percentile", percentile=95.0)
    with pytest.raises(RatingError, match="Measure more trains, or ask for the maximum"):
        statistic(level, "percentile", percentile=5.0)


def test_one_passby_has_a_median_and_nothing_else():
    assert statistic(passbys([42.0]), "percentile", percentile=50.0) == 42.0
    with pytest.raises(RatingError, match="1 passbys carry no 51th percentile"):
        statistic(passbys([42.0]), "percentile", percentile=51.0)


def test_a_weight_that_makes_one_train_too_heavy_leaves_no_percentile():
    level, weight = passbys(np.arange(20.0)), passbys([20.0] + [1.0] * 19)
    with pytest.raises(RatingError, match="carry no 95th percentile"):
        statistic(level, "percentile", percentile=95.0, weight=weight)


@pytest.mark.parametrize(
    ("name", "more", "error", "sentence"),
    [
        ("median", {}, ValueError, "name is 'median'; known are 'mean'"),
        ("percentile", {}, ValueError, "percentile is None for 'percentile'; give it for"),
        ("mean", {"percentile": 95.0}, ValueError, "percentile is 95.0 for 'mean'"),
        ("percentile", {"percentile": 101.0}, ValueError, "percentile is 101; it must lie between"),
        ("percentile", {"percentile": np.nan}, ValueError, "percentile is nan"),
        ("mean", {"dim": "train"}, ValueError, "dim is 'train'; known are 'passby'"),
        ("mean", {"weight": passbys([1.0, -1.0])}, ValueError, "weight is -1 at passby=1"),
        ("mean", {"weight": passbys([1.0, np.nan])}, ValueError, "weight is nan"),
        ("mean", {"weight": passbys([0.0, 0.0])}, RatingError, "no passby has a weight above 0"),
    ],
)
def test_statistics_that_have_no_meaning(name, more, error, sentence):
    with pytest.raises(error, match=sentence):
        statistic(passbys([30.0, 40.0]), name, **more)


def test_weights_belong_to_passbys_by_name():
    level = passbys([1.0, 2.0, 3.0], passby=["a", "b", "c"])
    weight = passbys([1.0, 1.0, 0.0], passby=["c", "b", "a"])
    try:
        mean = statistic(level, "mean", weight=weight)
    except ValueError:
        return
    assert mean == 2.5


def test_weights_of_other_passbys_are_refused():
    level = passbys([1.0, 2.0, 3.0], passby=["a", "b", "c"])
    with pytest.raises(ValueError, match="passby"):
        statistic(level, "mean", weight=passbys([1.0, 1.0, 1.0], passby=["a", "b", "d"]))
    with pytest.raises(ValueError, match="passby"):
        statistic(passbys([1.0, 2.0, 3.0]), "mean", weight=passbys([1.0, 1.0]))


@pytest.mark.parametrize("name", STATISTICS)
def test_a_missing_level_is_never_left_out(name):
    level = passbys([*np.arange(20.0), np.nan])
    percentile = 90.0 if name == "percentile" else None
    try:
        value = statistic(level, name, percentile=percentile)
    except ValueError:
        return
    assert np.isnan(value), f"the {name} of levels with a gap is given as {float(value):g}"


@given(st.permutations(range(12)))
def test_the_order_of_passbys_does_not_matter(order):
    """Also of equal levels that stand for different numbers of trains."""
    values = np.array([30.0, 32.0, 32.0, 33.0, 34.0, 34.0, 34.0, 35.0, 36.0, 37.0, 37.0, 38.0])
    weights = np.array([1.0, 8.0, 1.0, 2.0, 1.0, 9.0, 2.0, 1.0, 1.0, 6.0, 1.0, 1.0])
    names = [f"P{n}" for n in range(12)]
    level = xr.DataArray(values, coords={"passby": names})
    weight = xr.DataArray(weights, coords={"passby": names})
    for percentile in (20.0, 50.0, 68.0, 85.0):
        more = {"percentile": percentile, "weight": weight}
        there = statistic(level, "percentile", **more)
        here = statistic(level.isel(passby=list(order)), "percentile", **more)
        assert float(here) == pytest.approx(float(there), abs=1e-9)


# Single numbers


@given(st.floats(-20.0, 120.0))
def test_a_spectrum_on_a_curve_has_its_number(number):
    curve = nr_curve(number)
    thirds = xr.concat([curve - 10 * np.log10(3)] * 3, dim="third").stack(f=["frequency", "third"])
    level = pressure(thirds.values, bands.third_octaves(25, 10000))
    np.testing.assert_allclose(noise_rating(level), number, atol=1e-9)


@given(st.floats(0.0, 80.0), st.integers(0, 8))
def test_the_worst_octave_alone_decides(number, at):
    curve = nr_curve(number).values - 10 * np.log10(3) - 40.0
    curve[at] += 40.0
    np.testing.assert_allclose(noise_rating(pressure(np.repeat(curve, 3))), number, atol=1e-9)


def test_a_rating_without_a_third_is_marked_as_a_lower_bound():
    level = pressure(np.full(9, 50.0), bands.third_octaves(40, 250))
    with pytest.warns(
        ValidityWarning, match=r"lower bound: .*the 250 Hz octave holds 2 of 3 thirds"
    ):
        rating = noise_rating(level)
    assert "bands above 250 Hz are missing" in rating.attrs["lower_bound"]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert noise_rating(pressure(np.full(27, 50.0))).attrs["lower_bound"] == ""


def test_ratings_that_cannot_be_formed():
    with pytest.raises(RatingError, match=r"no octave from 31.5 to 8000 Hz is in the spectrum"):
        noise_rating(pressure(np.full(5, 50.0), bands.third_octaves(4, 10)))
    bare = xr.DataArray([50.0], coords={"frequency": [63.0]})
    velocity = levels.stamp(bare, quantity="velocity", reference="1 nm/s", long_name="level")
    for sample_rate in (noise_rating, sound_level):
        with pytest.raises(LevelError, match="the level is not labelled"):
            sample_rate(bare)
        with pytest.raises(LevelError, match="is of velocity; sound pressure is needed"):
            sample_rate(velocity)
    gap = xr.DataArray([50.0, 50.0], coords={"frequency": [50.0, 80.0]})
    with pytest.raises(BandError, match="63 Hz is missing"):
        octaves_from_thirds(gap)


@pytest.mark.parametrize("sample_rate", [noise_rating, sound_level])
def test_a_missing_band_is_never_left_out_of_a_rating(sample_rate):
    values = np.full(27, 50.0)
    values[4] = np.nan
    try:
        rating = sample_rate(pressure(values))
    except ValueError:
        return
    assert np.isnan(rating), (
        f"{sample_rate.__name__} of a spectrum with a gap is {float(rating):.1f}"
    )


@given(arrays(float, 27, elements=st.floats(0.0, 90.0)))
def test_the_sound_level_is_the_plain_sum_of_weighted_powers(values):
    expected = 10 * np.log10(np.sum(10 ** ((values + weighting.a(F).values) / 10)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ValidityWarning)  # of the bands above 10 kHz
        np.testing.assert_allclose(sound_level(pressure(values)), expected, atol=1e-9)


@given(st.floats(20.0, 80.0), st.floats(0.1, 300.0))
def test_exposure_of_a_long_steady_event_is_level_plus_10_lg_duration(level, duration):
    maximum = levels.stamp(
        passbys([level]), quantity="sound pressure", reference="20 µPa", long_name="level"
    )
    exposure = sel_from_maximum(maximum, duration=duration, time_constant=1.0)
    rise = -10 * np.log10(1 - np.exp(-duration))
    np.testing.assert_allclose(exposure, level + 10 * np.log10(duration) + rise, atol=1e-7)
    with pytest.raises(ValueError, match="duration is 0"):
        sel_from_maximum(maximum, duration=0.0, time_constant=1.0)


@given(st.floats(20.0, 80.0), st.integers(1, 500), st.floats(0.5, 24.0))
def test_equal_trains_add_10_lg_of_their_number(level, count, hours):
    exposure = levels.stamp(
        passbys([level] * 4), quantity="sound pressure", reference="20 µPa", long_name="level"
    )
    leq = laeq_of_period(exposure, count=count / 4, hours=hours)
    np.testing.assert_allclose(leq, level + 10 * np.log10(count / hours / 3600), atol=1e-9)


def test_periods_that_have_no_level():
    exposure = levels.stamp(
        passbys([60.0]), quantity="sound pressure", reference="20 µPa", long_name="level"
    )
    with pytest.raises(RatingError, match="count is 0 for every passby"):
        laeq_of_period(exposure, count=0.0, hours=8.0)
    with pytest.raises(ValueError, match="count is -1; it must be 0 passbys or more"):
        laeq_of_period(exposure, count=-1.0, hours=8.0)
    with pytest.raises(ValueError, match="hours is 0; it must be above 0 h"):
        laeq_of_period(exposure, count=1.0, hours=0.0)
    with pytest.raises(LevelError, match="not labelled"):
        laeq_of_period(passbys([60.0]), count=1.0, hours=8.0)


# Criteria and timetable

GOOD = {"metric": "LASmax", "limit": 25.0, "statistic": "mean", "time_weighting": "S max"}


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"metric": "LAmax"}, "metric is 'LAmax'; known are 'LASmax'.*Did you mean"),
        ({"limit": np.nan}, "limit is nan; it must be finite"),
        ({"limit": "25"}, "limit is '25'; a number"),
        ({"statistic": "average"}, "statistic is 'average'; known are 'mean'"),
        ({"time_weighting": "F max"}, "time_weighting is 'F max'; known are 'S max'"),
        ({"time_weighting": "leq"}, "time_weighting is 'leq'; known are 'S max'"),
        ({"metric": "LAFmax"}, "time_weighting is 'S max'; known are 'F max'"),
        ({"percentile": 95.0}, "percentile is 95.0 with statistic 'mean'"),
        ({"statistic": "percentile"}, "percentile is None with statistic 'percentile'"),
        ({"statistic": "percentile", "percentile": 100.5}, "percentile is 100.5; it must lie"),
        ({"metric": "LAeq"}, "statistic is 'mean'; known are 'energy mean'"),
        ({"metric": "LAeq", "period": "day"}, "statistic is 'mean'; known are 'energy mean'"),
        ({"metric": "LAeq", "statistic": "energy mean"}, "LAeq needs a period"),
    ],
)
def test_criteria_that_have_no_meaning(more, sentence):
    with pytest.raises(ValueError, match=f"Criterion: {sentence}"):
        Criterion(**{**GOOD, **more})


@pytest.mark.parametrize(
    ("percentile", "word"),
    [(1, "1st"), (2, "2nd"), (3, "3rd"), (11, "11th"), (12, "12th"), (50, "50th"), (91, "91st"),
     (97.5, "97.5th")],
)  # fmt: skip
def test_labels_are_read_aloud(percentile, word):
    criterion = Criterion(
        **{**GOOD, "statistic": "percentile", "percentile": percentile, "period": "night"}
    )
    assert criterion.label == f"LASmax, {word} percentile, night"


def test_levels_on_another_time_weighting_are_refused():
    for given_weighting, said in (("leq", "'leq'"), ("F max", "'F max'"), ("", "'unlabelled'")):
        with pytest.raises(RatingError, match=f"of the levels is {said}, the limit is on 'S max'"):
            Criterion(**GOOD).require(given_weighting)
    Criterion(**GOOD).require("S max")


@given(st.floats(0.0, 80.0))
def test_a_margin_is_positive_when_the_limit_is_kept(value):
    margin = float(Criterion(**GOOD).margin(xr.DataArray(value)))
    assert (margin >= 0) == (value <= 25.0)
    assert margin == 25.0 - value


def test_published_limits_are_usable_criteria():
    for limit in PUBLISHED_LIMITS:
        criterion = Criterion(
            metric=limit.metric, limit=limit.limit, statistic="maximum", time_weighting="S max",
            citation=limit.citation,
        )  # fmt: skip
        assert 20 <= criterion.limit <= 50
        assert limit.condition


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"hours": 0.0}, "period 'night': hours is 0; it must be above 0 h"),
        ({"hours": 25.0}, "period 'night': hours is 25; a period is at most 24 h"),
        ({"hours": np.nan}, "Period: hours is nan"),
        ({"trains": {"metro": -1.0}}, "period 'night': trains of type 'metro' is -1"),
        ({"trains": {"metro": 0.0}}, "period 'night': it holds no train"),
        ({"trains": {}}, "period 'night': it holds no train"),
    ],
)
def test_periods_that_have_no_meaning(more, sentence):
    with pytest.raises(ValueError, match=sentence):
        Period(**{"name": "night", "hours": 8.0, "trains": {"metro": 10.0}, **more})


def test_timetable_and_measurement_must_know_the_same_trains():
    typed = passbys([60.0] * 3, passby=["a", "b", "c"]).assign_coords(
        train_type=("passby", ["metro", "metro", "freight"])
    )
    night = Period(name="night", hours=8.0, trains={"metro": 10.0, "freight": 3.0})
    assert night.weight(typed).values.tolist() == [5.0, 5.0, 3.0]
    with pytest.raises(
        StudyError, match="'freight' was measured and is not in the timetable; give"
    ):
        Period(name="night", hours=8.0, trains={"metro": 10.0}).weight(typed)
    with pytest.raises(StudyError, match=r"type 'fright', of which .* Did you mean 'freight'"):
        Period(name="night", hours=8.0, trains={"metro": 10.0, "fright": 3.0}).weight(typed)
    untyped = passbys([60.0] * 3, passby=["a", "b", "c"])
    assert Period(name="n", hours=8.0, trains={"all": 12.0}).weight(untyped).sum() == 12.0
    with pytest.raises(StudyError, match=r"by type .'metro', 'freight'., and the passbys have no"):
        night.weight(untyped)
