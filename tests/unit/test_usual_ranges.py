"""Numbers in files: refused where impossible, named where unusual, with the likely unit."""

from __future__ import annotations

import re
import shutil
import warnings
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import __main__ as cli, sizing
from groundborne._checks import TableError
from groundborne.csv_columns import LOADS, find_column, load_key
from groundborne.isolation import Board, JackUpFloor
from groundborne.key import Key
from groundborne.rating import METRICS
from groundborne.report import document
from groundborne.sizing.packs.components import _NUMBERS
from groundborne.source import read_passbys
from groundborne.structure import FlatSlab, RigidMass, Storey
from groundborne.study.keys import rows
from groundborne.study.natural_frequencies import Resonance, coincidences
from groundborne.usual_ranges import Quantity, UnusualValueWarning, collected, judge
from note_sentences import sentences_of
from spoiled_units import Files

SCHOOL, TOWER, PLAIN = "music_school", "tower", "music_school_plain"


# The mechanism


def test_a_quantity_has_ascending_bounds():
    with pytest.raises(ValueError, match="must ascend"):
        Quantity(unit="m", usual=(1, 2), possible=(1.5, 3))
    with pytest.raises(ValueError, match="must ascend"):
        Quantity(unit="m", usual=(2, 2), possible=(1, 3))


LENGTH = Quantity(unit="m", usual=(0.08, 0.8), possible=(0.005, 10.0), zero=True)


@pytest.mark.parametrize("value", [0.08, 0.8, 0.3, 0.0])
def test_usual_values_and_their_ends_pass_without_a_word(value):
    judge(LENGTH, [value], subject=str, error=ValueError)


@pytest.mark.parametrize(
    ("value", "hint"),
    [
        (0.0799, ""),
        (2.8, r" A tenth of it would be usual\."),
        (0.028, r" Ten times as much would be usual\."),
    ],
)
def test_an_unusual_value_is_named_with_its_range(value, hint):
    sentence = rf"here is {value} m, unusual; usual: 0\.08 to 0\.8 m \(common practice\)\.{hint}"
    with pytest.warns(UnusualValueWarning, match=sentence):
        judge(LENGTH, [0.3, value], subject=lambda _: "here", error=ValueError)


def test_an_impossible_value_is_refused_with_the_unit_it_looks_like():
    with pytest.raises(
        TableError,
        match=r"row 1 is 280 m, out of bounds; possible: 0.005 to 10 m, usual: .* 280 looks like "
        r"mm \(0\.28 m\)\. So are 2 more\.",
    ):
        judge(LENGTH, [0.3, 280.0, 300.0, 310.0], subject=lambda at: f"row {at}", error=TableError)


def test_sentences_are_collected_once_and_other_warnings_pass():
    def read(last):
        with collected() as found:
            for _ in range(2):
                judge(LENGTH, [2.8], subject=lambda _: "here", error=ValueError)
            last()
        return found

    with pytest.warns(RuntimeWarning, match="other"):
        assert len(read(lambda: warnings.warn("other", RuntimeWarning, stacklevel=1))) == 1
    with pytest.raises(ZeroDivisionError):
        read(lambda: 1 / 0)
    with pytest.raises(ValueError, match="invalid literal") as error:
        read(lambda: int("later"))
    assert error.value.__notes__[0].startswith("Unusual besides: here is 2.8 m")


# Every number has a range or a reason: a row without either cannot be made


def test_a_row_of_a_number_has_a_range_or_a_reason():
    with pytest.raises(ValueError, match="'girth_m': a number has a range, or a reason why not"):
        Key(name="girth_m", kind="number", meaning="of what")
    numbers = [row for _, row in rows() if row.kind in ("number", "numbers")]
    assert len(numbers) > 100
    for metric in METRICS.values():
        assert (metric.usual_limit is None) == (metric.fixed_limit is not None)


@pytest.mark.parametrize(
    ("place", "columns"),
    [
        ("components", tuple(row[1] for row in _NUMBERS)),
        ("passbys", ("speed_kmh", "duration_s")),
        ("jacks", ("x_m", "y_m", "load_kn")),
        ("survey", ("x_m", "y_m", "level_mm", "gap_mm")),
    ],
)
def test_every_column_of_other_tables_has_a_range_or_a_reason(place, columns):
    for column in columns:
        quantity = find_column(place, column)  # refuses what nobody bounded
        assert quantity is None or quantity.usual[0] < quantity.usual[1]


