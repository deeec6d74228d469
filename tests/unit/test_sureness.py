"""How sure the answers of a study are: what is exact, what cannot be, and who draws it."""

from __future__ import annotations

import warnings
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from scipy.stats import norm

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.rating.answers import Answer
from groundborne.study.spreads import ABOVE_RATIOS, MEASURED, TO_FOUNDATION, study_spreads
from groundborne.study.sureness import how_sure
from groundborne.uncertainty import BLOCK, Spread

TABLES = Path(__file__).parents[1] / "fuzz" / "small" / "tables" / "study.toml"
SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines" / "study.toml"
TOGETHER = Spread(name="all", of_sound=6.0, of_floor=6.0, bands_correlated=float("inf"))
EXACT = ("number of trains",)


@pytest.fixture(scope="module")
def small() -> tuple[gb.Study, xr.Dataset]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(SMALL)
        return study, study.evaluate()


def sure(small, **more) -> xr.Dataset:
    study, result = small
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return how_sure(study, result, **more)


def test_bands_that_err_together_shift_a_rating_by_the_normal_law(small) -> None:
    """Then every rating in dB shifts as all bands do, whatever its trains and curves. Tolerance:
    the scatter of 64 blocks, and the class width of 0.05 dB. Noise ratings have slopes of their own
    in every octave."""
    found = sure(small, spreads=[TOGETHER], samples=64 * BLOCK)
    found = found.sel(criterion=[c for c in found["criterion"].values if not c.startswith("NR")])
    trains = found["trains_spread"]
    sigma = np.hypot(6.0, trains)
    expected = xr.apply_ufunc(norm.cdf, found["margin"] / sigma).where(found["applies"])
    assert float(abs(found["probability"] - expected).max()) < 0.004
    width = norm.ppf(0.9) * sigma
    np.testing.assert_allclose(
        (found["margin"] - found["margin_low"]).where(found["applies"]),
        width.where(found["applies"]),
        atol=0.12,
    )


def test_a_mean_at_the_limit_is_met_half_the_time(small) -> None:
    study, result = small
    assert bool((result["margin"].where(result["applies"]) != 0).all())
    nought = xr.where(result["applies"], 0.0, result["margin"])
    at_limit = result.assign(margin=nought)
    found = sure((study, at_limit), spreads=[TOGETHER], samples=16 * BLOCK)
    np.testing.assert_allclose(found["probability"].where(found["applies"], 0.5), 0.5, atol=0.01)
    said = found["answer"].where(found["applies"], Answer.WITHIN)
    assert set(np.unique(said)) <= {Answer.WITHIN, Answer.NOT_SHOWN}


def test_probability_rises_with_the_limit_and_answers_follow_it(small) -> None:
    study, result = small
    last = None
    for more in (-20.0, -5.0, 0.0, 5.0, 20.0):
        eased = result.assign(
            margin=result["margin"] + more, margin_one_stage=result["margin_one_stage"] + more
        )
        found = sure((study, eased), samples=2 * BLOCK)
        share = found["probability"].where(found["applies"], 0.0)
        if last is not None:
            assert bool((share >= last).all())
        last = share
        met = (found["answer"] == Answer.MET) & found["applies"]
        assert bool((found["probability"].where(met, 1.0) >= 0.9 - 0.002).all())
        failed = (found["answer"] == Answer.NOT_MET) & found["applies"]
        assert bool((found["probability"].where(failed, 0.0) <= 0.1 + 0.002).all())
        all_met = found["probability_all"] <= found["probability_room"].min("room") + 1e-12
        assert bool(all_met.all())
        least = found["probability"].min(["criterion"])
        assert bool((found["probability_room"] <= least + 1e-12).all())


