"""Air enclosed under a floating floor, above a ceiling or behind a lining, as a spring."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative, positive
from groundborne.citation import Citation

AIR_SPRING = Citation(
    key="air-layer-stiffness",
    author="groundborne",
    title="stiffness of an air layer from the gas law: 1.4 p0/d sealed, p0/d with a porous fill",
    mark="derived",
    status="transcribed",
)
AIR_STANDARD = Citation(
    key="air-layer-0.111",
    author="EN 12354 annex, as written in a public implementation",
    title="mass-air-mass resonance, 160 √[(0.111/d)(1/m1 + 1/m2)]",
    mark="seen second-hand",
    status="transcribed",
)
ISO_9052_1 = Citation(
    key="iso9052-1",
    author="ISO 9052-1",
    year="1989",
    title="Determination of dynamic stiffness, materials under floating floors",
    locator="three classes of lateral airflow resistivity, 10 and 100 kPa s/m²",
    mark="from memory",
    status="transcribed",
)

STATIC_PRESSURE = 101325.0
"""p0 at sea level [Pa]."""
AIR_MODULUS = {
    "sealed": 1.4 * STATIC_PRESSURE,
    "filled": STATIC_PRESSURE,
    "standard": 0.111e6,
    "vented": 0.0,
}
"""Stiffness per area times depth [N/m²] by the state of the air."""

AIR_LOSS_PRACTICE = Citation(
    key="air-loss-practice",
    author="common practice",
    title="air in an open porous fill loses about a tenth, sealed air half of that at its edges",
    mark="common practice",
    status="practice",
)
AIR_LOSS_FACTOR = {"sealed": 0.05, "filled": 0.1, "standard": 0.1, "vented": 0.0}
"""Loss factor of the air spring by its state [-], common practice.

No cavity on site is tight and smooth: air leaks past edge strips and rubs between battens. Without
any loss a light floor on sealed air would resonate as high as its few elements alone let it, by
27 dB in a whole band."""


@checked
def air_stiffness(*, gap: Numeric, state: str = "sealed") -> Numeric:
    """Stiffness per area of an air layer.

    Parameters
    ----------
    gap : float or DataArray
        Depth of the air [m], above 0.
    state : str
        ``"sealed"``: adiabatic, ``1.4 p0/d``, the stiffest, taken where nobody can show otherwise;
        its loss is in :data:`AIR_LOSS_FACTOR`.
        ``"filled"``: isothermal, ``p0/d``, with an open porous fill such as mineral wool.
        ``"standard"``: ``0.111 MN/m² / d``, between the two, as in building-acoustics standards.
        ``"vented"``: 0, with openings so large that no pressure builds up.

    Returns
    -------
    float or DataArray
        [N/m³].

    Raises
    ------
    ValueError
        A depth that is not above 0, or an unknown state.

    Notes
    -----
    The layer must be thin against the wavelength in air; cavities that join several bays are
    sealed as a whole. A skeleton of fill that touches both sides adds its own stiffness.

    References
    ----------
    Gas law [derived]; 0.111/d: EN 12354 annex [seen second-hand].

    Examples
    --------
    >>> [round(air_stiffness(gap=0.05, state=s) / 1e6, 2) for s in ("sealed", "filled", "vented")]
    [2.84, 2.03, 0.0]
    """
    positive("air_stiffness", "gap", gap, "m")
    return AIR_MODULUS[known("air_stiffness", "state", state, AIR_MODULUS)] / gap


@checked
def mass_air_mass_frequency(
    *, gap: Numeric, first_mass: Numeric, second_mass: Numeric | None = None, state: str = "sealed"
) -> Numeric:
    """Resonance of two heavy leaves on the air between them.

    Parameters
    ----------
    gap : float or DataArray
        Depth of the air [m], above 0.
    first_mass : float or DataArray
        Of the lighter leaf [kg/m²], above 0.
    second_mass : float or DataArray, optional
        Of the other leaf [kg/m²]; none where it stands still.
    state : str
        As for :func:`air_stiffness`.

    Returns
    -------
    float or DataArray
        ``(1/2π) √[s′ (1/m1 + 1/m2)]`` [Hz].

    Raises
    ------
    ValueError
        A parameter out of bounds, or vented air, which has no resonance.

    References
    ----------
    EN 12354 annex [seen second-hand], printed with 160 for 1000/(2π) = 159.2.

    Examples
    --------
    >>> round(float(mass_air_mass_frequency(gap=0.2, first_mass=25.0, state="filled")), 1)
    22.7
    """
    where = "mass_air_mass_frequency"
    positive(where, "first_mass", first_mass, "kg/m²")
    stiffness = air_stiffness(gap=gap, state=state)
    if AIR_MODULUS[state] == 0:
        raise ValueError(f"{where}: state is 'vented'; vented air is no spring")
    inverse = 1 / first_mass
    if second_mass is not None:
        positive(where, "second_mass", second_mass, "kg/m²")
        inverse = inverse + 1 / second_mass
    frequency: Numeric = np.sqrt(stiffness * inverse) / (2 * np.pi)
    return frequency


LOW_RESISTIVITY, HIGH_RESISTIVITY = 10e3, 100e3
"""Class limits of lateral airflow resistivity [Pa s/m²], from memory."""


@checked
def resilient_layer_stiffness(
    *,
    apparent: Numeric,
    flow_resistivity: Numeric,
    thickness: Numeric,
    air_negligible: bool = False,
) -> Numeric:
    """Dynamic stiffness of an installed resilient layer from the one measured on a sample.

    In a small sample the air escapes sideways; under a floor it cannot.

    Parameters
    ----------
    apparent : float or DataArray
        Apparent dynamic stiffness per area of the sample [N/m³], above 0.
    flow_resistivity : float or DataArray
        Lateral airflow resistivity [Pa s/m²], 0 or more.
    thickness : float or DataArray
        Of the layer under its load [m], above 0.
    air_negligible : bool
        Only for resistivities below 10 kPa s/m²: the air's stiffness is known to be small against
        the apparent one.

    Returns
    -------
    float or DataArray
        [N/m³]: the apparent one from 100 kPa s/m² upwards; with ``0.111 MN/m² / d`` added from 10
        to 100; the apparent one below 10 if the air is negligible.

    Raises
    ------
    ValueError
        A resistivity below 10 kPa s/m² without negligible air: the standard gives no value.

    References
    ----------
    ISO 9052-1, three classes; their limits are from memory.

    Examples
    --------
    >>> round(resilient_layer_stiffness(apparent=10e6, flow_resistivity=50e3,
    ...                                 thickness=0.02) / 1e6, 2)
    15.55
    """
    where = "resilient_layer_stiffness"
    positive(where, "apparent", apparent, "N/m³")
    not_negative(where, "flow_resistivity", flow_resistivity, "Pa s/m²")
    air = air_stiffness(gap=thickness, state="standard")
    if not air_negligible and np.any(np.asarray(flow_resistivity) < LOW_RESISTIVITY):
        lowest = float(np.min(np.asarray(flow_resistivity)))
        raise ValueError(
            f"{where}: flow_resistivity is {lowest:g} Pa s/m²; below {LOW_RESISTIVITY:g} the "
            "stiffness follows from the sample only if its air is negligible (air_negligible=True)"
        )
    between = (flow_resistivity >= LOW_RESISTIVITY) & (flow_resistivity < HIGH_RESISTIVITY)
    return apparent + air * _number(between)


def _number(flag: bool | np.ndarray | xr.DataArray) -> Numeric:
    return float(flag) if isinstance(flag, (bool, np.bool_)) else flag.astype(float)
