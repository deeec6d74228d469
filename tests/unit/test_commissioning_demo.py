"""The invented measurements of the music school are those that their script makes."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SCRIPT = ROOT / "notebooks" / "invented_commissioning.py"
FOLDER = ROOT.parent / "data" / "music_school" / "commissioning"


def numbers_of(text: str) -> list[list[str]]:
    return [line.split(",") for line in text.splitlines() if not line.startswith("#")]


def test_the_committed_tables_are_those_of_the_script() -> None:
    """Words alike, numbers to their last digit or the one beside it on other machines."""
    spec = importlib.util.spec_from_file_location("invented_commissioning", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    made = script.make()
    assert {f.name for f in FOLDER.iterdir()} == set(made)
    for name, text in made.items():
        committed = (FOLDER / name).read_text(encoding="utf-8")
        assert committed.startswith("# Invented for demonstration")
        for was, now in zip(numbers_of(committed), numbers_of(text), strict=True):
            for one, other in zip(was, now, strict=True):
                if one != other:
                    assert float(one) == pytest.approx(float(other), abs=0.11), (name, was[:2])
