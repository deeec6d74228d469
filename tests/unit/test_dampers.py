"""Viscous dampers on a rigid body: modes, decay and response; the picture of the modes.

Checked against closed forms (derived), against a model of states that is assembled from energies
and solved by scipy, and against its decay in time.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from groundborne import plot
from groundborne.structure import (
    Dampers,
    PlanarBody,
    RigidBody,
    Supports,
    damped_modes,
    frequency_response,
)

MASS, KX, KZ = 5e5, 6e7, 9e7
CORNERS = {"column": ["SW", "SE", "NE", "NW"]}
X, Y = ([-5.0, 5.0, 5.0, -5.0], [-4.0, -4.0, 4.0, 4.0])


def dampers(x: list[float], y: list[float], **rates: object) -> Dampers:
    at = {"damper": [f"d{i}" for i in range(len(x))]}
    place = [xr.DataArray(v, dims="damper", coords=at) for v in (x, y)]
    return Dampers(x=place[0], y=place[1], **{"z": 0.0} | rates)


def body(**changes: object) -> RigidBody:
    x, y = (xr.DataArray(v, dims="column", coords=CORNERS) for v in (X, Y))
    given = {"mass": MASS, "length_x": 12.0, "length_y": 10.0, "length_z": 9.0, "centre_z": 4.5,
             "supports": Supports(x=x, y=y, z=0.0, kx=KX, ky=KX, kz=KZ)}  # fmt: skip
    return RigidBody.box(**given | changes)


def by_energy(one: RigidBody) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mass, damping and stiffness from quadratic forms of the movement of each point."""
    centre = np.array([one.centre_x, one.centre_y, one.centre_z], dtype=float)

    def velocities(u, points):
        return u[:3] + np.cross(u[3:], points - centre)

    def sums(places, rates):
        return lambda u: 0.5 * (rates * velocities(u, places) ** 2).sum()

    springs = np.stack([a.values for a in one.supports.position], axis=-1)
    stiff = np.stack([a.values for a in one.supports.stiffness], axis=-1)
    held = one.dampers
    pots = np.stack([held.x.values, held.y.values, held.z.values], axis=-1)
    damp = np.stack([held.cx.values, held.cy.values, held.cz.values], axis=-1)
    # A uniform box as eight masses at the corners of a box smaller by the root of 3.
    half = np.array([12.0, 10.0, 9.0]) / (2 * np.sqrt(3))
    cloud = centre + half * np.array(list(itertools.product((-1, 1), repeat=3)))
    weights = np.full((8, 3), float(one.mass) / 8)
    unit = np.eye(6)

    def matrix(form):
        return np.array([[form(a + b) - form(a) - form(b) for b in unit] for a in unit])

    return matrix(sums(cloud, weights)), matrix(sums(pots, damp)), matrix(sums(springs, stiff))


# --- closed forms --------------------------------------------------------------------------------


def test_one_damper_in_the_middle_damps_the_bounce_alone() -> None:
    """ζ = c/(2 √(k m)), and ωd = ω √(1 - ζ²)."""
    c = 3e6
    found = damped_modes(body(dampers=dampers([0.0], [0.0], cz=c)))
    bounce = found.where(found["mostly"] == "z", drop=True)
    ratio = c / (2 * np.sqrt(4 * KZ * MASS))
    plain = np.sqrt(4 * KZ / MASS) / (2 * np.pi)
    assert bounce["damping_ratio"].item() == pytest.approx(ratio, rel=1e-9)
    assert bounce["natural_frequency"].item() == pytest.approx(plain, rel=1e-9)
    assert bounce["damped_frequency"].item() == pytest.approx(
        plain * np.sqrt(1 - ratio**2), rel=1e-9
    )
    assert float(found["damping_ratio"].where(found["mostly"] != "z").max()) < 1e-9


def test_dampers_in_proportion_to_the_springs_damp_by_frequency() -> None:
    """C = β K gives ζ = β ω/2 in all six modes, with the undamped shapes and frequencies."""
    beta = 2e-3
    pots = dampers(X, Y, cx=beta * KX, cy=beta * KX, cz=beta * KZ)
    one = body(dampers=pots, gravity_softening=False, centre_x=0.7)
    found, plain = damped_modes(one), one.modes()
    rate = 2 * np.pi * plain["natural_frequency"]
    np.testing.assert_allclose(found["natural_frequency"], plain["natural_frequency"], rtol=1e-9)
    np.testing.assert_allclose(found["damping_ratio"], beta * rate / 2, rtol=1e-7)
    np.testing.assert_allclose(found["participation"], plain["participation"], atol=1e-7)
    assert (found["mostly"] == plain["mostly"]).all()
    assert float(abs(found["shape"].imag).max() / abs(found["shape"]).max()) < 1e-6


