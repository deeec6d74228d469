"""Room measures of a study file: by natural frequency, or by construction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from groundborne._checks import StudyError, known
from groundborne.isolation import SurfaceIsolation
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.path import PathElement
from groundborne.study.option import SURFACE_GROUPS, RoomMeasure
from groundborne.study.section import Section, above_zero, zero_or_more

if TYPE_CHECKING:
    from groundborne.isolation.rooms.sprung_surface import SprungSurface
    from groundborne.structure import EdgeSupportedSlab, FlatSlab

Slabs = Mapping[str, "FlatSlab"]


@dataclass(frozen=True, kw_only=True)
class Keys:
    """Keys of one construction and the arguments they stand for.

    Parameters
    ----------
    kind : str
        Class in :mod:`groundborne.isolation`.
    needed, optional : mapping of str to str
        Key in the file to argument.
    """

    kind: str
    needed: Mapping[str, str]
    optional: Mapping[str, str]


_BOARD = {
    "thickness_m": "thickness",
    "density_kg_m3": "density",
    "youngs_modulus_pa": "youngs_modulus",
}
_LOADS = {
    "superimposed_kg_m2": "superimposed_mass",
    "imposed_n_m2": "imposed_load",
    "dynamic_to_static": "dynamic_to_static",
}
CONSTRUCTIONS: dict[str, dict[str, Keys]] = {
    "floor": {
        "jack-up concrete": Keys(
            kind="JackUpFloor",
            needed={
                **_BOARD,
                "mount_stiffness_n_m": "mount_stiffness",
                "mount_loss_factor": "mount_loss_factor",
                "spacing_x_m": "spacing_x",
                "spacing_y_m": "spacing_y",
                "air_gap_m": "air_gap",
            },
            optional={
                **_LOADS,
                "finish_m": "finish_thickness",
                "mount_capacity_n": "mount_capacity",
                "poisson": "poisson",
            },
        ),
        "boards on battens": Keys(
            kind="LightFloor",
            needed={
                "batten_kg_m": "batten_mass",
                "batten_height_m": "batten_height",
                "batten_spacing_m": "batten_spacing",
                "element_spacing_m": "element_spacing",
                "element_stiffness_n_m": "element_stiffness",
                "element_loss_factor": "element_loss_factor",
                "element_height_m": "element_height",
                "air_gap_m": "air_gap",
            },
            optional={**_LOADS, "element_capacity_n": "element_capacity"},
        ),
    },
    "walls": {
        "leaf on strips": Keys(
            kind="InnerWall",
            needed={
                "leaf_kg_m2": "leaf_mass",
                "leaf_m": "leaf_thickness",
                "height_m": "height",
                "strip_stiffness_n_m2": "strip_stiffness",
                "cavity_m": "cavity_depth",
                "loss_factor": "loss_factor",
            },
            optional={"ties_per_m2": "ties", "tie_stiffness_n_m": "tie_stiffness"},
        ),
    },
    "ceiling": {
        "hung boards": Keys(
            kind="HungCeiling",
            needed={
                "boards_kg_m2": "board_mass",
                "spacing_x_m": "spacing_x",
                "spacing_y_m": "spacing_y",
                "loss_factor": "loss_factor",
                "cavity_m": "cavity_depth",
            },
            optional={
                "hanger_deflection_m": "hanger_deflection",
                "hanger_stiffness_n_m": "hanger_stiffness",
                "dynamic_to_static": "dynamic_to_static",
                "frame_kg_m2": "frame_mass",
                "boards_m": "board_thickness",
                "edge_offset_m": "edge_offset",
                "hanger_capacity_n": "hanger_capacity",
            },
        ),
    },
}
"""Constructions a study file may name, by surface group."""


def read_measure(section: Section, slabs: Slabs, *, rooms: Sequence[str]) -> RoomMeasure:
    """Read one measure.

    Parameters
    ----------
    section : Section
        One table of ``[[options.rooms]]``.
    slabs : mapping of str to FlatSlab
        Slabs under (``floor``) and over (``ceiling``) the rooms, on ``room``; empty where the
        study has no column lines whose slabs move, so that the file must give them.
    rooms : sequence of str
        Rooms of the study.

    Returns
    -------
    RoomMeasure
        With its box, where surfaces are given by construction.

    Raises
    ------
    StudyError
        A room is unknown; a key is missing, unknown or out of bounds; mounts or hangers are
        overloaded; the slab that carries a floor or a ceiling is not known, or given twice.
    """
    here = tuple(section.texts("rooms"))
    for room in here:
        known(section.where, "room", room, rooms, StudyError)
    treatments: dict[str, PathElement] = {}
    built: dict[str, SprungSurface] = {}
    for group in SURFACE_GROUPS:
        if not section.has(group):
            continue
        layer = section.section(group)
        largest = layer.number("largest_loss_db", zero_or_more("dB"), SINGLE_STAGE_LIMIT)
        if layer.has("construction"):
            part = _construction(layer, group)
            built[group] = part
            slab = None if group == "walls" else _slab(layer, group, slabs.get(group))
            with layer.naming():
                treatments[group] = part.treatment(slab=slab, largest_loss=largest)
        else:
            natural = layer.number("natural_frequency_hz", above_zero("Hz"))
            loss = layer.number("loss_factor", above_zero(""))
            layer.known(["construction"])
            with layer.naming():
                treatments[group] = SurfaceIsolation(
                    natural_frequency=natural, loss_factor=loss, largest_loss=largest
                )
        layer.done()
    name = section.text("measure", "room isolation")
    section.known(SURFACE_GROUPS)
    section.done()
    box = None
    if built:
        from groundborne.isolation import Box

        box = Box(**built)
    return RoomMeasure(rooms=here, treatments=treatments, name=name, box=box)


_SLAB = {
    "span_x_m": "span_x",
    "span_y_m": "span_y",
    **_BOARD,
    "poisson": "poisson",
    "loss_factor": "loss_factor",
}


def _slab(section: Section, group: str, of_lines: FlatSlab | None) -> FlatSlab | EdgeSupportedSlab:
    """The slab that carries a floor or a ceiling: that of the column lines, or one of its own.

    A layer loads its slab; taken on one that never moves it, it would promise another floor.
    """
    if of_lines is not None:
        if section.has("slab"):
            raise StudyError(
                f"{section.where}: 'slab' is given, and the column lines of [structure] hold the "
                "slab of the room; leave it out"
            )
        section.known(["slab"])
        return of_lines
    if not section.has("slab"):
        side = "under the room" if group == "floor" else "over the room"
        raise StudyError(
            f"{section.where}: 'slab' is missing; a {group} by construction loads the slab {side}, "
            "which is known only where floors follow column lines ([structure]). Give slab = "
            '{ on = "columns" or "edges", span_x_m, span_y_m, thickness_m, density_kg_m3, '
            "youngs_modulus_pa, poisson, loss_factor, superimposed_kg_m2 }"
        )
    from groundborne.structure import EdgeSupportedSlab, FlatSlab

    table = section.section("slab")
    on = table.choice("on", ["columns", "edges"])
    values: dict[str, Any] = {argument: table.number(key) for key, argument in _SLAB.items()}
    extra = table.number("superimposed_kg_m2", zero_or_more("kg/m²"), 0.0)
    table.done()
    with table.naming():
        if on == "columns":
            return FlatSlab(**values, superimposed_mass=extra)
        return EdgeSupportedSlab(**values, superimposed_mass=extra)


def _construction(section: Section, group: str) -> SprungSurface:
    import groundborne.isolation as parts

    keys = CONSTRUCTIONS[group][section.choice("construction", CONSTRUCTIONS[group])]
    values: dict[str, Any] = {a: section.number(k) for k, a in keys.needed.items()}
    values |= {a: section.number(k) for k, a in keys.optional.items() if section.has(k)}
    if section.has("air_state"):
        values["air_state"] = section.text("air_state")
    if keys.kind == "LightFloor":
        values["boards"] = tuple(_board(s) for s in section.sections("boards"))
        values["joints_staggered"] = section.flag("joints_staggered", True)
    # Every key this construction knows counts as asked for, so that a wrong one is named beside.
    section.known([*keys.optional, "air_state"])
    with section.naming():
        found: SprungSurface = getattr(parts, keys.kind)(**values)
    return found


def _board(section: Section) -> Any:
    from groundborne.isolation import Board

    values = {argument: section.number(key) for key, argument in _BOARD.items()}
    section.done()
    with section.naming():
        return Board(**values)
