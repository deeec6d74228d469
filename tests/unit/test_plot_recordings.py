"""Figures of recordings: what is drawn, that reasons are told, that no text overlaps."""

from __future__ import annotations

import itertools

import matplotlib as mpl
import matplotlib.style
import numpy as np
import pytest
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from groundborne import bands, levels
from groundborne._checks import BandError, LevelError, RatingError
from groundborne.plot.mean_spectra import mean_spectra
from groundborne.plot.spectrogram import spectrogram
from groundborne.plot.style import make_room, style_path
from groundborne.plot.time_history import time_history
from groundborne.plot.vibration_curves import vibration_curves
from groundborne.rating import statistic
from groundborne.rating.vibration_curves import curve
from groundborne.records.events import Events
from groundborne.records.recording import Recording

mpl.use("Agg")

RATE = 256.0


def new():
    return Figure(figsize=(7.0, 4.0), layout="constrained").add_subplot()


@pytest.fixture(autouse=True)
def _closed():
    from matplotlib import pyplot as plt

    yield
    plt.close("all")


def recording(seconds=40.0, channels=("x", "z"), quantity="velocity"):
    t = np.arange(int(seconds * RATE)) / RATE
    burst = 1e-4 * np.sin(2 * np.pi * 25 * t) * (abs(t - seconds / 2) < 4)
    noise = 1e-7 * np.random.default_rng(1).standard_normal((len(channels), t.size))
    signal = xr.DataArray(
        noise + burst * np.linspace(0.5, 1.0, len(channels))[:, None],
        dims=("channel", "time"),
        coords={"channel": list(channels)},
        attrs={"quantity": quantity, "units": "m/s" if quantity == "velocity" else "m/s²"},
    )
    return Recording(signal=signal, sample_rate=RATE, file="invented")


def history(seconds=60.0, top=80.0):
    t = np.arange(0.0, seconds, 0.5)
    level = xr.DataArray(np.where(abs(t - seconds / 2) < 4, top, 60.0), coords={"time": t})
    return levels.stamp(
        level, quantity="velocity", reference="1 nm/s", long_name="history",
        averaging="linear, 2 s",
    )  # fmt: skip


def events(spans, reasons):
    reasons = np.array(reasons)
    table = xr.Dataset(
        {
            "start": ("event", [float(a) for a, _ in spans]),
            "end": ("event", [float(b) for _, b in spans]),
            "kept": ("event", reasons == ""),
            "reason": ("event", reasons),
        },
        coords={"event": np.arange(1, len(spans) + 1)},
    )
    return Events(table=table)


def passbys(count=12, low=8.0, high=200.0, limit_from=None):
    f = bands.third_octaves(low, high).values
    values = 70 + 10 * np.random.default_rng(2).standard_normal((2 * count, f.size))
    array = xr.DataArray(
        values,
        dims=("passby", "frequency"),
        coords={
            "passby": [f"P{i}" for i in range(2 * count)],
            "frequency": f,
            "train_type": ("passby", ["metro"] * count + ["freight"] * count),
        },
    )
    if limit_from is not None:
        hidden = np.zeros(values.shape, bool)
        hidden[:count, f >= limit_from] = True
        array = array.assign_coords(upper_limit=(("passby", "frequency"), hidden))
    return levels.stamp(
        array, quantity="velocity", reference="1 nm/s", long_name="level", time_weighting="S max"
    )


def legend_of(ax):
    return [t.get_text() for t in ax.get_legend().get_texts()]


# ---------------------------------------------------------------- time history


def test_level_history_draws_level_threshold_and_events():
    level = history()
    found = events([(26, 34), (40, 42), (50, 52)], ["", "too short (2.0 s): knock or step", "odd"])
    ax = time_history(level, events=found, threshold=66.0, ax=new())
    line, threshold = ax.get_lines()
    np.testing.assert_array_equal(line.get_ydata(), level.values)
    np.testing.assert_array_equal(line.get_xdata(), level["time"].values)
    assert list(threshold.get_ydata()) == [66.0, 66.0]
    kept, left_out = ax.collections
    spans = [p.get_extents().intervalx.tolist() for p in kept.get_paths()]
    assert spans == [[26.0, 34.0]]
    spans = [p.get_extents().intervalx.tolist() for p in left_out.get_paths()]
    assert spans == [[40.0, 42.0], [50.0, 52.0]]
    # Kept and left out differ without colour.
    assert kept.get_hatch() is None
    assert left_out.get_hatch()
    assert legend_of(ax) == [
        "velocity level", "threshold 66.0 dB", "event kept (1)", "event left out (2)",
        "2: too short (2.0 s): knock or step", "3: odd",
    ]  # fmt: skip
    assert [t.get_text() for t in ax.texts] == ["1", "2", "3"]
    assert ax.get_ylabel() == "Velocity level\nlinear, 2 s, dB re 1 nm/s"


