"""Sentences of notes on mounts, measures in rooms and what an option changes."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from groundborne.bands import label
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, WALKER_MATHERS
from groundborne.isolation.rooms.box import CAUTION
from groundborne.study.note import Note
from groundborne.study.phrases import (
    bands_words,
    change,
    gain_words,
    louder,
    rooms_words,
    runs_words,
    signed,
    span_words,
)

_STAGE = f"{SINGLE_STAGE_LIMIT:g} dB"


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


def _below_the_plane(note: Note) -> str:
    v = note.values
    parts = "; ".join(f"{option} {louder(change)}" for option, change in v["changes"].items())
    words = f" Against option {v['first']!r} they become, A-weighted: {parts}." if parts else ""
    return (
        "Below the isolation plane, and so gaining nothing from base isolation: room "
        f"{', '.join(note.rooms)}.{words}"
    )


def _masses_differ(note: Note) -> str:
    v = note.values
    by_column = f", by column {span_words(v['by_column'], '.2f')}" if v["by_column"] else ""
    return (
        f"Mass above the mounts: {span_words(v['model_t'], ',.0f')} t in the structure and "
        f"{span_words(v['loads_t'], ',.0f')} t by the column loads (the former over the latter "
        f"{span_words(v['ratio'], '.2f')}{by_column}). {v['remedy']}."
    )


def _frequency_of_mounts(note: Note) -> str:
    v = note.values
    in_model = span_words(v["in_model"]) + " Hz"
    if v["by_column"] and "to" in in_model:
        in_model += " by column"
    crossed = ", with what crosses the isolation plane," if v.get("crossed") else ""
    return (
        f"its mounts have {span_words(v['nominal'])} Hz under the column loads, and {in_model} "
        f"under the masses of the model that gives the levels; the latter{crossed} is meant where "
        "a frequency of mounts is named."
    )


def _crossings(note: Note) -> str:
    v = note.values
    crossing = f"what crosses its isolation plane ({', '.join(v['names'])}) costs"
    if v["alone"] - v["beside"] < 0.05:
        return f"{crossing} nothing in any band."
    gains = gain_words(v["beside"], v["alone"])
    text = f"{crossing} most at {label(v['band'])} Hz, where mounts {gains}"
    if not v["governing"]:
        return f"{text}."
    room, criterion, band, beside, alone, *octave = v["governing"]
    third = f"a third of the {label(octave[0])} Hz octave, which" if octave else "which"
    governs = f"governs {criterion} in room {room}"
    if band == v["band"]:
        return f"{text}; that band{f' is {third}' * bool(octave)} {governs}."
    return (
        f"{text}; at {label(band)} Hz, {third} {governs} and of all bands that govern a room loses "
        f"most by it, they {gain_words(beside, alone)}."
    )


def _bypass(note: Note) -> str:
    v = note.values
    known = f" ({'; '.join(v['sources'])})" if v["sources"] else ""
    text = (
        f"{' and '.join(v['names'])}, {v['reduction']:.0f} dB below what arrives without "
        f"mounts{known}, adds its energy to what mounts and crossings pass"
    )
    if not v["bands"]:
        return f"{text}; it passes less than they do in every band."
    return (
        f"{text}. It passes more than they do at {bands_words(v['bands'])}, where softer mounts "
        f"gain little, and costs most at {label(v['band'])} Hz, where they "
        f"{gain_words(v['beside'], v['alone'])}."
    )


def _no_bypass(note: Note) -> str:
    return (
        "no energy is counted that arrives beside mounts and crossings, by air, services or the "
        f"modes of what is isolated. Reason given: {note.values['reason']}."
    )


def _stiffness_as_tested(note: Note) -> str:
    v = note.values
    return (
        "the stiffness of its rubber is taken as given, as if it were as tested. Small strain, a "
        f"cool basement and fifty years usually make it {v['factor']:.2f} times as stiff (from "
        f"memory), which raises the natural frequency by {v['factor'] ** 0.5:.2f} and costs "
        f"{v['lost']:.1f} dB far above it; the mounts' table service counts it."
    )


_AT = {"end of life": "at the end of life"}


def _mounts_in_service(note: Note) -> str:
    v = note.values
    stiff = span_words(v["factor"], ".2f")
    law = ", at the frequency at which that was measured" if v["law"] else ""
    text = f"its mounts are taken {stiff} times as stiff in service as they are described{law}"
    if not v["ages"]:
        return f"{text}; the same as new and at the end of life, since no age is given."
    better = (
        f" {v['better']} ratings of rooms are worse with new mounts, and are those."
        if v["better"]
        else ""
    )
    return (
        f"{text}. Ageing costs most at {label(v['band'])} Hz, {v['lost']:.1f} dB; of margins up to "
        f"{v['drop']:.1f} dB, for {v['criterion']} in room {v['room']}. Ratings are of the worse "
        f"state.{better} Levels are shown {_AT.get(v['state'], v['state'])}."
    )


def _loss_of_coils(note: Note) -> str:
    return f"{note.values['text']}."


def _base_and_rooms_apart(note: Note) -> str:
    v = note.values
    text = "base and room isolation are predicted apart and added"
    if "layer_hz" not in v:
        return (
            f"{text}. How far that is off is not known, since the floor has no natural frequency: "
            "where mounts, floor and slab resonate they act on each other."
        )
    storeys = f" on {v['levels']} levels" if v["levels"] > 1 else ""
    layer = f"{span_words(v['layer_kg_m2'], '.0f')} kg/m²" + " (assumed)" * v["layer_assumed"]
    building = f"{v['building_kg_m2']:,.0f} kg/m²" + " (assumed)" * v["building_assumed"]
    ends = [f"{change(level)} at {label(band)} Hz" for band, level in (v["lowest"], v["highest"])]
    alike: dict[tuple[str, float, float], list[str]] = {}
    for room, criterion, band, error in v["governing"]:
        alike.setdefault((criterion, band, round(error, 1)), []).append(room)
    governing = "; ".join(
        f"{change(error)} at {label(band)} Hz for {criterion} in {rooms_words(rooms)}"
        for (criterion, band, error), rooms in alike.items()
    )
    return (
        f"{text}. As two masses on springs in a row, a floor of {layer} at "
        f"{span_words(v['layer_hz'])} Hz{storeys}, on a building of {building} of plan at "
        f"{v['mounts_hz']:.1f} Hz, they are off that sum by {ends[0]} to {ends[1]}"
        f"{f', and where a rating is governed by {governing}' if governing else ''} (above 0: "
        "louder than predicted). Bending slabs are not in this estimate."
    )


def _measured_as_built(note: Note) -> str:
    return (
        f"{rooms_words(note.rooms)}: transfers in the building were measured or given for it as it "
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
        f"base isolation above {_STAGE} at {runs_words(note.values['bands'])} raises margins in "
        f"{rooms_words(note.rooms)} by up to {note.consequence_db:.1f} dB."
    )


def _met_beyond_one_stage(note: Note) -> str:
    v = note.values
    parts = [
        f"{room} ({signed(margin)} {v['unit']}; held to that {signed(held)} {v['unit']})"
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


def grouped(text: str) -> str:
    """A value as it was described, large numbers in groups of three."""
    try:
        number = float(text)
        return f"{number:,.0f}" if abs(number) >= 1e6 else f"{number:,.6g}"
    except ValueError:
        return text or "none"


def _changed_building(note: Note) -> str:
    v = note.values
    by = [
        f"{what} {grouped(before)} → {grouped(now)} {unit}".rstrip()
        for what, unit, before, now in v["changes"]
    ]
    text = f"changes the building: {'; '.join(by)}." if by else "changes the building."
    for part, was, now, carried, carries in v["masses"]:
        of = f" of {part}" if part else ""
        before, after = span_words(was, ",.0f"), span_words(now, ",.0f")
        if (before, carried) == (after, carries):
            text += (
                f" The mass above the mounts{of} stays {after} t: slabs that rooms name and steps "
                "of the path do not load it."
            )
            continue
        loads = f"{span_words(carries, ',.0f')} t in place of {span_words(carried, ',.0f')} t"
        text += (
            f" Mass above the mounts{of}: {after} t in place of {before} t in the structure, and "
            f"{loads} by the loads on the mounts."
        )
    return text


def _steps_do_not_follow(note: Note) -> str:
    steps = note.values["steps"]
    return (
        f"slabs or column lines are changed, and {', '.join(steps)} of the path "
        f"{'do' if len(steps) > 1 else 'does'} not follow from them: the numbers there stay those "
        "of the building as built, and what the change does there is in no level."
    )


def _largest_loss_decides(note: Note) -> str:
    v = note.values
    return (
        f"the largest loss stated for its layers, {v['largest']:g} dB, stands for them at "
        f"{runs_words(v['bands'])} and decides ratings in room {', '.join(note.rooms)}. Other ways "
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


def _crossings_not_counted(note: Note) -> str:
    v = note.values
    found = []
    if v["rigid"]:
        found.append(f"{_named(v['rigid'])} as held on both sides")
    if v["stiffness"]:
        found.append(f"{_named(v['stiffness'])} with a stiffness")
    listed = (
        "The study says besides that nothing crosses but what it lists"
        if v["all_listed"]
        else "A share of the mounts' stiffness is counted for what nobody listed, and one that is "
        "held on both sides may exceed it"
    )
    return (
        f"The register of crossings holds {' and '.join(found)}, which the calculation does not "
        f"count beside the mounts. {listed}: levels above the mounts may be higher than shown. "
        "Give the study their stiffness, under the same name, or have them separated."
    )


def _crossings_not_registered(note: Note) -> str:
    return (
        f"The calculation counts {_named(note.values['names'])} beside the mounts, and the "
        "register of crossings has no row of that name: nobody sees to it on site. Add it."
    )


def _inspection_open(note: Note) -> str:
    return (
        f"Nothing is said of the mounts as to {', '.join(note.values['missing'])}: open until "
        "the study tells it."
    )


def _named(names: Sequence[str]) -> str:
    return ", ".join(map(repr, names))


def _depth(note: Note) -> str:
    parts = [
        f"{group} {depth:.0f}" + (" mm" if room is None else f" of {room:.0f} mm")
        for group, depth, room in note.values["depths_mm"]
    ]
    return f"depth of the constructions: {', '.join(parts)}. {CAUTION}"


def _construction(note: Note) -> str:
    return f"{note.values['surface']}: {note.values['text']}."


ISOLATION: dict[str, Callable[[Note], str]] = {
    "other loads": _other_loads,
    "below the plane": _below_the_plane,
    "masses differ": _masses_differ,
    "frequency of mounts": _frequency_of_mounts,
    "crossings": _crossings,
    "crossings not counted": _crossings_not_counted,
    "crossings not registered": _crossings_not_registered,
    "inspection open": _inspection_open,
    "bypass": _bypass,
    "no bypass": _no_bypass,
    "stiffness as tested": _stiffness_as_tested,
    "mounts in service": _mounts_in_service,
    "loss of coils": _loss_of_coils,
    "base and rooms apart": _base_and_rooms_apart,
    "measured as built": _measured_as_built,
    "base beyond one stage": _base_beyond_one_stage,
    "margins beyond one stage": _margins_beyond_one_stage,
    "met beyond one stage": _met_beyond_one_stage,
    "coincident resonances": _coincident_resonances,
    "changed building": _changed_building,
    "steps do not follow": _steps_do_not_follow,
    "largest loss decides": _largest_loss_decides,
    "surfaces left": _surfaces_left,
    "depth unknown": _depth_unknown,
    "depth": _depth,
    "construction": _construction,
}
"""By kind of note."""
