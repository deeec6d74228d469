"""Check values that are printed nowhere: worked out again, without the library."""

from __future__ import annotations

import ast
import importlib.util
from pathlib import Path as FilePath
from typing import Any

import pytest
from published_files import FOLDER, Row, read_all

DERIVED = {origin.file: rows for origin, rows in read_all() if origin.mark == "derived"}
SCRIPTS = FOLDER / "derive"
PLAIN = {"math", "cmath", "statistics", "collections.abc"}


def _script(file: str) -> Any:
    spec = importlib.util.spec_from_file_location(f"derive_{file}", SCRIPTS / f"{file}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_derived_file_has_its_script_and_the_other_way_round() -> None:
    assert {path.stem for path in SCRIPTS.glob("*.py")} == set(DERIVED)
    assert len(DERIVED) >= 8


@pytest.mark.parametrize("script", sorted(SCRIPTS.glob("*.py")), ids=lambda path: path.stem)
def test_scripts_use_nothing_but_the_mathematics_of_the_language(script: FilePath) -> None:
    tree = ast.parse(script.read_text(encoding="utf-8"))
    names = {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
    names |= {str(n.module) for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)}
    assert names <= PLAIN
    assert ast.get_docstring(tree), "the formulas stand at the head"


@pytest.mark.parametrize("file", sorted(DERIVED))
def test_values_follow_from_the_formulas(file: str) -> None:
    rows: dict[str, Row] = {row.name: row for row in DERIVED[file]}
    found = _script(file).values()
    assert set(found) == set(rows)
    for name, row in rows.items():
        assert len(found[name]) == len(row.expected), name
        for got, text, tolerance in zip(found[name], row.expected, row.tolerances(), strict=True):
            assert abs(got - float(text)) <= tolerance * (1 + 1e-6) + 1e-12, (
                f"{row.identity}: {got:.6g} by the script, {text} in the file"
            )
