"""Every public callable, given what it was not meant for: the right answer or one sentence.

The arguments are those of the examples in the docstrings, which are run once while every binding
of arguments notes the calls of checked functions. Each array, number and word of each call is then
exchanged in turn: labels in another order, labels of others, no dimension names, lists, NaN, words.
What comes back must be the same answer, or a ``ValueError`` of ours. A raw error of a library
below, or another number, is a failure. Run this file as a program for the table of outcomes.
"""

from __future__ import annotations

import contextlib
import doctest
import importlib
import inspect
import io
import os
import pkgutil
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Any
from unittest.mock import patch

import numpy as np
import xarray as xr

import groundborne
from groundborne._arguments import is_checked
from groundborne.bands import third_octaves

# Every checked function binds its arguments by the same code.
_CALL = inspect.getclosurevars(third_octaves).nonlocals["compared"].__code__
_PACKAGE = groundborne.__path__[0]
_CALLS_EACH = 2
_COLLECTED = (inspect.Parameter.VAR_KEYWORD, inspect.Parameter.VAR_POSITIONAL)
_DEAR = 0.3  # seconds; of a dearer call each argument is exchanged in fewer ways
_MEANT = {
    ("envelope", "labels", "frequency short"): "asked for fewer bands",
    ("RoomLines.as_heard", "values", "frequency short"): "asked for fewer bands",
    ("stamp", "array", "NaN"): "labels what it is given and computes nothing",
    ("judge_events", "record", "NaN"): "a drop-out: its event is left out and says so",
    ("stage_movement", "load", "stage reversed"): "stages follow one another",
    ("check_release", "movement", "step reversed"): "steps follow one another",
}
"""Exchanges after which another answer is right, with the reason."""


@dataclass(frozen=True, eq=False)
class Call:
    """A call that an example made."""

    where: str
    function: Any
    arguments: Mapping[str, Any]
    signature: inspect.Signature

    def repeat(self, **changes: Any) -> Any:
        given = self.signature.bind_partial()
        given.arguments = {**self.arguments, **changes}
        return self.function(*given.args, **given.kwargs)


def modules() -> list[Any]:
    names = (m.name for m in pkgutil.walk_packages(groundborne.__path__, "groundborne."))
    return [importlib.import_module(n) for n in names if not n.endswith("__main__")]


def wrappers() -> dict[Any, Any]:
    """Checked functions and methods by the bare function inside."""
    found: dict[Any, Any] = {}
    for module in modules():
        for thing in vars(module).values():
            members = vars(thing).values() if inspect.isclass(thing) else (thing,)
            for member in members:
                for name in ("", "__func__", "fget", "func"):
                    inner = getattr(member, name, None) if name else member
                    if inspect.isfunction(inner) and is_checked(inner):
                        found[inner.__wrapped__] = inner
    return found


@cache
def recorded() -> tuple[Call, ...]:
    """Calls of checked functions that the examples of all docstrings make."""
    found: dict[str, list[Call]] = defaultdict(list)
    known = wrappers()

    bound = inspect.Signature.bind

    def bind(self: inspect.Signature, /, *args: Any, **kwargs: Any) -> inspect.BoundArguments:
        note(sys._getframe(1))
        return bound(self, *args, **kwargs)

    def note(frame: Any) -> None:
        if frame.f_code is not _CALL:
            return
        held = frame.f_locals
        where, bare = held["where"], held["function"]
        if len(found[where]) >= _CALLS_EACH or bare not in known:
            return
        with contextlib.suppress(TypeError):
            signature = held["signature"]
            given = dict(bound(signature, *held["args"], **held["kwargs"]).arguments)
            function = known[bare]
            if bare.__name__ == "__init__":
                function = type(given.pop("self"))
                signature = inspect.signature(function)
            found[where].append(Call(where, function, given, signature))

    finder, runner = doctest.DocTestFinder(), doctest.DocTestRunner(verbose=False)
    with (
        warnings.catch_warnings(),
        contextlib.redirect_stdout(io.StringIO()),
        patch.object(inspect.Signature, "bind", bind),
    ):
        warnings.simplefilter("ignore")
        for module in modules():
            for test in finder.find(module, module.__name__):
                if test.examples:
                    runner.run(test, clear_globs=False)
    return tuple(call for calls in found.values() for call in calls)


