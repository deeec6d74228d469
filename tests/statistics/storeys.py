"""What each model of the columns and slabs makes of published statistics.

``python tests/statistics/storeys.py`` prints the table: foundation to floors, and to the top floor
alone, of the generic buildings of :mod:`generic_buildings` less the means of E DIN 45672-3:2023,
Table A.5 [seen second-hand]. "In phase" is the model of version 0.1. Statistics are not a building.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import generic_buildings as generic

from groundborne.structure import ColumnLine, ColumnPhases, FlatSlab
from groundborne.structure.slab import LOADS

MODELS: dict[str, tuple[ColumnPhases, str]] = {
    "in phase (version 0.1)": (ColumnPhases(kind="in phase"), LOADS[0]),
    "endless plates": (ColumnPhases(points=3), LOADS[1]),
    "endless plates with the mass of a panel": (ColumnPhases(points=3), LOADS[2]),
    "uniform phases": (ColumnPhases(kind="uniform", points=3), LOADS[0]),
    "window, 100 m/s": (ColumnPhases(apparent_speed=100.0, points=3), LOADS[0]),
    "window, 200 m/s (of studies)": (ColumnPhases(points=3), LOADS[0]),
    "window, 400 m/s": (ColumnPhases(apparent_speed=400.0, points=3), LOADS[0]),
    "window, slabs scatter by 10 %": (ColumnPhases(scatter=0.1, points=3), LOADS[0]),
}
LOW = 8
"""Buildings of eight storeys and less; the two after them have twelve and twenty-four."""


def line(row: Any, phases: ColumnPhases, load: str) -> ColumnLine:
    """The line of a building with slabs that load it as asked."""
    found = generic.line(row, phases=phases)
    loaded = [
        replace(s, slab=replace(s.slab, load=load)) if isinstance(s.slab, FlatSlab) else s
        for s in found.storeys
    ]
    return replace(found, storeys=tuple(loaded))


def main() -> None:
    rows = [row for _, row in generic.buildings().iterrows()]
    heads = "".join(f"{h:25s}" for h in ("floors to 8 storeys", "floors, all", "top floor, all"))
    print(f"{'bias, rms, largest [dB], inside':42s} {heads}")
    for name, (phases, load) in MODELS.items():
        found = [generic.compared(row, line(row, phases, load)) for row in rows]
        sets = (
            generic.pooled(found[:LOW])["floors"],
            generic.pooled(found)["floors"],
            generic.pooled(found)["top floor"],
        )
        words = "   ".join(
            f"{s.bias:5.1f} {s.rms:4.1f} {s.largest:5.1f} {100 * s.share_inside:3.0f} %"
            for s in sets
        )
        print(f"{name:42s} {words}")


if __name__ == "__main__":
    main()
