"""A frame of three by three bays, columns driven one by one, against the mean over phases.

Two slabs of 3 × 3 bays, closed on themselves so that no edge is special, are meshed whole with
Bogner-Fox-Schmit plate elements and stand on columns of quadratic bar elements. Columns that move
without regard to each other are columns driven one after the other, their mean squares added: no
phase, wave number or sum over waves is used on that side. Three bays can carry the phases 0 and
±2π/3 on each axis, so the column line is averaged over those nine (Parseval's theorem).

Source of the check: scikit-fem (Gustafsson and McBain 2020), no published numbers. Tolerance
0.1 dB at single frequencies, for the plate mesh at the point force: the largest difference is
0.064 dB with 8 elements to a bay and 0.019 dB with 12.
"""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pytest
import scipy.sparse as sp
import xarray as xr
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementLineP2, ElementQuadBFS, MeshLine, MeshQuad
from skfem.helpers import dd, ddot, grad, trace

from groundborne.structure import ColumnLine, ColumnPhases, FlatSlab, SpringFoundation, Storey

BAYS, ELEMENTS, TOLERANCE = 3, 8, 0.1
FREQUENCIES = (6.0, 10.0, 14.0, 20.0, 28.0, 40.0)
SLAB = FlatSlab(
    span_x=6.5, span_y=5.5, thickness=0.22, youngs_modulus=30e9, density=2400.0, poisson=0.2,
    loss_factor=0.06, superimposed_mass=150.0,
)  # fmt: skip
COLUMN = {
    "height": 3.2, "area": 0.16, "youngs_modulus": 33e9, "density": 2450.0, "loss_factor": 0.02,
}  # fmt: skip
SOIL = {"stiffness": 6e8, "damping": 4e6}


