"""Rooms by modes: closed forms, limits, and sums over every mode written out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from scipy.special import j0, j1

from groundborne import bands
from groundborne._checks import PathError
from groundborne.levels import LevelError, decibel
from groundborne.path import COLUMN, FLOOR_AVERAGE, SURFACE, GivenChange, Unchanged
from groundborne.receiver import (
    PISTON_UP_TO,
    SURFACE_MEAN,
    ModalField,
    RadiatingPlate,
    Room,
    RoomSound,
    Surface,
    SurfaceMean,
    TreatedSurfaces,
    box_modes,
    in_corner,
    in_field,
    piston_mean_square,
    piston_radiation_efficiency,
    position_standard_deviation,
    prescribed,
    schroeder_frequency,
)
from groundborne.structure import FlatSlab, reverberant

F = bands.third_octaves(16, 250)
SPEED = 343.0
PLATE = RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
ROOM = Room(length=5.0, width=4.0, height=2.6, reverberation_time=0.5)
WHOLE = Unchanged(COLUMN, SURFACE_MEAN)


def level(values: float | list[float], end: object, start: object = COLUMN) -> GivenChange:
    change = xr.DataArray(
        np.broadcast_to(values, F.shape).astype(float), coords={"frequency": F.values}
    )
    return GivenChange(change, quantity_in=start, quantity_out=end)  # type: ignore[arg-type]


def boxes(labels: xr.DataArray, size: tuple[float, float, float], time: float) -> box_modes.Boxes:
    low, high = (np.asarray(e) for e in bands.edges(labels))
    return box_modes.Boxes(
        low, high, np.tile(np.array(size, float), (low.size, 1)), np.full(low.size, time), SPEED
    )


def sounds(surfaces: dict[str, Surface], room: Room = ROOM) -> xr.DataArray:
    """Sound level over the velocity level of the columns [dB], 0 where p = ρc v."""
    mean = SurfaceMean(surfaces).level_change(F)
    return mean + RoomSound(room, surfaces).level_change(F) - 20 * np.log10(413.0 * 1e-9 / 20e-6)


# -- One dimension ---------------------------------------------------------------------------------


def test_a_piston_under_a_rigid_lid() -> None:
    f = np.array([10.0, 40.0, 63.0, 100.0])
    got = piston_mean_square(f, height=2.6, reverberation_time=1e6)
    kh = 2 * np.pi * f / SPEED * 2.6
    exact = (0.5 + np.sin(2 * kh) / (4 * kh)) / np.sin(kh) ** 2
    assert got.values == pytest.approx(exact, rel=1e-5)
    n = np.arange(4000)
    resonance = (n * np.pi * SPEED / 2.6) ** 2
    weight = np.where(n > 0, 2.0, 1.0)
    for time in (0.5, 1e6):
        omega = 2 * np.pi * f[:, None]
        lossy = np.abs(resonance - omega**2 + 1j * omega * box_modes.DECAY / time) ** 2
        summed = (omega * SPEED / 2.6) ** 2 * weight / lossy
        got = piston_mean_square(f, height=2.6, reverberation_time=time)
        assert got.values == pytest.approx(summed.sum(axis=1), rel=1e-5)


def test_below_all_modes_the_air_is_a_spring() -> None:
    """871.4 Pa s/m at 10 Hz, worked out beside the formulas; all but a tenth of 10 Hz is that."""
    assert 1.21 * SPEED**2 / (2 * np.pi * 10.0 * 2.6) == pytest.approx(871.4, abs=0.05)
    f = np.array([0.1, 1.0])
    got = piston_mean_square(f, height=2.6, reverberation_time=1e6) ** 0.5
    spring = SPEED / (2 * np.pi * f * 2.6)
    assert got.values == pytest.approx(spring, rel=1e-3)


def test_band_means_are_those_of_many_lines() -> None:
    for height, time in ((2.6, 0.5), (3.05, 0.3), (2.42, 1.5), (6.0, 2.0)):
        part = boxes(F, (5.0, 4.0, height), time)
        lines = part.low[:, None] + (part.high - part.low)[:, None] * (np.arange(20000) + 0.5) / 2e4
        single = box_modes.piston_at(
            lines, np.array(height), np.array(box_modes.DECAY / time), SPEED
        )
        off = 10 * np.log10(box_modes.piston(part) / single.mean(axis=1))
        assert np.abs(off).max() < 0.01, (height, time)


def test_floor_and_ceiling_that_move_alike_against_a_diffuse_field() -> None:
    """Worked out beside the formulas from sums of modes: 2.6 m, 0.5 s, diffuse σ 1."""
    expected = [-4.6, -6.5, -8.2, -9.6, -10.0, -6.8, 5.6, -3.4, -9.4, 3.1, -7.7, 1.4, 0.5]
    for width in (3.0, 5.0):
        room = replace(ROOM, width=width)
        field = ModalField(room=room)
        both = 2 * field._sum(F, "piston")
        piston = 2 * box_modes.piston(boxes(F, (5.0, width, 2.6), 0.5))
        diffuse = 4 * 2 * 5.0 * width / room.absorption_area
        assert (10 * np.log10(piston / diffuse)).round(1).tolist() == expected
        below = (field.modal_share(F) > 0).values
        assert both.values[below] == pytest.approx(piston[below])


# -- Random sources --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "time"),
    [
        ((4.0, 3.0, 2.6), 0.5),
        ((6.0, 5.0, 3.0), 0.6),
        ((3.0, 4.0, 6.0), 0.6),
        ((2.5, 6.0, 4.0), 2.0),
    ],
)
def test_the_sum_over_modes_is_that_of_every_mode(
    size: tuple[float, float, float], time: float
) -> None:
    """Each mode by itself up to 22 /m, over 80 lines in each band."""
    labels = bands.third_octaves(12.5, 125)
    part = boxes(labels, size, time)
    lines = part.low[:, None] + (part.high - part.low)[:, None] * (np.arange(80) + 0.5) / 80
    index = [np.arange(int(22.0 * side / np.pi) + 1) for side in size]
    waves = [(i * np.pi / side) ** 2 for i, side in zip(index, size, strict=True)]
    k2 = waves[0][:, None, None] + waves[1][:, None] + waves[2]
    upright = np.zeros(k2.shape, bool)
    upright[0, 0] = True
    upright = upright[k2 < 22.0**2]
    times = np.broadcast_to(np.where(index[2] > 0, 2.0, 1.0), k2.shape)[k2 < 22.0**2]
    k2 = k2[k2 < 22.0**2]
    omega = 2 * np.pi * lines
    squared = box_modes.wave_squared(omega, np.array(box_modes.DECAY / time), SPEED)
    volume = float(np.prod(size))
    power = 1 / (2 * np.pi)  # W/(ρc k² Q²)
    # Q² is taken for a power that is the same all over the band.
    diffuse = 4 * power * SPEED**2 / (4 * box_modes.DECAY * volume / (SPEED * time))
    for weight, gain, allowed in (
        (times, box_modes.random(part), 0.06),
        # Where no other mode is near, what is summed beyond 22 /m counts.
        (np.where(upright, 0.0, times), box_modes.random(part, mean=False), 0.2),
    ):
        squares = np.array(
            [[(weight / np.abs(k2 - one) ** 2).sum() for one in row] for row in squared]
        )
        got = (omega**2 * squares / volume**2 / (omega / SPEED) ** 2).mean(axis=1)
        off = 10 * np.log10(gain * diffuse / got)
        assert np.abs(off).max() < allowed, off


@pytest.mark.parametrize(
    ("size", "time"),
    [
        ((6.0, 5.0, 3.0), 0.6),
        ((10.0, 8.0, 4.0), 1.0),
        ((4.0, 3.0, 2.6), 0.5),
        ((7.0, 4.5, 2.5), 0.8),
    ],
)
def test_above_the_schroeder_frequency_the_field_is_diffuse(
    size: tuple[float, float, float], time: float
) -> None:
    labels = bands.third_octaves(100, 1000)
    found = 10 * np.log10(box_modes.random(boxes(labels, size, time)))
    limit = schroeder_frequency(reverberation_time=time, volume=float(np.prod(size)))
    assert np.abs(found[labels.values >= limit]).max() <= 1.0
    assert np.abs(found[labels.values >= 2.5 * limit]).max() <= 0.5


def test_modes_of_a_few_rooms_below_it() -> None:
    """Worked out beside the formulas by sums of modes, to their 0.3 dB, at 25 to 200 Hz."""
    expected = [2.8, 4.4, 0.3, 0.0, 3.6, 1.3, 0.5, 1.2, 0.6, 0.6]
    got = box_modes.random(boxes(bands.third_octaves(25, 200), (6.0, 5.0, 3.0), 0.6))
    assert 10 * np.log10(got) == pytest.approx(expected, abs=0.35)


def test_rooms_anywhere_in_a_bay_of_columns() -> None:
    """Every wave of a flat slab on columns, in phase, and every mode of the room.

    A slab of 220 mm on a grid of 6.5 m x 5.85 m, first resonance 12.6 Hz; a room of 4 m x 3 m at
    six places. The mean over the bay and the rest stand for the motion under the room.
    """
    labels = bands.third_octaves(8, 80)
    bay, stiff, mass = (6.5, 5.85), 2.7729e7 * (1 + 0.06j), 678.0
    room = Room(length=4.0, width=3.0, height=2.6, reverberation_time=0.5)
    waves = [2 * np.pi * np.arange(-5, 6) / side for side in bay]
    fourth = (waves[0][:, None] ** 2 + waves[1] ** 2) ** 2
    index, x = np.arange(8), (np.arange(120) + 0.5) / 120
    shapes = np.cos(index[:, None] * np.pi * x) / x.size
    share = np.where(index > 0, 0.5, 1.0)
    share = share[:, None] * share
    across = ((index * np.pi / 4.0) ** 2)[:, None] + (index * np.pi / 3.0) ** 2
    rng = np.random.default_rng(4)
    at = [
        tuple(
            np.exp(1j * g[:, None] * (o + x * s)) @ shapes.T
            for g, o, s in zip(waves, p, (4, 3), strict=True)
        )
        for p in rng.uniform(0, 6, (6, 2))
    ]
    part = boxes(labels, (4.0, 3.0, 2.6), 0.5)
    lines = part.low[:, None] + (part.high - part.low)[:, None] * (np.arange(16) + 0.5) / 16
    rows = []
    for omega in 2 * np.pi * lines.ravel():
        each = 1 / (stiff * fourth - mass * omega**2)
        each = each / each.sum()
        squared = box_modes.wave_squared(omega, np.array(box_modes.DECAY / 0.5), SPEED)
        gamma = np.sqrt(across - squared)
        a, b = gamma.real * 2.6, gamma.imag * 2.6
        room_mean = (np.sinh(2 * a) / (2 * a) + np.sin(2 * b) / (2 * b)) / (
            np.abs(gamma) ** 2 * (np.cosh(2 * a) - np.cos(2 * b))
        )
        under = [np.abs(ex.T @ each @ ey) ** 2 / share * room_mean for ex, ey in at]
        sound = (omega / SPEED) ** 2 * np.mean([u.sum() for u in under])
        rows.append([(np.abs(each) ** 2).sum(), np.abs(each[5, 5]) ** 2, sound])
    square, mean, exact = np.array(rows).reshape(labels.size, 16, 3).mean(axis=1).T

    def given(values: np.ndarray, end: object) -> GivenChange:
        change = xr.DataArray(10 * np.log10(values), coords={"frequency": labels.values})
        return GivenChange(change, quantity_in=COLUMN, quantity_out=end)  # type: ignore[arg-type]

    critical = 340.0**2 / (2 * np.pi) * (mass / stiff.real) ** 0.5
    floor = Surface(
        area=12.0,
        radiation=RadiatingPlate(length=6.5, width=5.85, critical_frequency=critical),
        velocity=given(square, FLOOR_AVERAGE),
    )
    split = replace(floor, mean_velocity=given(mean, SURFACE_MEAN))
    off = {}
    for name, surface, field in (
        ("diffuse", floor, None),
        ("modes", split, ModalField(room=room)),
    ):
        placed = in_field({"floor": surface}, field=field)["floor"].power(labels)
        off[name] = 10 * np.log10(4 * placed.values / room.absorption_area / exact)
    rms = {name: float(np.sqrt((values**2).mean())) for name, values in off.items()}
    assert rms["modes"] < 2.5, (rms, off)
    assert rms["diffuse"] > 1.5 * rms["modes"], (rms, off)
    assert np.abs(off["modes"][labels.values <= 16]).max() < 1.0
    assert off["diffuse"][0] < -10


@pytest.mark.parametrize(("sides", "bay_alone"), [((3.0, 2.5), 2.5), ((4.0, 3.0), 1.5)])
def test_small_rooms_anywhere_in_a_bay_whose_columns_move_with_phases(
    sides: tuple[float, float], bay_alone: float
) -> None:
    """Every wave of each phase of the slab above, columns alike moved, and every mode of the room.

    The mean of the bay in phase and the balance of power above 1.25 times the first resonance are
    those of studies; the share with which the floor of the room moves as one is what is looked at.
    """
    labels = bands.third_octaves(8, 100)
    bay, stiff, mass, height, time = (6.5, 5.85), 2.7729e7 * (1 + 0.06j), 678.0, 2.6, 0.5
    room = Room(length=sides[0], width=sides[1], height=height, reverberation_time=time)
    waves, index = np.arange(-6, 7), np.arange(6)
    at = np.random.default_rng(4).uniform(0.0, 6.5, (120, 2))
    share = np.where(index > 0, 0.5, 1.0)
    across = sum(
        (np.pi * index / side) ** 2 * np.ones((6, 6)) if axis else
        ((np.pi * index / side) ** 2)[:, None] for axis, side in enumerate(sides)
    )  # fmt: skip

    def shapes(wave: np.ndarray, side: float, places: np.ndarray) -> np.ndarray:
        """Mean of exp(-jkx) cos(n pi x/side) over the room at each place."""
        turn = np.pi * index[:, None] / side
        ends = [
            np.exp(-1j * q * side / 2) * np.sinc(q * side / (2 * np.pi))
            for q in (wave - turn, wave + turn)
        ]
        found: np.ndarray = sum(ends) / 2 * np.exp(-1j * wave * places[:, None, None])
        return found

    part = boxes(labels, (*sides, height), time)
    rows = []
    for low, high in zip(part.low, part.high, strict=True):
        for f in low + (high - low) * (np.arange(8) + 0.5) / 8:
            omega = 2 * np.pi * f
            squared = box_modes.wave_squared(omega, np.array(box_modes.DECAY / time), SPEED)
            gamma = np.sqrt(across - squared)
            a, b = gamma.real * height, gamma.imag * height
            inside = (np.sinh(2 * a) / (2 * a) + np.sin(2 * b) / (2 * b)) / (
                np.abs(gamma) ** 2 * (np.cosh(2 * a) - np.cos(2 * b))
            )
            own = [(np.arange(3) + 0.5) / 3 * min(np.pi, omega * s / 200.0) for s in bay]
            of_phases = []
            for one in own[0]:
                for other in own[1]:
                    kx, ky = (
                        (t + 2 * np.pi * waves) / s for t, s in zip((one, other), bay, strict=True)
                    )
                    each = 1 / (stiff * (kx[:, None] ** 2 + ky**2) ** 2 - mass * omega**2)
                    each = each / each.sum()
                    moved = np.einsum(
                        "pq,snp,smq->snm", each, shapes(kx, sides[0], at[:, 0]),
                        shapes(ky, sides[1], at[:, 1]), optimize=True,
                    )  # fmt: skip
                    under = (np.abs(moved) ** 2).mean(0) / (share[:, None] * share)
                    of_phases.append(
                        [(np.abs(each) ** 2).sum(), (omega / SPEED) ** 2 * (under * inside).sum()]
                    )
            rows.append(np.mean(of_phases, axis=0))
    square, sound = np.array(rows).reshape(labels.size, 8, 2).mean(axis=1).T
    slab = FlatSlab(
        span_x=6.5, span_y=5.85, thickness=0.22, youngs_modulus=30e9, density=2400.0, poisson=0.2,
        loss_factor=0.06, superimposed_mass=150.0,
    )  # fmt: skip
    inside_bands = bands.single_frequencies(labels, loss_factor=0.02)
    mean = (abs(slab.mean_velocity_ratio(inside_bands)) ** 2).mean("single_frequency")
    alone = slab.surface_mean_square_ratio(inside_bands)
    surface = reverberant.reverberant_above(slab, inside_bands, alone, floating=False)
    of_bay = np.minimum(mean / surface.mean("single_frequency"), 1.0).values
    wave = reverberant.wavenumber(slab, bands.exact(labels))
    of_room = reverberant.moving_as_one(wave, length=sides[0], width=sides[1]).values
    critical = 340.0**2 / (2 * np.pi) * (mass / stiff.real) ** 0.5
    rms = {}
    for name, moving in (("bay", of_bay), ("room", np.maximum(of_bay, of_room))):
        change = xr.DataArray(10 * np.log10(moving), coords={"frequency": labels.values})
        floor = Surface(
            area=sides[0] * sides[1],
            radiation=RadiatingPlate(length=sides[0], width=sides[1], critical_frequency=critical),
            velocity=GivenChange(0 * change, quantity_in=COLUMN, quantity_out=FLOOR_AVERAGE),
            mean_velocity=GivenChange(change, quantity_in=FLOOR_AVERAGE, quantity_out=SURFACE_MEAN),
        )
        placed = in_field({"floor": floor}, field=ModalField(room=room))["floor"].power(labels)
        off = 10 * np.log10(4 * placed.values / room.absorption_area / (sound / square))
        rms[name] = float(np.sqrt((off**2).mean()))
    assert rms["room"] < 1.0 < bay_alone < rms["bay"], rms


def test_share_with_which_a_rectangle_of_a_slab_moves_as_one() -> None:
    """Against the mean of J0(k r), how waves from all sides are alike, over pairs of its points."""
    length, width, count = 3.6, 2.8, 30
    x, y = (side * (np.arange(count) + 0.5) / count for side in (length, width))
    places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    apart = np.hypot(*(places[:, None] - places).transpose(2, 0, 1))
    wave = xr.DataArray([0.3, 0.7, 1.0, 1.6, 2.5], dims="frequency")
    found = reverberant.moving_as_one(wave, length=length, width=width)
    expected = [j0(k * apart).mean() for k in wave.values]
    np.testing.assert_allclose(found.values, expected, atol=2e-3)
    limits = reverberant.moving_as_one(xr.DataArray([1e-3, 300.0]), length=length, width=width)
    assert limits.values == pytest.approx([1.0, 0.0], abs=1e-3)


# -- Positions -------------------------------------------------------------------------------------


def test_corners_against_the_field_with_all_products_of_modes() -> None:
    """At 0.5 m from a corner, floor and ceiling as two random sources, band by band."""
    size, time, inset = (4.0, 3.0, 2.6), 0.5, 0.5
    labels = bands.third_octaves(31.5, 200)
    part = boxes(labels, size, time)
    got = box_modes.random(part, inset, 1.0) / box_modes.random(part)
    lines = part.low[:, None] + (part.high - part.low)[:, None] * (np.arange(60) + 0.5) / 60
    index = [np.arange(int(14.0 * side / np.pi) + 1) for side in size]
    # Over the height in closed form at the point; over the floor mode by mode.
    kx, ky = (i * np.pi / side for i, side in zip(index[:2], size[:2], strict=True))
    full = [np.where(i > 0, 2.0, 1.0) for i in index]
    at = (full[0] * np.cos(kx * inset) ** 2)[:, None] * (full[1] * np.cos(ky * inset) ** 2)
    omega = 2 * np.pi * lines[..., None, None]
    squared = box_modes.wave_squared(omega, np.array(box_modes.DECAY / time), SPEED)
    gamma = np.sqrt(kx[:, None] ** 2 + ky**2 - squared)
    height, mean = size[2], 0.0
    for z in (inset, height - inset):  # a corner below hears the ceiling as one above the floor
        mean = (
            mean
            + np.abs(np.cosh(gamma * (height - z)) / (gamma * np.sinh(gamma * height))) ** 2 / 2
        )
    point = (mean * at).sum(axis=(-1, -2)).mean(axis=1)
    a, b = gamma.real * height, gamma.imag * height
    room = (np.sinh(2 * a) / (2 * a) + np.sin(2 * b) / (2 * b)) / (
        np.abs(gamma) ** 2 * (np.cosh(2 * a) - np.cos(2 * b))
    )
    wanted = point / room.sum(axis=(-1, -2)).mean(axis=1)
    off = 10 * np.log10(got / wanted)
    assert np.abs(off).max() < 1.0, off.round(2)
    assert np.abs(off).mean() < 0.4, off.round(2)


def test_positions_of_a_diffuse_field() -> None:
    assert in_corner(F, distance=0.0).values == pytest.approx(8.0)
    assert in_corner(F, distance=200.0).values == pytest.approx(1.0, abs=0.05)
    corner = in_corner(F, distance=0.5)
    rng = np.random.default_rng(5)
    waves = rng.normal(size=(200_000, 3))
    waves /= np.linalg.norm(waves, axis=1)[:, None]
    k = 2 * np.pi * bands.exact(63.0) / SPEED
    drawn = 8 * (np.cos(k * waves * 0.5) ** 2).prod(axis=1)
    assert corner.sel(frequency=63.0).item() == pytest.approx(drawn.mean(), rel=0.01)
    assert prescribed(corner=corner, average=xr.ones_like(corner)).values == pytest.approx(
        (corner.values + 2) / 3
    )


def test_the_prescribed_position_lies_between_average_and_corner() -> None:
    surfaces = {
        "floor": Surface(
            area=20.0, radiation=PLATE, mean_velocity=WHOLE, velocity=level(3.0, FLOOR_AVERAGE)
        ),
        "long walls": Surface(area=26.0, radiation=PLATE),
    }
    found = {
        position: sounds(in_field(surfaces, field=ModalField(room=ROOM, position=position)))
        for position in ("average", "corner", "prescribed")
    }
    low = F.values <= 80.0  # farther up 0.5 m is no corner to the wave any more
    assert (found["corner"] > found["average"]).values[low].all()
    share = (10 ** (found["corner"] / 10) + 2 * 10 ** (found["average"] / 10)) / 3
    xr.testing.assert_allclose(10 ** (found["prescribed"] / 10), share, rtol=1e-9)


def test_spread_over_positions() -> None:
    got = position_standard_deviation(bands.third_octaves(20, 250))
    assert got.values.tolist() == [3, 3, 5, 5, 5, 5, 5, 5, 4, 4, 3, 3]
    four = position_standard_deviation(bands.third_octaves(20, 250), positions=4)
    assert four.values == pytest.approx(got.values / 2)
    with pytest.raises(ValueError, match="positions is 0; 1 or more"):
        position_standard_deviation(F, positions=0)


# -- Surfaces --------------------------------------------------------------------------------------


def test_power_of_the_mean_and_of_the_rest() -> None:
    mean, total = level(2.0, SURFACE_MEAN), level(5.0, FLOOR_AVERAGE)
    surface = Surface(area=20.0, radiation=PLATE, velocity=total, mean_velocity=mean)
    piston = piston_radiation_efficiency(bands.exact(F), length=5.0, width=4.0)
    wanted = 20 * (piston * 10**0.2 + PLATE.efficiency(F) * (10**0.5 - 10**0.2))
    xr.testing.assert_allclose(surface.power(F), wanted)
    found = surface.powers(F)
    assert found.moving.values == pytest.approx(10**0.2)
    assert {"baffled-rectangular-piston", "radiation-split"} <= {c.key for c in surface.citations}


def test_a_mean_may_be_a_share_of_the_surface_average() -> None:
    """-3 dB of an average of 5 dB is a mean of 2 dB; of columns that are the average, -3 dB."""
    share = level(-3.0, SURFACE_MEAN, FLOOR_AVERAGE)
    total, mean = level(5.0, FLOOR_AVERAGE), level(2.0, SURFACE_MEAN)
    by_share, by_mean = (
        Surface(area=20.0, radiation=PLATE, velocity=total, mean_velocity=m) for m in (share, mean)
    )
    xr.testing.assert_allclose(by_share.power(F), by_mean.power(F))
    still = Surface(area=20.0, radiation=PLATE, mean_velocity=share)
    assert still.powers(F).moving.values == pytest.approx(10**-0.3)


def test_first_mode_of_a_supported_panel_is_two_thirds_piston() -> None:
    """64/π⁴ = 0.6570 of the first mode, and all of a surface that is driven evenly."""
    x = (np.arange(2000) + 0.5) / 2000
    first = np.sin(np.pi * x)
    share = (first.mean() ** 2 / (first**2).mean()) ** 2
    assert share == pytest.approx(0.6570, abs=5e-5)
    odd = np.arange(1, 40_001, 2)
    assert (8 / (np.pi * odd) ** 2).sum() ** 2 == pytest.approx(1.0, abs=2e-4)
    surface = Surface(
        area=20.0, radiation=PLATE, velocity=level(0.0, FLOOR_AVERAGE),
        mean_velocity=level(10 * np.log10(share), SURFACE_MEAN),
    )  # fmt: skip
    found = surface.powers(F)
    piston = piston_radiation_efficiency(bands.exact(F), length=5.0, width=4.0)
    xr.testing.assert_allclose(found.piston, 20 * 0.6570 * piston, rtol=1e-4)
    xr.testing.assert_allclose(found.rest, 20 * 0.3430 * PLATE.efficiency(F), rtol=1e-3)


def test_a_light_leaf_that_is_moved_as_a_body() -> None:
    """Plasterboard of 12.5 mm: its bending waves hardly radiate, the leaf as a whole does."""
    board = RadiatingPlate(length=4.0, width=2.5, critical_frequency=3400.0)
    still = Surface(area=10.0, radiation=board, velocity=level(0.0, FLOOR_AVERAGE))
    moved = replace(still, mean_velocity=level(0.0, SURFACE_MEAN))
    gain = decibel(moved.power(F) / still.power(F)).sel(frequency=slice(31.5, 250))
    assert (gain > 18).all()
    assert (moved.powers(F).rest == 0).all()


def test_where_only_the_surface_average_is_known() -> None:
    first = 12.5
    surface = Surface(
        area=20.0, radiation=PLATE, velocity=level(0.0, FLOOR_AVERAGE),
        piston_up_to=PISTON_UP_TO * 2 * first,
    )  # fmt: skip
    piston = PLATE.piston_efficiency(F)
    bending = PLATE.efficiency(F)
    louder = xr.where(piston > bending, piston, bending)
    wanted = 20 * xr.where(F <= 37.5, louder, bending)
    xr.testing.assert_allclose(surface.power(F), wanted)
    assert (surface.power(F)[:3] > 20 * bending[:3]).any()


def test_without_a_field_and_a_mean_nothing_is_new() -> None:
    surfaces = {
        "floor": Surface(area=20.0, radiation=PLATE, velocity=level(6.0, FLOOR_AVERAGE)),
        "walls": Surface(area=45.0, radiation=PLATE),
    }
    old = sum(
        s.area * PLATE.efficiency(F) * g
        for s, g in zip(surfaces.values(), (10**0.6, 1.0), strict=True)
    )
    areas = sum(s.area * PLATE.efficiency(F) for s in surfaces.values())
    got = SurfaceMean(in_field(surfaces, field=None)).level_change(F)
    xr.testing.assert_allclose(got, decibel(old / areas), rtol=1e-13)
    assert SurfaceMean(surfaces).level_change(F).identical(got)


def test_far_above_the_modes_the_field_is_the_diffuse_one() -> None:
    hall = Room(length=30.0, width=20.0, height=10.0, reverberation_time=0.6)  # f_S 20 Hz
    surfaces = {"floor": Surface(area=600.0, radiation=PLATE, velocity=level(6.0, FLOOR_AVERAGE))}
    modal = SurfaceMean(in_field(surfaces, field=ModalField(room=hall))).level_change(F)
    diffuse = SurfaceMean(surfaces).level_change(F)
    assert (modal - diffuse).sel(frequency=slice(25.0, None)).values.tolist() == [0.0] * 11
    assert abs((modal - diffuse).sel(frequency=16.0).item()) > 0.01


def test_the_field_of_a_floor_that_moves_as_a_whole() -> None:
    """Below half the Schroeder frequency the sound is that of a piston, whatever the floor is."""
    for radiation in (PLATE, RadiatingPlate(length=9.0, width=2.0, critical_frequency=500.0)):
        floor = Surface(area=20.0, radiation=radiation, mean_velocity=WHOLE)
        found = sounds(in_field({"floor": floor}, field=ModalField(room=ROOM)))
        below = F.values < 98.0
        wanted = 10 * np.log10(box_modes.piston(boxes(F, (5.0, 4.0, 2.6), 0.5)))
        assert found.values[below] == pytest.approx(wanted[below], abs=1e-3)


def test_floor_and_ceiling_together() -> None:
    surfaces = {
        name: Surface(area=20.0, radiation=PLATE, mean_velocity=WHOLE)
        for name in ("floor", "ceiling")
    }
    apart, up, towards = (
        10 ** (sounds(in_field(surfaces, field=ModalField(room=ROOM, phase=phase))) / 10)
        for phase in ("incoherent", "in phase", "counter-phase")
    )
    xr.testing.assert_allclose((up + towards) / 2, apart, rtol=1e-9)
    assert (up > 0).all()
    low = [16.0, 20.0, 25.0]
    # Towards one another they compress the air twice as much as one does; both up, hardly at all.
    one = 10 ** (sounds(in_field({"floor": surfaces["floor"]}, field=ModalField(room=ROOM))) / 10)
    assert (towards / one).sel(frequency=low).values == pytest.approx(4.0, rel=0.07)
    assert (up / apart).sel(frequency=16.0).item() < 0.02
    # The first mode over the height, 66 Hz, has its ends in opposite phase.
    assert (up / towards).sel(frequency=63.0) > 20
    # Exact at a single line: two travelling pistons.
    kh = 2 * np.pi * 31.5 / SPEED * 2.6
    z = (np.arange(4000) + 0.5) / 4000
    both = np.cos(kh * (1 - z)) + np.cos(kh * z)
    assert (both**2).mean() / (np.cos(kh * z) ** 2).mean() == pytest.approx(
        (towards / one).sel(frequency=31.5).item(), rel=0.05
    )


def test_treatments_act_on_both_parts_and_on_what_they_do_together() -> None:
    surfaces = {
        name: Surface(area=20.0, radiation=PLATE, mean_velocity=WHOLE)
        for name in ("floor", "ceiling")
    }
    gain = level(-20.0, SURFACE, SURFACE)
    for phase in ("incoherent", "in phase", "counter-phase"):
        placed = in_field(surfaces, field=ModalField(room=ROOM, phase=phase))
        every = TreatedSurfaces(placed, {"floor": gain, "ceiling": gain}).level_change(F)
        assert every.values == pytest.approx(-20.0, abs=1e-6)
    one = TreatedSurfaces(
        in_field(surfaces, field=ModalField(room=ROOM)), {"floor": gain}
    ).level_change(F)
    assert one.values == pytest.approx(10 * np.log10((1 + 0.01) / 2), abs=1e-6)


def test_the_handover_has_no_step() -> None:
    """From the octave below the Schroeder frequency on, in shares of power linear in lg f."""
    field = ModalField(room=Room(length=6.0, width=5.0, height=3.0, reverberation_time=0.6))
    share = field.modal_share(bands.third_octaves(50, 200)).values  # f_S 163 Hz
    wanted = np.log2(163.299 / bands.exact(bands.third_octaves(50, 200).values)).clip(0, 1)
    assert share == pytest.approx(wanted, abs=1e-5)
    assert (share[:3] == 1).all()
    assert (share[-1:] == 0).all()


def test_rooms_and_samples_at_once_are_each_room_by_itself() -> None:
    rng = np.random.default_rng(2)
    names, draws = [f"R{i}" for i in range(6)], 4
    length = xr.DataArray(rng.uniform(3, 9, 6), coords={"room": names})
    height = xr.DataArray(rng.uniform(2.4, 3.5, 6), coords={"room": names})
    time = xr.DataArray(
        rng.uniform(0.3, 1.2, (6, draws)), dims=("room", "sample"), coords={"room": names}
    )
    many = ModalField(
        room=Room(length=length, width=4.0, height=height, reverberation_time=time),
        position="prescribed",
        leak_frequency=xr.DataArray(rng.uniform(10, 30, 6), coords={"room": names}),
    )  # fmt: skip
    for room, sample in (("R0", 0), ("R3", 2), ("R5", 3)):
        alone = ModalField(
            room=Room(
                length=float(length.sel(room=room)), width=4.0, height=float(height.sel(room=room)),
                reverberation_time=float(time.sel(room=room)[sample]),
            ),
            position="prescribed",
        )  # fmt: skip
        for name in ("piston_area", "together_area", "random_gain", "rest_gain"):
            got = getattr(many, name)(F).sel(room=room).isel(sample=sample)
            assert got.values == pytest.approx(getattr(alone, name)(F).values, rel=2e-3), name
    assert many.valid(F).dims == ("frequency", "room")


def test_reverberation_by_band() -> None:
    time = xr.DataArray(np.linspace(1.0, 0.4, F.size), coords={"frequency": F.values})
    field = ModalField(room=replace(ROOM, reverberation_time=time))
    at = ModalField(room=replace(ROOM, reverberation_time=float(time.sel(frequency=40.0))))
    for name in ("piston_area", "rest_gain"):
        got = getattr(field, name)(F).sel(frequency=40.0).item()
        assert got == pytest.approx(getattr(at, name)(F).sel(frequency=40.0).item())


def test_below_the_leaks_nothing_is_valid() -> None:
    low = bands.third_octaves(8, 31.5)
    floor = {"floor": Surface(area=20.0, radiation=PLATE)}
    wanted = [False, False, False, True, True, True, True]
    assert (
        SurfaceMean(in_field(floor, field=ModalField(room=ROOM))).valid(low).values.tolist()
        == wanted
    )
    tight = ModalField(room=ROOM, leak_frequency=0.0)
    assert SurfaceMean(in_field(floor, field=tight)).valid(low).all()
    assert SurfaceMean(floor).valid(low).all()


def test_what_surfaces_and_fields_refuse() -> None:
    total = level(0.0, FLOOR_AVERAGE)
    with pytest.raises(
        LevelError, match=r"at frequency=16\.0 the mean velocity is larger than the"
    ):
        Surface(
            area=20.0, radiation=PLATE, velocity=total, mean_velocity=level(1.0, SURFACE_MEAN)
        ).power(F)
    with pytest.raises(PathError, match="mean_velocity turns"):
        Surface(area=20.0, radiation=PLATE, mean_velocity=total)
    with pytest.raises(ValueError, match="leave one of them out"):
        Surface(area=20.0, radiation=PLATE, mean_velocity=WHOLE, piston_up_to=20.0)

    class Flat:
        citations = ()

        def efficiency(self, frequency: xr.DataArray) -> xr.DataArray:
            return xr.ones_like(frequency)

    with pytest.raises(ValueError, match="Flat has no piston_efficiency"):
        Surface(area=20.0, radiation=Flat(), mean_velocity=WHOLE)
    for change, words in (
        ({"phase": "both"}, "phase is 'both'"),
        ({"position": "middle"}, "position is 'middle'"),
        ({"leak_frequency": -1.0}, "leak_frequency is -1"),
        ({"position": "corner", "corner_distance": 1.4}, "beyond the middle of a room side of 2.6"),
    ):
        with pytest.raises(ValueError, match=words):
            ModalField(room=ROOM, **change)  # type: ignore[arg-type]


# -- Pistons in a baffle ---------------------------------------------------------------------------


def test_a_rectangular_piston_between_its_limits() -> None:
    """As a monopole, as a disc of its area (1 - J1(2ka)/(ka)), and as a plane wave."""
    low = piston_radiation_efficiency([0.5, 2.0], length=5.0, width=4.0)
    k = 2 * np.pi * low["frequency"] / 340.0
    assert low.values == pytest.approx((k**2 * 20 / (2 * np.pi)).values, rel=0.02)
    side = np.sqrt(np.pi)  # a disc of radius 1
    ka = np.array([0.1, 0.5, 1.0])
    got = piston_radiation_efficiency(ka * 340.0 / (2 * np.pi), length=side, width=side)
    assert got.values == pytest.approx(1 - j1(2 * ka) / ka, rel=0.01)
    assert (1 - j1(2 * ka) / ka).round(4).tolist() == [0.005, 0.1199, 0.4233]
    high = piston_radiation_efficiency([1000.0, 4000.0], length=5.0, width=4.0)
    assert high.values == pytest.approx(1.0, abs=0.01)


def test_a_rectangular_piston_by_its_rayleigh_integral() -> None:
    """Two-dimensional sum over the distance of two points, without polar coordinates."""
    x, w = np.polynomial.legendre.leggauss(120)
    for length, width, frequency in ((5.0, 4.0, 31.5), (5.0, 4.0, 125.0), (12.0, 2.6, 63.0)):
        k = 2 * np.pi * frequency / 340.0
        a, b = (x + 1) / 2 * length, (x + 1) / 2 * width
        r = np.hypot(a[:, None], b)
        body = (length - a)[:, None] * (width - b) * np.sinc(k * r / np.pi) * k
        integral = (body * w[:, None] * w).sum() * length * width / 4
        wanted = 2 * k / (np.pi * length * width) * integral
        got = piston_radiation_efficiency([frequency], length=width, width=length).item()
        assert got == pytest.approx(wanted, rel=1e-4)
