"""Rigid body on springs against a general nonlinear model that shares no formula with it.

The body is eight point masses at the corners of a smaller box (same mass, same inertia), turned by
scipy's finite rotations. Its potential energy, springs and weight, is differentiated numerically
at the equilibrium found by a root search. No small-angle matrix, no softening term and no static
formula enters on that side. Sources: scipy.spatial.transform and scipy.linalg; no published
numbers.

Tolerances: frequencies 1e-3 and equilibrium 2e-3 relative. The nonlinear model keeps terms of
second order in the rotation (below 2e-3 rad) and in deflection over span; differences of the
energy add less than 1e-5.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg
import scipy.optimize
import xarray as xr
from scipy.spatial.transform import Rotation

from groundborne.structure.element import GRAVITY
from groundborne.structure.rigid_body import RigidBody
from groundborne.structure.supports import Supports


class PointMasses:
    """Eight masses on a rigid frame, springs in fixed directions, weight."""

    def __init__(self, mass, lengths, centre, points, stiffness, weight=True):
        # Corner masses at ± l/(2√3) have the moments of inertia of a full box.
        half = np.array(lengths) / (2 * np.sqrt(3))
        signs = np.array(np.meshgrid([-1, 1], [-1, 1], [-1, 1])).reshape(3, 8).T
        self.masses, self.corners = np.full(8, mass / 8), signs * half
        self.arms = np.asarray(points) - np.asarray(centre)
        self.k = np.asarray(stiffness)
        self.mass, self.weight = mass, weight

    def energy(self, q):
        turned = Rotation.from_rotvec(q[3:]).apply(self.arms) + q[:3]
        stretch = turned - self.arms
        lift = (Rotation.from_rotvec(q[3:]).apply(self.corners) + q[:3])[:, 2]
        return 0.5 * (self.k * stretch**2).sum() + GRAVITY * (self.masses * lift).sum()

    def force(self, q, step=1e-5):
        e = np.eye(6) * step
        return np.array([(self.energy(q + d) - self.energy(q - d)) / (2 * step) for d in e])

    def equilibrium(self):
        scale = np.array([1, 1, 1, 10, 10, 10]) * 1e8
        found = scipy.optimize.root(lambda q: self.force(q) / scale, np.zeros(6), tol=1e-12)
        assert np.abs(self.force(found.x) / scale).max() < 1e-8
        return found.x

    def frequencies(self):
        q, step = self.equilibrium(), 1e-4
        e = np.eye(6) * step
        hessian = np.array(
            [
                [
                    (
                        self.energy(q + a + b)
                        - self.energy(q + a - b)
                        - self.energy(q - a + b)
                        + self.energy(q - a - b)
                    )
                    / (4 * step**2)
                    for b in e
                ]
                for a in e
            ]
        )
        velocity = np.array(
            [
                (
                    Rotation.from_rotvec((q + d)[3:]).apply(self.corners)
                    + (q + d)[:3]
                    - Rotation.from_rotvec((q - d)[3:]).apply(self.corners)
                    - (q - d)[:3]
                )
                / (2 * step)
                for d in e
            ]
        )
        mass = np.einsum("ipc,jpc,p->ij", velocity, velocity, self.masses)
        return np.sqrt(scipy.linalg.eigh(hessian, mass, eigvals_only=True)) / (2 * np.pi)


CASES = {
    "block": (2.4e6, (24.0, 16.0, 20.0), (0.0, 0.0, 8.5), 1.0, 0.7),
    "block off centre": (2.4e6, (24.0, 16.0, 20.0), (1.5, -0.5, 8.5), 1.0, 0.7),
    # Weight takes a quarter of the rocking stiffness here: the softening term carries the case.
    "slender on soft springs": (2.4e6, (10.0, 9.0, 70.0), (0.1, 0.05, 34.0), 0.12, 0.9),
}


def both(case):
    mass, lengths, centre, scale, lateral = CASES[case]
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-10, 10, 4), [-6.0, 0.0, 6.0]))
    kz = scale * (2 * np.pi * 5) ** 2 * mass / 12 * np.linspace(0.9, 1.1, 12)
    names = {"column": np.arange(12)}
    stiff = xr.DataArray(kz, dims="column", coords=names)
    supports = Supports(
        x=xr.DataArray(x, dims="column", coords=names),
        y=xr.DataArray(y, dims="column", coords=names),
        z=0.0,
        kx=lateral * stiff,
        ky=lateral * stiff,
        kz=stiff,
    )
    body = RigidBody.box(
        mass=mass,
        length_x=lengths[0],
        length_y=lengths[1],
        length_z=lengths[2],
        centre_x=centre[0],
        centre_y=centre[1],
        centre_z=centre[2],
        supports=supports,
    )
    points = np.stack([x, y, 0 * x], axis=-1)
    return body, PointMasses(
        mass, lengths, centre, points, np.stack([lateral * kz, lateral * kz, kz], axis=-1)
    )


@pytest.mark.parametrize("case", CASES)
def test_frequencies_with_softening(case):
    body, general = both(case)
    np.testing.assert_allclose(body.modes().natural_frequency, general.frequencies(), rtol=1e-3)


@pytest.mark.parametrize("case", CASES)
def test_equilibrium_under_weight(case):
    body, general = both(case)
    q = general.equilibrium()
    moved = body.response(body.weight).displacement
    np.testing.assert_allclose(moved.values, q, rtol=2e-3, atol=2e-3 * np.abs(q).max())


def test_softening_is_what_makes_the_slender_case_agree():
    from dataclasses import replace

    body, general = both("slender on soft springs")
    hard = replace(body, gravity_softening=False)
    error = float(hard.modes().natural_frequency[0]) / general.frequencies()[0] - 1
    assert error > 0.02
