"""Running notebooks from a clean kernel, and telling what they say from what is committed."""

from __future__ import annotations

import copy
import difflib
import html
import math
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
from nbclient import NotebookClient

FOLDER = Path(__file__).parents[2] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
MEASURED_SETS = FOLDER.parents[1] / "shared" / "data" / "third_party"
"""Measured sets kept beside some copies of the repository."""
MEASURED = "measured"
"""Tag of cells that read a measured set; committed with what they say where the set is there."""
NOT_HERE = "The measured set is not beside this copy; nothing is shown."
"""What such a cell says where the set is not there."""
FIGURE = "application/vnd.groundborne.figure+json"

_RECORD = Path(__file__).with_name("figure_record.py")
_TOLERANCE = 1e-4
"""Of the range and size of a curve: what points may differ without being another curve."""


def execute(notebook: Any) -> Any:
    """The same notebook with the outputs of a fresh run; its figures carry their records."""
    fresh = copy.deepcopy(notebook)
    hook = nbformat.v4.new_code_cell(
        f"exec(compile(open({str(_RECORD)!r}).read(), 'figure_record', 'exec'), "
        "{'__name__': 'kernel'})"
    )
    for cell in fresh.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    fresh.cells.insert(0, hook)
    client = NotebookClient(
        fresh,
        timeout=600,
        kernel_name="python3",
        record_timing=False,
        resources={"metadata": {"path": FOLDER}},
    )
    # Pictures are shown whatever the backend of whoever runs this.
    client.execute(env={**os.environ, "MPLBACKEND": "module://matplotlib_inline.backend_inline"})
    del fresh.cells[0]
    for cell in fresh.cells:
        if cell.cell_type == "code":
            cell.execution_count -= 1  # the hook counted
            for output in cell.outputs:
                if "execution_count" in output:
                    output.execution_count -= 1
    return fresh


def differences(committed: Any, fresh: Any, *, measured: bool) -> list[str]:
    """Every cell whose outputs differ, in words; `measured`: the measured sets are there."""
    found = []
    for old, new in zip(committed.cells, fresh.cells, strict=True):
        if old.cell_type != "code":
            continue
        if MEASURED in old.metadata.get("tags", []) and not measured:
            said = "".join(o.get("text", "") for o in new.outputs).strip()
            if said != NOT_HERE:
                found.append(f"cell {old.id}: without the measured set it says {said!r}")
            continue
        found += [f"cell {old.id}: {text}" for text in _differ(old.outputs, new.outputs)]
    return found


def _differ(committed: list[Any], fresh: list[Any]) -> Iterator[str]:
    old, new = shown(committed), shown(fresh)
    kinds = [[kind for kind, _ in part] for part in (old, new)]
    if kinds[0] != kinds[1]:
        yield f"outputs are {kinds[1]}, committed are {kinds[0]}"
        return
    for (kind, before), (_, after) in zip(old, new, strict=True):
        if kind == "figure":
            yield from _figure_differs(before, after, "figure")
        elif before != after:
            lines = difflib.unified_diff(
                before.splitlines(), after.splitlines(), "committed", "fresh", n=0, lineterm=""
            )
            yield f"{kind} differs:\n" + "\n".join(lines)


def shown(outputs: list[Any]) -> list[tuple[str, Any]]:
    """Outputs as kind and content: text as text, tables by their cells, figures by their records.

    Streams that follow each other are one: how a kernel cuts them says nothing.
    """
    found: list[tuple[str, Any]] = []
    for output in outputs:
        if output.output_type == "stream":
            kind = f"stream {output.name}"
            if found and found[-1][0] == kind:
                found[-1] = (kind, found[-1][1] + output.text)
            else:
                found.append((kind, output.text))
        elif output.output_type == "error":
            found.append(("error", f"{output.ename}: {output.evalue}"))
        else:
            found.append(_data(output.data))
    return [(k, _without_places(v) if isinstance(v, str) else v) for k, v in found]


def _data(data: Any) -> tuple[str, Any]:
    if "image/png" in data:
        return "figure", data.get(FIGURE)
    if "text/markdown" in data:
        return "text", data["text/markdown"]
    if "text/html" in data:
        return "table", _table_text(data["text/html"])
    return "text", data.get("text/plain", "")


def _table_text(markup: str) -> str:
    """One line for each row of a table, its cells apart."""
    body = re.sub(r"<style.*?</style>", "", markup, flags=re.S)
    rows = re.findall(r"<tr.*?>(.*?)</tr>", body, flags=re.S)
    cells = [re.findall(r"<t[hd].*?>(.*?)</t[hd]>", row, flags=re.S) for row in rows]
    return "\n".join(" | ".join(html.unescape(c.strip()) for c in row) for row in cells)


def _without_places(text: str) -> str:
    """Without addresses of objects and folders, which differ from run to run."""
    text = re.sub(r"0x[0-9a-f]{6,}", "0x", text)
    return re.sub(r"(?:/[\w.+-]+)+/(?=[\w.+-]+)", "/", text)


def _figure_differs(before: Any, after: Any, at: str) -> Iterator[str]:
    """Where two records differ: numbers by more than a curve may, all else exactly."""
    if isinstance(before, dict) and isinstance(after, dict) and before.keys() == after.keys():
        if "some" in before:
            yield from _curve_differs(before, after, at)
            return
        for key in before:
            yield from _figure_differs(before[key], after[key], f"{at}, {key}")
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for number, (one, other) in enumerate(zip(before, after, strict=True), start=1):
            yield from _figure_differs(one, other, f"{at} {number}")
    elif before != after:
        yield f"{at}: {str(after)[:80]!r}, committed is {str(before)[:80]!r}"


def _curve_differs(before: Any, after: Any, at: str) -> Iterator[str]:
    if before["count"] != after["count"]:
        yield f"{at}: {after['count'][0]} points, committed are {before['count'][0]}"
        return
    allowed = _TOLERANCE * ((before["rms"] or 0.0) + (before["range"] or 0.0)) + 1e-12
    pairs = [(before[k], after[k]) for k in ("mean", "rms", "range")]
    pairs += list(zip(before["some"], after["some"], strict=True))
    worst = max((_apart(*pair) for pair in pairs), default=0.0)
    if worst > allowed:
        yield f"{at}: another curve, by up to {worst:.3g}"


def _apart(one: float | None, other: float | None) -> float:
    if one is None or other is None:
        return 0.0 if one is other else math.inf
    return abs(one - other)
