"""What each column of a line carries of the floors, and means over columns weighted by it."""

from __future__ import annotations

from typing import Any

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric
from groundborne.citation import Citation
from groundborne.structure.column_line import ColumnLine

TRIBUTARY = Citation(
    key="tributary-area-mean",
    author="groundborne",
    title="mean square of a floor from those at its columns, each by the area it carries",
    mark="derived",
    status="transcribed",
)


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
    >>> storey = Storey(level=1, height=3.6, area=0.25, youngs_modulus=35e9, density=2450.0,
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
    values, weights = xr.align(values, weights, join="exact", copy=False)
    mean: xr.DataArray = (values * weights).sum("column", skipna=False)
    return mean
