"""What several numbers of a study say together, held against what buildings are like.

A slip of ten may land inside the usual range of its own key; then it shows in the load of a column
per area, in the absorption of a room, in the bounce of the building on its soil. Bounds stand in
:mod:`groundborne.usual_values` under ``derived``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from groundborne._checks import StudyError
from groundborne.structure import (
    ColumnLine,
    RectangularFooting,
    SemiInfiniteRod,
    SpringFoundation,
)
from groundborne.structure.element import GRAVITY
from groundborne.structure.thin_slab import mass_per_area
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


def hold(name: str, values: Any, subject: Callable[[int], str] | str) -> None:
    """Judge values that follow from a study; see :func:`groundborne.usual_ranges.judge`."""
    words = subject if callable(subject) else lambda _: str(subject)
    judge(derived(name), values, words, StudyError)


def _labels(file: str, what: str, names: Any, words: str) -> Callable[[int], str]:
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
        return _labels(file, "room", names, words)

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
    plan = _plan(building)
    if plan is not None:
        words = "of the room over that of the column grid"
        hold("room side over plan", longer / max(plan), say(f"the longer side {words}"))
        hold("room side over plan", shorter / min(plan), say(f"the shorter side {words}"))


def _plan(building: Building) -> tuple[float, float] | None:
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
    at = np.flatnonzero(steps != 0)
    names = floors["floor"].values[1:][at]
    hold(
        "height of one storey",
        rises[at] / steps[at],
        _labels(files["floors"], "floor", names, "the rise of 'height_m' over that of 'storeys'"),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Levels:
    """Numbers of a column line, one for each level, lowest first."""

    names: Array
    height: Array
    area: Array
    modulus: float
    thickness: Array
    mass_per_area: Array
    superimposed: Array
    resonance: Array

    @classmethod
    def of(cls, line: ColumnLine) -> _Levels:
        slabs: list[Any] = list(line.slabs)
        return cls(
            names=np.array(line.levels),
            height=np.array([float(s.height) for s in line.storeys]),
            area=np.array([float(s.area) for s in line.storeys]),
            modulus=float(line.storeys[0].youngs_modulus),
            thickness=np.array([float(s.thickness) for s in slabs]),
            mass_per_area=np.array([float(mass_per_area(s)) for s in slabs]),
            superimposed=np.array([float(s.superimposed_mass) for s in slabs]),
            resonance=_resonances(slabs),
        )


def _resonances(slabs: list[Any]) -> Array:
    """First resonance of each slab; alike slabs share one search."""
    found: dict[tuple[float, ...], float] = {}
    keys = [(float(s.thickness), float(s.youngs_modulus), float(mass_per_area(s))) for s in slabs]
    for key, slab in zip(keys, slabs, strict=True):
        if key not in found:
            found[key] = float(slab.first_resonance)
    return np.array([found[key] for key in keys])


def check_levels(line: ColumnLine, building: Building, files: Files, *, floor: str) -> None:
    """Slabs and columns of the structure, and the same quantities in the floor table.

    Parameters
    ----------
    line : ColumnLine
        As built.
    building : Building
        Floors and columns.
    files : mapping of str to str
        See :data:`Files`.
    floor : str
        Lowest level above the mounts; empty without.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    levels, file = _Levels.of(line), files["levels"]

    def say(words: str) -> Callable[[int], str]:
        return _labels(file, "level", levels.names, words)

    hold(
        "mass of a slab",
        levels.mass_per_area,
        say("the mass by 'slab_thickness_m', slab_density_kg_m3 and 'superimposed_kg_m2'"),
    )
    hold(
        "resonance of a slab",
        levels.resonance,
        say("the first resonance of the slab by its spans, thickness, modulus and mass"),
    )
    if levels.superimposed.max() > 0:
        median = np.median(levels.superimposed[levels.superimposed > 0])
        hold(
            "superimposed over median",
            levels.superimposed / median,
            say("'superimposed_kg_m2' over the median of the levels"),
        )
    hold(
        "column area over next",
        levels.area[:-1] / levels.area[1:],
        say("'column_area_m2' over that of the next level"),
    )
    _check_two_tables(levels, building, files)
    start = levels.names.tolist().index(floor) if floor else 0
    panels = line.storeys[0].slab
    plan = float(getattr(panels, "span_x", 0.0)) * float(getattr(panels, "span_y", 0.0))
    mass = plan * levels.mass_per_area[start:].sum()
    hold(
        "strain of columns",
        [mass * GRAVITY / (levels.area[start] * levels.modulus)],
        f"{file}, level {str(levels.names[start])!r}: the strain of an interior column under all "
        "slabs from here up, by spans, slabs, 'column_area_m2' and column_modulus_pa",
    )
    if building.columns is not None:
        _check_column_loads(levels, building, files, start, plan)


