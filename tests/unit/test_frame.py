"""Column lines in studies: what they change, what they keep, and what they refuse."""

from __future__ import annotations

import shutil
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne.levels import decibel
from groundborne.structure import ColumnPhases, OneWaySlab
from groundborne.study.frame import Frame

DATA = Path(__file__).parents[2] / "data"


def _study(name: str) -> gb.Study:
    return gb.read_study(DATA / name / "study.toml")


@pytest.fixture(scope="module")
def school() -> gb.Study:
    return _study("music_school")


@pytest.fixture(scope="module")
def tower_result() -> tuple[gb.Study, xr.Dataset]:
    study = _study("tower")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return study, study.evaluate(band_levels=False)


def test_path_is_source_plus_stages(school: gb.Study) -> None:
    paths = school.with_options(school.options[:3]).paths()
    for path in paths.values():
        changes = path.level_changes(school.frequency)
        total = path.level_change(school.frequency)
        by_hand = sum(changes[name] for name in path.names)
        np.testing.assert_allclose(total.values, by_hand.transpose(*total.dims).values, atol=1e-12)


def test_frame_is_the_energy_mean_of_its_columns(school: gb.Study) -> None:
    frame = school.plane
    assert isinstance(frame, Frame)
    f = school.frequency
    each = frame.line.column_mean_square(f)
    assert each.sizes["column"] == 12
    mean = decibel(_by_area(each, school)).sel(floor="1")
    path = school.as_built.level_changes(f)["storeys"].sel(room="R1.1")
    np.testing.assert_allclose(path.values, mean.values, atol=1e-12)


def _by_area(each: xr.DataArray, study: gb.Study) -> xr.DataArray:
    """Mean over columns by the panels they carry, from the column table."""
    assert study.building.columns is not None
    panels = study.building.columns["panel_share"].values
    values = each.transpose("column", ...)
    mean = np.tensordot(panels / panels.sum(), values.values, axes=1)
    return values.isel(column=0, drop=True).copy(data=mean)


def test_slabs_follow_the_line(school: gb.Study) -> None:
    frame = school.plane
    assert isinstance(frame, Frame)
    f = school.frequency
    surface = frame.line.surface_mean_square(f).sel(floor="2")
    column = frame.line.column_mean_square(f).sel(floor="0")
    wanted = decibel(surface / column)
    assert school.surfaces is not None
    ceiling = school.surfaces["ceiling"].velocity
    assert ceiling is not None
    # The hall's ceiling is the slab of level 2, over a void through level 1.
    found = ceiling.level_change(f).sel(room="R0.1")
    np.testing.assert_allclose(found.transpose(*wanted.dims).values, wanted.values, atol=1e-12)


def test_rooms_below_the_plane_lose(tower_result: tuple[gb.Study, xr.Dataset]) -> None:
    study, result = tower_result
    assert not bool(study.above_plane.sel(room="N1"))
    nursery = result["sound_level"].sel(room="N1").mean("passby")
    for option in ("rubber 9 Hz", "rubber 7 Hz", "springs 4 Hz"):
        assert float(nursery.sel(option=option) - nursery.sel(option="no isolation")) > 0.0
    # It just passes as it stands, and fails on top of springs that serve the flats above.
    day = "LASmax, 95th percentile, day"
    margin = result["margin"].sel(room="N1", criterion=day)
    assert float(margin.sel(option="no isolation")) > 0
    assert float(margin.sel(option="springs 4 Hz")) < 0


def test_flats_above_the_plane_gain(tower_result: tuple[gb.Study, xr.Dataset]) -> None:
    study, result = tower_result
    above = result.sel(room=study.above_plane["room"][study.above_plane.values])
    sound = above["sound_level"].mean("passby")
    gain = sound.sel(option="no isolation") - sound.sel(option="springs 4 Hz")
    assert float(gain.min()) > 3.0


