"""Ratings of room noise on octaves: NR and NC with the octave that decides, speech interference.

An octave spectrum is handed in as such: its labels are octaves, and no function here guesses
whether a number is a third or an octave. :func:`octave_spectrum` makes one of thirds.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import BandError, finite
from groundborne.bands import label, number
from groundborne.citation import warn_validity
from groundborne.levels import require, stamp
from groundborne.rating.noise_rating_curves import AS_1469, octave_ratings, octaves_from_thirds
from groundborne.rating.sufficiency import HEARD, Missing, judge_ends


@checked
def require_octaves(level: Any, where: str) -> xr.DataArray:
    """Refuse what is not a labelled sound pressure level on a gapless run of octaves.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] with dim ``frequency`` (octaves of ISO 266).
    where : str
        Who asks; it starts the sentence.

    Returns
    -------
    xarray.DataArray
        The same array.

    Raises
    ------
    LevelError
        Not a labelled sound pressure level.
    BandError
        A label that is no octave, an octave that is missing or given twice, or no frequency.
    ValueError
        A level that is not finite.

    Examples
    --------
    >>> thirds = stamp(xr.DataArray([50.0, 51.0], coords={"frequency": [50.0, 63.0]}),
    ...                quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> require_octaves(thirds, "here")
    Traceback (most recent call last):
    ...
    groundborne._checks.BandError: here: 50 Hz is no octave band; thirds go to octave_spectrum first
    """
    require(level, where=where, quantity="sound pressure")
    if "frequency" not in level.dims or "frequency" not in level.coords:
        raise BandError(f"{where}: the level has no labelled dim 'frequency'; octaves are needed")
    labels = level["frequency"].values
    numbers = np.asarray(number(np.asarray(labels, dtype=float)))
    if numbers.size == 0:
        raise BandError(f"{where}: the level holds no octave band; at least one is needed")
    odd = numbers % 3 != 0
    if odd.any():
        raise BandError(
            f"{where}: {label(labels[int(np.argmax(odd))])} Hz is no octave band; thirds go to "
            "octave_spectrum first"
        )
    step = np.diff(numbers)
    if (step != 3).any():
        at = int(np.argmax(step != 3))
        raise BandError(
            f"{where}: after the octave of {label(labels[at])} Hz comes {label(labels[at + 1])} "
            "Hz; octaves must ascend without a gap"
        )
    finite(where, "level", level)
    checked: xr.DataArray = level
    return checked


@checked
def octave_spectrum(level: xr.DataArray) -> xr.DataArray:
    """Octave levels of one-third-octave levels, summed by energy, still labelled.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] of thirds, with dim ``frequency``.

    Returns
    -------
    xarray.DataArray
        Octave levels [dB re 20 µPa] on ``frequency``. Octaves that lack a third are too low; the
        attribute ``lower_bound`` names them.

    Raises
    ------
    LevelError
        Not a labelled sound pressure level.
    BandError
        The thirds are not a gapless run.
    ValueError
        A level that is not finite.

    Notes
    -----
    Octaves of band-wise maxima are an upper bound of the octave's maximum.

    Examples
    --------
    >>> thirds = stamp(xr.DataArray([50.0, 50.0, 50.0], coords={"frequency": [50.0, 63.0, 80.0]}),
    ...                quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> octave_spectrum(thirds).round(2).values.tolist()
    [54.77]
    """
    require(level, where="octave_spectrum", quantity="sound pressure")
    finite("octave_spectrum", "level", level)
    octaves, short = octaves_from_thirds(level)
    return stamp(
        octaves,
        quantity="sound pressure",
        reference=level.attrs["reference"],
        long_name="octave level",
        location=level.attrs.get("location", ""),
        time_weighting=level.attrs.get("time_weighting", ""),
        lower_bound="; ".join(short),
    )


@checked
def noise_rating_of_octaves(level: xr.DataArray) -> xr.Dataset:
    """Noise rating number of an octave spectrum, and the octave that decides it.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] on octaves, dim ``frequency``.

    Returns
    -------
    xarray.Dataset
        ``rating`` [-], the largest ``(L − a)/b`` over the octaves from 31.5 to 8000 Hz, decimals
        kept (reports round up), and ``governing_octave`` [Hz]. The attribute ``lower_bound`` says
        why the number may be too low.

    Raises
    ------
    LevelError, BandError
        Not a labelled sound pressure level on octaves.
    RatingError
        No octave from 31.5 to 8000 Hz is there.

    Warns
    -----
    ValidityWarning
        The number is a lower bound: an octave lacks a third, or octaves beyond an end of the
        spectrum may decide.

    References
    ----------
    AS 1469:1983 [seen second-hand].

    Examples
    --------
    >>> level = stamp(xr.DataArray([52.0, 55.0, 40.0, 20.0],
    ...               coords={"frequency": [31.5, 63.0, 125.0, 250.0]}), quantity="sound pressure",
    ...               reference="20 µPa", long_name="level")
    >>> found = noise_rating_of_octaves(level)
    >>> found["rating"].round(1).item(), found["governing_octave"].item()
    (24.7, 63.0)
    """
    where = "noise_rating_of_octaves"
    require_octaves(level, where)
    each = octave_ratings(level)
    governing = each.idxmax("frequency")
    rating = each.max("frequency").drop_attrs()
    bound = lower_bound_words(level, each, (31.5, 8000.0), "noise rating", "NR")
    return xr.Dataset(
        {
            "rating": rating.assign_attrs(long_name="noise rating number", units="1"),
            "governing_octave": governing.assign_attrs(long_name="octave that decides", units="Hz"),
        },
        attrs={"citations": AS_1469.text, "lower_bound": bound},
    )


def lower_bound_words(
    level: xr.DataArray, each: xr.DataArray, ends: tuple[float, float], what: str, unit: str
) -> str:
    """Why a rating may be too low, in words, from what each octave contributes; warns."""
    octaves = level["frequency"].values
    first, last = float(octaves[0]), float(octaves[-1])
    short = level.attrs.get("lower_bound", "").split("; ")
    named = [f"the {label(f)} Hz" for f in octaves if ends[0] <= f <= ends[1]]
    found = [text for text in short if any(text.startswith(name) for name in named)]
    below = above = None
    if first > ends[0]:
        below = Missing(words=f"octaves below {label(first)} Hz are missing")
    if last < ends[1]:
        needed = last < HEARD[1]
        why = f", and trains are heard up to {label(HEARD[1])} Hz" if needed else ""
        words = f"octaves above {label(last)} Hz are missing{why}"
        above = Missing(words=words, needed=needed)
    judged = judge_ends(
        each, below=below, above=above, combined="maximum", thirds=[3] * each.sizes["frequency"],
        unit=unit,
    )  # fmt: skip
    found += [judged.why] if judged.why else []
    if found:
        warn_validity(f"{what} is a lower bound: {'; '.join(found)}")
    return "; ".join(found)
