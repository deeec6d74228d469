"""Answers as a table and as text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.rating import ANSWERS, Answer, Mark, Scale
from groundborne.rating.answers import margin_mark
from groundborne.rating.scale import places, scales_of
from groundborne.report.marks import (
    ANSWER_WORDS,
    LARGEST_LOSS,
    ONE_STAGE,
    SYMBOLS,
    mark_sentences,
    reason,
    signs,
)
from groundborne.study.samples import median_case, samples_words
from groundborne.study.stage_limits import MATTERS

_DIMS = ("option", "room", "criterion")
_SHOWN = (
    "rating", "limit", "margin", "margin_one_stage", "may_add", "answer", "mark",
    "loss_limited_rating",
)  # fmt: skip


@checked
def assessment_table(result: xr.Dataset) -> pd.DataFrame:
    """One row for every option, room and criterion that applies to it.

    Parameters
    ----------
    result : Dataset
        Result of a study.

    Returns
    -------
    pandas.DataFrame
        ``option, room, name, group, floor, criterion, statistic, rating, rating_bound, limit, unit,
        margin, margin_bound, answer, decided_by, reason``: see ``rating.scale.ROUNDING`` for the
        digits.
        ``rating_bound`` is ``at least`` of a lower bound, ``below`` where the value printed is the
        smallest that can be measured, and ``open`` where both hold and no number is given;
        ``margin_bound`` is its opposite. ``answer`` is of the rating before it was rounded, and
        ``reason`` says why something is not shown; ``decided_by`` names stated limits of isolation
        that decide the margin. Of a sampled result the medians, with ``margin_low`` and
        ``margin_high`` from 5 to 95 % of the samples.

    Raises
    ------
    StudyError
        The ratings have dims beyond option, room and criterion, are not numbers, or have no
        answers.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/tower/study.toml")
    >>> study = study.with_options([gb.Option(name="as built")])
    >>> table = assessment_table(study.evaluate(band_levels=False))
    >>> table.loc[table["room"] == "N1", ["limit", "unit", "answer"]].values.tolist()
    [[40.0, 'dB re 20 µPa', 'met']]
    """
    if "answer" not in result:
        raise StudyError("assessment_table: the result holds no answers; evaluate its study anew")
    result = median_case(result)
    for dim in result["rating"].dims:
        if dim not in _DIMS:
            raise StudyError(
                f"assessment_table: the ratings have the dim {dim!r}; select one of it first, for "
                f"example by result.isel({dim}=0)"
            )
    of = xr.broadcast(result[[*_SHOWN, "applies"]])[0].transpose(*_DIMS, ...)
    rating, margin = of["rating"].values, of["margin"].values
    keep = of["applies"].values.astype(bool)
    if not np.isfinite(rating[keep]).all() or not np.isfinite(margin[keep]).all():
        raise StudyError("assessment_table: the result holds ratings that are not numbers")
    option, room, criterion = np.nonzero(keep)
    of_room = {
        "room": result["room"].values,
        "name": result["room_name"].values,
        "group": result["room_group"].values,
        "floor": result["floor_of_room"].values,
    }
    labels = result["criterion"].values.astype(str)[criterion]
    rows = pd.DataFrame({name: of[name].values[keep] for name in _SHOWN})
    # Of samples, what is held to one stage counts at the low end of its range.
    held = result.get("margin_one_stage_low", result["margin_one_stage"])
    rows["held"] = held.broadcast_like(of["margin"]).transpose(*_DIMS).values[keep]
    rows["criterion"] = labels
    rows["bound"] = result["bound"].values.astype(str)[criterion]
    scales = scales_of(result)
    of_rows = [scales[label] for label in labels.tolist()]
    printed = [_row(r, s) for r, s in zip(rows.to_dict("records"), of_rows, strict=True)]
    data: dict[str, Any] = {"option": result["option"].values.astype(str)[option]}
    data |= {name: values.astype(str)[room] for name, values in of_room.items()}
    data["criterion"] = labels
    data["statistic"] = result["statistic"].values.astype(str)[criterion]
    data |= {name: [r[name] for r in printed] for name in printed[0]}
    if "rating_high" in result:
        for end, other in (("margin_low", "rating_high"), ("margin_high", "rating_low")):
            ranged = result[other].transpose(*_DIMS).values[keep].tolist()
            cells = zip(ranged, data["limit"], of_rows, data["rating_bound"], strict=True)
            data[end] = [_of_sample(*cell) for cell in cells]
    return pd.DataFrame(data)


def _of_sample(rating: float, limit: float, scale: Scale, mark: str) -> float:
    """Margin of one end of a range, none beyond what can be measured."""
    if mark == Mark.OPEN:
        return np.nan
    least = mark == Mark.AT_LEAST
    shown = max(scale.printed(rating, limit, down=least), scale.least)
    return scale.printed_margin(shown, limit, up=least)


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
    """Margin of a row of the table, with its range where it is sampled.

    Examples
    --------
    >>> margin_words({"margin": 3.0, "margin_low": -1.2, "margin_high": 5.0})
    '+3.0 (−1.2 to +5.0)'
    >>> margin_words({"margin": 3.0, "margin_bound": "at most"})
    '≤ +3.0'
    """
    bound = row.get("margin_bound", "")
    if bound == Mark.OPEN:
        return "open"
    middle = f"{SYMBOLS[bound]}{margin_text(row['margin'])}"
    if "margin_low" not in row:
        return middle
    return f"{middle} ({margin_text(row['margin_low'])} to {margin_text(row['margin_high'])})"


def weights(answers: pd.Series) -> pd.Series:
    """Place of each answer, the one that weighs most first."""
    return answers.map({answer.value: place for place, answer in enumerate(ANSWERS)})


def rooms_met(table: pd.DataFrame) -> pd.DataFrame:
    """For each option, how many rooms have which answer over all their criteria.

    Returns
    -------
    DataFrame
        By option: ``rooms``, and a column for each answer; a room has the one that weighs most.
    """
    order = list(dict.fromkeys(table["option"]))
    worst = weights(table["answer"]).groupby([table["option"], table["room"]]).min()
    counts = pd.DataFrame(
        {a.value: (worst == n).groupby(level="option").sum() for n, a in enumerate(ANSWERS)}
    )
    counts["rooms"] = worst.groupby(level="option").size()
    return counts.loc[order]


def met_words(counts: Mapping[Any, Any]) -> str:
    """In how many rooms everything is met, and in how many there is no answer.

    Examples
    --------
    >>> met_words({"met": 7, "rooms": 15, "not shown": 8, "within the uncertainty": 0})
    '7 of 15, 8 not shown'
    """
    parts = [f"{counts[Answer.MET]} of {counts['rooms']}"]
    open_answers = (Answer.NOT_SHOWN, Answer.WITHIN)
    parts += [f"{counts[a]} {a}" for a in open_answers if counts[a]]
    return ", ".join(parts)


def worst_of_group(table: pd.DataFrame) -> pd.DataFrame:
    """For each option and group of rooms the row that governs.

    What is not met before what is not shown, then the least margin.
    """
    order = table.assign(weight=weights(table["answer"]))
    order = order.sort_values(["weight", "margin"], kind="stable")
    kept: pd.DataFrame = order.drop_duplicates(["option", "group"]).drop(columns="weight")
    return kept.sort_index()


@checked
def assessment_text(result: xr.Dataset) -> str:
    """Answers for a terminal: what governs every option and group of rooms.

    Parameters
    ----------
    result : Dataset
        Result of a study.

    Returns
    -------
    str
        Lines without control characters.

    Raises
    ------
    StudyError
        As for :func:`assessment_table`.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/tower/study.toml")
    >>> study = study.with_options([gb.Option(name="as built")])
    >>> "as built" in assessment_text(study.evaluate(band_levels=False))
    True
    """
    table, scales = assessment_table(result), scales_of(result)
    groups = worst_of_group(table)
    width = min(24, max(len(printable(g)) for g in groups["group"]))
    lines = []
    for option, counts in rooms_met(table).to_dict("index").items():
        rooms = met_words(counts).replace(f" of {counts['rooms']}", f" of {counts['rooms']} rooms")
        lines.append(f"{printable(str(option))}: met in {rooms}")
        for worst in groups[groups["option"] == option].to_dict("records"):
            rating = rating_text(worst["rating"], scales[worst["criterion"]], worst["rating_bound"])
            lines.append(
                f"  {printable(worst['group']):<{width}}  {margin_words(worst):>7}  "
                f"{ANSWER_WORDS[worst['answer']]:<9}  {printable(worst['room'])}: "
                f"{printable(worst['criterion'])} {rating}, limit {worst['limit']:g} "
                f"{worst['unit']}".rstrip()
                + signs(worst["decided_by"])
            )
    lines.append(
        "What governs each group of rooms: not met before not shown before uncertain, then the "
        "least margin. A margin is positive where the rating keeps the limit; what may be said of "
        "it is the word beside it. Not shown is no failure: bands or knowledge are missing, see "
        "below. Uncertain: the range of the margin decides neither way."
    )
    words = samples_words(median_case(result))
    lines += [f"Margins: {words}."] if words else []
    lines += [printable(sentence) for sentence in mark_sentences(groups, result)]
    return "\n".join(lines)


def printable(text: str) -> str:
    r"""Text without control characters, which could command a terminal.

    Examples
    --------
    >>> printable("hall\x1b[2J")
    'hall?[2J'
    """
    return "".join(c if c.isprintable() else "?" for c in text)


def listed(names: Iterable[str]) -> str:
    """Names in one line."""
    return ", ".join(names)
