"""The pack schedule as a table for the site: CSV, and a workbook on request."""

from __future__ import annotations

import csv
import importlib
import io
import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pandas as pd

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.files import write_files
from groundborne.sizing import Schedule
from groundborne.tables import safe_cell

# Column of the table, header of the workbook, number format, width in characters.
_SHEET: dict[str, tuple[str, str, int]] = {
    "column": ("Column", "", 10),
    "pack": ("Pack", "", 26),
    "number": ("Parts", "0", 7),
    "load_kn": ("Load, quasi-permanent, kN", "0", 11),
    "lowest_load_kn": ("Lowest load of all cases, kN", "0", 10),
    "least_load_kn": ("Least load the pack needs, kN", "0", 10),
    "tie_force_kn": ("Tie where the column lifts, kN", "0", 10),
    "load_ratio": ("Load ratio, of rated load", "0.00", 9),
    "deflection_mm": ("Deflection, mm", "0.00", 10),
    "deflection_low_mm": ("Deflection, stiffest parts, mm", "0.00", 10),
    "deflection_high_mm": ("Deflection, softest parts, mm", "0.00", 10),
    "natural_frequency_hz": ("Natural frequency, Hz", "0.00", 10),
    "own_mass_kg": ("Own mass that surges, kg", "0.0", 9),
    "surge_frequency_hz": ("First surge of the parts, Hz", "0", 9),
    "travel_left_mm": ("Least travel left, mm", "0.0", 10),
    "travel_left_soft_mm": ("Least travel left, softest parts, mm", "0.0", 10),
    "stop_gap_mm": ("Stop gap, mm", "0.0", 9),
    "stop_gap_most_mm": ("Stop gap, at most, mm", "0.0", 9),
    "lateral_stiffness_kn_mm": ("Lateral stiffness, kN/mm", "0.00", 10),
    "creep_mm": ("Creep, mm", "0.00", 8),
    "governing_case": ("Governing case", "", 16),
    "lowest_case": ("Case of the lowest load", "", 16),
    "met": ("Rules met", "", 8),
    "why": ("Why not", "", 70),
}
_NO_TIME = datetime(1980, 1, 1)
_AS_TEXT = {"quote_prefix": True}
"""As if typed after an apostrophe: such a cell stays text when somebody edits it."""
_LONGEST_CELL = 32767
"""Characters that a cell of a workbook holds."""
# Each source ends in its mark in brackets; inside one, semicolons occur.
_END_OF_SOURCE = re.compile(r"(?<=\]); ")


@checked
def write_schedule(
    schedule: Schedule, file: str | FilePath, *, overwrite: bool = False
) -> list[FilePath]:
    """Write a pack schedule for those who order, build and check the packs.

    Parameters
    ----------
    schedule : Schedule
        From :func:`groundborne.sizing.make_schedule`.
    file : str or Path
        File ending in ``.csv``; or in ``.xlsx`` for a workbook with the CSV beside it.
    overwrite : bool
        Whether files that are there may be replaced; they stay until the new ones are whole.

    Returns
    -------
    list of Path
        What was written: the CSV, then the workbook if there is one.

    Raises
    ------
    StudyError
        Another ending, a folder that is not there, a file that is and may not be replaced, or a
        number that is none: nothing is written then. A workbook without the package that writes
        it: the CSV is written, and the sentence says so.

    Notes
    -----
    The CSV begins with lines that start with ``#``: revision, cautions, columns that cannot be met
    and notes; then come the header, whose names hold the units, and a row for each column. The
    workbook has these lines on its first sheet and the table on its second, its header frozen.
    Text that looks like a formula is text in both: marked by an apostrophe in the CSV, a text cell
    in the workbook.

    Examples
    --------
    >>> import tempfile
    >>> import xarray as xr
    >>> from groundborne import sizing
    >>> springs = sizing.read_components("data/components/springs.csv")
    >>> load = xr.DataArray([[2.0e6, 2.0e5]], dims=("case", "column"),
    ...     coords={"case": ["quasi-permanent"], "column": ["A1", "A2"]},
    ...     attrs={"units": "N", "revision": "P1"})
    >>> packs = sizing.choose_packs(
    ...     load, springs, rules=sizing.PackRules(natural_frequency=(3.4, 3.6)))
    >>> folder = FilePath(tempfile.mkdtemp())
    >>> (written,) = write_schedule(sizing.make_schedule(packs), folder / "packs.csv")
    >>> written.read_text(encoding="utf-8-sig").splitlines()[0]
    '# revision,"P1"'
    """
    where = "write_schedule"
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
    table, head = _table(schedule), _head(schedule)
    contents = [_csv(table, head)]
    if suffix == ".xlsx":
        writer = _workbook_writer()
        if writer is None:
            write_files({wanted[0]: contents[0]}, where=where, overwrite=overwrite)
            raise StudyError(
                f"{where}: {wanted[0].name} is written; {target.name} needs the package "
                "'xlsxwriter', which is not installed: install groundborne[report]"
            )
        contents.append(_workbook(writer, table, head))
    write_files(dict(zip(wanted, contents, strict=True)), where=where, overwrite=overwrite)
    return wanted


