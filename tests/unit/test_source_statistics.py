"""Percentiles of few passbys, the next train, and mixed timetables."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy import stats

from groundborne._checks import LevelError
from groundborne.levels import stamp
from groundborne.source import statistics, timetable

MIX = {"metro": ["metro"] * 8, "freight": ["freight"] * 6}


def levels(values, classes=None, **coords):
    if classes is not None:
        coords["train_type"] = ("passby", classes)
    array = xr.DataArray(np.asarray(values, float), dims="passby", coords=coords)
    return stamp(array, quantity="velocity", reference="1 nm/s", long_name="velocity level")


@pytest.fixture(scope="module")
def mixed():
    rng = np.random.default_rng(5)
    values = np.concatenate([rng.normal(60, 2, 8), rng.normal(72, 3, 6)])
    return levels(values, [*MIX["metro"], *MIX["freight"]])


@pytest.mark.parametrize("n", [5, 10, 15, 30])
def test_the_upper_limit_covers_the_true_percentile(n):
    """95 % nominal; 4000 surveys leave a standard error of 0.35 %, so 93 to 97 % is generous."""
    drawn = np.random.default_rng(n).normal(60.0, 4.0, (4000, n))
    true = 60.0 + 4.0 * stats.norm.ppf(0.95)
    spread = drawn.std(axis=1, ddof=1)
    upper = drawn.mean(axis=1) + statistics.tolerance_factor(n) * spread
    assert 0.93 <= np.mean(upper >= true) <= 0.97
    lower = drawn.mean(axis=1) + statistics.tolerance_factor(n, confidence=5.0) * spread
    assert 0.93 <= np.mean(lower <= true) <= 0.97
    plain = drawn.mean(axis=1) + stats.norm.ppf(0.95) * spread
    assert np.mean(plain >= true) < 0.5  # what the factor is there to mend


@pytest.mark.parametrize("n", [5, 10, 15, 30])
def test_the_next_train_stays_below_its_limit(n):
    drawn = np.random.default_rng(100 + n).normal(60.0, 4.0, (4000, n + 1))
    limit = drawn[:, :n].mean(axis=1) + statistics.prediction_factor(n) * drawn[:, :n].std(
        axis=1, ddof=1
    )
    assert 0.93 <= np.mean(drawn[:, n] <= limit) <= 0.97


def test_the_standard_error_is_that_of_surveys():
    drawn = np.random.default_rng(3).normal(0.0, 1.0, (20000, 15))
    found = (drawn.mean(axis=1) + stats.norm.ppf(0.95) * drawn.std(axis=1, ddof=1)).std()
    # Large-sample formula at n = 15: 2 % off; the simulation itself is good to 0.5 %.
    assert found == pytest.approx(statistics.percentile_error(15), rel=0.03)


def test_the_largest_of_59_covers_with_95_percent():
    assert statistics.trains_to_cover() == 59
    assert statistics.maximum_coverage(59) >= 0.95 > statistics.maximum_coverage(58)
    assert statistics.trains_to_cover(percentile=50.0, confidence=50.0) == 1


@pytest.mark.parametrize("n", [2, 5, 10, 15, 40])
def test_trains_to_halve_is_the_fewest(n):
    def width(count):
        return statistics.tolerance_factor(count) - statistics.tolerance_factor(
            count, confidence=5.0
        )

    more = statistics.trains_to_halve(n)
    assert width(n + more) <= width(n) / 2 < width(n + more - 1)


def test_arrays_keep_their_shape_and_labels():
    count = xr.DataArray([5, 15, 30], dims="survey", coords={"survey": ["a", "b", "c"]})
    k = statistics.tolerance_factor(count)
    assert k.dims == ("survey",)
    assert k.sel(survey="b").item() == pytest.approx(2.566, abs=5e-4)
    assert isinstance(statistics.tolerance_factor(5), float)


def test_summary_holds_together():
    level = levels([60.0, 64.0, 62.0, 66.0, 68.0])
    found = statistics.summary(level)
    s = float(np.std(level, ddof=1))
    assert found["mean"].item() == pytest.approx(64.0)
    assert found["percentile"].item() == pytest.approx(64.0 + 1.6448536 * s)
    assert found["percentile_high"].item() == pytest.approx(64.0 + 4.2027 * s, abs=1e-3)
    low, best, high = (found[k].item() for k in ("percentile_low", "percentile", "percentile_high"))
    assert low < best < high
    assert found["maximum_estimate"] - found["energy_mean"] == pytest.approx(20 * np.log10(1.5))
    assert found["maximum_coverage"].item() == pytest.approx(1 - 0.95**5)
    assert found["percentile"].attrs["reference"] == "1 nm/s"


def test_energy_mean_of_normal_levels_exceeds_the_mean():
    """10 lg of the mean energy is m + s² ln 10/20; 200 000 values leave 0.03 dB."""
    found = statistics.summary(levels(np.random.default_rng(1).normal(60.0, 3.0, 200_000)))
    assert (found["energy_mean"] - found["mean"]).item() == pytest.approx(1.036, abs=0.05)


def test_bad_input_is_refused():
    with pytest.raises(ValueError, match="at least 2 passbys"):
        statistics.tolerance_factor(1)
    with pytest.raises(ValueError, match="between 0 and 100 %"):
        statistics.prediction_factor(5, percentile=100.0)
    with pytest.raises(ValueError, match="no width"):
        statistics.trains_to_halve(5, confidence=50.0)
    with pytest.raises(LevelError, match="not labelled"):
        statistics.summary(xr.DataArray([1.0, 2.0], dims="passby"))
    with pytest.raises(ValueError, match="must be finite"):
        statistics.summary(levels([60.0, np.nan]))


def test_mixture_of_one_class_is_that_class(mixed):
    mean, spread = timetable.class_fits(mixed)
    got = timetable.mixed_percentile(mixed, trains={"metro": 40, "freight": 0})
    want = mean.sel(train_type="metro") + stats.norm.ppf(0.95) * spread.sel(train_type="metro")
    assert got.item() == pytest.approx(want.item(), abs=1e-9)


def test_mixture_and_period_maximum_against_drawn_nights(mixed):
    """200 000 trains and 20 000 nights: standard errors below 0.05 dB."""
    mean, spread = timetable.class_fits(mixed)
    m = {c: float(mean.sel(train_type=c)) for c in MIX}
    s = {c: float(spread.sel(train_type=c)) for c in MIX}
    rng = np.random.default_rng(8)
    trains = {"metro": 40, "freight": 4}
    nights = np.concatenate(
        [rng.normal(m[c], s[c], (20_000, n)) for c, n in trains.items()], axis=1
    )
    got = timetable.mixed_percentile(mixed, trains=trains)
    assert got.item() == pytest.approx(np.quantile(nights, 0.95), abs=0.1)
    largest = nights.max(axis=1)
    found = timetable.period_maximum(mixed, trains=trains, percentile=90.0)
    assert found["expected"].item() == pytest.approx(largest.mean(), abs=0.1)
    assert found["percentile"].item() == pytest.approx(np.quantile(largest, 0.9), abs=0.15)


def test_pooling_unlike_classes_would_mislead(mixed):
    """What the per-class fit is for: few freight trains among many metros."""
    trains = {"metro": 98, "freight": 2}
    pooled = statistics.summary(mixed.drop_vars("train_type"))["percentile"].item()
    assert pooled - timetable.mixed_percentile(mixed, trains=trains).item() > 5.0


def test_period_equivalent_is_the_sum_of_exposures(mixed):
    got = timetable.period_equivalent(mixed, trains={"metro": 40, "freight": 4}, hours=8.0)
    e = 10 ** (mixed.values / 10)
    want = 10 * np.log10((40 * e[:8].mean() + 4 * e[8:].mean()) / (8 * 3600))
    assert got.item() == pytest.approx(want, abs=1e-9)
    assert got.attrs["time_weighting"] == "leq"
    twice = timetable.period_equivalent(mixed, trains={"metro": 80, "freight": 8}, hours=8.0)
    assert (twice - got).item() == pytest.approx(10 * np.log10(2), abs=1e-9)


def test_bands_are_carried_through(mixed):
    both = xr.concat([mixed, mixed + 10.0], dim="frequency")
    both = stamp(both, quantity="velocity", reference="1 nm/s", long_name="velocity level")
    for function in (
        lambda x: timetable.mixed_percentile(x, trains={"metro": 9, "freight": 1}),
        lambda x: timetable.period_maximum(x, trains={"metro": 9, "freight": 1})["expected"],
        lambda x: timetable.period_equivalent(x, trains={"metro": 9, "freight": 1}, hours=1.0),
    ):
        got = function(both)
        assert got.dims == ("frequency",)
        assert (got[1] - got[0]).item() == pytest.approx(10.0, abs=1e-6)


def test_resampling_stays_within_classes_and_scatters_as_theory_says(mixed):
    drawn = timetable.resample(mixed, size=4000, seed=2)
    metro = drawn.isel(passby=slice(0, 8))
    assert np.isin(metro.values, mixed.values[:8]).all()
    assert np.isin(drawn.isel(passby=slice(8, None)).values, mixed.values[8:]).all()
    # The bootstrap's scatter of a mean is s √((n-1)/n)/√n; 4000 samples know it to 1.1 %.
    want = mixed.values[:8].std() / np.sqrt(8)
    assert metro.mean("passby").std().item() == pytest.approx(want, rel=0.05)
    again = timetable.resample(mixed, size=4000, seed=2)
    np.testing.assert_array_equal(drawn, again)
    spread = timetable.mixed_percentile(drawn.isel(sample=slice(0, 200)),
                                        trains={"metro": 40, "freight": 4})  # fmt: skip
    assert spread.dims == ("sample",)
    assert 0.1 < spread.std().item() < 5.0


def test_a_timetable_must_fit_the_classes(mixed):
    with pytest.raises(ValueError, match="'freight' is among the passbys or in trains only"):
        timetable.mixed_percentile(mixed, trains={"metro": 1})
    with pytest.raises(ValueError, match="'tram' is among"):
        timetable.mixed_percentile(mixed, trains={"metro": 1, "freight": 1, "tram": 1})
    with pytest.raises(ValueError, match="holds no train"):
        timetable.period_equivalent(mixed, trains={"metro": 0, "freight": 0}, hours=1.0)
    one = levels([60.0, 61.0, 70.0], ["metro", "metro", "freight"])
    with pytest.raises(ValueError, match="'freight' has one passby"):
        timetable.period_maximum(one, trains={"metro": 1, "freight": 1})
    with pytest.raises(ValueError, match="no coordinate 'train_type' on passby"):
        timetable.mixed_percentile(levels([60.0, 61.0]), trains={"metro": 1})


def test_levels_without_energy_are_refused():
    coords = {"train_type": ("passby", ["m", "m", "f"])}
    level = stamp(xr.DataArray([60.0, 62.0, -np.inf], dims="passby", coords=coords),
                  quantity="velocity", reference="1 nm/s", long_name="level")  # fmt: skip
    with pytest.raises(ValueError, match="level is -inf at passby=2"):
        statistics.summary(level)
    with pytest.raises(ValueError, match="level is -inf"):
        timetable.class_fits(level)
