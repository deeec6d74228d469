"""Where the load of a lost column goes: by floors that bend, or by distance on the grid."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import positive
from groundborne.loads import ColumnLoads
from groundborne.sizing.lost_columns.floors_above import BOUNDS, FloorsAbove
from groundborne.structure.lifting_springs import TippingError

ROUGH = (
    "rough rule: what is handed over does not balance about the lost column at edges and corners, "
    "the next column there takes too little, and columns beyond are not seen to unload"
)


@checked(infinite=("return",))  # columns that share no line
def adjacent_columns(loads: ColumnLoads, *, off_grid: float = 0.5) -> xr.DataArray:
    """Next column along the grid in each of the four directions.

    Parameters
    ----------
    loads : ColumnLoads
        Gives the positions.
    off_grid : float
        How far a column may stand beside the line of another [m].

    Returns
    -------
    DataArray
        Distance [m] to the next columns, infinite elsewhere, dims (lost, column).

    Raises
    ------
    ValueError
        `off_grid` is not above 0.

    Examples
    --------
    >>> import xarray as xr
    >>> at = ("column", [0.0, 6.0, 13.0])
    >>> data = xr.Dataset({"x": at, "y": ("column", [0.0] * 3), "permanent": ("column", [5e6] * 3),
    ...     "imposed": ("column", [1e5] * 3)}, coords={"column": ["A", "B", "C"]})
    >>> adjacent_columns(ColumnLoads(data=data, revision="P1")).values[1].tolist()
    [6.0, inf, 7.0]
    """
    positive("adjacent_columns", "off_grid", off_grid, "m")
    x, y = (np.asarray(loads.data[n].values, dtype=float) for n in ("x", "y"))
    distance = np.full((x.size, x.size), np.inf)
    for along, across in ((x, y), (y, x)):
        step = along[None, :] - along[:, None]
        on_line = np.abs(across[None, :] - across[:, None]) <= off_grid
        for sign in (1.0, -1.0):
            ahead = np.where(on_line & (sign * step > off_grid), sign * step, np.inf)
            near = np.where(ahead == ahead.min(axis=1, keepdims=True), ahead, np.inf)
            distance = np.minimum(distance, near)
    names = loads.data["column"].values
    return xr.DataArray(
        distance,
        coords={"lost": names, "column": names},
        dims=("lost", "column"),
        attrs={"units": "m"},
    )


def shares_by_distance(loads: ColumnLoads, chosen: Sequence[str], off_grid: float) -> xr.DataArray:
    """Share of the next columns on the grid, in inverse proportion to the distance.

    Parameters
    ----------
    loads : ColumnLoads
        Gives the positions.
    chosen : sequence of str
        Columns to lose.
    off_grid : float
        How far a column may stand beside the line of another [m].

    Returns
    -------
    DataArray
        Dims (lost, column); the shares of each lost column add up to 1.

    Raises
    ------
    ValueError
        A column with no other on its lines.
    """
    weight = 1 / adjacent_columns(loads, off_grid=off_grid).sel(lost=list(chosen)).drop_attrs()
    total = weight.sum("column")
    if bool((total == 0).any()):
        name = str(weight["lost"].values[int(np.argmax(total.values == 0))])
        raise ValueError(
            f"lose_columns: {name!r} has no other column on its grid lines within {off_grid:g} "
            "m; raise off_grid, or take its loss from the structural engineer"
        )
    share: xr.DataArray = weight / total
    return share


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
                f"lose_columns: {text} (columns to hold down go into held; else the loss is the "
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