def test_the_same_seed_gives_the_same_numbers_whoever_works_out_the_blocks(small) -> None:
    def backwards(function, numbers):
        return [function(n) for n in reversed(list(numbers))]

    first = sure(small, samples=4 * BLOCK, seed=5)
    with ThreadPoolExecutor(2) as pool:
        for mapper in (map, backwards, pool.map):
            other = sure(small, samples=4 * BLOCK, seed=5, mapper=mapper)
            for name in ("probability", "probability_all", "margin_low", "gain_high", "answer"):
                xr.testing.assert_identical(first[name], other[name])
            np.testing.assert_allclose(first["probability_error"], other["probability_error"])
    other = sure(small, samples=4 * BLOCK, seed=6)
    assert float(abs(first["probability"] - other["probability"]).max()) > 0.0


def test_the_error_of_a_probability_is_its_scatter(small) -> None:
    """Twelve seeds: the standard errors that are stated are theirs to within a factor of two."""
    runs = [sure(small, samples=8 * BLOCK, seed=n) for n in range(12)]
    shares = xr.concat([r["probability"] for r in runs], dim="run")
    stated = xr.concat([r["probability_error"] for r in runs], dim="run").mean("run")
    inside = (shares.mean("run") > 0.1) & (shares.mean("run") < 0.9)
    ratio = (shares.std("run", ddof=1) / stated).where(inside)
    assert 0.5 < float(ratio.median()) < 2.0


def test_intervals_hold_a_building_that_errs_as_assumed(small) -> None:
    """Errors drawn apart from the library's draws; each rated with every train by itself. Of 400
    buildings 80 % lie inside, with a standard error of 2 %."""
    study, result = small
    found = sure(small, samples=32 * BLOCK)
    generator = np.random.default_rng(99)
    spreads = study_spreads(study)
    steps = np.arange(result.sizes["frequency"])
    root = np.linalg.cholesky(np.exp(-abs(steps[:, None] - steps) / 3.0))
    criterion = next(c for cs in study.criteria.values() for c in cs if c.metric == "LASmax")
    change = result["level_change"].sum("stage").sel(option=result["option"].values[0])
    inside = []
    room = str(result["room"].values[result["applies"].sel(criterion=criterion.label).values][0])
    for _ in range(400):
        error = np.zeros(steps.size)
        for spread in spreads:
            size = spread.of("sound pressure")
            size = size.isel(option=0) if "option" in size.dims else size
            size = size.sel(room=room) if "room" in size.dims else size
            error = error + np.asarray(size.values) * (root @ generator.standard_normal(steps.size))
        level = result["source_level"].drop_attrs() + change.sel(room=room) + error
        weighted = level + gb.weighting.a(level["frequency"])
        sound = 10 * np.log10((10 ** (weighted / 10)).sum("frequency"))
        values = gb.rating.statistic(sound, criterion.statistic, percentile=criterion.percentile)
        own = float(found["trains_spread"].sel(room=room, criterion=criterion.label).isel(option=0))
        value = float(values) + own * generator.standard_normal()
        here = found.sel(room=room, criterion=criterion.label).isel(option=0)
        inside.append(float(here["rating_low"]) < value < float(here["rating_high"]))
    assert np.mean(inside) == pytest.approx(0.8, abs=0.05)


def test_options_share_what_they_share(small) -> None:
    """An error of all bands alike leaves the difference of options as it is; that of mounts, which
    only those with mounts have, does not."""
    found = sure(small, spreads=[TOGETHER])
    gained = found["margin"] - found["margin"].isel(option=0)
    for end in ("low", "median", "high"):
        # What the number of trains leaves open differs between options: their ratings scatter
        # differently from train to train.
        apart = abs(found["trains_spread"] - found["trains_spread"].isel(option=0))
        allowed = 0.06 + (0 if end == "median" else norm.ppf(0.91)) * apart
        off = (abs(found[f"gain_{end}"] - gained) - allowed).where(found["applies"], 0.0)
        off = off.isel(criterion=~off["criterion"].str.startswith("NR").values)
        assert float(off.max()) <= 0.0
    more = sure(small)
    assert float((more["gain_high"] - more["gain_low"]).max()) > 5.0
    assert float(abs(more["gain_high"] - more["gain_low"]).isel(option=0).max()) == 0.0


