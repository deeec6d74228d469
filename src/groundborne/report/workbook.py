"""A report as a workbook: the schedule of mounts, and the tables that a person reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

import groundborne
from groundborne import plot
from groundborne.report.facts import Facts
from groundborne.report.mount_table import ALL
from groundborne.report.picture import Picture, single
from groundborne.report.sheets import Drawing, Lines, Sheet, workbook, workbook_writer
from groundborne.report.title_block import block_lines, properties, title_lines
from groundborne.sizing import CAUTIONS
from groundborne.study.belonging import CHECKSUM

READ = {
    "options": ("Options", "Options compared"),
    "assessment": ("Assessment", "Assessment of every room, criterion and option"),
    "equipment": ("Equipment", "Assessment of equipment"),
    "mounts": ("Mounts", "Mounts of every option, by column"),
    "resonances": ("Resonances", "Resonances of every option, with those that coincide"),
    "rated_spectra": ("Rated spectra", "Spectra that the critical rooms are rated of"),
    "base_isolation": ("Base isolation", "Level change by base isolation, positive raises"),
    "error_budget": ("Error budget", "Errors of the ratings by source"),
    "measurements_worth": ("Measuring", "What measurements would do for the ratings"),
}
"""Tables that have a sheet: its name, and what it holds. All others are for machines."""

OF_CHOSEN = ("error_budget", "measurements_worth")
"""Of these the rows of the option of the report; a sheet of all of them would not be read."""

MEDIANS = (
    "The report prints medians over the errors; columns rating and margin of the tables are those "
    "without errors, and rating_median and margin_median are what is printed"
)
"""Which of two ratings and margins is which, in words."""
_WITHOUT = {"rating": "Rating without errors", "margin": "Margin without errors"}
"""Headers where the medians stand beside them."""
_NAMED = {
    "rating_median": "Median rating", "margin_median": "Median margin",
    "rating_bound": "Bound of the rating without errors",
    "margin_bound": "Bound of the margin without errors",
    "median_bound": "Bound of the median rating",
    "margin_low": "Margin, low end of the interval",
    "margin_high": "Margin, high end of the interval",
    "margin_high_bound": "Bound of that end",
    "probability_all": "Probability that all is met",
    "probability_all_error": "Its standard error",
    "probability_error": "Its standard error",
}  # fmt: skip
"""Headers that say more than the name of the column."""
_PERCENT = '[<0.01]"< 1 %";[>0.99]"> 99 %";0 %'
_FORMATS = (
    ("_db", "0.0"), ("_hz", "0.0"), ("_mm", "[<10]0.0;0"), ("_kn", "0"), ("_m", "0.00"),
    ("_error", "0.0 %"), ("margin", "0.0"), ("probability", _PERCENT),
    ("standard_deviation", "0.0"),
    ("reduction", "0.0"), ("cost_at_most", "0.0"), ("cost", "#,##0"),
)  # fmt: skip
_UNITS = {"db": "dB", "hz": "Hz", "mm": "mm", "kn": "kN", "m": "m"}
_RATED = ("rating", "rating_median", "limit")
_WRAPPED = {
    "description": 30, "reason": 40, "coincident_with": 40, "floors": 20, "option": 18, "name": 18,
    "group": 14, "criterion": 16, "statistic": 14, "answer": 12, "unit": 8, "decided_by": 14,
    "resonance": 22,
    "cost_criterion": 14,
}  # fmt: skip
"""Width of columns of texts, which take several lines."""
_DPI = 150


def workbook_bytes(facts: Facts) -> bytes:
    """The workbook of a report, the same bytes for the same study and result.

    Parameters
    ----------
    facts : Facts
        Study and result.
    """
    sheets = [*_schedule(facts), *_tables(facts)]
    first = Lines(name="Read first", lines=[*_head(facts), *_listed(facts, sheets)])
    writer = workbook_writer()
    return workbook(writer, "write_report", [first, *sheets], properties(facts.study))


def _head(facts: Facts) -> Iterator[tuple[str, str]]:
    yield from block_lines(facts.study)
    yield "option of the report", facts.chosen
    yield "computed with", f"groundborne {groundborne.__version__}"
    checksum = str(facts.result.attrs.get(CHECKSUM, ""))
    if checksum:
        yield "state of the study", f"SHA-256 {checksum}"
    if "margin_median" in facts.table:
        yield "rating, margin", MEDIANS
    yield "caution", "Levels and margins are predictions; the cautions of the report hold for them."
    if "mounts" in facts.frames:
        for text in CAUTIONS:
            yield "caution", text


def _listed(facts: Facts, sheets: list[Sheet | Drawing]) -> Iterator[tuple[str, str]]:
    """What each sheet holds, and what has none."""
    told = {sheet: f"{what}; tables/{name}.csv" for name, (sheet, what) in READ.items()}
    told |= {"Schedule": f"Mounts of {facts.chosen}, with totals; of tables/mounts.csv"}
    for sheet in sheets:
        yield sheet.name, told.get(sheet.name, "Columns in plan with their loads")
    others = [f"{name}.csv" for name in facts.frames if name not in READ]
    yield "beside this", f"In tables/, for machines: {', '.join([*others, 'evaluated.csv'])}"


# ---------------------------------------------------------------- the schedule


def _schedule(facts: Facts) -> Iterator[Sheet | Drawing]:
    """Mounts of the option of the report, with totals and a plan."""
    mounts = facts.frames.get("mounts")
    here = mounts[mounts["option"] == facts.chosen] if mounts is not None else pd.DataFrame()
    if not len(here):
        return
    table = _without_twins(here.drop(columns=["key", "option"]))
    if not (here["part"] != "").any():
        table = table.drop(columns="part")
    table = table[["column", *(c for c in table.columns if c != "column")]]
    heavy = "load_kn" if "load_kn" in table else "load_high_kn"
    load = f"{table[heavy].sum():,.0f}".replace(",", "\N{NO-BREAK SPACE}")
    yield Sheet(
        name="Schedule",
        table=table,
        columns={c: _column(c) for c in table.columns},
        title=(
            *title_lines(facts.study, f"schedule of mounts, {facts.chosen}"),
            (
                f"{len(table)} mounts carry {load} kN quasi-permanent; packs of parts are in a "
                "schedule of their own"
            ),
        ),
        totals={"column": "Total", heavy: table[heavy].sum()},
        footer="Mounts as the study describes them; the cautions on the first sheet hold.",
    )
    for part, own in here.groupby("part", sort=False):
        if own[["x_m", "y_m"]].notna().all().all() and ALL not in set(own["column"]):
            yield _plan(facts, str(part), own)


def _without_twins(table: pd.DataFrame) -> pd.DataFrame:
    """One column in place of a lowest and a highest that agree in every row; none of no number."""
    found = table.dropna(axis="columns", how="all")
    for low in [c for c in found.columns if "_low_" in c]:
        high = low.replace("_low_", "_high_")
        if np.allclose(found[low], found[high], rtol=1e-9, atol=0):
            found = found.drop(columns=high).rename(columns={low: low.replace("_low_", "_")})
    return found


def _plan(facts: Facts, part: str, own: pd.DataFrame) -> Drawing:
    at = {"column": own["column"].tolist()}
    load, x, y = (
        xr.DataArray(own[name].to_numpy() * factor, coords=at, dims="column")
        for name, factor in (("load_high_kn", 1e3), ("x_m", 1.0), ("y_m", 1.0))
    )
    load = load.assign_attrs(units="N")
    picture = Picture(
        section="schedule", slug="plan", caption="", alt="", size=(9.6, 6.0),
        draw=single(
            lambda ax: plot.columns(load, x=x, y=y, label="Quasi-permanent load", ax=ax)
        ),
        invented=facts.study.invented,
    )  # fmt: skip
    of = f" of {part}" if part else ""
    return Drawing(
        name=f"Plan {part}".strip()[:31].translate(_NOT_IN_NAMES),
        title=title_lines(facts.study, f"plan of the columns{of}, quasi-permanent load"),
        png=picture.png(_DPI),
        dpi=_DPI,
        alt=f"Plan of {len(own)} columns{of} with their loads, {own['load_high_kn'].min():.0f} to "
        f"{own['load_high_kn'].max():.0f} kN.",
    )


_NOT_IN_NAMES = str.maketrans(dict.fromkeys("[]:*?/\\'", "-"))


# ---------------------------------------------------------------- tables


def _tables(facts: Facts) -> Iterator[Sheet]:
    for name, (sheet, what) in READ.items():
        table = facts.frames.get(name)
        if table is None or not len(table):
            continue
        if name in OF_CHOSEN:
            table, what = table[table["option"] == facts.chosen], f"{what}, {facts.chosen}"
        shown = _without_twins(table) if name == "mounts" else table
        shown = shown.dropna(axis="columns", how="all")
        shown = shown.drop(columns=[c for c in shown if (shown[c].astype(str) == "").all()])
        yield Sheet(
            name=sheet,
            table=shown,
            columns=_columns(shown),
            title=title_lines(facts.study, f"{what[0].lower()}{what[1:]}"),
            marked=shown["answer"].eq("not met").tolist() if "answer" in shown else (),
            wrapped=[c for c in shown if c in _WRAPPED],
            by_row=_rated(facts, shown),
        )


def _columns(table: pd.DataFrame) -> dict[str, tuple[str, str, int]]:
    """Headers, formats and widths; ratings and margins are named beside their medians."""
    found = {c: _column(c) for c in table.columns}
    named = _NAMED | (_WITHOUT if "margin_median" in found else {})
    return {c: (named.get(c, of[0]), *of[1:]) for c, of in found.items()}


def _column(name: str) -> tuple[str, str, int]:
    """Header in words with its unit, number format and least width."""
    stem, _, tail = name.rpartition("_")
    unit = _UNITS.get(tail, "") if stem else ""
    words = (stem if unit else name).replace("_", " ")
    words = words.replace(" db re 20 upa", ", dB re 20 µPa").replace(
        " db re 1 nm s", ", dB re 1 nm/s"
    )
    title = words[:1].upper() + words[1:] + (f", {unit}" if unit else "")
    digits = next((form for part, form in _FORMATS if name.endswith(part) or
                   (not part.startswith("_") and name.startswith(part))), "")  # fmt: skip
    return title, digits, _WRAPPED.get(name, 8)


def _rated(facts: Facts, table: pd.DataFrame) -> Mapping[str, list[str]]:
    """Formats of ratings and limits, which are of several units."""
    if "rating" not in table:
        return {}
    scales: dict[Any, Any] = {**facts.equipment_scales, **facts.scales}
    each = [f"0.{'0' * scales[c].decimals}".rstrip(".") for c in table["criterion"]]
    return {name: each for name in _RATED if name in table}
