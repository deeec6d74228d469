"""Sideways behaviour of a helical compression spring: lateral rate, sway, buckling."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation

BUCKLING = Citation(
    key="en13906-1-buckling",
    author="EN 13906-1",
    year="2013",
    title="Helical compression springs",
    locator="clause 9.14, buckling deflection by seating coefficient",
    mark="seen second-hand",
    status="transcribed",
)
LATERAL_RATE = Citation(
    key="en13906-1-lateral",
    author="EN 13906-1",
    year="2013",
    title="Helical compression springs",
    locator="clause 9.13, lateral rate between parallel guided ends",
    mark="from memory",
    status="transcribed",
)
PARALLEL_FIXED = 0.5
"""Seating coefficient ν with both ends between parallel plates that do not shift [-]."""
FIXED_HINGED = 0.7
"""Seating coefficient ν with one end fixed and one hinged [-]."""
HINGED = 1.0
"""Seating coefficient ν with both ends hinged, or one plate free to shift sideways [-]."""
FIXED_FREE = 2.0
"""Seating coefficient ν with one end fixed and one free [-]."""


def _either(condition: Any, yes: Numeric, no: Numeric) -> Numeric:
    """``yes`` where the condition holds, else ``no``; numbers stay numbers."""
    if any(isinstance(part, xr.DataArray) for part in (condition, yes, no)):
        chosen: xr.DataArray = xr.where(condition, yes, no)
        return chosen
    plain = np.where(condition, yes, no)
    return plain if plain.ndim else float(plain)


@checked(infinite=("return",))  # a spring that never buckles
def buckling_deflection(
    *,
    free_length: Numeric,
    coil_diameter: Numeric,
    seating: Numeric,
    modulus_ratio: Numeric,
) -> Numeric:
    """Deflection at which a coil buckles.

    Parameters
    ----------
    free_length : float or DataArray
        L0 [m], above 0.
    coil_diameter : float or DataArray
        Mean coil diameter D [m], above 0.
    seating : float or DataArray
        Seating coefficient ν [-], 0.5 (both ends between parallel plates) to 2 (one end free).
    modulus_ratio : float or DataArray
        Shear over Young's modulus G/E [-], 0.2 to 0.6; 0.38 for spring steel.

    Returns
    -------
    float or DataArray
        [m]; infinite where the coil cannot buckle at any deflection.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    ``sK = L0 ½/(1 − m) {1 − √[1 − (1 − m)/(½ + m) (π D/(ν L0))²]}`` with m = G/E. A value above
    the travel to solid means that the coil goes solid before it buckles.

    References
    ----------
    EN 13906-1:2013, clause 9.14 [seen second-hand].

    Examples
    --------
    >>> round(float(buckling_deflection(free_length=0.33, coil_diameter=0.18, seating=2.0,
    ...                                 modulus_ratio=78.5 / 206)) * 1e3, 1)
    81.1
    >>> buckling_deflection(free_length=0.33, coil_diameter=0.18, seating=0.5,
    ...                     modulus_ratio=78.5 / 206)
    inf
    """
    where = "buckling_deflection"
    positive(where, "free_length", free_length, "m")
    positive(where, "coil_diameter", coil_diameter, "m")
    within(where, "seating", seating, 0.5, 2.0, "")
    within(where, "modulus_ratio", modulus_ratio, 0.2, 0.6, "")
    slenderness = seating * free_length / coil_diameter
    share = (1 - modulus_ratio) / (0.5 + modulus_ratio) * (np.pi / slenderness) ** 2
    root = np.sqrt(np.maximum(1 - share, 0.0))
    deflection = free_length * 0.5 / (1 - modulus_ratio) * (1 - root)
    return _either(share > 1, np.inf, deflection)


@checked
def safe_slenderness(*, seating: Numeric, modulus_ratio: Numeric) -> Numeric:
    """Free length over coil diameter below which a coil cannot buckle.

    Parameters
    ----------
    seating : float or DataArray
        Seating coefficient ν [-], 0.5 to 2.
    modulus_ratio : float or DataArray
        G/E [-], 0.2 to 0.6.

    Returns
    -------
    float or DataArray
        ``(π/ν) √[(1 − m)/(½ + m)]`` [-].

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Derived from the root in EN 13906-1:2013, clause 9.14.

    Examples
    --------
    >>> round(float(safe_slenderness(seating=0.5, modulus_ratio=78.5 / 206)), 2)
    5.27
    """
    within("safe_slenderness", "seating", seating, 0.5, 2.0, "")
    within("safe_slenderness", "modulus_ratio", modulus_ratio, 0.2, 0.6, "")
    slenderness: Numeric = np.pi / seating * np.sqrt((1 - modulus_ratio) / (0.5 + modulus_ratio))
    return slenderness


@checked
def lateral_ratio(
    *,
    deflection: Numeric,
    free_length: Numeric,
    coil_diameter: Numeric,
    modulus_ratio: Numeric,
) -> Numeric:
    """Lateral over axial rate of a coil between plates that stay parallel.

    Parameters
    ----------
    deflection : float or DataArray
        Axial deflection s under the load [m], 0 or more and below the free length.
    free_length, coil_diameter : float or DataArray
        L0 and D [m], above 0.
    modulus_ratio : float or DataArray
        G/E [-], 0.2 to 0.6.

    Returns
    -------
    float or DataArray
        [-]; as the load grows it falls for slender coils (λ above 1.9) and rises for squat ones.

    Raises
    ------
    ValueError
        A parameter out of bounds; a deflection at which the coil sways aside by itself.

    Notes
    -----
    ``η = ξ/{ξ − 1 + a tan(λ ξ a)/[λ (½ + m)]}``, ``a² = (½ + m)(m + (1 − ξ)/ξ)``, ξ = s/L0,
    λ = L0/D, m = G/E; written here so that it also holds at ξ = 0, where
    ``1/η = m + λ² (½ + m)/3``. The coil sways aside where ``λ ξ a`` reaches π/2.

    References
    ----------
    EN 13906-1, clause 9.13 [from memory]; the same as Haringx's form, which was seen second-hand.

    Examples
    --------
    >>> round(float(lateral_ratio(deflection=0.025, free_length=0.33, coil_diameter=0.18,
    ...                           modulus_ratio=78.5 / 206)), 3)
    0.734
    """
    where = "lateral_ratio"
    positive(where, "free_length", free_length, "m")
    positive(where, "coil_diameter", coil_diameter, "m")
    within(where, "modulus_ratio", modulus_ratio, 0.2, 0.6, "")
    not_negative(where, "deflection", deflection, "m")
    m, xi, slenderness = modulus_ratio, deflection / free_length, free_length / coil_diameter
    if np.any(np.asarray(xi) >= 1):
        raise ValueError(f"{where}: deflection reaches the free length; no coil can shorten so far")
    rest = 1 - xi + m * xi
    phase = slenderness * np.sqrt(xi * (0.5 + m) * rest)
    if np.any(np.asarray(phase) >= np.pi / 2):
        raise ValueError(
            f"{where}: at this deflection the coil sways aside by itself (λξa reaches π/2); a "
            "shorter or wider coil, or a smaller deflection is needed"
        )
    # (tan x − x)/x³ tends to 1/3; below 1e-3 it differs from that by less than 1e-6.
    x = np.maximum(phase, 1e-3)
    excess = (np.tan(x) - x) / x**3
    ratio: Numeric = 1 / (m + slenderness**2 * (0.5 + m) * rest**2 * excess)
    return ratio
