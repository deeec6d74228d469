"""Movement of the packs while the building grows, on release, and by creep."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from groundborne._arguments import checked
from groundborne._checks import positive
from groundborne.plot.style import (
    figure_of,
    grid,
    legend_below,
    literal,
    new_axes,
    numbers,
    plain_dims,
)

_NEEDED = ("movement", "moves_on_release", "begins_to_move", "creep", "movement_long_term")
_BLUE, _ORANGE = "#0072B2", "#D55E00"


@checked
def settlement(
    movement: xr.Dataset,
    *,
    limit: float | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Movement of the columns by construction stage, with release and creep.

    Parameters
    ----------
    movement : Dataset
        From :func:`groundborne.sizing.stage_movement`, without samples or options.
    limit : float, optional
        Largest movement that the building bears, downwards [m].
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        Movement since locking in mm, downwards on paper too: median of the columns, and a band from
        the least to the most. A step is the movement on release. A vertical line stands at each
        stage at which packs come free, by release or by themselves; the last entry of the axis
        adds creep.

    Raises
    ------
    ValueError
        Not the result of staged movement, dims beside ``stage`` and ``column``, NaN, or a limit
        that is not above 0.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> from groundborne.sizing import LockedPack, stage_movement
    >>> from matplotlib.figure import Figure
    >>> load = xr.DataArray([[1e6, 2e6], [3e6, 4e6]], dims=("stage", "column"),
    ...                     coords={"stage": ["frame", "in use"], "column": ["A1", "B1"]})
    >>> pack = LockedPack.at_share(mount=LinearMount(stiffness=100e6), load=load[-1], share=0.9,
    ...                            lock="both ways")
    >>> ax = settlement(stage_movement(pack, load, released_after="in use"), ax=Figure().subplots())
    >>> ax.get_lines()[0].get_ydata().round(6).tolist()
    [0.0, 0.0, 3.5]
    """
    where = "plot.settlement"
    for name in _NEEDED:
        if name not in movement:
            raise ValueError(f"{where}: {name!r} is not there; pass what stage_movement() gave")
    if limit is not None:
        positive(where, "limit", limit, "m")
    after = _plain(movement["movement"], ("stage", "column")) * 1e3
    freed = plain_dims(movement["begins_to_move"], ("column",), "settlement")
    step = _plain(movement["moves_on_release"], ("column",)) * 1e3
    end = _plain(movement["movement_long_term"], ("column",)).sel(column=after["column"]) * 1e3
    stages = [str(s) for s in after["stage"].values]
    freed = freed.sel(column=after["column"])
    here = xr.DataArray(np.array(stages), dims="stage", coords={"stage": after["stage"]}) == freed
    # Packs that are released move only then, so that the stage of release is where they come free.
    before = after - step.sel(column=after["column"]) * here
    x, moved = _with_steps(before.values, after.values)

    own = ax is None
    ax = new_axes(ax, size=(7.0, 3.8))
    last = len(stages) - 1
    handles: list[Artist] = []
    handles += ax.plot(x, np.median(moved, axis=1), color=_BLUE, linewidth=1.8, zorder=3)
    ax.fill_between(
        x, moved.min(axis=1), moved.max(axis=1), color=_BLUE, alpha=0.22, linewidth=0, zorder=1
    )
    ax.plot(
        np.arange(last + 1), np.median(after, axis=1), "o", color=_BLUE, markersize=4.5, zorder=3
    )
    long = np.stack([after.values[-1], end.values])
    handles.append(Patch(facecolor=_BLUE, alpha=0.3, linewidth=0))
    handles += ax.plot(
        [last, last + 1], np.median(long, axis=1), color=_BLUE, linestyle=(0, (2, 1.5)),
        linewidth=1.8, marker="D", markersize=5, markevery=[1], markerfacecolor="white", zorder=3,
    )  # fmt: skip
    ax.fill_between(
        [last, last + 1], long.min(axis=1), long.max(axis=1), facecolor=_BLUE, alpha=0.12,
        hatch="///", edgecolor=_BLUE, linewidth=0, zorder=1,
    )  # fmt: skip
    crept = str(movement["creep"].attrs.get("long_name", "creep"))
    number = after.sizes["column"]
    labels = [
        f"median of {number} columns",
        "least to most of the columns",
        literal(f"with {crept}"),
    ]
    _ends(ax, long[-1], end["column"].values, last + 1)
    extremes = [moved.min(), moved.max(), long.min(), long.max(), 0.0]
    if limit is not None:
        handles.append(ax.axhline(limit * 1e3, color="black", linestyle="--", linewidth=2.0))
        labels.append(f"limit {limit * 1e3:g} mm")
        extremes.append(limit * 1e3)
    ax.axhline(0.0, color="black", linewidth=0.7, zorder=0)
    _view(ax, extremes, last + 1)
    mark = _freed(ax, here.sum("column").values, number)
    if mark is not None:
        handles.append(mark)
        labels.append("packs come free at this stage")
    rows = _stage_axis(ax, [*stages, f"with {crept}"])
    # The label is as much taller as the longest stage has lines, so that the legend clears both.
    ax.set_xlabel("Construction stage" + "\n" * (rows - 1))
    ax.set_ylabel("Movement since locking, mm (downwards)")
    grid(ax)
    if legend:
        legend_below(ax, handles, labels, grow=own)
    return ax


