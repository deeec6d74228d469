"""The structure of a study held against itself, its loads and its soil: where a slip of ten shows.

Bounds stand in :mod:`groundborne.usual_values` under ``derived``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, StudyError
from groundborne.structure import (
    ColumnLine,
    Raft,
    RectangularFooting,
    SemiInfiniteRod,
    SpringFoundation,
)
from groundborne.structure.element import GRAVITY
from groundborne.structure.thin_slab import mass_per_area
from groundborne.study.building import Building
from groundborne.study.cross_checks import STOREY, Files, hold, median, on_storeys, plan_of

_COMMON = "'column_area_m2' and column_modulus_pa"
_OWN = "'area_m2' and 'modulus_pa' of each, or those of all"
"""Keys of the section of lines: where all are alike, and where some have their own."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Storeys:
    """Numbers of a column line on ``storey``, lowest first, and any other dim."""

    height: xr.DataArray
    area: xr.DataArray
    modulus: Numeric
    thickness: xr.DataArray
    mass_per_area: xr.DataArray
    superimposed: xr.DataArray
    resonance: xr.DataArray

    @property
    def names(self) -> list[str]:
        return [str(name) for name in self.height[STOREY].values]

    @classmethod
    def of(cls, line: ColumnLine) -> _Storeys:
        slabs: list[Any] = list(line.slabs)

        def each(values: list[Any]) -> xr.DataArray:
            return on_storeys(values, line.floors)

        return cls(
            height=each([s.height for s in line.storeys]),
            area=each([s.area for s in line.storeys]),
            modulus=line.storeys[0].youngs_modulus,
            thickness=each([s.thickness for s in slabs]),
            mass_per_area=each([mass_per_area(s) for s in slabs]),
            superimposed=each([s.superimposed_mass for s in slabs]),
            resonance=each(_resonances(slabs)),
        )


def _resonances(slabs: list[Any]) -> list[Any]:
    """First resonance of each slab; alike slabs share one search."""
    found: dict[tuple[bytes, ...], Any] = {}
    parts = [(s.thickness, s.youngs_modulus, mass_per_area(s)) for s in slabs]
    keys = [tuple(np.asarray(v, dtype=float).tobytes() for v in values) for values in parts]
    for key, slab in zip(keys, slabs, strict=True):
        if key not in found:
            found[key] = slab.first_resonance
    return [found[key] for key in keys]


def check_storeys(line: ColumnLine, building: Building, files: Files, *, floor: str) -> None:
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
        Lowest storey above the mounts; empty without.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    storeys, file = _Storeys.of(line), files["storeys"]
    resting = "'superimposed_kg_m2'"
    if building.loads is not None and building.loads.has_floors:
        resting = f"'{files['permanent']}' and '{files['imposed']}' of {files['loads']}"

    def of_storeys(name: str, values: Any, words: str) -> None:
        hold(name, values, file, words, of=STOREY)

    of_storeys(
        "mass of a slab",
        storeys.mass_per_area,
        f"the mass by 'slab_thickness_m', slab_density_kg_m3 and {resting}",
    )
    of_storeys(
        "resonance of a slab",
        storeys.resonance,
        "the first resonance of the slab by its spans, thickness, modulus and mass",
    )
    if (storeys.superimposed > 0).any():
        of_storeys("superimposed over median", storeys.superimposed / median(storeys.superimposed),
                  f"what rests on it by {resting} over the median of the storeys")  # fmt: skip
    below = storeys.area.isel({STOREY: slice(None, -1)})
    next_ = storeys.area.isel({STOREY: slice(1, None)}).assign_coords({STOREY: below[STOREY]})
    of_storeys(
        "column area over next", below / next_, "'column_area_m2' over that of the next storey"
    )
    _check_two_tables(storeys, building, files)
    start = storeys.names.index(floor) if floor else 0
    panels: Any = line.storeys[0].slab
    plan = getattr(panels, "span_x", 0.0) * getattr(panels, "span_y", 0.0)
    mass = plan * storeys.mass_per_area.isel({STOREY: slice(start, None)}).sum(STOREY)
    section = storeys.area.isel({STOREY: start}, drop=True) * storeys.modulus
    whose, keys, share = "an interior column", _COMMON, 1.0
    if "column" in section.dims:  # walls beside columns: all of them together
        whose, keys = "columns and walls together", _OWN
        section, share = section.sum("column"), panels.panel_share.sum("column")
    hold(
        "strain of columns",
        mass * share * GRAVITY / section,
        f"{file}, storey {storeys.names[start]!r}: the strain of {whose} under all slabs from here "
        f"up, by spans, slabs, {keys}",
    )
    if building.columns is not None:
        _check_column_loads(storeys, building, files, start, plan)


def _check_two_tables(storeys: _Storeys, building: Building, files: Files) -> None:
    """What the floor table and the table of storeys both say."""
    floors = building.floors.sel(floor=storeys.names)

    def on_floors(values: xr.DataArray) -> xr.DataArray:
        return values.rename({STOREY: "floor"})

    heights = floors["height"]
    if (heights.isel(floor=0) <= 0).any():
        raise StudyError(
            f"{files['storeys']}, storey {storeys.names[0]!r}: the row holds a column of "
            f"{float(storeys.height[0].max()):g} m below the slab, and {files['floors']} puts the "
            f"slab at {float(heights[0].min()):g} m above the foundation, where no column fits. A "
            "slab cast on the ground is the foundation itself: give its mass in "
            "[structure.foundation] and leave the row out. A slab on stub columns or on mounts "
            "right on the foundation stands as high above it as they are, in both tables"
        )
    both = f"{files['storeys']} and {files['floors']}"
    rise = heights - heights.shift(floor=1, fill_value=0.0)
    for name, values, words in (
        (
            "rise over storey height",
            rise / on_floors(storeys.height),
            "the rise of 'height_m' over 'storey_height_m'",
        ),
        (
            "slab thickness in two tables",
            floors.get("slab_thickness", on_floors(storeys.thickness))
            / on_floors(storeys.thickness),
            "'slab_thickness_m' of one over the other",
        ),
        (
            "floor frequency in two tables",
            floors.get("natural_frequency", on_floors(storeys.resonance))
            / on_floors(storeys.resonance),
            "'natural_frequency_hz' over the resonance of the slab of the structure",
        ),
    ):
        hold(name, values, both, words, of="floor")