def test_shared_reasons_are_told_once_and_without_their_numbers():
    spans = [(10, 12), (20, 22), (30, 32)]
    reasons = ["too short (2.0 s): knock", "too short (1.5 s): knock", "crest factor 12.1, odd"]
    ax = time_history(history(), events=events(spans, reasons), ax=new())
    assert legend_of(ax)[-2:] == ["1, 2: too short: knock", "3: crest factor 12.1, odd"]


def test_many_events_number_only_those_left_out_and_long_records_are_in_minutes():
    spans = [(40 * i + 10, 40 * i + 20) for i in range(30)]
    reasons = [""] * 30
    reasons[4] = reasons[5] = "drop-out"
    ax = time_history(history(1300.0), events=events(spans, reasons), ax=new())
    assert [t.get_text() for t in ax.texts] == ["5", "6"]
    assert ax.get_xlabel() == "Time from the start, min"
    assert ax.get_xlim()[1] == pytest.approx(1299.5 / 60)
    first = ax.collections[0].get_paths()[0].get_extents()
    np.testing.assert_allclose(first.intervalx, [10 / 60, 20 / 60])


def test_signal_is_drawn_from_its_smallest_to_its_largest():
    record = recording()
    ax = time_history(record, channel="z", ax=new())
    box = ax.collections[0].get_datalim(ax.transData)
    z = record.signal.sel(channel="z").values
    np.testing.assert_allclose(box.intervaly, [1e3 * z.min(), 1e3 * z.max()])
    assert ax.get_ylabel() == "Velocity z, mm/s"
    assert ax.get_xlim() == (0.0, 40.0)


def test_short_signal_is_drawn_sample_by_sample():
    record = recording(5.0, channels=("z",), quantity="acceleration")
    ax = time_history(record, ax=new())
    np.testing.assert_allclose(ax.get_lines()[0].get_ydata(), 1e3 * record.signal.values[0])
    assert ax.get_ylabel() == "Acceleration z, mm/s²"


def test_a_drop_out_breaks_the_line():
    level = history()
    level[10:12] = -np.inf
    drawn = time_history(level, ax=new()).get_lines()[0].get_ydata()
    assert np.flatnonzero(np.isnan(drawn)).tolist() == [10, 11]


@pytest.mark.parametrize(
    ("data", "more", "error", "words"),
    [
        (recording(), {}, ValueError, "name one of the channels x, z"),
        (recording(), {"channel": "zz"}, ValueError, "Did you mean 'z'"),
        (recording(), {"channel": "z", "threshold": 60.0}, ValueError, "a threshold is a level"),
        (history().drop_vars("time"), {}, LevelError, "no coordinate time"),
        (history().assign_attrs(units="m/s"), {}, LevelError, "not labelled"),
        (history().drop_attrs(), {}, LevelError, "not labelled"),
        (history().copy(data=np.full(120, np.nan)), {}, ValueError, "data is nan at time=0"),
        (history(), {"threshold": np.nan}, ValueError, "threshold is nan"),
    ],
)
def test_time_history_refuses(data, more, error, words):
    with pytest.raises(error, match=words):
        time_history(data, ax=new(), **more)


# ---------------------------------------------------------------- spectrogram


def test_spectrogram_shows_the_levels_of_the_bank():
    ax = spectrogram(recording(), channel="z", low=10.0, high=63.0, ax=new())
    (mesh,) = ax.collections
    drawn = mesh.get_array().reshape(9, -1)
    middle = drawn.shape[1] // 2
    # A sine of 0.1 mm/s amplitude: 96.99 dB re 1 nm/s in its band, to the ripple of F.
    assert drawn[4, middle] == pytest.approx(20 * np.log10(1e-4 / np.sqrt(2) / 1e-9), abs=0.2)
    assert drawn[4].argmax() == pytest.approx(middle, abs=70)
    assert (drawn[:, middle].argmax(), drawn[4, 5] < drawn[4, middle] - 40) == (4, True)
    bar = ax.figure.axes[1]
    assert bar.get_ylabel() == "Velocity level z, F\ndB re 1 nm/s"
    low, high = mesh.get_clim()
    assert high - low == pytest.approx(50.0)
    assert ax.get_yscale() == "log"
    np.testing.assert_allclose(ax.get_ylim(), [bands.edges(10.0)[0], bands.edges(63.0)[1]])


