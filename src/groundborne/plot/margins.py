"""Margins of all rooms, option by option."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from groundborne._arguments import checked
from groundborne.plot.bounds import bound_legend, draw_bounds, printed_case
from groundborne.plot.floors import rated_rooms
from groundborne.plot.style import (
    grid,
    legend_below,
    literal,
    new_axes,
    numbers,
    plain_dims,
    series,
)
from groundborne.rating import Answer, scale_of
from groundborne.rating.answers import worst_answer
from groundborne.study.samples import median_case, range_words


@checked
def margins(
    result: xr.Dataset,
    *,
    criterion: str | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Margin of every room under every option.

    Parameters
    ----------
    result : Dataset
        Result of a study.
    criterion : str, optional
        Label of the criterion; by default the least margin of all that apply to a room.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        One row for each option and in it one lane for each group of rooms: a marker for each room
        and a line over their spread. Left of zero the criterion is not met; an open marker is not
        shown, and an arrow points to where a margin lies that is only a bound. Of a sampled result
        the medians, with a thin line, in each lane of its own kind, from the smallest to the
        largest of the samples over the rooms of the group.

    Raises
    ------
    ValueError
        An unknown criterion, dims that do not fit, or NaN.

    Examples
    --------
    >>> import groundborne as gb
    >>> from matplotlib.figure import Figure
    >>> study = gb.read_study("data/tower/study.toml")
    >>> study = study.with_options([gb.Option(name="as built")])
    >>> result = study.evaluate(band_levels=False)
    >>> ax = margins(result, ax=Figure().subplots())
    >>> [t.get_text() for t in ax.get_yticklabels()]
    ['as built']
    """
    result = median_case(result)
    if criterion is None:
        plain_dims(result["margin"], ("option", "room", "criterion"), "margins")
        cut = _least(result)
        units = " or ".join(dict.fromkeys(map(str, result["margin_unit"].values.tolist())))
        name = f"Least margin over all criteria, {units}"
    else:
        cut = rated_rooms(result, criterion=criterion, group=None, where="margins")
        name = f"Margin on {criterion}, {scale_of(cut, criterion).margin_unit}"
    margin = numbers(cut["margin"], "margins")
    values, mark, said = (
        cut[n].transpose("option", "room").values for n in ("margin", "mark", "answer")
    )
    names = margin["option"].values.tolist()
    of_room = margin["room_group"].values
    groups = list(dict.fromkeys(of_room.tolist()))
    own = ax is None
    ax = new_axes(ax, size=(7.0, 1.4 + max(0.5, 0.09 * len(groups)) * len(names)))
    handles: list[Artist] = []
    low, high = _range(result, margin, criterion)
    lanes = np.linspace(-0.3, 0.3, len(groups)) if len(groups) > 1 else np.zeros(1)
    y = np.arange(len(names))
    reach = _limits(values if low is None or high is None else np.stack([low, high]))
    for number, group in enumerate(groups):
        here = of_room == group
        lane = y + lanes[number]
        open_ = said[:, here] == Answer.NOT_SHOWN.value
        handles.append(_lane(ax, values[:, here], lane, number, open_))
        draw_bounds(
            ax, values[:, here], np.broadcast_to(lane[:, None], open_.shape), mark[:, here],
            color=series(number)["color"], margins=True, reach=reach,
        )  # fmt: skip
        if low is not None and high is not None:
            _ends(ax, low[:, here].min(axis=1), high[:, here].max(axis=1), lane, number)
    ax.set_xlim(*reach)
    ax.axvspan(reach[0], 0.0, color="0.94", zorder=0)
    ax.axvline(0.0, color="black", linewidth=1.6)
    for edge in (y[:-1] + 0.5).tolist():
        ax.axhline(edge, color="0.8", linewidth=0.6)
    ax.set_yticks(y, [literal(n, width=26) for n in names])
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.tick_params(axis="y", length=0)
    grid(ax, "x")
    words = range_words(result)
    below = f"\n{words}" if words else ""
    ax.set_xlabel(f"not met  ←   {literal(name, width=70)}   →  met{below}")
    if legend:
        more, texts = bound_legend(mark, said, margins=True)
        labels = [*(literal(g) for g in groups), *texts]
        legend_below(ax, [*handles, *more], labels, grow=own, share=0.8)
    return ax


def _least(result: xr.Dataset) -> xr.Dataset:
    """Least margin of each room over its criteria, its mark, and the answer that weighs most."""
    result = result.isel(room=result["applies"].any("criterion").values)
    result = printed_case(result)
    margin = result["margin"].where(result["applies"], np.inf)
    at = margin.argmin("criterion")
    found = xr.Dataset(
        {
            "margin": margin.min("criterion"),
            "mark": result["mark"].isel(criterion=at).reset_coords(drop=True),
            "answer": worst_answer(result["answer"], "criterion").reset_coords(drop=True),
        }
    )
    return found.assign_coords(room_group=result["room_group"])


def _range(
    result: xr.Dataset, margin: xr.DataArray, criterion: str | None
) -> tuple[np.ndarray[Any, Any] | None, np.ndarray[Any, Any] | None]:
    """Ends of the range of samples on (option, room); nothing where nothing is sampled."""
    if "margin_low" not in result:
        return None, None
    ends = []
    for name in ("margin_low", "margin_high"):
        end = result[name].where(result["applies"], np.inf)
        end = end.min("criterion") if criterion is None else end.sel(criterion=criterion)
        ends.append(end.sel(room=margin["room"].values).transpose("option", "room").values)
    return ends[0], ends[1]


def _lane(
    ax: Axes,
    margin: np.ndarray[Any, Any],
    y: np.ndarray[Any, Any],
    number: int,
    open_: np.ndarray[Any, Any],
) -> Artist:
    colour = series(number)["color"]
    look = {**series(number), "linestyle": "none", "markersize": 4.5, "markerfacecolor": colour}
    ax.hlines(y, margin.min(axis=1), margin.max(axis=1), color=colour, linewidth=2.2)
    place = np.broadcast_to(y[:, None], margin.shape)
    (points,) = ax.plot(margin[~open_], place[~open_], **look)
    if open_.any():
        ax.plot(margin[open_], place[open_], **{**look, "markerfacecolor": "white"})
    return points


def _ends(
    ax: Axes,
    low: np.ndarray[Any, Any],
    high: np.ndarray[Any, Any],
    y: np.ndarray[Any, Any],
    number: int,
) -> None:
    """A thin line over the ranges of a group with a stroke at each end, told apart in grey."""
    look = series(number)
    ax.hlines(y, low, high, color=look["color"], linewidth=0.9, linestyle=look["linestyle"])
    ax.plot([low, high], [y, y], linestyle="none", marker="|", markersize=5.0,
            color=look["color"], gid="ends")  # fmt: skip


def _limits(values: np.ndarray[Any, Any]) -> tuple[float, float]:
    """Both sides of zero, so that the reader sees where it is."""
    low, high = min(0.0, float(values.min())), max(0.0, float(values.max()))
    room = 0.06 * (high - low) or 1.0
    return low - max(room, 0.0), high + max(room, 0.0)
