"""Levels and ratings of equipment, from how the floors under it move."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne.path import EQUIPMENT, TransmissionPath
from groundborne.receiver import Equipment
from groundborne.study.assessment import assess_places
from groundborne.study.band_sufficiency import total_below
from groundborne.study.equipment import (
    criteria_of,
    on_treated_floor,
    row_label,
    rows_of,
    standing,
    with_prefix,
)
from groundborne.study.evaluation import side_by_side
from groundborne.study.model import StudyModel
from groundborne.study.room_rating import BACKGROUND, CHANGES

_CHANGE, _BELOW, _LIMITED, _EXCESS = CHANGES["velocity"]


def equipment_results(study: StudyModel, result: xr.Dataset) -> xr.Dataset:
    """Levels, ratings and margins of all equipment, option by option.

    Parameters
    ----------
    study : Study
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
    on_floor = _each(
        elements, lambda one: TransmissionPath(**{one.name: one}).level_changes(f)[one.name]
    )
    floor = result[_CHANGE].reset_coords(drop=True)

    def row(equipment: Equipment, axis: str) -> xr.DataArray:
        here = floor.sel(room=equipment.room, drop=True)
        return here + _options(on_floor, equipment, axis)

    change = _rows(study, row)
    data = {_CHANGE: change, "source_level": result["source_level"]}
    if _BELOW in result:
        below = result[_BELOW].reset_coords(drop=True)
        labels = bands.coordinate(below["band_below"].values)

        on_floor_below = _each(
            elements,
            lambda one: total_below(TransmissionPath(**{one.name: one}), labels, f).rename(
                frequency="band_below"
            ),
        )

        def row_below(equipment: Equipment, axis: str) -> xr.DataArray:
            here = below.sel(room=equipment.room, drop=True)
            return here + _options(on_floor_below, equipment, axis)

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
    """By option and name, equipment as it then stands; one object where options are alike."""
    found: dict[str, dict[str, Equipment]] = {option.name: {} for option in study.options}
    known: dict[tuple[Any, ...], Equipment] = {}
    for part in study.parts:
        for option, there in study.seen_by(part):
            for one in study.equipment:
                if one.room in part.rooms:
                    mounts = option.equipment.get(one.name, one.mounts)
                    key = (one.name, id(mounts), on_treated_floor(one, option), id(there))
                    if key not in known:
                        known[key] = standing(one, option, there)
                    found[option.name][one.name] = known[key]
    return found


_Changes = dict[str, dict[str, xr.DataArray]]


def _each(
    elements: Mapping[str, Mapping[str, Equipment]], make: Callable[[Equipment], xr.DataArray]
) -> _Changes:
    """What is made of equipment, by option and name; of the same object once."""
    made: dict[int, xr.DataArray] = {}
    for of in elements.values():
        for one in of.values():
            if id(one) not in made:
                made[id(one)] = make(one)
    return {
        option: {name: made[id(one)] for name, one in of.items()} for option, of in elements.items()
    }


def _options(changes: _Changes, equipment: Equipment, axis: str) -> xr.DataArray:
    each = {option: of[equipment.name].sel(axis=axis, drop=True) for option, of in changes.items()}
    return side_by_side(each, dim="option")


def _background(equipment: Equipment, frequency: xr.DataArray) -> xr.DataArray:
    """Vertical velocity of the floor without trains [dB re 1 nm/s]; nothing where none is given."""
    if equipment.background is None:
        return xr.full_like(frequency, -np.inf, dtype=float).drop_attrs(deep=False)
    level = levels.convert(equipment.background, reference="1 nm/s")
    ends = frequency.values[[0, -1]]
    return bands.select(level, float(ends[0]), float(ends[1])).drop_attrs(deep=False)


def _rows(study: StudyModel, row: Any) -> xr.DataArray:
    """One row for each piece of equipment and axis."""
    each = {row_label(one, axis): row(one, axis) for one, axis in rows_of(study.equipment)}
    return side_by_side(each, dim="equipment")


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
