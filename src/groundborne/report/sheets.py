"""Sheets of a workbook: lines to read first, tables, drawings. Same content, same bytes."""

from __future__ import annotations

import importlib
import io
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import pandas as pd

from groundborne._checks import StudyError

_NO_TIME = datetime(1980, 1, 1)
_AS_TEXT = {"quote_prefix": True}
"""As if typed after an apostrophe: such a cell stays text when somebody edits it."""
_LONGEST_CELL = 32767
"""Characters that a cell of a workbook holds."""
_MINUS_ZERO = re.compile(r"(?<![^\s(])-(?=0\.0+(?!\d))")
_GREY, _SHADE, _LINE = "#E6E6E6", "#D9D9D9", "#C3CAD1"
_WIDEST = 110  # characters of a column of sentences
_FITS = 1.1  # letters of a sentence to a character of width, which is a digit
_ARROW = 3  # characters that the arrow of a filter covers
_A4 = 9
_WIDE, _TALL = 1000, 600  # pixels of 96 to an inch that a drawing fills of a sheet
_LINE_HEIGHT = 13.5  # points
_FONT = {"font_name": "Arial", "font_size": 10}
_CHARACTERS = 280  # that a printed page is wide at the least scale which is read

LOUD = ("caution", "cannot be met", "data", "measure again first")
"""Kinds of lines that stand in bold."""


