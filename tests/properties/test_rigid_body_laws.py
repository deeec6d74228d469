"""What holds for every rigid body on springs.

Tolerances: 1e-6 relative on frequencies, far above the rounding of a 6 by 6 eigenvalue problem
whose largest and smallest entries differ by 1e6, far below anything a user would read.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne.structure.rigid_body import RigidBody
from groundborne.structure.supports import Supports

FEW = settings(max_examples=20)


@st.composite
def bodies(draw, *, softening=False):
    count = draw(st.integers(4, 9))
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    names = {"column": [f"C{i}" for i in range(count)]}

    def on(values):
        return xr.DataArray(values, dims="column", coords=names)

    # The first four at the corners, so that no draw is near a mechanism.
    corner = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    plan = np.concatenate(
        [corner * rng.uniform(5, 20, (4, 2)), rng.uniform(-15, 15, (count - 4, 2))]
    )
    supports = Supports(
        x=on(plan[:, 0]),
        y=on(plan[:, 1]),
        z=on(rng.uniform(-1, 1, count)),
        kx=on(rng.uniform(5e7, 3e8, count)),
        ky=on(rng.uniform(5e7, 3e8, count)),
        kz=on(rng.uniform(1e8, 5e8, count)),
    )
    return RigidBody.box(
        mass=rng.uniform(5e5, 3e6),
        length_x=rng.uniform(10, 30),
        length_y=rng.uniform(10, 30),
        length_z=rng.uniform(10, 30),
        product_xy=rng.uniform(-5e6, 5e6),
        product_xz=rng.uniform(-5e6, 5e6),
        product_yz=rng.uniform(-5e6, 5e6),
        centre_x=rng.uniform(-2, 2),
        centre_y=rng.uniform(-2, 2),
        centre_z=rng.uniform(0, 10),
        supports=supports,
        gravity_softening=softening,
    )


@FEW
@given(bodies())
def test_shapes_are_orthonormal_in_mass_and_diagonal_in_stiffness(body):
    modes = body.modes()
    phi = modes["shape"].values
    omega2 = (2 * np.pi * modes.natural_frequency.values) ** 2
    np.testing.assert_allclose(phi @ body.mass_matrix.values @ phi.T, np.eye(6), atol=1e-9)
    stiff = phi @ body.stiffness_matrix.values @ phi.T
    np.testing.assert_allclose(stiff, np.diag(omega2), atol=1e-9 * omega2.max())
    np.testing.assert_allclose(modes.participation.sum("dof"), 1.0, rtol=1e-9)


@FEW
@given(bodies(softening=True), st.lists(st.floats(-1, 1), min_size=6, max_size=6))
def test_rayleigh_quotient_lies_between_lowest_and_highest(body, guess):
    v = np.array(guess) + np.array([1.0, 0, 0, 0, 0, 0]) * (not np.any(np.abs(guess) > 1e-3))
    quotient = (v @ body.stiffness_matrix.values @ v) / (v @ body.mass_matrix.values @ v)
    frequency = np.sqrt(quotient) / (2 * np.pi)
    modes = body.modes().natural_frequency.values
    assert modes[0] * (1 - 1e-6) <= frequency <= modes[-1] * (1 + 1e-6)


@FEW
@given(bodies(softening=True))
def test_sum_of_squares_is_the_trace(body):
    trace = np.trace(np.linalg.solve(body.mass_matrix.values, body.stiffness_matrix.values))
    squares = ((2 * np.pi * body.modes().natural_frequency) ** 2).sum()
    np.testing.assert_allclose(squares, trace, rtol=1e-9)


@FEW
@given(bodies(softening=True), st.randoms(use_true_random=False))
def test_order_of_columns_does_not_matter(body, random):
    names = body.supports.column.values.tolist()
    mixed = {}
    for field in ("x", "y", "z", "kx", "ky", "kz"):
        random.shuffle(names)
        mixed[field] = getattr(body.supports, field).sel(column=names)
    other = replace(body, supports=Supports(**mixed))
    np.testing.assert_allclose(
        other.modes().natural_frequency, body.modes().natural_frequency, rtol=1e-6
    )
    first, second = body.response(body.weight), other.response(other.weight)
    assert second.column.values.tolist() == mixed["x"].column.values.tolist()
    xr.testing.assert_allclose(
        first.reaction, second.reaction.sel(column=first.column), rtol=1e-6, atol=1.0
    )


@FEW
@given(bodies(softening=True), st.floats(-50, 50), st.floats(-50, 50), st.floats(-50, 50))
def test_origin_does_not_matter(body, dx, dy, dz):
    s = body.supports
    other = replace(
        body,
        supports=replace(s, x=s.x + dx, y=s.y + dy, z=s.z + dz),
        centre_x=body.centre_x + dx,
        centre_y=body.centre_y + dy,
        centre_z=body.centre_z + dz,
    )
    np.testing.assert_allclose(
        other.modes().natural_frequency, body.modes().natural_frequency, rtol=1e-6
    )


@FEW
@given(bodies(), st.integers(0, 3), st.floats(1.0, 10.0))
def test_a_stiffer_support_lowers_no_frequency(body, which, factor):
    column = body.supports.column
    scale = xr.where(column == column[which], factor, 1.0)
    stiffer = replace(body, supports=body.supports.scaled(scale))
    rise = stiffer.modes().natural_frequency - body.modes().natural_frequency
    assert float(rise.min()) >= -1e-6


@FEW
@given(bodies())
def test_weight_lowers_the_lowest_frequency_of_a_body_above_its_springs(body):
    soft = replace(body, gravity_softening=True, centre_z=abs(body.centre_z) + 1.0)
    hard = replace(soft, gravity_softening=False)
    assert float(soft.modes().natural_frequency[0]) <= float(hard.modes().natural_frequency[0])


@FEW
@given(bodies(softening=True))
def test_reciprocity(body):
    """A force at one support moves another as much as the reverse."""
    names = body.supports.column.values
    at = [body.supports.x.sel(column=n) for n in names[:2]]
    on = [body.supports.y.sel(column=n) for n in names[:2]]
    moved = [
        body.movement_at(
            body.response(body.load(fz=1e6, x=float(at[i]), y=float(on[i]))).displacement,
            x=float(at[1 - i]),
            y=float(on[1 - i]),
        ).z
        for i in (0, 1)
    ]
    np.testing.assert_allclose(moved[0], moved[1], rtol=1e-6, atol=1e-12)
