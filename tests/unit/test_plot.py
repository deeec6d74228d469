"""Figures: what is drawn, that names stay literal, nothing overlaps, nothing global changes."""

from __future__ import annotations

import itertools
import subprocess
import sys
import warnings

import matplotlib as mpl
import matplotlib.style
import numpy as np
import pytest
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

import groundborne as gb
from groundborne import bands, levels, plot
from groundborne._checks import LevelError, RatingError, StudyError
from groundborne.isolation import Bypassed, SurfaceIsolation, with_and_without
from groundborne.plot.floors import option_panels
from groundborne.plot.insertion_loss import base_groups
from groundborne.plot.stages import stage_levels
from groundborne.plot.style import literal, make_room, series
from groundborne.rating import nr_curve, octaves_from_thirds, sound_level, statistic
from groundborne.report.facts import Facts
from groundborne.report.figures import pictures

mpl.use("Agg")


def new():
    return Figure(figsize=(7.0, 4.0), layout="constrained").add_subplot()


@pytest.fixture(autouse=True)
def _closed():
    from matplotlib import pyplot as plt

    yield
    plt.close("all")


def pressure(values, low=50, high=80, **coords):
    f = bands.third_octaves(low, high)
    array = xr.DataArray(
        np.asarray(values, float), dims=(*coords, "frequency"),
        coords={**coords, "frequency": f.values},
    )  # fmt: skip
    return levels.stamp(
        array, quantity="sound pressure", reference="20 µPa", long_name="level",
        time_weighting="S max",
    )  # fmt: skip


def legend_of(ax):
    return [t.get_text() for t in ax.get_legend().get_texts()]


def line_of(ax, label):
    (line,) = [h for h in ax.get_lines() if h.get_label() == label]
    return line


# ---------------------------------------------------------------- spectrum


def test_spectrum_draws_every_row_of_hue(music_school):
    level = music_school.result["mean_level"].sel(room="R0.1")
    ax = plot.spectrum(level, hue="option", ax=new())
    names = level["option"].values.tolist()
    assert legend_of(ax) == names
    for name, line in zip(names, ax.get_lines(), strict=True):
        assert line.get_xdata().tolist() == level["frequency"].values.tolist()
        np.testing.assert_array_equal(line.get_ydata(), level.sel(option=name).values)
    assert ax.get_xscale() == "log"
    assert ax.get_ylabel() == "One-third-octave sound pressure level\nS max, dB re 20 µPa"


def test_band_labels_are_nominal_and_there_are_no_minor_ticks(music_school):
    level = music_school.result["mean_level"].sel(room="R0.1", option="no isolation")
    with matplotlib.style.context(plot.style_path()):
        ax = plot.spectrum(level, ax=new())
    shown = [t.get_text() for t in ax.get_xticklabels()]
    assert shown == [bands.label(f) for f in level["frequency"].values]
    assert ax.xaxis.get_minorticklocs().size == 0
    assert ax.get_legend() is None


def test_narrow_axes_label_octaves_only(music_school):
    level = music_school.result["mean_level"].sel(room="R0.1", option="no isolation")
    ax = Figure(figsize=(3.0, 2.5)).add_subplot()
    plot.spectrum(level, ax=ax)
    shown = [t.get_text() for t in ax.get_xticklabels() if t.get_text()]
    assert shown == ["8", "16", "31.5", "63", "125", "250"]
    assert len(ax.get_xticks()) == 18


def test_limit_draws_octave_sums_against_the_octave_curve():
    level = pressure([50.0, 50.0, 50.0, 40.0], high=100)
    ax = plot.spectrum(level, limit=25.0, ax=new())
    octaves = ax.get_lines()[0]
    assert octaves.get_xdata().tolist() == [63.0, 125.0]
    # Three equal thirds lie 10 lg 3 = 4.77 dB below their octave.
    np.testing.assert_allclose(octaves.get_ydata(), [54.7712, 40.0], atol=1e-4)
    curve = line_of(ax, "NR 25")
    np.testing.assert_array_equal(
        curve.get_ydata(), nr_curve(25.0).sel(frequency=[63.0, 125.0]).values
    )
    rings = line_of(ax, "octave lacks a third: lower bound")
    assert rings.get_xdata().tolist() == [125.0]
    assert ax.get_ylabel().startswith("Octave-band")
    assert ax.get_xlabel() == "Octave band, Hz"


