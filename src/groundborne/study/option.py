"""Options: what a building may be given, under it and in its rooms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from operator import is_
from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr

from groundborne._arguments import Words, checked
from groundborne._checks import Numeric, StudyError, known, not_negative, positive
from groundborne.isolation import Mount
from groundborne.path import SURFACES, PathElement, TransmissionPath, Where
from groundborne.receiver import TreatedSurfaces
from groundborne.receiver.equipment import Mounting
from groundborne.study.description import Difference
from groundborne.study.floor_motion import Felt
from groundborne.study.frame import Frame
from groundborne.study.horizontal import sideways_on_mounts
from groundborne.study.layered import (
    LAYERS,
    MIDDLE,
    SolvedTogether,
    carries,
    floor_of,
    solved_together,
)
from groundborne.study.part import Part
from groundborne.study.plane import Plane, Surfaces

if TYPE_CHECKING:
    from groundborne.isolation.rooms.box import Box
    from groundborne.isolation.rooms.sprung_surface import SprungSurface

SURFACE_GROUPS: dict[str, tuple[str, ...]] = {
    "floor": ("floor",),
    "ceiling": ("ceiling",),
    "walls": ("long walls", "short walls"),
}
"""What a room measure may treat, and the surfaces of the room it stands for."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class RoomMeasure:
    """Treatment of surfaces in some rooms.

    Parameters
    ----------
    rooms : tuple of str
        The rooms that get it.
    treatments : mapping of str to PathElement
        By surface group: ``floor``, ``walls``, ``ceiling``. Each covers the whole surface, and the
        room hears it: a table or an instrument on mounts of its own is none of them, but
        :class:`~groundborne.receiver.Equipment`.
    name : str
        In words, for the report.
    box : Box, optional
        The constructions the treatments come from, where they are known; their depth is checked
        against what the rooms have.

    Raises
    ------
    StudyError
        No room, no treatment, or an unknown surface group.
    """

    rooms: tuple[str, ...]
    treatments: Mapping[str, PathElement]
    name: str = "room isolation"
    box: Box | None = None

    def __post_init__(self) -> None:
        if not self.rooms or not self.treatments:
            raise StudyError(
                f"RoomMeasure {self.name!r}: it needs at least one room and one surface"
            )
        for room in self.rooms:
            if self.rooms.count(room) > 1:
                raise StudyError(f"RoomMeasure {self.name!r}: the room {room!r} is given twice")
        for group in self.treatments:
            known(f"RoomMeasure {self.name!r}", "surface", group, SURFACE_GROUPS, StudyError)
        if self.box is not None:
            for group in self.box.parts:
                if group not in self.treatments:
                    raise StudyError(
                        f"RoomMeasure {self.name!r}: the box has a {group} that is not among the "
                        "treatments; take treatments from the box"
                    )

    def layer(self, group: str) -> Any:
        """What gives way before a surface: the construction, or what its treatment holds of it."""
        treatment = self.treatments[group]
        built = {} if self.box is None else self.box.parts
        return built.get(group, getattr(treatment, "floor", treatment))


