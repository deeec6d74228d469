"""Two-ports and mobilities: reciprocity, cascades, passivity, and the limits of isolation."""

from __future__ import annotations

from functools import reduce
from operator import matmul

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne import bands
from groundborne.isolation import (
    BaseIsolation,
    IdealIsolation,
    LinearMount,
    TwoStageMount,
    coupled_frequencies,
    hysteretic,
    two_stage,
    viscous,
)
from groundborne.structure import (
    DiscFooting,
    RectangularFooting,
    RigidMass,
    SemiInfiniteRod,
    SpringFoundation,
)
from groundborne.twoport import TwoPort, rigid_link

F = xr.DataArray(np.geomspace(1.0, 400.0, 25), dims="frequency")

KILOGRAMS = st.floats(1e2, 1e7)
STIFFNESS = st.floats(1e5, 1e11)
LOSS = st.floats(0.0, 0.5)
PORTS = st.one_of(
    st.builds(lambda m: TwoPort.mass(F, mass=m), KILOGRAMS),
    st.builds(lambda k, n: TwoPort.spring(F, stiffness=k, loss_factor=n), STIFFNESS, LOSS),
    st.builds(lambda c: TwoPort.dashpot(F, damping=c), st.floats(1e3, 1e8)),
    st.builds(
        lambda k, m, n: TwoPort.line(F, stiffness=k, mass=m, loss_factor=n),
        st.floats(1e8, 1e11),
        st.floats(1.0, 1e3),
        LOSS,
    ),
)
FOUNDATIONS = st.one_of(
    st.builds(
        RectangularFooting,
        length=st.floats(5.0, 50.0),
        width=st.floats(0.5, 5.0),
        shear_wave_speed=st.floats(80.0, 800.0),
        density=st.floats(1500.0, 2300.0),
        poisson=st.floats(0.0, 0.499),
        loss_factor=st.floats(0.0, 0.3),
        embedment=st.floats(0.0, 5.0),
        mass=st.floats(0.0, 1e7),
    ),
    st.builds(
        DiscFooting,
        radius=st.floats(0.3, 20.0),
        shear_modulus=st.floats(1e7, 1e9),
        density=st.floats(1500.0, 2300.0),
        poisson=st.floats(0.0, 0.499),
        mass=st.floats(0.0, 1e6),
    ),
    st.builds(
        SpringFoundation,
        stiffness=STIFFNESS,
        damping=st.floats(0.0, 1e9),
        loss_factor=st.floats(0.01, 0.3),
        mass=st.floats(0.0, 1e7),
    ),
    st.builds(
        SemiInfiniteRod,
        area=st.floats(0.01, 50.0),
        youngs_modulus=st.floats(1e9, 2.1e11),
        density=st.floats(400.0, 7850.0),
    ),
)


def _same(one: TwoPort, two: TwoPort, rtol: float) -> None:
    for name in "abcd":
        x, y = getattr(one, name).values, getattr(two, name).values
        size = np.maximum(np.abs(x), np.abs(y))
        # Parameters of one kind cancel in a cascade; the error scales with the largest of them.
        np.testing.assert_array_less(np.abs(x - y), rtol * size + rtol * np.abs(x).max() + 1e-300)


@given(PORTS)
def test_every_element_is_reciprocal(port):
    # Rounding of a d − b c, whose terms grow with the element's size.
    scale = np.abs(port.a * port.d) + np.abs(port.b * port.c)
    assert (np.abs(port.determinant - 1) <= 1e-12 * scale).all()


@given(st.lists(PORTS, min_size=2, max_size=4))
def test_a_cascade_of_reciprocal_elements_is_reciprocal(ports):
    port = reduce(matmul, ports)
    scale = np.abs(port.a * port.d) + np.abs(port.b * port.c)
    assert (np.abs(port.determinant - 1) <= 1e-11 * scale).all()


@given(PORTS, PORTS, PORTS)
def test_a_cascade_is_associative(one, two, three):
    _same((one @ two) @ three, one @ (two @ three), 1e-9)


@given(PORTS)
def test_a_rigid_link_changes_nothing(port):
    _same(rigid_link(F) @ port, port, 1e-15)
    _same(port @ rigid_link(F), port, 1e-15)


@given(PORTS, PORTS)
def test_a_cascade_is_two_elements_one_after_the_other(one, two):
    receiver = RigidMass(mass=1e4).driving_point_mobility(F)
    seen = (one @ two).input_mobility(receiver)
    stepwise = one.input_mobility(two.input_mobility(receiver))
    # Near a resonance of the cascade numerator and denominator cancel.
    np.testing.assert_allclose(seen, stepwise, rtol=1e-6)


@given(FOUNDATIONS)
def test_foundations_and_columns_take_energy_and_give_none(element):
    assert (element.driving_point_mobility(F).real >= 0).all()


