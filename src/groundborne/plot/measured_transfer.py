"""A measured level change with a model fitted to it, or with the cause that explains it best."""

from __future__ import annotations

import numpy as np
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
    covariance: xr.DataArray,
    designed: xr.DataArray | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """A measured level change and the model that was fitted to it.

    Parameters
    ----------
    fit : Dataset
        From :func:`~groundborne.commissioning.fit_transfer`.
    covariance : DataArray
        Of the measured values, as for the fit [dB²].
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
    >>> unit = xr.DataArray(np.eye(2), dims=("frequency", "other"),
    ...                     coords={"frequency": [50.0, 63.0], "other": [50.0, 63.0]})
    >>> fit = xr.Dataset({"fitted": row, "residual": 0 * row + 1, "fitted_error": 0 * row + 2},
    ...                  attrs={"confidence": 0.9})
    >>> ax = plot_fitted_transfer(fit, covariance=unit, ax=Figure().subplots())
    >>> ax.get_lines()[0].get_ydata().tolist()
    [-10.0, -12.0]
    """
    where = "plot_fitted_transfer"
    for name in ("fitted", "residual", "fitted_error"):
        if name not in fit:
            raise ValueError(f"{where}: fit holds no {name!r}; see commissioning.fit_transfer")
    confidence = float(fit.attrs["confidence"])
    wide = quantile(where, confidence)
    fitted, error = fit["fitted"].values, wide * fit["fitted_error"].values
    measured = fit["fitted"] + fit["residual"]
    spread = wide * _deviations(where, covariance, measured)
    own = ax is None
    ax = new_axes(ax, size=(6.6, 4.0))
    x = measured["frequency"].values
    look = {**series(1), "markersize": 4.0}
    drawn = draw_range(ax, x, fitted, fitted - error, fitted + error, look)
    y = measured.values
    percent = f"{100 * confidence:.3g} % interval"
    handles: list[Artist] = [draw_bars(ax, x, y, y - spread, y + spread, MEASURED), *drawn]
    labels = [f"measured, {percent}", "fitted", f"fitted, {percent}"]
    if designed is not None:
        handles += _as_designed(where, ax, designed, measured)
        labels.append("as designed")
    ax.axhline(0.0, color="black", linewidth=0.8)
    return finish(ax, x, handles, labels, label=_LABEL, legend=legend, own=own)


@checked
def plot_causes(
    found: xr.Dataset,
    *,
    measured: xr.DataArray,
    covariance: xr.DataArray,
    designed: xr.DataArray,
    confidence: float = CONFIDENCE,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """A measured level change, what was designed, and what the likeliest causes would make of it.

    Parameters
    ----------
    found : Dataset
        From :meth:`~groundborne.commissioning.Diagnosis.of`.
    measured : DataArray
        Level change [dB] on ``frequency``.
    covariance : DataArray
        Of the measured values [dB²], on ``frequency`` and ``other``.
    designed : DataArray
        Level change as designed [dB] on ``frequency``, and on ``sample`` where tolerances are
        drawn.
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
        A dataset that is no diagnosis, or other bands.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> row = xr.DataArray([-10.0, -12.0], dims="frequency", coords={"frequency": [50.0, 63.0]})
    >>> unit = xr.DataArray(np.eye(2), dims=("frequency", "other"),
    ...                     coords={"frequency": [50.0, 63.0], "other": [50.0, 63.0]})
    >>> found = xr.Dataset({"expected": row.expand_dims(cause=["overload"]),
    ...                     "standing": ("cause", ["likely"])}, attrs={"verdict": "found"})
    >>> ax = plot_causes(found, measured=row, covariance=unit, designed=row - 9.0,
    ...                  ax=Figure().subplots())
    >>> [t.get_text() for t in ax.get_legend().get_texts()][-1]
    'likely: overload'
    """
    where = "plot_causes"
    for name in ("expected", "standing"):
        if name not in found:
            raise ValueError(f"{where}: found holds no {name!r}; see Diagnosis.of")
    wide = quantile(where, confidence)
    y = numbers(plain_dims(measured, ("frequency",), where), where).values
    x = measured["frequency"].values
    spread = wide * _deviations(where, covariance, measured)
    own = ax is None
    ax = new_axes(ax, size=(6.6, 4.0))
    percent = f"{100 * confidence:.3g} %"
    look = {**series(1), "markersize": 4.0}
    middle = designed
    handles: list[Artist] = []
    labels: list[str] = []
    if "sample" in designed.dims:
        middle = designed.mean("sample", skipna=False)
        _same_bands(where, middle, measured)
        ends = [designed.quantile(q, "sample", skipna=False).values
                for q in ((1 - confidence) / 2, (1 + confidence) / 2)]  # fmt: skip
        handles += draw_range(ax, x, middle.values, *ends, look)
        labels += ["as designed", f"as designed, {percent} of the tolerances"]
    else:
        handles += _as_designed(where, ax, middle, measured)
        labels.append("as designed")
    handles.insert(0, draw_bars(ax, x, y, y - spread, y + spread, MEASURED))
    labels.insert(0, f"measured, {percent} interval")
    shown = found["cause"].values[found["standing"].values != "unlikely"][:2].tolist()
    for at, name in enumerate(shown):
        curve = found["expected"].sel(cause=name)
        _same_bands(where, curve, measured)
        handles += ax.plot(x, curve.values, **{**series(2 + at), "markersize": 4.0})
        labels.append(literal(f"{'likely' if at == 0 else 'as likely'}: {name}", width=46))
    ax.axhline(0.0, color="black", linewidth=0.8)
    return finish(ax, x, handles, labels, label=_LABEL, legend=legend, own=own)


def _as_designed(
    where: str, ax: Axes, designed: xr.DataArray, measured: xr.DataArray
) -> list[Artist]:
    _same_bands(where, designed, measured)
    numbers(plain_dims(designed, ("frequency",), where), where)
    look = {"color": "0.35", "linestyle": (0, (4, 2)), "linewidth": 1.6}
    return [*ax.plot(designed["frequency"].values, designed.values, **look)]


def _same_bands(where: str, one: xr.DataArray, other: xr.DataArray) -> None:
    if one["frequency"].values.tolist() != other["frequency"].values.tolist():
        raise ValueError(f"{where}: one curve has other bands than what was measured")


def _deviations(
    where: str, covariance: xr.DataArray, like: xr.DataArray
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Standard deviation of every band [dB]."""
    bands = like["frequency"].values.tolist()
    if set(covariance.dims) != {"frequency", "other"} or any(
        covariance[d].values.tolist() != bands for d in ("frequency", "other")
    ):
        raise ValueError(f"{where}: covariance is not on the bands of what was measured")
    found: np.ndarray[tuple[int], np.dtype[np.float64]] = np.sqrt(
        np.diag(covariance.transpose("frequency", "other").values)
    )
    return found
