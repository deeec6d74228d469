"""Figures of a report that compare options: margins of all rooms, and probability over cost."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import xarray as xr
from matplotlib.axes import Axes

from groundborne import plot
from groundborne.plot.style import literal
from groundborne.report.assessment import percent_words
from groundborne.report.facts import Facts
from groundborne.report.picture import Picture, file_name, single
from groundborne.report.printed import margin_whole


def option_pictures(facts: Facts) -> Iterator[Picture]:
    """Margins of all options on each criterion, and probability over cost.

    Parameters
    ----------
    facts : Facts
        Study and result.
    """
    result = facts.single
    groups = len(np.unique(result["room_group"].values))
    names = [facts.label(o) for o in facts.options]
    lines = max(len(literal(n, width=26).split("\n")) for n in names)
    height = 0.9 + max(0.28, 0.085 * groups, 0.15 * lines) * len(names)
    for criterion in facts.criteria:

        def draw(ax: Axes, criterion: str = criterion) -> Axes:
            drawn = plot.margins(result, criterion=criterion, ax=ax)
            drawn.set_yticks(range(len(names)), [literal(n, width=26) for n in names])
            return drawn

        told = _does_best(facts, criterion)
        yield Picture(
            section="options",
            slug=file_name("margins", criterion),
            caption=f"{criterion}: margin of every room, by option; the broad line in each lane "
            "spans the rooms of a group. In the grey field the criterion is not met.",
            alt=f"On {criterion} {told}.",
            size=(6.6, height),
            draw=single(draw),
            invented=facts.study.invented,
        )
    costs = facts.frames["options"]["cost"]
    if facts.sure and costs.notna().all() and len(costs) > 1:
        yield _efficient(facts)


def _does_best(facts: Facts, criterion: str) -> str:
    """With which options the worst room does best on a criterion: all that print alike."""
    here = facts.table[facts.table["criterion"] == criterion]
    worst = here.loc[here.groupby("option", sort=False)[facts.margin].idxmin().dropna()]
    if not len(worst):
        return "no margin can be given"
    by_margin = worst[facts.margin].map(np.floor)
    best = worst[by_margin == by_margin.max()]
    if "probability" in best:
        # Beyond what can be measured margins are all alike; what is likelier is better.
        shares = best["probability"].map(percent_words)
        best = best[shares == shares[best["probability"].idxmax()]]
    names = [str(name) for name in best["option"]]
    first = best.iloc[0].to_dict()
    if len(facts.options) == 1:
        return f"the worst room has a margin of {margin_whole(first)}"
    return (
        f"the worst room does best with {' and '.join(names)}, "
        f"where its margin is {margin_whole(first)}"
    )


def _efficient(facts: Facts) -> Picture:
    from groundborne.study.efficient import efficient_set

    table = facts.frames["options"]
    currency = facts.study.currency
    cost = xr.DataArray(
        table["cost"].to_numpy(), coords={"option": facts.options}, dims="option",
        attrs={"units": currency},
    )  # fmt: skip
    # On the probabilities as they are printed: what nobody can tell apart beats nothing.
    sure = facts.median
    printed = xr.zeros_like(sure["probability_all"])
    printed.values = [_percent(float(share)) for share in sure["probability_all"].values]
    found = efficient_set(sure.assign(probability_all=printed), {"cost": cost})
    found = found.assign(probability_all=sure["probability_all"].reset_coords(drop=True))
    kept = found["option"].values[found["efficient"].values].tolist()
    # Their numbers, as in the table: long names of many options have no room beside each other.
    named = found.assign_coords(option=[facts.short(o) for o in facts.options])
    return Picture(
        section="options",
        slug="probability-over-cost",
        caption="Probability that all rooms meet all criteria over the cost that the study states, "
        "with two standard errors of the sampling; options by their numbers. Filled: no other "
        "option is as sure for less, by the whole per cent that are printed.",
        alt=f"No other option is surer for less than {', '.join(map(str, kept))}.",
        size=(6.4, 3.0),
        draw=single(lambda ax: plot.efficient_options(named, column="cost", ax=ax)),
        invented=facts.study.invented,
    )


def _percent(share: float) -> float:
    """A probability as it is printed, as a number: below 1 % none, above 99 % all."""
    words = percent_words(share)
    ends = {"<": 0.0, ">": 1.0}
    return ends[words[0]] if words[0] in ends else float(words.removesuffix(" %")) / 100