def test_full_octaves_get_no_ring():
    ax = plot.spectrum(pressure([50.0, 50.0, 50.0]), limit=25.0, ax=new())
    assert legend_of(ax) == ["level", "NR 25"]


def test_spectrum_with_limit_equals_the_octaves_of_the_rating(music_school):
    level = music_school.result["mean_level"].sel(room="R0.2")
    ax = plot.spectrum(level, hue="option", limit=15.0, ax=new())
    octaves, _ = octaves_from_thirds(level)
    expected = octaves.sel(frequency=[31.5, 63.0, 125.0, 250.0])
    for name, line in zip(level["option"].values, ax.get_lines(), strict=False):
        np.testing.assert_array_equal(line.get_ydata(), expected.sel(option=name).values)


def test_spectrum_passes_line_properties_on():
    ax = plot.spectrum(pressure([50.0, 51.0, 52.0]), ax=new(), linewidth=3.5, color="red")
    assert ax.get_lines()[0].get_linewidth() == 3.5
    assert ax.get_lines()[0].get_color() == "red"


@pytest.mark.parametrize(
    ("level", "more", "error", "words"),
    [
        (xr.DataArray([1.0], coords={"frequency": [50.0]}), {}, LevelError, "not labelled"),
        (pressure([[50.0] * 3] * 2, room=["a", "b"]), {}, ValueError, "the dim 'room'"),
        (pressure([50.0] * 3), {"hue": "option"}, ValueError, "lack the dim 'option'"),
        (pressure([50.0, np.nan, 50.0]), {}, ValueError, "level is nan at frequency=63"),
        (pressure([50.0] * 3, low=8, high=12.5), {"limit": 25.0}, RatingError, "31.5"),
        (pressure([50.0] * 3), {"limit": np.inf}, ValueError, "must be finite"),
    ],
)
def test_spectrum_refuses(level, more, error, words):
    with pytest.raises(error, match=words):
        plot.spectrum(level, ax=new(), **more)


def test_octave_limit_refuses_a_velocity(music_school):
    level = music_school.result["source_level"].isel(passby=0, drop=True)
    with pytest.raises(LevelError, match="sound pressure is needed"):
        plot.spectrum(level, limit=20.0, ax=new())


# ---------------------------------------------------------------- passbys


def test_passbys_draws_all_and_both_statistics(music_school):
    source = music_school.result["source_level"]
    ax = plot.passbys(source, ax=new())
    lines = ax.get_lines()
    assert len(lines) == source.sizes["passby"] + 2
    np.testing.assert_array_equal(lines[3].get_ydata(), source.isel(passby=3).values)
    np.testing.assert_allclose(
        lines[-2].get_ydata(), statistic(source, "percentile", percentile=95.0).values
    )
    np.testing.assert_allclose(lines[-1].get_ydata(), levels.energy_mean(source, "passby").values)
    assert lines[-1].get_linewidth() > 3 * lines[0].get_linewidth()
    assert legend_of(ax) == ["36 passbys", "percentile 95 % of each band", "energy mean"]
    assert ax.get_ylabel() == "Velocity level\nS max, dB re 1 nm/s"


def test_passbys_draws_the_background_on_the_same_reference(music_school):
    source = music_school.result["source_level"]
    quiet = (source.isel(passby=[0, 1]) - 20.0).rename(passby="segment")
    quiet.attrs = dict(source.attrs)
    ax = plot.passbys(source, ax=new(), background=levels.convert(quiet, reference="50 nm/s"))
    expected = levels.energy_mean(quiet, "segment").values
    assert legend_of(ax)[1] == "background, energy mean"
    np.testing.assert_allclose(ax.get_lines()[-3].get_ydata(), expected, atol=1e-9)


def test_passbys_refuses_a_percentile_of_too_few(music_school):
    few = music_school.result["source_level"].isel(passby=slice(0, 5))
    with pytest.raises(RatingError, match="carry no 95th percentile"):
        plot.passbys(few, ax=new())
    assert len(plot.passbys(few, ax=new(), percentile=None).get_lines()) == 6


