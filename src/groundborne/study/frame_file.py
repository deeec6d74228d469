"""Column lines of a building from the ``[structure]`` table of a study file."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, StudyError, TableError, known
from groundborne.cells import Cells
from groundborne.loads import ColumnLoads
from groundborne.structure import (
    ColumnLine,
    ColumnPhases,
    FlatSlab,
    Raft,
    SharedFoundation,
    Storey,
    column_mean,
    column_weights,
    weighed,
)
from groundborne.structure.element import GRAVITY
from groundborne.study.building import Building
from groundborne.study.foundation_file import whole_foundation
from groundborne.study.given import Given
from groundborne.study.table_files import plain


def phases_of(given: Given) -> ColumnPhases:
    """How the columns of the grid move against each other, from ``[structure]``."""
    if not given.has("phases"):
        return ColumnPhases(points=3)
    phases = given["phases"]
    arguments = phases.arguments()
    points = arguments.pop("points", 1)  # in phase, and of one wave, there is one phase
    if points != int(points):
        raise StudyError(f"{phases.where}: 'points' is {points:g}; a whole number is needed")
    return ColumnPhases(**arguments, points=int(points))


def require_floors(
    storeys: Cells, floors: Cells, rooms: Cells, here: np.ndarray[Any, Any] | None = None
) -> None:
    """Hold the storeys of the structure against the floors and rooms of the building, or a part.

    `here` tells which rooms are in the part.

    Raises
    ------
    TableError
        A storey whose floor is unknown; a room whose floor or ceiling has no row.
    """
    storeys.require_known("floor", floors.labels, "floor", " in the floor table")
    pair = (rooms[column].values for column in ("floor", "ceiling_floor"))
    used = [name for of in pair for name in (of if here is None else of[here]).tolist()]
    errors = [
        f"{storeys.file}: the floor {floor!r} carries or covers a room and has no row; a row holds "
        "a slab and the column below it. A slab cast on the ground is the foundation and gets "
        "none: rooms on it are not predicted by column lines"
        for floor in dict.fromkeys(used)
        if floor in floors.labels and floor not in storeys.labels
    ]
    if errors:
        raise TableError(*errors)


def line_of(
    given: Given, storeys: Cells, building: Building, *, before: ColumnLine | None = None
) -> ColumnLine:
    """Column lines, one for each column where the column table gives its share of panels.

    Parameters
    ----------
    given : Given
        The table ``[structure]``.
    storeys : Cells
        One row for each storey, lowest first: the column segment below the slab, and
        the slab; its superimposed mass follows from the loads of the floors where those are known.
    building : Building
        Floors, rooms and columns.
    before : ColumnLine, optional
        The line as built, where an option changes it. Loads of floors are those as built: on each
        slab rests what rested on it before.

    Returns
    -------
    ColumnLine
        As built, or as changed; with the dim ``column`` where columns have a ``panel_share``.

    Raises
    ------
    StudyError
        The column table has no shares of panels; numbers that do not fit together.
    """
    share, panels = _shares(given, building)
    loads = building.loads if building.loads is not None and building.loads.has_floors else None
    if loads is None and not storeys.has("superimposed_kg_m2"):
        raise StudyError(
            f"{storeys.file}: column 'superimposed_kg_m2' is missing; it is needed where the study "
            "has no 'floor_loads'"
        )
    slabs = given.arguments(
        "span_x_m", "span_y_m", "slab_density_kg_m3", "slab_poisson", "slab_load"
    )
    rows = storeys.dataset()
    with given.naming():
        built = []
        for name in storeys.labels:
            row: dict[str, Any] = {str(k): plain(v) for k, v in rows.sel(floor=name).items()}
            if loads is not None:
                row.pop("superimposed_mass", None)  # follows from them
            section = {
                "area": row.pop("area"),
                "youngs_modulus": given["column_modulus_pa"],
                "density": given["column_density_kg_m3"],
                "loss_factor": given["column_loss_factor"],
            }
            built.append(
                Storey(
                    floor=name,
                    height=row.pop("height"),
                    **{key: _own(building, key, value) for key, value in section.items()},
                    slab=FlatSlab(**slabs, **row, panel_share=panels),
                )
            )
        whole = whole_foundation(given["foundation"], slab=built[0].slab)
        line = ColumnLine(
            storeys=tuple(built),
            foundation=(
                replace(whole, panel_share=panels)
                if isinstance(whole, Raft)
                else SharedFoundation(foundation=whole, share=share)
            ),
            base_floor="foundation",
            phases=phases_of(given),
        )
        return line if loads is None else _loaded(line, storeys, loads, before)


def _loaded(
    line: ColumnLine, storeys: Cells, loads: ColumnLoads, before: ColumnLine | None
) -> ColumnLine:
    """The line with slabs that carry what the loads of their floors say."""
    mass = (loads.quasi_permanent_by_floor() / GRAVITY).drop_attrs(deep=False)
    for floor in mass["floor"].values.tolist():
        if floor not in storeys.labels and bool((mass.sel(floor=floor) > 0).any()):
            raise StudyError(
                f"{storeys.file}: floor {floor!r} has loads and no row; without its slab the lines "
                "would weigh less than the loads say"
            )
    stated = storeys["superimposed_kg_m2"] if storeys.has("superimposed_kg_m2") else None
    if before is not None and not storeys.table.has("superimposed_kg_m2"):
        return _as_before(line, before, stated)
    found = weighed(line=line, mass=mass) if before is None else _as_before(line, before)
    if stated is not None:
        weights = column_weights(line=line)
        for at, (name, storey) in enumerate(zip(storeys.labels, found.storeys, strict=True)):
            slab: Any = storey.slab
            follows = column_mean(slab.superimposed_mass, weights=weights)
            said = stated.sel(floor=name, drop=True)
            if bool((abs(follows - said) > _AGREE * abs(said) + 1).any()):
                raise StudyError(
                    f"{storeys.where(at, 'superimposed_kg_m2')}: it is {float(said.max()):g} "
                    f"kg/m², and by the loads of the floor {float(follows.max()):.0f} kg/m² rest "
                    "on the slab in the mean over columns; leave the column out of the table, or "
                    "make them agree (an option may state the cell of a storey where the table has "
                    "none)"
                )
    return found


def _as_before(
    line: ColumnLine, before: ColumnLine, stated: xr.DataArray | None = None
) -> ColumnLine:
    """The line with slabs that carry what rested on those of the line before.

    Where another mean over columns is `stated` of a floor, every column gains or loses the same
    mass per area.
    """
    weights = column_weights(line=line)
    rested: dict[Any, Any] = {s.floor: s.slab for s in before.storeys}
    for storey in line.storeys:
        known("[options], changes", "floor with loads", storey.floor, rested, StudyError)
    built: list[Storey] = []
    for storey in line.storeys:
        slab: Any = storey.slab
        carried = rested[storey.floor].superimposed_mass
        if stated is not None:
            said = plain(stated.sel(floor=storey.floor, drop=True))
            added = said - column_mean(carried, weights=weights)
            carried = carried + xr.where(np.isfinite(added), added, 0.0)
            if bool((carried < 0).any()):
                raise StudyError(
                    f"floor {storey.floor!r}: 'superimposed_kg_m2' of {float(np.min(said)):g} kg/m²"
                    " in the mean over columns leaves less than nothing on some of them, by what "
                    "their loads say"
                )
        built.append(replace(storey, slab=replace(slab, superimposed_mass=carried)))
    return replace(line, storeys=tuple(built))


_AGREE = 0.02
"""Share by which a stated superimposed mass may be off the one that follows from loads, and 1 kg/m²
[-]; common practice: a natural frequency then moves by 1 %."""


def _own(building: Building, name: str, common: Numeric) -> Numeric:
    """What the column table says of the section of each line, and what all others have."""
    columns = building.columns
    if columns is None or name not in columns:
        return common
    own = columns[name].drop_attrs(deep=False)
    found: xr.DataArray = xr.where(np.isfinite(own), own, common)
    return found


def _shares(given: Given, building: Building) -> tuple[Numeric, Numeric]:
    """Share of the foundation, and panels carried, of one line or of every column."""
    columns = building.columns
    if columns is not None and "panel_share" in columns:
        panels = columns["panel_share"].drop_attrs(deep=False)
        return panels / panels.sum("column"), panels
    if columns is not None:
        raise StudyError(
            f"{given.where}: the column table needs the column 'panel_share' (1 for an interior "
            "column, 0.5 at an edge, 0.25 in a corner)"
        )
    if given["foundation"]["model"].startswith("raft"):
        if given.has("foundation_share"):
            raise StudyError(
                f"{given.where}: 'foundation_share' is given, and of a raft a line has what is "
                "under its panel; leave it out"
            )
        return 1.0, 1.0
    if not given.has("foundation_share"):
        raise StudyError(
            f"{given.where}: 'foundation_share' is missing: no column of a table is of these "
            "lines, so that a number says what share of the foundation is theirs; or give "
            "[building] a column table, whose 'part' names that of each column if there are several"
        )
    return given["foundation_share"], 1.0


def column_mass(building: Building, where: str) -> xr.DataArray:
    """Mass on the mounts of each column under the quasi-permanent load [kg]."""
    if building.loads is None:
        raise StudyError(
            f"{where}: the mass comes from the columns, and [building] names no column table; "
            "give 'mass_kg' or the table"
        )
    mass: xr.DataArray = (building.loads.quasi_permanent() / GRAVITY).drop_attrs(deep=False)
    return mass
