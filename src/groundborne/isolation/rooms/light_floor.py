"""Light floors that float: boards on battens and rubber elements."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.isolation.rooms.sprung_surface import SprungSurface, require_capacity
from groundborne.path import PathElement
from groundborne.structure import BareSlab, plate_bending_stiffness
from groundborne.structure.element import GRAVITY
from groundborne.structure.plate import PLATE_THEORY

_CLAMPED = (4.730041 / np.pi) ** 2  # first frequency of a clamped strip over a hinged one
LAYERED_BOARDS = Citation(
    key="layered-boards",
    author="groundborne",
    title="boards that slide on each other: bending stiffnesses add, at a joint all but one carry",
    mark="derived",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True)
class Board:
    """One layer of boards: plywood, chipboard, gypsum, cement board.

    Parameters
    ----------
    thickness : float
        [m], above 0.
    density : float
        [kg/m³], above 0.
    youngs_modulus : float
        Dynamic modulus in bending, in the weaker direction [Pa], above 0.
    poisson : float
        Poisson's ratio.

    Examples
    --------
    >>> round(Board(thickness=0.018, density=700.0, youngs_modulus=6e9).mass_per_area, 1)
    12.6
    """

    thickness: float
    density: float
    youngs_modulus: float
    poisson: float = 0.3

    def __post_init__(self) -> None:
        positive("Board", "thickness", self.thickness, "m")
        positive("Board", "density", self.density, "kg/m³")
        positive("Board", "youngs_modulus", self.youngs_modulus, "Pa")
        within("Board", "thickness", self.thickness, 1e-4, 1.0, "m")
        within("Board", "poisson", self.poisson, 0.0, 0.499, "")

    @property
    def mass_per_area(self) -> float:
        """[kg/m²]."""
        return self.thickness * self.density

    @property
    def bending_stiffness(self) -> float:
        """B′ [N m]."""
        stiffness = plate_bending_stiffness(
            youngs_modulus=self.youngs_modulus, thickness=self.thickness, poisson=self.poisson
        )
        return float(stiffness)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class LightFloor(SprungSurface):
    """Layers of boards on battens on rubber elements, where a building carries no concrete.

    Parameters
    ----------
    boards : tuple of Board
        Layers, one or more; they are taken to slide on each other.
    batten_mass : float or DataArray
        Of the battens [kg/m], 0 or more.
    batten_height : float or DataArray
        [m], 0 or more; 0 where boards lie on the elements.
    batten_spacing, element_spacing : float or DataArray
        Between battens, and between elements along a batten [m], above 0.
    element_stiffness : float or DataArray
        Dynamic stiffness of one element at its load [N/m], above 0.
    element_loss_factor : float or DataArray
        Hysteretic loss factor [-], above 0 and at most 1.
    air_gap : float or DataArray
        Mean depth of the air under the boards, less what the battens fill [m], above 0.
    air_state : str
        As for :func:`~groundborne.isolation.air_stiffness`; sealed unless shown otherwise.
    element_height : float or DataArray
        Of the elements under load [m], above 0.
    superimposed_mass : float or DataArray
        Floor covering and what stands on the floor for good [kg/m²].
    imposed_load : float or DataArray
        Largest load besides [N/m²]; it counts for the elements' capacity.
    element_capacity : float or DataArray, optional
        Most an element may carry [N].
    joints_staggered : bool
        Joints of one layer lie away from those of the next.
    dynamic_to_static : float or DataArray
        Dynamic over static stiffness of the elements [-], 1 to 5.
    batten_stiffness : float or DataArray
        Bending stiffness E I of one batten [N m²], 0 or more; jointed battens have none.
    battens_along_span : bool
        On a one-way slab the battens run with its span and bend with it; else they lie across, and
        only the boards do.

    Raises
    ------
    ValueError
        A parameter out of bounds, no board, or elements that are overloaded.

    Notes
    -----
    A light floor over a shallow gap is an air spring: elements of 10 Hz under 50 kg/m² with 50 mm
    of air give 34 to 39 Hz.

    It belongs on light slabs, which it slows down, so that :meth:`treatment` needs the slab. On one
    that stays where it is, :meth:`isolation` says it in so many words.

    References
    ----------
    Springs in parallel, gas law, layers in bending [derived].

    Examples
    --------
    >>> ply = Board(thickness=0.018, density=700.0, youngs_modulus=6e9)
    >>> gypsum = Board(thickness=0.015, density=1000.0, youngs_modulus=3e9)
    >>> floor = LightFloor(boards=(ply, gypsum, ply), batten_mass=1.5, batten_height=0.05,
    ...                    batten_spacing=0.6, element_spacing=0.6, element_stiffness=60e3,
    ...                    element_loss_factor=0.15, air_gap=0.06, element_height=0.025)
    >>> round(float(floor.mass_per_area), 1), floor.frequencies.round(1).values.tolist()
    (42.7, [38.7, 33.2, 34.6, 9.9])
    >>> round(1e3 * float(floor.build_up))
    126
    """

    boards: tuple[Board, ...]
    batten_mass: Numeric
    batten_height: Numeric
    batten_spacing: Numeric
    element_spacing: Numeric
    element_stiffness: Numeric
    element_loss_factor: Numeric
    air_gap: Numeric
    element_height: Numeric
    air_state: str = "sealed"
    superimposed_mass: Numeric = 0.0
    imposed_load: Numeric = 0.0
    element_capacity: Numeric | None = None
    joints_staggered: bool = True
    dynamic_to_static: Numeric = 1.0
    batten_stiffness: Numeric = 0.0
    battens_along_span: bool = False

    def __post_init__(self) -> None:
        where = "LightFloor"
        if not self.boards or not all(isinstance(board, Board) for board in self.boards):
            raise ValueError(f"{where}: boards is {self.boards!r}; a tuple of Board is needed")
        units = {
            "batten_spacing": "m", "element_spacing": "m", "element_stiffness": "N/m",
            "element_loss_factor": "", "element_height": "m",
        }  # fmt: skip
        for name, unit in units.items():
            positive(where, name, getattr(self, name), unit)
        within(where, "element_loss_factor", self.element_loss_factor, 0.0, 1.0, "")
        within(where, "dynamic_to_static", self.dynamic_to_static, 1.0, 5.0, "")
        units = {
            "batten_mass": "kg/m", "batten_height": "m", "superimposed_mass": "kg/m²",
            "imposed_load": "N/m²", "batten_stiffness": "N m²",
        }  # fmt: skip
        for name, unit in units.items():
            not_negative(where, name, getattr(self, name), unit)
        self._check_air("air_gap")
        room = self.element_height + self.batten_height
        if np.any(np.asarray(self.air_gap - room) > 1e-9):
            raise ValueError(
                f"{where}: air_gap is deeper than elements and battens together, "
                f"{float(np.min(np.asarray(room))):g} m; there is no more room for air"
            )
        require_capacity(
            where,
            support="element",
            load=self.largest_element_load,
            capacity=self.element_capacity,
            remedy="set them closer, or take an element for that load",
        )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (*self._own_citations(), LAYERED_BOARDS, PLATE_THEORY)

    @property
    def in_words(self) -> str:
        """What it is."""
        return "light floor on battens"

    @property
    def air(self) -> tuple[Numeric, str]:
        """Depth [m] and state of the air."""
        return self.air_gap, self.air_state

    def _support_loss_factor(self) -> Numeric:
        return self.element_loss_factor

    def treatment(self, *, slab: BareSlab | None, largest_loss: Numeric) -> PathElement:
        """Path element of the floor on the slab that carries it, which must be given.

        Parameters
        ----------
        slab : BareSlab
            The bare slab.
        largest_loss : float or DataArray
            Most it may give in any band [dB].

        Raises
        ------
        ValueError
            There is no slab: a light floor is laid where the building is light, and on a slab of
            its own weight it moves up to 15 dB differently than on a heavy one.
        """
        if slab is None:
            raise ValueError(
                "LightFloor.treatment: slab is missing; give the slab under the floor, a FlatSlab, "
                "an EdgeSupportedSlab or a OneWaySlab, or take isolation() if the slab is many "
                "times heavier"
            )
        return self.on_slab(slab=slab, largest_loss=largest_loss)

    def _layer_bending_stiffness(self) -> Numeric:
        return self.bending_stiffness

    def _span_bending_stiffness(self) -> Numeric | None:
        if not self.battens_along_span:
            return None
        return self.bending_stiffness + self.batten_stiffness / self.batten_spacing

    @property
    def mass_per_area(self) -> Numeric:
        """Boards, battens and superimposed mass [kg/m²]."""
        boards = sum(board.mass_per_area for board in self.boards)
        return boards + self.batten_mass / self.batten_spacing + self.superimposed_mass

    @property
    def support_stiffness_per_area(self) -> Numeric:
        """Dynamic stiffness of the elements [N/m³]."""
        return self.element_stiffness / (self.batten_spacing * self.element_spacing)

    @property
    def build_up(self) -> Numeric:
        """Elements, battens and boards [m]."""
        boards = sum(board.thickness for board in self.boards)
        return self.element_height + self.batten_height + boards

    @property
    def element_load(self) -> Numeric:
        """What an interior element carries of what moves with the floor [N]."""
        return self.mass_per_area * GRAVITY * self.batten_spacing * self.element_spacing

    @property
    def largest_element_load(self) -> Numeric:
        """The same with the imposed load [N]."""
        return self.element_load + self.imposed_load * self.batten_spacing * self.element_spacing

    @property
    def static_deflection(self) -> Numeric:
        """Of an interior element under :attr:`element_load` [m]."""
        return self.element_load * self.dynamic_to_static / self.element_stiffness

    @property
    def bending_stiffness(self) -> float:
        """B′ of the layers away from joints [N m]."""
        return float(sum(board.bending_stiffness for board in self.boards))

    @property
    def joint_bending_stiffness(self) -> float:
        """B′ that is left at the worst joint [N m]: none where joints lie above each other."""
        if not self.joints_staggered:
            return 0.0
        return self.bending_stiffness - max(board.bending_stiffness for board in self.boards)

    @property
    def panel_frequency(self) -> Numeric:
        """Bending of the boards between battens that do not move, ``π √(B′/m″)/(2 b²)`` [Hz]."""
        boards = reduce(lambda total, board: total + board.mass_per_area, self.boards, 0.0)
        moving = boards + self.superimposed_mass
        root = np.sqrt(self.bending_stiffness / moving)
        frequency: Numeric = np.pi / 2 * root / self.batten_spacing**2
        return frequency

    @property
    def stiff_up_to(self) -> Numeric:
        """Resonance of the boards between battens that move alike [Hz].

        ``(4.730/π)²`` = 2.27 times :attr:`panel_frequency`: alike battens hold the boards from
        turning. A periodic plate on battens on elements follows the mass on springs to about
        1 dB up to three quarters of it; from there on boards move more than their battens, by 8 dB
        for 18 mm of plywood on 600 mm at 250 Hz.
        """
        return _CLAMPED * self.panel_frequency

    @property
    def notes(self) -> tuple[str, ...]:
        """What a drawing should say about joints and air."""
        if self.joints_staggered and len(self.boards) > 1:
            share = 100 * self.joint_bending_stiffness / self.bending_stiffness
            joints = f"joints staggered from layer to layer: {share:.0f} % of the bending stiffness"
            joints += " is left at the worst joint"
        else:
            joints = "no bending stiffness is left at the joints: they must lie on battens"
        ratio = np.max(np.asarray(self.natural_frequency / self.vented_frequency))
        air = f"air {self.air_state}: it raises the natural frequency up to {ratio:.1f} times"
        return (joints, air)
