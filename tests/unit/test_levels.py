"""Levels: references, labels, energy sums, and numbers that are not numbers."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, strategies as st
from hypothesis.extra.numpy import arrays

from groundborne import levels
from groundborne._checks import ArgumentError, LevelError

DB = st.floats(-50.0, 150.0)
SPECTRA = arrays(float, st.integers(1, 8), elements=DB)
EVERY_REFERENCE = [(q, r) for q, rs in levels.REFERENCES.items() for r in rs]


def _velocity(values, reference="1 nm/s"):
    return levels.stamp(
        xr.DataArray(values, dims="passby"),
        quantity="velocity",
        reference=reference,
        long_name="level",
    )


@given(SPECTRA)
def test_an_energy_sum_is_no_less_than_the_largest(values):
    level = xr.DataArray(values, dims="passby")
    total = float(levels.energy_sum(level, "passby"))
    assert total >= values.max() - 1e-9
    assert total <= values.max() + 10 * np.log10(values.size) + 1e-9


@given(SPECTRA)
def test_an_energy_mean_lies_between_arithmetic_mean_and_largest(values):
    mean = float(levels.energy_mean(xr.DataArray(values, dims="passby"), "passby"))
    assert values.mean() - 1e-9 <= mean <= values.max() + 1e-9


@given(SPECTRA, st.floats(-40.0, 40.0))
def test_a_shift_passes_through_sum_and_mean(values, shift):
    level = xr.DataArray(values, dims="passby")
    for reduce in (levels.energy_sum, levels.energy_mean):
        shifted = reduce(level + shift, "passby") - reduce(level, "passby")
        # Levels of up to 190 dB carry about 14 digits of their energy.
        np.testing.assert_allclose(shifted, shift, atol=1e-9)


@given(DB)
def test_energy_and_decibel_undo_each_other(value):
    back = levels.decibel(levels.energy(xr.DataArray(value)))
    np.testing.assert_allclose(back, value, atol=1e-9)


@pytest.mark.parametrize("reference", levels.REFERENCES["velocity"])
def test_to_another_reference_and_back(reference):
    level = _velocity([72.0, 61.5])
    back = levels.convert(levels.convert(level, reference=reference), reference="1 nm/s")
    np.testing.assert_allclose(back, level, atol=1e-12)
    assert back.attrs == level.attrs


@pytest.mark.parametrize(("quantity", "reference"), EVERY_REFERENCE)
def test_the_reference_itself_is_0_db(quantity, reference):
    _, value = levels.reference_value(quantity, reference)
    assert levels.from_rms(value, quantity=quantity, reference=reference) == 0.0


def test_a_value_keeps_its_size_on_every_reference():
    # 0.1 mm/s: 100 dB re 1 nm/s; the difference of two references is 20 lg of their ratio.
    on = {
        r: float(levels.from_rms(1e-4, quantity="velocity", reference=r))
        for r in levels.REFERENCES["velocity"]
    }
    assert on["1 nm/s"] == pytest.approx(100.0, abs=1e-9)
    assert on["1 nm/s"] - on["10 nm/s"] == pytest.approx(20.0, abs=1e-9)
    assert on["1 nm/s"] - on["50 nm/s"] == pytest.approx(33.979, abs=1e-3)
    assert on["1 nm/s"] - on["1 µin/s"] == pytest.approx(28.097, abs=1e-3)


@pytest.mark.parametrize(
    ("value", "words"),
    [(0.0, "above 0 in SI"), (-1e-6, "above 0 in SI"), (np.nan, "finite"), (np.inf, "finite")],
)
def test_only_a_value_above_zero_has_a_level(value, words):
    with pytest.raises(ValueError, match=rf"from_rms: value is .*it must be {words}"):
        levels.from_rms(value, quantity="velocity", reference="1 nm/s")


@pytest.mark.parametrize(
    ("quantity", "reference", "sentence"),
    [
        ("velocity", "1 mm/s", "reference for velocity is '1 mm/s'; known are '1 nm/s'"),
        ("velocity", "20 µPa", "reference for velocity is '20 µPa'; known are '1 nm/s'"),
        ("velocity", "1 µm/s²", "reference for velocity is"),
        ("sound pressure", "1 nm/s", "reference for sound pressure is '1 nm/s'; known are '20"),
        ("speed", "1 nm/s", "quantity is 'speed'; known are 'velocity'"),
    ],
)
def test_references_that_are_unknown_or_of_another_quantity(quantity, reference, sentence):
    with pytest.raises(LevelError, match=sentence):
        levels.reference_value(quantity, reference)


def test_a_reference_is_a_word():
    with pytest.raises(ValueError, match="reference is 1e-09; a word is needed"):
        levels.reference_value("velocity", 1e-9)


@pytest.mark.parametrize(
    ("quantity", "typed", "spelled"),
    [
        ("sound pressure", "20 uPa", "20 µPa"),
        ("velocity", "1e-9 m/s", "1 nm/s"),
        ("acceleration", "1 um/s2", "1 µm/s²"),
        # A keyboard's Greek mu looks like the micro sign and is another character.
        ("sound pressure", "20 \u03bcPa", "20 µPa"),
        ("acceleration", "1 \u03bcm/s²", "1 µm/s²"),
        ("velocity", "1 \u03bcin/s", "1 µin/s"),
    ],
)
def test_spellings(quantity, typed, spelled):
    assert levels.reference_value(quantity, typed)[0] == spelled


@pytest.mark.parametrize(
    ("level", "sentence"),
    [
        (xr.DataArray([60.0]), "the level is not labelled .*label it with levels.stamp"),
        (xr.DataArray([60.0], attrs={"units": "dB"}), "the level is not labelled"),
        (
            xr.DataArray([60.0], attrs={"units": "m/s", "quantity": "velocity", "reference": "1"}),
            "the level is not labelled",
        ),
        (
            xr.DataArray([6.0], attrs={"units": "dB", "quantity": "force", "reference": "1 N"}),
            "the level is not labelled",
        ),
        (
            xr.DataArray(
                [6.0], attrs={"units": "dB", "quantity": "velocity", "reference": "1 mm/s"}
            ),
            "reference for velocity is '1 mm/s'",
        ),
    ],
)
def test_what_is_not_a_labelled_level(level, sentence):
    with pytest.raises(LevelError, match=sentence):
        levels.require(level, where="here")


def test_a_level_is_an_array_with_names():
    with pytest.raises(ArgumentError, match=r"require: level is 60\.0; a DataArray is needed"):
        levels.require(60.0, where="here")
    with pytest.raises(ArgumentError, match="require: level is a bare ndarray of 1 without named"):
        levels.require(np.array([60.0]), where="here")


def test_another_quantity_is_refused():
    with pytest.raises(LevelError, match="here: the level is of velocity; sound pressure is need"):
        levels.require(_velocity([60.0]), where="here", quantity="sound pressure")
    with pytest.raises(LevelError, match="the level is of velocity; acceleration is needed"):
        levels.velocity_from_acceleration(_velocity([60.0]))
    with pytest.raises(LevelError, match="reference for velocity is '20 µPa'"):
        levels.convert(_velocity([60.0]), reference="20 µPa")


def test_an_unknown_time_weighting_is_refused():
    with pytest.raises(LevelError, match="time_weighting is 'slow'; known are 'S max'"):
        levels.stamp(
            xr.DataArray([1.0]),
            quantity="velocity",
            reference="1 nm/s",
            long_name="level",
            time_weighting="slow",
        )


def test_an_unknown_dim_is_refused():
    with pytest.raises(ValueError, match=r"dim is 'pasby'; known are 'passby'. Did you mean"):
        levels.energy_sum(_velocity([60.0]), "pasby")
    with pytest.raises(ValueError, match="dim is 'room'"):
        levels.energy_mean(_velocity([60.0]), "room")


def test_energies_no_longer_claim_to_be_decibels():
    assert levels.energy(_velocity([60.0])).attrs == {}
    assert levels.energy_mean(_velocity([60.0]), "passby").attrs["units"] == "dB"


def test_stamping_leaves_the_array_alone():
    plain = xr.DataArray([60.0], attrs={"units": "old"})
    levels.stamp(plain, quantity="velocity", reference="1 nm/s", long_name="level")
    assert plain.attrs == {"units": "old"}


@pytest.mark.parametrize("reduce", [levels.energy_sum, levels.energy_mean])
def test_a_missing_value_is_never_left_out_of_a_sum(reduce):
    level = xr.DataArray([60.0, np.nan], dims="passby")
    try:
        total = reduce(level, "passby")
    except ValueError:
        return
    assert np.isnan(total), f"the sum of 60 dB and nothing known is given as {float(total):g} dB"


@pytest.mark.parametrize(("quantity", "reference"), EVERY_REFERENCE)
@given(values=arrays(float, st.integers(1, 6), elements=st.floats(1e-12, 1e3)))
def test_to_rms_is_the_inverse_of_from_rms(quantity, reference, values):
    level = levels.from_rms(
        xr.DataArray(values, dims="passby"), quantity=quantity, reference=reference
    )
    labelled = levels.stamp(level, quantity=quantity, reference=reference, long_name="level")
    back = levels.to_rms(labelled)
    assert back.values == pytest.approx(values, rel=1e-12)
    assert back.attrs["units"] == {"velocity": "m/s", "acceleration": "m/s²"}.get(quantity, "Pa")
    assert "reference" not in back.attrs
    # The reference does not matter to the value.
    first = next(iter(levels.REFERENCES[quantity]))
    assert levels.to_rms(levels.convert(labelled, reference=first)).values == pytest.approx(
        values, rel=1e-12
    )


def test_to_rms_refuses_what_is_no_level_or_not_finite():
    with pytest.raises(LevelError, match="not labelled"):
        levels.to_rms(xr.DataArray([60.0], dims="passby"))
    with pytest.raises(ValueError, match="a DataArray is needed"):
        levels.to_rms(60.0)
    for bad in (np.nan, np.inf):
        with pytest.raises(ValueError, match="it must be finite"):
            levels.to_rms(_velocity([60.0, bad]))


@pytest.mark.parametrize("citations", [pd.Series([1.0]), xr.DataArray(1.0), xr.DataArray([1.0])])
def test_a_table_of_numbers_is_no_list_of_citations(citations):
    with pytest.raises(ValueError, match="an iterable of which each is a Citation is needed"):
        levels.stamp_change(
            xr.DataArray([1.0], dims="frequency"), long_name="x", citations=citations
        )
