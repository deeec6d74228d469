"""Resonances that coincide, and what ratings owe to the bands near them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from groundborne.report.assessment import listed
from groundborne.report.facts import Facts, Row
from groundborne.report.picture import Picture
from groundborne.report.printed import of_row
from groundborne.report.tree import Cell, Column, Listing, Part, Ref, Run, Section, say


def resonances_section(facts: Facts, figures: Sequence[Picture]) -> Section:
    """Coincident resonances of the option of the report."""
    frame = facts.frames["resonances"]
    own = frame[(frame["option"] == facts.chosen) & (frame["coincident_with"] != "")]
    parts: list[Part] = []
    if not len(own):
        parts.append(say(f"With {facts.chosen} no two resonances lie within a third of an octave."))
    else:
        parts += [
            say(
                "Resonances within a third of an octave of each other, on a floor that both reach: "
                "each amplifies what the other passes. The ratings hold that already. What it "
                "costs at most is by how much the rating that owes most to the bands near both "
                "would be lower if these bands carried nothing; how much of that the coincidence "
                "brings, and how much each resonance by itself, the model does not tell apart. A "
                "resonance that moves by a band changes the ratings that owe much to these bands",
                *((", see ", Ref(key="decides")) if facts.sure else ()),
                ".",
            ),
            Listing(
                key="coincident",
                caption=f"Coincident resonances with {facts.chosen}, and what ratings owe to the "
                "bands near them",
                columns=(
                    Column(name="Resonance"), Column(name="Frequency", unit="Hz", align="right"),
                    Column(name="Coincides with", wide=True),
                    Column(name="Bands near both", unit="Hz"),
                    Column(name="Costs at most", unit="dB or NR", align="right"),
                    Column(name="In room, on"),
                    Column(name="Rooms that owe 1 dB or more", align="right"),
                ),
                rows=tuple(_cells(row) for row in _once(own.to_dict("records"))),
                table="resonances",
                invented=facts.study.invented,
            ),
        ]  # fmt: skip
    parts += [p.figure for p in figures]
    return Section(key="resonances", title="Coincident resonances", parts=tuple(parts))


def _named(row: Row) -> str:
    part = f" ({row['part']})" if row["part"] else ""
    return f"{row['resonance']}{part}"


def _once(rows: list[dict[Any, Any]]) -> list[Row]:
    """Rows without those whose every partner stands above with it."""
    shown: list[Row] = []
    told: dict[str, set[str]] = {}
    for row in rows:
        part, own = str(row["part"]), f"{row['kind']}: {row['resonance']}"
        seen = told.setdefault(part, set())
        partners = str(row["coincident_with"]).split("; ")
        if all(f"{partner} with {own}" in seen for partner in partners):
            continue
        seen |= {f"{own} with {partner}" for partner in partners}
        shown.append(row)
    return shown


def _cells(row: Row) -> tuple[Cell, ...]:
    names = [n.split(": ", 1)[1] for n in str(row["coincident_with"]).split("; ")]
    known = bool(row["near_bands_hz"])
    cost = of_row(
        row, "cost_at_most", f"{row['cost_at_most']:.0f}" if known else "not shown",
        table="resonances", unit=str(row["cost_unit"]),
    )  # fmt: skip
    where = f"{row['cost_room']}, {row['cost_criterion']}" if known else "–"
    owing: tuple[Run, ...] = ("–",)
    if known:
        many, reached = (
            of_row(row, n, f"{row[n]:.0f}", table="resonances")
            for n in ("rooms_1_db", "rooms_reached")
        )
        owing = (many, " of ", reached)
    return (
        Cell(runs=(_named(row),)),
        Cell(
            runs=(of_row(row, "frequency_hz", f"{row['frequency_hz']:.0f}", table="resonances",
                         unit="Hz"),)
        ),
        Cell(runs=(listed(dict.fromkeys(names)),)),
        Cell(runs=(listed(str(row["near_bands_hz"]).split()) or "outside",)),
        Cell(runs=(cost,)),
        Cell(runs=(where,)),
        Cell(runs=owing),
    )  # fmt: skip
