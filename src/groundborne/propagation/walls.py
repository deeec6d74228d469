"""Walls of a room: how much they move at right angles to themselves when the floor does."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, finite, not_negative
from groundborne.bands import exact
from groundborne.citation import Citation
from groundborne.levels import decibel, stamp_change
from groundborne.path import FLOOR_AVERAGE, End
from groundborne.structure.junction import (
    JUNCTION_BALANCE,
    PINNED_JUNCTION,
    PinnedJunction,
    velocity_by_junction,
)

WALL_PRACTICE = Citation(
    key="walls-below-floor",
    author="common practice",
    title="walls 10 dB below the surface average of the floor, between 5 and 15 dB",
    mark="common practice",
    status="practice",
)

WALL_CHANGE = -10.0
"""Surface average of a wall over that of the floor [dB]."""
WALL_CHANGE_RANGE = (-15.0, -5.0)
"""[dB]."""
WALLS_FACING = Citation(
    key="walls-facing-horizontal-motion",
    author="groundborne",
    title="walls of a storey follow its horizontal motion as a whole; half of them face it, of "
    "rooms with walls in two directions",
    mark="derived",
    status="assumed",
)
FACING_SHARE = 0.5
"""Share of the walls of a room that face a horizontal motion [-]: of walls in two directions at
right angles half do, whichever way it goes."""
WALL_STANDARD_DEVIATION = 4.0
"""Of the change, for one building [dB]."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class WallsBelowFloor:
    """Walls that move by a fixed amount less than the floor of the room.

    A wall that a column moves along its own plane makes no sound. What it does at right angles to
    itself comes through its junctions with floor and ceiling, so it follows the floor and not the
    columns. Walls and floor are not correlated: their powers add.

    Parameters
    ----------
    change : float or DataArray
        Level of the wall over that of the floor, both surface averages [dB]; between −15 and −5
        in most buildings, with a standard deviation of 4 dB.

    Notes
    -----
    Put it behind the step from the columns to the floor, as a path of two. Measured levels of walls
    take its place. The horizontal motion of the storey is not in it: it is a motion of its own
    (`sideways` of :class:`~groundborne.receiver.Surface`).

    References
    ----------
    Common practice; :func:`~groundborne.structure.velocity_by_junction` gives −6 to −12 dB between
    31.5 and 125 Hz for walls of 180 mm on a slab of 250 mm.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.path import TransmissionPath
    >>> from groundborne.propagation import FixedAmplification
    >>> walls = TransmissionPath(floor=FixedAmplification(gain=6.0), walls=WallsBelowFloor())
    >>> walls.level_change(third_octaves(63, 63)).item()
    -4.0
    """

    change: Numeric = WALL_CHANGE

    def __post_init__(self) -> None:
        finite("WallsBelowFloor", "change", self.change)

    @property
    def quantity_in(self) -> End:
        """Surface average of the floor."""
        return FLOOR_AVERAGE

    @property
    def quantity_out(self) -> End:
        """Surface average of the wall."""
        return FLOOR_AVERAGE

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Common practice."""
        return (WALL_PRACTICE,)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """`change` at every band [dB]."""
        change = xr.zeros_like(frequency, dtype=float) + self.change
        return stamp_change(change, long_name="walls", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere: the spread is in the standard deviation."""
        return xr.ones_like(frequency, dtype=bool)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class WallsByJunction:
    """Walls driven through their junction with the floor, by power balance.

    Parameters
    ----------
    junction : PinnedJunction
        The floor first.
    plate : int
        Which plate of the junction the wall is, from 1.
    length : float or DataArray
        Of the junction [m]; of those with floor and ceiling together where both move alike.
    floor_area, wall_area : float or DataArray
        [m²].
    loss_factor : float or DataArray
        Total loss factor of the wall, its junctions included [-], above 0.
    from_frequency : float or DataArray
        First resonance of the wall [Hz]: below it the wall has no modes and bands are marked.

    References
    ----------
    :func:`~groundborne.structure.velocity_by_junction`.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.structure import JunctionPlate
    >>> floor = JunctionPlate(bending_stiffness=4.07e7, mass_per_area=600.0)
    >>> wall = JunctionPlate(bending_stiffness=1.52e7, mass_per_area=432.0)
    >>> cross = PinnedJunction(plates=(floor, floor, wall, wall))
    >>> walls = WallsByJunction(junction=cross, plate=2, length=5.0, floor_area=20.0,
    ...                         wall_area=15.0, loss_factor=0.2, from_frequency=33.0)
    >>> walls.level_change(third_octaves(63, 63)).round(1).item()
    -10.5
    """

    junction: PinnedJunction
    plate: int
    length: Numeric
    floor_area: Numeric
    wall_area: Numeric
    loss_factor: Numeric
    from_frequency: Numeric = 0.0

    def __post_init__(self) -> None:
        not_negative("WallsByJunction", "from_frequency", self.from_frequency, "Hz")
        self._ratio(xr.DataArray([100.0], dims="frequency"))  # what is refused is refused here

    @property
    def quantity_in(self) -> End:
        """Surface average of the floor."""
        return FLOOR_AVERAGE

    @property
    def quantity_out(self) -> End:
        """Surface average of the wall."""
        return FLOOR_AVERAGE

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of junction and balance."""
        return (PINNED_JUNCTION, JUNCTION_BALANCE)

    def _ratio(self, frequency: xr.DataArray) -> xr.DataArray:
        return velocity_by_junction(
            frequency,
            junction=self.junction,
            plate=self.plate,
            length=self.length,
            area=self.floor_area,
            receiving_area=self.wall_area,
            loss_factor=self.loss_factor,
        )

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Power balance at the centre of each band [dB]."""
        change = decibel(self._ratio(exact(frequency)))
        return stamp_change(change, long_name="walls", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True from the first resonance of the wall upwards."""
        inside: xr.DataArray = frequency >= self.from_frequency
        return inside
