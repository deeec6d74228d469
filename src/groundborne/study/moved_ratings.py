"""Ratings of a result that errors move: their slopes by band, and samples of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import xarray as xr

from groundborne.levels import decibel
from groundborne.study.cases import level_spreads
from groundborne.study.key_spreads import with_keys
from groundborne.study.model import StudyModel
from groundborne.study.rated_samples import Rated
from groundborne.study.room_rating import worst
from groundborne.uncertainty import Draws, Spread, budget

TRAINS_NUMBER = "number of trains"
"""Source of error of ratings beside the spreads of levels: only so many trains were recorded."""

LEAD = ("option", "room", "criterion")
_STEP = 1e-3  # dB; the third derivative of a sum of bands leaves 1e-8 of a slope


@dataclass(frozen=True, kw_only=True, eq=False)
class MovedRatings:
    """Ratings of a result that errors move, and their slopes, without the number of trains."""

    study: StudyModel
    result: xr.Dataset
    spreads: tuple[Spread, ...]
    seed: int

    @cached_property
    def rated(self) -> dict[str, Rated]:
        """What each criterion is rated of."""
        named = {c.label: c for cs in self.study.room_criteria.values() for c in cs}
        return {
            str(n): Rated.of(self.result, named[str(n)], self.study.periods)
            for n in self.result["criterion"].values
        }

    @cached_property
    def draws(self) -> Draws:
        """Not of low discrepancy: twice the samples are needed that owe nothing to each other."""
        return Draws(
            spreads=self.spreads, frequency=self.result["frequency"], rooms=self.result,
            seed=self.seed, method="random",
        )  # fmt: skip

    @cached_property
    def trains_spread(self) -> xr.DataArray:
        """By the number of trains: option, room, criterion [dB, or NR]."""
        rows = np.stack([r.trains_spread for r in self.rated.values()], axis=-1).astype(float)
        return xr.DataArray(rows, dims=LEAD, coords={d: self.result[d].values for d in LEAD})

    @cached_property
    def slopes(self) -> xr.DataArray:
        """Of ratings by the level of each band [-]: option, room, criterion, frequency."""
        rows = []
        for rated in self.rated.values():
            level = rated.level
            labels = level["frequency"].values
            step = xr.DataArray(
                _STEP * np.eye(labels.size), dims=("band", "frequency"),
                coords={"frequency": labels},
            )  # fmt: skip
            up, down = (rating_number(rated, level + sign * step) for sign in (1.0, -1.0))
            slope = ((up - down) / (2 * _STEP)).rename(band="frequency")
            rows.append(slope.assign_coords(frequency=labels).reset_coords(drop=True))
        joined = xr.concat(rows, dim=xr.Variable("criterion", list(self.rated)), join="exact")
        return joined.transpose(*LEAD, "frequency")

    def deviations(self, drawn: Mapping[str, xr.DataArray]) -> xr.DataArray:
        """Ratings with errors less those without: sample, option, room, criterion [dB, or NR].

        Option by option, since the bands of all of them in all samples are a large array.
        """
        options = self.result["option"].values
        rows = [self._of_option(drawn, at) for at in range(options.size)]
        joined = xr.concat(rows, dim=xr.Variable("option", options), join="exact")
        return joined.transpose("sample", *LEAD)

    def _of_option(self, drawn: Mapping[str, xr.DataArray], at: int) -> xr.DataArray:
        errors: dict[str, xr.DataArray] = {}
        columns = []
        for rated in self.rated.values():
            quantity = rated.criterion.of.quantity
            if quantity not in errors:
                errors[quantity] = self._errors(drawn, quantity, at)
            level = rated.level.isel(option=at, drop=True)
            moved = rating_number(rated, level + errors[quantity]) - rating_number(rated, level)
            columns.append(moved.reset_coords(drop=True))
        along = xr.Variable("criterion", list(self.rated))
        return xr.concat(columns, dim=along, join="exact")

    def _errors(self, drawn: Mapping[str, xr.DataArray], quantity: str, at: int) -> xr.DataArray:
        rooms = self.result["room"].reset_coords(drop=True)
        total: xr.DataArray = xr.zeros_like(rooms, dtype=float).drop_attrs(deep=False)
        option = self.result["option"].values[at]
        for spread in self.spreads:
            size = spread.of(quantity)
            if "option" in size.dims:
                size = size.sel(option=option, drop=True)
            total = total + size * drawn[spread.name]
        return total


def given_spreads(
    where: str,
    study: StudyModel,
    result: xr.Dataset,
    spreads: Sequence[Spread] | None,
    mechanics: xr.Dataset | None,
) -> tuple[tuple[Spread, ...], tuple[Spread, ...]]:
    """Errors of levels, given or of the study; and all sources, with its keys and models."""
    levels = level_spreads(where, study, result, spreads, mechanics)
    if mechanics is None:
        return levels, levels
    return levels, with_keys(where, levels, mechanics, reduced=spreads is None)


def rating_number(rated: Rated, level: xr.DataArray) -> xr.DataArray:
    """Rating of levels in rooms, of amplitudes as a level, so that margins move as it does."""
    of = rated.criterion.of
    nought = xr.zeros_like(level["frequency"], dtype=level.dtype).drop_attrs(deep=False)
    value = worst(of.value(of.rule.rating(level, nought), rated.hours))
    return 2 * decibel(value) if of.scale.ratio else value


def first_order(of: MovedRatings, spreads: Sequence[Spread], slopes: xr.DataArray) -> xr.Dataset:
    """Budget by source, the number of trains last, and their sum."""
    columns = []
    for label, rated in of.rated.items():
        slope = slopes.sel(criterion=label, drop=True)
        columns.append(budget(spreads, share=slope, quantity=rated.criterion.of.quantity))
    by_source = xr.concat(
        columns, dim=xr.Variable("criterion", list(of.rated)), join="exact", coords="minimal"
    )
    trains = of.trains_spread.expand_dims(source_of_error=[TRAINS_NUMBER])
    both = xr.concat([by_source, trains], dim="source_of_error", join="exact")
    both = both.transpose("source_of_error", *LEAD)
    both.attrs = {"long_name": "standard deviation by source of error, first order"}
    return xr.Dataset({"budget": both, "first_order": np.sqrt((both**2).sum("source_of_error"))})
