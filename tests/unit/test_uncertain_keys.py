"""Keys of a study that have a distribution, and cases of its mechanics."""

from __future__ import annotations

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from scipy import stats

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.report import assessment_text
from groundborne.study.cases import without_cases
from groundborne.study.files import read_drawn
from groundborne.study.mechanics import sampled_mechanics
from groundborne.study.spreads import MEASURED, study_spreads
from groundborne.study.sureness import Sampler, how_sure
from groundborne.uncertainty import BLOCK, Distribution, Draws

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines" / "study.toml"
SOIL = "structure.foundation.shear_wave_speed_m_s"
SLAB = "structure.slab_density_kg_m3"
WIDE = {SOIL: Distribution(name="lognormal", coefficient_of_variation=0.4)}
SHARES = np.array([0.01, 0.2, 0.5, 0.77, 0.99])


@pytest.fixture(autouse=True)
def _quiet():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


@pytest.fixture(scope="module")
def small() -> tuple[gb.Study, xr.Dataset]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(SMALL)
        return study, study.evaluate(band_levels=False)


def written(folder: Path, text: str) -> Path:
    """The small study with more in its file."""
    for file in SMALL.parent.iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    path = folder / SMALL.name
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")
    return path


def entry(key: str, rest: str) -> str:
    return f'\n[[uncertain]]\nkey = "{key}"\nsource = "invented"\n{rest}\n'


# -- distributions ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        ({"name": "normal", "centre": 5.0, "standard_deviation": 2.0}, stats.norm(5, 2)),
        ({"name": "normal", "centre": -5.0, "coefficient_of_variation": 0.4}, stats.norm(-5, 2)),
        ({"name": "uniform", "low": 2.0, "high": 6.0}, stats.uniform(2, 4)),
        ({"name": "triangular", "low": 2.0, "high": 6.0, "mode": 3.0}, stats.triang(0.25, 2, 4)),
        (
            {"name": "normal", "centre": 5.0, "standard_deviation": 2.0, "low": 4.0, "high": 9.0},
            stats.truncnorm(-0.5, 2.0, 5, 2),
        ),
    ],
)
def test_shares_lead_to_the_values_of_scipy(ours, theirs) -> None:
    np.testing.assert_allclose(Distribution(**ours).ppf(SHARES), theirs.ppf(SHARES), rtol=1e-9)


@pytest.mark.parametrize("more", [{"standard_deviation": 3.0}, {"coefficient_of_variation": 0.3}])
def test_moments_of_a_lognormal_distribution(more) -> None:
    """Integrated over its shares; the median is the centre."""
    of = Distribution(name="lognormal", centre=10.0, **more)
    values = of.ppf((np.arange(400_000) + 0.5) / 400_000)
    mean, deviation = values.mean(), values.std()
    assert np.median(values) == pytest.approx(10.0, rel=1e-4)
    found = deviation / (1.0 if "standard_deviation" in more else mean)
    assert found == pytest.approx(next(iter(more.values())), rel=2e-3)


