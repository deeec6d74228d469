"""Mass-spring transmissibility in closed form: one stage and two."""

from __future__ import annotations

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive
from groundborne.citation import Citation
from groundborne.structure.element import GRAVITY

HYSTERETIC = Citation(
    key="transmissibility-hysteretic",
    author="Harris; Bies and Hansen; Cremer and Heckl",
    title="transmissibility with hysteretic damping",
    mark="from memory",
    status="transcribed",
)
VISCOUS = Citation(
    key="transmissibility-viscous",
    author="Sharif",
    title="thesis on base-isolated structures, chapter 5: viscous transmissibility",
    mark="seen",
    status="transcribed",
)
TWO_STAGE = Citation(
    key="transmissibility-two-stage",
    author="Bies and Hansen, as credited in a public transcription",
    title="two-stage isolation, base-driven",
    mark="seen second-hand",
    status="transcribed",
)


@checked
def natural_frequency(deflection: Numeric) -> Numeric:
    """Natural frequency of a linear spring from its deflection under load.

    Parameters
    ----------
    deflection : float or DataArray
        Deflection the load would cause at the *dynamic* stiffness [m], above 0. The static
        deflection of rubber is not that: divide it by the dynamic-to-static ratio first.

    Returns
    -------
    float or DataArray
        ``√(g/d)/(2π)`` [Hz].

    Raises
    ------
    ValueError
        A deflection that is not above 0.

    References
    ----------
    Derived; in millimetres ``15.76/√d``.

    Examples
    --------
    >>> round(float(natural_frequency(0.020)), 2)
    3.52
    """
    positive("natural_frequency", "deflection", deflection, "m")
    result: Numeric = np.sqrt(GRAVITY / deflection) / (2 * np.pi)
    return result


@checked
def hysteretic(frequency_ratio: Numeric, *, loss_factor: Numeric) -> Numeric:
    """Transmissibility of one stage with hysteretic damping, ``k* = k(1 + jη)``.

    Parameters
    ----------
    frequency_ratio : float or DataArray
        r = f/f0 [-], 0 or more.
    loss_factor : float or DataArray
        η [-], above 0.

    Returns
    -------
    float or DataArray
        ``√[(1 + η²)/((1 − r²)² + η²)]`` [-].

    Raises
    ------
    ValueError
        A negative ratio, or a loss factor that is not above 0.

    References
    ----------
    Harris; Bies and Hansen; Cremer and Heckl [from memory].

    Examples
    --------
    >>> round(float(-20 * np.log10(hysteretic(8.0, loss_factor=0.1))), 1)
    35.9
    """
    not_negative("hysteretic", "frequency_ratio", frequency_ratio, "")
    positive("hysteretic", "loss_factor", loss_factor, "")
    result: Numeric = np.sqrt(
        (1 + loss_factor**2) / ((1 - frequency_ratio**2) ** 2 + loss_factor**2)
    )
    return result


@checked
def viscous(frequency_ratio: Numeric, *, damping_ratio: Numeric) -> Numeric:
    """Transmissibility of one stage with a viscous dashpot.

    Parameters
    ----------
    frequency_ratio : float or DataArray
        r = f/f0 [-], 0 or more.
    damping_ratio : float or DataArray
        ζ [-], above 0.

    Returns
    -------
    float or DataArray
        ``√[(1 + (2ζr)²)/((1 − r²)² + (2ζr)²)]`` [-].

    Raises
    ------
    ValueError
        A negative ratio, or a damping ratio that is not above 0.

    References
    ----------
    Sharif, thesis chapter 5 [seen].

    Examples
    --------
    >>> round(float(-20 * np.log10(viscous(8.0, damping_ratio=0.05))), 1)
    33.8
    """
    not_negative("viscous", "frequency_ratio", frequency_ratio, "")
    positive("viscous", "damping_ratio", damping_ratio, "")
    friction = (2 * damping_ratio * frequency_ratio) ** 2
    result: Numeric = np.sqrt((1 + friction) / ((1 - frequency_ratio**2) ** 2 + friction))
    return result


