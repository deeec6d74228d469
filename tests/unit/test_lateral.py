"""Wind on a plan of mounts and stops: torsion, clearances, forces, equilibrium.

Sources: torsion against a printed worked example (Unified Facilities Criteria, UFC 3-310-03A, 2005,
walls of a chapel [seen]); stops against a general minimiser of scipy and against closed forms.
"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne import sizing
from groundborne.sizing import LateralPlan, LateralStops
from groundborne.sizing.movement.lateral_check import NOT_REACHED
from groundborne.structure import RigidBody, Supports

FOOT, KIP = 0.3048, 4448.2216


def on(dim: str, names: list[str], *values: object) -> list[xr.DataArray]:
    return [xr.DataArray(v, dims=dim, coords={dim: names}) for v in values]


def grid(kx: float = 2e7, ky: float = 3e7, **more: object) -> LateralPlan:
    """Twelve mounts on 24 x 12 m, those in the east 1.5 times as stiff."""
    x, y = (a.ravel() for a in np.meshgrid([0.0, 8.0, 16.0, 24.0], [0.0, 6.0, 12.0]))
    names = [f"{c}{r}" for r in "123" for c in "ABCD"]
    ax, ay, scale = on("column", names, x, y, np.where(x > 12, 1.5, 1.0))
    return LateralPlan(x=ax, y=ay, kx=kx * scale, ky=ky * scale, **more)


def stops(clearance: object = 0.010, stiffness: float = 4e8) -> LateralStops:
    """One on each face, off the middle of it."""
    x, y, direction = on(
        "stop", ["W", "E", "S", "N"], [0.0, 24.0, 6.0, 18.0], [3.0, 9.0, 0.0, 12.0],
        ["x-", "x+", "y-", "y+"],
    )  # fmt: skip
    return LateralStops(x=x, y=y, direction=direction, clearance=clearance, stiffness=stiffness)


def wind(**cases: tuple[float, float, float, float]) -> xr.Dataset:
    rows = np.array(list(cases.values()), dtype=float).T
    data = {n: ("case", v) for n, v in zip(("fx", "fy", "x", "y"), rows, strict=True)}
    return xr.Dataset(data, coords={"case": list(cases)})


@pytest.mark.parametrize(
    ("torque", "along", "y_walls", "x_walls"),
    [(12.70, "y", 0.68, 0.30), (28.52, "x", 1.529, 0.673)],
)
def test_a_printed_example_of_torsion(torque, along, y_walls, x_walls) -> None:
    """Rigidities 5000, 21872, 2448, 1450 kip/ft; centre 8.14, 12.35 ft; Σ R d² 759294 kip ft."""
    names = ["7A-7C", "8", "A7-A8", "C7-C8"]
    x, y, kx, ky = on(
        "column", names, [0.0, 10.0, 0.0, 0.0], [0.0, 0.0, 19.67, 0.0],
        [0.0, 0.0, 2448.0, 1450.0], [5000.0, 21872.0, 0.0, 0.0],
    )  # fmt: skip
    plan = LateralPlan(x=x * FOOT, y=y * FOOT, kx=kx * KIP / FOOT, ky=ky * KIP / FOOT)
    cx, cy = plan.centre
    assert (cx / FOOT, cy / FOOT) == pytest.approx((8.14, 12.35), abs=0.005)
    assert plan.torsional_stiffness / (KIP * FOOT) == pytest.approx(759294, rel=1e-5)
    # A force of 1 kip at a lever of so many feet, less the same force through the centre.
    arm = torque * FOOT
    if along == "y":
        off = plan.response(fx=0.0, fy=KIP, x=cx + arm, y=cy)
        through = plan.response(fx=0.0, fy=KIP, x=cx, y=cy)
    else:
        off = plan.response(fx=KIP, fy=0.0, x=cx, y=cy - arm)
        through = plan.response(fx=KIP, fy=0.0, x=cx, y=cy)
    fx = (off.force_x - through.force_x) / KIP
    fy = (off.force_y - through.force_y) / KIP
    printed = 0.005 if along == "y" else 0.0005
    assert abs(fy.sel(column=["7A-7C", "8"])).values.tolist() == pytest.approx(
        [y_walls] * 2, abs=printed
    )
    assert abs(fx.sel(column=["A7-A8", "C7-C8"])).values.tolist() == pytest.approx(
        [x_walls] * 2, abs=printed
    )
    assert float(fy.sum()) == pytest.approx(0.0, abs=1e-12)


def test_the_rigid_body_moves_alike() -> None:
    """Six movements of a body whose centre lies at the height of its mounts."""
    plan = grid()
    body = RigidBody.box(
        mass=1e6, length_x=24.0, length_y=12.0, length_z=9.0, centre_x=12.0, centre_y=6.0,
        centre_z=0.0, supports=Supports(x=plan.x, y=plan.y, z=0.0, kx=plan.kx, ky=plan.ky, kz=1e8),
        gravity_softening=False,
    )  # fmt: skip
    at = {"fx": 3e5, "fy": -5e5, "x": 15.0, "y": 2.0}
    found, other = plan.response(**at), body.response(body.load(**at, z=0.0))
    np.testing.assert_allclose(found.movement_x, other.lateral_x, rtol=1e-9)
    np.testing.assert_allclose(found.movement_y, other.lateral_y, rtol=1e-9)
    np.testing.assert_allclose(found.force_x, other.reaction_x, rtol=1e-9)


def test_a_push_through_the_centre_turns_nothing_and_one_beside_it_turns_the_corners() -> None:
    plan = grid()
    cx, cy = plan.centre
    assert (cx, cy) == pytest.approx((0.4 * 4 + 0.6 * 20, 6.0))
    straight = plan.response(fx=0.0, fy=1e6, x=cx, y=cy)
    assert float(straight.rotation) == pytest.approx(0.0, abs=1e-18)
    np.testing.assert_allclose(straight.corner_movement, 1e6 / float(plan.ky.sum()), rtol=1e-12)
    beside = plan.response(fx=0.0, fy=1e6, x=12.0, y=cy)
    theta = 1e6 * (12.0 - cx) / plan.torsional_stiffness
    assert float(beside.rotation) == pytest.approx(theta)
    corner = beside.sel(corner="x- y+")
    assert float(corner.corner_x) == pytest.approx(-theta * (12.0 - cy))
    assert float(corner.corner_y) == pytest.approx(1e6 / float(plan.ky.sum()) + theta * (0 - cx))
    west, east = (beside.share - straight.share).sel(column=["A2", "D2"]).values
    assert west > 0 > east


def test_one_stop_by_hand() -> None:
    """k u + ks (u - c) = F: two mounts of 20 MN/m and a stop of 400 MN/m in the middle."""
    x, y = on("column", ["W", "E"], [0.0, 10.0], [0.0, 0.0])
    sx, sy, direction = on("stop", ["N"], [5.0], [0.0], ["y+"])
    stop = LateralStops(x=sx, y=sy, direction=direction, clearance=0.01, stiffness=4e8)
    plan = LateralPlan(x=x, y=y, kx=2e7, ky=2e7, stops=stop)
    force = xr.DataArray([3.9e5, 4.0e5, 6.0e5, -9e5], coords={"case": list("abcd")})
    found = plan.response(fx=0.0, fy=force, x=5.0, y=0.0)
    u = np.array([3.9e5 / 4e7, 0.01, (6e5 + 4e8 * 0.01) / 4.4e8, -9e5 / 4e7])
    np.testing.assert_allclose(found.movement_y.sel(column="W"), u, rtol=1e-12)
    assert found.touches.squeeze().values.tolist() == [False, True, True, False]
    np.testing.assert_allclose(
        found.stop_force.squeeze(), 4e8 * np.maximum(u - 0.01, 0.0), atol=1e-6
    )


@settings(max_examples=60, deadline=None)
@given(
    force=st.tuples(*[st.floats(-6e6, 6e6)] * 2),
    at=st.tuples(st.floats(-5.0, 30.0), st.floats(-5.0, 20.0)),
    clearance=st.lists(st.floats(0.0, 0.02), min_size=4, max_size=4),
    stiffness=st.floats(1e6, 1e10),
    friction=st.floats(0.0, 2e6),
)
def test_equilibrium_is_exact_whatever_touches(force, at, clearance, stiffness, friction) -> None:
    gap = xr.DataArray(clearance, coords={"stop": ["W", "E", "S", "N"]})
    held = stops(gap, stiffness)
    plan = grid(stops=held)
    found = plan.response(fx=force[0], fy=force[1], x=at[0], y=at[1], friction=friction)
    size = max(1.0, float(np.hypot(*force)))
    sign = {"x+": (-1, 0), "x-": (1, 0), "y+": (0, -1), "y-": (0, 1)}
    n = np.array([sign[d] for d in held.direction.values.tolist()])
    push = found.stop_force.values[:, None] * n
    rub = np.array([float(found.friction_x), float(found.friction_y)])
    total = [
        force[0] + rub[0] + float(found.force_x.sum()) + push[:, 0].sum(),
        force[1] + rub[1] + float(found.force_y.sum()) + push[:, 1].sum(),
    ]
    # Moments about the origin and not about the centre that the solution uses.
    moment = (
        at[0] * (force[1] + rub[1]) - at[1] * (force[0] + rub[0])
        + float((plan.x * found.force_y - plan.y * found.force_x).sum())
        + (held.x.values * push[:, 1] - held.y.values * push[:, 0]).sum()
    )  # fmt: skip
    assert np.abs(total).max() <= 1e-7 * size
    assert abs(moment) <= 1e-6 * size
    assert float(found.residual_force) <= 1e-7 * size
    assert float(np.hypot(*rub)) == pytest.approx(min(friction, float(np.hypot(*force))))
    assert bool((found.stop_force >= 0).all())
    assert bool((found.stop_force.where(~found.touches, 0.0) == 0).all())


def test_stops_agree_with_a_general_minimiser() -> None:
    """The energy of mounts and stops in plain coordinates, by scipy's trust-region method."""
    from scipy.optimize import minimize

    held = stops()
    plan = grid(stops=held)
    sign = {"x+": (1, 0), "x-": (-1, 0), "y+": (0, 1), "y-": (0, -1)}
    n = np.array([sign[d] for d in held.direction.values.tolist()], dtype=float)
    force = np.array([7e6, -9e6])

    def at(u, x, y):
        return u[0] - 1e-1 * u[2] * y, u[1] + 1e-1 * u[2] * x

    def energy(u):
        dx, dy = at(u, plan.x.values, plan.y.values)
        sx, sy = at(u, held.x.values, held.y.values)
        beyond = np.maximum(n[:, 0] * sx + n[:, 1] * sy - held.clearance.values, 0.0)
        wx, wy = at(u, 20.0, 1.0)
        inner = (plan.kx.values * dx**2 + plan.ky.values * dy**2).sum()
        outer = (held.stiffness.values * beyond**2).sum()
        return (0.5 * (inner + outer) - force[0] * wx - force[1] * wy) / 1e5

    best = minimize(energy, np.zeros(3), method="BFGS", options={"gtol": 1e-10, "maxiter": 5000})
    found = plan.response(fx=force[0], fy=force[1], x=20.0, y=1.0)
    assert int(found.touches.sum()) == 2
    dx, dy = at(best.x, plan.x.values, plan.y.values)
    np.testing.assert_allclose(found.movement_x, dx, atol=1e-7)
    np.testing.assert_allclose(found.movement_y, dy, atol=1e-7)


