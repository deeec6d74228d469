"""Statistics of a rectangular event: from a Leq to S and F maxima and back."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, positive
from groundborne.levels import decibel
from groundborne.waveform import averaging

TIME_CONSTANTS = {f"{name} max": seconds for name, seconds in averaging.TIME_CONSTANTS.items()}
"""Time constants of the maxima [s]."""


@checked
def time_weighting_change(*, duration: Numeric, made: str, wanted: str) -> xr.DataArray:
    """Level change from one statistic of a rectangular event to another.

    Parameters
    ----------
    duration : float or DataArray
        How long the event lasts, T [s].
    made, wanted : str
        ``S max``, ``F max`` or ``leq`` (over T).

    Returns
    -------
    xarray.DataArray
        Change [dB], ``10 lg((1 − e^(−T/τ_wanted))/(1 − e^(−T/τ_made)))``; τ = 0 for leq. For a
        steady event only: of a noise-like one the F maximum lies higher, by some dB.

    Raises
    ------
    ValueError
        An unknown statistic, or a duration that is not above zero.

    References
    ----------
    IEC 61672-1:2013, eq. 7, toneburst response.

    Examples
    --------
    >>> time_weighting_change(duration=3.0, made="leq", wanted="S max").round(2).item()
    -0.22
    """
    positive("time_weighting_change", "duration", duration, "s")
    names = ("leq", *TIME_CONSTANTS)
    known("time_weighting_change", "made", made, names)
    known("time_weighting_change", "wanted", wanted, names)
    lasts = duration if isinstance(duration, xr.DataArray) else xr.DataArray(duration)
    return _filled(lasts, wanted) - _filled(lasts, made)


def constant_over_duration(made: str) -> str:
    """What stands between levels of a statistic and energies over a period, in words; or nothing.

    Parameters
    ----------
    made : str
        ``S max``, ``F max`` or ``leq``.
    """
    if made == "leq":
        return ""
    return (
        f"from {made}, not from measured energy: each passby is taken as constant over the "
        "duration given; one that rises and falls within it, or whose bands do not peak together, "
        "has less"
    )


def _filled(lasts: xr.DataArray, statistic: str) -> xr.DataArray:
    if statistic == "leq":
        return xr.zeros_like(lasts, dtype=float)
    share = lasts.copy(data=-np.expm1(-lasts.values / TIME_CONSTANTS[statistic]))
    return decibel(share)
