"""A and C weighting of sound as levels at exact band centres."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne.bands import exact
from groundborne.citation import Citation
from groundborne.levels import decibel, stamp_change

IEC_61672_1 = Citation(
    key="iec61672-1",
    author="IEC 61672-1",
    year="2013",
    title="Sound level meters",
    locator="A and C weighting, pole frequencies and 1 kHz normalisation",
    mark="seen second-hand",
    status="verified",
)

POLES = (20.598997, 107.65265, 737.86223, 12194.217)
"""Pole frequencies f1 to f4 [Hz] of IEC 61672-1, from f_L = 10^1.5, f_H = 10^3.9, f_A = 10^2.45."""
_F1, _F2, _F3, _F4 = POLES


def _c(f: Any) -> Any:
    return _F4**2 * f**2 / ((f**2 + _F1**2) * (f**2 + _F4**2))


def _a(f: Any) -> Any:
    skirt = (f**2 + _F2**2) ** 0.5 * (f**2 + _F3**2) ** 0.5
    return _c(f) * f**2 / skirt


def _normalised(formula: Callable[[Any], Any], frequency: xr.DataArray, name: str) -> xr.DataArray:
    # In one step, for formulas of arrays with labels take many times as long.
    squared = xr.apply_ufunc(
        lambda f: (formula(f) / formula(1000.0)) ** 2, exact(frequency), dask="allowed"
    )
    return stamp_change(decibel(squared), long_name=name, citations=[IEC_61672_1])


@checked
def a(frequency: Frequency) -> xr.DataArray:
    """A-weighting at the exact centres of nominal bands.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz]; the standard tabulates 10 Hz to 20 kHz, below that the formula is
        an extrapolation.

    Returns
    -------
    xarray.DataArray
        Weighting [dB], to be added to a band level; 0 dB at 1 kHz.

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    IEC 61672-1:2013, A weighting.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> float(a(third_octaves(63, 63))[0].round(1))
    -26.2
    """
    return _normalised(_a, frequency, "A-weighting")


@checked
def c(frequency: Frequency) -> xr.DataArray:
    """C-weighting at the exact centres of nominal bands.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz]; tabulated from 10 Hz to 20 kHz.

    Returns
    -------
    xarray.DataArray
        Weighting [dB], to be added to a band level; 0 dB at 1 kHz.

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    IEC 61672-1:2013, C weighting.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> float(c(third_octaves(31.5, 31.5))[0].round(1))
    -3.0
    """
    return _normalised(_c, frequency, "C-weighting")
