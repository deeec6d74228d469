"""Uncertain keys and alternatives as sources of error: known answers on cases made by hand."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from scipy.special import ndtri

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.study import (
    best_measurements,
    deciding_sources,
    error_budget,
    how_sure,
    least_option,
    needed_isolation,
    study_spreads,
)
from groundborne.study.belonging import CHECKSUM, DOUBTS
from groundborne.study.key_spreads import REST, with_keys
from groundborne.study.mechanics import sampled_mechanics
from groundborne.uncertainty import BLOCK, Alternative, Distribution, Spread

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines" / "study.toml"
SOIL = "structure.foundation.shear_wave_speed_m_s"
LOSS = "structure.column_loss_factor"
WIDE = {
    SOIL: Distribution(name="lognormal", coefficient_of_variation=0.3),
    LOSS: Distribution(name="normal", standard_deviation=0.004),
}
QUIET = [Spread(name="trains", of_sound=1.0, of_floor=1.0, bands_correlated=np.inf)]


pytestmark = pytest.mark.filterwarnings("ignore")


def cases_of(result: xr.Dataset, off: xr.DataArray, **more: xr.DataArray) -> xr.Dataset:
    """Cases whose levels differ from the result by `off` in all bands and rooms."""
    found = dict(more)
    for name in ("level_change", "floor_change"):
        change = result[name]
        change = change.sum("stage") if "stage" in change.dims else change
        whole = (change.reset_coords(drop=True) + off).transpose("case", "option", "room", ...)
        found[name] = whole.drop_attrs(deep=False)
    return xr.Dataset(found, attrs={CHECKSUM: result.attrs[CHECKSUM], DOUBTS: "by hand"})


def shares(count: int, *keys: str) -> xr.DataArray:
    points = np.random.default_rng(4).uniform(0.02, 0.98, (count, len(keys)))
    return xr.DataArray(points, dims=("case", "key"), coords={"key": list(keys)})


def test_linear_cases_are_told_apart_exactly(small) -> None:
    """Two keys and a stage of two models, each with a known slope: the closed form."""
    study, result = small
    share = shares(16, "a", "b")
    score = xr.apply_ufunc(ndtri, share)
    names = xr.DataArray(
        np.array(["one"] * 12 + ["two"] * 4)[:, None], dims=("case", "modelled"),
        coords={"modelled": ["coupling"]},
    )  # fmt: skip
    model = (names.isel(modelled=0, drop=True) == "two") * 4.0
    off = 3.0 * score.sel(key="a", drop=True) - 2.0 * score.sel(key="b", drop=True) + model
    cases = cases_of(result, off, share=share, alternative=names)
    found = error_budget(study, result, spreads=QUIET, mechanics=cases, samples=BLOCK)
    budget = found["budget"].where(result["applies"], drop=True)
    one = budget.sel(source_of_error="trains")  # 1 dB, or what that is of noise ratings
    for name, size in (("a", 3), ("b", 2), ("model of coupling", 4 * 3**0.5 / 4)):
        own = budget.sel(source_of_error=name) / one
        np.testing.assert_allclose(own.values[np.isfinite(own.values)], size, rtol=1e-4)
    assert REST not in budget["source_of_error"].values
    indices = deciding_sources(study, result, spreads=QUIET, mechanics=cases, samples=8 * BLOCK)
    total = found["first_order"] ** 2
    whole = (found["budget"] ** 2 / total).sel(source_of_error="a")
    error = float(indices["first_order_error"].max())
    off_by = abs(indices["first_order"].sel(source_of_error="a") - whole)
    assert error < 0.05
    assert float(off_by.max()) < 4 * error


def test_three_models_make_the_variance_between_them(small) -> None:
    _, result = small
    of = np.array([0, 0, 0, 0, 1, 1, 2, 2])
    names = xr.DataArray(
        np.array(["a", "b", "c"])[of][:, None], dims=("case", "modelled"),
        coords={"modelled": ["floors"]},
    )  # fmt: skip
    values = np.array([0.0, 3.0, -5.0])[of]
    cases = cases_of(result, xr.DataArray(values, dims="case"), alternative=names)
    spreads = with_keys("here", QUIET, cases, reduced=False)
    total = sum(s.of("sound pressure") ** 2 for s in spreads if s.name.startswith("model of"))
    np.testing.assert_allclose(total, values.var(), rtol=1e-9)


def test_what_bends_is_a_source_of_its_own(small) -> None:
    _, result = small
    share = shares(64, "a")
    score = xr.apply_ufunc(ndtri, share).sel(key="a", drop=True)
    spreads = with_keys("here", QUIET, cases_of(result, score**2, share=share), reduced=False)
    rest = {s.name: s for s in spreads}[REST].of("velocity")
    assert float(rest.min()) > 0.5


def test_too_few_cases_are_refused(small) -> None:
    study, result = small
    share = shares(4, "a", "b", "c")
    cases = cases_of(result, share.sum("key"), share=share)
    with pytest.raises(StudyError, match=r"has 4 cases, too few .*cases=8 is enough"):
        error_budget(study, result, mechanics=cases)


@pytest.fixture(scope="module")
def uncertain() -> tuple[gb.Study, xr.Dataset, xr.Dataset]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(SMALL, uncertain=WIDE)
        return study, study.evaluate(), sampled_mechanics(SMALL, uncertain=WIDE, cases=8)


def test_the_budget_of_a_study_holds_its_keys(uncertain) -> None:
    study, result, cases = uncertain
    found = error_budget(study, result, mechanics=cases, samples=4 * BLOCK)
    assert {SOIL, LOSS, REST} <= set(found["source_of_error"].values.tolist())
    ratio = (found["sampled"] / found["first_order"]).where(result["applies"])
    # Eight cases are not normal, and sums of bands bend with errors of some 10 dB.
    assert float(ratio.min()) > 0.6
    assert float(ratio.max()) < 1.4
    sure = how_sure(study, result, mechanics=cases, samples=BLOCK)
    best = best_measurements(study, sure, mechanics=cases)
    gain = best["reduction"].sel(measurement=f"value of {SOIL}").max()
    assert float(gain) > 0.01


def test_no_step_goes_without_the_cases(uncertain) -> None:
    study, result, cases = uncertain
    sure = how_sure(study, result, mechanics=cases, samples=BLOCK)
    for asked in (
        lambda: error_budget(study, result),
        lambda: deciding_sources(study, result),
        lambda: best_measurements(study, sure),
        lambda: needed_isolation(study, result),
    ):
        with pytest.raises(StudyError, match="are uncertain in the study file, and there are no"):
            asked()
    with pytest.raises(StudyError, match="options of a script have no cases of that"):
        least_option(study, study.options)
    stages = [
        Alternative(stage="soil", name="as it is", weight=0.5),
        Alternative(stage="soil", name="soft", weight=0.5, changes={SOIL: 200.0}),
    ]
    other = gb.read_study(SMALL, alternatives=stages)
    with pytest.raises(StudyError, match="there are alternatives of 'soil'"):
        error_budget(other, result)


def test_the_loss_needed_meets_the_criteria_with_the_cases(uncertain) -> None:
    """By another way: levels of the study and of its cases lowered, and asked how sure."""
    study, result, cases = uncertain
    found = needed_isolation(
        study, result, mechanics=cases, by_band=False, samples=2 * BLOCK, seed=3
    )
    label = found["criterion"].values[0]
    loss = found["needed"].sel(criterion=label, drop=True).reset_coords(drop=True)
    assert float(loss.max()) > 0
    name = "level_change"
    less = loss / result[name].sizes.get("stage", 1)
    lowered = result.assign({name: (result[name] - less).transpose(*result[name].dims)})
    own = cases.assign({name: (cases[name] - loss).transpose(*cases[name].dims)})
    spreads = study_spreads(study)
    before = how_sure(study, result, mechanics=cases, samples=2 * BLOCK, seed=3)
    from groundborne.study.sureness import Sampler

    sampler = Sampler(study=study, result=lowered, spreads=tuple(spreads), seed=3, mechanics=own)
    off = np.concatenate([sampler.deviations(n) for n in range(2)])[..., 0]
    with_loss = before["margin"].sel(criterion=label).transpose("option", "room").values
    met = (off <= with_loss + loss.transpose("option", "room").values + 0.05).mean(axis=0)
    lacks = loss.transpose("option", "room").values > 0
    assert (met[lacks] > 0.9 - 0.01).all()
    assert (met[lacks] < 0.93).all()


def test_cases_and_results_of_another_study_are_refused(uncertain, small) -> None:
    study, result, cases = uncertain
    changed = gb.read_study(SMALL, changes={"rooms.rt_s": 1.5}, uncertain=WIDE)
    other = changed.evaluate(band_levels=False)
    with pytest.raises(StudyError, match="mechanics was evaluated from other values than the stu"):
        how_sure(changed, other, mechanics=cases)
    with pytest.raises(StudyError, match="result was evaluated from other values than the study"):
        how_sure(changed, result, mechanics=cases)
    wider = gb.read_study(SMALL, uncertain=WIDE | {
        LOSS: Distribution(name="normal", standard_deviation=0.002)
    })  # fmt: skip
    with pytest.raises(StudyError, match="drawn of other distributions or alternatives than the"):
        how_sure(wider, result, mechanics=cases)
    with pytest.raises(StudyError, match="does not say which study it is of"):
        how_sure(study, result, mechanics=cases.drop_attrs())
    renamed = small[1].assign_coords(option=["a", "b", "c"])
    for asked in (how_sure, error_budget, needed_isolation):
        with pytest.raises(StudyError, match="the result holds the option 'a', and the study"):
            asked(small[0], renamed)
        with pytest.raises(StudyError, match="other values"):
            asked(gb.read_study(SMALL, changes={"rooms.rt_s": 1.5}), small[1])


def test_a_list_of_nothing_is_refused(small) -> None:
    with pytest.raises(StudyError, match="spreads is empty"):
        how_sure(*small, spreads=[])
