"""Complex frequency responses of the weightings, for time records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known, not_negative
from groundborne.citation import Citation
from groundborne.weighting.sound import IEC_61672_1, POLES

ISO_8041_1 = Citation(
    key="iso8041-1",
    author="ISO 8041-1",
    year="2017",
    title="Human response to vibration, measuring instrumentation",
    locator="Table 3 and formulas of the weightings, Annex B tables",
    mark="seen second-hand",
    status="verified",
)
DIN_45669_1 = Citation(
    key="din45669-1",
    author="DIN 45669-1",
    year="2010",
    title="Mechanical vibration, vibration meters",
    locator="formulas 3 and 4, band limits and KB weighting; running rms with 0.125 s",
    mark="seen second-hand",
    status="verified",
)

F = TypeVar("F", float, np.ndarray[Any, Any], xr.DataArray)
_ROOT_HALF = float(np.sqrt(0.5))


def _high_pass(s: Any, f1: float) -> Any:
    w = 2 * np.pi * f1
    return s**2 / (s**2 + s * w / _ROOT_HALF + w**2)


def _low_pass(s: Any, f2: float) -> Any:
    w = 2 * np.pi * f2
    return 1 / (1 + s / (_ROOT_HALF * w) + (s / w) ** 2)


def _transition(s: Any, f3: float, q4: float) -> Any:
    w = 2 * np.pi * f3
    return (1 + s / w) / (1 + s / (q4 * w) + (s / w) ** 2)


def _step(s: Any, f5: float, q5: float, f6: float, q6: float) -> Any:
    w5, w6 = 2 * np.pi * f5, 2 * np.pi * f6
    up = 1 + s / (q5 * w5) + (s / w5) ** 2
    return up / (1 + s / (q6 * w6) + (s / w6) ** 2) * (w5 / w6) ** 2


def _band(low: float, high: float) -> Callable[[Any], Any]:
    return lambda s: _high_pass(s, low) * _low_pass(s, high)


def _w(
    f3: float,
    q4: float,
    *,
    f1: float = 0.4,
    step: tuple[float, float, float, float] | None = None,
    gain: float = 1.0,
) -> Callable[[Any], Any]:
    def shape(s: Any) -> Any:
        value = gain * _band(f1, 100.0)(s) * _transition(s, f3, q4)
        return value if step is None else value * _step(s, *step)

    return shape


def _kb(low: float, high: float) -> Callable[[Any], Any]:
    w = 2 * np.pi * 5.6
    return lambda s: _band(low, high)(s) * s / (s + w)


def _sound(s: Any, *, a: bool) -> Any:
    w1, w2, w3, w4 = (2 * np.pi * f for f in POLES)
    value = (s * w4) ** 2 / ((s + w1) ** 2 * (s + w4) ** 2)
    return value * s**2 / ((s + w2) * (s + w3)) if a else value


def _a(s: Any) -> Any:
    return _sound(s, a=True) / abs(_sound(2j * np.pi * 1000.0, a=True))


def _c(s: Any) -> Any:
    return _sound(s, a=False) / abs(_sound(2j * np.pi * 1000.0, a=False))


@checked
@dataclass(frozen=True, kw_only=True)
class Curve:
    """A weighting and what it is meant for.

    Parameters
    ----------
    quantity : str
        What is weighted: ``acceleration``, ``velocity`` or ``sound pressure``.
    shape : callable
        Response as a function of ``s = j 2π f`` [rad/s].
    memory : float
        Slowest pole of the curve [rad/s]: how fast it forgets what was before.
    least_rate : float
        Fewest samples per second of a record [Hz]: twice the corner of the low pass. Below, part
        of the range the curve is for is not in the record. 0 for A and C.
    low, high : float
        Labels of the first and last band of the range the curve is for [Hz].
    citation : Citation
        Where it comes from.

    Examples
    --------
    >>> CURVES["KB"].quantity, CURVES["KB"].least_rate
    ('velocity', 200.0)
    """

    quantity: str
    shape: Callable[[Any], Any]
    memory: float
    least_rate: float
    low: float
    high: float
    citation: Citation


def _human(
    shape: Callable[[Any], Any], memory: float = 0.4, low: float = 0.5, high: float = 80.0
) -> Curve:
    # The high pass has the slowest pole: its corner times the real part cos 45°.
    return Curve(
        quantity="acceleration",
        shape=shape,
        memory=2 * np.pi * memory * _ROOT_HALF,
        least_rate=200.0,
        low=low,
        high=high,
        citation=ISO_8041_1,
    )


def _velocity(shape: Callable[[Any], Any], low: float, high: float) -> Curve:
    return Curve(
        quantity="velocity",
        shape=shape,
        memory=2 * np.pi * 0.8 * low * _ROOT_HALF,
        least_rate=2 * high / 0.8,
        low=low,
        high=high,
        citation=DIN_45669_1,
    )


def _pressure(shape: Callable[[Any], Any]) -> Curve:
    return Curve(
        quantity="sound pressure",
        shape=shape,
        memory=2 * np.pi * POLES[0],
        least_rate=0.0,
        low=10.0,
        high=20000.0,
        citation=IEC_61672_1,
    )


CURVES: dict[str, Curve] = {
    "Wb": _human(_w(16.0, 0.55, step=(2.5, 0.9, 4.0, 0.95), gain=1.024)),
    "Wc": _human(_w(8.0, 0.63)),
    "Wd": _human(_w(2.0, 0.63)),
    "We": _human(_w(1.0, 0.63)),
    "Wk": _human(_w(12.5, 0.63, step=(2.37, 0.91, 3.35, 0.91))),
    "Wm": _human(_w(1 / (0.028 * 2 * np.pi), 0.5, f1=10**-0.1), memory=10**-0.1, low=1.0),
    "W band limits": _human(_band(0.4, 100.0)),
    "KB": _velocity(_kb(0.8, 100.0), 1.0, 80.0),
    "KB railway": _velocity(_kb(3.2, 393.75), 4.0, 315.0),
    "velocity": _velocity(_band(0.8, 100.0), 1.0, 80.0),
    "velocity railway": _velocity(_band(3.2, 393.75), 4.0, 315.0),
    "A": _pressure(_a),
    "C": _pressure(_c),
}
"""Weightings by name. ``W band limits`` and ``velocity`` are the band limits alone (0.4 to 100 Hz;
0.8 to 100 Hz); ``railway`` is the working range 4 to 315 Hz, corners 0.8 × 4 and 315 / 0.8 Hz."""


@checked(renamed={"lines": "frequencies"})
def response(curve: str, frequencies: F) -> F:
    """Complex response of a weighting at plain frequencies, for records and their spectra.

    Parameters
    ----------
    curve : str
        One of ``CURVES``.
    frequencies : float, array or DataArray
        Frequencies [Hz], 0 or more; not band labels.

    Returns
    -------
    same type as `frequencies`
        Complex factor [-]. The W curves apply to acceleration, KB to velocity.

    Raises
    ------
    ValueError
        An unknown curve or a negative frequency.

    References
    ----------
    ISO 8041-1:2017, Table 3; DIN 45669-1:2010, formulas 3 and 4 with corners at 0.8 times the
    lower and 1/0.8 times the upper working frequency; IEC 61672-1:2013.

    Examples
    --------
    >>> round(abs(response("Wk", 8.0)), 3), round(abs(response("KB", 5.6)), 3)
    (1.036, 0.707)
    """
    known("weighting.response", "curve", curve, CURVES)
    not_negative("weighting.response", "frequencies", frequencies, "Hz")
    shape = CURVES[curve].shape
    # In one step, for formulas of arrays with labels take many times as long.
    value: F = xr.apply_ufunc(lambda f: shape(2j * np.pi * f), frequencies, dask="allowed")
    return value
