"""Answers on equipment as a table and as text."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne.bands import label
from groundborne.rating import Answer
from groundborne.rating.scale import scales_of
from groundborne.report.marks import ANSWER_WORDS, mark_sentences, signs
from groundborne.report.rated import margin_words, printable, rating_text, table_of_places
from groundborne.study.equipment import equipment_assessment, holds_equipment
from groundborne.study.samples import median_case

_COLUMNS = ("name", "axis", "room", "floor")

WITHOUT_ERRORS = {
    Answer.MET: "kept",
    Answer.WITHIN: "open",
    Answer.NOT_MET: "NOT KEPT",
    Answer.NOT_SHOWN: "not shown",
}
"""Answers of a prediction without errors, beside answers of rooms that are with probabilities."""


@checked
def equipment_table(result: xr.Dataset) -> pd.DataFrame:
    """One row for every option, piece of equipment, axis and criterion.

    Parameters
    ----------
    result : Dataset
        Result of a study with equipment.

    Returns
    -------
    pandas.DataFrame
        ``option, equipment, axis, room, floor, criterion, statistic, rating, rating_bound, limit,
        unit, margin, margin_bound, answer, decided_by, reason, governing_band_hz``, as of
        :func:`~groundborne.report.assessment_table`.

    Raises
    ------
    StudyError
        The result holds no equipment, or ratings that are not numbers or have more dims.

    Examples
    --------
    >>> equipment_table(xr.Dataset())
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyError: equipment_assessment: the result holds no equipment
    """
    rated = median_case(equipment_assessment(result))
    columns = {name: rated[name].values for name in _COLUMNS}
    table = table_of_places(rated, "equipment", columns, where="equipment_table")
    table = table.rename(columns={"name": "equipment"})
    dims = ("option", "equipment", "criterion")
    keep = rated["applies"].broadcast_like(rated["rating"]).transpose(*dims).values
    table["governing_band_hz"] = rated["governing_band"].transpose(*dims).values[keep]
    return table


def as_rooms(table: pd.DataFrame) -> pd.DataFrame:
    """The table with the columns of rooms, for matrices: a row is a piece along one axis."""
    rows = table["equipment"] + " " + table["axis"]
    found = table.assign(name="room " + table["room"], room=rows, group=rows)
    return found.drop(columns=["equipment", "axis"])


def equipment_lines(result: xr.Dataset) -> list[str]:
    """Answers on equipment for a terminal; nothing where a result holds none."""
    if not holds_equipment(result):
        return []
    rated, table = equipment_assessment(result), equipment_table(result)
    scales = scales_of(rated)
    names = as_rooms(table)["room"]
    width = min(24, int(np.max(names.str.len())))
    sure = "probability" in result
    words = WITHOUT_ERRORS if sure else ANSWER_WORDS
    lines = ["", "Equipment, each axis by itself, with the band that governs:"]
    if sure:
        lines[-1:] = [
            (
                "Equipment, each axis by itself, with the band that governs; without errors, so "
                "that kept and not kept are of the prediction alone and have no probability:"
            )
        ]
    for option in dict.fromkeys(table["option"]):
        lines.append(printable(f"{option}:"))
        here = table[table["option"] == option]
        for row, name in zip(here.to_dict("records"), names[here.index], strict=True):
            rating = rating_text(row["rating"], scales[row["criterion"]], row["rating_bound"])
            lines.append(
                f"  {printable(name):<{width}}  {margin_words(row):>7}  "
                f"{words[row['answer']]:<9}  {printable(row['criterion'])} {rating}, limit "
                f"{row['limit']:g} {row['unit']}".rstrip()
                + signs(row["decided_by"])
                + f"; {label(float(row['governing_band_hz']))} Hz"
            )
    return [*lines, *(printable(sentence) for sentence in mark_sentences(table, rated))]


def equipment_met(table: pd.DataFrame) -> pd.DataFrame:
    """For each option how many pieces of equipment there are, and how many keep all limits."""
    kept = table["answer"].eq(Answer.MET.value)
    each = kept.groupby([table["option"], table["equipment"]], sort=False).all()
    by_option = each.groupby(level="option", sort=False)
    return pd.DataFrame({"equipment": by_option.size(), "equipment_met": by_option.sum()})
