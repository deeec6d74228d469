"""Boxes of constructions, and room measures of study files that are given by construction."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import bands
from groundborne._checks import LabelError, StudyError
from groundborne.isolation import (
    Board,
    Box,
    FloorOnSlab,
    HungCeiling,
    InnerWall,
    JackUpFloor,
    LightFloor,
    SurfaceIsolation,
)
from groundborne.isolation.rooms.air import AIR_MODULUS
from groundborne.propagation import FixedAmplification
from groundborne.receiver import RadiatingPlate, Surface, TreatedSurfaces
from groundborne.report.words import path_rows, sources_rows
from groundborne.structure import EdgeSupportedSlab, FlatSlab
from note_sentences import sentences_of

F = bands.third_octaves(8, 250)
FLOOR = JackUpFloor(
    thickness=0.15, density=2400.0, youngs_modulus=30e9, mount_stiffness=0.5e6,
    mount_loss_factor=0.05, spacing_x=1.5, spacing_y=1.5, air_gap=0.2, air_state="filled",
)  # fmt: skip
WALL = InnerWall(
    leaf_mass=110.0, leaf_thickness=0.1, height=5.6, strip_stiffness=1.5e5, cavity_depth=0.2,
    loss_factor=0.1, air_state="filled",
)  # fmt: skip
CEILING = HungCeiling(
    board_mass=50.0, frame_mass=8.0, spacing_x=1.2, spacing_y=1.2, hanger_deflection=0.025,
    loss_factor=0.05, cavity_depth=0.5, board_thickness=0.05, air_state="filled",
)  # fmt: skip
PLY = Board(thickness=0.018, density=700.0, youngs_modulus=6e9)
LIGHT = LightFloor(
    boards=(PLY, PLY), batten_mass=1.5, batten_height=0.05, batten_spacing=0.6,
    element_spacing=0.6, element_stiffness=60e3, element_loss_factor=0.15, element_height=0.025,
    air_gap=0.06, air_state="sealed",
)  # fmt: skip
BOX = Box(floor=FLOOR, walls=WALL, ceiling=CEILING)
SLAB = FlatSlab(
    span_x=8.0, span_y=7.5, thickness=0.28, youngs_modulus=38e9, density=2400.0, poisson=0.2,
    loss_factor=0.05,
)  # fmt: skip


def room_surfaces(walls: float) -> dict[str, Surface]:
    """5 × 4 × 3 m, all alike but the walls' level."""
    plate = RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
    areas = {"floor": 20.0, "ceiling": 20.0, "walls": 54.0}
    levels = {"floor": 0.0, "ceiling": 0.0, "walls": walls}
    return {
        n: Surface(area=a, radiation=plate, velocity=FixedAmplification(gain=levels[n]))
        for n, a in areas.items()
    }


def test_inner_wall_by_hand() -> None:
    """Air 101325/0.2 and strips 2 × 1.5e5/5.6 over 110 kg/m² [derived]."""
    stiffness = 101325 / 0.2 + 2 * 1.5e5 / 5.6
    assert WALL.natural_frequency == pytest.approx(np.sqrt(stiffness / 110) / (2 * np.pi))
    tied = replace(WALL, ties=2.0, tie_stiffness=4e4)
    assert tied.stiffness_per_area - WALL.stiffness_per_area == pytest.approx(8e4)
    assert WALL.line_load == pytest.approx(110 * 9.80665 * 5.6)
    assert WALL.build_up == pytest.approx(0.3)


@pytest.mark.parametrize("walls", [0.0, -10.0])
def test_every_surface_has_a_loss_of_its_own_and_the_room_sums_them(walls: float) -> None:
    """Worked beside the library: energies of σ S v² before and after, 0.01 dB."""
    surfaces = room_surfaces(walls)
    gains = BOX.treatments()
    room = TreatedSurfaces(surfaces, gains).level_change(F)
    before = {"floor": 20.0, "ceiling": 20.0, "walls": 54.0 * 10 ** (walls / 10)}
    after = sum(b * 10 ** (gains[n].level_change(F) / 10) for n, b in before.items())
    expected = 10 * np.log10(after / sum(before.values()))
    assert room.values == pytest.approx(expected.values, abs=0.01)


