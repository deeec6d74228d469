"""Reports: the assessment, a folder written whole or not at all, and text that stays text."""

from __future__ import annotations

import csv
import hashlib
import html
import io
import re
import shutil
import warnings
from html.parser import HTMLParser

import matplotlib as mpl
import matplotlib.style
import numpy as np
import pandas as pd
import pytest
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

import groundborne as gb
from groundborne import plot
from groundborne._checks import StudyError
from groundborne.rating import METRICS
from groundborne.rating.scale import scale_coords, scale_of
from groundborne.report import (
    assessment_table,
    assessment_text,
    check_folder,
    document,
    write_report,
)
from groundborne.report.facts import Facts
from groundborne.report.figures import pictures
from groundborne.report.html_page import page
from groundborne.report.matrix import criterion_matrix
from groundborne.report.notes import notes_by_option
from groundborne.report.picture import Picture
from groundborne.report.rated import margin_text, rating_text
from groundborne.report.rooms import (
    best_option,
    governing_room,
    least_margin,
    room_sets,
    single_case,
)
from groundborne.report.tables import csv_bytes, marked
from groundborne.report.words import options_in_words, sources_rows
from groundborne.study import notes_of, sentence
from groundborne.study.assessment import decide
from groundborne.study.note import STANDING
from groundborne.study.notes import standing_cautions
from groundborne.tables import safe_cell

SCRIPT = "<script>alert(1)</script>"
FORMULA = "=cmd|'/c calc'!A0"
MATH = "$x$"
UNUSUAL_OPTION = "@SUM(1) <b>$y$</b>"


class Report:
    """A written report and what it was written from."""

    def __init__(self, study, result, target):
        self.study, self.result, self.target = study, result, target
        self.file = write_report(study, result, target)
        self.html = self.file.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def unusual(tmp_path_factory, data_folder):
    """Report on a study whose names try to be markup, formulas and mathematics."""
    source = tmp_path_factory.mktemp("study")
    shutil.copytree(data_folder / "music_school", source, dirs_exist_ok=True)
    rooms = source / "rooms.csv"
    text = rooms.read_text(encoding="utf-8")
    text = text.replace("Practice room 1", SCRIPT).replace("Practice room 2", FORMULA)
    text = text.replace("Classroom 1", MATH).replace("classrooms", FORMULA)
    rooms.write_text(text, encoding="utf-8")
    study_file = source / "study.toml"
    text = study_file.read_text(encoding="utf-8")
    # The first three options are enough, and one has an unusual name.
    text = text[: [m.start() for m in re.finditer(r"\[\[options\]\]", text)][3]]
    text = text.replace('name = "rubber 9 Hz"', f'name = "{UNUSUAL_OPTION}"')
    text = text.replace('name = "Quillbrook music school"', f'name = "{SCRIPT}"')
    study_file.write_text(text, encoding="utf-8")
    study = gb.read_study(study_file)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = study.evaluate()
    return Report(study, result, tmp_path_factory.mktemp("out") / "report")


class Strict(HTMLParser):
    """Collects tags, and whether every one is closed in order."""

    VOID = frozenset({"meta", "img", "br", "wbr"})  # of those that a report has

    def __init__(self):
        super().__init__()
        self.tags, self.open, self.attrs, self.words = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attrs += [(tag, k, v) for k, v in attrs]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def parsed(text):
    page = Strict()
    page.feed(text)
    page.close()
    assert page.open == []
    return page


# ---------------------------------------------------------------- assessment


def test_verdict_table_has_a_row_for_each_criterion_that_applies(tower):
    result = tower.result
    table = assessment_table(result)
    assert len(table) == 6 * (49 + 48)  # all on noise, all but the nursery on vibration
    assert list(table.columns) == [
        "option", "room", "name", "group", "floor", "criterion", "statistic", "rating",
        "rating_bound", "limit", "unit", "margin", "margin_bound", "answer", "decided_by", "reason",
    ]  # fmt: skip
    exactly = table[table["rating_bound"] == ""]
    for row in exactly.sample(20, random_state=1).to_dict("records"):
        here = {"option": row["option"], "room": row["room"], "criterion": row["criterion"]}
        exact = result.sel(**here)
        assert bool(exact["applies"])
        vibration = row["criterion"].startswith("VDV")
        last = 10.0 ** -max(3, 2 - np.floor(np.log10(row["rating"]))) if vibration else 0.1
        assert 0 <= row["rating"] - float(exact["rating"]) < last
        assert row["limit"] == float(exact["limit"])
        assert row["answer"] == exact["answer"].item()
        assert 0 <= float(exact["margin"]) - row["margin"] < (0.2 if vibration else 0.1)


