"""Corrections of a floor on paper: what to measure again comes first, cautions with the table.

Version 0.1 had no writer, and ``to_csv`` of its tables left cautions and blunders out.
"""

from __future__ import annotations

import csv
import io
import zipfile

import numpy as np
import pytest
import xarray as xr

from groundborne import sizing
from groundborne._checks import StudyError
from groundborne.report import write_correction

BLUNDER = "point P9 at (2, 2) m is 38 mm above the plane of its neighbours: measure it again"
UNMET = "point P1 at (0, 0) m cannot be met: it stays 12 mm below its target"


def result(blunders=(BLUNDER,), unmet=(UNMET,)):
    """Two passes of two jacks; what comes after each is made up, the bounds apart."""
    after = np.array([[[-4.0, 1.0], [-0.04, 2.0]], [[-3.5, 1.2], [-0.01, 2.0]]]) * 1e-3
    load = np.array([[[3e3, 4e3], [3.5e3, 4.25e3]], [[3.2e3, 4e3], [3.5e3, 4.2e3]]])
    bounded = ("bound", "lift_pass")
    return xr.Dataset(
        {
            "turns": ("jack", [0.25, 1.5]),
            "movement": ("jack", [0.75e-3, 4.5e-3]),
            "load_before": (("bound", "jack"), load[:, 0]),
            "load": (("bound", "jack"), load[:, 1]),
            "pass_turns": (("lift_pass", "jack"), [[0.0, 1.0], [0.25, 0.5]]),
            "rank": (("lift_pass", "jack"), [[0, 1], [2, 1]]),
            "predicted_after": ((*bounded, "point"), after),
            "load_after": ((*bounded, "jack"), load),
        },
        coords={
            "jack": ["A1", "=A2"],
            "lift_pass": [1, 2],
            "point": ["P1", "P2"],
            "bound": ["uncracked", "cracked"],
        },
        attrs={
            "cautions": "A licensed engineer releases each lift.",
            "note": "survey after each pass",
            "unmet": unmet,
            "blunders": blunders,
            "proof": "optimal",
            "midway": "between the bounds all limits hold as well",
        },
    )


def read(file):
    return list(csv.reader(io.StringIO(file.read_text(encoding="utf-8-sig"))))


@pytest.mark.parametrize("make", [sizing.correction_table, sizing.pass_table])
def test_what_to_measure_again_comes_first_and_nothing_is_lost(make, tmp_path) -> None:
    (file,) = write_correction(make(result()), tmp_path / "a.csv")
    rows = read(file)
    assert rows[0][0] == "# measure again first"
    assert rows[0][1].startswith("point P9 at (2, 2) m is 38 mm above the plane of its neighbours")
    assert rows[0][1].endswith("; measure again before anything is jacked there")
    assert ["# cannot be met", UNMET] in rows
    assert ["# caution", "A licensed engineer releases each lift."] in rows
    assert ["# proof", "optimal"] in rows
    assert any("'=A2" in row for row in rows), "a name that looks like a formula"


def test_a_survey_without_blunders_says_so(tmp_path) -> None:
    (file,) = write_correction(sizing.pass_table(result(blunders=(), unmet=())), tmp_path / "a.csv")
    rows = read(file)
    assert rows[0] == ["# measure again first", "no point: every reading fits its neighbours"]
    assert not [r for r in rows if r[0] == "# cannot be met"]


def test_holds_say_what_is_expected_there() -> None:
    """By hand from the numbers above; there is no minus before a zero."""
    table = sizing.pass_table(result())
    first = "floor, mm above target: P1 -4.0 to -3.5, P2 1.0 to 1.2; "
    assert table["expected"].tolist() == [
        f"{first}mounts, kN: A1 3.00 to 3.20, =A2 4.00",
        "",
        "floor, mm above target: P1 0.0, P2 2.0; mounts, kN: A1 3.50, =A2 4.20 to 4.25",
    ]
    assert table["then"].str.startswith("hold").tolist() == [True, False, True]


def test_workbook_holds_the_same(tmp_path) -> None:
    written = write_correction(sizing.pass_table(result()), tmp_path / "a.xlsx")
    assert [f.name for f in written] == ["a.csv", "a.xlsx"]
    with zipfile.ZipFile(written[1]) as book:
        text = book.read("xl/sharedStrings.xml").decode()
    assert "Measure again first" in text
    assert "measure again before anything is jacked there" in text
    assert "P1 -4.0 to -3.5" in text


def test_tables_that_lost_their_cautions_are_refused(tmp_path) -> None:
    table = sizing.pass_table(result())
    bare = table.copy()
    bare.attrs = {}
    for bad in (bare, table.drop(columns="then")):
        with pytest.raises(StudyError, match="as it came"):
            write_correction(bad, tmp_path / "a.csv")
    table.loc[0, "turns"] = np.nan
    with pytest.raises(StudyError, match="turns in row 0 is not a number"):
        write_correction(table, tmp_path / "a.csv")
    assert not list(tmp_path.iterdir())


def test_cells_hold_no_minus_before_a_zero(tmp_path) -> None:
    """A cell of version 0.1 read '-0.00 to 0.41."""
    table = sizing.pass_table(result())
    table["then"] = ["-0.00 to 0.41", "-0.04 to -0.00", "-0.02 to 0.41"]
    (file,) = write_correction(table, tmp_path / "a.csv")
    assert [r[5] for r in read(file)[-3:]] == ["0.00 to 0.41", "'-0.04 to 0.00", "'-0.02 to 0.41"]


@pytest.mark.parametrize("place", [{"jack": 0}, {"lift_pass": 0}, {"bound": 0}, {"point": 0}])
@pytest.mark.parametrize("make", [sizing.correction_table, sizing.pass_table])
def test_a_part_of_a_result_is_refused_or_told(make, place) -> None:
    """One jack of a result, or one bound, is no schedule: it gave an error of the library below."""
    part = result().isel(place)
    own = make is sizing.pass_table or "jack" in place or "bound" in place
    if not own:
        assert make(part).equals(make(result()))
        return
    with pytest.raises(ValueError, match=r"^(correction|pass)_table: result lacks the dim '"):
        make(part)
