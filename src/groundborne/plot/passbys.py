"""All passbys of a measurement, and what stands for them."""

from __future__ import annotations

import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from groundborne import bands, levels
from groundborne._arguments import checked
from groundborne.plot.style import (
    band_axis,
    grid,
    legend_below,
    level_label,
    new_axes,
    numbers,
    plain_dims,
)
from groundborne.rating import statistic


@checked
def passbys(
    level: xr.DataArray,
    *,
    ax: Axes | None = None,
    percentile: float | None = 95.0,
    background: xr.DataArray | None = None,
    legend: bool = True,
) -> Axes:
    """Spectra of all passbys, their energy mean and a percentile of each band.

    Parameters
    ----------
    level : DataArray
        Labelled level [dB], dims (passby, frequency).
    ax : Axes, optional
        Where to draw; a new figure by default.
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
        A level that is not labelled, or has other dims; too few passbys for the percentile.

    Examples
    --------
    >>> import groundborne as gb
    >>> from matplotlib.figure import Figure
    >>> level = gb.levels.stamp(
    ...     xr.DataArray([[80.0, 85.0], [90.0, 85.0]], dims=("passby", "frequency"),
    ...                  coords={"frequency": [50.0, 63.0]}),
    ...     quantity="velocity", reference="1 nm/s", long_name="level")
    >>> ax = passbys(level, ax=Figure().subplots(), percentile=None)
    >>> ax.get_lines()[-1].get_ydata().round(2).tolist()
    [87.4, 85.0]
    """
    levels.require(level, where="plot.passbys")
    numbers(plain_dims(level, ("passby", "frequency"), "passbys"), "passbys")
    bands.require_labels(level["frequency"], "plot.passbys")
    high = None
    if percentile is not None:
        high = statistic(level, "percentile", percentile=percentile)
    own = ax is None
    ax = new_axes(ax, size=(7.0, 4.0))
    x = level["frequency"].values
    each = ax.plot(x, level.transpose("frequency", "passby").values, color="0.72", linewidth=0.6)
    handles: list[Artist] = [each[0]]
    labels = [f"{level.sizes['passby']} passbys"]
    if background is not None:
        levels.require(background, where="plot.passbys", quantity=level.attrs["quantity"])
        quiet = levels.energy_mean(
            levels.convert(background, reference=level.attrs["reference"]), "segment"
        )
        handles += ax.plot(x, quiet.values, color="#009E73", linestyle=":", linewidth=2.0)
        labels.append("background, energy mean")
    if high is not None and percentile is not None:
        handles += ax.plot(
            x, high.values, color="#D55E00", linestyle="--", linewidth=2.2, marker="^",
            markersize=4.5,
        )  # fmt: skip
        labels.append(f"percentile {percentile:g} % of each band")
    mean = levels.energy_mean(level, "passby")
    handles += ax.plot(x, mean.values, color="black", linewidth=2.2, marker="o", markersize=4.5)
    labels.append("energy mean")
    grid(ax)
    band_axis(ax, x, name="One-third-octave band, Hz")
    ax.set_ylabel(level_label(level, f"{level.attrs['quantity'].capitalize()} level"))
    if legend:
        legend_below(ax, handles, labels, grow=own)
    return ax
