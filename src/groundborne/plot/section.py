"""A building in section: its storeys to scale, its rooms by their answers, mounts and track."""

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
from groundborne.plot.room_cells import (
    Cell,
    answer_legend,
    draw_cells,
    number_words,
    shown_rooms,
    write_in_cells,
)
from groundborne.plot.section_layout import (
    TRACK,
    Block,
    base_level,
    blocks_of,
    cells_of,
    height_of,
    rail_level,
    reach_of,
    spring_of,
    track_side,
)
from groundborne.plot.style import both_ends, legend_below, literal, new_axes
from groundborne.plot.track_lines import track_distance
from groundborne.study import Study

_WIDE = 7.2
_ACROSS = 6.3
"""Width of a figure, and of its drawing [in]."""
_INK, _EARTH = "0.25", "0.90"
_COLUMNS = 5  # drawn of each part, whatever it has


@checked
def plot_section(study: Study, result: xr.Dataset, *, option: str, ax: Axes | None = None) -> Axes:
    """Section of the building: storeys to scale by height, rooms by their worst answer.

    Parameters
    ----------
    study : Study
        With its floors and rooms.
    result : Dataset
        Of its evaluation; with :func:`~groundborne.study.how_sure` cells tell probabilities, else
        margins.
    option : str
        Which is drawn.
    ax : Axes, optional
        Where to draw; a new figure by default.

    Returns
    -------
    Axes
        Height above the foundation [m] upwards. Parts of the building stand side by side. Each room
        is a rectangle with its label as ``gid`` between its floor and the floor over it, on the
        track's side first where places are known; across, the drawing is schematic. A bold dashed
        line with springs is the isolation plane where the option has mounts, a thin dotted one a
        plane without. The track stands beside the building or below it, at the level of its rails
        where that is known, with its distance.

    Raises
    ------
    StudyError
        An option that is not there, or a result of other rooms.

    Examples
    --------
    >>> from groundborne import read_study
    >>> study = read_study("data/music_school/study.toml")
    >>> study = study.with_options(study.options[:1])
    >>> ax = plot_section(study, study.evaluate(band_levels=False), option="no isolation")
    >>> sorted(p.get_gid() for p in ax.patches if p.get_gid())[:3]
    ['R0.1', 'R0.2', 'R1.1']
    """
    where = "plot.plot_section"
    shown = shown_rooms(study, result, option=option, where=where)
    blocks = blocks_of(study, shown, _ACROSS)
    low, high = reach_of(study, blocks)
    tall = height_of(blocks, high - low)
    own = ax is None
    ax = new_axes(ax, size=(_WIDE, tall + 0.9))
    unit = (high - low) / tall  # m of height in an inch
    ax.set_xlim(0.0, _ACROSS)
    ax.set_ylim(low - 0.42 * unit, high + 0.22 * unit)
    (chosen,) = (o for o in study.options if o.name == option)
    cells: list[Cell] = []
    handles: list[Artist] = []
    words: list[str] = []
    _ground(ax, study, blocks)
    for block in blocks:
        mounted = chosen.seen_by(block.part)[0].base is not None
        spring = spring_of(block, unit) if mounted else 0.0
        cells += cells_of(block, spring, unit)
        _structure(ax, block, spring, unit)
        _names(ax, block, unit, several=len(blocks) > 1, distance=_distance_words(study, block))
        for handle, told in _plane(ax, block, spring, mounted=mounted):
            if told not in words:
                handles.append(handle)
                words.append(told)
    draw_cells(ax, cells)
    _track(ax, study, blocks, unit)
    ax.set_title(f"Option: {literal(option, width=66, lines=2)}", loc="left", fontsize="medium")
    ax.set_ylabel("Height above\nthe foundation, m")
    ax.set_xticks([])
    below = [
        *["Invented for demonstration."] * study.invented,
        f"{number_words(result)}.",
        "Heights to scale; across, the drawing is schematic, not to scale.",
    ]
    ax.set_xlabel("\n".join(below))
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    answers, told_answers = answer_legend(cells)
    legend_below(ax, [*answers, *handles], [*told_answers, *words], grow=own)
    write_in_cells(ax, cells)
    return ax


def _ground(ax: Axes, study: Study, blocks: Sequence[Block]) -> None:
    """Ground up to its level where that is known, else below the foundation."""
    level, base = study.site.ground_level, base_level(blocks)
    bottom, top = ax.get_ylim()
    surface = base if level is None else float(np.clip(level, bottom, top))
    left, right = ax.get_xlim()
    ax.add_patch(
        Rectangle((left, bottom), right - left, surface - bottom, facecolor=_EARTH, zorder=0)
    )
    if level is not None:
        ax.plot([left, right], [surface, surface], color=_INK, linewidth=1.0, zorder=0.5)


def _structure(ax: Axes, block: Block, spring: float, unit: float) -> None:
    """Slabs, columns and the foundation of a part, which lies under its springs."""
    base, top, plane = base_level([block]), block.heights[-1], block.part.plane
    if plane is not None and spring:
        base = min(base, block.heights[block.floors.index(plane.floor)] - 1.5 * spring)
    left, wide = block.left, block.width
    ax.add_patch(Rectangle((left, base), wide, top - base, facecolor="white", zorder=1))
    ax.add_patch(
        Rectangle((left - 0.05, base - 0.09 * unit), wide + 0.1, 0.09 * unit, facecolor="0.45",
                  edgecolor="black", linewidth=0.8, zorder=2)
    )  # fmt: skip
    for x in np.linspace(left, left + wide, _COLUMNS):
        ax.plot([x] * 2, [base, top], color="0.6", linewidth=1.2, zorder=1.5)
    for height in block.heights:
        ax.plot([left, left + wide], [height] * 2, color=_INK, linewidth=1.6, zorder=2)


