"""Mounts in service: stiffness that follows frequency, strain, cold and age, counted once."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st
from scipy.integrate import quad
from scipy.special import gamma

from groundborne.bands import third_octaves
from groundborne.isolation import (
    CrossedMount,
    Crossing,
    Dashpot,
    DistributedMount,
    HelicalSpring,
    IdealIsolation,
    InParallel,
    InSeries,
    InService,
    LaminatedBearing,
    LinearMount,
    Rectangle,
    RubberCompound,
    TwoStageMount,
    coil_loss_statement,
    rubber_age_factor,
    rubber_amplitude_factor,
    rubber_exponent,
    rubber_frequency_factor,
    rubber_temperature_factor,
)
from groundborne.isolation.rubber.compound import AGEING_30_YEARS

F = xr.DataArray([2.0, 5.0, 16.0, 50.0, 140.0], dims="frequency")
PAD = LinearMount.tuned(natural_frequency=10.0, mass=1e4, loss_factor=0.1)


def test_frequency_law() -> None:
    """k(50)/k(5) = 1.076, 1.157, 1.336 for η 0.05, 0.1, 0.2; α = 0.06345 for 0.1 [derived]."""
    for loss, expected in ((0.05, 1.076), (0.1, 1.157), (0.2, 1.336)):
        found = rubber_frequency_factor(frequency_ratio=10.0, loss_factor=loss)
        assert found == pytest.approx(expected, abs=5e-4)
    assert rubber_exponent(loss_factor=0.1) == pytest.approx(0.06345, abs=5e-6)
    assert rubber_exponent(loss_factor=0.0) == 0.0
    assert rubber_frequency_factor(frequency_ratio=10.0, loss_factor=0.0) == 1.0


@given(st.floats(0.001, 1.0))
def test_exponent_and_loss_are_a_pair(loss) -> None:
    assert np.tan(rubber_exponent(loss_factor=loss) * np.pi / 2) == pytest.approx(loss, rel=1e-9)


@pytest.mark.parametrize("loss", [0.1, 0.3])
def test_the_law_is_that_of_a_relaxation_in_time(loss) -> None:
    """``jω ∫ t^(−α)/Γ(1−α) exp(−jωt) dt`` by quadrature: real and imaginary part, no law assumed.

    A modulus that relaxes after a step and knows nothing before it is causal; its transform is
    what the wrapper gives, at two frequencies a decade apart.
    """
    pad = LinearMount(stiffness=1.0, loss_factor=loss)
    built = InService(pad, reference_frequency=1 / (2 * np.pi))
    exponent = float(rubber_exponent(loss_factor=loss))
    scale = np.sqrt(1 + loss**2)  # of |k1| against its real part, the described stiffness
    for omega in (1.0, 10.0):
        cos, sin = (_oscillating(exponent, omega, weight) for weight in ("cos", "sin"))
        relaxed = 1j * omega * (cos - 1j * sin) / gamma(1 - exponent) * scale
        f = xr.DataArray([omega / (2 * np.pi)], dims="frequency")
        assert complex(built.dynamic_stiffness(f)[0]) == pytest.approx(relaxed, rel=1e-4)


def _oscillating(exponent: float, omega: float, weight: str) -> float:
    """``∫ t^(−α) cos or sin(ωt) dt``: near 0 by its own weight, from there as a Fourier tail."""
    near = quad(
        lambda t: np.cos(omega * t) if weight == "cos" else np.sin(omega * t),
        0, 1.0, weight="alg", wvar=(-exponent, 0),
    )[0]  # fmt: skip
    far = quad(lambda t: t**-exponent, 1.0, np.inf, weight=weight, wvar=omega, limlst=400)[0]
    return near + far


def test_natural_frequency_stays_where_the_stiffness_was_taken_at_it() -> None:
    built = InService(PAD, reference_frequency=10.0)
    at = xr.DataArray([10.0], dims="frequency")
    assert complex(built.dynamic_stiffness(at)[0]) == pytest.approx(
        complex(PAD.dynamic_stiffness(at)[0]), rel=1e-12
    )
    bands = third_octaves(10, 125)
    lost = IdealIsolation(built, 1e4).level_change(bands) - IdealIsolation(PAD, 1e4).level_change(
        bands
    )
    assert abs(float(lost[0])) < 0.1
    assert float(lost[-1]) == pytest.approx(20 * np.log10(12.5**0.06345), abs=0.05)


def test_without_loss_there_is_no_law() -> None:
    stiff = LinearMount(stiffness=1e6, loss_factor=0.0)
    built = InService(stiff, reference_frequency=10.0)
    np.testing.assert_allclose(built.dynamic_stiffness(F), stiff.dynamic_stiffness(F), rtol=1e-14)


def test_strain_cold_and_age_together() -> None:
    """1.15 · 1.05 · 1.15 = 1.39: f0 × 1.18 and 2.9 dB far above f0 [derived]."""
    built = InService(PAD, amplitude=1.15, temperature=1.05, age=1.15)
    assert built.factor == pytest.approx(1.39, abs=2e-3)
    assert built.frequency_rise == pytest.approx(1.18, abs=2e-3)
    bands = third_octaves(200, 200)
    lost = IdealIsolation(built, 1e4).level_change(bands) - IdealIsolation(PAD, 1e4).level_change(
        bands
    )
    assert float(lost[0]) == pytest.approx(2.9, abs=0.05)
    assert built.loss_far_above == pytest.approx(float(lost[0]), abs=0.05)


def assert_same_ports(one, other) -> None:
    for name in "abcd":
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-9, atol=1e-12)


@given(st.floats(0.5, 3.0), st.floats(0.02, 0.4))
def test_any_mount_scales_as_if_it_were_built_of_stiffer_rubber(factor, loss) -> None:
    """Line with mass, two stages, a row, a pair: each part with g times its stiffness."""

    def build(g: float):
        line = DistributedMount(stiffness=2e6 * g, mass=15.0, loss_factor=loss)
        plain = LinearMount(stiffness=3e6 * g, loss_factor=loss / 2)
        return (
            line,
            TwoStageMount(lower=plain, upper=line, intermediate_mass=200.0),
            InSeries(plain, line),
            InParallel(plain, line),
        )

    for described, stiffer in zip(build(1.0), build(factor), strict=True):
        built = InService(described, tolerance=factor)
        assert_same_ports(built.two_port(F), stiffer.two_port(F))
        np.testing.assert_allclose(
            built.dynamic_stiffness(F), stiffer.dynamic_stiffness(F), rtol=1e-9
        )
        assert built.static_deflection(1e4) == described.static_deflection(1e4)
        assert built.loss_factor_floor == described.loss_factor_floor


def test_through_life_on_a_dimension() -> None:
    both = InService.through_life(PAD, amplitude=1.15, temperature=1.05)
    bands = third_octaves(5, 125)
    change = IdealIsolation(both, 1e4).level_change(bands)
    assert change["state"].values.tolist() == ["as new", "end of life"]
    for state, age in (("as new", 1.0), ("end of life", 1.15)):
        alone = InService(PAD, amplitude=1.15, temperature=1.05, age=age)
        expected = IdealIsolation(alone, 1e4).level_change(bands)
        np.testing.assert_allclose(change.sel(state=state), expected, atol=1e-9)
        one = IdealIsolation(both.at(state), 1e4).level_change(bands)
        assert one.dims == ("frequency",)
        np.testing.assert_allclose(one, expected, atol=1e-9)
    # Neither state is the worse one everywhere: near resonance the order turns round.
    worse = (change.sel(state="end of life") > change.sel(state="as new")).values
    assert worse.any()
    assert not worse.all()
    samples = xr.DataArray([1.1, 1.2], dims="sample")
    drawn = InService.through_life(PAD, end_of_life=samples)
    assert set(drawn.factor.dims) == {"state", "sample"}
    assert drawn.factor.sel(state="as new").values.tolist() == [1.0, 1.0]
    assert InService(PAD).at("as new").factor == 1.0
    with pytest.raises(ValueError, match="'old'"):
        both.at("old")


def test_nothing_is_counted_twice() -> None:
    steel = HelicalSpring(
        wire_diameter=0.040, coil_diameter=0.180, active_coils=5.0, free_length=0.330
    ).mount()
    once = InService(PAD, age=1.15)
    crossed = CrossedMount(
        mount=PAD, crossings=[Crossing(name="pipe", stiffness=1e5)], weights=xr.DataArray(1.0)
    )
    for mount, said in (
        (once, "in service already"),
        (InSeries(steel, once), "in service already"),
        (crossed, "crossings beside"),
        (InParallel(PAD, Dashpot(damping=1e4)), "has a dashpot"),
        (LinearMount(stiffness=1e6, damping=1e3), "has a dashpot"),
    ):
        with pytest.raises(ValueError, match=said):
            InService(mount, age=1.1)
    with pytest.raises(ValueError, match="no loss factor of its own"):
        InService(InSeries(PAD, PAD), reference_frequency=10.0)
    with pytest.raises(ValueError, match=r"age is 0\.4"):
        InService(PAD, age=0.4)
    # The rubber alone is wrapped, steel and crossings stand beside it.
    whole = CrossedMount(
        mount=InSeries(once, steel), crossings=crossed.crossings, weights=xr.DataArray(1.0)
    )
    stiffer = InSeries(LinearMount(stiffness=1.15 * PAD.stiffness, loss_factor=0.1), steel)
    expected = CrossedMount(mount=stiffer, crossings=crossed.crossings, weights=xr.DataArray(1.0))
    assert_same_ports(whole.two_port(F), expected.two_port(F))


def test_amplitude_counts_where_the_test_was_at_large_strain_only() -> None:
    """1.05, 1.15, 1.3, 1.5 at 40 to 70 IRHD [from memory, weak]."""
    hardness = xr.DataArray([40.0, 50.0, 60.0, 70.0, 80.0], dims="mount")
    full = rubber_amplitude_factor(hardness=hardness, test_strain=0.01)
    assert full.values == pytest.approx([1.05, 1.15, 1.3, 1.5, 1.5])
    small = rubber_amplitude_factor(hardness=hardness, test_strain=1e-4)
    assert small.values == pytest.approx(1.0)
    between = rubber_amplitude_factor(hardness=60.0, test_strain=10**-3.5)
    assert between == pytest.approx(1.15)
    with pytest.raises(ValueError, match=r"1 % is 0\.01"):
        rubber_amplitude_factor(hardness=60.0, test_strain=1.0)

    # By the compound or by the wrapper it comes to the same, once.
    def bearing(small: float) -> LaminatedBearing:
        return LaminatedBearing(
            plan=Rectangle(plan_x=0.4, plan_y=0.4), layer_thickness=0.012, layers=8,
            compound=RubberCompound.from_hardness(50.0, small_strain_factor=small),
        )  # fmt: skip

    inside = bearing(1.15).mount()
    outside = InService(bearing(1.0).mount(), amplitude=1.15)
    assert_same_ports(inside.two_port(F), outside.two_port(F))


def test_age_between_what_was_seen_and_surveyed() -> None:
    """After 30 years 1.059 vertical in one building, a survey below 1.20 [seen, abstract]."""
    assert AGEING_30_YEARS["vertical"] < rubber_age_factor(years=30.0) < 1.20
    assert rubber_age_factor(years=0.0) == 1.0
    assert rubber_age_factor(years=50.0) == pytest.approx(1.15)
    with pytest.raises(ValueError, match="years is 70"):
        rubber_age_factor(years=70.0)


def test_a_basement_stiffens_by_a_twentieth() -> None:
    """10 to 20 °C: 1.05 [from memory]."""
    cool = [rubber_temperature_factor(temperature=t) for t in (10.0, 15.0, 20.0)]
    assert cool[0] > cool[1] > cool[2] > 1.0
    assert cool[1] == pytest.approx(1.05, abs=0.01)


def test_coils_lose_little_without_a_damper() -> None:
    spring = {
        "wire_diameter": 0.040, "coil_diameter": 0.180, "active_coils": 5.0, "free_length": 0.330,
    }  # fmt: skip
    assert HelicalSpring(**spring).loss_factor == 0.01
    HelicalSpring(**spring, loss_factor=0.02)
    with pytest.raises(ValueError, match=r"loss factor 0\.1 is more than coils have"):
        HelicalSpring(**spring, loss_factor=0.1)
    assert coil_loss_statement(loss_factor=0.005) == ""
