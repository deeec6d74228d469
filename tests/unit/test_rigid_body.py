"""Six modes, static response, gravity softening and refusals of a rigid body on springs.

Sources: the block of 2400 t and formulas 7.1 to 7.6 are derived (closed forms worked out
independently of the library's matrices); Harris, Shock and Vibration Handbook, chapter 3, from
memory. Closed forms are met to 1e-9 (rounding of a 6 by 6 eigenvalue problem); the block's
frequencies are given to three decimals, so 0.0006 Hz.
"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from groundborne.structure.element import GRAVITY
from groundborne.structure.rigid_body import RigidBody
from groundborne.structure.rigid_matrices import DOFS
from groundborne.structure.supports import Supports

MASS = 2.4e6
KZ = (2 * np.pi * 5.0) ** 2 * MASS / 12
EXACT = 1e-9


def grid(xs, ys, **stiffness) -> Supports:
    x, y = np.meshgrid(xs, ys)
    names = {"column": [f"P{i}" for i in range(x.size)]}
    return Supports(
        x=xr.DataArray(x.ravel(), dims="column", coords=names),
        y=xr.DataArray(y.ravel(), dims="column", coords=names),
        **{"z": 0.0, "kx": 0.7 * KZ, "ky": 0.7 * KZ, "kz": KZ} | stiffness,
    )


def block(supports=None, **changes) -> RigidBody:
    given = {"mass": MASS, "length_x": 24.0, "length_y": 16.0, "length_z": 20.0}
    given |= {"centre_z": 8.5, "gravity_softening": False}
    supports = grid(np.linspace(-10, 10, 4), [-6.0, 0.0, 6.0]) if supports is None else supports
    return RigidBody.box(**given | {"supports": supports} | changes)


@pytest.mark.parametrize(
    ("offset", "expected"),
    [
        (0.0, [2.009, 2.630, 4.481, 5.000, 6.573, 6.897]),
        (1.5, [2.004, 2.615, 4.456, 4.963, 6.659, 6.956]),
    ],
)
def test_worked_block(offset, expected):
    """Derived: block 24 x 16 x 20 m, centre 8.5 m above 4 x 3 springs, kh = 0.7 kz."""
    modes = block(centre_x=offset).modes()
    np.testing.assert_allclose(modes.natural_frequency, expected, atol=6e-4)
    assert modes.mode.values.tolist() == [1, 2, 3, 4, 5, 6]


def test_modes_are_named_by_their_movement():
    modes = block().modes()
    assert modes.mostly.values.tolist() == ["y", "x", "rz", "z", "ry", "rx"]
    np.testing.assert_allclose(modes.participation.sum("dof"), 1.0, rtol=EXACT)
    vertical = modes.participation.sel(mode=4)
    assert float(vertical.sel(dof="z")) == pytest.approx(1.0, rel=EXACT)


def test_vertical_and_pitch_with_eccentric_centre():
    """7.1 [derived]: [[Σk, Σkx], [Σkx, Σkx²]] with diag(m, J), centre at spring height."""
    xs, stiff = np.linspace(-10, 10, 4), np.array([1.0, 1.2, 0.8, 2.0]) * KZ
    supports = grid(xs, [-6.0, 0.0, 6.0])
    kz = supports.kz.copy(data=np.tile(stiff, 3))
    body = block(grid(xs, [-6.0, 0.0, 6.0], kz=kz), centre_z=0.0, centre_x=0.8)
    arm = xs - 0.8
    k11, k12, k22 = 3 * stiff.sum(), -3 * (stiff * arm).sum(), 3 * (stiff * arm**2).sum()
    inertia = MASS * (24.0**2 + 20.0**2) / 12
    a, b = k11 / MASS, k22 / inertia
    root = np.sqrt((a - b) ** 2 / 4 + k12**2 / (MASS * inertia))
    expected = np.sqrt((a + b) / 2 + np.array([-root, root])) / (2 * np.pi)
    modes = body.modes()
    pair = modes.participation.sel(dof=["z", "ry"]).sum("dof") > 0.999
    found = modes.natural_frequency.values[pair.values]
    np.testing.assert_allclose(found, expected, rtol=EXACT)
    uncoupled = np.sqrt([a, b]) / (2 * np.pi)
    assert found[0] < uncoupled.min() < uncoupled.max() < found[1]


def test_sway_and_rocking():
    """7.2 [derived]: (kX − ω²m)(kθ + kX h² − ω²J) − (kX h)² = 0."""
    body = block()
    kx, h = 12 * 0.7 * KZ, 8.5
    rocking = 3 * KZ * (np.linspace(-10, 10, 4) ** 2).sum()
    inertia = MASS * (24.0**2 + 20.0**2) / 12
    roots = np.roots([MASS * inertia, -(kx * inertia + MASS * (rocking + kx * h**2)), kx * rocking])
    expected = np.sort(np.sqrt(roots)) / (2 * np.pi)
    modes = body.modes()
    pair = modes.participation.sel(dof=["x", "ry"]).sum("dof") > 0.999
    np.testing.assert_allclose(modes.natural_frequency.values[pair.values], expected, rtol=EXACT)


def test_height_coupling_vanishes_at_spring_height():
    """7.3 [seen]: sway and rocking decouple only where the springs' plane holds the centre."""
    share = block(centre_z=0.0).modes().participation
    assert float(abs(share * (1 - share)).max()) < 1e-12
    share = block().modes().participation
    assert float((share * (1 - share)).max()) > 0.2


