"""Peak velocity and KB of a signal of known kind."""

from __future__ import annotations

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative, positive

SIGNAL_FACTORS = {
    "harmonic": 0.9,
    "distorted harmonic": 0.8,
    "random, resonant": 0.8,
    "random": 0.7,
    "single event, resonant": 0.8,
    "single event": 0.6,
}
"""c_F of DIN 4150-2, Table 3, for ``kb_from_peak``; uncertain by about 15 %."""


@checked
def kb_from_peak(peak: Numeric, *, frequency: Numeric, kind: str) -> Numeric:
    """Estimate of KB_Fmax from an unweighted velocity peak, ``c_F v/√2 /√(1 + (5.6 Hz/f)²)``.

    Parameters
    ----------
    peak : float or DataArray
        Largest velocity [m/s].
    frequency : float or DataArray
        Main frequency [Hz].
    kind : str
        Kind of vibration, one of ``SIGNAL_FACTORS``.

    Returns
    -------
    same type
        Estimate of KB_Fmax [-], uncertain by 15 % through c_F alone.

    Raises
    ------
    ValueError
        An unknown kind or a number out of its range.

    References
    ----------
    DIN 4150-2:1999, Table 3 [seen second-hand]; formulas 6 and 7 [from memory].

    Examples
    --------
    >>> round(kb_from_peak(4e-3, frequency=14.0, kind="single event, resonant"), 1)
    2.1
    """
    known("kb_from_peak", "kind", kind, SIGNAL_FACTORS)
    not_negative("kb_from_peak", "peak", peak, "m/s")
    positive("kb_from_peak", "frequency", frequency, "Hz")
    shape = (1 + (5.6 / frequency) ** 2) ** -0.5
    result: Numeric = SIGNAL_FACTORS[kind] * 1e3 * peak * 0.5**0.5 * shape
    return result
