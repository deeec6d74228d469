"""The building and the soil as mobilities."""

import importlib
from typing import TYPE_CHECKING, Any

from groundborne.structure.column_line import ColumnLine
from groundborne.structure.element import Mobility, RigidMass, SemiInfiniteRod, SpringFoundation
from groundborne.structure.floating import FloatingFloor
from groundborne.structure.footing import DiscFooting, RectangularFooting, gazetas_stiffness
from groundborne.structure.plate import (
    InfiniteBeam,
    InfinitePlate,
    plate_bending_stiffness,
    simply_supported_frequency,
)
from groundborne.structure.shared import SharedFoundation
from groundborne.structure.slab import EdgeSupportedSlab, FlatSlab, Slab
from groundborne.structure.storey import IsolationPlane, Storey

if TYPE_CHECKING:
    from groundborne.structure.pile import Pile, PileGroup
    from groundborne.structure.rigid_body import RigidBody
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

# Loaded when first asked for: a prediction needs none of them.
_LATER = {
    "pile": (
        "Pile",
        "PileGroup",
    ),
    "rigid_body": ("RigidBody",),
    "supports": ("Supports",),
}
_MODULE_OF = {name: module for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    if name in _MODULE_OF:
        return getattr(importlib.import_module(f"groundborne.structure.{_MODULE_OF[name]}"), name)
    raise AttributeError(f"module 'groundborne.structure' has no attribute {name!r}")
