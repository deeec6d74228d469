"""Ratings of the vibration of floors from predicted band levels."""

from __future__ import annotations

from typing import Any

import xarray as xr

from groundborne import levels
from groundborne._checks import BandError, RatingError, StudyError
from groundborne.rating import Criterion, statistic
from groundborne.rating.vibration_bands import dose_of_bands, kb_of_bands
from groundborne.rating.vibration_curves import over_curve, require_curve_bands
from groundborne.study.trains import trains_of

DOSE_CURVE = "Wb"
"""Vertical vibration of floors, BS 6472-1:2008."""

KB_RANGE = "1-80 Hz"
"""Working range of KB_F on floors, DIN 45669-1:2010."""


def vibration_rating(
    result: xr.Dataset, criterion: Criterion, weight: xr.DataArray | None
) -> xr.DataArray:
    """Rating of the floors at mid-span in the unit of the criterion.

    Parameters
    ----------
    result : Dataset
        With ``floor_change`` and ``source_level``.
    criterion : Criterion
        On ``VDV``, ``KB_Fmax`` or ``VC``.
    weight : DataArray or None
        Trains that each passby stands for.

    Returns
    -------
    xarray.DataArray
        Dims option, room and those of the change. Its attributes say what was approximated.

    Raises
    ------
    StudyError
        Nothing says how the floors move, or passbys have no duration.
    RatingError
        The levels do not carry the metric.
    """
    if "floor_change" not in result:
        raise StudyError(
            f"criterion {criterion.label!r}: nothing says how the floors move at mid-span; give "
            "[structure] with floors that follow the 'column line', or the table [path.mid_span]"
        )
    source = result["source_level"]
    if criterion.metric == "VC":
        return _on_curve(result, criterion, weight)
    level = _floor_level(result, source)
    duration = _duration(source, criterion)
    if criterion.metric == "VDV":
        assert weight is not None  # Criterion asks for a period
        dose = dose_of_bands(level, curve=DOSE_CURVE, duration=duration)
        rating: xr.DataArray = (weight * dose**4).sum("passby", skipna=False) ** 0.25
        rating.attrs = dose.attrs
        return rating
    largest = kb_of_bands(level, band=KB_RANGE, duration=duration)
    in_db = levels.stamp(
        2 * levels.decibel(largest), quantity="velocity", reference="1 nm/s", long_name="KB in dB"
    )
    reduced = statistic(in_db, criterion.statistic, percentile=criterion.percentile, weight=weight)
    rating = 10 ** (reduced / 20)
    rating.attrs = largest.attrs
    return rating


def _floor_level(result: xr.Dataset, source: xr.DataArray) -> xr.DataArray:
    level = result["floor_change"].drop_attrs(deep=False) + source.drop_attrs(deep=False)
    return levels.stamp(
        level,
        quantity="velocity",
        reference="1 nm/s",
        long_name="velocity of the floor at mid-span",
        time_weighting=source.attrs.get("time_weighting", ""),
    )


def _on_curve(
    result: xr.Dataset, criterion: Criterion, weight: xr.DataArray | None
) -> xr.DataArray:
    """Largest excess over the curve: of every passby, or of the spectrum of an energy mean."""
    assert criterion.curve is not None  # Criterion asks for one
    source = result["source_level"]
    trains = trains_of(source, criterion, weight)
    level = _floor_level(result, trains.level.assign_attrs(source.attrs))
    try:
        labels = require_curve_bands(level, f"criterion {criterion.label!r}")
    except BandError as error:
        raise BandError(f"{error}; widen [bands]") from None
    over = (level + over_curve(criterion.curve, level["frequency"].copy(data=labels))).max(
        "frequency", skipna=False
    )
    rating: xr.DataArray = criterion.limit * 10 ** (trains.taken(over) / 20)
    return rating.drop_attrs(deep=False)


def _duration(source: xr.DataArray, criterion: Criterion) -> Any:
    if "duration_s" not in source.coords:
        raise StudyError(
            f"criterion {criterion.label!r}: it needs the duration of every passby; add the "
            "column 'duration_s' to the passbys"
        )
    duration = source["duration_s"].reset_coords(drop=True)
    if not bool((duration > 0).all()):
        raise RatingError(f"criterion {criterion.label!r}: a passby has no duration above 0 s")
    return duration
