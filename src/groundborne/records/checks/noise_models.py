"""Quietest and noisiest natural ground: the new low and high noise models, to catch wrong scales.

They hold for vertical ground acceleration at seismic stations, periods of 0.1 s and longer. A
building beside a railway may lie above the high model by tens of decibels; a record that is 40 dB
outside has a wrong sensitivity, a very noisy sensor or an extraordinary source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, positive
from groundborne.citation import Citation

PETERSON_1993 = Citation(
    key="peterson1993",
    author="Peterson J.",
    year="1993",
    title="Observations and modeling of seismic background noise, USGS Open-File Report 93-322",
    locator="Tables 3 and 4, power spectral density of ground acceleration",
    mark="seen second-hand",
    status="verified",
)

LONGEST_PERIOD = 100000.0
"""End of both models [s]."""

SHORTEST_PERIOD = 0.1
"""Beginning of both models [s]: nothing is said above 10 Hz."""

# Shortest period [s] of each straight piece, and its A and B: A + B lg(period) dB re 1 (m/s²)²/Hz.
_LOW = np.array(
    [
        [0.10, -162.36, 5.64],
        [0.17, -166.70, 0.00],
        [0.40, -170.00, -8.30],
        [0.80, -166.40, 28.90],
        [1.24, -168.60, 52.48],
        [2.40, -159.98, 29.81],
        [4.30, -141.10, 0.00],
        [5.00, -71.36, -99.77],
        [6.00, -97.26, -66.49],
        [10.00, -132.18, -31.57],
        [12.00, -205.27, 36.16],
        [15.60, -37.65, -104.33],
        [21.90, -114.37, -47.10],
        [31.60, -160.58, -16.28],
        [45.00, -187.50, 0.00],
        [70.00, -216.47, 15.70],
        [101.00, -185.00, 0.00],
        [154.00, -168.34, -7.61],
        [328.00, -217.43, 11.90],
        [600.00, -258.28, 26.60],
        [10000.00, -346.88, 48.75],
    ]
)
_HIGH = np.array(
    [
        [0.10, -108.73, -17.23],
        [0.22, -150.34, -80.50],
        [0.32, -122.31, -23.87],
        [0.80, -116.85, 32.51],
        [3.80, -108.48, 18.08],
        [4.60, -74.66, -32.95],
        [6.30, 0.66, -127.18],
        [7.90, -93.37, -22.42],
        [15.40, 73.54, -162.98],
        [20.00, -151.52, 10.01],
        [354.80, -206.66, 31.63],
    ]
)


@checked(bare=("frequency",))
def new_low_noise_model(frequency: Numeric) -> Numeric:
    """Quietest ground: power spectral density of acceleration [dB re 1 (m/s²)²/Hz].

    Parameters
    ----------
    frequency : float or array or DataArray
        From 1e-5 to 10 Hz.

    Returns
    -------
    float or array or DataArray
        Of the shape of ``frequency``.

    Raises
    ------
    ValueError
        A frequency outside the model; it is not extrapolated.

    References
    ----------
    Peterson (1993), Table 3; read in public transcriptions.

    Examples
    --------
    >>> round(float(new_low_noise_model(10.0)), 2)
    -168.0
    """
    return _model("new_low_noise_model", frequency, _LOW)


@checked(bare=("frequency",))
def new_high_noise_model(frequency: Numeric) -> Numeric:
    """Noisiest natural ground: power spectral density of acceleration [dB re 1 (m/s²)²/Hz].

    Parameters
    ----------
    frequency : float or array or DataArray
        From 1e-5 to 10 Hz.

    Returns
    -------
    float or array or DataArray
        Of the shape of ``frequency``.

    Raises
    ------
    ValueError
        A frequency outside the model; it is not extrapolated.

    References
    ----------
    Peterson (1993), Table 4; read in public transcriptions.

    Examples
    --------
    >>> round(float(new_high_noise_model(10.0)), 2)
    -91.5
    """
    return _model("new_high_noise_model", frequency, _HIGH)


def _model(where: str, frequency: Numeric, table: np.ndarray[Any, Any]) -> Numeric:
    positive(where, "frequency", frequency, "Hz")
    values = np.asarray(frequency, dtype=float)
    period = 1 / values
    # 1/(1/0.1) may miss 0.1 by the last bit.
    outside = (period < SHORTEST_PERIOD * (1 - 1e-12)) | (period > LONGEST_PERIOD * (1 + 1e-12))
    if outside.any():
        raise ValueError(
            f"{where}: frequency is {values[outside].flat[0]:g} Hz; the model holds from "
            f"{1 / LONGEST_PERIOD:g} to {1 / SHORTEST_PERIOD:g} Hz"
        )
    piece = np.searchsorted(table[:, 0] * (1 - 1e-12), period, side="right") - 1
    level = table[piece, 1] + table[piece, 2] * np.log10(period)
    if isinstance(frequency, xr.DataArray):
        result = frequency.copy(data=level)
        result.attrs = {"units": "dB", "reference": "1 (m/s²)²/Hz"}
        return result
    return level if isinstance(frequency, np.ndarray) else float(level)
