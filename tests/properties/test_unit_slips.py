"""Every number of the demonstration studies, ten times too large and too small, and in wrong units.

How many slips are seen is counted here; the few that are not stand below with their reasons.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from groundborne.structure import column_weights
from groundborne.study.line_change import FloorResponse
from groundborne.usual_ranges import SLIPS
from spoiled_units import Files, quantity_of

PLACES = {"structure.csv": "storeys", "floors.csv": "floors", "rooms.csv": "rooms",
          "columns.csv": "columns", "passbys.csv": "passbys"}  # fmt: skip

TRAINS = "a few trains more or fewer of one kind are an ordinary timetable"
NOT_SEEN = {
    **{("tower", f"periods.{period}.trains.{kind}", factor): TRAINS
       for period, kind, factor in (
           ("day", "commuter", 0.1), ("day", "intercity", 10), ("day", "intercity", 0.1),
           ("day", "freight", 10), ("night", "commuter", 0.1), ("night", "intercity", 10),
           ("night", "freight", 10))},
}  # fmt: skip
"""Slips of ten in the study files that neither ranges nor cross-checks can see, with the reason."""

NO_LEVEL = ("site", "measurements", "cost")
"""Numbers that no level follows from: of drawings, of events that are not used, and prices."""


@pytest.fixture
def files(tmp_path, monkeypatch):
    """Files of a study, read without working out the column lines again, which are not judged."""
    original = FloorResponse.of.__func__
    known = {}

    def once(cls, line, frequency, **more):
        key = tuple(line.floors), "column" in column_weights(line=line).dims
        if key not in known:
            known[key] = original(cls, line, frequency, **more)
        return known[key]

    monkeypatch.setattr(FloorResponse, "of", classmethod(once))

    def make(name: str) -> Files:
        found = Files.of(name, tmp_path)
        assert found.verdict() == ("nothing", "")
        return found

    return make


def name_of(place) -> tuple[str, str]:
    *table, key = (k for k in place if not isinstance(k, int))
    return ".".join(table), key


def value_at(data, place):
    for key in place:
        data = data[key]
    return data


def own_keys(files: Files, part: str = ""):
    """Keys once each, also where several options repeat them with the same value."""
    seen = set()
    for place in files.keys():  # noqa: SIM118
        if place[0] in NO_LEVEL or place[-1] in NO_LEVEL:
            continue
        value = value_at(files.toml, place)
        what = (*name_of(place), repr(value))
        if what not in seen and value != 0 and part in name_of(place)[0]:
            seen.add(what)
            yield place


@pytest.mark.parametrize("name", ["music_school", "tower", "music_school_plain"])
def test_every_key_ten_times_too_large_and_too_small_is_seen(files, name, record_property):
    study = files(name)
    found, missed = {"error": 0, "warning": 0}, set()
    for place in own_keys(study, "isolation" if name.endswith("plain") else ""):
        table, key = name_of(place)
        for factor in (10, 0.1):
            verdict, sentence = study.times(place, factor).first_word()
            if verdict == "nothing":
                missed.add((name, f"{table}.{key}", factor))
                continue
            found[verdict] += 1
            assert re.search(r"\w\.(toml|csv)", sentence), sentence
    record_property("slips", found)
    assert missed == {k for k in NOT_SEEN if k[0] == name}
    assert sum(found.values()) > 8 * len(missed)


@pytest.mark.parametrize("name", ["music_school", "tower"])
def test_every_column_and_its_cells_ten_times_too_large_and_too_small_are_seen(files, name):
    study = files(name)
    for file, column in study.columns():
        header, *rows = study.tables[file]
        cells = [row[header.index(column)] for row in rows]
        first = next(i for i, cell in enumerate(cells) if cell and float(cell) != 0)
        for row in (-1, first):
            for factor in (10, 0.1):
                if row >= 0 and column.startswith("wind"):
                    continue  # the wind on one column is what the engineer says it is
                spoiled = study.column_times(file, column, factor, row=row)
                verdict, sentence = spoiled.first_word()
                assert verdict != "nothing", (file, column, row, factor)
                if file not in sentence and column not in sentence:  # a cross-check speaks first
                    _, sentence = spoiled.verdict()
                assert file in sentence or column in sentence


@pytest.mark.parametrize("name", ["music_school", "tower", "music_school_plain"])
def test_every_number_in_the_units_it_is_often_written_in_is_seen(files, name):
    study = files(name)
    slips, together = 0, 0
    for place in own_keys(study, "isolation" if name.endswith("plain") else ""):
        if name_of(place)[1] == "limit":  # in the unit of its metric
            continue
        for size, seen in units_of(*name_of(place), [value_at(study.toml, place)]):
            slips += 1
            if not seen:  # by its own range, so that only others can tell
                together += 1
                assert study.times(place, 1 / size).first_word()[0] != "nothing", (place, size)
    for file, column in [] if name.endswith("plain") else study.columns():
        if column.endswith(" Hz"):
            continue
        header, *rows = study.tables[file]
        cells = [float(row[header.index(column)] or 0) for row in rows]
        for size, seen in units_of(PLACES[file], column, cells):
            slips += 1
            if not seen:
                together += 1
                verdict, _ = study.column_times(file, column, 1 / size).first_word()
                assert verdict != "nothing", (file, column, size)
    assert slips > 10
    assert together < 0.2 * slips


def units_of(place: str, name: str, values):
    """Sizes of the units that are taken for the right one, and whether the range sees it."""
    quantity = quantity_of(place, name)
    slips = quantity.slips or quantity.unit if quantity else "m"
    for size in SLIPS.get(slips, {}).values():
        low, high = quantity.usual if quantity else (-np.inf, np.inf)
        written = np.ravel(values)[np.ravel(values) != 0] / size
        yield size, bool(((written < low) | (written > high)).any())
