"""The pack schedule on paper: complete, safe to open, and written whole or not at all."""

from __future__ import annotations

import csv
import io
import json
import os
import sys
import zipfile
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from groundborne import sizing
from groundborne._checks import StudyError
from groundborne.report import schedule as module, site_table, write_schedule
from groundborne.tables import read_table

FORMULA = "=cmd|'/c calc'!A0"
NAMES = [FORMULA, "B1", "C1\nx"]
NS = {"m": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}


@pytest.fixture(scope="module")
def schedule(data_folder):
    """Three columns, of which the last is too light for any pack, with names of ill will."""
    springs = sizing.read_components(data_folder / "components" / "springs.csv")
    load = xr.DataArray(
        [[2.0e6, 3.1e6, 1.0e3], [2.6e6, 4.0e6, 1.4e3]],
        dims=("case", "column"),
        coords={"case": ["quasi-permanent", "ultimate"], "column": NAMES},
        attrs={"units": "N", "revision": "+P1"},
    )
    rules = sizing.PackRules(natural_frequency=(3.4, 3.6))
    return sizing.make_schedule(sizing.choose_packs(load, springs, rules=rules))


def parts(file):
    """Lines before the table, and the table, of a CSV."""
    text = file.read_bytes().decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(text)))
    start = next(n for n, row in enumerate(rows) if row[0] == "column")
    return rows[:start], rows[start], rows[start + 1 :]


def cells(file, number):
    """Cells of a sheet by address: type, text or number; whether any holds a formula."""
    with zipfile.ZipFile(file) as book:
        shared = ElementTree.fromstring(book.read("xl/sharedStrings.xml"))
        texts = ["".join(t.text or "" for t in s.iter(f"{{{NS['m']}}}t")) for s in shared]
        sheet = ElementTree.fromstring(book.read(f"xl/worksheets/sheet{number}.xml"))
    found = {}
    for cell in sheet.iterfind(".//m:c", NS):
        value = cell.find("m:v", NS)
        assert cell.find("m:f", NS) is None, "a formula"
        if value is not None:
            kind = cell.get("t", "n")
            found[cell.get("r")] = texts[int(value.text)] if kind == "s" else float(value.text)
    return found, sheet


def test_csv_holds_cautions_first_and_every_column(schedule, tmp_path):
    (file,) = write_schedule(schedule, tmp_path / "packs.csv")
    head, header, rows = parts(file)
    assert [r[1] for r in head if r[0] == "# caution"] == list(sizing.CAUTIONS)
    table = schedule.table()
    assert header == table.columns.tolist()
    assert len(rows) == 3
    for name in ("load_kn", "deflection_mm", "natural_frequency_hz", "residual_travel_mm"):
        got = [float(r[header.index(name)]) for r in rows]
        np.testing.assert_array_equal(got, table[name])
    assert [r[header.index("met")] for r in rows] == ["yes", "yes", "no"]
    why = rows[2][header.index("why")]
    assert "no spring pack keeps every rule" in why
    assert [r[0] for r in head if "1 of 3 columns: C1 x" in r[1]] == ["# cannot be met"]
    # A reason stands beside its column and not once more among the notes.
    assert not any("no spring pack keeps every rule" in r[1] for r in head)
    for row in head:
        assert len(row) == 2
    sources = [r[1] for r in head if r[0] == "# source"]
    assert sources
    assert all(s.endswith("]") for s in sources)


def test_text_like_formulas_is_text_in_the_csv(schedule, tmp_path):
    (file,) = write_schedule(schedule, tmp_path / "packs.csv")
    head, _, rows = parts(file)
    assert rows[0][0] == f"'{FORMULA}"
    assert head[0] == ["# revision", "'+P1"]
    every = [c for r in [*head, *rows] for c in r]
    numbers = {c for c in every if c.lstrip("-").replace(".", "").isdigit()}
    assert not [c for c in every if c.startswith(("=", "+", "-", "@")) and c not in numbers]


