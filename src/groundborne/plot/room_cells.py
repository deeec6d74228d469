"""Rooms as cells that show their answers: by colour, by hatch, and in words where they fit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from groundborne._checks import StudyError, known
from groundborne.plot.style import both_ends, figure_of, plain_dims
from groundborne.rating.answers import (
    ANSWERS,
    Answer,
    Mark,
    margin_mark,
    rounded_percent,
    worst_answer,
)
from groundborne.study import Study

# Fills of Okabe and Ito's palette, in grey from light to dark; black text has 5:1 and more on each.
# What the fills lack against white paper, the black outline and the hatches have.
_LOOKS: Mapping[str, dict[str, Any]] = {
    Answer.MET.value: {"facecolor": "#BFE3F7", "hatch": None},
    Answer.WITHIN.value: {"facecolor": "#F0E442", "hatch": "//"},
    Answer.NOT_MET.value: {"facecolor": "#E8773B", "hatch": "xx"},
    Answer.NOT_SHOWN.value: {"facecolor": "#FFFFFF", "hatch": ".."},
    Answer.NO_CRITERION.value: {"facecolor": "#FFFFFF", "hatch": None},
}
_WORDS = {answer.value: answer.value for answer in ANSWERS} | {"": "no criterion"}
_SIZES = (7.5, 7.0, 6.5)
"""Sizes of texts in cells [pt]; what does not fit at the last is left out."""
_MOST_BESIDE = 12  # more lines to rooms than that cannot be followed
_STEP, _APART = 11.0, 3.0
"""Between texts that stand beside their cells, one above the other, and to the cells [pt]."""
_NAMES = (60, 30, 18, 12)
"""Characters that labels of rooms are shortened to, one after the other, until they fit."""


@dataclass(frozen=True)
class Shown:
    """What is shown of a room.

    Parameters
    ----------
    room : str
        Its label.
    answer : str
        The one of its criteria that weighs most.
    number : str
        Probability or margin, in words; empty where none can be shown.
    treated : bool
        Whether the option does something in the room itself.
    """

    room: str
    answer: str
    number: str
    treated: bool


def shown_rooms(study: Study, result: xr.Dataset, *, option: str, where: str) -> dict[str, Shown]:
    """What an option comes to in every room of a study.

    Raises
    ------
    StudyError
        An option that study or result do not have, or a result of other rooms.
    """
    known(where, "option", option, [str(o) for o in result["option"].values], StudyError)
    known(where, "option", option, [o.name for o in study.options], StudyError)
    have = [str(r) for r in result["room"].values]
    for room in study.rooms:
        if room not in have:
            raise StudyError(
                f"{where}: the result holds nothing of room {room!r} of the study; give the result "
                "of this study"
            )
    here = result.sel(option=option, room=study.rooms)
    plain_dims(here["answer"], ("room", "criterion"), where.removeprefix("plot."))
    answers = worst_answer(here["answer"], "criterion").values.tolist()
    numbers = _probabilities(here) if "probability_room" in here else _margins(here)
    (own,) = (o for o in study.options if o.name == option)
    treated = {room for measure in own.measures for room in measure.rooms}
    return {
        room: Shown(room, str(answer), _text(str(answer), number), room in treated)
        for room, answer, number in zip(study.rooms, answers, numbers, strict=True)
    }


def number_words(result: xr.Dataset) -> str:
    """What the numbers in cells are."""
    if "probability_room" in result:
        return "Numbers: probability that a room meets all its criteria"
    return "Numbers: smallest margin of a room, dB or curve number; positive: met"


def _text(answer: str, number: str) -> str:
    """No number of what cannot be shown, or has no limit."""
    return "" if answer in (Answer.NOT_SHOWN.value, Answer.NO_CRITERION.value) else number


def _probabilities(here: xr.Dataset) -> list[str]:
    percent = [rounded_percent(p) for p in here["probability_room"].values.tolist()]
    return ["< 1 %" if p < 1 else "> 99 %" if p > 99 else f"{p} %" for p in percent]


def _margins(here: xr.Dataset) -> list[str]:
    margin = here["margin"].where(here["applies"], np.inf).transpose("room", "criterion")
    at = margin.values.argmin(axis=1)
    marks = here["mark"].transpose("room", "criterion").values
    found = []
    for row, criterion in enumerate(at.tolist()):
        bound = {"at most": "≤ ", "at least": "≥ "}.get(margin_mark(str(marks[row, criterion])), "")
        value = float(margin.values[row, criterion])
        rounded = np.floor(10 * value + 1e-9) / 10 + 0.0
        opened = marks[row, criterion] == Mark.OPEN.value
        found.append("" if opened else f"{bound}{rounded:+.1f}".replace("-", "−"))
    return found


@dataclass(frozen=True)
class Cell:
    """Where a room is drawn, in the units of the axes.

    Parameters
    ----------
    shown : Shown
        What is shown of it.
    x, y, width, height : float
        Lower left corner and sides.
    """

    shown: Shown
    x: float
    y: float
    width: float
    height: float


def draw_cells(ax: Axes, cells: Iterable[Cell]) -> None:
    """Rectangles of rooms; their ``gid`` is the label of the room."""
    for cell in cells:
        own = cell.shown
        look = _LOOKS[own.answer]
        ax.add_patch(
            Rectangle(
                (cell.x, cell.y), cell.width, cell.height, edgecolor="black", linewidth=0.8,
                gid=own.room, label=own.answer or "no criterion", zorder=3,
                hatch_linewidth=0.5, **look,
            )
        )  # fmt: skip
        if own.treated:
            dx, dy = 0.06 * cell.width, 0.08 * cell.height
            ax.add_patch(
                Rectangle(
                    (cell.x + dx, cell.y + dy), cell.width - 2 * dx, cell.height - 2 * dy,
                    facecolor="none", edgecolor="black", linewidth=1.6, zorder=3.2,
                )
            )  # fmt: skip


def write_in_cells(ax: Axes, cells: Sequence[Cell], *, beside: bool = False) -> None:
    """Label and number of each room where they fit: both, else the number.

    Else they stand beside the cell where that is asked for and is free, if those are few, or are
    left out. The figure has to have its final size.
    """
    figure = figure_of(ax)
    figure.draw_without_rendering()  # constrained layout moves the axes
    boxes = [
        Bbox(
            ax.transData.transform([(cell.x, cell.y), (cell.x + cell.width, cell.y + cell.height)])
        )
        for cell in cells
    ]
    taken = [*boxes, *(t.get_window_extent() for t in ax.texts if t.get_text())]
    unwritten = []
    for cell, box in zip(cells, boxes, strict=True):
        share = 0.8 if cell.shown.treated else 0.94
        if not _write(ax, cell, share * box.width, share * box.height):
            unwritten.append(cell)
    for cell in unwritten if beside and len(unwritten) <= _MOST_BESIDE else ():
        _write_beside(ax, cell, taken)


def _write_beside(ax: Axes, cell: Cell, taken: list[Bbox]) -> None:
    """Label and number outside their cell, where they cover no other cell or text."""
    own = cell.shown
    words = f"{both_ends(own.room, _NAMES[-1])} {own.number}".strip()
    middle = cell.x + cell.width / 2, cell.y + cell.height / 2
    inside = ax.get_window_extent()
    above, below = (middle[0], cell.y + cell.height), (middle[0], cell.y)
    places: list[tuple[tuple[float, float], float, str, str]] = [
        (above, _APART, "center", "bottom"),
        (below, -_APART, "center", "top"),
    ]
    # Farther off with a line to the cell.
    for step in (1, 2, 3):
        places.append((above, step * _STEP, "center", "bottom"))
        places.append((below, -step * _STEP, "center", "top"))
    line: dict[str, Any] = {"arrowstyle": "-", "lw": 0.6, "shrinkA": 0, "shrinkB": 0}
    for at, away, ha, va in places:
        text = ax.annotate(
            words, at, xytext=(0, away), textcoords="offset points", ha=ha, va=va,
            fontsize=_SIZES[-1], zorder=4, annotation_clip=False,
            arrowprops=line if abs(away) > _APART else None,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )  # fmt: skip
        text.get_window_extent()  # puts it into its place, and counts the line with it
        box = Text.get_window_extent(text).padded(1.0)
        free = not any(box.overlaps(other) for other in taken)
        if free and inside.contains(box.x0, box.y0) and inside.contains(box.x1, box.y1):
            taken.append(box)
            return
        text.remove()


def _write(ax: Axes, cell: Cell, wide: float, tall: float) -> bool:
    own = cell.shown
    names = list(dict.fromkeys(both_ends(own.room, width) for width in _NAMES))
    both = [f"{name}{between}{own.number}" for name in names for between in ("\n", "  ")]
    tried = [*both, own.number] if own.number else names
    middle = cell.x + cell.width / 2, cell.y + cell.height / 2
    fill = _LOOKS[own.answer]["facecolor"]
    text: Text = ax.text(
        *middle, "", ha="center", va="center", linespacing=1.05, zorder=4, clip_on=True,
        bbox={"facecolor": fill, "edgecolor": "none", "pad": 0.6},
    )  # fmt: skip
    dpi = figure_of(ax).dpi
    for words in tried:
        for size in _SIZES:
            lines = words.split("\n")
            # Narrower than any letters: no need to measure.
            if 0.3 * size * max(map(len, lines)) * dpi / 72 > wide:
                continue
            text.set_text(words)
            text.set_fontsize(size)
            box = text.get_window_extent()
            if box.width <= wide and box.height <= tall:
                return True
    text.remove()
    return False


def answer_legend(cells: Sequence[Cell]) -> tuple[list[Artist], list[str]]:
    """Legend entries of the answers that occur, and of rooms with measures of their own."""
    handles: list[Artist] = []
    words = []
    for answer in (*reversed(ANSWERS), Answer.NO_CRITERION):
        number = sum(cell.shown.answer == answer.value for cell in cells)
        if number:
            look = _LOOKS[answer.value]
            handles.append(Rectangle((0, 0), 1, 1, edgecolor="black", linewidth=0.8,
                                     hatch_linewidth=0.5, **look))  # fmt: skip
            words.append(f"{_WORDS[answer.value]}: {number} room{'s' * (number > 1)}")
    if any(cell.shown.treated for cell in cells):
        handles.append(Rectangle((0, 0), 1, 1, facecolor="none", edgecolor="black", linewidth=1.6))
        words.append("with measures in the room")
    return handles, words


def in_grid(
    shown: Sequence[Shown], x: float, y: float, width: float, height: float, rows: int
) -> list[Cell]:
    """Cells in rows from the upper left, as wide as their row allows."""
    if not shown:
        return []
    across = -(-len(shown) // rows)
    rows = -(-len(shown) // across)
    wide, tall = width / across, height / rows
    return [
        Cell(one, x + (at % across) * wide, y + height - (at // across + 1) * tall, wide, tall)
        for at, one in enumerate(shown)
    ]
