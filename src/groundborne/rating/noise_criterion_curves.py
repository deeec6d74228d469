"""Noise criterion curves and the speech interference level."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, RatingError, within
from groundborne.bands import label
from groundborne.citation import Citation
from groundborne.levels import stamp
from groundborne.rating.octaves import lower_bound_words, require_octaves

SPEECH_OCTAVES = (500.0, 1000.0, 2000.0, 4000.0)
"""Octaves of the speech interference level [Hz]."""

ANSI_S12_2 = Citation(
    key="ansi-s12-2-nc",
    author="ANSI/ASA S12.2",
    year="2019",
    title="Criteria for evaluating room noise",
    locator="Table 1, NC curves; 3.2 and 5.2.2 speech interference level; 5.2.3 tangency",
    mark="seen second-hand",
    status="transcribed",
)

NC_OCTAVES = (16.0, 31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Octaves of the NC curves [Hz]."""

_NC = np.arange(15.0, 71.0, 5.0)

_NC_TABLE = np.array(
    [
        [78, 61, 47, 36, 28, 22, 18, 14, 12, 11],
        [79, 63, 50, 40, 33, 26, 22, 20, 17, 16],
        [80, 65, 54, 44, 37, 31, 27, 24, 22, 22],
        [81, 68, 57, 48, 41, 35, 32, 29, 28, 27],
        [82, 71, 60, 52, 45, 40, 36, 34, 33, 32],
        [84, 74, 64, 56, 50, 44, 41, 39, 38, 37],
        [85, 76, 67, 60, 54, 49, 46, 44, 43, 42],
        [87, 79, 71, 64, 58, 54, 51, 49, 48, 47],
        [89, 82, 74, 67, 62, 58, 56, 54, 53, 52],
        [90, 85, 77, 71, 66, 63, 60, 59, 58, 57],
        [90, 88, 80, 75, 71, 68, 65, 64, 63, 62],
        [90, 90, 84, 79, 75, 72, 71, 70, 68, 68],
    ],
    dtype=float,
)


@checked
def nc_curve(number: Numeric) -> xr.DataArray:
    """Octave levels of a noise criterion curve.

    Parameters
    ----------
    number : float or DataArray
        NC [-], 15 to 70.

    Returns
    -------
    xarray.DataArray
        [dB re 20 µPa] on ``frequency``, octaves 16 to 8000 Hz; straight lines between the printed
        curves, which stand five apart.

    Raises
    ------
    ValueError
        A number outside the table.

    References
    ----------
    ANSI/ASA S12.2-2019, Table 1 [seen second-hand]. An older set differs by 1 dB in some cells.

    Examples
    --------
    >>> nc_curve(35.0).values[:4].tolist()
    [82.0, 71.0, 60.0, 52.0]
    """
    asked = xr.DataArray(within("nc_curve", "number", number, 15.0, 70.0, ""))
    curve = xr.apply_ufunc(
        lambda n: np.stack([np.interp(n, _NC, column) for column in _NC_TABLE.T], axis=-1),
        asked,
        output_core_dims=[["frequency"]],
    ).assign_coords(frequency=list(NC_OCTAVES))
    return stamp(
        curve,
        quantity="sound pressure",
        reference="20 µPa",
        long_name="noise criterion curve",
        citations=[ANSI_S12_2],
    )


@checked
def speech_interference_level(level: xr.DataArray) -> xr.DataArray:
    """Arithmetic mean of the octave levels from 500 to 4000 Hz.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] on octaves, dim ``frequency``.

    Returns
    -------
    xarray.DataArray
        SIL [dB re 20 µPa] without ``frequency``.

    Raises
    ------
    LevelError, BandError
        Not a labelled sound pressure level on octaves.
    RatingError
        One of the four octaves is missing.

    References
    ----------
    ANSI/ASA S12.2-2019, 3.2 [seen second-hand].

    Examples
    --------
    >>> level = stamp(xr.DataArray([39.0, 36.0, 34.0, 33.0],
    ...               coords={"frequency": [500.0, 1000.0, 2000.0, 4000.0]}),
    ...               quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> speech_interference_level(level).item()
    35.5
    """
    require_octaves(level, "speech_interference_level")
    missing = [f for f in SPEECH_OCTAVES if f not in level["frequency"].values]
    if missing:
        raise RatingError(
            f"speech_interference_level: the octave of {label(missing[0])} Hz is missing; 500, "
            "1000, 2000 and 4000 Hz are needed"
        )
    mean = level.sel(frequency=list(SPEECH_OCTAVES)).mean("frequency")
    return stamp(
        mean,
        quantity="sound pressure",
        reference=level.attrs["reference"],
        long_name="speech interference level",
        location=level.attrs.get("location", ""),
        citations=[ANSI_S12_2],
    )


