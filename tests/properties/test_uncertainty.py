"""Errors of levels: how they are drawn, counted, and what they add up to."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne._checks import StudyError
from groundborne.bands import third_octaves
from groundborne.uncertainty import (
    BLOCK,
    Draws,
    Spread,
    Tally,
    band_correlation,
    budget,
    correlation_root,
)

BANDS = third_octaves(16, 80)
ROOMS = xr.Dataset(
    coords={
        "room": ["A1", "A2", "B1"],
        "part_of_room": ("room", ["", "", ""]),
        "floor_of_room": ("room", ["1", "1", "2"]),
    }
)
NEVER = 1e-9
"""One-third octaves over which nothing is correlated."""

LEVELS = np.array([20.0, 25.0, 30.0, 33.0, 34.0, 31.0, 27.0, 22.0])
SUMMED = {NEVER: 3.251, 1.0: 4.364, 2.0: 5.228, 3.0: 5.675, 6.0: 6.249, np.inf: 7.000}
"""Standard deviation of their sum by correlated bands, first order; derived, and run apart from
this library."""

SAMPLED = {1.0: (4.49, 2.9, 10.7), 3.0: (5.65, 1.8, 11.3), 6.0: (6.23, 1.1, 11.4)}
"""Standard deviation, shift of the median and 95th percentile of the same by 200,000 samples
[dB]; derived, and run apart from this library."""


def shares() -> xr.DataArray:
    power = 10 ** (LEVELS / 10)
    return xr.DataArray(
        power / power.sum(), dims="frequency", coords={"frequency": BANDS["frequency"].values}
    )


@pytest.mark.parametrize("length", SUMMED)
def test_first_order_of_a_sum_of_bands(length: float) -> None:
    found = budget([Spread(name="x", of_sound=7.0, bands_correlated=length)], share=shares())
    assert found.item() == pytest.approx(SUMMED[length], abs=6e-4)


@pytest.mark.parametrize("length", SAMPLED)
def test_samples_of_a_sum_of_lognormal_bands(length: float) -> None:
    """64 blocks; 0.05 dB of the standard deviation and 0.1 dB of the others are their scatter."""
    spread = Spread(name="x", of_sound=7.0, bands_correlated=length)
    draws = Draws(spreads=(spread,), frequency=BANDS, rooms=ROOMS, seed=1)
    errors = np.concatenate([draws.block(n)["x"].values for n in range(64)]) * 7.0
    total = 10 * np.log10((10 ** ((LEVELS + errors) / 10)).sum(axis=1))
    off = total - 10 * np.log10((10 ** (LEVELS / 10)).sum())
    deviation, shift, high = SAMPLED[length]
    assert off.std() == pytest.approx(deviation, abs=0.05)
    assert np.median(off) == pytest.approx(shift, abs=0.1)
    assert np.quantile(off, 0.95) == pytest.approx(high, abs=0.1)


@settings(max_examples=30, deadline=None)
@given(length=st.floats(0.05, 50.0), count=st.integers(2, 20))
def test_a_root_makes_its_correlation(length: float, count: int) -> None:
    found = band_correlation(third_octaves(5, 500).isel(frequency=slice(count)), length=length)
    root = correlation_root(found)
    np.testing.assert_allclose(root @ root.T, found.values, atol=1e-9)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([[1.0, 0.5, 0.5]], "must be square"),
        ([[1.0, 0.5], [0.4, 1.0]], "not symmetric"),
        ([[1.0, 0.5], [0.5, 0.9]], "other values than 1 on its diagonal"),
        ([[1.0, 1.5], [1.5, 1.0]], "holds 1.5; -1 to 1 is possible"),
        ([[1, 0.9, -0.9], [0.9, 1, 0.9], [-0.9, 0.9, 1]], "negative variance"),
    ],
)
def test_what_is_no_correlation_is_refused(values: list[list[float]], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        correlation_root(xr.DataArray(np.array(values, float), dims=("frequency", "other")))


@pytest.mark.parametrize("method", ["low-discrepancy", "random"])
@pytest.mark.parametrize("shared", [0.0, 0.3, 1.0])
def test_errors_have_the_spread_and_the_correlations_asked_for(shared: float, method: str) -> None:
    """32 blocks: standard deviations to 2 %, correlations to 0.02."""
    spread = Spread(name="floors", of_floor=1.0, place="floor_of_room", shared=shared)
    draws = Draws(spreads=(spread,), frequency=BANDS, rooms=ROOMS, seed=3, method=method)
    found = np.concatenate(
        [draws.block(n)["floors"].broadcast_like(ROOMS["room"]).transpose(
            "sample", "room", "frequency").values for n in range(32)]
    )  # fmt: skip
    np.testing.assert_allclose(found.std(axis=0), 1.0, rtol=0.02)
    np.testing.assert_allclose(found.mean(axis=0), 0.0, atol=0.02)
    bands = np.corrcoef(found[:, 0].T)
    np.testing.assert_allclose(bands, band_correlation(BANDS).values, atol=0.02)
    rooms = np.corrcoef(found[:, :, 2].T)
    assert rooms[0, 1] == pytest.approx(1.0)  # on one floor
    assert rooms[0, 2] == pytest.approx(shared, abs=0.02)


def test_a_block_is_the_same_whoever_draws_it_and_when() -> None:
    spreads = (Spread(name="a", of_sound=1.0), Spread(name="b", place="room", shared=0.5))
    first, other = (Draws(spreads=spreads, frequency=BANDS, rooms=ROOMS, seed=7) for _ in range(2))
    last = first.block(5)
    first.block(0)
    for name in ("a", "b"):
        np.testing.assert_array_equal(other.block(5)[name].values, last[name].values)
        assert abs(other.block(5, stream=1)[name].values - last[name].values).max() > 0.1
        assert abs(other.block(4)[name].values - last[name].values).max() > 0.1


def test_low_discrepancy_blocks_scatter_less() -> None:
    """The mean of a square over a block: by a factor of three or more."""
    spread = (Spread(name="a", of_sound=1.0, bands_correlated=NEVER),)
    scatter = []
    for method in ("random", "low-discrepancy"):
        draws = Draws(spreads=spread, frequency=BANDS, rooms=ROOMS, seed=1, method=method)
        scatter.append(np.std([(draws.block(n)["a"].values ** 2).mean() for n in range(24)]))
    assert scatter[1] < scatter[0] / 3


def test_counts_add_up_in_any_order_and_hold_the_quantiles() -> None:
    generator = np.random.default_rng(1)
    values = generator.normal(0.0, 9.0, (5 * BLOCK, 3))
    blocks = [Tally.of(part) for part in np.split(values, 5)]
    total = sum(blocks[1:], blocks[0])
    np.testing.assert_array_equal(sum(blocks[:-1], blocks[-1]).counts, total.counts)
    np.testing.assert_array_equal(total.counts, Tally.of(values).counts)
    for share in (0.05, 0.1, 0.5, 0.9, 0.95):
        np.testing.assert_allclose(
            total.quantile(share), np.quantile(values, share, axis=0), atol=0.06
        )
    assert total.beyond == 0
    assert Tally.of(np.array([[200.0], [0.0]])).beyond == 1


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Spread(name="x", of_sound=-1.0), "of_sound is -1"),
        (lambda: Spread(name="x", shared=1.2), "shared is 1.2"),
        (lambda: Spread(name="x", place="building"), "place"),
        (lambda: Spread(name="x", bands_correlated=0.0), "bands_correlated is 0"),
        (lambda: band_correlation(BANDS, length=-1.0), "length is -1"),
        (lambda: draws_of([Spread(name="x"), Spread(name="x")]), "are called 'x'"),
        (lambda: draws_of([Spread(name="x")], seed=-1), "seed is -1"),
        (lambda: draws_of([Spread(name="x")], method="halton"), "method is 'halton'"),
        (lambda: budget([], share=shares()), "spreads is empty"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(make, words: str) -> None:
    with pytest.raises((ValueError, StudyError), match=words):
        make()


def draws_of(spreads: list[Spread], **more) -> Draws:
    return Draws(spreads=spreads, frequency=BANDS, rooms=ROOMS, **{"seed": 1, **more})
