"""Plane, neighbours, wind, uplift and lost supports.

Sources: derived closed forms (statics of a rigid body); the share a lost support's neighbours take
is common practice. Closed forms are met to 1e-9.
"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from groundborne import ValidityWarning
from groundborne.sizing.loads.factors import Factors
from groundborne.sizing.lost_columns.floors_above import FloorsAbove
from groundborne.sizing.movement.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.movement.on_springs import changed_supports, lost_supports, wind_movement
from groundborne.structure.element import GRAVITY
from groundborne.structure.rigid_body import RigidBody
from groundborne.structure.supports import Supports

MASS, KZ = 6e6, 1.5e8


def square(count=5, pitch=6.0):
    at = (np.arange(count) - (count - 1) / 2) * pitch
    x, y = (a.ravel() for a in np.meshgrid(at, at))
    letters = [f"{'ABCDEFGHJK'[i % count]}{i // count + 1}" for i in range(count**2)]
    names = {"column": letters}
    return (xr.DataArray(v, dims="column", coords=names) for v in (x, y))


def tower(**changes):
    x, y = square()
    supports = Supports(x=x, y=y, z=0.0, kx=0.7 * KZ, ky=0.7 * KZ, kz=KZ)
    given = {"mass": MASS, "length_x": 26.0, "length_y": 26.0, "length_z": 40.0}
    return RigidBody.box(**given | {"centre_z": 18.0, "supports": supports} | changes)


# ---- plane and neighbours ----------------------------------------------------------------------


def test_plane_of_a_plane_is_exact():
    x, y = square()
    plan = ColumnPlan(x=x, y=y, neighbour_distance=6.1)
    moved = 4e-3 + 3e-4 * x - 4e-4 * y
    plane = plan.plane(moved)
    assert float(plane.average) == pytest.approx(4e-3, rel=1e-9)
    assert float(plane.tilt_x) == pytest.approx(3e-4, rel=1e-9)
    assert float(plane.tilt_y) == pytest.approx(-4e-4, rel=1e-9)
    assert float(plane.tilt) == pytest.approx(5e-4, rel=1e-9)
    np.testing.assert_allclose(plane.departure, 0.0, atol=1e-15)
    differential = plan.differential(moved)
    along_x = plan.pairs.first.str.get(1) == plan.pairs.second.str.get(1)
    np.testing.assert_allclose(differential, np.where(along_x, 6 * 3e-4, 6 * 4e-4), rtol=1e-9)


def test_plane_agrees_with_least_squares_of_numpy():
    x, y = square(4)
    plan = ColumnPlan(x=x + 100.0, y=y, neighbour_distance=6.1)
    moved = xr.DataArray(
        np.random.default_rng(1).normal(size=(3, 16)), dims=("stage", "column")
    ).assign_coords(column=x.column)
    design = np.stack([np.ones(16), plan.x, plan.y], axis=-1)
    expected = np.linalg.lstsq(design, moved.values.T, rcond=None)[0]
    plane = plan.plane(moved)
    np.testing.assert_allclose(plane.tilt_x, expected[1], rtol=1e-9)
    np.testing.assert_allclose(plane.tilt_y, expected[2], rtol=1e-9)


def test_neighbours_are_those_within_the_distance():
    x, y = square(3)
    assert ColumnPlan(x=x, y=y, neighbour_distance=6.1).pairs.sizes["pair"] == 12
    diagonal = ColumnPlan(x=x, y=y, neighbour_distance=8.6)
    assert diagonal.pairs.sizes["pair"] == 12 + 8
    assert float(diagonal.pairs.distance.max()) == pytest.approx(6 * np.sqrt(2))


def test_order_of_columns_does_not_matter_to_the_plan():
    x, y = square(3)
    plan = ColumnPlan(x=x, y=y[::-1], neighbour_distance=6.1)
    moved = 1e-4 * x
    assert float(plan.plane(moved[::-1]).tilt_x) == pytest.approx(1e-4, rel=1e-9)
    xr.testing.assert_identical(plan.differential(moved), plan.differential(moved[::-1]))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda _, y: {"y": 0.0 * y}, "are in line or fewer than three"),
        (lambda *_: {"neighbour_distance": 5.0}, "no two columns lie within .* nearest are 6 m"),
        (lambda *_: {"neighbour_distance": 0.0}, "neighbour_distance is 0"),
        (
            lambda x, y: {
                "x": x.where(x.column != "B1", x[0]),
                "y": y.where(y.column != "B1", y[0]),
            },
            "columns A1 and B1 are at the same place",
        ),
        (lambda _, y: {"y": y[:-1]}, "y has .*; in one of them only: 'C3'"),
    ],
)
def test_plan_refuses(change, message):
    x, y = square(3)
    with pytest.raises(ValueError, match=message):
        ColumnPlan(**{"x": x, "y": y, "neighbour_distance": 6.1} | change(x, y))


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"differential": 3.0, "tilt": 2e-4}, "is it in mm"),
        ({"differential": 3e-3, "tilt": 5000.0}, "is it 1 in so many"),
        ({"differential": 0.0, "tilt": 2e-4}, "differential is 0"),
    ],
)
def test_limits_refuse(given, message):
    with pytest.raises(ValueError, match=message):
        MovementLimits(**given)


# ---- wind --------------------------------------------------------------------------------------


def test_wind_sways_tilts_and_unloads():
    body = tower()
    force, at, roof, gap = 2e6, 20.0, 40.0, 8e-3
    found = wind_movement(body, body.load(fx=force, z=at), height=roof, clearance=gap)
    rocking = 5 * KZ * (np.array([-12, -6, 0, 6, 12]) ** 2).sum()
    tilt = force * at / (rocking - MASS * GRAVITY * 18.0)
    drift = force / (25 * 0.7 * KZ)
    assert float(found.tilt) == pytest.approx(tilt, rel=1e-9)
    assert float(found.sway_x) == pytest.approx(drift + tilt * roof, rel=1e-9)
    assert float(found.sway) == pytest.approx(abs(float(found.sway_x)), rel=1e-9)
    np.testing.assert_allclose(found.clearance_left, gap - drift, rtol=1e-9)
    least = MASS * GRAVITY / 25 - KZ * tilt * 12
    assert float(found.reaction_least.min()) == pytest.approx(least, rel=1e-9)
    assert not found.uplift.any()
    assert "licensed engineers govern" in found.attrs["caution"]


def test_uplift_is_marked_and_named():
    body = tower()
    force = xr.DataArray([1e6, -3e7], coords={"direction": ["x+", "x-"]})
    with pytest.warns(ValidityWarning, match="supports E1, E2, E3, E4, E5 would pull"):
        found = wind_movement(body, body.load(fx=force, z=20.0), height=40.0)
    lifted = found.uplift.sel(direction="x-")
    assert set(lifted.column.values[lifted.values]) == {"E1", "E2", "E3", "E4", "E5"}
    assert not found.uplift.sel(direction="x+").any()


def test_uplift_with_the_factors_of_equilibrium_is_told_and_has_a_force():
    """0.90 and 1.5 of EN 1990, Table A1.2(A), on a wind that lifts nothing by itself."""
    body = tower()
    calm = wind_movement(body, body.load(fx=1e6, z=20.0), height=40.0)
    share = float((-calm.reaction_wind / calm.reaction_permanent).max())
    force = 0.8e6 / share
    with pytest.warns(ValidityWarning, match="would pull with the factors of equilibrium"):
        found = wind_movement(body, body.load(fx=force, z=20.0), height=40.0)
    assert not found.uplift.any()
    by_hand = 0.9 * found.reaction_permanent + 1.5 * found.reaction_wind
    np.testing.assert_allclose(found.reaction_equilibrium, by_hand, rtol=1e-12)
    np.testing.assert_allclose(found.tie_force, np.maximum(-by_hand, 0.0), rtol=1e-12)
    assert float(found.tie_force.max()) == pytest.approx(
        (1.5 * 0.8 - 0.9) * MASS * GRAVITY / 25, rel=1e-6
    )
    own = Factors(equilibrium_favourable=1.0, equilibrium_variable=1.0)
    none = wind_movement(body, body.load(fx=force, z=20.0), height=40.0, factors=own)
    assert not none.tie_force.any()


# ---- supports lost or stiffened ----------------------------------------------------------------


def test_lost_support_keeps_equilibrium():
    body = tower()
    found = lost_supports(body)
    assert found.sizes["lost"] == 25
    np.testing.assert_allclose(found.reaction.sum("column"), MASS * GRAVITY, rtol=1e-9)
    x = body.supports.x
    moment = (found.reaction * x).sum("column")
    # The weight leans with the tilt: moment = m g h θ, with h from the supports to the centre.
    tilt_x = (found.deflection.sel(column="E3") - found.deflection.sel(column="A3")) / 24.0
    np.testing.assert_allclose(moment, MASS * GRAVITY * 18.0 * tilt_x, rtol=1e-6, atol=1.0)
    own = found.reaction.sel(lost="A1", column="A1")
    assert float(own) == 0.0
    fall = found.natural_frequency_before - found.natural_frequency
    assert float(fall.min()) > -1e-9
    assert float(fall.min("lost").max()) > 0.01


def test_lost_corner_by_hand():
    """Derived: Δ of plane statics without softening, moments about the lost support's absence."""
    body = tower(gravity_softening=False)
    found = lost_supports(body, ["A1"]).sel(lost="A1")
    x, y = body.supports.x.values, body.supports.y.values
    design = np.stack([np.ones(24), x[1:], y[1:]], axis=-1)
    plane = np.linalg.solve(KZ * design.T @ design, [MASS * GRAVITY, 0.0, 0.0])
    np.testing.assert_allclose(found.reaction[1:], KZ * design @ plane, rtol=1e-9)
    assert float(found.load_ratio.sel(column="B1")) > float(found.load_ratio.sel(column="E5"))
    share = (found.added_deflection * KZ / found.reaction_before)[1:]
    np.testing.assert_allclose(found.load_ratio[1:], 1 + share, rtol=1e-9)


