"""Closed forms against general-purpose numerics: linear algebra, quadrature, quantiles."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.integrate
import scipy.linalg
import scipy.signal
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne import bands, weighting
from groundborne.isolation import (
    BaseIsolation,
    IdealIsolation,
    LinearMount,
    TwoStageMount,
    coupled_frequencies,
    two_stage,
)
from groundborne.rating import statistic
from groundborne.structure import RigidMass, SpringFoundation
from groundborne.twoport import TwoPort

STIFFNESS = st.floats(1e6, 1e10)
MASS = st.floats(1e3, 1e7)
LOSS = st.floats(0.01, 0.3)


@given(STIFFNESS, MASS, STIFFNESS, MASS, LOSS, LOSS, st.floats(1.0, 200.0))
def test_two_stages_against_a_linear_solver(k1, m1, k2, m2, n1, n2, f):
    """Equations of motion of two masses over moving ground, solved by scipy."""
    w2 = (2 * np.pi * f) ** 2
    c1, c2 = k1 * (1 + 1j * n1), k2 * (1 + 1j * n2)
    dynamic = np.array([[c1 + c2 - w2 * m1, -c2], [-c2, c2 - w2 * m2]])
    moved = scipy.linalg.solve(dynamic, np.array([c1, 0.0]))
    closed = two_stage(
        f, lower_stiffness=k1, lower_mass=m1, upper_stiffness=k2, upper_mass=m2,
        lower_loss_factor=n1, upper_loss_factor=n2,
    )  # fmt: skip
    assert closed == pytest.approx(abs(moved[1]), rel=1e-6)


@given(STIFFNESS, MASS, STIFFNESS, MASS)
def test_coupled_frequencies_against_an_eigenvalue_solver(k1, m1, k2, m2):
    stiffness = np.array([[k1 + k2, -k2], [-k2, k2]])
    squares = scipy.linalg.eigh(stiffness, np.diag([m1, m2]), eigvals_only=True)
    low, high = coupled_frequencies(
        lower_stiffness=k1, lower_mass=m1, upper_stiffness=k2, upper_mass=m2
    )
    # The smaller root is a difference of two large numbers where the stages are far apart.
    error = np.finfo(float).eps * squares[1] / squares[0]
    assert low == pytest.approx(np.sqrt(squares[0]) / (2 * np.pi), rel=1e-9 + 100 * error)
    assert high == pytest.approx(np.sqrt(squares[1]) / (2 * np.pi), rel=1e-9)


@given(st.floats(2.0, 20.0), LOSS)
@settings(max_examples=25)
def test_a_band_mean_against_quadrature(f0, loss):
    """Energy mean over a band by adaptive quadrature, with the resonance as a break point."""
    labels, mass = bands.third_octaves(4, 80), 1e5
    mount = LinearMount.tuned(natural_frequency=f0, mass=mass, loss_factor=loss)
    computed = IdealIsolation(mount, mass).level_change(labels)

    def power(f):
        return (1 + loss**2) / ((1 - (f / f0) ** 2) ** 2 + loss**2)

    for band in labels.values.tolist():
        low, high = bands.edges(band)
        points = [f0] if low < f0 < high else None
        area, _ = scipy.integrate.quad(power, low, high, points=points, limit=200)
        expected = 10 * np.log10(area / (high - low))
        # The spacing of lines promises 0.1 dB.
        assert float(computed.sel(frequency=band)) == pytest.approx(expected, abs=0.1)


@given(LOSS, st.floats(3.0, 15.0))
@settings(max_examples=15)
def test_a_mobility_loss_against_the_coupled_equations_and_quadrature(loss, f0):
    """Soil spring, mount and mass as two masses on springs, driven through the soil."""
    m, m_f, k_s, c_s = 2e6, 5e5, 3e10, 2e8
    mount = LinearMount.tuned(natural_frequency=f0, mass=m, loss_factor=loss)
    k = mount.stiffness * (1 + 1j * loss)
    below = SpringFoundation(stiffness=k_s, damping=c_s, loss_factor=0.08, mass=m_f)
    base = BaseIsolation(mount, below=below, above=RigidMass(mass=m))

    def moved(f, isolated):
        w = 2 * np.pi * f
        soil = k_s * (1 + 0.08j) + 1j * w * c_s
        # Free motion of the loaded footing is 1, so the force on it is its dynamic stiffness.
        force = soil - w**2 * m_f
        if not isolated:
            return abs(force / (soil - w**2 * (m_f + m))) ** 2
        dynamic = np.array([[soil + k - w**2 * m_f, -k], [-k, k - w**2 * m]])
        return abs(scipy.linalg.solve(dynamic, np.array([force, 0.0]))[1]) ** 2

    f = xr.DataArray(np.geomspace(2.0, 250.0, 40), dims="frequency")
    expected = [10 * np.log10(moved(x, False) / moved(x, True)) for x in f.values.tolist()]
    np.testing.assert_allclose(base.insertion_loss(f), expected, atol=1e-6)
    for band in (8.0, 63.0):
        low, high = bands.edges(band)
        breaks = [x for x in (f0,) if low < x < high] or None
        with_mounts, without = (
            scipy.integrate.quad(moved, low, high, args=(i,), points=breaks, limit=200)[0]
            for i in (True, False)
        )
        change = base.level_change(bands.third_octaves(band, band)).item()
        assert change == pytest.approx(10 * np.log10(with_mounts / without), abs=0.1)


@given(st.integers(10, 200), st.floats(0.05, 0.95), st.integers(0, 2**31))
def test_percentiles_against_numpy(count, p, seed):
    levels = np.random.default_rng(seed).normal(40.0, 6.0, (3, count))
    expected = np.quantile(levels, p, axis=1, method="hazen")
    array = xr.DataArray(levels, dims=("room", "passby"))
    np.testing.assert_allclose(
        statistic(array, "percentile", percentile=100 * p), expected, atol=1e-9
    )


@given(st.floats(1e8, 1e11), st.floats(1.0, 1e4), st.floats(0.0, 0.3), st.floats(1.0, 400.0))
def test_an_elastic_line_against_a_matrix_exponential(k, m, loss, f):
    """Wave equation of a uniform rod as a first-order system over its length."""
    w, stiff = 2 * np.pi * f, k * (1 + 1j * loss)
    system = np.array([[0, 1j * w * m], [1j * w / stiff, 0]])
    chain = scipy.linalg.expm(system)
    line = TwoPort.line(xr.DataArray([f], dims="frequency"), stiffness=k, mass=m, loss_factor=loss)
    found = np.array([[line.a[0], line.b[0]], [line.c[0], line.d[0]]])
    scale = np.array([[1, abs(np.sqrt(stiff * m))], [1 / abs(np.sqrt(stiff * m)), 1]])
    np.testing.assert_allclose(
        found / scale, chain / scale, atol=1e-8 * np.abs(chain / scale).max()
    )


def test_a_line_of_many_small_masses_and_springs():
    """A rod as a cascade of 400 short pieces, each half a mass, a spring, half a mass."""
    f = xr.DataArray(np.geomspace(5.0, 300.0, 20), dims="frequency")
    k, m, n = 1e9, 500.0, 400
    piece = TwoPort.mass(f, mass=m / n / 2) @ TwoPort.spring(f, stiffness=k * n, loss_factor=0.1)
    piece = piece @ TwoPort.mass(f, mass=m / n / 2)
    chain = piece
    for _ in range(n - 1):
        chain = chain @ piece
    line = TwoPort.line(f, stiffness=k, mass=m, loss_factor=0.1)
    for name in "abcd":
        # The discrete rod is dispersive by (βL/n)²/24, 1e-5 at 300 Hz.
        np.testing.assert_allclose(getattr(chain, name), getattr(line, name), rtol=1e-4, atol=1e-12)


def test_transfer_stiffness_of_two_stages_against_a_solver():
    """Force on a blocked top over displacement of the foot."""
    f = xr.DataArray(np.geomspace(2.0, 200.0, 30), dims="frequency")
    k1, k2, m = 3e8, 5e8, 2e4
    pair = TwoStageMount(
        lower=LinearMount(stiffness=k1, loss_factor=0.1),
        upper=LinearMount(stiffness=k2, loss_factor=0.05),
        intermediate_mass=m,
    )
    c1, c2 = k1 * (1 + 0.1j), k2 * (1 + 0.05j)
    w2 = (2 * np.pi * f.values) ** 2
    middle = c1 / (c1 + c2 - w2 * m)
    np.testing.assert_allclose(pair.dynamic_stiffness(f), c2 * middle, rtol=1e-10)


@pytest.mark.parametrize(("weight", "zeros"), [(weighting.a, 4), (weighting.c, 2)])
def test_weightings_against_their_poles(weight, zeros):
    """The analogue filter by scipy from the poles of IEC 61672-1, normalised at 1 kHz."""
    poles = [20.598997, 20.598997, 12194.217, 12194.217]
    if zeros == 4:
        poles += [107.65265, 737.86223]
    f = bands.third_octaves(10, 20000)
    s = -2 * np.pi * np.array(poles)
    at = 2 * np.pi * np.append(bands.exact(f).values, 1000.0)
    _, response = scipy.signal.freqs_zpk(np.zeros(zeros), s, 1.0, worN=at)
    expected = 20 * np.log10(np.abs(response))
    np.testing.assert_allclose(weight(f), expected[:-1] - expected[-1], atol=1e-9)