@given(PORTS, FOUNDATIONS)
def test_an_element_on_a_passive_receiver_is_passive(port, element):
    mobility = port.input_mobility(element.driving_point_mobility(F))
    assert (mobility.real >= -1e-9 * np.abs(mobility)).all()


@pytest.mark.parametrize("mass", [1e3, 1e6])
def test_a_rigid_mass_takes_no_energy(mass):
    assert (RigidMass(mass=mass).driving_point_mobility(F).real == 0).all()


@given(st.floats(2.0, 20.0), st.floats(1e3, 1e7), st.floats(0.02, 0.3), st.floats(5e-3, 1.0))
def test_without_intermediate_mass_two_stages_are_two_springs_in_a_row(f0, mass, loss, softer):
    upper = LinearMount.tuned(natural_frequency=f0, mass=mass, loss_factor=loss)
    lower = LinearMount(stiffness=upper.stiffness * softer, loss_factor=loss)
    pair = TwoStageMount(lower=lower, upper=upper, intermediate_mass=mass * 1e-12)
    row = 1 / (1 / lower.dynamic_stiffness(F) + 1 / upper.dynamic_stiffness(F))
    # The mass left over adds (ω² m)/(k1 + k2), below 1e-8 at 400 Hz.
    np.testing.assert_allclose(pair.dynamic_stiffness(F), row, rtol=1e-5)


@pytest.mark.parametrize("stiff", ["lower", "upper"])
@given(f0=st.floats(2.0, 20.0), loss=st.floats(0.02, 0.3))
def test_two_stages_become_one_when_one_is_stiff_and_the_mass_small(stiff, f0, loss):
    mass = 1e5
    soft = (2 * np.pi * f0) ** 2 * mass
    k = {"lower": soft, "upper": soft} | {stiff: soft * 1e10}
    pair = two_stage(
        F,
        lower_stiffness=k["lower"],
        lower_mass=mass * 1e-9,
        upper_stiffness=k["upper"],
        upper_mass=mass,
        lower_loss_factor=loss,
        upper_loss_factor=loss,
    )
    single = hysteretic(F / f0, loss_factor=loss)
    np.testing.assert_allclose(20 * np.log10(pair / single), 0.0, atol=1e-3)


@given(st.floats(2.0, 20.0), st.floats(2.0, 20.0), st.floats(0.02, 0.3))
def test_the_closed_form_of_two_stages_is_the_cascade(f1, f2, loss):
    m1, m2 = 4e4, 1e5
    lower = LinearMount.tuned(natural_frequency=f1, mass=m1 + m2, loss_factor=loss)
    upper = LinearMount.tuned(natural_frequency=f2, mass=m2, loss_factor=loss)
    pair = TwoStageMount(lower=lower, upper=upper, intermediate_mass=m1)
    ratio = pair.two_port(F).velocity_ratio(
        source_mobility=0.0, receiver_mobility=RigidMass(mass=m2).driving_point_mobility(F)
    )
    closed = two_stage(
        F,
        lower_stiffness=lower.stiffness,
        lower_mass=m1,
        upper_stiffness=upper.stiffness,
        upper_mass=m2,
        lower_loss_factor=loss,
        upper_loss_factor=loss,
    )
    np.testing.assert_allclose(20 * np.log10(np.abs(ratio) / closed), 0.0, atol=1e-8)


def test_coupled_frequencies_without_a_second_mass():
    low, high = coupled_frequencies(
        lower_stiffness=1e6, lower_mass=1e3, upper_stiffness=1e9, upper_mass=1e-6
    )
    assert low == pytest.approx(np.sqrt(1e6 / 1e3) / (2 * np.pi), rel=1e-6)
    assert high > 1e3 * low


RIGID_GROUND = SpringFoundation(stiffness=1e18, loss_factor=0.05)


@given(st.floats(2.0, 20.0), st.floats(1e4, 1e8))
def test_a_rigid_mass_on_rigid_ground_loses_20_lg_of_1_less_ratio_squared(f0, mass):
    """The mobility insertion loss in its undamped limit, at each frequency."""
    mount = LinearMount.tuned(natural_frequency=f0, mass=mass, loss_factor=1e-6)
    base = BaseIsolation(mount, below=RIGID_GROUND, above=RigidMass(mass=mass))
    away = F.where(np.abs(F / f0 - 1) > 0.05, drop=True)
    expected = 20 * np.log10(np.abs(1 - (away / f0) ** 2))
    # The ground gives way by ω² m/k = 6e-4 at most, the damping by its square.
    np.testing.assert_allclose(base.insertion_loss(away), expected, atol=0.02)


