"""Blocks of samples: sums of bands agree with the rules, whoever works them out."""

from __future__ import annotations

import importlib.util
import pickle
import warnings
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import weighting
from groundborne.bands import third_octaves
from groundborne.rating import (
    STATISTICS,
    Metric,
    NoiseRatingOctaves,
    SummedBands,
    WeightedBands,
    sufficiency,
)
from groundborne.rating.scale import Scale
from groundborne.study.mechanics import sampled_mechanics
from groundborne.study.rated_samples import Rated, RatedSums
from groundborne.study.spreads import study_spreads
from groundborne.study.sureness import Sampler, how_sure
from groundborne.uncertainty import BLOCK, Distribution, mapper_of

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines" / "study.toml"
SOIL = {
    "structure.foundation.shear_wave_speed_m_s": Distribution(
        name="lognormal", coefficient_of_variation=0.4
    )
}
HEARD = {"span": (10.0, 20000.0), "needed": sufficiency.HEARD}


@dataclass(frozen=True)
class Loudest:
    """A rule of somebody's own, which knows nothing of sums: the mean of the two loudest bands."""

    lowest: float = 10.0

    def require(self, frequency, where):
        pass

    def rating(self, change, level):
        each = np.sort((change + level).transpose(..., "frequency").values, axis=-1)
        dims = [d for d in (change + level).dims if d != "frequency"]
        return xr.DataArray(each[..., -2:].mean(axis=-1), dims=dims).assign_coords(
            {d: (change + level)[d] for d in dims if d in (change + level).coords}
        )

    def judge(self, change, level, *, over, below):
        return WeightedBands(gain=weighting.c, **HEARD).judge(change, level, over=over, below=below)

    def band_of(self, frequency):
        return frequency


OWN = Metric(
    name="two loudest", quantity="sound pressure", statistics=STATISTICS,
    time_weightings=("S max",), scale=Scale(unit="dB re 20 µPa"), rule=Loudest(),
)  # fmt: skip


def sampler_of(study, result, **more) -> Sampler:
    spreads = tuple(study_spreads(study))
    return Sampler(study=study, result=result, spreads=spreads, seed=1, **more)


@pytest.mark.parametrize(
    "rule",
    [
        WeightedBands(gain=weighting.c, **HEARD),
        WeightedBands(gain=weighting.a, combined="maximum", **HEARD),
        NoiseRatingOctaves(),
    ],
)
def test_rules_as_sums_give_their_own_numbers(rule) -> None:
    frequency = third_octaves(20, 315)
    level = np.random.default_rng(1).normal(40.0, 12.0, (50, frequency.size))
    spectra = xr.DataArray(
        level, dims=("sample", "frequency"), coords={"frequency": frequency["frequency"].values}
    )
    assert isinstance(rule, SummedBands)
    expected = rule.rating(spectra, xr.zeros_like(spectra["frequency"]))
    np.testing.assert_allclose(rule.sums(frequency).rating(level), expected, atol=1e-9)


@pytest.mark.parametrize("cases", [0, 4])
def test_blocks_are_rated_as_the_rules_rate(small, cases: int) -> None:
    """Every criterion of the study (sums, noise ratings, doses), every option and room: 1e-4 dB."""
    study, result = small
    mechanics = sampled_mechanics(SMALL, uncertain=SOIL, cases=cases) if cases else None
    sampler = sampler_of(study, result, mechanics=mechanics)
    kernel = sampler.kernel
    assert all(isinstance(rated, RatedSums) for _, rated in kernel.rated)
    by_rule = replace(
        kernel,
        rated=tuple(
            (quantity, sampler._of_cases(name))
            for name, (quantity, _) in zip(sampler.rated, kernel.rated, strict=True)
        ),
    )
    np.testing.assert_allclose(kernel.deviations(0), by_rule.deviations(0), atol=1e-4)


def test_a_metric_of_somebodys_own_is_sampled_too(small) -> None:
    """Bands that err together shift it one for one, which is a normal distribution."""
    study, _ = small
    first = study.criteria["studio"][0]
    own = replace(first, metric=OWN, limit=35.0)
    study = replace(study, criteria=dict.fromkeys(study.criteria, (own,)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = study.evaluate(band_levels=False)
        together = gb.uncertainty.Spread(name="all", of_sound=6.0, bands_correlated=float("inf"))
        sampler = Sampler(study=study, result=result, spreads=(together,), seed=1)
        assert isinstance(sampler.kernel.rated[0][1], Rated)
        found = how_sure(study, result, spreads=[together], samples=4 * BLOCK)
    width = float((found["rating_high"] - found["rating_low"]).isel(option=0, room=0, criterion=0))
    sigma = np.hypot(6.0, float(found["trains_spread"].isel(option=0, room=0, criterion=0)))
    assert width == pytest.approx(2 * 1.2816 * sigma, rel=0.02)


def test_what_goes_to_other_processes_is_small_and_gives_the_same(small) -> None:
    study, result = small
    kernel = sampler_of(study, result).kernel.without_rooms()
    sent = pickle.dumps(kernel)
    assert len(sent) < 300_000
    there = pickle.loads(sent)
    np.testing.assert_array_equal(there.deviations(3), kernel.deviations(3))


def same(first: xr.Dataset, other: xr.Dataset) -> None:
    for name in ("probability", "probability_error", "probability_all", "margin_low", "gain_high"):
        xr.testing.assert_identical(first[name], other[name])


def test_two_processes_give_the_numbers_of_one(small) -> None:
    study, result = small
    first = how_sure(study, result, samples=40 * BLOCK)
    with ProcessPoolExecutor(2) as pool:
        other = how_sure(study, result, samples=40 * BLOCK, mapper=pool.map)
    same(first, other)


@pytest.mark.skipif(
    importlib.util.find_spec("distributed") is None, reason="distributed is not installed"
)
@pytest.mark.filterwarnings("ignore")
def test_a_cluster_of_two_processes_gives_the_numbers_of_one(small) -> None:
    from distributed import Client

    study, result = small
    first = how_sure(study, result, samples=8 * BLOCK)
    done: list[float] = []
    with Client(n_workers=2, threads_per_worker=1, dashboard_address=None) as client:
        other = how_sure(
            study, result, samples=8 * BLOCK, mapper=mapper_of(client),
            progress=lambda _, share: done.append(share),
        )  # fmt: skip
    same(first, other)
    assert done == sorted(done)
    assert done[-1] == 1.0
