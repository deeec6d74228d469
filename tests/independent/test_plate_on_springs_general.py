"""Plates on springs against a general finite-element library and against beam theory.

The library's plate is built of rectangles with cubic functions; here it is meshed by triangles
with Argyris functions (quintic), and its springs are added to the sparse matrix instead of being
condensed. Source of the check: scikit-fem (Gustafsson and McBain 2020), no published numbers.
"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy.sparse import diags
from scipy.sparse.linalg import spsolve
from skfem import (
    Basis,
    BilinearForm,
    ElementTriArgyris,
    LinearForm,
    MeshTri,
)
from skfem.helpers import dd, ddot, trace

from groundborne.structure import PlateBeam, PlateOnSprings, PlatePart

POISSON = 0.2
LOW, HIGH = 8e7, 3e8  # N m; rigidity of the two parts
TOLERANCE = 1.5e-3  # of the largest; both meshes leave as much at point forces


def general(springs, stiffness, loads, places, pressure, points):
    """Reactions, and deflections at points, of an L-shaped plate of 12 x 12 m less 6 x 6 m."""
    steps = np.linspace(0, 12, 17)
    mesh = MeshTri.init_tensor(steps, steps)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.remove_elements(np.flatnonzero((middle[0] > 6) & (middle[1] > 6)))
    basis = Basis(mesh, ElementTriArgyris())

    @BilinearForm
    def energy(u, v, w):
        rigidity = np.where(w.x[0] > 6, HIGH, LOW)
        bent = POISSON * trace(dd(u)) * trace(dd(v)) + (1 - POISSON) * ddot(dd(u), dd(v))
        return rigidity * bent

    @LinearForm
    def weight(v, w):
        return pressure * v

    at_springs = basis.probes(springs)
    matrix = energy.assemble(basis) + at_springs.T @ diags(stiffness) @ at_springs
    force = weight.assemble(basis) + basis.probes(places).T @ loads
    found = spsolve(matrix.tocsc(), force)
    return stiffness * (at_springs @ found), basis.probes(points) @ found


def test_an_l_shaped_plate_of_two_rigidities() -> None:
    draw = np.random.default_rng(11)
    springs = np.array(
        [
            [0.5, 6.2, 11.4, 0.4, 5.1, 11.2, 0.6, 5.4, 3.1],
            [0.4, 0.7, 0.5, 6.1, 5.2, 5.3, 11.5, 11.3, 8.0],
        ]
    )
    stiffness = draw.uniform(5e7, 3e8, 9)
    places, loads = np.array([[2.3, 9.1, 4.2], [3.1, 2.6, 10.4]]), np.array([8e5, 6e5, 3e5])
    points = np.array([[1.5, 8.0, 3.3, 11.9], [1.0, 4.0, 9.0, 5.9]])
    names = {"column": [f"C{i}" for i in range(9)]}
    x, y, k = (
        xr.DataArray(v, dims="column", coords=names) for v in (springs[0], springs[1], stiffness)
    )
    plate = PlateOnSprings(
        x=x,
        y=y,
        stiffness=k,
        parts=[
            PlatePart(x=(0, 6), y=(0, 12), rigidity=LOW, poisson=POISSON),
            PlatePart(x=(6, 12), y=(0, 6), rigidity=HIGH, poisson=POISSON),
        ],
        element_size=0.5,
    )
    where = {"x": ("load_point", places[0]), "y": ("load_point", places[1])}
    load = xr.DataArray(loads, dims="load_point", coords=where)
    at = xr.Dataset({"x": ("point", points[0]), "y": ("point", points[1])})
    found = plate.response(pressure=4e3, point_load=load, holds_down=True, at=at)
    reaction, deflection = general(springs, stiffness, loads, places, 4e3, points)
    assert found.reaction.values == pytest.approx(reaction, abs=TOLERANCE * reaction.max())
    assert found.deflection_at.values == pytest.approx(deflection, abs=TOLERANCE * deflection.max())
    # one spring gone
    keep = np.arange(9) != 4
    lost = plate.response(
        pressure=4e3, point_load=load, holds_down=True, at=at, factor=plate.lose(["C4"])
    ).isel(lost=0)
    reaction, deflection = general(springs[:, keep], stiffness[keep], loads, places, 4e3, points)
    assert lost.reaction.values[keep] == pytest.approx(reaction, abs=TOLERANCE * reaction.max())
    assert lost.deflection_at.values == pytest.approx(deflection, abs=TOLERANCE * deflection.max())


def test_an_infinite_beam_on_an_elastic_foundation() -> None:
    """Hetenyi 1946: y = P λ/(2 k), M = P/(4 λ), y(π/λ) = −e^(−π) of it [from memory].

    A beam of 20/λ on springs so close (0.1/λ) that they are a foundation: he gives 0.1 as near
    enough; the differences here are below 0.1 % (0.2 % on elements twice as long).
    """
    stiff, base = 2e8, 5e6  # N m², N/m²
    lam = (base / (4 * stiff)) ** 0.25
    step = 0.1 / lam
    x = np.arange(-100, 101) * step
    names = {"spring": np.arange(x.size)}
    along = xr.DataArray(x, dims="spring", coords=names)
    width = 0.2
    edge = x[-1] + step / 2
    beam = PlateOnSprings(
        x=along,
        y=0 * along,
        stiffness=base * step,
        parts=[PlatePart(x=(-edge, edge), y=(-width, width), rigidity=1.0, poisson=0.0)],
        beams=[PlateBeam(start=(-edge, 0.0), end=(edge, 0.0), bending_stiffness=stiff)],
        element_size=2 * step,
    )
    load = xr.where(abs(along) < step / 2, 1e6, 0.0)
    at = xr.Dataset({"x": ("point", [0.0, np.pi / lam]), "y": ("point", [0.0, 0.0])})
    found = beam.response(load, holds_down=True, at=at)
    want = 1e6 * lam / (2 * base) * np.array([1.0, -np.exp(-np.pi)])
    assert found.deflection_at.values == pytest.approx(want, rel=1e-3)
    # moment in the middle from the reactions of one half
    half = (found.reaction - load) * along
    moment = float(half.where(along > 0, 0.0).sum())
    assert moment == pytest.approx(1e6 / (4 * lam), rel=2e-3)
    # without tension it lifts off where the beam would rise
    free = beam.response(load)
    assert float(free.reaction.min()) == 0.0
    assert bool((free.gap > 0).any())
    assert float(free.reaction.sum()) == pytest.approx(1e6, rel=1e-10)


@pytest.mark.parametrize(
    ("spans", "want"),
    [
        (2, [0.375, 1.25, 0.375]),
        (3, [0.4, 1.1, 1.1, 0.4]),
        (4, [0.393, 1.143, 0.929, 1.143, 0.393]),
        (5, [0.395, 1.132, 0.974, 0.974, 1.132, 0.395]),
    ],
)
def test_continuous_beams(spans: int, want: list[float]) -> None:
    """Reactions over q l of equal spans, as every handbook prints them [from memory]."""
    x = xr.DataArray(
        np.arange(spans + 1) * 4.0, dims="support", coords={"support": np.arange(spans + 1)}
    )
    strip = PlateOnSprings(
        x=x,
        y=0 * x,
        stiffness=np.inf,
        parts=[PlatePart(x=(0.0, 4.0 * spans), y=(-0.25, 0.25), rigidity=1e7, poisson=0.0)],
        element_size=2.0,
    )
    found = strip.response(pressure=2.0 / 4.0)
    assert found.reaction.values == pytest.approx(want, abs=5.1e-4)


@pytest.mark.parametrize("ratio", [1.0, 1.4, 2.0])
def test_a_plate_on_its_edges_by_the_double_series(ratio: float) -> None:
    """Navier's series for uniform load, summed here [derived]: deflection and both moments."""
    m, n = np.arange(1, 400, 2)[:, None], np.arange(1, 400, 2)[None, :]
    wave = (m / ratio) ** 2 + n**2
    sign = np.sin(m * np.pi / 2) * np.sin(n * np.pi / 2) / (m * n * wave**2)
    deflection = 16 / np.pi**6 * sign.sum()
    moments = [
        16 / np.pi**4 * (sign * (one + 0.3 * two)).sum()
        for one, two in (((m / ratio) ** 2, n**2), (n**2, (m / ratio) ** 2))
    ]
    wide, deep = np.linspace(0, ratio, int(40 * ratio) + 2), np.linspace(0, 1, 42)
    x = np.concatenate([wide, wide, 0 * deep[1:-1], 0 * deep[1:-1] + ratio])
    y = np.concatenate([0 * wide, 0 * wide + 1, deep[1:-1], deep[1:-1]])
    names = {"support": np.arange(x.size)}
    place = [xr.DataArray(v, dims="support", coords=names) for v in (x, y)]
    plate = PlateOnSprings(
        x=place[0],
        y=place[1],
        stiffness=1e9,
        parts=[PlatePart(x=(0.0, ratio), y=(0.0, 1.0), rigidity=1.0, poisson=0.3)],
        element_size=0.05,
    )
    at = xr.Dataset({"x": ("point", [ratio / 2]), "y": ("point", [0.5])})
    found = plate.response(pressure=1.0, holds_down=True, at=at)
    assert found.deflection_at.item() == pytest.approx(deflection, rel=2e-5)
    got = [found.moment_x.item(), found.moment_y.item()]
    assert got == pytest.approx(moments, rel=3e-3)
