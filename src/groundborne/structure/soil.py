"""What soil does to a foundation before a building stands on it."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, finite, not_negative, positive
from groundborne.citation import Citation

PROFILE_DEPTH = Citation(
    key="nist2012-profile-depth",
    author="NIST GCR 12-917-21",
    year="2012",
    title="effective profile depth √(B L) of half-sizes below the base, vertical motion",
    locator="as transcribed in a public repository",
    mark="seen second-hand",
    status="transcribed",
)


@checked
def free_velocity_ratio(foundation: Any, frequency: Frequency) -> xr.DataArray:
    """Velocity of a foundation without its building over that of the ground around it [-].

    Its own mass rides on the soil, which moves it by ``Z_soil/(Z_soil + jωm)``. What drives a
    building is the velocity of this foundation, not that of the ground.

    Parameters
    ----------
    foundation : Mobility
        That tells its soil from its mass by ``soil_impedance``: footings, discs, springs, piles and
        their groups, shares of them; or a :class:`~groundborne.structure.Raft`, which long waves
        move by ``s/s′``.
    frequency : DataArray
        Frequencies [Hz], not band labels.

    Returns
    -------
    xarray.DataArray
        Complex; 1 at low frequency and where the foundation has no mass.

    Raises
    ------
    ValueError
        A foundation that does not tell soil from mass.

    References
    ----------
    Derived: source velocity of a mass on a spring and dashpot whose foot moves.

    Examples
    --------
    >>> from groundborne.structure import SpringFoundation
    >>> soil = SpringFoundation(stiffness=1e9, loss_factor=0.1, mass=1e9 / (2 * np.pi * 10) ** 2)
    >>> f = xr.DataArray([1.0, 10.0, 40.0], dims="frequency")
    >>> abs(free_velocity_ratio(soil, f)).round(3).values.tolist()
    [1.01, 10.05, 0.067]
    """
    if hasattr(foundation, "velocity_in_wave"):
        of_raft: xr.DataArray = foundation.velocity_in_wave(frequency, 0.0)
        return of_raft
    if not hasattr(foundation, "soil_impedance"):
        raise ValueError(
            f"free_velocity_ratio: {type(foundation).__name__} does not tell its soil from its "
            "mass; give it a method soil_impedance(frequency), or use a foundation of this library"
        )
    ratio: xr.DataArray = foundation.soil_impedance(frequency) * foundation.driving_point_mobility(
        frequency
    )
    return ratio


@checked
def effective_shear_wave_speed(
    *,
    top: xr.DataArray,
    speed: xr.DataArray,
    length: Numeric,
    width: Numeric,
    embedment: Numeric = 0.0,
) -> xr.DataArray:
    """One shear wave speed for a footing on layers or on soil that stiffens with depth [m/s].

    Parameters
    ----------
    top : DataArray
        Depth of the top of each layer below ground [m] on ``layer``, rising from 0; the last layer
        goes on downwards. Soil that stiffens gradually is given in thin layers.
    speed : DataArray
        Shear wave speed of each layer at small strain [m/s] on ``layer``.
    length, width : float or DataArray
        Plan of the footing or raft [m].
    embedment : float or DataArray
        Depth of its base below ground [m].

    Returns
    -------
    xarray.DataArray
        Depth over travel time from the base down to ``√(B L)`` below it, half-sizes B and L.

    Raises
    ------
    ValueError
        Depths that do not start at 0 or do not rise, or a number out of bounds.

    Notes
    -----
    It stands for the stiffness of the soil, which is felt to about that depth. It does not know the
    waves that come back from below: on a soft layer over stiff ground radiation is less than from
    a uniform half-space at frequencies below ``V_p/(4 H)``.

    References
    ----------
    NIST GCR 12-917-21 (2012) as transcribed [seen second-hand].

    Examples
    --------
    >>> layers = {"layer": ["fill", "sand", "gravel"]}
    >>> speed = effective_shear_wave_speed(
    ...     top=xr.DataArray([0.0, 2.0, 6.0], dims="layer", coords=layers),
    ...     speed=xr.DataArray([120.0, 180.0, 300.0], dims="layer", coords=layers),
    ...     length=20.0, width=20.0, embedment=2.0)
    >>> round(speed.item(), 1)
    236.8
    """
    where = "effective_shear_wave_speed"
    positive(where, "length", length, "m")
    positive(where, "width", width, "m")
    not_negative(where, "embedment", embedment, "m")
    positive(where, "speed", speed, "m/s")
    finite(where, "top", top)
    for name, given in (("top", top), ("speed", speed)):
        if "layer" not in given.dims:
            raise ValueError(
                f"{where}: {name} has no dim 'layer'; one value for each layer is needed"
            )
    if np.any(top.isel(layer=0).values != 0) or np.any(top.diff("layer").values <= 0):
        raise ValueError(
            f"{where}: top is {top.values.tolist()} m; depths start at 0 and rise from layer to "
            "layer"
        )
    depth = np.sqrt(length * width) / 2
    ends = top.shift(layer=-1, fill_value=np.inf)
    crossed: Any = np.minimum(ends, embedment + depth) - np.maximum(top, embedment)
    found: xr.DataArray = depth / (crossed.clip(min=0.0) / speed).sum("layer", skipna=False)
    return found
