"""Tables for the site, cautions first: CSV, and a workbook on request."""

from __future__ import annotations

import csv
import importlib
import io
import re
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pandas as pd

from groundborne._checks import StudyError
from groundborne.files import write_files
from groundborne.tables import safe_cell

_MINUS_ZERO = re.compile(r"(?<![^\s(])-(?=0\.0+(?!\d))")
_NO_TIME = datetime(1980, 1, 1)
_AS_TEXT = {"quote_prefix": True}
"""As if typed after an apostrophe: such a cell stays text when somebody edits it."""
_LOUD = ("caution", "cannot be met", "measure again first")
"""Kinds of lines that stand in bold."""
_LONGEST_CELL = 32767
"""Characters that a cell of a workbook holds."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SiteTable:
    """What a site reads.

    Parameters
    ----------
    name : str
        Of the sheet.
    table : DataFrame
        Its header holds the units.
    head : sequence of tuple
        What has to be read before the table: kind of line and text.
    columns : mapping
        Header of the workbook, number format and width in characters, by column of the table.
    marked : sequence of bool
        Rows that must not be overlooked.
    wrapped : sequence of str
        Columns of long texts.
    """

    name: str
    table: pd.DataFrame
    head: Sequence[tuple[str, str]]
    columns: Mapping[str, tuple[str, str, int]]
    marked: Sequence[bool]
    wrapped: Sequence[str]


def write_site_table(
    where: str, file: str | FilePath, make: Callable[[], SiteTable], *, overwrite: bool
) -> list[FilePath]:
    """Write a table once: CSV, and a workbook beside it if `file` ends in ``.xlsx``.

    Raises
    ------
    StudyError
        Another ending, a folder that is not there, a file that is and may not be replaced, or no
        package for workbooks.
    """
    target = FilePath(file)
    suffix = target.suffix.lower()
    if suffix not in (".csv", ".xlsx"):
        raise StudyError(f"{where}: {target.name!r} must end in .csv or .xlsx")
    wanted = [target] if suffix == ".csv" else [target.with_suffix(".csv"), target]
    if not target.parent.is_dir():
        raise StudyError(f"{where}: the folder {target.parent} is not there; make it first")
    for one in wanted:
        if not overwrite and (one.exists() or one.is_symlink()):
            # Before the work; it is looked at again when the file takes its place.
            beside = f" (it is written beside {target.name})" if one != target else ""
            raise StudyError(
                f"{where}: {one} is there already{beside}; name a new file, or give overwrite=True "
                "to replace it"
            )
    given = make()
    _require_numbers(where, given.table)
    contents = [_csv(given.table, given.head)]
    if suffix == ".xlsx":
        writer = _workbook_writer()
        if writer is None:
            write_files({wanted[0]: contents[0]}, where=where, overwrite=overwrite)
            raise StudyError(
                f"{where}: {wanted[0].name} is written; {target.name} needs the package "
                "'xlsxwriter', which is not installed: install groundborne[report]"
            )
        contents.append(_workbook(writer, where, given))
    write_files(dict(zip(wanted, contents, strict=True)), where=where, overwrite=overwrite)
    return wanted


def _workbook_writer() -> Any:
    """The package that writes workbooks, or None; by name, so that it stays optional."""
    try:
        return importlib.import_module("xlsxwriter")
    except ImportError:
        return None


def _csv(table: pd.DataFrame, head: Sequence[tuple[str, str]]) -> bytes:
    stream = io.StringIO()
    writer = csv.writer(stream, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\n")
    for kind, text in head:
        stream.write(f"# {kind},")
        writer.writerow([safe_cell(_line(text))])
    stream.write(",".join(table.columns) + "\n")
    writer.writerows([safe_cell(_plain(c)) for c in row] for row in table.values.tolist())
    # The byte order mark tells spreadsheets the encoding.
    return stream.getvalue().encode("utf-8-sig")


def _plain(cell: object) -> object:
    """A number as it is, anything else as one line of text; without minus before a zero."""
    if isinstance(cell, int | float):
        return cell + 0.0 if isinstance(cell, float) else cell
    return _MINUS_ZERO.sub("", _line(cell))


def _line(text: object) -> str:
    """One line of text: a break in a user's text would begin a line of its own."""
    return " ".join(str(text).split())


