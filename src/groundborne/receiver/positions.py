"""Where in a room the sound is measured: corners, prescribed positions, and their spread."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive
from groundborne.bands import exact
from groundborne.citation import Citation

ISO_16032_POSITIONS = Citation(
    key="iso16032-positions",
    author="ISO/DIS 16032",
    year="2023",
    title="Measurement of sound pressure level from service equipment or activities in buildings",
    locator="7.2 to 7.5, one corner and two positions in the room, energy mean",
    mark="seen second-hand",
    status="transcribed",
)
POSITION_SPREAD = Citation(
    key="room-position-spread",
    author="groundborne",
    title="standard deviation over positions, by modal sums of a room of 31 m³",
    mark="derived",
    status="assumed",
)

_SPREAD = ((25.0, 3.0), (100.0, 5.0), (160.0, 4.0), (np.inf, 3.0))  # up to the band [Hz], dB


@checked
def prescribed(*, corner: xr.DataArray, average: xr.DataArray) -> xr.DataArray:
    """Mean square of one corner and two positions in the room, ``(p²_corner + 2 p²_average)/3``.

    Parameters
    ----------
    corner, average : DataArray
        Mean squares in one unit.

    Returns
    -------
    xarray.DataArray
        The energy mean over three microphones; of the corner a third.

    References
    ----------
    ISO/DIS 16032:2023, 7.2 to 7.5, and the same weights in ISO 16283-1:2014, formula 13
    [seen second-hand].

    Examples
    --------
    >>> prescribed(corner=xr.DataArray(4.0), average=xr.DataArray(1.0)).item()
    2.0
    """
    mean: xr.DataArray = (corner + 2 * average) / 3
    return mean


@checked
def in_corner(
    frequency: Frequency, *, distance: Numeric, speed_of_sound: float = 343.0
) -> xr.DataArray:
    """Mean square of a diffuse field near a corner over that far from all surfaces.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz].
    distance : float or DataArray
        From each of the three surfaces [m], 0 or more.
    speed_of_sound : float
        [m/s].

    Returns
    -------
    xarray.DataArray
        [-]; 8 in the corner itself, 1 far away.

    References
    ----------
    Waterhouse 1955 [from memory]; the sum over images follows by itself.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> in_corner(third_octaves(63, 63), distance=0.0).item()
    8.0
    """
    not_negative("in_corner", "distance", distance, "m")
    positive("in_corner", "speed_of_sound", speed_of_sound, "m/s")
    k = 2 * np.pi * exact(frequency) / speed_of_sound
    total: xr.DataArray = xr.ones_like(k)
    for count in (1, 2, 3):
        images = len(list(combinations(range(3), count)))
        # numpy's sinc is sin(πx)/(πx).
        total = total + images * np.sinc(2 * k * distance * np.sqrt(count) / np.pi)
    return total


@checked
def position_standard_deviation(frequency: Frequency, *, positions: int = 1) -> xr.DataArray:
    """Spread of a band level over positions in a room, or of the mean of several positions.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz].
    positions : int
        Separate positions whose mean is taken, 1 or more; their spread falls as its square root.

    Returns
    -------
    xarray.DataArray
        Standard deviation [dB]: 3 up to 25 Hz, 5 up to 100, 4 up to 160, 3 above.

    Raises
    ------
    ValueError
        No position.

    Notes
    -----
    Of positions 0.5 m and more from the walls, in a room of 31 m³ with a reverberation time of
    0.5 s. A single tone in a diffuse field spreads by 5.57 dB; larger and more lively rooms reach
    their smaller spread at lower frequencies. The loudest point lies 5 to 9 dB above the mean over
    the room.

    References
    ----------
    Rounded from modal sums [derived]; 5.0 to 5.5 dB were measured in 90 m³ (Skålevik [seen
    second-hand]).

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> position_standard_deviation(third_octaves(80, 200)).values.tolist()
    [5.0, 5.0, 4.0, 4.0, 3.0]
    """
    if positions < 1:
        raise ValueError(
            f"position_standard_deviation: positions is {positions}; 1 or more are needed"
        )
    ends, values = (np.array(column) for column in zip(*_SPREAD, strict=True))
    found: xr.DataArray = xr.zeros_like(frequency, dtype=float)
    found = found.copy(data=values[np.searchsorted(ends, frequency.values)])
    spread: xr.DataArray = found / np.sqrt(positions)
    spread.attrs = {
        "long_name": "standard deviation over positions",
        "units": "dB",
        "citations": POSITION_SPREAD.text,
    }
    return spread
