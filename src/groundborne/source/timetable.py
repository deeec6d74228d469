"""Mixed timetables: percentile, largest passby and equivalent level of several classes of train.

Each class of train has its own normal distribution of levels in dB, fitted to its measured passbys;
the timetable says how many of each run. Nothing is pooled across classes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import finite, known, not_negative, positive
from groundborne.citation import Citation
from groundborne.levels import decibel, energy, require, stamp
from groundborne.source.statistics import inner_share

MIXED = Citation(
    key="mixed-timetable",
    author="practice",
    title="fit each class of train and weight by the traffic",
    mark="common practice",
    status="practice",
)

_REACH = 9.0
"""Standard deviations beyond which nothing is left of a normal distribution."""
_POINTS = 1201


@checked
def class_fits(
    level: xr.DataArray, *, group: str = "train_type", dim: str = "passby"
) -> tuple[xr.DataArray, xr.DataArray]:
    """Mean and standard deviation of each class of train.

    Parameters
    ----------
    level : DataArray
        Labelled levels [dB] with `dim`.
    group : str
        Coordinate on `dim` that names the class.
    dim : str
        Dimension of the passbys.

    Returns
    -------
    tuple of DataArray
        Mean [dB] and standard deviation [dB] with the dimension `group` in place of `dim`.

    Raises
    ------
    LevelError
        Not a labelled level.
    ValueError
        No such coordinate, a class of one passby, or a level that is not a number.

    Examples
    --------
    >>> level = stamp(xr.DataArray([60.0, 62.0, 70.0, 74.0], dims="passby",
    ...               coords={"train_type": ("passby", ["metro", "metro", "freight", "freight"])}),
    ...               quantity="velocity", reference="1 nm/s", long_name="velocity level")
    >>> mean, spread = class_fits(level)
    >>> mean.sel(train_type="freight").item(), spread.round(2).values.tolist()
    (72.0, [2.83, 1.41])
    """
    where = "class_fits"
    member = _members(where, level, group, dim)
    count = member.sum(dim)
    if (count < 2).any():
        at = str(member[group].values[int(np.argmax(count.values < 2))])
        raise ValueError(
            f"{where}: class {at!r} has one passby; its spread needs at least 2. Measure more "
            "trains, or give it the name of a class that is alike"
        )
    mean = xr.dot(level, member, dim=dim) / count
    # About each class's own mean, so that no two large numbers cancel.
    own = xr.dot(mean, member, dim=group)
    spread = np.sqrt(xr.dot((level - own) ** 2, member, dim=dim) / (count - 1))
    return mean.assign_attrs(level.attrs), spread.assign_attrs(units="dB")


@checked
def mixed_percentile(
    level: xr.DataArray,
    *,
    trains: Mapping[str, float],
    percentile: float = 95.0,
    group: str = "train_type",
    dim: str = "passby",
) -> xr.DataArray:
    """Level that a percentage of all trains of a mixed timetable do not exceed.

    Parameters
    ----------
    level : DataArray
        Labelled levels [dB] with `dim`.
    trains : mapping of str to float
        How many trains of each class run; one entry for every class measured, 0 for none.
    percentile : float
        Percentage of trains at or below the result.
    group, dim : str
        As in `class_fits`.

    Returns
    -------
    xarray.DataArray
        L with ``Σ n_c Φ((L − m_c)/s_c)/Σ n_c = p`` [dB].

    Raises
    ------
    LevelError
        Not a labelled level.
    ValueError
        A class without its number of trains or the reverse; no train at all; a class of one passby.

    Examples
    --------
    >>> level = stamp(xr.DataArray([60.0, 62.0, 70.0, 74.0], dims="passby",
    ...               coords={"train_type": ("passby", ["metro", "metro", "freight", "freight"])}),
    ...               quantity="velocity", reference="1 nm/s", long_name="velocity level")
    >>> mixed_percentile(level, trains={"metro": 1, "freight": 0}, percentile=50.0).item()
    61.0
    """
    from scipy import stats

    where = "mixed_percentile"
    p = inner_share(where, "percentile", percentile)
    mean, spread, count = _mix(where, level, trains, group, dim)
    share = count / count.sum()

    def below(x: xr.DataArray) -> xr.DataArray:
        part = xr.apply_ufunc(stats.norm.cdf, (x - mean) / spread)
        mixed: xr.DataArray = xr.dot(part, share, dim=group)
        return mixed

    return _solved(below, p, mean, spread, group).assign_attrs(level.attrs, citations=MIXED.text)


@checked
def period_maximum(
    level: xr.DataArray,
    *,
    trains: Mapping[str, float],
    percentile: float = 50.0,
    group: str = "train_type",
    dim: str = "passby",
) -> xr.Dataset:
    """Largest passby of a period, such as a night, with a mixed timetable.

    Parameters
    ----------
    level : DataArray
        Labelled levels [dB] with `dim`.
    trains : mapping of str to float
        How many trains of each class run in the period; 0 for none.
    percentile : float
        Percentage of periods whose largest passby lies at or below ``percentile``.
    group, dim : str
        As in `class_fits`.

    Returns
    -------
    xarray.Dataset
        ``expected`` (mean over many periods of the largest level) and ``percentile`` [dB].

    Raises
    ------
    LevelError
        Not a labelled level.
    ValueError
        As for `mixed_percentile`.

    Notes
    -----
    The largest of independent trains has the distribution ``Π Φ((L − m_c)/s_c)^n_c``. It leans on
    the tails of the fits, beyond what few measured trains can show: state how many there were.

    Examples
    --------
    >>> level = stamp(xr.DataArray([60.0, 62.0, 70.0, 74.0], dims="passby",
    ...               coords={"train_type": ("passby", ["metro", "metro", "freight", "freight"])}),
    ...               quantity="velocity", reference="1 nm/s", long_name="velocity level")
    >>> night = period_maximum(level, trains={"metro": 2, "freight": 0})
    >>> night["expected"].round(2).item()
    61.8
    """
    from scipy import stats

    where = "period_maximum"
    p = inner_share(where, "percentile", percentile)
    mean, spread, count = _mix(where, level, trains, group, dim)

    def below(x: xr.DataArray) -> xr.DataArray:
        part = xr.apply_ufunc(stats.norm.logcdf, (x - mean) / spread)
        largest: xr.DataArray = np.exp(xr.dot(part, count, dim=group))
        return largest

    low, high = _reach(mean, spread, group)
    u = xr.DataArray(np.linspace(0.0, 1.0, _POINTS), dims="_point")
    beyond = 1.0 - below(low + (high - low) * u)
    # The mean of a variable above `low` is low + ∫ P(above x) dx.
    expected = low + (high - low) * beyond.assign_coords(_point=u).integrate("_point")
    found = {"expected": expected, "percentile": _solved(below, p, mean, spread, group)}
    result = xr.Dataset({name: v.assign_attrs(level.attrs) for name, v in found.items()})
    result.attrs = {"percentile": f"{percentile:g}", "citations": MIXED.text}
    return result


@checked
def period_equivalent(
    exposure: xr.DataArray,
    *,
    trains: Mapping[str, float],
    hours: float,
    group: str = "train_type",
    dim: str = "passby",
) -> xr.DataArray:
    """Equivalent level of a period from the exposures of measured passbys and the timetable.

    Parameters
    ----------
    exposure : DataArray
        Labelled exposure level [dB re its reference and 1 s] with `dim`.
    trains : mapping of str to float
        How many trains of each class run in the period; 0 for none.
    hours : float
        Length of the period [h].
    group, dim : str
        As in `class_fits`; one passby of a class is enough here.

    Returns
    -------
    xarray.DataArray
        ``10 lg Σ n_c 10^(L_c/10) − 10 lg(T/1 s)`` [dB] with the energy mean L_c of each class.

    Raises
    ------
    LevelError
        Not a labelled level.
    ValueError
        A class without its number of trains or the reverse; no train at all; no period.

    Examples
    --------
    >>> lae = stamp(xr.DataArray([60.0, 60.0], dims="passby",
    ...             coords={"train_type": ("passby", ["metro", "metro"])}), quantity="velocity",
    ...             reference="1 nm/s", long_name="exposure level")
    >>> period_equivalent(lae, trains={"metro": 10}, hours=1.0).round(2).item()
    34.44
    """
    where = "period_equivalent"
    positive(where, "hours", hours, "h")
    member = _members(where, exposure, group, dim)
    count = _counts(where, trains, member[group].values, group)
    weight = xr.dot(member / member.sum(dim), count, dim=group)
    total = xr.dot(energy(exposure), weight, dim=dim) / (3600.0 * hours)
    return stamp(
        decibel(total),
        quantity=exposure.attrs["quantity"],
        reference=exposure.attrs["reference"],
        long_name="equivalent level over the period",
        time_weighting="leq",
        location=exposure.attrs.get("location", ""),
        citations=[MIXED],
    )


@checked
def resample(
    level: xr.DataArray,
    *,
    size: int,
    seed: int,
    group: str | None = "train_type",
    dim: str = "passby",
) -> xr.DataArray:
    """Bootstrap samples of the passbys, drawn with replacement within each class.

    Any statistic of the result carries its own scatter on ``sample``.

    Parameters
    ----------
    level : DataArray
        Levels [dB] with `dim`.
    size : int
        Number of samples.
    seed : int
        Seed of the random generator.
    group : str, optional
        Coordinate that names the class; None draws from all passbys alike.
    dim : str
        Dimension of the passbys.

    Returns
    -------
    xarray.DataArray
        Levels with ``sample`` added; each sample holds as many passbys of each class as measured.

    Raises
    ------
    ValueError
        A size below 1, or no such coordinate.

    Notes
    -----
    With few passbys a bootstrap understates the scatter, by ``√((n − 1)/n)`` for a mean and more
    for a high percentile, which it can never put above the largest passby measured.

    Examples
    --------
    >>> level = xr.DataArray([60.0, 62.0, 64.0], dims="passby")
    >>> drawn = resample(level, size=500, seed=1, group=None)
    >>> drawn.sizes["sample"], round(float(drawn.mean()))
    (500, 62)
    """
    where = "resample"
    known(where, "dim", dim, [str(d) for d in level.dims])
    if size < 1:
        raise ValueError(f"{where}: size is {size}; at least 1 is needed")
    n = level.sizes[dim]
    names = np.zeros(n, dtype=int) if group is None else _names(where, level, group, dim)
    _, code, count = np.unique(names, return_inverse=True, return_counts=True)
    order = np.argsort(code, kind="stable")
    first = np.cumsum(count) - count
    rng = np.random.default_rng(seed)
    # Each passby is replaced by one of its class: a random place among those sorted together.
    place = first[code] + np.floor(rng.random((size, n)) * count[code]).astype(int)
    index = xr.DataArray(order[place], dims=("sample", dim))
    bare = level.drop_vars([c for c in level.coords if dim in level[c].dims])
    about = {} if group is None else {group: (dim, level[group].values)}
    return bare.isel({dim: index}).assign_coords(about).assign_attrs(level.attrs)


def _names(where: str, level: xr.DataArray, group: str, dim: str) -> np.ndarray[Any, Any]:
    if group not in level.coords or level[group].dims != (dim,):
        raise ValueError(f"{where}: no coordinate {group!r} on {dim} names the class of each level")
    return level[group].values.astype(str)


def _members(where: str, level: xr.DataArray, group: str, dim: str) -> xr.DataArray:
    """Ones where a passby is of a class, dims (dim, group)."""
    require(level, where=where)
    finite(where, "level", level)
    known(where, "dim", dim, [str(d) for d in level.dims])
    names = _names(where, level, group, dim)
    classes = np.unique(names)
    ones = (names[:, None] == classes[None, :]).astype(float)
    return xr.DataArray(ones, dims=(dim, group), coords={group: classes})


def _counts(where: str, trains: Mapping[str, float], classes: Any, group: str) -> xr.DataArray:
    names = classes.tolist()
    odd = [n for n in names if n not in trains] + [n for n in trains if n not in names]
    if odd:
        raise ValueError(
            f"{where}: {group} {odd[0]!r} is among the passbys or in trains only; each class needs "
            "measured passbys and a number of trains (0 for none)"
        )
    count = np.array([trains[n] for n in names], dtype=float)
    not_negative(where, "trains", count, "trains")
    if not count.any():
        raise ValueError(f"{where}: the timetable holds no train")
    return xr.DataArray(count, dims=group, coords={group: classes})


def _mix(
    where: str, level: xr.DataArray, trains: Mapping[str, float], group: str, dim: str
) -> tuple[xr.DataArray, xr.DataArray, xr.DataArray]:
    mean, spread = class_fits(level, group=group, dim=dim)
    count = _counts(where, trains, mean[group].values, group)
    runs = count.values > 0
    mean, spread, count = (a.isel({group: runs}) for a in (mean, spread, count))
    # A class whose passbys are all equal has no spread: a hair of it keeps the curves defined.
    return mean, np.maximum(spread, 1e-6), count  # type: ignore[return-value]


def _reach(
    mean: xr.DataArray, spread: xr.DataArray, group: str
) -> tuple[xr.DataArray, xr.DataArray]:
    low, high = mean - _REACH * spread, mean + _REACH * spread
    ends = low.min(group, skipna=False), high.max(group, skipna=False)
    return ends[0].drop_attrs(deep=False), ends[1].drop_attrs(deep=False)


def _solved(
    below: Any, p: float, mean: xr.DataArray, spread: xr.DataArray, group: str
) -> xr.DataArray:
    """Level at which a rising distribution reaches p, by halving: 60 steps leave nothing."""
    low, high = _reach(mean, spread, group)
    for _ in range(60):
        middle = (low + high) / 2
        over = below(middle) >= p
        low, high = xr.where(over, low, middle), xr.where(over, middle, high)
    return (low + high) / 2
