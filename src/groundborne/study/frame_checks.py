"""The structure of a study held against itself, its loads and its soil: where a slip of ten shows.

Bounds stand in :mod:`groundborne.usual_values` under ``derived``.
"""

from __future__ import annotations

from collections.abc import Callable
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
from groundborne.study.cross_checks import Array, Files, hold, labelled, plan_of


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
        return labelled(file, "level", levels.names, words)

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
    if heights[0] <= 0:
        raise StudyError(
            f"{files['levels']}, level {str(levels.names[0])!r}: the row holds a column of "
            f"{levels.height[0]:g} m below the slab, and {files['floors']} puts the slab at "
            f"{heights[0]:g} m above the foundation, where no column fits. A slab cast on the "
            "ground is the foundation itself: give its mass in [structure.foundation] and leave "
            "the row out. A slab on stub columns or on mounts right on the foundation stands as "
            "high above it as they are, in both tables"
        )
    both = f"{files['levels']} and {files['floors']}"
    hold(
        "rise over storey height",
        np.diff(heights, prepend=0.0) / levels.height,
        labelled(both, "floor", levels.names, "the rise of 'height_m' over 'storey_height_m'"),
    )
    if "slab_thickness" in floors:
        hold(
            "slab thickness in two tables",
            floors["slab_thickness"].values / levels.thickness,
            labelled(both, "floor", levels.names, "'slab_thickness_m' of one over the other"),
        )
    if "natural_frequency" in floors:
        hold(
            "floor frequency in two tables",
            floors["natural_frequency"].values / levels.resonance,
            labelled(
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
        return labelled(file, "column", names, words)

    floors = f"over its panels on {levels.names.size - start} levels"
    hold("permanent load per area", permanent / carried / 1e3, say(f"'permanent_kn' {floors}"))
    hold("imposed load per area", imposed / carried / 1e3, say(f"'imposed_kn' {floors}"))
    if (imposed > 0).any():
        each = imposed / carried
        hold(
            "imposed load over median",
            each / float(np.median(each[each > 0])),
            say("'imposed_kn' over its panels, over the median of the columns"),
        )
    area, modulus = levels.area[start], levels.modulus
    hold(
        "strain of columns",
        [float(np.median(permanent)) / (area * modulus)],
        f"{file} and {files['levels']}: the strain of columns under the median 'permanent_kn' by "
        "'column_area_m2' and column_modulus_pa",
    )
    extents = plan_of(building)
    if extents is not None:
        hold(
            "grid over panels",
            [extents[0] * extents[1] / (float(shares.sum()) * plan)],
            f"{file} and {files['study']}: the plan of the columns by 'x_m' and 'y_m' over all "
            "'panel_share' by span_x_m and span_y_m",
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
    plan = plan_of(building)
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
