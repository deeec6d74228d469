"""Rooms of one floor in plan, coloured by a level, with the columns and the track."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.patches import Rectangle

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.plot.style import figure_of, grid, literal, new_axes, numbers, plain_dims
from groundborne.plot.track_lines import nearest_point
from groundborne.study import Study

# Even in lightness and the same to the colour-blind; reversed, so that louder is darker on paper.
_COLOURS = "cividis_r"
_FIELD = 0.06
"""Room around rooms and columns, as a share of their extent [-]."""


@checked(own_labels=["values"])  # of the rooms of one floor, or of more
def plan(
    values: xr.DataArray, *, study: Study, floor: str | Sequence[str], ax: Axes | None = None
) -> Axes:
    """Plan of the rooms on one floor: a number in each, darker where it is larger.

    Parameters
    ----------
    values : DataArray
        One number for each ``room``, rooms of other floors among them; ``attrs`` tell
        ``long_name`` and ``units``.
    study : Study
        Whose rooms have places, on both axes; its columns and its track are drawn where it has
        them.
    floor : str or sequence of str
        What is drawn: one floor, or floors of parts that stand side by side.
    ax : Axes, optional
        Where to draw; a new figure by default. The colour bar takes a part of it.

    Returns
    -------
    Axes
        Metres to one scale on both axes. Rooms are rectangles, their length along x and their
        width along y, around their places; columns are dots. Of the track the part is drawn that
        lies within the view, which reaches to its nearest point.

    Raises
    ------
    StudyError
        No room of the floor has a place.
    ValueError
        A room without a number, or dims beside ``room``.

    Examples
    --------
    >>> from groundborne import read_study
    >>> study = read_study("data/assembly_hall/study.toml")
    >>> area = study.building.rooms["length"] * study.building.rooms["width"]
    >>> ax = plan(area.assign_attrs(units="m²"), study=study, floor=["upper", "A upper"])
    >>> [text.get_text().splitlines()[0] for text in ax.texts][:2]
    ['H1.1', 'H1.2']
    """
    where = "plot.plan"
    rooms = study.building.rooms
    floors = [floor] if isinstance(floor, str) else list(floor)
    for name in floors:
        known(where, "floor", name, study.building.floors["floor"].values.tolist(), StudyError)
    here = rooms.isel(room=rooms["floor_of_room"].isin(floors).values)
    if here.sizes["room"] == 0 or not {"x", "y"} <= set(here.variables):
        raise StudyError(
            f"{where}: no room on floor {', '.join(map(repr, floors))} has a place; give 'x_m' and "
            "'y_m' in the table of rooms"
        )
    missing = [str(r) for r in here["room"].values if r not in values["room"].values]
    if missing:
        raise ValueError(f"{where}: values hold no number of the room {missing[0]!r}")
    shown = plain_dims(values.sel(room=here["room"].values), ("room",), "plan")
    numbers(shown, "plan")
    low, high = float(shown.min()), float(shown.max())
    norm = Normalize(low, high) if high - low > 1e-9 else Normalize(low - 1, high + 1)
    colours = mpl.colormaps[_COLOURS]
    corners = _corners(here, study.building.columns)
    low_corner, high_corner = _view(corners, study)
    wide, tall = (high_corner - low_corner).tolist()
    inches = min(5.5 / wide, 6.5 / tall)
    ax = new_axes(ax, size=(max(inches * wide + 1.6, 4.0), max(inches * tall + 0.7, 2.6)))
    ax.set_aspect("equal", adjustable="box")
    ax.set_xlim(low_corner[0], high_corner[0])
    ax.set_ylim(low_corner[1], high_corner[1])
    each = zip(here["room"].values.tolist(), shown.values.tolist(), *_sides(here), strict=True)
    for name, value, x, y, length, width in each:
        colour = colours(norm(value))
        ax.add_patch(
            Rectangle((x - length / 2, y - width / 2), length, width, facecolor=colour,
                      edgecolor="black", linewidth=0.8, zorder=2)
        )  # fmt: skip
        dark = 0.299 * colour[0] + 0.587 * colour[1] + 0.114 * colour[2] < 0.5
        ax.text(
            x, y, f"{literal(name, width=12, lines=1)}\n{round(value, 1) + 0.0:.1f}",
            ha="center", va="center", fontsize=7, color="white" if dark else "black", zorder=4,
        )  # fmt: skip
    columns = study.building.columns
    if columns is not None:
        ax.plot(columns["x"], columns["y"], "s", color="black", markersize=3, zorder=3)
    if study.building.track is not None:
        line = np.array(study.building.track.points)
        ax.plot(line[:, 0], line[:, 1], color="0.35", linewidth=3, zorder=1, clip_on=True)
        _name_track(ax, line)
    bar = figure_of(ax).colorbar(
        ScalarMappable(norm, _COLOURS), ax=ax, shrink=0.85, pad=0.02, aspect=28
    )
    what = literal(shown.attrs.get("long_name", str(shown.name)), width=40)
    unit = str(shown.attrs.get("units", ""))
    bar.set_label(f"{what}, {literal(unit)}" if unit else what)
    ax.set_xlabel("x, m")
    ax.set_ylabel("y, m")
    grid(ax)
    return ax


def _sides(rooms: xr.Dataset) -> tuple[list[float], ...]:
    return tuple(rooms[name].values.tolist() for name in ("x", "y", "length", "width"))


def _corners(rooms: xr.Dataset, columns: xr.Dataset | None) -> np.ndarray[Any, Any]:
    """Corners of the rooms, and places of the columns [m]."""
    x, y, length, width = (rooms[n].values for n in ("x", "y", "length", "width"))
    found = [
        np.stack([x + s * length / 2, y + t * width / 2], axis=-1) for s in (-1, 1) for t in (-1, 1)
    ]
    if columns is not None:
        found.append(np.stack([columns["x"].values, columns["y"].values], axis=-1))
    return np.concatenate(found)


def _view(
    corners: np.ndarray[Any, Any], study: Study
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Lower left and upper right corner: all rooms and columns, and the nearest of the track."""
    track = study.building.track
    if track is not None:
        middle = corners.mean(axis=0)
        corners = np.concatenate([corners, nearest_point(np.array(track.points), middle)[None]])
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin = _FIELD * max(float((high - low).max()), 1.0)
    return low - margin, high + margin


def _name_track(ax: Axes, line: np.ndarray[Any, Any]) -> None:
    """The word beside the line, where it lies nearest to the middle of the view."""
    middle = np.array([np.mean(ax.get_xlim()), np.mean(ax.get_ylim())])
    x, y = nearest_point(line, middle)
    ax.annotate(
        "track", (x, y), xytext=(4, 4), textcoords="offset points", fontsize=8, color="0.35",
        clip_on=True,
    )  # fmt: skip
