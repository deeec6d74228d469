"""What stated limits of isolation decide in a result.

Layers in rooms come close to a largest loss, and so does base isolation by what passes beside its
mounts. Where a study counts no such way, or a quieter one, base isolation may be predicted above
what one stage has been found to give in any band. Here both are told apart from what is predicted:
bands in which a largest loss stands for the layers, and decibels of base isolation beyond one
stage. What remains is not clipped; ratings are formed a second time with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne.isolation import stages_of
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.levels import energy
from groundborne.path import COLUMN, TransmissionPath
from groundborne.path.answers import Answers
from groundborne.path.columns import weighted_mean
from groundborne.receiver import TreatedSurfaces
from groundborne.study.evaluation import side_by_side
from groundborne.study.floor_motion import FLOOR_TREATMENT
from groundborne.study.model import StudyModel
from groundborne.study.option import SURFACE_GROUPS, Option
from groundborne.study.part import Part

MATTERS = 0.5
"""Change of a margin above which what causes it is said to decide it [dB, or NR]; common practice.
"""

HALF = 0.5
"""Share of the energy in bands that a largest loss decides, from which it decides the whole."""

_EXACT = 1e-9
_EVEN = 10 * np.log10(2.0)  # where a layer and the way beside it pass alike [dB]


def stage_limits(
    study: StudyModel,
    part: Part,
    answers: Answers,
    paths: Mapping[str, TransmissionPath],
    change: xr.DataArray,
    to_floors: xr.DataArray | None,
) -> xr.Dataset:
    """Bands in which a stated limit of one stage of isolation acts or is exceeded.

    Parameters
    ----------
    study : Study
        What is evaluated.
    part : Part
        Of its building.
    answers : Answers
        Of the steps of its paths.
    paths : mapping of str to TransmissionPath
        Of its options, to the sound.
    change, to_floors : DataArray
        Level change of every stage, to the sound and to mid-span of the floors [dB], dims (option,
        stage, ..., frequency); the latter may be none.

    Returns
    -------
    xarray.Dataset
        ``base_excess`` (option, room, frequency) [dB]: by how much base isolation is predicted to
        lower the sound in a room by more than ``SINGLE_STAGE_LIMIT``, 0 where it is not;
        ``floor_base_excess`` likewise of the floor at mid-span; ``loss_limited`` (option, room,
        frequency): whether surfaces whose largest loss decides, because the way it stands for
        passes more than the layer, radiate half of the sound of the room or more;
        ``floor_loss_limited`` whether it decides for the floor at mid-span.

    Notes
    -----
    The limit is for one stage; options on two-stage mounts exceed none.

    References
    ----------
    Walker and Mathers 1989 [seen].
    """
    rooms = part.room_labels
    found: dict[str, dict[str, xr.DataArray]] = {name: {} for name in _WORDS}
    built: dict[int, tuple[xr.DataArray, xr.DataArray | None]] = {}  # most options change no part
    for option, there in study.seen_by(part):
        if id(there) not in built:
            built[id(there)] = _as_built(there, answers)
        heard, felt = built[id(there)]
        single = option.base is not None and stages_of(option.base) == 1
        path = paths[option.name]
        layers = [n for n, e in path.elements.items() if isinstance(e, TreatedSurfaces)]
        untreated = _sum(change.sel(option=option.name).drop_sel(stage=layers))
        found["base_excess"][option.name] = _excess(untreated, heard, single)
        found["loss_limited"][option.name] = _limited(option, path, layers, rooms, answers)
        if felt is not None and to_floors is not None:
            steps = to_floors.sel(option=option.name)
            # Without a floating floor in any option there is no such stage.
            own = steps["stage"] == FLOOR_TREATMENT
            untreated = _sum(steps.sel(stage=~own))
            found["floor_base_excess"][option.name] = _excess(untreated, felt, single)
            held = _sum(steps.sel(stage=own)) <= _EVEN - _largest(option, "floor", rooms)
            found["floor_loss_limited"][option.name] = held
    data = {name: side_by_side(each, dim="option") for name, each in found.items() if each}
    for name, array in data.items():
        array.attrs = {"long_name": _WORDS[name]}
    return xr.Dataset(data).reset_coords(drop=True)


_WORDS = {
    "base_excess": f"base isolation of the sound beyond {SINGLE_STAGE_LIMIT:g} dB, in dB",
    "floor_base_excess": f"base isolation at mid-span beyond {SINGLE_STAGE_LIMIT:g} dB, in dB",
    "loss_limited": "surfaces whose largest loss decides radiate at least half of the sound",
    "floor_loss_limited": "the largest loss of the floor at mid-span decides",
}


def _as_built(part: Part, answers: Answers) -> tuple[xr.DataArray, xr.DataArray | None]:
    """Level change of a part without measures, to the sound and to mid-span [dB]."""
    motion = part.floor_motion
    bare = None if motion is None else motion.path(part.as_built, mount=None, treatment=None)
    return _total(part.as_built, answers), None if bare is None else _total(bare, answers)


def _sum(change: xr.DataArray) -> xr.DataArray:
    return change.sum("stage", skipna=False).reset_coords(drop=True)


def _total(path: TransmissionPath, answers: Answers) -> xr.DataArray:
    """Level change of a whole path [dB]."""
    total: Any = sum(path.changes_in(answers).data_vars.values())
    return xr.DataArray(total).drop_attrs(deep=False)


def _excess(change: xr.DataArray, bare: xr.DataArray, single: bool) -> xr.DataArray:
    beyond = bare - change - SINGLE_STAGE_LIMIT
    # Rounding of sums is no isolation.
    return beyond.where((beyond > _EXACT) & single, 0.0).drop_attrs(deep=False)


def _limited(
    option: Option,
    path: TransmissionPath,
    layers: Sequence[str],
    rooms: xr.DataArray,
    answers: Answers,
) -> xr.DataArray:
    """Where surfaces whose largest loss decides radiate half of the sound, on room, frequency."""
    frequency = answers.frequency
    none = xr.zeros_like(rooms, dtype=bool) & xr.zeros_like(frequency, dtype=bool)
    treated = path.elements[layers[0]] if layers else None
    if not isinstance(treated, TreatedSurfaces):
        return none
    held, total = xr.zeros_like(none, dtype=float), xr.zeros_like(none, dtype=float)
    for name, surface in treated.surfaces.items():
        power = surface.power_in(answers)
        if name in treated.treatments:
            change = answers.level_change(treated.treatments[name])
            power = power * energy(change)
            held = held + power.where(change <= _EVEN - _largest(option, name, rooms), 0.0)
        total = total + power
    held, total = (_in_rooms(a, path, answers) for a in (held, total))
    limited: xr.DataArray = (held >= HALF * total) & (held > 0)
    return limited.drop_attrs(deep=False)


def _in_rooms(power: xr.DataArray, path: TransmissionPath, answers: Answers) -> xr.DataArray:
    """Power over the square of each column's velocity, of all columns that a room hears."""
    last = path.giving(COLUMN)
    if "column" not in power.dims or path.weights is None or last is None:
        return power
    reaching = xr.DataArray(0.0)
    for element in path.up_to(last).elements.values():
        reaching = reaching + answers.level_change(element)
    return weighted_mean(power * energy(reaching), path.weights)


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
