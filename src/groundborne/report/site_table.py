"""Tables for the site, cautions first: CSV, and a workbook on request."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pandas as pd

from groundborne._checks import StudyError
from groundborne.files import write_files
from groundborne.report.sheets import (
    Drawing,
    Lines,
    Sheet,
    one_line,
    plain_cell,
    workbook,
    workbook_writer,
)
from groundborne.tables import safe_cell


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
    title : sequence of str
        Lines above the table of the workbook.
    totals : mapping
        What stands beneath it, by column.
    plan : Drawing, optional
        A sheet of its own behind it.
    about : mapping
        Properties of the workbook.
    """

    name: str
    table: pd.DataFrame
    head: Sequence[tuple[str, str]]
    columns: Mapping[str, tuple[str, str, int]]
    marked: Sequence[bool]
    wrapped: Sequence[str]
    title: Sequence[str] = ()
    totals: Mapping[str, object] = field(default_factory=dict)
    plan: Drawing | None = None
    about: Mapping[str, str] = field(default_factory=dict)


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
        writer = workbook_writer()
        if writer is None:
            write_files({wanted[0]: contents[0]}, where=where, overwrite=overwrite)
            raise StudyError(
                f"{where}: {wanted[0].name} is written; {target.name} needs the package "
                "'xlsxwriter', which is not installed: install groundborne[report]"
            )
        contents.append(_workbook(writer, where, given))
    write_files(dict(zip(wanted, contents, strict=True)), where=where, overwrite=overwrite)
    return wanted


def _csv(table: pd.DataFrame, head: Sequence[tuple[str, str]]) -> bytes:
    stream = io.StringIO()
    writer = csv.writer(stream, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\n")
    for kind, text in head:
        stream.write(f"# {kind},")
        writer.writerow([safe_cell(one_line(text))])
    stream.write(",".join(table.columns) + "\n")
    writer.writerows([safe_cell(plain_cell(c)) for c in row] for row in table.values.tolist())
    # The byte order mark tells spreadsheets the encoding.
    return stream.getvalue().encode("utf-8-sig")


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
    """What has to be read first, the table, and a plan where there is one."""
    table = Sheet(
        name=given.name,
        table=given.table,
        columns=given.columns,
        title=given.title,
        marked=given.marked,
        wrapped=given.wrapped,
        totals=given.totals,
        footer="The cautions on the first sheet are part of this table.",
    )
    first = Lines(name="Read first", lines=given.head)
    drawn = [given.plan] if given.plan else []
    return workbook(writer, where, [first, table, *drawn], given.about)
