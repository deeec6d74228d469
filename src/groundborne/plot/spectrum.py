"""Band levels, as thirds, or as octaves against a noise rating curve."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from groundborne import bands, levels
from groundborne._arguments import checked
from groundborne._checks import RatingError, finite
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
from groundborne.rating import nr_curve, octaves_from_thirds


@checked(own_labels=("limit",))
def spectrum(
    level: xr.DataArray,
    *,
    ax: Axes | None = None,
    hue: str | None = None,
    limit: float | xr.DataArray | None = None,
    legend: bool = True,
    **line: Any,
) -> Axes:
    r"""Band levels against nominal bands.

    Parameters
    ----------
    level : DataArray
        Labelled one-third-octave level [dB] with dim ``frequency``, and `hue` if that is given.
    ax : Axes, optional
        Where to draw; a new figure by default.
    hue : str, optional
        Dim of which each entry becomes one line.
    limit : float or DataArray, optional
        Noise rating to compare with [NR], or another curve of octave levels with its name as
        ``name``. A curve is defined on octaves: the thirds are then summed to octaves and only
        those of the curve are drawn. An octave that lacks a third is a lower bound and drawn with
        a ring.
    legend : bool
        Whether to add a legend.
    **line
        Passed on to every line of levels, such as ``linewidth``.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        The level is not labelled, has dims beyond ``frequency`` and `hue`, or holds NaN; with
        `limit`, it is not a sound pressure level or touches no octave of the curve.

    Notes
    -----
    Thirds are never drawn against the octave curve: they lie about 5 dB below the octave they add
    up to and would look like a margin.

    Examples
    --------
    >>> import groundborne as gb
    >>> from matplotlib.figure import Figure
    >>> level = gb.levels.stamp(
    ...     xr.DataArray([50.0, 52.0, 49.0], coords={"frequency": [50.0, 63.0, 80.0]}),
    ...     quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> ax = spectrum(level, ax=Figure().subplots())
    >>> ax.get_ylabel()
    'One-third-octave sound pressure level\ndB re 20 µPa'
    """
    quantity = None if limit is None else "sound pressure"
    levels.require(level, where="plot.spectrum", quantity=quantity)
    dims = ("frequency",) if hue is None else (hue, "frequency")
    numbers(plain_dims(level, dims, "spectrum"), "spectrum")
    bands.require_labels(level["frequency"], "plot.spectrum")
    short = np.zeros(level.sizes["frequency"], bool)
    drawn, width = level, "One-third-octave"
    curve = None
    if limit is not None:
        curve = _curve(limit)
        drawn, short = _octaves(level, curve)
        width = "Octave-band"
    own = ax is None
    ax = new_axes(ax, size=(7.0, 4.2))
    handles: list[Artist] = []
    labels = []
    x = drawn["frequency"].values
    for number, (name, values) in enumerate(_rows(drawn, hue)):
        (one,) = ax.plot(x, values, **{**series(number), "markersize": 4.5, "label": name, **line})
        handles.append(one)
        labels.append(name)
    if curve is not None:
        look: dict[str, Any] = {"color": "black", "linewidth": 2.2, "linestyle": (0, (4, 1.2))}
        labels.append(literal(curve.name))
        handles += ax.plot(x, curve.sel(frequency=x).values, label=labels[-1], **look)
        if short.any():
            labels.append("octave lacks a third: lower bound")
            handles.append(_rings(ax, drawn, short, labels[-1]))
    grid(ax)
    band_axis(ax, x, name=f"{width.removesuffix('-band')} band, Hz")
    ax.set_ylabel(level_label(level, f"{width} {level.attrs['quantity']} level"))
    if legend and (len(handles) > 1 or hue is not None):
        legend_below(ax, handles, labels, grow=own)
    return ax


def _rows(level: xr.DataArray, hue: str | None) -> list[tuple[str, np.ndarray[Any, Any]]]:
    if hue is None:
        return [(literal(level.attrs.get("long_name", "level")), level.values)]
    names = level[hue].values.tolist()
    values = level.transpose(hue, "frequency").values
    return [(literal(n), v) for n, v in zip(names, values, strict=True)]


def _curve(limit: float | xr.DataArray) -> xr.DataArray:
    if isinstance(limit, xr.DataArray):
        if limit.dims != ("frequency",) or limit.name is None:
            raise RatingError(
                "plot.spectrum: limit is no curve: levels on frequency, with a name, are needed"
            )
        return limit
    finite("plot.spectrum", "limit", limit)
    return nr_curve(limit).rename(f"NR {limit:g}")


def _octaves(level: xr.DataArray, curve: xr.DataArray) -> tuple[xr.DataArray, np.ndarray[Any, Any]]:
    summed, lacking = octaves_from_thirds(level)
    known = curve["frequency"].values
    used = [f for f in summed["frequency"].values.tolist() if f in known]
    if not used:
        raise RatingError(
            f"plot.spectrum: no octave from {bands.label(known[0])} to {bands.label(known[-1])} Hz "
            "is in the level, and the curve starts there; leave out limit"
        )
    short = np.array([any(f"the {bands.label(f)} Hz" in text for text in lacking) for f in used])
    octaves = summed.sel(frequency=used)
    octaves.attrs = dict(level.attrs)
    return octaves, short


def _rings(ax: Axes, octaves: xr.DataArray, short: np.ndarray[Any, Any], text: str) -> Line2D:
    """Ring around every value that is a lower bound."""
    cut = octaves.isel(frequency=short)
    x = np.broadcast_to(cut["frequency"].values, cut.transpose(..., "frequency").shape)
    (rings,) = ax.plot(
        x.ravel(),
        cut.transpose(..., "frequency").values.ravel(),
        linestyle="none",
        marker="o",
        markersize=9.5,
        markerfacecolor="none",
        markeredgecolor="0.35",
        markeredgewidth=0.8,
        label=text,
        clip_on=False,
    )
    return rings
