"""Pinned junctions: W_i = B k [√(1 + s²) + j cos θ]/(jω), τ = 4 Re W_1 Re W_i/|Σ W|².

Normal τ_1i = 2 ζ_1 ζ_i/(Σζ)² with ζ = B k; diffuse τ = ∫ τ cos θ dθ. Wall over floor
(η_12/η_2) m_1 S_1/(m_2 S_2), η_12 = 2 c_B l τ/(π ω S_1).
"""

from cmath import sqrt as csqrt
from math import cos, log10, pi, sin

E, DENSITY, POISSON = 30e9, 2400.0, 0.2
KINDS = {
    "two equal plates": [0.2] * 2,
    "three equal plates": [0.2] * 3,
    "four equal plates": [0.2] * 4,
    "floor 250 mm, wall 150 mm": [0.25, 0.15],
    "floor 250 mm, two walls 150 mm": [0.25, 0.15, 0.15],
    "two floors 250 mm, two walls 150 mm": [0.25, 0.25, 0.15, 0.15],
}


def bending(h: float) -> float:
    return E * h**3 / (12 * (1 - POISSON**2))


def transmission(thickness: list[float], angle: float) -> float:
    stiff = [bending(h) for h in thickness]
    waves = [(DENSITY * h / b) ** 0.25 for h, b in zip(thickness, stiff, strict=True)]
    total, each = 0j, []
    for b, k in zip(stiff, waves, strict=True):
        trace = (sin(angle) * waves[0] / k) ** 2
        cosine = csqrt(1 - trace + 0j).conjugate()
        each.append(b * k * (csqrt(1 + trace) + 1j * cosine) / 1j)
        total += each[-1]
    return 4 * each[0].real * each[-1].real / abs(total) ** 2


def diffuse(thickness: list[float], steps: int = 20000) -> float:
    step = pi / 2 / steps
    return sum(
        transmission(thickness, (i + 0.5) * step) * cos((i + 0.5) * step) * step
        for i in range(steps)
    )


def values() -> dict[str, list[float]]:
    found = {}
    for name, thickness in KINDS.items():
        found[f"{name}, at right angles"] = [transmission(thickness, 0.0)]
        found[f"{name}, diffuse"] = [diffuse(thickness)]
    tau = diffuse([0.25, 0.25, 0.18, 0.18])
    levels = []
    for band in (10**1.5, 10**1.8, 10**2.1):
        omega = 2 * pi * band
        speed = (bending(0.25) / (DENSITY * 0.25)) ** 0.25 * omega**0.5
        eta = 2 * speed * 5.0 * tau / (pi * omega * 20.0)
        levels.append(10 * log10(eta / 0.1 * 0.25 * 20.0 / (0.18 * 15.0)))
    found["wall 180 mm on slab 250 mm"] = levels
    return found
