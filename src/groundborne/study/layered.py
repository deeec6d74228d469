"""Floors and ceilings of rooms solved together with column lines and their mounts.

A layer loads the slab it stands on or hangs from, and the slab loads the columns: below and about
the resonances of both, base and room isolation do not add up. Here the line is worked out with the
layer on its slab, mode by mode, and what it changes is taken against the same line without.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import xarray as xr

from groundborne.citation import Citation
from groundborne.isolation.rooms.surface import beside_the_path
from groundborne.levels import stamp_change
from groundborne.path import MID_SPAN, SURFACE, End, PathElement
from groundborne.structure import BareSlab, ColumnLine, EdgeSupportedSlab, FloatingFloor
from groundborne.study.frame import Frame
from groundborne.study.line_change import FloorResponse, LineChange

if TYPE_CHECKING:
    from groundborne.isolation import Mount
    from groundborne.isolation.rooms.sprung_surface import SprungSurface

COUPLED = Citation(
    key="layer-on-a-column-line",
    author="groundborne",
    title="floating floor or hung ceiling on the slab of its column line, mounts and soil below",
    mark="derived",
    status="transcribed",
)
LAYERS = ("floor", "ceiling")
"""Surface groups whose layers load the slabs of a line."""
MIDDLE = "mid_span"


@dataclass(frozen=True, eq=False)
class SolvedTogether:
    """What a measure changes at one surface, or at mid-span, with line and mounts below it.

    Parameters
    ----------
    change : LineChange
        By the line with the layer over the line without.
    alone : PathElement, optional
        The same measure on its slab with the columns held: its range, its sources and the largest
        loss it is credited with. None for surfaces without a layer of their own.
    """

    change: LineChange
    alone: PathElement | None = None

    @property
    def quantity_in(self) -> End:
        """As the change."""
        return self.change.quantity_in

    @property
    def quantity_out(self) -> End:
        """As the change."""
        return self.change.quantity_out

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of measure and line."""
        own = () if self.alone is None else self.alone.citations
        return tuple(dict.fromkeys((COUPLED, *own, *self.change.citations)))

    def level_change(self, frequency: xr.DataArray) -> xr.DataArray:
        """With the way beside the measure that limits it [dB]."""
        change = self.change.level_change(frequency)
        largest = getattr(self.alone, "largest_loss", None)
        held = change if largest is None else beside_the_path(change, largest_loss=largest)
        return stamp_change(held, long_name="layer on its line", citations=self.citations)

    def valid(self, frequency: xr.DataArray) -> xr.DataArray:
        """Where the measure is."""
        if self.alone is None:
            return xr.ones_like(frequency, dtype=bool)
        return self.alone.valid(frequency)


def carries(frame: Frame, floor: str) -> bool:
    """Whether the slab of a floor can take a layer: a bare one whose motion the rooms follow."""
    slabs = dict(zip(frame.line.floors, frame.line.slabs, strict=True))
    slab = slabs.get(floor)
    bare = isinstance(slab, BareSlab) and slab.floating_floor is None
    return frame.moves_slabs and bare


def solved_together(
    frame: Frame,
    mount: Mount | None,
    *,
    parts: Mapping[str, SprungSurface],
    alone: Mapping[str, PathElement],
    floors: Mapping[str, str],
) -> dict[str, SolvedTogether]:
    """What layers on one or two slabs of a line change, for rooms on the same floors.

    Parameters
    ----------
    frame : Frame
        Column lines.
    mount : Mount or None
        Under them.
    parts : mapping of str to SprungSurface
        Layers by surface group, of :data:`LAYERS`.
    alone : mapping of str to PathElement
        Each as a treatment by itself.
    floors : mapping of str to str
        Floor of the slab of each group.

    Returns
    -------
    dict of str to SolvedTogether
        By surface group, those without a layer too: they move with the columns, which the layers
        load; and ``mid_span`` of the floor.
    """
    bare = frame.as_built if mount is None else frame.on_mounts(mount)
    layers = {floors[group]: part for group, part in parts.items()}
    loaded = partial(_loaded, frame, mount, layers)
    here = floors["floor"]

    def change(place: str, floor: str, end: End) -> LineChange:
        def over_bare(found: FloorResponse) -> xr.DataArray:
            before = getattr(found, place).sel(floor=floor, drop=True)
            after = getattr(loaded(found.frequency), place).sel(floor=floor, drop=True)
            ratio: xr.DataArray = after / before
            return ratio

        return LineChange.of(over_bare, bare, quantity_in=end, quantity_out=end)

    found = {
        group: SolvedTogether(change("surface", floors[group], SURFACE), alone.get(group))
        for group in LAYERS
    }
    found["walls"] = SolvedTogether(change("slab", here, SURFACE))  # joined to it
    found[MIDDLE] = SolvedTogether(change("mid_panel", here, MID_SPAN), alone.get("floor"))
    return found


def _loaded(
    frame: Frame,
    mount: Mount | None,
    layers: Mapping[str, SprungSurface],
    frequency: xr.DataArray,
) -> FloorResponse:
    """The response with layers on their slabs, worked out once for the same objects."""

    def response() -> FloorResponse:
        line = frame.line if mount is None else frame.isolated_line(mount)
        for floor, part in layers.items():
            line = with_layer(line, floor, part.layer())
        found = FloorResponse.of(
            line, frequency, on_floating_floor=True, other_slabs=frame.other_slabs
        )
        if mount is None:
            return found
        # What arrives beside the mounts finds the layers as they are without mounts.
        return frame.with_bypass(found, _loaded(frame, None, layers, frequency), mount)

    labels = tuple(frequency["frequency"].values.tolist())
    return frame.kept.once(response, "layered", labels, mount, *layers, *layers.values())


def with_layer(line: ColumnLine, floor: str, layer: FloatingFloor) -> ColumnLine:
    """The same line with a layer on, or under, the slab of one floor.

    On slabs that stand on their edges the layer is limp: its edges do not follow theirs.
    """

    def loaded(slab: Any) -> Any:
        on = layer.limp() if isinstance(slab, EdgeSupportedSlab) else layer
        return replace(slab, floating_floor=on)

    if floor == line.base_floor and line.base_slab is not None:
        return replace(line, base_slab=loaded(line.base_slab))
    storeys = tuple(
        replace(s, slab=loaded(s.slab)) if s.floor == floor else s for s in line.storeys
    )
    return replace(line, storeys=storeys)


def floor_of(frame: Frame, group: str, room: str) -> str:
    """Floor of the slab that carries the floor of a room, or from which its ceiling hangs."""
    floor = frame.floor_of_room if group == "floor" else frame.ceiling_floor
    return str(floor.sel(room=room).item())
