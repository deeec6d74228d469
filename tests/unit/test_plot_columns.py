"""Plans of columns and staged movement: what is drawn, where, and that it can be read.

Movement is checked against closed forms of a pack locked at a share of its load (common practice),
to 1e-9 of a millimetre; numbers in a plan against the values they were given.
"""

from __future__ import annotations

import itertools
import warnings

import matplotlib as mpl
import matplotlib.style
import numpy as np
import pytest
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from groundborne import plot, sizing
from groundborne.isolation import LinearMount

mpl.use("Agg")

STAGES = ["frame to L8", "frame to L16", "topped out", "façade", "in use"]
GROWTH = xr.DataArray([0.3, 0.6, 0.85, 0.95, 1.0], coords={"stage": STAGES})
FINAL = xr.DataArray([3e6, 4e6, 2e6, 5e6], coords={"column": ["A1", "B1", "A2", "B2"]})
X = FINAL.copy(data=[0.0, 6.0, 0.0, 6.0])
Y = FINAL.copy(data=[0.0, 0.0, 7.0, 7.0])
FORCE = FINAL.assign_attrs(units="N")


@pytest.fixture(autouse=True)
def _closed():
    from matplotlib import pyplot as plt

    yield
    plt.close("all")


@pytest.fixture(scope="module")
def tower_loads(data_folder):
    return sizing.read_loads(data_folder / "tower" / "columns.csv", revision="P1")


@pytest.fixture(scope="module")
def tower_schedule(tower_loads, data_folder):
    """At most nine parts a pack, so that half of the columns cannot be met."""
    springs = sizing.read_components(data_folder / "components" / "springs.csv")
    rules = sizing.PackRules(natural_frequency=(3.4, 3.6), most=9)
    packs = sizing.choose_packs(sizing.combine(tower_loads), springs, rules=rules)
    return sizing.make_schedule(packs)


def new():
    return Figure(figsize=(7.0, 4.0), layout="constrained").add_subplot()


def test_a_lost_column_is_drawn_as_lost_and_no_minus_stands_before_a_zero():
    share = xr.DataArray(
        [[0.0, 0.7, 0.304, -0.0004]], dims=("lost", "column"), attrs={"units": "1"},
        coords={"lost": ["A1"], "column": ["A1", "B1", "A2", "B2"]},
    )  # fmt: skip
    ax = plot.columns(share.sel(lost="A1"), x=X, y=Y, label="Share", ax=new())
    assert [t for t in words(ax) if t not in FINAL["column"].values][:4] == [
        "lost", "0.700", "0.304", "0.000",
    ]  # fmt: skip


def words(ax):
    return [t.get_text() for t in ax.texts]


def legend_of(ax):
    return [t.get_text() for t in ax.get_legend().get_texts()]


def colour_bar(ax):
    (bar,) = [a for a in ax.figure.axes if a is not ax]
    return bar


def moved(share=0.8, lock="both ways", released="façade", columns=FINAL, **more):
    mount = LinearMount(stiffness=FINAL / 30e-3)
    pack = sizing.LockedPack.at_share(mount=mount, load=columns, share=share, lock=lock)
    return sizing.stage_movement(pack, GROWTH * FINAL, released_after=released, **more)


# ---------------------------------------------------------------- columns


def test_each_column_stands_at_its_place_with_its_number():
    ax = plot.columns(FORCE, x=X[::-1], y=Y, label="Load", ax=new())
    (points,) = ax.collections
    np.testing.assert_array_equal(points.get_offsets(), np.stack([X, Y], axis=-1))
    np.testing.assert_allclose(points.get_array(), FINAL / 1e3)
    at = {t.get_text(): tuple(t.xy) for t in ax.texts}
    assert at["5000"] == at["B2"] == (6.0, 7.0)
    assert at["3000"] == at["A1"] == (0.0, 0.0)
    assert colour_bar(ax).get_ylabel() == "Load, kN"
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("x, m", "y, m")
    assert ax.get_aspect() == 1.0
    assert ax.get_legend() is None


def test_more_is_larger_and_darker():
    ax = plot.columns(FORCE, x=X, y=Y, ax=new())
    FigureCanvasAgg(ax.figure).draw()
    (points,) = ax.collections
    order = np.argsort(FINAL.values)
    grey = points.get_facecolors()[order, :3] @ [0.299, 0.587, 0.114]
    assert (np.diff(points.get_sizes()[order]) > 0).all()
    assert (np.diff(grey) < -0.1).all()


