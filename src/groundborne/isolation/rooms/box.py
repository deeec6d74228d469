"""A box in a room: floor, walls and ceiling that each have an insertion loss of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, positive
from groundborne.citation import Citation
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.structure import BareSlab

if TYPE_CHECKING:
    from groundborne.isolation.rooms.sprung_surface import SprungSurface
    from groundborne.path import PathElement

GROUPS = ("floor", "walls", "ceiling")
"""What a box may treat."""

CAUTION = (
    "Floating floors, hung ceilings and inner walls load the slab that carries them and must not "
    "fall: slab, fixings, fire and stability are for the licensed structural engineer, and local "
    "codes govern. A rigid contact can undo the isolation of the whole surface."
)
"""The usual caution on rooms in rooms."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Box:
    """Constructions on the surfaces of a room; a surface that is left out radiates as before.

    Parameters
    ----------
    floor, walls, ceiling : SprungSurface, optional
        A :class:`JackUpFloor` or :class:`LightFloor`, an :class:`InnerWall`, a
        :class:`HungCeiling`; at least one.

    Raises
    ------
    ValueError
        No construction, or something else in its place.

    Notes
    -----
    The constructions are taken one by one: an inner wall that stands on the floating floor moves
    with it as well, and the air in the room couples them all at the lowest frequencies. What the
    surfaces add up to in the room is the sum over radiating surfaces
    (:class:`~groundborne.receiver.TreatedSurfaces`): with walls and ceiling untreated a floating
    floor gains a decibel or two, however good it is.

    References
    ----------
    As of the constructions.

    Examples
    --------
    >>> from groundborne.isolation import HungCeiling, JackUpFloor
    >>> floor = JackUpFloor(thickness=0.15, density=2400.0, youngs_modulus=30e9,
    ...                     mount_stiffness=0.6e6, mount_loss_factor=0.1, spacing_x=1.5,
    ...                     spacing_y=1.5, air_gap=0.2, air_state="filled")
    >>> ceiling = HungCeiling(board_mass=45.0, frame_mass=5.0, spacing_x=1.2, spacing_y=0.9,
    ...                       hanger_deflection=0.025, loss_factor=0.05, cavity_depth=0.4,
    ...                       air_state="filled", board_thickness=0.05)
    >>> box = Box(floor=floor, ceiling=ceiling)
    >>> {name: round(float(f), 1) for name, f in box.natural_frequencies.items()}
    {'floor': 7.4, 'ceiling': 11.8}
    >>> length, width, height = box.clear_size(length=6.0, width=5.0, height=3.2)
    >>> round(height, 2), box.left_out
    (2.4, ('walls',))
    """

    floor: SprungSurface | None = None
    walls: SprungSurface | None = None
    ceiling: SprungSurface | None = None

    def __post_init__(self) -> None:
        if not self.parts:
            raise ValueError("Box: there is no construction; give floor, walls or ceiling")

    @property
    def parts(self) -> dict[str, SprungSurface]:
        """Constructions by surface group."""
        found = {group: getattr(self, group) for group in GROUPS}
        return {group: part for group, part in found.items() if part is not None}

    @property
    def left_out(self) -> tuple[str, ...]:
        """Surface groups that radiate as before."""
        return tuple(group for group in GROUPS if getattr(self, group) is None)

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of all constructions."""
        return tuple(dict.fromkeys(c for part in self.parts.values() for c in part.citations))

    @property
    def natural_frequencies(self) -> dict[str, Numeric]:
        """Of each construction on a base that does not move, with its air [Hz]."""
        return {group: part.natural_frequency for group, part in self.parts.items()}

    @property
    def build_ups(self) -> dict[str, Numeric]:
        """Depth each construction takes, a wall on each side [m]."""
        return {group: part.build_up for group, part in self.parts.items()}

    def clear_size(
        self, *, length: Numeric, width: Numeric, height: Numeric
    ) -> tuple[Numeric, Numeric, Numeric]:
        """Length, width and height that are left inside [m].

        Parameters
        ----------
        length, width, height : float or DataArray
            Of the room as built [m], above 0.

        Raises
        ------
        ValueError
            Nothing is left.
        """
        where = "Box.clear_size"
        for name, size in (("length", length), ("width", width), ("height", height)):
            positive(where, name, size, "m")
        deep = self.build_ups
        wall, up = 2 * deep.get("walls", 0.0), deep.get("floor", 0.0) + deep.get("ceiling", 0.0)
        left = (length - wall, width - wall, height - up)
        for name, size in zip(("length", "width", "height"), left, strict=True):
            if np.any(np.asarray(size) <= 0):
                raise ValueError(
                    f"{where}: no {name} is left inside; the constructions are deeper than the room"
                )
        return left

    def fits(self, *, limits: Mapping[str, Numeric]) -> dict[str, Numeric]:
        """Depth that is left over, by surface group [m].

        Parameters
        ----------
        limits : mapping of str to float or DataArray
            Largest depth there is room for, by surface group [m], above 0; a group that is left
            out is not checked.

        Raises
        ------
        ValueError
            A construction does not fit, or an unknown surface group.
        """
        for group in limits:
            known("Box.fits", "surface", group, GROUPS)
        return {
            group: part.fits(limit=limits[group])
            for group, part in self.parts.items()
            if group in limits
        }

    def treatments(
        self,
        *,
        floor_slab: BareSlab | None = None,
        ceiling_slab: BareSlab | None = None,
        largest_loss: Numeric = SINGLE_STAGE_LIMIT,
    ) -> dict[str, PathElement]:
        """Path elements by surface group.

        Parameters
        ----------
        floor_slab, ceiling_slab : BareSlab, optional
            The slabs under and over the room; with them floor and ceiling load every mode of the
            slab, without them the slab is taken as heavy and stiff.
        largest_loss : float or DataArray
            Most each may give in any band [dB].
        """
        slabs = {"floor": floor_slab, "ceiling": ceiling_slab}
        return {
            group: part.treatment(slab=slabs.get(group), largest_loss=largest_loss)
            for group, part in self.parts.items()
        }
