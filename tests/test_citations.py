"""Every claim of verification is backed by a published file, and the other way round."""

from __future__ import annotations

import importlib
import pkgutil
import tomllib
from pathlib import Path as FilePath
from typing import Any, get_args

import pytest

import groundborne
from groundborne.citation import Citation, Mark, Status

PUBLISHED = FilePath(__file__).parent / "published"
PRINTED = {"seen", "seen second-hand"}
"""Marks of files that hold printed values; recalled and derived numbers verify nothing."""
FILES: dict[str, dict[str, Any]] = {
    path.stem: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in sorted(PUBLISHED.glob("*.toml"))
}


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
BACKED = {key: (file, data["mark"]) for file, data in FILES.items() for key in data.get("keys", ())}


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
def test_verified_is_backed_by_printed_values(key: str) -> None:
    assert key in BACKED, f"no file in tests/published names {key!r}"
    file, mark = BACKED[key]
    assert mark in PRINTED, (
        f"{key!r} calls itself verified, but {file}.toml is {mark!r}: it holds no printed value"
    )


@pytest.mark.parametrize("key", sorted(BACKED))
def test_backed_key_exists_with_the_same_mark(key: str) -> None:
    file, mark = BACKED[key]
    assert key in CONSTANTS, f"{file}.toml backs {key!r}, which the package does not have"
    place, citation = CONSTANTS[key][0]
    assert citation.mark == mark, f"{place} is {citation.mark!r}, {file}.toml is {mark!r}"


@pytest.mark.parametrize("key", sorted(k for k, (_, mark) in BACKED.items() if mark in PRINTED))
def test_backed_by_print_is_called_verified(key: str) -> None:
    place, citation = CONSTANTS[key][0]
    assert citation.status == "verified", f"{place} is {citation.status!r} and could be verified"


@pytest.mark.parametrize("file", sorted(FILES))
def test_file_names_keys_of_the_package(file: str) -> None:
    data = FILES[file]
    named = [*data.get("keys", ()), *data.get("exercises", ())]
    assert named, f"{file}.toml names no citation of the package"
    assert set(named) <= set(CONSTANTS), f"{file}.toml names unknown keys"
    assert len(set(named)) == len(named), f"{file}.toml names a key twice"


def test_no_key_is_backed_by_two_files() -> None:
    keys = [key for data in FILES.values() for key in data.get("keys", ())]
    assert len(set(keys)) == len(keys)