def test_tilt_by_eccentricity():
    """7.4 [derived]: θ = W (xs − xg)/kθ about the centre of stiffness; differential θ L."""
    body = block(centre_x=1.5)
    moved = body.response(body.weight)
    rocking = 3 * KZ * (np.linspace(-10, 10, 4) ** 2).sum()
    tilt = MASS * GRAVITY * 1.5 / rocking
    assert float(moved.tilt_x) == pytest.approx(tilt, rel=EXACT)
    assert float(moved.tilt_y) == pytest.approx(0.0, abs=1e-15)
    assert float(moved.differential_deflection) == pytest.approx(tilt * 20.0, rel=EXACT)
    assert float(moved.deflection.sel(column="P3")) > float(moved.deflection.sel(column="P0"))
    assert float(moved.reaction.sum()) == pytest.approx(MASS * GRAVITY, rel=EXACT)
    centre = body.centre_of_stiffness()
    assert float(centre.x) == pytest.approx(0.0, abs=1e-9)
    assert float(centre.eccentricity_x) == pytest.approx(1.5, rel=EXACT)


def test_gravity_softening():
    """7.5 [derived]: kθ − m g h; 0.15 % about y and 0.35 % about x for the block."""
    body, soft = block(), block(gravity_softening=True)
    hard_k, soft_k = body.stiffness_matrix, soft.stiffness_matrix
    loss = (hard_k - soft_k).values
    weight = MASS * GRAVITY * 8.5
    np.testing.assert_allclose(
        loss, np.diag([0, 0, 0, weight, weight, 0]), rtol=1e-7, atol=1e-6 * weight
    )
    height = 12 * 0.7 * KZ * 8.5**2
    about = {axis: float(hard_k.sel(dof=axis, dof_moved=axis)) - height for axis in ("rx", "ry")}
    assert weight / about["ry"] == pytest.approx(0.0015, abs=5e-5)
    assert weight / about["rx"] == pytest.approx(0.0035, abs=5e-5)
    leaning = block(centre_x=1.5, gravity_softening=True)
    tilt = MASS * GRAVITY * 1.5 / (about["ry"] - weight)
    assert float(leaning.response(leaning.weight).tilt_x) == pytest.approx(tilt, rel=1e-9)


def test_topples_exactly_where_weight_meets_rocking_stiffness():
    soft = grid(np.linspace(-10, 10, 4), [-6.0, 0.0, 6.0], kx=KZ / 100, ky=KZ / 100, kz=KZ / 100)
    height = 4 * KZ / 100 * (np.array([-6.0, 0.0, 6.0]) ** 2).sum() / (MASS * GRAVITY)
    held = block(soft, centre_z=0.9999 * height, gravity_softening=True)
    assert float(held.modes().natural_frequency[0]) < 0.01
    assert float(block(soft, centre_z=1.0001 * height).modes().natural_frequency[0]) > 0.01
    with pytest.raises(ValueError, match=r"topples on its springs at option=b: its weight times"):
        block(
            soft,
            centre_z=xr.DataArray([1.0, 1.0001 * height], coords={"option": ["a", "b"]}),
            gravity_softening=True,
        )


