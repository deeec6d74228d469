"""Resonances of trains, ground, building, mounts and rooms on one axis, coincident ones joined."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, NullLocator

from groundborne import bands
from groundborne._arguments import checked
from groundborne.plot.style import grid, legend_below, literal, new_axes
from groundborne.study.natural_frequencies import KINDS, Resonance, coincidences

_MARKERS = dict(zip(KINDS, ("v", "^", "D", "o", "s", "P"), strict=True))


@checked
def resonances(found: Sequence[Resonance], *, ax: Axes | None = None) -> Axes:
    """One row for each resonance; a bar joins those within a third of an octave.

    Parameters
    ----------
    found : sequence of Resonance
        From :func:`groundborne.study.resonances`.
    ax : Axes, optional
        Where to draw; a new figure by default.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        There is no resonance.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> pair = [Resonance(kind="mounts", name="mounts", frequency=9.0),
    ...         Resonance(kind="floors", name="floor 3", frequency=10.9)]
    >>> ax = resonances(pair, ax=Figure().subplots())
    >>> [t.get_text() for t in ax.get_yticklabels()]
    ['mounts', 'floor 3']
    """
    if not found:
        raise ValueError("plot.resonances: found holds no resonance to draw")
    rows = sorted(found, key=lambda r: (KINDS.index(r.kind), r.frequency))
    own = ax is None
    ax = new_axes(ax, size=(7.0, 1.3 + 0.27 * len(rows)))
    pairs = coincidences(rows)
    coincident = {id(r) for pair in pairs for r in pair}
    for one, other in pairs:
        a, b = rows.index(one), rows.index(other)
        ax.plot(
            [one.frequency, other.frequency], [a, b],
            color="#D55E00", linewidth=3.0, alpha=0.35, solid_capstyle="round", zorder=1,
        )  # fmt: skip
    for y, row in enumerate(rows):
        ax.plot(
            [row.frequency], [y], marker=_MARKERS[row.kind], color="black", markersize=7,
            markerfacecolor="#D55E00" if id(row) in coincident else "white", zorder=2,
        )  # fmt: skip
        ax.annotate(
            row.in_words, (row.frequency, y), xytext=(9, 0),
            textcoords="offset points", va="center", fontsize="small",
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.7, "pad": 0.5},
        )  # fmt: skip
    ax.set_yticks(range(len(rows)), [literal(r.name, width=42, lines=1) for r in rows])
    ax.set_ylim(len(rows) - 0.4, -0.6)
    _frequency_axis(ax, [r.frequency for r in rows])
    grid(ax)
    handles = [
        Line2D([], [], marker="o", color="black", linestyle="", markerfacecolor="#D55E00"),
        Line2D([], [], marker="o", color="black", linestyle="", markerfacecolor="white"),
    ]
    words = ["coincident, within a third of an octave (joined by a bar)", "not coincident"]
    legend_below(ax, handles, words, grow=own)
    return ax


def _frequency_axis(ax: Axes, values: Sequence[float]) -> None:
    """Logarithmic axis with octave labels from below the lowest to above the highest."""
    octaves = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 31.5, 63.0, 125.0, 250.0, 500.0])
    ax.set_xscale("log")
    low, high = min(values) / 1.4, max(values) * 2.0  # room for the number right of the last
    shown = octaves[(octaves >= low) & (octaves <= high)].tolist()
    ax.xaxis.set_major_locator(FixedLocator(shown))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.set_xticks(shown, [bands.label(f) for f in shown])
    ax.set_xlim(low, high)
    ax.set_xlabel("Frequency, Hz")
