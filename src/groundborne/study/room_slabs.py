"""Slabs of ``[slabs]`` under and over rooms: which they are, and how they radiate."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from groundborne._checks import Numeric
from groundborne.receiver import critical_frequency
from groundborne.structure import EdgeSupportedSlab, FlatSlab, OneWaySlab, Slab
from groundborne.study.given import Given

_SLABS = {"flat": FlatSlab, "on edges": EdgeSupportedSlab, "one way": OneWaySlab}


class RoomSlabs(NamedTuple):
    """Slab under and over each room, and those that differ from the slab of their floor.

    Parameters
    ----------
    floor_of_room, ceiling_floor : DataArray
        On ``room``: the floor of the slab, or a name of `others`.
    others : mapping of str to (str, Slab)
        Slabs that rooms name, each with the floor whose columns move it.
    """

    floor_of_room: xr.DataArray
    ceiling_floor: xr.DataArray
    others: dict[str, tuple[str, Slab]]

    @classmethod
    def of(cls, given: Mapping[str, Given], rooms: xr.Dataset) -> RoomSlabs:
        """Those that rooms name, of the table ``[slabs]``.

        Parameters
        ----------
        given : mapping of str to Given
            Kinds of slabs by name.
        rooms : Dataset
            With ``slab`` and ``ceiling_slab`` where rooms name any.
        """
        kinds: dict[str, Slab] = {}
        for name, one in given.items():
            with one.naming():
                kinds[name] = _SLABS[one["model"]](**one.arguments())
        others: dict[str, tuple[str, Slab]] = {}
        sides = []
        for floor, column in (("floor_of_room", "slab"), ("ceiling_floor", "ceiling_slab")):
            names = rooms[floor].reset_coords(drop=True)
            labels = names.values.astype(str).tolist()
            for at, kind in enumerate(rooms[column].values.tolist() if column in rooms else []):
                if kind:
                    label = f"{labels[at]}, {kind}"
                    others[label] = (labels[at], kinds[kind])
                    labels[at] = label
            sides.append(names.copy(data=np.array(labels)))
        under, over = sides
        return cls(under, over, others)

    def radiating(self, side: str, of_storeys: Numeric) -> Numeric:
        """Critical frequency of the slab of each room [Hz].

        A slab that spans one way has no thickness of its own: the one stated for its floor is that
        of the plate that radiates between its ribs or joists.

        Parameters
        ----------
        side : str
            ``floor_of_room`` or ``ceiling_floor``.
        of_storeys : float or DataArray
            That of the slabs of the levels [Hz], where rooms name no other.
        """
        named: xr.DataArray = getattr(self, side)
        found = of_storeys
        for label, (_, slab) in self.others.items():
            if label in named.values and not isinstance(slab, OneWaySlab):
                found = xr.where(named == label, _critical(slab), found)
        return found


def _critical(slab: Any) -> Numeric:
    """Critical frequency of a bare plate [Hz]; what rests on it is not in it, as of storeys."""
    speed = (slab.youngs_modulus / (slab.density * (1 - slab.poisson**2))) ** 0.5
    return critical_frequency(longitudinal_speed=speed, thickness=slab.thickness)
