"""What is told of columns that move in phase, or without regard to each other."""

from __future__ import annotations

import shutil
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import groundborne as gb
from groundborne.structure import ColumnPhases, known_failures
from groundborne.study import notes_of, sentence

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines"


@pytest.fixture
def told(tmp_path):
    """The study with a model of phases, and the notes of one kind."""

    def of(model: str, kind: str):
        folder = tmp_path / model
        shutil.copytree(SMALL, folder)
        file = folder / "study.toml"
        text = file.read_text(encoding="utf-8")
        text += f'\n[structure.phases]\nmodel = "{model}"\n'
        file.write_text(text, encoding="utf-8")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            study = gb.read_study(file)
            return study, [n for n in notes_of(study.evaluate()) if n.kind == kind]

    return of


def test_columns_in_phase_are_told_with_what_phases_would_change(told):
    study, (note,) = told("in phase", "columns in phase")
    line = study.part().frame.line
    moved = replace(line, phases=ColumnPhases(points=3)).surface_mean_square(study.frequency)
    rooms = np.unique(study.part().frame.floor_of_room.values).tolist()
    change = 10 * np.log10(moved / line.surface_mean_square(study.frequency)).sel(floor=rooms)
    over = change.median([d for d in change.dims if d not in ("floor", "frequency")])
    (low, *_), (high, band, floor) = note.values["ends"]
    assert [low, high] == pytest.approx([float(over.min()), float(over.max())])
    assert float(over.sel(floor=floor, frequency=band)) == pytest.approx(high)
    assert note.consequence_db == pytest.approx(float(abs(over).max()))
    assert f"{high:+.1f} dB at {band:g} Hz on floor {floor!r}" in sentence(note)


def test_a_building_on_mounts_has_no_motion_as_one_body_with_uniform_phases(told):
    study, notes = told("uniform", "no rigid body")
    assert [n.option for n in notes] == [o.name for o in study.options if o.base is not None]
    assert notes
    assert all("take the model 'window'" in sentence(n) for n in notes)


@pytest.mark.filterwarnings("ignore::groundborne.citation.ValidityWarning")
def test_bands_in_which_columns_in_phase_fail_are_outside_the_range_of_a_study(told):
    """With a window all are inside; in phase those are not that block, in every option."""
    result = told("in phase", "columns in phase")[0].evaluate()
    study = told("window", "columns in phase")[0]
    line = replace(study.part().frame.line, phases=ColumnPhases(kind="in phase"))
    failing = known_failures(study.frequency, line=line)
    assert bool(failing.any())
    assert not bool(failing.all())
    other = [d for d in result["valid"].dims if d != "frequency"]
    assert not bool((result["valid"].any(other) & failing).any())
    assert bool((study.evaluate()["valid"].any(other) | ~failing).all())


@pytest.mark.parametrize("kind", ["columns in phase", "no rigid body"])
def test_the_usual_window_is_not_told(told, kind):
    assert told("window", kind)[1] == []
