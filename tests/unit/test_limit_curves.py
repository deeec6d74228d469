"""Curves of one's own and the published ones: one mechanism, its margins by hand, its files."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne._checks import BandError, TableError
from groundborne.bands import third_octaves
from groundborne.rating import METRICS, PERIOD_RMS, LimitCurve, read_limit_curve
from groundborne.usual_ranges import UnusualValueWarning

# Generic vibration criteria, VC-A: 50 µm/s from 8 to 80 Hz, constant acceleration from 4 to 8 Hz
# [seen second-hand]; typed here, not taken from the library.
VC_A = {4.0: 100.0, 5.0: 80.0, 6.3: 50 * 8 / 6.3} | dict.fromkeys(
    (8.0, 10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0), 50.0
)


def curve_of(values, **more):
    velocity = xr.DataArray([1e-6 * v for v in values.values()], coords={"frequency": list(values)})
    return LimitCurve(**({"name": "own", "velocity": velocity} | more))


def spectrum(first=4.0, last=250.0, seed=1):
    f = third_octaves(first, last)["frequency"]
    rng = np.random.default_rng(seed)
    level = xr.DataArray(
        rng.uniform(60, 100, (5, f.size)), dims=("passby", "frequency"), coords={"frequency": f}
    )
    return xr.zeros_like(f, dtype=float).drop_attrs(), level


def test_the_worst_band_over_the_curve_by_hand() -> None:
    """10 µm/s are 80 dB re 1 nm/s, so that levels of 83, 79 and 70 dB stand 3, -1 and -30 over."""
    own = curve_of({8.0: 10.0, 10.0: 10.0, 12.5: 100.0}, outside="free")
    f = {"frequency": [8.0, 10.0, 12.5]}
    level = xr.DataArray([83.0, 79.0, 70.0], coords=f)
    rule = own.metric.rule
    assert rule.rating(xr.zeros_like(level), level).item() == pytest.approx(3.0)
    judged = rule.judge(xr.zeros_like(level), level, over=None, below=None)
    assert judged.governing.item() == 8.0
    quiet = own.metric.value(rule.rating(xr.zeros_like(level), level - 5.0), 0.0)
    criterion = gb.Criterion.on_curve(own, statistic="maximum", time_weighting="S max")
    assert criterion.margin(quiet).item() == pytest.approx(2.0)
    assert (criterion.limit, criterion.unit, criterion.label) == (
        0.0, "dB over the curve", "own, maximum",
    )  # fmt: skip


@pytest.mark.parametrize("first", [4.0, 5.0, 8.0])
def test_a_published_curve_is_the_same_typed_by_hand(first) -> None:
    """Ratings, governing bands and what missing bands may add, with and without the first bands."""
    published, own = METRICS["VC-A"], curve_of(VC_A).metric
    for seed in range(4):
        change, level = spectrum(first, seed=seed)
        one, other = (
            metric.value(metric.rule.rating(change, level), 0.0) for metric in (published, own)
        )
        np.testing.assert_allclose(20 * np.log10(one / 50.0), other, atol=1e-9)
        each = [
            m.rule.judge(change, level, over=lambda x: x.max("passby"), below=None)
            for m in (published, own)
        ]
        assert each[0].why == each[1].why
        assert each[0].governing.item() == each[1].governing.item()
        np.testing.assert_allclose(each[0].may_add, each[1].may_add, atol=1e-9)
    assert published.statistics == own.statistics
    assert PERIOD_RMS in own.statistics


def test_a_spectrum_that_lacks_bands_is_refused_or_a_lower_bound_as_on_published_curves() -> None:
    own = curve_of(VC_A).metric.rule
    for rule in (METRICS["VC-A"].rule, own):
        with pytest.raises(BandError, match="10 to 80 Hz; 8 to 80 Hz is needed at least"):
            rule.require(third_octaves(10, 80), "here")
    change, level = spectrum(6.3)
    assert "trains are felt from 5 Hz" in own.judge(change, level, over=None, below=None).why


def test_a_curve_that_ends_before_the_bands_is_refused_unless_said_to() -> None:
    short = {f: v for f, v in VC_A.items() if f <= 50}
    change, level = spectrum()
    with pytest.raises(
        BandError,
        match=r"'own': it holds 4 to 50 Hz, and the spectrum has 63 to 80 Hz too, where trains "
        r"are felt; give the curve there, or say outside='free'",
    ):
        curve_of(short).metric.rule.rating(change, level)
    free = curve_of(short, outside="free").metric
    quiet = level.where(level["frequency"] <= 50, 200.0)  # what it does not bind does not count
    np.testing.assert_allclose(
        free.rule.rating(change, level), free.rule.rating(change, quiet), atol=1e-12
    )
    said = free.approximation("S max", change["frequency"])
    assert said == "the curve sets no limit at 63, 80 Hz, which are held against nothing"
    assert curve_of(VC_A).metric.approximation("S max", change["frequency"]) == ""


@pytest.mark.parametrize(
    ("values", "more", "said"),
    [
        ({8.0: 50.0, 12.5: 50.0}, {}, "10 Hz is missing"),
        ({8.0: 50.0, 9.0: 50.0}, {}, "9 Hz is not a nominal"),
        ({8.0: 0.0}, {}, "velocity is 0.* above 0 m/s"),
        ({8.0: 50.0}, {"name": "a, b"}, "its name is empty or holds a comma"),
        ({8.0: 50.0}, {"outside": "some"}, "outside is 'some'"),
    ],
)
def test_curves_that_are_none(values, more, said) -> None:
    with pytest.raises(ValueError, match=said):
        curve_of(values, **more)
    with pytest.raises(BandError, match="velocity has the dims"):
        LimitCurve(name="own", velocity=xr.DataArray(1e-6))


def test_criteria_on_a_curve_that_make_no_sense() -> None:
    own = curve_of(VC_A)
    with pytest.raises(ValueError, match="limit is 3 with the curve 'own', whose own limit is 0"):
        gb.Criterion(metric=own.metric, limit=3.0, statistic="maximum", time_weighting="S max")
    with pytest.raises(ValueError, match="the statistic 'period rms' needs a period"):
        gb.Criterion.on_curve(own, statistic=PERIOD_RMS, time_weighting="S max")
    with pytest.raises(ValueError, match="statistic is 'period rms'; known are"):
        gb.Criterion(
            metric="LASmax", limit=30.0, statistic=PERIOD_RMS, period="day", time_weighting="S max"
        )


# -- Files -----------------------------------------------------------------------------------------


def written(tmp_path, text):
    file = tmp_path / "curve.csv"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_curve_in_micrometres_and_as_a_level_is_the_same(tmp_path) -> None:
    micro = read_limit_curve(
        written(tmp_path, "# invented\nfrequency_hz,limit_um_s\n8,10\n10,1\n"), name="own"
    )
    level = read_limit_curve(
        written(tmp_path, "frequency_hz,limit_db_re_1_nm_s\n8,80\n10,60\n"), name="own"
    )
    np.testing.assert_allclose(micro.velocity, [10e-6, 1e-6])
    np.testing.assert_allclose(micro.velocity, level.velocity, rtol=1e-12)
    np.testing.assert_allclose(micro.level, [80.0, 60.0])
    assert micro.level.attrs["reference"] == "1 nm/s"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("frequency_hz\n8\n", "'limit_um_s' is missing"),
        ("frequency_hz,limit_um_s,limit_db_re_1_nm_s\n8,1,60\n", "give one of them"),
        ("frequency_hz,limit_um_s\n8,0\n", "row 2, column 'limit_um_s': 0 is out of bounds"),
        ("frequency_hz,limit_um_s\n8,1\n12.5,1\n", "curve.csv.*10 Hz is missing"),
        ("frequency_hz,limit_um_s\n8,1e9\n", "row 2, column 'limit_um_s'"),
    ],
)
def test_files_that_hold_no_curve(tmp_path, text, said) -> None:
    with pytest.raises((TableError, BandError), match=said):
        read_limit_curve(written(tmp_path, text), name="own")


def test_a_curve_in_another_unit_is_noticed(tmp_path) -> None:
    """Micrometres as nanometres per second."""
    with pytest.warns(UnusualValueWarning, match="limit_um_s"):
        read_limit_curve(written(tmp_path, "frequency_hz,limit_um_s\n8,12500\n"), name="own")
