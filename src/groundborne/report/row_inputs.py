"""Which places in the files of a study a row of a table follows from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from groundborne.report.origins import Origins, Place, Way
from groundborne.report.reach import Reach
from groundborne.study import Study

_OF_PATH = ("path", "structure", "slabs", "track")
_OF_ISOLATION = ("isolation",)
_OF_FRAME = ("path", "structure", "slabs", *_OF_ISOLATION)


@dataclass(frozen=True, eq=False)
class RowInputs:
    """Inputs of rows, as fine as the files tell them apart.

    Parameters
    ----------
    study : Study
        Read from files; of one put together in a script there are none.
    """

    study: Study

    @cached_property
    def origins(self) -> Origins:
        """Places in its files."""
        return Origins(self.study.inputs)

    def of(self, row: Mapping[Any, Any], reach: Reach = Reach.LEVELS) -> list[Place]:
        """Places that a number of a row follows from, the trains first.

        Parameters
        ----------
        row : mapping
            Its option, room, criterion, equipment and part tell the entries; where it names no
            room, all of them.
        reach : Reach
            Of the number.
        """
        if not self.study.inputs:
            return []
        each = self._each(row) if reach is Reach.LEVELS else self._few(row, reach)
        return list(dict.fromkeys(p for p in each if p is not None))

    def _few(self, row: Mapping[Any, Any], reach: Reach) -> Iterator[Place | None]:
        """Of a number that no train reaches."""
        if reach is Reach.LIMIT:
            room = self._room(row)
            yield from self._of_rooms(room)
            yield from self._of_criteria(row, room)
            yield from self._of_equipment(row)
            return
        yield from self._of_option(row)
        if reach is Reach.ROOMS:
            yield self.origins.rows(self._table("building", "rooms"))
        names = {Reach.MOUNTS: _OF_ISOLATION, Reach.FRAME: _OF_FRAME}.get(reach, ())
        for part in self.parts(row) if names else ():
            yield from self._of_part(part, names)
        if reach is Reach.FRAME:
            yield self.origins.rows(self._table("building", "floors"))

    def _each(self, row: Mapping[Any, Any]) -> Iterator[Place | None]:
        of = self.origins
        yield from self._whole(("source",))
        yield of.key("bands")
        yield from self._of_option(row)
        room = self._room(row)
        yield from self._of_rooms(room)
        for part in self.parts(row):
            yield from self._of_part(part)
        yield from self._of_criteria(row, room)
        yield from self._of_equipment(row)
        if "rating_key" in row or "probability" in row or "probability_all" in row:
            yield of.key("uncertain")
            yield of.key("alternatives")

    def _whole(self, *ways: Way) -> Iterator[Place | None]:
        """Tables of the study file, and the files that they name."""
        for way in ways:
            yield self.origins.key(*way)
            for named, file in self.origins.tables.items():
                if named[: len(way)] == way:
                    yield self.origins.rows(file)

    def _of_option(self, row: Mapping[Any, Any]) -> Iterator[Place | None]:
        option = row.get("option")
        way = self.origins.entry("options", option) if isinstance(option, str) else ()
        if way:
            yield from self._whole(way)

    def _room(self, row: Mapping[Any, Any]) -> str:
        """The room of a row; empty where it names none."""
        room = row.get("room")
        if isinstance(room, str) and room in self.study.rooms:
            return room
        name = row.get("equipment")
        return next((e.room for e in self.study.equipment if e.name == name), "")

    def _of_rooms(self, room: str) -> Iterator[Place | None]:
        rooms = self.study.building.rooms
        table, floors = (self._table("building", name) for name in ("rooms", "floors"))
        if not room:
            yield self.origins.rows(table)
            yield self.origins.rows(floors)
            return
        yield self.origins.row(table, "room", room)
        for name in ("floor_of_room", "ceiling_floor"):
            if name in rooms:
                floor = str(rooms[name].sel(room=room).item())
                yield self.origins.row(floors, "floor", floor)

    def _table(self, *way: str) -> str:
        return self.origins.tables.get(way, "")

    def parts(self, row: Mapping[Any, Any]) -> list[str]:
        """Parts of the building that a row is of: all of them where it names none."""
        room = self._room(row)
        if room:
            return [p.name for p in self.study.parts if room in p.rooms]
        own = row.get("part")
        every = [p.name for p in self.study.parts]
        return [own] if own in every else every

    def _of_part(
        self, part: str, names: tuple[str, ...] = (*_OF_PATH, *_OF_ISOLATION)
    ) -> Iterator[Place | None]:
        """Path, structure and isolation plane: of the part where it has its own."""
        ways: list[Way] = [("parts", part, n) for n in names] if part else []
        ways = [w for w in ways if self.origins.holds(w)]
        yield from self._whole(*ways)
        held = {w[-1] for w in ways}
        yield from self._whole(*((n,) for n in names if n not in held))
        yield self.origins.rows(self._table("building", "columns"))
        yield self.origins.rows(self._table("building", "floor_loads"))

    def _of_criteria(self, row: Mapping[Any, Any], room: str) -> Iterator[Place | None]:
        label, rooms = row.get("criterion"), self.study.building.rooms["criteria"]
        sets: Iterable[str] = self.study.criteria
        if room and "equipment" not in row:
            sets = [str(rooms.sel(room=room).item())]
        for name in sets:
            for number, criterion in enumerate(self.study.criteria[name], start=1):
                if label is not None and criterion.label != label:
                    continue
                yield self.origins.key("criteria", name, number)
                if criterion.period is not None:
                    yield self.origins.key("periods", criterion.period)
                if criterion.of.name == "curve":
                    yield self.origins.key("curves")

    def _of_equipment(self, row: Mapping[Any, Any]) -> Iterator[Place | None]:
        name = row.get("equipment")
        way = self.origins.entry("equipment", name) if isinstance(name, str) else ()
        if way:
            yield from self._whole(way)
