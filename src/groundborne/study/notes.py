"""Guards and cautions in words: what a reviewer should be told about a result."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr

from groundborne.bands import label
from groundborne.isolation import LinearMount
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, WALKER_MATHERS
from groundborne.isolation.rooms.box import CAUTION, GROUPS
from groundborne.path import FOUNDATION
from groundborne.rating.answers import Mark
from groundborne.rating.criteria import metric_of
from groundborne.structure import RigidMass, SemiInfiniteRod
from groundborne.structure.column_line import COLUMN_LINE
from groundborne.study.evaluation import room_levels
from groundborne.study.masses import frequency_note, mass_note, natural_frequency
from groundborne.study.plane import MobilityPlane
from groundborne.study.printed import as_printed, number_text, ordinal
from groundborne.study.rating_notes import bound_notes, limit_notes
from groundborne.study.resonances import (
    building_resonances,
    clash_sentence,
    option_resonances,
)

if TYPE_CHECKING:
    from groundborne.study.model import Study
    from groundborne.study.option import Option

BACKGROUND_MARGIN = 6.0
"""Bands whose passbys stand less than this above background are marked [dB]; common practice."""

FEW = 15
"""Passbys of a type below which a note says so; common practice."""

WORSE = 1.1
"""Ratio of vibration with an option to that without above which a note says so."""

_PREDICTED = (
    "Levels are predictions. Single trains have been found up to 15 dB from prediction in one "
    "octave band (Kurzweil 1979 [seen]); do not read margins of a decibel as safe."
)
CAUTIONS = (
    (
        "The building stands on these mounts. Loads, robustness, fire, stops, replacement and the "
        "sequence of work are for the licensed structural engineer; local codes govern. No number "
        "here is a certificate."
    ),
    _PREDICTED,
)
"""What stands above every study with mounts under the building."""

CAUTIONS_WITHOUT_MOUNTS = (
    (
        "Whatever is hung, floated or built into a room, its fixings, loads, fire and the sequence "
        "of work are for the licensed structural engineer; local codes govern. No number here is a "
        "certificate."
    ),
    _PREDICTED,
)
"""The same of a study in which no option has mounts under the building."""


def cautions(study: Study) -> tuple[str, ...]:
    """What a reader has to be told first, by what the options are."""
    mounted = any(option.base is not None for option in study.options)
    return CAUTIONS if mounted else CAUTIONS_WITHOUT_MOUNTS


def study_notes(study: Study, result: xr.Dataset) -> list[str]:
    """Guards that apply to a study and its result, then the standing cautions."""
    notes = [*_source(study), *_rooms_below(study, result)]
    if study.plane is not None:
        notes += mass_note(carried=study.plane.mass, moving=study.plane.moving_mass)
    shared = building_resonances(study)
    for option in study.options:
        notes += [
            *_base(study, option, result),
            *limit_notes(option, result),
            *clash_sentence(option, [*shared, *option_resonances(study, option)]),
            *_partial(option, result),
            *_constructions(study, option),
        ]
    return [
        *notes,
        *bound_notes(result),
        *_approximated(result),
        *_vibration(result),
        *cautions(study),
    ]


def _source(study: Study) -> list[str]:
    notes = []
    source = study.source
    weighting = source.attrs.get("time_weighting", "")
    if source.attrs.get("statistic") == "at maximum":
        notes.append(
            "Band levels are those of the moment at which the A-weighted level was largest; single "
            "bands may have been louder at other moments."
        )
    elif weighting in ("S max", "F max", "max hold"):
        notes.append(
            f"Band levels are {weighting} of each band by itself; their A-weighted sum is an upper "
            "bound of the maximum A-weighted level, since bands need not peak together."
        )
    if "train_type" in source.coords:
        kinds, counts = np.unique(source["train_type"].values.astype(str), return_counts=True)
        notes += _few_passbys(study, dict(zip(kinds.tolist(), counts.tolist(), strict=True)))
    if "upper_limit" in source.coords:
        share = source["upper_limit"].mean("passby")
        marked = share["frequency"].values[(share > 0).values]
        if marked.size:
            notes.append(
                "Some trains were not detectable in the bands "
                f"{', '.join(label(f) for f in marked)} Hz; their levels there are upper limits."
            )
    above = study.passbys.above_background()
    if above is not None:
        near = above["frequency"].values[(above < BACKGROUND_MARGIN).values]
        if near.size:
            notes.append(
                f"Passbys stand less than {BACKGROUND_MARGIN:g} dB above the background at "
                f"{', '.join(label(f) for f in near)} Hz: there the level is an upper limit, not a "
                "train level."
            )
    by_line = COLUMN_LINE in study.as_built.citations
    if by_line and study.as_built.quantity_in == FOUNDATION:
        notes.append(
            "The source was measured on the loaded foundation. It is taken for that of this "
            "building, standing without mounts; what drives the column lines is recovered from it "
            "through soil and building, band by band."
        )
    return notes


def _few_passbys(study: Study, counts: Mapping[str, int]) -> list[str]:
    """Types of trains of which too few were measured for the highest percentile asked for."""
    asked = [c.percentile for cs in study.criteria.values() for c in cs if c.percentile is not None]
    least = max(map(_least_for, asked), default=0)
    enough = max(FEW, math.ceil(1.5 * least))
    few = [f"{kind} ({n})" for kind, n in counts.items() if n < enough]
    if not few:
        return []
    text = f"Few passbys: {', '.join(few)}. "
    if asked:
        which = max(asked, key=_least_for)
        text += (
            f"By themselves fewer than {least} carry no {ordinal(which)} percentile, and "
            f"fewer than {enough} carry a poor one (common practice)."
        )
    else:
        text += f"Means of fewer than {enough} are poor (common practice)."
    return [text]


def _least_for(percentile: float) -> int:
    """Fewest equal passbys whose mid-ranks (Hazen) reach a percentile."""
    return math.ceil(50.0 / min(percentile, 100.0 - percentile) - 1e-9)


def _approximated(result: xr.Dataset) -> list[str]:
    """What stands between band levels and a rating."""
    notes = []
    for name in result["criterion"].values.tolist():
        how = str(result["approximation"].sel(criterion=name).item())
        where = ", at mid-span of the floor of each room" if metric_of(name).vibration else ""
        if how:
            notes.append(f"{name}{where}: {how}.")
    return notes


def _vibration(result: xr.Dataset) -> list[str]:
    """Where an option makes floors move more than without it."""
    notes = []
    names = [c for c in result["criterion"].values.tolist() if metric_of(c).vibration]
    first = str(result["option"].values[0])
    for option in result["option"].values.tolist()[1:]:
        parts = []
        for name in names:
            applies = result["applies"].sel(criterion=name)
            rating = result["rating"].sel(criterion=name).where(applies, drop=True)
            others = [d for d in rating.dims if d not in ("option", "room")]
            before, after = (rating.sel(option=o).max(others) for o in (first, option))
            factor = after / before
            worst = str(factor["room"].values[int(factor.argmax("room"))])
            if float(factor.max()) > WORSE:
                low, high = (
                    _printed(result, option=o, room=worst, criterion=name) for o in (first, option)
                )
                unit = f" {metric_of(name).unit}".rstrip()
                parts.append(f"{name} in {worst} from {low} to {high}{unit}")
        if parts:
            notes.append(
                f"Option {option!r} makes floors move more than {first!r}: {'; '.join(parts)}. "
                "Mounts and layers amplify near their own frequencies."
            )
    return notes


def _printed(result: xr.Dataset, **at: str) -> str:
    """A rating with the digits and the mark that tables have; of samples or cases the largest."""
    here = result[["rating", "limit", "mark"]].sel(at)
    others = here["rating"].dims
    worst = here.isel(here["rating"].argmax(list(others))) if others else here
    metric, mark = metric_of(at["criterion"]), Mark(str(worst["mark"].item()))
    value, limit = float(worst["rating"]), float(worst["limit"])
    down = mark in (Mark.AT_LEAST, Mark.OPEN)
    sign = "≥ " if down else ""
    return f"{sign}{number_text(as_printed(value, limit, metric, down=down), metric)}"


def _rooms_below(study: Study, result: xr.Dataset) -> list[str]:
    """Rooms the mounts do not carry, and what base isolation does to them."""
    above = study.above_plane
    below = above["room"].values[~above.values].tolist()
    isolated = [o for o in study.options if o.base is not None]
    if not isolated or not below:
        return []
    sound = result["sound_level"].sel(room=below)
    first = str(result["option"].values[0])
    plain = [o for o in isolated if not any(set(below) & set(m.rooms) for m in o.measures)]
    parts = []
    for option in plain:
        change = float((sound.sel(option=option.name) - sound.sel(option=first)).mean())
        parts.append(
            f"{option.name} {abs(change):.1f} dB(A) {'louder' if change > 0 else 'quieter'}"
        )
    words = f" Against option {first!r} they become: {'; '.join(parts)}." if parts else ""
    rooms = ", ".join(below)
    text = "Below the isolation plane, and so gaining nothing from base isolation: room"
    return [f"{text} {rooms}.{words}"]


def _bands(frequency: np.ndarray[Any, Any]) -> str:
    first, last = label(frequency[0]), label(frequency[-1])
    return f"at {first} Hz" if first == last else f"from {first} to {last} Hz"


def _base(study: Study, option: Option, result: xr.Dataset) -> list[str]:
    if option.base is None or study.plane is None:
        return []
    nominal, in_model = (
        natural_frequency(option.base, mass) for mass in (study.plane.mass, study.plane.moving_mass)
    )
    notes = frequency_note(option.name, nominal=nominal, in_model=in_model)
    if isinstance(option.base, LinearMount):
        notes.append(
            f"Option {option.name!r}: its mounts have no mass of their own. Coils and thick rubber "
            "have waves inside (surge, often at 100 to 200 Hz) and gain far less there; give "
            "own_mass_kg_per_mn, or the mounts of a schedule, before a choice rests on it."
        )
    change = result["base_change"].sel(option=option.name)
    others = [d for d in change.dims if d != "frequency"]
    high = change["frequency"].values[(change.min(others) < -SINGLE_STAGE_LIMIT).values]
    if high.size:
        notes.append(
            f"Option {option.name!r}: base isolation is predicted above {SINGLE_STAGE_LIMIT:g} dB "
            f"{_bands(high)}. One stage was not found to give more "
            f"than about {SINGLE_STAGE_LIMIT:g} dB at any frequency ({WALKER_MATHERS.author} "
            f"{WALKER_MATHERS.year} [{WALKER_MATHERS.mark}])."
        )
    above = study.plane.above if isinstance(study.plane, MobilityPlane) else None
    if isinstance(above, RigidMass):
        notes.append(
            f"Option {option.name!r}: the building above the mounts is taken as a rigid mass. "
            "Columns and slabs give way above their first modes, where the gain is over-stated."
        )
    elif isinstance(above, SemiInfiniteRod):
        notes.append(
            f"Option {option.name!r}: the building above the mounts is taken as columns without "
            "reflections, the mean trend of a frame. At its own modes a real frame gains less or "
            "more by several decibels."
        )
    return notes


def _constructions(study: Study, option: Option) -> list[str]:
    """What is built in the rooms: depth against what there is, coupling, and the usual caution."""
    notes = []
    rooms = study.building.rooms
    felt = {r for r, cs in study.room_criteria.items() if any(c.of.vibration for c in cs)}
    for measure in option.measures:
        head = f"Option {option.name!r}, {measure.name}:"
        here = rooms.sel(room=list(measure.rooms))
        limited = [g for g in measure.treatments if f"{g}_limit" in here]
        limits = {g: float(here[f"{g}_limit"].min()) for g in limited}
        built = {} if measure.box is None else measure.box.parts
        unknown = [g for g in limits if g not in built and np.isfinite(limits[g])]
        if unknown:
            notes.append(
                f"{head} {' and '.join(unknown)} given by natural frequency only; whether it fits "
                "into the depth the rooms have is not checked."
            )
        if "floor" in measure.treatments and felt & set(measure.rooms):
            notes.append(
                f"{head} the treated floor is the whole floor of the room, felt and heard. A table "
                "or an instrument on mounts of its own is no floor: it would leave the sound in "
                "the room as it is, and is not predicted."
            )
        if option.base is not None and "floor" in measure.treatments:
            notes.append(
                f"{head} base and room isolation are predicted apart and added. Where mounts, "
                "floor and slab resonate they act on each other, and single bands may differ by "
                "several decibels either way; twice above the floor's own frequency little is left."
            )
        if measure.box is None:
            continue
        parts = []
        for group, part in built.items():
            depth = 1e3 * float(np.max(np.asarray(part.build_up)))
            left = limits.get(group, np.inf)
            of = f" of {1e3 * left:.0f} mm" if np.isfinite(left) else " mm"
            parts.append(f"{group} {depth:.0f}{of}")
        notes.append(f"{head} depth of the constructions: {', '.join(parts)}. {CAUTION}")
        notes += [
            f"{head} {group}: {said}."
            for group, part in built.items()
            for said in getattr(part, "notes", ())
        ]
    return notes


def _partial(option: Option, result: xr.Dataset) -> list[str]:
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
        gain = float((bare - whole).mean())
        names = [m.name for m in option.measures if set(m.rooms) & set(rooms)]
        notes.append(
            f"Option {option.name!r}, {' and '.join(names)}: {' and '.join(groups)} treated, "
            f"{' and '.join(left)} still radiate as before. The layers by themselves make these "
            f"rooms {abs(gain):.1f} dB(A) {'quieter' if gain >= 0 else 'louder'} in the mean."
        )
    return notes
