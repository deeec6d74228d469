"""Several finished studies pooled into an office's own bias and spread, stage by stage."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import BandError, counted, known, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.uncertainty import BANDS_CORRELATED, Spread
from groundborne.uncertainty.spread import PLACES

REML = Citation(
    key="raudenbush-bryk1985",
    author="Raudenbush and Bryk",
    year="1985",
    title="Empirical Bayes meta-analysis, Journal of Educational Statistics 10(2)",
    locator="restricted likelihood of the variance between studies, shrunken estimates",
    mark="seen second-hand",
    status="verified",
)
HARTUNG_KNAPP = Citation(
    key="hartung-knapp2001",
    author="Hartung and Knapp",
    year="2001",
    title="standard error of a pooled mean with a t distribution",
    mark="from memory",
    status="transcribed",
)

HIGGINS = Citation(
    key="higgins-thompson-spiegelhalter2009",
    author="Higgins, Thompson and Spiegelhalter",
    year="2009",
    title="A re-evaluation of random-effects meta-analysis, "
    "Journal of the Royal Statistical Society A 172(1)",
    locator="prediction interval of the next study, t with k − 2 degrees of freedom",
    mark="seen second-hand",
    status="transcribed",
)
LEAST_BETWEEN = Citation(
    key="least-variance-between-studies",
    author="groundborne",
    title="standard deviation of the moment estimate of the variance between studies where there "
    "is none, as the least that is taken for the next study",
    mark="derived",
)

_FEWEST = 3
_GRID, _LEAST = 60, 1e-8
_HALVINGS = 60

Array = np.ndarray[Any, Any]


WHOLE_PATH = "whole path"
"""Stage of errors that were measured in rooms, of all stages of the prediction together."""


@checked
def study_error(comparison: xr.Dataset, *, stage: str = WHOLE_PATH) -> xr.Dataset:
    """Error of the prediction of one finished study by band, over the rooms that were measured.

    Parameters
    ----------
    comparison : Dataset
        From :func:`~groundborne.commissioning.compare_levels`.
    stage : str
        What the error is of: ``whole path``, or the stage that was measured by itself.

    Returns
    -------
    xarray.Dataset
        On ``stage``, which is one, and ``frequency``, in the bands without an upper limit in any
        room: ``error``, mean over rooms of measured less predicted [dB];
        ``standard_error`` [dB], by the scatter of the rooms and the errors that they share;
        ``room_spread``, standard deviation between rooms [dB]. The attribute ``left_out`` lists
        the other bands [Hz].

    Raises
    ------
    ValueError
        Fewer than two rooms, or upper limits in every band, from which no error follows.

    Notes
    -----
    The variance of the mean is that of rooms over their number, and that of the measurement itself
    as if all rooms shared it, which is the safe side.

    Examples
    --------
    >>> off = xr.DataArray([[2.0], [4.0]], dims=("room", "frequency"),
    ...                    coords={"room": ["A", "B"], "frequency": [63.0]})
    >>> found = study_error(xr.Dataset({"difference": off, "upper_limit": off > 99,
    ...                                 "measured_error": 0.0 * off}))
    >>> found["error"].item(), found["standard_error"].item()
    (3.0, 1.0)
    """
    where = "study_error"
    off = comparison["difference"]
    count = off.sizes["room"]
    if count < 2:
        raise ValueError(f"{where}: one room tells no scatter; two at least are needed")
    limits = comparison["upper_limit"].any("room").values
    if limits.all():
        raise ValueError(
            f"{where}: every band is an upper limit in some room, from which no error follows; "
            "leave out the rooms in the background"
        )
    left_out = [float(f) for f in off["frequency"].values[limits]]
    comparison = comparison.isel(frequency=np.flatnonzero(~limits))
    off = comparison["difference"]
    scatter = off.var("room", ddof=1)
    shared = (comparison["measured_error"] ** 2).mean("room")
    found: dict[str, Any] = {
        "error": off.mean("room"),
        "standard_error": np.sqrt(scatter / count + shared),
        "room_spread": np.sqrt(scatter),
    }
    data = {n: v.drop_attrs().assign_attrs(units="dB") for n, v in found.items()}
    return xr.Dataset(data, attrs={"left_out": left_out}).expand_dims(stage=[stage])


@checked
def pool_studies(
    error: xr.DataArray, *, standard_error: xr.DataArray, confidence: float = 0.9
) -> xr.Dataset:
    """An office's own bias and spread from the errors of its finished studies.

    Parameters
    ----------
    error : DataArray
        Measured less predicted [dB] of each study, on ``study`` and further dims such as ``stage``
        and ``frequency``.
    standard_error : DataArray
        Of each [dB], above 0, on the same.
    confidence : float
        Of intervals, two-sided, 0.5 to 0.999.

    Returns
    -------
    xarray.Dataset
        On the further dims: ``bias``, mean error of the office [dB], with ``bias_error``,
        ``bias_low`` and ``bias_high``; ``between``, standard deviation between studies apart from
        the errors of their measurements [dB]; ``next_low`` and ``next_high``, interval of the error
        of the next study [dB], and ``next_study``, the standard deviation about the bias with which
        a normal error has that interval [dB]: far more than ``between`` of three studies, and
        little more of twenty; ``studies``, their number. With ``study``: ``shrunk``
        [dB], the error of each as all studies together have it, with ``shrunk_error``, and
        ``weight``, the share that its own measurement has in that [-].

    Raises
    ------
    ValueError
        Fewer than three studies, a standard error that is not above 0, other dims.

    Notes
    -----
    Errors of studies are normal about the bias with the variance τ², measured ones about them with
    their own. τ² maximises the restricted likelihood; 0 where the studies differ by no more than
    their measurements do. The bias is the mean with weights ``1/(τ² + v)``, its
    interval that of Hartung and Knapp with t, which is never narrower than without. The next
    study lies within ``t √(τ² + se²)`` of it, t of k − 2 degrees of freedom. That interval is known
    to be too narrow where τ² comes out too small by chance; so for it τ² is no less than
    ``√(2(k − 1))/(Σw − Σw²/Σw)`` with ``w = 1/v``, by which an estimate of none scatters. In
    invented offices (3 to 20 studies, measured to 1 to 3 dB, 0.5 to 4 dB between them) 90 % asked
    then hold 86 to 100 %. Each band is pooled by itself. Studies that were calibrated or chosen by
    their outcome do not belong here.

    References
    ----------
    Raudenbush and Bryk 1985, and Higgins, Thompson and Spiegelhalter 2009 [seen second-hand];
    Hartung and Knapp 2001 [from memory]; least variance between studies [derived].

    Examples
    --------
    >>> error = xr.DataArray([1.0, 3.0, 5.0, 3.0], dims="study")
    >>> found = pool_studies(error, standard_error=xr.full_like(error, 0.1))
    >>> found["bias"].round(3).item(), found["between"].round(3).item()
    (3.0, 1.63)
    """
    where = "pool_studies"
    within(where, "confidence", confidence, 0.5, 0.999, "")
    positive(where, "standard_error", standard_error, "dB")
    if "study" not in error.dims or set(error.dims) != set(standard_error.dims):
        raise ValueError(
            f"{where}: error is on {error.dims}, standard_error on {standard_error.dims}; both "
            "need study, and the same further dims"
        )
    count = error.sizes["study"]
    if count < _FEWEST:
        raise ValueError(
            f"{where}: {counted(count, 'study', 'studies')}; {_FEWEST} at least are needed to tell "
            "how they differ"
        )
    from scipy import stats

    lead = [d for d in error.dims if d != "study"]
    error, standard_error = (
        a.transpose("study", *lead).reset_coords(drop=True) for a in (error, standard_error)
    )
    y, v = np.asarray(error.values, float), np.asarray(standard_error.values, float) ** 2
    tau2 = between_variance(y, v)
    w = 1 / (v + tau2)
    total = w.sum(axis=0)
    mean = (w * y).sum(axis=0) / total
    scatter = (w * (y - mean) ** 2).sum(axis=0) / (count - 1)
    bias_error = np.sqrt(np.maximum(scatter, 1.0) / total)
    half = float(stats.t.ppf((1 + confidence) / 2, count - 1)) * bias_error
    w = 1 / v
    least = np.sqrt(2 * (count - 1)) / (w.sum(axis=0) - (w**2).sum(axis=0) / w.sum(axis=0))
    ahead = next_half_width(np.maximum(tau2, least), bias_error, count, confidence)
    share = tau2 / (v + tau2)
    shrunk = mean + share * (y - mean)
    shrunk_error = np.sqrt(share * v + (1 - share) ** 2 / total)
    like = error.isel(study=0, drop=True)
    whole = {
        "bias": mean, "bias_error": bias_error, "bias_low": mean - half, "bias_high": mean + half,
        "between": np.sqrt(tau2), "next_low": mean - ahead, "next_high": mean + ahead,
        "next_study": ahead / float(stats.norm.ppf((1 + confidence) / 2)),
    }  # fmt: skip
    each = {"shrunk": shrunk, "shrunk_error": shrunk_error, "weight": share}
    data = {n: like.copy(data=np.asarray(x)) for n, x in whole.items()}
    data |= {n: error.copy(data=x) for n, x in each.items()}
    found = xr.Dataset({n: a.drop_attrs().assign_attrs(units="dB") for n, a in data.items()})
    found["weight"].attrs["units"] = "1"
    found["studies"] = count
    found.attrs = {
        "confidence": confidence,
        "citations": citation_texts((REML, HARTUNG_KNAPP, HIGGINS, LEAST_BETWEEN)),
    }  # fmt: skip
    return found


def next_half_width(tau2: Array, error: Array, count: int, confidence: float) -> Array:
    """Half of the interval of the next study, ``t √(τ² + se²)`` with k − 2 degrees of freedom.

    Parameters
    ----------
    tau2, error : ndarray
        Variance between studies, and standard error of their mean.
    count : int
        Number of studies, 3 or more.
    confidence : float
        Of the interval, two-sided.

    References
    ----------
    Higgins, Thompson and Spiegelhalter 2009 [seen second-hand].
    """
    from scipy import stats

    found: Array = stats.t.ppf((1 + confidence) / 2, count - 2) * np.sqrt(tau2 + error**2)
    return found


def between_variance(y: Array, v: Array) -> Array:
    """Variance between studies by restricted maximum likelihood; studies come first.

    Parameters
    ----------
    y, v : ndarray
        Estimates, and their own variances.

    Returns
    -------
    ndarray
        τ², of the shape of one study; 0 where the likelihood falls from there on.
    """
    spread = np.ptp(y, axis=0) ** 2 + v.max(axis=0)
    steps = np.concatenate([[0.0], np.geomspace(_LEAST, 1.0, _GRID)])
    tau2 = np.multiply.outer(steps, spread)  # beyond the last one the likelihood falls
    at = np.argmax([_restricted(y, v, t)[0] for t in tau2], axis=0)
    low, high = (
        np.take_along_axis(tau2, np.clip(at + n, 0, _GRID)[None], axis=0)[0] for n in (-1, 1)
    )
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        rises = _restricted(y, v, middle)[1] > 0
        low, high = np.where(rises, middle, low), np.where(rises, high, middle)
    found = (low + high) / 2
    none = np.zeros_like(found)
    better = _restricted(y, v, found)[0] > _restricted(y, v, none)[0]
    largest: Array = np.where(better, found, none)
    return largest


def _restricted(y: Array, v: Array, tau2: Array) -> tuple[Array, Array]:
    """Logarithm of the restricted likelihood of τ², and twice its slope."""
    w = 1 / (v + tau2)
    total, squares = w.sum(axis=0), (w**2).sum(axis=0)
    off = (y - (w * y).sum(axis=0) / total) ** 2
    level = (np.log(w).sum(axis=0) - np.log(total) - (w * off).sum(axis=0)) / 2
    return level, (w**2 * off).sum(axis=0) - (total - squares / total)


@checked(own_labels=("pooled", "frequency", "otherwise"))  # bands of other studies
def office_spreads(
    pooled: xr.Dataset,
    *,
    place: str = "part_of_room",
    shared: float = 0.0,
    room_spread: float | xr.DataArray = 0.0,
    quantities: Sequence[str] = ("sound pressure", "velocity"),
    frequency: xr.DataArray | None = None,
    otherwise: Sequence[Spread] = (),
) -> list[Spread]:
    """Spreads for the next study, from an office's own.

    Parameters
    ----------
    pooled : Dataset
        From :func:`pool_studies`, with ``stage`` and ``frequency``; the labels of ``stage`` become
        the names of the spreads.
    place : str
        As for ``Spread``: where the error is drawn anew.
    shared : float
        As for ``Spread``.
    room_spread : float or DataArray
        Standard deviation between the rooms of one study besides [dB], 0 or more.
    quantities : sequence of str
        What the errors move: ``sound pressure``, ``velocity`` or both.
    frequency : DataArray, optional
        Bands of the next study [Hz]; those of `pooled` by default.
    otherwise : sequence of Spread
        Of the next study, see :func:`~groundborne.study.study_spreads`, for bands that `pooled`
        does not hold: that of the same name, or all together for the ``whole path``.

    Returns
    -------
    list of Spread
        One of each stage: what the next study errs by, about the bias of the office. The bias
        itself is a level to be added: ``StageErrors.of(..., bias={stage: pooled["bias"]})``, and
        ``calibrated_result``.

    Raises
    ------
    BandError
        Bands of `frequency` that neither `pooled` nor `otherwise` holds.
    ValueError
        No dim ``stage``, an unknown place or quantity.

    Examples
    --------
    >>> error = xr.DataArray([[1.0], [3.0], [5.0]], dims=("study", "stage"),
    ...                      coords={"stage": ["ground to foundation"]})
    >>> error = error.expand_dims(frequency=[63.0])
    >>> pooled = pool_studies(error, standard_error=xr.full_like(error, 0.5))
    >>> [(s.name, round(float(s.of_sound[0]), 2)) for s in office_spreads(pooled)]
    [('ground to foundation', 8.65)]
    """
    where = "office_spreads"
    if "stage" not in pooled["next_study"].dims:
        raise ValueError(
            f"{where}: pooled has no dim 'stage'; pool errors by stage, as study_error gives them"
        )
    known(where, "place", place, PLACES)
    for quantity in quantities:
        known(where, "quantity", quantity, ("sound pressure", "velocity"))
    size = xr.DataArray(np.hypot(pooled["next_study"], room_spread)).drop_attrs()
    each = []
    for name in pooled["stage"].values:
        here = size.sel(stage=name, drop=True)
        sizes = {q: _in_all_bands(where, str(name), here, q, frequency, otherwise)
                 for q in quantities}  # fmt: skip
        each.append(
            Spread(
                name=str(name),
                of_sound=sizes.get("sound pressure", 0.0),
                of_floor=sizes.get("velocity", 0.0),
                place=place,
                shared=shared,
                bands_correlated=BANDS_CORRELATED,
                citations=(REML, HIGGINS, LEAST_BETWEEN),
            )
        )
    return each


def _in_all_bands(
    where: str,
    stage: str,
    size: xr.DataArray,
    quantity: str,
    frequency: xr.DataArray | None,
    otherwise: Sequence[Spread],
) -> xr.DataArray:
    """What was pooled, and in bands that it does not hold what stands otherwise [dB]."""
    if frequency is None:
        return size
    bands = frequency["frequency"]
    missing = ~np.isin(bands.values, size["frequency"].values)
    own = size.sel(frequency=bands.values[~missing])
    if not missing.any():
        return own
    used = [s for s in otherwise if s.name == stage or stage == WHOLE_PATH]
    if not used:
        raise BandError(
            f"{where}: the pooled studies have no band {bands.values[missing][0]:g} Hz of "
            f"{stage!r}, and otherwise holds no spread for it; give study_spreads of the study"
        )
    elsewhere = bands.isel(frequency=np.flatnonzero(missing)).reset_coords(drop=True)
    squares: Any = xr.zeros_like(elsewhere, dtype=float)
    for spread in used:
        one = spread.of(quantity)
        if "frequency" in one.dims:
            one = one.sel(frequency=elsewhere.values)
        squares = squares + one**2
    rest = xr.DataArray(np.sqrt(squares)).reset_coords(drop=True)
    both = xr.concat([(own + 0.0 * rest.isel(frequency=0, drop=True)), rest], dim="frequency")
    return xr.DataArray(both.sel(frequency=bands.values)).drop_attrs()
