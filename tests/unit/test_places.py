"""Rooms in their places: what the track, the columns around a room and crossings do to levels."""

from __future__ import annotations

import re
import shutil
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.levels import decibel
from groundborne.structure import OneWaySlab, columns_around
from groundborne.structure.phases import DIMS
from groundborne.structure.reverberant import reverberant_above
from groundborne.study import notes_of, sentence

DATA = Path(__file__).parents[2] / "data" / "music_school"
GROUND = """
[path.ground]
measured_distance_m = 9
exponent = 0.5
damping_ratio = 0.02
wave_speed_m_s = 220
"""
TRACK = """
[track]
x_m = [-200, 200]
y_m = [-9, -9]
"""
BY_HAND = {"exponent": 0.5, "damping_ratio": 0.02, "wave_speed": 220.0}


@pytest.fixture
def placed(tmp_path):
    """The music school with places of its rooms, and what else a test adds to its file."""

    def make(*, rooms: str = "x_m,y_m", more: str = "", swap: tuple[str, str] = ("", "")):
        folder = tmp_path / "study"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(DATA, folder)
        table = pd.read_csv(folder / "rooms.csv", comment="#")
        # Twins on level 2: one over the row of columns next to the track, one over the last.
        for at, name in enumerate(n for n in ("x_m", "y_m") if n in rooms):
            table[name] = [(8.0, 7.5)[at]] * len(table)
            table.loc[table["room"] == "R1.1", name] = (8.0, 0.0)[at]
            table.loc[table["room"] == "R1.2", name] = (8.0, 15.0)[at]
        if "slab" in rooms:
            kinds = {"R2.1": "joists", "R2.2": "old", "R2.3": "thick"}
            column = "ceiling_slab" if "over" in rooms else "slab"
            table[column] = table["room"].map(kinds).fillna("")
        table.to_csv(folder / "rooms.csv", index=False)
        file = folder / "study.toml"
        text = file.read_text(encoding="utf-8").replace(*swap, 1) if swap[0] else file.read_text()
        # Where the track lies is said by [track].
        text = re.sub(r"track_side = .*\ntrack_offset_m = .*\n", "", text)
        file.write_text(text.replace("[path.coupling]", f"{more}\n[path.coupling]", 1))
        return gb.read_study(file)

    return make


def test_twins_differ_in_level_with_their_place(placed) -> None:
    """What each room hears, by hand from the velocities of the columns and their distances."""
    study = placed(more=TRACK + GROUND)
    columns, rooms = study.building.columns, study.building.rooms
    assert columns is not None
    shares = columns_around(
        rooms=rooms[["x", "y", "length", "width"]].reset_coords(drop=True),
        columns=columns[["x", "y"]], span_x=8.0, span_y=7.5,
    )  # fmt: skip
    f = study.frequency
    distance = columns["y"] + 9.0
    exact = gb.bands.exact(f)
    ground = -20 * BY_HAND["exponent"] * np.log10(distance / 9.0) - (
        20 * np.log10(np.e) * 2 * np.pi * BY_HAND["damping_ratio"] / BY_HAND["wave_speed"]
    ) * exact * (distance - 9.0)
    mid = study.plane.line.floor_mean_squares(f)["mid_panel"]
    coupling = study.as_built.elements["coupling"].level_change(f)
    with warnings.catch_warnings():  # 9 m is near field in the lowest bands, and said to be
        warnings.simplefilter("ignore", gb.ValidityWarning)
        path = study.floor_paths()["no isolation"].level_change(f)
    for room, floor in (("R1.1", "1"), ("R1.2", "1"), ("R2.1", "2")):
        arriving = 10 ** (ground / 10) * mid.sel(floor=floor, drop=True)
        heard = (arriving * shares.sel(room=room)).sum("column")
        wanted = decibel(heard) + coupling
        np.testing.assert_allclose(
            path.sel(room=room).values, wanted.transpose("frequency").values, atol=1e-9
        )
    assert "columns-around-a-room" in {c.key for c in study.as_built.citations}
    near, far = (path.sel(room=r) for r in ("R1.1", "R1.2"))
    assert float((near - far).mean()) > 4.0  # 4.3 dB by distance from 9 to 24 m alone


def test_without_places_every_room_hears_all_columns(placed) -> None:
    school = gb.read_study(DATA / "study.toml").as_built.weights
    assert school is not None
    assert school.dims == ("column",)
    near = placed().as_built.weights
    assert near is not None
    assert near.sel(room="R1.1", column="B3").item() == 0.0


