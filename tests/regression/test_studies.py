"""Ratings of the demonstration studies against stored ones of our own: only to notice change.

A failure is not an error by itself. If the change is wanted, run ``renew.py``.
"""

from __future__ import annotations

import csv

import pytest
from renew import HEADER, STUDIES, TABLE, ratings

TOLERANCE = 0.05
"""[dB or NR]: half of the tenth that a report shows."""


def _stored() -> dict[tuple[str, ...], float]:
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {tuple(row[key] for key in HEADER[:-1]): float(row["rating"]) for row in rows}


STORED = _stored()


@pytest.mark.parametrize("name", STUDIES)
def test_ratings_have_not_moved(name: str) -> None:
    expected = {key: value for key, value in STORED.items() if key[0] == name}
    got = {tuple(keys): value for *keys, value in ratings(name)}
    assert len(expected) > 50
    assert set(got) == set(expected), "rooms, options or criteria have changed: run renew.py"
    moved = {
        key: f"{expected[key]:.2f} -> {value:.2f}"
        for key, value in got.items()
        if not abs(value - expected[key]) <= TOLERANCE
    }
    listed = "\n".join(f"{', '.join(key)}: {text}" for key, text in list(moved.items())[:20])
    assert not moved, f"{len(moved)} of {len(got)} ratings moved:\n{listed}"


def test_nothing_else_is_stored() -> None:
    assert {key[0] for key in STORED} == set(STUDIES)
