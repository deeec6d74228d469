"""Levels at the source as a criterion takes them: every passby by itself, or all added first."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import xarray as xr

from groundborne._checks import RatingError, StudyError
from groundborne.levels import decibel, energy
from groundborne.rating import Criterion, statistic
from groundborne.rating.band_rules import Over
from groundborne.rating.metric import LEQ
from groundborne.rating.rectangular_event import constant_over_duration, time_weighting_change
from groundborne.rating.statistics import PERIOD_RMS


@dataclass(frozen=True, kw_only=True, eq=False)
class Trains:
    """Levels at the source as a criterion takes them.

    Parameters
    ----------
    level : DataArray
        [dB re 1 nm/s] of every passby, or of all together where their spectra are added first.
    over : callable or None
        What the criterion makes of the passbys; none where they are added first.
    approximation : str
        What stands between the levels that were measured and these, in words; may be empty.
    """

    level: xr.DataArray
    over: Over | None
    approximation: str = ""

    def taken(self, rating: xr.DataArray) -> xr.DataArray:
        """Rating of each of :attr:`level` as the criterion takes it."""
        return rating if self.over is None else self.over(rating)


def trains_of(
    source: xr.DataArray, criterion: Criterion, weight: xr.DataArray | None, hours: float = 0.0
) -> Trains:
    """How a criterion takes the passbys.

    Parameters
    ----------
    source : DataArray
        Levels of the passbys [dB re 1 nm/s].
    criterion : Criterion
        Its metric and statistic.
    weight : DataArray or None
        Trains that each passby stands for.
    hours : float
        Length of the period [h].

    Raises
    ------
    StudyError, RatingError
        The metric, or the rms over a period, needs the duration of passbys, which have none.
    """
    of = criterion.of
    bare = source.reset_coords(drop=True).drop_attrs(deep=False)
    made = source.attrs.get("time_weighting", "")
    if of.of_passby is not None and made != of.of_passby:
        lasts = _duration(source, criterion)
        bare = bare + time_weighting_change(duration=lasts, made=made, wanted=of.of_passby)
    if of.adds is not None:
        assert weight is not None  # Criterion asks for a period
        share = weight * _duration(source, criterion)
        return Trains(level=bare, over=partial(_added, share=share, power=of.adds))
    if criterion.statistic == PERIOD_RMS:
        assert weight is not None
        return _over_period(source, criterion, weight, hours)
    over = partial(
        statistic, name=criterion.statistic, percentile=criterion.percentile, weight=weight
    )
    if criterion.statistic == "energy mean":
        return Trains(level=over(bare), over=None)
    return Trains(level=bare, over=over)


def _over_period(
    source: xr.DataArray, criterion: Criterion, weight: xr.DataArray, hours: float
) -> Trains:
    """Mean square of each band over the period: ``10 lg (1/T) Σ n d 10^(L/10)`` of its Leq."""
    lasts, made = _duration(source, criterion), source.attrs.get("time_weighting", "")
    bare = source.reset_coords(drop=True).drop_attrs(deep=False)
    bare = bare + time_weighting_change(duration=lasts, made=made, wanted=LEQ)
    share = weight * lasts / (3600.0 * hours)
    return Trains(
        level=_added(bare, share=share, power=1.0),
        over=None,
        approximation=constant_over_duration(made),
    )


def _duration(source: xr.DataArray, criterion: Criterion) -> xr.DataArray:
    if "duration_s" not in source.coords:
        raise StudyError(
            f"criterion {criterion.label!r}: it needs the duration of every passby; add the "
            "column 'duration_s' to the passbys"
        )
    duration = source["duration_s"].reset_coords(drop=True)
    if not bool((duration > 0).all()):
        raise RatingError(f"criterion {criterion.label!r}: a passby has no duration above 0 s")
    return duration


def _added(level: xr.DataArray, *, share: xr.DataArray, power: float) -> xr.DataArray:
    """All passbys together, ``(10/p) lg Σ n T 10^(p L/10)``."""
    return decibel(xr.dot(energy(power * level), share, dim="passby")) / power
