"""The sentences of notes: one function for each kind, or one text."""

from __future__ import annotations

from collections.abc import Callable

from groundborne._arguments import checked
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.rating.statistics import ordinal
from groundborne.study.equipment_words import EQUIPMENT
from groundborne.study.horizontal_words import HORIZONTAL
from groundborne.study.isolation_words import ISOLATION
from groundborne.study.keys.path import GROUND_TO_FLOOR
from groundborne.study.note import Note
from groundborne.study.phrases import (
    bands_words,
    rooms_words,
    span_words,
)

_STAGE = f"{SINGLE_STAGE_LIMIT:g} dB"


@checked
def sentence(note: Note) -> str:
    """A note as a reader is told it.

    Parameters
    ----------
    note : Note
        Of a result, see :func:`~groundborne.study.notes_of`.

    Examples
    --------
    >>> sentence(Note(kind="rigid mass above", option="springs"))[:67]
    "Option 'springs': the building above the mounts is taken as a rigid"
    """
    if note.option is None:
        return body(note)
    joint = " " if note.kind in _WITHOUT_COLON else ", " if "measure" in note.values else ": "
    of = f", part {note.part!r}" if note.part else ""
    return f"Option {note.option!r}{of}{joint}{_told(note)}"


def body(note: Note) -> str:
    """The sentence without the option it is about, for lists that stand under its name."""
    return f"Part {note.part!r}: {_told(note)}" if note.part else _told(note)


def _told(note: Note) -> str:
    text = _FIXED.get(note.kind) or _MADE[note.kind](note)
    measure = note.values.get("measure")
    return f"{measure}: {text}" if measure else text


_WITHOUT_COLON = ("livelier floors", "changed building")


def _as_told(note: Note) -> str:
    """A sentence that was made where the files were read, or by a warning."""
    return str(note.values["text"])


def _bands_peak_apart(note: Note) -> str:
    return (
        f"Band levels are {note.values['time_weighting']} of each band by itself; their A-weighted "
        "sum is an upper bound of the maximum A-weighted level, since bands need not peak together."
    )


def _few_passbys(note: Note) -> str:
    v = note.values
    few = ", ".join(f"{kind} ({n})" for kind, n in v["few"].items())
    if v["percentile"] is None:
        return f"Few passbys: {few}. Means of fewer than {v['enough']} are poor (common practice)."
    return (
        f"Few passbys: {few}. By themselves fewer than {v['least']} carry no "
        f"{ordinal(v['percentile'])} percentile, and fewer than {v['enough']} carry a poor one "
        "(common practice)."
    )


def _not_detectable(note: Note) -> str:
    return (
        f"Some trains were not detectable in the bands {bands_words(note.values['bands'])}; their "
        "levels there are upper limits."
    )


def _near_background(note: Note) -> str:
    v = note.values
    return (
        f"Passbys stand less than {v['margin']:g} dB above the background at "
        f"{bands_words(v['bands'])}: there the level is an upper limit, not a train level."
    )


def _foundation_taken_as_rigid(note: Note) -> str:
    v = note.values
    thick = "Nothing says how thick it is; a raft bends, and one column moves what is near it."
    if v["thickness"] is not None:
        low, high = (f"{reach:.1f}" for reach in v["reach"])
        reach = f"{low} m" if low == high else f"{low} to {high} m"
        thick = (
            f"A plate of concrete of its mass is {v['thickness']:.2f} m thick, and one column "
            f"moves it within {reach}; columns stand {v['span']:g} m apart."
        )
    return (
        f"The foundation of {_plan(v['plan'])} is taken as rigid and shared out among the columns. "
        f"{thick} Take the model 'raft' of [structure.foundation], or pads_and_strips = true where "
        "it stands for those."
    )


