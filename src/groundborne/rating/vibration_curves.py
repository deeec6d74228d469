"""Curves of band velocity for equipment and people, and the strictest one a spectrum meets."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import BandError, known
from groundborne.bands import exact, label, require_labels, third_octaves
from groundborne.citation import Citation, citation_texts
from groundborne.levels import convert, require
from groundborne.rating.limit_curve import LEAST_BANDS, over_curve
from groundborne.rating.sufficiency import FELT, Sufficiency, judge_ends, missing_bands

VC_CURVES = Citation(
    key="vc-curves",
    author="generic vibration criteria for sensitive equipment",
    year="1999",
    title="VC curves and the ISO curves beside them",
    locator="2000 to 125 µin/s and 32000 to 4000 µin/s in one-third octaves, rounded to metric",
    mark="seen second-hand",
    status="transcribed",
)
BASE_CURVES = Citation(
    key="iso2631-2-1989-base",
    author="ISO 2631-2",
    year="1989",
    title="Base curves of building vibration (withdrawn)",
    locator="z: 0.005 m/s² at 4 to 8 Hz; x-y: 0.00357 m/s² at 1 to 2 Hz",
    mark="from memory",
)

PLATEAUS = {
    "ISO workshop": 800e-6,
    "ISO office": 400e-6,
    "ISO residential (day)": 200e-6,
    "ISO operating theatre": 100e-6,
    "VC-A": 50e-6,
    "VC-B": 25e-6,
    "VC-C": 12.5e-6,
    "VC-D": 6.25e-6,
    "VC-E": 3.12e-6,
    "VC-F": 1.56e-6,
    "VC-G": 0.78e-6,
}
CURVES = (*PLATEAUS, "base z", "base xy")
"""Names of the curves; all but the two base curves from the mildest to the strictest."""
CLASSES = tuple(PLATEAUS)
NO_CLASS = "none"
"""What a spectrum reaches that exceeds even the mildest curve."""

_LOW = {name: 4.0 if name in ("VC-A", "VC-B") else 1.0 for name in CURVES}
_HIGH = 80.0


@checked
def curve(name: str) -> xr.DataArray:
    """Velocity of a curve in each one-third-octave band.

    VC-A and VC-B rise below 8 Hz as constant acceleration and begin at 4 Hz; VC-C to VC-G are flat
    from 1 Hz. The ISO curves follow the z base curve below 8 Hz: ``1/f`` to 4 Hz, ``f^-1.5`` below.
    Their slopes are computed at nominal labels, as they are printed; the base curves at exact
    centres.

    Parameters
    ----------
    name : str
        One of ``CURVES``.

    Returns
    -------
    xarray.DataArray
        Rms velocity [m/s] on ``frequency``, to 80 Hz.

    Raises
    ------
    ValueError
        An unknown name.

    References
    ----------
    Generic criteria (levels seen second-hand, shape from memory); ISO 2631-2:1989 [from memory].

    Examples
    --------
    >>> vc = curve("VC-A")
    >>> (1e6 * vc.sel(frequency=[4.0, 8.0, 80.0])).round(6).values.tolist()
    [100.0, 50.0, 50.0]
    """
    known("vibration_curves.curve", "name", name, CURVES)
    frequency = third_octaves(_LOW[name], _HIGH)
    if name in PLATEAUS:
        flat = name in CLASSES[CLASSES.index("VC-C") :]
        shape = xr.ones_like(frequency) if flat else _rise(frequency)
        value, citation = PLATEAUS[name] * shape, VC_CURVES
    else:
        value, citation = _base(name, exact(frequency)), BASE_CURVES
    value.attrs = {
        "long_name": f"{name} curve",
        "quantity": "velocity",
        "units": "m/s",
        "citations": citation.text,
    }
    return value.rename(None)


def _rise(frequency: xr.DataArray) -> xr.DataArray:
    middle = np.clip(8.0 / frequency, 1.0, 2.0)
    steep = np.maximum(4.0 / frequency, 1.0) ** 1.5
    return xr.DataArray(middle * steep, coords={"frequency": frequency["frequency"]})


def _base(name: str, centre: xr.DataArray) -> xr.DataArray:
    f = centre.values
    if name == "base z":
        acceleration = 0.005 * np.maximum(4.0 / f, 1.0) ** 0.5 * np.maximum(f / 8.0, 1.0)
    else:
        acceleration = 0.00357 * np.maximum(f / 2.0, 1.0)
    return centre.copy(data=acceleration / (2 * np.pi * f))


@checked
def class_reached(level: xr.DataArray) -> xr.Dataset:
    """Strictest curve that a velocity spectrum meets in every band, ISO workshop to VC-G.

    The curves mean the rms of one-third-octave bands with linear averaging; of band-wise maxima
    the answer is on the safe side, of a passby Leq it is not: the statistic is kept in the
    attributes. A spectrum that does not cover 8 to 80 Hz is refused. One that begins above the
    first band of a curve is rated on the bands it has; where a missing band could govern, the curve
    is not ``proven``, and ``note`` names the curves that are met at best. A class counts only where
    every milder one is met too.

    Parameters
    ----------
    level : DataArray
        Velocity band level [dB] with dim ``frequency``, any other dims.

    Returns
    -------
    xarray.Dataset
        ``reached`` (name, or "none"), ``margin`` [dB] to each curve along ``curve`` (positive where
        met, of its governing band), ``governing_band`` [Hz] and ``proven`` along ``curve``: whether
        the bands suffice for the margin. Attribute ``unproven``: curves that are not proven
        somewhere.

    Raises
    ------
    LevelError
        Not a labelled velocity level.
    BandError
        Bands are missing between 8 and 80 Hz.

    References
    ----------
    Generic criteria for sensitive equipment [seen second-hand]; sufficiency of bands:
    ``rating.sufficiency`` [common practice].

    Examples
    --------
    >>> from groundborne.levels import stamp
    >>> flat = xr.DataArray([80.0] * 14, coords={"frequency": third_octaves(4, 80)["frequency"]})
    >>> found = class_reached(stamp(flat, quantity="velocity", reference="1 nm/s",
    ...                             long_name="level"))  # 10 µm/s in every band
    >>> found["reached"].item(), found["margin"].sel(curve="VC-C").round(2).item()
    ('VC-C', 1.94)
    """
    where = "class_reached"
    require(level, where=where, quantity="velocity")
    have = require_curve_bands(level, where)
    si = convert(level, reference="1 nm/s")
    margin = _margins(si, list(CLASSES))
    ends = _judged(margin, float(have[0]))
    proven = ~ends.lower_bound
    margin = margin.min("frequency", skipna=False)
    met = (margin >= 0).astype(int).cumprod("curve").sum("curve")
    names = np.array([NO_CLASS, *CLASSES])
    reached = met.copy(data=names[met.values])
    governing = ends.governing
    margin.attrs = {"long_name": "margin to each curve, positive when met", "units": "dB"}
    governing.attrs = {"long_name": "governing band", "units": "Hz"}
    reached.attrs = {"long_name": "strictest curve met"}
    proven.attrs = {"long_name": "whether the bands suffice for the margin"}
    found = xr.Dataset(
        {"reached": reached, "margin": margin, "governing_band": governing, "proven": proven}
    )
    others = [d for d in proven.dims if d != "curve"]
    unproven = [name for name, ok in zip(CLASSES, proven.all(others).values, strict=True) if not ok]
    found.attrs = {
        "citations": citation_texts([VC_CURVES]),
        "time_weighting": level.attrs.get("time_weighting", "not stated"),
        "unproven": unproven,
    }
    if unproven:
        found.attrs["note"] = (
            f"bands below {label(have[0])} Hz are missing: {', '.join(unproven)} are met at best, "
            "not proven"
        )
        found.attrs["lower_bound"] = ends.why
    return found


def require_curve_bands(level: xr.DataArray, where: str) -> np.ndarray[Any, Any]:
    """Labels of a spectrum that covers 8 to 80 Hz."""
    if "frequency" not in level.dims:
        raise BandError(f"{where}: the level has no dim frequency")
    have = require_labels(level["frequency"], where)
    if have[0] > LEAST_BANDS[0] or have[-1] < LEAST_BANDS[1]:
        raise BandError(
            f"{where}: the spectrum holds {label(have[0])} to {label(have[-1])} Hz; 8 to 80 Hz is "
            "needed at least"
        )
    return have


@checked(infinite=("return",))
def over_class(name: str, frequency: Frequency) -> xr.DataArray:
    """What is added to velocity band levels to tell by how much they exceed one of ``CLASSES``.

    Parameters
    ----------
    name : str
        One of ``CLASSES``.
    frequency : DataArray
        Nominal labels [Hz].

    Returns
    -------
    xarray.DataArray
        As of :func:`~groundborne.rating.limit_curve.over_curve`.

    Examples
    --------
    >>> over_class("VC-C", [8.0, 100.0]).round(1).values.tolist()
    [-81.9, -inf]
    """
    return over_curve(curve(known("over_class", "name", name, CLASSES)), frequency)


def range_of_class(name: str) -> tuple[float, float]:
    """First and last band of one of ``CLASSES`` [Hz]."""
    return _LOW[known("range_of_class", "name", name, CLASSES)], _HIGH


def _margins(level: xr.DataArray, names: list[str]) -> xr.DataArray:
    """Margin of each band to curves [dB], on ``curve``; infinite where a curve binds no band."""
    used = level.sel(frequency=level["frequency"].isin(third_octaves(min(_LOW.values()), _HIGH)))
    over = xr.concat(
        [over_class(name, used["frequency"]) for name in names],
        dim=xr.DataArray(names, dims="curve", name="curve"),
        join="exact",
    )
    return (-over - used).drop_attrs(deep=False)


def _judged(margin: xr.DataArray, first: float) -> Sufficiency:
    """Whether bands below the first could govern; all curves end at 80 Hz, which is there."""
    starts = [_LOW[name] for name in margin["curve"].values.tolist()]
    lacks = xr.DataArray(np.array(starts) < first, coords={"curve": margin["curve"].values})
    below, above = missing_bands(first, _HIGH, range_=(min(starts), _HIGH), needed=FELT)
    ends = judge_ends(-margin, below=below, above=above, combined="maximum")
    may_add = ends.may_add.where(lacks, 0.0)
    return Sufficiency(
        may_add=may_add,
        governing=ends.governing,
        why=ends.why if bool(np.isinf(may_add).any()) else "",
    )
