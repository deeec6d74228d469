"""A hot-coiled spring and a laminated rubber bearing, with a pocket calculator's formulas.

Coil: R = G d⁴/(8 D³ n), τ = 8 F D/(π d³), curvature (w + 0.5)/(w − 0.75), solid (n + 1.5 − 0.3) d,
gaps 0.02 (D + d) n, lateral rate and buckling of EN 13906-1. Bearing: E (1 + 2 κ S²) in series with
the bulk modulus.
"""

from math import log10, pi, sqrt, tan

G, E, STEEL = 78.5e9, 206e9, 7850.0
BAR, COIL, TURNS, LENGTH = 0.040, 0.180, 5.0, 0.330
GRAVITY = 9.80665


def coil() -> dict[str, float]:
    rate = G * BAR**4 / (8 * COIL**3 * TURNS)
    solid = (TURNS + 1.5 - 0.3) * BAR
    gap = 0.02 * (COIL + BAR) * TURNS
    down = 0.025
    stress = 8 * rate * down * COIL / (pi * BAR**3)
    index = COIL / BAR
    mass = STEEL * pi**2 * BAR**2 * COIL * TURNS / 4
    slender, ratio = LENGTH / COIL, G / E
    short = down / LENGTH
    root = sqrt((0.5 + ratio) * (ratio + (1 - short) / short))
    bend = root / (slender * (0.5 + ratio)) * tan(slender * short * root)
    lateral = rate * short / (short - 1 + bend)
    inside = 1 - (1 - ratio) / (0.5 + ratio) * (pi / (2.0 * slender)) ** 2
    buckling = LENGTH * 0.5 / (1 - ratio) * (1 - sqrt(inside))
    return {
        "coil, rate": rate / 1e3,
        "coil, solid length": solid * 1e3,
        "coil, least gap": gap * 1e3,
        "coil, usable travel": (LENGTH - solid - gap) * 1e3,
        "coil, stress at 25 mm": stress / 1e6,
        "coil, corrected stress at 25 mm": stress * (index + 0.5) / (index - 0.75) / 1e6,
        "coil, lateral rate at 25 mm": lateral / 1e3,
        "coil, surge": 0.5 * sqrt(rate / mass),
        "coil, mass": mass,
        "coil, buckling, one end free": buckling * 1e3,
    }


def compression(shape: float, bulk: float) -> float:
    bare = 2.2e6 * (1 + 2 * 0.73 * shape**2)
    return 1 / (1 / bare + 1 / bulk)


def bearing() -> dict[str, float]:
    side, layer, layers = 0.4, 0.012, 8
    shape = side * side / (4 * side * layer)
    modulus = compression(shape, 1.03e9)
    stiffness = modulus * side * side / (layers * layer)
    return {
        "bearing, shape factor": shape,
        "bearing, compression modulus": modulus / 1e6,
        "bearing, vertical stiffness": stiffness / 1e6,
        "bearing, shear stiffness": 0.64e6 * side * side / (layers * layer) / 1e6,
        "bearing, deflection of 1600 kN": 1.6e6 / stiffness * 1e3,
        "bearing, natural frequency under 1600 kN": sqrt(1.3 * stiffness * GRAVITY / 1.6e6)
        / (2 * pi),
    }


def values() -> dict[str, list[float]]:
    found = {name: [value] for name, value in {**coil(), **bearing()}.items()}
    found["compression modulus at S = 20, without and with the bulk term"] = [
        compression(20.0, bulk) / 1e6 for bulk in (1e30, 1.03e9)
    ]
    found["creep, decades of minutes in 25 and 50 years"] = [
        1 + 0.1 * log10(years * 365.25 * 24 * 60) for years in (25, 50)
    ]
    return found
