"""The CSV tables that a study file names: found, read and held against their columns."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import BandError, StudyError, TableError
from groundborne.files import read_plain
from groundborne.key import Key, KeyTable
from groundborne.source.passbys.spectra import band_columns
from groundborne.study.given import Given
from groundborne.tables import FARTHEST, Table, read_table

Array = np.ndarray[Any, Any]


@dataclass(frozen=True, eq=False)
class Cells:
    """Checked columns of one table.

    Parameters
    ----------
    table : Table
        As read, for messages.
    of : KeyTable
        What its columns are.
    values : mapping of str to DataArray
        By column, on the dim named like the label of the table, in the unit of the file; a column
        that was changed may have further dims.
    """

    table: Table
    of: KeyTable
    values: Mapping[str, xr.DataArray]

    @classmethod
    def read(cls, path: FilePath, of: KeyTable) -> Cells:
        """Read a file and check every cell.

        Raises
        ------
        TableError
            With all that is wrong in it.
        """
        table = read_table(path)
        columns: dict[str, Array] = {}
        faults: list[str] = []
        needed = list(dict.fromkeys(key.name for key in of.keys if key.needed))
        try:
            table.require(needed, [name for name in of.names if name not in needed])
        except TableError as error:
            faults.extend(error.errors)
        for name in filter(table.has, of.names):
            try:
                columns[name] = _checked(table, of.rows(name)[0], label=name == of.label)
            except TableError as error:
                faults.extend(error.errors)
        if faults:
            raise TableError(*faults)
        labels = {of.label: columns[of.label]}
        values = {n: xr.DataArray(v, dims=of.label, coords=labels) for n, v in columns.items()}
        return cls(table, of, values)

    @property
    def file(self) -> str:
        """Name of the file."""
        return self.table.file

    @property
    def labels(self) -> list[str]:
        """Label of each row."""
        return [str(label) for label in self.values[self.of.label].values]

    def has(self, column: str) -> bool:
        """Whether the file holds a column.

        Raises
        ------
        LookupError
            No row declares it: a defect.
        """
        if column not in self.of.names:
            raise LookupError(f"{self.file}: {column!r} is read and no row declares it")
        return column in self.values

    def __getitem__(self, column: str) -> xr.DataArray:
        """A column, in the unit of the file."""
        if not self.has(column):
            raise StudyError(f"{self.file}: column {column!r} is missing")
        return self.values[column]

    def where(self, at: int, column: str = "") -> str:
        """File, row and column of a cell, for messages."""
        cell = f", column {column!r}" if column else ""
        return f"{self.file}, row {self.table.rows[at]}{cell}"

    def require_known(self, column: str, names: list[str], what: str, place: str = "") -> None:
        """Refuse cells that name something the study does not have.

        Raises
        ------
        TableError
            With every such cell.
        """
        cells = self[column].values.tolist()
        errors = [
            f"{self.where(at, column)}: there is no {what} {cell!r}{place}; known are "
            f"{', '.join(map(repr, names)) or '(none)'}"
            for at, cell in enumerate(cells)
            if cell not in names
        ]
        if errors:
            raise TableError(*errors)

    def dataset(self) -> xr.Dataset:
        """Columns by the arguments they stand for, in SI."""
        data = {}
        for key in self.of.keys:
            if key.argument and self.has(key.name):
                values = self[key.name]
                if key.quantity is not None or key.free:
                    unit = "m" if key.quantity is None else key.quantity.unit
                    values = (key.scale * values).assign_attrs(
                        units=unit.removeprefix("k") if key.scale != 1 else unit
                    )
                data[key.argument] = values
        return xr.Dataset(data)

    def changed(self, column: str, values: xr.DataArray) -> Cells:
        """The same with other values in a column."""
        return replace(self, values={**self.values, column: values})


class TableFiles:
    """Files beside a study file, each read once.

    Parameters
    ----------
    file : Path
        The study file.
    text : str
        What it holds.
    others : sequence of str
        Folders outside its own that tables may lie in.
    """

    def __init__(self, file: FilePath, text: str, others: list[str]) -> None:
        self._folders = [file.parent, *(file.parent / folder for folder in others)]
        self.inputs = {file.name: text}
        self.names = {"study": file.name}

    def aside(self) -> TableFiles:
        """The same with names of its own; texts are kept together."""
        other = copy(self)
        other.names = dict(self.names)
        return other

    def find(self, given: Given, key: str) -> FilePath:
        """The file that a key names; its text is kept.

        Raises
        ------
        StudyError, TableError
            It lies outside the folders, or cannot be read.
        """
        where, name = f"{given.where}: {key!r}", given[key]
        found = self._inside(name, where)
        self.names[key] = found.name
        try:
            content = read_plain(found, error=TableError, wanted="a CSV file")
        except TableError as error:
            raise TableError(f"{where}: {error}") from None
        self.inputs[name] = content.decode("utf-8-sig", errors="replace")
        return found

    def read(self, given: Given, key: str) -> Cells:
        """The checked cells of the file that a key names.

        Raises
        ------
        StudyError, TableError
            With all that is wrong in it.
        """
        of = given.rows[key].inner
        assert isinstance(of, KeyTable)
        file = self.find(given, key)
        return Cells.read(file, of if of.bands is None else with_bands(of, file))

    def _inside(self, name: str, where: str) -> FilePath:
        """Tables go into the report whole, so that others must be allowed by name."""
        folders = self._folders
        try:
            found = (folders[0] / name).resolve()
            allowed = [folder.resolve() for folder in folders]
        except (OSError, ValueError, RuntimeError) as error:
            raise StudyError(f"{where} is {name!r}, which cannot be read ({error})") from None
        if not any(found.is_relative_to(folder) for folder in allowed):
            raise StudyError(
                f"{where} is {name!r}, which lies outside the folder of the study ({allowed[0]}); "
                "move the table there, or name its folder in the list 'other_folders' at the top "
                "of the study file"
            )
        return folders[0] / name


BAND_COLUMN = "{band} Hz"
"""How columns of bands are named."""


def with_bands(of: KeyTable, file: FilePath) -> KeyTable:
    """Columns of a table that has one for each band, by its header.

    Parameters
    ----------
    of : KeyTable
        With what such a column is, and keys of which the first column is one.
    file : Path
        The table.

    Raises
    ------
    TableError
        The first column names no places; there is no column of a band, or bands do not follow
        each other.
    """
    assert of.bands is not None
    table = read_table(file)
    first = table.header[0]
    if first not in of.names:
        raise TableError(
            f"{table.file}: the first column is {first!r}; it must name what the rows are of: "
            f"{', '.join(map(repr, of.names))}"
        )
    try:
        columns, _ = band_columns(table, BAND_COLUMN)
    except BandError as error:
        raise TableError(str(error)) from None
    label = tuple(replace(key, needed=True) for key in of.rows(first))
    return KeyTable((*label, *(replace(of.bands, name=name) for name in columns)), label=first)


def _checked(table: Table, key: Key, *, label: bool) -> Array:
    """Cells of a column: numbers within bounds, or texts; an empty one stands for the default."""
    if label:
        return table.unique(key.name).astype(str)
    if key.kind != "number":
        return table.text(key.name, empty=key.default is not None).astype(str)
    if key.quantity is None:
        return table.numbers([key.name], low=-FARTHEST, high=FARTHEST, unit="m")[:, 0]
    given = np.ones(table.rows.size, dtype=bool)
    if key.default is not None:
        given = table.text(key.name, empty=True) != ""
    values = np.full(given.size, np.nan if key.default is None else key.default)
    rows, least = table.only(given), key.quantity.possible[0]
    bounds = {"above": 0.0} if least > 0 else {"low": 0.0} if least == 0 else {}
    if given.any():
        values[given] = rows.numbers([key.name], unit=key.quantity.unit, **bounds)[:, 0]
        rows.judge(key.name, values[given], key.quantity)
    return values


def plain(array: xr.DataArray) -> Any:
    """A number where an array has no dims, else the bare quantity without its own coordinates."""
    if not array.dims:
        return array.values.item()
    return array.reset_coords(drop=True).drop_attrs(deep=False)
