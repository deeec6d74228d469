"""Equipment, its mounts and its limits in study files: as in a script, in tables and the report."""

from __future__ import annotations

import html
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

import groundborne as gb
from groundborne import report
from groundborne.isolation import Dashpot, InParallel, LinearMount
from groundborne.rating import PERIOD_RMS, LimitCurve
from groundborne.receiver import Equipment
from groundborne.report import assessment_text, equipment_table, write_report
from groundborne.structure import SpringFoundation
from groundborne.study import notes_of, sentence
from quiet_studies import errors_of, evaluated

TOWER = Path(__file__).parents[2] / "data" / "tower"
BANDS = [4, 5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80]
LIMITS = [40, 35, 31, 28, 25, 22, 20, 18, 15, 14, 12, 11, 10, 8]
ALL = [5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250]
CURVE = f"""
[curves.balance]
frequency_hz = {BANDS}
limit_um_s = {LIMITS}
source = "its maker, invented"
"""
CRITERIA = """
[[criteria.laboratory]]
metric = "curve"
curve = "balance"
statistic = "maximum"
time_weighting = "S max"
source = "the brief, invented"

[[criteria.laboratory]]
metric = "curve"
curve = "balance"
statistic = "period rms"
period = "day"
time_weighting = "S max"

[[criteria.bench]]
metric = "VC"
curve = "VC-A"
statistic = "maximum"
time_weighting = "S max"
"""
EQUIPMENT = f"""
[[equipment]]
name = "balance"
room = "B02"
mass_kg = 300
criteria = "laboratory"

[[equipment]]
name = "microscope"
room = "L03"
mass_kg = 900
criteria_by_axis = {{ x = "bench", z = "laboratory" }}
rigid_up_to_hz = 63
floor = {{ model = "mass on a spring", natural_frequency_hz = 9, mass_kg = 6000, \
loss_factor = 0.06 }}
horizontal = {{ x_db = -8 }}

[equipment.background]
frequency_hz = {ALL}
level_db_re_1_nm_s = {[50 + i / 2 for i in range(18)]}

[[equipment]]
name = "camera"
room = "L03"
mass_kg = 60
criteria = "bench"
floor = {{ model = "does not give way" }}
mounts = {{ natural_frequency_hz = 6, loss_factor = 0.1, x = {{ natural_frequency_hz = 4, \
loss_factor = 0.2 }} }}

[equipment.horizontal]
frequency_hz = {ALL}
x_db = {[-10 + i / 2 for i in range(18)]}
"""
OPTION = """
[[options]]
name = "tables on mounts"

[[options.equipment]]
name = "balance"
natural_frequency_hz = 6.5
loss_factor = 0.2
dynamic_to_static = 1.2
travel_to_solid_m = 0.03

[[options.equipment]]
name = "microscope"
natural_frequency_hz = 3
damping_n_s_m = 2000
x = { natural_frequency_hz = 2.5, loss_factor = 0.01, damping_n_s_m = 1500 }
"""


def study_of(folder: Path, *exchanges: tuple[str, str], option: str = OPTION) -> Path:
    shutil.copytree(TOWER, folder)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    first = text.index("[[options]]")
    plain = text[first : text.index("[[options]]", first + 1)]
    text = text[:first] + CURVE + CRITERIA + EQUIPMENT + "\n" + plain + option
    for old, new in exchanges:
        assert old in text, old
        text = text.replace(old, new, 1)
    file.write_text(text, encoding="utf-8")
    return file


