"""Order of release: every step checked, refusals proven, small cases against exhaustion.

Sources: derived. The check itself is held against brute force over all orders of work within a
step (2ⁿ subsets), to 1e-5 as stated by the function.
"""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne.sizing.movement.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.release.order import (
    ReleaseError,
    ReleaseWork,
    check_release,
    order_of_release,
)


def layout(nx, ny, pitch=6.0):
    x, y = (a.ravel() for a in np.meshgrid(np.arange(nx) * pitch, np.arange(ny) * pitch))
    names = {"column": [f"{'ABCDEFGHJKLMNPQRSTUVWX'[i % nx]}{i // nx + 1}" for i in range(nx * ny)]}
    return ColumnPlan(
        x=xr.DataArray(x, dims="column", coords=names),
        y=xr.DataArray(y, dims="column", coords=names),
        neighbour_distance=1.02 * pitch,
    )


SITE = layout(10, 6)
LIMITS = MovementLimits(differential=3e-3, tilt=1 / 5000)


def assert_order_holds(order, remaining, plan, limits, work, start=0.0):
    """What the result must be, recomputed here without the library's check."""
    moved = order.movement.transpose("step", "column").values
    steps = np.diff(moved, axis=0)
    np.testing.assert_allclose(moved[-1] - moved[0], remaining.values, rtol=1e-12)
    assert (steps * np.sign(remaining.values) >= 0).all()
    assert ((steps != 0).sum(axis=1) <= work.at_once).all()
    assert ((steps != 0).sum(axis=1) >= 1).all()
    assert len(steps) == order.attrs["steps_used"] <= work.steps
    assert order.attrs["steps_at_least"] <= order.attrs["steps_used"]
    x, y = plan.x.values, plan.y.values
    design = np.stack([np.ones_like(x), x, y], axis=-1)
    slope = np.linalg.lstsq(design, moved.T, rcond=None)[0][1:]
    assert np.hypot(*slope).max() <= limits.tilt * (1 + 2e-5)
    near = (np.hypot(x[:, None] - x, y[:, None] - y) <= plan.neighbour_distance) & ~np.eye(
        x.size, dtype=bool
    )
    for before, after in pairwise(moved):
        for first, second in product((before, after), repeat=2):
            gap = np.abs(first[:, None] - second)[near].max()
            assert gap <= limits.differential * (1 + 2e-5)


# ---- the check ---------------------------------------------------------------------------------


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1))
def test_check_covers_every_order_of_work_within_a_step(seed):
    rng = np.random.default_rng(seed)
    plan = layout(3, 2)
    moved = np.cumsum(rng.normal(size=(3, 6)) * 1e-3, axis=0)
    checked = check_release(
        xr.DataArray(moved, dims=("step", "column"), coords={"column": plan.column.values}),
        plan=plan,
        limits=LIMITS,
    )
    x, y = plan.x.values, plan.y.values
    operator = np.linalg.pinv(np.stack([np.ones_like(x), x, y], axis=-1))[1:]
    i, j = np.nonzero(np.triu(plan.adjacent))
    for step in (1, 2):
        states = np.array(
            [np.where(pick, moved[step], moved[step - 1]) for pick in product([0, 1], repeat=6)]
        )
        gap = np.abs(states[:, i] - states[:, j]).max()
        tilt = np.hypot(*(operator @ states.T)).max()
        assert float(checked.differential_on_the_way[step]) == pytest.approx(gap, rel=1e-9)
        assert tilt * (1 - 1e-9) <= float(checked.tilt_on_the_way[step]) <= tilt * (1 + 2e-5)


def test_check_names_step_and_pair():
    plan = layout(3, 2)
    moved = xr.zeros_like(plan.x).expand_dims(step=[0, 1, 2]).copy()
    moved.loc[{"step": 1, "column": "B1"}] = 4e-3
    moved.loc[{"step": 2}] = 4e-3
    checked = check_release(moved, plan=plan, limits=LIMITS)
    assert checked.within_limits.values.tolist() == [True, False, False]
    assert "B1" in str(checked.worst_pair.sel(step=1).item())
    assert float(checked.differential.sel(step=2)) == 0.0
    assert float(checked.differential_on_the_way.sel(step=2)) == pytest.approx(4e-3)


# ---- orders ------------------------------------------------------------------------------------


