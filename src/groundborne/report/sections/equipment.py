"""Results of equipment with limits of its own."""

from __future__ import annotations

from groundborne.bands import label
from groundborne.rating import Answer, Scale
from groundborne.report.assessment import percent_words
from groundborne.report.equipment import WITHOUT_ERRORS
from groundborne.report.facts import Facts, Row
from groundborne.report.legend import without_marks
from groundborne.report.marks import mark_sentences
from groundborne.report.printed import margin_cell, margin_run, rating_run
from groundborne.report.tree import Cell, Column, Listing, Part, Section, say
from groundborne.study.equipment import equipment_assessment


def equipment_section(facts: Facts) -> Section | None:
    """A listing for each criterion of equipment; nothing where there is none."""
    table = facts.equipment
    if table is None:
        return None
    parts: list[Part] = [
        say(
            "Equipment has limits of its own, each axis by itself. A rating in dB over the curve "
            "is "
            "the largest excess of any band."
            + (
                " Ratings and margins are those of the prediction without errors, and have no "
                "probability: kept and not kept say less than the marks of rooms, which stand for "
                f"{percent_words(facts.asked)} or more."
            )
            * facts.sure
        )
    ]
    for number, criterion in enumerate(dict.fromkeys(table["criterion"])):
        scale = facts.equipment_scales[criterion]
        rows = [
            (
                Cell(runs=(f"{row['equipment']}, {row['axis']}",)),
                Cell(runs=(f"{facts.short(row['option'])} {row['option']}",)),
                Cell(runs=(rating_run(row, scale, "equipment"),)),
                Cell(runs=(f"{row['limit']:g}",)),
                *_margin(facts, row, scale),
                Cell(runs=(f"{label(float(row['governing_band_hz']))} Hz",)),
            )
            for row in table[table["criterion"] == criterion].to_dict("records")
        ]
        parts.append(
            Listing(
                key=f"equipment {number + 1}",
                caption=f"Equipment, {criterion}: rating in {scale.unit}, margin in "
                f"{scale.margin_unit}{', without errors' * facts.sure}, and the band that governs",
                columns=(
                    Column(name="Equipment and axis"), Column(name="Option", wide=True),
                    Column(name="Rating", align="right"), Column(name="Limit", align="right"),
                    Column(name="Margin", align="right"),
                    *([Column(name="Without errors")] * facts.sure),
                    Column(name="Band", align="right"),
                ),
                rows=tuple(rows),
                table="equipment",
                invented=facts.study.invented,
            )
        )  # fmt: skip
    rated = equipment_assessment(facts.median)
    marks = mark_sentences(table, rated)
    if marks:
        parts.append(say(without_marks(" ".join(marks)), small=True))
    return Section(key="equipment", title="Equipment", parts=tuple(parts))


def _margin(facts: Facts, row: Row, scale: Scale) -> tuple[Cell, ...]:
    """Margin and what may be said of it: in words where the marks of rooms are by probability."""
    if not facts.sure:
        return (margin_cell(row, scale, "equipment"),)
    said = WITHOUT_ERRORS[Answer(row["answer"])].lower()
    return (Cell(runs=(margin_run(row, scale, "equipment"),)), Cell(runs=(said,)))
