"""Floors, rooms and columns of a building, read from tables onto labelled arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import StudyError, TableError, known
from groundborne.bands import label, octave
from groundborne.cells import Cells
from groundborne.loads import ColumnLoads
from groundborne.propagation import Track


@checked
@dataclass(frozen=True, eq=False)
class Building:
    """Floors and rooms on labelled arrays, and the loads of its columns.

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
    loads : ColumnLoads or None
        Places and loads of the columns, with what each floor adds where that is known, on the
        floors of the building.
    track : Track, optional
        Its centre line in the plan of rooms and columns.
    """

    floors: xr.Dataset
    rooms: xr.Dataset
    loads: ColumnLoads | None
    _: KW_ONLY
    track: Track | None = None

    @property
    def columns(self) -> xr.Dataset | None:
        """Places of the columns and their loads at the isolation plane, on ``column``."""
        return None if self.loads is None else self.loads.data

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


def floors_of(cells: Cells) -> xr.Dataset:
    """Floors, lowest first.

    Raises
    ------
    TableError
        They do not ascend.
    """
    height = cells["height_m"]
    steps = height.diff("floor").min([d for d in height.dims if d != "floor"]).values
    errors = [
        f"{cells.where(at + 1, 'height_m')}: floors must ascend; this one is not above the one "
        "before"
        for at in np.flatnonzero(steps <= 0).tolist()
    ]
    if errors:
        raise TableError(*errors)
    return cells.dataset()


def rooms_of(cells: Cells, floors: Sequence[str], frequency: Frequency) -> xr.Dataset:
    """Rooms, with their reverberation time on the bands of the study.

    Raises
    ------
    TableError
        A ceiling that does not lie above its floor; bands without a reverberation time.
    """
    order = {f: i for i, f in enumerate(floors)}
    pairs = zip(cells["floor"].values.tolist(), cells["ceiling_floor"].values.tolist(), strict=True)
    errors = [
        f"{cells.where(at, 'ceiling_floor')}: {high!r} does not lie above the floor {low!r} of the "
        "room"
        for at, (low, high) in enumerate(pairs)
        if order[high] <= order[low]
    ]
    if errors:
        raise TableError(*errors)
    group = cells["group"] if cells.has("group") else cells["room"]
    rooms = cells.dataset().assign(
        group=group.reset_coords(drop=True).drop_attrs(),
        reverberation_time=_times(cells, frequency),
    )
    return rooms.assign_coords(frequency=frequency["frequency"].values)


def _times(cells: Cells, frequency: xr.DataArray) -> xr.DataArray:
    """One reverberation time for all bands, or one for each octave they fall in [s]."""
    bands = {"frequency": frequency["frequency"].values}
    names = [f"rt_{label(f)}hz_s" for f in octave(frequency.values).tolist()]
    if cells.has("rt_s"):
        mixed = [c for c in cells.values if c.startswith("rt_") and c != "rt_s"]
        if mixed:
            raise TableError(f"{cells.file}: columns 'rt_s' and {mixed[0]!r} exclude each other")
        names = ["rt_s"] * len(names)
    missing = [n for n in dict.fromkeys(names) if n not in cells.values]
    if missing:
        needed = ", ".join(dict.fromkeys(label(f) for f in octave(frequency.values)))
        raise TableError(
            f"{cells.file}: column {missing[0]!r} is missing; the bands of the study need the "
            f"reverberation time in the octaves {needed} Hz, or one column 'rt_s' for all"
        )
    alike = list(dict.fromkeys(names))
    each = xr.broadcast(*(cells[n] for n in alike))
    times = xr.concat(each, dim="frequency", coords="minimal", compat="override")
    times = times.isel(frequency=[alike.index(n) for n in names]).assign_coords(bands)
    return times.transpose("room", "frequency", ...).assign_attrs(units="s")
