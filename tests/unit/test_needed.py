"""What is needed, the least option, and the efficient set: by hand, and by samples."""

from __future__ import annotations

import itertools
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st
from scipy.optimize import minimize
from scipy.stats import norm

import groundborne as gb
from groundborne import weighting
from groundborne._checks import StudyError
from groundborne.rating.answers import Answer
from groundborne.study import (
    efficient_set,
    how_sure,
    least_option,
    needed_isolation,
    stiffest_mount,
    study_spreads,
)
from groundborne.study.needed import _common_level
from groundborne.study.sureness import Sampler
from groundborne.uncertainty import BLOCK, Spread

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines" / "study.toml"
AGAINST = (Answer.NOT_MET.value, Answer.WITHIN.value, Answer.NOT_SHOWN.value)
"""What stands against "met", the strongest first."""
TOGETHER = Spread(name="all", of_sound=6.0, of_floor=6.0, bands_correlated=float("inf"))


@pytest.fixture(scope="module")
def small() -> tuple[gb.Study, xr.Dataset]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(SMALL)
        return study, study.evaluate()


@pytest.fixture(scope="module")
def lacking(small) -> xr.Dataset:
    study, result = small
    return needed_isolation(study, result, samples=2 * BLOCK)


def with_losses(result: xr.Dataset, loss: xr.DataArray, quantity: str) -> xr.Dataset:
    """The study with so much less in each band, worked out apart from the library."""
    name = {"sound pressure": "level_change", "velocity": "floor_change"}[quantity]
    change = result[name]
    if "stage" in change.dims:
        first = (change["stage"] == change["stage"].values[0]).astype(float)
        loss = loss * first.drop_attrs(deep=False)
    moved = change - loss.transpose(*change.dims, missing_dims="ignore")
    return result.assign({name: moved.transpose(*change.dims)})


def met_share(study: gb.Study, result: xr.Dataset, blocks: int) -> xr.DataArray:
    """Samples that meet the one criterion of a result: option, room."""
    spreads = tuple(study_spreads(study))
    sampler = Sampler(study=study, result=result, spreads=spreads, seed=1)
    margin = result["margin"].isel(criterion=0, drop=True).transpose("option", "room")
    met = [sampler.deviations(n)[..., 0] <= margin.values for n in range(blocks)]
    return margin.copy(data=np.concatenate(met).mean(axis=0))


def test_with_errors_of_all_bands_the_loss_is_that_of_the_normal_law(small) -> None:
    study, result = small
    found = needed_isolation(study, result, spreads=[TOGETHER], by_band=False, samples=8 * BLOCK)
    sure = how_sure(study, result, spreads=[TOGETHER], samples=1024)
    names = [n for n in result["criterion"].values if not n.startswith("NR")]
    sigma = np.hypot(6.0, sure["trains_spread"])
    exact = (norm.ppf(0.9) * sigma - result["margin"] + result["may_add"]).clip(min=0.0)
    applies = result["applies"].sel(criterion=names)
    np.testing.assert_allclose(
        found["needed"].sel(criterion=names).where(applies, 0.0),
        exact.sel(criterion=names).where(applies, 0.0).transpose("option", "room", "criterion"),
        atol=0.15,
    )


def test_with_the_losses_a_study_meets_with_the_probability_asked(small, lacking) -> None:
    """Each criterion in turn, alike in all bands and by band: 0.9, with the same samples."""
    study, result = small
    kinds = {c.label: c for cs in study.room_criteria.values() for c in cs}
    seen = 0
    for name, criterion in kinds.items():
        for loss in (lacking["needed"], lacking["needed_by_band"]):
            here = loss.sel(criterion=name, drop=True) + 0.0 * study.frequency
            moved = with_losses(result, here.reset_coords(drop=True), criterion.of.quantity)
            moved = moved.drop_vars([v for v in result if "criterion" in result[v].dims])
            moved = moved.drop_dims("criterion")
            rated = gb.study.assess(moved, room_criteria=study.room_criteria, periods=study.periods)
            again = moved.merge(rated, join="exact")
            share = met_share(study, again.sel(criterion=[name]), 2)
            lacks = (lacking["needed"].sel(criterion=name) > 0).transpose(*share.dims)
            seen += int(lacks.sum())
            # What may be added is kept in hand: 0.04 dB here at most.
            assert float(abs(share.where(lacks, 0.9) - 0.9).max()) < 0.006, name
    assert seen > 10


