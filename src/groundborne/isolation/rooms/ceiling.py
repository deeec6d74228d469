"""Ceilings that hang: boards on resilient hangers, with air above."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.isolation.rooms.sprung_surface import SprungSurface, require_capacity
from groundborne.structure.element import GRAVITY

HANGER_SHARE = Citation(
    key="hanger-share",
    author="groundborne",
    title="share of a hanger: one field inside, half and quarter fields and the offset at edges",
    mark="derived",
    status="transcribed",
)
HANGER_GRID = Citation(
    key="hanger-grid-practice",
    author="common practice",
    title="hanger grids: 90 kg/m² on 1.2 m is about 130 kg a hanger",
    mark="common practice",
    status="practice",
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class HungCeiling(SprungSurface):
    """Board layers on a grid of resilient hangers.

    Parameters
    ----------
    board_mass : float or DataArray
        Of all board layers [kg/m²], above 0.
    spacing_x, spacing_y : float or DataArray
        Hanger grid [m], above 0.
    loss_factor : float or DataArray
        Hysteretic loss factor of the hangers [-], above 0 and at most 1.
    cavity_depth : float or DataArray
        Air above the boards [m], above 0.
    hanger_deflection : float or DataArray, optional
        Static deflection of an interior hanger under its load [m]; either this or the stiffness.
    hanger_stiffness : float or DataArray, optional
        Dynamic stiffness of a hanger at its load [N/m].
    dynamic_to_static : float or DataArray
        Dynamic over static stiffness [-], 1 to 5; 1 for steel springs, above 1 for rubber.
    air_state : str
        As for :func:`~groundborne.isolation.air_stiffness`: ``"filled"`` with mineral wool.
    frame_mass : float or DataArray
        Grid, wool and services that hang with the boards [kg/m²].
    board_thickness : float or DataArray
        Of boards and frame below the cavity [m].
    edge_offset : float or DataArray
        From the outer row of hangers to the edge of the ceiling [m]; 0 where the row stands at it.
    hanger_capacity : float or DataArray, optional
        Most a hanger may carry [N].

    Raises
    ------
    ValueError
        A parameter out of bounds, deflection and stiffness both or neither given, or hangers that
        are overloaded.

    Notes
    -----
    Interior ``m″ g a b``; edge rows carry half a field and the offset, corners a quarter field and
    both offsets. With offsets of half a spacing all loads are alike. Where edge hangers carry
    less, hangers of the same stiffness deflect less there and the ceiling hangs out of level:
    softer ones, or other spacings. The fixing into the slab and the fall of a ceiling are a
    licensed engineer's to check.

    References
    ----------
    Derived; 90 kg/m² on 1.2 m, about 130 kg a hanger: common practice.

    Examples
    --------
    >>> ceiling = HungCeiling(board_mass=45.0, frame_mass=5.0, spacing_x=1.2, spacing_y=0.9,
    ...                       hanger_deflection=0.025, loss_factor=0.05, cavity_depth=0.4,
    ...                       air_state="filled")
    >>> ceiling.frequencies.sel(air=["filled", "vented"]).round(1).values.tolist()
    [11.8, 3.2]
    >>> ceiling.hanger_loads.round(0).values.tolist()
    [530.0, 265.0, 265.0, 132.0]
    """

    board_mass: Numeric
    spacing_x: Numeric
    spacing_y: Numeric
    loss_factor: Numeric
    cavity_depth: Numeric
    hanger_deflection: Numeric | None = None
    hanger_stiffness: Numeric | None = None
    dynamic_to_static: Numeric = 1.0
    air_state: str = "sealed"
    frame_mass: Numeric = 0.0
    board_thickness: Numeric = 0.0
    edge_offset: Numeric = 0.0
    hanger_capacity: Numeric | None = None

    def __post_init__(self) -> None:
        where = "HungCeiling"
        for name, unit in {"board_mass": "kg/m²", "spacing_x": "m", "spacing_y": "m",
                           "loss_factor": ""}.items():  # fmt: skip
            positive(where, name, getattr(self, name), unit)
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        within(where, "dynamic_to_static", self.dynamic_to_static, 1.0, 5.0, "")
        for name, unit in {"frame_mass": "kg/m²", "board_thickness": "m",
                           "edge_offset": "m"}.items():  # fmt: skip
            not_negative(where, name, getattr(self, name), unit)
        if (self.hanger_deflection is None) == (self.hanger_stiffness is None):
            raise ValueError(
                f"{where}: give hanger_deflection or hanger_stiffness, and not both: one sets the "
                "other"
            )
        if self.hanger_deflection is not None:
            positive(where, "hanger_deflection", self.hanger_deflection, "m")
        if self.hanger_stiffness is not None:
            positive(where, "hanger_stiffness", self.hanger_stiffness, "N/m")
        self._check_air("cavity_depth")
        require_capacity(
            where,
            support="hanger",
            load=self.hanger_loads.max("hanger"),
            capacity=self.hanger_capacity,
            remedy="a closer grid, or hangers for that load",
        )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (*self._own_citations(), HANGER_SHARE, HANGER_GRID)

    @property
    def in_words(self) -> str:
        """What it is."""
        return "hung ceiling"

    @property
    def air(self) -> tuple[Numeric, str]:
        """Depth [m] and state of the air."""
        return self.cavity_depth, self.air_state

    def _support_loss_factor(self) -> Numeric:
        return self.loss_factor

    @property
    def mass_per_area(self) -> Numeric:
        """Boards and what hangs with them [kg/m²]."""
        return self.board_mass + self.frame_mass

    @property
    def support_stiffness_per_area(self) -> Numeric:
        """Dynamic stiffness of the hangers [N/m³]."""
        if self.hanger_stiffness is not None:
            return self.hanger_stiffness / (self.spacing_x * self.spacing_y)
        assert self.hanger_deflection is not None
        return self.mass_per_area * GRAVITY * self.dynamic_to_static / self.hanger_deflection

    @property
    def hanger_frequency(self) -> Numeric:
        """Of the ceiling on its hangers alone [Hz]."""
        return self.vented_frequency

    @property
    def air_frequency(self) -> Numeric:
        """Of the ceiling on the air alone [Hz]; 0 if vented."""
        frequency: Numeric = np.sqrt(self.air_stiffness_per_area / self.mass_per_area) / (2 * np.pi)
        return frequency

    @property
    def static_deflection(self) -> Numeric:
        """Of an interior hanger [m]."""
        weight = self.mass_per_area * GRAVITY
        return weight * self.dynamic_to_static / self.support_stiffness_per_area

    @property
    def build_up(self) -> Numeric:
        """Cavity, frame and boards [m]."""
        return self.cavity_depth + self.board_thickness

    @property
    def hanger_loads(self) -> xr.DataArray:
        """Load of an interior, edge and corner hanger, on the dimension ``hanger`` [N].

        ``edge x`` stands in the outer row of those along x (half a field in x), ``edge y``
        likewise.
        """
        hanger = ["interior", "edge x", "edge y", "corner"]
        outer_x = xr.DataArray([False, True, False, True], coords={"hanger": hanger})
        outer_y = xr.DataArray([False, False, True, True], coords={"hanger": hanger})
        x = xr.where(outer_x, self.spacing_x / 2 + self.edge_offset, self.spacing_x)
        y = xr.where(outer_y, self.spacing_y / 2 + self.edge_offset, self.spacing_y)
        load: xr.DataArray = x * y * (self.mass_per_area * GRAVITY)
        load.attrs = {"units": "N", "long_name": "hanger load"}
        return load

    @property
    def hanger_masses(self) -> xr.DataArray:
        """The same as masses [kg]."""
        mass: xr.DataArray = self.hanger_loads / GRAVITY
        mass.attrs = {"units": "kg", "long_name": "mass on a hanger"}
        return mass


@checked
def largest_hanger_grid(*, mass_per_area: Numeric, hanger_capacity: Numeric) -> Numeric:
    """Widest square grid on which hangers carry a ceiling.

    Parameters
    ----------
    mass_per_area : float or DataArray
        Of the ceiling with frame and services [kg/m²], above 0.
    hanger_capacity : float or DataArray
        Most a hanger may carry [N], above 0.

    Returns
    -------
    float or DataArray
        Spacing [m]; the frame between hangers and the fixing into the slab may ask for less.

    Raises
    ------
    ValueError
        A parameter that is not above 0.

    References
    ----------
    Share of a hanger [derived]; about 130 kg a hanger for 90 kg/m² on 1.2 m: common practice.

    Examples
    --------
    >>> round(float(largest_hanger_grid(mass_per_area=90.0, hanger_capacity=1275.0)), 2)
    1.2
    """
    where = "largest_hanger_grid"
    positive(where, "mass_per_area", mass_per_area, "kg/m²")
    positive(where, "hanger_capacity", hanger_capacity, "N")
    spacing: Numeric = np.sqrt(hanger_capacity / (mass_per_area * GRAVITY))
    return spacing
