"""Columns in plan: movement between neighbours, and the plane through all of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import finite, positive
from groundborne.citation import Citation, citation_texts
from groundborne.structure.supports import named_columns, on_columns

MOVEMENT = Citation(
    key="column-movement",
    author="groundborne",
    title="difference between neighbours and plane of least squares through the columns",
    mark="derived",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class MovementLimits:
    """What the structure, lifts and façade bear; from the structural engineer.

    Parameters
    ----------
    differential : float
        Largest difference of movement between neighbouring columns [m], above 0.
    tilt : float
        Largest slope of the plane through all columns [-], above 0; 1/5000 is 0.0002.

    Examples
    --------
    >>> MovementLimits(differential=3.0, tilt=1 / 5000)
    Traceback (most recent call last):
    ...
    ValueError: MovementLimits: differential is 3; above 0.1 m no frame follows, is it in mm?
    """

    differential: float
    tilt: float

    def __post_init__(self) -> None:
        where = "MovementLimits"
        positive(where, "differential", self.differential, "m")
        positive(where, "tilt", self.tilt, "")
        if self.differential > 0.1:
            raise ValueError(
                f"{where}: differential is {self.differential:g}; above 0.1 m no frame follows, "
                "is it in mm?"
            )
        if self.tilt > 0.1:
            raise ValueError(
                f"{where}: tilt is {self.tilt:g}; above 0.1 no building stands, is it 1 in so many?"
            )


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class ColumnPlan:
    """Columns in plan, and which of them are neighbours.

    Parameters
    ----------
    x, y : DataArray
        Position [m] on ``column``, which names the columns.
    neighbour_distance : float
        Columns no further apart than this [m] are neighbours.

    Raises
    ------
    ValueError
        Columns without names, fewer than three, all in line, two at one place, or a distance
        within which there are no neighbours at all.

    Examples
    --------
    >>> corners = {"column": ["A1", "B1", "B2", "A2"]}
    >>> plan = ColumnPlan(x=xr.DataArray([0.0, 6.0, 6.0, 0.0], dims="column", coords=corners),
    ...                   y=xr.DataArray([0.0, 0.0, 6.0, 6.0], dims="column", coords=corners),
    ...                   neighbour_distance=6.1)
    >>> plan.pairs.pair.values.tolist()
    ['A1-B1', 'A1-A2', 'B1-B2', 'B2-A2']
    """

    x: xr.DataArray
    y: xr.DataArray
    neighbour_distance: float

    def __post_init__(self) -> None:
        where = "ColumnPlan"
        x = named_columns(where, "x", self.x)
        finite(where, "x", x)
        positive(where, "neighbour_distance", self.neighbour_distance, "m")
        object.__setattr__(self, "x", x.astype(float))
        object.__setattr__(self, "y", on_columns(where, "y", self.y, x.column))
        if self.x.dims != ("column",) or self.y.dims != ("column",):
            raise ValueError(f"{where}: x and y must have dim 'column' only; one plan at a time")
        if np.linalg.matrix_rank(self._design) < 3:
            raise ValueError(
                f"{where}: by x and y the {x.size} columns are in line or fewer than three; "
                "no plane can be laid through them"
            )
        first, second = np.nonzero(np.triu(self._distance == 0, 1))
        if first.size:
            names = x["column"].values
            raise ValueError(
                f"{where}: columns {names[first[0]]} and {names[second[0]]} are at the same place"
            )
        if not self.adjacent.any():
            raise ValueError(
                f"{where}: no two columns lie within neighbour_distance "
                f"{self.neighbour_distance:g} m; the nearest are "
                f"{np.min(self._distance[self._distance > 0]):.3g} m apart"
            )

    @property
    def column(self) -> xr.DataArray:
        """Names of the columns."""
        return self.x["column"]

    @property
    def _distance(self) -> np.ndarray[Any, Any]:
        x, y = self.x.values, self.y.values
        distance: np.ndarray[Any, Any] = np.hypot(x[:, None] - x, y[:, None] - y)
        return distance

    @property
    def _design(self) -> np.ndarray[Any, Any]:
        x, y = self.x.values, self.y.values
        return np.stack([np.ones_like(x), x - x.mean(), y - y.mean()], axis=-1)

    @property
    def adjacent(self) -> np.ndarray[Any, Any]:
        """Whether the column of the row and that of the line are neighbours."""
        near: np.ndarray[Any, Any] = self._distance <= self.neighbour_distance
        return near & ~np.eye(self.x.size, dtype=bool)

    @property
    def pairs(self) -> xr.Dataset:
        """Pairs of neighbours on ``pair``: ``first``, ``second`` (names) and ``distance`` [m]."""
        i, j = np.nonzero(np.triu(self.adjacent))
        names = self.column.values
        labels = [f"{a}-{b}" for a, b in zip(names[i], names[j], strict=True)]
        return xr.Dataset(
            {
                "first": ("pair", names[i]),
                "second": ("pair", names[j]),
                "distance": ("pair", self._distance[i, j], {"units": "m"}),
            },
            coords={"pair": labels},
        )

    @property
    def slope_operator(self) -> np.ndarray[Any, Any]:
        """Matrix (2, columns) that turns movements into the slopes of the plane along x and y."""
        operator: np.ndarray[Any, Any] = np.linalg.pinv(self._design)[1:]
        return operator

    def differential(self, movement: xr.DataArray) -> xr.DataArray:
        """Difference of movement between neighbours [m], 0 or more, on ``pair``.

        Parameters
        ----------
        movement : DataArray
            On ``column`` [m]; further dims are kept.

        Returns
        -------
        xarray.DataArray
            On ``pair`` instead of ``column``.
        """
        moved = on_columns("ColumnPlan.differential", "movement", movement, self.column)
        i, j = np.nonzero(np.triu(self.adjacent))
        pairs = self.pairs["pair"]
        first, second = (
            moved.isel(column=xr.DataArray(k, dims="pair")).drop_vars("column") for k in (i, j)
        )
        result: xr.DataArray = abs(first - second).assign_coords(pair=pairs)
        return result.assign_attrs(units="m", long_name="movement between neighbours")

    def plane(self, movement: xr.DataArray) -> xr.Dataset:
        """Plane of least squares through the columns.

        Parameters
        ----------
        movement : DataArray
            On ``column`` [m], downwards; further dims are kept.

        Returns
        -------
        xarray.Dataset
            ``average`` [m], ``tilt_x``, ``tilt_y``: sinking per metre along x and y, ``tilt`` their
            resultant, and ``departure`` [m] of each column from the plane.
        """
        moved = on_columns("ColumnPlan.plane", "movement", movement, self.column)
        operator = xr.DataArray(
            self.slope_operator, dims=("axis", "column"), coords={"column": self.column.values}
        )
        slope = xr.dot(operator, moved, dim="column")
        tilt_x, tilt_y = slope.isel(axis=0), slope.isel(axis=1)
        mean = moved.mean("column")
        x, y = self.x - self.x.mean(), self.y - self.y.mean()
        tilt: Any = np.hypot(tilt_x, tilt_y)
        return xr.Dataset(
            {
                "average": mean.assign_attrs(units="m"),
                "tilt_x": tilt_x,
                "tilt_y": tilt_y,
                "tilt": tilt.assign_attrs(long_name="tilt"),
                "departure": (moved - mean - tilt_x * x - tilt_y * y).assign_attrs(units="m"),
            },
            attrs={"citations": citation_texts([MOVEMENT])},
        )
