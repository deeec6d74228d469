"""Fixings of a lining: n points of a plate driven at a point radiate 8 c0²/(π³ fc²) of its area.

Far above the resonance the gain stays at −10 lg(n factor).
"""

from math import log10, pi


def factor(area: float, critical: float, speed: float = 340.0) -> float:
    return 8 * speed**2 / (pi**3 * critical**2) / area


def values() -> dict[str, list[float]]:
    found = {"bridge factor of a point, 1 m2": [factor(1.0, 2500.0)]}
    for number in (1, 2, 4):
        name = f"plateau, {number} fixing(s) per m2 of a lining far above its resonance"
        found[name] = [-10 * log10(number * factor(1.0, 2500.0))]
    return found
