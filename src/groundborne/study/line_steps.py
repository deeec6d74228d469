"""What mounts, or an option, change in column lines beside steps that were given.

Numbers that were measured or tabulated hold for the building as it stood; what the lines make of a
change is laid beside them.
"""

from __future__ import annotations

import xarray as xr

from groundborne._arguments import Words
from groundborne.path import COLUMN, MID_SPAN, End
from groundborne.study.line_change import FloorResponse, LineChange
from groundborne.study.room_lines import RoomLines, picked


def mounted_columns(
    frame: RoomLines, level: Words, *, alike: tuple[xr.DataArray, xr.DataArray]
) -> LineChange:
    """What mounts change at the columns at a level beyond those at the floor of the room.

    Nothing without mounts (0 dB): a step that follows the lines onto them, beside steps to
    that level that were measured or tabulated without. `alike` tells for which rooms the
    step to the columns at the floor, and to those at the level, is the same for all columns.
    """
    here, built = frame.floor_of_room, frame.as_built

    def beyond(moved: FloorResponse) -> xr.DataArray:
        first = built.at(moved.frequency)
        own = frame.at_columns(moved, first, here, alike[0])
        return frame.at_columns(moved, first, level, alike[1]) / own

    return frame.line_change(beyond, COLUMN, COLUMN, built)


def mounted_slab(frame: RoomLines, level: Words, end: End, *, alike: bool) -> LineChange:
    """What mounts change on the slab of a level beyond the columns there; else as above.

    `end` is its surface average or mid-span; `alike` whether the gain beside it is the same for
    all columns. Where an option changes the lines, what that changes on the slab is in it.
    """
    place = "mid_panel" if end == MID_SPAN else "surface"
    since = (frame.measured or frame).as_built

    def gain(found: FloorResponse) -> xr.DataArray:
        if not alike:
            return picked(getattr(found, place) / found.column, level)
        slab, column = (picked(x, level) for x in (getattr(found, place), found.column))
        return frame.as_heard(slab) / frame.as_heard(column)

    return frame.line_change(
        lambda found: gain(found) / gain(since.at(found.frequency)), end, end, frame.as_built
    )


def changed_columns(frame: RoomLines, level: Words, *, alike: bool) -> LineChange | None:
    """What an option changes from the ground to the columns at a level.

    None where the lines are those in which transfers were measured. Mounts change nothing in
    it: what they do at the columns is a step of its own.
    """
    if frame.measured is None:
        return None
    now, first = frame.as_built, frame.measured.as_built
    rooms = level["room"]
    same = xr.full_like(rooms, alike, dtype=bool)
    return frame.line_change(
        lambda found: frame.at_columns(
            now.at(found.frequency), first.at(found.frequency), level, same
        ),
        COLUMN,
        COLUMN,
        now,
    )
