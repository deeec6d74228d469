"""Packs for the 60 columns of the tower, with what is proven, beside a plain way to choose.

The plain way: fewest parts at each column by itself, anywhere within 5 % of one deflection.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import xarray as xr

from groundborne.loads import read_loads
from groundborne.sizing.loads.cases import combine
from groundborne.sizing.lost_columns.column_loss import lose_columns
from groundborne.sizing.lost_columns.floors_above import FloorsAbove
from groundborne.sizing.packs.choice import Packs, choose_packs
from groundborne.sizing.packs.components import Components, read_components
from groundborne.sizing.packs.rules import PackRules

DATA = Path(__file__).resolve().parents[2] / "data"
AIM = 5.0


def tower() -> xr.DataArray:
    """Loads of the tower, with any column of row 1 lost."""
    loads = read_loads(DATA / "tower" / "columns.csv", revision="P1")
    load = combine(loads)
    row = [n for n in loads.names if n.endswith("1")]
    floors = FloorsAbove(storeys=25, thickness=0.23)
    return lose_columns(loads, load, floors=floors, lost=row).add_to(load)


def by_itself(load: xr.DataArray, parts: Components, rules: PackRules, target: float) -> float:
    """Spread where every column takes the fewest parts within 5 % of a deflection [m]."""
    within = 0.05 * target
    close = replace(rules, deflection=(target - within, target + within), resolution=2 * within)
    return choose_packs(load, parts, rules=close).spread


def main() -> None:
    """Print times, spreads and bounds."""
    load = tower()
    springs = read_components(DATA / "components" / "springs.csv")
    bearings = read_components(DATA / "components" / "bearings.csv")
    steel = PackRules(natural_frequency=(3.4, 3.6), most=16)
    rubber = PackRules(kind="bearing", natural_frequency=(8.5, 9.5), most=12)
    stock = xr.DataArray([300.0], coords={"component": ["S640-20"]})
    runs = {
        "springs, 3.5 Hz": (springs, steel),
        "springs, 4.0 Hz": (springs, replace(steel, natural_frequency=(3.9, 4.1))),
        "springs, one type a pack": (springs, replace(steel, mixed=False)),
        "springs, 3 types on site": (springs, replace(steel, most_types=3)),
        "springs, 300 of one type": (springs, replace(steel, stock=stock)),
        "springs, to the last micron": (springs, replace(steel, resolution=0.0)),
        "bearings, 9 Hz": (bearings, rubber),
    }
    print(f"packs for {load.sizes['column']} columns, {load.sizes['case']} cases")
    for name, (parts, rules) in runs.items():
        start = time.perf_counter()
        found: Packs = choose_packs(load, parts, rules=rules)
        seconds = time.perf_counter() - start
        print(
            f"  {name:28s} {seconds:5.2f} s (aim {AIM:g}), spread {found.spread * 1e3:.3f} mm, "
            f"at least {found.spread_bound * 1e3:.3f} mm, {found.parts} parts (at least "
            f"{np.ceil(found.parts_bound - 1e-6):.0f}), {len(found.why)} columns not met; "
            f"{found.proof.split(':')[0]}"
        )
    alone = by_itself(load, springs, steel, 0.0199)
    print(f"  fewest parts within 5 % of 19.9 mm, no common band: spread {alone * 1e3:.3f} mm")


if __name__ == "__main__":
    main()
