"""Equipment of a study: whether it fits, what it stands on, and where its results stand.

A row of results is one piece of equipment along one axis, on the dim ``equipment``. In a result
variables and coordinates of equipment carry the prefix :data:`PREFIX`; :func:`equipment_assessment`
takes them out under the names that rooms have.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, StudyError, known
from groundborne.rating import Criterion
from groundborne.receiver import Equipment
from groundborne.structure import BareSlab
from groundborne.study.option import Option
from groundborne.study.part import Part

PREFIX = "equipment_"


def row_label(equipment: Equipment, axis: str) -> str:
    """Label of a row on ``equipment``."""
    return f"{equipment.name} {axis}"


def rows_of(equipment: Sequence[Equipment]) -> list[tuple[Equipment, str]]:
    """Every piece of equipment along each of its axes."""
    return [(one, axis) for one in equipment for axis in one.axes]


def criteria_of(equipment: Equipment, axis: str) -> str:
    """Name of the set of criteria along an axis."""
    named = equipment.criteria
    return named if isinstance(named, str) else named[axis]


def require_equipment(
    equipment: Sequence[Equipment],
    *,
    parts: Sequence[Part],
    criteria: Mapping[str, tuple[Criterion, ...]],
    options: Sequence[Option],
) -> None:
    """Refuse equipment that does not fit the rooms, criteria or options of a study.

    Raises
    ------
    StudyError
        A name that is given twice, an unknown room, set of criteria or equipment, criteria of
        sound, or a floor of which nothing says how it moves or gives way.
    """
    names = [one.name for one in equipment]
    rooms = [room for part in parts for room in part.rooms]
    for one in equipment:
        where = f"equipment {one.name!r}"
        if names.count(one.name) > 1:
            raise StudyError(f"study: the {where} is given twice")
        known(where, "room", one.room, rooms, StudyError)
        for axis in one.axes:
            wanted = known(where, "criteria", criteria_of(one, axis), criteria, StudyError)
            for criterion in criteria[wanted]:
                if not criterion.of.felt:
                    raise StudyError(
                        f"{where}: its criteria {wanted!r} hold {criterion.label!r}, which is of "
                        "sound; criteria of vibration are needed"
                    )
        part = next(p for p in parts if one.room in p.rooms)
        if part.floor_motion is None:
            raise StudyError(
                f"{where}: nothing says how the floor of room {one.room!r} moves at mid-span; give "
                "[structure] with floors that follow the 'column line', or the table "
                "[path.mid_span]"
            )
    for option in options:
        for name in option.equipment:
            known(f"option {option.name!r}", "equipment", name, names, StudyError)
        for one in equipment:
            part = next(p for p in parts if one.room in p.rooms)
            there = next((p for p in option.parts if p.name == part.name), part)
            standing(one, option, there)  # mounts that do not fit are told here


def standing(equipment: Equipment, option: Option, part: Part) -> Equipment:
    """Equipment as it stands with an option.

    Parameters
    ----------
    equipment : Equipment
        Of the study.
    option : Option
        May give it mounts.
    part : Part
        That holds its room, as the option has it.

    Returns
    -------
    Equipment
        With its mounts, and with a floor: the one stated; else on a floor that the option treats
        one that does not give way, else the slab under its room as an endless plate.

    Raises
    ------
    StudyError
        Mounts that do not fit it, or nothing says how the floor gives way.
    """
    try:
        found = replace(equipment, mounts=option.equipment.get(equipment.name, equipment.mounts))
    except ValueError as error:
        raise StudyError(f"option {option.name!r}: {error}") from None
    if found.floor is not None:
        return found
    if on_treated_floor(equipment, option):
        return replace(found, floor=0.0)
    slab = slab_under(equipment, part)
    if slab is None:
        raise StudyError(
            f"equipment {equipment.name!r}: nothing says how the floor of room "
            f"{equipment.room!r} gives way under it; give it a floor: a mobility, or 0 for one "
            "that does not give way"
        )
    return replace(found, floor=_at_room(slab.point_mobility(), equipment.room, part))


def on_treated_floor(equipment: Equipment, option: Option) -> bool:
    """Whether an option puts a floor of its own under equipment."""
    return any(equipment.room in m.rooms and "floor" in m.treatments for m in option.measures)


def slab_under(equipment: Equipment, part: Part) -> BareSlab | None:
    """The slab whose mid-span equipment stands on, where the study knows it."""
    frame = None if part.floor_motion is None else part.floor_motion.frame
    if frame is None:
        return None
    slabs: dict[Any, Any] = dict(zip(frame.line.floors, frame.line.slabs, strict=True))
    slabs |= {name: slab for name, (_, slab) in frame.other_slabs.items()}
    slab = slabs[frame.floor_of_room.sel(room=equipment.room).item()]
    return slab if isinstance(slab, BareSlab) and slab.floating_floor is None else None


def _at_room(value: Numeric, room: str, part: Part) -> Numeric:
    """What differs between columns, as a room hears them."""
    if not isinstance(value, xr.DataArray) or "column" not in value.dims:
        return value
    assert part.floor_motion is not None
    frame = part.floor_motion.frame
    assert frame is not None
    hears = frame.column_weights if frame.hears is None else frame.hears.sel(room=room, drop=True)
    mean: xr.DataArray = xr.dot(value, hears, dim="column")
    return mean


# -- Results ---------------------------------------------------------------------------------------


def with_prefix(found: xr.Dataset) -> xr.Dataset:
    """Results of equipment as they stand in that of a study."""
    names = [n for n in (*found.variables, *found.dims) if n != "equipment"]
    return found.rename({n: f"{PREFIX}{n}" for n in dict.fromkeys(names) if _own(found, str(n))})


def _own(found: xr.Dataset, name: str) -> bool:
    """Whether a name is of equipment only: axes of levels are shared with rooms."""
    return name == "criterion" or name not in found.dims


def holds_equipment(result: xr.Dataset) -> bool:
    """Whether a result holds equipment beside its rooms."""
    return f"{PREFIX}criterion" in result.dims


@checked(nan=("return",), infinite=("result", "return"))
def equipment_assessment(result: xr.Dataset) -> xr.Dataset:
    """What a result holds of equipment, under the names that rooms have.

    Parameters
    ----------
    result : Dataset
        Result of a study with equipment.

    Returns
    -------
    xarray.Dataset
        On option, ``equipment`` (one row for each axis) and ``criterion``: ``rating``, ``limit``,
        ``margin``, ``answer``, ``mark``, ``may_add``, ``governing_band`` and all else of
        :func:`~groundborne.study.assess`; ``level`` and ``change`` by ``frequency``. Coordinates of
        a row: ``name``, ``axis``, ``room``, ``floor``.

    Raises
    ------
    StudyError
        The result holds no equipment.

    Examples
    --------
    >>> equipment_assessment(xr.Dataset())
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyError: equipment_assessment: the result holds no equipment
    """
    if not holds_equipment(result):
        raise StudyError("equipment_assessment: the result holds no equipment")
    names = [str(n) for n in result.variables if str(n).startswith(PREFIX)]
    found = result[[n for n in names if n in result.data_vars]]
    found = found.drop_vars([n for n in found.coords if n not in found.dims and n not in names])
    found = found.rename({n: n.removeprefix(PREFIX) for n in names})
    return found.assign_attrs(result.attrs)


def without_equipment(result: xr.Dataset) -> xr.Dataset:
    """A result of its rooms alone."""
    return result.drop_dims([d for d in ("equipment", f"{PREFIX}criterion") if d in result.dims])