def test_a_floor_alone_hardly_helps_and_the_box_does() -> None:
    """From 40 Hz up: floor alone 1 to 2.5 dB in the room, the whole box more than 15 dB."""
    f = bands.third_octaves(40, 250)
    for walls in (0.0, -5.0, -10.0):
        surfaces = room_surfaces(walls)
        alone = Box(floor=FLOOR)
        assert alone.left_out == ("walls", "ceiling")
        gain = -TreatedSurfaces(surfaces, alone.treatments()).level_change(f)
        assert 0.9 < float(gain.min()) <= float(gain.max()) < 2.6
        assert float(TreatedSurfaces(surfaces, BOX.treatments()).level_change(f).max()) < -15.0


def test_slabs_are_loaded_where_they_are_known() -> None:
    on_slab = BOX.treatments(floor_slab=SLAB)
    assert isinstance(on_slab["floor"], FloorOnSlab)
    assert isinstance(on_slab["ceiling"], SurfaceIsolation)
    assert isinstance(on_slab["walls"], SurfaceIsolation)
    stiff = BOX.treatments()["floor"].level_change(F)
    assert np.abs((on_slab["floor"].level_change(F) - stiff).values).max() > 3.0


def test_clear_size_and_depth() -> None:
    length, width, height = BOX.clear_size(length=14.0, width=7.0, height=6.5)
    assert (length, width, height) == pytest.approx((13.4, 6.4, 6.5 - 0.35 - 0.55))
    left = BOX.fits(limits={"floor": 0.4, "ceiling": 0.6})
    assert left == pytest.approx({"floor": 0.05, "ceiling": 0.05})
    rooms = xr.DataArray([0.35, 0.5], dims="room")
    assert Box(floor=FLOOR).fits(limits={"floor": rooms})["floor"].values == pytest.approx(
        [0.0, 0.15]
    )


def test_porous_fill_loses_a_tenth() -> None:
    """Of the air's share of the stiffness, and sealed air half of it, common practice."""
    air = AIR_MODULUS["filled"] / 0.2
    supports = 0.5e6 / 2.25
    expected = (0.1 * air + 0.05 * supports) / (air + supports)
    assert FLOOR.loss_factor_combined == pytest.approx(expected)
    sealed = replace(FLOOR, air_state="sealed")
    assert sealed.loss_factor_combined == pytest.approx(0.05)  # of the mounts and of the air
    supports = 60e3 / 0.36
    share = supports / (supports + 1.4 * 101325 / 0.06)
    assert LIGHT.loss_factor_combined == pytest.approx(0.15 * share + 0.05 * (1 - share))


