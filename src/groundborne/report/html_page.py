"""A report as one HTML page that needs no other file and no script."""

from __future__ import annotations

import base64
import html
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from importlib.resources import files

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

LOOKS = {
    "met": ("yes", "✓"),
    "not met": ("no", "✗"),
    "not shown": ("open", "?"),
    "within the uncertainty": ("near", "≈"),
}
"""How answers are drawn: a class of the style sheet, and a sign that reads in grey."""

_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
_SHORT = 24  # characters of a name that stands in one line
_LONGEST, _CHUNK = 30, 12  # characters of a word that is not broken, and of its parts
_IN_HEADER = 18  # the same of the head of a column
_TOGETHER = 9  # rows of a table that is not broken over pages
_SHORT_TABLE = 1500  # characters that it may have
_TALL = 600  # characters of a cell from which its row is broken over pages
_WIDE = 6  # columns from which a table takes smaller type


def page(document: Document, drawn: Mapping[str, bytes]) -> str:
    """The document as HTML.

    Parameters
    ----------
    document : Document
        What is said.
    drawn : mapping of str to bytes
        SVG of its figures, by key; a figure that is not in it is left out.

    Returns
    -------
    str
        Text of the page. Whatever came from the study is escaped.
    """
    return "\n".join(_Page(document, drawn).lines()) + "\n"


def text(words: object) -> str:
    """Words as text of a page, whatever they hold."""
    plain = "".join(c if c.isprintable() or c in "\n\t" else " " for c in str(words))
    return html.escape(plain, quote=True)


def _breakable(words: str, longest: int = _LONGEST) -> str:
    """The same, with places to break words that no column has room for."""
    return "".join(
        "<wbr>".join(text(part[at : at + _CHUNK]) for at in range(0, len(part), _CHUNK))
        if len(part) > longest
        else text(part)
        for part in re.split(r"(\s+)", words)
    )


def anchor(key: str) -> str:
    """Name of a place in the page.

    Examples
    --------
    >>> anchor("criterion 1: <b>")
    'criterion-1-b-3a3c3e'
    """
    plain = re.sub(r"[^A-Za-z0-9]+", "-", key).strip("-")
    odd = "".join(c for c in key if not (c.isalnum() and c.isascii()) and c not in "-_ ")
    tail = "-" + "".join(f"{ord(c):x}" for c in odd[:4]) if odd else ""
    return f"{plain or 'part'}{tail}" if plain[:1].isalpha() else f"p-{plain}{tail}"