def test_a_column_without_a_row_is_a_defect():
    with pytest.raises(LookupError, match=r"rooms\.girth_m has no range"):
        find_column("rooms", "girth_m")


def test_loads_in_newtons_have_the_bounds_of_kilonewtons():
    for load in LOADS:
        kilo, plain = (load_key(f"{load}_{u}").quantity for u in ("kn", "n"))
        assert plain.usual == tuple(1e3 * x for x in kilo.usual)
        assert (kilo.unit, plain.unit) == ("kN", "N")
    assert load_key("girth_kn") is None
    assert load_key("wind_ne_kn") is not None
    assert load_key("wind_ne_kn", by_floor=True) is None


# Unit slips of the demonstration studies, each with its sentence


def key(*place):
    return lambda files, factor: files.times(place, factor)


def column(file, name):
    return lambda files, factor: files.column_times(file, name, factor)


BOX = ("options", 4, "rooms", 0)
REFUSED, NAMED = "error", "warning"
SLIPS = [
    # Structure
    (SCHOOL, column("structure.csv", "slab_thickness_m"), 1e3, REFUSED,
     r"row 2, column 'slab_thickness_m' is 420 m, out of bounds; .* 420 looks like mm \(0\.42 m\)"),
    (SCHOOL, column("structure.csv", "slab_thickness_m"), 100, REFUSED, "42 looks like cm"),
    (SCHOOL, column("structure.csv", "slab_thickness_m"), 10, NAMED,
     r"structure\.csv, row 2, column 'slab_thickness_m' is 4\.2 m, unusual; usual"),
    (SCHOOL, column("structure.csv", "column_area_m2"), 1e4, REFUSED, r"2500 looks like cm² \(0\."),
    (SCHOOL, column("structure.csv", "column_area_m2"), 1e6, REFUSED, "250000 looks like mm²"),
    (SCHOOL, column("structure.csv", "column_area_m2"), 10, NAMED,
     r"storey '0': the strain of an interior column under all slabs from here up"),
    (SCHOOL, column("structure.csv", "storey_height_m"), 1e3, REFUSED, "900 looks like mm"),
    (SCHOOL, column("structure.csv", "slab_modulus_pa"), 1e-9, REFUSED, "38 looks like GPa"),
    (SCHOOL, column("structure.csv", "slab_modulus_pa"), 1e-6, REFUSED, "looks like MPa or N/mm²"),
    (SCHOOL, column("structure.csv", "slab_loss_factor"), 10, NAMED, "'slab_loss_factor' is 0.6"),
    (SCHOOL, column("structure.csv", "slab_loss_factor"), 100, REFUSED, "6 looks like %"),
    (SCHOOL, column("structure.csv", "superimposed_kg_m2"), 1e-2, NAMED, "2.75 looks like kN/m²"),
    (SCHOOL, column("structure.csv", "superimposed_kg_m2"), 1e3, REFUSED, "looks like g/m²"),
    (SCHOOL, key("structure", "column_modulus_pa"), 1e-9, REFUSED,
     r"study\.toml, \[structure\]: 'column_modulus_pa' is 35 Pa, out of bounds; .* looks like GPa"),
    (SCHOOL, key("structure", "column_modulus_pa"), 1e-6, REFUSED, "35000 looks like MPa"),
    (SCHOOL, key("structure", "column_loss_factor"), 10, NAMED, "'column_loss_factor' is 0.2, unu"),
    (SCHOOL, key("structure", "column_density_kg_m3"), 1e-3, REFUSED, "2.45 looks like g/cm³"),
    (SCHOOL, key("structure", "slab_density_kg_m3"), 1e-2, REFUSED, "24 looks like kN/m³"),
    (SCHOOL, key("structure", "span_x_m"), 1e3, REFUSED, r"8000 looks like mm \(8 m\)"),
    (SCHOOL, key("structure", "span_x_m"), 10, NAMED, "'span_x_m' is 80 m, unusual"),
    (SCHOOL, key("structure", "foundation", "length_m"), 1e3, REFUSED, "24000 looks like mm"),
    (SCHOOL, key("structure", "foundation", "length_m"), 10, NAMED, r"\[foundation\]: 'length_m'"),
    (SCHOOL, key("structure", "foundation", "thickness_m"), 1e3, REFUSED, "600 looks like mm"),
    (SCHOOL, key("structure", "foundation", "concrete_modulus_pa"), 1e-9, REFUSED, "like GPa"),
    (SCHOOL, key("structure", "foundation", "concrete_loss_factor"), 100, REFUSED, "looks like %"),
    (SCHOOL, key("structure", "foundation", "density_kg_m3"), 1e-3, REFUSED, "looks like g/cm³"),
    (SCHOOL, key("structure", "foundation", "shear_wave_speed_m_s"), 1e-3, REFUSED, "km/s"),
    (SCHOOL, key("structure", "foundation", "loss_factor"), 10, NAMED, "'loss_factor' is 0.6, unu"),
    (SCHOOL, key("structure", "foundation", "poisson"), 100, REFUSED, "'poisson' is 35"),
    (TOWER, key("structure", "foundation", "stiffness_n_m"), 1e-6, REFUSED,
     r"'stiffness_n_m' is 8\.28e\+04 N/m, out of bounds|looks like"),
    (TOWER, key("structure", "foundation", "stiffness_n_m"), 10, NAMED,
     r"the frequency of the building on its foundation is 2\d.* Hz, unusual; usual: 2\.8 to 20 Hz"),
    (TOWER, key("structure", "foundation", "damping_n_s_m"), 1e-3, NAMED, "the damping ratio"),
    # Columns
    (SCHOOL, column("columns.csv", "permanent_kn"), 1e-3, REFUSED,
     r"columns\.csv, row 2, column 'permanent_kn' is 0\.758 kN, .* looks like MN \(758 kN\)"),
    (SCHOOL, column("columns.csv", "permanent_kn"), 1e3, REFUSED, r"looks like N \(1256 kN\)"),
    (SCHOOL, column("columns.csv", "permanent_kn"), 0.102, NAMED,
     r"column 'A1': 'permanent_kn' over its panels in 4 storeys is 1\.\d+ kN/m², unusual"),
    (SCHOOL, column("columns.csv", "imposed_kn"), 1e-3, NAMED, r"looks like MN \(90 kN\)"),
    (SCHOOL, column("columns.csv", "imposed_kn"), 10, NAMED, "'imposed_kn' over 'permanent_kn' is"),
    (SCHOOL, column("columns.csv", "panel_share"), 100, REFUSED, r"25 looks like % \(0\.25\)"),
    (SCHOOL, column("columns.csv", "panel_share"), 10, NAMED, "'panel_share' is 2.5, unusual"),
    (SCHOOL, column("columns.csv", "x_m"), 1e3, REFUSED, "the plan .*by 'x_m' and 'y_m'"),
    (TOWER, column("columns.csv", "wind_y_kn"), 10, NAMED, "the pressure of wind on the facade"),
    # Rooms and floors
    (SCHOOL, column("rooms.csv", "length_m"), 1e3, REFUSED, "14000 looks like mm"),
    (SCHOOL, column("rooms.csv", "height_m"), 100, REFUSED, "650 looks like cm"),
    (SCHOOL, column("rooms.csv", "rt_63hz_s"), 10, NAMED, "the mean absorption coefficient by the"),
    (TOWER, column("rooms.csv", "rt_s"), 1e3, REFUSED, "800 looks like ms"),
    (TOWER, column("rooms.csv", "rt_s"), 0.1, REFUSED, "the mean absorption coefficient by the re"),
    (SCHOOL, column("rooms.csv", "floor_depth_limit_m"), 1e3, REFUSED, "350 looks like mm"),
    (SCHOOL, column("floors.csv", "height_m"), 1e3, REFUSED, r"5100 m, .*looks like mm|is 900 m"),
    (SCHOOL, column("floors.csv", "slab_thickness_m"), 1e3, REFUSED, "420 looks like mm"),
    (SCHOOL, column("floors.csv", "natural_frequency_hz"), 1e-3, REFUSED, "looks like kHz"),
    (SCHOOL, column("floors.csv", "storeys"), 10, NAMED, "the rise of 'height_m' over that of 'st"),
    # Source
    (SCHOOL, column("passbys.csv", "speed_kmh"), 1 / 3.6, NAMED,
     r"column 'speed_kmh': the median is 17\.2\d km/h, unusual; .* looks like m/s"),
    (SCHOOL, column("passbys.csv", "duration_s"), 1e3, REFUSED, "8300 looks like ms"),
    (SCHOOL, column("passbys.csv", "duration_s"), 10, NAMED, "the length of the train, 'speed_k"),
    (SCHOOL, column("passbys.csv", "50 Hz"), 0.1, NAMED,
     r"row 2, column '50 Hz': the level over the mean of the bands beside it is -8\d"),
    (SCHOOL, key("periods", "night", "hours"), 60, REFUSED, "480 looks like min"),
    (SCHOOL, key("bands", "low_hz"), 10, NAMED, r"'low_hz' is 50 Hz, unusual; .*ISO 14837"),
    (SCHOOL, key("isolation", "load", "imposed_share"), 100, REFUSED, r"30 looks like % \(0\.3\)"),
    (SCHOOL, key("criteria", "hall", 0, "limit"), 10, REFUSED, "'limit' is 250 dB, out of bounds"),
    (PLAIN, key("path", "coupling", "loss_db"), 10, REFUSED, r"'loss_db', entry 17, is 110 dB"),
    (SCHOOL, key("path", "radiation", "walls", "thickness_m"), 1e3, REFUSED, "140 looks like mm"),
    (SCHOOL, key("path", "radiation", "walls", "thickness_m"), 0.1, NAMED,
     r"of walls of 0\.014 m is 2500 m/s, unusual; usual: 1300 to 2300 m/s \(Hopkins 2007"),
    (SCHOOL, key("path", "radiation", "slabs", "longitudinal_wave_speed_m_s"), 1e-3, REFUSED,
     "looks like km/s"),
    (TOWER, key("path", "radiation", "walls", "radiating_share"), 100, REFUSED, "is 50"),
    # Options
    (SCHOOL, key("options", 2, "base", "natural_frequency_hz"), 10, NAMED, "is 45 Hz, unusual"),
    (SCHOOL, key("options", 2, "base", "loss_factor"), 10, NAMED,
     "'loss_factor' of mounts that 'dynamic_to_static' says are steel springs is 0.2, unusual"),
    (SCHOOL, key("options", 1, "base", "loss_factor"), 0.1, NAMED, "says are rubber is 0.01, unus"),
    (SCHOOL, key("options", 2, "base", "own_mass_kg_per_mn"), 1e-3, NAMED, "looks like kg/kN"),
    (SCHOOL, key(*BOX, "floor", "thickness_m"), 1e3, REFUSED, "150 looks like mm"),
    (SCHOOL, key(*BOX, "floor", "youngs_modulus_pa"), 1e-9, REFUSED, "30 looks like GPa"),
    (SCHOOL, key(*BOX, "floor", "mount_stiffness_n_m"), 1e-3, NAMED, "looks like N/mm|overloaded"),
    (SCHOOL, key(*BOX, "floor", "mount_stiffness_n_m"), 10, NAMED, "the deflection of its mounts"),
    (SCHOOL, key(*BOX, "floor", "mount_capacity_n"), 10, NAMED, "load over 'mount_capacity_n' is"),
    (SCHOOL, key(*BOX, "floor", "imposed_n_m2"), 1e-3, NAMED, r"3 looks like kN/m² \(3000 N/m²\)"),
    (SCHOOL, key(*BOX, "walls", "leaf_kg_m2"), 0.1, NAMED, "'leaf_kg_m2' over 'leaf_m' is 110 kg"),
    (SCHOOL, key(*BOX, "walls", "cavity_m"), 1e3, REFUSED, "200 looks like mm"),
    (SCHOOL, key(*BOX, "ceiling", "hanger_deflection_m"), 1e3, REFUSED, "25 looks like mm"),
]  # fmt: skip


