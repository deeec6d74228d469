"""Viscous dampers at points of a rigid body, and what they make of its matrices."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, not_negative
from groundborne.structure import rigid_matrices
from groundborne.structure.supports import named_columns, on_columns

_REAL = 1e-7
"""Imaginary over absolute part of a root below which it does not oscillate: two equal roots, at
critical damping, come out of the solver apart by the root of its rounding."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Dampers:
    """Viscous dampers, each acting on one point in three directions.

    Parameters
    ----------
    x, y : DataArray
        Plan position [m] on ``damper``, which names them; they need not stand at supports.
    z : float or DataArray
        Height [m], upwards.
    cx, cy, cz : float or DataArray
        Force per velocity [N s/m], 0 or more; vertical dampers have `cz` only. Dims beside
        ``damper`` (option, sample) are kept.

    Raises
    ------
    ValueError
        Dampers without names, that differ between arguments, or a number out of bounds.

    Notes
    -----
    Force and velocity in proportion and in step, the same in both senses; temperature, stroke and
    frequency of a real damper are not in it.

    Examples
    --------
    >>> at = {"damper": ["W", "E"]}
    >>> x, y = (xr.DataArray(v, coords=at) for v in ([-5.0, 5.0], [0.0, 0.0]))
    >>> pair = Dampers(x=x, y=y, z=0.0, cz=2e5)
    >>> float(pair.cz.sum())
    400000.0
    """

    x: xr.DataArray
    y: xr.DataArray
    z: Numeric
    cx: Numeric = 0.0
    cy: Numeric = 0.0
    cz: Numeric = 0.0

    def __post_init__(self) -> None:
        where = "Dampers"
        x = named_columns(where, "x", self.x, dim="damper")
        finite(where, "x", x)
        object.__setattr__(self, "x", x.astype(float))
        for name in ("y", "z", "cx", "cy", "cz"):
            value = getattr(self, name)
            if name.startswith("c"):
                not_negative(where, name, value, "N s/m")
            object.__setattr__(self, name, on_columns(where, name, value, x["damper"]))

    def matrix(self, centre: tuple[Numeric, Numeric, Numeric]) -> xr.DataArray:
        """Load on ``dof`` [N, N m] per velocity on ``dof_moved`` of a point [m/s, rad/s].

        Parameters
        ----------
        centre : tuple of float or DataArray
            x, y and z of that point [m].
        """
        arms = tuple(getattr(self, n) - c for n, c in zip("xyz", centre, strict=True))
        return rigid_matrices.of_points(arms, (self.cx, self.cy, self.cz), "damper")


def roots_as_modes(
    stiffness: xr.DataArray, damping: xr.DataArray, mass: xr.DataArray
) -> dict[str, xr.DataArray]:
    """Roots of ``λ² M + λ C + K`` as modes, by rising ``|λ|``.

    Returns ``rate`` [rad/s], ``oscillation`` [rad/s], ``ratio`` [-] on ``mode`` and the complex
    ``shape`` on ``mode, dof`` with ``φᴴ M φ = 1``, the movement with the most energy real.
    """
    rate, oscillation, ratio, shape = rigid_matrices.core(
        _roots,
        *(a.drop_vars(["dof", "dof_moved"]) for a in (stiffness, damping, mass)),
        inputs=[["dof", "dof_moved"]] * 3,
        outputs=[["mode"]] * 3 + [["mode", "dof"]],
    )
    numbers = {"mode": np.arange(1, shape.sizes["mode"] + 1)}
    found = {"rate": rate, "oscillation": oscillation, "ratio": ratio}
    named = {n: a.assign_coords(numbers) for n, a in found.items()}
    return named | {"shape": shape.assign_coords(numbers | {"dof": mass["dof"].values})}


def _roots(stiffness: Any, damping: Any, mass: Any) -> tuple[Any, Any, Any, Any]:
    stiffness, damping, mass = np.broadcast_arrays(stiffness, damping, mass)
    root = np.linalg.inv(np.linalg.cholesky(mass))
    turned = np.swapaxes(root, -1, -2)
    k, c = root @ stiffness @ turned, root @ damping @ turned
    size = k.shape[-1]
    one, nil = np.broadcast_to(np.eye(size), k.shape), np.zeros_like(k)
    state = np.concatenate(
        [np.concatenate([nil, one], axis=-1), np.concatenate([-k, -c], axis=-1)], axis=-2
    )
    roots, vectors = np.linalg.eig(state)
    still = np.abs(roots.imag) <= _REAL * np.abs(roots)
    if np.any(still.sum(axis=-1) > 2):
        raise ValueError(
            "damped_modes: two or more movements are damped so much that they do not "
            "oscillate; their roots cannot be told apart as modes, less damping is needed"
        )
    # Rising ones first, then roots that do not oscillate (none or a pair), then conjugates.
    upwards = np.where(still, 0.0, np.sign(roots.imag))
    order = np.lexsort((np.abs(roots), -upwards), axis=-1)
    roots = np.take_along_axis(roots, order, axis=-1)
    vectors = np.take_along_axis(vectors, order[..., None, :], axis=-1)
    first = roots[..., :size].copy()
    pair = first[..., -1] * roots[..., size]
    over = np.abs(first[..., -1].imag) <= _REAL * np.abs(first[..., -1])
    rate = np.abs(first)
    rate[..., -1] = np.where(over, np.sqrt(np.abs(pair)), rate[..., -1])
    oscillation = np.abs(first.imag)
    oscillation[..., -1] = np.where(over, 0.0, oscillation[..., -1])
    decay = -first.real
    middle = -(first[..., -1] + roots[..., size]).real / 2
    decay[..., -1] = np.where(over, middle, decay[..., -1])
    ratio = np.maximum(decay, 0.0) / rate
    shape = np.swapaxes(vectors[..., :size, :size], -1, -2)
    energy = np.abs(shape) ** 2
    shape = shape / np.sqrt(energy.sum(axis=-1, keepdims=True))
    leading = np.take_along_axis(shape, energy.argmax(axis=-1)[..., None], axis=-1)
    shape = shape * (np.abs(leading) / leading)
    rising = np.argsort(rate, axis=-1, kind="stable")
    rate, oscillation, ratio = (
        np.take_along_axis(a, rising, axis=-1) for a in (rate, oscillation, ratio)
    )
    shape = np.take_along_axis(shape, rising[..., None], axis=-2)
    return rate, oscillation, ratio, shape @ root


def responding(
    stiffness: xr.DataArray,
    damping: xr.DataArray,
    mass: xr.DataArray,
    load: xr.DataArray,
    frequency: xr.DataArray,
) -> xr.DataArray:
    """Complex movement on ``dof`` under a load that is a sine [m, rad]: ``(K + jωC - ω²M)⁻¹ F``."""
    rate = 2 * np.pi * frequency
    square = [a.drop_vars(["dof", "dof_moved"]) for a in (stiffness, damping, mass)]
    dynamic = square[0] + 1j * rate * square[1] - rate**2 * square[2]
    moved: xr.DataArray = rigid_matrices.core(
        lambda d, f: np.linalg.solve(d, f[..., None])[..., 0],
        dynamic,
        load.drop_vars("dof"),
        inputs=[["dof", "dof_moved"], ["dof"]],
        outputs=[["dof"]],
    )
    return rigid_matrices.labelled(moved)
