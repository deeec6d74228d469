"""Metrics as objects: one of one's own goes through a study, a report and a figure unchanged."""

from __future__ import annotations

import warnings
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
import xarray as xr
from matplotlib.figure import Figure

import groundborne as gb
from groundborne import plot, weighting
from groundborne._checks import RatingError, StudyError
from groundborne.rating import METRICS, STATISTICS, Metric, Scale, WeightedBands, sufficiency
from groundborne.rating.scale import scale_of
from groundborne.rating.vibration_bands import kb_of_bands, vdv_of_bands
from groundborne.report import assessment_table, write_report
from groundborne.report.facts import Facts
from groundborne.report.figures import pictures
from groundborne.study import Period, notes_of, read_result, save_result, sentence


def evaluated(study):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return study.evaluate()


# -- From outside ----------------------------------------------------------------------------------

C_WEIGHTED = Metric(
    name="LCSmax",
    quantity="sound pressure",
    rule=WeightedBands(gain=weighting.c, span=(10.0, 20000.0), needed=sufficiency.HEARD),
    scale=Scale(unit="dB(C) re 20 µPa", decimals=2, least=20.0),
    statistics=STATISTICS,
    time_weightings=("S max",),
    approximation=lambda made, _: f"C-weighted from {made} of bands",
    citations=(gb.Citation(key="c", author="IEC 61672-1", year="2013", mark="from memory"),),
)


def asking(study, *criteria):
    return replace(study, criteria=dict.fromkeys(study.criteria, criteria))


@pytest.fixture(scope="module")
def outside(music_school):
    """The music school with one criterion, on a metric that the library does not know."""
    criterion = gb.Criterion(
        metric=C_WEIGHTED, limit=60.0, statistic="maximum", time_weighting="S max"
    )
    study = asking(replace(music_school.study, options=music_school.study.options[:2]), criterion)
    return study, evaluated(study)


def test_a_metric_from_outside_rates(outside, music_school):
    """Against the definition: 10 lg of the sum over bands of level + C, the loudest passby."""
    _, result = outside
    level = result["band_level"].drop_attrs()
    power = 10 ** ((level + weighting.c(level["frequency"])) / 10)
    by_hand = (10 * np.log10(power.sum("frequency"))).max("passby")
    rating = result["rating"].sel(criterion="LCSmax, maximum", drop=True)
    np.testing.assert_allclose(
        rating.transpose("option", "room"), by_hand.transpose("option", "room"), atol=1e-9
    )
    a_weighted = music_school.result["sound_level"].max("passby").isel(option=slice(2))
    assert bool((rating > a_weighted + 5.0).all())  # low frequencies, which A takes away


def test_a_metric_from_outside_is_answered_noted_stored_and_drawn(outside, tmp_path):
    study, result = outside
    table = assessment_table(result)
    assert set(table["unit"]) == {"dB(C) re 20 µPa"}
    assert set(table["criterion"]) == {"LCSmax, maximum"}
    # Two decimals, rounded up.
    assert np.allclose(100 * table["rating"], np.round(100 * table["rating"]))
    assert np.allclose(table["margin"], 60.0 - table["rating"])
    assert set(table["answer"]) <= {"met", "not met", "not shown"}
    said = [sentence(n) for n in notes_of(result) if n.kind == "approximation"]
    assert said == ["LCSmax, maximum: C-weighted from S max of bands."]
    save_result(result, tmp_path / "result.nc")
    back = read_result(tmp_path / "result.nc")
    assert scale_of(back, "LCSmax, maximum") == C_WEIGHTED.scale
    ax = plot.floors(back, ax=Figure().subplots())
    assert ax.get_xlabel() == "LCSmax, maximum, dB(C) re 20 µPa"
    ax = plot.margins(back, criterion="LCSmax, maximum", ax=Figure().subplots())
    assert "Margin on LCSmax, maximum, dB" in ax.get_xlabel()
    page = write_report(study, result, tmp_path / "out").read_text(encoding="utf-8")
    assert "LCSmax, maximum, dB(C) re 20 µPa: rating / margin" in page
    (row,) = [r for r in page.splitlines() if '>IEC 61672-1 (2013)</th><td class="left"></td>' in r]
    assert "Recalled and not looked up" in row
    written = (tmp_path / "out" / "tables" / "assessment.csv").read_text(encoding="utf-8-sig")
    assert "LCSmax, maximum" in written


