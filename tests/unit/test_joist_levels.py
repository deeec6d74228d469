"""Light joist floors: levels by the table from the ground, and what is told of computed ones."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import propagation
from groundborne.isolation import FloorOnSlab, LightFloor
from groundborne.structure import OneWaySlab
from groundborne.study import joist_notes, notes_of, sentence
from quiet_studies import errors_of, evaluated, read

SMALL = Path(__file__).parents[1] / "fuzz" / "small"
MODEL = '[path.floor]\nmodel = "E DIN 45672-3, ground to floor"\nconstruction = "timber"\n'
NONE = {name: (rf"\[path\.{name}\].*?(?=\n\[)", f'[path.{name}]\nmodel = "none"\n')
        for name in ("coupling", "storeys")}  # fmt: skip
NO_MID_SPAN = (r"\[path\.mid_span\].*?(?=\n\[)", "")


@pytest.fixture
def study_file(tmp_path):
    """A small study with the table from the ground to timber floors, and further changes."""

    def of(floor: str = MODEL, *changes, natural=("11.0", "17.0", "17.0"), skip=()):
        folder = tmp_path / f"study {len(list(tmp_path.iterdir()))}"
        shutil.copytree(SMALL / "tables", folder)
        file = folder / "study.toml"
        text = file.read_text(encoding="utf-8")
        steps = [step for name, step in NONE.items() if name not in skip]
        steps += [] if "mid_span" in skip else [NO_MID_SPAN]
        for pattern, to in (*steps, (r"\[path\.floor\].*?(?=\n\[)", floor), *changes):
            text, count = re.subn(pattern, lambda _, to=to: to, text, count=1, flags=re.DOTALL)
            assert count == 1, pattern
        file.write_text(text, encoding="utf-8")
        if not natural:
            return file
        floors = (folder / "floors.csv").read_text(encoding="utf-8").splitlines()
        floors[1] += ",natural_frequency_hz"
        floors[2:] = [f"{row},{hz}" for row, hz in zip(floors[2:], natural, strict=True)]
        (folder / "floors.csv").write_text("\n".join(floors) + "\n", encoding="utf-8")
        return file

    return of


AVERAGE = MODEL + 'place = "surface average"\n'


def test_rooms_have_the_column_of_their_floor(study_file):
    """11 Hz lies in the third octave of 10 Hz, which ends at 11.2 Hz, and 17 Hz in 16 Hz."""
    study = read(study_file(AVERAGE))
    f = study.frequency
    change = study.floor_paths()["as built"].level_change(f)
    ground = study.part().as_built.up_to("coupling").level_change(f)
    for room, column in (("A", 10.0), ("B", 16.0)):
        table = propagation.edin_ground_to_floor(column, "timber").level_change(f)
        got = (change - ground).sel(room=room).drop_vars("room")
        assert got.values == pytest.approx(table.values)
        floor = study.part().surfaces["floor"].velocity.level_change(f).sel(room=room)
        assert floor.values == pytest.approx(table.values)
    assert "mid-span" in str(study.part().surfaces["floor"].velocity.citations)
    # The ceiling of A is the floor above it.
    ceiling = study.part().surfaces["ceiling"].velocity.level_change(f).sel(room="A")
    table = propagation.edin_ground_to_floor(16.0, "timber").level_change(f)
    assert ceiling.values == pytest.approx(table.values)
    result = evaluated(study)
    sources = str(study.part().as_built.level_change(f).attrs["citations"])
    assert "ground to floor" in sources
    assert "no coupling" not in sources.lower()
    assert float(result["rating"].sel(option="as built").min()) > 0


def test_each_possible_frequency_is_a_run_of_its_own(study_file):
    more = "natural_frequencies_hz = [12.0, 20.0]\n"
    study = read(study_file(AVERAGE + more, natural=()))
    floor = study.part().surfaces["floor"].velocity.level_change(study.frequency)
    for given, column in ((12.0, 12.5), (20.0, 20.0)):
        table = propagation.edin_ground_to_floor(column, "timber").level_change(study.frequency)
        assert floor.sel(floor_frequency=given).values == pytest.approx(table.values)
    result = evaluated(study)
    assert result.sizes["floor_frequency"] == 2


def test_mid_span_leads_to_sound_by_a_relation_from_there(study_file):
    relation = (r"\[path\.radiation\].*?(?=\n\[)",
                '[path.radiation]\nmodel = "relation"\nrelation = "HJ 453-2018"\n')  # fmt: skip
    high = ("low_hz = 12.5", "low_hz = 16")
    study = read(study_file(MODEL, relation, high))
    assert str(study.part().as_built.elements["floor"].quantity_out) == (
        "velocity of the floor at mid-span"
    )
    (error,) = errors_of(study_file(MODEL))
    assert "the sum over room surfaces needs the" in error


@pytest.mark.parametrize(
    ("kept", "says"),
    [
        ("coupling", r"\[coupling\] has the model 'given', which would count twice"),
        ("storeys", r"\[storeys\] has the model 'fixed', which would count twice"),
        ("mid_span", r"\[path.mid_span\] would lead on from columns"),
    ],
)
def test_what_would_count_twice_is_refused(study_file, kept, says):
    (error,) = errors_of(study_file(AVERAGE, skip=(kept,)))
    assert re.search(says, error), error


def test_it_begins_in_the_ground(study_file):
    gone = [(rf"\[path\.{name}\].*?(?=\n\[)", "") for name in ("ground", "speed", "coupling")]
    at = (r'location = "ground"', 'location = "foundation"')
    (error,) = errors_of(study_file(AVERAGE, *gone, at, skip=("coupling",)))
    assert "a path that begins at the foundation needs another model" in error


@pytest.mark.parametrize(
    ("natural", "says"),
    [
        ((), "the table of floors has no column 'natural_frequency_hz'"),
        (("11.0", "6.5", "17.0"), "the floor frequency 6.5 Hz lies outside the table"),
        (("90", "17.0", "17.0"), "the floor frequency 90 Hz lies outside the table"),
    ],
)
def test_floors_need_a_frequency_of_the_table(study_file, natural, says):
    errors = errors_of(study_file(AVERAGE, natural=natural))
    assert any(says in error for error in errors), errors


def test_several_columns_of_the_table_at_once():
    labels = xr.DataArray([[8.0, 80.0], [12.5, 16.0]], dims=("room", "sample"))
    f = gb.bands.third_octaves(4, 250)
    found = propagation.edin_ground_to_floor(labels, "timber").level_change(f)
    assert found.dims == ("room", "sample", "frequency")
    for i in range(2):
        for j in range(2):
            one = propagation.edin_ground_to_floor(float(labels[i, j]), "timber")
            np.testing.assert_array_equal(found[i, j], one.level_change(f))
    with pytest.raises(ValueError, match="natural_frequency is 12 Hz; the table holds"):
        propagation.edin_ground_to_floor(xr.DataArray([8.0, 12.0], dims="room"), "timber")


def test_average_for_mid_span_is_what_is_said_of_it():
    """Of a strip, bands to 16 times its first resonance: 3.6 dB too much to 0.7 dB too little."""
    f = gb.bands.third_octaves(5, 250)
    strip = OneWaySlab(span_x=4.2, span_y=5.0, bending_stiffness=1.45e6, cross_stiffness=2662.0,
                       own_mass=45.0, loss_factor=0.06)  # fmt: skip
    assert float(strip.first_resonance) == pytest.approx(16.0, rel=0.01)
    lines = gb.bands.single_frequencies(f, loss_factor=0.02)
    surface = strip.surface_mean_square_ratio(lines).mean("single_frequency")
    middle = (abs(strip.mid_panel_ratio(lines)) ** 2).mean("single_frequency")
    over = 10 * np.log10(middle / surface)
    assert float(over.max()) == pytest.approx(3.6, abs=0.1)
    assert float(over.min()) == pytest.approx(-0.7, abs=0.1)


LIGHT = """
[[options]]
name = "boards on joists"

