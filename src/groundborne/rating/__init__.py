"""Ratings of room noise and of vibration, and the criteria they are held against."""

import importlib
from typing import TYPE_CHECKING, Any

from groundborne.rating import vibration_curves
from groundborne.rating.criteria import METRICS, PUBLISHED_LIMITS, Criterion, Metric, PublishedLimit
from groundborne.rating.noise import (
    FAST,
    SLOW,
    exposure_level,
    noise_rating,
    nr_curve,
    octaves_from_thirds,
    period_level,
    sound_level,
)
from groundborne.rating.statistics import STATISTICS, statistic
from groundborne.rating.vibration_bands import (
    dose_of_bands,
    kb_of_bands,
    weighted_rms_of_bands,
    weighted_velocity_of_bands,
)
from groundborne.rating.vibration_curves import class_reached

if TYPE_CHECKING:
    from groundborne.rating.kb import (
        clock_maxima,
        clock_mean,
        hourly_severity,
        kb_running,
        period_severity,
        period_severity_rail,
        severity_from_peak,
    )
    from groundborne.rating.ns8176 import statistical_maximum, weighted_velocity
    from groundborne.rating.rectangular_event import event_bridge
    from groundborne.rating.second_look import second_evaluation
    from groundborne.rating.vibration import (
        combined_dose,
        dose,
        estimated_dose,
        maximum_transient,
        running_rms,
        weighted_rms,
    )
    from groundborne.rating.vibration_events import rate_events, rate_records
    from groundborne.rating.vibration_limits import (
        GUIDE_VALUES,
        PUBLISHED_VIBRATION_LIMITS,
        GuideValues,
        PublishedVibrationLimit,
        building_guide,
        dose_judgement,
        guide_values,
        judge_people,
    )

__all__ = [
    "FAST",
    "GUIDE_VALUES",
    "METRICS",
    "PUBLISHED_LIMITS",
    "PUBLISHED_VIBRATION_LIMITS",
    "SLOW",
    "STATISTICS",
    "Criterion",
    "GuideValues",
    "Metric",
    "PublishedLimit",
    "PublishedVibrationLimit",
    "building_guide",
    "class_reached",
    "clock_maxima",
    "clock_mean",
    "combined_dose",
    "dose",
    "dose_judgement",
    "dose_of_bands",
    "estimated_dose",
    "event_bridge",
    "exposure_level",
    "guide_values",
    "hourly_severity",
    "judge_people",
    "kb_of_bands",
    "kb_running",
    "maximum_transient",
    "noise_rating",
    "nr_curve",
    "octaves_from_thirds",
    "period_level",
    "period_severity",
    "period_severity_rail",
    "rate_events",
    "rate_records",
    "running_rms",
    "second_evaluation",
    "severity_from_peak",
    "sound_level",
    "statistic",
    "statistical_maximum",
    "vibration_curves",
    "weighted_rms",
    "weighted_rms_of_bands",
    "weighted_velocity",
    "weighted_velocity_of_bands",
]

# Loaded when first asked for: a prediction rates band levels and needs none of them.
_LATER = {
    "kb": (
        "clock_maxima",
        "clock_mean",
        "hourly_severity",
        "kb_running",
        "period_severity",
        "period_severity_rail",
        "severity_from_peak",
    ),
    "ns8176": ("statistical_maximum", "weighted_velocity"),
    "rectangular_event": ("event_bridge",),
    "second_look": ("second_evaluation",),
    "vibration": (
        "combined_dose",
        "dose",
        "estimated_dose",
        "maximum_transient",
        "running_rms",
        "weighted_rms",
    ),
    "vibration_events": ("rate_events", "rate_records"),
    "vibration_limits": (
        "GUIDE_VALUES",
        "PUBLISHED_VIBRATION_LIMITS",
        "GuideValues",
        "PublishedVibrationLimit",
        "building_guide",
        "dose_judgement",
        "guide_values",
        "judge_people",
    ),
}
_MODULE_OF = {name: module for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    module = _MODULE_OF.get(name, name if name in _LATER else None)
    if module is None:
        raise AttributeError(f"module 'groundborne.rating' has no attribute {name!r}")
    found = importlib.import_module(f"groundborne.rating.{module}")
    return found if name in _LATER else getattr(found, name)
