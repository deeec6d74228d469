"""A floor on battens and rubber elements on a joist floor: beams on discrete springs.

Cubic beam elements in numpy: a joist strip hinged on two supports that move together, a layer with
free ends, and between them the elements one by one. No formula of the library is used on this side.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from scipy.linalg import eigh

from groundborne import bands
from groundborne.structure import FloatingFloor, OneWaySlab

JOISTS = OneWaySlab(span_x=4.2, span_y=5.0, bending_stiffness=1.740e6, cross_stiffness=2662.0,
                    own_mass=45.0, loss_factor=0.06)  # fmt: skip
HEAVY = OneWaySlab(span_x=6.0, span_y=8.0, bending_stiffness=2.0e7, cross_stiffness=1e6,
                   own_mass=480.0, loss_factor=0.05)  # fmt: skip
F = np.array([3.0, 6.3, 9.0, 12.0, 16.0, 17.5, 20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0])


def beam(length: float, pieces: int, rigidity: float, mass: float):
    """Stiffness and consistent mass of a free beam with deflection and slope at each node."""
    h = length / pieces
    k = rigidity / h**3 * np.array(
        [[12, 6 * h, -12, 6 * h], [6 * h, 4 * h**2, -6 * h, 2 * h**2],
         [-12, -6 * h, 12, -6 * h], [6 * h, 2 * h**2, -6 * h, 4 * h**2]]
    )  # fmt: skip
    m = mass * h / 420 * np.array(
        [[156, 22 * h, 54, -13 * h], [22 * h, 4 * h**2, 13 * h, -3 * h**2],
         [54, 13 * h, 156, -22 * h], [-13 * h, -3 * h**2, -22 * h, 4 * h**2]]
    )  # fmt: skip
    size = 2 * (pieces + 1)
    stiffness, inertia = np.zeros((size, size)), np.zeros((size, size))
    for i in range(pieces):
        at = slice(2 * i, 2 * i + 4)
        stiffness[at, at] += k
        inertia[at, at] += m
    return stiffness, inertia


def two_beams(
    slab: OneWaySlab, floor: FloatingFloor, elements: int, at: np.ndarray = F, *, air: float = 0.0
):
    """Mean square and middle of the layer, middle of the slab, and force on both supports.

    `air` is the share of the bed that lies between the elements, at every node.
    """
    length, pieces = float(slab.span_x), 12 * elements
    k1, m1 = beam(length, pieces, float(slab.bending_stiffness), float(slab.mass_per_area))
    k2, m2 = beam(length, pieces, float(floor.stiffness_along_span), float(floor.mass_per_area))
    size = k1.shape[0]
    bed = float(floor.stiffness_per_area) * length
    spring = np.full(pieces + 1, air * bed / pieces)
    spring[[0, -1]] /= 2
    spring[6::12] += (1 - air) * bed / elements
    held = np.zeros((2 * size, 2 * size))
    for node, k in enumerate(spring):
        i, j = 2 * node, size + 2 * node
        held[[i, j], [i, j]] += k
        held[[i, j], [j, i]] -= k
    stiffness = np.zeros((2 * size, 2 * size), dtype=complex)
    stiffness[:size, :size] = k1 * (1 + 1j * slab.loss_factor)
    stiffness[size:, size:] = k2 * (1 + 1j * floor.bending_loss_factor)
    stiffness += held * (1 + 1j * floor.loss_factor)
    inertia = np.zeros((2 * size, 2 * size))
    inertia[:size, :size], inertia[size:, size:] = m1, m2
    moved = np.array([0, size - 2])
    free = np.setdiff1d(np.arange(2 * size), moved)
    found = []
    for f in at:
        dynamic = stiffness - (2 * np.pi * f) ** 2 * inertia
        w = np.ones(2 * size, dtype=complex)
        push = -dynamic[np.ix_(free, moved)].sum(1)
        w[free] = np.linalg.solve(dynamic[np.ix_(free, free)], push)
        top = w[size:]
        square = (np.conj(top) @ m2 @ top).real / float(floor.mass_per_area) / length
        force = (dynamic[moved] @ w).sum() / (2j * np.pi * f) * float(slab.span_y)
        found.append((square, top[pieces], w[pieces], force))
    return tuple(np.array(x) for x in zip(*found, strict=True))


def light(mass: float, frequency: float, rigidity: float) -> FloatingFloor:
    return FloatingFloor(
        mass_per_area=mass, stiffness_per_area=mass * (2 * np.pi * frequency) ** 2,
        loss_factor=0.1, bending_stiffness=rigidity,
    )  # fmt: skip


CASES = [
    (JOISTS, light(42.7, 10.0, 2e4), 0.0),  # boards on battens along the joists, vented
    (JOISTS, light(42.7, 34.0, 2e4), 0.9),  # the same on sealed air
    (JOISTS, light(120.0, 12.0, 4e5), 0.0),  # a dry screed
    (HEAVY, light(250.0, 8.0, 2.6e6), 0.0),  # 100 mm of concrete on a ribbed slab
]

LIMP_IS_OFF = {42.7: 0.5, 120.0: 10.1, 250.0: 10.5}
"""Largest error of a limp layer to 50 Hz by its mass per area [dB], found here."""


def test_the_beam_elements() -> None:
    """λ = π hinged and 4.730 free (Rayleigh; any handbook): first frequencies to 1e-5."""
    k, m = beam(1.0, 40, 1.0, 1.0)
    free = np.sqrt(np.abs(eigh(k, m, eigvals_only=True)))
    assert free[2] == pytest.approx(4.73004**2, rel=1e-5)
    inside = np.setdiff1d(np.arange(k.shape[0]), [0, k.shape[0] - 2])
    hinged = np.sqrt(eigh(k[np.ix_(inside, inside)], m[np.ix_(inside, inside)], eigvals_only=True))
    assert hinged[0] == pytest.approx(np.pi**2, rel=1e-5)


@pytest.mark.parametrize(("slab", "floor", "air"), CASES)
def test_two_beams_on_a_bed(slab, floor, air) -> None:
    """A spring at every node: the bed of the closed form, to 0.1 dB and 1 %."""
    loaded = replace(slab, floating_floor=floor)
    f = xr.DataArray(F, dims="frequency")
    square, top, below, force = two_beams(slab, floor, 10, air=1.0)
    ours = loaded.surface_mean_square_ratio(f, on_floating_floor=True).values
    assert 10 * np.log10(ours / square) == pytest.approx(0.0, abs=0.1)
    for on_top, middle in ((True, top), (False, below)):
        found = loaded.mid_panel_ratio(f, on_floating_floor=on_top).values
        assert np.abs(found - middle).max() < 0.01 * np.abs(middle).max()
    assert np.abs(loaded.impedance(f).values - force).max() < 0.01 * np.abs(force).max()


@pytest.mark.parametrize(("slab", "floor", "air"), CASES)
def test_two_beams_on_elements_0_6_m_apart(slab, floor, air) -> None:
    """Seven or ten elements along the span instead of a bed."""
    labels = bands.third_octaves(4, 100).values
    exact = bands.exact(labels)
    lines = exact[:, None] * 10 ** ((np.arange(24) + 0.5) / 240 - 0.05)
    count = round(float(slab.span_x) / 0.6)
    square = two_beams(slab, floor, count, lines.ravel(), air=air)[0].reshape(lines.shape).mean(1)
    f = xr.DataArray(lines, dims=("frequency", "single_frequency"))

    def off(layer: FloatingFloor):
        loaded = replace(slab, floating_floor=layer)
        ours = (
            loaded.surface_mean_square_ratio(f, on_floating_floor=True)
            .mean("single_frequency")
            .values
        )
        return 10 * np.log10(ours / square)

    bent = off(floor)
    assert bent[labels <= 50] == pytest.approx(0.0, abs=1.0)
    # Above, the row of elements lets through at 63 Hz what a bed does not: more than 28 dB down.
    rest = square[bent < -1.0]
    assert (10 * np.log10(rest) < -27.0).all()
    # A limp layer is off by so much where layer and slab weigh alike: what bending is for.
    limp = np.abs(off(floor.limp())[labels <= 50]).max()
    assert limp == pytest.approx(LIMP_IS_OFF[float(floor.mass_per_area)], abs=0.5)