# -- What an argument is exchanged for ---------------------------------------------------------


def dims_elsewhere(call: Call, name: str) -> set[Any]:
    """Dimensions with labels that other arguments of the call carry too."""
    return {
        dim
        for other, value in call.arguments.items()
        if other != name
        for array in arrays(value)
        for dim in array.indexes
    }


def arrays(value: Any, depth: int = 0) -> Iterator[xr.DataArray]:
    if isinstance(value, xr.DataArray):
        yield value
    elif is_dataclass(value) and not isinstance(value, type) and depth < 2:
        for field in fields(value):
            yield from arrays(getattr(value, field.name, None), depth + 1)


def exchanges(call: Call, name: str, value: Any) -> Iterator[tuple[str, Any, str]]:
    """What to give instead, and what must come of it: ``same`` or ``refused``."""
    if isinstance(value, xr.DataArray) and value.dtype.kind in "fciu":
        for dim in value.dims:
            if dim in value.indexes and value.sizes[dim] > 1:
                yield f"{dim} reversed", value.isel({dim: slice(None, None, -1)}), "same"
                if dim in dims_elsewhere(call, name) and name != "frequency":
                    yield f"{dim} short", value.isel({dim: slice(None, -1)}), "refused"
                    labels = value[dim].values.astype(object)
                    labels[-1] = 7.77 if value[dim].dtype.kind == "f" else "nobody"
                    yield f"{dim} of others", value.assign_coords({dim: labels}), "refused"
                    twice = value.isel({dim: [*range(value.sizes[dim] - 1), 0]})
                    yield f"{dim} twice", twice, "refused"
        named = value.indexes.get("frequency")
        if value.ndim and (
            named is None or np.array_equal(named, value.values) or "freq" not in name
        ):
            # Of an axis that holds other numbers than its labels, a list tells only the numbers.
            yield "bare array", value.values, "refused"
            yield "list", value.values.tolist(), "refused"
            yield "words", value.astype(str), "refused"
        if value.dtype.kind in "fc" and value.size:
            holed = value.values.copy()
            holed.flat[0] = np.nan
            yield "NaN", xr.DataArray(holed, value.coords, value.dims, attrs=value.attrs), "refused"
    elif isinstance(value, (float, int)) and not isinstance(value, bool):
        yield "NaN", float("nan"), "refused"
        yield "bare array", np.array([float(value)] * 2), "refused"
        yield "list", [value, value], "refused"
    elif not isinstance(value, (str, type(None), np.ndarray, list)):
        yield "a number", 3.25, "refused"
    if not isinstance(value, str):
        yield "a word", "nonsense", "refused"
    yield "another kind", object(), "refused"


# -- What came of it ---------------------------------------------------------------------------


def same(first: Any, second: Any) -> bool:
    """Whether two answers agree, whatever the order of their labels."""
    if isinstance(first, xr.DataArray) and isinstance(second, (np.ndarray, xr.DataArray)):
        bare = isinstance(second, np.ndarray) or not first.indexes
        if bare and first.ndim < 2 and np.shape(first) == np.shape(second):
            return bool(np.allclose(first, second))
        if isinstance(second, np.ndarray):
            return False
    if isinstance(first, (xr.DataArray, xr.Dataset)):
        if type(first) is not type(second) or set(first.dims) != set(second.dims):
            return False
        try:
            order = {d: first[d].values for d in first.dims if d in first.indexes}
            order = {d: labels for d, labels in order.items() if d in second.indexes}
            second = second.sel(order)
            if isinstance(first, xr.Dataset):
                return set(first) == set(second) and all(
                    same(first[v].drop_attrs(), second[v].drop_attrs()) for v in first
                )
            odd = set(first.coords) ^ set(second.coords)  # a list makes an axis with labels
            first, second = (x.drop_vars(odd & set(x.coords)) for x in (first, second))
            xr.testing.assert_allclose(first, second.transpose(*first.dims), rtol=1e-9)
        except (AssertionError, KeyError, ValueError, TypeError):
            return False
        return True
    if isinstance(first, (tuple, list)):
        return len(first) == len(second) and all(map(same, first, second))
    if is_dataclass(first) and not isinstance(first, type):
        return type(first) is type(second) and all(
            same(getattr(first, f.name), getattr(second, f.name)) for f in fields(first)
        )
    if isinstance(first, Mapping):
        return first.keys() == second.keys() and all(same(first[k], second[k]) for k in first)
    if isinstance(first, (float, np.floating, np.ndarray)):
        one = isinstance(first, (float, np.floating))  # a list of the same twice, twice the answer
        fits = one or np.shape(first) == np.shape(second)
        return fits and bool(np.allclose(first, second))
    try:
        return bool(first == second) or type(first) is type(second)
    except (ValueError, TypeError):
        return type(first) is type(second)


