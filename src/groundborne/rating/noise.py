"""Single-number ratings of room noise from one-third-octave levels."""

from __future__ import annotations

import xarray as xr

from groundborne import weighting
from groundborne._arguments import checked
from groundborne.bands import require_labels
from groundborne.citation import warn_validity
from groundborne.levels import energy_sum, require, stamp
from groundborne.rating.sufficiency import HEARD, Sufficiency, judge_ends, missing_bands
from groundborne.weighting import IEC_61672_1

A_RANGE = (10.0, 20000.0)
"""Bands for which IEC 61672-1 tabulates the A-weighting [Hz]."""


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
