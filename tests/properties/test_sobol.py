"""Sobol' indices where they are known exactly."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy.special import ndtr

from groundborne.bands import third_octaves
from groundborne.uncertainty import BLOCK, Draws, Spread, band_correlation, sobol_indices

ROOMS = xr.Dataset(
    coords={
        "room": ["A", "B"],
        "part_of_room": ("room", ["", ""]),
        "floor_of_room": ("room", ["1", "2"]),
    }
)


def pairs(spreads, bands, count: int):
    draws = Draws(spreads=spreads, frequency=bands, rooms=ROOMS, seed=11, method="random")
    return [(draws.block(n), draws.block(n, stream=1)) for n in range(count)]


def test_ishigamis_function() -> None:
    """sin x1 + 7 sin² x2 + 0.1 x3⁴ sin x1, x uniform within ±π: Ishigami and Homma 1990 [from
    memory]; the indices follow in closed form from its partial variances."""
    a, b, pi = 7.0, 0.1, np.pi
    one = 0.5 * (1 + b * pi**4 / 5) ** 2
    two, with_third = a**2 / 8, b**2 * pi**8 * (1 / 18 - 1 / 50)
    total = one + two + with_third
    band = xr.DataArray([50.0], coords={"frequency": [50.0]}, dims="frequency")

    def model(errors) -> xr.DataArray:
        x1, x2, x3 = (
            2 * pi * (ndtr(errors[n].isel(frequency=0, drop=True)) - 0.5) for n in ("1", "2", "3")
        )
        return np.sin(x1) + a * np.sin(x2) ** 2 + b * x3**4 * np.sin(x1)

    found = sobol_indices(model, pairs([Spread(name=n) for n in ("1", "2", "3")], band, 96))
    assert found["first_order"].values == pytest.approx([one / total, two / total, 0.0], abs=0.02)
    expected = [(one + with_third) / total, two / total, with_third / total]
    assert found["total_order"].values == pytest.approx(expected, abs=0.02)
    assert (one / total, two / total) == (
        pytest.approx(0.3139, abs=1e-4),
        pytest.approx(0.4424, abs=1e-4),
    )
    for name, exact in (
        ("first_order", [one / total, two / total, 0.0]),
        ("total_order", expected),
    ):
        stated = found[f"{name}_error"].values
        assert (stated < 0.02).all()
        assert (abs(found[name].values - exact) < 4 * stated).all()


def test_vectors_of_a_linear_normal_sum() -> None:
    """Each factor is a spectrum for each room: exact by the law of propagation."""
    bands = third_octaves(40, 80)
    spreads = (
        Spread(name="together", bands_correlated=float("inf")),
        Spread(name="bands", bands_correlated=2.0),
        Spread(name="rooms", place="room", shared=0.4),
    )
    weights = xr.DataArray(
        [0.1, 0.4, 0.3, 0.2], coords={"frequency": bands.values}, dims="frequency"
    )
    size = {"together": 3.0, "bands": 5.0, "rooms": 4.0}

    def model(errors) -> xr.DataArray:
        total = sum(size[n] * (weights * errors[n]).sum("frequency") for n in size)
        return total.broadcast_like(ROOMS["room"])

    found = sobol_indices(model, pairs(spreads, bands, 48))
    variance = []
    for spread in spreads:
        correlation = band_correlation(bands, length=spread.bands_correlated).values
        variance.append(size[spread.name] ** 2 * weights.values @ correlation @ weights.values)
    exact = np.array(variance) / sum(variance)
    for room in ("A", "B"):
        for name in ("first_order", "total_order"):
            here = found[name].sel(room=room)
            assert here.values == pytest.approx(exact, abs=0.02)


def test_what_does_not_vary_has_no_share() -> None:
    bands = third_octaves(50, 80)
    found = sobol_indices(
        lambda e: 0.0 * e["a"].sum("frequency"), pairs([Spread(name="a")], bands, 2)
    )
    assert found["total_order"].item() == 0.0


def test_what_tells_nothing_is_refused() -> None:
    bands = third_octaves(50, 80)
    two = pairs([Spread(name="a")], bands, 2)

    def model(errors) -> xr.DataArray:
        return errors["a"].sum("frequency")

    with pytest.raises(ValueError, match="1 blocks of samples tell no error"):
        sobol_indices(model, two[:1])
    other = {"b": two[0][0]["a"]}
    with pytest.raises(ValueError, match="the samples hold 'a', 'b'; both of a pair hold 'a'"):
        sobol_indices(model, [(two[0][0], other)])
    odd = [tuple({"a": e["a"].isel(sample=slice(BLOCK - 1))} for e in pair) for pair in two]
    with pytest.raises(ValueError, match="a block has 1023 samples; it must be a power of two"):
        sobol_indices(model, odd)
