"""What stands beside a rating: bounds, what decided it, and why nothing is shown."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd
import xarray as xr

from groundborne.isolation.base import SINGLE_STAGE_LIMIT, WALKER_MATHERS
from groundborne.rating import Answer, Mark
from groundborne.rating.answers import margin_mark
from groundborne.rating.scale import scale_of

LARGEST_LOSS = "largest loss of a room measure"
ONE_STAGE = "base isolation above one stage"

SIGNS = {LARGEST_LOSS: "†", ONE_STAGE: "‡"}
"""What a margin is marked with where something other than the prediction decided it."""

SYMBOLS = {"at least": "≥ ", "at most": "≤ ", "below": "< ", "open": "", "": ""}
"""Before a rating or margin that is a bound."""

ANSWER_WORDS = {
    Answer.MET: "met",
    Answer.WITHIN: "uncertain",
    Answer.NOT_MET: "NOT MET",
    Answer.NOT_SHOWN: "not shown",
}
"""Answers where little room is."""


def reason(
    *, answer: str, margin: float, one_stage: float, may_add: float, bound: str, unit: str
) -> str:
    """Why a criterion is not shown to be met, in words; empty with every other answer.

    Parameters
    ----------
    answer : str
        Of ``rating.Answer``.
    margin, one_stage, may_add : float
        Margin, margin with base isolation held to one stage, and what bands outside may add [dB,
        or NR].
    bound : str
        Why the rating is a lower bound, if it is.
    unit : str
        Of the margin.

    Examples
    --------
    >>> reason(answer="not shown", margin=0.2, one_stage=0.2, may_add=0.4, bound="", unit="dB")
    'bands outside the spectrum may add 0.4 dB to the rating'
    >>> reason(answer="not shown", margin=1.2, one_stage=-0.4, may_add=0.0, bound="", unit="dB")
    'met only by base isolation above 25 dB; held to that the margin is −0.4 dB'
    """
    if answer != Answer.NOT_SHOWN:
        return ""
    if may_add == float("inf"):
        return bound
    if one_stage < 0 <= margin:
        return (
            f"met only by base isolation above {SINGLE_STAGE_LIMIT:g} dB; held to that the margin "
            f"is {one_stage:+.1f} {unit}"
        ).replace("-", "−")
    if one_stage < may_add:
        return f"bands outside the spectrum may add {max(may_add, 0.1):.1f} {unit} to the rating"
    return "the limit lies below what can be measured"


def probability_mark(rating_bounds: Iterable[str]) -> str:
    """What a probability of keeping limits is: an upper end where a rating is a lower bound.

    Parameters
    ----------
    rating_bounds : iterable of str
        Marks of the ratings that it is of.

    Examples
    --------
    >>> probability_mark(["", "at least"]), probability_mark(["", "below"])
    ('at most', '')
    """
    bound = any(b in (Mark.AT_LEAST, Mark.OPEN) for b in rating_bounds)
    return margin_mark(Mark.AT_LEAST) if bound else ""


def signs(decided_by: str) -> str:
    """Signs of what decided a margin, each behind a space; empty where it is the prediction.

    Examples
    --------
    >>> signs(LARGEST_LOSS), signs("")
    (' †', '')
    """
    return "".join(f" {sign}" for words, sign in SIGNS.items() if words in decided_by)


def mark_sentences(table: pd.DataFrame, result: xr.Dataset) -> list[str]:
    """What the marks of a table mean, one sentence for each that occurs.

    Parameters
    ----------
    table : DataFrame
        From :func:`~groundborne.report.assessment_table`.
    result : Dataset
        The result it was made of.
    """
    sentences = []
    bounds = dict(zip(result["criterion"].values.tolist(), result["bound"].values, strict=True))
    low = table[table["rating_bound"].isin([Mark.AT_LEAST, Mark.OPEN])]
    for why in dict.fromkeys(str(bounds[c]) for c in low["criterion"]):
        names = dict.fromkeys(c for c in low["criterion"] if str(bounds[c]) == why)
        sentences.append(f"≥ marks lower bounds of {'; '.join(names)}: {why}.")
    if low.size:
        sentences.append(
            "The margin of a lower bound is an upper one (≤), and so are the ends of its interval "
            "and its probability; they show nothing met."
            if "probability" in table
            else "The margin of a lower bound is an upper one (≤) and shows nothing met."
        )
    quiet = table.loc[table["rating_bound"] == Mark.BELOW, "criterion"]
    if quiet.size:
        scales = [scale_of(result, c) for c in dict.fromkeys(quiet)]
        least = dict.fromkeys(s.least_words for s in scales)
        sentences.append(
            f"< marks ratings below {' or '.join(least)}, which cannot be measured in a building "
            "(common practice); their margin is at least the one to that."
        )
    if (table["rating_bound"] == Mark.OPEN).any():
        sentences.append(
            "“open”: what the bands at hand give cannot be measured, and other bands may govern."
        )
    if (table["reason"].str.startswith("bands outside")).any():
        sentences.append(
            "Not shown, too, are margins smaller than what bands outside the spectrum may add."
        )
    if table["decided_by"].str.contains(LARGEST_LOSS, regex=False).any():
        sentences.append(
            f"{SIGNS[LARGEST_LOSS]} marks margins that the largest loss stated for measures in the "
            "room decides, not the curves of their layers."
        )
    if table["decided_by"].str.contains(ONE_STAGE, regex=False).any():
        sentences.append(
            f"{SIGNS[ONE_STAGE]} marks margins that base isolation above {SINGLE_STAGE_LIMIT:g} dB "
            "raises by half a decibel or more, or above zero; one stage was not found to give more "
            f"({WALKER_MATHERS.author} {WALKER_MATHERS.year} [{WALKER_MATHERS.mark}]). Where a "
            "criterion is met by that alone, it is not shown."
        )
    return sentences
