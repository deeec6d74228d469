"""The report as a tree: numbers that lead to their rows, a page that reads everywhere, a rerun."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import html
import importlib
import io
import itertools
import json
import random
import re
import shutil
import tomllib
import warnings
from html.parser import HTMLParser
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
import xarray as xr
from matplotlib.figure import Figure as Canvas

import groundborne as gb
from groundborne import weighting
from groundborne.__main__ import main
from groundborne._checks import StudyError
from groundborne.plot import style
from groundborne.rating import METRICS
from groundborne.report import assessment_text, document, rerun, write_report
from groundborne.report.again import input_paths
from groundborne.report.assessment import worst_of_group
from groundborne.report.choice import choose
from groundborne.report.facts import Facts
from groundborne.report.folder import MARKER
from groundborne.report.html_page import anchor, page
from groundborne.report.origins import Origins
from groundborne.report.printed import interval_words, margin_whole, rating_words
from groundborne.report.tree import (
    Code,
    Column,
    Document,
    Listing,
    Ref,
    Section,
    cells,
    letters,
    say,
)
from groundborne.study.assessment import assess
from groundborne.study.belonging import study_checksum
from groundborne.study.details import Details, Site
from groundborne.study.key_spreads import without_cases
from groundborne.study.rated_spectrum import rated_spectrum
from groundborne.study.spreads import study_spreads

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines"
SEEDS = range(40)


def read(file, **more):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.UnusualValueWarning)
        return gb.read_study(file, **more)


@pytest.fixture(scope="module")
def told(written):
    """Folder, numbers by key, and all of the sidecar."""
    _, _, folder = written
    found = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    return folder, list(found["numbers"].items()), found


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """A small study with probabilities, and the folder of its report."""
    study = read(SMALL / "study.toml")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = study.how_sure(samples=1024)
    folder = tmp_path_factory.mktemp("out") / "report"
    write_report(study, result, folder)
    return study, result, folder


def rows_of(file):
    return list(csv.DictReader(io.StringIO(file.read_text(encoding="utf-8-sig"))))


# ---------------------------------------------------------------- numbers


@pytest.mark.parametrize("seed", SEEDS)
def test_a_number_picked_at_random_leads_to_its_row(written, seed):
    """From the page alone: key, table, row and column; the value there is the one of the page."""
    _, _, folder = written
    text = (folder / "report.html").read_text(encoding="utf-8")
    found = re.findall(r'<data value="([^"]+)" title="([^"]+)">([^<]*)</data>', text)
    assert len(found) > 50
    value, key, printed = random.Random(seed).choice(found)
    table, _, rest = key.partition(":")
    row, _, column = rest.rpartition(".")
    (line,) = [r for r in rows_of(folder / "tables" / f"{table}.csv") if r["key"] == row]
    assert float(line[column]) == float(value)
    told = json.loads((folder / "report.json").read_text(encoding="utf-8"))["numbers"][key]
    assert told["value"] == float(value)
    assert told["printed"] == html.unescape(printed)
    assert (told["table"], told["row"], told["column"]) == (f"tables/{table}.csv", row, column)
    lines = (folder / told["table"]).read_text(encoding="utf-8-sig").splitlines()
    assert next(csv.reader([lines[told["line"] - 1]]))[0] == row


def test_every_number_of_the_page_is_in_the_sidecar_and_no_key_stands_for_two(written):
    _, _, folder = written
    told = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    text = (folder / "report.html").read_text(encoding="utf-8")
    keys = re.findall(r'<data value="[^"]+" title="([^"]+)">', text)
    assert set(keys) == set(told["numbers"])
    for file in (folder / "tables").iterdir():
        rows = rows_of(file)
        if "key" in rows[0]:
            assert len({r["key"] for r in rows}) == len(rows)


def test_the_sidecar_names_inputs_with_their_digests(written):
    study, result, folder = written
    told = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert told["study_checksum"] == result.attrs["study_checksum"]
    assert told["settings"]["seed"] == result.attrs["seed"]
    assert told["settings"]["samples"] == 1024
    assert set(told["inputs"]) == set(study.inputs)
    for name, digest in told["inputs"].items():
        assert hashlib.sha256((folder / "inputs" / name).read_bytes()).hexdigest() == digest
    for name, digest in told["tables"].items():
        assert hashlib.sha256((folder / "tables" / name).read_bytes()).hexdigest() == digest
    number = next(n for k, n in told["numbers"].items() if k.startswith("assessment:"))
    assert number["statistic"]
    # Every file of the study is a source of some number.
    places = {told["places"][a]["file"] for n in told["numbers"].values() for a in n["inputs"]}
    assert places == {f"inputs/{name}" for name in told["inputs"]}
    assert set(told["formulas"]) >= {"assessment", "options"}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_number_picked_at_random_leads_to_its_source_rows(told, seed):
    """From its key to the rows and keys that it was made of, and to the formulas of its steps."""
    folder, numbers, all_of = told
    key, number = random.Random(seed).choice(numbers)
    (row,) = [r for r in rows_of(folder / number["table"]) if r["key"] == number["row"]]
    found = {}
    for address in number["inputs"]:
        place = all_of["places"][address]
        lines = (folder / place["file"]).read_text(encoding="utf-8").split("\n")
        first, last = place["lines"]
        found[address] = text = "\n".join(lines[first - 1 : last])
        name, _, at = address.partition("#")
        if name.endswith(".csv"):
            cells = next(csv.reader([text])) if first == last else []
            assert at in cells if cells else at == f"{last - first + 1} rows"
        else:  # the header of the table, or the line of the key
            entry = re.sub(r"\.\d+$", "", at)
            assert re.match(rf"\s*\[?\[?{re.escape(entry)}\b|\s*{entry.split('.')[-1]}\s*=", text)
    levels = number["formula"] == number["table"][len("tables/") : -len(".csv")]
    levels &= not number["column"].endswith("_hz")
    # What no train reaches names none.
    assert any(a.startswith("passbys.csv#") for a in found) == levels
    if "option" in row and number["column"] != "limit":
        (option,) = [t for a, t in found.items() if a.startswith("study.toml#options.")]
        assert f'name = "{row["option"]}"' in option
    if row.get("room"):
        room = next(csv.reader([found[f"rooms.csv#{row['room']}"]]))
        header = next(csv.reader([x for x in (folder / "inputs" / "rooms.csv").read_text(
            encoding="utf-8").splitlines() if x[:1] != "#"]))  # fmt: skip
        of_room = dict(zip(header, room, strict=True))
        assert f"floors.csv#{of_room['floor']}" in found
        (limit,) = [t for a, t in found.items() if f"#criteria.{of_room['criteria']}." in a]
        metric, _, curve = row["criterion"].split(",")[0].partition("-")
        assert f'"{metric}{"-" * bool(curve)}{curve}"' in limit
    assert number["formula"] in all_of["formulas"]
    assert bool(number["steps"]) == (levels or number["table"] == "tables/resonances.csv")
    for step in (all_of["steps"][s] for s in number["steps"]):
        for name in step["works_out"]:
            module, _, kind = name.rpartition(".")
            assert isinstance(getattr(importlib.import_module(module), kind), type)
        assert all(step["formula"])
    assert key.split(":")[0] in all_of["formulas"]


def test_every_number_names_what_it_rests_on_and_no_more(told):
    folder, numbers, all_of = told
    rows = {
        (t, r["key"]): r
        for t in {n["table"] for _, n in numbers}
        for r in rows_of(folder / t)
    }  # fmt: skip
    seen = set()
    for _, number in numbers:
        row = rows[number["table"], number["row"]]
        steps = {all_of["steps"][s]["step"] for s in number["steps"]}
        files = {a.partition("#")[0] for a in number["inputs"]}
        keys = {a.partition("#")[2].split(".")[0] for a in number["inputs"]}
        kind = (number["formula"], number["column"].split("_")[0])
        if number["formula"] in ("assessment", "rated_spectra", "error_budget"):
            felt = row["criterion"].startswith(("VDV", "VC"))
            assert ("mid_span" in steps) == felt
            assert ("radiation" in steps) == ("surfaces" in steps) == (not felt)
            seen.add(("assessment", felt))
        elif kind == ("resonances", "frequency"):
            assert "structure" in keys
            assert not keys & {"source", "criteria"}
            assert not steps & {"surfaces", "radiation"}
            seen.add("resonances")
        elif kind[0] in ("options:deflection", "options:mount_frequency"):
            assert {"options", "isolation"} <= keys
            assert not keys & {"source", "criteria", "structure"}
            assert "columns.csv" in files
            assert steps == set()
            seen.add(kind[0])
        elif kind[0] == "assessment:limit":
            assert {"rooms.csv", "floors.csv"} <= files
            assert "criteria" in keys
            assert not keys & {"source", "options", "structure"}
            assert steps == set()
            seen.add(kind[0])
    # What listings print of whole columns leads there, too.
    columns = {number["column"] for _, number in numbers}
    assert columns >= {"limit", "rooms_met", "rooms", "rooms_1_db", "rooms_reached"}
    wanted = {
        "assessment:limit",
        ("assessment", False),
        ("assessment", True),
        "resonances",
        "options:deflection",
    }
    assert seen >= wanted


def test_places_in_study_files_are_those_of_the_keys():
    """Against the parser of TOML: what stands in the lines of a table is what the table holds."""
    text = (
        'name = "x"\n[a]\nlong = """\n[b]\n"""\nlist = [\n  1,\n]\n\n[[o]]\nname = "one"\n'
        '[o.base]\nf = 1\n# [o.none]\n[[o.rooms]]\nr = 1\n[[o]]  # second\nname = "two"\n'
        '[[o.rooms]]\nr = 2\n[o.rooms."floor x"]\nk = 3\n[b]\nq = { z = 1 }\n'
    )
    origins = Origins({"s.toml": text})
    lines = text.split("\n")
    for way, first in (
        (("name",), 1), (("a",), 2), (("a", "list"), 6), (("o", 1), 10), (("o", 1, "base"), 12),
        (("o", 1, "rooms", 1), 15), (("o", 2), 17), (("o", 2, "rooms", 1, "floor x"), 21),
        (("b",), 23), (("b", "q", "z"), 24), (("o", 2, "rooms", 1, "floor x", "k"), 22),
    ):  # fmt: skip
        place = origins.key(*way)
        assert (place.first, place.file) == (first, "s.toml")
    assert tomllib.loads("\n".join(lines[16:22])) == {"o": [tomllib.loads(text)["o"][1]]}
    assert (origins.key("o", 2).first, origins.key("o", 2).last) == (17, 22)
    assert origins.key("o", 3) is None
    assert origins.entry("o", "two") == ("o", 2)


def test_who_a_study_is_for_leaves_its_result_as_it_was(written, tmp_path, monkeypatch):
    study, result, _ = written
    monkeypatch.setattr(document, "pictures", lambda *_: [])
    details = Details(client="Somebody", revision="B", status="draft")
    site = Site(track_side="y-", track_offset=12.0)
    later = dataclasses.replace(study, details=details, site=site)
    page = write_report(later, result, tmp_path / "r").read_text(encoding="utf-8")
    assert "Changed after the files were read" in page  # and told, value by value
    assert "details · revision" in page
    assert "<dd>Somebody</dd>" in page
    other = dataclasses.replace(study, currency="crowns")
    with pytest.raises(StudyError, match="evaluated from other values"):
        write_report(other, result, tmp_path / "s")
    told = {"inspection · access": "", "register · pipe · note": "a", "register · pipe · kind": "b"}
    same = {**told, "register · pipe · note": "other"}
    assert study_checksum(told) == study_checksum(same)
    for key, value in (("inspection · access", "hatch"), ("register · pipe · kind", "other")):
        assert study_checksum(told) != study_checksum({**told, key: value})


def test_body_tables_and_terminal_speak_of_the_same_median(written):
    """What is printed of a rating with errors is its median; the deterministic one is beside it."""
    study, result, folder = written
    text = (folder / "report.html").read_text(encoding="utf-8")
    rows = {r["key"]: r for r in rows_of(folder / "tables" / "assessment.csv")}
    numbers = json.loads((folder / "report.json").read_text(encoding="utf-8"))["numbers"]
    assert not [k for k in numbers if k.endswith((".rating", ".margin"))]
    shown = [n for k, n in numbers.items() if k.endswith(".margin_median")]
    assert len(shown) > 5
    for number in shown:
        row = rows[number["row"]]
        place = {k: row[k] for k in ("option", "room", "criterion")}
        exact = float(result["margin_median"].sel(place))
        bound = row["median_bound"] == "at least"  # whose margin is rounded up
        assert 0 <= (exact - float(row["margin_median"])) * (-1 if bound else 1) < 0.2
        whole = re.search(r"[+−]?\d+", number["printed"])[0].replace("−", "-")
        assert int(whole) in (np.floor(float(row["margin_median"])), np.ceil(exact))
        assert float(row["margin_low"]) <= float(row["margin_median"]) <= float(row["margin_high"])
        if not row["criterion"].startswith(("VDV", "VC")):
            limit, rated = float(row["limit"]), float(row["rating_median"])
            assert limit - rated == pytest.approx(float(row["margin_median"]))
    assert any(r["margin_median"] != r["margin"] for r in rows.values())
    assert "median margin" in text
    facts = Facts(study=study, result=result)
    worst = worst_of_group(facts.table).iloc[0]
    words = f"{worst['margin_median']:+.1f} ({worst['margin_low']:+.1f} to".replace("-", "−")
    assert words in assessment_text(result)


def test_coincident_resonances_say_what_they_cost(written):
    """What ratings owe to the bands near both is what they lose without these bands."""
    study, result, folder = written
    rows = [r for r in rows_of(folder / "tables" / "resonances.csv") if r["coincident_with"]]
    rated = 0
    for row in rows:
        bands = [float(b) for b in row["near_bands_hz"].split()]
        assert bands
        # Rated anew without these bands, by the rules that rate rooms.
        quiet = 200.0 * result["frequency"].isin(bands)
        changes = ("level_change", "floor_change")
        whole = {n: result[n].sum("stage") if "stage" in result[n].dims else result[n]
                 for n in changes}  # fmt: skip
        without = result.drop_dims("stage").assign({n: a - quiet for n, a in whole.items()})
        anew = assess(without, room_criteria=study.room_criteria, periods=study.periods)
        place = {"option": row["option"], "room": row["cost_room"],
                 "criterion": row["cost_criterion"]}  # fmt: skip
        was, now = (float(r["rating"].sel(place)) for r in (result, anew))
        lost = (
            20 * np.log10(was / now)
            if bool(result["ratio"].sel(criterion=row["cost_criterion"]))
            else was - now
        )
        assert float(row["cost_at_most"]) == pytest.approx(lost, abs=1e-5)
        if row["cost_criterion"] != "LASmax, maximum":
            continue
        # The loudest train with all bands, and the one that is loudest without them.
        here = {"option": row["option"], "room": row["cost_room"]}
        level = result["source_level"] + result["level_change"].sel(here).sum("stage")
        power = 10 ** ((level + weighting.a(level["frequency"])) / 10)
        left = power.where(~power["frequency"].isin(bands), 0.0)
        loudest = [float(p.sum("frequency").max()) for p in (power, left)]
        cost = 10 * np.log10(loudest[0] / loudest[1])
        assert float(row["cost_at_most"]) == pytest.approx(cost, abs=1e-5)
        rated += 1
    assert rated
    assert {r["cost_criterion"].split(",")[0] for r in rows} & {"LASmax"}
    text = (folder / "report.html").read_text(encoding="utf-8")
    assert "the model does not tell apart" in text


# ---------------------------------------------------------------- running it again


def test_the_study_runs_again_from_the_folder_with_the_same_numbers(written, capsys):
    _, _, folder = written
    found = rerun(folder)
    assert found.same, found.differ
    assert {"assessment.csv", "options.csv", "error_budget.csv"} <= set(found.tables)
    assert main(["rerun", str(folder)]) == 0
    said = capsys.readouterr().out
    assert f"{len(found.tables)} of {len(found.tables)} tables come out the same" in said


def test_files_of_the_folder_that_were_changed_or_are_gone_are_told(written, tmp_path, capsys):
    _, _, folder = written
    copied = tmp_path / "copied"
    shutil.copytree(folder, copied)
    (copied / "tables" / "mounts.csv").unlink()
    for name in ("tables/assessment.csv", "report.html"):
        file = copied / name
        file.write_bytes(file.read_bytes().replace(b"3", b"4", 1))
    assert main(["rerun", str(copied)]) == 1
    said = capsys.readouterr().out
    assert "tables/mounts.csv is gone since the report was written" in said
    assert "tables/assessment.csv was changed since the report was written" in said
    assert "report.html was changed since" in said
    assert "3 files of the folder are not as the report was written" in said


def test_another_number_is_told(written, tmp_path, capsys):
    _, _, folder = written
    copied = tmp_path / "copied"
    shutil.copytree(folder, copied)
    told = json.loads((copied / "report.json").read_text(encoding="utf-8"))
    told["settings"]["seed"] = 2
    (copied / "report.json").write_text(json.dumps(told), encoding="utf-8")
    (copied / MARKER).unlink()  # tables stand in report.json too
    (copied / "tables" / "mounts.csv").unlink()
    found = rerun(copied)
    assert not found.same
    assert found.unlisted
    assert set(found.changed) == {"tables/mounts.csv"}
    assert re.fullmatch(r"differs by up to [\d.e-]+ in '\w+'|has other words in '\w+'",
                        found.differ["assessment.csv"])  # fmt: skip
    assert "room_spectra.csv" not in found.differ  # not of samples
    assert main(["rerun", str(copied)]) == 1
    assert "assessment.csv" in capsys.readouterr().out


def test_a_changed_input_is_refused(written, tmp_path):
    _, _, folder = written
    copied = tmp_path / "copied"
    shutil.copytree(folder, copied)
    file = copied / "inputs" / "rooms.csv"
    file.write_text(file.read_text(encoding="utf-8") + "\n# later\n", encoding="utf-8")
    with pytest.raises(StudyError, match=r"'rooms\.csv' in .* is gone or was changed"):
        rerun(copied)
    with pytest.raises(StudyError, match=r"holds no report\.json"):
        rerun(tmp_path)
    (tmp_path / "report.json").write_text("{}")
    with pytest.raises(StudyError, match="is not what a report writes"):
        rerun(tmp_path)
    part = {"format": json.loads((copied / "report.json").read_text(encoding="utf-8"))["format"]}
    (tmp_path / "report.json").write_text(json.dumps(part), encoding="utf-8")
    with pytest.raises(StudyError, match="is not what a report writes"):
        rerun(tmp_path)


def plainly(study, folder):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = study.evaluate(band_levels=False)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(document, "pictures", lambda *_: [])
        write_report(study, result, folder)
    return folder


def test_values_given_beside_the_files_are_given_again(tmp_path):
    soil = {"structure.foundation.shear_wave_speed_m_s": 190.0}
    folder = plainly(read(SMALL / "study.toml", changes=soil), tmp_path / "r")
    assert rerun(folder).same


def test_a_study_that_files_do_not_hold_says_why_it_cannot_run_again(tmp_path):
    study = read(SMALL / "study.toml")
    other = study.with_options([gb.Option(name="as built")])
    with pytest.raises(StudyError, match="a script changed 'options"):
        rerun(plainly(other, tmp_path / "a"))
    bare = dataclasses.replace(study, as_read={}, inputs={})
    with pytest.raises(StudyError, match="put together in a script"):
        rerun(plainly(bare, tmp_path / "b"))


def test_tables_of_other_folders_keep_their_places(tmp_path):
    home = tmp_path / "project" / "study"
    shutil.copytree(SMALL, home)
    (tmp_path / "project" / "site").mkdir()
    shutil.move(home / "passbys.csv", tmp_path / "project" / "site" / "passbys.csv")
    file = home / "study.toml"
    text = file.read_text(encoding="utf-8").replace('"passbys.csv"', '"../site/passbys.csv"')
    file.write_text('other_folders = ["../site"]\n' + text, encoding="utf-8")
    study = read(file)
    paths = input_paths(study)
    assert paths["study.toml"] == "inputs/level1/study.toml"
    assert paths["../site/passbys.csv"] == "inputs/site/passbys.csv"
    folder = plainly(study, tmp_path / "out")
    assert rerun(folder).same
    plainly(study, folder)  # again, in its place
    assert not list(folder.glob("new-report-*"))


# ---------------------------------------------------------------- the tree and its page


def test_a_tree_refuses_what_leads_nowhere():
    with pytest.raises(ValueError, match="a row has 2 cells for 1 columns"):
        Listing(key="a", caption="", columns=(Column(name="x"),), rows=(cells("1", "2"),))
    here = Section(key="a", title="A", parts=())
    plain = {"title": "t", "subtitle": "s", "front": (), "annexes": ()}
    with pytest.raises(ValueError, match="the key 'a' stands twice"):
        Document(body=(here, here), **plain)
    lost = Section(key="b", title="B", parts=(say("see ", Ref(key="c")),))
    with pytest.raises(ValueError, match="a reference leads to 'c'"):
        Document(body=(lost,), **plain)
    inner = Section(key="c", title="C", parts=(say(Ref(key="c"), Code(text="<x>")),))
    made = Document(body=(here, Section(key="b", title="B", parts=(inner,))), **plain)
    assert made.labels() == {"a": "Section 1", "b": "Section 2", "c": "Section 2.1"}
    assert '<a href="#c">Section 2.1</a><code class="short">&lt;x&gt;</code>' in page(made, {})
    assert [letters(n) for n in (0, 25, 26, 27)] == ["A", "Z", "AA", "AB"]


def test_anchors_of_odd_keys_are_names():
    for key in ("results <b>", "=1+1", "größe", "", "1"):
        assert re.fullmatch(r"[A-Za-z][A-Za-z0-9-]*", anchor(key))


class Marks(HTMLParser):
    """Tags with their attributes, in order, with those that are open around each."""

    VOID = frozenset({"meta", "img", "br", "wbr"})

    def __init__(self, text):
        super().__init__()
        self.found, self.open = [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs), tuple(self.open)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_the_page_has_landmarks_headings_in_order_and_scopes(written):
    _, _, folder = written
    marks = Marks((folder / "report.html").read_text(encoding="utf-8"))
    tags = [tag for tag, _, _ in marks.found]
    for landmark in ("header", "nav", "main", "footer"):
        assert tags.count(landmark) == 1
    assert tags.count("h1") == 1
    levels = [int(t[1]) for t in tags if re.fullmatch("h[1-6]", t)]
    assert all(b <= a + 1 for a, b in itertools.pairwise(levels))
    heads = [attrs for tag, attrs, _ in marks.found if tag == "th"]
    assert heads
    assert {attrs.get("scope") for attrs in heads} == {"col", "row"}
    assert tags.count("caption") == tags.count("table")
    regions = [a for _, a, _ in marks.found if a.get("class") == "scroll"]
    assert len(regions) == tags.count("table")
    assert all(a["tabindex"] == "0" and a["aria-labelledby"] for a in regions)
    places = {a["id"] for _, a, _ in marks.found if "id" in a}
    assert all(a["aria-labelledby"] in places for _, a, _ in marks.found if "aria-labelledby" in a)
    first = next(a for tag, a, _ in marks.found if tag == "a")
    assert first["href"] == "#content"
    pictures = [a for tag, a, _ in marks.found if tag == "img"]
    assert pictures
    assert all(a["alt"].strip() for a in pictures)
    text = (folder / "report.html").read_text(encoding="utf-8")
    for one in re.findall(r"<figcaption><strong>[^<]*</strong> ([^<]*)</figcaption>", text):
        assert f'alt="{one}"' not in text


def test_the_page_is_valid_html(written):
    """By a general parser that knows the grammar of HTML and recovers from nothing here."""
    html5lib = pytest.importorskip("html5lib", reason="the grammar of HTML is in html5lib")
    _, _, folder = written
    parser = html5lib.HTMLParser(strict=True)
    parser.parse((folder / "report.html").read_text(encoding="utf-8"))
    with pytest.raises(html5lib.html5parser.ParseError):
        parser.parse("<!DOCTYPE html><title>x</title><p><table><b></table>")


def test_the_page_is_small_and_prints(written):
    _, _, folder = written
    file = folder / "report.html"
    assert file.stat().st_size < 6e6
    text = file.read_text(encoding="utf-8")
    style_text = text[text.index("<style>") : text.index("</style>")]
    assert "counter(page)" in style_text
    assert not re.search(r"@page\s*{[^}]*size", style_text)  # A4 or Letter, as the browser has it
    sizes = [float(n) for n in re.findall(r"(?:font(?:-size)?:\s*)([\d.]+)pt", style_text)]
    assert min(sizes) >= 8
    for figure in (folder / "figures").iterdir():
        assert figure.suffix == ".svg"
        assert b"<image" not in figure.read_bytes()  # nothing is rasterised


def test_figures_are_written_as_dots_on_demand(written, tmp_path, monkeypatch):
    study, result, _ = written
    drawn = document.pictures(Facts(study=study, result=result))[:2]
    monkeypatch.setattr(document, "pictures", lambda *_: drawn)
    write_report(study, result, tmp_path / "r", png=100)
    names = sorted(p.name for p in (tmp_path / "r" / "figures").iterdir())
    assert names == sorted(f"{p.slug}.{form}" for p in drawn for form in ("png", "svg"))
    with pytest.raises(StudyError, match="50 to 600 dots to an inch"):
        write_report(study, result, tmp_path / "s", png=10)


# ---------------------------------------------------------------- what is recommended


def test_the_least_effort_that_meets_everything_is_recommended(written):
    study, result, _ = written
    facts = Facts(study=study, result=result)
    names = facts.options
    assert len(names) > 1
    met = facts.table.assign(answer="met")
    sure = result.assign(probability_all=result["probability_all"] * 0 + 0.95)
    assert choose(study, sure, met).option == names[0]
    assert choose(study, sure, met).meets
    # The first is not sure enough, then it misses one criterion.
    shares = sure["probability_all"].copy()
    shares[0] = 0.5
    assert choose(study, sure.assign(probability_all=shares), met).option == names[1]
    missed = met.copy()
    missed.loc[missed["option"] == names[0], "answer"] = "not shown"
    assert choose(study, sure, missed).option == names[1]
    none = choose(study, sure.assign(probability_all=shares * 0 + [0.1, *[0.0] * (len(names) - 1)]),
                  met)  # fmt: skip
    assert (none.option, none.meets) == (names[0], False)


def test_the_answer_says_that_nothing_is_recommended_where_nothing_is_sure(written):
    study, result, folder = written
    text = (folder / "report.html").read_text(encoding="utf-8")
    facts = Facts(study=study, result=result)
    assert not facts.choice.meets
    assert "No option is shown to meet every criterion in every room" in text
    assert "Recommended:" not in text
    sure = result.assign(
        probability_all=result["probability_all"] * 0 + 1.0,
        answer=result["answer"].where(result["answer"] == "", "met"),
    )
    better = Facts(study=study, result=sure)
    said = page(document.document_of(better, [], alone=False), {})
    assert f"Recommended: {study.options[0].name}." in said


# ---------------------------------------------------------------- digits and figures


@pytest.mark.parametrize(
    ("rating", "limit", "rated", "margin"),
    [(35.0, 35.0, "35", "0"), (35.1, 35.0, "36", "−1"), (34.6, 35.0, "35", "0"),
     (24.9, 35.0, "25", "+10"), (35.0000000001, 35.0, "35", "0")],
)  # fmt: skip
def test_whole_decibels_never_flatter(rating, limit, rated, margin):
    row = {"rating": rating, "rating_bound": "", "margin": limit - rating, "margin_bound": ""}
    scale = METRICS["LASmax"].scale
    assert (rating_words(row, scale), margin_whole(row)) == (rated, margin)


def test_intervals_are_rounded_outward_and_bounds_the_other_way():
    assert interval_words({"margin_low": -1.2, "margin_high": 5.1}) == "−2 to +6"
    assert interval_words({}) == ""
    low = {"rating": 20.2, "rating_bound": "at least", "margin": 4.8, "margin_bound": "at most"}
    scale = METRICS["LASmax"].scale
    assert (rating_words(low, scale), margin_whole(low)) == ("≥ 20", "≤ +5")


def test_series_stand_out_on_white():
    """Contrast of 3:1 for graphical objects, WCAG 2.2, 1.4.11 [from memory]."""

    def luminance(colour):
        c = np.array(mpl.colors.to_rgb(colour))
        linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    for number in range(7):
        assert 1.05 / (luminance(style.series(number)["color"]) + 0.05) >= 3.0


@pytest.mark.parametrize(("low", "high"), [(20, 35), (10, 60), (-40, 80)])
def test_levels_over_bands_have_standard_proportions(low, high):
    """IEC 60263: a decade is as long as 10, 20, 25 or 50 dB."""
    canvas = Canvas(figsize=(5, 4))
    ax = canvas.subplots()
    ax.set_xscale("log")
    ax.set_xlim(10, 1000)
    ax.set_ylim(low, high)
    said = style.band_proportions(ax)
    canvas.draw_without_rendering()
    box, (bottom, top) = ax.get_window_extent(), ax.get_ylim()
    decade, decibel = box.width / 2, box.height / (top - bottom)
    assert decade / decibel == pytest.approx(said, rel=1e-6)
    assert said in (10, 20, 25, 50)
    assert box.height / box.width <= 0.95 + 1e-9


def test_a_study_with_uncertain_keys_runs_again_with_its_cases(tmp_path, monkeypatch):
    from groundborne.study.mechanics import sampled_mechanics

    home = tmp_path / "study"
    shutil.copytree(SMALL, home)
    file = home / "study.toml"
    entry = (
        '\n[[uncertain]]\nkey = "structure.foundation.shear_wave_speed_m_s"\n'
        'distribution = "lognormal"\ncoefficient_of_variation = 0.2\nsource = "invented"\n'
    )
    file.write_text(file.read_text(encoding="utf-8") + entry, encoding="utf-8")
    monkeypatch.setattr(document, "pictures", lambda *_: [])
    study = read(file)
    cases = sampled_mechanics(file, cases=4)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = study.how_sure(samples=1024, mechanics=cases)
    place = {"room": "O1", "criterion": "LASmax, mean, day"}
    spectra = [
        rated_spectrum(study, result, **place, options=[o.name for o in study.options],
                       mechanics=given)
        for given in (cases, None)
    ]  # fmt: skip
    assert not spectra[1].low.notnull().any()  # the cases that they rest on are not there
    # Against samples: each case has its own level change, and what is left of the spreads.
    own = spectra[0].level["option"].values
    change = cases["level_change"].sel(room="O1", option=own)
    off = (change - result["level_change"].sel(room="O1").sum("stage")).transpose("case", ...)
    left = without_cases(study_spreads(study), cases, "sound pressure")
    variance = sum((s.of("sound pressure") ** 2 for s in left), 0.0) * xr.ones_like(change[0])
    variance = variance.sel(room="O1") if "room" in variance.dims else variance
    trains = result["trains_spread"].sel(place) ** 2
    deviation = np.sqrt(variance + trains).transpose("option", "frequency").values
    drawn = np.random.default_rng(1).normal(size=(80000, *deviation.shape)) * deviation
    sampled = np.quantile((drawn.reshape(4, -1, *deviation.shape) + off.values[:, None]).reshape(
        drawn.shape), [0.1, 0.9], axis=0)  # fmt: skip
    for end, quantile in zip((spectra[0].low, spectra[0].high), sampled, strict=True):
        assert (end - spectra[0].level).values == pytest.approx(quantile, abs=0.3)
    for name, given in (("with", cases), ("without", None)):
        written = write_report(study, result, tmp_path / name, mechanics=given)
        text = written.read_text(encoding="utf-8")
        assert ("The budget of errors is not shown" in text) == (given is None)
        assert "What the study itself calls uncertain" in text
        found = rerun(tmp_path / name)
        assert found.same, found.differ
        assert ("error_budget.csv" in found.tables) == (given is not None)
