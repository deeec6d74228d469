"""Rooms in the plan of the columns: which columns they hear, and whether they stand on any."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import StudyError, TableError
from groundborne.cells import Cells
from groundborne.structure import columns_around
from groundborne.study.building import Building
from groundborne.study.given import Given
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived


def hears(
    rooms: xr.Dataset, columns: xr.Dataset | None, given: Given, cells: Cells
) -> xr.DataArray | None:
    """Which columns each room hears, where rooms and columns have places.

    Parameters
    ----------
    rooms, columns : Dataset
        Of the building, or of a part of it.
    given : Given
        The table ``[structure]`` with the spans.
    cells : Cells
        Rows of the room table, for messages.

    Raises
    ------
    StudyError
        One of the two coordinates alone.
    TableError
        With every room that stands on no column.
    """
    placed = [name for name in ("x", "y") if name in rooms]
    if len(placed) == 1:
        raise StudyError(
            f"rooms: '{placed[0]}_m' is given and the other is not; a place needs both"
        )
    if not placed or columns is None:
        return None
    spans = given.arguments("span_x_m", "span_y_m")
    places = rooms[["x", "y", "length", "width"]].reset_coords(drop=True)
    try:
        return columns_around(rooms=places, columns=columns[["x", "y"]], **spans)
    except ValueError:
        errors = []
        for room in places["room"].values.tolist():
            try:
                columns_around(rooms=places.sel(room=[room]), columns=columns[["x", "y"]], **spans)
            except ValueError as error:
                said = str(error).removeprefix("columns_around: ")
                errors.append(f"{cells.where(cells.labels.index(room), 'x_m')}: {said}")
        raise TableError(*errors) from None


def check_places(parts: Mapping[str, Building], cells: Cells) -> None:
    """Hold places of rooms against the plan of the columns of their part.

    Parameters
    ----------
    parts : mapping of str to Building
        Rooms and columns of each part; one without a name where the building is one.
    cells : Cells
        Rows of the room table, for messages.

    Warns
    -----
    UnusualValueWarning
        A room whose centre lies outside the columns of its part, or in the plan of another one.
    """
    for name, part in parts.items():
        rooms, columns = part.rooms, part.columns
        if columns is None or not {"x", "y"} <= set(rooms.data_vars):
            continue
        apart = _outside(rooms, columns)
        of = f" of its part {name!r}" if name else ""
        for other, there in parts.items():
            if other != name and there.columns is not None:
                inside = _outside(rooms, there.columns) == 0
                words = f"{of}, in the plan of part {other!r},"
                _judge("room in another part", rooms, apart.where(inside, 0.0), words, cells)
                apart = apart.where(~inside, 0.0)
        _judge("room outside columns", rooms, apart, of, cells)


def _judge(name: str, rooms: xr.Dataset, apart: xr.DataArray, of: str, cells: Cells) -> None:
    def subject(at: int) -> str:
        label = str(rooms["room"].values[at])
        x, y = (float(np.ravel(rooms[axis].isel(room=at))[0]) for axis in ("x", "y"))
        return (
            f"{cells.where(cells.labels.index(label), 'x_m')}: the distance of the centre of room "
            f"{label!r} at ({x:g}, {y:g}) m from the plan of the columns{of}"
        )

    judge(derived(name), apart, subject=subject, error=StudyError)


def _outside(rooms: xr.Dataset, columns: xr.Dataset) -> xr.DataArray:
    """How far each centre lies outside the rectangle around the columns [m], on ``room``.

    Over a single row of columns a room is as far inside as it reaches over the row.
    """
    squares: Any = 0.0
    for axis, side in (("x", "length"), ("y", "width")):
        low, high = (float(end(columns[axis].values)) for end in (np.min, np.max))
        reach = rooms[side] / 2 if low == high else 0.0
        off = np.maximum(low - rooms[axis], rooms[axis] - high) - reach
        squares = squares + off.clip(min=0.0) ** 2
    found: xr.DataArray = (squares**0.5).reset_coords(drop=True)
    return found.max([d for d in found.dims if d != "room"])
