"""How the floors of a column line move in bands: at the column, over the surface, at mid-panel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, known
from groundborne.structure.element import Mobility, RigidMass
from groundborne.structure.ladder import distinct
from groundborne.structure.response import mean_square
from groundborne.structure.slab import Slab
from groundborne.structure.storey import FloorName

_RATIOS = {"surface": "surface_mean_square_ratio", "mid_panel": "mid_panel_ratio"}
PLACES = ("column", *_RATIOS)
"""Where the motion of a floor is asked for."""


def mean_squares(
    velocity: xr.DataArray,
    frequency: xr.DataArray,
    *,
    slabs: Mapping[FloorName, Slab | Mobility],
    others: Mapping[str, tuple[FloorName, Slab]],
    places: Sequence[str],
    on_floating_floor: bool,
) -> dict[str, xr.DataArray]:
    """Band means of ``|v/v_free|²`` by place, each different slab asked once [-].

    Parameters
    ----------
    velocity : DataArray
        Of the columns over the free velocity, on ``floor`` (the floors of `slabs`) and the dims of
        `frequency`.
    frequency : DataArray
        Frequencies inside bands [Hz].
    slabs : mapping of str or int to Slab
        Of the line, by floor.
    others : mapping of str to (floor, Slab)
        Beside them, see :func:`besides`.
    places : sequence of str
        Of :data:`PLACES`.
    on_floating_floor : bool
        On top of the floating floor where a slab has one.
    """
    kinds, index = distinct([*slabs.values(), *(s for _, s in others.values())])
    nodes = [*slabs, *(floor for floor, _ in others.values())]
    if others:
        names = np.array([*slabs, *others])
        velocity = velocity.sel(floor=nodes).assign_coords(floor=names)
    labels = dict(zip(index, nodes, strict=True))
    found: dict[str, xr.DataArray] = {}
    for place in places:
        if place == "column":
            found[place] = mean_square(velocity)
            continue
        ratios = [
            slab_ratio(s, frequency, _RATIOS[place], on_floating_floor, labels[i])
            for i, s in enumerate(kinds)
        ]
        means = [mean_square(velocity.isel(floor=i), ratios[k]) for i, k in enumerate(index)]
        found[place] = xr.concat(
            means, dim=velocity["floor"], coords="minimal", compat="override", join="exact"
        )
    return found


def besides(
    given: Mapping[str, tuple[FloorName, Slab]], floors: Sequence[FloorName]
) -> Mapping[str, tuple[FloorName, Slab]]:
    """Slabs beside those of a line, by names of their own; refuses names and floors that clash."""
    for name, (floor, _) in given.items():
        known(f"ColumnLine: slab {name!r}", "floor", floor, [str(n) for n in floors])
        if name in floors or not isinstance(floor, str):
            raise ValueError(
                f"ColumnLine: slab {name!r} on floor {floor!r}: slabs beside those of the line "
                "need floors with names, and names of their own"
            )
    return given


def slab_ratio(
    slab: Any, frequency: xr.DataArray, name: str, floating: bool, floor: FloorName
) -> Numeric:
    """Mean square on a slab over that of its column [-], at mid-panel or over the surface."""
    if isinstance(slab, RigidMass):
        return 1.0
    if not hasattr(slab, name):
        raise ValueError(
            f"ColumnLine: the slab at floor {floor!r} is {type(slab).__name__}, which has no "
            "mid-panel and no surface; use FlatSlab, EdgeSupportedSlab or OneWaySlab"
        )
    # A slab of the user's own may know nothing of floating floors.
    on_top = {"on_floating_floor": True} if floating and hasattr(slab, "floating_floor") else {}
    ratio: xr.DataArray = abs(getattr(slab, name)(frequency, **on_top))
    return ratio**2 if name == "mid_panel_ratio" else ratio
