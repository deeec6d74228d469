"""What a reviewer should be told about a study and its result: which notes apply, with numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Numeric
from groundborne.isolation import LinearMount, stages_of
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.levels import decibel, energy
from groundborne.path import (
    COLUMN,
    FLOOR_AVERAGE,
    FOUNDATION,
    FREE_FOUNDATION,
    MID_SPAN,
    PathElement,
    TransmissionPath,
)
from groundborne.rating.answers import Mark
from groundborne.rating.scale import scale_of
from groundborne.structure import RigidMass, SemiInfiniteRod
from groundborne.structure.column_line import COLUMN_LINE
from groundborne.study.base_notes import bypass_note, service_notes
from groundborne.study.change_words import in_words
from groundborne.study.description import describe
from groundborne.study.equipment_notes import equipment_notes
from groundborne.study.foundation_notes import foundation_notes
from groundborne.study.horizontal import sideways_of
from groundborne.study.horizontal_notes import horizontal_notes
from groundborne.study.joist_notes import joist_notes
from groundborne.study.line_change import given_in
from groundborne.study.masses import frequency_note, mass_note, natural_frequency
from groundborne.study.model import StudyModel
from groundborne.study.natural_frequencies import (
    building_resonances,
    coincidence_note,
    option_resonances,
)
from groundborne.study.note import Note
from groundborne.study.option import Option
from groundborne.study.part import Part
from groundborne.study.phase_notes import phase_notes
from groundborne.study.plane import MobilityPlane
from groundborne.study.rating_notes import bound_notes, governing_bands, limit_notes, within
from groundborne.study.register_notes import register_notes
from groundborne.study.room_notes import room_notes
from groundborne.study.service import described

BACKGROUND_MARGIN = 6.0
"""Bands whose passbys stand less than this above background are marked [dB]; common practice."""

FEW = 15
"""Passbys of a type below which a note says so; common practice."""

WORSE = 1.1
"""Ratio of vibration with an option to that without above which a note says so."""


def standing_cautions(study: StudyModel) -> list[Note]:
    """What a reader has to be told first, by what the options are."""
    mounted = any(option.is_mounted for option in study.options)
    kind = "structural engineer" if mounted else "rooms by structural engineer"
    return [Note(kind=kind), Note(kind="scatter")]


def study_notes(study: StudyModel, result: xr.Dataset) -> list[Note]:
    """Guards that apply to a study and its result, then the standing cautions."""
    notes = [*_source(study), *foundation_notes(study), *phase_notes(study)]
    notes += [*joist_notes(study), *horizontal_notes(study), *_rooms_below(study, result)]
    for part in study.parts:
        if part.plane is not None:
            own = mass_note(carried=part.plane.mass, moving=part.plane.moving_mass)
            notes += [replace(note, part=part.name) for note in own]
    shared = {part.name: building_resonances(study, part) for part in study.parts}
    for option in study.options:
        notes += _changed_building(study, option)
        for part in study.parts:
            here, there = option.seen_by(part)
            known = shared[part.name] if there is part else building_resonances(study, there)
            found = [*known, *option_resonances(study, here, there)]
            own = [*_base(study, there, here, result), *coincidence_note(here, found)]
            if there is not part and there.plane is not None:
                masses = mass_note(carried=there.plane.mass, moving=there.plane.moving_mass)
                own += [replace(note, option=option.name) for note in masses]
            notes += [replace(note, part=part.name) for note in own]
        notes += [*limit_notes(option, result), *room_notes(study, option, result)]
    return [
        *notes,
        *bound_notes(result),
        *_approximated(result),
        *_vibration(result),
        *equipment_notes(study, result),
        *register_notes(study),
        *standing_cautions(study),
    ]


def _source(study: StudyModel) -> list[Note]:
    notes = []
    source = study.source
    weighting = source.attrs.get("time_weighting", "")
    if source.attrs.get("statistic") == "at maximum":
        notes.append(Note(kind="at the loudest moment"))
    elif weighting in ("S max", "F max", "max hold"):
        notes.append(Note(kind="bands peak apart", values={"time_weighting": weighting}))
    if "train_type" in source.coords:
        kinds, counts = np.unique(source["train_type"].values.astype(str), return_counts=True)
        notes += _few_passbys(study, dict(zip(kinds.tolist(), counts.tolist(), strict=True)))
    if "upper_limit" in source.coords:
        share = source["upper_limit"].mean("passby")
        marked = share["frequency"].values[(share > 0).values]
        if marked.size:
            notes.append(Note(kind="not detectable", values={"bands": marked.tolist()}))
    above = study.passbys.above_background()
    if above is not None:
        near = above["frequency"].values[(above < BACKGROUND_MARGIN).values]
        if near.size:
            values = {"bands": near.tolist(), "margin": BACKGROUND_MARGIN}
            notes.append(Note(kind="near background", values=values))
    for part in study.parts:
        by_line = COLUMN_LINE in part.as_built.citations
        if by_line and part.as_built.quantity_in == FOUNDATION:
            notes.append(Note(kind="source on foundation", part=part.name))
    return notes


def _few_passbys(study: StudyModel, counts: Mapping[str, int]) -> list[Note]:
    """Types of trains of which too few were measured for the highest percentile asked for."""
    asked = [c.percentile for cs in study.criteria.values() for c in cs if c.percentile is not None]
    least = max(map(_least_for, asked), default=0)
    enough = max(FEW, math.ceil(1.5 * least))
    few = {kind: n for kind, n in counts.items() if n < enough}
    if not few:
        return []
    which = max(asked, key=_least_for) if asked else None
    values = {"few": few, "least": least, "enough": enough, "percentile": which}
    return [Note(kind="few passbys", values=values)]


def _least_for(percentile: float) -> int:
    """Fewest equal passbys whose mid-ranks (Hazen) reach a percentile."""
    return math.ceil(50.0 / min(percentile, 100.0 - percentile) - 1e-9)


def _approximated(result: xr.Dataset) -> list[Note]:
    """What stands between band levels and a rating."""
    cells = zip(
        *(result[n].values.tolist() for n in ("criterion", "quantity", "approximation")),
        strict=True,
    )
    return [
        Note(
            kind="approximation",
            values={"criterion": name, "felt": quantity == "velocity", "how": how},
        )
        for name, quantity, how in cells
        if how
    ]


def _vibration(result: xr.Dataset) -> list[Note]:
    """Where an option makes floors move more than without it."""
    notes = []
    names = result["criterion"].values[(result["quantity"] == "velocity").values].tolist()
    first = str(result["option"].values[0])
    ratings = {}
    for name in names:
        applies = result["applies"].sel(criterion=name)
        rating = result["rating"].sel(criterion=name).where(applies, drop=True)
        ratings[name] = rating.max([d for d in rating.dims if d not in ("option", "room")])
    for option in result["option"].values.tolist()[1:]:
        worst_of, largest = [], 1.0
        for name, rating in ratings.items():
            before, after = (rating.sel(option=o) for o in (first, option))
            factor = after / before
            worst = str(factor["room"].values[int(factor.argmax("room"))])
            if float(factor.max()) > WORSE:
                largest = max(largest, float(factor.max()))
                low, high = (
                    _printed(result, option=o, room=worst, criterion=name) for o in (first, option)
                )
                unit = f" {scale_of(result, name).unit}".rstrip()
                worst_of.append([name, worst, low, f"{high}{unit}"])
        if worst_of:
            notes.append(
                Note(
                    kind="livelier floors",
                    option=option,
                    rooms=tuple(dict.fromkeys(room for _, room, _, _ in worst_of)),
                    consequence_db=20 * math.log10(largest),
                    values={"first": first, "worst": worst_of},
                )
            )
    return notes


def _printed(result: xr.Dataset, **at: str) -> str:
    """A rating with the digits and the mark that tables have; of samples or cases the largest."""
    here = result[["rating", "limit", "mark"]].sel(at)
    others = here["rating"].dims
    worst = here.isel(here["rating"].argmax(list(others))) if others else here
    scale, mark = scale_of(worst, at["criterion"]), Mark(str(worst["mark"].item()))
    down = mark in (Mark.AT_LEAST, Mark.OPEN)
    shown = scale.printed(float(worst["rating"]), float(worst["limit"]), down=down)
    return f"{'≥ ' if down else ''}{scale.text(shown)}"


def _rooms_below(study: StudyModel, result: xr.Dataset) -> list[Note]:
    """Rooms the mounts of their part do not carry, and what base isolation does to them."""
    above = study.above_plane
    sound = result["sound_level"]
    first = str(result["option"].values[0])
    alike: dict[tuple[str, ...], list[Option]] = {}
    for option in study.options:
        isolated = [p for p in study.parts if option.seen_by(p)[0].base is not None]
        on_mounts = {room for part in isolated for room in part.rooms}
        below = tuple(r for r in above["room"].values[~above.values].tolist() if r in on_mounts)
        if below:
            alike.setdefault(below, []).append(option)
    notes = []
    for below, options in alike.items():
        plain = [o.name for o in options if not any(set(below) & set(m.rooms) for m in o.measures)]
        here = sound.sel(room=list(below))
        changes = {
            name: float((here.sel(option=name) - here.sel(option=first)).mean()) for name in plain
        }
        notes.append(
            Note(
                kind="below the plane",
                rooms=below,
                consequence_db=max(changes.values(), default=None),
                values={"first": first, "changes": changes},
            )
        )
    return notes


def _base(study: StudyModel, part: Part, option: Option, result: xr.Dataset) -> list[Note]:
    if option.base is None or part.plane is None:
        return []
    nominal = natural_frequency(option.base, part.plane.mass)
    in_model = natural_frequency(option.base, part.plane.moving_mass)
    crossed = bool(part.plane.beside(option.base))  # what they add has a note of its own
    notes = frequency_note(option.name, nominal=nominal, in_model=in_model, crossed=crossed)
    given = _given_as_built(part)
    if given:
        notes.append(Note(kind="measured as built", option=option.name, rooms=given))
    notes += service_notes(option, part, result)
    if isinstance(described(option.base), LinearMount):
        notes.append(Note(kind="mounts without mass", option=option.name))
    change = result["base_change"].sel(option=option.name)
    change = change.sel(part=part.name) if "part" in change.dims else change
    alone = result["base_change_without_bypass"].sel(option=option.name)
    alone = alone.sel(part=part.name) if "part" in alone.dims else alone
    # Energies add, and the share is the same on all floors above: the sum comes apart again.
    crossed_only = decibel(energy(change) - part.plane.bypass.passed(option.base))
    notes += _crossings(study, part, option, crossed_only, alone, result)
    notes += bypass_note(option, part, change, crossed_only)
    largest = change.min([d for d in change.dims if d != "frequency"])
    high = change["frequency"].values[(largest < -SINGLE_STAGE_LIMIT).values]
    if high.size and stages_of(option.base) == 1:
        notes.append(
            Note(
                kind="base beyond one stage",
                option=option.name,
                consequence_db=float(-largest.min()) - SINGLE_STAGE_LIMIT,
                values={"bands": [float(high[0]), float(high[-1])]},
            )
        )
    above = part.plane.above if isinstance(part.plane, MobilityPlane) else None
    if isinstance(above, RigidMass):
        notes.append(Note(kind="rigid mass above", option=option.name))
    elif isinstance(above, SemiInfiniteRod):
        notes.append(Note(kind="rods above", option=option.name))
    return notes


def _crossings(
    study: StudyModel,
    part: Part,
    option: Option,
    change: xr.DataArray,
    alone: xr.DataArray,
    result: xr.Dataset,
) -> list[Note]:
    """What crosses the isolation plane of a part: the most it costs, and where a rating governs."""
    if option.base is None or part.plane is None:
        return []
    beside_mounts = part.plane.beside(option.base)
    if not beside_mounts:
        return []
    lost = (change - alone).max([d for d in change.dims if d != "frequency"])

    def gains(band: float) -> list[float]:
        return [float(-each.sel(frequency=band).max()) for each in (change, alone)]

    worst = float(lost.idxmax("frequency"))
    beside, free_of_it = gains(worst)
    above = part.above_plane(study.building)
    governing: list[Any] = []
    rooms = above["room"].values[above.values].tolist()
    bands = governing_bands(result, option.name, rooms)
    first: dict[tuple[str, float], str] = {}
    for room, governed in zip(rooms, bands, strict=True):
        first.setdefault(governed, room)
    for (criterion, band), room in first.items():
        here = lost.sel(frequency=within(study, criterion, band))
        if here.size and (not governing or float(here.max()) > governing[0]):
            at = float(here.idxmax("frequency"))
            octave = [band] if here.size > 1 or not np.isclose(at, band) else []
            governing = [float(here.max()), room, criterion, at, *gains(at), *octave]
    values = {
        "names": [crossing.name for crossing in beside_mounts],
        "band": worst,
        "alone": free_of_it,
        "beside": beside,
        "governing": governing[1:],  # in the room that loses most by it
    }
    return [
        Note(
            kind="crossings",
            option=option.name,
            part=part.name,
            consequence_db=float(lost.max()),
            values=values,
        )
    ]


def _given_as_built(part: Part) -> tuple[str, ...]:
    """Rooms whose transfers in the building are numbers that were given, on column lines."""
    if part.frame is None:
        return ()
    rooms, starts = part.room_labels, (FOUNDATION, FREE_FOUNDATION, COLUMN)
    steps = [e for e in part.as_built.elements.values() if e.quantity_in in starts]
    for surface in (part.surfaces or {}).values():
        # How far walls are below their floor says nothing of how far the floor is.
        velocity = surface.velocity
        each = velocity.elements.values() if isinstance(velocity, TransmissionPath) else [velocity]
        steps += [e for e in each if e is not None and e.quantity_in != FLOOR_AVERAGE]
    steps += [] if part.floor_motion is None else [part.floor_motion.as_built]
    found = xr.zeros_like(rooms, dtype=bool)
    for step in steps:
        found = found | given_in(step, rooms)
    return tuple(str(room) for room in rooms.values[found.values])


def _changed_building(study: StudyModel, option: Option) -> list[Note]:
    """What an option changes of the building, and the masses that come of it."""
    if not option.parts:
        return []
    masses = []
    for part in option.parts:
        planes = study.part(part.name).plane, part.plane
        if planes[0] is not None and planes[1] is not None:
            each = [
                [float(end(np.asarray(_all(mass)))) / 1e3 for end in (np.min, np.max)]
                for mass in (
                    planes[0].moving_mass, planes[1].moving_mass, planes[0].mass, planes[1].mass,
                )
            ]  # fmt: skip
            masses.append([part.in_words if part.name else "", *each])
    changes = [[*in_words(d.key), d.read, d.now] for d in option.changes]
    changes = changes or [[part.in_words, "", "that as built", "another"] for part in option.parts]
    values = {"changes": changes, "masses": masses}
    notes = [Note(kind="changed building", option=option.name, values=values)]
    for part in option.parts:
        given = _given_as_built(part)
        followed = part.frame is not None and part.frame.measured is not None
        if given and followed and option.base is None and part.name not in option.bases:
            notes.append(Note(kind="measured as built", option=option.name, rooms=given))
        before = _motion_steps(study.part(part.name))
        alike = [
            name
            for name, step in _motion_steps(part).items()
            if name in before and describe(step) == describe(before[name])
        ]
        if followed and alike:
            notes.append(
                Note(
                    kind="steps do not follow",
                    option=option.name,
                    part=part.name,
                    values={"steps": alike},
                )
            )
    return notes


def _motion_steps(part: Part) -> dict[str, PathElement]:
    """Steps of a part from foundation to columns and slabs, by what they are for."""
    ends = (COLUMN, FLOOR_AVERAGE, MID_SPAN)
    steps = {n: e for n, e in part.as_built.elements.items() if e.quantity_out in ends}
    surfaces = (part.surfaces or {}).items()
    steps |= {name: s.velocity for name, s in surfaces if s.velocity is not None}
    if part.floor_motion is not None:
        steps["mid-span"] = part.floor_motion.as_built
    walls = sideways_of(part.surfaces)
    return steps if walls is None else {**steps, "horizontal": walls.own["storey"]}


def _all(mass: Numeric) -> Numeric:
    """Of all columns."""
    found = xr.DataArray(mass)
    return found.sum("column") if "column" in found.dims else found
