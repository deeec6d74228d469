"""What decides, and what measuring it would do: slopes, budgets and indices known exactly."""

from __future__ import annotations

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from scipy.stats import norm

import groundborne as gb
from groundborne import weighting
from groundborne._checks import StudyError
from groundborne.rating.answers import Answer
from groundborne.rating.noise_rating_curves import octave_ratings, octaves_from_thirds
from groundborne.study import (
    best_measurements,
    deciding_sources,
    error_budget,
    how_sure,
    study_spreads,
)
from groundborne.study.moved_ratings import TRAINS_NUMBER, MovedRatings
from groundborne.uncertainty import BLOCK, Spread

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines" / "study.toml"
B_63 = 0.790  # of the noise rating curve at 63 Hz, AS 1469:1983 [seen second-hand]


def together(name: str, size: float, **more) -> Spread:
    """All bands alike, so that levels shift by it whatever the shares."""
    return Spread(name=name, of_sound=size, of_floor=size, bands_correlated=float("inf"), **more)


@pytest.fixture(scope="module")
def small() -> tuple[gb.Study, xr.Dataset]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(SMALL)
        return study, study.evaluate()


@pytest.fixture(scope="module")
def ratings(small) -> MovedRatings:
    study, result = small
    return MovedRatings(study=study, result=result, spreads=(together("a", 1.0),), seed=1)


def of_metric(ratings: MovedRatings, name: str) -> str:
    return next(n for n, r in ratings.rated.items() if r.criterion.of.name == name)


def test_slopes_of_a_sum_are_its_energy_shares(ratings: MovedRatings) -> None:
    name = of_metric(ratings, "LASmax")
    level = ratings.rated[name].level
    power = 10 ** ((level + weighting.a(level["frequency"])) / 10)
    share = (power / power.sum("frequency")).transpose("option", "room", "frequency")
    np.testing.assert_allclose(ratings.slopes.sel(criterion=name), share, atol=1e-7)


def test_slopes_of_noise_ratings_are_those_of_the_octave_that_governs(
    ratings: MovedRatings,
) -> None:
    name = of_metric(ratings, "NR")
    level = ratings.rated[name].level.reset_coords(drop=True)
    octaves = octave_ratings(octaves_from_thirds(level)[0])
    governs = octaves.idxmax("frequency")
    assert bool((governs.sel(room="S1").isel(option=0) == 63).item())
    slope = ratings.slopes.sel(criterion=name, room="S1").isel(option=0)
    inside = level.sel(room="S1", frequency=[50.0, 63.0, 80.0]).isel(option=0)
    power = 10 ** (inside / 10)
    expected = (power / power.sum()) / B_63
    np.testing.assert_allclose(slope.sel(frequency=[50.0, 63.0, 80.0]), expected, atol=1e-7)
    assert float(abs(slope.drop_sel(frequency=[50.0, 63.0, 80.0])).max()) < 1e-9


def test_slopes_of_a_curve_are_1_in_the_band_that_governs(ratings: MovedRatings, small) -> None:
    _, result = small
    name = of_metric(ratings, "VC-A")
    slope = ratings.slopes.sel(criterion=name).transpose("option", "room", "frequency")
    governs = result["governing_band"].sel(criterion=name).transpose("option", "room")
    expected = (slope["frequency"] == governs).transpose("option", "room", "frequency")
    np.testing.assert_allclose(slope, expected.astype(float), atol=1e-9)


def test_slopes_of_a_dose_add_up_to_1(ratings: MovedRatings) -> None:
    slope = ratings.slopes.sel(criterion=of_metric(ratings, "VDV"))
    np.testing.assert_allclose(slope.sum("frequency"), 1.0, atol=1e-7)