@pytest.mark.parametrize("name", ["load", "deflection", "natural_frequency", "number"])
def test_schedule_gives_numbers_and_failures(tower_loads, tower_schedule, name):
    place = tower_loads.data
    ax = plot.columns(tower_schedule, x=place["x"], y=place["y"], quantity=name, ax=new())
    data = tower_schedule.data
    scale = {"load": 1e-3, "deflection": 1e3}.get(name, 1.0)
    round_, cross = ax.collections
    np.testing.assert_allclose(round_.get_array(), data[name][data["met"].values] * scale)
    np.testing.assert_allclose(cross.get_array(), data[name][~data["met"].values] * scale)
    assert round_.get_paths()[0].vertices.shape != cross.get_paths()[0].vertices.shape
    failing = data["column"].values[~data["met"].values].tolist()
    framed = [t.get_text() for t in ax.texts if t.get_bbox_patch() is not None]
    assert framed == failing
    assert len(failing) > 10
    assert f"cannot be met, {len(failing)} of 60: {failing[0]}, " in legend_of(ax)[0]
    numbers = [float(t) for t in words(ax) if t.replace(".", "").isdigit()]
    assert len(numbers) == 60
    np.testing.assert_allclose(numbers, data[name] * scale, rtol=5e-3)


@pytest.mark.parametrize("failing", [True, False])
def test_sixty_columns_read_at_the_width_of_a_page(tower_loads, tower_schedule, failing):
    place = tower_loads.data
    with matplotlib.style.context(plot.style_path()):
        ax = plot.columns(tower_schedule, x=place["x"], y=place["y"], quantity="deflection",
                          failing=None if failing else place["x"] > 1e9)  # fmt: skip
        figure = ax.figure
        assert figure.get_figwidth() <= 7.01
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        renderer = canvas.get_renderer()
    texts = [*ax.texts, ax.xaxis.label, ax.yaxis.label, colour_bar(ax).yaxis.label]
    texts += ax.get_legend().get_texts() if failing else []
    assert len(texts) >= 123
    assert min(t.get_fontsize() for t in ax.texts) >= 5.0
    boxes = [(t.get_text(), t.get_window_extent(renderer)) for t in texts]
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        tall = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert wide < 0.5 or tall < 0.5, f"{one!r} overlaps {other!r}"
    for text, box in boxes:
        assert box.x0 >= -1, text
        assert box.x1 <= figure.bbox.x1, text
        assert box.y0 >= -1, text
        assert box.y1 <= figure.bbox.y1, text


def test_numbers_beyond_the_limits_are_written_and_told():
    ax = plot.columns(FORCE, x=X, y=Y, limits=(2.5e6, 4.5e6), ax=new())
    assert {"2000", "5000"} <= set(words(ax))
    (points,) = ax.collections
    assert points.get_clim() == (2500.0, 4500.0)
    assert points.colorbar.extend == "both"
    inside = plot.columns(FORCE, x=X, y=Y, limits=(2e6, 5e6), ax=new())
    assert inside.collections[0].colorbar.extend == "neither"


def test_equal_numbers_and_a_single_column_are_drawn():
    ax = plot.columns(FORCE * 0 + FORCE.copy(data=[1e6] * 4), x=X, y=Y, ax=new())
    assert words(ax).count("1000") == 4
    low, high = ax.collections[0].get_clim()
    assert low < 1000 < high
    one = plot.columns(FORCE[:1], x=X, y=Y)
    assert "3000" in words(one)
    FigureCanvasAgg(one.figure).draw()


def test_small_differences_are_told_apart():
    near = xr.DataArray([19.84e-3, 19.89e-3, 19.92e-3, 19.94e-3], coords=FINAL.coords)
    ax = plot.columns(near.assign_attrs(units="m"), x=X, y=Y, ax=new())
    assert {"19.84", "19.89", "19.92", "19.94"} <= set(words(ax))