def test_values_of_an_empirical_distribution_are_as_likely_as_each_other() -> None:
    found = Distribution(name="empirical", values=(3.0, 1.0, 2.0)).ppf((np.arange(300) + 0.5) / 300)
    assert [int((found == v).sum()) for v in (1.0, 2.0, 3.0)] == [100, 100, 100]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"name": "gamma"}, "distribution"),
        ({"name": "normal"}, "needs its standard_deviation or its coefficient_of_variation"),
        ({"name": "normal", "standard_deviation": 1.0, "coefficient_of_variation": 0.1}, "one of"),
        ({"name": "normal", "standard_deviation": 0.0}, "standard_deviation 0; above 0 is"),
        ({"name": "normal", "standard_deviation": 1.0, "mode": 1.0}, "has no mode"),
        ({"name": "uniform", "low": 1.0}, "needs low, high"),
        ({"name": "uniform", "low": 2.0, "high": 1.0}, "low 2 and high 1"),
        ({"name": "triangular", "low": 1.0, "high": 2.0, "mode": 3.0}, "mode 3; 1 to 2"),
        ({"name": "empirical", "values": (1.0, 1.0)}, "has one value"),
        ({"name": "lognormal", "centre": -1.0, "standard_deviation": 1.0}, "centre -1; above 0"),
        ({"name": "normal", "centre": 0.0, "coefficient_of_variation": 1.0}, "nothing is a share"),
        ({"name": "normal", "centre": 0.0, "standard_deviation": 0.1, "low": 50.0}, "has nothing"),
    ],
)
def test_what_is_no_distribution_is_refused(more, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Distribution(**more)


# -- keys ------------------------------------------------------------------------------------------


def test_a_file_says_what_is_uncertain_and_the_study_stays_as_it_is(tmp_path, small) -> None:
    path = written(tmp_path, entry(SOIL, 'distribution = "normal"\nstandard_deviation = 40'))
    study = gb.read_study(path)
    (one,) = study.uncertain
    assert (one.key, one.source, one.distribution.standard_deviation) == (SOIL, "invented", 40.0)
    assert study.described() == small[0].described()
    assert study.changed == ()
    with pytest.raises(StudyError, match=f"'{SOIL}' is uncertain in the study file"):
        how_sure(study, study.evaluate(band_levels=False))


def test_each_case_is_the_study_with_the_values_drawn() -> None:
    uncertain = WIDE | {"rooms.rt_s": Distribution(name="lognormal", coefficient_of_variation=0.2)}
    found = sampled_mechanics(SMALL, uncertain=uncertain, cases=4, seed=3)
    for case in (0, 3):
        share = found["share"].isel(case=case)
        speed = WIDE[SOIL].about(250.0).ppf(share.sel(key=SOIL).values[None])[0]
        time = gb.read_study(SMALL).building.rooms["reverberation_time"]
        times = {
            f"rooms.{room}.rt_s": float(
                uncertain["rooms.rt_s"].about(float(time.sel(room=room).max())).ppf(
                    share.sel(key="rooms.rt_s").values[None])[0]
            )
            for room in found["room"].values
        }  # fmt: skip
        one = gb.read_study(SMALL, changes={SOIL: float(speed), **times}).evaluate()
        for name in ("level_change", "floor_change"):
            change = one[name].sum("stage") if "stage" in one[name].dims else one[name]
            np.testing.assert_allclose(
                found[name].isel(case=case).transpose(*change.dims), change, atol=1e-9
            )


@pytest.mark.parametrize(
    ("key", "rest", "words"),
    [
        ("path.storeys.model", 'distribution = "uniform"\nlow = 1\nhigh = 2',
         "'path.storeys.model' is no number .choice.; it takes no distribution"),
        ("structure", 'distribution = "uniform"\nlow = 1\nhigh = 2', "'structure' is a whole"),
        ("bands.low_hz", 'distribution = "uniform"\nlow = 5\nhigh = 8', "a number that is chosen"),
        ("options.box.name", 'distribution = "uniform"\nlow = 5\nhigh = 8', "is no number .text."),
        ("periods.day.hours", 'distribution = "uniform"\nlow = 5\nhigh = 8', "that is chosen"),
        ("structure.span", 'distribution = "uniform"\nlow = 5\nhigh = 8',
         "there is no key 'structure.span'.*Did you mean 'structure.span_"),
        (SOIL, 'distribution = "normal"', "standard_deviation or its coefficient_of_variation"),
        (SOIL, 'distribution = "normal"\nmode = 3', "mode"),
        (SOIL, 'distribution = "uniform"\nlow = -20\nhigh = -10', "uncertain: .* must be above 0"),
        ("rooms.rt_s", 'distribution = "uniform"\nlow = 0.3\nhigh = 0.6', "is a whole column"),
    ],
)  # fmt: skip
def test_where_no_distribution_can_be_one_sentence_says_so(tmp_path, key, rest, words) -> None:
    with pytest.raises(StudyError, match=words):
        gb.read_study(written(tmp_path, entry(key, rest)))


def test_the_same_key_twice_is_refused(tmp_path) -> None:
    one = entry(SOIL, 'distribution = "normal"\nstandard_deviation = 40')
    with pytest.raises(StudyError, match="is there twice"):
        gb.read_study(written(tmp_path, one + one))


def test_values_beyond_what_is_possible_are_refused_and_truncated_where_it_says_so() -> None:
    share = {SOIL: xr.DataArray([0.001, 0.5], dims="sample")}
    wide = Distribution(name="normal", standard_deviation=200.0)
    with pytest.raises(StudyError, match="reaches beyond what is possible; give it ends"):
        read_drawn(SMALL, uncertain={SOIL: wide}, shares=share)
    held = replace(wide, low=100.0)
    (change,) = read_drawn(SMALL, uncertain={SOIL: held}, shares=share).changes
    assert change.key == SOIL
    assert held.about(250.0).ppf(np.array([1e-6])) >= 100.0


# -- cases -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("cases", [0, 3, 128])
def test_cases_are_a_power_of_two(cases: int) -> None:
    with pytest.raises(StudyError, match=f"cases is {cases}; a power of two from 1 to 64 is"):
        sampled_mechanics(SMALL, uncertain=WIDE, cases=cases)


def test_nothing_uncertain_has_no_cases(small) -> None:
    with pytest.raises(StudyError, match="no key of the study is uncertain"):
        sampled_mechanics(SMALL)
    study, result = small
    cases = sampled_mechanics(SMALL, uncertain=WIDE, cases=2)
    other = cases.assign_coords(option=["a", "b", "c"])
    with pytest.raises(ValueError, match="'option'"):
        how_sure(study, result, mechanics=other)
    with pytest.raises(StudyError, match="holds no 'floor_change'"):
        how_sure(study, result, mechanics=cases.drop_vars("floor_change"))


def test_cases_that_are_the_study_change_nothing(small) -> None:
    study, result = small
    same = xr.Dataset(
        {
            n: (result[n].sum("stage") if "stage" in result[n].dims else result[n])
            .reset_coords(drop=True).expand_dims(case=4)
            for n in ("level_change", "floor_change")
        }
    ).drop_vars("stage", errors="ignore")  # fmt: skip
    plain = how_sure(study, result, samples=2 * BLOCK)
    found = how_sure(study, result, samples=2 * BLOCK, mechanics=same)
    for name in ("probability", "probability_all", "margin_low", "gain_high"):
        np.testing.assert_allclose(found[name], plain[name], atol=1.5 / BLOCK)


def test_levels_without_other_errors_are_those_of_the_cases(small) -> None:
    """Every case counts as often, and ratings are those of the study with its values."""
    study, result = small
    cases = sampled_mechanics(SMALL, uncertain=WIDE, cases=4)
    found = Sampler(study=study, result=result, spreads=tuple(study_spreads(study)), seed=1,
                    mechanics=cases, reduced=False)  # fmt: skip
    quiet = replace(
        found.kernel,
        errors={q: replace(e, sizes=tuple(0 * s for s in e.sizes))
                for q, e in found.kernel.errors.items()},
        trains_spread=0 * found.kernel.trains_spread,
    )  # fmt: skip
    off = quiet.deviations(0).reshape(*quiet.margin.shape, 4, -1)
    np.testing.assert_allclose(np.ptp(off, axis=-1), 0.0, atol=1e-4)
    share = cases["share"].sel(key=SOIL).values
    for case in range(4):
        speed = float(WIDE[SOIL].about(250.0).ppf(share[[case]])[0])
        one = gb.read_study(SMALL, changes={SOIL: speed}).evaluate(band_levels=False)
        ratio = result["ratio"].astype(bool)
        expected = xr.where(
            ratio, 20 * np.log10(one["rating"] / result["rating"]), one["rating"] - result["rating"]
        ).transpose("option", "room", "criterion")
        np.testing.assert_allclose(off[..., case, 0], expected, atol=2e-4)


def test_what_cases_spread_is_not_counted_twice(small) -> None:
    study, _ = small
    cases = sampled_mechanics(SMALL, uncertain=WIDE, cases=16)
    spreads = study_spreads(study)
    left = without_cases(spreads, cases, "sound pressure")
    over = cases["level_change"].var("case", ddof=1)

    def total(of):
        return sum((s.of("sound pressure") ** 2 for s in of if s.path), xr.DataArray(0.0))

    before, after = total(spreads), total(left)
    held = after > MEASURED**2 * 1.001
    assert float(over.max()) > 1.0
    assert bool(held.any())
    difference = abs(before - after - over).where(held)
    assert float(difference.max()) < 1e-9
    assert bool((after >= np.minimum(before, MEASURED**2) - 1e-9).all())
    np.testing.assert_array_equal(left[0].of("sound pressure"), spreads[0].of("sound pressure"))


def test_cases_are_not_confounded_with_the_points(small) -> None:
    """Every case has errors of mean 0 and spread 1: had it every n-th point of the sequence, the
    first error of each would lie in a part of its range."""
    study, result = small
    draws = Draws(spreads=tuple(study_spreads(study)), frequency=result["frequency"], rooms=result,
                  seed=1)  # fmt: skip
    first = draws.normals(0)[0].values[0, :, 0].reshape(8, -1)
    assert abs(first.mean(axis=1)).max() < 0.05
    assert abs(first.std(axis=1) - 1).max() < 0.1


def test_the_error_by_few_cases_is_their_scatter(small) -> None:
    study, result = small
    cases = sampled_mechanics(SMALL, uncertain=WIDE, cases=8)
    found = how_sure(study, result, samples=8 * BLOCK, mechanics=cases)
    sampler = Sampler(study=study, result=result, spreads=tuple(study_spreads(study)), seed=1,
                      mechanics=cases)  # fmt: skip
    kernel = sampler.kernel
    met = sum((kernel.deviations(n) <= kernel.margin[..., None] + 1e-6).reshape(
        *kernel.margin.shape, 8, -1).sum(axis=-1) for n in range(8))  # fmt: skip
    by_hand = (met / BLOCK).std(axis=-1, ddof=1) / np.sqrt(8)
    told = found["probability_error_of_cases"]
    np.testing.assert_allclose(told, by_hand, atol=1e-3)
    assert float(told.max()) > 0.002
    assert bool((found["probability_error"] >= told).all())
    said = (
        f"sampled by 8 cases; that they are so few puts an error of up to {100 * told.max():.1f} %"
    )
    assert said in assessment_text(found)
    assert "cases" not in assessment_text(study.how_sure(samples=BLOCK))