# ---------------------------------------------------------------- stages


def test_ladder_ends_at_the_sound_level_of_the_mean_spectrum(music_school):
    result = music_school.result
    ladder = stage_levels(result, room="R0.1")
    assert ladder["stage"].values.tolist() == ["source", *result["stage"].values.tolist()]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)  # of the bands above 250 Hz
        expected = sound_level(result["mean_level"].sel(room="R0.1"))
    np.testing.assert_allclose(ladder.isel(stage=-1).values, expected.values, atol=1e-9)


def test_stages_draws_the_options_asked_for(music_school):
    result = music_school.result
    pair = ["no isolation", "springs 4 Hz, boxes"]
    ax = plot.stages(result, room="R0.1", option=pair, ax=new())
    assert legend_of(ax) == pair
    ladder = stage_levels(result, room="R0.1")
    for name, line in zip(pair, ax.get_lines(), strict=True):
        np.testing.assert_allclose(line.get_xdata(), ladder.sel(option=name).values)
    rows = [t.get_text().replace("\n", " ") for t in ax.get_yticklabels()]
    assert rows[0] == "source"
    assert rows[-1] == "after radiation, in the room"
    low, high = ax.get_ylim()
    assert low > high  # source on top
    assert "re 1 nm/s" in ax.get_xlabel()
    assert "re 20 µPa" in ax.get_xlabel()
    texts = {t.get_text() for t in ax.texts}
    assert f"{float(ladder.sel(option=pair[1], stage='radiation')):.1f}" in texts


def test_stages_refuses_unknown_names(music_school):
    with pytest.raises(StudyError, match="room is 'R9'"):
        plot.stages(music_school.result, room="R9", ax=new())
    with pytest.raises(StudyError, match="Did you mean 'rubber 9 Hz'"):
        plot.stages(music_school.result, room="R0.1", option="rubber 9Hz", ax=new())


# ---------------------------------------------------------------- insertion loss


def test_insertion_loss_draws_each_base_once_with_its_theory(music_school):
    result = music_school.result
    ax = plot.insertion_loss(result, ax=new())
    assert base_groups(result) == [
        ["rubber 9 Hz", "rubber 9 Hz, boxed hall"],
        ["springs 4.5 Hz"],
        ["springs 4 Hz, floor and ceiling", "springs 4 Hz, boxes"],
    ]
    curves = [h for h in ax.get_lines() if len(h.get_xdata()) == 18]
    predicted, alone, ideal = curves[0::3], curves[1::3], curves[2::3]
    firsts = ["rubber 9 Hz", "springs 4.5 Hz", "springs 4 Hz, boxes"]
    for name, real, thin, bound in zip(firsts, predicted, alone, ideal, strict=True):
        np.testing.assert_array_equal(
            thin.get_ydata(), -result["base_change_without_bypass"].sel(option=name).values
        )
        np.testing.assert_array_equal(
            real.get_ydata(), -result["base_change"].sel(option=name).values
        )
        np.testing.assert_array_equal(
            bound.get_ydata(), -result["ideal_change"].sel(option=name).values
        )
        assert (real.get_linestyle(), bound.get_linestyle()) == ("-", "--")
        assert real.get_color() == bound.get_color()
    assert "single-degree-of-freedom theory" in legend_of(ax)
    assert not any("bound" in t for t in legend_of(ax))
    assert any("25 dB" in t and "Walker and Mathers 1989" in t for t in legend_of(ax))
    assert 25.0 in {float(h.get_ydata()[0]) for h in ax.get_lines() if len(h.get_ydata()) == 2}


def test_insertion_loss_of_arrays_by_hue():
    f = bands.third_octaves(50, 80).values
    loss = xr.DataArray(
        [[5.0, 6.0, 7.0], [8.0, 9.0, 10.0]], dims=("mount", "frequency"),
        coords={"mount": ["rubber", "steel"], "frequency": f},
    )  # fmt: skip
    ax = plot.insertion_loss(loss, hue="mount", ax=new())
    assert ax.get_lines()[1].get_ydata().tolist() == [8.0, 9.0, 10.0]
    assert legend_of(ax)[:3] == ["rubber", "steel", "predicted"]
    assert not any("upper bound" in t for t in legend_of(ax))


