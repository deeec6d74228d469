"""Loads on locks, jacks, packs and columns while packs are released.

Sources: derived. Held against the plate on springs itself, state by state, with every order of work
within a step; equilibrium of force and moments; limits of no floor and of a rigid one in closed
form. To 1e-9 of the largest load unless said.
"""

from __future__ import annotations

import time
from itertools import product

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st
from test_release import assert_order_holds, layout
from test_release_fewest import fewest

from groundborne.isolation import LinearMount
from groundborne.sizing import (
    FloorsAbove,
    LockedPack,
    MovementLimits,
    ReleaseError,
    ReleaseFrame,
    ReleaseWork,
    SupportLimits,
    order_of_release,
    release_loads,
)
from groundborne.structure import PlateOnSprings, PlatePart

WIDE = MovementLimits(differential=0.09, tilt=0.09)


def plate(plan, rigidity, locked=2e9):
    x, y = plan.x.values, plan.y.values
    part = PlatePart(
        x=(float(x.min()) - 1, float(x.max()) + 1),
        y=(float(y.min()) - 1, float(y.max()) + 1),
        rigidity=rigidity,
    )
    return PlateOnSprings(x=plan.x, y=plan.y, stiffness=locked, parts=[part])


def site(nx, ny, *, seed=1, limits=None, stiff=4e9, soft=4e8, spread=0.03, share=0.9):
    """A plan, and packs of 30 mm under uneven loads that are locked at a share of them."""
    rng = np.random.default_rng(seed)
    plan = layout(nx, ny)
    load = plan.x.copy(data=rng.uniform(2.5e6, 3.5e6, nx * ny))
    frame = ReleaseFrame(
        plates={"stiff": plate(plan, stiff), "soft": plate(plan, soft)},
        load=load,
        precompression=share * load,
        stiffness=load / 30e-3 * rng.uniform(1 - spread, 1 + spread, nx * ny),
        limits=SupportLimits() if limits is None else limits,
    )
    return plan, frame


def states(plan, frame, label, let_down):
    """The same by the plate itself: locked supports raised, released ones softened."""
    down = xr.DataArray(
        np.atleast_2d(let_down), dims=("case", "column"), coords={"column": plan.column.values}
    )
    model = frame.plates[label]
    free = abs(frame.remaining - down) < 1e-12
    locked = xr.DataArray(model.stiffness)
    held = frame.load / locked - down
    found = model.response(
        frame.load,
        raised=xr.where(free, frame.precompression / frame.stiffness, held),
        factor=xr.where(free, frame.stiffness / locked, 1.0),
        holds_down=True,
    )
    spring = frame.precompression + frame.stiffness * found["deflection"]
    lock = xr.where(free, 0.0, spring - found["reaction"])
    order = ("case", "column")
    return (a.transpose(*order).values for a in (found["reaction"], spring, lock))


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_every_step_and_order_of_work_against_the_plate(seed):
    rng = np.random.default_rng(seed)
    plan, frame = site(3, 2, seed=seed, stiff=float(10 ** rng.uniform(8, 10)))
    whole = frame.remaining.values
    shares = np.sort(rng.choice([0.0, 0.3, 0.7, 1.0, 1.0], (3, 6)), axis=0)
    let_down = xr.DataArray(
        np.vstack([np.zeros(6), shares * whole]),
        dims=("step", "column"),
        coords={"column": plan.column.values},
    )
    found = release_loads(let_down, frame=frame, plan=plan, limits=WIDE)
    level = float(frame.load.max())
    assert float(found["imbalance"].max()) < 1e-12
    x, y = plan.x.values, plan.y.values
    for arm in (np.ones(6), x, y):
        total = (found["column_load"] * arm).sum("column")
        np.testing.assert_allclose(total, (frame.load.values * arm).sum(), rtol=1e-12, atol=1e-3)
    for label in ("stiff", "soft"):
        here = found.sel(rigidity=label)
        column, spring, lock = states(plan, frame, label, let_down.values)
        for name, expected in (("column_load", column), ("pack_load", spring), ("lock_load", lock)):
            np.testing.assert_allclose(here[name], expected, atol=1e-9 * level)
        for step in (1, 2, 3):
            before, after = let_down.values[step - 1 : step + 1]
            orders = np.array([np.where(p, after, before) for p in product([0, 1], repeat=6)])
            column, spring, lock = states(plan, frame, label, orders)
            worked = before != after
            for name, expected in (
                ("column_load_most", column.max(axis=0)),
                ("column_load_least", column.min(axis=0)),
                ("pack_load_most", spring.max(axis=0)),
                ("lock_load_most", abs(lock).max(axis=0)),
                ("jack_load_most", np.where(worked, abs(lock).max(axis=0), 0.0)),
            ):
                np.testing.assert_allclose(here[name][step], expected, atol=1e-9 * level)


