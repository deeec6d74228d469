"""Section and plan of rooms: what is drawn is what the result says, and fits where it is drawn."""

from __future__ import annotations

import itertools
import shutil
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
import xarray as xr
from matplotlib import colors, pyplot as plt
from matplotlib.patches import Rectangle

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.plot import plot_room_plan, plot_section
from groundborne.plot.room_cells import _LOOKS
from groundborne.plot.style import both_ends
from groundborne.plot.track_lines import track_distance, track_line
from groundborne.rating.answers import worst_answer
from groundborne.study.details import Site
from quiet_studies import evaluated, read

LINES = Path(__file__).parents[1] / "fuzz" / "small" / "lines"
STUDIES = ["music_school", "tower", "assembly_hall"]
MOUNTED = {
    "music_school": "springs 4.5 Hz",
    "tower": "springs 4 Hz",
    "assembly_hall": "annexe on springs",
}


@pytest.fixture(autouse=True)
def closed():
    """No window system, and figures closed."""
    mpl.use("Agg")
    yield
    plt.close("all")


def rooms_in(ax):
    """Rectangles of rooms by label, without the frames of measures."""
    return {p.get_gid(): p for p in ax.patches if isinstance(p, Rectangle) and p.get_gid() and
            p.get_gid() != "track"}  # fmt: skip


def lines_in(ax, name):
    return [line for line in ax.lines if line.get_gid() == name]


def boxes(ax):
    """Ends of all texts inside the axes [px]."""
    figure = ax.figure
    figure.draw_without_rendering()
    return [(t.get_text(), t.get_window_extent()) for t in ax.texts if t.get_text()]


def assert_within_paper(ax):
    figure = ax.figure
    figure.draw_without_rendering()
    tight = figure.get_tightbbox()
    wide, tall = figure.get_size_inches()
    assert tight.x0 > -0.02
    assert tight.y0 > -0.02
    assert tight.x1 < wide + 0.02
    assert tight.y1 < tall + 0.02


