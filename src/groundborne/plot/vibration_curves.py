"""Velocity spectra against the curves for people and for sensitive equipment."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from groundborne import bands, levels
from groundborne._arguments import checked
from groundborne._checks import BandError
from groundborne.plot.style import (
    band_axis,
    grid,
    legend_below,
    literal,
    new_axes,
    numbers,
    plain_dims,
    series,
)
from groundborne.rating.vibration_curves import curve

CURVES = (
    "ISO office",
    "ISO residential (day)",
    "ISO operating theatre",
    "VC-A",
    "VC-B",
    "VC-C",
    "VC-D",
    "VC-E",
)
"""Curves drawn unless others are asked for."""


@checked
def vibration_curves(
    level: xr.DataArray,
    *,
    ax: Axes | None = None,
    hue: str | None = None,
    curves: Sequence[str] = CURVES,
    legend: bool = True,
) -> Axes:
    r"""Rms velocity of one-third-octave bands against vibration curves.

    Parameters
    ----------
    level : DataArray
        Labelled velocity level [dB] with dim ``frequency``, and `hue` if that is given.
    ax : Axes, optional
        Where to draw; a new figure by default.
    hue : str, optional
        Dim of which each entry becomes one line.
    curves : sequence of str
        Names from ``rating.vibration_curves.CURVES``, written at the end of each curve.
    legend : bool
        Whether to add a legend of the spectra.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        The level is not a labelled velocity level, has other dims or holds NaN; an unknown curve.

    Notes
    -----
    The curves mean rms values with linear averaging. What the spectrum is (S maximum, Leq) stands
    at the axis: a maximum lies on the safe side, a mean over a passby does not.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> level = levels.stamp(
    ...     xr.DataArray([80.0, 86.0, 74.0], coords={"frequency": [50.0, 63.0, 80.0]}),
    ...     quantity="velocity", reference="1 nm/s", long_name="level", time_weighting="S max")
    >>> ax = vibration_curves(level, ax=Figure().subplots(), curves=("VC-A", "VC-C"))
    >>> ax.get_ylabel()
    'One-third-octave velocity\nrms, S max, µm/s'
    """
    where = "plot.vibration_curves"
    levels.require(level, where=where, quantity="velocity")
    dims = ("frequency",) if hue is None else (hue, "frequency")
    numbers(plain_dims(level, dims, "vibration_curves"), "vibration_curves")
    labels = bands.require_labels(level["frequency"], where)
    limits = {name: _within(curve(name), labels) for name in curves}
    si = levels.convert(level, reference="1 nm/s")
    speed = 1e-3 * 10 ** (si.transpose(*dims) / 20)  # µm/s
    own = ax is None
    ax = new_axes(ax, size=(7.0, 4.6))
    for limit in limits.values():
        ax.plot(limit["frequency"], 1e6 * limit, color="0.45", linewidth=1.0, zorder=1.5)
    names = [literal(level.attrs.get("long_name", "level"))]
    if hue is not None:
        names = [literal(n) for n in level[hue].values.tolist()]
    handles: list[Artist] = []
    for number, (name, values) in enumerate(zip(names, np.atleast_2d(speed.values), strict=True)):
        (line,) = ax.plot(labels, values, **{**series(number), "markersize": 4.5, "label": name})
        handles.append(line)
    _axes(ax, labels, limits, speed.values)
    weighting = level.attrs.get("time_weighting", "")
    how = f"rms, {weighting}, µm/s" if weighting else "rms, µm/s"
    ax.set_ylabel(f"One-third-octave velocity\n{how}")
    if legend and (hue is not None or len(handles) > 1):
        legend_below(ax, handles, names, grow=own)
    return ax


def _within(limit: xr.DataArray, labels: Any) -> xr.DataArray:
    """Part of a curve in the bands of the spectrum."""
    part = limit.sel(frequency=limit["frequency"].isin(labels))
    if part.sizes["frequency"] == 0:
        raise BandError(
            f"plot.vibration_curves: the {limit.attrs['long_name']} ends at "
            f"{bands.label(float(limit['frequency'][-1]))} Hz and the spectrum begins at "
            f"{bands.label(float(labels[0]))} Hz; leave the curve out"
        )
    return part


def _axes(ax: Axes, labels: Any, limits: dict[str, xr.DataArray], values: Any) -> None:
    """Both axes logarithmic; the names of the curves stand right of the axes."""
    band_axis(ax, labels, name="One-third-octave band, Hz")
    ax.set_yscale("log")
    shown = np.concatenate([np.ravel(values), *(1e6 * c.values for c in limits.values())])
    strictest = min((float(1e6 * c.min()) for c in limits.values()), default=float(shown.min()))
    # Bands far below the strictest curve would squeeze the rest.
    low = max(float(shown.min()), strictest / 5) / 1.3
    ax.set_ylim(low, 1.5 * float(shown.max()))
    ax.yaxis.set_major_locator(LogLocator(10, subs=(1.0, 2.0, 5.0)))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
    ax.yaxis.set_minor_formatter(NullFormatter())
    grid(ax)
    ends: list[tuple[float, list[str]]] = []
    for name, limit in sorted(limits.items(), key=lambda pair: float(pair[1][-1])):
        value = float(1e6 * limit[-1])
        if ends and value < 1.12 * ends[-1][0]:  # too near for a line of its own
            ends[-1][1].append(literal(name))
        else:
            ends.append((value, [literal(name)]))
    for value, names in ends:
        ax.annotate(
            ", ".join(names),
            (1.0, value),
            xycoords=ax.get_yaxis_transform(),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=0.9 * float(ax.xaxis.label.get_fontsize()),
            color="0.25",
            annotation_clip=False,
        )
