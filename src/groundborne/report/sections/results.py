"""Results before and with the option of the report: a row for each room, or range of storeys."""

from __future__ import annotations

import pandas as pd

from groundborne.report.assessment import by_urgency
from groundborne.report.facts import Facts, Row
from groundborne.report.legend import without_marks
from groundborne.report.marks import mark_sentences
from groundborne.report.printed import limit_run, margin_cell, probability_run, rating_run
from groundborne.report.sections.equipment import equipment_section
from groundborne.report.tree import Cell, Column, Listing, Part, Ref, Section, say


def results_section(facts: Facts) -> Section:
    """One listing for each criterion."""
    shown = " and with ".join(f"{facts.short(n)} {n}" for n in facts.shown)
    interval = ": medians over the errors, with the interval of the margin in brackets" * facts.sure
    parts: list[Part] = [
        say(
            f"The listings hold {shown}{interval}. Rooms of a group with the same limit and the "
            "same answers share a row; its numbers are those of the room named in it, the one that "
            "governs among them. All rooms under all options are in ",
            Ref(key="annex-rooms"),
            ". ✓ met, ✗ not met, ? not shown: the prediction carries no answer; ≈ within the "
            "uncertainty.",
        )
    ]
    parts += [_of_criterion(facts, c) for c in facts.criteria]
    marks = mark_sentences(facts.table, facts.median)
    if marks:
        parts.append(say(without_marks(" ".join(marks)), small=True))
    equipment = equipment_section(facts)
    if equipment is not None:
        parts.append(equipment)
    return Section(key="results", title="Results", parts=tuple(parts))


def _of_criterion(facts: Facts, criterion: str) -> Listing:
    scale = facts.scales[criterion]
    table = facts.table[facts.table["criterion"] == criterion]
    columns = [
        Column(name="Rooms", wide=True),
        Column(name="Floors"),
        Column(name="Limit", align="right"),
    ]
    for name in facts.shown:
        code = facts.short(name)
        columns += [
            Column(name=f"{code} rating", align="right"),
            Column(name=f"{code} margin", align="right"),
        ]
        if facts.sure:
            columns.append(Column(name=f"{code} probability", align="right"))
    rows = []
    for members in _ranges(facts, table):
        named = _named(facts, table, members)
        worst = str(named["room"])
        of = f"{named['name']}" if len(members) == 1 else f"{named['group']}, {len(members)} rooms"
        cells = [
            Cell(runs=(f"{worst}: {of}" if len(members) == 1 else f"{of}; numbers of {worst}",)),
            Cell(runs=(_floors(table, members),)),
            Cell(runs=(limit_run(named, scale),)),
        ]
        for name in facts.shown:
            row = facts.row(name, worst, criterion)
            cells.append(Cell(runs=(rating_run(row, scale),)))
            cells.append(margin_cell(row, scale))
            if facts.sure:
                cells.append(Cell(runs=(probability_run(row, "probability", "assessment"),)))
        rows.append(tuple(cells))
    unit = f", {scale.unit}" if scale.unit else ""
    return Listing(
        key=f"results {criterion}",
        caption=f"C{facts.criteria.index(criterion) + 1} {criterion}{unit}: rating, and margin to "
        f"the limit in {scale.margin_unit}",
        columns=tuple(columns),
        rows=tuple(rows),
        table="assessment",
        invented=facts.study.invented,
    )


def _ranges(facts: Facts, table: pd.DataFrame) -> list[list[str]]:
    """Rooms of one group with one limit and the same answers under what is shown."""
    kinds: dict[tuple[str, ...], list[str]] = {}
    shown = table[table["option"].isin(facts.shown)]
    for room, of_room in shown.groupby("room", sort=False):
        first = of_room.iloc[0]
        key = (str(first["group"]), f"{first['limit']:g}", *map(str, of_room["answer"]))
        kinds.setdefault(key, []).append(str(room))
    return list(kinds.values())


def _named(facts: Facts, table: pd.DataFrame, members: list[str]) -> Row:
    own = table[(table["option"] == facts.chosen) & table["room"].isin(members)]
    return by_urgency(own).to_dict("records")[0]


def _floors(table: pd.DataFrame, members: list[str]) -> str:
    names = list(dict.fromkeys(table.loc[table["room"].isin(members), "floor"].astype(str)))
    return ", ".join(names) if len(names) < 4 else f"{names[0]} to {names[-1]}"