def test_spectrogram_of_a_history_of_squares_and_of_levels_agree():
    square = xr.DataArray(
        np.array([[1e-12, 4e-12, 1e-12], [0.0, 1e-10, 1e-12]]),
        dims=("frequency", "time"),
        coords={"frequency": [50.0, 63.0], "time": [1.0, 1.5, 2.0]},
        attrs={"quantity": "velocity", "units": "(m/s)²", "time_weighting": "S"},
    )
    one = spectrogram(square, low=50.0, span=30.0, ax=new())
    mesh = one.collections[0]
    top = 10 * np.log10(1e-10 / 1e-18)
    assert mesh.get_clim() == pytest.approx((top - 30, top))
    drawn = mesh.get_array().reshape(2, 3)
    assert drawn[0].tolist() == pytest.approx([60.0, 66.0206, 60.0], abs=1e-3)
    assert drawn[1, 0] < top - 30  # silence has the last colour
    assert one.get_xlim() == pytest.approx((0.75, 2.25))
    level = levels.stamp(
        10 * np.log10(square / 1e-18 + 1e-9), quantity="velocity", reference="1 nm/s",
        long_name="level",
    )  # fmt: skip
    other = spectrogram(level, low=50.0, span=30.0, ax=new(), colour_bar=False)
    assert len(other.figure.axes) == 1
    np.testing.assert_allclose(
        other.collections[0].get_array().reshape(2, 3)[0], drawn[0], atol=1e-6
    )


def test_colours_grow_in_lightness():
    # Greyscale printing keeps the order: relative luminance rises all the way.
    ax = spectrogram(recording(), channel="z", low=10.0, high=63.0, ax=new())
    red, green, blue = ax.collections[0].get_cmap()(np.linspace(0, 1, 64))[:, :3].T
    assert (np.diff(0.2126 * red + 0.7152 * green + 0.0722 * blue) > 0).all()


@pytest.mark.parametrize(
    ("data", "more", "words"),
    [
        (recording(), {}, "name one of the channels x, z"),
        (recording(), {"channel": "z", "averaging": "I"}, "known are 'F', 'S'"),
        (recording(), {"channel": "z", "span": 0.0}, "span is 0"),
        (history().expand_dims(frequency=[50.0]) * np.nan, {}, "data is nan at frequency=50"),
        (history(), {}, "lack the dim 'frequency'"),
    ],
)
def test_spectrogram_refuses(data, more, words):
    with pytest.raises(ValueError, match=words):
        spectrogram(data, ax=new(), **more)


# ---------------------------------------------------------------- mean spectra


def test_mean_spectra_draw_mean_and_percentile_of_each_group():
    level = passbys()
    ax = mean_spectra(level, ax=new())
    lines = ax.get_lines()
    assert legend_of(ax) == [
        "freight, energy mean of 12", "freight, percentile 95 %",
        "metro, energy mean of 12", "metro, percentile 95 %",
    ]  # fmt: skip
    for pair, part in ((lines[:2], level[12:]), (lines[2:], level[:12])):
        np.testing.assert_allclose(pair[0].get_ydata(), levels.energy_mean(part, "passby").values)
        np.testing.assert_allclose(
            pair[1].get_ydata(), statistic(part, "percentile", percentile=95.0).values
        )
        assert pair[0].get_color() == pair[1].get_color()
        assert (pair[0].get_linestyle(), pair[1].get_linestyle()) == ("-", "--")
    assert lines[0].get_marker() != lines[2].get_marker()
    assert ax.get_ylabel() == "Velocity level\nS max, dB re 1 nm/s"
    assert ax.get_xscale() == "log"


