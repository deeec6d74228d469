"""Statistics over passbys: mean, energy mean, maximum and percentile, weighted by a timetable."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RatingError, known, not_negative, within
from groundborne.citation import Citation
from groundborne.levels import decibel, energy

STATISTICS = ("mean", "energy mean", "maximum", "percentile")
"""What a criterion may ask of the passbys."""

PERIOD_RMS = "period rms"
"""What a curve may ask of them beside ``STATISTICS``: the rms of each band over a whole period,
``10 lg (1/T) Σ n d 10^(L/10)`` of all its trains and of what is there without them."""

HAZEN = Citation(
    key="hyndman-fan1996",
    author="Hyndman and Fan",
    year="1996",
    title="Sample quantiles in statistical packages",
    locator="definition 5 (Hazen)",
    mark="from memory",
    status="transcribed",
)


@checked
def statistic(
    level: xr.DataArray,
    name: str,
    *,
    percentile: float | None = None,
    weight: xr.DataArray | None = None,
    dim: str = "passby",
) -> xr.DataArray:
    """Reduce levels over passbys.

    Parameters
    ----------
    level : DataArray
        Levels [dB] with `dim`.
    name : str
        One of ``STATISTICS``.
    percentile : float, optional
        Percentage of passbys at or below the result, above 0 and below 100; for ``percentile``.
    weight : DataArray, optional
        How many trains each passby stands for, on `dim`; equal by default. Passbys of weight 0 do
        not count.
    dim : str
        Dimension of the passbys.

    Returns
    -------
    xarray.DataArray
        Level [dB] without `dim`.

    Raises
    ------
    RatingError
        No passby counts; or there are too few for the percentile: it lies beyond the mid-rank
        ``1 − w/2W`` of the highest one (10 equal passbys for the 95th). Nothing is extrapolated.
    ValueError
        An unknown statistic, a percentile where there should be none, a negative weight.

    Notes
    -----
    Percentiles interpolate between mid-ranks (definition 5, "Hazen"), weighted; with equal weights
    they equal ``numpy.quantile(..., method="hazen")``. Of equal levels the heavier one counts as
    the higher, so that the order of the passbys does not matter.

    References
    ----------
    Hyndman and Fan 1996 [from memory].

    Examples
    --------
    >>> level = xr.DataArray([30.0, 32.0, 34.0, 36.0], dims="passby")
    >>> statistic(level, "mean").item(), statistic(level, "percentile", percentile=50.0).item()
    (33.0, 33.0)
    """
    known("statistic", "name", name, STATISTICS)
    if (percentile is None) == (name == "percentile"):
        raise ValueError(
            f"statistic: percentile is {percentile!r} for {name!r}; give it for 'percentile' only"
        )
    known("statistic", "dim", dim, [str(d) for d in level.dims])
    if weight is None:
        weight = xr.ones_like(level[dim], dtype=float)
    if weight.dims != (dim,):
        raise ValueError(f"statistic: weight has the dims {weight.dims}; ({dim!r},) is needed")
    not_negative("statistic", "weight", weight, "trains")
    counted = weight.values > 0
    if not counted.any():
        raise RatingError("statistic: no passby has a weight above 0; the period holds no train")
    level, weight = level.isel({dim: counted}), weight.isel({dim: counted})
    share = (weight / weight.sum(dim, skipna=False)).drop_attrs(deep=False)
    if name == "mean":
        result = (level * share).sum(dim, skipna=False)
    elif name == "energy mean":
        result = decibel((energy(level) * share).sum(dim, skipna=False))
    elif name == "maximum":
        result = level.max(dim, skipna=False)
    else:
        result = _percentile(level, share, float(percentile or 0.0), dim)
    result.attrs = dict(level.attrs)
    return result


def _percentile(
    level: xr.DataArray, share: xr.DataArray, percentile: float, dim: str
) -> xr.DataArray:
    within("statistic", "percentile", percentile, 0.0, 100.0, "%")
    p = percentile / 100.0
    last = 1.0 - float(share.max()) / 2
    first = float(share.max()) / 2
    if p > last + 1e-12 or p < first - 1e-12:
        raise RatingError(
            f"statistic: {level.sizes[dim]} passbys carry no {percentile:g}th percentile; with "
            f"these weights they reach from the {100 * first:.0f}th to the {100 * last:.0f}th. "
            "Measure more trains, or ask for the maximum"
        )
    result: xr.DataArray = xr.apply_ufunc(
        _interpolated,
        level,
        share,
        input_core_dims=[[dim], [dim]],
        kwargs={"p": p},
        dask="parallelized",
        output_dtypes=[float],
    )
    return result


def _interpolated(level: Any, share: Any, *, p: float) -> Any:
    """Weighted mid-rank quantile along the last axis; p lies between the first and last rank."""
    if level.shape[-1] == 1:
        return level[..., 0]
    order = np.argsort(level, axis=-1)
    values = np.take_along_axis(level, order, axis=-1)
    if (values[..., 1:] == values[..., :-1]).any():
        # Of equal levels the heavier comes last, which is the higher percentile: else the result
        # would depend on the order in which passbys were written down.
        order = np.lexsort((np.broadcast_to(share, level.shape), level), axis=-1)
    weights = share[order]
    rank = np.cumsum(weights, axis=-1) - weights / 2
    above = np.clip((rank < p).sum(axis=-1, keepdims=True), 1, level.shape[-1] - 1)
    r0, r1 = (np.take_along_axis(rank, above - i, axis=-1) for i in (1, 0))
    v0, v1 = (np.take_along_axis(values, above - i, axis=-1) for i in (1, 0))
    t = (p - r0) / (r1 - r0)
    gap = np.isnan(level).any(axis=-1)
    return np.where(gap, np.nan, (v0 + t * (v1 - v0))[..., 0])


def ordinal(number: float) -> str:
    """A percentile in words.

    Examples
    --------
    >>> ordinal(95.0), ordinal(92.5), ordinal(11.0), ordinal(91.0)
    ('95th', '92.5th', '11th', '91st')
    """
    last, teen = number % 10, 10 < number % 100 < 20
    end = {1: "st", 2: "nd", 3: "rd"}.get(int(last), "th") if last == int(last) else "th"
    return f"{number:g}{'th' if teen else end}"
