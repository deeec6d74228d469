"""What a report calls its numbers, and how it prints them."""

from __future__ import annotations

import io
import itertools
import re
import warnings
from pathlib import Path

import openpyxl
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

import groundborne as gb
from groundborne import plot
from groundborne.plot.room_cells import Cell as RoomCell, Shown, draw_cells, write_in_cells
from groundborne.report.document import document_of
from groundborne.report.facts import Facts
from groundborne.report.figures import pictures
from groundborne.report.option_figures import _does_best, _percent
from groundborne.report.sections.decides import MOST_ROOMS, decides_section
from groundborne.report.sections.options import options_section
from groundborne.report.sheets import workbook_writer
from groundborne.report.tree import Code, Listing
from groundborne.report.words import evaluated
from groundborne.report.workbook import workbook_bytes
from groundborne.study.change_words import keys_in_words
from groundborne.study.phrases import gain_words

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines"


@pytest.fixture(scope="module")
def sure():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.UnusualValueWarning)
        warnings.simplefilter("ignore", gb.ValidityWarning)
        study = gb.read_study(SMALL / "study.toml")
        return study, study.how_sure(samples=1024)


@pytest.fixture(scope="module")
def facts(sure):
    study, result = sure
    return Facts(study=study, result=result)


@pytest.fixture(scope="module")
def book(facts):
    if workbook_writer() is None:
        pytest.skip("xlsxwriter is not installed")
    return openpyxl.load_workbook(io.BytesIO(workbook_bytes(facts)))


def test_a_workbook_tells_medians_from_what_is_without_errors(book):
    heads = {c.value for c in book["Assessment"][3]}
    assert {"Rating without errors", "Margin without errors"} <= heads
    assert {"Median rating", "Median margin"} <= heads
    assert not {"Rating", "Margin"} & heads
    first = " ".join(str(row[1].value) for row in book["Read first"].iter_rows())
    assert "those without errors" in first


def test_sheets_that_are_read_are_one_page_wide(book):
    for name in ("Options", "Assessment"):
        assert not book[name].print_title_cols, name
        assert int(book[name].page_setup.fitToWidth or 1) == 1


PROSE_KEY = re.compile(r"\[(?:path|isolation|structure|inspection)[.\]]|\b[a-z]+(?:_[a-z0-9]+)+\b")


def prose(document) -> str:
    """What a document says outside its annex of inputs, without names of files."""
    found = []

    def walk(part):
        if isinstance(part, Code):
            return
        if isinstance(part, str):
            found.append(part)
        elif isinstance(part, tuple | list):
            for each in part:
                walk(each)
        elif hasattr(part, "__dataclass_fields__"):
            for name in part.__dataclass_fields__:
                if name not in ("key", "table", "row", "column", "kind", "answer", "align", "slug"):
                    walk(getattr(part, name))

    walk(document.front)
    walk(document.body)
    walk([of for of in document.annexes if of.key != "annex-inputs"])
    return "\n".join(found)


@pytest.mark.parametrize("demo", ["music_school", "tower", "assembly_hall"])
def test_prose_of_a_report_holds_no_keys_and_no_typewriter_minus(demo, data_folder):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(data_folder / demo / "study.toml")
        if not study.options:
            study = study.with_options([gb.Option(name="as built")])
        study = study.with_options(study.options[:2])
        facts = Facts(study=study, result=study.evaluate(band_levels=False))
    text = prose(document_of(facts, [], alone=False))
    text = text.replace("\n", " \n ")
    assert not re.findall(r"(?:^|(?<=[\s(]))-\d.{0,20}", text)
    assert not re.findall(r"[-−]0\.0+(?!\d).{0,20}", text)
    # Names that the study gives, and a symbol of a formula.
    names = {t for p in study.periods.values() for t in p.trains}
    names |= {"a_w", "walls_measured"}
    assert set(PROSE_KEY.findall(text)) <= names


