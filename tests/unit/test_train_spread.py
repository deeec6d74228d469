"""What the number of trains leaves open: against the scatter of the estimators themselves."""

from __future__ import annotations

import numpy as np
import pytest

from groundborne._checks import StudyError
from groundborne.study.train_spread import spread_by_trains, taken

MANY = 20000


def energy(power: float):
    return lambda x: 10 * np.log10((10 ** (power * x / 10)).mean(axis=1)) / power


CASES = [
    ("mean", 1.0, 3.0, 12, lambda x: x.mean(axis=1)),
    ("maximum", 1.0, 3.0, 12, lambda x: x.max(axis=1)),
    ("energy mean", 1.0, 5.0, 30, energy(1.0)),
    ("period dose", 2.0, 5.0, 30, energy(2.0)),
    ("energy mean", 1.0, 8.0, 60, energy(1.0)),
    *(
        ("percentile", 1.0, 3.0, n, lambda x: np.quantile(x, 0.95, axis=1, method="hazen"))
        for n in (10, 15, 30, 60, 120)
    ),
]


@pytest.mark.parametrize(("name", "power", "scatter", "count", "of"), CASES)
def test_it_is_the_scatter_of_the_estimator(name, power, scatter, count, of) -> None:
    """Of normal trains, by numpy alone. 256 draws, and 200 studies of so few trains: to 12 %."""
    generator = np.random.default_rng(3)
    true = of(generator.normal(0.0, scatter, (MANY, count))).std()
    each = generator.normal(60.0, scatter, (200, count))
    found = spread_by_trains(
        each, np.ones(count), np.full(count, "all"), statistic=name, power=power, percentile=95.0
    )
    assert np.median(found) == pytest.approx(true, rel=0.12)


def test_types_count_as_the_timetable_has_them() -> None:
    """Two freight trains that run, and forty local ones that do not: √(s²/2) of the two."""
    generator = np.random.default_rng(5)
    kinds = np.array(["local"] * 40 + ["freight"] * 2)
    each = np.concatenate([generator.normal(50, 2, 40), [54.0, 66.0]])[None]
    for local, expected in ((0.0, 6.0), (1000.0, None)):
        share = np.where(kinds == "local", local / 40, 100 / 2)
        found = spread_by_trains(each, share, kinds, statistic="mean")[0]
        if expected is None:
            s = each[0, :40].std(ddof=1)
            weights = np.array([1000.0, 100.0]) / 1100
            expected = np.hypot(weights[0] * s / np.sqrt(40), weights[1] * 6.0)
        assert found == pytest.approx(expected, rel=0.1)


def test_a_single_train_of_a_type_spreads_like_the_others() -> None:
    kinds = np.array(["local"] * 20 + ["freight"])
    local = np.random.default_rng(6).normal(50, 3, 20)
    each = np.concatenate([local, [70.0]])[None]
    share = np.where(kinds == "local", 0.0, 1.0) + 1e-12
    found = spread_by_trains(each, share, kinds, statistic="mean")[0]
    assert found == pytest.approx(local.std(ddof=1), rel=0.1)


@pytest.mark.parametrize("share", [[1.0, 0.0], [0.0, 0.0]])
def test_one_train_tells_nothing(share) -> None:
    with pytest.raises(StudyError, match="passby that counts tells nothing of how trains differ"):
        spread_by_trains(np.zeros((1, 2)), np.array(share), np.array(["a", "b"]), statistic="mean")


@pytest.mark.parametrize("percentile", [5.0, 30.0, 50.0, 80.0, 95.0])
@pytest.mark.parametrize("count", [2, 3, 12, 60])
def test_percentiles_are_those_of_ratings(percentile, count) -> None:
    """Interpolated between mid-ranks; beyond the outermost train stands that one."""
    generator = np.random.default_rng(count)
    each = generator.normal(60.0, 4.0, (50, count))
    share = generator.integers(1, 6, count) / 1.0
    found = taken(
        each, share / share.sum(), statistic="percentile", power=1.0, percentile=percentile
    )
    for row, own in zip(found, each, strict=True):
        order = np.argsort(own)
        weight = share[order] / share.sum()
        rank = np.cumsum(weight) - weight / 2
        assert row == pytest.approx(np.interp(percentile / 100, rank, own[order]), abs=1e-9)
