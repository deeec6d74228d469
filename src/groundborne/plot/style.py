"""What every figure shares: axes, series that read in grey, band axes and plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.legend import Legend
from matplotlib.ticker import FixedLocator, NullLocator
from matplotlib.transforms import ScaledTranslation

from groundborne import bands
from groundborne._arguments import checked

# Okabe and Ito's palette where it has a contrast of 3:1 and more on white paper; in place of its
# lighter ones a purple, a brown and a grey that have it too.
_COLOURS = ("#000000", "#0072B2", "#D55E00", "#00805E", "#AA4499", "#8A6500", "#6B6B6B")
_LINES: tuple[Any, ...] = (
    "-",
    "--",
    "-.",
    (0, (1, 1.2)),
    (0, (6, 1.5, 1, 1.5, 1, 1.5)),
    (0, (8, 2)),
    (0, (3, 1, 1, 1)),
    (0, (2, 2)),
)
_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">")


@checked
def style_path() -> FilePath:
    """Path of the style sheet that is offered with the figures.

    Examples
    --------
    >>> style_path().name
    'groundborne.mplstyle'
    """
    return FilePath(__file__).with_name("groundborne.mplstyle")


def figure_of(ax: Axes) -> Figure:
    """The figure that axes belong to."""
    figure = ax.get_figure(root=True)
    assert figure is not None  # axes that are drawn on belong to a figure
    return figure


def _points(ax: Axes) -> tuple[float, float]:
    """Size of the axis label and of the tick labels [pt]."""
    size = float(ax.xaxis.label.get_fontsize())
    ticks = ax.xaxis.get_ticklabels()
    return size, float(ticks[0].get_fontsize()) if ticks else size


def literal(text: object, *, width: int = 34, lines: int = 3) -> str:
    r"""Text as it stands: no mathematics, no control characters, wrapped, not endless.

    Examples
    --------
    >>> print(literal("room $x$"))
    room \$x\$
    """
    plain = "".join(c if c.isprintable() else " " for c in str(text))
    wrapped = textwrap.wrap(plain, width, max_lines=lines, placeholder=" …") or [" "]
    escaped = "\n".join(wrapped).replace("$", r"\$")
    # Matplotlib keeps labels that begin with an underscore out of legends.
    return f" {escaped}" if escaped.startswith("_") else escaped


def both_ends(text: object, width: int) -> str:
    """A name in one line as :func:`literal`, of a long one both ends, by which names differ.

    Examples
    --------
    >>> both_ends("Practice room of the brass players 12", 15)
    'Practice…ers 12'
    """
    plain = " ".join(str(text).split())
    if len(plain) > width:
        tail = (width - 1) * 3 // 7
        plain = f"{plain[: width - 1 - tail].rstrip()}…{plain[-tail:].lstrip()}"
    return literal(plain, width=width + 1, lines=1)


def new_axes(ax: Axes | None, *, size: tuple[float, float]) -> Axes:
    """The axes given, or those of a new figure [in]."""
    if ax is not None:
        return ax
    # Here, so that drawing on given axes never loads a window system.
    from matplotlib import pyplot as plt

    _, made = plt.subplots(figsize=size, layout="constrained")
    return made


def series(number: int) -> dict[str, Any]:
    """Colour, line and marker of the n-th series."""
    hollow = number % 2 == 1
    colour = _COLOURS[number % len(_COLOURS)]
    return {
        "color": colour,
        "linestyle": _LINES[number % len(_LINES)],
        "marker": _MARKERS[number % len(_MARKERS)],
        # Not white: what coincides and lies below shows through.
        "markerfacecolor": "none" if hollow else colour,
    }


def plain_dims(array: xr.DataArray, allowed: Sequence[str], where: str) -> xr.DataArray:
    """Refuse dims that the figure has no place for.

    Raises
    ------
    ValueError
        Names the first such dim and two ways out.
    """
    listed = " and ".join(map(repr, allowed))
    for dim in array.dims:
        if dim not in allowed:
            raise ValueError(
                f"plot.{where}: the data have the dim {dim!r}; select one of it, or reduce it "
                f"first, for example by .quantile(0.95, {dim!r}); drawn are {listed}"
            )
    for dim in allowed:
        if dim not in array.dims:
            raise ValueError(f"plot.{where}: the data lack the dim {dim!r}")
    return array


def numbers(array: xr.DataArray, where: str) -> xr.DataArray:
    """Refuse data that hold NaN: a gap in a curve says nothing about its cause."""
    if bool(array.isnull().any()):
        raise ValueError(f"plot.{where}: the data hold values that are not numbers")
    return array


def band_axis(ax: Axes, frequency: Any, *, name: str) -> None:
    """Logarithmic axis with nominal band labels, thinned to octaves where they would not fit."""
    labels = np.asarray(frequency, dtype=float)
    inches = ax.get_position().width * figure_of(ax).get_figwidth()
    size = _points(ax)[1]
    widest = max(len(bands.label(f)) for f in labels.tolist())
    fits = inches / labels.size > 0.62 * widest * size / 72
    octaves = labels == bands.octave(labels)
    ax.set_xscale("log")
    ax.xaxis.set_major_locator(FixedLocator(labels.tolist()))
    ax.xaxis.set_minor_locator(NullLocator())
    show = np.ones(labels.size, bool) if fits or not octaves.any() else octaves
    ax.set_xticks(
        labels.tolist(),
        [bands.label(f) if s else "" for f, s in zip(labels.tolist(), show, strict=True)],
    )
    margin = (labels[-1] / labels[0]) ** 0.03 if labels.size > 1 else 1.3
    ax.set_xlim(labels[0] / margin, labels[-1] * margin)
    ax.set_xlabel(name)


_PROPORTIONS = (10.0, 20.0, 25.0, 50.0)
"""Decibels as long as a decade of frequency, IEC 60263:1982 [from memory]."""


def band_proportions(ax: Axes, *, tallest: float = 0.95, lowest: float | None = None) -> float:
    """Give axes of levels over bands standard proportions.

    Parameters
    ----------
    ax : Axes
        Bands along a logarithmic x axis, decibels up; both reach as far as they will.
    tallest : float
        Height over width that is not to be passed.
    lowest : float, optional
        Level that is drawn in any case; where it does not fit, decibels are shorter.

    Returns
    -------
    float
        The number of decibels that is as long as a decade: the smallest of 10, 20, 25 and 50 with
        which the axes are no taller. The y axis then spans a multiple of 5 dB, and where even 50
        is too tall, no more than fits: what lies lowest is left out.
    """
    left, right = ax.get_xlim()
    decades = float(np.log10(right / left))
    low, high = (5 * np.floor(v / 5) for v in (ax.get_ylim()[0], ax.get_ylim()[1] + 4.999))
    for per_decade in _PROPORTIONS:
        if (high - low) / per_decade / decades <= tallest:
            break
    else:
        fits = high - 5 * np.floor(tallest * decades * per_decade / 5)
        low = fits if lowest is None else max(low, min(fits, 5 * np.floor(lowest / 5)))
    ax.set_ylim(low, high)
    proportion = float((high - low) / per_decade / decades)
    ax.set_box_aspect(proportion if lowest is None else min(proportion, tallest))
    step = 10 if high - low > 30 else 5
    ticks = np.arange(step * np.ceil(low / step), high + 0.1, step)
    ax.set_yticks(ticks.tolist())
    return per_decade


def level_label(level: xr.DataArray, what: str) -> str:
    """Axis label of a level: what it is, its time weighting and its reference."""
    weighting = level.attrs.get("time_weighting", "")
    how = f"{weighting}, " if weighting else ""
    return f"{what}\n{how}dB re {level.attrs['reference']}"


def grid(ax: Axes, axis: Any = "both") -> None:
    """Light grid behind the data."""
    ax.grid(True, axis=axis, color="0.87", linewidth=0.5)
    ax.set_axisbelow(True)


def legend_below(
    ax: Axes, handles: Sequence[Artist], labels: Sequence[str], *, grow: bool, share: float = 1.25
) -> Legend:
    """Legend under the axis label, where it covers no data.

    With `grow` the figure gains the height that the legend takes, so that the axes keep theirs.
    `share` is how wide it may be over the axes: less where long row names push them aside.
    """
    size, tick = _points(ax)
    drop = (1.3 * size * (1 + ax.get_xlabel().count("\n")) + 1.3 * tick + 15) / 72
    figure = figure_of(ax)
    place = ax.transAxes + ScaledTranslation(0, -drop, figure.dpi_scale_trans)
    width = min(0.92, share * ax.get_position().width) * figure.bbox.width
    legend = _as_wide_as(
        width,
        labels,
        lambda texts, columns: ax.legend(
            handles,
            texts,
            loc="upper center",
            bbox_to_anchor=(0.5, 0.0),
            bbox_transform=place,
            ncols=columns,
            frameon=False,
            handlelength=3.2,
            borderaxespad=0.0,
        ),
    )
    if grow:
        make_room(ax)
    return legend


def legend_of_figure(figure: Figure, handles: Sequence[Artist], labels: Sequence[str]) -> Legend:
    """Legend of several axes under all of them; the figure gains its height."""
    legend = _as_wide_as(
        0.96 * figure.bbox.width,
        labels,
        lambda texts, columns: figure.legend(
            handles,
            texts,
            loc="outside lower center",
            ncols=columns,
            frameon=False,
            handlelength=3.2,
        ),
    )
    figure.set_figheight(figure.get_figheight() + legend.get_window_extent().height / figure.dpi)
    return legend


def _as_wide_as(
    width: float, labels: Sequence[str], make: Callable[[list[str], int], Legend]
) -> Legend:
    """The legend with the most columns that fit, its texts wrapped where not even one does."""
    texts = list(labels)
    for columns in range(max(1, min(len(texts), 4)), 0, -1):
        legend = make(texts, columns)
        if legend.get_window_extent().width <= width:
            return legend
        legend.remove()
    longest = max(len(line) for text in texts for line in text.split("\n"))
    for characters in range(longest - 1, 7, -1):
        texts = ["\n".join(textwrap.wrap(" ".join(t.split("\n")), characters)) for t in labels]
        legend = make(texts, 1)
        if legend.get_window_extent().width <= width:
            break
        legend.remove()
    else:
        legend = make(texts, 1)
    return legend


def make_room(ax: Axes) -> None:
    """Give a figure the height that the legend of its axes takes."""
    figure, legend = figure_of(ax), ax.get_legend()
    if legend is not None:
        extra = legend.get_window_extent().height / figure.dpi
        figure.set_figheight(figure.get_figheight() + extra)
