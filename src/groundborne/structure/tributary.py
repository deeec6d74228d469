"""What each column carries of the floors, which columns a room hears, and means over columns."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, positive
from groundborne.citation import Citation
from groundborne.path.columns import weighted_mean
from groundborne.structure.column_line import ColumnLine

TRIBUTARY = Citation(
    key="tributary-area-mean",
    author="groundborne",
    title="mean square of a floor from those at its columns, each by the area it carries",
    mark="derived",
    status="transcribed",
)

AROUND = Citation(
    key="columns-around-a-room",
    author="groundborne",
    title="a panel moves by the bilinear mean of the columns at its corners, over the room's floor",
    mark="derived",
    status="transcribed",
)
_POINTS = 12  # along each side of a room: shares within 0.01 of a fine grid
_REACH = 1.5  # spans, beyond which a room stands on no panel of the column


@checked
def columns_around(
    *, rooms: xr.Dataset, columns: xr.Dataset, span_x: Numeric, span_y: Numeric
) -> xr.DataArray:
    """Share of each column in what each room hears.

    Parameters
    ----------
    rooms : Dataset
        On ``room``: centre ``x`` and ``y``, ``length`` along x and ``width`` along y [m].
    columns : Dataset
        On ``column``: ``x`` and ``y`` [m].
    span_x, span_y : float or DataArray
        Column grid [m], along x and y; DataArrays on ``column``.

    Returns
    -------
    DataArray
        On (``room``, ``column``), adding up to 1 over the columns [-].

    Raises
    ------
    ValueError
        A table lacks a place; a room of which no point lies within a span of a column, named with
        the nearest column and its distance.

    Notes
    -----
    At each point of the room a column counts by ``max(0, 1 − |Δx|/a) max(0, 1 − |Δy|/b)``: on a
    regular grid the bilinear share of the four corners of the panel. The shares of the points are
    added over the room and made to add up to 1; beyond the outermost columns, and where a grid is
    irregular, that keeps the nearest ones. Points that no column reaches within its span take
    those within one and a half.

    Examples
    --------
    >>> rooms = xr.Dataset({"x": ("room", [4.0]), "y": ("room", [0.0]), "length": ("room", [2.0]),
    ...                     "width": ("room", [2.0])}, coords={"room": ["office"]})
    >>> columns = xr.Dataset({"x": ("column", [0.0, 8.0, 16.0]), "y": ("column", [0.0] * 3)},
    ...                      coords={"column": ["A1", "B1", "C1"]})
    >>> shares = columns_around(rooms=rooms, columns=columns, span_x=8.0, span_y=7.5)
    >>> shares.round(2).values.tolist()
    [[0.5, 0.5, 0.0]]
    """
    where = "columns_around"
    for name, table, needed in (
        ("rooms", rooms, ("x", "y", "length", "width")),
        ("columns", columns, ("x", "y")),
    ):
        for wanted in needed:
            known(where, f"variable of {name}", wanted, [str(v) for v in table.data_vars])
    positive(where, "span_x", span_x, "m")
    positive(where, "span_y", span_y, "m")
    across = (np.arange(_POINTS) + 0.5) / _POINTS - 0.5
    point = xr.DataArray(across, dims="point_x"), xr.DataArray(across, dims="point_y")

    def tent(axis: str, side: str, at: xr.DataArray, span: Numeric, reach: float) -> xr.DataArray:
        apart = abs(rooms[axis] + at * rooms[side] - columns[axis]) / (span * reach)
        return (1 - apart).clip(min=0.0)

    def share(reach: float) -> xr.DataArray:
        by_x = tent("x", "length", point[0], span_x, reach)
        by_y = tent("y", "width", point[1], span_y, reach)
        return by_x * by_y

    at_points = share(1.0)
    lost = at_points.sum("column") == 0
    if bool(lost.any()):
        at_points = xr.where(lost, share(_REACH), at_points)
    total = at_points.sum(["point_x", "point_y"])
    whole = total.sum("column")
    if bool((whole == 0).any()):
        room = str(whole["room"].values[(whole == 0).values][0])
        here = rooms.sel(room=room)
        apart = ((columns["x"] - here["x"]) ** 2 + (columns["y"] - here["y"]) ** 2) ** 0.5
        nearest = int(np.argmin(apart.values))
        raise ValueError(
            f"{where}: room {room!r} at ({float(here['x']):g}, {float(here['y']):g}) m stands on "
            f"no column; the nearest is {str(columns['column'].values[nearest])!r}, "
            f"{float(apart[nearest]):.1f} m away, and a column carries to {_REACH:g} spans"
        )
    found: xr.DataArray = (total / whole).transpose("room", "column", ...)
    return found.reset_coords(drop=True).drop_attrs(deep=False)


@checked
def column_weights(*, line: ColumnLine) -> xr.DataArray:
    """Share of each column in the floor area that all columns carry.

    Parameters
    ----------
    line : ColumnLine
        Slabs that state a span and a ``panel_share`` (1 interior, 0.5 edge, 0.25 corner) count;
        a rigid mass or an infinite plate states no area.

    Returns
    -------
    DataArray
        On ``column``, adding up to 1 [-]; without that dim, 1, where the line is one column or its
        columns carry alike.

    Notes
    -----
    ``<v²> = Σ A_i v_i² / Σ A_i``: a corner column stands for a quarter of the floor that an
    interior one stands for.

    References
    ----------
    Derived.

    Examples
    --------
    >>> from groundborne.structure import FlatSlab, SpringFoundation, Storey
    >>> share = xr.DataArray([1.0, 0.5, 0.25], coords={"column": ["B2", "B1", "A1"]})
    >>> slab = FlatSlab(span_x=8.0, span_y=7.5, thickness=0.28, youngs_modulus=38e9,
    ...                 density=2400.0, poisson=0.2, loss_factor=0.05, panel_share=share)
    >>> storey = Storey(floor=1, height=3.6, area=0.25, youngs_modulus=35e9, density=2450.0,
    ...                 loss_factor=0.02, slab=slab)
    >>> line = ColumnLine(storeys=(storey,), foundation=SpringFoundation(
    ...     stiffness=1e9, damping=6e6))
    >>> column_weights(line=line).round(3).values.tolist()
    [0.571, 0.286, 0.143]
    """
    area: Numeric = 0.0
    for slab in line.slabs:
        here: Any = slab
        if hasattr(here, "panel_share"):
            area = area + here.panel_share * here.span_x * here.span_y
    carried = xr.DataArray(area)
    if "column" not in carried.dims:
        return xr.DataArray(1.0)
    weight: xr.DataArray = carried / carried.sum("column", skipna=False)
    return weight.drop_attrs(deep=False)


@checked
def column_mean(values: xr.DataArray, *, weights: xr.DataArray) -> xr.DataArray:
    """Mean over columns, each by its weight.

    Parameters
    ----------
    values : DataArray
        Mean squares or ratios of them; without ``column`` they are returned as they are.
    weights : DataArray
        From :func:`column_weights`, of the same columns.

    Raises
    ------
    ValueError
        The columns of both differ.

    Examples
    --------
    >>> at = {"column": ["B2", "A1"]}
    >>> column_mean(xr.DataArray([1.0, 6.0], coords=at),
    ...             weights=xr.DataArray([0.8, 0.2], coords=at)).item()
    2.0
    """
    if "column" not in values.dims:
        return values
    if "column" not in weights.dims:
        return values.mean("column", skipna=False)
    return weighted_mean(values, weights)