def _check_two_tables(levels: _Levels, building: Building, files: Files) -> None:
    """What the floor table and the table of levels both say."""
    floors = building.floors.sel(floor=levels.names)
    heights = floors["height"].values
    both = f"{files['levels']} and {files['floors']}"
    hold(
        "rise over storey height",
        np.diff(heights, prepend=0.0) / levels.height if heights[0] > 0 else
        np.diff(heights) / levels.height[1:],
        _labels(
            both, "floor", levels.names if heights[0] > 0 else levels.names[1:],
            "the rise of 'height_m' over 'storey_height_m'",
        ),
    )  # fmt: skip
    if "slab_thickness" in floors:
        hold(
            "slab thickness in two tables",
            floors["slab_thickness"].values / levels.thickness,
            _labels(both, "floor", levels.names, "'slab_thickness_m' of one over the other"),
        )
    if "natural_frequency" in floors:
        hold(
            "floor frequency in two tables",
            floors["natural_frequency"].values / levels.resonance,
            _labels(
                both,
                "floor",
                levels.names,
                "'natural_frequency_hz' over the resonance of the slab of the structure",
            ),
        )


def _check_column_loads(
    levels: _Levels, building: Building, files: Files, start: int, plan: float
) -> None:
    """Column loads over the floors they carry, and over the section of the columns."""
    assert building.columns is not None
    columns, file = building.columns, files["columns"]
    if "panel_share" not in columns:
        return
    names = columns["column"].values
    shares = columns["panel_share"].values
    carried = shares * plan * (levels.names.size - start)
    permanent, imposed = columns["permanent"].values, columns["imposed"].values

    def say(words: str) -> Callable[[int], str]:
        return _labels(file, "column", names, words)

    floors = f"over its panels on {levels.names.size - start} levels"
    hold("permanent load per area", permanent / carried / 1e3, say(f"'permanent_kn' {floors}"))
    hold("imposed load per area", imposed / carried / 1e3, say(f"'imposed_kn' {floors}"))
    area, modulus = levels.area[start], levels.modulus
    hold(
        "strain of columns",
        [float(np.median(permanent)) / (area * modulus)],
        f"{file} and {files['levels']}: the strain of columns under the median 'permanent_kn' by "
        "'column_area_m2' and column_modulus_pa",
    )
    extents = _plan(building)
    if extents is not None:
        hold(
            "grid over panels",
            [extents[0] * extents[1] / (float(shares.sum()) * plan)],
            f"{file} and {files['study']}: the plan of the columns by 'x_m' and 'y_m' over all "
            "'panel_share' by span_x_m and span_y_m",
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
        _labels(file, "column", names, "'imposed_kn' over 'permanent_kn'"),
    )
    extents = _plan(building)
    if extents is None:
        return
    x, y = columns["x"].values, columns["y"].values
    apart = np.hypot(x[:, None] - x[None, :], y[:, None] - y[None, :])
    np.fill_diagonal(apart, np.inf)
    nearest = apart.min(axis=1)
    hold(
        "distance over median",
        nearest / max(float(np.median(nearest)), 1e-9),
        _labels(file, "column", names, "its distance to the next by 'x_m' and 'y_m' over the "
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


def check_foundation(
    foundation: Any, mass: float, building: Building, files: Files, *, where: str
) -> None:
    """The foundation against the building on it.

    Parameters
    ----------
    foundation : Mobility
        Of the whole building.
    mass : float
        Of the whole building [kg].
    building : Building
        With columns, for its plan.
    files : mapping of str to str
        See :data:`Files`.
    where : str
        Table of the study file, for messages.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    name = f"{files['study']}, {where}"
    plan = _plan(building)
    if isinstance(foundation, RectangularFooting):
        stiffness = float(foundation.static_stiffness)
        area = float(foundation.length * foundation.width)
        if plan is not None:
            hold("footing over grid", [float(foundation.length) / max(plan)],
                 f"{name}: 'length_m' over the longer side of the column grid")  # fmt: skip
            hold("footing over grid", [float(foundation.width) / min(plan)],
                 f"{name}: 'width_m' over the shorter side of the column grid")  # fmt: skip
    elif isinstance(foundation, SpringFoundation):
        stiffness = float(foundation.stiffness)
        area = plan[0] * plan[1] if plan is not None else 0.0
        hold(
            "foundation damping",
            [float(foundation.damping) / (2 * np.sqrt(stiffness * mass))],
            f"{name}: the damping ratio of the building on its foundation by 'damping_n_s_m'",
        )
    else:
        return
    bounce = np.sqrt(stiffness / (mass + float(foundation.mass))) / (2 * np.pi)
    hold("foundation bounce", [bounce],
         f"{name}: the frequency of the building on its foundation")  # fmt: skip
    hold("foundation mass over building", [float(foundation.mass) / mass],
         f"{name}: 'mass_kg' over the mass of the building")  # fmt: skip
    if area > 0:
        hold("foundation mass per plan", [float(foundation.mass) / area],
             f"{name}: 'mass_kg' over the plan")  # fmt: skip


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


def check_rod(rod: Any, mass: float, *, where: str) -> None:
    """Columns without reflections under the mass they carry.

    Parameters
    ----------
    rod : Mobility
        Judged if it is a rod.
    mass : float
        On all columns [kg].
    where : str
        File and table, for messages.

    Raises
    ------
    StudyError
        A strain that cannot be.
    """
    if isinstance(rod, SemiInfiniteRod):
        hold(
            "strain of columns",
            [mass * GRAVITY / float(rod.area * rod.youngs_modulus)],
            f"{where}: the strain of all columns by 'area_m2', 'youngs_modulus_pa' and the load",
        )
