"""Commissioning: what is compared, judged, refused and remembered."""

from __future__ import annotations

import json
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from scipy import stats

import groundborne as gb
from groundborne._checks import (
    BandError,
    LabelError,
    LevelError,
    RatingError,
    RecordingError,
    StudyError,
)
from groundborne.bands import third_octaves
from groundborne.commissioning import (
    CalibrationError,
    Diagnosis,
    FloorModel,
    MeasurementError,
    MountsModel,
    Observed,
    Parameter,
    StageErrors,
    calibrated_result,
    calibrated_spread,
    check_deflection,
    check_gaps,
    compare_answers,
    compare_levels,
    fit_transfer,
    floor_coherence,
    judge_measured,
    labelled,
    measured_insertion_loss,
    measured_level_difference,
    mount_causes,
    pool_studies,
    sound_origin,
    static_summary,
    study_error,
    without_background,
)
from groundborne.commissioning.few_trains import offsets_by_trains
from groundborne.levels import energy_mean, stamp
from groundborne.rating import Criterion
from groundborne.records import Recording
from groundborne.sizing import Schedule, Survey, SurveyTolerance, judge_survey
from groundborne.study import Period, how_sure, study_spreads
from groundborne.study.train_spread import taken
from groundborne.uncertainty import Spread

ROOT = Path(__file__).resolve().parents[2]
BANDS = third_octaves(16, 250)
ROOMS = ["R1", "R2"]
SOUND = "sound pressure"


def sound(values: xr.DataArray, **more: str) -> xr.DataArray:
    given = {"quantity": SOUND, "reference": "20 µPa", "time_weighting": "S max"} | more
    return stamp(values, long_name="level", **given)


def predicted(types: list[str] | None = None, count: int = 4) -> xr.Dataset:
    """40 dB in every band, of passbys that differ by 1 dB in turn."""
    level = 40.0 + xr.DataArray(np.arange(count) % 2 * 1.0, dims="passby") + 0.0 * BANDS
    level = sound(level.expand_dims(room=ROOMS).expand_dims(option=["as built"]))
    if types is not None:
        level = level.assign_coords(train_type=("passby", types))
    return xr.Dataset({"band_level": level})


def measured(off: float = 0.0, *, label: str = "night 1", **more: str) -> xr.DataArray:
    level = predicted()["band_level"].isel(option=0, drop=True)
    return labelled(sound(level + off, **more), provenance=label)


SPREADS = [Spread(name="path", of_sound=6.0, of_floor=6.0)]


def compared(level: xr.DataArray, result: xr.Dataset | None = None, **more: object) -> xr.Dataset:
    given = {"option": "as built", "spreads": SPREADS} | more
    return compare_levels(level, predicted() if result is None else result, **given)


def insertion_loss(before: xr.DataArray, after: xr.DataArray, **more: xr.DataArray) -> xr.Dataset:
    return measured_insertion_loss(before=before, after=after, **more)


def level_difference(unisolated: xr.DataArray, isolated: xr.DataArray) -> xr.Dataset:
    return measured_level_difference(unisolated=unisolated, isolated=isolated)


def coherence(vibration: Recording, heard: Recording, frequency: xr.DataArray) -> xr.Dataset:
    return floor_coherence(vibration=vibration, sound=heard, frequency=frequency)


# -- Comparison -----------------------------------------------------------------------------------


def test_a_comparison_adds_up() -> None:
    """Difference, and standard deviations as root sum squares of what they are made of."""
    error = MeasurementError(instrument=0.6, position=2.0, positions=4)
    found = compared(measured(5.0), error=error)
    np.testing.assert_allclose(found["difference"].values, 5.0)
    power = 10 ** (np.array([40.0, 41.0, 40.0, 41.0]) / 10)
    trains = 10 / np.log(10) * power.std(ddof=1) / power.mean() / 2
    own = np.sqrt(0.6**2 + 1.0**2 + trains**2)
    np.testing.assert_allclose(found["measured_error"].values, own, rtol=1e-12)
    theirs = np.hypot(6.0, trains)
    np.testing.assert_allclose(found["predicted_error"].values, theirs, rtol=1e-12)
    np.testing.assert_allclose(found["standardised"].values, 5.0 / np.hypot(own, theirs))
    assert found["bands"].values.tolist() == [BANDS.size] * 2


def test_trains_are_weighted_as_they_are_predicted() -> None:
    """Three locals and two freights predicted, two and four measured: the mix is the former."""
    types = ["local"] * 3 + ["freight"] * 2
    result = predicted(types, 5)
    step = xr.DataArray([0.0, 0.0, 10.0, 10.0, 10.0, 10.0], dims="passby")
    level = sound((50.0 + step + 0.0 * BANDS).expand_dims(room=ROOMS))
    level = level.assign_coords(train_type=("passby", ["local"] * 2 + ["freight"] * 4))
    found = compared(labelled(level, provenance="n"), result)
    expected = 10 * np.log10(0.6 * 1e5 + 0.4 * 1e6)
    np.testing.assert_allclose(found["measured"].values, expected)
    with pytest.raises(ValueError, match="has the train types 'freight', 'local', the other side"):
        compared(labelled(level, provenance="n"), predicted(["local"] * 5, 5))
    with pytest.raises(ValueError, match="none told apart"):
        compared(measured(), result)


def test_labels_in_another_order_are_the_same_labels() -> None:
    level = measured() + xr.DataArray([0.0, 3.0], dims="room", coords={"room": ROOMS})
    level = level.assign_attrs(measured().attrs)
    found, other = compared(level), compared(level.isel(room=[1, 0]))
    xr.testing.assert_allclose(found["difference"], other["difference"].sel(room=ROOMS))
    one = compared(level.isel(room=[1]))
    assert one["room"].values.tolist() == ["R2"]
    np.testing.assert_allclose(one["difference"].values, 3.0)


