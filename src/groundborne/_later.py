"""Names of a package that load on first use, listed once in its stub file.

``__init__.pyi`` beside ``__init__.py`` imports every public name from where it is defined; type
checkers and editors read it, and so does this module. Nothing is loaded before it is asked for.
"""

from __future__ import annotations

import ast
import importlib
import pkgutil
from collections.abc import Callable
from importlib.util import find_spec
from typing import Any


def stub(package: str) -> tuple[Callable[[str], Any], Callable[[], list[str]], list[str]]:
    """``__getattr__``, ``__dir__`` and ``__all__`` of a package, from its stub file."""
    text = pkgutil.get_data(package, "__init__.pyi")
    assert text is not None, f"{package} has no stub file"
    origin = {
        alias.name: node.module
        for node in ast.parse(text).body
        if isinstance(node, ast.ImportFrom) and node.module
        for alias in node.names
    }
    names = sorted(origin)

    def get(name: str) -> Any:
        if origin.get(name, package) == package:  # a module of the package, or nothing
            if name.startswith("_") or find_spec(f"{package}.{name}") is None:
                raise AttributeError(f"module {package!r} has no attribute {name!r}")
            return importlib.import_module(f"{package}.{name}")
        return getattr(importlib.import_module(origin[name]), name)

    return get, lambda: list(names), names
