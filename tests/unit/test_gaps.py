"""A gap in a chunked array stays a gap: nothing skips it, counts it as silence or as no train.

Chunked arrays are not looked at when they are handed in, so what is made of them must carry a gap
to where they are computed, and there it is refused.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
import xarray as xr

from groundborne import bands, levels
from groundborne.rating import (
    kb,
    noise,
    noise_rating_curves,
    ns8176,
    sound_exposure,
    vibration_bands,
)
from groundborne.rating.statistics import statistic
from groundborne.source.statistics import summary
from groundborne.study.evaluation import evaluate, room_levels

pytest.importorskip("dask")


def pressure(low: float = 31.5, high: float = 8000.0) -> xr.DataArray:
    axis = bands.third_octaves(low, high)
    flat = xr.DataArray(np.full(axis.size, 40.0), coords={"frequency": axis["frequency"]})
    return levels.stamp(
        flat, quantity="sound pressure", reference="20 µPa", long_name="level", time_weighting="leq"
    )


def velocity() -> xr.DataArray:
    axis = bands.third_octaves(1, 80)
    flat = xr.DataArray(np.full(axis.size, 60.0), coords={"frequency": axis["frequency"]})
    return levels.stamp(
        flat, quantity="velocity", reference="1 nm/s", long_name="level", time_weighting="F max"
    )


def passbys() -> xr.DataArray:
    values = 60.0 + np.arange(12.0)
    return levels.stamp(
        xr.DataArray(values, dims="passby"), quantity="velocity", reference="1 nm/s",
        long_name="level", time_weighting="S max",
    )  # fmt: skip


def exposure() -> xr.DataArray:
    return levels.stamp(
        xr.DataArray(np.full(4, 60.0), dims="passby"), quantity="sound pressure",
        reference="20 µPa", long_name="exposure",
    )  # fmt: skip


SEVERITY = xr.DataArray([0.2, 0.3, 0.4], dims="clock")
CHANGE = xr.zeros_like(pressure()).drop_attrs()

CALLS: dict[str, tuple[xr.DataArray, Callable[[xr.DataArray], xr.DataArray]]] = {
    "noise rating": (pressure(25.0, 10000.0), noise_rating_curves.noise_rating),
    "A level": (pressure(), noise.sound_level),
    "level of a period": (
        exposure(),
        partial(sound_exposure.laeq_of_period, count=10.0, hours=1.0),
    ),
    "clock mean": (SEVERITY, kb.kb_clock_mean),
    "KB of bands": (velocity(), vibration_bands.kb_of_bands),
    "energy mean": (passbys(), lambda x: levels.energy_mean(x, "passby")),
    "mean square": (passbys(), lambda x: levels.mean_square(x, "passby")),
    "statistic mean": (passbys(), lambda x: statistic(x, "mean")),
    "statistic maximum": (passbys(), lambda x: statistic(x, "maximum")),
    "summary": (passbys(), lambda x: summary(x)["maximum"] + summary(x)["percentile"]),
    "statistical maximum": (
        xr.DataArray(np.linspace(1e-4, 3e-4, 16), dims="passby"),
        ns8176.statistical_maximum,
    ),
    "room level": (pressure(), lambda x: room_levels(CHANGE, x)),
}


@pytest.mark.parametrize("name", CALLS)
@pytest.mark.filterwarnings("ignore::groundborne.ValidityWarning")
def test_a_gap_in_a_chunked_array_stays_one(name: str) -> None:
    whole, call = CALLS[name]
    assert np.isfinite(call(whole).values).all()
    gap = whole.copy(deep=True)
    gap[-1] = np.nan
    with pytest.raises(ValueError, match="nan at "):
        call(gap)
    found = call(gap.chunk())
    if name == "summary":  # of a table of several numbers each stays what it is
        assert np.isnan(found.values).all()
        return
    with pytest.raises(ValueError, match="the result is not a number somewhere"):
        found.compute()


def test_a_gap_in_a_chunked_source_leaves_no_evaluation(music_school) -> None:
    study = music_school.study
    source = study.source.copy(deep=True)
    source[0, 0] = np.nan
    whole = evaluate(study.paths(), study.source.chunk({"passby": 5}))
    assert np.isfinite(whole["sound_level"].compute().values).all()
    found = evaluate(study.paths(), source.chunk({"passby": 5}))
    for name in ("source_level", "sound_level", "mean_level", "band_level"):
        with pytest.raises(ValueError, match=f"evaluate: {name}: the result is not a number"):
            found[name].compute()
