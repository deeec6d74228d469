"""Keys of a study that have a distribution, and cases of its mechanics."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from scipy import stats

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.report import assessment_text
from groundborne.report.how_sure import doubt_rows
from groundborne.study.belonging import CHECKSUM, DOUBTS
from groundborne.study.files import read_drawn
from groundborne.study.key_spreads import without_cases
from groundborne.study.mechanics import sampled_mechanics
from groundborne.study.spreads import MEASURED, study_spreads
from groundborne.study.sureness import Sampler, how_sure
from groundborne.uncertainty import BLOCK, Alternative, Distribution, Draws

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines" / "study.toml"
SOIL = "structure.foundation.shear_wave_speed_m_s"
SLAB = "structure.slab_density_kg_m3"
WIDE = {SOIL: Distribution(name="lognormal", coefficient_of_variation=0.4)}
SHARES = np.array([0.01, 0.2, 0.5, 0.77, 0.99])


pytestmark = pytest.mark.filterwarnings("ignore")


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
        ({"name": "normal", "standard_deviation": 0.0}, "standard_deviation 0; it must"),
        ({"name": "normal", "standard_deviation": 1.0, "mode": 1.0}, "has no mode"),
        ({"name": "uniform", "low": 1.0}, "needs low, high"),
        ({"name": "uniform", "low": 2.0, "high": 1.0}, "low 2 and high 1"),
        (
            {"name": "triangular", "low": 1.0, "high": 2.0, "mode": 3.0},
            "mode 3; it must lie from 1 to 2",
        ),
        ({"name": "empirical", "values": (1.0, 1.0)}, "has one value"),
        ({"name": "lognormal", "centre": -1.0, "standard_deviation": 1.0}, "centre -1; it must"),
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
        (SOIL, 'distribution = "normal"\nstandard_deviation = 200', "reaches beyond what"),
        (SOIL, 'distribution = "uniform"\nlow = -20\nhigh = -10', "uncertain: .* must be above 0"),
        ("rooms.rt_s", 'distribution = "uniform"\nlow = 0.3\nhigh = 0.6', "is a whole column"),
    ],
)  # fmt: skip
def test_where_no_distribution_can_be_one_sentence_says_so(tmp_path, key, rest, words) -> None:
    with pytest.raises(StudyError, match=words):
        gb.read_study(written(tmp_path, entry(key, rest)))


def test_keys_of_equipment_take_none() -> None:
    """Its answers are without probability, and a distribution would tell nothing of them."""
    hall = SMALL.parents[3].parent / "data" / "assembly_hall" / "study.toml"
    name = gb.read_study(hall).equipment[0].name
    one = {f"equipment.{name}.mass_kg": Distribution(name="normal", standard_deviation=1.0)}
    with pytest.raises(StudyError, match="is of equipment, of which answers are given without"):
        gb.read_study(hall, uncertain=one)


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


@pytest.mark.parametrize("cases", [0, 1, 3, 128])
def test_cases_are_a_power_of_two(cases: int) -> None:
    with pytest.raises(StudyError, match=f"cases is {cases}; it must be a power of two fr"):
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
    ).drop_vars("stage", errors="ignore").assign_attrs(
        {CHECKSUM: result.attrs[CHECKSUM], DOUBTS: "by hand"}
    )  # fmt: skip
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


def test_what_keys_spread_is_taken_off_their_own_stage(small) -> None:
    study, _ = small
    cases = sampled_mechanics(SMALL, uncertain=WIDE, cases=16)
    spreads = study_spreads(study)
    left = without_cases(spreads, cases, "sound pressure")
    changed = [a.name for a, b in zip(spreads, left, strict=True) if a is not b]
    assert changed == ["ground to foundation"]  # the soil under it
    before, after = (next(s for s in of if s.name == changed[0]) for of in (spreads, left))
    sizes = [one.of("sound pressure") ** 2 for one in (before, after)]
    assert "option" not in after.of("sound pressure").dims  # shared, as before
    # By hand: the least-squares line over the normal score of the share, option by option.
    score = stats.norm.ppf(cases["share"].sel(key=SOIL))
    change = cases["level_change"].transpose("case", ...)
    slope = np.tensordot(score - score.mean(), change, 1) / ((score - score.mean()) ** 2).sum()
    line = xr.DataArray(slope**2, dims=change.dims[1:], coords=change.isel(case=0).coords)
    expected = np.maximum(
        sizes[0] - line.min("option"), np.minimum(sizes[0], MEASURED**2)
    ).transpose("room", "frequency")  # fmt: skip
    assert float(line.max()) > 1.0
    np.testing.assert_allclose(sizes[1].transpose("room", "frequency"), expected, atol=1e-9)


def test_few_cases_take_nothing_off(small) -> None:
    spreads = study_spreads(small[0])
    cases = sampled_mechanics(SMALL, uncertain=WIDE, cases=2)
    assert without_cases(spreads, cases, "sound pressure") is spreads


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


# -- alternatives ----------------------------------------------------------------------------------

STAGE = "ground to foundation"
FREE = {"path.coupling.model": "free foundation"}
BANDS = [5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250]
LOSS = {
    "path.coupling.model": "given",
    "path.coupling.frequency_hz": BANDS,
    "path.coupling.loss_db": [6] * len(BANDS),
    "path.coupling.free_field_correction_only": True,
    "path.coupling.source": "invented",
}


def models(weight: float = 0.25, stage: str = STAGE, changes=FREE) -> list[Alternative]:
    """The file as it is, and another model."""
    return [
        Alternative(stage=stage, name="as it is", weight=1 - weight),
        Alternative(stage=stage, name="another", weight=weight, changes=changes),
    ]


def summed(result: xr.Dataset, name: str) -> xr.DataArray:
    change = result[name]
    change = change.sum("stage") if "stage" in change.dims else change
    return change.reset_coords(drop=True).transpose("option", "room", ..., "frequency")


def test_each_case_is_the_study_with_the_model_of_its_alternative(small) -> None:
    found = sampled_mechanics(SMALL, alternatives=models(), cases=8)
    names = found["alternative"].sel(modelled=STAGE).values.tolist()
    assert sorted(names) == ["another"] * 2 + ["as it is"] * 6
    other = gb.read_study(SMALL, changes=FREE).evaluate(band_levels=False)
    for case, name in enumerate(names):
        of = other if name == "another" else small[1]
        for change in ("level_change", "floor_change"):
            np.testing.assert_allclose(found[change].isel(case=case), summed(of, change), atol=1e-9)


def test_alternatives_of_two_stages_beside_uncertain_keys() -> None:
    both = [*models(0.5), *models(0.5, "radiation", {"path.radiation.field": "diffuse"})]
    found = sampled_mechanics(SMALL, alternatives=both, uncertain=WIDE, cases=4, seed=5)
    for case in range(4):
        row = found.isel(case=case)
        changes = {SOIL: float(WIDE[SOIL].about(250.0).ppf(row["share"].values)[0])}
        if row["alternative"].sel(modelled=STAGE) == "another":
            changes |= FREE
        if row["alternative"].sel(modelled="radiation") == "another":
            changes["path.radiation.field"] = "diffuse"
        one = gb.read_study(SMALL, changes=changes).evaluate(band_levels=False)
        np.testing.assert_allclose(row["level_change"], summed(one, "level_change"), atol=1e-9)


def ratio(*frequencies: float) -> dict:
    """Mid-span of floors by statistics in place of column lines."""
    return {
        "path.mid_span.model": "frequency ratio",
        "path.mid_span.natural_frequencies_hz": list(frequencies),
        "path.mid_span.construction": "concrete",
    }


def test_one_floor_frequency_is_no_dim_of_its_own(small) -> None:
    found = sampled_mechanics(SMALL, alternatives=models(0.5, changes=ratio(60.0)), cases=2)
    sure = how_sure(*small, mechanics=found, samples=BLOCK)
    assert bool(np.isfinite(sure["probability"]).all())
    with pytest.raises(StudyError, match="have as many floor frequencies"):
        sampled_mechanics(SMALL, alternatives=models(0.5, changes=ratio(60.0, 70.0)), cases=2)


def test_how_models_differ_is_not_taken_off_the_errors(small) -> None:
    """The law of total variance: within models, which the statistics hold, and between them."""
    found = sampled_mechanics(SMALL, alternatives=models(0.5), cases=8)
    spreads = study_spreads(small[0])
    assert float(found["level_change"].var("case").max()) > 0.1
    left = without_cases(spreads, found, "sound pressure")
    for before, after in zip(spreads, left, strict=True):
        size = after.of("sound pressure")
        np.testing.assert_allclose(size, before.of("sound pressure").broadcast_like(size))


def test_a_file_says_its_alternatives(tmp_path, small) -> None:
    text = f"""