@pytest.mark.parametrize(("study", "spoil", "factor", "kind", "sentence"), SLIPS)
def test_a_unit_slip_is_refused_or_named(tmp_path, study, spoil, factor, kind, sentence):
    verdict, words = spoil(Files.of(study, tmp_path), factor).verdict()
    assert re.search(sentence, words), words
    assert verdict == kind or (kind == NAMED and verdict == REFUSED), words
    assert re.search(r"\w+\.(csv|toml)", words)


# Where the words go


@pytest.fixture
def soft_slab(spoiled):
    return spoiled("study.toml", ("column_loss_factor = 0.02", "column_loss_factor = 0.2"))


def test_a_study_keeps_what_is_unusual_and_its_results_tell(soft_slab):
    with pytest.warns(UnusualValueWarning, match="'column_loss_factor' is 0.2, unusual") as seen:
        study = gb.read_study(soft_slab)
    assert all(Path(w.filename).samefile(__file__) for w in seen)
    assert study.unusual == tuple(str(w.message) for w in seen)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = study.evaluate(band_levels=False)
    assert sentences_of(result)[: len(study.unusual)] == list(study.unusual)


@pytest.mark.parametrize("name", [SCHOOL, TOWER, "music_school_plain"])
def test_the_demonstration_studies_hold_nothing_unusual(copied_study, name):
    assert gb.read_study(copied_study(name)).unusual == ()


