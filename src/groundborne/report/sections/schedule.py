"""Mounts of the option of the report: loads, deflection, and what a schedule has to hold."""

from __future__ import annotations

from typing import Any

import numpy as np

from groundborne.report.facts import Facts
from groundborne.report.printed import of_row
from groundborne.report.tree import Bullets, Part, Runs, Section, Terms, say


def schedule_section(facts: Facts) -> Section:
    """Schedule and settlement."""
    row: Any = facts.frames["options"].set_index("option", drop=False).loc[facts.chosen].to_dict()
    parts: list[Part] = []
    if not np.isfinite(row["deflection_low_mm"]):
        parts.append(
            say(f"{facts.chosen} has no mounts under the building; nothing settles on them.")
        )
        return Section(key="schedule", title="Schedule and settlement", parts=tuple(parts))
    terms: list[tuple[str, Runs]] = []
    for name, unit, words, said, digits in (
        ("load", "kn", "Load on mounts of a column", "kN", 0),
        ("deflection", "mm", "Deflection under it", "mm", 0),
        ("mount_frequency", "hz", "Natural frequency on a rigid base", "Hz", 1),
    ):
        low, high = f"{name}_low_{unit}", f"{name}_high_{unit}"
        texts = [f"{row[c]:.{digits}f}" for c in (low, high)]
        runs: Runs = (of_row(row, low, texts[0], table="options", unit=said),)
        if texts[0] != texts[1]:
            runs = (*runs, " to ", of_row(row, high, texts[1], table="options", unit=said))
        terms.append((words, (*runs, f" {said}")))
    parts += [
        Terms(items=tuple(terms)),
        say(
            "Quasi-permanent column loads. The building goes down by the deflection when the "
            "mounts are loaded or released; what joins it to its surroundings before that has to "
            "follow. Differences of deflection between columns bend the frame and are for the "
            "structural engineer."
        ),
        Bullets(
            items=(
                (
                    (
                        "The mounts are described here by frequency and loss. The schedule of "
                        "parts, with residual travel, spread of deflection, column-loss "
                        "(accidental) case, wind and uplift, is a document of its own, which "
                        "sizing writes from the same loads."
                    ),
                ),
                (
                    (
                        "Deflections of delivered parts differ from these by the tolerance of "
                        "the parts; they are proven by the certificates of the maker and by a "
                        "survey of levels on site."
                    ),
                ),
            )
        ),
    ]
    return Section(key="schedule", title="Schedule and settlement", parts=tuple(parts))
