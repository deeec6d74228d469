"""Rooms that hear several columns: the energy mean by hand, and what may not be taken for it."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

import groundborne as gb
from groundborne._checks import LabelError, PathError
from groundborne.path import COLUMN, FLOOR_AVERAGE, GROUND, GivenChange, TransmissionPath
from groundborne.structure import columns_around

F = gb.bands.third_octaves(50, 63)
COLUMNS = ["A1", "A2", "B1"]


def change(values, start, end, **coords):
    coords = {**coords, "frequency": F.values}
    return GivenChange(
        xr.DataArray(values, coords=coords, dims=list(coords)), quantity_in=start, quantity_out=end
    )


def shares(rows):
    coords = {"room": [f"R{n}" for n in range(len(rows))], "column": COLUMNS}
    return xr.DataArray(np.array(rows), coords=coords, dims=list(coords))


def three_steps(ground, storeys, floor):
    return TransmissionPath(
        ground=change(ground, GROUND, COLUMN, column=COLUMNS),
        storeys=change(storeys, COLUMN, COLUMN, column=COLUMNS),
        floor=change(floor, COLUMN, FLOOR_AVERAGE),
    )


decibels = st.floats(-60, 20)


@settings(max_examples=50, deadline=None)
@given(data=st.data())
def test_stages_add_up_to_the_energy_mean(data) -> None:
    """``10 lg Σ w 10^(ΣL/10)`` worked out in plain numpy; stages add up to it exactly."""
    ground, storeys = (
        np.array([[data.draw(decibels) for _ in range(2)] for _ in range(3)]) for _ in range(2)
    )
    floor = np.array([data.draw(decibels) for _ in range(2)])
    raw = np.array([[data.draw(st.floats(0.01, 1)) for _ in range(3)] for _ in range(2)])
    weights = raw / raw.sum(axis=1, keepdims=True)
    path = three_steps(ground, storeys, floor).hearing(shares(weights))
    by_hand = 10 * np.log10(
        np.einsum("rc,cf->rf", weights, 10 ** ((ground + storeys + floor) / 10))
    )
    total = path.level_change(F).transpose("room", "frequency")
    np.testing.assert_allclose(total.values, by_hand, atol=1e-9)
    stages = path.level_changes(F)
    assert "column" not in stages.dims
    np.testing.assert_allclose(stages["floor"].values, floor)
    reached = 10 * np.log10(np.einsum("rc,cf->rf", weights, 10 ** (ground / 10)))
    first = stages["ground"].transpose("room", "frequency").values
    np.testing.assert_allclose(first, reached, atol=1e-9)


def test_a_room_on_one_column_hears_that_one() -> None:
    ground = [[0.0, 0.0], [-10.0, -10.0], [-30.0, -30.0]]
    path = three_steps(ground, np.zeros((3, 2)), [0.0, 0.0]).hearing(shares(np.eye(3)))
    found = path.level_change(F).transpose("room", "frequency").values
    np.testing.assert_allclose(found, ground, atol=1e-12)


def test_without_shares_columns_stay_apart() -> None:
    path = three_steps(np.zeros((3, 2)), np.zeros((3, 2)), [0.0, 0.0])
    assert path.level_change(F)["column"].values.tolist() == COLUMNS
    weighted = path.hearing(shares(np.eye(3)))
    for kept in (
        weighted.without("floor"),
        weighted.up_to("storeys"),
        weighted.replace(floor=change([1.0, 1.0], COLUMN, FLOOR_AVERAGE)),
        weighted.insert(after="ground", more=change([1.0, 1.0], COLUMN, COLUMN)),
    ):
        assert "room" in kept.level_change(F).dims


@pytest.mark.parametrize(
    ("weights", "said"),
    [
        (shares([[0.5, 0.5, 0.1]]), "add up to 1.1"),
        (shares([[1.5, -0.5, 0.0]]), "weight of -0.5"),
        (xr.DataArray([1.0], coords={"room": ["R0"]}), "lack the dim 'column'"),
    ],
)
def test_weights_are_shares(weights, said) -> None:
    path = three_steps(np.zeros((3, 2)), np.zeros((3, 2)), [0.0, 0.0])
    with pytest.raises(PathError, match=said):
        path.hearing(weights)


def test_other_columns_are_refused() -> None:
    path = three_steps(np.zeros((3, 2)), np.zeros((3, 2)), [0.0, 0.0])
    other = shares([[0.2, 0.3, 0.5]]).assign_coords(column=["A1", "A2", "C9"])
    with pytest.raises(LabelError, match="C9"):
        path.hearing(other).level_change(F)


def grid(nx, ny, a, b):
    x, y = np.meshgrid(np.arange(nx) * a, np.arange(ny) * b)
    names = [f"{i}{j}" for j in range(ny) for i in range(nx)]
    return xr.Dataset(
        {"x": ("column", x.ravel()), "y": ("column", y.ravel())}, coords={"column": names}
    )


def room(x, y, length=2.0, width=2.0):
    values = {"x": x, "y": y, "length": length, "width": width}
    return xr.Dataset({n: ("room", [v]) for n, v in values.items()}, coords={"room": ["R"]})


def heard(at, columns, a=8.0, b=6.0):
    return columns_around(rooms=at, columns=columns, span_x=a, span_y=b).sel(room="R")


def test_mid_panel_hears_its_four_corners_alike() -> None:
    found = heard(room(4.0, 3.0), grid(3, 3, 8.0, 6.0))
    corners = found.sel(column=["00", "10", "01", "11"]).values
    np.testing.assert_allclose(corners, 0.25, atol=1e-12)
    assert float(found.sum()) == pytest.approx(1.0)


def test_a_whole_grid_is_heard_by_tributary_area() -> None:
    """A room over all panels hears interior, edge and corner columns as 4 to 2 to 1."""
    columns = grid(4, 3, 8.0, 6.0)
    found = heard(room(12.0, 6.0, 24.0, 12.0), columns)
    ratio = found.sel(column="11").item() / found.sel(column="00").item()
    assert ratio == pytest.approx(4.0, rel=0.05)  # points a side are a coarse integral
    fine = found.sel(column="10").item() / found.sel(column="00").item()
    assert fine == pytest.approx(2.0, rel=0.05)


@given(x=st.floats(0, 16), y=st.floats(0, 12))
@settings(max_examples=30, deadline=None)
def test_the_centre_of_what_is_heard_is_the_room(x, y) -> None:
    """A bilinear mean keeps linear functions: the mean place of the columns is that of the room."""
    columns = grid(5, 5, 8.0, 6.0).assign(x=lambda c: c["x"] - 8.0, y=lambda c: c["y"] - 6.0)
    found = heard(room(x, y), columns)
    assert float((found * columns["x"]).sum()) == pytest.approx(x, abs=1e-9)
    assert float((found * columns["y"]).sum()) == pytest.approx(y, abs=1e-9)


def test_a_room_beyond_the_last_column_hears_the_edge() -> None:
    found = heard(room(-3.0, 3.0), grid(3, 3, 8.0, 6.0))
    assert found.where(found > 0, drop=True)["column"].values.tolist() == ["00", "01"]


def test_a_room_on_no_column_is_named() -> None:
    with pytest.raises(ValueError, match=r"room 'R' at \(60, 3\) m stands on no column.*'20'"):
        heard(room(60.0, 3.0), grid(3, 3, 8.0, 6.0))


def test_tables_without_places_are_refused() -> None:
    with pytest.raises(ValueError, match="variable of rooms"):
        columns_around(
            rooms=room(0.0, 0.0).drop_vars("x"), columns=grid(2, 2, 8, 6), span_x=8.0, span_y=6.0
        )
