"""Parts and options of a study, held against each other."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from groundborne._causes import arrays, differ
from groundborne._checks import StudyError, known
from groundborne.study.option import Option
from groundborne.study.part import Part


def require_parts(parts: Sequence[Part], rooms: Sequence[str]) -> None:
    """Every room is in one part, and every part has a name if there are several."""
    names = [part.name for part in parts]
    if not names:
        raise StudyError("study: there is no part of a building; at least one is needed")
    for name in names:
        if names.count(name) > 1 or (len(names) > 1 and not name):
            raise StudyError(
                f"study: the parts of the building are named {', '.join(map(repr, names))}; "
                "each needs a name of its own"
            )
    held = [room for part in parts for room in part.rooms]
    for room in held:
        known("study: parts", "room", room, rooms, StudyError)
        if held.count(room) > 1:
            raise StudyError(f"study: the room {room!r} is in two parts of the building")
    for room in rooms:
        if room not in held:
            raise StudyError(f"study: the room {room!r} is in no part of the building")


def require_bases(option: Option, parts: Sequence[Part]) -> None:
    """Mounts stand under parts that have an isolation plane."""
    where = f"option {option.name!r}"
    planes = [part.name for part in parts if part.plane is not None]
    for name in (*option.bases, *(part.name for part in option.parts)):
        known(where, "part", name, [part.name for part in parts], StudyError)
    if not option.is_mounted:
        return
    if not planes or not set(option.bases) <= set(planes):
        lacking = sorted(set(option.bases) - set(planes))
        of = f"part {lacking[0]!r} of the study" if lacking and lacking[0] else "the study"
        raise StudyError(f"{where}: it isolates the base, and {of} has no isolation plane")
    if option.base is not None and len(planes) > 1:
        raise StudyError(
            f"{where}: parts {', '.join(map(repr, planes))} can be isolated; say by bases "
            "which mounts stand under which"
        )


def require_labels(option: Option, parts: Sequence[Part]) -> None:
    """What differs from room to room names all rooms of its part; columns are those of each."""
    for number, measure in enumerate(option.measures):
        part = next((p for p in parts if measure.rooms[0] in p.rooms), None)
        if part is None:
            continue  # told as an unknown room
        own = pd.Index(list(part.rooms))
        for place, array in arrays(f"option {option.name!r}, measures.{number}", measure):
            there = array.indexes.get("room")
            if there is not None and list(there) != list(own):
                of = f"{part.in_words}, " if part.name else ""
                raise differ("study", "room", {f"{of}building.rooms": own, place: there})
