"""Distances from a track, by hand."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st

from groundborne.propagation import GroundDistance, Track

PLACES = xr.Dataset(
    {"x": ("column", [0.0, 8.0, 30.0]), "y": ("column", [0.0, 15.0, 0.0])},
    coords={"column": ["A1", "B3", "C1"]},
)


def test_distance_is_to_the_nearest_point_of_the_line() -> None:
    """Beside a leg the normal, beyond the end the hypotenuse: 3-4-5 triangles."""
    straight = Track(points=[(-100.0, -9.0), (100.0, -9.0)])
    np.testing.assert_allclose(straight.distance(PLACES), [9.0, 24.0, 9.0])
    short = Track(points=[(-50.0, -4.0), (-3.0, -4.0)])
    assert short.distance(PLACES)[0] == pytest.approx(5.0)
    bent = Track(points=[(-50.0, -9.0), (0.0, -9.0), (0.0, -60.0), (30.0, -60.0), (30.0, -12.0)])
    np.testing.assert_allclose(bent.distance(PLACES)[[0, 2]], [9.0, 12.0])


def test_a_deep_track_is_as_far_as_the_slope() -> None:
    deep = Track(points=[(-100.0, -9.0), (100.0, -9.0)], depth=12.0)
    assert deep.distance(PLACES)[0] == pytest.approx(15.0)


@given(x=st.floats(-40, 40), y=st.floats(-40, 40), turn=st.floats(0, 6.28))
def test_turning_the_plan_turns_nothing(x, y, turn) -> None:
    cos, sin = np.cos(turn), np.sin(turn)

    def turned(px, py):
        return (cos * px - sin * py, sin * px + cos * py)

    def at(px, py):
        return xr.Dataset({"x": px, "y": py})

    points = [(-30.0, 50.0), (0.0, 60.0), (45.0, 55.0)]
    here = Track(points=points).distance(at(x, y))
    there = Track(points=[turned(*p) for p in points]).distance(at(*turned(x, y)))
    assert float(here) == pytest.approx(float(there), abs=1e-9)


def test_columns_differ_in_level_with_their_distance() -> None:
    """20 lg (R1/R)^n of DIN 4150-1, formula (1), without damping."""
    track = Track(points=[(-100.0, -9.0), (100.0, -9.0)])
    ground = GroundDistance(
        distance=track.distance(PLACES), reference_distance=9.0, exponent=0.5,
        damping_ratio=0.0, wave_speed=200.0,
    )  # fmt: skip
    found = ground.level_change(xr.DataArray([63.0], coords={"frequency": [63.0]}))
    wanted = [0.0, 10 * np.log10(9.0 / 24.0), 0.0]
    np.testing.assert_allclose(found.isel(frequency=0).values, wanted, atol=1e-12)


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([(0.0, 0.0)], "two or more"),
        ([(0.0, 0.0), (0.0, 0.0)], "twice in a row"),
        ([(0.0, 0.0), (1.0, 2.0, 3.0)], "a tuple of a number and a number"),
        ([(0.0, 0.0), (1.0, float("nan"))], "finite"),
        ([(0.0, 0.0), (5.0, 0.0)], "lies on the track"),
    ],
)
def test_a_line_needs_two_places(points, said) -> None:
    with pytest.raises(ValueError, match=said):
        Track(points=points).distance(PLACES)


def test_places_are_needed() -> None:
    with pytest.raises(ValueError, match="variable of places"):
        Track(points=[(0.0, -9.0), (5.0, -9.0)]).distance(PLACES.drop_vars("y"))
