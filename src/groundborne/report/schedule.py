"""The pack schedule as a table for the site: CSV, and a workbook on request."""

from __future__ import annotations

import re
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne.report.site_table import SiteTable, attribute_lines, write_site_table
from groundborne.sizing import Schedule

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
    "residual_travel_mm": ("Least residual travel, mm", "0.0", 10),
    "residual_travel_soft_mm": ("Least residual travel, softest parts, mm", "0.0", 10),
    "fail_safe_gap_mm": ("Fail-safe gap, mm", "0.0", 9),
    "fail_safe_gap_most_mm": ("Fail-safe gap, at most, mm", "0.0", 9),
    "lateral_stiffness_kn_mm": ("Lateral stiffness, kN/mm", "0.00", 10),
    "creep_mm": ("Creep, mm", "0.00", 8),
    "governing_case": ("Governing case", "", 16),
    "lowest_case": ("Case of the lowest load", "", 16),
    "met": ("Rules met", "", 8),
    "why": ("Why not", "", 70),
}
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
    return write_site_table(
        "write_schedule",
        file,
        lambda: SiteTable(
            name="Schedule",
            table=(table := _table(schedule)),
            head=_head(schedule),
            columns=_SHEET,
            marked=table["met"].ne("yes").tolist(),
            wrapped=("pack", "why"),
        ),
        overwrite=overwrite,
    )


def _table(schedule: Schedule) -> pd.DataFrame:
    table = schedule.table()
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
            "table is the one that is held or the nearest; the last column says which rules it "
            "breaks, and what would keep all but one"
        )
        found.append(("cannot be met", text))
    reasons = set(bad["why"].values.tolist())
    found += [("note", text) for text in schedule.notes if text not in reasons]
    found.append(("spread", _spread(data)))
    found += attribute_lines(attrs, (("proof", "proof"),))
    found += [("source", t) for t in _END_OF_SOURCE.split(str(attrs.get("citations", ""))) if t]
    return found


def _spread(data: xr.Dataset) -> str:
    """Largest less smallest deflection, and of which columns."""
    met, total = data["met"].values, data.sizes["column"]
    deflection = data["deflection"].values * 1e3

    def spread(of: np.ndarray[Any, Any]) -> str:
        return f"{np.ptp(deflection[of]):.2f} mm"

    if met.all():
        return f"{spread(met)} between the deflections of all {total} columns"
    all_of_them = f"{spread(np.ones_like(met))} with those that cannot be met"
    if not met.any():
        return f"{all_of_them}; no column can be met"
    return (
        f"{spread(met)} between the deflections of {met.sum()} of {total} columns, without those "
        f"that cannot be met; {all_of_them}"
    )