def test_a_pair_of_dampers_apart_damps_the_turning() -> None:
    """Across the plan at ±b: c_θ = 2 c b², ζ = c_θ/(2 √(k_θ J))."""
    c, b = 8e5, 5.0
    found = damped_modes(body(dampers=dampers([-b, b], [0.0, 0.0], cy=c, z=4.5)))
    turning = found.where(found["mostly"] == "rz", drop=True)
    k = KX * sum(x**2 + y**2 for x, y in zip(X, Y, strict=True))
    inertia = MASS * (12.0**2 + 10.0**2) / 12
    assert turning["damping_ratio"].item() == pytest.approx(
        2 * c * b**2 / (2 * np.sqrt(k * inertia)), rel=1e-9
    )


@pytest.mark.parametrize("ratio", [0.5, 1.0, 1.5, 4.0])
def test_a_bounce_that_does_not_swing_has_the_ratio_of_its_two_roots(ratio: float) -> None:
    c = ratio * 2 * np.sqrt(4 * KZ * MASS)
    found = damped_modes(body(dampers=dampers([0.0], [0.0], cz=c)))
    bounce = found.where(found["mostly"] == "z", drop=True)
    assert bounce["damping_ratio"].item() == pytest.approx(ratio, rel=1e-6)
    assert bounce["natural_frequency"].item() == pytest.approx(
        np.sqrt(4 * KZ / MASS) / (2 * np.pi), rel=1e-6
    )
    assert (bounce["damped_frequency"].item() == 0.0) == (ratio >= 1.0)


def test_without_dampers_nothing_is_damped() -> None:
    one = body(centre_x=1.0, centre_y=-0.5)
    found = damped_modes(one)
    np.testing.assert_allclose(
        found["natural_frequency"], one.modes()["natural_frequency"], rtol=1e-9
    )
    assert float(found["damping_ratio"].max()) < 1e-9


# --- independent models --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def odd() -> RigidBody:
    """Dampers that fit to nothing: neither symmetric nor in proportion to the springs."""
    names = {"damper": ["d0", "d1", "d2"]}
    along = xr.DataArray([2e6, 0.0, 1e6], dims="damper", coords=names)
    pots = dampers([5.0, -3.0, 1.0], [1.0, -4.0, 4.0], cx=along, cy=5e5, cz=2e6, z=1.0)
    return body(centre_x=0.8, centre_y=-0.4, gravity_softening=False, dampers=pots)


def test_roots_are_those_of_a_model_of_states_from_energies(odd) -> None:
    from scipy.linalg import eig

    m, c, k = by_energy(odd)
    np.testing.assert_allclose(odd.damping_matrix, c, rtol=1e-9, atol=1e-3)
    nil, one = np.zeros((6, 6)), np.eye(6)
    # A generalised problem, not the one that the library solves.
    roots = eig(np.block([[nil, one], [-k, -c]]), np.block([[one, nil], [nil, m]]), right=False)
    roots = sorted(roots[roots.imag > 0], key=abs)
    found = damped_modes(odd)
    lam = np.array(roots)
    np.testing.assert_allclose(found["natural_frequency"], abs(lam) / (2 * np.pi), rtol=1e-6)
    np.testing.assert_allclose(found["damped_frequency"], lam.imag / (2 * np.pi), rtol=1e-6)
    np.testing.assert_allclose(found["damping_ratio"], -lam.real / abs(lam), rtol=1e-5)
    assert float(found["damping_ratio"].min()) > 1e-3
    for i, one_root in enumerate(lam):
        shape = found["shape"].isel(mode=i).values
        left = (one_root**2 * m + one_root * c + k) @ shape
        assert np.abs(left).max() < 1e-5 * np.abs(k @ shape).max()
        assert (shape.conj() @ m @ shape).real == pytest.approx(1.0)
    np.testing.assert_allclose(found["participation"].sum("dof"), 1.0, rtol=1e-9)


def test_released_from_a_shape_it_swings_and_dies_down_as_told(odd) -> None:
    """Free movement by the exponential of the model of states, after one period of each mode."""
    from scipy.linalg import expm

    m, c, k = by_energy(odd)
    state = np.block(
        [[np.zeros((6, 6)), np.eye(6)], [-np.linalg.solve(m, k), -np.linalg.solve(m, c)]]
    )
    found = damped_modes(odd)
    for i in range(6):
        one = found.isel(mode=i)
        damped, ratio = float(one["damped_frequency"]), float(one["damping_ratio"])
        decay = ratio * 2 * np.pi * float(one["natural_frequency"])
        root = -decay + 2j * np.pi * damped
        shape = one["shape"].values
        start = np.concatenate([shape, root * shape]).real
        after = expm(state / damped) @ start
        np.testing.assert_allclose(
            after[:6], np.exp(-decay / damped) * start[:6], atol=1e-6 * np.abs(start[:6]).max()
        )


