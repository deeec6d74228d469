"""Measured levels of rooms from CSV tables, read strictly, with the background taken off."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import TableError, known
from groundborne.commissioning.measurement_error import (
    BACKGROUND,
    DETECTABLE,
    POSITIONS,
    without_background,
)
from groundborne.commissioning.provenance import labelled
from groundborne.csv_columns import ROOM_LEVEL_KINDS, STATISTICS, find_column
from groundborne.levels import convert, energy_mean, reference_value, stamp
from groundborne.source.passbys.spectra import PLAUSIBLE, band_columns
from groundborne.tables import Table, read_table
from groundborne.uncertainty.spread import QUANTITIES
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived

DURATION = "duration_s"
OWN_REFERENCE = {QUANTITIES[0]: "20 µPa", QUANTITIES[1]: "1 nm/s"}
_TRAIN, _BACKGROUND = ROOM_LEVEL_KINDS
_LARGEST = dict(
    zip(QUANTITIES, ("largest band heard in rooms", "largest band of floors"), strict=True)
)
_EXCHANGED = -3.0  # dB; trains so far below the background are none

Array = np.ndarray[Any, Any]
_Place = tuple[str, str]  # room, position


@checked
def read_room_levels(
    path: str | FilePath,
    *,
    quantity: str,
    reference: str,
    provenance: str,
    state: str = "",
    rooms: Sequence[str] | None = None,
    band_column: str = "{band} Hz",
    ignore_columns: Sequence[str] = (),
    detectable: float = DETECTABLE,
    background_error: float = BACKGROUND,
) -> xr.DataArray:
    r"""Read what was measured in rooms, one row for each passby in each room.

    Parameters
    ----------
    path : str or Path
        CSV file: ``room``, ``passby``, ``kind`` (``passby`` or ``background``), ``statistic``,
        optional ``train_type``, ``position`` and, of passbys, ``duration_s``, and one column for
        each band, ascending [dB].
    quantity : str
        ``sound pressure``, or ``velocity`` of floors.
    reference : str
        dB reference of the file, as in ``levels.REFERENCES``; velocity becomes re 1 nm/s.
    provenance, state : str
        As for :func:`~groundborne.commissioning.labelled`.
    rooms : sequence of str, optional
        Which rooms of the file to take; all by default.
    band_column : str
        How band columns are named, with ``{band}`` for the nominal label.
    ignore_columns : sequence of str
        Columns to leave out knowingly; any other unknown column is refused.
    detectable, background_error : float
        As for :func:`~groundborne.commissioning.levels_by_room` [dB].

    Returns
    -------
    xarray.DataArray
        Levels [dB] on ``room``, ``passby`` and ``frequency``, the background taken off at each
        position and positions averaged in energy, with ``upper_limit``, ``background_error``,
        ``train_type`` and ``duration_s`` as for
        :func:`~groundborne.commissioning.compare_levels` and
        :func:`~groundborne.commissioning.judge_measured`. Where
        positions are named, the attribute ``positions`` holds how many the room with the fewest
        has; else say it in :class:`~groundborne.commissioning.MeasurementError`.

    Raises
    ------
    TableError
        The file, a row, a column or a cell is not as it should be, each is named: a room in which a
        passby of the others is missing, rows of another statistic, a room without background or
        without passbys, a column to leave out that is not there, background above the trains,
        values that are no levels.
    BandError
        A band is missing, repeated, out of order or not nominal.
    LevelError
        An unknown quantity or reference.

    Warns
    -----
    UnusualValueWarning
        A room whose largest bands are unusual for that quantity: another one, or another reference.

    Notes
    -----
    Background is the energy mean of its segments (``leq``). Segments on the statistic of the
    passbys, of which the largest counts, say what stands out of it where there are any.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "night.csv"
    >>> _ = file.write_text("room,passby,kind,statistic,50 Hz,63 Hz\nR1,P1,passby,S max,44,48\n"
    ...                     "R1,P2,passby,S max,43,49\nR1,B1,background,leq,25,46\n")
    >>> level = read_room_levels(file, quantity="sound pressure", reference="20 µPa",
    ...                          provenance="night 1, invented")
    >>> level.values.tolist(), level["upper_limit"].values[0].tolist()
    ([[[44.0, 48.0], [43.0, 49.0]]], [[False, True], [False, True]])
    """
    where = "read_room_levels"
    known(where, "quantity", quantity, QUANTITIES)
    reference_value(quantity, reference)
    if band_column.count("{band}") != 1:
        raise TableError(f"{where}: band_column is {band_column!r}; it needs {{band}} once")
    table = read_table(path)
    columns, labels = band_columns(table, band_column)
    table.require(
        ["room", "passby", "kind", "statistic", *columns],
        optional=["train_type", "position", DURATION, *ignore_columns],
    )
    table.words("kind", ROOM_LEVEL_KINDS)
    table.words("statistic", STATISTICS)
    for name in ignore_columns:
        known(table.file, "column of ignore_columns", name, table.header, TableError)
    table = _of_rooms(table, rooms)
    values = _levels(table, columns, quantity, reference)
    statistic = _statistic(table)
    grid = _Grid(table, statistic)
    named: dict[str, Any] = {"passby": grid.passbys, "frequency": labels}

    def stamped(rows: Array, dims: tuple[str, ...]) -> xr.DataArray:
        coords = {d: named[d] for d in dims if d in named}
        level = stamp(
            xr.DataArray(rows, dims=dims, coords=coords), quantity=quantity, reference=reference,
            long_name=f"{quantity} level", time_weighting=statistic, source=table.file,
        )  # fmt: skip
        return convert(level, reference=OWN_REFERENCE[quantity])

    told: dict[str, Any] = {}
    if grid.types is not None:
        told["train_type"] = ("passby", grid.types)
    if grid.durations is not None:
        told[DURATION] = ("passby", grid.durations, {"units": "s"})
    found = []
    for room in grid.rooms:
        each = []
        for place in grid.places(room):
            level = stamped(values[grid.trains(place)], ("passby", "frequency"))
            quiet, alike = grid.background(place)
            floor = energy_mean(stamped(values[quiet], ("segment", "frequency")), "segment")
            compared = (
                stamped(values[alike], ("segment", "frequency")).max("segment", keep_attrs=True)
                if len(alike)
                else None
            )
            grid.require_above(place, level, floor)
            each.append(
                without_background(
                    level, floor, compared_with=compared, detectable=detectable,
                    uncertainty=background_error,
                )
            )  # fmt: skip
        found.append(_mean_of_positions(each))
    joined: xr.DataArray = xr.concat(
        found, dim=xr.Variable("room", grid.rooms), join="exact",
        coords=["upper_limit", "background_error"],
    )  # fmt: skip
    joined = joined.transpose("room", "passby", "frequency").assign_coords(told)
    # Without names a level may be a mean already, over as many as only the user knows.
    named_any = any(place[1] for room in grid.rooms for place in grid.places(room))
    fewest = min(len(grid.places(room)) for room in grid.rooms)
    joined = joined.assign_attrs(found[0].attrs | ({POSITIONS: fewest} if named_any else {}))
    joined = labelled(joined, provenance=provenance, state=state)
    judge(
        derived(_LARGEST[quantity]),
        joined.max("frequency").median("passby"),
        subject=lambda at: (
            f"{table.file}, room {grid.rooms[at]!r}: the median of the largest band, read as "
            f"{quantity} re {reference},"
        ),
        error=TableError,
    )
    return joined


def _of_rooms(table: Table, rooms: Sequence[str] | None) -> Table:
    """Rows of the rooms asked for."""
    if rooms is None:
        return table
    here = table.text("room").astype(str)
    for room in rooms:
        known(table.file, "room", room, list(dict.fromkeys(here.tolist())), TableError)
    return table.only(np.isin(here, list(rooms)))


def _levels(table: Table, columns: list[str], quantity: str, reference: str) -> Array:
    """Band levels as they stand in the file [dB]."""
    shift = 0.0
    if quantity == QUANTITIES[1]:
        shift = 20 * np.log10(reference_value(quantity, reference)[1] * 1e9)
    low, high = PLAUSIBLE
    values = table.numbers(
        columns, low=low - shift, high=high - shift,
        unit=f"dB; is the reference ({reference}) right, and are these levels?",
    )  # fmt: skip
    trains = table.text("kind").astype(str) == _TRAIN
    if not trains.any():
        raise TableError(f"{table.file}: no row is a passby; at least one is needed")
    return values


def _statistic(table: Table) -> str:
    """The one of all passbys."""
    kinds, each = (table.text(n).astype(str) for n in ("kind", "statistic"))
    trains = np.flatnonzero(kinds == _TRAIN)
    one = str(each[trains[0]])
    for at in range(len(kinds)):
        allowed = (one,) if kinds[at] == _TRAIN else (one, "leq")
        if each[at] not in allowed:
            raise TableError(
                f"{table.file}, row {table.rows[at]}, column 'statistic': {str(each[at])!r}, where "
                f"row {table.rows[trains[0]]} has {one!r}; passbys are all of one statistic, and "
                "background is leq or of the same"
            )
    return one


class _Grid:
    """Which row holds which passby at which position of which room.

    Raises
    ------
    TableError
        A row that stands twice, a passby that is missing, a type that differs between rooms, a
        position without background.
    """

    def __init__(self, table: Table, statistic: str) -> None:
        self.table = table
        blank = np.full(table.rows.size, "")
        names = {n: table.text(n).astype(str) for n in ("room", "passby", "kind", "statistic")}
        for name in ("position", "train_type"):
            names[name] = table.text(name, empty=True).astype(str) if table.has(name) else blank
        self._rows: dict[tuple[str, ...], int] = {}
        for at in range(table.rows.size):
            key = tuple(str(names[n][at]) for n in ("kind", "room", "position", "passby"))
            if key[0] == _BACKGROUND:
                key = (*key, str(names["statistic"][at]))
            if key in self._rows:
                raise TableError(
                    f"{table.file}, row {table.rows[at]}: {key[0]} {key[3]!r} of room {key[1]!r} "
                    f"was given in row {table.rows[self._rows[key]]} already; where a room has "
                    "several positions, name them in a column 'position'"
                )
            self._rows[key] = at
        trains = {k: at for k, at in self._rows.items() if k[0] == _TRAIN}
        self.rooms = list(dict.fromkeys(k[1] for k in trains))
        self.passbys = list(dict.fromkeys(k[3] for k in trains))
        self._places = list(dict.fromkeys((k[1], k[2]) for k in trains))
        for key, at in self._rows.items():
            place = (key[1], key[2])
            if place not in self._places:
                unnamed = ", no position named" if not key[2] and key[1] in self.rooms else ""
                raise TableError(
                    f"{table.file}, row {table.rows[at]}: background of {self._words(place)}"
                    f"{unnamed}, which has no passby; name rooms and positions alike in all rows, "
                    "or leave the row out"
                )
        self._statistic = statistic
        self.types = self._types(names["train_type"], trains)
        self.durations = self._durations(trains)

    def places(self, room: str) -> list[_Place]:
        """Positions of a room."""
        return [p for p in self._places if p[0] == room]

    def _words(self, place: _Place) -> str:
        return f"room {place[0]!r}" + (f", position {place[1]!r}" if place[1] else "")

    def trains(self, place: _Place) -> Array:
        """Rows of the passbys there, in one order for all."""
        room, position = place
        for name in self.passbys:
            if (_TRAIN, room, position, name) not in self._rows:
                raise TableError(
                    f"{self.table.file}: {self._words(place)} has no passby {name!r}, which other "
                    "rows have; every passby is needed at every position: put rooms that were "
                    "measured at other times in files of their own, or name those to read in rooms"
                )
        return np.array([self._rows[_TRAIN, room, position, name] for name in self.passbys])

    def background(self, place: _Place) -> tuple[Array, Array]:
        """Rows of the background there: energy means, and those on the statistic of the trains."""
        mine = {k: at for k, at in self._rows.items() if k[0] == _BACKGROUND and k[1:3] == place}
        quiet = [at for k, at in mine.items() if k[4] == "leq"]
        if not quiet:
            raise TableError(
                f"{self.table.file}: {self._words(place)} has no background on the statistic leq; "
                "without it nothing shows that what was measured are the trains"
            )
        alike = [at for k, at in mine.items() if k[4] == self._statistic != "leq"]
        return np.array(quiet), np.array(alike, int)

    def require_above(self, place: _Place, level: xr.DataArray, background: xr.DataArray) -> None:
        """Refuse trains that lie below the background as a whole: kinds of rows exchanged."""
        above = float((level - background).median())
        if above < _EXCHANGED:
            raise TableError(
                f"{self.table.file}: in {self._words(place)} the trains lie {-above:.1f} dB below "
                "the background in half of all bands; are the kinds of the rows exchanged, or is "
                "the background of another room?"
            )

    def _alike(self, column: str, cells: Array, trains: dict[tuple[str, ...], int]) -> list[int]:
        """Row of every passby, of which a column says the same in all rooms."""
        found: dict[str, int] = {}
        for key, at in trains.items():
            first = found.setdefault(key[3], at)
            if cells[first] != cells[at]:
                here, there = (
                    str(c) if isinstance(c, str) else f"{c:g}" for c in (cells[at], cells[first])
                )
                raise TableError(
                    f"{self.table.file}, row {self.table.rows[at]}, column {column!r}: passby "
                    f"{key[3]!r} is {here!r}, and {there!r} in row {self.table.rows[first]}; a "
                    "train is the same in all rooms"
                )
        return [found[name] for name in self.passbys]

    def _durations(self, trains: dict[tuple[str, ...], int]) -> Array | None:
        """Of every passby [s], the same in all rooms; None where none is told."""
        if not self.table.has(DURATION):
            return None
        rows = np.array(list(trains.values()))
        keep = np.isin(np.arange(self.table.rows.size), rows)
        passing = self.table.only(keep)
        values = passing.numbers([DURATION], above=0.0, unit="s")[:, 0]
        passing.judge(DURATION, values, find_column("room_levels", DURATION))
        cells = np.full(self.table.rows.size, np.nan)
        cells[keep] = values
        return cells[self._alike(DURATION, cells, trains)]

    def _types(self, kinds: Array, trains: dict[tuple[str, ...], int]) -> list[str] | None:
        """Of every passby, the same in all rooms; None where none is told."""
        rows = self._alike("train_type", kinds, trains)
        each = [str(kinds[at]) for at in rows]
        if not any(each):
            return None
        for at, kind in zip(rows, each, strict=True):
            if not kind:
                raise TableError(
                    f"{self.table.file}, row {self.table.rows[at]}, column 'train_type': "
                    "the cell is empty; every passby has a type, or none"
                )
        return each


def _mean_of_positions(each: list[xr.DataArray]) -> xr.DataArray:
    """Energy mean; an upper limit where any position has one."""
    joined = xr.concat([a.reset_coords(drop=True) for a in each], dim="position", join="exact")
    mean = energy_mean(joined.assign_attrs(each[0].attrs), "position")
    limits, errors = (
        xr.concat([a[n].reset_coords(drop=True) for a in each], dim="position", join="exact")
        for n in ("upper_limit", "background_error")
    )
    return mean.assign_coords(
        upper_limit=limits.any("position"), background_error=errors.max("position")
    ).assign_attrs(each[0].attrs)
