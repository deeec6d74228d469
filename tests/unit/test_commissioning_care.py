"""Commissioning: what counts once, is told apart, or is said to be unexplained."""

from __future__ import annotations

import shutil
import warnings
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from scipy import stats

import groundborne as gb
from groundborne._checks import BandError, LevelError, StudyError
from groundborne.bands import third_octaves
from groundborne.commissioning import (
    CalibrationError,
    Diagnosis,
    MountsModel,
    Observed,
    Parameter,
    StageErrors,
    calibrated_result,
    compare_levels,
    fit_transfer,
    labelled,
    measured_insertion_loss,
    measured_level_difference,
    mount_causes,
    office_spreads,
    pool_studies,
    sound_origin,
    study_error,
    update_table,
)
from groundborne.commissioning.office import next_half_width
from groundborne.commissioning.provenance import (
    CALIBRATED_WITH,
    OFFICE_BIAS,
    calibration_record,
    fingerprints,
    require_independent,
    same_levels,
)
from groundborne.levels import convert, stamp
from groundborne.study import how_sure
from groundborne.uncertainty import Spread

BANDS = third_octaves(16, 250)
LABELS = {"frequency": BANDS["frequency"].values}
SOUND = "sound pressure"
ROOMS = xr.Dataset(
    coords={"room": ["R1", "R2"], "part_of_room": ("room", ["", ""]),
            "floor_of_room": ("room", ["1", "2"])}
)  # fmt: skip
SPREADS = [Spread(name="path", of_sound=6.0, of_floor=6.0)]


def sound(values: xr.DataArray) -> xr.DataArray:
    return stamp(values, quantity=SOUND, reference="20 µPa", long_name="level",
                 time_weighting="S max")  # fmt: skip


def predicted(added: float = 0.0) -> xr.Dataset:
    level = 40.0 + added + xr.DataArray([0.0, 1.0, 0.0, 1.0], dims="passby") + 0.0 * BANDS
    level = sound(level.expand_dims(room=["R1", "R2"]).expand_dims(option=["as built"]))
    return xr.Dataset({"band_level": level})


def measured(off: float, label: str = "night 1") -> xr.DataArray:
    level = predicted(off)["band_level"].isel(option=0, drop=True)
    return labelled(level, provenance=label)


