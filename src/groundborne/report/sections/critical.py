"""Rooms that govern, one by one: before, with the option of the report, and the limit."""

from __future__ import annotations

from collections.abc import Sequence

from groundborne.report.assessment import percent_words
from groundborne.report.facts import Facts
from groundborne.report.figures import source_words
from groundborne.report.picture import Picture
from groundborne.report.printed import limit_run, margin_cell, probability_run, rating_run
from groundborne.report.tree import Cell, Column, Listing, Part, Section, say


def critical_section(facts: Facts, figures: Sequence[Picture]) -> Section:
    """The governing room of each group of rooms, at the statistic of its criterion."""
    columns = [
        Column(name="Room", wide=True), Column(name="Option"),
        Column(name="Rating", align="right"), Column(name="Limit", align="right"),
        Column(name="Margin", align="right"),
    ]  # fmt: skip
    if facts.sure:
        columns.append(Column(name="Probability", align="right"))
    columns.append(Column(name="Governing band", align="right"))
    rows = []
    for row in facts.critical:
        scale = facts.scales[str(row["criterion"])]
        for name in facts.shown:
            own = facts.row(name, str(row["room"]), str(row["criterion"]))
            cells = [
                Cell(runs=(f"{own['room']} {own['name']}: {own['criterion']}",)),
                Cell(runs=(facts.short(name),)),
                Cell(runs=(rating_run(own, scale),)),
                Cell(runs=(limit_run(own, scale),)),
                margin_cell(own, scale),
            ]
            if facts.sure:
                cells.append(Cell(runs=(probability_run(own, "probability", "assessment"),)))
            cells.append(Cell(runs=(facts.governing_words(own).removesuffix(" band"),)))
            rows.append(tuple(cells))
    parts: list[Part] = [
        say(
            "For each group of rooms the room and criterion that govern. The figures show the "
            "spectrum of the trains that make the rating, at the statistic of the criterion, and "
            f"not the mean of all trains{_drawn(facts)}. Predicted from "
            f"{source_words(facts.single)}."
        ),
        Listing(
            key="critical-rooms",
            caption=f"Governing room of each group, "
            f"{' and '.join(facts.short(n) + ' ' + n for n in facts.shown)}",
            columns=tuple(columns),
            rows=tuple(rows),
            table="assessment",
            invented=facts.study.invented,
        ),
        *(p.figure for p in figures),
    ]
    return Section(key="critical", title="Critical rooms", parts=tuple(parts))


def _drawn(facts: Facts) -> str:
    """What the sum and the fields of the figures are."""
    if not facts.sure:
        return "; the sum at the right, of criteria that sum bands, is the rating"
    beyond = percent_words(1 - facts.asked)
    fields = f"fields: each band by itself lies beyond them with {beyond} on either side"
    if facts.lacks_cases:
        fields = "intervals are not shown, since the cases that they rest on were not given"
    # Errors of bands lift sums and largest bands: the median of a rating is not that of the bands.
    return (
        "; the sum at the right, of criteria that sum bands, is the median rating of the listing "
        "with its interval, and lies above what the bands drawn come to, which are without errors; "
        f"criteria on octaves or single bands have no sum; {fields}"
    )
