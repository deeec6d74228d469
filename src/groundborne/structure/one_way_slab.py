"""Floors that span one way: joists with boarding, hollow blocks, composite decks, planks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.structure import reverberant, thin_slab
from groundborne.structure.double_strip import DoubleStrip
from groundborne.structure.floating import FloatingFloor

ONE_WAY = Citation(
    key="one-way-floor",
    author="groundborne",
    title="beam strip between supports that move alike, all modes in closed form",
    mark="derived",
    status="transcribed",
)
_DIRECTIONS = 720  # of the mean over directions; relative error below 1e-6 for stiffnesses 1:1e4


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class OneWaySlab:
    """A floor that spans between two supports (walls, beams, joist hangers) that move alike.

    Parameters
    ----------
    span_x : float or DataArray
        Span of the joists or ribs [m], above 0.
    span_y : float or DataArray
        Width of the floor along its supports [m], above 0.
    bending_stiffness : float or DataArray
        Along the span, per metre of width [N m], above 0: ``E I/spacing`` of the joists, with the
        boarding where it is glued or cast to them.
    cross_stiffness : float or DataArray
        Across the span, per metre [N m], above 0: that of the boarding or topping alone.
    own_mass : float or DataArray
        Joists and boarding [kg/m²], above 0.
    loss_factor : float or DataArray
        Hysteretic loss factor η [-], above 0 and at most 1; twice the damping ratio.
    superimposed_mass : float or DataArray
        Finishes, partitions and the share of imposed load that moves [kg/m²].
    panel_share : float or DataArray
        Panels carried by the column or wall line this floor is attached to.
    floating_floor : FloatingFloor, optional
        Carried by the floor; one that bends lies with free ends, over the whole span.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    A strip of the floor is a beam with both ends moving by v and free to turn:
    ``v(ξ)/v = ½ [cos κξ/cos(κl/2) + cosh κξ/cosh(κl/2)]`` from mid-span, ``κ⁴ = ω² m″/(D (1+jη))``.
    So mid-span moves by ``½ (sec + sech)(κl/2)`` and the load on the supports is
    ``Z = jω M (tan + tanh)(κl/2)/(κl)``. Edges along the span are taken as free; the floor then
    moves alike over its width. Partitions, strutting and the walls' own bending are not in it:
    against published means of timber floors (E DIN 45672-3:2023, Table A.6 [seen second-hand]) the
    peak is right with a damping ratio of 0.03 [fitted to that peak] and the bands beside it are up
    to 12 dB too low (bias -6.3, rms 7.1 dB), so that tables give levels
    (:func:`~groundborne.propagation.edin_ground_to_floor`) and this gives frequencies, loads and
    the effect of treatments. The balance of power that lines with phases take above the first
    resonance mends the upper half (bias -3.6, rms 4.3 dB) by a loss factor fitted to concrete
    floors.

    References
    ----------
    Derived from beam theory.

    Examples
    --------
    >>> floor = OneWaySlab(span_x=4.2, span_y=5.0, bending_stiffness=1.740e6,
    ...                    cross_stiffness=2662.0, own_mass=45.0, loss_factor=0.06)
    >>> round(float(floor.first_resonance), 2)
    17.51
    """

    span_x: Numeric
    span_y: Numeric
    bending_stiffness: Numeric
    cross_stiffness: Numeric
    own_mass: Numeric
    loss_factor: Numeric
    superimposed_mass: Numeric = 0.0
    panel_share: Numeric = 1.0
    floating_floor: FloatingFloor | None = None

    def __post_init__(self) -> None:
        where = "OneWaySlab"
        within(where, "span_x", self.span_x, 0.1, 100.0, "m")
        within(where, "span_y", self.span_y, 0.1, 1e3, "m")
        positive(where, "bending_stiffness", self.bending_stiffness, "N m")
        positive(where, "cross_stiffness", self.cross_stiffness, "N m")
        positive(where, "own_mass", self.own_mass, "kg/m²")
        positive(where, "loss_factor", self.loss_factor, "")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        not_negative(where, "superimposed_mass", self.superimposed_mass, "kg/m²")
        positive(where, "panel_share", self.panel_share, "of a panel")
        if np.any(np.asarray(self.cross_stiffness > self.bending_stiffness)):
            raise ValueError(
                f"{where}: cross_stiffness is above bending_stiffness; a floor spans along its "
                "stiffer direction. Turn span_x and span_y, or check the units (of joists also "
                "youngs_modulus, height and spacing)"
            )

    @classmethod
    def of_joists(
        cls,
        *,
        breadth: Numeric,
        depth: Numeric,
        spacing: Numeric,
        youngs_modulus: Numeric,
        density: Numeric,
        board_thickness: Numeric,
        board_modulus: Numeric,
        board_density: Numeric,
        **others: Any,
    ) -> OneWaySlab:
        """Timber or steel joists of rectangular section with boards laid on them.

        Parameters
        ----------
        breadth, depth : float or DataArray
            Section of a joist [m].
        spacing : float or DataArray
            Of joists, centre to centre [m], at least their breadth.
        youngs_modulus, density : float or DataArray
            Of the joists [Pa], [kg/m³].
        board_thickness, board_modulus, board_density : float or DataArray
            Of the boarding [m], [Pa], [kg/m³]; nailed boards do not stiffen the joists.
        **others
            ``span_x``, ``span_y``, ``loss_factor`` and what else the class takes.

        Returns
        -------
        OneWaySlab
            ``D = E b h³/(12 s)`` along, ``E t³/12`` across.

        Raises
        ------
        ValueError
            A size that is not above 0, or joists closer than they are broad.

        Examples
        --------
        >>> floor = OneWaySlab.of_joists(
        ...     breadth=0.075, depth=0.225, spacing=0.45, youngs_modulus=11e9, density=450.0,
        ...     board_thickness=0.022, board_modulus=3e9, board_density=650.0, span_x=4.2,
        ...     span_y=5.0, loss_factor=0.06)
        >>> round(floor.bending_stiffness), round(floor.cross_stiffness), round(floor.own_mass, 1)
        (1740234, 2662, 31.2)
        """
        where = "OneWaySlab.of_joists"
        for name, value, unit in (
            ("breadth", breadth, "m"), ("depth", depth, "m"), ("spacing", spacing, "m"),
            ("youngs_modulus", youngs_modulus, "Pa"), ("density", density, "kg/m³"),
            ("board_thickness", board_thickness, "m"), ("board_modulus", board_modulus, "Pa"),
            ("board_density", board_density, "kg/m³"),
        ):  # fmt: skip
            positive(where, name, value, unit)
        if np.any(np.asarray(breadth > spacing)):
            raise ValueError(f"{where}: breadth is above spacing; joists cannot overlap")
        return cls(
            bending_stiffness=youngs_modulus * breadth * depth**3 / (12 * spacing),
            cross_stiffness=board_modulus * board_thickness**3 / 12,
            own_mass=density * breadth * depth / spacing + board_density * board_thickness,
            **others,
        )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        floor = self.floating_floor
        return (ONE_WAY, *(() if floor is None else floor.citations))

    @property
    def loss_factor_floor(self) -> float:
        """Smaller loss factor of this floor and the floating one."""
        return thin_slab.loss_factor_floor(self)

    @property
    def mass_per_area(self) -> Numeric:
        """Own and superimposed mass, without a floating floor [kg/m²]."""
        return self.own_mass + self.superimposed_mass

    @property
    def mass(self) -> Numeric:
        """Mass on the supports, with a floating floor [kg]."""
        return thin_slab.mass(self)

    @property
    def first_resonance(self) -> Numeric:
        """First resonance with the supports at rest, without a floating floor [Hz].

        ``π/(2 l²) √(D/m″)``, as EN 1995-1-1, eq. 7.5, has it [seen second-hand].
        """
        frequency: Numeric = (
            np.pi / 2 / self.span_x**2 * np.sqrt(self.bending_stiffness / self.mass_per_area)
        )
        return frequency

    def natural_frequency(
        self, along: int, across: int, *, torsional_stiffness: Numeric | None = None
    ) -> Numeric:
        """Natural frequency with all four edges supported [Hz].

        Parameters
        ----------
        along, across : int
            Half waves along and across the span, 1 or more.
        torsional_stiffness : float or DataArray, optional
            H [N m]; :attr:`cross_stiffness` where None.

        Returns
        -------
        float or DataArray
            ``(π/2) √{[D_x (m/a)⁴ + 2H (mn/ab)² + D_y (n/b)⁴]/m″}``.

        Raises
        ------
        ValueError
            Half waves below 1.
        """
        for name, value in (("along", along), ("across", across)):
            within("OneWaySlab.natural_frequency", name, value, 1, 1000, "")
        torsion = self.cross_stiffness if torsional_stiffness is None else torsional_stiffness
        m, n = along / self.span_x, across / self.span_y
        stiffness = (
            self.bending_stiffness * m**4 + 2 * torsion * (m * n) ** 2 + self.cross_stiffness * n**4
        )
        frequency: Numeric = np.pi / 2 * np.sqrt(stiffness / self.mass_per_area)
        return frequency

    def point_mobility(self, *, torsional_stiffness: Numeric | None = None) -> Numeric:
        """Mobility at a point far from the supports, as of an endless floor [m/(N s)].

        Parameters
        ----------
        torsional_stiffness : float or DataArray, optional
            H [N m]; :attr:`cross_stiffness` where None.

        Returns
        -------
        float or DataArray
            ``(1/2π) ∫ dφ/{8 √[m″ D(φ)]}``, ``D(φ) = D_x cos⁴ + 2H cos² sin² + D_y sin⁴``; real.
            Over a joist at low frequency fewer joists share: an upper bound there, ±4 dB (common
            practice).
        """
        torsion = self.cross_stiffness if torsional_stiffness is None else torsional_stiffness
        angle = (np.arange(_DIRECTIONS) + 0.5) * (np.pi / 2 / _DIRECTIONS)
        phi = xr.DataArray(angle, dims="direction")
        cos, sin = np.cos(phi) ** 2, np.sin(phi) ** 2
        stiffness = (
            self.bending_stiffness * cos**2
            + 2 * torsion * cos * sin
            + self.cross_stiffness * sin**2
        )
        each = xr.DataArray((self.mass_per_area * stiffness) ** -0.5 / 8)
        mean = each.mean("direction")
        mobility: Numeric = mean if mean.ndim else float(mean)
        return mobility

    def _strip(self, frequency: xr.DataArray) -> DoubleStrip | None:
        """Two beams on each other, where a floor on it bends."""
        floor = self.floating_floor
        bends = floor is not None and floor.bends
        return DoubleStrip.of(self, frequency) if bends else None

    def _half_wave(self, frequency: xr.DataArray) -> xr.DataArray:
        """``κ l/2`` with the mass of a floating floor in it, complex [-]."""
        half: xr.DataArray = thin_slab.wavenumber4(self, frequency) ** 0.25 * self.span_x / 2
        return half

    def impedance(self, frequency: Frequency) -> xr.DataArray:
        """Force on both supports together over their velocity [N s/m]."""
        area = self.span_x * self.span_y * self.panel_share
        strip = self._strip(frequency)
        if strip is None:
            half = self._half_wave(frequency)
            mean = (np.tan(half) + np.tanh(half)) / (2 * half)
            moved = thin_slab.effective_mass(self, frequency) * mean
        else:
            assert self.floating_floor is not None
            on_top = self.floating_floor.mass_per_area * strip.mean(on_layer=True)
            moved = self.mass_per_area * strip.mean(on_layer=False) + on_top
        impedance: xr.DataArray = 2j * np.pi * frequency * area * moved
        return impedance

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility of the supports together [m/(N s)]."""
        return 1 / self.impedance(frequency)

    def mean_velocity_ratio(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Surface mean of the absolute velocity over that of the supports, complex [-]."""
        strip = self._strip(frequency)
        if strip is not None:
            return strip.mean(on_layer=on_floating_floor)
        half = self._half_wave(frequency)
        bare = (np.tan(half) + np.tanh(half)) / (2 * half)
        ratio: xr.DataArray = bare * thin_slab.top_ratio(self, frequency, on_floating_floor)
        return ratio

    def reverberant_ratio(self, frequency: Frequency) -> xr.DataArray:
        """Mean square over that of the supports by the balance of power, see ``ColumnLine`` [-]."""
        return reverberant.of_edges(self, frequency, supported=2 / self.span_x)

    def mid_panel_ratio(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Velocity at mid-span over that of the supports, complex [-]."""
        strip = self._strip(frequency)
        if strip is not None:
            return strip.middle(on_layer=on_floating_floor)
        half = self._half_wave(frequency)
        bare = (1 / np.cos(half) + 1 / np.cosh(half)) / 2
        ratio: xr.DataArray = bare * thin_slab.top_ratio(self, frequency, on_floating_floor)
        return ratio

    def surface_mean_square_ratio(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Surface mean square of the absolute velocity over that of the supports squared [-]."""
        strip = self._strip(frequency)
        if strip is not None:
            return strip.mean_square(on_layer=on_floating_floor)
        top = abs(thin_slab.top_ratio(self, frequency, on_floating_floor)) ** 2
        found: xr.DataArray = xr.apply_ufunc(
            _mean_square,
            self._half_wave(frequency),
            dask="parallelized",
            output_dtypes=[float],
            keep_attrs=False,
        )
        ratio: xr.DataArray = found * top
        return ratio


def _mean_square(half: Any) -> Any:
    """Mean of ``|½ [cos px/cos p + cosh px/cosh p]|²`` over x from -1 to 1, in closed form.

    ``cosh px = cos jpx``, and the mean of a product of two cosines is a sum of two sines.
    """
    terms = ((half, np.cos(half)), (1j * half, np.cosh(half)))
    total = 0.0
    for first, at_end in terms:
        for second, other_end in terms:
            other = np.conj(second)
            product = _sinc(first + other) + _sinc(first - other)
            total = total + product / (at_end * np.conj(other_end))
    return np.real(total) / 8


def _sinc(x: Any) -> Any:
    """``sin x/x``, of complex numbers too."""
    return np.sinc(x / np.pi)
