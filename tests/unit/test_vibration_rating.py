"""What vibration ratings refuse, warn of, and say in words."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import xarray as xr

from groundborne import bands, levels, weighting
from groundborne._checks import BandError, LevelError, RatingError, RecordingError
from groundborne.citation import ValidityWarning
from groundborne.rating import (
    building_guides,
    kb,
    kb_and_peak,
    vibration,
    vibration_bands,
    vibration_curves,
    vibration_limits,
)
from groundborne.rating.crest_factor import additional_evaluation
from groundborne.rating.ns8176 import statistical_maximum, weighted_velocity
from groundborne.rating.vibration_events import event_ratings, record_ratings
from groundborne.waveform import integrate, running_mean_square, weighted

RATE = 512.0


def _record(seconds: float = 4.0, quantity: str = "acceleration", **attrs: str) -> xr.DataArray:
    values = np.random.default_rng(7).normal(size=(2, round(seconds * RATE)))
    units = {"acceleration": "m/s²", "velocity": "m/s", "sound pressure": "Pa"}[quantity]
    return xr.DataArray(
        values,
        dims=("channel", "time"),
        coords={"channel": ["x", "z"]},
        attrs={"quantity": quantity, "units": units, **attrs},
    )


def _level(low: float = 1, high: float = 80, value: float = 60.0, **attrs: Any) -> xr.DataArray:
    frequency = bands.third_octaves(low, high)["frequency"]
    level = xr.DataArray(np.full(frequency.size, value), coords={"frequency": frequency})
    given = {"quantity": "velocity", "reference": "1 nm/s", "time_weighting": "S max"} | attrs
    return levels.stamp(level, long_name="level", **given)


def test_weighted_refuses_bad_records() -> None:
    good = _record()
    with pytest.raises(ValueError, match="Did you mean 'KB railway'"):
        weighted(good, sample_rate=RATE, curve="KB rail")
    with pytest.raises(RecordingError, match="needs 200 or more"):
        weighted(good, sample_rate=128.0, curve="Wk")
    with pytest.raises(RecordingError, match=r"787\.5 or more"):
        weighted(_record(quantity="velocity"), sample_rate=RATE, curve="KB railway")
    with pytest.raises(RecordingError, match="of sound pressure; Wk weights acceleration"):
        weighted(_record(quantity="sound pressure"), sample_rate=RATE, curve="Wk")
    with pytest.raises(RecordingError, match="set both"):
        weighted(good.assign_attrs(units="mm/s²"), sample_rate=RATE, curve="Wk")
    with pytest.raises(ValueError, match="record holds nothing along 'time'"):
        weighted(good.isel(time=slice(0, 0)), sample_rate=RATE, curve="Wk")
    with pytest.raises(RecordingError, match="dims"):
        weighted(good.rename(channel="sensor"), sample_rate=RATE, curve="Wk")
    with pytest.raises(ValueError, match="record is a bare ndarray of 2 × 2048"):
        weighted(good.values, sample_rate=RATE, curve="Wk")  # type: ignore[arg-type]
    broken = good.copy(deep=True)
    broken[1, 5] = np.nan
    with pytest.raises(RecordingError, match=r"nan at 0\.00976562 s, channel z"):
        weighted(broken, sample_rate=RATE, curve="Wk")


def test_weighted_says_what_it_made() -> None:
    found = weighted(_record(quantity="velocity"), sample_rate=RATE, curve="Wb")
    assert found.attrs["quantity"] == "acceleration"
    assert found.attrs["units"] == "m/s²"
    assert found.attrs["made_from"] == "velocity record"
    assert found["channel"].values.tolist() == ["x", "z"]


def test_ratings_refuse_what_is_not_weighted() -> None:
    plain = _record()
    heard = weighted(_record(quantity="sound pressure"), sample_rate=RATE, curve="A")
    for call in (vibration.weighted_rms, lambda r: vibration.vdv(r, sample_rate=RATE)):
        with pytest.raises(RatingError, match="weighted by a W curve"):
            call(plain)
        with pytest.raises(RatingError, match="sound pressure"):
            call(heard)
    with pytest.raises(RatingError, match="not weighted"):
        vibration.running_rms(plain, sample_rate=RATE)
    short = weighted(_record(0.5), sample_rate=RATE, curve="Wk")
    with pytest.raises(RecordingError, match=r"lasts 0\.5 s"):
        vibration.mtvv(short, sample_rate=RATE)
    with pytest.raises(RatingError, match="at rest"):
        additional_evaluation(_rest(), sample_rate=RATE)
    with pytest.raises(RatingError, match="Wm is needed"):
        weighted_velocity(weighted(plain, sample_rate=RATE, curve="Wk"), sample_rate=RATE)


def _rest() -> xr.DataArray:
    still = _record()
    return still.copy(data=np.zeros(still.shape)).assign_attrs(frequency_weighting="Wk")


def test_second_evaluation_flags_a_shock() -> None:
    values = np.zeros(round(60 * RATE))
    values[5000:5010] = 1.0
    record = xr.DataArray(values, dims="time", attrs={"quantity": "acceleration", "units": "m/s²"})
    shock = additional_evaluation(weighted(record, sample_rate=RATE, curve="Wk"), sample_rate=RATE)
    assert bool(shock["needed"])
    assert float(shock["crest_factor"]) > 9
    assert shock["mtvv_ratio"].attrs["mark"] == "from memory"
    steady = additional_evaluation(
        weighted(_record(20.0), sample_rate=RATE, curve="Wk"), sample_rate=RATE
    )
    assert not steady["needed"].any()


def test_kb_refuses() -> None:
    with pytest.raises(ValueError, match="known are"):
        kb.kb_running(_record(quantity="velocity"), sample_rate=RATE, band="1-315 Hz")
    with pytest.raises(RatingError, match="KB_F"):
        kb.kb_clock_maxima(_record(), sample_rate=RATE)
    with pytest.raises(ValueError, match="severity holds nothing along 'clock'"):
        kb.kb_clock_mean(xr.DataArray(np.zeros(0), dims="clock"))
    one = xr.DataArray([0.3], dims="stretch")
    with pytest.raises(ValueError, match="the night has none"):
        kb.kb_period_severity(one, exposure=60.0, period="night", rest=True)
    with pytest.raises(ValueError, match="9 h together; the night has 8 h"):
        kb.kb_period_severity(one, exposure=9 * 3600.0, period="night")
    with pytest.raises(ValueError, match="1000 intervals are occupied; the night has 960"):
        kb.kb_period_severity_rail(
            one.rename(stretch="train_type"), occupied=1000.0, period="night"
        )
    with pytest.raises(ValueError, match="120 trains"):
        kb.kb_hourly_severity(0.2, trains=130.0)
    with pytest.raises(ValueError, match="known are"):
        kb_and_peak.kb_from_peak(1e-3, frequency=10.0, kind="loud")


def test_small_clock_maxima_count_in_the_number_only() -> None:
    maxima = xr.DataArray([0.1, 0.3], dims="clock")
    assert float(kb.kb_clock_mean(maxima)) == pytest.approx(0.3 / np.sqrt(2))


def test_statistical_maximum_refuses() -> None:
    with pytest.raises(RatingError, match="14 passbys; 15 or more"):
        statistical_maximum(xr.DataArray(np.ones(14), dims="passby"))
    with pytest.raises(RatingError, match="levels"):
        statistical_maximum(xr.DataArray(np.ones(15), dims="passby", attrs={"units": "dB"}))
    with pytest.raises(ValueError, match="nan"):
        statistical_maximum(xr.DataArray([*np.ones(15), np.nan], dims="passby"))


def test_bands_refuse_statistics_that_do_not_carry_the_rating() -> None:
    with pytest.raises(RatingError, match="'max hold'"):
        vibration_bands.weighted_rms_of_bands(_level(time_weighting="max hold"), curve="Wm")
    with pytest.raises(RatingError, match="unlabelled"):
        vibration_bands.weighted_rms_of_bands(_level(time_weighting=""), curve="Wm")
    with pytest.raises(RatingError, match="give the duration"):
        vibration_bands.weighted_rms_of_bands(_level(), curve="Wm")
    with pytest.raises(RatingError, match="'leq'; a maximum needs"):
        vibration_bands.kb_of_bands(_level(time_weighting="leq"))
    with pytest.raises(RatingError, match="give the duration"):
        vibration_bands.kb_of_bands(_level())
    with pytest.raises(LevelError, match="of acceleration"):
        vibration_bands.kb_of_bands(
            _level(quantity="acceleration", reference="1 µm/s²", time_weighting="F max")
        )
    with pytest.raises(ValueError, match="known are"):
        vibration_bands.vdv_of_bands(_level(), curve="KB", duration=3.0)
    with pytest.raises(RatingError, match="F maxima hold the fluctuation"):
        vibration_bands.kb_of_bands(_level(time_weighting="F max"), fluctuation=2.0)
    gap = _level()
    gap[3] = np.nan
    with pytest.raises(ValueError, match="kb_of_bands: level is nan at frequency="):
        vibration_bands.kb_of_bands(gap, duration=3.0)


def test_missing_bands_are_named() -> None:
    with pytest.warns(ValidityWarning, match=r"bands below 16 Hz.*bands above 50 Hz"):
        found = vibration_bands.weighted_velocity_of_bands(_level(16, 50))
    assert found.attrs["lower_bound"].startswith("bands below 16 Hz are missing")
    assert "upper bound" in found.attrs["approximation"]
    whole = vibration_bands.weighted_velocity_of_bands(_level())
    assert whole.attrs["lower_bound"] == ""
    assert float(whole) > float(found)


def test_bands_broadcast_over_other_dims() -> None:
    level = _level() + xr.DataArray([0.0, 20.0], dims="option", coords={"option": ["a", "b"]})
    level.attrs = _level().attrs
    lasts = xr.DataArray([3.0, 6.0, 9.0], dims="passby")
    found = vibration_bands.vdv_of_bands(level, curve="Wm", duration=lasts, count=10)
    assert found.sizes == {"option": 2, "passby": 3}
    ratio = (found.sel(option="b") / found.sel(option="a")).values
    assert ratio == pytest.approx(10.0)
    kb_max = vibration_bands.kb_of_bands(level, duration=lasts)
    assert kb_max.sizes == {"option": 2, "passby": 3}


def test_curve_classes() -> None:
    quiet = vibration_curves.class_reached(_level(value=20.0))
    assert quiet["reached"].item() == "VC-G"
    loud = vibration_curves.class_reached(_level(value=150.0))
    assert loud["reached"].item() == "none"
    level = _level(value=20.0)
    level.loc[{"frequency": 25.0}] = 90.0  # 31.6 µm/s: between VC-A and VC-B
    found = vibration_curves.class_reached(level)
    assert found["reached"].item() == "VC-A"
    assert found["governing_band"].sel(curve="VC-B").item() == 25.0
    over = float(found["margin"].sel(curve="VC-B"))
    assert over == pytest.approx(20 * np.log10(25 / 31.6228), abs=1e-3)
    assert found.attrs["time_weighting"] == "S max"
    assert "below 4 Hz are missing" in vibration_curves.class_reached(_level(4)).attrs["note"]


def test_curves_refuse() -> None:
    with pytest.raises(ValueError, match="known are"):
        vibration_curves.curve("VC-Z")
    with pytest.raises(BandError, match="10 to 80 Hz; 8 to 80 Hz"):
        vibration_curves.class_reached(_level(10))
    with pytest.raises(BandError, match="no dim frequency"):
        vibration_curves.class_reached(_level().isel(frequency=0))
    gap = _level()
    gap[2] = np.nan
    with pytest.raises(ValueError, match="class_reached: level is nan at frequency="):
        vibration_curves.class_reached(gap)


@pytest.mark.parametrize(
    ("value", "index"), [(0.1, 0), (0.2, 1), (0.39, 1), (0.4, 2), (0.8, 3), (1.6, 4)]
)
def test_dose_words(value: float, index: int) -> None:
    found = vibration_limits.vdv_judgement(xr.DataArray([value]), period="day")
    assert found.values.tolist() == [vibration_limits.DOSE_WORDS[index]]
    office = vibration_limits.vdv_judgement(xr.DataArray([2 * value]), period="day", place="office")
    assert office.values.tolist() == found.values.tolist()


def test_dose_words_refuse() -> None:
    with pytest.raises(ValueError, match="day range only"):
        vibration_limits.vdv_judgement(xr.DataArray(0.3), period="night", place="office")
    with pytest.raises(ValueError, match="nan"):
        vibration_limits.vdv_judgement(xr.DataArray(np.nan), period="night")


def _judge(maximum: float, severity: float | None, **where: str) -> xr.Dataset:
    given = {"area": "residential", "period": "day"} | where
    second = None if severity is None else xr.DataArray(severity)
    return vibration_limits.din4150_2_judgement(xr.DataArray(maximum), severity=second, **given)


def test_procedure_for_people() -> None:
    """DIN 4150-2:1999, examples 1, 3, 4 and 6 of Annex C [seen second-hand], and rail rules."""
    assert bool(_judge(0.25, None, area="commercial")["met"])
    third = _judge(0.17, 0.17, area="mixed", period="night")
    assert not bool(third["met"])
    assert bool(third["within_uncertainty"])
    fourth = _judge(0.47, 0.154, area="commercial")
    assert bool(fourth["met"])
    assert fourth["decided_by"].item() == "A_r"
    assert not bool(_judge(0.47, 0.155, area="commercial")["met"])
    assert bool(_judge(0.23, 0.18, area="commercial")["met"])
    over = _judge(3.5, 0.01)
    assert not bool(over["met"])
    assert over["decided_by"].item() == "A_o"
    rail = _judge(3.5, 0.01, source="rail")
    assert bool(rail["met"])
    assert rail["decided_by"].item() == "A_r"
    assert "search_cause" not in rail
    night = _judge(0.65, 0.01, source="rail", period="night")
    assert bool(night["search_cause"])
    below = _judge(0.35, 0.01, source="underground rail", period="night")
    assert bool(below["search_cause"])
    apart = _judge(0.35, 0.01, source="underground rail", period="night", area="industrial")
    assert "search_cause" not in apart
    urban = {"source": "urban surface rail", "period": "night"}
    assert bool(_judge(0.9, 0.0754, **urban)["met"])
    assert not bool(_judge(0.9, 0.0755, **urban)["met"])
    with pytest.raises(ValueError, match="KB_FTr decides"):
        _judge(0.5, None)


def test_building_guide_refuses() -> None:
    with pytest.raises(ValueError, match="where the guide values begin"):
        building_guides.building_guide(xr.DataArray([0.5]), building="dwelling")
    with pytest.raises(ValueError, match="known are"):
        building_guides.building_guide(xr.DataArray([5.0]), building="castle")


def test_recalled_limits_say_so() -> None:
    for limit in vibration_limits.PUBLISHED_VIBRATION_LIMITS:
        assert limit.citation.mark == "from memory"
        assert limit.limit > 0


def test_events_refuse() -> None:
    record = _record(8.0)
    common: dict[str, Any] = {"sample_rate": RATE, "curves": "Wk"}
    with pytest.raises(RecordingError, match="event 1 reaches from 5 to 9 s"):
        event_ratings(record, events=[(0.0, 2.0), (5.0, 9.0)], **common)
    with pytest.raises(ValueError, match="shape"):
        event_ratings(record, events=[], **common)
    with pytest.raises(ValueError, match="'z' has no curve"):
        event_ratings(record, sample_rate=RATE, events=[(0.0, 2.0)], curves={"x": "Wd"})
    with pytest.raises(ValueError, match="known are"):
        event_ratings(record, sample_rate=RATE, events=[(0.0, 2.0)], curves="KB")
    still = record.copy(data=np.zeros(record.shape))
    with pytest.raises(RatingError, match="event 0 holds nothing"):
        event_ratings(still, events=[(0.0, 2.0)], **common)
    with pytest.raises(ValueError, match="no record"):
        record_ratings([], **common)
    with pytest.raises(RatingError, match="no events"):
        event_ratings(record, events=[(0.0, 2.0)], spectra=_level(), **common)


def test_events_with_spectra_get_a_class() -> None:
    spectra = _level(value=20.0).expand_dims(event=2, channel=["x", "z"])
    spectra.attrs = _level().attrs
    found = event_ratings(
        _record(8.0),
        sample_rate=RATE,
        events=[(0.0, 2.0), (3.0, 8.0)],
        curves="Wk",
        spectra=spectra,
    )
    assert found["vc_class"].dims == ("event", "channel")
    assert set(found["vc_class"].values.ravel()) == {"VC-G"}
    table = found.to_dataframe()
    assert len(table) == 4
    assert np.isfinite(table.select_dtypes("number").to_numpy()).all()


def test_weightings_refuse() -> None:
    with pytest.raises(ValueError, match="known are"):
        weighting.kb(bands.third_octaves(1, 80), band="2-80 Hz")
    with pytest.raises(ValueError, match="0 Hz or more"):
        weighting.response("Wk", -1.0)
    with pytest.raises(BandError, match="nominal"):
        weighting.wk(xr.DataArray([7.0], dims="frequency"))
    assert weighting.response("Wk", 0.0) == 0


def test_a_weighted_record_is_not_weighted_again():
    t = np.arange(4096) / 1024
    attrs = {"quantity": "acceleration", "units": "m/s²"}
    raw = xr.DataArray(np.sin(2 * np.pi * 50 * t), dims="time", attrs=attrs)
    once = weighted(raw, sample_rate=1024.0, curve="Wk")
    for again in (
        lambda: weighted(once, sample_rate=1024.0, curve="Wk"),
        lambda: integrate(once, sample_rate=1024.0, low_cut=1.0),
    ):
        with pytest.raises(RecordingError, match="is weighted by Wk"):
            again()
    with pytest.raises(RecordingError, match="units of the record are 'g'"):
        integrate(raw.assign_attrs(units="g"), sample_rate=1024.0, low_cut=1.0)
    both = raw.expand_dims(channel=["z"]).transpose("time", "channel")
    assert weighted(both, sample_rate=1024.0, curve="Wk").dims == ("time", "channel")
    assert running_mean_square(once, sample_rate=1024.0).attrs["frequency_weighting"] == "Wk"


def test_curves_that_begin_below_the_spectrum_are_not_proven():
    from_4 = vibration_curves.class_reached(_level(4)).attrs
    assert "VC-A" not in from_4["unproven"]
    assert "VC-C" in from_4["unproven"]
    from_8 = vibration_curves.class_reached(_level(8)).attrs
    assert {"VC-A", "VC-B", "VC-C"} <= set(from_8["unproven"])
    assert "VC-A" in from_8["note"]


def test_clock_maxima_refuse_what_is_no_number():
    severity = xr.DataArray([0.1, np.nan, 0.3], dims="time", attrs={"quantity": "KB"})
    with pytest.raises(ValueError, match="severity is nan at time=1"):
        kb.kb_clock_maxima(severity, sample_rate=2 / 30)