def _stage_axis(ax: Axes, names: list[str]) -> int:
    """Name the stages in the width that each has; lines of the longest."""
    points = ax.get_position().width * figure_of(ax).get_figwidth() * 72 / (len(names) + 0.5)
    width = int(np.clip(points / (0.58 * 8.5), 6, 18))
    shown = [literal(n, width=width) for n in names]
    ax.set_xticks(np.arange(len(names)), shown)
    return max(n.count("\n") for n in shown) + 1


def _plain(array: xr.DataArray, dims: tuple[str, ...]) -> xr.DataArray:
    return numbers(plain_dims(array, dims, "settlement"), "settlement").transpose(*dims)


def _with_steps(
    before: np.ndarray[Any, Any], after: np.ndarray[Any, Any]
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Stages and movements, a stage twice where release moves something at its end."""
    both = np.stack([before, after], axis=1).reshape(-1, after.shape[1])
    stage = np.repeat(np.arange(len(after), dtype=float), 2)
    keep = np.ones(stage.size, dtype=bool)
    keep[::2] = np.any(np.abs(before - after) > 1e-9, axis=1)
    return stage[keep], both[keep]


def _ends(ax: Axes, end: np.ndarray[Any, Any], names: np.ndarray[Any, Any], x: float) -> None:
    """Name the columns that move least and most in the end."""
    if np.ptp(end) < 0.05:
        ends = [(float(np.median(end)), "all", "center")]
    else:
        least, most = int(end.argmin()), int(end.argmax())
        ends = [
            (float(end[least]), literal(names[least], width=12, lines=1), "bottom"),
            (float(end[most]), literal(names[most], width=12, lines=1), "top"),
        ]
    for value, name, side in ends:
        ax.annotate(
            f"{name}: {value:.1f} mm", (x, value), xytext=(7, 0), textcoords="offset points",
            va=side, fontsize="small",
        )  # fmt: skip


def _freed(ax: Axes, count: np.ndarray[Any, Any], number: int) -> Artist | None:
    """A line at each stage at which packs come free, with how many."""
    mark: Artist | None = None
    for stage in np.flatnonzero(count).tolist():
        mark = ax.axvline(stage, color=_ORANGE, linestyle=(0, (4, 1.5, 1, 1.5)), linewidth=1.3)
        ax.annotate(
            f"{count[stage]} of {number}\ncome free", (stage, 1.0),
            xycoords=("data", "axes fraction"), textcoords="offset points",
            # The first stage has no room on its left.
            xytext=(3 if stage == 0 else -3, -3), ha="left" if stage == 0 else "right",
            va="top", fontsize="small",
        )  # fmt: skip
    return mark


def _view(ax: Axes, extremes: list[Any], last: float) -> None:
    """Downwards on paper, with room on top for the words and right for the names."""
    low, high = float(min(extremes)), float(max(extremes))
    span = high - low or 1.0
    ax.set_ylim(high + 0.08 * span, low - 0.22 * span)
    ax.set_xlim(-0.55, last + 0.12 * (last + 1.5) + 0.1)
