"""Notes on the register of crossings beside the calculation, and on the upkeep of mounts."""

from __future__ import annotations

import numpy as np

from groundborne.study.details import RIGID
from groundborne.study.model import StudyModel
from groundborne.study.note import Note


def register_notes(study: StudyModel) -> list[Note]:
    """What register and calculation do not say alike, and what nobody says of the mounts.

    Parameters
    ----------
    study : Study
        With its parts as built; a study without a register is told nothing of crossings.
    """
    notes: list[Note] = []
    if not any(option.is_mounted for option in study.options):
        return notes
    if study.inspection.missing:
        values = {"missing": list(study.inspection.missing)}
        notes.append(Note(kind="inspection open", values=values))
    if not study.register:
        return notes
    for part in study.parts:
        if part.plane is None:
            continue
        rows = [row for row in study.register if row.part in ("", part.name)]
        left = [row for row in rows if not row.counted]
        rigid = [row.name for row in left if row.treatment == RIGID]
        stiff = [row.name for row in left if row.stiffness and row.treatment != RIGID]
        if rigid or stiff:
            told = {
                "rigid": rigid,
                "stiffness": stiff,
                "all_listed": not np.any(np.asarray(part.plane.bypass.unlisted_share) > 0),
            }
            notes.append(Note(kind="crossings not counted", part=part.name, values=told))
        names = {row.name for row in rows}
        missing = [c.name for c in part.plane.crossings if c.name not in names]
        if missing:
            notes.append(
                Note(kind="crossings not registered", part=part.name, values={"names": missing})
            )
    return notes