def test_insertion_loss_of_several_mounts_has_a_panel_for_each(music_school):
    """Three curves on each, with and without bypass and theory; none hides another."""
    result = music_school.result
    first = plot.insertion_loss(result)
    panels = first.figure.get_axes()
    assert first is panels[0]
    assert [" ".join(p.get_title().split()) for p in panels] == [
        "; ".join(names) for names in base_groups(result)
    ]
    for panel, names in zip(panels, base_groups(result), strict=True):
        curves = [h.get_ydata() for h in panel.get_lines() if len(h.get_xdata()) == 18]
        one = result.sel(option=names[0])
        wanted = ("base_change", "base_change_without_bypass", "ideal_change")
        assert len(curves) == len(wanted)
        for got, name in zip(curves, wanted, strict=True):
            np.testing.assert_array_equal(got, -one[name].values)
        assert panel.get_legend() is None
    (legend,) = first.figure.legends
    texts = [" ".join(t.get_text().split()) for t in legend.get_texts()]
    assert texts[:2] == ["predicted, with bypass", "predicted, without bypass"]
    assert "single-degree-of-freedom theory" in texts
    alone = plot.insertion_loss(result.sel(option=["no isolation", "springs 4.5 Hz"]))
    assert len(alone.figure.get_axes()) == 1


def test_insertion_loss_of_a_floor_with_and_without_what_limits_it():
    f = bands.third_octaves(16, 63)
    springs = SurfaceIsolation(natural_frequency=8.0, loss_factor=0.1, largest_loss=60.0)
    both = with_and_without(f, without=springs, bypassed=Bypassed(springs))
    ax = plot.insertion_loss(both, ax=new())
    thick, thin = (h for h in ax.get_lines() if len(h.get_xdata()) == f.size)
    assert thick.get_linewidth() > 2 * thin.get_linewidth()
    np.testing.assert_array_equal(thick.get_ydata(), both.sel(bypass="with bypass").values)
    np.testing.assert_array_equal(thin.get_ydata(), both.sel(bypass="without bypass").values)
    assert legend_of(ax)[:2] == ["predicted, with bypass", "predicted, without bypass"]
    many = xr.concat([both, both + 1.0], "room").assign_coords(room=["A", "B"])
    ax = plot.insertion_loss(many, hue="room", ax=new())
    assert len([h for h in ax.get_lines() if len(h.get_xdata()) == f.size]) == 4
    with pytest.raises(ValueError, match="bypass holds 'with bypass'; 'without bypass' and"):
        plot.insertion_loss(both.isel(bypass=[1]), ax=new())


def test_insertion_loss_refuses_what_it_cannot_draw(music_school):
    bare = music_school.result.sel(option=["no isolation", "rooms only"])
    with pytest.raises(ValueError, match="no option of the result isolates the base"):
        plot.insertion_loss(bare, ax=new())
    loss = xr.DataArray([5.0, 6.0], coords={"frequency": [50.0, 63.0]})
    with pytest.raises(ValueError, match="'frequency' differ: data has 50, 63; ideal has 63, 80"):
        plot.insertion_loss(loss, ideal=loss.assign_coords(frequency=[63.0, 80.0]), ax=new())


# ---------------------------------------------------------------- floors


def test_floors_draws_ratings_by_height_with_one_limit(tower):
    result = tower.result
    name = "LASmax, 95th percentile, night"
    ax = plot.floors(result, criterion=name, ax=new())
    rooms = result["room_group"] == "bedrooms"
    lines = [h for h in ax.get_lines() if len(h.get_xdata()) == 24 and h.get_linestyle() != "None"]
    assert len(lines) == result.sizes["option"]
    for option, line in zip(result["option"].values, lines, strict=True):
        expected = result["rating"].sel(option=option, criterion=name).values[rooms.values]
        np.testing.assert_array_equal(line.get_xdata(), expected)
        np.testing.assert_array_equal(line.get_ydata(), result["room_height"].values[rooms.values])
    assert "limit 35" in legend_of(ax)
    assert not any("isolation plane" in t for t in legend_of(ax))


