"""Rubber of constant loss over frequency, worked out again.

k* = k1 (j w/w1)^alpha has the phase alpha pi/2 at every frequency, so tan(alpha pi/2) = eta; real
part and magnitude both grow by (f2/f1)^alpha. A stiffness g times as large raises the natural
frequency by the root of g and takes 20 lg g from the isolation far above it.
"""

import math

STIFFER = 1.15 * 1.05 * 1.15


def _alpha(eta: float) -> float:
    low, high = 0.0, 1.0
    for _ in range(80):
        middle = (low + high) / 2
        if math.tan(middle * math.pi / 2) < eta:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def values() -> dict[str, list[float]]:
    """Expected values by the names of the rows."""
    return {
        "exponent": [_alpha(0.1)],
        "k(50)/k(5)": [10 ** _alpha(eta) for eta in (0.05, 0.1, 0.2)],
        "frequency over that tested: strain 1.15, cold 1.05, age 1.15": [math.sqrt(STIFFER)],
        "isolation lost far above resonance: strain 1.15, cold 1.05, age 1.15": [
            20 * math.log10(STIFFER)
        ],
    }
