"""The building and the soil as mobilities."""

from groundborne.structure.element import (
    Mobility,
    RigidMass,
    SemiInfiniteRod,
    SpringFoundation,
)
from groundborne.structure.footing import DiscFooting, RectangularFooting, gazetas_stiffness

__all__ = [
    "DiscFooting",
    "Mobility",
    "RectangularFooting",
    "RigidMass",
    "SemiInfiniteRod",
    "SpringFoundation",
    "gazetas_stiffness",
]