def test_floors_shows_the_plane_and_breaks_lines_at_it(tower):
    ax = plot.floors(tower.result, criterion="LASmax, 95th percentile, day", ax=new())
    assert "isolation plane, between these floors" in legend_of(ax)
    plane = ax.get_lines()[-1].get_ydata()[0]
    assert 4.5 < plane < 9.0
    joined = [h for h in ax.get_lines() if len(h.get_xdata()) == 26]
    assert len(joined) == 6
    for line in joined:
        assert np.isnan(line.get_xdata()[1])  # the nursery below, then the gap


def test_floors_picks_the_room_with_the_least_margin(music_school):
    result = music_school.result
    name = "LASmax, 95th percentile"
    ax = plot.floors(result, criterion=name, ax=new())
    joined = [h for h in ax.get_lines() if len(h.get_xdata()) == 3]
    margin = result["margin"].sel(criterion=name)
    for option, line in zip(result["option"].values, joined, strict=True):
        for floor, value in zip("012", line.get_xdata(), strict=True):
            here = margin.sel(option=option)[(result["floor_of_room"] == floor).values]
            worst = here["room"].values[int(here.argmin("room"))]
            rating = result["rating"].sel(option=option, room=worst, criterion=name)
            assert value == max(float(rating), 10.0)  # nothing quieter is measured
    assert "limit of the rooms at this height" in legend_of(ax)


def test_floors_of_one_group(tower):
    ax = plot.floors(
        tower.result, criterion="LASmax, 95th percentile, day", group="living rooms", ax=new()
    )
    assert "limit 40" in legend_of(ax)
    assert not any("isolation plane" in t for t in legend_of(ax))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({}, "several criteria are there, name one"),
        ({"criterion": "NR"}, "known are 'LASmax, 95th percentile'"),
        ({"criterion": "NR, energy mean", "group": "halls"}, "group is 'halls'"),
    ],
)
def test_floors_refuses(music_school, more, words):
    with pytest.raises(StudyError, match=words):
        plot.floors(music_school.result, ax=new(), **more)


def test_a_group_without_the_criterion_is_told(tower):
    with pytest.raises(StudyError, match="applies to no room of the group 'nursery'"):
        plot.floors(
            tower.result, criterion="LASmax, 95th percentile, night", group="nursery", ax=new()
        )


def test_other_dims_are_refused_with_a_remedy(music_school):
    spread = music_school.result.expand_dims(draw=2)
    with pytest.raises(ValueError, match="dim 'draw'; select one of it, or reduce it"):
        plot.floors(spread, criterion="NR, energy mean", ax=new())


# ---------------------------------------------------------------- options


def test_options_draws_every_room_and_the_zero_line(music_school):
    result = music_school.result
    name = "NR, energy mean"
    ax = plot.margins(result, criterion=name, ax=new())
    groups = list(dict.fromkeys(result["room_group"].values.tolist()))
    bounds = [
        "any open marker: not shown", "at most: bands missing", "at least: too quiet to measure",
    ]  # fmt: skip
    assert legend_of(ax) == [*groups, *bounds]
    points = np.concatenate([h.get_xdata() for h in ax.get_lines() if h.get_marker() != "None"])
    # Nothing below NR 0 is drawn.
    to_zero = result["limit"].sel(criterion=name)
    expected = np.minimum(result["margin"].sel(criterion=name), to_zero)
    np.testing.assert_allclose(np.sort(points), np.sort(expected.values.ravel()))
    assert [0, 0] in [list(h.get_xdata()) for h in ax.get_lines()]
    low, high = ax.get_xlim()
    assert low < 0 < high
    assert ax.get_xlabel() == "not met  ←   Margin on NR, energy mean, NR   →  met"
    rows = [t.get_text().replace("\n", " ") for t in ax.get_yticklabels()]
    assert rows == result["option"].values.tolist()


def test_options_without_criterion_takes_the_least_margin_that_applies(tower):
    result = tower.result
    ax = plot.margins(result, ax=new())
    points = np.concatenate([h.get_xdata() for h in ax.get_lines() if h.get_marker() != "None"])
    least = result["margin"].where(result["applies"]).min("criterion")
    assert np.isfinite(points).all()
    np.testing.assert_allclose(np.sort(points), np.sort(least.values.ravel()))


