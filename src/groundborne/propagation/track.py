"""Where the track lies, and how far from it columns and rooms are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, known, not_negative


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Track:
    """The centre line of a track in plan.

    Parameters
    ----------
    points : sequence of (float, float)
        Corners of the line (x, y) [m], two or more, in the plan of columns and rooms. Give it at
        least as long as the ground that the building feels: distances are to its nearest point.
    depth : float or DataArray
        Of the rails below the level at which vibration is measured [m], 0 or more.

    Raises
    ------
    ValueError
        Fewer than two points, or two alike that follow each other.

    Examples
    --------
    >>> track = Track(points=((-50.0, -9.0), (80.0, -9.0)))
    >>> places = xr.Dataset({"x": ("column", [0.0, 8.0]), "y": ("column", [0.0, 15.0])},
    ...                     coords={"column": ["A1", "B3"]})
    >>> track.distance(places).values.tolist()
    [9.0, 24.0]
    """

    points: Sequence[tuple[float, float]]
    depth: Numeric = 0.0

    def __post_init__(self) -> None:
        not_negative("Track", "depth", self.depth, "m")
        corners = np.array(self.points, dtype=float)
        if len(corners) < 2:
            raise ValueError(f"Track: {len(corners)} points; a line needs two or more")
        finite("Track", "points", xr.DataArray(corners, dims=("point", "axis")))
        for first, second in pairwise(corners.tolist()):
            if first == second:
                raise ValueError(f"Track: the point {tuple(first)} is given twice in a row")
        object.__setattr__(self, "points", tuple((float(x), float(y)) for x, y in corners))

    def distance(self, places: xr.Dataset) -> xr.DataArray:
        """Distance to the nearest point of the line, on the slope where it lies deep [m].

        Parameters
        ----------
        places : Dataset
            ``x`` and ``y`` [m], on ``column``, ``room`` or any other dim.

        Raises
        ------
        ValueError
            Places are missing, or one lies on the track itself.
        """
        for axis in ("x", "y"):
            known("Track.distance", "variable of places", axis, [str(v) for v in places.data_vars])
        x, y = places["x"], places["y"]
        legs: list[xr.DataArray] = []
        for (x0, y0), (x1, y1) in pairwise(self.points):
            along_x, along_y = x1 - x0, y1 - y0
            share = ((x - x0) * along_x + (y - y0) * along_y) / (along_x**2 + along_y**2)
            share = share.clip(0.0, 1.0)
            legs.append(((x - x0 - share * along_x) ** 2 + (y - y0 - share * along_y) ** 2) ** 0.5)
        nearest = xr.concat(legs, dim="leg", join="exact").min("leg", skipna=False)
        least = (nearest**2 + self.depth**2) ** 0.5
        if bool((least <= 0).any()):
            at = np.argwhere(np.asarray(least.values) <= 0)[0]
            labels = ((d, str(least[d].values[i])) for d, i in zip(least.dims, at, strict=True))
            place = ", ".join(f"{dim} {label!r}" for dim, label in labels) or "the place"
            raise ValueError(f"Track.distance: {place} lies on the track; its distance is 0 m")
        return least.drop_attrs(deep=False).assign_attrs(
            long_name="distance from the track", units="m"
        )