def _workbook_writer() -> Any:
    """The package that writes workbooks, or None; by name, so that it stays optional."""
    try:
        return importlib.import_module("xlsxwriter")
    except ImportError:
        return None


def _table(schedule: Schedule) -> pd.DataFrame:
    table = schedule.table()
    for name in table.columns:
        if table[name].dtype.kind == "f" and not np.isfinite(table[name]).all():
            first = table["column"][~np.isfinite(table[name])].iloc[0]
            raise StudyError(f"write_schedule: {name} of column {str(first)!r} is not a number")
    table["met"] = np.where(table["met"], "yes", "no")
    return table


def _head(schedule: Schedule) -> list[tuple[str, str]]:
    """What has to be read before the table: kind of line and text."""
    data, attrs = schedule.data, schedule.data.attrs
    bad = data.isel(column=~data["met"].values)
    names = [str(n) for n in bad["column"].values]
    found = [("revision", schedule.revision)]
    found += [("caution", text) for text in schedule.cautions]
    if names:
        text = (
            f"{len(names)} of {data.sizes['column']} columns: {', '.join(names)}; the pack in the "
            "table is the nearest and breaks a rule, the reasons are in the last column"
        )
        found.append(("cannot be met", text))
    reasons = set(bad["why"].values.tolist())
    found += [("note", text) for text in schedule.notes if text not in reasons]
    found += [(k, str(attrs[k])) for k in ("proof",) if attrs.get(k)]
    found += [("source", t) for t in _END_OF_SOURCE.split(str(attrs.get("citations", ""))) if t]
    # A line each: a break in a user's text would begin a line of its own.
    return [(kind, " ".join(text.split())) for kind, text in found]


def _csv(table: pd.DataFrame, head: Sequence[tuple[str, str]]) -> bytes:
    stream = io.StringIO()
    writer = csv.writer(stream, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\n")
    for kind, text in head:
        stream.write(f"# {kind},")
        writer.writerow([safe_cell(text)])
    stream.write(",".join(table.columns) + "\n")
    writer.writerows([safe_cell(_plain(c)) for c in row] for row in table.values.tolist())
    # The byte order mark tells spreadsheets the encoding.
    return stream.getvalue().encode("utf-8-sig")


def _plain(cell: object) -> object:
    """A number as it is, anything else as one line of text."""
    return cell if isinstance(cell, int | float) else " ".join(str(cell).split())


def _workbook(writer: Any, table: pd.DataFrame, head: Sequence[tuple[str, str]]) -> bytes:
    stream = io.BytesIO()
    as_text = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with writer.Workbook(stream, {"in_memory": True, **as_text}) as book:
        # The same schedule is the same file, whenever it is written.
        book.set_properties({"created": _NO_TIME})
        top: dict[str, Any] = {"valign": "top", **_AS_TEXT}
        bold = book.add_format({"bold": True, **top})
        wrapped = book.add_format({"text_wrap": True, **top})
        first = book.add_worksheet("Read first")
        first.set_column(0, 0, 16)
        first.set_column(1, 1, 110)
        for row, (kind, text) in enumerate(head):
            _text(first, row, 0, kind.capitalize(), bold)
            _text(first, row, 1, text, bold if kind in ("caution", "cannot be met") else wrapped)
        first.set_landscape()
        first.fit_to_pages(1, 0)
        sheet = book.add_worksheet("Schedule")
        _fill(book, sheet, table)
    return stream.getvalue()


def _fill(book: Any, sheet: Any, table: pd.DataFrame) -> None:
    """Header, then one row for each column; those that cannot be met on grey and in bold."""
    header = book.add_format(
        {"bold": True, "text_wrap": True, "valign": "top", "bottom": 2, "bg_color": "#E6E6E6"}
        | _AS_TEXT
    )
    failing: dict[str, Any] = {"bold": True, "bg_color": "#D9D9D9"}
    rows = table.values.tolist()
    met = table["met"].eq("yes").tolist()
    for at, name in enumerate(table.columns):
        title, digits, width = _SHEET.get(name, (name, "", 14))
        look = {"valign": "top", "text_wrap": name in ("pack", "why")}
        look |= {"num_format": digits} if digits else _AS_TEXT
        plain, marked = book.add_format(look), book.add_format({**look, **failing})
        sheet.set_column(at, at, width)
        _text(sheet, 0, at, title, header)
        for number, row in enumerate(rows, start=1):
            style = plain if met[number - 1] else marked
            cell = _plain(row[at])
            if isinstance(cell, str):
                _text(sheet, number, at, cell, style)
            else:
                sheet.write_number(number, at, cell, style)
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, len(rows), len(table.columns) - 1)
    sheet.repeat_rows(0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&LThe cautions on the first sheet are part of this table.&RPage &P of &N")


def _text(sheet: Any, row: int, column: int, text: str, style: Any) -> None:
    if len(text) > _LONGEST_CELL:
        raise StudyError(
            f"write_schedule: a text of {len(text)} characters is longer than a cell of a workbook "
            f"holds ({_LONGEST_CELL}); name a .csv file. It begins {text[:40]!r}"
        )
    sheet.write_string(row, column, text, style)
