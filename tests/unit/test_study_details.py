"""What studies say beside their numbers, held against what their files say already."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
import xarray as xr

from groundborne.__main__ import main
from groundborne._checks import StudyError
from groundborne.study import notes_of, sentence
from groundborne.study.details import Details, Inspection, Measurement, Site
from groundborne.study.efficient import efficient_set
from quiet_studies import errors_of, evaluated, read

LINES = Path(__file__).parents[1] / "fuzz" / "small" / "lines"
MEASURED = """
[[measurements]]
site = "yard"
date = 2026-03-01
table = "passbys.csv"
"""
STIFF = """
[[isolation.crossings]]
name = "stair"
stiffness_n_m = 1e7

"""
HEADER = "name,kind,treatment,status,stiffness_n_m\n"


@pytest.fixture
def study_with(tmp_path):
    """A small study with more in its file, and a register."""

    def written(more="", *exchanges, register=None):
        folder = tmp_path / "study"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(LINES, folder)
        file = folder / "study.toml"
        text = file.read_text(encoding="utf-8")
        if register is not None:
            (folder / "crossings.csv").write_text(register, encoding="utf-8")
            exchanges += (
                ('columns = "columns.csv"', 'columns = "columns.csv"\nregister = "crossings.csv"'),
            )
        for old, new in (("\n[bands]\n", f"\n{more}\n[bands]\n"), *exchanges):
            assert old in text, old
            text = text.replace(old, new, 1)
        file.write_text(text, encoding="utf-8")
        return file

    return written


def test_details_are_read_as_they_stand_and_what_is_missing_is_known(study_with):
    study = read(study_with('[details]\nclient = "C"\ndate = 2026-03-31\nstatus = "as built"'))
    assert study.details == Details(client="C", date="2026-03-31", status="as built")
    assert study.details.missing == ("author", "checker", "revision")
    assert read(LINES / "study.toml").details == Details()


@pytest.mark.parametrize(
    ("day", "said"),
    [("2026-03-31", None), ('"2026-03-31"', None), ('"2026-02-30"', "'2026-02-30'"),
     ('"31.3.2026"', r"'31\.3\.2026'"), ("20260331", "20260331"), ('"2026-3-1"', "'2026-3-1'"),
     ("2026-03-31T10:00:00", "datetime"), ("10:00:00", "datetime")],
)  # fmt: skip
def test_a_day_is_iso_8601_quoted_or_not(study_with, day, said):
    file = study_with(f"[details]\ndate = {day}")
    if said is None:
        assert read(file).details.date == "2026-03-31"
        return
    (error,) = errors_of(file)
    assert re.search(rf"\[details\]: 'date' is .*{said}.*; a date such as 2026-03-31 is", error)


def test_an_unknown_status_is_refused(study_with):
    (error,) = errors_of(study_with('[details]\nstatus = "final"'))
    assert "'status' is 'final'; known are" in error


# Measurements beside the table of passbys, which holds three


def test_what_the_source_says_is_not_asked_again(study_with):
    (found,) = read(
        study_with(MEASURED + 'left_out = { "two at once" = 2, wind = 1 }')
    ).measurements
    assert found.position == "on the ground before building"
    assert found.quantity == "velocity"
    assert (found.events_kept, found.events_left_out, found.events_recorded) == (3, 3, 6)
    (bare,) = read(study_with(MEASURED)).measurements
    assert (bare.events_kept, bare.events_left_out, bare.events_recorded) == (3, None, None)
    (other,) = read(study_with(MEASURED.replace('table = "passbys.csv"', ""))).measurements
    assert (other.position, other.quantity, other.events_kept) == ("", "", None)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ('quantity = "acceleration"', "'quantity' is 'acceleration', and that of its table is "),
        ("events_kept = 2", r"2 events are kept in 'passbys\.csv', which holds 3 passbys"),
        ("events_recorded = 5", "5 events were recorded and 3 are kept; say by left_out why 2"),
        ("events_recorded = 5\nleft_out = { wind = 1 }", "5 events .* 3 are kept and 1 left out"),
        ("events_recorded = 2", "2 events were recorded, 3 are kept and 0 left out"),
        ("events_recorded = 3.5", r"'events_recorded' is 3\.5; a whole number is needed"),
        ("left_out = { wind = 0.5 }", r"left_out, 'wind' is 0\.5; a whole number"),
        ("until = 2026-02-28", "'until' is 2026-02-28, before its 'date' 2026-03-01"),
    ],
)  # fmt: skip
def test_measurements_that_contradict_the_study_are_refused(study_with, more, said):
    (error,) = errors_of(study_with(MEASURED + more))
    assert re.search(said, error), error


def test_measurements_share_the_passbys_of_one_table(study_with):
    two = MEASURED + "events_kept = {}\n" + MEASURED + "events_kept = {}\n"
    found = read(study_with(two.format(1, 2))).measurements
    assert [m.events_kept for m in found] == [1, 2]
    (error,) = errors_of(study_with(two.format(1, 1)))
    assert "2 events are kept in 'passbys.csv', which holds 3 passbys" in error
    assert [m.events_kept for m in read(study_with(MEASURED * 2)).measurements] == [None, None]


def test_a_measurement_is_of_a_table_of_the_study_and_not_after_its_date(study_with):
    (error,) = errors_of(study_with(MEASURED.replace("passbys.csv", "passby.csv")))
    assert "table is 'passby.csv'; known are" in error
    (error,) = errors_of(study_with("[details]\ndate = 2026-02-01\n" + MEASURED))
    assert "it was measured on 2026-03-01, after the date 2026-02-01" in error


def test_a_calibration_of_long_ago_is_told(study_with):
    own = MEASURED + 'instruments = [{{ name = "geophone", calibrated = {} }}]'
    told = read(study_with(own.format("2024-02-01"))).unusual
    assert any("'calibrated' is 2024-02-01, more than 2 years before" in text for text in told)
    recent = read(study_with(own.format("2024-04-01"))).unusual
    assert not any("calibrated" in text for text in recent)


def test_numbers_of_a_measurement_by_hand():
    assert Measurement(site="a", date="2026-01-01", events_recorded=2, events_kept=2) \
        .events_left_out == 0  # fmt: skip
    with pytest.raises(StudyError, match="events_kept is -1"):
        Measurement(site="a", date="2026-01-01", events_kept=-1)


# The register beside the crossings that are counted


def told(study):
    notes = notes_of(evaluated(study))
    return {n.kind: sentence(n) for n in notes if n.kind.startswith(("crossings ", "inspection"))}


def test_a_register_that_agrees_with_the_calculation_is_told_nothing(study_with):
    rows = HEADER + "stair,stair,resilient,agreed,\npipe,services,gap,open,\n"
    study = read(study_with("", ("\n[[criteria", STIFF + "\n[[criteria"), register=rows))
    assert [(row.name, row.counted) for row in study.register] == [("stair", True), ("pipe", False)]
    assert set(told(study)) == {"inspection open"}


def test_what_register_and_calculation_do_not_both_hold_is_told(study_with):
    rows = HEADER + "pipe,services,rigid,open,\nsleeve,cable,resilient,agreed,2e5\n"
    counted = ("\n[[criteria", STIFF + "\n[[criteria")
    said = told(read(study_with("", counted, register=rows)))
    assert (
        "holds 'pipe' as held on both sides and 'sleeve' with a stiffness"
        in (said["crossings not counted"])
    )
    assert "may exceed it" in said["crossings not counted"]
    assert "counts 'stair' beside the mounts" in said["crossings not registered"]
    listed = ('lowest_isolated_floor = "0"\n',
              'lowest_isolated_floor = "0"\nall_crossings_listed = true\n')  # fmt: skip
    said = told(read(study_with("", counted, listed, register=rows)))
    assert "nothing crosses but what it lists" in said["crossings not counted"]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("stair,stair,rigid,open,1e7", r"row 2, column 'stiffness_n_m': 'stair' is a crossing of"),
        ("stair,stair,gap,built,", r"'treatment': 'stair' is 'gap', and \[isolation\] count"),
        ("pipe,drain,gap,built,1e5", "'pipe' is 'gap', and has a stiffness"),
        ("pipe,drain,not decided,agreed,", "not decided and its status is 'agreed'"),
        ("pipe,pipe,rigid,open,", "column 'kind': 'pipe' is none of 'services', 'lift'"),
        ("pipe,drain,Rigid,open,", "column 'treatment': 'Rigid' is none of"),
        ("pipe,drain,rigid,done,", "column 'status': 'done' is none of 'open', 'agreed'"),
        ("pipe,drain,rigid,open,-5", r"stiffness_n_m': -5 is out of bounds"),
        ("pipe,drain,rigid,open,\npipe,drain,rigid,open,", "pipe"),
    ],
)  # fmt: skip
def test_rows_that_cannot_be_are_refused(study_with, row, said):
    counted = ("\n[[criteria", STIFF + "\n[[criteria")
    (error,) = errors_of(study_with("", counted, register=f"{HEADER}{row}\n"))
    assert error.startswith("crossings.csv")
    assert re.search(said, error), error


def test_a_register_needs_a_plane_and_known_floors(study_with):
    rows = "name,kind,treatment,status,floor\npipe,drain,gap,open,9\n"
    (error,) = errors_of(study_with("", register=rows))
    assert "there is no floor '9'" in error
    file = study_with("", register=HEADER + "pipe,drain,gap,open,\n")
    text = re.sub(r"\[isolation\].*?(?=\[\[criteria)", "", file.read_text("utf-8"), flags=re.DOTALL)
    file.write_text(re.sub(r"\nbase = [^\n]*", "", text), encoding="utf-8")
    (error,) = errors_of(file)
    assert (
        "it registers what crosses the isolation plane, and the study has no [isolation]" in error
    )


def test_the_register_of_a_part_is_held_against_that_part(assembly_hall):
    rows = {row.name: row for row in assembly_hall.study.register}
    assert rows["incoming services"].counted
    assert rows["incoming services"].part == "annexe"
    assert not rows["joint to the hall"].counted


# Upkeep of mounts


def test_what_nobody_says_of_mounts_is_open(study_with):
    study = read(study_with('[inspection]\naccess = "hatch"'))
    assert study.inspection == Inspection(access="hatch")
    assert (
        "as to fire protection, interval, replacement, replacement load case"
        in (told(study)["inspection open"])
    )
    on_the_ground = study.with_options(study.options[:1])
    assert told(on_the_ground) == {}
    whole = "\n".join(f'{n} = "x"' for n in Inspection.__dataclass_fields__)
    assert told(read(study_with(f"[inspection]\n{whole}"))) == {}


# Cost


def costed(*costs):
    """Exchanges that give options a cost."""
    names = ("no isolation", "rubber and floors", "box")
    return [
        (f'name = "{name}"\n', f'name = "{name}"\ncost = {cost}\ncost_source = "s"\n')
        for name, cost in zip(names, costs, strict=False)
    ]


def test_costs_go_into_the_result_and_the_efficient_set(study_with):
    study = read(study_with('currency = "crowns"', *costed(0, 30, 40.5)))
    assert [o.cost for o in study.options] == [0, 30, 40.5]
    assert {o.cost_source for o in study.options} == {"s"}
    result = study.how_sure(samples=1024, band_levels=False)
    assert result["cost"].values.tolist() == [0, 30, 40.5]
    assert result["cost"].attrs["units"] == "crowns"
    found = efficient_set(result)
    assert found.attrs["columns"] == ["cost"]
    xr.testing.assert_identical(found["cost"], result["cost"].reset_coords(drop=True))
    height = xr.DataArray([3.0, 2.0, 1.0], coords={"option": result["option"].values})
    assert efficient_set(result, {"height": height}).attrs["columns"] == ["height"]
    some = read(study_with('currency = "crowns"', *costed(0, 30)))
    result = evaluated(some)
    assert "cost" not in result
    sure = result.assign(probability_all=("option", [0.1, 0.2, 0.3]))
    with pytest.raises(StudyError, match="not every option of the result has a cost"):
        efficient_set(sure)


def test_a_cost_needs_a_currency_a_source_and_is_no_gain(study_with):
    (error,) = errors_of(study_with("", *costed(5)))
    assert "option 'no isolation' has a cost of 5, and nobody says in what" in error
    exchange = ('name = "box"\n', 'name = "box"\ncost = 5\n')
    (error,) = errors_of(study_with('currency = "crowns"', exchange))
    assert "'cost_source' is missing" in error
    (error,) = errors_of(study_with('currency = "crowns"', *costed(-5)))
    assert "cost is -5; it must be 0" in error
    exchange = ('name = "box"\n', 'name = "box"\ncost_source = "s"\n')
    assert any("cost_source" in e for e in errors_of(study_with("", exchange)))


# The site


def test_the_track_is_said_once(study_with):
    site = '[site]\ntrack_side = "y-"\ntrack_offset_m = 12\nrail_level_m = -3'
    study = read(study_with(site))
    assert study.site == Site(track_side="y-", track_offset=12.0, rail_level=-3.0)
    track = site + "\n[track]\nx_m = [-50, 50]\ny_m = [-12, -12]\n"
    ground = "\n[path.ground]\nmeasured_distance_m = 12\nexponent = 0.5\ndamping_ratio = 0.01\n"
    ground += "wave_speed_m_s = 250\n"
    (error,) = errors_of(study_with(track, ("\n[path.coupling]", f"{ground}\n[path.coupling]")))
    assert "'track_side' and the table [track] both say where the track lies" in error
    (error,) = errors_of(study_with('[site]\ntrack_side = "y-"'))
    assert "'track_offset_m' is missing" in error
    (error,) = errors_of(study_with(site.replace("12", "-12")))
    assert "'track_offset_m' is -12" in error
    below = site.replace("y-", "below along x").replace("12", "-12")
    assert read(study_with(below)).site.is_below
    with pytest.raises(StudyError, match="of a track beside the building; it must be 0 or more"):
        Site(track_side="y-", track_offset=-12.0)
    with pytest.raises(StudyError, match="give both, or none"):
        Site(track_side="y-")


def test_the_check_on_the_command_line_tells_what_is_open(study_with, capsys):
    rows = HEADER + "pipe,services,gap,open,\n"
    more = '[details]\nauthor = "A"\nrevision = "P1"\n' + MEASURED
    assert main(["check", str(study_with(more, register=rows))]) == 0
    said = capsys.readouterr().out
    assert "title block: A, revision P1; open: client, checker, date, status" in said
    assert "measured: yard, 2026-03-01, 3 events kept" in said
    assert "crossings of the isolation plane: 1 (1 open)" in said
    assert "upkeep of the mounts, open: fire protection, access" in said


@pytest.mark.parametrize("name", ["music_school", "tower", "assembly_hall"])
def test_demonstration_studies_say_all_of_it_and_that_it_is_invented(name, request):
    study = request.getfixturevalue(name).study
    assert study.invented
    assert "invented" in study.details.client
    assert "invented" in study.currency
    assert study.measurements[0].events_kept == study.source.sizes["passby"]
    assert study.register
    assert all(o.cost is not None for o in study.options)