def scripted(study: gb.study.Study) -> gb.study.Study:
    """The same from objects."""
    own = gb.Citation(key="input", author="its maker, invented", mark="input", status="assumed")
    curve = LimitCurve(
        name="balance",
        velocity=xr.DataArray(1e-6 * np.array(LIMITS, dtype=float), coords={"frequency": BANDS}),
        citation=own,
    )
    laboratory = (
        gb.Criterion.on_curve(curve, statistic="maximum", time_weighting="S max"),
        gb.Criterion.on_curve(curve, statistic=PERIOD_RMS, period="day", time_weighting="S max"),
    )
    bench = (gb.Criterion.on_curve("VC-A", statistic="maximum", time_weighting="S max"),)
    quiet = gb.levels.stamp(
        xr.DataArray(50 + np.arange(18) / 2, coords={"frequency": [float(f) for f in ALL]}),
        quantity="velocity", reference="1 nm/s", long_name="background",
    )  # fmt: skip
    floor = SpringFoundation(stiffness=(2 * np.pi * 9) ** 2 * 6000, loss_factor=0.06, mass=6000.0)

    def spring(f0, mass, loss, **more):
        return LinearMount.tuned(natural_frequency=f0, mass=mass, loss_factor=loss, **more)

    equipment = (
        Equipment(name="balance", room="B02", mass=300.0, criteria="laboratory"),
        Equipment(
            name="microscope", room="L03", mass=900.0, criteria={"z": "laboratory", "x": "bench"},
            rigid_up_to=63.0, floor=floor, horizontal={"x": -8.0}, background=quiet,
        ),
        Equipment(
            name="camera", room="L03", mass=60.0, criteria="bench", floor=0.0,
            horizontal={"x": xr.DataArray(-10 + np.arange(18) / 2, coords=quiet.coords)},
            mounts={"z": spring(6.0, 60.0, 0.1), "x": spring(4.0, 60.0, 0.2)},
        ),
    )  # fmt: skip
    mounted = gb.Option(
        name="tables on mounts",
        equipment={
            "balance": spring(6.5, 300.0, 0.2, dynamic_to_static=1.2, travel_to_solid=0.03),
            "microscope": {
                "z": InParallel(spring(3.0, 900.0, 0.0), Dashpot(damping=2000.0)),
                "x": InParallel(spring(2.5, 900.0, 0.01), Dashpot(damping=1500.0)),
            },
        },
    )
    return replace(
        study,
        criteria={**study.criteria, "laboratory": laboratory, "bench": bench},
        equipment=equipment,
        options=(study.options[0], mounted),
    )


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return gb.read_study(study_of(tmp_path_factory.mktemp("equipment") / "study"))


@pytest.fixture(scope="module")
def result(study):
    return evaluated(study)


def test_a_file_is_as_the_objects_of_a_script(study, result) -> None:
    other = evaluated(scripted(gb.read_study(TOWER / "study.toml")))
    names = [n for n in result.variables if str(n).startswith("equipment_")]
    assert {"equipment_rating", "equipment_margin", "equipment_level"} <= set(names)
    for name in (*names, "rating", "sound_level"):
        one, two = result[name], other[name]
        assert one.dims == two.dims, name
        if one.dtype.kind == "f":
            np.testing.assert_allclose(one.values, two.values, rtol=1e-12, atol=1e-12, err_msg=name)
        else:
            np.testing.assert_array_equal(one.values, two.values, err_msg=name)
    own = [n for n in notes_of(result) if n.kind != "unusual input"]
    assert [sentence(n) for n in own] == [sentence(n) for n in notes_of(other)]
    assert study.changed == ()


def test_levels_by_hand(study, result) -> None:
    """√[(1 + (ηr)²...)] of a table on springs and dampers on a mass on a spring, plain arrays."""
    own = gb.study.equipment_assessment(result)
    at = {"option": "tables on mounts", "equipment": "microscope z"}
    low, high = (np.asarray(e)[:, None] for e in gb.bands.edges(study.frequency.values))
    w = 2 * np.pi * (low + (high - low) * np.linspace(0, 1, 8001))
    spring = (2 * np.pi * 3) ** 2 * 900 + 1j * w * 2000
    floor = (2 * np.pi * 9) ** 2 * 6000 * (1 + 0.06j)
    # Of a force on the free floor: floor and table together, over the floor alone.
    system = (floor + spring - w**2 * 6000) * (spring - w**2 * 900) - spring**2
    moved = spring * (floor - w**2 * 6000) / system
    expected = 10 * np.log10((np.abs(moved) ** 2).mean(axis=1))
    change = own["change"].sel(at) - result["floor_change"].sel(
        room="L03", option="tables on mounts"
    )
    np.testing.assert_allclose(change.values, expected, atol=0.05)


