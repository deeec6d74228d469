"""Parameters that are refused, and how elements depend on what they are given."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import assume, given, strategies as st

from groundborne import bands, propagation, receiver
from groundborne._checks import BandError, PathError
from groundborne.isolation import (
    IdealIsolation,
    LinearMount,
    SurfaceIsolation,
    TwoStageMount,
    coupled_frequencies,
    hysteretic,
    natural_frequency,
    two_stage,
    viscous,
)
from groundborne.propagation import (
    FloorResonance,
    FtaStoreyAttenuation,
    FundamentalAmplification,
    GroundDistance,
    SpeedChange,
    StoreyAttenuation,
    StoreyStep,
)
from groundborne.receiver import RadiatingPlate, Room, forced_radiation_efficiency
from groundborne.receiver.radiation import radiation_efficiency
from groundborne.structure import (
    DiscFooting,
    RectangularFooting,
    RigidMass,
    SemiInfiniteRod,
    SpringFoundation,
)
from groundborne.twoport import TwoPort

F = bands.third_octaves(4, 250)

GOOD = {
    GroundDistance: {
        "distance": 30.0, "reference_distance": 15.0, "exponent": 0.5, "damping_ratio": 0.01,
        "wave_speed": 200.0, "source_extent": 0.0,
    },
    SpeedChange: {"speed": 60.0, "reference_speed": 50.0},
    StoreyAttenuation: {"per_storey": 1.0, "storeys": 3.0},
    FtaStoreyAttenuation: {"storeys": 3.0},
    FundamentalAmplification: {"natural_frequency": 12.0, "gain": 6.0},
    FloorResonance: {"natural_frequency": 60.0, "construction": "concrete"},
    LinearMount: {"stiffness": 1e8, "loss_factor": 0.1, "damping": 0.0, "dynamic_to_static": 1.5},
    LinearMount.tuned: {"natural_frequency": 5.0, "mass": 1e5, "loss_factor": 0.1},
    TwoStageMount: {
        "lower": LinearMount(stiffness=1e8), "upper": LinearMount(stiffness=1e8),
        "intermediate_mass": 1e4,
    },
    SurfaceIsolation: {"natural_frequency": 10.0, "loss_factor": 0.1, "largest_loss": 25.0},
    RigidMass: {"mass": 1e5},
    SpringFoundation: {"stiffness": 1e9, "damping": 1e6, "loss_factor": 0.1, "mass": 0.0},
    SemiInfiniteRod: {"area": 0.4, "youngs_modulus": 30e9, "density": 2400.0},
    RectangularFooting: {
        "length": 3.0, "width": 2.0, "shear_wave_speed": 200.0, "density": 1900.0, "poisson": 0.4,
        "loss_factor": 0.05, "embedment": 0.0, "mass": 0.0,
    },
    DiscFooting: {
        "radius": 1.0, "shear_modulus": 5e7, "density": 1900.0, "poisson": 0.4, "mass": 0.0
    },
    Room: {"length": 5.0, "width": 4.0, "height": 2.5, "reverberation_time": 0.5, "volume": 50.0},
    RadiatingPlate: {"length": 5.0, "width": 4.0, "critical_frequency": 76.8, "factor": 1.0},
    hysteretic: {"frequency_ratio": 2.0, "loss_factor": 0.1},
    viscous: {"frequency_ratio": 2.0, "damping_ratio": 0.1},
    natural_frequency: {"deflection": 0.01},
    two_stage: {
        "frequency": 10.0, "lower_stiffness": 1e8, "lower_mass": 1e4, "upper_stiffness": 1e8,
        "upper_mass": 1e4, "lower_loss_factor": 0.1, "upper_loss_factor": 0.1,
    },
    coupled_frequencies: {
        "lower_stiffness": 1e8, "lower_mass": 1e4, "upper_stiffness": 1e8, "upper_mass": 1e4,
    },
}  # fmt: skip
NUMBERS = [
    (make, name)
    for make, arguments in GOOD.items()
    for name, value in arguments.items()
    if isinstance(value, float) and name not in ("frequency", "frequency_ratio")
]
ABOVE_ZERO = [
    (m, n)
    for m, n in NUMBERS
    if n
    not in (
        "exponent", "damping_ratio", "source_extent", "per_storey", "storeys", "gain", "damping",
        "dynamic_to_static", "loss_factor", "embedment", "largest_loss", "poisson",
        "lower_loss_factor", "upper_loss_factor",
    )
    and (m, n) not in [(SpringFoundation, "mass"), (RectangularFooting, "mass"),
                       (DiscFooting, "mass")]
]  # fmt: skip


def _name(make):
    return getattr(make, "__qualname__", str(make))


def _ids(pairs):
    return [f"{_name(m)}-{n}" for m, n in pairs]


@pytest.mark.parametrize(("make", "name"), NUMBERS, ids=_ids(NUMBERS))
def test_a_parameter_must_be_a_finite_number(make, name):
    make(**GOOD[make])
    for bad in (np.nan, np.inf, -np.inf):
        with pytest.raises(ValueError, match=rf"{name} is -?(nan|inf)"):
            make(**{**GOOD[make], name: bad})
    for bad in ("3", None, True, [1.0], 1 + 1j):
        if bad is None and name == "volume":
            continue
        with pytest.raises(ValueError, match=rf"{name} is .*; a number or a DataArray"):
            make(**{**GOOD[make], name: bad})


@pytest.mark.parametrize(("make", "name"), NUMBERS, ids=_ids(NUMBERS))
def test_a_gap_in_an_array_is_named_by_its_label(make, name):
    good = float(GOOD[make][name])
    array = xr.DataArray([good, np.nan, good], coords={"room": ["a", "b", "c"]})
    with pytest.raises(ValueError, match=rf"{name} is nan at room=b; it must"):
        make(**{**GOOD[make], name: array})
    text = xr.DataArray(["1", "2"], dims="room")
    with pytest.raises(ValueError, match=rf"{name} holds <U1; real numbers are needed"):
        make(**{**GOOD[make], name: text})


@pytest.mark.parametrize(("make", "name"), ABOVE_ZERO, ids=_ids(ABOVE_ZERO))
def test_zero_and_negative_sizes_are_refused(make, name):
    for bad in (0.0, -1.0):
        with pytest.raises(ValueError, match=rf"{name} is -?[01]; it must be above 0"):
            make(**{**GOOD[make], name: bad})


@pytest.mark.parametrize(
    ("make", "name", "bad", "sentence"),
    [
        (GroundDistance, "exponent", 2.1, "between 0 and 2"),
        (GroundDistance, "damping_ratio", -0.01, "between 0 and 0.5"),
        (GroundDistance, "source_extent", -1.0, "must be 0 m or more"),
        (StoreyAttenuation, "per_storey", -1.0, "must be 0 dB or more"),
        (FtaStoreyAttenuation, "storeys", 11.0, "between 0 and 10 floors above grade"),
        (FtaStoreyAttenuation, "storeys", -1.0, "between 0 and 10 floors above grade"),
        (LinearMount, "loss_factor", 1.2, "between 0 and 1"),
        (LinearMount, "dynamic_to_static", 0.9, "between 1 and 5"),
        (LinearMount, "damping", -1.0, "must be 0 N s/m or more"),
        (LinearMount.tuned, "natural_frequency", 101.0, "between 0 and 100 Hz"),
        (SurfaceIsolation, "loss_factor", 0.0, "above 0"),
        (SurfaceIsolation, "loss_factor", 1.5, "between 0 and 1"),
        (SurfaceIsolation, "largest_loss", 61.0, "between 0 and 60 dB"),
        (RectangularFooting, "poisson", 0.5, "between 0 and 0.499"),
        (RectangularFooting, "mass", -1.0, "must be 0 kg or more"),
        (RectangularFooting, "width", 4.0, "width is above length"),
        (DiscFooting, "poisson", 0.5, "between 0 and 0.499"),
        (SpringFoundation, "mass", -1.0, "must be 0 kg or more"),
        (hysteretic, "frequency_ratio", -1.0, "must be 0"),
        (viscous, "damping_ratio", 0.0, "above 0"),
        (FloorResonance, "construction", "steel", "construction is 'steel'; known are 'concrete'"),
        (FloorResonance, "curve", "mena", "curve is 'mena'; .* Did you mean 'mean'"),
    ],
)
def test_bounds(make, name, bad, sentence):
    with pytest.raises(ValueError, match=sentence):
        make(**{**GOOD[make], name: bad})


def test_a_number_too_large_for_a_float_is_refused_like_any_other():
    with pytest.raises(ValueError, match="distance"):
        GroundDistance(**{**GOOD[GroundDistance], "distance": 10**400})


def test_soil_without_any_damping_is_refused():
    with pytest.raises(ValueError, match="damping and loss_factor are both 0; soil has one or bo"):
        SpringFoundation(stiffness=1e9)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: TwoPort.spring(F, stiffness=0.0), "TwoPort.spring: stiffness is 0; it must be ab"),
        (lambda: TwoPort.mass(F, mass=-1.0), "TwoPort.mass: mass is -1"),
        (lambda: TwoPort.dashpot(F, damping=0.0), "TwoPort.dashpot: damping is 0"),
        (lambda: TwoPort.line(F, stiffness=1e6, mass=0.0), "TwoPort.line: mass is 0"),
        (lambda: IdealIsolation(LinearMount(stiffness=1e6), 0.0), "IdealIsolation: mass is 0"),
        (
            lambda: receiver.critical_frequency(longitudinal_speed=3000.0, thickness=0.0),
            "critical_frequency: thickness is 0",
        ),
        (
            lambda: forced_radiation_efficiency(F, length=0.4, width=0.3),
            "radiation factor is .*; the band is too low",
        ),
        (lambda: propagation.published_coupling("tent"), "foundation is 'tent'; known are 'large"),
        (lambda: propagation.edin_foundation("attic"), "place is 'attic'"),
        (
            lambda: propagation.edin_ground_to_floor(9.0, "concrete"),
            "natural_frequency is 9 Hz; th",
        ),
        (lambda: receiver.relation("minus 26"), "name is 'minus 26'; .* Did you mean 'minus 27'"),
        (
            lambda: StoreyStep(FtaStoreyAttenuation(storeys=1), propagation.anc_floor_for_noise()),
            "StoreyStep: GivenChange turns velocity of the columns",
        ),
    ],
)
def test_other_constructors(make, sentence):
    with pytest.raises(ValueError, match=sentence):
        make()


def test_a_ratio_outside_the_table_is_refused_not_extrapolated():
    low = FloorResonance(natural_frequency=100.0, construction="concrete")
    with pytest.raises(BandError, match=r"the 4 Hz band lies outside the table, .* 0.05 to 5 of"):
        low.level_change(F)
    several = FloorResonance(
        natural_frequency=xr.DataArray([40.0, 60.0], dims="floor"), construction="concrete"
    )
    with pytest.raises(BandError, match="the 250 Hz band lies outside the table"):
        several.level_change(F)


def test_each_possible_floor_frequency_is_evaluated_by_itself():
    possible = [60.0, 65.0, 70.0]
    several = FloorResonance(
        natural_frequency=xr.DataArray(possible, dims="floor"), construction="concrete"
    ).level_change(F)
    for i, fn in enumerate(possible):
        one = FloorResonance(natural_frequency=fn, construction="concrete").level_change(F)
        np.testing.assert_array_equal(several.isel(floor=i), one)


def _amplified(natural):
    return FundamentalAmplification(natural_frequency=natural).level_change(F)


@given(st.floats(4.0, 240.0))
def test_a_floor_amplifies_in_exactly_one_band(natural):
    assert int((_amplified(natural) == 6.0).sum()) == 1
    assert float(_amplified(natural).sum()) == 6.0


@given(
    st.floats(5.0, 100.0), st.floats(1.01, 5.0), st.floats(0.0, 2.0), st.floats(0.0, 0.5),
    st.floats(80.0, 1000.0),
)  # fmt: skip
def test_farther_is_never_louder(distance, factor, exponent, damping, speed):
    d = xr.DataArray([distance, distance * factor], dims="place")
    change = GroundDistance(
        distance=d, reference_distance=15.0, exponent=exponent, damping_ratio=damping,
        wave_speed=speed,
    ).level_change(F)  # fmt: skip
    assert (change.diff("place") <= 1e-9).all()


@given(st.floats(1.0, 200.0), st.floats(1.0, 200.0), st.floats(0.0, 2.0))
def test_there_and_back_is_no_way(near, far, exponent):
    there, back = (
        GroundDistance(distance=b, reference_distance=a, exponent=exponent, damping_ratio=0.02,
                       wave_speed=250.0).level_change(F)
        for a, b in ((near, far), (far, near))
    )  # fmt: skip
    np.testing.assert_allclose(there + back, 0.0, atol=1e-9)


@given(st.floats(1.0, 30.0), st.floats(0.5, 30.0), st.floats(20.0, 500.0))
def test_a_radiation_factor_is_positive_and_at_most_two(length, width, critical):
    f = xr.DataArray(np.geomspace(4.0, 2000.0, 300), dims="frequency")
    sigma = radiation_efficiency(f, length=length, width=width, critical_frequency=critical)
    assert (sigma > 0).all()
    assert (sigma <= 2.0).all()
    swapped = radiation_efficiency(f, length=width, width=length, critical_frequency=critical)
    np.testing.assert_array_equal(sigma, swapped)


@given(st.floats(3.0, 15.0), st.floats(0.3, 1.0), st.floats(30.0, 200.0))
def test_the_radiation_factor_of_a_large_plate_is_continuous_above_its_first_mode(
    length, aspect, critical
):
    # The standard itself jumps at the first mode, and at the critical frequency of small plates.
    f11 = 340.0**2 / (4 * critical) * (1 / length**2 + 1 / (length * aspect) ** 2)
    assume(f11 < critical / 2)
    f = xr.DataArray(np.geomspace(f11 * 1.0001, 4 * critical, 6000), dims="frequency")
    sigma = radiation_efficiency(
        f, length=length, width=length * aspect, critical_frequency=critical
    )
    # Steps of 0.1 % in frequency or less; the flank below the critical frequency is the steepest.
    assert float(abs(10 * np.log10(sigma).diff("frequency")).max()) < 0.7


@pytest.mark.parametrize("construction", ["concrete", "timber"])
@pytest.mark.parametrize("curve", ["lower", "mean", "upper"])
def test_floor_resonance_is_continuous_in_the_natural_frequency(construction, curve):
    band = bands.third_octaves(63, 63)
    natural = xr.DataArray(np.geomspace(30.0, 150.0, 2001), dims="n")
    change = FloorResonance(
        natural_frequency=natural, construction=construction, curve=curve
    ).level_change(band)
    # 2000 steps over 7 thirds of an octave; the steepest flank of the table is 12 dB a third.
    assert float(abs(change.diff("n")).max()) < 12 * 7 / 2000 * 1.05


def test_a_taller_room_with_the_same_floor_absorbs_more():
    room = Room(length=5.0, width=4.0, height=xr.DataArray([2.5, 5.0], dims="h"),
                reverberation_time=0.5)  # fmt: skip
    assert (room.absorption_area.diff("h") > 0).all()
    given_volume = Room(length=5.0, width=4.0, height=2.5, reverberation_time=0.5, volume=50.0)
    plain = Room(length=5.0, width=4.0, height=2.5, reverberation_time=0.5)
    assert given_volume.absorption_area == plain.absorption_area


def test_the_order_of_two_mounts_without_mass_between_is_irrelevant():
    soft, hard = LinearMount(stiffness=1e7), LinearMount(stiffness=1e9)
    one = TwoStageMount(lower=soft, upper=hard, intermediate_mass=1e-9)
    two = TwoStageMount(lower=hard, upper=soft, intermediate_mass=1e-9)
    np.testing.assert_allclose(one.dynamic_stiffness(F), two.dynamic_stiffness(F), rtol=1e-6)


def test_static_deflection_of_two_stages_is_the_sum():
    mount = LinearMount(stiffness=1e7, dynamic_to_static=2.0)
    pair = TwoStageMount(lower=mount, upper=mount, intermediate_mass=1e3)
    load = 1e5
    expected = load * 2 / 1e7 + (load + 1e3 * 9.80665) * 2 / 1e7
    assert pair.static_deflection(load) == pytest.approx(expected, rel=1e-12)
    with pytest.raises(ValueError, match="load is -1"):
        mount.static_deflection(-1.0)


@given(st.floats(1.0, 50.0), st.floats(0.02, 0.5), st.floats(5.0, 40.0))
def test_a_layer_gains_no_more_than_its_limit(f0, loss, limit):
    layer = SurfaceIsolation(natural_frequency=f0, loss_factor=loss, largest_loss=limit)
    change = layer.level_change(F)
    assert (change > -limit).all()
    free = SurfaceIsolation(natural_frequency=f0, loss_factor=loss, largest_loss=60.0)
    alone = 10 ** (free.level_change(F) / 10) - 1e-6
    np.testing.assert_allclose(10 ** (change / 10), alone + 10 ** (-limit / 10), rtol=1e-9)
    np.testing.assert_array_equal(layer.limited(F), alone < 10 ** (-limit / 10))


def test_a_step_that_does_not_stay_on_its_ends():
    with pytest.raises(PathError, match="it must turn velocity of the foundation into velocity of"):
        StoreyStep(propagation.no_coupling_loss(), propagation.no_storey_attenuation())
