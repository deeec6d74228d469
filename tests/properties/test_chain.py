"""The chain as a whole: sums, broadcasting, samples, options, chunks and the isolation plane."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

import groundborne as gb
from groundborne import bands, levels, propagation, receiver, weighting
from groundborne._checks import LevelError, StudyError
from groundborne.isolation import BaseIsolation, LinearMount, SurfaceIsolation
from groundborne.path import FOUNDATION, GROUND, GivenChange, TransmissionPath, Unchanged, Where
from groundborne.rating import sound_level
from groundborne.receiver import RadiatingPlate, Room, RoomSound, Surface, SurfaceMean
from groundborne.structure import RigidMass, SemiInfiniteRod, SpringFoundation
from groundborne.study import evaluate, evaluation, room_levels, stage_changes

F = bands.third_octaves(16, 250)
ROOMS = ["hall", "studio", "office"]


def source(values=None, passby=12):
    if values is None:
        values = 80 + 10 * np.random.default_rng(3).standard_normal((passby, F.size))
    array = xr.DataArray(
        values,
        dims=("passby", "frequency"),
        coords={"passby": [f"P{i}" for i in range(len(values))], "frequency": F.values},
    )
    return levels.stamp(
        array,
        quantity="velocity",
        reference="1 nm/s",
        long_name="level",
        location="of the ground",
        time_weighting="S max",
    )


def per_room(values):
    return xr.DataArray(np.asarray(values, float), coords={"room": ROOMS})


PARAMETERS = {
    "distance": 25.0,
    "wave_speed": 220.0,
    "per_storey": 1.0,
    "natural_frequency": 40.0,
    "f0": 8.0,
    "loss_factor": 0.1,
    "length": per_room([14.0, 6.0, 5.0]),
    "width": per_room([7.0, 4.0, 4.0]),
    "height": per_room([6.0, 3.0, 2.7]),
    "reverberation_time": per_room([1.4, 0.4, 0.6]),
    "storeys": per_room([0.0, 1.0, 3.0]),
}


def build(**more):
    """A whole path with base isolation; every parameter may carry dims of its own."""
    p = {**PARAMETERS, **more}
    room = Room(**{n: p[n] for n in ("length", "width", "height", "reverberation_time")})
    plate = RadiatingPlate(length=p["length"], width=p["width"], critical_frequency=70.0)
    floor = propagation.FundamentalAmplification(natural_frequency=p["natural_frequency"])
    surfaces = {
        "floor": Surface(area=room.floor_area, radiation=plate, velocity=floor),
        "ceiling": Surface(area=room.floor_area, radiation=plate),
    }
    mass = 1e6
    base = BaseIsolation(
        LinearMount.tuned(natural_frequency=p["f0"], mass=mass, loss_factor=p["loss_factor"]),
        below=SpringFoundation(stiffness=2e10, damping=1e8, loss_factor=0.1),
        above=RigidMass(mass=mass),
    )
    return TransmissionPath(
        ground=propagation.GroundDistance(
            distance=p["distance"], reference_distance=15.0, exponent=0.5, damping_ratio=0.01,
            wave_speed=p["wave_speed"],
        ),
        coupling=Unchanged(GROUND, FOUNDATION),
        isolation=Where(base, xr.DataArray([True, True, False], coords={"room": ROOMS})),
        storeys=propagation.StoreyAttenuation(per_storey=p["per_storey"], storeys=p["storeys"]),
        surfaces=SurfaceMean(surfaces),
        radiation=RoomSound(room, surfaces),
    )  # fmt: skip


def quietly(function, *arguments, **more):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return function(*arguments, **more)


# Sums


@given(st.lists(arrays(float, F.size, elements=st.floats(-60, 30)), min_size=1, max_size=5))
def test_the_level_is_the_source_plus_the_sum_of_the_changes(changes):
    """In the order of the path, so that not even the last digit differs."""
    elements = {
        f"step{i}": GivenChange(
            xr.DataArray(c, coords={"frequency": F.values}), quantity_in=GROUND, quantity_out=GROUND
        )
        for i, c in enumerate(changes)
    }
    path, start = TransmissionPath(**elements), source()
    expected = np.zeros(F.size)
    for change in changes:
        expected = expected + change
    np.testing.assert_array_equal(path.level_change(F), expected)
    np.testing.assert_array_equal(path.level(start), start.values + expected)


def test_an_evaluation_is_the_level_of_its_path():
    path, start = build(), source()
    result = quietly(evaluate, {"one": path}, start)
    alone = quietly(path.level, start).transpose("room", "passby", "frequency")
    # Stages are summed pairwise there and in order here: the last digit of 100 dB.
    np.testing.assert_allclose(result["band_level"].sel(option="one"), alone, atol=1e-12)
    changes = quietly(path.level_changes, F)
    for stage in path.names:
        expected = changes[stage].broadcast_like(
            result["level_change"].sel(option="one", stage=stage)
        )
        np.testing.assert_array_equal(
            result["level_change"].sel(option="one", stage=stage),
            expected.transpose("room", "frequency"),
        )


def test_the_level_of_a_sub_path_is_the_level_half_way():
    path, start = build(), source()
    half = quietly(path.without("surfaces", "radiation").level, start)
    rest = quietly(path.without("ground", "coupling", "isolation", "storeys").level_change, F)
    whole = quietly(path.level, start)
    np.testing.assert_allclose((half + rest).transpose(*whole.dims), whole, atol=1e-12)


@given(
    arrays(float, (3, 4, F.size), elements=st.floats(-90, 30)),
    arrays(float, (5, F.size), elements=st.floats(0, 120)),
)
@settings(max_examples=40)
def test_room_levels_are_a_plain_sum_of_powers(change, start):
    array = xr.DataArray(
        change, dims=("option", "room", "frequency"), coords={"frequency": F.values}
    )
    power = 10 ** ((change[:, :, None, :] + start + weighting.a(F).values) / 10)
    expected = 10 * np.log10(power.sum(axis=-1))
    np.testing.assert_allclose(room_levels(array, source(start)), expected, atol=1e-9)


def test_room_levels_are_the_a_weighted_band_levels():
    result = quietly(evaluate, {"one": build()}, source())
    summed = quietly(sound_level, result["band_level"])  # lower bounds: bands are missing
    np.testing.assert_allclose(result["sound_level"], summed, atol=1e-9)


# Broadcasting

VARIED = {
    "distance": [20.0, 30.0, 45.0, 60.0],
    "f0": [4.0, 6.0, 9.0, 12.0],
    "natural_frequency": [31.5, 40.0, 50.0, 63.0],
    "per_storey": [0.0, 1.0, 2.0, 3.0],
}


def variants():
    return {n: xr.DataArray(v, dims="variant") for n, v in VARIED.items()}


def test_variants_at_once_are_variants_one_by_one():
    together = quietly(evaluate, {"one": build(**variants())}, source())
    for i in range(4):
        alone = quietly(evaluate, {"one": build(**{n: v[i] for n, v in VARIED.items()})}, source())
        part = together.isel(variant=i)
        for name in ("sound_level", "mean_level", "band_level", "level_change"):
            expected = alone[name].transpose(*part[name].dims)
            np.testing.assert_allclose(part[name], expected, atol=1e-9)


def test_a_number_an_array_without_dims_and_a_long_one_agree():
    plain = quietly(evaluate, {"one": build()}, source())
    scalars = {n: xr.DataArray(v) for n, v in PARAMETERS.items() if isinstance(v, float)}
    wrapped = quietly(evaluate, {"one": build(**scalars)}, source())
    repeated = {n: xr.DataArray([v] * 3, dims="variant") for n, v in scalars.items()}
    many = quietly(evaluate, {"one": build(**repeated)}, source())
    for name in ("sound_level", "mean_level", "level_change"):
        np.testing.assert_allclose(wrapped[name], plain[name], atol=1e-9)
        for i in range(3):
            part = many[name].isel(variant=i)
            np.testing.assert_allclose(part, plain[name].transpose(*part.dims), atol=1e-9)


def test_the_order_of_dims_is_irrelevant():
    grid = {
        "distance": xr.DataArray([[20.0, 30.0], [40.0, 50.0]], dims=("side", "sample")),
        "reverberation_time": xr.DataArray(
            np.linspace(0.3, 1.5, 3 * F.size).reshape(3, F.size),
            dims=("room", "frequency"),
            coords={"room": ROOMS, "frequency": F.values},
        ),
    }
    turned = {n: v.transpose() for n, v in grid.items()}
    a = quietly(evaluate, {"one": build(**grid)}, source())
    b = quietly(evaluate, {"one": build(**turned)}, source().transpose())
    for name in ("sound_level", "mean_level", "band_level", "level_change"):
        np.testing.assert_allclose(a[name], b[name].transpose(*a[name].dims), atol=1e-10)


def test_rooms_in_another_order_are_the_same_rooms():
    turned = {n: v[::-1] for n, v in PARAMETERS.items() if isinstance(v, xr.DataArray)}
    a = quietly(evaluate, {"one": build()}, source())["sound_level"]
    try:
        b = quietly(evaluate, {"one": build(**turned)}, source())["sound_level"]
    except ValueError:
        return
    np.testing.assert_allclose(b.sel(room=ROOMS).transpose(*a.dims), a, atol=1e-10)


def test_rooms_that_are_not_the_same_are_refused():
    other = per_room([0.0, 1.0, 3.0]).assign_coords(room=["hall", "studio", "attic"])
    with pytest.raises(ValueError, match="room"):
        quietly(evaluate, {"one": build(storeys=other)}, source())


def test_chunked_parameters_stay_lazy_to_the_end():
    pytest.importorskip("dask")
    plain = quietly(evaluate, {"one": build(**variants())}, source())
    chunked = {n: v.chunk(variant=2) for n, v in variants().items()}
    lazy = quietly(evaluate, {"one": build(**chunked)}, source())
    for name in ("sound_level", "mean_level", "band_level", "level_change"):
        assert lazy[name].chunks is not None, f"{name} was computed on the way"
        at = lazy[name].dims.index("variant")
        assert lazy[name].chunks[at] == (2, 2)
        computed = lazy[name].compute()
        np.testing.assert_allclose(computed.transpose(*plain[name].dims), plain[name], atol=1e-10)


def test_a_chunked_source_stays_lazy_to_the_end():
    pytest.importorskip("dask")
    plain = quietly(evaluate, {"one": build()}, source())
    lazy = quietly(evaluate, {"one": build()}, source().chunk(passby=4))
    assert lazy["sound_level"].chunks is not None
    np.testing.assert_allclose(lazy["sound_level"].compute(), plain["sound_level"], atol=1e-10)


def test_a_chunked_floor_frequency_gives_the_same_table():
    pytest.importorskip("dask")
    possible = xr.DataArray([70.0, 80.0, 90.0, 100.0], dims="floor_frequency")
    floor = {
        c: propagation.FloorResonance(natural_frequency=p, construction="concrete").level_change(F)
        for c, p in (("plain", possible), ("chunked", possible.chunk(floor_frequency=2)))
    }
    np.testing.assert_allclose(floor["chunked"].compute(), floor["plain"], atol=1e-12)


# Samples


def test_samples_of_the_coupling_loss_carried_through_are_a_loop():
    loss = gb.sample(stats.norm(8.0, 3.0), size=200, seed=7)
    change = -loss * xr.ones_like(F, dtype=float).drop_attrs()

    def path(c):
        return TransmissionPath(
            coupling=GivenChange(c, quantity_in=GROUND, quantity_out=FOUNDATION),
            storeys=propagation.StoreyAttenuation(per_storey=1.0, storeys=PARAMETERS["storeys"]),
            floor=propagation.FixedAmplification(),
            radiation=receiver.relation("minus 27"),
        )

    start = source()
    together = quietly(evaluate, {"one": path(change)}, start, band_levels=False)
    assert "band_level" not in together
    assert together["sound_level"].sizes["sample"] == 200
    for i in range(200):
        alone = room_levels(path(change.isel(sample=i)).level_change(F), start)
        part = together["sound_level"].isel(option=0, sample=i)
        np.testing.assert_allclose(part, alone.transpose(*part.dims), atol=1e-9)


def test_two_uncertain_parameters_go_sample_by_sample():
    loss = gb.sample(stats.norm(8.0, 3.0), size=50, seed=1)
    f0 = gb.sample(stats.uniform(4.0, 8.0), size=50, seed=2)
    change = (-loss * xr.ones_like(F, dtype=float)).drop_attrs()
    coupling = GivenChange(change, quantity_in=GROUND, quantity_out=FOUNDATION)
    together = quietly(
        evaluate, {"one": build(f0=f0).replace(coupling=coupling)}, source(), band_levels=False
    )
    assert together["sound_level"].sizes["sample"] == 50


def test_samples_of_another_number_are_refused():
    a, b = (gb.sample(stats.norm(30.0, 1.0), size=n, seed=1) for n in (10, 11))
    with pytest.raises(ValueError, match="sample"):
        quietly(evaluate, {"one": build(distance=a, f0=b / 5)}, source())


def test_samples_can_be_repeated_and_are_checked():
    a, b = (gb.sample(stats.norm(0.0, 1.0), size=9, seed=5) for _ in range(2))
    np.testing.assert_array_equal(a, b)
    with pytest.raises(ValueError, match="sample: size is 0; at least 1 is needed"):
        gb.sample(stats.norm(), size=0, seed=1)
    with pytest.raises(ValueError, match="must draw one finite number per sample"):
        gb.sample(stats.norm(np.nan, 1.0), size=3, seed=1)


# What an evaluation refuses


def test_evaluate_is_strict():
    path, start = build(), source()
    with pytest.raises(StudyError, match="there is no path; at least one is needed"):
        evaluate({}, start)
    with pytest.raises(
        LevelError, match="option 'one' ends in velocity of the columns at the floor"
    ):
        evaluate({"one": path.without("surfaces", "radiation")}, start)
    with pytest.raises(
        LevelError, match="the source is the velocity of the ground; option 'one' sta"
    ):
        evaluate({"one": path.without("ground", "coupling")}, start)
    with pytest.raises(LevelError, match="evaluate: the level is not labelled"):
        evaluate({"one": path}, start.drop_attrs())
    with pytest.raises(ValueError, match="source is a bare ndarray of 12 × 13 without named"):
        evaluate({"one": path}, start.values)
    turned = TransmissionPath(
        coupling=Unchanged(GROUND, FOUNDATION), ground=Unchanged(FOUNDATION, GROUND),
        again=Unchanged(GROUND, FOUNDATION),
    )  # fmt: skip
    with pytest.raises(StudyError, match="option 'two' has the stage 'ground' in another order"):
        stage_changes({"one": build(), "two": turned}, F)


def test_a_source_with_a_gap_is_refused():
    start = source()
    start.values[1, 2] = np.nan
    try:
        result = quietly(evaluate, {"one": build()}, start)
    except ValueError:
        return
    for name in ("mean_level", "sound_level"):
        assert result[name].isnull().any(), f"{name} is given from passbys with a gap"


def test_an_array_too_large_for_memory_is_refused_with_a_way_out(monkeypatch):
    monkeypatch.setattr(evaluation, "MEMORY_LIMIT", 8_000_000)
    many = xr.DataArray(np.full(20_000, 1.0), dims="sample")
    path = TransmissionPath(
        coupling=Unchanged(GROUND, FOUNDATION),
        storeys=propagation.StoreyAttenuation(per_storey=many, storeys=1.0),
        floor=propagation.FixedAmplification(),
        radiation=receiver.relation("minus 27"),
    )
    f = bands.third_octaves(63, 63)
    start = source(passby=60).sel(frequency=f.values)
    with pytest.raises(
        StudyError, match=r"need 0\.0 GiB \(.*\); pass band_levels=False, or evaluate"
    ):
        evaluate({"one": path}, start)
    assert (
        evaluate({"one": path}, start, band_levels=False)["sound_level"].sizes["sample"] == 20_000
    )


# Options and the isolation plane


def _base_only(study):
    return [o.name for o in study.options if o.base is not None and not o.measures]


def test_the_room_below_the_plane_gains_nothing(tower):
    """It may lose: what is kept from the flats above is not taken out of the ground."""
    study, result = tower
    first = study.options[0].name
    below = study.above_plane["room"].values[~study.above_plane.values].tolist()
    assert below == ["N1"]
    names = _base_only(study)
    assert len(names) >= 2
    for name in names:
        gain = result["sound_level"].sel(option=first) - result["sound_level"].sel(option=name)
        assert (gain.sel(room="N1") <= 0).all()
        assert (gain.sel(room=study.above_plane.values) > 0).all()


def test_every_room_of_the_school_stands_above_the_plane_and_gains(music_school):
    study, result = music_school
    assert study.above_plane.all()
    for name in _base_only(study):
        sound = result["sound_level"]
        assert (sound.sel(option=study.options[0].name) > sound.sel(option=name)).all()


def test_each_option_alone_is_the_option_among_others(music_school):
    study, result = music_school
    for option in study.options:
        alone = quietly(study.with_options([option]).evaluate)
        for name in ("sound_level", "mean_level", "nr", "rating", "margin", "base_change"):
            part = result[name].sel(option=[option.name])
            np.testing.assert_allclose(alone[name].transpose(*part.dims), part, atol=1e-9)


def test_untreated_rooms_gain_nothing_from_room_measures(music_school):
    study, result = music_school
    sound = result["sound_level"]
    for option in study.options:
        if option.base is not None or not option.measures:
            continue
        treated = {r for m in option.measures for r in m.rooms}
        rest = [r for r in study.rooms if r not in treated]
        assert treated
        assert rest
        gain = sound.sel(option=study.options[0].name) - sound.sel(option=option.name)
        assert (gain.sel(room=rest) == 0.0).all()
        assert (gain.sel(room=sorted(treated)) > 0.0).all()


@pytest.mark.parametrize("name", ["music_school", "tower"])
def test_results_hold_no_gap(name, request):
    result = request.getfixturevalue(name).result
    for variable, array in result.variables.items():
        if array.dtype.kind == "f":
            assert not np.isnan(array.values).any(), variable
    assert np.isfinite(result["sound_level"]).all()
    assert np.isfinite(result["rating"]).all()
    applies = result["applies"]
    assert np.isfinite(result["limit"].where(applies, 0.0)).all()
    assert np.isinf(result["limit"].where(~applies, np.inf)).all()
    felt = result["quantity"].reset_coords(drop=True) == "velocity"
    expected = xr.where(
        felt,
        20 * np.log10(result["limit"] / abs(result["rating"])),
        result["limit"] - result["rating"],
    )
    np.testing.assert_allclose(
        result["margin"].where(applies, 0.0),
        expected.where(applies, 0.0).transpose(*result["margin"].dims),
        atol=1e-12,
    )


def test_treating_all_surfaces_alike_is_treating_the_room():
    plate = RadiatingPlate(length=5.0, width=4.0, critical_frequency=70.0)
    surfaces = {n: Surface(area=20.0, radiation=plate) for n in ("floor", "ceiling", "walls")}
    layer = SurfaceIsolation(natural_frequency=10.0, loss_factor=0.1)
    every = receiver.TreatedSurfaces(surfaces, dict.fromkeys(surfaces, layer))
    np.testing.assert_allclose(every.level_change(F), layer.level_change(F), atol=1e-9)
    none = receiver.TreatedSurfaces(surfaces, {})
    np.testing.assert_allclose(none.level_change(F), 0.0, atol=1e-12)
    one = receiver.TreatedSurfaces(surfaces, {"floor": layer}).level_change(F)
    # Two of three like surfaces keep radiating.
    assert (one >= 10 * np.log10(2 / 3) - 1e-9).all()


def test_a_column_without_reflections_gains_less_than_a_mass_far_above_resonance():
    mass = 1e6
    mount = LinearMount.tuned(natural_frequency=6.0, mass=mass, loss_factor=0.1)
    below = SpringFoundation(stiffness=2e10, damping=1e8, loss_factor=0.1)
    rod = SemiInfiniteRod(area=3.0, youngs_modulus=30e9, density=2400.0)
    f = bands.third_octaves(63, 250)
    as_mass = BaseIsolation(mount, below=below, above=RigidMass(mass=mass)).level_change(f)
    as_rod = BaseIsolation(mount, below=below, above=rod).level_change(f)
    assert np.isfinite(as_mass).all()
    assert np.isfinite(as_rod).all()
    assert (as_rod > as_mass).all()