def test_response_to_a_sine_is_that_of_the_model_of_states(odd) -> None:
    m, c, k = by_energy(odd)
    state = np.block(
        [[np.zeros((6, 6)), np.eye(6)], [-np.linalg.solve(m, k), -np.linalg.solve(m, c)]]
    )
    load = odd.load(fx=1e4, fz=-3e4, x=2.0, y=1.0, z=9.0)
    push = np.concatenate([np.zeros(6), np.linalg.solve(m, load.values)])[:, None]
    frequency = xr.DataArray([0.5, 2.4, 4.2, 11.0], dims="frequency")
    found = frequency_response(odd, load, frequency).transpose("frequency", "dof")
    for row, f in zip(found.values, frequency.values.tolist(), strict=True):
        wanted = np.linalg.solve(2j * np.pi * f * np.eye(12) - state, push)[:6, 0]
        np.testing.assert_allclose(row, wanted, rtol=1e-6, atol=1e-14)
    rest = frequency_response(odd, load, [1e-4])
    np.testing.assert_allclose(
        rest.squeeze().real, odd.response(load)["displacement"], rtol=1e-6, atol=1e-15
    )


def test_loss_of_the_springs_limits_the_resonance() -> None:
    """At resonance in bounce: 1/(η k) with the springs' loss, 1/(ω c) with a damper."""
    k = 4 * KZ
    f0 = np.sqrt(k / MASS) / (2 * np.pi)
    plain, damped = body(), body(dampers=dampers([0.0], [0.0], cz=3e6))
    load = plain.load(fz=1.0)
    lossy = frequency_response(plain, load, [f0], loss_factor=0.05).sel(dof="z")
    assert abs(complex(lossy.item())) == pytest.approx(1 / (0.05 * k), rel=1e-6)
    viscous = frequency_response(damped, load, [f0]).sel(dof="z")
    assert abs(complex(viscous.item())) == pytest.approx(1 / (2 * np.pi * f0 * 3e6), rel=1e-6)
    with pytest.raises(ValueError, match="loss_factor is 2"):
        frequency_response(plain, load, [f0], loss_factor=2.0)


def test_options_go_through() -> None:
    rate = xr.DataArray([0.0, 1e6, 4e6], dims="option", coords={"option": ["a", "b", "c"]})
    found = damped_modes(body(dampers=dampers([0.0], [0.0], cz=rate)))
    assert found["damping_ratio"].sizes == {"mode": 6, "option": 3}
    one = damped_modes(body(dampers=dampers([0.0], [0.0], cz=4e6)))
    np.testing.assert_allclose(
        found["damping_ratio"].sel(option="c"), one["damping_ratio"], atol=1e-9
    )


@pytest.mark.parametrize("guided", [True, False])
def test_two_springs_and_two_dampers_in_a_plane(guided: bool) -> None:
    """Bounce and pitch by the roots of a polynomial, and the modes of the body in space."""
    m, inertia, k, c = 100.0, 1000.0, np.array([2000.0, 2600.0]), np.array([150.0, 60.0])
    at = np.array([6.0, -4.0])
    column = {"column": ["front", "rear"]}
    one = PlanarBody(
        mass=m, inertia=inertia, centre_x=0.0, centre_z=0.0, z=0.0, guided=guided,
        x=xr.DataArray(at, dims="column", coords=column), kx=0.0 if guided else 500.0,
        kz=xr.DataArray(k, dims="column", coords=column),
        dampers=dampers(at.tolist(), [0.0, 0.0],
                        cz=xr.DataArray(c, dims="damper", coords={"damper": ["d0", "d1"]})),
    )  # fmt: skip

    def poly(of_z, of_zr, of_r):
        # (m s² + Σ(c s + k))·(J s² + Σ(c s + k) x²) - (Σ(c s + k) x)²
        return np.polysub(np.polymul(of_z, of_r), np.polymul(of_zr, of_zr))

    roots = np.roots(
        poly(
            [m, c.sum(), k.sum()],
            [(c * at).sum(), (k * at).sum()],
            [inertia, (c * at**2).sum(), (k * at**2).sum()],
        )
    )
    roots = sorted(roots[roots.imag > 0], key=abs)
    found = damped_modes(one)
    upright = found.isel(mode=found["mostly"].isin(["z", "ry"]).values)
    assert found.sizes["mode"] == (2 if guided else 3)
    np.testing.assert_allclose(upright["natural_frequency"] * 2 * np.pi, np.abs(roots), rtol=1e-9)
    np.testing.assert_allclose(
        upright["damping_ratio"], [-r.real / abs(r) for r in roots], rtol=1e-9
    )
    np.testing.assert_allclose(found["participation"].sum("dof"), 1.0, rtol=1e-9)
    bare = damped_modes(replace(one, dampers=None))
    np.testing.assert_allclose(
        bare["natural_frequency"], one.modes()["natural_frequency"], rtol=1e-9
    )


