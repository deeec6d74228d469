"""The CSV tables that a study file names: found, read and held against their columns."""

from __future__ import annotations

from copy import copy
from dataclasses import replace
from pathlib import Path as FilePath
from typing import Any

import xarray as xr

from groundborne._checks import BandError, StudyError, TableError
from groundborne.cells import Cells
from groundborne.files import read_plain
from groundborne.key import KeyTable
from groundborne.loads.reader import LOAD_TABLES
from groundborne.source.passbys.spectra import band_columns
from groundborne.study.given import Given
from groundborne.tables import read_table


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
        if of.bands is not None:
            return Cells.read(file, with_bands(of, file))
        return Cells.read(file, LOAD_TABLES.get(key, of))

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


def plain(array: xr.DataArray) -> Any:
    """A number where an array has no dims, else the bare quantity without its own coordinates."""
    if not array.dims:
        return array.values.item()
    return array.reset_coords(drop=True).drop_attrs(deep=False)