def assert_texts_apart(ax):
    for (one, a), (other, b) in itertools.combinations(boxes(ax), 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        up = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across < 1.0 or up < 1.0, (one, other)


@pytest.mark.parametrize("name", STUDIES)
def test_every_room_is_a_cell_with_its_answer_between_its_floors(name, request):
    study, result = request.getfixturevalue(name)
    height = study.building.floors["height"].to_series()
    for option in (study.options[0].name, MOUNTED[name]):
        ax = plot_section(study, result, option=option)
        cells = rooms_in(ax)
        assert sorted(cells) == sorted(study.rooms)
        answers = worst_answer(result["answer"].sel(option=option), "criterion").to_series()
        for room, cell in cells.items():
            look = _LOOKS[answers[room]]
            assert colors.to_hex(cell.get_facecolor()).upper() == look["facecolor"]
            assert cell.get_hatch() == look["hatch"]
            low, high = (
                height[str(study.building.rooms[n].sel(room=room).values)]
                for n in ("floor_of_room", "ceiling_floor")
            )
            assert low < cell.get_y() < cell.get_y() + cell.get_height() < high
        for one, other in itertools.combinations(cells.values(), 2):
            a, b = one.get_bbox(), other.get_bbox()
            across = min(a.x1, b.x1) - max(a.x0, b.x0)
            up = min(a.y1, b.y1) - max(a.y0, b.y0)
            assert across < 1e-6 or up < 1e-6  # rooms do not cover each other
        assert_within_paper(ax)
        assert_texts_apart(ax)
        assert "Invented" in ax.get_xlabel()
        assert "schematic, not to scale" in ax.get_xlabel()


@pytest.mark.parametrize("name", STUDIES)
def test_the_plane_is_bold_where_the_option_has_mounts(name, request):
    study, result = request.getfixturevalue(name)
    ax = plot_section(study, result, option=study.options[0].name)
    assert not lines_in(ax, "isolation plane")
    assert len(lines_in(ax, "plane without mounts")) == 1
    ax = plot_section(study, result, option=MOUNTED[name])
    (line,) = lines_in(ax, "isolation plane")
    assert line.get_linewidth() > 2
    assert not lines_in(ax, "plane without mounts")
    (plane,) = [part.plane for part in study.parts if part.plane is not None]
    under = float(study.building.floors["height"].sel(floor=plane.floor))
    assert line.get_ydata()[0] < under


def test_numbers_are_probabilities_or_the_smallest_margin(music_school):
    study, result = music_school
    option = "rooms only"
    words = [t.get_text() for t in plot_section(study, result, option=option).texts]
    margin = result["margin"].where(result["applies"], np.inf).sel(option=option, room="R2.1")
    smallest = np.floor(10 * float(margin.min()) + 1e-9) / 10
    (text,) = [w for w in words if w.startswith("R2.1")]
    assert text.endswith(f"{smallest:+.1f}".replace("-", "−"))
    share = xr.full_like(result["margin"].isel(criterion=0, drop=True), 0.456)
    share = xr.where(share["room"] == "R2.1", 0.0004, share).transpose("option", "room")
    sure = result.assign(probability_room=share)
    ax = plot_section(study, sure, option=option)
    words = [t.get_text() for t in ax.texts]
    shown = worst_answer(result["answer"].sel(option=option), "criterion").to_series()
    assert any(w in ("R2.1\n< 1 %", "R2.1  < 1 %") for w in words) == (shown["R2.1"] != "not shown")
    assert "probability that a room meets all its criteria" in ax.get_xlabel()


def test_what_cannot_be_shown_has_no_number(music_school):
    study, result = music_school
    option = study.options[1].name
    answer = xr.full_like(result["answer"], "not shown").where(result["applies"], "")
    ax = plot_section(study, result.assign(answer=answer), option=option)
    words = {t.get_text() for t in ax.texts}
    assert set(study.rooms) <= words


def test_rooms_with_measures_have_a_second_frame(music_school):
    study, result = music_school
    ax = plot_section(study, result, option="rooms only")
    frames = [p for p in ax.patches if not p.get_gid() and p.get_linewidth() == 1.6]
    treated = {r for o in study.options if o.name == "rooms only" for m in o.measures
               for r in m.rooms}  # fmt: skip
    assert len(frames) == len(treated)


@pytest.mark.parametrize("name", STUDIES)
def test_the_track_stands_at_its_level_with_its_distance(name, request):
    study, result = request.getfixturevalue(name)
    wanted = {"music_school": (9.0, -7.2), "tower": (18.0, 0.6), "assembly_hall": (6.0, 1.1)}[name]
    assert track_distance(study) == pytest.approx(wanted[0], abs=0.51)  # rooms may stand before
    ax = plot_section(study, result, option=study.options[0].name)
    (track,) = [p for p in ax.patches if p.get_gid() == "track"]
    low, high = ax.get_ylim()
    assert track.get_y() == pytest.approx(wanted[1], abs=0.03 * (high - low))
    assert any(t.get_text() == f"{track_distance(study):.3g} m" for t in ax.texts)
    assert any("rails at" in t.get_text() for t in ax.texts)


def test_the_line_of_the_track_follows_from_its_side(music_school):
    study, _ = music_school
    columns = study.building.columns
    low, high = float(columns["x"].min()), float(columns["x"].max())
    for side, offset, axis, value in (
        ("x-", 5.0, 0, low - 5.0), ("x+", 5.0, 0, high + 5.0),
        ("y-", 5.0, 1, float(columns["y"].min()) - 5.0),
        ("y+", 5.0, 1, float(columns["y"].max()) + 5.0),
        ("below along y", -2.0, 0, (low + high) / 2 - 2.0),
        ("below along x", 0.0, 1, float(columns["y"].min() + columns["y"].max()) / 2),
    ):  # fmt: skip
        here = gb.study.Study(**{**vars(study), "site": Site(track_side=side, track_offset=offset)})
        line = track_line(here)
        np.testing.assert_allclose(line[:, axis], value)
        assert np.ptp(line[:, 1 - axis]) > 100
        assert track_distance(here) == (0.0 if side.startswith("below") else 5.0)
    nowhere = gb.study.Study(**{**vars(study), "site": Site()})
    assert track_line(nowhere) is None
    assert track_distance(nowhere) is None


def test_a_track_below_stands_under_the_foundation(music_school):
    study, result = music_school
    site = Site(track_side="below along x", track_offset=2.0, rail_level=-60.0)
    below = gb.study.Study(**{**vars(study), "site": site})
    ax = plot_section(below, result, option="no isolation")
    (track,) = [p for p in ax.patches if p.get_gid() == "track"]
    assert track.get_y() < 0
    assert any("(not to scale)" in t.get_text() for t in ax.texts)
    left = min(p.get_x() for p in rooms_in(ax).values())
    assert track.get_x() > left
    nowhere = gb.study.Study(**{**vars(study), "site": Site()})
    ax = plot_section(nowhere, result, option="no isolation")
    assert not [p for p in ax.patches if p.get_gid() == "track"]


# The plan


def test_the_plan_has_the_rooms_of_its_floor_where_they_are(assembly_hall):
    study, result = assembly_hall
    ax = plot_room_plan(study, result, option="annexe on springs", floor=["upper", "A upper"])
    cells, rooms = rooms_in(ax), study.building.rooms
    assert sorted(cells) == ["H1.1", "H1.2", "H1.3", "N1.1", "N1.2"]
    answers = worst_answer(result["answer"].sel(option="annexe on springs"), "criterion")
    for room, cell in cells.items():
        here = rooms.sel(room=room)
        assert cell.get_x() + cell.get_width() / 2 == pytest.approx(float(here["x"]))
        assert cell.get_height() == pytest.approx(float(here["width"]))
        look = _LOOKS[str(answers.sel(room=room).values)]
        assert colors.to_hex(cell.get_facecolor()).upper() == look["facecolor"]
    rings = [xy for line in lines_in(ax, "mounts") for xy in line.get_xydata().tolist()]
    of_annexe = study.part("annexe").loads.data
    assert sorted(rings) == sorted(np.stack([of_annexe["x"], of_annexe["y"]], axis=-1).tolist())
    assert lines_in(ax, "track")
    assert not any("not to scale" in t.get_text() for t in ax.texts)
    assert_within_paper(ax)
    ax = plot_room_plan(study, result, option=study.options[0].name, floor="upper")
    assert not lines_in(ax, "mounts")


@pytest.mark.parametrize(("name", "floor", "count"), [("music_school", "1", 8), ("tower", "2", 2)])
def test_rooms_without_places_stand_beside_the_columns(name, floor, count, request):
    study, result = request.getfixturevalue(name)
    ax = plot_room_plan(study, result, option=MOUNTED[name], floor=floor)
    cells = rooms_in(ax)
    assert len(cells) == count
    right = float(study.building.columns["x"].max())
    assert min(cell.get_x() for cell in cells.values()) > right
    assert any("schematic, not to scale" in t.get_text() for t in ax.texts)
    assert all(tick <= right + 0.1 * (right + 50) for tick in ax.get_xticks())
    assert_within_paper(ax)
    assert_texts_apart(ax)


# What is refused


def test_what_is_not_there_is_refused(music_school, tower):
    study, result = music_school
    with pytest.raises(StudyError, match=r"plot_section: option is 'springs'; known are"):
        plot_section(study, result, option="springs")
    with pytest.raises(StudyError, match=r"plot_section: the result holds nothing of room 'R0\.1'"):
        plot_section(study, tower.result, option="no isolation")
    with pytest.raises(StudyError, match="option is 'rubber 7 Hz'"):  # of another study
        plot_section(study, tower.result, option="rubber 7 Hz")
    with pytest.raises(StudyError, match=r"plot_room_plan: floor is '9'; known are"):
        plot_room_plan(study, result, option="no isolation", floor="9")
    with pytest.raises(StudyError, match="there is no room on floor '3'"):
        plot_room_plan(study, result, option="no isolation", floor="3")
    with pytest.raises(ValueError, match="have the dim 'sample'"):
        plot_section(study, result.expand_dims(sample=2), option="no isolation")


# Names, numbers of rooms


LONG = "Practice room of the second brass ensemble beside the stage "


@pytest.mark.parametrize("case", ["one", "long", "many", "one floor"])
def test_it_fits_with_one_room_with_many_and_with_long_names(tmp_path, case):
    folder = tmp_path / case
    shutil.copytree(LINES, folder)
    count = {"one": 1, "long": 9, "many": 300, "one floor": 300}[case]
    rows = []
    for at in range(count):
        floor = 0 if case in ("one", "one floor") else at % 2
        name = f"{LONG[:56]} {at:03d}" if case == "long" else f"R{at:03d}"
        rows.append(f"{name},{name},{floor},{floor + 1},5.6,4.8,3.2,0.4,office")
    header = "room,name,floor,ceiling_floor,length_m,width_m,height_m,rt_s,criteria"
    (folder / "rooms.csv").write_text("\n".join([header, *rows]), encoding="utf-8")
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text[: text.index("\n[[options.rooms]]")]  # no measures in rooms
    name = "rubber of the first kind, with everything said that could be said of it, twice over, "
    name += "and once more for whoever did not read it the first time"
    text = text.replace('name = "rubber and floors"', f'name = "{name}"')
    (folder / "study.toml").write_text(text, encoding="utf-8")
    study = read(folder / "study.toml")
    result = evaluated(study)
    for ax in (
        plot_section(study, result, option=name),
        plot_section(study, result, option="no isolation"),
        plot_room_plan(study, result, option=name, floor="0"),
    ):
        drawn = rooms_in(ax)
        assert len(drawn) == (count if "Floor:" not in ax.get_title("left") else
                              sum(f",{0},1," in row for row in rows))  # fmt: skip
        assert_within_paper(ax)
        assert_texts_apart(ax)
        sizes = {t.get_fontsize() for t in ax.texts if t.get_text()}
        assert min(sizes) >= 6.5
        if case == "long":  # names differ where they are cut
            cut = [
                t.get_text().split("\n")[0] for t in ax.texts if t.get_text().startswith("Pract")
            ]
            assert len(cut) == len(drawn)
            assert len(set(cut)) == len(cut)


def test_a_cut_name_keeps_both_ends():
    assert both_ends("short", 8) == "short"
    cut = both_ends("Practice room of the brass players 12", 15)
    assert len(cut) <= 15
    assert cut.startswith("Pract")
    assert cut.endswith("12")


# Colours


def luminance(colour):
    """Of WCAG 2.1, from sRGB."""
    parts = np.array(colors.to_rgb(colour))
    linear = np.where(parts <= 0.03928, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


def test_text_has_contrast_on_every_fill_and_answers_differ_without_colour():
    """WCAG 2.1, 1.4.3: 4.5:1 for text. Answers of like lightness differ in their hatches."""
    for look in _LOOKS.values():
        assert (luminance(look["facecolor"]) + 0.05) / 0.05 > 4.5
    looks = list(_LOOKS.values())[:4]
    for one, other in itertools.combinations(looks, 2):
        assert one["hatch"] != other["hatch"]
