"""A rigid body on springs and dampers: six modes, and where it goes under a load."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, finite, no_nan, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.structure import rigid_matrices
from groundborne.structure.dampers import Dampers
from groundborne.structure.element import GRAVITY
from groundborne.structure.supports import Supports

HARRIS_SIX_MODES = Citation(
    key="harris-rigid-body",
    author="Harris",
    title="Shock and Vibration Handbook",
    locator="chapter 3, rigid body on resilient supports",
    mark="from memory",
    status="transcribed",
)

RIGID_BODY = Citation(
    key="rigid-body-on-springs",
    author="groundborne",
    title="rigid body on springs: equilibrium, and softening by its own weight",
    mark="derived",
    status="transcribed",
)

_SHORTEST, _FARTHEST = 1e-3, 1e5  # m; no body that stands on springs is smaller or larger
_HEAVIEST = 1e13  # kg; no building

CAUTION = (
    "A check on a rigid body and linear springs, not a design: loads, robustness and stability are "
    "the structural engineer's; local codes and licensed engineers govern."
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class RigidBody:
    """A building taken as one rigid body on springs.

    Parameters
    ----------
    mass : float or DataArray
        [kg], above 0.
    inertia_x, inertia_y, inertia_z : float or DataArray
        Moments of inertia about axes through the centre of mass [kg m²], above 0; see
        :meth:`box`.
    product_xy, product_xz, product_yz : float or DataArray
        Products of inertia ``∫ x y dm`` about the same axes [kg m²].
    centre_x, centre_y, centre_z : float or DataArray
        Centre of mass [m] in the frame of the supports, z upwards.
    supports : Supports
        Springs on ``column``.
    dampers : Dampers, optional
        Viscous dampers on ``damper``. They enter :func:`~groundborne.structure.damped_modes` and
        :func:`~groundborne.structure.frequency_response`, and nothing here.
    gravity_softening : bool
        Whether the weight above the supports lowers the rocking stiffness by ``m g h``, as it
        does; without it the textbook formulas result.

    Raises
    ------
    ValueError
        A parameter out of bounds, moments of inertia no body can have, supports that leave a
        movement free, or a body that topples on its springs.

    Notes
    -----
    Any parameter may carry further dims (option, sample); all results then carry them.
    A building bends: the rocking of a slender frame and the frequencies of its upper storeys are
    not those of a rigid body. Small rotations; supports push and pull.

    References
    ----------
    Harris, Shock and Vibration Handbook, chapter 3 (from memory): ``K = Σ Tᵀ k T``,
    ``det(K − ω² M) = 0``. Softening (derived): vertical forces N of the springs at points z below
    the centre of mass add ``Σ N z`` (negative) to the rocking stiffness about x and y.

    Examples
    --------
    >>> corners = {"column": ["SW", "SE", "NE", "NW"]}
    >>> springs = Supports(
    ...     x=xr.DataArray([-5.0, 5.0, 5.0, -5.0], dims="column", coords=corners),
    ...     y=xr.DataArray([-4.0, -4.0, 4.0, 4.0], dims="column", coords=corners),
    ...     z=0.0, kx=6e7, ky=6e7, kz=9e7)
    >>> body = RigidBody.box(mass=5e5, length_x=12.0, length_y=10.0, length_z=9.0, centre_z=4.5,
    ...                      supports=springs)
    >>> body.modes().natural_frequency.round(2).values.tolist()
    [2.36, 2.63, 4.27, 4.95, 6.5, 6.53]
    """

    mass: Numeric
    inertia_x: Numeric
    inertia_y: Numeric
    inertia_z: Numeric
    product_xy: Numeric = 0.0
    product_xz: Numeric = 0.0
    product_yz: Numeric = 0.0
    centre_x: Numeric = 0.0
    centre_y: Numeric = 0.0
    centre_z: Numeric
    supports: Supports
    dampers: Dampers | None = None
    gravity_softening: bool = True

    def __post_init__(self) -> None:
        where = "RigidBody"
        positive(where, "mass", self.mass, "kg")
        for name in ("inertia_x", "inertia_y", "inertia_z"):
            positive(where, name, getattr(self, name), "kg m²")
        for name in ("product_xy", "product_xz", "product_yz"):
            finite(where, name, getattr(self, name))
        for name in ("centre_x", "centre_y", "centre_z"):
            within(where, name, getattr(self, name), -_FARTHEST, _FARTHEST, "m")
        mass, springs = self._mass_matrix, self._spring_matrix
        rigid_matrices.require_inertia(mass)
        rigid_matrices.require_held(springs, mass)
        if self.gravity_softening:
            rigid_matrices.require_upright(springs, self._stiffness_matrix, mass)

    @classmethod
    def box(
        cls,
        *,
        mass: Numeric,
        length_x: Numeric,
        length_y: Numeric,
        length_z: Numeric,
        **parameters: Any,
    ) -> RigidBody:
        """Body with the moments of inertia of a uniform box, ``Jx = m (ly² + lz²)/12`` and so on.

        Parameters
        ----------
        mass : float or DataArray
            [kg].
        length_x, length_y, length_z : float or DataArray
            Edges [m], above 0.
        **parameters
            The other parameters of the class.
        """
        where = "RigidBody.box"
        for name, value in (("x", length_x), ("y", length_y), ("z", length_z)):
            within(where, f"length_{name}", value, _SHORTEST, _FARTHEST, "m")
        within(where, "mass", mass, 0.0, _HEAVIEST, "kg")
        return cls(
            mass=mass,
            inertia_x=mass * (length_y**2 + length_z**2) / 12,
            inertia_y=mass * (length_x**2 + length_z**2) / 12,
            inertia_z=mass * (length_x**2 + length_y**2) / 12,
            **parameters,
        )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (HARRIS_SIX_MODES, RIGID_BODY)

    @property
    def loss_factor_floor(self) -> float:
        """A body alone has no resonance."""
        return 1.0

    @property
    def weight(self) -> xr.DataArray:
        """Load of its own weight, to be added to others, see :meth:`load`."""
        return self.load(fz=-self.mass * GRAVITY)

    @property
    def mass_matrix(self) -> xr.DataArray:
        """Mass [kg] and inertia [kg m²] about the centre of mass, on ``dof, dof_moved``."""
        return self._mass_matrix.copy()

    @property
    def stiffness_matrix(self) -> xr.DataArray:
        """Load on ``dof`` [N, N m] per movement on ``dof_moved`` of the centre of mass [m, rad]."""
        return self._stiffness_matrix.copy()

    @property
    def damping_matrix(self) -> xr.DataArray:
        """Load on ``dof`` [N, N m] per velocity on ``dof_moved`` of the centre of mass."""
        if self.dampers is None:
            return 0.0 * self._mass_matrix
        return self.dampers.matrix((self.centre_x, self.centre_y, self.centre_z))

    @property
    def spring_matrix(self) -> xr.DataArray:
        """As :attr:`stiffness_matrix`, of the springs alone, without the softening by weight."""
        return self._spring_matrix.copy()

    def modes(self) -> xr.Dataset:
        """Six natural frequencies with their shapes, without dampers.

        Returns
        -------
        xarray.Dataset
            ``natural_frequency`` [Hz] on ``mode`` (1 to 6, rising), ``shape`` on ``mode, dof``
            (``φᵀMφ = 1``), ``participation`` on ``mode, dof``: share of each movement in the
            kinetic energy, its sum 1, and ``mostly``: the movement with the largest share.
        """
        squared, shape = rigid_matrices.modes(self._stiffness_matrix, self._mass_matrix)
        rate: Any = np.sqrt(squared)
        frequency = no_nan("RigidBody.modes", rate / (2 * np.pi))
        frequency.attrs = {"units": "Hz", "long_name": "natural frequency"}
        shape.attrs = {"long_name": "mode shape, mass-normalised"}
        return xr.Dataset(
            {
                "natural_frequency": frequency,
                "shape": shape,
                **rigid_matrices.shares(shape, self._mass_matrix),
            },
            attrs={"citations": citation_texts(self.citations), "caution": CAUTION},
        )

    def centre_of_stiffness(self) -> xr.Dataset:
        """Where a vertical load makes the body sink without tilting.

        Returns
        -------
        xarray.Dataset
            ``x``, ``y`` [m] in the frame of the supports, and ``eccentricity_x``,
            ``eccentricity_y`` [m]: centre of mass less centre of stiffness.
        """
        (x, y, _), (_, _, kz) = self.supports.position, self.supports.stiffness
        x, y = ((kz * at).sum("column") / kz.sum("column") for at in (x, y))
        return xr.Dataset(
            {
                "x": x,
                "y": y,
                "eccentricity_x": self.centre_x - x,
                "eccentricity_y": self.centre_y - y,
            },
            attrs={"units": "m"},
        )

    def load(
        self,
        *,
        fx: Numeric = 0.0,
        fy: Numeric = 0.0,
        fz: Numeric = 0.0,
        mx: Numeric = 0.0,
        my: Numeric = 0.0,
        mz: Numeric = 0.0,
        x: Numeric | None = None,
        y: Numeric | None = None,
        z: Numeric | None = None,
    ) -> xr.DataArray:
        """Force at a point and moment, moved to the centre of mass, on ``dof``; loads may be added.

        Parameters
        ----------
        fx, fy, fz : float or DataArray
            Force [N], z upwards: weight is negative.
        mx, my, mz : float or DataArray
            Moment [N m], right-handed.
        x, y, z : float or DataArray, optional
            Point of the force [m] in the frame of the supports; the centre of mass where left out.
        """
        where = "RigidBody.load"
        given = {"fx": fx, "fy": fy, "fz": fz, "mx": mx, "my": my, "mz": mz}
        for name, value in given.items():
            finite(where, name, value)
        rx, ry, rz = self._arm(where, x=x, y=y, z=z)
        moment = (mx + ry * fz - rz * fy, my + rz * fx - rx * fz, mz + rx * fy - ry * fx)
        return no_nan(where, rigid_matrices.on_dof(fx, fy, fz, *moment))

    def response(self, load: xr.DataArray) -> xr.Dataset:
        """Movement, tilt and reactions under a load at rest.

        Parameters
        ----------
        load : DataArray
            On ``dof``, from :meth:`load` and :attr:`weight`; a support's reaction is only the part
            that this load brings.

        Returns
        -------
        xarray.Dataset
            ``displacement`` on ``dof`` [m, rad] of the centre of mass; ``tilt_x``, ``tilt_y``:
            how much the supports sink per metre along x and y, ``tilt`` their resultant; on
            ``column``: ``deflection`` [m] downwards, ``lateral_x``, ``lateral_y`` [m],
            ``reaction`` [N] upwards on the body, ``reaction_x``, ``reaction_y`` [N];
            ``differential_deflection`` [m]: largest less smallest deflection.

        Raises
        ------
        ValueError
            A load without the six entries of ``dof``.

        Notes
        -----
        A reaction below 0 pulls. Springs that only push lift off instead; that is not followed.
        """
        where = "RigidBody.response"
        rigid_matrices.require_load(where, load)
        moved = rigid_matrices.labelled(rigid_matrices.solved(self._stiffness_matrix, load))
        support = rigid_matrices.movement(moved, *self._arms)
        deflection = -support["z"]
        reaction_x, reaction_y, reaction_z = (
            (-k * support[axis]).assign_attrs(units="N", long_name=f"support reaction, {axis}")
            for k, axis in zip(self.supports.stiffness, "xyz", strict=True)
        )
        no_nan(where, reaction_z)
        tilt_x, tilt_y = moved.sel(dof="ry", drop=True), -moved.sel(dof="rx", drop=True)
        tilt: Any = np.hypot(tilt_x, tilt_y)
        return xr.Dataset(
            {
                "displacement": moved.assign_attrs(long_name="movement of the centre of mass"),
                "tilt_x": tilt_x,
                "tilt_y": tilt_y,
                "tilt": tilt,
                "deflection": deflection.assign_attrs(units="m", long_name="deflection"),
                "lateral_x": support["x"].assign_attrs(units="m"),
                "lateral_y": support["y"].assign_attrs(units="m"),
                "reaction": reaction_z,
                "reaction_x": reaction_x,
                "reaction_y": reaction_y,
                "differential_deflection": deflection.max("column") - deflection.min("column"),
            },
            attrs={"citations": citation_texts(self.citations), "caution": CAUTION},
        )

    def movement_at(
        self,
        displacement: xr.DataArray,
        *,
        x: Numeric | None = None,
        y: Numeric | None = None,
        z: Numeric | None = None,
    ) -> xr.Dataset:
        """Movement of any point of the body [m]: ``x``, ``y`` and ``z`` upwards.

        Parameters
        ----------
        displacement : DataArray
            On ``dof``: of a response, or a mode shape.
        x, y, z : float or DataArray, optional
            The point [m] in the frame of the supports; the centre of mass where left out.
        """
        arm = self._arm("RigidBody.movement_at", x=x, y=y, z=z)
        return xr.Dataset(rigid_matrices.movement(displacement, *arm))

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Vertical mobility of the free body at each column [m/(N s)]: without the springs.

        Off the centre a body gives way more easily than its whole mass: it rocks as well.
        """
        x, y, _ = self._arms
        compliance = rigid_matrices.vertical_acceleration(self._mass_matrix, x, y)
        mobility: xr.DataArray = -1j * compliance / (2 * np.pi * frequency)
        return mobility

    def _arm(self, where: str, **point: Numeric | None) -> tuple[Any, Any, Any]:
        arm: list[Any] = []
        for name, value in point.items():
            if value is not None:
                finite(where, name, value)
            arm.append(0.0 if value is None else value - getattr(self, f"centre_{name}"))
        return arm[0], arm[1], arm[2]

    @cached_property
    def _arms(self) -> tuple[xr.DataArray, xr.DataArray, xr.DataArray]:
        """Supports from the centre of mass [m]."""
        x, y, z = self.supports.position
        return x - self.centre_x, y - self.centre_y, z - self.centre_z

    @cached_property
    def _mass_matrix(self) -> xr.DataArray:
        parts = (self.mass, self.inertia_x, self.inertia_y, self.inertia_z)
        products = (self.product_xy, self.product_xz, self.product_yz)
        return rigid_matrices.of_mass(*parts, *products)

    @cached_property
    def _spring_matrix(self) -> xr.DataArray:
        return rigid_matrices.of_points(self._arms, self.supports.stiffness)

    @cached_property
    def _stiffness_matrix(self) -> xr.DataArray:
        if not self.gravity_softening:
            return self._spring_matrix
        _, _, kz = self.supports.stiffness
        return self._spring_matrix + rigid_matrices.softening(
            self._spring_matrix, self.weight, self._arms, kz
        )