@given(st.floats(2.0, 20.0), st.floats(0.01, 0.3))
@settings(max_examples=30)
def test_a_band_loses_the_energy_mean_of_its_lines(f0, loss):
    """Per band: the mean of |1/(1 − r²/(1 + jη))|², worked out here by itself."""
    mass, labels = 1e5, bands.third_octaves(4, 250)
    mount = LinearMount.tuned(natural_frequency=f0, mass=mass, loss_factor=loss)
    low, high = bands.edges(labels)
    step = (np.arange(4000) + 0.5) / 4000
    f = low.values[:, None] + (high - low).values[:, None] * step
    transmitted = np.abs(1 / (1 - (f / f0) ** 2 / (1 + 1j * loss))) ** 2
    expected = 10 * np.log10(transmitted.mean(axis=1))
    ideal = IdealIsolation(mount, mass).level_change(labels)
    base = BaseIsolation(mount, below=RIGID_GROUND, above=RigidMass(mass=mass))
    # 0.1 dB is what the spacing of lines promises.
    np.testing.assert_allclose(ideal, expected, atol=0.1)
    np.testing.assert_allclose(base.level_change(labels), ideal, atol=0.02)


@given(st.floats(2.0, 20.0), st.floats(0.01, 0.5))
def test_hysteretic_transmissibility_is_the_ratio_of_the_mount(f0, loss):
    mass = 1e5
    mount = LinearMount.tuned(natural_frequency=f0, mass=mass, loss_factor=loss)
    ratio = mount.two_port(F).velocity_ratio(
        source_mobility=0.0, receiver_mobility=RigidMass(mass=mass).driving_point_mobility(F)
    )
    np.testing.assert_allclose(np.abs(ratio), hysteretic(F / f0, loss_factor=loss), rtol=1e-10)


@given(st.floats(2.0, 20.0), st.floats(0.01, 0.3))
def test_viscous_transmissibility_is_the_ratio_of_the_mount(f0, ratio):
    mass = 1e5
    stiffness = (2 * np.pi * f0) ** 2 * mass
    mount = LinearMount(stiffness=stiffness, damping=2 * ratio * np.sqrt(stiffness * mass))
    moved = mount.two_port(F).velocity_ratio(
        source_mobility=0.0, receiver_mobility=RigidMass(mass=mass).driving_point_mobility(F)
    )
    np.testing.assert_allclose(np.abs(moved), viscous(F / f0, damping_ratio=ratio), rtol=1e-10)


@pytest.mark.parametrize("loss_factor", [0.01, 0.02, 0.05, 0.1, 0.2, 0.3])
@pytest.mark.parametrize("f0", [3.5, 4.47, 5.6, 8.0, 11.3])
def test_twice_as_many_lines_move_no_band_by_a_tenth_of_a_decibel(loss_factor, f0):
    """Also with the resonance on an edge between two bands."""
    labels, mass = bands.third_octaves(2, 80), 2e6
    below = RectangularFooting(
        length=24.0, width=15.0, shear_wave_speed=220.0, density=1950.0, poisson=0.35,
        loss_factor=max(loss_factor, 0.05), mass=5e5,
    )  # fmt: skip
    above = RigidMass(mass=mass)
    mount = LinearMount.tuned(natural_frequency=f0, mass=mass, loss_factor=loss_factor)
    floor = min(mount.loss_factor_floor, below.loss_factor_floor, above.loss_factor_floor)
    count = 2 * bands.single_frequencies(labels, loss_factor=floor).sizes["single_frequency"]
    low, high = bands.edges(labels)
    step = xr.DataArray((np.arange(count) + 0.5) / count, dims="single_frequency")
    f = low + (high - low) * step
    receiver = above.driving_point_mobility(f)

    def power(port, source):
        ratio = port.velocity_ratio(source_mobility=source, receiver_mobility=receiver)
        return (abs(ratio) ** 2).mean("single_frequency")

    source = below.driving_point_mobility(f)
    base = 10 * np.log10(power(mount.two_port(f), source) / power(rigid_link(f), source))
    ideal = 10 * np.log10(power(mount.two_port(f), 0.0))
    computed = BaseIsolation(mount, below=below, above=above).level_change(labels)
    np.testing.assert_allclose(computed, base, atol=0.1)
    np.testing.assert_allclose(IdealIsolation(mount, mass).level_change(labels), ideal, atol=0.1)


DISC = DiscFooting(radius=4.0, shear_modulus=1e8, density=1900.0, poisson=0.4)


def test_mounts_that_vanish_isolate_nothing():
    mount = LinearMount(stiffness=1e18, loss_factor=0.1)
    base = BaseIsolation(mount, below=DISC, above=RigidMass(mass=1e6))
    np.testing.assert_allclose(base.level_change(bands.third_octaves(4, 250)), 0.0, atol=1e-3)


def test_softer_mounts_gain_more_well_above_resonance():
    f0 = xr.DataArray([3.5, 5.0, 7.0, 10.0], dims="variant")
    mount = LinearMount.tuned(natural_frequency=f0, mass=1e6, loss_factor=0.1)
    base = BaseIsolation(mount, below=DISC, above=RigidMass(mass=1e6))
    assert (base.level_change(bands.third_octaves(25, 250)).diff("variant") > 0).all()
