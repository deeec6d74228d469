"""Footings on soil: vertical stiffness and radiation damping of a rectangle and a disc."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known, not_negative, positive, within
from groundborne.citation import Citation

PAIS_KAUSEL = Citation(
    key="pais-kausel1988",
    author="Pais and Kausel",
    year="1988",
    title="vertical stiffness and radiation damping of a rectangular footing, surface and embedded",
    locator="as transcribed in NIST GCR 12-917-21 (2012)",
    mark="seen second-hand",
    status="transcribed",
)
GAZETAS = Citation(
    key="gazetas1991",
    author="Gazetas",
    year="1991",
    title="vertical static stiffness of a rectangular footing",
    mark="seen second-hand",
    status="transcribed",
)
LYSMER_ANALOGUE = Citation(
    key="gazetas1991-radiation",
    author="Gazetas",
    year="1991",
    title="radiation damping of a rectangular footing, ρ V_La A with V_La = 3.4 Vs/[π(1−ν)]",
    mark="seen second-hand",
)
PAIS_KAUSEL_LATERAL = Citation(
    key="pais-kausel1988-horizontal",
    author="Pais and Kausel",
    year="1988",
    title="horizontal stiffness and radiation damping of a rectangular footing, surface and "
    "embedded",
    locator="as transcribed in NIST GCR 12-917-21 (2012); along the shorter side also ASCE 7-16",
    mark="seen second-hand",
    status="transcribed",
)
RICHART_DISC = Citation(
    key="richart-disc",
    author="Richart, Hall and Woods; Lysmer analogue",
    title="rigid disc on a half-space: K = 4Gr/(1−ν), C = 3.4 r² √(ρG)/(1−ν)",
    mark="from memory",
    status="transcribed",
)

RADIATION = ("compression wave, limited", "compression wave", "Lysmer analogue")
"""Wave speeds of the radiation dashpot ``ρ V A``: ``Vp`` but no more than ``2.5 Vs``; ``Vp``; and
``3.4 Vs/[π(1−ν)]``."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class RectangularFooting:
    """A rigid rectangular footing or raft on a uniform half-space, moving vertically.

    Parameters
    ----------
    length, width : float or DataArray
        Plan size [m], above 0; `length` is the longer.
    shear_wave_speed : float or DataArray
        Of the soil at small strain [m/s].
    density : float or DataArray
        Of the soil [kg/m³].
    poisson : float or DataArray
        Poisson's ratio of the soil, 0 to 0.499.
    loss_factor : float or DataArray
        Hysteretic loss factor of the soil [-].
    embedment : float or DataArray
        Depth of the base below ground [m]; the side walls are taken to touch the soil.
    mass : float or DataArray
        Mass of the footing itself [kg].
    radiation : str
        Wave speed of the dashpot, one of ``RADIATION``. At ν = 1/3 the three give 2 Vs, 2 Vs and
        1.6 Vs; towards ν = 0.5 the compression wave alone has no bound.

    Raises
    ------
    ValueError
        A parameter out of bounds, `width` above `length`, or an unknown wave speed.

    Notes
    -----
    With half-sizes ``B ≤ L``: static ``K = G B/(1−ν) [3.1 (L/B)^0.75 + 1.6]``, multiplied by the
    embedment factor ``1 + [0.25 + 0.25/(L/B)] (D/B)^0.8`` and by the frequency factor
    ``α = 1 − {[0.4 + 0.2/(L/B)] a0²}/{10/[1 + 3(L/B − 1)] + a0²}``, ``a0 = ω B/Vs``; radiation
    dashpot ``ρ V A`` of the base, as the source has it with ``V = ψ Vs``,
    ``ψ = √(2(1−ν)/(1−2ν)) ≤ 2.5``, and ``ρ Vs`` times the area of the side walls, ``4 (B + L) D``.
    Another source has the same side walls (Gazetas 1991 [seen second-hand]). Where walls do not
    touch the soil over the whole depth, give the depth over which they do.

    Soil that stiffens with depth enters by :func:`effective_shear_wave_speed`.

    References
    ----------
    Pais and Kausel 1988 as transcribed in NIST GCR 12-917-21 (2012); Lysmer's analogue: Gazetas
    1991 [seen second-hand].

    Examples
    --------
    >>> pad = RectangularFooting(length=2.0, width=2.0, shear_wave_speed=162.2, density=1900.0,
    ...                          poisson=0.4, loss_factor=0.05)
    >>> round(float(pad.static_stiffness) / 1e6)
    392
    """

    length: Numeric
    width: Numeric
    shear_wave_speed: Numeric
    density: Numeric
    poisson: Numeric
    loss_factor: Numeric
    embedment: Numeric = 0.0
    mass: Numeric = 0.0
    radiation: str = RADIATION[0]

    def __post_init__(self) -> None:
        where = "RectangularFooting"
        known(where, "radiation", self.radiation, RADIATION)
        positive(where, "length", self.length, "m")
        positive(where, "width", self.width, "m")
        positive(where, "shear_wave_speed", self.shear_wave_speed, "m/s")
        positive(where, "density", self.density, "kg/m³")
        within(where, "poisson", self.poisson, 0.0, 0.499, "")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        not_negative(where, "embedment", self.embedment, "m")
        not_negative(where, "mass", self.mass, "kg")
        if np.any(np.asarray(self.width > self.length)):
            raise ValueError(f"{where}: width is above length; the length is the longer side")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        analogue = self.radiation == RADIATION[2]
        return (PAIS_KAUSEL, LYSMER_ANALOGUE) if analogue else (PAIS_KAUSEL,)

    @property
    def loss_factor_floor(self) -> float:
        """The soil's hysteretic loss, 0.05 at least where radiation damps it further."""
        return float(max(np.min(np.asarray(self.loss_factor)), 0.05))

    @property
    def shear_modulus(self) -> Numeric:
        """``ρ Vs²`` [Pa]."""
        return self.density * self.shear_wave_speed**2

    @property
    def static_stiffness(self) -> Numeric:
        """Vertical static stiffness with embedment [N/m]."""
        b, aspect = self.width / 2, self.length / self.width
        surface = self.shear_modulus * b / (1 - self.poisson) * (3.1 * aspect**0.75 + 1.6)
        return surface * (1 + (0.25 + 0.25 / aspect) * (self.embedment / b) ** 0.8)

    def dynamic_factor(self, frequency: Frequency) -> xr.DataArray:
        """Frequency factor α of the stiffness [-]."""
        aspect = self.length / self.width
        square = (frequency * (np.pi * self.width / self.shear_wave_speed)) ** 2
        shape = 10 / (1 + 3 * (aspect - 1))
        factor: xr.DataArray = 1 - square / (square + shape) * (0.4 + 0.2 / aspect)
        return factor

    @property
    def compression_wave_speed(self) -> Numeric:
        """``Vp = Vs √[2(1−ν)/(1−2ν)]`` of the soil [m/s]."""
        speed: Numeric = self.shear_wave_speed * np.sqrt(
            2 * (1 - self.poisson) / (1 - 2 * self.poisson)
        )
        return speed

    @property
    def analogue_wave_speed(self) -> Numeric:
        """Lysmer's analogue ``V_La = 3.4 Vs/[π(1−ν)]`` [m/s]."""
        return 3.4 * self.shear_wave_speed / (np.pi * (1 - self.poisson))

    @property
    def radiation_damping(self) -> Numeric:
        """Radiation dashpot of base and side walls [N s/m].

        ``ρ V A`` with the wave speed of :attr:`radiation` under the base, ``ρ Vs`` on the walls.
        """
        speed = self.analogue_wave_speed
        if self.radiation != RADIATION[2]:
            speed = self.compression_wave_speed
        if self.radiation == RADIATION[0]:
            speed = np.minimum(speed, 2.5 * self.shear_wave_speed)
        walls = 2 * (self.length + self.width) * self.embedment
        return self.density * (speed * self.length * self.width + self.shear_wave_speed * walls)

    def soil_impedance(self, frequency: Frequency) -> xr.DataArray:
        """Impedance of the soil alone, without the mass of the footing [N s/m]."""
        stiffness = self.dynamic_factor(frequency) * self.static_stiffness
        spring = stiffness * (1 + 1j * self.loss_factor) / (2j * np.pi * frequency)
        impedance: xr.DataArray = spring + self.radiation_damping
        return impedance

    @property
    def lateral_citations(self) -> tuple[Citation, ...]:
        """Source of the horizontal formulas."""
        return (PAIS_KAUSEL_LATERAL,)

    @property
    def lateral_stiffness(self) -> Numeric:
        """Horizontal static stiffness along the longer side, with embedment [N/m].

        ``G B/(2−ν) [6.8 (L/B)^0.65 + 2.4]`` times ``1 + [0.33 + 1.34/(1 + L/B)] (D/B)^0.8``; along
        the shorter side it is up to a tenth more for plans up to 3 : 1. The same at all
        frequencies.
        """
        b, aspect = self.width / 2, self.length / self.width
        surface = self.shear_modulus * b / (2 - self.poisson) * (6.8 * aspect**0.65 + 2.4)
        return surface * (1 + (0.33 + 1.34 / (1 + aspect)) * (self.embedment / b) ** 0.8)

    @property
    def lateral_damping(self) -> Numeric:
        """Horizontal radiation dashpot ``ρ Vs`` times the area of the base [N s/m].

        Side walls are left out of it, which damps too little.
        """
        return self.density * self.shear_wave_speed * self.length * self.width

    def lateral_impedance(self, frequency: Frequency) -> xr.DataArray:
        """Horizontal impedance of the soil alone, without the mass of the footing [N s/m]."""
        stiffness = self.lateral_stiffness * (1 + 1j * self.loss_factor)
        impedance: xr.DataArray = stiffness / (2j * np.pi * frequency) + self.lateral_damping
        return impedance

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility of footing and soil [m/(N s)]."""
        inertia = 2j * np.pi * frequency * self.mass
        mobility: xr.DataArray = 1 / (self.soil_impedance(frequency) + inertia)
        return mobility


@checked
def gazetas_stiffness(
    *, length: Numeric, width: Numeric, shear_modulus: Numeric, poisson: Numeric
) -> Numeric:
    """Vertical static stiffness of a rectangular surface footing, the other common form.

    Parameters
    ----------
    length, width : float or DataArray
        Plan size [m], `length` the longer.
    shear_modulus : float or DataArray
        Of the soil [Pa].
    poisson : float or DataArray
        Poisson's ratio of the soil.

    Returns
    -------
    float or DataArray
        ``2 G L/(1−ν) [0.73 + 1.54 (B/L)^0.75]`` with half-sizes B ≤ L [N/m].

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Gazetas 1991.

    Examples
    --------
    >>> round(gazetas_stiffness(length=2.0, width=2.0, shear_modulus=50e6, poisson=0.4) / 1e6)
    378
    """
    where = "gazetas_stiffness"
    positive(where, "length", length, "m")
    positive(where, "width", width, "m")
    positive(where, "shear_modulus", shear_modulus, "Pa")
    within(where, "poisson", poisson, 0.0, 0.499, "")
    return (
        2 * shear_modulus * (length / 2) / (1 - poisson) * (0.73 + 1.54 * (width / length) ** 0.75)
    )


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class DiscFooting:
    """A rigid disc on a half-space, moving vertically.

    Parameters
    ----------
    radius : float or DataArray
        Radius [m].
    shear_modulus : float or DataArray
        Of the soil [Pa].
    density : float or DataArray
        Of the soil [kg/m³].
    poisson : float or DataArray
        Poisson's ratio of the soil, 0 to 0.499.
    mass : float or DataArray
        Mass of the disc itself [kg].

    References
    ----------
    Richart, Hall and Woods with Lysmer's dashpot: ``K = 4Gr/(1−ν)``,
    ``C = 3.4 r² √(ρG)/(1−ν)``; good for ``a0 = ωr/Vs`` below about 2 [from memory].

    Examples
    --------
    >>> disc = DiscFooting(radius=1.0, shear_modulus=50e6, density=1900.0, poisson=0.4)
    >>> round(float(disc.static_stiffness) / 1e6, 1), round(float(disc.radiation_damping) / 1e6, 3)
    (333.3, 1.747)
    """

    radius: Numeric
    shear_modulus: Numeric
    density: Numeric
    poisson: Numeric
    mass: Numeric = 0.0

    def __post_init__(self) -> None:
        positive("DiscFooting", "radius", self.radius, "m")
        positive("DiscFooting", "shear_modulus", self.shear_modulus, "Pa")
        positive("DiscFooting", "density", self.density, "kg/m³")
        within("DiscFooting", "poisson", self.poisson, 0.0, 0.499, "")
        not_negative("DiscFooting", "mass", self.mass, "kg")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formulas."""
        return (RICHART_DISC,)

    @property
    def loss_factor_floor(self) -> float:
        """Radiation damps the disc well."""
        return 0.05

    @property
    def static_stiffness(self) -> Numeric:
        """``4Gr/(1−ν)`` [N/m]."""
        return 4 * self.shear_modulus * self.radius / (1 - self.poisson)

    @property
    def radiation_damping(self) -> Numeric:
        """``3.4 r² √(ρG)/(1−ν)`` [N s/m]."""
        return (
            3.4 * self.radius**2 * np.sqrt(self.density * self.shear_modulus) / (1 - self.poisson)
        )

    def soil_impedance(self, frequency: Frequency) -> xr.DataArray:
        """Impedance of the soil alone, without the mass of the disc [N s/m]."""
        spring = 1 / (2j * np.pi * frequency) * self.static_stiffness
        impedance: xr.DataArray = spring + self.radiation_damping
        return impedance

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility of disc and soil [m/(N s)]."""
        inertia = 2j * np.pi * frequency * self.mass
        mobility: xr.DataArray = 1 / (self.soil_impedance(frequency) + inertia)
        return mobility
