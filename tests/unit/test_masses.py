"""One building has one mass: column loads against the lines, and what mounts ride at."""

from __future__ import annotations

import csv
import math
import tomllib
import warnings
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.report.words import options_in_words
from groundborne.structure import RigidMass, column_mean, column_weights
from groundborne.study import MobilityPlane
from groundborne.study.masses import (
    COLUMN_NOTED,
    COLUMN_REFUSED,
    TOTAL_NOTED,
    TOTAL_REFUSED,
    mass_note,
    require_one_mass,
)
from note_sentences import sentences_of

G = 9.80665


def _rows(path: Path) -> list[dict[str, str]]:
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def _by_hand(folder: Path) -> tuple[dict[str, float], dict[str, float]]:
    """Mass on the mounts [kg] by column: from the loads, and from the slabs and columns above."""
    toml = tomllib.loads((folder / "study.toml").read_text(encoding="utf-8"))
    structure, isolation = toml["structure"], toml["isolation"]
    levels = _rows(folder / "structure.csv")
    names = [row["floor"] for row in levels]
    first = names.index(isolation["lowest_isolated_floor"])
    panel = structure["span_x_m"] * structure["span_y_m"]
    loads, lines = {}, {}
    for column in _rows(folder / "columns.csv"):
        load = float(column["permanent_kn"])
        load += isolation["load"]["imposed_share"] * float(column["imposed_kn"])
        loads[column["column"]] = 1e3 * load / G
        mass = 0.0
        for i, level in enumerate(levels[first:]):
            per_area = structure["slab_density_kg_m3"] * float(level["slab_thickness_m"])
            per_area += float(level["superimposed_kg_m2"])
            mass += float(column["panel_share"]) * panel * per_area
            if i > 0:  # the lowest slab rests on the mounts; its column is below them
                volume = float(level["column_area_m2"]) * float(level["storey_height_m"])
                mass += structure["column_density_kg_m3"] * volume
        lines[column["column"]] = mass
    return loads, lines


@pytest.fixture(params=["music_school", "tower"])
def demonstration(request, data_folder):
    return data_folder / request.param, request.getfixturevalue(request.param)


def test_the_demonstration_studies_have_one_mass(demonstration) -> None:
    """Plain sums over the CSV files: within 5 % in total and 10 % at every column."""
    folder, study = demonstration
    loads, lines = _by_hand(folder)
    assert sum(lines.values()) / sum(loads.values()) == pytest.approx(1.0, abs=0.05)
    for name, load in loads.items():
        assert lines[name] / load == pytest.approx(1.0, abs=0.10), name
    result = study.result
    assert result["carried_mass"].values == pytest.approx(list(loads.values()), rel=1e-12)
    assert result["moving_mass"].values == pytest.approx(list(lines.values()), rel=1e-12)
    assert result["moving_mass"]["column"].values.tolist() == list(loads)
    assert not any("Mass above the mounts" in n for n in sentences_of(result))


def test_frequencies_of_mounts_are_those_of_the_model(demonstration) -> None:
    folder, study = demonstration
    loads, lines = _by_hand(folder)
    toml = tomllib.loads((folder / "study.toml").read_text(encoding="utf-8"))
    for option in toml["options"]:
        nominal = study.result["nominal_frequency"].sel(option=option["name"])
        riding = study.result["mount_frequency"].sel(option=option["name"])
        if "base" not in option:
            assert np.isinf(nominal.values).all()
            assert np.isinf(riding.values).all()
            continue
        tuned = option["base"]["natural_frequency_hz"]
        assert nominal.values == pytest.approx(tuned, rel=1e-5)
        # A twentieth of all stiffness crosses beside them, shared by the area carried.
        area = _panels(folder) / _panels(folder).sum()
        beside = [0.05 * sum(loads.values()) * share for share in area]
        wanted = [
            tuned * math.sqrt((loads[c] + more) / lines[c])
            for c, more in zip(loads, beside, strict=True)
        ]
        assert riding.values == pytest.approx(wanted, rel=1e-5)


def test_result_files_keep_them(music_school, tmp_path) -> None:
    gb.save_result(music_school.result, tmp_path / "r.nc")
    found = gb.read_result(tmp_path / "r.nc")
    for name in ("carried_mass", "moving_mass", "mount_frequency", "column_weight"):
        xr.testing.assert_identical(found[name], music_school.result[name])


