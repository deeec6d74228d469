"""What a study holds: a building, its trains, its criteria and its options."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Self

import numpy as np
import xarray as xr

from groundborne import bands
from groundborne._arguments import checked
from groundborne._checks import Numeric, StudyError, known
from groundborne.isolation import Mount
from groundborne.loads import ColumnLoads
from groundborne.path import TransmissionPath
from groundborne.rating import Criterion
from groundborne.receiver import Equipment, Surface
from groundborne.source import Passbys
from groundborne.study.building import Building
from groundborne.study.description import Difference, describe, differences
from groundborne.study.details import (
    Details,
    Inspection,
    Measurement,
    RegisteredCrossing,
    Site,
)
from groundborne.study.equipment import require_equipment
from groundborne.study.fitting import require_bases, require_labels, require_parts
from groundborne.study.floor_motion import FloorMotion
from groundborne.study.option import Option
from groundborne.study.part import Part
from groundborne.study.period import Period
from groundborne.study.plane import Plane, tuned_mount
from groundborne.study.room_depth import require_depth
from groundborne.uncertainty import Alternative, Uncertain

_IN_WORDS = {
    "as_built": "path",
    "surfaces": "surfaces",
    "floor_motion": "motion of floors",
    "plane": "isolation plane",
}
"""What a part of a building is made of, by the names of a description."""


Progress = Callable[[str, float], None]
"""Called with what comes next, in words, and the share of the work that is done, 0 to 1."""


def silent(stage: str, fraction: float) -> None:
    """No progress."""


_LOOKED_UP = ("criteria", "group", "room_name", "_limit", "revision")
"""What of the building is read when a study is evaluated, not when it is put together."""


@checked(own_labels=["parts", "options"])  # rooms and columns of one part
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
    parts : tuple of Part
        The building, or parts of it that stand apart; every room is in one of them.
    options : tuple of Option
        With unique names; the first is what the others are compared with.
    criteria : mapping of str to tuple of Criterion
        Criteria sets; the rooms name them.
    periods : mapping of str to Period
        Timetable.
    equipment : tuple of Equipment
        What stands on floors and has limits of its own: unique names, in rooms of the study, each
        with criteria of vibration among `criteria`.
    details : Details
        Title block.
    measurements : tuple of Measurement
        What was measured for it, how and when.
    site : Site
        Track and ground beside the building, for drawings alone.
    register : tuple of RegisteredCrossing
        All that crosses the isolation plane, with who sees to it; empty where there is none.
    inspection : Inspection
        How the mounts are kept.
    currency : str
        Of the cost of options; needed where one has a cost.
    description : str
        In words.
    invented : bool
        Whether people, places and numbers are made up.
    inputs : mapping of str to str
        Text of the files it was read from, by file name, for the report.
    as_read : mapping of str to str
        Description of the study as it was read, to tell what a script changed after that; empty
        for a study put together by hand.
    changes : tuple of Difference
        Values that :func:`~groundborne.study.read_study` was given in place of those in the files,
        by address.
    uncertain : tuple of Uncertain
        Keys of its files that have a distribution, with that; the study holds their values as they
        are.
    alternatives : tuple of Alternative
        Other models of single stages; the study has those of its file.
    unusual : tuple of str
        What its files hold outside the usual range, in words; they go into the notes of results.

    Raises
    ------
    StudyError
        Options, criteria or equipment that do not fit the rooms.
    """

    name: str
    frequency: xr.DataArray
    passbys: Passbys
    building: Building
    parts: tuple[Part, ...]
    options: tuple[Option, ...]
    criteria: Mapping[str, tuple[Criterion, ...]]
    periods: Mapping[str, Period] = field(default_factory=dict)
    equipment: tuple[Equipment, ...] = ()
    details: Details = Details()  # noqa: RUF009
    measurements: tuple[Measurement, ...] = ()
    site: Site = Site()  # noqa: RUF009
    register: tuple[RegisteredCrossing, ...] = ()
    inspection: Inspection = Inspection()  # noqa: RUF009
    currency: str = ""
    description: str = ""
    invented: bool = False
    inputs: Mapping[str, str] = field(default_factory=dict)
    as_read: Mapping[str, str] = field(default_factory=dict)
    changes: tuple[Difference, ...] = ()
    uncertain: tuple[Uncertain, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    unusual: tuple[str, ...] = ()

    __qualname__ = "Study"  # as readers of sentences know it

    def __post_init__(self) -> None:
        if not self.options:
            raise StudyError("study: there is no option; at least one is needed")
        names = [o.name for o in self.options]
        for name in names:
            if names.count(name) > 1:
                raise StudyError(f"study: the option {name!r} is given twice")
        for room, wanted in zip(self.rooms, self.building.rooms["criteria"].values, strict=True):
            known(f"room {room!r}", "criteria", str(wanted), self.criteria, StudyError)
        require_parts(self.parts, self.rooms)
        for option in self.options:
            if option.cost is not None and not self.currency:
                raise StudyError(
                    f"study: option {option.name!r} has a cost of {option.cost:g}, and nobody says "
                    "in what; give the study a currency"
                )
            require_bases(option, self.parts)
            for measure in option.measures:
                unknown = set(measure.rooms) - set(self.rooms)
                if unknown:
                    where = f"option {option.name!r}"
                    known(where, "room", min(unknown), self.rooms, StudyError)
            require_labels(option, self.parts)
            require_depth(option, self.building.rooms)
        require_equipment(
            self.equipment, parts=self.parts, criteria=self.criteria, options=self.options
        )

    def described(self) -> dict[str, str]:
        """Every value that an evaluation rests on: see :mod:`groundborne.study.description`."""
        # What was changed before it was built is in the values.
        left_out = {"inputs", "as_read", "changes", "uncertain", "alternatives"}
        left_out |= {"parts", "frequency"}
        parts = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in left_out}
        parts["bands"] = self.frequency
        each = {
            part.name: {words: getattr(part, name) for name, words in _IN_WORDS.items()}
            for part in self.parts
        }
        parts |= each[""] if list(each) == [""] else {"parts": each}
        return describe(parts)

    @property
    def changed(self) -> tuple[Difference, ...]:
        """What differs from what was read from files; nothing for a study put together by hand."""
        return (*self.changes, *self.changed_after(self.described()))

    def changed_after(self, described: Mapping[str, str]) -> tuple[Difference, ...]:
        """What was changed in the study itself, not in what its files hold.

        Parameters
        ----------
        described : mapping of str to str
            Its own description: see :meth:`described`.
        """
        return differences(self.as_read, described) if self.as_read else ()

    @property
    def rooms(self) -> list[str]:
        """Labels of the rooms."""
        return [str(r) for r in self.building.rooms["room"].values]

    @property
    def source(self) -> xr.DataArray:
        """Passby levels on the bands of the study [dB re 1 nm/s]."""
        f = self.frequency.values
        return bands.select(self.passbys.level, float(f[0]), float(f[-1]))

    def part(self, name: str = "") -> Part:
        """One part of the building, as built."""
        names = [part.name for part in self.parts]
        known("study", "part", name, names, StudyError)
        return self.parts[names.index(name)]

    @property
    def _only(self) -> Part:
        if len(self.parts) > 1:
            names = ", ".join(repr(part.name) for part in self.parts)
            raise StudyError(f"study: its building has the parts {names}; say which: part(name)")
        return self.parts[0]

    @property
    def as_built(self) -> TransmissionPath:
        """Path without measures of a building of one part."""
        return self._only.as_built

    @property
    def surfaces(self) -> Mapping[str, Surface] | None:
        """Radiating surfaces of the rooms of a building of one part."""
        return self._only.surfaces

    @property
    def floor_motion(self) -> FloorMotion | None:
        """How floors of a building of one part move at mid-span."""
        return self._only.floor_motion

    @property
    def loads(self) -> ColumnLoads:
        """Loads of the columns of a building of one part: what packs are chosen for.

        Of several parts, each has its own: ``study.part("hall").loads``.

        Raises
        ------
        StudyError
            It has no columns, or several parts.

        Examples
        --------
        A schedule for the columns of a study, in two lines; the share of the imposed load that
        mounts are tuned on is that of the study.

        >>> import groundborne as gb
        >>> from groundborne import sizing
        >>> study = gb.read_study("data/music_school/study.toml")
        >>> springs = sizing.read_components("data/components/springs.csv")
        >>> rules = sizing.PackRules(natural_frequency=(3.9, 4.1), most=16)
        >>> load = sizing.combine(study.loads.of_revision("P1"))
        >>> schedule = sizing.make_schedule(sizing.choose_packs(load, springs, rules=rules))
        >>> float(abs(schedule.data["load"] / (study.plane.mass * 9.80665) - 1).max()) < 1e-12
        True
        """
        found = self._only.loads or self.building.loads
        if found is None:
            raise StudyError("study: its building has no columns; give [building] a column table")
        return found

    @property
    def plane(self) -> Plane | None:
        """Isolation plane of a building of one part."""
        return self._only.plane

    def with_part(self, part: str = "", /, **changes: Any) -> Self:
        """Return the same study with another path, plane or other field of one part.

        Parameters
        ----------
        part : str
            Its name; empty where the building is one part.
        **changes
            Fields of :class:`Part`.
        """
        old = self.part(part)
        new = [replace(p, **changes) if p is old else p for p in self.parts]
        return replace(self, parts=tuple(new))

    @property
    def above_plane(self) -> xr.DataArray:
        """Which rooms the isolation plane of their part carries, on ``room``."""
        each = [part.above_plane(self.building) for part in self.parts]
        return xr.concat(each, dim="room", join="exact").sel(room=self.rooms)

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
        part: str | None = None,
    ) -> Mount:
        """Mounts for an option: see :func:`~groundborne.study.tuned_mount`.

        `part` names the part of the building they stand under, where several have a plane.

        Raises
        ------
        StudyError
            The study has no isolation plane.
        """
        planes = [p for p in self.parts if p.plane is not None]
        if part is not None:
            planes = [p for p in planes if p.name == part]
        if len(planes) != 1:
            found = ", ".join(repr(p.name) for p in planes)
            raise StudyError(
                f"study: parts {found} have isolation planes; say which: mount(part=...)"
                if planes
                else "study: it has no isolation plane, so there is nothing to mount"
            )
        plane = planes[0].plane
        assert plane is not None
        return tuned_mount(
            plane,
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

    def seen_by(self, part: Part) -> list[tuple[Option, Part]]:
        """Every option as a part of the building sees it, and that part with it."""
        return [option.seen_by(part) for option in self.options]

    def paths(
        self, part: str | None = None, *, progress: Progress = silent
    ) -> dict[str, TransmissionPath]:
        """One path for each option, for all rooms of a part at once.

        Parameters
        ----------
        part : str, optional
            Name of the part; not needed where the building is one.
        progress : callable
            Called as ``progress(stage, fraction)`` before each option.
        """
        here = self._only if part is None else self.part(part)
        paths = {}
        for number, (option, there) in enumerate(self.seen_by(here)):
            progress(f"option {option.name!r}", number / len(self.options))
            paths[option.name] = option.path(
                there.as_built,
                plane=there.plane,
                above_plane=there.above_plane(self.building),
                surfaces=there.surfaces,
                frame=there.frame,
            )
        return paths

    def floor_paths(
        self, part: str | None = None, *, paths: Mapping[str, TransmissionPath] | None = None
    ) -> dict[str, TransmissionPath]:
        """One path for each option to the floor at mid-span; none without floor motion.

        Parameters
        ----------
        part
            As for :meth:`paths`.
        paths : mapping of str to TransmissionPath, optional
            What :meth:`paths` gave for the part, where it was asked before.
        """
        here = self._only if part is None else self.part(part)
        seen = self.seen_by(here)
        if any(there.floor_motion is None for _, there in seen):
            return {}
        paths = self.paths(here.name) if paths is None else paths
        found = {}
        for option, there in seen:
            assert there.floor_motion is not None
            if option.name not in paths:
                raise StudyError(
                    f"floor_paths: paths holds no {option.name!r}; pass what paths() gave for it"
                )
            treatment = option.felt(there.room_labels, frame=there.frame)
            found[option.name] = there.floor_motion.path(
                paths[option.name], mount=option.base, treatment=treatment
            )
        return found

    def require_rebuilt(self, changed: Sequence[Difference]) -> None:
        """Refuse a building changed in a script whose path, surfaces and plane are the old ones.

        They were made from the building as it was read; a change of it alone would be printed in
        the report and change no level.

        Parameters
        ----------
        changed : sequence of Difference
            What :meth:`changed_after` gave.
        """
        keys = [d.key for d in changed]
        follows = (*_IN_WORDS.values(), "parts")
        of_building = [key for key in keys if key.startswith("building")]
        odd = [key for key in of_building if not any(free in key for free in _LOOKED_UP)]
        if odd and not any(key.startswith(follows) for key in keys):
            raise StudyError(
                f"study: {odd[0]!r} was changed after reading, and path, surfaces and isolation "
                "plane were made from what was read, so that no level would follow. Change the "
                "tables of the study and read it again, or replace what follows with with_part"
            )


StudyModel.__name__ = StudyModel.__qualname__
