"""Vibration criteria of the American transit manual: overall levels, and curves of bands.

They say what the document prints; local rules and the client's brief come first. Its limits of
ground-borne noise stand in ``PUBLISHED_LIMITS``.
"""

from __future__ import annotations

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative
from groundborne.bands import third_octaves
from groundborne.citation import Citation
from groundborne.levels import stamp

FTA_VIBRATION = Citation(
    key="fta2006-vibration-limits",
    author="US Federal Transit Administration",
    year="2006",
    title="Transit Noise and Vibration Impact Assessment",
    locator="Tables 8-1 and 8-2, ground-borne vibration; Table 8-3, detailed analysis",
    mark="seen",
    status="transcribed",
)

EVENT_CLASSES = ("frequent", "occasional", "infrequent")
"""More than 70 events a day, 30 to 70, fewer than 30."""
FTA_VIBRATION_LIMITS = {
    "sensitive to vibration": (65.0, 65.0, 65.0),
    "residence": (72.0, 75.0, 80.0),
    "institutional, daytime": (75.0, 78.0, 83.0),
    "concert hall": (65.0, 65.0, 65.0),
    "television studio": (65.0, 65.0, 65.0),
    "recording studio": (65.0, 65.0, 65.0),
    "auditorium": (72.0, 80.0, 80.0),
    "theatre": (72.0, 80.0, 80.0),
}
"""Largest overall velocity level [dB re 1 µin/s] by use, for ``EVENT_CLASSES`` in turn."""
FTA_DETAILED = {
    "workshop": 90.0,
    "office": 84.0,
    "residential (day)": 78.0,
    "residential (night), operating room": 72.0,
    "VC-A": 66.0,
    "VC-B": 60.0,
    "VC-C": 54.0,
    "VC-D": 48.0,
    "VC-E": 42.0,
}
"""Largest velocity level of any third from 8 to 80 Hz [dB re 1 µin/s], from mild to strict. The
printed VC levels are whole decibels: VC-A is 50.7 µm/s here and 50 µm/s on metric curves."""


@checked
def event_class(*, events: Numeric) -> xr.DataArray:
    """How the manual calls a number of events a day.

    Parameters
    ----------
    events : float or DataArray
        Train passbys of one kind in a day [1/d], 0 or more.

    Returns
    -------
    xarray.DataArray
        One of ``EVENT_CLASSES``: above 70, 30 to 70, below 30.

    Raises
    ------
    ValueError
        A negative number.

    References
    ----------
    US FTA 2006, Table 8-1 [seen].

    Examples
    --------
    >>> event_class(events=70.0).item()
    'occasional'
    """
    where = "event_class"
    count = xr.DataArray(not_negative(where, "events", events, "events a day"))
    named: xr.DataArray = xr.where(
        count > 70, EVENT_CLASSES[0], xr.where(count >= 30, EVENT_CLASSES[1], EVENT_CLASSES[2])
    )
    return named


@checked
def fta_vibration_limit(*, use: str, events: Numeric) -> xr.DataArray:
    """Largest overall velocity level of a use by the general assessment.

    Parameters
    ----------
    use : str
        One of ``FTA_VIBRATION_LIMITS``.
    events : float or DataArray
        Train passbys of one kind in a day [1/d].

    Returns
    -------
    xarray.DataArray
        Maximum rms velocity level with 1 s averaging [dB re 1 µin/s].

    Raises
    ------
    ValueError
        An unknown use or a negative number.

    References
    ----------
    US FTA 2006, Tables 8-1 and 8-2 [seen].

    Examples
    --------
    >>> fta_vibration_limit(use="residence", events=120.0).item()
    72.0
    """
    three = FTA_VIBRATION_LIMITS[known("fta_vibration_limit", "use", use, FTA_VIBRATION_LIMITS)]
    of = event_class(events=events)
    limit = xr.where(
        of == EVENT_CLASSES[0], three[0], xr.where(of == EVENT_CLASSES[1], three[1], three[2])
    )
    return _stamped(limit, f"largest velocity level, {use}")


@checked
def fta_detailed_curve(name: str) -> xr.DataArray:
    """Largest velocity level in each third by the detailed analysis.

    Parameters
    ----------
    name : str
        One of ``FTA_DETAILED``.

    Returns
    -------
    xarray.DataArray
        [dB re 1 µin/s] on ``frequency``, 8 to 80 Hz.

    Raises
    ------
    ValueError
        An unknown name.

    References
    ----------
    US FTA 2006, Table 8-3 [seen].

    Examples
    --------
    >>> fta_detailed_curve("office").sel(frequency=31.5).item()
    84.0
    """
    level = FTA_DETAILED[known("fta_detailed_curve", "name", name, FTA_DETAILED)]
    flat = xr.full_like(third_octaves(8, 80), level).rename(None)
    return _stamped(flat, f"largest velocity level, {name}")


def _stamped(level: xr.DataArray, long_name: str) -> xr.DataArray:
    return stamp(
        level,
        quantity="velocity",
        reference="1 µin/s",
        long_name=long_name,
        time_weighting="S max",
        citations=[FTA_VIBRATION],
    )
