"""Corrections against trying everything, and blunders put into smooth floors.

Sources: derived. The program is held against exhaustion on floors of four jacks, exactly in parts
of turns; 1e-6 m stands for the rounding of millimetres by the solver.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from groundborne.sizing.correction import correction_schedule
from groundborne.sizing.jack_grid import JackGrid
from groundborne.sizing.lift_rules import LiftRules
from groundborne.sizing.survey import Survey, SurveyError
from groundborne.sizing.survey_blunders import judge_survey

PART = 2e-3
RULES = LiftRules(kind="rubber", turn_fraction=0.5)
NAMES = {"jack": ["A", "B", "C", "D"]}
GRID = JackGrid(
    x=xr.DataArray([0.0, 2.0, 0.0, 2.0], dims="jack", coords=NAMES),
    y=xr.DataArray([0.0, 0.0, 2.0, 2.0], dims="jack", coords=NAMES),
)
PLACES = np.array([[0, 0], [2, 0], [0, 2], [2, 2], [1, 1], [0.5, 1.5]], float)


def judged_of(deviation):
    """A survey judged by hand, so that no point is a blunder."""
    dims = {"point": [f"P{k}" for k in range(len(deviation))]}
    return xr.Dataset(
        {
            "x": ("point", PLACES[:, 0]),
            "y": ("point", PLACES[:, 1]),
            "deviation": ("point", np.asarray(deviation)),
            "blunder": ("point", np.zeros(len(deviation), bool)),
        },
        coords=dims,
        attrs={"aim": 3e-3, "limit": 6e-3, "blunders": ()},
    )


# Offsets of 0.37 keep sums away from the limits themselves, where rounding would decide.
readings = st.lists(st.integers(-14, 9), min_size=6, max_size=6).map(
    lambda values: (np.array(values) + 0.37) * 1e-3
)


@settings(max_examples=40, deadline=None)
@given(deviation=readings, lowering=st.booleans(), most=st.sampled_from([1, 2, 8]))
def test_no_schedule_is_better(deviation, lowering, most) -> None:
    plan = correction_schedule(
        judged=judged_of(deviation), grid=GRID, pitch=2 * PART, rules=RULES, lowering=lowering,
        most_turns=most / 2,
    )  # fmt: skip
    weights = GRID.influence(x=PLACES[:, 0], y=PLACES[:, 1]).values
    # All four jacks stand at surveyed points: the floor at them is what was read.
    tries = np.array(list(product(range(-most if lowering else 0, most + 1), repeat=4)))
    at_jack = deviation[:4]
    after = at_jack + tries * PART
    fine = np.where(
        tries > 0, after <= 6e-3 + 1e-9, np.where(tries < 0, after >= -6e-3 - 1e-9, True)
    )
    tries = tries[fine.all(axis=1)]
    end = deviation + tries @ weights.T * PART
    worst_up = np.maximum(deviation, 6e-3) + 1e-9
    worst_down = np.minimum(deviation, -6e-3) - 1e-9
    allowed = ((end <= worst_up) & (end >= worst_down)).all(axis=1)
    tries, end = tries[allowed], end[allowed]
    excess = np.maximum(np.abs(end) - 6e-3, 0).sum(axis=1)
    beyond = (np.abs(end) > 3e-3 + 1e-8).sum(axis=1)
    turns = np.abs(tries).sum(axis=1)
    best = excess <= excess.min() + 1e-9
    best &= beyond == beyond[best].min()
    predicted = plan["predicted"].values
    assert np.maximum(np.abs(predicted) - 6e-3, 0).sum() == pytest.approx(excess.min(), abs=1e-6)
    assert int((plan["reached"] != "aim").sum()) == int(beyond[best].min())
    assert float(np.abs(plan["turns"]).sum()) * 2 == int(turns[best].min())
    assert plan.attrs["proof"].startswith("optimal")
    assert len(plan.attrs["unmet"]) == int((np.abs(predicted) > 6e-3 + 1e-8).sum())


def floor(nx, ny, tilt, dip, seed):
    x, y = (a.ravel() for a in np.meshgrid(np.arange(nx) * 2.0, np.arange(ny) * 2.0))
    rng = np.random.default_rng(seed)
    z = tilt * x - 0.5 * tilt * y + rng.normal(0, 0.7e-3, x.size)
    z -= dip * np.exp(-((x - x.mean()) ** 2 + (y - y.mean()) ** 2) / (2 * 2.5**2))
    return x, y, z


def judge(x, y, z):
    data = xr.Dataset(
        {"x": ("point", x), "y": ("point", y), "height": ("point", z)},
        coords={"point": np.arange(x.size)},
    )
    return judge_survey(survey=Survey(data=data, quantity="level"), target=0.0)


@settings(max_examples=60, deadline=None)
@given(
    nx=st.integers(4, 9),
    ny=st.integers(3, 7),
    tilt=st.sampled_from([-2e-3, 0.0, 1e-3]),
    dip=st.sampled_from([0.0, 8e-3, 14e-3]),
    seed=st.integers(0, 10_000),
    size=st.sampled_from([-0.1, -0.03, 0.03, 0.05, 1.0]),
    where=st.floats(0, 0.999),
)
def test_blunder_is_found_alone(nx, ny, tilt, dip, seed, size, where) -> None:
    x, y, z = floor(nx, ny, tilt, dip, seed)
    assert not bool(judge(x, y, z)["blunder"].any())
    at = int(where * x.size)
    z[at] += size
    found = judge(x, y, z)
    assert np.flatnonzero(found["blunder"].values).tolist() == [at]
    assert np.sign(float(found["residual"][at])) == np.sign(size)


@pytest.mark.parametrize("at", [0, 3, 20, 47])
def test_a_point_does_not_bend_its_own_plane(at) -> None:
    x, y, z = floor(8, 6, 1e-3, 8e-3, 7)
    before = float(judge(x, y, z)["residual"][at])
    z[at] += 2e-3
    assert float(judge(x, y, z)["residual"][at]) - before == pytest.approx(2e-3, abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000), first=st.integers(0, 47), step=st.sampled_from([1, 8, 9]))
def test_two_blunders_side_by_side_are_both_found(seed, first, step) -> None:
    x, y, z = floor(8, 6, 1e-3, 10e-3, seed)
    second = (first + step) % 48
    z[[first, second]] += 0.04, 0.06
    found = np.flatnonzero(judge(x, y, z)["blunder"].values).tolist()
    assert found == sorted([first, second])


@pytest.mark.parametrize("seed", range(5))
def test_a_survey_of_noise_is_refused(seed) -> None:
    x, y, z = floor(6, 5, 0.0, 0.0, seed)
    z += np.random.default_rng(seed).normal(0, 0.1, x.size)
    with pytest.raises(SurveyError, match="repeat the survey"):
        judge(x, y, z)


@pytest.mark.parametrize("seed", range(5))
def test_many_blunders_are_refused(seed) -> None:
    x, y, z = floor(8, 6, 0.0, 0.0, seed)
    chosen = np.random.default_rng(seed).choice(x.size, 15, replace=False)
    z[chosen] += 0.1 + 0.02 * np.arange(15)
    with pytest.raises(SurveyError, match="repeat"):
        judge(x, y, z)