def test_a_budget_has_sources_in_rows_and_few_rooms_in_columns(facts):
    section = decides_section(facts, ())
    budget = next(p for p in section.parts if getattr(p, "key", "") == "budget")
    names = [row[0].runs[0] for row in budget.rows]
    assert "Trains" in names
    assert len(budget.columns) <= 1 + MOST_ROOMS
    given = facts.frames["error_budget"].set_index(["rating_key", "source_of_error"])
    for column, row in enumerate(facts.critical[: len(budget.columns) - 1], start=1):
        number = budget.rows[names.index("Trains")][column].runs[0]
        value = given.loc[(row["key"], "trains"), "standard_deviation"]
        assert number.value == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("structure.foundation.shear_wave_speed_m_s", "shear-wave speed under the foundation"),
        ("weight 0.4; path.coupling.model = none",
         "weight 0.4; model of the step 'coupling' of the path: none"),
        ("as in rooms.csv, 0.5 dB", "as in rooms.csv, 0.5 dB"),
        ("trains", "trains"),
    ],
)  # fmt: skip
def test_addresses_of_keys_are_told_in_words(text, told):
    assert keys_in_words(text) == told


@pytest.mark.parametrize("beside", [-17.3, -0.9, -0.01, 0.02, 3.0])
@pytest.mark.parametrize("alone", [-2.0, -0.0, 4.0])
def test_what_mounts_gain_is_never_below_nothing(beside, alone):
    words = gain_words(beside, alone)
    assert "-" not in words
    assert "0.0" not in words
    assert words.startswith("lose" if beside < -0.05 else "gain")


def test_of_one_option_nothing_is_compared_and_no_mounts_are_named(facts):
    study = facts.study.with_options([gb.Option(name="as built")])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        alone = Facts(study=study, result=study.evaluate(band_levels=False))
    section = options_section(alone, ())
    assert "compared" not in section.title
    listing = next(p for p in section.parts if isinstance(p, Listing))
    assert "compared" not in listing.caption
    assert "mounts" not in listing.caption
    told = [p.caption for p in pictures(alone) if p.slug == "building-section"]
    assert all("isolation plane" not in caption for caption in told)


def test_what_prints_alike_counts_alike():
    """Two options below 1 %: the dearer one is not efficient for a few samples more."""
    assert _percent(0.0) == _percent(0.004) == 0.0
    assert _percent(0.996) == 1.0
    assert _percent(0.46) == 0.46


def test_options_that_do_equally_well_are_all_named(facts):
    criterion = facts.criteria[0]
    table = facts.table.copy()
    here = table["criterion"] == criterion
    table.loc[here, ["margin_median", "margin", "probability"]] = [10.0, 10.0, 1.0]
    other = Facts(study=facts.study, result=facts.result)
    object.__setattr__(other, "table", table)
    told = _does_best(other, criterion)
    assert all(name in told for name in facts.options)


def test_ranges_of_margins_are_told_apart_without_transparency(facts):
    ax = plot.margins(facts.median, criterion=facts.criteria[0], ax=Figure().subplots())
    lines = [c for c in ax.collections if type(c).__name__ == "LineCollection"]
    assert lines
    assert all(line.get_alpha() is None for line in lines)
    thin = [line for line in lines if line.get_linewidth()[0] < 1]
    table = facts.table[facts.table["criterion"] == facts.criteria[0]]
    assert len(thin) == table["group"].nunique()


@pytest.mark.parametrize("beside", [True, False])
def test_rooms_too_small_for_their_words_have_them_beside(beside):
    ax = Figure(figsize=(5.0, 4.0)).subplots()
    ax.set(xlim=(0, 20), ylim=(0, 20))
    alike = {"answer": "met", "number": "52 %", "treated": False}
    cells = [RoomCell(Shown(room=f"R{n}", **alike), 6.0 + n, 8.0, 0.8, 0.8) for n in range(3)]
    draw_cells(ax, cells)
    write_in_cells(ax, cells, beside=beside)
    assert {t.get_text() for t in ax.texts} == (
        {f"R{n} 52 %" for n in range(3)} if beside else set()
    )
    boxes = [Text.get_window_extent(t) for t in ax.texts]  # without their lines
    assert not any(a.overlaps(b) for a, b in itertools.combinations(boxes, 2))


def test_what_a_script_changed_is_told_in_words(facts):
    study = facts.study
    mount = study.mount(natural_frequency=6.0, loss_factor=0.05)
    found = evaluated(study.with_options([*study.options, gb.Option(name="more", base=mount)]))
    cells = [cell for row in found.rows.rows for cell in row[1:]]
    assert "mounts of a stiffness" in cells
    assert not {"inf", "LinearMount", "Option", "not there"} & set(cells)
    assert all(read != now for _, read, now in found.rows.rows)