def outcome(call: Call, name: str, value: Any, wanted: str, expected: Any) -> tuple[str, str]:
    """``same``, ``sentence``, ``raw`` or ``silent``, and what was said."""
    try:
        found = call.repeat(**{name: value})
    except ValueError as error:
        last = traceback.extract_tb(error.__traceback__)[-1].filename
        text = f"{type(error).__name__}: {error}"
        return ("sentence" if last.startswith(_PACKAGE) else "raw"), text
    except Exception as error:
        return "raw", f"{type(error).__name__}: {error}"
    if wanted == "refused" and isinstance(value, (xr.DataArray, float)) and has_nan(value):
        return "silent", "NaN passed"
    return ("same", "") if same(expected, found) else ("silent", "another answer")


def has_nan(value: Any) -> bool:
    data = np.asarray(value)
    return data.dtype.kind in "fc" and bool(np.isnan(data).any())


def walk() -> Iterator[tuple[str, str, str, str, str]]:
    """Callable, argument, exchange, outcome and sentence of every try."""
    with warnings.catch_warnings(), tempfile.TemporaryDirectory() as empty:
        warnings.simplefilter("ignore")
        here = os.getcwd()
        calls = recorded()
        os.chdir(empty)
        try:
            for call in calls:
                begin = time.perf_counter()
                try:
                    expected = call.repeat()
                except Exception:
                    continue  # the example shows an error
                dear = time.perf_counter() - begin > _DEAR
                for name, value in call.arguments.items():
                    kind = call.signature.parameters[name].kind
                    if name in ("self", "cls") or kind in (
                        inspect.Parameter.VAR_KEYWORD,
                        inspect.Parameter.VAR_POSITIONAL,
                    ):
                        continue
                    tries = list(exchanges(call, name, value))
                    for what, instead, wanted in tries[:2] if dear else tries:
                        found, said = outcome(call, name, instead, wanted, expected)
                        yield call.where, name, what, found, said
        finally:
            os.chdir(here)


def public() -> Iterator[tuple[str, Any]]:
    names = (m.name for m in pkgutil.iter_modules(groundborne.__path__, "groundborne."))
    for name in names:
        module = importlib.import_module(name) if "._" not in name else None
        for attribute in getattr(module, "__all__", ()):
            thing = getattr(module, attribute)
            if inspect.isfunction(thing) or (inspect.isclass(thing) and is_dataclass(thing)):
                yield f"{name}.{attribute}", thing


def test_every_public_callable_is_checked() -> None:
    found = dict(public())
    assert len(found) > 250
    assert [name for name, thing in found.items() if not is_checked(thing)] == []


def test_a_wrong_argument_gives_the_right_answer_or_a_sentence() -> None:
    tried = list(walk())
    bad = [row for row in tried if row[3] in ("raw", "silent") and row[:3] not in _MEANT]
    counts = Counter(row[3] for row in tried)
    assert not bad, f"{len(bad)} of {len(tried)} ({dict(counts)}):\n" + "\n".join(
        map(str, bad[:40])
    )
    assert len({row[0] for row in tried}) > 250, "callables that the examples reach"
    assert counts["sentence"] > 2000
    assert counts["same"] > 50


if __name__ == "__main__":
    rows = list(walk())
    for row in rows:
        if row[3] in ("raw", "silent"):
            print(*row, sep=" | ")
    print(len({row[0] for row in rows}), "callables,", dict(Counter(row[3] for row in rows)))
