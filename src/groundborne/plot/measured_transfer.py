"""A measured level change with a model fitted to it, or with the cause that explains it best."""

from __future__ import annotations

from typing import Any

import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from groundborne._arguments import checked
from groundborne.plot.intervals import (
    CONFIDENCE,
    MEASURED,
    draw_bars,
    draw_range,
    finish,
    quantile,
)
from groundborne.plot.style import literal, new_axes, numbers, plain_dims, series

_LABEL = "Level change, dB (negative where isolation lowers)"


@checked
def plot_fitted_transfer(
    fit: xr.Dataset,
    *,
    designed: xr.DataArray | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """A measured level change and the model that was fitted to it.

    Parameters
    ----------
    fit : Dataset
        From :func:`~groundborne.commissioning.fit_transfer`.
    designed : DataArray, optional
        Level change as designed [dB], on ``frequency``.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        What was measured with a bar in each band, the fitted curve in the field of its interval at
        the confidence of the fit, and what was designed.

    Raises
    ------
    ValueError
        A dataset that is no fit, or other bands.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> row = xr.DataArray([-10.0, -12.0], dims="frequency", coords={"frequency": [50.0, 63.0]})
    >>> fit = xr.Dataset({"fitted": row, "residual": 0 * row + 1, "fitted_error": 0 * row + 2,
    ...                   "measured_error": 0 * row + 1}, attrs={"confidence": 0.9})
    >>> ax = plot_fitted_transfer(fit, ax=Figure().subplots())
    >>> ax.get_lines()[0].get_ydata().tolist()
    [-10.0, -12.0]
    """
    where = "plot_fitted_transfer"
    values = _curves(
        where, fit, ("fitted", "residual", "fitted_error", "measured_error"),
        "commissioning.fit_transfer",
    )  # fmt: skip
    confidence = float(fit.attrs["confidence"])
    wide = quantile(where, confidence)
    x = fit["frequency"].values
    own = ax is None
    ax = new_axes(ax, size=(6.6, 4.0))
    percent = f"{100 * confidence:.3g} % interval"
    fitted, error = values["fitted"], wide * values["fitted_error"]
    look = {**series(1), "markersize": 4.0}
    drawn = draw_range(ax, x, fitted, fitted - error, fitted + error, look)
    y, spread = fitted + values["residual"], wide * values["measured_error"]
    handles: list[Artist] = [draw_bars(ax, x, y, y - spread, y + spread, MEASURED), *drawn]
    labels = [f"measured, {percent}", "fitted", f"fitted, {percent}"]
    if designed is not None:
        numbers(plain_dims(designed, ("frequency",), where), where)
        look = {"color": "0.35", "linestyle": (0, (4, 2)), "linewidth": 1.6}
        handles += ax.plot(designed["frequency"].values, designed.values, **look)
        labels.append("as designed")
    ax.axhline(0.0, color="black", linewidth=0.8)
    return finish(ax, x, handles, labels, label=_LABEL, legend=legend, own=own)


@checked
def plot_causes(
    found: xr.Dataset,
    *,
    confidence: float = CONFIDENCE,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """A measured level change, what was designed, and what the likeliest causes would make of it.

    Parameters
    ----------
    found : Dataset
        From :meth:`~groundborne.commissioning.Diagnosis.of`.
    confidence : float
        Of both intervals, two-sided, 0.5 to 0.999.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        What was measured with a bar in each band, the design in the field of its tolerances, and
        the likely cause with one more that cannot be told from it; no cause where none stands out.

    Raises
    ------
    ValueError
        A dataset that is no diagnosis.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> row = xr.DataArray([-10.0, -12.0], dims="frequency", coords={"frequency": [50.0, 63.0]})
    >>> found = xr.Dataset({"expected": row.expand_dims(cause=["overload"]), "measured": row,
    ...     "measured_error": 0 * row + 1, "designed": row - 9, "designed_error": 0 * row + 1,
    ...     "standing": ("cause", ["likely"])})
    >>> ax = plot_causes(found, ax=Figure().subplots())
    >>> [t.get_text() for t in ax.get_legend().get_texts()][-1]
    'likely: overload'
    """
    where = "plot_causes"
    values = _curves(
        where, found, ("measured", "measured_error", "designed", "designed_error"), "Diagnosis.of"
    )
    for name in ("expected", "standing"):
        if name not in found:
            raise ValueError(f"{where}: the data hold no {name!r}; see Diagnosis.of")
    wide = quantile(where, confidence)
    x = found["frequency"].values
    own = ax is None
    ax = new_axes(ax, size=(6.6, 4.0))
    percent = f"{100 * confidence:.3g} %"
    design, error = values["designed"], wide * values["designed_error"]
    look = {**series(1), "markersize": 4.0}
    drawn = draw_range(ax, x, design, design - error, design + error, look)
    y, spread = values["measured"], wide * values["measured_error"]
    handles: list[Artist] = [draw_bars(ax, x, y, y - spread, y + spread, MEASURED), *drawn]
    labels = [f"measured, {percent} interval", "as designed", f"{percent} of its tolerances"]
    shown = found["cause"].values[found["standing"].values != "unlikely"][:2].tolist()
    for at, name in enumerate(shown):
        curve = numbers(found["expected"].sel(cause=name), where)
        handles += ax.plot(x, curve.values, **{**series(2 + at), "markersize": 4.0})
        labels.append(literal(f"{'likely' if at == 0 else 'as likely'}: {name}", width=46))
    ax.axhline(0.0, color="black", linewidth=0.8)
    return finish(ax, x, handles, labels, label=_LABEL, legend=legend, own=own)


def _curves(where: str, data: xr.Dataset, names: tuple[str, ...], maker: str) -> dict[str, Any]:
    """Curves over bands."""
    for name in names:
        if name not in data:
            raise ValueError(f"{where}: the data hold no {name!r}; see {maker}")
    return {n: numbers(plain_dims(data[n], ("frequency",), where), where).values for n in names}