@pytest.mark.parametrize("name", ["music_school", "tower", "assembly_hall"])
def test_limit_rating_and_margin_agree_as_printed(name, request):
    result = request.getfixturevalue(name).result
    table = assessment_table(result)
    assert {c.split(",")[0] for c in table["criterion"]} & {"NR", "VDV"}
    for row in table[table["rating_bound"] != "open"].to_dict("records"):
        scale = scale_of(result, row["criterion"])
        rating = float(rating_text(row["rating"], scale).replace("−", "-"))
        margin = float(margin_text(row["margin"]).replace("−", "-"))
        if row["criterion"].startswith("VDV"):
            whole = np.ceil if row["margin_bound"] == "at most" else np.floor
            expected = whole(round(200 * np.log10(row["limit"] / rating), 6)) / 10
        else:
            expected = row["limit"] - rating
        assert margin == pytest.approx(expected, abs=1e-9)
        assert (row["answer"] == "not met") == (margin < 0)


def small(rating, limit=25.0, criterion="LASmax, maximum"):
    coords = {
        "option": ["as built"], "room": ["R1"], "criterion": [criterion],
        "room_name": ("room", ["Hall"]), "room_group": ("room", ["halls"]),
        "floor_of_room": ("room", ["0"]),
    }  # fmt: skip
    value = xr.DataArray([[[rating]]], dims=("option", "room", "criterion"), coords=coords)
    bound = xr.DataArray([[limit]], dims=("room", "criterion"))
    metric = METRICS[criterion.split(",")[0]]
    margin = metric.scale.margin(value, bound)
    data = {
        "rating": value, "limit": bound, "margin": margin, "margin_one_stage": margin,
        "applies": bound < np.inf, "may_add": xr.zeros_like(value),
        "loss_limited_rating": xr.zeros_like(value, dtype=bool), "bound": ("criterion", [""]),
    }  # fmt: skip
    named = {"metric": [metric.name], "statistic": ["maximum"]}
    coords = {n: ("criterion", v) for n, v in named.items()} | scale_coords([metric.scale])
    return decide(xr.Dataset(data).assign_coords(coords))


@pytest.mark.parametrize(
    ("rating", "shown", "margin", "answer"),
    [
        (25.0, 25.0, 0.0, "met"),
        (25.04, 25.1, -0.1, "not met"),
        (25.0004, 25.1, -0.1, "not met"),
        (24.96, 25.0, 0.0, "met"),
        (27.44, 27.5, -2.5, "not met"),
    ],
)
def test_a_narrow_miss_never_reads_as_met(rating, shown, margin, answer):
    row = assessment_table(small(rating)).iloc[0]
    assert row["rating"] == shown
    assert row["margin"] == pytest.approx(margin)
    assert row["answer"] == answer
    assert (row["margin"] < 0) == (answer == "not met")


def test_rounding_noise_does_not_lift_a_noise_rating():
    assert assessment_table(small(25.0 + 1e-12, criterion="NR, mean")).iloc[0]["rating"] == 25.0


def test_a_limit_between_decimals_has_its_own_margin():
    row = assessment_table(small(24.13, limit=24.25)).iloc[0]
    assert (row["rating"], row["margin"], row["answer"]) == (24.13, 0.12, "met")
    assert (rating_text(24.13, METRICS["LASmax"].scale), margin_text(0.12)) == ("24.13", "+0.12")


def test_what_cannot_be_measured_is_no_number_and_meets_no_limit_below_it():
    row = assessment_table(small(-8.0)).iloc[0]
    assert (row["rating"], row["rating_bound"], row["answer"]) == (10.0, "below", "met")
    assert (row["margin"], row["margin_bound"]) == (15.0, "at least")
    assert "LASmax, maximum < 10, limit 25" in assessment_text(small(-8.0))
    low = assessment_table(small(-8.0, limit=5.0)).iloc[0]
    assert low["answer"] == "not shown"
    assert low["reason"] == "the limit lies below what can be measured"


