"""Checked columns of a CSV table: every cell held against the rows that declare its columns."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import StudyError, TableError
from groundborne.key import Key, KeyTable
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
        that was changed may have further dims. Where two columns name a row, both names and both
        cells are joined by a dot.
    """

    table: Table
    of: KeyTable
    values: Mapping[str, xr.DataArray]

    @classmethod
    def read(
        cls,
        path: str | FilePath,
        of: KeyTable | Callable[[Table], KeyTable],
        *,
        repeated: bool = False,
    ) -> Cells:
        """Read a file and check every cell.

        Parameters
        ----------
        path : str or Path
            CSV file.
        of : KeyTable or callable
            What its columns are, or tells it of the table as read.
        repeated : bool
            Whether a label may stand twice.

        Raises
        ------
        TableError
            With all that is wrong in it.
        """
        table = read_table(path)
        of = of if isinstance(of, KeyTable) else of(table)
        label = of.label.split(".")
        columns: dict[str, Array] = {}
        faults: list[str] = []
        needed = list(dict.fromkeys(key.name for key in of.keys if key.needed))
        try:
            table.require(needed, [name for name in of.names if name not in needed])
        except TableError as error:
            faults.extend(error.errors)
        for name in filter(table.has, of.names):
            try:
                columns[name] = _checked(table, of.rows(name)[0])
            except TableError as error:
                faults.extend(error.errors)
        if not repeated and all(name in columns for name in label):
            try:
                table.unique(*label)
            except TableError as error:
                faults.extend(error.errors)
        if faults:
            raise TableError(*faults)
        labels = [".".join(row) for row in zip(*(columns[name] for name in label), strict=True)]
        if not repeated and len(set(labels)) < len(labels):
            twice = next(one for one in labels if labels.count(one) > 1)
            raise TableError(
                f"{table.file}: two rows are both named {twice!r} by {' and '.join(label)} with a "
                "dot between; rename one"
            )
        coords = {of.label: np.array(labels)}
        values = {n: xr.DataArray(v, dims=of.label, coords=coords) for n, v in columns.items()}
        return cls(table, of, values)

    @property
    def file(self) -> str:
        """Name of the file."""
        return self.table.file

    @property
    def labels(self) -> list[str]:
        """Label of each row."""
        first = next(iter(self.values.values()))
        return [str(label) for label in first[self.of.label].values]

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


def _checked(table: Table, key: Key) -> Array:
    """Cells of a column: numbers within bounds, or texts; an empty one stands for the default."""
    if key.kind == "choice":
        empty = key.default is not None
        return table.words(key.name, key.choices, empty=empty).astype(str)
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