[[alternatives]]
stage = "{STAGE}"
name = "as it is"
weight = 0.7
source = "invented"

[[alternatives]]
stage = "{STAGE}"
name = "averaged under the foundation"
weight = 0.3
source = "invented"
changes.path.coupling.model = "free foundation"
"""
    path = written(tmp_path, text)
    study = gb.read_study(path)
    assert [(a.name, dict(a.changes)) for a in study.alternatives] == [
        ("as it is", {}), ("averaged under the foundation", FREE),
    ]  # fmt: skip
    assert study.described() == small[0].described()
    result = study.evaluate(band_levels=False)
    with pytest.raises(StudyError, match=f"alternatives of '{STAGE}' in the study file"):
        how_sure(study, result)
    sure = how_sure(study, result, mechanics=sampled_mechanics(path), samples=BLOCK)
    assert "probability_error_of_cases" in sure


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (models()[:1], "weights add up to 0.75; they must"),
        ([models(0.5)[0], models(0.5)[0]], "'as it is' is there twice"),
        (
            [models(0.5)[1], replace(models(0.5)[1], name="third")],
            "none of them is without changes",
        ),
        (models(changes={"path.coupling.model": "none"}), "is what the file holds already"),
        (models(changes={"path.coupling.modl": "none"}), "alternative 'another'.*Did you mean"),
        (
            models(changes={"path.coupling.model": "guess"}),
            "alternative 'another'.*'guess'; known are",
        ),
        (models(changes={"source.name": "other"}), "changes 'source.name'; levels follow from"),
        (models(changes={"criteria.living.1.limit": 30}), "levels follow from"),
        ([*models(), *models(stage="other")], "both change 'path.coupling.model'"),
    ],
)
def test_alternatives_that_cannot_be_are_refused(given, words) -> None:
    with pytest.raises(StudyError, match=words):
        gb.read_study(SMALL, alternatives=given)


def test_weights_are_kept_to_within_a_case_and_none_is_lost() -> None:
    with pytest.raises(ValueError, match=r"weight 0\.05, and no case of 8; at least 20 are needed"):
        sampled_mechanics(SMALL, alternatives=models(0.05), cases=8)
    with pytest.raises(ValueError, match="weight 1; it must lie between 0 and 1"):
        Alternative(stage="a", name="b", weight=1.0)
    with pytest.raises(StudyError, match="also changed by the alternative 'another'"):
        gb.read_study(SMALL, changes={"path.coupling.model": "none"}, alternatives=models())


def test_the_probability_of_two_models_is_their_weighted_mean(small) -> None:
    """The law of total probability, on studies of which each holds one model."""
    study, result = small
    found = sampled_mechanics(SMALL, alternatives=models(0.25, changes=LOSS), cases=8)
    other = gb.read_study(SMALL, changes=LOSS)
    spreads = study_spreads(study)
    mixed = how_sure(study, result, spreads=spreads, mechanics=found, samples=16 * BLOCK)
    each = [
        how_sure(study, result, spreads=spreads, samples=16 * BLOCK),
        how_sure(other, other.evaluate(band_levels=False), spreads=spreads, samples=16 * BLOCK),
    ]
    expected = 0.75 * each[0]["probability"] + 0.25 * each[1]["probability"].values
    assert float(abs(each[0]["probability"] - each[1]["probability"].values).max()) > 0.02
    # Of 2¹⁴ samples, a quarter of them with the other model: four standard errors.
    np.testing.assert_allclose(mixed["probability"], expected, atol=0.025)


def test_a_value_that_its_distribution_hardly_gives_is_told(tmp_path) -> None:
    path = written(tmp_path, entry(SOIL, 'distribution = "uniform"\nlow = 500\nhigh = 700'))
    study = gb.read_study(path)
    (said,) = [s for s in study.unusual if SOIL in s]
    assert "hardly gives (500.2 to 699.8); ratings are of the value" in said
    within = written(tmp_path, entry(SOIL, 'distribution = "uniform"\nlow = 200\nhigh = 700'))
    assert not [s for s in gb.read_study(within).unusual if SOIL in s]


def test_one_cell_by_two_entries_is_refused() -> None:
    by = Distribution(name="lognormal", coefficient_of_variation=0.1)
    room = gb.read_study(SMALL).rooms[0]
    with pytest.raises(StudyError, match="or by another entry of the same cells; give one of"):
        sampled_mechanics(SMALL, uncertain={"rooms.rt_s": by, f"rooms.{room}.rt_s": by}, cases=2)


def test_what_is_uncertain_is_told_with_its_source(tmp_path) -> None:
    path = written(tmp_path, entry(SOIL, 'distribution = "normal"\nstandard_deviation = 20'))
    study = gb.read_study(path)
    result = study.evaluate(band_levels=False)
    sure = how_sure(study, result, mechanics=sampled_mechanics(path, cases=2), samples=BLOCK)
    rows = doubt_rows(sure)
    assert rows is not None
    assert rows.rows == (
        ("shear-wave speed under the foundation", "normal, standard deviation 20", "invented"),
    )
