"""Every notebook runs from a clean kernel, and is committed executed with small images."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
LARGEST = 1_000_000
"""Bytes of one committed notebook; images are meant for a page, not for a poster."""


def test_there_are_notebooks() -> None:
    assert NOTEBOOKS


@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda f: f.stem)
def test_is_committed_executed_and_small(file: Path) -> None:
    notebook = nbformat.read(file, as_version=4)
    code = [c for c in notebook.cells if c.cell_type == "code"]
    assert all(c.execution_count for c in code)
    assert any("image/png" in o.get("data", {}) for c in code for o in c.outputs)
    assert not any(o.output_type == "error" for c in code for o in c.outputs)
    assert file.stat().st_size < LARGEST


@pytest.mark.filterwarnings("ignore")  # the notebook client's own event-loop housekeeping
@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda f: f.stem)
def test_runs_afresh(file: Path) -> None:
    notebook = nbformat.read(file, as_version=4)
    client = NotebookClient(
        notebook, timeout=240, kernel_name="python3", resources={"metadata": {"path": FOLDER}}
    )
    client.execute()
    errors = [o for c in notebook.cells for o in c.get("outputs", []) if o.output_type == "error"]
    assert not errors
