"""Measured levels of a room against predicted ones, both with their intervals."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from groundborne._arguments import checked
from groundborne._checks import known
from groundborne.commissioning.provenance import prediction_of
from groundborne.plot.intervals import (
    CONFIDENCE,
    MEASURED,
    draw_bars,
    draw_limits,
    draw_range,
    finish,
    quantile,
)
from groundborne.plot.style import literal, new_axes, numbers, plain_dims, series

_ROOM = 6.0
"""Below the lowest measured value, which arrows of limits have for themselves [dB]."""


@checked
def plot_measured_room(
    found: xr.Dataset,
    *,
    room: str,
    confidence: float = CONFIDENCE,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Measured against predicted energy means of a room by band.

    Parameters
    ----------
    found : Dataset
        From :func:`~groundborne.commissioning.compare_levels`.
    room : str
        Label.
    confidence : float
        Of both intervals, two-sided, 0.5 to 0.999.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        The measured curve with a bar in each band, and the predicted one in its field; open markers
        with an arrow down where what was measured is only an upper limit.

    Raises
    ------
    ValueError
        An unknown room, or a dataset that is no comparison.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> at = {"room": ["R1"], "frequency": [50.0, 63.0]}
    >>> row = xr.DataArray([[40.0, 42.0]], dims=tuple(at), coords=at)
    >>> found = xr.Dataset({"measured": row + 3.0, "predicted": row, "measured_error": 0 * row + 1,
    ...     "predicted_error": 0 * row + 6, "upper_limit": row > 99},
    ...     attrs={"quantity": "sound pressure", "time_weighting": "S max", "option": "springs"})
    >>> ax = plot_measured_room(found, room="R1", ax=Figure().subplots())
    >>> [t.get_text() for t in ax.get_legend().get_texts()][:2]
    ['measured, 90 % interval', 'predicted, springs']
    """
    where = "plot_measured_room"
    for name in ("measured", "predicted", "measured_error", "predicted_error", "upper_limit"):
        if name not in found:
            raise ValueError(f"{where}: found holds no {name!r}; see commissioning.compare_levels")
    known(where, "room", room, [str(r) for r in found["room"].values])
    here = found.sel(room=room)
    x = here["frequency"].values
    wide = quantile(where, confidence)
    values = {
        n: numbers(plain_dims(here[n], ("frequency",), where), where).values
        for n in ("measured", "predicted", "measured_error", "predicted_error")
    }
    own = ax is None
    ax = new_axes(ax, size=(6.6, 4.0))
    look = {**series(1), "markersize": 4.0}
    predicted, error = values["predicted"], wide * values["predicted_error"]
    drawn = draw_range(ax, x, predicted, predicted - error, predicted + error, look)
    measured, error = values["measured"], wide * values["measured_error"]
    limit = here["upper_limit"].values
    low, high = measured - error, measured + error
    line = draw_bars(ax, x, measured, low, high, MEASURED, limits=limit)
    shown = np.concatenate([measured, low[~limit]])
    lowest = float(shown.min()) - _ROOM
    ax.set_ylim(bottom=min(lowest, ax.get_ylim()[0]))
    handles: list[Artist] = [line, *drawn]
    percent = f"{100 * confidence:.3g} %"
    labels = [
        f"measured, {percent} interval",
        literal(_predicted(found), width=46),
        f"{percent} interval of the prediction",
    ]
    if limit.any():
        arrow = draw_limits(ax, x[limit], measured[limit], up=False, color="black")
        handles.append(arrow)
        labels.append("no more than this: background")
    finish(ax, x, handles, labels, label=_label(found), legend=legend, own=own, lowest=lowest)
    ax.set_title(literal(f"Room {room}", width=60), fontsize="medium")
    return ax


def _predicted(found: xr.Dataset) -> str:
    told = prediction_of(found.attrs)
    of = "predicted" if told == "uncalibrated" else f"predicted ({told})"
    return f"{of}, {found.attrs.get('option', '')}".rstrip(", ")


def _label(found: xr.Dataset) -> str:
    sound = found.attrs["quantity"] == "sound pressure"
    what = "Sound pressure level" if sound else "Velocity level of the floor"
    reference = "20 µPa" if sound else "1 nm/s"
    return f"{what},\nenergy mean of {found.attrs['time_weighting']}, dB re {reference}"
