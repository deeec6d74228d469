"""How sure passby levels are: percentiles with confidence, the next train, how many more.

Levels of one class of train are taken as normally distributed in dB, its passbys as independent
trains under unchanged conditions. Pooling classes that differ breaks that model: see `timetable`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, known, positive, within
from groundborne.citation import Citation
from groundborne.levels import energy_mean, require
from groundborne.source.group_maximum import GROUP_RMS, maximum_from_group

TOLERANCE = Citation(
    key="normal-tolerance-factors",
    author="normal-theory tolerance limits",
    title="one-sided factor from the noncentral t distribution",
    mark="seen second-hand",
    status="verified",
)

_MOST = 1_000_000


@checked(bare=("count",))
def tolerance_factor(
    count: Numeric, *, percentile: float = 95.0, confidence: float = 95.0
) -> Numeric:
    """Factor k such that mean + k s exceeds a percentile with a confidence.

    Parameters
    ----------
    count : float or array
        Number of passbys n, at least 2.
    percentile : float
        Percentage of trains at or below the level wanted, above 0 and below 100.
    confidence : float
        Confidence that the true percentile lies below mean + k s [%]; 50 gives the median
        estimate, 5 the lower end of a 90 % interval whose upper end 95 gives.

    Returns
    -------
    float or array
        k [-], of the shape of `count`.

    Raises
    ------
    ValueError
        Fewer than 2 passbys; a percentage that is not between 0 and 100.

    Notes
    -----
    ``k = t'(C; n − 1, z √n)/√n`` with the noncentral t distribution.

    References
    ----------
    Normal-theory tolerance limits [seen second-hand].

    Examples
    --------
    >>> round(float(tolerance_factor(15)), 3)
    2.566
    """
    from scipy import stats

    n = _count("tolerance_factor", count)
    p = inner_share("tolerance_factor", "percentile", percentile)
    c = inner_share("tolerance_factor", "confidence", confidence)
    root = np.sqrt(n)
    return _like(count, stats.nct.ppf(c, n - 1, stats.norm.ppf(p) * root) / root)


@checked(bare=("count",))
def prediction_factor(count: Numeric, *, percentile: float = 95.0) -> Numeric:
    """Factor such that the next train stays below mean + factor × s with a probability.

    Parameters
    ----------
    count : float or array
        Number of passbys n, at least 2.
    percentile : float
        Probability that the next train stays below [%].

    Returns
    -------
    float or array
        ``t(p; n − 1) √(1 + 1/n)`` [-].

    Raises
    ------
    ValueError
        Fewer than 2 passbys; a percentage that is not between 0 and 100.

    References
    ----------
    Normal-theory prediction limit for one future value [seen second-hand].

    Examples
    --------
    >>> round(float(prediction_factor(15)), 3)
    1.819
    """
    from scipy import stats

    n = _count("prediction_factor", count)
    p = inner_share("prediction_factor", "percentile", percentile)
    return _like(count, stats.t.ppf(p, n - 1) * np.sqrt(1 + 1 / n))


@checked(bare=("count",))
def percentile_error(count: Numeric, *, percentile: float = 95.0) -> Numeric:
    """Standard error of the percentile mean + z s, in units of s.

    Parameters
    ----------
    count : float or array
        Number of passbys n, at least 2.
    percentile : float
        The percentile [%].

    Returns
    -------
    float or array
        ``√(1/n + z²/(2(n − 1)))`` [-]; large-sample, within 5 % from about n = 10.

    Raises
    ------
    ValueError
        Fewer than 2 passbys; a percentage that is not between 0 and 100.

    Examples
    --------
    >>> round(float(percentile_error(15)), 3)
    0.404
    """
    from scipy import stats

    n = _count("percentile_error", count)
    z = stats.norm.ppf(inner_share("percentile_error", "percentile", percentile))
    return _like(count, np.sqrt(1 / n + z**2 / (2 * (n - 1))))


@checked(bare=("count",))
def maximum_coverage(count: Numeric, *, percentile: float = 95.0) -> Numeric:
    """Probability that the largest of n passbys lies above the true percentile.

    Parameters
    ----------
    count : float or array
        Number of passbys n, at least 1.
    percentile : float
        The percentile [%].

    Returns
    -------
    float or array
        ``1 − p^n`` [-], for any distribution.

    Raises
    ------
    ValueError
        No passby; a percentage that is not between 0 and 100.

    Examples
    --------
    >>> round(float(maximum_coverage(15)), 3)
    0.537
    """
    n = _count("maximum_coverage", count, least=1)
    return _like(count, 1 - inner_share("maximum_coverage", "percentile", percentile) ** n)


@checked
def trains_to_cover(*, percentile: float = 95.0, confidence: float = 95.0) -> int:
    """Fewest passbys whose largest lies above the true percentile with a confidence.

    Parameters
    ----------
    percentile, confidence : float
        The percentile and the confidence [%].

    Returns
    -------
    int
        Number of passbys.

    Examples
    --------
    >>> trains_to_cover()
    59
    """
    p = inner_share("trains_to_cover", "percentile", percentile)
    c = inner_share("trains_to_cover", "confidence", confidence)
    # A hair is taken off so that an exact answer is not raised by rounding.
    return max(1, int(np.ceil(np.log1p(-c) / np.log(p) - 1e-9)))


@checked
def trains_to_halve(count: int, *, percentile: float = 95.0, confidence: float = 95.0) -> int:
    """How many more trains halve the width of a percentile's interval, s unchanged.

    Parameters
    ----------
    count : int
        Passbys measured, at least 2.
    percentile, confidence : float
        As in `tolerance_factor`; the interval runs from the factor at ``100 − confidence`` to the
        one at `confidence`, above 50.

    Returns
    -------
    int
        Further passbys.

    Raises
    ------
    ValueError
        Fewer than 2 passbys; a confidence of 50 % or less.

    Examples
    --------
    >>> trains_to_halve(10)
    22
    """
    n = int(_count("trains_to_halve", count))
    within("trains_to_halve", "confidence", confidence, 50.0, 100.0, "%")
    if confidence == 50.0:
        raise ValueError("trains_to_halve: at a confidence of 50 % the interval has no width")
    kind = {"percentile": percentile, "confidence": confidence}
    goal = _width(np.array([float(n)]), **kind)[0] / 2
    low, high = n, 4 * n
    while _width(np.array([float(high)]), **kind)[0] > goal and high < _MOST:
        high *= 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (
            (low, middle)
            if _width(np.array([float(middle)]), **kind)[0] <= goal
            else (middle, high)
        )
    return high - n


def _width(n: np.ndarray[Any, Any], *, percentile: float, confidence: float) -> Any:
    ends = [
        tolerance_factor(n, percentile=percentile, confidence=c)
        for c in (confidence, 100.0 - confidence)
    ]
    return np.asarray(ends[0]) - np.asarray(ends[1])


@checked
def summary(
    level: xr.DataArray,
    *,
    percentile: float = 95.0,
    confidence: float = 95.0,
    dim: str = "passby",
) -> xr.Dataset:
    """Means, spread and percentile of one class of passbys, with how sure they are.

    Parameters
    ----------
    level : DataArray
        Labelled levels [dB] with `dim`, at least 2 passbys.
    percentile, confidence : float
        As in `tolerance_factor`.
    dim : str
        Dimension of the passbys.

    Returns
    -------
    xarray.Dataset
        ``count``, ``mean`` (arithmetic), ``energy_mean``, ``standard_deviation``, ``maximum``,
        ``percentile`` (mean + z s), ``percentile_low`` and ``percentile_high`` (its confidence
        limits, each one-sided), ``next_train``, ``maximum_estimate`` (1.5 × group rms),
        ``maximum_coverage`` and ``trains_to_halve``.

    Raises
    ------
    LevelError
        Not a labelled level.
    ValueError
        Fewer than 2 passbys, or a level that is not a number.

    References
    ----------
    Normal-theory tolerance limits [seen second-hand]; E DIN 4150-2:2023 [seen second-hand].

    Examples
    --------
    >>> from groundborne.levels import stamp
    >>> level = stamp(xr.DataArray([60.0, 62.0, 64.0], dims="passby"), quantity="velocity",
    ...               reference="1 nm/s", long_name="velocity level", time_weighting="S max")
    >>> found = summary(level)
    >>> found["mean"].item(), found["percentile_high"].round(1).item()
    (62.0, 77.3)
    """
    from scipy import stats

    require(level, where="statistics.summary")
    known("summary", "dim", dim, [str(d) for d in level.dims])
    finite("statistics.summary", "level", level)
    n = int(level.sizes[dim])
    if n < 2:
        raise ValueError(f"summary: level holds {n} passby along {dim!r}; at least 2 are needed")
    mean, spread = level.mean(dim, skipna=False), level.std(dim, ddof=1, skipna=False)
    z = float(stats.norm.ppf(inner_share("summary", "percentile", percentile)))
    kind = {"percentile": percentile, "confidence": confidence}
    low = float(tolerance_factor(n, percentile=percentile, confidence=100.0 - confidence))
    values = {
        "mean": mean,
        "energy_mean": energy_mean(level, dim),
        "maximum": level.max(dim, skipna=False),
        "percentile": mean + z * spread,
        "percentile_low": mean + low * spread,
        "percentile_high": mean + float(tolerance_factor(n, **kind)) * spread,
        "next_train": mean + float(prediction_factor(n, percentile=percentile)) * spread,
        "maximum_estimate": maximum_from_group(level, dim=dim),
    }
    result = xr.Dataset({name: v.assign_attrs(level.attrs) for name, v in values.items()})
    result["standard_deviation"] = spread.assign_attrs(units="dB")
    result["count"] = n
    result["maximum_coverage"] = float(maximum_coverage(n, percentile=percentile))
    result["trains_to_halve"] = trains_to_halve(n, **kind)
    result.attrs = {
        "percentile": f"{percentile:g}",
        "confidence": f"{confidence:g}",
        "citations": f"{TOLERANCE.text}; {GROUP_RMS.text}",
    }
    return result


def inner_share(where: str, name: str, value: float) -> float:
    """Percentage as a share, refused at 0 and 100 % and beyond."""
    number = float(within(where, name, value, 0.0, 100.0, "%"))
    if number in (0.0, 100.0):
        raise ValueError(
            f"{where}: {name} is {value!r}; it must lie between 0 and 100 %, exclusive"
        )
    return number / 100.0


def _count(where: str, value: Any, least: int = 2) -> Any:
    n = np.asarray(positive(where, "count", value, "passbys"), dtype=float)
    if (n < least).any():
        raise ValueError(f"{where}: count is {n.min():g}; at least {least} passbys are needed")
    return n


def _like(count: Numeric, values: Any) -> Numeric:
    if isinstance(count, xr.DataArray):
        return count.copy(data=values).drop_attrs(deep=False)
    return float(values) if np.ndim(values) == 0 else np.asarray(values)
