"""The building and the soil as mobilities."""

from groundborne.structure.column_line import ColumnLine
from groundborne.structure.element import (
    Mobility,
    RigidMass,
    SemiInfiniteRod,
    SpringFoundation,
)
from groundborne.structure.floating import FloatingFloor
from groundborne.structure.footing import DiscFooting, RectangularFooting, gazetas_stiffness
from groundborne.structure.pile import Pile, PileGroup
from groundborne.structure.plate import (
    InfiniteBeam,
    InfinitePlate,
    plate_bending_stiffness,
    simply_supported_frequency,
)
from groundborne.structure.rigid_body import RigidBody
from groundborne.structure.shared import SharedFoundation
from groundborne.structure.slab import EdgeSupportedSlab, FlatSlab, Slab
from groundborne.structure.storey import IsolationPlane, Storey
from groundborne.structure.supports import Supports

__all__ = [
    "ColumnLine",
    "DiscFooting",
    "EdgeSupportedSlab",
    "FlatSlab",
    "FloatingFloor",
    "InfiniteBeam",
    "InfinitePlate",
    "IsolationPlane",
    "Mobility",
    "Pile",
    "PileGroup",
    "RectangularFooting",
    "RigidBody",
    "RigidMass",
    "SemiInfiniteRod",
    "SharedFoundation",
    "Slab",
    "SpringFoundation",
    "Storey",
    "Supports",
    "gazetas_stiffness",
    "plate_bending_stiffness",
    "simply_supported_frequency",
]