def test_wind_drift_and_rocking():
    """7.6 [derived]: drift at the roof = F/kX + M h_roof/kθ,eff, M about the springs."""
    body = block(gravity_softening=True)
    force, at, roof = 1.2e6, 10.0, 18.5
    moved = body.response(body.load(fx=force, z=at))
    kx = 12 * 0.7 * KZ
    rocking = 3 * KZ * (np.linspace(-10, 10, 4) ** 2).sum() - MASS * GRAVITY * 8.5
    # The weight, moved sideways with the springs, adds nothing: its support moves with it.
    tilt = force * at / rocking
    top = body.movement_at(moved.displacement, z=roof)
    assert float(moved.tilt_x) == pytest.approx(tilt, rel=1e-9)
    assert float(top.x) == pytest.approx(force / kx + tilt * roof, rel=1e-9)
    np.testing.assert_allclose(moved.reaction_x, -force / 12, rtol=1e-9)
    np.testing.assert_allclose(moved.lateral_x, force / kx, rtol=1e-9)


def test_load_at_a_point_is_force_and_moment():
    body = block(centre_x=1.0, centre_y=-2.0)
    load = body.load(fx=3.0, fy=5.0, fz=-7.0, mx=11.0, x=4.0, y=1.0, z=10.5)
    arm, force = np.array([3.0, 3.0, 2.0]), np.array([3.0, 5.0, -7.0])
    assert tuple(load.dof.values) == DOFS
    np.testing.assert_allclose(load[:3], force)
    np.testing.assert_allclose(load[3:], np.cross(arm, force) + np.array([11.0, 0.0, 0.0]))


def test_reactions_balance_any_load():
    body = block(centre_x=0.7, centre_y=-0.4)
    load = body.weight + body.load(fx=2e5, fy=-3e5, mz=4e6, x=5.0, y=2.0, z=14.0)
    moved = body.response(load)
    s = body.supports
    force = np.stack([moved.reaction_x, moved.reaction_y, moved.reaction])
    arm = np.stack([s.x - 0.7, s.y + 0.4, s.z - 8.5])
    moment = np.cross(arm, force, axis=0).sum(axis=1)
    np.testing.assert_allclose(force.sum(axis=1), -load.values[:3], rtol=1e-9)
    np.testing.assert_allclose(moment, -load.values[3:], atol=1e-9 * 1e9)


def test_free_body_mobility():
    """Derived: 1/(jωm) at the centre; 1/m + x²/Jy + y²/Jx away from it."""
    body = block(grid([-10.0, 0.0, 10.0], [-6.0, 0.0, 6.0]))
    f = xr.DataArray([4.0, 8.0], coords={"frequency": [4.0, 8.0]})
    found = body.driving_point_mobility(f)
    omega = 2 * np.pi * 4.0
    assert complex(found.sel(column="P4", frequency=4.0)) == pytest.approx(1 / (1j * omega * MASS))
    corner = 1 / MASS + 100.0 / (MASS * 976 / 12) + 36.0 / (MASS * 656 / 12)
    assert complex(found.sel(column="P8", frequency=4.0)) == pytest.approx(corner / (1j * omega))


def test_products_of_inertia_turn_with_the_axes():
    """The block turned by 30° about z, springs and all, keeps its frequencies."""
    plain = block(centre_z=5.0)
    angle = np.radians(30.0)
    c, s = np.cos(angle), np.sin(angle)
    springs = plain.supports
    turned = Supports(
        x=c * springs.x - s * springs.y,
        y=s * springs.x + c * springs.y,
        z=0.0,
        kx=0.7 * KZ,
        ky=0.7 * KZ,
        kz=KZ,
    )
    jx, jy, jz = plain.inertia_x, plain.inertia_y, plain.inertia_z
    body = RigidBody(
        mass=MASS,
        inertia_x=c**2 * jx + s**2 * jy,
        inertia_y=s**2 * jx + c**2 * jy,
        inertia_z=jz,
        product_xy=-c * s * (jx - jy),
        centre_z=5.0,
        supports=turned,
        gravity_softening=False,
    )
    np.testing.assert_allclose(
        body.modes().natural_frequency, plain.modes().natural_frequency, rtol=1e-9
    )


