"""Verdicts as a table and as text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.rating.criteria import Metric, metric_of
from groundborne.study.samples import median_case, samples_words

_DIMS = ("option", "room", "criterion")


@checked
def verdict_table(result: xr.Dataset) -> pd.DataFrame:
    """One row for every option, room and criterion that applies to it.

    Parameters
    ----------
    result : Dataset
        Result of a study.

    Returns
    -------
    pandas.DataFrame
        ``option, room, name, group, floor, criterion, rating, limit, unit, margin, met``: see
        ``ROUNDING`` for the digits. ``met`` ("yes" or "no") is of the rating before it was
        rounded. Of a sampled result the medians, with ``margin_low`` and ``margin_high`` from 5
        to 95 % of the samples.

    Raises
    ------
    StudyError
        The ratings have dims beyond option, room and criterion, or are not numbers.

    Examples
    --------
    >>> coords = {"option": ["as built"], "room": ["R1"], "criterion": ["NR, energy mean"],
    ...           "room_name": ("room", ["Hall"]), "room_group": ("room", ["halls"]),
    ...           "floor_of_room": ("room", ["0"])}
    >>> rating = xr.DataArray([[[20.2]]], dims=("option", "room", "criterion"), coords=coords)
    >>> limit = xr.DataArray([[25.0]], dims=("room", "criterion"))
    >>> result = xr.Dataset({"rating": rating, "limit": limit, "margin": limit - rating,
    ...                      "applies": limit < np.inf})
    >>> verdict_table(result)[["rating", "limit", "margin", "met"]].values.tolist()
    [[20.2, 25.0, 4.8, 'yes']]
    """
    result = median_case(result)
    for dim in result["rating"].dims:
        if dim not in _DIMS:
            raise StudyError(
                f"verdict_table: the ratings have the dim {dim!r}; reduce the result first, for "
                f"example by result.quantile(0.95, {dim!r}, keep_attrs=True)"
            )
    rating, limit, margin, applies = (
        a.transpose(*_DIMS).values
        for a in xr.broadcast(*(result[n] for n in ("rating", "limit", "margin", "applies")))
    )
    keep = applies.astype(bool)
    if not np.isfinite(rating[keep]).all() or not np.isfinite(margin[keep]).all():
        raise StudyError("verdict_table: the result holds ratings that are not numbers")
    option, room, criterion = np.nonzero(keep)
    of_room = {
        "room": result["room"].values,
        "name": result["room_name"].values,
        "group": result["room_group"].values,
        "floor": result["floor_of_room"].values,
    }
    labels = result["criterion"].values.astype(str)[criterion]
    metrics = [metric_of(c) for c in labels.tolist()]
    printed = [
        (as_printed(r, top, m), m.vibration, top)
        for r, top, m in zip(rating[keep].tolist(), limit[keep].tolist(), metrics, strict=True)
    ]
    data: dict[str, Any] = {"option": result["option"].values.astype(str)[option]}
    data |= {name: values.astype(str)[room] for name, values in of_room.items()}
    data |= {
        "criterion": labels,
        "rating": [shown for shown, _, _ in printed],
        "limit": limit[keep],
        "unit": [m.unit for m in metrics],
        "margin": [_margin(*row) for row in printed],
        "met": np.where(margin[keep] >= 0, "yes", "no"),
    }
    if "rating_high" in result:
        for end, of in (("margin_low", "rating_high"), ("margin_high", "rating_low")):
            ranged = result[of].transpose(*_DIMS).values[keep].tolist()
            rows = zip(ranged, limit[keep].tolist(), metrics, strict=True)
            data[end] = [_margin(as_printed(r, top, m), m.vibration, top) for r, top, m in rows]
    return pd.DataFrame(data)


ROUNDING = (
    "Ratings are rounded up to the last digit printed: one decimal of dB and NR (two or three "
    "where the limit has as many), three figures at least of vibration. Margins are those of the "
    "numbers printed, rounded down to one decimal of dB for vibration. Where a document asks for "
    "whole noise ratings, round up (common practice)."
)
"""The one rule by which ratings and margins are printed."""


def as_printed(rating: float, limit: float, metric: Metric) -> float:
    """A rating rounded up to the last digit that is printed, so that no miss reads as met.

    Parameters
    ----------
    rating, limit : float
        In the unit of the metric.
    metric : Metric
        Its kind.

    Examples
    --------
    >>> from groundborne.rating import METRICS
    >>> as_printed(25.04, 25.0, METRICS["NR"]), as_printed(0.001203, 0.2, METRICS["VDV"])
    (25.1, 0.00121)
    """
    digits = max(_decimals(rating, metric), _places(limit))
    # Six decimals more first, so that 25.0000000001 does not become 25.1.
    return float(np.ceil(round(rating * 10.0**digits, 6)) / 10.0**digits) + 0.0


def _decimals(rating: float, metric: Metric) -> int:
    if not metric.vibration or rating <= 0:
        return metric.decimals
    return max(metric.decimals, 2 - int(np.floor(np.log10(rating))))


def _places(number: float) -> int:
    """Decimals that a number is written with, three at most."""
    return next((n for n in range(3) if round(number, n) == round(number, 3)), 3)


def _margin(shown: float, vibration: bool, limit: float) -> float:
    if vibration:
        return float(np.floor(round(200.0 * np.log10(limit / shown), 6)) / 10.0) + 0.0
    return round(limit - shown, 3) + 0.0


def lower_bounds(result: xr.Dataset) -> dict[str, str]:
    """Why ratings are lower bounds, in words, by criterion; those that are none are left out."""
    if "bound" not in result:
        return {}
    found = zip(result["criterion"].values.tolist(), result["bound"].values.tolist(), strict=True)
    return {criterion: str(why) for criterion, why in found if why}


def bound_sentences(bounds: Mapping[str, str]) -> list[str]:
    """What the mark ≥ means, one sentence for each reason.

    Examples
    --------
    >>> bound_sentences({"VDV, day": "bands are missing", "VDV, night": "bands are missing"})
    ['≥ marks lower bounds of VDV, day; VDV, night: bands are missing.']
    """
    return [
        f"≥ marks lower bounds of {'; '.join(c for c, w in bounds.items() if w == why)}: {why}."
        for why in dict.fromkeys(bounds.values())
    ]


def rating_text(rating: float, criterion: str, bound: str = "") -> str:
    """Rating as it is printed, with a mark where it is a lower bound.

    Examples
    --------
    >>> rating_text(20.2, "NR, energy mean", "an octave lacks a third"), rating_text(24.0, "LASmax")
    ('≥ 20.2', '24.0')
    >>> rating_text(0.2134, "VDV, night")
    '0.213'
    """
    digits = max(_decimals(rating, metric_of(criterion)), _places(rating))
    number = f"{rating:.{digits}f}"
    return (f"≥ {number}" if bound else number).replace("-", "−")


def margin_text(margin: float) -> str:
    """Margin with its sign, as it is printed.

    Examples
    --------
    >>> margin_text(3.0), margin_text(-0.25)
    ('+3.0', '−0.25')
    """
    return f"{margin:+.{max(1, _places(margin))}f}".replace("-", "−")


def margin_words(row: Mapping[Any, Any]) -> str:
    """Margin of a row of the table, with its range where it is sampled.

    Examples
    --------
    >>> margin_words({"margin": 3.0, "margin_low": -1.2, "margin_high": 5.0})
    '+3.0 (−1.2 to +5.0)'
    """
    middle = margin_text(row["margin"])
    if "margin_low" not in row:
        return middle
    return f"{middle} ({margin_text(row['margin_low'])} to {margin_text(row['margin_high'])})"


def rooms_met(table: pd.DataFrame) -> pd.DataFrame:
    """For each option, in how many rooms every criterion is met, and the least margin."""
    order = list(dict.fromkeys(table["option"]))
    all_met = (table["met"] == "yes").groupby([table["option"], table["room"]]).all()
    grouped = all_met.groupby(level="option")
    counts = pd.DataFrame({"met": grouped.sum(), "rooms": grouped.size()})
    counts["margin"] = table.groupby("option")["margin"].min()
    return counts.loc[order]


def worst_of_group(table: pd.DataFrame) -> pd.DataFrame:
    """For each option and group of rooms the row with the least margin."""
    worst = table.sort_values("margin", kind="stable").drop_duplicates(["option", "group"])
    return worst.sort_index()


@checked
def verdict_text(result: xr.Dataset) -> str:
    """Verdicts for a terminal: the least margin of every option and group of rooms.

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
        As for :func:`verdict_table`.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/tower/study.toml")
    >>> study = study.with_options([gb.Option(name="as built")])
    >>> "as built" in verdict_text(study.evaluate(band_levels=False))
    True
    """
    table, bounds = verdict_table(result), lower_bounds(result)
    groups = worst_of_group(table)
    width = min(24, max(len(printable(g)) for g in groups["group"]))
    lines = []
    for option, row in rooms_met(table).iterrows():
        lines.append(
            f"{printable(str(option))}: met in {row['met']:.0f} of {row['rooms']:.0f} rooms"
        )
        for worst in groups[groups["option"] == option].to_dict("records"):
            verdict = "met    " if worst["met"] == "yes" else "NOT MET"
            rating = rating_text(
                worst["rating"], worst["criterion"], bounds.get(worst["criterion"], "")
            )
            lines.append(
                f"  {printable(worst['group']):<{width}}  {margin_words(worst):>6}  "
                f"{verdict}  {printable(worst['room'])}: {printable(worst['criterion'])} {rating}, "
                f"limit {worst['limit']:g} {worst['unit']}".rstrip()
            )
    lines.append("Least margin of each group of rooms over all its criteria, positive when met.")
    words = samples_words(median_case(result))
    lines += [f"Margins: {words}."] if words else []
    lines += [printable(sentence) for sentence in bound_sentences(bounds)]
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
