"""NR and NC on octaves, the octave that decides, speech interference, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st
from hypothesis.extra.numpy import arrays

from groundborne import bands, levels, rating
from groundborne._checks import BandError, LevelError, RatingError
from groundborne.citation import ValidityWarning

OCTAVES = list(rating.NC_OCTAVES)


def spectrum(values, labels) -> xr.DataArray:
    level = xr.DataArray(np.asarray(values, float), coords={"frequency": list(labels)})
    return levels.stamp(level, quantity="sound pressure", reference="20 µPa", long_name="level")


def nr(values, labels=OCTAVES[1:]):
    return rating.noise_rating_of_octaves(spectrum(values, labels))


@given(values=arrays(float, 27, elements=st.floats(0.0, 90.0)))
def test_octaves_of_thirds_rate_as_the_thirds_do(values) -> None:
    """25 to 10000 Hz: nine full octaves."""
    thirds = spectrum(values, bands.third_octaves(25, 10000)["frequency"].values)
    found = rating.noise_rating_of_octaves(rating.octave_spectrum(thirds))
    assert float(found["rating"]) == pytest.approx(float(rating.noise_rating(thirds)), abs=1e-9)
    assert found.attrs["lower_bound"] == ""


@given(number=st.floats(0.0, 90.0), octave=st.sampled_from(OCTAVES[1:]), up=st.floats(0.1, 20.0))
def test_a_curve_rates_as_itself_and_a_raised_octave_decides(number, octave, up) -> None:
    curve = rating.nr_curve(number)
    assert float(nr(curve.values)["rating"]) == pytest.approx(number)
    raised = curve + xr.where(curve["frequency"] == octave, up, 0.0)
    found = nr(raised.values)
    assert found["governing_octave"].item() == octave
    slope = float(rating.nr_curve(1.0).sel(frequency=octave)) - float(
        rating.nr_curve(0.0).sel(frequency=octave)
    )
    assert float(found["rating"]) == pytest.approx(number + up / slope)


def test_rooms_are_kept() -> None:
    level = spectrum(np.arange(9.0), OCTAVES[1:]) + xr.DataArray(
        [30.0, 50.0], coords={"room": ["hall", "office"]}
    )
    level.attrs = spectrum([0.0], [63.0]).attrs
    found = rating.noise_rating_of_octaves(level)
    assert found["rating"].dims == ("room",)
    assert found["governing_octave"].dims == ("room",)
    assert rating.speech_interference_level(level).dims == ("room",)
    assert rating.noise_criterion(level)["rating"].dims == ("room",)


def test_an_end_of_the_spectrum_that_decides_is_a_lower_bound() -> None:
    """63 to 250 Hz: 31.5 and 500 Hz are missing beside the octave that decides."""
    with pytest.warns(ValidityWarning, match="octaves below 63 Hz are missing; there the"):
        low = nr([70.0, 30.0, 20.0], [63.0, 125.0, 250.0])
    assert "safely fallen nothing below what governs" in low.attrs["lower_bound"]
    with pytest.warns(ValidityWarning, match="octaves above 250 Hz are missing; there"):
        nr([30.0, 30.0, 60.0], [63.0, 125.0, 250.0])
    assert nr([30.0, 60.0, 20.0], [63.0, 125.0, 250.0]).attrs["lower_bound"] == ""


def test_an_octave_that_lacks_a_third_is_a_lower_bound() -> None:
    thirds = spectrum([50.0, 60.0, 50.0, 45.0], [50.0, 63.0, 80.0, 100.0])
    octaves = rating.octave_spectrum(thirds)
    assert octaves.attrs["lower_bound"] == "the 125 Hz octave holds 1 of 3 thirds"
    with pytest.warns(ValidityWarning, match="the 125 Hz octave holds 1 of 3"):
        rating.noise_rating_of_octaves(octaves)


@pytest.mark.parametrize(
    "call",
    [rating.noise_rating_of_octaves, rating.noise_criterion, rating.speech_interference_level],
)
def test_what_is_no_octave_spectrum_is_refused(call) -> None:
    with pytest.raises(ValueError, match="a DataArray is needed"):
        call([50.0, 50.0])
    with pytest.raises(LevelError, match="not labelled"):
        call(xr.DataArray([50.0], coords={"frequency": [63.0]}))
    with pytest.raises(BandError, match="50 Hz is no octave band; thirds go to octave_spectrum"):
        call(spectrum([50.0, 50.0, 50.0], [50.0, 63.0, 80.0]))
    with pytest.raises(BandError, match="after the octave of 63 Hz comes 250 Hz"):
        call(spectrum([50.0, 50.0], [63.0, 250.0]))
    with pytest.raises(BandError, match="after the octave of 125 Hz comes 63 Hz"):
        call(spectrum([50.0, 50.0], [125.0, 63.0]))
    with pytest.raises(BandError, match="no labelled dim"):
        call(spectrum([50.0], [63.0]).isel(frequency=0))
    with pytest.raises(BandError, match="not a nominal"):
        call(spectrum([50.0], [60.0]))
    with pytest.raises(ValueError, match="must be finite"):
        call(spectrum([50.0, np.nan], [63.0, 125.0]))


def test_thirds_that_are_not_finite_make_no_octaves() -> None:
    with pytest.raises(ValueError, match="must be finite"):
        rating.octave_spectrum(spectrum([50.0, np.nan, 50.0], [50.0, 63.0, 80.0]))


def test_ratings_outside_their_octaves_are_refused() -> None:
    with pytest.raises(RatingError, match=r"no octave from 31\.5 to 8000 Hz"):
        nr([50.0, 50.0], [8.0, 16.0])
    with pytest.raises(RatingError, match="no octave from 16 to 8000 Hz"):
        rating.noise_criterion(spectrum([50.0], [8.0]))
    with pytest.raises(RatingError, match="the octave of 4000 Hz is missing"):
        rating.speech_interference_level(spectrum([50.0] * 3, [500.0, 1000.0, 2000.0]))


@given(number=st.floats(15.0, 70.0))
def test_an_nc_curve_rates_as_itself(number) -> None:
    """By tangency, in the octaves from 63 to 250 Hz, with 31.5 and 500 Hz just below."""
    part = rating.nc_curve(number).sel(frequency=OCTAVES[1:6]) - [0.5, 0, 0, 0, 0.5]
    with pytest.warns(ValidityWarning, match=r"octaves above 500 Hz are missing; there .* 0\.[45]"):
        found = rating.noise_criterion(spectrum(part.values, OCTAVES[1:6]))
    assert float(found["rating"]) == pytest.approx(number, abs=1e-9)
    assert found["method"].item() == "tangency"
    assert "sil" not in found


def test_speech_chooses_the_curve_where_no_octave_exceeds_it() -> None:
    """35.5 dB from 500 to 4000 Hz; the low octaves far below."""
    quiet = [40.0, 40.0, 40.0, 40.0, 36.0, 40.0, 36.0, 34.0, 32.0, 25.0]
    found = rating.noise_criterion(spectrum(quiet, OCTAVES))
    assert float(found["sil"]) == pytest.approx(35.5)
    assert found["method"].item() == "SIL"
    assert float(found["rating"]) == pytest.approx(35.5)
    hum = list(quiet)
    hum[2] = 75.0
    over = rating.noise_criterion(spectrum(hum, OCTAVES))
    assert over["method"].item() == "tangency"
    assert over["governing_octave"].item() == 63.0
    # 75 dB lies between the printed 74 of NC 55 and 77 of NC 60.
    assert float(over["rating"]) == pytest.approx(55 + 5 / 3)


def test_a_general_library_agrees() -> None:
    """NC 40 at 250 Hz and SIL 35.5: printed example sheet of a general acoustics library."""
    values = [79.0, 69.0, 59.0, 51.0, 50.0, 39.0, 36.0, 34.0, 33.0, 32.0]
    found = rating.noise_criterion(spectrum(values, OCTAVES))
    assert float(found["rating"]) == pytest.approx(40.0)
    assert found["governing_octave"].item() == 250.0
    assert found["method"].item() == "tangency"
    assert float(found["sil"]) == pytest.approx(35.5)


def test_the_ends_of_the_nc_family() -> None:
    below = rating.noise_criterion(spectrum([20.0, 20.0, 1.0], OCTAVES[2:5]))
    assert bool(below["below_table"])
    assert float(below["rating"]) == 15.0
    assert below["governing_octave"].item() == 125.0
    touching = spectrum([40.0, 47.0, 30.0], OCTAVES[1:4])
    with pytest.warns(ValidityWarning, match="octaves above 125 Hz are missing, and trains are"):
        assert not bool(rating.noise_criterion(touching)["below_table"])
    with pytest.raises(RatingError, match=r"63 Hz lies up to 1\.5 dB above the curve of NC 70"):
        rating.noise_criterion(spectrum([60.0, 85.5], OCTAVES[1:3]))
    for outside in (14.9, 70.1, float("nan")):
        with pytest.raises(ValueError, match="nc_curve: number"):
            rating.nc_curve(outside)
    with pytest.raises(ValueError, match="without named dimensions"):
        rating.nc_curve(np.array([20.0, 30.0]))


def test_nc_curves_rise_with_their_number() -> None:
    curves = rating.nc_curve(xr.DataArray(np.linspace(15, 70, 56), dims="number"))
    assert (curves.diff("number") >= 0).all()
    assert (curves.sel(frequency=OCTAVES[1:]).diff("number") > 0).all()
