"""The pack schedule as a table for the site: CSV, and a workbook on request."""

from __future__ import annotations

import re
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne import plot
from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.loads import ColumnLoads
from groundborne.report.picture import Picture, single
from groundborne.report.sheets import Drawing
from groundborne.report.site_table import SiteTable, attribute_lines, write_site_table
from groundborne.report.title_block import block_lines, properties, title_lines
from groundborne.sizing import Schedule
from groundborne.study import Study

# Column of the table, header of the workbook, number format, width in characters.
_SHEET: dict[str, tuple[str, str, int]] = {
    "column": ("Column", "", 10),
    "x_m": ("x, m", "0.00", 8),
    "y_m": ("y, m", "0.00", 8),
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
    "own_mass_kg": ("Own mass that surges, kg", "0", 9),
    "surge_frequency_hz": ("First surge of the parts, Hz", "0", 9),
    "residual_travel_mm": ("Least residual travel, mm", "0.0", 10),
    "residual_travel_soft_mm": ("Least residual travel, softest parts, mm", "0.0", 10),
    "fail_safe_gap_mm": ("Fail-safe gap, mm", "0.0", 9),
    "fail_safe_gap_most_mm": ("Fail-safe gap, at most, mm", "0.0", 9),
    "lateral_stiffness_kn_mm": ("Lateral stiffness, kN/mm", "0.0", 10),
    "creep_mm": ("Creep, mm", "0.0", 8),
    "governing_case": ("Governing case", "", 16),
    "lowest_case": ("Case of the lowest load", "", 16),
    "met": ("Rules met", "", 8),
    "why": ("Reason", "", 70),
}
_SUMMED = ("number", "load_kn", "own_mass_kg")
_DPI = 150  # of the plan
# Numbers that follow from the stiffness of the parts, and with what power of it they go.
_TOLERATED = {
    "deflection_mm": 1.0,
    "deflection_low_mm": 1.0,
    "deflection_high_mm": 1.0,
    "natural_frequency_hz": 0.5,
}
# Each source ends in its mark in brackets; inside one, semicolons occur.
_END_OF_SOURCE = re.compile(r"(?<=\]); ")


@checked
def write_schedule(
    schedule: Schedule,
    file: str | FilePath,
    *,
    study: Study | None = None,
    loads: ColumnLoads | None = None,
    overwrite: bool = False,
) -> list[FilePath]:
    """Write a pack schedule for those who order, build and check the packs.

    Parameters
    ----------
    schedule : Schedule
        From :func:`groundborne.sizing.make_schedule`.
    file : str or Path
        File ending in ``.csv``; or in ``.xlsx`` for a workbook with the CSV beside it.
    study : Study, optional
        Whose title block stands on it (project, client, date, revision, status), and whose columns
        tell their coordinates.
    loads : ColumnLoads, optional
        The same coordinates without a study, or in place of its own.
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
        number that is none, or a column that has no coordinates where others have: nothing is
        written then. A workbook without the package that writes
        it: the CSV is written, and the sentence says so.

    Notes
    -----
    The CSV begins with lines that start with ``#``: revision, cautions, columns that cannot be met
    and notes; then come the header, whose names hold the units, and a row for each column. The
    workbook has these lines on its first sheet, the table with its totals on its second, its header
    frozen, and on its third a plan of the loads where the columns have coordinates. It prints on
    A4. Deflections and frequencies show no digit below a tenth of what the tolerance of the parts
    leaves open; the cells hold the numbers of the CSV.
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
    place = _places(schedule, study, loads)
    return write_site_table(
        "write_schedule",
        file,
        lambda: _site_table(schedule, study, place),
        overwrite=overwrite,
    )


def _site_table(
    schedule: Schedule, study: Study | None, place: dict[str, xr.DataArray]
) -> SiteTable:
    table = _table(schedule, place)
    return SiteTable(
        name="Schedule",
        table=table,
        head=[*(block_lines(study) if study else ()), *_head(schedule)],
        columns={**_SHEET, **_digits(table)},
        marked=table["met"].ne("yes").tolist(),
        wrapped=("pack", "why"),
        title=_title(schedule, study, table) if study else (),
        totals={"column": "Total", **{n: table[n].sum() for n in _SUMMED if n in table}},
        plan=_plan(schedule, place, study) if place else None,
        about=properties(study) if study else {},
    )


def _places(
    schedule: Schedule, study: Study | None, loads: ColumnLoads | None
) -> dict[str, xr.DataArray]:
    """Coordinates of the columns [m]; none where nobody told them."""
    names = schedule.data["column"].values.tolist()
    own = [*(part.loads for part in study.parts), study.building.loads] if study else []
    each = own if loads is None else [loads]
    known = [one.data for one in each if one is not None and {"x", "y"} <= set(one.data)]
    if not known:
        return {}
    for data in known:
        if set(names) <= set(data["column"].values.tolist()):
            return {n: data[n].sel(column=names).drop_attrs() for n in ("x", "y")}
    held = set().union(*(data["column"].values.tolist() for data in known))
    lacking = next(n for n in names if n not in held or len(known) > 1)
    raise StudyError(
        f"write_schedule: column {lacking!r} of the schedule has no coordinates in the "
        f"{'loads' if loads is not None else 'columns of the study'}; pass those it was made for"
    )


def _title(schedule: Schedule, study: Study, table: pd.DataFrame) -> tuple[str, ...]:
    """Lines above the table: what, for whom, in which state."""
    load = f"{table['load_kn'].sum():,.0f} kN quasi-permanent".replace(",", "\N{NO-BREAK SPACE}")
    parts = int(table["number"].sum())
    of = f"loads revision {schedule.revision}; " if schedule.revision else ""
    return (
        *title_lines(study, "schedule of packs"),
        f"{of}{len(table)} columns, {parts} parts, {load}",
    )


def _digits(table: pd.DataFrame) -> dict[str, tuple[str, str, int]]:
    """Formats without a digit below a tenth of what the tolerance of stiffness leaves open."""
    ends = table["deflection_high_mm"] - table["deflection_low_mm"]
    open_share = float((ends / 2 / table["deflection_mm"]).min())
    found = {}
    for name, power in _TOLERATED.items():
        half = float(table[name].min()) * power * open_share
        places = int(np.clip(np.floor(1 - np.log10(half)), 0, 2)) if half > 0 else 2
        found[name] = (_SHEET[name][0], f"0.{'0' * places}".rstrip("."), _SHEET[name][2])
    return found


def _plan(schedule: Schedule, place: dict[str, xr.DataArray], study: Study | None) -> Drawing:
    what = "plan of the columns, quasi-permanent load"
    failing = int((~schedule.data["met"]).sum())
    told = f"; {failing} of them cannot be met" if failing else ""
    picture = Picture(
        section="schedule",
        slug="plan",
        caption="",
        alt="",
        size=(9.6, 6.0),
        draw=single(
            lambda ax: plot.columns(schedule, x=place["x"], y=place["y"], quantity="load", ax=ax)
        ),
        invented=study is not None and study.invented,
    )
    return Drawing(
        name="Plan",
        title=title_lines(study, what) if study else (what.capitalize(),),
        png=picture.png(_DPI),
        dpi=_DPI,
        alt=f"Plan of {schedule.data.sizes['column']} columns with their loads{told}.",
    )


def _table(schedule: Schedule, place: dict[str, xr.DataArray]) -> pd.DataFrame:
    table = schedule.table()
    for at, (name, values) in enumerate(place.items(), start=1):
        table.insert(at, f"{name}_m", values.values)
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
