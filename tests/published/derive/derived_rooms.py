"""A box room over a piston: p² = (ωρc²)² Σ ε_n v²/|(nπc/H)² − ω² + jω 13.8155/T|²/H².

Bands are means over even lines between base-ten edges; against a diffuse field p² = 4 ρc W/A with
W = ρc S v² of floor and ceiling, A = 0.161 V/T. A rectangular piston in a baffle radiates
σ = 2k/(π a b) ∫∫ (a − x)(b − y) sin(kr)/r dx dy. Corner and room: (p_c² + 2 p²)/3; of a diffuse
field at d from three surfaces p_c² = 1 + 3 j0(2kd) + 3 j0(2√2 kd) + j0(2√3 kd).
Forced waves (ISO 12354-1, Annex B): σ_f = ½ [ln(k √(ab)) − Λ].
"""

from math import hypot, log, pi, sin, sqrt

SPEED, HEIGHT = 343.0, 2.6
DECAY = 6 * log(10.0)


def piston(frequency: float, time: float, modes: int = 4000) -> float:
    omega = 2 * pi * frequency
    total = 0.0
    for n in range(modes):
        apart = (n * pi * SPEED / HEIGHT) ** 2 - omega**2
        total += (2 if n else 1) / (apart**2 + (omega * DECAY / time) ** 2)
    return (omega * SPEED / HEIGHT) ** 2 * total


def band(number: int, time: float, lines: int = 300) -> float:
    low, high = 10 ** (number / 10 - 0.05), 10 ** (number / 10 + 0.05)
    return (
        sum(piston(low + (high - low) * (i + 0.5) / lines, time, 60) for i in range(lines)) / lines
    )


def baffled(frequency: float, a: float, b: float, speed: float = 340.0, cells: int = 400) -> float:
    k = 2 * pi * frequency / speed
    total = 0.0
    for i in range(cells):
        x = (i + 0.5) * a / cells
        for j in range(cells):
            y = (j + 0.5) * b / cells
            r = hypot(x, y)
            total += (a - x) * (b - y) * sin(k * r) / r
    return 2 * k / (pi * a * b) * total * a * b / cells**2


def forced(frequency: float, long: float, short: float, speed: float = 340.0) -> float:
    k, ratio = 2 * pi * frequency / speed, short / long
    shape = -0.964 - (0.5 + ratio / pi) * log(ratio) + 5 * ratio / (2 * pi)
    shape -= 1 / (4 * pi * long * short * k**2)
    return 0.5 * (log(k * sqrt(long * short)) - shape)


def values() -> dict[str, list[float]]:
    lines = (10.0, 40.0, 63.0, 100.0)
    found = {
        "piston, 2.6 m, hardly damped": [piston(f, 1e6) for f in lines],
        "piston, 2.6 m, 0.5 s": [piston(f, 0.5) for f in lines],
    }
    found["floor and ceiling against a diffuse field"] = [
        2 * band(n, 0.5) * 0.161 * HEIGHT / 0.5 / 8 for n in range(12, 25)
    ]
    found["baffled piston 5 m x 4 m"] = [baffled(f, 5.0, 4.0) for f in (31.5, 63.0, 125.0)]
    twice = 2 * 2 * pi * 10**1.8 / SPEED * 0.5
    images = ((3, twice), (3, twice * sqrt(2)), (1, twice * sqrt(3)))
    corner = 1 + sum(count * sin(x) / x for count, x in images)
    found["diffuse field, corner at 0.5 m, 63 Hz"] = [corner]
    found["one corner and two positions"] = [(corner + 2) / 3]
    found["Schroeder frequency, 50 m³, 0.5 s"] = [2000 * sqrt(0.5 / 50.0)]
    found["forced waves, floor 5 m x 4 m, below the printed bands"] = [
        forced(f, 5.0, 4.0) for f in (31.5, 63.0, 125.0)
    ]
    return found
