"""What a criterion is rated of when levels err: trains summed up into one spectrum by room."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import StudyError
from groundborne.levels import decibel, energy
from groundborne.rating import Criterion
from groundborne.rating.band_sums import SummedBands
from groundborne.rating.statistics import PERIOD_RMS
from groundborne.study.period import Period
from groundborne.study.room_rating import rate_parts, worst
from groundborne.study.train_spread import spread_by_trains
from groundborne.study.trains import Trains

CASE = "case"
"""Dim of cases of the mechanics of a study."""

_NEAR = 1.0  # dB around the statistic, of trains that make it


@dataclass(frozen=True, kw_only=True, eq=False)
class RatedSums:
    """What one criterion is rated of, as sums of bands over the rating without errors.

    Parameters
    ----------
    weights : ndarray
        Room, case, frequency, option, sum.
    slopes : ndarray
        Of each sum.
    """

    weights: np.ndarray[Any, Any]
    slopes: np.ndarray[Any, Any]

    def deviation(
        self, power: np.ndarray[Any, Any], rooms: slice, options: Sequence[int]
    ) -> np.ndarray[Any, Any]:
        """Rating with errors less that without: option, room, sample [dB, or NR].

        Parameters
        ----------
        power : ndarray
            Of the errors in the rooms, ``10^(e/10)``: room or 1, sample, frequency.
        rooms : slice
            Their numbers.
        options : sequence of int
            Numbers of those that have these errors.
        """
        weights = self.weights[rooms][..., options, :]
        count, cases, bands, number, sums = weights.shape
        pieces = max(_PIECES // cases, 1)
        total = power.reshape(len(power), cases, pieces, -1, bands) @ weights.reshape(
            count, cases, 1, bands, -1
        )
        total = total.reshape(count, -1, number, sums)
        if sums > 1 and (self.slopes == self.slopes[0]).all():
            total = total.max(axis=-1, keepdims=True)
        off = _DECIBEL * np.log(total) / self.slopes[: total.shape[-1]]
        largest = off.max(axis=-1) if off.shape[-1] > 1 else off[..., 0]
        return np.moveaxis(largest, -1, 0)


_PIECES = 4  # of a block: products of more samples at once would start threads of their own
_DECIBEL = np.float32(10 / np.log(10))


@dataclass(frozen=True, kw_only=True, eq=False)
class Rated:
    """What one criterion is rated of, trains summed up.

    Parameters
    ----------
    criterion : Criterion
        Which.
    change : DataArray
        Level change of the path [dB].
    trains : Trains
        As the criterion takes them.
    hours : float
        Of its period.
    source : DataArray
        Levels of every passby [dB re 1 nm/s].
    counts : ndarray
        What each passby counts for.
    kinds : ndarray
        Its type.
    as_it_is : Rated, optional
        Of the study as it is, where the level changes are those of cases of its mechanics.
    """

    criterion: Criterion
    change: xr.DataArray
    trains: Trains
    hours: float
    source: xr.DataArray
    counts: np.ndarray[Any, Any]
    kinds: np.ndarray[Any, Any]
    as_it_is: Rated | None = None

    @classmethod
    def of(cls, result: xr.Dataset, criterion: Criterion, periods: Mapping[str, Period]) -> Rated:
        """Of a result."""
        change, trains, hours = rate_parts(result, criterion, periods)
        counts, kinds = _counted(result["source_level"], criterion, periods)
        lead = ("option", "room")
        return cls(
            criterion=criterion, change=change.transpose(*lead, ..., "frequency"),
            trains=trains, hours=hours,
            source=result["source_level"].reset_coords(drop=True).drop_attrs(deep=False),
            counts=counts, kinds=kinds,
        )  # fmt: skip

    @cached_property
    def each(self) -> xr.DataArray:
        """Ratings of every train by itself [dB], dims option, room, ..., passby."""
        return self.criterion.of.rule.rating(self.change, self.trains.level)

    @cached_property
    def level(self) -> xr.DataArray:
        """Levels in each room by the trains that make its rating, as one spectrum [dB]."""
        if "passby" not in self.trains.level.dims:
            return self.change + self.trains.level
        each, taken = self.each, self.trains.taken(self.each)
        of = self.criterion.of
        if of.adds is not None:
            # A sum of powers: its slope by each train.
            apart = (of.adds - 1) * (each - each.max("passby"))
            weight = energy(apart) * self._share
        else:
            weight = xr.DataArray(np.exp(-(((each - taken) / _NEAR) ** 2)) + 1e-12)
        summed = xr.dot(energy(self.trains.level), weight, dim="passby")
        level = self.change + decibel(summed)
        # Brought to the rating of all trains, from which errors then move it.
        rated = of.rule.rating(level, xr.zeros_like(level["frequency"], dtype=float))
        return level + (taken - rated)

    @property
    def _share(self) -> xr.DataArray:
        """What each train has of the sum over a period."""
        over: Any = self.trains.over
        share: xr.DataArray = over.keywords["share"]
        return share

    @property
    def nominal(self) -> xr.DataArray:
        """:attr:`level` of the study as it is."""
        return self.level if self.as_it_is is None else self.as_it_is.level

    @cached_property
    def _without_errors(self) -> xr.DataArray:
        return worst(self._value(self.nominal))

    def _value(self, level: xr.DataArray) -> xr.DataArray:
        of = self.criterion.of
        rating = of.rule.rating(level, xr.zeros_like(level["frequency"], dtype=np.float32))
        return of.value(rating, self.hours)

    @cached_property
    def _levels(self) -> list[xr.DataArray]:
        level = self.level.astype(np.float32)
        return [level.isel(option=at, drop=True) for at in range(level.sizes["option"])]

    def deviation(self, errors: xr.DataArray, at: int, cases: int = 1) -> np.ndarray[Any, Any]:
        """Rating with errors less that without: room, sample [dB, or NR].

        Parameters
        ----------
        errors : DataArray
            Of levels [dB]: room, sample, frequency.
        at : int
            Number of the option.
        cases : int
            Of the mechanics, each of a run of samples.
        """
        level = self._levels[at]
        if CASE in level.dims:
            level = level.isel({CASE: np.repeat(np.arange(cases), errors.sizes["sample"] // cases)})
            level = level.rename({CASE: "sample"})
        found = worst(self._value(level + errors))
        return self._off(found, self._without_errors.isel(option=at, drop=True))

    def as_sums(self) -> RatedSums | None:
        """The same as sums of bands; none where the rule or the unit of the metric cannot."""
        of = self.criterion.of
        if not isinstance(of.rule, SummedBands) or not self._plain:
            return None
        sums = of.rule.sums(self.level["frequency"])
        without = self._without_rating
        level = self.level.transpose("option", "room", ..., "frequency")
        if CASE not in level.dims:
            level = level.expand_dims(CASE)
        rest = [d for d in level.dims if d not in ("option", "room", CASE, "frequency")]
        level = level.transpose("room", CASE, "frequency", "option", *rest)
        values = level.values.reshape(*level.shape[:4], -1)
        start = without.transpose("room", "option").values[:, None, None, :, None, None]
        if not np.isfinite(start).all():
            return None
        each = values[..., None] - start * sums.slopes
        power = 10 ** (each / 10) * sums.weights[:, None, None, :]
        slopes = np.broadcast_to(sums.slopes, each.shape[-2:]).ravel()
        return RatedSums(
            weights=power.reshape(*power.shape[:4], -1).astype(np.float32),
            slopes=slopes.astype(np.float32),
        )

    @property
    def _plain(self) -> bool:
        """Whether the unit follows a level in dB one for one."""
        of = self.criterion.of
        level = xr.DataArray([-20.0, 0.0, 31.7, 80.0], dims="level")
        value = of.value(level, self.hours)
        if of.scale.ratio:
            value = 2 * decibel(value)
        steps = (value - value.isel(level=1)).values
        return bool(np.allclose(steps, level.values, atol=1e-9))

    @property
    def _without_rating(self) -> xr.DataArray:
        """Rating by the rule, without errors and of the study as it is [dB, or NR]."""
        level = self.nominal
        rating = self.criterion.of.rule.rating(level, xr.zeros_like(level["frequency"], float))
        return worst(rating)

    def _off(self, found: xr.DataArray, without: xr.DataArray) -> np.ndarray[Any, Any]:
        off = 2 * decibel(found / without) if self.criterion.of.scale.ratio else found - without
        values: np.ndarray[Any, Any] = off.transpose("room", "sample").values
        return values

    def exact_deviation(self, errors: xr.DataArray, at: int) -> np.ndarray[Any, Any]:
        """The same with every train rated by itself."""
        of, change = self.criterion.of, self.change.isel(option=at, drop=True)
        rating = of.rule.rating(change + errors, self.trains.level)
        without = of.value(self.trains.taken(self.each.isel(option=at, drop=True)), self.hours)
        found = of.value(self.trains.taken(rating), self.hours)
        return self._off(worst(found), worst(without))

    def summary_error(self, errors: Callable[[Sequence[int]], xr.DataArray]) -> float:
        """What summing up the trains costs, rms over options and rooms [dB, or NR].

        Parameters
        ----------
        errors : callable
            Errors of a few samples, of options by number that err alike: room, sample, frequency
            [dB].
        """
        if "passby" not in self.trains.level.dims:
            return 0.0
        squares = []
        for at in range(self.change.sizes["option"]):
            own = errors([at])
            squares.append((self.deviation(own, at) - self.exact_deviation(own, at)) ** 2)
        return float(np.sqrt(np.mean(squares)))

    @property
    def trains_spread(self) -> np.ndarray[Any, Any]:
        """Standard deviation of the rating by which trains were recorded: option, room.

        Trains like them are drawn of each type, as the timetable counts them [dB, or NR].
        """
        of = self.criterion.of
        each = worst(of.rule.rating(self.change, self.source)).transpose("option", "room", "passby")
        try:
            found = spread_by_trains(
                each.values.reshape(-1, each.sizes["passby"]), self.counts, self.kinds,
                statistic=self.criterion.statistic, power=of.adds or 1.0,
                percentile=self.criterion.percentile or 50.0,
            )  # fmt: skip
        except StudyError as error:
            raise StudyError(f"criterion {self.criterion.label!r}: {error}") from None
        values: np.ndarray[Any, Any] = found.reshape(each.shape[:2]).astype(np.float32)
        return values


def _counted(
    source: xr.DataArray, criterion: Criterion, periods: Mapping[str, Period]
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """What each passby counts for, and its type; all of one where no timetable counts them."""
    count = source.sizes["passby"]
    if criterion.period is None:
        return np.ones(count), np.full(count, "all")
    weight = periods[criterion.period].weight(source).values
    if criterion.of.adds is not None or criterion.statistic == PERIOD_RMS:
        weight = weight * source["duration_s"].values
    told = "train_type" in source.coords
    return weight, source["train_type"].values.astype(str) if told else np.full(count, "all")
