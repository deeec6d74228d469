"""From column loads to packs that can be built, locked and released."""

from groundborne.sizing.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.components import KINDS, Components, merge_components, read_components
from groundborne.sizing.load_table import ColumnLoads, read_loads
from groundborne.sizing.loads import CASES, PSI, SERVICE_CASES, Factors, Psi, combine, psi_factors
from groundborne.sizing.movement import changed_supports, lost_supports, wind_movement
from groundborne.sizing.pack_rules import RULES, PackRules
from groundborne.sizing.packs import Packs, choose_packs
from groundborne.sizing.release import ReleaseError, ReleaseWork, check_release, order_of_release
from groundborne.sizing.removal import Removal, adjacent_columns, removal_travel, remove_columns
from groundborne.sizing.revision import RevisionChanges, compare_revisions
from groundborne.sizing.schedule import CAUTIONS, Schedule, make_schedule
from groundborne.sizing.stages import LockedPack, creep, stage_movement

__all__ = [
    "CASES",
    "CAUTIONS",
    "KINDS",
    "PSI",
    "RULES",
    "SERVICE_CASES",
    "ColumnLoads",
    "ColumnPlan",
    "Components",
    "Factors",
    "LockedPack",
    "MovementLimits",
    "PackRules",
    "Packs",
    "Psi",
    "ReleaseError",
    "ReleaseWork",
    "Removal",
    "RevisionChanges",
    "Schedule",
    "adjacent_columns",
    "changed_supports",
    "check_release",
    "choose_packs",
    "combine",
    "compare_revisions",
    "creep",
    "lost_supports",
    "make_schedule",
    "merge_components",
    "order_of_release",
    "psi_factors",
    "read_components",
    "read_loads",
    "removal_travel",
    "remove_columns",
    "stage_movement",
    "wind_movement",
]
