"""Mass-spring chains.

One stage: √[(1 + (2ζr)²)/((1 − r²)² + (2ζr)²)], or |(1 + jη)/(1 + jη − r²)|; f = √(g/d)/2π. Two
stages: the roots of (k1 + k2 − m1 w²)(k2 − m2 w²) = k2², and k1 k2 over that determinant.
"""

from math import log10, pi, sqrt

GRAVITY = 9.80665


def viscous(ratio: float, damping: float) -> float:
    top = 1 + (2 * damping * ratio) ** 2
    return -10 * log10(top / ((1 - ratio**2) ** 2 + (2 * damping * ratio) ** 2))


def hysteretic(ratio: float, factor: float) -> float:
    return -20 * log10(abs((1 + 1j * factor) / (1 + 1j * factor - ratio**2)))


def values() -> dict[str, list[float]]:
    ratios = (2.0, 5.0, 8.0, 20.0)
    found = {
        f"viscous, damping ratio {z:g}, r = 2, 5, 8, 20": [viscous(r, z) for r in ratios]
        for z in (0.005, 0.05, 0.1)
    }
    for n in (0.1, 0.2):
        found[f"hysteretic, loss factor {n:g}, r = 2, 5, 8, 20"] = [
            hysteretic(r, n) for r in ratios
        ]
    found["natural frequency for 1, 2, 5, 10, 20, 50 mm"] = [
        sqrt(GRAVITY / mm * 1e3) / (2 * pi) for mm in (1, 2, 5, 10, 20, 50)
    ]
    m1, m2 = 1e6, 50e3
    k1, k2 = (m1 + m2) * (2 * pi * 8.0) ** 2, m2 * (2 * pi * 10.0) ** 2
    # m1 m2 x² − [m1 k2 + m2 (k1 + k2)] x + k1 k2 = 0, x = w².
    half = (m1 * k2 + m2 * (k1 + k2)) / (2 * m1 * m2)
    spread = sqrt(half**2 - k1 * k2 / (m1 * m2))
    found["two stages, lower mode"] = [sqrt(half - spread) / (2 * pi)]
    found["two stages, upper mode"] = [sqrt(half + spread) / (2 * pi)]
    c1, c2 = k1 * (1 + 0.1j), k2 * (1 + 0.1j)
    found["two stages, attenuation at 16, 20, 31.5, 63 Hz"] = []
    for f in (16.0, 20.0, 31.5, 63.0):
        w2 = (2 * pi * f) ** 2
        determinant = (c1 + c2 - m1 * w2) * (c2 - m2 * w2) - c2**2
        found["two stages, attenuation at 16, 20, 31.5, 63 Hz"].append(
            -20 * log10(abs(c1 * c2 / determinant))
        )
    return found
