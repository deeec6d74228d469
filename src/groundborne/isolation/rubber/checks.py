"""Strain and stability checks of laminated bearings, as ratios of use to limit.

These are the rubber checks of bridge bearings, taken as a guide for bearings under buildings. They
are no proof of safety and no certificate: loads, shifts and rotations are the structural
engineer's, and local codes and licensed practice govern.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.isolation.rubber.bearing import LaminatedBearing
from groundborne.isolation.rubber.plan import plan_shape_factor
from groundborne.isolation.steel.strength import interpolated

EN1337_3 = Citation(
    key="en1337-3",
    author="EN 1337-3",
    year="2005",
    title="Structural bearings, Part 3: Elastomeric bearings",
    locator="clause 5.3.3, as implemented in public code with two bearing reports",
    mark="seen second-hand",
    status="verified",
)
AASHTO = Citation(
    key="aashto-strain",
    author="AASHTO-type plain pads",
    title="compressive strain σ/[3 G (1 + 2 k S²)]",
    locator="formula in public code; k and creep by hardness recalled",
    mark="seen second-hand",
    status="transcribed",
)
LARGEST_SHEAR_STRAIN = 1.0
"""Limit of EN 1337-3 [-]."""
LARGEST_TOTAL_STRAIN = 7.0
"""Limit of EN 1337-3 before its partial factor [-]."""
LEAST_PLATE = 0.002
"""Thinnest plate of EN 1337-3 [m]."""
PLATE_FACTOR = 1.3
"""Stress correction of EN 1337-3 for plates [-]."""
OUTER_LAYER_FACTOR = 1.4
"""An outer layer is bonded on one side: its shape factor takes this times its thickness [-]."""
CAUTION = (
    "A guide taken from bridge bearings, no certificate: loads and movements are the structural "
    "engineer's; local codes and licensed practice govern."
)
_AASHTO_IRHD = (50.0, 60.0, 70.0)
_AASHTO_SHAPE = (0.75, 0.60, 0.55)
_AASHTO_CREEP = (0.25, 0.35, 0.45)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class BearingChecks:
    """Strains and limits of one bearing under one set of actions.

    Parameters
    ----------
    reduced_area : float or DataArray
        Loaded area after the sideways shift [m²].
    compressive_stress, stability_limit : float or DataArray
        Stress on that area, and the one at which stability ends [Pa].
    compressive_strain, outer_compressive_strain : float or DataArray
        Largest local shear strain in an inner and in an outer layer from compression [-]; the
        outer is 0 without covers.
    shear_strain, rotation_strain, total_strain : float or DataArray
        From shift, from rotation, and the sum with the larger compressive strain [-].
    required_plate, plate : float or DataArray
        Plate thickness needed, at least 2 mm, and the one there [m].
    total_limit : float or DataArray
        Limit of the total strain [-].

    Notes
    -----
    Made by :func:`bearing_checks`.

    References
    ----------
    EN 1337-3:2005, clause 5.3.3 [seen second-hand].

    Examples
    --------
    >>> from groundborne.isolation.rubber.compound import RubberCompound
    >>> from groundborne.isolation.rubber.plan import Disc
    >>> bearing = LaminatedBearing(plan=Disc(diameter=0.4), layer_thickness=0.012, layers=8,
    ...                            compound=RubberCompound.from_hardness(60.0))
    >>> checks = bearing_checks(bearing=bearing, load=1000e3, shear_x=0.02)
    >>> checks.utilisation().round(2).to_array("check").values.tolist()
    [0.21, 0.24, 0.35, 0.67]
    """

    reduced_area: Numeric
    compressive_stress: Numeric
    stability_limit: Numeric
    compressive_strain: Numeric
    outer_compressive_strain: Numeric
    shear_strain: Numeric
    rotation_strain: Numeric
    total_strain: Numeric
    required_plate: Numeric
    plate: Numeric
    total_limit: Numeric

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the checks."""
        return (EN1337_3,)

    @property
    def stability_utilisation(self) -> Numeric:
        """Stress over the one at which stability ends [-]."""
        return self.compressive_stress / self.stability_limit

    def utilisation(self) -> xr.Dataset:
        """Use over limit of every check [-]; above 1 the check fails.

        Returns
        -------
        xarray.Dataset
            ``shear_strain``, ``total_strain``, ``stability`` and ``plate``, with source and
            caution as attributes.
        """
        ratios = {
            "shear_strain": self.shear_strain / LARGEST_SHEAR_STRAIN,
            "total_strain": self.total_strain / self.total_limit,
            "stability": self.stability_utilisation,
            "plate": self.required_plate / self.plate,
        }
        data = {name: xr.DataArray(ratio).astype(float) for name, ratio in ratios.items()}
        return xr.Dataset(data, attrs={"sources": citation_texts(self.citations), "note": CAUTION})

    def worst(self) -> xr.DataArray:
        """Largest utilisation of all checks [-]; 1 or less passes."""
        largest: xr.DataArray = self.utilisation().to_array("check").max("check")
        return largest