[[options.rooms]]
rooms = ["B"]

[options.rooms.floor]
construction = "boards on battens"
boards = [{ thickness_m = 0.04, density_kg_m3 = 700, youngs_modulus_pa = 3e9 }]
batten_kg_m = 1.5
batten_height_m = 0.045
batten_spacing_m = 0.4
element_spacing_m = 0.5
element_stiffness_n_m = 2e5
element_loss_factor = 0.1
element_height_m = 0.03
air_gap_m = 0.075
slab = { on = "two supports", span_x_m = 5, span_y_m = 6, bending_stiffness_n_m = 2e6, \
cross_stiffness_n_m = 3e3, own_mass_kg_m2 = 60, loss_factor = 0.06, superimposed_kg_m2 = 20 }
"""


def test_a_treatment_works_on_the_mobility_of_the_joists(study_file):
    study = read(study_file(AVERAGE, (r"\Z", LIGHT.replace("\\\n", ""))))
    treatment = study.options[-1].measures[0].treatments["floor"]
    joists = OneWaySlab(span_x=5.0, span_y=6.0, bending_stiffness=2e6, cross_stiffness=3e3,
                        own_mass=60.0, loss_factor=0.06, superimposed_mass=20.0)  # fmt: skip
    part = study.options[-1].measures[0].box.parts["floor"]
    assert isinstance(part, LightFloor)
    by_hand = FloorOnSlab(floor=part.layer(), slab=joists).level_change(study.frequency)
    assert treatment.level_change(study.frequency).values == pytest.approx(by_hand.values)
    result = evaluated(study)
    change = result["mean_level"].sel(option="boards on joists", room="B") - result[
        "mean_level"
    ].sel(option="as built", room="B")
    assert float(abs(change).max()) > 3.0


# ---- what is told ----------------------------------------------------------------------------

SLABS = """[slabs.joists]
model = "one way"
span_x_m = 5
span_y_m = 6
bending_stiffness_n_m = STIFF
cross_stiffness_n_m = 3e3
own_mass_kg_m2 = MASS
loss_factor = 0.06