def test_other_kinds_of_levels_are_refused() -> None:
    few = measured().isel(frequency=slice(3, None)).assign_attrs(measured().attrs)
    with pytest.raises(BandError, match=r"have the bands 31\.5 to 250 Hz, predicted"):
        compared(few)
    found = compared(few, bands=(31.5, 100.0))
    assert found["frequency"].values.tolist() == [31.5, 40.0, 50.0, 63.0, 80.0, 100.0]
    with pytest.raises(BandError, match="16 Hz is asked for and not there"):
        compared(few, bands=(16.0, 100.0))
    with pytest.raises(LevelError, match="time_weighting 'F max', predicted ones 'S max'"):
        compared(measured(time_weighting="F max"))
    with pytest.raises(LevelError, match="measured has no dim 'passby'"):
        compared(energy_mean(measured(), "passby").assign_attrs(measured().attrs))
    with pytest.raises(ValueError, match=r"room of measured is 'R9'; known are 'R1', 'R2'"):
        compared(measured().assign_coords(room=["R1", "R9"]))
    with pytest.raises(ValueError, match=r"option is 'as biult'.*Did you mean 'as built'"):
        compared(measured(), option="as biult")
    with pytest.raises(ValueError, match="holds 1 passby; two at least"):
        compared(measured().isel(passby=[0]))
    hole = measured()
    hole[0, 0, 0] = np.nan
    with pytest.raises(ValueError, match="compare_levels: measured is nan"):
        compared(hole)
    with pytest.raises(ValueError, match="sources of error trains; spreads holds path"):
        compared(measured(), predicted().assign_attrs(sources_of_error="trains"))
    with pytest.raises(LevelError, match="holds no 'floor_change'"):
        compared(measured(quantity="velocity", reference="1 nm/s"))


def test_upper_limits_are_kept_apart() -> None:
    """Bands under the background are limits: they stand there, and do not count in chi-square."""
    level = measured(8.0)
    quiet = sound(xr.zeros_like(level) + xr.where(BANDS < 31.5, 45.0, 20.0))
    found = compared(labelled(without_background(level, quiet), provenance="night 1"), predicted())
    assert found["upper_limit"].sel(room="R1").values.tolist() == [True] * 3 + [False] * 10
    assert found["bands"].values.tolist() == [10, 10]
    np.testing.assert_allclose(found["difference"].values, 8.0, atol=1e-9)


def test_background_is_taken_off_by_energy() -> None:
    """Closed form at 8 dB; the error by the background is 1/(10^0.8 − 1) of its own."""
    level = measured(-40.0 + 8.0)
    quiet = sound(xr.zeros_like(level) + level - 8.0)
    found = without_background(level, quiet, uncertainty=1.5)
    off = 10 * np.log10(1 - 10**-0.8)
    np.testing.assert_allclose((found - level).values, off)
    np.testing.assert_allclose(found["background_error"].values, 1.5 / (10**0.8 - 1))
    assert not found["upper_limit"].any()
    with pytest.raises(ValueError, match="uncertainty is -1"):
        without_background(level, quiet, uncertainty=-1.0)


# -- Calibration and validation -------------------------------------------------------------------


def test_data_that_calibrated_cannot_validate() -> None:
    calibrating = measured(4.0, label="night 1")
    errors = StageErrors.of(
        SPREADS, frequency=BANDS,
        rooms=xr.Dataset(coords={"room": ROOMS, "part_of_room": ("room", ["", ""]),
                                 "floor_of_room": ("room", ["1", "2"])}),
    ).updated(Observed(comparison=compared(calibrating), stages=["path"]))  # fmt: skip
    after = predicted().assign_attrs(calibrated_with=errors.calibrated_with)
    with pytest.raises(CalibrationError, match="calibrated with the measurement 'night 1'"):
        compared(calibrating, after)
    with pytest.raises(CalibrationError, match="labelled 'night 2' are those of 'night 1'"):
        compared(measured(4.0, label="night 2"), after)
    # A part of them, in another room order, under another name.
    part = measured(4.0, label="night 3").isel(room=[1], passby=[2, 3])
    with pytest.raises(CalibrationError, match="are those of 'night 1'"):
        compared(part, after)
    few = compared(calibrating, bands=(31.5, 100.0))
    cut = StageErrors.of(
        SPREADS, frequency=few["frequency"], rooms=predicted().isel(option=0).assign_coords(
            part_of_room=("room", ["", ""]), floor_of_room=("room", ["1", "2"]))
    ).updated(Observed(comparison=few))  # fmt: skip
    with pytest.raises(CalibrationError, match="are those of 'night 1'"):
        compared(
            measured(4.0, label="night 4"),
            predicted().assign_attrs(calibrated_with=cut.calibrated_with),
        )
    assert compared(measured(4.1, label="night 2"), after).attrs["provenance"] == "night 2"
    assert compared(calibrating, after, validates=False).attrs["calibrated_with"] != "{}"
    with pytest.raises(CalibrationError, match="do not say which measurement"):
        compared(sound(measured(1.0)), after)
    with pytest.raises(CalibrationError, match="were used before, as 'night 1'"):
        errors.updated(Observed(comparison=compared(calibrating), stages=["path"]))


def test_bad_updates_are_refused() -> None:
    rooms = xr.Dataset(
        coords={"room": ["R1"], "part_of_room": ("room", [""]), "floor_of_room": ("room", ["1"])}
    )
    errors = StageErrors.of(SPREADS, frequency=BANDS, rooms=rooms)
    with pytest.raises(ValueError, match=r"room is 'R2'; known are 'R1'"):
        errors.updated(Observed(comparison=compared(measured()), stages=["path"]))
    here = compared(measured().isel(room=[0]))
    with pytest.raises(ValueError, match=r"stage is 'floor'; known are 'path'"):
        errors.updated(Observed(comparison=here, stages=["floor"]))
    with pytest.raises(BandError, match="other bands than the errors, 16 to 250 Hz"):
        errors.updated(
            Observed(
                comparison=compared(measured().isel(room=[0]), bands=(20.0, 80.0)), stages=["path"]
            )
        )
    limits = here.assign(upper_limit=xr.ones_like(here["upper_limit"]))
    with pytest.raises(ValueError, match="all levels are upper limits"):
        errors.updated(Observed(comparison=limits, stages=["path"]))
    with pytest.raises(ValueError, match="stages is empty"):
        Observed(comparison=here, stages=[])
    with pytest.raises(ValueError, match="holds no 'covariance'"):
        Observed(comparison=here.drop_vars("covariance"), stages=["path"])
    by_option = xr.DataArray([1.0, 2.0], dims="option", coords={"option": ["a", "b"]})
    two = StageErrors.of([Spread(name="path", of_sound=by_option)], frequency=BANDS, rooms=rooms)
    with pytest.raises(ValueError, match="differs by option; name the option"):
        two.bias(SOUND)