@checked(own_labels=["bases", "parts"])  # columns of each part are its own
@dataclass(frozen=True, kw_only=True, eq=False)
class Option:
    """One option of a study: with or without base isolation, each room treated or not.

    Parameters
    ----------
    name : str
        Short and unique.
    base : Mount, optional
        Mounts at the isolation plane, with the dims of the mass they carry; where several parts
        of the building can be isolated, see `bases`.
    bases : mapping of str to Mount
        Mounts by the name of the part of the building they stand under.
    parts : tuple of Part
        Parts of the building that are otherwise with this option, by their names: a thicker slab,
        another structure. The others stay as built.
    measures : tuple of RoomMeasure
        What the rooms get.
    equipment : mapping of str to mounts
        Mounts of equipment by its name, in place of those it has: along the vertical, or by axis.
        They change nothing for the room.
    horizontal_ratio : float or DataArray, optional
        Horizontal over vertical stiffness of the mounts of `base` [-]: the horizontal motion of
        storeys that follows a frame in bending follows it onto them. Without it the horizontal
        motion stays as built.
    horizontal_ratios : mapping of str to float or DataArray
        The same of `bases`, by part.
    description : str
        In words, for the report.
    cost : float, optional
        Over that of the building without any, in the currency of the study.
    cost_source : str
        Whose number that is, and of when.
    changes : tuple of Difference
        By what the parts are otherwise, in words: what it is, as built, and with the option.

    Examples
    --------
    >>> Option(name="as built").is_isolated
    False
    """

    name: str
    base: Mount | None = None
    bases: Mapping[str, Mount] = field(default_factory=dict)
    parts: tuple[Part, ...] = field(default=())
    measures: tuple[RoomMeasure, ...] = field(default=())
    equipment: Mapping[str, Mounting] = field(default_factory=dict)
    horizontal_ratio: Numeric | None = None
    horizontal_ratios: Mapping[str, Numeric] = field(default_factory=dict)
    description: str = ""
    cost: float | None = None
    cost_source: str = ""
    changes: tuple[Difference, ...] = field(default=())

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise StudyError("Option: the name is empty; a short unique name is needed")
        if self.cost is not None:
            not_negative(f"option {self.name!r}", "cost", self.cost, "")
        elif self.cost_source:
            raise StudyError(f"option {self.name!r}: cost_source is given, and cost is not")
        if self.base is not None and self.bases:
            raise StudyError(
                f"option {self.name!r}: base and bases are given; one of them, bases where several "
                "parts of the building are isolated"
            )
        names = [part.name for part in self.parts]
        for name in names:
            if names.count(name) > 1:
                raise StudyError(f"option {self.name!r}: part {name!r} is given twice")
        if self.changes and not self.parts:
            raise StudyError(
                f"option {self.name!r}: changes are named, and no part is otherwise than as built"
            )
        if self.horizontal_ratio is not None and self.base is None:
            raise StudyError(
                f"option {self.name!r}: horizontal_ratio is of the mounts of base, and there are "
                "none; of bases give horizontal_ratios"
            )
        for name in self.horizontal_ratios:
            known(f"option {self.name!r}", "part of horizontal_ratios", name, self.bases)
        for ratio in (self.horizontal_ratio, *self.horizontal_ratios.values()):
            if ratio is not None:
                positive(f"option {self.name!r}", "horizontal_ratio", ratio, "")

    @property
    def is_isolated(self) -> bool:
        """Whether it differs from the building without measures."""
        return self.is_mounted or bool(self.measures or self.parts or self.equipment)

    @property
    def is_mounted(self) -> bool:
        """Whether the building or a part of it stands on mounts."""
        return self.base is not None or bool(self.bases)

    def path(
        self,
        as_built: TransmissionPath,
        *,
        plane: Plane | None,
        above_plane: xr.DataArray,
        surfaces: Surfaces | None,
        frame: Frame | None = None,
    ) -> TransmissionPath:
        """Path with this option's elements put into the path of the building without measures.

        Parameters
        ----------
        as_built : TransmissionPath
            The building without measures, for all rooms.
        plane : Plane or None
            Where the building can be isolated.
        above_plane : DataArray of bool
            On ``room``: which rooms the mounts carry.
        surfaces : mapping of str to Surface or None
            Radiating surfaces of the rooms, where the path has them.
        frame : Frame or None
            Column lines whose slabs the rooms follow; measures by construction are solved with
            them.

        Raises
        ------
        StudyError
            The path has no foundation to isolate, or no surfaces to treat; a room is unknown or
            treated twice.
        """
        path = as_built
        if self.base is not None:
            if plane is None:
                raise StudyError(
                    f"option {self.name!r}: it isolates the base, and the study has no isolation "
                    "plane"
                )
            try:
                path, surfaces = plane.isolate(self.base, path, surfaces, above_plane)
            except StudyError as error:
                raise StudyError(f"option {self.name!r}: {error}") from None
            path, surfaces = sideways_on_mounts(
                path, surfaces, mount=self.base, ratio=self.horizontal_ratio, plane=plane
            )
        if self.measures:
            moving = path.giving(SURFACES)
            if surfaces is None or moving is None:
                raise StudyError(
                    f"option {self.name!r}: rooms can be treated only where the path sums over "
                    "room surfaces; this one uses a fixed relation"
                )
            treated = TreatedSurfaces(surfaces, self.treatments(above_plane["room"], frame=frame))
            path = path.insert(after=moving, room_isolation=treated)
        return path

    def seen_by(self, part: Part) -> tuple[Option, Part]:
        """The option as one part of the building sees it, and that part as it then is.

        Parameters
        ----------
        part : Part
            Of the study, as built.

        Returns
        -------
        tuple
            The option with the mounts of the part and the measures in its rooms; the part.
        """
        there = next((p for p in self.parts if p.name == part.name), part)
        base = self.bases.get(part.name, None if part.plane is None else self.base)
        measures = tuple(
            m if here == m.rooms else replace(m, rooms=here)
            for m in self.measures
            if (here := tuple(r for r in m.rooms if r in part.rooms))
        )
        alike = len(measures) == len(self.measures) and all(map(is_, measures, self.measures))
        if alike and base is self.base and not self.bases:
            return self, there
        ratio = self.horizontal_ratios.get(part.name, self.horizontal_ratio)
        own = replace(
            self,
            base=base,
            bases={},
            measures=measures,
            horizontal_ratio=None if base is None else ratio,
            horizontal_ratios={},
        )
        return own, there

    def treatments(self, rooms: Words, *, frame: Frame | None = None) -> dict[str, PathElement]:
        """Treatments of all rooms by surface, each acting where it is built.

        Parameters
        ----------
        rooms : DataArray
            Labels of all rooms.
        frame : Frame or None
            Column lines whose slabs the rooms follow. Floors and ceilings given by construction
            are then solved with lines and mounts; else each acts on what moves it, by itself.

        Raises
        ------
        StudyError
            A room is unknown, or a surface is treated twice.
        """
        rows: dict[str, dict[str, PathElement]] = {}
        solved = self._solved(rooms, frame)
        for number, (here, together, _) in enumerate(solved):
            for group, surfaces in SURFACE_GROUPS.items():
                for surface in surfaces:
                    moved = Where(together[group], here)
                    rows.setdefault(surface, {})[f"line {number + 1}"] = moved
        for number, group, treatment, here in self._by_measure(rooms):
            left = _unsolved(group, here, solved)
            if bool(left.any()):
                for surface in SURFACE_GROUPS[group]:
                    acting = Where(treatment, left)
                    rows.setdefault(surface, {})[f"measure {number + 1}"] = acting
        return {surface: TransmissionPath(**elements) for surface, elements in rows.items()}

    def felt(self, rooms: Words, *, frame: Frame | None = None) -> PathElement | None:
        """What the measures change at mid-span of the floor, where people stand; None for nothing.

        Parameters
        ----------
        rooms, frame
            As for :meth:`treatments`.
        """
        solved = self._solved(rooms, frame)
        rows: dict[str, PathElement] = {
            f"line {number + 1}": Where(together[MIDDLE], here)
            for number, (here, together, _) in enumerate(solved)
        }
        for number, group, treatment, here in self._by_measure(rooms):
            left = _unsolved(group, here, solved)
            if group == "floor" and bool(left.any()):
                rows[f"measure {number + 1}"] = Where(Felt(treatment), left)
        return TransmissionPath(**rows) if rows else None

    def _by_measure(self, rooms: xr.DataArray) -> list[tuple[int, str, PathElement, xr.DataArray]]:
        """Number of the measure, surface group, treatment and where it is built."""
        labels = rooms.values.tolist()
        found: list[tuple[int, str, PathElement, xr.DataArray]] = []
        for number, measure in enumerate(self.measures):
            for room in measure.rooms:
                known(f"option {self.name!r}", "room", room, labels, StudyError)
            here = xr.DataArray(np.isin(labels, measure.rooms), coords={"room": labels})
            for group, treatment in measure.treatments.items():
                for _, other, _, there in found:
                    both = here & there
                    if group == other and bool(both.any()):
                        raise StudyError(
                            f"option {self.name!r}: the {group} of room "
                            f"{str(labels[int(np.argmax(both.values))])!r} is treated twice"
                        )
                found.append((number, group, treatment, here))
        return found

    def _solved(self, rooms: xr.DataArray, frame: Frame | None) -> list[Solved]:
        """Layers that are solved with their lines: one entry for rooms that are alike."""
        if frame is None:
            return []
        built: dict[str, dict[str, tuple[SprungSurface, PathElement]]] = {}
        for measure in self.measures:
            for group in LAYERS:
                for room in measure.rooms:
                    if is_solved(measure, group, room, frame):
                        assert measure.box is not None
                        pair = (measure.box.parts[group], measure.treatments[group])
                        built.setdefault(room, {})[group] = pair
        alike: dict[tuple[Any, ...], list[str]] = {}
        for room, layers in built.items():
            at = tuple(floor_of(frame, group, room) for group in LAYERS)
            key = (at, *((group, id(part)) for group, (part, _) in sorted(layers.items())))
            alike.setdefault(key, []).append(room)
        found: list[Solved] = []
        for (at, *_), names in alike.items():
            layers = built[names[0]]
            together = solved_together(
                frame,
                self.base,
                parts={group: part for group, (part, _) in layers.items()},
                alone={group: alone for group, (_, alone) in layers.items()},
                floors=dict(zip(LAYERS, at, strict=True)),
            )
            labels = rooms.values.tolist()
            here = xr.DataArray(np.isin(labels, names), coords={"room": labels})
            found.append((here, together, frozenset(layers)))
        return found


Solved = tuple[xr.DataArray, dict[str, SolvedTogether], frozenset[str]]
"""Where, what changes by surface group, and which groups have their layer in it."""


def is_solved(measure: RoomMeasure, group: str, room: str, frame: Frame | None) -> bool:
    """Whether the layer of a surface group in a room is solved with a line and its mounts."""
    if frame is None or measure.box is None or group not in measure.box.parts:
        return False
    return carries(frame, floor_of(frame, group, room))


def _unsolved(group: str, here: xr.DataArray, solved: Sequence[Solved]) -> xr.DataArray:
    """Rooms in which the treatment of a group is not solved with a line."""
    for there, _, groups in solved:
        if group in groups:
            here = here & ~there
    return here
