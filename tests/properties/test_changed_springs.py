"""Springs changed by a factor are springs bought so, whether or not others lift off."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import assume, event, given, strategies as st

from groundborne.structure import PlateOnSprings, PlatePart
from groundborne.structure.lifting_springs import TippingError

NAMES = list("ABCDEFGHI")
SPOT = xr.Dataset({"x": ("point", [1.0, 9.5]), "y": ("point", [2.5, 7.0])})


def on(values, names=NAMES) -> xr.DataArray:
    return xr.DataArray(np.asarray(values, float), dims="column", coords={"column": names})


def test_four_in_line_by_hand() -> None:
    """A and B lift off, C and D stay: all of it from moments about C [derived].

    D carries (8e5·4 − 1e5·3 − 1e5·2)/4 = 6.75e5 N on 2.5e7 N/m, C the rest, 4.25e5 N, on 5e7 N/m;
    the plate is straight through both.
    """
    at = {"column": list("ABCD")}

    def four(values) -> xr.DataArray:
        return xr.DataArray(np.asarray(values, float), dims="column", coords=at)

    plate = PlateOnSprings(x=four([1, 2, 4, 8]), y=four([0] * 4), stiffness=1e8)
    got = plate.response(four([1e5, 1e5, 1e5, 8e5]), factor=four([1, 0.5, 0.5, 0.25]))
    assert got["deflection"].values * 1e3 == pytest.approx([-5.375, -0.75, 8.5, 27.0], abs=1e-9)
    assert got["gap"].values * 1e3 == pytest.approx([5.375, 0.75, 0.0, 0.0], abs=1e-9)
    assert got["reaction"].values == pytest.approx([0.0, 0.0, 4.25e5, 6.75e5])


@given(
    force=st.lists(st.floats(0.0, 1e6), min_size=9, max_size=9),
    # whole steps: values that differ in the last digits only test rounding
    factor=st.lists(st.sampled_from([0.0, 0.1, 0.3, 0.5, 1.0, 1.0, 1.0, 2.0]), min_size=9,
                    max_size=9),
    raised=st.lists(st.integers(-10, 10), min_size=9, max_size=9),
    rigidity=st.sampled_from([None, 1e7, 1e9]),
)  # fmt: skip
def test_a_factor_is_a_spring_bought_so(force, factor, raised, rigidity) -> None:
    x, y = np.repeat([0.5, 6.0, 11.0], 3), np.tile([0.5, 4.0, 9.0], 3)
    kept = np.array(factor) > 0
    assume(kept.sum() >= 4)
    stiffness = 1e8 * np.linspace(0.5, 1.5, 9)
    parts = [] if rigidity is None else [PlatePart(x=(0.0, 12.0), y=(0.0, 10.0), rigidity=rigidity)]

    def plate(which: np.ndarray, k: np.ndarray) -> PlateOnSprings:
        names = np.array(NAMES)[which]
        return PlateOnSprings(
            x=on(x[which], names), y=on(y[which], names), stiffness=on(k[which], names),
            parts=parts, element_size=3.0,
        )  # fmt: skip

    every = np.ones(9, bool)
    way, push = np.array(raised) * 1e-3, np.array(force)
    spots = xr.concat([SPOT, xr.Dataset({"x": ("point", x[~kept]), "y": ("point", y[~kept])})],
                      dim="point")  # fmt: skip
    at = {"x": ("load_point", x[~kept]), "y": ("load_point", y[~kept])}
    point_load = xr.DataArray(push[~kept], dims="load_point", coords=at) if (~kept).any() else None
    names = np.array(NAMES)[kept]
    try:
        bought = plate(kept, stiffness * factor).response(
            on(push[kept], names), point_load=point_load, raised=on(way[kept], names), at=spots
        )
    except TippingError:
        with pytest.raises(TippingError):
            plate(every, stiffness).response(on(push), raised=on(way), factor=on(factor), at=spots)
        return
    found = plate(every, stiffness).response(on(push), raised=on(way), factor=on(factor), at=spots)
    event(f"lifted {bool((bought['gap'] > 0).any())}, changed {min(factor) < 1}")
    mine = found.sel(column=list(names))
    scale = max(1.0, float(abs(bought["deflection_at"]).max()), float(abs(bought.deflection).max()))
    for name in ("deflection", "gap"):
        assert mine[name].values == pytest.approx(bought[name].values, abs=1e-7 * scale)
    near = 1e-6 * (1e6 + float(bought["reaction"].max()))
    assert mine["reaction"].values == pytest.approx(bought["reaction"].values, abs=near)
    there = bought["deflection_at"].values
    assert found["deflection_at"].values == pytest.approx(there, abs=1e-7 * scale)
    # lost springs too are read where the plate is
    lost = found["deflection"].values[~kept]
    assert lost == pytest.approx(there[SPOT.sizes["point"] :], abs=1e-7 * scale)
    assert (found["gap"].values[~kept] == 0).all()
