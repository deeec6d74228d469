"""Strength of helical springs: stress at solid, fatigue, temperature, loss of load.

No value here is a certificate: the maker's tests and local codes govern.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative, positive, within
from groundborne.citation import Citation

SOLID_STRESS = Citation(
    key="en13906-1-solid-stress",
    author="EN 13906-1",
    year="2013",
    title="Helical compression springs",
    locator="permissible stress at solid length by bar diameter, hot coiled",
    mark="seen second-hand",
    status="transcribed",
)
FATIGUE = Citation(
    key="en13906-1-fatigue",
    author="EN 13906-1 and prEN 10089",
    year="2013",
    title="Helical compression springs",
    locator="Goodman lines of ground, shot-peened bars, as transcribed in public code",
    mark="seen second-hand",
    status="transcribed",
)
COLD_SOLID_STRESS = Citation(
    key="en13906-1-cold-stress",
    author="EN 13906-1",
    year="2013",
    title="Helical compression springs",
    locator="permissible stress of cold-coiled springs at solid length, 0.56 Rm",
    mark="seen second-hand",
)
COLD_STATIC_STRESS = Citation(
    key="en13906-1-cold-static-stress",
    author="EN 13906-1",
    year="2013",
    title="Helical compression springs",
    locator="permissible stress of cold-coiled springs under static load, 0.5 Rm",
    mark="from memory",
)
WIRE_STRENGTH = Citation(
    key="en10270-1-strength",
    author="EN 10270-1",
    year="2011",
    title="Patented cold drawn unalloyed spring steel wire",
    locator="least tensile strength by diameter, grades SM, DM, SH and DH",
    mark="seen second-hand",
    status="verified",
)
RELAXATION = Citation(
    key="spring-relaxation",
    author="spring-making practice",
    title="peened and pre-set springs lose 2 to 3 % of their load in 48 h at 80 °C, up to 0.45 Rm",
    mark="from memory",
    status="practice",
)
RELAXATION_SHARE = (0.02, 0.03)
"""Loss of load of peened, pre-set springs in 48 h at 80 °C, least and most [-]; weak evidence."""
RELAXATION_STRESS_SHARE = 0.45
"""Largest uncorrected shear stress over tensile strength for which that holds [-]."""

COLD_SOLID_SHARE = 0.56
"""Permissible uncorrected shear stress at solid over tensile strength, cold coiled [-]."""
COLD_STATIC_SHARE = 0.5
"""The same under the static working load [-], from memory."""
WIRE_GRADES = {
    "SM": (1980.0, 740.0),
    "DM": (1980.0, 740.0),
    "SH": (2220.0, 820.0),
    "DH": (2220.0, 820.0),
}
"""``Rm = a − b lg(d/1 mm)`` [MPa] of drawn wire by grade: S for static, D for dynamic duty, M and H
for medium and high strength."""

_SOLID_BAR_MM = (7.5, 10.0, 12.5, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.6)
_SOLID_MPA = (955.0, 925.0, 896.9, 874.4, 840.2, 813.1, 794.6, 761.3, 735.8, 716.5)
_FATIGUE_BAR_MM = (10.0, 15.0, 25.0, 35.0, 50.0)


def interpolated(value: Numeric, at: tuple[float, ...], known: tuple[float, ...]) -> Numeric:
    """Straight lines between table entries; the caller has refused what lies outside."""
    if isinstance(value, xr.DataArray):
        found: xr.DataArray = xr.apply_ufunc(
            np.interp, value, list(at), list(known), input_core_dims=[[], ["node"], ["node"]],
            dask="parallelized", output_dtypes=[float],
        )  # fmt: skip
        return found
    plain = np.interp(value, at, known)
    return plain if np.ndim(plain) else float(plain)


@checked
def solid_stress_limit(*, wire_diameter: Numeric) -> Numeric:
    """Permissible uncorrected shear stress of a hot-coiled spring pressed solid.

    Parameters
    ----------
    wire_diameter : float or DataArray
        Bar diameter [m], 7.5 to 60.6 mm.

    Returns
    -------
    float or DataArray
        [Pa], by straight lines between the printed diameters.

    Raises
    ------
    ValueError
        A diameter outside the table.

    References
    ----------
    EN 13906-1 by bar diameter, as transcribed in public code [seen second-hand].

    Examples
    --------
    >>> round(float(solid_stress_limit(wire_diameter=0.040)) / 1e6, 1)
    761.3
    """
    within("solid_stress_limit", "wire_diameter", wire_diameter, 0.0075, 0.0606, "m")
    return interpolated(wire_diameter * 1e3, _SOLID_BAR_MM, _SOLID_MPA) * 1e6


@checked
def wire_strength(*, wire_diameter: Numeric, grade: str) -> Numeric:
    """Least tensile strength of patented cold-drawn spring wire.

    Parameters
    ----------
    wire_diameter : float or DataArray
        Wire diameter [m], 0.3 to 20 mm.
    grade : str
        One of ``WIRE_GRADES``.

    Returns
    -------
    float or DataArray
        Rm [Pa] as delivered; what counts is the strength after coiling and stress relieving, from
        the maker.

    Raises
    ------
    ValueError
        An unknown grade or a diameter outside the range.

    Notes
    -----
    ``1980 − 740 lg d`` MPa for SM and DM meets the printed table, which is rounded to 10 MPa;
    ``2220 − 820 lg d`` for SH and DH lies about 10 MPa below it.

    References
    ----------
    EN 10270-1:2011, as transcribed by wire and spring makers [seen second-hand].

    Examples
    --------
    >>> round(float(wire_strength(wire_diameter=0.010, grade="SM")) / 1e6)
    1240
    """
    a, b = WIRE_GRADES[known("wire_strength", "grade", grade, WIRE_GRADES)]
    within("wire_strength", "wire_diameter", wire_diameter, 0.0003, 0.020, "m")
    strength: Numeric = (a - b * np.log10(wire_diameter * 1e3)) * 1e6
    return strength


@checked
def cold_stress_limit(*, tensile_strength: Numeric, solid: bool) -> Numeric:
    """Permissible uncorrected shear stress of a cold-coiled compression spring.

    Parameters
    ----------
    tensile_strength : float or DataArray
        Least tensile strength Rm of the wire after stress relieving [Pa], above 0.
    solid : bool
        Pressed solid (0.56 Rm); else under static load in use (0.5 Rm, from memory).

    Returns
    -------
    float or DataArray
        [Pa].

    Raises
    ------
    ValueError
        A strength that is not above 0.

    References
    ----------
    EN 13906-1:2013 [0.56 seen second-hand, 0.5 from memory].

    Examples
    --------
    >>> round(float(cold_stress_limit(tensile_strength=1.24e9, solid=True)) / 1e6, 1)
    694.4
    """
    positive("cold_stress_limit", "tensile_strength", tensile_strength, "Pa")
    return (COLD_SOLID_SHARE if solid else COLD_STATIC_SHARE) * tensile_strength


def stress_limit(
    where: str, wire_diameter: Numeric, strength: Numeric | None, *, cold: bool, solid: bool
) -> Numeric:
    """Permissible uncorrected shear stress by how the bar was coiled, or why there is none [Pa]."""
    if cold:
        if strength is None:
            raise ValueError(
                f"{where}: the spring is cold coiled and tensile_strength is missing; the table of "
                "hot-coiled bars does not hold for it (see wire_strength)"
            )
        return cold_stress_limit(tensile_strength=strength, solid=solid)
    if not solid:
        raise ValueError(
            f"{where}: hot-coiled springs have a limit at solid only; the static one is the maker's"
        )
    return solid_stress_limit(wire_diameter=wire_diameter)


@checked
@dataclass(frozen=True, kw_only=True)
class FatigueLines:
    """Goodman lines by bar diameter for one number of cycles.

    Parameters
    ----------
    cycles : float
        Number of load cycles they hold for [-].
    at_zero : tuple of float
        Permissible largest corrected stress with a least stress of zero, at bars of 10, 15, 25, 35
        and 50 mm [MPa].
    plateau : tuple of float
        Largest stress permitted at any least stress [MPa].
    knee : tuple of float
        Least stress from which the plateau holds [MPa].
    citation : Citation
        Where they stand.

    References
    ----------
    EN 13906-1 / prEN 10089, ground and shot-peened bars [seen second-hand].

    Examples
    --------
    >>> round(float(MANY_CYCLES.limit(wire_diameter=0.035, least_stress=0.0)) / 1e6)
    405
    """

    cycles: float
    at_zero: tuple[float, ...]
    plateau: tuple[float, ...]
    knee: tuple[float, ...]
    citation: Citation = FATIGUE

    def limit(self, *, wire_diameter: Numeric, least_stress: Numeric) -> Numeric:
        """Largest corrected shear stress permitted over a least stress.

        Parameters
        ----------
        wire_diameter : float or DataArray
            Bar diameter [m], 10 to 50 mm.
        least_stress : float or DataArray
            Least corrected shear stress of the cycle [Pa], 0 or more.

        Returns
        -------
        float or DataArray
            [Pa].

        Raises
        ------
        ValueError
            A diameter outside the table, or a negative stress.
        """
        within("FatigueLines.limit", "wire_diameter", wire_diameter, 0.010, 0.050, "m")
        not_negative("FatigueLines.limit", "least_stress", least_stress, "Pa")
        zero, plateau, knee = (
            interpolated(wire_diameter * 1e3, _FATIGUE_BAR_MM, column) * 1e6
            for column in (self.at_zero, self.plateau, self.knee)
        )
        share = np.minimum(least_stress / knee, 1.0)
        largest: Numeric = zero + (plateau - zero) * share
        return largest


FEW_CYCLES = FatigueLines(
    cycles=1e5,
    at_zero=(760.0, 670.0, 590.0, 520.0, 430.0),
    plateau=(890.0, 830.0, 780.0, 740.0, 690.0),
    knee=(230.0, 260.0, 300.0, 330.0, 390.0),
)
"""Goodman lines for 1e5 cycles: storms, unloading during construction."""
MANY_CYCLES = FatigueLines(
    cycles=2e6,
    at_zero=(645.0, 555.0, 475.0, 405.0, 325.0),
    plateau=(890.0, 830.0, 780.0, 740.0, 690.0),
    knee=(390.0, 410.0, 440.0, 460.0, 490.0),
)
"""Goodman lines for 2e6 cycles."""


@checked
def modulus_temperature_factor(*, temperature: Numeric) -> Numeric:
    """Shear modulus of spring steel at a temperature over that at 20 °C.

    Parameters
    ----------
    temperature : float or DataArray
        [°C], -40 to 250.

    Returns
    -------
    float or DataArray
        ``1 − 2.8e-4 (T − 20)`` [-].

    Raises
    ------
    ValueError
        A temperature outside the range.

    References
    ----------
    EN 13906-1:2013, line through its Fig. 4 [seen second-hand]; the range is ours.

    Examples
    --------
    >>> round(float(modulus_temperature_factor(temperature=70.0)), 3)
    0.986
    """
    within("modulus_temperature_factor", "temperature", temperature, -40.0, 250.0, "°C")
    return 1 - 2.8e-4 * (temperature - 20)


@checked
def relaxation_statement(*, stress: Numeric, tensile_strength: Numeric) -> str:
    """What may be said about the loss of load of a spring under permanent load.

    Parameters
    ----------
    stress : float or DataArray
        Uncorrected shear stress under that load [Pa], 0 or more.
    tensile_strength : float or DataArray
        Rm of the bar [Pa], above 0.

    Returns
    -------
    str
        A sentence for a report; the rule behind it is recalled and weak.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    EN 13906-1, Annex A is about it and was not read; the rule is from memory.

    Examples
    --------
    >>> relaxation_statement(stress=9e8, tensile_strength=1.5e9)[:50]
    'shear stress is 0.60 of the tensile strength, abov'
    """
    not_negative("relaxation_statement", "stress", stress, "Pa")
    positive("relaxation_statement", "tensile_strength", tensile_strength, "Pa")
    share = float(np.max(np.asarray(stress / tensile_strength)))
    low, high = (round(100 * part) for part in RELAXATION_SHARE)
    if share <= RELAXATION_STRESS_SHARE:
        return (
            f"shear stress is {share:.2f} of the tensile strength: peened, pre-set springs are "
            f"said to lose {low} to {high} % of their load in 48 h at 80 °C (from memory, weak "
            "evidence); the maker's test decides"
        )
    return (
        f"shear stress is {share:.2f} of the tensile strength, above {RELAXATION_STRESS_SHARE}: "
        "no rule for the loss of load; a test is needed"
    )
