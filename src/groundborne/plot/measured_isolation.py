"""Measured insertion losses, or level differences, by band with their intervals."""

from __future__ import annotations

from collections.abc import Mapping

import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from groundborne import bands
from groundborne._arguments import checked
from groundborne.plot.intervals import draw_bars, draw_limits, finish
from groundborne.plot.style import literal, new_axes, numbers, plain_dims, series

MOST_CURVES = 4


@checked(own_labels=("found",))
def plot_measured_isolation(
    found: Mapping[str, xr.Dataset],
    *,
    predicted: xr.DataArray | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Insertion losses, or level differences, that were measured.

    Parameters
    ----------
    found : mapping of str to Dataset
        By name, such as a room, or before and after release: all from
        :func:`~groundborne.commissioning.measured_insertion_loss`, or all from
        :func:`~groundborne.commissioning.measured_level_difference`; four at most with what is
        predicted.
    predicted : DataArray, optional
        The same as predicted [dB], on ``frequency``.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        A curve for each with bars at its confidence; open markers with an arrow up where the
        quieter side is only an upper limit.

    Raises
    ------
    ValueError
        None, too many, both kinds on one figure, or other bands.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> row = xr.DataArray([10.0, 12.0], dims="frequency", coords={"frequency": [50.0, 63.0]})
    >>> loss = xr.Dataset({"value": row, "low": row - 2, "high": row + 2, "at_least": row > 99},
    ...                   attrs={"kind": "insertion loss", "confidence": 0.9})
    >>> ax = plot_measured_isolation({"hall": loss}, ax=Figure().subplots())
    >>> ax.get_ylabel()
    'Insertion loss, dB (positive lowers the level)'
    """
    where = "plot_measured_isolation"
    count = len(found) + (predicted is not None)
    if not found or count > MOST_CURVES:
        raise ValueError(
            f"{where}: {count} curves; one to {MOST_CURVES} are drawn, the predicted one among them"
        )
    kinds = {n: str(d.attrs.get("kind", "")) for n, d in found.items()}
    one = next(iter(kinds.values()))
    for name, kind in kinds.items():
        if kind not in ("insertion loss", "level difference"):
            raise ValueError(f"{where}: {name!r} is no measured insertion loss or level difference")
        if kind != one:
            raise ValueError(
                f"{where}: {name!r} is of the kind {kind}, others are of the kind {one}; a level "
                "difference is no insertion loss: draw them apart"
            )
    x = next(iter(found.values()))["frequency"].values
    bands.require_labels(x, where)
    given = {**{n: d["value"] for n, d in found.items()}}
    if predicted is not None:
        given["predicted"] = predicted
    for name, array in given.items():
        if array["frequency"].values.tolist() != x.tolist():
            raise ValueError(f"{where}: {name!r} has other bands than the first")
        numbers(plain_dims(array, ("frequency",), where), where)
    own = ax is None
    ax = new_axes(ax, size=(6.6, 4.0))
    handles: list[Artist] = []
    labels: list[str] = []
    for at, (name, data) in enumerate(found.items()):
        look = series(at)
        low, high = (data[n].values for n in ("low", "high"))
        least = data["at_least"].values
        handles.append(draw_bars(ax, x, data["value"].values, low, high, look, limits=least))
        percent = f"{100 * float(data.attrs['confidence']):.3g} %"
        labels.append(literal(f"{name}, {percent} interval", width=44))
        if least.any():
            draw_limits(ax, x[least], data["value"].values[least], up=True, color=look["color"])
    if any(d["at_least"].values.any() for d in found.values()):
        handles.append(draw_limits(ax, [], [], up=True, color="black"))
        labels.append("this or more: background on the quieter side")
    if predicted is not None:
        look = {"color": "0.35", "linestyle": (0, (4, 2)), "linewidth": 1.6}
        handles += ax.plot(x, predicted.values, **look)
        labels.append("predicted")
    ax.axhline(0.0, color="black", linewidth=0.8)
    what = f"{one[:1].upper()}{one[1:]}, dB "
    what += (
        "(positive lowers the level)"
        if one == "insertion loss"
        else ("(un-isolated less isolated side)")
    )
    return finish(ax, x, handles, labels, label=what, legend=legend, own=own)
