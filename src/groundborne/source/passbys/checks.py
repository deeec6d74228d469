"""What a table of passbys says of itself: levels of trains, whole spectra, trains of a length."""

from __future__ import annotations

from typing import Any

import numpy as np

from groundborne._checks import TableError
from groundborne.csv_columns import find_column
from groundborne.tables import Table
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived

_KMH = 3.6


def check_passbys(
    table: Table,
    level: np.ndarray[Any, Any],
    columns: list[str],
    name_column: str,
    *,
    reference: str,
) -> None:
    """Hold passbys against what trains do, and warn of what looks like another unit.

    Parameters
    ----------
    table : Table
        Rows that are passbys.
    level : numpy array
        Velocity levels [dB re 1 nm/s], shape (passbys, bands).
    columns : list of str
        Names of the band columns, for messages.
    name_column : str
        Column of the names of passbys.
    reference : str
        As which the file was read, for messages.

    Raises
    ------
    TableError
        A speed, a duration or a length of train that cannot be.

    Warns
    -----
    UnusualValueWarning
        A speed, duration or train length outside the usual range; bands that stand off their
        neighbours; levels that look like another reference.
    """
    given = {
        name: table.numbers([name])[:, 0] for name in ("speed_kmh", "duration_s") if table.has(name)
    }
    for name, values in given.items():
        table.judge(name, values, find_column("passbys", name))
    names = table.text(name_column)

    def row(at: int) -> str:
        return f"{table.file}, row {table.rows[at]}, {str(names[at])!r}"

    if len(given) == 2:
        length = given["speed_kmh"] / _KMH * given["duration_s"]
        judge(
            derived("train length"),
            length,
            subject=lambda at: (
                f"{row(at)}: the length of the train, 'speed_kmh' times 'duration_s',"
            ),
            error=TableError,
        )
        kinds = table.text("train_type") if table.has("train_type") else np.full(length.size, "")
        median = {kind: float(np.median(length[kinds == kind])) for kind in set(kinds.tolist())}
        judge(
            derived("train length over median"),
            length / np.array([median[kind] for kind in kinds.tolist()]),
            subject=lambda at: f"{row(at)}: the length of the train over the median of its type",
            error=TableError,
        )
    if "speed_kmh" in given:
        judge(
            derived("median speed"),
            [np.median(given["speed_kmh"])],
            subject=lambda _: f"{table.file}, column 'speed_kmh': the median",
            error=TableError,
        )
    largest = level.max(axis=1)
    judge(
        derived("largest band"),
        largest,
        subject=lambda at: f"{row(at)}: the largest band, read re {reference},",
        error=TableError,
    )
    judge(
        derived("median of largest bands"),
        [np.median(largest)],
        subject=lambda _: (
            f"{table.file}: the median over passbys of the largest band, read re {reference},"
        ),
        error=TableError,
    )
    _check_spectra(table, level, columns)


def _check_spectra(table: Table, level: np.ndarray[Any, Any], columns: list[str]) -> None:
    """Bands that stand off the mean of their neighbours, or off the one they have."""
    bands = level.shape[1]
    if bands < 3:
        return
    inner = level[:, 1:-1] - (level[:, :-2] + level[:, 2:]) / 2
    # Beside a band that is far off, both neighbours are half as far off the other way.
    inner = np.where(np.abs(inner) >= _largest_beside(inner), inner, 0.0)
    outer = np.stack([level[:, 0] - level[:, 1], level[:, -1] - level[:, -2]], axis=1)
    for name, off, places, words in (
        ("band off its neighbours", inner, columns[1:-1], "the mean of the bands beside it"),
        ("outermost band off its neighbour", outer, [columns[0], columns[-1]], "the next band"),
    ):

        def cell(at: int, places: list[str] = places, words: str = words) -> str:
            row, column = divmod(at, len(places))
            where = f"{table.file}, row {table.rows[row]}, column {places[column]!r}"
            return f"{where}: the level over {words}"

        judge(derived(name), off.ravel(), subject=cell, error=TableError)


def _largest_beside(values: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Largest size of the two values beside each in a row."""
    size = np.pad(np.abs(values), ((0, 0), (1, 1)))
    found: np.ndarray[Any, Any] = np.maximum(size[:, :-2], size[:, 2:])
    return found
