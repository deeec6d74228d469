"""Turns of jacks after a survey as a table for the site: CSV, and a workbook on request."""

from __future__ import annotations

from pathlib import Path as FilePath

import pandas as pd

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.report.site_table import SiteTable, attribute_lines, write_site_table

_LOAD = "Load on its mount, kN, "
# Column of the table, header of the workbook, number format, width in characters.
_JACKS: dict[str, tuple[str, str, int]] = {
    "jack": ("Jack", "", 10),
    "turns": ("Turns", "0.00", 8),
    "direction": ("Direction", "", 10),
    "movement_mm": ("Movement, mm, up positive", "0.00", 12),
    "load_before_uncracked_kn": (f"{_LOAD}before, slab whole", "0.00", 14),
    "load_after_uncracked_kn": (f"{_LOAD}after, slab whole", "0.00", 14),
    "load_before_cracked_kn": (f"{_LOAD}before, slab cracked", "0.00", 14),
    "load_after_cracked_kn": (f"{_LOAD}after, slab cracked", "0.00", 14),
}
_PASSES: dict[str, tuple[str, str, int]] = {
    "pass": ("Pass", "0", 6),
    "step": ("Step", "0", 6),
    "jack": ("Jack", "", 10),
    "turns": ("Turns", "0.00", 8),
    "direction": ("Direction", "", 10),
    "then": ("Then", "", 28),
    "expected": ("Expected at the hold, to read against", "", 90),
}
_RULE = "measure again before anything is jacked there"


@checked
def write_correction(
    table: pd.DataFrame, file: str | FilePath, *, overwrite: bool = False
) -> list[FilePath]:
    """Write the jacks that are turned, or the steps of each pass, for those who turn them.

    Parameters
    ----------
    table : DataFrame
        From :func:`groundborne.sizing.correction_table` or :func:`groundborne.sizing.pass_table`.
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
        A table without its cautions or with other columns, or with a number that is none; another
        ending, a folder that is not there, a file that is and may not be replaced, a workbook
        without the package for it.

    Notes
    -----
    Lines that start with ``#`` come first: before all others the points to be measured again
    before any jack is turned there, then the mounts beyond their limits, the points that cannot be
    met, cautions, notes and sources. The holds after each pass stand out in the workbook. Text that
    looks like a formula is text.

    Examples
    --------
    >>> import tempfile
    >>> table = pd.DataFrame([dict.fromkeys(_PASSES, "") | {"pass": 1, "step": 1, "turns": 0.25}])
    >>> table.attrs |= {"cautions": "Local codes govern.", "note": "", "unmet": (),
    ...     "blunders": ("point P5 is 38 mm above the plane of its neighbours: measure it again",)}
    >>> (written,) = write_correction(table, FilePath(tempfile.mkdtemp()) / "passes.csv")
    >>> print(written.read_text(encoding="utf-8-sig").splitlines()[0])  # doctest: +ELLIPSIS
    # measure again first,"point P5 is 38 mm above ...; measure again before anything is jacked ..."
    """
    where = "write_correction"
    columns = {tuple(c): c for c in (_JACKS, _PASSES)}.get(tuple(table.columns))
    if columns is None or not table.attrs.get("cautions") or "blunders" not in table.attrs:
        raise StudyError(
            f"{where}: the table is not one of correction_table or pass_table as it came, with its "
            "columns, its cautions and its blunders"
        )
    held = table["then"].ne("next jack") if "then" in table else pd.Series(False, index=table.index)
    return write_site_table(
        where,
        file,
        lambda: SiteTable(
            name="Passes" if columns is _PASSES else "Jacks",
            table=table,
            head=_head(table),
            columns=columns,
            marked=held.tolist(),
            wrapped=("then", "expected"),
        ),
        overwrite=overwrite,
    )


def _head(table: pd.DataFrame) -> list[tuple[str, str]]:
    """What has to be read before the table: kind of line and text."""
    attrs = table.attrs
    again = "measure again first"
    found = [(again, f"{text.removesuffix(': measure it again')}; {_RULE}") for text in
             attrs["blunders"]]  # fmt: skip
    if not found:
        found = [(again, "no point: every reading fits its neighbours")]
    found += [("beyond limits", str(text)) for text in attrs.get("outside", ())]
    found += [("cannot be met", str(text)) for text in attrs.get("unmet", ())]
    found.append(("caution", str(attrs["cautions"])))
    kinds = (("note", "note"), ("note", "midway"), ("proof", "proof"), ("source", "citations"))
    return found + attribute_lines(attrs, kinds)