def test_small_vibration_keeps_its_figures():
    tiny = small(0.001203, limit=0.2, criterion="VDV, night")
    row = assessment_table(tiny).iloc[0]
    assert row["rating"] == pytest.approx(0.00121)
    assert row["margin"] == 44.3
    assert rating_text(row["rating"], METRICS["VDV"].scale) == "0.00121"


def test_verdict_table_gives_the_median_of_samples_and_their_range():
    spread = xr.concat([small(r) for r in np.linspace(20.0, 30.0, 101)], dim="sample")
    for name in ("limit", "applies", "bound"):
        spread[name] = small(20.0)[name]
    row = assessment_table(spread).iloc[0]
    assert (row["rating"], row["margin"]) == (25.0, 0.0)
    assert row["answer"] == "within the uncertainty"
    assert (row["margin_low"], row["margin_high"]) == (-5.0, 5.0)
    less = {n: spread[n] + 5.0 for n in ("margin", "margin_one_stage")}
    assert assessment_table(spread.assign(less))["answer"].item() == "met"
    assert "+0.0 (−5.0 to +5.0)" in assessment_text(spread)
    assert "median of 101 samples" in assessment_text(spread)


def test_verdict_table_refuses_other_dims_and_gaps():
    with pytest.raises(StudyError, match="have the dim 'draw'; select one of it first"):
        assessment_table(small(25.0).expand_dims(draw=3))
    gap = small(25.0)
    gap["rating"] = gap["rating"] * np.nan
    with pytest.raises(ValueError, match="'rating' of result is nan at option="):
        assessment_table(gap)
    with pytest.raises(ValueError, match="must be finite"):
        small(np.nan)
    with pytest.raises(StudyError, match="holds no answers; evaluate its study anew"):
        assessment_table(small(25.0).drop_vars("answer"))


def test_verdict_text_gives_the_least_margin_of_each_group(music_school):
    result = music_school.result
    text = assessment_text(result)
    told, *lines = text.splitlines()
    assert told == "Invented for demonstration."
    table = lines[: 8 * (1 + 5)]
    assert lines[len(table)].startswith("What governs each group of rooms")
    # Rooms by modes: in a diffuse field it would be 13.
    assert "springs 4.5 Hz: met in 1 of 15 rooms" in lines
    start = lines.index("rooms only: met in 0 of 15 rooms")
    least = least_margin(result).sel(option="rooms only")
    for line in lines[start + 1 : start + 6]:
        group, margin = re.fullmatch(r"  (.+?) +([+−][\d.]+)  (?:met|NOT MET).*", line).groups()
        here = float(least[(result["room_group"] == group).values].min())
        assert 0 <= here - float(margin.replace("−", "-")) < 0.1
    assert max(map(len, table)) <= 100
    marks = lines[len(table) + 1 :]
    assert marks[0].startswith("≥ marks lower bounds of LASmax, 95th percentile: bands")


def test_verdict_text_holds_no_control_characters():
    result = small(20.0)
    result = result.assign_coords(
        option=["a\x1b[2J"], room=["R\n1"], room_group=("room", ["g\x07"])
    )
    assert assessment_text(result).count("\n") == 2
    assert all(c.isprintable() or c == "\n" for c in assessment_text(result))


def test_rows_are_merged_only_where_verdicts_are_equal(tower):
    table = assessment_table(tower.result)
    night = "LASmax, 95th percentile, night"
    # No two floors of a frame are quite alike; made alike, they share one row.
    flats = table["criterion"] == night
    table.loc[flats, "margin"] = table[flats].groupby("option")["margin"].transform("first")
    table.loc[flats, "rating"] = table[flats].groupby("option")["rating"].transform("first")
    table.loc[flats, "answer"] = np.where(table.loc[flats, "margin"] >= 0, "met", "not met")
    table.loc[flats, ["rating_bound", "margin_bound"]] = ""
    scale = METRICS["LASmax"].scale
    rows = criterion_matrix(table, night, scale)
    (bedrooms,) = rows
    assert bedrooms.rooms.split(", ") == [f"B{n:02d}" for n in range(2, 26)]
    assert bedrooms.floors == "2 … 25, 24 floors"
    assert [c.answer for c in bedrooms.cells] == ["not met", *["met"] * 5]
    changed = table.copy()
    odd = (changed["room"] == "B09") & (changed["option"] == "rubber 7 Hz")
    changed.loc[odd, "margin"] = 9.9
    assert len(criterion_matrix(changed, night, scale)) == 2