def test_options_and_samples_are_carried():
    factor = xr.DataArray([0.8, 1.0, 1.3], dims="sample")
    offset = xr.DataArray([0.0, 1.5], coords={"option": ["centred", "off"]})
    springs = grid(np.linspace(-10, 10, 4), [-6.0, 0.0, 6.0], kz=KZ * factor)
    body = block(springs, centre_x=offset, gravity_softening=True)
    found = body.modes().natural_frequency
    assert set(found.dims) == {"sample", "option", "mode"}
    for i, scale in enumerate([0.8, 1.0, 1.3]):
        one = block(
            grid(np.linspace(-10, 10, 4), [-6.0, 0.0, 6.0], kz=KZ * scale),
            centre_x=1.5,
            gravity_softening=True,
        )
        np.testing.assert_allclose(
            found.sel(option="off").isel(sample=i), one.modes().natural_frequency, rtol=1e-12
        )
    assert body.response(body.weight).reaction.sizes["sample"] == 3


SUPPORTS = {"x": [0.0, 5.0, 0.0], "y": [0.0, 0.0, 5.0], "names": ["A", "B", "C"]}


def given(values, names):
    return xr.DataArray(values, dims="column", coords={"column": names})


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"x": [0.0, 1.0]},
            "Supports: x is a bare list of 2 without named dimensions; a DataArray is",
        ),
        ({"x": xr.DataArray([0.0, 1.0, 2.0], dims="column")}, "x has dim 'column' without names"),
        ({"x": given([0.0, 5.0, 0.0], ["A", "B", "A"])}, "x holds column 'A' twice"),
        (
            {"y": given([0.0, 0.0, 5.0], ["A", "B", "D"])},
            "y has 'A', 'B', 'D'; in one of them only: 'C', 'D'",
        ),
        ({"y": given([0.0, np.nan, 5.0], ["A", "B", "C"])}, "y is nan at column=B"),
        ({"kz": given([1.0, -1.0, 5.0], ["A", "B", "C"])}, "kz is -1 at column=B"),
        ({"kx": np.array([1.0, 2.0, 3.0])}, "kx is a bare ndarray of 3 without named dimensions"),
    ],
)
def test_supports_refuse(changes, message):
    names = SUPPORTS["names"]
    whole = {"x": given(SUPPORTS["x"], names), "y": given(SUPPORTS["y"], names)}
    whole |= {"z": 0.0, "kx": 1e6, "ky": 1e6, "kz": 1e6}
    Supports(**whole)
    with pytest.raises(ValueError, match=message):
        Supports(**whole | changes)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"mass": 0.0}, "mass is 0; it must be above 0 kg"),
        ({"length_x": -1.0}, "length_x is -1"),
        ({"centre_z": np.inf}, "centre_z is inf"),
        ({"product_xy": 1e12}, "product_yz are too large for the moments of inertia"),
        ({"supports": 3.0}, "RigidBody: supports is 3.0; a Supports is needed"),
        ({"supports": grid([0.0], [-6.0, 0.0, 6.0])}, "leave a movement free"),
        ({"supports": grid([-6.0, 6.0], [-6.0, 6.0], ky=0.0)}, r"movement free \(mostly y\)"),
    ],
)
def test_body_refuses(changes, message):
    with pytest.raises(ValueError, match=message):
        block(**changes)


def test_body_refuses_impossible_inertia():
    with pytest.raises(ValueError, match="exceeds the sum of the other two"):
        RigidBody(
            mass=1e6,
            inertia_x=1e6,
            inertia_y=1e6,
            inertia_z=2.1e6,
            centre_z=1.0,
            supports=grid([-6.0, 6.0], [-6.0, 6.0]),
        )


def test_response_refuses_what_is_no_load():
    body = block()
    with pytest.raises(ValueError, match=r"response: load is 3.0; a DataArray is needed"):
        body.response(3.0)
    with pytest.raises(ValueError, match="must hold x, y, z, rx, ry, rz"):
        body.response(xr.DataArray(np.ones(6), dims="dof"))
    with pytest.raises(ValueError, match="fz is nan"):
        body.load(fz=np.nan)


def test_dims_that_differ_are_refused_not_joined():
    offset = xr.DataArray([0.0, 1.5], coords={"option": ["a", "b"]})
    mass = xr.DataArray([MASS, MASS], coords={"option": ["a", "c"]})
    with pytest.raises(ValueError, match="option"):
        block(mass=mass, centre_x=offset)
