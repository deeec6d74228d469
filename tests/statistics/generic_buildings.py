"""Generic buildings as column lines, held against published statistics of many buildings.

The statistics are means over buildings with a deviation either way (E DIN 45672-3:2023, Annex A
[seen second-hand]): ground to foundation, and foundation to the mid-span of concrete floors against
the band over the floor's natural frequency. They say whether a model is an ordinary building. They
do not say whether it predicts a given one, and they are smoothed: a building must scatter about
them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne.bands import third_octaves
from groundborne.propagation import edin_foundation
from groundborne.propagation._edin_floors import RATIO_GAIN, RATIOS
from groundborne.structure import (
    ColumnLine,
    ColumnPhases,
    EdgeSupportedSlab,
    FlatSlab,
    Mobility,
    RectangularFooting,
    SharedFoundation,
    Storey,
)

BANDS = third_octaves(5, 80)
FILE = Path(__file__).with_name("generic_buildings.csv")
_ABOVE = 5.0  # of the natural frequency; beyond it the statistics have no values


@dataclass(frozen=True)
class Comparison:
    """Model less mean of the statistics [dB], and whether each value is within its deviation."""

    off: np.ndarray[Any, Any]
    inside: np.ndarray[Any, Any]

    @property
    def bias(self) -> float:
        return float(self.off.mean())

    @property
    def rms(self) -> float:
        return float(np.sqrt((self.off**2).mean()))

    @property
    def largest(self) -> float:
        return float(abs(self.off).max())

    @property
    def share_inside(self) -> float:
        return float(self.inside.mean())


def buildings() -> pd.DataFrame:
    """One row for each building."""
    return pd.read_csv(FILE, comment="#").set_index("building")


def footing(row: Any, **changes: Any) -> RectangularFooting:
    """The foundation of a building on its soil."""
    length, width = row.foundation_length_m, row.foundation_width_m
    soil = {
        "shear_wave_speed": 220.0 if row.storeys >= 12 else 200.0,
        "density": 1900.0,
        "poisson": 0.35,
        "loss_factor": 0.06,
    }
    return RectangularFooting(
        length=length,
        width=width,
        embedment=row.embedment_m,
        mass=2450.0 * length * width * row.foundation_thickness_m,
        **(soil | changes),
    )


def rigid_share(row: Any) -> Mobility:
    """The share of one column in its foundation, moving as one body."""
    shared = {"raft": 24 if row.storeys >= 12 else 12}.get(row.foundation, 1)
    return SharedFoundation(foundation=footing(row), share=1 / shared)


def line(
    row: Any, *, phases: ColumnPhases, foundation: Callable[[Any], Mobility] = rigid_share
) -> ColumnLine:
    """One interior column, or wall around one panel, of a building."""
    kind = FlatSlab if row.slab_kind == "flat" else EdgeSupportedSlab
    slab = kind.tuned(
        first_resonance=row.fn_hz,
        span_x=row.span_x_m,
        span_y=row.span_y_m,
        thickness=row.slab_thickness_m,
        density=2400.0,
        poisson=0.2,
        loss_factor=0.06,
        superimposed_mass=150.0,
    )
    storeys = tuple(
        Storey(
            floor=i + 1,
            height=row.storey_height_m,
            area=row.column_or_wall_area_per_panel_m2,
            youngs_modulus=33e9,
            density=2450.0,
            loss_factor=0.02,
            slab=slab,
        )
        for i in range(row.storeys)
    )
    return ColumnLine(storeys=storeys, foundation=foundation(row), phases=phases)


def compared(
    row: Any, line: ColumnLine, ground: xr.DataArray | float = 0.0
) -> Mapping[str, Comparison]:
    """Foundation to floors, to the top floor, and ground to foundation, against the statistics.

    `ground` is what happens between the free ground and the foundation beside the line [dB].
    """
    foundation = 10 * np.log10(line.foundation_mean_square(BANDS))
    floors = 10 * np.log10(line.mid_panel_mean_square(BANDS)) - foundation
    ratio = BANDS.values / row.fn_hz
    kept = ratio <= _ABOVE
    gain = {
        name: np.interp(np.log(ratio), np.log(RATIOS), values)
        for name, values in RATIO_GAIN["concrete"].items()
    }

    def of(values: np.ndarray[Any, Any], table: Mapping[str, Any]) -> Comparison:
        inside = (values >= table["lower"]) & (values <= table["upper"])
        return Comparison(off=(values - table["mean"]).ravel(), inside=inside.ravel())

    within = {name: values[kept] for name, values in gain.items()}
    assert not any(math.isnan(v) for values in within.values() for v in values)
    place = {"b": "basement", "g": "ground level"}[row.compared_at]
    coupling = {
        curve: edin_foundation(place, curve=curve).level_change(BANDS).values
        for curve in ("lower", "mean", "upper")
    }
    every = floors.transpose("floor", "frequency").values[:, kept]
    return {
        "floors": of(every, within),
        "top floor": of(every[-1:], within),
        "foundation": of((foundation + ground).transpose("frequency").values, coupling),
    }


def pooled(found: list[Mapping[str, Comparison]]) -> dict[str, Comparison]:
    """All buildings together, every value counted alike."""
    return {
        what: Comparison(
            off=np.concatenate([f[what].off for f in found]),
            inside=np.concatenate([f[what].inside for f in found]),
        )
        for what in found[0]
    }