def test_site_of_sixty_columns():
    rng = np.random.default_rng(3)
    remaining = SITE.x.copy(data=rng.uniform(2.2e-3, 3.4e-3, 60))
    limits = MovementLimits(differential=2e-3, tilt=1 / 5000)
    work = ReleaseWork(at_once=6, steps=40)
    order = order_of_release(remaining, plan=SITE, limits=limits, work=work)
    assert_order_holds(order, remaining, SITE, limits, work)
    assert order.within_limits.all()
    np.testing.assert_allclose(order.share_released[-1], 1.0)
    assert "specialist contractor" in order.attrs["caution"]
    assert "frame follows" in order.attrs["assumption"]


def test_within_the_limit_every_column_is_visited_once():
    remaining = xr.full_like(SITE.x, 2.5e-3)
    work = ReleaseWork(at_once=6, steps=10)
    order = order_of_release(remaining, plan=SITE, limits=LIMITS, work=work)
    assert_order_holds(order, remaining, SITE, LIMITS, work)
    assert order.attrs["steps_used"] == order.attrs["steps_at_least"] == 10
    assert (order.worked_on.sum("step") == 1).all()


def test_turns_of_a_screw_and_largest_step():
    plan = layout(4, 3)
    remaining = plan.x.copy(data=np.linspace(3.3e-3, 5.1e-3, 12))
    work = ReleaseWork(at_once=3, steps=40, largest_step=2e-3, increment=0.5e-3)
    limits = MovementLimits(differential=2.5e-3, tilt=1 / 2000)
    order = order_of_release(remaining, plan=plan, limits=limits, work=work)
    assert_order_holds(order, remaining, plan, limits, work)
    step = order.step_movement.values
    assert step.max() <= 2e-3 + 1e-12
    last = np.isclose(order.released.values, remaining.values)
    parts = step[(step > 0) & ~last] / 0.5e-3
    np.testing.assert_allclose(parts, np.round(parts), atol=1e-6)
    assert parts.size > 0


def test_rising_and_sinking_columns_and_what_moved_before():
    plan = layout(4, 3)
    rng = np.random.default_rng(5)
    remaining = plan.x.copy(data=rng.uniform(-1.2e-3, 1.5e-3, 12))
    start = plan.x.copy(data=rng.uniform(0.0, 0.5e-3, 12))
    limits = MovementLimits(differential=3e-3, tilt=1 / 3000)
    work = ReleaseWork(at_once=3, steps=20)
    order = order_of_release(
        remaining, plan=plan, limits=limits, work=work, already_moved=start[::-1]
    )
    assert_order_holds(order, remaining, plan, limits, work)
    np.testing.assert_allclose(order.movement[0], start)


@settings(max_examples=8)
@given(st.integers(0, 2**32 - 1), st.integers(1, 3), st.floats(1.0, 4.0))
def test_any_order_found_holds(seed, at_once, ratio):
    plan = layout(3, 3)
    remaining = plan.x.copy(data=np.random.default_rng(seed).uniform(0.8, 1.0, 9) * ratio * 1e-3)
    limits = MovementLimits(differential=1.2e-3, tilt=1 / 3000)
    work = ReleaseWork(at_once=at_once, steps=80)
    order = order_of_release(remaining, plan=plan, limits=limits, work=work)
    assert_order_holds(order, remaining, plan, limits, work)


def possible(plan, remaining, limits, at_once, steps):
    """Exhaustive search over whole releases: is there any order of sets?"""
    x, y = plan.x.values, plan.y.values
    operator = np.linalg.pinv(np.stack([np.ones_like(x), x, y], axis=-1))[1:]
    count = x.size
    picks = np.array(list(product([False, True], repeat=count)))
    inside = np.array(
        [
            np.hypot(*(operator @ np.where(p, remaining, 0.0))) <= limits.tilt
            and not (
                np.abs(np.subtract.outer(np.where(p, remaining, 0), np.where(p, remaining, 0)))[
                    plan.adjacent
                ]
                > limits.differential
            ).any()
            for p in picks
        ]
    )
    number = {tuple(p): k for k, p in enumerate(picks)}
    reached = {tuple([False] * count)}
    for _ in range(steps):
        grown = set(reached)
        for state in reached:
            for move in picks[(picks.sum(axis=1) <= at_once) & (picks.sum(axis=1) > 0)]:
                if (move & np.array(state)).any():
                    continue
                on_the_way = [
                    inside[number[tuple(np.array(state) | (move & part))]]
                    for part in picks[(picks & ~move).sum(axis=1) == 0]
                ]
                if all(on_the_way):
                    grown.add(tuple(np.array(state) | move))
        reached = grown
    return tuple([True] * count) in reached


