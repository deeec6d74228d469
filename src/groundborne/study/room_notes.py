"""Notes on what is built in rooms: depth, stages that are added, surfaces that are left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne.isolation.rooms.box import GROUPS
from groundborne.study.base_and_rooms import size_of_error
from groundborne.study.evaluation import room_levels
from groundborne.study.model import StudyModel
from groundborne.study.note import Note
from groundborne.study.option import Option, RoomMeasure, is_solved


def room_notes(study: StudyModel, option: Option, result: xr.Dataset) -> list[Note]:
    """Notes on the measures of an option in rooms; none without."""
    return [*_partial(option, result), *_constructions(study, option, result)]


def _constructions(study: StudyModel, option: Option, result: xr.Dataset) -> list[Note]:
    """What is built in the rooms: depth against what there is, coupling, and the usual caution."""
    notes = []
    rooms = study.building.rooms
    felt = {r for r, cs in study.room_criteria.items() if any(c.of.felt for c in cs)}
    for measure in option.measures:

        def note(
            kind: str, name: str = measure.name, of: Sequence[str] = measure.rooms, **values: Any
        ) -> Note:
            about = {"measure": name, **values}
            return Note(kind=kind, option=option.name, rooms=tuple(of), values=about)

        here = rooms.sel(room=list(measure.rooms))
        limited = [g for g in measure.treatments if f"{g}_limit" in here]
        limits = {g: float(here[f"{g}_limit"].min()) for g in limited}
        built = {} if measure.box is None else measure.box.parts
        unknown = [g for g in limits if g not in built and np.isfinite(limits[g])]
        if unknown:
            notes.append(note("depth unknown", surfaces=unknown))
        if "floor" in measure.treatments and felt & set(measure.rooms):
            notes.append(note("whole floor"))
        notes += _apart(study, option, measure, result)
        if measure.box is None:
            continue
        depths = []
        for group, part in built.items():
            left = limits.get(group, np.inf)
            room = 1e3 * left if np.isfinite(left) else None
            depths.append([group, 1e3 * float(np.max(np.asarray(part.build_up))), room])
        notes.append(note("depth", depths_mm=depths))
        notes += [
            note("construction", surface=group, text=said)
            for group, part in built.items()
            for said in getattr(part, "notes", ())
        ]
    return notes


def _apart(
    study: StudyModel, option: Option, measure: RoomMeasure, result: xr.Dataset
) -> list[Note]:
    """Rooms whose floor and base isolation are added, and how far that is off."""
    notes: list[Note] = []
    for part in study.parts if "floor" in measure.treatments else ():
        here, there = option.seen_by(part)
        added = [
            r
            for r in measure.rooms
            if r in part.rooms and not is_solved(measure, "floor", r, there.frame)
        ]
        if here.base is None or not added:
            continue
        own = replace(measure, rooms=tuple(added))
        values, error = size_of_error(study, result, here, own, "floor", there)
        notes.append(
            Note(
                kind="base and rooms apart",
                option=option.name,
                rooms=own.rooms,
                part=part.name,
                consequence_db=error,
                values={"measure": measure.name, **values},
            )
        )
    return notes


def _partial(option: Option, result: xr.Dataset) -> list[Note]:
    """Rooms in which some surfaces keep radiating as before, and what their layers gain alone."""
    notes = []
    change = result["level_change"].sel(option=option.name)
    treated: dict[str, list[str]] = {}
    for measure in option.measures:
        for room in measure.rooms:
            treated.setdefault(room, []).extend(measure.treatments)
    alike: dict[tuple[str, ...], list[str]] = {}
    for room, found in treated.items():
        alike.setdefault(tuple(g for g in GROUPS if g in found), []).append(room)
    for groups, rooms in alike.items():
        left = [g for g in GROUPS if g not in groups]
        if not left:
            continue
        here = change.sel(room=rooms)
        whole = room_levels(here.sum("stage"), result["source_level"])
        bare = room_levels(
            here.drop_sel(stage="room_isolation").sum("stage"), result["source_level"]
        )
        names = [m.name for m in option.measures if set(m.rooms) & set(rooms)]
        notes.append(
            Note(
                kind="surfaces left",
                option=option.name,
                rooms=tuple(rooms),
                consequence_db=float((bare - whole).mean()),
                values={"measure": " and ".join(names), "treated": groups, "left": left},
            )
        )
    return notes
