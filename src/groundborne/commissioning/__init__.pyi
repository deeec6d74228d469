"""Public names, and where they are defined; the one list of them."""

from groundborne.commissioning.comparison import compare_levels as compare_levels
from groundborne.commissioning.measured_answers import judge_measured as judge_measured
from groundborne.commissioning.measurement_error import (
    MeasurementError as MeasurementError,
    without_background as without_background,
)
from groundborne.commissioning.provenance import (
    STATES as STATES,
    CalibrationError as CalibrationError,
    labelled as labelled,
)
from groundborne.commissioning.isolation_differences import (
    measured_insertion_loss as measured_insertion_loss,
    measured_level_difference as measured_level_difference,
)
from groundborne.commissioning.sound_origin import (
    floor_coherence as floor_coherence,
    radiated_part as radiated_part,
    sound_origin as sound_origin,
)