@pytest.fixture(scope="module")
def small_study(tmp_path_factory):
    """The small study with its first option alone, and its result."""
    folder = tmp_path_factory.mktemp("small") / "lines"
    shutil.copytree(Path(__file__).parents[1] / "fuzz" / "small" / "lines", folder)
    file = folder / "study.toml"
    first, own, *_ = file.read_text(encoding="utf-8").split("[[options]]")
    file.write_text(f"{first}[[options]]{own}", encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(file)
        return study, study.evaluate()


# -- An office's bias ---------------------------------------------------------------------------


def test_a_bias_of_an_office_counts_once() -> None:
    """The same errors from a comparison with the prediction with, and without, the bias in it."""
    four = xr.DataArray(np.full(BANDS.size, 4.0), dims="frequency", coords=LABELS)
    errors = StageErrors.of(SPREADS, frequency=BANDS, rooms=ROOMS, bias={"path": four})
    marked = {CALIBRATED_WITH: errors.calibrated_with, OFFICE_BIAS: errors.office_bias}
    biased = predicted(4.0).assign_attrs(marked)
    seen = [
        Observed(comparison=compare_levels(measured(9.0), r, option="as built", spreads=SPREADS))
        for r in (predicted(), biased)
    ]
    assert seen[0].comparison["difference"].mean() == pytest.approx(9.0)
    assert seen[1].comparison["difference"].mean() == pytest.approx(5.0)
    first, second = (errors.updated(o).bias(SOUND) for o in seen)
    np.testing.assert_allclose(second.values, first.values, atol=1e-9)
    tables = [update_table(prior=errors, posterior=errors.updated(o), observed=o) for o in seen]
    for table in tables:
        np.testing.assert_allclose(table["data"].values, 9.0, atol=1e-9)
    other = compare_levels(measured(8.3, "night 2"), biased, option="as built", spreads=SPREADS)
    both = errors.updated(seen[1], Observed(comparison=other)).bias(SOUND)
    plain = compare_levels(
        measured(8.3, "night 2"), predicted(), option="as built", spreads=SPREADS
    )
    expected = errors.updated(seen[0], Observed(comparison=plain)).bias(SOUND)
    np.testing.assert_allclose(both.values, expected.values, atol=1e-9)
    without = StageErrors.of(SPREADS, frequency=BANDS, rooms=ROOMS)
    with pytest.raises(CalibrationError, match="holds an office's bias of 'path', these errors"):
        without.updated(seen[1])


def test_a_bias_of_an_office_is_marked_in_the_result(small_study) -> None:
    study, result = small_study
    four = xr.full_like(result["frequency"], 4.0, dtype=float).drop_attrs()
    errors = StageErrors.of(
        SPREADS, frequency=result["frequency"], rooms=result, bias={"path": four}
    )
    after = calibrated_result(study, result, errors=errors)
    assert "path" in after.attrs[OFFICE_BIAS]
    with pytest.raises(StudyError, match="holds an office's bias already"):
        calibrated_result(study, after, errors=errors)
    sure = how_sure(study, after, samples=1024, spreads=SPREADS)
    assert sure.attrs[OFFICE_BIAS] == after.attrs[OFFICE_BIAS]
    drawn = StageErrors(spreads=tuple(SPREADS), mean=errors.mean, covariance=errors.covariance)
    with pytest.raises(StudyError, match="never updated"):
        calibrated_result(study, result, errors=drawn)


# -- Off the design, and why nobody knows ---------------------------------------------------------


def mounts() -> tuple[MountsModel, xr.DataArray]:
    """A model, and the covariance of a standard deviation of 1 dB in each band by itself."""
    bands = third_octaves(4, 100)
    model = MountsModel(natural_frequency=8.0, loss_factor=0.1, frequency=bands, largest_loss=60.0)
    labels = bands["frequency"].values
    unit = xr.DataArray(np.eye(labels.size), dims=("frequency", "other"),
                        coords={"frequency": labels, "other": labels})  # fmt: skip
    return model, unit


def test_a_curve_off_the_design_is_unexplained_where_no_cause_has_evidence() -> None:
    """A calibration error in all bands is no fault of a building; a sound room has a verdict."""
    model, unit = mounts()
    labels = {"frequency": unit["frequency"].values}
    draw = np.random.default_rng(2).standard_normal
    designs = model(
        natural_frequency=8.0 * np.exp(0.05 * draw(500)),
        loss_factor=0.1 * np.exp(0.25 * draw(500)),
    )
    diagnosis = Diagnosis(
        designed=xr.DataArray(designs, dims=("sample", "frequency"), coords=labels),
        causes=mount_causes(model), covariance=unit,
    )  # fmt: skip
    for off in (3.0, -6.0):
        found = diagnosis.of(xr.DataArray(model() + off, dims="frequency", coords=labels))
        assert found.attrs["verdict"] == "unexplained"
        assert "departs from the design" in found.attrs["sentence"]
        assert found.attrs["p_as_designed"] < 0.01
        assert set(found["standing"].values.tolist()) == {"unlikely"}
    called = [
        diagnosis.of(
            xr.DataArray(designs[i] + draw(unit.sizes["other"]), dims="frequency", coords=labels)
        ).attrs["verdict"]
        for i in range(200)
    ]
    assert called.count("unexplained") <= stats.binom.ppf(0.9999, 200, 0.01)
    assert called.count("none stands out") > 190


# -- Isolation ------------------------------------------------------------------------------------


def on_floor(values: np.ndarray, state: str, label: str = "night", **more: str) -> xr.DataArray:
    names = [f"P{i}" for i in range(len(values))]
    level = xr.DataArray(values, dims="passby", coords={"passby": names})
    given = {"quantity": "velocity", "reference": "1 nm/s", "time_weighting": "S max"} | more
    return labelled(stamp(level, long_name="level", **given), provenance=label, state=state)


def test_references_are_of_one_kind_and_of_their_state() -> None:
    """12 dB stay 12 dB; two references that differ by 34 dB in what they are re do not count."""
    trains = np.array([0.0, 3.0, 5.0])
    before, after = on_floor(70 + trains, "before release"), on_floor(58 - trains, "after release")
    first, second = on_floor(65 + trains, ""), on_floor(65 - trains, "")

    def loss(one: xr.DataArray, other: xr.DataArray) -> xr.Dataset:
        return measured_insertion_loss(
            before=before, after=after, reference_before=one, reference_after=other
        )

    assert loss(first, second)["value"].item() == pytest.approx(12.0)
    with pytest.raises(LevelError, match="references have the reference '50 nm/s' and '1 nm/s'"):
        loss(convert(first, reference="50 nm/s"), second)
    other = on_floor(65 - trains, "", quantity="acceleration", reference="1 µm/s²")
    with pytest.raises(LevelError, match="references have the quantity 'velocity' and 'accel"):
        loss(first, other)
    with pytest.raises(ValueError, match="reference_before was measured in the state 'after rel"):
        loss(on_floor(65 + trains, "after release"), on_floor(65 - trains, "before release"))
    with pytest.raises(LevelError, match="reference_before is on 'room' besides"):
        loss(first.expand_dims(room=["a", "b"]), second.expand_dims(room=["a", "b"]))


# -- An office ------------------------------------------------------------------------------------


def test_studies_that_agree_are_pooled() -> None:
    """Ordinary errors of eight studies, of which Fisher scoring ran to and fro; the largest
    restricted likelihood is that of a search by steps of 0.01 dB."""
    rng = np.random.default_rng(2)
    se = np.exp(rng.normal(0.0, 0.5, (8, 5, 18)))
    y = 1.0 + rng.normal(0.0, 1.0, se.shape) + se * rng.standard_normal(se.shape)
    dims = ("study", "stage", "frequency")
    error = xr.DataArray(y, dims=dims)
    found = pool_studies(error, standard_error=xr.DataArray(se, dims=dims))["between"].values
    steps = np.arange(0.0, 6.0, 0.01)[:, None, None, None]
    w = 1 / (se**2 + steps**2)
    total = w.sum(axis=1)
    mean = (w * y).sum(axis=1) / total
    level = np.log(w).sum(axis=1) - np.log(total) - (w * (y - mean[:, None]) ** 2).sum(axis=1)
    np.testing.assert_allclose(found, 0.01 * level.argmax(axis=0), atol=0.0101)
    odd = pool_studies(
        xr.DataArray([0.0, 30.0, 0.0, 0.1], dims="study"),
        standard_error=xr.DataArray([1e-3, 1.0, 3.0, 1.0], dims="study"),
    )
    assert np.isfinite(odd["between"].item())


def test_interval_of_the_next_study_of_a_published_example() -> None:
    """Ten studies of blood pressure: mean −0.3341 within −0.5068 to −0.1613 (95 %, t of nine
    degrees of freedom), τ² 0.0282, and the next study within −0.7598 to 0.0917. Manual of a
    statistics library, function for the interval of Higgins, Thompson and Spiegelhalter 2009
    [seen second-hand]."""
    error = (0.5068 - 0.1613) / 2 / stats.t.ppf(0.975, 9)
    half = next_half_width(np.array(0.0282), np.array(error), 10, 0.95)
    assert half == pytest.approx((0.7598 + 0.0917) / 2, rel=1e-3)


@pytest.mark.parametrize("count", [3, 5, 20])
@pytest.mark.parametrize("between", [1.0, 4.0])
def test_the_next_study_lies_in_its_interval_also_after_few(count: int, between: float) -> None:
    """4,000 offices measured to 1 to 3 dB: 90 % asked hold 86 % at least."""
    rng = np.random.default_rng(1)
    own = rng.uniform(1.0, 3.0, (count, 4000))
    error = between * rng.standard_normal(own.shape) + own * rng.standard_normal(own.shape)
    dims = ("study", "office")
    found = pool_studies(
        xr.DataArray(error, dims=dims), standard_error=xr.DataArray(own, dims=dims)
    )
    following = between * rng.standard_normal(4000)
    held = (found["next_low"].values <= following) & (following <= found["next_high"].values)
    assert held.mean() > 0.86
    wide = stats.norm.ppf(0.95) * found["next_study"]
    np.testing.assert_allclose((found["next_high"] - found["bias"]).values, wide.values)


# -- The same levels under another name -----------------------------------------------------------


def test_levels_are_known_again_cut_rounded_and_renamed() -> None:
    """What calibrated is refused in other clothes; other trains of the same kind are not."""
    draw = np.random.default_rng(4).standard_normal
    shape = 45.0 - 20.0 * abs(np.log10(BANDS / 50.0)).values

    def night() -> xr.DataArray:
        values = shape + 3.0 * draw((2, 12, 1)) + draw((2, 12, BANDS.size))
        level = xr.DataArray(values, dims=("room", "passby", "frequency"),
                             coords=LABELS | {"room": ["R1", "R2"]})  # fmt: skip
        return sound(level.assign_coords(passby=[f"P{i}" for i in range(12)]))

    first = night()
    prints = fingerprints(first)
    record = {CALIBRATED_WITH: calibration_record([("night 1", prints)])}
    some = first.sel(frequency=slice(31.5, 100.0)).isel(room=[1], passby=[3, 7])
    moved = first.copy()
    moved[..., :4] = moved[..., :4] + 1.0  # as if another background had been taken off
    clothes = {
        "rounded": first.round(1).assign_attrs(first.attrs),
        "cut": some,
        "rounded and cut": some.round(1).assign_attrs(first.attrs),
        "without names": first.drop_vars("passby"),
        "another background": moved,
    }
    for level in clothes.values():
        with pytest.raises(CalibrationError, match="labelled 'night 2' are those of 'night 1'"):
            require_independent("x", labelled(level, provenance="night 2"), record)
    floors = first.assign_attrs(quantity="velocity", reference="1 nm/s")
    assert same_levels(fingerprints(floors), fingerprints(convert(floors, reference="50 nm/s")))
    for _ in range(20):
        require_independent("x", labelled(night().round(1).assign_attrs(first.attrs),
                                          provenance="night 2"), record)  # fmt: skip


# -- Fits -----------------------------------------------------------------------------------------


def test_a_loss_given_for_a_level_change_is_refused() -> None:
    model, unit = mounts()
    labels = {"frequency": unit["frequency"].values}
    draw = np.random.default_rng(3).standard_normal
    values = model(natural_frequency=9.0) + draw(unit.sizes["other"])
    change = xr.DataArray(values, dims="frequency", coords=labels)
    asked = [Parameter(name="natural_frequency", low=2.0, high=30.0, unit="Hz"),
             Parameter(name="loss_factor", low=0.005, high=0.9)]  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fit_transfer(change, model=model, parameters=asked, covariance=unit)
    with pytest.raises(ValueError, match="with the opposite sign the measured values fit far bet"):
        fit_transfer(-change, model=model, parameters=asked, covariance=unit)
    with pytest.warns(gb.UnusualValueWarning, match="the model fits poorly"):
        fit_transfer(change + 6.0 * (change["frequency"] == 31.5), model=model, parameters=asked,
                     covariance=unit)  # fmt: skip
    designed = xr.DataArray(model(), dims="frequency", coords=labels)
    diagnosis = Diagnosis(designed=designed, causes=mount_causes(model), covariance=unit)
    with pytest.raises(ValueError, match=r"Diagnosis\.of: with the opposite sign"):
        diagnosis.of(-designed)


def test_a_parameter_that_the_model_does_not_know_is_named() -> None:
    model, unit = mounts()
    change = unit.isel(other=0, drop=True) - 10.0
    with pytest.raises(ValueError, match="parameter is 'f0'; known are 'natural_frequency', 'los"):
        fit_transfer(change, model=model, covariance=unit,
                     parameters=[Parameter(name="f0", low=2.0, high=30.0)])  # fmt: skip


# -- Two sides at one time ------------------------------------------------------------------------


def test_two_sides_are_measured_at_one_time() -> None:
    trains = np.array([0.0, 3.0, 5.0])

    def difference(label: str = "night", **names: bool) -> xr.Dataset:
        sides = [on_floor(70 + trains, "un-isolated side"),
                 on_floor(60 + trains, "isolated side", label)]  # fmt: skip
        if not names.get("named", True):
            sides[1] = sides[1].drop_vars("passby")
        return measured_level_difference(unisolated=sides[0], isolated=sides[1])

    assert difference()["value"].item() == pytest.approx(10.0)
    with pytest.raises(CalibrationError, match="unisolated is of 'night', isolated of 'night 2'"):
        difference("night 2")
    with pytest.raises(LevelError, match="the passbys of isolated have no names"):
        difference(named=False)


def test_sound_and_vibration_are_measured_at_one_time() -> None:
    names = {"passby": ["a", "b", "c"]} | LABELS
    flat = xr.DataArray(np.zeros((3, BANDS.size)), dims=("passby", "frequency"), coords=names)
    heard = sound(flat + 43.0)
    floor = stamp(flat + 70.0, quantity="velocity", reference="1 nm/s", long_name="level",
                  time_weighting="S max")  # fmt: skip
    radiation = xr.full_like(flat[0], -27.0).drop_vars("passby")

    def origin(sound: xr.DataArray, vibration: xr.DataArray) -> xr.Dataset:
        return sound_origin(sound=sound, vibration=vibration, radiation=radiation)

    assert set(origin(heard, floor)["origin"].values.tolist()) == {"cannot tell"}
    nights = labelled(heard, provenance="night 1"), labelled(floor, provenance="night 2")
    with pytest.raises(CalibrationError, match="sound is of 'night 1', vibration of 'night 2'"):
        origin(*nights)
    with pytest.raises(CalibrationError, match="vibration of an unlabelled measurement"):
        origin(nights[0], floor)
    with pytest.raises(LevelError, match="the passbys of sound have no names"):
        origin(heard.drop_vars("passby"), floor)


def test_instruments_widen_the_interval_of_an_isolation() -> None:
    """Closed forms: two chains of 0.7 dB, four with references; without scatter it is normal."""
    trains = np.array([0.0, 3.0, 5.0, 4.0])
    z, t = stats.norm.ppf(0.95), stats.t.ppf(0.95, 3)
    sides = {"unisolated": on_floor(70 + trains, "un-isolated side"),
             "isolated": on_floor(60 + trains, "isolated side")}  # fmt: skip
    even = measured_level_difference(**sides)
    assert even["high"].item() - 10.0 == pytest.approx(z * 0.7 * np.sqrt(2), rel=1e-6)
    assert measured_level_difference(**sides, instrument=0.0)["high"].item() == pytest.approx(10.0)
    sides["isolated"] = on_floor(60 + 0.5 * trains, "isolated side")
    alone = measured_level_difference(**sides, instrument=0.0)
    both = measured_level_difference(**sides, instrument=1.0)
    own = (0.5 * trains).std(ddof=1) / 2
    assert alone["high"].item() - alone["value"].item() == pytest.approx(t * own)
    assert both["standard_error"].item() == pytest.approx(own)
    freedom = 3 * (own**2 + 2.0) ** 2 / own**4
    assert both["degrees_of_freedom"].item() == pytest.approx(freedom)
    wide = stats.t.ppf(0.95, freedom) * np.sqrt(own**2 + 2.0)
    assert both["high"].item() - both["value"].item() == pytest.approx(wide)
    before, after = on_floor(70 + trains, "before release"), on_floor(58 - trains, "after release")
    loss = measured_insertion_loss(
        before=before, after=after, reference_before=on_floor(65 + trains, ""),
        reference_after=on_floor(65 - trains, ""),
    )  # fmt: skip
    assert loss["instrument_error"].item() == pytest.approx(1.4)
    with pytest.raises(ValueError, match="instrument is -1"):
        measured_level_difference(**sides, instrument=-1.0)


# -- From finished studies to the next ------------------------------------------------------------


def test_three_studies_with_bands_in_the_background_lead_to_the_next() -> None:
    """Bands that are upper limits are left out, and have the spreads of the next study."""
    each = []
    for n, off in enumerate((2.0, 4.0, 6.0)):
        found = compare_levels(
            measured(off, f"study {n}"), predicted(), option="as built", spreads=SPREADS
        )
        hidden = (found["frequency"] > 150) & (found["room"] == "R1")
        each.append(study_error(found.assign(upper_limit=hidden)))
    assert each[0].attrs["left_out"] == [160.0, 200.0, 250.0]
    all_of = xr.concat(each, dim="study", join="inner")
    pooled = pool_studies(all_of["error"], standard_error=all_of["standard_error"])
    np.testing.assert_allclose(pooled["bias"].values, 4.0, atol=1e-9)
    with pytest.raises(BandError, match="have no band 160 Hz of 'whole path'"):
        office_spreads(pooled, frequency=BANDS)
    two = [*SPREADS, Spread(name="room", of_sound=8.0)]
    (spread,) = office_spreads(pooled, frequency=BANDS, otherwise=two)
    assert spread.of_sound["frequency"].values.tolist() == LABELS["frequency"].tolist()
    np.testing.assert_allclose(spread.of_sound.sel(frequency=slice(160, 250)).values, 10.0)
    np.testing.assert_allclose(spread.of_floor.sel(frequency=slice(160, 250)).values, 6.0)
    below = spread.of_sound.sel(frequency=slice(16, 125)).values
    np.testing.assert_allclose(below, pooled["next_study"].isel(stage=0).values)
    few = BANDS.sel(frequency=slice(16, 125))
    errors = StageErrors.of(
        office_spreads(pooled, frequency=few), frequency=few, rooms=ROOMS,
        bias={"whole path": pooled["bias"]},
    )  # fmt: skip
    np.testing.assert_allclose(errors.bias(SOUND).values, 4.0, atol=1e-9)
    with pytest.raises(BandError, match="160"):
        StageErrors.of([spread], frequency=BANDS, rooms=ROOMS, bias={"whole path": pooled["bias"]})
    odd = pooled["bias"].isel(stage=0, drop=True).expand_dims(study=[1])
    with pytest.raises(ValueError, match="the bias of 'path' is on 'study'"):
        StageErrors.of(SPREADS, frequency=few, rooms=ROOMS, bias={"path": odd})
    with pytest.raises(ValueError, match="every band is an upper limit"):
        study_error(found.assign(upper_limit=found["difference"] < 99))