# ---------------------------------------------------------------- what all share


def draw_all(result, room):
    """Every figure of a result, each on a figure of its own as the report makes them."""
    criteria = result["criterion"].values.tolist()
    pair = [result["option"].values[0], result["option"].values[-1]]
    level = result["mean_level"].sel(room=room)
    return {
        "passbys": plot.passbys(result["source_level"], ax=new()),
        "spectrum": plot.spectrum(level, hue="option", ax=new()),
        "octaves": plot.spectrum(level, hue="option", limit=20.0, ax=new()),
        "loss": plot.insertion_loss(result, ax=new()),
        "stages": plot.stages(result, room=room, ax=new()),
        "pair": plot.stages(result, room=room, option=pair, ax=new()),
        "least": plot.margins(result, ax=new()),
        **{f"floors {c}": plot.floors(result, criterion=c, ax=new()) for c in criteria},
        **{f"options {c}": plot.margins(result, criterion=c, ax=new()) for c in criteria},
    }


def texts_with_boxes(ax):
    renderer = ax.figure.canvas.get_renderer()
    artists = [ax.xaxis.label, ax.yaxis.label, *ax.texts]
    for axis in (ax.xaxis, ax.yaxis):
        low, high = sorted(axis.get_view_interval())
        # Ticks outside the view exist and are not drawn.
        artists += [t.label1 for t in axis.get_major_ticks() if low <= t.get_loc() <= high]
    found = [
        (a.get_text(), a.get_window_extent(renderer))
        for a in artists
        if a.get_text().strip() and a.get_visible()
    ]
    if ax.get_legend() is not None:
        found += [
            (t.get_text(), t.get_window_extent(renderer)) for t in ax.get_legend().get_texts()
        ]
    return found


@pytest.mark.parametrize(("study", "room"), [("music_school", "R0.1"), ("tower", "N1")])
def test_no_text_overlaps_or_is_clipped(request, study, room):
    result = request.getfixturevalue(study).result
    with matplotlib.style.context(plot.style_path()):
        for name, ax in draw_all(result, room).items():
            make_room(ax)
            canvas = FigureCanvasAgg(ax.figure)
            canvas.draw()
            boxes = texts_with_boxes(ax)
            assert len(boxes) > 5, name
            legend = ax.get_legend()
            if legend is not None:
                assert legend.get_window_extent().y1 <= ax.get_window_extent().y0, name
            page = ax.figure.bbox
            for text, box in boxes:
                inside = min(box.x0, box.y0) >= -1 and box.x1 <= page.x1 + 1
                assert inside, f"{name}: {text!r} is clipped"
                assert box.y1 <= page.y1 + 1, f"{name}: {text!r} is clipped"
            for (one, a), (other, b) in itertools.combinations(boxes, 2):
                wide = min(a.x1, b.x1) - max(a.x0, b.x0)
                tall = min(a.y1, b.y1) - max(a.y0, b.y0)
                # A pixel of shared box is spacing, not ink.
                assert wide < 1 or tall < 1, f"{name}: {one!r} overlaps {other!r}"


def test_series_differ_in_grey():
    looks = [series(n) for n in range(7)]
    pairs = {(str(s["linestyle"]), s["marker"]) for s in looks}
    assert len(pairs) == 7
    assert len({s["color"] for s in looks}) == 7


def test_text_of_the_user_is_drawn_as_it_stands():
    names = ["$x$", "a_1^2 $", r"$\frac{1}{0}$", "_hidden", "<b>bold</b>"]
    level = pressure([[50.0, 51.0, 52.0]] * 5, room=names)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        ax = plot.spectrum(level, hue="room", ax=new())
        FigureCanvasAgg(ax.figure).draw()
    texts = ax.get_legend().get_texts()
    assert len(texts) == 5
    for text, name in zip(texts, names, strict=True):
        drawn, is_math = text._preprocess_math(text.get_text())
        assert not is_math
        assert drawn.strip() == name


def test_long_and_unprintable_text_is_tamed():
    assert literal("a\x1b[2Jb\nc") == "a [2Jb c"
    long = literal("word " * 200, width=20, lines=2)
    assert long.count("\n") == 1
    assert long.endswith("…")
    assert literal("") == " "


