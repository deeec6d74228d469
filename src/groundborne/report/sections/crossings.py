"""What crosses the isolation plane: as counted in the prediction, and the register of the site."""

from __future__ import annotations

from typing import Any

from groundborne.report.facts import Facts
from groundborne.report.legend import without_marks
from groundborne.report.sections.listed_rows import listing_of
from groundborne.report.tree import Bullets, Part, Section, say
from groundborne.study import notes_of
from groundborne.study.note_words import sentence


def crossings_section(facts: Facts) -> Section:
    """Crossings counted, notes on them, and the register where the study has one."""
    parts: list[Part] = []
    planes = [(p, p.plane) for p in facts.study.parts if p.plane is not None]
    if not planes:
        parts.append(say("The building has no isolation plane, so nothing crosses it."))
        return Section(
            key="crossings", title="Crossings of the isolation plane", parts=tuple(parts)
        )
    if not facts.mounted:
        parts.append(
            say(
                f"{facts.chosen} has no mounts under the building, so that no plane is cut in it "
                "and nothing crosses one. What follows holds for options with mounts."
            )
        )
    lies = "lies" if facts.mounted else "would lie"
    for part, plane in planes:
        of = f" of {part.in_words}" if part.name else ""
        names = ", ".join(c.name for c in plane.crossings)
        counted = (
            f"counted beside the mounts are: {names}"
            if names
            else ("none of what crosses it is counted in the calculation by a stiffness of its own")
        )
        parts.append(
            say(f"The isolation plane{of} {lies} under floor {plane.floor}; {counted}. "
                "What nobody lists carries a share as well, which is counted as the notes say.")
        )  # fmt: skip
    told = [
        n for n in notes_of(facts.result)
        if n.kind in ("crossings", "bypass", "no bypass") and n.option in (None, facts.chosen)
    ]  # fmt: skip
    if told:
        parts.append(Bullets(items=tuple((without_marks(sentence(n)),) for n in told)))
    register: Any = getattr(facts.study, "register", None)
    if register:
        parts.append(
            listing_of("register", "Register of crossings, as the study lists them", list(register))
        )
    else:
        parts.append(
            say(
                "The study has no register of crossings. One is needed before tender: every "
                "service, "
                "lift, stair, facade fixing, drain and stop that crosses the plane, with its "
                "treatment, who answers for it and its status. One rigid crossing that was "
                "forgotten may undo the isolation of the rooms near it."
            )
        )
    return Section(key="crossings", title="Crossings of the isolation plane", parts=tuple(parts))
