"""Docstrings say what every argument is, and exported functions show an example."""

from __future__ import annotations

import enum
import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from typing import Any

import pytest

import groundborne

FLAT = ("bands", "levels", "weighting", "twoport", "sampling", "tables", "citation",
        "usual_ranges", "usual_values", "key", "csv_columns")  # fmt: skip
"""Public modules beside the subpackages; they have no ``__all__``."""
CONVENTIONAL = {"frequency", "load", "mass"}
"""Arguments of methods that a protocol or the class itself explains once for all."""


def _is_own(thing: Any) -> bool:
    return (inspect.isfunction(thing) or inspect.isclass(thing)) and thing.__module__.startswith(
        "groundborne."
    )


def _exported() -> dict[str, Any]:
    """What the package and its subpackages list in ``__all__``."""
    names = ["groundborne"]
    names += [m.name for m in pkgutil.iter_modules(groundborne.__path__, "groundborne.") if m.ispkg]
    found = {}
    for name in names:
        module = importlib.import_module(name)
        for attribute in getattr(module, "__all__", ()):
            thing = getattr(module, attribute)
            if _is_own(thing):
                found[f"{thing.__module__}.{thing.__qualname__}"] = thing
    return found


def _flat() -> dict[str, Any]:
    """Public functions and classes of the modules without ``__all__``."""
    found = {}
    for name in FLAT:
        module = importlib.import_module(f"groundborne.{name}")
        for attribute, thing in vars(module).items():
            if (
                not attribute.startswith("_")
                and _is_own(thing)
                and thing.__module__ == module.__name__
            ):
                found[f"{thing.__module__}.{thing.__qualname__}"] = thing
    return found


EXPORTED = _exported()
PUBLIC = EXPORTED | _flat()
FUNCTIONS = {name: thing for name, thing in EXPORTED.items() if inspect.isfunction(thing)}
CLASSES = {name: thing for name, thing in PUBLIC.items() if inspect.isclass(thing)}


def _is_protocol(thing: Any) -> bool:
    return bool(getattr(thing, "_is_protocol", False))


def _methods(cls: Any) -> Iterator[tuple[str, Any]]:
    for name, raw in vars(cls).items():
        if name.startswith("_"):
            continue
        method = raw.__func__ if isinstance(raw, (classmethod, staticmethod)) else raw
        if isinstance(method, property):
            method = method.fget
        if inspect.isfunction(method):
            yield name, method


def _section(doc: str, heading: str) -> str:
    found = re.search(
        rf"^{heading}\n-{{3,}}\n(.*?)(?=^\S[^\n]*\n-{{3,}}\n|\Z)", doc, re.DOTALL | re.MULTILINE
    )
    return found.group(1) if found else ""


def _documented(doc: str) -> set[str]:
    """Names on the left of `` : `` in the section Parameters."""
    names: set[str] = set()
    for line in _section(doc, "Parameters").splitlines():
        if line and not line[0].isspace():
            names |= {part.strip().lstrip("*") for part in line.split(" : ")[0].split(",")}
    return names


def _arguments(thing: Any) -> list[str]:
    parameters = inspect.signature(thing).parameters
    return [name for name in parameters if name not in ("self", "cls", "_")]


def test_the_parser_finds_names_and_misses_none() -> None:
    doc = "Title.\n\nParameters\n----------\na, b : float\n    [m].\n**c : str\n\nReturns\n---\nx"
    assert _documented(doc) == {"a", "b", "c"}
    assert _documented("Title.\n\nReturns\n-------\na : float\n") == set()


def test_enough_is_exported() -> None:
    assert len(FUNCTIONS) >= 30
    assert len(CLASSES) >= 35


@pytest.mark.parametrize("name", sorted(PUBLIC))
def test_has_a_docstring_of_its_own(name: str) -> None:
    doc = PUBLIC[name].__doc__ or ""
    first = doc.strip().splitlines()[0] if doc.strip() else ""
    assert len(first) >= 10, f"{name} has no docstring"
    assert "(*args" not in first, f"{name}: the docstring is the generated signature"


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_exported_function_documents_its_arguments(name: str) -> None:
    doc = inspect.getdoc(FUNCTIONS[name]) or ""
    missing = [a for a in _arguments(FUNCTIONS[name]) if a not in _documented(doc)]
    assert not missing, f"{name}: not under Parameters: {missing}"


@pytest.mark.parametrize("name", sorted(n for n in CLASSES if n in EXPORTED))
def test_exported_class_documents_its_arguments(name: str) -> None:
    cls = CLASSES[name]
    if _is_protocol(cls) or issubclass(cls, (Exception, enum.Enum)):
        return
    doc = inspect.getdoc(cls) or ""
    missing = [a for a in _arguments(cls) if a not in _documented(doc)]
    assert not missing, f"{name}: not under Parameters: {missing}"


@pytest.mark.parametrize("name", sorted(CLASSES))
def test_methods_are_documented(name: str) -> None:
    for method_name, method in _methods(CLASSES[name]):
        doc = inspect.getdoc(method) or ""
        assert doc.strip(), f"{name}.{method_name} has no docstring"
        asked = [a for a in _arguments(method) if a not in CONVENTIONAL]
        section = _documented(doc)
        if section:
            missing = [a for a in asked if a not in section]
            assert not missing, f"{name}.{method_name}: not under Parameters: {missing}"


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_exported_function_has_an_example(name: str) -> None:
    doc = inspect.getdoc(FUNCTIONS[name]) or ""
    assert ">>> " in _section(doc, "Examples"), f"{name} has no section Examples"