def test_spread_holds_the_mean_and_stays_under_the_ideal_curve(school: gb.Study) -> None:
    assert school.plane is not None
    mount = school.mount(natural_frequency=4.5, loss_factor=0.02)
    changes = school.plane.changes(mount, school.frequency)
    assert bool((changes["base_change_low"] <= changes["base_change"] + 1e-9).all())
    assert bool((changes["base_change"] <= changes["base_change_high"] + 1e-9).all())
    # Well above resonance a real frame never reaches what a mass on rigid ground would give.
    high = school.frequency >= 25
    assert bool((changes["base_change"] > changes["ideal_change"]).where(high, True).all())


def test_published_findings_frame_the_predictions(school: gb.Study) -> None:
    """Between 10 dB (the usual target above 10 Hz) and 25 dB (most one stage was found to give).

    Building Acoustics 2000 [abstract seen, authors from memory]; Walker and Mathers 1989 [seen].
    Checked in the median of the bands that matter here, 31.5 to 125 Hz, for springs; stiff rubber
    is expected to miss the target, as the abstract says most buildings do.
    """
    assert school.plane is not None
    f = school.frequency
    band = f[(f >= 31.5) & (f <= 125)]
    springs = school.mount(natural_frequency=4.5, loss_factor=0.02)
    rubber = school.mount(natural_frequency=9.0, loss_factor=0.1, dynamic_to_static=1.5)
    median = {
        name: -float(school.plane.changes(mount, f)["base_change"].sel(frequency=band).median())
        for name, mount in (("springs", springs), ("rubber", rubber))
    }
    assert 10.0 < median["springs"] < 30.0
    assert 0.0 < median["rubber"] < median["springs"] - 5.0


def test_coil_mass_changes_nothing_below_its_surge(school: gb.Study) -> None:
    massless = school.mount(natural_frequency=4.5, loss_factor=0.02)
    coil = school.mount(natural_frequency=4.5, loss_factor=0.02, own_mass_per_load=220e-6)
    assert school.plane is not None
    low = school.frequency[school.frequency <= 63]
    one = school.plane.changes(massless, school.frequency)["base_change"]
    two = school.plane.changes(coil, school.frequency)["base_change"]
    # The coils surge near 300 Hz: two octaves and more below that they are springs.
    assert float(abs(one - two).sel(frequency=low).max()) < 0.8
    assert float(abs(one - two).sel(frequency=250.0)) > 0.6


def test_mobility_plane_is_still_there(copied_study) -> None:
    from groundborne.structure import RigidMass, SpringFoundation
    from groundborne.study import MobilityPlane

    plane = MobilityPlane(
        floor="0",
        mass=1e6,
        below=SpringFoundation(stiffness=5e9, damping=3e7, loss_factor=0.05),
        above=RigidMass(mass=1e6),
    )
    study = gb.read_study(copied_study("music_school_plain")).with_part(plane=plane)
    mount = study.mount(natural_frequency=8.0, loss_factor=0.1)
    study = study.with_options([gb.Option(name="none"), gb.Option(name="mounts", base=mount)])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = study.evaluate()
    stage = result["level_change"].sel(option="mounts", stage="isolation")
    wanted = plane.changes(mount, study.frequency)["base_change"]
    np.testing.assert_allclose(stage.sel(room="R2.1").values, wanted.values, atol=1e-12)


def _spoiled(tmp_path: Path, old: str, new: str, file: str) -> Path:
    folder = tmp_path / "study"
    shutil.copytree(DATA / "music_school", folder)
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new), encoding="utf-8")
    return folder / "study.toml"


