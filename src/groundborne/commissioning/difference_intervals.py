"""Means of differences over passbys, of every type of train and together, with their intervals."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from groundborne.citation import Citation

WELCH = Citation(
    key="welch1947",
    author="Welch; Satterthwaite",
    year="1947",
    title="means of samples with unequal variances",
    locator="degrees of freedom of a sum of variances",
    mark="from memory",
    status="transcribed",
)

_LEAST_SHARE = 1e-6  # of the scatter of trains in a variance; none at all is as good as normal

Array = np.ndarray[Any, Any]


class Estimate(NamedTuple):
    """Mean, its variance, and degrees of freedom."""

    mean: xr.DataArray
    variance: xr.DataArray
    freedom: xr.DataArray


def mean_of_sample(values: xr.DataArray, places: Array) -> Estimate:
    """Mean over passbys, variance of that, degrees of freedom."""
    of = values.isel(passby=places)
    mean = of.mean("passby", skipna=False)
    variance = of.var("passby", ddof=1, skipna=False) / len(places)
    return Estimate(mean, variance, xr.full_like(mean, len(places) - 1.0))


def freedom_of_sum(
    variance: xr.DataArray, parts: list[tuple[xr.DataArray, xr.DataArray]]
) -> xr.DataArray:
    """Degrees of freedom of a sum of variances, ``V²/Σ V_i²/ν_i``; the sum of them where V is 0."""
    below: Any = sum(v**2 / n for v, n in parts)
    every: Any = sum(n for _, n in parts)
    found: xr.DataArray = xr.where(
        variance > 0, variance**2 / xr.where(variance > 0, below, 1.0), every
    )
    return found


def over_types(
    each: dict[str, Estimate], weights: dict[str, float], share: float, chains: xr.DataArray
) -> xr.Dataset:
    """Over types, and of each."""
    total = sum(weights.values())
    of = {k: w / total for k, w in weights.items()}
    mean: Any = sum(of[k] * e.mean for k, e in each.items())
    variance: Any = sum(of[k] ** 2 * e.variance for k, e in each.items())
    freedom = freedom_of_sum(
        variance, [(of[k] ** 2 * e.variance, e.freedom) for k, e in each.items()]
    )
    found = interval_of(Estimate(mean, variance, freedom), share, chains)
    if set(each) != {""}:
        kinds = xr.DataArray(list(each), dims="train_type", name="train_type")
        rows = [interval_of(e, share, chains).drop_vars("instrument_error") for e in each.values()]
        joined = xr.concat(rows, dim=kinds, join="exact", data_vars="all")
        found = found.assign({f"{n}_of_type": v for n, v in joined.data_vars.items()})
    for name in found.data_vars:
        found[name].attrs = {"units": "1" if "freedom" in str(name) else "dB"}
    return found


def interval_of(of: Estimate, share: float, chains: xr.DataArray) -> xr.Dataset:
    """With errors of instruments, whose number of degrees of freedom is taken as endless."""
    from scipy import stats

    whole: Any = of.variance + chains
    part: Any = xr.where(whole > 0, of.variance / xr.where(whole > 0, whole, 1.0), 1.0)
    freedom = xr.DataArray(of.freedom / part.clip(min=_LEAST_SHARE) ** 2)
    error = np.sqrt(whole)
    t = freedom.copy(data=stats.t.ppf((1 + share) / 2, freedom.values))
    return xr.Dataset(
        {
            "value": of.mean,
            "standard_error": np.sqrt(of.variance),
            "instrument_error": np.sqrt(chains),
            "degrees_of_freedom": freedom,
            "low": of.mean - t * error,
            "high": of.mean + t * error,
        }
    )