@checked
def two_stage(
    frequency: Numeric,
    *,
    lower_stiffness: Numeric,
    lower_mass: Numeric,
    upper_stiffness: Numeric,
    upper_mass: Numeric,
    lower_loss_factor: Numeric,
    upper_loss_factor: Numeric,
) -> Numeric:
    """Transmissibility from moving ground to the upper of two masses on springs.

    Parameters
    ----------
    frequency : float or DataArray
        Frequency [Hz].
    lower_stiffness, upper_stiffness : float or DataArray
        Dynamic stiffness of the lower and upper stage [N/m].
    lower_mass, upper_mass : float or DataArray
        Mass on the lower stage and on the upper one [kg].
    lower_loss_factor, upper_loss_factor : float or DataArray
        Hysteretic loss factors [-].

    Returns
    -------
    float or DataArray
        ``|k1 k2 / [(k1 + k2 − ω²m1)(k2 − ω²m2) − k2²]|`` with complex stiffness [-].

    Raises
    ------
    ValueError
        A stiffness or mass that is not above 0, a negative loss factor.

    References
    ----------
    Bies and Hansen as credited in a public transcription [seen second-hand].

    Examples
    --------
    >>> k1, k2 = (2 * np.pi * 8) ** 2 * 1.05e6, (2 * np.pi * 10) ** 2 * 5e4
    >>> t = two_stage(31.5, lower_stiffness=k1, lower_mass=1e6, upper_stiffness=k2,
    ...               upper_mass=5e4, lower_loss_factor=0.1, upper_loss_factor=0.1)
    >>> round(-20 * float(np.log10(t)), 1)
    41.6
    """
    where = "two_stage"
    positive(where, "lower_stiffness", lower_stiffness, "N/m")
    positive(where, "lower_mass", lower_mass, "kg")
    positive(where, "upper_stiffness", upper_stiffness, "N/m")
    positive(where, "upper_mass", upper_mass, "kg")
    not_negative(where, "lower_loss_factor", lower_loss_factor, "")
    not_negative(where, "upper_loss_factor", upper_loss_factor, "")
    k1 = lower_stiffness * (1 + 1j * lower_loss_factor)
    k2 = upper_stiffness * (1 + 1j * upper_loss_factor)
    w2 = (2 * np.pi * frequency) ** 2
    response = k1 * k2 / ((k1 + k2 - w2 * lower_mass) * (k2 - w2 * upper_mass) - k2**2)
    result: Numeric = np.abs(response)
    return result


@checked
def coupled_frequencies(
    *,
    lower_stiffness: Numeric,
    lower_mass: Numeric,
    upper_stiffness: Numeric,
    upper_mass: Numeric,
) -> tuple[Numeric, Numeric]:
    """Undamped natural frequencies of two masses on springs in a row.

    Parameters
    ----------
    lower_stiffness, upper_stiffness : float or DataArray
        [N/m].
    lower_mass, upper_mass : float or DataArray
        [kg].

    Returns
    -------
    tuple
        Lower and upper natural frequency [Hz].

    Raises
    ------
    ValueError
        A stiffness or mass that is not above 0.

    References
    ----------
    Roots of ``ω⁴ − (1+μ)(ωa² + ωl²)ω² + (1+μ)ωa²ωl² = 0``, ``μ = m2/m1``, ``ωa² = k2/m2``,
    ``ωl² = k1/(m1 + m2)`` (geotechnical textbook, eqs 20.101-20.105 [seen]).

    Examples
    --------
    >>> low, high = coupled_frequencies(lower_stiffness=(2 * np.pi * 8) ** 2 * 1.05e6,
    ...     lower_mass=1e6, upper_stiffness=(2 * np.pi * 10) ** 2 * 5e4, upper_mass=5e4)
    >>> round(float(low), 2), round(float(high), 2)
    (7.73, 10.6)
    """
    where = "coupled_frequencies"
    positive(where, "lower_stiffness", lower_stiffness, "N/m")
    positive(where, "lower_mass", lower_mass, "kg")
    positive(where, "upper_stiffness", upper_stiffness, "N/m")
    positive(where, "upper_mass", upper_mass, "kg")
    more = 1 + upper_mass / lower_mass
    upper, lower = upper_stiffness / upper_mass, lower_stiffness / (lower_mass + upper_mass)
    half = more * (upper + lower) / 2
    root = np.sqrt(half**2 - more * upper * lower)
    return np.sqrt(half - root) / (2 * np.pi), np.sqrt(half + root) / (2 * np.pi)