@pytest.mark.parametrize(
    ("file", "old", "new", "sentence"),
    [
        ("structure.csv", "3,3.6,", "4,3.6,", "there is no floor '4' in the floor table"),
        ("structure.csv", "\n3,3.6,0.25,0.3,38e9,0.04,475", "", "the floor '3' carries or covers"),
        ("structure.csv", "0,0.9,", "0,0,", "row 4, column 'storey_height_m': 0 is out of bounds"),
        ("structure.csv", ",38e9,0.06", ",38e9,0", "column 'slab_loss_factor': 0 is out of bounds"),
        ("columns.csv", ",panel_share", ",panel_shares", "column 'panel_shares' is unknown"),
        (
            "study.toml",
            'lowest_isolated_floor = "0"',
            'lowest_isolated_floor = "9"',
            "is '9'; known",
        ),
        ("study.toml", "span_x_m = 8.0", "span_x_m = 0", "'span_x_m' is 0; it must be above 0 m"),
        ("study.toml", "slab_poisson = 0.2", "slab_poisson = 0.6", "'slab_poisson' is 0.6"),
        ("study.toml", "span_y_m", "span_z_m", "'span_y_m' is missing"),
    ],
)
def test_bad_structure_is_named(
    tmp_path: Path, file: str, old: str, new: str, sentence: str
) -> None:
    with pytest.raises(ValueError, match=r"study|structure|columns") as caught:
        gb.read_study(_spoiled(tmp_path, old, new, file))
    assert sentence in str(caught.value)


def test_column_line_model_needs_the_structure(tmp_path: Path) -> None:
    file = _spoiled(tmp_path, "[structure", "[other", "study.toml")
    with pytest.raises(ValueError, match=r"needs the table \[structure\]"):
        gb.read_study(file)


def test_a_measured_transfer_may_stand_for_the_storeys(tmp_path: Path) -> None:
    given = '[path.storeys]\nmodel = "given"\nfrequency_hz = [{}]\nchange_db = [{}]'
    bands = gb.bands.third_octaves(5, 250).values
    texts = ", ".join(map(str, bands)), ", ".join(str(-0.1 * i) for i in range(bands.size))
    old = '[path.storeys]\nmodel = "column line"'
    file = _spoiled(tmp_path, old, given.format(*texts), "study.toml")
    text = file.read_text(encoding="utf-8").replace('"free foundation"', '"none"')
    file.write_text(text, encoding="utf-8")
    study = gb.read_study(file)
    change = study.as_built["storeys"].level_change(study.frequency)
    np.testing.assert_allclose(change.values, -0.1 * np.arange(bands.size), atol=1e-12)


def test_samples_of_a_mount_reach_the_rooms(school: gb.Study) -> None:
    from scipy import stats

    stiff = gb.sample(stats.norm(4.5, 0.3), size=7, seed=3)
    options = [
        gb.Option(name="none"),
        gb.Option(name="springs", base=school.mount(natural_frequency=stiff, loss_factor=0.02)),
    ]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = school.with_options(options).evaluate()
    assert result["margin"].sizes["sample"] == 7
    assert result["base_change"].dims == ("option", "sample", "frequency")
    one = school.mount(natural_frequency=float(stiff[2]), loss_factor=0.02)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        single = school.with_options([gb.Option(name="springs", base=one)]).evaluate()
    np.testing.assert_allclose(
        result["margin"].sel(option="springs").isel(sample=2).values,
        single["margin"].sel(option="springs").values,
        atol=1e-9,
    )


def test_bands_below_noise_rating_are_evaluated_without_it(tmp_path: Path) -> None:
    file = _spoiled(tmp_path, "high_hz = 250", "high_hz = 20", "study.toml")
    text = file.read_text(encoding="utf-8")
    blocks = text.split("[[")
    kept = [b for b in blocks if 'metric = "NR"' not in b]
    file.write_text("[[".join(kept), encoding="utf-8")
    with pytest.warns(gb.UnusualValueWarning, match="'high_hz' is 20 Hz, unusual"):
        study = gb.read_study(file)
    result = study.with_options(study.options[:1]).evaluate()
    assert "nr" not in result
    assert bool(np.isfinite(result["rating"]).all())


def test_mounts_that_go_solid_are_named(tmp_path: Path, school: gb.Study) -> None:
    """Springs of 4.5 Hz deflect 12.3 mm; a travel of 12 mm is not enough."""
    with pytest.raises(ValueError, match=r"over the travel to solid, is 1\.0.* at column=A1"):
        school.mount(natural_frequency=4.5, loss_factor=0.02, travel_to_solid=0.012)
    old = "natural_frequency_hz = 4.5, loss_factor = 0.02"
    file = _spoiled(tmp_path, old, f"{old}, travel_to_solid_m = 0.012", "study.toml")
    with pytest.raises(ValueError, match="the mount is solid and isolates nothing"):
        gb.read_study(file)