REFUSED = {
    "empty": (lambda: Box(), "there is no construction"),
    "not a construction": (
        lambda: Box(floor=SLAB),  # type: ignore[arg-type]
        "Box: floor is a FlatSlab; a SprungSurface or None is needed",
    ),
    "no height left": (
        lambda: BOX.clear_size(length=5.0, width=4.0, height=0.8),
        "no height is left inside",
    ),
    "no width left": (
        lambda: BOX.clear_size(length=5.0, width=0.5, height=3.0),
        "no width is left inside",
    ),
    "depth exceeded": (lambda: BOX.fits(limits={"floor": 0.3}), "takes 350 mm, 50 mm more"),
    "unknown surface": (lambda: BOX.fits(limits={"roof": 0.3}), "surface is 'roof'"),
    "ties without stiffness": (lambda: replace(WALL, ties=2.0), "tie_stiffness is 0"),
    "negative cavity": (lambda: replace(WALL, cavity_depth=-0.1), "cavity_depth is -0.1"),
    "weightless leaf": (lambda: replace(WALL, leaf_mass=0.0), "leaf_mass is 0"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_bad_input_is_refused(name: str) -> None:
    call, sentence = REFUSED[name]
    with pytest.raises(ValueError, match=sentence):
        call()


# Study files

CONSTRUCTED = "rooms only, by construction"


def test_study_builds_what_the_file_says(music_school) -> None:
    option = {o.name: o for o in music_school.study.options}[CONSTRUCTED]
    hall, practice = option.measures
    assert hall.box is not None
    assert list(hall.box.parts) == ["floor", "walls", "ceiling"]
    assert hall.box.floor.natural_frequency == pytest.approx(FLOOR.natural_frequency)
    assert practice.box is not None
    assert practice.box.left_out == ("walls", "ceiling")
    assert isinstance(practice.treatments["floor"], FloorOnSlab)


def test_study_puts_floors_on_the_slab_of_their_room(music_school) -> None:
    """The hall's floor slab is 420 mm, its ceiling the 300 mm slab two levels up."""
    slabs = music_school.study.plane.room_slabs()
    hall, practice = (slabs["floor"].thickness.sel(room=r) for r in ("R0.1", "R1.1"))
    assert (float(hall), float(practice)) == (0.42, 0.3)
    by_hand = replace(
        next(s for s in music_school.study.plane.line.slabs if s.thickness == 0.3),
        panel_share=1.0,
    )
    option = {o.name: o for o in music_school.study.options}[CONSTRUCTED]
    measure = option.measures[1]
    found = measure.treatments["floor"].level_change(F).sel(room="R1.1")
    assert measure.box is not None
    expected = measure.box.floor.on_slab(slab=by_hand).level_change(F)
    assert found.values == pytest.approx(expected.values, abs=1e-9)


def test_untreated_rooms_stay_as_they_are_and_jack_up_floors_alone_gain_a_decibel(
    music_school,
) -> None:
    sound = music_school.result["sound_level"]
    change = sound.sel(option=CONSTRUCTED) - sound.sel(option="no isolation")
    assert np.abs(change.sel(room=["R0.2", "R2.1", "R2.5"]).values).max() == 0.0
    practice = -change.sel(room="R1.3").values
    assert 0.5 < practice.min() <= practice.max() < 2.5
    assert -change.sel(room="R0.1").values.max() > 20.0


def test_notes_give_depth_and_caution(music_school) -> None:
    notes = sentences_of(music_school.result)
    here = [n for n in notes if CONSTRUCTED in n and "depth" in n]
    assert any("floor 350 of 350 mm, walls 300 mm, ceiling 550 mm" in n for n in here)
    assert any("floor 180 of 180 mm" in n for n in here)
    assert all("licensed structural engineer" in n for n in here)
    assert any("'rooms only', box in box, hall: floor given by natural" in n for n in notes)


SPOILT = {
    "deeper than there is": (
        ("study.toml", ("air_gap_m = 0.08", "air_gap_m = 0.10")),
        r"by construction.*jack-up floors.*room 'R1.1'.*takes 200 mm, 20 mm more",
    ),
    "deeper than the room": (
        ("study.toml", ("cavity_m = 0.50", "cavity_m = 6.20")),
        r"room 'R0.1'.*no height is left inside",
    ),
    "overloaded mounts": (
        ("study.toml", ("mount_capacity_n = 8e3", "mount_capacity_n = 4e3")),
        r"options 5.*\[floor\].*the mounts are overloaded.*kN is 18\d %",
    ),
    "overloaded hangers": (
        ("study.toml", ("hanger_capacity_n = 1000", "hanger_capacity_n = 500")),
        r"\[ceiling\].*the hangers are overloaded",
    ),
    "negative gap": (
        ("study.toml", ("air_gap_m = 0.20", "air_gap_m = -0.20")),
        r"\[floor\]: 'air_gap_m' is -0.2; it must be above 0 m; possible: 0.001 to 5 m",
    ),
    "unknown construction": (
        ("study.toml", ('"leaf on strips"', '"leaf on string"')),
        r"\[walls\].*'leaf on string'.*Did you mean 'leaf on strips'",
    ),
    "unknown key": (
        ("study.toml", ("leaf_m = 0.10", "leaf_mm = 100\nleaf_m = 0.10")),
        r"\[walls\].*key is 'leaf_mm'",
    ),
    "missing key": (
        ("study.toml", ("leaf_kg_m2 = 110\n", "")),
        r"\[walls\].*'leaf_kg_m2' is missing",
    ),
    "unknown air": (
        ("study.toml", ('air_state = "filled"', 'air_state = "foam"')),
        r"\[floor\].*'air_state' is 'foam'",
    ),
    "limit that is none": (
        ("rooms.csv", (",0.18,practice", ",0,practice")),
        r"rooms.csv, row 6, column 'floor_depth_limit_m'.*above 0",
    ),
}


@pytest.mark.parametrize("name", SPOILT)
def test_bad_study_files_are_refused(spoiled, name: str) -> None:
    (file, exchange), sentence = SPOILT[name]
    with pytest.raises(ValueError, match=sentence):
        gb.read_study(spoiled(file, exchange))


BOARDS = """[options.rooms.floor]
construction = "boards on battens"
batten_kg_m = 1.5
batten_height_m = 0.05
batten_spacing_m = 0.6
element_spacing_m = 0.6
element_stiffness_n_m = 60e3
element_loss_factor = 0.15
element_height_m = 0.025
air_gap_m = 0.06
air_state = "filled"
boards = [
    { thickness_m = 0.018, density_kg_m3 = 700, youngs_modulus_pa = 6e9 },
    { thickness_m = 0.018, density_kg_m3 = 700, youngs_modulus_pa = 6e9 },
]
"""


def test_light_floor_in_a_study_file(spoiled, data_folder) -> None:
    text = (data_folder / "music_school" / "study.toml").read_text(encoding="utf-8")
    option = text.index(f'name = "{CONSTRUCTED}"')
    start = text.rindex("[options.rooms.floor]", option, text.index("[[options]]", option))
    end = text.index("[[options]]", start)
    study = gb.read_study(spoiled("study.toml", (text[start:end], BOARDS + "\n")))
    option = {o.name: o for o in study.options}[CONSTRUCTED]
    floor = option.measures[1].box.floor
    assert isinstance(floor, LightFloor)
    assert floor.boards == (PLY, PLY)
    assert floor.mass_per_area == pytest.approx(2 * 12.6 + 2.5)


# 21.6 kg/m² on joists of 4 m: as light as the boards that float on it.
OWN_SLAB = """slab = { on = "edges", span_x_m = 5.0, span_y_m = 4.0, thickness_m = 0.036, \
density_kg_m3 = 600, youngs_modulus_pa = 8e9, poisson = 0.3, loss_factor = 0.06 }
"""
JOISTS = EdgeSupportedSlab(
    span_x=5.0, span_y=4.0, thickness=0.036, density=600.0, youngs_modulus=8e9, poisson=0.3,
    loss_factor=0.06,
)  # fmt: skip


def _with_floor(copied_study, floor: str, name: str = "music_school_plain"):
    path = copied_study(name)
    text = path.read_text(encoding="utf-8")
    option = f'\n[[options]]\nname = "x"\n[[options.rooms]]\nrooms = ["R1.1"]\n{floor}'
    path.write_text(text + option, encoding="utf-8")
    return path


CEILING_TABLE = """[options.rooms.ceiling]
construction = "hung boards"
boards_kg_m2 = 50
spacing_x_m = 1.2
spacing_y_m = 1.2
hanger_deflection_m = 0.025
loss_factor = 0.05
cavity_m = 0.50
"""


@pytest.mark.parametrize(("table", "side"), [(BOARDS, "under"), (CEILING_TABLE, "over")])
def test_without_column_lines_the_slab_must_be_given(copied_study, table: str, side: str) -> None:
    path = _with_floor(copied_study, table)
    with pytest.raises(StudyError, match=rf"options 8.*'slab' is missing.*the slab {side} the roo"):
        gb.read_study(path)


def test_a_slab_of_its_own_is_loaded(copied_study) -> None:
    """A light floor on a slab of its own weight is not that on an immovable one: over 10 dB."""
    study = gb.read_study(_with_floor(copied_study, BOARDS + OWN_SLAB))
    (measure,) = study.options[-1].measures
    found = measure.treatments["floor"]
    assert isinstance(found, FloorOnSlab)
    assert measure.box is not None
    floor = measure.box.floor
    expected = floor.on_slab(slab=JOISTS).level_change(F)
    assert found.level_change(F).values == pytest.approx(expected.values, abs=1e-9)
    heavy = floor.isolation().level_change(F)
    assert np.abs((expected - heavy).values).max() > 10.0


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            'on = "edges"',
            'on = "beams"',
            r"\[slab\].*'on' is 'beams'; known are 'columns', 'edges'",
        ),
        ("span_x_m = 5.0, ", "", r"\[slab\]: 'span_x_m' is missing"),
        ("poisson = 0.3", "poisson = 0.6", r"\[slab\].*'poisson' is 0.6"),
        ("loss_factor = 0.06", "loss_factor = 0.06, mass = 3", r"\[slab\].*key is 'mass'"),
    ],
)
def test_bad_slabs_are_named(copied_study, old: str, new: str, sentence: str) -> None:
    assert old in OWN_SLAB
    path = _with_floor(copied_study, BOARDS + OWN_SLAB.replace(old, new))
    with pytest.raises(StudyError, match=sentence):
        gb.read_study(path)


