"""A building of column lines: what reaches each floor with and without mounts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, Words, checked
from groundborne._checks import Numeric, StudyError, known
from groundborne.isolation import Crossing, IdealIsolation, Mount
from groundborne.levels import decibel, energy
from groundborne.path import (
    COLUMN,
    FLOOR_AVERAGE,
    FOUNDATION,
    FREE_FOUNDATION,
    MID_SPAN,
    SURFACES,
    End,
    TransmissionPath,
)
from groundborne.path.answers import Kept
from groundborne.path.columns import weighted_mean
from groundborne.receiver import SURFACE_MEAN, Surface, SurfaceMean
from groundborne.structure import (
    BareSlab,
    ColumnLine,
    IsolationPlane,
    column_mean,
    column_weights,
)
from groundborne.structure.tributary import AROUND
from groundborne.study.bypass import NO_BYPASS, Bypass
from groundborne.study.line_change import (
    FloorResponse,
    LineChange,
    OtherSlabs,
    alike_in,
    following,
)
from groundborne.study.loaded_slab import slab_of_rooms
from groundborne.study.masses import require_one_mass
from groundborne.study.plane import Surfaces, base_changes, with_crossings


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """Column lines under all rooms of a building, and the plane at which they can be cut.

    The level in a room is the energy mean over the columns it hears: those around it where rooms
    have places, else all, each by the area it carries. The spread between columns is kept.

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
        Mass the mounts of each column carry under the quasi-permanent load [kg]; needed where
        `floor` is given. Mounts are tuned on it; in the model they carry :attr:`moving_mass`.
    moves_slabs : bool
        Whether floors and ceilings follow the slabs of the line, all of them or some; else the
        path says how.
    other_slabs : mapping of str to (str, Slab)
        Slabs of other kinds than those of the line, by names of their own, each with the level
        whose columns move it; rooms may name them for a level. They do not load the line.
    crossings : tuple of Crossing
        What is listed to cross the isolation plane beside the mounts.
    bypass : Bypass
        What is counted beside both.
    hears : DataArray, optional
        Share of each column in what each room hears [-], on ``room`` and ``column``, from
        :func:`~groundborne.structure.columns_around`; without it every room hears all columns,
        by :attr:`column_weights`.
    measured : Frame, optional
        The building in which given transfers were measured, where an option changes it; without it
        they are those of these lines.

    Raises
    ------
    StudyError
        Loads and lines describe buildings of another mass: in total more than 25 % apart, or at a
        column more than 50 %.
    """

    line: ColumnLine
    frequency: xr.DataArray
    floor_of_room: Words
    ceiling_floor: Words
    floor: str = ""
    mass: xr.DataArray | float = 0.0
    moves_slabs: bool = True
    other_slabs: OtherSlabs = field(default_factory=dict)
    crossings: tuple[Crossing, ...] = ()
    bypass: Bypass = field(default_factory=Bypass)
    hears: xr.DataArray | None = None
    measured: Frame | None = None

    def __post_init__(self) -> None:
        if self.floor:
            require_one_mass("Frame", carried=self.mass, moving=self.moving_mass)
        for crossing in self.crossings:
            crossing.shares(self.column_weights)  # refuses columns that are not there

    @cached_property
    def moving_mass(self) -> Numeric:
        """Slabs and columns of each line above the mounts [kg]; 0 without a plane."""
        return self.line.mass_from(self.floor) if self.floor else 0.0

    @cached_property
    def column_weights(self) -> xr.DataArray:
        """Share of each column in the floor area carried [-], in all means over columns."""
        return column_weights(line=self.line)

    def heard(self, path: TransmissionPath) -> TransmissionPath:
        """The same path for rooms that hear columns by their shares."""
        weights = self.column_weights if self.hears is None else self.hears
        return path.hearing(weights) if "column" in weights.dims else path

    @property
    def words(self) -> str:
        """How base isolation is predicted."""
        return (
            "Predicted: insertion loss at the columns of the floors above the mounts, energy mean "
            "over floors and over columns by the area they carry, from column lines with their "
            "slabs on the soil."
        )

    @cached_property
    def as_built(self) -> FloorResponse:
        """Response without mounts."""
        return FloorResponse.of(self.line, self.frequency, other_slabs=self.other_slabs)

    @cached_property
    def kept(self) -> Kept:
        """Responses on mounts and with layers on slabs, and paths and steps that follow them."""
        return Kept()

    def on_mounts(self, mount: Mount) -> FloorResponse:
        """Response on mounts and by what passes beside them, worked out once for each object."""
        return self.kept.once(
            lambda: self.with_bypass(self._on_springs(mount), self.as_built, mount),
            "on mounts",
            mount,
        )

    def _on_springs(self, mount: Mount) -> FloorResponse:
        """Response on mounts with crossings, without other ways."""

        def response() -> FloorResponse:
            line = self.isolated_line(mount)
            return FloorResponse.of(line, self.frequency, other_slabs=self.other_slabs)

        return self.kept.once(response, "on springs", mount)

    def with_bypass(
        self, moved: FloorResponse, built: FloorResponse, mount: Mount
    ) -> FloorResponse:
        """A response on mounts, with the energy that arrives at the floors above them otherwise.

        Parameters
        ----------
        moved, built : FloorResponse
            On mounts and without, in the same bands.
        mount : Mount
            Whose stages say how much.
        """
        if not self.bypass.of(mount):
            return moved
        floors = list(self.line.floors)
        carried = [*floors[floors.index(self.floor) :]]
        carried += [name for name, (level, _) in self.other_slabs.items() if level in carried]
        share = self.bypass.passed(mount)
        return moved.beside(
            built, share=share, floors=carried, citations=self.bypass.citations(mount)
        )

    def isolated_line(self, mount: Mount) -> ColumnLine:
        """The same lines on mounts under the slab of `floor`, with what crosses beside them."""
        plane = IsolationPlane(mount=self.crossed(mount), under=self.floor)
        return replace(self.line, isolation=plane)

    def beside(self, mount: Mount) -> tuple[Crossing, ...]:
        """Crossings that are listed, and those that nobody listed."""
        return (*self.crossings, *self.bypass.unlisted(mount, self.column_weights))

    def crossed(self, mount: Mount) -> Mount:
        """Mounts with what crosses the plane beside them."""
        return with_crossings(mount, self.beside(mount), self.column_weights)

    @cached_property
    def mounts_alone(self) -> Frame:
        """The same lines with mounts alone in the plane; as built they answer as these do."""
        alone = replace(self, crossings=(), bypass=NO_BYPASS)
        for name in ("as_built", "moving_mass", "column_weights"):  # worked out once for both
            alone.__dict__[name] = getattr(self, name)
        return alone

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

    def to_mean(self, level: Words, *, alike: xr.DataArray) -> LineChange:
        """From the surface average of the slab at a level for each room to its mean velocity.

        A share, which also splits an average that was measured. `alike` tells for which rooms that
        is the same for all columns; the share is then that of the means over columns.
        """

        def share(found: FloorResponse) -> xr.DataArray:
            mean, surface = (picked(x, level) for x in (found.mean, found.surface))
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

    def isolate(
        self,
        mount: Mount,
        path: TransmissionPath,
        surfaces: Surfaces | None,
        above: xr.DataArray,  # noqa: ARG002
    ) -> tuple[TransmissionPath, Surfaces | None]:
        """Insert what the mounts change at the columns, and let the slabs follow.

        What the lines give follows them onto the mounts. Steps that were measured or tabulated stay
        as they are without mounts, and the insertion loss of the lines, at the columns and on the
        slab, is added: a measurement of the standing building, changed by what is computed. The
        slab over a room moves with the columns of its own level. Rooms below the plane are in the
        lines like those above, so that nothing is masked: they may lose.
        """
        # Once for each mount object, whatever options on it do in rooms.
        return self.kept.once(
            lambda: self._isolated(mount, path, surfaces), "path", mount, path, surfaces
        )

    def _isolated(
        self, mount: Mount, path: TransmissionPath, surfaces: Surfaces | None
    ) -> tuple[TransmissionPath, Surfaces | None]:
        isolated = self.on_mounts(mount)
        built, here = self.as_built, self.floor_of_room
        storeys = _step(path, COLUMN)
        alike = alike_in(path.elements[storeys], here["room"])
        change = self.line_change(
            lambda found: self.at_columns(found, built.at(found.frequency), here, alike),
            COLUMN,
            COLUMN,
            isolated,
        )
        path = path.insert(after=storeys, isolation=change)
        if surfaces is None:
            return path, None
        moved = {name: _moved(surface, isolated) for name, surface in surfaces.items()}
        if all(moved[name] is surfaces[name] for name in moved):
            return path, surfaces
        surfaces = moved
        return path.replace(**{_step(path, SURFACES): SurfaceMean(surfaces)}), surfaces

    def changes(self, mount: Mount, frequency: Frequency) -> xr.Dataset:
        """What the mounts change at the columns of the floors above them."""
        line, weights = self.isolated_line(mount), self.column_weights
        isolated, before = self._above_mounts(mount, frequency)
        over = [d for d in ("floor", "column") if d in isolated.dims]
        each = decibel(isolated / before)
        power = energy(-line.power_insertion_loss(frequency))
        ideal = energy(IdealIsolation(mount, self.moving_mass).level_change(frequency))
        return base_changes(
            self.base_change(mount, frequency),
            self.mounts_alone.base_change(mount, frequency),
            each.min(over, skipna=False),
            each.max(over, skipna=False),
            decibel(column_mean(power, weights=weights)),
            decibel(column_mean(ideal, weights=weights)),
        )

    def base_change(self, mount: Mount, frequency: Frequency) -> xr.DataArray:
        """The mean of :meth:`changes` alone [dB]."""
        after, without = (
            column_mean(x.mean("floor", skipna=False), weights=self.column_weights)
            for x in self._above_mounts(mount, frequency)
        )
        return decibel(after / without)

    def _above_mounts(self, mount: Mount, frequency: Frequency) -> list[xr.DataArray]:
        """Mean squares at the columns of the floors above mounts, on them and as built."""
        above = list(self.line.floors)[list(self.line.floors).index(self.floor) :]
        bands = {"floor": above, "frequency": frequency["frequency"].values}
        return [found.column.sel(bands) for found in (self.on_mounts(mount), self.as_built)]


def _moved(surface: Surface, response: FloorResponse) -> Surface:
    """A surface whose motion follows another response of the lines; itself if nothing does."""
    ways = {"velocity": surface.velocity, "mean_velocity": surface.mean_velocity}
    new: dict[str, Any] = {
        n: following(way, response) for n, way in ways.items() if way is not None
    }
    if all(new[name] is ways[name] for name in new):
        return surface
    return replace(surface, **new)


def _step(path: TransmissionPath, end: End) -> str:
    found = path.giving(end)
    if found is None:
        raise StudyError(
            f"the path never gives the {end}, where the column lines act; its steps are "
            f"{', '.join(path.names)}"
        )
    return found


def picked(per_floor: xr.DataArray, level: xr.DataArray) -> xr.DataArray:
    """Values at the level of each room."""
    floors = per_floor["floor"].values.tolist()
    for name in np.ravel(level).tolist():
        known("Frame", "floor", name, floors, StudyError)
    return per_floor.sel(floor=level).drop_vars("floor").reset_coords(drop=True)
