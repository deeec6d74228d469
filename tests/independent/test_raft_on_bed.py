"""A raft on its soil against a general finite-element library.

Argyris triangles of scikit-fem (Gustafsson and McBain 2020) with the bed in the weak form; the
library has closed sums. Soil and raft as in ``tests/properties/test_raft.py``; no printed values.
"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy.sparse.linalg import spsolve
from skfem import Basis, BilinearForm, ElementTriArgyris, MeshTri
from skfem.helpers import dd, ddot, trace

from groundborne.structure import ColumnPhases, Raft, SpringFoundation
from groundborne.structure.phases import IN_PHASE

AREA, POISSON = 455.0, 0.2
SOIL = SpringFoundation(stiffness=4e7 * AREA, loss_factor=0.06, damping=1.2e6 * AREA)
RAFT = Raft(
    soil=SOIL, area=AREA, span_x=6.5, span_y=5.85, thickness=0.5, youngs_modulus=33e9,
    density=2450.0, poisson=POISSON, loss_factor=0.05,
)  # fmt: skip
F = xr.DataArray([5.0, 20.0, 50.0], dims="frequency")
BENDING = RAFT.bending_stiffness * (1 + 0.05j)


@BilinearForm
def bent(u, v, w):
    return POISSON * trace(dd(u)) * trace(dd(v)) + (1 - POISSON) * ddot(dd(u), dd(v))


@BilinearForm
def carried(u, v, w):
    return u * v


def quarter(x: float, y: float, count: int) -> Basis:
    """From a column at the origin outwards; elements finer towards it."""
    along = np.linspace(0, 1, count) ** 1.5
    return Basis(MeshTri.init_tensor(along * x, along * y).with_defaults(), ElementTriArgyris())


def fixed(basis: Basis, turning: str, moving: str = "") -> np.ndarray:
    """Freedoms at rest on the planes of symmetry, and of antisymmetry where named."""
    names = {"left": "x", "bottom": "y", "right": "x", "top": "y"}
    held = []
    for side in turning.split():
        at = basis.get_dofs(side)
        held.append(at.all([f"u_{names[side]}", "u_xy", "u_n"]))
    for side in moving.split():
        at, across = basis.get_dofs(side), names[side]
        along = "y" if across == "x" else "x"
        held.append(at.all(["u", f"u_{along}", f"u_{along}{along}"]))
    return np.unique(np.concatenate(held))


def stiffness(basis: Basis, held: np.ndarray) -> list[complex]:
    plate, bed = bent.assemble(basis), carried.assemble(basis)
    force = basis.probes(np.zeros((2, 1))).toarray().ravel() / 4  # a quarter of the column
    found = []
    for soil in RAFT.bed_stiffness(F).values:
        matrix = (BENDING * plate + soil * bed).tocsr()
        moved = np.zeros(force.size, complex)
        inner = np.setdiff1d(np.arange(force.size), held)
        moved[inner] = spsolve(matrix[inner][:, inner].tocsc(), force[inner].astype(complex))
        found.append(1 / (4 * force @ moved))
    return found


def test_one_column_on_a_wide_raft() -> None:
    basis = quarter(12.0, 12.0, 15)
    found = stiffness(basis, fixed(basis, "left bottom"))
    own = (2j * np.pi * F / RAFT.driving_point_mobility(F)).values
    assert own == pytest.approx(found, rel=2e-3)


def test_columns_of_a_grid_in_phase() -> None:
    basis = quarter(6.5 / 2, 5.85 / 2, 9)
    found = stiffness(basis, fixed(basis, "left bottom right top"))
    own = (2j * np.pi * F / RAFT.lattice_mobility(F, IN_PHASE)).values
    assert own == pytest.approx(found, rel=2e-3)


def test_columns_that_move_against_their_neighbours() -> None:
    """Along x every other column moves down: raft at rest half way, free to turn there."""
    basis = quarter(6.5 / 2, 5.85 / 2, 9)
    held = fixed(basis, "left bottom top", "right")
    found = stiffness(basis, held)
    for i, f in enumerate(F.values):
        at = xr.DataArray([f], dims="frequency")
        # a wave along x that passes a span in half a period
        phases = ColumnPhases(kind="wave", apparent_speed=2 * 6.5 * f, direction=0.0)
        own = 2j * np.pi * f / RAFT.lattice_mobility(at, phases).item()
        assert own == pytest.approx(found[i], rel=2e-3)
