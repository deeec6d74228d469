"""Class limits of filters: symmetry, the jump at the edge, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st

from groundborne.waveform import CLASS_LIMITS, breakpoint_ratios, class_limits

EDITIONS = st.sampled_from(sorted(CLASS_LIMITS))


@given(ratio=st.floats(0.01, 100.0), which=EDITIONS, fraction=st.sampled_from([1, 3, 6]))
def test_limits_are_alike_above_and_below(ratio, which, fraction) -> None:
    given = {"edition": which[0], "performance_class": which[1], "fraction": fraction}
    above, below = (class_limits(r, **given) for r in (ratio, 1 / ratio))
    assert above["least"].item() == pytest.approx(below["least"].item(), abs=1e-6)
    assert above["least"].item() <= above["largest"].item()


@pytest.mark.parametrize("fraction", [1, 3, 12])
def test_the_edge_is_where_the_band_ends(fraction) -> None:
    """Formula 9 maps x = 1/2 to G^(1/(2b)) whatever the other breakpoints are."""
    edge = 10 ** (0.3 / (2 * fraction))
    assert breakpoint_ratios(fraction=fraction)[4] == pytest.approx(edge, abs=1e-12)
    inside = class_limits(edge * (1 - 1e-6), fraction=fraction)
    outside = class_limits(edge, fraction=fraction)
    assert inside["largest"].item() == pytest.approx(5.3, abs=1e-3)
    assert np.isinf(outside["largest"].item())
    assert outside["least"].item() == pytest.approx(1.2)


@given(which=EDITIONS)
def test_limits_widen_away_from_mid_band(which) -> None:
    ratio = xr.DataArray(np.geomspace(1.0, 50.0, 400), dims="line")
    found = class_limits(ratio, edition=which[0], performance_class=which[1])
    assert (found["least"].diff("line") >= 0).all()
    assert (np.diff(np.minimum(found["largest"].values, 1e3)) >= 0).all()


def test_class_two_is_wider_than_class_one() -> None:
    ratio = xr.DataArray(np.geomspace(1.0, 50.0, 400), dims="line")
    one, two = (class_limits(ratio, performance_class=c) for c in (1, 2))
    assert (two["least"] < one["least"]).all()
    assert (two["largest"] >= one["largest"]).all()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"performance_class": 3}, "the edition of 2014 has 1, 2"),
        ({"performance_class": 0}, "the edition of 2014 has 1, 2"),
        ({"edition": "2004"}, "known are '1995', '2014'"),
        ({"fraction": 0}, "whole number"),
        ({"fraction": 3.0}, "whole number"),
    ],
)
def test_what_the_standard_has_not_is_refused(given, said) -> None:
    with pytest.raises(ValueError, match=said):
        class_limits(1.0, **given)


@pytest.mark.parametrize("ratio", [0.0, -1.0, float("nan"), np.array([1.0, 2.0])])
def test_ratios_out_of_bounds_are_refused(ratio) -> None:
    with pytest.raises(ValueError, match="frequency_ratio"):
        class_limits(ratio)
