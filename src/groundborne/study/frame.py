"""A building of column lines: what reaches each floor with and without mounts."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, Words, checked
from groundborne.citation import Citation
from groundborne.isolation import IdealIsolation, Mount
from groundborne.levels import decibel, energy
from groundborne.path import (
    COLUMN,
    FLOOR_AVERAGE,
    FOUNDATION,
    MID_SPAN,
    End,
    GivenChange,
    Path,
)
from groundborne.receiver import SurfaceMean
from groundborne.structure import ColumnLine, FlatSlab, IsolationPlane
from groundborne.study.plane import Surfaces, base_changes


@dataclass(frozen=True, kw_only=True, eq=False)
class FloorResponse:
    """Mean squares over the free velocity of the ground, per floor and band [-].

    Parameters
    ----------
    column, surface, mid_panel : DataArray
        At the columns, over the slabs and at mid-panel, energy mean of all columns, dims (floor,
        frequency).
    each : DataArray
        At each column, with ``column`` where there are several.
    citations : tuple of Citation
        Sources of the lines.
    """

    column: xr.DataArray
    surface: xr.DataArray
    mid_panel: xr.DataArray
    each: xr.DataArray
    citations: tuple[Citation, ...]

    @classmethod
    def of(cls, line: ColumnLine, frequency: Frequency) -> FloorResponse:
        """Evaluate a line, or many on ``column``, in nominal bands."""
        found = line.floor_mean_squares(frequency)
        return cls(
            column=_over_columns(found["column"]),
            surface=_over_columns(found["surface"]),
            mid_panel=_over_columns(found["mid_panel"]),
            each=found["column"],
            citations=line.citations,
        )


def _over_columns(mean_square: xr.DataArray) -> xr.DataArray:
    return mean_square.mean("column") if "column" in mean_square.dims else mean_square


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """Column lines under all rooms of a building, and the plane at which they can be cut.

    The level of a floor is the energy mean over the columns; the spread between columns is kept.

    Parameters
    ----------
    line : ColumnLine
        As built. Parameters may carry ``column``; the columns of one line move in phase with
        their like.
    frequency : DataArray
        Nominal bands of the study [Hz].
    floor_of_room, ceiling_floor : DataArray
        Level of the slab under and over each room, on ``room``.
    floor : str, optional
        The lowest floor above the mounts, whose slab rests on them.
    mass : DataArray or float
        Mass the mounts of each column carry under the quasi-permanent load [kg].
    moves_slabs : bool
        Whether floor and ceiling follow the slabs of the line; else the path says how.
    """

    line: ColumnLine
    frequency: xr.DataArray
    floor_of_room: Words
    ceiling_floor: Words
    floor: str = ""
    mass: xr.DataArray | float = 0.0
    moves_slabs: bool = True

    @property
    def words(self) -> str:
        """How base isolation is predicted."""
        return (
            "Predicted: insertion loss at the columns of the floors above the mounts, energy mean "
            "over floors and columns, from column lines with their slabs on the soil."
        )

    @cached_property
    def as_built(self) -> FloorResponse:
        """Response without mounts."""
        return FloorResponse.of(self.line, self.frequency)

    @cached_property
    def _known(self) -> dict[int, tuple[Mount, FloorResponse]]:
        return {}

    def on_mounts(self, mount: Mount) -> FloorResponse:
        """Response on mounts, worked out once for each mount object."""
        # By identity, since a mount of the user's own may not be hashable; it is kept beside its
        # response so that its identity cannot pass to another.
        if id(mount) not in self._known:
            response = FloorResponse.of(self.isolated_line(mount), self.frequency)
            self._known[id(mount)] = (mount, response)
        return self._known[id(mount)][1]

    def isolated_line(self, mount: Mount) -> ColumnLine:
        """The same lines on mounts under the slab of `floor`."""
        return replace(self.line, isolation=IsolationPlane(mount=mount, under=self.floor))

    def to_columns(self, level: Words) -> GivenChange:
        """From the foundation, free of the building, to the columns at a level for each room."""
        at = _pick(self.as_built.column, level)
        return self._change(decibel(at), FOUNDATION, COLUMN, self.as_built)

    def to_slabs(self, response: FloorResponse) -> dict[str, GivenChange]:
        """From the columns at the room's floor to the slab under it and the slab over it."""
        columns = _pick(response.column, self.floor_of_room)
        found = {}
        for surface, level in (("floor", self.floor_of_room), ("ceiling", self.ceiling_floor)):
            ratio = _pick(response.surface, level) / columns
            found[surface] = self._change(decibel(ratio), COLUMN, FLOOR_AVERAGE, response)
        return found

    def to_mid_span(self, response: FloorResponse) -> GivenChange:
        """From the columns at the room's floor to mid-span of the slab under it."""
        ratio = _pick(response.mid_panel / response.column, self.floor_of_room)
        return self._change(decibel(ratio), COLUMN, MID_SPAN, response)

    def room_slabs(self) -> dict[str, FlatSlab]:
        """Slabs under (``floor``) and over (``ceiling``) the rooms, for measures that load them.

        Returns
        -------
        dict of str to FlatSlab
            One interior panel, with what differs between levels on ``room``; empty where floors
            and ceilings do not follow the slabs of the line, or those are no bare flat slabs.
        """
        slabs = dict(zip(self.line.levels, self.line.slabs, strict=True))
        found: dict[str, FlatSlab] = {}
        if not self.moves_slabs:
            return found
        for surface, level in (("floor", self.floor_of_room), ("ceiling", self.ceiling_floor)):
            here = [slabs[name] for name in level.values.tolist()]
            flat = [s for s in here if isinstance(s, FlatSlab) and s.floating_floor is None]
            if len(flat) == len(here):
                found[surface] = _on_rooms(flat, level)
        return found

    def _change(
        self, change: xr.DataArray, before: End, after: End, response: FloorResponse
    ) -> GivenChange:
        return GivenChange(
            change.drop_attrs(deep=False),
            quantity_in=before,
            quantity_out=after,
            citations=response.citations,
        )

    def isolate(
        self,
        mount: Mount,
        path: Path,
        surfaces: Surfaces | None,
        above: xr.DataArray,  # noqa: ARG002
    ) -> tuple[Path, Surfaces | None]:
        """Insert what the mounts change at the columns, and let the slabs follow.

        Rooms below the plane are in the lines like those above, so that nothing is masked: they
        may lose.
        """
        isolated = self.on_mounts(mount)
        ratio = _pick(isolated.column / self.as_built.column, self.floor_of_room)
        change = self._change(decibel(ratio), COLUMN, COLUMN, isolated)
        path = path.insert(after="storeys", isolation=change)
        if surfaces is None or not self.moves_slabs:
            return path, surfaces
        moved = self.to_slabs(isolated)
        surfaces = {n: replace(s, velocity=moved.get(n, s.velocity)) for n, s in surfaces.items()}
        return path.replace(surfaces=SurfaceMean(surfaces)), surfaces

    def changes(self, mount: Mount, frequency: Frequency) -> xr.Dataset:
        """What the mounts change at the columns of the floors above them."""
        line = self.isolated_line(mount)
        above = list(line.levels)[list(line.levels).index(self.floor) :]
        bands = {"floor": above, "frequency": frequency["frequency"].values}
        isolated, before = self.on_mounts(mount).each.sel(bands), self.as_built.each.sel(bands)
        over = [d for d in ("floor", "column") if d in isolated.dims]
        each = decibel(isolated / before)
        power = energy(-line.power_insertion_loss(frequency))
        ideal = energy(IdealIsolation(mount, self.mass).level_change(frequency))
        return base_changes(
            decibel(isolated.mean(over) / before.mean(over)),
            each.min(over),
            each.max(over),
            decibel(_over_columns(power)),
            decibel(_over_columns(ideal)),
        )


def _on_rooms(slabs: list[FlatSlab], rooms: xr.DataArray) -> FlatSlab:
    """One slab whose parameters vary with the room where they do."""
    values: dict[str, Any] = {}
    for field in fields(FlatSlab):
        each = [getattr(slab, field.name) for slab in slabs]
        alike = all(value is each[0] or np.array_equal(value, each[0]) for value in each)
        if field.name == "panel_share":
            values[field.name] = 1.0
        elif field.name == "floating_floor" or alike:
            values[field.name] = each[0]
        else:
            values[field.name] = xr.concat(
                [xr.DataArray(value) for value in each], dim=rooms["room"], coords="minimal"
            )
    return FlatSlab(**values)


def _pick(per_floor: xr.DataArray, level: xr.DataArray) -> xr.DataArray:
    """Values at the level of each room."""
    return per_floor.sel(floor=level).drop_vars("floor").reset_coords(drop=True)
