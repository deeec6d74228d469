"""Rubber compounds by hardness: moduli, shape constant, dynamic stiffening, loss, creep.

The tables are recalled, not read; a published source disagrees by 1.6 to 1.8 in Young's modulus.
Use measured values where there are any.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.isolation.steel.strength import interpolated
from groundborne.sampling import sample

LINDLEY = Citation(
    key="lindley1978",
    author="Lindley",
    year="1978",
    title="Engineering Design with Natural Rubber",
    locator="Table 3, moduli by hardness; two rows agree with a page that was seen",
    mark="from memory",
    status="transcribed",
)
RUBBER_PRACTICE = Citation(
    key="rubber-practice",
    author="Lindley; Freakley and Payne",
    title="dynamic stiffening, loss factor, creep and temperature of rubber by hardness",
    mark="from memory",
    status="practice",
)
AGEING = Citation(
    key="rubber-ageing-30-years",
    author="Nippon Gomu Kyokaishi 93(1), 3-9",
    year="2020",
    title="laminated natural-rubber bearings of a building after 30 years (abstract)",
    locator="vertical stiffness up 5.9 %, horizontal 14.6 %; a survey of 2009: below 20 %, 10 %",
    mark="seen",
    status="transcribed",
)
AGEING_30_YEARS = {"vertical": 1.059, "horizontal": 1.146}
"""Stiffness of laminated natural-rubber bearings after 30 years over that when new [-]."""

_IRHD = (30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 65.0, 70.0, 75.0)
_YOUNGS_MPA = (0.92, 1.18, 1.5, 1.8, 2.2, 3.25, 4.45, 5.85, 7.35, 9.4)
_SHEAR_MPA = (0.3, 0.37, 0.45, 0.54, 0.64, 0.81, 1.06, 1.37, 1.73, 2.22)
_SHAPE = (0.93, 0.89, 0.85, 0.8, 0.73, 0.64, 0.57, 0.54, 0.53, 0.52)
_BULK_MPA = (1000.0, 1000.0, 1000.0, 1000.0, 1030.0, 1090.0, 1150.0, 1210.0, 1270.0, 1330.0)
# Middles of recalled ranges for natural rubber: 1.1-1.2, 1.2-1.4, 1.4-1.7, 1.7-2.2 and so on.
_PRACTICE_IRHD = (40.0, 50.0, 60.0, 70.0)
_DYNAMIC = (1.15, 1.3, 1.55, 1.95)
_LOSS = (0.04, 0.06, 0.10, 0.13)
_CREEP = (0.025, 0.03, 0.04, 0.06)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class RubberCompound:
    """What a rubber is made of, as far as a bearing needs it.

    Parameters
    ----------
    youngs_modulus, shear_modulus, bulk_modulus : float or DataArray
        Static E0, G and Kb [Pa], above 0.
    shape_constant : float or DataArray
        k in ``1 + 2 k S²`` [-], 0.3 to 1: 1 in theory, less for filled rubber.
    dynamic_to_static : float or DataArray
        Dynamic stiffness *at the amplitude of trains* over static stiffness [-], 1 to 5. It varies
        with amplitude, frequency, compound, plates and load; ask for a test at small strain.
    loss_factor : float or DataArray
        [-], 0 to 1.
    creep_per_decade : float or DataArray
        Growth of the deflection per tenfold time [-], 0 to 0.3.
    density : float or DataArray
        [kg/m³], above 0.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    No value from hardness is a certificate. Young's modulus by hardness is good to about 30 %.

    References
    ----------
    Lindley 1978, Table 3; Freakley and Payne [both from memory].

    Examples
    --------
    >>> rubber = RubberCompound.from_hardness(50.0)
    >>> round(rubber.youngs_modulus / 1e6, 2), round(rubber.shape_constant, 2)
    (2.2, 0.73)
    """

    youngs_modulus: Numeric
    shear_modulus: Numeric
    shape_constant: Numeric
    bulk_modulus: Numeric
    dynamic_to_static: Numeric
    loss_factor: Numeric
    creep_per_decade: Numeric = 0.03
    density: Numeric = 1100.0

    def __post_init__(self) -> None:
        where = "RubberCompound"
        for name in ("youngs_modulus", "shear_modulus", "bulk_modulus"):
            positive(where, name, getattr(self, name), "Pa")
        positive(where, "density", self.density, "kg/m³")
        within(where, "shape_constant", self.shape_constant, 0.3, 1.0, "")
        within(where, "dynamic_to_static", self.dynamic_to_static, 1.0, 5.0, "")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        within(where, "creep_per_decade", self.creep_per_decade, 0.0, 0.3, "")

    @classmethod
    def from_hardness(
        cls, hardness: Numeric, *, small_strain_factor: Numeric = 1.0
    ) -> RubberCompound:
        """Natural rubber of a hardness, by straight lines between recalled rows.

        Parameters
        ----------
        hardness : float or DataArray
            [IRHD], 40 to 70.
        small_strain_factor : float or DataArray
            Stiffness at the strain of trains over that at the strain of a dynamic test [-], 1 to
            1.5, as from :func:`~groundborne.isolation.rubber_amplitude_factor`; 1 takes the
            recalled ratios as they are. Either here or in ``InService.amplitude``, never in both.

        Returns
        -------
        RubberCompound
            With dynamic ratio, loss factor and creep in the middle of the recalled ranges.

        Raises
        ------
        ValueError
            A hardness outside the table; outside 40 to 70 give the values yourself, with the moduli
            from :func:`rubber_moduli`.
        """
        where = "RubberCompound.from_hardness"
        within(where, "hardness", hardness, 40.0, 70.0, "IRHD")
        within(where, "small_strain_factor", small_strain_factor, 1.0, 1.5, "")
        youngs, shear, constant, bulk = rubber_moduli(hardness=hardness)
        dynamic, loss, creep = (
            interpolated(hardness, _PRACTICE_IRHD, column) for column in (_DYNAMIC, _LOSS, _CREEP)
        )
        return cls(
            youngs_modulus=youngs,
            shear_modulus=shear,
            shape_constant=constant,
            bulk_modulus=bulk,
            dynamic_to_static=dynamic * small_strain_factor,
            loss_factor=loss,
            creep_per_decade=creep,
        )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of what hardness stands for."""
        return (LINDLEY, RUBBER_PRACTICE)


