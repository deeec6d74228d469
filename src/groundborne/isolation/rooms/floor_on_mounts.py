"""A floating slab as what it is: a plate with free edges on a grid of mounts, with air below.

A slab on mounts moves like a mass on springs only while its bending waves are long. Its free edges
and corners bend first, several decibels more than a mass on springs would move, in single bands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known, not_negative, positive, within
from groundborne.bands import single_frequencies
from groundborne.citation import Citation
from groundborne.isolation.rooms.air import AIR_LOSS_FACTOR, AIR_MODULUS, AIR_SPRING, air_stiffness
from groundborne.isolation.rooms.surface import SurfaceIsolation, beside_the_path
from groundborne.levels import decibel, stamp_change
from groundborne.path import SURFACE, End
from groundborne.structure.plate import PLATE_THEORY

FREE_PLATE = Citation(
    key="free-plate-on-mounts",
    author="groundborne",
    title="plate with free edges on point springs and thin air, in Legendre polynomials",
    mark="derived",
)
_SOUND = 343.0  # m/s, at 20 °C
_MORE = 6  # even polynomials beyond one for each field
_BLOCK = 2**21  # complex numbers that matrices may take at a time
_MOST_FIELDS = 24
_BESIDE = 60.0  # dB, of the path beside a floor, far below what is credited


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FloorOnMounts:
    """A floating slab of finite plan on its mounts, over a base that moves as one.

    Parameters
    ----------
    mass_per_area : float or DataArray
        Of the slab with what stands on it [kg/m²], above 0.
    bending_stiffness : float or DataArray
        B′ [N m], above 0.
    spacing_x, spacing_y : float or DataArray
        Mount grid [m], above 0.
    fields_x, fields_y : int
        Fields of the grid along each side, 1 to 24; the plan is as many spacings long.
    mount_stiffness : float or DataArray
        Dynamic stiffness of a mount that carries one field [N/m], above 0.
    mount_loss_factor : float or DataArray
        Of the mounts [-], above 0 and at most 1.
    rows_at_edges : bool
        Mounts stand at the corners of the fields, those at edges half and in corners a quarter as
        stiff; else in the middle of each field.
    air_gap : float or DataArray
        Depth of the air below [m], above 0.
    air_state : str
        As for :func:`~groundborne.isolation.air_stiffness`.
    bending_loss_factor : float or DataArray
        Of the slab [-], above 0 and at most 1; 0.03 is concrete as built, common practice.
    poisson : float or DataArray
        Poisson's ratio, 0 to 0.499.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    Sealed air flows sideways under the slab: closed in at the edges, its pressure follows the modes
    of a thin cavity, so that well below the first of them it answers to the mean motion only. In a
    porous fill it cannot, and stands as a bed of springs.

    The base drives what is even about both middles; the plate is taken in so many even polynomials
    as there are fields and six more, in each direction. A base that bends by itself is in
    :class:`~groundborne.isolation.FloorOnSlab`, where free edges of the layer are not.

    No largest loss is in it; :class:`~groundborne.isolation.Bypassed` adds what limits a stage.

    References
    ----------
    Derived; thin plate theory.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> floor = FloorOnMounts(mass_per_area=250.0, bending_stiffness=2.604e6, spacing_x=1.8,
    ...                       spacing_y=1.8, fields_x=5, fields_y=4, mount_stiffness=2.0e6,
    ...                       mount_loss_factor=0.1, air_gap=0.05, air_state="vented")
    >>> floor.level_change(third_octaves(31.5, 50)).round(0).values.tolist()
    [-23.0, -22.0, -31.0]
    >>> floor.as_a_mass.level_change(third_octaves(31.5, 50)).round(0).values.tolist()
    [-23.0, -28.0, -32.0]
    """

    mass_per_area: Numeric
    bending_stiffness: Numeric
    spacing_x: Numeric
    spacing_y: Numeric
    fields_x: int
    fields_y: int
    mount_stiffness: Numeric
    mount_loss_factor: Numeric
    air_gap: Numeric
    air_state: str
    rows_at_edges: bool = False
    bending_loss_factor: Numeric = 0.03
    poisson: Numeric = 0.2

    def __post_init__(self) -> None:
        where = "FloorOnMounts"
        units = {
            "mass_per_area": "kg/m²", "bending_stiffness": "N m", "spacing_x": "m",
            "spacing_y": "m", "mount_stiffness": "N/m", "mount_loss_factor": "", "air_gap": "m",
            "bending_loss_factor": "",
        }  # fmt: skip
        for name, unit in units.items():
            positive(where, name, getattr(self, name), unit)
        for name in ("mount_loss_factor", "bending_loss_factor"):
            within(where, name, getattr(self, name), 0.0, 1.0, "")
        for name in ("fields_x", "fields_y"):
            within(where, name, getattr(self, name), 1, _MOST_FIELDS, "fields")
        not_negative(where, "poisson", self.poisson, "")
        within(where, "poisson", self.poisson, 0.0, 0.499, "")
        known(where, "air_state", self.air_state, AIR_MODULUS)

    @property
    def quantity_in(self) -> End:
        """Velocity of the slab below."""
        return SURFACE

    @property
    def quantity_out(self) -> End:
        """Velocity of the floating slab, in the mean square over its surface."""
        return SURFACE

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (FREE_PLATE, PLATE_THEORY, AIR_SPRING)

    @property
    def as_a_mass(self) -> SurfaceIsolation:
        """The same slab without bending, a mass on its mounts and air; a path 60 dB down."""
        bed = self._bed + self._air
        return SurfaceIsolation(
            natural_frequency=np.sqrt(bed.real / self.mass_per_area) / (2 * np.pi),
            loss_factor=bed.imag / bed.real,
            largest_loss=_BESIDE,
        )

    @property
    def _bed(self) -> Any:
        mounts = self.mount_stiffness * (1 + 1j * self.mount_loss_factor)
        return mounts / (self.spacing_x * self.spacing_y)

    @property
    def _air(self) -> Any:
        per_area = air_stiffness(gap=self.air_gap, state=self.air_state)
        return per_area * (1 + 1j * AIR_LOSS_FACTOR[self.air_state])

    def mean_square_ratio(self, frequency: Frequency) -> xr.DataArray:
        """Surface mean square over that of the base, at frequencies in Hz [-]."""
        shapes = _Shapes(self.fields_x, self.fields_y, at_edges=self.rows_at_edges)
        flows = self.air_state == "sealed"
        found: xr.DataArray = xr.apply_ufunc(
            lambda *given: _mean_square(shapes, flows, *given),
            self.bending_stiffness * (1 + 1j * self.bending_loss_factor),
            self.poisson,
            self.spacing_x * self.fields_x,
            self.spacing_y * self.fields_y,
            self._bed,
            self._air,
            self.mass_per_area,
            2 * np.pi * frequency,
            join="exact",
            keep_attrs=False,
            dask="parallelized",
            dask_gufunc_kwargs={"meta": np.empty(0, float)},
        )
        return found

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Band mean of the surface mean square over that of the base [dB]."""
        smallest = min(
            float(np.min(np.asarray(loss)))
            for loss in (self.mount_loss_factor, self.bending_loss_factor)
        )
        f = single_frequencies(frequency, loss_factor=smallest)
        change = decibel(self.mean_square_ratio(f).mean("single_frequency", skipna=False))
        return stamp_change(
            change, long_name="floor on mounts, free edges", citations=self.citations
        )

    def excess(self, frequency: Frequency) -> xr.DataArray:
        """How much less it loses than a mass on the same mounts, with the same path beside [dB]."""
        own = beside_the_path(self.level_change(frequency), largest_loss=_BESIDE)
        more: xr.DataArray = own - self.as_a_mass.level_change(frequency)
        return stamp_change(more, long_name="excess by bending", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere."""
        return xr.ones_like(frequency, dtype=bool)


class _Shapes:
    """What depends on the grid alone: even orthonormal polynomials on a unit square."""

    def __init__(self, fields_x: int, fields_y: int, *, at_edges: bool) -> None:
        along, across = (_Side(n, at_edges=at_edges) for n in (fields_x, fields_y))
        one_x, one_y = np.eye(along.size), np.eye(across.size)
        self.along = np.kron(along.integral[2, 2], one_y)
        self.across = np.kron(one_x, across.integral[2, 2])
        both = np.kron(along.integral[2, 0], across.integral[0, 2])
        self.poisson = both + both.T
        self.twist = 2 * np.kron(along.integral[1, 1], across.integral[1, 1])
        mounts = np.kron(along.mounts, across.mounts)  # of the first kind: all fields weigh 1
        weight = np.kron(along.weight, across.weight)
        self.held = (mounts * weight) @ mounts.T
        self.push = mounts @ weight
        self.cavity = np.kron(along.cavity, across.cavity)
        order_x, order_y = np.meshgrid(along.orders, across.orders, indexing="ij")
        self.order_x, self.order_y = order_x.ravel(), order_y.ravel()


class _Side:
    """One side of a plate: even polynomials, their integrals, values at mounts, cavity modes."""

    def __init__(self, fields: int, *, at_edges: bool) -> None:
        self.size = fields + _MORE
        nodes, weights = np.polynomial.legendre.leggauss(4 * self.size + 8)
        at, weights = (nodes + 1) / 2, weights / 2
        part = [self._values(at, d) for d in range(3)]
        self.integral = {
            (i, j): (part[i] * weights) @ part[j].T for i in range(3) for j in range(3)
        }
        if at_edges:
            where, share = np.arange(fields + 1) / fields, np.ones(fields + 1)
            share[[0, -1]] = 0.5
        else:
            where, share = (np.arange(fields) + 0.5) / fields, np.ones(fields)
        self.mounts, self.weight = self._values(where, 0), share / fields
        self.orders = 2 * np.arange(self.size)
        norm = np.where(self.orders == 0, 1.0, np.sqrt(2.0))
        cosines = np.cos(np.pi * self.orders[:, None] * at) * norm[:, None]
        self.cavity = (part[0] * weights) @ cosines.T

    def _values(self, at: Any, derivative: int) -> Any:
        legendre = np.polynomial.legendre
        found = np.zeros((self.size, at.size))
        for k in range(self.size):
            unit = np.zeros(2 * k + 1)
            unit[-1] = np.sqrt(4 * k + 1)
            found[k] = legendre.legval(2 * at - 1, legendre.legder(unit, derivative))
        return found * 2.0**derivative


def _mean_square(
    shapes: _Shapes,
    flows: bool,
    rigidity: Any,
    poisson: Any,
    length: Any,
    width: Any,
    bed: Any,
    air: Any,
    mass: Any,
    omega: Any,
) -> Any:
    """Mean square of the plate for a unit motion of the base, over broadcast arguments."""
    given = np.broadcast_arrays(rigidity, poisson, length, width, bed, air, mass, omega)
    size = shapes.push.size
    flat = [np.reshape(part, -1) for part in given]
    square = np.empty(flat[0].size)
    step = max(1, _BLOCK // size**2)
    for first in range(0, square.size, step):  # as much at a time as memory holds
        block = slice(first, first + step)
        square[block] = _solved(shapes, flows, *(part[block, None, None] for part in flat))
    return square.reshape(given[0].shape)


def _solved(
    shapes: _Shapes,
    flows: bool,
    rigidity: Any,
    poisson: Any,
    length: Any,
    width: Any,
    bed: Any,
    air: Any,
    mass: Any,
    omega: Any,
) -> Any:
    bending = (
        shapes.along / length**4
        + shapes.across / width**4
        + (poisson * shapes.poisson + (1 - poisson) * shapes.twist) / (length * width) ** 2
    )
    one = np.eye(shapes.push.size)
    dynamic = rigidity * bending + bed * shapes.held - mass * omega**2 * one
    push = bed[..., 0] * shapes.push
    if flows:
        wave = (np.pi * shapes.order_x / length) ** 2 + (np.pi * shapes.order_y / width) ** 2
        # The loss of the air is one of its stiffness, so that its waves lose as well.
        lossy = air / air.real * _SOUND**2 if np.all(air.real > 0) else _SOUND**2
        stiffness = air / (1 - lossy * wave / omega**2)
        dynamic = dynamic + (shapes.cavity * stiffness) @ shapes.cavity.T
        push = push + air[..., 0] * shapes.cavity[:, 0]
    else:
        dynamic = dynamic + air * one
        push = push + air[..., 0] * one[0]
    answer = np.linalg.solve(dynamic, push[..., None])[..., 0]
    return (np.abs(answer) ** 2).sum(-1)
