"""Assumptions and limitations, and who answers for what."""

from __future__ import annotations

from groundborne.report.facts import Facts
from groundborne.report.legend import without_marks
from groundborne.report.notes import notes_by_option, notes_of_options
from groundborne.report.tree import Box, Bullets, Part, Ref, Section, Terms, say
from groundborne.study.note import Note
from groundborne.study.note_words import sentence
from groundborne.study.notes import standing_cautions


def limitations_section(facts: Facts) -> Section:
    """Notes of the study, then of its options."""
    notes = notes_of_options(facts.result, facts.shown)
    parts = _told(notes, "limits")
    if not parts:
        parts.append(say("No guard was raised for this study."))
    if _others(facts):
        parts.append(
            say("Those that concern other options alone are in ", Ref(key="annex-notes"), ".")
        )
    return Section(key="limitations", title="Assumptions and limitations", parts=tuple(parts))


def other_notes(facts: Facts) -> Section | None:
    """Notes on options that the body does not show; nothing where there are none."""
    others = _others(facts)
    if not others:
        return None
    return Section(
        key="annex-notes",
        title="Limitations of other options",
        parts=tuple(_told(others, "other-limits")),
    )


def _others(facts: Facts) -> list[tuple[str, list[str]]]:
    shown = {name for name, _ in notes_of_options(facts.result, facts.shown)}
    return [(n, texts) for n, texts in notes_by_option(facts.result) if n not in shown]


def _told(notes: list[tuple[str, list[str]]], key: str) -> list[Part]:
    parts: list[Part] = []
    for option, texts in notes:
        items = Bullets(items=tuple((without_marks(text),) for text in texts))
        if option:
            at = f"{key}-{len(parts)}"
            parts.append(Section(key=at, title=f"Of {option}", parts=(items,)))
        else:
            parts.append(items)
    return parts


def _cautions(facts: Facts) -> list[Note]:
    """Those of the study; first what holds for the option of the report, where that differs."""
    of_study = standing_cautions(facts.study)
    if facts.mounted or all(n.kind != "structural engineer" for n in of_study):
        return of_study
    others = [Note(kind=k) for k in ("rooms by structural engineer", "other options on mounts")]
    return [*others, *(n for n in of_study if n.kind != "structural engineer")]


def responsibility_section(facts: Facts) -> Section:
    """Cautions that stand above every number, and who answers for what."""
    cautions = tuple(say(without_marks(sentence(note))) for note in _cautions(facts))
    return Section(
        key="responsibility",
        title="Cautions, and who answers for what",
        parts=(
            Box(kind="caution", title="Cautions", parts=cautions),
            Terms(
                items=(
                    (
                        "Author of this report",
                        (
                            (
                                "the prediction from the inputs listed, and the "
                                "statement of its limits"
                            ),
                        ),
                    ),
                    ("Client", ("criteria, timetable, use of the rooms",)),
                    (
                        "Author of the measurements",
                        (("levels, positions and instruments of the passbys"),),
                    ),
                    (
                        "Structural engineer, licensed",
                        (
                            (
                                "loads, robustness, fire, stops, jacking, release, replacement and "
                                "everything that holds the building up"
                            ),
                        ),
                    ),
                    (
                        "Makers",
                        (("stiffness, loss, tolerance, creep and life of what they deliver"),),
                    ),
                    (
                        "Contractor",
                        (("building what is drawn, free crossings, inspection before release"),),
                    ),
                )
            ),
        ),
    )
