"""Mounts in service in study files: keys, the worse of two states, and what is said of it."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne.isolation import InService, LinearMount
from groundborne.report import assessment_table
from groundborne.study import notes_of, sentence

RUBBER = "base = { natural_frequency_hz = 9.0, loss_factor = 0.10, dynamic_to_static = 1.5 }"
TESTED = "hardness_irhd = 60, test_strain = 0.01, temperature_c = 15, years = 50"
NAMES = ("no isolation", "rubber 9 Hz")


def served(keys: str) -> tuple[str, str]:
    return RUBBER, RUBBER.replace(" }", f", service = {{ {keys} }} }}")


def reduced(file) -> gb.Study:
    study = gb.read_study(file)
    return study.with_options([o for o in study.options if o.name in NAMES])


def evaluated(study: gb.Study) -> xr.Dataset:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return study.evaluate(band_levels=False)


@pytest.mark.parametrize(
    ("keys", "factors"),
    [
        (TESTED, {"amplitude": 1.3, "temperature": 1 + 0.15 * 8 / 23, "age": [1.0, 1.15]}),
        ("amplitude_factor = 1.15, temperature_factor = 1.05, age_factor = 1.15",
         {"amplitude": 1.15, "temperature": 1.05, "age": [1.0, 1.15]}),
        ("tolerance_factor = 0.85, reference_frequency_hz = 9",
         {"tolerance": 0.85, "reference_frequency": 9.0}),
        ("temperature_c = 0, test_temperature_c = 23", {"temperature": 1.15}),
        ("years = 30", {"age": [1.0, 1.09]}),
    ],
)  # fmt: skip
def test_keys_are_factors(spoiled, keys, factors) -> None:
    study = reduced(spoiled("study.toml", served(keys)))
    mount = study.options[1].base
    assert isinstance(mount, InService)
    assert isinstance(mount.mount, LinearMount)
    assert mount.mount.stiffness.values == pytest.approx(
        np.asarray(study.plane.mass) * (2 * np.pi * 9.0) ** 2, rel=1e-9
    )  # tuned as tested
    for name in ("amplitude", "temperature", "age", "tolerance", "reference_frequency"):
        found = getattr(mount, name)
        wanted = factors.get(name, None if name == "reference_frequency" else 1.0)
        if wanted is None:
            assert found is None
        else:
            np.testing.assert_allclose(found, wanted, rtol=1e-9)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("", "nothing says how stiff"),
        ("hardness_irhd = 60", "'hardness_irhd' is given without 'test_strain'"),
        ("amplitude_factor = 1.2, test_strain = 0.01", "both say how much stiffer"),
        ("age_factor = 1.2, years = 50", "both say how much stiffer"),
        ("test_temperature_c = 20", "'test_temperature_c' is given without 'temperature_c'"),
        ("years = 80", "years"),
        ("temperature_c = -20", "temperature_c"),
        ("amplitude_factor = 4", "amplitude_factor"),
        ("reference_frequency_hz = 9", "nothing says how stiff"),
    ],
)
def test_keys_that_are_refused(spoiled, keys, said) -> None:
    with pytest.raises(ValueError, match=said):
        gb.read_study(spoiled("study.toml", served(keys)))


def test_ratings_are_of_the_worse_state(spoiled, tmp_path) -> None:
    study = reduced(spoiled("study.toml", served(TESTED)))
    result = evaluated(study)
    mount = study.options[1].base
    each = {}
    for state in ("as new", "end of life"):
        alone = replace(study.options[1], base=mount.at(state))
        each[state] = evaluated(study.with_options([study.options[0], alone]))
        both = result["rating_by_state"].sel(state=state)
        np.testing.assert_allclose(
            both.transpose("option", "room", "criterion"),
            each[state]["rating"].transpose("option", "room", "criterion"),
            atol=1e-9,
        )
        np.testing.assert_allclose(
            result["base_change_by_state"].sel(state=state, option=NAMES[1]),
            each[state]["base_change"].sel(option=NAMES[1]),
            atol=1e-9,
        )
    new, old = (each[s] for s in ("as new", "end of life"))
    worse = np.maximum(new["rating"].values, old["rating"].values)
    np.testing.assert_allclose(result["rating"].values, worse, atol=1e-9)
    assert float(abs(new["rating"] - old["rating"]).max()) > 0.5
    margin = np.minimum(new["margin"].values, old["margin"].values)
    np.testing.assert_allclose(result["margin"].values, margin, atol=1e-9)
    for name in ("answer", "governing_band", "may_add"):
        shown = xr.where(new["rating"] >= old["rating"], new[name], old[name])
        wanted = shown.transpose(*result[name].dims).values
        found = result[name].values
        if name == "answer":
            assert found.tolist() == wanted.tolist()
        else:
            np.testing.assert_allclose(found, wanted, atol=1e-9)
    states = result["worse_state"].sel(option=NAMES[1])
    aged = (old["rating"] > new["rating"]).sel(option=NAMES[1])
    wanted = np.where(aged.transpose(*states.dims), "end of life", "as new")
    assert states.values.tolist() == wanted.tolist()
    assert set(result["worse_state"].sel(option=NAMES[0]).values.ravel()) == {""}

    # Levels are of one state, that of the smallest margin.
    least = {s: float(e["margin"].sel(option=NAMES[1]).min()) for s, e in each.items()}
    state = min(least, key=least.__getitem__)
    assert result["state_of_levels"].sel(option=NAMES[1]).item() == state
    for name in ("level_change", "sound_level", "base_change", "mount_frequency", "nr"):
        assert "state" not in result[name].dims
        wanted = each[state][name].transpose(*result[name].dims).values
        np.testing.assert_allclose(result[name].values, wanted, atol=1e-9)

    # What is said of it.
    (note,) = [n for n in notes_of(result) if n.kind == "mounts in service"]
    lost = (old["base_change"] - new["base_change"]).sel(option=NAMES[1])
    assert note.consequence_db == pytest.approx(float(lost.max()), abs=1e-9)
    said = sentence(note)
    assert f"Ageing costs most at {note.values['band']:g} Hz" in said
    shown = {"as new": "as new", "end of life": "at the end of life"}[state]
    assert f"Levels are shown {shown}." in said
    rows = assessment_table(result)
    rows = rows[rows["option"] == NAMES[1]]
    assert set(rows["mounts"]) <= {"as new", "end of life"}

    # Files and reports take it.
    gb.save_result(result, tmp_path / "r.nc")
    back = gb.read_result(tmp_path / "r.nc")
    xr.testing.assert_equal(back["margin_by_state"], result["margin_by_state"])
    gb.report.write_report(study, result, tmp_path / "out")
    text = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "times as stiff in service as described" in text


def test_stiffness_that_is_taken_as_tested_is_said(music_school) -> None:
    notes = notes_of(music_school.result)
    as_tested = [n for n in notes if n.kind == "stiffness as tested"]
    assert {n.option for n in as_tested} == {"rubber 9 Hz", "rubber 9 Hz, boxed hall"}
    # 1.15 · 1.05 · 1.15 = 1.39: a frequency 1.18 times as high, 2.9 dB far above it.
    assert "1.39 times as stiff" in sentence(as_tested[0])
    assert "by 1.18 and costs 2.9 dB" in sentence(as_tested[0])
    assert not [n for n in notes if n.kind == "mounts in service"]
    assert "worse_state" not in music_school.result
    assert "state" not in music_school.result.dims


def test_factors_without_age_leave_one_state(spoiled) -> None:
    study = reduced(spoiled("study.toml", served("amplitude_factor = 1.3")))
    result = evaluated(study)
    assert "state" not in result.dims
    (note,) = [n for n in notes_of(result) if n.kind == "mounts in service"]
    assert "no age is given" in sentence(note)
    stiffer = study.mount(natural_frequency=9.0 * 1.3**0.5, loss_factor=0.1)
    other = evaluated(study.with_options([study.options[0], gb.Option(name="x", base=stiffer)]))
    alone = "base_change_without_bypass"
    np.testing.assert_allclose(
        result[alone].sel(option=NAMES[1]), other[alone].sel(option="x"), atol=1e-6
    )


def test_loss_that_coils_do_not_have_is_said(spoiled) -> None:
    old = "loss_factor = 0.02, own_mass_kg_per_mn = 220"
    file = spoiled("study.toml", (old, old.replace("0.02", "0.1")))
    study = gb.read_study(file)
    chosen = [o for o in study.options if o.name in ("no isolation", "springs 4.5 Hz")]
    notes = notes_of(evaluated(study.with_options(chosen)))
    (note,) = [n for n in notes if n.kind == "loss of coils"]
    assert "loss factor 0.1 is more than coils have by themselves" in sentence(note)


def test_factors_are_sampled(spoiled) -> None:
    """With two states and samples at once, each is the study with that number."""
    years = xr.DataArray([10.0, 50.0], dims="sample")
    file = spoiled("study.toml", served("amplitude_factor = 1.2, years = 20"))
    address = "options.rubber 9 Hz.base.service.years"
    study = gb.read_study(file, changes={address: years})
    result = evaluated(study.with_options([o for o in study.options if o.name in NAMES]))
    assert set(result["rating_by_state"].dims) == {
        "option", "room", "criterion", "state", "sample",
    }  # fmt: skip
    for at, value in enumerate(years.values.tolist()):
        one = gb.read_study(file, changes={address: value})
        one = evaluated(one.with_options([o for o in one.options if o.name in NAMES]))
        both = result["rating_by_state"].isel(sample=at)
        np.testing.assert_allclose(
            both.transpose(*one["rating_by_state"].dims), one["rating_by_state"], atol=1e-6
        )
        np.testing.assert_allclose(
            result["rating"].isel(sample=at).transpose(*one["rating"].dims), one["rating"],
            atol=1e-6,
        )  # fmt: skip
    from groundborne.study.samples import median_case

    assert "margin_low" in median_case(result)


def test_a_law_of_frequency_holds_at_the_natural_frequency() -> None:
    from groundborne.study.masses import natural_frequency

    pad = LinearMount.tuned(natural_frequency=9.0, mass=1e5, loss_factor=0.2)
    exponent = 2 / np.pi * np.arctan(0.2)
    for reference in (9.0, 4.0, 40.0):
        mount = InService(pad, amplitude=1.3, reference_frequency=reference)
        # f² = 1.3 · 81 (f/f1)^α
        wanted = (1.3 * 81.0 / reference**exponent) ** (1 / (2 - exponent))
        assert float(natural_frequency(mount, 1e5)) == pytest.approx(wanted, rel=1e-6)
