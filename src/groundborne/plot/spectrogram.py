"""Bands against time: where in a train the energy is."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, NullLocator

from groundborne import bands, levels
from groundborne._arguments import checked
from groundborne._checks import RecordingError, known, positive
from groundborne.plot.style import figure_of, literal, new_axes, plain_dims
from groundborne.records.recording import Recording
from groundborne.waveform.filterbank.bank import ThirdOctaveBank
from groundborne.waveform.running import at_window_centre, squared_quantity

_COLOURS = "cividis"
"""Even in lightness, so that it reads in grey and for the colour-blind."""


@checked(infinite=("data",))
def spectrogram(
    data: Recording | xr.DataArray,
    *,
    ax: Axes | None = None,
    channel: str | None = None,
    low: float = 4.0,
    high: float | None = None,
    averaging: str = "F",
    span: float = 50.0,
    colour_bar: bool = True,
) -> Axes:
    """One-third-octave levels against time, as colours.

    Parameters
    ----------
    data : Recording or DataArray
        Recording of one train, of which one channel is filtered here; or a history of bands, dims
        (frequency, time): mean square as from a filter bank, or a labelled level [dB].
    ax : Axes, optional
        Where to draw; a new figure by default.
    channel : str, optional
        Channel; needed if there are several.
    low, high : float
        First and last band [Hz]; without `high` the highest there is.
    averaging : str
        Of a recording: ``F`` or ``S``.
    span : float
        How far below the largest level the colours reach [dB]; what lies below has the last one.
    colour_bar : bool
        Whether to add a colour bar. The figure has to make room for it.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        No such channel or band, several channels and none named, or nothing but silence.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> level = levels.stamp(
    ...     xr.DataArray([[60.0, 70.0, 60.0]] * 2, dims=("frequency", "time"),
    ...                  coords={"frequency": [50.0, 63.0], "time": [0.0, 0.5, 1.0]}),
    ...     quantity="velocity", reference="1 nm/s", long_name="level", time_weighting="F max")
    >>> ax = spectrogram(level, ax=Figure().subplots(), low=50.0)
    >>> ax.get_ylabel()
    'One-third-octave band, Hz'
    """
    where = "plot.spectrogram"
    positive(where, "span", span, "dB")
    if isinstance(data, Recording):
        known(where, "averaging", averaging, ("F", "S"))
        part = data.select(_one(list(data.channels), channel))
        bank = ThirdOctaveBank(sample_rate=data.sample_rate, low=low, high=high)
        data = bank.mean_square(part.signal, averaging=averaging, every=0.125 / 2)
    level, label = _level_of(data, channel)
    labels = level["frequency"].values
    level = bands.select(level, low, float(labels[-1]) if high is None else high)
    level = level.transpose("frequency", "time")
    values = level.values
    if not np.isfinite(values).any():
        raise ValueError(f"{where}: no band holds any energy at any time")
    top = float(values[np.isfinite(values)].max())
    ax = new_axes(ax, size=(7.0, 3.8))
    below, above = bands.edges(level["frequency"].values)
    # A colour for silence as well: minus infinity is below every colour.
    drawn = np.maximum(values, top - 10 * span)
    mesh = ax.pcolormesh(
        _edges(level["time"].values),
        np.append(below, above[-1]),
        drawn,
        cmap=_COLOURS,
        vmin=top - span,
        vmax=top,
        rasterized=True,
    )
    _band_rows(ax, level["frequency"].values)
    ax.set_xlabel("Time from the start, s")
    if colour_bar:
        bar = figure_of(ax).colorbar(mesh, ax=ax, extend="min", pad=0.02)
        bar.set_label(label)
    return ax


def _one(names: list[str], channel: str | None) -> str:
    if channel is None and len(names) > 1:
        raise ValueError(f"plot.spectrogram: name one of the channels {', '.join(names)}")
    return names[0] if channel is None else known("plot.spectrogram", "channel", channel, names)


def _level_of(data: xr.DataArray, channel: str | None) -> tuple[xr.DataArray, str]:
    """Level of a history of bands, and how its colour bar is labelled."""
    where = "spectrogram"
    name = ""
    if "channel" in data.dims:
        names = [str(c) for c in data["channel"].values]
        at = names.index(_one(names, channel))
        name = f" {literal(names[at])}"
        data = data.isel(channel=at, drop=True)
    elif "channel" in data.coords:
        name = f" {literal(data['channel'].item())}"
    plain_dims(data, ("frequency", "time"), where)
    bands.require_labels(data["frequency"], "plot.spectrogram")
    if "time" not in data.coords or data.sizes["time"] < 2:
        raise RecordingError("plot.spectrogram: at least two times [s] are needed on dim time")
    if bool(data.isnull().any()):
        raise ValueError("plot.spectrogram: the data hold values that are not numbers")
    if data.attrs.get("units") == "dB":
        levels.require(data, where="plot.spectrogram")
        level = data
    else:
        quantity = squared_quantity("plot.spectrogram", data)
        data = at_window_centre(data)
        reference, value = next(iter(levels.REFERENCES[quantity].items()))
        with np.errstate(divide="ignore"):
            level = levels.decibel(data / value**2)
        level.attrs = {**data.attrs, "units": "dB", "reference": reference}
    how = level.attrs.get("time_weighting", "")
    said = f"{level.attrs['quantity'].capitalize()} level{name}"
    return level, f"{said}{', ' if how else ''}{how}\ndB re {level.attrs['reference']}"


def _edges(time: Any) -> Any:
    """Edges of cells around the times."""
    if time.dtype.kind not in "iuf":
        raise ValueError(
            f"plot.spectrogram: the labels of time are {time.dtype}; seconds from the start are "
            "needed"
        )
    middle = (time[1:] + time[:-1]) / 2
    return np.concatenate([[1.5 * time[0] - 0.5 * time[1]], middle, [2 * time[-1] - middle[-1]]])


def _band_rows(ax: Axes, labels: Any) -> None:
    """Logarithmic axis of bands upwards, thinned to octaves where labels would not fit."""
    size = float(ax.yaxis.label.get_fontsize())
    inches = figure_of(ax).get_figheight() * ax.get_position().height
    octaves = labels == bands.octave(labels)
    fits = inches / labels.size > 1.3 * size / 72
    show = np.ones(labels.size, bool) if fits or not octaves.any() else octaves
    ax.set_yscale("log")
    ax.yaxis.set_major_locator(FixedLocator(labels.tolist()))
    ax.yaxis.set_minor_locator(NullLocator())
    ax.set_yticks(
        labels.tolist(),
        [bands.label(f) if s else "" for f, s in zip(labels.tolist(), show, strict=True)],
    )
    low, high = bands.edges(labels)
    ax.set_ylim(float(low[0]), float(high[-1]))
    ax.set_ylabel("One-third-octave band, Hz")
