"""Levels and ratings of equipment, from how the floors under it move."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne.path import EQUIPMENT, Path
from groundborne.receiver import Equipment
from groundborne.study.assessment import assess_places
from groundborne.study.band_sufficiency import total_below
from groundborne.study.equipment import (
    criteria_of,
    row_label,
    rows_of,
    standing,
    with_prefix,
)
from groundborne.study.model import StudyModel
from groundborne.study.room_rating import BACKGROUND, CHANGES

_CHANGE, _BELOW, _LIMITED, _EXCESS = CHANGES["velocity"]


def equipment_results(study: StudyModel, result: xr.Dataset) -> xr.Dataset:
    """Levels, ratings and margins of all equipment, option by option.

    Parameters
    ----------
    study : StudyModel
        With equipment or without.
    result : Dataset
        Of its rooms, with the motion of their floors.

    Returns
    -------
    xarray.Dataset
        What :func:`~groundborne.study.equipment_assessment` takes out; empty without equipment.
    """
    if not study.equipment:
        return xr.Dataset()
    f = study.frequency
    elements = standing_equipment(study)
    on_floor = {
        name: Path(**{f"equipment {name}": one}).level_changes(f)[f"equipment {name}"]
        for name, one in _by_key(elements).items()
    }
    floor = result[_CHANGE].reset_coords(drop=True)

    def row(equipment: Equipment, axis: str) -> xr.DataArray:
        here = floor.sel(room=equipment.room, drop=True)
        own = _options(
            {
                option: on_floor[_key(option, equipment.name)].sel(axis=axis, drop=True)
                for option, of in elements.items()
            }
        )
        return here + own

    change = _rows(study, row)
    data = {_CHANGE: change, "source_level": result["source_level"]}
    if _BELOW in result:
        below = result[_BELOW].reset_coords(drop=True)
        labels = bands.coordinate(below["band_below"].values)

        def row_below(equipment: Equipment, axis: str) -> xr.DataArray:
            own = {
                option: total_below(Path(equipment=of[equipment.name]), labels, f)
                .sel(axis=axis, drop=True)
                .rename(frequency="band_below")
                for option, of in elements.items()
            }
            return below.sel(room=equipment.room, drop=True) + _options(own)

        data[_BELOW] = _rows(study, row_below)
    for name in (_LIMITED, _EXCESS):
        if name in result:
            of_room = result[name].reset_coords(drop=True)
            data[name] = _rows(study, lambda e, _, a=of_room: a.sel(room=e.room, drop=True))
    if any(one.background is not None for one in study.equipment):

        def at_source(equipment: Equipment, _: str) -> xr.DataArray:
            return _background(equipment, f) - floor.sel(room=equipment.room, drop=True)

        data[BACKGROUND] = _rows(study, at_source)
    rated = assess_places(
        xr.Dataset(data),
        criteria={
            row_label(one, axis): study.criteria[criteria_of(one, axis)]
            for one, axis in rows_of(study.equipment)
        },
        periods=study.periods,
        place="equipment",
    )
    change.attrs = {"long_name": "level change, source to equipment", "units": "dB"}
    level = levels.stamp(
        change.drop_attrs(deep=False) + levels.energy_mean(study.source, "passby"),
        quantity="velocity",
        reference="1 nm/s",
        long_name="velocity of equipment, energy mean of passbys",
        location=EQUIPMENT.location,
        time_weighting=study.source.attrs.get("time_weighting", ""),
    )
    found = rated.assign(change=change, level=level.reset_coords(drop=True))
    found = found.assign_coords(_coordinates(study)).transpose(
        "option", "equipment", ..., "frequency"
    )
    return with_prefix(found)


def standing_equipment(study: StudyModel) -> dict[str, dict[str, Equipment]]:
    """By option and name, equipment as it then stands."""
    found: dict[str, dict[str, Equipment]] = {option.name: {} for option in study.options}
    for part in study.parts:
        for option, there in study.seen_by(part):
            for one in study.equipment:
                if one.room in part.rooms:
                    found[option.name][one.name] = standing(one, option, there)
    return found


def _key(option: str, name: str) -> str:
    return f"{name}, option {option!r}"


def _by_key(elements: Mapping[str, Mapping[str, Equipment]]) -> dict[str, Equipment]:
    return {_key(option, name): one for option, of in elements.items() for name, one in of.items()}


def _background(equipment: Equipment, frequency: xr.DataArray) -> xr.DataArray:
    """Vertical velocity of the floor without trains [dB re 1 nm/s]; nothing where none is given."""
    if equipment.background is None:
        return xr.full_like(frequency, -np.inf, dtype=float).drop_attrs(deep=False)
    level = levels.convert(equipment.background, reference="1 nm/s")
    ends = frequency.values[[0, -1]]
    return bands.select(level, float(ends[0]), float(ends[1])).drop_attrs(deep=False)


def _options(each: Mapping[str, xr.DataArray]) -> xr.DataArray:
    return _joined(each, "option")


def _rows(study: StudyModel, row: Any) -> xr.DataArray:
    """One row for each piece of equipment and axis."""
    each = {row_label(one, axis): row(one, axis) for one, axis in rows_of(study.equipment)}
    return _joined(each, "equipment")


def _joined(each: Mapping[str, xr.DataArray], dim: str) -> xr.DataArray:
    arrays = xr.broadcast(*(a.drop_attrs(deep=False) for a in each.values()))
    joined: xr.DataArray = xr.concat(
        list(arrays), dim=xr.Variable(dim, list(each)), join="exact", coords="minimal",
        compat="override",
    )  # fmt: skip
    return joined


def _coordinates(study: StudyModel) -> dict[str, Any]:
    floors = study.building.rooms["floor_of_room"]
    rows = rows_of(study.equipment)
    columns = {
        "name": [one.name for one, _ in rows],
        "axis": [axis for _, axis in rows],
        "room": [one.room for one, _ in rows],
        "floor": [str(floors.sel(room=one.room).item()) for one, _ in rows],
    }
    return {name: ("equipment", values) for name, values in columns.items()}
