"""Studies that a script changed: told in the report, and no hidden contract of names."""

from __future__ import annotations

import csv
import html
import json
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from scipy import stats

import groundborne as gb
from groundborne import plot, receiver, report
from groundborne._checks import PathError, StudyError
from groundborne.path import (
    COLUMN,
    FLOOR_AVERAGE,
    FOUNDATION,
    GROUND,
    MID_SPAN,
    TransmissionPath,
    Unchanged,
)
from groundborne.receiver import SurfaceMean
from groundborne.report import assessment_table, figures, write_report
from groundborne.report.facts import Facts
from groundborne.study.description import checksum, describe, differences, outermost
from groundborne.study.line_change import following
from groundborne.study.natural_frequencies import building_resonances, option_resonances
from groundborne.study.samples import median_case
from note_sentences import sentences_of
from quiet_studies import evaluated


@pytest.fixture
def school(data_folder):
    """The music school with two of its options, read afresh: some tests spoil it."""
    study = gb.read_study(data_folder / "music_school" / "study.toml")
    return study.with_options(study.options[:2])


@pytest.fixture
def written(tmp_path, monkeypatch):
    """Write a report without pictures and return its text."""
    monkeypatch.setattr(report.document, "pictures", lambda *_: [])

    def write(study, result=None, name="r"):
        result = evaluated(study) if result is None else result
        file = write_report(study, result, tmp_path / name)
        return html.unescape(file.read_text(encoding="utf-8"))

    return write


def moved(study, line):
    """The same study on other column lines."""
    frame = replace(study.plane, line=line)
    surfaces = {}
    for name, old in study.surfaces.items():
        ways = {"velocity": old.velocity, "mean_velocity": old.mean_velocity}
        new = {n: following(way, frame.as_built) for n, way in ways.items() if way is not None}
        surfaces[name] = replace(old, **new)
    path = study.as_built.replace(
        storeys=frame.to_columns(frame.floor_of_room), surfaces=SurfaceMean(surfaces)
    )
    return study.with_part(plane=frame, surfaces=surfaces, as_built=path)


# ---------------------------------------------------------------- what was read


def test_a_study_as_read_differs_in_nothing(data_folder):
    for name in ("music_school", "tower"):
        study = gb.read_study(data_folder / name / "study.toml")
        assert study.changed == ()
        again = gb.read_study(data_folder / name / "study.toml")
        assert checksum(again.described()) == checksum(study.described())


def louder(study):
    level = study.passbys.level + 6.0
    level.attrs = study.passbys.level.attrs
    return replace(study, passbys=replace(study.passbys, level=level))


def doubled(surfaces):
    return {name: replace(s, area=2 * s.area) for name, s in surfaces.items()}


def no_coupling(path):
    given = path["coupling"]
    return path.replace(coupling=Unchanged(given.quantity_in, given.quantity_out))


CHANGES = {
    "surfaces": (
        lambda s: s.with_part(surfaces=doubled(s.surfaces)),
        "surfaces · floor",
    ),
    "path stage": (
        lambda s: s.with_part(as_built=no_coupling(s.as_built)),
        "path · coupling",
    ),
    "option": (lambda s: s.with_options([gb.Option(name="other")]), "options · other"),
    "order of options": (lambda s: s.with_options(s.options[::-1]), "options"),
    "mount": (
        lambda s: s.with_options([s.options[0], replace(s.options[1], base=s.options[2].base)]),
        "options · rubber 9 Hz",
    ),
    "source": (louder, "passbys · level"),
    "building": (
        lambda s: replace(s, building=replace(s.building, rooms=s.building.rooms.assign(
            length=s.building.rooms["length"] * 1.1
        ))),
        "building · rooms",
    ),
    "criteria": (
        lambda s: replace(s, criteria={
            n: tuple(replace(c, limit=c.limit + 5) for c in cs) for n, cs in s.criteria.items()
        }),
        "criteria · hall",
    ),
    "plane": (
        lambda s: s.with_part(plane=replace(s.plane, mass=s.plane.mass * 1.2)),
        "isolation plane · mass",
    ),
    "bands": (lambda s: replace(s, frequency=s.frequency[:-1]), "bands"),
}  # fmt: skip