"""


def on_joists(tmp_path, mass=60.0, phases="", floor="", under="joists", stiff=2e6):
    folder = tmp_path / f"lines {mass} {len(phases)} {len(floor)} {under} {stiff}"
    shutil.copytree(SMALL / "lines", folder)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    slabs = SLABS.replace("MASS", str(mass)).replace("STIFF", str(stiff))
    text = text.replace("[structure]", slabs + "[structure]", 1)
    text = text.replace("[structure.foundation]", phases + "[structure.foundation]", 1)
    if floor:
        text, count = re.subn(r"\[path\.floor\].*?(?=\n\[)", lambda _: floor, text, flags=re.DOTALL)
        assert count == 1
    file.write_text(text, encoding="utf-8")
    bands = gb.bands.third_octaves(5, 250).values
    table = [",".join(["room", *(f"{f:g} Hz" for f in bands)])]
    table += [",".join([room, *("3" for _ in bands)]) for room in ("S1", "O1")]
    (folder / "measured.csv").write_text("\n".join(table) + "\n", encoding="utf-8")
    rows = (folder / "rooms.csv").read_text(encoding="utf-8").splitlines()
    head = next(i for i, row in enumerate(rows) if not row.startswith("#"))
    rows[head] += ",slab"
    rows[head + 1] += f",{under}"
    rows[head + 2 :] = [row + "," for row in rows[head + 2 :]]
    (folder / "rooms.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    room = rows[head + 1].split(",")[0]
    study = read(file)
    found = notes_of(evaluated(study))
    return study, room, [note for note in found if note.kind == "joists by column lines"]


def test_levels_of_joists_by_column_lines_are_told_of(tmp_path):
    study, room, (note,) = on_joists(tmp_path)
    assert note.rooms == (room,)
    assert (note.values["bias"], note.consequence_db) == joist_notes.BALANCED
    said = sentence(note)
    assert f"under or over room {room} get their levels from the column lines" in said
    assert "far too quiet beside it: -3.6 dB on average and 4.3 dB rms" in said
    assert "18 % of the bands inside" in said
    assert "'E DIN 45672-3, ground to floor' of [path.floor]" in said
    first = np.pi / 2 / 25 * np.sqrt(2e6 / 60.0)
    assert note.values["first"] == pytest.approx([first, first])
    _, _, (in_phase,) = on_joists(tmp_path, phases='[structure.phases]\nmodel = "in phase"\n\n')
    assert (in_phase.values["bias"], in_phase.consequence_db) == joist_notes.BARE
    assert "-6.3 dB on average and 7.1 dB rms" in sentence(in_phase)
    assert replace(study, options=study.options[:1]).options  # the note is of the study


def test_what_the_table_does_not_hold_is_not_named_as_the_way(tmp_path):
    _, _, (note,) = on_joists(tmp_path, stiff=2e5)
    assert note.values["first"][0] < 7.08
    said = sentence(note)
    assert "holds floors of 8 to 80 Hz, and so not all of these" in said
    assert "'frequency ratio' with construction 'timber'" in said


MEASURED = """[path.floor]
model = "column line"
table = "measured.csv"
place = "surface average"
"""


@pytest.mark.parametrize(
    "more",
    [
        {"mass": 250.0},
        {"under": ""},
        {"floor": MEASURED},
    ],
)
def test_other_floors_are_not(tmp_path, more):
    """Planks of concrete, no joists at all, and gains that were measured on them."""
    _, _, notes = on_joists(tmp_path, **more)
    assert not notes
