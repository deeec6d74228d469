"""Levels in decibels: references, energy sums and means, and the stamp every level carries.

A level is a DataArray with ``units = "dB"`` and a ``reference``; one without is refused.
Velocity is re 1 nm/s, acceleration re 1 µm/s², pressure re 20 µPa, all rms.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import LevelError, Numeric, finite, known, positive
from groundborne.bands import exact
from groundborne.citation import Citation, citation_texts

ISO_1683 = Citation(
    key="iso1683",
    author="ISO 1683",
    year="2015",
    title="Preferred reference values for acoustical and vibratory levels",
    mark="seen second-hand",
    status="transcribed",
)

REFERENCES: dict[str, dict[str, float]] = {
    "velocity": {"1 nm/s": 1e-9, "10 nm/s": 1e-8, "50 nm/s": 5e-8, "1 µin/s": 2.54e-8},
    "acceleration": {"1 µm/s²": 1e-6, "1 µg": 9.80665e-6},
    "sound pressure": {"20 µPa": 2e-5},
}
"""Accepted references by quantity [m/s, m/s², Pa]; the first of each is the library's own."""

_UNITS = {"velocity": "m/s", "acceleration": "m/s²", "sound pressure": "Pa"}

TIME_WEIGHTINGS = ("S max", "F max", "leq", "max hold")
"""What a band level is: maximum with S (1 s) or F (125 ms) weighting, energy mean over the
event, or the largest value of each band held over the event."""

_SPELLINGS = {
    "1e-9 m/s": "1 nm/s",
    "1 um/s2": "1 µm/s²",
    "1 µm/s2": "1 µm/s²",
    "1 um/s²": "1 µm/s²",
    "1 ug": "1 µg",
    "1 uin/s": "1 µin/s",
    "1e-6 in/s": "1 µin/s",
    "5e-8 m/s": "50 nm/s",
    "1e-8 m/s": "10 nm/s",
    "20 uPa": "20 µPa",
}


@checked
def reference_value(quantity: str, reference: str) -> tuple[str, float]:
    """Canonical spelling and SI value of a reference.

    Raises
    ------
    LevelError
        Unknown quantity, or a reference of another quantity.

    Examples
    --------
    >>> reference_value("velocity", "1 nm/s")
    ('1 nm/s', 1e-09)
    """
    known("levels", "quantity", quantity, REFERENCES, LevelError)
    spelled = reference
    if isinstance(reference, str):
        plain = reference.replace("\u03bc", "\u00b5")  # the Greek letter, for the micro sign
        spelled = _SPELLINGS.get(plain, plain)
    known("levels", f"reference for {quantity}", spelled, REFERENCES[quantity], LevelError)
    return spelled, REFERENCES[quantity][spelled]


# Stamping computes nothing; whoever uses the level refuses what is no number.
@checked(nan=("array", "return"), infinite=("array", "return"))
def stamp(
    array: xr.DataArray,
    *,
    quantity: str,
    reference: str,
    long_name: str,
    location: str = "",
    time_weighting: str = "",
    citations: Iterable[Citation] = (),
    **more: str,
) -> xr.DataArray:
    """Return the array with the attributes of a level, replacing all it had.

    Examples
    --------
    >>> level = stamp(xr.DataArray([60.0], dims="passby"), quantity="velocity",
    ...               reference="1 nm/s", long_name="velocity level")
    >>> level.attrs["units"], level.attrs["reference"]
    ('dB', '1 nm/s')
    """
    spelled, _ = reference_value(quantity, reference)
    attrs: dict[str, Any] = {
        "long_name": long_name,
        "units": "dB",
        "quantity": quantity,
        "reference": spelled,
    }
    if location:
        attrs["location"] = location
    if time_weighting:
        known("levels.stamp", "time_weighting", time_weighting, TIME_WEIGHTINGS, LevelError)
        attrs["time_weighting"] = time_weighting
    text = citation_texts(citations)
    if text:
        attrs["citations"] = text
    attrs.update(more)
    stamped = array.copy(deep=False)
    stamped.attrs = attrs
    return stamped


@checked
def stamp_change(
    array: xr.DataArray, *, long_name: str, citations: Iterable[Citation] = ()
) -> xr.DataArray:
    """Return the array with the attributes of a level change in dB (positive raises the level)."""
    changed = array.copy(deep=False)
    changed.attrs = {"long_name": long_name, "units": "dB", "citations": citation_texts(citations)}
    return changed


