"""Dashpots of rectangular footings: three wave speeds, their limits, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st

from groundborne.structure import RADIATION, DiscFooting, RectangularFooting

PAD = {"length": 3.0, "width": 2.0, "shear_wave_speed": 200.0, "density": 1900.0}
POISSON = st.floats(0.0, 0.499)


def pad(**more) -> RectangularFooting:
    return RectangularFooting(**PAD | {"poisson": 1 / 3, "loss_factor": 0.05} | more)


@given(poisson=POISSON)
def test_compression_wave_is_that_of_the_elastic_moduli(poisson) -> None:
    """ρ Vp² = E (1−ν)/[(1+ν)(1−2ν)], the constrained modulus, with E = 2 G (1+ν)."""
    footing = pad(poisson=poisson, radiation="compression wave")
    young = 2 * footing.shear_modulus * (1 + poisson)
    constrained = young * (1 - poisson) / ((1 + poisson) * (1 - 2 * poisson))
    speed = footing.compression_wave_speed
    assert 1900.0 * speed**2 == pytest.approx(constrained)
    assert footing.radiation_damping == pytest.approx(1900.0 * speed * 6.0)


@given(poisson=POISSON, radius=st.floats(0.2, 10.0))
def test_analogue_of_the_disc_of_equal_area(poisson, radius) -> None:
    """3.4 r² √(ρG)/(1−ν) on the area π r²: Lysmer's dashpot per area does not know the shape."""
    side = np.sqrt(np.pi) * radius
    square = pad(length=side, width=side, poisson=poisson, radiation="Lysmer analogue")
    disc = DiscFooting(
        radius=radius, shear_modulus=1900.0 * 200.0**2, density=1900.0, poisson=poisson
    )
    assert square.radiation_damping == pytest.approx(disc.radiation_damping)


@given(poisson=POISSON)
def test_the_limited_one_is_the_smaller_of_two(poisson) -> None:
    limited, free = (pad(poisson=poisson, radiation=r).radiation_damping for r in RADIATION[:2])
    assert limited == pytest.approx(min(free, 1900.0 * 2.5 * 200.0 * 6.0))
    assert pad(poisson=poisson).radiation_damping == pytest.approx(limited)


def test_speeds_at_a_third() -> None:
    """Vp = 2 Vs and V_La = 1.62 Vs at ν = 1/3, by hand."""
    assert pad().compression_wave_speed == pytest.approx(400.0)
    assert pad().analogue_wave_speed == pytest.approx(3.4 * 200 * 1.5 / np.pi)


def test_the_mobility_follows_the_choice() -> None:
    f = xr.DataArray([400.0], dims="frequency")
    damped = [abs(pad(radiation=r).driving_point_mobility(f)).item() for r in RADIATION]
    assert damped[0] == damped[1] < damped[2]
    keys = [c.key for c in pad(radiation="Lysmer analogue").citations]
    assert keys == ["pais-kausel1988", "gazetas1991-radiation"]


def test_an_unknown_speed_is_refused() -> None:
    with pytest.raises(ValueError, match="radiation is 'Lysmer'; known are"):
        pad(radiation="Lysmer")
