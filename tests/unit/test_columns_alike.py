"""Lines of columns that are alike are worked out once, with the same numbers."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne.structure import ladder, response

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines" / "study.toml"
LOADS = "columns.permanent_kn"


@pytest.fixture
def sizes(monkeypatch) -> list[int]:
    """Number of lines that each pass from the roof down takes with mounts."""
    found: list[int] = []
    down = ladder.down

    def counted(plan, rods, slabs, mount):
        if mount is not None:
            found.append(np.broadcast_shapes(*(a.shape for a in mount))[0])
        return down(plan, rods, slabs, mount)

    monkeypatch.setattr(ladder, "down", counted)
    return found


def evaluated(factors: list[float]) -> xr.Dataset:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        columns = gb.read_study(SMALL).building.columns["column"].values.tolist()
        loads = xr.DataArray(np.array(factors) * 198.0, coords={"column": columns}, dims="column")
        return gb.read_study(SMALL, changes={LOADS: loads}).evaluate(band_levels=False)


def test_columns_with_the_same_numbers_are_one(sizes, monkeypatch) -> None:
    loads = [1.0, 1.2, 1.0, 1.2]
    once = evaluated(loads)
    assert set(sizes) == {2}
    sizes.clear()
    monkeypatch.setattr(response, "_alike", lambda _: (None, None))
    each = evaluated(loads)
    assert set(sizes) == {4}
    xr.testing.assert_identical(once, each)


def test_columns_that_differ_are_kept_apart(sizes) -> None:
    found = evaluated([1.0, 1.2, 1.1, 0.9])
    assert set(sizes) == {4}
    alone = evaluated([1.0, 1.2, 1.0, 1.2])
    assert found["column"].values.tolist() == alone["column"].values.tolist()
    assert bool((found["margin"] != alone["margin"]).any())
