"""Loads after the loss of a column, by the floors above as a plate on the packs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from groundborne.sizing.loads.table import ColumnLoads
from groundborne.sizing.lost_columns.floors_above import BOUNDS, FloorsAbove
from groundborne.structure.lifting_springs import TippingError


def loads_by_frame(
    loads: ColumnLoads,
    before: xr.DataArray,
    floors: FloorsAbove,
    handed: xr.DataArray,
    itself: xr.DataArray,
    held: Sequence[str],
) -> tuple[xr.DataArray, xr.DataArray]:
    """Loads after each loss, and pulls that would hold columns down, on ``rigidity``."""
    stiffness = floors.support_stiffness(before)
    x, y = (loads.data[k].drop_vars("row", errors="ignore").drop_attrs() for k in ("x", "y"))
    holds = before["column"].isin(list(held)).drop_attrs()
    # packs are squeezed by their loads under floors that are level
    raised = before / stiffness
    stands, factor = xr.where(itself, handed, before), (~itself).astype(float)
    found = []
    for bound in BOUNDS:
        plate = floors.plate(x, y, stiffness, bound=bound)
        try:
            reaction = plate.response(stands, raised=raised, factor=factor, holds_down=holds)[
                "reaction"
            ].transpose("lost", "column")
        except TippingError as error:
            text = str(error).removeprefix("PlateOnSprings.response: ")
            raise ValueError(
                f"remove_columns: {text} (columns to hold down go into held; else the loss is the "
                "structural engineer's to solve)"
            ) from None
        pull = (-reaction).clip(min=0.0)
        off = (reaction == 0) & ~itself & ~holds
        which, column = np.nonzero(off.transpose("lost", "column").values)
        if which.size:
            at = xr.DataArray(which, dims="one")
            lone = xr.DataArray(column, dims="one") == xr.DataArray(
                np.arange(before.size), dims="column"
            )
            alone = plate.response(
                stands.isel(lost=at).drop_vars("lost"),
                raised=raised,
                factor=factor.isel(lost=at).drop_vars("lost"),
                holds_down=holds | lone,
            )["reaction"].transpose("one", "column")
            pull.values[which, column] = np.maximum(-alone.values[np.arange(which.size), column], 0)
        found.append(xr.Dataset({"reaction": reaction, "pull": pull}))
    both = xr.concat(found, dim=xr.DataArray(list(BOUNDS), dims="rigidity", name="rigidity"))
    return both["reaction"].drop_attrs(), both["pull"].drop_attrs()
