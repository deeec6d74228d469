"""What lies below the first band of a study: the ground's envelope, changed as the path does.

Below the first band the ground is held to the envelope of ``rating.sufficiency``, and the path of
the option does there what it does.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping

import xarray as xr

from groundborne import bands
from groundborne.citation import ValidityWarning
from groundborne.path import TransmissionPath
from groundborne.rating.sufficiency import envelope
from groundborne.study.evaluation import side_by_side


def levels_below(
    change: xr.DataArray | None, source: xr.DataArray, lowest: float
) -> xr.DataArray | None:
    """Levels below the first band, of the envelope of the source; none where none is missing.

    Parameters
    ----------
    change : DataArray or None
        Of :func:`changes_below`.
    source : DataArray
        Levels of the passbys as a criterion takes them [dB], on ``frequency``.
    lowest : float
        First band of the rating [Hz].
    """
    if change is None:
        return None
    change = change.reset_coords(drop=True).rename(band_below="frequency")
    change = change.sel(frequency=change["frequency"] >= lowest)
    return change + envelope(source, change["frequency"]) if change.sizes["frequency"] else None


def changes_below(
    paths: Mapping[str, TransmissionPath], frequency: xr.DataArray, lowest: float
) -> xr.DataArray | None:
    """What paths do in the bands below those that are evaluated.

    Parameters
    ----------
    paths : mapping of str to TransmissionPath
        By option.
    frequency : DataArray
        Bands that are evaluated [Hz].
    lowest : float
        First band of the rating [Hz].

    Returns
    -------
    xarray.DataArray or None
        Sum of the level changes [dB], dims (option, ..., band_below); none where no band is
        missing. Steps that end where the bands do (tables, measured transfers) are held at their
        first band.
    """
    first = float(frequency.values[0])
    if first <= lowest:
        return None
    below = bands.third_octaves(lowest, first)[:-1]
    with warnings.catch_warnings():
        # No result is given there; it only bounds what is missing.
        warnings.simplefilter("ignore", ValidityWarning)
        totals = {name: total_below(path, below, frequency) for name, path in paths.items()}
    joined = side_by_side(totals, dim="option")
    joined = joined.reset_coords(drop=True).rename(frequency="band_below")
    joined.attrs = {"long_name": "level change below the first band, tables held", "units": "dB"}
    return joined


def total_below(
    path: TransmissionPath, below: xr.DataArray, frequency: xr.DataArray
) -> xr.DataArray:
    """What a path does in bands below those that are evaluated, tables held at their first band.

    Parameters
    ----------
    path : TransmissionPath
        Any path.
    below, frequency : DataArray
        Bands below, and those that are evaluated [Hz].
    """
    total = xr.zeros_like(below, dtype=float)
    for element in path.elements.values():
        try:
            change = element.level_change(below)
            answered = "frequency" not in change.dims or change["frequency"].equals(
                below["frequency"]
            )
        except ValueError:
            answered = False
        if not answered:
            change = element.level_change(frequency)  # whole: it may hold a number for each band
            change = change.isel(frequency=0, drop=True) if "frequency" in change.dims else change
        total = total + change.drop_attrs(deep=False)
    return path.heard(total).reset_coords(drop=True)
