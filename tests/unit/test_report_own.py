"""A report is of its own study, whole, and of a result that agrees with itself."""

from __future__ import annotations

import shutil
import warnings
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.rating.answers import Answer
from groundborne.report import document, rerun, write_report
from groundborne.report.again import why_no_rerun
from groundborne.report.own_result import require_own, require_own_cases
from groundborne.study.belonging import doubts
from groundborne.study.mechanics import sampled_mechanics
from groundborne.study.sureness import how_sure

SMALL = Path(__file__).parents[1] / "fuzz" / "small" / "lines"


@pytest.fixture(scope="module")
def sure(small) -> tuple[gb.Study, xr.Dataset]:
    """The small studio with answers by probability."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return small.study, how_sure(small.study, small.result, samples=1024)


def changed(result: xr.Dataset, name: str, by: float) -> xr.Dataset:
    return result.assign({name: result[name] + by})


def test_a_result_as_it_was_given_is_taken(small, sure) -> None:
    assert require_own(*small) is False
    assert require_own(*sure) is False


def test_a_result_without_some_criteria_recommends_nothing(sure, tmp_path) -> None:
    study, result = sure
    few = result.isel(criterion=slice(0, 1))
    with pytest.raises(StudyError, match="does not hold the criteria of the study"):
        write_report(study, few, tmp_path / "r")
    assert list(tmp_path.iterdir()) == []


def test_swapped_criteria_options_and_rooms_are_refused(sure) -> None:
    study, result = sure
    turned = result.isel(criterion=slice(None, None, -1))
    with pytest.raises(StudyError, match=r"criteria of the study .* stand in another order"):
        require_own(study, turned)
    labels = result["criterion"].values[::-1]
    with pytest.raises(StudyError, match="in another order"):
        require_own(study, result.assign_coords(criterion=labels))
    # The labels of the study on the numbers of another criterion: units and limits tell.
    with pytest.raises(StudyError, match=r"for the (metric|unit|statistic) of the criterion"):
        require_own(study, turned.assign_coords(criterion=result["criterion"].values))
    for dim, words in (("option", "options"), ("room", "rooms")):
        with pytest.raises(StudyError, match=f"does not hold the {words} of the study"):
            require_own(study, result.isel({dim: slice(None, None, -1)}))


def test_other_limits_and_rooms_of_a_criterion_are_refused(sure) -> None:
    study, result = sure
    with pytest.raises(StudyError, match="and the study to"):
        require_own(study, changed(result, "limit", 5.0))
    with pytest.raises(StudyError, match="and the study to"):
        require_own(study, result.assign(applies=xr.zeros_like(result["applies"])))


@pytest.mark.parametrize("name", ["rating", "margin", "rating_median", "margin_median",
                                  "margin_low", "rating_low"])  # fmt: skip
def test_margins_are_of_their_ratings(sure, name) -> None:
    study, result = sure
    with pytest.raises(StudyError, match=r"contradicts itself: margin.* is not what its limit"):
        require_own(study, changed(result, name, 20.0))
    spoiled = result.assign({name: result[name].where(False)})
    with pytest.raises(StudyError, match="contradicts itself"):
        require_own(study, spoiled)


def test_probabilities_are_of_their_margins(sure) -> None:
    study, result = sure
    for name, value, words in (
        ("probability", 0.99, "probability does not fit"),
        ("probability_all", 0.99, "probability_all does not fit the rooms"),
        ("probability_room", 0.99, "probability_room does not fit its criteria"),
        ("probability_all", np.nan, "probability_all does not fit the rooms"),
    ):
        assert float(result[name].min()) < 0.9, "the study misses something"
        forged = result.assign({name: xr.full_like(result[name], value)})
        with pytest.raises(StudyError, match=words):
            require_own(study, forged)


def test_answers_are_those_of_their_margins(small, sure) -> None:
    for study, result in (small, sure):
        forged = result.assign(answer=xr.full_like(result["answer"], Answer.MET))
        with pytest.raises(StudyError, match="answer is not what the margin leads to"):
            require_own(study, forged)


def test_a_result_that_does_not_say_its_study_is_told_so_on_the_page(
    small, tmp_path, monkeypatch
) -> None:
    monkeypatch.setattr(document, "pictures", lambda *_: [])
    bare = small.result.copy()
    bare.attrs = {k: v for k, v in bare.attrs.items() if k != "study_checksum"}
    assert require_own(small.study, bare) is True
    page = write_report(small.study, bare, tmp_path / "r").read_text(encoding="utf-8")
    assert "does not say which study, and which values of it" in page
    with pytest.raises(StudyError, match="does not say which study it was evaluated from"):
        rerun(tmp_path / "r")


# -- cases of the mechanics ------------------------------------------------------------------------


def _uncertain(folder: Path, variation: float) -> Path:
    shutil.copytree(SMALL, folder)
    file = folder / "study.toml"
    entry = (
        '\n[[uncertain]]\nkey = "structure.foundation.shear_wave_speed_m_s"\n'
        f'distribution = "lognormal"\ncoefficient_of_variation = {variation}\nsource = "invented"\n'
    )
    file.write_text(file.read_text(encoding="utf-8") + entry, encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def doubtful(small, tmp_path_factory) -> tuple[gb.Study, xr.Dataset, xr.Dataset]:
    """The same with a soil that is uncertain: study, answers and the cases that they rest on."""
    file = _uncertain(tmp_path_factory.mktemp("doubtful") / "study", 0.2)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(file)
        cases = sampled_mechanics(file, cases=4)
        # Uncertain keys leave the study, and so its result, as they are.
        return study, how_sure(study, small.result, samples=1024, mechanics=cases), cases


def test_cases_that_answers_rest_on_are_taken_through_a_file(doubtful, tmp_path) -> None:
    study, result, cases = doubtful
    require_own_cases(study, result, cases)
    require_own_cases(study, result, None)
    gb.save_result(result, tmp_path / "result.nc")
    gb.save_result(cases, tmp_path / "cases.nc")
    kept = [gb.read_result(tmp_path / n) for n in ("result.nc", "cases.nc")]
    require_own_cases(study, *kept)
    assert require_own(study, kept[0]) is False


def test_other_cases_than_answers_rest_on_are_refused(doubtful, tmp_path) -> None:
    study, result, cases = doubtful
    with pytest.raises(StudyError, match=r"other cases \(2\) than those \(4\)"):
        require_own_cases(study, result, cases.isel(case=slice(0, 2)))
    moved = cases.assign(level_change=cases["level_change"] + 1e-9)
    with pytest.raises(StudyError, match="other cases"):
        require_own_cases(study, result, moved)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = doubts(gb.read_study(_uncertain(tmp_path / "wider", 0.3)))
    wider = cases.assign_attrs(doubts_checksum=other)
    with pytest.raises(StudyError, match="drawn of other distributions or alternatives"):
        write_report(study, result, tmp_path / "r", mechanics=wider)
    assert not (tmp_path / "r").exists()


def test_answers_without_what_a_study_calls_uncertain_are_refused(sure, doubtful) -> None:
    study, result, cases = doubtful
    plain_study, plain = sure
    with pytest.raises(StudyError, match="the answers of the result rest on none"):
        require_own_cases(study, plain, cases)
    with pytest.raises(StudyError, match="rest on no cases of that"):
        require_own_cases(study, plain, None)
    other = result.assign_attrs(doubts_checksum="x")
    with pytest.raises(StudyError, match="cases of other distributions or alternatives"):
        require_own_cases(study, other, None)
    # What a script calls uncertain is in no file: reported, and not to be run again.
    require_own_cases(plain_study, result, cases)
    assert "given in a script" in why_no_rerun(plain_study, result)
