"""Noise rating: the curves, and the highest one that octave levels reach."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import BandError, Numeric, RatingError
from groundborne.bands import label, octave, require_labels
from groundborne.citation import Citation, warn_validity
from groundborne.levels import decibel, energy, require, stamp
from groundborne.rating.sufficiency import HEARD, Missing, Sufficiency, judge_ends, missing_bands

AS_1469 = Citation(
    key="as1469-nr",
    author="AS 1469",
    year="1983",
    title="Noise rating numbers",
    locator="coefficients a and b by octave band",
    mark="seen second-hand",
    status="transcribed",
)

_NR_OCTAVES = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)

_NR_A = (55.4, 35.5, 22.0, 12.0, 4.8, 0.0, -3.5, -6.1, -8.0)

_NR_B = (0.681, 0.790, 0.870, 0.930, 0.974, 1.0, 1.015, 1.025, 1.030)

NR_RANGE = (25.0, 10000.0)
"""Thirds of the octaves of the noise rating curves [Hz]."""


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
