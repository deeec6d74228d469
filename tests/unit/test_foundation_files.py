"""Foundations of study files: rafts that bend, what they make of the ground, and what is told."""

from __future__ import annotations

import re
import shutil
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from test_study_keys import COUPLING, FOUNDATION, FREE, ON_PILES, PLACES, RAFT

import groundborne as gb
from groundborne._checks import Faults, StudyError
from groundborne.path import FREE_FOUNDATION, GROUND, Unchanged
from groundborne.propagation import FreeFoundation, GroundDistance
from groundborne.structure import (
    EdgeSupportedSlab,
    Raft,
    RectangularFooting,
    SpringFoundation,
    basement_wall_stiffness,
)
from groundborne.study import notes_of, sentence
from groundborne.study.foundation_file import whole_foundation
from groundborne.study.foundation_notes import foundation_notes
from groundborne.study.given import Checker
from groundborne.study.keys import declared
from quiet_studies import errors_of, evaluated, levels_of, read

LINES = Path(__file__).parents[1] / "fuzz" / "small" / "lines"
SPANS = {"span_x": 6.0, "span_y": 6.0}
CONCRETE = {
    "thickness": 0.5, "youngs_modulus": 33e9, "density": 2400.0, "poisson": 0.2,
    "loss_factor": 0.03,
}  # fmt: skip
SOIL = RectangularFooting(
    length=7.0, width=6.5, embedment=0.8, shear_wave_speed=250.0, density=1900.0, poisson=0.35,
    loss_factor=0.06,
)  # fmt: skip
SQUARE = """[structure.foundation]
model = "rectangular footing"
length_m = 7.0
width_m = 7.0
embedment_m = 0.8
mass_kg = 70000
shear_wave_speed_m_s = 250
density_kg_m3 = 1900
poisson = 0.35
loss_factor = 0.06
"""
FREE_ALONE = '[path.coupling]\nmodel = "free foundation"\n'


@pytest.fixture
def study_file(tmp_path):
    """The small study on column lines with parts of its file exchanged."""

    def written(*exchanges, name="study", **files):
        folder = tmp_path / name
        shutil.copytree(LINES, folder)
        text = (folder / "study.toml").read_text(encoding="utf-8")
        for pattern, new in exchanges:
            text, count = re.subn(pattern, lambda _, new=new: new, text, count=1, flags=re.DOTALL)
            assert count == 1, pattern
        (folder / "study.toml").write_text(text, encoding="utf-8")
        for file, change in files.items():
            path = folder / f"{file}.csv"
            path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
        return folder / "study.toml"

    return written


def line_of(path):
    return read(path).part().frame.line


def same(found, expected, frequency, phases):
    """Mobilities of two rafts under every column, in single frequencies."""
    np.testing.assert_allclose(
        found.lattice_mobility(frequency, phases).values,
        expected.lattice_mobility(frequency, phases).values,
        rtol=1e-12,
    )


F = xr.DataArray([6.0, 20.0, 70.0], dims="frequency")


# Rafts


@pytest.mark.parametrize(
    ("table", "soil", "more"),
    [
        (RAFT, SOIL, {"superimposed_mass": 200.0, "wall_stiffness": basement_wall_stiffness(
            height=2.4, thickness=0.2, spacing=6.0, raft_thickness=0.5, youngs_modulus=33e9)}),
        (ON_PILES, SpringFoundation(stiffness=4e9, damping=2e7, loss_factor=0.06), {}),
    ],
)  # fmt: skip
def test_every_line_stands_on_its_panels_of_a_raft(study_file, table, soil, more):
    line = line_of(study_file((FOUNDATION, table)))
    by_hand = Raft(
        soil=soil, area=7.0 * 6.5, **SPANS, **CONCRETE, **more,
        panel_share=xr.DataArray([0.25] * 4, coords={"column": ["A1", "A2", "B1", "B2"]}),
    )  # fmt: skip
    assert isinstance(line.foundation, Raft)
    assert line.foundation.under == "columns"
    same(line.foundation, by_hand, F, line.phases)
    if more:
        without = replace(by_hand, wall_stiffness=0.0)
        ratio = without.reach(F) / line.foundation.reach(F)
        assert bool((ratio < 0.8).all())


