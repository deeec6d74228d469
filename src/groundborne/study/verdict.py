"""Ratings of a result against the criteria of its rooms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne import levels
from groundborne._arguments import checked
from groundborne._checks import StudyError, known, not_negative, positive
from groundborne.rating import (
    FAST,
    SLOW,
    Criterion,
    exposure_level,
    noise_rating,
    period_level,
    statistic,
)
from groundborne.study.vibration import vibration_rating


@checked
@dataclass(frozen=True, kw_only=True)
class Period:
    """A part of the day and the trains it holds.

    Parameters
    ----------
    name : str
        For example ``night``.
    hours : float
        Length [h], above 0 and at most 24.
    trains : mapping of str to float
        Number of trains by type, 0 or more; ``all`` where the types are not told apart.
    """

    name: str
    hours: float
    trains: Mapping[str, float]

    def __post_init__(self) -> None:
        where = f"period {self.name!r}"
        positive(where, "hours", self.hours, "h")
        if self.hours > 24:
            raise StudyError(f"{where}: hours is {self.hours:g}; a period is at most 24 h")
        for kind, count in self.trains.items():
            not_negative(where, f"trains of type {kind!r}", count, "trains")
        if not any(self.trains.values()):
            raise StudyError(f"{where}: it holds no train; give the number of trains by type")

    def weight(self, passbys: xr.DataArray) -> xr.DataArray:
        """How many trains of the period each measured passby stands for, on ``passby``.

        Parameters
        ----------
        passbys : DataArray
            Levels with the coordinate ``train_type``, or none if the types are not told apart.

        Raises
        ------
        StudyError
            A type in the timetable that was not measured, or the reverse.
        """
        if "train_type" in passbys.coords:
            kinds = passbys["train_type"].values.astype(str)
        else:
            kinds = np.full(passbys.sizes["passby"], "all")
        measured, index, count = np.unique(kinds, return_inverse=True, return_counts=True)
        where = f"period {self.name!r}"
        for kind in self.trains:
            known(where, "train type", kind, measured.tolist(), StudyError)
        for kind in measured.tolist():
            if kind not in self.trains:
                raise StudyError(
                    f"{where}: {kind!r} was measured and is not in the timetable; give its number, "
                    "0 if it does not run"
                )
        each = np.array([self.trains[k] for k in measured.tolist()]) / count
        return xr.DataArray(each[index], coords={"passby": passbys["passby"].values})


@checked
def rate(
    result: xr.Dataset,
    *,
    room_criteria: Mapping[str, Sequence[Criterion]],
    periods: Mapping[str, Period],
) -> xr.Dataset:
    """Rating, limit and margin of every room and option on every criterion's own statistic.

    Parameters
    ----------
    result : Dataset
        From :func:`~groundborne.study.evaluate`, with the dim ``room``.
    room_criteria : mapping of str to sequence of Criterion
        For every room.
    periods : mapping of str to Period
        By name.

    Returns
    -------
    xarray.Dataset
        ``rating`` and ``margin`` (option, room, ..., criterion), ``limit`` (room, criterion;
        infinite where a room has no such criterion), ``applies`` (room, criterion) and ``bound``
        (criterion): why a rating is a lower bound, in words, empty where it is none;
        ``approximation`` likewise: what stands between band levels and the rating.

    Raises
    ------
    StudyError
        A room has two criteria of one name, or a criterion names an unknown period.
    RatingError
        The levels do not carry the statistic, or are on another time weighting.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> bare = study.with_options([gb.Option(name="as built")])
    >>> result = gb.evaluate(bare.paths(), bare.source)
    >>> quiet = gb.Criterion(metric="LASmax", limit=40.0, statistic="maximum",
    ...                      time_weighting="S max")
    >>> rated = rate(result, room_criteria={r: (quiet,) for r in study.rooms}, periods={})
    >>> bool((rated["margin"] < 0).all())
    True
    """
    kinds: dict[str, Criterion] = {}
    for room, criteria in room_criteria.items():
        labels = [c.label for c in criteria]
        for name in labels:
            if labels.count(name) > 1:
                raise StudyError(f"room {room!r}: the criterion {name!r} is given twice")
        for criterion in criteria:
            if criterion.period is not None:
                known(
                    f"criterion {criterion.label!r}",
                    "period",
                    criterion.period,
                    periods,
                    StudyError,
                )
            criterion.require(result["sound_level"].attrs.get("time_weighting", ""))
            kinds.setdefault(criterion.label, criterion)
    if not kinds:
        raise StudyError("study: no room has a criterion; at least one is needed")
    rooms = result["room"].values.tolist()
    limit = np.full((len(rooms), len(kinds)), np.inf)
    names = list(kinds)
    for i, room in enumerate(rooms):
        if room not in room_criteria:
            raise StudyError(f"rate: room_criteria holds no entry for the room {room!r}")
        for criterion in room_criteria[room]:
            limit[i, names.index(criterion.label)] = criterion.limit
    coords = {"room": rooms, "criterion": names}
    limits = xr.DataArray(limit, dims=("room", "criterion"), coords=coords)
    limits.attrs = {"long_name": "limit; infinite where the room has no such criterion"}
    rated = {name: _rating(result, c, periods) for name, c in kinds.items()}
    bound = _said(rated, ("lower_bound", "bound"))
    bound.attrs = {"long_name": "why the rating is a lower bound; empty where it is none"}
    approximation = _said(rated, ("approximation",))
    approximation.attrs = {"long_name": "how the rating is approximated from band levels"}
    rated = {name: _worst(r.drop_attrs(deep=False)) for name, r in rated.items()}
    rating = _together(rated)
    rating.attrs = {"long_name": "rating on the criterion's own statistic"}
    margin = _together(
        {
            name: kinds[name].of.margin(value, limits.sel(criterion=name, drop=True))
            for name, value in rated.items()
        }
    )
    margin.attrs = {
        "long_name": "margin, positive when met: limit minus rating, of vibration in dB"
    }
    applies = xr.DataArray(np.isfinite(limit), dims=("room", "criterion"), coords=coords)
    data = {
        "rating": rating, "limit": limits, "margin": margin, "applies": applies, "bound": bound,
        "approximation": approximation,
    }  # fmt: skip
    return xr.Dataset(data).transpose("option", "room", ..., "criterion", missing_dims="ignore")


def _said(rated: Mapping[str, xr.DataArray], keys: Sequence[str]) -> xr.DataArray:
    """The first of some attributes that each rating has."""
    texts = [next((str(r.attrs[k]) for k in keys if r.attrs.get(k)), "") for r in rated.values()]
    return xr.DataArray(texts, coords={"criterion": list(rated)})


def _worst(rating: xr.DataArray) -> xr.DataArray:
    """The worst of several possible floor frequencies, each rated for itself.

    Never an envelope of spectra.
    """
    return (
        rating.max("floor_frequency", skipna=False) if "floor_frequency" in rating.dims else rating
    )


def _together(parts: Mapping[str, xr.DataArray]) -> xr.DataArray:
    each = dict(zip(parts, xr.broadcast(*parts.values()), strict=True))
    joined: xr.DataArray = xr.concat(
        [a.drop_attrs(deep=False).expand_dims(criterion=[n]) for n, a in each.items()],
        dim="criterion",
        join="exact",
        coords="minimal",
        compat="override",
    )
    return joined


def _rating(
    result: xr.Dataset, criterion: Criterion, periods: Mapping[str, Period]
) -> xr.DataArray:
    source, sound = result["source_level"], result["sound_level"]
    weight = None if criterion.period is None else periods[criterion.period].weight(source)
    if criterion.of.vibration:
        return vibration_rating(result, criterion, weight).reset_coords(drop=True)
    if criterion.metric == "NR":
        # A level change shifts every passby alike, so each band's statistic shifts with it.
        spectrum = statistic(
            source, criterion.statistic, percentile=criterion.percentile, weight=weight
        )
        rating = noise_rating(room_spectrum(result, spectrum))
    elif criterion.metric == "LAeq":
        assert criterion.period is not None  # Criterion refuses others
        assert weight is not None
        exposure = _exposure(sound, criterion)
        rating = period_level(exposure, count=weight, hours=periods[criterion.period].hours)
    else:
        rating = statistic(
            sound, criterion.statistic, percentile=criterion.percentile, weight=weight
        )
    return rating.reset_coords(drop=True)


def room_spectrum(result: xr.Dataset, source: xr.DataArray) -> xr.DataArray:
    """Band level in the rooms for a spectrum at the source [dB re 20 µPa]."""
    level = result["level_change"].sum("stage", skipna=False) + source.drop_attrs(deep=False)
    return levels.stamp(
        level.reset_coords(drop=True),
        quantity="sound pressure",
        reference="20 µPa",
        long_name="band level in the room",
        time_weighting=source.attrs.get("time_weighting", ""),
    )


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
