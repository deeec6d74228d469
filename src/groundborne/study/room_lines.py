"""Column lines under rooms: steps from the foundation to the columns and slabs they hear."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Words, checked
from groundborne._checks import Numeric, StudyError, known
from groundborne.path import (
    COLUMN,
    FLOOR_AVERAGE,
    FOUNDATION,
    FREE_FOUNDATION,
    MID_SPAN,
    End,
    TransmissionPath,
)
from groundborne.path.columns import weighted_mean
from groundborne.receiver import SURFACE_MEAN
from groundborne.structure import BareSlab, ColumnLine, column_mean, column_weights
from groundborne.structure.tributary import AROUND
from groundborne.study.line_change import FloorResponse, LineChange, OtherSlabs
from groundborne.study.loaded_slab import slab_of_rooms


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class RoomLines:
    """Column lines under all rooms of a building as it stands.

    The level in a room is the energy mean over the columns it hears: those around it where rooms
    have places, else all, each by the area it carries. The spread between columns is kept.

    Parameters
    ----------
    line : ColumnLine
        As built. Parameters may carry ``column``; how columns move beside each other says the
        line itself (``phases``).
    frequency : DataArray
        Nominal bands of the study [Hz].
    floor_of_room, ceiling_floor : DataArray
        Level of the slab under and over each room, on ``room``.
    moves_slabs : bool
        Whether floors and ceilings follow the slabs of the line, all of them or some; else the
        path says how.
    other_slabs : mapping of str to (str, Slab)
        Slabs of other kinds than those of the line, by names of their own, each with the level
        whose columns move it; rooms may name them for a level. They do not load the line.
    hears : DataArray, optional
        Share of each column in what each room hears [-], on ``room`` and ``column``, from
        :func:`~groundborne.structure.columns_around`; without it every room hears all columns,
        by :attr:`column_weights`.
    measured : RoomLines, optional
        The building in which given transfers were measured, where an option changes it; without it
        they are those of these lines.
    """

    line: ColumnLine
    frequency: xr.DataArray
    floor_of_room: Words
    ceiling_floor: Words
    moves_slabs: bool = True
    other_slabs: OtherSlabs = field(default_factory=dict)
    hears: xr.DataArray | None = None
    measured: RoomLines | None = None

    @cached_property
    def column_weights(self) -> xr.DataArray:
        """Share of each column in the floor area carried [-], in all means over columns."""
        return column_weights(line=self.line)

    def heard(self, path: TransmissionPath) -> TransmissionPath:
        """The same path for rooms that hear columns by their shares."""
        weights = self.column_weights if self.hears is None else self.hears
        return path.hearing(weights) if "column" in weights.dims else path

    @cached_property
    def as_built(self) -> FloorResponse:
        """Response without mounts."""
        return FloorResponse.of(self.line, self.frequency, other_slabs=self.other_slabs)

    def to_columns(self, level: Words, *, loaded: bool = False) -> LineChange:
        """From the foundation to the columns at a level for each room.

        Parameters
        ----------
        level : DataArray
            On ``room``.
        loaded : bool
            Whether it starts from the foundation as measured under the standing building; the free
            velocity is then recovered from it. Else from the foundation free of the building.
        """
        start = FOUNDATION if loaded else FREE_FOUNDATION
        # What was measured on the foundation was measured under the building as it stood.
        stood = self.measured or self
        line, weights = stood.line, stood.column_weights

        def climb(response: FloorResponse) -> xr.DataArray:
            at = picked(response.column, level)
            if not loaded:
                return at
            standing = line.foundation_mean_square(response.frequency)
            return at / column_mean(standing, weights=weights)

        return self.line_change(climb, start, COLUMN, self.as_built)

    def to_foundation(self) -> LineChange:
        """From the foundation free of the building to the same under it, standing without mounts.

        What was measured from the loaded foundation upwards begins there, under the building as it
        stood then.
        """
        line = (self.measured or self).line
        return self.line_change(
            lambda found: line.foundation_mean_square(found.frequency),
            FREE_FOUNDATION,
            FOUNDATION,
            self.as_built,
        )

    def to_slab(self, level: Words) -> LineChange:
        """From the columns at a level for each room to the slab of that level."""
        return self.line_change(
            lambda found: picked(found.surface / found.column, level),
            COLUMN,
            FLOOR_AVERAGE,
            self.as_built,
        )

    def at_columns(
        self, now: FloorResponse, first: FloorResponse, level: Words, alike: xr.DataArray
    ) -> xr.DataArray:
        """What changes at the columns at a level: by column, or as rooms hear all of theirs.

        Beside a level that is the same for all columns the ratio of means is meant; the mean of
        ratios would let one quiet column decide.
        """
        each = picked(now.column / first.column, level)
        if "column" not in each.dims or not bool(alike.any()):
            return each
        mean = self.as_heard(picked(now.column, level)) / self.as_heard(picked(first.column, level))
        return mean if bool(alike.all()) else xr.where(alike, mean, each)

    def as_heard(self, values: xr.DataArray) -> xr.DataArray:
        """Mean squares of columns as each room hears them."""
        weights = self.column_weights if self.hears is None else self.hears
        return weighted_mean(values, weights) if "column" in values.dims else values

    def to_slabs(self, response: FloorResponse) -> dict[str, LineChange]:
        """From the columns at the room's floor to the slab under it and the slab over it."""
        here = self.floor_of_room
        levels = {"floor": here, "ceiling": self.ceiling_floor}

        def spread(found: FloorResponse, level: xr.DataArray) -> xr.DataArray:
            return picked(found.surface, level) / picked(found.column, here)

        return {
            surface: self.line_change(partial(spread, level=level), COLUMN, FLOOR_AVERAGE, response)
            for surface, level in levels.items()
        }

    def to_mean(
        self, level: Words, *, alike: xr.DataArray, sides: tuple[Numeric, Numeric]
    ) -> LineChange:
        """From the surface average of the slab at a level for each room to its mean velocity.

        A share, which also splits an average that was measured. `alike` tells for which rooms that
        is the same for all columns; the share is then that of the means over columns. A room of
        these `sides` that is small to the bending waves moves as one also where its bay does not.
        """

        def share(found: FloorResponse) -> xr.DataArray:
            mean, surface = (picked(x, level) for x in (found.mean, found.surface))
            least = found.rooms_as_one(level, *sides) * surface
            mean = mean.where(mean > least, least)
            each = mean / surface
            if "column" not in each.dims or not bool(alike.any()):
                return each
            heard = self.as_heard(mean) / self.as_heard(surface)
            return heard if bool(alike.all()) else xr.where(alike, heard, each)

        return self.line_change(share, FLOOR_AVERAGE, SURFACE_MEAN, self.as_built)

    def to_mid_span(self, response: FloorResponse) -> LineChange:
        """From the columns at the room's floor to mid-span of the slab under it."""
        here = self.floor_of_room
        return self.line_change(
            lambda found: picked(found.mid_panel / found.column, here), COLUMN, MID_SPAN, response
        )

    def room_slabs(self, rooms: Sequence[str] = ()) -> dict[str, BareSlab]:
        """Slabs under (``floor``) and over (``ceiling``) the rooms, for measures that load them.

        Parameters
        ----------
        rooms : sequence of str
            That get a measure; where slabs are of several kinds, theirs must be one.

        Returns
        -------
        dict of str to BareSlab
            One interior panel, with what differs between levels on ``room``; empty where floors
            and ceilings do not follow the slabs of the line, or those are no bare slabs.
        """
        if not self.moves_slabs:
            return {}
        slabs: dict[Any, Any] = dict(zip(self.line.floors, self.line.slabs, strict=True))
        slabs |= {name: slab for name, (_, slab) in self.other_slabs.items()}
        levels = {"floor": self.floor_of_room, "ceiling": self.ceiling_floor}
        each = {surface: slab_of_rooms(slabs, level, rooms) for surface, level in levels.items()}
        return {surface: slab for surface, slab in each.items() if slab is not None}

    def line_change(
        self,
        make: Callable[[FloorResponse], xr.DataArray],
        before: End,
        after: End,
        response: FloorResponse,
    ) -> LineChange:
        """A step of these lines, with the sources of how rooms hear them."""
        heard = () if self.hears is None else (AROUND,)
        return LineChange.of(make, response, quantity_in=before, quantity_out=after, more=heard)


def picked(per_floor: xr.DataArray, level: xr.DataArray) -> xr.DataArray:
    """Values at the level of each room."""
    floors = per_floor["floor"].values.tolist()
    for name in dict.fromkeys(np.ravel(level).tolist()):
        known("Frame", "floor", name, floors, StudyError)
    return per_floor.sel(floor=level).drop_vars("floor").reset_coords(drop=True)
