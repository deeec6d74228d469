"""What a criterion is rated of when levels err: trains summed up into one spectrum by room."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import StudyError
from groundborne.levels import decibel, energy
from groundborne.rating import Criterion
from groundborne.source.statistics import percentile_error
from groundborne.study.period import Period
from groundborne.study.room_rating import rate_parts, worst
from groundborne.study.trains import Trains

_NEAR = 1.0  # dB around the statistic, of trains that make it
_CHECKED = 64  # samples in which every train is rated by itself
_FEWEST = 2


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
    """

    criterion: Criterion
    change: xr.DataArray
    trains: Trains
    hours: float
    source: xr.DataArray

    @classmethod
    def of(cls, result: xr.Dataset, criterion: Criterion, periods: Mapping[str, Period]) -> Rated:
        """Of a result."""
        change, trains, hours = rate_parts(result, criterion, periods)
        lead = ("option", "room")
        return cls(
            criterion=criterion, change=change.transpose(*lead, ..., "frequency"),
            trains=trains, hours=hours,
            source=result["source_level"].reset_coords(drop=True).drop_attrs(deep=False),
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

    @cached_property
    def _without_errors(self) -> xr.DataArray:
        return worst(self._value(self.level))

    def _value(self, level: xr.DataArray) -> xr.DataArray:
        of = self.criterion.of
        rating = of.rule.rating(level, xr.zeros_like(level["frequency"], dtype=np.float32))
        return of.value(rating, self.hours)

    @cached_property
    def _levels(self) -> list[xr.DataArray]:
        level = self.level.astype(np.float32)
        return [level.isel(option=at, drop=True) for at in range(level.sizes["option"])]

    def deviation(self, errors: xr.DataArray, at: int) -> np.ndarray[Any, Any]:
        """Rating with errors less that without: sample, room [dB, or NR]."""
        found = worst(self._value(self._levels[at] + errors))
        return self._off(found, self._without_errors.isel(option=at, drop=True))

    def _off(self, found: xr.DataArray, without: xr.DataArray) -> np.ndarray[Any, Any]:
        off = 2 * decibel(found / without) if self.criterion.of.scale.ratio else found - without
        values: np.ndarray[Any, Any] = off.transpose("sample", "room").values
        return values

    def exact_deviation(self, errors: xr.DataArray, at: int) -> np.ndarray[Any, Any]:
        """The same with every train rated by itself."""
        of, change = self.criterion.of, self.change.isel(option=at, drop=True)
        rating = of.rule.rating(change + errors, self.trains.level)
        without = of.value(self.trains.taken(self.each.isel(option=at, drop=True)), self.hours)
        found = of.value(self.trains.taken(rating), self.hours)
        return self._off(worst(found), worst(without))

    def summary_error(self, errors: Callable[[int], xr.DataArray]) -> float:
        """What summing up the trains costs, rms over options and rooms [dB, or NR].

        Parameters
        ----------
        errors : callable
            Errors of a block by the number of the option: sample, room, frequency [dB].
        """
        if "passby" not in self.trains.level.dims:
            return 0.0
        squares = []
        for at in range(self.change.sizes["option"]):
            own = errors(at).isel(sample=slice(0, _CHECKED))
            squares.append((self.deviation(own, at) - self.exact_deviation(own, at)) ** 2)
        return float(np.sqrt(np.mean(squares)))

    @cached_property
    def trains_spread(self) -> np.ndarray[Any, Any]:
        """Standard deviation of the rating by the number of trains recorded: option, room.

        Of levels that scatter normally [dB, or NR]: of a mean ``s/√n``, of an energy mean and of a
        sum the same to first order, of a percentile
        :func:`~groundborne.source.statistics.percentile_error`, of a maximum by Gumbel's
        distribution.
        """
        count = self.source.sizes["passby"]
        if count < _FEWEST:
            raise StudyError(
                f"criterion {self.criterion.label!r}: one passby tells nothing of how trains "
                "differ; give two at least"
            )
        name, factor = self.criterion.statistic, 1 / np.sqrt(count)
        if name == "percentile":
            factor = float(percentile_error(count, percentile=self.criterion.percentile or 50.0))
        elif name == "maximum":
            factor = np.pi / np.sqrt(12 * np.log(count))
        each = self.criterion.of.rule.rating(self.change, self.source)
        found = (factor * worst(each.std("passby", ddof=1))).transpose("option", "room")
        return np.asarray(found.values, np.float32)
