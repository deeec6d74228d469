"""Room measures of a study file: by natural frequency, or by construction."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from groundborne._checks import StudyError
from groundborne.isolation import SurfaceIsolation
from groundborne.path import PathElement
from groundborne.study.given import Given
from groundborne.study.option import SURFACE_GROUPS, RoomMeasure

if TYPE_CHECKING:
    from groundborne.isolation.rooms.sprung_surface import SprungSurface
    from groundborne.structure import BareSlab

Slabs = Mapping[str, "BareSlab"]

CONSTRUCTIONS = {
    "jack-up concrete": "JackUpFloor",
    "boards on battens": "LightFloor",
    "leaf on strips": "InnerWall",
    "hung boards": "HungCeiling",
}
"""Classes of :mod:`groundborne.isolation` by the name a study file gives them."""


def measure_of(given: Given, slabs: Slabs) -> RoomMeasure:
    """One measure.

    Parameters
    ----------
    given : Given
        One table of ``[[options.rooms]]``.
    slabs : mapping of str to BareSlab
        Slabs under (``floor``) and over (``ceiling``) the rooms, on ``room``; empty where the
        study has no column lines whose slabs move, so that the file must give them.

    Returns
    -------
    RoomMeasure
        With its box, where surfaces are given by construction.

    Raises
    ------
    StudyError
        Mounts or hangers are overloaded; the slab that carries a floor or a ceiling is not known,
        or given twice.
    """
    treatments: dict[str, PathElement] = {}
    built: dict[str, SprungSurface] = {}
    for group in SURFACE_GROUPS:
        layer: Given | None = given[group]
        if layer is None:
            continue
        largest = layer["largest_loss_db"]
        with layer.naming():
            if layer["construction"] is None:
                treatments[group] = SurfaceIsolation(**layer.arguments(), largest_loss=largest)
                continue
            built[group] = part = _construction(layer)
            slab = None if group == "walls" else _slab(layer, group, slabs.get(group))
            treatments[group] = part.treatment(slab=slab, largest_loss=largest)
    box = None
    if built:
        from groundborne.isolation import Box

        box = Box(**built)
    with given.naming():
        rooms = tuple(given["rooms"])
        return RoomMeasure(rooms=rooms, treatments=treatments, name=given["measure"], box=box)


def _slab(given: Given, group: str, of_lines: BareSlab | None) -> BareSlab:
    """The slab that carries a floor or a ceiling: that of the column lines, or one of its own.

    A layer loads its slab; taken on one that never moves it, it would promise another floor.
    """
    own: Given | None = given["slab"]
    if of_lines is not None:
        if own is not None:
            raise StudyError(
                f"{given.where}: 'slab' is given, and the column lines of [structure] hold the "
                "slab of the room; leave it out"
            )
        return of_lines
    if own is None:
        side = "under the room" if group == "floor" else "over the room"
        raise StudyError(
            f"{given.where}: 'slab' is missing; a {group} by construction loads the slab {side}, "
            "which is known only where floors follow column lines ([structure]) and the rooms of a "
            "measure stand on one kind of slab. Give slab = "
            '{ on = "columns" or "edges", span_x_m, span_y_m, thickness_m, density_kg_m3, '
            "youngs_modulus_pa, poisson, loss_factor, superimposed_kg_m2 }, or, of joists, "
            '{ on = "two supports", span_x_m, span_y_m, bending_stiffness_n_m, '
            "cross_stiffness_n_m, own_mass_kg_m2, loss_factor, superimposed_kg_m2 }"
        )
    from groundborne.structure import EdgeSupportedSlab, FlatSlab, OneWaySlab

    with own.naming():
        kinds = {"columns": FlatSlab, "edges": EdgeSupportedSlab, "two supports": OneWaySlab}
        found: BareSlab = kinds[own["on"]](**own.arguments())
        return found


def _construction(given: Given) -> SprungSurface:
    import groundborne.isolation as parts

    arguments = given.arguments()
    if given["construction"] == "boards on battens":
        arguments["boards"] = tuple(_board(b) for b in given["boards"])
    found: SprungSurface = getattr(parts, CONSTRUCTIONS[given["construction"]])(**arguments)
    return found


def _board(given: Given) -> object:
    from groundborne.isolation import Board

    with given.naming():
        return Board(**given.arguments())
