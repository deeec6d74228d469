"""How a metric makes one number of the band levels of a passby, and which bands it needs.

A rule works on the level change of the path and the levels at the source, and never on their sum
over all passbys at once, which would be the largest array of a study.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, Protocol, runtime_checkable

import numpy as np
import xarray as xr

from groundborne import bands
from groundborne._arguments import checked
from groundborne._checks import BandError
from groundborne.levels import decibel, energy
from groundborne.rating.band_sums import BandSums
from groundborne.rating.noise_rating_curves import NR_RANGE, judge_octaves, octave_ratings
from groundborne.rating.sufficiency import Sufficiency, judge_ends, missing_bands

Over = Callable[[xr.DataArray], xr.DataArray]
"""Takes the passbys from a level: a statistic, or their sum over a period."""


@runtime_checkable
class BandRule(Protocol):
    """What a metric does to band levels; its number rises with every band."""

    @property
    def lowest(self) -> float:
        """First band that counts, below which nothing is asked of a path [Hz]."""

    def require(self, frequency: xr.DataArray, where: str) -> None:
        """Refuse bands of which the rule can make nothing."""

    def rating(self, change: xr.DataArray, level: xr.DataArray) -> xr.DataArray:
        """Number of each passby [dB, or that of a curve], without ``frequency``.

        Of the level change of a path and the levels at its start [dB], both on ``frequency``.
        """

    def judge(
        self,
        change: xr.DataArray,
        level: xr.DataArray,
        *,
        over: Over | None,
        below: xr.DataArray | None,
    ) -> Sufficiency:
        """Whether the bands suffice, of the same level change and levels.

        `over` takes the passbys from a number, `below` holds levels below the first band as far as
        they are known [dB].
        """

    def band_of(self, frequency: xr.DataArray) -> xr.DataArray:
        """Label of the band, or octave, that each third is part of: see ``governing``."""


@checked(infinite=("needed",), own_labels=("below",))
@dataclass(frozen=True, kw_only=True)
class WeightedBands:
    """Bands that are weighted, and then added by energy or held against a curve.

    Parameters
    ----------
    gain : callable
        What the weighting adds to levels [dB], of a frequency axis; minus infinity in bands that do
        not count. A curve of levels is a weighting of minus the curve.
    span : tuple of float
        First and last band that the weighting is defined for [Hz].
    needed : tuple of float
        Range without which the number is a lower bound in any case [Hz]:
        ``sufficiency.HEARD`` or ``sufficiency.FELT``.
    combined : str
        ``sum`` of energies, or ``maximum``.
    computed_from : float, optional
        First band that is worked out below the spectrum [Hz]; that of the span by default.
    at_least : tuple of float, optional
        Range without which a spectrum is refused [Hz].

    Examples
    --------
    >>> from groundborne import weighting
    >>> from groundborne.rating.sufficiency import HEARD
    >>> rule = WeightedBands(gain=weighting.c, span=(10.0, 20000.0), needed=HEARD)
    >>> f = {"frequency": [63.0, 80.0]}
    >>> change, level = (xr.DataArray([x, x], coords=f) for x in (-40.0, 90.0))
    >>> rule.rating(change, level).round(1).item()
    52.4
    """

    gain: Callable[[xr.DataArray], xr.DataArray]
    span: tuple[float, float]
    needed: tuple[float, float]
    combined: Literal["sum", "maximum"] = "sum"
    computed_from: float | None = None
    at_least: tuple[float, float] | None = None

    @property
    def lowest(self) -> float:
        """First band that counts [Hz]."""
        return self.span[0] if self.computed_from is None else self.computed_from

    def require(self, frequency: xr.DataArray, where: str) -> None:
        """Refuse a spectrum that lacks bands of `at_least`."""
        if self.at_least is None:
            return
        first, last = (float(f) for f in frequency.values[[0, -1]])
        if first > self.at_least[0] or last < self.at_least[1]:
            least = " to ".join(bands.label(f) for f in self.at_least)
            raise BandError(
                f"{where}: the spectrum holds {bands.label(first)} to {bands.label(last)} Hz; "
                f"{least} Hz is needed at least; widen [bands]"
            )

    def rating(self, change: xr.DataArray, level: xr.DataArray) -> xr.DataArray:
        """Number of each passby [dB]."""
        weighted = change + self.gain(change["frequency"])
        if self.combined == "sum":
            return bands_summed(weighted, level)
        pairs = (
            (a.isel(frequency=at, drop=True) for a in (weighted, level))
            for at in range(weighted.sizes["frequency"])
        )
        largest: Any = None
        for one, other in pairs:  # band by band: all bands of all passbys are a large array
            here = one + other
            largest = here if largest is None else np.maximum(largest, here)
        return xr.DataArray(largest)

    def sums(self, frequency: xr.DataArray) -> BandSums:
        """One sum of all bands, or one of each band."""
        bands.require_labels(frequency, "WeightedBands.sums")
        weights = 10 ** (np.asarray(self.gain(frequency).values, float) / 10)
        if self.combined == "sum":
            return BandSums(weights=weights[:, None], slopes=np.ones(1))
        return BandSums(weights=np.diag(weights), slopes=np.ones(weights.size))

    def judge(
        self,
        change: xr.DataArray,
        level: xr.DataArray,
        *,
        over: Over | None,
        below: xr.DataArray | None,
    ) -> Sufficiency:
        """Whether the bands suffice."""
        first, last = (float(f) for f in change["frequency"].values[[0, -1]])
        ends = missing_bands(first, last, range_=self.span, needed=self.needed)
        return judge_ends(
            change + self.gain(change["frequency"]),
            below=ends[0],
            above=ends[1],
            combined=self.combined,
            each=level,
            over=over,
            beyond=None if below is None else below + self.gain(below["frequency"]),
        )

    def band_of(self, frequency: xr.DataArray) -> xr.DataArray:
        """The thirds themselves."""
        return frequency


@checked(own_labels=("below",))
@dataclass(frozen=True)
class NoiseRatingOctaves:
    """Octaves against the noise rating curves: the largest of their numbers counts.

    Examples
    --------
    >>> f = {"frequency": [50.0, 63.0, 80.0]}
    >>> change, level = (xr.DataArray([x] * 3, coords=f) for x in (-40.0, 90.0))
    >>> NoiseRatingOctaves().rating(change, level).round(1).item()
    24.4
    """

    @property
    def lowest(self) -> float:
        """First third of the lowest octave [Hz]."""
        return NR_RANGE[0]

    def require(self, frequency: xr.DataArray, where: str) -> None:
        """Nothing: a spectrum without any octave is refused when it is rated."""

    def rating(self, change: xr.DataArray, level: xr.DataArray) -> xr.DataArray:
        """Noise rating of each passby [NR]."""
        return octave_ratings(octaves_summed(change, level)).max("frequency", skipna=False)

    def sums(self, frequency: xr.DataArray) -> BandSums:
        """One sum of each octave that has a curve."""
        middle = bands.octave(bands.require_labels(frequency, "NoiseRatingOctaves.sums"))
        silent = xr.DataArray(
            np.zeros(np.unique(middle).size), coords={"frequency": np.unique(middle)}
        )
        at_zero = octave_ratings(silent)
        slopes = 1 / (octave_ratings(silent + 1.0) - at_zero).values
        member = middle[:, None] == at_zero["frequency"].values
        return BandSums(weights=member * 10 ** (at_zero.values * slopes / 10), slopes=slopes)

    def judge(
        self,
        change: xr.DataArray,
        level: xr.DataArray,
        *,
        over: Over | None,
        below: xr.DataArray | None,
    ) -> Sufficiency:
        """Whether the octaves suffice."""
        return judge_octaves(
            octave_ratings(octaves_summed(change, level)),
            change["frequency"],
            over=over,
            beyond=None if below is None else _alike_thirds(below),
        )

    def band_of(self, frequency: xr.DataArray) -> xr.DataArray:
        """The octave of each third."""
        return frequency.copy(data=bands.octave(frequency.values))


def bands_summed(gain: xr.DataArray, level: xr.DataArray) -> xr.DataArray:
    """Level of all bands, ``10 lg Σ_b 10^((gain + level)/10)`` [dB].

    Powers are taken of the gain and of the level apart, and their product summed over bands is a
    matrix product: no array over passbys and bands is raised to a power.

    Parameters
    ----------
    gain, level : DataArray
        [dB] on ``frequency``; only the level has ``passby``.
    """
    power = _whole(energy(gain), "frequency")
    source = _whole(energy(level), "frequency", "passby")
    if set(source.dims) != {"passby", "frequency"}:
        return decibel(xr.dot(power, source, dim="frequency"))
    total = xr.apply_ufunc(
        _product,
        power,
        source,
        input_core_dims=[["frequency"], ["frequency", "passby"]],
        output_core_dims=[["passby"]],
        dask="parallelized",
        output_dtypes=[float],
    )
    return decibel(total)


def _whole(array: xr.DataArray, *dims: str) -> xr.DataArray:
    """A chunked array in one piece along the dims that a product sums or keeps whole."""
    if array.chunks is None:
        return array
    return array.chunk({d: -1 for d in dims if d in array.dims})


def _product(gain: Any, power: Any) -> Any:
    flat = gain.reshape(-1, gain.shape[-1]) @ power
    return flat.reshape(*gain.shape[:-1], power.shape[-1])


def octaves_summed(change: xr.DataArray, level: xr.DataArray) -> xr.DataArray:
    """Octave levels of every passby [dB], octave by octave, never all thirds at once.

    Parameters
    ----------
    change, level : DataArray
        Level change and levels in thirds [dB].
    """
    middle = bands.octave(change["frequency"].values)
    rows = []
    for centre in np.unique(middle).tolist():
        here = middle == centre
        gain, power = (energy(a.isel(frequency=here)) for a in (change, level))
        rows.append(decibel(xr.dot(gain, power, dim="frequency")))
    return bands.stacked(rows, np.unique(middle))


def _alike_thirds(level: xr.DataArray) -> xr.DataArray:
    """Noise rating of the octave of each third, as though its other thirds were alike."""
    thirds = level["frequency"].values
    rows = [
        octave_ratings((level.sel(frequency=[f]) + decibel(xr.DataArray(3.0))).assign_coords(
            frequency=[float(bands.octave(np.array([f]))[0])]
        )).isel(frequency=0, drop=True)
        for f in thirds.tolist()
    ]  # fmt: skip
    return bands.stacked(rows, thirds)