def test_the_command_line_prints_it_above_the_verdicts(soft_slab, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(document, "pictures", lambda *_: [])
    assert cli.main([str(soft_slab), "--out", str(tmp_path / "out")]) == 0
    printed = capsys.readouterr()
    first, second, *_ = printed.out.splitlines()
    assert first == "Unusual; check before reading on:"
    assert "'column_loss_factor' is 0.2, unusual" in second
    assert "column_loss_factor" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert all(line.startswith("[") for line in printed.err.splitlines())  # how far the work is


def test_an_error_brings_what_is_unusual_besides(spoiled, tmp_path, capsys):
    study = spoiled("rooms.csv", (",14,7,6.5,", ",14,7,0.65,"))
    assert cli.main([str(study), "--out", str(tmp_path / "out")]) == 2
    told = [x for x in capsys.readouterr().err.splitlines() if not x.startswith("[")]
    assert "no height is left inside" in told[0]
    assert told[1].startswith("Unusual besides: rooms.csv, row 4, column 'height_m' is 0.65 m")


# Tables that are read by themselves


READ = {"quantity": "velocity", "reference": "1 nm/s", "time_weighting": "S max"}


def passbys(tmp_path, text):
    file = tmp_path / "p.csv"
    file.write_text(text, encoding="utf-8")
    return file


def test_levels_in_another_reference_are_named(data_folder):
    file = data_folder / TOWER / "passbys.csv"
    with pytest.warns(UnusualValueWarning) as seen:
        read_passbys(file, **{**READ, "reference": "50 nm/s"})
    assert any(
        re.search(r"the median .* is 122\.\d dB re 1 nm/s, unusual", str(w.message)) for w in seen
    )


def test_background_is_not_judged_as_a_train(tmp_path):
    head = "passby,kind,speed_kmh,duration_s,40 Hz,50 Hz,63 Hz\n"
    rows = "P1,passby,70,8,85,90,88\nB1,background,1,1,30,31,30\n"
    read_passbys(passbys(tmp_path, head + rows), **READ, kind_column="kind")
    slow = passbys(tmp_path, head + rows.replace(",70,", ",7,"))
    with pytest.warns(UnusualValueWarning) as seen:
        read_passbys(slow, **READ, kind_column="kind")
    assert "row 2, column 'speed_kmh' is 7 km/h, unusual" in str(seen[0].message)


def test_one_band_that_stands_off_is_named_alone(tmp_path):
    text = "passby,31.5 Hz,40 Hz,50 Hz,63 Hz,80 Hz\nP1,80,85,9.0,88,84\n"
    with pytest.warns(UnusualValueWarning) as seen:
        read_passbys(passbys(tmp_path, text), **READ)
    assert [re.search(r"column '(.*?)'", str(w.message))[1] for w in seen] == ["50 Hz"]


@pytest.mark.parametrize("kind", ["springs", "bearings", "pads"])
def test_component_lists_ten_times_off_are_seen(data_folder, tmp_path, kind):
    source = data_folder / "components" / f"{kind}.csv"
    lines = [x for x in source.read_text(encoding="utf-8").splitlines() if x[:1] != "#"]
    header, *rows = [line.split(",") for line in lines]
    missed = []
    for at, name in enumerate(header[2:-1], start=2):
        for factor in (10, 0.1):
            if not any(float(row[at]) for row in rows):
                continue
            changed = [[*r[:at], repr(float(r[at]) * factor), *r[at + 1 :]] for r in rows]
            file = passbys(tmp_path, "\n".join(map(",".join, [header, *changed])))
            with warnings.catch_warnings(record=True) as caught:
                warnings.simplefilter("always")
                try:
                    sizing.read_components(file)
                except TableError:
                    continue
            if not caught:
                missed.append((name, factor))
    own = {"own_mass_kg", "lateral_stiffness_n_m", "least_load_n", "creep_per_decade",
           "stiffness_tolerance", "plan_x_m", "plan_y_m", "loss_factor", "height_m"}  # fmt: skip
    assert {name for name, _ in missed} <= own


def test_jacks_and_surveys_in_other_units_are_named(data_folder, tmp_path):
    folder = tmp_path / "jacking"
    shutil.copytree(data_folder / "jacking", folder)
    grid = sizing.read_jacks(folder / "jacks.csv")
    sizing.read_survey(folder / "survey.csv", grid=grid)
    text = (folder / "survey.csv").read_text(encoding="utf-8")
    metres = re.sub(r"(?m)^(P\d+,.*,)([\d.]+)$", lambda m: f"{m[1]}{float(m[2]) / 1e3:.5f}", text)
    (folder / "survey.csv").write_text(metres, encoding="utf-8")
    with pytest.warns(UnusualValueWarning) as seen:
        sizing.read_survey(folder / "survey.csv", grid=grid)
    assert "column 'gap_mm' is 0.0424 mm, unusual; " in str(seen[0].message)
    assert "looks like m (42.4 mm)" in str(seen[0].message)
    jacks = (folder / "jacks.csv").read_text(encoding="utf-8")
    newtons = re.sub(r"(?m),([\d.]+)$", lambda m: f",{float(m[1]) * 1e3:g}", jacks)
    (folder / "jacks.csv").write_text(newtons, encoding="utf-8")
    with pytest.raises(TableError, match=r"column 'load_kn' is 1493 kN, .* looks like N"):
        sizing.read_jacks(folder / "jacks.csv")


# Objects made in code are swept freely, and refuse only what cannot be worked out

SLAB = {"span_x": 8.0, "span_y": 7.5, "thickness": 0.28, "youngs_modulus": 38e9,
        "density": 2400.0, "poisson": 0.2, "loss_factor": 0.05}  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"thickness": 1e-13}, "thickness is 1e-13; it must lie between 0.001 and 20 m"),
        ({"thickness": 280.0}, "thickness is 280; it must lie between 0.001 and 20 m"),
        ({"youngs_modulus": 38.0}, r"youngs_modulus is 38; it must lie between 1e\+06 and 1e\+14"),
        ({"span_x": 8000.0}, "span_x is 8000; it must lie between 0.01 and 1000 m"),
    ],
)
def test_slabs_that_would_never_end_are_refused(changed, sentence):
    with pytest.raises(ValueError, match=f"FlatSlab: {sentence}"):
        FlatSlab(**{**SLAB, **changed})


