"""One slab for rooms whose slabs differ, for measures that load it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne.structure import BareSlab, FlatSlab, column_mean
from groundborne.structure.ladder import distinct


def slab_of_rooms(
    slabs: Mapping[str, Any], level: xr.DataArray, rooms: Sequence[str]
) -> BareSlab | None:
    """One interior panel under or over rooms; none where their slabs are no bare ones, or several.

    Parameters
    ----------
    slabs : mapping of str to Slab
        By level or by a name of their own.
    level : DataArray
        Which of them every room has, on ``room``.
    rooms : sequence of str
        That get a measure.
    """
    names, at = np.unique(level.values, return_inverse=True)
    here = [slabs[name] for name in names.tolist()]
    flat = [s for s in here if isinstance(s, FlatSlab) and s.floating_floor is None]
    if len(flat) == len(here):
        return _on_rooms(flat, at, level["room"])
    own = [slabs[str(level.sel(room=room).item())] for room in rooms]
    bare = [s for s in own if isinstance(s, BareSlab) and s.floating_floor is None]
    if bare and len(bare) == len(own) and len(distinct(bare)[0]) == 1:
        found: BareSlab = _evenly_loaded(bare[0])
        return found
    return None


def _on_rooms(slabs: list[FlatSlab], at: np.ndarray[Any, Any], rooms: xr.DataArray) -> FlatSlab:
    """One slab whose parameters vary with the room where they do; `at` says which it has."""
    values: dict[str, Any] = {}
    slabs = [_evenly_loaded(slab) for slab in slabs]
    for part in fields(FlatSlab):
        each = [getattr(slab, part.name) for slab in slabs]
        alike = all(value is each[0] or np.array_equal(value, each[0]) for value in each)
        if part.name == "panel_share":
            values[part.name] = 1.0
        elif part.name == "floating_floor" or alike:
            values[part.name] = each[0]
        else:
            arrays = [xr.DataArray(value) for value in each]
            joined = xr.concat(arrays, dim="room", coords="minimal").isel(room=at)
            values[part.name] = joined.assign_coords(room=rooms.values)
    return FlatSlab(**values)


def _evenly_loaded(slab: Any) -> Any:
    """A slab with the mean over columns of what rests on it: a room has one slab."""
    load, panels = slab.superimposed_mass, slab.panel_share
    if "column" not in getattr(load, "dims", ()):
        return slab
    shares = panels / panels.sum("column") if "column" in getattr(panels, "dims", ()) else None
    mean = load.mean("column") if shares is None else column_mean(load, weights=shares)
    return replace(slab, superimposed_mass=mean)
