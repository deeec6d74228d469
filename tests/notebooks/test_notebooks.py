"""Notebooks run from a clean kernel and say then what is committed; the comparison notices."""

from __future__ import annotations

import re
from pathlib import Path

import nbformat
import pytest
from execution import (
    FIGURE,
    FOLDER,
    MEASURED,
    MEASURED_SETS,
    NOT_HERE,
    NOTEBOOKS,
    _figure_differs,
    differences,
    execute,
)
from figure_record import record
from matplotlib.figure import Figure
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output
from readme_figure import record_now, record_of

LARGEST = 1_000_000
"""Bytes of one committed notebook; images are meant for a page, not for a poster."""


def named(files):
    return pytest.mark.parametrize("file", files, ids=lambda f: f.stem)


def test_there_are_notebooks() -> None:
    assert len(NOTEBOOKS) >= 5


@named(NOTEBOOKS)
def test_is_committed_executed_and_small(file: Path) -> None:
    notebook = nbformat.read(file, as_version=4)
    code = [c for c in notebook.cells if c.cell_type == "code"]
    assert [c.execution_count for c in code] == list(range(1, len(code) + 1))
    pictures = [o for c in code for o in c.outputs if "image/png" in o.get("data", {})]
    assert pictures
    assert all(FIGURE in o.data for o in pictures)
    assert not any(o.output_type == "error" for c in code for o in c.outputs)
    assert file.stat().st_size < LARGEST


@named(NOTEBOOKS)
def test_prose_states_no_quantity(file: Path) -> None:
    """A number with a unit is said by a cell of code, which takes it from what was calculated."""
    unit = r"(?:dB|Hz|mm|m|m²|kN|MN|kg|t|s|min|h|%|NR|trains|rooms|options)"
    number = re.compile(rf"(?:\d\s?{unit}(?![\w²])|\bNR \d)")
    notebook = nbformat.read(file, as_version=4)
    prose = [(c.id, c.source) for c in notebook.cells if c.cell_type == "markdown"]
    assert [(at, m.group()) for at, text in prose for m in number.finditer(text)] == []


@pytest.mark.filterwarnings("ignore")  # the notebook client's own event-loop housekeeping
@named(NOTEBOOKS)
def test_a_fresh_run_says_what_is_committed(file: Path) -> None:
    committed = nbformat.read(file, as_version=4)
    found = differences(committed, execute(committed), measured=MEASURED_SETS.is_dir())
    assert not found, "\n".join([*found, "renew it: python tests/notebooks/renew_notebooks.py"])


def test_the_figure_of_the_readme_is_that_of_the_study() -> None:
    file = FOLDER / "figures" / "options.png"
    assert list(_figure_differs(record_of(file), record_now(), "figure")) == []


# ---------------------------------------------------------------- the comparison itself


def curve(y=(1.0, 4.0, 9.0), *, title="margins", label="springs"):
    ax = (figure := Figure()).subplots()
    ax.plot([1, 2, 3], y, label=label)
    ax.set(title=title, xlabel="f, Hz")
    ax.legend()
    return figure


def notebook(*outputs, tags=()):
    cell = new_code_cell("x", outputs=list(outputs), metadata={"tags": list(tags)}, id="one")
    return new_notebook(cells=[new_markdown_cell("words", id="zero"), cell])


def shown_figure(figure):
    return new_output("display_data", {"image/png": "...", FIGURE: record(figure)})


def said(text, name="stdout"):
    return new_output("stream", name=name, text=text)


def table(cell):
    return new_output(
        "execute_result", {"text/html": f"<table><tr><th>a</th><td>{cell}</td></tr></table>"}
    )


def differ(old, new, *, tags=(), measured=True):
    return differences(notebook(*old, tags=tags), notebook(*new, tags=tags), measured=measured)


SAME = [
    ([said("1.0\n")], [said("1.0\n")]),
    ([said("a\n"), said("b\n")], [said("a\nb\n")]),  # a stream that was cut elsewhere
    ([said("at 0x7f00aa11bb22 of /home/a/x.py\n")], [said("at 0x7f00cc33dd44 of /tmp/x.py\n")]),
    ([table("1.0")], [table(" 1.0 ")]),
    ([shown_figure(curve())], [shown_figure(curve((1.0, 4.0, 9.0 + 1e-9)))]),
]

OTHER = {
    "a number": ([said("margin 1.0 dB")], [said("margin 1.1 dB")]),
    "a warning": ([], [said("careful", "stderr")]),
    "a cell of a table": ([table("1.0")], [table("1.1")]),
    "an error": ([], [new_output("error", ename="ValueError", evalue="no", traceback=[])]),
    "a text": (
        [new_output("display_data", {"text/markdown": "5 rooms"})],
        [new_output("display_data", {"text/markdown": "6 rooms"})],
    ),
    "a missing figure": ([shown_figure(curve())], []),
    "a figure without record": (
        [new_output("display_data", {"image/png": "..."})],
        [shown_figure(curve())],
    ),
    "a curve": ([shown_figure(curve())], [shown_figure(curve((1.0, 4.01, 9.0)))]),
    "points of a curve": ([shown_figure(curve())], [shown_figure(Figure())]),
    "a title": ([shown_figure(curve())], [shown_figure(curve(title="levels"))]),
    "a legend": ([shown_figure(curve())], [shown_figure(curve(label="rubber"))]),
}


@pytest.mark.parametrize(("old", "new"), SAME)
def test_the_comparison_passes_over_what_says_nothing(old, new):
    assert differ(old, new) == []


@pytest.mark.parametrize("what", OTHER)
def test_the_comparison_notices(what):
    found = differ(*OTHER[what])
    assert found
    assert all(text.startswith("cell one: ") for text in found)


def test_cells_of_a_measured_set_are_compared_where_it_is():
    committed, other, not_here = [said("ev01: 3 s")], [said("ev01: 4 s")], [said(NOT_HERE + "\n")]
    for measured in (True, False):
        assert bool(differ(committed, other, tags=[MEASURED], measured=measured))
    assert differ(committed, committed, tags=[MEASURED], measured=True) == []
    assert differ(committed, not_here, tags=[MEASURED], measured=False) == []
    assert differ(committed, not_here, tags=[MEASURED], measured=True)
    assert differ(committed, not_here, measured=False)


def test_every_kind_of_artist_enters_the_record():
    import numpy as np

    def drawn(**change):
        value = {"bar": 2.0, "area": 1.0, "point": 1.0, "mesh": 1.0, "note": "a"} | change
        ax = (figure := Figure()).subplots()
        ax.bar([0, 1], [1.0, value["bar"]])
        ax.fill_between([0, 1], [0, 0], [1, value["area"]])
        ax.scatter([0, 1], [0, value["point"]])
        ax.pcolormesh(np.array([[0.0, value["mesh"]], [2.0, 3.0]]))
        ax.text(0, 0, value["note"])
        ax.set_yticks([0, 1], ["low", value["note"]])
        return record(figure)

    assert list(_figure_differs(drawn(), drawn(), "figure")) == []
    for change in ({"bar": 2.1}, {"area": 1.1}, {"point": 1.1}, {"mesh": 1.1}, {"note": "b"}):
        assert list(_figure_differs(drawn(), drawn(**change), "figure")), change
