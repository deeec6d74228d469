"""Which option a report recommends: the least effort that is sure enough, or the nearest to it."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
import xarray as xr

from groundborne.rating import Answer
from groundborne.rating.answers import rounded_percent
from groundborne.report.rooms import best_option
from groundborne.study import Study


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The option that a report speaks of.

    Parameters
    ----------
    option : str
        Its name.
    meets : bool
        Whether it meets everything with the probability asked, or without probabilities shows
        everything met.
    order : str
        What effort was judged by, in words.
    """

    option: str
    meets: bool
    order: str


def choose(study: Study, result: xr.Dataset, table: pd.DataFrame) -> Choice:
    """The first option, by effort, that meets everything; else the one that comes nearest.

    Parameters
    ----------
    study : Study
        Options in the order of effort; where each has a cost, that orders them.
    result : Dataset
        Its result without samples.
    table : DataFrame
        Its assessment, of rooms and equipment.

    Returns
    -------
    Choice
        With probabilities everything in all rooms has to be met at once with the probability asked.
    """
    names = [o.name for o in study.options]
    costs = [getattr(o, "cost", None) for o in study.options]
    by_cost = all(c is not None for c in costs)
    order = "the order in which the study lists them"
    if by_cost:
        pairs = zip(names, (float(c) for c in costs if c is not None), strict=True)
        names = [name for name, _ in sorted(pairs, key=lambda pair: pair[1])]
        order = "the order of their cost"
    asked = float(result.attrs.get("probability_asked", 0.0))
    met = table["answer"].eq(Answer.MET.value).groupby(table["option"], sort=False).all()
    for name in names:
        sure = (
            "probability_all" not in result
            or float(result["probability_all"].sel(option=name)) >= asked
        )
        if bool(met.get(name, False)) and sure:
            return Choice(option=name, meets=True, order=order)
    if "probability_all" in result:
        share = dict(zip(names, result["probability_all"].sel(option=names).values, strict=True))
        # Of options as likely in print the one that misses least, equipment among it.
        kept = table["answer"].eq(Answer.MET.value).groupby(table["option"], sort=False).mean()
        nearest = max(
            names,
            key=lambda n: (
                rounded_percent(float(share[n])),
                float(kept.get(n, 0.0)),
                float(share[n]),
            ),
        )
    else:
        nearest = best_option(result)
    return Choice(option=nearest, meets=False, order=order)
