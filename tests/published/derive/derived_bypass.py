"""Energies of several ways add: −10 lg[10^(−IL/10) + Σ 10^(−R/10)].

Air shut in a void is a spring of 1.4 p0 A/d; soil against a wall takes ρ v_s A as a dashpot.
"""

from math import log10


def together(*losses: float) -> float:
    return -10 * log10(sum(10 ** (-loss / 10) for loss in losses))


def values() -> dict[str, list[float]]:
    """Expected values by the names of the rows."""
    return {
        "10, 20, 30, 40 dB with one way of 25 dB": [
            together(loss, 25.0) for loss in (10.0, 20.0, 30.0, 40.0)
        ],
        "35 dB with ways of 30 and 25 dB": [together(35.0, 30.0, 25.0)],
        "sealed air in a void of 450 m², 0.2 m": [1.4 * 101325 * 450.0 / 0.2],
        "soil against 78 m x 3 m above the plane": [1900.0 * 200.0 * 234.0],
    }
