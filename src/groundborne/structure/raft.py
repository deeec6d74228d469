"""A raft that bends on its soil: what one column moves, and how far along the raft it reaches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.structure import lattice, panel, thin_slab
from groundborne.structure.element import Mobility
from groundborne.structure.phases import BLOCH, ColumnPhases
from groundborne.structure.plate import INTERIOR_FACTOR, plate_bending_stiffness

RAFT_ON_BED = Citation(
    key="raft-on-bed",
    author="groundborne",
    title="thin plate on a bed of springs and dashpots: one column 8 √(B′s′), a grid of columns by "
    "the sum over the waves it drives",
    mark="derived",
    status="transcribed",
)
UNDER = ("columns", "walls")
"""What stands on a raft: columns of a grid, or walls around its panels."""
_MASSES = ("mass", "cap_mass")
"""Names under which foundations hold a mass of their own."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Raft:
    """A raft on soil that bends between the columns of a regular grid.

    Parameters
    ----------
    soil : Mobility
        The soil under the whole raft without the raft's mass: a
        :class:`~groundborne.structure.RectangularFooting` of its plan, a pile group, or a spring
        and dashpot from the geotechnical engineer.
    area : float or DataArray
        Plan of the whole raft [m²], over which the soil is taken to be spread evenly.
    span_x, span_y : float or DataArray
        Column grid [m], above 0.
    thickness : float or DataArray
        [m], above 0.
    youngs_modulus : float or DataArray
        Dynamic modulus of the concrete [Pa], above 0.
    density : float or DataArray
        Of the concrete [kg/m³], above 0.
    poisson : float or DataArray
        Poisson's ratio, 0 to 0.499.
    loss_factor : float or DataArray
        Hysteretic loss factor η of the raft [-], 0 or more and at most 1.
    superimposed_mass : float or DataArray
        What lies on the raft and moves with it [kg/m²].
    wall_stiffness : float or DataArray
        Bending stiffness per width that basement walls cast with the raft add to it [N m], 0 or
        more; see :func:`basement_wall_stiffness`.
    under : str
        ``columns`` of the grid, or ``walls`` all around its panels.
    panel_share : float or DataArray
        Panels of the raft that belong to the column: 1 for an interior column, 0.5 at an edge, 0.25
        in a corner, as for :class:`~groundborne.structure.FlatSlab`. The bending of the free edge
        is not modelled.

    Raises
    ------
    ValueError
        A parameter out of bounds, or a soil that holds a mass: the raft has its own.

    Notes
    -----
    With the stiffness per area of the soil ``s = jω Z_soil/A``, ``s′ = s − m″ω²`` and
    ``B = B′(1 + jη)``:

    - one column on a wide raft, the others at rest as far as it is concerned:
      ``K = 8 √(B s′)`` (:meth:`driving_point_mobility`);
    - all columns of the grid moving with phases θ: ``K = a b/Σ 1/(s′ + B |k|⁴)`` over all waves
      with these phases (:meth:`lattice_mobility`, used by
      :class:`~groundborne.structure.ColumnLine`). Towards a stiff raft it is ``s′ a b``, the share
      of a rigid one (:class:`~groundborne.structure.SharedFoundation`), for columns in phase;
    - walls around the panels, which move together whatever the phases of columns:
      ``K = s′ a b (1 + z Σ μ/(|k|⁴ − z))`` with ``z = −s′/B``, as an
      :class:`~groundborne.structure.EdgeSupportedSlab`; the raft turns freely along the walls.
    - a wave of wave number k along the ground moves the raft by ``s/(s′ + B k⁴)``
      (:meth:`velocity_in_wave`).

    A column moves the raft within about :meth:`reach`; sharing it out as a rigid one is right only
    where the reach is well above the span. Where ``s′`` is small or negative (the raft's mass on
    its soil resonates) the rigid share has not even the right sign.

    The bed does not couple through the soil: places of a soft raft look softer than they are, by
    some ±3 dB [common practice]. The plate is thin: fair while its bending waves are longer than
    about six thicknesses.

    References
    ----------
    Derived from thin-plate theory and Bloch's theorem; ``s′ → −m″ω²`` gives the impedance
    ``8 √(B′m″)`` of an endless plate.

    Examples
    --------
    >>> from groundborne.structure import SpringFoundation
    >>> soil = SpringFoundation(stiffness=4e7 * 455, loss_factor=0.06, damping=1.2e6 * 455)
    >>> raft = Raft(soil=soil, area=455.0, span_x=6.5, span_y=5.85, thickness=0.5,
    ...             youngs_modulus=33e9, density=2450.0, poisson=0.2, loss_factor=0.05)
    >>> f = xr.DataArray([20.0], dims="frequency")
    >>> stiffness = 2j * np.pi * f / raft.driving_point_mobility(f)
    >>> complex(stiffness.values[0] / 1e9).__format__(".3f")
    '1.386+1.275j'
    >>> raft.reach(f).round(2).values.tolist()
    [1.23]
    """

    soil: Mobility
    area: Numeric
    span_x: Numeric
    span_y: Numeric
    thickness: Numeric
    youngs_modulus: Numeric
    density: Numeric
    poisson: Numeric
    loss_factor: Numeric
    superimposed_mass: Numeric = 0.0
    wall_stiffness: Numeric = 0.0
    under: str = UNDER[0]
    panel_share: Numeric = 1.0

    def __post_init__(self) -> None:
        where = "Raft"
        positive(where, "area", self.area, "m²")
        positive(where, "span_x", self.span_x, "m")
        positive(where, "span_y", self.span_y, "m")
        positive(where, "thickness", self.thickness, "m")
        positive(where, "youngs_modulus", self.youngs_modulus, "Pa")
        positive(where, "density", self.density, "kg/m³")
        within(where, "poisson", self.poisson, 0.0, 0.499, "")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        not_negative(where, "superimposed_mass", self.superimposed_mass, "kg/m²")
        not_negative(where, "wall_stiffness", self.wall_stiffness, "N m")
        known(where, "under", self.under, UNDER)
        positive(where, "panel_share", self.panel_share, "")
        for name in _MASSES:
            if np.any(np.asarray(getattr(self.soil, name, 0.0)) > 0):
                raise ValueError(
                    f"{where}: soil holds a mass ({type(self.soil).__name__}.{name}); the raft has "
                    "its own by thickness and density, so give the soil without one"
                )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the method and of the soil."""
        return tuple(dict.fromkeys((RAFT_ON_BED, BLOCH, *self.soil.citations)))

    @property
    def loss_factor_floor(self) -> float:
        """That of the soil, which damps the raft at all wave lengths that a column can drive."""
        return self.soil.loss_factor_floor

    @property
    def bending_stiffness(self) -> Numeric:
        """B′ of raft and basement walls [N m]."""
        plate = plate_bending_stiffness(
            youngs_modulus=self.youngs_modulus, thickness=self.thickness, poisson=self.poisson
        )
        return plate + self.wall_stiffness

    @property
    def mass_per_area(self) -> Numeric:
        """Raft and what lies on it [kg/m²]."""
        return self.density * self.thickness + self.superimposed_mass

    def soil_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Complex dynamic stiffness s of the soil per area [N/m³]."""
        stiffness: xr.DataArray = (
            2j * np.pi * frequency / (self.soil.driving_point_mobility(frequency) * self.area)
        )
        return stiffness

    def bed_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """``s′ = s − m″ω²``: soil and mass of the raft per area [N/m³]."""
        omega = 2 * np.pi * frequency
        bed: xr.DataArray = self.soil_stiffness(frequency) - omega**2 * self.mass_per_area
        return bed

    def reach(self, frequency: Frequency) -> xr.DataArray:
        """Distance ``|B/s′|^¼`` along the raft to which a column moves it [m]."""
        reach: xr.DataArray = abs(self._bending / self.bed_stiffness(frequency)) ** 0.25
        return reach

    def velocity_in_wave(self, frequency: Frequency, wavenumber: Numeric) -> xr.DataArray:
        """Velocity of the raft without its building over that of a wave along the ground [-].

        Parameters
        ----------
        frequency : DataArray
            Frequencies [Hz], not band labels.
        wavenumber : float or DataArray
            Of the wave along the ground, ``ω`` over its apparent speed [rad/m]; 0 for a long wave.

        Returns
        -------
        xarray.DataArray
            Complex, of a raft without ends: where it averages short waves by its stiffness more
            than its size would let it, it is :class:`~groundborne.propagation.FreeFoundation` that
            knows its size.
        """
        soil = self.soil_stiffness(frequency)
        bent = self._bending * wavenumber**4
        ratio: xr.DataArray = soil / (self.bed_stiffness(frequency) + bent)
        return ratio

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility under one column that moves without regard to the others [m/(N s)].

        Under walls, of all around a panel together.
        """
        if self.under == "walls":
            return self._under_walls(frequency)
        stiffness = INTERIOR_FACTOR * np.sqrt(self._bending * self.bed_stiffness(frequency))
        mobility: xr.DataArray = 2j * np.pi * frequency / (stiffness * self.panel_share)
        return mobility

    def lattice_mobility(self, frequency: Frequency, phases: ColumnPhases) -> xr.DataArray:
        """Mobility under each column of a grid whose columns move with phases [m/(N s)].

        Parameters
        ----------
        frequency : DataArray
            Frequencies [Hz], not band labels.
        phases : ColumnPhases
            How the columns move against each other.

        Returns
        -------
        xarray.DataArray
            Complex; dims ``phase_x`` and ``phase_y``, where there are several phases, before those
            of :meth:`driving_point_mobility`; to which it is equal under walls.
        """
        if self.under == "walls":
            return self._under_walls(frequency)
        theta = phases.theta(frequency, span_x=self.span_x, span_y=self.span_y)
        z = -self.bed_stiffness(frequency) / self._bending
        waves = thin_slab.modal_sum(lattice.lattice_sum, self, z, *theta)
        area = self.span_x * self.span_y * self.panel_share
        mobility: xr.DataArray = 2j * np.pi * frequency / (area * self._bending) * waves
        if phases.kind in ("window", "uniform"):
            mobility = mobility.transpose("phase_x", "phase_y", ...)
        return mobility

    def _under_walls(self, frequency: xr.DataArray) -> xr.DataArray:
        bed = self.bed_stiffness(frequency)
        z = -bed / self._bending
        modes = thin_slab.modal_sum(panel.edges_sum, self, z)
        area = self.span_x * self.span_y * self.panel_share
        mobility: xr.DataArray = 2j * np.pi * frequency / (bed * area * (1 + z * modes))
        return mobility

    @property
    def _bending(self) -> Any:
        return self.bending_stiffness * (1 + 1j * self.loss_factor)


@checked
def basement_wall_stiffness(
    *,
    height: Numeric,
    thickness: Numeric,
    spacing: Numeric,
    raft_thickness: Numeric,
    youngs_modulus: Numeric,
) -> Numeric:
    """Bending stiffness per width that parallel basement walls cast with a raft add to it [N m].

    Parameters
    ----------
    height, thickness : float or DataArray
        Of the walls [m], above 0, without large openings.
    spacing : float or DataArray
        From wall to wall [m].
    raft_thickness : float or DataArray
        Of the raft [m].
    youngs_modulus : float or DataArray
        Of the concrete of both [Pa].

    Returns
    -------
    float or DataArray
        That of T-sections, a wall and its strip of raft, less that of the raft alone.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    For walls in both directions, alike; walls in one direction do not stiffen a raft in the other.
    The slab over the basement stiffens the box further where walls join it, doors soften it.
    Smeared over the width, walls hold for bending waves well longer than their spacing.

    References
    ----------
    Derived from the section of a T-beam.

    Examples
    --------
    >>> walls = basement_wall_stiffness(height=2.5, thickness=0.25, spacing=6.5,
    ...                                 raft_thickness=0.5, youngs_modulus=33e9)
    >>> round(walls / 1e9, 2)
    7.64
    """
    where = "basement_wall_stiffness"
    positive(where, "height", height, "m")
    positive(where, "thickness", thickness, "m")
    positive(where, "spacing", spacing, "m")
    positive(where, "raft_thickness", raft_thickness, "m")
    positive(where, "youngs_modulus", youngs_modulus, "Pa")
    if np.any(np.asarray(thickness >= spacing)):
        raise ValueError(
            f"{where}: the thickness of the walls is not below their spacing, so that nothing is "
            "left between them; the spacing is from wall to wall, above the thickness"
        )
    wall, strip = thickness * height, raft_thickness * spacing
    apart = (height + raft_thickness) / 2
    more = thickness * height**3 / 12 + wall * strip / (wall + strip) * apart**2
    return youngs_modulus * more / spacing
