"""A report is of its own study, whole, and of a result that agrees with itself."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.rating.answers import Answer
from groundborne.report import document, rerun, write_report
from groundborne.report.own_result import require_own
from groundborne.study.sureness import how_sure


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
