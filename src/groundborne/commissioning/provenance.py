"""Which measurement levels come from, and that none both calibrates a prediction and validates it.

Levels carry the label of their measurement and the state of the building. What has been calibrated
carries the labels it was calibrated with, and fingerprints of the numbers: another label on the
same numbers does not make them another measurement.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import LevelError, known
from groundborne.citation import Citation
from groundborne.levels import reference_value, require

ISO_14837_1 = Citation(
    key="iso14837-1-validation",
    author="ISO 14837-1",
    year="2005",
    title="Ground-borne noise and vibration arising from rail systems, general guidance",
    locator="clause 10, development, calibration, validation and verification (its title is seen; "
    "that data used to calibrate cannot validate is from memory)",
    mark="from memory",
    status="transcribed",
)

NO_ISOLATION, BEFORE_RELEASE, RELEASED = "no isolation", "before release", "after release"
UNISOLATED_SIDE, ISOLATED_SIDE = "un-isolated side", "isolated side"
STATES = (NO_ISOLATION, BEFORE_RELEASE, RELEASED, UNISOLATED_SIDE, ISOLATED_SIDE)
"""In what state, or on which side of the isolation plane, something was measured."""

PROVENANCE, STATE, CALIBRATED_WITH = "provenance", "state", "calibrated_with"
OFFICE_BIAS = "office_bias"
"""Attribute of a prediction, and of errors: stages whose bias an office knew, with fingerprints."""
FINGERPRINTS = "fingerprints"
_DIGITS = 6
LEAST_LEVELS = {"sound pressure": ("20 µPa", 5.0), "velocity": ("1 nm/s", 10.0)}
"""Largest levels below these are taken for linear values [dB]; common practice: no band of a train,
and hardly one of a microphone or geophone by itself, lies so low."""


class CalibrationError(ValueError):
    """Data that calibrated a prediction, offered as its validation, or data without a label."""


@checked(infinite=("level", "return"))
def labelled(level: xr.DataArray, *, provenance: str, state: str = "") -> xr.DataArray:
    """The levels of a measurement with its label.

    Parameters
    ----------
    level : DataArray
        Labelled level [dB], see :func:`groundborne.levels.stamp`.
    provenance : str
        Which measurement: a campaign, a date, a set of recordings. Levels of one campaign carry one
        label, whatever rooms and trains are picked out of it.
    state : str
        One of ``STATES``; needed where states or sides are compared.

    Returns
    -------
    xarray.DataArray
        The same levels, with ``provenance`` and ``state`` among their attributes.

    Raises
    ------
    LevelError
        Not a labelled level, or values so low that they are linear ones.
    ValueError
        An empty label, or an unknown state.

    Examples
    --------
    >>> from groundborne.levels import stamp
    >>> level = stamp(xr.DataArray([60.0], dims="passby"), quantity="velocity",
    ...               reference="1 nm/s", long_name="velocity level", time_weighting="S max")
    >>> labelled(level, provenance="night of 3 May, invented").attrs["provenance"]
    'night of 3 May, invented'
    """
    require(level, where="labelled")
    if not provenance.strip():
        raise ValueError("labelled: provenance is empty; say which measurement the levels are of")
    if state:
        known("labelled", "state", state, STATES)
    _require_decibels("labelled", level)
    return level.assign_attrs({PROVENANCE: provenance.strip(), STATE: state})


def _require_decibels(where: str, level: xr.DataArray) -> None:
    """Refuse linear values that were called levels."""
    quantity, reference = (str(level.attrs[n]) for n in ("quantity", "reference"))
    if quantity not in LEAST_LEVELS or not level.size:
        return
    own, least = LEAST_LEVELS[quantity]
    ratio = reference_value(quantity, reference)[1] / reference_value(quantity, own)[1]
    largest = float(level.max()) + 20 * np.log10(ratio)
    if largest < least:
        raise LevelError(
            f"{where}: the largest level is {largest:.3g} dB re {own}, which is below any train; "
            "are these levels in dB, or linear values?"
        )


def provenance_of(where: str, level: xr.DataArray) -> str:
    """The label of the measurement that levels are of.

    Raises
    ------
    CalibrationError
        They have none.
    LevelError
        They are no levels but linear values.
    """
    label = str(level.attrs.get(PROVENANCE, "")).strip()
    if not label:
        raise CalibrationError(
            f"{where}: the levels do not say which measurement they are of; label them with "
            "commissioning.labelled"
        )
    _require_decibels(where, level)
    return label


def require_state(where: str, name: str, level: xr.DataArray, allowed: tuple[str, ...]) -> str:
    """The state levels were measured in.

    Raises
    ------
    ValueError
        Another than is allowed here, or none.
    """
    state = str(level.attrs.get(STATE, ""))
    if state not in allowed:
        listed = " or ".join(map(repr, allowed))
        raise ValueError(
            f"{where}: {name} was measured in the state {state or 'unlabelled'!r}; {listed} is "
            "needed; see commissioning.labelled"
        )
    return state


def fingerprints(level: xr.DataArray) -> list[str]:
    """One of every spectrum, so that a part of a set of levels is known for what it is."""
    lead = [d for d in level.dims if d != "frequency"]
    rows = level.transpose(*lead, ..., "frequency").values.reshape(-1, level.sizes["frequency"])
    rounded = np.round(rows, _DIGITS) + 0.0  # no minus nought
    return [hashlib.sha256(np.ascontiguousarray(row).tobytes()).hexdigest()[:16] for row in rounded]


def calibration_record(levels: Iterable[tuple[str, list[str]]], before: str = "") -> str:
    """What something was calibrated with, as an attribute can hold it.

    Parameters
    ----------
    levels : iterable of tuple
        Label and fingerprints of each set of levels.
    before : str
        What it had been calibrated with until then.
    """
    found: dict[str, list[str]] = dict(json.loads(before)) if before else {}
    for label, prints in levels:
        found[label] = sorted({*found.get(label, []), *prints})
    return json.dumps(found, ensure_ascii=False)


def calibration_labels(attrs: Mapping[Any, Any]) -> list[str]:
    """Labels of all measurements that something was calibrated with."""
    return list(json.loads(attrs.get(CALIBRATED_WITH, "{}")))


def require_independent(where: str, level: xr.DataArray, attrs: Mapping[Any, Any]) -> str:
    """Refuse levels that helped to calibrate what they are to be compared with.

    Parameters
    ----------
    where : str
        Who asks.
    level : DataArray
        Levels of a measurement.
    attrs : mapping
        Attributes of what they are compared with.

    Returns
    -------
    str
        The label of the measurement.

    Raises
    ------
    CalibrationError
        The label, or the numbers themselves, are among those it was calibrated with; or there is no
        label.

    References
    ----------
    ISO 14837-1:2005, clause 10 [from memory].
    """
    label = provenance_of(where, level)
    require_unused(where, label, fingerprints(level), attrs)
    return label


def require_unused(where: str, label: str, prints: Iterable[str], attrs: Mapping[Any, Any]) -> None:
    """Refuse a measurement, by label or fingerprints, that helped to calibrate something.

    Parameters
    ----------
    where, label : str
        Who asks, and of which measurement.
    prints : iterable of str
        Fingerprints of its levels.
    attrs : mapping
        Attributes of what it is compared with.

    Raises
    ------
    CalibrationError
        It did.
    """
    used: dict[str, list[str]] = json.loads(attrs.get(CALIBRATED_WITH, "{}"))
    remedy = "data used to calibrate cannot validate (ISO 14837-1); measure other trains or rooms"
    if label in used:
        raise CalibrationError(
            f"{where}: the prediction was calibrated with the measurement {label!r}; {remedy}"
        )
    mine = set(prints)
    for other, prints in used.items():
        if mine & set(prints):
            raise CalibrationError(
                f"{where}: levels labelled {label!r} are those of {other!r}, with which the "
                f"prediction was calibrated; {remedy}"
            )
