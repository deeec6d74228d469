"""Sentences of notes on equipment."""

from __future__ import annotations

from collections.abc import Callable

from groundborne.bands import label
from groundborne.study.note import Note


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


EQUIPMENT: dict[str, Callable[[Note], str]] = {
    "vertical only": _vertical_only,
    "horizontal as stated": _horizontal_as_stated,
    "without background": _without_background,
    "mounts of equipment amplify": _mounts_of_equipment_amplify,
    "equipment loads its floor": _equipment_loads_its_floor,
    "equipment on a treated floor": _equipment_on_a_treated_floor,
}
"""By kind of note."""
