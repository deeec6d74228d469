"""Sentences of notes on the horizontal motion of storeys."""

from __future__ import annotations

from collections.abc import Callable

from groundborne.study.note import Note
from groundborne.study.phrases import rooms_words, span_words

_LEFT_OUT = (
    "The horizontal motion of ground and storeys is left out. It moves walls at right angles to "
    "themselves, which adds to what floors and ceilings radiate, and mounts change it otherwise "
    "than the vertical motion. A measurement of it can be given to the study."
)
_FRAME_WORDS = (
    "The horizontal motion of storeys is that of columns in bending between rigid floors. Walls, "
    "cores, bracing and infill are not in it, and carry horizontal motion upwards far better; nor "
    "is the turning of the building on its soil, nor what vertical motion makes of horizontal. "
    "Where the building has walls or cores, measure it; until then 0 dB as model 'given' stands "
    "for storeys that follow the ground."
)


def _frame(note: Note) -> str:
    follow = f"Did storeys follow it, that would add {_added(note)}, and stay as loud on mounts."
    return f"{_FRAME_WORDS} {follow}"


def _added(note: Note) -> str:
    added, room = note.values["added"]
    of = f" (room {room})" if room else ""
    return f"up to {added:.1f} dB{of}, A-weighted"


def _counted(note: Note) -> str:
    facing = span_words([100 * end for end in note.values["facing"]], ".0f")
    return (
        f"Walls move horizontally with their storey too; {facing} % of them are taken to face the "
        f"motion, each as a whole. Without isolation it adds {_added(note)}."
    )


def _as_built(note: Note) -> str:
    why = "the transfer to the storeys was given for the building without mounts"
    if note.values["why"] != "given":
        why = "nothing says how stiff the mounts are horizontally (horizontal_ratio)"
    of = f"of {rooms_words(note.rooms)} " if note.rooms else ""
    return (
        f"the horizontal motion {of}is taken as it is without mounts, because {why}. It adds "
        f"{_added(note)}, and may be less in truth, or more at the horizontal resonance of the "
        "mounts."
    )


def _on_mounts(note: Note) -> str:
    ratio = span_words(note.values["ratio"], ".3g")
    return (
        "the horizontal motion follows the frame on mounts whose horizontal stiffness is stated as "
        f"{ratio} of the vertical; what crosses beside them is taken as stiff as vertically. It "
        f"adds {_added(note)}."
    )


HORIZONTAL: dict[str, Callable[[Note], str]] = {
    "horizontal left out": lambda _: _LEFT_OUT,
    "frame in bending": _frame,
    "horizontal counted": _counted,
    "horizontal as built": _as_built,
    "horizontal on mounts": _on_mounts,
}
"""What makes the sentence of each kind."""