def _names(ax: Axes, block: Block, unit: float, *, several: bool, distance: str) -> None:
    """Names of floors at the left, as many as stand apart, and of the part above."""
    last = -np.inf
    for name, height in zip(block.floors, block.heights, strict=True):
        if height - last < 0.12 * unit:
            continue
        last = height
        ax.text(block.left - 0.06, height, both_ends(name, 11), ha="right",
                va="bottom", fontsize=7, color=_INK, zorder=5)  # fmt: skip
    if several:
        words = both_ends(block.part.name, 24)
        ax.text(block.left + block.width / 2, block.heights[-1] + 0.04 * unit, f"{words}{distance}",
                ha="center", va="bottom", fontsize=8, zorder=5)  # fmt: skip


def _distance_words(study: Study, block: Block) -> str:
    distance = track_distance(study, block.part.name or None)
    if distance is None:
        return ""
    return ", over the track" if distance == 0 else f", {distance:.3g} m from the track"


def _plane(ax: Axes, block: Block, spring: float, *, mounted: bool) -> list[tuple[Artist, str]]:
    """The isolation plane under its floor, with springs where an option has mounts there."""
    plane = block.part.plane
    if plane is None:
        return []
    level = block.heights[block.floors.index(plane.floor)]
    ends = [block.left - 0.08, block.left + block.width + 0.08]
    if not mounted:
        (line,) = ax.plot(ends, [level] * 2, ":", color="black", linewidth=1.4, zorder=5,
                          gid="plane without mounts")  # fmt: skip
        return [(line, "isolation plane, without mounts in this option")]
    y = level - spring
    look: dict[str, Any] = {"color": "black", "linewidth": 2.4, "dashes": (4, 1.6)}
    (line,) = ax.plot(ends, [y - 0.25 * spring] * 2, zorder=5, gid="isolation plane", **look)
    zigzag = np.array([0.0, 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.0])
    heights = np.linspace(y - 0.3 * spring, level, zigzag.size)
    for x in np.linspace(block.left, block.left + block.width, _COLUMNS):
        ax.plot(x + 0.09 * zigzag, heights, color="black", linewidth=1.0, zorder=5)
    return [(Line2D([], [], **look), "isolation plane, on mounts")]


def _track(ax: Axes, study: Study, blocks: Sequence[Block], unit: float) -> None:
    """Rails on a sleeper, in a tunnel below ground, and how far they are."""
    side, site = track_side(study), study.site
    if not side:
        return
    level = rail_level(study, blocks)
    middle = (blocks[0].left + blocks[-1].left + blocks[-1].width) / 2
    x = middle if side == "below" else 0.5 * TRACK
    reach = 0.38
    ground = site.ground_level
    if side == "below" or (ground is not None and level < ground - 1.0):
        ax.add_patch(
            Rectangle((x - 1.3 * reach, level - 0.10 * unit), 2.6 * reach, 0.52 * unit,
                      facecolor="white", edgecolor=_INK, linewidth=1.4, zorder=2.5)
        )  # fmt: skip
    ax.add_patch(
        Rectangle((x - reach, level - 0.08 * unit), 2 * reach, 0.06 * unit, facecolor="0.45",
                  edgecolor="black", linewidth=0.8, zorder=2.6, gid="track")
    )  # fmt: skip
    for rail in (-0.5, 0.5):
        ax.plot([x + rail * reach], [level], "s", color="black", markersize=3.5, zorder=2.7)
    told = "track"
    if site.rail_level is None:
        told += "\nlevel of the rails\nnot known"
    else:
        off = abs(level - site.rail_level) > 1e-9
        words = f"{site.rail_level:+.3g}".replace("-", "−")
        told += f"\nrails at {words} m" + "\n(not to scale)" * off
    place: dict[str, Any] = {"x": x, "y": level + 0.46 * unit, "ha": "center", "va": "bottom"}
    if side == "below":
        place = {"x": x + 1.5 * reach, "y": level + 0.16 * unit, "ha": "left", "va": "center"}
    frame = {"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.9}
    ax.text(s=told, fontsize=7, zorder=5, bbox=frame, **place)
    bottom = ax.get_ylim()[0] + 0.08 * unit
    distance = track_distance(study)
    assert distance is not None
    if side == "beside":
        edge = blocks[0].left
        ax.annotate("", (x, bottom), (edge, bottom), zorder=5,
                    arrowprops={"arrowstyle": "<->", "color": "black", "linewidth": 0.9,
                                "shrinkA": 0, "shrinkB": 0})  # fmt: skip
        base = base_level(blocks) - 0.09 * unit
        for at, end in ((x, level - 0.08 * unit), (edge, base)):
            ax.plot([at, at], [bottom, end], color="0.4", linewidth=0.6, zorder=2.4)
        ax.text((x + edge) / 2, bottom + 0.02 * unit, f"{distance:.3g} m", ha="center",
                va="bottom", fontsize=7.5, zorder=5)  # fmt: skip
    elif site.track_offset:
        ax.text(x, bottom, f"{abs(site.track_offset):.3g} m off the middle of the columns",
                ha="center", va="bottom", fontsize=7, zorder=5)  # fmt: skip
