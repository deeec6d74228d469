"""A rigid body that moves in one plane: two springs are enough to hold it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, no_nan, not_negative, positive
from groundborne.citation import Citation, citation_texts
from groundborne.structure.dampers import Dampers
from groundborne.structure.element import GRAVITY
from groundborne.structure.rigid_body import CAUTION, RIGID_BODY
from groundborne.structure.rigid_matrices import core, eigen, stack
from groundborne.structure.supports import named_columns, on_columns

PLANAR_BODY = Citation(
    key="planar-body-on-springs",
    author="Edwards and Penney",
    title="Elementary differential equations, 2nd edition",
    locator="section 7.4, problem 24: bounce and pitch of a body on two springs",
    mark="seen second-hand",
    status="verified",
)

PLANAR_DOFS = ("x", "z", "ry")
"""Movements of the centre of mass along x and z (upwards) [m] and rotation about y [rad]."""
_HELD = 1e-12


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class PlanarBody:
    """A rigid body on springs that moves in the plane of x and z only.

    For a frame, a strip of a building, or a first look at bounce and rocking. It says nothing of
    the movements out of its plane: three springs that are not in line and
    :class:`~groundborne.structure.RigidBody` are needed for those.

    Parameters
    ----------
    mass : float or DataArray
        [kg], above 0.
    inertia : float or DataArray
        Moment of inertia about the axis y through the centre of mass [kg m²], above 0.
    centre_x, centre_z : float or DataArray
        Centre of mass [m] in the frame of the springs, z upwards.
    x : DataArray
        Position [m] of two or more springs on ``column``, which names them.
    z : float or DataArray
        Height [m] of the points held.
    kx, kz : float or DataArray
        Stiffness along x and z [N/m], 0 or more.
    dampers : Dampers, optional
        Viscous dampers; of them `x`, `z`, `cx` and `cz` count. They enter
        :func:`~groundborne.structure.damped_modes`, and nothing here.
    guided : bool
        The centre of mass cannot move along x, whatever the springs do: bounce and rocking remain.
    gravity_softening : bool
        Whether the weight above the springs lowers the rocking stiffness by ``m g h``.

    Raises
    ------
    ValueError
        A parameter out of bounds, springs that leave a movement of the plane free, or a body that
        topples on them.

    References
    ----------
    Derived as for ``RigidBody``; bounce and pitch: Edwards and Penney [seen second-hand].

    Examples
    --------
    >>> axles = {"column": ["front", "rear"]}
    >>> car = PlanarBody(
    ...     mass=100.0, inertia=1000.0, centre_x=0.0, centre_z=0.0,
    ...     x=xr.DataArray([6.0, -4.0], coords=axles), z=0.0, kx=0.0, kz=2000.0, guided=True)
    >>> (2 * np.pi * car.modes()["natural_frequency"]).round(2).values.tolist()
    [6.13, 10.32]
    """

    mass: Numeric
    inertia: Numeric
    centre_x: Numeric
    centre_z: Numeric
    x: xr.DataArray
    z: Numeric
    kx: Numeric
    kz: Numeric
    dampers: Dampers | None = None
    guided: bool = False
    gravity_softening: bool = True

    def __post_init__(self) -> None:
        where = "PlanarBody"
        positive(where, "mass", self.mass, "kg")
        positive(where, "inertia", self.inertia, "kg m²")
        finite(where, "centre_x", self.centre_x)
        finite(where, "centre_z", self.centre_z)
        x = named_columns(where, "x", self.x).astype(float)
        finite(where, "x", x)
        object.__setattr__(self, "x", x)
        for name in ("z", "kx", "kz"):
            value = getattr(self, name)
            if name != "z":
                not_negative(where, name, value, "N/m")
            object.__setattr__(self, name, on_columns(where, name, value, x.column))
        self._require_held(
            self._springs,
            "leave a movement of the plane free",
            "two springs apart, stiff along z and, unless the body is guided, along x, are the "
            "least that hold it",
        )
        if self.gravity_softening:
            self._require_held(
                self._stiffness,
                "cannot hold the body upright: it topples",
                "its weight so high above the springs (centre_z over z) turns it further than they "
                "turn it back; lower the centre, or take springs stiffer along z or further apart",
            )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (RIGID_BODY, PLANAR_BODY)

    @property
    def mass_matrix(self) -> xr.DataArray:
        """Mass [kg] and inertia [kg m²] on ``dof, dof_moved``."""
        names = list(self.dofs)
        matrix: xr.DataArray = core(
            lambda m: m[..., None] * np.eye(len(names)),
            self._masses.drop_vars("dof"),
            inputs=[["dof"]],
            outputs=[["dof", "dof_moved"]],
        )
        return matrix.assign_coords(dof=names, dof_moved=names)

    @property
    def stiffness_matrix(self) -> xr.DataArray:
        """Load on ``dof`` [N, N m] per movement on ``dof_moved`` of the centre of mass [m, rad]."""
        return self._stiffness.copy()

    @property
    def damping_matrix(self) -> xr.DataArray:
        """Load on ``dof`` [N, N m] per velocity on ``dof_moved`` of the centre of mass."""
        if self.dampers is None:
            return 0.0 * self.mass_matrix
        return self._kept(self.dampers.matrix((self.centre_x, 0.0, self.centre_z)))

    @property
    def dofs(self) -> tuple[str, ...]:
        """The movements: two where the body is guided, else three."""
        return PLANAR_DOFS[1:] if self.guided else PLANAR_DOFS

    @property
    def weight(self) -> xr.DataArray:
        """Load of its own weight, see :meth:`load`."""
        return self.load(fz=-self.mass * GRAVITY)

    def modes(self) -> xr.Dataset:
        """Natural frequencies with their shapes.

        Returns
        -------
        xarray.Dataset
            ``natural_frequency`` [Hz] on ``mode``, rising; ``shape`` on ``mode, dof``
            (``φᵀMφ = 1``); ``participation`` on ``mode, dof``: share of each movement in the
            kinetic energy.
        """
        squared, shape = self._eigen(self._stiffness)
        rate: Any = np.sqrt(squared)
        frequency = no_nan("PlanarBody.modes", rate / (2 * np.pi))
        frequency.attrs = {"units": "Hz", "long_name": "natural frequency"}
        energy = shape**2 * self._masses
        return xr.Dataset(
            {
                "natural_frequency": frequency,
                "shape": shape,
                "participation": energy.transpose(*shape.dims),
            },
            attrs={"citations": citation_texts(self.citations), "caution": CAUTION},
        )

    def load(
        self,
        *,
        fx: Numeric = 0.0,
        fz: Numeric = 0.0,
        my: Numeric = 0.0,
        x: Numeric | None = None,
        z: Numeric | None = None,
    ) -> xr.DataArray:
        """Force at a point and moment, moved to the centre of mass.

        Parameters
        ----------
        fx, fz : float or DataArray
            Force [N], z upwards: weight is negative.
        my : float or DataArray
            Moment about y [N m], right-handed: it turns z towards x.
        x, z : float or DataArray, optional
            Point of the force [m]; the centre of mass where left out.

        Returns
        -------
        xarray.DataArray
            On ``dof``; loads may be added. A guide takes all force along x.
        """
        where = "PlanarBody.load"
        for name, value in {"fx": fx, "fz": fz, "my": my}.items():
            finite(where, name, value)
        arm = {"x": 0.0, "z": 0.0}
        for name, at, centre in (("x", x, self.centre_x), ("z", z, self.centre_z)):
            if at is not None:
                finite(where, name, at)
                arm[name] = at - centre  # type: ignore[assignment]
        parts = (fx, fz, my + arm["z"] * fx - arm["x"] * fz)
        load = core(stack, *parts, inputs=[[]] * 3, outputs=[["dof"]])
        return no_nan(where, self._kept(load.assign_coords(dof=list(PLANAR_DOFS))))

    def response(self, load: xr.DataArray) -> xr.Dataset:
        """Movement and reactions under a load at rest.

        Parameters
        ----------
        load : DataArray
            On ``dof``, from :meth:`load` and :attr:`weight`.

        Returns
        -------
        xarray.Dataset
            ``displacement`` on ``dof`` [m, rad]; on ``column``: ``deflection`` [m] downwards,
            ``reaction`` [N] upwards on the body, ``reaction_x`` [N]; ``tilt``: how much the
            springs sink per metre along x.

        Raises
        ------
        ValueError
            A load that is not on this body's ``dof``.

        Notes
        -----
        A reaction below 0 pulls; springs that only push lift off instead, which is not followed.
        """
        where = "PlanarBody.response"
        if "dof" not in load.coords or tuple(load["dof"].values.tolist()) != self.dofs:
            raise ValueError(
                f"{where}: load must hold {', '.join(self.dofs)} on dim 'dof', in order; build it "
                "with body.load(...)"
            )
        finite(where, "load", load)
        moved = self._solved(self._stiffness, load)
        sinking, aside = self._at_springs(moved)
        reaction, sideways = self._rates[1] * sinking, -self._rates[0] * aside
        return xr.Dataset(
            {
                "displacement": moved.assign_attrs(long_name="movement of the centre of mass"),
                "tilt": moved.sel(dof="ry", drop=True),
                "deflection": sinking.assign_attrs(units="m", long_name="deflection"),
                "reaction": no_nan(where, reaction).assign_attrs(units="N"),
                "reaction_x": sideways.assign_attrs(units="N"),
            },
            attrs={"citations": citation_texts(self.citations), "caution": CAUTION},
        )

    @cached_property
    def _arms(self) -> tuple[xr.DataArray, xr.DataArray]:
        """Springs from the centre of mass [m]."""
        z: Any = self.z
        return self.x - self.centre_x, z - self.centre_z

    @property
    def _rates(self) -> tuple[xr.DataArray, xr.DataArray]:
        """Kx and kz [N/m] on ``column``."""
        kx: Any = self.kx
        kz: Any = self.kz
        return kx, kz

    @cached_property
    def _masses(self) -> xr.DataArray:
        masses = core(stack, self.mass, self.mass, self.inertia, inputs=[[]] * 3, outputs=[["dof"]])
        return self._kept(masses.assign_coords(dof=list(PLANAR_DOFS)))

    @cached_property
    def _springs(self) -> xr.DataArray:
        def summed(x: Any, z: Any, kx: Any, kz: Any) -> Any:
            x, z, kx, kz = np.broadcast_arrays(x, z, kx, kz)
            one, nil = np.ones_like(x), np.zeros_like(x)
            rows = ((kx, stack(one, nil, z)), (kz, stack(nil, one, -x)))
            return sum(np.swapaxes(t * k[..., None], -1, -2) @ t for k, t in rows)

        matrix = core(
            summed,
            *self._arms,
            *self._rates,
            inputs=[["column"]] * 4,
            outputs=[["dof", "dof_moved"]],
        )
        names = list(PLANAR_DOFS)
        return self._kept(matrix.assign_coords(dof=names, dof_moved=names))

    @cached_property
    def _stiffness(self) -> xr.DataArray:
        if not self.gravity_softening:
            return self._springs
        # The springs hold the weight as in the linear solution, as for RigidBody.
        sinking, _ = self._at_springs(self._solved(self._springs, self.weight))
        softening = (self._rates[1] * sinking * self._arms[1]).sum("column")
        turning = xr.DataArray([float(name == "ry") for name in self.dofs], dims="dof")
        other = turning.rename(dof="dof_moved")
        return self._springs + softening * turning * other

    def _kept(self, array: xr.DataArray) -> xr.DataArray:
        names = {d: list(self.dofs) for d in ("dof", "dof_moved") if d in array.dims}
        return array.sel(names)

    def _at_springs(self, moved: xr.DataArray) -> tuple[xr.DataArray, xr.DataArray]:
        """How far the points held sink and move along x [m]."""
        x, z = self._arms
        turn = moved.sel(dof="ry", drop=True)
        aside = 0.0 if self.guided else moved.sel(dof="x", drop=True)
        return turn * x - moved.sel(dof="z", drop=True), aside + turn * z

    def _solved(self, matrix: xr.DataArray, load: xr.DataArray) -> xr.DataArray:
        moved: xr.DataArray = core(
            lambda k, f: np.linalg.solve(k, f[..., None])[..., 0],
            matrix.drop_vars(["dof", "dof_moved"]),
            load.drop_vars("dof"),
            inputs=[["dof_moved", "dof"], ["dof"]],
            outputs=[["dof"]],
        )
        return moved.assign_coords(dof=list(self.dofs))

    def _eigen(self, stiffness: xr.DataArray) -> tuple[xr.DataArray, xr.DataArray]:
        squared, shape = core(
            lambda k, m: eigen(k, m[..., None] * np.eye(len(self.dofs))),
            stiffness.drop_vars(["dof", "dof_moved"]),
            self._masses.drop_vars("dof"),
            inputs=[["dof", "dof_moved"], ["dof"]],
            outputs=[["mode"], ["mode", "dof"]],
        )
        modes = {"mode": np.arange(1, len(self.dofs) + 1)}
        return squared.assign_coords(modes), shape.assign_coords(modes | {"dof": list(self.dofs)})

    def _require_held(self, stiffness: xr.DataArray, what: str, remedy: str) -> None:
        squared, shape = self._eigen(stiffness)
        lowest, highest = squared.isel(mode=0, drop=True), squared.isel(mode=-1, drop=True)
        loose = lowest <= _HELD * highest
        if bool(loose.any()):
            index = np.unravel_index(int(np.argmax(loose.values)), loose.shape)
            at: dict[Any, int] = dict(zip(loose.dims, map(int, index), strict=True))
            worst = abs(shape.isel({"mode": 0} | at).values)
            mostly = self.dofs[int(np.argmax(worst))]
            raise ValueError(f"PlanarBody: the springs {what} (mostly {mostly}); {remedy}")
