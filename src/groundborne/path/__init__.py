"""The path from source to room as an ordered row of level changes.

Every step is a :class:`PathElement`: it says what it takes, what it gives, and the level change
between them in dB (positive raises the level). A :class:`TransmissionPath` refuses elements whose
ends do not meet, and its level is the source level plus the sum of the level changes, exactly.
"""

from groundborne.path.chain import TransmissionPath, total_change
from groundborne.path.element import (
    GivenChange,
    PathElement,
    Unchanged,
    Where,
    valid_between,
)
from groundborne.path.ends import (
    COLUMN,
    EQUIPMENT,
    FLOOR_AVERAGE,
    FOUNDATION,
    FREE_FOUNDATION,
    GROUND,
    MID_SPAN,
    ROOM,
    SURFACE,
    SURFACES,
    End,
)

__all__ = [
    "COLUMN",
    "EQUIPMENT",
    "FLOOR_AVERAGE",
    "FOUNDATION",
    "FREE_FOUNDATION",
    "GROUND",
    "MID_SPAN",
    "ROOM",
    "SURFACE",
    "SURFACES",
    "End",
    "GivenChange",
    "PathElement",
    "TransmissionPath",
    "Unchanged",
    "Where",
    "total_change",
    "valid_between",
]


def __dir__() -> list[str]:
    return list(__all__)
