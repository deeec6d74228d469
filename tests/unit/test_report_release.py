"""Method statement of a release: rows, hold points, cautions, and the files it is written to."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from test_release_loads import site

from groundborne._checks import StudyError
from groundborne.report import write_method_statement
from groundborne.report.release import _SHEET
from groundborne.sizing import (
    MovementLimits,
    ReleaseWork,
    SupportLimits,
    method_statement,
    order_of_release,
)

LIMITS = MovementLimits(differential=4e-3, tilt=1e-3)


@pytest.fixture(scope="module")
def order():
    plan, frame = site(3, 2, limits=SupportLimits(lock=1.5e6, jack=1.2e6, travel=5e-3))
    work = ReleaseWork(at_once=2, steps=9, increment=1e-3)
    found = order_of_release(frame.remaining, plan=plan, limits=LIMITS, work=work, frame=frame)
    return found, frame


def test_each_step_ends_at_a_hold_point_of_the_engineer(order):
    found, frame = order
    table = method_statement(found, frame=frame, limits=LIMITS)
    steps = found.attrs["steps_used"]
    assert table["kind"].tolist() == ["hold point"] + ["work", "hold point"] * steps
    holds = table[table["kind"] == "hold point"]
    assert holds["released_by"].str.contains("licensed engineer").all()
    assert holds["check"].str.contains("survey").all()
    assert "removed and recorded" in holds["check"].iloc[-1]
    assert list(table.columns) == list(_SHEET)
    work = table[table["kind"] == "work"]
    for said in ("4 mm between neighbours", "lock 1500 kN", "jack 1200 kN", "travel 5 mm"):
        assert work["limits"].str.contains(said).all(), said
    for number, row in enumerate(work.itertuples(), start=1):
        here = found.sel(step=number)
        jacks = dict(said.split(" ") for said in row.jack_load_kn.split(", "))
        assert list(jacks) == here["column"].values[here["worked_on"].values].tolist()
        for name, value in jacks.items():
            most = float(here["jack_load_most"].sel(column=name).max())
            assert float(value) == pytest.approx(most / 1e3, abs=0.5)
        assert row.columns == ", ".join(here["column"].values[here["worked_on"].values])
    told = work["let_down_mm"].str.count("released").sum()
    assert told == found.sizes["column"]
    text = " ".join(table.attrs["cautions"])
    assert "licensed engineer" in text
    assert "local codes govern" in text


def test_a_hold_point_gives_every_load_and_one_basis_of_movement(order):
    """Loads beside which to read gauges stood for the worst jack alone, and 2.5 mm beside 1.8."""
    found, frame = order
    table = method_statement(found, frame=frame, limits=LIMITS)
    holds = table[table["kind"] == "hold point"]
    assert holds["movement_mm"].iloc[0] == "all 0.00"
    pairs = list(zip(*np.nonzero(np.triu(site(3, 2)[0].adjacent)), strict=True))
    for number, row in enumerate(holds.itertuples()):
        here = found.sel(step=number)
        worked = here["column"].values[here["worked_on"].values].tolist()
        assert [s.split(" ")[0] for s in row.jack_load_kn.split(", ") if s] == worked
        locks = {s.split(" ")[0]: s.split(" ")[1:] for s in row.lock_load_kn.split(", ")}
        assert set(worked) <= set(locks)
        for name in worked:
            load = abs(here["lock_load"].sel(column=name)).values / 1e3
            assert float(locks[name][0]) == pytest.approx(load.min(), abs=0.5)
            assert float(locks[name][-1]) == pytest.approx(load.max(), abs=0.5)
        # The differential is one that the movements beside it show: the widest of neighbours.
        moved = here["plate_movement"].transpose("rigidity", "column").values * 1e3
        apart = max(abs(one[a] - one[b]) for one in moved for a, b in pairs)
        assert row.differential_mm == pytest.approx(apart, abs=0.006)
        assert row.differential_bound_mm == pytest.approx(
            1e3 * float(here["differential"]), abs=0.01
        )


def test_no_statement_without_loads_or_beyond_limits(order):
    found, frame = order
    with pytest.raises(ValueError, match="holds no jack_load_most"):
        method_statement(found.drop_vars("jack_load_most"), frame=frame, limits=LIMITS)
    beyond = found.assign(limits_kept=found["limits_kept"] & (found["step"] != 2))
    with pytest.raises(ValueError, match="step 2 exceeds a limit"):
        method_statement(beyond, frame=frame, limits=LIMITS)


def test_files_hold_cautions_first(order, tmp_path):
    found, frame = order
    table = method_statement(found, frame=frame, limits=LIMITS)
    (file,) = write_method_statement(table, tmp_path / "release.csv")
    lines = list(csv.reader(file.read_text(encoding="utf-8-sig").splitlines()))
    head = [row for row in lines if row[0].startswith("#")]
    assert [row[0] for row in head[:4]] == ["# caution"] * 4
    assert {"# note", "# proof", "# source"} <= {row[0] for row in head}
    assert lines[len(head)] == list(_SHEET)
    assert len(lines) == len(head) + 1 + len(table)
    with pytest.raises(StudyError, match="is there already"):
        write_method_statement(table, file)
    bare = pd.DataFrame(table)
    bare.attrs = {}
    with pytest.raises(StudyError, match="with its columns and its cautions"):
        write_method_statement(bare, tmp_path / "bare.csv")


def test_workbook(order, tmp_path):
    pytest.importorskip("xlsxwriter")
    found, frame = order
    table = method_statement(found, frame=frame, limits=LIMITS)
    written = write_method_statement(table, tmp_path / "release.xlsx")
    assert [f.name for f in written] == ["release.csv", "release.xlsx"]
    again = write_method_statement(table, tmp_path / "again.xlsx")
    assert written[1].read_bytes() == again[1].read_bytes()


@pytest.mark.parametrize(
    ("limits", "supports", "name"),
    [
        (MovementLimits(differential=2e-3, tilt=1e-3), {}, "differential"),
        (MovementLimits(differential=4e-3, tilt=5e-5), {}, "tilt"),
        (LIMITS, {"jack": 1e5}, "jack"),
        (LIMITS, {"lock": 1e5}, "lock"),
        (LIMITS, {"pack": 1e5}, "pack"),
        (LIMITS, {"column": 1e5}, "column"),
        (LIMITS, {"column_least": 2.9e6}, "column_least"),
        (LIMITS, {"travel": 1e-3}, "travel"),
    ],
)
def test_limits_that_the_order_does_not_keep_are_not_printed(order, limits, supports, name):
    """They were printed beside the steps whatever they were."""
    found, frame = order
    other = replace(frame, limits=replace(frame.limits, **supports))
    with pytest.raises(ValueError, match=f"step \\d+ exceeds the limit of {name} given here, with"):
        method_statement(found, frame=other, limits=limits)
    wider = replace(frame, limits=SupportLimits(lock=2e6, travel=9e-3))
    method_statement(found, frame=wider, limits=MovementLimits(differential=9e-3, tilt=2e-3))
    with pytest.raises(ValueError, match="begins with other loads than frame"):
        method_statement(found, frame=replace(frame, load=frame.load * 1.01), limits=LIMITS)
