"""What the answer page and the terminal say: equipment, what governs, and what is not known."""

from __future__ import annotations

import shutil
import warnings
from pathlib import Path

import pandas as pd
import pytest

import groundborne as gb
from groundborne.report import assessment_text, document
from groundborne.report.assessment import by_urgency, percent_words, worst_of_group
from groundborne.report.facts import Facts
from groundborne.report.html_page import page
from groundborne.study.measuring import stands
from groundborne.study.note import Note
from groundborne.study.note_words import body

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines"

WITH_EQUIPMENT = """
[curves.balance]
frequency_hz = [5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80]
limit_um_s = {limit}
source = "invented"

[[criteria.balance]]
metric = "curve"
curve = "balance"
statistic = "maximum"
time_weighting = "S max"

[[equipment]]
name = "balance"
room = "O1"
mass_kg = 200
criteria = "balance"

[[options]]
name = "as built"
cost = 0
cost_source = "invented"

[[options]]
name = "table on mounts"
cost = 100
cost_source = "invented"

[[options.equipment]]
name = "balance"
natural_frequency_hz = 2.0
loss_factor = 0.1
"""


def loud(t):
    """The study file with limits that are kept with certainty."""
    at, end = t.rindex("[[criteria.studio]]"), t.index("[[criteria.office]]")
    t = (t[:at] + t[end:]).replace("limit = 40", "limit = 95").replace("limit = 30", "limit = 90")
    t = t.replace("limit = 0.4", "limit = 40").replace("invented = true", INVENTED, 1)
    at = t.rindex("[[criteria.office]]")
    return t[:at] + t[t.index("[[options]]") :] if "[[options]]" in t else t[:at]


