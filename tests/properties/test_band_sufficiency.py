"""Ratings of spectra that end: what more bands may turn an answer into, and what they may not."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne import bands, levels, weighting
from groundborne.citation import ValidityWarning
from groundborne.rating import METRICS, Answer, answer, noise_rating, nr_curve, sound_level
from groundborne.rating.noise import sound_sufficiency
from groundborne.rating.noise_rating_curves import noise_rating_sufficiency
from groundborne.rating.sufficiency import FALL, NEAR, Missing, judge_ends
from groundborne.rating.vibration_bands import weighted_rms_of_bands
from groundborne.rating.vibration_curves import class_reached, curve

F = bands.third_octaves(1, 1000).values
WHOLE = F.size
# Minus the curve: what a band contributes; bands without one never govern.
VC_WEIGHT = -20 * np.log10(curve("VC-B").reindex(frequency=F, fill_value=1e9) / 1e-9)


def suffices_for(metric: str):
    """The judgement of a metric on a spectrum by itself."""
    rule = METRICS[metric].rule
    return lambda level: rule.judge(
        xr.zeros_like(level).drop_attrs(), level.drop_attrs(), over=None, below=None
    )


def weighted_of(name: str):
    """Rating in dB or NR, and sufficiency, of a spectrum of one kind."""
    if name == "NR":
        return noise_rating, noise_rating_sufficiency
    if name == "A":
        return sound_level, sound_sufficiency
    if name == "Wb":

        def sample_rate(level):
            return 20 * np.log10(weighted_rms_of_bands(level, curve="Wb"))

        return sample_rate, suffices_for("VDV")
    return (
        lambda level: (level + VC_WEIGHT.reindex_like(level)).max("frequency"),
        suffices_for("VC-B"),
    )


def stamped(values, labels, kind):
    sound = kind in ("A", "NR")
    return levels.stamp(
        xr.DataArray(values, coords={"frequency": labels}),
        quantity="sound pressure" if sound else "velocity",
        reference="20 µPa" if sound else "1 nm/s",
        long_name="level",
        time_weighting="leq",
    )


def judged(values, labels, kind, limit):
    sample_rate, suffices = weighted_of(kind)
    level = stamped(values, labels, kind)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ValidityWarning)
        margin = limit - sample_rate(level)
    return answer(margin, may_add=suffices(level).may_add).item(), float(margin)


@st.composite
def cuts(draw, kind):
    """A spectrum and the part of it that somebody kept."""
    # From where nothing makes a lower bound by itself on to where everything may.
    first, last = (int(F.searchsorted(f)) for f in ((8, 80) if kind == "VC" else (40, 100)))
    low = draw(st.integers(0, first))
    high = draw(st.integers(last, WHOLE - 1))
    values = draw(st.lists(st.floats(20.0, 80.0), min_size=WHOLE, max_size=WHOLE))
    return np.array(values), low, high + 1


KINDS = ["A", "NR", "Wb", "VC"]


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=25)
@given(data=st.data(), short=st.floats(-15.0, 15.0))
def test_whatever_is_added_a_criterion_that_is_not_met_stays_so(kind, data, short):
    """A rating never falls by more bands, so that what is not met is known to be."""
    values, low, high = data.draw(cuts(kind))
    limit = judged(values[low:high], F[low:high], kind, 0.0)[1] * -1.0 + short
    part, _ = judged(values[low:high], F[low:high], kind, limit)
    whole, _ = judged(values, F, kind, limit)
    if part == Answer.NOT_MET:
        assert whole == Answer.NOT_MET


def grown(values, low, high, kind):
    """The spectrum with what was cut off held to a fall of 10 dB per octave beyond the ends, in
    what the bands contribute."""
    if kind == "VC":
        weight = VC_WEIGHT.values
    elif kind == "A":
        weight = weighting.a(xr.DataArray(F, coords={"frequency": F})).values
    else:
        frequency = xr.DataArray(F, coords={"frequency": F})
        weight = weighting.wb(frequency).values + 20 * np.log10(2 * np.pi * bands.exact(F))
    within = values + weight
    for at in range(high, WHOLE):
        inside = max(within[k] - FALL * (at - k) for k in range(low, high))
        within[at] = min(within[at], inside)
    for at in range(low - 1, -1, -1):
        inside = max(within[k] - FALL * (k - at) for k in range(low, high))
        within[at] = min(within[at], inside)
    return within - weight


@pytest.mark.parametrize("kind", ["A", "Wb", "VC"])
@settings(max_examples=25)
@given(data=st.data(), short=st.floats(-3.0, 3.0))
def test_what_is_met_stays_met_by_bands_that_fall_as_the_rule_says(kind, data, short):
    """Beyond the ends no band above the envelope: then narrowing the bands turns neither what is
    not met nor what is not shown into met."""
    values, low, high = data.draw(cuts(kind))
    values = grown(values, low, high, kind)
    limit = judged(values[low:high], F[low:high], kind, 0.0)[1] * -1.0 + short
    part, _ = judged(values[low:high], F[low:high], kind, limit)
    whole, margin = judged(values, F, kind, limit)
    if part == Answer.MET:
        assert whole == Answer.MET or margin > -1e-9


@settings(max_examples=25)
@given(
    octaves=st.lists(st.floats(-10.0, 60.0), min_size=6, max_size=6),
    keep=st.integers(9, 17),
    short=st.floats(-3.0, 3.0),
)
def test_the_same_of_noise_ratings_by_whole_octaves(octaves, keep, short):
    """Thirds of an octave alike; octaves outside fall by 10 NR each and more."""
    labels = bands.third_octaves(25, 1600).values[: 3 * 6]
    numbers = np.array(octaves)
    whole_octaves = -(-keep // 3)
    for at in range(whole_octaves, 6):
        numbers[at] = min(numbers[at], max(numbers[k] - 10.0 * (at - k) for k in range(at)))
    slope = (nr_curve(1.0) - nr_curve(0.0)).values[:6]
    values = np.repeat(nr_curve(0.0).values[:6] + numbers * slope - 10 * np.log10(3), 3)
    limit = judged(values[:keep], labels[:keep], "NR", 0.0)[1] * -1.0 + short
    part, _ = judged(values[:keep], labels[:keep], "NR", limit)
    whole, margin = judged(values, labels, "NR", limit)
    if part == Answer.MET:
        # A third that is missing lifts its own octave by 10 lg 3 at most, which lies 10 NR below.
        assert whole == Answer.MET or margin > -1e-9


def test_the_curve_here_is_the_curve_there():
    level = stamped(np.full(WHOLE, 70.0), F, "VC")
    margin = class_reached(level)["margin"].sel(curve="VC-B")
    assert float(margin) == pytest.approx(-float((level + VC_WEIGHT).max()), abs=1e-9)


@given(st.lists(st.floats(0.0, 60.0), min_size=3, max_size=20))
def test_what_bands_outside_may_add_is_bounded(values):
    """Never more than two bands 10 dB below the governing one, 10 lg 1.2, or no bound at all."""
    level = xr.DataArray(values, coords={"frequency": F[: len(values)]})
    lacks = Missing(words="bands are missing")
    found = judge_ends(level, below=lacks, above=lacks)
    add = float(found.may_add)
    assert add == np.inf or 0.0 <= add <= 10 * np.log10(1.2) + 1e-12
    assert (add == np.inf) == bool(found.why)
    assert float(judge_ends(level, below=None, above=None).may_add) == 0.0
    needed = judge_ends(level, below=None, above=replace(lacks, needed=True))
    assert float(needed.may_add) == np.inf
    near = max(values) - max(values[0], values[-1]) < NEAR
    assert add == np.inf or not near