def test_the_check_says_what_touches_and_what_stops_take() -> None:
    plan = grid(stops=stops())
    calm = (2e6, 0.0, 12.0, 6.0)
    uneven = (0.0, 4.4e6, 20.0, 6.0)
    found = sizing.check_lateral(plan, wind(calm=calm, uneven=uneven))
    assert found.kept.values.tolist() == [True, False]
    sentence, idle = found.attrs["sentences"]
    assert sentence.startswith("uneven: stop N touches in service, with ")
    # 2 MN on mounts of 300 MN/m: 6.7 mm and a little turning; 10 mm at half as much again.
    assert float(found.movement_x.sel(case="calm").mean()) == pytest.approx(2e6 / 3e8, rel=0.01)
    free = plan.response(fx=2e6, fy=0.0, x=12.0, y=6.0).stop_movement.sel(stop="E")
    left = found.clearance_left.sel(case="calm", stop="E")
    assert float(left) == pytest.approx(0.01 - float(free))
    more = plan.response(fx=3e6, fy=0.0, x=12.0, y=6.0)
    assert float(found.design_stop_force.sel(case="calm", stop="E")) == pytest.approx(
        float(more.stop_force.sel(stop="E"))
    )
    table = sizing.lateral_table(found)
    assert len(table) == 8
    assert table["touches"].sum() == 1
    assert "licensed engineers govern" in table.attrs["caution"]
    assert table.attrs["sentences"] == (sentence, idle)
    # A force of 0 kN alone would be taken for one to design by.
    assert idle == f"stops W, E, S: {NOT_REACHED}"
    zero = table["design_force_kn"] == 0
    assert zero.any()
    assert (table["note"] != "").equals(zero)
    assert not np.signbit(table.select_dtypes("float").to_numpy()[zero.to_numpy(), 2]).any()
    tight = sizing.check_lateral(plan, wind(calm=calm), most_movement=5e-3)
    assert not tight.kept.any()
    assert "a mount moves 6.7 mm sideways, 5 mm allowed" in tight.attrs["sentences"][0]


