"""How figures draw intervals over bands, and levels that are only limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from groundborne._checks import within
from groundborne.plot.style import band_axis, band_proportions, figure_of, grid, legend_below

MEASURED: dict[str, Any] = {
    "color": "#000000", "marker": "o", "linestyle": "-", "linewidth": 1.4, "markersize": 4.5,
}  # fmt: skip
"""What was measured, in every figure."""
CONFIDENCE = 0.9
"""Of two-sided intervals by default; common practice."""
AXIS = "One-third-octave band, Hz"


def quantile(where: str, confidence: float) -> float:
    """Half the width of a two-sided interval in standard deviations."""
    from scipy.special import ndtri

    within(where, "confidence", confidence, 0.5, 0.999, "")
    return float(ndtri((1 + confidence) / 2))


def draw_bars(
    ax: Axes, x: Any, y: Any, low: Any, high: Any, look: dict[str, Any], *, limits: Any = False
) -> Artist:
    """A curve with a bar in each band, none where it is a limit, and its handle for a legend."""
    x, y, low, high = (np.asarray(a, float) for a in (x, y, low, high))
    (line,) = ax.plot(x, y, **look)
    bare = np.broadcast_to(np.asarray(limits, bool), y.shape)
    x, y, low, high = (a[~bare] for a in (x, y, low, high))
    ax.errorbar(
        x, y, yerr=np.stack([y - low, high - y]), fmt="none", ecolor=look["color"],
        elinewidth=0.9, capsize=2.5,
    )  # fmt: skip
    return line


def draw_range(
    ax: Axes, x: Any, y: Any, low: Any, high: Any, look: dict[str, Any], *, hatch: str = ""
) -> list[Artist]:
    """A curve in a field, and its handles for a legend; the field is hatched, or grey."""
    kind: dict[str, Any] = {"color": look["color"], "alpha": 0.17, "linewidth": 0}
    if hatch:
        kind = {"facecolor": "none", "edgecolor": look["color"], "hatch": hatch, "linewidth": 0.6}
    ax.fill_between(x, low, high, zorder=0.5, **kind)
    (line,) = ax.plot(x, y, **look)
    return [line, Patch(**kind)]


def draw_limits(ax: Axes, x: Any, y: Any, *, up: bool, color: str) -> Artist:
    """Arrows from values that are only limits to the side on which the true ones lie."""
    ax.plot(x, y, linestyle="none", marker="o", markerfacecolor="white", color=color,
            markersize=4.5, zorder=3)  # fmt: skip
    # Of a fixed length in points, whatever the scale of the axis.
    for at, value in zip(np.ravel(x), np.ravel(y), strict=True):
        arrow = ax.annotate(
            "", xy=(at, value), xytext=(0, 13 if up else -13), textcoords="offset points",
            arrowprops={"arrowstyle": "<-", "color": color, "lw": 0.9, "shrinkA": 0, "shrinkB": 3},
        )  # fmt: skip
        if arrow.arrow_patch is not None:
            arrow.arrow_patch.set_clip_box(ax.bbox)
    return Line2D([], [], linestyle="none", marker="^" if up else "v", markerfacecolor="white",
                  color=color)  # fmt: skip


def finish(
    ax: Axes,
    x: Any,
    handles: Sequence[Artist],
    labels: Sequence[str],
    *,
    label: str,
    legend: bool,
    own: bool,
    lowest: float | None = None,
) -> Axes:
    """Axes of bands and decibels, with standard proportions, and the legend below."""
    grid(ax)
    band_axis(ax, x, name=AXIS)
    band_proportions(ax, lowest=lowest)
    if own:  # as tall as the axes are at full width
        width = figure_of(ax).get_figwidth()
        figure_of(ax).set_figheight(float(ax.get_box_aspect() or 1.0) * 0.88 * width + 0.75)
    ax.set_ylabel(label)
    if legend:
        legend_below(ax, handles, labels, grow=own)
    return ax
