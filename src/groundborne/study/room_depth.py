"""Depth of the constructions of measures, held against what rooms have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr

from groundborne._checks import StudyError
from groundborne.study.option import SURFACE_GROUPS, Option
from groundborne.study.table_files import plain

if TYPE_CHECKING:
    from groundborne.isolation.rooms.sprung_surface import SprungSurface


def require_depth(option: Option, rooms: xr.Dataset) -> None:
    """Refuse constructions that are deeper than the rooms have room for.

    Parameters
    ----------
    option : Option
        Its measures.
    rooms : Dataset
        As of :class:`Building`, with ``length``, ``width``, ``height`` and, where there is a
        limit, ``floor_limit``, ``walls_limit``, ``ceiling_limit`` [m] on ``room``.

    Raises
    ------
    StudyError
        The constructions of all measures in a room are too deep together, or one is; the
        sentence names room, surface and millimetres.
    """
    built: dict[str, dict[str, SprungSurface]] = {}
    names: dict[str, list[str]] = {}
    for measure in option.measures:
        for room in measure.rooms if measure.box is not None else ():
            assert measure.box is not None
            built.setdefault(room, {}).update(measure.box.parts)
            names.setdefault(room, []).append(measure.name)
    for room, parts in built.items():
        try:
            _require_room_for(rooms.sel(room=room), parts, room)
        except ValueError as error:
            said = " and ".join(map(repr, names[room]))
            raise StudyError(
                f"option {option.name!r}, measure {said}, room {room!r}: {error}"
            ) from None


def _require_room_for(one: xr.Dataset, parts: Mapping[str, SprungSurface], room: str) -> None:
    """Depth of every construction, and what they leave of the room together."""
    from groundborne.isolation import Box, InnerWall

    box = Box(**{group: _in_room(part, room) for group, part in parts.items()})
    limits = {
        group: float(one[f"{group}_limit"])
        for group in SURFACE_GROUPS
        if f"{group}_limit" in one and np.isfinite(float(one[f"{group}_limit"]))
    }
    box.fits(limits=limits)
    size = {name: plain(one[name]) for name in ("length", "width", "height")}
    box.clear_size(**size)
    walls, height = box.walls, size["height"]
    if isinstance(walls, InnerWall) and np.any(np.asarray(walls.height > height)):
        raise ValueError(
            f"the inner wall is {float(np.max(np.asarray(walls.height))):g} m high, the room "
            f"{float(np.min(np.asarray(height))):g} m"
        )


def _in_room(part: SprungSurface, room: str) -> SprungSurface:
    """A construction whose parameters vary from room to room, in one of them."""
    fixed: Any = part
    here = {
        f.name: value.sel(room=room, drop=True)
        for f in fields(fixed)
        if isinstance(value := getattr(part, f.name), xr.DataArray) and "room" in value.dims
    }
    found: SprungSurface = replace(fixed, **here) if here else part
    return found
