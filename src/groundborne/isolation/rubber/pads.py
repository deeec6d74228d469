"""Pads without plates: plain rubber, and polymer foams whose stiffness depends on the load.

No value here is a certificate. Loads are the structural engineer's; local codes, the maker's tests
and licensed practice govern.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, positive, within
from groundborne.citation import Citation
from groundborne.isolation.distributed import DistributedMount
from groundborne.isolation.rubber.bearing import LaminatedBearing
from groundborne.isolation.rubber.checks import AASHTO, aashto_strain
from groundborne.isolation.rubber.compound import RubberCompound
from groundborne.isolation.rubber.plan import Plan
from groundborne.structure.element import GRAVITY

POLYMER_TABLE = Citation(
    key="polymer-table",
    author="user",
    title="measured curves of a polymer pad: deflection, dynamic stiffness and loss over stress",
    mark="input",
    status="measured",
)
LINEAR_STRAIN = 0.10
"""Strain up to which compression of bonded rubber is near linear [-]."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class PlainPad:
    """One rubber block whose faces are bonded or held by friction.

    Faces that slip make it softer, by more the larger its shape factor; dry concrete usually holds,
    greased or painted steel may not. Its natural frequency follows from the dynamic stiffness.

    Parameters
    ----------
    plan : Plan
        :class:`Rectangle` or :class:`Disc`.
    thickness : float or DataArray
        [m], above 0.
    compound : RubberCompound
        The rubber.

    Raises
    ------
    ValueError
        A thickness that is not above 0.

    References
    ----------
    Gent and Lindley [seen]; strain after AASHTO [seen second-hand].

    Examples
    --------
    >>> from groundborne.isolation.rubber.plan import Rectangle
    >>> pad = PlainPad(plan=Rectangle(plan_x=0.2, plan_y=0.2), thickness=0.05,
    ...                compound=RubberCompound.from_hardness(50.0))
    >>> pad.shape_factor, round(float(pad.natural_frequency(20e3)), 1)
    (1.0, 8.3)
    """

    plan: Plan
    thickness: Numeric
    compound: RubberCompound

    def __post_init__(self) -> None:
        positive("PlainPad", "thickness", self.thickness, "m")

    @property
    def _block(self) -> LaminatedBearing:
        return LaminatedBearing(
            plan=self.plan, layer_thickness=self.thickness, layers=1.0, compound=self.compound
        )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of formulas and compound."""
        return (*self._block.citations, AASHTO)

    @property
    def shape_factor(self) -> Numeric:
        """Loaded over force-free area [-]."""
        return self._block.shape_factor

    @property
    def own_mass(self) -> Numeric:
        """Mass of the rubber [kg]."""
        return self._block.own_mass

    @property
    def static_stiffness(self) -> Numeric:
        """Vertical [N/m]."""
        return self._block.static_stiffness

    @property
    def dynamic_stiffness(self) -> Numeric:
        """Vertical, at the small strain of trains [N/m]."""
        return self._block.dynamic_stiffness

    @property
    def shear_stiffness(self) -> Numeric:
        """Static [N/m]."""
        return self._block.shear_stiffness

    @property
    def internal_frequency(self) -> Numeric:
        """First wave mode, both faces held [Hz]; 100 to 300 Hz for thick soft blocks."""
        return self._block.internal_frequency

    def strain(self, load: Numeric) -> Numeric:
        """Compressive strain under a load [N], before creep, ``σ/[3 G (1 + 2 k S²)]`` [-]."""
        return aashto_strain(
            stress=self._block.compressive_stress(load),
            shear_modulus=self.compound.shear_modulus,
            shape_factor=self.shape_factor,
            shape_constant=self.compound.shape_constant,
        )

    def is_linear(self, load: Numeric) -> Numeric:
        """Whether the shortening under a load [N] stays within a tenth of the thickness."""
        linear: Numeric = self.static_deflection(load) <= LINEAR_STRAIN * self.thickness
        return linear

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening under a load [N] at its static stiffness, before creep [m]."""
        return self._block.static_deflection(load)

    def natural_frequency(self, load: Numeric) -> Numeric:
        """With a rigid mass of this weight [N] on rigid ground, from the dynamic stiffness [Hz]."""
        return self._block.natural_frequency(load)

    def mount(self, *, count: Numeric = 1.0) -> DistributedMount:
        """Dynamic model with own mass; linear, so check :meth:`is_linear`.

        Parameters
        ----------
        count : float or DataArray
            Number of pads side by side, above 0.
        """
        return self._block.mount(count=count)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class PolymerPad:
    """A foam or polymer pad known by measured curves over its permanent stress.

    Such pads are compressible: little depends on their shape, much on the load. The natural
    frequency over stress is a shallow U with its least value near the rated stress; one number for
    the frequency would be wrong.

    Parameters
    ----------
    area, thickness : float or DataArray
        [m²] and [m], above 0.
    stress : tuple of float
        Permanent stress of the table rows [Pa], rising, at least 3.
    deflection : tuple of float
        Static shortening at each [m], rising and below the thickness.
    dynamic_stiffness_per_area : tuple of float
        At each [N/m³], above 0: small amplitude, near the natural frequency.
    loss_factor : tuple of float
        At each [-], 0 to 1.
    density : float or DataArray
        [kg/m³], above 0.

    Raises
    ------
    ValueError
        A table that is ragged, not rising, or out of bounds.

    Notes
    -----
    Between rows a monotone cubic is laid (no overshoot); outside the table values are refused.

    References
    ----------
    The user's measured table.

    Examples
    --------
    >>> pad = PolymerPad(area=0.04, thickness=0.025, stress=(1e5, 2e5, 4e5),
    ...                  deflection=(0.0012, 0.0027, 0.0055), density=500.0,
    ...                  dynamic_stiffness_per_area=(2.0e8, 2.2e8, 4.0e8),
    ...                  loss_factor=(0.10, 0.10, 0.12))
    >>> round(float(pad.natural_frequency(8e3)), 1)
    16.5
    """

    area: Numeric
    thickness: Numeric
    stress: tuple[float, ...]
    deflection: tuple[float, ...]
    dynamic_stiffness_per_area: tuple[float, ...]
    loss_factor: tuple[float, ...]
    density: Numeric

    def __post_init__(self) -> None:
        where = "PolymerPad"
        positive(where, "area", self.area, "m²")
        positive(where, "thickness", self.thickness, "m")
        positive(where, "density", self.density, "kg/m³")
        columns = {
            "stress": ("Pa", self.stress),
            "deflection": ("m", self.deflection),
            "dynamic_stiffness_per_area": ("N/m³", self.dynamic_stiffness_per_area),
        }
        for name, (unit, column) in columns.items():
            positive(where, name, np.asarray(column, float), unit)
        within(where, "loss_factor", np.asarray(self.loss_factor, float), 0.0, 1.0, "")
        lengths = {len(column) for _, column in columns.values()} | {len(self.loss_factor)}
        if len(lengths) != 1 or min(lengths) < 3:
            raise ValueError(
                f"{where}: {', '.join(columns)} and loss_factor hold {sorted(lengths)} rows; all "
                "need the same number, at least 3"
            )
        for name in ("stress", "deflection"):
            if np.any(np.diff(getattr(self, name)) <= 0):
                raise ValueError(f"{where}: {name} must rise from row to row")
        if np.any(np.asarray(self.thickness) <= self.deflection[-1]):
            raise ValueError(f"{where}: the largest deflection reaches the thickness")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """The table."""
        return (POLYMER_TABLE,)

    @property
    def own_mass(self) -> Numeric:
        """Mass of the pad [kg]."""
        return self.density * self.area * self.thickness

    def _read(self, column: tuple[float, ...], load: Numeric) -> Numeric:
        from scipy.interpolate import PchipInterpolator

        positive("PolymerPad", "load", load, "N")
        stress = load / self.area
        within("PolymerPad", "stress under the load", stress, self.stress[0], self.stress[-1], "Pa")
        curve = PchipInterpolator(self.stress, column, extrapolate=False)
        if isinstance(stress, xr.DataArray):
            read: xr.DataArray = xr.apply_ufunc(
                curve, stress, dask="parallelized", output_dtypes=[float]
            )
            return read
        plain = np.asarray(curve(stress))
        return plain if plain.ndim else float(plain)

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening under a load [N] within the table [m]."""
        return self._read(self.deflection, load)

    def dynamic_stiffness(self, load: Numeric) -> Numeric:
        """At small amplitude under a load [N] within the table [N/m]."""
        return self._read(self.dynamic_stiffness_per_area, load) * self.area

    def loss_factor_under(self, load: Numeric) -> Numeric:
        """Loss factor under a load [N] within the table [-]."""
        return self._read(self.loss_factor, load)

    def natural_frequency(self, load: Numeric) -> Numeric:
        """With a rigid mass of this weight [N] on rigid ground [Hz]."""
        frequency: Numeric = np.sqrt(self.dynamic_stiffness(load) * GRAVITY / load) / (2 * np.pi)
        return frequency

    def mount(self, load: Numeric) -> DistributedMount:
        """Dynamic model at a permanent load [N]; another load needs another one."""
        stiffness = self.dynamic_stiffness(load)
        return DistributedMount(
            stiffness=stiffness,
            mass=self.own_mass,
            loss_factor=self.loss_factor_under(load),
            dynamic_to_static=stiffness * self.static_deflection(load) / load,
        )
