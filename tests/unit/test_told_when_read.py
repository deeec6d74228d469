"""What can be seen in the files is told when they are read, once, and not by the evaluation."""

from __future__ import annotations

import re
import warnings

import pytest

import groundborne as gb
from groundborne._checks import StudyFileError
from groundborne.study import notes_of, sentence
from groundborne.study.note import Note

WALLS = "walls = { thickness_m = 0.14, longitudinal_wave_speed_m_s = 2500 }"
ANNEXE = "[options.bases.annexe]"


def test_walls_measured_in_too_few_bands(spoiled) -> None:
    """The school is evaluated from 5 Hz on; its walls are known from 16 Hz on."""
    short = WALLS.replace(
        " }", ", frequency_hz = [16, 20, 25], measured_below_floor_db = [9, 9, 9] }"
    )
    with pytest.raises(StudyFileError, match=r"\[radiation\], \[walls\]: .*5 Hz is asked for"):
        gb.read_study(spoiled("study.toml", (WALLS, short)))


def test_mounts_of_a_part_that_are_refused_are_told_once(spoiled) -> None:
    wrong = f"{ANNEXE}\nhorizontal_ratio = 0.7\nservice = {{ test_strain = 0.01 }}"
    with pytest.raises(StudyFileError, match="without 'hardness_irhd'") as refused:
        gb.read_study(spoiled("study.toml", (ANNEXE, wrong), name="assembly_hall"))
    assert "horizontal_ratios" not in str(refused.value)


def test_out_of_range_names_the_leak_and_no_other_source(spoiled) -> None:
    """Of some twenty sources of what moves the walls of a room, one ends: at its doors."""
    leaky = ('model = "room surfaces"', 'model = "room surfaces"\nleak_frequency_hz = 16')
    study = gb.read_study(spoiled("study.toml", leaky))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = study.evaluate(band_levels=False)

    def outside(note: Note) -> bool:
        return note.kind == "outside validity" and "'surfaces'" in note.values["text"]

    (said,) = [sentence(note) for note in notes_of(result) if outside(note)]
    assert "5 to 12.5 Hz (5 of 18 bands)" in said
    assert "doors and windows leak" in said
    assert "[from memory" not in said
    assert len(re.findall(";", said)) <= 1  # one source: what it is, and how it is known


def test_walls_measured_against_their_floor_are_no_transfer_in_the_building(spoiled) -> None:
    """Of floors that are computed, no error of the lines drops out."""
    bands = [5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250]
    known = f", frequency_hz = {bands}, measured_below_floor_db = {[8] * len(bands)} }}"
    study = gb.read_study(spoiled("study.toml", (WALLS, WALLS.replace(" }", known))))
    study = study.with_options(
        [o for o in study.options if o.name in ("no isolation", "rubber 9 Hz")]
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = study.evaluate(band_levels=False)
    assert "measured as built" not in {note.kind for note in notes_of(result)}