def test_names_of_columns_stay_literal():
    names = ["$x$", "a_1^2 $", "<b>", "_u"]
    load, x, y = (v.assign_coords(column=names) for v in (FORCE, X, Y))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        ax = plot.columns(load, x=x, y=y, label="$q$", failing=load > 1.0, ax=new())
        FigureCanvasAgg(ax.figure).draw()
    drawn = [t._preprocess_math(t.get_text()) for t in [*ax.texts, *ax.get_legend().get_texts()]]
    assert not any(is_math for _, is_math in drawn)
    assert set(names) <= {text.strip() for text, _ in drawn}
    said = [" ".join(text.split()) for text in legend_of(ax)]  # long names are wrapped
    assert said == [r"cannot be met, 4 of 4: \$x\$, a_1^2 \$, <b>, _u"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"values": FINAL}, "do not tell their units"),
        ({"values": FORCE.drop_vars("column")}, "dim 'column' without names"),
        ({"values": 3.0}, "values is 3.0; a DataArray"),
        ({"values": FORCE * GROWTH}, "have the dim 'stage'"),
        ({"values": FORCE.where(FORCE > 2.5e6)}, "values is nan at column=A2"),
        ({"values": FORCE.copy(data=[1.0, 2.0, np.inf, 4.0])}, "must be finite"),
        ({"x": X[:3]}, "x lacks B2"),
        ({"x": X.copy(data=[0.0, np.nan, 1.0, 2.0])}, "x is nan at column=B1"),
        ({"limits": (2.0, 1.0)}, "limits are 2 and 1; they must ascend"),
        ({"limits": (np.nan, 1.0)}, "limits is nan"),
        ({"failing": FORCE}, "must hold true and false"),
        ({"failing": (FORCE > 1.0)[:2]}, "failing has 'A1', 'B1'; in one of them only: 'A2', 'B2'"),
        ({"quantity": "load"}, "quantity belongs to a schedule"),
    ],
)
def test_plan_refuses(change, message):
    with pytest.raises(ValueError, match=message):
        plot.columns(**{"values": FORCE, "x": X, "y": Y, "ax": new(), **change})


def test_unknown_quantity_of_a_schedule_is_named(tower_loads, tower_schedule):
    place = tower_loads.data
    for name in ("loads", None, "pack", "met", "residual_travel"):
        with pytest.raises(ValueError, match=f"quantity is {name!r}; known are .*'load'"):
            plot.columns(tower_schedule, x=place["x"], y=place["y"], quantity=name, ax=new())


# ---------------------------------------------------------------- settlement


def test_release_is_a_step_and_creep_comes_last():
    """Locked at 0.8 of 30 mm and released at 0.95: 4.5 mm at once, 6 mm in the end."""
    result = moved(creep_per_decade=0.03)
    ax = plot.settlement(result, limit=15e-3, ax=new())
    median = ax.get_lines()[0]
    np.testing.assert_array_equal(median.get_xdata(), [0, 1, 2, 3, 3, 4])
    np.testing.assert_allclose(median.get_ydata(), [0, 0, 0, 0, 4.5, 6.0], atol=1e-9)
    creeping = ax.get_lines()[2]
    assert creeping.get_xdata().tolist() == [4, 5]
    lasting = 6.0 + 30.0 * 0.03 * np.log10(50 * 365.25 * 24 * 60)
    np.testing.assert_allclose(creeping.get_ydata(), [6.0, lasting], rtol=1e-9)
    labels = [t.get_text().replace("\n", " ") for t in ax.get_xticklabels()]
    assert labels == [*STAGES, "with creep in 50 years"]
    assert "limit 15 mm" in legend_of(ax)
    assert "4 of 4\ncome free" in words(ax)
    bottom, top = ax.get_ylim()
    assert bottom > 15 > 0 > top
    assert ax.get_ylabel() == "Movement since locking, mm (downwards)"


def test_band_spans_least_to_most_and_names_them():
    share = FINAL.copy(data=[0.9, 0.85, 0.8, 0.7])
    result = moved(share)
    ax = plot.settlement(result, ax=new())
    band = ax.collections[0].get_paths()[0].vertices
    at_release = band[np.isclose(band[:, 0], 3.0), 1]
    np.testing.assert_allclose([at_release.min(), at_release.max()], [0.0, 7.5], atol=1e-9)
    in_use = band[np.isclose(band[:, 0], 4.0), 1]
    np.testing.assert_allclose([in_use.min(), in_use.max()], [3.0, 9.0], atol=1e-9)
    assert {"A1: 3.0 mm", "B2: 9.0 mm"} <= set(words(ax))