def test_bands_that_are_not_detectable_are_marked():
    level = passbys(limit_from=100.0)
    quiet = (level.drop_vars("upper_limit")[:3] - 30.0).rename(passby="segment")
    quiet.attrs = dict(level.attrs)
    background = levels.convert(quiet, reference="50 nm/s")
    ax = mean_spectra(level, background=background, ax=new())
    (marks,) = [h for h in ax.get_lines() if h.get_marker() == "v" and h.get_markersize() == 10]
    assert marks.get_xdata().tolist() == [100.0, 125.0, 160.0, 200.0]
    mean = levels.energy_mean(level[:12], "passby").sel(frequency=slice(100, None))
    np.testing.assert_allclose(marks.get_ydata(), mean.values)
    (floor,) = [h for h in ax.get_lines() if h.get_linestyle() == ":"]
    np.testing.assert_allclose(floor.get_ydata(), levels.energy_mean(quiet, "segment").values)
    assert legend_of(ax)[-2:] == [
        "background, energy mean", "not detectable in half or more:\nupper limit"
    ]  # fmt: skip


def test_all_passbys_as_one_group():
    ax = mean_spectra(passbys(), group=None, percentile=None, ax=new())
    assert legend_of(ax) == ["energy mean of 24"]


@pytest.mark.parametrize(
    ("level", "more", "error", "words"),
    [
        (passbys(4), {}, RatingError, "carry no 95th percentile"),
        (passbys(), {"group": "track"}, ValueError, "known are 'train_type'"),
        (passbys().assign_coords(kind=("passby", [f"{i % 8}" for i in range(24)])),
         {"group": "kind", "percentile": None}, ValueError, "makes 8 groups"),
        (passbys()[0], {}, ValueError, "lack the dim 'passby'"),
        (passbys(), {"background": passbys(low=10.0).rename(passby="segment")}, BandError,
         "background has 10, "),
    ],
)  # fmt: skip
def test_mean_spectra_refuse(level, more, error, words):
    with pytest.raises(error, match=words):
        mean_spectra(level, ax=new(), **more)


# ---------------------------------------------------------------- vibration curves


def spectrum(values, low=8.0, high=80.0, **coords):
    f = bands.third_octaves(low, high).values
    array = xr.DataArray(
        np.broadcast_to(np.asarray(values, float), (*map(len, coords.values()), f.size)),
        dims=(*coords, "frequency"),
        coords={**coords, "frequency": f},
    )
    return levels.stamp(
        array, quantity="velocity", reference="1 nm/s", long_name="all trains",
        time_weighting="S max",
    )  # fmt: skip


def test_vibration_curves_draw_velocities_in_micrometres():
    # 80 dB re 1 nm/s is 10 µm/s.
    ax = vibration_curves(spectrum(80.0), curves=("VC-A", "VC-C"), ax=new())
    a, c, line = ax.get_lines()
    np.testing.assert_allclose(line.get_ydata(), 10.0)
    np.testing.assert_allclose(a.get_ydata(), 50.0)
    np.testing.assert_allclose(c.get_ydata(), 12.5)
    assert (ax.get_xscale(), ax.get_yscale()) == ("log", "log")
    assert [t.get_text() for t in ax.texts] == ["VC-C", "VC-A"]
    assert ax.get_ylabel() == "One-third-octave velocity\nrms, S max, µm/s"
    assert ax.get_legend() is None


def test_curves_are_cut_to_the_bands_of_the_spectrum_and_other_references_converted():
    level = levels.convert(spectrum(80.0, low=2.0, high=100.0), reference="50 nm/s")
    ax = vibration_curves(level, curves=("VC-B", "ISO office"), ax=new())
    b, office, line = ax.get_lines()
    assert b.get_xdata()[[0, -1]].tolist() == [4.0, 80.0]
    assert office.get_xdata()[[0, -1]].tolist() == [2.0, 80.0]
    np.testing.assert_allclose(
        office.get_ydata(), 1e6 * curve("ISO office").sel(frequency=slice(2, 80)).values
    )
    np.testing.assert_allclose(line.get_ydata(), 10.0)


def test_equal_curves_share_one_name_and_hue_makes_lines():
    level = spectrum(80.0, train_type=["metro", "freight"])
    ax = vibration_curves(
        level, hue="train_type", curves=("ISO operating theatre", "base z"), ax=new()
    )
    assert [t.get_text() for t in ax.texts] == ["base z, ISO operating theatre"]
    assert legend_of(ax) == ["metro", "freight"]


