"""Air under a floor: s' = p0 γ/d sealed, p0/d filled (isothermal), 0.111e6/d by the standard.

f = √(s'/m)/2π of a mass on it; with mounts √(f_m² + s'/m/4π²).
"""

from math import pi, sqrt

PRESSURE, ADIABATIC = 101325.0, 1.4


def stiffness(gap: float, state: str = "sealed") -> float:
    product = {"sealed": ADIABATIC * PRESSURE, "filled": PRESSURE, "standard": 0.111e6}[state]
    return product / gap


def frequency(gap: float, mass: float, state: str = "sealed", mounts: float = 0.0) -> float:
    return sqrt(mounts**2 + stiffness(gap, state) / mass / (4 * pi**2))


def values() -> dict[str, list[float]]:
    gaps = (0.010, 0.020, 0.025, 0.040, 0.050, 0.075, 0.100, 0.150, 0.200, 0.300)
    four = (0.025, 0.050, 0.100, 0.200)
    return {
        "sealed": [stiffness(d) / 1e6 for d in gaps],
        "filled": [stiffness(d, "filled") / 1e6 for d in gaps],
        "0.111/d": [stiffness(d, "standard") / 1e6 for d in (0.01, 0.025, 0.05, 0.1, 0.3)],
        "air alone, sealed, 50 kg/m2, 25, 50, 100, 200 mm": [frequency(d, 50) for d in four],
        "air alone, filled, 250 kg/m2, 25, 50, 100, 200 mm": [
            frequency(d, 250, "filled") for d in four
        ],
        "ceiling, 25 kg/m2 at 200 mm, sealed": [frequency(0.2, 25)],
        "ceiling, 50 kg/m2 at 400 mm, filled": [frequency(0.4, 50, "filled")],
        "8 Hz mounts, 250 kg/m2, 50 mm sealed": [frequency(0.05, 250, mounts=8)],
        "8 Hz mounts, 250 kg/m2, 50 mm filled": [frequency(0.05, 250, "filled", mounts=8)],
        "8 Hz mounts, 250 kg/m2, 100 mm: sealed, filled": [frequency(0.1, 250, mounts=8)],
    }
