"""Modes of a helix of beams, clamped at both ends, against the line that stands for a coil.

Straight Timoshenko beams along the helix, 36 to a turn, with consistent masses; assembled here
without any formula of the library. The coil is that of the documentation: bar 40 mm, coil 180 mm,
five active coils, 330 mm long with solid end coils of 48 mm. No published numbers.

Tolerances: rate 2.5 % (the formula leaves out pitch and curvature), first surge 4 % (the same, and
the coupling of lengthening and twisting). From 24 to 36 beams the first five modes fall by 0.5 %;
they tend to 84.6, 98.3, 109.7, 112.4 and 163.3 Hz.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.linalg import eigh

from groundborne.isolation import HelicalSpring

COIL = HelicalSpring(wire_diameter=0.040, coil_diameter=0.180, active_coils=5.0, free_length=0.330)
HEIGHT = 0.330 - 1.2 * 0.040
SHEAR = 0.9
"""Shear coefficient of a round bar."""


def beam(length: float) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness and mass of a round Timoshenko beam along x, six movements at each end."""
    d, e, g, rho = 0.040, 206e9, 78.5e9, 7850.0
    area, inertia = np.pi * d**2 / 4, np.pi * d**4 / 64
    shear = 12 * e * inertia / (SHEAR * g * area * length**2)
    k, m = np.zeros((12, 12)), np.zeros((12, 12))
    mass = rho * area * length
    for at, stiff, share in ((0, e * area, 1.0), (3, 2 * g * inertia, 2 * inertia / area)):
        pair = np.ix_([at, at + 6], [at, at + 6])
        k[pair] += stiff / length * np.array([[1, -1], [-1, 1]])
        m[pair] += mass * share / 6 * np.array([[2, 1], [1, 2]])
    bend = e * inertia / (length**3 * (1 + shear))
    for shift, turn, sign in ((1, 5, 1), (2, 4, -1)):
        four = np.ix_([shift, turn, shift + 6, turn + 6], [shift, turn, shift + 6, turn + 6])
        s = sign * length
        near, far = (4 + shear) * length**2, (2 - shear) * length**2
        k[four] += bend * np.array(
            [[12, 6 * s, -12, 6 * s], [6 * s, near, -6 * s, far],
             [-12, -6 * s, 12, -6 * s], [6 * s, far, -6 * s, near]]
        )  # fmt: skip
        m[four] += mass / 420 * np.array(
            [[156, 22 * s, 54, -13 * s], [22 * s, 4 * s * s, 13 * s, -3 * s * s],
             [54, 13 * s, 156, -22 * s], [-13 * s, -3 * s * s, -22 * s, 4 * s * s]]
        )  # fmt: skip
    return k, m


def helix(per_turn: int) -> tuple[float, np.ndarray, np.ndarray]:
    """Axial rate [N/m], frequencies [Hz] and axial share of the kinetic energy of each mode."""
    count = 5 * per_turn
    angle = np.linspace(0, 10 * np.pi, count + 1)
    points = np.c_[0.09 * np.cos(angle), 0.09 * np.sin(angle), HEIGHT * angle / angle[-1]]
    size = 6 * (count + 1)
    stiffness, mass = np.zeros((size, size)), np.zeros((size, size))
    for i, (start, end) in enumerate(pairwise(points)):
        length = float(np.linalg.norm(end - start))
        x = (end - start) / length
        y = np.cross([0, 0, 1.0], x)
        y /= np.linalg.norm(y)
        turned = np.kron(np.eye(4), np.array([x, y, np.cross(x, y)]))
        here = slice(6 * i, 6 * i + 12)
        k, m = beam(length)
        stiffness[here, here] += turned.T @ k @ turned
        mass[here, here] += turned.T @ m @ turned
    inner = slice(6, size - 6)
    moved = np.zeros(size)
    moved[-4] = 1.0
    moved[inner] = np.linalg.solve(stiffness[inner, inner], -stiffness[inner] @ moved)
    rate = float((stiffness @ moved)[-4])
    squared, shapes = eigh(stiffness[inner, inner], mass[inner, inner], subset_by_index=(0, 7))
    axial = (shapes * (mass[inner, inner] @ shapes)).reshape(-1, 6, 8)[:, 2].sum(axis=0)
    return rate, np.sqrt(squared) / (2 * np.pi), axial


def test_rate_and_first_surge_are_those_of_the_helix() -> None:
    rate, frequencies, axial = helix(36)
    assert rate == pytest.approx(COIL.rate, rel=0.025)
    assert axial[0] > 0.9
    assert frequencies[0] == pytest.approx(COIL.surge_frequency, rel=0.04)


def test_higher_modes_of_the_line_are_not_those_of_the_helix() -> None:
    """Nothing at twice the surge of the line, 175.7 Hz; four modes between, the line has none."""
    _, frequencies, axial = helix(36)
    second = 2 * COIL.surge_frequency
    assert not np.any(np.abs(frequencies / second - 1) < 0.02)
    # Three modes that bend and twist lie below the second surge, which itself lies lower.
    assert (frequencies[1:4] > 1.1 * COIL.surge_frequency).all()
    assert (frequencies[1:4] < 1.4 * COIL.surge_frequency).all()
    assert (axial[1:4] < 0.2).all()
    assert axial[4] > 0.9
    assert frequencies[4] < 0.95 * second


def test_the_mesh_is_fine_enough() -> None:
    coarse, fine = helix(24)[1], helix(36)[1]
    assert coarse[:5] == pytest.approx(fine[:5], rel=0.01)
