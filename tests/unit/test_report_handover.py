"""Commissioning results in a report: every number leads to its row, and data keep to their role."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from matplotlib.figure import Figure

import groundborne as gb
from groundborne import plot
from groundborne._checks import StudyError
from groundborne.bands import third_octaves
from groundborne.commissioning import (
    CalibrationError,
    Diagnosis,
    MountsModel,
    Observed,
    Parameter,
    StageErrors,
    calibrated_result,
    calibrated_spread,
    check_gaps,
    compare_levels,
    fit_transfer,
    judge_measured,
    labelled,
    measured_insertion_loss,
    measured_level_difference,
    mount_causes,
    static_summary,
    update_table,
)
from groundborne.levels import stamp
from groundborne.report import Handover, handover_frames, rerun, write_report
from groundborne.report.handover import LOOKED_AT, VALIDATES, role_of
from groundborne.study import how_sure, study_spreads

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines"
OPTION = "no isolation"
BANDS = third_octaves(5, 100)


def quietly(make):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return make()


def transfer() -> tuple[MountsModel, xr.DataArray, xr.DataArray]:
    model = MountsModel(natural_frequency=5.0, loss_factor=0.1, frequency=BANDS)
    labels = BANDS.values
    unit = xr.DataArray(np.eye(labels.size), dims=("frequency", "other"),
                        coords={"frequency": labels, "other": labels})  # fmt: skip
    bridged = xr.DataArray(model(bridge=4.0), dims="frequency", coords={"frequency": labels})
    return model, unit, bridged


def floor(values: float, state: str) -> xr.DataArray:
    level = values + 0.0 * BANDS + xr.DataArray([0.0, 1.0, -1.0, 0.5], dims="passby")
    level = stamp(level.drop_attrs(), quantity="velocity", reference="1 nm/s",
                  long_name="level", time_weighting="S max")  # fmt: skip
    return labelled(level, provenance="floors, invented", state=state)


@pytest.fixture(scope="module")
def handed(tmp_path_factory):
    """The small study with one option, measured louder, by another night for each purpose."""
    folder = tmp_path_factory.mktemp("small") / "lines"
    shutil.copytree(SMALL, folder)
    file = folder / "study.toml"
    first, own, *_ = file.read_text(encoding="utf-8").split("[[options]]")
    file.write_text(f"{first}[[options]]{own}", encoding="utf-8")
    study = quietly(lambda: gb.read_study(file))
    result = quietly(lambda: study.how_sure(samples=1024))
    spreads = study_spreads(study)
    level = result["band_level"].sel(option=OPTION, drop=True)
    heard = labelled((level + 6.0).assign_attrs(level.attrs), provenance="night 1, invented")
    other = labelled((level + 5.0).assign_attrs(level.attrs), provenance="night 2, invented")
    bare = result.drop_vars("train_type")
    found = [compare_levels(a.drop_vars("train_type"), bare, option=OPTION, spreads=spreads)
             for a in (heard, other)]  # fmt: skip
    prior = StageErrors.of(spreads, frequency=result["frequency"], rooms=result)
    seen = Observed(comparison=found[1])
    posterior = prior.updated(seen)
    model, unit, bridged = transfer()
    diagnosis = Diagnosis(
        designed=xr.DataArray(model(), dims="frequency", coords=bridged.coords),
        causes=mount_causes(model), covariance=unit,
    )  # fmt: skip
    off = bridged.copy(data=model() - 12.0 * (BANDS.values == 31.5))
    gaps = xr.DataArray([0.05, 0.0004], dims="point", coords={"point": ["P1", "P2"]})
    asked = [Parameter(name="natural_frequency", low=2.0, high=40.0, unit="Hz"),
             Parameter(name="bridge", low=0.0, high=50.0)]  # fmt: skip
    handover = Handover(
        option=OPTION,
        answers=(judge_measured(heard, criteria=study.room_criteria, periods=study.periods),),
        levels=tuple(found),
        isolation={
            "studio": measured_insertion_loss(before=floor(70.0, "before release"),
                                              after=floor(60.0, "after release")),
            "plane": measured_level_difference(unisolated=floor(70.0, "un-isolated side"),
                                               isolated=floor(58.0, "isolated side")),
        },
        causes={"building": diagnosis.of(bridged), "hall": diagnosis.of(off)},
        fits={"building": fit_transfer(bridged, model=model, parameters=asked, covariance=unit)},
        static=static_summary({"joint": check_gaps(gaps, least=0.04)}),
        learnt=(update_table(prior=prior, posterior=posterior, observed=seen, option=OPTION),),
    )  # fmt: skip
    return study, result, handover, posterior, heard, other


@pytest.fixture(scope="module")
def written(handed, tmp_path_factory):
    study, result, handover, *_ = handed
    folder = tmp_path_factory.mktemp("out") / "report"
    write_report(study, result, folder, handover=handover)
    return folder


def rows_of(folder: Path, name: str) -> list[dict[str, str]]:
    text = (folder / "tables" / f"commissioning_{name}.csv").read_text(encoding="utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_every_number_of_the_section_leads_to_its_row(written: Path) -> None:
    text = (written / "report.html").read_text(encoding="utf-8")
    told = json.loads((written / "report.json").read_text(encoding="utf-8"))["numbers"]
    keys = re.findall(r'<data value="[^"]+" title="(commissioning_[^"]+)">', text)
    names = {k.split(":")[0].removeprefix("commissioning_") for k in keys}
    assert names == {"answers", "rooms", "isolation", "causes", "fits", "static", "stages"}
    for key in set(keys):
        table, _, rest = key.partition(":")
        row, _, column = rest.rpartition(".")
        (line,) = [r for r in rows_of(written, table.removeprefix("commissioning_"))
                   if r["key"] == row]  # fmt: skip
        assert float(line[column]) == pytest.approx(told[key]["value"], rel=1e-5)
    answers = [k for k in keys if k.startswith("commissioning_answers")]
    assert "measurement: night 1, invented" in told[answers[0]]["inputs"]


def test_what_no_cause_explains_is_reported_with_its_chance(written: Path) -> None:
    rows = [r for r in rows_of(written, "causes") if r["place"] == "hall"]
    assert {r["verdict"] for r in rows} == {"unexplained"}
    text = (written / "report.html").read_text(encoding="utf-8")
    assert "hall: it departs from the design, and none of" in text
    assert 'title="commissioning_causes:D2-1.p_as_designed">' in text
    assert "no cause on the list explains it" in text


def test_answers_are_met_not_met_or_cannot_be_told(written: Path, handed) -> None:
    _, result, handover, *_ = handed
    rows = rows_of(written, "answers")
    assert {r["answer"] for r in rows} <= {"met", "not met", "cannot tell"}
    judged = handover.answers[0]
    assert len(rows) == int(judged["applies"].sum())
    for r in rows:
        at = {"room": r["room"], "criterion": r["criterion"]}
        own = judged.sel(at)
        assert float(r["measured_margin"]) == pytest.approx(float(own["margin"]), rel=1e-5)
        there = float(result["margin_median"].sel(option=OPTION, **at))
        assert float(r["predicted_margin"]) == pytest.approx(there, rel=1e-5)
        assert float(r["measured_worse_by"]) == pytest.approx(
            there - float(own["margin"]), abs=1e-3
        )
        assert float(r["standard_deviation"]) > 0
    text = (written / "report.html").read_text(encoding="utf-8")
    assert "Commissioning results" in text
    assert "accepted where what was measured meets each criterion with at least 90 % prob" in text
    assert "accepts the room" not in text
    assert "rigid contact beside the mounts" in text
    assert "P2: the gap is closed" in text
    assert "tell the licensed structural engineer" in text


def test_the_role_of_every_measurement_is_told(written: Path, handed) -> None:
    *_, handover, _, _, _ = handed
    rows = {(r["measurement"], r["used_for"]) for r in rows_of(written, "data")}
    use = "compared by band with the prediction uncalibrated, which it validates"
    assert ("night 1, invented", use) in rows
    assert (
        "night 2, invented", "calibrates the next prediction, and can never validate it",
    ) in rows  # fmt: skip
    assert ("floors, invented", "level difference") in rows
    assert [role_of(d) for d in handover.levels] == [VALIDATES, VALIDATES]
    learnt = rows_of(written, "learnt")
    one = next(r for r in learnt if r["stage"] == "all stages")
    assert float(one["posterior_error_db"]) < float(one["prior_error_db"])
    assert float(one["data_db"]) == pytest.approx(5.0, abs=1e-6)
    assert all(r["data"] == "invented" for r in learnt)


def test_a_report_with_measurements_runs_again_without_them(written: Path) -> None:
    found = quietly(lambda: rerun(written))
    assert found.differ == {}
    assert not any("commissioning" in t for t in found.tables)


def test_data_that_calibrated_answer_nothing_in_a_report(handed, tmp_path: Path) -> None:
    """The calibrated result is reported with the night it was calibrated with, under two labels."""
    study, _, _, posterior, _, other = handed
    spread = [calibrated_spread(posterior, options=[o.name for o in study.options])]
    after = quietly(lambda: calibrated_result(study, study.evaluate(), errors=posterior))
    sure = quietly(lambda: how_sure(study, after, samples=1024, spreads=spread))
    level = other.drop_attrs().assign_attrs(other.attrs)
    again = judge_measured(level, criteria=study.room_criteria, periods=study.periods)
    with pytest.raises(CalibrationError, match="calibrated with the measurement 'night 2"):
        write_report(
            study, sure, tmp_path / "a", handover=Handover(option=OPTION, answers=(again,))
        )
    looked = compare_levels(
        level.drop_vars("train_type"), sure.drop_vars("train_type"), option=OPTION, spreads=spread,
        validates=False,
    )  # fmt: skip
    assert role_of(looked) == LOOKED_AT
    told = "calibrated with 'night 2, invented'"
    both = handover_frames(Handover(option=OPTION, levels=(looked, handed[2].levels[0])), after)
    rooms = both["commissioning_rooms"]
    assert rooms["prediction"].unique().tolist() == [told, "uncalibrated"]
    uses = both["commissioning_data"]["used_for"].tolist()
    assert f"compared by band with the prediction {told}, which it calibrated, and valid" in uses[1]
    ax = plot.plot_measured_room(looked, room=str(looked["room"].values[0]), ax=Figure().subplots())
    texts = [t.get_text() for t in ax.get_legend().get_texts()]
    assert any("night 2, invented" in t.replace("\n", " ") for t in texts)
    renamed = labelled(level, provenance="night 3, invented").drop_vars("train_type")
    calibrated = sure.drop_vars("train_type")
    with pytest.raises(CalibrationError, match="labelled 'night 3, invented' are those of 'night"):
        compare_levels(renamed, calibrated, option=OPTION, spreads=spread)
    looked = compare_levels(renamed, calibrated, option=OPTION, spreads=spread, validates=False)
    assert role_of(looked) == LOOKED_AT  # by its numbers, whatever its label
    assert not (tmp_path / "a").exists()


def test_what_is_not_of_the_study_is_refused(handed, tmp_path: Path) -> None:
    study, result, handover, *_ = handed
    with pytest.raises(StudyError, match="nothing is handed over"):
        Handover(option=OPTION)
    with pytest.raises(StudyError, match="levels were compared with the option 'no isolation'"):
        replace(handover, option="springs")
    with pytest.raises(StudyError, match="option is 'springs'; known are 'no isol"):
        write_report(study, result, tmp_path / "b",
                     handover=Handover(option="springs", static=handover.static))  # fmt: skip
    elsewhere = handover.answers[0].assign_coords(room=["X1", "X2"])
    with pytest.raises(StudyError, match="room is 'X1'"):
        write_report(study, result, tmp_path / "b",
                     handover=Handover(option=OPTION, answers=(elsewhere,)))  # fmt: skip
    with pytest.raises(StudyError, match="answers holds no 'margin_low'"):
        Handover(option=OPTION, answers=(handover.levels[0],))
    assert not (tmp_path / "b").exists()