def test_a_raft_without_a_column_table_is_under_one_panel(study_file):
    isolation = r"\[isolation\].*?(?=\n\[(?!isolation))"
    alone = (('columns = "columns.csv"', ""), (isolation, ""), (r"\nbase = [^\n]*", ""))
    line = line_of(study_file((FOUNDATION, RAFT), *alone))
    assert line.foundation.panel_share == 1.0
    more = ("span_x_m = 6.0", "span_x_m = 6.0\nfoundation_share = 0.25")
    with pytest.raises(StudyError, match="'foundation_share' is given, and of a raft"):
        read(study_file((FOUNDATION, RAFT), *alone, more, name="shared"))


def test_walls_on_a_raft_stand_around_its_panels():
    given = _given(RAFT)
    slab = EdgeSupportedSlab(
        span_x=5.0, span_y=6.0, thickness=0.2, youngs_modulus=3e10, density=2400.0, poisson=0.2,
        loss_factor=0.05,
    )  # fmt: skip
    raft = whole_foundation(given, slab=slab)
    assert raft.under == "walls"
    assert (raft.span_x, raft.span_y) == (5.0, 6.0)


def _given(table):
    import tomllib

    data = tomllib.loads(table)["structure"]["foundation"]
    faults = Faults()
    given = Checker(data, faults).table(data, declared("structure.foundation"), "study.toml")
    faults.settle()
    return given


@pytest.mark.parametrize(
    ("table", "change", "sentence"),
    [
        (RAFT, ("thickness_m = 0.5", "thickness_m = 500"), "'thickness_m' is 500.*looks like mm"),
        (RAFT, ("thickness_m = 0.5\n", ""), "'thickness_m' is missing"),
        (RAFT, ("concrete_modulus_pa = 33e9", "concrete_modulus_pa = 33"), "looks like GPa"),
        (RAFT, ("concrete_poisson = 0.2", "concrete_poisson = 0.6"), "'concrete_poisson' is 0.6"),
        (RAFT, ("concrete_loss_factor = 0.03", "concrete_loss_factor = 3"), "looks like %"),
        (RAFT, ("length_m = 7.0", "length_m = 7.0\nmass_kg = 5e4"), "'mass_kg'"),
        (RAFT, ("length_m = 7.0", "length_m = 7.0\npads_and_strips = true"), "'pads_and_strips'"),
        (RAFT, ("spacing_m = 6.0", "spacing_m = 6000"), "basement_walls.*'spacing_m' is 6000"),
        (ON_PILES, ("width_m = 6.5", "width_m = 8"), "'width_m' is above 'length_m'"),
        (SQUARE, ("length_m", "thickness_m = 0.5\nlength_m"), "'thickness_m'"),
    ],
)
def test_what_no_raft_is_is_refused(study_file, table, change, sentence):
    assert change[0] in table
    errors = errors_of(study_file((FOUNDATION, table.replace(*change, 1))))
    assert re.search(sentence, "\n".join(errors)), errors


def test_a_raft_that_is_larger_than_its_panels_is_told(study_file):
    path = study_file((FOUNDATION, RAFT.replace("length_m = 7.0", "length_m = 14.0")))
    with pytest.warns(gb.UnusualValueWarning) as told:
        gb.read_study(path)
    texts = [str(w.message) for w in told]
    assert any("'length_m' by 'width_m' over all 'panel_share'" in text for text in texts), texts
    soft = ON_PILES.replace("stiffness_n_m = 4e9", "stiffness_n_m = 1e7")
    path = study_file((FOUNDATION, soft), name="soft")
    with pytest.warns(gb.UnusualValueWarning) as told:
        gb.read_study(path)
    texts = [str(w.message) for w in told]
    assert any("the frequency of the building on its foundation is" in t for t in texts), texts


def test_a_stiff_raft_is_a_rigid_share(study_file):
    stiff = RAFT.replace("concrete_modulus_pa = 33e9", "concrete_modulus_pa = 9e11")
    stiff = stiff.replace("thickness_m = 0.5", "thickness_m = 15", 1).replace("7.0", "6.0")
    stiff = stiff.replace("width_m = 6.5", "width_m = 6.0")
    stiff = stiff.replace("concrete_density_kg_m3 = 2400", "concrete_density_kg_m3 = 320")
    mass = (15 * 320 + 200) * 36
    rigid = SQUARE.replace("7.0", "6.0").replace("mass_kg = 70000", f"mass_kg = {mass}")
    alike = '[structure.phases]\nmodel = "in phase"\n\n'  # a rigid body knows no other phases
    stiff, rigid, thin = (alike + table for table in (stiff, rigid, RAFT))
    found = levels_of(read(study_file((FOUNDATION, stiff), name="a")))
    expected = levels_of(read(study_file((FOUNDATION, rigid), name="b")))
    apart = abs(found["sound_level"] - expected["sound_level"])
    assert float(apart.max()) < 0.02  # dB
    bent = levels_of(read(study_file((FOUNDATION, thin), name="c")))
    assert float(abs(bent["sound_level"] - expected["sound_level"]).max()) > 1.0