def test_a_building_changed_alone_is_refused(data_folder) -> None:
    """Path, surfaces and plane were made from the building as read: nothing would follow it."""
    study = gb.read_study(data_folder / "music_school" / "study.toml")
    rooms = study.building.rooms
    slow = rooms.assign(reverberation_time=2 * rooms["reverberation_time"])
    alone = replace(study, building=replace(study.building, rooms=slow))
    with pytest.raises(StudyError, match=r"reverberation_time.*no level would follow"):
        alone.evaluate()
    study.building.rooms["length"] *= 0.5
    with pytest.raises(StudyError, match=r"length.*no level would follow"):
        study.evaluate()


@pytest.mark.parametrize("what", CHANGES)
def test_every_scripted_change_is_told_by_study_and_result(what, school, data_folder):
    study = gb.read_study(data_folder / "music_school" / "study.toml")
    change, part = CHANGES[what]
    changed = change(study)
    assert part in outermost([d.key for d in changed.changed])
    assert checksum(changed.described()) != checksum(study.described())
    assert study.changed == ()


def test_an_array_changed_in_place_is_told(data_folder):
    study = gb.read_study(data_folder / "music_school" / "study.toml")
    study.building.rooms["height"][0] = 9.0
    assert [d.key for d in study.changed] == ["building · rooms · height"]


def test_the_report_states_what_was_evaluated(school, written, tmp_path):
    study = school.with_options([*school.options, gb.Option(name="scripted & new")])
    study = study.with_part(
        surfaces=doubled(study.surfaces),
        as_built=no_coupling(study.as_built),
    )
    result = evaluated(study)
    told = json.loads(result.attrs["changed_after_reading"])
    assert {"surfaces · floor", "path · coupling", "options · scripted & new"} <= set(told)
    text = written(study, result)
    head = text[: text.index("<h2 id=")]
    assert "Changed after the files were read" in head
    assert all(part in head for part in told)
    table = text[text.index("What was evaluated</h3>") : text.index("Sources</h2>")]
    assert "surfaces · floor · area" in table
    assert "20.16 to 196" in table  # evaluated
    assert "10.08 to 98" in table  # as read
    assert "As read; what was evaluated differs, see above." in text
    with (tmp_path / "r" / "tables" / "evaluated.csv").open(encoding="utf-8-sig") as stream:
        rows = {row["part"]: row for row in csv.DictReader(stream)}
    assert rows["surfaces · floor · area"]["differs"] == "yes"
    assert rows["surfaces · floor · radiation · factor"]["differs"] == "no"
    kept = gb.read_result(tmp_path / "r" / "result.nc")
    assert json.loads(kept.attrs["changed_after_reading"]) == told


def test_the_report_of_an_unchanged_study_says_so(data_folder, written):
    study = gb.read_study(data_folder / "music_school" / "study.toml")
    assert json.loads(evaluated(study).attrs["changed_after_reading"]) == []
    text = written(study)
    assert "nothing was changed after reading" in text
    assert "Changed in a script" not in text
    assert '<code class="short">study.toml</code>' in text


def test_the_report_of_a_study_without_files_lists_its_values(school, written):
    text = written(replace(school, as_read={}, inputs={}))
    assert "put together in a script; these are its values" in text
    assert "building · rooms · height" in text


def test_a_result_of_the_study_before_it_was_changed_is_refused(school, tmp_path):
    result = evaluated(school)
    changed = school.with_part(surfaces=dict(list(school.surfaces.items())[:3]))
    with pytest.raises(StudyError, match="evaluated from other values than the study"):
        write_report(changed, result, tmp_path / "r")


def test_a_result_that_does_not_know_its_study_is_told(school, written):
    result = evaluated(school)
    del result.attrs["study_checksum"]
    told = "does not say which study, and which values of it, it was evaluated from"
    assert told in written(school, result)


class Own:
    """An element that is no dataclass, with a cache."""

    def __init__(self, gain):
        self.gain, self._cache = gain, object()


def test_descriptions_tell_any_object_by_what_it_holds():
    assert differences(describe({"a": Own(1.0)}), describe({"a": Own(1.0)})) == ()
    (found,) = differences(describe({"a": Own(1.0)}), describe({"a": Own(2.0)}))
    assert (found.key, found.read, found.now) == ("a · gain", "1", "2")
    loop = Own(1.0)
    loop.gain = [loop]
    assert describe({"a": loop})  # ends
    long = np.arange(20.0)
    other = long.copy()
    other[7] += 1e-6
    assert describe({"a": long}) != describe({"a": other})
    assert describe({"a": long}) == describe({"a": long * (1 + 1e-14)})  # rounding is no change
    labelled = xr.DataArray(long, coords={"room": np.arange(20)})
    assert describe({"a": labelled}) != describe({"a": labelled.assign_coords(room=long + 1)})


