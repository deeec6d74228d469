"""Loads at the isolation plane, as the sums of what the floors above it add."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import known
from groundborne.csv_columns import LOADS, is_wind

WHOLE_KN = 1e3
"""To which loads may have been rounded: those of a column and of its floors then differ by half of
it for each number, and by no more [N]."""


def load_names(held: Iterable[Any]) -> list[str]:
    """Which of the names are loads: those of a table, then further directions of the wind.

    Examples
    --------
    >>> load_names(["x", "wind_ne", "permanent", "wind_x"])
    ['permanent', 'wind_x', 'wind_ne']
    """
    names = [str(n) for n in held]
    further = sorted(n for n in names if is_wind(n) and n not in LOADS)
    return [n for n in LOADS if n in names] + further


def above(by_floor: xr.Dataset, lowest: xr.DataArray | None, *, where: str) -> xr.DataArray:
    """Which floors bear on the plane, on ``column`` and ``floor``.

    Parameters
    ----------
    by_floor : Dataset
        On ``column`` and ``floor``, lowest first.
    lowest : DataArray, optional
        Lowest floor above the plane, on ``column``; the first if not given.
    where : str
        Who asks; it starts the sentence of an error.
    """
    names = [str(name) for name in by_floor["floor"].values]
    if lowest is None:
        lowest = xr.full_like(by_floor["column"], names[0], object)
    for name in lowest.values.tolist():
        known(where, "the lowest floor above the plane", str(name), names)
    first = lowest.copy(data=[names.index(str(name)) for name in lowest.values])
    order = xr.DataArray(np.arange(len(names)), coords={"floor": by_floor["floor"].values})
    found: xr.DataArray = order >= first.drop_attrs()
    return found.transpose("column", "floor").reset_coords(drop=True)


def with_sums(
    held: xr.Dataset, by_floor: xr.Dataset, above: xr.DataArray, *, where: str, file: str
) -> xr.Dataset:
    """The table of columns with the sums over the floors above the plane.

    Raises
    ------
    ValueError
        A load of a floor is below 0 or no number, none lies above the plane, or a load of a column
        is not that of its floors.
    """
    count = above.sum("floor")
    for name in load_names(by_floor):
        each = by_floor[name].transpose("column", "floor", ...)
        bad = ~np.isfinite(np.asarray(each.values, dtype=float)) | (each.values < 0)
        if bad.any():
            column, floor = (
                str(by_floor[dim].values[at])
                for dim, at in zip(("column", "floor"), np.argwhere(bad)[0], strict=False)
            )
            raise ValueError(
                f"{file}: {name} of column {column!r} on floor {floor!r} is no load of 0 N or more"
            )
        total = on_column((each * above).sum("floor"))
        if name == "permanent" and not (total > 0).all():
            at = int(np.argmin(total.min([d for d in total.dims if d != "column"]).values))
            raise ValueError(
                f"{file}: no floor adds to column {str(total['column'].values[at])!r} above "
                "the isolation plane; its loads all lie on floors below it"
            )
        if name in held:
            require_dims(where, name, held, "column")
            off = abs(held[name] - total) > 0.5 * WHOLE_KN * (1 + count)
            if off.any():
                one, other = xr.broadcast(held[name], total)
                at = np.argwhere(off.transpose(*one.dims).values)[0]
                column = one["column"].values[at[one.dims.index("column")]]
                said, found = (float(x.values[tuple(at)]) / 1e3 for x in (one, other))
                raise ValueError(
                    f"{where}: {name} of column {str(column)!r} is {said:g} kN, and its floors "
                    f"above the isolation plane add up to {found:g} kN; they must agree to the "
                    "whole kilonewton for each number"
                )
        held = held.assign({name: total})
    return held


def on_column(load: Any) -> xr.DataArray:
    """A load [N] with ``column`` first, and nothing else known of it."""
    plain = load.reset_coords(drop=True).drop_attrs(deep=False)
    found: xr.DataArray = plain.transpose("column", ...).assign_attrs(units="N")
    return found


def require_dims(where: str, name: str, held: xr.Dataset, *dims: str, alone: bool = False) -> None:
    """Refuse a table whose array of this name lacks dims, or has others where it must not."""
    there = held[name].dims if name in held else ()
    if not set(dims) <= set(there) or (alone and len(there) > len(dims)):
        on = " and ".join(map(repr, dims))
        raise ValueError(f"{where}: {name!r} on the dim{'s' * (len(dims) > 1)} {on} is needed")
