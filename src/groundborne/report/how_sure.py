"""How sure the answers are, for the document: probabilities and the sources of error in them."""

from __future__ import annotations

import json

import numpy as np
import xarray as xr

from groundborne.report.assessment import percent_words
from groundborne.report.words import Rows
from groundborne.study.change_words import keys_in_words
from groundborne.study.samples import ERRORS


def spread_rows(result: xr.Dataset) -> Rows | None:
    """Sources of error with their standard deviations.

    Parameters
    ----------
    result : Dataset
        With answers by probability; none without.
    """
    if ERRORS not in result.attrs:
        return None
    found = json.loads(result.attrs["spreads"])
    keys = ("name", "sound", "floor", "together", "measured", "sources")
    header = (
        "source of error", "of sound in rooms", "of floors at mid-span", "errs together",
        "what measurement replaces it", "source",
    )  # fmt: skip
    rows = tuple(tuple(keys_in_words(_short(row[k])) for k in keys) for row in found)
    return Rows(header=header, rows=rows)


def sure_words(result: xr.Dataset) -> str:
    """How the probabilities were found, in words; empty without them.

    Parameters
    ----------
    result : Dataset
        With answers by probability.
    """
    if ERRORS not in result.attrs:
        return ""
    asked = percent_words(result.attrs["probability_asked"])
    summed = float(result["train_summary_error"].max())
    return (
        f"A criterion counts as met where it is kept with a probability of {asked} or more, and as "
        f"not met where it is missed with that; between them the uncertainty decides. "
        f"{result.attrs[ERRORS]} samples of errors in decibels were added to the levels of bands "
        "and rated like these; neighbouring bands err together, options of one building share the "
        "errors of that building. Levels of bands are medians. The median of a rating lies "
        f"{_above(result)}, since bands that err apart add up to more; a rating whose median is at "
        "its limit is kept half the time. Trains were summed into one spectrum for each room "
        f"before that, which moves ratings by {_spread(summed)} dB or NR (rms). The probabilities "
        "are as good as the spreads below, which are those of published statistics and of common "
        "practice and not of this building."
    )


def _short(text: str) -> str:
    """Sources by author, year and place: what follows stands in the table of sources."""
    return "; ".join(dict.fromkeys(part.split(" [")[0] for part in str(text).split("]; ")))


def _above(result: xr.Dataset) -> str:
    """By how much medians of ratings lie above the rating of medians."""
    applies = result["applies"]
    off = (result["margin"] - result["margin_median"]).where(applies).values
    off = off[np.isfinite(off)]
    ends = dict.fromkeys(_spread(float(end)) for end in (off.min(), off.max()))
    return f"{' to '.join(ends)} dB or NR above the rating itself"


def _spread(size: float) -> str:
    """A difference in whole decibels, below two with one decimal."""
    return (
        f"{size:.0f}"
        if abs(size) >= 2
        else f"{size + 0.0:.1f}".replace("-0.0", "0.0").replace("-", "−")
    )


def doubt_rows(result: xr.Dataset) -> Rows | None:
    """What the study itself calls uncertain: keys with their distribution, models with weights.

    Parameters
    ----------
    result : Dataset
        With answers by probability; none without doubts.

    Examples
    --------
    >>> doubt_rows(xr.Dataset()) is None
    True
    """
    found = json.loads(result.attrs.get("doubts", "[]"))
    if not found:
        return None
    header = ("uncertain", "how", "source")
    return Rows(
        header=header, rows=tuple(tuple(keys_in_words(row[k]) for k in header) for row in found)
    )
