"""Plan of a rubber layer and its shape factor: loaded area over the area free to bulge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within

_THINNEST = 1e-9
"""Least thickness of a layer of rubber [m]: below any molecule."""


@checked
def shape_factor(*, loaded_area: Numeric, free_area: Numeric) -> Numeric:
    """Loaded area of one layer over its force-free area.

    Parameters
    ----------
    loaded_area : float or DataArray
        Of one face [m²], above 0.
    free_area : float or DataArray
        All around the layer, walls of holes included [m²], above 0.

    Returns
    -------
    float or DataArray
        S [-].

    Raises
    ------
    ValueError
        An area that is not above 0.

    References
    ----------
    Definition, as in J. Mech. Eng. 60 (2014) 506 [seen].

    Examples
    --------
    >>> shape_factor(loaded_area=0.16, free_area=4 * 0.4 * 0.01)
    10.0
    """
    positive("shape_factor", "loaded_area", loaded_area, "m²")
    positive("shape_factor", "free_area", free_area, "m²")
    return loaded_area / free_area


@checked
def shape_factor_strip(*, width: Numeric, thickness: Numeric) -> Numeric:
    """Shape factor of a long strip, ends left out.

    Parameters
    ----------
    width, thickness : float or DataArray
        [m], above 0.

    Returns
    -------
    float or DataArray
        ``width/(2 thickness)`` [-].

    Raises
    ------
    ValueError
        A size that is not above 0.

    References
    ----------
    Derived from the definition.

    Examples
    --------
    >>> shape_factor_strip(width=0.1, thickness=0.02)
    2.5
    """
    positive("shape_factor_strip", "width", width, "m")
    positive("shape_factor_strip", "thickness", thickness, "m")
    return width / (2 * thickness)


@runtime_checkable
class Plan(Protocol):
    """Outline of the bonded rubber seen from above."""

    @property
    def area(self) -> Numeric:
        """Loaded area, holes taken off [m²]."""
        ...

    @property
    def perimeter(self) -> Numeric:
        """Free edge, holes included [m]."""
        ...

    @property
    def size(self) -> tuple[Numeric, Numeric]:
        """Sizes along x and y [m]."""
        ...

    @property
    def least_second_moment(self) -> Numeric:
        """Smaller second moment of area, holes left out of account [m⁴]."""
        ...

    def reduced_area(self, *, shear_x: Numeric, shear_y: Numeric) -> Numeric:
        """Area still loaded when the faces have shifted sideways [m²]."""
        ...


@checked
def plan_shape_factor(*, plan: Plan, thickness: Numeric) -> Numeric:
    """Shape factor of one layer of a plan.

    Parameters
    ----------
    plan : Plan
        Rectangle or disc.
    thickness : float or DataArray
        Of the layer [m], above 0.

    Returns
    -------
    float or DataArray
        ``area/(perimeter · thickness)`` [-].

    Raises
    ------
    ValueError
        A thickness that is not above 0.

    References
    ----------
    Definition; rectangle ``ab/[2t(a + b)]``, disc ``D/(4t)``, annulus ``(D − B)/(4t)``.

    Examples
    --------
    >>> round(plan_shape_factor(plan=Rectangle(plan_x=0.4, plan_y=0.4), thickness=0.012), 3)
    8.333
    """
    positive("plan_shape_factor", "thickness", thickness, "m")
    if np.any(np.asarray(thickness) < _THINNEST):
        raise ValueError(
            f"plan_shape_factor: thickness is below {_THINNEST:g} m, thinner than any layer"
        )
    return shape_factor(loaded_area=plan.area, free_area=plan.perimeter * thickness)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Rectangle:
    """Rectangular plan, with or without round holes.

    Parameters
    ----------
    plan_x, plan_y : float or DataArray
        Sides of the bonded rubber, which are those of the plates [m], above 0.
    holes : float or DataArray
        Number of round holes through the rubber [-], 0 or more.
    hole_diameter : float or DataArray
        [m], 0 or more.

    Raises
    ------
    ValueError
        A size out of bounds, or holes that leave less than half of the area.

    References
    ----------
    Derived from the definition of the shape factor.

    Examples
    --------
    >>> plate = Rectangle(plan_x=0.2, plan_y=0.1)
    >>> plate.area, round(plate.perimeter, 3)
    (0.020000000000000004, 0.6)
    """

    plan_x: Numeric
    plan_y: Numeric
    holes: Numeric = 0.0
    hole_diameter: Numeric = 0.0

    def __post_init__(self) -> None:
        positive("Rectangle", "plan_x", self.plan_x, "m")
        positive("Rectangle", "plan_y", self.plan_y, "m")
        not_negative("Rectangle", "holes", self.holes, "")
        not_negative("Rectangle", "hole_diameter", self.hole_diameter, "m")
        full = self.plan_x * self.plan_y
        within("Rectangle", "share of the area left by the holes", self.area / full, 0.5, 1.0, "")

    @property
    def area(self) -> Numeric:
        """Loaded area, holes taken off [m²]."""
        return self.plan_x * self.plan_y - self.holes * np.pi * self.hole_diameter**2 / 4

    @property
    def perimeter(self) -> Numeric:
        """Free edge, holes included [m]."""
        return 2 * (self.plan_x + self.plan_y) + self.holes * np.pi * self.hole_diameter

    @property
    def size(self) -> tuple[Numeric, Numeric]:
        """Sides along x and y [m]."""
        return self.plan_x, self.plan_y

    @property
    def least_second_moment(self) -> Numeric:
        """Smaller second moment of area, holes left out of account [m⁴]."""
        least = np.minimum(self.plan_x, self.plan_y)
        moment: Numeric = self.plan_x * self.plan_y * least**2 / 12
        return moment

    def reduced_area(self, *, shear_x: Numeric, shear_y: Numeric) -> Numeric:
        """Area still loaded when the faces have shifted sideways [m²].

        Parameters
        ----------
        shear_x, shear_y : float or DataArray
            Shift along x and y [m], 0 or more.

        Raises
        ------
        ValueError
            A shift that leaves no area.

        References
        ----------
        EN 1337-3:2005, expression (9), as implemented in public code [seen second-hand].
        """
        share = 1 - shear_x / self.plan_x - shear_y / self.plan_y
        return _left(self.area, share)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Disc:
    """Round plan, with or without a bore.

    Parameters
    ----------
    diameter : float or DataArray
        Outer [m], above 0.
    bore : float or DataArray
        Diameter of the bore [m], 0 or more; at most 0.7 of the outer.

    Raises
    ------
    ValueError
        A size out of bounds.

    References
    ----------
    Derived from the definition of the shape factor.

    Examples
    --------
    >>> ring = Disc(diameter=0.4, bore=0.1)
    >>> round(float(plan_shape_factor(plan=ring, thickness=0.01)), 6)
    7.5
    """

    diameter: Numeric
    bore: Numeric = 0.0

    def __post_init__(self) -> None:
        positive("Disc", "diameter", self.diameter, "m")
        within("Disc", "bore over diameter", self.bore / self.diameter, 0.0, 0.7, "")

    @property
    def area(self) -> Numeric:
        """Loaded area, bore taken off [m²]."""
        return np.pi * (self.diameter**2 - self.bore**2) / 4

    @property
    def perimeter(self) -> Numeric:
        """Free edge, bore included [m]."""
        return np.pi * (self.diameter + self.bore)

    @property
    def size(self) -> tuple[Numeric, Numeric]:
        """Diameter, twice [m]."""
        return self.diameter, self.diameter

    @property
    def least_second_moment(self) -> Numeric:
        """Second moment of area, bore left out of account [m⁴]."""
        return np.pi * self.diameter**4 / 64

    def reduced_area(self, *, shear_x: Numeric, shear_y: Numeric) -> Numeric:
        """Overlap of the shifted faces, bore taken off in proportion [m²].

        Parameters
        ----------
        shear_x, shear_y : float or DataArray
            Shift along x and y [m], 0 or more.

        Raises
        ------
        ValueError
            A shift that leaves no area.

        References
        ----------
        Derived: overlap of two circles.
        """
        shift = np.sqrt(shear_x**2 + shear_y**2) / self.diameter
        capped = np.minimum(shift, 1.0)
        share = 2 / np.pi * (np.arccos(capped) - capped * np.sqrt(1 - capped**2))
        return _left(self.area, share)


def _left(area: Numeric, share: Numeric) -> Numeric:
    if np.any(np.asarray(share) <= 0):
        raise ValueError(
            "reduced_area: shear_x and shear_y shift the faces so far that no area is loaded; they "
            "must be well below the size of the plan"
        )
    return area * share