def test_a_slab_beside_column_lines_is_refused(copied_study) -> None:
    path = _with_floor(copied_study, BOARDS + OWN_SLAB, "music_school")
    with pytest.raises(StudyError, match=r"'slab' is given, and the column lines of \[structure\]"):
        gb.read_study(path)


def test_a_light_floor_by_hand_needs_its_slab() -> None:
    with pytest.raises(ValueError, match=r"LightFloor.treatment: slab is missing.*isolation\(\)"):
        Box(floor=LIGHT).treatments()
    assert isinstance(Box(floor=LIGHT).treatments(floor_slab=JOISTS)["floor"], FloorOnSlab)


def test_sealed_air_has_a_peak_that_its_loss_bounds() -> None:
    """Band mean of |1/(1 − u² + jη)|², u = f/f0, by a sum of its own; below 22 dB, was 27 dB."""
    change = LIGHT.isolation().level_change(bands.third_octaves(16, 100))
    peak = float(change.max())
    f0, loss = float(LIGHT.natural_frequency), float(LIGHT.loss_factor_combined)
    exact = 1000 * 10 ** (np.arange(-20, 1) / 10)
    means = []
    for centre in exact:
        f = np.linspace(centre * 10**-0.05, centre * 10**0.05, 20001)
        ratio = (1 + 1j * loss) / (1 + 1j * loss - (f / f0) ** 2)
        means.append(10 * np.log10(np.mean(np.abs(ratio) ** 2)))
    assert peak == pytest.approx(max(means), abs=0.1)
    assert 15.0 < peak < 22.0


