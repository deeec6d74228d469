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


def stub(
    package: str, *, moved: tuple[str, ...] = ()
) -> tuple[Callable[[str], Any], Callable[[], list[str]], list[str]]:
    """``__getattr__``, ``__dir__`` and ``__all__`` of a package, from its stub file.

    Names that went to the packages `moved` are an ImportError that says where they are: of an
    AttributeError, ``from package import name`` would not show the sentence.
    """
    origin = _listed(package)
    names = sorted(origin)

    def get(name: str) -> Any:
        if origin.get(name, package) == package:  # a module of the package, or nothing
            for other in moved:
                if name in _listed(other):
                    raise ImportError(f"{package} does not hold {name}; it is {other}.{name}")
            if name.startswith("_") or find_spec(f"{package}.{name}") is None:
                raise AttributeError(f"module {package!r} has no attribute {name!r}")
            return importlib.import_module(f"{package}.{name}")
        return getattr(importlib.import_module(origin[name]), name)

    return get, lambda: list(names), names


def _listed(package: str) -> dict[str, str]:
    """Public names of a package, and the module that defines each."""
    text = pkgutil.get_data(package, "__init__.pyi")
    assert text is not None, f"{package} has no stub file"
    return {
        alias.name: node.module
        for node in ast.parse(text).body
        if isinstance(node, ast.ImportFrom) and node.module
        for alias in node.names
    }