def test_an_option_may_thicken_the_raft(study_file):
    option = (
        '\n[[options]]\nname = "thicker"\nchanges = { structure.foundation.thickness_m = 0.9 }\n'
    )
    study = read(study_file((FOUNDATION, RAFT), (COUPLING, FREE), (r"\Z", option)))
    thick = RAFT.replace("thickness_m = 0.5", "thickness_m = 0.9", 1)
    thicker = read(study_file((FOUNDATION, thick), (COUPLING, FREE), name="b"))
    result, expected = evaluated(study), evaluated(thicker)
    np.testing.assert_allclose(
        result["mean_level"].sel(option="thicker").values,
        expected["mean_level"].sel(option="no isolation").values,
        rtol=0, atol=1e-9,
    )  # fmt: skip
    moved = result["sound_level"].sel(option="thicker") - result["sound_level"].isel(option=0)
    assert float(abs(moved).min()) > 0.1
    (note,) = [n for n in notes_of(result) if n.kind == "changed building"]
    assert "thickness of the foundation 0.5 → 0.9 m" in sentence(note)


def test_words_of_an_option_that_changes_basement_walls():
    from groundborne.study.change_words import in_words

    words = in_words("structure.foundation.basement_walls.height_m")
    assert words == ("height of the basement walls", "m")


def test_the_bounce_on_a_raft_is_that_of_its_panels_in_phase(study_file):
    study = read(study_file((FOUNDATION, RAFT)))
    (bounce,) = [
        r.frequency
        for r in gb.study.resonances(study, study.options[0])
        if r.kind == "foundation-soil"
    ]
    line = study.part().frame.line
    f = xr.DataArray(np.array([bounce]), dims="frequency")
    raft = replace(line.foundation, panel_share=0.25)
    reactance = 1 / raft.lattice_mobility(f, gb.structure.ColumnPhases(kind="in phase"))
    mass = float(np.max(np.asarray(line.total_mass)))
    assert float((reactance.imag / (2 * np.pi * f)).item()) == pytest.approx(-mass, rel=0.02)


# From the ground to the foundation


@pytest.mark.parametrize(
    ("table", "coupling", "by_hand"),
    [
        (SQUARE, FREE_ALONE, FreeFoundation(
            foundation=replace(SOIL, width=7.0, mass=70e3), length=7.0, width=7.0)),
        (SQUARE, FREE, FreeFoundation(
            foundation=replace(SOIL, width=7.0, mass=70e3), length=7.0, width=7.0,
            apparent_speed=300.0, coherent_share=0.5)),
        (f"{SQUARE}pads_and_strips = true\n", FREE_ALONE, FreeFoundation(
            foundation=replace(SOIL, width=7.0, mass=70e3))),
        (ON_PILES, FREE, FreeFoundation(
            foundation=Raft(soil=SpringFoundation(stiffness=4e9, damping=2e7, loss_factor=0.06),
                            area=45.5, **SPANS, **CONCRETE),
            length=7.0, width=6.5, apparent_speed=300.0, coherent_share=0.5)),
    ],
)  # fmt: skip
def test_the_step_to_the_free_foundation_is_the_one_by_hand(study_file, table, coupling, by_hand):
    study = read(study_file((FOUNDATION, table), (COUPLING, coupling)))
    step = study.as_built["coupling"]
    assert (step.quantity_in, step.quantity_out) == (GROUND, FREE_FOUNDATION)
    found = step.level_change(study.frequency)
    assert found.dims == ("frequency",)
    np.testing.assert_allclose(
        found.values, by_hand.level_change(study.frequency).values, rtol=1e-12
    )
    # It is what is added to the levels, and the lines are as they were.
    bare = levels_of(read(study_file((FOUNDATION, table), name="bare")))
    more = levels_of(study)["mean_level"] - bare["mean_level"]
    np.testing.assert_allclose((more - found).values, 0.0, atol=1e-9)


