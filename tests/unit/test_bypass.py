"""Ways past one stage of isolation: energies add, crossings stand beside the mounts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st

from groundborne.bands import third_octaves
from groundborne.isolation import (
    ONE_STAGE_PATH,
    TWO_STAGE_PATH,
    BaseIsolation,
    Bypassed,
    CrossedMount,
    Crossing,
    EnergyPath,
    IdealIsolation,
    InParallel,
    InService,
    LinearMount,
    SurfaceIsolation,
    TwoStageMount,
    bypassed_loss,
    stage_paths,
    with_and_without,
)
from groundborne.isolation.bypass import stages_of
from groundborne.structure import DiscFooting, RigidMass

ONE = xr.DataArray(1.0)
BANDS = third_octaves(5, 250)
MASS = 2.4e6
MOUNT = LinearMount.tuned(natural_frequency=4.5, mass=MASS, loss_factor=0.02)


def path(reduction: float) -> EnergyPath:
    return EnergyPath(name=f"{reduction:g} dB", reduction=reduction)


@given(st.floats(-30, 80), st.lists(st.floats(0, 80), min_size=1, max_size=4), st.floats(0.1, 20))
def test_never_above_the_best_way_and_monotone(loss, reductions, more) -> None:
    paths = [path(r) for r in reductions]
    found = bypassed_loss(loss, paths=paths)
    assert found < min(loss, *reductions) + 1e-9
    # No lower than if all ways were as loud as the loudest.
    assert found >= min(loss, *reductions) - 10 * np.log10(1 + len(paths)) - 1e-9
    assert bypassed_loss(loss + more, paths=paths) >= found
    assert bypassed_loss(loss, paths=[*paths, path(50.0)]) <= found
    assert bypassed_loss(loss, paths=[]) == pytest.approx(loss, abs=1e-9)


def test_no_number_never_passes() -> None:
    with pytest.raises(ValueError, match="reduction is nan"):
        path(float("nan"))
    with pytest.raises(ValueError, match="loss"):
        bypassed_loss(float("nan"), paths=[ONE_STAGE_PATH])
    natural = xr.DataArray([10.0, np.nan], dims="sample").chunk()
    floor = SurfaceIsolation(natural_frequency=natural, loss_factor=0.1, largest_loss=60.0)
    change = Bypassed(floor).level_change(BANDS)
    with pytest.raises(ValueError, match="the result is not a number somewhere"):
        change.compute()


def test_base_floor_and_box_alike() -> None:
    """One element for all: dB by dB it is the formula, and it keeps the ends of its step."""
    pad = DiscFooting(radius=8.0, shear_modulus=80e6, density=1900.0, poisson=0.4)
    steps = [
        IdealIsolation(MOUNT, MASS),
        BaseIsolation(MOUNT, below=pad, above=RigidMass(mass=MASS)),
        SurfaceIsolation(natural_frequency=8.0, loss_factor=0.1, largest_loss=60.0),
    ]
    for step in steps:
        bypassed = Bypassed(step)
        assert (bypassed.quantity_in, bypassed.quantity_out) == (
            step.quantity_in,
            step.quantity_out,
        )
        alone = -step.level_change(BANDS)
        by_hand = -10 * np.log10(10 ** (-alone.values / 10) + 10**-2.5)
        assert -bypassed.level_change(BANDS).values == pytest.approx(by_hand, abs=1e-9)
        governs = bypassed.bypass_governs(BANDS).values
        assert governs.tolist() == (alone.values > 25.0).tolist()
        assert governs.any()
        assert not governs.all()
        assert bypassed.valid(BANDS).equals(step.valid(BANDS))
        assert "RD 1989/2" in " ".join(c.text for c in bypassed.citations)


def test_a_path_known_by_band() -> None:
    by_band = xr.DataArray(np.linspace(20, 40, BANDS.size), coords={"frequency": BANDS.values})
    step = IdealIsolation(MOUNT, MASS)
    found = Bypassed(step, paths=[EnergyPath(name="tray", reduction=by_band)]).level_change(BANDS)
    alone = step.level_change(BANDS).values
    by_hand = 10 * np.log10(10 ** (alone / 10) + 10 ** (-by_band.values / 10))
    assert found.values == pytest.approx(by_hand, abs=1e-9)
    other = Bypassed(step, paths=[EnergyPath(name="tray", reduction=by_band)])
    with pytest.raises(ValueError, match="frequency"):
        other.level_change(third_octaves(10, 100))


def test_paths_by_the_stages_of_a_mount() -> None:
    soft = LinearMount(stiffness=1e7, loss_factor=0.1)
    two = TwoStageMount(lower=soft, upper=soft, intermediate_mass=1e4)
    crossed = CrossedMount(
        mount=InService(two, age=1.1), crossings=[Crossing(name="x", stiffness=1e5)], weights=ONE
    )
    assert stage_paths(soft) == (ONE_STAGE_PATH,)
    assert stage_paths(crossed) == (TWO_STAGE_PATH,)
    assert TWO_STAGE_PATH.sources[0].mark == "common practice"
    assert ONE_STAGE_PATH.sources[0].mark == "seen"


def test_with_and_without_in_one_figure() -> None:
    crossed = CrossedMount(mount=MOUNT, crossings=[Crossing.unlisted(MOUNT)], weights=ONE)
    alone = IdealIsolation(MOUNT, MASS)
    both = with_and_without(BANDS, without=alone, bypassed=Bypassed(IdealIsolation(crossed, MASS)))
    assert both["bypass"].values.tolist() == ["without bypass", "with bypass"]
    assert both.sel(bypass="without bypass").values == pytest.approx(
        -alone.level_change(BANDS).values
    )
    high = both.sel(frequency=[63.0, 250.0])
    assert (high.sel(bypass="with bypass") < 25.0).all()
    assert (high.sel(bypass="without bypass") > 40.0).all()
    assert both.attrs["units"] == "dB"
    floor = SurfaceIsolation(natural_frequency=8.0, loss_factor=0.1)
    with pytest.raises(ValueError, match="both must be the same step"):
        with_and_without(BANDS, without=alone, bypassed=Bypassed(floor))


def test_bad_paths() -> None:
    with pytest.raises(ValueError, match="name is empty"):
        EnergyPath(name=" ", reduction=25.0)
    with pytest.raises(ValueError, match="reduction is -1"):
        path(-1.0)
    with pytest.raises(ValueError, match="there is no path"):
        Bypassed(IdealIsolation(MOUNT, MASS), paths=[])


# ---- crossings by what they are --------------------------------------------------------------


def natural(mount, mass: float) -> float:
    slow = xr.DataArray([0.01], dims="frequency")
    return float(np.sqrt(mount.dynamic_stiffness(slow).real[0] / mass)) / (2 * np.pi)


def test_a_board_before_the_soil_is_in_series() -> None:
    """Much stiffer than the soil it changes nothing, much softer it alone counts."""
    about = {"area": 234.0, "density": 1900.0, "shear_wave_speed": 200.0}
    f = xr.DataArray([8.0, 31.5, 80.0], dims="frequency")
    bare = Crossing.soil(**about)
    hard = Crossing.soil(**about, board_modulus=1e13, board_thickness=0.05)
    soft = Crossing.soil(**about, board_modulus=1e3, board_thickness=0.05)
    middle = Crossing.soil(**about, board_modulus=2e5, board_thickness=0.05)
    k = 2e5 * 234.0 / 0.05 * (1 + 0.1j)
    c = 2j * np.pi * f.values * bare.damping
    assert hard.dynamic_stiffness(f).values == pytest.approx(
        bare.dynamic_stiffness(f).values, rel=1e-3
    )
    alone = 1e3 * 234.0 / 0.05 * (1 + 0.1j)
    assert soft.dynamic_stiffness(f).values == pytest.approx(alone, rel=1e-2)
    assert middle.dynamic_stiffness(f).values == pytest.approx(1 / (1 / k + 1 / c), rel=1e-12)
    with pytest.raises(ValueError, match="belong together"):
        Crossing.soil(**about, board_modulus=1e5)


def test_members_with_and_without_sleeves() -> None:
    """DN100 riser, 3e-3 m², held 3 m to either side: about 1e8 N/m [common practice]."""
    about = {"youngs_modulus": 210e9, "section_area": 3e-3, "length": 6.0}
    bare = Crossing.member(name="riser", **about)
    assert bare.stiffness == pytest.approx(1.05e8)
    f = xr.DataArray([10.0], dims="frequency")
    sleeved = Crossing.member(name="riser", **about, sleeve_stiffness=5e5, count=3)
    expected = 3 / (1 / (1.05e8 * (1 + 0.01j)) + 1 / (5e5 * (1 + 0.1j)))
    assert complex(sleeved.dynamic_stiffness(f)[0]) == pytest.approx(expected, rel=1e-12)
    with pytest.raises(ValueError, match="length is 0"):
        Crossing.member(name="riser", **{**about, "length": 0.0})
    with pytest.raises(ValueError, match="sleeve_stiffness"):
        replace(bare, sleeve_stiffness=0.0)


def test_unlisted_crossings_are_a_twentieth_of_the_mounts() -> None:
    """4.611 Hz, 0.434 dB at 31.5 Hz with k_b/k_m = 0.05 [derived]; the share is practice."""
    unlisted = Crossing.unlisted(MOUNT)
    crossed = CrossedMount(mount=MOUNT, crossings=[unlisted], weights=ONE)
    assert natural(crossed, MASS) == pytest.approx(4.611, abs=5e-4)
    assert "common practice" in " ".join(c.mark for c in crossed.citations)
    columns = xr.DataArray([0.6, 0.4], coords={"column": ["A", "B"]})
    many = LinearMount(stiffness=columns * 1e7, loss_factor=0.02)
    shared = CrossedMount(mount=many, crossings=[Crossing.unlisted(many)], weights=columns)
    f = xr.DataArray([5.0], dims="frequency")
    ratio = (shared.dynamic_stiffness(f) / many.dynamic_stiffness(f)).real
    assert ratio.values == pytest.approx(1.05, abs=1e-3)
    with pytest.raises(ValueError, match="share is 0"):
        Crossing.unlisted(MOUNT, share=0.0)


def test_one_stage_beside_two_is_one_stage() -> None:
    single = LinearMount(stiffness=2e6, loss_factor=0.05)
    double = TwoStageMount(lower=single, upper=single, intermediate_mass=1e3)
    for first, second in ((single, double), (double, single)):
        assert stages_of(InParallel(first, second)) == 1
    assert stages_of(InParallel(double, double)) == 2