def test_no_figure_touches_rc_params_or_shows(music_school, monkeypatch):
    from matplotlib import pyplot as plt

    monkeypatch.setattr(plt, "show", lambda *_, **__: pytest.fail("a figure was shown"))
    before = dict(mpl.rcParams)
    draw_all(music_school.result, "R0.1")
    assert dict(mpl.rcParams) == before


def test_default_is_a_new_constrained_figure(music_school):
    from matplotlib import pyplot as plt

    level = music_school.result["mean_level"].sel(room="R0.1")
    own = plt.figure().add_subplot()
    first = plot.spectrum(level, hue="option")
    second = plot.spectrum(level, hue="option")
    assert len({own.figure, first.figure, second.figure}) == 3
    assert not own.get_lines()
    assert first.figure.get_layout_engine() is not None
    assert first.figure.get_figheight() > 4.2  # the legend has room of its own


def test_drawing_on_given_axes_needs_no_window_system():
    code = (
        "import sys, groundborne as gb; assert 'matplotlib' not in sys.modules\n"
        "gb.plot.style_path(); gb.report\n"
        "assert 'matplotlib.pyplot' not in sys.modules, 'pyplot was loaded'\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_style_sheet_is_offered_and_valid():
    with matplotlib.style.context(plot.style_path()):
        assert mpl.rcParams["legend.frameon"] is False
    assert gb.plot.style_path().is_file()


def test_floors_of_some_options_keep_their_colours(music_school):
    result = music_school.result
    name, options = "LASmax, 95th percentile", result["option"].values.tolist()
    every, some = (
        plot.floors(result, criterion=name, option=which, ax=new())
        for which in (None, [options[0], options[5]])
    )
    drawn = [
        [h for h in ax.get_lines() if len(h.get_xdata()) == 3 and h.get_linestyle() != "None"]
        for ax in (every, some)
    ]
    assert [len(lines) for lines in drawn] == [len(options), 2]
    assert drawn[1][1].get_color() == drawn[0][5].get_color()
    np.testing.assert_array_equal(drawn[1][1].get_xdata(), drawn[0][5].get_xdata())
    with pytest.raises(StudyError, match="option is 'none of them'"):
        plot.floors(result, criterion=name, option="none of them", ax=new())


def test_figures_of_a_report_hold_four_options_in_a_panel(music_school):
    """The first in each, every other one once, and one legend with all of them."""
    study, result = music_school.study, music_school.result
    options = result["option"].values.tolist()
    facts = Facts(study=study, result=result)
    picture = next(p for p in pictures(facts) if p.section == "floors")
    figure = Figure(figsize=picture.size, layout="constrained")
    picture.draw(figure)
    assert len(figure.axes) == 3
    for ax in figure.axes:
        joined = [h for h in ax.get_lines() if len(h.get_xdata()) == 3]
        assert 2 <= len([h for h in joined if h.get_linestyle() not in ("None", "")]) <= 4
        assert ax.get_legend() is None
        assert ax.get_xlim() == figure.axes[0].get_xlim()
    (legend,) = figure.legends
    texts = [" ".join(t.get_text().split()) for t in legend.get_texts()]
    assert set(options) <= set(texts)
    assert len(texts) == len(set(texts))


def test_figures_beside_a_ladder_lie_on_no_line(music_school):
    result = music_school.result
    ax = plot.stages(result, room="R0.1", option=result["option"].values[[0, 2]].tolist(), ax=new())
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    boxes = [t.get_window_extent(renderer) for t in ax.texts]
    assert boxes
    for line in ax.get_lines():
        x, y = ax.transData.transform(line.get_xydata()).T
        at = np.linspace(0, x.size - 1, 4000)
        xs, ys = np.interp(at, np.arange(x.size), x), np.interp(at, np.arange(y.size), y)
        for box in boxes:
            inside = (xs > box.x0) & (xs < box.x1) & (ys > box.y0) & (ys < box.y1)
            assert not inside.any()


def test_no_option_at_all_has_no_panels() -> None:
    """Panels of an empty list are refused in a sentence."""
    with pytest.raises(StudyError, match="options is empty"):
        option_panels([])
