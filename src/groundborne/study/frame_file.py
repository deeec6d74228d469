"""Column lines of a building from the ``[structure]`` table of a study file."""

from __future__ import annotations

from pathlib import Path as FilePath
from typing import Any

import xarray as xr

from groundborne._checks import Numeric, StudyError, TableError, within
from groundborne.structure import (
    ColumnLine,
    FlatSlab,
    Mobility,
    RectangularFooting,
    SharedFoundation,
    SpringFoundation,
    Storey,
)
from groundborne.structure.element import GRAVITY
from groundborne.study.building import Building
from groundborne.study.section import Section, above_zero, zero_or_more
from groundborne.tables import read_table

_COLUMNS = (
    "floor", "storey_height_m", "column_area_m2", "slab_thickness_m", "slab_modulus_pa",
    "slab_loss_factor", "superimposed_kg_m2",
)  # fmt: skip


def _poisson(where: str, name: str, value: Any) -> None:
    within(where, name, value, 0.0, 0.499, "")


def read_foundation(section: Section) -> Mobility:
    """A foundation on soil or piles from its table.

    Raises
    ------
    StudyError
        A key is missing, unknown or out of bounds.
    """
    with section.naming():
        return _foundation(section)


def _foundation(section: Section) -> Mobility:
    model = section.choice("model", ["rectangular footing", "springs and dashpots"])
    foundation: Mobility
    if model == "rectangular footing":
        foundation = RectangularFooting(
            length=section.number("length_m", above_zero("m")),
            width=section.number("width_m", above_zero("m")),
            shear_wave_speed=section.number("shear_wave_speed_m_s", above_zero("m/s")),
            density=section.number("density_kg_m3", above_zero("kg/m³")),
            poisson=section.number("poisson", _poisson),
            loss_factor=section.number("loss_factor", zero_or_more("")),
            embedment=section.number("embedment_m", zero_or_more("m"), 0.0),
            mass=section.number("mass_kg", zero_or_more("kg"), 0.0),
        )
    else:
        foundation = SpringFoundation(
            stiffness=section.number("stiffness_n_m", above_zero("N/m")),
            damping=section.number("damping_n_s_m", zero_or_more("N s/m"), 0.0),
            loss_factor=section.number("loss_factor", zero_or_more(""), 0.0),
            mass=section.number("mass_kg", zero_or_more("kg"), 0.0),
        )
    section.done()
    return foundation


def read_line(section: Section, levels: FilePath, building: Building) -> ColumnLine:
    """Column lines, one for each column where the column table gives its share of panels.

    Parameters
    ----------
    section : Section
        The table ``[structure]``.
    levels : Path
        CSV file, one row for each level with a slab, lowest first: the column segment below the
        slab, and the slab.
    building : Building
        Floors, rooms and columns.

    Returns
    -------
    ColumnLine
        As built; with the dim ``column`` where columns have a ``panel_share``.

    Raises
    ------
    StudyError, TableError
        A key, row or cell is not as it should be, or a room's floor is not among the levels.
    """
    table = read_table(levels, place="levels")
    table.require(_COLUMNS)
    names = table.unique("floor").astype(str)
    known = building.floors["floor"].values.tolist()
    for row, name in zip(table.rows.tolist(), names.tolist(), strict=True):
        if name not in known:
            raise TableError(
                f"{table.file}, row {row}, column 'floor': there is no floor {name!r} in the "
                f"floor table; known are {', '.join(map(repr, known))}"
            )
    for of in ("floor_of_room", "ceiling_floor"):
        for floor in building.rooms[of].values.tolist():
            if floor not in names:
                raise TableError(
                    f"{table.file}: the floor {floor!r} carries or covers a room and has no row; a "
                    "row holds a slab and the column below it. A slab cast on the ground is the "
                    "foundation and gets none: rooms on it are not predicted by column lines"
                )
    height, area, thickness, modulus = (table.numbers([c], above=0.0)[:, 0] for c in _COLUMNS[1:5])
    loss = table.numbers(["slab_loss_factor"], above=0.0)[:, 0]
    extra = table.numbers(["superimposed_kg_m2"], low=0.0)[:, 0]
    span_x, span_y = (
        section.number("span_x_m", above_zero("m")),
        section.number("span_y_m", above_zero("m")),
    )
    density = section.number("slab_density_kg_m3", above_zero("kg/m³"))
    poisson = section.number("slab_poisson", _poisson)
    column_modulus = section.number("column_modulus_pa", above_zero("Pa"))
    column_density = section.number("column_density_kg_m3", above_zero("kg/m³"))
    column_loss = section.number("column_loss_factor", above_zero(""))
    share, panels = _shares(section, building)
    storeys = tuple(
        Storey(
            level=str(names[i]),
            height=float(height[i]),
            area=float(area[i]),
            youngs_modulus=column_modulus,
            density=column_density,
            loss_factor=column_loss,
            slab=FlatSlab(
                span_x=span_x,
                span_y=span_y,
                thickness=float(thickness[i]),
                youngs_modulus=float(modulus[i]),
                density=density,
                poisson=poisson,
                loss_factor=float(loss[i]),
                superimposed_mass=float(extra[i]),
                panel_share=panels,
            ),
        )
        for i in range(names.size)
    )
    foundation = read_foundation(section.section("foundation"))
    section.done()
    return ColumnLine(
        storeys=storeys,
        foundation=SharedFoundation(foundation=foundation, share=share),
        base_level="foundation",
    )


def _shares(section: Section, building: Building) -> tuple[Numeric, Numeric]:
    """Share of the foundation, and panels carried, of one line or of every column."""
    columns = building.columns
    if columns is not None and "panel_share" in columns:
        panels = columns["panel_share"].drop_attrs(deep=False)
        return panels / float(panels.sum()), panels
    if columns is not None:
        raise StudyError(
            f"{section.where}: the column table needs the column 'panel_share' (1 for an interior "
            "column, 0.5 at an edge, 0.25 in a corner)"
        )
    return section.number("foundation_share", above_zero("")), 1.0


def column_mass(building: Building, imposed_share: float, where: str) -> xr.DataArray:
    """Mass on the mounts of each column under permanent and a share of imposed load [kg]."""
    if building.columns is None:
        raise StudyError(
            f"{where}: the mass comes from the columns, and [building] names no column table; "
            "give 'mass_kg' or the table"
        )
    load = building.columns["permanent"] + imposed_share * building.columns["imposed"]
    mass: xr.DataArray = (load / GRAVITY).drop_attrs(deep=False)
    return mass
