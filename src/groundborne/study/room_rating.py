"""Rating of every room and option on one criterion, and whether its bands carry it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import xarray as xr

from groundborne._checks import StudyError
from groundborne.levels import decibel, energy
from groundborne.rating import Criterion
from groundborne.rating.statistics import PERIOD_RMS
from groundborne.study.band_sufficiency import levels_below
from groundborne.study.period import Period
from groundborne.study.trains import Trains, trains_of

CHANGES = {
    "sound pressure": ("level_change", "change_below", "loss_limited", "base_excess"),
    "velocity": ("floor_change", "floor_change_below", "floor_loss_limited", "floor_base_excess"),
}
"""Where a result holds what leads to the quantity: level change, below the first band, bands that a
largest loss of measures decides, and base isolation beyond one stage."""

STATE = "state"
"""Dim of what differs between mounts as new and at the end of their life."""

BACKGROUND = "background_at_source"
"""What would have to be at the source for what is there without trains [dB re 1 nm/s]; a result may
hold it, and the rms over a period then contains it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class RoomRating:
    """Ratings on one criterion, dims option, room and those of the level change.

    Parameters
    ----------
    rating : DataArray
        In the unit of the criterion.
    may_add : DataArray
        By how much bands outside the spectrum may raise it [dB, or NR]; infinite for a lower bound.
    governing : DataArray
        Band, or octave, that contributes most [Hz].
    loss_limited : DataArray of bool
        Whether a largest loss of measures decides in that band.
    by_state : DataArray, optional
        Ratings of mounts as new and at the end of life, on ``state``, where they differ.
    why, approximation : str
        Why ratings are lower bounds where they are, and how they are approximated; may be empty.
    """

    rating: xr.DataArray
    may_add: xr.DataArray
    governing: xr.DataArray
    loss_limited: xr.DataArray
    why: str
    approximation: str
    by_state: xr.DataArray | None = None


def rate_rooms(
    result: xr.Dataset, criterion: Criterion, periods: Mapping[str, Period]
) -> RoomRating:
    """Rate a result on one criterion.

    Parameters
    ----------
    result : Dataset
        From :func:`~groundborne.study.evaluate`, with ``floor_change`` for vibration and, where
        largest losses are told, ``loss_limited``.
    criterion : Criterion
        Its period is among `periods`.
    periods : mapping of str to Period
        By name.

    Raises
    ------
    StudyError, RatingError, BandError
        The levels or passbys do not carry the criterion.

    Notes
    -----
    Every passby is rated by itself and the statistic is taken of that; an energy mean is rated as
    one spectrum. Of several possible floor frequencies, and of the states of mounts, the worst
    counts, each rated for itself; never an envelope of spectra.
    """
    of = criterion.of
    change, trains, rating = _rated(result, criterion, periods)
    _, below, limited, _ = CHANGES[of.quantity]
    found = of.rule.judge(
        change,
        trains.level,
        over=trains.over,
        below=levels_below(result.get(below), trains.level, of.rule.lowest),
    )
    decided = _limited(result.get(limited), criterion, found.governing)
    parts = [a.reset_coords(drop=True) for a in (found.may_add, found.governing, decided)]
    by_state = None
    for dim in _WORST:
        if dim not in rating.dims:
            continue
        if dim == STATE:
            by_state = rating.drop_attrs(deep=False)
        largest = rating.argmax(dim)
        parts = [_at(a, dim, largest) for a in parts]
        rating = rating.max(dim)
    made = str(result["source_level"].attrs.get("time_weighting", ""))
    said = (trains.approximation, of.approximation(made, change["frequency"]))
    return RoomRating(
        rating=worst(rating),
        may_add=parts[0],
        governing=parts[1],
        loss_limited=parts[2],
        why=found.why,
        approximation="; ".join(filter(None, said)),
        by_state=by_state,
    )


def rating_alone(
    result: xr.Dataset, criterion: Criterion, periods: Mapping[str, Period]
) -> xr.DataArray:
    """The rating of :func:`rate_rooms` by itself."""
    return worst(_rated(result, criterion, periods)[2])


def _rated(
    result: xr.Dataset, criterion: Criterion, periods: Mapping[str, Period]
) -> tuple[xr.DataArray, Trains, xr.DataArray]:
    """Level change of the path [dB], trains as the criterion takes them, and the rating."""
    of = criterion.of
    change, trains, hours = rate_parts(result, criterion, periods)
    rating = of.value(trains.taken(of.rule.rating(change, trains.level)), hours)
    return change, trains, rating.reset_coords(drop=True)


def rate_parts(
    result: xr.Dataset, criterion: Criterion, periods: Mapping[str, Period]
) -> tuple[xr.DataArray, Trains, float]:
    """What a rating is of: level change of the path [dB], trains as taken, hours of the period.

    Parameters
    ----------
    result, criterion, periods
        As for :func:`rate_rooms`.
    """
    of = criterion.of
    name = CHANGES[of.quantity][0]
    if name not in result:
        raise StudyError(
            f"criterion {criterion.label!r}: nothing says how the floors move at mid-span; give "
            "[structure] with floors that follow the 'column line', or the table [path.mid_span]"
        )
    change = result[name].reset_coords(drop=True)
    if "stage" in change.dims:
        change = change.sum("stage", skipna=False)
    of.rule.require(change["frequency"], f"criterion {criterion.label!r}")
    weight, hours = None, 0.0
    if criterion.period is not None:
        period = periods[criterion.period]
        weight, hours = period.weight(result["source_level"]), period.hours
    trains = trains_of(result["source_level"], criterion, weight, hours)
    if criterion.statistic == PERIOD_RMS and BACKGROUND in result:
        both = energy(trains.level) + energy(result[BACKGROUND].reset_coords(drop=True))
        trains = replace(trains, level=decibel(both))
    return change, trains, hours


_WORST = ("floor_frequency", STATE)
"""Dims along which the worst counts, in the order in which it is taken."""


def worst(rating: xr.DataArray) -> xr.DataArray:
    """The largest along dims of which the worst counts."""
    return rating.drop_attrs(deep=False).max([d for d in _WORST if d in rating.dims])


def _at(array: xr.DataArray, dim: str, largest: xr.DataArray) -> xr.DataArray:
    if dim not in array.dims:
        return array
    return array.isel({dim: largest}).drop_vars(dim, errors="ignore")


def _limited(
    limited: xr.DataArray | None, criterion: Criterion, governing: xr.DataArray
) -> xr.DataArray:
    """Whether largest losses stand in at least half of the thirds of the governing band."""
    if limited is None:
        return xr.zeros_like(governing, dtype=bool)
    limited = limited.reset_coords(drop=True)
    band = criterion.of.rule.band_of(limited["frequency"]).drop_attrs(deep=False)
    here = band == governing.reset_coords(drop=True)
    decided: xr.DataArray = 2 * (limited & here).sum("frequency") >= here.sum("frequency")
    return decided & limited.any("frequency")
