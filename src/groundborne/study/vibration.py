"""Ratings of the vibration of floors from predicted band levels."""

from __future__ import annotations

from typing import Any

import xarray as xr

from groundborne import levels
from groundborne._checks import BandError, RatingError, StudyError
from groundborne.rating import Criterion, Sufficiency, statistic
from groundborne.rating.vibration_bands import dose_of_bands, kb_of_bands, weighted_sufficiency
from groundborne.rating.vibration_curves import class_reached, curve_sufficiency
from groundborne.weighting import KB_BANDS

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
    # A level change shifts every passby alike, so each band's statistic shifts with it.
    spectrum = statistic(
        result["source_level"], criterion.statistic, percentile=criterion.percentile, weight=weight
    )
    spectrum.attrs = dict(result["source_level"].attrs)
    try:
        found = class_reached(_floor_level(result, spectrum))
    except BandError as error:
        raise BandError(f"criterion {criterion.label!r}: {error}; widen [bands]") from None
    margin = found["margin"].sel(curve=criterion.curve, drop=True)
    rating: xr.DataArray = criterion.limit * 10 ** (-margin / 20)
    return rating.drop_attrs(deep=False)


def vibration_sufficiency(
    result: xr.Dataset, criterion: Criterion, spectrum: xr.DataArray
) -> Sufficiency:
    """Whether the bands suffice for a rating of the floors.

    Parameters
    ----------
    result : Dataset
        With ``floor_change``.
    criterion : Criterion
        On ``VDV``, ``KB_Fmax`` or ``VC``.
    spectrum : DataArray
        Statistic of the source in each band, labelled as the source is.
    """
    level = _floor_level(result, spectrum)
    if criterion.metric == "VC":
        assert criterion.curve is not None  # Criterion asks for one
        return curve_sufficiency(level, criterion.curve)
    curve = DOSE_CURVE if criterion.metric == "VDV" else KB_BANDS[KB_RANGE]
    return weighted_sufficiency(level, curve=curve)


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
