"""Arguments with a unit are given by name, defaults cannot change, importing changes nothing."""

from __future__ import annotations

import dataclasses
import enum
import functools
import importlib
import inspect
import pkgutil
import subprocess
import sys
from typing import Any

import pytest

import groundborne

FLAT = ("bands", "levels", "weighting", "twoport", "sampling", "tables", "citation",
        "usual_ranges", "usual_values", "csv_columns")  # fmt: skip

POSITIONAL = {
    # what a function works on, or a path is made of
    "frequency", "labels", "array", "level", "ratio", "value", "maximum", "exposure", "number",
    "citations", "message", "change", "changes", "element", "quantity_in", "quantity_out", "mount",
    "first", "second", "lower", "upper", "port", "room", "surfaces", "treatments", "here", "there",
    "frequency_ratio", "deflection", "distribution", "result", "data", "paths", "source", "path",
    "building", "columns", "study", "folder", "found", "option", "plane",
    "loads", "load", "components", "packs", "loss", "previous", "body", "movement",
    "remaining", "pack", "schedule", "values", "file", "plan", "wind",
    "order", "let_down", "statement",
    "record", "records", "recording", "history", "events", "mean_square", "severity", "maxima",
    "peak", "curve", "lines", "spectrum", "steps", "blocks", "shape", "state", "squares",
    "passbys", "background",
    "averaging", "area", "parts", "count", "times", "seed", "margin", "note", "criterion",
    "needed", "budget", "sure", "options", "alternatives", "points", "correlation", "client",
    "spreads", "model", "counts",
    "measured", "errors", "comparison", "pooled", "error", "checks", "observations",
    "fit", "handover",
    # names, and the two ends of a range in the order every range is written
    "name", "quantity", "reference", "location", "dim", "where", "foundation", "place",
    "construction", "low", "high",
    # of a table: what is written or looked at
    "text", "cell", "table",
}  # fmt: skip
"""Argument names that may be given by position; all others must be named."""

EXCEPTIONS = {
    # a rigid mass on a mount: the pair is the model's name
    "groundborne.isolation.base.IdealIsolation": {"mass"},
    # the column of a printed table, asked for by its label
    "groundborne.propagation.floors.edin_ground_to_floor": {"natural_frequency"},
    # containers of what a file held
    "groundborne.source.passbys.spectra.Passbys": {"background", "file", "notes"},
    "groundborne.study.building.Building": {"floors", "rooms"},
    "groundborne.tables.Table": {"file", "header", "cells", "rows", "notes"},
}
MOST_POSITIONAL = 3
IMMUTABLE = (type(None), bool, int, float, complex, str, bytes, tuple, frozenset, enum.Enum)


def _public() -> dict[str, Any]:
    names = [m.name for m in pkgutil.iter_modules(groundborne.__path__, "groundborne.") if m.ispkg]
    found: dict[str, Any] = {}
    for name in ["groundborne", *names, *(f"groundborne.{flat}" for flat in FLAT)]:
        module = importlib.import_module(name)
        listed = getattr(module, "__all__", None) or [a for a in vars(module) if a[0] != "_"]
        for attribute in listed:
            thing = getattr(module, attribute)
            if not (inspect.isfunction(thing) or inspect.isclass(thing)):
                continue
            if name.removeprefix("groundborne.") in FLAT and thing.__module__ != name:
                continue
            if thing.__module__.startswith("groundborne.") and not _is_exempt(thing):
                found[f"{thing.__module__}.{thing.__qualname__}"] = thing
    return found


def _is_exempt(thing: Any) -> bool:
    """Protocols cannot be made, and exceptions take a message."""
    return bool(getattr(thing, "_is_protocol", False)) or (
        inspect.isclass(thing) and issubclass(thing, Exception)
    )


PUBLIC = _public()
DATACLASSES = {name: thing for name, thing in PUBLIC.items() if dataclasses.is_dataclass(thing)}


def _methods(cls: Any) -> dict[str, Any]:
    found = {}
    for name, raw in vars(cls).items():
        method = raw.__func__ if isinstance(raw, (classmethod, staticmethod)) else raw
        if inspect.isfunction(method) and not name.startswith("_"):
            found[name] = method
    return found