def test_resonances_say_who_meets_whom(school: gb.Study) -> None:
    found = gb.study.resonances(school, school.options[1])
    by_name = {r.name: r.frequency for r in found}
    # Tuned to 9 Hz under the column loads, a twentieth of all stiffness beside them by area.
    plane = school.plane
    beside = 0.05 * plane.mass.sum() * plane.column_weights
    riding = 9.0 * np.sqrt((plane.mass + beside) / plane.moving_mass)
    assert by_name["mounts"] == pytest.approx(float(riding.median()), abs=0.005)
    mounts = next(r for r in found if r.kind == "mounts")
    assert mounts.span == pytest.approx((riding.min().item(), riding.max().item()), abs=0.005)
    assert by_name["floor 3"] == pytest.approx(10.95, abs=0.05)
    pairs = {(a.name, b.name) for a, b in gb.study.coincidences(found)}
    assert ("mounts", "floor 3") in pairs
    assert not any(
        {a.kind, b.kind} == {"columns", "foundation-soil"} for a, b in gb.study.coincidences(found)
    )


def test_slabs_of_other_kinds_move_with_the_columns_of_their_level(school: gb.Study) -> None:
    """Two kinds of floor on one level: each by its own motion over that of the same columns."""
    frame = school.plane
    assert isinstance(frame, Frame)
    line = replace(frame.line, phases=ColumnPhases(kind="in phase"))
    joists = OneWaySlab(
        span_x=5.0, span_y=7.0, bending_stiffness=2e6, cross_stiffness=3e3, own_mass=60.0,
        loss_factor=0.06,
    )  # fmt: skip
    f = school.frequency
    found = line.floor_mean_squares(f, other_slabs={"1, joists": ("1", joists)})
    assert found["column"]["floor"].values.tolist() == [*line.floors, "1, joists"]
    plain = line.floor_mean_squares(f)
    kept = found["surface"].sel(floor=list(line.floors))
    np.testing.assert_allclose(kept.values, plain["surface"].values, rtol=1e-12)
    at = found["column"].sel(floor="1, joists", drop=True)
    np.testing.assert_allclose(at.values, plain["column"].sel(floor="1", drop=True).values)

    storeys = [replace(s, slab=joists) if s.floor == "1" else s for s in line.storeys]
    # By hand: the velocity of the line as it is, times the ratio of the joists, at each frequency.
    lines = gb.bands.single_frequencies(
        f, loss_factor=min(line.loss_factor_floor, joists.loss_factor_floor)
    )
    velocity = line.velocity_ratio(lines).sel(floor="1", drop=True)
    by_hand = (abs(velocity * joists.mid_panel_ratio(lines)) ** 2).mean("single_frequency")
    mid = found["mid_panel"].sel(floor="1, joists", drop=True)
    np.testing.assert_allclose(mid.values, by_hand.transpose(*mid.dims).values, rtol=1e-9)
    # A light floor would load the line otherwise: the two are not the same model.
    other = replace(line, storeys=tuple(storeys)).mid_panel_mean_square(f).sel(floor="1", drop=True)
    assert float(abs(decibel(other / mid)).max()) > 1.0


@pytest.mark.parametrize(
    ("slabs", "said"),
    [({"1": "1"}, "names of their own"), ({"joists": "7"}, r"slab 'joists'.*'7'")],
)
def test_other_slabs_need_levels_and_names(school: gb.Study, slabs, said) -> None:
    assert isinstance(school.plane, Frame)
    line = school.plane.line
    others = {name: (level, line.slabs[0]) for name, level in slabs.items()}
    with pytest.raises(ValueError, match=said):
        line.floor_mean_squares(school.frequency, other_slabs=others)
