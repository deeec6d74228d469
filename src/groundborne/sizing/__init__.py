"""From loads to packs that can be built, locked and released."""

from groundborne.sizing.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.movement import changed_supports, lost_supports, wind_movement
from groundborne.sizing.release import (
    ReleaseError,
    ReleaseWork,
    check_release,
    order_of_release,
)
from groundborne.sizing.stages import LockedPack, creep, stage_movement

__all__ = [
    "ColumnPlan",
    "LockedPack",
    "MovementLimits",
    "ReleaseError",
    "ReleaseWork",
    "changed_supports",
    "check_release",
    "creep",
    "lost_supports",
    "order_of_release",
    "stage_movement",
    "wind_movement",
]
