"""Energy sum over the surfaces of a room: −10 lg [Σ A 10^((L + g)/10) / Σ A 10^(L/10)].

Room of 5 x 4 x 3 m; L is the level of a surface, g its gain.
"""

from math import log10

AREAS = {"floor": 20.0, "ceiling": 20.0, "walls": 54.0}
GAINS = {"floor": -20.0, "ceiling": -15.0, "walls": -15.0}


def loss(treated: tuple[str, ...], walls: float) -> float:
    levels = {"floor": 0.0, "ceiling": 0.0, "walls": walls}
    before = sum(area * 10 ** (levels[name] / 10) for name, area in AREAS.items())
    after = sum(
        area * 10 ** ((levels[name] + (GAINS[name] if name in treated else 0.0)) / 10)
        for name, area in AREAS.items()
    )
    return -10 * log10(after / before)


def values() -> dict[str, list[float]]:
    cases = {
        "floor alone": ("floor",),
        "floor and ceiling": ("floor", "ceiling"),
        "all surfaces": tuple(AREAS),
    }
    return {
        f"{name}, walls {walls:g} dB": [loss(treated, walls)]
        for walls in (0.0, -5.0, -10.0)
        for name, treated in cases.items()
    }