def _columns_in_phase(note: Note) -> str:
    low, high = (
        f"{c:+.1f} dB at {f:g} Hz on floor {floor!r}" for c, f, floor in note.values["ends"]
    )
    return (
        "The columns are taken to move in phase. Alike slabs then answer together: above their "
        "first resonance they block, and upper storeys come out too quiet, the more the higher "
        "they are (against published means at 24 storeys by up to 50 dB). With the phases of "
        f"waves of 200 m/s and faster the floors would move by {low} to {high}: take the model "
        "'window' of [structure.phases]."
    )


def _joists_by_column_lines(note: Note) -> str:
    v = note.values
    low, high = v["first"]
    lead = (
        f"Take the model {GROUND_TO_FLOOR!r} of [path.floor] for levels (in a part of its own "
        "where other floors are of concrete), one run for each floor frequency"
    )
    if low < v["table"][0] or high > v["table"][1]:
        lead = (
            f"The model {GROUND_TO_FLOOR!r} of [path.floor] holds floors of 8 to 80 Hz, and so not "
            "all of these; from the columns 'frequency ratio' with construction 'timber' gives "
            "their levels at mid-span up to 8 times the first resonance"
        )
    return (
        f"The joist floors under or over {rooms_words(note.rooms)} get their levels from the "
        "column lines. A joist floor computed so is right near its first resonance "
        f"({span_words(v['first'])} Hz) and far too quiet beside it: {v['bias']:.1f} dB on "
        f"average and {note.consequence_db:.1f} "
        f"dB rms off the means of timber floors, {100 * v['inside']:.0f} % of the bands inside "
        "their limits (E DIN 45672-3:2023 [seen second-hand]; derived, the damping fitted to the "
        f"peak), since walls, partitions and neighbouring rooms are missing. {lead}; frequencies "
        "and the effect of treatments may follow the joists."
    )


def _no_rigid_body(note: Note) -> str:
    del note
    return (
        "The columns are taken to move without regard to each other at all frequencies. A building "
        "on mounts then has no motion as one body, so that the bands about the frequency of the "
        "mounts, and the gain there, are wrong: take the model 'window' of [structure.phases]."
    )


def _foundation_follows_the_ground(note: Note) -> str:
    v = note.values
    at = [f"{c:+.1f} dB at {f:g} Hz" for f, c in zip(v["bands"], v["changes"], strict=True)]
    where = "The foundation of" if v["one"] else "What stands under a column grid of"
    left = "that waves shorter than itself average out over it, and " if v["one"] else ""
    return (
        f"{where} {_plan(v['plan'])}, free of the building, is taken to follow the ground as it "
        f"is. This leaves out {left}that its own mass rides on the soil: from {at[0]} to {at[1]} "
        "by the model 'free foundation' of [path.coupling]."
    )


def _plan(sides: list[float]) -> str:
    return " by ".join(f"{side:g}" for side in sides) + " m"


def _lower_bound(note: Note) -> str:
    v = note.values
    rows = v.get("equipment")
    where = f"of {', '.join(rows)}" if rows else f"in {rooms_words(note.rooms)}"
    return (
        f"{v['criterion']} is a lower bound {where}, under at least one option: "
        f"{v['why']}. A lower bound never shows that a criterion is met."
    )


def _below_what_can_be_measured(note: Note) -> str:
    return (
        f"Ratings below {' or '.join(note.values['least'])} are printed as such: nothing so quiet "
        "is measured in a building, whose own noise is louder (common practice)."
    )


def _approximation(note: Note) -> str:
    v = note.values
    where = ", at mid-span of the floor of each room" if v["felt"] else ""
    where = ", of equipment" if v.get("equipment") else where
    return f"{v['criterion']}{where}: {v['how']}."


def _livelier_floors(note: Note) -> str:
    v = note.values
    parts = [
        f"{criterion} in {room} from {before} to {after}"
        for criterion, room, before, after in v["worst"]
    ]
    return (
        f"makes floors move more than {v['first']!r}: {'; '.join(parts)}. Mounts and layers "
        "amplify near their own frequencies."
    )


def _several_floor_frequencies(note: Note) -> str:
    possible = ", ".join(f"{f:g}" for f in note.values["frequencies"])
    return (
        f"A floor may have one of several natural frequencies ({possible} Hz). Ratings are the "
        "worst of them; spectra and stages show, for each option and room, the one with the "
        "highest mean level."
    )


