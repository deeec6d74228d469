"""Notes: what a reviewer is told, when it applies and only then."""

from __future__ import annotations

import re
import warnings
from dataclasses import replace

import pytest

import groundborne as gb
from note_sentences import sentences_of

S = "study.toml"


def notes_of(result):
    notes = sentences_of(result)
    assert len(notes) == len(set(notes)), "a note is given twice"
    return notes


def evaluated_notes(path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return notes_of(gb.read_study(path).evaluate(band_levels=False))


def having(notes, *words):
    return [n for n in notes if all(w in n for w in words)]


@pytest.fixture
def only(copied_study):
    """A study reduced to one extra option, so that evaluating it is quick."""

    def reduce(option: str, name: str = "music_school", **files):
        study = copied_study(name)
        text = study.read_text()
        head = text[: text.index("[[options]]")]
        study.write_text(
            f'{head}[[options]]\nname = "as built"\n\n[[options]]\nname = "x"\n{option}'
        )
        for file, (old, new) in files.items():
            target = study.with_name(f"{file}.csv")
            content = target.read_text()
            assert old in content
            target.write_text(content.replace(old, new))
        return study

    return reduce


@pytest.mark.parametrize("name", ["music_school", "tower", "assembly_hall"])
def test_cautions_always_stand(name, request):
    notes = notes_of(request.getfixturevalue(name).result)
    assert having(
        notes, "licensed structural engineer", "local codes govern", "No number here is a"
    )
    assert having(notes, "up to 15 dB from prediction", "[seen]")
    assert having(notes, "S max of each band by itself", "upper bound")


def test_rooms_below_the_plane_are_named(tower, music_school):
    found = having(notes_of(tower.result), "Below the isolation plane")
    assert len(found) == 1
    assert "room N1. Against option 'no isolation' they become, A-weighted:" in found[0]
    for option in tower.study.options:
        plain = option.base is not None and not any("N1" in m.rooms for m in option.measures)
        assert bool(re.search(rf"{option.name} \d\.\d dB louder", found[0])) == plain
    assert not having(notes_of(music_school.result), "Below the isolation plane")


def test_rooms_below_the_plane_are_of_no_matter_without_a_base(only):
    assert not having(evaluated_notes(only("", "tower")), "Below the isolation plane")


def test_columns_and_masses_above_the_mounts_are_told_apart(only):
    base = "base = { natural_frequency_hz = 9.0, loss_factor = 0.1 }\n"
    study = only(base, "music_school_plain")
    assert having(evaluated_notes(study), "'x'", "semi-infinite columns, the mean trend")
    text = study.read_text()
    start, end = text.index("[isolation.above]"), text.index("[[criteria.hall]]")
    study.write_text(text[:start] + '[isolation.above]\nmodel = "rigid mass"\n\n' + text[end:])
    notes = evaluated_notes(study)
    assert having(notes, "'x'", "rigid mass", "over-stated")
    assert not having(notes, "semi-infinite columns")


def test_a_loss_beyond_one_stage_is_marked(only):
    study = only("base = { natural_frequency_hz = 3.0, loss_factor = 0.02 }\n")
    assert not having(evaluated_notes(study), "is predicted above 25 dB")  # with the way beside
    floor = 'lowest_isolated_floor = "0"'
    alone = 'bypass = "none"\nbypass_source = "mounts alone are meant"'
    study.write_text(study.read_text().replace(floor, f"{floor}\n{alone}"))
    soft = evaluated_notes(study)
    assert having(soft, "'x': no energy is counted", "mounts alone are meant")
    found = having(soft, "'x': base isolation is predicted above 25 dB from")
    assert len(found) == 1
    assert "Walker and Mathers" in found[0]


def test_a_moderate_loss_is_not_marked(only):
    stiff = evaluated_notes(only("base = { natural_frequency_hz = 25.0, loss_factor = 0.3 }\n"))
    assert not having(stiff, "is predicted above 25 dB")


@pytest.mark.parametrize(("tuned", "meets"), [(12.0, True), (14.0, True), (24.0, False)])
def test_resonances_that_meet_are_named(only, tuned, meets):
    # Floors at 11, 12 and 17.5 Hz; a third of an octave is a ratio of 1.26.
    base = f"base = {{ natural_frequency_hz = {tuned}, loss_factor = 0.1 }}\n"
    notes = evaluated_notes(only(base, "music_school_plain"))
    found = having(notes, "mounts (", "coincident resonances, within a third of an octave")
    assert bool(found) == meets
    if meets:
        assert any("floors 1, 2 (12.0 Hz)" in n for n in found)


def test_a_layer_that_meets_the_mounts_is_named(only):
    option = (
        "base = { natural_frequency_hz = 5.0, loss_factor = 0.1 }\n[[options.rooms]]\n"
        'rooms = ["R0.1"]\nfloor = { natural_frequency_hz = 5.5, loss_factor = 0.1 }\n'
    )
    notes = evaluated_notes(only(option))
    # The lines weigh 0.93 to 1.06 of the column loads that the mounts are tuned to, and crossings
    # that are not listed add a twentieth of the stiffness.
    assert having(notes, "mounts (5.0 to 5.3 Hz) with floor layer in R0.1 (5.5 Hz)")
    text = "its mounts have 5.0 Hz under the column loads, and 4.9 to 5.2 Hz by column under the"
    assert having(notes, "Option 'x'", text)


def test_layers_of_one_measure_do_not_meet_each_other(only):
    option = (
        '[[options.rooms]]\nrooms = ["R0.1"]\nfloor = { natural_frequency_hz = 5.0, loss_factor = '
        "0.1 }\nceiling = { natural_frequency_hz = 5.1, loss_factor = 0.1 }\n"
    )
    notes = evaluated_notes(only(option, "music_school_plain"))
    assert not having(notes, "floor layer in R0.1 (5.0 Hz) with ceiling layer")


def test_surfaces_that_still_radiate_are_named(only):
    layer = "{ natural_frequency_hz = 7.0, loss_factor = 0.1 }\n"
    option = f'[[options.rooms]]\nmeasure = "raised"\nrooms = ["R0.1"]\nfloor = {layer}'
    notes = evaluated_notes(only(option))
    assert having(notes, "'x', raised: floor treated, walls and ceiling still radiate as before")


def test_a_whole_box_is_not_called_partial(only):
    layer = "{ natural_frequency_hz = 7.0, loss_factor = 0.1 }\n"
    option = f'[[options.rooms]]\nrooms = ["R0.1"]\nfloor = {layer}walls = {layer}ceiling = {layer}'
    assert not having(evaluated_notes(only(option)), "still radiate as before")


def test_few_passbys_of_a_type_are_named(tower, music_school):
    kinds = tower.study.source["train_type"].values.tolist()
    few = {k for k in kinds if kinds.count(k) < 15}
    found = having(notes_of(tower.result), "Few passbys")
    assert bool(found) == bool(few)
    for kind in few:
        assert f"{kind} ({kinds.count(kind)})" in found[0]
    assert not having(notes_of(music_school.result), "Few passbys")


def test_warnings_are_given_and_written_down(copied_study):
    study = copied_study()
    text = study.read_text()
    ground = (
        "[path.ground]\ndistance_m = 12\nmeasured_distance_m = 9\nexponent = 0.5\n"
        "damping_ratio = 0.01\nwave_speed_m_s = 200\n\n[path.coupling]"
    )
    head = text[: text.index("[[options]]")].replace("[path.coupling]", ground)
    study.write_text(f'{head}[[options]]\nname = "as built"\n')
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        result = gb.read_study(study).evaluate()
    assert {w.category for w in caught} == {gb.ValidityWarning}
    given = [str(w.message) for w in caught]
    assert having(given, "path element 'ground': 5 to 20 Hz (7 of 18 bands) lie outside the range")
    # And where it would hold: one wavelength from the edge of the source.
    assert having(given, "Hz on, and the distance is 12.0 m, that of the source 9.0 m")
    assert set(given) <= set(notes_of(result))
    valid = result["valid"].isel(option=0)
    assert not valid.sel(frequency=20.0).any()
    # One wavelength is 9 m at 22 Hz.
    assert valid.sel(frequency=25.0).all()


def test_upper_limits_of_the_source_are_named(music_school):
    study = music_school.study
    level = study.passbys.level
    limit = (level["frequency"] < 6) & (level["passby"] == level["passby"][0])
    passbys = replace(study.passbys, level=level.assign_coords(upper_limit=limit))
    marked = replace(study, passbys=passbys, options=study.options[:1])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        notes = sentences_of(marked.evaluate(band_levels=False))
    assert sum("not detectable in the bands 5 Hz" in n for n in notes) == 1
    before = sentences_of(music_school.result)
    assert not any("not detectable" in n for n in before)
