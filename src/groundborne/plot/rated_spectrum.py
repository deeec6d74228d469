"""The spectrum that a criterion is rated of, with its interval and its limit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.plot.style import (
    band_axis,
    band_proportions,
    grid,
    legend_below,
    literal,
    new_axes,
    series,
)
from groundborne.rating import octaves_from_thirds
from groundborne.study.rated_spectrum import RatedSpectrum

MOST = 4
"""Curves of options in one panel."""

_REACH = 70.0
"""Of levels below the highest that are drawn [dB]."""


@checked
def rated_spectrum(
    spectrum: RatedSpectrum,
    *,
    names: Sequence[str] | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Band levels of one room at the statistic of a criterion, before and after.

    Parameters
    ----------
    spectrum : RatedSpectrum
        From :func:`~groundborne.study.rated_spectrum.rated_spectrum`; four options at most.
    names : sequence of str, optional
        What the curves are called; the names of the options by default.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        Weighted bands of a metric that adds them up, with the sum at the right (with errors the
        median of the rating and its interval), in proportions of IEC 60263. Doses, of which bands
        alone have no level that anybody knows, stand over their limit. Octaves against the curve
        of a noise rating; bands against a curve that none may pass. Fields show the interval of
        each band by itself.

    Raises
    ------
    ValueError
        More than four options.

    Examples
    --------
    >>> import groundborne as gb
    >>> from groundborne.study.rated_spectrum import rated_spectrum as spectrum_of
    >>> from matplotlib.figure import Figure
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> study = study.with_options(study.options[:2])
    >>> found = spectrum_of(study, study.evaluate(), room="R0.1",
    ...                     criterion="LASmax, 95th percentile", options=["no isolation"])
    >>> ax = rated_spectrum(found, ax=Figure().subplots())
    >>> ax.get_xlabel()
    'One-third-octave band, Hz'
    """
    count = spectrum.level.sizes["option"]
    if count > MOST:
        raise StudyError(
            f"plot.rated_spectrum: {count} options in one panel; {MOST} at most can be told apart"
        )
    given = [str(o) for o in spectrum.level["option"].values.tolist()]
    called = given if names is None else list(names)
    own = ax is None
    ax = new_axes(ax, size=(5.4, 4.6))
    drawn, limit, words = _shown(spectrum)
    x = drawn[0]["frequency"].values
    handles, labels = [], []
    sums = spectrum.adds_up
    # The sum stands where a band would, two places behind the last.
    at_sum = float(x[-1] * 10**0.2)
    for number, name in enumerate(called):
        level, low, high = (array.isel(option=number).values for array in drawn)
        look = series(number)
        if (high > low).any():
            ax.fill_between(x, low, high, color=look["color"], alpha=0.13, linewidth=0)
        handles += ax.plot(x, level, **{**look, "markersize": 4.0})
        labels.append(literal(name))
        if sums:
            start, total, end = (e - _base(spectrum) for e in _sum_of(spectrum, number))
            if end > start:
                ax.plot([at_sum, at_sum], [start, end], color=look["color"], linewidth=1.4)
            ax.plot([at_sum], [total], **{**look, "markersize": 7.0, "linestyle": "none"})
    look = {"color": "black", "linewidth": 2.2, "linestyle": (0, (4, 1.2))}
    if isinstance(limit, xr.DataArray):
        handles += ax.plot(limit["frequency"].values, limit.values, **look)
    else:
        (line,) = ax.plot([at_sum / 10**0.08, at_sum * 10**0.08], [limit, limit], **look)
        handles.append(line)
    labels.append(words)
    grid(ax)
    band_axis(ax, x, name=f"{'Octave' if _is_octaves(spectrum) else 'One-third-octave'} band, Hz")
    top = max(float(np.max(drawn[2])), float(np.max(limit)))
    bottom = max(min(float(np.min(drawn[1])), float(np.min(limit)) - 5), top - _REACH)
    if sums:
        left, _right = ax.get_xlim()
        ax.set_xlim(left, at_sum * 10**0.1)
        ax.axvline(x[-1] * 10**0.1, color="0.6", linewidth=0.7)
        ticks = ax.get_xticks().tolist()
        texts = [t.get_text() for t in ax.get_xticklabels()]
        ax.set_xticks([*ticks, at_sum], [*texts, "sum"])
        highest = max(_sum_of(spectrum, number)[2] for number in range(count))
        top = max(top, highest - _base(spectrum))
    ax.set_ylim(bottom, top + 2)
    band_proportions(ax, tallest=1.3 if _is_octaves(spectrum) else 0.95)
    ax.set_ylabel(_level_words(spectrum))
    if legend:
        legend_below(ax, handles, labels, grow=own)
    return ax


def _sum_of(of: RatedSpectrum, number: int) -> tuple[float, float, float]:
    """Sum of an option with the ends of its interval: the median where there are errors."""
    if of.sums is None:
        return (float(of.rated[number]),) * 3
    low, median, high = (float(of.sums.isel(option=number).sel(end=e)) for e in of.sums["end"])
    return low, median, high


def _is_octaves(of: RatedSpectrum) -> bool:
    return of.gain is None and of.criterion.of.octave_curve is not None


def _base(of: RatedSpectrum) -> float:
    """What levels are drawn over: the limit of a dose, else nothing."""
    return of.limit if of.adds_up and of.criterion.of.scale.ratio else 0.0


def _shown(of: RatedSpectrum) -> tuple[list[xr.DataArray], Any, str]:
    """Level with the ends of its interval, the limit, and what that is called."""
    each = [of.level, of.low.fillna(of.level), of.high.fillna(of.level)]
    unit = of.criterion.unit
    said = f"limit {of.criterion.limit:g} {unit}".rstrip()
    if of.gain is not None and of.adds_up:
        base = _base(of)
        return [a + of.gain - base for a in each], of.limit - base, f"{said}, of the sum"
    if of.gain is not None:
        finite = of.gain.where(np.isfinite(of.gain), drop=True)
        return each, of.limit - finite, said
    curve = of.criterion.of.octave_curve
    if curve is None:
        return each, np.nan, said
    line = curve(of.criterion.limit)
    octaves = [_octaves(a) for a in each]
    bands = [f for f in octaves[0]["frequency"].values.tolist() if f in line["frequency"].values]
    return (
        [o.sel(frequency=bands) for o in octaves],
        line.sel(frequency=bands),
        f"limit {of.criterion.of.name} {of.criterion.limit:g}",
    )


def _octaves(level: xr.DataArray) -> xr.DataArray:
    summed, _ = octaves_from_thirds(level)
    return summed.transpose("option", "frequency")


def _level_words(of: RatedSpectrum) -> str:
    """Label of the level axis: quantity, weights, statistic and reference."""
    weighted = "A-weighted " if of.criterion.of.name.startswith("LA") else "Weighted "
    how = weighted if of.adds_up else ""
    what = f"{how}{of.criterion.of.quantity} level"
    what = what[:1].upper() + what[1:]
    if _base(of):
        return f"{how.strip()} band over the limit, dB\n{literal(of.criterion.label, width=44)}"
    return f"{what}, dB re {of.reference}\nat {literal(of.criterion.label, width=44)}"
