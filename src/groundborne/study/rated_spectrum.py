"""Spectra of the trains that make a rating: what is held against the limit, band by band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne.rating import Criterion
from groundborne.rating.band_rules import WeightedBands
from groundborne.study.cases import level_spreads
from groundborne.study.key_spreads import without_cases
from groundborne.study.model import StudyModel
from groundborne.study.rated_samples import CASE, Rated
from groundborne.study.room_rating import CHANGES
from groundborne.study.samples import ERRORS
from groundborne.uncertainty import Spread


@dataclass(frozen=True, kw_only=True, eq=False)
class RatedSpectrum:
    """Band levels of one room at the statistic of one criterion, for several options.

    Parameters
    ----------
    room : str
        Label.
    criterion : Criterion
        Whose statistic.
    level : DataArray
        On option and frequency [dB], by the rule of the metric exactly the rating.
    low, high : DataArray
        Ends of its interval, likewise; NaN without probabilities, and where the answers rest on
        cases of the mechanics that were not given.
    gain : DataArray, optional
        Weights of the metric on frequency [dB]; None where its rule is of another kind.
    adds_up : bool
        Whether weighted bands are summed, and not the largest taken.
    rated, limit : DataArray, float
        Rating on option, and limit, as levels of the weighted bands [dB]; NaN where the metric
        has no weights.
    sums : DataArray, optional
        Of metrics that add up weighted bands, with probabilities: on option and ``end``, ``low``,
        ``median`` and ``high`` of the rating, as levels likewise [dB]. Errors lift sums, so that
        the median lies above the rating of the levels drawn.
    """

    room: str
    criterion: Criterion
    level: xr.DataArray
    low: xr.DataArray
    high: xr.DataArray
    gain: xr.DataArray | None
    adds_up: bool
    rated: xr.DataArray
    limit: float
    sums: xr.DataArray | None = None

    def without_intervals(self) -> RatedSpectrum:
        """The same with nothing but medians."""
        sums = self.sums
        if sums is not None:
            sums = sums.sel(end="median", drop=True).expand_dims(end=sums["end"].values)
            sums = sums.transpose("option", "end")
        return replace(self, low=self.level, high=self.level, sums=sums)

    @property
    def reference(self) -> str:
        """Of the levels."""
        return "20 µPa" if self.criterion.of.quantity == "sound pressure" else "1 nm/s"


def rated_spectrum(
    study: StudyModel,
    result: xr.Dataset,
    *,
    room: str,
    criterion: str,
    options: Sequence[str],
    spreads: Sequence[Spread] | None = None,
    mechanics: xr.Dataset | None = None,
) -> RatedSpectrum:
    """The spectrum that a criterion is rated of, in one room.

    Parameters
    ----------
    study : Study
        With its criteria.
    result : Dataset
        One case for each option and room.
    room, criterion : str
        Labels.
    options : sequence of str
        Names.
    spreads : sequence of Spread, optional
        Errors of levels, before the cases are taken off them; those of the study by default.
    mechanics : Dataset, optional
        Cases of the mechanics that the answers of the result rest on.

    Notes
    -----
    Trains near the statistic are summed up into one spectrum and brought to the rating of all
    trains, as the sampling of errors does. The interval is that of each band by itself: normal
    with the root sum of squares of the spreads of levels and of what the number of trains leaves
    open. With cases of the mechanics the spreads are those that are left beside them, and the
    interval is that of all cases together, each with its own level change.
    """
    of = next(c for c in study.room_criteria[room] if c.label == criterion)
    cut = result.sel(room=[room], option=list(options))
    rated = Rated.of(cut, of, study.periods)
    level = rated.level
    others = [d for d in level.dims if d not in ("option", "room", "frequency")]
    level = level.max(others) if others else level
    level = level.sel(room=room, drop=True).transpose("option", "frequency")
    rule: Any = of.of.rule
    gain = None
    if isinstance(rule, WeightedBands):
        gain = xr.DataArray(rule.gain(level["frequency"])).reset_coords(drop=True)
    number, limit = xr.full_like(level.isel(frequency=0, drop=True), np.nan), np.nan
    adds_up = bool(gain is not None and rule.combined == "sum")
    if gain is not None:
        value = rule.rating(level, xr.zeros_like(level["frequency"], dtype=float))
        number = value.reset_coords(drop=True)
        limit = _as_level(of, rated.hours, of.limit)
    level = level.drop_attrs(deep=False)
    low, high = _ends(study, result, rated, level, spreads, mechanics)
    return RatedSpectrum(
        room=room, criterion=of, level=level, low=low, high=high, gain=gain, adds_up=adds_up,
        rated=number, limit=limit, sums=_sums(cut, of, rated.hours) if adds_up else None,
    )  # fmt: skip


def _sums(cut: xr.Dataset, of: Criterion, hours: float) -> xr.DataArray | None:
    """Median of a rating with its interval, as levels of the weighted bands [dB]."""
    if "rating_median" not in cut:
        return None
    names = {"low": "rating_low", "median": "rating_median", "high": "rating_high"}
    here = cut[[*names.values()]].sel(criterion=of.label).isel(room=0).reset_coords(drop=True)
    values = np.array([here[n].transpose("option").values for n in names.values()])
    return xr.DataArray(
        _as_level(of, hours, values).T, dims=("option", "end"),
        coords={"option": cut["option"].values, "end": [*names]},
    )  # fmt: skip


def _as_level(of: Criterion, hours: float, rating: Any) -> Any:
    """A rating, or the limit, as a level of the weighted bands [dB]."""
    at = 60.0
    there = float(np.asarray(of.of.value(xr.DataArray(at), hours)))
    if of.of.scale.ratio:
        return at + 20 * np.log10(np.asarray(rating) / there)[()]
    return at + rating - there


def _ends(
    study: StudyModel,
    result: xr.Dataset,
    rated: Rated,
    level: xr.DataArray,
    spreads: Sequence[Spread] | None,
    mechanics: xr.Dataset | None,
) -> tuple[xr.DataArray, xr.DataArray]:
    """Ends of the interval of each band; NaN where they cannot be told."""
    unknown = xr.full_like(level, np.nan)
    cases = int(result.attrs.get("cases_of_mechanics", 1))
    if ERRORS not in result.attrs or (mechanics is None and cases > 1):
        return unknown, unknown
    quantity = rated.criterion.of.quantity
    if spreads is None:
        spreads = level_spreads("rated_spectrum", study, result, None, mechanics)
    off: Any = xr.zeros_like(level).expand_dims(CASE)
    place = {"room": str(rated.change["room"].values[0]), "option": level["option"].values}
    if mechanics is not None:
        spreads = without_cases(spreads, mechanics, quantity)
        change = mechanics[CHANGES[quantity][0]].sel(place)
        off = _largest(change) - _largest(rated.change.isel(room=0, drop=True))
    variance: Any = xr.DataArray(
        rated.trains_spread[:, 0].astype(float) ** 2, coords={"option": level["option"].values}
    )
    for spread in spreads:
        size = spread.of(quantity)
        here = {d: v for d, v in place.items() if d in size.dims}
        variance = variance + size.sel(here).reset_coords(drop=True) ** 2
    of_band = np.sqrt(variance).broadcast_like(level).transpose(*level.dims).values
    moved = off.transpose(CASE, *level.dims).values
    asked = float(result.attrs["probability_asked"])
    low, high = (level + mixture_quantile(p, moved, of_band) for p in (1 - asked, asked))
    return low, high


def _largest(change: xr.DataArray) -> xr.DataArray:
    """Of a floor that may have one of several frequencies the largest, as of levels."""
    found = change.reset_coords(drop=True).drop_attrs(deep=False)
    others = [d for d in found.dims if d not in (CASE, "option", "frequency")]
    return found.max(others) if others else found


_STEPS = 60  # halvings: to the last digits of a double


def mixture_quantile(
    share: float, means: np.ndarray[Any, Any], deviation: np.ndarray[Any, Any]
) -> np.ndarray[Any, Any]:
    """Value below which a share of a mixture of normal variables lies.

    Parameters
    ----------
    share : float
        Above 0 and below 1.
    means : ndarray
        Of the variables, along the first axis; each weighs the same.
    deviation : ndarray
        Standard deviation of all of them.

    Examples
    --------
    >>> float(mixture_quantile(0.9, np.zeros((1, 1)), np.ones(1)).round(4)[0])  # a normal variable
    1.2816
    >>> far = np.array([[-50.0], [50.0]])  # two that do not meet: the median of the upper one
    >>> float(mixture_quantile(0.75, far, np.ones(1)).round(4)[0])
    50.0
    """
    from scipy.special import ndtr

    low, high = (end(axis=0) + sign * 9 * deviation for end, sign in
                 ((means.min, -1), (means.max, 1)))  # fmt: skip
    spread = np.maximum(deviation, 1e-12)
    for _ in range(_STEPS):
        middle = (low + high) / 2
        below = ndtr((middle - means) / spread).mean(axis=0) < share
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    found: np.ndarray[Any, Any] = (low + high) / 2
    return found
