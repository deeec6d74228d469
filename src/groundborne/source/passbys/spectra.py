"""Passby spectra from a CSV file, kept apart from background segments."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import BandError, LevelError, TableError, known
from groundborne.bands import label, require_labels
from groundborne.levels import (
    TIME_WEIGHTINGS,
    convert,
    energy_mean,
    reference_value,
    stamp,
    velocity_from_acceleration,
)
from groundborne.path import FOUNDATION, GROUND, End
from groundborne.source.passbys.checks import check_passbys
from groundborne.tables import Table, read_table

PLAUSIBLE = (-60.0, 200.0)
"""Levels outside this range [dB re 1 nm/s] are taken for another unit and refused."""

LEAST = 20.0
"""A file whose largest level lies below this [dB re 1 nm/s] is taken for linear values."""

_META_NUMBERS = {"speed_kmh": "km/h", "duration_s": "s"}
_META_TEXT = ("train_type", "track")


@checked
@dataclass(frozen=True, eq=False)
class Passbys:
    """Measured passbys and, apart from them, background segments.

    Parameters
    ----------
    level : DataArray
        Velocity level [dB re 1 nm/s], dims (passby, frequency), with what is known of each passby
        as coordinates (``train_type``, ``track``, ``speed_kmh``, ``duration_s``).
    background : DataArray or None
        Velocity level of background segments, dims (segment, frequency).
    file : str
        Where they came from.
    notes : tuple of str
        The remarks at the head of the file.
    """

    level: xr.DataArray
    background: xr.DataArray | None = None
    file: str = ""
    notes: tuple[str, ...] = ()

    def above_background(self) -> xr.DataArray | None:
        """Energy mean of the passbys over that of the background [dB], per band; None without."""
        if self.background is None:
            return None
        above = energy_mean(self.level, "passby") - energy_mean(self.background, "segment")
        above.attrs = {"long_name": "passbys above background", "units": "dB"}
        return above


@checked
def read_passbys(
    path: str | FilePath,
    *,
    quantity: str,
    reference: str,
    time_weighting: str,
    location: End = GROUND,
    band_column: str = "{band} Hz",
    name_column: str = "passby",
    kind_column: str | None = None,
    passby_kinds: Sequence[str] = ("passby",),
    background_kinds: Sequence[str] = ("background",),
    select: Mapping[str, str] | None = None,
    ignore_columns: Sequence[str] = (),
) -> Passbys:
    r"""Read band levels, one row for each passby.

    Parameters
    ----------
    path : str or Path
        CSV file: a name column, optional ``train_type``, ``track``, ``speed_kmh`` and
        ``duration_s``, and one column for each band, ascending.
    quantity : str
        ``velocity`` or ``acceleration``; acceleration becomes velocity at the exact centres.
    reference : str
        dB reference of the file, as in ``levels.REFERENCES``; levels become re 1 nm/s.
    time_weighting : str
        What the levels are: ``S max``, ``F max``, ``leq`` or ``max hold``.
    location : End
        Where they were measured: ``path.GROUND`` or ``path.FOUNDATION``.
    band_column : str
        How band columns are named, with ``{band}`` for the nominal label.
    name_column : str
        Column of unique names.
    kind_column : str, optional
        Column that tells passbys from background.
    passby_kinds, background_kinds : sequence of str
        Entries of the kind column; any other is refused.
    select : mapping of str to str, optional
        Keep the rows whose column holds a value, for example ``{"axis": "z"}``.
    ignore_columns : sequence of str
        Columns to leave out knowingly; any other unknown column is refused.

    Returns
    -------
    Passbys
        Passbys and background apart.

    Raises
    ------
    TableError
        The file, a row, a column or a cell is not as it should be; each is named.
    BandError
        A band is missing, repeated, out of order or not nominal.
    LevelError
        An unknown quantity, reference or time weighting.

    Warns
    -----
    UnusualValueWarning
        Levels, speeds, durations or train lengths outside the usual range, or a band that stands
        far off its neighbours: another unit or a slip of the decimal point.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "passbys.csv"
    >>> _ = file.write_text("passby,train_type,50 Hz,63 Hz\nP1,metro,90.0,95.5\n")
    >>> read = read_passbys(file, quantity="velocity", reference="1 nm/s", time_weighting="S max")
    >>> read.level.sel(passby="P1", frequency=63.0).item()
    95.5
    """
    if quantity not in ("velocity", "acceleration"):
        known("read_passbys", "quantity", quantity, ("velocity", "acceleration"), LevelError)
    reference_value(quantity, reference)
    known("read_passbys", "time_weighting", time_weighting, TIME_WEIGHTINGS, LevelError)
    if location not in (GROUND, FOUNDATION):
        raise LevelError(
            f"read_passbys: location is {location}; it must be {GROUND} or {FOUNDATION}"
        )
    if band_column.count("{band}") != 1:
        raise TableError(f"read_passbys: band_column is {band_column!r}; it needs {{band}} once")
    table = read_table(path)
    columns, labels = band_columns(table, band_column)
    select = dict(select or {})
    meta = [c for c in (*_META_TEXT, *_META_NUMBERS) if table.has(c)]
    needed = [name_column, *([kind_column] if kind_column else []), *select]
    table.require(
        list(dict.fromkeys([*needed, *columns])),
        optional=[*_META_TEXT, *_META_NUMBERS, *ignore_columns],
    )
    rows = _selected(table, select)
    names = rows.unique(name_column)
    values = rows.numbers(columns)
    low, high = PLAUSIBLE
    shift = (
        20 * np.log10(reference_value(quantity, reference)[1] * 1e9)
        if quantity == "velocity"
        else 0.0
    )
    rows.numbers(
        columns,
        low=low - shift,
        high=high - shift,
        unit=f"dB; is the reference ({reference}) right, and are these levels?",
    )
    if values.max() + shift < LEAST:
        raise TableError(
            f"{table.file}: the largest value is {values.max():g}; as a level re {reference} that "
            "is below any train; are these levels in dB, or linear values?"
        )
    level = xr.DataArray(
        values,
        dims=("passby", "frequency"),
        coords={"passby": names.astype(str), "frequency": labels},
    )
    level = stamp(
        level,
        quantity=quantity,
        reference=reference,
        long_name=f"{quantity} level",
        location=location.location,
        time_weighting=time_weighting,
        source=table.file,
    )
    level = (
        velocity_from_acceleration(level)
        if quantity == "acceleration"
        else convert(level, reference="1 nm/s")
    )
    level = level.assign_coords(_meta_coordinates(rows, meta))
    if kind_column is None:
        check_passbys(rows, level.values, columns, name_column, reference=reference)
        return Passbys(level, None, table.file, table.notes)
    kinds = rows.text(kind_column)
    allowed = [*passby_kinds, *background_kinds]
    odd = ~np.isin(kinds.astype(str), allowed)
    if odd.any():
        at = int(np.argmax(odd))
        raise TableError(
            f"{table.file}, row {rows.rows[at]}, column {kind_column!r}: {kinds[at]!r} is unknown; "
            f"known are {', '.join(map(repr, allowed))}"
        )
    is_passby = np.isin(kinds.astype(str), list(passby_kinds))
    if not is_passby.any():
        raise TableError(f"{table.file}: no row is a passby; at least one is needed")
    passing = level.values[is_passby]
    check_passbys(rows.only(is_passby), passing, columns, name_column, reference=reference)
    background = None
    if not is_passby.all():
        background = level.isel(passby=~is_passby).rename(passby="segment")
        background = background.drop_vars([c for c in meta if c in background.coords])
    return Passbys(level.isel(passby=is_passby), background, table.file, table.notes)


def band_columns(table: Table, pattern: str) -> tuple[list[str], np.ndarray[Any, Any]]:
    """Columns that look like bands, with their labels, checked as one gapless run.

    Parameters
    ----------
    table : Table
        As read.
    pattern : str
        How they are named, with ``{band}`` for the nominal label.

    Raises
    ------
    BandError
        There is none; a band is missing, repeated, out of order, not nominal or written otherwise.
    """
    head, tail = pattern.split("{band}")
    columns, labels = [], []
    for column in table.header:
        if not (column.startswith(head) and column.endswith(tail)):
            continue
        text = column[len(head) : len(column) - len(tail)]
        try:
            value = float(text)
        except ValueError:
            continue
        columns.append(column)
        labels.append(value)
    if not columns:
        example = pattern.replace("{band}", "63")
        raise BandError(f"{table.file}: no column is named like a band, for example {example!r}")
    run = require_labels(labels, table.file)
    for column, value in zip(columns, run.tolist(), strict=True):
        if column != pattern.replace("{band}", label(value)):
            raise BandError(
                f"{table.file}: the band column {column!r} must be written "
                f"{pattern.replace('{band}', label(value))!r}"
            )
    return columns, run


def _selected(table: Table, select: Mapping[str, str]) -> Table:
    keep = np.ones(table.rows.size, dtype=bool)
    for column, wanted in select.items():
        keep &= table.text(column).astype(str) == wanted
    if not keep.any():
        wants = " and ".join(f"{c} = {v!r}" for c, v in select.items())
        raise TableError(f"{table.file}: no row has {wants}")
    return table.only(keep)


def _meta_coordinates(table: Table, meta: Sequence[str]) -> dict[str, Any]:
    coords: dict[str, Any] = {}
    for column in meta:
        if column in _META_NUMBERS:
            unit = _META_NUMBERS[column]
            coords[column] = (
                "passby",
                table.numbers([column], above=0.0, unit=unit)[:, 0],
                {"units": unit},
            )
        else:
            coords[column] = ("passby", table.text(column).astype(str))
    return coords
