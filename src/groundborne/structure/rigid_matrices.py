"""Matrices and movements of a rigid body on springs, its modes, and what refuses to be one."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import finite

DOFS = ("x", "y", "z", "rx", "ry", "rz")
"""Movements of the centre of mass [m] and rotations about it [rad]; z upwards, right-handed."""

_HELD = 1e-12
"""Smallest over largest squared frequency below which a movement counts as not held."""


def core(function: Any, *arguments: Any, inputs: list[list[str]], outputs: list[list[str]]) -> Any:
    """Apply an array function by dimension name; axes that differ are refused."""
    return xr.apply_ufunc(
        function,
        *(a if isinstance(a, xr.DataArray) else xr.DataArray(a) for a in arguments),
        input_core_dims=inputs,
        output_core_dims=outputs,
        join="exact",
        keep_attrs=False,
    )


def stack(*parts: Any) -> np.ndarray[Any, Any]:
    """Put numbers side by side on a new last axis."""
    return np.stack(np.broadcast_arrays(*parts), axis=-1)


def support_stiffness(x: Any, y: Any, z: Any, kx: Any, ky: Any, kz: Any) -> Any:
    """``Σ Tᵀ k T`` over the last axis, with the movement of each point in the rows of T."""
    one, nil = np.ones_like(x), np.zeros_like(x)
    rows = (
        (kx, stack(one, nil, nil, nil, z, -y)),
        (ky, stack(nil, one, nil, -z, nil, x)),
        (kz, stack(nil, nil, one, y, -x, nil)),
    )
    return sum(np.swapaxes(t * k[..., None], -1, -2) @ t for k, t in rows)


def mass_matrix(mass: Any, jx: Any, jy: Any, jz: Any, pxy: Any, pxz: Any, pyz: Any) -> Any:
    """Mass three times, then the inertia about the centre of mass."""
    nil = 0.0 * (mass + jx + jy + jz + pxy + pxz + pyz)
    diagonal = stack(*(nil + part for part in (mass, mass, mass, jx, jy, jz)))
    matrix = diagonal[..., None] * np.eye(6)
    for (i, j), product in (((3, 4), pxy), ((3, 5), pxz), ((4, 5), pyz)):
        matrix[..., i, j] = matrix[..., j, i] = -product
    return matrix


def eigen(stiffness: Any, mass: Any) -> tuple[Any, Any]:
    """Squared angular frequencies and mass-normalised shapes ``(..., mode, dof)``."""
    root = np.linalg.inv(np.linalg.cholesky(mass))
    values, vectors = np.linalg.eigh(root @ stiffness @ np.swapaxes(root, -1, -2))
    return values, np.swapaxes(vectors, -1, -2) @ root


def labelled(array: xr.DataArray) -> xr.DataArray:
    """Name the movements."""
    names = list(DOFS)
    return array.assign_coords({d: names for d in ("dof", "dof_moved") if d in array.dims})


def on_dof(*parts: Any) -> xr.DataArray:
    """Six numbers, scalars or arrays, on ``dof``."""
    return labelled(core(stack, *parts, inputs=[[]] * 6, outputs=[["dof"]]))


def of_mass(*parts: Any) -> xr.DataArray:
    """:func:`mass_matrix` of seven scalars or arrays, on ``dof, dof_moved``."""
    found = core(mass_matrix, *parts, inputs=[[]] * 7, outputs=[["dof", "dof_moved"]])
    return labelled(found)


def of_points(arms: tuple[Any, ...], rates: tuple[Any, ...], dim: str = "column") -> xr.DataArray:
    """:func:`support_stiffness` of points at arms [m] with three rates each, along a dimension."""
    found = core(
        lambda *a: support_stiffness(*np.broadcast_arrays(*a)),
        *arms,
        *rates,
        inputs=[[dim]] * 6,
        outputs=[["dof", "dof_moved"]],
    )
    return labelled(found)


def movement(u: xr.DataArray, x: Any, y: Any, z: Any) -> dict[str, xr.DataArray]:
    """Movement [m] of a point of the body at an arm [m] from its centre of mass."""
    ux, uy, uz, rx, ry, rz = (u.sel(dof=name, drop=True) for name in DOFS)
    return {
        "x": ux + ry * z - rz * y,
        "y": uy + rz * x - rx * z,
        "z": uz + rx * y - ry * x,
    }


def softening(
    springs: xr.DataArray, weight: xr.DataArray, arms: tuple[Any, Any, Any], kz: Any
) -> xr.DataArray:
    """What the weight on the springs adds to the rocking stiffness; below 0 where it stands above.

    Springs hold the weight as in the linear solution without softening: for supports at one height
    that is exact, as only their sum counts.
    """
    preload = -kz * movement(labelled(solved(springs, weight)), *arms)["z"]
    rocking = xr.DataArray(np.diag([0.0, 0.0, 0.0, 1.0, 1.0, 0.0]), dims=("dof", "dof_moved"))
    added: xr.DataArray = (preload * arms[2]).sum("column") * rocking
    return added


def vertical_acceleration(mass: xr.DataArray, x: Any, y: Any) -> xr.DataArray:
    """Vertical acceleration of a free body at arms x, y per vertical force there [1/kg]."""
    row = on_dof(0 * x, 0 * x, 1 + 0 * x, y, -x, 0 * x).drop_vars("dof")
    found: xr.DataArray = core(
        lambda t, m: np.einsum("...i,...i->...", t, np.linalg.solve(m, t[..., None])[..., 0]),
        row,
        mass.drop_vars(["dof", "dof_moved"]),
        inputs=[["dof"], ["dof", "dof_moved"]],
        outputs=[[]],
    )
    return found


def modes(stiffness: xr.DataArray, mass: xr.DataArray) -> tuple[xr.DataArray, xr.DataArray]:
    """Squared angular frequencies on ``mode`` and mass-normalised shapes on ``mode, dof``."""
    squared, shape = core(
        eigen,
        stiffness,
        mass,
        inputs=[["dof", "dof_moved"]] * 2,
        outputs=[["mode"], ["mode", "dof"]],
    )
    numbers = {"mode": np.arange(1, 7)}
    return squared.assign_coords(numbers), labelled(shape.assign_coords(numbers))


def shares(shape: xr.DataArray, mass: xr.DataArray) -> dict[str, xr.DataArray]:
    """Share of each movement in the kinetic energy of a mode, and the movement with the most.

    The shapes, real or complex, are mass-normalised: their shares sum to 1.
    """
    moving = core(
        lambda s, m: s @ m,
        shape,
        mass,
        inputs=[["mode", "dof"], ["dof", "dof_moved"]],
        outputs=[["mode", "dof"]],
    )
    energy: xr.DataArray = (np.conj(shape) * moving).real
    largest = energy.argmax("dof")
    names = np.array(mass["dof"].values.tolist())
    return {
        "participation": energy.assign_attrs(long_name="share of kinetic energy"),
        "mostly": xr.DataArray(names[largest.values], dims=largest.dims),
    }


def require_load(where: str, load: xr.DataArray) -> None:
    """Refuse a load that lacks one of the six movements, or is not finite."""
    if "dof" not in load.coords or tuple(load["dof"].values) != DOFS:
        raise ValueError(
            f"{where}: load must hold {', '.join(DOFS)} on dim 'dof', in order; build it with "
            "body.load(...)"
        )
    finite(where, "load", load)


def require_inertia(mass: xr.DataArray) -> None:
    """Refuse moments of inertia no body can have."""
    principal = np.linalg.eigvalsh(mass.values[..., 3:, 3:])
    slack = 1e-9 * principal[..., 2]
    if np.any(principal[..., 0] <= slack):
        raise ValueError(
            "RigidBody: product_xy, product_xz and product_yz are too large for the moments of "
            "inertia; no body has a moment of 0 or less about any axis"
        )
    excess = principal[..., 2] - principal[..., 0] - principal[..., 1]
    if np.any(excess > slack):
        worst = principal.reshape(-1, 3)[int(np.argmax(excess))]
        raise ValueError(
            "RigidBody: one principal moment of inertia exceeds the sum of the other two, which "
            f"no body has ({', '.join(f'{v:.3g}' for v in worst)} kg m²); check inertia_x, "
            "inertia_y and inertia_z"
        )


def require_held(springs: xr.DataArray, mass: xr.DataArray) -> None:
    """Refuse supports that leave a movement free."""
    squared, shape = modes(springs, mass)
    loose = (squared <= _HELD * squared.isel(mode=-1, drop=True)).isel(mode=0, drop=True)
    if bool(loose.any()):
        place = _place(loose)
        free = DOFS[int(np.argmax(abs(shape.isel(mode=0, **place).values)))]
        raise ValueError(
            f"RigidBody: the supports leave a movement free (mostly {free})"
            f"{_text(loose, place)}; three supports that are not in line, stiff in all "
            "directions, are the least that hold a body"
        )


def require_upright(springs: xr.DataArray, softened: xr.DataArray, mass: xr.DataArray) -> None:
    """Refuse a body whose weight overcomes its springs."""
    squared, _ = modes(softened, mass)
    topples = (squared <= _HELD * squared.isel(mode=-1, drop=True)).isel(mode=0, drop=True)
    if bool(topples.any()):
        place = _place(topples)
        held = springs.isel(place, missing_dims="ignore").values
        weight = held - softened.isel(place, missing_dims="ignore").values
        # What a moment meets with all other movements free.
        tilting = 1 / np.diag(np.linalg.inv(held))
        raise ValueError(
            f"RigidBody: the body topples on its springs{_text(topples, place)}: its weight times "
            f"the height above the supports is {weight[3, 3]:.3g} N m/rad, the springs' stiffness "
            f"against tilting about x {tilting[3]:.3g} and about y {tilting[4]:.3g} N m/rad. "
            "Stiffer springs or a wider base are needed"
        )


def solved(matrix: xr.DataArray, load: xr.DataArray) -> Any:
    """Movement on ``dof`` under a load on ``dof``."""
    return core(
        lambda k, f: np.linalg.solve(k, f[..., None])[..., 0],
        matrix.drop_vars(["dof", "dof_moved"]),
        load.drop_vars("dof"),
        inputs=[["dof_moved", "dof"], ["dof"]],
        outputs=[["dof"]],
    )


def _place(bad: xr.DataArray) -> dict[Any, Any]:
    index = np.unravel_index(int(np.argmax(bad.values)), bad.shape)
    return dict(zip(bad.dims, (int(i) for i in index), strict=True))


def _text(bad: xr.DataArray, place: dict[Any, Any]) -> str:
    parts = [f"{d}={bad[d].values[i] if d in bad.coords else i}" for d, i in place.items()]
    return f" at {', '.join(parts)}" if parts else ""
