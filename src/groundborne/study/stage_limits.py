"""What stated limits of isolation decide in a result.

Layers in rooms are held to a largest loss; base isolation is not, and may be predicted above what
one stage has been found to give in any band. Here both are told apart from what is predicted: bands
in which a largest loss stands for the layers, and decibels of base isolation beyond one stage. What
remains is not clipped; ratings are formed a second time with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne.isolation import TwoStageMount
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.levels import energy
from groundborne.path import COLUMN, Path
from groundborne.receiver import TreatedSurfaces
from groundborne.study.model import StudyModel
from groundborne.study.option import SURFACE_GROUPS, Option

MATTERS = 0.5
"""Change of a margin above which what causes it is said to decide it [dB, or NR]; common practice.
"""

HALF = 0.5
"""Share of the energy in bands that a largest loss decides, from which it decides the whole."""

_EXACT = 1e-9


def stage_limits(
    study: StudyModel, result: xr.Dataset, paths: Mapping[str, Path], to_floors: xr.DataArray | None
) -> xr.Dataset:
    """Bands in which a stated limit of one stage of isolation acts or is exceeded.

    Parameters
    ----------
    study : StudyModel
        What is evaluated.
    result : Dataset
        With ``level_change`` and, where there is `to_floors`, ``floor_change``.
    paths : mapping of str to Path
        Of its options.
    to_floors : DataArray or None
        Level change of every stage to mid-span [dB], dims (option, stage, ..., frequency).

    Returns
    -------
    xarray.Dataset
        ``base_excess`` (option, room, frequency) [dB]: by how much base isolation is predicted to
        lower the sound in a room by more than ``SINGLE_STAGE_LIMIT``, 0 where it is not;
        ``floor_base_excess`` likewise of the floor at mid-span; ``loss_limited`` (option, room,
        frequency): whether surfaces that are held to their largest loss radiate half of the sound
        of the room or more; ``floor_loss_limited`` whether the floor at mid-span is held to it.

    Notes
    -----
    The limit is for one stage; options on two-stage mounts exceed none.

    References
    ----------
    Walker and Mathers 1989 [seen].
    """
    single = xr.DataArray(
        [o.base is not None and not isinstance(o.base, TwoStageMount) for o in study.options],
        coords={"option": [o.name for o in study.options]},
    )
    change = result["level_change"]
    untreated = _sum(change, without="room_isolation")
    data = {"base_excess": _excess(untreated, _total(study.as_built, study.frequency), single)}
    if to_floors is not None:
        # Without a floating floor in any option there is no such stage.
        treated = to_floors.sel(stage=to_floors["stage"] == "floor_treatment").sum("stage")
        assert study.floor_motion is not None  # floor_change comes from it
        bare = study.floor_motion.path(study.as_built, mount=None, treatment=None)
        data["floor_base_excess"] = _excess(
            result["floor_change"] - treated, _total(bare, study.frequency), single
        )
        rooms = study.above_plane["room"]
        largest = {o.name: _largest(o, "floor", rooms) for o in study.options}
        data["floor_loss_limited"] = treated <= _EXACT - _by_option(largest)
    data["loss_limited"] = _by_option(
        {o.name: _limited(o, paths[o.name], study) for o in study.options}
    )
    for name, text in _WORDS.items():
        if name in data:
            data[name].attrs = {"long_name": text}
    found = xr.Dataset(data).reset_coords(drop=True)
    return found.transpose("option", "room", ..., "frequency", missing_dims="ignore")


_WORDS = {
    "base_excess": f"base isolation of the sound beyond {SINGLE_STAGE_LIMIT:g} dB, in dB",
    "floor_base_excess": f"base isolation at mid-span beyond {SINGLE_STAGE_LIMIT:g} dB, in dB",
    "loss_limited": "surfaces held to their largest loss radiate at least half of the sound",
    "floor_loss_limited": "the floor at mid-span is held to its largest loss",
}


def _by_option(parts: Mapping[str, xr.DataArray]) -> xr.DataArray:
    rows = [a.drop_attrs(deep=False).expand_dims(option=[o]) for o, a in parts.items()]
    rows = list(xr.broadcast(*rows, exclude=("option",)))
    joined: xr.DataArray = xr.concat(
        rows, dim="option", join="exact", coords="minimal", compat="override"
    )
    return joined


def _sum(change: xr.DataArray, *, without: str) -> xr.DataArray:
    kept = [s for s in change["stage"].values.tolist() if s != without]
    return change.sel(stage=kept).sum("stage", skipna=False)


def _total(path: Path, frequency: xr.DataArray) -> xr.DataArray:
    """Level change of a whole path [dB]."""
    total: Any = sum(path.level_changes(frequency).data_vars.values())
    return xr.DataArray(total).drop_attrs(deep=False)


def _excess(change: xr.DataArray, bare: xr.DataArray, single: xr.DataArray) -> xr.DataArray:
    beyond = bare - change - SINGLE_STAGE_LIMIT
    # Rounding of sums is no isolation.
    return beyond.where((beyond > _EXACT) & single, 0.0).drop_attrs(deep=False)


def _limited(option: Option, path: Path, study: StudyModel) -> xr.DataArray:
    """Where surfaces held to their largest loss radiate half of the sound, on room, frequency."""
    rooms, frequency = study.above_plane["room"], study.frequency
    none = xr.zeros_like(rooms, dtype=bool) & xr.zeros_like(frequency, dtype=bool)
    treated = path.elements.get("room_isolation")
    if not isinstance(treated, TreatedSurfaces):
        return none
    held, total = xr.zeros_like(none, dtype=float), xr.zeros_like(none, dtype=float)
    for name, surface in treated.surfaces.items():
        power = surface.power(frequency)
        if name in treated.treatments:
            change = treated.treatments[name].level_change(frequency)
            power = power * energy(change)
            held = held + power.where(change <= _EXACT - _largest(option, name, rooms), 0.0)
        total = total + power
    held, total = (_in_rooms(a, path, frequency) for a in (held, total))
    limited: xr.DataArray = (held >= HALF * total) & (held > 0)
    return limited.drop_attrs(deep=False)


def _in_rooms(power: xr.DataArray, path: Path, frequency: xr.DataArray) -> xr.DataArray:
    """Power over the square of each column's velocity, of all columns that a room hears."""
    last = path.giving(COLUMN)
    if "column" not in power.dims or path.weights is None or last is None:
        return power
    reaching = xr.DataArray(0.0)
    for element in path.up_to(last).elements.values():
        reaching = reaching + element.level_change(frequency)
    arriving, share = xr.align(power * energy(reaching), path.weights, join="exact")
    summed: xr.DataArray = xr.dot(arriving, share, dim="column")
    return summed


def _largest(option: Option, surface: str, rooms: xr.DataArray) -> xr.DataArray:
    """Largest loss stated for a surface in each room [dB]; infinite where there is none."""
    largest = xr.full_like(rooms, np.inf, dtype=float)
    for measure in option.measures:
        here = rooms.isin(list(measure.rooms))
        for group, treatment in measure.treatments.items():
            stated = getattr(treatment, "largest_loss", None)
            if surface in SURFACE_GROUPS[group] and stated is not None:
                largest = xr.where(here, stated, largest)
    return largest