def _sampled(note: Note) -> str:
    return (
        f"Parameters are sampled. Every number is the {note.values['shown']} in brackets, each "
        "number by itself: stages then need not add up, and a spectrum is no single sample's. A "
        "criterion is met where the whole range of its margin is met, not met where none of it is, "
        "and else within the uncertainty; resonances are those of the median parameters."
    )


def _outside_a_source(note: Note) -> str:
    return (
        f"outside the range of a source at {bands_words(note.values['bands'])}: the levels of "
        "these bands rest on a model beyond what it was found for."
    )


_FIXED: dict[str, str] = {
    "at the loudest moment": (
        "Band levels are those of the moment at which the A-weighted level was largest; single "
        "bands may have been louder at other moments."
    ),
    "source on foundation": (
        "The source was measured on the loaded foundation. It is taken for that of this "
        "building, standing without mounts; what drives the column lines is recovered from it "
        "through soil and building, band by band."
    ),
    "mounts without mass": (
        "its mounts have no mass of their own. Coils and thick rubber have waves inside (surge, "
        "often at 100 to 200 Hz) and gain far less there; give the mass of the mounts, or the "
        "mounts of a schedule, before a choice rests on it."
    ),
    "rigid mass above": (
        "the building above the mounts is taken as a rigid mass. Columns and slabs give way above "
        "their first modes, where the gain is over-stated."
    ),
    "rods above": (
        "the building above the mounts is taken as semi-infinite columns, the mean trend of "
        "a frame. At its own modes a real frame gains less or more by several decibels."
    ),
    "whole floor": (
        "the treated floor is the whole floor of the room, felt and heard. A table or an "
        "instrument on mounts of its own is no floor: it leaves the sound in the room as it is, "
        "and is given as equipment."
    ),
    "rigid equipment": (
        "Equipment is taken as a rigid mass at mid-span of the floor of its room, along each axis "
        "by itself: without rocking, without modes of its own, without the people and machines "
        "around it. Limits are its maker's to confirm."
    ),
    "structural engineer": (
        "The building stands on these mounts. Loads, robustness, fire, stops, replacement and the "
        "sequence of work are for the licensed structural engineer; local codes govern. No number "
        "here is a certificate."
    ),
    "other options on mounts": (
        "Under options with mounts the building stands on these mounts: loads, robustness, fire, "
        "stops, replacement and the sequence of work are for the licensed structural engineer; "
        "local codes govern."
    ),
    "rooms by structural engineer": (
        "Whatever is hung, floated or built into a room, its fixings, loads, fire and the sequence "
        "of work are for the licensed structural engineer; local codes govern. No number here is a "
        "certificate."
    ),
    "scatter": (
        "Levels are predictions. Single trains have been found up to 15 dB from prediction in one "
        "octave band (Kurzweil 1979 [seen]); do not read margins of a decibel as safe."
    ),
}
"""Sentences without numbers."""


_MADE: dict[str, Callable[[Note], str]] = {
    "unusual input": _as_told,
    "unusual result": _as_told,
    "outside validity": _as_told,
    "bands peak apart": _bands_peak_apart,
    "few passbys": _few_passbys,
    "not detectable": _not_detectable,
    "near background": _near_background,
    "foundation taken as rigid": _foundation_taken_as_rigid,
    "foundation follows the ground": _foundation_follows_the_ground,
    "columns in phase": _columns_in_phase,
    "joists by column lines": _joists_by_column_lines,
    "no rigid body": _no_rigid_body,
    "lower bound": _lower_bound,
    "below what can be measured": _below_what_can_be_measured,
    "approximation": _approximation,
    "livelier floors": _livelier_floors,
    "several floor frequencies": _several_floor_frequencies,
    "sampled": _sampled,
    "outside a source": _outside_a_source,
    **ISOLATION,
    **EQUIPMENT,
    **HORIZONTAL,
}
