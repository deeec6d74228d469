"""Mounts of every option, one row a column: where they stand, what they carry, how far they go."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne.isolation import Mount
from groundborne.structure.element import GRAVITY
from groundborne.study import Study
from groundborne.study.masses import natural_frequency
from groundborne.study.part import Part
from groundborne.study.plane import Plane
from groundborne.study.service import described

ALL = "all"
"""In place of a column where a building is one mass on its mounts."""


def mounts_table(study: Study) -> pd.DataFrame:
    """Mounts by option, part of the building and column.

    Parameters
    ----------
    study : Study
        Its options.

    Returns
    -------
    DataFrame
        ``key, option, part, column, x_m, y_m`` (empty where not known), and from the lowest to the
        highest of states and samples ``load``, ``deflection``, ``mount_frequency`` as in the table
        of the options. No rows where nothing stands on mounts.
    """
    rows: list[dict[str, Any]] = []
    for number, option in enumerate(study.options, start=1):
        for whole in study.parts:
            seen, part = option.seen_by(whole)
            if seen.base is None or part.plane is None:
                continue
            key = f"O{number}-{whole.name}-" if whole.name else f"O{number}-"
            for row in _rows(study, seen.base, part.plane, part):
                head = {"key": key + row["column"], "option": option.name, "part": whole.name}
                rows.append(head | row)
    return pd.DataFrame(rows)


def _rows(study: Study, mount: Mount, plane: Plane, part: Part) -> list[dict[str, Any]]:
    mass: Any = plane.mass
    weight = mass * GRAVITY
    numbers = {
        ("load", "kn"): _by_column(weight * 1e-3),
        ("deflection", "mm"): _by_column(described(mount).static_deflection(weight) * 1e3),
        ("mount_frequency", "hz"): _by_column(natural_frequency(mount, mass)),
    }
    names = list(dict.fromkeys(name for found in numbers.values() for name in found))
    names = [n for n in names if n != ALL] or [ALL]
    place = _places(study, part)
    rows = []
    for name in names:
        row: dict[str, Any] = {"column": name}
        row["x_m"], row["y_m"] = place.get(name, (np.nan, np.nan))
        for (what, unit), found in numbers.items():
            ends = found.get(name, found.get(ALL, (np.nan, np.nan)))
            row[f"{what}_low_{unit}"], row[f"{what}_high_{unit}"] = ends
        rows.append(row)
    return rows


def _by_column(values: Any) -> dict[str, tuple[float, float]]:
    """Ends over all other dims by column."""
    if isinstance(values, xr.DataArray) and "column" in values.dims:
        others = [d for d in values.dims if d != "column"]
        low, high = values.min(others).values, values.max(others).values
        names = values["column"].values.tolist()
        return {
            str(n): (float(a), float(b)) for n, a, b in zip(names, low, high, strict=True)
        }  # fmt: skip
    flat = np.ravel(np.asarray(values, dtype=float))
    return {ALL: (float(flat.min()), float(flat.max()))}


def _places(study: Study, part: Part) -> dict[str, tuple[float, float]]:
    """Coordinates of its columns [m], where a table of loads holds them."""
    loads = part.loads or study.building.loads
    if loads is None or not {"x", "y"} <= set(loads.data):
        return {}
    names = loads.data["column"].values.tolist()
    each = zip(names, loads.data["x"].values, loads.data["y"].values, strict=True)
    return {str(n): (float(x), float(y)) for n, x, y in each}
