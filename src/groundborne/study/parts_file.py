"""Parts of a building in its study file: which tables, rooms and columns belong to each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from groundborne._checks import Faults, StudyError
from groundborne.cells import Cells
from groundborne.loads import ColumnLoads
from groundborne.study.building import Building
from groundborne.study.given import Given

_OWN = ("structure", "path", "isolation")
"""Tables of the study file that a part may have of its own."""

TABULATED = ("coupling", "storeys", "floor", "mid_span", "horizontal")
"""Steps of a path that may be a table by floor, room or column."""


@dataclass(frozen=True, eq=False)
class PartGiven:
    """What a study file says of one part.

    Parameters
    ----------
    name : str
        Empty where the building is one part.
    given : Given
        The study file as the part sees it: its own tables in place of those of the building.
    path_at : str
        Address of its path.
    """

    name: str
    given: Given
    path_at: str = "path"

    def transfers(self) -> dict[str, tuple[str, Given]]:
        """Steps of its path that a table holds: the address of the table, and the step by name."""
        path = self.given["path"]
        steps = {name: None if path is None else path[name] for name in TABULATED}
        return {
            name: (f"{self.path_at}.{name}.table", step)
            for name, step in steps.items()
            if step is not None and step.has("table")
        }

    @property
    def storeys(self) -> str:
        """Key of its table of storeys among the tables of the study."""
        return f"storeys of {self.name}" if self.name else "storeys"

    def of(self, building: Building) -> Building:
        """Its rooms and columns."""
        if not self.name:
            return building
        rooms = building.rooms.isel(room=building.rooms["part"].values == self.name)
        loads = building.loads
        if loads is not None and "part" in loads.data:
            own = self.name in loads.data["part"].values
            loads = loads.of_part(self.name) if own else None
        own_loads = None if loads is None else self.sharing(loads)
        return replace(building, rooms=rooms, loads=own_loads)

    def sharing(self, loads: ColumnLoads) -> ColumnLoads:
        """The loads with what the study says of the share of the imposed ones that moves."""
        load = self.load
        if load is None or load["imposed_share"] is None:
            return loads
        told = [n for n in ("imposed_share", "category") if loads.of_imposed(n) is not None]
        if told:
            raise StudyError(
                f"{load.where}: 'imposed_share' and the column {told[0]!r} of the tables of loads "
                "both say what share of the imposed load moves; leave one out"
            )
        with load.naming():
            return loads.with_share(load["imposed_share"])

    def at_columns(self, cells: Cells) -> xr.DataArray:
        """Which columns of a table are its own."""
        if not self.name or not cells.has("part"):
            return xr.full_like(cells["column"], True, dtype=bool)
        own: xr.DataArray = cells["part"] == self.name
        return own

    def floors(self, floors: Sequence[str], rooms: Cells) -> list[str]:
        """Floors that weigh, where no structure says which.

        Of a building all from its isolation plane up: a floor that is but a height weighs 0, and
        that is said. Of a part, those that carry or cover its rooms, and what lies between.
        """
        first, last = floors.index(self.lowest) if self.lowest else 0, len(floors) - 1
        if self.name:
            own = rooms["part"].values == self.name
            used = [rooms[column].values[own] for column in ("floor", "ceiling_floor")]
            at = [floors.index(name) for name in np.concatenate(used).tolist()]
            first, last = (min(at), max(at)) if at else (0, -1)
        return list(floors[first : last + 1])

    @property
    def load(self) -> Given | None:
        """What is said of the load on its mounts; None where it has no plane."""
        isolation: Given | None = self.given["isolation"]
        if isolation is None:
            return None
        # In a part the share of imposed load stands beside the plane itself.
        found: Given = isolation if "imposed_share" in isolation.of.names else isolation["load"]
        return found

    @property
    def lowest(self) -> str:
        """The lowest floor above its isolation plane; empty without one."""
        isolation = self.given["isolation"]
        return isolation["lowest_isolated_floor"] if isolation is not None else ""


def parts_given(given: Given) -> list[PartGiven]:
    """The parts of a building, or the building as one.

    Structure and isolation plane of a part are its own; a path of the building is that of every
    part that has none.
    """
    parts = given["parts"]
    if not parts:
        return [PartGiven("", given)]
    found = []
    for name, part in parts.items():
        values = {**given.values, "structure": None, "isolation": None}
        values |= {key: part[key] for key in _OWN if part.has(key)}
        at = f"parts.{name}.path" if part.has("path") else "path"
        found.append(PartGiven(name, replace(given, values=values), at))
    return found


def require_parts(given: Given, rooms: Cells, columns: Cells | None, faults: Faults) -> None:
    """Hold the parts that rooms and columns name against those of the study file."""
    parts = given["parts"] or {}
    for cells in (rooms, columns):
        if cells is None:
            continue
        if cells.has("part") and parts:
            with faults.gathered():
                cells.require_known("part", list(parts), "part of the building")
        elif parts and (cells is rooms or any(p.has("structure") for p in parts.values())):
            faults.add(f"{cells.file}: column 'part' is missing; the study has {_listed(parts)}")
        elif cells.has("part"):
            faults.add(f"{cells.file}: column 'part' names parts, and the study has no [parts]")
    _require_rooms(given, rooms, columns, faults)
    for key in ("structure", "isolation"):
        if parts and given.values.get(key) is not None:
            faults.add(
                f"{given[key].where}: the building has {_listed(parts)}, and this is of no part; "
                f"say [parts.NAME.{key}]"
            )


def _require_rooms(given: Given, rooms: Cells, columns: Cells | None, faults: Faults) -> None:
    """Refuse parts without a room: no level follows from them."""
    parts = given["parts"] or {}
    named = [
        cells["part"].values.tolist() if cells is not None and cells.has("part") else []
        for cells in (rooms, columns)
    ]
    if not named[0] or not {*named[0], *named[1]} <= set(parts):
        return  # told already
    for name, part in parts.items():
        if name not in named[0]:
            said = f"no room is in it, and {named[1].count(name)} columns are"
            if name not in named[1]:
                said = (
                    "no column and no room names the part" if columns else "no room names the part"
                )
            faults.add(f"{part.where}: {said}; give it a room, or leave the part out")


def in_part(parts: Sequence[PartGiven], building: Building, rooms: Sequence[str]) -> str:
    """The one part that all of some rooms are in.

    Raises
    ------
    StudyError
        They are in several.
    """
    names = [part.name for part in parts]
    if names == [""]:
        return ""
    here = building.rooms["part"].sel(room=list(rooms)).values.tolist()
    found = list(dict.fromkeys(here))
    if len(found) > 1:
        raise StudyError(
            f"rooms {', '.join(map(repr, rooms))} are in the parts {', '.join(map(repr, found))}; "
            "give each part a measure of its own"
        )
    return str(found[0])


def _listed(parts: Iterable[str]) -> str:
    return f"the parts {', '.join(map(repr, parts))}"
