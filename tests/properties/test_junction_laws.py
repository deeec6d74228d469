"""Junctions of plates against their identities, and against wave amplitudes solved directly."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne import bands
from groundborne.path import COLUMN, FLOOR_AVERAGE, GivenChange, TransmissionPath
from groundborne.propagation import (
    WALL_CHANGE,
    WALL_CHANGE_RANGE,
    WALL_STANDARD_DEVIATION,
    FixedAmplification,
    WallsBelowFloor,
    WallsByJunction,
)
from groundborne.receiver import RadiatingPlate, Surface, SurfaceMean
from groundborne.structure import JunctionPlate, PinnedJunction, velocity_by_junction

F = bands.third_octaves(31.5, 125)


def concrete(thickness: float) -> JunctionPlate:
    """30 GPa, 2400 kg/m³."""
    return JunctionPlate(
        bending_stiffness=30e9 * thickness**3 / (12 * 0.96), mass_per_area=2400 * thickness
    )


plates = st.builds(
    JunctionPlate,
    bending_stiffness=st.floats(1e3, 1e9),
    mass_per_area=st.floats(5.0, 2000.0),
)
junctions = st.lists(plates, min_size=2, max_size=5).map(lambda p: PinnedJunction(plates=tuple(p)))


@settings(deadline=None, max_examples=60)
@given(junction=junctions, angle=st.floats(0.0, 89.9))
def test_what_comes_back_and_what_passes_is_all(junction: PinnedJunction, angle: float) -> None:
    passing = junction.transmission(angle=angle)
    back = junction.reflection(angle=angle)
    assert abs(back.item() + passing.sum().item() - 1) < 1e-9
    assert (passing >= -1e-12).all()


@settings(deadline=None, max_examples=40)
@given(junction=junctions, angle=st.floats(0.0, 89.0))
def test_wave_amplitudes_of_joined_half_plates_agree(
    junction: PinnedJunction, angle: float
) -> None:
    """Outgoing and decaying waves in each half plate, one rotation, no moment left over."""
    omega = 2 * np.pi * 63.0
    b = np.array([float(p.bending_stiffness) for p in junction.plates])
    m = np.array([float(p.mass_per_area) for p in junction.plates])
    k = (m * omega**2 / b) ** 0.25
    trace = k[0] * np.sin(np.radians(angle))
    across = np.sqrt((k**2 - trace**2).astype(complex))
    across = np.where(across.imag > 0, across.conj(), across)
    decay = np.sqrt(k**2 + trace**2)
    count = b.size
    # Unknown amplitudes of outgoing and decaying waves, and the rotation.
    system = np.zeros((2 * count + 1, 2 * count + 1), complex)
    given_ = np.zeros(2 * count + 1, complex)
    for i in range(count):
        system[i, [2 * i, 2 * i + 1]] = 1.0  # no deflection
        system[count + i, [2 * i, 2 * i + 1]] = -1j * across[i], -decay[i]  # slope
        system[count + i, -1] = -1.0
        system[-1, [2 * i, 2 * i + 1]] = -b[i] * across[i] ** 2, b[i] * decay[i] ** 2  # moment
    given_[0], given_[count], given_[-1] = -1.0, -1j * across[0], b[0] * across[0] ** 2
    found = np.linalg.solve(system, given_)[:-1:2]
    flow = b * k**2 * across.real * np.abs(found) ** 2 / (b[0] * k[0] ** 2 * across[0].real)
    assert abs(flow.sum() - 1) < 1e-6
    assert junction.reflection(angle=angle).item() == pytest.approx(flow[0], abs=1e-6)
    assert junction.transmission(angle=angle).values == pytest.approx(flow[1:], abs=1e-6)


@pytest.mark.parametrize("count", [2, 3, 4])
def test_equal_plates_share_by_their_number(count: int) -> None:
    junction = PinnedJunction(plates=(concrete(0.2),) * count)
    assert junction.transmission().values == pytest.approx(2 / count**2, rel=1e-12)
    assert junction.diffuse_transmission().values == pytest.approx(4 / 3 / count**2, rel=1e-9)
    decibels = -10 * np.log10(junction.transmission().values[0])
    assert round(float(decibels), 1) == {2: 3.0, 3: 6.5, 4: 9.0}[count]  # textbooks, from memory


@settings(deadline=None, max_examples=25)
@given(junction=junctions)
def test_diffuse_power_balances_between_two_plates(junction: PinnedJunction) -> None:
    """Reciprocity of statistical energies: k_1 τ_12 = k_2 τ_21."""
    turned = PinnedJunction(plates=(junction.plates[1], junction.plates[0], *junction.plates[2:]))
    one, two = (p.wavenumber([63.0]).item() for p in junction.plates[:2])
    there = junction.diffuse_transmission().sel(plate=1).item()
    back = turned.diffuse_transmission().sel(plate=1).item()
    assert one * there == pytest.approx(two * back, rel=1e-4, abs=1e-12)


def test_moment_impedances_are_passive_and_give_the_same_shares() -> None:
    junction = PinnedJunction(plates=(concrete(0.25), concrete(0.25), concrete(0.15)))
    angle = xr.DataArray([0.0, 30.0, 80.0], dims="angle")
    w = junction.moment_impedance(F, angle=angle)
    assert (w.real >= 0).all()
    share = 4 * w.real.sel(plate=0) * w.real / abs(w.sum("plate")) ** 2
    wanted = junction.transmission(angle=angle)
    for band in F.values:
        got = share.sel(frequency=band).sel(plate=[1, 2])
        xr.testing.assert_allclose(
            got.transpose(*wanted.dims).drop_vars("frequency"), wanted, rtol=1e-9
        )


def test_plates_may_vary_by_room() -> None:
    thick = xr.DataArray([0.2, 0.3], coords={"room": ["A", "B"]})
    both = PinnedJunction(plates=(concrete(thick), concrete(0.15))).diffuse_transmission()  # type: ignore[arg-type]
    for room, each in zip("AB", (0.2, 0.3), strict=True):
        alone = PinnedJunction(plates=(concrete(each), concrete(0.15))).diffuse_transmission()
        assert both.sel(room=room).values == pytest.approx(alone.values, rel=1e-6)


def test_walls_by_power_balance() -> None:
    """-6.0, -7.5, -9.0 dB at 31.5, 63, 125 Hz, worked out beside the formulas."""
    cross = PinnedJunction(plates=(concrete(0.25), concrete(0.25), concrete(0.18), concrete(0.18)))
    for loss, wanted in ((0.1, [-6.0, -7.5, -9.0]), (0.2, [-9.0, -10.5, -12.0])):
        walls = WallsByJunction(
            junction=cross, plate=2, length=5.0, floor_area=20.0, wall_area=15.0,
            loss_factor=loss, from_frequency=33.0,
        )  # fmt: skip
        got = walls.level_change(F).sel(frequency=[31.5, 63.0, 125.0])
        assert got.values == pytest.approx(wanted, abs=0.06)
        assert walls.valid(F).values.tolist() == [False] + [True] * 6
    twice = {"junction": cross, "plate": 2, "length": 10.0, "area": 20.0, "loss_factor": 0.1}
    once = twice | {"length": 5.0}
    ratio = velocity_by_junction(F, receiving_area=15.0, **twice) / velocity_by_junction(
        F, receiving_area=15.0, **once
    )
    assert ratio.values == pytest.approx(2.0)


def test_walls_follow_the_floor_and_add_power() -> None:
    assert (WALL_CHANGE, WALL_CHANGE_RANGE, WALL_STANDARD_DEVIATION) == (-10.0, (-15.0, -5.0), 4.0)
    floor = FixedAmplification(gain=6.0)
    path = TransmissionPath(floor=floor, walls=WallsBelowFloor())
    assert (path.quantity_in, path.quantity_out) == (COLUMN, FLOOR_AVERAGE)
    assert path.level_change(F).values == pytest.approx(-4.0)
    assert "common practice" in path.level_change(F).attrs["citations"]
    plate = RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
    measured = GivenChange(
        xr.full_like(F, -13.0, dtype=float), quantity_in=COLUMN, quantity_out=FLOOR_AVERAGE
    )
    for walls, level in ((path, -4.0), (measured, -13.0)):
        pair = {
            "floor": Surface(area=20.0, radiation=plate, velocity=floor),
            "walls": Surface(area=20.0, radiation=plate, velocity=walls),
        }
        wanted = 10 * np.log10((10**0.6 + 10 ** (level / 10)) / 2)
        assert SurfaceMean(pair).level_change(F).values == pytest.approx(wanted)


def test_what_junctions_refuse() -> None:
    plate = concrete(0.2)
    with pytest.raises(ValueError, match="1 plate is given; two or more meet"):
        PinnedJunction(plates=(plate,))
    with pytest.raises(ValueError, match="angle must lie between 0 and 90"):
        PinnedJunction(plates=(plate, plate)).transmission(angle=91.0)
    with pytest.raises(ValueError, match="mass_per_area is 0"):
        JunctionPlate(bending_stiffness=1e6, mass_per_area=0.0)
    good = {"length": 5.0, "area": 20.0, "receiving_area": 15.0, "loss_factor": 0.1}
    for change, words in (
        ({"loss_factor": 0.0}, "loss_factor is 0"),
        ({"length": -1}, "length is -1"),
    ):
        with pytest.raises(ValueError, match=words):
            velocity_by_junction(
                F, junction=PinnedJunction(plates=(plate, plate)), plate=1, **good | change
            )
    with pytest.raises(ValueError, match="plate is 2; the junction has a floor and the plates 1"):
        velocity_by_junction(F, junction=PinnedJunction(plates=(plate, plate)), plate=2, **good)
