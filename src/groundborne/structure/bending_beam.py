"""Dynamic stiffness of a beam in bending between two joints, as blocks of joint motions."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency
from groundborne._checks import Numeric

Block = list[list[Any]]
"""Rows of a square matrix of arrays: displacement and rotation of a joint, or the first alone."""

_SERIES_BELOW = 0.05
"""Wave number times length below which closed forms lose digits and stiffness less mass is used."""


def beam_stiffness(
    frequency: Frequency,
    *,
    bending_stiffness: Any,
    mass_per_length: Numeric,
    length: Numeric,
) -> dict[str, xr.DataArray]:
    """Forces at the ends of a beam for unit motions of them, with its own inertia.

    Parameters
    ----------
    frequency : DataArray
        Frequencies [Hz], not band labels.
    bending_stiffness : float, complex or DataArray
        E I [N m²]; complex where the beam has losses.
    mass_per_length : float or DataArray
        [kg/m].
    length : float or DataArray
        [m].

    Returns
    -------
    dict of str to DataArray
        ``own`` and ``other``: force [N] at an end for a displacement of it, and of the other end;
        ``turn`` and ``over``: force for a rotation, of the same and of the other end; ``moment``
        and ``carried``: moment [N m] for a rotation of the same and of the other end.

    Notes
    -----
    Euler's beam, ``k⁴ = μ ω²/(E I)``: right at and above its own bending modes, while waves are
    longer than some six depths of the beam. Towards 0 Hz 12, −12, 6, 6, 4 and 2 times
    ``E I/L³``, ``E I/L²`` and ``E I/L``.

    References
    ----------
    Derived; textbook dynamic stiffness method.

    Examples
    --------
    >>> f = xr.DataArray([1e-3], dims="frequency")
    >>> found = beam_stiffness(f, bending_stiffness=1e6, mass_per_length=100.0, length=2.0)
    >>> {name: round(float(x[0].real) / 1e6, 3) for name, x in found.items()}
    {'own': 1.5, 'other': -1.5, 'turn': 1.5, 'over': 1.5, 'moment': 2.0, 'carried': 1.0}
    """
    omega = 2 * np.pi * frequency
    stiffness = bending_stiffness + 0j
    inertia = mass_per_length * omega**2
    wave: Any = (inertia / stiffness) ** 0.25
    x: Any = wave * length
    slow = abs(x) < _SERIES_BELOW
    x = xr.where(slow, 1.0, x)
    sin, cos, sinh, cosh = np.sin(x), np.cos(x), np.sinh(x), np.cosh(x)
    common = stiffness / (1 - cos * cosh)
    force, turn, moment = (common * (x / length) ** power for power in (3, 2, 1))
    closed = {
        "own": force * (cos * sinh + sin * cosh),
        "other": -force * (sin + sinh),
        "turn": turn * sin * sinh,
        "over": turn * (cosh - cos),
        "moment": moment * (sin * cosh - cos * sinh),
        "carried": moment * (sinh - sin),
    }
    mass = inertia * length / 420
    series = {
        "own": 12 * stiffness / length**3 - 156 * mass,
        "other": -12 * stiffness / length**3 - 54 * mass,
        "turn": 6 * stiffness / length**2 - 22 * mass * length,
        "over": 6 * stiffness / length**2 + 13 * mass * length,
        "moment": 4 * stiffness / length - 4 * mass * length**2,
        "carried": 2 * stiffness / length + 3 * mass * length**2,
    }
    return {name: xr.where(slow, series[name], exact) for name, exact in closed.items()}


def end_blocks(found: dict[str, xr.DataArray], *, turns: bool) -> tuple[Block, Block, Block, Block]:
    """The matrix of a column in blocks: lower end, lower by upper, upper by lower, upper end.

    `turns` tells whether its ends rotate; else rows of moments and columns of rotations are left
    out.
    """
    own, other, turn = found["own"], found["other"], found["turn"]
    over, moment, carried = found["over"], found["moment"], found["carried"]
    if not turns:
        return [[own]], [[other]], [[other]], [[own]]
    return (
        [[own, turn], [turn, moment]],
        [[other, over], [-over, carried]],
        [[other, -over], [over, carried]],
        [[own, -turn], [-turn, moment]],
    )


def added(*blocks: Block) -> Block:
    """Sum of blocks."""
    size = range(len(blocks[0]))
    return [[sum(b[i][j] for b in blocks[1:]) + blocks[0][i][j] for j in size] for i in size]


def product(first: Block, second: Block) -> Block:
    """Matrix product."""
    size = range(len(first))
    return [[sum(first[i][k] * second[k][j] for k in size) for j in size] for i in size]


def inverse(block: Block) -> Block:
    """Of one row or two."""
    if len(block) == 1:
        return [[1 / block[0][0]]]
    (a, b), (c, d) = block
    whole = a * d - b * c
    return [[d / whole, -b / whole], [-c / whole, a / whole]]


def negative(block: Block) -> Block:
    """With the other sign."""
    return [[-x for x in row] for row in block]
