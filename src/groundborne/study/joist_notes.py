"""What is told of rooms whose light joist floors get their levels from column lines."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne.structure import OneWaySlab
from groundborne.study.frame import Frame
from groundborne.study.line_change import given_in
from groundborne.study.model import StudyModel
from groundborne.study.note import Note
from groundborne.study.part import Part

LIGHT = 150.0
"""Own mass [kg/m²] below which a slab between two supports is of joists: planks, hollow blocks and
decks with concrete weigh 200 and more; common practice."""
BARE = (-6.3, 7.1)
"""Bias and rms of joists as beam strips against the means of timber floors in E DIN 45672-3:2023
[seen second-hand], f/fn from 0.125 to 5, damping ratio 0.03 [derived; the damping is fitted to
their peak]."""
BALANCED = (-3.6, 4.3)
"""The same with the balance of power above the first resonance, as lines with phases take it, whose
loss factor is fitted to concrete floors."""
INSIDE = 0.18
"""Share of the bands inside the limits of that table, of both [derived]."""

_TABLE = (7.08, 89.1)  # Hz; edges of its first and last third octave, 8 and 80 Hz


def joist_notes(study: StudyModel) -> list[Note]:
    """Rooms on, or under, joists that column lines move."""
    found: list[Note] = []
    for part in study.parts:
        frame = part.frame
        if frame is None or not frame.moves_slabs:
            continue
        joists = {
            name: slab
            for name, (_, slab) in frame.other_slabs.items()
            if isinstance(slab, OneWaySlab) and _typical(slab.own_mass) < LIGHT
        }
        rooms = _rooms(part, frame, set(joists))
        if not rooms:
            continue
        first = [_typical(slab.first_resonance) for slab in joists.values()]
        bias, rms = BARE if frame.line.phases.in_phase else BALANCED
        found.append(
            Note(
                kind="joists by column lines",
                part=part.name,
                rooms=tuple(rooms),
                consequence_db=rms,
                values={
                    "first": [min(first), max(first)],
                    "bias": bias,
                    "inside": INSIDE,
                    "table": list(_TABLE),
                },
            )
        )
    return found


def _rooms(part: Part, frame: Frame, joists: set[str]) -> list[str]:
    """Those on joists, or under them where ceilings radiate, but for what was measured."""
    surfaces = part.surfaces
    steps = {"floor": part.as_built.elements.get("floor")}
    if surfaces is not None:
        steps = {name: surfaces[name].velocity for name in ("floor", "ceiling")}
    levels = {"floor": frame.floor_of_room, "ceiling": frame.ceiling_floor}
    found = xr.zeros_like(frame.floor_of_room["room"], dtype=bool)
    for name, step in steps.items():
        if step is not None:
            by_line = ~given_in(step, levels[name]["room"])
            found = found | (levels[name].isin(list(joists)) & by_line)
    names: list[str] = found["room"].values[found.values].tolist()
    return names


def _typical(value: Any) -> float:
    """Of samples the median."""
    return float(np.median(np.asarray(value)))