def test_a_curve_number_of_ones_own_is_drawn_beside_spectra(music_school):
    """A metric on octaves with its own curve: the figure draws it where NR has its own."""
    flat = partial(xr.full_like, gb.rating.nr_curve(0.0), dtype=float)
    own = replace(METRICS["NR"], name="FLAT", octave_curve=lambda limit: flat(limit))
    criterion = gb.Criterion(metric=own, limit=45.0, statistic="mean", time_weighting="S max")
    study = asking(replace(music_school.study, options=music_school.study.options[:1]), criterion)
    facts = Facts(study=study, result=evaluated(study))
    drawn = next(p for p in pictures(facts) if p.section == "critical")
    figure = Figure()
    drawn.draw(figure)
    (ax,) = figure.axes
    assert ax.get_xlabel() == "Octave band, Hz"
    texts = [t.get_text() for t in ax.get_legend().get_texts()]
    assert texts[-1] == "limit FLAT 45"
    assert set(ax.get_lines()[-1].get_ydata()) == {45.0}


def test_names_of_metrics_are_not_taken_twice(music_school):
    masked = replace(C_WEIGHTED, name="LASmax")
    shared = {"limit": 30.0, "statistic": "mean", "time_weighting": "S max"}
    with pytest.raises(ValueError, match="'LASmax' is not the one of the library"):
        gb.Criterion(metric=masked, **shared)
    assert gb.Criterion(metric=METRICS["LASmax"], **shared).label == "LASmax, mean"
    other = replace(C_WEIGHTED, scale=Scale(unit="phon"))
    rooms = list(music_school.study.criteria)
    sets = {n: (gb.Criterion(metric=C_WEIGHTED, **shared),) for n in rooms}
    sets[rooms[0]] = (gb.Criterion(metric=other, **shared),)
    with pytest.raises(StudyError, match="two metrics have the name 'LCSmax'"):
        evaluated(replace(music_school.study, criteria=sets))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"name": "LCS, max"}, "its name is empty or holds a comma"),
        ({"statistics": ()}, "statistics is empty"),
        ({"time_weightings": ("peak",)}, "time_weighting is 'peak'; known are"),
        ({"of_passby": "max"}, "of_passby is 'max'; known are"),
        ({"quantity": "force"}, "quantity is 'force'"),
        ({"rule": weighting.c}, "rule is"),
    ],
)
def test_metrics_that_have_no_meaning(change, said):
    with pytest.raises(ValueError, match=said):
        replace(C_WEIGHTED, **change)


# -- What metrics need -----------------------------------------------------------------------------


def source_of(result, **lacking):
    source = result["source_level"]
    return source.drop_vars(lacking.get("without", []))


def rated(result, criterion, period):
    rooms = {str(r): (criterion,) for r in result["room"].values}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return gb.study.assess(result, room_criteria=rooms, periods={"night": period})


NIGHT = Period(name="night", hours=8.0, trains={"all": 40.0})


@pytest.fixture(scope="module")
def alike(tower):
    """The tower's first option with passbys that are not told apart."""
    keep = ["level_change", "floor_change", "source_level", "sound_level"]
    cut = tower.result[keep].sel(option=["no isolation"]).drop_vars("train_type")
    return cut.isel(room=slice(3))