# ---------------------------------------------------------------- rooms


def test_room_sets_cover_every_room_once_and_share_results(music_school):
    result = music_school.result
    sets = room_sets(result)
    assert sorted(r for s in sets for r in s.rooms) == sorted(result["room"].values.tolist())
    practice = next(s for s in sets if s.group == "practice rooms")
    assert len(practice.rooms) == 8
    assert "R1.1, R1.2" in practice.words
    level = result["mean_level"].sel(room=list(practice.rooms))
    assert float((level - level.isel(room=0)).max()) < 1e-3


def test_one_room_that_differs_leaves_its_set(music_school):
    result = music_school.result.copy(deep=True)
    result["mean_level"].loc[{"room": "R1.4"}] += 0.1
    practice = [s.rooms for s in room_sets(result) if s.group == "practice rooms"]
    assert ("R1.4",) in practice
    assert len(practice) == 2


def test_best_option_and_governing_room(music_school):
    result = music_school.result
    worst = least_margin(result).min("room").to_pandas()
    best = best_option(result)
    assert worst[best] == worst.max()
    room = governing_room(result, option=best)
    of_option = least_margin(result).sel(option=best).to_pandas()
    assert of_option[room] == of_option.min()
    assert governing_room(result, group="control room") == "R0.2"


def test_a_floor_of_several_frequencies_keeps_one_whole_case(music_school):
    result = music_school.result[["sound_level", "mean_level", "margin"]]
    louder = result + xr.DataArray([0.0, 3.0, 1.0], coords={"floor_frequency": [8.0, 10.0, 12.5]})
    cases = louder.assign(margin=result["margin"])
    one = single_case(cases)
    assert "floor_frequency" not in one.dims
    xr.testing.assert_allclose(
        one["mean_level"], (result["mean_level"] + 3.0).drop_attrs(deep=False)
    )


@pytest.fixture
def several_frequencies(spoiled):
    """A study whose floors may have one of two natural frequencies."""
    resonance = 'model = "frequency ratio"\nconstruction = "concrete"\n'
    resonance += "natural_frequencies_hz = [63.0, 80.0]"
    file = spoiled(
        "study.toml",
        ('model = "fundamental"', resonance),
        ('model = "room surfaces"', 'model = "relation"\nrelation = "HJ 453-2018"'),
        name="music_school_plain",
    )
    text = file.read_text(encoding="utf-8")
    text = text[: [m.start() for m in re.finditer(r"\[\[options\]\]", text)][3]]
    text = re.sub(r"^(slabs|walls|field) = .*\n", "", text, flags=re.MULTILINE)
    file.write_text(text, encoding="utf-8")
    study = gb.read_study(file)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return study, study.evaluate()


def test_several_floor_frequencies_reach_tables_pictures_and_document(
    several_frequencies, tmp_path, monkeypatch
):
    study, result = several_frequencies
    assert result.sizes["floor_frequency"] == 2
    facts = Facts(study=study, result=result)
    chosen = [p for p in pictures(facts) if p.section in ("critical", "stages")]
    assert len(chosen) > 1
    monkeypatch.setattr(document, "pictures", lambda *_: chosen[-2:])
    file = write_report(study, result, tmp_path / "out")
    spectra = pd.read_csv(tmp_path / "out" / "tables" / "room_spectra.csv")
    assert len(spectra) == 3 * 15 * 2 * 18
    assert set(spectra["floor_frequency"]) == {63.0, 80.0}
    assert len(pd.read_csv(tmp_path / "out" / "tables" / "assessment.csv")) == 3 * 15 * 2
    words = "".join(parsed(file.read_text(encoding="utf-8")).words)
    assert "one of several natural frequencies (63, 80 Hz). Ratings are the worst" in words