def test_nothing_lacks_where_the_answer_is_met(small, lacking) -> None:
    study, result = small
    sure = how_sure(study, result, samples=2 * BLOCK)
    said = sure["answer"].transpose("option", "room", "criterion")
    met = said == Answer.MET.value
    assert bool(met.any())
    assert float(lacking["needed"].where(met, 0.0).max()) == 0.0
    lacks = lacking["needed"] > 0
    assert bool((said.where(lacks, Answer.NOT_MET.value) != Answer.MET.value).all())
    assert not bool(lacking["none_needed"].any())
    eased = result.assign(
        margin=result["margin"] + 80.0, limit=result["limit"] + xr.where(result["ratio"], 1e9, 80.0)
    )
    eased["may_add"] = xr.zeros_like(result["may_add"])
    none = needed_isolation(study, eased, by_band=True, samples=BLOCK)
    assert bool(none["none_needed"].all())
    assert float(none["needed_by_band"].max()) == 0.0


def test_what_is_missing_makes_a_lower_bound(small) -> None:
    study, result = small
    unlimited = result.assign(may_add=xr.full_like(result["may_add"], np.inf))
    found = needed_isolation(study, unlimited, by_band=False, samples=BLOCK)
    applies = result["applies"]
    assert bool((found["at_least"] == applies).all())
    assert not bool(found["none_needed"].any())
    quiet = result.assign(limit=result["limit"] - xr.where(result["ratio"], 0.0, 100.0))
    low = needed_isolation(study, quiet, by_band=False, samples=BLOCK)["at_least"]
    assert bool(low.sel(room="S1").any())


def test_bands_of_a_sum_come_down_to_one_level_and_lower_ones_stay(small, lacking) -> None:
    _, result = small
    name = next(n for n in result["criterion"].values if n.startswith("LASmax, maximum"))
    loss = lacking["needed_by_band"].sel(criterion=name, room="S1").isel(option=0)
    source = result["source_level"] + weighting.a(result["frequency"])
    change = result["level_change"].sum("stage").sel(room="S1").isel(option=0)
    # One train is the loudest by far, so that its spectrum is the one that is levelled.
    loudest = (source + change).sel(passby=result["sound_level"].sel(room="S1").isel(
        option=0).idxmax("passby"))  # fmt: skip
    left = (loudest - loss).where(loss > 0, drop=True)
    assert loss.astype(bool).sum() >= 5
    assert float(left.max() - left.min()) < 1.0
    assert float((loudest.where(loss == 0, -np.inf)).max()) < float(left.min()) + 0.5
    # Needed by band is less in the mean over bands than needed alike in all.
    assert float(loss.sum()) < 18 * float(
        lacking["needed"].sel(criterion=name, room="S1").isel(option=0)
    )


def test_octaves_lose_what_they_have_above_the_curve(lacking) -> None:
    name = next(n for n in lacking["criterion"].values if n.startswith("NR"))
    loss = lacking["needed_by_band"].sel(criterion=name, room="S1").isel(option=0)
    for thirds in ([25.0, 31.5, 40.0], [50.0, 63.0, 80.0], [100.0, 125.0, 160.0]):
        assert len(set(loss.sel(frequency=thirds).values.tolist())) == 1
    assert float(loss.sel(frequency=slice(5, 20)).max()) == 0.0  # below the curves


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-30.0, 30.0), min_size=2, max_size=6))
def test_levels_brought_down_to_one_add_up_to_the_limit(values: list[float]) -> None:
    level = xr.DataArray(
        [[values]], dims=("option", "room", "frequency"),
        coords={"option": ["o"], "room": ["r"], "frequency": np.arange(len(values)) + 1.0},
    )  # fmt: skip
    common = _common_level(level).item()
    total = (10 ** (np.array(values) / 10)).sum()
    if total <= 1.0:
        assert common == np.inf
        return
    left = np.minimum(values, common)
    assert (10 ** (left / 10)).sum() == pytest.approx(1.0, rel=1e-9)


def test_no_other_losses_have_a_smaller_sum() -> None:
    """Against a general minimiser (SLSQP of scipy)."""
    values = np.array([9.0, 4.0, -2.0, 6.0, -12.0])
    level = xr.DataArray(
        [[values]], dims=("option", "room", "frequency"),
        coords={"option": ["o"], "room": ["r"], "frequency": np.arange(5) + 1.0},
    )  # fmt: skip
    losses = np.maximum(values - _common_level(level).item(), 0.0)
    other = minimize(
        np.sum, np.full(5, 12.0), bounds=[(0.0, None)] * 5, method="SLSQP",
        constraints={"type": "ineq", "fun": lambda x: 1 - (10 ** ((values - x) / 10)).sum()},
    )  # fmt: skip
    assert other.success
    assert losses == pytest.approx(other.x, abs=0.01)


