"""What several numbers of a study say together, held against what buildings are like.

A slip of ten may land inside the usual range of its own key; then it shows in the load of a column
per area, in the absorption of a room, in the bounce of the building on its soil. Bounds stand in
:mod:`groundborne.usual_values` under ``derived``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, StudyError, labels_at
from groundborne.study.building import Building
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived

Files = Mapping[str, str]
"""Names of the files by what they hold: ``study``, ``floors``, ``rooms``, ``columns``, ``storeys``
(of the part that is checked), ``loads`` (of columns, or by floor), and the columns
``permanent`` and ``imposed`` of that file.
"""

_SABINE = 0.161
_THIN = 0.04
"""Walls below are boards [m]."""

_NO_STEP = 1e-3  # storeys; two rows of one height


def hold(name: str, values: Any, where: str, words: str = "", *, of: str = "") -> None:
    """Judge values that follow from a study; see :func:`groundborne.usual_ranges.judge`.

    Parameters
    ----------
    name : str
        Of the quantity, in :mod:`groundborne.usual_values`.
    values : float or DataArray
        With a dim of rows (rooms, floors, columns) or none, and any others.
    where : str
        File, or file and table.
    words : str
        What the values are.
    of : str
        Dim of the rows; empty where there is none.

    Raises
    ------
    StudyError
        A value that cannot be.
    """
    array = xr.DataArray(values)
    array = array.transpose(of, ...) if of in array.dims else array

    def subject(at: int) -> str:
        row, inner = (at, array)
        here = f"{where}: {words}" if words else where
        if of in array.dims:
            row, at = divmod(at, max(array.size // array.sizes[of], 1))
            inner = array.isel({of: row}, drop=True)
            kind = "storey" if of == STOREY else of
            here = f"{where}, {kind} {str(array[of].values[row])!r}: {words}"
        labels = labels_at(inner, at)
        return f"{here}, at {labels}," if labels else here

    judge(derived(name), array, subject=subject, error=StudyError)


STOREY = "storey"
"""Dim of the slabs of a structure, lowest first."""


def on_storeys(values: Sequence[Any], names: Sequence[Any]) -> xr.DataArray:
    """One value for each storey of a structure, with all other dims they have."""
    arrays = xr.broadcast(*(xr.DataArray(v).reset_coords(drop=True) for v in values))
    joined = xr.concat(arrays, dim=STOREY, coords="minimal", compat="override")
    return joined.assign_coords({STOREY: [str(name) for name in names]})


def median(values: xr.DataArray) -> xr.DataArray:
    """Median over the first dim, of those above 0."""
    return values.where(values > 0).median(str(values.dims[0]))


def check_rooms(building: Building, files: Files) -> None:
    """Rooms against themselves, their storey and the plan of the building.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    rooms, file = building.rooms, files["rooms"]
    length, width, height = (rooms[n] for n in ("length", "width", "height"))
    shorter, longer = np.minimum(length, width), np.maximum(length, width)
    box = length * width * height
    volume = rooms.get("volume", box)
    surface = 2 * (length * width + (length + width) * height)
    time = rooms["reverberation_time"]
    sizes = "'length_m', 'width_m' and 'height_m'"

    def of_rooms(name: str, values: Any, words: str) -> None:
        hold(name, values, file, words, of="room")

    for worst in (time.min("frequency"), time.max("frequency")):
        of_rooms(
            "room absorption coefficient",
            _SABINE * volume / (worst * surface),
            f"the mean absorption coefficient by the reverberation time and {sizes}",
        )
    of_rooms("room volume over box", volume / box, f"'volume_m3' over {sizes} multiplied")
    of_rooms("room height over shorter side", height / shorter,
             "'height_m' over the shorter of 'length_m' and 'width_m'")  # fmt: skip
    of_rooms("room longer over shorter side", longer / shorter, "the longer side over the shorter")
    rise = building.on_floor("height", "ceiling_floor") - building.on_floor("height")
    of_rooms(
        "room height over storey",
        height / rise,
        f"'height_m' over the {files['floors']} distance from its floor to its ceiling_floor",
    )
    plan = plan_of(building)
    if plan is not None:
        words = "of the room over that of the column grid"
        of_rooms("room side over plan", longer / max(plan), f"the longer side {words}")
        of_rooms("room side over plan", shorter / min(plan), f"the shorter side {words}")
        area = (length * width).groupby(rooms["floor_of_room"].rename("floor")).sum()
        hold(
            "rooms of a floor over plan",
            area / (plan[0] * plan[1]),
            file,
            "the area of its rooms, by 'length_m' and 'width_m', over that of the column grid",
            of="floor",
        )


def plan_of(building: Building) -> tuple[float, float] | None:
    """Extents of the column grid [m]; None where there is none, or one row only."""
    return None if building.columns is None else plan_of_columns(building.columns)


