"""What makes ratings uncertain, and what measuring would do, as rows."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

NOW, LATER = "now", "once the building stands"
"""When a measurement can be made."""

_PLACE = ("option", "room", "criterion")


def budget_table(budget: xr.Dataset, table: pd.DataFrame) -> pd.DataFrame:
    """Standard deviation of every rating by each source of error.

    Parameters
    ----------
    budget : Dataset
        From :func:`~groundborne.study.error_budget`.
    table : DataFrame
        The assessment, whose keys stand before those of the sources.

    Returns
    -------
    DataFrame
        ``key, rating_key, option, room, criterion, source_of_error, standard_deviation, unit``;
        the last two rows of each rating are all sources together, to first order and by samples.
    """
    names = [*map(str, budget["source_of_error"].values), "all, first order", "all, by samples"]
    whole = [budget[n].expand_dims("source_of_error") for n in ("first_order", "sampled")]
    sizes = [budget["budget"], *whole]
    values = np.concatenate([s.transpose("source_of_error", *_PLACE).values for s in sizes], axis=0)
    units = [str(u) for u in budget["margin_unit"].values]
    return _long(
        budget, table, names, "source_of_error", {"standard_deviation": values}, units, "S"
    )


def worth_table(found: xr.Dataset, table: pd.DataFrame) -> pd.DataFrame:
    """What each measurement would do to the interval of every margin.

    Parameters
    ----------
    found : Dataset
        From :func:`~groundborne.study.best_measurements`.
    table : DataFrame
        As for :func:`budget_table`.

    Returns
    -------
    DataFrame
        ``key, rating_key, option, room, criterion, measurement, reduction, probability_met,
        probability_not_met, unit, best, can_be_made``.
    """
    names = [str(n) for n in found["measurement"].values]
    values = {
        n: found[n].transpose("measurement", *_PLACE).values
        for n in ("reduction", "probability_met", "probability_not_met")
    }
    units = [str(u) for u in found["margin_unit"].values]
    frame = _long(found, table, names, "measurement", values, units, "M")
    best = found["best"].transpose(*_PLACE).to_series()
    at = pd.MultiIndex.from_frame(frame[list(_PLACE)])
    frame["best"] = np.where(best.loc[at].to_numpy() == frame["measurement"], "yes", "no")
    possible = found["possible"].transpose("measurement", "room").to_series()
    here = pd.MultiIndex.from_frame(frame[["measurement", "room"]])
    frame["can_be_made"] = np.where(possible.loc[here].to_numpy(), NOW, LATER)
    return frame


def _long(
    of: xr.Dataset,
    table: pd.DataFrame,
    names: list[str],
    column: str,
    values: dict[str, Any],
    units: list[str],
    letter: str,
) -> pd.DataFrame:
    places = {d: [str(v) for v in of[d].values.tolist()] for d in _PLACE}
    at = [
        (places["option"].index(o), places["room"].index(r), places["criterion"].index(c))
        for o, r, c in zip(table["option"], table["room"], table["criterion"], strict=True)
    ]
    o, r, c = (np.array(each) for each in zip(*at, strict=True))
    count = len(names)
    frame = table.loc[table.index.repeat(count), ["key", *_PLACE]].reset_index(drop=True)
    frame = frame.rename(columns={"key": "rating_key"})
    numbers = np.tile(np.arange(1, count + 1), len(table))
    frame.insert(0, "key", frame["rating_key"] + "-" + letter + pd.Series(numbers).astype(str))
    frame[column] = names * len(table)
    for name, array in values.items():
        frame[name] = array[:, o, r, c].T.ravel()
    frame["unit"] = np.repeat(np.array(units)[c], count)
    return frame