# ---------------------------------------------------------------- pictures


@pytest.mark.parametrize("name", ["music_school", "tower", "assembly_hall"])
def test_pictures_are_few_and_captioned(request, name):
    study, result = request.getfixturevalue(name)
    drawn = pictures(Facts(study=study, result=result))
    assert len({p.slug.lower() for p in drawn}) == len(drawn) <= 30
    sections = list(dict.fromkeys(p.section for p in drawn))
    first = ["plan"] if name == "tower" else ["plan", "answer"]  # the section of a tall building
    assert sections == [
        *first, "method", "passbys", "critical", "options", "floors", "spectra", "stages",
        "isolation", "resonances",
    ]  # fmt: skip
    for picture in drawn:
        # Section and plan say it themselves.
        assert picture.invented or picture.section in ("answer", "plan", "method")
        assert re.fullmatch(r"[A-Za-z0-9.-]+", picture.slug)
        assert picture.alt != picture.caption
        # Alt text says what is found: a number, or names.
        assert re.search(r"\d", picture.alt) or "oincident" in picture.alt or "Chain" in picture.alt


def test_many_rooms_show_the_one_that_governs_each_group(tower):
    facts = Facts(study=tower.study, result=tower.result)
    rooms = [r["room"] for r in facts.critical]
    groups = [r["group"] for r in facts.critical]
    assert sorted(groups) == ["bedrooms", "living rooms", "nursery"]
    drawn = [p.slug for p in pictures(facts) if p.section == "critical"]
    assert [slug.split("-")[1] for slug in drawn] == rooms


@pytest.mark.parametrize("name", ["music_school", "tower", "assembly_hall"])
def test_no_picture_clips_or_overlaps_its_text(request, name):
    study, result = request.getfixturevalue(name)
    # Spectra of several panels are laid out here; the single figures are tested with the plots.
    facts = Facts(study=study, result=result)
    chosen = [p for p in pictures(facts) if p.section in ("spectra", "isolation")][:3]
    with matplotlib.style.context(plot.style_path()):
        for picture in chosen:
            figure = Figure(figsize=picture.size, layout="constrained")
            picture.draw(figure)
            FigureCanvasAgg(figure).draw()
            legends = figure.legends or [figure.axes[0].get_legend()]
            boxes = [t.get_window_extent() for legend in legends for t in legend.get_texts()]
            boxes += [ax.xaxis.label.get_window_extent() for ax in figure.axes]
            boxes += [a.yaxis.label.get_window_extent() for a in figure.axes if a.get_ylabel()]
            for box in boxes:
                assert box.x0 >= -1 and box.y0 >= -1, picture.slug  # noqa: PT018
                assert box.x1 <= figure.bbox.x1 + 1, picture.slug
                assert box.y1 <= figure.bbox.y1 + 1, picture.slug
            for i, a in enumerate(boxes):
                assert not any(
                    min(a.x1, b.x1) - max(a.x0, b.x0) > 1 and min(a.y1, b.y1) - max(a.y0, b.y0) > 1
                    for b in boxes[i + 1 :]
                ), picture.slug


def test_too_few_passbys_leave_the_percentile_out(music_school):
    study, result = music_school
    few = result.isel(passby=slice(0, 9))
    facts = Facts(study=study, result=few)
    (picture,) = [p for p in pictures(facts) if p.section == "passbys"]
    assert "percentile" not in picture.caption
    assert picture.png(60).startswith(b"\x89PNG")
    assert picture.svg() == picture.svg()


# ---------------------------------------------------------------- the document


def test_report_writes_what_it_says(unusual):
    files = {p.relative_to(unusual.target).as_posix() for p in unusual.target.rglob("*")}
    assert unusual.file == unusual.target / "report.html"
    assert {"report.html", "report.json", "result.nc", ".groundborne", "inputs/study.toml"} <= files
    assert {"tables/assessment.csv", "tables/stage_changes.csv", "figures/passbys.svg"} <= files
    assert not any(f.endswith(".png") for f in files)
    assert not any("partial" in f for f in files)
    siblings = [p.name for p in unusual.target.parent.iterdir()]
    assert siblings == ["report"]


