"""What is a bound is marked as one, and rounded to the side that claims no more than it holds."""

from __future__ import annotations

import math
import re
import warnings

import pandas as pd
import pytest
import xarray as xr

from groundborne.rating import Mark
from groundborne.rating.scale import scales_of
from groundborne.report import assessment_text
from groundborne.report.assessment import assessment_table
from groundborne.report.option_table import options_table
from groundborne.report.printed import interval_words, probability_run, rating_words
from groundborne.study.assessment import decide
from groundborne.study.sureness import how_sure


@pytest.fixture(scope="module")
def bounded(small) -> xr.Dataset:
    """Answers of which one criterion in one room has lower bounds, since bands are missing."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = how_sure(small.study, small.result, samples=1024)
    here = {"room": found["room"][0], "criterion": found["criterion"][0]}
    added = found["may_add"].copy()
    added.loc[here] = math.inf
    words = found["bound"].copy()
    words.loc[{"criterion": here["criterion"]}] = "bands are missing"
    return decide(found.assign(may_add=added, bound=words))


@pytest.fixture(scope="module")
def table(bounded) -> pd.DataFrame:
    return assessment_table(bounded).assign(key="R-C1-O1")


def is_bound(table: pd.DataFrame) -> pd.Series:
    return table["rating_bound"].isin([Mark.AT_LEAST, Mark.OPEN])


def test_probabilities_of_lower_bounds_are_upper_ends(table, bounded, small) -> None:
    lower = is_bound(table)
    assert 0 < lower.sum() < len(table)
    assert list(table["probability_bound"]) == ["at most" if b else "" for b in lower]
    for row in table.to_dict("records"):
        run = probability_run(row, "probability", "assessment")
        signed = run.text.startswith(("≤ ", "< "))
        assert signed == bool(row["probability_bound"]) or row["probability"] < 0.01
        assert run.value == pytest.approx(row["probability"], rel=1e-5)
    options = options_table(small.study, bounded, table)
    assert set(options["probability_all_bound"]) == {"at most"}
    text = assessment_text(bounded)
    shares = re.findall(r"everything in all rooms with a probability of (\S)", text)
    assert len(shares) == len(options)
    assert set(shares) <= {"≤", "<"}
    assert "its probability; they show nothing met" in text


def test_margins_of_lower_bounds_are_nowhere_at_least(table) -> None:
    lower = is_bound(table)
    assert set(table.loc[lower, "margin_high_bound"]) == {""}
    for row in table[lower].to_dict("records"):
        assert "≥" not in interval_words(row)


def test_ends_of_intervals_are_rounded_outward(table, bounded) -> None:
    scales = scales_of(bounded)
    moved = 0.0
    for row in table.to_dict("records"):
        here = {"option": row["option"], "room": row["room"], "criterion": row["criterion"]}
        low, high = (float(bounded[n].sel(here)) for n in ("margin_low", "margin_high"))
        assert row["margin_low"] <= low + 1e-5
        floor = scales[row["criterion"]].least
        if float(bounded["rating_low"].sel(here)) >= floor:
            assert row["margin_high"] >= high - 1e-5
        if math.isfinite(row["margin_low"]):
            assert low - row["margin_low"] < 0.31
            moved = max(moved, low - row["margin_low"])
            whole = [int(n.replace("−", "-")) for n in re.findall(r"[−+]?\d+", interval_words(row))]
            assert whole[0] <= low + 1e-5
    assert moved > 0.0


def test_lower_bounds_are_rounded_down(table, bounded) -> None:
    for row in table.to_dict("records"):
        if row["rating_bound"] == Mark.AT_LEAST and row["median_bound"] == Mark.AT_LEAST:
            here = {k: row[k] for k in ("option", "room", "criterion")}
            sign, number = rating_words(row, scales_of(bounded)[row["criterion"]]).split()
            exact = float(bounded["rating_median"].sel(here))
            assert sign == "≥"
            assert exact - 1.0 - 1e-5 < int(number) <= exact + 1e-5