@checked(infinite=("level", "return"))
def require(level: xr.DataArray, *, where: str, quantity: str | None = None) -> xr.DataArray:
    """Refuse what is not a labelled level.

    Parameters
    ----------
    level : DataArray
        Must carry ``units = "dB"`` and a known ``reference`` for its ``quantity``.
    where : str
        Who asks; it starts the sentence.
    quantity : str, optional
        The quantity wanted.

    Returns
    -------
    xarray.DataArray
        The same array.

    Raises
    ------
    LevelError
        No unit, no reference, or another quantity.
    """
    units, has = level.attrs.get("units"), level.attrs.get("quantity")
    if units != "dB" or "reference" not in level.attrs or has not in REFERENCES:
        raise LevelError(
            f"{where}: the level is not labelled (units {units!r}, quantity {has!r}, reference "
            f"{level.attrs.get('reference')!r}); label it with levels.stamp"
        )
    if level.dtype.kind not in "fiu":
        raise LevelError(f"{where}: the level holds {level.dtype}; real numbers are needed")
    reference_value(has, level.attrs["reference"])
    if quantity is not None and has != quantity:
        raise LevelError(f"{where}: the level is of {has}; {quantity} is needed")
    return level


@checked
def from_rms(value: Numeric, *, quantity: str, reference: str) -> Numeric:
    """Level of an rms value, ``20 lg(value/reference)`` [dB].

    Parameters
    ----------
    value : float or DataArray
        Rms value [m/s, m/s² or Pa], above zero.
    quantity, reference : str
        As in ``levels.REFERENCES``.

    Raises
    ------
    ValueError
        A value that is not above zero; an unknown reference.

    References
    ----------
    ISO 1683:2015.

    Examples
    --------
    >>> round(float(from_rms(1e-6, quantity="velocity", reference="1 nm/s")), 6)
    60.0
    """
    positive("levels.from_rms", "value", value, "in SI units")
    _, v0 = reference_value(quantity, reference)
    result: Numeric = 20 * np.log10(value / v0)
    return result


@checked
def to_rms(level: xr.DataArray) -> xr.DataArray:
    """Rms value of a labelled level, ``reference · 10^(L/20)``: the inverse of :func:`from_rms`.

    Parameters
    ----------
    level : DataArray
        Labelled level [dB].

    Returns
    -------
    xarray.DataArray
        Rms value [m/s, m/s² or Pa]; its attributes name quantity and unit, no longer a level.

    Raises
    ------
    LevelError
        The level is not labelled.
    ValueError
        A level that is not finite.

    References
    ----------
    ISO 1683:2015.

    Examples
    --------
    >>> level = stamp(xr.DataArray([60.0], dims="passby"), quantity="velocity",
    ...               reference="1 nm/s", long_name="velocity level")
    >>> to_rms(level).round(9).values.tolist(), to_rms(level).attrs["units"]
    ([1e-06], 'm/s')
    """
    require(level, where="levels.to_rms")
    finite("levels.to_rms", "level", level)
    quantity = level.attrs["quantity"]
    _, reference = reference_value(quantity, level.attrs["reference"])
    value: xr.DataArray = reference * 10.0 ** (level / 20.0)
    value.attrs = {"long_name": f"rms {quantity}", "quantity": quantity, "units": _UNITS[quantity]}
    for kept in ("location", "time_weighting"):
        if kept in level.attrs:
            value.attrs[kept] = level.attrs[kept]
    return value


@checked(infinite=("level", "return"))
def convert(level: xr.DataArray, *, reference: str) -> xr.DataArray:
    """Express a labelled level on another reference of the same quantity.

    Parameters
    ----------
    level : DataArray
        Labelled level [dB].
    reference : str
        New reference, as in ``levels.REFERENCES``.

    Returns
    -------
    xarray.DataArray
        Level [dB] on the new reference, other attributes kept.

    Raises
    ------
    LevelError
        The level is not labelled, or the reference is of another quantity.

    References
    ----------
    ISO 1683:2015 (1 nm/s); ISO 1683:1983 and DIN 45672 (50 nm/s); US practice (1 µin/s).

    Examples
    --------
    >>> vdb = stamp(xr.DataArray([72.0], dims="passby"), quantity="velocity",
    ...             reference="1 uin/s", long_name="velocity level")
    >>> round(float(convert(vdb, reference="1 nm/s")[0]), 2)
    100.1
    """
    require(level, where="levels.convert")
    _, old = reference_value(level.attrs["quantity"], level.attrs["reference"])
    spelled, new = reference_value(level.attrs["quantity"], reference)
    converted: xr.DataArray = level + float(20 * np.log10(old / new))
    converted.attrs = {**level.attrs, "reference": spelled}
    return converted