def test_a_measure_by_hand_is_checked_for_depth(music_school) -> None:
    deep = Box(floor=replace(FLOOR, air_gap=0.3))
    measure = gb.study.RoomMeasure(rooms=("R0.1",), treatments=deep.treatments(), box=deep)
    option = gb.Option(name="deep", measures=(measure,))
    with pytest.raises(StudyError, match=r"option 'deep', .*room 'R0.1'.*100 mm more"):
        music_school.study.with_options([option])


def test_measures_of_one_room_are_taken_together(music_school) -> None:
    """A floor in one measure and a ceiling in another must leave a room between them, and the
    notes speak of what the room has in all."""
    floor, ceiling = Box(floor=FLOOR), Box(ceiling=replace(CEILING, cavity_depth=6.2))
    measures = [
        gb.study.RoomMeasure(rooms=("R0.1",), treatments=b.treatments(), box=b, name=n)
        for n, b in (("floating floor", floor), ("deep ceiling", ceiling))
    ]
    option = gb.Option(name="both", measures=tuple(measures))
    with pytest.raises(StudyError, match=r"'floating floor' and 'deep ceiling', room 'R0.1'.*no h"):
        music_school.study.with_options([option])
    rest = Box(walls=replace(WALL, height=6.0), ceiling=CEILING)
    second = gb.study.RoomMeasure(rooms=("R0.1",), treatments=rest.treatments(), box=rest)
    whole = gb.Option(name="whole", measures=(measures[0], second))
    bare = gb.Option(name="bare")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = music_school.study.with_options([bare, whole]).evaluate(band_levels=False)
    assert not any("still radiate" in n for n in sentences_of(result))


