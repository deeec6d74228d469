"""Rating of every room and option on one criterion, and whether its bands carry it."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne._checks import StudyError, positive
from groundborne.citation import ValidityWarning
from groundborne.rating import (
    FAST,
    SLOW,
    Criterion,
    exposure_level,
    period_level,
    statistic,
)
from groundborne.rating.noise import octave_ratings
from groundborne.study.band_sufficiency import passby_octaves, sufficiency
from groundborne.study.period import Period
from groundborne.study.trains import trains_of
from groundborne.study.vibration import vibration_rating

_FROM_MAXIMA = (
    "from {}, not from measured energy: each passby is taken as constant over the duration given; "
    "one that rises and falls within it, or whose bands do not peak together, has less"
)


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
    why, approximation : str
        Why ratings are lower bounds where they are, and how they are approximated; may be empty.
    """

    rating: xr.DataArray
    may_add: xr.DataArray
    governing: xr.DataArray
    loss_limited: xr.DataArray
    why: str
    approximation: str


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
    one spectrum. Of several possible floor frequencies the worst
    counts, each rated for itself; never an envelope of spectra.
    """
    rating, weight = _rating(result, criterion, periods)
    found = sufficiency(result, criterion, weight)
    limited = _limited(result, criterion, found.governing)
    parts = [a.reset_coords(drop=True) for a in (found.may_add, found.governing, limited)]
    if "floor_frequency" in rating.dims:
        worst = rating.argmax("floor_frequency")
        parts = [_at(a, worst) for a in parts]
    return RoomRating(
        rating=_worst(rating),
        may_add=parts[0],
        governing=parts[1],
        loss_limited=parts[2],
        why=found.why,
        approximation=str(rating.attrs.get("approximation", "")),
    )


def rating_alone(
    result: xr.Dataset, criterion: Criterion, periods: Mapping[str, Period]
) -> xr.DataArray:
    """The rating of :func:`rate_rooms` by itself."""
    return _worst(_rating(result, criterion, periods)[0])


def _worst(rating: xr.DataArray) -> xr.DataArray:
    bare = rating.drop_attrs(deep=False)
    return bare.max("floor_frequency") if "floor_frequency" in bare.dims else bare


def _at(array: xr.DataArray, worst: xr.DataArray) -> xr.DataArray:
    if "floor_frequency" not in array.dims:
        return array
    return array.isel(floor_frequency=worst).drop_vars("floor_frequency", errors="ignore")


def _limited(result: xr.Dataset, criterion: Criterion, governing: xr.DataArray) -> xr.DataArray:
    """Whether largest losses stand in at least half of the thirds of the governing band."""
    name = "floor_loss_limited" if criterion.of.vibration else "loss_limited"
    if name not in result:
        return xr.zeros_like(governing, dtype=bool)
    limited = result[name].reset_coords(drop=True)
    band = limited["frequency"]
    if criterion.metric == "NR":
        band = band.copy(data=bands.octave(band.values))
    here = band.drop_attrs(deep=False) == governing.reset_coords(drop=True)
    decided: xr.DataArray = 2 * (limited & here).sum("frequency") >= here.sum("frequency")
    return decided & limited.any("frequency")


def _rating(
    result: xr.Dataset, criterion: Criterion, periods: Mapping[str, Period]
) -> tuple[xr.DataArray, xr.DataArray | None]:
    """Rating, and the trains that each passby stands for."""
    weight = None
    if criterion.period is not None:
        weight = periods[criterion.period].weight(result["source_level"])
    with warnings.catch_warnings():
        # Missing bands are judged by themselves and become a mark beside the number.
        warnings.simplefilter("ignore", ValidityWarning)
        rating = _of_metric(result, criterion, periods, weight)
    return rating.reset_coords(drop=True), weight


def _of_metric(
    result: xr.Dataset,
    criterion: Criterion,
    periods: Mapping[str, Period],
    weight: xr.DataArray | None,
) -> xr.DataArray:
    source, sound = result["source_level"], result["sound_level"]
    if criterion.of.vibration:
        return vibration_rating(result, criterion, weight)
    if criterion.metric == "NR":
        trains = trains_of(source, criterion, weight)
        change = result["level_change"].sum("stage", skipna=False).reset_coords(drop=True)
        rating = trains.taken(octave_ratings(passby_octaves(change, trains.level)).max("frequency"))
    elif criterion.metric == "LAeq":
        assert criterion.period is not None  # Criterion refuses others
        assert weight is not None
        exposure = _exposure(sound, criterion)
        rating = period_level(exposure, count=weight, hours=periods[criterion.period].hours)
        if criterion.time_weighting != "leq":
            rating.attrs["approximation"] = _FROM_MAXIMA.format(criterion.time_weighting)
    else:
        rating = statistic(
            sound, criterion.statistic, percentile=criterion.percentile, weight=weight
        )
    return rating


def _exposure(sound: xr.DataArray, criterion: Criterion) -> xr.DataArray:
    if "duration_s" not in sound.coords:
        raise StudyError(
            f"criterion {criterion.label!r}: LAeq needs the duration of every passby; add the "
            "column 'duration_s' to the passbys"
        )
    duration = sound["duration_s"].reset_coords(drop=True)
    positive(f"criterion {criterion.label!r}", "duration_s", duration, "s")
    if criterion.time_weighting == "leq":
        exposure = sound + 10 * np.log10(duration)
        return levels.stamp(
            exposure,
            quantity="sound pressure",
            reference="20 µPa",
            long_name="sound exposure level",
        )
    constant = SLOW if criterion.time_weighting == "S max" else FAST
    return exposure_level(sound, duration=duration, time_constant=constant)
