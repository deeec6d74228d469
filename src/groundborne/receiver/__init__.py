"""From moving surfaces to the sound in the room, and from floors to equipment on them."""

from groundborne.receiver.equipment import Equipment
from groundborne.receiver.radiation import (
    RadiatingPlate,
    Radiation,
    critical_frequency,
    forced_radiation_efficiency,
    radiation_efficiency,
)
from groundborne.receiver.relations import RELATIONS, FixedOffset, relation
from groundborne.receiver.room import Room, RoomSound, Surface, SurfaceMean, TreatedSurfaces

__all__ = [
    "RELATIONS",
    "Equipment",
    "FixedOffset",
    "RadiatingPlate",
    "Radiation",
    "Room",
    "RoomSound",
    "Surface",
    "SurfaceMean",
    "TreatedSurfaces",
    "critical_frequency",
    "forced_radiation_efficiency",
    "radiation_efficiency",
    "relation",
]


def __dir__() -> list[str]:
    return list(__all__)
