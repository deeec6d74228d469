"""Resonances of every option as rows, with those that coincide."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne.report.resonance_cost import ResonanceCosts
from groundborne.study import Study, resonances
from groundborne.study.natural_frequencies import coincidences


def resonances_table(study: Study, result: xr.Dataset) -> pd.DataFrame:
    """One row for each resonance of each option and part of the building.

    Parameters
    ----------
    study : Study
        Its options.
    result : Dataset
        Of it, without samples.

    Returns
    -------
    DataFrame
        ``key, option, part, kind, resonance, frequency_hz, low_hz, high_hz, floors,
        coincident_with``: names of those within a third of an octave on a common floor; of these
        ``near_bands_hz``, bands within a third of an octave of both, ``cost_at_most``, the most
        that a rating would be lower if these bands carried nothing, in ``cost_room`` on
        ``cost_criterion``, in ``cost_unit``, and ``rooms_1_db`` of ``rooms_reached`` rooms that owe
        them 1 dB or more. What cannot be told is empty.
    """
    rows: list[dict[str, Any]] = []
    costs = ResonanceCosts(study, result)
    labels, margin_units = (result[n].values.tolist() for n in ("criterion", "margin_unit"))
    units = dict(zip(map(str, labels), map(str, margin_units), strict=True))
    for number, option in enumerate(study.options, start=1):
        for part in study.parts:
            found = resonances(study, option, part=part.name)
            pairs = coincidences(found)
            for one in found:
                near = [b if a is one else a for a, b in pairs if a is one or b is one]
                cost = costs.of(option.name, part.name, one, near) if near else None
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
                        "near_bands_hz": " ".join(f"{b:g}" for b in cost.bands) if cost else "",
                        "cost_at_most": round(cost.most, 6) if cost else np.nan,
                        "cost_unit": units[cost.criterion] if cost else "",
                        "cost_room": cost.room if cost else "",
                        "cost_criterion": cost.criterion if cost else "",
                        "rooms_1_db": cost.rooms if cost else np.nan,
                        "rooms_reached": cost.of if cost else np.nan,
                    }
                )
    return pd.DataFrame(rows)
