"""What may be said of a margin: met, within the uncertainty, not met, or not shown."""

from __future__ import annotations

import math
from enum import StrEnum

import numpy as np
import xarray as xr

from groundborne._arguments import Words, checked
from groundborne._checks import Numeric, RatingError, known, watched

_ROUNDING = 1e-9  # dB; margins are differences of sums


class Answer(StrEnum):
    """What may be said of a criterion. Each is its own text, and so may be compared in arrays.

    Examples
    --------
    >>> Answer.NOT_SHOWN == "not shown", [a.value for a in ANSWERS]
    (True, ['not met', 'not shown', 'within the uncertainty', 'met'])
    """

    MET = "met"
    WITHIN = "within the uncertainty"
    NOT_MET = "not met"
    NOT_SHOWN = "not shown"
    NO_CRITERION = ""
    """The room has no such criterion."""


ANSWERS = (Answer.NOT_MET, Answer.NOT_SHOWN, Answer.WITHIN, Answer.MET)
"""The four answers, the one that weighs most first."""


class Mark(StrEnum):
    """What a printed rating is; its margin is the opposite bound."""

    EXACT = ""
    AT_LEAST = "at least"
    """A lower bound: bands outside the spectrum may govern."""
    BELOW = "below"
    """Smaller than what can be measured or is defined, which is printed instead."""
    OPEN = "open"
    """A lower bound below what can be measured: no number can be given."""


_OPPOSITE = {
    Mark.EXACT: "",
    Mark.AT_LEAST: "at most",
    Mark.BELOW: "at least",
    Mark.OPEN: "open",
}


@checked
def margin_mark(mark: str) -> str:
    """What a margin is whose rating has a mark.

    Examples
    --------
    >>> margin_mark("at least"), margin_mark("below")
    ('at most', 'at least')
    """
    return _OPPOSITE[Mark(known("margin_mark", "mark", mark, [str(m) for m in Mark]))]


# Infinite: without a limit, or a lower bound; NaN is looked at here, where a criterion applies.
@checked(
    infinite=("margin", "may_add", "at_worst", "worst_low", "low", "high"),
    nan=("margin", "at_worst"),
)
def answer(
    margin: xr.DataArray,
    *,
    may_add: Numeric = 0.0,
    at_worst: xr.DataArray | None = None,
    worst_low: xr.DataArray | None = None,
    low: xr.DataArray | None = None,
    high: xr.DataArray | None = None,
    applies: xr.DataArray | bool = True,
) -> xr.DataArray:
    """Answer to a criterion: the one place where it is decided.

    Parameters
    ----------
    margin : DataArray
        Margin to the limit, positive where it is met [dB, or NR].
    may_add : float or DataArray
        By how much what is missing may raise the rating [dB, or NR], 0 or more; infinite for a
        lower bound.
    at_worst : DataArray, optional
        Margin where everything is held to what it has been found to give [dB, or NR].
    worst_low : DataArray, optional
        Lower end of the interval of `at_worst`.
    low, high : DataArray, optional
        Ends of the interval in which the margin lies [dB, or NR], around `margin`; by default it
        is not known.
    applies : DataArray of bool or bool
        Where there is such a criterion.

    Returns
    -------
    xarray.DataArray
        Texts of :class:`Answer`: ``not met`` where even the upper end of the margin is negative,
        ``met`` where its lower end, with everything that is missing or not found before taken into
        account, is not; of what lies between, ``within the uncertainty`` where the uncertainty
        alone decides and ``not shown`` where the prediction does not carry an answer; empty where
        there is no criterion. A margin of nought is met, and so is one that is negative by
        rounding (1e-9).

    Raises
    ------
    RatingError
        A margin is not a number where there is a criterion.
    ValueError
        A negative addition, or an interval that does not hold the margin.

    Notes
    -----
    A rating that is an upper bound because bands are taken to peak together is answered like any
    other: the sum of the bands is the rating that criteria mean (common practice).

    Examples
    --------
    >>> margin = xr.DataArray([3.0, 3.0, -1.0, -1.0, 0.5], dims="room")
    >>> may_add = xr.DataArray([0.0, np.inf, np.inf, 0.0, 0.7], dims="room")
    >>> answer(margin, may_add=may_add).values.tolist()
    ['met', 'not shown', 'not met', 'not met', 'not shown']
    >>> answer(margin, low=margin - 2.0, high=margin + 2.0).values.tolist()[2:]
    ['within the uncertainty', 'within the uncertainty', 'within the uncertainty']
    """
    where = "answer"
    if not isinstance(may_add, xr.DataArray) or may_add.chunks is None:
        added = np.asarray(may_add, dtype=float)
        if bool((~(added >= 0)).any()):
            raise ValueError(f"{where}: may_add is negative or no number; 0 dB or more is needed")
    held = margin if at_worst is None else at_worst
    margin, low, high, held, held_low = (
        _numbers(where, part, applies)
        for part in (
            margin,
            _end(where, "low", low, margin),
            _end(where, "high", high, margin),
            held,
            held if worst_low is None else worst_low,
        )
    )
    # Compared, not subtracted: a margin without a limit is infinite, and so is what may be added.
    limited = ~np.isinf(may_add)
    enough = [part + _ROUNDING >= may_add for part in (margin, low, held, held_low)]
    met = enough[0] & enough[1] & enough[2] & enough[3] & limited
    # Without the uncertainty it would be met, or not met.
    decided = ((enough[0] & enough[2]) | (margin < -_ROUNDING)) & limited
    said: xr.DataArray = xr.where(decided, Answer.WITHIN.value, Answer.NOT_SHOWN.value)
    said = xr.where(met, Answer.MET.value, said)
    said = xr.where(high < -_ROUNDING, Answer.NOT_MET.value, said)
    said = xr.where(applies, said, Answer.NO_CRITERION.value)
    said.attrs = {"long_name": "answer to the criterion; empty where the room has none"}
    return said


