"""Figures of how sure a study is: what is drawn, and that nothing overlaps or is cut."""

from __future__ import annotations

import itertools

import matplotlib as mpl
import numpy as np
import pytest
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from groundborne import plot
from groundborne._checks import StudyError
from groundborne.study import efficient_set

mpl.use("Agg")

AT = {"option": ["none"], "room": ["R1"], "criterion": ["NR, mean", "LASmax, mean"]}


def new():
    return Figure(figsize=(7.0, 4.4), layout="constrained").add_subplot()


def boxes_of(ax):
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    return [t.get_window_extent(canvas.get_renderer()) for t in ax.texts]


def budget(sizes: list[float]) -> xr.Dataset:
    names = [f"source {n}" for n in range(len(sizes))]
    rows = xr.DataArray(
        np.array(sizes)[:, None, None, None] * [1.0, np.nan],
        dims=("source_of_error", *AT), coords={"source_of_error": names, **AT},
    )  # fmt: skip
    whole = np.sqrt((rows**2).sum("source_of_error", skipna=False))
    found = xr.Dataset({"budget": rows, "first_order": whole, "sampled": 1.1 * whole})
    return found.assign_coords(margin_unit=("criterion", ["NR", "dB"]))


def widths(ax) -> list[float]:
    return [p.get_width() / 2 for p in ax.patches]


def test_a_tornado_stands_on_its_largest_bar_and_others_share_one() -> None:
    sizes = [1.0, 8.0, 0.0, 3.0, 2.0, 0.5, 4.0, 0.4, 0.3]
    ax = plot.tornado(budget(sizes), option="none", room="R1", criterion="NR, mean", ax=new())
    whole = float(np.sqrt(np.sum(np.square(sizes))))
    others = float(np.sqrt(0.4**2 + 0.3**2))
    expected = [8.0, 4.0, 3.0, 2.0, 1.0, 0.5, others, whole, 1.1 * whole]
    assert widths(ax) == pytest.approx(expected)
    names = [t.get_text() for t in ax.get_yticklabels()]
    assert names[0] == "source 1"
    assert names[-3:] == ["2 others", "all, first order", "all, by samples"]
    assert "the rating, NR\n" in ax.get_xlabel()
    frame = ax.get_window_extent()
    for box in boxes_of(ax):
        assert frame.x0 < box.x0 < box.x1 < frame.x1
    assert all(p.get_hatch() for p in ax.patches[-2:])
    assert not any(p.get_hatch() for p in ax.patches[:-2])


def test_a_tornado_of_seven_needs_no_bar_for_others() -> None:
    ax = plot.tornado(
        budget([1.0, 2, 3, 4, 5, 6, 7]), option="none", room="R1", criterion="NR, mean", ax=new()
    )
    assert len(ax.patches) == 9
    assert not any("others" in t.get_text() for t in ax.get_yticklabels())


def test_a_tornado_of_nothing_is_refused() -> None:
    found = budget([1.0])
    with pytest.raises(StudyError, match="room 'R1' has no criterion 'LASmax, mean'"):
        plot.tornado(found, option="none", room="R1", criterion="LASmax, mean", ax=new())
    with pytest.raises(StudyError, match="option is 'springs'; known are 'none'"):
        plot.tornado(found, option="springs", room="R1", criterion="NR, mean", ax=new())


def needed(at_least: bool = False) -> xr.Dataset:
    by_band = xr.DataArray(
        [[[[0.0, 4.0, 9.0], [0.0, 0.0, 0.0]]]], dims=(*AT, "frequency"),
        coords={**AT, "frequency": [50.0, 63.0, 80.0]},
    )  # fmt: skip
    whole = by_band.max("frequency")
    found = xr.Dataset(
        {
            "needed_by_band": by_band,
            "needed": whole,
            "at_least": xr.full_like(whole, at_least, dtype=bool),
        },
        attrs={"probability_asked": 0.95},
    )
    return found.assign_coords(applies=(("room", "criterion"), [[True, True]]))


