"""Columns of a grid with phases: closed lattice sums, their limits, and lines that carry them.

Four-digit values: worked out beside the formulas from double sums over |p|, |q| <= 60 [derived];
those sums are good to 1.1e-4, the tolerance to the last digit printed.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne import bands
from groundborne.isolation import LinearMount
from groundborne.propagation import MechanicalCoupling
from groundborne.structure import (
    ColumnLine,
    ColumnPhases,
    EdgeSupportedSlab,
    FlatSlab,
    FloatingFloor,
    InfinitePlate,
    IsolationPlane,
    RigidMass,
    SpringFoundation,
    Storey,
    lattice,
    panel,
)

T = FlatSlab(
    span_x=6.5, span_y=5.85, thickness=0.22, youngs_modulus=30e9, density=2400.0, poisson=0.2,
    loss_factor=0.06, superimposed_mass=150.0,
)  # fmt: skip
IN_PHASE = ColumnPhases(kind="in phase")


def at(*frequencies: float) -> xr.DataArray:
    return xr.DataArray(list(frequencies), dims="frequency")


def one_wave(frequency: xr.DataArray, theta: float, span: float) -> ColumnPhases:
    """The wave along x and y at 45° in which square bays have the phase theta on both axes."""
    speed = 2 * np.pi * frequency * span * np.sqrt(0.5) / theta
    return ColumnPhases(kind="wave", apparent_speed=speed, direction=45.0)


def double_sum(slab: FlatSlab, f: float, tx: float, ty: float, terms: int) -> complex:
    p = 2 * np.pi * np.arange(-terms, terms + 1)
    k4 = (((p + tx) / slab.span_x)[:, None] ** 2 + ((p + ty) / slab.span_y) ** 2) ** 2
    stiffness = slab.bending_stiffness * (1 + 1j * slab.loss_factor)
    omega = 2 * np.pi * f
    total = (1 / (stiffness * k4 - slab.mass_per_area * omega**2)).sum()
    return complex(slab.span_x * slab.span_y / (1j * omega * total))


@pytest.mark.parametrize(
    ("f", "impedance", "mid", "square", "mean"),
    [
        (8.0, 7.365e4 + 2.038e6j, 1.876, 2.520, 1.574),
        (12.5, 2.185e7 + 1.427e7j, 19.71, 186.9, 12.89),
        (20.0, 1.984e5 - 1.488e6j, 1.391, 0.5615, 0.4633),
        (31.5, 2.448e5 + 2.247e5j, 1.043, 0.8435, 0.0651),
    ],
)
def test_printed_values_in_phase(f, impedance, mid, square, mean):
    found = T.lattice_impedance(at(f), IN_PHASE).item()
    # At 12.5 Hz, beside the zero of the mobility, the cut double sum shows in the third digit.
    assert found == pytest.approx(impedance, rel=2e-3 if f == 12.5 else 4e-4)
    assert abs(T.mid_panel_ratio(at(f)).item()) == pytest.approx(mid, rel=1.5e-3)
    assert T.surface_mean_square_ratio(at(f)).item() == pytest.approx(square, rel=2.5e-3)
    assert abs(T.mean_velocity_ratio(at(f)).item()) == pytest.approx(mean, abs=6e-5 + 1e-3 * mean)


@pytest.mark.parametrize(
    ("f", "reactance"), [(8.0, -1.002e6), (12.5, -3.853e5), (20.0, 2.522e5), (31.5, 1.441e6)]
)
def test_printed_values_in_opposite_phase(f, reactance):
    slab = replace(T, span_x=6.5, span_y=5.85)
    theta = np.pi * (1 - 1e-9)
    found = lattice_impedance(slab, f, theta, theta)
    assert found.imag == pytest.approx(reactance, rel=3e-4)


def test_slab_of_the_worked_values() -> None:
    """Stiffness, mass and impedance as an endless plate, to the digits printed."""
    assert f"{T.bending_stiffness:.4e}" == "2.7729e+07"
    assert T.mass_per_area == pytest.approx(678.0)
    endless = InfinitePlate(bending_stiffness=T.bending_stiffness, mass_per_area=T.mass_per_area)
    assert 1 / endless.driving_point_mobility(at(20.0)).item() == pytest.approx(1.0969e6, abs=50)


def test_mass_of_a_panel_at_low_frequency() -> None:
    """In phase at 1 Hz: 1.629e5 N s/m, against 1.620e5 of the bare mass."""
    assert f"{T.lattice_impedance(at(1.0), IN_PHASE).imag.item():.3e}" == "1.629e+05"
    assert f"{2 * np.pi * float(T.mass):.3e}" == "1.620e+05"


def test_least_real_part_over_all_phases() -> None:
    """444 N s/m was found by the cut sum, at 2 Hz in phase."""
    phases = ColumnPhases(kind="uniform", points=6)
    f = at(*np.geomspace(2.0, 200.0, 120))
    least = float(T.lattice_impedance(f, phases).real.min())
    in_phase = T.lattice_impedance(f, IN_PHASE).real
    assert in_phase.min().item() == pytest.approx(444.0, rel=5e-3)
    assert in_phase.min().item() == in_phase[0].item()
    assert least > 444.0


def test_blocked_frequency_of_a_square_bay() -> None:
    """f = 15.18/(2πa²) √(B/m″)."""
    square = replace(T, span_y=T.span_x)
    scale = np.sqrt(T.bending_stiffness / T.mass_per_area) / (2 * np.pi * 6.5**2)
    assert f"{float(square.first_resonance) / scale:.2f}" == "15.18"


def lattice_impedance(slab: FlatSlab, f: float, tx: float, ty: float) -> complex:
    omega = 2 * np.pi * f
    stiffness = slab.bending_stiffness * (1 + 1j * slab.loss_factor)
    z = np.asarray(slab.mass_per_area * omega**2 / stiffness)
    total = lattice.lattice_sum(z, slab.span_x, slab.span_y, np.asarray(tx), np.asarray(ty))
    return complex(slab.span_x * slab.span_y * stiffness / (1j * omega * total))


phases = st.floats(-np.pi, np.pi)


@given(
    f=st.floats(2, 200), tx=phases, ty=phases, a=st.floats(3, 10), b=st.floats(3, 10),
    loss=st.floats(0.01, 0.3),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_closed_sum_is_the_double_sum(f, tx, ty, a, b, loss):
    """Tolerance: waves beyond 400 hold 1/(400 · 2π)² of the sum, and resonances amplify it."""
    slab = replace(T, span_x=a, span_y=b, loss_factor=loss)
    found = lattice_impedance(slab, f, tx, ty)
    assert found == pytest.approx(double_sum(slab, f, tx, ty, 400), rel=2e-4 / loss**0.5)
    assert found.real > 0  # passive
    for sx, sy in product((1, -1), (1, -1)):
        assert lattice_impedance(slab, f, sx * tx, sy * ty) == pytest.approx(found, rel=1e-9)
    turned = lattice_impedance(replace(slab, span_x=b, span_y=a), f, ty, tx)
    assert turned == pytest.approx(found, rel=1e-4)


@given(f=st.floats(2, 200), loss=st.floats(0.01, 0.3))
@settings(max_examples=30, deadline=None)
def test_no_phase_is_the_panel_between_columns_in_phase(f, loss):
    z = np.asarray(2e-5 * (2 * np.pi * f) ** 2 / (1 + 1j * loss))
    zero = np.asarray(0.0)
    whole = lattice.lattice_sum(z, np.asarray(6.0), np.asarray(8.0), zero, zero)
    assert complex(whole) == pytest.approx(
        complex(panel.columns_sum(z, np.asarray(6.0), np.asarray(8.0))), rel=2e-6
    )


def test_mean_mobility_over_all_phases_is_that_of_an_endless_plate():
    """The mean over the zone of phases makes the sum an integral: to 1 % with 32² points."""
    means = []
    for points in (8, 16):  # of half an axis
        found = T.lattice_impedance(at(40.0), ColumnPhases(kind="uniform", points=points))
        mobility = (1 / found).mean(("phase_x", "phase_y")).item()
        plate = 8 * np.sqrt(T.bending_stiffness * (1 + 0.06j) * T.mass_per_area)
        means.append(mobility * plate)
    assert means[0] == pytest.approx(1.035 + 0.050j, abs=4e-3)  # printed from a cut sum
    assert means[1] == pytest.approx(0.9936 - 0.0045j, abs=4e-3)


def test_power_put_in_is_power_lost_in_bending():
    """``½ Re Z ω²`` for unit displacement against ``η B`` times the mean curvature, 20 Hz."""
    omega, terms = 2 * np.pi * 20.0, 2 * np.pi * np.arange(-200, 201)
    k2 = (terms / T.span_x)[:, None] ** 2 + (terms / T.span_y) ** 2
    stiffness = T.bending_stiffness * (1 + 1j * T.loss_factor)
    answer = 1 / (stiffness * k2**2 - T.mass_per_area * omega**2)
    wave = answer / answer.sum()
    lost = T.loss_factor * T.bending_stiffness * (abs(wave) ** 2 * k2**2).sum()
    lost *= omega / 2 * T.span_x * T.span_y
    put_in = 0.5 * T.impedance(at(20.0)).real.item() * omega**2
    assert put_in == pytest.approx(lost, rel=1e-4)


def test_mean_velocity_is_the_momentum_of_the_panel():
    f = at(5.0, 12.5, 31.5, 80.0)
    mass = T.mass
    newton = T.impedance(f) / (2j * np.pi * f * mass)
    assert abs(T.mean_velocity_ratio(f) / newton - 1).max() < 1e-9
    edges = EdgeSupportedSlab(**{n: getattr(T, n) for n in EdgeSupportedSlab.__dataclass_fields__})
    newton = edges.impedance(f) / (2j * np.pi * f * mass)
    assert abs(edges.mean_velocity_ratio(f) / newton - 1).max() < 1e-9


def tower(slab, storeys, phases, **others):
    level = Storey(
        floor="0", height=3.0, area=0.16, youngs_modulus=33e9, density=2450.0, loss_factor=0.02,
        slab=slab,
    )  # fmt: skip
    # A foundation that imposes its velocity.
    base = SpringFoundation(stiffness=1e16, damping=1e12)
    return ColumnLine(
        storeys=tuple(replace(level, floor=str(i)) for i in range(1, storeys + 1)),
        foundation=base,
        phases=phases,
        **others,
    )


def half_a_wave(frequency: float) -> ColumnPhases:
    """The plane wave with half its length to the bays of T on both axes."""
    direction = np.arctan2(T.span_x, T.span_y)
    speed = 2 * frequency * T.span_x * np.cos(direction) * (1 + 1e-9)
    return ColumnPhases(kind="wave", apparent_speed=speed, direction=float(np.rad2deg(direction)))


@pytest.mark.parametrize(
    ("f", "in_phase", "quarter", "opposite", "mean_5", "mean_10", "plate"),
    [
        (10.0, 38.95, 5.276, 0.6618, 4.515, 4.786, 0.9253),
        (16.0, 0.0769, 0.4577, 1.032, 3.853, 3.936, 0.8397),
        (25.0, 0.4649, 5.077, 7.949, 1.796, 1.899, 0.6945),
    ],
)
def test_printed_chain_of_four_slabs(f, in_phase, quarter, opposite, mean_5, mean_10, plate):
    """Single frequencies; sums of the source were cut at 25 waves, which moves peaks by 1 %."""

    def top(slab, phases):
        ratio = tower(slab, 4, phases).velocity_ratio(at(f)).isel(floor=-1)
        return float((abs(ratio) ** 2).mean())

    assert top(T, IN_PHASE) == pytest.approx(in_phase, rel=0.01)
    # One point on each axis is a quarter of a wave to the bay.
    assert top(T, ColumnPhases(kind="uniform", points=1)) == pytest.approx(quarter, rel=0.005)
    assert top(T, half_a_wave(f)) == pytest.approx(opposite, rel=0.005)
    assert top(T, ColumnPhases(kind="uniform", points=5)) == pytest.approx(mean_5, rel=0.015)
    assert top(T, ColumnPhases(kind="uniform", points=10)) == pytest.approx(mean_10, rel=0.015)
    endless = InfinitePlate(bending_stiffness=T.bending_stiffness, mass_per_area=T.mass_per_area)
    assert top(endless, IN_PHASE) == pytest.approx(plate, rel=0.005)


@pytest.mark.parametrize("floating", [None, "limp", "bending"])
def test_phases_of_a_fast_wave_and_of_a_fast_window_are_columns_in_phase(floating):
    floor = FloatingFloor(mass_per_area=200.0, stiffness_per_area=4e6, loss_factor=0.1)
    if floating == "bending":
        floor = replace(floor, bending_stiffness=2e6)
    slab = T if floating is None else replace(T, floating_floor=floor)
    f = bands.third_octaves(5, 160)
    still = tower(slab, 3, IN_PHASE).column_mean_square(f)
    for phases in (
        ColumnPhases(apparent_speed=1e7),
        ColumnPhases(kind="wave", apparent_speed=1e7, direction=30.0),
    ):
        moved = tower(slab, 3, phases).column_mean_square(f)
        assert abs(10 * np.log10(moved / still)).max() < 1e-3  # dB


def test_window_is_in_phase_low_and_uniform_high():
    """c = 200 m/s: half a wave on 6.5 m is 15.4 Hz, on 5.85 m 17.1 Hz; above, all phases."""
    f = bands.third_octaves(2, 80)
    lines = {
        kind: tower(T, 6, ColumnPhases(kind=kind, points=4)).column_mean_square(f)
        for kind in ("window", "uniform", "in phase")
    }
    off = {k: abs(10 * np.log10(lines["window"] / v)).max("floor") for k, v in lines.items()}
    assert off["uniform"].sel(frequency=slice(20, None)).max() < 1e-9
    assert off["in phase"].sel(frequency=slice(None, 2)).max() < 0.3
    assert off["in phase"].sel(frequency=16.0) > 10


def test_mean_over_phases_is_that_of_single_waves():
    """A line with a set of phases against lines with one wave each, square bays."""
    square = replace(T, span_y=T.span_x)
    f = at(6.0, 11.0, 23.0, 47.0)
    mean = 0.0
    for i, j in product(range(2), range(2)):
        theta = (np.pi * (i + 0.5) / 2, np.pi * (j + 0.5) / 2)
        radius = np.hypot(*theta)
        wave = ColumnPhases(
            kind="wave",
            apparent_speed=2 * np.pi * f * square.span_x / radius,
            direction=float(np.rad2deg(np.arctan2(theta[1], theta[0]))),
        )
        mean = mean + abs(tower(square, 3, wave).velocity_ratio(f)) ** 2 / 4
    whole = abs(tower(square, 3, ColumnPhases(kind="uniform", points=2)).velocity_ratio(f)) ** 2
    assert abs(whole.mean(("phase_x", "phase_y")) / mean - 1).max() < 1e-9


def test_a_rigid_body_on_springs_needs_columns_in_phase():
    """A uniform set of phases knows no rigid body: no resonance of the mass on its springs."""
    f = bands.third_octaves(2, 8)
    line = tower(T, 4, IN_PHASE, base_slab=RigidMass(mass=3e4))
    mass = float(line.mass_from("base"))
    mount = LinearMount(stiffness=mass * (2 * np.pi * 4.0) ** 2, loss_factor=0.1)
    plane = IsolationPlane(mount=mount, under="base")
    loss = {
        kind: replace(line, isolation=plane, phases=ColumnPhases(kind=kind)).insertion_loss(f)
        for kind in ("in phase", "window", "uniform")
    }
    worst = {k: float(v.sel(floor="4").min()) for k, v in loss.items()}
    assert worst["in phase"] < -8
    assert abs(worst["window"] - worst["in phase"]) < 2.5
    assert worst["uniform"] > worst["window"] + 2


@pytest.mark.parametrize("phases", [IN_PHASE, ColumnPhases(points=3)])
def test_coupling_by_impedances_is_the_foundation_of_the_line(phases):
    """The line holds the same step: both in the mean over phases, on soil that carries no mass."""
    f = bands.third_octaves(5, 80)
    soil = SpringFoundation(stiffness=8e8, damping=6e6, loss_factor=0.05)
    line = replace(tower(T, 3, phases), foundation=soil)
    step = MechanicalCoupling(foundation=soil, building=line).level_change(f)
    inside = 10 * np.log10(line.foundation_mean_square(f))
    assert step.dims == ("frequency",)
    assert abs(step - inside).max() < 0.02  # dB; the two sample bands by losses of their own


def test_every_parameter_may_be_sampled():
    """Speeds and thicknesses on a dim of samples, equal to a loop of scalars."""
    f = bands.third_octaves(8, 63)
    speed = xr.DataArray([120.0, 250.0, 400.0], dims="sample")
    thick = xr.DataArray([0.2, 0.22, 0.26], dims="sample")
    whole = tower(
        replace(T, thickness=thick), 3, ColumnPhases(apparent_speed=speed, points=3)
    ).floor_mean_squares(f, places=("column", "surface", "mid_panel", "mean"))
    for i in range(3):
        phases = ColumnPhases(apparent_speed=float(speed[i]), points=3)
        one = tower(replace(T, thickness=float(thick[i])), 3, phases).floor_mean_squares(
            f, places=("column", "surface", "mid_panel", "mean")
        )
        for place, values in one.items():
            assert abs(whole[place].isel(sample=i) / values - 1).max() < 1e-6


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"kind": "random"}, "kind is 'random'"),
        ({"apparent_speed": 0.0}, "apparent_speed is 0"),
        ({"points": 0}, "points is 0; 1 to 40"),
        ({"direction": float("nan")}, "direction"),
    ],
)
def test_phases_that_are_none(given, sentence):
    with pytest.raises(ValueError, match=sentence):
        ColumnPhases(**given)


def test_the_fitted_speed_of_the_window_says_so():
    """Wherever 200 m/s is used, and nowhere else."""
    usual = tower(T, 2, ColumnPhases()).citations
    assert any("fitted" in c.title and "200 m/s" in c.title for c in usual)
    for phases in (ColumnPhases(apparent_speed=150.0), ColumnPhases(kind="uniform"), IN_PHASE):
        assert not any("200 m/s" in c.title for c in tower(T, 2, phases).citations)
