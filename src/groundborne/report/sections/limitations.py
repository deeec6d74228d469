"""Assumptions and limitations, and who answers for what."""

from __future__ import annotations

from groundborne.report.facts import Facts
from groundborne.report.notes import notes_by_option
from groundborne.report.tree import Box, Bullets, Part, Section, Terms, say
from groundborne.study.note_words import sentence
from groundborne.study.notes import standing_cautions


def limitations_section(facts: Facts) -> Section:
    """Notes of the study, then of its options."""
    parts: list[Part] = []
    notes = notes_by_option(facts.result)
    if not notes:
        parts.append(say("No guard was raised for this study."))
    at = 0
    for option, texts in notes:
        items = Bullets(items=tuple((text,) for text in texts))
        if option:
            at += 1
            parts.append(Section(key=f"limits-{at}", title=f"Of {option}", parts=(items,)))
        else:
            parts.append(items)
    return Section(key="limitations", title="Assumptions and limitations", parts=tuple(parts))


def responsibility_section(facts: Facts) -> Section:
    """Cautions that stand above every number, and who answers for what."""
    cautions = tuple(say(sentence(note)) for note in standing_cautions(facts.study))
    return Section(
        key="responsibility",
        title="Cautions, and who answers for what",
        parts=(
            Box(kind="caution", title="Cautions", parts=cautions),
            Terms(
                items=(
                    ("Author of this report", ("the prediction from the inputs listed, and the "
                                               "statement of its limits",)),
                    ("Client", ("criteria, timetable, use of the rooms",)),
                    ("Author of the measurements", ("levels, positions and instruments of the "
                                                    "passbys",)),
                    ("Structural engineer, licensed", (
                        "loads, robustness, fire, stops, jacking, release, replacement and "
                        "everything that holds the building up",)),
                    ("Makers", ("stiffness, loss, tolerance, creep and life of what they "
                                "deliver",)),
                    ("Contractor", ("building what is drawn, free crossings, inspection before "
                                    "release",)),
                )
            ),
        ),
    )  # fmt: skip