def test_needed_losses_are_drawn_on_bands_and_said_alike() -> None:
    ax = plot.needed_loss(needed(), option="none", room="R1", ax=new())
    assert [h.get_ydata().tolist() for h in ax.get_lines()] == [[0.0, 4.0, 9.0], [0.0] * 3]
    assert ax.get_xscale() == "log"
    assert [t.get_text() for t in ax.get_xticklabels()] == ["50", "63", "80"]
    assert ax.get_ylabel() == "Insertion loss needed, for 95 %, dB"
    texts = [t.get_text() for t in ax.get_legend().get_texts()]
    assert texts == [
        "NR, mean: alike in all bands 9.0 dB",
        "LASmax, mean: alike in all bands nothing",
    ]
    texts = plot.needed_loss(needed(at_least=True), option="none", room="R1", ax=new())
    assert "at least 0.0 dB" in texts.get_legend().get_texts()[1].get_text()


def test_losses_that_are_not_there_are_refused() -> None:
    with pytest.raises(StudyError, match="no losses by band"):
        plot.needed_loss(needed().drop_vars("needed_by_band"), option="none", room="R1", ax=new())
    none = needed().assign_coords(applies=(("room", "criterion"), [[False, False]]))
    with pytest.raises(StudyError, match="room 'R1' has no criterion"):
        plot.needed_loss(none, option="none", room="R1", ax=new())
    with pytest.raises(StudyError, match="room is 'R2'"):
        plot.needed_loss(needed(), option="none", room="R2", ax=new())


def options(count: int, seed: int = 3) -> xr.Dataset:
    generator = np.random.default_rng(seed)
    names = [f"option {n} with a box" for n in range(count)]
    share = generator.uniform(0, 1, count)
    sure = xr.Dataset(
        {
            "probability_all": ("option", share),
            "probability_all_error": ("option", np.full(count, 0.01)),
        },
        coords={"option": names},
    )
    cost = xr.DataArray(
        generator.uniform(0, 5, count), coords={"option": names}, attrs={"units": "units of money"}
    )
    return efficient_set(sure, {"cost": cost, "height": cost.copy(data=np.arange(count) / 10.0)})


def test_efficient_options_are_filled_and_names_lie_apart() -> None:
    found = options(9)
    ax = plot.efficient_options(found, ax=new())
    assert ax.get_xlabel() == "Cost, units of money"
    kept, others = (h for h in ax.get_lines() if h.get_marker() in ("o", "s"))
    assert len(kept.get_xdata()) == int(found["efficient"].sum())
    assert len(others.get_xdata()) == int((~found["efficient"]).sum())
    assert kept.get_markerfacecolor() != others.get_markerfacecolor() == "white"
    assert kept.get_marker() != others.get_marker()
    boxes = boxes_of(ax)
    assert len(boxes) == 9
    assert not any(a.overlaps(b) for a, b in itertools.combinations(boxes, 2))
    frame = ax.get_window_extent()
    assert all(frame.contains(b.x0, b.y0) and frame.contains(b.x1, b.y1) for b in boxes)
    other = plot.efficient_options(found, column="height", ax=new())
    assert other.get_xlabel() == "Height, units of money"


def test_options_on_one_point_are_named_in_one_text() -> None:
    found = options(3)
    found["probability_all"][:] = 0.5
    found["cost"][:] = 1.0
    ax = plot.efficient_options(found, ax=new())
    (text,) = [" ".join(t.get_text().split()) for t in ax.texts]
    assert text == ", ".join(found["option"].values.tolist())


def test_options_that_cannot_be_drawn_are_refused() -> None:
    with pytest.raises(StudyError, match="column is 'mass'; known are 'cost', 'height'"):
        plot.efficient_options(options(3), column="mass", ax=new())
    with pytest.raises(StudyError, match="this is no efficient set"):
        plot.efficient_options(xr.Dataset(), ax=new())
    crowded = options(40)
    crowded["probability_all"][:] = 0.5
    crowded["cost"][:] = 1.0
    with pytest.raises(StudyError, match="has no room beside those of the others"):
        plot.efficient_options(crowded, ax=new())
