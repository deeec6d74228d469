"""What is told of the horizontal motion of storeys: left out, counted, and on mounts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import xarray as xr

from groundborne.path import GivenChange, TransmissionPath
from groundborne.path.answers import Answers
from groundborne.receiver import Surface, SurfaceMean, TreatedSurfaces
from groundborne.study.evaluation import room_levels
from groundborne.study.horizontal import FrameSway, SidewaysWalls, sideways_of
from groundborne.study.line_change import given_in
from groundborne.study.model import StudyModel
from groundborne.study.note import Note
from groundborne.study.option import Option
from groundborne.study.part import Part


def horizontal_notes(study: StudyModel) -> list[Note]:
    """Walls that move horizontally, as built and with options; or that it is left out."""
    summed = [part for part in study.parts if part.surfaces is not None]
    without = [part for part in summed if sideways_of(part.surfaces) is None]
    left_out = [""] if len(without) == len(study.parts) else [part.name for part in without]
    notes = [Note(kind="horizontal left out", part=name) for name in left_out if without]
    for part in summed:
        walls = sideways_of(part.surfaces)
        if walls is None:
            continue
        notes.append(_counted(study, part, walls))
        if _frames(walls):
            notes.append(_as_the_ground(study, part, walls))
        for option in study.options:
            here, there = option.seen_by(part)
            if here.base is not None:
                notes += _on_mounts(study, here, there)
    return notes


def _counted(study: StudyModel, part: Part, walls: SidewaysWalls) -> Note:
    """What it adds in the building as built."""
    values = {"added": _added(study, part.as_built), "facing": _ends(walls.facing_share)}
    return Note(
        kind="horizontal counted",
        part=part.name,
        consequence_db=values["added"][0],
        values=values,
    )


def _as_the_ground(study: StudyModel, part: Part, walls: SidewaysWalls) -> Note:
    """What storeys that follow the ground would add, as those with walls and cores may."""
    storey = walls.own["storey"]
    still = xr.zeros_like(study.frequency, dtype=float)
    step = GivenChange(still, quantity_in=storey.quantity_in, quantity_out=storey.quantity_out)
    follows = replace(walls, own=walls.own.replace(storey=step))
    assert part.surfaces is not None
    moved = {
        name: surface if surface.sideways is None else replace(surface, sideways=follows)
        for name, surface in part.surfaces.items()
    }
    steps: dict[str, Any] = {
        name: SurfaceMean(moved)
        for name, step in part.as_built.elements.items()
        if isinstance(step, SurfaceMean)
    }
    added = _added(study, part.as_built.replace(**steps))
    values = {"added": added}
    return Note(kind="frame in bending", part=part.name, consequence_db=added[0], values=values)


def _on_mounts(study: StudyModel, option: Option, part: Part) -> list[Note]:
    """Whether it follows the mounts, and what it adds on them."""
    walls = sideways_of(part.surfaces)
    assert walls is not None
    path = option.path(
        part.as_built,
        plane=part.plane,
        above_plane=part.above_plane(study.building),
        surfaces=part.surfaces,
        frame=part.frame,
    )
    added = _added(study, path)
    told: dict[str, Any] = {"option": option.name, "part": part.name, "consequence_db": added[0]}
    if not _frames(walls):
        values: dict[str, Any] = {"added": added, "why": "given"}
        return [Note(kind="horizontal as built", values=values, **told)]
    if option.horizontal_ratio is None:
        values = {"added": added, "why": "no ratio"}
        return [Note(kind="horizontal as built", values=values, **told)]
    values = {"added": added, "ratio": _ends(option.horizontal_ratio)}
    notes = [Note(kind="horizontal on mounts", values=values, **told)]
    rooms = _given_rooms(walls, part)
    if rooms:
        values = {"added": added, "why": "given"}
        notes.append(Note(kind="horizontal as built", rooms=rooms, values=values, **told))
    return notes


def _frames(walls: SidewaysWalls) -> bool:
    """Whether a frame in bending is in the transfer, if only of some rooms."""
    return _holds(walls.own["storey"])


def _holds(step: Any) -> bool:
    if isinstance(step, FrameSway):
        return True
    inner = getattr(step, "elements", {})
    parts = [*inner.values()] if isinstance(inner, Mapping) else []
    parts += [getattr(step, name, None) for name in ("element", "otherwise")]
    return any(_holds(part) for part in parts if part is not None)


def _given_rooms(walls: SidewaysWalls, part: Part) -> tuple[str, ...]:
    """Rooms whose horizontal transfer was measured, beside others of a frame."""
    found = given_in(walls.own["storey"], part.room_labels)
    return tuple(str(room) for room in part.room_labels.values[found.values])


def _added(study: StudyModel, path: TransmissionPath) -> list[Any]:
    """What it adds to the A-weighted level of a room at most [dB], and in which room."""
    answers = Answers(study.frequency)
    with_it, without = (one.level_change_in(answers) for one in (path, _still(path)))
    source = study.source
    more = room_levels(with_it, source) - room_levels(without, source)
    others = [d for d in more.dims if d != "room"]
    if "room" not in more.dims:
        return [float(more.max()), ""]
    most = more.max(others)
    return [float(most.max()), str(most.idxmax("room").item())]


def _still(path: TransmissionPath) -> TransmissionPath:
    """The path with walls that do not move horizontally."""
    steps: dict[str, Any] = {}
    for name, step in path.elements.items():
        if isinstance(step, SurfaceMean):
            steps[name] = SurfaceMean(_without(step.surfaces))
        if isinstance(step, TreatedSurfaces):
            steps[name] = TreatedSurfaces(_without(step.surfaces), step.treatments)
    return path.replace(**steps)


def _without(surfaces: Mapping[str, Surface]) -> dict[str, Surface]:
    return {name: replace(surface, sideways=None) for name, surface in surfaces.items()}


def _ends(value: Any) -> list[float]:
    """Smallest and largest."""
    array = xr.DataArray(value)
    return [float(array.min()), float(array.max())]
