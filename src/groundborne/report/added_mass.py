"""Mass that an option adds to a building: constructions in its rooms, and mounts of known mass."""

from __future__ import annotations

from typing import Any

import xarray as xr

from groundborne.isolation import DistributedMount
from groundborne.study import Option, Study
from groundborne.study.service import described


def added_mass(study: Study, option: Option) -> float:
    """Mass that an option adds [kg]; NaN where the study does not say it.

    Parameters
    ----------
    study : Study
        With the sizes of its rooms.
    option : Option
        Of it.

    Returns
    -------
    float
        Of constructions the mass per area over the whole of floor and ceiling, and of walls over
        their height along all four sides; of mounts their own mass where it is stated, else none.
        NaN where a measure is given by its frequency and not by construction, where the building
        itself is otherwise, or where sizes of the rooms are not known.

    Notes
    -----
    Openings are not taken off. What an imposed load adds is not the construction's.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> added_mass(study, study.options[0]), added_mass(study, study.options[3])
    (0.0, nan)
    """
    if option.parts or option.equipment:
        return float("nan")
    total = 0.0
    for measure in option.measures:
        parts: Any = {} if measure.box is None else measure.box.parts
        if set(parts) != set(measure.treatments):
            return float("nan")
        for room in measure.rooms:
            for group, part in parts.items():
                total += _in_room(study, room, group, part)
    for base in (option.base, *option.bases.values()):
        mount = None if base is None else described(base)
        if isinstance(mount, DistributedMount):
            mass = xr.DataArray(mount.mass)
            others = [d for d in mass.dims if d != "column"]
            total += float(mass.max(others).sum())
    return total


def _in_room(study: Study, room: str, group: str, part: Any) -> float:
    """Of one construction in one room [kg]."""
    rooms = study.building.rooms
    if not {"length", "width", "height"} <= set(rooms):
        return float("nan")
    here = rooms.sel(room=room)
    length, width, height = (float(here[n]) for n in ("length", "width", "height"))
    area = length * width
    if group == "walls":
        area = 2 * (length + width) * _of_room(getattr(part, "height", height), room)
    return area * _of_room(part.mass_per_area, room)


def _of_room(value: Any, room: str) -> float:
    """A parameter that may vary from room to room; of states and samples the largest."""
    array = xr.DataArray(value)
    if "room" in array.dims:
        array = array.sel(room=room)
    return float(array.max())
