"""Which measurement levels come from, and that none both calibrates a prediction and validates it.

Levels carry the label of their measurement and the state of the building. What has been calibrated
carries the labels it was calibrated with, and the spectra: another label on the same numbers does
not make them another measurement, nor do fewer bands or digits. Means of the same passbys, or
levels moved by more than rounding, are not known again; labels are for those.
"""

from __future__ import annotations

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
_SAME = 0.056  # dB: half of a step of 0.1 dB, and of the 0.01 dB that are kept
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
    quantity = str(level.attrs["quantity"])
    if quantity not in LEAST_LEVELS or not level.size:
        return
    own, least = LEAST_LEVELS[quantity]
    largest = float(level.max()) + _to_usual(level)
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


def require_one_time(where: str, **levels: xr.DataArray) -> None:
    """Refuse two sets of levels that cannot be of the same passbys at one time.

    Parameters
    ----------
    where : str
        Who asks.
    **levels : DataArray
        Both, by the name of the argument.

    Raises
    ------
    CalibrationError
        Labels of two measurements, or of one side only.
    LevelError
        Passbys that have names on one side only.
    """
    (one, first), (other, second) = levels.items()
    labels = [str(a.attrs.get(PROVENANCE, "")).strip() for a in (first, second)]
    if labels[0] != labels[1]:
        told = [repr(n) if n else "an unlabelled measurement" for n in labels]
        raise CalibrationError(
            f"{where}: {one} is of {told[0]}, {other} of {told[1]}; both sides are measured at one "
            "time, under one label (see commissioning.labelled)"
        )
    named = ["passby" in a.coords for a in (first, second)]
    if named[0] != named[1]:
        bare = other if named[0] else one
        raise LevelError(
            f"{where}: the passbys of {bare} have no names, those of the other side have; both "
            "name them, so that a train stands beside itself"
        )


def fingerprints(level: xr.DataArray) -> list[str]:
    """One of every spectrum, so that a part of a set of levels is known for what it is.

    Each holds the bands and their values to 0.01 dB, re the usual reference of the quantity.
    """
    lead = [d for d in level.dims if d != "frequency"]
    rows = level.transpose(*lead, ..., "frequency").values.reshape(-1, level.sizes["frequency"])
    rows = rows + _to_usual(level) + 0.0
    bands = [f"{f:g}" for f in level["frequency"].values]
    return [" ".join(f"{f}:{v:.2f}" for f, v in zip(bands, row, strict=True)) for row in rows]


def _to_usual(level: xr.DataArray) -> float:
    """What leads from the reference of levels to the usual one of their quantity [dB]."""
    quantity, reference = (str(level.attrs.get(n, "")) for n in ("quantity", "reference"))
    if quantity not in LEAST_LEVELS:
        return 0.0
    usual = LEAST_LEVELS[quantity][0]
    ratio = reference_value(quantity, reference)[1] / reference_value(quantity, usual)[1]
    return float(20 * np.log10(ratio))


def same_levels(prints: Iterable[str], others: Iterable[str]) -> bool:
    """Whether any spectrum of one set is one of the other: rounded, cut, or of other names.

    Parameters
    ----------
    prints, others : iterable of str
        From :func:`fingerprints`.

    Notes
    -----
    Two spectra are one where two thirds of the bands that both hold, and no fewer than four (or
    all of three), agree within 0.05 dB: rounding to 0.1 dB, other bands and another way to take
    the background off do not hide it. Two trains agree so by chance in no more than one pair of
    100 000, where trains differ by 3 dB and their bands by 1 dB besides [derived, by simulation].
    """
    prints, others = list(prints), list(others)
    if set(prints) & set(others):
        return True
    mine, theirs = ([_spectrum(p) for p in each] for each in (prints, others))
    bands = sorted({f for s in (*mine, *theirs) for f in s})
    if not bands:
        return False
    one, other = (
        np.array([[s.get(f, np.nan) for f in bands] for s in each]).reshape(-1, len(bands))
        for each in (mine, theirs)
    )
    for row in one:
        off = np.abs(other - row)
        common = np.isfinite(off).sum(axis=1)
        needed = np.maximum(np.minimum(common, 4), np.ceil(2 * common / 3))
        if bool(((common >= 3) & ((off <= _SAME).sum(axis=1) >= needed)).any()):
            return True
    return False


def _spectrum(fingerprint: str) -> dict[str, float]:
    pairs = (part.partition(":") for part in fingerprint.split())
    return {f: float(v) for f, told, v in pairs if told}


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


def prediction_of(attrs: Mapping[Any, Any]) -> str:
    """Which prediction something is of, in words: uncalibrated, or calibrated with what.

    Parameters
    ----------
    attrs : mapping
        Of a result, or of a comparison with it.
    """
    labels = ", ".join(map(repr, calibration_labels(attrs)))
    stages = ", ".join(map(repr, json.loads(attrs.get(OFFICE_BIAS, "{}"))))
    words = f"calibrated with {labels}" if labels else "uncalibrated"
    return f"{words}, with an office's bias of {stages}" if stages else words


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
        The label, or the numbers themselves to 0.05 dB, are among those it was calibrated with; or
        there is no label.

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
    mine = list(prints)
    for other, theirs in used.items():
        if same_levels(mine, theirs):
            raise CalibrationError(
                f"{where}: levels labelled {label!r} are those of {other!r}, with which the "
                f"prediction was calibrated; {remedy}"
            )
