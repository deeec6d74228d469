"""What a study holds: a building, its trains, its criteria and its options."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Self

import numpy as np
import xarray as xr

from groundborne import bands
from groundborne._arguments import checked
from groundborne._checks import Numeric, StudyError, known
from groundborne.isolation import Mount
from groundborne.path import Path
from groundborne.rating import Criterion
from groundborne.receiver import Surface
from groundborne.source import Passbys
from groundborne.study.building import Building
from groundborne.study.description import Difference, describe, differences
from groundborne.study.floor_motion import FloorMotion
from groundborne.study.frame import Frame
from groundborne.study.option import Option
from groundborne.study.period import Period
from groundborne.study.plane import Plane, tuned_mount

_IN_WORDS = {
    "frequency": "bands",
    "as_built": "path",
    "floor_motion": "motion of floors",
    "plane": "isolation plane",
}
"""Parts of a study whose names in a description are not those in code."""


_LOOKED_UP = ("criteria", "group", "room_name", "_limit")
"""What of the building is read when a study is evaluated, not when it is put together."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class StudyModel:
    """Everything an evaluation needs; read from files, or put together by hand.

    Parameters
    ----------
    name : str
        Title of the study.
    frequency : DataArray
        Nominal bands that are evaluated [Hz].
    passbys : Passbys
        Measured source, on at least these bands.
    building : Building
        Floors, rooms and columns.
    as_built : Path
        From source to the rooms without any measure, for all rooms at once.
    surfaces : mapping of str to Surface, optional
        Radiating surfaces of the rooms, where the path sums over them.
    floor_motion : FloorMotion, optional
        How floors move at mid-span, where people feel them; criteria of vibration need it.
    plane : Plane, optional
        Where the building can be isolated: a :class:`Frame` of column lines, or a
        :class:`MobilityPlane`.
    options : tuple of Option
        With unique names; the first is what the others are compared with.
    criteria : mapping of str to tuple of Criterion
        Criteria sets; the rooms name them.
    periods : mapping of str to Period
        Timetable.
    description : str
        In words.
    invented : bool
        Whether people, places and numbers are made up.
    inputs : mapping of str to str
        Text of the files it was read from, by file name, for the report.
    as_read : mapping of str to str
        Description of the study as it was read, to tell what a script changed after that; empty
        for a study put together by hand.
    unusual : tuple of str
        What its files hold outside the usual range, in words; they go into the notes of results.

    Raises
    ------
    StudyError
        Options or criteria that do not fit the rooms.
    """

    name: str
    frequency: xr.DataArray
    passbys: Passbys
    building: Building
    as_built: Path
    surfaces: Mapping[str, Surface] | None = None
    floor_motion: FloorMotion | None = None
    plane: Plane | None = None
    options: tuple[Option, ...]
    criteria: Mapping[str, tuple[Criterion, ...]]
    periods: Mapping[str, Period] = field(default_factory=dict)
    description: str = ""
    invented: bool = False
    inputs: Mapping[str, str] = field(default_factory=dict)
    as_read: Mapping[str, str] = field(default_factory=dict)
    unusual: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.options:
            raise StudyError("study: there is no option; at least one is needed")
        names = [o.name for o in self.options]
        for name in names:
            if names.count(name) > 1:
                raise StudyError(f"study: the option {name!r} is given twice")
        for room, wanted in zip(self.rooms, self.building.rooms["criteria"].values, strict=True):
            known(f"room {room!r}", "criteria", str(wanted), self.criteria, StudyError)
        for option in self.options:
            if option.base is not None and self.plane is None:
                raise StudyError(
                    f"option {option.name!r}: it isolates the base, and the study has no isolation "
                    "plane"
                )
            for measure in option.measures:
                unknown = set(measure.rooms) - set(self.rooms)
                if unknown:
                    where = f"option {option.name!r}"
                    known(where, "room", min(unknown), self.rooms, StudyError)
            option.require_depth(self.building.rooms)

    def described(self) -> dict[str, str]:
        """Every value that an evaluation rests on: see :mod:`groundborne.study.description`."""
        left_out = ("inputs", "as_read")
        parts = {
            _IN_WORDS.get(f.name, f.name): getattr(self, f.name)
            for f in fields(self)
            if f.name not in left_out
        }
        return describe(parts)

    @property
    def changed(self) -> tuple[Difference, ...]:
        """What differs from what was read from files; nothing for a study put together by hand."""
        return differences(self.as_read, self.described()) if self.as_read else ()

    @property
    def rooms(self) -> list[str]:
        """Labels of the rooms."""
        return [str(r) for r in self.building.rooms["room"].values]

    @property
    def source(self) -> xr.DataArray:
        """Passby levels on the bands of the study [dB re 1 nm/s]."""
        f = self.frequency.values
        return bands.select(self.passbys.level, float(f[0]), float(f[-1]))

    @property
    def above_plane(self) -> xr.DataArray:
        """Which rooms the isolation plane carries, on ``room``; none without a plane."""
        if self.plane is None:
            return xr.DataArray(np.zeros(len(self.rooms), dtype=bool), coords={"room": self.rooms})
        return self.building.above(self.plane.floor)

    @property
    def frame(self) -> Frame | None:
        """Column lines whose slabs the rooms follow, where there are any."""
        if isinstance(self.plane, Frame):
            return self.plane
        return None if self.floor_motion is None else self.floor_motion.frame

    @property
    def room_criteria(self) -> dict[str, tuple[Criterion, ...]]:
        """Criteria of every room."""
        named = self.building.rooms["criteria"].values
        return {r: self.criteria[str(c)] for r, c in zip(self.rooms, named, strict=True)}

    def mount(
        self,
        *,
        natural_frequency: Numeric,
        loss_factor: Numeric,
        dynamic_to_static: Numeric = 1.0,
        own_mass_per_load: Numeric = 0.0,
        travel_to_solid: Numeric = np.inf,
    ) -> Mount:
        """Mounts for an option: see :func:`~groundborne.study.tuned_mount`.

        Raises
        ------
        StudyError
            The study has no isolation plane.
        """
        if self.plane is None:
            raise StudyError("study: it has no isolation plane, so there is nothing to mount")
        return tuned_mount(
            self.plane,
            natural_frequency=natural_frequency,
            loss_factor=loss_factor,
            dynamic_to_static=dynamic_to_static,
            own_mass_per_load=own_mass_per_load,
            travel_to_solid=travel_to_solid,
        )

    def with_options(self, options: Sequence[Option]) -> Self:
        """Return the same study with other options.

        Raises
        ------
        StudyError
            Not a list of :class:`Option`, or one that does not fit the rooms.
        """
        return replace(self, options=tuple(options))

    def paths(self) -> dict[str, Path]:
        """One path for each option, for all rooms at once."""
        return {
            o.name: o.path(
                self.as_built,
                plane=self.plane,
                above_plane=self.above_plane,
                surfaces=self.surfaces,
                frame=self.frame,
            )
            for o in self.options
        }

    def floor_paths(self) -> dict[str, Path]:
        """One path for each option to the floor at mid-span; none without :attr:`floor_motion`."""
        if self.floor_motion is None:
            return {}
        rooms = self.above_plane["room"]
        return {
            option.name: self.floor_motion.path(
                path, mount=option.base, treatment=option.felt(rooms, frame=self.frame)
            )
            for option, path in zip(self.options, self.paths().values(), strict=True)
        }

    def require_rebuilt(self) -> None:
        """Refuse a building changed in a script whose path, surfaces and plane are the old ones.

        They were made from the building as it was read; a change of it alone would be printed in
        the report and change no level.
        """
        keys = [d.key for d in self.changed]
        follows = tuple(
            _IN_WORDS.get(f, f) for f in ("as_built", "surfaces", "plane", "floor_motion")
        )
        odd = [
            key
            for key in keys
            if key.startswith("building") and not any(free in key for free in _LOOKED_UP)
        ]
        if odd and not any(key.startswith(follows) for key in keys):
            raise StudyError(
                f"study: {odd[0]!r} was changed after reading, and path, surfaces and isolation "
                "plane were made from what was read, so that no level would follow. Change the "
                "tables of the study and read it again, or replace as_built, surfaces and plane too"
            )
