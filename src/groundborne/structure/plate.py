"""Plates and beams in bending: stiffness, natural frequency, and mobilities without reflections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known, positive, within
from groundborne.citation import Citation

PLATE_POINT = Citation(
    key="plate-point-mobility",
    author="Cremer and Heckl",
    title="Structure-borne Sound: point mobility of plates and beams",
    locator="1/(8√(B′m″)) in the interior, 1/(3.5√(B′m″)) at a free edge, beams (1−j)/(4m′c_B)",
    mark="from memory",
    status="transcribed",
)
PLATE_THEORY = Citation(
    key="thin-plate-theory",
    author="thin-plate theory",
    title="bending stiffness, and natural frequencies of a simply supported plate",
    mark="from memory",
    status="transcribed",
)

INTERIOR_FACTOR = 8.0
"""Point impedance of an infinite plate over ``√(B′m″)`` [-]."""
EDGE_FACTOR = 3.5
"""The same at a free edge [-], from memory."""


@checked
def plate_bending_stiffness(
    *, youngs_modulus: Numeric, thickness: Numeric, poisson: Numeric
) -> Numeric:
    """Bending stiffness of a plate per unit width.

    Parameters
    ----------
    youngs_modulus : float or DataArray
        Dynamic modulus [Pa].
    thickness : float or DataArray
        Thickness [m].
    poisson : float or DataArray
        Poisson's ratio, 0 to 0.499.

    Returns
    -------
    float or DataArray
        ``B′ = E h³/[12 (1 − ν²)]`` [N m].

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Thin-plate theory [from memory].

    Examples
    --------
    >>> round(plate_bending_stiffness(youngs_modulus=30e9, thickness=0.25, poisson=0.2) / 1e6, 2)
    40.69
    """
    where = "plate_bending_stiffness"
    positive(where, "youngs_modulus", youngs_modulus, "Pa")
    positive(where, "thickness", thickness, "m")
    within(where, "poisson", poisson, 0.0, 0.499, "")
    return youngs_modulus * thickness**3 / (12 * (1 - poisson**2))


@checked
def simply_supported_frequency(
    *,
    length: Numeric,
    width: Numeric,
    bending_stiffness: Numeric,
    mass_per_area: Numeric,
    modes: tuple[int, int] = (1, 1),
) -> Numeric:
    """Natural frequency of a rectangular plate simply supported on four edges.

    Parameters
    ----------
    length, width : float or DataArray
        Plan size [m].
    bending_stiffness : float or DataArray
        B′ [N m].
    mass_per_area : float or DataArray
        m″ [kg/m²].
    modes : tuple of int
        Half-waves along `length` and along `width`, each 1 or more.

    Returns
    -------
    float or DataArray
        ``(π/2) √(B′/m″) [(i/a)² + (j/b)²]`` [Hz].

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Thin-plate theory, exact for simple supports [from memory].

    Examples
    --------
    >>> b = plate_bending_stiffness(youngs_modulus=26e9, thickness=0.18, poisson=0.2)
    >>> round(float(simply_supported_frequency(length=6.0, width=4.0, bending_stiffness=b,
    ...                                        mass_per_area=414.0)), 1)
    25.3
    """
    where = "simply_supported_frequency"
    positive(where, "length", length, "m")
    positive(where, "width", width, "m")
    positive(where, "bending_stiffness", bending_stiffness, "N m")
    positive(where, "mass_per_area", mass_per_area, "kg/m²")
    if min(modes) < 1:
        raise ValueError(f"{where}: modes is {modes}; each number of half-waves is 1 or more")
    i, j = modes
    shape = (i / length) ** 2 + (j / width) ** 2
    frequency: Numeric = np.pi / 2 * np.sqrt(bending_stiffness / mass_per_area) * shape
    return frequency


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class InfinitePlate:
    """A plate without reflections, driven at a point.

    The mean of what a finite slab does in band average above its first few resonances; single
    bands of a real slab stray from it by 10 dB and more.

    Parameters
    ----------
    bending_stiffness : float or DataArray
        B′ [N m].
    mass_per_area : float or DataArray
        m″ [kg/m²].
    position : str
        ``"interior"`` or ``"edge"`` (a point on a free edge).

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Cremer and Heckl [from memory]: ``Y = 1/(8 √(B′m″))``, at an edge ``1/(3.5 √(B′m″))``.

    Examples
    --------
    >>> b = plate_bending_stiffness(youngs_modulus=30e9, thickness=0.2, poisson=0.2)
    >>> slab = InfinitePlate(bending_stiffness=b, mass_per_area=480.0)
    >>> f = xr.DataArray([63.0], dims="frequency")
    >>> round(float(slab.driving_point_mobility(f).real[0]) * 1e6, 2)
    1.25
    """

    bending_stiffness: Numeric
    mass_per_area: Numeric
    position: str = "interior"

    def __post_init__(self) -> None:
        positive("InfinitePlate", "bending_stiffness", self.bending_stiffness, "N m")
        positive("InfinitePlate", "mass_per_area", self.mass_per_area, "kg/m²")
        known("InfinitePlate", "position", self.position, ("interior", "edge"))

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (PLATE_POINT,)

    @property
    def loss_factor_floor(self) -> float:
        """A plate without reflections has no resonance."""
        return 1.0

    def impedance(self, frequency: Frequency) -> xr.DataArray:
        """Point impedance [N s/m], real and the same at every frequency."""
        factor = INTERIOR_FACTOR if self.position == "interior" else EDGE_FACTOR
        impedance: xr.DataArray = xr.ones_like(frequency, dtype=complex) * (
            factor * np.sqrt(self.bending_stiffness * self.mass_per_area)
        )
        return impedance

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Point mobility [m/(N s)]."""
        return 1 / self.impedance(frequency)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class InfiniteBeam:
    """A beam without reflections in bending, driven across its axis.

    Parameters
    ----------
    bending_stiffness : float or DataArray
        ``E I`` [N m²].
    mass_per_length : float or DataArray
        m′ [kg/m].
    position : str
        ``"interior"`` (far from the ends) or ``"end"`` (the free end of a semi-infinite beam).

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Cremer and Heckl [from memory]: ``Y = (1 − j)/(4 m′ c_B)``, at an end ``(1 − j)/(m′ c_B)``,
    with the phase speed ``c_B = (EI/m′)^¼ √ω``.

    Examples
    --------
    >>> beam = InfiniteBeam(bending_stiffness=1e8, mass_per_length=500.0)
    >>> end = InfiniteBeam(bending_stiffness=1e8, mass_per_length=500.0, position="end")
    >>> f = xr.DataArray([63.0], dims="frequency")
    >>> ratio = end.driving_point_mobility(f) / beam.driving_point_mobility(f)
    >>> round(float(ratio.real[0]), 12)
    4.0
    """

    bending_stiffness: Numeric
    mass_per_length: Numeric
    position: str = "interior"

    def __post_init__(self) -> None:
        positive("InfiniteBeam", "bending_stiffness", self.bending_stiffness, "N m²")
        positive("InfiniteBeam", "mass_per_length", self.mass_per_length, "kg/m")
        known("InfiniteBeam", "position", self.position, ("interior", "end"))

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (PLATE_POINT,)

    @property
    def loss_factor_floor(self) -> float:
        """A beam without reflections has no resonance."""
        return 1.0

    def impedance(self, frequency: Frequency) -> xr.DataArray:
        """Point impedance [N s/m]; half resistance, half mass."""
        root = (2 * np.pi * frequency) ** 0.5
        speed = root * (self.bending_stiffness / self.mass_per_length) ** 0.25
        factor = 4.0 if self.position == "interior" else 1.0
        impedance: xr.DataArray = speed * self.mass_per_length * (factor * (1 + 1j) / 2)
        return impedance

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Point mobility [m/(N s)]."""
        return 1 / self.impedance(frequency)
