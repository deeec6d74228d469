"""What is told of a large foundation: shared out rigidly, or following the ground as it is."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Numeric
from groundborne.bands import exact
from groundborne.path import FREE_FOUNDATION, Unchanged, Where
from groundborne.structure import Raft
from groundborne.study.cross_checks import plan_of_columns
from groundborne.study.model import StudyModel
from groundborne.study.note import Note
from groundborne.study.part import Part

LARGE = 10.0
"""Longer side above which a foundation is told of [m]; common practice."""
TOLD = 0.5
"""Change in a rated band from which on leaving it out is told of [dB]; common practice."""
_CONCRETE: dict[str, Any] = {
    "youngs_modulus": 33e9,
    "density": 2450.0,
    "poisson": 0.2,
    "loss_factor": 0.03,
}
"""A raft of which only the mass is known, to see how far it would reach; common practice."""


def foundation_notes(study: StudyModel) -> list[Note]:
    """Guards that apply to foundations as built, and to those that an option changes."""
    notes = [note for part in study.parts for note in _of_part(study, part)]
    for option in study.options:
        changed = [note for part in option.parts for note in _of_part(study, part)]
        notes += [replace(note, option=option.name) for note in changed if note not in notes]
    return notes


def _of_part(study: StudyModel, part: Part) -> list[Note]:
    if part.free_foundation is None:
        return []
    return [*_shared_out(study, part), *_left_out(study, part)]


def _plan(part: Part) -> list[float]:
    """Sides of what stands under the columns as one [m]; none of pads, strips and piles."""
    free = part.free_foundation
    if free is None or free.length is None or free.width is None:
        return []
    return [_typical(free.length), _typical(free.width)]


def _left_out(study: StudyModel, part: Part) -> list[Note]:
    """A foundation that is taken to follow the ground as it is, and what it would make of it."""
    assert part.free_foundation is not None
    plan = size = _plan(part)
    columns = study.building.columns if part.loads is None else part.loads.data
    if not plan and columns is not None:
        size = sorted(plan_of_columns(columns) or (), reverse=True)
    steps = part.as_built.elements.values()
    if max(size, default=0.0) <= LARGE or not any(_as_it_is(step) for step in steps):
        return []
    change = part.free_foundation.level_change(study.frequency)
    level = change.median([d for d in change.dims if d != "frequency"])
    bands = [float(level.idxmax("frequency")), float(level.idxmin("frequency"))]
    ends = [float(level.sel(frequency=f)) for f in bands]
    most = max(map(abs, ends))
    if most < TOLD:
        return []
    values = {"plan": size, "one": bool(plan), "bands": bands, "changes": ends}
    return [
        Note(
            kind="foundation follows the ground",
            part=part.name,
            consequence_db=most,
            values=values,
        )
    ]


def _as_it_is(step: Any) -> bool:
    """Whether a foundation free of its building is taken to follow the ground, if only of some."""
    if isinstance(step, Where):
        return _as_it_is(step.otherwise)
    return isinstance(step, Unchanged) and step.quantity_out == FREE_FOUNDATION


def _shared_out(study: StudyModel, part: Part) -> list[Note]:
    """A rigid footing with a plan under many columns, where one would not move all of it."""
    plan, frame = _plan(part), part.frame
    if max(plan, default=0.0) <= LARGE or frame is None or part.free_foundation is None:
        return []
    whole: Any = part.free_foundation.foundation
    if isinstance(whole, Raft):
        return []
    slab: Any = frame.line.storeys[0].slab
    span = min(_typical(slab.span_x), _typical(slab.span_y))
    values: dict[str, Any] = {"plan": plan, "span": span, "thickness": None}
    mass = _typical(whole.mass)
    if mass > 0:
        area = plan[0] * plan[1]
        thickness = mass / area / _CONCRETE["density"]
        raft = Raft(
            soil=replace(whole, mass=0.0), area=area, span_x=slab.span_x, span_y=slab.span_y,
            thickness=thickness, **_CONCRETE,
        )  # fmt: skip
        reach = raft.reach(exact(study.frequency))
        reaches = [_typical(reach.sel(frequency=f)) for f in reach["frequency"].values]
        if min(reaches) >= span:
            return []
        values |= {"thickness": thickness, "reach": [min(reaches), max(reaches)]}
    return [Note(kind="foundation taken as rigid", part=part.name, values=values)]


def _typical(value: Numeric) -> float:
    """Of samples the median."""
    return float(np.median(np.asarray(xr.DataArray(value))))
