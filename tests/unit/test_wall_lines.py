"""Strips of masonry wall as column lines, beside columns."""

from __future__ import annotations

import re
import shutil
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import sizing
from groundborne._checks import StudyFileError
from groundborne.structure import ColumnLine, RigidMass, SpringFoundation, Storey
from groundborne.study.natural_frequencies import _middle
from quiet_studies import evaluated, read

SMALL = Path(__file__).resolve().parents[1] / "fuzz" / "small" / "lines"
OWN = ("area_m2", "modulus_pa", "density_kg_m3", "loss_factor")
COLUMN = {"area": 0.16, "youngs_modulus": 33e9, "density": 2450.0, "loss_factor": 0.02}
WALL = {"area": 0.24 * 2.5, "youngs_modulus": 4e9, "density": 1500.0, "loss_factor": 0.03}
F = gb.bands.third_octaves(5, 250)


@pytest.fixture
def with_sections(tmp_path):
    """The small study with more columns in its column table: cells of A1, A2, B1, B2 by name."""

    def make(cells: dict[str, list[str]], name: str = "study") -> Path:
        folder = tmp_path / name
        shutil.copytree(SMALL, folder)
        table = folder / "columns.csv"
        note, header, *rows = table.read_text(encoding="utf-8").splitlines()
        header = ",".join([header, *cells])
        rows = [",".join([row, *(cells[n][at] for n in cells)]) for at, row in enumerate(rows)]
        table.write_text("\n".join([note, header, *rows]) + "\n", encoding="utf-8")
        return folder / "study.toml"

    return make


def line_of(**section) -> ColumnLine:
    """Three storeys under rigid slabs on a spring and a dashpot."""
    storeys = tuple(
        Storey(floor=n, height=height, slab=RigidMass(mass=mass), **{**COLUMN, **section})
        for n, height, mass in ((0, 0.9, 24e3), (1, 5.2, 20e3), (2, 3.4, 16e3))
    )
    return ColumnLine(storeys=storeys, foundation=SpringFoundation(stiffness=8e8, damping=3e6))


def beside(name: str) -> xr.DataArray:
    values = [COLUMN[name], WALL[name]]
    return xr.DataArray(values, coords={"column": ["column", "wall"]})


# Against a line of columns


def test_a_wall_as_stiff_and_heavy_as_a_column_gives_the_same(with_sections) -> None:
    """EA, ρA and η decide: three times the section of a third of the modulus and the density."""
    wall = (
        ["", f"{3 * 0.16!r}", "", ""],
        ["", f"{33e9 / 3!r}", "", ""],
        ["", f"{2450 / 3!r}", "", ""],
    )
    study = with_sections(dict(zip(OWN, (*wall, ["", "0.02", "", ""]), strict=True)))
    before, after = read(SMALL / "study.toml"), read(study)
    change = [s.plane.as_built.column for s in (before, after)]
    assert "column" in after.plane.line.storeys[0].area.dims
    np.testing.assert_allclose(change[0].values, change[1].values, rtol=1e-9)
    results = [evaluated(s) for s in (before, after)]
    for name in ("mean_level", "floor_level", "moving_mass"):
        one, other = xr.broadcast(*(r[name] for r in results))
        np.testing.assert_allclose(one.values, other.values, rtol=1e-9)


def test_a_softer_wall_moves_its_rooms(with_sections) -> None:
    """The check above would not pass with any other wall."""
    study = with_sections({"modulus_pa": ["", "2e9", "", ""]})
    before, after = read(SMALL / "study.toml"), read(study)
    moved = decibels(after) - decibels(before)
    assert float(abs(moved.sel(column="A1")).max()) < 1e-12
    assert float(abs(moved.sel(column="A2")).max()) > 3.0


def decibels(study) -> xr.DataArray:
    return gb.levels.decibel(study.plane.as_built.column)


def test_empty_cells_are_those_of_the_structure(with_sections) -> None:
    study = read(
        with_sections({"area_m2": ["", "0.6", "", ""], "loss_factor": ["", "", "", "0.04"]})
    )
    storey = study.plane.line.storeys[1]
    assert storey.area.sel(column=["A1", "A2"]).values.tolist() == [0.16, 0.6]
    assert storey.loss_factor.values.tolist() == [0.02, 0.02, 0.02, 0.04]
    assert storey.youngs_modulus == 33e9
    sampled = read(
        with_sections({"area_m2": ["", "0.6", "", ""]}, "sampled"),
        changes={"columns.A2.area_m2": xr.DataArray([0.6, 0.7], dims="sample")},
    )
    area = sampled.plane.line.storeys[1].area
    assert area.sel(column="A1").values.tolist() == [0.16, 0.16]
    assert area.sel(column="A2").values.tolist() == [0.6, 0.7]


def test_the_line_that_stands_for_all_is_one_of_them() -> None:
    """Resonances name one column whole, not the section of one with the modulus of another."""
    names = ["column", "wall"]
    share = xr.DataArray([0.5, 1.0], coords={"column": names})
    slab = gb.structure.FlatSlab(
        span_x=6.0, span_y=6.0, thickness=0.2, youngs_modulus=3e10, density=2400.0, poisson=0.2,
        loss_factor=0.05, panel_share=share,
    )  # fmt: skip
    line = line_of(**{n: beside(n) for n in COLUMN})
    line = replace(line, storeys=tuple(replace(s, slab=slab) for s in line.storeys))
    one = _middle(line).storeys[0]
    assert {n: getattr(one, n) for n in WALL} == WALL
    assert one.slab.panel_share == 1.0