CALLS = PUBLIC | {
    f"{name}.{method}": call
    for name, cls in PUBLIC.items()
    if inspect.isclass(cls)
    for method, call in _methods(cls).items()
}


def _positional(thing: Any) -> list[str]:
    kinds = (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD)
    parameters = inspect.signature(thing).parameters.values()
    return [p.name for p in parameters if p.kind in kinds and p.name not in ("self", "cls")]


def test_enough_is_public() -> None:
    assert len(PUBLIC) >= 90
    assert len(DATACLASSES) >= 35
    assert len(CALLS) >= len(PUBLIC) + 100


@pytest.mark.parametrize("name", sorted(PUBLIC))
def test_arguments_with_a_unit_are_given_by_name(name: str) -> None:
    thing = PUBLIC[name]
    if inspect.isclass(thing) and issubclass(thing, enum.Enum):
        return  # a list of words
    given = _positional(thing)
    odd = [a for a in given if a not in POSITIONAL | EXCEPTIONS.get(name, set())]
    assert not odd, f"{name}: {odd} can be given by position; make them keyword-only"
    if name not in EXCEPTIONS:
        assert len(given) <= MOST_POSITIONAL, f"{name} takes {given} by position"


def test_exceptions_are_still_needed() -> None:
    unused = {n: a - set(_positional(PUBLIC[n])) for n, a in EXCEPTIONS.items() if n in PUBLIC}
    assert not any(unused.values()), unused
    assert set(EXCEPTIONS) <= set(PUBLIC), set(EXCEPTIONS) - set(PUBLIC)


@pytest.mark.parametrize("name", sorted(DATACLASSES))
def test_dataclass_is_frozen(name: str) -> None:
    assert DATACLASSES[name].__dataclass_params__.frozen, f"{name} can be changed after it is made"


def _is_immutable(value: Any) -> bool:
    if isinstance(value, tuple):
        return all(_is_immutable(entry) for entry in value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return bool(value.__dataclass_params__.frozen)
    return isinstance(value, (*IMMUTABLE, type)) or inspect.isfunction(value)


@pytest.mark.parametrize("name", sorted(CALLS))
def test_defaults_cannot_change(name: str) -> None:
    for parameter in inspect.signature(CALLS[name]).parameters.values():
        default = parameter.default
        if default is parameter.empty or type(default).__name__ == "_HAS_DEFAULT_FACTORY_CLASS":
            continue
        assert _is_immutable(default), f"{name}: the default of {parameter.name} is {default!r}"


def test_the_check_of_defaults_sees_lists() -> None:
    assert not _is_immutable([1.0])
    assert not _is_immutable(({},))
    assert _is_immutable((1.0, "a", None))


def _run(code: str) -> str:
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    return run.stdout.strip()


def test_importing_leaves_the_settings_of_others_alone() -> None:
    # scipy.special adds a warning filter of its own; it is not ours to answer for.
    code = """
import warnings, locale
import matplotlib.pyplot, numpy, pandas, scipy.special, xarray
before = (dict(matplotlib.rcParams), dict(xarray.get_options()), numpy.geterr(),
          numpy.get_printoptions(), pandas.get_option("display.max_rows"), list(warnings.filters),
          locale.getlocale(), numpy.random.get_state()[1].tolist())
import groundborne, groundborne.plot, groundborne.report
after = (dict(matplotlib.rcParams), dict(xarray.get_options()), numpy.geterr(),
         numpy.get_printoptions(), pandas.get_option("display.max_rows"), list(warnings.filters),
         locale.getlocale(), numpy.random.get_state()[1].tolist())
names = ["matplotlib", "xarray", "numpy errors", "numpy print", "pandas", "warnings", "locale",
         "random"]
print(",".join(n for n, a, b in zip(names, before, after) if a != b))
"""
    assert _run(code) == ""


@functools.cache
def _imported() -> frozenset[str]:
    return frozenset(_run("import sys, groundborne; print(*sys.modules)").split())


@pytest.mark.parametrize("module", ["matplotlib", "scipy", "dask", "netCDF4"])
def test_importing_does_not_bring(module: str) -> None:
    assert "groundborne" in _imported()
    assert module not in _imported(), f"import groundborne imports {module}"