# -- The least option ------------------------------------------------------------------------------


def mounts(study: gb.Study, *frequencies: float) -> list[gb.Option]:
    return [
        gb.Option(name=f"{f:g}", base=study.mount(natural_frequency=f, loss_factor=0.1))
        for f in frequencies
    ]


@pytest.fixture(scope="module")
def eased(small) -> gb.Study:
    """Limits that mounts can meet."""
    study, _ = small
    more = {"LASmax": 26.0, "NR": 30.0}
    return replace(
        study,
        criteria={
            name: tuple(
                replace(c, limit=c.limit + more[c.of.name]) for c in each if c.of.name in more
            )
            for name, each in study.criteria.items()
        },
    )


def test_the_stiffest_mount_is_the_first_whose_answers_are_met(eased: gb.Study) -> None:
    found = stiffest_mount(
        eased, natural_frequency=[5.0, 14.0, 8.0, 11.0], loss_factor=0.1, samples=2 * BLOCK
    )
    assert found["option"].values.tolist() == ["14 Hz", "11 Hz", "8 Hz", "5 Hz"]
    assert found["natural_frequency"].values.tolist() == [14.0, 11.0, 8.0, 5.0]
    by_hand = []
    for option, why in zip(mounts(eased, 14.0, 11.0, 8.0, 5.0), found["why"].values, strict=True):
        sure = eased.with_options([option]).how_sure(samples=2 * BLOCK)
        said = sure["answer"].where(sure["applies"], Answer.MET.value)
        by_hand.append(bool((said == Answer.MET.value).all()))
        rows = sure[["answer", "probability", "applies"]].to_dataframe().reset_index()
        rows = rows[rows["applies"] & (rows["answer"] != Answer.MET.value)]
        kinds = [kind for kind in AGAINST if (rows["answer"] == kind).any()]
        if not kinds:
            assert why == ""
            continue
        worst = rows[rows["answer"] == kinds[0]].sort_values("probability", kind="stable").iloc[0]
        assert why == f"{worst['answer']}: {worst['room']}, {worst['criterion']}"
    assert found["met"].values.tolist() == by_hand
    assert 0 < sum(by_hand) < 4  # some meet, and some do not
    first = found["option"].values[by_hand.index(True)]
    assert found.attrs["least"] == first
    assert "not tried" not in found.attrs["tried"]


def test_halving_tries_fewer_and_says_so(eased: gb.Study) -> None:
    frequencies = [16.0, 14.0, 12.5, 11.0, 9.5, 8.0, 6.5, 5.0]
    every = least_option(eased, mounts(eased, *frequencies), samples=BLOCK)
    few = least_option(eased, mounts(eased, *frequencies), samples=BLOCK, search="bisection")
    assert few.sizes["option"] < 6
    met = every["met"].values.tolist()
    assert sorted(met) == met  # these are never worse when softer, so that halving finds the first
    assert few.attrs["least"] == every.attrs["least"] != ""
    assert f"{8 - few.sizes['option']} of 8 were not tried" in few.attrs["tried"]
    for name in few["option"].values:
        here, there = (x.sel(option=name)["probability_all"].item() for x in (few, every))
        assert here == there  # the same errors, whatever else is tried


def test_halving_asks_all_where_one_of_them_is_not_shown(eased: gb.Study) -> None:
    """An option that is not shown says nothing of the stiffer ones and of the softer ones."""
    curves = {
        name: tuple(c for c in each if c.of.name == "NR") for name, each in eased.criteria.items()
    }
    study = replace(eased, criteria=curves)
    stiff, *soft = mounts(study, 16.0, 8.0, 5.0)
    unknown = study.options[0]
    found = least_option(study, [stiff, unknown, *soft], samples=BLOCK, search="bisection")
    assert found["option"].values.tolist() == ["16", unknown.name, "8", "5"]
    assert found["why"].values[1] == f"{Answer.NOT_SHOWN.value}: S1, NR, energy mean"
    every = least_option(study, [stiff, unknown, *soft], samples=BLOCK)
    assert found.attrs["least"] == every.attrs["least"] != ""


def test_where_none_does_none_is_named(small) -> None:
    study, _ = small
    for search in ("all", "bisection"):
        found = least_option(study, mounts(study, 12.0, 8.0), samples=BLOCK, search=search)
        assert found.attrs["least"] == ""
        assert "none of them meets all" in found.attrs["tried"]


