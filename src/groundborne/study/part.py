"""Parts of a building that stand apart: each with its structure, its path and its isolation plane.

A hall and an annexe with a joint between them, rooms whose transfer was measured beside rooms that
are computed: within a part all rooms share one path, and between parts nothing is shared but the
source. A building without joints is one part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._causes import arrays
from groundborne._checks import StudyError
from groundborne.loads import ColumnLoads
from groundborne.path import TransmissionPath
from groundborne.propagation import FreeFoundation, FundamentalAmplification
from groundborne.receiver import Surface
from groundborne.study.building import Building
from groundborne.study.floor_motion import FloorMotion
from groundborne.study.frame import Frame
from groundborne.study.plane import Plane


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """A part of a building, from its foundation to its rooms.

    Parameters
    ----------
    name : str
        Empty where the building is one part.
    rooms : sequence of str
        Rooms in it.
    as_built : TransmissionPath
        From source to these rooms without any measure, for all of them at once.
    surfaces : mapping of str to Surface, optional
        Radiating surfaces of the rooms, where the path sums over them.
    floor_motion : FloorMotion, optional
        How floors move at mid-span, where people feel them; criteria of vibration need it.
    plane : Plane, optional
        Where it can be isolated: a :class:`Frame` of column lines, or a :class:`MobilityPlane`.
    loads : ColumnLoads, optional
        Of its columns, where the building has several parts; else those of the building are its.
    free_foundation : FreeFoundation, optional
        What the foundation of its column lines makes of the ground by its size and mass, whether
        its path has that step or not.

    Raises
    ------
    StudyError
        No rooms; a step of the path that is on ``floor`` in place of ``room``.
    """

    name: str = ""
    rooms: Sequence[str]
    as_built: TransmissionPath
    surfaces: Mapping[str, Surface] | None = None
    floor_motion: FloorMotion | None = None
    plane: Plane | None = None
    loads: ColumnLoads | None = None
    free_foundation: FreeFoundation | None = None

    def __post_init__(self) -> None:
        if not self.rooms:
            raise StudyError(f"{self.in_words}: there is no room in it")
        object.__setattr__(self, "rooms", tuple(self.rooms))
        for name, step in self.as_built.elements.items():
            if any("floor" in array.dims for _, array in arrays(name, step)):
                raise StudyError(
                    f"{self.in_words}: its step {name!r} is on 'floor', and its levels are on "
                    "'room'; look the values up for the rooms, by "
                    "values.sel(floor=building.rooms['floor_of_room'])"
                )
        if self.frame is not None and self.as_built.weights is None:
            # A path put together by hand: its rooms hear the columns of the lines all the same.
            object.__setattr__(self, "as_built", self.frame.heard(self.as_built))

    @property
    def in_words(self) -> str:
        """How sentences name it."""
        return f"part {self.name!r}" if self.name else "the building"

    @property
    def room_labels(self) -> xr.DataArray:
        """Its rooms as a coordinate."""
        return xr.DataArray(list(self.rooms), coords={"room": list(self.rooms)})["room"]

    @property
    def frame(self) -> Frame | None:
        """Column lines whose slabs the rooms follow, where there are any."""
        if isinstance(self.plane, Frame):
            return self.plane
        return None if self.floor_motion is None else self.floor_motion.frame

    @property
    def floor_frequencies(self) -> list[float] | None:
        """Natural frequency of the floor of each room, where its path has them stated [Hz]."""
        steps: list[Any] = [*self.as_built.elements.values()]
        steps += [s.velocity for name, s in (self.surfaces or {}).items() if name == "floor"]
        for step in steps:
            if isinstance(step, FundamentalAmplification):
                f = xr.DataArray(step.natural_frequency)
                each = f.median([d for d in f.dims if d != "room"]).broadcast_like(self.room_labels)
                return [float(value) for value in each.values]
        return None

    def above_plane(self, building: Building) -> xr.DataArray:
        """Which of its rooms the isolation plane carries, on ``room``; none without a plane."""
        labels = list(self.rooms)
        if self.plane is None:
            return xr.DataArray(np.zeros(len(labels), dtype=bool), coords={"room": labels})
        return building.above(self.plane.floor).sel(room=labels)