class ClosedSlab:
    """Three by three bays; the right edge is the left one, the upper the lower."""

    def __init__(self) -> None:
        half = np.linspace(0, 1, ELEMENTS // 2 + 1) ** 1.4 / 2  # finer at the columns
        bay = np.concatenate([half, 1 - half[-2::-1]])
        grid = np.concatenate([bay[:-1] + i for i in range(BAYS)] + [[float(BAYS)]])
        mesh = MeshQuad.init_tensor(SLAB.span_x * grid, SLAB.span_y * grid)
        basis = Basis(mesh, ElementQuadBFS(), intorder=6)
        nu = SLAB.poisson
        rigidity = SLAB.youngs_modulus * SLAB.thickness**3 / (12 * (1 - nu**2))

        @BilinearForm
        def bending(u: Any, v: Any, _: Any) -> Any:
            curvature, test = dd(u), dd(v)
            return rigidity * (
                nu * trace(curvature) * trace(test) + (1 - nu) * ddot(curvature, test)
            )

        @BilinearForm
        def inertia(u: Any, v: Any, _: Any) -> Any:
            return u * v

        size = mesh.p.max(axis=1)
        around = np.where(np.isclose(mesh.p, size[:, None]), 0.0, mesh.p)
        _, same = np.unique(np.round(around, 9), axis=1, return_inverse=True)
        dofs = basis.nodal_dofs  # deflection, two slopes, twist
        target = np.zeros(basis.N, int)
        for kind in range(4):
            target[dofs[kind]] = 4 * same + kind
        join = sp.csr_matrix((np.ones(basis.N), (np.arange(basis.N), target)))
        per_area = SLAB.density * SLAB.thickness + SLAB.superimposed_mass
        self.stiffness = join.T @ bending.assemble(basis) @ join * (1 + 1j * SLAB.loss_factor)
        self.mass = join.T @ inertia.assemble(basis) @ join * per_area

        def node(i: int, j: int) -> int:
            at = np.array([i * SLAB.span_x, j * SLAB.span_y])
            return int(target[dofs[0][np.isclose(mesh.p.T, at).all(axis=1)][0]])

        self.columns = [node(i, j) for i, j in product(range(BAYS), range(BAYS))]

    def dynamic_stiffness(self, omega: float) -> np.ndarray:
        """Forces at the nine columns for unit deflections of each, the plate free between."""
        factors = splu(sp.csc_matrix(self.stiffness - omega**2 * self.mass))
        load = np.zeros((self.stiffness.shape[0], len(self.columns)), complex)
        load[self.columns, range(len(self.columns))] = 1.0
        return np.linalg.inv(factors.solve(load)[self.columns])


def rod(omega: float) -> np.ndarray:
    """Dynamic stiffness of a column segment between its ends, from quadratic bar elements."""
    mesh = MeshLine(np.linspace(0, COLUMN["height"], 5))
    basis = Basis(mesh, ElementLineP2())
    modulus = COLUMN["youngs_modulus"] * (1 + 1j * COLUMN["loss_factor"])
    k = BilinearForm(lambda u, v, _: grad(u)[0] * grad(v)[0]).assemble(basis).toarray()
    m = BilinearForm(lambda u, v, _: u * v).assemble(basis).toarray()
    whole = COLUMN["area"] * (modulus * k - omega**2 * COLUMN["density"] * m)
    ends = [basis.nodal_dofs[0][np.argmin(mesh.p[0])], basis.nodal_dofs[0][np.argmax(mesh.p[0])]]
    inner = np.setdiff1d(np.arange(basis.N), ends)
    across = whole[np.ix_(ends, inner)]
    solved = np.linalg.solve(whole[np.ix_(inner, inner)], across.T)
    return whole[np.ix_(ends, ends)] - across @ solved


def one_by_one(slab: ClosedSlab, f: float) -> np.ndarray:
    """Mean square at foundation and two slabs over that of free ground that moves independently."""
    omega, n = 2 * np.pi * f, len(slab.columns)
    plate, segment, eye = slab.dynamic_stiffness(omega), rod(omega), np.eye(len(slab.columns))
    zero = np.zeros((n, n))
    soil = (SOIL["stiffness"] + 1j * omega * SOIL["damping"]) * eye
    lower, middle, upper = soil + segment[0, 0] * eye, plate, plate + segment[1, 1] * eye
    middle = middle + (segment[1, 1] + segment[0, 0]) * eye
    link = segment[0, 1] * eye
    whole = np.block([[lower, link, zero], [link, middle, link], [zero, link, upper]])
    driven = np.vstack([soil, zero, zero])  # force of the soil on held columns, free ground at one
    moved = np.linalg.solve(whole, driven).reshape(3, n, n)
    return (abs(moved) ** 2).sum(axis=2).mean(axis=1)


def mean_over_phases(f: float) -> np.ndarray:
    storey = Storey(floor="1", slab=SLAB, **COLUMN)
    upper = Storey(floor="2", slab=SLAB, **COLUMN)
    total = np.zeros(2)
    angles = (0.0, 2 * np.pi / 3, -2 * np.pi / 3)
    for tx, ty in product(angles, angles):
        k = np.array([tx / SLAB.span_x, ty / SLAB.span_y])
        size = float(np.hypot(*k))
        phases = ColumnPhases(kind="in phase")
        if size > 0:
            phases = ColumnPhases(
                kind="wave",
                apparent_speed=2 * np.pi * f / size,
                direction=float(np.rad2deg(np.arctan2(k[1], k[0]))),
            )
        line = ColumnLine(
            storeys=(storey, upper), foundation=SpringFoundation(**SOIL), phases=phases
        )
        total += (abs(line.velocity_ratio(xr.DataArray([f], dims="frequency"))) ** 2).values.ravel()
    return total / len(angles) ** 2


@pytest.fixture(scope="module")
def slab() -> ClosedSlab:
    return ClosedSlab()


@pytest.mark.parametrize("f", FREQUENCIES)
def test_columns_driven_one_by_one_are_the_mean_over_phases(slab: ClosedSlab, f: float) -> None:
    frame, line = one_by_one(slab, f)[1:], mean_over_phases(f)
    assert 10 * np.log10(frame / line) == pytest.approx([0.0, 0.0], abs=TOLERANCE)
    in_phase = ColumnLine(
        storeys=(Storey(floor="1", slab=SLAB, **COLUMN), Storey(floor="2", slab=SLAB, **COLUMN)),
        foundation=SpringFoundation(**SOIL),
    )
    other = abs(in_phase.velocity_ratio(xr.DataArray([f], dims="frequency"))).values.ravel() ** 2
    if f in (14.0, 20.0):  # where columns in phase would block: the check tells them apart
        assert abs(10 * np.log10(frame / other)).max() > 3