def test_a_column_of_no_stiffness_is_refused():
    with pytest.raises(ValueError, match="Storey 1: youngs_modulus is 35; it must lie between 1e"):
        Storey(floor=1, height=3.6, area=0.25, youngs_modulus=35.0, density=2450.0,
               loss_factor=0.02, slab=RigidMass(mass=5e4))  # fmt: skip


def test_layers_of_no_thickness_are_refused():
    floor = {"density": 2400.0, "youngs_modulus": 30e9, "mount_stiffness": 5e5,
             "mount_loss_factor": 0.1, "spacing_x": 1.5, "spacing_y": 1.5,
             "air_gap": 0.05}  # fmt: skip
    with pytest.raises(ValueError, match="JackUpFloor: thickness is 1e-13; it must lie between"):
        JackUpFloor(thickness=1e-13, **floor)
    with pytest.raises(
        ValueError, match=r"Board: thickness is 18; it must lie between 0\.0001 and"
    ):
        Board(thickness=18.0, density=700.0, youngs_modulus=3e9)


def test_sweeps_warn_of_nothing():
    swept = xr.DataArray(np.array([0.02, 0.2, 2.0]), dims="sample")
    assert FlatSlab(**{**SLAB, "thickness": swept}).first_resonance.sizes == {"sample": 3}


def test_a_resonance_at_nothing_meets_none():
    still = Resonance(kind="floor", name="floor 0", frequency=0.0)
    assert coincidences([still, Resonance(kind="mounts", name="springs", frequency=4.0)]) == []
