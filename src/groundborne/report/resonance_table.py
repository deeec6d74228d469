"""Resonances of every option as rows, with those that coincide."""

from __future__ import annotations

from typing import Any

import pandas as pd

from groundborne.study import Study, resonances
from groundborne.study.natural_frequencies import coincidences


def resonances_table(study: Study) -> pd.DataFrame:
    """One row for each resonance of each option and part of the building.

    Parameters
    ----------
    study : Study
        Its options.

    Returns
    -------
    DataFrame
        ``key, option, part, kind, resonance, frequency_hz, low_hz, high_hz, floors,
        coincident_with``: names of those within a third of an octave on a common floor.
    """
    rows: list[dict[str, Any]] = []
    for number, option in enumerate(study.options, start=1):
        for part in study.parts:
            found = resonances(study, option, part=part.name)
            pairs = coincidences(found)
            for one in found:
                near = [b if a is one else a for a, b in pairs if a is one or b is one]
                low, high = one.span or (one.frequency, one.frequency)
                rows.append(
                    {
                        "key": f"O{number}-F{len(rows) + 1}",
                        "option": option.name,
                        "part": part.name,
                        "kind": one.kind,
                        "resonance": one.name,
                        "frequency_hz": one.frequency,
                        "low_hz": low,
                        "high_hz": high,
                        "floors": " ".join(sorted(one.floors)),
                        "coincident_with": "; ".join(f"{o.kind}: {o.name}" for o in near),
                    }
                )
    return pd.DataFrame(rows)
