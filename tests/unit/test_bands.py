"""Bands: labels, axes that are refused, and single frequencies inside a band."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st

from groundborne import bands, levels
from groundborne._checks import BandError
from groundborne.source import correct_for_background

ALL = bands.third_octaves(0.1, 20000)


def test_the_whole_series_runs_without_a_gap():
    n = bands.number(ALL).values
    assert np.array_equal(n, np.arange(-10, 44))
    assert np.array_equal(bands.require_labels(ALL, "all"), ALL.values)


def test_adjacent_bands_share_their_edge():
    low, high = bands.edges(ALL)
    # One rounding of a product of two powers of ten.
    np.testing.assert_allclose(high.values[:-1], low.values[1:], rtol=1e-14)
    assert (low < bands.exact(ALL)).all()
    assert (bands.exact(ALL) < high).all()


def test_a_label_is_within_half_a_percent_of_its_exact_centre():
    # ISO 266 rounds to about 0.7 % at most (3.15 and 8 against 3.162 and 7.943).
    np.testing.assert_allclose(bands.exact(ALL).values, ALL.values, rtol=0.0095)


def test_the_type_that_goes_in_comes_out():
    assert isinstance(bands.exact(63.0), float)
    assert isinstance(bands.exact(np.array([63.0])), np.ndarray)
    assert isinstance(bands.exact(bands.third_octaves(50, 63)), xr.DataArray)
    assert bands.octave(np.array([50.0, 63.0, 80.0])).tolist() == [63.0, 63.0, 63.0]


@given(st.floats(0.12, 19000.0))
def test_what_is_not_nominal_is_refused_with_the_nearest_label(frequency):
    nearest = ALL.values[np.argmin(np.abs(np.log(ALL.values / frequency)))]
    if abs(frequency - nearest) <= 1e-9 * nearest:
        return
    with pytest.raises(BandError, match=r"somewhere: .* is not a nominal .* the nearest is "):
        bands.require_labels([frequency], "somewhere")


@pytest.mark.parametrize("frequency", [0.0, -63.0, 1e-6, 1e6, 0.08, 25000.0])
def test_what_is_outside_the_series_is_refused(frequency):
    with pytest.raises(BandError, match=r"not a nominal one-third-octave label between 0\.1 and"):
        bands.exact(frequency)


@pytest.mark.parametrize("frequency", [np.nan, np.inf, -np.inf])
def test_what_is_not_finite_is_refused(frequency):
    with pytest.raises(ValueError, match="it must be finite"):
        bands.exact(frequency)


@pytest.mark.parametrize(
    ("labels", "sentence"),
    [
        ([], r"frequency is \[\]; frequencies are wanted"),
        ([50, 80], "after 50 Hz comes 80 Hz; 63 Hz is missing"),
        ([50, 100], "after 50 Hz comes 100 Hz; 63 Hz is missing"),
        ([50, 63, 63, 80], "the band 63 Hz is given twice; keep one"),
        ([50, 63, 50], "the band 50 Hz is given twice; keep one"),
        ([80, 63, 50], "after 80 Hz comes 63 Hz; bands must ascend"),
        ([50, 62], "62 Hz is not a nominal .* the nearest is 63 Hz"),
    ],
)
def test_axes_that_are_no_run_of_bands(labels, sentence):
    with pytest.raises(BandError, match=f"levels.csv: {sentence}"):
        bands.require_labels(labels, "levels.csv")


def test_limits_in_the_wrong_order():
    with pytest.raises(BandError, match="low is 80 Hz and high is 63 Hz; low must come first"):
        bands.third_octaves(80, 63)


def test_select_refuses_what_is_not_there():
    spectrum = bands.third_octaves(25, 250)
    assert bands.select(spectrum, 50, 63).values.tolist() == [50.0, 63.0]
    with pytest.raises(BandError, match=r"20 Hz is asked for and not there; .* 25 to 250 Hz"):
        bands.select(spectrum, 20, 63)


def test_two_axes_are_never_joined():
    a, b = bands.third_octaves(25, 250), bands.third_octaves(31.5, 250)
    level = levels.stamp(a, quantity="velocity", reference="1 nm/s", long_name="level")
    quiet = levels.stamp(b - 60.0, quantity="velocity", reference="1 nm/s", long_name="level")
    with pytest.raises(
        BandError,
        match=r"labels of 'frequency' differ: level has 25, .*, 250; background has 31.5, .*, 250; "
        r"in one of them only: 25. .* by bands.select",
    ):
        correct_for_background(level.expand_dims(passby=["p"]), quiet)


@pytest.mark.parametrize("loss_factor", [1.0, 0.3, 0.1, 0.01, 0.001])
def test_lines_lie_inside_their_band_evenly(loss_factor):
    f = bands.single_frequencies(bands.third_octaves(4, 250), loss_factor=loss_factor)
    low, high = bands.edges(bands.third_octaves(4, 250))
    assert (f > low).all()
    assert (f < high).all()
    step = f.diff("single_frequency")
    np.testing.assert_allclose(
        step.std("single_frequency") / step.mean("single_frequency"), 0.0, atol=1e-9
    )
    # Three or more in the half-power bandwidth at the lower edge, where it is narrowest.
    if f.sizes["single_frequency"] > 16:
        assert (
            step.isel(single_frequency=0) * 3 <= 1.05 * loss_factor * bands.exact(f["frequency"])
        ).all()


@pytest.mark.parametrize("loss_factor", [0.0, 1e-5, -0.1])
def test_a_resonance_without_damping_has_no_band_average(loss_factor):
    with pytest.raises(ValueError, match=r"smallest loss factor is .* must be at least 0\.0002"):
        bands.single_frequencies(bands.third_octaves(50, 63), loss_factor=loss_factor)
    with pytest.raises(ValueError, match="loss_factor is nan"):
        bands.single_frequencies(bands.third_octaves(50, 63), loss_factor=float("nan"))
