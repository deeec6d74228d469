"""Ratings of room noise and the criteria they are held against."""

from groundborne.rating.criteria import METRICS, PUBLISHED_LIMITS, Criterion, PublishedLimit
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

__all__ = [
    "FAST",
    "METRICS",
    "PUBLISHED_LIMITS",
    "SLOW",
    "STATISTICS",
    "Criterion",
    "PublishedLimit",
    "exposure_level",
    "noise_rating",
    "nr_curve",
    "octaves_from_thirds",
    "period_level",
    "sound_level",
    "statistic",
]