# ---------------------------------------------------------------- arguments that are exchanged


LAYER = gb.isolation.SurfaceIsolation(natural_frequency=10.0, loss_factor=0.1)
MEASURE = gb.study.RoomMeasure(rooms=["R1.1"], treatments={"floor": LAYER})


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda s: s.with_options(gb.Option(name="x")), "with_options: options is an Option"),
        (lambda s: s.with_options(["x"]), "with_options: options is"),
        (lambda _: gb.Option(name="x", base=4.5), "Option: base is 4.5; a Mount .* or None"),
        (lambda _: gb.Option(name="x", measures=("box",)), "Option: measures is"),
        (lambda _: gb.Option(name="x", measures=MEASURE), "Option: measures is a RoomMeasure"),
        (
            lambda _: gb.study.RoomMeasure(rooms="R1.1", treatments={"floor": LAYER}),
            "RoomMeasure: rooms is 'R1.1'",
        ),
        (
            lambda _: gb.study.RoomMeasure(rooms=("R1.1",), treatments={"floor": 10.0}),
            "RoomMeasure: treatments is",
        ),
    ],
)
def test_arguments_of_the_wrong_kind_get_a_sentence(call, said, school):
    with pytest.raises(ValueError, match=said):
        call(school)


def test_swapped_arguments_of_a_report_get_a_sentence(school, tmp_path):
    with pytest.raises(ValueError, match="write_report: study is a Dataset; a Study is needed"):
        write_report(evaluated(school), school, tmp_path / "r")
    assert list(tmp_path.iterdir()) == []
    assert gb.Option(name="x", measures=[MEASURE]).measures == (MEASURE,)


# ---------------------------------------------------------------- stages by what they give


def renamed(path, **names):
    return TransmissionPath(**{names.get(n, n): e for n, e in path.elements.items()})


def test_stage_names_are_free(school):
    layer = gb.isolation.SurfaceIsolation(natural_frequency=10.0, loss_factor=0.1)
    measure = gb.study.RoomMeasure(rooms=("R1.1",), treatments={"floor": layer})
    options = [
        *school.options,
        gb.Option(name="box", base=school.options[1].base, measures=(measure,)),
    ]
    study = school.with_options(options)
    other = study.with_part(
        as_built=renamed(study.as_built, storeys="up_the_columns", surfaces="rooms_move"),
    )
    one, two = evaluated(study), evaluated(other)
    for name in ("sound_level", "rating", "floor_level"):
        np.testing.assert_array_equal(one[name].values, two[name].values)
    assert "rooms_move" in two["stage"].values


def test_a_path_that_never_reaches_the_columns_is_named(school):
    alone = school.with_part(
        as_built=TransmissionPath(
            ground=Unchanged(GROUND, FLOOR_AVERAGE), sound=receiver.relation("minus 27")
        ),
        surfaces=None,
    )
    with pytest.raises(StudyError, match="never gives the velocity of the columns at the floor"):
        evaluated(alone.with_options([gb.Option(name="as built")]))
    with pytest.raises(StudyError, match="option 'rubber 9 Hz': the path never gives the velocity"):
        alone.with_options([school.options[1]]).paths()


def test_floor_motion_starts_where_the_path_reaches_the_columns():
    motion = gb.study.model.FloorMotion(as_built=Unchanged(COLUMN, MID_SPAN))
    up = TransmissionPath(rise=Unchanged(FOUNDATION, COLUMN), slab=Unchanged(COLUMN, MID_SPAN))
    assert motion.path(up, mount=None, treatment=None).names == ("rise", "mid_span")
    at = TransmissionPath(slab=Unchanged(COLUMN, MID_SPAN))
    assert motion.path(at, mount=None, treatment=None).names == ("mid_span",)
    taken = TransmissionPath(
        mid_span=Unchanged(FOUNDATION, COLUMN), slab=Unchanged(COLUMN, MID_SPAN)
    )
    with pytest.raises(PathError, match="'mid_span' is in the path already"):
        motion.path(taken, mount=None, treatment=None)


