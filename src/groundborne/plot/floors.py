"""Ratings up the height of a building."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.plot.bounds import bound_legend, draw_bounds, printed_case
from groundborne.plot.style import (
    figure_of,
    grid,
    legend_below,
    literal,
    new_axes,
    numbers,
    plain_dims,
    series,
)
from groundborne.rating import scale_of
from groundborne.study.samples import median_case, range_words

_MOST = 4
"""Lines of options in one panel."""


@checked
def option_panels(options: Sequence[str]) -> list[list[str]]:
    """Options for panels beside each other: in each the first one, and at most three others.

    Parameters
    ----------
    options : sequence of str
        Names, the first being what the others are compared with.

    Raises
    ------
    StudyError
        No option at all.

    Examples
    --------
    >>> option_panels(["as built", "A", "B", "C", "D"])
    [['as built', 'A', 'B'], ['as built', 'C', 'D']]
    """
    if not options:
        raise StudyError("plot.option_panels: options is empty; name one or more options")
    first, *others = options
    if len(options) <= _MOST:
        return [list(options)]
    count = -(-len(others) // (_MOST - 1))
    parts = np.array_split(np.arange(len(others)), count)
    return [[first, *(others[at] for at in part.tolist())] for part in parts]


def rated_rooms(
    result: xr.Dataset, *, criterion: str | None, group: str | None, where: str
) -> xr.Dataset:
    """Rooms that a criterion applies to, of one group or of all, with numbers as printed.

    Raises
    ------
    StudyError
        An unknown criterion or group; several criteria and none named; no room left.
    """
    names = [str(c) for c in result["criterion"].values.tolist()]
    if criterion is None:
        if len(names) > 1:
            listed = ", ".join(map(repr, names))
            raise StudyError(f"plot.{where}: several criteria are there, name one: {listed}")
        criterion = names[0]
    known(f"plot.{where}", "criterion", criterion, names, StudyError)
    result = printed_case(median_case(result))
    ranges = [n for n in ("rating_low", "rating_high") if n in result]
    shown = ["rating", "limit", "margin", "applies", "mark", "answer", *ranges]
    cut = result[shown].isel(criterion=names.index(criterion))
    plain_dims(cut["rating"], ("option", "room"), where)
    if cut["applies"].dims != ("room",):
        raise StudyError(
            f"plot.{where}: applies has the dims {list(cut['applies'].dims)}; whether a criterion "
            "applies is told for each room"
        )
    keep = cut["applies"].values.astype(bool)
    if group is not None:
        known(f"plot.{where}", "group", group, np.unique(cut["room_group"]).tolist(), StudyError)
        keep = keep & (cut["room_group"].values == group)
    if not keep.any():
        raise StudyError(
            f"plot.{where}: the criterion {criterion!r} applies to no room of the group {group!r}"
        )
    cut = cut.isel(room=keep)
    numbers(cut["rating"], where)
    return cut


@checked
def floors(
    result: xr.Dataset,
    *,
    criterion: str | None = None,
    group: str | None = None,
    option: str | Sequence[str] | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Rating against height, one line for each option, with the limit.

    Parameters
    ----------
    result : Dataset
        Result of a study.
    criterion : str, optional
        Label of the criterion; may be left out where there is one.
    group : str, optional
        Rooms of one group; all rooms the criterion applies to by default.
    option : str or sequence of str, optional
        Which options to draw, each in its own colour whatever else is drawn; all by default. More
        than four lines in one figure are hard to tell apart: see :func:`option_panels`.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        Lines join, on each floor, the room with the least margin, within one part of the building;
        other rooms are small dots. The
        limit of every room is a bar at its height, or one line where all have the same; an arrow
        points to where a rating lies that is only a bound. Of a
        sampled result the medians, with broad bars from the smallest to the largest of the samples.

    Raises
    ------
    ValueError
        An unknown criterion, group or option, dims that do not fit, or NaN.

    Examples
    --------
    >>> import groundborne as gb
    >>> from matplotlib.figure import Figure
    >>> study = gb.read_study("data/tower/study.toml")
    >>> study = study.with_options([gb.Option(name="as built")])
    >>> result = study.evaluate(band_levels=False)
    >>> ax = floors(result, criterion="LASmax, 95th percentile, night", ax=Figure().subplots())
    >>> "dB re 20 µPa" in ax.get_xlabel()
    True
    """
    cut = rated_rooms(result, criterion=criterion, group=group, where="floors")
    names = cut["option"].values.tolist()
    if option is not None:
        for name in (chosen := [option] if isinstance(option, str) else list(option)):
            known("plot.floors", "option", name, names, StudyError)
        cut = cut.sel(option=chosen)
    own = ax is None
    ax = new_axes(ax, size=(7.0, 4.8))
    height = cut["room_height"].values
    margin = cut["margin"].transpose("option", "room").values
    parts = [_FloorsOfPart.of(cut, margin, of) for of in _parts(cut)]
    heights = np.concatenate([part.heights for part in parts])
    worst = np.concatenate([part.worst for part in parts], axis=1)
    planes = [part.plane for part in parts if part.plane is not None]
    rating = cut["rating"].transpose("option", "room").values
    mark = cut["mark"].transpose("option", "room").values
    limit = cut["limit"].values
    ends = [min(rating.min(), limit.min()), max(rating.max(), limit.max())]
    handles: list[Artist] = []
    labels = []
    for number, name in enumerate(cut["option"].values.tolist()):
        look = series(names.index(name))
        ax.plot(
            rating[number], height, linestyle="none", marker=".", markersize=2.5,
            color=look["color"], alpha=0.6,
        )  # fmt: skip
        if "rating_low" in cut:
            here = worst[number]
            sides = (cut[n].sel(option=name).values[here] for n in ("rating_low", "rating_high"))
            ax.hlines(heights, *sides, color=look["color"], linewidth=2.6, alpha=0.25)
        at = worst[number]
        draw_bounds(
            ax, rating[number, at], heights, mark[number, at], color=look["color"], margins=False,
            reach=(ends[0], ends[1]),
        )  # fmt: skip
        lines = [part.line(rating[number], number) for part in parts]
        x, y = (np.concatenate(of)[:-1] for of in zip(*lines, strict=True))
        handles += ax.plot(x, y, **{**look, "markersize": 4.5})
        labels.append(literal(name))
    if np.unique(limit).size == 1:
        handles.append(ax.axvline(float(limit[0]), color="black", linewidth=2.4, linestyle="--"))
        labels.append(f"limit {limit[0]:g}")
    else:
        bar: dict[str, Any] = {
            "linestyle": "none",
            "marker": "|",
            "markeredgewidth": 2.6,
            "color": "black",
        }
        ax.plot(limit, height, markersize=22, **bar)
        handles.append(Line2D([], [], markersize=9, **bar))
        labels.append("limit of the rooms at this height")
    for plane in planes:
        drawn = ax.axhline(plane, color="0.4", linestyle=(0, (1, 2)), linewidth=1.4)
    if planes:
        handles.append(drawn)
        labels.append("isolation plane, between these floors")
    _height_axis(ax, cut, np.unique(height))
    grid(ax)
    words = range_words(cut)
    below = f"\n{words}" if words else ""
    name = str(cut["criterion"].item())
    unit = scale_of(cut, name).unit
    ax.set_xlabel((f"{name}, {unit}" if unit else name) + below)
    if legend:
        more, texts = bound_legend(np.take_along_axis(mark, worst, axis=1), None, margins=False)
        legend_below(ax, [*handles, *more], [*labels, *texts], grow=own)
    return ax