def test_crossings_take_isolation_and_are_named(placed) -> None:
    crossing = (
        '[[isolation.crossings]]\nname = "stair at B1"\nstiffness_n_m = 2e8\nloss_factor = 0.1\n'
        'columns = ["B1"]\n\n[[isolation.crossings]]\nname = "backfill"\ndamping_n_s_m = 2e7\n'
    )
    alone = {
        "isolation.all_crossings_listed": True,
        "isolation.bypass": "none",
        "isolation.bypass_source": "mounts alone are meant",
    }
    plain = gb.read_study(DATA / "study.toml", changes=alone)
    floor = 'lowest_isolated_floor = "0"'
    keys = 'all_crossings_listed = true\nbypass = "none"\nbypass_source = "meant"\n\n'
    study = placed(rooms="", swap=(floor, f"{floor}\n{keys}{crossing}"))
    for option in ("springs 4.5 Hz", "rubber 9 Hz"):
        before, after = (
            s.paths()[option].level_change(s.frequency).sel(frequency=slice(31.5, 80)).mean()
            for s in (plain, study)
        )
        assert float(after - before) > 1.0
    same = [s.paths()["no isolation"].level_change(s.frequency).values for s in (plain, study)]
    np.testing.assert_array_equal(*same)
    stiffer = study.plane.crossed(study.options[2].base)
    low = gb.bands.third_octaves(5, 5)
    added = (stiffer.dynamic_stiffness(low) - study.options[2].base.dynamic_stiffness(low)).real
    assert float(added.sel(column="B1").item()) == pytest.approx(2e8, rel=1e-6)
    assert float(added.sel(column="A1").item()) == pytest.approx(0.0, abs=1.0)
    # The note gives the most that they cost in a band, from the insertion losses of both studies.
    kept = [option for option in study.options if option.name == "springs 4.5 Hz"]
    first = [study.options[0], *kept]
    lost, notes, mounts = [], [], []
    for one in (plain, study):
        result = replace(one, options=first).evaluate(band_levels=False)
        lost.append(result["base_change"].sel(option="springs 4.5 Hz"))
        notes.append([n for n in notes_of(result) if n.kind == "crossings"])
        mounts.append([n for n in notes_of(result) if n.kind == "frequency of mounts"])
    assert not notes[0]
    # Masses change the frequency of the mounts alone, and crossings nothing of that.
    (alone,), (beside,) = mounts
    assert beside.values["in_model"] == pytest.approx(alone.values["in_model"], rel=1e-12)
    assert "the latter, with what crosses the isolation plane, is meant" in sentence(beside)
    assert "the latter is meant" in sentence(alone)
    (note,) = notes[1]
    assert note.option == "springs 4.5 Hz"
    assert note.consequence_db == pytest.approx(float((lost[1] - lost[0]).max()), abs=1e-9)
    assert "(stair at B1, backfill) costs most at" in sentence(note)
    # And what they cost where the rating of the room that loses most by them is governed.
    room, criterion, band, with_it, without, *_ = note.values["governing"]
    governs = float(
        result["governing_band"].sel(option=note.option, room=room, criterion=criterion)
    )
    assert governs in (band, gb.bands.octave(band))
    gained = [-float(each.sel(frequency=band)) for each in (lost[1], lost[0])]
    assert [with_it, without] == pytest.approx(gained, abs=1e-9)
    assert f"governs {criterion} in room {room}" in sentence(note)


SLABS = """
[slabs.joists]
model = "one way"
span_x_m = 5.0
span_y_m = 7.0
bending_stiffness_n_m = 2e6
cross_stiffness_n_m = 3e3
own_mass_kg_m2 = 60
loss_factor = 0.06
superimposed_kg_m2 = 40

[slabs.old]
model = "on edges"
span_x_m = 6.0
span_y_m = 5.0
thickness_m = 0.16
density_kg_m3 = 2300
youngs_modulus_pa = 26e9
poisson = 0.2
loss_factor = 0.05

[slabs.thick]
model = "flat"
span_x_m = 8.0
span_y_m = 7.5
thickness_m = 0.35
density_kg_m3 = 2400
youngs_modulus_pa = 38e9
poisson = 0.2
loss_factor = 0.05
superimposed_kg_m2 = 290

"""