def test_what_was_measured_has_the_spread_of_a_measurement(small) -> None:
    study, _ = small
    named = {s.name: s for s in study_spreads(study)}
    found = named["ground to foundation"].of("sound pressure").isel(room=0)
    known = found.sel(frequency=slice(5, 80)).values.tolist()
    assert known == pytest.approx(list(TO_FOUNDATION["ground level"]))
    assert float(found.sel(frequency=100.0)) == 8.0

    def with_coupling(measured: bool) -> xr.DataArray:
        given = study.as_built.replace(
            coupling=gb.path.GivenChange(
                xr.zeros_like(study.frequency, dtype=float),
                quantity_in=study.as_built["coupling"].quantity_in,
                quantity_out=study.as_built["coupling"].quantity_out,
                measured=measured,
            )
        )
        named = {s.name: s for s in study_spreads(study.with_part(as_built=given))}
        return named["ground to foundation"].of("velocity")

    np.testing.assert_array_equal(with_coupling(True), MEASURED)
    # Numbers of a book, or of nobody says where, are no measurement here.
    np.testing.assert_array_equal(with_coupling(False), named["ground to foundation"].of_floor)


@pytest.mark.parametrize("here", [False, True])
def test_a_floor_that_was_measured(here: bool) -> None:
    """Half of the variance is up to the columns, and half from them on; both measured, it is 2."""
    bands = [12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125]
    numbers = {
        "path.storeys.model": "given", "path.storeys.frequency_hz": bands,
        "path.storeys.change_db": [0] * len(bands), "path.storeys.source": "invented",
    }  # fmt: skip
    found = []
    for steps in ((), ("storeys",), ("storeys", "floor")):
        said = {f"path.{step}.measured_here": here for step in steps}
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            study = gb.read_study(TABLES, changes=numbers | said)
            spreads = {s.name: s for s in study_spreads(study)}
        found.append(spreads["foundation to floor"].of("sound pressure"))
    whole, storeys, both = found
    expected = np.hypot(2.0, whole / np.sqrt(2)) if here else whole
    np.testing.assert_allclose(storeys, expected)
    np.testing.assert_allclose(both, 2.0 * xr.ones_like(whole) if here else whole)


def test_measured_here_is_said_of_numbers() -> None:
    with pytest.raises(StudyError, match="'measured_here' is said of the model 'none'"):
        gb.read_study(SMALL, changes={"path.coupling.measured_here": True})


def test_above_the_ratios_of_the_statistics_floors_are_no_surer() -> None:
    """The last ratio of the table, 5, is its surest; above it what buildings show from 2 on."""
    tower = gb.read_study(SMALL.parents[4] / "data" / "tower" / "study.toml")
    floor = {s.name: s for s in study_spreads(tower)}["foundation to floor"].of("velocity")
    # Floors at 11.4 Hz: five times that is 57 Hz.
    assert float(floor.sel(frequency=[63.0, 80.0]).median()) == ABOVE_RATIOS
    assert float(floor.sel(frequency=[100.0, 125.0]).max()) == 8.0


@pytest.mark.parametrize(
    ("size", "words"),
    [
        (lambda r: xr.ones_like(r["frequency"], dtype=float).isel(frequency=slice(1, None)),
         "differ along 'frequency': '5.0'"),
        (lambda r: xr.DataArray(np.ones(r.sizes["room"]), dims="room"), "no labels along 'room'"),
        (lambda _: xr.DataArray([1.0], dims="floor", coords={"floor": ["1"]}), "the dim 'floor'"),
        (lambda _: xr.DataArray([1.0], dims="option", coords={"option": ["a"]}),
         "differ along 'option': 'a'"),
    ],
)  # fmt: skip
def test_spreads_that_do_not_fit_are_refused(small, size, words) -> None:
    spread = Spread(name="one", of_sound=size(small[1]))
    with pytest.raises(StudyError, match=words):
        sure(small, spreads=[spread])


def test_spreads_go_by_their_labels(small) -> None:
    study, result = small
    rising = xr.DataArray(
        np.arange(1.0, result.sizes["room"] + 1), dims="room", coords={"room": study.rooms}
    )
    ways = [rising, rising.isel(room=slice(None, None, -1))]
    found = [sure(small, spreads=[Spread(name="one", of_sound=w, of_floor=w)]) for w in ways]
    xr.testing.assert_identical(found[0], found[1])


