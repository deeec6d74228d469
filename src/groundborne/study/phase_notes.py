"""What is told of the way columns move against each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import xarray as xr

from groundborne.levels import decibel
from groundborne.structure import ColumnPhases, FlatSlab
from groundborne.study.line_change import FloorResponse
from groundborne.study.model import StudyModel
from groundborne.study.note import Note
from groundborne.study.part import Part

STOREYS = 3
"""Flat slabs in a line from which on columns in phase are told of: below, blocked slabs cannot yet
add up; common practice."""


def phase_notes(study: StudyModel) -> list[Note]:
    """Columns that move all in phase, or without regard to each other on mounts."""
    found: list[Note] = []
    for part in study.parts:
        frame = part.frame
        if frame is None:
            continue
        flat = sum(isinstance(slab, FlatSlab) for slab in frame.line.slabs)
        if frame.line.phases.in_phase and flat >= STOREYS:
            found.append(_in_phase(part))
        if frame.line.phases.kind == "uniform":
            mounted = [o.name for o in study.options if o.seen_by(part)[0].base is not None]
            found += [Note(kind="no rigid body", part=part.name, option=name) for name in mounted]
    return found


def _in_phase(part: Part) -> Note:
    """What phases of the usual window would make of the floors that rooms stand on."""
    frame = part.frame
    assert frame is not None
    line = replace(frame.line, phases=ColumnPhases(points=3))
    moved = FloorResponse.of(line, frame.frequency, other_slabs=frame.other_slabs)
    floors = list(dict.fromkeys(frame.floor_of_room.values.tolist()))
    change = decibel(moved.surface / frame.as_built.surface).sel(floor=floors)
    change = change.median([d for d in change.dims if d not in ("floor", "frequency")])
    ends = [_at(change, int(np.argmin(change.values))), _at(change, int(np.argmax(change.values)))]
    return Note(
        kind="columns in phase",
        part=part.name,
        consequence_db=max(abs(ends[0][0]), abs(ends[1][0])),
        values={"ends": ends},
    )


def _at(change: xr.DataArray, index: int) -> tuple[float, float, str]:
    """Value, band and floor of an entry."""
    at = np.unravel_index(index, change.shape)
    one = change.isel(dict(zip(change.dims, map(int, at), strict=True)))
    return float(one), float(one["frequency"]), str(one["floor"].item())
