"""A recording against time: the signal or its level, with the events found and those left out."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from groundborne import levels
from groundborne._arguments import checked
from groundborne._checks import LevelError, finite, known
from groundborne.plot.style import grid, legend_below, level_label, literal, new_axes, plain_dims
from groundborne.records.events import Events
from groundborne.records.recording import Recording

_MILLI = {"velocity": "mm/s", "acceleration": "mm/s²"}
_COLUMNS = 2000
"""Most columns a signal is drawn in; each spans from its smallest to its largest sample."""
_LINE = "#1A1A1A"
_MINUTES = 300.0
"""A record longer than this [s] is drawn in minutes."""
_MOST_NUMBERS = 20
"""With more events than these only those left out are numbered."""


@checked(infinite=("data",))
def time_history(
    data: Recording | xr.DataArray,
    *,
    ax: Axes | None = None,
    events: Events | None = None,
    threshold: float | None = None,
    channel: str | None = None,
    legend: bool = True,
) -> Axes:
    """Signal or level against time, with events shaded and the reasons of those left out.

    Parameters
    ----------
    data : Recording or DataArray
        Recording, of which one channel is drawn; or a labelled level [dB] on ``time`` [s], as
        from ``records.band_history``.
    ax : Axes, optional
        Where to draw; a new figure by default.
    events : Events, optional
        Events in it. Those kept are shaded plainly; those left out are hatched and numbered, and
        the legend says why.
    threshold : float, optional
        Level that an event had to reach [dB]; for levels only.
    channel : str, optional
        Channel of a recording; needed if there are several.
    legend : bool
        Whether to add a legend. Without it no reason is shown.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        A level that is not labelled or has no times, a channel that is not there or not named, a
        threshold for a signal.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> level = levels.stamp(
    ...     xr.DataArray([60.0, 75.0, 61.0], coords={"time": [0.0, 1.0, 2.0]}),
    ...     quantity="velocity", reference="1 nm/s", long_name="level")
    >>> ax = time_history(level, ax=Figure().subplots(), threshold=66.0)
    >>> ax.get_xlabel()
    'Time from the start, s'
    """
    own = ax is None
    ax = new_axes(ax, size=(8.0, 3.4))
    if isinstance(data, Recording):
        if threshold is not None:
            raise ValueError("plot.time_history: a threshold is a level; draw a level history")
        handles, labels, unit = _signal(ax, data, channel)
    else:
        handles, labels, unit = _level(ax, data)
    if threshold is not None:
        finite("plot.time_history", "threshold", threshold)
        labels.append(f"threshold {threshold:.1f} dB")
        handles.append(
            ax.axhline(
                threshold, color="black", linestyle=(0, (5, 2)), linewidth=1.1, label=labels[-1]
            )
        )
    if events is not None:
        more, said = _events(ax, events, unit)
        handles += more
        labels += said
    grid(ax)
    ax.set_xlabel(f"Time from the start, {'min' if unit > 1 else 's'}")
    if legend and (len(handles) > 1 or events is not None):
        legend_below(ax, handles, labels, grow=own)
    return ax


def _unit(seconds: float) -> float:
    return 60.0 if seconds > _MINUTES else 1.0


def _signal(
    ax: Axes, recording: Recording, channel: str | None
) -> tuple[list[Artist], list[str], float]:
    names = list(recording.channels)
    if channel is None and len(names) > 1:
        raise ValueError(f"plot.time_history: name one of the channels {', '.join(names)}")
    name = names[0] if channel is None else known("plot.time_history", "channel", channel, names)
    values = recording.signal.isel(channel=names.index(name)).values
    quantity = recording.quantity
    scale = 1e3 if quantity in _MILLI else 1.0
    count = min(values.size, _COLUMNS)
    starts = np.linspace(0, values.size, count, endpoint=False).astype(int)
    unit = _unit(recording.duration)
    time = starts / recording.sample_rate / unit
    if count == values.size:
        ax.plot(time, values * scale, color=_LINE, linewidth=0.7)
    else:
        low, high = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
        ax.fill_between(time, low * scale, high * scale, color=_LINE, linewidth=0.5)
    ax.set_xlim(0.0, recording.duration / unit)
    units = _MILLI.get(quantity, str(recording.signal.attrs["units"]))
    ax.set_ylabel(f"{quantity.capitalize()} {literal(name)}, {units}")
    return [Line2D([], [], color=_LINE, linewidth=1.5)], [f"{quantity} {literal(name)}"], unit


def _level(ax: Axes, level: Any) -> tuple[list[Artist], list[str], float]:
    levels.require(level, where="plot.time_history")
    plain_dims(level, ("time",), "time_history")
    if "time" not in level.coords:
        raise LevelError("plot.time_history: the level has no coordinate time [s]")
    values = level.values.astype(float)
    if bool(np.isnan(values).any()):
        raise ValueError("plot.time_history: the data hold values that are not numbers")
    time = level["time"].values
    unit = _unit(float(np.ptp(time)))
    # A drop-out has no energy and no level: the line breaks there.
    drawn = np.where(np.isfinite(values), values, np.nan)
    (line,) = ax.plot(time / unit, drawn, color=_LINE, linewidth=0.8)
    ax.set_xlim(float(time[0]) / unit, float(time[-1]) / unit)
    averaging = level.attrs.get("averaging") or level.attrs.get("time_weighting", "")
    attrs = {**level.attrs, "time_weighting": averaging}
    what = f"{level.attrs['quantity'].capitalize()} level"
    ax.set_ylabel(level_label(level.assign_attrs(attrs), what))
    return [line], [f"{level.attrs['quantity']} level"], unit


def _events(ax: Axes, events: Events, unit: float) -> tuple[list[Artist], list[str]]:
    table = events.table
    kept = table["kept"].values.astype(bool)
    spans = np.stack([table["start"].values, table["end"].values], axis=1) / unit
    looks: tuple[tuple[Any, str, dict[str, Any]], ...] = (
        (kept, "kept", {"facecolor": "#9AD0F0", "edgecolor": "#56B4E9", "linewidth": 0.4}),
        (~kept, "left out", {"facecolor": "#FBE3B5", "edgecolor": "#B35900", "hatch": "/////"}),
    )
    handles: list[Artist] = []
    labels: list[str] = []
    for which, word, look in looks:
        if which.any():
            bars = [(float(a), float(b - a)) for a, b in spans[which]]
            place = ax.get_xaxis_transform()
            ax.broken_barh(bars, (0.0, 1.0), transform=place, zorder=0.4, **look)
            handles.append(Patch(**look))
            labels.append(f"event {word} ({int(which.sum())})")
    numbers = table["event"].values
    named = np.ones_like(kept) if kept.size <= _MOST_NUMBERS else ~kept
    _number(ax, spans[named].mean(axis=1), [str(n) for n in numbers[named].tolist()])
    for reason, members in _reasons(table.isel(event=~kept)).items():
        handles.append(Patch(facecolor="none", edgecolor="none"))
        labels.append(literal(f"{', '.join(members)}: {reason}", width=64))
    return handles, labels


def _reasons(table: xr.Dataset) -> dict[str, list[str]]:
    """Events left out by reason; where several share one, without the numbers in it."""
    texts = [str(r) for r in table["reason"].values.tolist()]
    stems = [re.sub(r"\s*\([^)]*\)|(?<=\w)\s\d[\d.]*(?=,)", "", text) for text in texts]
    found: dict[str, list[str]] = {}
    for number, text, stem in zip(table["event"].values.tolist(), texts, stems, strict=True):
        found.setdefault(stem if stems.count(stem) > 1 else text, []).append(str(number))
    return found


def _number(ax: Axes, middles: Any, texts: list[str]) -> None:
    """Numbers above the axes, a row higher where one would touch the one before."""
    size = 0.85 * float(ax.xaxis.label.get_fontsize())
    figure = ax.get_figure(root=True)
    assert figure is not None
    low, high = ax.get_xlim()
    width = figure.get_figwidth() * ax.get_position().width * 72
    points = (np.asarray(middles) - low) / (high - low) * width
    ends: list[float] = []
    for middle, at, text in zip(np.asarray(middles).tolist(), points.tolist(), texts, strict=True):
        if not low <= middle <= high:
            continue
        half = 0.35 * size * len(text) + 1.5
        row = next((i for i, end in enumerate(ends) if at - half > end), len(ends))
        ends[row : row + 1] = [at + half]
        ax.annotate(
            text,
            (middle, 1.0),
            xycoords=ax.get_xaxis_transform(),
            xytext=(0.0, 2.0 + row * 1.25 * size),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=size,
            annotation_clip=False,
        )