@settings(max_examples=12)
@given(st.integers(0, 2**32 - 1), st.floats(0.4e-4, 1.6e-4))
def test_whole_releases_that_exhaustion_finds_are_found(seed, tilt):
    """Steps of whole columns, so that exhaustion over 2⁶ states is an independent answer."""
    plan = layout(3, 2)
    rng = np.random.default_rng(seed)
    remaining = plan.x.copy(data=rng.uniform(1.0e-3, 1.6e-3, 6))
    limits = MovementLimits(differential=2e-3, tilt=tilt)
    work = ReleaseWork(at_once=2, steps=3)
    exists = possible(plan, remaining.values, limits, 2, 3)
    # Three steps of two for six columns leave no room for parts: both answers must agree.
    if exists:
        order = order_of_release(remaining, plan=plan, limits=limits, work=work)
        assert_order_holds(order, remaining, plan, limits, work)
    else:
        with pytest.raises(
            ReleaseError, match=r"proven by the exact|no order mends that|steps? cannot suffice"
        ):
            order_of_release(remaining, plan=plan, limits=limits, work=work)


# ---- refusals ----------------------------------------------------------------------------------


def test_end_state_beyond_limits_is_refused_by_name():
    remaining = xr.full_like(SITE.x, 3e-3)
    remaining.loc[{"column": "D3"}] = 7e-3
    with pytest.raises(ReleaseError, match=r"once everything is released, neighbours .*D3.*0\.004"):
        order_of_release(remaining, plan=SITE, limits=LIMITS, work=ReleaseWork(at_once=6, steps=99))
    sloping = 1e-3 + 3e-4 * SITE.x
    with pytest.raises(ReleaseError, match=r"the building tilts by 0\.0003"):
        order_of_release(sloping, plan=SITE, limits=LIMITS, work=ReleaseWork(at_once=6, steps=99))


def test_start_beyond_limits_is_refused():
    start = xr.zeros_like(SITE.x)
    start.loc[{"column": "A1"}] = 5e-3
    with pytest.raises(ReleaseError, match="before work begins, neighbours A1-B1, A1-A2"):
        order_of_release(
            xr.full_like(SITE.x, 1e-3),
            plan=SITE,
            limits=LIMITS,
            work=ReleaseWork(at_once=6, steps=99),
            already_moved=start,
        )


def test_too_few_steps_by_counting():
    with pytest.raises(ReleaseError, match=r"9 steps cannot suffice.*takes 10 or more"):
        order_of_release(
            xr.full_like(SITE.x, 2e-3),
            plan=SITE,
            limits=LIMITS,
            work=ReleaseWork(at_once=6, steps=9),
        )


def test_too_few_steps_by_neighbours():
    """Four columns of 5 mm, all at once: no single step keeps 3 mm, two do (2.5 mm each)."""
    plan = layout(2, 2)
    limits = MovementLimits(differential=3e-3, tilt=1e-2)
    remaining = xr.full_like(plan.x, 5e-3)
    with pytest.raises(ReleaseError, match=r"1 step cannot suffice.*takes 2 or more.*A1"):
        order_of_release(remaining, plan=plan, limits=limits, work=ReleaseWork(at_once=4, steps=1))
    order = order_of_release(
        remaining, plan=plan, limits=limits, work=ReleaseWork(at_once=4, steps=2)
    )
    assert order.attrs["steps_used"] == 2


@pytest.mark.parametrize(
    ("given_work", "message"),
    [
        ({"at_once": 2.0, "steps": 3}, "at_once is 2.0; a whole number"),
        ({"at_once": 2, "steps": True}, "steps is True"),
        ({"at_once": 2, "steps": 3, "largest_step": 0.0}, "largest_step is 0"),
        (
            {"at_once": 2, "steps": 3, "largest_step": 1e-3, "increment": 2e-3},
            "largest_step is below the increment",
        ),
    ],
)
def test_work_refuses(given_work, message):
    with pytest.raises(ValueError, match=message):
        ReleaseWork(**given_work)


def test_columns_must_be_those_of_the_plan():
    with pytest.raises(ValueError, match="remaining lacks K6"):
        order_of_release(
            xr.full_like(SITE.x, 1e-3)[:-1],
            plan=SITE,
            limits=LIMITS,
            work=ReleaseWork(at_once=6, steps=20),
        )
    with pytest.raises(ValueError, match="dims 'step' and 'column'"):
        check_release(xr.full_like(SITE.x, 1e-3), plan=SITE, limits=LIMITS)
