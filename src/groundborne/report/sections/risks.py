"""Risks: what may make the answers wrong, what follows, and who can do something about it."""

from __future__ import annotations

from groundborne.rating import Answer
from groundborne.report.assessment import listed, probability_words
from groundborne.report.facts import Facts
from groundborne.report.legend import without_marks
from groundborne.report.tree import Column, Listing, Section, cells
from groundborne.study import Severity, notes_of
from groundborne.study.note import STANDING
from groundborne.study.note_words import body


def risks_section(facts: Facts) -> Section:
    """A register begun from what the study knows."""
    rows: list[tuple[str, str, str]] = []
    own = facts.table[facts.table["option"] == facts.chosen]
    open_ = own[~own["answer"].isin([Answer.MET.value])]
    if len(open_):
        rooms = open_["room"].nunique()
        rows.append(
            (
                (
                    f"{rooms} of {own['room'].nunique()} rooms are not shown to meet all criteria "
                    f"with {facts.chosen}"
                ),
                _least(facts),
                _remedy(facts),
            )
        )
    missed = dict.fromkeys(
        str(r["equipment"]) for r in facts.equipment_urgent if r["answer"] != Answer.MET.value
    )
    if missed:
        rows.append(
            (
                f"Equipment is not shown to keep its limits with {facts.chosen}: {listed(missed)}",
                "the equipment cannot be used as meant while trains pass",
                "Mounts, floor or place of the equipment: its user and its maker",
            )
        )
    if facts.equipment is not None and facts.sure:
        rows.append(
            (
                "Answers of equipment are without errors and have no probability",
                "a limit that is kept in the prediction may be missed in the building",
                "Measurement on the floor under the equipment before it is placed",
            )
        )
    for note in notes_of(facts.result):
        if note.kind in STANDING or note.severity is Severity.INFORMATION:
            continue
        if note.consequence_db is None or note.option not in (None, facts.chosen):
            continue
        size = abs(note.consequence_db)
        amount = f"{size:.0f} dB" if size >= 0.5 else "< 1 dB"
        text = _first(without_marks(body(note)))
        rows.append((text, amount, "Design team; see assumptions and limitations"))
    if facts.mounted:
        rows += [
            (
                "A rigid crossing of the isolation plane is built or forgotten",
                "loss of isolation in the rooms near it",
                "Register of crossings, inspection before release: contractor and engineer",
            ),
            (
                "Loads change after mounts are ordered",
                "frequency, deflection and level of the building differ from the schedule",
                "Freeze of loads, revision noted on the schedule: structural engineer",
            ),
        ]
    if not getattr(facts.study, "measurements", None):
        rows.append(
            (
                "Instruments, dates and positions of the measurements are not stated",
                "the source cannot be reviewed",
                "Author of the measurements",
            )
        )
    rows.append(
        (
            "Trains, track or timetable change",
            "levels of the source and the number of events change; nothing here covers it",
            "Client, with the operator of the line",
        )
    )
    return Section(
        key="risks",
        title="Risks",
        parts=(
            Listing(
                key="risk-register",
                caption="Risks to the answers, begun from what the study knows; to be kept up by "
                "the project",
                columns=(
                    Column(name="Risk", wide=True),
                    Column(name="Consequence"),
                    Column(name="What to do, and who"),
                ),
                rows=tuple(cells(*row) for row in rows),
            ),
        ),
    )


def _remedy(facts: Facts) -> str:
    """What can be done about rooms that are not shown to meet their criteria."""
    if any(facts.best_measurement_now(row) is not None for row in facts.critical):
        return "Measurements before design is fixed; see what decides"
    return "Another option, or criteria that the client agrees to; no measurement tells before"


def _least(facts: Facts) -> str:
    if not facts.sure:
        return "complaints, or measures after completion"
    row = facts.governing
    words = probability_words(float(str(row["probability"])), str(row["probability_bound"]))
    return (
        "complaints, or measures after completion; the least sure room keeps its limit with a "
        f"probability of {words}"
    )


def _first(text: str) -> str:
    """The first sentence."""
    end = text.find(". ")
    return (text if end < 0 else text[: end + 1])[:1].upper() + (
        text if end < 0 else text[: end + 1]
    )[1:]
