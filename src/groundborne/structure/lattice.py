"""Sums over the waves that a plate on a column grid can carry, columns moving with a given phase.

Columns at ``(ia, jb)`` that move as ``v exp[−j(iθx + jθy)]`` drive only the waves
``k = ((θx + 2πp)/a, (θy + 2πq)/b)`` of an endless plate (Bloch's theorem). As in
:mod:`groundborne.structure.panel`, ``1/(k⁴ − κ⁴)`` is split into two terms of second order, one
index is summed exactly, and the rest of the other series is added in closed form. Phases zero give
the sums of that module.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from groundborne.structure.panel import TAIL_RATIO, rest_of_series

Array = np.ndarray[Any, Any]


def lattice_sum(z: Array, span_x: Array, span_y: Array, theta_x: Array, theta_y: Array) -> Array:
    """``Σ 1/(k⁴ − z)`` over all waves of the lattice.

    Parameters
    ----------
    z : array
        ``κ⁴`` [m⁻⁴], complex.
    span_x, span_y : array
        Column grid [m].
    theta_x, theta_y : array
        Phase from column to column [rad], −π to π; all arrays broadcast.

    Returns
    -------
    array
        The sum over all waves [m⁴].
    """
    z = np.asarray(z, complex)
    a, b = np.asarray(span_x, float), np.asarray(span_y, float)
    tx, ty = np.asarray(theta_x, float), np.asarray(theta_y, float)
    # The series runs over the shorter span: what is dropped of its rest falls as exp(−2π n b/a).
    if np.all(a >= b):
        a, b, tx, ty = b, a, ty, tx
    elif not np.all(a <= b):
        longer = a > b
        a, b = np.where(longer, b, a), np.where(longer, a, b)
        tx, ty = np.where(longer, ty, tx), np.where(longer, tx, ty)
    kappa2 = np.sqrt(z)
    largest = float(np.max(np.abs(kappa2) * a**2))
    # |θ| is π at most, so that waves beyond count hold (2π count − π)² and more.
    count = max(3, int(np.ceil(np.sqrt(largest / TAIL_RATIO) / (2 * np.pi) + 0.5)))
    twice_cos = 2 * np.cos(ty)
    total: Any = 0.0
    # Within the loop only what depends on θx; θy enters by its cosine, so that a grid of phases
    # costs little more than one row of it.
    for p in range(1 - count, count):
        alpha2 = ((tx + 2 * np.pi * p) / a) ** 2
        for sign in (1, -1):
            gamma = np.sqrt(alpha2 - sign * kappa2)
            h = np.exp(-gamma * b)
            square = h * h
            total = total + sign * ((1 - square) / gamma) / (1 + square - h * twice_cos)
    turn = tx / (2 * np.pi)
    rest = sum(rest_of_series(a / (2 * np.pi), z, first) for first in (count + turn, count - turn))
    result: Array = b / 4 * (total / kappa2 + rest)
    return result
