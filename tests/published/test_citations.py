"""Every claim of verification is backed by a published file, and the other way round."""

from __future__ import annotations

import importlib
import pkgutil
from dataclasses import replace
from typing import get_args

import pytest
from published_files import PRINTED_MARKS, Row, Source, read_all

import groundborne
from groundborne.citation import Citation, Mark, Status

FILES: dict[str, tuple[Source, list[Row]]] = {origin.file: (origin, r) for origin, r in read_all()}


def _constants() -> dict[str, list[tuple[str, Citation]]]:
    """Module-level citations by key, each with the places where it is defined."""
    found: dict[str, list[tuple[str, Citation]]] = {}
    seen: set[int] = set()
    names = [m.name for m in pkgutil.walk_packages(groundborne.__path__, "groundborne.")]
    for name in ["groundborne", *names]:
        if name.endswith("__main__"):
            continue
        for attribute, value in vars(importlib.import_module(name)).items():
            if isinstance(value, Citation) and id(value) not in seen:
                seen.add(id(value))
                found.setdefault(value.key, []).append((f"{name}.{attribute}", value))
    return found


CONSTANTS = _constants()
VERIFIED = sorted(
    key for key, entries in CONSTANTS.items() if any(c.status == "verified" for _, c in entries)
)
BACKED = {key: origin for origin, _ in FILES.values() for key in origin.keys}
PRINTED = {row.backs for _, rows in FILES.values() for row in rows if row.evidence == "printed"} - {
    ""
}
"""Keys for which the library works out at least one value that the source prints."""


def test_citations_are_found() -> None:
    assert len(CONSTANTS) >= 30
    assert len(VERIFIED) >= 12


@pytest.mark.parametrize("key", sorted(CONSTANTS))
def test_key_is_defined_once(key: str) -> None:
    assert len(CONSTANTS[key]) == 1, [place for place, _ in CONSTANTS[key]]


@pytest.mark.parametrize("key", sorted(CONSTANTS))
def test_constant_is_whole(key: str) -> None:
    for place, citation in CONSTANTS[key]:
        assert citation.author, place
        assert citation.title or citation.locator or citation.year, place
        assert citation.mark in get_args(Mark), place
        assert citation.status in get_args(Status), place


@pytest.mark.parametrize("key", VERIFIED)
def test_verified_is_backed_by_a_printed_value_that_was_worked_out(key: str) -> None:
    assert key in BACKED, f"no file in tests/published names {key!r}"
    assert key in PRINTED, (
        f"{key!r} calls itself verified, but no row of {BACKED[key].file}.toml holds a printed "
        "value that the library works out (rows that copy a number are 'transcribed', numbers that "
        "follow by hand are 'worked out'; in a file of several keys each row names its 'key')"
    )


@pytest.mark.parametrize("key", sorted(BACKED))
def test_backed_key_exists_with_the_same_mark(key: str) -> None:
    origin = BACKED[key]
    assert key in CONSTANTS, f"{origin.file}.toml backs {key!r}, which the package does not have"
    place, citation = CONSTANTS[key][0]
    assert citation.mark == origin.mark, f"{place} is {citation.mark!r}, {origin.file} is not"


@pytest.mark.parametrize("key", sorted(k for k, o in BACKED.items() if o.mark in PRINTED_MARKS))
def test_what_is_only_copied_is_called_transcribed(key: str) -> None:
    place, citation = CONSTANTS[key][0]
    wanted = "verified" if key in PRINTED else "transcribed"
    assert citation.status == wanted, f"{place} is {citation.status!r} and should be {wanted!r}"


@pytest.mark.parametrize("file", sorted(FILES))
def test_file_names_keys_of_the_package(file: str) -> None:
    origin, rows = FILES[file]
    named = [*origin.keys, *origin.exercises]
    assert named, f"{file}.toml names no citation of the package"
    assert set(named) <= set(CONSTANTS), f"{file}.toml names unknown keys"
    assert len(set(named)) == len(named), f"{file}.toml names a key twice"
    for row in rows:
        several = len(origin.keys) > 1 and row.evidence == "printed"
        assert row.backs or not several, (
            f"{row.identity}: which of {origin.keys} does it stand for?"
        )


def test_no_key_is_backed_by_two_files() -> None:
    keys = [key for origin, _ in FILES.values() for key in origin.keys]
    assert len(set(keys)) == len(keys)


def test_a_row_that_copies_a_number_verifies_nothing() -> None:
    printed = next(r for _, rows in FILES.values() for r in rows if r.evidence == "printed")
    copied = [
        replace(printed, exact=True),
        replace(printed, kind="constant"),
        replace(printed, kind="limit"),
    ]
    assert {row.evidence for row in copied} == {"transcribed"}
    assert replace(printed, basis="worked out").evidence == "worked out"
    recalled = replace(printed, origin=replace(printed.origin, mark="from memory"))
    assert recalled.evidence == "from memory"
