"""Horizontal motion of storeys, which moves walls at right angles to themselves.

A second source beside the vertical one: the horizontal motion of the ground, which reaches a storey
by a transfer of its own. It owes nothing to columns and slabs, so that its power is added.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import xarray as xr

from groundborne import bands, levels
from groundborne._arguments import Frequency
from groundborne._checks import Numeric, StudyError, known
from groundborne.citation import Citation
from groundborne.isolation import CrossedMount, Mount
from groundborne.isolation.bypass import BYPASS
from groundborne.levels import decibel, mean_square
from groundborne.path import COLUMN, GROUND, SURFACES, End, PathElement, TransmissionPath, Where
from groundborne.path.answers import Answers
from groundborne.propagation.walls import FACING_SHARE, WALLS_FACING
from groundborne.receiver import SURFACE_MEAN, Surface, SurfaceMean
from groundborne.structure import BendingFrame
from groundborne.study.frame import Frame

SOURCE_SIDEWAYS = End("velocity", "of ground or foundation where the source is, horizontal")
STOREY_SIDEWAYS = End("velocity", "of the storey, horizontal")

LATERAL_RATIO = Citation(
    key="lateral-ratio-of-mounts",
    author="groundborne",
    title="horizontal stiffness of mounts as a stated ratio of the vertical; what crosses beside "
    "them as stiff as vertically",
    mark="derived",
    status="assumed",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class StatedLevel:
    """A level change that is stated as one number for all bands.

    Parameters
    ----------
    change : float or DataArray
        [dB].
    quantity_in, quantity_out : End
        What it leads from and to.
    citations : tuple of Citation
        Where it comes from.
    """

    change: Numeric
    quantity_in: End
    quantity_out: End
    citations: tuple[Citation, ...] = ()

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """The same at every band [dB]."""
        change = xr.zeros_like(frequency, dtype=float) + self.change
        return levels.stamp_change(change, long_name="stated level", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere."""
        return xr.ones_like(frequency, dtype=bool)


@dataclass(frozen=True, kw_only=True, eq=False)
class SidewaysMount:
    """Mounts of a plane along the ground.

    Parameters
    ----------
    mount : Mount
        As along the vertical, with what crosses beside it.
    ratio : float or DataArray
        Horizontal over vertical stiffness of the mounts alone [-].
    """

    mount: Mount
    ratio: Numeric

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the mounts."""
        return (*self.mount.citations, LATERAL_RATIO)

    @property
    def loss_factor_floor(self) -> float:
        """That of the mounts."""
        return self.mount.loss_factor_floor

    def lateral_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Of mounts by the ratio, and of what crosses as along the vertical [N/m]."""
        if not isinstance(self.mount, CrossedMount):
            return self.mount.dynamic_stiffness(frequency) * self.ratio
        own: xr.DataArray = self.mount.mount.dynamic_stiffness(frequency) * self.ratio
        return own + self.mount.beside(frequency)


