"""The method statement of a release as a table for the site: CSV, and a workbook on request."""

from __future__ import annotations

from pathlib import Path as FilePath

import pandas as pd

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.report.site_table import SiteTable, attribute_lines, write_site_table

# Column of the table, header of the workbook, number format, width in characters.
_SHEET: dict[str, tuple[str, str, int]] = {
    "step": ("Step", "0", 6),
    "kind": ("Kind", "", 11),
    "columns": ("Columns", "", 18),
    "action": ("Action", "", 40),
    "let_down_mm": ("Let down, mm, down positive", "", 26),
    "jack_load_kn": ("Jack load of the step, expected, at most, kN", "", 22),
    "lock_load_kn": ("Lock load, expected (work: at most; hold point: after it), kN", "", 30),
    "pack_load_kn": ("Load of springs, expected, at most, kN", "", 14),
    "column_load_kn": ("Column load, expected, at most, kN", "", 14),
    "column_least_kn": ("Column load, expected, at least, kN", "", 14),
    "movement_mm": ("Movement since locking, expected, mm", "", 30),
    "differential_mm": ("Between neighbours, expected, mm", "0.00", 12),
    "differential_bound_mm": ("Between neighbours if the frame follows, mm", "0.00", 12),
    "tilt": ("Tilt, expected", "", 12),
    "tilt_bound": ("Tilt if the frame follows", "", 12),
    "limits": ("Limits", "", 40),
    "check": ("Hold point: check before going on", "", 50),
    "released_by": ("Released by", "", 24),
}


@checked
def write_method_statement(
    statement: pd.DataFrame, file: str | FilePath, *, overwrite: bool = False
) -> list[FilePath]:
    """Write steps and hold points of a release for those who carry it out and release it.

    Parameters
    ----------
    statement : DataFrame
        From :func:`groundborne.sizing.method_statement`.
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
        A table without its cautions or with other columns; another ending, a folder that is not
        there, a file that is and may not be replaced, a workbook without the package for it.

    Notes
    -----
    Lines that start with ``#`` come first: cautions, what the loads assume and how short the order
    is proven to be. Hold points stand out in the workbook. Text that looks like a formula is text.

    Examples
    --------
    >>> import tempfile
    >>> row = dict.fromkeys(_SHEET, "") | {"step": 0, "kind": "hold point", "differential_mm": 0.0}
    >>> row["differential_bound_mm"] = 0.0
    >>> table = pd.DataFrame([row])
    >>> table.attrs |= {"cautions": ("Local codes govern.",), "proof": "", "assumption": ""}
    >>> (written,) = write_method_statement(table, FilePath(tempfile.mkdtemp()) / "release.csv")
    >>> written.read_text(encoding="utf-8-sig").splitlines()[0]
    '# caution,"Local codes govern."'
    """
    where = "write_method_statement"
    if statement.columns.tolist() != list(_SHEET) or not statement.attrs.get("cautions"):
        raise StudyError(
            f"{where}: the table is not one of method_statement as it came, with its columns and "
            "its cautions"
        )
    head = [("caution", str(text)) for text in statement.attrs["cautions"]]
    kinds = (("note", "assumption"), ("proof", "proof"), ("source", "citations"))
    head += attribute_lines(statement.attrs, kinds)
    holds = statement["kind"].eq("hold point").tolist()
    wrapped = (
        "columns", "action", "let_down_mm", "jack_load_kn", "lock_load_kn", "movement_mm", "limits",
        "check", "released_by",
    )  # fmt: skip
    return write_site_table(
        where,
        file,
        lambda: SiteTable(
            name="Release",
            table=statement,
            head=head,
            columns=_SHEET,
            marked=holds,
            wrapped=wrapped,
        ),
        overwrite=overwrite,
    )
