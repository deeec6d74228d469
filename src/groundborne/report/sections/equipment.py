"""Results of equipment with limits of its own."""

from __future__ import annotations

from groundborne.bands import label
from groundborne.report.facts import Facts
from groundborne.report.legend import without_marks
from groundborne.report.marks import mark_sentences
from groundborne.report.printed import margin_cell, rating_run
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
                margin_cell(row, scale, "equipment"),
                Cell(runs=(f"{label(float(row['governing_band_hz']))} Hz",)),
            )
            for row in table[table["criterion"] == criterion].to_dict("records")
        ]
        parts.append(
            Listing(
                key=f"equipment {number + 1}",
                caption=f"Equipment, {criterion}: rating in {scale.unit}, margin in "
                f"{scale.margin_unit}, and the band that governs",
                columns=(
                    Column(name="Equipment and axis"), Column(name="Option", wide=True),
                    Column(name="Rating", align="right"), Column(name="Limit", align="right"),
                    Column(name="Margin", align="right"), Column(name="Band", align="right"),
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
