"""Answers as a table and as text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.rating import ANSWERS, Answer
from groundborne.rating.answers import rounded_percent
from groundborne.rating.scale import scales_of
from groundborne.report.equipment import equipment_lines
from groundborne.report.marks import ANSWER_WORDS, mark_sentences, probability_mark, signs
from groundborne.report.rated import (
    margin_words,
    middle,
    printable,
    rating_text,
    table_of_places,
)
from groundborne.study import notes_of
from groundborne.study.note_words import body
from groundborne.study.samples import median_case, range_words


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
        that decide the margin; where mounts age, ``mounts`` names the state, as new or at the end
        of their life, that the rating is of. Of a sampled result the medians, with ``margin_low``
        and ``margin_high`` the smallest and the largest of the samples; of answers by probability
        the ends of their interval, ``rating_median``, ``median_bound`` and ``margin_median``, and
        ``probability`` of meeting the criterion; ``rating`` and ``margin`` are then those of the
        median levels, without errors.

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
    return table_of_places(
        result,
        "room",
        {
            "room": result["room"].values,
            "name": result["room_name"].values,
            "group": result["room_group"].values,
            "floor": result["floor_of_room"].values,
        },
    )


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


GOVERNS = (
    "{what}: not met before open (within the uncertainty, or not shown) before met; among "
    "these the least {by}."
)
"""The rule of :func:`by_urgency`, in words."""


def governs_words(table: pd.DataFrame, what: str = "What governs") -> str:
    """By what rule a row governs."""
    margin = "margin"
    if "margin_median" in table:
        margin = "median margin"
    if "probability" in table:
        margin = f"probability in whole percent, then the least {margin}"
    return GOVERNS.format(what=what, by=margin)


def by_urgency(table: pd.DataFrame) -> pd.DataFrame:
    """Rows of an assessment, what governs first, by :data:`GOVERNS`.

    Probabilities are told apart as far as they are printed: what differs by less, and all below
    one percent, is scatter of the samples. A margin that is not known stands last among its like.
    """
    place = {Answer.NOT_MET: 0, Answer.WITHIN: 1, Answer.NOT_SHOWN: 1, Answer.MET: 2}
    keys = {"of_answer": table["answer"].map({a.value: n for a, n in place.items()})}
    if "probability" in table:
        keys["of_probability"] = table["probability"].map(rounded_percent)
    keys["of_margin"] = table["margin_median" if "margin_median" in table else "margin"]
    order = table.assign(**keys).sort_values([*keys], kind="stable")
    found: pd.DataFrame = order.drop(columns=[*keys])
    return found


def worst_of_group(table: pd.DataFrame) -> pd.DataFrame:
    """For each option and group of rooms the row that governs, as :func:`by_urgency` has it."""
    kept: pd.DataFrame = by_urgency(table).drop_duplicates(["option", "group"])
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
    changed: dict[str, list[str]] = {}
    for note in notes_of(result):
        if note.kind == "changed building":
            changed.setdefault(str(note.option), []).append(body(note))
    lines = ["Invented for demonstration."] if result.attrs.get("invented") == "yes" else []
    for option, counts in rooms_met(table).to_dict("index").items():
        rooms = met_words(counts).replace(f" of {counts['rooms']}", f" of {counts['rooms']} rooms")
        lines.append(
            f"{printable(str(option))}: met in {rooms}{_all_rooms(result, table, str(option))}"
        )
        lines += [f"  {printable(text)}" for text in changed.get(str(option), ())]
        for worst in groups[groups["option"] == option].to_dict("records"):
            shown = middle(worst)
            rating = rating_text(shown["rating"], scales[worst["criterion"]], shown["rating_bound"])
            lines.append(
                f"  {printable(worst['group']):<{width}}  {margin_words(worst):>7}  {_share(worst)}"
                f"{ANSWER_WORDS[worst['answer']]:<9}  {printable(worst['room'])}: "
                f"{printable(worst['criterion'])} {rating}, limit {worst['limit']:g} "
                f"{worst['unit']}".rstrip()
                + signs(worst["decided_by"])
            )
    lines.append(
        f"{governs_words(table, 'What governs each group of rooms')} "
        "A margin is positive where the rating keeps the limit; what may be said of "
        "it is the word beside it. Not shown is no failure: bands or knowledge are missing, as "
        "the notes of the report say. Uncertain: the range of the margin decides neither way."
    )
    words = range_words(median_case(result))
    if "margin_median" in table:
        words = f"ratings and margins are medians; in brackets the {words}"
    lines += [f"Margins: {words}."] if words else []
    if "probability" in result:
        asked = percent_words(result.attrs["probability_asked"])
        lines.append(
            f"Met is what holds with a probability of {asked}"
            f" or more, not met what fails with it. Sources of error: "
            f"{result.attrs['sources_of_error']}; their spreads are those of published statistics "
            "and of common practice, and the report lists them."
        )
    if "probability_error_of_cases" in result:
        most = 100 * float(result["probability_error_of_cases"].max())
        lines.append(
            f"What the study calls uncertain, and other models of its stages, are sampled by "
            f"{result.attrs['cases_of_mechanics']} cases; that they are so few puts an error of "
            f"up to {most:.1f} % on a probability."
        )
    lines += [printable(sentence) for sentence in mark_sentences(groups, result)]
    lines += equipment_lines(result)
    return "\n".join(lines)


def _share(row: Mapping[Any, Any]) -> str:
    """Probability of meeting a criterion, where it is known."""
    if "probability" not in row:
        return ""
    words = probability_words(row["probability"], row["probability_bound"])
    return f"{words:>6}  "


def _all_rooms(result: xr.Dataset, table: pd.DataFrame, option: str) -> str:
    """Probability that an option meets everything in all rooms."""
    if "probability_all" not in result:
        return ""
    share = float(result["probability_all"].sel(option=option))
    bound = probability_mark(table.loc[table["option"] == option, "rating_bound"])
    words = probability_words(share, bound)
    return f"; everything in all rooms with a probability of {words}"


def percent_words(share: float) -> str:
    """A probability in words, none of which is sure.

    Examples
    --------
    >>> percent_words(0.0004), percent_words(0.453), percent_words(0.8979), percent_words(0.9996)
    ('< 1 %', '46 %', '89 %', '> 99 %')
    """
    percent = rounded_percent(share)
    if percent < 1:
        return "< 1 %"
    return "> 99 %" if percent > 99 else f"{percent} %"


def listed(names: Iterable[str]) -> str:
    """Names in one line."""
    return ", ".join(names)


def probability_words(share: float, bound: str) -> str:
    """A probability in words, with a sign where it is an upper end.

    Examples
    --------
    >>> probability_words(0.45, "at most"), probability_words(0.999, "at most")
    ('≤ 45 %', '≤ 100 %')
    >>> probability_words(0.001, "at most"), probability_words(0.999, "")
    ('< 1 %', '> 99 %')
    """
    words = percent_words(share)
    if not bound or words.startswith("<"):
        return words
    return "≤ 100 %" if words.startswith(">") else f"≤ {words}"
