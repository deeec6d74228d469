"""Mounts and what they gain: under the building and in the room."""

from groundborne.isolation.base import BaseIsolation, IdealIsolation
from groundborne.isolation.distributed import Dashpot, DistributedMount, InParallel, InSeries
from groundborne.isolation.mount import LinearMount, Mount, TwoStageMount
from groundborne.isolation.surface import SurfaceIsolation
from groundborne.isolation.transmissibility import (
    coupled_frequencies,
    hysteretic,
    natural_frequency,
    two_stage,
    viscous,
)

__all__ = [
    "BaseIsolation",
    "Dashpot",
    "DistributedMount",
    "IdealIsolation",
    "InParallel",
    "InSeries",
    "LinearMount",
    "Mount",
    "SurfaceIsolation",
    "TwoStageMount",
    "coupled_frequencies",
    "hysteretic",
    "natural_frequency",
    "two_stage",
    "viscous",
]