@checked
def rubber_moduli(*, hardness: Numeric) -> tuple[Numeric, Numeric, Numeric, Numeric]:
    """Young's modulus, shear modulus, shape constant and bulk modulus of natural rubber.

    Parameters
    ----------
    hardness : float or DataArray
        [IRHD], 30 to 75.

    Returns
    -------
    tuple of float or DataArray
        E0 [Pa], G [Pa], k [-], Kb [Pa], by straight lines between the rows.

    Raises
    ------
    ValueError
        A hardness outside the table.

    References
    ----------
    Lindley 1978, Table 3 [from memory].

    Examples
    --------
    >>> [round(float(x) / 1e6, 2) for x in rubber_moduli(hardness=60.0)[:2]]
    [4.45, 1.06]
    """
    within("rubber_moduli", "hardness", hardness, 30.0, 75.0, "IRHD")
    youngs, shear, bulk = (
        interpolated(hardness, _IRHD, column) * 1e6
        for column in (_YOUNGS_MPA, _SHEAR_MPA, _BULK_MPA)
    )
    return youngs, shear, interpolated(hardness, _IRHD, _SHAPE), bulk


@checked
def hardness_range(*, nominal: float, tolerance: float = 5.0) -> xr.DataArray:
    """Least, nominal and largest hardness on the dimension ``hardness``.

    Parameters
    ----------
    nominal : float
        [IRHD], above 0.
    tolerance : float
        [IRHD], 0 or more; 5 is usual (common practice).

    Returns
    -------
    xarray.DataArray
        With labels ``low``, ``nominal`` and ``high``; give it to
        :meth:`RubberCompound.from_hardness`, and stiffness and frequency carry the range.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Common practice: hardness to 5 IRHD.

    Examples
    --------
    >>> hardness_range(nominal=50.0).values.tolist()
    [45.0, 50.0, 55.0]
    """
    positive("hardness_range", "nominal", nominal, "IRHD")
    not_negative("hardness_range", "tolerance", tolerance, "IRHD")
    values = np.array([nominal - tolerance, nominal, nominal + tolerance])
    return xr.DataArray(values, coords={"hardness": ["low", "nominal", "high"]})


@checked
def hardness_samples(
    *, nominal: float, size: int, seed: int, tolerance: float = 5.0
) -> xr.DataArray:
    """Hardness drawn evenly within its tolerance, on the dimension ``sample``.

    Parameters
    ----------
    nominal : float
        [IRHD], above 0.
    size, seed : int
        As for :func:`groundborne.sampling.sample`.
    tolerance : float
        [IRHD], above 0.

    Returns
    -------
    xarray.DataArray
        [IRHD].

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Common practice: hardness to 5 IRHD; the even spread is assumed.

    Examples
    --------
    >>> drawn = hardness_samples(nominal=50.0, size=100, seed=1)
    >>> bool((drawn >= 45.0).all() and (drawn <= 55.0).all())
    True
    """
    from scipy import stats

    positive("hardness_samples", "nominal", nominal, "IRHD")
    positive("hardness_samples", "tolerance", tolerance, "IRHD")
    even = stats.uniform(nominal - tolerance, 2 * tolerance)
    return sample(even, size=size, seed=seed)


@checked
def creep_growth(
    *, creep_per_decade: Numeric, years: Numeric, linear_per_year: Numeric = 0.0
) -> Numeric:
    """Deflection after years under load over that one minute after loading.

    Parameters
    ----------
    creep_per_decade : float or DataArray
        A [-], 0 to 0.3.
    years : float or DataArray
        [a], 1e-5 (some minutes) to 120.
    linear_per_year : float or DataArray
        Chemical creep B, as a share of the first deflection per year [1/a], 0 to 0.05.

    Returns
    -------
    float or DataArray
        ``1 + A lg(t/1 min) + B t`` [-]; 50 years are 7.42 decades of minutes.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Lindley [from memory].

    Examples
    --------
    >>> round(float(creep_growth(creep_per_decade=0.03, years=50.0)), 3)
    1.223
    """
    within("creep_growth", "creep_per_decade", creep_per_decade, 0.0, 0.3, "")
    within("creep_growth", "years", years, 1e-5, 120.0, "a")
    within("creep_growth", "linear_per_year", linear_per_year, 0.0, 0.05, "1/a")
    minutes = years * 365.25 * 24 * 60
    growth: Numeric = 1 + creep_per_decade * np.log10(minutes) + linear_per_year * years
    return growth
