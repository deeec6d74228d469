"""Insertion loss 20 lg |1 + Ym/(Ya + Yb)| between the mobilities below and above a mount.

Disc on soil: K = 4 G r/(1 − ν), c = 3.4 r²/(1 − ν) √(G ρ), Y = 1/(K/jω + c); mass 1/jωm; column
without reflections 1/(A √(E ρ)); mount jω/(k (1 + jη)).
"""

from cmath import sqrt as root
from math import log10, pi, sqrt


def loss(frequency: float, stiffness: complex, below: complex, above: complex) -> float:
    mount = 2j * pi * frequency / stiffness
    return 20 * log10(abs(1 + mount / (below + above)))


def disc(frequency: float) -> complex:
    radius, shear, density, poisson = 1.0, 50e6, 1900.0, 0.4
    stiffness = 4 * shear * radius / (1 - poisson)
    dashpot = 3.4 * radius**2 / (1 - poisson) * sqrt(shear * density)
    return 1 / (stiffness / (2j * pi * frequency) + dashpot)


def hysteretic(ratio: float, factor: float) -> float:
    return -20 * log10(abs((1 + 1j * factor) / (1 + 1j * factor - ratio**2)))


def values() -> dict[str, list[float]]:
    found = {}
    mass, bands = 100e3, (16.0, 31.5, 63.0)
    column = 1 / (0.36 * sqrt(33e9 * 2400.0))
    for tuned in (10.0, 5.0):
        stiffness = mass * (2 * pi * tuned) ** 2 * (1 + 0.1j)
        found[f"{tuned:g} Hz, rigid mass on soil"] = [
            loss(f, stiffness, disc(f), 1 / (2j * pi * f * mass)) for f in bands
        ]
        found[f"{tuned:g} Hz, column without reflections on soil"] = [
            loss(f, stiffness, disc(f), column) for f in bands
        ]
        ratios = [f / tuned for f in (16.0, 31.5, 63.0)]
        found[f"{tuned:g} Hz on rigid ground"] = [hysteretic(r, 0.1) for r in ratios]
    speeds = [abs(root(number)) for number in (11, 101)]  # rad/s
    found["two masses of 1 kg, spring of 0.5 N/m, at sqrt 11 and sqrt 101 times 1 rad/s"] = [
        loss(w / (2 * pi), 0.5, 1 / (1j * w), 1 / (1j * w)) for w in speeds
    ]
    return found