@pytest.mark.parametrize(
    ("level", "more", "error", "words"),
    [
        (spectrum(80.0), {"curves": ("VC-H",)}, ValueError, "Did you mean 'VC-"),
        (spectrum(80.0, low=100.0, high=200.0), {}, BandError, "leave the curve out"),
        (spectrum(80.0, train_type=["a"]), {}, ValueError, "the dim 'train_type'"),
        (spectrum(np.nan), {}, ValueError, "level is nan at frequency=8"),
        (spectrum(80.0).assign_attrs(quantity="acceleration", reference="1 µm/s²"), {},
         LevelError, "velocity is needed"),
    ],
)  # fmt: skip
def test_vibration_curves_refuse(level, more, error, words):
    with pytest.raises(error, match=words):
        vibration_curves(level, ax=new(), **more)


# ---------------------------------------------------------------- what all share


def draw_all():
    spans = [(40 * i + 10, 40 * i + 20) for i in range(30)]
    reasons = [""] * 30
    reasons[4] = "drop-out (channel x)"
    reasons[5] = "too short (2.4 s): knock or step; crest factor 12.1, an impulse (channel z)"
    reasons[6] = reasons[20] = "overlaps another event"
    few = events([(15, 16), (16.5, 17), (17.2, 17.4), (24, 32)], ["", "odd", "odd", ""])
    level = passbys(limit_from=125.0)
    quiet = (level.drop_vars("upper_limit")[:3] - 30.0).rename(passby="segment")
    quiet.attrs = dict(level.attrs)
    kinds = ["metro", "freight", "regional"]
    return {
        "history": time_history(
            history(1300.0), events=events(spans, reasons), threshold=66.0, ax=new()
        ),
        "signal": time_history(recording(), channel="z", events=few, ax=new()),
        "spectrogram": spectrogram(recording(), channel="z", high=80.0, ax=new()),
        "means": mean_spectra(level, background=quiet, ax=new()),
        "curves": vibration_curves(spectrum(75.0, train_type=kinds), hue="train_type", ax=new()),
    }


def boxes_of(ax):
    renderer = ax.figure.canvas.get_renderer()
    artists = [ax.xaxis.label, ax.yaxis.label, *ax.texts]
    for axis in (ax.xaxis, ax.yaxis):
        low, high = sorted(axis.get_view_interval())
        artists += [t.label1 for t in axis.get_major_ticks() if low <= t.get_loc() <= high]
    if ax.get_legend() is not None:
        artists += ax.get_legend().get_texts()
    return [
        (a.get_text(), a.get_window_extent(renderer))
        for a in artists
        if a.get_text().strip() and a.get_visible()
    ]


@pytest.mark.parametrize("styled", [False, True])
def test_no_text_overlaps_or_is_clipped(styled):
    with matplotlib.style.context(style_path() if styled else "default"):
        for name, ax in draw_all().items():
            make_room(ax)
            FigureCanvasAgg(ax.figure).draw()
            boxes = [box for part in ax.figure.axes for box in boxes_of(part)]
            assert len(boxes) > 5, name
            page = ax.figure.bbox
            for text, box in boxes:
                inside = box.x0 >= -1 and box.y0 >= -1 and box.x1 <= page.x1 + 1
                assert inside, f"{name}: {text!r} is clipped"
                assert box.y1 <= page.y1 + 1, f"{name}: {text!r} is clipped"
            for (one, a), (other, b) in itertools.combinations(boxes, 2):
                wide = min(a.x1, b.x1) - max(a.x0, b.x0)
                tall = min(a.y1, b.y1) - max(a.y0, b.y0)
                assert wide < 1 or tall < 1, f"{name}: {one!r} overlaps {other!r}"


def test_no_figure_touches_rc_params():
    before = dict(mpl.rcParams)
    draw_all()
    assert dict(mpl.rcParams) == before


def test_default_is_a_new_figure():
    first, second = time_history(history()), time_history(history())
    assert first.figure is not second.figure
    assert first.figure.get_layout_engine() is not None


def test_names_of_the_user_are_drawn_as_they_stand():
    level = passbys()
    level["train_type"] = ("passby", ["$x$"] * 12 + ["a_1^2"] * 12)
    ax = mean_spectra(level, percentile=None, ax=new())
    FigureCanvasAgg(ax.figure).draw()
    for text in ax.get_legend().get_texts():
        drawn, is_math = text._preprocess_math(text.get_text())
        assert not is_math
        assert drawn.startswith(("$x$", "a_1^2"))