@pytest.mark.parametrize(
    ("exchanges", "sentence"),
    [
        ([(COUPLING, f'{FREE_ALONE}table = "columns.transfer.csv"\n')], "'table' is of losses"),
        ([(COUPLING, f"{FREE_ALONE}free_field_correction_only = true\n")], "count twice"),
        ([(COUPLING, f"{FREE_ALONE}frequency_hz = [63]\nloss_db = [3]\n")], "loss_db"),
        ([(COUPLING, f"{FREE}"), (FOUNDATION, f"{SQUARE}pads_and_strips = true\n")],
         "'apparent_speed_m_s' and 'coherent_share' tells how a plan averages"),
        ([(COUPLING, FREE.replace("0.5", "50"))], "'coherent_share' is 50.*looks like %"),
        ([(COUPLING, FREE.replace("300", "-3"))], "'apparent_speed_m_s' is -3"),
        ([(COUPLING, '[path.coupling]\nmodel = "none"\ncoherent_share = 0.5\n')],
         "'coherent_share'"),
    ],
)  # fmt: skip
def test_what_counts_twice_or_says_nothing_is_refused(study_file, exchanges, sentence):
    path = study_file(*exchanges)
    bands = [f"{gb.bands.label(f)} Hz" for f in gb.bands.third_octaves(5, 250).values]
    table = f"{','.join(['column', *bands])}\nA1{',-3' * len(bands)}\n"
    path.with_name("columns.transfer.csv").write_text(table, encoding="utf-8")
    assert re.search(sentence, "\n".join(errors_of(path)))


def test_the_free_foundation_needs_column_lines_behind_it(copied_study):
    file = copied_study("music_school_plain")
    text = file.read_text(encoding="utf-8")
    text = re.sub(COUPLING, lambda _: FREE_ALONE, text, count=1, flags=re.DOTALL)
    file.write_text(text, encoding="utf-8")
    (error,) = [e for e in errors_of(file) if "free foundation" in e]
    assert re.search(
        r"from which the model 'column line' of \[path.storeys\] alone leads on", error
    )


# Along the building


def test_a_share_of_the_decay_is_left_behind_the_nearest_column(study_file):
    whole = read(study_file((COUPLING, PLACES + FREE), name="a")).as_built["ground"]
    share = f"{PLACES.rstrip()}\nshare_along_building = 0.5\n\n{FREE}"
    step = read(study_file((COUPLING, share), name="b")).as_built["ground"]
    assert whole.facade_distance is None
    distance = np.hypot(
        xr.DataArray([60.0, 66.0, 60.0, 66.0], coords={"column": whole.distance["column"]}), 10.0
    )
    by_hand = GroundDistance(
        distance=distance, facade_distance=float(np.hypot(60.0, 10.0)), share_along=0.5,
        reference_distance=60.0, exponent=0.5, damping_ratio=0.01, wave_speed=250.0,
    )  # fmt: skip
    f = gb.bands.third_octaves(5, 250)
    np.testing.assert_allclose(step.level_change(f), by_hand.level_change(f), rtol=1e-12)
    near, far = (step.level_change(f).isel(column=i) for i in (0, 1))
    without = whole.level_change(f)
    np.testing.assert_allclose(near, without.isel(column=0), rtol=1e-12)
    decay = without.isel(column=1) - without.isel(column=0)
    np.testing.assert_allclose(far - near, decay / 2, rtol=1e-9)


def test_a_share_along_the_building_needs_a_track_and_columns_with_places(study_file, copied_study):
    share = f"{PLACES.rstrip()}\nshare_along_building = 0.5\n\n{FREE}"
    ground = share[share.index("[path.ground]") :].replace("measured", "distance_m = 20\nmeasured")
    (error,) = errors_of(study_file((COUPLING, ground), name="a"))
    assert "share_along_building" in error
    file = copied_study("music_school_plain")
    rooms = file.with_name("rooms.csv")
    first, remark, header, *rows = rooms.read_text(encoding="utf-8").splitlines()
    rows = [f"{row},{3 * i},8" for i, row in enumerate(rows)]
    rooms.write_text("\n".join([first, remark, f"{header},x_m,y_m", *rows]), encoding="utf-8")
    text = file.read_text(encoding="utf-8")
    track, ground = PLACES.rstrip().split("[path.ground]")
    text = text.replace("[path.coupling]", f"{track}[path.ground]{ground}\n"
                        "share_along_building = 0.5\n\n[path.coupling]", 1)  # fmt: skip
    file.write_text(text, encoding="utf-8")
    errors = errors_of(file)
    assert any(
        "'share_along_building' is of the decay behind the nearest column" in e for e in errors
    ), errors
    share_over = share.replace("share_along_building = 0.5", "share_along_building = 50")
    assert any("looks like %" in e for e in errors_of(study_file((COUPLING, share_over), name="c")))


