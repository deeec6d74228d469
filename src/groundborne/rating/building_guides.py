"""Guide values of vibration for buildings."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import known, positive
from groundborne.rating.vibration_limits import DIN_4150_3

BUILDING_CLASSES = {
    "commercial": (20.0, 40.0, 50.0, 40.0, 10.0),
    "dwelling": (5.0, 15.0, 20.0, 15.0, 5.0),
    "listed": (3.0, 8.0, 10.0, 8.0, 2.5),
}
"""DIN 4150-3:1999 [mm/s]: foundation at 1 to 10, 50 and 100 Hz and above; horizontal at the top
floor, short term; the same, long term."""

FLOOR_SHORT_TERM = 20e-3
"""Vertical at a floor, short term [m/s]."""


@checked
def building_guide(frequency: Frequency, *, building: str) -> xr.DataArray:
    """Largest velocity at the foundation for short-term vibration, DIN 4150-3:1999.

    Below it, damage that lowers the use of the building has not been seen. It is no value of
    comfort, and says nothing of settlement.

    Parameters
    ----------
    frequency : DataArray
        Main frequency of the vibration [Hz], 1 or more; not a band label.
    building : str
        One of ``BUILDING_CLASSES``.

    Returns
    -------
    xarray.DataArray
        Guide value of v_peak, largest of three directions [m/s]; linear between 10, 50 and 100 Hz.

    Raises
    ------
    ValueError
        An unknown class or a frequency below 1 Hz.

    References
    ----------
    DIN 4150-3:1999, Table 1 [seen second-hand].

    Examples
    --------
    >>> (1e3 * building_guide(xr.DataArray([8.0, 30.0]), building="dwelling")).values.tolist()
    [5.0, 10.0]
    """
    known("building_guide", "building", building, BUILDING_CLASSES)
    positive("building_guide", "frequency", frequency, "Hz")
    if bool((frequency < 1).any()):
        raise ValueError("building_guide: frequency lies below 1 Hz, where the guide values begin")
    steps = BUILDING_CLASSES[building][:3]
    found: xr.DataArray = frequency.copy(
        data=1e-3 * np.interp(frequency.values, (10.0, 50.0, 100.0), steps)
    )
    found.attrs = {
        "long_name": "guide value of v_peak",
        "units": "m/s",
        "citations": DIN_4150_3.text,
    }
    return found