@checked
def bearing_checks(
    *,
    bearing: LaminatedBearing,
    load: Numeric,
    shear_x: Numeric = 0.0,
    shear_y: Numeric = 0.0,
    rotation_x: Numeric = 0.0,
    rotation_y: Numeric = 0.0,
    shear_modulus: Numeric | None = None,
    partial_factor: Numeric = 1.0,
    yield_stress: Numeric = 235e6,
    holed_plates: bool = False,
) -> BearingChecks:
    """Strains, stability and plates of a bearing under design actions.

    Parameters
    ----------
    bearing : LaminatedBearing
        The bearing; its plan is that of the plates.
    load : float or DataArray
        Design vertical load [N], above 0.
    shear_x, shear_y : float or DataArray
        Sideways shift along x and y [m], 0 or more.
    rotation_x, rotation_y : float or DataArray
        Rotation that presses the edges across x, and across y [rad], 0 or more.
    shear_modulus : float or DataArray, optional
        G of the class the bearing was tested for, 0.7, 0.9 or 1.15 MPa [Pa]; that of the compound
        where it is left out.
    partial_factor : float or DataArray
        γm [-], 1 to 2; 1 is recommended, the National Annex decides.
    yield_stress : float or DataArray
        Of the plates [Pa], above 0.
    holed_plates : bool
        Plates with holes need to be twice as thick.

    Returns
    -------
    BearingChecks
        Strains and limits; their ratios by :meth:`BearingChecks.utilisation`.

    Raises
    ------
    ValueError
        A parameter out of bounds, or a shift that leaves no loaded area.

    Notes
    -----
    ``ε_c = 1.5 F/(G Ar S)`` in the inner layers, and with 1.4 times the thickness in a cover;
    ``ε_q = v/Tq`` with all rubber that shears; ``ε_α = (a² α_x + b² α_y) t/(2 Σ t³)``; total at
    most 7/γm; ``F/Ar < 2 a' G S/(3 Te)`` with the shorter side a' and the inner rubber Te (two
    printed limits agree with this reading, not with the covers counted in). A disc takes its
    diameter for both sides.

    References
    ----------
    EN 1337-3:2005, clause 5.3.3 [seen second-hand].

    Examples
    --------
    >>> from groundborne.isolation.rubber.compound import RubberCompound
    >>> from groundborne.isolation.rubber.plan import Rectangle
    >>> bearing = LaminatedBearing(plan=Rectangle(plan_x=0.4, plan_y=0.4), layer_thickness=0.012,
    ...                            layers=8, compound=RubberCompound.from_hardness(50.0))
    >>> checks = bearing_checks(bearing=bearing, load=1600e3, shear_modulus=0.9e6)
    >>> round(checks.compressive_strain, 2), round(float(checks.stability_limit) / 1e6, 1)
    (2.0, 20.8)
    """
    where = "bearing_checks"
    positive(where, "load", load, "N")
    for name, value, unit in (
        ("shear_x", shear_x, "m"),
        ("shear_y", shear_y, "m"),
        ("rotation_x", rotation_x, "rad"),
        ("rotation_y", rotation_y, "rad"),
    ):
        not_negative(where, name, value, unit)
    within(where, "partial_factor", partial_factor, 1.0, 2.0, "")
    positive(where, "yield_stress", yield_stress, "Pa")
    modulus = bearing.compound.shear_modulus if shear_modulus is None else shear_modulus
    positive(where, "shear_modulus", modulus, "Pa")
    area = bearing.plan.reduced_area(shear_x=shear_x, shear_y=shear_y)
    stress = load / area
    side_x, side_y = bearing.plan.size
    layer, inner = bearing.layer_thickness, bearing.inner_rubber
    compressive = 1.5 * stress / (modulus * bearing.shape_factor)
    outer = _outer_strain(bearing, stress=stress, modulus=modulus)
    shear = np.sqrt(shear_x**2 + shear_y**2) / bearing.shear_rubber
    rotation = (side_x**2 * rotation_x + side_y**2 * rotation_y) / (2 * bearing.layers * layer**2)
    plate = (
        PLATE_FACTOR * 2 * layer * stress * partial_factor / yield_stress
        * (2.0 if holed_plates else 1.0)
    )  # fmt: skip
    shorter = np.minimum(side_x, side_y)
    return BearingChecks(
        reduced_area=area,
        compressive_stress=stress,
        stability_limit=2 * shorter * modulus * bearing.shape_factor / (3 * inner),
        compressive_strain=compressive,
        outer_compressive_strain=outer,
        shear_strain=shear,
        rotation_strain=rotation,
        total_strain=np.maximum(compressive, outer) + shear + rotation,
        required_plate=np.maximum(plate, LEAST_PLATE),
        plate=bearing.plate_thickness,
        total_limit=LARGEST_TOTAL_STRAIN / partial_factor,
    )