@pytest.mark.parametrize("name", [n for n, m in METRICS.items() if m.needs_period])
def test_a_metric_that_adds_trains_needs_their_duration(alike, name):
    metric = METRICS[name]
    criterion = gb.Criterion(
        metric=name, limit=30.0, statistic=metric.statistics[0], period="night",
        time_weighting="S max",
    )  # fmt: skip
    assert rated(alike, criterion, NIGHT)["rating"].notnull().all()
    bare = alike.drop_vars("duration_s")
    with pytest.raises(StudyError, match="needs the duration of every passby; add the column"):
        rated(bare, criterion, NIGHT)
    still = alike.assign_coords(duration_s=0.0 * alike["duration_s"])
    with pytest.raises(RatingError, match="a passby has no duration above 0 s"):
        rated(still, criterion, NIGHT)


def test_doses_and_severities_are_those_of_the_functions(alike):
    """The metrics VDV and KB_Fmax against the functions for single passbys."""
    level = gb.levels.stamp(
        alike["floor_change"].drop_attrs() + alike["source_level"].drop_attrs(),
        quantity="velocity", reference="1 nm/s", long_name="level", time_weighting="S max",
    )  # fmt: skip
    lasts = alike["source_level"]["duration_s"].reset_coords(drop=True)
    share = NIGHT.trains["all"] / level.sizes["passby"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        each = vdv_of_bands(level, curve="Wb", duration=lasts, count=share)
        largest = kb_of_bands(level, duration=lasts).max("passby")
    vdv = gb.Criterion(
        metric="VDV", limit=0.2, statistic="fourth-power sum", period="night",
        time_weighting="S max",
    )  # fmt: skip
    kb = gb.Criterion(metric="KB_Fmax", limit=0.2, statistic="maximum", time_weighting="S max")
    for criterion, expected in ((vdv, (each**4).sum("passby") ** 0.25), (kb, largest)):
        found = rated(alike, criterion, NIGHT)
        rating = found["rating"].sel(criterion=criterion.label, drop=True)
        np.testing.assert_allclose(
            rating.transpose("option", "room"), expected.transpose("option", "room"), rtol=1e-9
        )
        # The words are those of the functions too.
        made = each if criterion is vdv else kb_of_bands_words(level, lasts)
        assert found["approximation"].item() == made.attrs["approximation"]


def kb_of_bands_words(level, lasts):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return kb_of_bands(level, duration=lasts)


def test_levels_over_a_period_are_those_of_the_functions(alike):
    """The metric LAeq against exposure levels and their sum over the period."""
    criterion = gb.Criterion(
        metric="LAeq", limit=30.0, statistic="energy mean", period="night", time_weighting="S max"
    )
    sound = alike["sound_level"]
    lasts = sound["duration_s"].reset_coords(drop=True)
    exposure = gb.rating.sel_from_maximum(sound, duration=lasts, time_constant=gb.rating.SLOW)
    count = NIGHT.trains["all"] / sound.sizes["passby"]
    expected = gb.rating.laeq_of_period(exposure, count=count, hours=NIGHT.hours)
    found = rated(alike, criterion, NIGHT)["rating"].sel(criterion="LAeq, night", drop=True)
    np.testing.assert_allclose(
        found.transpose("option", "room"), expected.transpose("option", "room"), atol=1e-9
    )


def test_every_metric_says_where_it_is_defined():
    assert all(metric.citations for metric in METRICS.values())
    assert all(name == metric.name for name, metric in METRICS.items())


def test_no_other_room_compares_names_of_metrics(data_folder):
    """Studies, reports and figures ask the metric; names stand in examples only."""
    package = data_folder.parent / "src" / "groundborne"
    # Curves are names of what plot.vibration_curves draws.
    named = [f'"{n}"' for n, m in METRICS.items() if m.fixed_limit is None] + ["KB"]
    for room in ("study", "report", "plot"):
        # The starter study is an example as well.
        for file in set((package / room).glob("*.py")) - {package / "study" / "starter.py"}:
            for line in file.read_text(encoding="utf-8").splitlines():
                example = line.lstrip().startswith((">>>", "..."))
                assert example or not any(name in line for name in named), (file.name, line)