def test_before_work_locks_carry_what_springs_do_not():
    plan, frame = site(3, 2)
    found = release_loads(
        xr.zeros_like(plan.x).expand_dims(step=[0]), frame=frame, plan=plan, limits=WIDE
    ).isel(step=0)
    np.testing.assert_allclose(found["column_load"][0], frame.load, rtol=1e-12)
    np.testing.assert_allclose(found["lock_load"][0], -0.1 * frame.load, rtol=1e-9)
    np.testing.assert_allclose(found["pack_load"][0], 0.9 * frame.load, rtol=1e-12)


def test_without_a_floor_every_column_keeps_its_load():
    """A plate without rigidity: the frame follows, as where no frame is given."""
    plan, frame = site(3, 2, soft=1.0)
    whole = frame.remaining
    order = xr.concat([0 * whole, 0.5 * whole, whole], "step")
    found = release_loads(order, frame=frame, plan=plan, limits=WIDE).sel(rigidity="soft")
    np.testing.assert_allclose(found["column_load"] / frame.load, 1.0, rtol=1e-4)
    np.testing.assert_allclose(found["plate_movement"], order, atol=1e-6)


def test_a_rigid_building_hands_on_as_the_lever_says():
    """Two rows of three, the middle ones released: a rigid body on springs, by hand."""
    plan = layout(3, 2)
    load = xr.full_like(plan.x, 3e6)
    rigid = PlateOnSprings(x=plan.x, y=plan.y, stiffness=2e9)
    frame = ReleaseFrame(plates={"rigid": rigid}, load=load, precompression=2.4e6, stiffness=1e8)
    middle = xr.where(plan.x == 6.0, 1.0, 0.0)
    order = xr.concat([0 * load, middle * frame.remaining], "step")
    found = release_loads(order, frame=frame, plan=plan, limits=WIDE).sel(rigidity="rigid", step=1)
    # It sinks by w: four locks take 2e9 w more, two springs hold 2.4 MN + 1e8 w.
    sinks = (18e6 - 4 * 3e6 - 2 * 2.4e6) / (4 * 2e9 + 2 * 1e8)
    expected = xr.where(middle > 0, 2.4e6 + 1e8 * sinks, 3e6 + 2e9 * sinks)
    np.testing.assert_allclose(found["column_load"], expected, rtol=1e-9)


def test_a_stiff_floor_puts_more_on_locks_than_a_soft_one_and_that_is_shown():
    plan, frame = site(10, 6)
    limits = MovementLimits(differential=1e-3, tilt=1e-4)
    work = ReleaseWork(at_once=8, steps=40, largest_step=0.75e-3, increment=0.25e-3)
    order = order_of_release(frame.remaining, plan=plan, limits=limits, work=work, frame=frame)
    assert_order_holds(order, frame.remaining, plan, limits, work)
    assert order.attrs["steps_used"] <= order.attrs["steps_at_least"] + 2
    assert float(order["imbalance"].max()) < 1e-12
    assert bool(order["limits_kept"].all())
    own = float((0.1 * frame.load).max())
    most = order["lock_load_most"].max(("step", "column"))
    assert float(most.sel(rigidity="stiff")) > float(most.sel(rigidity="soft")) > 1.2 * own
    assert (order["jack_load_most"] <= order["lock_load_most"] + 1e-6).all()
    assert ((order["jack_load_most"] > 0).any("rigidity") == order["worked_on"]).all()
    assert "soft bound" in order.attrs["assumption"]