def _outer_strain(bearing: LaminatedBearing, *, stress: Numeric, modulus: Numeric) -> Numeric:
    """Strain in a cover; one of no thickness has none."""
    if not np.any(np.asarray(bearing.cover_thickness) > 0):
        return 0.0
    # 1/S is linear in the thickness, so that mixed arrays with bare bearings stay finite.
    per_metre = 1 / plan_shape_factor(plan=bearing.plan, thickness=1.0)
    return 1.5 * stress / modulus * per_metre * OUTER_LAYER_FACTOR * bearing.cover_thickness


@checked
def aashto_strain(
    *, stress: Numeric, shear_modulus: Numeric, shape_factor: Numeric, shape_constant: Numeric
) -> Numeric:
    """Compressive strain of a plain pad.

    Parameters
    ----------
    stress : float or DataArray
        [Pa], 0 or more.
    shear_modulus : float or DataArray
        G [Pa], above 0.
    shape_factor : float or DataArray
        S [-], 0 or more.
    shape_constant : float or DataArray
        k [-], 0.3 to 1; see :func:`aashto_constants`.

    Returns
    -------
    float or DataArray
        ``σ/[3 G (1 + 2 k S²)]`` [-].

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    AASHTO-type formula in public code [seen second-hand].

    Examples
    --------
    >>> round(aashto_strain(stress=1e6, shear_modulus=1e6, shape_factor=1.0, shape_constant=0.5), 4)
    0.1667
    """
    not_negative("aashto_strain", "stress", stress, "Pa")
    positive("aashto_strain", "shear_modulus", shear_modulus, "Pa")
    not_negative("aashto_strain", "shape_factor", shape_factor, "")
    within("aashto_strain", "shape_constant", shape_constant, 0.3, 1.0, "")
    return stress / (3 * shear_modulus * (1 + 2 * shape_constant * shape_factor**2))


@checked
def aashto_constants(*, hardness: Numeric) -> tuple[Numeric, Numeric]:
    """Shape constant, and creep in 25 years over the first deflection, by hardness.

    Parameters
    ----------
    hardness : float or DataArray
        [IRHD], 50 to 70.

    Returns
    -------
    tuple of float or DataArray
        k [-] and creep share [-], by straight lines between 50, 60 and 70.

    Raises
    ------
    ValueError
        A hardness outside the table.

    References
    ----------
    AASHTO [from memory].

    Examples
    --------
    >>> aashto_constants(hardness=60.0)
    (0.6, 0.35)
    """
    within("aashto_constants", "hardness", hardness, 50.0, 70.0, "IRHD")
    return (
        interpolated(hardness, _AASHTO_IRHD, _AASHTO_SHAPE),
        interpolated(hardness, _AASHTO_IRHD, _AASHTO_CREEP),
    )
