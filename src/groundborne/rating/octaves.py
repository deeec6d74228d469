"""Ratings of room noise on octaves: NR and NC with the octave that decides, speech interference.

An octave spectrum is handed in as such: its labels are octaves, and no function here guesses
whether a number is a third or an octave. :func:`octave_spectrum` makes one of thirds.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import BandError, Numeric, RatingError, finite, within
from groundborne.bands import label, number
from groundborne.citation import Citation, warn_validity
from groundborne.levels import require, stamp
from groundborne.rating.noise import AS_1469, octave_ratings, octaves_from_thirds
from groundborne.rating.sufficiency import HEARD, Missing, judge_ends

ANSI_S12_2 = Citation(
    key="ansi-s12-2-nc",
    author="ANSI/ASA S12.2",
    year="2019",
    title="Criteria for evaluating room noise",
    locator="Table 1, NC curves; 3.2 and 5.2.2 speech interference level; 5.2.3 tangency",
    mark="seen second-hand",
    status="transcribed",
)

SPEECH_OCTAVES = (500.0, 1000.0, 2000.0, 4000.0)
"""Octaves of the speech interference level [Hz]."""
NC_OCTAVES = (16.0, 31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Octaves of the NC curves [Hz]."""
_NC = np.arange(15.0, 71.0, 5.0)
_NC_TABLE = np.array(
    [
        [78, 61, 47, 36, 28, 22, 18, 14, 12, 11],
        [79, 63, 50, 40, 33, 26, 22, 20, 17, 16],
        [80, 65, 54, 44, 37, 31, 27, 24, 22, 22],
        [81, 68, 57, 48, 41, 35, 32, 29, 28, 27],
        [82, 71, 60, 52, 45, 40, 36, 34, 33, 32],
        [84, 74, 64, 56, 50, 44, 41, 39, 38, 37],
        [85, 76, 67, 60, 54, 49, 46, 44, 43, 42],
        [87, 79, 71, 64, 58, 54, 51, 49, 48, 47],
        [89, 82, 74, 67, 62, 58, 56, 54, 53, 52],
        [90, 85, 77, 71, 66, 63, 60, 59, 58, 57],
        [90, 88, 80, 75, 71, 68, 65, 64, 63, 62],
        [90, 90, 84, 79, 75, 72, 71, 70, 68, 68],
    ],
    dtype=float,
)


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
    bound = _bound(level, each, (31.5, 8000.0), "noise rating", "NR")
    return xr.Dataset(
        {
            "rating": rating.assign_attrs(long_name="noise rating number", units="1"),
            "governing_octave": governing.assign_attrs(long_name="octave that decides", units="Hz"),
        },
        attrs={"citations": AS_1469.text, "lower_bound": bound},
    )


@checked
def nc_curve(number: Numeric) -> xr.DataArray:
    """Octave levels of a noise criterion curve.

    Parameters
    ----------
    number : float or DataArray
        NC [-], 15 to 70.

    Returns
    -------
    xarray.DataArray
        [dB re 20 µPa] on ``frequency``, octaves 16 to 8000 Hz; straight lines between the printed
        curves, which stand five apart.

    Raises
    ------
    ValueError
        A number outside the table.

    References
    ----------
    ANSI/ASA S12.2-2019, Table 1 [seen second-hand]. An older set differs by 1 dB in some cells.

    Examples
    --------
    >>> nc_curve(35.0).values[:4].tolist()
    [82.0, 71.0, 60.0, 52.0]
    """
    asked = xr.DataArray(within("nc_curve", "number", number, 15.0, 70.0, ""))
    curve = xr.apply_ufunc(
        lambda n: np.stack([np.interp(n, _NC, column) for column in _NC_TABLE.T], axis=-1),
        asked,
        output_core_dims=[["frequency"]],
    ).assign_coords(frequency=list(NC_OCTAVES))
    return stamp(
        curve,
        quantity="sound pressure",
        reference="20 µPa",
        long_name="noise criterion curve",
        citations=[ANSI_S12_2],
    )


@checked
def speech_interference_level(level: xr.DataArray) -> xr.DataArray:
    """Arithmetic mean of the octave levels from 500 to 4000 Hz.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] on octaves, dim ``frequency``.

    Returns
    -------
    xarray.DataArray
        SIL [dB re 20 µPa] without ``frequency``.

    Raises
    ------
    LevelError, BandError
        Not a labelled sound pressure level on octaves.
    RatingError
        One of the four octaves is missing.

    References
    ----------
    ANSI/ASA S12.2-2019, 3.2 [seen second-hand].

    Examples
    --------
    >>> level = stamp(xr.DataArray([39.0, 36.0, 34.0, 33.0],
    ...               coords={"frequency": [500.0, 1000.0, 2000.0, 4000.0]}),
    ...               quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> speech_interference_level(level).item()
    35.5
    """
    require_octaves(level, "speech_interference_level")
    missing = [f for f in SPEECH_OCTAVES if f not in level["frequency"].values]
    if missing:
        raise RatingError(
            f"speech_interference_level: the octave of {label(missing[0])} Hz is missing; 500, "
            "1000, 2000 and 4000 Hz are needed"
        )
    mean = level.sel(frequency=list(SPEECH_OCTAVES)).mean("frequency")
    return stamp(
        mean,
        quantity="sound pressure",
        reference=level.attrs["reference"],
        long_name="speech interference level",
        location=level.attrs.get("location", ""),
        citations=[ANSI_S12_2],
    )