def test_saved_result_is_the_result(unusual):
    xr.testing.assert_identical(
        gb.read_result(unusual.target / "result.nc").drop_attrs(),
        unusual.result.assign_coords(
            criterion=unusual.result["criterion"].astype(str)
        ).drop_attrs(),
    )


def test_document_is_whole_and_needs_nothing_else(unusual):
    read = parsed(unusual.html)
    assert "script" not in read.tags
    assert "link" not in read.tags
    sources = [v for tag, k, v in read.attrs if k in ("src", "srcset", "action")]
    assert sources
    assert all(v.startswith("data:image/svg+xml;base64,") for v in sources)
    links = [v for tag, k, v in read.attrs if k == "href"]
    places = [v for tag, k, v in read.attrs if k == "id"]
    assert len(set(places)) == len(places)
    assert links
    assert all(v[0] == "#" and v[1:] in places for v in links)
    assert not any(k.startswith("on") for _, k, _ in read.attrs)
    assert not re.search(r"url\(|@import", unusual.html)
    figures_written = list((unusual.target / "figures").iterdir())
    assert read.tags.count("img") == len(figures_written) == len(sources)


def test_names_are_escaped_in_the_document(unusual):
    assert SCRIPT not in unusual.html
    assert html.escape(SCRIPT) in unusual.html
    words = "".join(parsed(unusual.html).words)
    for name in (SCRIPT, FORMULA, MATH, UNUSUAL_OPTION):
        assert name in words


def test_formulas_are_text_in_every_table(unusual):
    seen = set()
    for file in (unusual.target / "tables").iterdir():
        rows = list(csv.reader(io.StringIO(file.read_text(encoding="utf-8-sig"))))
        assert len(rows) > 1
        for cell in (c for row in rows for c in row):
            if cell.startswith(("=", "+", "-", "@", "\t", "\r")):
                float(cell)  # numbers may begin with a sign, nothing else
            seen.add(cell)
    assert {"'" + FORMULA, "'" + UNUSUAL_OPTION, SCRIPT, MATH} <= seen


def test_tables_hold_the_numbers_of_the_result(unusual):
    spectra = pd.read_csv(unusual.target / "tables" / "room_spectra.csv")
    assert len(spectra) == 3 * 15 * 18
    row = spectra[
        (spectra["option"] == "springs 4.5 Hz")
        & (spectra["room"] == "R0.1")
        & (spectra["frequency_hz"] == 63.0)
    ]
    level = unusual.result["mean_level"].sel(option="springs 4.5 Hz", room="R0.1", frequency=63.0)
    assert row["energy_mean_level_db_re_20_upa"].item() == pytest.approx(float(level), rel=1e-5)
    assert set(spectra["data"]) == {"invented"}
    assessed = pd.read_csv(unusual.target / "tables" / "assessment.csv")
    assert len(assessed) == 3 * 15 * 2


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-x", "'-x"),
        ("@A1", "'@A1"),
        ("\tx", "'\tx"),
        ("\rx", "'\rx"),
        (" =1", "' =1"),
        ("plain", "plain"),
        ("a=b", "a=b"),
        (-1.5, -1.5),
    ],
)
def test_safe_cell(cell, written):
    assert safe_cell(cell) == written


def test_numbers_stay_numbers_in_csv(tmp_path):
    written = csv_bytes(pd.DataFrame({"room": ["-R"], "margin": [-1.5]}))
    assert written == b"\xef\xbb\xbfroom,margin\n'-R,-1.5\n"


def test_document_holds_verdicts_cautions_notes_inputs_and_sources(unusual):
    words = re.sub(r"\s+", " ", "".join(parsed(unusual.html).words))
    for caution in map(sentence, standing_cautions(unusual.study)):
        assert words.count(caution.replace(" [seen]", "")) == 1
    assert "Invented for demonstration." in words
    assert "upper bound of the maximum A-weighted level" in words
    for name, text in unusual.study.inputs.items():
        assert name in words
        assert hashlib.sha256(text.encode()).hexdigest() in words
    assert "Pais and Kausel (1988)" in words
    assert "Read through another's transcription" in words
    at = 0
    for heading in ("The answer", "Brief and criteria", "Measurements", "Method", "Results",
                    "Critical rooms", "Options compared", "Coincident resonances",
                    "Schedule and settlement", "Crossings of the isolation plane",
                    "Fire, access, inspection and replacement", "Risks", "Commissioning plan",
                    "Assumptions and limitations", "Cautions, and who answers for what",
                    "All rooms", "Inputs", "Input files", "Sources",
                    "Where the numbers come from", "Glossary of quantities"):  # fmt: skip
        at = unusual.html.index(f"</span> {heading}</h", at)


