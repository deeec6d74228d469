"""Fewest steps of a release: against exhaustion over states, and by bounds that exhaustion keeps.

Sources: derived. Exhaustion here is breadth-first over all whole levels of all columns, with every
order of work within a step looked at one by one, and shares no code with the library.
"""

from __future__ import annotations

import time
from itertools import product

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st
from test_release import assert_order_holds, layout

from groundborne.sizing.movement.column_plan import MovementLimits
from groundborne.sizing.release import fewest as searches
from groundborne.sizing.release.order import ReleaseError, ReleaseWork, order_of_release


def fewest(plan, remaining, limits, work, allowed=lambda _: True):
    """Least number of steps by exhaustion, or None; `allowed` may refuse states."""
    x, y = plan.x.values, plan.y.values
    operator = np.linalg.pinv(np.stack([np.ones_like(x), x, y], axis=-1))[1:]
    near = np.argwhere(np.triu(plan.adjacent))
    size, sign = np.abs(remaining), np.sign(remaining)
    places = [[*np.arange(0, s * (1 - 1e-9), work.increment), s] if s else [0.0] for s in size]
    largest = np.inf if work.largest_step is None else work.largest_step
    known = {}

    def fits(state):
        if state not in known:
            moved = sign * np.array([p[k] for p, k in zip(places, state, strict=True)])
            gap = max((abs(moved[a] - moved[b]) for a, b in near), default=0.0)
            known[state] = bool(
                gap <= limits.differential * (1 + 1e-5)
                and np.hypot(*(operator @ moved)) <= limits.tilt * (1 + 1e-5)
                and allowed(moved)
            )
        return known[state]

    def reachable(state):
        reaches = [
            [k] + [n for n in range(k + 1, len(p)) if p[n] - p[k] <= largest * (1 + 1e-9)]
            for p, k in zip(places, state, strict=True)
        ]
        for target in product(*reaches):
            moved = [c for c, (a, b) in enumerate(zip(state, target, strict=True)) if a != b]
            if not 1 <= len(moved) <= work.at_once:
                continue
            on_the_way = product(*({a, b} for a, b in zip(state, target, strict=True)))
            if all(fits(s) for s in on_the_way):
                yield target

    first, last = (0,) * len(size), tuple(len(p) - 1 for p in places)
    if not fits(first):
        return None
    line, seen, steps = {first}, {first}, 0
    while line:
        if last in line:
            return steps
        line = {t for s in line for t in reachable(s)} - seen
        seen |= line
        steps += 1
    return None


def drawn(seed):
    """A small plan near its limits."""
    rng = np.random.default_rng(seed)
    nx, ny = ((2, 2), (3, 2), (2, 3))[rng.integers(3)]
    plan = layout(nx, ny)
    count, increment = nx * ny, 0.5e-3
    most = 5 if count == 4 else 2
    levels = rng.integers(0, most + 1, count) if rng.random() < 0.6 else np.full(count, most)
    remaining = levels * increment
    if rng.random() < 0.3:
        remaining = remaining * rng.uniform(0.8, 1.0, count)
    if rng.random() < 0.25:
        remaining = remaining * rng.choice([-1, 1], count)
    work = ReleaseWork(
        at_once=int(rng.integers(1, count + 1)),
        steps=40,
        increment=increment,
        largest_step=None if rng.random() < 0.6 else float(rng.integers(1, 3) * increment),
    )
    one = np.hypot(*plan.slope_operator).max() * increment
    # Limits at which whole numbers of increments just fit, or do not.
    limits = MovementLimits(
        differential=float(increment * rng.choice([1.0, 1.4, 2.0, 3.0, 6.0])),
        tilt=float(one * rng.choice([1.0, 1.0, 1.001, 1.2, 1.5, 2.0, 4.0])),
    )
    return plan, xr.DataArray(remaining, dims="column", coords=plan.x.coords), limits, work


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_fewest_steps_are_those_of_exhaustion(seed):
    plan, remaining, limits, work = drawn(seed)
    least = fewest(plan, remaining.values, limits, work)
    if least is None:
        with pytest.raises(ReleaseError, match=r"no order mends|there is none|no number of steps"):
            order_of_release(remaining, plan=plan, limits=limits, work=work)
        return
    order = order_of_release(remaining, plan=plan, limits=limits, work=work)
    assert_order_holds(order, remaining, plan, limits, work)
    assert order.attrs["steps_used"] == least == order.attrs["steps_at_least"]
    assert "proven" in order.attrs["proof"]


def tilt_of_one_step(plan, amount):
    """Largest tilt on the way when all columns go down by the same."""
    angle = 2 * np.pi * np.arange(7200) / 7200
    rows = np.stack([np.cos(angle), np.sin(angle)], axis=-1) @ plan.slope_operator
    return float((rows.clip(min=0) * amount).sum(axis=1).max())


@pytest.mark.parametrize(("nx", "ny"), [(2, 2), (3, 2), (3, 3), (4, 3)])
@pytest.mark.parametrize("share", [1.0, 1.003, 1.1])
def test_where_the_tilt_just_allows_an_increment_three_steps_do(nx, ny, share):
    """Three increments for all, at a limit at which all may go down by one in any order."""
    plan, increment = layout(nx, ny), 0.5e-3
    limits = MovementLimits(differential=3e-3, tilt=share * tilt_of_one_step(plan, increment))
    work = ReleaseWork(at_once=nx * ny, steps=60, increment=increment)
    remaining = xr.full_like(plan.x, 3 * increment)
    order = order_of_release(remaining, plan=plan, limits=limits, work=work)
    assert_order_holds(order, remaining, plan, limits, work)
    assert order.attrs["steps_used"] == order.attrs["steps_at_least"] == 3


