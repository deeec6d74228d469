"""Figures of commissioning: what is drawn, what is only a limit, what is refused."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
import pytest
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from groundborne import plot
from groundborne.bands import third_octaves
from groundborne.commissioning import MountsModel, Parameter, fit_transfer

mpl.use("Agg")
BANDS = third_octaves(16, 250)
AT = {"room": ["R1"], "frequency": BANDS.values}
HIDDEN = BANDS < 25


def new():
    return Figure(figsize=(6.6, 4.4), layout="constrained").add_subplot()


def row(value: float) -> xr.DataArray:
    level = value - 20 * abs(np.log10(BANDS / 50))
    return level.drop_attrs().expand_dims(room=["R1"])


def flat(value: float) -> xr.DataArray:
    return xr.full_like(row(0.0), value)


def limits() -> xr.DataArray:
    return (flat(0.0) > 1) | HIDDEN


def comparison(**more: xr.DataArray) -> xr.Dataset:
    values = {"measured": row(45.0), "predicted": row(40.0), "measured_error": flat(2.0),
              "predicted_error": flat(6.0), "upper_limit": limits()} | more  # fmt: skip
    attrs = {"quantity": "sound pressure", "time_weighting": "S max", "option": "springs"}
    return xr.Dataset(values, attrs=attrs)


def unit() -> xr.DataArray:
    labels = BANDS.values
    return xr.DataArray(np.eye(labels.size), dims=("frequency", "other"),
                        coords={"frequency": labels, "other": labels})  # fmt: skip


def legend_of(ax) -> list[str]:
    return [" ".join(t.get_text().split()) for t in ax.get_legend().get_texts()]


def bars_of(ax) -> np.ndarray:
    """Ends of all bars: (bar, low and high)."""
    return np.concatenate([np.array(c.get_segments())[:, :, 1] for c in ax.collections
                           if type(c).__name__ == "LineCollection"])  # fmt: skip


def test_a_room_shows_both_intervals_and_what_is_a_limit() -> None:
    ax = plot.plot_measured_room(comparison(), room="R1", ax=new())
    assert legend_of(ax) == [
        "measured, 90 % interval", "predicted, springs", "90 % interval of the prediction",
        "no more than this: background",
    ]  # fmt: skip
    bars = bars_of(ax)
    assert len(bars) == BANDS.size - 2  # none where it is a limit
    np.testing.assert_allclose(np.diff(bars, axis=1), 2 * 1.6449 * 2.0, rtol=1e-4)
    field = ax.collections[0].get_paths()[0].vertices[:, 1]
    expected = row(40.0).values
    assert field.max() == pytest.approx(expected.max() + 1.6449 * 6.0, rel=1e-4)
    assert field.min() == pytest.approx(expected.min() - 1.6449 * 6.0, rel=1e-4)
    assert ax.get_xscale() == "log"
    assert ax.get_ylabel() == ("Sound pressure level,\nenergy mean of S max, dB re 20 µPa")
    FigureCanvasAgg(ax.figure).draw()
    left, right = np.log10(ax.get_xlim())
    low, high = ax.get_ylim()
    box = ax.get_window_extent()
    per_decade = (high - low) / (box.height / (box.width / (right - left)))
    assert min(abs(per_decade / p - 1) for p in (10, 20, 25, 50)) < 0.01


def test_rooms_that_cannot_be_drawn_are_refused() -> None:
    with pytest.raises(ValueError, match="room is 'R2'; known are 'R1'"):
        plot.plot_measured_room(comparison(), room="R2", ax=new())
    with pytest.raises(ValueError, match="holds no 'predicted'"):
        plot.plot_measured_room(comparison().drop_vars("predicted"), room="R1", ax=new())
    with pytest.raises(ValueError, match="confidence"):
        plot.plot_measured_room(comparison(), room="R1", confidence=90.0, ax=new())


def update() -> xr.Dataset:
    names = {"prior_sum": 0.0, "prior_sum_error": 6.0, "posterior_sum": 4.0, "data": 5.0,
             "posterior_sum_error": 2.0, "data_error": 2.5}  # fmt: skip
    one = {"prior": 0.0, "prior_error": 5.0, "posterior": 3.0, "posterior_error": 3.0}
    by_stage = {n: flat(v).expand_dims(stage=["path"]) for n, v in one.items()}
    return xr.Dataset({n: flat(v) for n, v in names.items()} | by_stage | {"upper_limit": limits()})


def test_prior_data_and_posterior() -> None:
    ax = plot.plot_stage_update(update(), room="R1", ax=new())
    assert [n.split(",")[0] for n in legend_of(ax)] == [
        "prior", "prior", "posterior", "posterior", "data", "no more than this: background",
    ]  # fmt: skip
    fields = [c for c in ax.collections if c.get_hatch() or type(c).__name__ != "LineCollection"]
    assert [bool(c.get_hatch()) for c in fields[:2]] == [False, True]  # told apart in grey
    one = plot.plot_stage_update(update(), room="R1", stage="path", ax=new())
    assert not any("data" in n for n in legend_of(one))
    with pytest.raises(ValueError, match="stage is 'floor'; known are 'path'"):
        plot.plot_stage_update(update(), room="R1", stage="floor", ax=new())


def loss(kind: str = "insertion loss", off: float = 0.0) -> xr.Dataset:
    value = flat(12.0 + off).isel(room=0, drop=True)
    return xr.Dataset(
        {"value": value, "low": value - 2, "high": value + 3, "at_least": value["frequency"] > 200},
        attrs={"kind": kind, "confidence": 0.9},
    )


def test_isolation_of_one_kind_and_four_curves_at_most() -> None:
    predicted = loss()["value"] + 2.0
    ax = plot.plot_measured_isolation({"a": loss(), "b": loss(off=-4.0)}, predicted=predicted,
                                      ax=new())  # fmt: skip
    assert legend_of(ax) == [
        "a, 90 % interval", "b, 90 % interval", "this or more: background on the quieter side",
        "predicted",
    ]  # fmt: skip
    assert len(bars_of(ax)) == 2 * (BANDS.size - 1)
    both = {"a": loss(), "b": loss("level difference")}
    with pytest.raises(ValueError, match=r"'b' is of the kind level difference.*draw them apart"):
        plot.plot_measured_isolation(both, ax=new())
    with pytest.raises(ValueError, match="5 curves; one to 4"):
        plot.plot_measured_isolation({n: loss() for n in "abcd"}, predicted=predicted, ax=new())
    with pytest.raises(ValueError, match="other bands"):
        plot.plot_measured_isolation({"a": loss(), "b": loss().isel(frequency=slice(4))}, ax=new())
    with pytest.raises(ValueError, match="no measured insertion loss"):
        plot.plot_measured_isolation({"a": update()}, ax=new())


def test_a_fitted_curve_lies_in_an_interval_that_narrows_with_the_data() -> None:
    model = MountsModel(natural_frequency=20.0, loss_factor=0.1, frequency=BANDS)
    measured = xr.DataArray(model(natural_frequency=24.0), coords={"frequency": BANDS.values},
                            dims="frequency")  # fmt: skip
    asked = [Parameter(name="natural_frequency", low=5.0, high=80.0)]
    fits = [fit_transfer(measured, model=model, parameters=asked, covariance=s * unit())
            for s in (1.0, 4.0)]  # fmt: skip
    # To first order the error of a curve is its slope times that of the parameter.
    step = 1e-4
    near = model(natural_frequency=24.0 * np.exp(step)) - model(natural_frequency=24.0)
    expected = abs(near / step) * float(fits[0]["standard_error"][0])
    np.testing.assert_allclose(fits[0]["fitted_error"], expected, rtol=0.02, atol=1e-3)
    np.testing.assert_allclose(fits[1]["fitted_error"], 2 * fits[0]["fitted_error"], rtol=1e-3)
    ax = plot.plot_fitted_transfer(fits[0], designed=measured - 1, ax=new())
    assert legend_of(ax) == ["measured, 90 % interval", "fitted", "fitted, 90 % interval",
                             "as designed"]  # fmt: skip
    np.testing.assert_allclose(np.diff(bars_of(ax), axis=1), 2 * 1.6449, rtol=1e-4)
    with pytest.raises(ValueError, match="labels of 'frequency' differ"):
        plot.plot_fitted_transfer(fits[0], designed=measured[:3], ax=new())
    with pytest.raises(ValueError, match="hold no 'fitted_error'"):
        plot.plot_fitted_transfer(fits[0].drop_vars("fitted_error"), ax=new())


def test_causes_that_are_unlikely_are_not_drawn() -> None:
    curve = row(-20.0).isel(room=0, drop=True)
    names = ["edge", "pipe", "air"]
    error = xr.ones_like(curve)
    found = xr.Dataset(
        {"expected": curve.expand_dims(cause=names), "measured": curve, "designed": curve - 9,
         "measured_error": error, "designed_error": 2 * error,
         "standing": ("cause", ["likely", "as likely", "unlikely"])},
    )  # fmt: skip
    ax = plot.plot_causes(found, ax=new())
    texts = legend_of(ax)
    assert texts[-2:] == ["likely: edge", "as likely: pipe"]
    assert not any("air" in t for t in texts)
    assert len(ax.get_lines()) <= 4 + 3  # four curves, caps of the bars, the line at 0
    none = found.assign(standing=("cause", ["unlikely"] * 3))
    texts = legend_of(plot.plot_causes(none, ax=new()))
    assert texts == ["measured, 90 % interval", "as designed", "90 % of its tolerances"]
    with pytest.raises(ValueError, match="hold no 'designed'"):
        plot.plot_causes(none.drop_vars("designed"), ax=new())


def test_every_measured_level_lies_inside_the_axis_with_room_for_its_arrow():
    found = comparison()
    found["measured"][{"room": 0, "frequency": 0}] = -60.0
    found["upper_limit"][{"room": 0, "frequency": 0}] = True
    ax = plot.plot_measured_room(found, room="R1", ax=new())
    assert ax.get_ylim()[0] <= -65.0
