"""The report as a document to edit and as a workbook, read back and held against its tables."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import sys
import zipfile
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import groundborne as gb
from groundborne.__main__ import BAD_INPUT, main
from groundborne._checks import StudyError
from groundborne.report import document, forms, workbook
from groundborne.report.document import document_of, write_report
from groundborne.report.facts import Facts
from groundborne.report.figures import pictures
from groundborne.report.html_page import LOOKS
from groundborne.report.tree import Box, Listing, Number, Ref, Section, Terms
from groundborne.study.details import Details

docx = pytest.importorskip("docx", reason="python-docx is not installed")
openpyxl = pytest.importorskip("openpyxl", reason="openpyxl is not installed")
pytest.importorskip("xlsxwriter", reason="xlsxwriter is not installed")

W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"
TWIPS = 1440 / 25.4
NAMES = [
    "=HYPERLINK(\"http://x\")&cmd|'/c calc'!A0 and seventy more letters that a row has to hold",
    "<b>R&D</b> \"rubber\" & 'floors' ]]> &amp; <w:t/>",
    "+" + "a" * 79,
]


@pytest.fixture(scope="module")
def facts(small) -> Facts:
    """The small studio with options of ill will and a title block of it."""
    options = [replace(o, name=n) for o, n in zip(small.study.options, NAMES, strict=True)]
    details = Details(
        client="=1+1", author="A <N.> Other", date="2026-05-20", revision="P2", status="draft"
    )
    study = replace(small.study.with_options(options), details=details)
    return Facts(study=study, result=study.evaluate(band_levels=False))


@pytest.fixture(scope="module")
def drawn(facts):
    """Three figures, a whole one and two of half a page that stand beside each other."""
    every = pictures(facts)
    return [next(p for p in every if not p.half), *[p for p in every if p.half][:2]]


@pytest.fixture(scope="module")
def tree(facts, drawn):
    return document_of(facts, drawn, alone=False)


@pytest.fixture(scope="module")
def written(facts, tree, drawn) -> dict[str, bytes]:
    images = {p.slug: p.png(60) for p in drawn}
    return forms.form_contents(("docx", "xlsx"), facts, tree, images)


@pytest.fixture(scope="module")
def word(written):
    return docx.Document(io.BytesIO(written["report.docx"]))


@pytest.fixture(scope="module")
def book(written):
    return openpyxl.load_workbook(io.BytesIO(written["report.xlsx"]))


def text_of(element) -> str:
    """What a reader sees: texts and breaks, without the codes of fields."""
    parts = (e.text or "" if e.tag == f"{W}t" else "\n" if e.tag == f"{W}br" else ""
             for e in element.iter())  # fmt: skip
    return "".join(parts)


def said(tree, runs) -> str:
    """The same of runs of the tree."""
    labels = tree.labels()
    return "".join(
        r if isinstance(r, str) else labels[r.key] if isinstance(r, Ref) else r.text for r in runs
    )


def report_tables(word):
    """Tables of the document that are listings, in order."""
    styles = (t._tbl.find(f"{W}tblPr/{W}tblStyle").get(f"{W}val") for t in word.tables)
    return [t for t, style in zip(word.tables, styles, strict=True) if style == "ReportTable"]


def rows_of(table) -> list[list[str]]:
    return [
        [text_of(c) for c in row.findall(f"{W}tc")] for row in table._tbl.findall(f"{W}tr")
    ]  # fmt: skip


def level_of(tree, key: str) -> int:
    return tree.labels()[key].count(".") + 1


# ---------------------------------------------------------------- the document


def test_headings_are_those_of_the_tree_in_native_styles(tree, word):
    sections = [p for p in tree.parts() if isinstance(p, Section)]
    found = [p for p in word.paragraphs if re.fullmatch(r"Heading \d", p.style.name)]
    assert [p.text for p in found] == [s.title for s in sections]
    assert [int(p.style.name[-1]) for p in found] == [level_of(tree, s.key) for s in sections]
    annexes = [p for p in found if p._p.pPr.numPr is not None]
    labels = tree.labels()
    assert len(annexes) == sum(labels[s.key].startswith("Annex") for s in sections)
    assert word.paragraphs[0].text == tree.title
    assert word.paragraphs[0].style.name == "Title"


def test_every_listing_is_there_cell_by_cell_and_its_numbers_are_those_of_its_table(
    facts, tree, word
):
    listings = tree.listings
    tables = report_tables(word)
    assert len(tables) == len(listings)
    compared = 0
    for listing, table in zip(listings, tables, strict=True):
        head, *rows = rows_of(table)
        assert head == [f"{c.name}\n{c.unit}" if c.unit else c.name for c in listing.columns]
        assert len(rows) == len(listing.rows)
        for line, row in zip(listing.rows, rows, strict=True):
            for cell, text in zip(line, row, strict=True):
                sign = f" {LOOKS[cell.answer][1]}" if cell.answer in LOOKS else ""
                assert text == said(tree, cell.runs) + sign
                for number in (r for r in cell.runs if isinstance(r, Number)):
                    frame = facts.frames[number.table].set_index("key")
                    held = frame.at[number.row, number.column]
                    assert number.value == float(f"{held:.6g}")  # as its CSV has it
                    assert number.text in text
                    compared += 1
    assert compared > 50


def test_tables_repeat_their_header_and_fit_the_page(word):
    for table in report_tables(word):
        first, *others = table._tbl.findall(f"{W}tr")
        assert first.find(f"{W}trPr/{W}tblHeader") is not None
        assert all(o.find(f"{W}trPr/{W}tblHeader") is None for o in others)
        widths = [int(c.get(f"{W}w")) for c in table._tbl.findall(f"{W}tblGrid/{W}gridCol")]
        assert sum(widths) == pytest.approx(170 * TWIPS, abs=len(widths))
        assert min(widths) > 6 * TWIPS
        for row in (first, *others):
            own = [int(w.get(f"{W}w")) for w in row.iterfind(f"{W}tc/{W}tcPr/{W}tcW")]
            assert own == widths
    section = word.sections[0]
    assert (round(section.page_width.mm), round(section.page_height.mm)) == (210, 297)


def test_captions_count_by_themselves_and_references_lead_to_them(tree, word):
    labels = tree.labels()
    styled = word.element.body.iterfind(f".//{W}p/{W}pPr/{W}pStyle")
    captions = [s.getparent().getparent() for s in styled if s.get(f"{W}val") == "Caption"]
    numbered = [p for p in tree.parts() if isinstance(p, Listing)] + tree.figures
    told = {re.match(r"\w+ \d+", text_of(c)).group() for c in captions}
    assert told == {labels[p.key] for p in numbered}
    for caption in captions:
        codes = "".join(i.text for i in caption.iter(f"{W}instrText"))
        assert "SEQ Table" in codes or "SEQ Figure" in codes
    marks = {b.get(f"{W}name") for b in word.element.body.iter(f"{W}bookmarkStart")}
    assert all(len(m) <= 40 for m in marks)
    codes = [i.text.split() for i in word.element.body.iter(f"{W}instrText")]
    references = [c[1] for c in codes if c[0] == "REF"]
    assert references
    assert set(references) <= marks
    links = {h.get(f"{W}anchor") for h in word.element.body.iter(f"{W}hyperlink")}
    assert links <= marks
    assert len(links) == len(tree.body) + len(tree.annexes)
    whole = text_of(word.element.body)
    for run in tree.runs():
        if isinstance(run, Ref):
            assert labels[run.key] in whole
    assert any(c[0] == "TOC" for c in codes)


def test_words_of_paragraphs_boxes_and_terms_are_all_there(tree, word):
    whole = text_of(word.element.body)
    for part in tree.parts():
        if isinstance(part, Box):
            assert part.title in whole
        if isinstance(part, Terms):
            for name, runs in part.items:
                assert name in whole
                assert said(tree, runs) in whole
        if hasattr(part, "runs"):
            assert said(tree, part.runs) in whole
    for name in NAMES:
        assert name in whole


def test_figures_have_words_for_who_does_not_see_them(tree, word):
    drawings = list(word.element.body.iter(f"{W}drawing"))
    told = [next(e for e in d.iter() if e.tag.endswith("docPr")).get("descr") for d in drawings]
    assert told == [f.alt for f in tree.figures]
    for tag in ("docPr", "bookmarkStart"):
        ids = [v for e in word.element.body.iter() if e.tag.endswith(f"}}{tag}")
               for k, v in e.items() if k.rpartition("}")[2] == "id"]  # fmt: skip
        assert len(ids) == len(set(ids)) > 0


def test_pages_count_and_the_file_says_what_it_is(facts, tree, word):
    section = word.sections[0]
    for footer in (section.footer, section.first_page_footer):
        codes = [i.text.strip() for i in footer._element.iter(f"{W}instrText")]
        assert codes == ["PAGE", "NUMPAGES"]
    assert section.header.paragraphs[0].text == tree.running
    core = word.core_properties
    assert (core.title, core.author, core.language) == (tree.title, "A <N.> Other", "en-GB")
    assert core.content_status == "draft"
    assert "Invented" in core.comments
    assert core.created.date().isoformat() == "2026-05-20"
    default = word.styles.element.find(f"{W}docDefaults//{W}lang")
    assert default.get(f"{W}val") == "en-GB"


def test_numbered_lists_begin_at_one(word):
    """Items of a list share its number; an element given twice would move to the last."""
    own = [p._p.pPr.numPr for p in word.paragraphs if p.style.name == "List Number"]
    assert own
    assert all(n is not None for n in own)
    assert len({n.numId.val for n in own}) == 1


# ---------------------------------------------------------------- the workbook


def test_sheets_hold_the_tables_number_by_number(facts, book):
    for name, (sheet, _) in workbook.READ.items():
        if name not in facts.frames or name == "mounts":
            continue
        table, rows = facts.frames[name], list(book[sheet].iter_rows(min_row=3, values_only=True))
        if name in workbook.OF_CHOSEN:
            table = table[table["option"] == facts.chosen]
        shown = len(
            [c for c in table if table[c].notna().any() and (table[c].astype(str) != "").any()]
        )
        assert len(rows[0]) == shown
        key = "key" if "key" in table else "option"
        assert [r[0] for r in rows[1:]] == table[key].tolist()
        numeric = table.select_dtypes("number").dropna(axis="columns", how="all").to_numpy()
        got = [[c for c in row if isinstance(c, int | float)] for row in rows[1:]]
        for mine, theirs in zip(got, numeric, strict=True):
            np.testing.assert_allclose(mine, theirs[np.isfinite(theirs)], rtol=1e-12)
    assert {"Options", "Assessment", "Resonances", "Schedule", "Mounts"} <= set(book.sheetnames)


def test_schedule_has_project_date_revision_totals_coordinates_and_a_plan(facts, book):
    mounts = facts.frames["mounts"]
    here = mounts[mounts["option"] == facts.chosen]
    sheet = book["Schedule"]
    top = " ".join(str(sheet.cell(r, 1).value) for r in (1, 2, 3))
    for words in (facts.study.name, "2026-05-20", "revision P2", "draft", f"{len(here)} mounts"):
        assert words in top
    rows = list(sheet.iter_rows(min_row=4, values_only=True))
    head, body, total = rows[0], rows[1:-1], rows[-1]
    assert head[:4] == ("Column", "X, m", "Y, m", "Load, kN")
    np.testing.assert_allclose(
        [r[1:4] for r in body], here[["x_m", "y_m", "load_low_kn"]].to_numpy(), rtol=1e-12
    )
    assert total[0] == "Total"
    assert total[3] == pytest.approx(here["load_low_kn"].sum())
    assert len(book["Plan"]._images) == 1


def test_mounts_are_those_of_the_options(facts):
    """Load is mass times gravity; a mount goes down by what its frequency says, where linear."""
    mounts, options = facts.frames["mounts"], facts.frames["options"].set_index("option")
    study = facts.study
    for name, own in mounts.groupby("option"):
        mass = study.plane.mass.sel(column=own["column"].tolist()).values
        np.testing.assert_allclose(own["load_low_kn"], mass * 9.80665e-3)
        assert own["load_high_kn"].max() == options.at[name, "load_high_kn"]
        assert own["deflection_low_mm"].min() == options.at[name, "deflection_low_mm"]
    assert set(mounts["option"]) == {o.name for o in study.options if o.is_mounted}


def test_no_cell_is_a_formula_and_every_sheet_says_invented(facts, book):
    texts = []
    for sheet in book:
        cells = [c for row in sheet.iter_rows() for c in row]
        assert not [c for c in cells if c.data_type == "f"]
        texts += [c.value for c in cells if isinstance(c.value, str)]
        top = " ".join(str(c.value) for row in sheet.iter_rows(max_row=2) for c in row)
        assert "invented" in top, sheet.title
    assert set(NAMES) <= set(texts)
    assert "=1+1" in texts


def test_sheets_print_on_a4_with_their_header_and_headers_fit(book):
    for sheet in book:
        assert (sheet.page_setup.orientation, int(sheet.page_setup.paperSize)) == ("landscape", 9)
        if sheet.freeze_panes is None:
            continue
        top = int(re.search(r"\d+", sheet.freeze_panes).group()) - 1
        assert sheet.print_title_rows == f"${top}:${top}"
        for cell in sheet[top]:
            width = sheet.column_dimensions[cell.column_letter].width
            assert width >= max(map(len, cell.value.split())), (sheet.title, cell.value)
        assert sheet.auto_filter.ref.startswith(f"A{top}:")


def test_numbers_show_the_digits_that_they_deserve(book):
    sheet = book["Assessment"]
    head = {c.value: c.column for c in sheet[3]}
    by_unit = {}
    for row in range(4, sheet.max_row + 1):
        unit = sheet.cell(row, head["Unit"]).value or ""
        by_unit.setdefault(unit, set()).add(sheet.cell(row, head["Rating"]).number_format)
        assert sheet.cell(row, head["Margin"]).number_format == "0.0"
    assert by_unit["dB re 20 µPa"] == {"0.0"}
    schedule = book["Schedule"]
    formats = {schedule.cell(4, c.column).value: c.number_format for c in schedule[5]}
    assert formats["Load, kN"] == "0"
    assert formats["Deflection, mm"] == "[<10]0.0;0"


# ---------------------------------------------------------------- both


def test_the_same_study_gives_the_same_bytes(facts, tree, drawn, written):
    images = {p.slug: p.png(60) for p in drawn}
    again = forms.form_contents(("docx", "xlsx"), facts, tree, images)
    assert again == written
    for content in written.values():
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            assert {i.date_time for i in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_a_report_is_written_with_its_forms_and_without_them_again(
    small, drawn, tmp_path, monkeypatch
):
    monkeypatch.setattr(document, "pictures", lambda _: drawn[:1])
    monkeypatch.setattr(forms, "DPI", 60)
    told = []

    def tell(done, total, what):
        told.append((done, total, what))

    write_report(small.study, small.result, tmp_path / "a", forms=("docx", "xlsx"), progress=tell)
    assert {"report.docx", "report.xlsx"} <= {p.name for p in (tmp_path / "a").iterdir()}
    assert [done for done, _, _ in told] == list(range(told[-1][1] + 1))
    first = {p.name: p.read_bytes() for p in (tmp_path / "a").iterdir() if p.is_file()}
    (tmp_path / "a" / "report.docx").write_bytes(b"edited")
    with pytest.raises(StudyError, match=r"'report.docx' in .* was changed since it was written"):
        write_report(small.study, small.result, tmp_path / "a", forms=("docx",))
    (tmp_path / "a" / "report.docx").write_bytes(first["report.docx"])
    write_report(small.study, small.result, tmp_path / "a")
    left = {p.name for p in (tmp_path / "a").iterdir()}
    assert not {"report.docx", "report.xlsx"} & left
    assert (tmp_path / "a" / "report.html").read_bytes() == first["report.html"]


@pytest.mark.parametrize(
    ("form", "module", "package"),
    [("docx", "docx", "python-docx"), ("xlsx", "xlsxwriter", "xlsxwriter")],
)
def test_a_missing_package_is_one_sentence_before_any_work(
    small, data_folder, tmp_path, monkeypatch, capsys, form, module, package
):
    monkeypatch.setitem(sys.modules, module, None)
    said = rf"report.{form} needs the package '{package}', .*install groundborne\[report\]"
    with pytest.raises(StudyError, match=said):
        write_report(small.study, small.result, tmp_path / "a", forms=(form,))
    monkeypatch.setattr(type(small.study), "how_sure", None)  # nothing is evaluated
    study = str(data_folder / "music_school" / "study.toml")
    assert main([study, "--out", str(tmp_path / "a"), f"--{form}"]) == BAD_INPUT
    assert re.search(said, capsys.readouterr().err)
    assert not (tmp_path / "a").exists()


def test_other_forms_are_refused(small, tmp_path):
    with pytest.raises(StudyError, match="form is 'pdf'; known are 'docx', 'xlsx'"):
        write_report(small.study, small.result, tmp_path / "a", forms=("pdf",))
    with pytest.raises(ValueError, match="forms is 'docx'"):
        write_report(small.study, small.result, tmp_path / "a", forms="docx")


OFFICE = shutil.which("soffice") or shutil.which("libreoffice")


@pytest.mark.skipif(OFFICE is None, reason="no LibreOffice (soffice) on this machine")
@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext (poppler) here")
def test_an_office_program_opens_both_and_keeps_headings_and_numbers(
    facts, tree, written, tmp_path
):
    for name, content in written.items():
        (tmp_path / name).write_bytes(content)
        profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
        command = [OFFICE, profile, "--headless", "--convert-to", "pdf", name]
        subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=120)
        (tmp_path / "report.pdf").rename(tmp_path / f"{name}.pdf")

    def printed(name: str) -> str:
        command = ["pdftotext", "-layout", f"{name}.pdf", "-"]
        done = subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, text=True)
        return done.stdout

    text = printed("report.docx")
    lines = {" ".join(line.split()) for line in text.splitlines()}
    labels = tree.labels()
    for section in (*tree.body, *tree.annexes):
        number = labels[section.key].removeprefix("Section ")
        assert f"{number} {section.title}" in lines
    tight = "".join(text.split())
    for listing in tree.listings:
        assert f"{labels[listing.key]}." in text
        for run in (r for line in listing.rows for cell in line for r in cell.runs):
            if isinstance(run, Number):
                assert "".join(run.text.split()) in tight
    assert f"Page 2 of {text.count(chr(12))}" in " ".join(text.split())
    tight = "".join(printed("report.xlsx").split())
    for load in facts.frames["mounts"]["load_low_kn"]:
        assert f"{load:.0f}" in tight
    for margin in facts.table["margin"].dropna():
        assert f"{margin:.1f}" in tight


# ---------------------------------------------------------------- schedules of packs


@pytest.fixture(scope="module")
def packs(data_folder):
    """Study and schedule of two columns of the music school."""
    study = gb.read_study(data_folder / "music_school" / "study.toml")
    springs = gb.sizing.read_components(data_folder / "components" / "springs.csv")
    load = gb.sizing.combine(study.loads.of_revision("P1")).sel(column=["A1", "B2"])
    rules = gb.sizing.PackRules(natural_frequency=(3.4, 3.6))
    return study, gb.sizing.make_schedule(gb.sizing.choose_packs(load, springs, rules=rules))


def test_a_schedule_of_a_study_has_its_block_coordinates_totals_and_plan(packs, tmp_path):
    study, schedule = packs
    csv, book = gb.report.write_schedule(schedule, tmp_path / "packs.xlsx", study=study)
    head = csv.read_text(encoding="utf-8-sig").splitlines()
    assert head[0].startswith('# data,"invented for demonstration')
    assert '# date,"2026-05-20"' in head
    assert '# document revision,"P2"' in head
    frame = pd.read_csv(csv, comment="#", encoding="utf-8-sig")
    at = study.loads.data.sel(column=["A1", "B2"])
    np.testing.assert_array_equal(frame[["x_m", "y_m"]], np.stack([at["x"], at["y"]], axis=1))
    sheet = openpyxl.load_workbook(book)["Schedule"]
    column = next(c for c in "AB" if sheet[f"{c}1"].value)  # where it prints on several pages
    top = " ".join(str(sheet[f"{column}{row}"].value) for row in (1, 2, 3))
    for words in (study.name, "invented", "2026-05-20", "revision P2", "for comment", "2 columns"):
        assert words in top
    header = [c.value for c in sheet[4]]
    total = [c.value for c in sheet[sheet.max_row]]
    assert total[0] == "Total"
    assert total[header.index("Parts")] == schedule.data["number"].sum()
    load = total[header.index("Load, quasi-permanent, kN")]
    assert load == frame["load_kn"].sum()
    # Stiffness within 5 %: of 20 mm 1 mm is open, so that tenths are all that is shown.
    assert sheet.cell(5, header.index("Deflection, mm") + 1).number_format == "0.0"
    plan = openpyxl.load_workbook(book)["Plan"]
    assert plan._images
    assert study.name in plan["A1"].value
    assert "invented" in plan["A1"].value
    again = gb.report.write_schedule(schedule, tmp_path / "b.xlsx", study=study)[1]
    assert again.read_bytes() == book.read_bytes()


def test_a_schedule_of_other_columns_is_refused(packs, tmp_path):
    study, schedule = packs
    loads = replace(study.loads, data=study.loads.data.drop_sel(column="B2"))
    with pytest.raises(StudyError, match="column 'B2' of the schedule has no coordinates in the"):
        gb.report.write_schedule(schedule, tmp_path / "packs.csv", loads=loads)
    assert not list(tmp_path.iterdir())
    (file,) = gb.report.write_schedule(schedule, tmp_path / "packs.csv", loads=study.loads)
    assert "x_m,y_m" in file.read_text(encoding="utf-8-sig")
