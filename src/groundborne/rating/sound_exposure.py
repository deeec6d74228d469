"""Exposure levels of passbys and the equivalent level of a period."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, RatingError, not_negative, positive
from groundborne.citation import Citation
from groundborne.levels import decibel, energy, require, stamp
from groundborne.waveform.averaging import TIME_CONSTANTS

EXPOSURE = Citation(
    key="iec61672-1-exposure",
    author="IEC 61672-1",
    year="2013",
    locator="eqs 7 and 8: response to a toneburst, sound exposure level",
    mark="seen second-hand",
    status="verified",
)

SLOW, FAST = TIME_CONSTANTS["S"], TIME_CONSTANTS["F"]
"""Time constants of the S and F weightings [s]."""


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
