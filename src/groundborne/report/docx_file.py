"""A report as a Word document that a consultant edits: native headings, captions, references."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from docx.image.image import Image
from docx.shared import Mm

from groundborne.report.docx_look import (
    ANNEX_NUMBERS,
    FINE,
    TABLE,
    TEXT,
    list_numbers,
    new_document,
)
from groundborne.report.docx_parts import (
    bookmarked,
    cell,
    column_widths,
    edges,
    field,
    link,
    node,
    paragraph,
    plain,
    row,
    run,
    tab,
    table,
)
from groundborne.report.html_page import LOOKS
from groundborne.report.tree import (
    Box,
    Bullets,
    Cell,
    Code,
    Document,
    Figure,
    Listing,
    Number,
    Paragraph,
    Part,
    Ref,
    Run,
    Runs,
    Section,
    Strong,
    Terms,
    Verbatim,
)
from groundborne.study.details import Details

_TALLEST = 200.0  # mm, of a figure
_FINE_FROM = 7  # columns from which a table takes smaller letters
_TOGETHER = 8  # rows below which a table stays on one page
_DEEPEST = 4  # levels of headings that have numbers
_FEW_TERMS = 14  # rows of names and what they are that stand on one page
_TERM = 42.0  # mm, of the names in a list of terms
_BOXES = {
    "caution": ("9C5C00", "FFF4DC"),
    "invented": ("9C5C00", "FFF4DC"),
    "finding": ("004F8A", "EEF5FB"),
}
_FILLS = {"not met": "DFE3E6", "within the uncertainty": "F6F7F8"}
_ZIP_DATE = (1980, 1, 1, 0, 0, 0)


def docx_bytes(
    document: Document,
    images: Mapping[str, bytes],
    *,
    details: Details | None = None,
    invented: bool = False,
) -> bytes:
    """The document as a .docx file, the same bytes for the same document and images.

    Parameters
    ----------
    document : Document
        What is said.
    images : mapping of str to bytes
        PNG of its figures, by key; a figure that is not in it is left out.
    details : Details, optional
        Title block, of which the properties of the file are made.
    invented : bool
        Whether its data are made up for demonstration, which the properties then say.

    Notes
    -----
    Numbers of captions, references, pages and the contents are fields: Word asks on opening whether
    to update them, and does on Ctrl+A, F9. Until then all show what is right, and the contents no
    page numbers.
    """
    return _Writer(document, images, details or Details(), invented).content()


class _Writer:
    def __init__(
        self, document: Document, images: Mapping[str, bytes], details: Details, invented: bool
    ) -> None:
        self.document, self.images = document, images
        self.labels = document.labels()
        self.numbers = {key: at for at, key in enumerate(self.labels, start=1)}
        self.word = new_document(document, details, invented=invented)
        self.body: Any = self.word.element.body

    def content(self) -> bytes:
        """Everything, zipped without the hour at which it was written."""
        end = self.body[-1]  # what says how the pages are
        for one in self._all():
            end.addprevious(one)
        stream = io.BytesIO()
        self.word.save(stream)
        again = io.BytesIO()
        with (
            zipfile.ZipFile(stream) as source,
            zipfile.ZipFile(again, "w", zipfile.ZIP_DEFLATED) as target,
        ):
            for name in source.namelist():
                about = zipfile.ZipInfo(name, _ZIP_DATE)
                about.compress_type = zipfile.ZIP_DEFLATED
                target.writestr(about, source.read(name))
        return again.getvalue()

    def _all(self) -> Iterator[Any]:
        of = self.document
        yield paragraph("Title", [run(of.title)])
        yield paragraph("Subtitle", [run(of.subtitle)])
        yield from self._parts(of.front, 1)
        yield from self._contents()
        for section in of.body:
            yield from self._section(section, 1, annex=False)
        for section in of.annexes:
            yield from self._section(section, 1, annex=True)
        if of.foot:
            yield paragraph("Small", self._runs(of.foot))

    # ------------------------------------------------------------ contents and headings

    def _mark(self, key: str) -> str:
        """Name of a bookmark: Word takes forty letters, digits and underlines."""
        words = re.sub(r"[^A-Za-z0-9]+", "_", key)[:24].strip("_")
        return f"_Ref{self.numbers[key]:04d}_{words}"

    def _contents(self) -> Iterator[Any]:
        """Contents as a field, with entries that stand there until it is updated."""
        yield paragraph("TOCHeading", [run("Contents")], look=[node("keepNext")])
        sections = [*self.document.body, *self.document.annexes]
        begin = [
            node("r", node("fldChar", fldCharType="begin")),
            *field('TOC \\o "1-1" \\h \\z', "")[1:3],
        ]
        for at, section in enumerate(sections):
            number = self.labels[section.key].removeprefix("Section ")
            name = self._mark(section.key)
            inner = [run(number), tab(), run(section.title)]
            yield paragraph("TOC1", [*(begin if at == 0 else ()), link(name, inner)])
        yield node("p", node("r", node("fldChar", fldCharType="end")))

    def _section(self, section: Section, level: int, *, annex: bool) -> Iterator[Any]:
        deep = min(level, _DEEPEST)
        look = [node("pageBreakBefore")] if section.new_page else []
        if annex:
            look += _number(deep - 1, ANNEX_NUMBERS)
        name = self._mark(section.key)
        inner = bookmarked(name, self.numbers[section.key], [run(section.title)])
        yield paragraph(f"Heading{deep}", inner, look=look)
        yield from self._parts(section.parts, level + 1, annex=annex)

    # ------------------------------------------------------------ parts

    def _parts(self, parts: Sequence[Part], level: int, *, annex: bool = False) -> Iterator[Any]:
        halves: list[Figure] = []
        for part in parts:
            if isinstance(part, Figure) and part.half:
                if part.key in self.images:
                    halves.append(part)
                continue
            yield from self._beside(halves)
            halves = []
            if isinstance(part, Section):
                yield from self._section(part, level, annex=annex)
            else:
                yield from self._part(part, TEXT)
        yield from self._beside(halves)

    def _part(self, part: Part, wide: float) -> Iterator[Any]:
        match part:
            case Paragraph():
                yield paragraph("Small" if part.small else "Normal", self._runs(part.runs))
            case Bullets():
                yield from self._bullets(part)
            case Box():
                yield from self._box(part)
            case Terms():
                yield from self._terms(part)
            case Verbatim():
                for line in plain(part.text).split("\n"):
                    yield paragraph("Verbatim", [run(line)])
            case Listing():
                yield from self._listing(part)
            case Figure():
                if part.key in self.images:
                    yield from self._figure(part, wide)

    def _bullets(self, part: Bullets) -> Iterator[Any]:
        style = "ListNumber" if part.numbered else "ListBullet"
        number = list_numbers(self.word) if part.numbered else 0
        for item in part.items:
            yield paragraph(style, self._runs(item), look=_number(0, number) if number else [])

    def _box(self, part: Box) -> Iterator[Any]:
        line, fill = _BOXES[part.kind]
        inner = [paragraph("BoxTitle", [run(part.title)])] if part.title else []
        for one in part.parts:
            inner += self._part(one, TEXT)
        sides = dict.fromkeys(("top", "bottom", "right"), (4, line))
        around = edges("tcBorders", left=(36, line), **sides)
        frame = cell(TEXT, inner or [paragraph("Normal")], fill=fill, edges=around, padding=2)
        yield table("ReportBare", [TEXT], [row([frame], splits=True)], caption=part.title)
        yield paragraph("AfterTable")

    def _terms(self, part: Terms) -> Iterator[Any]:
        widths = [_TERM, TEXT - _TERM]
        # Few of them stay on one page: each with the next.
        few = len(part.items) <= _FEW_TERMS
        count = len(part.items)
        kept = [[node("keepNext")] * (few and at < count) for at in range(1, count + 1)]
        rows = [
            row([
                cell(widths[0], [paragraph("TableText", [run(name, bold=True)], look=stays)]),
                cell(widths[1], [paragraph("TableText", self._runs(runs))]),
            ])
            for (name, runs), stays in zip(part.items, kept, strict=True)
        ]  # fmt: skip
        if rows:
            yield table("ReportTerms", widths, rows)
            yield paragraph("AfterTable")

    # ------------------------------------------------------------ tables

    def _listing(self, of: Listing) -> Iterator[Any]:
        fine = len(of.columns) >= _FINE_FROM
        style, size = ("TableFine", FINE) if fine else ("TableText", TABLE)
        yield self._caption(of.key, of.caption, self._tail(of), before=True)
        widths = column_widths(
            [f"{c.name}\n{c.unit}" for c in of.columns],
            [[self._told(line[at]) for line in of.rows] for at in range(len(of.columns))],
            TEXT,
            size,
            whole=[c.align == "right" for c in of.columns],
        )
        head = []
        for column, width in zip(of.columns, widths, strict=True):
            inner = [run(column.name)]
            if column.unit:
                inner += [node("r", node("br")), run(column.unit, style="Soft")]
            title = paragraph(f"{style.replace('Text', '')}Head", inner, look=_side(column.align))
            head.append(cell(width, [title]))
        together = len(of.rows) < _TOGETHER
        rows = [row(head, head=True)]
        for at, line in enumerate(of.rows):
            stays = together and at + 1 < len(of.rows)
            rows.append(row([
                cell(
                    width,
                    [paragraph(style, self._cell(one), look=_side(column.align, stays=stays))],
                    fill=_FILLS.get(one.answer, ""),
                )
                for one, column, width in zip(line, of.columns, widths, strict=True)
            ]))  # fmt: skip
        yield table("ReportTable", widths, rows, caption=of.caption, heads=True)
        yield paragraph("AfterTable")

    @staticmethod
    def _tail(of: Listing) -> str:
        words = [" [invented]"] if of.invented else []
        words += [f" tables/{of.table}.csv"] if of.table else []
        return "".join(words)

    def _told(self, of: Cell) -> str:
        """What a cell says, as far as its width goes."""
        said = "".join(self._words(r) for r in of.runs)
        return f"{said} {LOOKS[of.answer][1]}" if of.answer in LOOKS else said

    def _cell(self, of: Cell) -> list[Any]:
        heavy = of.answer == "not met"
        found = self._runs(of.runs, bold=heavy)
        if of.answer in LOOKS:
            found.append(run(f" {LOOKS[of.answer][1]}", sign=True, bold=heavy))
        return found

    # ------------------------------------------------------------ figures

    def _caption(self, key: str, words: str, tail: str = "", *, before: bool = False) -> Any:
        """A caption whose number counts by itself."""
        kind, number = self.labels[key].split(" ")
        counted = [
            run(f"{kind} ", bold=True),
            *field(f"SEQ {kind} \\* ARABIC", number, style="Strong"),
        ]
        inner = [*bookmarked(self._mark(key), self.numbers[key], counted), run(". ", bold=True)]
        inner.append(run(words))
        if tail:
            inner.append(run(tail, style="Soft"))
        return paragraph("Caption", inner, look=[node("keepNext")] if before else [])

    def _figure(self, of: Figure, wide: float) -> Iterator[Any]:
        content = self.images[of.key]
        about = Image.from_blob(content)
        natural = about.px_width * 25.4 / about.horz_dpi, about.px_height * 25.4 / about.vert_dpi
        scale = min(1.0, wide / natural[0], _TALLEST / natural[1])
        part: Any = self.word.part
        drawn = part.new_pic_inline(
            io.BytesIO(content), Mm(natural[0] * scale), Mm(natural[1] * scale)
        )
        # Figures beside each other are made before either stands in the document.
        drawn.docPr.set("id", str(self.numbers[of.key]))
        drawn.docPr.set("name", plain(self.labels[of.key]))
        drawn.docPr.set("descr", plain(of.alt))
        # In a row that is never split nothing has to be kept, and tables of such rows have to be.
        free = [node("keepNext", val=0)] if of.half else []
        yield paragraph("Figure", [node("r", node("drawing", drawn))], look=free)
        yield self._caption(of.key, of.caption)

    def _beside(self, halves: Sequence[Figure]) -> Iterator[Any]:
        """Figures of half a page, two in a row."""
        width = TEXT / 2
        rows = []
        for at in range(0, len(halves), 2):
            pair = [
                cell(width, list(self._figure(one, width - 3)))
                for one in halves[at : at + 2]
            ]  # fmt: skip
            if len(pair) == 1:
                pair.append(cell(width, [paragraph("TableText")]))
            rows.append(row(pair))
        if rows:
            yield table("ReportBare", [width, width], rows)
            yield paragraph("AfterTable")

    # ------------------------------------------------------------ words

    def _runs(self, runs: Runs, *, bold: bool = False) -> list[Any]:
        return [one for each in runs for one in self._run(each, bold)]

    def _run(self, of: Run, bold: bool) -> list[Any]:
        match of:
            case Strong():
                return [run(of.text, bold=True)]
            case Code():
                return [run(of.text, style="Code")]
            case Ref():
                return self._reference(of.key)
            case Number():
                return [run(of.text, bold=bold)]
            case _:
                return [run(of, bold=bold)]

    def _words(self, of: Run) -> str:
        return (
            self.labels[of.key] if isinstance(of, Ref) else of if isinstance(of, str) else of.text
        )

    def _reference(self, key: str) -> list[Any]:
        """The number of what it leads to, which follows when something is put before it."""
        name, label = self._mark(key), self.labels[key]
        kind, _, number = label.partition(" ")
        if kind in ("Table", "Figure"):
            return field(f"REF {name} \\h", label)
        if kind == "Section":
            return [run("Section "), *field(f"REF {name} \\r \\h", number)]
        shown = label if "." not in number else number
        lead = [] if shown == label else [run("Annex ")]
        return [*lead, *field(f"REF {name} \\r \\h", shown)]


def _side(align: str, *, stays: bool = False) -> list[Any]:
    """Where words stand in a cell, and whether they stay on the page of what follows."""
    kept = [node("keepNext")] if stays else []
    return [*kept, node("jc", val="right")] if align == "right" else kept


def _number(level: int, number: int) -> list[Any]:
    return [node("numPr", node("ilvl", val=level), node("numId", val=number))]
