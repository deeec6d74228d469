"""From the ground to the free foundation: worked values, limits, and what does not go together.

Values with a table are of the project's worked tables [derived].
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st
from scipy.special import spherical_jn

from groundborne._checks import PathError
from groundborne.bands import exact, third_octaves
from groundborne.path import FOUNDATION, FREE_FOUNDATION, GROUND, TransmissionPath
from groundborne.propagation import (
    FreeFoundation,
    GroundDistance,
    LineStoreys,
    MechanicalCoupling,
    Track,
    edin_foundation,
    plan_averaging,
    published_coupling,
)
from groundborne.structure import (
    ColumnLine,
    DiscFooting,
    InfinitePlate,
    Pile,
    PileGroup,
    Raft,
    RectangularFooting,
    RigidMass,
    SharedFoundation,
    SpringFoundation,
    Storey,
    effective_shear_wave_speed,
    free_velocity_ratio,
)

PLAN = {"length": 24.0, "width": 15.0}
HZ = xr.DataArray([5.0, 10.0, 20.0, 31.5, 80.0], dims="frequency")
SOIL = SpringFoundation(stiffness=1e10, damping=5e8, loss_factor=0.06)
PAD = RectangularFooting(
    length=2.5, width=2.0, shear_wave_speed=200.0, density=1900.0, poisson=0.35, loss_factor=0.06,
    embedment=1.2, mass=9e3,
)  # fmt: skip
RAFT = Raft(
    soil=SOIL, area=360.0, span_x=6.0, span_y=5.0, thickness=0.5, youngs_modulus=33e9,
    density=2450.0, poisson=0.2, loss_factor=0.05,
)  # fmt: skip
BANDS = third_octaves(5, 80)


@pytest.mark.parametrize(
    ("ka", "moved", "turned"),
    [(0.5, "0.9194", "0.9987"), (1.0, "0.7081", "0.9802"), (2.0, "0.2067", "0.7754"),
     (4.0, "0.0358", "0.0762"), (8.0, "0.0153", "0.0187")],
)  # fmt: skip
def test_one_wave_along_a_rectangle(ka: float, moved: str, turned: str) -> None:
    """Half length a, wave number k along it."""
    at = xr.DataArray([30.0], dims="frequency")
    speed = 2 * np.pi * 30.0 * 12.0 / ka
    for rocking, value in ((False, moved), (True, turned)):
        found = plan_averaging(at, **PLAN, apparent_speed=speed, direction=0.0, rocking=rocking)
        assert f"{found.item():.4f}" == value


@pytest.mark.parametrize(
    ("speed", "rocking", "values"),
    [
        (300.0, False, ["0.6897", "0.2139", "0.0122", "0.0078", "0.0002"]),
        (300.0, True, ["0.9683", "0.6903", "0.0896", "0.0172", "0.0013"]),
        (None, False, ["0.8486", "0.6123", "0.3412", "0.1846", "0.0121"]),
        (None, True, ["0.9826", "0.8623", "0.5944", "0.4066", "0.0758"]),
    ],
)
def test_all_directions(speed, rocking, values) -> None:
    found = plan_averaging(HZ, **PLAN, apparent_speed=speed, rocking=rocking)
    assert [f"{v:.4f}" for v in found.values] == values


def test_what_a_rigid_plan_is_given_by_default() -> None:
    """The table is of nominal frequencies, bands of exact ones: 0.01 dB at most between them."""
    step = FreeFoundation(foundation=SOIL, **PLAN)
    found = step.level_change(third_octaves(5, 80)).sel(frequency=HZ.values).values
    assert found == pytest.approx([-0.04, -0.32, -1.01, -1.57, -2.77], abs=0.012)
    assert 10 * np.log10(0.49) <= found.min()
    assert "fitted" in step.citations[1].title
    own = FreeFoundation(foundation=SOIL, **PLAN, coherent_share=0.5)
    assert all("fitted" not in c.title for c in own.citations)


def test_a_foundation_that_follows_every_wave() -> None:
    n = np.arange(41)[:, None]
    x = np.array([0.1, 1.0, 5.0, 20.0])
    assert ((2 * n + 1) * spherical_jn(n, x) ** 2).sum(0) == pytest.approx(1.0, abs=1e-6)


@given(
    f=st.floats(0.5, 250.0),
    length=st.floats(0.5, 80.0),
    width=st.floats(0.5, 80.0),
    speed=st.floats(50.0, 5000.0),
)
def test_turning_with_the_wave_follows_it_more(f, length, width, speed) -> None:
    at = xr.DataArray([f], dims="frequency")
    plan = {"length": length, "width": width, "apparent_speed": speed}
    moved, turned = (plan_averaging(at, **plan, rocking=r).item() for r in (False, True))
    assert 0 <= moved <= turned <= 1 + 1e-12
    long_wave = plan_averaging(at * 1e-3, **(plan | {"apparent_speed": 5000.0}))
    assert long_wave.item() == pytest.approx(1.0, abs=2e-5)


def test_rectangle_by_least_squares() -> None:
    """Mean square of ``a + b x + c y`` fitted to one wave on points of the plan."""
    at = xr.DataArray([17.0], dims="frequency")
    x, y = np.meshgrid(
        (np.arange(400) + 0.5) / 400 * 24 - 12, (np.arange(400) + 0.5) / 400 * 15 - 7.5
    )
    k, turned = 2 * np.pi * 17.0 / 250.0, np.deg2rad(33.0)
    wave = np.exp(-1j * k * (np.cos(turned) * x + np.sin(turned) * y)).ravel()
    shapes = np.stack([np.ones(x.size), x.ravel(), y.ravel()], axis=1)
    fitted = shapes @ np.linalg.lstsq(shapes.astype(complex), wave, rcond=None)[0]
    found = plan_averaging(at, **PLAN, apparent_speed=250.0, direction=33.0)
    assert found.item() == pytest.approx((abs(fitted) ** 2).mean(), rel=1e-4)


def test_a_raft_on_waves_of_a_given_speed_is_no_filter_that_statistics_refute() -> None:
    """What no plan averages, 20 lg 0.7 = -3.1 dB, is left of slow waves under a raft that bends."""
    alone = FreeFoundation(foundation=RAFT, coherent_share=1.0).level_change(BANDS)
    for speed in (100.0, 200.0, 300.0):
        slow = FreeFoundation(foundation=RAFT, apparent_speed=speed, **PLAN)
        assert ((slow.level_change(BANDS) - alone) > 20 * np.log10(0.7) - 0.01).all()
        assert any("fitted" in c.text for c in slow.citations)
    bare = FreeFoundation(foundation=RAFT, apparent_speed=200.0, coherent_share=0.0, **PLAN)
    assert (bare.level_change(BANDS) - alone).sel(frequency=63) < -15.0


def test_a_raft_follows_what_its_stiffness_and_its_size_let_it() -> None:
    soft = replace(RAFT, youngs_modulus=33e3)
    stiff = replace(RAFT, youngs_modulus=33e15)
    alone = FreeFoundation(foundation=soft, apparent_speed=1e6).level_change(BANDS)
    follows = FreeFoundation(foundation=soft, apparent_speed=200.0, **PLAN).level_change(BANDS)
    assert follows.values == pytest.approx(alone.values, abs=1e-3)
    rigid = FreeFoundation(
        foundation=SharedFoundation(foundation=replace(SOIL, mass=1225.0 * 360.0), share=1 / 12),
        apparent_speed=200.0, coherent_share=0.0, **PLAN,
    )  # fmt: skip
    held = FreeFoundation(
        foundation=stiff, apparent_speed=200.0, coherent_share=0.0, **PLAN
    ).level_change(BANDS)
    assert held.values == pytest.approx(rigid.level_change(BANDS).values, abs=1e-3)
    endless = FreeFoundation(
        foundation=stiff, apparent_speed=200.0, coherent_share=0.0
    ).level_change(BANDS)
    assert (endless < held - 10).all()


def test_raft_in_one_wave_by_hand() -> None:
    """s/(s + B k⁴ − m″ω²) at 31.5 Hz and 200 m/s."""
    omega = 2 * np.pi * 31.5
    at = xr.DataArray([31.5], dims="frequency")
    s = (1e10 * (1 + 0.06j) + 1j * omega * 5e8) / 360.0
    bent = 33e9 * 0.125 / (12 * 0.96) * (1 + 0.05j) * (omega / 200.0) ** 4
    expected = s / (s + bent - 1225.0 * omega**2)
    assert RAFT.velocity_in_wave(at, omega / 200.0).item() == pytest.approx(expected)


PILE = Pile(
    diameter=0.9, length=24.0, youngs_modulus=33e9, density=2450.0, soil_shear_wave_speed=150.0,
    soil_density=1900.0, soil_poisson=0.45, soil_loss_factor=0.06,
)  # fmt: skip
DISC = DiscFooting(radius=1.2, shear_modulus=7.6e7, density=1900.0, poisson=0.35, mass=9e3)


@pytest.mark.parametrize(
    ("foundation", "bare"),
    [
        (PAD, replace(PAD, mass=0.0)),
        (DISC, replace(DISC, mass=0.0)),
        (replace(SOIL, mass=3e6), SOIL),
        (PileGroup(pile=PILE, count=4.0, cap_mass=5e4), PileGroup(pile=PILE, count=4.0)),
        (PILE, PILE),
    ],
)
def test_own_mass_rides_on_the_soil(foundation, bare) -> None:
    """``Z_soil/(Z_soil + jωm)``; a share is as the whole; without a mass the ground itself."""
    expected = (foundation.driving_point_mobility(HZ) / bare.driving_point_mobility(HZ)).values
    for one in (foundation, SharedFoundation(foundation=foundation, share=0.25)):
        assert free_velocity_ratio(one, HZ).values == pytest.approx(expected)
    assert free_velocity_ratio(bare, HZ).values == pytest.approx(np.ones(5))
    assert free_velocity_ratio(RAFT, HZ).values == pytest.approx(
        (RAFT.soil_stiffness(HZ) / RAFT.bed_stiffness(HZ)).values
    )


def test_a_foundation_without_a_building_does_not_stand_still() -> None:
    """A line with next to no building, or none, moves as its foundation does alone."""
    step = FreeFoundation(foundation=PAD)
    nothing = MechanicalCoupling(foundation=PAD, building=RigidMass(mass=1e-3))
    found = nothing.level_change(BANDS)
    assert found.values == pytest.approx(step.level_change(BANDS).values, abs=1e-4)
    assert found.sel(frequency=80.0) < -0.4
    # as a mass that the building carries down
    moved = MechanicalCoupling(foundation=replace(PAD, mass=0.0), building=RigidMass(mass=29e3))
    other = MechanicalCoupling(foundation=PAD, building=RigidMass(mass=20e3))
    assert moved.level_change(BANDS).values == pytest.approx(other.level_change(BANDS).values)


def test_unknown_soil_is_refused() -> None:
    plate = InfinitePlate(bending_stiffness=1e8, mass_per_area=500.0)
    with pytest.raises(ValueError, match="does not tell its soil from its mass"):
        free_velocity_ratio(plate, HZ)
    with pytest.raises(ValueError, match="InfinitePlate does not tell"):
        free_velocity_ratio(SharedFoundation(foundation=plate, share=0.5), HZ)


def line() -> ColumnLine:
    storey = Storey(
        floor="1", height=3.0, area=0.2, youngs_modulus=33e9, density=2450.0, loss_factor=0.02,
        slab=RigidMass(mass=30e3),
    )  # fmt: skip
    return ColumnLine(storeys=(storey,), foundation=PAD)


def test_ends_meet_only_where_nothing_is_taken_twice() -> None:
    free = FreeFoundation(foundation=PAD, **PLAN)
    assert (free.quantity_in, free.quantity_out) == (GROUND, FREE_FOUNDATION)
    TransmissionPath(free=free, storeys=LineStoreys(line=line(), floor="1"))
    behind = MechanicalCoupling(foundation=PAD, building=line(), from_free=True)
    path = TransmissionPath(free=free, building=behind)
    assert path.quantity_out == FOUNDATION
    whole = MechanicalCoupling(foundation=PAD, building=line()).level_change(BANDS)
    bare = TransmissionPath(free=FreeFoundation(foundation=PAD), building=behind)
    # exact in one line, in bands to the product of two means
    assert bare.level_change(BANDS).values == pytest.approx(whole.values, abs=0.35)
    for table in (published_coupling("single house"), edin_foundation("basement")):
        for steps in ({"free": free, "table": table}, {"table": table, "free": free}):
            with pytest.raises(PathError):
                TransmissionPath(**steps)
        with pytest.raises(PathError):
            TransmissionPath(table=table, building=behind)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"length": 20.0}, "length and width are given together"),
        ({**PLAN, "width": 0.0}, "width"),
        ({"apparent_speed": -1.0}, "apparent_speed"),
        ({"coherent_share": 1.5}, "coherent_share"),
        ({"direction": np.inf}, "direction"),
    ],
)
def test_what_it_refuses(change, says) -> None:
    with pytest.raises(ValueError, match=says):
        FreeFoundation(foundation=PAD, **change)


def test_decay_from_the_track_and_along_the_building() -> None:
    ground = {"exponent": 0.3, "damping_ratio": 0.02, "wave_speed": 250.0}
    f = third_octaves(50, 50)
    away = GroundDistance(distance=44.0, reference_distance=20.0, **ground)
    # The table is of 50 Hz, the band of 50.12 Hz: 24 m of 0.02519 nepers
    assert -6 * np.log10(2.2) - 8.686 * 24 * 0.025133 == pytest.approx(-7.294, abs=1e-3)
    nominal = away.level_change(f).item() + 8.686 * 24 * 0.025133 * (exact(f).item() / 50 - 1)
    assert nominal == pytest.approx(-7.294, abs=1e-3)
    track = Track(points=((-90.0, 0.0), (90.0, 0.0)), depth=12.0)
    columns = xr.Dataset({"x": ("column", [0.0, 0.0]), "y": ("column", [16.0, 35.0])},
                         coords={"column": ["front", "back"]})  # fmt: skip
    distance = track.distance(columns)
    assert distance.values.tolist() == pytest.approx([20.0, 37.0])  # 3-4-5 and 12-35-37
    along = {"reference_distance": 10.0, "facade_distance": 20.0, **ground}
    whole, half, none = (
        GroundDistance(distance=distance, share_along=share, **along).level_change(f).squeeze()
        for share in (1.0, 0.5, 0.0)
    )
    plain = GroundDistance(distance=distance, reference_distance=10.0, **ground).level_change(f)
    assert whole.values == pytest.approx(plain.squeeze().values)
    assert none.values == pytest.approx(whole.values[[0, 0]])
    assert half.values == pytest.approx((whole + none).values / 2)
    with pytest.raises(ValueError, match="share_along is given without facade_distance"):
        GroundDistance(distance=30.0, reference_distance=20.0, share_along=0.5, **ground)
    with pytest.raises(ValueError, match="below facade_distance"):
        GroundDistance(distance=19.0, **along)
    with pytest.raises(ValueError, match="share_along"):
        GroundDistance(distance=30.0, share_along=1.5, **along)


def test_side_walls_radiate_too() -> None:
    """4 [ψ L/B + D/B (1 + L/B)]/(K/GB) a0/(2α), the embedded damping ratio as its source has it.

    Pais and Kausel 1988 in NIST GCR 12-917-21 (2012) [seen second-hand].
    """
    half, aspect, depth = 1.0, 1.25, 1.2
    psi = np.sqrt(2 * 0.65 / 0.3)
    f = xr.DataArray([12.0], dims="frequency")
    a0 = 2 * np.pi * 12.0 * half / 200.0
    factor = PAD.dynamic_factor(f).item()
    scaled = PAD.static_stiffness / (PAD.shear_modulus * half)
    beta = 4 * (psi * aspect + depth / half * (1 + aspect)) / scaled * a0 / (2 * factor)
    expected = 2 * beta * factor * PAD.static_stiffness / (2 * np.pi * 12.0)
    assert PAD.radiation_damping == pytest.approx(expected)
    assert replace(PAD, embedment=0.0).radiation_damping < 0.7 * PAD.radiation_damping


def test_one_speed_for_many_layers() -> None:
    names = {"layer": ["a", "b", "c"]}
    top = xr.DataArray([0.0, 1.5, 4.0], dims="layer", coords=names)
    speed = xr.DataArray([120.0, 160.0, 320.0], dims="layer", coords=names)
    found = effective_shear_wave_speed(top=top, speed=speed, length=12.0, width=3.0, embedment=1.0)
    assert found.item() == pytest.approx(3.0 / (0.5 / 120 + 2.5 / 160))  # √(6·1.5) = 3 m
    alike = effective_shear_wave_speed(top=top, speed=0 * speed + 210.0, length=30.0, width=20.0)
    assert alike.item() == pytest.approx(210.0)
    for wrong, says in (
        (top + 1.0, "start at 0"),
        (top * 0, "rise"),
        (top.rename(layer="z"), "layer"),
    ):
        with pytest.raises(ValueError, match=says):
            effective_shear_wave_speed(top=wrong, speed=speed, length=3.0, width=3.0)
