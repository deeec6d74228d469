"""Whether the bands of a spectrum suffice for a rating, or make it a lower bound.

A rating sums bands or takes the largest, and a spectrum ends somewhere. What lies beyond an end is
not known; all that can be judged is whether the spectrum has fallen far enough there. The rule,
common practice where no source is named:

* A spectrum that ends below 250 Hz for sound, or lacks bands from 5 to 80 Hz for vibration, ends
  where trains are heard and felt (ISO 14837-1: noise 16 to 250 Hz, felt vibration 1 to 80 Hz; many
  measurements begin at 5 Hz). Buildings resonate there and stop waves; no fall proves anything, and
  the rating is a lower bound. The lower end of sound needs no such guard: the A-weighting and the
  NR curves fall by more than 10 dB per octave there by themselves.
* Beyond an end no band is taken to fall by more than ``FALL`` for each one-third octave of distance
  from any band inside, however steeply the spectrum fell before. A single band that dips proves
  nothing: the *envelope* at the end is the largest of all bands, each lowered by its distance.
* A spectrum that rises towards its end is taken to rise on for one more band by as much.
* What a building passes outside is worked out where its parts allow it (mounts, frame, soil), for a
  resonance there lifts what the ground has let fall: the ground keeps to the envelope, the building
  does what it does, and what comes of both stands beside the envelope of the rating.
* Where the larger of these lies less than ``NEAR`` below the governing band, bands outside could
  govern, and the rating is a lower bound. A spectrum has to go on for an octave beyond its
  governing band and to have fallen there.
* A statistic over passbys is raised by what each of them may hold outside, and where that is more
  than two ends of one spectrum could add, it is a lower bound too.
* Elsewhere, bands outside that keep to it hold no more energy than one band at the envelope, so
  that a sum can rise by that much (`may_add`, 0.8 dB at most), a maximum not at all.

The fall is asked of what contributes to the rating. Above 250 Hz the A-weighting rises by 5 dB in
an octave, so that source and path together have to fall by 15 there: as trains, ground and mounts
do (common practice), but no table of this library shows it.

An end at which the rating itself ends (80 Hz of KB, the 8 kHz octave of NR) lacks nothing. A lower
bound may miss a criterion; it can never show that one is met.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import BandError, RatingError, known, watched
from groundborne.bands import label, number, stacked
from groundborne.citation import Citation
from groundborne.levels import decibel, energy
from groundborne.rating.spectrum_ends import _EXACT, _NOTHING, _larger, _risen, _Spectrum

NEAR = 10.0
"""Distance below the governing band at which a spectrum may end [dB, or NR]; common practice."""

FALL = NEAR / 3
"""Fall for each one-third octave that is credited beyond an end [dB]; common practice."""

HEARD = (np.inf, 250.0)
FELT = (5.0, 80.0)
"""Ends without which a rating of sound or of vibration is a lower bound in any case [Hz]; the lower
end of sound never makes it one by itself."""

ISO_14837_1 = Citation(
    key="iso14837-1-ranges",
    author="ISO 14837-1",
    year="2005",
    title="Ground-borne noise and vibration arising from rail systems",
    locator="titles of clauses: felt vibration 1 to 80 Hz, ground-borne noise 16 to 250 Hz",
    mark="seen",
    status="transcribed",
)

BAND_SUFFICIENCY = Citation(
    key="band-sufficiency",
    author="groundborne",
    title="10 dB below the governing band at an end, 10 dB per octave beyond it",
    mark="common practice",
)

_MOST = 10 * np.log10(1 + 2 * 10 ** (-NEAR / 10))  # dB; what two ends add that are far enough


@checked(infinite=("may_add",))
@dataclass(frozen=True, kw_only=True, eq=False)
class Sufficiency:
    """What missing bands may do to a rating.

    Parameters
    ----------
    may_add : DataArray
        By how much bands outside may raise the rating [dB, or NR]; infinite where nothing limits
        it and the rating is a lower bound. Without ``frequency``.
    governing : DataArray
        Band, or octave, with the largest contribution [Hz].
    why : str
        In words, why the rating is a lower bound where it is one; empty where it is none anywhere.
    """

    may_add: xr.DataArray
    governing: xr.DataArray
    why: str

    @property
    def lower_bound(self) -> xr.DataArray:
        """Where the rating is a lower bound."""
        bound: xr.DataArray = self.may_add == np.inf
        return bound


@checked
@dataclass(frozen=True, kw_only=True)
class Missing:
    """Bands of a rating that a spectrum lacks at one end.

    Parameters
    ----------
    words : str
        Which, as a clause: "bands above 250 Hz are missing".
    needed : bool
        Whether the rating is a lower bound without them, however the spectrum has fallen.
    """

    words: str
    needed: bool = False


@checked(infinite=("contribution", "beyond"), own_labels=("beyond",))
def judge_ends(
    contribution: xr.DataArray,
    *,
    below: Missing | None,
    above: Missing | None,
    combined: Literal["sum", "maximum"] = "sum",
    each: xr.DataArray | None = None,
    over: Callable[[xr.DataArray], xr.DataArray] | None = None,
    beyond: xr.DataArray | None = None,
    thirds: Sequence[int] | None = None,
    unit: str = "dB",
) -> Sufficiency:
    """Judge both ends of a spectrum by what each band contributes to a rating.

    Parameters
    ----------
    contribution : DataArray
        Weighted band levels [dB], or the rating of each octave [NR], rising with ``frequency``;
        any other dims. A band that does not count is minus infinity.
    below, above : Missing or None
        What is missing at each end; none where the rating ends there too.
    combined : str
        ``sum`` of energies or ``maximum``.
    each : DataArray, optional
        Band levels on ``frequency`` and other dims, such as ``passby``, to which `contribution`
        is added [dB]. The two together are never held as one array.
    over : callable, optional
        Statistic that takes the dims of single passbys from a level, as the rating does.
    beyond : DataArray, optional
        What bands outside are taken to contribute where that can be worked out [dB, or NR], on
        ``frequency`` with labels of its own: of a building that resonates there.
    thirds : sequence of int, optional
        How many one-third octaves each band holds; 1 by default. An octave that lacks thirds proves
        less of a fall than a whole one.
    unit : str
        Of the contribution, for the words.

    Returns
    -------
    Sufficiency
        The judgement.

    Raises
    ------
    ValueError
        Another way to combine, or another number of thirds than of bands.
    BandError
        The contribution has no frequencies, or they do not rise.
    RatingError
        The contribution is not a number somewhere.

    References
    ----------
    The rule of this module [common practice]; its bound on what is outside is derived:
    ``Σ 10^(−j/3) = 0.87`` of the band at the end.

    Examples
    --------
    >>> f = {"frequency": [100.0, 125.0, 160.0, 200.0, 250.0]}
    >>> ends = dict(below=None, above=Missing(words="bands above 250 Hz are missing"))
    >>> falls = judge_ends(xr.DataArray([60.0, 60.0, 50.0, 45.0, 40.0], coords=f), **ends)
    >>> falls.governing.item(), round(falls.may_add.item(), 2)
    (100.0, 0.2)
    >>> near = judge_ends(xr.DataArray([60.0, 60.0, 62.0, 45.0, 40.0], coords=f), **ends)
    >>> near.may_add.item()
    inf
    >>> near.why
    'bands above 250 Hz are missing; there the spectrum has safely fallen 6.6 dB below what governs, and 10 dB are needed'
    """  # noqa: E501
    known("judge_ends", "combined", combined, ("sum", "maximum"))
    if "frequency" not in contribution.coords or contribution["frequency"].ndim != 1:
        raise BandError("judge_ends: the contribution has no dim 'frequency' with labels [Hz]")
    frequency = contribution["frequency"]
    _require_rising("judge_ends", "the contribution", frequency)
    if thirds is not None and len(thirds) != frequency.size:
        raise ValueError(
            f"judge_ends: thirds holds {len(thirds)} numbers for {frequency.size} bands; one for "
            "each is needed"
        )
    for part in (contribution, each):
        _require_numbers(part)
    contribution = watched("judge_ends", contribution)
    each = each if each is None else watched("judge_ends", each)
    spectrum = _Spectrum(contribution.astype(float).clip(min=_NOTHING), each, over)
    held = np.ones(frequency.size) if thirds is None else np.asarray(thirds, dtype=float)
    distance = {"below": held.cumsum() - held, "above": held[::-1].cumsum()[::-1] - held}
    largest = spectrum.largest(np.zeros(frequency.size))
    governing = spectrum.reduced(largest)
    outside = {}
    for missing, side in ((below, "below"), (above, "above")):
        if missing is None:
            continue
        beyond_end = spectrum.largest(FALL * distance[side])
        if frequency.size > 1:
            beyond_end = _larger(beyond_end, spectrum.risen(side))
        computed = _computed(beyond, frequency, side)
        outside[side] = beyond_end if computed is None else _larger(beyond_end, computed)
    may_add = spectrum.raised(largest, list(outside.values()), combined)
    # Of single passbys others may raise the statistic than those that make it.
    far = may_add > (_MOST if combined == "sum" else 0.0) + _EXACT
    said = []
    for missing, side in ((below, "below"), (above, "above")):
        if missing is None:
            continue
        fallen = governing - spectrum.reduced(outside[side])
        near = (fallen < NEAR - _EXACT) | far | missing.needed
        may_add = xr.where(near, np.inf, may_add)
        # Without computing a chunked array it is not known whether it is near anywhere.
        if near.chunks is not None:
            said.append(missing.words)
        elif bool(near.any()):
            said.append(missing.words if missing.needed else _not_fallen(missing, fallen, unit))
    which = spectrum.typical().fillna(-np.inf).idxmax("frequency").drop_attrs(deep=False)
    return Sufficiency(may_add=may_add.drop_attrs(deep=False), governing=which, why="; ".join(said))


def _require_rising(where: str, name: str, frequency: xr.DataArray) -> None:
    if not bool((np.diff(frequency.values) > 0).all()):
        raise BandError(f"{where}: the frequencies of {name} must rise")


def _computed(
    beyond: xr.DataArray | None, frequency: xr.DataArray, side: str
) -> xr.DataArray | None:
    """Level of all bands on one side of a spectrum whose contribution was worked out [dB]."""
    if beyond is None:
        return None
    labels = beyond["frequency"].values
    outer = labels < frequency.values[0] if side == "below" else labels > frequency.values[-1]
    if not outer.any():
        return None
    here = beyond.isel(frequency=outer).clip(min=_NOTHING)
    return decibel(energy(here).sum("frequency", skipna=False))


def _not_fallen(missing: Missing, fallen: xr.DataArray, unit: str) -> str:
    least = max(float(fallen.min()), 0.0)
    # Rounded down: a spectrum that misses the rule never reads as one that keeps it.
    shown = f"{np.floor(10 * least) / 10:.1f}" if least > 0 else "nothing"
    has = f"{shown} {unit}" if least > 0 else shown
    return (
        f"{missing.words}; there the spectrum has safely fallen {has} below what governs, and "
        f"{NEAR:g} {unit} are needed"
    )


def _require_numbers(contribution: xr.DataArray | None) -> None:
    if contribution is None or contribution.chunks is not None:
        return
    if bool(np.isnan(contribution.values).any()):
        raise RatingError("judge_ends: the contribution of a band is not a number")


@checked(own_labels=("labels",))
def envelope(level: xr.DataArray, labels: Frequency) -> xr.DataArray:
    """What bands outside a spectrum are taken to hold at most.

    Parameters
    ----------
    level : DataArray
        Band levels [dB] on ``frequency``; any other dims.
    labels : DataArray
        Nominal bands outside [Hz].

    Returns
    -------
    xarray.DataArray
        Largest of all bands, each lowered by ``FALL`` for every third of an octave of distance
        [dB], on ``frequency`` with the labels outside.

    References
    ----------
    The rule of this module [common practice].

    Examples
    --------
    >>> level = xr.DataArray([60.0, 66.0], coords={"frequency": [10.0, 12.5]})
    >>> envelope(level, [16.0, 5.0]).round(1).values.tolist()  # it rises by 6 dB at its upper end
    [72.0, 53.3]
    """
    _require_rising("envelope", "level", level["frequency"])
    own = number(level["frequency"].values)
    ends = {}
    if own.size > 1:  # a rise towards an end goes on for one band
        for side, end, next_ in (("below", 0, 1), ("above", -1, -2)):
            last, before = (level.isel(frequency=at, drop=True) for at in (end, next_))
            ends[side] = _risen(last, before)
    rows = []
    for outside in np.atleast_1d(number(labels["frequency"].values)):
        fall = level["frequency"].copy(data=FALL * np.abs(own - outside))
        row = (level - fall).max("frequency", skipna=False)
        side, first = ("below", own[0] - 1) if outside < own[0] else ("above", own[-1] + 1)
        if side in ends:
            row = _larger(row, ends[side] - FALL * abs(outside - first))
        rows.append(row)
    return stacked(rows, labels["frequency"].values).drop_attrs(deep=False)


@checked(infinite=("needed",))
def missing_bands(
    first: float, last: float, *, range_: tuple[float, float], needed: tuple[float, float]
) -> tuple[Missing | None, Missing | None]:
    """Which bands of a rating's range a spectrum lacks below and above.

    Parameters
    ----------
    first, last : float
        Nominal labels of the spectrum's ends [Hz].
    range_ : tuple of float
        Of the rating [Hz].
    needed : tuple of float
        Range without which it is a lower bound in any case [Hz]: ``HEARD`` or ``FELT``.

    Examples
    --------
    >>> missing_bands(5.0, 250.0, range_=(1.0, 80.0), needed=FELT)
    (Missing(words='bands below 5 Hz are missing', needed=False), None)
    >>> missing_bands(10.0, 160.0, range_=(10.0, 20000.0), needed=HEARD)[1].words
    'bands above 160 Hz are missing, and trains are heard up to 250 Hz'
    """
    verb = "heard" if needed == HEARD else "felt"
    below = above = None
    if range_[0] < first:
        lacks = needed[0] < first
        why = f", and trains are {verb} from {label(needed[0])} Hz" if lacks else ""
        below = Missing(words=f"bands below {label(first)} Hz are missing{why}", needed=lacks)
    if range_[1] > last:
        lacks = needed[1] > last
        why = f", and trains are {verb} up to {label(needed[1])} Hz" if lacks else ""
        above = Missing(words=f"bands above {label(last)} Hz are missing{why}", needed=lacks)
    return below, above
