"""Rubber in a building against rubber on the test bench: frequency, strain, cold, age.

A data sheet gives the stiffness of new rubber in a warm room, at some strain and frequency. Trains
strain it a hundred times less, basements are cooler, and a bearing stays for fifty years. All of
that makes it stiffer. Every factor here is recalled, and those of strain weakly: a test at small
strain, at the frequency and temperature in question, replaces them.
"""

from __future__ import annotations

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.isolation.steel.strength import interpolated

CONSTANT_LOSS = Citation(
    key="constant-loss-power-law",
    author="groundborne",
    title="stiffness k1 (jω/ω1)^α of constant loss factor, α = (2/π) atan η, causal",
    mark="derived",
)
RUBBER_SERVICE = Citation(
    key="rubber-in-service",
    author="rubber handbooks",
    title="stiffness of rubber at small strain, in the cold and after years over that when tested",
    locator="of amplitude the effect is seen: García Tárrago et al. 2007, abstract",
    mark="from memory",
    status="practice",
)

# Middles of recalled ranges: 1.2-1.4 at -10 °C, 1.1-1.2 at 0 °C, 0.92-0.97 at 40 °C; 23 °C is 1.
_CELSIUS = (-10.0, 0.0, 23.0, 40.0)
_TEMPERATURE = (1.3, 1.15, 1.0, 0.945)
_IRHD = (40.0, 50.0, 60.0, 70.0, 90.0)
_SMALL_STRAIN = (1.05, 1.15, 1.3, 1.5, 1.5)
SMALL_STRAIN, TEST_STRAIN = 1e-4, 1e-3
"""Strain at and below which a test is one at the strain of trains, and above which none is [-]."""
TEST_TEMPERATURE = 23.0
"""Of a data sheet that says nothing else [°C]."""
_AGE_50_YEARS = 0.15
_FIFTY = 50.0


@checked
def rubber_exponent(*, loss_factor: Numeric) -> Numeric:
    """Exponent of the stiffness of rubber over frequency that goes with its loss factor.

    Parameters
    ----------
    loss_factor : float or DataArray
        η [-], 0 to 1.

    Returns
    -------
    float or DataArray
        ``α = (2/π) atan η`` [-]; 0 for what loses nothing.

    Raises
    ------
    ValueError
        A loss factor out of bounds.

    Notes
    -----
    A loss that is the same at all frequencies cannot go with a stiffness that is the same at all:
    response before the cause would follow. ``k1 (jω/ω1)^α`` is the pair that is causal, with
    ``tan(απ/2) = η``.

    References
    ----------
    Derived (Kramers-Kronig pair).

    Examples
    --------
    >>> round(float(rubber_exponent(loss_factor=0.1)), 5)
    0.06345
    """
    within("rubber_exponent", "loss_factor", loss_factor, 0.0, 1.0, "")
    exponent: Numeric = 2 / np.pi * np.arctan(loss_factor)
    return exponent


@checked
def rubber_frequency_factor(*, frequency_ratio: Numeric, loss_factor: Numeric) -> Numeric:
    """Stiffness at one frequency over that at another, for a constant loss factor.

    Parameters
    ----------
    frequency_ratio : float or DataArray
        f/f1 [-], above 0; f1 is where the stiffness was measured.
    loss_factor : float or DataArray
        η [-], 0 to 1.

    Returns
    -------
    float or DataArray
        ``(f/f1)^α`` [-], of the real part and of the magnitude alike.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    Fair over the decade or two in which the loss factor is about constant.

    References
    ----------
    Derived, see :func:`rubber_exponent`.

    Examples
    --------
    >>> round(float(rubber_frequency_factor(frequency_ratio=10.0, loss_factor=0.2)), 3)
    1.336
    """
    positive("rubber_frequency_factor", "frequency_ratio", frequency_ratio, "")
    exponent = rubber_exponent(loss_factor=loss_factor)
    factor: Numeric = frequency_ratio**exponent
    return factor