def test_friction_is_counted_only_when_told_and_never_for_the_stops() -> None:
    plan = grid(stops=stops())
    pushed = wind(w=(4e6, 0.0, 12.0, 6.0))
    bare, told = (sizing.check_lateral(plan, pushed, friction=f) for f in (0.0, 1.5e6))
    assert (bare.attrs["friction"], told.attrs["friction"]) == ("not counted", "counted as told")
    assert not bare.kept.any()
    assert bool(told.kept.all())
    np.testing.assert_array_equal(bare.design_stop_force, told.design_stop_force)


def test_packs_of_a_schedule_make_a_plan(data_folder) -> None:
    loads = sizing.read_loads(data_folder / "tower" / "columns.csv", revision="A")
    springs = sizing.read_components(data_folder / "components" / "springs.csv")
    rules = sizing.PackRules(natural_frequency=(3.4, 3.6), most=16)
    schedule = sizing.make_schedule(
        sizing.choose_packs(sizing.combine(loads), springs, rules=rules)
    )
    plan = LateralPlan.of(schedule, loads)
    k = schedule.data["lateral_stiffness"]
    assert float(plan.ky.sum()) == pytest.approx(float(k.sum()))
    found = plan.response(fx=float(k.sum()) * 1e-3, fy=0.0, x=0.0, y=plan.centre[1])
    np.testing.assert_allclose(found.movement_x, 1e-3, rtol=1e-9)