def _require_numbers(where: str, table: pd.DataFrame) -> None:
    for name in table.columns:
        if table[name].dtype.kind == "f" and not np.isfinite(table[name]).all():
            at = int(np.argmin(np.isfinite(table[name].to_numpy())))
            row = f"{table.columns[0]} {table.iloc[at, 0]!r}"
            raise StudyError(f"{where}: {name} in row {at} is not a number ({row})")


def attribute_lines(
    attrs: Mapping[Hashable, Any], kinds: Sequence[tuple[str, str]]
) -> list[tuple[str, str]]:
    """Lines of a head from the attributes that are there: kind of line, name of the attribute."""
    return [(kind, str(attrs[name])) for kind, name in kinds if attrs.get(name)]


def _workbook(writer: Any, where: str, given: SiteTable) -> bytes:
    stream = io.BytesIO()
    as_text = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with writer.Workbook(stream, {"in_memory": True, **as_text}) as book:
        # The same table is the same file, whenever it is written.
        book.set_properties({"created": _NO_TIME})
        top: dict[str, Any] = {"valign": "top", **_AS_TEXT}
        bold = book.add_format({"bold": True, **top})
        wrapped = book.add_format({"text_wrap": True, **top})
        first = book.add_worksheet("Read first")
        first.set_column(0, 0, 16)
        first.set_column(1, 1, 110)
        for row, (kind, text) in enumerate(given.head):
            _text(where, first, row, 0, kind.capitalize(), bold)
            look = bold if kind in _LOUD else wrapped
            _text(where, first, row, 1, _line(text), look)
        first.set_landscape()
        first.fit_to_pages(1, 0)
        sheet = book.add_worksheet(given.name)
        _fill(book, where, sheet, given)
    return stream.getvalue()


def _fill(book: Any, where: str, sheet: Any, given: SiteTable) -> None:
    """Header, then the rows; those marked on grey and in bold."""
    table = given.table
    header = book.add_format(
        {"bold": True, "text_wrap": True, "valign": "top", "bottom": 2, "bg_color": "#E6E6E6"}
        | _AS_TEXT
    )
    failing: dict[str, Any] = {"bold": True, "bg_color": "#D9D9D9"}
    rows = table.values.tolist()
    for at, name in enumerate(table.columns):
        title, digits, width = given.columns.get(name, (name, "", 14))
        look = {"valign": "top", "text_wrap": name in given.wrapped}
        look |= {"num_format": digits} if digits else _AS_TEXT
        plain, marked = book.add_format(look), book.add_format({**look, **failing})
        sheet.set_column(at, at, width)
        _text(where, sheet, 0, at, title, header)
        for number, row in enumerate(rows, start=1):
            style = marked if given.marked[number - 1] else plain
            cell = _plain(row[at])
            if isinstance(cell, str):
                _text(where, sheet, number, at, cell, style)
            else:
                sheet.write_number(number, at, cell, style)
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, len(rows), len(table.columns) - 1)
    sheet.repeat_rows(0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&LThe cautions on the first sheet are part of this table.&RPage &P of &N")


def _text(where: str, sheet: Any, row: int, column: int, text: str, style: Any) -> None:
    if len(text) > _LONGEST_CELL:
        raise StudyError(
            f"{where}: a text of {len(text)} characters is longer than a cell of a workbook "
            f"holds ({_LONGEST_CELL}); name a .csv file. It begins {text[:40]!r}"
        )
    sheet.write_string(row, column, text, style)
