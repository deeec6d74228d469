"""What a report calls its numbers, and how it prints them."""

from __future__ import annotations

import io
import warnings
from pathlib import Path

import openpyxl
import pytest

import groundborne as gb
from groundborne.report.facts import Facts
from groundborne.report.sheets import workbook_writer
from groundborne.report.workbook import workbook_bytes

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines"


@pytest.fixture(scope="module")
def sure():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.UnusualValueWarning)
        warnings.simplefilter("ignore", gb.ValidityWarning)
        study = gb.read_study(SMALL / "study.toml")
        return study, study.how_sure(samples=1024)


@pytest.fixture(scope="module")
def facts(sure):
    study, result = sure
    return Facts(study=study, result=result)


@pytest.fixture(scope="module")
def book(facts):
    if workbook_writer() is None:
        pytest.skip("xlsxwriter is not installed")
    return openpyxl.load_workbook(io.BytesIO(workbook_bytes(facts)))


def test_a_workbook_tells_medians_from_what_is_without_errors(book):
    heads = {c.value for c in book["Assessment"][3]}
    assert {"Rating without errors", "Margin without errors"} <= heads
    assert {"Median rating", "Median margin"} <= heads
    assert not {"Rating", "Margin"} & heads
    first = " ".join(str(row[1].value) for row in book["Read first"].iter_rows())
    assert "those without errors" in first


def test_sheets_that_are_read_are_one_page_wide(book):
    for name in ("Options", "Assessment"):
        assert not book[name].print_title_cols, name
        assert int(book[name].page_setup.fitToWidth or 1) == 1