def test_packs_that_give_way_by_themselves_are_counted_at_their_stage():
    share = FINAL.copy(data=[0.9, 0.9, 0.5, 0.7])
    ax = plot.settlement(moved(share, "one way", None), ax=new())
    counts = {t.xy[0]: t.get_text() for t in ax.texts if "come free" in t.get_text()}
    assert counts == {1: "1 of 4\ncome free", 2: "1 of 4\ncome free", 3: "2 of 4\ncome free"}
    assert ax.get_lines()[0].get_xdata().tolist() == [0, 1, 2, 3, 4]
    assert legend_of(ax)[-1] == "packs come free at this stage"


def test_columns_released_at_different_stages_keep_their_own_step():
    when = FINAL.copy(data=np.array(["façade", "façade", "in use", "in use"]))
    result = moved(0.8, released=when)
    ax = plot.settlement(result, ax=new())
    median = ax.get_lines()[0]
    np.testing.assert_array_equal(median.get_xdata(), [0, 1, 2, 3, 3, 4, 4])
    # Medians of two and two: halfway between 0 and 4.5, then between 0 and 6.
    expected = [0, 0, 0, 0, 2.25, 3.0, 6.0]
    np.testing.assert_allclose(median.get_ydata(), expected, atol=1e-9)


def test_packs_that_stay_locked_draw_no_release():
    ax = plot.settlement(moved(released=None), ax=new())
    assert not any("free" in t for t in [*words(ax), *legend_of(ax)])
    assert "all: 0.0 mm" in words(ax)


@pytest.mark.parametrize("count", [2, 5, 9])
def test_words_of_staged_movement_do_not_overlap(count):
    stages = [f"frame to level L{8 * n}, $x$" for n in range(1, count + 1)]
    growth = xr.DataArray(np.linspace(0.2, 1.0, count), coords={"stage": stages})
    mount = LinearMount(stiffness=FINAL / 30e-3)
    share = FINAL.copy(data=[0.6, 0.7, 0.8, 0.9])
    pack = sizing.LockedPack.at_share(mount=mount, load=FINAL, share=share, lock="both ways")
    result = sizing.stage_movement(pack, growth * FINAL, released_after=stages[-1])
    with matplotlib.style.context(plot.style_path()):
        ax = plot.settlement(result, limit=20e-3)
        canvas = FigureCanvasAgg(ax.figure)
        canvas.draw()
        renderer = canvas.get_renderer()
    texts = [*ax.texts, *ax.get_xticklabels(), *ax.get_legend().get_texts()]
    boxes = [(t.get_text(), t.get_window_extent(renderer)) for t in texts]
    # The label of the axis has blank lines; its words are its first line.
    label = ax.xaxis.label.get_window_extent(renderer)
    lines = ax.get_xlabel().count("\n") + 1
    label.y0 = label.y1 - label.height / lines
    boxes.append(("label", label))
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        tall = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert wide < 1 or tall < 1, f"{one!r} overlaps {other!r}"
    for text, box in boxes:
        assert min(box.x0, box.y0) >= 0, text
        assert box.x1 <= ax.figure.bbox.x1, text
    assert not any(t._preprocess_math(t.get_text())[1] for t in texts)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: plot.settlement(moved().drop_vars("creep"), ax=new()), "'creep' is not there"),
        (lambda: plot.settlement(moved(), limit=0.0, ax=new()), "limit is 0; it must be above 0"),
        (
            lambda: plot.settlement(
                moved(
                    creep_per_decade=xr.DataArray([0.02, 0.05], coords={"option": ["low", "high"]})
                ),
                ax=new(),
            ),
            "have the dim 'option'; select one",
        ),
        (
            lambda: plot.settlement(
                moved().assign(movement=lambda d: d["movement"].where(d["free"])), ax=new()
            ),
            "is nan at stage=",
        ),
    ],
)
def test_staged_movement_refuses(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_neither_touches_rc_params():
    before = dict(mpl.rcParams)
    plot.columns(FORCE, x=X, y=Y)
    plot.settlement(moved())
    assert dict(mpl.rcParams) == before
