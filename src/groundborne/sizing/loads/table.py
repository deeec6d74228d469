"""Reading a table of column loads: one unit, one revision, one row for each column."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import TableError, not_negative, positive, within
from groundborne.csv_columns import OWN_SECTION, load_range
from groundborne.tables import Table, read_table
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived

LOADS = ("permanent", "structure", "superimposed", "imposed", "wind", "wind_x", "wind_y",
         "accidental")  # fmt: skip
"""Loads a table may hold, each followed by its unit: ``_kn`` or ``_n``; also :func:`is_wind`."""

_DIRECTION = re.compile(r"wind_[a-z0-9]+(_[a-z0-9]+)*")

_UNITS = {"kn": 1e3, "n": 1.0}
_PLACE = ("column", "x_m", "y_m")
_OTHER = ("category", "panel_share", "part", *OWN_SECTION)
_SAME_PLACE = 0.05
_NEIGHBOURS = 6
_APART = derived("distance of columns")
_APART_SAID = "the median distance of a column to the next one"


def is_wind(name: str) -> bool:
    """Whether a name is a load by wind from one direction: ``wind_x``, ``wind_ne``, ``wind_45``.

    Examples
    --------
    >>> is_wind("wind_ne"), is_wind("wind"), is_wind("imposed")
    (True, False, False)
    """
    return _DIRECTION.fullmatch(name) is not None


def load_names(held: Iterable[Any]) -> list[str]:
    """Which of the names are loads: those of :data:`LOADS`, then further directions of the wind.

    Examples
    --------
    >>> load_names(["x", "wind_ne", "permanent", "wind_x"])
    ['permanent', 'wind_x', 'wind_ne']
    """
    names = [str(n) for n in held]
    further = sorted(n for n in names if is_wind(n) and n not in LOADS)
    return [n for n in LOADS if n in names] + further


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class ColumnLoads:
    """Characteristic loads of the columns at the isolation plane.

    Parameters
    ----------
    data : Dataset
        On ``column``: position ``x``, ``y`` [m]; ``permanent`` and ``imposed`` [N]; where given
        ``structure``, ``superimposed`` (parts of the permanent load), ``wind_x``, ``wind_y`` (each
        taken both ways), any further ``wind_NAME`` (one direction, as it stands, with signs),
        ``accidental`` [N], ``category`` of the imposed load, and the coordinate ``row`` of the
        file. All loads are downwards. Only wind and accident may lift, below 0: of an imposed load
        that does, no case takes the lifting end.
    revision : str
        Label of the issue of the table.
    file : str
        Name for messages.
    doubles : tuple of str
        Names or positions that stand twice, one sentence each.

    Raises
    ------
    ValueError
        A load is missing, not finite, without the dim ``column``, or lifts that must not; the
        label is empty; the columns stand as far apart as in millimetres.
    """

    data: xr.Dataset
    revision: str
    file: str = ""
    doubles: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        where = self.file or "ColumnLoads"
        if not self.revision.strip():
            raise ValueError(f"{where}: the revision is empty; a label such as 'P03' is needed")
        for name in ("x", "y", "permanent", "imposed"):
            if name not in self.data or self.data[name].dims != ("column",):
                raise ValueError(f"{where}: {name!r} on the dim 'column' is needed")
        for name in ("x", "y", *load_names(self.data)):
            bad = ~np.isfinite(np.asarray(self.data[name].values, dtype=float))
            if bad.any():
                at = str(self.data["column"].values[int(np.argmax(bad))])
                raise ValueError(f"{where}: {name} of column {at!r} is not a finite number")
        positive(where, "permanent", self.data["permanent"], "N")
        not_negative(where, "imposed (only wind and accident may lift)", self.data["imposed"], "N")
        place = np.stack([self.data[k].values for k in "xy"], axis=1)
        for apart in _nearest(place):
            low, high = _APART.possible
            within(where, _APART_SAID, apart, low, high, "m", "are x and y in mm?")

    @property
    def has_wind(self) -> bool:
        """Whether any wind is known."""
        return bool(self.winds)

    @property
    def winds(self) -> dict[str, xr.DataArray]:
        """What the wind adds at each column [N], downwards, by direction.

        ``x+``, ``x-``, ``y+`` and ``y-`` where the table holds that axis, then any further
        direction by its name.
        """
        found: dict[str, xr.DataArray] = {}
        for name in load_names(self.data):
            if name in ("wind_x", "wind_y"):
                found[f"{name[-1]}+"], found[f"{name[-1]}-"] = self.data[name], -self.data[name]
            elif is_wind(name):
                found[name.removeprefix("wind_")] = self.data[name]
        return found

    @property
    def names(self) -> list[str]:
        """Labels of the columns, in the order of the file."""
        return [str(c) for c in self.data["column"].values]


@checked
def read_loads(
    path: str | FilePath,
    *,
    revision: str = "",
    plausible: tuple[float, float] = (5e4, 5e7),
    plausible_share: tuple[float, float] = (2e-3, 2.0),
    refuse_doubles: bool = True,
) -> ColumnLoads:
    r"""Read column loads whose unit stands in the column names.

    Parameters
    ----------
    path : str or Path
        CSV file: ``column``, ``x_m``, ``y_m``; ``permanent`` or ``structure`` and
        ``superimposed``; ``imposed``; and where known ``wind_x``, ``wind_y`` (or ``wind`` for any
        direction), further directions such as ``wind_ne``, ``accidental``, all ``_kn`` or all
        ``_n``; ``category`` of the imposed load. A further direction presses where it is above 0
        and lifts where it is below, and is never reversed; its name is a label, by custom that of
        the side the wind comes from, from which nothing follows but which one is its opposite.
    revision : str
        Label of the issue; needed unless a ``# revision: ...`` line gives it.
    plausible : tuple of float
        Permanent load of a column from and below these [N]. The second is at most 1000 times the
        first, so that a load in the wrong one of N and kN can never pass.
    plausible_share : tuple of float
        Any other load over the permanent one, summed over the columns that have it; again from
        and below, at most 1000 apart.
    refuse_doubles : bool
        Whether a name or position given twice is an error, or kept as a sentence for
        :func:`~groundborne.sizing.compare_revisions`.

    Returns
    -------
    ColumnLoads
        In newtons.

    Raises
    ------
    TableError
        A unit is missing or mixed, a load implausible, a column doubled, a part does not add up;
        the sentence names row and column.

    Warns
    -----
    UnusualValueWarning
        A load, or the distance of neighbouring columns, outside its usual range, or a permanent or
        imposed load more than five times above or below the median of the six nearest columns that
        have one.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "loads.csv"
    >>> _ = file.write_text("column,x_m,y_m,permanent_kn,imposed_n\nA1,0,0,3463,194000\n")
    >>> read_loads(file, revision="P1")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    groundborne._checks.TableError: loads.csv: 'permanent_kn' is in kN and 'imposed_n' in N; ...
    """
    for name, (low, high) in (("plausible", plausible), ("plausible_share", plausible_share)):
        if not 0 < low < high <= 1000 * low * (1 + 1e-12):
            raise ValueError(
                f"read_loads: {name} is {(low, high)}; the second must be above the first and at "
                "most 1000 times it, or N and kN could be confused"
            )
    table = read_table(path)
    columns, scale, unit = _load_columns(table)
    table.require([*_PLACE], [*columns.values(), *_OTHER])
    label = _revision(table, revision)
    place = table.positions()
    judge(_APART, _nearest(place), error=TableError,
          subject=lambda _: f"{table.file}, 'x_m' and 'y_m': {_APART_SAID}")  # fmt: skip
    values = {n: table.numbers([c], unit=unit)[:, 0] * scale for n, c in columns.items()}
    if "wind" in values:
        both = values.pop("wind")
        values |= {"wind_x": both, "wind_y": both}
        columns |= {"wind_x": columns["wind"], "wind_y": columns["wind"]}
    if "permanent" not in values:
        values = {"permanent": values["structure"] + values["superimposed"], **values}
        columns["permanent"] = columns["structure"]
    _check_signs(table, values, columns)
    _check_parts(table, values)
    _check_size(table, values["permanent"], columns["permanent"], scale, unit, plausible)
    _check_shares(table, values, columns, unit, plausible_share)
    names = table.text("column").astype(str)
    _check_total(table, names, values["permanent"])
    for column in dict.fromkeys(columns.values()):
        table.judge(column, table.numbers([column])[:, 0], load_range(column))
    for name in ("permanent", "imposed"):
        _judge_beside(table, columns[name], values[name], names, place)
    doubles = _doubles(table, names, place)
    if doubles and refuse_doubles:
        raise TableError("; ".join(doubles))
    data: dict[str, Any] = {
        "x": ("column", place[:, 0], {"units": "m"}),
        "y": ("column", place[:, 1], {"units": "m"}),
    }
    data |= {name: ("column", load, {"units": "N"}) for name, load in values.items()}
    if table.has("category"):
        data["category"] = ("column", table.text("category").astype(str))
    data["row"] = ("column", table.rows)
    dataset = xr.Dataset(data, coords={"column": names}).set_coords("row")
    return ColumnLoads(data=dataset, revision=label, file=table.file, doubles=tuple(doubles))


def _load_columns(table: Table) -> tuple[dict[str, str], float, str]:
    """Columns of the loads by name, and their one unit."""
    columns: dict[str, str] = {}
    units: dict[str, str] = {}
    for header in table.header:
        base, _, unit = header.rpartition("_")
        if header in LOADS:
            raise TableError(
                f"{table.file}: column {header!r} has no unit; write '{header}_kn' or '{header}_n'"
            )
        if base not in LOADS and not is_wind(base):
            continue
        if unit not in _UNITS:
            raise TableError(
                f"{table.file}: column {header!r} is in {unit!r}; loads are given in '_kn' or '_n'"
            )
        if base in columns:
            raise TableError(f"{table.file}: {columns[base]!r} and {header!r} are the same load")
        columns[base] = header
        units.setdefault(unit, header)
    if len(units) > 1:
        raise TableError(
            f"{table.file}: {units['kn']!r} is in kN and {units['n']!r} in N; one table has one "
            "unit"
        )
    if "permanent" not in columns and not {"structure", "superimposed"} <= set(columns):
        raise TableError(
            f"{table.file}: the permanent load is missing; give 'permanent_kn', or 'structure_kn' "
            "and 'superimposed_kn'"
        )
    if "imposed" not in columns:
        raise TableError(f"{table.file}: column 'imposed_kn' (or 'imposed_n') is missing")
    if "wind" in columns and any(map(is_wind, columns)):
        raise TableError(f"{table.file}: {columns['wind']!r} and wind by direction exclude another")
    unit = next(iter(units))
    return columns, _UNITS[unit], {"kn": "kN", "n": "N"}[unit]


def _revision(table: Table, given: str) -> str:
    noted = table.revision
    if noted and given and noted != given:
        raise TableError(
            f"{table.file}: the file notes revision {noted!r}, and {given!r} was asked for"
        )
    label = given or noted
    if not label.strip():
        raise TableError(
            f"{table.file}: no revision is known; give one, or begin the file with '# revision: P1'"
        )
    return label


def _complain(table: Table, column: str, bad: np.ndarray[Any, Any], why: str) -> None:
    if bad.any():
        at = int(np.argmax(bad))
        text = table.cells[at, table.header.index(column)]
        raise TableError(f"{table.file}, row {table.rows[at]}, column {column!r}: {text} {why}")


def _check_signs(
    table: Table, values: dict[str, np.ndarray[Any, Any]], columns: dict[str, str]
) -> None:
    for name in ("structure", "superimposed", "imposed", "permanent"):
        if name in values:
            why = "is negative; loads are given downwards, and only wind and accident have a sign"
            _complain(table, columns[name], values[name] < 0, why)


def _check_parts(table: Table, values: dict[str, np.ndarray[Any, Any]]) -> None:
    if not {"structure", "superimposed"} <= set(values):
        return
    parts = values["structure"] + values["superimposed"]
    off = np.abs(parts - values["permanent"]) > 1e-6 * np.abs(values["permanent"])
    if off.any():
        at = int(np.argmax(off))
        raise TableError(
            f"{table.file}, row {table.rows[at]}: structure and superimposed add up to "
            f"{parts[at] / 1e3:g} kN, and permanent is {values['permanent'][at] / 1e3:g} kN; they "
            "must agree"
        )


def _check_size(
    table: Table,
    permanent: np.ndarray[Any, Any],
    column: str,
    scale: float,
    unit: str,
    plausible: tuple[float, float],
) -> None:
    low, high = plausible
    why = (
        f"{unit} is no plausible permanent load of a column; it must be from {low / scale:g} to "
        f"below {high / scale:g} {unit} (is the table in {'N' if unit == 'kN' else 'kN'}?)"
    )
    _complain(table, column, (permanent < low) | (permanent >= high), why)


def _check_shares(
    table: Table,
    values: dict[str, np.ndarray[Any, Any]],
    columns: dict[str, str],
    unit: str,
    plausible: tuple[float, float],
) -> None:
    low, high = plausible
    checked = ("imposed", "accidental")
    for name in (n for n in load_names(values) if n in checked or is_wind(n)):
        there = values[name] != 0
        if not there.any():
            continue
        share = np.abs(values[name][there]).sum() / values["permanent"][there].sum()
        if not low <= share < high:
            raise TableError(
                f"{table.file}, row {table.rows[int(np.argmax(there))]} and below, column "
                f"{columns[name]!r}: the loads are {share:.3g} of the permanent ones; from {low:g} "
                f"to below {high:g} is plausible (are they really in {unit}?)"
            )


def _check_total(
    table: Table, names: np.ndarray[Any, Any], permanent: np.ndarray[Any, Any]
) -> None:
    rest = permanent.sum() - permanent
    total = (np.abs(permanent - rest) < 1e-3 * rest) & (permanent.size > 2)
    if total.any():
        at = int(np.argmax(total))
        raise TableError(
            f"{table.file}, row {table.rows[at]}: {str(names[at])!r} carries as much as all others "
            "together; a row of totals is not a column"
        )


def _judge_beside(
    table: Table,
    column: str,
    load: np.ndarray[Any, Any],
    names: np.ndarray[Any, Any],
    place: np.ndarray[Any, Any],
) -> None:
    """Hold each load against those of the nearest columns: a slip of ten stands off them."""
    some = np.flatnonzero(load > 0)
    if some.size <= 3:
        return
    apart = np.hypot(*(place[some][:, None] - place[some]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    near = np.argsort(apart, axis=1, kind="stable")[:, : min(_NEIGHBOURS, some.size - 1)]
    judge(
        derived("load of a column over its neighbours"),
        load[some] / np.median(load[some][near], axis=1),
        subject=lambda at: (
            f"{table.file}, row {table.rows[some[at]]}, column {column!r}: the load of "
            f"{str(names[some[at]])!r} over the median of its nearest columns"
        ),
        error=TableError,
    )


def _nearest(place: np.ndarray[Any, Any]) -> list[float]:
    """Median distance of a column to the next one [m]; nothing where there is no other."""
    apart = np.hypot(*(place[:, None, :] - place[None, :, :]).transpose(2, 0, 1))
    nearest = np.where(apart > _SAME_PLACE, apart, np.inf).min(axis=1)
    return [float(np.median(nearest))] if np.isfinite(nearest).all() else []


def _doubles(table: Table, names: np.ndarray[Any, Any], place: np.ndarray[Any, Any]) -> list[str]:
    """Sentences on names and positions that stand twice."""
    _, first, back = np.unique(names, return_index=True, return_inverse=True)
    again = np.flatnonzero(first[back] != np.arange(names.size))
    found = [
        f"{table.file}, row {table.rows[i]}, column 'column': {str(names[i])!r} was given in row "
        f"{table.rows[first[back[i]]]} already"
        for i in again.tolist()
    ]
    apart = np.hypot(*(place[:, None, :] - place[None, :, :]).transpose(2, 0, 1))
    late, early = np.nonzero(np.tril(apart < _SAME_PLACE, k=-1))
    found += [
        f"{table.file}, row {table.rows[i]}, columns 'x_m' and 'y_m': {str(names[i])!r} stands "
        f"where {str(names[j])!r} of row {table.rows[j]} does ({place[j, 0]:g}, {place[j, 1]:g} m)"
        for i, j in zip(late.tolist(), early.tolist(), strict=True)
    ]
    return found
