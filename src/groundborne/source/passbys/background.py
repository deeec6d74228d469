"""Background under a passby: corrected where the train stands out, else an upper limit."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import LevelError, Numeric, finite
from groundborne.citation import Citation
from groundborne.levels import decibel, energy, require

BACKGROUND = Citation(
    key="background-rule",
    author="ISO 1996-2",
    title="Determination of sound pressure levels",
    locator="residual sound: no correction within 3 dB, none needed from 10 dB",
    mark="from memory",
    status="transcribed",
)
"""Written for sound; its use for vibration bands is common practice."""

DETECTABLE, NEGLIGIBLE = 3.0, 10.0
"""Level above background [dB] from which a train is told from it, and from which it adds nothing
worth taking off."""


@checked
def correct_for_background(
    level: xr.DataArray,
    background: xr.DataArray,
    *,
    compared_with: xr.DataArray | None = None,
    detectable: Numeric = DETECTABLE,
    negligible: float = NEGLIGIBLE,
) -> tuple[xr.DataArray, xr.DataArray]:
    """Take the background off a level, or call the level an upper limit.

    Parameters
    ----------
    level : DataArray
        Labelled level with the train [dB].
    background : DataArray
        Labelled energy mean of the background [dB], same quantity and reference.
    compared_with : DataArray, optional
        Background by the same statistic as the level, which decides whether the train is
        detectable: a maximum is compared with the maximum of the background. The energy mean by
        default.
    detectable : float or DataArray
        Least height above `compared_with` of a train that is detectable [dB]; it may differ from
        band to band.
    negligible : float
        Height above the background from which nothing is taken off [dB].

    Returns
    -------
    tuple of DataArray
        Level of the train alone [dB]; and where it is only an upper limit (bool), the level as
        measured.

    Raises
    ------
    LevelError
        Levels that are not labelled or of different quantities or references.
    ValueError
        A height that is not above 0, or out of order.

    Notes
    -----
    ``10 lg(10^(L/10) − 10^(L_b/10))`` in between. At 3 dB a background known to 1 dB leaves the
    corrected level uncertain by about 1 dB.

    References
    ----------
    ISO 1996-2 [from memory]; its use for vibration bands is common practice.

    Examples
    --------
    >>> from groundborne.levels import stamp
    >>> level, floor = (stamp(xr.DataArray(x, dims="passby"), quantity="velocity",
    ...                       reference="1 nm/s", long_name="level")
    ...                 for x in ([62.0, 66.0, 75.0], [60.0, 60.0, 60.0]))
    >>> train, limit = correct_for_background(level, floor)
    >>> train.round(1).values.tolist(), limit.values.tolist()
    ([62.0, 64.7, 75.0], [True, False, False])
    """
    where = "correct_for_background"
    if compared_with is None:
        compared_with = background
    for array in (level, background, compared_with):
        require(array, where=where, quantity=level.attrs.get("quantity"))
        if array.attrs["reference"] != level.attrs["reference"]:
            raise LevelError(
                f"{where}: levels re {level.attrs['reference']} and re {array.attrs['reference']}; "
                "use levels.convert first"
            )
    for name, value in (("detectable", detectable), ("negligible", negligible)):
        finite(where, name, value)
    least, most = float(np.min(np.asarray(detectable))), float(np.max(np.asarray(detectable)))
    if not 0.0 < least <= most <= negligible:
        raise ValueError(
            f"{where}: detectable is {most:g} and negligible {negligible:g} dB; 0 < "
            "detectable ≤ negligible is needed"
        )
    above = level - background
    # The energy below `detectable` is not used: the level itself stands there as a limit.
    limit = (level - compared_with < detectable) | (above < detectable)
    safe = xr.where(limit | (above >= negligible), np.inf, above)
    off = decibel(1.0 - energy(-safe))
    return (level + off).assign_attrs(level.attrs), limit.drop_attrs(deep=False)