def test_a_study_is_calibrated_and_answers_anew() -> None:
    """The small study: measured 6 dB louder in both rooms; levels and ratings follow, and surer."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(ROOT / "tests/fuzz/small/lines/study.toml")
        study = study.with_options(study.options[:2])
        result = study.evaluate()
    spreads = study_spreads(study)
    options = [str(o) for o in result["option"].values]
    option = options[0]
    bare = result.drop_vars("train_type")
    level = bare["band_level"].sel(option=option, drop=True)
    louder = labelled((level + 6.0).assign_attrs(level.attrs), provenance="night 1")
    found = compare_levels(louder, bare, option=option, spreads=spreads)
    prior = StageErrors.of(spreads, frequency=result["frequency"], rooms=result)
    errors = prior.updated(Observed(comparison=found))
    some = StageErrors.of(spreads, frequency=result["frequency"], rooms=result.isel(room=[0]))
    alone = some.updated(Observed(comparison=found.isel(room=[0]).assign_attrs(found.attrs)))
    assert 2.0 < float(alone.of_sum(SOUND, option=option)[0].mean()) < 6.0
    with pytest.raises(ValueError, match="not of the same rooms as the result"):
        calibrated_result(study, result, errors=alone)
    after = calibrated_result(study, result, errors=errors)
    moved = after["mean_level"] - result["mean_level"]
    bias = errors.of_sum(SOUND, option=option)[0]
    np.testing.assert_allclose(moved.sel(option=option).values, bias.values, atol=1e-9)
    assert 2.0 < float(bias.mean()) < 6.0
    assert after["level_change"].sizes["stage"] == result["level_change"].sizes["stage"] + 1
    heard = result["quantity"].values == SOUND
    raised = (after["rating"] - result["rating"]).sel(option=option).isel(criterion=heard)
    assert bool((raised.where(result["applies"].isel(criterion=heard), 3.0) > 1.0).all())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        before_sure = how_sure(study, result, samples=1024, spreads=spreads)
        sure = how_sure(
            study, after, samples=1024, spreads=[calibrated_spread(errors, options=options)]
        )
    typed = result["band_level"].sel(option=option, drop=True)
    typed = labelled((typed + 6.0).assign_attrs(level.attrs), provenance="night 1")
    judged = judge_measured(typed, criteria=study.room_criteria, periods=study.periods)
    both = compare_answers(judged, before_sure, option=option)
    # Louder than the prediction without errors, less what their median adds to a sum of bands.
    place = {"room": both["room"].values, "criterion": both["criterion"].values}
    there = before_sure.sel(option=option, **place)
    louder_by = (judged["rating"] - there["rating_median"]).where(both["applies"], 0.0)
    np.testing.assert_allclose(both["difference"].values, louder_by.values, atol=1e-6)
    in_decibel = (there["rating_median"] - there["rating"]).where(both["applies"], 3.0)
    assert bool((in_decibel > 0).all())
    assert (both["measured_error"] < both["predicted_error"]).where(both["applies"], True).all()
    with pytest.raises(CalibrationError, match="calibrated with the measurement 'night 1'"):
        compare_answers(judged, sure, option=option)
    with pytest.raises(ValueError, match="has no uncertainty"):
        compare_answers(judged, after, option=option)
    width = {
        n: (s["rating_high"] - s["rating_low"]).sel(option=option).isel(criterion=heard).values
        for n, s in (("before", before_sure), ("after", sure))
    }
    assert (width["after"] < width["before"]).all()
    with pytest.raises(CalibrationError, match="calibrated with the measurement 'night 1'"):
        compare_levels(louder, after.drop_vars("train_type"), option=option,
                       spreads=[calibrated_spread(errors, options=options)])  # fmt: skip
    with pytest.raises(StudyError, match="was calibrated before"):
        calibrated_result(study, after, errors=errors)


# -- Answers --------------------------------------------------------------------------------------

LIMIT = Criterion(metric="LASmax", limit=40.0, statistic="energy mean", time_weighting="S max")


def spectrum(level: float) -> xr.DataArray:
    """A-weighted level of a passby, all in one band, of three that are alike."""
    shape = -60.0 * abs(np.log10(third_octaves(16, 500) / 63.0))
    a_weighted = 10 * np.log10((10 ** ((shape + gb.weighting.a(shape["frequency"])) / 10)).sum())
    alike = xr.DataArray([-1e-4, 0.0, 1e-4], dims="passby") + shape - a_weighted + level
    return labelled(sound(alike.expand_dims(room=["R1"])), provenance="night 1")


@pytest.mark.parametrize(
    ("level", "answer"),
    [(37.0, "met"), (39.6, "within the uncertainty"), (40.4, "within the uncertainty"),
     (43.0, "not met")],
)  # fmt: skip
def test_answers_of_an_error_that_all_bands_share(level: float, answer: str) -> None:
    """Of the instrument alone the probability is normal, Φ(margin/σ)."""
    error = MeasurementError(instrument=1.0, position=0.0)
    found = judge_measured(spectrum(level), criteria={"R1": [LIMIT]}, error=error)
    assert found["answer"].item() == answer
    assert found["rating_as_measured"].item() == pytest.approx(level, abs=1e-3)
    assert found["rating"].item() == pytest.approx(level, abs=0.06)
    assert found["probability"].item() == pytest.approx(stats.norm.cdf(40.0 - level), abs=0.025)
    assert found["margin_low"].item() == pytest.approx(40 - level - 1.2816, abs=0.06)


def test_margins_lie_about_the_true_one() -> None:
    """Errors of single bands raise the sum of bands, by 2 dB here, and not its interval too.

    Forty measurements of a room with a known margin: the median, and the middle of the interval,
    hit it in the mean, and 80 % of the intervals hold it (bounds: one test in 1,000).
    """
    rng = np.random.default_rng(3)
    error = MeasurementError(positions=3)
    size = error.by_band(BANDS, SOUND).values
    shape = (55 - 25 * abs(np.log10(BANDS / 50.0))).values

    def judged(values: np.ndarray, seed: int) -> xr.Dataset:
        level = sound(xr.DataArray(values[None], dims=("room", "passby", "frequency"),
                                   coords={"room": ["R1"], "frequency": BANDS.values}))  # fmt: skip
        level = labelled(level, provenance="invented")
        return judge_measured(
            level, criteria={"R1": [LIMIT]}, error=error, samples=1000, seed=seed
        ).squeeze()

    even = stats.norm.ppf((np.arange(400) + 0.5) / 400)
    true = judged(shape + 3.0 * even[:, None], 1)["margin_as_measured"].item()
    ends, middles, raw = [], [], []
    for seed in range(40):
        off = 0.7 * rng.standard_normal() + size * rng.standard_normal(BANDS.size)
        found = judged(shape + 3.0 * rng.standard_normal((12, 1)) + off, seed)
        ends.append((found["margin_low"].item(), found["margin_high"].item()))
        middles.append(found["margin"].item())
        raw.append(found["margin_as_measured"].item())
        assert ends[-1][0] < middles[-1] < ends[-1][1]
        assert 40.0 - found["rating"].item() == pytest.approx(middles[-1])
    low, high = np.array(ends).T
    assert abs(((low + high) / 2).mean() - true) < 0.6
    assert abs(np.mean(middles) - true) < 0.6 < true - np.mean(raw)
    inside = int(((low <= true) & (true <= high)).sum())
    assert inside >= stats.binom.ppf(1e-3, 40, 0.8)


@pytest.mark.parametrize(
    ("statistic", "numbers", "share"),
    [("mean", (3, 5, 10, 30), 0.10), ("energy mean", (3, 5, 10, 30), 0.10),
     ("percentile", (10,), 0.14), ("maximum", (3,), 0.17)],
)  # fmt: skip
def test_few_trains_do_not_claim_too_much(
    statistic: str, numbers: tuple[int, ...], share: float
) -> None:
    """Upper ends of one side of 10 %, of levels that scatter by 3 dB about 0 dB.

    Truths: of the energy mean ln 10/20 σ² dB, of the percentile and the median of the maximum by
    quantiles of the normal distribution. Without Student's t and chi-square the energy mean of
    three trains is above the upper end in a quarter of all nights (bounds: one test in 1,000).
    """
    rng = np.random.default_rng(3)
    nights = 500
    for number in numbers:
        truth = {
            "mean": 0.0, "energy mean": 9.0 * np.log(10) / 20,
            "percentile": 3 * stats.norm.ppf(0.95),
            "maximum": 3 * stats.norm.ppf(0.5 ** (1 / number)),
        }[statistic]  # fmt: skip
        even, kinds = np.ones(number), np.full(number, "all")
        missed = 0
        for _ in range(nights):
            each = rng.normal(0.0, 3.0, number)
            asked = {"statistic": statistic, "percentile": 95.0}
            off = offsets_by_trains(each, even, kinds, rng, samples=300, **asked)
            found = taken(each, even / number, power=1.0, **asked)
            missed += bool(found + np.quantile(off, 0.9) < truth)
        assert missed > 0.04 * nights, number
        assert missed <= stats.binom.ppf(1 - 1e-3, nights, share), number


def test_few_trains_of_a_type_scatter_as_all_types_do() -> None:
    """One train of a type is not taken to have no scatter, and two do not tell it."""
    each = np.array([50.0, 60.0, 63.0, 57.0, 61.0, 59.0, 62.0])
    kinds = np.array(["a", *["b"] * 6])
    alone = (kinds == "a").astype(float)
    shares = 0.5 * alone + 0.5 / 6 * (1 - alone)
    off = offsets_by_trains(
        each, shares, kinds, np.random.default_rng(1), samples=20_000, statistic="mean"
    )
    spread = each[1:].std(ddof=1) * np.sqrt(0.25 + 0.25 / 6)
    expected = spread * stats.t.ppf([0.1, 0.9], 5)
    np.testing.assert_allclose(np.quantile(off, [0.1, 0.9]), expected, atol=0.1)


def test_three_trains_do_not_show_an_energy_mean() -> None:
    """A margin of 4 dB, trains 3 dB apart: met by thirty such trains, and not shown by three."""
    step = xr.DataArray([-3.0, 0.0, 3.0], dims="passby")
    three = spectrum(36.0) + step
    thirty = spectrum(36.0).isel(passby=[0, 1, 2] * 10) + step.isel(passby=[0, 1, 2] * 10)
    answers = [
        judge_measured(level.assign_attrs(spectrum(36.0).attrs), criteria={"R1": [LIMIT]},
                       error=MeasurementError(position=0.0))["answer"].item()
        for level in (three, thirty)
    ]  # fmt: skip
    assert answers == ["within the uncertainty", "met"]


def test_upper_limits_may_meet_a_criterion_and_never_miss_it() -> None:
    level = spectrum(43.0)
    limits = xr.ones_like(level, dtype=bool)
    found = judge_measured(level.assign_coords(upper_limit=limits), criteria={"R1": [LIMIT]})
    assert found["answer"].item() == "within the uncertainty"
    low = spectrum(30.0)
    found = judge_measured(low.assign_coords(upper_limit=limits), criteria={"R1": [LIMIT]})
    assert found["answer"].item() == "met"
    # No band shows a train: the margin has no upper end, and a difference is at most what it is.
    assert found["margin_high"].item() == np.inf
    assert bool(found["at_most"])
    result = found.rename(margin="margin_median").expand_dims(option=["as built"])
    result["margin_high"] = result["margin_median"] + 3.0
    both = compare_answers(found, result, option="as built")
    assert bool(both["at_most"])
    assert np.isfinite(both["standardised"]).all()
    half = (found["margin"] - found["margin_low"]) / stats.norm.ppf(0.9)
    np.testing.assert_allclose(both["measured_error"], half)
    # One band of several: the others bound it.
    some = limits & (low["frequency"] == 63.0)
    found = judge_measured(low.assign_coords(upper_limit=some), criteria={"R1": [LIMIT]})
    assert np.isfinite(found["margin_high"]).all()
    assert not found["at_most"].any()


def test_bands_cut_out_of_the_middle_are_missed() -> None:
    """Without its loudest bands a room would meet what it misses; both functions name the first."""
    level = spectrum(43.0)
    assert judge_measured(level, criteria={"R1": [LIMIT]})["answer"].item() != "met"
    cut = level.sel(frequency=[f for f in level["frequency"].values if f not in (50, 63, 80)])
    with pytest.raises(BandError, match="after 40 Hz comes 100 Hz; 50 Hz is missing"):
        judge_measured(cut, criteria={"R1": [LIMIT]})
    few = [f for f in BANDS.values if f != 63]
    with pytest.raises(BandError, match="after 50 Hz comes 80 Hz; 63 Hz is missing"):
        compared(measured().sel(frequency=few), predicted().sel(frequency=few))


def test_errors_are_those_of_each_room_and_band() -> None:
    """An instrument of 0.1 dB in one room and 5 in the other; only bands far below at 5 dB."""
    level = xr.concat([spectrum(37.0), spectrum(37.0).assign_coords(room=["R2"])], dim="room")
    rooms = {"dims": "room", "coords": {"room": ["R2", "R1"]}}
    criteria = {room: [LIMIT] for room in ROOMS}
    for name in ("instrument", "position"):
        given = {"instrument": 0.0, "position": 0.0, name: xr.DataArray([5.0, 0.1], **rooms)}
        found = judge_measured(level, criteria=criteria, error=MeasurementError(**given))
        width = (found["margin_high"] - found["margin_low"]).squeeze("criterion")
        alone = judge_measured(
            level.isel(room=[0]), criteria=criteria,
            error=MeasurementError(**{**given, name: 0.1}),
        )  # fmt: skip
        assert width.sel(room="R1") == pytest.approx(
            (alone["margin_high"] - alone["margin_low"]).item(), rel=0.05
        )
        assert width.sel(room="R2") > 5.0
    by_band = xr.where(level["frequency"] < 25.0, 5.0, 0.0)
    error = MeasurementError(instrument=by_band, position=0.0)
    found = judge_measured(level, criteria=criteria, error=error)
    assert float((found["margin_high"] - found["margin_low"]).max()) < 0.1
    few = MeasurementError(position=by_band.isel(frequency=slice(3, None)))
    for judge in (
        lambda: judge_measured(level, criteria=criteria, error=few),
        lambda: compared(measured(), error=few),
    ):
        with pytest.raises(ValueError, match="an error has no frequency 16"):
            judge()
    with pytest.raises(ValueError, match="an error is on 'floor'; the levels have"):
        judge_measured(level, criteria=criteria, error=MeasurementError(
            instrument=xr.DataArray([1.0], dims="floor")))  # fmt: skip


def test_positions_are_those_of_the_levels() -> None:
    """Three positions in the data count as three, and as no other number."""
    level = measured().assign_attrs(positions=3)
    found = compared(level)
    expected = compared(measured(), error=MeasurementError(positions=3))
    xr.testing.assert_equal(found["measured_error"], expected["measured_error"])
    said = "positions is 6, and the levels are means over 3"
    with pytest.raises(ValueError, match=said):
        compared(level, error=MeasurementError(positions=6))
    with pytest.raises(ValueError, match=said):
        judge_measured(spectrum(37.0).assign_attrs(positions=3), criteria={"R1": [LIMIT]},
                       error=MeasurementError(positions=6))  # fmt: skip
    with pytest.raises(ValueError, match=r"positions is 2\.5; a whole number"):
        MeasurementError(positions=2.5)


def test_what_cannot_be_judged_is_refused() -> None:
    level = spectrum(37.0)
    with pytest.raises(RatingError, match="time_weighting of the levels is 'F max'"):
        judge_measured(
            labelled(sound(level, time_weighting="F max"), provenance="n"), criteria={"R1": [LIMIT]}
        )
    with pytest.raises(ValueError, match=r"room is 'R1'; known are 'R2'"):
        judge_measured(level, criteria={"R2": [LIMIT]})
    vc = Criterion.on_curve("VC-A", statistic="energy mean", time_weighting="S max")
    with pytest.raises(ValueError, match="no criterion on sound pressure"):
        judge_measured(level, criteria={"R1": [vc]})
    with pytest.raises(CalibrationError, match="do not say which measurement"):
        judge_measured(sound(level), criteria={"R1": [LIMIT]})
    strict = replace(LIMIT, statistic="percentile", percentile=95.0)
    at_night = replace(LIMIT, period="night")
    for periods, given in (
        (None, "none"),
        ({"day": Period(name="day", hours=16.0, trains={"all": 9})}, "'day'"),
    ):
        with pytest.raises(
            ValueError, match=f"is on the period 'night', and periods holds {given}"
        ):
            judge_measured(level, criteria={"R1": [at_night]}, periods=periods)
    with pytest.raises(RatingError, match="carry no 95th percentile"):
        judge_measured(level, criteria={"R1": [strict]})
    with pytest.raises(ValueError, match="samples is 10; 1000 or more"):
        judge_measured(level, criteria={"R1": [LIMIT]}, samples=10)


# -- Isolation ------------------------------------------------------------------------------------


def side(values: list[float], state: str, **coords: object) -> xr.DataArray:
    level = xr.DataArray(
        values, dims="passby", coords={"passby": [f"P{i}" for i in range(len(values))]}
    )
    level = stamp(level, quantity="velocity", reference="1 nm/s", long_name="level",
                  time_weighting="S max")  # fmt: skip
    return labelled(level.assign_coords(**coords), provenance="night", state=state)


def test_insertion_loss_and_level_difference_are_not_taken_for_each_other() -> None:
    loud, quiet = [70.0, 72.0, 74.0], [60.0, 61.0, 65.0]
    found = level_difference(side(loud, "un-isolated side"), side(quiet, "isolated side"))
    assert "no insertion loss" in found.attrs["of"]
    with pytest.raises(ValueError, match="before was measured in the state 'un-isolated side'"):
        insertion_loss(side(loud, "un-isolated side"), side(quiet, "isolated side"))
    with pytest.raises(ValueError, match="unisolated was measured in the state 'isolated side'"):
        level_difference(side(quiet, "isolated side"), side(loud, "un-isolated side"))
    with pytest.raises(ValueError, match="before was measured in the state 'after release'"):
        insertion_loss(side(quiet, "after release"), side(loud, "before release"))
    with pytest.raises(ValueError, match="state 'unlabelled'"):
        insertion_loss(side(loud, ""), side(quiet, "after release"))
    other = side(quiet, "isolated side").assign_coords(passby=["P7", "P8", "P9"])
    with pytest.raises(ValueError, match="labels of 'passby' differ"):
        level_difference(side(loud, "un-isolated side"), other)


def test_sides_that_seem_exchanged_are_warned_of() -> None:
    """Labels that say the wrong thing cannot be refused, since a resonance may do the same."""
    loud, quiet = side([70.0, 71.0, 72.0], "un-isolated side"), side([50.0, 51.0, 52.5], "")
    with pytest.warns(gb.UnusualValueWarning, match="isolated side are the higher ones in 100 %"):
        level_difference(
            quiet.assign_attrs(state="un-isolated side"), loud.assign_attrs(state="isolated side")
        )
    with pytest.warns(gb.UnusualValueWarning, match="are before and after exchanged"):
        insertion_loss(
            quiet.assign_attrs(state="before release"), loud.assign_attrs(state="after release")
        )


def test_bands_in_the_background_are_no_values_of_a_transfer() -> None:
    """A floating floor in its background does more than was measured: nothing is fitted to that."""
    model, measured_change, unit = mounts()
    limits = measured_change.assign_coords(at_least=measured_change["frequency"] > 180)
    with pytest.raises(BandError, match=r"at 200, 250 Hz the quieter side is background.*leave"):
        fit_transfer(
            limits, model=model, covariance=unit,
            parameters=[Parameter(name="natural_frequency", low=1.0, high=20.0)],
        )  # fmt: skip
    diagnosis = Diagnosis(designed=measured_change, causes=mount_causes(model), covariance=unit)
    with pytest.raises(BandError, match="at 200, 250 Hz"):
        diagnosis.of(limits)
    background = sound(xr.zeros_like(measured()).isel(room=0) + 40.0)
    floating = without_background(
        sound((measured().isel(room=0) + xr.where(BANDS < 180, 10.0, -8.0)).drop_attrs()),
        background,
    )
    pair = level_difference(
        labelled(measured(30.0).isel(room=0), provenance="n", state="un-isolated side"),
        labelled(floating, provenance="n", state="isolated side"),
    )
    assert pair["value"]["at_least"].values.tolist() == [False] * 11 + [True] * 2


def test_linear_values_are_no_levels() -> None:
    pascals = sound((2e-5 * 10 ** (measured() / 20)).drop_attrs())
    with pytest.raises(LevelError, match="are these levels in dB, or linear values"):
        labelled(pascals, provenance="night 1")
    pascals = pascals.assign_attrs(measured().attrs)
    with pytest.raises(LevelError, match=r"compare_levels: the largest level is 0\.00"):
        compared(pascals)
    with pytest.raises(LevelError, match=r"judge_measured: the largest level is 0\.00"):
        judge_measured(pascals, criteria={r: [LIMIT] for r in ROOMS})


def test_rooms_in_which_nothing_stands_out_are_not_compared() -> None:
    """Background above the trains: all limits, of which no chi-square of nought is made."""
    level = measured()
    hidden = labelled(without_background(level, sound(level + 10.0)), provenance="night 1")
    with pytest.raises(ValueError, match="in room 'R1' every band is an upper limit"):
        compared(hidden)
    found = judge_measured(hidden, criteria={r: [LIMIT] for r in ROOMS})
    assert set(found["answer"].values.ravel().tolist()) <= {"not shown", "within the uncertainty"}


def test_one_event_judges_nothing() -> None:
    one = measured().isel(passby=[0])
    with pytest.raises(StudyError, match="1 passby that counts tells nothing of how trains differ"):
        judge_measured(one, criteria={r: [LIMIT] for r in ROOMS})
    with pytest.raises(ValueError, match="measured holds 1 passby; two at least"):
        compared(one)
    with pytest.raises(ValueError, match=r"room is 'R2'; known are 'R1'"):
        judge_measured(measured(), criteria={"R1": [LIMIT]})


def test_references_and_types_of_trains_are_asked_for_in_pairs() -> None:
    before, after = (
        side([70.0, 72.0, 74.0], "before release"), side([60.0, 61.0, 65.0], "after release"),
    )  # fmt: skip
    with pytest.raises(ValueError, match="one reference is given"):
        insertion_loss(before, after, reference_before=side([80.0] * 3, ""))
    with pytest.raises(ValueError, match="reference_after holds other passbys"):
        insertion_loss(
            before, after, reference_before=side([80.0] * 3, ""),
            reference_after=side([80.0] * 4, ""),
        )  # fmt: skip
    typed = after.assign_coords(train_type=("passby", ["a", "a", "b"]))
    with pytest.raises(ValueError, match="1 passby of the type 'b'; two at least"):
        insertion_loss(before, typed)
    two = after.assign_coords(train_type=("passby", ["a"] * 3))
    with pytest.raises(ValueError, match=r"before has the train types \[''\], after \['a'\]"):
        insertion_loss(before, two)
    limit = {"upper_limit": ("passby", [True, False, False])}
    with pytest.raises(ValueError, match="levels before hold upper limits"):
        insertion_loss(side([70.0] * 3, "before release", **limit), after)
    found = insertion_loss(before, side([60.0, 61.0, 65.0], "after release", **limit))
    assert bool(found["at_least"])
    with pytest.raises(LevelError, match="time_weighting 'S max' and 'leq'"):
        insertion_loss(before, after.assign_attrs(time_weighting="leq"))


def test_insertion_loss_by_type_of_train() -> None:
    """Means of each type, and their mean by the number of passbys."""
    types = {"train_type": ("passby", ["a", "a", "b", "b"])}
    found = insertion_loss(
        side([70.0, 72.0, 80.0, 82.0], "no isolation", **types),
        side([60.0, 62.0, 76.0, 78.0], "after release", **types),
    )
    assert found["value_of_type"].sel(train_type="a").item() == pytest.approx(10.0)
    assert found["value_of_type"].sel(train_type="b").item() == pytest.approx(4.0)
    assert found["value"].item() == pytest.approx(7.0)


# -- Airborne or ground-borne ---------------------------------------------------------------------


def pair(excess: float) -> tuple[xr.DataArray, xr.DataArray, xr.DataArray]:
    f = third_octaves(63, 100)
    step = xr.DataArray([0.0, 2.0, 4.0], dims="passby") + 0.0 * f
    v = stamp(70.0 + step, quantity="velocity", reference="1 nm/s", long_name="v",
              time_weighting="S max")  # fmt: skip
    p = sound(43.0 + excess + step)
    return p, v, xr.full_like(f, -27.0, dtype=float).drop_attrs()


@pytest.mark.parametrize(
    ("excess", "origin"), [(-6.0, "ground-borne"), (3.0, "cannot tell"), (12.0, "airborne")]
)
def test_origin_of_sound_by_levels(excess: float, origin: str) -> None:
    p, v, radiation = pair(excess)
    found = sound_origin(sound=p, vibration=v, radiation=radiation)
    assert set(found["origin"].values.tolist()) == {origin}
    np.testing.assert_allclose(found["excess"].values, excess)
    chance = stats.norm.cdf((excess - 10 * np.log10(2)) / 4.0)
    np.testing.assert_allclose(found["airborne_probability"].values, chance)


def test_coherence_takes_a_verdict_back_and_makes_none() -> None:
    p, v, radiation = pair(12.0)
    f = p["frequency"].values
    high = xr.Dataset({"coherence": ("frequency", [0.9, 0.9, 0.1])}, coords={"frequency": f},
                      attrs={"by_chance": 0.05})  # fmt: skip
    found = sound_origin(sound=p, vibration=v, radiation=radiation, coherence=high)
    assert found["origin"].values.tolist() == ["cannot tell", "cannot tell", "airborne"]
    assert "yet coherent" in found["reason"].values[0]
    p, v, radiation = pair(-6.0)
    none = high.assign(coherence=("frequency", [0.01, 0.3, 0.3]))
    found = sound_origin(sound=p, vibration=v, radiation=radiation, coherence=none)
    assert found["origin"].values.tolist() == ["cannot tell", "ground-borne", "ground-borne"]
    with pytest.raises(LevelError, match="the level is of velocity; sound pressure is needed"):
        sound_origin(sound=v, vibration=p, radiation=radiation)
    with pytest.raises(ValueError, match=r"passby"):
        sound_origin(sound=p.isel(passby=[0, 1]), vibration=v, radiation=radiation)


def record(values: np.ndarray, quantity: str, rate: float = 500.0) -> Recording:
    unit = {"velocity": "m/s", "sound pressure": "Pa"}[quantity]
    signal = xr.DataArray(values[None], dims=("channel", "time"), coords={"channel": ["c"]},
                          attrs={"quantity": quantity, "units": unit})  # fmt: skip
    return Recording(signal=signal, sample_rate=rate)


def test_coherence_of_noise_with_noise() -> None:
    """Coherence of a signal with itself and independent noise of as much power is a half."""
    rng = np.random.default_rng(1)
    f = third_octaves(31.5, 100)
    a, b = rng.standard_normal((2, 100_000))
    same = coherence(record(a, "velocity"), record(a + b, "sound pressure"), frequency=f)
    np.testing.assert_allclose(same["coherence"].values, 0.5, atol=0.05)
    none = coherence(record(a, "velocity"), record(b, "sound pressure"), frequency=f)
    assert (none["coherence"].values < none.attrs["by_chance"]).all()
    with pytest.raises(ValueError, match="hold 7 windows at 2 Hz; ten at least"):
        coherence(record(a[:1000], "velocity"), record(a[:1000], "sound pressure"), frequency=f)
    with pytest.raises(RecordingError, match="must be on one clock"):
        coherence(record(a, "velocity"), record(b[:-1], "sound pressure"), frequency=f)
    with pytest.raises(ValueError, match="or reaches beyond half the sample rate"):
        coherence(
            record(a, "velocity"), record(b, "sound pressure"), frequency=third_octaves(31.5, 500)
        )


# -- Static checks --------------------------------------------------------------------------------


def schedule(count: int = 3) -> Schedule:
    names = [f"A{i}" for i in range(count)]
    values = {
        "load": 1e6, "static_stiffness": 5e7, "deflection": 0.02, "deflection_low": 0.019,
        "deflection_high": 0.021, "fail_safe_gap": 0.005, "fail_safe_gap_most": 0.02,
    }  # fmt: skip
    data = xr.Dataset({n: ("column", [v] * count) for n, v in values.items()},
                      coords={"column": names})  # fmt: skip
    data.attrs = {"cautions": '["ask the engineer"]', "notes": "[]", "revision": "A"}
    return Schedule(data=data)


def on_columns(*values: float) -> xr.DataArray:
    names = [f"A{i}" for i in range(len(values))]
    return xr.DataArray(list(values), dims="column", coords={"column": names})


def test_deflections_against_the_schedule() -> None:
    found = check_deflection(schedule(), on_columns(0.0203, 0.012, 0.041), load_error=0.05)
    assert found["deflection_answer"].values.tolist() == ["met", "not met", "not met"]
    np.testing.assert_allclose(found["travel_left"].values, [0.0197, 0.028, -0.001])
    np.testing.assert_allclose(found["ratio"].values, [1.015, 0.6, 2.05])
    sentences = json.loads(found.attrs["sentences"])
    assert "A2: by its deflection the pack is solid" in sentences
    assert "structural engineer" in found.attrs["stop"]
    assert "ask the engineer" in found.attrs["cautions"]
    # Half of the load is there: half of the deflection is right, and leaves more to be needed.
    half = check_deflection(
        schedule(), on_columns(0.01, 0.01, 0.01), load=on_columns(5e5, 5e5, 5e5)
    )
    assert set(half["deflection_answer"].values.tolist()) == {"met"}
    np.testing.assert_allclose(half["travel_needed"].values, 0.015)
    swapped = on_columns(0.0203, 0.012, 0.041).isel(column=[2, 0, 1])
    again = check_deflection(schedule(), swapped, load_error=0.05)
    xr.testing.assert_equal(again["measured"], found["measured"])


def test_static_input_that_is_refused() -> None:
    with pytest.raises(ValueError, match="is it in mm"):
        check_deflection(schedule(), on_columns(20.0, 20.0, 20.0))
    with pytest.raises(ValueError, match="same columns once each; look at 'A3'"):
        check_deflection(schedule(), on_columns(0.02, 0.02, 0.02, 0.02))
    with pytest.raises(ValueError, match="must be on 'column'"):
        check_deflection(schedule(), xr.DataArray([0.02] * 3, dims="point"))
    gap = xr.DataArray([0.05, 0.03], dims="point", coords={"point": ["P1", "P2"]})
    with pytest.raises(ValueError, match="least and most are out of order"):
        check_gaps(gap, least=0.05, most=0.04)
    with pytest.raises(ValueError, match=r"measured is -0\.01 at point=P1"):
        check_gaps(gap - 0.06, least=0.02)
    with pytest.raises(ValueError, match="is no static check"):
        static_summary({"x": xr.Dataset({"a": 1.0})})


def test_a_gap_that_may_be_closed_is_not_met() -> None:
    """0.9 mm read to 0.5 mm: nothing shows that there is a gap, however little is needed."""
    gap = xr.DataArray([0.0, 0.0009, 0.002], dims="point", coords={"point": ["P1", "P2", "P3"]})
    for least in (0.0, 0.0002):
        found = check_gaps(gap, least=least)
        assert found["closed"].values.tolist() == [True, True, False]
        assert found["answer"].values.tolist() == ["not met", "not met", "met"]
        summary = static_summary({"joint": found})
        assert summary["not_met"].item() == len(json.loads(summary.attrs["sentences"])) == 2


def test_static_checks_stand_together() -> None:
    x, y = (a.ravel() for a in np.meshgrid(np.arange(4) * 2.0, np.arange(3) * 2.0))
    height = np.full(12, 0.05)
    height[5] = 0.088
    height[0] = 0.044
    survey = judge_survey(
        survey=Survey(quantity="gap", data=xr.Dataset(
            {"x": ("point", x), "y": ("point", y), "height": ("point", height)},
            coords={"point": [f"P{i}" for i in range(12)]})), target=0.05,
        tolerance=SurveyTolerance(limit=5e-3, aim=3e-3),
    )  # fmt: skip
    gap = xr.DataArray([0.05, 0.0004], dims="point", coords={"point": ["P1", "P2"]})
    found = static_summary(
        {"packs": check_deflection(schedule(), on_columns(0.02, 0.02, 0.02)),
         "air gap": check_gaps(gap, least=0.04, most=0.06)},
        survey=survey,
    )  # fmt: skip
    assert found["check"].values.tolist() == [
        "packs, deflection", "packs, travel", "air gap", "level survey",
    ]  # fmt: skip
    assert found["open"].values.tolist() == [False, False, True, True]
    sentences = json.loads(found.attrs["sentences"])
    assert any("P2: the gap is closed" in s for s in sentences)
    assert any("point P5 at" in s and "measure it again" in s for s in sentences)
    assert any("point P0 is 6 mm below" in s for s in sentences)


# -- Fit and diagnosis ----------------------------------------------------------------------------


def mounts() -> tuple[MountsModel, xr.DataArray, xr.DataArray]:
    model = MountsModel(natural_frequency=5.0, loss_factor=0.1, frequency=BANDS)
    labels = {"frequency": BANDS["frequency"].values}
    curve = xr.DataArray(model(), dims="frequency", coords=labels)
    unit = xr.DataArray(np.eye(BANDS.size), dims=("frequency", "other"),
                        coords=labels | {"other": BANDS["frequency"].values})  # fmt: skip
    return model, curve, unit


def test_bad_fits_are_refused() -> None:
    model, curve, unit = mounts()
    f0 = Parameter(name="natural_frequency", low=2.0, high=20.0)
    with pytest.raises(ValueError, match="two parameters are called 'natural_frequency'"):
        fit_transfer(curve, model=model, parameters=[f0, f0], covariance=unit)
    with pytest.raises(ValueError, match="at least one parameter"):
        fit_transfer(curve, model=model, parameters=[], covariance=unit)
    with pytest.raises(ValueError, match="covariance is none"):
        fit_transfer(curve, model=model, parameters=[f0], covariance=-unit)
    with pytest.raises(ValueError, match="labels of 'frequency' differ"):
        fit_transfer(curve[3:], model=model, parameters=[f0], covariance=unit)
    with pytest.raises(ValueError, match="0 ≤ low < high"):
        Parameter(name="x", low=3.0, high=2.0)
    with pytest.raises(ValueError, match="spread is of an expected value"):
        Parameter(name="x", low=1.0, high=2.0, spread=0.1)
    with pytest.raises(ValueError, match="the model gives"):
        fit_transfer(curve, model=lambda **_: np.zeros(2), parameters=[f0],
                     covariance=unit)  # fmt: skip


def test_what_data_do_not_bound_is_open() -> None:
    """Well above its frequency a mass on springs shows no damping: the interval runs to a bound."""
    f = third_octaves(80, 200)
    labels = {"frequency": f["frequency"].values}
    model = MountsModel(natural_frequency=5.0, loss_factor=0.1, frequency=f, largest_loss=120.0)
    unit = xr.DataArray(4.0 * np.eye(f.size), dims=("frequency", "other"),
                        coords=labels | {"other": f["frequency"].values})  # fmt: skip
    found = fit_transfer(
        xr.DataArray(model(), dims="frequency", coords=labels), model=model, covariance=unit,
        parameters=[Parameter(name="natural_frequency", low=1.0, high=50.0),
                    Parameter(name="loss_factor", low=0.005, high=0.3)],
    )  # fmt: skip
    opened = found["low_open"] | found["high_open"]
    assert opened.sel(parameter="loss_factor").item()
    assert not opened.sel(parameter="natural_frequency").item()


def test_bad_diagnoses_are_refused() -> None:
    model, curve, unit = mounts()
    causes = mount_causes(model)
    with pytest.raises(ValueError, match="causes is empty"):
        Diagnosis(designed=curve, causes=[], covariance=unit)
    with pytest.raises(ValueError, match="two causes are called 'overload'"):
        Diagnosis(designed=curve, causes=[causes[0], causes[0]], covariance=unit)
    with pytest.raises(ValueError, match=r"false_alarms is 0\.5"):
        Diagnosis(designed=curve, causes=causes, covariance=unit, false_alarms=0.5)
    few = mount_causes(replace(model, frequency=third_octaves(20, 200)))
    with pytest.raises(BandError, match="has other bands than designed"):
        Diagnosis(designed=curve, causes=few, covariance=unit)
    diagnosis = Diagnosis(designed=curve, causes=causes, covariance=unit)
    with pytest.raises(BandError, match="other bands than designed, 16 to 250 Hz"):
        diagnosis.of(curve[2:])
    with pytest.raises(LabelError, match="one curve is needed"):
        diagnosis.of(curve.expand_dims(room=["R1"]))
    with pytest.raises(ValueError, match="deflection is 0"):
        diagnosis.of(curve, deflection=0.0)
    sound_room = diagnosis.of(curve, deflection=1.0)
    assert sound_room.attrs["verdict"] == "none stands out"
    assert set(sound_room["standing"].values.tolist()) == {"unlikely"}
    assert "false alarms in 1 % of sound rooms" in sound_room.attrs["sentence"]


def test_floors_that_cannot_be_modelled_are_refused() -> None:
    from groundborne.isolation import BridgedFloor
    from groundborne.structure import FloatingFloor

    layer = FloatingFloor(mass_per_area=240.0, stiffness_per_area=9.5e5, loss_factor=0.1)
    floor = BridgedFloor(floor=layer, area=30.0, bending_stiffness=2.6e6, loss_factor=0.03,
                         base_bending_stiffness=4.07e7, base_mass_per_area=600.0)  # fmt: skip
    with pytest.raises(ValueError, match="all that the layer has"):
        FloorModel(floor=floor, frequency=BANDS, air_stiffness=9.5e5)
    many = replace(floor, area=xr.DataArray([20.0, 30.0], dims="room"))
    with pytest.raises(ValueError, match="area of the floor is an array"):
        FloorModel(floor=many, frequency=BANDS)


# -- An office ------------------------------------------------------------------------------------


def test_studies_that_cannot_be_pooled() -> None:
    error = xr.DataArray([1.0, 2.0, 3.0], dims="study")
    with pytest.raises(ValueError, match="2 studies; 3 at least"):
        pool_studies(error[:2], standard_error=error[:2])
    with pytest.raises(ValueError, match="standard_error is 0"):
        pool_studies(error, standard_error=0.0 * error)
    with pytest.raises(ValueError, match="both need study"):
        pool_studies(error.rename(study="x"), standard_error=error)
    found = compared(measured(3.0))
    one = study_error(found)
    np.testing.assert_allclose(one["error"].values, 3.0)
    assert bool((one["standard_error"] >= found["measured_error"].min("room") - 1e-9).all())
    with pytest.raises(ValueError, match="one room tells no scatter"):
        study_error(found.isel(room=[0]))