def test_a_real_study_carries_no_invented_banner(unusual, monkeypatch):
    import dataclasses

    real = dataclasses.replace(unusual.study, invented=False)
    facts = Facts(study=real, result=unusual.result)
    text = page(document.document_of(facts, [], alone=False), {})
    assert "Invented for demonstration. No real place" not in text
    assert '<span class="tag">invented</span>' not in text
    assert all("data" not in f for f in marked(facts.frames, invented=False).values())


def test_notes_lose_nothing_but_repeats(music_school):
    result = music_school.result
    grouped = notes_by_option(result)
    everything = " ".join(t for _, texts in grouped for t in texts).lower()
    for note in notes_of(result):
        if note.kind in STANDING or note.severity == "warning":
            continue
        said = re.sub(r"^option '[^']*'[:,]? ", "", sentence(note).lower())
        assert said in everything
    heads = [name for name, _ in grouped]
    assert heads[0] == ""
    assert any("“springs 4 Hz, boxes”" in h for h in heads)


def test_options_and_sources_in_words(music_school):
    study = music_school.study
    words = {name: " ".join(parts) for name, _, parts in options_in_words(study)}
    assert words["no isolation"] == "No measure: the building as designed."
    assert "nominal 4.5 Hz under the column loads" in words["springs 4.5 Hz"]
    assert "floor 7 Hz, loss factor 0.1" in words["rooms only"]
    rows = sources_rows(study).rows
    assert len(set(rows)) == len(rows)
    assert any(r[0] == "AS 1469 (1983)" and r[2] == "seen second-hand" for r in rows)


def test_progress_counts_to_the_end(music_school, tmp_path, monkeypatch):
    monkeypatch.setattr(document, "pictures", lambda *_: [])
    steps = []
    write_report(*music_school, tmp_path / "r", progress=lambda *step: steps.append(step))
    assert [s[0] for s in steps] == [0, 1, 2, 3, 4]
    assert {s[1] for s in steps} == {4}
    assert steps[-1][2] == "done"


def test_a_result_of_another_study_is_refused(music_school, tower, tmp_path):
    with pytest.raises(StudyError, match="does not hold the options of the study"):
        write_report(music_school.study, tower.result, tmp_path / "r")
    spread = music_school.result.expand_dims(draw=2)
    with pytest.raises(StudyError, match="has the dim 'draw', which a report has no place for"):
        write_report(music_school.study, spread, tmp_path / "r")
    assert list(tmp_path.iterdir()) == []


def test_drawing_changes_no_setting_even_when_it_fails(music_school, monkeypatch):
    before = dict(mpl.rcParams)

    def fail(figure):
        raise RuntimeError("no paper")

    picture = Picture(section="x", slug="x", caption="x", alt="x", size=(2.0, 2.0), draw=fail)
    with pytest.raises(RuntimeError, match="no paper"):
        picture.png()
    assert dict(mpl.rcParams) == before


# ---------------------------------------------------------------- the folder


def names(path):
    return sorted(p.name for p in path.iterdir())


def test_failure_leaves_nothing_or_the_earlier_report(music_school, tmp_path, monkeypatch):
    monkeypatch.setattr(document, "pictures", lambda *_: [])
    target = tmp_path / "out"

    def fail(*args, **more):
        raise OSError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(document, "result_bytes", fail)
        with pytest.raises(OSError, match="disk is full"):
            write_report(*music_school, target)
    assert names(tmp_path) == []
    write_report(*music_school, target)
    before = (target / "report.html").read_bytes()
    with monkeypatch.context() as patch:
        patch.setattr(document, "document_of", fail)
        with pytest.raises(OSError, match="disk is full"):
            write_report(*music_school, target)
    assert names(tmp_path) == ["out"]
    assert (target / "report.html").read_bytes() == before
    assert check_folder(target) == target