@dataclass(frozen=True, eq=False)
class _FloorsOfPart:
    """Floors of one part of the building, which no line joins with those of another.

    Parameters
    ----------
    heights : array
        Heights, ascending.
    worst : array of int
        Index of the room with the least margin, on (option, floor).
    plane : float or None
        Height of the isolation plane, halfway between the rooms on each side, if there are both.
    """

    heights: np.ndarray[Any, Any]
    worst: np.ndarray[Any, Any]
    plane: float | None

    @classmethod
    def of(
        cls, cut: xr.Dataset, margin: np.ndarray[Any, Any], own: np.ndarray[Any, Any]
    ) -> _FloorsOfPart:
        """Of the rooms told by `own`; the margin is on (option, room)."""
        height, above = cut["room_height"].values, cut["above_plane"].values.astype(bool)
        heights = np.unique(height[own])
        member = own & (height == heights[:, None])
        worst = np.where(member[None], margin[:, None, :], np.inf).argmin(axis=-1)
        upper, lower = height[own & above], height[own & ~above]
        plane = float((lower.max() + upper.min()) / 2) if upper.size and lower.size else None
        return cls(heights, worst, plane)

    def line(self, rating: np.ndarray[Any, Any], option: int) -> tuple[Any, Any]:
        """Ratings and heights, with a gap at the plane, where nothing varies steadily, and last."""
        at = [self.heights.size]
        if self.plane is not None:
            at.append(int(np.searchsorted(self.heights, self.plane)))
        found = rating[self.worst[option]]
        return np.insert(found, at, np.nan), np.insert(self.heights, at, np.nan)


def _parts(cut: xr.Dataset) -> list[np.ndarray[Any, Any]]:
    """Which rooms are in each part, in order."""
    of = cut["part_of_room"].values.astype(str)
    return [of == name for name in dict.fromkeys(of.tolist())]


def _height_axis(ax: Axes, cut: xr.Dataset, heights: np.ndarray[Any, Any]) -> None:
    names = dict(
        zip(cut["room_height"].values.tolist(), cut["floor_of_room"].values.tolist(), strict=True)
    )
    low, high = float(heights[0]), float(heights[-1])
    margin = 0.08 * (high - low) or 1.0
    ax.set_ylim(low - margin, high + margin)
    # As many floor labels as stay clear of each other, the lowest always among them.
    inches = ax.get_position().height * figure_of(ax).get_figheight()
    apart = 0.17 * (high - low + 2 * margin) / inches
    shown = [low]
    for value in heights[1:].tolist():
        if value - shown[-1] >= apart:
            shown.append(value)
    ax.set_yticks(shown, [f"{literal(names[h], width=16, lines=1)}  ({h:g} m)" for h in shown])
    ax.set_ylabel("Floor (height above the foundation)")
