"""Ends of a spectrum: how far it has fallen there, and what may lie beyond."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne.levels import decibel, energy

_EXACT = 1e-9

_NOTHING = -1e4  # dB; what a band contributes that does not count


@dataclass(frozen=True, eq=False)
class _Spectrum:
    """Contributions of bands, of one spectrum or of every passby."""

    contribution: xr.DataArray
    each: xr.DataArray | None
    over: Callable[[xr.DataArray], xr.DataArray] | None

    def _band(self, at: int) -> xr.DataArray:
        here = self.contribution.isel(frequency=at, drop=True)
        return here if self.each is None else here + self.each.isel(frequency=at, drop=True)

    def reduced(self, level: xr.DataArray) -> xr.DataArray:
        return level if self.over is None else self.over(level).drop_attrs(deep=False)

    def largest(self, fall: np.ndarray[Any, Any]) -> xr.DataArray:
        """Largest band, each lowered [dB]; band by band, for all at once are a large array."""
        first = self._band(0) - fall[0]
        # Of variables: the same by arrays with labels takes several times as long.
        parts = [a.variable for a in (self.contribution, self.each) if a is not None]
        best: Any = first.variable
        for at in range(1, self.contribution.sizes["frequency"]):
            best = np.maximum(best, sum(part.isel(frequency=at) for part in parts) - fall[at])
        largest: xr.DataArray = first.copy(data=best.data)
        return largest

    def risen(self, side: str) -> xr.DataArray:
        """The first band beyond an end, were a rise towards that end to go on for one band."""
        end, next_ = (0, 1) if side == "below" else (-1, -2)
        return _risen(self._band(end), self._band(next_))

    def raised(
        self, largest: xr.DataArray, outside: Sequence[xr.DataArray], combined: str
    ) -> xr.DataArray:
        """By how much what is outside raises the statistic, of every passby by its own [dB]."""
        if combined == "maximum":
            within = above = largest
            for level in outside:
                above = _larger(above, level)
        else:
            power = energy(self.contribution)
            whole = (
                power.sum("frequency", skipna=False)
                if self.each is None
                else xr.dot(power, energy(self.each), dim="frequency")
            )
            within, above = decibel(whole), decibel(sum((energy(x) for x in outside), whole))
        return (self.reduced(above) - self.reduced(within)).clip(min=0.0)

    def typical(self) -> xr.DataArray:
        """What each band contributes, by the statistic in that band."""
        if self.each is None:
            return self.reduced(self.contribution)
        return self.contribution + self.reduced(self.each)


def _risen(last: xr.DataArray, before: xr.DataArray) -> xr.DataArray:
    """The band after the last one, were a rise from the one before it to go on."""
    return last + (last - before).clip(min=0.0)


def _larger(one: xr.DataArray, other: xr.DataArray) -> xr.DataArray:
    larger: xr.DataArray = np.maximum(one, other)  # type: ignore[assignment]
    return larger
