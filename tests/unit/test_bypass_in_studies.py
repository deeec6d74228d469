"""What passes beside the mounts of a study: by keys, by hand, and with the lines of both kinds."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne.isolation import (
    BaseIsolation,
    Bypassed,
    CrossedMount,
    Crossing,
    EnergyPath,
    InService,
    LinearMount,
    TwoStageMount,
)
from groundborne.plot.insertion_loss import insertion_loss
from groundborne.study import notes_of, sentence
from groundborne.study.bypass import NO_BYPASS, Bypass

FLOOR = 'lowest_isolated_floor = "0"'


def evaluated(study: gb.Study) -> xr.Dataset:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return study.evaluate(band_levels=False)


def loss(change: xr.DataArray) -> np.ndarray:
    return -np.asarray(change.transpose("option", "frequency"))


def test_with_and_without_differ_by_the_energy_of_the_path(spoiled, music_school) -> None:
    """−10 lg(10^(−IL/10) + 10^(−2.5)), at the columns of the floors and in every room."""
    listed = f"{FLOOR}\nall_crossings_listed = true"
    study = gb.read_study(spoiled("study.toml", (FLOOR, listed)))
    names = ["no isolation", "rubber 9 Hz", "soft"]
    # On a raft that bends springs of 4.5 Hz take 19 dB at most, and the way costs 1 dB.
    soft = gb.Option(name="soft", base=study.mount(natural_frequency=2.0, loss_factor=0.02))
    study = study.with_options([*(o for o in study.options if o.name in names), soft])
    result = evaluated(study)
    alone, both = (
        loss(result[n].sel(option=names[1:])) for n in ("base_change_without_bypass", "base_change")
    )
    wanted = -10 * np.log10(10 ** (-alone / 10) + 10**-2.5)
    np.testing.assert_allclose(both, wanted, atol=1e-9)
    assert (both < 25.0).all()
    assert (alone - both).max() > 2.0
    # The same floor by floor: what people feel in each room.
    free = study.parts[0].plane
    assert free is not None
    springs = study.options[2].base
    lines = free.line.floor_mean_squares(study.frequency)
    moved = free.isolated_line(springs).floor_mean_squares(study.frequency)
    weights = free.column_weights
    change = result["floor_change"]
    for room, level in (("R0.1", "0"), ("R2.5", "2")):
        before, after = ((x["mid_panel"].sel(floor=level) * weights).sum("column")
                         for x in (lines, moved))  # fmt: skip
        ratio = (after + 10**-2.5 * before) / before
        gained = change.sel(room=room, option="soft")
        gained = gained - change.sel(room=room, option="no isolation")
        np.testing.assert_allclose(gained, 10 * np.log10(ratio), atol=1e-9)
    assert float(result["base_excess"].max()) == 0.0
    # Unlisted crossings cost more on top.
    more = evaluated(music_school.study.with_options(study.options))["base_change"]
    more = more.sel(option=names[1:])
    assert (loss(more) < both + 0.05).mean() > 0.9


def test_unlisted_crossings_are_a_twentieth_shared_by_area(music_school) -> None:
    plane = music_school.study.plane
    assert plane is not None
    mount = music_school.study.mount(natural_frequency=9.0, loss_factor=0.1)
    (crossing,) = plane.beside(mount)
    total = float(mount.stiffness.sum())
    assert float(crossing.stiffness) == pytest.approx(0.05 * total, rel=1e-9)
    # Of mounts that are one number for every column, all count.
    alike = LinearMount(stiffness=1e8, loss_factor=0.1)
    (crossing,) = plane.beside(alike)
    assert float(crossing.stiffness) == pytest.approx(0.05 * 12 * 1e8, rel=1e-9)
    # It is no rubber and does not age, and what is listed in the mounts counts once.
    aged = InService.through_life(mount, amplitude=1.3)
    assert float(plane.beside(aged)[0].stiffness) == pytest.approx(0.05 * total, rel=1e-9)
    stair = Crossing(name="stair", stiffness=1e9)
    crossed = CrossedMount(mount=mount, crossings=[stair], weights=plane.column_weights)
    assert float(plane.beside(crossed)[0].stiffness) == pytest.approx(0.05 * total, rel=1e-9)


def test_a_plane_between_mobilities_by_hand(copied_study) -> None:
    study = gb.read_study(copied_study("music_school_plain"))
    plane = study.plane
    mount = study.mount(natural_frequency=4.0, loss_factor=0.02)
    f = study.frequency
    stiffness = 0.05 * float(mount.dynamic_stiffness(xr.DataArray(1.0)).real)
    beside = [Crossing(name="x", stiffness=stiffness, loss_factor=0.1)]
    crossed = CrossedMount(mount=mount, crossings=beside, weights=xr.DataArray(1.0))
    by_hand = Bypassed(BaseIsolation(crossed, below=plane.below, above=plane.above))
    changes = plane.changes(mount, f)
    np.testing.assert_allclose(changes["base_change"], by_hand.level_change(f), atol=1e-9)
    alone = BaseIsolation(mount, below=plane.below, above=plane.above).level_change(f)
    np.testing.assert_allclose(changes["base_change_without_bypass"], alone, atol=1e-9)
    path = study.with_options([gb.Option(name="x", base=mount)]).paths()["x"]
    change = path.level_changes(f)["isolation"]
    room = str(change["room"].values[-1])
    np.testing.assert_allclose(change.sel(room=room), by_hand.level_change(f), atol=1e-9)


@pytest.mark.parametrize(
    ("keys", "reduction"),
    [
        ('bypass = "stated"\nbypass_db = 18\nbypass_source = "measured"', 18.0),
        ('bypass = "none"\nbypass_source = "a test rig"', None),
        ("", 25.0),
    ],
)
def test_keys_state_the_path(spoiled, keys, reduction) -> None:
    file = spoiled("study.toml", (FLOOR, f"{FLOOR}\nunlisted_share = 0.1\n{keys}"))
    study = gb.read_study(file)
    plane = study.plane
    assert plane.bypass.unlisted_share == 0.1
    mount = study.mount(natural_frequency=4.5, loss_factor=0.02)
    assert [p.reduction for p in plane.bypass.of(mount)] == (
        [] if reduction is None else [reduction]
    )
    chosen = [o for o in study.options if o.name in ("no isolation", "springs 4.5 Hz")]
    result = evaluated(study.with_options(chosen))
    notes = {n.kind: n for n in notes_of(result) if n.option}
    if reduction is None:
        assert "Reason given: a test rig" in sentence(notes["no bypass"])
        assert float(-result["base_change"].min()) > 18.0  # 17.5 with the way of one stage
        assert "bypass" not in notes
        return
    note = notes["bypass"]
    assert f"{reduction:.0f} dB below what arrives without mounts" in sentence(note)
    assert float(-result["base_change"].min()) < reduction
    # The bands it names are those in which what the mounts pass is less.
    change = result["base_change"].sel(option="springs 4.5 Hz")
    passed = 10 ** (change / 10)
    bands = change["frequency"].values[passed.values < 2 * 10 ** (-reduction / 10)]
    assert note.values["bands"] == bands.tolist()
    springs = 10 * np.log10(passed - 10 ** (-reduction / 10))
    assert note.consequence_db == pytest.approx(float((change - springs).max()), rel=1e-9)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('bypass = "none"', "bypass_source"),
        ('bypass = "none"\nbypass_source = " "', "'bypass_source' is empty"),
        ('bypass = "stated"\nbypass_source = "measured"', "bypass_db"),
        ("bypass_db = 30", "bypass_db"),
        ("all_crossings_listed = true\nunlisted_share = 0.1", "leave one out"),
        ("unlisted_share = 11", "unlisted_share"),
        ('bypass = "stated"\nbypass_db = -1\nbypass_source = "x"', "bypass_db"),
    ],
)
def test_keys_that_are_refused(spoiled, keys, said) -> None:
    with pytest.raises(ValueError, match=said):
        gb.read_study(spoiled("study.toml", (FLOOR, f"{FLOOR}\n{keys}")))


def test_an_option_may_list_what_crosses(spoiled) -> None:
    changes = "\n[options.changes]\nisolation.all_crossings_listed = true\n"
    base = "base = { natural_frequency_hz = 4.5, loss_factor = 0.02, own_mass_kg_per_mn = 220 }"
    study = gb.read_study(spoiled("study.toml", (base, base + changes)))
    (option,) = [o for o in study.options if o.name == "springs 4.5 Hz"]
    assert [p.plane.bypass.unlisted_share for p in option.parts] == [0.0]
    assert study.plane.bypass.unlisted_share == 0.05


def test_two_stages_have_their_own_path_and_objects_refuse() -> None:
    spring = LinearMount(stiffness=1e8, loss_factor=0.02)
    double = TwoStageMount(lower=spring, upper=spring, intermediate_mass=100.0)
    assert Bypass().passed(double) == pytest.approx(1e-3)
    assert Bypass().passed(InService(spring, age=1.2)) == pytest.approx(10**-2.5)
    assert NO_BYPASS.passed(spring) == 0.0
    with pytest.raises(ValueError, match="give the reason"):
        Bypass(paths=())
    with pytest.raises(ValueError, match="unlisted_share"):
        Bypass(unlisted_share=-0.1)
    by_band = xr.DataArray([20.0, 30.0], coords={"frequency": [50.0, 63.0]})
    with pytest.raises(ValueError, match="given by band"):
        Bypass(paths=(EnergyPath(name="x", reduction=by_band),))


def test_figure_and_tables_show_both(music_school) -> None:
    result = music_school.result
    ax = insertion_loss(result)
    panels = ax.figure.axes
    legends = [*ax.figure.legends, *(p.get_legend() for p in panels if p.get_legend())]
    labels = [t.get_text() for legend in legends for t in legend.get_texts()]
    assert {"predicted, with bypass", "predicted, without bypass"} <= set(labels)
    drawn = [line.get_ydata() for panel in panels for line in panel.get_lines()]
    alone = -result["base_change_without_bypass"].sel(option="springs 4.5 Hz").values
    assert any(len(y) == alone.size and np.allclose(y, alone) for y in drawn)
    from groundborne.report.tables import result_tables

    table = result_tables(result)["base_isolation"]
    assert "without_bypass_level_change_db" in table.columns


def test_the_share_of_crossings_is_sampled(spoiled) -> None:
    """Each sample is the study with that number."""
    share = xr.DataArray([0.01, 0.05, 0.4], dims="sample")
    losses = []
    file = spoiled("study.toml")
    text = file.read_text()
    study = gb.read_study(file, changes={"isolation.unlisted_share": share})
    chosen = [o for o in study.options if o.name in ("no isolation", "rubber 9 Hz")]
    sampled = study.with_options(chosen)
    found = evaluated(sampled)["base_change"].sel(option="rubber 9 Hz")
    for at, value in enumerate(share.values.tolist()):
        file.write_text(text.replace(FLOOR, f"{FLOOR}\nunlisted_share = {value}"))
        one = gb.read_study(file)
        one = one.with_options(
            [o for o in one.options if o.name in ("no isolation", "rubber 9 Hz")]
        )
        change = evaluated(one)["base_change"].sel(option="rubber 9 Hz")
        np.testing.assert_allclose(found.isel(sample=at), change, atol=1e-6)
        losses.append(-change.values)
    assert (losses[2][6:] < losses[1][6:]).mean() > 0.8
