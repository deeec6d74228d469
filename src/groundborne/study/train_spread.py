"""What the number of recorded trains leaves open in a rating: other trains like them are drawn."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import ndtri

from groundborne._checks import StudyError
from groundborne.citation import Citation

BOOTSTRAP = Citation(
    key="efron1993",
    author="Efron and Tibshirani",
    year="1993",
    title="An introduction to the bootstrap",
    locator="parametric bootstrap: normal values with the mean and the standard deviation of the "
    "trains of each type",
    mark="from memory",
    status="transcribed",
)

DRAWS = 256
"""Times that trains are drawn: the standard deviation to about 5 %."""

DECIDED_BY_RANK = ("maximum", "percentile")
"""Statistics that single trains decide."""

_AT_ONCE = 200_000  # numbers, which fit into a cache


def spread_by_trains(
    each: np.ndarray[Any, Any],
    share: np.ndarray[Any, Any],
    kinds: np.ndarray[Any, Any],
    *,
    statistic: str,
    power: float = 1.0,
    percentile: float = 50.0,
) -> np.ndarray[Any, Any]:
    """Standard deviation of a statistic by which trains happened to be recorded.

    Parameters
    ----------
    each : ndarray
        Ratings of trains by themselves [dB, or NR]: place, train.
    share : ndarray
        What each counts for; those of 0 do not.
    kinds : ndarray
        Type of each, within which trains scatter normally.
    statistic : str
        ``mean``, ``percentile``, ``maximum``, or any other for a sum of energies.
    power : float
        Of energy that is added: 1, or 2 of fourth powers.
    percentile : float
        The percentile [%].

    Returns
    -------
    ndarray
        By place [dB, or NR].

    Raises
    ------
    StudyError
        Fewer than two trains that count.

    Notes
    -----
    A type of which one train was recorded spreads like all others together; where there is no other
    of which two were recorded, like all trains that count.

    Examples
    --------
    >>> level = np.random.default_rng(1).normal(60.0, 3.0, (200, 30))
    >>> found = spread_by_trains(level, np.ones(30), np.full(30, "all"), statistic="mean")
    >>> bool(abs(found.mean() - 3.0 / np.sqrt(30)) < 0.03)
    True
    """
    require_two(share)
    counts = share > 0
    each, share, kinds = each[:, counts], share[counts], kinds[counts]
    number = share.size
    centre, spread = np.empty_like(each), np.empty_like(each)
    squares, degrees = np.zeros(len(each)), 0
    alone = np.zeros(number, bool)
    for kind in np.unique(kinds):
        own = kinds == kind
        centre[:, own] = each[:, own].mean(axis=1, keepdims=True)
        alone[own] = own.sum() == 1
        if own.sum() > 1:
            spread[:, own] = each[:, own].std(axis=1, ddof=1, keepdims=True)
            squares += ((each[:, own] - centre[:, own]) ** 2).sum(axis=1)
            degrees += own.sum() - 1
    pooled = np.sqrt(squares / degrees) if degrees else each.std(axis=1, ddof=1)
    spread[:, alone] = pooled[:, None]
    from scipy.stats import qmc  # takes half as long to load as all else that a study needs

    points = qmc.Sobol(number, scramble=True, rng=np.random.default_rng(number)).random(DRAWS)
    noise = ndtri(points.clip(2.0**-31, 1 - 2.0**-31))
    values = np.empty((DRAWS, len(each)))
    step = max(1, _AT_ONCE // each.size)
    for start in range(0, DRAWS, step):
        here = centre[:, None] + spread[:, None] * noise[start : start + step]
        values[start : start + step] = taken(
            here, share / share.sum(), statistic=statistic, power=power, percentile=percentile
        ).T
    found: np.ndarray[Any, Any] = values.std(axis=0, ddof=1)
    return found


def require_two(share: np.ndarray[Any, Any]) -> None:
    """Refuse what fewer than two trains count for.

    Parameters
    ----------
    share : ndarray
        What each counts for.

    Raises
    ------
    StudyError
        Fewer than two above 0.
    """
    number = int((share > 0).sum())
    if number < 2:
        raise StudyError(
            f"{number or 'no'} passby that counts tells nothing of how trains differ; give two at "
            "least"
        )


def taken(
    each: np.ndarray[Any, Any],
    share: np.ndarray[Any, Any],
    *,
    statistic: str,
    power: float,
    percentile: float,
) -> np.ndarray[Any, Any]:
    """The statistic over the last axis.

    Parameters
    ----------
    each : ndarray
        Ratings of trains [dB, or NR].
    share : ndarray
        What each counts for; they add up to 1.
    statistic, power, percentile
        As for :func:`spread_by_trains`.
    """
    found: np.ndarray[Any, Any]
    if statistic in ("mean", "maximum"):
        found = each @ share if statistic == "mean" else each.max(axis=-1)
        return found
    if statistic != "percentile":
        first = each.max(axis=-1, keepdims=True)
        total = np.exp(power * np.log(10) / 10 * (each - first)) @ share
        found = first[..., 0] + 10 * np.log10(total) / power
        return found
    if percentile < 50.0:
        return -taken(-each, share, statistic=statistic, power=power, percentile=100 - percentile)
    # From the highest down, as far as any trains may carry what lies above the percentile.
    above = 1 - percentile / 100
    enough = np.cumsum(np.sort(share)) - share.max() / 2 > above
    count = enough.argmax() + 2 if enough.any() else share.size
    order: Any = np.argsort(each, axis=-1)[..., ::-1][..., :count]
    weight = share[order]
    rank = np.cumsum(weight, axis=-1) - weight / 2  # mid-ranks (Hazen)
    # Past the mid-rank of the highest train nothing is known, and it stands there.
    at = np.clip((rank <= above).sum(axis=-1, keepdims=True), 1, share.size - 1)
    (r0, r1), (i0, i1) = (
        [np.take_along_axis(a, at - i, axis=-1) for i in (0, 1)] for a in (rank, order)
    )
    v0, v1 = (np.take_along_axis(each, i, axis=-1) for i in (i0, i1))
    inside = np.clip((r0 - above) / (r0 - r1), 0.0, 1.0)
    found = (v0 + inside * (v1 - v0))[..., 0]
    return found