def plan_of_columns(columns: xr.Dataset) -> tuple[float, float] | None:
    """Extents of some columns [m]; None where they are one row."""
    x, y = (float(np.ptp(columns[n].values)) for n in ("x", "y"))
    return (x, y) if min(x, y) > 0 else None


def check_floors(building: Building, files: Files, *, own: bool = False) -> None:
    """Heights of storeys.

    Parameters
    ----------
    building : Building
        Or a part of one.
    files : mapping of str to str
        See :data:`Files`.
    own : bool
        Whether only floors that rooms stand on are meant: those of a part that stands apart.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    floors = building.floors
    if own:
        floors = floors.sel(floor=floors["floor"].isin(building.rooms["floor_of_room"].values))
    steps, rises = floors["storeys"].diff("floor"), floors["height"].diff("floor")
    at = np.flatnonzero((abs(steps) > _NO_STEP).all([d for d in steps.dims if d != "floor"]))
    words = "the rise of 'height_m' over that of 'storeys'"
    rise = (rises / steps).isel(floor=at)
    hold("height of one storey", rise, files["floors"], words, of="floor")


def check_columns(building: Building, files: Files, *, above: Sequence[str]) -> None:
    """Column loads against each other and against the plan; wind against the height.

    Parameters
    ----------
    building : Building
        Floors and columns.
    files : mapping of str to str
        See :data:`Files`.
    above : sequence of str
        Floors of the columns from which up the loads count, lowest first: of a part its own.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    columns, file = building.columns, files.get("columns", "")
    if columns is None:
        return
    hold(
        "imposed over permanent",
        columns["imposed"] / columns["permanent"],
        files["loads"],
        f"'{files['imposed']}' over '{files['permanent']}'",
        of="column",
    )
    extents = plan_of(building)
    if extents is None:
        return
    x, y = columns["x"].values, columns["y"].values
    apart = np.hypot(x[:, None] - x[None, :], y[:, None] - y[None, :])
    np.fill_diagonal(apart, np.inf)
    nearest = apart.min(axis=1)
    hold(
        "distance over median",
        columns["x"].copy(data=nearest / max(float(np.median(nearest)), 1e-9)),
        file,
        "its distance to the next by 'x_m' and 'y_m' over the median of such distances",
        of="column",
    )
    area = extents[0] * extents[1]
    each = area / columns.sizes["column"]
    hold("area of a column", each, f"{file}: the plan by 'x_m' and 'y_m' per column")
    height = building.floors["height"].sel(floor=[above[0], above[-1]])
    count = len(above)
    hold(
        "permanent load per area",
        columns["permanent"].sum("column") / (area * count) / 1e3,
        f"{files['loads']}: all '{files['permanent']}' over the plan by 'x_m' and 'y_m' on {count} "
        "floors",
    )
    height = height.isel(floor=1, drop=True) - height.isel(floor=0, drop=True)
    if not (height > 0).all():
        return
    pressures: dict[str, xr.DataArray] = {}
    # Wind along an axis presses on the side across it, and its moment is held along it.
    for axis, across in (("x", extents[1]), ("y", extents[0])):
        if f"wind_{axis}" in columns:
            away = abs(columns[axis] - columns[axis].mean())
            moment = (abs(columns[f"wind_{axis}"]) * away).sum("column")
            pressures[axis] = 2 * moment / (across * height**2) / 1e3
    if len(pressures) == 2 and columns["wind_x"].equals(columns["wind_y"]):  # of any direction
        largest = max(pressures, key=lambda axis: float(np.max(pressures[axis])))
        pressures = {largest: pressures[largest]}
    for axis, found in pressures.items():
        words = "the pressure of wind on the facade that makes these loads"
        hold("wind pressure", found, f"{file}, wind along {axis}: {words}")


def check_plates(
    where: str, *, slab_speed: Numeric, wall_speed: Numeric, wall_thickness: Numeric, line: Any
) -> None:
    """Wave speeds of slabs and walls as ``[path.radiation]`` has them.

    Parameters
    ----------
    where : str
        File and table, for messages.
    slab_speed, wall_speed : float or DataArray
        Longitudinal [m/s].
    wall_thickness : float or DataArray
        [m].
    line : ColumnLine or None
        Its slabs have a wave speed of their own.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    if line is not None:
        slabs: list[Any] = list(line.slabs)
        own = [np.sqrt(s.youngs_modulus / (s.density * (1 - s.poisson**2))) for s in slabs]
        hold(
            "wave speed in two places",
            on_storeys([slab_speed / speed for speed in own], line.floors),
            f"{where}, [slabs]: 'longitudinal_wave_speed_m_s' over that by slab_modulus_pa, "
            "slab_density_kg_m3 and slab_poisson",
        )
    thin = xr.DataArray(wall_thickness) < _THIN
    if thin.any():
        hold(
            "wave speed of a thin wall",
            wall_speed,
            f"{where}, [walls]: 'longitudinal_wave_speed_m_s' of walls of "
            f"{float(np.min(wall_thickness)):g} m",
        )