def test_rows_of_tables_text_and_report(study, result, tmp_path, monkeypatch) -> None:
    table = equipment_table(result)
    rows = table[table["option"] == "tables on mounts"]
    assert rows["equipment"].tolist() == [
        "balance", "balance", "microscope", "microscope", "microscope", "camera", "camera",
    ]  # fmt: skip
    assert rows["axis"].tolist() == ["z", "z", "x", "z", "z", "x", "z"]
    assert set(table["criterion"]) == {
        "balance, maximum", "balance, period rms, day", "VC-A, maximum",
    }  # fmt: skip
    text = assessment_text(result)
    assert "Equipment, each axis by itself" in text
    assert "balance, period rms, day" in text
    monkeypatch.setattr(report.document, "pictures", lambda *_: [])
    page = html.unescape(write_report(study, result, tmp_path / "out").read_text(encoding="utf-8"))
    assert "Equipment</h3>" in page
    assert "Mounts of equipment 'balance': 6.5 Hz under 300 kg" in page
    assert "its maker, invented" in page
    stored = pd.read_csv(tmp_path / "out" / "tables" / "equipment.csv", comment="#")
    assert stored["equipment"].tolist() == table["equipment"].tolist()
    np.testing.assert_allclose(stored["margin"], table["margin"], atol=1e-6)


def test_a_curve_as_levels_is_the_same(tmp_path, study) -> None:
    levels = [float(20 * np.log10(limit * 1e3)) for limit in LIMITS]
    file = study_of(
        tmp_path / "study", (f"limit_um_s = {LIMITS}", f"limit_db_re_1_nm_s = {levels}")
    )
    one, two = (
        s.criteria["laboratory"][0].of.rule.gain(s.frequency[s.frequency <= 80])
        for s in (study, gb.read_study(file))
    )
    np.testing.assert_allclose(one, two, rtol=1e-12)


def test_rooms_take_a_curve_of_their_own(tmp_path) -> None:
    """A floor is held against the same curve as what stands on it."""
    from groundborne.study.equipment import without_equipment

    file = study_of(tmp_path / "study")
    text = file.read_text(encoding="utf-8")
    start = text.index("[[criteria.living]]")
    text = (
        f"{text[:start]}[[criteria.living]]\n{CRITERIA.split('[[criteria.laboratory]]')[1]}"
        f"\n{text[start:]}"
    )
    file.write_text(text, encoding="utf-8")
    rated = without_equipment(evaluated(gb.read_study(file)))
    assert "balance, maximum" in rated["criterion"].values
    applies = rated["applies"].sel(criterion="balance, maximum")
    assert bool(applies.any())


def test_a_script_changes_and_samples_its_mass_and_mounts(tmp_path, study) -> None:
    file = study_of(tmp_path / "study")
    addresses = {
        "equipment.balance.mass_kg": (300.0, 450.0),
        "options.tables on mounts.equipment.balance.natural_frequency_hz": (6.5, 7.0),
        "equipment.microscope.floor.mass_kg": (6000.0, 8000.0),
        "equipment.camera.mounts.x.natural_frequency_hz": (4.0, 4.5),
    }
    both = {a: xr.DataArray(np.array(v), dims="sample") for a, v in addresses.items()}
    sampled = gb.study.equipment_assessment(evaluated(gb.read_study(file, changes=both)))
    for at in range(2):
        one = gb.read_study(file, changes={a: v[at] for a, v in addresses.items()})
        alone = gb.study.equipment_assessment(evaluated(one))["rating"]
        here = sampled["rating"].isel(sample=at).transpose(*alone.dims)
        np.testing.assert_allclose(here.values, alone.values, atol=1e-9)


