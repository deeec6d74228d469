"""The maximum of a group of trains from its mean."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import positive
from groundborne.citation import Citation
from groundborne.levels import energy_mean

GROUP_RMS = Citation(
    key="edin4150-2-group",
    author="E DIN 4150-2",
    year="2023",
    locator="group rms over passages; 1.5 times it estimates the maximum",
    mark="seen second-hand",
    status="transcribed",
)

MAXIMUM_FACTOR = 1.5
"""The largest of a group of passbys as a multiple of the group's rms value [-]."""


@checked
def maximum_from_group(
    level: xr.DataArray, *, factor: float = MAXIMUM_FACTOR, dim: str = "passby"
) -> xr.DataArray:
    """Estimate of the largest passby from the group's rms value instead of the largest measured.

    One train with a flat wheel then does not stand for the line.

    Parameters
    ----------
    level : DataArray
        Levels [dB] of one class with `dim`.
    factor : float
        Maximum over group rms [-].
    dim : str
        Dimension of the passbys.

    Returns
    -------
    xarray.DataArray
        ``energy mean + 20 lg factor`` [dB].

    Raises
    ------
    ValueError
        A factor that is not above 0.

    References
    ----------
    E DIN 4150-2:2023 [seen second-hand], there for the weighted velocity of one train class.

    Examples
    --------
    >>> maximum_from_group(xr.DataArray([60.0, 60.0], dims="passby")).round(2).item()
    63.52
    """
    positive("maximum_from_group", "factor", factor, "")
    estimate: xr.DataArray = energy_mean(level, dim) + 20 * np.log10(factor)
    return estimate.assign_attrs(level.attrs)
