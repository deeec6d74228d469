"""What a column line is built of: storeys, and the isolation plane between two of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

from groundborne._arguments import checked
from groundborne._checks import Numeric, positive, within
from groundborne.citation import Citation
from groundborne.structure.element import Mobility
from groundborne.structure.slab import Slab
from groundborne.twoport import TwoPort

FloorName = str | int
"""Name of a floor, the same type throughout a building."""


@runtime_checkable
class LineMount(Protocol):
    """Mounts of one column as the line sees them."""

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the numbers."""
        ...

    @property
    def loss_factor_floor(self) -> float:
        """Smallest loss factor [-] inside; it sets how finely a band is sampled."""
        ...

    def two_port(self, frequency: Any) -> TwoPort:
        """Two-port from below to above at frequencies in Hz."""
        ...


@checked(renamed={"level": "floor"})
@dataclass(frozen=True, kw_only=True, eq=False)
class Storey:
    """One storey of a column line: a column segment, or strip of wall, and the slab on its head.

    Parameters
    ----------
    floor : str or int
        Name of the floor of the slab; the coordinate on ``floor``.
    height : float or DataArray
        Length of the column segment [m], above 0.
    area : float or DataArray
        Cross-section of the column [m²], above 0.
    youngs_modulus : float or DataArray
        Dynamic modulus of the column [Pa], above 0.
    density : float or DataArray
        Of the column [kg/m³], above 0.
    loss_factor : float or DataArray
        Hysteretic loss factor of the column [-], 0 to 1.
    slab : Slab or RigidMass
        What the head of the segment carries beside the next segment.

    Raises
    ------
    ValueError
        A parameter out of bounds, or a storey without a slab.

    Notes
    -----
    A line may be a strip of a masonry or concrete wall: `area` is the thickness of the wall times
    the length of the strip, and its slab carries what rests on that length (of slabs that span one
    way onto it from both sides half of each span; ``panel_share`` is that floor over ``span_x
    span_y``). The strip is a rod like a column: one quasi-longitudinal wave up and down, at ``c =
    √(E/ρ)``. Where the wall runs on, so that it cannot widen along its length, ``E/(1 − ν²)``
    stands for E, 4 % more at ν = 0.2. Bending of the wall, shear in its plane, openings and the
    coupling of strips beside each other are not in it. Strips therefore are to be short against
    the wave, a quarter of ``c/f`` at most (derived): 4 m at 125 Hz for c = 2000 m/s.

    Usual for masonry: E 1000 times the characteristic compressive strength (EN 1996-1-1, 3.7.2
    [from memory]), 1e9 Pa of aerated blocks to 1.5e10 Pa of engineering bricks, somewhat more
    dynamically; 500 to 2200 kg/m³; loss factor 0.01 to 0.05 with joints and plaster (common
    practice). Columns and walls stand side by side in one line by DataArrays on ``column``.

    Examples
    --------
    >>> from groundborne.structure import RigidMass
    >>> storey = Storey(floor=1, height=3.6, area=0.25, youngs_modulus=35e9, density=2450.0,
    ...                 loss_factor=0.02, slab=RigidMass(mass=50e3))
    >>> round(storey.column_mass)
    2205
    """

    floor: FloorName
    height: Numeric
    area: Numeric
    youngs_modulus: Numeric
    density: Numeric
    loss_factor: Numeric
    slab: Slab | Mobility

    def __post_init__(self) -> None:
        where = f"Storey {self.floor!r}"
        positive(where, "height", self.height, "m")
        positive(where, "area", self.area, "m²")
        positive(where, "youngs_modulus", self.youngs_modulus, "Pa")
        positive(where, "density", self.density, "kg/m³")
        within(where, "youngs_modulus", self.youngs_modulus, 1e6, 1e14, "Pa")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")

    @property
    def column_mass(self) -> Numeric:
        """Mass of the column segment [kg]."""
        return self.density * self.area * self.height


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class IsolationPlane:
    """Where the mounts are: right under the slab of a floor, or standing on it.

    Parameters
    ----------
    mount : object with ``two_port(frequency)``
        The mounts of this column as one: a spring, a rubber pad, a pack, two stages.
    under : str or int, optional
        Floor whose slab rests on the mounts (column heads below it).
    on : str or int, optional
        Floor on whose slab the mounts stand, at the feet of the columns above. The base of a
        line without a base slab may be named: the mounts then stand on the foundation.

    Raises
    ------
    ValueError
        Not exactly one place, or a mount without a two-port.

    Examples
    --------
    >>> IsolationPlane(mount=None, on="B1")
    Traceback (most recent call last):
    ...
    groundborne._checks.ArgumentError: IsolationPlane: mount is None; a LineMount (it has \
citations, loss_factor_floor, two_port) is needed
    """

    mount: LineMount
    under: FloorName | None = None
    on: FloorName | None = None

    def __post_init__(self) -> None:
        if (self.under is None) == (self.on is None):
            raise ValueError(
                f"IsolationPlane: under is {self.under!r} and on is {self.on!r}; give exactly one "
                "of them: the floor whose slab rests on the mounts, or the one they stand on"
            )

    @property
    def floor(self) -> FloorName:
        """The floor named."""
        floor = self.under if self.under is not None else self.on
        assert floor is not None  # exactly one is given
        return floor

    def in_line(self, nodes: tuple[FloorName, ...], *, bare: bool) -> tuple[int, bool]:
        """Where the mounts are in a line: the node (0 is the base), and whether they stand on it.

        Parameters
        ----------
        nodes : tuple of str or int
            Base and floors of the line, bottom to top.
        bare : bool
            Whether the base has no slab.

        Raises
        ------
        ValueError
            The floor is not one of them, nothing rests on the mounts, or there is no slab to be
            under.
        """
        if self.floor not in nodes:
            raise ValueError(
                f"ColumnLine: the isolation plane names the floor {self.floor!r}, which is not in "
                f"the building; its floors are {', '.join(repr(n) for n in nodes)}"
            )
        if self.on == nodes[-1]:
            raise ValueError(
                f"ColumnLine: the isolation plane stands on {self.on!r}, the topmost floor; "
                "nothing rests on the mounts. It must lie within the building"
            )
        if bare and self.under == nodes[0]:
            raise ValueError(
                f"ColumnLine: the isolation plane is under {self.under!r}, where there is no "
                "slab; give base_slab, or say on instead of under"
            )
        return nodes.index(self.floor), self.on is not None


def line_mass(
    storeys: tuple[Storey, ...],
    slabs: Mapping[FloorName, Slab | Mobility | None],
    node: int,
    *,
    on: bool,
) -> Numeric:
    """Mass of a line from a node (0 is the base) to the roof, `on` without the slab there [kg].

    Raises
    ------
    ValueError
        A slab without a finite mass is among it.
    """
    total: Numeric = 0.0
    for i, (floor, slab) in enumerate(slabs.items()):
        if i > node:
            total = total + storeys[i - 1].column_mass
        if slab is None or i < node or (i == node and on):
            continue
        mass: Numeric | None = getattr(slab, "mass", None)
        if mass is None:
            raise ValueError(
                f"ColumnLine: the slab at floor {floor!r} is {type(slab).__name__}, which has no "
                "finite mass"
            )
        total = total + mass
    return total
