"""The way from the trains to the rooms as a row of boxes."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.patches import FancyBboxPatch

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.plot.style import literal, new_axes

_A_ROW = 4
_WIDE, _TALL, _GAP, _BETWEEN = 2.3, 1.0, 0.5, 0.55


@checked
def chain(steps: Sequence[tuple[str, str]], *, ax: Axes | None = None) -> Axes:
    """Boxes joined by arrows, one for each step, four in a row.

    Parameters
    ----------
    steps : sequence of tuple of str
        Title and words of each, in the order of the way.
    ax : Axes, optional
        Where to draw; a new figure by default.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        No step.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> ax = chain([("Trains", "36 passbys"), ("Rooms", "sound")], ax=Figure().subplots())
    >>> [t.get_text().splitlines()[0] for t in ax.texts if t.get_text()]
    ['Trains', '36 passbys', 'Rooms', 'sound']
    """
    if not steps:
        raise StudyError("plot.chain: steps is empty; one at least is drawn")
    rows = -(-len(steps) // _A_ROW)
    columns = min(len(steps), _A_ROW)
    ax = new_axes(ax, size=(7.0, 1.2 * rows))
    for number, (title, words) in enumerate(steps):
        row, column = divmod(number, _A_ROW)
        x, y = column * (_WIDE + _GAP), -row * (_TALL + _BETWEEN)
        ax.add_patch(
            FancyBboxPatch(
                (x, y),
                _WIDE,
                _TALL,
                boxstyle="round,pad=0,rounding_size=0.12",
                facecolor="#eef3f7",
                edgecolor="black",
                linewidth=0.9,
            )
        )
        middle = x + _WIDE / 2
        ax.text(middle, y + _TALL - 0.13, literal(title, width=24, lines=1), ha="center",
                va="top", fontsize=8.5, fontweight="bold")  # fmt: skip
        told = "\n".join(textwrap.wrap(words, 23, max_lines=3, placeholder=" …"))
        ax.text(middle, y + _TALL - 0.38, told.replace("$", r"\$"), ha="center", va="top",
                fontsize=8)  # fmt: skip
        if number + 1 == len(steps):
            continue
        arrow = {"arrowstyle": "-|>", "color": "black", "linewidth": 1.2}
        if column + 1 < _A_ROW:
            ends = ((x + _WIDE, y + _TALL / 2), (x + _WIDE + _GAP, y + _TALL / 2))
            ax.annotate("", ends[1], ends[0], arrowprops=arrow)
        else:  # to the beginning of the next row
            between = y - _BETWEEN / 2
            ax.plot(
                [middle, middle, _WIDE / 2], [y, between, between], color="black", linewidth=1.2
            )
            ax.annotate("", (_WIDE / 2, y - _BETWEEN), (_WIDE / 2, between), arrowprops=arrow)
    ax.set_xlim(-0.05, columns * (_WIDE + _GAP) - _GAP + 0.05)
    ax.set_ylim(-(rows - 1) * (_TALL + _BETWEEN) - 0.05, _TALL + 0.05)
    ax.set_aspect("equal")
    ax.axis("off")
    return ax
