"""Frequency weightings: A and C of sound, the W and KB curves of human vibration.

Functions give levels at exact band centres; ``response`` gives the complex response for records.
"""

from groundborne.weighting.human import (
    DIN_45669_1,
    ISO_8041_1,
    KB_BANDS,
    kb,
    wb,
    wc,
    wd,
    we,
    wk,
    wm,
)
from groundborne.weighting.response import CURVES, Curve, response
from groundborne.weighting.sound import IEC_61672_1, a, c

__all__ = [
    "CURVES",
    "DIN_45669_1",
    "IEC_61672_1",
    "ISO_8041_1",
    "KB_BANDS",
    "Curve",
    "a",
    "c",
    "kb",
    "response",
    "wb",
    "wc",
    "wd",
    "we",
    "wk",
    "wm",
]


def __dir__() -> list[str]:
    return list(__all__)