OLD_SCHOOL = (
    ("0.42,38e9,0.06,275", "0.4,38e9,0.06,150"),
    ("1,4.2,0.25,0.3,38e9,0.05,290", "1,4.2,0.25,0.28,38e9,0.05,150"),
    ("2,3.6,0.25,0.3,38e9,0.05,290", "2,3.6,0.25,0.28,38e9,0.05,150"),
    ("0.3,38e9,0.04,475", "0.28,38e9,0.04,300"),
)
"""A structure that weighs 1,425 t under loads of 1,688 t."""


def test_masses_that_differ_are_shown(spoiled) -> None:
    study = gb.read_study(spoiled("structure.csv", *OLD_SCHOOL, name="music_school"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = study.evaluate(band_levels=False)
    notes = sentences_of(result)
    (note,) = [n for n in notes if n.startswith("Mass above the mounts")]
    assert "1,425 t in the structure and 1,688 t by the column loads" in note
    assert "the former over the latter 0.84, by column 0.79 to 0.89" in note
    assert "what each column or wall carries" in note
    (springs,) = [n for n in notes if n.startswith("Option 'springs 4.5 Hz': its mounts")]
    assert "have 4.5 Hz under the column loads, and 4.8 to 5.1 Hz by column" in springs
    riding = result["mount_frequency"].sel(option="springs 4.5 Hz")
    assert (float(riding.min()), float(riding.max())) == pytest.approx((4.90, 5.19), abs=0.02)
    text = {name: rows for name, _, rows in options_in_words(study)}
    (row,) = text["springs 4.5 Hz"]
    assert "mounts of 4.8 to 5.1 Hz on a rigid base" in row
    assert "(nominal 4.5 Hz under the column loads" in row


@pytest.mark.parametrize(
    ("file", "exchange", "sentence"),
    [
        (
            "structure.csv",
            ("0.3,38e9,0.05,290", "0.3,38e9,0.05,2900"),
            r"study.toml, \[isolation\], \[load\]: Frame: .* is 2,643 t in .* 1,688 t by .* 25 %",
        ),
        (
            "columns.csv",
            ("A1,0,0,758,90,12,0.25", "A1,0,0,758,90,12,0.5"),
            r"of column 'A1' is 142 t in the structure and 80 t by its loads.* 50 % apart",
        ),
        (
            "columns.csv",
            ("B2,8,7.5,2641,", "B2,8,7.5,264.1,"),
            r"of column 'B2' is 277 t in the structure and 38 t by its loads",
        ),
    ],
)
def test_two_buildings_in_one_study_are_refused(spoiled, file, exchange, sentence) -> None:
    with pytest.raises(StudyError, match=sentence):
        gb.read_study(spoiled(file, exchange, name="music_school"))


@pytest.mark.parametrize("up", [True, False])
def test_bounds_lie_where_they_are_said(up: bool) -> None:
    def pair(share: float) -> dict[str, float]:
        masses = (1e6, 1e6 * (1 + share))
        return dict(
            zip(("carried", "moving") if up else ("moving", "carried"), masses, strict=True)
        )

    assert mass_note(**pair(TOTAL_NOTED - 1e-6)) == []
    assert len(mass_note(**pair(TOTAL_NOTED + 1e-6))) == 1
    require_one_mass("here", **pair(TOTAL_REFUSED - 1e-6))
    with pytest.raises(StudyError, match="25 % apart"):
        require_one_mass("here", **pair(TOTAL_REFUSED + 1e-6))


@pytest.mark.parametrize("up", [True, False])
def test_bounds_at_a_column(up: bool) -> None:
    def pair(share: float) -> dict[str, xr.DataArray]:
        at = {"column": ["small", "large"]}
        one = xr.DataArray([1e5, 1e7], coords=at)
        masses = (one, one * xr.DataArray([1 + share, 1.0], coords=at))
        return dict(
            zip(("carried", "moving") if up else ("moving", "carried"), masses, strict=True)
        )

    assert mass_note(**pair(COLUMN_NOTED - 1e-6)) == []
    assert len(mass_note(**pair(COLUMN_NOTED + 1e-6))) == 1
    require_one_mass("here", **pair(COLUMN_REFUSED - 1e-6))
    with pytest.raises(StudyError, match=r"of column 'small'.* 50 % apart"):
        require_one_mass("here", **pair(COLUMN_REFUSED + 1e-6))


def test_columns_of_loads_and_lines_must_be_the_same() -> None:
    one = xr.DataArray([1e5, 2e5], coords={"column": ["A1", "B2"]})
    other = one.assign_coords(column=["A1", "b2"])
    with pytest.raises(ValueError, match=r"labels of 'column' differ.*'B2', 'b2'"):
        require_one_mass("here", carried=one, moving=other)


def test_a_rigid_mass_above_is_the_mass_on_the_mounts() -> None:
    def plane(mass: float) -> MobilityPlane:
        above = RigidMass(mass=mass)
        return MobilityPlane(floor="0", mass=1e6, below=RigidMass(mass=1e7), above=above)

    assert plane(1.1e6).moving_mass == 1.1e6
    with pytest.raises(StudyError, match=r"MobilityPlane.* 100 t in the structure and 1,000 t"):
        plane(1e5)


# Means over columns


def _panels(folder: Path) -> np.ndarray:
    return np.array([float(row["panel_share"]) for row in _rows(folder / "columns.csv")])


def test_levels_are_means_by_the_area_each_column_carries(demonstration) -> None:
    """``Σ A v² / Σ A`` in plain numpy, for the storeys, base, power and ideal changes."""
    folder, (study, result) = demonstration
    share = _panels(folder)
    share = share / share.sum()
    frame, f = study.plane, study.frequency
    assert result["column_weight"].values == pytest.approx(share, rel=1e-12)

    def mean(each: xr.DataArray) -> np.ndarray:
        return np.tensordot(share, each.transpose("column", ...).values, axes=1)

    floors = list(frame.line.floors)
    each = frame.line.column_mean_square(f).transpose("column", "floor", "frequency")
    room = study.rooms[-1]
    floor = str(study.building.rooms["floor_of_room"].sel(room=room).item())
    stage = result["level_change"].sel(option="no isolation", stage="storeys", room=room)
    wanted = 10 * np.log10(mean(each)[floors.index(floor)])
    np.testing.assert_allclose(stage.values, wanted, atol=1e-9)
    plain = 10 * np.log10(each.values.mean(axis=0)[floors.index(floor)])
    assert np.abs(plain - wanted).max() > 0.2  # columns alike would say something else

    option = next(o for o in study.options if o.base is not None)
    line = frame.isolated_line(option.base)
    above = slice(floors.index(frame.floor), None)
    isolated = line.column_mean_square(f).transpose("column", "floor", "frequency")
    isolated = isolated + 10**-2.5 * each  # the way that limits one stage
    change = mean(isolated)[above].mean(axis=0) / mean(each)[above].mean(axis=0)
    found = result.sel(option=option.name)
    np.testing.assert_allclose(found["base_change"].values, 10 * np.log10(change), atol=1e-9)
    power = mean(10 ** (-line.power_insertion_loss(f) / 10))
    np.testing.assert_allclose(found["power_change"].values, 10 * np.log10(power), atol=1e-9)
    ratio = 10 * np.log10(isolated.values[:, above] / each.values[:, above])
    np.testing.assert_allclose(found["base_change_low"], ratio.min(axis=(0, 1)), atol=1e-9)
    np.testing.assert_allclose(found["base_change_high"], ratio.max(axis=(0, 1)), atol=1e-9)


def test_the_ideal_curve_is_that_of_the_masses_of_the_model(music_school, data_folder) -> None:
    """Mass on a spring, each column by itself, with the band mean by a sum of its own."""
    folder = data_folder / "music_school"
    loads, lines = _by_hand(folder)
    share = _panels(folder)
    option = "rubber 9 Hz"
    f = np.linspace(1000 * 10**-1.25, 1000 * 10**-1.15, 4001)  # the band of 63 Hz
    changes = []
    for name, load in loads.items():
        f0 = 9.0 * math.sqrt(load / lines[name])
        ratio = (1 + 0.1j) / (1 + 0.1j - (f / f0) ** 2)
        changes.append(np.mean(np.abs(ratio) ** 2))
    wanted = 10 * np.log10(np.average(changes, weights=share))
    found = music_school.result["ideal_change"].sel(option=option, frequency=63.0)
    assert float(found) == pytest.approx(wanted, abs=0.02)


def test_slabs_without_an_area_leave_columns_alike(music_school) -> None:
    from dataclasses import replace

    line = music_school.study.plane.line
    rigid = tuple(replace(s, slab=RigidMass(mass=1e5)) for s in line.storeys)
    weights = column_weights(line=replace(line, storeys=rigid))
    assert (weights.dims, weights.item()) == ((), 1.0)
    values = xr.DataArray([1.0, 3.0], coords={"column": ["a", "b"]})
    assert column_mean(values, weights=weights).item() == 2.0
    other = xr.DataArray([0.5, 0.5], coords={"column": ["a", "c"]})
    with pytest.raises(ValueError, match="column"):
        column_mean(values, weights=other)