@checked
def rubber_amplitude_factor(*, hardness: Numeric, test_strain: Numeric) -> Numeric:
    """Stiffness of filled rubber at the strain of trains over that at the strain of a test.

    Parameters
    ----------
    hardness : float or DataArray
        [IRHD], 40 to 90; 40 is rubber with hardly any filler.
    test_strain : float or DataArray
        Dynamic strain amplitude of the test behind the stiffness [-], above 0 and at most 0.5.
        Trains strain a bearing by 1e-5 to 1e-4: a test there needs no factor, and gets none.

    Returns
    -------
    float or DataArray
        1 for tests at 1e-4 or less; 1.05, 1.15, 1.3, 1.5 at 40, 50, 60, 70 IRHD and more for tests
        at 1e-3 or more; by straight lines over hardness and over the logarithm of strain between.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    Half of what it exceeds 1 by is a fair standard deviation. It must be counted once: a
    :class:`~groundborne.isolation.RubberCompound` whose ``dynamic_to_static`` was measured at
    small strain, or was given a ``small_strain_factor``, holds it already.

    References
    ----------
    Effect: García Tárrago, Kari, Vinolas and Gil-Negrete 2007, abstract [seen second-hand];
    factors from memory, weak.

    Examples
    --------
    >>> [float(rubber_amplitude_factor(hardness=60.0, test_strain=x)) for x in (0.01, 1e-5)]
    [1.3, 1.0]
    """
    where = "rubber_amplitude_factor"
    within(where, "hardness", hardness, 40.0, 90.0, "IRHD")
    positive(where, "test_strain", test_strain, "")
    within(where, "test_strain", test_strain, 0.0, 0.5, "", "strain is a ratio: 1 % is 0.01")
    decades = np.log10(TEST_STRAIN / SMALL_STRAIN)
    share: Numeric = np.clip(np.log10(test_strain / SMALL_STRAIN) / decades, 0.0, 1.0)
    excess = interpolated(hardness, _IRHD, _SMALL_STRAIN) - 1
    return 1 + excess * share


@checked
def rubber_temperature_factor(
    *, temperature: Numeric, reference: Numeric = TEST_TEMPERATURE
) -> Numeric:
    """Stiffness of natural rubber at a temperature over that at the one it was tested at.

    Parameters
    ----------
    temperature, reference : float or DataArray
        Of the mount in service and of the test [°C], -10 to 40.

    Returns
    -------
    float or DataArray
        [-]: 1.3, 1.15, 1 and 0.945 at -10, 0, 23 and 40 °C over the same at `reference`, by
        straight lines between. A basement at 10 to 20 °C: 1.09 to 1.02.

    Raises
    ------
    ValueError
        A temperature out of bounds: near -25 °C natural rubber slowly crystallises. Chloroprene
        stiffens more and earlier, and is not covered.

    References
    ----------
    From memory: the recalled ranges are 1.2 to 1.4, 1.1 to 1.2 and 0.92 to 0.97.

    Examples
    --------
    >>> round(rubber_temperature_factor(temperature=15.0), 3)
    1.052
    """
    within("rubber_temperature_factor", "temperature", temperature, -10.0, 40.0, "°C")
    within("rubber_temperature_factor", "reference", reference, -10.0, 40.0, "°C")
    here, there = (interpolated(t, _CELSIUS, _TEMPERATURE) for t in (temperature, reference))
    return here / there


@checked
def rubber_age_factor(*, years: Numeric) -> Numeric:
    """Vertical stiffness of natural rubber after years over that when new.

    Parameters
    ----------
    years : float or DataArray
        [a], 0 to 60.

    Returns
    -------
    float or DataArray
        ``1 + 0.15 t/50`` [-].

    Raises
    ------
    ValueError
        A time out of bounds.

    Notes
    -----
    Recalled is 10 to 20 % after 50 years; that it grows evenly is assumed. Thirty years give 1.09
    here; bearings of one building had 1.059, and a survey stayed below 1.20
    (:data:`~groundborne.isolation.rubber.compound.AGEING_30_YEARS`). Creep lowers what stands on
    the rubber and is another matter: :func:`~groundborne.isolation.creep_growth`.

    References
    ----------
    From memory.

    Examples
    --------
    >>> rubber_age_factor(years=50.0)
    1.15
    """
    not_negative("rubber_age_factor", "years", years, "a")
    within("rubber_age_factor", "years", years, 0.0, 60.0, "a")
    return 1 + _AGE_50_YEARS * years / _FIFTY