def test_five_hundred_columns_with_loads_within_a_minute():
    """Measured at about half a minute of one core for two plates."""
    plan, frame = site(20, 25)
    limits = MovementLimits(differential=1.5e-3, tilt=1e-4)
    work = ReleaseWork(at_once=12, steps=300, increment=0.25e-3, largest_step=1e-3)
    began = time.process_time()
    order = order_of_release(frame.remaining, plan=plan, limits=limits, work=work, frame=frame)
    assert time.process_time() - began < 60
    assert_order_holds(order, frame.remaining, plan, limits, work)
    least = order.attrs["steps_at_least"]
    assert least >= 42  # five hundred columns, twelve at once
    assert order.attrs["steps_used"] <= 1.05 * least
    assert float(order["imbalance"].max()) < 1e-12


# ---- limits ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["lock", "jack", "column", "pack", "travel"])
def test_each_limit_is_kept_or_named(name):
    """Just above what an order needs it is found; below what the start or end holds it is not."""
    plan, frame = site(3, 2, seed=4)
    work = ReleaseWork(at_once=2, steps=20, increment=1e-3)
    limits = MovementLimits(differential=3e-3, tilt=1e-3)

    def attempt(value):
        bound = ReleaseFrame(
            plates=frame.plates,
            load=frame.load,
            precompression=frame.precompression,
            stiffness=frame.stiffness,
            limits=SupportLimits(**{name: value}),
        )
        return order_of_release(bound.remaining, plan=plan, limits=limits, work=work, frame=bound)

    free = order_of_release(frame.remaining, plan=plan, limits=limits, work=work, frame=frame)
    found = {
        "travel": free["plate_movement_most"],
        "column": free["column_load_most"],
    }.get(name, free.get(f"{name}_load_most"))
    most = float(found.max())
    order = attempt(1.0001 * most)
    assert order.attrs["steps_used"] == free.attrs["steps_used"]
    word = {"travel": "travel"}.get(name, f"load of a {name}")
    with pytest.raises(ReleaseError, match=rf"the {word} at [A-C][12]: .* limit .*plate '") as e:
        attempt(0.05 * most)
    unit = "mm" if name == "travel" else "kN"
    assert f" {unit}, limit " in str(e.value)
    assert "e+0" not in str(e.value)


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 2**16), st.floats(1.02, 1.6))
def test_with_limits_of_loads_fewest_steps_are_those_of_exhaustion(seed, share):
    """The exhaustion asks the plate itself for the locks of every state."""
    plan, frame = site(2, 2, seed=seed, stiff=2e9)
    lock = share * float(0.1 * frame.load.max())
    frame = ReleaseFrame(
        plates=frame.plates,
        load=frame.load,
        precompression=frame.precompression,
        stiffness=frame.stiffness,
        limits=SupportLimits(lock=lock),
    )
    limits = MovementLimits(differential=4e-3, tilt=1e-2)
    work = ReleaseWork(at_once=2, steps=30, increment=1e-3)

    # Every state that whole levels can make, asked at once.
    places = [(*np.arange(0, r * (1 - 1e-9), work.increment), r) for r in frame.remaining.values]
    every = np.array(list(product(*places)))
    locks = np.array([list(states(plan, frame, label, every))[2] for label in frame.plates])
    kept = (abs(locks) <= lock * (1 + 1e-5)).all(axis=(0, 2))
    borne = {moved.tobytes(): bool(k) for moved, k in zip(every, kept, strict=True)}

    def allowed(moved):
        return borne[moved.tobytes()]

    least = fewest(plan, frame.remaining.values, limits, work, allowed=allowed)
    if least is None:
        with pytest.raises(ReleaseError, match="load of a lock"):
            order_of_release(frame.remaining, plan=plan, limits=limits, work=work, frame=frame)
        return
    order = order_of_release(frame.remaining, plan=plan, limits=limits, work=work, frame=frame)
    assert order.attrs["steps_used"] == least == order.attrs["steps_at_least"]


