"""What a plate in bending is made of: rectangles and beams."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import not_negative, positive, within


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class PlatePart:
    """One rectangle of a plate.

    Parameters
    ----------
    x, y : tuple of float
        From and to [m].
    rigidity : float
        Bending rigidity ``E h³/(12 (1 − ν²))`` per unit width [N m], above 0; that of strips along
        x where the others differ.
    poisson : float
        Poisson's ratio, 0 to 0.5.
    rigidity_y : float, optional
        That of strips along y [N m]; as `rigidity` where left out.
    rigidity_xy : float, optional
        Twisting: ``m_xy = −2 D_xy ∂²w/∂x∂y`` [N m]; ``(1 − ν)/2 · √(D_x D_y)`` where left out.

    Examples
    --------
    >>> PlatePart(x=(0.0, 12.0), y=(0.0, 6.0), rigidity=4e7).area
    72.0
    """

    x: tuple[float, float]
    y: tuple[float, float]
    rigidity: float
    poisson: float = 0.2
    rigidity_y: float | None = None
    rigidity_xy: float | None = None

    def __post_init__(self) -> None:
        where = "PlatePart"
        for name in ("x", "y"):
            low, high = getattr(self, name)
            if not low < high:
                raise ValueError(
                    f"{where}: {name} runs from {low:g} to {high:g} m; the second must be larger"
                )
        within(where, "poisson", self.poisson, 0.0, 0.5, "")
        positive(where, "rigidity", self.rigidity, "N m")
        for name in ("rigidity_y", "rigidity_xy"):
            if getattr(self, name) is not None:
                positive(where, name, getattr(self, name), "N m")

    @property
    def area(self) -> float:
        """Area [m²]."""
        return (self.x[1] - self.x[0]) * (self.y[1] - self.y[0])

    @property
    def rigidities(self) -> tuple[float, float, float, float]:
        """``D_x``, ``D_y``, ``ν √(D_x D_y)`` and ``D_xy`` [N m]."""
        along, across = self.rigidity, self.rigidity_y or self.rigidity
        mean = float(np.sqrt(along * across))
        twist = (1 - self.poisson) / 2 * mean if self.rigidity_xy is None else self.rigidity_xy
        return along, across, self.poisson * mean, twist


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class PlateBeam:
    """A straight beam that bends with the plate (transfer beam, rib, wall).

    Parameters
    ----------
    start, end : tuple of float
        Ends (x, y) [m], on the plate.
    bending_stiffness : float
        ``E I`` [N m²] of the beam beside the plate, 0 or more.
    torsion_stiffness : float
        ``G J`` [N m²], 0 or more.

    Examples
    --------
    >>> PlateBeam(start=(0.0, 0.0), end=(3.0, 4.0), bending_stiffness=5e8).length
    5.0
    """

    start: tuple[float, float]
    end: tuple[float, float]
    bending_stiffness: float
    torsion_stiffness: float = 0.0

    def __post_init__(self) -> None:
        where = "PlateBeam"
        not_negative(where, "bending_stiffness", self.bending_stiffness, "N m²")
        not_negative(where, "torsion_stiffness", self.torsion_stiffness, "N m²")
        if self.length == 0:
            raise ValueError(f"{where}: start and end are both {self.start}; a beam has a length")

    @property
    def length(self) -> float:
        """Length [m]."""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))
