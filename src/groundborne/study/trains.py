"""Levels at the source as a criterion takes them: every passby by itself, or all added first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import xarray as xr

from groundborne.levels import decibel, energy
from groundborne.rating import Criterion, statistic
from groundborne.rating.rectangular_event import event_bridge

Over = Callable[[xr.DataArray], xr.DataArray]

_WANTED = {"LAeq": "leq", "VDV": "leq", "KB_Fmax": "F max"}
"""What a level becomes over the duration of a passby before it is rated."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Trains:
    """Levels at the source as a criterion takes them.

    Parameters
    ----------
    level : DataArray
        [dB re 1 nm/s] of every passby, or of all together where their spectra are added first.
    over : callable or None
        What the criterion makes of the passbys; none where they are added first.
    """

    level: xr.DataArray
    over: Over | None

    def taken(self, rating: xr.DataArray) -> xr.DataArray:
        """Rating of each of :attr:`level` as the criterion takes it."""
        return rating if self.over is None else self.over(rating)


def trains_of(source: xr.DataArray, criterion: Criterion, weight: xr.DataArray | None) -> Trains:
    """How a criterion takes the passbys.

    Parameters
    ----------
    source : DataArray
        Levels of the passbys [dB re 1 nm/s].
    criterion : Criterion
        Its statistic.
    weight : DataArray or None
        Trains that each passby stands for.
    """
    bare = source.reset_coords(drop=True).drop_attrs(deep=False)
    wanted = _WANTED.get(criterion.metric)
    if wanted is not None:
        lasts, made = (
            source["duration_s"].reset_coords(drop=True),
            source.attrs.get("time_weighting", ""),
        )
        if made != wanted:
            bare = bare + event_bridge(duration=lasts, made=made, wanted=wanted)
    if criterion.metric in ("LAeq", "VDV"):
        assert weight is not None  # Criterion asks for a period
        power = 2.0 if criterion.metric == "VDV" else 1.0  # a dose adds squares of mean squares
        return Trains(level=bare, over=partial(_added, share=weight * lasts, power=power))
    over = partial(
        statistic, name=criterion.statistic, percentile=criterion.percentile, weight=weight
    )
    if criterion.statistic == "energy mean":
        return Trains(level=over(bare), over=None)
    return Trains(level=bare, over=over)


def _added(level: xr.DataArray, *, share: xr.DataArray, power: float) -> xr.DataArray:
    """All passbys together, ``(10/p) lg Σ n T 10^(p L/10)``."""
    return decibel(xr.dot(energy(power * level), share, dim="passby")) / power
