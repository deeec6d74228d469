"""Ratings as they are printed: rows of options, places and criteria, and their texts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._checks import StudyError
from groundborne.rating import Mark, Scale
from groundborne.rating.answers import margin_mark
from groundborne.rating.scale import places, scales_of
from groundborne.report.marks import LARGEST_LOSS, ONE_STAGE, SYMBOLS, probability_mark, reason
from groundborne.study.stage_limits import MATTERS

_TABLE = "assessment_table"
_SHOWN = (
    "rating", "limit", "margin", "margin_one_stage", "may_add", "answer", "mark",
    "loss_limited_rating",
)  # fmt: skip


def table_of_places(
    result: xr.Dataset, place: str, columns: Mapping[str, np.ndarray], where: str = _TABLE
) -> pd.DataFrame:
    """One row for every option, place and criterion that applies to it.

    Parameters
    ----------
    result : Dataset
        Without samples; variables are named as those of rooms.
    place : str
        Its dim: ``room`` or ``equipment``.
    columns : mapping of str to array
        What is told of each place.
    where : str
        For messages.

    Raises
    ------
    StudyError
        As for :func:`assessment_table`.
    """
    dims = ("option", place, "criterion")
    for dim in result["rating"].dims:
        if dim not in dims:
            raise StudyError(
                f"{where}: the ratings have the dim {dim!r}; select one of it first, for "
                f"example by result.isel({dim}=0)"
            )
    of = xr.broadcast(result[[*_SHOWN, "applies"]])[0].transpose(*dims, ...)
    rating, margin = of["rating"].values, of["margin"].values
    keep = of["applies"].values.astype(bool)
    if not np.isfinite(rating[keep]).all() or not np.isfinite(margin[keep]).all():
        raise StudyError(f"{where}: the result holds ratings that are not numbers")
    option, at, criterion = np.nonzero(keep)
    labels = result["criterion"].values.astype(str)[criterion]
    rows = pd.DataFrame({name: of[name].values[keep] for name in _SHOWN})
    # Of samples, what is held to one stage counts at the low end of its range.
    held = result.get("margin_one_stage_low", result["margin_one_stage"])
    rows["held"] = held.broadcast_like(of["margin"]).transpose(*dims).values[keep]
    rows["criterion"] = labels
    rows["bound"] = result["bound"].values.astype(str)[criterion]
    scales = scales_of(result)
    of_rows = [scales[label] for label in labels.tolist()]
    printed = [_row(r, s) for r, s in zip(rows.to_dict("records"), of_rows, strict=True)]
    data: dict[str, Any] = {"option": result["option"].values.astype(str)[option]}
    data |= {name: values.astype(str)[at] for name, values in columns.items()}
    data["criterion"] = labels
    data["statistic"] = result["statistic"].values.astype(str)[criterion]
    data |= {name: [r[name] for r in printed] for name in printed[0]}
    if "worse_state" in result:
        state = result["worse_state"].broadcast_like(of["margin"]).transpose(*dims)
        data["mounts"] = state.values.astype(str)[keep].tolist()
    if "probability" in result:
        for name in ("probability", "probability_error"):
            data[name] = result[name].transpose(*dims).values[keep].tolist()
        data["probability_bound"] = [probability_mark([b]) for b in data["rating_bound"]]
    if "rating_high" in result:
        ends = {"margin_low": "rating_high", "margin_high": "rating_low"}
        cells = list(zip(data["limit"], of_rows, map(Mark, data["rating_bound"]), strict=True))
        if "rating_median" in result:
            medians = result["rating_median"].transpose(*dims).values[keep].tolist()
            middle = [_of_sample(r, *cell) for r, cell in zip(medians, cells, strict=True)]
            data |= {name: [m[name] for m in middle] for name in middle[0]}
        lows = result["rating_low"].transpose(*dims).values[keep].tolist()
        # Of lower bounds all margins are upper ends; that one is more than it says is not known.
        lower = [b in (Mark.AT_LEAST, Mark.OPEN) for b in data["rating_bound"]]
        data["margin_high_bound"] = [
            str(Mark.AT_LEAST) if low < scale.least and not open_ended else ""
            for low, scale, open_ended in zip(lows, of_rows, lower, strict=True)
        ]
        for end, other in ends.items():
            ranged = result[other].transpose(*dims).values[keep].tolist()
            data[end] = [
                _end(r, limit, scale, mark, upper=end == "margin_high")
                for r, (limit, scale, mark) in zip(ranged, cells, strict=True)
            ]
    return pd.DataFrame(data)


def _of_sample(rating: float, limit: float, scale: Scale, mark: Mark) -> dict[str, Any]:
    """Cells of the middle of a range; none beyond what can be measured."""
    least = mark is Mark.AT_LEAST
    bound, shown, margin = mark, np.nan, np.nan
    if mark is not Mark.OPEN:
        shown = scale.printed(rating, limit, down=least)
        bound = mark if least else Mark.BELOW if shown < scale.least else Mark("")
        shown = max(shown, scale.least)
        margin = scale.printed_margin(shown, limit, up=least)
    return {"rating_median": shown, "median_bound": bound.value, "margin_median": margin}


def _end(rating: float, limit: float, scale: Scale, mark: Mark, *, upper: bool) -> float:
    """An end of the interval of a margin, rounded outward; none beyond what can be measured."""
    if mark is Mark.OPEN:
        return float("nan")
    shown = max(scale.printed(rating, limit, down=upper), scale.least)
    return scale.printed_margin(shown, limit, up=upper)


def _row(row: Mapping[Any, Any], scale: Scale) -> dict[str, Any]:
    """Cells that are printed of one rating."""
    limit, mark = float(row["limit"]), Mark(row["mark"])
    least = mark is Mark.AT_LEAST
    shown = scale.printed(float(row["rating"]), limit, down=least)
    if mark is Mark.BELOW:
        shown = scale.least
    margin = scale.printed_margin(shown, limit, up=least)
    if mark is Mark.OPEN:
        shown = margin = np.nan
    one_stage = row["margin_one_stage"]
    beyond = row["margin"] - one_stage >= MATTERS or one_stage < 0 <= row["margin"]
    decided = [LARGEST_LOSS] * bool(row["loss_limited_rating"]) + [ONE_STAGE] * bool(beyond)
    return {
        "rating": shown,
        "rating_bound": mark.value,
        "limit": limit,
        "unit": scale.unit,
        "margin": margin,
        "margin_bound": margin_mark(mark),
        "answer": str(row["answer"]),
        "decided_by": "; ".join(decided),
        "reason": reason(
            answer=row["answer"],
            margin=row["margin"],
            one_stage=row["held"],
            may_add=row["may_add"],
            bound=row["bound"],
            unit=scale.margin_unit,
        ),
    }


def middle(row: Mapping[Any, Any]) -> Mapping[Any, Any]:
    """A row whose rating and margin are those that are spoken of: of samples the medians.

    Examples
    --------
    >>> middle({"margin": 3.0})["margin"]
    3.0
    >>> row = {"margin": 3.0, "margin_median": 2.0, "rating_median": 33.0, "median_bound": ""}
    >>> middle(row)["margin"], middle(row)["rating"]
    (2.0, 33.0)
    """
    if "margin_median" not in row:
        return row
    bound = row["median_bound"]
    return {
        **row,
        "rating": row["rating_median"], "rating_bound": bound,
        "margin": row["margin_median"], "margin_bound": margin_mark(bound),
    }  # fmt: skip


def rating_text(rating: float, scale: Scale, bound: str = "") -> str:
    """Rating as it is printed, with a symbol where it is a bound.

    Examples
    --------
    >>> level = Scale(unit="dB re 20 µPa")
    >>> rating_text(20.2, level, "at least"), rating_text(10.0, level, "below")
    ('≥ 20.2', '< 10')
    """
    if bound == Mark.OPEN:
        return "open"
    number = f"{rating:g}" if bound == Mark.BELOW else scale.text(rating)
    return f"{SYMBOLS[bound]}{number}".replace("-", "−")


def margin_text(margin: float) -> str:
    """Margin with its sign, as it is printed.

    Examples
    --------
    >>> margin_text(3.0), margin_text(-0.25)
    ('+3.0', '−0.25')
    """
    return f"{margin:+.{max(1, places(margin))}f}".replace("-", "−")


def margin_words(row: Mapping[Any, Any]) -> str:
    """Margin of a row of the table, of samples the median, with its range where it is sampled.

    Examples
    --------
    >>> margin_words({"margin": 3.0, "margin_low": -1.2, "margin_high": 5.0})
    '+3.0 (−1.2 to +5.0)'
    >>> margin_words({"margin": 3.0, "margin_bound": "at most"})
    '≤ +3.0'
    >>> sure = {"margin": 3.0, "rating_median": 36.0, "median_bound": "", "margin_median": -1.0}
    >>> margin_words({**sure, "margin_low": -9.0, "margin_high": 5.0})
    '−1.0 (−9.0 to +5.0)'
    """
    row = middle(row)
    bound = row.get("margin_bound", "")
    if bound == Mark.OPEN:
        return "open"
    words = f"{SYMBOLS[bound]}{margin_text(row['margin'])}"
    if "margin_low" not in row:
        return words
    low, high = margin_text(row["margin_low"]), margin_text(row["margin_high"])
    beyond = SYMBOLS[row.get("margin_high_bound", "")]  # no more than what can be measured
    return f"{words} ({low} to {beyond}{high})"


def printable(text: str) -> str:
    r"""Text without control characters, which could command a terminal.

    Examples
    --------
    >>> printable("hall\x1b[2J")
    'hall?[2J'
    """
    return "".join(c if c.isprintable() else "?" for c in text)
