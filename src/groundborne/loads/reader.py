"""The one reader of tables of column loads: one unit, one revision, one row for each column."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import TableError
from groundborne.cells import Cells
from groundborne.csv_columns import (
    COLUMNS,
    FLOOR_LOADS,
    LOAD_UNITS,
    LOADS,
    is_wind,
    load_key,
)
from groundborne.key import Key, KeyTable
from groundborne.loads.at_plane import load_names
from groundborne.loads.column_loads import ColumnLoads
from groundborne.loads.plausible import (
    check_shares,
    check_size,
    check_total,
    doubles,
    judge_neighbours,
)
from groundborne.tables import Table
from groundborne.usual_ranges import UnusualValueWarning, collected


@checked(renamed={"levels": "by_floor"})
def read_loads(
    path: str | FilePath,
    *,
    revision: str = "",
    by_floor: str | FilePath | None = None,
    lowest: str = "",
    floors: Sequence[str] = (),
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
        ``_n``; ``category`` of the imposed load or the ``imposed_share`` of it that moves. A
        further direction presses where it is above 0 and lifts where it is below, and is never
        reversed; its name is a label, by custom that of the side the wind comes from, from which
        nothing follows but which one is its opposite.
    revision : str
        Label of the issue; needed unless a ``# revision: ...`` line gives it.
    by_floor : str or Path, optional
        CSV file of what each floor adds: ``column``, ``floor``, ``permanent``, ``imposed``, with
        ``category`` or ``imposed_share`` of its own where known, in any order. The loads at the
        plane are then their sums.
    lowest : str
        Lowest floor above the isolation plane; all floors are above it if not given.
    floors : sequence of str
        All floors of `by_floor`, lowest first; `lowest` needs them, as rows may stand in any order.
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
        A unit is missing or mixed, a load implausible, a column doubled, a part does not add up, a
        floor unknown or without rows; the sentence names row and column.
    ValueError
        `lowest` without `floors`, either without `by_floor`, a floor named twice.

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
    _require_order(by_floor, lowest, floors)
    with collected() as unusual:
        cells = Cells.read(path, LOAD_TABLES["columns"], repeated=True)
        own = None if by_floor is None else Cells.read(by_floor, LOAD_TABLES["floor_loads"])
        more = {"lowest": xr.full_like(cells["column"], lowest, dtype=object)} if lowest else {}
        held = [] if own is None else list(dict.fromkeys(own["floor"].values.tolist()))
        bare = [repr(name) for name in floors if name not in held]
        if own is not None and bare:
            raise TableError(
                f"{own.file}: there is no row of floor {', '.join(bare)}, which 'floors' names; "
                "give each column one, of 0 kN where the floor adds nothing"
            )
        loads = loads_of(cells, own, floors=floors or held, more=more, revision=revision)
        if not loads.revision:
            raise TableError(
                f"{cells.file}: no revision is known; give one, or begin the file with "
                "'# revision: P1'"
            )
        if loads.doubles and refuse_doubles:
            raise TableError(*loads.doubles)
        check_size(cells, loads, plausible)
        check_shares(cells, loads, plausible_share)
        check_total(cells, loads)
    for sentence in unusual:
        warnings.warn(sentence, UnusualValueWarning, stacklevel=3)  # past the check of arguments
    return loads


def _require_order(by_floor: str | FilePath | None, lowest: str, floors: Sequence[str]) -> None:
    """Refuse a plane among floors of which it is not known which lie above it."""
    if by_floor is None and (lowest or floors):
        raise ValueError(
            "read_loads: 'lowest' and 'floors' are of loads by floor, and 'by_floor' is not given"
        )
    if lowest and not floors:
        raise ValueError(
            f"read_loads: lowest is {lowest!r}, and the order of the floors is not known from the "
            "order of rows; give 'floors', all of their names, lowest first"
        )
    if len(set(floors)) < len(floors):
        raise ValueError(f"read_loads: floors names one floor twice: {', '.join(floors)}")


def loads_of(
    cells: Cells,
    by_floor: Cells | None = None,
    *,
    floors: Sequence[str] = (),
    needed: Mapping[str, Sequence[str]] | None = None,
    more: Mapping[str, xr.DataArray] | None = None,
    revision: str = "",
) -> ColumnLoads:
    """Loads from the checked cells of a table of columns, and of one of floors.

    Parameters
    ----------
    cells, by_floor : Cells
        Of the tables.
    floors : sequence of str
        All floors, lowest first; needed by `by_floor`.
    needed : mapping of str to sequence of str
        Floors that the columns of each part have rows for, by its name or an empty one; else those
        that any of them has.
    more : mapping of str to DataArray
        What the files do not hold, on ``column``: ``lowest`` and ``imposed_share``.
    revision : str
        Label of the issue, where the table notes none.

    Raises
    ------
    TableError
        Loads are missing, parts of a load do not add up to it, or floors are incomplete.

    Warns
    -----
    UnusualValueWarning
        A load far from those of its neighbours, columns far apart.
    """
    noted = cells.table.revision
    if noted and revision and noted != revision:
        raise TableError(
            f"{cells.file}: the file notes revision {noted!r}, and {revision!r} was asked for"
        )
    data = _with_parts(cells).assign(more or {}).assign(row=("column", cells.table.rows))
    if "wind" in data:
        data = data.assign(wind_x=data["wind"], wind_y=data["wind"]).drop_vars("wind")
    added = None if by_floor is None else _on_floors(by_floor, cells, floors, needed or {})
    for name in ("permanent", "imposed"):
        if name not in data and by_floor is None:
            raise TableError(_missing(cells, name))
    judge_neighbours(cells, data)
    with cells.table.naming():
        return ColumnLoads(
            data=data,
            by_floor=added,
            revision=(revision or noted).strip(),
            file=cells.file,
            by_floor_file="" if by_floor is None else by_floor.file,
            doubles=tuple(doubles(cells, data)),
        )


def _load_columns(table: Table, *, of: KeyTable) -> KeyTable:
    """Columns of a table of loads: as declared, in the one unit of the file."""
    by_floor = of is FLOOR_LOADS
    found: dict[str, Key] = {}
    units: dict[str, str] = {}
    for header in table.header:
        base, _, unit = header.rpartition("_")
        if header in LOADS:
            raise TableError(
                f"{table.file}: column {header!r} has no unit; write '{header}_kn' or '{header}_n'"
            )
        row, in_kn = (load_key(n, by_floor=by_floor) for n in (header, f"{base}_kn"))
        if in_kn is None or (row is None and header in of.names):
            continue
        if unit not in LOAD_UNITS:
            raise TableError(
                f"{table.file}: column {header!r} is in {unit!r}; loads are given in '_kn' or '_n'"
            )
        if base in found:
            raise TableError(f"{table.file}: {found[base].name!r} and {header!r} are the same load")
        assert row is not None
        found[base] = row
        units.setdefault(unit, header)
    if len(units) > 1:
        raise TableError(
            f"{table.file}: {units['kn']!r} is in kN and {units['n']!r} in N; one table has one "
            "unit"
        )
    if "wind" in found and any(map(is_wind, found)):
        raise TableError(
            f"{table.file}: {found['wind'].name!r} and wind by direction exclude another"
        )
    declared = (key for key in of.keys if key.argument not in found)
    return KeyTable((*declared, *found.values()), label=of.label)


LOAD_TABLES: dict[str, Callable[[Table], KeyTable]] = {
    "columns": partial(_load_columns, of=COLUMNS),
    "floor_loads": partial(_load_columns, of=FLOOR_LOADS),
}
"""What the columns of a table of loads are, by the key of a study file that names it."""


def _missing(cells: Cells, name: str) -> str:
    if name == "permanent":
        return (
            f"{cells.file}: the permanent load is missing; give 'permanent_kn', or 'structure_kn' "
            "and 'superimposed_kn'"
        )
    return f"{cells.file}: column 'imposed_kn' (or 'imposed_n') is missing"


def _with_parts(cells: Cells) -> xr.Dataset:
    """What a table holds, the permanent load worked out from its parts or held against them."""
    data = cells.dataset()
    if not {"structure", "superimposed"} <= set(data):
        return data
    parts: Any = data["structure"] + data["superimposed"]
    if "permanent" not in data:
        return data.assign(permanent=parts.assign_attrs(units="N"))
    off = abs(parts - data["permanent"]) > 1e-6 * abs(data["permanent"])
    errors = [
        f"{cells.where(at)}: structure and superimposed add up to {float(parts[at].max()) / 1e3:g} "
        f"kN, and permanent is {float(data['permanent'][at].max()) / 1e3:g} kN; they must agree"
        for at in np.flatnonzero(off.any([d for d in off.dims if d != cells.of.label])).tolist()
    ]
    if errors:
        raise TableError(*errors)
    return data


def _on_floors(
    by_floor: Cells, cells: Cells, floors: Sequence[str], needed: Mapping[str, Sequence[str]]
) -> xr.Dataset:
    """Loads of the floors on ``column`` and ``floor``; 0 on floors that a part does not have."""
    by_floor.require_known("floor", list(floors), "floor")
    by_floor.require_known("column", cells.labels, "column", f" in {cells.file}")
    flat = _with_parts(by_floor).assign(row=(by_floor.of.label, by_floor.table.rows))
    for name in ("permanent", "imposed"):
        if name not in flat:
            raise TableError(_missing(by_floor, name))
    rows = {label: at for at, label in enumerate(by_floor.labels)}
    parts = cells["part"].values.tolist() if cells.has("part") else [""] * len(cells.labels)
    having = {(parts[cells.labels.index(c)], f) for c, f in _pairs(by_floor)}
    missing = [
        f"{by_floor.file}: there is no row of floor {floor!r}{part and f' for part {part!r}'}; "
        "give each column one, of 0 kN where the floor adds nothing"
        for part in dict.fromkeys(parts)
        for floor in needed.get(part, ())
        if (part, floor) not in having
    ]
    if missing:
        raise TableError(*missing)
    at = np.zeros((len(cells.labels), len(floors)), dtype=int)
    there = np.zeros(at.shape, dtype=bool)
    errors = []
    for i, (column, part) in enumerate(zip(cells.labels, parts, strict=True)):
        for j, floor in enumerate(floors):
            if (part, floor) not in having:
                continue
            if f"{column}.{floor}" not in rows:
                errors.append(
                    f"{by_floor.file}: column {column!r} has no row on floor {floor!r}, and others "
                    "have; every column needs one, of 0 kN where the floor adds nothing"
                )
                continue
            at[i, j], there[i, j] = rows[f"{column}.{floor}"], True
    if errors:
        raise TableError(*errors)
    on = {"column": cells.labels, "floor": list(floors)}
    pick = xr.DataArray(at, coords=on)
    found = flat.drop_vars(by_floor.of.label).isel({by_floor.of.label: pick})
    mask = xr.DataArray(there, coords=on)
    loads = {n: found[n].where(mask, 0.0).assign_attrs(units="N") for n in load_names(found)}
    return found.assign(loads)


def _pairs(by_floor: Cells) -> list[tuple[str, str]]:
    columns, floors = (by_floor[name].values.tolist() for name in ("column", "floor"))
    return list(zip(columns, floors, strict=True))