def test_a_path_alike_for_all_rooms_is_evaluated_for_each(spoiled, written):
    """Storeys that change nothing, a floor gain and a relation: no step knows the rooms."""
    study = spoiled(
        "study.toml",
        ('model = "semi-infinite', 'model = "semi-infinite'),
        name="music_school_plain",
    )
    text = study.read_text(encoding="utf-8")
    head, options = text[: text.index("[[options]]")], '[[options]]\nname = "as built"\n'
    start, end = head.index("[path.storeys]"), _next_table(head, head.index("[path.radiation]"))
    steps = (
        '[path.storeys]\nmodel = "none"\n[path.floor]\nmodel = "fixed"\ngain_db = 5\n'
        '[path.radiation]\nmodel = "relation"\nrelation = "minus 27"\n\n'
    )
    study.write_text(head[:start] + steps + head[end:] + options, encoding="utf-8")
    read = gb.read_study(study)
    result = evaluated(read)
    for name in ("sound_level", "mean_level", "level_change", "valid", "rating", "margin"):
        assert result[name].sizes["room"] == len(read.rooms), name
    assert np.ptp(result["sound_level"].values, axis=1).max() == 0.0
    assert len(assessment_table(result)) == int(result["applies"].sum())
    assert "as built" in written(read, result)


def _next_table(text, at):
    """Where the first table after another one, with those inside it, begins."""
    here = text.index("\n[", at) + 1
    while text[here:].startswith("[path.radiation."):
        here = text.index("\n[", here) + 1
    return here


# ---------------------------------------------------------------- samples


@pytest.fixture(scope="module")
def sampled(data_folder):
    """The music school on soil and under slabs that are not known exactly, and its result."""
    study = gb.read_study(data_folder / "music_school" / "study.toml")
    study = study.with_options(study.options[:3])
    line = study.plane.line
    soil = replace(
        line.foundation.soil,
        shear_wave_speed=gb.sample(stats.norm(220.0, 40.0), size=9, seed=1),
    )
    more = gb.sample(stats.norm(0.0, 25.0), size=9, seed=2)
    slabs = [
        replace(s.slab, superimposed_mass=s.slab.superimposed_mass + more) for s in line.storeys
    ]
    storeys = tuple(replace(s, slab=slab) for s, slab in zip(line.storeys, slabs, strict=True))
    line = replace(line, foundation=replace(line.foundation, soil=soil), storeys=storeys)
    study = moved(study, line)
    return study, evaluated(study)


def test_resonances_of_samples_are_those_of_the_medians(sampled, school):
    study, _ = sampled
    found = building_resonances(study, study.part()) + option_resonances(
        study, study.options[1], study.part()
    )
    assert all(np.isfinite(r.frequency) for r in found)
    plain = {r.name: r.frequency for r in building_resonances(school, school.part())}
    named = [r for r in building_resonances(study, study.part()) if r.name in plain]
    assert len(named) >= 4
    for one in named:
        assert one.frequency == pytest.approx(plain[one.name], rel=0.12)
    kinds = {r.kind for r in found}
    assert kinds >= {"trains", "foundation-soil", "columns", "floors", "mounts"}


def test_a_sampled_result_is_shown_as_median_and_range(sampled, written):
    study, result = sampled
    assert result.sizes["sample"] == 9
    table = assessment_table(result)
    assert (table["margin_low"] <= table["margin"]).all()
    assert (table["margin_high"] >= table["margin"]).all()
    assert (table["margin_high"] - table["margin_low"]).max() > 0.5
    row = table[(table["option"] == "rubber 9 Hz") & (table["room"] == "R0.1")].iloc[0]
    here = {"option": "rubber 9 Hz", "room": "R0.1", "criterion": row["criterion"]}
    each = result["rating"].sel(here)
    assert 0 <= row["rating"] - float(each.median()) < 0.1
    low = float(result["margin"].sel(here).min())
    assert 0 <= low - row["margin_low"] < 0.1
    text = written(study, result)
    assert "median of 9 samples, range from the smallest to the largest" in text
    assert "each number by itself" in text


@pytest.mark.parametrize("name", ["margins", "floors", "stages", "insertion_loss"])
def test_plots_show_samples_as_medians(sampled, name):
    from matplotlib.figure import Figure

    _, result = sampled
    criterion = str(result["criterion"].values[0])
    more = {
        "margins": {"criterion": criterion}, "floors": {"criterion": criterion},
        "stages": {"room": "R0.1"}, "insertion_loss": {},
    }[name]  # fmt: skip
    ax = getattr(plot, name)(result, ax=Figure().subplots(), **more)
    assert "median of 9 samples" in ax.get_xlabel()
    if name == "options":
        points = np.concatenate([h.get_xdata() for h in ax.get_lines() if h.get_marker() != "None"])
        medians = median_case(result)["margin"].sel(criterion=criterion).values
        np.testing.assert_allclose(np.sort(points), np.sort(medians.ravel()))


