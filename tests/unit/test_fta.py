"""The general assessment of the American transit manual: curves, sums of adjustments, criteria."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from groundborne import levels, propagation, rating
from groundborne._checks import LevelError
from groundborne.propagation.fta import FOOT, WHEELS_AND_TRACK

FAR = {name: curve.farthest for name, curve in propagation.BASE_CURVES.items()}


@pytest.mark.parametrize("vehicle", FAR)
def test_curves_fall_with_distance_from_twenty_feet_on(vehicle) -> None:
    distance = xr.DataArray(np.geomspace(10 * FOOT, FAR[vehicle], 200), dims="distance")
    level = propagation.fta_base_curve(vehicle=vehicle, distance=distance)
    assert level.attrs["reference"] == "1 µin/s"
    assert (level.diff("distance") < 0).all()


def test_rubber_tyres_meet_the_text_within_six_tenths() -> None:
    """75 dB at 10 ft and 50 dB at 200 ft: US FTA 2006, section 10.1 [seen]."""
    ends = xr.DataArray([10 * FOOT, 200 * FOOT], dims="distance")
    level = propagation.fta_base_curve(vehicle="rubber-tyred", distance=ends)
    assert level.values == pytest.approx([75.0, 50.0], abs=0.6)


@pytest.mark.parametrize(
    ("vehicle", "expected"),
    [
        ("locomotive-hauled", [84.6, 78.4, 74.4, 71.4]),
        ("rapid transit or light rail", [73.1, 67.5, 63.6, 60.6]),
        ("rubber-tyred", [63.5, 56.8, 53.1, 50.6]),
    ],
)
def test_curves_between_their_ends(vehicle, expected) -> None:
    """50, 100, 150 and 200 ft, worked out by hand from the polynomials [derived]."""
    distance = xr.DataArray(np.array([50.0, 100.0, 150.0, 200.0]) * FOOT, dims="distance")
    level = propagation.fta_base_curve(vehicle=vehicle, distance=distance)
    assert level.values == pytest.approx(expected, abs=0.05)


def test_locomotives_lie_above_cars_and_levels_convert() -> None:
    near = propagation.fta_base_curve(vehicle="locomotive-hauled", distance=15.24)
    cars = propagation.fta_base_curve(vehicle="rapid transit or light rail", distance=15.24)
    assert float(near - cars) > 3
    si = levels.convert(cars, reference="1 nm/s")
    assert float(si - cars) == pytest.approx(28.1, abs=0.01)


@pytest.mark.parametrize("distance", [3.0, 91.5, 0.0, -20.0, float("nan")])
def test_curves_are_not_extrapolated(distance) -> None:
    with pytest.raises(ValueError, match="distance is"):
        propagation.fta_base_curve(vehicle="locomotive-hauled", distance=distance)


def test_curves_refuse_names_and_bare_arrays() -> None:
    with pytest.raises(ValueError, match="Did you mean 'rubber-tyred'"):
        propagation.fta_base_curve(vehicle="rubber tyred", distance=20.0)
    with pytest.raises(ValueError, match="without named dimensions"):
        propagation.fta_base_curve(vehicle="rubber-tyred", distance=np.array([10.0, 20.0]))


def test_worked_sum() -> None:
    """100 ft, tunnel in rock, building on rock: 67.5 − 15 + 4 + 0 = 56.5 VdB [derived]."""
    base = propagation.fta_base_curve(vehicle="rapid transit or light rail", distance=100 * FOOT)
    given = ("tunnel in rock", "rock at 100 ft", "foundation in rock")
    assert propagation.fta_adjustment(names=given) == -11.0
    assert float(base) + propagation.fta_adjustment(names=given) == pytest.approx(56.5, abs=0.05)


def test_largest_of_a_group_counts_and_groups_add() -> None:
    def adjust(*names: str) -> float:
        return propagation.fta_adjustment(names=names)

    assert adjust() == 0.0
    assert adjust("worn wheels or flats", "worn or corrugated track") == 10.0
    assert adjust("jointed track or uneven road", "stiff primary suspension") == 8.0
    assert adjust("floating slab", "ballast mats") == -15.0
    assert adjust("floating slab", "special trackwork") == -5.0
    # Sums of one entry each from all groups are the sums of the entries.
    first = {}
    for name, entry in propagation.ADJUSTMENTS.items():
        first.setdefault(entry.group, name)
    single = {g: n for g, n in first.items() if g != WHEELS_AND_TRACK[1]}
    total = sum(propagation.ADJUSTMENTS[n].change for n in single.values())
    assert adjust(*single.values()) == pytest.approx(total)


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (("large masonry on piles", "timber frame house"), "both of the group 'coupling'"),
        (("station", "tunnel in rock"), "both of the group 'track configuration'"),
        (("rock at 50 ft", "rock at 100 ft"), "both of the group 'rock layer'"),
        (("ballast mats", "ballast mats"), "given twice"),
        (("ballast mat",), "Did you mean 'ballast mats'"),
    ],
)
def test_adjustments_that_contradict_each_other_are_refused(names, said) -> None:
    with pytest.raises(ValueError, match=said):
        propagation.fta_adjustment(names=names)


def test_noise_wants_an_overall_level() -> None:
    bands = levels.stamp(
        xr.DataArray([60.0], coords={"frequency": [63.0]}),
        quantity="velocity",
        reference="1 µin/s",
        long_name="level",
    )
    with pytest.raises(LevelError, match="the rule holds for overall levels"):
        propagation.fta_noise_level(bands, peak="30 to 60 Hz")
    overall = bands.isel(frequency=0, drop=True)
    si = levels.convert(overall, reference="1 nm/s")
    for level in (overall, si):
        noise = propagation.fta_noise_level(level, peak="30 to 60 Hz")
        assert float(noise) == pytest.approx(25.0)
        assert noise.attrs["frequency_weighting"] == "A"
    with pytest.raises(ValueError, match="peak"):
        propagation.fta_noise_level(overall, peak="45 Hz")


def test_events_are_called_by_their_number() -> None:
    events = xr.DataArray([0.0, 29.0, 30.0, 70.0, 71.0], dims="line")
    found = rating.event_class(events=events).values.tolist()
    assert found == ["infrequent", "infrequent", "occasional", "occasional", "frequent"]
    limit = rating.fta_vibration_limit(use="residence", events=events)
    assert limit.values.tolist() == [80.0, 80.0, 75.0, 75.0, 72.0]
    assert limit.attrs["reference"] == "1 µin/s"
    with pytest.raises(ValueError, match="events is -1"):
        rating.event_class(events=-1.0)
    with pytest.raises(ValueError, match="known are"):
        rating.fta_vibration_limit(use="castle", events=10.0)


def test_detailed_curves_lie_beside_the_metric_ones() -> None:
    """VC-A is 50.7 µm/s in whole decibels re 1 µin/s, and 50 µm/s on the metric curve: 0.12 dB."""
    for name in ("VC-A", "VC-B", "VC-C", "VC-D", "VC-E"):
        metric = rating.vibration_curves.curve(name).sel(frequency=31.5)
        ours = levels.to_rms(rating.fta_detailed_curve(name).sel(frequency=31.5))
        assert 20 * np.log10(float(ours / metric)) == pytest.approx(0.15, abs=0.08)
    strict = [float(rating.fta_detailed_curve(name)[0]) for name in rating.FTA_DETAILED]
    assert strict == sorted(strict, reverse=True)