def _check_column_loads(
    storeys: _Storeys, building: Building, files: Files, start: int, plan: Numeric
) -> None:
    """Column loads over the floors they carry, and over the section of the columns."""
    assert building.columns is not None
    columns, file = building.columns, files["loads"]
    if "panel_share" not in columns:
        return
    shares, count = columns["panel_share"], len(storeys.names) - start
    carried = shares * plan * count
    permanent, imposed = columns["permanent"], columns["imposed"]

    def of_columns(name: str, values: Any, words: str) -> None:
        hold(name, values, file, words, of="column")

    floors = f"over its panels in {count} storeys"
    of_columns("permanent load per area", permanent / carried / 1e3,
               f"'{files['permanent']}' {floors}")  # fmt: skip
    of_columns("imposed load per area", imposed / carried / 1e3,
               f"'{files['imposed']}' {floors}")  # fmt: skip
    if (imposed > 0).any():
        each = imposed / carried
        of_columns("imposed load over median", each / median(each),
                   f"'{files['imposed']}' over its panels, over the median of columns")  # fmt: skip
    section = storeys.area.isel({STOREY: start}, drop=True) * storeys.modulus
    keys = _OWN if "column" in section.dims else _COMMON
    strain = permanent / section
    # At corners lines carry a quarter of a panel: too thick is what would be so under a whole one.
    least = np.minimum(strain / shares, strain.median("column"))
    hold(
        "strain of columns",
        np.maximum(strain, least),
        f"{file} and {files['storeys']}",
        f"its strain under '{files['permanent']}', or under that of a whole panel, by {keys}",
        of="column",
    )
    extents = plan_of(building)
    if extents is not None:
        hold(
            "grid over panels",
            extents[0] * extents[1] / (shares.sum("column") * plan),
            f"{files['columns']} and {files['study']}: the plan of the columns by 'x_m' and 'y_m' "
            "over all 'panel_share' by span_x_m and span_y_m",
        )


def check_foundation(foundation: Any, mass: Numeric, building: Building, *, where: str) -> None:
    """The foundation against the building on it.

    Parameters
    ----------
    foundation : Mobility
        Of the whole building, or the raft under it.
    mass : float or DataArray
        Of the whole building [kg].
    building : Building
        With columns, for its plan.
    where : str
        Study file and table, for messages.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    plan = plan_of(building)
    own, keys = getattr(foundation, "mass", 0.0), "'mass_kg'"
    area: Any = 0.0
    if isinstance(foundation, Raft):
        area, keys = foundation.area, "'thickness_m' by concrete_density_kg_m3 and what lies on it"
        own = foundation.mass_per_area * area
        _check_panels(foundation, building, where)
        foundation = foundation.soil
    if isinstance(foundation, RectangularFooting):
        stiffness = foundation.static_stiffness
        area = foundation.length * foundation.width
        if plan is not None:
            hold("footing over grid", foundation.length / max(plan),
                 f"{where}: 'length_m' over the longer side of the column grid")  # fmt: skip
            hold("footing over grid", foundation.width / min(plan),
                 f"{where}: 'width_m' over the shorter side of the column grid")  # fmt: skip
    elif isinstance(foundation, SpringFoundation):
        stiffness = foundation.stiffness
        if plan is not None and not np.any(area > 0):
            area = plan[0] * plan[1]
        hold(
            "foundation damping",
            foundation.damping / (2 * np.sqrt(stiffness * mass)),
            f"{where}: the damping ratio of the building on its foundation by 'damping_n_s_m'",
        )
    else:
        return
    bounce = np.sqrt(stiffness / (mass + own)) / (2 * np.pi)
    hold("foundation bounce", bounce,
         f"{where}: the frequency of the building on its foundation")  # fmt: skip
    hold("foundation mass over building", own / mass,
         f"{where}: {keys} over the mass of the building")  # fmt: skip
    if np.all(area > 0):
        hold("foundation mass per plan", own / area, f"{where}: {keys} over the plan")


def _check_panels(raft: Raft, building: Building, where: str) -> None:
    """Panels of a raft, which share its soil, over its plan."""
    columns = building.columns
    if columns is not None and "panel_share" in columns:
        panels = columns["panel_share"].sum("column") * raft.span_x * raft.span_y
        words = "'length_m' by 'width_m' over all 'panel_share' by span_x_m and span_y_m"
        hold("raft over panels", raft.area / panels, f"{where}: {words}")


def check_rod(rod: Any, mass: Numeric, *, where: str) -> None:
    """Columns without reflections under the mass they carry.

    Parameters
    ----------
    rod : Mobility
        Judged if it is a rod.
    mass : float or DataArray
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
            mass * GRAVITY / (rod.area * rod.youngs_modulus),
            f"{where}: the strain of all columns by 'area_m2', 'youngs_modulus_pa' and the load",
        )
