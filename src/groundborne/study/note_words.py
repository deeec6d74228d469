"""The sentences of notes, and nothing else: one function for each kind."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from groundborne._arguments import checked
from groundborne.bands import label
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, WALKER_MATHERS
from groundborne.isolation.rooms.box import CAUTION
from groundborne.rating.statistics import ordinal
from groundborne.study.note import Note

_FEW_ROOMS = 8
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


# -- Parts of sentences ----------------------------------------------------------------------------


def _bands(frequencies: Sequence[float]) -> str:
    return f"{', '.join(label(f) for f in frequencies)} Hz"


def _runs(ends: Sequence[Sequence[float]]) -> str:
    """Runs of bands by their ends."""
    words = [
        label(first) if first == last else f"{label(first)} to {label(last)}"
        for first, last in ends
    ]
    return f"{', '.join(words)} Hz"


def _rooms(rooms: Sequence[str]) -> str:
    return f"room {', '.join(rooms)}" if len(rooms) <= _FEW_ROOMS else f"{len(rooms)} rooms"


def _signed(margin: float) -> str:
    return f"{margin:+.1f}".replace("-", "−")


def _louder(change: float) -> str:
    return f"{abs(change):.1f} dB {'louder' if change > 0 else 'quieter'}"


def _span(ends: Sequence[float], form: str = ".1f") -> str:
    low, high = (f"{end:{form}}" for end in ends)
    return low if low == high else f"{low} to {high}"


# -- Sentences, in the order of KINDS --------------------------------------------------------------


def _as_told(note: Note) -> str:
    """A sentence that was made where the files were read, or by a warning."""
    return str(note.values["text"])


def _other_loads(note: Note) -> str:
    v = note.values
    of_packs = f"revision {v['packs']!r}" if v["packs"] else "an unknown revision"
    of_study = f"of revision {v['study']!r}" if v["study"] else "of no noted revision"
    text = (
        f"its packs were chosen for loads of {of_packs}, and the columns of the study are "
        f"{of_study}; "
    )
    share = f"{100 * v['noted']:g} %"
    if not v["columns"]:
        return f"{text}no load differs by more than {share}."
    parts = [
        f"{name or 'all columns'} {then:,.0f} kN then, {now:,.0f} kN now"
        for name, then, now in v["columns"]
    ]
    left = v["differ"] - len(parts)
    more = f" and {left} more" if left else ""
    return (
        f"{text}the quasi-permanent loads of {v['differ']} of {v['count']} differ by more than "
        f"{share}: {'; '.join(parts)}{more}. Under the loads of now the packs settle and resonate "
        "otherwise than their schedule says: choose them anew, or give the study their loads."
    )


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
        f"Some trains were not detectable in the bands {_bands(note.values['bands'])}; their "
        "levels there are upper limits."
    )


def _near_background(note: Note) -> str:
    v = note.values
    return (
        f"Passbys stand less than {v['margin']:g} dB above the background at "
        f"{_bands(v['bands'])}: there the level is an upper limit, not a train level."
    )


def _below_the_plane(note: Note) -> str:
    v = note.values
    parts = "; ".join(f"{option} {_louder(change)}" for option, change in v["changes"].items())
    words = f" Against option {v['first']!r} they become, A-weighted: {parts}." if parts else ""
    return (
        "Below the isolation plane, and so gaining nothing from base isolation: room "
        f"{', '.join(note.rooms)}.{words}"
    )


def _masses_differ(note: Note) -> str:
    v = note.values
    by_column = f", by column {_span(v['by_column'], '.2f')}" if v["by_column"] else ""
    return (
        f"Mass above the mounts: {_span(v['model_t'], ',.0f')} t in the structure and "
        f"{_span(v['loads_t'], ',.0f')} t by the column loads (the former over the latter "
        f"{_span(v['ratio'], '.2f')}{by_column}). {v['remedy']}."
    )


def _frequency_of_mounts(note: Note) -> str:
    v = note.values
    in_model = _span(v["in_model"]) + " Hz"
    if v["by_column"] and "to" in in_model:
        in_model += " by column"
    return (
        f"its mounts have {_span(v['nominal'])} Hz under the column loads, and {in_model} under "
        "the masses of the model that gives the levels; the latter is meant where a frequency of "
        "mounts is named."
    )


def _crossings(note: Note) -> str:
    v = note.values
    crossing = f"what crosses its isolation plane ({', '.join(v['names'])}) costs"
    if v["alone"] - v["beside"] < 0.05:
        return f"{crossing} nothing in any band."
    return (
        f"{crossing} most at {label(v['band'])} Hz, where mounts gain {v['beside']:.1f} dB with it "
        f"and {v['alone']:.1f} dB without."
    )


def _measured_without_mounts(note: Note) -> str:
    return (
        f"{_rooms(note.rooms)}: transfers in the building were measured or given for it as it "
        "stands, without mounts. What mounts change, or an option in the building, is computed by "
        "the column lines, at the columns and on the slabs, and added to them: errors of the lines "
        "in level drop out there, those in what they change stay."
    )


def _base_beyond_one_stage(note: Note) -> str:
    first, last = (label(f) for f in note.values["bands"])
    where = f"at {first} Hz" if first == last else f"from {first} to {last} Hz"
    return (
        f"base isolation is predicted above {_STAGE} {where}. One stage was not found to give more "
        f"than about {_STAGE} at any frequency ({WALKER_MATHERS.author} {WALKER_MATHERS.year} "
        f"[{WALKER_MATHERS.mark}])."
    )


def _margins_beyond_one_stage(note: Note) -> str:
    return (
        f"base isolation above {_STAGE} at {_runs(note.values['bands'])} raises margins in "
        f"{_rooms(note.rooms)} by up to {note.consequence_db:.1f} dB."
    )


def _met_beyond_one_stage(note: Note) -> str:
    v = note.values
    parts = [
        f"{room} ({_signed(margin)} {v['unit']}; held to that {_signed(held)} {v['unit']})"
        for room, margin, held in zip(note.rooms, v["margins"], v["held"], strict=True)
    ]
    return (
        f"{v['criterion']} is met only by base isolation above {_STAGE}, and so not shown, in room "
        f"{', '.join(parts)}."
    )


def _coincident_resonances(note: Note) -> str:
    found = note.values["pairs"]
    pairs = "; ".join(f"{a} ({at_a}) with {b} ({at_b})" for a, at_a, b, at_b in found)
    return (
        f"coincident resonances, within a third of an octave: {pairs}. Each amplifies what the "
        "other passes."
    )


def _changed_building(note: Note) -> str:
    v = note.values
    by = [f"{key} {now} in place of {read}" for key, read, now in v["changes"]]
    text = f"changes the building: {'; '.join(by)}." if by else "changes the building."
    for part, was, now, carried, carries in v["masses"]:
        of = f" of {part}" if part else ""
        before, after = _span(was, ",.0f"), _span(now, ",.0f")
        if (before, carried) == (after, carries):
            text += (
                f" The mass above the mounts{of} stays {after} t: slabs that rooms name and steps "
                "of the path do not load it."
            )
            continue
        loads = f"{_span(carries, ',.0f')} t in place of {_span(carried, ',.0f')} t"
        text += (
            f" Mass above the mounts{of}: {after} t in place of {before} t in the structure, and "
            f"{loads} by the loads on the mounts."
        )
    return text


def _largest_loss_decides(note: Note) -> str:
    v = note.values
    return (
        f"the largest loss stated for its layers, {v['largest']:g} dB, stands for them at "
        f"{_runs(v['bands'])} and decides ratings in room {', '.join(note.rooms)}. Other ways "
        "round the layers are not predicted."
    )


def _surfaces_left(note: Note) -> str:
    v, gain = note.values, note.consequence_db or 0.0
    return (
        f"{' and '.join(v['treated'])} treated, {' and '.join(v['left'])} still radiate as before. "
        f"The layers by themselves make these rooms {abs(gain):.1f} dB "
        f"{'quieter' if gain >= 0 else 'louder'} in the mean, A-weighted."
    )


def _depth_unknown(note: Note) -> str:
    return (
        f"{' and '.join(note.values['surfaces'])} given by natural frequency only; whether it fits "
        "into the depth the rooms have is not checked."
    )


def _depth(note: Note) -> str:
    parts = [
        f"{group} {depth:.0f}" + (" mm" if room is None else f" of {room:.0f} mm")
        for group, depth, room in note.values["depths_mm"]
    ]
    return f"depth of the constructions: {', '.join(parts)}. {CAUTION}"


def _construction(note: Note) -> str:
    return f"{note.values['surface']}: {note.values['text']}."


def _vertical_only(note: Note) -> str:
    return (
        f"Of {', '.join(note.values['equipment'])} no horizontal level of the floor is given; "
        "nothing is shown along horizontal axes, whatever limits hold there."
    )


def _horizontal_as_stated(note: Note) -> str:
    return (
        f"horizontal levels of {', '.join(note.values['equipment'])} follow the vertical by what "
        "is stated, as without this option. Mounts and layers under a floor change its horizontal "
        "motion otherwise than its vertical one."
    )


def _without_background(note: Note) -> str:
    v = note.values
    return (
        f"{', '.join(v['criteria'])} of {', '.join(v['equipment'])} holds trains alone: no "
        "background is given."
    )


def _mounts_of_equipment_amplify(note: Note) -> str:
    parts = [
        f"{row} by up to {gain:.1f} dB, most at {label(band)} Hz"
        for row, gain, band in note.values["rows"]
    ]
    return (
        f"{'; '.join(parts)}: so much more equipment moves on its mounts than without. Mounts "
        "amplify near their own frequency; more damping lowers the peak and gains less above it."
    )


def _equipment_loads_its_floor(note: Note) -> str:
    parts = [
        f"{name} ({mass:,.0f} kg on {moving:,.0f} kg, which lowers it by {100 * lower:.0f} %)"
        for name, mass, moving, lower in note.values["equipment"]
    ]
    return (
        "Equipment is heavy beside the mass with which its floor moves at its first resonance (a "
        f"quarter of its panel): {'; '.join(parts)}. The floor is taken as an endless plate, in "
        "which that shift is not; state its floor as a mass on a spring."
    )


def _equipment_on_a_treated_floor(note: Note) -> str:
    return (
        f"{', '.join(note.values['equipment'])} stands on the treated floor of its room, which is "
        "taken not to give way under it."
    )


def _lower_bound(note: Note) -> str:
    v = note.values
    rows = v.get("equipment")
    where = f"of {', '.join(rows)}" if rows else f"in {_rooms(note.rooms)}"
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
        f"outside the range of a source at {_bands(note.values['bands'])}; see 'valid' in "
        "result.nc."
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
        "often at 100 to 200 Hz) and gain far less there; give own_mass_kg_per_mn, or the mounts "
        "of a schedule, before a choice rests on it."
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
    "base and rooms apart": (
        "base and room isolation are predicted apart and added. Where mounts, floor and slab "
        "resonate they act on each other, and single bands may differ by several decibels either "
        "way; twice above the floor's own frequency little is left."
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
    "other loads": _other_loads,
    "outside validity": _as_told,
    "bands peak apart": _bands_peak_apart,
    "few passbys": _few_passbys,
    "not detectable": _not_detectable,
    "near background": _near_background,
    "below the plane": _below_the_plane,
    "masses differ": _masses_differ,
    "frequency of mounts": _frequency_of_mounts,
    "crossings": _crossings,
    "measured without mounts": _measured_without_mounts,
    "base beyond one stage": _base_beyond_one_stage,
    "margins beyond one stage": _margins_beyond_one_stage,
    "met beyond one stage": _met_beyond_one_stage,
    "coincident resonances": _coincident_resonances,
    "changed building": _changed_building,
    "largest loss decides": _largest_loss_decides,
    "surfaces left": _surfaces_left,
    "depth unknown": _depth_unknown,
    "depth": _depth,
    "construction": _construction,
    "vertical only": _vertical_only,
    "horizontal as stated": _horizontal_as_stated,
    "without background": _without_background,
    "mounts of equipment amplify": _mounts_of_equipment_amplify,
    "equipment loads its floor": _equipment_loads_its_floor,
    "equipment on a treated floor": _equipment_on_a_treated_floor,
    "lower bound": _lower_bound,
    "below what can be measured": _below_what_can_be_measured,
    "approximation": _approximation,
    "livelier floors": _livelier_floors,
    "several floor frequencies": _several_floor_frequencies,
    "sampled": _sampled,
    "outside a source": _outside_a_source,
}
