"""Default spreads against the limits of published statistics, band by band: consistency, no proof.

E DIN 45672-3:2023, Tables A.3 to A.5 [seen second-hand], by ten generic buildings. The default
spreads of studies were set with the same tables, as half the width between these limits and what
the generic buildings are off from their means, so that agreement is by making. That the deviations
of the draft standard are one standard deviation is assumed here as there.
"""

from __future__ import annotations

import generic_buildings as generic
import numpy as np
import pytest
from foundations import KEPT, MODELS
from scipy.stats import norm

from groundborne.bands import exact
from groundborne.propagation import edin_foundation
from groundborne.propagation._edin_floors import RATIO_GAIN, RATIOS
from groundborne.structure import ColumnPhases
from groundborne.study.spreads import _BANDS, _RATIOS, TO_FLOOR, TO_FOUNDATION

PLACES = {"b": "basement", "g": "ground level"}
"""Of each generic building, by the table that it is compared with."""


def limits(row, quantity: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lower limit, mean and upper limit of the statistics by band [dB]."""
    if quantity == "foundation":
        place = PLACES[row.compared_at]
        return tuple(
            edin_foundation(place, curve=c).level_change(generic.BANDS).values
            for c in ("lower", "mean", "upper")
        )
    ratio = np.log(generic.BANDS.values / row.fn_hz)
    table = RATIO_GAIN["concrete"]
    return tuple(np.interp(ratio, np.log(RATIOS), table[c]) for c in ("lower", "mean", "upper"))


def spread(row, quantity: str) -> np.ndarray:
    """Default standard deviation by band [dB], as a study takes it."""
    if quantity == "foundation":
        return np.array(TO_FOUNDATION[PLACES[row.compared_at]])
    ratio = np.asarray(exact(generic.BANDS)) / row.fn_hz
    return np.interp(np.log10(ratio), np.log10(_RATIOS), TO_FLOOR)


@pytest.fixture(scope="module")
def predicted():
    model, ground = MODELS[KEPT]  # as studies take foundations
    found = []
    for _, row in generic.buildings().iterrows():
        line = generic.line(row, phases=ColumnPhases(points=3), foundation=model)
        foundation = 10 * np.log10(line.foundation_mean_square(generic.BANDS))
        free = (foundation + ground(row, line.foundation)).transpose("frequency")
        floors = 10 * np.log10(line.mid_panel_mean_square(generic.BANDS)) - foundation
        kept = generic.BANDS.values / row.fn_hz <= 5.0  # beyond it the statistics have no values
        values = {
            "foundation": (free.values[None], np.ones(kept.size, bool)),
            "floors": (floors.transpose("floor", "frequency").values, kept),
        }
        found.append((row, values))
    return found


def by_band(predicted, quantity: str, probability: float, scale: float = 1.0):
    """Whether both limits lie inside the interval, and the share of buildings that does.

    On all values, by bands that lie side by side; buildings are normal about the mean of the
    statistics with half the width between its limits.
    """
    point = float(norm.ppf(probability))
    both, held, bands = [], [], []
    for row, values in predicted:
        value, kept = values[quantity]
        lower, mean, upper = limits(row, quantity)
        reach = point * scale * spread(row, quantity)
        deviation = (upper - lower) / 2
        inside = (lower >= value - reach) & (upper <= value + reach)
        of_buildings = norm.cdf((value + reach - mean) / deviation) - norm.cdf(
            (value - reach - mean) / deviation
        )
        both.append(inside[:, kept])
        held.append(of_buildings[:, kept])
        bands.append(np.broadcast_to(generic.BANDS.values[kept], inside[:, kept].shape))
    return tuple(np.concatenate([x.ravel() for x in each]) for each in (both, held, bands))


@pytest.mark.parametrize("quantity", ["foundation", "floors"])
@pytest.mark.parametrize("probability", [0.9, 0.95])
def test_intervals_hold_as_many_buildings_as_they_say(
    predicted, quantity: str, probability: float
) -> None:
    """80 % and 90 %, in each band to 15 %, floors at 50 Hz being worst (66 % of 80)."""
    _, held, bands = by_band(predicted, quantity, probability)
    wanted = 2 * probability - 1
    assert held.mean() == pytest.approx(wanted, abs=0.03)
    for band in np.unique(bands):
        assert held[bands == band].mean() == pytest.approx(wanted, abs=0.15), band
    _, held, _ = by_band(predicted, quantity, probability, scale=0.5)
    assert held.mean() < wanted - 0.2  # half the spreads would not do


@pytest.mark.parametrize(
    ("quantity", "probability", "share"),
    [
        ("foundation", 0.9, 0.40),
        ("foundation", 0.95, 0.92),
        ("floors", 0.9, 0.57),
        ("floors", 0.95, 0.79),
    ],
)
def test_limits_inside_the_interval(predicted, quantity, probability, share) -> None:
    """Share of bands with both limits inside. The interval of studies by default, which leaves a
    tenth on each side, holds both in half of them only: it reaches 1.28 spreads from a model that
    is itself 3 to 5 dB off. One that leaves a twentieth holds most."""
    both, _, _ = by_band(predicted, quantity, probability)
    assert both.mean() == pytest.approx(share, abs=0.02)


def test_the_bands_of_spreads_are_those_of_the_comparison() -> None:
    assert list(_BANDS) == generic.BANDS.values.tolist()
