"""Public names, and where they are defined; the one list of them."""

from groundborne.rating import sufficiency as sufficiency, vibration_curves as vibration_curves
from groundborne.rating.answers import (
    ANSWERS as ANSWERS,
    Answer as Answer,
    Mark as Mark,
    answer as answer,
)
from groundborne.rating.band_rules import (
    BandRule as BandRule,
    NoiseRatingOctaves as NoiseRatingOctaves,
    WeightedBands as WeightedBands,
)
from groundborne.rating.criteria import (
    PUBLISHED_LIMITS as PUBLISHED_LIMITS,
    Criterion as Criterion,
    PublishedLimit as PublishedLimit,
)
from groundborne.rating.fta_criteria import (
    FTA_DETAILED as FTA_DETAILED,
    FTA_VIBRATION_LIMITS as FTA_VIBRATION_LIMITS,
    event_class as event_class,
    fta_detailed_curve as fta_detailed_curve,
    fta_vibration_limit as fta_vibration_limit,
)
from groundborne.rating.kb import (
    clock_maxima as clock_maxima,
    clock_mean as clock_mean,
    hourly_severity as hourly_severity,
    kb_running as kb_running,
    period_severity as period_severity,
    period_severity_rail as period_severity_rail,
    severity_from_peak as severity_from_peak,
)
from groundborne.rating.kb_rail import (
    clock_spread as clock_spread,
    peak_from_severity as peak_from_severity,
    severity_interval_rail as severity_interval_rail,
)
from groundborne.rating.metric import Metric as Metric
from groundborne.rating.metrics import METRICS as METRICS
from groundborne.rating.noise import (
    FAST as FAST,
    SLOW as SLOW,
    exposure_level as exposure_level,
    noise_rating as noise_rating,
    nr_curve as nr_curve,
    octaves_from_thirds as octaves_from_thirds,
    period_level as period_level,
    sound_level as sound_level,
)
from groundborne.rating.ns8176 import (
    statistical_maximum as statistical_maximum,
    weighted_velocity as weighted_velocity,
)
from groundborne.rating.octaves import (
    NC_OCTAVES as NC_OCTAVES,
    SPEECH_OCTAVES as SPEECH_OCTAVES,
    nc_curve as nc_curve,
    noise_criterion as noise_criterion,
    noise_rating_of_octaves as noise_rating_of_octaves,
    octave_spectrum as octave_spectrum,
    speech_interference_level as speech_interference_level,
)
from groundborne.rating.rectangular_event import event_bridge as event_bridge
from groundborne.rating.scale import Scale as Scale, scale_of as scale_of
from groundborne.rating.second_look import second_evaluation as second_evaluation
from groundborne.rating.statistics import STATISTICS as STATISTICS, statistic as statistic
from groundborne.rating.sufficiency import (
    Sufficiency as Sufficiency,
)
from groundborne.rating.vibration import (
    combined_dose as combined_dose,
    dose as dose,
    estimated_dose as estimated_dose,
    maximum_transient as maximum_transient,
    running_rms as running_rms,
    weighted_rms as weighted_rms,
)
from groundborne.rating.vibration_bands import (
    dose_of_bands as dose_of_bands,
    kb_of_bands as kb_of_bands,
    weighted_rms_of_bands as weighted_rms_of_bands,
    weighted_velocity_of_bands as weighted_velocity_of_bands,
)
from groundborne.rating.vibration_curves import class_reached as class_reached
from groundborne.rating.vibration_events import (
    rate_events as rate_events,
    rate_records as rate_records,
)
from groundborne.rating.vibration_limits import (
    GUIDE_VALUES as GUIDE_VALUES,
    PUBLISHED_VIBRATION_LIMITS as PUBLISHED_VIBRATION_LIMITS,
    GuideValues as GuideValues,
    PublishedVibrationLimit as PublishedVibrationLimit,
    building_guide as building_guide,
    dose_judgement as dose_judgement,
    guide_values as guide_values,
    judge_people as judge_people,
)
