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
from groundborne.rating.band_sums import BandSums as BandSums, SummedBands as SummedBands
from groundborne.rating.building_guides import building_guide as building_guide
from groundborne.rating.crest_factor import additional_evaluation as additional_evaluation
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
    kb_clock_maxima as kb_clock_maxima,
    kb_clock_mean as kb_clock_mean,
    kb_hourly_severity as kb_hourly_severity,
    kb_period_severity as kb_period_severity,
    kb_period_severity_rail as kb_period_severity_rail,
    kb_running as kb_running,
)
from groundborne.rating.kb_and_peak import kb_from_peak as kb_from_peak
from groundborne.rating.kb_rail import (
    kb_clock_spread as kb_clock_spread,
    kb_interval_rail as kb_interval_rail,
    peak_from_kb as peak_from_kb,
)
from groundborne.rating.limit_curve import (
    LimitCurve as LimitCurve,
    read_limit_curve as read_limit_curve,
)
from groundborne.rating.metric import Metric as Metric
from groundborne.rating.metrics import METRICS as METRICS
from groundborne.rating.noise import sound_level as sound_level
from groundborne.rating.noise_criterion_curves import (
    NC_OCTAVES as NC_OCTAVES,
    SPEECH_OCTAVES as SPEECH_OCTAVES,
    nc_curve as nc_curve,
    noise_criterion as noise_criterion,
    speech_interference_level as speech_interference_level,
)
from groundborne.rating.noise_rating_curves import (
    noise_rating as noise_rating,
    nr_curve as nr_curve,
    octaves_from_thirds as octaves_from_thirds,
)
from groundborne.rating.ns8176 import (
    statistical_maximum as statistical_maximum,
    weighted_velocity as weighted_velocity,
)
from groundborne.rating.octaves import (
    noise_rating_of_octaves as noise_rating_of_octaves,
    octave_spectrum as octave_spectrum,
)
from groundborne.rating.rectangular_event import time_weighting_change as time_weighting_change
from groundborne.rating.scale import Scale as Scale, scale_of as scale_of
from groundborne.rating.sound_exposure import (
    FAST as FAST,
    SLOW as SLOW,
    laeq_of_period as laeq_of_period,
    sel_from_maximum as sel_from_maximum,
)
from groundborne.rating.statistics import (
    PERIOD_RMS as PERIOD_RMS,
    STATISTICS as STATISTICS,
    statistic as statistic,
)
from groundborne.rating.sufficiency import (
    Sufficiency as Sufficiency,
)
from groundborne.rating.vibration import (
    mtvv as mtvv,
    running_rms as running_rms,
    vdv as vdv,
    vdv_combined as vdv_combined,
    vdv_estimated as vdv_estimated,
    weighted_rms as weighted_rms,
)
from groundborne.rating.vibration_bands import (
    kb_of_bands as kb_of_bands,
    vdv_of_bands as vdv_of_bands,
    weighted_rms_of_bands as weighted_rms_of_bands,
    weighted_velocity_of_bands as weighted_velocity_of_bands,
)
from groundborne.rating.vibration_curves import class_reached as class_reached
from groundborne.rating.vibration_events import (
    event_ratings as event_ratings,
    record_ratings as record_ratings,
)
from groundborne.rating.vibration_limits import (
    GUIDE_VALUES as GUIDE_VALUES,
    PUBLISHED_VIBRATION_LIMITS as PUBLISHED_VIBRATION_LIMITS,
    GuideValues as GuideValues,
    PublishedVibrationLimit as PublishedVibrationLimit,
    din4150_2_judgement as din4150_2_judgement,
    guide_values as guide_values,
    vdv_judgement as vdv_judgement,
)
