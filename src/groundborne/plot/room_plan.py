"""A floor in plan: its rooms by their answers, the columns with their mounts, and the track."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.plot.room_cells import (
    Cell,
    Shown,
    answer_legend,
    draw_cells,
    in_grid,
    number_words,
    shown_rooms,
    write_in_cells,
)
from groundborne.plot.style import both_ends, legend_below, literal, new_axes
from groundborne.plot.track_lines import (
    columns_of,
    nearest_point,
    places_of,
    track_distance,
    track_line,
)
from groundborne.study import Study

_FIELD = 0.07
"""Room around rooms and columns, as a share of their extent [-]."""
_WIDE, _TALL = 5.9, 6.2
"""Size of the drawing at most [in]."""
_BESIDE = 0.9
"""Width of the rooms without a place, over the side of what has one [-]."""
_CELL = 1.7
"""Width of a cell without a place over its height [-]."""

Array = np.ndarray[Any, Any]


@checked
def plot_room_plan(
    study: Study,
    result: xr.Dataset,
    *,
    option: str,
    floor: str | Sequence[str],
    ax: Axes | None = None,
) -> Axes:
    """Plan of a floor: rooms by their worst answer, columns with their mounts, the track.

    Parameters
    ----------
    study : Study
        With its rooms; columns and track are drawn where it has them.
    result : Dataset
        Of its evaluation; with :func:`~groundborne.study.how_sure` cells tell probabilities, else
        margins.
    option : str
        Which is drawn.
    floor : str or sequence of str
        One floor, or floors of parts that stand side by side.
    ax : Axes, optional
        Where to draw; a new figure by default.

    Returns
    -------
    Axes
        Metres to one scale on both axes. Rooms are rectangles with their label as ``gid``: around
        their places, their length along x, where they have any, else in a block beside the plan
        that says so. Columns on mounts have a ring.

    Raises
    ------
    StudyError
        An option or floor that is not there, a floor without rooms, or a result of other rooms.

    Examples
    --------
    >>> from groundborne import read_study
    >>> study = read_study("data/music_school/study.toml")
    >>> study = study.with_options(study.options[:1])
    >>> result = study.evaluate(band_levels=False)
    >>> ax = plot_room_plan(study, result, option="no isolation", floor="0")
    >>> [p.get_gid() for p in ax.patches if p.get_gid()]
    ['R0.1', 'R0.2']
    """
    where = "plot.plot_room_plan"
    shown = shown_rooms(study, result, option=option, where=where)
    floors = [floor] if isinstance(floor, str) else list(floor)
    for name in floors:
        known(where, "floor", name, [str(f) for f in study.building.floors["floor"].values],
              StudyError)  # fmt: skip
    rooms = study.building.rooms
    rooms = rooms.isel(room=rooms["floor_of_room"].isin(floors).values)
    names = [str(r) for r in rooms["room"].values]
    if not names:
        raise StudyError(
            f"{where}: there is no room on floor {', '.join(map(repr, floors))}; name one that has"
        )
    placed = {"x", "y"} <= set(rooms.variables)
    cells = _placed(rooms, shown) if placed else []
    line, places = track_line(study), places_of(study)
    low, high = _view(places, line)
    edge = float(high[0])  # beyond it there are no metres
    if not placed:
        beside, high = _beside([shown[n] for n in names], low, high, apart=bool(places.size))
        cells += beside
    wide, tall = (high - low).tolist()
    inches = min(_WIDE / wide, _TALL / tall)
    own = ax is None
    ax = new_axes(ax, size=(max(inches * wide + 0.9, 4.6), max(inches * tall + 1.8, 3.4)))
    ax.set_aspect("equal", adjustable="box")
    ax.set_xlim(low[0], high[0])
    ax.set_ylim(low[1], high[1])
    draw_cells(ax, cells)
    if not placed:
        first = cells[0]
        ax.text(first.x, first.y + first.height, "places not known:\nschematic, not to scale\n",
                fontsize=7, va="bottom", linespacing=1.0)  # fmt: skip
    handles, words = _columns(ax, study, option)
    if line is not None and places.size:
        _draw_track(ax, line, places, track_distance(study), edge=edge)
    on = literal(", ".join(floors), width=60, lines=1)
    ax.set_title(f"Option: {literal(option, width=66, lines=2)}\nFloor: {on}", loc="left",
                 fontsize="medium")  # fmt: skip
    told = [
        *["x, m"] * bool(places.size),
        *["Invented for demonstration."] * study.invented,
        f"{number_words(result)}.",
    ]
    ax.set_xlabel("\n".join(told))
    if places.size:
        ax.set_ylabel("y, m")
        ax.set_xticks([t for t in ax.get_xticks() if low[0] <= t <= edge])
    else:
        ax.set_xticks([])
        ax.set_yticks([])
    answers, told_answers = answer_legend(cells)
    legend_below(ax, [*answers, *handles], [*told_answers, *words], grow=own)
    write_in_cells(ax, cells, beside=True)
    return ax


def _placed(rooms: xr.Dataset, shown: dict[str, Shown]) -> list[Cell]:
    """Cells where rooms lie."""
    each = (rooms[name].values.tolist() for name in ("x", "y", "length", "width"))
    return [
        Cell(shown[str(room)], x - length / 2, y - width / 2, length, width)
        for room, x, y, length, width in zip(rooms["room"].values.tolist(), *each, strict=True)
    ]


def _view(places: Array, line: Array | None) -> tuple[Array, Array]:
    """Lower left and upper right corner: all places, and the nearest of the track."""
    if not places.size:
        return np.zeros(2), np.zeros(2)
    ends = places
    if line is not None:
        near = nearest_point(line, places.mean(axis=0))
        ends = np.concatenate([places, near[None]])
    low, high = ends.min(axis=0), ends.max(axis=0)
    margin = _FIELD * max(float((high - low).max()), 1.0)
    return low - margin, high + margin


def _beside(
    shown: Sequence[Shown], low: Array, high: Array, *, apart: bool
) -> tuple[list[Cell], Array]:
    """Cells of rooms whose places nobody knows, at the right of the plan, and its new corner."""
    side = float((high - low).max()) if apart else 10.0
    gap = 0.04 * side if apart else 0.0
    # So many rows that cells are a little wider than high, within the height of the plan.
    width, height = _BESIDE * side, max(float(high[1] - low[1]), 0.6 * side) * 0.86
    rows = int(np.clip(np.ceil(np.sqrt(len(shown) * _CELL * height / width)), 1, len(shown)))
    tall = min(height / rows, 0.14 * side) * rows
    x, top = float(high[0]) + gap, float(max(high[1], low[1] + 0.6 * side)) - 0.12 * side
    cells = in_grid(shown, x, top - tall, width, tall, rows)
    corner = np.array([x + width + 0.02 * side, max(high[1], top + 0.12 * side)])
    return cells, corner


def _columns(ax: Axes, study: Study, option: str) -> tuple[list[Artist], list[str]]:
    """Columns, with rings where the option puts them on mounts, and their legend entries."""
    (chosen,) = (o for o in study.options if o.name == option)
    handles: list[Artist] = []
    words: list[str] = []
    for part in study.parts:
        columns = columns_of(study, part.name)
        if columns is None:
            continue
        x, y = columns["x"].values, columns["y"].values
        ax.plot(x, y, "s", color="black", markersize=3.5, zorder=3.6, gid="columns")
        if chosen.seen_by(part)[0].base is not None and part.plane is not None:
            look: dict[str, Any] = {"markersize": 8.0, "markerfacecolor": "none",
                                    "markeredgecolor": "black", "markeredgewidth": 1.3}  # fmt: skip
            ax.plot(x, y, "o", zorder=3.6, gid="mounts", **look)
            told = f"column on mounts, under floor {both_ends(part.plane.floor, 24)}"
            if told not in words:
                handles.append(Line2D([], [], linestyle="", marker="o", **look))
                words.append(told)
    if any(columns_of(study, part.name) is not None for part in study.parts):
        handles.insert(0, Line2D([], [], linestyle="", marker="s", color="black", markersize=3.5))
        words.insert(0, "column")
    return handles, words


def _draw_track(
    ax: Axes, line: Array, places: Array, distance: float | None, *, edge: float
) -> None:
    """Two rails along the part of the line in view, and how far it is."""
    low_x, _, low_y, high_y = (*ax.get_xlim(), *ax.get_ylim())
    inside = Rectangle((low_x, low_y), edge - low_x, high_y - low_y, transform=ax.transData)
    for colour, width, order in (("0.25", 4.5, 1.0), ("white", 2.5, 1.1)):
        (rails,) = ax.plot(line[:, 0], line[:, 1], color=colour, linewidth=width, zorder=order,
                           gid="track")  # fmt: skip
        rails.set_clip_path(inside)
    x, y = nearest_point(line, places.mean(axis=0)).tolist()
    told = "track" if not distance else f"track, {distance:.3g} m away"
    low, high = places.min(axis=0), places.max(axis=0)
    upright = low[1] <= y <= high[1] and not low[0] <= x <= high[0]
    ax.annotate(
        told, (x, y), xytext=(6, 0) if upright else (0, 5), textcoords="offset points",
        rotation=90 if upright else 0, ha="left" if upright else "center",
        va="center" if upright else "bottom", fontsize=7.5, zorder=4.5, annotation_clip=True,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.9},
    )  # fmt: skip
