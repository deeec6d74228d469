"""Inner walls of a box in a box: a leaf on resilient strips, with air behind it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.isolation.rooms.sprung_surface import SprungSurface
from groundborne.structure.element import GRAVITY

STRIPS = Citation(
    key="inner-wall-strips",
    author="groundborne",
    title="strips at head and foot and ties as springs per area beside the air, "
    "(2 k′/h + n k) across the wall",
    mark="derived",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class InnerWall(SprungSurface):
    """The inner leaf of a wall, held by strips at head and foot and by ties if there are any.

    Parameters
    ----------
    leaf_mass : float or DataArray
        Of the leaf with its studs [kg/m²], above 0.
    leaf_thickness : float or DataArray
        [m], above 0.
    height : float or DataArray
        Between the strips [m], above 0.
    strip_stiffness : float or DataArray
        Dynamic stiffness of a strip across the wall, for each metre of it [N/m²], above 0.
    cavity_depth : float or DataArray
        Air behind the leaf [m], above 0.
    loss_factor : float or DataArray
        Hysteretic loss factor of strips and ties [-], above 0 and at most 1.
    air_state : str
        As for :func:`~groundborne.isolation.air_stiffness`: ``"filled"`` with mineral wool.
    ties : float or DataArray
        Resilient ties to the structure for each square metre [1/m²].
    tie_stiffness : float or DataArray
        Dynamic stiffness of a tie across the wall [N/m].

    Raises
    ------
    ValueError
        A parameter out of bounds, or ties without a stiffness.

    Notes
    -----
    The leaf is taken as rigid between its strips; its own bending, which comes in near
    ``0.45 c_L h_leaf/height²``, is left out. A leaf that stands on a floating floor loads the
    floor's edge: the mounts there carry :attr:`line_load` besides. Stability of the leaf and its
    fire rating are a licensed engineer's to check.

    References
    ----------
    Springs in parallel, gas law [derived].

    Examples
    --------
    >>> wall = InnerWall(leaf_mass=110.0, leaf_thickness=0.1, height=6.0, strip_stiffness=1.5e5,
    ...                  cavity_depth=0.2, loss_factor=0.1, air_state="filled")
    >>> round(float(wall.natural_frequency), 1), round(float(wall.line_load))
    (11.3, 6472)
    """

    leaf_mass: Numeric
    leaf_thickness: Numeric
    height: Numeric
    strip_stiffness: Numeric
    cavity_depth: Numeric
    loss_factor: Numeric
    air_state: str = "sealed"
    ties: Numeric = 0.0
    tie_stiffness: Numeric = 0.0

    def __post_init__(self) -> None:
        where = "InnerWall"
        units = {
            "leaf_mass": "kg/m²", "leaf_thickness": "m", "height": "m", "strip_stiffness": "N/m²",
            "loss_factor": "",
        }  # fmt: skip
        for name, unit in units.items():
            positive(where, name, getattr(self, name), unit)
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        not_negative(where, "ties", self.ties, "for each m²")
        not_negative(where, "tie_stiffness", self.tie_stiffness, "N/m")
        if np.any(np.asarray(self.ties == 0) & np.asarray(self.tie_stiffness > 0)):
            raise ValueError(f"{where}: there is a tie_stiffness and no ties; give their number")
        if np.any(np.asarray((self.ties > 0) & (self.tie_stiffness == 0))):
            raise ValueError(
                f"{where}: there are ties, and tie_stiffness is 0; give their stiffness"
            )
        self._check_air("cavity_depth")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (*self._own_citations(), STRIPS)

    @property
    def in_words(self) -> str:
        """What it is."""
        return "inner wall on strips"

    @property
    def air(self) -> tuple[Numeric, str]:
        """Depth [m] and state of the air."""
        return self.cavity_depth, self.air_state

    def _support_loss_factor(self) -> Numeric:
        return self.loss_factor

    @property
    def mass_per_area(self) -> Numeric:
        """Of the leaf [kg/m²]."""
        return self.leaf_mass

    @property
    def support_stiffness_per_area(self) -> Numeric:
        """Dynamic stiffness of two strips and the ties across the wall [N/m³]."""
        return 2 * self.strip_stiffness / self.height + self.ties * self.tie_stiffness

    @property
    def build_up(self) -> Numeric:
        """Cavity and leaf [m]."""
        return self.cavity_depth + self.leaf_thickness

    @property
    def line_load(self) -> Numeric:
        """Weight on each metre of the foot [N/m]."""
        return self.leaf_mass * GRAVITY * self.height
