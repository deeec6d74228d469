"""What path elements take and give: quantities at places."""

from __future__ import annotations

from dataclasses import dataclass

from groundborne._arguments import checked


@checked
@dataclass(frozen=True)
class End:
    """What a path element takes or gives: a quantity at a place.

    Parameters
    ----------
    quantity : str
        As in ``levels.REFERENCES``.
    location : str
        The place, worded so that it can follow the quantity.

    Examples
    --------
    >>> str(GROUND)
    'velocity of the ground'
    """

    quantity: str
    location: str

    def __str__(self) -> str:
        return f"{self.quantity} {self.location}"


GROUND = End("velocity", "of the ground")
FREE_FOUNDATION = End("velocity", "of the foundation, free of the building")
"""What drives a column line, which adds soil and building itself."""
FOUNDATION = End("velocity", "of the foundation")
"""Under the building, whose reaction on the soil it holds; published coupling losses lead to it."""
COLUMN = End("velocity", "of the columns at the floor")
MID_SPAN = End("velocity", "of the floor at mid-span")
FLOOR_AVERAGE = End("velocity", "of the floor, surface average")
SURFACE = End("velocity", "of one surface of the room")
SURFACES = End("velocity", "of the room surfaces, radiation-weighted mean")
EQUIPMENT = End("velocity", "of the equipment")
ROOM = End("sound pressure", "in the room, room average")