def test_stiff_support_draws_load_and_raises_frequencies():
    body = tower()
    column = body.supports.column
    found = changed_supports(body, factor=xr.where(column == "C1", 3.0, 1.0))
    assert float(found.load_ratio.sel(column="C1")) > 2.0
    assert float(found.load_ratio.sel(column="C2")) < 1.0
    assert (found.natural_frequency >= found.natural_frequency_before - 1e-9).all()


def test_floors_that_bend_leave_a_loss_to_the_next_columns():
    body = tower(gravity_softening=False)
    floors = FloorsAbove(storeys=12)
    rigid = lost_supports(body, ["A1", "C3"])
    bent = lost_supports(body, ["A1", "C3"], floors=floors)
    assert bent["rigidity"].values.tolist() == ["soft", "stiff", "rigid"]
    alike = bent.sel(rigidity="rigid", drop=True)
    for name in ("reaction", "deflection", "added_deflection", "load_ratio"):
        same = alike[name].transpose(*rigid[name].dims)
        np.testing.assert_allclose(same, rigid[name], rtol=1e-9, atol=1e-12)
    beside = bent.load_ratio.sel(lost="A1", column="B1")
    soft, stiff, least = (float(beside.sel(rigidity=r)) for r in ("soft", "stiff", "rigid"))
    assert soft > stiff > least > 1.0
    np.testing.assert_allclose(bent.reaction.sum("column"), MASS * GRAVITY, rtol=1e-10)
    for axis in (body.supports.x, body.supports.y):
        held = (bent.reaction * axis).sum("column")
        np.testing.assert_allclose(held, 0.0, atol=1e-8 * MASS * GRAVITY)
    assert "12 floors" in bent.attrs["note"]


