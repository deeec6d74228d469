"""Response of a one-third-octave bank at single frequencies."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import BandError, finite
from groundborne.waveform.filterbank.design import Design, half_band

Array = np.ndarray[Any, Any]

SINGLE = "single_frequency"
"""Dim of frequencies that are no bands."""


def read_frequencies(given: Any, *, bands: xr.DataArray, rate: float) -> xr.DataArray:
    """Frequencies as they are, on ``single_frequency``, after that of the bands if they have one.

    Raises
    ------
    ValueError
        Other dims or numbers of bands, a frequency outside 0 to half the rate.
    """
    where = "ThirdOctaveBank.response"
    plain = not isinstance(given, xr.DataArray)
    f = xr.DataArray(np.atleast_1d(given), dims=SINGLE) if plain else given
    finite(where, "frequencies", f)
    if not set(f.dims) <= {"frequency", SINGLE} or SINGLE not in f.dims:
        raise ValueError(
            f"{where}: frequencies has the dims {f.dims}; ({SINGLE}) or (frequency, {SINGLE}) is "
            "needed"
        )
    if float(f.min()) < 0 or float(f.max()) > rate / 2:
        raise ValueError(
            f"{where}: frequencies reach from {float(f.min()):g} to {float(f.max()):g} Hz; 0 to "
            f"{rate / 2:g} Hz is possible"
        )
    if "frequency" in f.dims and f.sizes["frequency"] != bands.size:
        raise BandError(
            f"{where}: frequencies is for {f.sizes['frequency']} bands; the bank has {bands.size}"
        )
    return f.transpose("frequency", SINGLE, missing_dims="ignore")


def response(plan: Design, hertz: Array) -> Array:
    """Complex response of every band through the whole chain, what folds left out.

    Parameters
    ----------
    plan : Design
        The bank.
    hertz : array
        Frequencies [Hz], shape (band or 1, frequency).

    Returns
    -------
    array
        Response [-], shape (band, frequency).
    """
    count = plan.delay.size
    f = np.broadcast_to(hertz, (count, hertz.shape[-1]))
    found = np.empty(f.shape, complex)
    chain = np.ones(f.shape, complex)
    taps = half_band()
    middle = taps.size // 2
    odd = np.arange(1, middle + 1, 2)
    side = 2 * taps[middle + odd]
    for stage in plan.stages:
        if stage.number:
            turn = np.pi * f / stage.sample_rate
            even = 0.5 + sum(h * np.cos(n * turn) for n, h in zip(odd, side, strict=True))
            chain = chain * even * np.exp(-1j * middle * turn)
        here = slice(stage.first, stage.first + len(stage.sections))
        z = np.exp(-2j * np.pi * f[here, None, :, None] / stage.sample_rate * np.arange(3))
        b = (z * stage.sections[:, :, None, :3]).sum(-1)
        a = (z * stage.sections[:, :, None, 3:]).sum(-1)
        found[here] = chain[here] * (b / a).prod(1)
    return found


def response_of(plan: Design, frequencies: xr.DataArray, *, bands: xr.DataArray) -> xr.DataArray:
    """:func:`response` with its labels, on ``frequency, single_frequency`` [-]."""
    return xr.DataArray(
        response(plan, np.atleast_2d(frequencies.values)),
        dims=("frequency", SINGLE),
        coords={"frequency": bands["frequency"]},
        attrs={"units": "1", "long_name": "response"},
    )
