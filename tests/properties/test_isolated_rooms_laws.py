"""Laws of floating floors, ceilings and their contacts, for any numbers in their bounds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from groundborne import bands
from groundborne.isolation.rooms.air import air_stiffness, mass_air_mass_frequency
from groundborne.isolation.rooms.bridge import BridgedFloor, Contact
from groundborne.isolation.rooms.ceiling import HungCeiling
from groundborne.isolation.rooms.floor import JackUpFloor
from groundborne.isolation.rooms.lining import BridgedLining, point_bridge_factor
from groundborne.structure import FlatSlab, FloatingFloor, plate_bending_stiffness

F = bands.third_octaves(50, 200)

floors = st.builds(
    JackUpFloor,
    thickness=st.floats(0.06, 0.25),
    density=st.floats(1600, 2600),
    youngs_modulus=st.floats(10e9, 40e9),
    mount_stiffness=st.floats(2e5, 1e7),
    mount_loss_factor=st.floats(0.02, 0.3),
    spacing_x=st.floats(0.6, 2.0),
    spacing_y=st.floats(0.6, 2.0),
    air_gap=st.floats(0.02, 0.3),
)


@given(floors)
def test_air_only_stiffens(floor: JackUpFloor) -> None:
    """Vented below filled below standard below sealed, and the squares add."""
    f = floor.frequencies.sel(air=["vented", "filled", "standard", "sealed"]).values
    assert (np.diff(f) > 0).all()
    air = mass_air_mass_frequency(gap=floor.air_gap, first_mass=floor.mass_per_area)
    assert floor.natural_frequency**2 == pytest.approx(floor.vented_frequency**2 + air**2)


@given(floors, st.floats(1.01, 3.0))
def test_more_height_is_softer(floor: JackUpFloor, more: float) -> None:
    deeper = replace(floor, air_gap=floor.air_gap * more)
    assert deeper.natural_frequency < floor.natural_frequency
    assert deeper.build_up > floor.build_up
    assert deeper.air_stiffness_per_area * more == pytest.approx(floor.air_stiffness_per_area)


@given(floors)
def test_static_deflection_gives_the_vented_frequency(floor: JackUpFloor) -> None:
    own = np.sqrt(9.80665 / floor.static_deflection) / (2 * np.pi)
    assert own == pytest.approx(floor.vented_frequency)


@given(floors, st.floats(50, 2000))
def test_a_free_base_always_raises_the_frequency(floor: JackUpFloor, mass: float) -> None:
    assert floor.frequency_over(mass_per_area=mass) > floor.natural_frequency


@settings(max_examples=15, deadline=None)
@given(floors, st.floats(5.0, 9.0), st.floats(0.2, 0.35))
def test_layer_and_mode_split(floor: JackUpFloor, span: float, thickness: float) -> None:
    """Coupled frequencies lie outside the uncoupled ones, and their product is the same."""
    slab = FlatSlab(
        span_x=span, span_y=span, thickness=thickness, youngs_modulus=34e9, density=2400.0,
        poisson=0.2, loss_factor=0.05,
    )  # fmt: skip
    low, high = floor.on_slab(slab=slab).coupled_frequencies
    own, first = float(floor.natural_frequency), float(slab.first_resonance)
    assert low < min(own, first) < max(own, first) < high
    assert low * high == pytest.approx(own * first)


@given(st.floats(20, 200), st.floats(0.4, 1.5), st.floats(0.4, 1.5), st.integers(2, 9))
def test_hangers_share_the_whole_ceiling(mass: float, x: float, y: float, count: int) -> None:
    ceiling = HungCeiling(
        board_mass=mass, spacing_x=x, spacing_y=y, loss_factor=0.05, cavity_depth=0.2,
        hanger_deflection=0.02, edge_offset=0.1,
    )  # fmt: skip
    number = np.array([(count - 2) ** 2, 2 * (count - 2), 2 * (count - 2), 4])
    area = ((count - 1) * x + 0.2) * ((count - 1) * y + 0.2)
    assert float((ceiling.hanger_masses.values * number).sum()) == pytest.approx(mass * area)


def bridged(area: float, thickness: float, contacts: tuple[Contact, ...]) -> BridgedFloor:
    def rigidity(h: float) -> float:
        return float(plate_bending_stiffness(youngs_modulus=30e9, thickness=h, poisson=0.2))

    mass = 2400.0 * thickness
    return BridgedFloor(
        floor=FloatingFloor(mass_per_area=mass, stiffness_per_area=1e6, loss_factor=0.1),
        area=area, bending_stiffness=rigidity(thickness), loss_factor=0.03,
        base_bending_stiffness=rigidity(0.25), base_mass_per_area=600.0, contacts=contacts,
    )  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(
    st.floats(25, 200), st.floats(0.08, 0.12), st.integers(0, 20), st.floats(1e4, 1e9),
    st.booleans(),
)  # fmt: skip
def test_contacts_never_help_above_the_modes(
    area: float, thickness: float, count: int, stiffness: float, at_edge: bool
) -> None:
    """More or stiffer contacts pass more, none is the clean floor, equal energy is the most."""
    one = Contact(name="a", count=count, stiffness=stiffness, at_edge=at_edge)
    floor = bridged(area, thickness, (one,))
    f = F.where(floor.resonant(F), drop=True)
    f = bands.coordinate(f.values)
    change = floor.level_change(f)
    clean = floor.without_contacts.level_change(f)
    more = replace(floor, contacts=(replace(one, count=count + 1),)).level_change(f)
    stiffer = replace(floor, contacts=(replace(one, stiffness=None),)).level_change(f)
    assert (change >= clean - 1e-9).all()
    assert (more >= change - 1e-9).all()
    assert (stiffer >= change - 1e-9).all()
    cap = 10 * np.log10(10 ** (clean / 10) + 600.0 / (2400.0 * thickness))
    assert (stiffer <= cap + 1e-9).all()
    if count == 0:
        assert change.values == pytest.approx(clean.values)


@given(st.floats(1, 60), st.floats(500, 4000), st.integers(0, 100))
def test_fixings_set_a_plateau(area: float, critical: float, count: int) -> None:
    """Far above the resonance a lining gives its plateau, and never more."""
    factor = point_bridge_factor(area=area, critical_frequency=critical)
    lining = BridgedLining(
        natural_frequency=2.0, loss_factor=0.1, count=count, factor=factor,
        critical_frequency=critical,
    )  # fmt: skip
    change = lining.level_change(F)
    if count:
        plateau = 10 * np.log10(count * factor)
        assert (change >= plateau).all()
        assert change.sel(frequency=200).item() == pytest.approx(
            10 * np.log10(10 ** (plateau / 10) + 1e-8), abs=0.1
        )
    else:
        assert change.sel(frequency=200).item() == pytest.approx(-80.0, abs=0.3)


@given(st.floats(0.005, 1.0))
def test_the_standard_lies_between_the_two_gas_laws(gap: float) -> None:
    values = [air_stiffness(gap=gap, state=s) for s in ("vented", "filled", "standard", "sealed")]
    assert values == sorted(values)
    assert values[3] / values[1] == pytest.approx(1.4)