def test_what_cannot_be_a_plan_is_refused() -> None:
    x, y = on("column", ["A"], [0.0], [0.0])
    with pytest.raises(ValueError, match="stiffness against turning is 0; it must be above 0"):
        LateralPlan(x=x, y=y, kx=1e7, ky=1e7)
    with pytest.raises(ValueError, match="sum of kx is 0"):
        grid(kx=0.0)
    sx, sy, direction = on("stop", ["N"], [0.0], [0.0], ["north"])
    with pytest.raises(ValueError, match="direction is 'north'; known are 'x\\+'"):
        LateralStops(x=sx, y=sy, direction=direction, clearance=0.01, stiffness=1e8)
    with pytest.raises(ValueError, match="wind needs 'fx' on the dim 'case'"):
        sizing.check_lateral(grid(), wind(a=(1.0, 0.0, 0.0, 0.0)).drop_vars("fx"))
    with pytest.raises(ValueError, match="the plan has no stops"):
        sizing.lateral_table(sizing.check_lateral(grid(), wind(a=(1e5, 0.0, 0.0, 0.0))))
    with pytest.raises(ValueError, match="friction is -1"):
        grid().response(fx=1e5, fy=0.0, x=0.0, y=0.0, friction=-1.0)


@pytest.mark.parametrize(
    ("clearance", "match"),
    [
        (xr.DataArray([[0.01, 0.01]] * 3, dims=("case", "stop"), coords={"stop": ["W", "E"]}),
         "clearance is needed on the dim 'stop'"),
        (xr.DataArray([0.01, 0.02], dims="stop"), "clearance is needed on the dim 'stop'"),
    ],
)  # fmt: skip
def test_a_clearance_is_one_for_each_stop(clearance, match) -> None:
    at = {"stop": ["W", "E"]}
    place = xr.DataArray([0.0, 30.0], dims="stop", coords=at)
    way = xr.DataArray(["x-", "x+"], dims="stop", coords=at)
    with pytest.raises(ValueError, match=match):
        LateralStops(x=place, y=0 * place, direction=way, clearance=clearance, stiffness=5e8)
    alone = LateralStops(
        x=place, y=0 * place, direction=way, clearance=xr.DataArray(0.01), stiffness=5e8
    )
    assert alone.clearance.values.tolist() == [0.01, 0.01]


def test_a_direction_that_nothing_stops_is_said_and_not_kept() -> None:
    """Under wind towards y+ with a stop towards y- only, 20 mm were kept without a word."""
    x, y, direction = on("stop", ["S"], [10.0], [0.0], ["y-"])
    only = LateralStops(x=x, y=y, direction=direction, clearance=0.01, stiffness=5e8)
    push = wind(north=(0.0, 1.2e6, 10.0, 5.0), south=(0.0, -1e5, 10.0, 5.0))
    found = sizing.check_lateral(grid(stops=only), push)
    assert found["kept"].values.tolist() == [False, True]
    said = "north: open towards y+, no stop works there, and no most_movement is given; give either"
    assert said in found.attrs["sentences"]
    bare = sizing.check_lateral(grid(), push)
    assert not bare["kept"].any()
    assert len(bare.attrs["sentences"]) == 2
    limited = sizing.check_lateral(grid(stops=only), push, most_movement=0.05)
    assert limited["kept"].all()
    assert any(
        s.startswith("north: open towards y+") and "only the mounts hold it within 50 mm" in s
        for s in limited.attrs["sentences"]
    )
    assert sizing.check_lateral(grid(), push, most_movement=0.05).attrs["sentences"] == ()
    # Along y but for rounding: x is no direction of it.
    aslant = wind(north=(1e-10, 1e5, 10.0, 5.0))
    north = LateralStops(x=x, y=y, direction=direction.copy(data=["y+"]), clearance=0.05,
                         stiffness=5e8)  # fmt: skip
    assert sizing.check_lateral(grid(stops=north), aslant)["kept"].all()


def test_a_clearance_in_millimetres_is_refused() -> None:
    with pytest.raises(ValueError, match=r"clearance is 10.*; is it in mm"):
        stops(clearance=10.0)
