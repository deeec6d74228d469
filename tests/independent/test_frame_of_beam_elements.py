"""Frames in bending against finite elements: cubic beams with consistent masses, in numpy alone."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import xarray as xr

from groundborne.structure import (
    BendingFrame,
    FrameStorey,
    LateralFoundation,
    RectangularFooting,
    SlabStrip,
)

ELEMENTS = 40  # of a column, and of a strip of slab
FREQUENCIES = np.array([0.5, 2.0, 5.0, 9.7, 20.0, 41.0, 63.0, 88.0, 125.0])


def beam(stiffness, mass, length, omega):
    """Dynamic stiffness of one cubic element: stiffness less consistent mass."""
    h = length
    k = stiffness / h**3 * np.array(
        [[12, 6 * h, -12, 6 * h], [6 * h, 4 * h * h, -6 * h, 2 * h * h],
         [-12, -6 * h, 12, -6 * h], [6 * h, 2 * h * h, -6 * h, 4 * h * h]]
    )  # fmt: skip
    m = mass * h / 420 * np.array(
        [[156, 22 * h, 54, -13 * h], [22 * h, 4 * h * h, 13 * h, -3 * h * h],
         [54, 13 * h, 156, -22 * h], [-13 * h, -3 * h * h, -22 * h, 4 * h * h]]
    )  # fmt: skip
    return k - omega**2 * m


def into(matrix, block, places):
    """Add a block where its degrees of freedom are; those at None are held."""
    for i, row in enumerate(places):
        for j, column in enumerate(places):
            if row is not None and column is not None:
                matrix[row, column] += block[i, j]


def by_elements(storeys, omega, *, soil=None, footing=0.0, under=None, spring=None):
    """Displacement of each floor for 1 m of ground, or of an imposed foundation."""
    count = 0

    def new(n):
        nonlocal count
        count += n
        return range(count - n, count)

    base = new(1)[0]
    blocks, floors = [], []
    lower = (base, None)  # the foundation holds the foot against rotation
    for storey in storeys:
        head = tuple(new(2)) if storey.joint is not None else (new(1)[0], None)
        inner = [tuple(new(2)) for _ in range(ELEMENTS - 1)]
        nodes = [lower, *inner, head]
        stiff = storey.bending_stiffness * (1 + 1j * storey.loss_factor)
        part = beam(stiff, storey.mass_per_length, storey.height / ELEMENTS, omega)
        blocks += [(part, (*a, *b)) for a, b in itertools.pairwise(nodes)]
        floor = head
        if storey.floor == under:
            floor = tuple(new(2)) if storey.joint is not None else (new(1)[0], None)
            blocks.append((spring * np.array([[1, -1], [-1, 1]]), (head[0], floor[0])))
        blocks.append((np.array([[-(omega**2) * storey.floor_mass]]), (floor[0],)))
        if storey.joint is not None:
            # One period of the slab: both its ends are this joint, which does not sink.
            slab = storey.joint
            ends = (None, floor[1])
            nodes = [ends, *(tuple(new(2)) for _ in range(ELEMENTS - 1)), ends]
            stiff = slab.bending_stiffness * (1 + 1j * slab.loss_factor)
            part = beam(stiff, slab.mass_per_length, slab.span / ELEMENTS, omega)
            blocks += [(part, (*a, *b)) for a, b in itertools.pairwise(nodes)]
        floors.append(floor[0])
        lower = floor
    matrix = np.zeros((count, count), dtype=complex)
    for block, places in blocks:
        into(matrix, block, places)
    force = np.zeros(count, dtype=complex)
    if soil is None:
        free = [i for i in range(count) if i != base]
        found = np.ones(count, dtype=complex)
        found[free] = np.linalg.solve(matrix[np.ix_(free, free)], -matrix[free, base])
        return found[floors]
    matrix[base, base] += soil - omega**2 * footing
    force[base] = soil
    return np.linalg.solve(matrix, force)[floors]


def storeys(joint):
    rows = [
        ("0", 2.4, 9e7, 60e3),
        ("1", 3.6, 6e7, 45e3),
        ("2", 3.2, 5e7, 45e3),
        ("3", 3.2, 4e7, 30e3),
    ]
    return tuple(
        FrameStorey(floor=name, height=height, bending_stiffness=stiffness, mass_per_length=450.0,
                    loss_factor=0.03, floor_mass=mass, joint=joint)
        for name, height, stiffness, mass in rows
    )  # fmt: skip


STRIP = SlabStrip(span=6.0, bending_stiffness=7e7, mass_per_length=1500.0, loss_factor=0.06)


class Springs:
    """Mounts of a stated horizontal stiffness."""

    citations = ()
    loss_factor_floor = 0.1

    def lateral_stiffness(self, frequency):
        return xr.ones_like(frequency, dtype=complex) * 8e6 * (1 + 0.1j)


@pytest.mark.parametrize("joint", [None, STRIP], ids=["held", "slabs in bending"])
@pytest.mark.parametrize("mounted", [False, True], ids=["as built", "on mounts"])
@pytest.mark.parametrize("on_soil", [False, True], ids=["imposed", "on soil"])
def test_floors_of_a_frame_move_as_by_finite_elements(joint, mounted, on_soil):
    footing = RectangularFooting(length=9.0, width=7.0, shear_wave_speed=220.0, density=1900.0,
                                 poisson=0.35, loss_factor=0.06, embedment=1.0)  # fmt: skip
    found = BendingFrame(
        storeys=storeys(joint),
        foundation=LateralFoundation(soil=footing, mass=90e3) if on_soil else None,
        under="0" if mounted else None,
        mounts=Springs() if mounted else None,
    ).velocity_ratio(xr.DataArray(FREQUENCIES, dims="frequency"))
    for at, f in enumerate(FREQUENCIES):
        omega = 2 * np.pi * f
        # 6.8 (L/B)^0.65 + 2.4 and so on by hand, beside the footing of the library.
        aspect, b = 9.0 / 7.0, 3.5
        static = 1900 * 220**2 * b / 1.65 * (6.8 * aspect**0.65 + 2.4)
        static *= 1 + (0.33 + 1.34 / (1 + aspect)) * (1.0 / b) ** 0.8
        soil = static * (1 + 0.06j) + 1j * omega * 1900 * 220 * 63.0
        more = {"under": "0", "spring": 8e6 * (1 + 0.1j)} if mounted else {}
        if on_soil:
            more |= {"soil": soil, "footing": 90e3}
        exact = by_elements(storeys(joint), omega, **more)
        np.testing.assert_allclose(found.isel(frequency=at).values, exact, rtol=1e-3)
