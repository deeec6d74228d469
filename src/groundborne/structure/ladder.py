"""The recursion through columns and slabs, on plain arrays.

A line is a ladder: column segments are rods in series, slabs are shunts. Going down from the roof
gives the impedance seen from below; going up gives the velocities. Arrays broadcast with axes of
length 1, so what does not depend on a dimension is not repeated along it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

Array = np.ndarray[Any, Any]


class Rod(NamedTuple):
    """A column segment: ``Z_c j tan kL`` [N s/m], ``j tan kL/Z_c`` [m/(N s)] and ``1/cos kL``."""

    series: Any
    shunt: Any
    secant: Any


class Mount(NamedTuple):
    """Two-port parameters of the mounts, source side below."""

    a: Any
    b: Any
    c: Any
    d: Any


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Which arrays the elements of a line use, from bottom to top.

    Parameters
    ----------
    rods : tuple of int
        For each storey the index of its rod.
    slabs : tuple of int or None
        For the base and each storey the index of its slab; None for a base without one.
    plane : tuple of (int, bool) or None
        Node of the mounts (0 is the base) and whether they stand on its slab, else under it.
    """

    rods: tuple[int, ...]
    slabs: tuple[int | None, ...]
    plane: tuple[int, bool] | None


def rod(
    frequency: xr.DataArray,
    *,
    height: Any,
    area: Any,
    youngs_modulus: Any,
    density: Any,
    loss_factor: Any,
) -> Rod:
    """Trigonometric terms of a rod, from decaying exponentials so that nothing overflows."""
    modulus = youngs_modulus * (1 + 1j * loss_factor)
    impedance = area * np.sqrt(modulus * density)
    slowness = height * np.sqrt(density / modulus)

    def terms(slowness: Array, impedance: Array, omega: Array) -> tuple[Array, Array, Array]:
        decay = np.exp(-1j * slowness * omega)
        there_and_back = decay * decay
        whole = 1 / (1 + there_and_back)
        tangent = (1 - there_and_back) * whole
        return impedance * tangent, tangent / impedance, 2 * decay * whole + 0 * impedance

    dims = list(frequency.dims)
    parts = xr.apply_ufunc(
        terms,
        slowness,
        impedance,
        2 * np.pi * frequency,
        join="exact",
        keep_attrs=False,
        dask="parallelized",
        output_core_dims=[[], [], []],
        output_dtypes=[complex] * 3,
    )
    return Rod(*(part.transpose(..., *dims) for part in parts))


class Down(NamedTuple):
    """What the pass from the roof down found."""

    impedance: Array
    """Seen from the foundation [N s/m]."""
    rods: list[Array]
    """Velocity at the head over the foot of each segment [-]."""
    mount: Array | None
    """Velocity above over below the mounts [-]."""
    above: Array | None
    """Impedance the mounts carry [N s/m]."""


def down(plan: Plan, rods: list[Rod], slabs: list[Any], mount: Mount | None) -> Down:
    """From the roof to the foundation."""
    ratios: list[Any] = [None] * len(plan.rods)
    through: Any = None
    above: Any = None
    impedance: Any = 0.0

    def pass_mounts(carried: Any) -> Any:
        nonlocal through, above
        if mount is None:
            above = carried
            return carried
        through, above = 1 / (mount.c * carried + mount.d), carried
        return (mount.a * carried + mount.b) * through

    for node in range(len(plan.slabs) - 1, -1, -1):
        if plan.plane == (node, True):
            impedance = pass_mounts(impedance)
        slab = plan.slabs[node]
        if slab is not None:
            impedance = slabs[slab] + impedance
        if plan.plane == (node, False):
            impedance = pass_mounts(impedance)
        if node > 0:
            segment = rods[plan.rods[node - 1]]
            inverse = segment.shunt * impedance
            inverse += 1
            np.reciprocal(inverse, out=inverse)
            ratios[node - 1] = segment.secant * inverse
            impedance = impedance + segment.series
            impedance *= inverse
    return Down(impedance, ratios, through, above)


def up(plan: Plan, found: Down, foundation: Array) -> tuple[Array, Array | None]:
    """From the foundation to the roof: velocities over the free velocity, and that on the mounts.

    Returns
    -------
    tuple of array
        Velocities with the node as the first axis (the base always among them), and the velocity
        above the mounts.
    """
    velocity = 1 / (1 + foundation * found.impedance)
    shapes = [r.shape for r in found.rods]
    if found.mount is not None:
        shapes.append(found.mount.shape)
    shape = np.broadcast_shapes(velocity.shape, *shapes)
    nodes = np.empty((len(plan.slabs), *shape), complex)
    on_mounts: Array | None = None

    def pass_mounts(below: Array) -> Array:
        nonlocal on_mounts
        on_mounts = below if found.mount is None else below * found.mount
        return on_mounts

    for node in range(len(plan.slabs)):
        if node > 0:
            velocity = np.multiply(velocity, found.rods[node - 1], out=nodes[node])
        if plan.plane == (node, False):
            velocity = pass_mounts(velocity)
        if node == 0 or plan.plane == (node, False):
            nodes[node] = velocity
        if plan.plane == (node, True):
            velocity = pass_mounts(velocity)
    return nodes, on_mounts


def looking_down(plan: Plan, rods: list[Rod], slabs: list[Any], foundation: Array) -> Array:
    """Impedance of all below the mounts, seen from the mounts [N s/m]."""
    if plan.plane is None:
        return 1 / foundation
    last, on = plan.plane
    impedance: Any = 1 / foundation
    for node in range(last + 1):
        if node > 0:
            segment = rods[plan.rods[node - 1]]
            impedance = (impedance + segment.series) / (1 + segment.shunt * impedance)
        slab = plan.slabs[node]
        if slab is not None and (node < last or on):
            impedance = impedance + slabs[slab]
    result: Array = impedance
    return result


def same(first: Any, second: Any) -> bool:
    """Whether two parameters, or two elements field by field, hold the same numbers."""
    if first is second:
        return True
    if type(first) is not type(second):
        return False
    if is_dataclass(first):
        return all(same(getattr(first, f.name), getattr(second, f.name)) for f in fields(first))
    if isinstance(first, xr.DataArray):
        lazy = first.chunks is not None or second.chunks is not None
        return not lazy and first.identical(second)
    if isinstance(first, tuple):
        return len(first) == len(second) and all(map(same, first, second))
    if isinstance(first, (int, float, str)):
        return bool(first == second)
    return False


def distinct(items: list[Any]) -> tuple[list[Any], tuple[int, ...]]:
    """Items without repeats, and for each item the index of its like.

    Examples
    --------
    >>> distinct([1.0, 2.0, 1.0])
    ([1.0, 2.0], (0, 1, 0))
    """
    kept: list[Any] = []
    index = []
    for item in items:
        at = next((i for i, other in enumerate(kept) if same(item, other)), len(kept))
        if at == len(kept):
            kept.append(item)
        index.append(at)
    return kept, tuple(index)
