"""Every row of the published files against the library."""

from __future__ import annotations

import importlib
import warnings
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import xarray as xr
from published_files import Row, read_all

from groundborne import bands, levels
from groundborne.citation import ValidityWarning
from groundborne.rating import PUBLISHED_LIMITS

FILES = read_all()
ROWS = [row for _, rows in FILES for row in rows]


def _resolve(dotted: str) -> Any:
    """Object by its dotted name below ``groundborne``."""
    module, rest = dotted.split(".", 1)
    found: Any = importlib.import_module(f"groundborne.{module}")
    for part in rest.split("."):
        found = getattr(found, part)
    return found


def _rim(sides: list[float], elements: list[int]) -> xr.Dataset:
    """Points round a rectangle, as many on each side as hold cubic elements to its line."""
    wide, deep = (
        np.linspace(0.0, side, 2 * count + 2) for side, count in zip(sides, elements, strict=True)
    )
    x = np.concatenate([wide, wide, 0 * deep[1:-1], 0 * deep[1:-1] + sides[0]])
    y = np.concatenate([0 * wide, 0 * wide + sides[1], deep[1:-1], deep[1:-1]])
    return xr.Dataset(
        {"x": ("support", x), "y": ("support", y)}, coords={"support": np.arange(x.size)}
    )


def _build(value: Any) -> Any:
    """Inputs as a file writes them: numbers, texts, or a table that says what to make of it."""
    if not isinstance(value, dict):
        return value
    match value:
        case {"make": name, **fields}:
            return _resolve(name)(**{key: _build(entry) for key, entry in fields.items()})
        case {"makes": entries}:
            return [_build(entry) for entry in entries]
        case {"mapping": entries}:
            return {key: _build(entry) for key, entry in entries.items()}
        case {"name": dotted}:
            return _resolve(dotted)
        case {"columns": values}:
            names = [f"C{i}" for i in range(1, len(values) + 1)]
            return xr.DataArray(values, coords={"column": names})
        case {"rim": axis, "sides": sides, "elements": elements}:
            return _rim(sides, elements)[axis]
        case {"points": points}:
            return xr.Dataset({axis: ("point", values) for axis, values in points.items()})
        case {"array": values}:
            return xr.DataArray(values, dims="value")
        case {"studies": values}:
            return xr.DataArray(values, dims="study")
        case {"change": values, "bands": labels}:
            return xr.DataArray(values, coords={"frequency": labels})
        case {"ratios": ratios, "band": band}:
            # Natural frequencies that put the centre of a band at the printed ratios.
            return xr.DataArray(bands.exact(band) / np.array(ratios), dims="floor_frequency")
        case {"labels": labels}:
            return bands.coordinate(labels)
        case {"hertz": hertz}:
            return xr.DataArray(hertz, coords={"frequency": hertz})
        case {"spectrum": values, "bands": labels, "quantity": quantity, "reference": reference}:
            level = xr.DataArray([float(v) for v in values], coords={"frequency": labels})
            return levels.stamp(level, quantity=quantity, reference=reference, long_name="level")
        case {"passbys": values, "quantity": quantity, "reference": reference}:
            level = xr.DataArray([float(v) for v in values], dims="passby")
            return levels.stamp(level, quantity=quantity, reference=reference, long_name="level")
    raise ValueError(f"no input is written {value!r}")


def _limit(row: Row) -> float:
    """Published limit of a use and condition, by the key of its citation."""
    wanted = row.inputs
    found = [
        entry.limit
        for entry in PUBLISHED_LIMITS
        if (entry.use, entry.metric, entry.condition, entry.citation.key)
        == (wanted["use"], wanted["metric"], wanted["condition"], wanted["key"])
    ]
    assert len(found) == 1, f"{row.identity}: {len(found)} entries match"
    return found[0]


def _evaluate(row: Row) -> Any:
    if row.kind == "limit":
        return _limit(row)
    target = _resolve(row.call)
    if row.kind == "constant":
        return target
    inputs = {key: _build(value) for key, value in row.inputs.items()}
    result = target(*(_build(value) for value in row.args), **inputs)
    if row.kind == "method":
        named = {key: _build(value) for key, value in row.member_inputs.items()}
        result = getattr(result, row.member)(*(_build(value) for value in row.at), **named)
    elif row.kind == "property":
        result = getattr(result, row.member)
    return result if row.item is None else result[row.item]


def _numbers(row: Row) -> np.ndarray:
    with warnings.catch_warnings():  # single bands are printed; what others may add is no matter
        warnings.simplefilter("ignore", ValidityWarning)
        values = np.ravel(np.asarray(_evaluate(row)))
    match row.convert:
        case "":
            return values / row.per
        case "loss":
            return -values
        case "attenuation":
            return -20 * np.log10(np.abs(values))
        case "real":
            return values.real / row.per
        case "absolute":
            return np.abs(values) / row.per
        case "inverse":
            return (1 / values).real / row.per
    raise ValueError(f"{row.identity}: convert is {row.convert!r}")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.identity)
def test_row(row: Row, record_property: Callable[[str, object], None]) -> None:
    row.require_meaning()
    got = _numbers(row)
    expected = np.array([float(text) for text in row.expected])
    assert got.shape == expected.shape
    off = np.abs(got - expected)
    # A value half-way between two prints may round either way.
    share = off / (np.array(row.tolerances()) + 1e-12)
    at = int(np.argmax(share))
    found = [row.origin.file, row.origin.mark, len(expected), float(share.max()), row.evidence]
    record_property("published", found)
    assert share[at] <= 1 + 1e-6, (
        f"{row.identity}, value {at}: {got[at]:.6g} against {row.expected[at]} {row.unit} "
        f"({row.origin.source}, {row.origin.locator})"
    )


def test_there_are_enough_rows_and_sources() -> None:
    """Counted without what was copied, recalled, or worked out beside the formulas."""
    printed = [row for row in ROWS if row.evidence == "printed"]
    assert len(printed) >= 100
    assert len({row.origin.source for row in printed}) >= 12


def test_row_names_differ() -> None:
    names = [row.identity for row in ROWS]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("expected", "unit", "tolerance"),
    [("2.5", "Hz", 0.6), ("0.0", "dB", 0.51), ("-39.4", "dB", 0.6), ("0", "1", 0.5)],
)
def test_a_vacuous_tolerance_is_refused(expected: str, unit: str, tolerance: float) -> None:
    loose = replace(
        ROWS[0], expected=(expected,), unit=unit, tolerance=tolerance, exact=False, reason="none"
    )
    with pytest.raises(ValueError, match="vacuous"):
        loose.require_meaning()


def test_a_loose_tolerance_needs_a_reason() -> None:
    loose = replace(ROWS[0], expected=("10.0",), unit="Hz", tolerance=0.1, exact=False, reason="")
    with pytest.raises(ValueError, match="no reason"):
        loose.require_meaning()
    replace(loose, reason="read off a chart").require_meaning()


def test_a_wrong_print_fails() -> None:
    row = next(r for r in ROWS if not r.exact and r.kind == "method")
    first = float(row.expected[0]) + 2.1 * max(row.tolerances())
    wrong = replace(
        row,
        expected=(f"{first:.6f}", *row.expected[1:]),
        tolerance=max(row.tolerances()),
        reason="the print is wrong on purpose",
    )
    test_row(row, lambda *_: None)
    with pytest.raises(AssertionError):
        test_row(wrong, lambda *_: None)
