"""Locked packs by construction stage, and creep.

Sources: a pack locked at 90 % of its load moves the last 10 % on release (common practice);
equilibrium of column, springs and lock (derived); creep law of Lindley (from memory), fifty years
being 7.4 decades of a minute (derived). Closed forms to 1e-9; 7.4 to its last digit.
"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from groundborne.isolation import LinearMount
from groundborne.sizing.movement.column_plan import ColumnPlan
from groundborne.sizing.release.stages import LockedPack, creep, stage_movement

STAGES = ["L8", "L16", "top", "facade", "in use"]
FINAL = xr.DataArray([3e6, 4e6, 2e6, 5e6], coords={"column": ["A1", "B1", "A2", "B2"]})
GROWTH = xr.DataArray([0.3, 0.6, 0.85, 0.95, 1.0], coords={"stage": STAGES})
LOAD = GROWTH * FINAL
SPRINGS = LinearMount(stiffness=FINAL / 30e-3)
PLAN = ColumnPlan(
    x=FINAL.copy(data=[0.0, 6.0, 0.0, 6.0]),
    y=FINAL.copy(data=[0.0, 0.0, 6.0, 6.0]),
    neighbour_distance=6.1,
)


def locked(share=0.9, lock="both ways", mount=SPRINGS, load=FINAL):
    return LockedPack.at_share(mount=mount, load=load, share=share, lock=lock)


@pytest.mark.parametrize("share", [0.5, 0.8, 0.9, 1.0])
def test_pack_moves_what_was_not_locked_in(share):
    """Common practice: locked at 90 % of its load, a pack moves the last 10 % on release."""
    moved = stage_movement(locked(share), LOAD, released_after="in use")
    np.testing.assert_allclose(moved.deflection, 30e-3, rtol=1e-9)
    np.testing.assert_allclose(moved.moves_on_release, (1 - share) * 30e-3, atol=1e-15)
    np.testing.assert_allclose(moved.movement.sel(stage="in use"), (1 - share) * 30e-3, atol=1e-15)
    assert (moved.movement.sel(stage=STAGES[:-1]) == 0).all()
    assert (moved.begins_to_move == "in use").all()


def test_both_ways_lock_carries_what_the_springs_do_not():
    moved = stage_movement(locked(0.8), LOAD)
    assert (moved.begins_to_move == "never").all()
    assert (moved.movement == 0).all()
    assert (moved.moves_on_release == 0).all()
    np.testing.assert_allclose(moved.spring_load / FINAL, 0.8)
    np.testing.assert_allclose(moved.lock_load, (0.8 - GROWTH) * FINAL, rtol=1e-9)
    np.testing.assert_allclose(moved.remaining, (GROWTH - 0.8) * 30e-3 + 0 * LOAD, atol=1e-12)


def test_one_way_lock_gives_way_by_itself():
    moved = stage_movement(locked(0.8, "one way"), LOAD)
    assert (moved.begins_to_move == "top").all()
    expected = [0.0, 0.0, 0.05 * 30e-3, 0.15 * 30e-3, 0.2 * 30e-3]
    np.testing.assert_allclose(moved.movement.sel(column="A1"), expected, atol=1e-12)
    np.testing.assert_allclose(moved.stage_movement.sum("stage"), 0.2 * 30e-3, rtol=1e-9)
    assert (moved.lock_load >= 0).all()
    np.testing.assert_allclose(moved.lock_load.sel(stage="L8"), 0.5 * FINAL, rtol=1e-9)


def test_early_release_lifts_the_column_and_later_loads_lower_it():
    for lock in ("one way", "both ways"):
        moved = stage_movement(locked(0.9, lock), LOAD, released_after="L16")
        np.testing.assert_allclose(moved.moves_on_release, -0.3 * 30e-3, rtol=1e-9)
        np.testing.assert_allclose(moved.movement.sel(stage="L16"), -0.3 * 30e-3, rtol=1e-9)
        np.testing.assert_allclose(moved.stage_movement.sel(stage="top"), 0.25 * 30e-3, rtol=1e-9)
        np.testing.assert_allclose(moved.movement.sel(stage="in use"), 0.1 * 30e-3, rtol=1e-9)
        assert (moved.lock_load.sel(stage=["L16", "top", "in use"]) == 0).all()


def test_where_it_ends_does_not_depend_on_lock_or_release():
    ends = [
        stage_movement(locked(0.85, lock), LOAD, released_after=stage).movement[-1]
        for lock in ("one way", "both ways")
        for stage in STAGES
    ]
    for end in ends:
        np.testing.assert_allclose(end, 0.15 * 30e-3, rtol=1e-9)


def test_springs_and_lock_carry_the_column():
    for lock in ("one way", "both ways"):
        moved = stage_movement(locked(0.7, lock), LOAD, released_after="facade")
        np.testing.assert_allclose(moved.spring_load - moved.lock_load, LOAD, rtol=1e-12)


def test_columns_released_at_different_stages():
    when = xr.DataArray(
        ["in use", "top", "facade", "facade"], coords={"column": ["B2", "A2", "B1", "A1"]}
    )
    moved = stage_movement(locked(0.8), LOAD, released_after=when)
    assert moved.begins_to_move.to_series().to_dict() == {
        "A1": "facade",
        "B1": "facade",
        "A2": "top",
        "B2": "in use",
    }
    expected = [0.15, 0.15, 0.05, 0.2]
    np.testing.assert_allclose(moved.moves_on_release, np.array(expected) * 30e-3, rtol=1e-9)


def test_neighbours_and_tilt_by_stage():
    share = FINAL.copy(data=[0.9, 0.7, 0.9, 0.7])
    moved = stage_movement(locked(share, "one way"), LOAD, plan=PLAN)
    last = moved.sel(stage="in use")
    assert float(last.differential.sel(pair="A1-B1")) == pytest.approx(0.2 * 30e-3, rel=1e-9)
    assert float(last.differential.sel(pair="A1-A2")) == pytest.approx(0.0, abs=1e-15)
    assert float(last.tilt) == pytest.approx(0.2 * 30e-3 / 6.0, rel=1e-9)
    assert float(moved.tilt.sel(stage="L16")) == 0.0


def test_creep_to_fifty_years_with_a_range():
    decades = float(creep(1.0, years=50, per_decade=0.01)) / 0.01
    assert decades == pytest.approx(7.4, abs=0.05)
    sample_rate = xr.DataArray([0.02, 0.05], coords={"option": ["low", "high"]})
    moved = stage_movement(
        locked(), LOAD, plan=PLAN, released_after="in use", creep_per_decade=sample_rate
    )
    lg = np.log10(50 * 365.25 * 24 * 60)
    np.testing.assert_allclose(moved.creep.sel(option="high"), 30e-3 * 0.05 * lg, rtol=1e-9)
    final = moved.movement_long_term - moved.creep
    np.testing.assert_allclose(final, 0.1 * 30e-3, rtol=1e-9)
    assert set(moved.differential_long_term.dims) == {"option", "pair"}
    assert set(moved.tilt_long_term.dims) == {"option"}
    aged = creep(1e-2, years=50, per_decade=0.0, ageing_per_year=2e-3)
    assert float(aged) == pytest.approx(1e-3, rel=1e-9)


def test_order_of_columns_does_not_matter():
    mixed = LinearMount(stiffness=SPRINGS.stiffness[::-1])
    precompression = (0.9 * FINAL)[[2, 0, 3, 1]]
    pack = LockedPack(mount=mixed, precompression=precompression, lock="one way")
    first = stage_movement(locked(0.9, "one way"), LOAD, plan=PLAN)
    second = stage_movement(pack, LOAD, plan=PLAN)
    xr.testing.assert_allclose(first, second.sel(column=first.column), rtol=1e-12)


def test_stiffening_pad_moves_by_its_own_curve():
    class Pad:
        def static_deflection(self, load):
            return 20e-3 * (1 - np.exp(-load / 3e6))

    pack = locked(0.8, mount=Pad())
    moved = stage_movement(pack, LOAD, released_after="in use")
    expected = 20e-3 * (np.exp(-0.8 * FINAL / 3e6) - np.exp(-FINAL / 3e6))
    np.testing.assert_allclose(moved.moves_on_release, expected, rtol=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: locked(1.3), "share is 1.3; it must lie between 0 and 1.2"),
        (lambda: locked(lock="oneway"), "lock is 'oneway'.*Did you mean 'one way'"),
        (
            lambda: LockedPack(mount=3.0, precompression=1.0, lock="one way"),
            "mount is 3.0; a CarriesLoad",
        ),
        (lambda: stage_movement(locked(), FINAL), "must have a dim 'stage' with names"),
        (
            lambda: stage_movement(locked(), LOAD.assign_coords(stage=["a", "b", "b", "c", "d"])),
            "load holds stage 'b' twice",
        ),
        (
            lambda: stage_movement(locked(), LOAD, released_after="facades"),
            "released_after is 'facades'.*Did you mean 'facade'",
        ),
        (lambda: stage_movement(locked(), LOAD[:, :3]), "precompression holds unknown B2"),
        (
            lambda: stage_movement(
                LockedPack(
                    mount=LinearMount(stiffness=SPRINGS.stiffness[:3]),
                    precompression=1e6,
                    lock="one way",
                ),
                LOAD,
            ),
            "self.stiffness has .*; load has .*; in one of them only: 'B2'",
        ),
        (lambda: stage_movement(locked(), -LOAD), "load is -900000 at stage=L8"),
        (lambda: creep(1e-3, years=0.0, per_decade=0.03), "years is 0"),
        (lambda: creep(1e-3, years=50, per_decade=3.0), "per_decade is 3"),
        (lambda: creep(-1e-3, years=50, per_decade=0.03), "deflection is -0.001"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_cautions_travel_with_the_result():
    moved = stage_movement(locked(), LOAD)
    assert "licensed engineer" in moved.attrs["caution"]
    assert "frame follows" in moved.attrs["assumption"]
