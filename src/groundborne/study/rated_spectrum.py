"""Spectra of the trains that make a rating: what is held against the limit, band by band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne.rating import Criterion
from groundborne.rating.band_rules import WeightedBands
from groundborne.study.model import StudyModel
from groundborne.study.rated_samples import Rated
from groundborne.study.samples import ERRORS
from groundborne.study.spreads import study_spreads


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
    half : DataArray
        Half the width of its interval, likewise; 0 without probabilities.
    gain : DataArray, optional
        Weights of the metric on frequency [dB]; None where its rule is of another kind.
    adds_up : bool
        Whether weighted bands are summed, and not the largest taken.
    rated, limit : DataArray, float
        Rating on option, and limit, as levels of the weighted bands [dB]; NaN where the metric
        has no weights.
    """

    room: str
    criterion: Criterion
    level: xr.DataArray
    half: xr.DataArray
    gain: xr.DataArray | None
    adds_up: bool
    rated: xr.DataArray
    limit: float

    @property
    def reference(self) -> str:
        """Of the levels."""
        return "20 µPa" if self.criterion.of.quantity == "sound pressure" else "1 nm/s"


def rated_spectrum(
    study: StudyModel, result: xr.Dataset, *, room: str, criterion: str, options: Sequence[str]
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

    Notes
    -----
    Trains near the statistic are summed up into one spectrum and brought to the rating of all
    trains, as the sampling of errors does. The interval is that of each band by itself: the root
    sum of squares of the spreads of levels and of what the number of trains leaves open.
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
        limit = _as_level(of, rated.hours)
    return RatedSpectrum(
        room=room, criterion=of, level=level.drop_attrs(deep=False),
        half=_half(study, cut, of.of.quantity, rated, level), gain=gain, adds_up=adds_up,
        rated=number, limit=limit,
    )  # fmt: skip


def _as_level(of: Criterion, hours: float) -> float:
    """Limit as a level of the weighted bands [dB]."""
    at = 60.0
    there = float(np.asarray(of.of.value(xr.DataArray(at), hours)))
    if of.of.scale.ratio:
        return at + 20 * float(np.log10(of.limit / there))
    return at + of.limit - there


def _half(
    study: StudyModel, result: xr.Dataset, quantity: str, rated: Rated, level: xr.DataArray
) -> xr.DataArray:
    if ERRORS not in result.attrs:
        return xr.zeros_like(level)
    from scipy.special import ndtri

    point = float(ndtri(float(result.attrs["probability_asked"])))
    room = str(result["room"].values[0])
    trains = xr.DataArray(
        rated.trains_spread[:, 0], coords={"option": level["option"].values}, dims="option"
    )
    total: Any = trains**2
    for spread in study_spreads(study):
        size = spread.of(quantity)
        if "room" in size.dims:
            size = size.sel(room=room)
        if "option" in size.dims:
            size = size.sel(option=level["option"].values)
        total = total + size.reset_coords(drop=True) ** 2
    half: xr.DataArray = point * np.sqrt(total)
    return half.broadcast_like(level).transpose("option", "frequency")