def _numbers(where: str, margin: xr.DataArray, applies: xr.DataArray | bool) -> xr.DataArray:
    """Margins that are numbers wherever there is a criterion; of a chunked one, when computed."""
    bad = margin.isnull() & applies
    if bad.chunks is None and bool(bad.any()):
        raise RatingError(f"{where}: a margin is not a number")
    return margin if margin.chunks is None else watched(where, xr.where(applies, margin, 0.0))


def _end(where: str, name: str, end: xr.DataArray | None, margin: xr.DataArray) -> xr.DataArray:
    """One end of the interval of a margin."""
    if end is None:
        return margin
    wrong = (end > margin + _ROUNDING) if name == "low" else (end < margin - _ROUNDING)
    if wrong.chunks is None and bool(wrong.any()):
        raise ValueError(f"{where}: {name} lies on the wrong side of the margin somewhere")
    return end


@checked
def worst_answer(answers: Words, dim: str) -> xr.DataArray:
    """The answer that weighs most along a dimension; empty where there is no criterion.

    Parameters
    ----------
    answers : DataArray
        Texts of :class:`Answer`.
    dim : str
        Such as ``criterion``.

    Raises
    ------
    ValueError
        A text that is no answer.

    Examples
    --------
    >>> worst_answer(xr.DataArray(["met", "", "not shown"], dims="criterion"), "criterion").item()
    'not shown'
    """
    order = np.array([*ANSWERS, Answer.NO_CRITERION], dtype=str)
    rank = weight_of(answers).min(dim)
    return rank.copy(data=order[rank.values])


@checked
def weight_of(answers: Words) -> xr.DataArray:
    """Place of each answer in ``ANSWERS``; 4 where there is no criterion."""
    texts = [a.value for a in Answer]
    for text in np.unique(np.asarray(answers.values, dtype=str)).tolist():
        known("weight_of", "answer", text, texts)
    rank = xr.full_like(answers, len(ANSWERS), dtype=int)
    for place, answer in enumerate(ANSWERS):
        rank = xr.where(answers == answer.value, place, rank)
    return rank.drop_attrs(deep=False)


@checked(infinite=("least",))
def mark_of(
    rating: xr.DataArray, *, lower_bound: xr.DataArray, least: float | xr.DataArray
) -> xr.DataArray:
    """What each rating is when it is printed.

    Parameters
    ----------
    rating : DataArray
        In the unit of the criterion.
    lower_bound : DataArray of bool
        Where it is one.
    least : float or DataArray
        Smallest value that can be measured or is defined, see ``Metric.least``.

    Returns
    -------
    xarray.DataArray
        Texts of :class:`Mark`.

    Examples
    --------
    >>> bound = xr.DataArray([False, True])
    >>> mark_of(xr.DataArray([-8.0, 12.0]), lower_bound=bound, least=10.0).values.tolist()
    ['below', 'at least']
    """
    quiet = rating < least
    mark: xr.DataArray = xr.where(lower_bound, Mark.AT_LEAST.value, Mark.EXACT.value)
    mark = xr.where(quiet, xr.where(lower_bound, Mark.OPEN.value, Mark.BELOW.value), mark)
    mark.attrs = {"long_name": "what the rating is: at least, below what can be measured, or open"}
    return mark


_SLACK = 1e-9


def rounded_percent(share: float) -> int:
    """Whole percent, rounded towards 50 %: no probability reads as one that it does not reach.

    Examples
    --------
    >>> rounded_percent(0.8979), rounded_percent(0.1021), rounded_percent(0.9), rounded_percent(0.1)
    (89, 11, 90, 10)
    """
    percent = 100 * float(share)
    if percent > 50:
        return math.ceil(percent - _SLACK) if percent > 99.5 else math.floor(percent + _SLACK)
    return math.floor(percent + _SLACK) if percent < 0.5 else math.ceil(percent - _SLACK)