def test_rooms_of_one_level_stand_on_their_own_slabs(placed) -> None:
    """Joists, an old slab on walls and a thick one, moved by the columns of their level."""
    study = placed(rooms="slab", more=SLABS)
    plain = gb.read_study(DATA / "study.toml")
    f = study.frequency
    line, weights = study.plane.line, study.plane.column_weights
    lines = gb.bands.single_frequencies(f, loss_factor=line.loss_factor_floor)
    velocity = line.velocity_ratio(lines).sel(floor="2", drop=True)
    arriving = plain.as_built.up_to("coupling").level_change(f)
    path = study.floor_paths()["no isolation"].level_change(f)
    before = plain.floor_paths()["no isolation"].level_change(f)
    joists = OneWaySlab(
        span_x=5.0, span_y=7.0, bending_stiffness=2e6, cross_stiffness=3e3, own_mass=60.0,
        loss_factor=0.06, superimposed_mass=40.0,
    )  # fmt: skip
    # The mean square over phases of the columns; well above its resonance by the balance of power.
    ratio = reverberant_above(
        joists, lines, abs(joists.mid_panel_ratio(lines)) ** 2, floating=False
    )
    mid = ((abs(velocity) ** 2).mean(DIMS) * ratio).mean("single_frequency")
    wanted = arriving + decibel((mid * weights).sum("column"))
    np.testing.assert_allclose(
        path.sel(room="R2.1").values, wanted.transpose("frequency").values, atol=1e-9
    )
    for room in ("R2.2", "R2.3"):
        assert float(abs(path - before).sel(room=room).max()) > 1.0
    rest = [r for r in study.rooms if r not in ("R2.1", "R2.2", "R2.3")]
    np.testing.assert_allclose(path.sel(room=rest).values, before.sel(room=rest).values, atol=1e-9)
    found = gb.study.resonances(study, study.options[0])
    own = [r for r in found if "joists" in r.name]
    assert [round(r.frequency, 2) for r in own] == [round(float(joists.first_resonance), 2)]
    assert own[0].floors == {"2"}
    with pytest.raises(StudyError, match=r"there is no slab in .slabs. .joists."):
        placed(rooms="slab")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"rooms": "x_m"}, "'x_m' is given and the other is not"),
        ({"more": TRACK + GROUND + "distance_m = 12\n"}, "distance_m"),
        ({"more": "[track]\nx_m = [0, 5]\ny_m = [3]\n" + GROUND}, "they must be as many"),
        ({"more": "[track]\nx_m = [0]\ny_m = [3]\n" + GROUND}, "two or more"),
        ({"more": "[track]\nx_m = [-5, 5]\ny_m = [0, 0]\n" + GROUND},
         r"Track.distance: column 'A1' lies on the track; its distance is 0 m"),
        (
            {"swap": ("[[criteria.hall]]", ('[[isolation.crossings]]\nname = "x"\n'
                      'stiffness_n_m = 1e6\ncolumns = ["Q7"]\n\n[[criteria.hall]]'))},
            "there is no column 'Q7'",
        ),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told(placed, given, said) -> None:
    with pytest.raises(StudyError, match=said):
        placed(**given)


def critical(bending_stiffness: float, mass: float) -> float:
    """``c0²/(2π) √(m″/B)``: Cremer, Heckl & Petersson, Structure-Borne Sound [from memory]."""
    return 340.0**2 / (2 * np.pi) * (mass / bending_stiffness) ** 0.5


def test_a_slab_that_a_room_names_radiates_as_itself(placed) -> None:
    """Floors R2.2 and R2.3 and the ceiling under one of them, by hand from stiffness and mass.

    Joists have no thickness: the plate between them is that of their level.
    """
    by_hand = {
        "old": critical(26e9 * 0.16**3 / (12 * 0.96), 2300 * 0.16),
        "thick": critical(38e9 * 0.35**3 / (12 * 0.96), 2400 * 0.35),
    }
    plain, study = gb.read_study(DATA / "study.toml"), placed(rooms="slab", more=SLABS)
    own = dict(zip(("R2.2", "R2.3"), by_hand.values(), strict=True))
    for side in ("floor", "ceiling", "long walls"):
        found, before = (s.surfaces[side].radiation.critical_frequency for s in (study, plain))
        found, before = (np.broadcast_to(f, len(study.rooms)) for f in (found, before))
        for at, room in enumerate(study.rooms):
            wanted = own.get(room, before[at]) if side == "floor" else before[at]
            assert found[at] == pytest.approx(wanted, rel=1e-12), (side, room)
    over = placed(rooms="slab over", more=SLABS)
    found = over.surfaces["ceiling"].radiation.critical_frequency
    for room, wanted in own.items():
        assert float(found.sel(room=room)) == pytest.approx(wanted, rel=1e-12)
    np.testing.assert_array_equal(
        over.surfaces["floor"].radiation.critical_frequency,
        plain.surfaces["floor"].radiation.critical_frequency,
    )


def _moved(study_toml: Path, **places: tuple[float, float]) -> None:
    file = study_toml.parent / "rooms.csv"
    table = pd.read_csv(file, comment="#")
    for room, at in places.items():
        table.loc[table["room"] == room.replace("_", "."), ["x_m", "y_m"]] = at
    table.to_csv(file, index=False)


def test_a_room_outside_the_columns_is_told_with_its_row(placed, tmp_path) -> None:
    """Columns stand from x = 0 to 24 m; 6 m beyond is still carried, and 104 m beyond is not."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", gb.UnusualValueWarning)
        placed()
    file = tmp_path / "study" / "study.toml"
    _moved(file, R1_3=(30.0, 7.5))
    with pytest.warns(gb.UnusualValueWarning, match=(
        r"rooms.csv, row 6, column 'x_m': the distance of the centre of room 'R1.3' at "
        r"\(30, 7.5\) m from the plan of the columns is 6 m, unusual; usual: 0 to 1 m"
    )):  # fmt: skip
        study = gb.read_study(file)
    assert any("'R1.3' at (30, 7.5) m" in text for text in study.unusual)
    _moved(file, R1_4=(128.0, 3.0), R1_5=(-90.0, 3.0))
    with pytest.raises(StudyError) as told:
        gb.read_study(file)
    for row, words in ((7, "'R1.4' at (128, 3) m"), (8, "'R1.5' at (-90, 3) m")):
        said = f"rooms.csv, row {row}, column 'x_m': room {words} stands on no column; the nearest"
        assert said in str(told.value)