@checked
def noise_criterion(level: xr.DataArray) -> xr.Dataset:
    """NC of an octave spectrum, and the octave that touches the highest curve.

    The speech interference level chooses a curve; a spectrum that exceeds it in no octave is
    designated by it. Otherwise, and where speech octaves are missing, the highest curve decides
    that the spectrum touches.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] on octaves, dim ``frequency``.

    Returns
    -------
    xarray.Dataset
        ``rating`` [-], decimals kept (reports round up); ``method`` (``SIL`` or ``tangency``);
        ``tangency`` [-] and ``governing_octave`` [Hz] in any case; ``below_table``: every octave
        lies below NC 15, and 15 is an upper bound; ``sil`` [dB] where its octaves are there. The
        attribute ``lower_bound`` says why the number may be too low.

    Raises
    ------
    LevelError, BandError
        Not a labelled sound pressure level on octaves.
    RatingError
        No octave from 16 to 8000 Hz, or a level above the curve of NC 70: the standard ends there.

    Warns
    -----
    ValidityWarning
        As for :func:`noise_rating_of_octaves`.

    References
    ----------
    ANSI/ASA S12.2-2019, 5.2.2 and 5.2.3 [seen second-hand]; straight lines between the curves.

    Examples
    --------
    >>> level = stamp(
    ...     xr.DataArray([79.0, 69.0, 59.0, 51.0, 50.0, 39.0, 36.0, 34.0, 33.0, 32.0],
    ...                  coords={"frequency": list(NC_OCTAVES)}),
    ...     quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> found = noise_criterion(level)
    >>> found["rating"].item(), found["governing_octave"].item(), found["method"].item()
    (40.0, 250.0, 'tangency')
    """
    where = "noise_criterion"
    require_octaves(level, where)
    used = _used(level, NC_OCTAVES, where)
    part = level.sel(frequency=used)
    highest = nc_curve(70.0).sel(frequency=used)
    over = part > highest
    if bool(over.any()):
        f = float(part["frequency"].where(over.any(set(over.dims) - {"frequency"})).min())
        raise RatingError(
            f"{where}: the level in the octave of {label(f)} Hz lies up to "
            f"{float((part - highest).sel(frequency=f).max()):.4g} dB above the curve of NC 70, "
            "where the standard ends"
        )
    each = xr.concat([_touched(part.sel(frequency=f), f) for f in used], dim="frequency")
    each = each.assign_coords(frequency=used)
    over_lowest = part - nc_curve(_NC[0]).sel(frequency=used)
    below = (over_lowest < 0).all("frequency")
    tangency = each.max("frequency")
    # At the lowest curve and below it, the octave nearest to that curve is the one to watch.
    lowest = tangency <= _NC[0]
    governing = xr.where(lowest, over_lowest.idxmax("frequency"), each.idxmax("frequency"))
    found = {
        "rating": tangency,
        "method": xr.full_like(tangency, "tangency", dtype="<U8"),
        "tangency": tangency,
        "governing_octave": governing,
        "below_table": below,
    }
    if set(SPEECH_OCTAVES) <= set(used):
        found |= _by_speech(part, speech_interference_level(level), tangency)
    # Held against the curve that decides: the rating itself stands still below the lowest curve.
    over = part - nc_curve(tangency).sel(frequency=used)
    bound = _bound(level, over, (NC_OCTAVES[0], NC_OCTAVES[-1]), "noise criterion", "dB")
    return xr.Dataset(
        {name: value.drop_attrs() for name, value in found.items()},
        attrs={"citations": ANSI_S12_2.text, "lower_bound": bound},
    )


def _by_speech(
    part: xr.DataArray, sil: xr.DataArray, tangency: xr.DataArray
) -> dict[str, xr.DataArray]:
    """Rating and method where the speech interference level chooses the curve."""
    inside = (sil >= _NC[0]) & (sil <= _NC[-1])
    curve = nc_curve(sil.clip(_NC[0], _NC[-1]))
    decides = inside & (part <= curve.sel(frequency=part["frequency"])).all("frequency")
    return {
        "rating": xr.where(decides, sil, tangency),
        "method": xr.where(decides, "SIL", "tangency"),
        "sil": sil,
    }


def _touched(level: xr.DataArray, octave: float) -> xr.DataArray:
    """Lowest NC whose curve a level does not exceed, no lower than the table."""
    column = _NC_TABLE[:, NC_OCTAVES.index(octave)]
    steps, first = np.unique(column, return_index=True)
    return level.drop_vars("frequency").copy(data=np.interp(level.values, steps, _NC[first]))


def _used(level: xr.DataArray, octaves: tuple[float, ...], where: str) -> list[float]:
    used = [f for f in level["frequency"].values.tolist() if f in octaves]
    if not used:
        raise RatingError(
            f"{where}: no octave from {label(octaves[0])} to {label(octaves[-1])} Hz is in the "
            "spectrum"
        )
    return used


def _bound(
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
