"""Elements against closed forms written out here, number by number; and what each refuses.

Fast, and exact where the formula is: these notice a sign, a factor, a sum in place of a mean, the
larger in place of the smaller loss, or a check that has gone.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import xarray as xr

from groundborne import bands
from groundborne._checks import BandError, PathError, RecordingError
from groundborne.isolation import BaseIsolation, IdealIsolation, LinearMount, TwoStageMount
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.path import COLUMN, FLOOR_AVERAGE, MID_SPAN, SURFACE, GivenChange
from groundborne.propagation import GroundDistance, SpeedChange, geometric_exponent
from groundborne.receiver import Room, RoomSound, Surface, SurfaceMean, TreatedSurfaces
from groundborne.structure import (
    ColumnLine,
    FlatSlab,
    FloatingFloor,
    IsolationPlane,
    RigidMass,
    SemiInfiniteRod,
    SpringFoundation,
    Storey,
)
from groundborne.twoport import TwoPort, rigid_link
from groundborne.waveform import ThirdOctaveBank

F = xr.DataArray([3.0, 17.0, 90.0], dims="frequency")
W = 2 * np.pi * F.values
LABELS = bands.third_octaves(16, 63)


def on(dim: str, *values: float) -> xr.DataArray:
    return xr.DataArray(list(values), dims=dim)


def same(found: Any, wanted: Any) -> None:
    np.testing.assert_allclose(np.asarray(found), wanted, rtol=1e-12)


# -- Mobilities ------------------------------------------------------------------------------------


def test_mobilities() -> None:
    same(RigidMass(mass=70.0).driving_point_mobility(F), 1 / (1j * W * 70.0))
    soil = SpringFoundation(stiffness=3e8, damping=4e5, loss_factor=0.07, mass=9e3)
    force = 3e8 * (1 + 0.07j) / (1j * W) + 4e5 + 1j * W * 9e3
    same(soil.driving_point_mobility(F), 1 / force)
    plain = SpringFoundation(stiffness=3e8, damping=4e5)
    same(plain.driving_point_mobility(F), 1 / (3e8 / (1j * W) + 4e5))
    rod = SemiInfiniteRod(area=0.3, youngs_modulus=33e9, density=2400.0)
    same(rod.driving_point_mobility(F), np.full(3, 1 / (0.3 * np.sqrt(33e9 * 2400.0))))


def test_smallest_loss_of_mobilities() -> None:
    """The smaller of several, and of the kinds of damping the one that governs."""
    pair = on("sample", 0.02, 0.3)
    assert SpringFoundation(stiffness=1e8, loss_factor=pair).loss_factor_floor == 0.02
    dashpots = SpringFoundation(stiffness=1e6, damping=on("sample", 1e4, 3e4))
    assert dashpots.loss_factor_floor == pytest.approx(2 * np.pi * 1e4 / 1e6)
    both = SpringFoundation(stiffness=1e6, damping=1e4, loss_factor=0.01)
    assert both.loss_factor_floor == pytest.approx(2 * np.pi * 1e4 / 1e6)
    assert SemiInfiniteRod(area=1.0, youngs_modulus=1e9, density=1e3).loss_factor_floor == 1.0
    assert RigidMass(mass=1.0).loss_factor_floor == 1.0


@pytest.mark.parametrize(
    ("kind", "good", "bad"),
    [
        (RigidMass, {"mass": 1.0}, {"mass": 0.0}),
        (SpringFoundation, {"stiffness": 1.0, "damping": 1.0}, {"stiffness": 0.0}),
        (SpringFoundation, {"stiffness": 1.0, "damping": 1.0}, {"damping": -1.0}),
        (SpringFoundation, {"stiffness": 1.0, "damping": 1.0}, {"loss_factor": -0.1}),
        (SpringFoundation, {"stiffness": 1.0, "damping": 1.0}, {"mass": -1.0}),
        (SpringFoundation, {"stiffness": 1.0, "damping": 1.0}, {"damping": 0.0}),
        *(
            (SemiInfiniteRod, {"area": 1.0, "youngs_modulus": 1.0, "density": 1.0}, {name: 0.0})
            for name in ("area", "youngs_modulus", "density")
        ),
        (LinearMount, {"stiffness": 1.0}, {"stiffness": 0.0}),
        (LinearMount, {"stiffness": 1.0}, {"loss_factor": 1.01}),
        (LinearMount, {"stiffness": 1.0}, {"loss_factor": -0.01}),
        (LinearMount, {"stiffness": 1.0}, {"damping": -1.0}),
        (LinearMount, {"stiffness": 1.0}, {"dynamic_to_static": 0.99}),
        (LinearMount, {"stiffness": 1.0}, {"dynamic_to_static": 5.01}),
        (LinearMount, {"stiffness": 1.0}, {"travel_to_solid": 0.0}),
        *(
            (
                GroundDistance,
                {
                    "distance": 1.0, "reference_distance": 1.0, "exponent": 0.5,
                    "damping_ratio": 0.01, "wave_speed": 1.0,
                },
                bad,
            )
            for bad in (
                {"distance": 0.0}, {"reference_distance": 0.0}, {"exponent": -0.01},
                {"exponent": 2.01}, {"damping_ratio": -0.01}, {"damping_ratio": 0.51},
                {"wave_speed": 0.0}, {"source_extent": -1.0},
            )
        ),
        (SpeedChange, {"speed": 1.0, "reference_speed": 1.0}, {"speed": 0.0}),
        (SpeedChange, {"speed": 1.0, "reference_speed": 1.0}, {"reference_speed": 0.0}),
        (SpeedChange, {"speed": 1.0, "reference_speed": 1.0}, {"slope": np.inf}),
        *(
            (
                Room,
                {"length": 1.0, "width": 1.0, "height": 1.0, "reverberation_time": 1.0},
                {name: 0.0},
            )
            for name in ("length", "width", "height", "reverberation_time", "volume")
        ),
    ],
)  # fmt: skip
def test_each_parameter_has_its_bounds(kind: Any, good: Any, bad: Any) -> None:
    kind(**good)
    with pytest.raises(ValueError, match=next(iter(bad))):
        kind(**good | bad)


def test_bounds_belong_to_what_is_allowed() -> None:
    LinearMount(stiffness=1.0, loss_factor=1.0, dynamic_to_static=5.0)
    SpringFoundation(stiffness=1.0, loss_factor=1e-3)
    GroundDistance(
        distance=1.0, reference_distance=1.0, exponent=2.0, damping_ratio=0.5, wave_speed=1.0
    )


# -- Mounts ----------------------------------------------------------------------------------------


def test_a_mount_is_tuned_and_found_again() -> None:
    for f0, mass in ((4.0, 1e5), (9.5, 3e4)):
        mount = LinearMount.tuned(natural_frequency=f0, mass=mass, loss_factor=0.1)
        same(mount.stiffness, (2 * np.pi * f0) ** 2 * mass)
        same(mount.natural_frequency(mass), f0)
        same(mount.natural_frequency(4 * mass), f0 / 2)
    with pytest.raises(ValueError, match="mass is 0"):
        LinearMount(stiffness=1e6).natural_frequency(0.0)
    for bad in ({"natural_frequency": 0.0}, {"natural_frequency": 100.1}, {"mass": 0.0}):
        with pytest.raises(ValueError, match=next(iter(bad))):
            LinearMount.tuned(**{"natural_frequency": 5.0, "mass": 1.0, "loss_factor": 0.1} | bad)
    LinearMount.tuned(natural_frequency=100.0, mass=1.0, loss_factor=0.1)


def test_dynamic_and_static_stiffness() -> None:
    mount = LinearMount(stiffness=2e6, loss_factor=0.2, damping=3e3, dynamic_to_static=1.6)
    stiffness = 2e6 * (1 + 0.2j) + 1j * W * 3e3
    same(mount.dynamic_stiffness(F), stiffness)
    same(mount.two_port(F).c, 1j * W / stiffness)
    same(mount.static_deflection(5e4), 5e4 * 1.6 / 2e6)
    assert mount.static_deflection(0.0) == 0.0
    with pytest.raises(ValueError, match="load"):
        mount.static_deflection(-1.0)
    stopped = LinearMount(stiffness=1e6, travel_to_solid=0.02)
    same(stopped.static_deflection(2e4), 0.02)
    with pytest.raises(ValueError, match="solid and isolates nothing"):
        stopped.static_deflection(2.01e4)


def test_smallest_loss_of_mounts() -> None:
    assert LinearMount(stiffness=1e6, loss_factor=on("column", 0.05, 0.2)).loss_factor_floor == 0.05
    dashpots = LinearMount(stiffness=1e6, damping=on("column", 2e4, 5e4))
    assert dashpots.loss_factor_floor == pytest.approx(2 * np.pi * 2e4 / 1e6)
    both = LinearMount(stiffness=1e6, damping=2e4, loss_factor=0.01)
    assert both.loss_factor_floor == pytest.approx(2 * np.pi * 2e4 / 1e6)
    low, high = (LinearMount(stiffness=1e6, loss_factor=v) for v in (0.02, 0.3))
    for pair in ((low, high), (high, low)):
        two = TwoStageMount(lower=pair[0], upper=pair[1], intermediate_mass=10.0)
        assert two.loss_factor_floor == 0.02


def test_two_stages_in_closed_form() -> None:
    k1, k2, m = 3e6 * (1 + 0.1j), 5e6 * (1 + 0.05j), 4e3
    two = TwoStageMount(
        lower=LinearMount(stiffness=3e6, loss_factor=0.1),
        upper=LinearMount(stiffness=5e6, loss_factor=0.05),
        intermediate_mass=m,
    )
    # Blocked above: k2 x and x (k1 + k2 - w² m) = k1 x1.
    same(two.dynamic_stiffness(F), k1 * k2 / (k1 + k2 - W**2 * m))
    same(two.static_deflection(1e4), 1e4 / 5e6 + (1e4 + m * 9.80665) / 3e6)
    with pytest.raises(ValueError, match="intermediate_mass"):
        replace(two, intermediate_mass=0.0)


# -- Two-ports -------------------------------------------------------------------------------------


def matrix(port: TwoPort) -> np.ndarray[Any, Any]:
    parts = (np.broadcast_to(p.values, F.shape) for p in (port.a, port.b, port.c, port.d))
    return np.moveaxis(np.array(list(parts)).reshape(2, 2, -1), -1, 0)


PORTS = {
    "mass": (TwoPort.mass(F, mass=30.0), lambda w: [[1, 1j * w * 30.0], [0, 1]]),
    "spring": (
        TwoPort.spring(F, stiffness=2e5, loss_factor=0.3),
        lambda w: [[1, 0], [1j * w / (2e5 * (1 + 0.3j)), 1]],
    ),
    "dashpot": (TwoPort.dashpot(F, damping=700.0), lambda _: [[1, 0], [1 / 700.0, 1]]),
    "link": (rigid_link(F), lambda _: [[1, 0], [0, 1]]),
}


@pytest.mark.parametrize("name", PORTS)
def test_elements_are_their_matrices(name: str) -> None:
    port, wanted = PORTS[name]
    same(matrix(port), np.array([wanted(w) for w in W]))


def test_a_line_is_its_matrix() -> None:
    k, m = 4e6 * (1 + 0.02j), 50.0
    phase, z = W * np.sqrt(m / k), np.sqrt(k * m)
    line = matrix(TwoPort.line(F, stiffness=4e6, mass=50.0, loss_factor=0.02))
    wanted = [[np.cos(phase), 1j * z * np.sin(phase)], [1j * np.sin(phase) / z, np.cos(phase)]]
    same(line, np.moveaxis(np.array(wanted), -1, 0))


def test_cascades_multiply_and_parallels_add() -> None:
    one = TwoPort.line(F, stiffness=4e6, mass=50.0, loss_factor=0.02)
    two = TwoPort.line(F, stiffness=1e6, mass=20.0, loss_factor=0.1)
    for a, b in ((one, two), (two, one)):
        same(matrix(a @ b), matrix(a) @ matrix(b))
    same(one.determinant, np.linalg.det(matrix(one)))
    skew = replace(one, a=2 * one.a, d=3 * one.d)  # not reciprocal, so that no sign can hide
    same(skew.determinant, np.linalg.det(matrix(skew)))

    def impedances(port: TwoPort) -> np.ndarray[Any, Any]:
        """Forces on both sides, the second outwards, for velocities of both."""
        a, b, c, d = (p.values for p in (port.a, port.b, port.c, port.d))
        return np.moveaxis(np.array([[a / c, b - a * d / c], [1 / c, -d / c]]), -1, 0)

    both = (one @ TwoPort.mass(F, mass=8.0)).parallel(two)
    parts = impedances(one @ TwoPort.mass(F, mass=8.0)) + impedances(two)
    np.testing.assert_allclose(impedances(both), parts, rtol=1e-9)


def test_a_two_port_between_two_mobilities() -> None:
    """Against the four equations of ports, source and receiver, solved as they stand."""
    ys = SpringFoundation(stiffness=3e7, damping=4e4).driving_point_mobility(F)
    yr = RigidMass(mass=3e3).driving_point_mobility(F)
    port = TwoPort.line(F, stiffness=4e6, mass=50.0, loss_factor=0.02) @ TwoPort.mass(F, mass=9.0)
    ratio = port.velocity_ratio(source_mobility=ys, receiver_mobility=yr)
    seen = port.input_mobility(yr)
    for i, m in enumerate(matrix(port)):
        a, s, r = m, complex(ys[i]), complex(yr[i])
        equations = np.array(
            [
                [1, 0, -a[0, 0], -a[0, 1]],  # F1 = a F2 + b v2
                [0, 1, -a[1, 0], -a[1, 1]],  # v1 = c F2 + d v2
                [s, 1, 0, 0],  # v1 = v0 - Ys F1
                [0, 0, -r, 1],  # v2 = Yr F2
            ]
        )
        f1, v1, _, v2 = np.linalg.solve(equations, [0, 0, 1, 0])
        same(ratio[i], v2)
        same(seen[i], v1 / f1)


@pytest.mark.parametrize(
    "make",
    [
        lambda: TwoPort.mass(F, mass=-1.0),
        lambda: TwoPort.spring(F, stiffness=0.0),
        lambda: TwoPort.spring(F, stiffness=1.0, loss_factor=-0.1),
        lambda: TwoPort.dashpot(F, damping=0.0),
        lambda: TwoPort.line(F, stiffness=0.0, mass=1.0),
        lambda: TwoPort.line(F, stiffness=1.0, mass=0.0),
        lambda: TwoPort.line(F, stiffness=1.0, mass=1.0, loss_factor=-0.1),
    ],
)
def test_two_ports_have_their_bounds(make: Any) -> None:
    with pytest.raises(ValueError, match="it must be"):
        make()


# -- Base isolation --------------------------------------------------------------------------------


def test_the_ideal_curve_is_the_energy_mean_of_its_band() -> None:
    mount, mass = LinearMount(stiffness=8e7, loss_factor=0.08), 1e5
    lines = bands.single_frequencies(LABELS, loss_factor=0.08)
    w = 2 * np.pi * lines
    ratio = abs(8e7 * (1 + 0.08j) / (8e7 * (1 + 0.08j) - w**2 * mass)) ** 2
    wanted = 10 * np.log10(ratio.mean("single_frequency"))
    np.testing.assert_allclose(IdealIsolation(mount, mass).level_change(LABELS), wanted, rtol=1e-9)
    with pytest.raises(ValueError, match="mass is 0"):
        IdealIsolation(mount, 0.0)


def test_insertion_between_mobilities_is_a_ratio_of_energies() -> None:
    soil = SpringFoundation(stiffness=3e8, damping=4e6, loss_factor=0.05)
    mount, frame = LinearMount(stiffness=8e7, loss_factor=0.3), RigidMass(mass=1e5)
    base = BaseIsolation(mount, below=soil, above=frame)

    def squares(f: xr.DataArray) -> tuple[Any, Any]:
        ys, yr = soil.driving_point_mobility(f), frame.driving_point_mobility(f)
        c = 2j * np.pi * f / (8e7 * (1 + 0.3j))
        return abs(yr / (ys + yr)) ** 2, abs(yr / (c + ys + yr)) ** 2

    without, isolated = squares(F)
    same(base.insertion_loss(F), 10 * np.log10(without / isolated))
    # Sampled as finely as the least damped part needs: the soil, with the dashpot at 1 Hz.
    without, isolated = squares(bands.single_frequencies(LABELS, loss_factor=2 * np.pi * 4e6 / 3e8))
    wanted = 10 * np.log10(isolated.mean("single_frequency") / without.mean("single_frequency"))
    np.testing.assert_allclose(base.level_change(LABELS), wanted, rtol=1e-9)


# -- Column lines ----------------------------------------------------------------------------------

SOIL = SpringFoundation(stiffness=4e8, damping=3e6, loss_factor=0.06)
SLAB = FlatSlab(
    span_x=6.0, span_y=7.0, thickness=0.25, youngs_modulus=30e9, density=2400.0, poisson=0.2,
    loss_factor=0.04,
)  # fmt: skip
STOREY = Storey(
    floor="1", height=3.5, area=0.2, youngs_modulus=33e9, density=2450.0, loss_factor=0.03,
    slab=SLAB,
)  # fmt: skip
MOUNT = LinearMount(stiffness=6e7, loss_factor=0.1)
LINE = ColumnLine(
    storeys=(STOREY, replace(STOREY, floor="2", height=3.0)),
    foundation=SOIL,
    base_slab=SLAB,
    base_floor="0",
    isolation=IsolationPlane(mount=MOUNT, under="0"),
)
RIGID = replace(LINE, isolation=IsolationPlane(mount=replace(MOUNT, stiffness=1e16), under="0"))
BAND = bands.third_octaves(16, 50)


def test_insertion_losses_are_ratios_of_band_means() -> None:
    """Mounts that do not give way are no mounts: the loss is against such."""
    lines = bands.single_frequencies(BAND, loss_factor=0.03)
    powers = [x.transmitted_power(lines).mean("single_frequency") for x in (RIGID, LINE)]
    wanted = 10 * np.log10(powers[0] / powers[1])
    np.testing.assert_allclose(LINE.power_insertion_loss(BAND), wanted, atol=1e-3)
    assert float(abs(wanted).max()) > 3.0
    motion = [(abs(x.velocity_ratio(lines)) ** 2).mean("single_frequency") for x in (RIGID, LINE)]
    wanted = 10 * np.log10(motion[0] / motion[1])
    np.testing.assert_allclose(LINE.insertion_loss(BAND), wanted, atol=1e-3)


def test_power_through_the_mounts_is_what_the_building_takes() -> None:
    """``|v/v0|² Re(1/Yr)`` above the mounts, from the mobilities on both sides."""
    below, above = LINE.mobilities_at_plane(F)
    c = 1j * W / MOUNT.dynamic_stiffness(F)
    ratio = above / (c + above + below)
    same(LINE.transmitted_power(F), abs(ratio) ** 2 * (1 / above).real)


def test_smallest_loss_of_a_line() -> None:
    assert LINE.loss_factor_floor == 0.03
    assert replace(LINE, base_slab=replace(SLAB, loss_factor=0.01)).loss_factor_floor == 0.01
    soft = IsolationPlane(mount=replace(MOUNT, loss_factor=0.02), under="0")
    assert replace(LINE, isolation=soft).loss_factor_floor == 0.02
    quiet = SpringFoundation(stiffness=4e8, loss_factor=0.005)
    assert replace(LINE, foundation=quiet).loss_factor_floor == 0.005
    uneven = replace(STOREY, loss_factor=on("sample", 0.3, 0.015))
    assert replace(LINE, storeys=(uneven,)).loss_factor_floor == 0.015


def test_masses_of_a_line() -> None:
    slab = 6.0 * 7.0 * 0.25 * 2400.0
    first, second = 3.5 * 0.2 * 2450.0, 3.0 * 0.2 * 2450.0
    same(LINE.total_mass, 3 * slab + first + second)
    same(LINE.mass_above, 3 * slab + first + second)
    same(LINE.mass_from("1"), 2 * slab + second)
    same(LINE.mass_from("2"), slab)
    raised = replace(LINE, isolation=IsolationPlane(mount=MOUNT, on="1"))
    same(raised.mass_above, slab + second)
    same(raised.rigid_body_frequency(), np.sqrt(6e7 / (slab + second)) / (2 * np.pi))
    bare = replace(LINE, base_slab=None, isolation=None)
    same(bare.total_mass, 2 * slab + first + second)
    assert bare.floors == ("1", "2")
    assert LINE.floors == ("0", "1", "2")
    assert len(LINE.slabs) == 3
    with pytest.raises(ValueError, match="floor is '9'"):
        LINE.mass_from("9")
    endless = replace(STOREY, slab=SemiInfiniteRod(area=1.0, youngs_modulus=1e9, density=1e3))
    with pytest.raises(ValueError, match="no finite mass"):
        _ = replace(LINE, storeys=(endless,)).total_mass


def _asked(line: ColumnLine, name: str) -> Any:
    found = getattr(line, name)
    return found() if name == "rigid_body_frequency" else found(BAND)


def test_what_a_line_refuses() -> None:
    plane = {"mount": MOUNT}
    for change, words in (
        ({"storeys": ()}, "at least one"),
        ({"storeys": (STOREY, STOREY)}, "given twice"),
        ({"base_floor": "1"}, "given twice"),
        ({"storeys": (replace(STOREY, floor=1),)}, "mix names and numbers"),
        ({"isolation": IsolationPlane(**plane, under="5")}, "not in the building"),
        ({"isolation": IsolationPlane(**plane, on="2")}, "topmost"),
        ({"base_slab": None}, "no slab"),
    ):
        with pytest.raises(ValueError, match=words):
            replace(LINE, **change)
    replace(LINE, base_slab=None, isolation=IsolationPlane(**plane, on="0"))
    replace(LINE, isolation=IsolationPlane(**plane, under="2"))
    for ask in ("mass_above", "power_insertion_loss", "insertion_loss", "mobilities_at_plane",
                "transmitted_power", "rigid_body_frequency"):  # fmt: skip
        with pytest.raises(ValueError, match="no isolation"):
            _asked(LINE.without_isolation(), ask)
    with pytest.raises(ValueError, match="place is 'roof'"):
        LINE.floor_mean_squares(BAND, places=("roof",))


def test_floors_are_meant_bare_unless_said() -> None:
    floor = FloatingFloor(mass_per_area=200.0, stiffness_per_area=2e6, loss_factor=0.1)
    floating = replace(STOREY, slab=replace(SLAB, floating_floor=floor))
    line = replace(LINE, storeys=(floating,))
    for name in ("surface_mean_square", "mid_panel_mean_square"):
        found = getattr(line, name)
        bare, on_top = (found(BAND, on_floating_floor=v) for v in (False, True))
        same(found(BAND), bare)
        assert float(abs(np.log10(bare / on_top)).max()) > 0.1
        place = name.removesuffix("_mean_square")
        same(line.floor_mean_squares(BAND, places=(place,))[place], bare)
    lines = bands.single_frequencies(BAND, loss_factor=0.03)
    squares = (abs(line.velocity_ratio(lines)) ** 2).mean("single_frequency")
    same(line.column_mean_square(BAND).transpose(*squares.dims), squares)
    bottom = replace(line, isolation=None).foundation_mean_square(BAND)
    same(bottom, replace(line, isolation=None).column_mean_square(BAND).sel(floor="0"))


# -- Ground and trains -----------------------------------------------------------------------------


def test_distance_and_speed() -> None:
    away = GroundDistance(
        distance=40.0, reference_distance=15.0, exponent=0.7, damping_ratio=0.02, wave_speed=180.0,
        source_extent=10.0,
    )  # fmt: skip
    f = bands.exact(LABELS)
    alpha = 2 * np.pi * f * 0.02 / 180.0
    ratio = (40.0 / 15.0) ** -0.7 * np.exp(-alpha * (40.0 - 15.0))
    same(away.level_change(LABELS), 20 * np.log10(ratio))
    same(away.validity_radius(LABELS), 5.0 + 180.0 / f)
    assert away.valid(LABELS).values.tolist() == (5.0 + 180.0 / f <= 15.0).values.tolist()
    assert not bool(replace(away, distance=15.0, reference_distance=40.0).valid(LABELS)[0])
    at = GroundDistance(
        distance=float(5.0 + 180.0 / f[0]), reference_distance=99.0, exponent=0.7,
        damping_ratio=0.0, wave_speed=180.0, source_extent=10.0,
    )  # fmt: skip
    assert at.valid(LABELS).all()
    point = GroundDistance(
        distance=40.0, reference_distance=15.0, exponent=0.7, damping_ratio=0.02, wave_speed=180.0
    )
    same(point.validity_radius(LABELS), 180.0 / f)  # a source is a point unless said
    assert replace(at, distance=99.0, reference_distance=at.distance).valid(LABELS).all()
    faster = SpeedChange(speed=91.0, reference_speed=70.0, slope=15.0)
    same(faster.level_change(LABELS), np.full(LABELS.size, 15 * np.log10(91.0 / 70.0)))
    same(SpeedChange(speed=20.0, reference_speed=2.0).level_change(LABELS), 20.0)
    for speed, within in ((70.0, True), (69.9, False), (130.0, True), (130.1, False)):
        found = SpeedChange(speed=speed, reference_speed=100.0).valid(LABELS)
        assert found.all() == within == found.any()


def test_exponents_of_spreading_add_up() -> None:
    """DIN 4150-1:2001, Fig. 1 [seen second-hand]: a half for each."""
    for point in (False, True):
        for impulsive in (False, True):
            for body in (False, True):
                found = geometric_exponent(point=point, impulsive=impulsive, body=body)
                assert found == 0.5 * (point + impulsive + body)


# -- Rooms -----------------------------------------------------------------------------------------


class Flat:
    """A surface that radiates the same in all bands."""

    citations = ()

    def __init__(self, factor: float) -> None:
        self.factor = factor

    def efficiency(self, frequency: xr.DataArray) -> xr.DataArray:
        return xr.full_like(frequency, self.factor, dtype=float)

    def valid(self, frequency: xr.DataArray) -> xr.DataArray:
        return xr.ones_like(frequency, dtype=bool)


def change(value: float, start: Any, end: Any) -> GivenChange:
    spectrum = xr.DataArray(np.full(LABELS.size, value), coords={"frequency": LABELS.values})
    return GivenChange(spectrum, quantity_in=start, quantity_out=end)


SURFACES = {
    "floor": Surface(area=20.0, radiation=Flat(0.5), velocity=change(6.0, COLUMN, FLOOR_AVERAGE)),
    "walls": Surface(area=45.0, radiation=Flat(1.2)),
}
ROOM = Room(length=5.0, width=4.0, height=2.5, reverberation_time=0.8)


def test_rooms_add_what_their_surfaces_radiate() -> None:
    floor, walls = 0.5 * 20.0, 1.2 * 45.0
    loud = floor * 10**0.6
    mean = SurfaceMean(SURFACES).level_change(LABELS)
    same(mean, np.full(LABELS.size, 10 * np.log10((loud + walls) / (floor + walls))))
    same(SURFACES["floor"].power(LABELS), np.full(LABELS.size, loud))
    same(SURFACES["floor"].radiating_area(LABELS), np.full(LABELS.size, floor))
    treated = TreatedSurfaces(SURFACES, {"floor": change(-15.0, SURFACE, SURFACE)})
    wanted = 10 * np.log10((loud * 10**-1.5 + walls) / (loud + walls))
    same(treated.level_change(LABELS), np.full(LABELS.size, wanted))
    same(ROOM.absorption_area, 0.161 * 5.0 * 4.0 * 2.5 / 0.8)
    same(replace(ROOM, volume=70.0).absorption_area, 0.161 * 70.0 / 0.8)
    same(ROOM.floor_area, 20.0)
    sound = RoomSound(ROOM, SURFACES, air_impedance=400.0).level_change(LABELS)
    area = 4 * (floor + walls) / (0.161 * 50.0 / 0.8)
    wanted = 20 * np.log10(400.0 * 1e-9 / 20e-6) + 10 * np.log10(area)
    same(sound, np.full(LABELS.size, wanted))


def test_what_rooms_refuse() -> None:
    for kind in (SurfaceMean, lambda s: TreatedSurfaces(s, {}), lambda s: RoomSound(ROOM, s)):
        with pytest.raises(ValueError, match="no surface"):
            kind({})
    with pytest.raises(ValueError, match="area is 0"):
        Surface(area=0.0, radiation=Flat(1.0))
    with pytest.raises(ValueError, match="air_impedance"):
        RoomSound(ROOM, SURFACES, air_impedance=0.0)
    for start, end in ((SURFACE, FLOOR_AVERAGE), (COLUMN, MID_SPAN)):
        with pytest.raises(PathError, match="velocity turns"):
            Surface(area=1.0, radiation=Flat(1.0), velocity=change(0.0, start, end))
    with pytest.raises(ValueError, match="surface is 'roof'"):
        TreatedSurfaces(SURFACES, {"roof": change(-1.0, SURFACE, SURFACE)})
    for start, end in ((COLUMN, SURFACE), (SURFACE, COLUMN)):
        with pytest.raises(PathError, match="treatment of 'walls' turns"):
            TreatedSurfaces(SURFACES, {"walls": change(-1.0, start, end)})


def test_marks_of_validity_come_from_every_part() -> None:
    class Doubtful(GivenChange):
        def valid(self, frequency: xr.DataArray) -> xr.DataArray:
            return frequency < 40.0

    spectrum = xr.DataArray(np.zeros(LABELS.size), coords={"frequency": LABELS.values})
    odd = Doubtful(spectrum, quantity_in=COLUMN, quantity_out=FLOOR_AVERAGE)
    wanted = (LABELS < 40.0).values.tolist()
    walls = Surface(area=1.0, radiation=Flat(1.0), velocity=change(0.0, COLUMN, FLOOR_AVERAGE))
    for both in ({"a": replace(walls, velocity=odd), "b": walls},
                 {"a": walls, "b": replace(walls, velocity=odd)}):  # fmt: skip
        assert SurfaceMean(both).valid(LABELS).values.tolist() == wanted
    odd = Doubtful(spectrum, quantity_in=SURFACE, quantity_out=SURFACE)
    fine = change(0.0, SURFACE, SURFACE)
    for pair in ({"floor": odd, "walls": fine}, {"floor": fine, "walls": odd}):
        assert TreatedSurfaces(SURFACES, pair).valid(LABELS).values.tolist() == wanted


# -- Filter bank -----------------------------------------------------------------------------------


def test_the_filter_bank_refuses_bands_above_its_rate() -> None:
    for order in (4, 8):
        ThirdOctaveBank(sample_rate=2048.0, low=25.0, high=63.0, order=order)
    for odd in (3, 9, True):
        with pytest.raises(ValueError, match="order"):
            ThirdOctaveBank(sample_rate=2048.0, low=25.0, high=63.0, order=odd)
    with pytest.raises(ValueError, match="rate"):
        ThirdOctaveBank(sample_rate=0.0)
    bank = ThirdOctaveBank(sample_rate=2048.0, low=25.0)
    highest = float(bank.frequency[-1])
    ThirdOctaveBank(sample_rate=2048.0, low=25.0, high=highest)
    above = float(bands.third_octaves(highest, 2000.0)[1])
    for limits in ({"high": above}, {"low": above}):
        with pytest.raises(RecordingError, match=f"the {above:g} Hz band needs a rate of at least"):
            ThirdOctaveBank(**{"sample_rate": 2048.0, "low": 25.0} | limits)


def test_responses_are_asked_within_the_range_of_the_record() -> None:
    bank = ThirdOctaveBank(sample_rate=512.0, low=25.0, high=50.0)
    found = bank.response([0.0, 25.0, 256.0])
    assert found.dims == ("frequency", "single_frequency")
    assert abs(found.sel(frequency=25.0)[1]) == pytest.approx(1.0, abs=0.05)
    for outside in ([-1.0, 25.0], [25.0, 256.1]):
        with pytest.raises(ValueError, match="0 to 256 Hz is possible"):
            bank.response(outside)
    with pytest.raises(ValueError, match="dims"):
        bank.response(xr.DataArray([25.0], dims="frequency"))
    with pytest.raises(BandError, match="2 bands"):
        bank.response(xr.DataArray(np.full((2, 3), 30.0), dims=("frequency", "single_frequency")))
    three = xr.DataArray(np.full((3, 2), 30.0), dims=("single_frequency", "frequency"))
    with pytest.raises(BandError, match="2 bands"):
        bank.response(three)
    own = xr.DataArray(
        np.tile([20.0, 30.0], (bank.frequency.size, 1)), dims=("frequency", "single_frequency")
    )
    same(bank.response(own.transpose()), bank.response(own))
    same(bank.response(own), bank.response([20.0, 30.0]))


def test_scatter_of_a_reading() -> None:
    """``4.34/√(BT)`` with the time of independent readings: 2 s for S, 0.25 s for F."""
    bank = ThirdOctaveBank(sample_rate=512.0, low=25.0, high=50.0)
    low, high = bands.edges(bank.frequency)
    for name, time in (("S", 2.0), ("F", 0.25)):
        same(bank.scatter(name), 10 / np.log(10) / np.sqrt((high - low) * time))


def test_soil_may_lack_one_kind_of_damping_in_some_cases() -> None:
    """One case without dashpot and one with: only where no case has any is soil refused."""
    soil = SpringFoundation(stiffness=3e8, damping=on("sample", 0.0, 4e5))
    wanted = np.stack([3e8 / (1j * W), 3e8 / (1j * W) + 4e5])
    same(soil.driving_point_mobility(F).transpose("sample", "frequency"), 1 / wanted)


def test_lines_of_a_band_follow_the_smallest_loss_of_the_three() -> None:
    """A steep resonance inside one band: lines spaced for the larger loss would miss its peak."""
    mount = LinearMount.tuned(natural_frequency=16.0, mass=1e5, loss_factor=0.02)
    soil = SpringFoundation(stiffness=1e12, damping=1.0, loss_factor=0.5)
    base = BaseIsolation(mount, below=soil, above=RigidMass(mass=1e5))
    fine = bands.single_frequencies(bands.third_octaves(16, 16), loss_factor=0.02)
    assert (
        fine.sizes["single_frequency"]
        > bands.single_frequencies(bands.third_octaves(16, 16), loss_factor=0.5).sizes[
            "single_frequency"
        ]
    )
    y_b, y_a = soil.driving_point_mobility(fine), base.above.driving_point_mobility(fine)
    part = mount.two_port(fine)
    ratio = (y_b + y_a) / (part.b * y_a * y_b + part.a * y_b + part.d * y_a + part.c)
    # Free velocity flat over the band: energies of the isolated and of the bare building.
    bare = abs(y_a / (y_a + y_b)) ** 2
    isolated = (bare * abs(ratio) ** 2).mean("single_frequency")
    wanted = 10 * np.log10(isolated / bare.mean("single_frequency"))
    same(base.level_change(bands.third_octaves(16, 16)), wanted.values)
    assert SINGLE_STAGE_LIMIT == 25.0


def test_a_step_of_the_bank_is_a_sample_or_longer() -> None:
    record = xr.DataArray(
        np.ones(2048), dims="time", attrs={"quantity": "velocity", "units": "m/s"}
    )
    bank = ThirdOctaveBank(sample_rate=512.0, low=25.0)
    said = r"mean_square: every is .* at 512 Hz .* a step must be at least that long"
    with pytest.raises(ValueError, match=said):
        bank.mean_square(record, every=0.9 / 512)
    fine = ThirdOctaveBank(sample_rate=512.0, low=160.0)
    assert fine.mean_square(record, every=1.0 / 512).sizes["time"] > 1000
