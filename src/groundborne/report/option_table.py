"""What each option takes and gives, one row an option."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne.rating import ANSWERS
from groundborne.report.added_mass import added_mass
from groundborne.report.assessment import rooms_met
from groundborne.report.equipment import equipment_met
from groundborne.report.marks import probability_mark
from groundborne.report.mount_table import mounts_table
from groundborne.study import Option, Study


def options_table(
    study: Study, result: xr.Dataset, table: pd.DataFrame, equipment: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Options with their probability, counts of rooms, deflection, height and cost.

    Parameters
    ----------
    study : Study
        Its options.
    result : Dataset
        Without samples.
    table : DataFrame
        The assessment of its rooms.
    equipment : DataFrame, optional
        That of its equipment.

    Returns
    -------
    DataFrame
        ``key, option, description``; ``probability_all`` with its standard error where it was
        worked out, and ``probability_all_bound``, ``at most`` where ratings are lower bounds; how
        many rooms have which answer, and how many pieces of equipment keep all limits, without
        errors; ``mount_frequency_low_hz`` and ``_high_hz``,
        ``deflection_low_mm`` and ``_high_mm`` of mounts under the column loads, ``load_low_kn``
        and ``_high_kn`` of one; ``rooms_treated``, ``most_depth_mm`` of constructions in rooms and
        ``floor_depth_mm`` of those on floors; ``added_mass_t`` of all of them and of mounts, nought
        without measures; ``cost`` where the study states one. What an option
        has none of is empty.
    """
    counts, mounts = rooms_met(table), mounts_table(study)
    pieces = None if equipment is None else equipment_met(equipment)
    rows: list[dict[str, Any]] = []
    for number, option in enumerate(study.options, start=1):
        of: Any = counts.loc[option.name]
        row: dict[str, Any] = {
            "key": f"O{number}",
            "option": option.name,
            "description": option.description,
        }
        if "probability_all" in result:
            row["probability_all"] = float(result["probability_all"].sel(option=option.name))
            error = result["probability_all_error"].sel(option=option.name)
            row["probability_all_error"] = float(error)
            own = table.loc[table["option"] == option.name, "rating_bound"]
            row["probability_all_bound"] = probability_mark(own)
        row |= {f"rooms_{a.value.replace(' ', '_')}": int(of[a.value]) for a in ANSWERS}
        row["rooms"] = int(of["rooms"])
        if pieces is not None:
            row |= {str(k): v for k, v in pieces.loc[option.name].to_dict().items()}
        row |= _mounts(mounts, option.name)
        row |= _depths(option)
        row["added_mass_t"] = added_mass(study, option) / 1e3
        cost = getattr(option, "cost", None)
        row["cost"] = np.nan if cost is None else float(cost)
        rows.append(row)
    return pd.DataFrame(rows)


def _mounts(mounts: pd.DataFrame, option: str) -> dict[str, float]:
    """Ends of frequency, deflection and load over the mounts of all parts."""
    found = {}
    here = mounts[mounts["option"] == option] if len(mounts) else mounts
    for name, unit in (("mount_frequency", "hz"), ("deflection", "mm"), ("load", "kn")):
        low, high = f"{name}_low_{unit}", f"{name}_high_{unit}"
        found[low] = float(here[low].min()) if len(here) else np.nan
        found[high] = float(here[high].max()) if len(here) else np.nan
    return found


def _depths(option: Option) -> dict[str, float]:
    rooms = {room for measure in option.measures for room in measure.rooms}
    deep, floors = [], []
    for measure in option.measures:
        if measure.box is None:
            continue
        for group, part in measure.box.parts.items():
            depth = 1e3 * float(np.max(np.asarray(part.build_up)))
            deep.append(depth)
            if group == "floor":
                floors.append(depth)
    return {
        "rooms_treated": len(rooms),
        "most_depth_mm": max(deep, default=np.nan),
        "floor_depth_mm": max(floors, default=np.nan),
    }
