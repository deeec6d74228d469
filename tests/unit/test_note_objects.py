"""Notes as objects: what they hold, how they are stored, and that each kind has its sentence."""

from __future__ import annotations

import json

import numpy as np
import pytest

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.report.notes import notes_by_option, warnings_text
from groundborne.study import (
    Note,
    Severity,
    note_words,
    notes_of,
    read_result,
    save_result,
    sentence,
)
from groundborne.study.note import KINDS, STANDING, by_weight, stored
from quiet_studies import evaluated


def test_every_kind_has_one_sentence_and_no_other_has():
    worded = [*note_words._FIXED, *note_words._MADE]
    assert sorted(worded) == sorted(KINDS)
    assert len(set(worded)) == len(worded)


@pytest.mark.parametrize("name", ["music_school", "tower", "assembly_hall"])
def test_notes_of_a_study_tell_what_they_are_about(name, request):
    study, result = request.getfixturevalue(name)
    notes = notes_of(result)
    options = {o.name for o in study.options}
    for note in notes:
        assert note.option is None or note.option in options
        assert set(note.rooms) <= set(study.rooms)
        text = sentence(note)
        assert text.endswith(".")
        # The option is said once, in front, and by no other kind of note.
        assert text.startswith("Option ") == (note.option is not None)
    made = [n.kind for n in notes if n.kind != "outside validity"]  # those are told in evaluation
    assert made[-2:] == ["structural engineer", "scatter"]
    assert set(STANDING) <= set(KINDS)


def test_consequences_are_those_of_the_result(tower, mounts_alone):
    (below,) = [n for n in notes_of(tower.result) if n.kind == "below the plane"]
    sound = tower.result["sound_level"].sel(room="N1")
    change = (sound - sound.sel(option="no isolation")).mean("passby")
    plain = [o.name for o in tower.study.options if o.base and not o.measures]
    assert below.consequence_db == pytest.approx(float(change.sel(option=plain).max()))
    assert below.rooms == ("N1",)
    livelier = [n for n in notes_of(tower.result) if n.kind == "livelier floors"]
    rating = tower.result["rating"].sel(criterion="VDV, night")
    rating = rating.where(tower.result["applies"].sel(criterion="VDV, night"), drop=True)
    for note in livelier:
        factor = float((rating.sel(option=note.option) / rating.isel(option=0)).max())
        assert note.consequence_db == pytest.approx(20 * np.log10(factor))
    study = mounts_alone.study
    soft = gb.Option(name="soft", base=study.mount(natural_frequency=2.0, loss_factor=0.02))
    result = evaluated(study.with_options([study.options[0], soft]))
    gained = [n for n in notes_of(result) if n.kind == "margins beyond one stage"]
    assert gained
    margins = result[["margin", "margin_one_stage"]].where(result["applies"], 0.0)
    for note in gained:
        here = margins.sel(option=note.option)
        worst = float((here["margin"] - here["margin_one_stage"]).max())
        assert note.consequence_db == pytest.approx(worst)


def test_notes_are_stored_as_objects_and_come_back(music_school, tmp_path):
    result = music_school.result.drop_vars("band_level")
    notes = notes_of(result)
    rows = json.loads(result.attrs["notes"])
    assert set(rows[0]) == {
        "kind", "option", "rooms", "part", "severity", "consequence_db", "values",
    }  # fmt: skip
    save_result(result, tmp_path / "result.nc")
    assert notes_of(read_result(tmp_path / "result.nc")) == notes
    made = Note(kind="other loads", values={"columns": (("A1", 1.0, 2.0),)})
    again = notes_of(result.assign_attrs(notes=stored([made])))
    assert again == (made,)  # what is no list in JSON is none in the note either


def test_a_result_without_notes_has_none(music_school):
    bare = music_school.result.drop_attrs()
    assert notes_of(bare) == ()
    for damaged in ('["a sentence of version 0.1"]', "[{}]", "{", '[{"kind": "odd"}]'):
        with pytest.raises(StudyError, match="notes_of: the attribute 'notes' of the result is"):
            notes_of(bare.assign_attrs(notes=damaged))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ({"kind": "odd"}, "kind is 'odd'; known are"),
        ({"kind": "scatter", "values": {"x": float("nan")}}, "values is nan"),
        ({"kind": "scatter", "values": {"x": object()}}, "its values cannot be stored"),
    ],
)
def test_notes_that_cannot_be(arguments, said):
    with pytest.raises(ValueError, match=said):
        Note(**arguments)


def test_readers_order_notes_by_weight_and_option(music_school):
    order = list(Severity)
    notes = by_weight(notes_of(music_school.result))
    ranks = [order.index(n.severity) for n in notes]
    assert ranks == sorted(ranks)
    grouped = notes_by_option(music_school.result)
    assert grouped[0][0] == ""
    # What several options share stands once, under all of them.
    texts = [text for _, group in grouped for text in group]
    assert len(set(texts)) == len(texts)
    assert any("”, “" in head for head, _ in grouped)


def test_only_warnings_stand_above_the_answers(music_school):
    result = music_school.result
    assert warnings_text(result) == ""
    odd = Note(kind="unusual input", values={"text": "study.toml: 'x' is 9\x1b[2J, unusual"})
    told = warnings_text(result.assign_attrs(notes=stored([odd, *notes_of(result)])))
    assert told.splitlines() == [
        "Unusual; check before reading on:", "  study.toml: 'x' is 9?[2J, unusual",
    ]  # fmt: skip


def test_the_part_of_a_building_is_named_in_lists_too(music_school):
    option = str(music_school.result["option"].values[1])
    notes = [Note(kind="mounts without mass", option=option, part=p) for p in ("hall", "annexe")]
    notes.append(Note(kind="source on foundation", part="annexe"))
    result = music_school.result.assign_attrs(notes=stored(notes))
    grouped = dict(notes_by_option(result))
    assert [t[:30] for t in grouped[f"“{option}”"]] == [
        "Part 'hall': its mounts have n", "Part 'annexe': its mounts have",
    ]  # fmt: skip
    assert grouped[""][0].startswith("Part 'annexe': The source was measured")


def test_nothing_reads_a_sentence_for_its_option(music_school):
    """An option whose name looks like the beginning of another's note keeps its notes."""
    study = music_school.study
    named = gb.Option(name="x': rubber", base=study.options[1].base)
    note = Note(kind="mounts without mass", option=named.name)
    result = music_school.result.isel(option=[0, 1])
    result = result.assign_coords(option=["as built", named.name]).assign_attrs(
        notes=stored([note])
    )
    assert ("“x': rubber”", ["Its mounts have no mass of their own."]) in [
        (head, [t[:37] for t in texts]) for head, texts in notes_by_option(result)
    ]
