"""Ground-borne noise and vibration in buildings near railways.

From measured train passbys to the noise in every room, before and after isolation. A notebook
starts with the names below; everything else is in the subpackages ``bands``, ``levels``,
``loads``, ``weighting``, ``waveform``, ``records``, ``source``, ``propagation``, ``structure``,
``isolation``, ``receiver``, ``rating``, ``sizing``, ``study``, ``plot`` and ``report``.
"""

import importlib
from types import ModuleType
from typing import Any

from groundborne import (
    bands,
    isolation,
    levels,
    loads,
    propagation,
    rating,
    receiver,
    records,
    source,
    structure,
    study,
    waveform,
    weighting,
)
from groundborne.citation import Citation, ValidityWarning
from groundborne.path import PathElement, TransmissionPath
from groundborne.rating import Criterion
from groundborne.receiver import Room
from groundborne.sampling import sample
from groundborne.study import Option, Study, evaluate, read_result, read_study, save_result
from groundborne.twoport import TwoPort
from groundborne.usual_ranges import UnusualValueWarning

__version__ = "0.1.0"

__all__ = [
    "Citation",
    "Criterion",
    "Option",
    "PathElement",
    "Room",
    "Study",
    "TransmissionPath",
    "TwoPort",
    "UnusualValueWarning",
    "ValidityWarning",
    "bands",
    "evaluate",
    "isolation",
    "levels",
    "loads",
    "plot",
    "propagation",
    "rating",
    "read_result",
    "read_study",
    "receiver",
    "records",
    "report",
    "sample",
    "save_result",
    "sizing",
    "source",
    "structure",
    "study",
    "waveform",
    "weighting",
]

# Sizing is another day's work than a prediction; the others bring matplotlib and Jinja2.
_ON_DEMAND = ("plot", "report", "sizing")


def __getattr__(name: str) -> ModuleType | Any:
    if name in _ON_DEMAND:
        return importlib.import_module(f"groundborne.{name}")
    raise AttributeError(f"module 'groundborne' has no attribute {name!r}")


def __dir__() -> list[str]:
    return list(__all__)
