"""The invented component lists follow from the sizes they name, and can carry real columns."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from groundborne.isolation.rubber.bearing import LaminatedBearing
from groundborne.isolation.rubber.checks import bearing_checks
from groundborne.isolation.rubber.compound import RubberCompound
from groundborne.isolation.rubber.pads import PlainPad
from groundborne.isolation.rubber.plan import Rectangle
from groundborne.isolation.steel.spring import HelicalSpring
from groundborne.structure.element import GRAVITY
from groundborne.tables import Table, read_table

COLUMNS = (  # noqa: SIM905
    "component,kind,static_stiffness_n_m,dynamic_stiffness_n_m,loss_factor,own_mass_kg,"
    "least_load_n,rated_load_n,largest_load_n,largest_deflection_m,lateral_stiffness_n_m,height_m,"
    "plan_x_m,plan_y_m,stiffness_tolerance,creep_per_decade,certificate"
).split(",")
FILES = {"springs": "spring", "bearings": "bearing", "pads": "pad"}
DIGITS = 1e-4
"""Five digits are written, the fifth rounded."""


@pytest.fixture(scope="module")
def tables(data_folder) -> dict[str, Table]:
    return {name: read_table(data_folder / "components" / f"{name}.csv") for name in FILES}


def _sizes(table: Table) -> list[dict[str, float]]:
    """Sizes from the notes, one for each row and in the same order."""
    found = [note.split(": ", 1) for note in table.notes if "=" in note]
    assert [name for name, _ in found] == table.cells[:, 0].tolist()
    return [{k: float(v) for k, v in (p.split("=") for p in text.split())} for _, text in found]


def _column(table: Table, name: str) -> xr.DataArray:
    return xr.DataArray(table.numbers([name])[:, 0], dims="component")


def _springs(table: Table) -> tuple[HelicalSpring, xr.DataArray]:
    sizes = _sizes(table)

    def of(key: str, unit: float = 1.0) -> xr.DataArray:
        return xr.DataArray([size[key] * unit for size in sizes], dims="component")

    spring = HelicalSpring(
        wire_diameter=of("bar_mm", 1e-3),
        coil_diameter=of("coil_mm", 1e-3),
        active_coils=of("active"),
        free_length=of("free_mm", 1e-3),
    )
    return spring, of("coils")


def _blocks(table: Table) -> tuple[Rectangle, RubberCompound, dict[str, xr.DataArray]]:
    sizes = _sizes(table)
    arrays = {
        key: xr.DataArray([size[key] for size in sizes], dims="component") for key in sizes[0]
    }
    side = arrays["side_mm"] * 1e-3
    return (
        Rectangle(plan_x=side, plan_y=side),
        RubberCompound.from_hardness(arrays["hardness"]),
        arrays,
    )


@pytest.mark.parametrize("name", FILES)
def test_columns_and_marks(tables, name) -> None:
    table = tables[name]
    table.require(COLUMNS)
    assert set(table.text("kind")) == {FILES[name]}
    assert len(set(table.unique("component"))) >= 6
    assert "Invented" in table.notes[0]
    assert "no certificate" in table.notes[0]
    assert not any(table.text("certificate", empty=True))


@pytest.mark.parametrize("name", FILES)
def test_numbers_are_consistent(tables, name) -> None:
    table = tables[name]
    least, rated, largest = (
        _column(table, f"{which}_load_n") for which in ("least", "rated", "largest")
    )
    assert (least < rated).all()
    assert (rated * 1.4 < largest).all()
    static = _column(table, "static_stiffness_n_m")
    assert np.allclose(_column(table, "largest_deflection_m") * static, largest, rtol=2 * DIGITS)
    assert (_column(table, "dynamic_stiffness_n_m") >= static).all()
    assert (_column(table, "largest_deflection_m") < _column(table, "height_m")).all()


def test_springs_follow_from_their_sizes(tables) -> None:
    table = tables["springs"]
    spring, coils = _springs(table)
    rated = _column(table, "rated_load_n")
    for column, value in {
        "static_stiffness_n_m": spring.rate * coils,
        "dynamic_stiffness_n_m": spring.rate * coils,
        "own_mass_kg": spring.mass * coils,
        "largest_load_n": spring.load_at_solid * coils,
        "largest_deflection_m": spring.travel_to_solid,
        "lateral_stiffness_n_m": spring.lateral_rate(rated / coils) * coils,
    }.items():
        assert np.allclose(_column(table, column), value, rtol=DIGITS), column


def test_springs_are_sound(tables) -> None:
    table = tables["springs"]
    spring, coils = _springs(table)
    rated = _column(table, "rated_load_n")
    deflection = spring.deflection(rated / coils)
    assert deflection.min() > 0.019
    assert deflection.max() < 0.031
    assert (spring.usable_travel() > 1.4 * deflection).all()
    assert (spring.solid_utilisation < 0.9).all()
    assert (spring.slenderness_utilisation < 1).all()
    assert (spring.sway_deflection > spring.travel_to_solid).all()
    assert rated.min() <= 20e3
    assert rated.max() >= 400e3
    names = table.text("component").tolist()
    assert [float(n[1:].split("-")[0]) * 1e3 for n in names] == rated.values.tolist()


def test_bearings_follow_from_their_sizes(tables) -> None:
    table = tables["bearings"]
    plan, compound, size = _blocks(table)
    bearing = LaminatedBearing(
        plan=plan,
        layer_thickness=size["layer_mm"] * 1e-3,
        layers=size["layers"],
        plate_thickness=size["plate_mm"] * 1e-3,
        compound=compound,
    )
    rated = _column(table, "rated_load_n")
    for column, value in {
        "static_stiffness_n_m": bearing.static_stiffness,
        "dynamic_stiffness_n_m": bearing.dynamic_stiffness,
        "own_mass_kg": bearing.own_mass,
        "lateral_stiffness_n_m": bearing.shear_under(rated),
        "height_m": bearing.height,
        "loss_factor": compound.loss_factor,
        "creep_per_decade": compound.creep_per_decade,
    }.items():
        assert np.allclose(_column(table, column), value, rtol=DIGITS), column
    at_limit = bearing_checks(bearing=bearing, load=_column(table, "largest_load_n"))
    use = np.maximum(at_limit.stability_utilisation, at_limit.compressive_strain / 5)
    plate = at_limit.required_plate / at_limit.plate
    assert np.allclose(np.maximum(use, plate), 1, rtol=DIGITS)


def test_bearings_give_the_frequency_in_their_name(tables) -> None:
    table = tables["bearings"]
    mass = _column(table, "rated_load_n") / GRAVITY
    frequency = np.sqrt(_column(table, "dynamic_stiffness_n_m") / mass) / (2 * np.pi)
    named = np.array([float(n.split("-")[1]) for n in table.text("component")])
    assert np.allclose(frequency, named, rtol=0.03)
    assert frequency.min() < 8
    assert frequency.max() > 10.5


def test_pads_follow_from_their_sizes(tables) -> None:
    table = tables["pads"]
    plan, compound, size = _blocks(table)
    pad = PlainPad(plan=plan, thickness=size["thick_mm"] * 1e-3, compound=compound)
    for column, value in {
        "static_stiffness_n_m": pad.static_stiffness,
        "dynamic_stiffness_n_m": pad.dynamic_stiffness,
        "own_mass_kg": pad.own_mass,
        "lateral_stiffness_n_m": pad.shear_stiffness,
    }.items():
        assert np.allclose(_column(table, column), value, rtol=DIGITS), column
    assert np.all(pad.is_linear(_column(table, "rated_load_n")))


@pytest.mark.parametrize("name", ["springs", "bearings"])
@pytest.mark.parametrize("load", [1e6, 2.5e6, 5e6, 9e6])
def test_packs_of_one_to_twelve_can_carry_a_column(tables, name, load) -> None:
    rated = _column(tables[name], "rated_load_n")
    number = xr.DataArray(np.arange(1, 13), dims="number")
    share = load / (number * rated)
    assert ((share > 0.85) & (share < 1.1)).any()
