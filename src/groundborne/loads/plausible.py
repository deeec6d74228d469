"""Whether loads that were read can be true: their size, their shares, their neighbours, doubles."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import TableError
from groundborne.cells import Cells
from groundborne.csv_columns import LOAD_UNITS
from groundborne.loads.at_plane import load_names
from groundborne.loads.column_loads import (
    APART,
    APART_SAID,
    SAME_PLACE,
    ColumnLoads,
    nearest,
)
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived

_NEIGHBOURS = 6


def load_column(cells: Cells, name: str) -> str:
    """The column of a table of loads that holds a load, or the first of its parts."""
    bases = (name, {"permanent": "structure", "wind_x": "wind", "wind_y": "wind"}.get(name, name))
    names = (f"{base}_{unit}" for base in bases for unit in LOAD_UNITS)
    return next((n for n in names if n in cells.values), name)


def check_size(cells: Cells, loads: ColumnLoads, plausible: tuple[float, float]) -> None:
    """Refuse permanent loads that would be plausible in the other unit."""
    low, high = plausible
    column = load_column(cells, "permanent")
    unit, other = ("N", "kN") if column.endswith("_n") else ("kN", "N")
    size = LOAD_UNITS[unit.lower()]
    permanent = loads.data["permanent"].values
    for at in np.flatnonzero((permanent < low) | (permanent >= high))[:1].tolist():
        raise TableError(
            f"{cells.where(at, column)}: {permanent[at] / size:g} {unit} is no plausible permanent "
            f"load of a column; it must be from {low / size:g} to below {high / size:g} {unit} (is "
            f"the table in {other}?)"
        )


def check_shares(cells: Cells, loads: ColumnLoads, plausible: tuple[float, float]) -> None:
    """Refuse other loads that do not go with the permanent ones."""
    low, high = plausible
    permanent = loads.data["permanent"].values
    for name in load_names(loads.data):
        load = loads.data[name].values
        there = load != 0
        if name in ("permanent", "structure", "superimposed") or not there.any():
            continue
        share = np.abs(load[there]).sum() / permanent[there].sum()
        if not low <= share < high:
            column = load_column(cells, name)
            unit = "N" if column.endswith("_n") else "kN"
            raise TableError(
                f"{cells.where(int(np.argmax(there)))} and below, column {column!r}: the loads are "
                f"{share:.3g} of the permanent ones; from {low:g} to below {high:g} is plausible "
                f"(are they really in {unit}?)"
            )


def check_total(cells: Cells, loads: ColumnLoads) -> None:
    """Refuse a row of totals among the columns."""
    permanent = loads.data["permanent"].values
    rest = permanent.sum() - permanent
    total = (np.abs(permanent - rest) < 1e-3 * rest) & (permanent.size > 2)
    if total.any():
        at = int(np.argmax(total))
        raise TableError(
            f"{cells.where(at)}: {cells.labels[at]!r} carries as much as all others together; a "
            "row of totals is not a column"
        )


def judge_neighbours(cells: Cells, data: xr.Dataset) -> None:
    """Hold distances of columns, and their loads beside each other, against what is usual."""
    place = _places(data)
    judge(APART, nearest(place), error=TableError,
          subject=lambda _: f"{cells.file}, 'x_m' and 'y_m': {APART_SAID}")  # fmt: skip
    for name in ("permanent", "imposed"):
        if name in data and data[name].dims == ("column",):
            _judge_beside(cells, name, data[name].values, place)


def _places(data: xr.Dataset) -> np.ndarray[Any, Any]:
    return np.stack([data[axis].values for axis in "xy"], axis=1)


def _judge_beside(
    cells: Cells, name: str, load: np.ndarray[Any, Any], place: np.ndarray[Any, Any]
) -> None:
    """Hold each load against those of the nearest columns: a slip of ten stands off them."""
    some = np.flatnonzero(load > 0)
    if some.size <= 3:
        return
    apart = np.hypot(*(place[some][:, None] - place[some]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    near = np.argsort(apart, axis=1, kind="stable")[:, : min(_NEIGHBOURS, some.size - 1)]
    judge(
        derived("load of a column over its neighbours"),
        load[some] / np.median(load[some][near], axis=1),
        subject=lambda at: (
            f"{cells.where(some[at], load_column(cells, name))}: the load of "
            f"{cells.labels[some[at]]!r} over the median of its nearest columns"
        ),
        error=TableError,
    )


def doubles(cells: Cells, data: xr.Dataset) -> list[str]:
    """Sentences on names and positions that stand twice."""
    place = _places(data)
    found: list[str] = []
    try:
        cells.table.unique("column")
    except TableError as error:
        found.extend(error.errors)
    apart = np.hypot(*(place[:, None, :] - place[None, :, :]).transpose(2, 0, 1))
    late, early = np.nonzero(np.tril(apart < SAME_PLACE, k=-1))
    names = cells.labels
    found += [
        f"{cells.where(i)}, columns 'x_m' and 'y_m': {names[i]!r} stands where {names[j]!r} of row "
        f"{cells.table.rows[j]} does ({place[j, 0]:g}, {place[j, 1]:g} m)"
        for i, j in zip(late.tolist(), early.tolist(), strict=True)
    ]
    return found
