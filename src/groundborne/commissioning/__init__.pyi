"""Public names, and where they are defined; the one list of them."""

from groundborne.commissioning.airborne import (
    floor_coherence as floor_coherence,
    radiated_part as radiated_part,
    sound_origin as sound_origin,
)
from groundborne.commissioning.calibrated import (
    calibrated_result as calibrated_result,
    calibrated_spread as calibrated_spread,
    update_table as update_table,
)
from groundborne.commissioning.causes import (
    Cause as Cause,
    floor_causes as floor_causes,
    mount_causes as mount_causes,
)
from groundborne.commissioning.comparison import compare_levels as compare_levels
from groundborne.commissioning.diagnosis import Diagnosis as Diagnosis
from groundborne.commissioning.fitted_transfer import (
    Parameter as Parameter,
    fit_transfer as fit_transfer,
)
from groundborne.commissioning.isolated_models import (
    FloorModel as FloorModel,
    MountsModel as MountsModel,
)
from groundborne.commissioning.isolation_differences import (
    measured_insertion_loss as measured_insertion_loss,
    measured_level_difference as measured_level_difference,
)
from groundborne.commissioning.level_files import read_room_levels as read_room_levels
from groundborne.commissioning.measured_answers import (
    compare_answers as compare_answers,
    judge_measured as judge_measured,
)
from groundborne.commissioning.measurement_error import (
    MeasurementError as MeasurementError,
    without_background as without_background,
)
from groundborne.commissioning.office import (
    office_spreads as office_spreads,
    pool_studies as pool_studies,
    study_error as study_error,
)
from groundborne.commissioning.provenance import (
    STATES as STATES,
    CalibrationError as CalibrationError,
    labelled as labelled,
)
from groundborne.commissioning.room_levels import levels_by_room as levels_by_room
from groundborne.commissioning.stage_errors import (
    Observed as Observed,
    StageErrors as StageErrors,
)
from groundborne.commissioning.static_checks import (
    check_deflection as check_deflection,
    check_gaps as check_gaps,
    static_summary as static_summary,
)
from groundborne.commissioning.static_files import (
    read_deflections as read_deflections,
    read_gaps as read_gaps,
)
