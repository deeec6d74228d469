"""Public names, and where they are defined; the one list of them."""

from groundborne.rating import sufficiency as sufficiency
from groundborne.rating import vibration_curves as vibration_curves
from groundborne.rating.answers import (
    ANSWERS as ANSWERS,
)
from groundborne.rating.answers import (
    Answer as Answer,
)
from groundborne.rating.answers import (
    Mark as Mark,
)
from groundborne.rating.answers import (
    answer as answer,
)
from groundborne.rating.criteria import (
    METRICS as METRICS,
)
from groundborne.rating.criteria import (
    PUBLISHED_LIMITS as PUBLISHED_LIMITS,
)
from groundborne.rating.criteria import (
    Criterion as Criterion,
)
from groundborne.rating.criteria import (
    Metric as Metric,
)
from groundborne.rating.criteria import (
    PublishedLimit as PublishedLimit,
)
from groundborne.rating.fta_criteria import (
    FTA_DETAILED as FTA_DETAILED,
)
from groundborne.rating.fta_criteria import (
    FTA_VIBRATION_LIMITS as FTA_VIBRATION_LIMITS,
)
from groundborne.rating.fta_criteria import (
    event_class as event_class,
)
from groundborne.rating.fta_criteria import (
    fta_detailed_curve as fta_detailed_curve,
)
from groundborne.rating.fta_criteria import (
    fta_vibration_limit as fta_vibration_limit,
)
from groundborne.rating.kb import (
    clock_maxima as clock_maxima,
)
from groundborne.rating.kb import (
    clock_mean as clock_mean,
)
from groundborne.rating.kb import (
    hourly_severity as hourly_severity,
)
from groundborne.rating.kb import (
    kb_running as kb_running,
)
from groundborne.rating.kb import (
    period_severity as period_severity,
)
from groundborne.rating.kb import (
    period_severity_rail as period_severity_rail,
)
from groundborne.rating.kb import (
    severity_from_peak as severity_from_peak,
)
from groundborne.rating.kb_rail import (
    clock_spread as clock_spread,
)
from groundborne.rating.kb_rail import (
    peak_from_severity as peak_from_severity,
)
from groundborne.rating.kb_rail import (
    severity_interval_rail as severity_interval_rail,
)
from groundborne.rating.noise import (
    FAST as FAST,
)
from groundborne.rating.noise import (
    SLOW as SLOW,
)
from groundborne.rating.noise import (
    exposure_level as exposure_level,
)
from groundborne.rating.noise import (
    noise_rating as noise_rating,
)
from groundborne.rating.noise import (
    nr_curve as nr_curve,
)
from groundborne.rating.noise import (
    octaves_from_thirds as octaves_from_thirds,
)
from groundborne.rating.noise import (
    period_level as period_level,
)
from groundborne.rating.noise import (
    sound_level as sound_level,
)
from groundborne.rating.ns8176 import (
    statistical_maximum as statistical_maximum,
)
from groundborne.rating.ns8176 import (
    weighted_velocity as weighted_velocity,
)
from groundborne.rating.octaves import (
    NC_OCTAVES as NC_OCTAVES,
)
from groundborne.rating.octaves import (
    SPEECH_OCTAVES as SPEECH_OCTAVES,
)
from groundborne.rating.octaves import (
    nc_curve as nc_curve,
)
from groundborne.rating.octaves import (
    noise_criterion as noise_criterion,
)
from groundborne.rating.octaves import (
    noise_rating_of_octaves as noise_rating_of_octaves,
)
from groundborne.rating.octaves import (
    octave_spectrum as octave_spectrum,
)
from groundborne.rating.octaves import (
    speech_interference_level as speech_interference_level,
)
from groundborne.rating.rectangular_event import event_bridge as event_bridge
from groundborne.rating.second_look import second_evaluation as second_evaluation
from groundborne.rating.statistics import STATISTICS as STATISTICS
from groundborne.rating.statistics import statistic as statistic
from groundborne.rating.sufficiency import (
    Sufficiency as Sufficiency,
)
from groundborne.rating.vibration import (
    combined_dose as combined_dose,
)
from groundborne.rating.vibration import (
    dose as dose,
)
from groundborne.rating.vibration import (
    estimated_dose as estimated_dose,
)
from groundborne.rating.vibration import (
    maximum_transient as maximum_transient,
)
from groundborne.rating.vibration import (
    running_rms as running_rms,
)
from groundborne.rating.vibration import (
    weighted_rms as weighted_rms,
)
from groundborne.rating.vibration_bands import (
    dose_of_bands as dose_of_bands,
)
from groundborne.rating.vibration_bands import (
    kb_of_bands as kb_of_bands,
)
from groundborne.rating.vibration_bands import (
    weighted_rms_of_bands as weighted_rms_of_bands,
)
from groundborne.rating.vibration_bands import (
    weighted_velocity_of_bands as weighted_velocity_of_bands,
)
from groundborne.rating.vibration_curves import class_reached as class_reached
from groundborne.rating.vibration_events import (
    rate_events as rate_events,
)
from groundborne.rating.vibration_events import (
    rate_records as rate_records,
)
from groundborne.rating.vibration_limits import (
    GUIDE_VALUES as GUIDE_VALUES,
)
from groundborne.rating.vibration_limits import (
    PUBLISHED_VIBRATION_LIMITS as PUBLISHED_VIBRATION_LIMITS,
)
from groundborne.rating.vibration_limits import (
    GuideValues as GuideValues,
)
from groundborne.rating.vibration_limits import (
    PublishedVibrationLimit as PublishedVibrationLimit,
)
from groundborne.rating.vibration_limits import (
    building_guide as building_guide,
)
from groundborne.rating.vibration_limits import (
    dose_judgement as dose_judgement,
)
from groundborne.rating.vibration_limits import (
    guide_values as guide_values,
)
from groundborne.rating.vibration_limits import (
    judge_people as judge_people,
)
