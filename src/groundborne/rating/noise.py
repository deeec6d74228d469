"""Single-number ratings of room noise from one-third-octave levels."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne import weighting
from groundborne._arguments import checked
from groundborne._checks import Numeric, RatingError, not_negative, positive
from groundborne.bands import label, octave, require_labels
from groundborne.citation import Citation, warn_validity
from groundborne.levels import decibel, energy, energy_sum, require, stamp
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

SLOW, FAST = TIME_CONSTANTS["S"], TIME_CONSTANTS["F"]
"""Time constants of the S and F weightings [s]."""


@checked
def sound_level(level: xr.DataArray) -> xr.DataArray:
    """A-weighted level, summed over bands.

    Of band-wise maxima it is an upper bound of the maximum A-weighted level, since the bands need
    not peak together.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] with dim ``frequency``.

    Returns
    -------
    xarray.DataArray
        A-weighted level [dB re 20 µPa] without ``frequency``.

    Raises
    ------
    LevelError
        Not a labelled sound pressure level.

    References
    ----------
    IEC 61672-1:2013.

    Examples
    --------
    >>> level = stamp(xr.DataArray([60.0], coords={"frequency": [63.0]}),
    ...               quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> sound_level(level).round(1).item()
    33.8
    """
    require(level, where="sound_level", quantity="sound pressure")
    weighted = energy_sum(level + weighting.a(level["frequency"]), "frequency")
    return stamp(
        weighted,
        quantity="sound pressure",
        reference=level.attrs["reference"],
        long_name="A-weighted sound pressure level",
        time_weighting=level.attrs.get("time_weighting", ""),
        location=level.attrs.get("location", ""),
        citations=[IEC_61672_1],
        frequency_weighting="A",
    )


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
    short = [
        f"the {label(f)} Hz octave holds {n} of 3 thirds"
        for f, n in zip(centres.tolist(), counts.tolist(), strict=True)
        if n < 3
    ]
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
        An octave lacks a third, so that the number is a lower bound.

    Notes
    -----
    NR is defined on octaves: thirds are summed by energy first. Octaves of band-wise maxima are an
    upper bound of the octave's maximum.

    References
    ----------
    AS 1469:1983 [seen second-hand].

    Examples
    --------
    >>> level = stamp(xr.DataArray([50.0, 50.53, 50.0], coords={"frequency": [50.0, 63.0, 80.0]}),
    ...               quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> noise_rating(level).round(1).item()
    24.6
    """
    require(level, where="noise_rating", quantity="sound pressure")
    octaves, short = octaves_from_thirds(level)
    used = [f for f in octaves["frequency"].values.tolist() if f in _NR_OCTAVES]
    if not used:
        raise RatingError(
            "noise_rating: no octave from 31.5 to 8000 Hz is in the spectrum; thirds from 25 Hz up "
            "are needed"
        )
    relevant = [text for text in short if any(f"the {label(f)} Hz" in text for f in used)]
    if relevant:
        warn_validity("noise rating is a lower bound: " + "; ".join(relevant))
    curve = nr_curve(0.0).sel(frequency=used)
    slope = nr_curve(1.0).sel(frequency=used) - curve
    rating = ((octaves.sel(frequency=used) - curve) / slope).max("frequency", skipna=False)
    rating.attrs = {
        "long_name": "noise rating number",
        "units": "1",
        "citations": AS_1469.text,
        "lower_bound": "; ".join(relevant),
    }
    return rating


@checked
def exposure_level(
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
    >>> exposure_level(las, duration=8.0, time_constant=SLOW).round(2).item()
    49.03
    """
    require(maximum, where="exposure_level", quantity="sound pressure")
    positive("exposure_level", "duration", duration, "s")
    positive("exposure_level", "time_constant", time_constant, "s")
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
def period_level(
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
    >>> period_level(lae, count=10.0, hours=1.0).round(2).item()
    34.44
    """
    require(exposure, where="period_level", quantity="sound pressure")
    not_negative("period_level", "count", count, "passbys")
    positive("period_level", "hours", hours, "h")
    if not np.any(np.asarray(count) > 0):
        raise RatingError("period_level: the period holds no passby; an equivalent level needs one")
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
