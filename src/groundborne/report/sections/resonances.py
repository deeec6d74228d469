"""Resonances that coincide, with their consequence, and base isolation beside theory."""

from __future__ import annotations

from collections.abc import Sequence

from groundborne.bands import label
from groundborne.report.assessment import listed
from groundborne.report.facts import Facts, Row
from groundborne.report.picture import Picture
from groundborne.report.printed import margin_cell, of_row
from groundborne.report.tree import Cell, Column, Listing, Part, Ref, Section, say
from groundborne.study.natural_frequencies import NEAR


def resonances_section(facts: Facts, figures: Sequence[Picture]) -> Section:
    """Coincident resonances of the option of the report."""
    frame = facts.frames["resonances"]
    own = frame[(frame["option"] == facts.chosen) & (frame["coincident_with"] != "")]
    parts: list[Part] = []
    if not len(own):
        parts.append(say(f"With {facts.chosen} no two resonances lie within a third of an octave."))
    else:
        rows = []
        for row in own.to_dict("records"):
            names = [n.split(": ", 1)[1] for n in str(row["coincident_with"]).split("; ")]
            worst = next((r for r in facts.urgent if _governed(facts, r, row)), None)
            consequence = (
                Cell(runs=("governs no room",))
                if worst is None
                else margin_cell(worst, facts.scales[str(worst["criterion"])])
            )
            where = (
                "" if worst is None else f"{worst['room']}, {label(facts.governing_band(worst))} Hz"
            )
            rows.append(
                (
                    Cell(runs=(_named(row),)),
                    Cell(runs=(of_row(row, "frequency_hz", f"{row['frequency_hz']:.0f}",
                                      table="resonances", unit="Hz"),)),
                    Cell(runs=(listed(dict.fromkeys(names)),)),
                    Cell(runs=(where or "–",)),
                    consequence,
                )
            )  # fmt: skip
        parts += [
            say(
                "Resonances within a third of an octave of each other, on a floor that both reach: "
                "each amplifies what the other passes. The consequence is in the ratings already; "
                "the last columns name the room where the band near the pair governs, and its "
                "margin. A resonance that moves by a band changes that rating; see ",
                Ref(key="decides") if facts.sure else Ref(key="results"),
                ".",
            ),
            Listing(
                key="coincident",
                caption=f"Coincident resonances with {facts.chosen}",
                columns=(
                    Column(name="Resonance"), Column(name="Frequency", unit="Hz", align="right"),
                    Column(name="Coincides with", wide=True), Column(name="Governs in"),
                    Column(name="Margin there", unit="dB or NR", align="right"),
                ),
                rows=tuple(rows),
                table="resonances",
                invented=facts.study.invented,
            ),
        ]  # fmt: skip
    parts += [p.figure for p in figures]
    return Section(key="resonances", title="Coincident resonances", parts=tuple(parts))


def _named(row: Row) -> str:
    part = f" ({row['part']})" if row["part"] else ""
    return f"{row['resonance']}{part}"


def _governed(facts: Facts, rating: Row, row: Row) -> bool:
    """Whether the governing band of a rating lies within a third of an octave of a resonance."""
    band, at = facts.governing_band(rating), float(str(row["frequency_hz"]))
    floors = str(row["floors"])
    on_floor = not floors or str(rating["floor"]) in floors
    part = str(facts.single["part_of_room"].sel(room=rating["room"]).item())
    return max(band, at) < NEAR * min(band, at) and on_floor and part == row["part"]