@pytest.mark.parametrize("lost", [True, False])
def test_a_mapper_that_loses_or_doubles_runs_is_told(small, lost: bool) -> None:
    def mapper(work, runs):
        runs = list(runs)
        return map(work, runs[:-1] if lost else [*runs, runs[0]])

    with pytest.raises(StudyError, match=f"gave {1 if lost else 3} blocks of samples for 2 that"):
        sure(small, samples=2 * BLOCK, mapper=mapper)


def test_no_probability_is_without_an_error(small) -> None:
    found = sure(small, samples=4 * BLOCK)
    assert bool((found["probability"] == 1.0).any())
    assert float(found["probability_error"].min()) >= 1 / (4 * BLOCK)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"samples": 50}, r"samples is 50, which leaves 5 in the tail .* 100 are needed at least"),
        ({"probability": 0.999, "samples": 2048}, r"leaves 2.05 in the tail .* 10000 are needed"),
        ({"probability": 0.4}, r"probability is 0.4; above 0.5 and below 1 is"),
        ({"probability": 1.0}, r"probability is 1; above 0.5"),
        ({"seed": -2}, r"seed is -2"),
        ({"spreads": [TOGETHER, TOGETHER]}, r"are called 'all'"),
    ],
)
def test_what_cannot_be_sampled_is_refused(small, more, words: str) -> None:
    with pytest.raises(StudyError, match=words):
        sure(small, **more)


def test_one_train_tells_nothing_of_the_others(small) -> None:
    study, _ = small
    study = replace(study, criteria=dict.fromkeys(study.criteria, study.criteria["studio"]))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        one = study.evaluate().isel(passby=[0])
    with pytest.raises(StudyError, match="1 passby that counts tells nothing of how trains differ"):
        sure((study, one))


def test_errors_may_lift_the_largest_of_many_bands_beyond_its_margin(small) -> None:
    """A floor that lies 1 dB over its curve in every band: of 13 bands some err upwards."""
    study, result = small
    label = "VC-A, energy mean"
    rule = next(c for cs in study.criteria.values() for c in cs if c.label == label).of.rule
    source = result["source_level"].drop_attrs()
    mean = gb.levels.decibel((10 ** (source / 10)).mean("passby"))
    over = result["floor_change"] + mean + rule.gain(result["frequency"])
    flat = result["floor_change"] - over.where(np.isfinite(over), 0.0) + 1.0
    old = [n for n in result.data_vars if "criterion" in result[n].dims]
    rated = gb.study.assess(
        result.drop_vars([*old]).drop_dims("criterion", errors="ignore").assign(floor_change=flat),
        room_criteria=study.room_criteria, periods=study.periods,
    )  # fmt: skip
    changed = result.assign(floor_change=flat).assign(
        {n: rated[n] for n in rated.data_vars if n in result}
    )
    found = sure((study, changed), samples=BLOCK).sel(criterion=label, room="O1")
    assert float(found["margin"].isel(option=0)) == pytest.approx(-1.0, abs=0.2)
    assert float(found["margin_high"].isel(option=0)) < float(found["margin"].isel(option=0))
    assert found["answer"].isel(option=0).item() == Answer.NOT_MET


def test_of_some_rooms_and_options_answers_are_those_of_all(small) -> None:
    """A result may be cut: the errors are those of what is left, and what is shared stays so."""
    study, result = small
    whole = how_sure(study, result, samples=8 * BLOCK)
    part = how_sure(study, result.isel(room=[1], option=[2, 0]), samples=8 * BLOCK)
    same = whole.sel(room=part["room"], option=part["option"])
    apart = abs(part["probability"] - same["probability"]).where(same["applies"], 0.0)
    error = np.hypot(part["probability_error"], same["probability_error"])
    assert int(same["applies"].sum()) > 1
    assert bool((apart <= 4 * error + 1e-3).all())
