"""How levels were predicted, in plain words, with a picture of the chain."""

from __future__ import annotations

from collections.abc import Sequence

from groundborne.isolation.base import THEORY_WORDS
from groundborne.report.facts import Facts
from groundborne.report.how_sure import sure_words
from groundborne.report.picture import Picture
from groundborne.report.printed import WHOLE
from groundborne.report.tree import Part, Ref, Section, say, words_listing
from groundborne.report.words import path_rows


def method_section(facts: Facts, figures: Sequence[Picture]) -> Section:
    """Method, and how sure the answers are."""
    parts: list[Part] = [
        say(
            "Every measured passby is carried from where it was recorded to the rooms: in every "
            "one-third-octave band each step of the way raises or lowers its level. An option adds "
            "steps, such as mounts or layers in rooms, or changes the building where its words say "
            "so, and nothing else; so the difference of two options is that of what they change."
        ),
        *(p.figure for p in figures),
        say(
            "Base isolation is an insertion loss: the ratio of the velocity above the mounts "
            f"without and with them, between what stands below and what stands above. "
            f"{THEORY_WORDS} "
            "It is shown beside the prediction and never used in place of it. Layers in rooms act "
            "on the surfaces they cover; every other surface radiates as before."
        ),
        say(
            "Band levels in a room are summed with the weighting of the metric (A-weighting: "
            "IEC 61672-1) or, for noise rating, to octaves first (AS 1469). Each criterion is then "
            "rated on its own statistic over the passbys, weighted by the timetable where it names "
            "a period. A margin is the limit minus the rating, in dB, or in NR where the criterion "
            "is a noise rating; of vibration it is 20 lg(limit/rating), in dB."
        ),
    ]
    if facts.sure:
        parts.append(say(sure_words(facts.median), " What decides is in ", Ref(key="decides"), "."))
    middle = (
        " Ratings and margins are medians over the errors, and the interval stands in brackets "
        "behind them; the tables hold those without errors as well."
    )
    parts.append(say(WHOLE + middle * facts.sure))
    parts.append(
        words_listing(
            "steps", "Steps of the way without measures", ("Step", "Takes", "Gives", "After"),
            list(path_rows(facts.study).rows),
        )
    )  # fmt: skip
    return Section(key="method", title="Method", parts=tuple(parts))
