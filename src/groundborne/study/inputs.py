"""Bands, passbys and tables of a study: read, and the names in them held against each other."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path as FilePath

import xarray as xr

from groundborne import bands
from groundborne._checks import Faults, StudyError, known
from groundborne.cells import Cells
from groundborne.csv_columns import OWN_SECTION
from groundborne.levels import REFERENCES, reference_value
from groundborne.path import FOUNDATION, GROUND, End
from groundborne.source import Passbys, read_passbys
from groundborne.study.changes import Changes
from groundborne.study.frame_file import require_floors
from groundborne.study.given import Given
from groundborne.study.keys.trains import OWN_CURVE
from groundborne.study.parts_file import parts_given, require_parts
from groundborne.study.table_files import BAND_COLUMN, TableFiles

_STARTS: dict[str, End] = {"ground": GROUND, "foundation": FOUNDATION}


@dataclass(kw_only=True, eq=False)
class Inputs:
    """Checked values beside those of the study file itself; None where they were refused.

    Parameters
    ----------
    frequency : DataArray or None
        Nominal bands to evaluate [Hz].
    passbys : Passbys or None
        As measured.
    tables : dict of str to Cells
        Floors, rooms, columns and storeys, as far as they are there.
    named : dict of str to str
        The file of each, as the study file names it.
    """

    frequency: xr.DataArray | None = None
    passbys: Passbys | None = None
    tables: dict[str, Cells]
    named: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, given: Given, files: TableFiles, changes: Changes, faults: Faults) -> Inputs:
        """Read all tables of a study, and hold the names in them against each other.

        Parameters
        ----------
        given : Given
            The study file.
        files : TableFiles
            Finds them.
        changes : Changes
            Of a script.
        faults : Faults
            Collects what is wrong.
        """
        read = cls(tables={})
        source = given["source"]
        if given.has("bands") and len(given["bands"].arguments()) == 2:
            with faults.gathered(), given["bands"].naming():
                read.frequency = bands.third_octaves(**given["bands"].arguments())
        if source is not None and source.has("passbys"):
            with faults.gathered():
                file = files.find(source, "passbys")
                if all(source.has(key) for key in ("quantity", "time_weighting", "location")):
                    read.passbys = _passbys(source, file)
        read._take_tables(given, files, changes, faults)
        read._hold_names(given, faults)
        return read

    def changed(self, given: Given, files: TableFiles, changes: Changes, faults: Faults) -> Inputs:
        """The same for a study file in which an option changes something.

        Parameters
        ----------
        given, files, changes, faults
            As of :meth:`of`, of the option.
        """
        read = Inputs(frequency=self.frequency, passbys=self.passbys, tables={})
        read._take_tables(given, files, changes, faults, known=self)
        read._hold_names(given, faults)
        return read

    def other_than(self, first: Inputs) -> list[str]:
        """Tables that are other files than those of the file itself."""
        return [name for name in self.tables if self.named[name] != first.named.get(name)]

    def _take_tables(
        self,
        given: Given,
        files: TableFiles,
        changes: Changes,
        faults: Faults,
        known: Inputs | None = None,
    ) -> None:
        tables = [
            (key, given["building"], key)
            for key in ("floors", "rooms", "columns", "floor_loads", "register")
        ]
        tables += [(p.storeys, p.given["structure"], "storeys") for p in parts_given(given)]
        for part in parts_given(given):
            tables += [(place, step, "table") for place, step in part.transfers().values()]
        for name, holder, key in tables:
            if holder is None or not holder.has(key) or name in self.tables:
                continue
            with faults.gathered():
                file = holder[key]
                if known is not None and known.named.get(name) == file:
                    cells = known.tables[name]
                else:
                    cells = files.read(holder, key)
                self.named[name] = file
                self.tables[name] = changes.into_table(name, cells)

    def _hold_names(self, given: Given, faults: Faults) -> None:
        floors, rooms = (self.tables.get(n) for n in ("floors", "rooms"))
        if rooms is not None:
            for column in ("slab", "ceiling_slab"):
                if rooms.has(column):
                    with faults.gathered():
                        rooms.require_known(
                            column, ["", *(given["slabs"] or {})], "slab in [slabs]"
                        )
            require_parts(given, rooms, self.tables.get("columns"), faults)
        columns = self.tables.get("columns")
        section = [n for n in OWN_SECTION if columns is not None and columns.has(n)]
        if section and not any(p.given.has("structure") for p in parts_given(given)):
            assert columns is not None
            faults.add(
                f"{columns.file}: column {section[0]!r} is of a line of its own, and the study has "
                "no [structure] with column lines; leave it out"
            )
        building = given["building"]
        if building is not None and building.has("floor_loads") and not building.has("columns"):
            faults.add(
                f"{building.where}: 'floor_loads' needs the places of the columns; name their table"
                " by 'columns'"
            )
        if self.frequency is not None and self.passbys is not None:
            with faults.gathered(), given["bands"].naming():
                _check_bands(self.frequency, self.passbys)
        if floors is not None and rooms is not None:
            for column in ("floor", "ceiling_floor"):
                with faults.gathered():
                    rooms.require_known(column, floors.labels, "floor")
            for part in parts_given(given):
                storeys = self.tables.get(part.storeys)
                if storeys is not None and (not part.name or rooms.has("part")):
                    with faults.gathered():
                        here = rooms["part"].values == part.name if part.name else None
                        require_floors(storeys, floors, rooms, here)
        if rooms is not None:
            if "criteria" in given.values:  # else they were refused as a whole
                with faults.gathered():
                    sets = list(given["criteria"] or {})
                    rooms.require_known("criteria", sets, "set of criteria")
            for one in given["equipment"] or []:
                with faults.gathered():
                    known(one.where, "room", one["room"], rooms.labels, StudyError)
            for option in given["options"] or []:
                for measure in option["rooms"] or []:
                    for room in measure["rooms"] or []:
                        with faults.gathered():
                            known(measure.where, "room", room, rooms.labels, StudyError)
        self._hold_curves(given, faults)
        for part in parts_given(given):
            own = part.given
            if own.has("isolation") and floors is not None:
                with faults.gathered():
                    _check_lowest(own["isolation"], floors, self.tables.get(part.storeys))
            _check_lines(own, faults)
            for place, _ in part.transfers().values():
                self._hold_transfers(place, faults)
            if self.passbys is not None and own.has("path"):
                with faults.gathered():
                    _check_start(own["path"], str(self.passbys.level.attrs["location"]))

    def _hold_transfers(self, place: str, faults: Faults) -> None:
        """Rows of places that are there, in the bands of the study."""
        cells = self.tables.get(place)
        if cells is None:
            return
        label = cells.of.label
        named = self.tables.get(f"{label}s")
        if named is not None:
            with faults.gathered():
                cells.require_known(label, named.labels, label)
        elif label == "column":
            faults.add(
                f"{cells.file}: its rows are of columns, and [building] names no column table; "
                "give rows by floor or room, or the table"
            )
        held = [name for name in cells.of.names if name != label]
        if self.frequency is not None:
            asked = [BAND_COLUMN.format(band=bands.label(f)) for f in self.frequency.values]
            missing = [name for name in asked if name not in held]
            if missing:
                faults.add(
                    f"{cells.file}: column {missing[0]!r} is missing; the study is evaluated from "
                    f"{asked[0]} to {asked[-1]}, and the table holds {held[0]} to {held[-1]}"
                )

    def _hold_curves(self, given: Given, faults: Faults) -> None:
        """Curves that criteria name, and the criteria and options of equipment."""
        sets = given["criteria"] or {}
        for criterion in [c for of in sets.values() for c in of or []]:
            if criterion["metric"] == OWN_CURVE and criterion.has("curve"):
                with faults.gathered():
                    curves = given["curves"] or {}
                    known(criterion.where, "curve", criterion["curve"], curves, StudyError)
        if "criteria" not in given.values or "equipment" not in given.values:
            return  # refused as a whole
        names = [one["name"] for one in given["equipment"] or []]
        for at, one in enumerate(given["equipment"] or []):
            if one.has("name") and one["name"] in names[:at]:
                faults.add(f"{one.where}: the name {one['name']!r} is given twice")
            by_axis = one["criteria_by_axis"]
            asked = [one["criteria"]] if by_axis is None else list(by_axis.values.values())
            for name in filter(None, asked):
                with faults.gathered():
                    known(one.where, "set of criteria", name, sets, StudyError)
        for option in given["options"] or []:
            for mounts in option["equipment"] or []:
                if mounts.has("name"):
                    with faults.gathered():
                        known(mounts.where, "equipment", mounts["name"], names, StudyError)


def _check_lines(given: Given, faults: Faults) -> None:
    """Steps that follow column lines need them."""
    for step in ("storeys", "floor", "mid_span") if given.has("path") else ():
        table = given["path"][step]
        if table and table["model"] == "column line" and given.values.get("structure", 0) is None:
            faults.add(f"{table.where}: the model 'column line' needs the table [structure]")


_FROM_GROUND = ("ground", "speed", "coupling")


def _check_start(path: Given, measured: str) -> None:
    """Refuse a path that does not begin where the source was measured."""
    leading = [f"[path.{name}]" for name in _FROM_GROUND if path.has(name)]
    if measured == FOUNDATION.location and leading:
        are = f"{' and '.join(leading)} {'start' if len(leading) > 1 else 'starts'}"
        raise StudyError(
            f"{path.where}: the passbys of [source] were measured on the foundation, where the "
            f"path then begins, and {are} in the ground: remove {' and '.join(leading)}, or, if "
            'they were measured in the ground, say location = "ground"'
        )
    if measured == GROUND.location and not path.has("coupling"):
        raise StudyError(
            f"{path.where}: the passbys of [source] were measured in the ground, and nothing leads "
            'to the foundation: add [path.coupling] (model = "none" if nothing is lost), or, if '
            'they were measured under the standing building, say location = "foundation"'
        )


def _check_bands(frequency: xr.DataArray, passbys: Passbys) -> None:
    have = passbys.level["frequency"].values
    for band in frequency.values.tolist():
        if band not in have:
            raise StudyError(
                f"{bands.label(band)} Hz is asked for, and the passbys hold "
                f"{bands.label(have[0])} to {bands.label(have[-1])} Hz"
            )


def _check_lowest(given: Given, floors: Cells, storeys: Cells | None) -> None:
    """The floor over the mounts: one with a slab on columns, where there are column lines."""
    key = "lowest_isolated_floor"
    floor = given[key]
    if floor is None:
        return
    if storeys is not None and floor in floors.labels and floor not in storeys.labels:
        raise StudyError(
            f"{given.where}: {key!r} is {floor!r}, which {storeys.file} has no row for; "
            "mounts stand under the slab of a row, at the head of its column. Rows are there for "
            f"{', '.join(map(repr, storeys.labels))}; the lowest of them is {storeys.labels[0]!r}"
        )
    known(given.where, repr(key), floor, (storeys or floors).labels, StudyError)


def _passbys(given: Given, file: FilePath) -> Passbys:
    quantity = given["quantity"]
    arguments = {"reference": next(iter(REFERENCES[quantity])), **given.arguments()}
    with given.naming():
        reference_value(quantity, arguments["reference"])
    select = given["select"] or {}
    return read_passbys(file, location=_STARTS[given["location"]], select=select, **arguments)
