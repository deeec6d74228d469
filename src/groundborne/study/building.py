"""Floors, rooms and columns of a building, read from tables onto labelled arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import StudyError, TableError, known
from groundborne.bands import label, octave
from groundborne.tables import Table, read_table

_FLOOR_COLUMNS = ("floor", "storeys", "height_m")
_FLOOR_OPTIONAL = ("natural_frequency_hz", "slab_thickness_m", "use")
_ROOM_COLUMNS = (
    "room",
    "name",
    "floor",
    "ceiling_floor",
    "length_m",
    "width_m",
    "height_m",
    "criteria",
)
_ROOM_LIMITS = ("floor_depth_limit_m", "walls_depth_limit_m", "ceiling_depth_limit_m")
_ROOM_OPTIONAL = ("volume_m3", "rt_s", "group", *_ROOM_LIMITS)
_COLUMN_COLUMNS = ("column", "x_m", "y_m", "permanent_kn", "imposed_kn")
_COLUMN_LOADS = ("structure_kn", "superimposed_kn", "wind_kn", "wind_x_kn", "wind_y_kn")
_COLUMN_OPTIONAL = (*_COLUMN_LOADS, "panel_share")
_RT_BANDS = (4.0, 8.0, 16.0, 31.5, 63.0, 125.0, 250.0, 500.0)


@checked
@dataclass(frozen=True, eq=False)
class Building:
    """Floors and rooms on labelled arrays.

    Parameters
    ----------
    floors : Dataset
        On ``floor``: ``storeys`` above the foundation, ``height`` [m], and where given
        ``natural_frequency`` [Hz] and ``slab_thickness`` [m].
    rooms : Dataset
        On ``room``: ``room_name``, ``floor_of_room``, ``ceiling_floor``, ``length``, ``width``,
        ``height`` [m], ``reverberation_time`` [s] (with ``frequency``), ``criteria``, ``group``,
        and where given ``volume`` [m³] and ``floor_limit``, ``walls_limit``, ``ceiling_limit``:
        the largest depth of a construction, infinite where there is no limit [m].
    columns : Dataset or None
        On ``column``: position ``x``, ``y`` [m], ``permanent`` and ``imposed`` load [N], and
        where given ``structure``, ``superimposed`` (parts of the permanent load) and ``wind``,
        ``wind_x``, ``wind_y`` [N]. The attribute ``revision`` is that of the loads, empty where
        the file has no line ``# revision: ...``.
    """

    floors: xr.Dataset
    rooms: xr.Dataset
    columns: xr.Dataset | None

    def on_floor(self, name: str, of: str = "floor_of_room") -> xr.DataArray:
        """A quantity of the floors, looked up for every room."""
        known("Building.on_floor", "of", of, ("floor_of_room", "ceiling_floor"), StudyError)
        if name not in self.floors:
            raise StudyError(f"floors: the column for {name!r} is needed by this study and missing")
        picked = self.floors[name].sel(floor=self.rooms[of]).drop_vars("floor")
        return picked.reset_coords(drop=True)

    def above(self, floor: str) -> xr.DataArray:
        """Whether each room stands on or above a floor, by the order of the floor table."""
        order = {f: i for i, f in enumerate(self.floors["floor"].values.tolist())}
        known("Building.above", "floor", floor, order, StudyError)
        index = xr.DataArray(np.arange(len(order)), coords={"floor": self.floors["floor"].values})
        position = index.sel(floor=self.rooms["floor_of_room"]).drop_vars("floor")
        above: xr.DataArray = (position >= order[floor]).reset_coords(drop=True)
        return above


def read_floors(path: FilePath) -> xr.Dataset:
    """Read floors, lowest first.

    Raises
    ------
    TableError
        A column, cell or order is not as it should be.
    """
    table = read_table(path, place="floors")
    table.require(_FLOOR_COLUMNS, _FLOOR_OPTIONAL)
    names = table.unique("floor").astype(str)
    height = table.numbers(["height_m"])[:, 0]
    if (np.diff(height) <= 0).any():
        at = int(np.argmax(np.diff(height) <= 0)) + 1
        raise TableError(
            f"{table.file}, row {table.rows[at]}, column 'height_m': floors must ascend; this one "
            "is not above the one before"
        )
    data = {
        "storeys": ("floor", table.numbers(["storeys"], low=0.0, unit="storeys")[:, 0]),
        "height": ("floor", height, {"units": "m", "long_name": "height above the foundation"}),
    }
    for column, unit in (("natural_frequency_hz", "Hz"), ("slab_thickness_m", "m")):
        if table.has(column):
            data[column.rsplit("_", 1)[0]] = (
                "floor", table.numbers([column], above=0.0, unit=unit)[:, 0], {"units": unit},
            )  # fmt: skip
    return xr.Dataset(data, coords={"floor": names})


def read_rooms(
    path: FilePath, floors: Sequence[str], frequency: Frequency, *, criteria: Sequence[str]
) -> xr.Dataset:
    """Read rooms, with their reverberation time on the bands of the study.

    Raises
    ------
    TableError
        A column or cell is not as it should be, or names an unknown floor or criteria set.
    """
    table = read_table(path, place="rooms")
    rt_columns = [f"rt_{label(f)}hz_s" for f in _RT_BANDS]
    table.require(_ROOM_COLUMNS, (*_ROOM_OPTIONAL, *rt_columns))
    names = table.unique("room").astype(str)
    _require_names(table, "floor", floors, "floor")
    _require_names(table, "ceiling_floor", floors, "floor")
    _require_names(table, "criteria", criteria, "set of criteria")
    order = {f: i for i, f in enumerate(floors)}
    under, over = (table.text(c).astype(str).tolist() for c in ("floor", "ceiling_floor"))
    for row, low, high in zip(table.rows.tolist(), under, over, strict=True):
        if order[high] <= order[low]:
            raise TableError(
                f"{table.file}, row {row}, column 'ceiling_floor': {high!r} does not lie above the "
                f"floor {low!r} of the room"
            )
    size = table.numbers(["length_m", "width_m", "height_m"], above=0.0, unit="m")
    data = {
        "room_name": ("room", table.text("name").astype(str)),
        "floor_of_room": ("room", table.text("floor").astype(str)),
        "ceiling_floor": ("room", table.text("ceiling_floor").astype(str)),
        "length": ("room", size[:, 0], {"units": "m"}),
        "width": ("room", size[:, 1], {"units": "m"}),
        "height": ("room", size[:, 2], {"units": "m"}),
        "criteria": ("room", table.text("criteria").astype(str)),
        "group": ("room", (table.text("group") if table.has("group") else names).astype(str)),
        "reverberation_time": (
            ("room", "frequency"),
            _reverberation(table, frequency),
            {"units": "s"},
        ),
    }
    if table.has("volume_m3"):
        data["volume"] = (
            "room",
            table.numbers(["volume_m3"], above=0.0, unit="m³")[:, 0],
            {"units": "m³"},
        )
    for column in (c for c in _ROOM_LIMITS if table.has(c)):
        group = column.removesuffix("_depth_limit_m")
        data[f"{group}_limit"] = ("room", _limits(table, column), {"units": "m"})
    return xr.Dataset(data, coords={"room": names, "frequency": frequency["frequency"].values})


def _limits(table: Table, column: str) -> np.ndarray:
    """Depths, infinite where the cell is empty: there is no limit."""
    given = table.text(column, empty=True) != ""
    limits = np.full(given.size, np.inf)
    if given.any():
        limits[given] = table.only(given).numbers([column], above=0.0, unit="m")[:, 0]
    return limits


def _require_names(table: Table, column: str, names: Sequence[str], what: str) -> None:
    """Refuse cells that name something the study does not have."""
    cells = table.text(column).astype(str)
    odd = ~np.isin(cells, list(names))
    if odd.any():
        at = int(np.argmax(odd))
        raise TableError(
            f"{table.file}, row {table.rows[at]}, column {column!r}: there is no {what} "
            f"{str(cells[at])!r}; known are {', '.join(map(repr, names)) or '(none)'}"
        )


def _reverberation(table: Table, frequency: xr.DataArray) -> np.ndarray:
    """One value for all bands, or one for each octave the bands fall in."""
    octaves = octave(frequency.values)
    if table.has("rt_s"):
        mixed = [c for c in table.header if c.startswith("rt_") and c != "rt_s"]
        if mixed:
            raise TableError(f"{table.file}: columns 'rt_s' and {mixed[0]!r} exclude each other")
        one = table.numbers(["rt_s"], above=0.0, unit="s")
        return np.repeat(one, frequency.size, axis=1)
    columns = [f"rt_{label(f)}hz_s" for f in octaves.tolist()]
    missing = [c for c in dict.fromkeys(columns) if not table.has(c)]
    if missing:
        needed = ", ".join(dict.fromkeys(label(f) for f in octaves))
        raise TableError(
            f"{table.file}: column {missing[0]!r} is missing; the bands of the study need the "
            f"reverberation time in the octaves {needed} Hz, or one column 'rt_s' for all"
        )
    return table.numbers(columns, above=0.0, unit="s")


def read_columns(path: FilePath) -> xr.Dataset:
    """Read columns with their loads, in newtons from kilonewtons.

    Raises
    ------
    TableError
        A column or cell is not as it should be.
    """
    table = read_table(path, place="columns")
    table.require(_COLUMN_COLUMNS, _COLUMN_OPTIONAL)
    place = table.positions()
    permanent = table.numbers(["permanent_kn"], above=0.0, unit="kN")[:, 0]
    data = {
        "x": ("column", place[:, 0], {"units": "m"}),
        "y": ("column", place[:, 1], {"units": "m"}),
        "permanent": ("column", permanent * 1e3, {"units": "N"}),
    }
    for name in ("imposed_kn", *(c for c in _COLUMN_LOADS if table.has(c))):
        load = table.numbers([name], low=0.0, unit="kN")[:, 0]
        data[name.removesuffix("_kn")] = ("column", load * 1e3, {"units": "N"})
    if table.has("panel_share"):
        panels = table.numbers(["panel_share"], above=0.0)[:, 0]
        data["panel_share"] = ("column", panels, {"units": "1"})
    if table.has("structure_kn") and table.has("superimposed_kn"):
        parts = data["structure"][1] + data["superimposed"][1]
        off = np.abs(parts - data["permanent"][1]) > 1e-6 * data["permanent"][1]
        if off.any():
            at = int(np.argmax(off))
            raise TableError(
                f"{table.file}, row {table.rows[at]}: structure_kn and superimposed_kn add up to "
                f"{parts[at] / 1e3:g}, and permanent_kn is {permanent[at]:g}; they must agree"
            )
    return xr.Dataset(
        data,
        coords={"column": table.unique("column").astype(str)},
        attrs={"revision": table.revision},
    )
