"""What a slab does well above its first resonance: the balance of power put in and lost.

Columns of a perfect grid would make stop bands and resonances of the perfect grid. In buildings,
whose bays differ, a slab far above its first resonance moves as the power that its supports put
into it allows: as an endless plate takes it, and as its losses take it away.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne.citation import Citation
from groundborne.structure import thin_slab

POWER_BALANCE = Citation(
    key="slab-power-balance",
    author="groundborne",
    title="power of supports into an endless plate against the losses of a panel; loss factor 0.08 "
    "fitted to the means of E DIN 45672-3:2023, Annex A",
    mark="derived",
    status="transcribed",
)
LOSS_FACTOR = 0.08
"""Of slabs with what stands on them, above their first resonances: fitted to the means of E DIN
45672-3:2023 Annex A, which therefore cannot validate it."""
_DIRECTIONS, _AROUND = 60, "direction_in_slab"
_BELOW, _ABOVE = 1.25, 2.0
"""Of the first resonance: up to the first the panel as it is, from the second the balance."""


def of_columns(slab: Any, frequency: xr.DataArray) -> xr.DataArray:
    """Mean square of a panel over that of the columns under its corners [-].

    ``v_c² Re Z∞ = η ω m″ a b <v²>`` with ``Z∞ = 8 √(B′m″)``.
    """
    speed = 8 * np.sqrt(slab.bending_stiffness / slab.mass_per_area)
    ratio: xr.DataArray = speed / (2 * np.pi * frequency * LOSS_FACTOR * slab.span_x * slab.span_y)
    return ratio


def of_edges(slab: Any, frequency: xr.DataArray, *, supported: Any) -> xr.DataArray:
    """Mean square of a panel over that of the edges that move it [-].

    A metre of an edge free to turn takes ``v² m″ω/(2k_B)``; `supported` is the length of the moving
    edges over the area of the panel [1/m].
    """
    ratio: xr.DataArray = supported / (2 * wavenumber(slab, frequency) * LOSS_FACTOR)
    return ratio


def wavenumber(slab: Any, frequency: xr.DataArray) -> xr.DataArray:
    """Of free bending waves, ``(ω² m″/B′)^¼`` [rad/m]."""
    wave: xr.DataArray = (
        np.sqrt(2 * np.pi * frequency) * (slab.mass_per_area / slab.bending_stiffness) ** 0.25
    )
    return wave


def moving_as_one(wave: xr.DataArray, *, length: Any, width: Any) -> xr.DataArray:
    """Share of the mean square of bending waves with which a rectangle of a slab moves as one [-].

    Of waves from all sides: the mean over directions of ``j0²(k_x L/2) j0²(k_y W/2)``. A floor of a
    room that is small to the wave moves as a whole whatever the mean over its bay does, where the
    parts of the bay cancel: 1 for a small rectangle, 0 for a large one.

    Parameters
    ----------
    wave : DataArray
        Wave number [rad/m].
    length, width : float or DataArray
        Of the rectangle [m].
    """
    angle = xr.DataArray((np.arange(_DIRECTIONS) + 0.5) * np.pi / 2 / _DIRECTIONS, dims=_AROUND)
    x, y = wave * np.cos(angle) * length / 2, wave * np.sin(angle) * width / 2
    along, across = np.sin(x) / x, np.sin(y) / y  # between the axes, where neither is 0
    share: xr.DataArray = ((along * across) ** 2).mean(_AROUND, skipna=False)
    return share


def reverberant_above(
    slab: Any, frequency: xr.DataArray, ratio: xr.DataArray, *, floating: bool
) -> xr.DataArray:
    """The ratio of the panel itself, going over into the balance of power above it.

    Linearly over the logarithm of the frequency, from 1.25 to 2 times the first resonance.
    """
    place = np.log(frequency / slab.first_resonance / _BELOW) / np.log(_ABOVE / _BELOW)
    share = place.clip(0.0, 1.0)
    top = abs(thin_slab.top_ratio(slab, frequency, floating)) ** 2
    result: xr.DataArray = ratio * (1 - share) + slab.reverberant_ratio(frequency) * top * share
    return result
