"""Single-number ratings of room noise from one-third-octave levels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import xarray as xr

from groundborne import weighting
from groundborne._arguments import Frequency, checked
from groundborne._checks import BandError, Numeric, RatingError, not_negative, positive
from groundborne.bands import label, octave, require_labels
from groundborne.citation import Citation, warn_validity
from groundborne.levels import decibel, energy, energy_sum, require, stamp
from groundborne.rating.sufficiency import HEARD, Missing, Sufficiency, judge_ends, missing_bands
from groundborne.waveform.averaging import TIME_CONSTANTS
from groundborne.weighting import IEC_61672_1

AS_1469 = Citation(
    key="as1469-nr",
    author="AS 1469",
    year="1983",
    title="Noise rating numbers",
    locator="coefficients a and b by octave band",
    mark="seen second-hand",
    status="transcribed",
)
EXPOSURE = Citation(
    key="iec61672-1-exposure",
    author="IEC 61672-1",
    year="2013",
    locator="eqs 7 and 8: response to a toneburst, sound exposure level",
    mark="seen second-hand",
    status="verified",
)

_NR_OCTAVES = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
_NR_A = (55.4, 35.5, 22.0, 12.0, 4.8, 0.0, -3.5, -6.1, -8.0)
_NR_B = (0.681, 0.790, 0.870, 0.930, 0.974, 1.0, 1.015, 1.025, 1.030)
NR_RANGE = (25.0, 10000.0)
"""Thirds of the octaves of the noise rating curves [Hz]."""
A_RANGE = (10.0, 20000.0)
"""Bands for which IEC 61672-1 tabulates the A-weighting [Hz]."""

SLOW, FAST = TIME_CONSTANTS["S"], TIME_CONSTANTS["F"]
"""Time constants of the S and F weightings [s]."""


@checked
def sound_level(level: xr.DataArray) -> xr.DataArray:
    """A-weighted level, summed over bands.

    Of band-wise maxima it is an upper bound of the maximum A-weighted level, since the bands need
    not peak together. It is nevertheless the rating of a prediction (common practice): a predicted
    spectrum holds no more, limits are met with the sum below them in any case, and where they are
    not, the sum stays on the side of those who live there.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] with dim ``frequency``.

    Returns
    -------
    xarray.DataArray
        A-weighted level [dB re 20 µPa] without ``frequency``. Attribute ``lower_bound``: why it is
        one, in words, empty where it is none.

    Raises
    ------
    LevelError
        Not a labelled sound pressure level.

    Warns
    -----
    ValidityWarning
        Bands outside the spectrum may govern, so that the level is a lower bound.

    References
    ----------
    IEC 61672-1:2013; sufficiency of bands: ``rating.sufficiency`` [common practice].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> f = third_octaves(25, 250)["frequency"]
    >>> level = stamp(xr.where(f == 63, 60.0, 0.0), quantity="sound pressure",
    ...               reference="20 µPa", long_name="level")
    >>> sound_level(level).round(1).item()
    33.8
    """
    require(level, where="sound_level", quantity="sound pressure")
    weighted = energy_sum(level + weighting.a(level["frequency"]), "frequency")
    why = sound_sufficiency(level).why
    if why:
        warn_validity(f"A-weighted level is a lower bound: {why}")
    return stamp(
        weighted,
        quantity="sound pressure",
        reference=level.attrs["reference"],
        long_name="A-weighted sound pressure level",
        time_weighting=level.attrs.get("time_weighting", ""),
        location=level.attrs.get("location", ""),
        citations=[IEC_61672_1],
        frequency_weighting="A",
        lower_bound=why,
    )


@checked
def sound_sufficiency(level: xr.DataArray) -> Sufficiency:
    """Whether the bands suffice for an A-weighted level.

    Parameters
    ----------
    level : DataArray
        Sound pressure level [dB re 20 µPa] with dim ``frequency``.

    Raises
    ------
    RatingError
        A level is not a number.

    Examples
    --------
    >>> f = {"frequency": [25.0, 31.5, 40.0]}
    >>> sound_sufficiency(xr.DataArray([60.0, 50.0, 55.0], coords=f)).lower_bound.item()
    True
    """
    labels = require_labels(level["frequency"], "sound_sufficiency")
    ends = missing_bands(float(labels[0]), float(labels[-1]), range_=A_RANGE, needed=HEARD)
    weighted = level + weighting.a(level["frequency"])
    return judge_ends(weighted, below=ends[0], above=ends[1])


@checked
def nr_curve(number: Numeric) -> xr.DataArray:
    """Octave-band levels of a noise rating curve.

    Parameters
    ----------
    number : float or DataArray
        NR [-].

    Returns
    -------
    xarray.DataArray
        ``a + b NR`` [dB re 20 µPa] on ``frequency``, octaves 31.5 to 8000 Hz.

    References
    ----------
    AS 1469:1983 [seen second-hand]; another print gives a = 35.4 at 63 Hz.

    Examples
    --------
    >>> nr_curve(25.0).round(2).values[:4].tolist()
    [72.42, 55.25, 43.75, 35.25]
    """
    coords = {"frequency": list(_NR_OCTAVES)}
    a, b = xr.DataArray(list(_NR_A), coords=coords), xr.DataArray(list(_NR_B), coords=coords)
    return stamp(
        a + b * number,
        quantity="sound pressure",
        reference="20 µPa",
        long_name="noise rating curve",
        citations=[AS_1469],
    )


@checked
def octaves_from_thirds(level: xr.DataArray) -> tuple[xr.DataArray, list[str]]:
    """Sum thirds into octaves by energy.

    Parameters
    ----------
    level : DataArray
        One-third-octave levels [dB] with dim ``frequency``.

    Returns
    -------
    tuple
        Octave levels [dB] on ``frequency``; and, in words, the octaves that lack a third, whose
        level is therefore a lower bound.

    Raises
    ------
    BandError
        The thirds are not a gapless run.

    Examples
    --------
    >>> thirds = xr.DataArray([50.0, 50.0, 50.0], coords={"frequency": [50.0, 63.0, 80.0]})
    >>> octaves, short = octaves_from_thirds(thirds)
    >>> octaves.round(2).values.tolist(), short
    ([54.77], [])
    """
    thirds = require_labels(level["frequency"], "octaves_from_thirds")
    middle = octave(thirds)
    # A matrix of ones picks the thirds of each octave, so that one product sums them all.
    centres, counts = np.unique(middle, return_counts=True)
    member = xr.DataArray(
        (middle[:, None] == centres[None, :]).astype(float),
        dims=("frequency", "octave"),
        coords={"frequency": thirds, "octave": centres},
    )
    total = xr.dot(energy(level), member, dim="frequency")
    summed = decibel(total).rename(octave="frequency")
    short = [_short(f, n) for f, n in zip(centres.tolist(), counts.tolist(), strict=True) if n < 3]
    return summed, short


@checked
def noise_rating(level: xr.DataArray) -> xr.DataArray:
    """Noise rating number of one-third-octave levels.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] with dim ``frequency``.

    Returns
    -------
    xarray.DataArray
        NR [-], the largest ``(L − a)/b`` over octaves from 31.5 Hz, decimals kept.

    Raises
    ------
    LevelError
        Not a labelled sound pressure level.
    RatingError
        No octave from 31.5 to 8000 Hz is touched.

    Warns
    -----
    ValidityWarning
        Octaves that lack thirds or are missing may govern, so that the number is a lower bound.

    Notes
    -----
    NR is defined on octaves: thirds are summed by energy first. Octaves of band-wise maxima are an
    upper bound of the octave's maximum.

    References
    ----------
    AS 1469:1983 [seen second-hand]; sufficiency of bands: ``rating.sufficiency`` [common practice].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> f = third_octaves(25, 250)["frequency"]
    >>> level = stamp(xr.where(f == 63, 54.96, 0.0), quantity="sound pressure",
    ...               reference="20 µPa", long_name="level")
    >>> noise_rating(level).round(1).item()
    24.6
    """
    require(level, where="noise_rating", quantity="sound pressure")
    octaves, _ = octaves_from_thirds(level)
    rating = octave_ratings(octaves).max("frequency", skipna=False)
    why = noise_rating_sufficiency(level).why
    if why:
        warn_validity(f"noise rating is a lower bound: {why}")
    rating.attrs = {
        "long_name": "noise rating number",
        "units": "1",
        "citations": AS_1469.text,
        "lower_bound": why,
    }
    return rating


@checked
def octave_ratings(octaves: xr.DataArray) -> xr.DataArray:
    """Noise rating of each octave that has a curve.

    Parameters
    ----------
    octaves : DataArray
        Octave levels [dB re 20 µPa] with dim ``frequency``; any other dims.

    Returns
    -------
    xarray.DataArray
        ``(L − a)/b`` [NR] on the octaves from 31.5 to 8000 Hz that are there.

    Raises
    ------
    RatingError
        None of them is.

    References
    ----------
    AS 1469:1983 [seen second-hand].

    Examples
    --------
    >>> octave_ratings(nr_curve(25.0)).round(6).values.tolist()[:3]
    [25.0, 25.0, 25.0]
    """
    used = [f for f in octaves["frequency"].values.tolist() if f in _NR_OCTAVES]
    if not used:
        raise RatingError(
            "noise_rating: no octave from 31.5 to 8000 Hz is in the spectrum; thirds from 25 Hz up "
            "are needed"
        )
    curve = nr_curve(0.0).sel(frequency=used)
    slope = nr_curve(1.0).sel(frequency=used) - curve
    return ((octaves.sel(frequency=used) - curve) / slope).drop_attrs(deep=False)


@checked
def noise_rating_sufficiency(level: xr.DataArray) -> Sufficiency:
    """Whether the octaves suffice for a noise rating.

    Parameters
    ----------
    level : DataArray
        One-third-octave sound pressure level [dB re 20 µPa] with dim ``frequency``.

    Returns
    -------
    Sufficiency
        ``governing`` is the octave that decides; an octave that lacks a third counts as the end of
        the spectrum.

    Raises
    ------
    RatingError
        No octave from 31.5 to 8000 Hz is touched, or a level is not a number.

    Examples
    --------
    >>> f = {"frequency": [25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0]}
    >>> level = xr.DataArray([50.0, 50.0, 50.0, 50.0, 50.0, 50.0, 30.0], coords=f)
    >>> found = noise_rating_sufficiency(level)
    >>> found.governing.item(), found.lower_bound.item()  # the 125 Hz octave may yet govern
    (63.0, True)
    >>> "the 125 Hz octave holds 1 of 3 thirds" in found.why
    True
    """
    labels = require_labels(level["frequency"], "noise_rating_sufficiency")
    octaves, _ = octaves_from_thirds(level)
    return judge_octaves(octave_ratings(octaves), level["frequency"].copy(data=labels))


@checked(infinite=("ratings", "beyond"), own_labels=("ratings", "frequency", "beyond"))
def judge_octaves(
    ratings: xr.DataArray,
    frequency: Frequency,
    *,
    over: Callable[[xr.DataArray], xr.DataArray] | None = None,
    beyond: xr.DataArray | None = None,
) -> Sufficiency:
    """Judge the ends of a spectrum of thirds by the noise rating of its octaves.

    Parameters
    ----------
    ratings : DataArray
        Of each octave [NR], see :func:`octave_ratings`.
    frequency : DataArray
        Nominal thirds [Hz] from which the octaves were summed.
    over, beyond
        As for :func:`~groundborne.rating.sufficiency.judge_ends`.

    Raises
    ------
    BandError
        Thirds that are no run of bands, or ratings of other octaves.

    Examples
    --------
    >>> ratings = xr.DataArray([30.0, 40.0, 10.0], coords={"frequency": [31.5, 63.0, 125.0]})
    >>> judge_octaves(ratings, [25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0]).why
    'bands above 160 Hz are missing, and trains are heard up to 250 Hz'
    """
    labels = require_labels(frequency, "judge_octaves")
    middle = octave(labels)
    centres, counts = np.unique(middle, return_counts=True)
    held = dict(zip(centres.tolist(), counts.tolist(), strict=True))
    have, wanted = ratings["frequency"].values.tolist(), [f for f in held if f in _NR_OCTAVES]
    if have != wanted:
        raise BandError(
            f"judge_octaves: ratings holds the octaves {', '.join(map(label, have))} Hz; those of "
            f"the thirds are {', '.join(map(label, wanted))} Hz"
        )
    below, above = (
        _with_thirds(end, float(at), held)
        for end, at in zip(
            missing_bands(float(labels[0]), float(labels[-1]), range_=NR_RANGE, needed=HEARD),
            middle[[0, -1]],
            strict=True,
        )
    )
    return judge_ends(
        ratings,
        below=below,
        above=above,
        combined="maximum",
        over=over,
        beyond=beyond,
        thirds=[held[f] for f in ratings["frequency"].values.tolist()],
        unit="NR",
    )


def _with_thirds(end: Missing | None, middle: float, held: dict[float, int]) -> Missing | None:
    """An end of the spectrum with the thirds that its last octave lacks, in words."""
    if end is None or held[middle] == 3:
        return end
    return replace(end, words=f"{end.words} ({_short(middle, held[middle])})")


def _short(middle: float, thirds: int) -> str:
    return f"the {label(middle)} Hz octave holds {thirds} of 3 thirds"


@checked
def sel_from_maximum(
    maximum: xr.DataArray, *, duration: Numeric, time_constant: float
) -> xr.DataArray:
    """Sound exposure level of a passby from its maximum level, for a flat-topped event.

    Parameters
    ----------
    maximum : DataArray
        Labelled maximum A-weighted level [dB re 20 µPa].
    duration : float or DataArray
        Duration of the passby T [s], above 0.
    time_constant : float
        τ [s]: ``SLOW`` for S, ``FAST`` for F.

    Returns
    -------
    xarray.DataArray
        ``Lmax − 10 lg(1 − exp(−T/τ)) + 10 lg(T/1 s)`` [dB re 20 µPa and 1 s].

    Raises
    ------
    ValueError
        A duration or time constant that is not above 0.

    Notes
    -----
    Exact for a level that is constant during T. A real passby rises and falls: the duration should
    then be the one for which the energy is right, not the time it can be heard.

    References
    ----------
    IEC 61672-1:2013, eqs 7 and 8 [seen second-hand].

    Examples
    --------
    >>> las = stamp(xr.DataArray([40.0], dims="passby"), quantity="sound pressure",
    ...             reference="20 µPa", long_name="level")
    >>> sel_from_maximum(las, duration=8.0, time_constant=SLOW).round(2).item()
    49.03
    """
    require(maximum, where="sel_from_maximum", quantity="sound pressure")
    positive("sel_from_maximum", "duration", duration, "s")
    positive("sel_from_maximum", "time_constant", time_constant, "s")
    rise = 10 * np.log10(-np.expm1(-duration / time_constant))
    exposure = maximum - rise + 10 * np.log10(duration)
    return stamp(
        exposure,
        quantity="sound pressure",
        reference=maximum.attrs["reference"],
        long_name="sound exposure level",
        location=maximum.attrs.get("location", ""),
        citations=[EXPOSURE],
    )


@checked
def laeq_of_period(
    exposure: xr.DataArray, *, count: Numeric, hours: float, dim: str = "passby"
) -> xr.DataArray:
    """Equivalent level over a period from the exposure levels of its passbys.

    Parameters
    ----------
    exposure : DataArray
        Labelled sound exposure level [dB] of measured passbys on `dim`.
    count : float or DataArray
        How many passbys of the period each measured one stands for [-], 0 or more; a DataArray on
        `dim`, or one number for each.
    hours : float
        Length of the period [h], above 0.
    dim : str
        Dimension of the passbys.

    Returns
    -------
    xarray.DataArray
        ``10 lg (Σ n 10^(LAE/10) / T)`` [dB re 20 µPa], a ``leq``.

    Raises
    ------
    ValueError
        A negative count or a period without length.
    RatingError
        The period holds no passby.

    Examples
    --------
    >>> lae = stamp(xr.DataArray([60.0], dims="passby"), quantity="sound pressure",
    ...             reference="20 µPa", long_name="exposure")
    >>> laeq_of_period(lae, count=10.0, hours=1.0).round(2).item()
    34.44
    """
    require(exposure, where="laeq_of_period: exposure", quantity="sound pressure")
    not_negative("laeq_of_period", "count", count, "passbys")
    positive("laeq_of_period", "hours", hours, "h")
    if not np.any(np.asarray(count) > 0):
        raise RatingError(
            "laeq_of_period: count is 0 for every passby; an equivalent level needs one"
        )
    total = (energy(exposure) * count).sum(dim, skipna=False)
    leq = decibel(total / (3600.0 * hours))
    return stamp(
        leq,
        quantity="sound pressure",
        reference=exposure.attrs["reference"],
        long_name="A-weighted equivalent level over the period",
        time_weighting="leq",
        location=exposure.attrs.get("location", ""),
        citations=[EXPOSURE],
    )
