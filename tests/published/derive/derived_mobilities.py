"""Plates, columns and a disc: D = E h³/(12 (1 − ν²)), Y = 1/(8 √(D m)), fc = c0² √3/(π cL h).

Column Z = A √(E ρ); disc K = 4 G r/(1 − ν), c = 3.4 r²/(1 − ν) √(G ρ); slab modes
π/2 √(D/m) [(i/a)² + (k/b)²].
"""

from math import pi, sqrt

E, DENSITY, POISSON, SOUND = 30e9, 2400.0, 0.2, 340.0


def bending(thickness: float, modulus: float = E) -> float:
    return modulus * thickness**3 / (12 * (1 - POISSON**2))


def values() -> dict[str, list[float]]:
    found = {"bending stiffness, 250 mm": [bending(0.25) / 1e6]}
    speed = sqrt(E / DENSITY / (1 - POISSON**2))
    for mm in (100, 200, 300):
        h = mm / 1e3
        mobility = 1 / (8 * sqrt(bending(h) * DENSITY * h))
        found[f"mobility of an infinite plate, {mm} mm"] = [mobility]
        found[f"critical frequency, {mm} mm"] = [SOUND**2 * sqrt(3) / (pi * speed * h)]
    found["impedance of an infinite plate, 250 mm"] = [
        8 * sqrt(bending(0.25) * DENSITY * 0.25) / 1e6
    ]
    found["mobility of a 0.6 m column without reflections, inverse"] = [
        0.6**2 * sqrt(E * DENSITY) / 1e6
    ]
    radius, shear, soil, poisson = 1.0, 50e6, 1900.0, 0.4
    found["disc, static stiffness"] = [4 * shear * radius / (1 - poisson) / 1e6]
    found["disc, dashpot"] = [3.4 * radius**2 / (1 - poisson) * sqrt(shear * soil) / 1e6]
    stiffness, mass, a, b = bending(0.18, 26e9), 414.0, 4.0, 6.0
    for i, k in ((1, 1), (1, 2), (2, 1)):
        found[f"180 mm slab 4 m x 6 m, mode {i}{k}"] = [
            pi / 2 * sqrt(stiffness / mass) * ((i / a) ** 2 + (k / b) ** 2)
        ]
    return found