def test_a_support_that_lifts_off_is_followed_where_floors_are_given():
    x, y = square(2)
    four = Supports(x=x, y=y, z=0.0, kx=KZ, ky=KZ, kz=KZ)
    body = tower(supports=four, centre_x=0.5, centre_y=0.5, centre_z=1.0, gravity_softening=False)
    half = xr.where(four.column == "A1", 0.5, 1.0)
    found = changed_supports(body, factor=half, floors=FloorsAbove(storeys=12))
    assert "tilt and frequencies of a rigid body that pulls too" in found.attrs["note"]
    assert (found.reaction >= 0).all()
    np.testing.assert_allclose(found.reaction.sum("column"), MASS * GRAVITY, rtol=1e-10)
    with pytest.raises(ValueError, match="the plate tips"):
        lost_supports(body, ["B2"], floors=FloorsAbove(storeys=12))


def test_support_changes_refuse():
    body = tower()
    with pytest.raises(ValueError, match="columns holds Z9; known are A1"):
        lost_supports(body, ["Z9"])
    with pytest.raises(ValueError, match="columns holds nothing"):
        lost_supports(body, [])
    with pytest.raises(ValueError, match="factor is -1"):
        changed_supports(body, factor=xr.full_like(body.supports.x, -1.0))
    x, y = square(2)
    four = Supports(x=x, y=y, z=0.0, kx=KZ, ky=KZ, kz=KZ)
    standing = tower(supports=four, centre_z=1.0)
    lost = xr.where(four.column.isin(["A1", "A2"]), 0.0, 1.0)
    with pytest.raises(ValueError, match="leave a movement free"):
        changed_supports(standing, factor=lost)
    leaning = tower(supports=four, centre_x=3.5, centre_z=1.0, gravity_softening=False)
    with pytest.raises(ValueError, match="supports A1, A2 carry nothing or pull"):
        lost_supports(leaning)


def test_body_that_pulls_after_a_loss_is_warned_about():
    x, y = square(2)
    four = Supports(x=x, y=y, z=0.0, kx=KZ, ky=KZ, kz=KZ)
    body = tower(supports=four, centre_x=0.5, centre_z=1.0, gravity_softening=False)
    with pytest.warns(ValidityWarning, match="supports A2 would pull after the change"):
        found = lost_supports(body, ["B1"])
    uplift = found.uplift.sel(lost="B1")
    assert uplift.column.values[uplift.values].tolist() == ["A2"]
