"""Odd arguments of public functions and classes, in the calls that the examples make."""

from __future__ import annotations

import inspect
import sys
import warnings
from dataclasses import fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import oddities
import pandas as pd
import xarray as xr
from outcomes import Trial, not_finite
from study_inputs import wrong_result

sys.path.append(str(Path(__file__).parents[1] / "properties"))
from test_every_callable import Call, recorded

_DEAR = ("write_report", "choose_packs", "passbys", "columns", "stages", "order_of_release")
"""A call of these takes tenths of a second or more; they are drawn less often."""


@cache
def calls() -> tuple[list[Call], list[float]]:
    """The calls of the examples, and how often each is drawn."""
    found = [c for c in map(_with_whole_paths, recorded()) if _free(c)]
    return found, [0.1 if call.where in _DEAR else 1.0 for call in found]


_TYPES = [str, object, bool, complex, "float16", "int8"]


@cache
def _answers(call: Call) -> bool:
    """Whether the example shows an answer and not an error, and can be repeated."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            call.repeat()
    except Exception:
        return False
    return True


def _with_whole_paths(call: Call) -> Call:
    """The inputs are tried in another folder than the examples."""
    whole = {
        n: type(v)(Path(v).resolve()) if isinstance(v, str | Path) and v and Path(v).exists() else v
        for n, v in call.arguments.items()
    }
    return replace(call, arguments=whole)


def _free(call: Call) -> list[str]:
    """Arguments that can be exchanged."""
    kinds = {n: p.kind for n, p in call.signature.parameters.items()}
    return [
        n for n in call.arguments
        if n not in ("self", "cls") and kinds[n] is not inspect.Parameter.VAR_KEYWORD
    ]  # fmt: skip


def arguments(rng: Random, place: Path) -> Trial:
    """One call with one or two odd arguments."""
    while not _answers(call := rng.choices(*calls())[0]):
        pass
    names = rng.sample(_free(call), k=min(len(_free(call)), rng.choice([1, 1, 1, 2])))
    changes = {name: odd(rng, call.arguments[name]) for name in names}
    for name in names:
        kind = call.signature.parameters[name].kind
        if kind is inspect.Parameter.VAR_POSITIONAL and not isinstance(changes[name], tuple):
            changes[name] = (changes[name],)
    words = tuple(
        w for n, v in changes.items()
        for w in (n, n.removesuffix("s"), *_labels(call.arguments[n]), *_labels(v), *_printed(v))
    )  # fmt: skip
    others = tuple(
        w for n in call.signature.parameters if len(n) > 1 for w in (n, n.removesuffix("s"))
    )
    inner = call.function.__init__ if inspect.isclass(call.function) else call.function
    rules = inspect.getclosurevars(inner).nonlocals.get("rules")
    infinite, nan = ("return" in getattr(rules, n, ()) for n in ("infinite", "nan"))

    def wrong(found: Any) -> str:
        if isinstance(found, xr.Dataset) and "applies" in found:
            return wrong_result(found)
        return not_finite(found, infinite=infinite, nan=nan)

    what = f"{call.where}({', '.join(f'{n}={_short(v)}' for n, v in changes.items())})"
    return Trial(what, lambda: call.repeat(**changes), words, wrong, others, quiet=False)


def _labels(value: Any) -> tuple[str, ...]:
    """Dimensions, variables and fields that a sentence may name in place of the argument."""
    if isinstance(value, xr.DataArray):
        return (*map(str, value.dims), *map(str, value.coords))
    if isinstance(value, xr.Dataset):
        return tuple(map(str, value.variables))
    if is_dataclass(value) and not isinstance(value, type):
        return tuple(f.name for f in fields(value))
    return ()


def _printed(value: Any) -> tuple[str, ...]:
    """How a sentence may give the odd value itself: a word, a number, or what an array holds."""
    if isinstance(value, str):
        return (repr(value), value) if len(value.strip()) > 1 else (repr(value), f"{value}:")
    if isinstance(value, (xr.DataArray, np.ndarray)):
        return (str(value.dtype),)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        shown = "" if abs(value) > 10**308 else f"{value:g}"
        return (shown,) if len(shown) > 2 else ()
    if isinstance(value, dict):
        return tuple(w for k in value for w in _printed(k))
    if isinstance(value, (tuple, list)):
        return tuple(w for v in value for w in (*_printed(v), *_printed(getattr(v, "name", None))))
    return ()


def _short(value: Any) -> str:
    return " ".join(repr(value).split())[:60]


def odd(rng: Random, value: Any) -> Any:
    """Something else in place of an argument: often of its kind, at times of any."""
    if rng.random() < 0.12:
        return rng.choice(
            [None, True, object(), (), [], {}, "", b"", 1j, np.float64(np.nan), [np.nan], {"a": 1},
             np.array([]), np.array(["a"]), xr.DataArray(np.zeros((0,)), dims="frequency"),
             xr.DataArray([1.0, 2.0], dims="nobody"), xr.Dataset(), pd.Series([1.0]), len, 10**400]
        )  # fmt: skip
    if isinstance(value, xr.DataArray):
        return _odd_array(rng, value)
    if isinstance(value, xr.Dataset):
        return _odd_dataset(rng, value)
    if isinstance(value, bool):
        return rng.choice([not value, 2, "yes", None])
    if isinstance(value, (int, float, np.number)):
        found = oddities.number(rng, float(value))
        return int(found) if isinstance(value, int) and abs(found) < 1e18 else found
    if isinstance(value, str):
        return oddities.text(rng).replace("/", "_")
    if isinstance(value, (tuple, list)) and value:
        return _odd_list(rng, value)
    if isinstance(value, dict) and value:
        return _odd_mapping(rng, value)
    return oddities.value(rng, value)


def _odd_array(rng: Random, value: xr.DataArray) -> Any:
    kind = rng.choice(["number", "number", "all", "labels", "cut", "dims", "type", "bare", "swap"])
    if kind in ("number", "all") and value.dtype.kind in "fciu" and value.size:
        data = value.values.astype(complex if value.dtype.kind == "c" else float)
        if kind == "all":
            data[...] = oddities.number(rng, float(np.abs(data.flat[0])))
        else:
            at = rng.randrange(data.size)
            data.flat[at] = oddities.number(rng, float(np.abs(data.flat[at])))
        return value.copy(data=data)
    if not value.dims:
        return oddities.value(rng, 1.0)
    dim = rng.choice(list(value.dims))
    if kind == "labels" and dim in value.indexes:
        labels = value[dim].values.astype(object)
        labels[rng.randrange(len(labels))] = oddities.value(rng, labels[0])
        if not all(isinstance(v, (str, int, float, pd.Timestamp)) for v in labels):
            labels = np.array([str(v) for v in labels], dtype=object)
        return value.assign_coords({dim: labels})
    if kind == "cut":
        keep = sorted(rng.sample(range(value.sizes[dim]), k=rng.randrange(value.sizes[dim] + 1)))
        return value.isel({dim: keep})
    if kind == "dims":
        other = rng.choice(["room", "passby", "nobody", "option"])
        return value.rename({dim: other}) if other not in (*value.dims, *value.coords) else value[0]
    if kind == "type":
        kinds = [str, object] if value.dtype.kind in "OU" else _TYPES
        return value.astype(rng.choice(kinds))
    if kind == "bare":
        return rng.choice([value.values, value.values.tolist(), value.to_pandas])
    return value.isel({dim: slice(None, None, -1)}).drop_vars(rng.choice([[], list(value.coords)]))


def _odd_dataset(rng: Random, value: xr.Dataset) -> Any:
    if not value.variables:
        return oddities.value(rng, 1.0)
    name = rng.choice([*value.variables])
    if rng.random() < 0.4 or name in value.indexes:
        return value.drop_vars(name)
    found = _odd_array(rng, value[name])
    try:
        return value.assign({name: found if isinstance(found, xr.DataArray) else 1.0})
    except ValueError:  # labels that the rest does not have
        return value.drop_vars(name)


def _odd_list(rng: Random, value: Any) -> Any:
    items, at = list(value), rng.randrange(len(value))
    kind = rng.choice(["item", "item", "empty", "short", "double", "order"])
    if kind == "item":
        items[at] = odd(rng, items[at])
    elif kind == "empty":
        items = []
    elif kind == "short":
        del items[at]
    elif kind == "double":
        items.append(items[at])
    else:
        rng.shuffle(items)
    return tuple(items) if isinstance(value, tuple) else items


def _odd_mapping(rng: Random, value: dict[Any, Any]) -> Any:
    changed, key = dict(value), rng.choice(list(value))
    kind = rng.choice(["item", "item", "empty", "short", "key"])
    if kind == "item":
        changed[key] = odd(rng, changed[key])
    elif kind == "empty":
        changed = {}
    elif kind == "short":
        del changed[key]
    else:
        changed[oddities.text(rng)] = changed.pop(key)
    return changed