# What is told


def larger(text):
    """The column table of a grid of 12 m, in place of 6 m."""
    return text.replace(",0,6,", ",0,12,").replace(",6,0,", ",12,0,").replace(",6,6,", ",12,12,")


WIDE = SQUARE.replace("7.0", "12.0").replace("70000", "200000")


def notes(path, kind):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(path)
    return study, [n for n in foundation_notes(study) if n.kind == kind]


def test_a_wide_foundation_that_follows_the_ground_is_told_with_what_it_costs(study_file):
    kind = "foundation follows the ground"
    study, (note,) = notes(study_file((FOUNDATION, WIDE), name="a"), kind)
    left = FreeFoundation(
        foundation=study.part().free_foundation.foundation, length=12.0, width=12.0
    ).level_change(study.frequency)
    assert note.consequence_db == pytest.approx(float(abs(left).max()))
    assert note.consequence_db > 3
    at = f"{float(left.min()):+.1f} dB at {float(left.idxmin()):g} Hz"
    assert "12 by 12 m, free of the building, is taken to follow" in sentence(note)
    assert at in sentence(note)
    assert not notes(study_file((FOUNDATION, WIDE), (COUPLING, FREE_ALONE), name="b"), kind)[1]
    assert not notes(study_file(name="c"), kind)[1]  # of 7 m
    # Piles under a wide grid have no plan of their own and a mass all the same.
    piles = ON_PILES[: ON_PILES.index("thickness_m")].replace(
        "raft on piles", "springs and dashpots"
    )
    piles = re.sub(r"(length|width)_m[^\n]*\n", "", piles)
    massive = f"{piles}mass_kg = 2e5\n"
    study, (note,) = notes(study_file((FOUNDATION, massive), name="d", columns=larger), kind)
    assert "What stands under a column grid of 12 by 12 m" in sentence(note)
    assert not notes(study_file((FOUNDATION, piles), name="e", columns=larger), kind)[1]
    result = evaluated(read(study_file((FOUNDATION, WIDE), name="f")))
    assert kind in [n.kind for n in notes_of(result)]


def test_a_wide_foundation_that_is_shared_out_as_rigid_is_told(study_file):
    kind = "foundation taken as rigid"
    study, (note,) = notes(study_file((FOUNDATION, WIDE), name="a"), kind)
    thickness = 200e3 / 144 / 2450
    assert f"of its mass is {thickness:.2f} m thick" in sentence(note)
    raft = Raft(
        soil=replace(study.part().free_foundation.foundation, mass=0.0), area=144.0, **SPANS,
        **{**CONCRETE, "thickness": thickness, "density": 2450.0},
    )  # fmt: skip
    reach = raft.reach(gb.bands.exact(study.frequency))
    assert note.values["reach"] == pytest.approx([float(reach.min()), float(reach.max())])
    assert float(reach.min()) < 6.0
    unknown = WIDE.replace("mass_kg = 200000\n", "")
    (told,) = notes(study_file((FOUNDATION, unknown), name="b"), kind)[1]
    assert "Nothing says how thick it is" in sentence(told)
    for name, table in (
        ("thick", WIDE.replace("200000", "3e7")),  # as rigid as it is taken
        ("strips", f"{WIDE}pads_and_strips = true\n"),
        ("raft", RAFT.replace("7.0", "12.0").replace("width_m = 6.5", "width_m = 12.0")),
        ("small", SQUARE),
    ):
        assert not notes(study_file((FOUNDATION, table), name=name), kind)[1], name


def test_an_option_that_widens_the_foundation_is_told_by_its_name(study_file):
    option = ('\n[[options]]\nname = "wide"\nchanges = { structure.foundation.length_m = 12, '
              "structure.foundation.width_m = 12 }\n")  # fmt: skip
    _, found = notes(study_file((r"\Z", option)), "foundation taken as rigid")
    assert [n.option for n in found] == ["wide"]


def test_studies_of_demonstration_leave_nothing_out(music_school, tower, assembly_hall):
    for name in (music_school, tower, assembly_hall):
        study, result = name
        kinds = [n.kind for n in notes_of(result)]
        assert not {"foundation taken as rigid", "foundation follows the ground"} & set(kinds)
        for part in study.parts:
            assert isinstance(part.as_built["coupling"], FreeFoundation)
            assert not isinstance(part.as_built["coupling"], Unchanged)