@pytest.mark.parametrize(
    ("parts", "increment", "differential", "tilts", "at_once", "largest", "least"),
    [
        ([13] * 4, 0.25e-3, 0.25e-3, 2.0, 2, None, 14),
        ([14.865, 15.653, 14.453, 14.258], 0.1e-3, 0.6e-3, 2.0, 3, None, 15),
        ([8] * 4, 0.1e-3, 1e-3, 2.0, 2, 0.4e-3, 8),
    ],
)
def test_where_the_tilt_binds_half_the_steps_do(
    parts, increment, differential, tilts, at_once, largest, least
):
    """Four columns whose tilt limit lets one go by two increments; exhaustion agrees."""
    plan = layout(2, 2)
    one = float(np.hypot(*plan.slope_operator).max()) * increment
    limits = MovementLimits(differential=differential, tilt=tilts * one)
    work = ReleaseWork(at_once=at_once, steps=60, increment=increment, largest_step=largest)
    remaining = plan.x.copy(data=np.array(parts) * increment)
    order = order_of_release(remaining, plan=plan, limits=limits, work=work)
    assert_order_holds(order, remaining, plan, limits, work)
    assert order.attrs["steps_used"] == order.attrs["steps_at_least"] == least


def test_any_amounts_are_proven_by_a_program():
    """5 mm each within 3 mm: one step cannot do; with two columns at once, six visits take three.

    Two neighbours need three visits (3 mm, 5 mm, 2 mm), four columns in a ring six.
    """
    plan = layout(2, 2)
    limits = MovementLimits(differential=3e-3, tilt=1e-2)
    order = order_of_release(
        xr.full_like(plan.x, 5e-3), plan=plan, limits=limits, work=ReleaseWork(at_once=2, steps=9)
    )
    assert order.attrs["steps_used"] == order.attrs["steps_at_least"] == 3


def test_no_bound_is_above_what_exhaustion_finds():
    from groundborne.sizing.release.order import _task

    for seed in range(150):
        plan, remaining, limits, work = drawn(seed)
        least = fewest(plan, remaining.values, limits, work)
        if least is not None:
            task = _task("test", remaining, plan, limits, work, 0.0, None)
            assert task.least_steps()[0] <= least, seed


def test_which_limit_binds_is_said():
    plan = layout(3, 2)
    steep = float(np.hypot(*plan.slope_operator).max())
    limits = MovementLimits(differential=3e-3, tilt=0.4 * steep * 1e-3)
    with pytest.raises(ReleaseError, match=r"an increment is beyond what the limits leave.*A1"):
        order_of_release(
            xr.full_like(plan.x, 3e-3),
            plan=plan,
            limits=limits,
            work=ReleaseWork(at_once=2, steps=50, increment=1e-3),
        )
    plan = layout(2, 2)
    steep = float(np.hypot(*plan.slope_operator).max())
    limits = MovementLimits(differential=3e-3, tilt=0.9 * steep * 1e-3)
    with pytest.raises(ReleaseError, match=r"there is none .*There the tilt stops A1, B1, A2, B2"):
        order_of_release(
            xr.full_like(plan.x, 3e-3),
            plan=plan,
            limits=limits,
            work=ReleaseWork(at_once=1, steps=50, increment=1e-3),
        )


@pytest.mark.parametrize("increment", [0.25e-3, None])
def test_five_hundred_columns_within_a_minute(increment):
    plan = layout(20, 25)
    remaining = plan.x.copy(data=np.random.default_rng(7).uniform(2.2e-3, 3e-3, 500))
    limits = MovementLimits(differential=1.5e-3, tilt=1e-4)
    work = ReleaseWork(at_once=12, steps=300, increment=increment, largest_step=1e-3)
    began = time.process_time()
    order = order_of_release(remaining, plan=plan, limits=limits, work=work)
    assert time.process_time() - began < 60
    assert_order_holds(order, remaining, plan, limits, work)
    least = order.attrs["steps_at_least"]
    assert least >= 125  # three visits each at most a millimetre, twelve at once
    assert order.attrs["steps_used"] <= 1.05 * least


def test_an_increment_too_large_is_told_to_be_smaller():
    """It said larger steps; the increment it names does."""
    plan = layout(2, 2)
    limits = MovementLimits(differential=2e-4, tilt=1e-2)

    def attempt(increment):
        work = ReleaseWork(at_once=2, steps=60, increment=increment)
        return order_of_release(xr.full_like(plan.x, 1e-3), plan=plan, limits=limits, work=work)

    with pytest.raises(ReleaseError, match=r"in smaller increments, of 0\.2 mm or less") as caught:
        attempt(5e-4)
    assert "larger steps" not in str(caught.value)
    assert attempt(2e-4)["within_limits"].all()


def test_a_halt_says_what_may_help_and_begins_no_search_of_many_minutes(monkeypatch):
    """60 steps of 20 columns: the root alone of that program took more than two minutes."""
    plan = layout(5, 4)
    monkeypatch.setattr(searches, "search_program", lambda *_, **__: pytest.fail("asked"))
    halt = (None, np.zeros(20))
    monkeypatch.setattr(searches, "search_step_by_step", lambda *_, **__: halt)
    with pytest.raises(ReleaseError) as caught:
        order_of_release(
            xr.full_like(plan.x, 3e-3),
            plan=plan,
            limits=MovementLimits(differential=2e-4, tilt=1e-2),
            work=ReleaseWork(at_once=10, steps=60, increment=1e-4),
        )
    said = str(caught.value)
    assert "for 20 columns and 60 steps, is asked from most_nodes=3429 on" in said
    assert "What may help: " in said
    assert "smaller increments than 0.1 mm" in said
