"""Rooms that share results, and the room that governs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne import levels
from groundborne.rating.answers import weight_of, worst_answer
from groundborne.report.assessment import listed
from groundborne.study.equipment import without_equipment

_OUTWEIGHS = 1e6


@dataclass(frozen=True, kw_only=True)
class RoomSet:
    """Rooms of one group on one floor with equal results.

    Parameters
    ----------
    group, floor : str
        Of all of them.
    rooms : tuple of str
        Labels.
    names : tuple of str
        Names, without repeats.
    margin : float
        The least margin over options and criteria [dB or NR].
    """

    group: str
    floor: str
    rooms: tuple[str, ...]
    names: tuple[str, ...]
    margin: float

    @property
    def first(self) -> str:
        """The room that stands for all."""
        return self.rooms[0]

    @property
    def words(self) -> str:
        """Which rooms, in words."""
        if len(self.rooms) == 1:
            return f"Room {self.rooms[0]} ({self.names[0]}), floor {self.floor}"
        return f"Rooms {listed(self.rooms)} ({self.group}), floor {self.floor}, with equal results"


def single_case(result: xr.Dataset) -> xr.Dataset:
    """One spectrum for each option and room where a floor may have one of several frequencies.

    The case with the highest mean sound level, or where sound does not depend on it the highest
    velocity of the floor, stands whole: never an envelope of several spectra.
    """
    if "floor_frequency" not in result.dims:
        return result
    result = without_equipment(result)  # of rooms; each has a case of its own
    sound = result["sound_level"]
    if "floor_frequency" in sound.dims:
        level = levels.energy_mean(sound, "passby")
    else:  # only the vibration of the floors depends on it
        level = levels.energy_sum(result["floor_level"], "frequency")
    worst = level.argmax("floor_frequency")
    return result.isel(floor_frequency=worst).drop_vars("floor_frequency")


def least_margin(result: xr.Dataset) -> xr.DataArray:
    """Least margin over the criteria that apply, on (option, room) [dB or NR]."""
    least: xr.DataArray = result["margin"].where(result["applies"], np.inf).min("criterion")
    return least.transpose("option", "room")


def _standing(result: xr.Dataset) -> xr.DataArray:
    """How each room does, on (option, room): by its answer first, then by its least margin."""
    answers = weight_of(worst_answer(result["answer"], "criterion"))
    # Margins are some tens of decibels; the answer outweighs them.
    return (_OUTWEIGHS * answers + least_margin(result)).transpose("option", "room")


def best_option(result: xr.Dataset) -> str:
    """The option whose worst room does best: by its answer first, then by its least margin."""
    worst = _standing(result).min("room")
    return str(worst["option"].values[int(worst.argmax("option"))])


def governing_room(
    result: xr.Dataset, *, option: str | None = None, group: str | None = None
) -> str:
    """The room that does worst, of one option or group or of all: not met before not shown."""
    standing = _standing(result)
    if option is not None:
        standing = standing.sel(option=[option])
    if group is not None:
        standing = standing.isel(room=standing["room_group"].values == group)
    worst = standing.min("option")
    return str(worst["room"].values[int(worst.argmin("room"))])


def room_sets(result: xr.Dataset) -> list[RoomSet]:
    """Rooms of one group, on one floor, with the same limits and equal spectra, together."""
    spectra = result["mean_level"].transpose("room", "option", "frequency").values
    limits = result["limit"].transpose("room", "criterion").values
    margin = least_margin(result).min("option").values
    kinds: dict[tuple[str, ...], list[int]] = {}
    for i, (group, floor) in enumerate(
        zip(result["room_group"].values, result["floor_of_room"].values, strict=True)
    ):
        # Rounded to what no picture shows, so that the order of a sum splits nothing.
        key = (
            str(group),
            str(floor),
            (spectra[i].round(3) + 0.0).tobytes().hex(),
            str(limits[i].tolist()),
        )
        kinds.setdefault(key, []).append(i)
    names, labels = result["room_name"].values, result["room"].values
    return [
        RoomSet(
            group=key[0],
            floor=key[1],
            rooms=tuple(str(labels[i]) for i in members),
            names=tuple(dict.fromkeys(str(names[i]) for i in members)),
            margin=float(margin[members].min()),
        )
        for key, members in kinds.items()
    ]