def test_csv_is_read_by_strict_and_by_common_readers(schedule, tmp_path):
    (file,) = write_schedule(schedule, tmp_path / "packs.csv")
    table = read_table(file)
    assert table.text("column").tolist() == [f"'{FORMULA}", "B1", "C1 x"]
    frame = pd.read_csv(file, comment="#", encoding="utf-8-sig")
    assert frame.shape == (3, len(schedule.table().columns))
    np.testing.assert_array_equal(frame["load_kn"], schedule.table()["load_kn"])


def test_workbook_holds_text_cells_units_and_a_frozen_header(schedule, tmp_path):
    pytest.importorskip("xlsxwriter")
    written = write_schedule(schedule, str(tmp_path / "packs.xlsx"))
    assert [f.name for f in written] == ["packs.csv", "packs.xlsx"]
    first, _ = cells(written[1], 1)
    texts = list(first.values())
    assert all(c in texts for c in sizing.CAUTIONS)
    second, sheet = cells(written[1], 2)
    header = [v for k, v in second.items() if k[1:] == "1"]
    assert header[3] == "Load, quasi-permanent, kN"
    assert "Deflection, mm" in header
    assert len(header) == len(schedule.table().columns)
    assert second["A2"] == FORMULA  # a text cell holds it as it stands
    assert second["D2"] == schedule.table()["load_kn"][0]
    assert second["W4"] == "no"
    assert "no spring pack keeps every rule" in second["X4"]
    pane = sheet.find(".//m:pane", NS)
    assert pane.get("state") == "frozen"
    assert (pane.get("xSplit"), pane.get("ySplit")) == ("1", "1")
    style = {c.get("r"): c.get("s") for c in sheet.iterfind(".//m:c", NS)}
    assert style["D4"] != style["D2"] == style["D3"]


def test_every_column_of_the_table_has_a_header_of_its_own(schedule):
    table = schedule.table()
    with_places = [*table.columns[:1], "x_m", "y_m", *table.columns[1:]]
    assert list(module._SHEET) == with_places
    for name, (title, _, _) in module._SHEET.items():
        for ending, unit in (
            ("_kn", "kN"),
            ("_mm", "mm"),
            ("_hz", "Hz"),
            ("_kn_mm", "kN/mm"),
            ("_m", "m"),
        ):
            if name.endswith(ending) and not (ending == "_mm" and name.endswith("_kn_mm")):
                assert title.endswith(f", {unit}"), name


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_nothing_is_overwritten(schedule, tmp_path, ending):
    pytest.importorskip("xlsxwriter")
    old = tmp_path / f"packs.{ending}"
    old.write_text("mine", encoding="utf-8")
    with pytest.raises(StudyError, match=f"packs.{ending} is there already"):
        write_schedule(schedule, tmp_path / "packs.xlsx")
    assert old.read_text(encoding="utf-8") == "mine"
    assert list(tmp_path.iterdir()) == [old]


def test_a_link_to_nowhere_is_not_written_through(schedule, tmp_path):
    link = tmp_path / "packs.csv"
    link.symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(StudyError, match="is there already"):
        write_schedule(schedule, link)
    assert not (tmp_path / "elsewhere.csv").exists()


def test_a_file_made_meanwhile_is_kept_and_nothing_else_left(schedule, tmp_path, monkeypatch):
    pytest.importorskip("xlsxwriter")
    build = site_table._workbook

    def slow(*given):
        content = build(*given)
        (tmp_path / "packs.xlsx").write_text("theirs", encoding="utf-8")
        return content

    monkeypatch.setattr(site_table, "_workbook", slow)
    with pytest.raises(StudyError, match=r"packs\.xlsx is there already"):
        write_schedule(schedule, tmp_path / "packs.xlsx")
    assert [f.name for f in tmp_path.iterdir()] == ["packs.xlsx"]
    assert (tmp_path / "packs.xlsx").read_text(encoding="utf-8") == "theirs"


