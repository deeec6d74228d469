"""How the floors of a column line move in bands: at the column, over the surface, at mid-panel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, known
from groundborne.structure.element import Mobility, RigidMass
from groundborne.structure.ladder import distinct
from groundborne.structure.phases import ColumnPhases
from groundborne.structure.response import mean_square
from groundborne.structure.reverberant import reverberant_above
from groundborne.structure.slab import Slab
from groundborne.structure.storey import FloorName

_RATIOS = {
    "surface": "surface_mean_square_ratio",
    "slab": "surface_mean_square_ratio",
    "mid_panel": "mid_panel_ratio",
    "mean": "mean_velocity_ratio",
}
PLACES = ("column", *_RATIOS)
"""Where the motion of a floor is asked for: of columns, over the surface, over the surface of the
structural slab whatever floats on it, at mid-panel, and the square of the mean over the surface
(the others are means of squares)."""


def mean_squares(
    squared: xr.DataArray,
    frequency: xr.DataArray,
    *,
    slabs: Mapping[FloorName, Slab | Mobility],
    others: Mapping[str, tuple[FloorName, Slab]],
    places: Sequence[str],
    on_floating_floor: bool,
    phases: ColumnPhases,
) -> dict[str, xr.DataArray]:
    """Band means of ``|v/v_free|²`` by place, each different slab asked once [-].

    Parameters
    ----------
    squared : DataArray
        Mean square of the columns over that of the free velocity, on ``floor`` (the floors of
        `slabs`) and the dims of `frequency`.
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
    phases : ColumnPhases
        Of the columns; unless they move in phase, the balance of power takes over above the first
        resonance of a slab.
    """
    kinds, index = distinct([*slabs.values(), *(s for _, s in others.values())])
    nodes = [*slabs, *(floor for floor, _ in others.values())]
    if others:
        names = np.array([*slabs, *others])
        squared = squared.sel(floor=nodes).assign_coords(floor=names)
    labels = dict(zip(index, nodes, strict=True))
    found: dict[str, xr.DataArray] = {}
    for place in places:
        if place == "column":
            found[place] = mean_square(squared)
            continue
        ratios = [
            slab_ratio(
                s,
                frequency,
                place,
                floating=on_floating_floor and place != "slab",
                floor=labels[i],
                phases=phases,
            )
            for i, s in enumerate(kinds)
        ]
        at = [[i for i, kind in enumerate(index) if kind == k] for k in range(len(kinds))]
        means = [
            mean_square(squared.isel(floor=here), ratio)
            for here, ratio in zip(at, ratios, strict=True)
        ]
        joined = xr.concat(means, dim="floor", coords="minimal", compat="override", join="exact")
        found[place] = joined.isel(floor=np.argsort(np.concatenate(at)))
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
    slab: Any,
    frequency: xr.DataArray,
    place: str,
    *,
    floating: bool,
    floor: FloorName,
    phases: ColumnPhases,
) -> Numeric:
    """Mean square at a place of a slab over that of its column [-]."""
    if isinstance(slab, RigidMass):
        return 1.0
    name = _RATIOS[place]
    if not hasattr(slab, name):
        if place == "mean":  # of a slab of the user's own: nothing is known to move as a whole
            return 0.0
        raise ValueError(
            f"ColumnLine: the slab at floor {floor!r} is {type(slab).__name__}, which has no "
            "mid-panel and no surface; use FlatSlab, EdgeSupportedSlab or OneWaySlab"
        )
    # A slab of the user's own may know nothing of floating floors.
    on_top = {"on_floating_floor": True} if floating and hasattr(slab, "floating_floor") else {}
    ratio: xr.DataArray = abs(getattr(slab, name)(frequency, **on_top))
    if place != "surface" and place != "slab":
        ratio = ratio**2
    if phases.in_phase or place == "mean" or not hasattr(slab, "reverberant_ratio"):
        return ratio
    return reverberant_above(slab, frequency, ratio, floating=floating)