def test_every_picture_of_a_report_takes_samples(sampled):
    study, result = sampled
    drawn = figures.pictures(Facts(study=study, result=result))
    assert {p.section for p in drawn} >= {"options", "critical", "stages", "floors", "isolation"}
    for picture in drawn:
        assert picture.svg()
        plain = picture.section in ("passbys", "method")
        assert ("median of 9 samples" in picture.caption) == (not plain)


def test_median_case_leaves_plain_results_alone(music_school):
    assert median_case(music_school.result) is music_school.result


# ---------------------------------------------------------------- words that fit the study


def test_a_study_without_mounts_does_not_stand_on_them(school, written):
    bare = school.with_options([gb.Option(name="as built")])
    text = written(bare)
    assert "stands on these mounts" not in text
    assert "licensed structural engineer" in text
    assert "local codes govern" in text
    assert "stands on these mounts" in written(school, name="s")


def test_an_equivalent_level_from_maxima_says_so(school):
    levels = school.passbys.level.assign_coords(duration_s=("passby", np.full(36, 8.0)))
    period = gb.study.Period(name="day", hours=16, trains={"metro_6car": 100})
    quiet = gb.Criterion(
        metric="LAeq", limit=40.0, statistic="energy mean", period="day", time_weighting="S max"
    )
    study = replace(
        school.with_options(school.options[:1]),
        passbys=replace(school.passbys, level=levels),
        periods={"day": period},
        criteria=dict.fromkeys(school.criteria, (quiet,)),
    )
    notes = sentences_of(evaluated(study))
    (found,) = [n for n in notes if n.startswith(quiet.label)]
    assert "from S max, not from measured energy" in found
    assert "constant over the duration given" in found


def test_a_treated_floor_is_the_whole_floor_and_no_table(school):
    study = school.with_options([gb.Option(name="floor", measures=(MEASURE,))])
    notes = sentences_of(evaluated(study))
    assert not [n for n in notes if "on mounts of its own is no floor" in n]
    felt = gb.Criterion.on_curve("VC-A", statistic="maximum", time_weighting="S max")
    study = replace(study, criteria={n: (*cs, felt) for n, cs in study.criteria.items()})
    (found,) = [n for n in sentences_of(evaluated(study)) if "on mounts of its own" in n]
    assert found.startswith("Option 'floor', room isolation: the treated floor is the whole floor")


def spectrum_of(study, **levels):
    """The study with passbys of flat spectra and one raised band for each type of train."""
    kinds = study.passbys.level["train_type"].values
    level = study.passbys.level.copy(data=np.full(study.passbys.level.shape, 60.0))
    for kind, (band, value) in levels.items():
        level.loc[{"frequency": band}] = level.sel(frequency=band).where(kinds != kind, value)
    return replace(study, passbys=replace(study.passbys, level=level))


def peaks(study):
    return [
        round(r.frequency, 1)
        for r in building_resonances(study, study.part())
        if r.kind == "trains"
    ]


def test_the_peak_of_the_source_is_that_of_the_timetable(tower):
    """Freight trains are louder by 12 dB; where none run, their band is no peak."""
    study = spectrum_of(tower.study, freight=(10.0, 112.0), commuter=(50.0, 100.0))
    assert peaks(study) == [10.0, 50.1]
    names = {r.name for r in building_resonances(study, study.part()) if r.kind == "trains"}
    assert names == {"peak of the source spectrum"}
    quiet = {n: replace(p, trains={**p.trains, "freight": 0}) for n, p in study.periods.items()}
    assert peaks(replace(study, periods=quiet)) == [50.1]


def test_the_edge_of_the_bands_is_no_peak(tower):
    study = spectrum_of(tower.study, commuter=(40.0, 100.0), freight=(5.0, 100.0))
    assert peaks(study) == [39.8]  # what lies below 5 Hz was not measured
    cut = replace(study, frequency=study.frequency.sel(frequency=slice(5.0, 31.5)))
    assert peaks(cut) == []  # the spectrum still rises at 31.5 Hz


# ---------------------------------------------------------------- pages and legends


