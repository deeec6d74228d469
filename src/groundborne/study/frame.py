"""A building of column lines: what reaches each floor with and without mounts."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, StudyError
from groundborne.isolation import Crossing, IdealIsolation, Mount
from groundborne.levels import decibel, energy
from groundborne.path import (
    COLUMN,
    SURFACES,
    End,
    TransmissionPath,
)
from groundborne.path.answers import Kept
from groundborne.receiver import Surface, SurfaceMean
from groundborne.structure import (
    ColumnLine,
    IsolationPlane,
    column_mean,
)
from groundborne.study.bypass import NO_BYPASS, Bypass
from groundborne.study.line_change import (
    FloorResponse,
    alike_in,
    following,
)
from groundborne.study.masses import require_one_mass
from groundborne.study.plane import Surfaces, base_changes, with_crossings
from groundborne.study.room_lines import RoomLines


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Frame(RoomLines):
    """Column lines under all rooms of a building, and the plane at which they can be cut.

    Parameters
    ----------
    line, frequency, floor_of_room, ceiling_floor, moves_slabs, other_slabs, hears, measured
        As of :class:`~groundborne.study.room_lines.RoomLines`.
    floor : str, optional
        The lowest floor above the mounts, whose slab rests on them.
    mass : DataArray or float
        Mass the mounts of each column carry under the quasi-permanent load [kg]; needed where
        `floor` is given. Mounts are tuned on it; in the model they carry :attr:`moving_mass`.
    crossings : tuple of Crossing
        What is listed to cross the isolation plane beside the mounts.
    bypass : Bypass
        What is counted beside both.

    Raises
    ------
    StudyError
        Loads and lines describe buildings of another mass: in total more than 25 % apart, or at a
        column more than 50 %.
    """

    floor: str = ""
    mass: xr.DataArray | float = 0.0
    crossings: tuple[Crossing, ...] = ()
    bypass: Bypass = field(default_factory=Bypass)

    def __post_init__(self) -> None:
        if self.floor:
            require_one_mass("Frame", carried=self.mass, moving=self.moving_mass)
        for crossing in self.crossings:
            crossing.shares(self.column_weights)  # refuses columns that are not there

    @cached_property
    def moving_mass(self) -> Numeric:
        """Slabs and columns of each line above the mounts [kg]; 0 without a plane."""
        return self.line.mass_from(self.floor) if self.floor else 0.0

    @property
    def words(self) -> str:
        """How base isolation is predicted."""
        return (
            "Predicted: insertion loss at the columns of the floors above the mounts, energy mean "
            "over floors and over columns by the area they carry, from column lines with their "
            "slabs on the soil."
        )

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
        """Crossings that are listed, and those that nobody listed; worked out once."""

        def both() -> tuple[Crossing, ...]:
            return (*self.crossings, *self.bypass.unlisted(mount, self.column_weights))

        return self.kept.once(both, "beside", mount)

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
        isolated, before = (
            self._above_mounts(found.column, frequency)
            for found in (self.on_mounts(mount), self.as_built)
        )
        over = [d for d in ("floor", "column") if d in isolated.dims]
        each = decibel(isolated / before)
        power = energy(-line.power_insertion_loss(frequency))
        ideal = energy(IdealIsolation(mount, self.moving_mass).level_change(frequency))
        return base_changes(
            self.base_change(mount, frequency),
            self._mean_change(self._on_mounts_alone(mount), frequency),
            each.min(over, skipna=False),
            each.max(over, skipna=False),
            decibel(column_mean(power, weights=weights)),
            decibel(column_mean(ideal, weights=weights)),
        )

    def base_change(self, mount: Mount, frequency: Frequency) -> xr.DataArray:
        """The mean of :meth:`changes` alone [dB]."""
        return self._mean_change(self.on_mounts(mount).column, frequency)

    def _on_mounts_alone(self, mount: Mount) -> xr.DataArray:
        """Mean squares at the columns on mounts, without what passes beside them."""
        line = self.mounts_alone.isolated_line(mount)
        found = line.floor_mean_squares(
            self.frequency, places=("column",), other_slabs=self.other_slabs
        )
        return found["column"]

    def _mean_change(self, columns: xr.DataArray, frequency: Frequency) -> xr.DataArray:
        """Of mean squares at the columns over those as built, above the mounts [dB]."""
        after, without = (
            column_mean(
                self._above_mounts(x, frequency).mean("floor", skipna=False),
                weights=self.column_weights,
            )
            for x in (columns, self.as_built.column)
        )
        return decibel(after / without)

    def _above_mounts(self, columns: xr.DataArray, frequency: Frequency) -> xr.DataArray:
        """Mean squares at the columns of the floors above the mounts."""
        above = list(self.line.floors)[list(self.line.floors).index(self.floor) :]
        return columns.sel({"floor": above, "frequency": frequency["frequency"].values})


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
