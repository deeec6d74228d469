"""What several numbers of a study say together, held against what buildings are like.

A slip of ten may land inside the usual range of its own key; then it shows in the load of a column
per area, in the absorption of a room, in the bounce of the building on its soil. Bounds stand in
:mod:`groundborne.usual_values` under ``derived``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from groundborne._checks import StudyError
from groundborne.study.building import Building
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived

Array = np.ndarray[Any, Any]
Files = Mapping[str, str]
"""Names of the files by what they hold: ``study``, ``floors``, ``rooms``, ``columns``, ``levels``.
"""

_SABINE = 0.161
_THIN = 0.04
"""Walls below are boards [m]."""

_NO_STEP = 1e-3  # storeys; two rows of one level


def hold(name: str, values: Any, subject: Callable[[int], str] | str) -> None:
    """Judge values that follow from a study; see :func:`groundborne.usual_ranges.judge`."""
    words = subject if callable(subject) else lambda _: str(subject)
    judge(derived(name), values, subject=words, error=StudyError)


def labelled(file: str, what: str, names: Any, words: str) -> Callable[[int], str]:
    """Name values by the rooms, floors or columns they belong to."""
    return lambda at: f"{file}, {what} {str(names[at])!r}: {words}"


def check_rooms(building: Building, files: Files) -> None:
    """Rooms against themselves, their storey and the plan of the building.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    rooms, file = building.rooms, files["rooms"]
    names = rooms["room"].values
    length, width, height = (rooms[n].values for n in ("length", "width", "height"))
    shorter, longer = np.minimum(length, width), np.maximum(length, width)
    box = length * width * height
    volume = rooms["volume"].values if "volume" in rooms else box
    surface = 2 * (length * width + (length + width) * height)
    time = rooms["reverberation_time"].transpose("room", "frequency").values
    sizes = "'length_m', 'width_m' and 'height_m'"

    def say(words: str) -> Callable[[int], str]:
        return labelled(file, "room", names, words)

    for worst in (time.min(axis=1), time.max(axis=1)):
        hold(
            "room absorption coefficient",
            _SABINE * volume / (worst * surface),
            say(f"the mean absorption coefficient by the reverberation time and {sizes}"),
        )
    hold("room volume over box", volume / box, say(f"'volume_m3' over {sizes} multiplied"))
    hold(
        "room height over shorter side",
        height / shorter,
        say("'height_m' over the shorter of 'length_m' and 'width_m'"),
    )
    hold("room longer over shorter side", longer / shorter, say("the longer side over the shorter"))
    level = building.floors["height"]
    rise = level.sel(floor=rooms["ceiling_floor"]).values
    rise = rise - level.sel(floor=rooms["floor_of_room"]).values
    hold(
        "room height over storey",
        height / rise,
        say(f"'height_m' over the {files['floors']} distance from its floor to its ceiling_floor"),
    )
    plan = plan_of(building)
    if plan is not None:
        words = "of the room over that of the column grid"
        hold("room side over plan", longer / max(plan), say(f"the longer side {words}"))
        hold("room side over plan", shorter / min(plan), say(f"the shorter side {words}"))
        floors = rooms["floor_of_room"].values
        area = {str(f): float((length * width)[floors == f].sum()) for f in dict.fromkeys(floors)}
        hold(
            "rooms of a floor over plan",
            np.array(list(area.values())) / (plan[0] * plan[1]),
            labelled(
                file,
                "floor",
                list(area),
                "the area of its rooms, by 'length_m' and 'width_m', over that of the column grid",
            ),
        )


def plan_of(building: Building) -> tuple[float, float] | None:
    """Extents of the column grid [m]; None where there is none, or one row only."""
    if building.columns is None:
        return None
    x, y = (float(np.ptp(building.columns[n].values)) for n in ("x", "y"))
    return (x, y) if min(x, y) > 0 else None


def check_floors(building: Building, files: Files) -> None:
    """Heights of storeys.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    floors = building.floors
    steps, rises = np.diff(floors["storeys"].values), np.diff(floors["height"].values)
    at = np.flatnonzero(abs(steps) > _NO_STEP)
    names = floors["floor"].values[1:][at]
    hold(
        "height of one storey",
        rises[at] / steps[at],
        labelled(files["floors"], "floor", names, "the rise of 'height_m' over that of 'storeys'"),
    )


def check_columns(building: Building, files: Files, *, lowest: str) -> None:
    """Column loads against each other and against the plan; wind against the height.

    Parameters
    ----------
    building : Building
        Floors and columns.
    files : mapping of str to str
        See :data:`Files`.
    lowest : str
        Floor from which up the loads count.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    columns, file = building.columns, files.get("columns", "")
    if columns is None:
        return
    names = columns["column"].values
    hold(
        "imposed over permanent",
        columns["imposed"].values / columns["permanent"].values,
        labelled(file, "column", names, "'imposed_kn' over 'permanent_kn'"),
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
        nearest / max(float(np.median(nearest)), 1e-9),
        labelled(file, "column", names, "its distance to the next by 'x_m' and 'y_m' over the "
                "median of such distances"),
    )  # fmt: skip
    area = extents[0] * extents[1]
    hold("area of a column", [area / names.size], f"{file}: the plan by 'x_m' and 'y_m' per column")
    floors = building.floors
    above = floors["floor"].values.tolist().index(lowest)
    count = floors.sizes["floor"] - above
    hold(
        "permanent load per area",
        [float(columns["permanent"].sum()) / (area * count) / 1e3],
        f"{file}: all 'permanent_kn' over the plan by 'x_m' and 'y_m' on {count} floors",
    )
    height = float(floors["height"].values[-1] - floors["height"].values[above])
    if height <= 0:
        return
    pressures: dict[str, list[float]] = {}
    # Wind along an axis presses on the side across it, and its moment is held along it.
    for axis, across in (("x", extents[1]), ("y", extents[0])):
        key = next((k for k in (f"wind_{axis}", "wind") if k in columns), None)
        if key is not None:
            away = np.abs(columns[axis].values - columns[axis].values.mean())
            moment = float(np.sum(np.abs(columns[key].values) * away))
            pressures.setdefault(key, []).append(2 * moment / (across * height**2) / 1e3)
    for key, found in pressures.items():
        hold(
            "wind pressure",
            [max(found)],
            f"{file}, column '{key}_kn': the pressure of wind on the facade that makes these loads",
        )


def check_plates(
    where: str, *, slab_speed: float, wall_speed: float, wall_thickness: float, line: Any
) -> None:
    """Wave speeds of slabs and walls as ``[path.radiation]`` has them.

    Parameters
    ----------
    where : str
        File and table, for messages.
    slab_speed, wall_speed : float
        Longitudinal [m/s].
    wall_thickness : float
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
        own = [float(np.sqrt(s.youngs_modulus / (s.density * (1 - s.poisson**2)))) for s in slabs]
        hold(
            "wave speed in two places",
            slab_speed / np.array(own),
            f"{where}, [slabs]: 'longitudinal_wave_speed_m_s' over that by slab_modulus_pa, "
            "slab_density_kg_m3 and slab_poisson",
        )
    if wall_thickness < _THIN:
        hold(
            "wave speed of a thin wall",
            [wall_speed],
            f"{where}, [walls]: 'longitudinal_wave_speed_m_s' of walls of {wall_thickness:g} m",
        )
