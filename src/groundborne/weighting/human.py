"""Weightings of human vibration as levels at exact band centres."""

from __future__ import annotations

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import known
from groundborne.bands import exact
from groundborne.levels import decibel, stamp_change
from groundborne.weighting.response import CURVES, DIN_45669_1, ISO_8041_1, response

KB_BANDS = {"1-80 Hz": "KB", "4-315 Hz": "KB railway"}
"""Working ranges of DIN 45669-1 and the curve of each: for buildings, and next to railways."""


def _level(curve: str, frequency: xr.DataArray) -> xr.DataArray:
    power = abs(response(curve, exact(frequency))) ** 2
    return stamp_change(
        decibel(power), long_name=f"{curve}-weighting", citations=[CURVES[curve].citation]
    )


@checked
def wb(frequency: Frequency) -> xr.DataArray:
    """Wb weighting of acceleration at the exact centres of nominal bands.

    Vertical vibration of people in buildings (BS 6472-1:2008) and in vehicles.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz]; tabulated from 0.1 to 400 Hz, meant for 0.5 to 80 Hz.

    Returns
    -------
    xarray.DataArray
        Weighting [dB], to be added to an acceleration band level.

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    ISO 8041-1:2017, Table 3 and Annex B.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> float(wb(third_octaves(8, 8))[0].round(2))
    0.23
    """
    return _level("Wb", frequency)


@checked
def wc(frequency: Frequency) -> xr.DataArray:
    """Wc weighting of acceleration at the exact centres of nominal bands.

    Horizontal vibration at the back of a seated person.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz]; tabulated from 0.1 to 400 Hz, meant for 0.5 to 80 Hz.

    Returns
    -------
    xarray.DataArray
        Weighting [dB], to be added to an acceleration band level.

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    ISO 8041-1:2017, Table 3 and Annex B.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> float(wc(third_octaves(8, 8))[0].round(2))
    -0.97
    """
    return _level("Wc", frequency)


@checked
def wd(frequency: Frequency) -> xr.DataArray:
    """Wd weighting of acceleration at the exact centres of nominal bands.

    Horizontal vibration of people, seated or standing.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz]; tabulated from 0.1 to 400 Hz, meant for 0.5 to 80 Hz.

    Returns
    -------
    xarray.DataArray
        Weighting [dB], to be added to an acceleration band level.

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    ISO 8041-1:2017, Table 3 and Annex B.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> float(wd(third_octaves(8, 8))[0].round(2))
    -11.87
    """
    return _level("Wd", frequency)


@checked
def we(frequency: Frequency) -> xr.DataArray:
    """We weighting of acceleration at the exact centres of nominal bands.

    Rotational vibration of a seated person; [rad/s²] in place of acceleration.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz]; tabulated from 0.1 to 400 Hz, meant for 0.5 to 80 Hz.

    Returns
    -------
    xarray.DataArray
        Weighting [dB], to be added to an acceleration band level.

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    ISO 8041-1:2017, Table 3 and Annex B.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> float(we(third_octaves(8, 8))[0].round(2))
    -17.97
    """
    return _level("We", frequency)


@checked
def wk(frequency: Frequency) -> xr.DataArray:
    """Wk weighting of acceleration at the exact centres of nominal bands.

    Vertical vibration of people (ISO 2631-1).

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz]; tabulated from 0.1 to 400 Hz, meant for 0.5 to 80 Hz.

    Returns
    -------
    xarray.DataArray
        Weighting [dB], to be added to an acceleration band level.

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    ISO 8041-1:2017, Table 3 and Annex B.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> float(wk(third_octaves(8, 8))[0].round(2))
    0.32
    """
    return _level("Wk", frequency)


@checked
def wm(frequency: Frequency) -> xr.DataArray:
    """Wm weighting of acceleration at the exact centres of nominal bands.

    Vibration in buildings whatever the posture (ISO 2631-2).

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz]; tabulated from 0.1 to 400 Hz, meant for 1 to 80 Hz.

    Returns
    -------
    xarray.DataArray
        Weighting [dB], to be added to an acceleration band level.

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    ISO 8041-1:2017, Table 3 and Annex B.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> float(wm(third_octaves(8, 8))[0].round(2))
    -4.7
    """
    return _level("Wm", frequency)


@checked
def kb(frequency: Frequency, *, band: str = "1-80 Hz") -> xr.DataArray:
    """KB weighting of velocity at the exact centres of nominal bands.

    Two-pole Butterworth band limits at 0.8 times the lower and 1/0.8 times the upper working
    frequency, times ``1/√(1 + (5.6 Hz/f)²)``. KB is the weighted velocity in mm/s, written without
    a unit.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz].
    band : str
        Working range: ``1-80 Hz`` (buildings) or ``4-315 Hz`` (next to railways).

    Returns
    -------
    xarray.DataArray
        Weighting [dB], to be added to a velocity band level.

    Raises
    ------
    BandError
        A value is not a nominal label.
    ValueError
        An unknown working range.

    References
    ----------
    DIN 45669-1:2010, formulas 3 and 4 [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> float(kb(third_octaves(8, 8))[0].round(2))
    -1.75
    """
    known("weighting.kb", "band", band, KB_BANDS)
    return _level(KB_BANDS[band], frequency)


__all__ = [
    "DIN_45669_1",
    "ISO_8041_1",
    "KB_BANDS",
    "kb",
    "wb",
    "wc",
    "wd",
    "we",
    "wk",
    "wm",
]
