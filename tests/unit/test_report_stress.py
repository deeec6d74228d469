"""Reports of studies that stretch a page: many options, rooms and names, and very few of them."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import warnings
from pathlib import Path

import pytest

import groundborne as gb
from groundborne.report import document, write_report
from groundborne.report.figures import pictures

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines"
MARKUP = '<img src=x onerror="alert(1)"> & $x_1^2$ \\frac'
FORMULA = "=HYPERLINK(A1)"
LONG = "an option whose name says all that was ever said about it in a meeting, number {:02}"


def put(folder, *, rooms=None, text=lambda t: t):
    """The small study with other rooms, and another study file."""
    shutil.copytree(SMALL, folder)
    if rooms is not None:
        file = folder / "rooms.csv"
        lines = [x for x in file.read_text(encoding="utf-8").splitlines() if x[:1] != "#"]
        given = list(csv.DictReader(lines))
        stream = io.StringIO()
        writer = csv.DictWriter(stream, fieldnames=list(given[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rooms(given))
        file.write_text(stream.getvalue(), encoding="utf-8")
    file = folder / "study.toml"
    file.write_text(text(file.read_text(encoding="utf-8")), encoding="utf-8")
    return file


def first_options(text, count=1):
    """The study file with its first options alone."""
    return text[: [m.start() for m in re.finditer(r"\[\[options\]\]", text)][count]]


def first_of_each(facts):
    """The first figure of every kind: others of it are drawn in the same way."""
    found = {p.slug.split("-")[0]: p for p in reversed(pictures(facts))}
    return list(found.values())


def reported(file, folder, options=None, figures=True):
    """The page of a study, with a figure of every kind or without."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(file)
        study = study if options is None else study.with_options(options(study))
        result = study.how_sure(samples=1024)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(document, "pictures", first_of_each if figures else lambda _: [])
            write_report(study, result, folder)
    return (folder / "report.html").read_text(encoding="utf-8")


def many_rooms(rows):
    return [
        {**row, "room": f"{row['room']}.{n}", "name": f"{row['name']} {n}"}
        for n in range(150) for row in rows
    ]  # fmt: skip


def require_whole(page, folder):
    assert (folder / "report.html").stat().st_size < 6e6
    keys = set(re.findall(r'<data value="[^"]+" title="([^"]+)">', page))
    assert len(keys) > 3
    told = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert len(told["numbers"]) == len(keys)


def test_fourteen_options_with_long_names(tmp_path):
    def options(study):
        names = [LONG.format(n) for n in range(14)]
        assert {len(n) for n in names} == {81}
        return [
            gb.Option(name=name, cost=1000.0 * n) if n == 0 else gb.Option(
                name=name, cost=1000.0,
                base=study.mount(natural_frequency=6.0 + 0.3 * n, loss_factor=0.1),
            )
            for n, name in enumerate(names)
        ]  # fmt: skip

    def text(t):
        return t.replace("\ninvented", '\ncurrency = "EUR"\ninvented', 1)

    file = put(tmp_path / "s", text=text)
    page = reported(file, tmp_path / "r", options)
    require_whole(page, tmp_path / "r")
    for n in range(14):
        assert f"O{n + 1}" in page
        assert f"number {n:02}" in page


def test_three_hundred_rooms(tmp_path):
    file = put(tmp_path / "s", rooms=many_rooms, text=first_options)
    page = reported(file, tmp_path / "r")
    require_whole(page, tmp_path / "r")


def test_one_room_under_one_option(tmp_path):
    file = put(tmp_path / "s", rooms=lambda rows: rows[:1], text=first_options)
    page = reported(file, tmp_path / "r", figures=False)
    require_whole(page, tmp_path / "r")


def test_a_laboratory_alone(tmp_path):
    def text(t):
        t = first_options(t)
        at, end = t.index("[[criteria.studio]]"), t.index("[[options]]")
        own = (
            '[[criteria.lab]]\nmetric = "VC"\ncurve = "VC-C"\nstatistic = "energy mean"\n'
            'time_weighting = "S max"\n\n'
            '[[equipment]]\nname = "balance"\nroom = "O1"\nmass_kg = 40\ncriteria = "lab"\n\n'
        )
        return t[:at] + own + t[end:]

    rooms = lambda rows: [{**row, "criteria": "lab"} for row in rows if row["room"] == "O1"]  # noqa: E731
    page = reported(put(tmp_path / "s", rooms=rooms, text=text), tmp_path / "r")
    require_whole(page, tmp_path / "r")
    assert "balance" in page


def test_names_with_markup_and_formulas(tmp_path):
    def rooms(rows):
        return [{**r, "name": n} for r, n in zip(rows, (MARKUP, FORMULA), strict=True)]

    def text(t):
        t = first_options(t, 2).replace('"rubber and floors"', f"'{MARKUP}'")
        return t.replace('"Small studio on column lines"', f"'{MARKUP}'")

    page = reported(put(tmp_path / "s", rooms=rooms, text=text), tmp_path / "r", figures=False)
    require_whole(page, tmp_path / "r")
    assert "<img src=x" not in page
    assert "&lt;img src=x" in page
    cells = (tmp_path / "r" / "tables" / "assessment.csv").read_text(encoding="utf-8-sig")
    assert FORMULA in cells
    assert not re.search(rf'(^|[,"]){re.escape(FORMULA)}', cells, re.MULTILINE)
