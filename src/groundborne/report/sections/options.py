"""Options side by side: how sure, how high, how deep, how heavy, what they cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from groundborne.report.facts import Facts
from groundborne.report.figures import source_words
from groundborne.report.picture import Picture
from groundborne.report.printed import minus, of_row, probability_run
from groundborne.report.tree import (
    Bullets,
    Cell,
    Column,
    Listing,
    Part,
    Run,
    Section,
    Strong,
    say,
)
from groundborne.report.words import options_in_words


def options_section(facts: Facts, figures: Sequence[Picture]) -> Section:
    """Comparison, with what each option is in words."""
    frame = facts.frames["options"]
    several = len(frame) > 1
    rows = frame.to_dict("records")
    columns = [Column(name="Option", wide=True)]
    if facts.sure:
        columns.append(Column(name="All met", unit="probability", align="right"))
    columns.append(Column(name="Rooms that meet all", align="right"))
    ranges = [
        ("mount_frequency", "hz", "Mounts", "Hz"),
        ("deflection", "mm", "Deflection", "mm"),
    ]
    ranges = [r for r in ranges if np.isfinite(frame[f"{r[0]}_low_{r[1]}"]).any()]
    columns += [Column(name=words, unit=unit, align="right") for _, _, words, unit in ranges]
    ones = [
        ("rooms_treated", "Rooms treated", ""),
        ("floor_depth_mm", "Floor build-up", "mm"),
        ("most_depth_mm", "Deepest construction", "mm"),
        ("added_mass_t", "Added mass", "t"),
        ("cost", "Cost", str(getattr(facts.study, "currency", "")) or "as the study states"),
    ]
    ones = [o for o in ones if _told(frame[o[0]])]
    columns += [Column(name=words, unit=unit, align="right") for _, words, unit in ones]
    cells = []
    for row in rows:
        line = [Cell(runs=(f"{row['key']} {row['option']}",))]
        if facts.sure:
            line.append(Cell(runs=(probability_run(row, "probability_all", "options"),)))
        met, of = (of_row(row, n, f"{row[n]:.0f}", table="options") for n in ("rooms_met", "rooms"))
        line.append(Cell(runs=(met, " of ", of)))
        line += [Cell(runs=_range(row, name, unit)) for name, unit, _, _ in ranges]
        line += [Cell(runs=(_one(row, name),)) for name, _, _ in ones]
        cells.append(tuple(line))
    parts: list[Part] = [
        Listing(
            key="options-compared",
            caption=("Options compared" if several else "The option")
            + "; frequency and deflection of mounts under the quasi-permanent column loads"
            * bool(ranges)
            + (
                "; added mass of constructions in rooms, openings not taken off, and of mounts "
                "whose own mass is stated"
            )
            * bool(_told(frame["added_mass_t"])),
            columns=tuple(columns),
            rows=tuple(cells),
            table="options",
            invented=facts.study.invented,
        )
    ]
    absent = [
        words
        for name, words in (
            ("cost", "costs"),
            ("floor_depth_mm", "build-up heights of floors"),
            ("added_mass_t", "masses of what options add"),
        )
        if frame[name].isna().any() and not _told(frame[name])
    ]
    if absent:
        parts.append(
            say(
                f"The study states no {' and no '.join(absent)}"
                f"{'; they are not compared' * several}.",
                small=True,
            )
        )
    if figures:
        parts.append(
            say(
                f"Figures: predicted from {source_words(facts.single)}; limits and costs from the "
                "study file.",
                small=True,
            )
        )
    parts += [p.figure for p in figures]
    parts.append(say(Strong(text="Options in words" if several else "The option in words")))
    items = []
    for name, description, measures in options_in_words(facts.study):
        runs: list[Run] = [Strong(text=f"{facts.short(name)} {name}")]
        told = [t for t in (description, *measures) if t]
        runs.append(": " + "; ".join(t.rstrip(".") for t in told) + ".")
        items.append(tuple(runs))
    parts.append(Bullets(items=tuple(items)))
    return Section(
        key="options", title="Options compared" if several else "The option", parts=tuple(parts)
    )


def _range(row: Mapping[Any, Any], name: str, unit: str) -> tuple[Run, ...]:
    low, high = f"{name}_low_{unit}", f"{name}_high_{unit}"
    if not np.isfinite(row[low]):
        return ("–",)
    digits = 1 if unit == "hz" else 0
    texts = [minus(f"{row[c]:.{digits}f}") for c in (low, high)]
    said = {"hz": "Hz", "mm": "mm"}[unit]
    first = of_row(row, low, texts[0], table="options", unit=said)
    if texts[0] == texts[1]:
        return (first,)
    return (first, " to ", of_row(row, high, texts[1], table="options", unit=said))


def _one(row: Mapping[Any, Any], name: str) -> Run:
    if not np.isfinite(row[name]):
        return "–"
    digits = 1 if name == "added_mass_t" and 0 < row[name] < _LIGHT else 0
    return of_row(row, name, f"{row[name]:,.{digits}f}".replace(",", " "), table="options")


_LIGHT = 10.0  # t, below which whole tonnes say little


def _told(column: pd.Series) -> bool:
    """Whether any option has a number that is not nought."""
    return bool((np.isfinite(column) & (column != 0)).any())