def test_a_budget_of_errors_of_all_bands_is_exact_and_samples_agree(small) -> None:
    study, result = small
    spreads = [together("three", 3.0), together("four", 4.0)]
    found = error_budget(study, result, spreads=spreads, samples=16 * BLOCK)
    names = [n for n in found["criterion"].values if not n.startswith("NR")]
    here = found.sel(criterion=names)
    applies = result["applies"].sel(criterion=names)
    for source, size in (("three", 3.0), ("four", 4.0)):
        row = here["budget"].sel(source_of_error=source).where(applies, size)
        np.testing.assert_allclose(row, size, atol=1e-6)
    trains = here["budget"].sel(source_of_error=TRAINS_NUMBER)
    exact = np.hypot(5.0, trains)
    np.testing.assert_allclose(here["first_order"], exact)
    # A standard deviation of 16384 samples scatters by 0.6 %.
    np.testing.assert_allclose(here["sampled"], exact, rtol=0.02)
    assert bool((here["budget"].notnull() == applies).all())


def test_a_budget_of_a_noise_rating_divides_by_the_step_of_its_curve(small) -> None:
    study, result = small
    found = error_budget(study, result, spreads=[together("one", 1.0)], samples=BLOCK)
    name = next(n for n in found["criterion"].values if n.startswith("NR"))
    here = found["budget"].sel(criterion=name, room="S1", source_of_error="one").isel(option=0)
    assert here.item() == pytest.approx(1 / B_63, abs=1e-6)


def test_indices_of_errors_of_all_bands_are_their_variances(small) -> None:
    """Linear and normal: 9 and 16 of 25, and what the trains add."""
    study, result = small
    spreads = [together("three", 3.0), together("four", 4.0)]
    one = result["option"].values[:1].tolist()
    found = deciding_sources(study, result, options=one, spreads=spreads, samples=16 * BLOCK)
    name = next(n for n in found["criterion"].values if n.startswith("LASmax, mean"))
    trains = float(
        error_budget(study, result, spreads=spreads, samples=BLOCK)["budget"]
        .sel(source_of_error=TRAINS_NUMBER, criterion=name, room="O1").isel(option=0)
    )  # fmt: skip
    exact = np.array([9.0, 16.0, trains**2]) / (25 + trains**2)
    here = found.sel(criterion=name, room="O1", option=one[0])
    for order in ("first_order", "total_order"):
        assert here[order].values == pytest.approx(exact, abs=0.04)
        off = abs(here[order] - exact).values
        assert (off <= 4 * here[f"{order}_error"].values + 0.003).all()


def test_what_an_option_lacks_decides_nothing_there(small) -> None:
    study, result = small
    found = deciding_sources(study, result, samples=2 * BLOCK)
    base = found["total_order"].sel(source_of_error="base isolation", option="no isolation")
    assert float(abs(base).max()) == 0.0
    with_mounts = found["total_order"].sel(source_of_error="base isolation").isel(option=1)
    assert float(with_mounts.max()) > 0.02


@pytest.fixture(scope="module")
def undecided(small) -> tuple[gb.Study, xr.Dataset, list[Spread]]:
    """Margins of 2 dB, with errors of all bands: 8 dB that can be measured to 1, 3 and 4 not."""
    study, result = small
    spreads = [
        together("large", 8.0, measured={"levels on the ground": 1.0}),
        together("small", 3.0, measured={"sound in the room": 2.0}),
        together("left", 4.0),
    ]
    applies = result["applies"]
    moved = result.assign(
        margin=result["margin"].where(~applies, 2.0),
        margin_one_stage=result["margin_one_stage"].where(~applies, 2.0),
        may_add=xr.zeros_like(result["may_add"]),
    )
    return study, how_sure(study, moved, spreads=spreads, samples=8 * BLOCK), spreads


