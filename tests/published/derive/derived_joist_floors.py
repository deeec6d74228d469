"""Joists with boards as an orthotropic plate: D_x = E b h³/(12 s), D_y = E t³/12.

Supported on four edges f_mn = (π/2) √{[D_x (m/a)⁴ + 2H (mn/ab)² + D_y (n/b)⁴]/m″}; a strip free
along its length (π/2l²) √(D_x/m″). Driven at a point, without edges, 1/Z is the mean over all
directions φ of 1/(8 √[m″ D(φ)]), D(φ) = D_x cos⁴ + 2H cos² sin² + D_y sin⁴.
"""

from math import cos, pi, sin, sqrt

ALONG = 11e9 * 0.075 * 0.225**3 / 12 / 0.45
ACROSS = 3e9 * 0.022**3 / 12
MASS, SPAN, WIDTH = 45.0, 4.2, 5.0
TORSION = {
    "torsion of the boarding": ACROSS,
    "no torsion": 0.0,
    "H² = DxDy": sqrt(ALONG * ACROSS),
}


def natural(m: int, n: int, torsion: float) -> float:
    x, y = m / SPAN, n / WIDTH
    return pi / 2 * sqrt((ALONG * x**4 + 2 * torsion * (x * y) ** 2 + ACROSS * y**4) / MASS)


def impedance(torsion: float, steps: int = 20_000) -> float:
    total = 0.0
    for i in range(steps):
        c, s = cos((i + 0.5) * pi / 2 / steps) ** 2, sin((i + 0.5) * pi / 2 / steps) ** 2
        total += 1 / sqrt(MASS * (ALONG * c * c + 2 * torsion * c * s + ACROSS * s * s)) / 8
    return steps / total


def values() -> dict[str, list[float]]:
    """Expected values by the names of the rows."""
    found = {
        "stiffness along": [ALONG],
        "stiffness across": [ACROSS],
        "first resonance of the strip": [pi / (2 * SPAN**2) * sqrt(ALONG / MASS)],
    }
    for name, torsion in TORSION.items():
        for m, n in ((1, 1), (1, 2), (1, 3), (1, 4), (2, 1)):
            found[f"f{m}{n}, {name}"] = [natural(m, n, torsion)]
        whole = impedance(torsion)
        found[f"impedance of an endless floor, {name}"] = [whole]
        found[f"over 8 √m″ (DxDy)^¼, {name}"] = [
            whole / (8 * sqrt(MASS) * (ALONG * ACROSS) ** 0.25)
        ]
    return found