# Against finite elements, with nothing of the library


def rod_elements(section: dict[str, float], frequency: float, each: int = 60) -> np.ndarray:
    """Velocity at the slabs over that of the free ground: two-node rods, consistent masses."""
    omega = 2 * np.pi * frequency
    heights, slabs = (0.9, 5.2, 3.4), (24e3, 20e3, 16e3)
    modulus = section["youngs_modulus"] * (1 + 1j * section["loss_factor"])
    count = each * len(heights) + 1
    system = np.zeros((count, count), complex)  # force over velocity [N s/m]
    for number, height in enumerate(heights):
        h = height / each
        stiffness = modulus * section["area"] / h * np.array([[1, -1], [-1, 1]])
        mass = section["density"] * section["area"] * h / 6 * np.array([[2, 1], [1, 2]])
        for element in range(each):
            at = number * each + element
            system[at : at + 2, at : at + 2] += stiffness / (1j * omega) + 1j * omega * mass
    heads = [each * (number + 1) for number in range(len(heights))]
    for head, slab in zip(heads, slabs, strict=True):
        system[head, head] += 1j * omega * slab
    soil = 8e8 / (1j * omega) + 3e6
    system[0, 0] += soil
    force = np.zeros(count, complex)
    force[0] = soil  # times a free velocity of 1
    return np.linalg.solve(system, force)[heads]


@pytest.mark.parametrize("name", ["column", "wall"])
def test_a_line_of_wall_and_column_agrees_with_rods_of_finite_elements(name) -> None:
    """Own elements, 60 for each storey: within 0.05 dB of the line up to 250 Hz."""
    frequency = np.geomspace(5.0, 250.0, 60)
    line = line_of(**{n: beside(n) for n in COLUMN})
    ratio = line.velocity_ratio(xr.DataArray(frequency, dims="frequency")).sel(column=name)
    section = WALL if name == "wall" else COLUMN
    wanted = np.array([rod_elements(section, f) for f in frequency]).T
    found = ratio.transpose("floor", "frequency").values
    off = 20 * np.log10(np.abs(found / wanted))
    assert np.abs(off).max() < 0.05
    other = np.array([rod_elements(COLUMN if name == "wall" else WALL, f) for f in frequency]).T
    assert np.abs(20 * np.log10(np.abs(found / other))).max() > 6


# What is refused, and who else reads the table


@pytest.mark.parametrize(
    ("cells", "sentence"),
    [
        ({"modulus_pa": ["", "4", "", ""]},
         r"columns\.csv, row 4, column 'modulus_pa' is 4 Pa, out of bounds; .* looks like GPa"),
        ({"area_m2": ["", "0", "", ""]}, r"row 4, column 'area_m2': 0 is out of bounds; it must"),
        ({"loss_factor": ["", "nan", "", ""]}, r"row 4, column 'loss_factor': 'nan' is not a num"),
        ({"density": ["", "1500", "", ""]}, r"column 'density' is unknown; .*'density_kg_m3'"),
    ],
)  # fmt: skip
def test_cells_that_cannot_be_are_refused(with_sections, cells, sentence) -> None:
    with pytest.raises(StudyFileError) as caught:
        read(with_sections(cells))
    (error,) = caught.value.errors
    assert re.search(sentence, error), error


def test_a_section_without_column_lines_is_refused(with_sections) -> None:
    study = with_sections({"area_m2": ["", "0.6", "", ""]})
    text = study.read_text(encoding="utf-8")
    text = re.sub(r"\[structure\].*?(?=\[isolation\])", "", text, flags=re.DOTALL)
    study.write_text(text.replace('"column line"', '"none"', 1), encoding="utf-8")
    with pytest.raises(StudyFileError, match="'area_m2' is of a line of its own, and the study ha"):
        read(study)


@pytest.mark.parametrize(
    ("area", "modulus", "strain"),
    # 198 kN, and under a whole panel four times that, over the section.
    [("0.005", "4e9", "is 0.0099, unusual"), ("0.08", "330e9", "is 3e-05, unusual")],
)
def test_one_line_a_hundred_times_too_thin_or_ten_times_too_stiff_is_named(
    with_sections, area, modulus, strain
) -> None:
    cells = {"area_m2": ["0.08", "0.08", area, "0.08"], "modulus_pa": ["", "", modulus, ""]}
    with warnings.catch_warnings(record=True) as found:
        warnings.simplefilter("always")
        gb.read_study(with_sections(cells))
    said = [str(w.message) for w in found if "its strain" in str(w.message)]
    (words,) = said
    assert words.startswith("columns.csv and structure.csv, column 'B1': its strain under 'perman")
    assert strain in words, words


def test_walls_under_too_much_are_named(with_sections) -> None:
    cells = {"area_m2": ["0.03"] * 4, "modulus_pa": ["1e9"] * 4}
    with warnings.catch_warnings(record=True) as found:
        warnings.simplefilter("always")
        gb.read_study(with_sections(cells))
    said = [str(w.message) for w in found]
    for words in ("the strain of columns and walls together under all", "strain under 'permanent_"):
        assert any(words in s and "'area_m2' and 'modulus_pa' of each" in s for s in said), said


def test_the_sizing_reads_the_same_table(with_sections) -> None:
    study = with_sections({"area_m2": ["", "0.6", "", ""], "part": ["one"] * 4})
    loads = sizing.read_loads(study.with_name("columns.csv"), revision="A")
    assert np.isfinite(loads.data["area"].values).tolist() == [False, True, False, False]
    assert loads.names == ["A1", "A2", "B1", "B2"]
