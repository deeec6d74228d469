"""Mean and percentile spectra of groups of passbys, with the background and what it hides."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from groundborne import bands, levels
from groundborne._arguments import checked
from groundborne._checks import known
from groundborne.plot.style import (
    band_axis,
    grid,
    legend_below,
    level_label,
    literal,
    new_axes,
    numbers,
    plain_dims,
    series,
)
from groundborne.rating import statistic


@checked
def mean_spectra(
    level: xr.DataArray,
    *,
    ax: Axes | None = None,
    group: str | None = "train_type",
    percentile: float | None = 95.0,
    background: xr.DataArray | None = None,
    legend: bool = True,
) -> Axes:
    """Energy mean and percentile of each group of passbys, one colour and marker for each.

    Parameters
    ----------
    level : DataArray
        Labelled level [dB], dims (passby, frequency). With the coordinate ``upper_limit`` (bool,
        same dims), bands that stand in no more than half of a group's passbys above the background
        are marked: their level is an upper limit.
    ax : Axes, optional
        Where to draw; a new figure by default.
    group : str, optional
        Coordinate on ``passby`` that names the group; None takes all passbys as one.
    percentile : float or None
        Percentile of each band by itself [%]; none if None. It is not the spectrum of one train.
    background : DataArray, optional
        Labelled level of background segments [dB], dims (segment, frequency); its energy mean is
        drawn.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        A level that is not labelled or has other dims, no such group, more than seven groups, or
        too few passbys in one of them for the percentile.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> level = levels.stamp(
    ...     xr.DataArray([[80.0, 85.0], [90.0, 85.0]], dims=("passby", "frequency"),
    ...                  coords={"frequency": [50.0, 63.0], "train_type": ("passby", ["a", "b"])}),
    ...     quantity="velocity", reference="1 nm/s", long_name="level")
    >>> ax = mean_spectra(level, ax=Figure().subplots(), percentile=None)
    >>> [line.get_ydata().round(1).tolist() for line in ax.get_lines()]
    [[80.0, 85.0], [90.0, 85.0]]
    """
    where = "plot.mean_spectra"
    levels.require(level, where=where)
    numbers(plain_dims(level, ("passby", "frequency"), "mean_spectra"), "mean_spectra")
    bands.require_labels(level["frequency"], where)
    groups = _groups(level, group)
    drawn = {name: _statistics(part, percentile) for name, part in groups.items()}
    quiet = None
    if background is not None:
        levels.require(background, where=where, quantity=level.attrs["quantity"])
        quiet = levels.energy_mean(
            levels.convert(background, reference=level.attrs["reference"]), "segment"
        )
    own = ax is None
    ax = new_axes(ax, size=(7.0, 4.2))
    x = level["frequency"].values
    handles: list[Artist] = []
    labels: list[str] = []
    hidden = False
    for number, (name, (mean, high, limit)) in enumerate(drawn.items()):
        look = series(number) | {"markersize": 4.5}
        count = groups[name].sizes["passby"]
        text = f"{literal(name)}, " if name else ""
        (line,) = ax.plot(x, mean, **(look | {"linestyle": "-", "linewidth": 1.8}))
        handles.append(line)
        labels.append(f"{text}energy mean of {count}")
        if high is not None and percentile is not None:
            dashes = {"linestyle": "--", "linewidth": 1.1, "markersize": 3.0}
            handles += ax.plot(x, high, **(look | dashes))
            labels.append(f"{text}percentile {percentile:g} %")
        if limit.any():
            hidden = True
            ax.plot(x[limit], mean[limit], **_UPPER_LIMIT)
    if quiet is not None:
        handles += ax.plot(x, quiet.values, color="0.45", linestyle=":", linewidth=2.2)
        labels.append("background, energy mean")
    if hidden:
        handles.append(Line2D([], [], **_UPPER_LIMIT))
        labels.append("not detectable in half or more:\nupper limit")
    grid(ax)
    band_axis(ax, x, name="One-third-octave band, Hz")
    ax.set_ylabel(level_label(level, f"{level.attrs['quantity'].capitalize()} level"))
    if legend:
        legend_below(ax, handles, labels, grow=own)
    return ax


_UPPER_LIMIT: dict[str, Any] = {
    "linestyle": "none",
    "marker": "v",
    "markersize": 10.0,
    "markerfacecolor": "none",
    "markeredgecolor": "black",
    "markeredgewidth": 0.9,
}


def _groups(level: xr.DataArray, group: str | None) -> dict[str, xr.DataArray]:
    if group is None:
        return {"": level}
    on_passby = [str(n) for n, c in level.coords.items() if c.dims == ("passby",)]
    known("plot.mean_spectra", "group", group, [n for n in on_passby if n != "passby"])
    names = level[group].values.astype(str)
    found = {str(n): level.isel(passby=names == n) for n in np.unique(names)}
    if len(found) > 7:
        raise ValueError(
            f"plot.mean_spectra: {group} makes {len(found)} groups; at most 7 can be told apart. "
            "Select some of them"
        )
    return found


def _statistics(level: xr.DataArray, percentile: float | None) -> tuple[Any, Any, Any]:
    """Mean and percentile of a group, and where it is hidden by the background."""
    mean = levels.energy_mean(level, "passby").values
    high = None
    if percentile is not None:
        high = statistic(level, "percentile", percentile=percentile).values
    limit = np.zeros(level.sizes["frequency"], bool)
    if "upper_limit" in level.coords:
        limit = level["upper_limit"].transpose("passby", "frequency").values.mean(0) >= 0.5
    return mean, high, limit
