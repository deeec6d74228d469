"""Numbers as the body of a report prints them: whole decibels, never on the unsafe side."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from groundborne.rating import Mark, Scale
from groundborne.report.marks import SYMBOLS, signs
from groundborne.report.rated import middle
from groundborne.report.tree import Cell, Number, Run

WHOLE = (
    "Levels and margins stand in whole decibels (or whole NR): ratings are rounded up and margins "
    "down, so that no miss reads as kept; lower bounds of ratings are rounded down and their "
    "margins up, and ends of intervals outward, so that none claims more than it holds. Vibration "
    "in other units keeps three figures. The tables in CSV files have the decimals."
)
"""The rule of the body, in words."""

_SLACK = 1e-6


def up(value: float) -> int:
    """Rounded up, less what rounding of the last digits adds."""
    return math.ceil(round(value, 6) - _SLACK)


def down(value: float) -> int:
    """Rounded down likewise."""
    return math.floor(round(value, 6) + _SLACK)


def signed(value: int) -> str:
    """With its sign.

    Examples
    --------
    >>> signed(3), signed(-2), signed(0)
    ('+3', '−2', '0')
    """
    return f"{value:+d}".replace("-", "−") if value else "0"


def minus(text: str) -> str:
    """With the sign that stands for less."""
    return text.replace("-", "−")


def rating_words(row: Mapping[Any, Any], scale: Scale) -> str:
    """Rating of a row of the assessment as the body prints it, with errors the median.

    Examples
    --------
    >>> rating_words({"rating": 35.2, "rating_bound": ""}, Scale(unit="dB re 20 µPa"))
    '36'
    """
    row = middle(row)
    bound = str(row.get("rating_bound", ""))
    if bound == Mark.OPEN:
        return "open"
    value = float(row["rating"])
    if scale.ratio:
        return minus(f"{SYMBOLS[bound]}{scale.text(value)}")
    whole = down(value) if bound == Mark.AT_LEAST else up(value)
    return minus(f"{SYMBOLS[bound]}{whole}")


def margin_whole(row: Mapping[Any, Any]) -> str:
    """Margin of a row as the body prints it, with errors the median, without its interval."""
    row = middle(row)
    bound = str(row.get("margin_bound", ""))
    if bound == Mark.OPEN:
        return "open"
    whole = up(row["margin"]) if bound == "at most" else down(row["margin"])
    return f"{SYMBOLS[bound]}{signed(whole)}"


def interval_words(row: Mapping[Any, Any]) -> str:
    """Interval of the margin, rounded outward; empty where there is none."""
    low, high = row.get("margin_low"), row.get("margin_high")
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
        return ""
    beyond = SYMBOLS[str(row.get("margin_high_bound", ""))]
    return f"{signed(down(low))} to {beyond}{signed(up(high))}"


def of_row(
    row: Mapping[Any, Any], column: str, text: str, *, table: str = "assessment", unit: str = ""
) -> Run:
    """A number of a row of a table, as its file has it; words where the cell holds no number."""
    value = row.get(column)
    if value is None or not math.isfinite(float(value)):
        return text
    return Number(
        text=text,
        value=float(f"{float(value):.6g}"),
        unit=unit,
        table=table,
        row=str(row["key"]),
        column=column,
        answer=str(row.get("answer", "")),
    )


def rating_run(row: Mapping[Any, Any], scale: Scale, table: str = "assessment") -> Run:
    """Rating of a row, with its place in the table."""
    column = "rating_median" if "rating_median" in row else "rating"
    return of_row(row, column, rating_words(row, scale), table=table, unit=scale.unit)


def limit_run(row: Mapping[Any, Any], scale: Scale, table: str = "assessment") -> Run:
    """Limit of a row, with its place in the table."""
    return of_row(row, "limit", minus(f"{row['limit']:g}"), table=table, unit=scale.unit)


def margin_run(row: Mapping[Any, Any], scale: Scale, table: str = "assessment") -> Run:
    """Margin of a row, with its place in the table."""
    text = margin_whole(row) + signs(str(row.get("decided_by", "")))
    column = "margin_median" if "margin_median" in row else "margin"
    return of_row(row, column, text, table=table, unit=scale.margin_unit)


def interval_runs(
    row: Mapping[Any, Any], scale: Scale, table: str = "assessment"
) -> tuple[Run, ...]:
    """Ends of the interval of the margin; nothing where there are none."""
    low, high = row.get("margin_low"), row.get("margin_high")
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
        return ()
    # Beyond what can be measured a margin is at least the one to that.
    beyond = SYMBOLS[str(row.get("margin_high_bound", ""))]
    return (
        of_row(row, "margin_low", signed(down(low)), table=table, unit=scale.margin_unit),
        " to ",
        of_row(
            row, "margin_high", f"{beyond}{signed(up(high))}", table=table, unit=scale.margin_unit
        ),
    )


def margin_cell(row: Mapping[Any, Any], scale: Scale, table: str = "assessment") -> Cell:
    """Margin with its interval behind it, and what may be said of it."""
    ends = interval_runs(row, scale, table)
    runs: tuple[Run, ...] = (margin_run(row, scale, table),)
    if ends:
        runs = (*runs, " (", *ends, ")")
    return Cell(runs=runs, answer=str(row["answer"]))


def probability_run(row: Mapping[Any, Any], column: str, table: str) -> Run:
    """A probability in words, none of which is sure; upper ends are marked."""
    from groundborne.report.assessment import probability_words

    words = probability_words(float(row[column]), str(row.get(f"{column}_bound", "")))
    return of_row(row, column, words, table=table, unit="1")
