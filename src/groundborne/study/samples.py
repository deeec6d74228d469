"""Sampled results as one number with its range: the median, smallest and largest of the samples."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne.study.assessment import decide
from groundborne.study.equipment import (
    equipment_assessment,
    holds_equipment,
    with_prefix,
    without_equipment,
)

ERRORS = "samples_of_errors"
"""Attribute of a result whose answers are by probability: the number of samples."""

_RANGED = ("rating", "margin", "margin_one_stage")


def median_case(result: xr.Dataset) -> xr.Dataset:
    """A result without its samples: the median of every number by itself.

    Parameters
    ----------
    result : Dataset
        Result of a study, with the dim ``sample`` or without.

    Returns
    -------
    xarray.Dataset
        Without ``sample``. Beside ``rating`` and ``margin`` stand ``rating_low``, ``rating_high``
        and so on, the smallest and the largest; ``valid`` is true where all samples are; answers
        hold for all samples, and lower bounds where any sample is one; the attribute ``samples``
        holds their number. A result without samples comes back as it is.

    Notes
    -----
    Medians do not add up: that of a level is not the sum of those of its stages, and the spectrum
    of medians is no sample's spectrum.

    Examples
    --------
    >>> rating = xr.DataArray([[30.0, 31.0, 35.0]], dims=("room", "sample"))
    >>> found = median_case(xr.Dataset({"rating": rating}))
    >>> float(found["rating"][0]), round(float(found["rating_high"][0]), 1)
    (31.0, 35.0)
    """
    if "sample" not in result.dims:
        return result
    if holds_equipment(result):
        rooms, own = (
            median_case(part) for part in (without_equipment(result), equipment_assessment(result))
        )
        return rooms.merge(with_prefix(own), join="exact").assign_attrs(
            samples=result.sizes["sample"]
        )
    found = result.drop_dims("sample").assign_attrs(samples=result.sizes["sample"])
    for name, array in result.variables.items():
        if "sample" not in array.dims or name not in result.data_vars:
            continue
        values = result[name].compute()
        if values.dtype.kind == "U":
            continue  # answers and marks are decided anew below
        if name == "may_add":
            found[name] = values.max("sample", keep_attrs=True)
            continue
        if values.dtype == bool:  # marks hold where they hold in all samples
            found[name] = values.min("sample", keep_attrs=True)
            continue
        found[name] = _median(values)
        if name in _RANGED:
            found[f"{name}_low"] = values.min("sample", skipna=False, keep_attrs=True)
            found[f"{name}_high"] = values.max("sample", skipna=False, keep_attrs=True)
    return decide(found) if "answer" in result else found


def _median(values: xr.DataArray) -> xr.DataArray:
    """Of margins without a limit, which are infinite in every sample, infinity."""
    shown = abs(values) < np.inf
    found = values.where(shown, 0.0).median("sample", skipna=False, keep_attrs=True)
    found = found.where(shown.all("sample"), values.isel(sample=0, drop=True))
    return found.assign_attrs(values.attrs)


def samples_words(result: xr.Dataset) -> str:
    """What the numbers of :func:`median_case` are, in words; empty where nothing is sampled.

    Examples
    --------
    >>> samples_words(xr.Dataset(attrs={"samples": 200}))
    'median of 200 samples, range from the smallest to the largest'
    """
    if "samples" not in result.attrs:
        return ""
    return f"median of {result.attrs['samples']} samples, range from the smallest to the largest"


def range_words(result: xr.Dataset) -> str:
    """What the ends of ratings and margins are, in words; empty where they have none.

    Parameters
    ----------
    result : Dataset
        From :func:`median_case`, or with answers by probability
        (:func:`~groundborne.study.how_sure`).

    Examples
    --------
    >>> range_words(xr.Dataset(attrs={"samples_of_errors": 8192, "probability_asked": 0.9}))
    'range that 10 % of 8192 samples of errors lie beyond on each side'
    """
    if ERRORS not in result.attrs:
        return samples_words(result)
    beyond = 100 * (1 - result.attrs["probability_asked"])
    return (
        f"range that {beyond:.3g} % of {result.attrs[ERRORS]} samples of errors lie beyond on "
        "each side"
    )
