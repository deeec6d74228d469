"""A floating slab with free edges on mounts and air, against a general finite-element library.

A quarter of the slab is meshed with Bogner-Fox-Schmit elements, free at its outer edges; mounts are
springs at nodes; sealed air is a thin layer of its own, with biquadratic pressures on the same mesh
that flow sideways and stop at the edges. Solved for a base that moves as one. No formula of
the library is used on that side.

Tolerance 0.2 dB per one-third-octave band to 100 Hz; most agree to 0.04 dB, and elements half as
wide move no band of the first by more than that. Source of the check: scikit-fem (Gustafsson and
McBain 2020), no published numbers.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.linalg import spsolve
from skfem import Basis, BilinearForm, ElementQuad2, ElementQuadBFS, MeshQuad
from skfem.helpers import dd, ddot, dot, grad, trace

from groundborne import bands
from groundborne.isolation import FloorOnMounts, SurfaceIsolation

BANDS = bands.third_octaves(6.3, 100)
FLOOR = FloorOnMounts(
    mass_per_area=250.0, bending_stiffness=2.604e6, spacing_x=1.8, spacing_y=1.8, fields_x=5,
    fields_y=4, mount_stiffness=2.0e6, mount_loss_factor=0.1, air_gap=0.05, air_state="vented",
)  # fmt: skip
SEALED = replace(FLOOR, mount_stiffness=0.8e6, air_gap=0.3, air_state="sealed")
FLOORS = {
    "vented": FLOOR,
    "vented, rows at the edges": replace(FLOOR, rows_at_edges=True),
    "porous fill": replace(FLOOR, air_gap=0.2, air_state="filled", bending_stiffness=1.2e6),
    "sealed": SEALED,
    "long and narrow": replace(FLOOR, fields_x=7, fields_y=2, spacing_x=1.2, poisson=0.3),
}
PRESSURE, SOUND = 101325.0, 343.0


@BilinearForm
def product(u: Any, v: Any, _: Any) -> Any:
    return u * v


@BilinearForm
def slopes(u: Any, v: Any, _: Any) -> Any:
    return dot(grad(u), grad(v))


def mean_squares(floor: FloorOnMounts, hertz: np.ndarray, pieces: int = 4) -> np.ndarray:
    """Surface mean square for a unit displacement of the base, per frequency."""
    a, b = float(floor.spacing_x), float(floor.spacing_y)
    half = [n * size / 2 for n, size in ((floor.fields_x, a), (floor.fields_y, b))]
    # Nodes at every mount, whether in the middle of fields or at their corners.
    cuts = [
        np.linspace(0, h, round(h / size * pieces) + 1)
        for h, size in zip(half, (a, b), strict=True)
    ]
    mesh = MeshQuad.init_tensor(*cuts).with_boundaries(
        {"mid x": lambda x: np.isclose(x[0], 0), "mid y": lambda x: np.isclose(x[1], 0)}
    )
    basis = Basis(mesh, ElementQuadBFS(), intorder=6)
    air_basis = Basis(mesh, ElementQuad2(), intorder=6)
    nu = float(floor.poisson)

    @BilinearForm
    def bending(u: Any, v: Any, _: Any) -> Any:
        return nu * trace(dd(u)) * trace(dd(v)) + (1 - nu) * ddot(dd(u), dd(v))

    inertia = product.assemble(basis).tocsc()
    stiff = bending.assemble(basis).tocsc()
    stiff = stiff * float(floor.bending_stiffness) * (1 + 1j * float(floor.bending_loss_factor))
    spring = float(floor.mount_stiffness) * (1 + 1j * float(floor.mount_loss_factor))
    held = np.zeros(stiff.shape[0], complex)
    for i, (x, y) in enumerate(mesh.p.T):
        if _mount(x, a, floor.fields_x, floor.rows_at_edges) and _mount(
            y, b, floor.fields_y, floor.rows_at_edges
        ):
            share = 1.0
            for at, h in zip((x, y), half, strict=True):
                share *= 0.5 if np.isclose(at, 0) or np.isclose(at, h) else 1.0
            held[basis.nodal_dofs[0][i]] += spring * share
    rigid = np.zeros(stiff.shape[0])  # a unit displacement of all of it
    rigid[basis.nodal_dofs[0]] = 1.0
    fixed = np.concatenate(
        [basis.get_dofs("mid x").all(["u_x", "u_xy"]), basis.get_dofs("mid y").all(["u_y", "u_xy"])]
    )
    free = np.setdiff1d(np.arange(stiff.shape[0]), fixed)
    found = []
    for f in hertz:
        square = (2 * np.pi * f) ** 2
        dynamic = stiff + sp.diags(held) - square * float(floor.mass_per_area) * inertia
        push = held * rigid
        if floor.air_state == "filled":
            bed = PRESSURE / float(floor.air_gap) * (1 + 0.1j)
            dynamic, push = dynamic + bed * inertia, push + bed * (inertia @ rigid)
        dynamic, push = dynamic.tocsc()[free][:, free], push[free]
        if floor.air_state == "sealed":
            bed, speed = 1.4 * PRESSURE / float(floor.air_gap) * (1 + 0.05j), SOUND**2 * (1 + 0.05j)
            couple = product.assemble(basis, air_basis).tocsc()
            wave = slopes.assemble(air_basis) - square / speed * product.assemble(air_basis)
            source = square * bed / speed * couple
            dynamic = sp.bmat([[dynamic, -couple.T[free]], [-source[:, free], wave]], format="csc")
            push = np.concatenate([push, -source @ rigid])
        w = np.zeros(stiff.shape[0], complex)
        w[free] = spsolve(dynamic, push)[: free.size]
        found.append((w.conj() @ (inertia @ w)).real / (half[0] * half[1]))
    return np.array(found)


def _mount(at: float, spacing: float, fields: int, at_edges: bool) -> bool:
    """Whether a mount stands at a distance from the middle of a side."""
    shift = fields / 2 if at_edges else (fields - 1) / 2
    number = at / spacing + shift
    return bool(np.isclose(number, np.rint(number))) and number < fields + at_edges - 0.01


def by_elements(floor: FloorOnMounts, pieces: int = 4) -> np.ndarray:
    f = bands.single_frequencies(BANDS, loss_factor=0.03).values
    square = mean_squares(floor, f.ravel(), pieces).reshape(f.shape)
    return np.asarray(10 * np.log10(square.mean(1)))


@pytest.mark.parametrize("name", FLOORS)
def test_a_free_plate_on_mounts(name: str) -> None:
    floor = FLOORS[name]
    ours = floor.level_change(BANDS).values
    assert ours == pytest.approx(by_elements(floor), abs=0.2)


def test_bending_costs_what_was_missing() -> None:
    """9 × 7.2 m, vented, 1.8 m: some 6 dB less at 40 Hz than of a mass on the same mounts."""
    at_40 = FLOOR.excess(BANDS).sel(frequency=40.0).item()
    assert at_40 == pytest.approx(6.2, abs=0.4)
    floor = replace(FLOOR, bending_stiffness=1e13)
    assert floor.excess(BANDS).values == pytest.approx(0.0, abs=0.05)
    single = SurfaceIsolation(natural_frequency=6.0, loss_factor=0.1)
    assert isinstance(floor.as_a_mass, type(single))
