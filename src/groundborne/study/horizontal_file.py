"""Horizontal motion of storeys from ``[path.horizontal]`` of a study file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from groundborne._checks import Numeric, StudyError
from groundborne.path import FOUNDATION, GROUND, End, GivenChange, PathElement, TransmissionPath
from groundborne.structure import (
    BendingFrame,
    ColumnLine,
    FrameStorey,
    LateralFoundation,
    Raft,
    SlabStrip,
)
from groundborne.study.building import Building
from groundborne.study.frame import Frame
from groundborne.study.given import Given
from groundborne.study.horizontal import (
    SOURCE_SIDEWAYS,
    STOREY_SIDEWAYS,
    FrameSway,
    SidewaysWalls,
    StatedLevel,
    climbed_in,
)
from groundborne.study.path_steps import reaching
from groundborne.study.transfers import Transfers, over_model


def horizontal_of(
    given: Given,
    building: Building,
    frame: Frame | None,
    transfers: Transfers,
    elements: Mapping[str, PathElement],
    *,
    loaded: bool,
) -> SidewaysWalls:
    """Walls that the horizontal motion of their storey moves.

    Parameters
    ----------
    given : Given
        The table ``[path.horizontal]``.
    building : Building
        Floors and rooms.
    frame : Frame or None
        Column lines, where the study has them.
    transfers : mapping of str to Cells
        Tables of the path by floor or room.
    elements : mapping of str to PathElement
        Steps of the path from the source to the columns.
    loaded : bool
        Whether the source was measured on the foundation.

    Raises
    ------
    StudyError
        Numbers that do not fit together; a frame without column lines.
    """
    cells = transfers.get("horizontal")
    if cells is not None and cells.of.label == "column":
        raise StudyError(
            f"{given.where}: the rows of {cells.file} are of columns, and floors tie columns "
            "together horizontally; give rows by floor or room"
        )
    start = FOUNDATION if loaded else GROUND
    level = _stated(given, "level_db", (start, SOURCE_SIDEWAYS))
    assert level is not None  # it has a default
    if given["model"] == "given":
        model = _stated(given, "change_db", (SOURCE_SIDEWAYS, STOREY_SIDEWAYS))
        if model is None and cells is None:
            raise StudyError(
                f"{given.where}: the model is 'given', and neither 'change_db' nor 'table' is "
                "given; one of them, or both, say how the storeys move"
            )
    elif frame is None:
        raise StudyError(
            f"{given.where}: the model 'frame in bending' takes columns and slabs of [structure], "
            "and there is none; give it, or the transfer as model 'given'"
        )
    else:
        model = _sway(given, building, frame, loaded=loaded)
    transfer = over_model(
        model, given, cells, building, of="floor_of_room", ends=(SOURCE_SIDEWAYS, STOREY_SIDEWAYS)
    )
    own = TransmissionPath(level=reaching(level, building), storey=reaching(transfer, building))
    return SidewaysWalls(own=own, climbed=climbed_in(elements), **given.arguments("facing_share"))


def _stated(given: Given, key: str, ends: tuple[End, End]) -> PathElement | None:
    """One number, or numbers by band; None where there is neither."""
    value = given[key]
    if value is None:
        return None
    told: dict[str, Any] = {
        "quantity_in": ends[0], "quantity_out": ends[1], "citations": given.citations(),
    }  # fmt: skip
    if given["frequency_hz"] is not None:
        return GivenChange(given.on_bands(key), **told)
    return StatedLevel(change=value, **told)


def _sway(given: Given, building: Building, frame: Frame, *, loaded: bool) -> FrameSway:
    with given.naming():
        stood = (frame.measured or frame).line
        return FrameSway(
            bending=frame_of(given, frame.line),
            floor_of_room=building.rooms["floor_of_room"],
            stood=frame_of(given, stood) if loaded else None,
        )


def frame_of(given: Given, line: ColumnLine) -> BendingFrame:
    """The frame that the columns and slabs of column lines make.

    Columns are square where nothing says how deep they are along the motion.

    Raises
    ------
    ValueError
        Springs and piles whose horizontal stiffness is not known.
    """
    depth: Numeric | None = given["column_depth_m"]
    turns = given["joints"] == "slabs in bending"
    storeys = []
    for storey in line.storeys:
        slab: Any = storey.slab
        along = storey.area**0.5 if depth is None else depth
        storeys.append(
            FrameStorey(
                floor=storey.floor,
                height=storey.height,
                bending_stiffness=storey.youngs_modulus * storey.area * along**2 / 12,
                mass_per_length=storey.density * storey.area,
                loss_factor=storey.loss_factor,
                floor_mass=slab.mass,
                joint=_strip(given, slab) if turns else None,
            )
        )
    return BendingFrame(storeys=tuple(storeys), foundation=_foundation(given, line))


def _strip(given: Given, slab: Any) -> SlabStrip:
    """Slab of the panels that belong to a column, as far as it turns with the joint."""
    spans = (slab.span_x, slab.span_y)
    along, across = spans if given["direction"] == "x" else spans[::-1]
    width = given["slab_width_share"] * across * slab.panel_share
    return SlabStrip(
        span=along,
        bending_stiffness=slab.youngs_modulus * width * slab.thickness**3 / 12,
        mass_per_length=slab.mass_per_area * width,
        loss_factor=slab.loss_factor,
    )


def _foundation(given: Given, line: ColumnLine) -> LateralFoundation:
    under: Any = line.foundation
    ratio = given["foundation_ratio"]
    if isinstance(under, Raft):
        share = under.panel_share * under.span_x * under.span_y / under.area
        mass, soil = under.mass_per_area * under.area, under.soil
    else:
        share, soil = under.share, under.foundation
        mass = soil.mass
        soil = replace(soil, mass=0.0)
    stated = ratio is not None
    if not stated and not hasattr(soil, "lateral_impedance"):
        raise StudyError(
            "'foundation_ratio' is missing: springs and dashpots, and piles, are given along the "
            "vertical, and nothing says how stiff they are horizontally"
        )
    if stated and hasattr(soil, "lateral_impedance"):
        raise StudyError(
            "'foundation_ratio' is of springs and dashpots or piles, and the horizontal stiffness "
            "of a footing follows from its size and soil; leave it out"
        )
    return LateralFoundation(soil=soil, mass=mass, ratio=ratio, share=share)