def test_without_hard_links_files_are_still_written_once(schedule, tmp_path, monkeypatch):
    def refuse(*_):
        raise PermissionError("no links here")

    monkeypatch.setattr(os, "link", refuse)
    (file,) = write_schedule(schedule, tmp_path / "packs.csv")
    assert list(tmp_path.iterdir()) == [file]
    with pytest.raises(StudyError, match="is there already"):
        write_schedule(schedule, file)


def test_a_failure_leaves_nothing(schedule, tmp_path, monkeypatch):
    pytest.importorskip("xlsxwriter")

    def fail(*_):
        raise RuntimeError("disk full")

    monkeypatch.setattr(site_table, "_workbook", fail)
    with pytest.raises(RuntimeError, match="disk full"):
        write_schedule(schedule, tmp_path / "packs.xlsx")
    assert list(tmp_path.iterdir()) == []


def test_a_missing_package_is_named_and_the_csv_is_left(schedule, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "xlsxwriter", None)
    said = r"packs\.csv is written; .*'xlsxwriter', .*install groundborne\[report\]"
    with pytest.raises(StudyError, match=said):
        write_schedule(schedule, tmp_path / "packs.xlsx")
    assert [f.name for f in tmp_path.iterdir()] == ["packs.csv"]
    (other,) = write_schedule(schedule, tmp_path / "other.csv")
    assert other.read_bytes() == (tmp_path / "packs.csv").read_bytes()


def changed(schedule, **variables):
    return sizing.Schedule(data=schedule.data.assign(variables))


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("packs.ods", "must end in .csv or .xlsx"),
        ("packs", "must end in .csv or .xlsx"),
        ("none/packs.csv", "is not there; make it first"),
    ],
)
def test_names_are_refused(schedule, tmp_path, name, message):
    with pytest.raises(StudyError, match=message):
        write_schedule(schedule, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_content_is_refused(schedule, tmp_path):
    load = schedule.data["load"].where(schedule.data["column"] != "B1")
    with pytest.raises(ValueError, match="'load' of data is nan at column=B1"):
        write_schedule(changed(schedule, load=load), tmp_path / "packs.csv")
    with pytest.raises(ValueError, match="schedule is a Dataset; a Schedule is needed"):
        write_schedule(schedule.data, tmp_path / "packs.csv")
    pytest.importorskip("xlsxwriter")
    long = xr.full_like(schedule.data["why"], "x", dtype=object) + "y" * 40000
    with pytest.raises(StudyError, match="longer than a cell"):
        write_schedule(changed(schedule, why=long), tmp_path / "packs.xlsx")
    assert list(tmp_path.iterdir()) == []


def test_every_note_is_written(schedule, tmp_path):
    attrs = {**schedule.data.attrs, "notes": json.dumps(["first; note", "=second\nline"])}
    noted = sizing.Schedule(data=schedule.data.assign_attrs(attrs))
    (file,) = write_schedule(noted, tmp_path / "packs.csv")
    head, _, _ = parts(file)
    assert [r[1] for r in head if r[0] == "# note"] == ["first; note", "'=second line"]


def test_a_collision_names_the_file_and_the_remedy(schedule, tmp_path):
    pytest.importorskip("xlsxwriter")
    (tmp_path / "packs.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(
        StudyError,
        match=r"packs\.csv is there already \(it is written beside packs\.xlsx\); name a new file, "
        "or give overwrite=True",
    ):
        write_schedule(schedule, tmp_path / "packs.xlsx")
    written = write_schedule(schedule, tmp_path / "packs.xlsx", overwrite=True)
    assert [f.name for f in written] == ["packs.csv", "packs.xlsx"]
    assert written[0].read_text(encoding="utf-8-sig").startswith("# revision")


@pytest.mark.parametrize("bad", [np.inf, np.nan])
@pytest.mark.parametrize("name", ["static_stiffness", "load", "surge_frequency"])
def test_a_schedule_holds_finite_numbers(schedule, name, bad):
    """An endless stiffness went into a mount without a word."""
    values = schedule.data[name].copy()
    values[-1] = bad
    with pytest.raises(ValueError, match=rf"Schedule.*{name}"):
        changed(schedule, **{name: values})
