"""How figures draw ratings and margins that are bounds, and answers that are not shown."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.markers import CARETLEFT, CARETRIGHT

from groundborne.rating import Answer, Mark

_REACH = 0.022  # of the width of the axes
_INK = "0.25"
_HEADS: dict[bool, Any] = {True: CARETRIGHT, False: CARETLEFT}


def printed_case(result: xr.Dataset) -> xr.Dataset:
    """Ratings and margins as they are printed: medians, and none below what can be measured.

    Parameters
    ----------
    result : Dataset
        Result of a study, with ``mark``.

    Returns
    -------
    xarray.Dataset
        ``rating`` no smaller than the least that can be measured, and ``margin`` to it; of answers
        by probability the medians, with ``mark`` of them.
    """
    least = result["least"].reset_coords(drop=True)
    if "rating_median" in result:
        result = _of_medians(result, least)
    quiet = result["rating"] < least
    attrs = {n: result[n].attrs for n in ("rating", "margin")}
    found = result.assign(
        rating=result["rating"].where(~quiet, least),
        margin=result["margin"].where(~quiet, result["limit"] - least),
    )
    for name, kept in attrs.items():
        found[name].attrs = kept
    return found


def _of_medians(result: xr.Dataset, least: xr.DataArray) -> xr.Dataset:
    medians = {n: result[f"{n}_median"].assign_attrs(result[n].attrs) for n in ("rating", "margin")}
    mark, bounded = result["mark"], [Mark.AT_LEAST.value, Mark.OPEN.value]
    quiet = xr.where(medians["rating"] < least, Mark.BELOW.value, Mark.EXACT.value)
    kept = mark.where(mark.isin(bounded), quiet.transpose(*mark.dims))
    return result.assign({**medians, "mark": kept})


def draw_bounds(
    ax: Axes, x: Any, y: Any, mark: Any, *, color: str, margins: bool, reach: tuple[float, float]
) -> None:
    """Arrows to the side on which a bounded value lies.

    Parameters
    ----------
    ax : Axes
        With the values on its x axis.
    x, y, mark : array
        Places and marks of the ratings, alike in shape.
    color : str
        Of the values.
    margins : bool
        Whether the values are margins, whose bounds are opposite to those of ratings.
    reach : tuple of float
        Ends of the x axis.
    """
    x, y, mark = (np.ravel(a) for a in (x, y, mark))
    length = _REACH * (reach[1] - reach[0])
    for kind, larger in ((Mark.AT_LEAST, not margins), (Mark.BELOW, margins)):
        here = mark == kind.value
        if here.any():
            # Under the markers, whose open faces then stay open.
            ends = x[here] + (length if larger else -length)
            ax.hlines(y[here], x[here], ends, color=color, linewidth=0.9, zorder=1.5)
            ax.scatter(ends, y[here], s=16.0, marker=_HEADS[larger], color=color, zorder=1.5)


def bound_legend(mark: Any, answer: Any | None, *, margins: bool) -> tuple[list[Artist], list[str]]:
    """Legend entries of the bounds and open markers that occur.

    Parameters
    ----------
    mark : array
        Of everything drawn.
    answer : array, optional
        Likewise; given where open markers stand for what is not shown.
    margins : bool
        As in :func:`draw_bounds`.
    """
    rows: list[tuple[dict[str, Any], str]] = []
    if answer is not None and (np.asarray(answer) == Answer.NOT_SHOWN.value).any():
        rows.append(({"marker": "o", "markerfacecolor": "white"}, "any open marker: not shown"))
    for kind, larger, why in (
        (Mark.AT_LEAST, not margins, "bands missing"),
        (Mark.BELOW, margins, "too quiet to measure"),
    ):
        if (np.asarray(mark) == kind.value).any():
            words = f"{'at least' if larger else 'at most'}: {why}"
            rows.append(({"marker": _HEADS[larger], "markersize": 7}, words))
    handles: list[Artist] = [
        Line2D([], [], color=_INK, **{"linestyle": "none", "markersize": 5, **look})
        for look, _ in rows
    ]
    return handles, [words for _, words in rows]