@dataclass(frozen=True, kw_only=True)
class Lines:
    """A sheet of lines: what kind each is, and its text.

    Parameters
    ----------
    name : str
        Of the sheet.
    lines : sequence of tuple
        Kind and text.
    """

    name: str
    lines: Sequence[tuple[str, str]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """A sheet with a table.

    Parameters
    ----------
    name : str
        Of the sheet.
    table : DataFrame
        Numbers and texts; what is not a number is an empty cell.
    columns : mapping
        Header, number format and least width in characters, by column of the table.
    title : sequence of str
        Lines above the table, which stay in view with its header.
    marked : sequence of bool
        Rows that must not be overlooked; none where empty.
    wrapped : sequence of str
        Columns of long texts.
    by_row : mapping
        Number formats by row, of columns whose rows differ.
    totals : mapping
        What stands beneath the table, by column.
    footer : str
        At the foot of every printed page.
    """

    name: str
    table: pd.DataFrame
    columns: Mapping[str, tuple[str, str, int]]
    title: Sequence[str] = ()
    marked: Sequence[bool] = ()
    wrapped: Sequence[str] = ()
    by_row: Mapping[str, Sequence[str]] = field(default_factory=dict)
    totals: Mapping[str, object] = field(default_factory=dict)
    footer: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawing:
    """A sheet with a drawing.

    Parameters
    ----------
    name : str
        Of the sheet.
    title : sequence of str
        Lines above it.
    png : bytes
        The drawing.
    dpi : int
        Its dots to an inch.
    alt : str
        What is found in it, for who does not see it.
    """

    name: str
    title: Sequence[str]
    png: bytes
    dpi: int
    alt: str


def workbook_writer() -> Any:
    """The package that writes workbooks, or None; by name, so that it stays optional."""
    try:
        return importlib.import_module("xlsxwriter")
    except ImportError:
        return None


def workbook(
    writer: Any,
    where: str,
    sheets: Sequence[Lines | Sheet | Drawing],
    about: Mapping[str, str] | None = None,
) -> bytes:
    """A workbook of sheets; nothing in it is a formula.

    Parameters
    ----------
    writer : module
        From :func:`workbook_writer`.
    where : str
        Who asks, for messages.
    sheets : sequence
        In order.
    about : mapping, optional
        Properties of the file, such as ``title`` and ``author``.

    Raises
    ------
    StudyError
        A text is longer than a cell holds.
    """
    stream = io.BytesIO()
    as_text = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    options = {"in_memory": True, "default_format_properties": dict(_FONT), **as_text}
    with writer.Workbook(stream, options) as book:
        # The same table is the same file, whenever it is written.
        book.set_properties({**(about or {}), "created": _NO_TIME})
        on = _Book(book, where)
        for sheet in sheets:
            on.add(sheet)
    return stream.getvalue()


def one_line(text: object) -> str:
    r"""One line of text: a break in a user's text would begin a line of its own.

    Examples
    --------
    >>> one_line(" C1\nx ")
    'C1 x'
    """
    return " ".join(str(text).split())


def plain_cell(cell: object) -> object:
    r"""A number as it is, anything else as one line of text; without minus before a zero.

    Examples
    --------
    >>> plain_cell("a\nb"), plain_cell(-0.0)
    ('a b', 0.0)
    """
    if isinstance(cell, int | float):
        return cell + 0.0 if isinstance(cell, float) else cell
    return _MINUS_ZERO.sub("", one_line(cell))


class _Book:
    """A workbook that is being written, with the looks that its cells share."""

    def __init__(self, book: Any, where: str) -> None:
        self.book, self.where = book, where
        self.looks: dict[str, Any] = {}

    def look(self, **given: Any) -> Any:
        """A look of cells, the same object for the same look."""
        key = repr(sorted(given.items()))
        if key not in self.looks:
            self.looks[key] = self.book.add_format({"valign": "top", **_FONT, **given})
        return self.looks[key]

    def add(self, given: Lines | Sheet | Drawing) -> None:
        """Add a sheet."""
        sheet = self.book.add_worksheet(given.name)
        sheet.set_paper(_A4)
        sheet.set_landscape()
        sheet.set_margins(left=0.5, right=0.5, top=0.75, bottom=0.75)
        match given:
            case Lines():
                self._lines(sheet, given)
                sheet.fit_to_pages(1, 0)
            case Sheet():
                self._table(sheet, given)
            case Drawing():
                self._title(sheet, given.title)
                self._drawing(sheet, given)
                sheet.fit_to_pages(1, 1)

    def _lines(self, sheet: Any, given: Lines) -> None:
        bold = self.look(bold=True, **_AS_TEXT)
        wrapped = self.look(text_wrap=True, **_AS_TEXT)
        loud = self.look(bold=True, text_wrap=True, **_AS_TEXT)
        sheet.set_column(0, 0, max(16, *(len(kind) + 2 for kind, _ in given.lines)))
        sheet.set_column(1, 1, _WIDEST)
        for row, (kind, text) in enumerate(given.lines):
            sheet.set_row(row, _LINE_HEIGHT * _lines_of(one_line(text), _FITS * _WIDEST))
            self._text(sheet, row, 0, kind[:1].upper() + kind[1:], bold)
            self._text(sheet, row, 1, one_line(text), loud if kind in LOUD else wrapped)
        sheet.set_footer("&RPage &P of &N")

    def _title(self, sheet: Any, title: Sequence[str], *, at: int = 0) -> None:
        """Lines at the top, from a column on."""
        for row, text in enumerate(title):
            style = {"font_size": 13, "bold": True} if row == 0 else {}
            self._text(sheet, row, at, one_line(text), self.look(**style, **_AS_TEXT))
            sheet.set_row(row, _LINE_HEIGHT * (1.4 if row == 0 else 1.0))

    def _table(self, sheet: Any, given: Sheet) -> None:
        """Header, then the rows; those marked on grey and in bold."""
        table, top = given.table, len(given.title)
        rows = [[plain_cell(cell) for cell in row] for row in table.values.tolist()]
        heights, head, across = [1] * len(rows), 1, 0
        for at, name in enumerate(table.columns):
            title, digits, width = given.columns.get(name, (name, "", 14))
            cells = [row[at] for row in rows]
            wrap = name in given.wrapped
            width = _width(title, cells, width, wrap=wrap)
            head = max(head, _lines_of(title, width - 1))
            across += width
            sheet.set_column(at, at, width)
            words = {"align": "left", "indent": 1} if at else {}
            side = words if any(isinstance(cell, str) for cell in cells) else {"align": "right"}
            look = {"bold": True, "text_wrap": True, "bottom": 2, "bg_color": _GREY}
            self._text(sheet, top, at, title, self.look(**look, **side, **_AS_TEXT))
            for number, cell in enumerate(cells):
                if wrap:
                    heights[number] = max(heights[number], _lines_of(str(cell), _FITS * width))
                style: dict[str, Any] = {"text_wrap": wrap, "bottom": 1, "bottom_color": _LINE}
                own = given.by_row[name][number] if name in given.by_row else digits
                number_look = {"num_format": own or "General"}
                cell = _without_minus_zero(cell, own)
                style |= number_look if isinstance(cell, float | int) else {**words, **_AS_TEXT}
                if given.marked and given.marked[number]:
                    style |= {"bold": True, "bg_color": _SHADE}
                self._cell(sheet, top + 1 + number, at, cell, self.look(**style))
            if name in given.totals:
                total = {"num_format": digits} if digits else _AS_TEXT
                style = {"bold": True, "top": 2, **total}
                self._cell(sheet, top + 1 + len(rows), at, given.totals[name], self.look(**style))
        sheet.set_row(top, _LINE_HEIGHT * head + 3)
        for number, lines in enumerate(heights):
            if lines > 1:
                sheet.set_row(top + 1 + number, _LINE_HEIGHT * lines)
        sheet.freeze_panes(top + 1, 1)
        sheet.autofilter(top, 0, top + len(rows), len(table.columns) - 1)
        pages = math.ceil(across / _CHARACTERS)
        self._title(sheet, given.title, at=1 if pages > 1 else 0)
        sheet.repeat_rows(top)
        if pages > 1:  # beside each other, each with the first column; the title is not repeated
            sheet.repeat_columns(0)
        sheet.fit_to_pages(pages, 0)
        if given.title:
            sheet.set_header(f"&L{_escaped(given.title[0])}")
        sheet.set_footer(f"&L{_escaped(given.footer)}&RPage &P of &N")

    def _drawing(self, sheet: Any, given: Drawing) -> None:
        wide, tall = _size(given.png)
        scale = min(_WIDE / wide, _TALL / tall) * given.dpi / 96
        about = {"image_data": io.BytesIO(given.png), "x_scale": scale, "y_scale": scale}
        about |= {"description": given.alt, "object_position": 3}
        sheet.insert_image(len(given.title) + 1, 0, f"{given.name}.png", about)
        sheet.set_footer("&RPage &P of &N")

    def _cell(self, sheet: Any, row: int, column: int, cell: object, style: Any) -> None:
        if isinstance(cell, str):
            self._text(sheet, row, column, cell, style)
        elif isinstance(cell, float) and not math.isfinite(cell):
            self._text(sheet, row, column, "" if math.isnan(cell) else "none", style)
        else:
            sheet.write_number(row, column, cell, style)

    def _text(self, sheet: Any, row: int, column: int, text: str, style: Any) -> None:
        if len(text) > _LONGEST_CELL:
            raise StudyError(
                f"{self.where}: a text of {len(text)} characters is longer than a cell of a "
                f"workbook holds ({_LONGEST_CELL}); name a .csv file. It begins {text[:40]!r}"
            )
        if text:
            sheet.write_string(row, column, text, style)
        else:
            sheet.write_blank(row, column, None, style)


def _without_minus_zero(cell: object, digits: str) -> object:
    """A number that its format rounds to zero from below is shown as zero.

    Examples
    --------
    >>> _without_minus_zero(-0.04, "0.0"), _without_minus_zero(-0.06, "0.0")
    (0.0, -0.06)
    """
    plain = re.fullmatch(r"0(?:\.(0+))?", digits)
    if not isinstance(cell, float) or plain is None or not -1 < cell < 0:
        return cell
    return 0.0 if round(cell, len(plain.group(1) or "")) == 0 else cell


def _width(title: str, cells: Sequence[object], least: int, *, wrap: bool) -> int:
    """Characters of a column: words of its header stay whole, and so do texts that do not wrap."""
    header = max(map(len, title.split())) + _ARROW
    texts = max((len(cell) for cell in cells if isinstance(cell, str)), default=0)
    if not wrap:
        return max(least, header, min(texts + 1, _WIDEST))
    return max(header, min(least, texts + 2))


def _lines_of(title: str, width: float) -> int:
    """Lines that words take, one by one."""
    lines, left = 1, width
    for word in title.split():
        if len(word) > left and left < width:
            lines, left = lines + 1, width
        left -= len(word) + 1
    return lines


def _escaped(words: str) -> str:
    """Words of a head or foot, which holds 255 characters and takes & for a command."""
    return one_line(words)[:200].replace("&", "&&")


def _size(png: bytes) -> tuple[int, int]:
    """Width and height in pixels, which a PNG file tells first."""
    return int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")
