"""Limits that IEC 61260-1 sets to octave and one-third-octave filters, by class and edition."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, positive
from groundborne.citation import Citation

IEC_61260_1_LIMITS = Citation(
    key="iec61260-1-limits",
    author="IEC 61260-1",
    year="2014",
    title="Octave-band and fractional-octave-band filters",
    locator="Table 1 and formulas 9 to 11; 5.11, 5.12, 5.13, 5.16; Table 1 of the 1995 edition",
    mark="seen second-hand",
    status="transcribed",
)

_G = 10**0.3
BREAKPOINTS = (0.0, 0.125, 0.25, 0.375, 0.5, 0.5, 1.0, 2.0, 3.0, 4.0)
"""Exponents x of the breakpoints G^x of an octave band; the edge 1/2 stands twice, with the limits
on its inner and on its outer side."""
_EDGE = 5
_ANY = float("inf")
_Pair = tuple[tuple[float, ...], tuple[float, ...]]


def _pair(inner: float, largest: tuple[float, ...], outer: tuple[float, ...]) -> _Pair:
    """Least and largest attenuation at the breakpoints."""
    return (-inner,) * _EDGE + outer, largest + (_ANY,) * len(outer)


CLASS_LIMITS: dict[tuple[str, int], _Pair] = {
    ("2014", 1): _pair(0.4, (0.4, 0.5, 0.7, 1.4, 5.3), (1.2, 16.6, 40.5, 60.0, 70.0)),
    ("2014", 2): _pair(0.6, (0.6, 0.7, 0.9, 1.7, 5.8), (0.8, 15.6, 39.5, 54.0, 60.0)),
    ("1995", 0): _pair(0.15, (0.15, 0.2, 0.4, 1.1, 4.5), (2.3, 18.0, 42.5, 62.0, 75.0)),
    ("1995", 1): _pair(0.3, (0.3, 0.4, 0.6, 1.3, 5.0), (2.0, 17.5, 42.0, 61.0, 70.0)),
    ("1995", 2): _pair(0.5, (0.5, 0.6, 0.8, 1.6, 5.5), (1.6, 16.5, 41.0, 55.0, 60.0)),
}
"""Least and largest relative attenuation of octave bands at ``BREAKPOINTS`` [dB], by edition and
class. The 1995 edition sets the limits of ANSI S1.11-2004 too."""
EFFECTIVE_BANDWIDTH = {1: (-0.4, 0.4), 2: (-0.6, 0.6)}
"""Effective over nominal bandwidth, 10 lg of it [dB], by class (2014)."""
SUMMATION = {1: (-1.8, 0.8), 2: (-3.8, 1.8)}
"""Sum of a band and its two neighbours over the level of a sine [dB], by class (2014)."""
LEVEL_LINEARITY = {1: (-0.5, 0.5)}
"""Deviation from linearity in the top 40 dB of the range [dB], class 1 (2014)."""


@checked
def breakpoint_ratios(*, fraction: int = 3) -> tuple[float, ...]:
    """Frequencies of the breakpoints above mid-band, over the mid-band frequency.

    Parameters
    ----------
    fraction : int
        Bands in an octave: 1 for octaves, 3 for thirds.

    Returns
    -------
    tuple of float
        [-], the band edge twice; below mid-band their inverses hold.

    Raises
    ------
    ValueError
        A fraction that is no whole number of 1 or more.

    References
    ----------
    IEC 61260-1:2014, formulas 9 and 10 [seen second-hand].

    Examples
    --------
    >>> [round(r, 4) for r in breakpoint_ratios()[4:7]]
    [1.122, 1.122, 1.2944]
    """
    # Unlike G^(x/b), formula 9 keeps the skirts of narrow bands in proportion to their width.
    if fraction < 1:
        raise ValueError(
            f"breakpoint_ratios: fraction is {fraction!r}; a whole number of bands in an octave, "
            "1 or more, is needed"
        )
    scale = (_G ** (1 / (2 * fraction)) - 1) / (_G**0.5 - 1)
    return tuple(1 + scale * (_G**x - 1) for x in BREAKPOINTS)


@checked(infinite=("return",))  # no largest attenuation outside the band
def class_limits(
    frequency_ratio: Numeric,
    *,
    fraction: int = 3,
    performance_class: int = 1,
    edition: str = "2014",
) -> xr.Dataset:
    """Least and largest relative attenuation of a filter at a frequency.

    Parameters
    ----------
    frequency_ratio : float or DataArray
        Frequency over mid-band frequency [-], above 0.
    fraction : int
        Bands in an octave: 1 for octaves, 3 for thirds.
    performance_class : int
        1 or 2; 0, 1 or 2 of the 1995 edition.
    edition : str
        ``2014`` or ``1995``.

    Returns
    -------
    xarray.Dataset
        ``least`` and ``largest`` attenuation relative to mid-band [dB]; ``largest`` is infinite
        outside the band. Straight lines in lg of the ratio between breakpoints; beyond the last
        the least attenuation stays.

    Raises
    ------
    ValueError
        A ratio that is not above 0, or an edition or class there is none of.

    References
    ----------
    IEC 61260-1:2014 and 1995, Table 1, formulas 9 to 11 [seen second-hand, three transcriptions].

    Examples
    --------
    >>> at_mid_band = class_limits(1.0)
    >>> at_mid_band["least"].item(), at_mid_band["largest"].item()
    (-0.4, 0.4)
    >>> class_limits(0.5, fraction=1)["least"].round(1).item()  # 16.6 at 10^-0.3
    16.7
    """
    where = "class_limits"
    known(where, "edition", edition, sorted({e for e, _ in CLASS_LIMITS}))
    if (edition, performance_class) not in CLASS_LIMITS:
        classes = ", ".join(str(c) for e, c in CLASS_LIMITS if e == edition)
        raise ValueError(
            f"{where}: performance_class is {performance_class!r}; the edition of {edition} has "
            f"{classes}"
        )
    ratio = xr.DataArray(positive(where, "frequency_ratio", frequency_ratio, ""))
    points = np.log(breakpoint_ratios(fraction=fraction))
    least, largest = (np.array(part) for part in CLASS_LIMITS[edition, performance_class])
    at = np.abs(np.log(ratio.values))
    # The limits of the inner side hold up to the edge, those of the outer side from it on.
    inside = at < points[_EDGE] * (1 - 1e-9)

    def lines(values: Any) -> Any:
        inner = np.interp(at, points[:_EDGE], values[:_EDGE])
        return np.where(inside, inner, np.interp(at, points[_EDGE:], values[_EDGE:]))

    found = xr.Dataset(
        {
            "least": ratio.copy(data=lines(least)),
            "largest": ratio.copy(data=np.where(inside, lines(np.minimum(largest, 1e3)), _ANY)),
        },
        attrs={"citations": IEC_61260_1_LIMITS.text, "edition": edition},
    )
    for name in found:
        found[name].attrs = {"units": "dB", "long_name": f"{name} relative attenuation"}
    return found