def test_a_column_that_lifts_is_an_outcome_and_beyond_limits():
    """A light column on stiff neighbours, let down far: it hangs, and the others carry all."""
    plan = layout(3, 2)
    load = plan.x.copy(data=[3e6, 2e5, 3e6, 3e6, 2e5, 3e6])
    frame = ReleaseFrame(
        plates={"stiff": plate(plan, 5e9)}, load=load, precompression=0.1 * load, stiffness=1e8
    )
    order = xr.zeros_like(load).expand_dims(step=[0, 1]).copy()
    order[1, 1] = 0.5 * frame.remaining[1]
    order[1, 4] = 0.5 * frame.remaining[4]
    found = release_loads(order, frame=frame, plan=plan, limits=WIDE).isel(rigidity=0)
    assert found["lifts_off"].values.tolist() == [False, True]
    assert found["limits_kept"].values.tolist() == [True, False]
    assert "the least load of a column at B" in str(found["exceeded"].values[1])
    after = found.isel(step=1)
    assert float(after["column_load_least"].min()) < 0
    assert after["column_load"].values[[1, 4]].tolist() == [0.0, 0.0]
    assert float(after["column_load"].sum()) == pytest.approx(float(load.sum()), rel=1e-12)


# ---- refusals and forms ------------------------------------------------------------------------


def test_packs_of_a_schedule_under_floors():
    plan, frame = site(3, 2)
    mount = LinearMount(stiffness=frame.stiffness)
    floors = FloorsAbove(storeys=6, column_stiffness=5e9)
    given = {"plan": plan, "floors": floors, "lock_stiffness": 4e9}
    pack = LockedPack.at_share(mount=mount, load=frame.load, share=0.9, lock="both ways")
    made = ReleaseFrame.of_pack(pack, frame.load, **given)
    np.testing.assert_allclose(made.remaining, frame.remaining, rtol=1e-9)
    assert list(made.plates) == ["soft", "stiff"]
    expected = 1 / (1 / (4e9 + frame.stiffness) + 1 / 5e9)
    np.testing.assert_allclose(made.plates["soft"].stiffness, expected, rtol=1e-12)
    level = LockedPack.at_share(mount=mount, load=frame.load, share=1.0, lock="both ways")
    made = ReleaseFrame.of_pack(level, frame.load, **given)
    np.testing.assert_allclose(made.stiffness, frame.stiffness, rtol=1e-9)
    one_way = LockedPack.at_share(mount=mount, load=frame.load, share=0.9, lock="one way")
    with pytest.raises(ValueError, match="one that holds both ways"):
        ReleaseFrame.of_pack(one_way, frame.load, **given)


def test_refusals():
    plan, frame = site(3, 2)
    given = {
        "plates": frame.plates,
        "load": frame.load,
        "precompression": frame.precompression,
        "stiffness": frame.stiffness,
    }
    with pytest.raises(ValueError, match="column A1 is no stiffer locked than released"):
        ReleaseFrame(**given | {"stiffness": 3e9})
    with pytest.raises(ValueError, match="plates is empty"):
        ReleaseFrame(**given | {"plates": {}})
    with pytest.raises(ValueError, match=r"labels of 'column' differ.*'C2'"):
        ReleaseFrame(**given | {"load": frame.load[:5], "precompression": 1e6, "stiffness": 1e8})
    down = xr.concat([0 * plan.x, frame.remaining, 0.5 * frame.remaining], "step")
    with pytest.raises(ValueError, match=r"let_down of A1 is .* at step 2; .* never back"):
        release_loads(down, frame=frame, plan=plan, limits=WIDE)
    with pytest.raises(ValueError, match=r"give frame\.remaining"):
        order_of_release(
            2 * frame.remaining,
            plan=plan,
            limits=WIDE,
            work=ReleaseWork(at_once=2, steps=9),
            frame=frame,
        )
    big, wide = site(5, 3)
    with pytest.raises(ValueError, match="at_once is 13; with a frame at most 12"):
        order_of_release(
            wide.remaining,
            plan=big,
            limits=WIDE,
            work=ReleaseWork(at_once=13, steps=9),
            frame=wide,
        )
    with pytest.raises(ValueError, match=r"at most 12 columns in one step.*here are 15"):
        release_loads(
            xr.concat([0 * wide.remaining, wide.remaining], "step"),
            frame=wide,
            plan=big,
            limits=WIDE,
        )