def test_constructions_may_differ_from_room_to_room(music_school) -> None:
    rooms = ["R0.1", "R1.1"]
    second = music_school.study.building.rooms["room"] == "R1.1"
    thin = replace(
        FLOOR,
        thickness=xr.where(second, 0.1, 0.15),
        air_gap=xr.where(second, 0.08, 0.2),
    )
    box = Box(floor=thin)
    measure = gb.study.RoomMeasure(rooms=tuple(rooms), treatments=box.treatments(), box=box)
    study = music_school.study.with_options([gb.Option(name="each", measures=(measure,))])
    assert study.options[0].measures[0].box is box
    deeper = Box(floor=replace(thin, air_gap=xr.where(second, 0.09, 0.2)))
    over = gb.study.RoomMeasure(rooms=tuple(rooms), treatments=deeper.treatments(), box=deeper)
    with pytest.raises(StudyError, match=r"room 'R1.1': .*takes 190 mm, 10 mm more"):
        music_school.study.with_options([gb.Option(name="over", measures=(over,))])
    some = Box(floor=replace(FLOOR, air_gap=xr.DataArray([0.2, 0.1], coords={"room": rooms})))
    part = gb.study.RoomMeasure(rooms=tuple(rooms), treatments=some.treatments(), box=some)
    with pytest.raises(
        LabelError, match=r"building\.rooms has .*natural_frequency has 'R0\.1', 'R1\.1'; in"
    ):
        music_school.study.with_options([gb.Option(name="part", measures=(part,))])


def test_boxes_that_do_not_fit_their_measure_or_room_are_refused(music_school) -> None:
    with pytest.raises(StudyError, match="a floor that is not among the treatments"):
        gb.study.RoomMeasure(
            rooms=("R0.1",), treatments=Box(walls=WALL).treatments(), box=Box(floor=FLOOR)
        )
    tall = Box(walls=replace(WALL, height=7.0))
    measure = gb.study.RoomMeasure(rooms=("R0.1",), treatments=tall.treatments(), box=tall)
    with pytest.raises(StudyError, match=r"the inner wall is 7 m high, the room 6\.5 m"):
        music_school.study.with_options([gb.Option(name="tall", measures=(measure,))])
    with pytest.raises(ValueError, match="a tie_stiffness and no ties"):
        replace(WALL, tie_stiffness=1e5)
    some = xr.DataArray([0.0, 3.0], dims="wall")
    assert replace(WALL, ties=some, tie_stiffness=some * 1e4).stiffness_per_area.sizes == {
        "wall": 2
    }


def test_no_number_is_not_taken_for_the_largest_loss() -> None:
    """Chunked parameters are not checked beforehand; what is no number is refused when computed."""
    natural = xr.DataArray([10.0, np.nan], dims="sample").chunk()
    change = SurfaceIsolation(natural_frequency=natural, loss_factor=0.1).level_change(F)
    with pytest.raises(ValueError, match="the result is not a number somewhere"):
        change.compute()


def test_report_names_the_sources_of_rooms_and_vibration(tower, music_school) -> None:
    def named(study: gb.Study) -> str:
        return " ".join(" ".join(row) for row in sources_rows(study).rows)

    school = named(music_school.study)
    for words in ("springs in parallel", "strips at head and foot", "share of a hanger"):
        assert words in school
    felt = named(tower.study)
    for words in ("BS 6472", "ISO 8041", "mid-span taken to change"):
        assert words in felt
    assert any("mid-span" in row[2] for row in path_rows(tower.study).rows)
