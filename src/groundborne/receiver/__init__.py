"""From moving surfaces to the sound in the room, and from floors to equipment on them."""

from groundborne.receiver.equipment import Equipment
from groundborne.receiver.modal_field import (
    ModalField,
    piston_mean_square,
    schroeder_frequency,
)
from groundborne.receiver.positions import in_corner, position_standard_deviation, prescribed
from groundborne.receiver.radiation import (
    PistonRadiation,
    RadiatingPlate,
    Radiation,
    critical_frequency,
    forced_radiation_efficiency,
    piston_radiation_efficiency,
    radiation_efficiency,
)
from groundborne.receiver.relations import RELATIONS, FixedOffset, relation
from groundborne.receiver.room import Room
from groundborne.receiver.room_sum import RoomSound, SurfaceMean, TreatedSurfaces
from groundborne.receiver.surface import PISTON_UP_TO, SURFACE_MEAN, Surface, in_field

__all__ = [
    "PISTON_UP_TO",
    "RELATIONS",
    "SURFACE_MEAN",
    "Equipment",
    "FixedOffset",
    "ModalField",
    "PistonRadiation",
    "RadiatingPlate",
    "Radiation",
    "Room",
    "RoomSound",
    "Surface",
    "SurfaceMean",
    "TreatedSurfaces",
    "critical_frequency",
    "forced_radiation_efficiency",
    "in_corner",
    "in_field",
    "piston_mean_square",
    "piston_radiation_efficiency",
    "position_standard_deviation",
    "prescribed",
    "radiation_efficiency",
    "relation",
    "schroeder_frequency",
]


def __dir__() -> list[str]:
    return list(__all__)
