"""Notes on equipment: what is not shown of it, where mounts amplify, and where it loads floors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from groundborne.rating import Mark
from groundborne.rating.statistics import PERIOD_RMS
from groundborne.receiver import Equipment
from groundborne.study.equipment import (
    criteria_of,
    equipment_assessment,
    on_treated_floor,
    row_label,
    rows_of,
    slab_under,
)
from groundborne.study.equipment_levels import standing_equipment
from groundborne.study.model import StudyModel
from groundborne.study.note import Note
from groundborne.study.option import Option
from groundborne.study.stage_limits import MATTERS

HEAVY = 0.1
"""Mass of equipment over that with which its floor moves at its first resonance, above which a note
says so [-]; common practice: the resonance then moves by 5 %."""


def equipment_notes(study: StudyModel, result: xr.Dataset) -> list[Note]:
    """Notes on the equipment of a study; none without."""
    if not study.equipment:
        return []
    standing = standing_equipment(study)
    notes = [Note(kind="rigid equipment"), *_vertical_only(study), *_without_background(study)]
    notes += _heavy(study)
    first = standing[study.options[0].name].items()
    own = [one for name, one in first if name not in study.options[0].equipment]
    notes += _amplified(None, own, study.frequency)
    for option in study.options:
        others = [one for name, one in standing[option.name].items() if name in option.equipment]
        notes += _amplified(option.name, others, study.frequency)
        notes += _on_other_floors(study, option)
    return [*notes, *_ratings(equipment_assessment(result))]


def _on_other_floors(study: StudyModel, option: Option) -> list[Note]:
    """What is taken as without an option, though it acts on the floor."""
    treated = [one for one in study.equipment if on_treated_floor(one, option)]
    moved = study.equipment if option.is_mounted or option.parts else treated
    found = {
        "equipment on a treated floor": [one.name for one in treated if one.floor is None],
        "horizontal as stated": [one.name for one in moved if one.horizontal],
    }
    return [
        Note(kind=kind, option=option.name, values={"equipment": names})
        for kind, names in found.items()
        if names
    ]


def _vertical_only(study: StudyModel) -> list[Note]:
    names = [one.name for one in study.equipment if not one.horizontal]
    return [Note(kind="vertical only", values={"equipment": names})] if names else []


def _without_background(study: StudyModel) -> list[Note]:
    names: dict[str, None] = {}
    labels: dict[str, None] = {}
    for one, axis in rows_of(study.equipment):
        asked = [
            c.label
            for c in study.criteria[criteria_of(one, axis)]
            if c.statistic == PERIOD_RMS and one.background is None
        ]
        labels |= dict.fromkeys(asked)
        names |= dict.fromkeys([one.name] * bool(asked))
    values = {"equipment": list(names), "criteria": list(labels)}
    return [Note(kind="without background", values=values)] if names else []


def _heavy(study: StudyModel) -> list[Note]:
    found = []
    for one in study.equipment:
        part = next(p for p in study.parts if one.room in p.rooms)
        slab = None if one.floor is not None else slab_under(one, part)
        if slab is None:
            continue
        moving = slab.mass_per_area * slab.span_x * slab.span_y / 4
        share = np.asarray(one.mass / moving)
        if np.max(share) > HEAVY:
            at = int(np.argmax(share.ravel()))
            least = np.broadcast_to(np.asarray(moving), share.shape).ravel()[at]
            largest = float(np.max(share))
            found.append(
                [one.name, largest * float(least), float(least), 1 - 1 / np.sqrt(1 + largest)]
            )
    return [Note(kind="equipment loads its floor", values={"equipment": found})] if found else []


def _amplified(
    option: str | None, standing: Sequence[Equipment], frequency: xr.DataArray
) -> list[Note]:
    """Where mounts of equipment raise a band."""
    rows: list[tuple[str, float, float]] = []
    for one in standing:
        if one.mounts is None:
            continue
        without = replace(one, mounts=None)
        gain = one.level_change(frequency) - without.level_change(frequency)
        gain = gain.max([d for d in gain.dims if d not in ("axis", "frequency")])
        for axis in one.axes:
            here = gain.sel(axis=axis)
            if float(here.max()) >= MATTERS:
                band = float(here["frequency"].values[int(here.argmax("frequency"))])
                rows.append((row_label(one, axis), float(here.max()), band))
    if not rows:
        return []
    largest = max(by for _, by, _ in rows)
    return [
        Note(
            kind="mounts of equipment amplify",
            option=option,
            consequence_db=largest,
            values={"rows": rows},
        )
    ]


def _ratings(rated: xr.Dataset) -> list[Note]:
    """Lower bounds and approximations."""
    notes = []
    for name in rated["criterion"].values.tolist():
        here = rated.sel(criterion=name)
        low = here["mark"].isin([Mark.AT_LEAST.value, Mark.OPEN.value]) & here["applies"]
        low = low.any([d for d in low.dims if d != "equipment"])
        rows = low["equipment"].values[low.values].tolist()
        if rows:
            values = {"criterion": name, "why": str(here["bound"].item()), "equipment": rows}
            notes.append(Note(kind="lower bound", values=values))
        how = str(here["approximation"].item())
        if how:
            told = {"criterion": name, "how": how, "felt": True, "equipment": True}
            notes.append(Note(kind="approximation", values=told))
    return notes
