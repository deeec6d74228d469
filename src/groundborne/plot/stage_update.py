"""What a measurement taught of the stages of a prediction: prior, data and posterior."""

from __future__ import annotations

import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from groundborne._arguments import checked
from groundborne._checks import known
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


@checked
def plot_stage_update(
    table: xr.Dataset,
    *,
    room: str,
    stage: str | None = None,
    confidence: float = CONFIDENCE,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Error of the prediction before and after it was measured, by band.

    Parameters
    ----------
    table : Dataset
        From :func:`~groundborne.commissioning.update_table`.
    room : str
        Label.
    stage : str, optional
        One stage, of which only the sum with the others was measured; that sum, and what was
        measured, by default.
    confidence : float
        Of the intervals, two-sided, 0.5 to 0.999.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        Prior and posterior, each in the field of its interval, that of the posterior hatched; of
        the sum also the data with their bars. Above 0 it was measured louder than predicted.

    Raises
    ------
    ValueError
        An unknown room or stage, or a dataset that is no such table.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> at = {"room": ["R1"], "frequency": [50.0, 63.0]}
    >>> row = xr.DataArray([[4.0, 5.0]], dims=tuple(at), coords=at)
    >>> table = xr.Dataset({"prior_sum": 0 * row, "prior_sum_error": 0 * row + 6, "data": row,
    ...     "data_error": 0 * row + 2, "posterior_sum": 0.9 * row, "upper_limit": row > 99,
    ...     "posterior_sum_error": 0 * row + 2}, coords={"stage": ["path"]})
    >>> ax = plot_stage_update(table, room="R1", ax=Figure().subplots())
    >>> len(ax.get_lines()) >= 3
    True
    """
    where = "plot_stage_update"
    of = "_sum" if stage is None else ""
    names = [f"{n}{of}{e}" for n in ("prior", "posterior") for e in ("", "_error")]
    names += ["data", "data_error"] if stage is None else []
    for name in names:
        if name not in table:
            raise ValueError(f"{where}: table holds no {name!r}; see commissioning.update_table")
    known(where, "room", room, [str(r) for r in table["room"].values])
    here = table.sel(room=room)
    if stage is not None:
        known(where, "stage", stage, [str(s) for s in table["stage"].values])
        here = here.sel(stage=stage)
    x = here["frequency"].values
    wide = quantile(where, confidence)
    values = {n: numbers(plain_dims(here[n], ("frequency",), where), where).values for n in names}
    own = ax is None
    ax = new_axes(ax, size=(6.6, 4.0))
    percent = f"{100 * confidence:.3g} %"
    handles: list[Artist] = []
    labels: list[str] = []
    for at, (name, hatch) in enumerate((("prior", ""), ("posterior", "////"))):
        middle, error = (values[f"{name}{of}{e}"] for e in ("", "_error"))
        look = {**series((1, 2)[at]), "markersize": 4.0}
        handles += draw_range(
            ax, x, middle, middle - wide * error, middle + wide * error, look, hatch=hatch
        )
        labels += [name, f"{name}, {percent} interval"]
    if stage is None:
        data, error = values["data"], wide * values["data_error"]
        limit = here["upper_limit"].values
        low, high = data - error, data + error
        handles.append(draw_bars(ax, x, data, low, high, MEASURED, limits=limit))
        labels.append(f"data, {percent} interval of the measurement")
        if limit.any():
            handles.append(draw_limits(ax, x[limit], data[limit], up=False, color="black"))
            labels.append("no more than this: background")
    ax.axhline(0.0, color="black", linewidth=0.8)
    label = "Measured less predicted, dB"
    finish(ax, x, handles, labels, label=label, legend=legend, own=own)
    what = "all stages" if stage is None else stage
    ax.set_title(literal(f"Room {room}, {what}", width=60), fontsize="medium")
    return ax
