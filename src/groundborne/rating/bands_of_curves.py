"""Weights of vibration by band, and what bands that are missing may add."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known
from groundborne.bands import exact
from groundborne.levels import decibel
from groundborne.rating.sufficiency import FELT, Missing, missing_bands
from groundborne.rating.vibration import (
    ESTIMATED_DOSE,
    GAUSSIAN_DOSE,
    SINE_DOSE,
)
from groundborne.weighting import CURVES, response

DOSE_FACTORS = {"estimated": ESTIMATED_DOSE, "gaussian": GAUSSIAN_DOSE, "sine": SINE_DOSE}
"""VDV over ``a_w T^0.25``."""

_PEAKS_TOGETHER = "bands taken to peak together (upper bound)"


def _require_acceleration(curve: str, where: str) -> None:
    known(where, "curve", curve, [n for n, c in CURVES.items() if c.quantity == "acceleration"])


def approximations_of_bands(
    made: str, wanted: str, ends: tuple[Missing | None, Missing | None]
) -> list[str]:
    """What stands between band levels of a passby and a weighted rms or maximum, in words.

    Parameters
    ----------
    made, wanted : str
        Time weighting of the levels, and the one that is rated.
    ends : tuple
        Bands that are missing, see :func:`missing_of_curve`.
    """
    notes = ["weighting at band centres"]
    if made != "leq":
        notes.append(_PEAKS_TOGETHER)
    if made != wanted:
        notes.append(f"{made} to {wanted} as a rectangular event of the duration given")
    return [*notes, *(end.words for end in ends if end is not None)]


@checked
def band_weights(curve: str, frequency: Frequency) -> xr.DataArray:
    """What a weighting adds to velocity band levels at the centre of each band.

    Parameters
    ----------
    curve : str
        One of ``weighting.CURVES``.
    frequency : DataArray
        Nominal labels [Hz].

    Returns
    -------
    xarray.DataArray
        [dB], from velocity re 1 nm/s to the weighted quantity in billionths of its unit.

    Examples
    --------
    >>> band_weights("KB", [25.0]).round(2).values.tolist()  # −10 lg (1 + (5.6/25.1)²), band limits
    [-0.23]
    """
    known("band_weights", "curve", curve, CURVES)
    centre = exact(frequency)
    gain = abs(response(curve, centre)) ** 2
    if CURVES[curve].quantity == "acceleration":
        gain = gain * (2 * np.pi * centre) ** 2
    return decibel(gain)


@checked
def missing_of_curve(
    curve: str, first: float, last: float
) -> tuple[Missing | None, Missing | None]:
    """Which bands of a weighting curve a spectrum lacks below and above.

    Parameters
    ----------
    curve : str
        One of ``weighting.CURVES``.
    first, last : float
        Nominal labels of the spectrum's ends [Hz].

    Examples
    --------
    >>> missing_of_curve("KB", 5.0, 80.0)[0].words
    'bands below 5 Hz are missing'
    """
    found = CURVES[known("missing_of_curve", "curve", curve, CURVES)]
    return missing_bands(first, last, range_=(found.low, found.high), needed=FELT)


def _said(allowance: Numeric) -> str:
    values = np.asarray(allowance, dtype=float)
    if values.min() == values.max():
        return f"{values.min():g} dB"
    return f"{values.min():g} to {values.max():g} dB"