# -- What cannot be --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('room = "B02"', 'room = "B99"', "study.toml, equipment 1: room is 'B99'; known are"),
        ('criteria = "laboratory"', 'criteria = "lab"',
         "study.toml, equipment 1: set of criteria is 'lab'; known are"),
        ('x = "bench", z', 'x = "bank", z', "equipment 2: set of criteria is 'bank'"),
        ('criteria = "laboratory"', 'criteria = "living"', "its criteria 'living' hold .* sound"),
        ("mass_kg = 300", "mass_kg = -3", r"study.toml, equipment 1: 'mass_kg' is -3"),
        ("mass_kg = 300", "mass = 300", "equipment 1: 'mass_kg' is missing"),
        ('name = "microscope"\nroom', 'name = "balance"\nroom',
         "equipment 2: the name 'balance' is given twice"),
        ("x_db = -8", "x_db = -8, y_db = -6",
         "equipment 2: Equipment 'microscope': criteria are given along z, x, and not along y"),
        ("x_db = -8", "x_db = [-8]", r"\[horizontal\]: 'x_db' is \[-8\]; a number is needed"),
        ("limit_um_s = [40, ", "limit_um_s = [",
         r"\[curves\], \[balance\]: 'frequency_hz' has 14 entries and 'limit_um_s' has 13"),
        ("limit_um_s = [40, ", "limit_um_s = [0, ", r"\[balance\]: 'limit_um_s', entry 1, is 0"),
        (f"{BANDS}", f"{[4, 5, 6.3, 8, 10, 12.5, 16, 21, 25, 31.5, 40, 50, 63, 80]}", "21"),
        ('curve = "balance"', 'curve = "balances"',
         r"\[criteria\], laboratory 1: curve is 'balances'; known are 'balance'. Did you mean"),
        (f"{BANDS}\nlimit_um_s = {LIMITS}", f"{BANDS[:-2]}\nlimit_um_s = {LIMITS[:-2]}",
         (r"^study.toml, \[curves\], \[balance\]: 'frequency_hz': .* holds 4 to 50 Hz, and the "
         r"spectrum has 63 to 80 Hz too, .*give the curve there")),
        ("low_hz = 5\n", "low_hz = 10\n",
         r"^study.toml, \[criteria\], laboratory 1: 'curve': the spectrum holds 10 to 250 Hz; 8"),
        ('statistic = "period rms"\nperiod = "day"', 'statistic = "period rms"',
         r"\[criteria\], laboratory 2: Criterion: the statistic 'period rms' needs a period"),
        ('name = "balance"\nnatural', 'name = "bench"\nnatural',
         "study.toml, options 2, equipment 1: equipment is 'bench'; known are 'balance'"),
        ('name = "microscope"\nnatural', 'name = "balance"\nnatural',
         "options 2, equipment 2: the equipment 'balance' is given mounts twice"),
        ("loss_factor = 0.2\ndyn", "dyn", "options 2, equipment 1: 'loss_factor' is missing"),
        ("travel_to_solid_m = 0.03", "travel_to_solid_m = 0.002", "options 2, equipment 1: .*id"),
        ("\nx = { natural_frequency_hz = 2.5, loss_factor = 0.01, damping_n_s_m = 1500 }", "",
         "equipment 2: Equipment 'microscope': .* the mounts act along the vertical only"),
        ('model = "mass on a spring"', 'model = "mobility"', "'mobility_m_n_s' is missing"),
        ("level_db_re_1_nm_s = [50.0, ", "level_db_re_1_nm_s = [", r"\[background\]: 'freq"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told_with_its_place(tmp_path, old, new, said) -> None:
    errors = errors_of(study_of(tmp_path / "study", (old, new)))
    assert any(re.search(said, error) for error in errors), errors


def test_all_of_it_is_told_in_one_run(tmp_path) -> None:
    errors = errors_of(
        study_of(
            tmp_path / "study",
            ('room = "B02"', 'room = "B99"'),
            ('curve = "balance"', 'curve = "balances"'),
            ('name = "balance"\nnatural', 'name = "bench"\nnatural'),
            ("mass_kg = 900", 'mass_kg = "heavy"'),
        )
    )
    assert len(errors) == 4, errors