@checked(infinite=("level", "return"))
def velocity_from_acceleration(level: xr.DataArray) -> xr.DataArray:
    """Velocity level re 1 nm/s from an acceleration band level, ``v = a / (2π f)``.

    The exact mid-band frequency stands for the whole band.

    Parameters
    ----------
    level : DataArray
        Acceleration level [dB] with dim ``frequency`` (nominal labels).

    Returns
    -------
    xarray.DataArray
        Velocity level [dB re 1 nm/s].

    Raises
    ------
    LevelError
        The level is not an acceleration level.

    Examples
    --------
    >>> import groundborne as gb
    >>> la = stamp(xr.DataArray([60.0], coords={"frequency": [160.0]}), quantity="acceleration",
    ...            reference="1 um/s2", long_name="acceleration level")
    >>> round(float(velocity_from_acceleration(la)[0]), 1)
    60.0
    """
    require(level, where="levels.velocity_from_acceleration", quantity="acceleration")
    si = convert(level, reference="1 µm/s²")
    velocity = si - 20 * np.log10(2 * np.pi * exact(si["frequency"])) + 60.0
    velocity.attrs = {
        **level.attrs,
        "quantity": "velocity",
        "reference": "1 nm/s",
        "long_name": "velocity level",
    }
    return velocity


@checked(infinite=("level",))
def energy(level: xr.DataArray) -> xr.DataArray:
    """``10^(L/10)`` without attributes, so that nothing still claims to be dB."""
    return (10.0 ** (level / 10.0)).drop_attrs(deep=False)


@checked(infinite=("level", "return"))
def energy_sum(level: xr.DataArray, dim: str) -> xr.DataArray:
    """Sum of energies along a dimension, ``10 lg Σ 10^(L/10)`` [dB].

    Parameters
    ----------
    level : DataArray
        Levels [dB].
    dim : str
        Dimension to sum over.

    Returns
    -------
    xarray.DataArray
        Level [dB] without `dim`; attributes kept.

    Raises
    ------
    ValueError
        The dimension is not there.

    Examples
    --------
    >>> float(energy_sum(xr.DataArray([60.0, 60.0], dims="passby"), "passby").round(2))
    63.01
    """
    known("levels.energy_sum", "dim", dim, [str(d) for d in level.dims])
    return decibel(energy(level).sum(dim, skipna=False)).assign_attrs(level.attrs)


@checked(infinite=("level", "return"))
def energy_mean(level: xr.DataArray, dim: str) -> xr.DataArray:
    """Mean of energies along a dimension, ``10 lg (1/n Σ 10^(L/10))`` [dB].

    Parameters, result and errors as of :func:`energy_sum`.

    Examples
    --------
    >>> float(energy_mean(xr.DataArray([60.0, 70.0], dims="passby"), "passby").round(2))
    67.4
    """
    known("levels.energy_mean", "dim", dim, [str(d) for d in level.dims])
    return decibel(energy(level).mean(dim, skipna=False)).assign_attrs(level.attrs)


# No energy has the level minus infinity, and no limit is infinite on any scale.
@checked(infinite=("ratio", "return"))
def decibel(ratio: xr.DataArray) -> xr.DataArray:
    """Level of a mean-square ratio, ``10 lg ratio`` [dB].

    Examples
    --------
    >>> decibel(xr.DataArray(100.0)).item()
    20.0
    """
    result: xr.DataArray = 10.0 * np.log10(ratio)  # type: ignore[assignment]
    return result


@checked
def mean_square(ratio: xr.DataArray, dim: str) -> xr.DataArray:
    """Mean of ``|ratio|²`` along a dimension, for velocity ratios at single frequencies."""
    return (abs(ratio) ** 2).mean(dim, skipna=False)
