"""Keys of a study that have a distribution: looked at when it is read, drawn for its cases."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Faults, StudyError
from groundborne.cells import Cells
from groundborne.key import Key
from groundborne.study.changes import KEPT, Changes
from groundborne.study.given import Change, Given, entries_of, number
from groundborne.uncertainty import Distribution, Uncertain
from groundborne.usual_ranges import UnusualValueWarning, collected

SAMPLE = "sample"

_LOOKED_AT = (0.001, 0.5, 0.999)
"""Shares at which a distribution is held against what is possible, when a study is read."""


def uncertain_of(
    data: dict[str, Any], file: str, more: Mapping[str, Distribution], faults: Faults
) -> dict[str, Uncertain]:
    """Distributions of a study file by address, and those of a script, which take their place.

    Parameters
    ----------
    data : dict
        The study file. What is wrong with its rows themselves is told when all of it is held
        against them.
    file : str
        Its name.
    more : mapping of str to Distribution
        Of a script.
    faults : Faults
        Collects what is no distribution.
    """
    found: dict[str, Uncertain] = {}
    for one in entries_of(data, "uncertain", file):
        with faults.gathered():
            if one["key"] in found:
                raise StudyError(f"{one.where}: the key {one['key']!r} is there twice")
            with one.naming():
                found[one["key"]] = Uncertain(
                    key=one["key"], distribution=_distribution(one), source=one["source"]
                )
    script = {key: Uncertain(key=key, distribution=of) for key, of in more.items()}
    return {**found, **script}


def _distribution(given: Given) -> Distribution:
    arguments = given.arguments()
    if "values" in arguments:
        arguments["values"] = tuple(arguments["values"].tolist())
    return Distribution(**arguments)


class Doubts(Changes):
    """Distributions that wait for the key they belong to.

    Parameters
    ----------
    asked : mapping of str to Uncertain
        By address.
    shares : mapping of str to DataArray or None
        Of each on ``sample``, for values to be drawn; none to look whether they could be.
    script : Changes
        Of a script, which come first.
    faults : Faults
        Collects what is wrong.
    """

    _what, _begins = "uncertain", False

    def __init__(
        self,
        asked: Mapping[str, Uncertain],
        shares: Mapping[str, xr.DataArray] | None,
        script: Changes,
        faults: Faults,
    ) -> None:
        such = "of physics in this study, such as 'structure.foundation.shear_wave_speed_m_s'"
        super().__init__(asked, faults, such=such)
        self._asked, self._shares, self._script = asked, shares, script

    def into_table(self, place: str, cells: Cells) -> Cells:
        """The cells of a table with the changes of the script, and then with these."""
        return super().into_table(place, self._script.into_table(place, cells))

    def _is_table(self, address: str) -> bool:
        if not any(known.startswith(f"{address}.") for known in self._known):
            return False
        self._faults.add(
            f"uncertain: {address!r} is a whole table; a distribution is of one number in it"
        )
        return True

    def _taken(self, address: str, row: Key, before: Any, value: Any) -> Any:
        """Values drawn; or nothing, and a sentence where none could be."""
        subject = f"uncertain: {address!r}"
        if row.kind != "number" or not row.uncertain:
            kind = {
                "number": "a number that is chosen, and no property of ground, building or rooms",
                "numbers": "a list of numbers",
            }.get(row.kind, f"no number ({row.kind})")
            raise StudyError(f"{subject} is {kind}; it takes no distribution")
        if ".equipment." in f".{address}":
            raise StudyError(
                f"{subject} is of equipment, of which answers are given without probability; it "
                "takes no distribution"
            )
        before = before.value if isinstance(before, Change) else before
        of: Distribution = value.distribution
        centres = _centres(before, of, subject)
        share = xr.DataArray(list(_LOOKED_AT), dims=SAMPLE)
        share = share if self._shares is None else self._shares[address]
        drawn = _drawn(of, centres, share, subject)
        with collected():  # of what is unusual the study file tells
            try:
                number(row, drawn, subject)
            except StudyError as error:
                raise StudyError(
                    f"{error} The distribution reaches beyond what is possible; give it ends that "
                    "it is truncated at, or another one."
                ) from None
        if self._shares is None:
            _tell_apart(subject, before, drawn)
        return KEPT if self._shares is None else drawn


def _tell_apart(subject: str, before: Any, drawn: xr.DataArray) -> None:
    """Tell that the value of the file is none that its distribution gives."""
    if before is None or isinstance(before, str | list):
        return
    value = xr.DataArray(before, name=None)
    low, high = drawn.isel({SAMPLE: 0}), drawn.isel({SAMPLE: -1})
    if not bool(((value >= low) & (value <= high)).all()):
        warnings.warn(
            f"{subject} holds a value in the file that its distribution hardly gives "
            f"({float(low.min()):.4g} to {float(high.max()):.4g}); ratings are of the value, and "
            "probabilities and intervals of the distribution",
            UnusualValueWarning,
            stacklevel=2,
        )


def _centres(before: Any, of: Distribution, subject: str) -> xr.DataArray:
    """What a value is about as it stands: one number, or one of each row of a column."""
    if not of.about_a_centre and not isinstance(before, xr.DataArray):
        return xr.DataArray(0.0)  # not asked for
    if before is None:
        raise StudyError(
            f"{subject} is not given, and a distribution about it has no centre; give its centre"
        )
    try:
        centres = xr.DataArray(before, name=None).astype(float)
    except (TypeError, ValueError):
        raise StudyError(f"{subject} is no number; a distribution about it has no centre") from None
    if SAMPLE in centres.dims:
        raise StudyError(
            f"{subject} has samples already, by the script or by another entry of the same cells; "
            "give one of both"
        )
    if centres.ndim and not of.about_a_centre:
        raise StudyError(
            f"{subject} is a whole column, of which each row has its own value; a distribution "
            "about these is needed (normal or lognormal, without centre), or one for each row"
        )
    if bool(centres.isnull().any()):
        raise StudyError(f"{subject} has no value in the file, and so no centre")
    return centres


def _drawn(
    of: Distribution, centres: xr.DataArray, share: xr.DataArray, subject: str
) -> xr.DataArray:
    try:
        rows = [of.about(float(c)).ppf(share.values) for c in np.ravel(centres.values)]
    except ValueError as error:
        raise StudyError(f"{subject}: {error}") from None
    values = np.reshape(rows, (*centres.shape, share.size))
    labels = {dim: centres[dim].values for dim in centres.dims if dim in centres.coords}
    return xr.DataArray(values, dims=(*centres.dims, SAMPLE), coords=labels)