@checked
def noise_criterion(level: xr.DataArray) -> xr.Dataset:
    """NC of an octave spectrum, and the octave that touches the highest curve.

    The speech interference level chooses a curve; a spectrum that exceeds it in no octave is
    designated by it. Otherwise, and where speech octaves are missing, the highest curve decides
    that the spectrum touches.

    Parameters
    ----------
    level : DataArray
        Labelled sound pressure level [dB re 20 µPa] on octaves, dim ``frequency``.

    Returns
    -------
    xarray.Dataset
        ``rating`` [-], decimals kept (reports round up); ``method`` (``SIL`` or ``tangency``);
        ``tangency`` [-] and ``governing_octave`` [Hz] in any case; ``below_table``: every octave
        lies below NC 15, and 15 is an upper bound; ``sil`` [dB] where its octaves are there. The
        attribute ``lower_bound`` says why the number may be too low.

    Raises
    ------
    LevelError, BandError
        Not a labelled sound pressure level on octaves.
    RatingError
        No octave from 16 to 8000 Hz, or a level above the curve of NC 70: the standard ends there.

    Warns
    -----
    ValidityWarning
        As for :func:`noise_rating_of_octaves`.

    References
    ----------
    ANSI/ASA S12.2-2019, 5.2.2 and 5.2.3 [seen second-hand]; straight lines between the curves.

    Examples
    --------
    >>> level = stamp(
    ...     xr.DataArray([79.0, 69.0, 59.0, 51.0, 50.0, 39.0, 36.0, 34.0, 33.0, 32.0],
    ...                  coords={"frequency": list(NC_OCTAVES)}),
    ...     quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> found = noise_criterion(level)
    >>> found["rating"].item(), found["governing_octave"].item(), found["method"].item()
    (40.0, 250.0, 'tangency')
    """
    where = "noise_criterion"
    require_octaves(level, where)
    used = _used(level, NC_OCTAVES, where)
    part = level.sel(frequency=used)
    highest = nc_curve(70.0).sel(frequency=used)
    over = part > highest
    if bool(over.any()):
        f = float(part["frequency"].where(over.any(set(over.dims) - {"frequency"})).min())
        raise RatingError(
            f"{where}: the level in the octave of {label(f)} Hz lies up to "
            f"{float((part - highest).sel(frequency=f).max()):.4g} dB above the curve of NC 70, "
            "where the standard ends"
        )
    each = xr.concat([_touched(part.sel(frequency=f), f) for f in used], dim="frequency")
    each = each.assign_coords(frequency=used)
    over_lowest = part - nc_curve(_NC[0]).sel(frequency=used)
    below = (over_lowest < 0).all("frequency")
    tangency = each.max("frequency")
    # At the lowest curve and below it, the octave nearest to that curve is the one to watch.
    lowest = tangency <= _NC[0]
    governing = xr.where(lowest, over_lowest.idxmax("frequency"), each.idxmax("frequency"))
    found = {
        "rating": tangency,
        "method": xr.full_like(tangency, "tangency", dtype="<U8"),
        "tangency": tangency,
        "governing_octave": governing,
        "below_table": below,
    }
    if set(SPEECH_OCTAVES) <= set(used):
        found |= _by_speech(part, speech_interference_level(level), tangency)
    # Held against the curve that decides: the rating itself stands still below the lowest curve.
    over = part - nc_curve(tangency).sel(frequency=used)
    bound = lower_bound_words(level, over, (NC_OCTAVES[0], NC_OCTAVES[-1]), "noise criterion", "dB")
    return xr.Dataset(
        {name: value.drop_attrs() for name, value in found.items()},
        attrs={"citations": ANSI_S12_2.text, "lower_bound": bound},
    )


def _by_speech(
    part: xr.DataArray, sil: xr.DataArray, tangency: xr.DataArray
) -> dict[str, xr.DataArray]:
    """Rating and method where the speech interference level chooses the curve."""
    inside = (sil >= _NC[0]) & (sil <= _NC[-1])
    curve = nc_curve(sil.clip(_NC[0], _NC[-1]))
    decides = inside & (part <= curve.sel(frequency=part["frequency"])).all("frequency")
    return {
        "rating": xr.where(decides, sil, tangency),
        "method": xr.where(decides, "SIL", "tangency"),
        "sil": sil,
    }


def _touched(level: xr.DataArray, octave: float) -> xr.DataArray:
    """Lowest NC whose curve a level does not exceed, no lower than the table."""
    column = _NC_TABLE[:, NC_OCTAVES.index(octave)]
    steps, first = np.unique(column, return_index=True)
    return level.drop_vars("frequency").copy(data=np.interp(level.values, steps, _NC[first]))


def _used(level: xr.DataArray, octaves: tuple[float, ...], where: str) -> list[float]:
    used = [f for f in level["frequency"].values.tolist() if f in octaves]
    if not used:
        raise RatingError(
            f"{where}: no octave from {label(octaves[0])} to {label(octaves[-1])} Hz is in the "
            "spectrum"
        )
    return used