@dataclass(frozen=True, kw_only=True, eq=False)
class FrameSway:
    """From the horizontal motion where the source is to that of the storey of each room.

    Parameters
    ----------
    bending : BendingFrame
        The frame.
    floor_of_room : DataArray
        Floor that each room stands on, on ``room``.
    stood : BendingFrame, optional
        The frame as it stood when the source was measured on its foundation; without it the source
        is the ground.
    built : BendingFrame, optional
        The same without mounts, where energy arrives beside them.
    beside : float or DataArray
        That energy over what arrives without mounts [-].
    above : tuple
        Floors that the mounts carry.
    """

    bending: BendingFrame
    floor_of_room: xr.DataArray
    stood: BendingFrame | None = None
    built: BendingFrame | None = None
    beside: Numeric = 0.0
    above: tuple[str | int, ...] = field(default=())

    def __post_init__(self) -> None:
        floors = [str(name) for name in self.bending.floors]
        for name in self.floor_of_room.values.tolist():
            known("frame in bending", "floor", str(name), floors, StudyError)

    @property
    def quantity_in(self) -> End:
        """Horizontal velocity where the source is."""
        return SOURCE_SIDEWAYS

    @property
    def quantity_out(self) -> End:
        """Horizontal velocity of the storey."""
        return STOREY_SIDEWAYS

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the frame and its mounts."""
        more = () if self.built is None else (BYPASS,)
        return (*self.bending.citations, *more)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Energy mean over each band [dB]."""
        moved = self._mean_square(self.bending, frequency)
        if self.built is not None:
            carried = moved["floor"].reset_coords(drop=True).isin(list(self.above))
            moved = moved + self._mean_square(self.built, frequency) * self.beside * carried
        if self.stood is not None:
            f = bands.single_frequencies(frequency, loss_factor=self.stood.loss_factor_floor)
            moved = moved / mean_square(self.stood.foundation_ratio(f), "single_frequency")
        each = moved.sel(floor=self.floor_of_room).drop_vars("floor").reset_coords(drop=True)
        return levels.stamp_change(
            decibel(each), long_name="frame in bending", citations=self.citations
        )

    def _mean_square(self, frame: BendingFrame, frequency: xr.DataArray) -> xr.DataArray:
        f = bands.single_frequencies(frequency, loss_factor=frame.loss_factor_floor)
        return mean_square(frame.velocity_ratio(f), "single_frequency")

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere; what the frame leaves out is said in its notes."""
        return xr.ones_like(frequency, dtype=bool)

    def on(self, mount: Mount, ratio: Numeric, plane: Frame) -> FrameSway:
        """The same on mounts, with what crosses and what passes beside them."""
        floors = list(self.bending.floors)
        mounts = SidewaysMount(mount=plane.crossed(mount), ratio=ratio)
        moved = replace(self, bending=self.bending.on_mounts(mounts, under=plane.floor))
        if not plane.bypass.of(mount):
            return moved
        return replace(
            moved,
            built=self.bending,
            beside=plane.bypass.passed(mount),
            above=tuple(floors[floors.index(plane.floor) :]),
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class SidewaysWalls:
    """Walls that the horizontal motion of their storey moves as a whole, over its columns.

    Parameters
    ----------
    own : TransmissionPath
        From the vertical motion of the ground, or foundation, where the source is, to the
        horizontal motion of the storey.
    climbed : tuple of PathElement
        Steps of the vertical motion from the same place to the columns at the floor, which are
        taken off again.
    facing_share : float or DataArray
        Of the walls, which faces the motion [-].
    """

    own: TransmissionPath
    climbed: tuple[PathElement, ...]
    facing_share: Numeric = FACING_SHARE

    @property
    def quantity_in(self) -> End:
        """Velocity of the columns, to which all surfaces of a room refer."""
        return COLUMN

    @property
    def quantity_out(self) -> End:
        """Mean velocity of the walls."""
        return SURFACE_MEAN

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of its own way."""
        return (*self.own.citations, WALLS_FACING)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Own way less that of the columns [dB]."""
        return self.level_change_in(Answers(frequency))

    def level_change_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`level_change`, of steps that were asked before."""
        change: Any = decibel(xr.DataArray(self.facing_share))
        for step in self.own.elements.values():
            change = change + answers.level_change(step)
        for step in self.climbed:
            change = change - answers.level_change(step)
        return levels.stamp_change(change, long_name="sideways", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """Where its own way is; that of the columns marks itself."""
        return self.own.valid(frequency)


def climbed_in(path: Mapping[str, PathElement]) -> tuple[PathElement, ...]:
    """Steps of a path from where the source was measured to the columns, but those in the ground.

    Distance and speed of trains are taken to change both motions alike.
    """
    steps = list(path.values())
    last = max((i for i, step in enumerate(steps) if step.quantity_out == COLUMN), default=-1)
    return tuple(step for step in steps[: last + 1] if step.quantity_out != GROUND)


def follow_frame(step: PathElement, mount: Mount, ratio: Numeric, plane: Frame) -> PathElement:
    """A horizontal transfer on mounts: what a frame gives follows, what was given stays."""
    if isinstance(step, FrameSway):
        return step.on(mount, ratio, plane)
    if isinstance(step, TransmissionPath):
        return step.replace(
            **{n: follow_frame(e, mount, ratio, plane) for n, e in step.elements.items()}
        )
    if isinstance(step, Where) and step.otherwise is not None:
        return replace(
            step,
            element=follow_frame(step.element, mount, ratio, plane),
            otherwise=follow_frame(step.otherwise, mount, ratio, plane),
        )
    return step


def sideways_of(surfaces: Mapping[str, Surface] | None) -> SidewaysWalls | None:
    """What moves the walls of rooms horizontally, if anything does."""
    found = (s.sideways for s in (surfaces or {}).values())
    return next((one for one in found if isinstance(one, SidewaysWalls)), None)


def sideways_on_mounts(
    path: TransmissionPath,
    surfaces: Mapping[str, Surface] | None,
    *,
    mount: Mount,
    ratio: Numeric | None,
    plane: Any,
) -> tuple[TransmissionPath, Mapping[str, Surface] | None]:
    """Walls that move horizontally, in a building on mounts.

    Parameters
    ----------
    path : TransmissionPath
        With what the mounts change along the vertical in it.
    surfaces : mapping of str to Surface or None
        Of its rooms.
    mount : Mount
        The mounts.
    ratio : float or DataArray, optional
        Horizontal over vertical stiffness of the mounts; without it, and where the transfer was
        given, the horizontal motion is that without mounts.
    plane : Plane
        Where the mounts are.
    """
    walls = sideways_of(surfaces)
    if walls is None or surfaces is None:
        return path, surfaces
    own = walls.own
    if ratio is not None and isinstance(plane, Frame):
        own = own.replace(
            **{n: follow_frame(e, mount, ratio, plane) for n, e in own.elements.items()}
        )
    moved = replace(walls, own=own, climbed=climbed_in(path.elements))
    found = {
        name: replace(surface, sideways=moved) if surface.sideways is walls else surface
        for name, surface in surfaces.items()
    }
    step = path.giving(SURFACES)
    assert step is not None  # there are surfaces
    return path.replace(**{step: SurfaceMean(found)}), found
