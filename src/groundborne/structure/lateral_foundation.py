"""A foundation that moves along the ground: what soil or piles hold it by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive
from groundborne.citation import Citation


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class LateralFoundation:
    """A foundation that the soil holds along the ground.

    Parameters
    ----------
    soil : object
        With ``lateral_impedance(frequency)`` [N s/m], as a
        :class:`~groundborne.structure.RectangularFooting` has it; or, where `ratio` is given, with
        ``soil_impedance(frequency)`` along the vertical.
    mass : float or DataArray
        Of the foundation [kg], 0 or more.
    ratio : float or DataArray, optional
        Horizontal over vertical impedance of soil or piles [-], above 0.
    share : float or DataArray
        Of soil and mass that falls to the column [-]; columns of a dim are added up.

    Raises
    ------
    ValueError
        A soil that knows no horizontal motion, without a ratio.

    Examples
    --------
    >>> from groundborne.structure import SpringFoundation
    >>> piles = SpringFoundation(stiffness=4e9, damping=1e7)
    >>> f = xr.DataArray([10.0], dims="frequency")
    >>> half = LateralFoundation(soil=piles, mass=0.0, ratio=0.5).impedance(f)
    >>> bool(abs(half / piles.soil_impedance(f) - 0.5).max() < 1e-12)
    True
    """

    soil: Any
    mass: Numeric
    ratio: Numeric | None = None
    share: Numeric = 1.0

    def __post_init__(self) -> None:
        where, name = "LateralFoundation", type(self.soil).__name__
        not_negative(where, "mass", self.mass, "kg")
        positive(where, "share", self.share, "")
        if self.ratio is not None:
            positive(where, "ratio", self.ratio, "")
        needed = "lateral_impedance" if self.ratio is None else "soil_impedance"
        if not hasattr(self.soil, needed):
            more = (
                "; give the ratio of its horizontal to its vertical stiffness"
                if hasattr(self.soil, "soil_impedance")
                else ""
            )
            raise ValueError(f"{where}: soil is {name}, which has no {needed}(frequency){more}")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the soil."""
        told = "lateral_citations" if self.ratio is None else "citations"
        found: tuple[Citation, ...] = getattr(self.soil, told)
        return found

    def impedance(self, frequency: Frequency) -> xr.DataArray:
        """Of the soil or piles, without the mass [N s/m]."""
        if self.ratio is None:
            own: xr.DataArray = self.soil.lateral_impedance(frequency) * self.share
            return own
        of_ratio: xr.DataArray = self.soil.soil_impedance(frequency) * self.ratio * self.share
        return of_ratio