def evaluated(folder, text, sure=True, files=()):
    """Facts of the small study with another study file."""
    shutil.copytree(SMALL, folder)
    for name, content in dict(files).items():
        (folder / name).write_text(content, encoding="utf-8")
    file = folder / "study.toml"
    file.write_text(text(file.read_text(encoding="utf-8")), encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(file)
        result = study.how_sure(samples=1024) if sure else study.evaluate()
    return Facts(study=study, result=result)


def plain(facts):
    """The page without figures and tags."""
    import re

    text = page(document.document_of(facts, [], alone=False), {})
    return " ".join(re.sub(r"<[^>]*>", " ", text).split())


def between(text, first, last):
    """What stands between two headings, behind the contents."""
    return text.rsplit(first, 1)[-1].split(last, 1)[0] if first in text else ""


@pytest.fixture(scope="module")
def balance(tmp_path_factory):
    """Rooms that meet all with certainty; a balance that needs mounts of its own."""

    def text(t):
        return loud(t[: t.index("[[options]]")]) + WITH_EQUIPMENT.format(limit=[LIMIT] * 13)

    return evaluated(tmp_path_factory.mktemp("balance") / "s", text)


LIMIT = 30.0
REGISTER = 'columns = "columns.csv"\nregister = "register.csv"'
CROSSINGS = """# Invented for tests.
name,kind,treatment,status,floor,grid,specification,responsible,note
sewer,drain,gap,open,0,A1,open gully,drainage engineer,
"""
INVENTED = 'currency = "EUR"\ninvented = true'


def test_equipment_decides_and_is_told_on_the_page_of_the_answer(balance):
    assert balance.frames["options"]["probability_all"].min() > 0.99
    assert balance.equipment["answer"].tolist() == ["not met", "met"]
    assert balance.chosen == "table on mounts"
    answer = between(plain(balance), "1 The answer", "2 Brief and criteria")
    assert "with which all equipment keeps its limits (a prediction without errors" in answer
    assert "Equipment that keeps all" in answer
    table = answer[answer.index("Options at a glance") : answer.index("What governs.")]
    first, second = table.split("O1 as built")[1].split("O2 table on mounts")
    assert "0 of 1" in first
    assert "1 of 1" in second
    assert "Equipment is counted without errors" in table
    assert "Equipment. What governs is balance along z in room O1" in answer


def test_what_equipment_misses_is_told_where_it_is_not_met(balance):
    one = balance.study.with_options(balance.study.options[:1])
    facts = Facts(study=one, result=one.how_sure(samples=1024))
    assert not facts.choice.meets
    text = plain(facts)
    answer = between(text, "1 The answer", "2 Brief and criteria")
    assert "No option is shown to meet every criterion in every room" in answer
    assert "and to keep every limit of equipment" in answer
    missed = answer.split("What is not shown to be met with as built, and why")[1]
    assert "balance along z in room O1 on balance, maximum: not met, without errors" in missed
    assert "Equipment is not shown to keep its limits with as built: balance" in text
    assert "passbys at its feet along each axis that has a limit (balance in room O1)" in text


def test_equipment_without_errors_has_other_words_than_rooms(balance):
    text = plain(balance)
    own = between(text, "Equipment has limits of its own", "6 Critical rooms")
    assert "have no probability" in own
    assert "without errors" in own
    assert "not kept" in own
    assert not set(own) & set("✓✗≈")
    said = assessment_text(balance.result).split("Equipment, each axis")[1]
    assert "without errors" in said
    assert "NOT KEPT" in said
    assert " met " not in said


def test_what_governs_follows_one_rule():
    """Terminal and report alike: by what is printed, and never by scatter."""
    rows = [
        # room, answer, probability, margin without errors, median margin
        ("a", "met", 0.95, -20.0, 9.0),
        ("b", "not shown", 0.60, -9.0, 1.0),
        ("c", "within the uncertainty", 0.25, 2.0, -5.0),
        ("d", "not met", 0.0003, 3.0, -20.0),
        ("e", "not met", 0.0001, 9.0, -12.0),
        ("f", "not met", 0.04, -30.0, -8.0),
    ]
    names = ["room", "answer", "probability", "margin", "margin_median"]
    table = pd.DataFrame(rows, columns=names).assign(option="O", group="g")
    assert by_urgency(table)["room"].tolist() == ["d", "e", "f", "c", "b", "a"]
    assert worst_of_group(table)["room"].tolist() == ["d"]
    bare = table.drop(columns=["probability", "margin_median"])
    assert by_urgency(bare)["room"].tolist() == ["f", "d", "e", "b", "c", "a"]


def test_the_rule_stands_under_the_table_and_in_the_terminal(balance):
    rule = "the least probability in whole percent, then the least median margin"
    assert rule in between(plain(balance), "1 The answer", "2 Brief and criteria")
    assert rule in assessment_text(balance.result)


@pytest.mark.parametrize(
    ("share", "said"),
    [(0.8979, "89 %"), (0.8999, "89 %"), (0.9, "90 %"), (0.904, "90 %"), (0.1003, "11 %"),
     (1 - 0.9, "10 %"), (0.0996, "10 %"), (0.5, "50 %"), (0.004, "< 1 %"), (0.996, "> 99 %")],
)  # fmt: skip
def test_no_probability_reads_as_one_that_it_does_not_reach(share, said):
    assert percent_words(share) == said


@pytest.fixture(scope="module")
def unmounted(tmp_path_factory):
    """An option without mounts is the first that is sure; another has them; a register is there."""

    def text(t):
        at = t.index("[[options.rooms]]")
        t = loud(t[:at]).replace('columns = "columns.csv"', f"{REGISTER}\n", 1)
        return t

    folder = tmp_path_factory.mktemp("unmounted") / "s"
    return evaluated(folder, text, files={"register.csv": CROSSINGS})


def test_an_option_without_mounts_is_not_said_to_have_them(unmounted):
    assert [o.is_mounted for o in unmounted.study.options] == [False, True]
    assert unmounted.chosen == "no isolation"
    text = plain(unmounted)
    crossings = between(text, "11 Crossings of the isolation plane", "12 Fire, access")
    assert "no isolation has no mounts under the building" in crossings
    assert "would lie under floor 0" in crossings
    care = between(text, "12 Fire, access, inspection and replacement", "13 Risks")
    assert "no isolation does not carry the building on mounts" in care
    assert "A rigid crossing" not in between(text, "13 Risks", "14 Commissioning plan")
    plan = between(text, "14 Commissioning plan", "15 Assumptions")
    assert "mounts" not in plan
    cautions = text[text.rindex("16 Cautions") :]
    assert "The building stands on these mounts" not in cautions
    assert "Under options with mounts the building stands on these mounts" in cautions


def test_a_register_that_nothing_is_counted_of_is_not_said_to_be_empty(unmounted):
    crossings = between(plain(unmounted), "11 Crossings of the isolation plane", "12 Fire, access")
    assert "sewer" in crossings
    assert "no crossing is listed" not in crossings
    assert "none of what crosses it is counted in the calculation" in crossings


def test_what_cannot_be_measured_before_the_building_stands_is_not_advised(tmp_path):
    facts = evaluated(tmp_path / "s", lambda t: t[: t.rindex("[[options]]")])
    best = facts.best_measurement(facts.governing)
    assert facts.governing["answer"] == "within the uncertainty"
    assert best["measurement"] == "sound of trains in the room"
    assert best["can_be_made"] == "once the building stands"
    assert facts.best_measurement_now(facts.governing) is None
    text = plain(facts)
    said = between(text, "What would decide.", "Levels and margins are predictions")
    assert said.strip().startswith("No measurement that can be made before the building stands")
    assert "Once the building stands far enough, sound of trains in the room" in said
    assert "Before design is fixed" not in between(text, "14 Commissioning plan", "15 Assumptions")
    # Trains were recorded on the foundation: it stands.
    text = (SMALL / "study.toml").read_text(encoding="utf-8")
    text = text.replace('location = "ground"', 'location = "foundation"')
    text = text.replace('[path.coupling]\nmodel = "none"\n', "")
    (tmp_path / "s" / "study.toml").write_text(text, encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(tmp_path / "s" / "study.toml")
    assert stands(study.parts[0]).all()
    assert not stands(facts.study.parts[0]).any()


def test_the_sum_of_a_figure_is_the_median_of_the_table(balance):
    """The marker behind the bands, its line, and the alt text are the numbers of the listing."""
    facts, criterion = balance, "LASmax, mean, day"
    row = facts.row(facts.chosen, "O1", criterion)
    spectrum = facts.spectrum("O1", criterion, (facts.chosen,))
    ax = gb.plot.rated_spectrum(spectrum)
    at_sum = ax.get_xticks()[-1]
    (median,) = [x.get_ydata() for x in ax.lines if list(x.get_xdata()) == [at_sum]]
    (ends,) = [x.get_ydata() for x in ax.lines if list(x.get_xdata()) == [at_sum] * 2]
    assert median[0] == pytest.approx(row["rating_median"], abs=0.1)
    assert row["limit"] - ends == pytest.approx([row["margin_high"], row["margin_low"]], abs=0.1)
    assert median[0] > float(spectrum.rated[0])
    bare = gb.plot.rated_spectrum(spectrum.without_intervals())
    assert not [x for x in bare.lines if list(x.get_xdata()) == [at_sum] * 2]
    assert [x.get_ydata()[0] for x in bare.lines if list(x.get_xdata()) == [at_sum]] == median
    text = plain(facts)
    assert "is the median rating of the listing with its interval" in text
    assert "criteria on octaves or single bands have no sum" in text


def test_octaves_are_named_as_octaves(tmp_path):
    facts = evaluated(tmp_path / "s", lambda t: t[: t.rindex("[[options]]")])
    rows = {c: facts.row("no isolation", "S1", c) for c in facts.criteria[:2]}
    said = {c: facts.governing_words(row) for c, row in rows.items()}
    assert [w.split()[-1] for w in said.values()] == ["band", "octave"]
    assert said["NR, energy mean"] in plain(facts)
    values = {"names": ["hose"], "band": 5.0, "alone": 4.0, "beside": 3.0}
    governing = ["G.2", "NR, energy mean", 80.0, 15.7, 15.3, 63.0]
    note = Note(kind="crossings", option="springs", values={**values, "governing": governing})
    assert "at 80 Hz, a third of the 63 Hz octave, which governs NR, energy mean in" in body(note)
    assert "of all bands that govern a room loses most by it" in body(note)
