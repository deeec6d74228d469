"""Rubber under buildings: laminated bearings and plain pads.

No value here is a certificate. Loads, restraint and robustness are the structural engineer's; local
codes and licensed practice govern.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import DERIVED, Citation
from groundborne.isolation.distributed import DistributedMount
from groundborne.isolation.rubber.compound import RubberCompound, creep_growth
from groundborne.isolation.rubber.plan import Plan, plan_shape_factor
from groundborne.structure.element import GRAVITY

GENT_LINDLEY = Citation(
    key="gent-lindley",
    author="Gent and Lindley, as in J. Mech. Eng. 60 (2014) 506",
    title="compression modulus of a bonded layer and its bulk correction",
    locator="eq. 1 and 2; constant 2k with k below 1 for filled rubber",
    mark="seen",
    status="transcribed",
)
SHEAR_STIFFNESS = Citation(
    key="rubber-shear",
    author="rubber textbooks; Haringx; Gent and Meinecke",
    title="shear stiffness G A/T, loss of it under load, tilting of a layer",
    mark="from memory",
    status="transcribed",
)
STEEL_DENSITY = 7850.0
"""Of the plates [kg/m³]."""


@checked
def compression_modulus(
    *,
    youngs_modulus: Numeric,
    shape_factor: Numeric,
    shape_constant: Numeric,
    bulk_modulus: Numeric = np.inf,
) -> Numeric:
    """Compression modulus of a bonded layer, square, round or moderately rectangular.

    Parameters
    ----------
    youngs_modulus : float or DataArray
        E0 [Pa], above 0.
    shape_factor : float or DataArray
        S [-], 0 or more.
    shape_constant : float or DataArray
        k [-], 0.3 to 1.
    bulk_modulus : float or DataArray
        Kb [Pa], above 0; infinite leaves the bulk correction out.

    Returns
    -------
    float or DataArray
        ``1/(1/[E0 (1 + 2 k S²)] + 1/Kb)`` [Pa]; E0 for a slender block (less its part of Kb), Kb
        for a thin sheet.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    For strains up to about 10 %. At S = 20 the bulk term more than halves the modulus.

    References
    ----------
    Gent and Lindley, as in J. Mech. Eng. 60 (2014) 506, eq. 1 and 2 [seen].

    Examples
    --------
    >>> round(compression_modulus(youngs_modulus=2.2e6, shape_factor=25 / 3, shape_constant=0.73,
    ...                           bulk_modulus=1030e6) / 1e6, 1)
    184.8
    """
    where = "compression_modulus"
    positive(where, "youngs_modulus", youngs_modulus, "Pa")
    not_negative(where, "shape_factor", shape_factor, "")
    within(where, "shape_constant", shape_constant, 0.3, 1.0, "")
    if not np.all(np.asarray(bulk_modulus) > 0):
        raise ValueError(f"{where}: bulk_modulus is {bulk_modulus}; it must be above 0 Pa")
    return 1 / (
        1 / (youngs_modulus * (1 + 2 * shape_constant * shape_factor**2)) + 1 / bulk_modulus
    )


@checked
def strip_compression_modulus(
    *,
    youngs_modulus: Numeric,
    shape_factor: Numeric,
    shape_constant: Numeric,
    bulk_modulus: Numeric = np.inf,
) -> Numeric:
    """Compression modulus of a long bonded strip, or of a ring with a wide bore.

    Parameters
    ----------
    youngs_modulus, shape_factor, shape_constant, bulk_modulus : float or DataArray
        As for :func:`compression_modulus`.

    Returns
    -------
    float or DataArray
        ``(4/3) E0 (1 + k S²)``, bulk corrected [Pa].

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Lindley-type formula on a public page [seen].

    Examples
    --------
    >>> round(strip_compression_modulus(youngs_modulus=3e6, shape_factor=2.0,
    ...                                 shape_constant=1.0) / 1e6, 3)
    20.0
    """
    # The same form with 4/3 of the modulus and half of the constant.
    compression_modulus(
        youngs_modulus=youngs_modulus,
        shape_factor=shape_factor,
        shape_constant=shape_constant,
        bulk_modulus=bulk_modulus,
    )
    free = 4 / 3 * youngs_modulus * (1 + shape_constant * shape_factor**2)
    return 1 / (1 / free + 1 / bulk_modulus)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class LaminatedBearing:
    """Rubber layers bonded between steel plates.

    Its natural frequency follows from the *dynamic* stiffness at the small strain of trains, never
    from the static deflection alone: rubber is 1.1 to 2 times stiffer for trains than for weight.

    Parameters
    ----------
    plan : Plan
        :class:`Rectangle` or :class:`Disc` of the bonded rubber.
    layer_thickness : float or DataArray
        One inner layer t [m], above 0.
    layers : float or DataArray
        Number of inner layers N [-], at least 1.
    compound : RubberCompound
        The rubber; from a hardness range it carries the range through.
    plate_thickness : float or DataArray
        Steel plate between two layers [m], above 0.
    cover_thickness : float or DataArray
        Rubber over the outer plates, top and bottom each [m], 0 or more. It counts in shear and
        height; its compression is left out, as it is thin and confined.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    No value is a certificate: ask for tests of vertical stiffness at 1e-6 to 1e-5 strain under the
    working load. Checks of strain and stability: :func:`bearing_checks`.

    References
    ----------
    Gent and Lindley [seen]; shear and tilting from memory; wave mode derived.

    Examples
    --------
    >>> from groundborne.isolation.rubber.plan import Rectangle
    >>> bearing = LaminatedBearing(plan=Rectangle(plan_x=0.4, plan_y=0.4), layer_thickness=0.012,
    ...                            layers=8, compound=RubberCompound.from_hardness(50.0))
    >>> round(bearing.static_stiffness / 1e6, 1), round(bearing.shear_stiffness / 1e6, 3)
    (308.1, 1.067)
    >>> round(float(bearing.natural_frequency(1600e3)), 2)
    7.89
    """

    plan: Plan
    layer_thickness: Numeric
    layers: Numeric
    compound: RubberCompound
    plate_thickness: Numeric = 0.003
    cover_thickness: Numeric = 0.0

    def __post_init__(self) -> None:
        where = "LaminatedBearing"
        positive(where, "layer_thickness", self.layer_thickness, "m")
        within(where, "layers", self.layers, 1.0, 100.0, "")
        positive(where, "plate_thickness", self.plate_thickness, "m")
        not_negative(where, "cover_thickness", self.cover_thickness, "m")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of formulas and compound."""
        return (GENT_LINDLEY, SHEAR_STIFFNESS, *self.compound.citations, DERIVED)

    @property
    def shape_factor(self) -> Numeric:
        """Of one inner layer [-]."""
        return plan_shape_factor(plan=self.plan, thickness=self.layer_thickness)

    @property
    def inner_rubber(self) -> Numeric:
        """Thickness of the inner layers together [m]."""
        return self.layers * self.layer_thickness

    @property
    def shear_rubber(self) -> Numeric:
        """Thickness of all rubber that shears, covers included [m]."""
        return self.inner_rubber + 2 * self.cover_thickness

    @property
    def height(self) -> Numeric:
        """Unloaded, with a plate at either end [m]."""
        return self.shear_rubber + (self.layers + 1) * self.plate_thickness

    @property
    def own_mass(self) -> Numeric:
        """Inner rubber and the plates between its layers: what moves inside [kg]."""
        rubber = self.compound.density * self.inner_rubber
        return self.plan.area * (rubber + STEEL_DENSITY * (self.layers - 1) * self.plate_thickness)

    @property
    def compression_modulus(self) -> Numeric:
        """Static, bulk corrected [Pa]."""
        return compression_modulus(
            youngs_modulus=self.compound.youngs_modulus,
            shape_factor=self.shape_factor,
            shape_constant=self.compound.shape_constant,
            bulk_modulus=self.compound.bulk_modulus,
        )

    @property
    def static_stiffness(self) -> Numeric:
        """Vertical, ``Ec A/(N t)`` [N/m]."""
        return self.compression_modulus * self.plan.area / self.inner_rubber

    @property
    def dynamic_stiffness(self) -> Numeric:
        """Vertical, at the small strain of trains [N/m]."""
        return self.static_stiffness * self.compound.dynamic_to_static

    @property
    def shear_stiffness(self) -> Numeric:
        """Static, unloaded, ``G A/T`` [N/m]; wind sway follows from it."""
        return self.compound.shear_modulus * self.plan.area / self.shear_rubber

    @property
    def stiffness_ratio(self) -> Numeric:
        """Vertical over shear stiffness [-]: 100 to 500, so buildings sway on rubber alone."""
        return self.static_stiffness / self.shear_stiffness

    @property
    def tilting_stiffness(self) -> Numeric:
        """Moment per angle about the weaker axis, ``E0 (1 + ⅔ k S²) I/T`` [N m/rad]."""
        modulus = self.compound.youngs_modulus * (
            1 + 2 / 3 * self.compound.shape_constant * self.shape_factor**2
        )
        return modulus * self.plan.least_second_moment / self.inner_rubber

    @property
    def critical_load(self) -> Numeric:
        """Load at which the bearing buckles by Haringx, ``≈ π √(tilting · shear stiffness)`` [N].

        The code check in :func:`bearing_checks` governs; this only scales :meth:`shear_under`.
        """
        load: Numeric = np.pi * np.sqrt(self.tilting_stiffness * self.shear_stiffness)
        return load

    def shear_under(self, load: Numeric) -> Numeric:
        """Shear stiffness left under a vertical load [N], ``G A/T (1 − (P/Pcr)²)`` [N/m]."""
        not_negative("LaminatedBearing.shear_under", "load", load, "N")
        share = load / self.critical_load
        if np.any(np.asarray(share) >= 1):
            raise ValueError(
                "LaminatedBearing.shear_under: the load reaches the buckling load "
                f"{np.min(np.asarray(self.critical_load)) / 1e3:.0f} kN; a wider or flatter "
                "bearing is needed"
            )
        return self.shear_stiffness * (1 - share**2)

    @property
    def internal_frequency(self) -> Numeric:
        """First wave mode, both faces held, ``½ √(k/m)`` at the dynamic stiffness [Hz]."""
        frequency: Numeric = 0.5 * np.sqrt(self.dynamic_stiffness / self.own_mass)
        return frequency

    def compressive_stress(self, load: Numeric) -> Numeric:
        """Load [N] over area [Pa]."""
        not_negative("LaminatedBearing.compressive_stress", "load", load, "N")
        return load / self.plan.area

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening under a load [N] at its static stiffness, before creep [m]."""
        not_negative("LaminatedBearing.static_deflection", "load", load, "N")
        return load / self.static_stiffness

    def long_term_deflection(
        self, load: Numeric, *, years: Numeric, linear_per_year: Numeric = 0.0
    ) -> Numeric:
        """Shortening under a permanent load [N] after years of creep [m].

        Parameters
        ----------
        years, linear_per_year : float or DataArray
            As for :func:`creep_growth`.
        """
        growth = creep_growth(
            creep_per_decade=self.compound.creep_per_decade,
            years=years,
            linear_per_year=linear_per_year,
        )
        return self.static_deflection(load) * growth

    def natural_frequency(self, load: Numeric) -> Numeric:
        """With a rigid mass of this weight [N] on rigid ground, from the dynamic stiffness [Hz]."""
        positive("LaminatedBearing.natural_frequency", "load", load, "N")
        frequency: Numeric = np.sqrt(self.dynamic_stiffness * GRAVITY / load) / (2 * np.pi)
        return frequency

    def mount(self, *, count: Numeric = 1.0) -> DistributedMount:
        """Dynamic model with own mass; linear, so check strain and stability for every load.

        Parameters
        ----------
        count : float or DataArray
            Number of bearings side by side, above 0.
        """
        positive("LaminatedBearing.mount", "count", count, "")
        return DistributedMount(
            stiffness=self.dynamic_stiffness * count,
            mass=self.own_mass * count,
            loss_factor=self.compound.loss_factor,
            dynamic_to_static=self.compound.dynamic_to_static,
        )