def test_many_options_share_the_width_of_a_page(school, written):
    base = school.options[1].base
    options = [gb.Option(name=f"option {n}", base=base if n else None) for n in range(14)]
    text = written(school.with_options(options))
    for table in text.split("<table")[1:]:
        header = table[: table.index("</thead>")]
        assert header.count(" option ") <= 6
    assert "(3 of 3)" in text


LONG = (
    "steel springs at the column heads of the basement, tuned to 4.5 Hz, with dampers",
    "laminated rubber bearings at the column heads of the basement, tuned to 9 Hz",
    "WWWWWWWWWWWW WWWWWWWWWWWWWWWWWW WWWWWWWWWWWWWW WWWWWWWW WWWWWWWWW WWWWWW MMMMMMM",
    "steel springs and floating floors in every practice room and boxes in the hall",
)


def test_no_legend_is_cut_off(school):
    import matplotlib.style
    from matplotlib.figure import Figure

    mounts = [None, school.options[1].base, school.mount(natural_frequency=6.0, loss_factor=0.1)]
    options = [gb.Option(name=n, base=b) for n, b in zip(LONG, [*mounts, mounts[2]], strict=True)]
    study = school.with_options(options)
    result = evaluated(study)
    seen = 0
    for picture in figures.pictures(Facts(study=study, result=result)):
        with matplotlib.style.context(plot.style_path()):
            figure = Figure(figsize=picture.size, layout="constrained")
            picture.draw(figure)
            figure.draw_without_rendering()
        legends = [*figure.legends, *(a.get_legend() for a in figure.axes if a.get_legend())]
        for legend in legends:
            box = legend.get_window_extent()
            assert box.x0 >= -1, picture.slug
            assert box.x1 <= figure.bbox.width + 1, picture.slug
            # The file is as tall as what is drawn: a legend below the figure belongs to it.
            whole = figure.get_tightbbox().transformed(figure.dpi_scale_trans)
            assert box.y0 >= whole.y0 - 1, picture.slug
            seen += 1
    assert seen >= 10


# ---------------------------------------------------------------- single-degree-of-freedom theory


@pytest.mark.parametrize("name", ["music_school", "tower"])
def test_theory_is_exceeded_near_resonance_and_never_well_above(name, request):
    study, result = request.getfixturevalue(name)
    soil = [
        r.frequency for r in building_resonances(study, study.part()) if r.kind == "foundation-soil"
    ]
    for option in study.options:
        if option.base is None:
            continue
        mounts = [
            r.frequency
            for r in option_resonances(study, option, study.part())
            if r.kind == "mounts"
        ]
        here = result.sel(option=option.name)
        more = here["ideal_change"] - here["base_change"]
        assert float(more.max()) > 5  # so it bounds nothing there
        well_above = more["frequency"].values > 2 * max(*mounts, *soil)
        assert float(more.values[well_above].max()) < 0


def test_the_report_says_where_theory_is_exceeded(music_school):
    study, result = music_school
    captions = [p.caption for p in figures.pictures(Facts(study=study, result=result))]
    found = [c for c in captions if c.startswith("Base isolation of 'rubber 9 Hz'")]
    assert "single-degree-of-freedom theory " in found[0]
    assert ", exceeded by the prediction at" in found[0]
    assert not any("upper bound" in c for c in captions)


def test_nowhere_is_theory_called_a_bound(data_folder):
    root = data_folder.parent
    files = [root / "README.md", *(root / "notebooks").glob("*.ipynb")]
    files += [f for f in (root / "src").rglob("*") if f.suffix in (".py", ".html")]
    for file in files:
        for line in file.read_text(encoding="utf-8").splitlines():
            plain = line.lower()
            if "bound" in plain and "theory" not in plain:
                assert "ideal" not in plain, (file.name, line)
                assert "mass-spring" not in plain, (file.name, line)


def test_values_of_other_lengths_are_told_by_both_addresses(data_folder) -> None:
    at = "structure.foundation"
    three, four = (xr.DataArray(np.linspace(1900.0, 2000.0, n), dims="sample") for n in (3, 4))
    changes = {f"{at}.density_kg_m3": three, f"{at}.shear_wave_speed_m_s": four / 10}
    with pytest.raises(StudyError) as told:
        gb.read_study(data_folder / "music_school" / "study.toml", changes=changes)
    wanted = f"'{at}.density_kg_m3' has 3 along 'sample', and '{at}.shear_wave_speed_m_s' has 4"
    assert wanted in str(told.value)
