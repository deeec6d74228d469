"""Options by how sure they are and what they take."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.plot.style import figure_of, grid, legend_below, literal, new_axes

Array = np.ndarray[Any, Any]

_LARGE = 1e4  # from which digits stand in groups of three

_PLACES = tuple(
    (x, y, "left" if x > 0 else "right" if x < 0 else "center",
     "bottom" if y > 0 else "top" if y < 0 else "center")
    for r in (7, 16, 28, 42)
    for x, y in ((r, 0), (-r, 0), (0, r), (0, -r), (r, r), (-r, r), (r, -r), (-r, -r))
)  # fmt: skip


@checked
def efficient_options(
    found: xr.Dataset, *, column: str | None = None, ax: Axes | None = None, legend: bool = True
) -> Axes:
    """Probability that all rooms meet all criteria over what options take.

    Parameters
    ----------
    found : Dataset
        From :func:`~groundborne.study.efficient_set`.
    column : str, optional
        Which of its columns; the first by default. An option may be efficient by another one.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        A filled marker for each efficient option and a hollow one for each that another beats, each
        with its name and, as a bar, two standard errors of the probability either way.

    Raises
    ------
    ValueError
        An unknown column, or a dataset that :func:`~groundborne.study.efficient_set` did not make.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> from groundborne.study import efficient_set
    >>> at = {"option": ["none", "springs"]}
    >>> sure = xr.Dataset({"probability_all": ("option", [0.2, 0.95]),
    ...                    "probability_all_error": ("option", [0.01, 0.01])}, coords=at)
    >>> cost = xr.DataArray([0.0, 3.0], coords=at, dims="option")
    >>> ax = efficient_options(efficient_set(sure, {"cost": cost}), ax=Figure().subplots())
    >>> ax.get_xlabel()
    'Cost'
    """
    where = "plot.efficient_options"
    if "efficient" not in found or "columns" not in found.attrs:
        raise StudyError(f"{where}: this is no efficient set; give what efficient_set makes")
    columns = [str(n) for n in np.atleast_1d(found.attrs["columns"])]
    name = known(where, "column", columns[0] if column is None else column, columns, StudyError)
    x, y = found[name].values.astype(float), 100 * found["probability_all"].values
    error = 200 * found["probability_all_error"].values
    kept = found["efficient"].values.astype(bool)
    own = ax is None
    ax = new_axes(ax, size=(7.0, 4.4))
    ax.errorbar(x, y, yerr=error, fmt="none", ecolor="0.5", elinewidth=1.0, zorder=1)
    look: dict[str, Any] = {
        "linestyle": "none",
        "markeredgecolor": "black",
        "markersize": 8.0,
        "zorder": 3,
    }
    handles, labels = [], []
    for which, marker, fill, words in (
        (kept, "o", "#0072B2", "efficient: no other option is better without being worse"),
        (~kept, "s", "white", "another option is better in something and worse in nothing"),
    ):
        if which.any():
            handles += ax.plot(x[which], y[which], marker=marker, markerfacecolor=fill, **look)
            labels.append(literal(words, width=64))
    span = float(np.ptp(x)) or max(abs(float(x[0])), 1.0)
    ax.set_xlim(x.min() - 0.14 * span, x.max() + 0.14 * span)
    ax.set_ylim(-7.0, 109.0)
    ax.set_yticks(range(0, 101, 20))
    grid(ax)
    units = str(found[name].attrs.get("units", ""))
    words = f"{name[:1].upper()}{name[1:]}"
    ax.set_xlabel(literal(f"{words}, {units}" if units else words, width=70))
    if span >= _LARGE:
        ax.xaxis.set_major_formatter(lambda value, _: f"{value:,.0f}".replace(",", " "))
    ax.set_ylabel("Probability that all rooms\nmeet all criteria, %")
    if legend:
        legend_below(ax, handles, labels, grow=own)
    _name_points(ax, x, y, error, found["option"].values.tolist())
    return ax


def _name_points(ax: Axes, x: Array, y: Array, error: Array, names: list[str]) -> None:
    """Names beside their markers, where they cover neither another name nor a marker.

    Markers that lie on each other have their names in one text.
    """
    figure = figure_of(ax)
    figure.draw_without_rendering()  # constrained layout moves the axes
    inside = ax.get_window_extent()
    at = ax.transData.transform(np.column_stack([x, y]))
    ends = ax.transData.transform(np.column_stack([x, y + error]))[:, 1] - at[:, 1]
    size = 6 * figure.dpi / 72
    taken = [
        Bbox.from_extents(px - size, py - max(size, end), px + size, py + max(size, end))
        for (px, py), end in zip(at, ends, strict=True)
    ]
    at_one: dict[int, list[str]] = {}
    for number, name in enumerate(names):
        near = (n for n in at_one if np.abs(at[n] - at[number]).max() < size)
        at_one.setdefault(next(near, number), []).append(name)
    for number, own in at_one.items():
        name = ", ".join(own)
        best: Annotation | None = None
        for dx, dy, ha, va in _PLACES:
            text = ax.annotate(
                literal(name, width=22, lines=3 * len(own)), (x[number], y[number]),
                xytext=(dx, dy), textcoords="offset points", ha=ha, va=va, fontsize="small",
                zorder=4,
            )  # fmt: skip
            box = text.get_window_extent()
            others = [b for n, b in enumerate(taken) if n != number or (dx, dy) == (0, 0)]
            free = not any(box.overlaps(b) for b in others)
            if free and inside.contains(box.x0, box.y0) and inside.contains(box.x1, box.y1):
                best = text
                taken.append(box)
                break
            text.remove()
        if best is None:
            raise StudyError(
                f"plot.efficient_options: the name of option {own[0]!r} has no room beside those "
                "of the others; draw fewer options, or give larger axes"
            )