@dataclass(frozen=True, eq=False)
class _Page:
    document: Document
    drawn: Mapping[str, bytes]
    labels: dict[str, str] = field(init=False)
    anchors: dict[str, str] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "labels", self.document.labels())
        found: dict[str, str] = {}
        taken = {"content", "contents"}
        for key in self.labels:
            name, number = anchor(key), 2
            while name in taken:
                name, number = f"{anchor(key)}-{number}", number + 1
            found[key] = name
            taken.add(name)
        object.__setattr__(self, "anchors", found)

    def lines(self) -> Iterator[str]:
        """The page, line by line."""
        of = self.document
        style = files("groundborne.report").joinpath("page.css").read_text(encoding="utf-8")
        yield "<!DOCTYPE html>"
        yield '<html lang="en">'
        yield "<head>"
        yield '<meta charset="utf-8">'
        yield f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
        yield f"<title>{text(of.title)}: {text(of.subtitle)}</title>"
        yield f"<style>\n{style.replace('RUNNING', _in_css(of.running))}</style>"
        yield "</head>"
        yield "<body>"
        yield '<a class="skip" href="#content">Skip to the content</a>'
        yield "<header>"
        yield f"<h1>{text(of.title)}</h1>"
        yield f'<p class="lead">{text(of.subtitle)}</p>'
        for part in of.front:
            yield from self._part(part, 2)
        yield "</header>"
        yield from self._contents()
        yield '<main id="content" tabindex="-1">'
        for section in (*of.body, *of.annexes):
            yield from self._part(section, 2)
        yield "</main>"
        if of.foot:
            yield f"<footer><p>{self._runs(of.foot)}</p></footer>"
        yield "</body>"
        yield "</html>"

    def _contents(self) -> Iterator[str]:
        # A first page without a drawing has room for a list.
        drawn = any(isinstance(p, Figure) for p in self.document.front)
        kind = "" if drawn else ' class="list"'
        yield f'<nav{kind} aria-labelledby="contents">'
        yield '<h2 id="contents">Contents</h2>'
        yield "<ol>"
        for section in (*self.document.body, *self.document.annexes):
            number = self.labels[section.key].removeprefix("Section ").removeprefix("Annex ")
            yield (
                f'<li><a href="#{self.anchors[section.key]}"><span class="at">{number}</span> '
                f"{text(section.title)}</a></li>"
            )
        yield "</ol>"
        yield "</nav>"

    def _part(self, part: Part, level: int) -> Iterator[str]:
        match part:
            case Section():
                yield from self._section(part, level)
            case Paragraph():
                small = ' class="lead"' if part.small else ""
                yield f"<p{small}>{self._runs(part.runs)}</p>"
            case Bullets():
                tag = "ol" if part.numbered else "ul"
                yield f"<{tag}>"
                for item in part.items:
                    yield f"<li>{self._runs(item)}</li>"
                yield f"</{tag}>"
            case Box():
                yield f'<div class="box {part.kind}">'
                if part.title:
                    yield f'<p class="boxtitle"><strong>{text(part.title)}</strong></p>'
                for inner in part.parts:
                    yield from self._part(inner, level)
                yield "</div>"
            case Terms():
                said = sum(_length(Cell(runs=runs)) for _, runs in part.items)
                whole = len(part.items) <= 2 * _TOGETHER and said <= _SHORT_TABLE
                yield '<dl class="together">' if whole else "<dl>"
                for name, runs in part.items:
                    yield f"<div><dt>{text(name)}</dt><dd>{self._runs(runs)}</dd></div>"
                yield "</dl>"
            case Verbatim():
                yield f'<pre tabindex="0">{text(part.text)}</pre>'
            case Listing():
                yield from self._listing(part)
            case Figure():
                yield from self._figure(part)

    def _section(self, section: Section, level: int) -> Iterator[str]:
        at, number = self.anchors[section.key], self.labels[section.key]
        number = number.removeprefix("Section ")
        if level > 2:
            number = number.removeprefix("Annex ")
        page = ' class="page"' if section.new_page else ""
        yield f'<section{page} aria-labelledby="{at}">'
        tag = f"h{min(level, 6)}"
        yield f'<{tag} id="{at}"><span class="at">{number}</span> {text(section.title)}</{tag}>'
        for part in section.parts:
            yield from self._part(part, level + 1)
        yield "</section>"

    def _listing(self, of: Listing) -> Iterator[str]:
        at = self.anchors[of.key]
        wide = " wide" if len(of.columns) > _WIDE else ""
        said = sum(_length(cell) for row in of.rows for cell in row)
        short = " together" if len(of.rows) <= _TOGETHER and said <= _SHORT_TABLE else ""
        invented = ' <span class="tag">invented</span>' if of.invented else ""
        where = f' <span class="from">tables/{text(of.table)}.csv</span>' if of.table else ""
        yield f'<div class="scroll" role="region" aria-labelledby="{at}" tabindex="0">'
        yield f'<table class="listing{wide}{short}">'
        yield (
            f'<caption id="{at}"><strong>{self.labels[of.key]}.</strong> {text(of.caption)}'
            f"{invented}{where}</caption>"
        )
        head = "".join(
            f'<th scope="col" class="{c.align}{" wide" if c.wide else ""}">'
            f"{_breakable(c.name, _IN_HEADER)}"
            + (f'<br><span class="unit">{text(c.unit)}</span>' if c.unit else "")
            + "</th>"
            for c in of.columns
        )
        yield f"<thead><tr>{head}</tr></thead>"
        yield "<tbody>"
        for row in of.rows:
            first, *others = row
            cells = [f'<th scope="row" class="{of.columns[0].align}">{self._cell(first)}</th>']
            for column, cell in zip(of.columns[1:], others, strict=True):
                look = f" {LOOKS[cell.answer][0]}" if cell.answer in LOOKS else ""
                cells.append(f'<td class="{column.align}{look}">{self._cell(cell)}</td>')
            long = ' class="long"' if max(map(_length, row)) > _TALL else ""
            yield f"<tr{long}>{''.join(cells)}</tr>"
        yield "</tbody>"
        yield "</table>"
        yield "</div>"

    def _cell(self, cell: Cell) -> str:
        said = self._runs(cell.runs)
        if cell.answer in LOOKS:
            sign = LOOKS[cell.answer][1]
            said += (
                f' <span class="sign" aria-hidden="true">{sign}</span>'
                f'<span class="unseen"> {text(cell.answer)}</span>'
            )
        return said

    def _figure(self, of: Figure) -> Iterator[str]:
        if of.key not in self.drawn:
            return
        data = base64.b64encode(self.drawn[of.key]).decode("ascii")
        half = ' class="half"' if of.half else ""
        yield f'<figure{half} id="{self.anchors[of.key]}">'
        yield f'<img src="data:image/svg+xml;base64,{data}" alt="{text(of.alt)}">'
        yield (
            f"<figcaption><strong>{self.labels[of.key]}.</strong> {text(of.caption)}</figcaption>"
        )
        yield "</figure>"

    def _runs(self, runs: Runs) -> str:
        return "".join(self._run(run) for run in runs)

    def _run(self, run: Run) -> str:
        match run:
            case Strong():
                return f"<strong>{_breakable(run.text)}</strong>"
            case Code():
                short = ' class="short"' if len(run.text) <= _SHORT else ""
                return f"<code{short}>{_breakable(run.text)}</code>"
            case Ref():
                return f'<a href="#{self.anchors[run.key]}">{self.labels[run.key]}</a>'
            case Number():
                return (
                    f'<data value="{run.value!r}" title="{text(run.key)}">{text(run.text)}</data>'
                )
            case _:
                return _breakable(run).replace("\n", "<br>")


def _length(cell: Cell) -> int:
    return sum(len(run if isinstance(run, str) else getattr(run, "text", "")) for run in cell.runs)


def _in_css(words: str) -> str:
    """Words as a string of a style sheet: what is neither letter nor digit by its number."""
    return "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):06x}" for c in words[:90])
