"""Verdicts as a table and as text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.rating import METRICS
from groundborne.rating.criteria import metric_of

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
        ``option, room, name, group, floor, criterion, rating, limit, unit, margin, met``. Ratings
        of sound to one decimal [dB re 20 µPa]; noise ratings rounded up to a whole number, as is
        common practice; of vibration in their own unit. ``margin`` [dB, or NR] and ``met`` ("yes"
        or "no") are of the rating before it was rounded; the margin has one decimal, or two where
        a miss would else read as zero.

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
    [[21.0, 25.0, 4.8, 'yes']]
    """
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
    exact = rating[keep]
    # Six decimals first, so that 25.0000000001 does not become 26.
    up = np.array([m is METRICS["NR"] for m in metrics], dtype=bool)
    scale = 10.0 ** np.array([m.decimals for m in metrics])
    shown = np.where(up, np.ceil(exact.round(6)), np.round(exact * scale) / scale)
    data: dict[str, Any] = {"option": result["option"].values.astype(str)[option]}
    data |= {name: values.astype(str)[room] for name, values in of_room.items()}
    data |= {
        "criterion": labels,
        "rating": shown,
        "limit": limit[keep],
        "unit": [m.unit for m in metrics],
        "margin": _rounded(margin[keep]),
        "met": np.where(margin[keep] >= 0, "yes", "no"),
    }
    return pd.DataFrame(data)


def _rounded(margin: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """To one decimal; a miss by less than that to two, so that it never reads as zero."""
    one: np.ndarray[Any, Any] = margin.round(1) + 0.0
    return np.where((one == 0) & (margin < 0), np.floor(margin * 100) / 100, one)


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
    >>> rating_text(21.0, "NR, energy mean", "an octave lacks a third"), rating_text(24.0, "LASmax")
    ('≥ 21', '24.0')
    >>> rating_text(0.2134, "VDV, night")
    '0.213'
    """
    number = f"{rating:.{metric_of(criterion).decimals}f}"
    return (f"≥ {number}" if bound else number).replace("-", "−")


def margin_text(margin: float) -> str:
    """Margin with its sign, as it is printed.

    Examples
    --------
    >>> margin_text(3.0), margin_text(-0.04)
    ('+3.0', '−0.04')
    """
    text = f"{margin:+.2f}" if -0.05 < margin < 0 else f"{margin:+.1f}"
    return text.replace("-", "−")


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
                f"  {printable(worst['group']):<{width}}  {margin_text(worst['margin']):>6}  "
                f"{verdict}  {printable(worst['room'])}: {printable(worst['criterion'])} {rating}, "
                f"limit {worst['limit']:g} {worst['unit']}".rstrip()
            )
    lines.append("Least margin of each group of rooms over all its criteria, positive when met.")
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
