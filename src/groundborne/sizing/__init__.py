"""From column loads to packs that can be built, locked and released; floors that are jacked up."""

from groundborne.loads import PSI, ColumnLoads, Psi, psi_factors, read_loads
from groundborne.sizing.correction.blunders import SurveyTolerance, judge_survey
from groundborne.sizing.correction.schedule import CorrectionError, correction_schedule
from groundborne.sizing.correction.survey import Survey, SurveyError, read_survey
from groundborne.sizing.correction.tables import correction_table, pass_table
from groundborne.sizing.jacking.floor import JackedFloor, JackLimits
from groundborne.sizing.jacking.grid import JackGrid, read_jacks
from groundborne.sizing.jacking.handover import handover_record, handover_tables
from groundborne.sizing.jacking.lift import free_travel, lift_table, plan_lift
from groundborne.sizing.jacking.rules import LiftError, LiftRules, Maturity, lifting_strength
from groundborne.sizing.jacking.tension import tension_check
from groundborne.sizing.loads.cases import CASES, CAUTIONS, SERVICE_CASES, combine
from groundborne.sizing.loads.factors import Factors
from groundborne.sizing.loads.hold_down import hold_down, hold_down_table
from groundborne.sizing.loads.revision import RevisionChanges, compare_revisions
from groundborne.sizing.lost_columns.column_loss import ColumnLoss, lose_columns
from groundborne.sizing.lost_columns.floors_above import FloorsAbove
from groundborne.sizing.lost_columns.handing_over import adjacent_columns
from groundborne.sizing.lost_columns.travel import column_loss_travel
from groundborne.sizing.movement.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.movement.lateral import LateralPlan, LateralStops
from groundborne.sizing.movement.lateral_check import check_lateral, lateral_table
from groundborne.sizing.movement.on_springs import changed_supports, lost_supports, wind_movement
from groundborne.sizing.packs.choice import Packs, chance_difference, choose_packs
from groundborne.sizing.packs.components import KINDS, Components, merge_components, read_components
from groundborne.sizing.packs.plans import PackPlans, pack_plans
from groundborne.sizing.packs.rules import RULES, PackRules
from groundborne.sizing.packs.schedule import Schedule, make_schedule
from groundborne.sizing.packs.surge import surge_cost
from groundborne.sizing.release.check import check_release
from groundborne.sizing.release.frame import ReleaseFrame, SupportLimits
from groundborne.sizing.release.loads import release_loads
from groundborne.sizing.release.order import ReleaseError, ReleaseWork, order_of_release
from groundborne.sizing.release.stages import LockedPack, creep, stage_movement
from groundborne.sizing.release.statement import method_statement

__all__ = [
    "CASES",
    "CAUTIONS",
    "KINDS",
    "PSI",
    "RULES",
    "SERVICE_CASES",
    "ColumnLoads",
    "ColumnLoss",
    "ColumnPlan",
    "Components",
    "CorrectionError",
    "Factors",
    "FloorsAbove",
    "JackGrid",
    "JackLimits",
    "JackedFloor",
    "LateralPlan",
    "LateralStops",
    "LiftError",
    "LiftRules",
    "LockedPack",
    "Maturity",
    "MovementLimits",
    "PackPlans",
    "PackRules",
    "Packs",
    "Psi",
    "ReleaseError",
    "ReleaseFrame",
    "ReleaseWork",
    "RevisionChanges",
    "Schedule",
    "SupportLimits",
    "Survey",
    "SurveyError",
    "SurveyTolerance",
    "adjacent_columns",
    "chance_difference",
    "changed_supports",
    "check_lateral",
    "check_release",
    "choose_packs",
    "column_loss_travel",
    "combine",
    "compare_revisions",
    "correction_schedule",
    "correction_table",
    "creep",
    "free_travel",
    "handover_record",
    "handover_tables",
    "hold_down",
    "hold_down_table",
    "judge_survey",
    "lateral_table",
    "lift_table",
    "lifting_strength",
    "lose_columns",
    "lost_supports",
    "make_schedule",
    "merge_components",
    "method_statement",
    "order_of_release",
    "pack_plans",
    "pass_table",
    "plan_lift",
    "psi_factors",
    "read_components",
    "read_jacks",
    "read_loads",
    "read_survey",
    "release_loads",
    "stage_movement",
    "surge_cost",
    "tension_check",
    "wind_movement",
]


def __dir__() -> list[str]:
    return list(__all__)