def test_what_cannot_be_told_is_refused() -> None:
    with pytest.raises(ValueError, match="two or more movements are damped so much"):
        damped_modes(body(dampers=dampers([0.0], [0.0], cx=1e9, cz=1e9)))
    with pytest.raises(ValueError, match=r"cz is -1; it must be 0 N s/m or more"):
        dampers([0.0], [0.0], cz=-1.0)
    bare = xr.DataArray([0.0], dims="damper")
    with pytest.raises(ValueError, match="x has dim 'damper' without names"):
        Dampers(x=bare, y=bare, z=0.0)
    two = xr.DataArray([0.0, 1.0], dims="damper", coords={"damper": ["d0", "d1"]})
    with pytest.raises(ValueError, match="damper"):
        Dampers(x=two, y=two[:1], z=0.0)


# --- the picture ---------------------------------------------------------------------------------


@pytest.fixture
def drawn(odd) -> Figure:
    from matplotlib import pyplot as plt

    figure = plot.mode_shapes(odd)
    yield figure
    plt.close(figure)


def test_the_picture_names_each_mode(odd, drawn) -> None:
    found = damped_modes(odd)
    titles = [ax.get_title() for ax in drawn.axes]
    assert len(titles) == 6
    for i, title in enumerate(titles):
        one = found.isel(mode=i)
        assert title.startswith(f"{i + 1}  ")
        assert f"{float(one['natural_frequency']):.2f} Hz" in title
        assert f"damping {100 * float(one['damping_ratio']):.1f} %" in title


def test_the_picture_moves_points_as_the_mode_does() -> None:
    """In bounce every point of the box and every support goes the same way by the same amount."""
    figure = plot.mode_shapes(body(), figure=Figure())
    ax = next(a for a in figure.axes if "bounce" in a.get_title())
    rest, out, feet = ax.get_lines()
    step = out.get_xydata() - rest.get_xydata()
    step = step[~np.isnan(step).any(axis=1)]
    assert np.ptp(step, axis=0).max() < 1e-9
    assert step[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert step[0, 1] != 0.0
    assert len(feet.get_xydata()) == 4
    turning = next(a for a in figure.axes if "turning" in a.get_title())
    rest, out, _ = turning.get_lines()
    step = out.get_xydata() - rest.get_xydata()
    # A square turned about its middle: opposite corners go opposite ways.
    np.testing.assert_allclose(step[0], -step[2], atol=1e-9)


def test_nothing_in_the_picture_is_cut_and_grey_tells_its_lines_apart(drawn) -> None:
    FigureCanvasAgg(drawn).draw()
    renderer = drawn.canvas.get_renderer()
    frame = drawn.bbox
    boxes = [t.get_window_extent(renderer) for ax in drawn.axes for t in [ax.title, *ax.texts]]
    boxes += [line.get_window_extent(renderer) for ax in drawn.axes for line in ax.get_lines()]
    boxes += [legend.get_window_extent(renderer) for legend in drawn.legends]
    assert len(drawn.legends) == 1
    for box in boxes:
        assert frame.x0 <= box.x0 <= box.x1 <= frame.x1
        assert frame.y0 <= box.y0 <= box.y1 <= frame.y1
    for ax in drawn.axes:
        curves = ax.get_lines()
        assert len(curves) <= 4
        looks = {(c.get_linestyle(), c.get_marker()) for c in curves}
        assert len(looks) == len(curves)
        panel = ax.get_window_extent(renderer)
        for line in curves:
            box = line.get_window_extent(renderer)
            assert panel.x0 - 1 <= box.x0 <= box.x1 <= panel.x1 + 1
            assert panel.y0 - 1 <= box.y0 <= box.y1 <= panel.y1 + 1


def test_what_cannot_be_drawn_is_refused(odd) -> None:
    rate = xr.DataArray([0.0, 1e6], dims="option", coords={"option": ["a", "b"]})
    many = body(dampers=dampers([0.0], [0.0], cz=rate))
    with pytest.raises(ValueError, match="the body has the dim 'option'; draw one of it"):
        plot.mode_shapes(many, figure=Figure())
    with pytest.raises(ValueError, match="height is 0; it must be above 0 m"):
        plot.mode_shapes(odd, height=0.0, figure=Figure())
    full = Figure()
    full.subplots()
    with pytest.raises(ValueError, match="the figure holds axes already"):
        plot.mode_shapes(odd, figure=full)