def test_rooms_that_are_named_alone_decide(eased: gb.Study) -> None:
    options = mounts(eased, 14.0, 11.0, 8.0)
    whole = least_option(eased, options, samples=BLOCK)
    office = least_option(eased, options, rooms=["O1"], samples=BLOCK)
    assert bool((office["probability_all"] >= whole["probability_all"] - 0.05).all())
    assert float((office["probability_all"] - whole["probability_all"]).max()) > 0.01
    both = least_option(eased, options, samples=BLOCK, together=True)
    assert bool((both["met"] <= whole["met"]).all())
    assert bool((both["met"] == (whole["met"] & (whole["probability_all"] >= 0.9))).all())


# -- The efficient set -----------------------------------------------------------------------------


def sure_of(**probability: float) -> xr.Dataset:
    names, values = list(probability), list(probability.values())
    return xr.Dataset(
        {
            "probability_all": ("option", values),
            "probability_all_error": ("option", [0.01] * len(values)),
        },
        coords={"option": names},
    )


def column(**values: float) -> xr.DataArray:
    return xr.DataArray(list(values.values()), coords={"option": list(values)}, dims="option")


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(*[st.integers(0, 3)] * 3), min_size=1, max_size=8))
def test_the_efficient_set_is_what_no_pair_refutes(rows: list[tuple[int, int, int]]) -> None:
    names = [f"o{n}" for n in range(len(rows))]
    sure = sure_of(**{n: r[0] / 3 for n, r in zip(names, rows, strict=True)})
    columns = {
        title: column(**{n: float(r[at]) for n, r in zip(names, rows, strict=True)})
        for at, title in ((1, "cost"), (2, "height"))
    }
    found = efficient_set(sure, columns)
    beaten = set()
    for (a, one), (b, other) in itertools.permutations(zip(names, rows, strict=True), 2):
        no_worse = other[0] >= one[0] and other[1] <= one[1] and other[2] <= one[2]
        if no_worse and other != one:
            beaten.add(a)
            if found["beaten_by"].sel(option=a).item() == "":
                pytest.fail(f"{a} is beaten by {b}")
    kept = {n for n in names if n not in beaten}
    assert set(found["option"].values[found["efficient"].values]) == kept


def test_ties_are_kept_and_the_order_of_labels_does_not_matter() -> None:
    found = efficient_set(sure_of(a=0.9, b=0.9, c=0.5), {"cost": column(c=2.0, b=1.0, a=1.0)})
    assert found["efficient"].values.tolist() == [True, True, False]
    assert found["beaten_by"].values.tolist() == ["", "", "a"]
    assert found["cost"].values.tolist() == [1.0, 1.0, 2.0]


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({}, "columns is empty"),
        ({"cost": column(a=1.0)}, "'cost' is of the options 'a', and the result of 'a', 'b'"),
        (
            {"cost": column(a=1.0, b=1.0, z=1.0)},
            "of the options 'a', 'b', 'z', and the result of",
        ),
        ({"cost": xr.DataArray([1.0, 2.0], dims="room")}, "must be on 'option'"),
        ({"efficient": column(a=1.0, b=1.0)}, "'efficient', which is taken"),
        ({"cost": column(a=1.0, b=np.nan)}, "cost|nan|NaN"),
    ],
)
def test_columns_that_do_not_fit_are_refused(columns, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        efficient_set(sure_of(a=0.9, b=0.8), columns)


@pytest.mark.parametrize(
    ("function", "more", "words"),
    [
        (needed_isolation, {"probability": 0.3}, "probability is 0.3; above 0.5"),
        (needed_isolation, {"samples": 20}, "samples is 20; 100 are needed at least"),
    ],
)
def test_what_cannot_be_told_is_refused(small, function, more, words: str) -> None:
    study, result = small
    with pytest.raises(StudyError, match=words):
        function(study, result, **more)


def test_options_that_cannot_be_tried_are_refused(small) -> None:
    study, _ = small
    options = mounts(study, 12.0, 8.0)
    with pytest.raises(StudyError, match="options is empty"):
        least_option(study, [])
    with pytest.raises(StudyError, match="two options are called '12'"):
        least_option(study, [options[0], options[0]])
    with pytest.raises(StudyError, match="room is 'attic'"):
        least_option(study, options, rooms=["attic"])
    with pytest.raises(StudyError, match="rooms is empty"):
        least_option(study, options, rooms=[])
    with pytest.raises(StudyError, match="holds 8 Hz twice"):
        stiffest_mount(study, natural_frequency=[8.0, 8.0], loss_factor=0.1)
    with pytest.raises(StudyError, match="natural_frequency is empty"):
        stiffest_mount(study, natural_frequency=[], loss_factor=0.1)
    with pytest.raises(StudyError, match="does not hold 'probability_all'"):
        efficient_set(xr.Dataset(), {"cost": column(a=1.0)})
