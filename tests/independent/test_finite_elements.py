"""Column lines against a general finite-element library.

The same buildings are assembled from quadratic bar elements (columns) and Bogner-Fox-Schmit plate
elements (slabs, a quarter panel with its symmetries), springs and soil, and solved at the same
frequencies. No formula of the library is used on that side but the soil's impedance, which is an
input to both. Source of the check: scikit-fem (Gustafsson and McBain 2020), no published numbers.

Tolerance 0.2 dB per one-third-octave band from 1 to 250 Hz. Most of it is for the plate mesh: the
largest difference, at a thin slab, falls from 0.68 dB with 8 equal elements to 0.28 with 12 and
0.15 with 16, as the square of their size at the point force; 10 elements graded towards the
column leave 0.12 dB, 12 leave 0.07 dB. Slabs with a floating floor have twice the unknowns and
get 8, which leaves 0.12 dB here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import scipy.sparse as sp
import xarray as xr
from scipy.sparse.linalg import splu
from skfem import (
    Basis,
    BilinearForm,
    ElementLineP0,
    ElementLineP2,
    ElementQuadBFS,
    MeshLine,
    MeshQuad,
)
from skfem.helpers import dd, ddot, grad, trace

from groundborne import bands
from groundborne.isolation import LinearMount
from groundborne.structure import (
    ColumnLine,
    DiscFooting,
    EdgeSupportedSlab,
    FlatSlab,
    FloatingFloor,
    IsolationPlane,
    RectangularFooting,
    RigidMass,
    SpringFoundation,
    Storey,
)
from groundborne.twoport import TwoPort

BANDS = bands.third_octaves(1, 250)
TOLERANCE = 0.2
ELEMENTS, ELEMENTS_FLOATING = 10, 8
GRADING = 1.4


# ---- slabs -------------------------------------------------------------------------------------


class MeshedSlab:
    """A quarter of a panel; four of them make what the column or the edges carry."""

    def __init__(self, slab: FlatSlab | EdgeSupportedSlab) -> None:
        self.slab = slab
        a, b = slab.span_x / 2, slab.span_y / 2
        count = ELEMENTS if slab.floating_floor is None else ELEMENTS_FLOATING
        graded = np.linspace(0, 1, count + 1) ** GRADING
        mesh = MeshQuad.init_tensor(a * graded, b * graded).with_boundaries(
            {
                "support": lambda x: np.isclose(x[0], 0) | np.isclose(x[1], 0),
                "x": lambda x: np.isclose(x[0], 0),
                "y": lambda x: np.isclose(x[1], 0),
                "mid x": lambda x: np.isclose(x[0], a),
                "mid y": lambda x: np.isclose(x[1], b),
            }
        )
        basis = Basis(mesh, ElementQuadBFS(), intorder=6)
        nu = slab.poisson
        rigidity = slab.youngs_modulus * slab.thickness**3 / (12 * (1 - nu**2))

        @BilinearForm
        def bending(u: Any, v: Any, _: Any) -> Any:
            curvature, test = dd(u), dd(v)
            return rigidity * (
                nu * trace(curvature) * trace(test) + (1 - nu) * ddot(curvature, test)
            )

        @BilinearForm
        def inertia(u: Any, v: Any, _: Any) -> Any:
            return u * v

        self.stiffness, self.unit = bending.assemble(basis), inertia.assemble(basis)
        self.area = a * b
        size = self.stiffness.shape[0]
        nodes = basis.nodal_dofs[0]
        corner = np.flatnonzero(np.isclose(mesh.p, 0).all(axis=0))[0]
        middle = np.flatnonzero(np.isclose(mesh.p.T, [a, b]).all(axis=1))[0]
        self.middle = nodes[middle]
        zero = [
            basis.get_dofs("mid x").all(["u_x", "u_xy"]),
            basis.get_dofs("mid y").all(["u_y", "u_xy"]),
        ]
        if isinstance(slab, FlatSlab):
            zero += [
                basis.get_dofs("x").all(["u_x", "u_xy"]),
                basis.get_dofs("y").all(["u_y", "u_xy"]),
            ]
            self.driven = np.array([nodes[corner]])
        else:
            zero += [basis.get_dofs("x").all(["u_y"]), basis.get_dofs("y").all(["u_x"])]
            self.driven = basis.get_dofs("support").all(["u"])
        self.fields = 1 if slab.floating_floor is None else 2
        held = np.concatenate([*zero, self.driven])
        self.free = np.setdiff1d(np.arange(size), held)
        if self.fields == 2:
            # The floating floor has a displacement of its own on the same mesh; of its slopes
            # only those that the slab cannot have are held.
            slopes = np.concatenate(zero)
            self.free = np.concatenate([self.free, size + np.setdiff1d(np.arange(size), slopes)])
        self.size = size
        self.parts = [self._cut(m) for m in self._matrices()]

    def _matrices(self) -> tuple[sp.csc_matrix, sp.csc_matrix]:
        """Complex stiffness and real mass of all fields."""
        slab, floor = self.slab, self.slab.floating_floor
        per_area = slab.density * slab.thickness + slab.superimposed_mass
        k, m = self.stiffness * (1 + 1j * slab.loss_factor), per_area * self.unit
        if floor is None:
            return sp.csc_matrix(k), sp.csc_matrix(m)
        layer = floor.stiffness_per_area * (1 + 1j * floor.loss_factor) * self.unit
        upper = floor.mass_per_area * self.unit
        return (
            sp.bmat([[k + layer, -layer], [-layer, layer]], format="csc"),
            sp.block_diag([m, upper], format="csc"),
        )

    def _cut(self, matrix: sp.csc_matrix) -> tuple[sp.csc_matrix, np.ndarray, complex]:
        """Split into free dofs, their coupling to unit motion of the column, and its own part."""
        column = np.zeros(matrix.shape[0])
        column[self.driven] = 1.0
        coupled = matrix @ column
        return matrix[self.free][:, self.free], coupled[self.free], column @ coupled

    def solve(self, omega: float) -> dict[str, Any]:
        """Dynamic stiffness for unit motion of the column, and the motion of the panel."""
        free, side, own = (k - omega**2 * m for k, m in zip(*self.parts, strict=True))
        u = np.zeros(self.size * self.fields, complex)
        u[self.driven] = 1.0
        u[self.free] = solve_symmetric(free, -side)
        lower = u[: self.size]
        top = u[self.size :] if self.fields == 2 else lower
        return {
            "stiffness": 4 * (own + side @ u[self.free]),
            "mid": abs(lower[self.middle]) ** 2,
            "top mid": abs(top[self.middle]) ** 2,
            "surface": (lower.conj() @ self.unit @ lower).real / self.area,
            "top surface": (top.conj() @ self.unit @ top).real / self.area,
        }


def solve_symmetric(matrix: Any, load: np.ndarray) -> np.ndarray:
    """Direct solution; the ordering suits a symmetric pattern."""
    factors = splu(
        sp.csc_matrix(matrix),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.01,
        options={"SymmetricMode": True},
    )
    return factors.solve(load)


class Oscillators:
    """An edge-supported slab as lumped masses on springs, one for each of its lowest modes."""

    def __init__(self, slab: EdgeSupportedSlab, highest: int = 21) -> None:
        m = np.arange(1, highest + 1, 2)
        a, b = slab.span_x, slab.span_y
        per_area = slab.density * slab.thickness + slab.superimposed_mass
        rigidity = slab.youngs_modulus * slab.thickness**3 / (12 * (1 - slab.poisson**2))
        k2 = ((np.pi * m / a) ** 2)[:, None] + (np.pi * m / b) ** 2
        self.masses = (64 / np.pi**4 / (m[:, None] * m) ** 2 * per_area * a * b).ravel()
        self.springs = self.masses * (rigidity / per_area * k2**2).ravel()
        self.springs = self.springs * (1 + 1j * slab.loss_factor)
        self.rest = per_area * a * b - self.masses.sum()


class Lump:
    """A rigid mass."""

    def __init__(self, slab: RigidMass) -> None:
        self.mass = slab.mass

    def solve(self, omega: float) -> dict[str, Any]:
        one = dict.fromkeys(("mid", "top mid", "surface", "top surface"), 1.0)
        return {"stiffness": -(omega**2) * self.mass, **one}


# ---- columns -----------------------------------------------------------------------------------


def bar(storeys: list[Storey], per_storey: int = 3) -> tuple[Any, Any, np.ndarray]:
    """Stiffness, mass and the dofs at the levels of a run of column segments."""
    heights = np.array([s.height for s in storeys])
    level = np.concatenate([[0.0], np.cumsum(heights)])
    x = np.unique(
        np.concatenate([np.linspace(p, q, per_storey + 1) for p, q in pairwise(level)]).round(9)
    )
    mesh = MeshLine(x)
    basis = Basis(mesh, ElementLineP2(), intorder=4)
    constant = basis.with_element(ElementLineP0())
    owner = np.searchsorted(level, mesh.p[0][mesh.t].mean(axis=0)) - 1

    def spread(values: list[complex]) -> Any:
        field = np.zeros(constant.N, complex)
        field[constant.element_dofs[0]] = np.array(values)[owner]
        return constant.interpolate(field)

    axial = spread([s.youngs_modulus * s.area * (1 + 1j * s.loss_factor) for s in storeys])
    line = spread([s.density * s.area + 0j for s in storeys])

    @BilinearForm(dtype=np.complex128)
    def stretch(u: Any, v: Any, w: Any) -> Any:
        return w["axial"] * grad(u)[0] * grad(v)[0]

    @BilinearForm(dtype=np.complex128)
    def inertia(u: Any, v: Any, w: Any) -> Any:
        return w["line"] * u * v

    at = np.array([int(np.argmin(abs(mesh.p[0] - z))) for z in level])
    return (
        stretch.assemble(basis, axial=axial),
        inertia.assemble(basis, line=line),
        basis.nodal_dofs[0][at],
    )


@dataclass(frozen=True, kw_only=True)
class Coil:
    """Mounts with a mass of their own: a uniform elastic line."""

    stiffness: float
    mass: float
    loss_factor: float
    citations: tuple[Any, ...] = ()

    @property
    def loss_factor_floor(self) -> float:
        return self.loss_factor

    def two_port(self, frequency: xr.DataArray) -> TwoPort:
        return TwoPort.line(
            frequency, stiffness=self.stiffness, mass=self.mass, loss_factor=self.loss_factor
        )


def mount_matrices(mount: Any, omega: float) -> tuple[np.ndarray, int]:
    """Dynamic stiffness matrix of the mounts between the two nodes they join, and inner dofs."""
    if isinstance(mount, LinearMount):
        k = mount.stiffness * (1 + 1j * mount.loss_factor) + 1j * omega * mount.damping
        return np.array([[k, -k], [-k, k]]), 0
    n = 12
    segment = Storey(
        floor=0,
        height=1.0,
        area=1.0,
        youngs_modulus=mount.stiffness,
        density=mount.mass,
        loss_factor=mount.loss_factor,
        slab=RigidMass(mass=1.0),
    )
    k, m, (low, high) = bar([segment], per_storey=n)
    order = [low, high, *np.setdiff1d(np.arange(k.shape[0]), [low, high])]
    a = (k - omega**2 * m).toarray()[np.ix_(order, order)]
    return a, len(order) - 2


def finite_elements(line: ColumnLine, lines: np.ndarray) -> dict[str, np.ndarray]:
    """Mean squares over the free motion, by level and frequency."""
    slabs = [line.base_slab, *(s.slab for s in line.storeys)]
    plane = line.isolation
    nodes = [line.base_floor, *(s.floor for s in line.storeys)]
    cut = None if plane is None else nodes.index(plane.floor)
    on = plane is not None and plane.on is not None

    storeys = list(line.storeys)
    stiff: list[Any] = []
    mass: list[Any] = []
    foot: list[int] = []
    head: list[int] = []
    if cut is None:
        k, m, at = bar(storeys)
        stiff, mass = [k], [m]
        foot, head = list(at[:-1]), list(at[1:])
        start = 0
    else:
        # Two runs of columns; the mounts join the head of the lower to what they carry.
        runs = [storeys[:cut], storeys[cut:]]
        start = 0
        for run in runs:
            if not run:
                continue
            k, m, at = bar(run)
            stiff.append(k)
            mass.append(m)
            foot += list(at[:-1] + start)
            head += list(at[1:] + start)
            start += k.shape[0]
    k, m = sp.block_diag(stiff, format="csc"), sp.block_diag(mass, format="csc")
    size = k.shape[0]
    # Node of each slab; where the mounts are, a level may have one node below them and one above.
    at_slab = [foot[0], *head]
    pair = None
    if cut is not None:
        below = head[cut - 1] if cut > 0 else size
        above = foot[cut] if cut < len(storeys) else size
        if cut == 0 or cut == len(storeys):
            size += 1
        pair = (below, above)
        at_slab[cut] = below if on else above
    base = at_slab[0] if cut != 0 else pair[0]  # type: ignore[index]

    models: dict[int, Any] = {}
    for slab in slabs:
        if slab is not None and id(slab) not in models:
            oscillating = isinstance(slab, EdgeSupportedSlab) and slab.superimposed_mass == 123.0
            models[id(slab)] = (
                Lump(slab)
                if isinstance(slab, RigidMass)
                else Oscillators(slab)
                if oscillating
                else MeshedSlab(slab)
            )

    names = ("column", "mid", "surface", "top mid", "top surface")
    found = {n: np.zeros((len(slabs), lines.size)) for n in names}
    ground = line.foundation.driving_point_mobility(xr.DataArray(lines, dims="frequency")).values
    for i, f in enumerate(lines):
        omega = 2 * np.pi * f
        a = sp.lil_matrix((size, size), dtype=complex)
        a[: k.shape[0], : k.shape[0]] = k - omega**2 * m
        soil = 1j * omega / ground[i]
        a[base, base] += soil
        extra: list[sp.spmatrix] = []
        motion = {}
        for node, slab in zip(at_slab, slabs, strict=True):
            if slab is None:
                continue
            model = models[id(slab)]
            if isinstance(model, Oscillators):
                a[node, node] += model.springs.sum() - omega**2 * model.rest
                coupling = sp.lil_matrix((size, model.springs.size), dtype=complex)
                coupling[node] = -model.springs
                extra.append((coupling, model.springs - omega**2 * model.masses))
            else:
                if id(slab) not in motion:
                    motion[id(slab)] = model.solve(omega)
                a[node, node] += motion[id(slab)]["stiffness"]
        if pair is not None:
            inner, count = mount_matrices(plane.mount, omega)  # type: ignore[union-attr]
            a[np.ix_(pair, pair)] += inner[:2, :2]
            if count:
                coupling = sp.lil_matrix((size, count), dtype=complex)
                coupling[list(pair)] = inner[:2, 2:]
                extra.append((coupling, inner[2:, 2:]))
        if extra:
            side = sp.hstack([c for c, _ in extra])
            blocks = [sp.diags(d) if d.ndim == 1 else sp.csc_matrix(d) for _, d in extra]
            a = sp.bmat([[a, side], [side.T, sp.block_diag(blocks)]])
        load = np.zeros(a.shape[0], complex)
        load[base] = soil
        u = solve_symmetric(a, load)
        for level, (node, slab) in enumerate(zip(at_slab, slabs, strict=True)):
            squared = abs(u[node]) ** 2
            found["column"][level, i] = squared
            for name in names[1:]:
                found[name][level, i] = squared * motion.get(id(slab), {}).get(name, np.nan)
    first = 0 if line.base_slab is not None else 1
    return {n: v[first:] for n, v in found.items()}


# ---- buildings ---------------------------------------------------------------------------------

COLUMN = {"youngs_modulus": 35e9, "density": 2450.0, "loss_factor": 0.05}
SLAB = {"density": 2400.0, "poisson": 0.2, "loss_factor": 0.06}


def school() -> ColumnLine:
    flat = FlatSlab(
        span_x=8.0,
        span_y=7.5,
        thickness=0.28,
        youngs_modulus=38e9,
        superimposed_mass=150.0,
        **SLAB,
    )
    ground = replace(flat, thickness=0.4)
    rows = [(0, 0.9, ground), (1, 4.2, flat), (2, 3.6, flat), (3, 3.6, flat)]
    storeys = [Storey(floor=n, height=h, area=0.25, slab=s, **COLUMN) for n, h, s in rows]
    return ColumnLine(
        storeys=tuple(storeys),
        foundation=RectangularFooting(
            length=8.0,
            width=7.5,
            shear_wave_speed=220.0,
            density=1950.0,
            poisson=0.35,
            loss_factor=0.06,
        ),
        base_slab=RigidMass(mass=86400.0),
        base_floor=-1,
        isolation=IsolationPlane(
            mount=LinearMount(stiffness=2.2e8, loss_factor=0.08, damping=2e4), under=0
        ),
    )


def tower() -> ColumnLine:
    flat = FlatSlab(
        span_x=6.0,
        span_y=6.0,
        thickness=0.22,
        youngs_modulus=22.5e9,
        superimposed_mass=180.0,
        **SLAB,
    )
    podium = replace(flat, thickness=0.3, youngs_modulus=30e9)
    side = [0.8] * 2 + [0.75] * 8 + [0.6] * 8 + [0.45] * 6
    storeys = [
        Storey(
            floor=i + 1,
            height=4.5 if i < 2 else 3.15,
            area=s**2,
            slab=podium if i < 1 else flat,
            **COLUMN,
        )
        for i, s in enumerate(side)
    ]
    return ColumnLine(
        storeys=tuple(storeys),
        foundation=SpringFoundation(
            stiffness=1.8e9, damping=1.2e7, loss_factor=0.08, mass=36 * 1.2 * 2400.0
        ),
        isolation=IsolationPlane(mount=LinearMount(stiffness=6.5e8, loss_factor=0.1), under=2),
    )


def basements() -> ColumnLine:
    flat = FlatSlab(
        span_x=7.2,
        span_y=6.6,
        thickness=0.25,
        youngs_modulus=30e9,
        superimposed_mass=120.0,
        **SLAB,
    )
    walled = EdgeSupportedSlab(
        span_x=7.2,
        span_y=6.6,
        thickness=0.3,
        youngs_modulus=30e9,
        superimposed_mass=50.0,
        **SLAB,
    )
    rows = [
        ("B1", 3.0, walled),
        ("ground", 3.4, walled),
        ("first", 3.2, flat),
        ("second", 3.2, flat),
        ("roof", 3.2, flat),
    ]
    storeys = [Storey(floor=n, height=h, area=0.36, slab=s, **COLUMN) for n, h, s in rows]
    return ColumnLine(
        storeys=tuple(storeys),
        foundation=SpringFoundation(stiffness=9e8, damping=8e6, loss_factor=0.08),
        base_slab=RigidMass(mass=40e3),
        base_floor="B2",
        isolation=IsolationPlane(mount=LinearMount(stiffness=1.6e8, loss_factor=0.06), on="ground"),
    )


def floating() -> ColumnLine:
    line = school()
    floor = FloatingFloor(
        mass_per_area=250.0, stiffness_per_area=250.0 * (2 * np.pi * 9.0) ** 2, loss_factor=0.1
    )
    bare, room = line.storeys[1].slab, line.storeys[2]
    assert isinstance(bare, FlatSlab)
    edged = EdgeSupportedSlab(
        span_x=8.0,
        span_y=7.5,
        thickness=0.25,
        youngs_modulus=38e9,
        superimposed_mass=100.0,
        floating_floor=floor,
        **SLAB,
    )
    return replace(
        line,
        storeys=(
            line.storeys[0],
            line.storeys[1],
            replace(room, slab=replace(bare, floating_floor=floor)),
            replace(line.storeys[3], slab=edged),
        ),
        isolation=IsolationPlane(mount=LinearMount(stiffness=4.5e8, loss_factor=0.1), under=0),
    )


def walls_on_coils() -> ColumnLine:
    walled = EdgeSupportedSlab(
        span_x=6.0,
        span_y=4.8,
        thickness=0.2,
        youngs_modulus=30e9,
        superimposed_mass=123.0,  # this value asks for the oscillators instead of the mesh
        **SLAB,
    )
    storeys = [Storey(floor=i, height=2.9, area=0.5, slab=walled, **COLUMN) for i in range(1, 9)]
    return ColumnLine(
        storeys=tuple(storeys),
        foundation=DiscFooting(
            radius=1.6, shear_modulus=60e6, density=1900.0, poisson=0.4, mass=9e3
        ),
        isolation=IsolationPlane(
            mount=Coil(stiffness=1.3e8, mass=620.0, loss_factor=0.06), on="base"
        ),
    )


BUILDINGS = {
    "school": school,
    "tower of 24 storeys": tower,
    "above two basements": basements,
    "floating floors": floating,
    "walls on coils, oscillators": walls_on_coils,
    "school without mounts": lambda: school().without_isolation(),
}


def compare(line: ColumnLine) -> dict[str, float]:
    """Largest difference in any band and floor, by quantity [dB]."""
    f = bands.single_frequencies(BANDS, loss_factor=line.loss_factor_floor)
    assert f.sizes["single_frequency"] == 16
    reference = finite_elements(line, f.values.ravel())
    ours = {
        "column": line.column_mean_square(BANDS),
        "mid": line.mid_panel_mean_square(BANDS),
        "surface": line.surface_mean_square(BANDS),
        "top mid": line.mid_panel_mean_square(BANDS, on_floating_floor=True),
        "top surface": line.surface_mean_square(BANDS, on_floating_floor=True),
    }
    worst = {}
    for name, mine in ours.items():
        theirs = reference[name].reshape(-1, *f.shape).mean(axis=-1)
        difference = 10 * np.log10(mine.transpose("floor", "frequency").values / theirs)
        if np.isfinite(theirs).any():
            worst[name] = float(np.nanmax(abs(difference)))
    return worst


@pytest.mark.parametrize("name", BUILDINGS)
def test_column_line_agrees_with_finite_elements(name: str) -> None:
    worst = compare(BUILDINGS[name]())
    assert set(worst) >= {"column"}
    assert max(worst.values()) < TOLERANCE, worst


def test_the_check_sees_a_wrong_column() -> None:
    """A building that differs by 5 % in its column stiffness does not pass."""
    line = basements()
    f = bands.single_frequencies(BANDS, loss_factor=line.loss_factor_floor)
    wrong = replace(
        line, storeys=tuple(replace(s, youngs_modulus=1.05 * 35e9) for s in line.storeys)
    )
    reference = finite_elements(wrong, f.values.ravel())["column"].reshape(-1, *f.shape)
    mine = line.column_mean_square(BANDS).transpose("floor", "frequency").values
    assert abs(10 * np.log10(mine / reference.mean(axis=-1))).max() > 2 * TOLERANCE
