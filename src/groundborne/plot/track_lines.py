"""Where the track lies beside a building, as far as a study says it."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.path import Path
from matplotlib.transforms import Bbox

from groundborne.study import Study

Array = np.ndarray[Any, Any]


def nearest_point(line: Array, place: Array) -> Array:
    """Point of a line of corners that lies nearest to a place."""
    first, along = line[:-1], np.diff(line, axis=0)
    share = ((place - first) * along).sum(axis=1) / (along**2).sum(axis=1)
    points = first + np.clip(share, 0, 1)[:, None] * along
    found: Array = points[((points - place) ** 2).sum(axis=1).argmin()]
    return found


def places_of(study: Study, part: str | None = None) -> Array:
    """Columns and corners of rooms in plan, shape (n, 2) [m]; empty where none has a place.

    Parameters
    ----------
    study : Study
        With its building.
    part : str, optional
        Only those of one part.
    """
    building = study.building
    found = [np.empty((0, 2))]
    columns = columns_of(study, part)
    if columns is not None:
        found.append(np.stack([columns["x"].values, columns["y"].values], axis=-1))
    rooms = building.rooms
    if {"x", "y"} <= set(rooms.variables):
        here = rooms if part is None else rooms.sel(room=list(study.part(part).rooms))
        x, y, length, width = (here[n].values for n in ("x", "y", "length", "width"))
        found += [
            np.stack([x + s * length / 2, y + t * width / 2], axis=-1)
            for s in (-1, 1)
            for t in (-1, 1)
        ]
    return np.concatenate(found)


def columns_of(study: Study, part: str | None = None) -> xr.Dataset | None:
    """Columns of the building, or of one part."""
    if part is None or not part:
        return study.building.columns
    loads = study.part(part).loads
    return None if loads is None else loads.data


def track_line(study: Study) -> Array | None:
    """Its centre line in plan, shape (n, 2) [m]; None where nobody says where it lies."""
    track, site = study.building.track, study.site
    if track is not None:
        return np.array(track.points)
    places = places_of(study)
    if not site.track_side or not places.size:
        return None
    assert site.track_offset is not None
    low, high = places.min(axis=0), places.max(axis=0)
    middle, reach = (low + high) / 2, 10 * max(float((high - low).max()), 1.0)
    ends = np.array([middle, middle])
    across = 1 if site.track_side[0] == "y" or site.track_side.endswith("x") else 0
    if site.is_below:
        ends[:, across] += site.track_offset
    elif site.track_side.endswith("-"):
        ends[:, across] = low[across] - site.track_offset
    else:
        ends[:, across] = high[across] + site.track_offset
    ends[:, 1 - across] = [middle[1 - across] - reach, middle[1 - across] + reach]
    return ends


def track_distance(study: Study, part: str | None = None) -> float | None:
    """From a building, or a part of it, to the centre of the near track in plan [m].

    0 where the track lies under it, None where nobody says where it lies.
    """
    site = study.site
    if study.building.track is None and part is None and site.track_side:
        return 0.0 if site.is_below else site.track_offset
    line, places = track_line(study), places_of(study, part)
    if line is None or not places.size:
        return None
    low, high = places.min(axis=0), places.max(axis=0)
    if Path(line).intersects_bbox(Bbox([low, high]), filled=False):
        return 0.0
    return min(float(np.hypot(*(nearest_point(line, p) - p))) for p in places)