def test_the_best_measurement_takes_most_of_the_interval(undecided) -> None:
    study, sure, spreads = undecided
    found = best_measurements(study, sure, spreads=spreads)
    name = next(n for n in found["criterion"].values if n.startswith("LASmax, mean"))
    trains = float(sure["trains_spread"].sel(criterion=name, room="O1").isel(option=0))
    now, left = (float(np.sqrt(x**2 + 25 + trains**2)) for x in (8.0, 1.0))
    here = found.sel(criterion=name, room="O1").isel(option=0)
    point = norm.ppf(0.9)
    large = here.sel(measurement="levels on the ground")
    assert large["reduction"].item() == pytest.approx(2 * point * (now - left), abs=1e-3)
    told = np.sqrt(63.0)
    assert large["probability_met"].item() == pytest.approx(
        norm.cdf((2 - point * left) / told), abs=0.01
    )
    assert large["probability_not_met"].item() == pytest.approx(
        norm.cdf((-2 - point * left) / told), abs=0.01
    )
    assert here["best"].item() == "levels on the ground"
    assert bool(((found["best"] == "") == (sure["answer"] != Answer.WITHIN.value)).all())


def test_a_measurement_no_better_than_what_is_known_changes_nothing(undecided) -> None:
    study, sure, spreads = undecided
    worse = [replace(s, measured=dict.fromkeys(s.measured, 20.0)) for s in spreads]
    found = best_measurements(study, sure, spreads=worse)
    assert float(abs(found["reduction"]).max()) < 1e-9
    assert set(np.unique(found["best"].values)) == {""}
    # What it would tell is nothing: the answer stays as it is.
    open_ = sure["answer"] == Answer.WITHIN.value
    assert float(found["probability_met"].where(open_, 0.0).max()) == 0.0


def test_each_spread_of_a_study_names_what_measures_it(small) -> None:
    study, result = small
    sure = how_sure(study, result, samples=BLOCK)
    found = best_measurements(study, sure)
    named = {n for s in study_spreads(study) for n in (*s.measured, *s.measured_in_sound)}
    assert set(found["measurement"].values.tolist()) == named


@pytest.mark.parametrize(
    ("function", "more", "words"),
    [
        (error_budget, {"samples": 0}, "samples is 0; at least 1 is needed"),
        (error_budget, {"spreads": []}, "error_budget: spreads is empty"),
        (deciding_sources, {"samples": BLOCK}, "is 1 block of 1024; .* needs 2048 at least"),
        (deciding_sources, {"options": ["springs"]}, "option is 'springs'; known are 'no isol"),
        (best_measurements, {}, "does not hold 'rating_median'; give what how_sure makes"),
    ],
)
def test_what_cannot_be_told_is_refused(small, function, more, words: str) -> None:
    study, result = small
    with pytest.raises(StudyError, match=words):
        function(study, result, **more)


def test_spreads_that_nothing_measures_are_refused(undecided) -> None:
    study, sure, _ = undecided
    with pytest.raises(StudyError, match="none of the spreads 'a' names a measurement"):
        best_measurements(study, sure, spreads=[together("a", 1.0)])


def test_a_measurement_tells_of_all_that_lies_before_it(small) -> None:
    """Trains at mid-span take the place of ground, foundation and floor; 2 dB are left in all."""
    study, result = small
    sure = how_sure(study, result, samples=BLOCK)
    given = study_spreads(study)
    best = best_measurements(study, sure)
    order = ["trains on the foundation", "trains at mid-span of the floor"]
    gains = [best["reduction"].sel(measurement=n) for n in order]
    applies = result["applies"]
    assert bool((gains[1] >= gains[0] - 1e-9).where(applies, True).all())
    left = [s.after(order[1]) for s in given]
    of = {s.name: s.of("velocity") for s in left}
    assert float(of["ground to foundation"].max()) == 0.0
    np.testing.assert_array_equal(of["foundation to floor"], 2.0)
    heard = [s.after("sound of trains in the room") for s in given]
    whole = {s.name: s for s in heard}
    assert float(whole["foundation to floor"].of("sound pressure").max()) == 0.0
    assert float(whole["foundation to floor"].of("velocity").min()) > 2.0  # sound tells no motion
    assert float(whole["radiation and room"].of("sound pressure").max()) == 2.0
