"""Column lines: worked examples, sharing, laziness and refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from groundborne import bands
from groundborne.isolation import BaseIsolation, LinearMount
from groundborne.structure import (
    ColumnLine,
    DiscFooting,
    FlatSlab,
    FloatingFloor,
    InfinitePlate,
    IsolationPlane,
    RigidMass,
    SemiInfiniteRod,
    SpringFoundation,
    Storey,
    ladder,
)

COLUMN = {
    "height": 3.6,
    "area": 0.25,
    "youngs_modulus": 35e9,
    "density": 2450.0,
    "loss_factor": 0.05,
}
SOIL = SpringFoundation(stiffness=9e8, damping=6e6, loss_factor=0.08)
MOUNT = LinearMount(stiffness=2e8, loss_factor=0.08)


def flat(**changes: object) -> FlatSlab:
    given = {
        "span_x": 8.0,
        "span_y": 7.5,
        "thickness": 0.28,
        "youngs_modulus": 38e9,
        "density": 2400.0,
        "poisson": 0.2,
        "loss_factor": 0.06,
        "superimposed_mass": 150.0,
    }
    return FlatSlab(**{**given, **changes})  # type: ignore[arg-type]


def line(levels: int = 3, **changes: object) -> ColumnLine:
    storeys = tuple(Storey(floor=i + 1, slab=flat(), **COLUMN) for i in range(levels))
    given = {
        "storeys": storeys,
        "foundation": SOIL,
        "base_slab": RigidMass(mass=8e4),
        "base_floor": 0,
        "isolation": IsolationPlane(mount=MOUNT, under=1),
    }
    return ColumnLine(**{**given, **changes})  # type: ignore[arg-type]


# ---- the worked soil example -------------------------------------------------------------------

SOIL_EXAMPLE = DiscFooting(radius=1.0, shear_modulus=50e6, density=1900.0, poisson=0.4)


@pytest.mark.parametrize(
    ("frequency", "rigid", "mass", "column"),
    [(16.0, 3.8, 7.1, 2.6), (31.5, 19.0, 6.6, 3.6), (63.0, 31.7, 8.3, 5.4)],
)
def test_worked_soil_example_10_hz(
    frequency: float, rigid: float, mass: float, column: float
) -> None:
    """100 t on a pad of 1 m radius, "10 Hz" mounts [derived]: attenuation on rigid ground, and
    insertion losses of the mass and of an endless 0.36 m² column on soil; 0.1 dB."""
    f = xr.DataArray([frequency], dims="frequency")
    mount = LinearMount.tuned(natural_frequency=10.0, mass=1e5, loss_factor=0.1)
    rod = SemiInfiniteRod(area=0.36, youngs_modulus=33e9, density=2400.0)
    on_soil = BaseIsolation(mount, below=SOIL_EXAMPLE, above=RigidMass(mass=1e5))
    as_rod = BaseIsolation(mount, below=SOIL_EXAMPLE, above=rod)
    assert float(on_soil.insertion_loss(f)[0]) == pytest.approx(mass, abs=0.1)
    assert float(as_rod.insertion_loss(f)[0]) == pytest.approx(column, abs=0.1)
    ratio = mount.two_port(f).velocity_ratio(
        source_mobility=0.0, receiver_mobility=RigidMass(mass=1e5).driving_point_mobility(f)
    )
    assert float(-20 * np.log10(abs(ratio))[0]) == pytest.approx(rigid, abs=0.1)


@pytest.mark.parametrize(
    ("frequency", "mass", "column"), [(16.0, 16.0, 8.7), (31.5, 15.6, 11.1), (63.0, 18.5, 14.6)]
)
def test_worked_soil_example_5_hz(frequency: float, mass: float, column: float) -> None:
    """The same with "5 Hz" mounts [derived]; 0.1 dB."""
    f = xr.DataArray([frequency], dims="frequency")
    mount = LinearMount.tuned(natural_frequency=5.0, mass=1e5, loss_factor=0.1)
    rod = SemiInfiniteRod(area=0.36, youngs_modulus=33e9, density=2400.0)
    for above, expected in ((RigidMass(mass=1e5), mass), (rod, column)):
        found = BaseIsolation(mount, below=SOIL_EXAMPLE, above=above).insertion_loss(f)
        assert float(found[0]) == pytest.approx(expected, abs=0.1)


def test_worked_soil_example_as_a_column_line() -> None:
    """A line whose only weight is a mass on a short stiff column gives the same losses, and the
    building without mounts resonates on its soil at 9.2 Hz [derived]; 0.1 dB, 0.5 %."""
    stub = Storey(
        floor="mass",
        height=0.01,
        area=1.0,
        youngs_modulus=1e12,
        density=1.0,
        loss_factor=0.0,
        slab=RigidMass(mass=1e5),
    )
    mount = LinearMount.tuned(natural_frequency=10.0, mass=1e5, loss_factor=0.1)
    isolated = ColumnLine(
        storeys=(stub,),
        foundation=SOIL_EXAMPLE,
        isolation=IsolationPlane(mount=mount, under="mass"),
    )
    f = xr.DataArray([16.0, 31.5, 63.0], dims="frequency")
    ratio = isolated.without_isolation().velocity_ratio(f) / isolated.velocity_ratio(f)
    found = 20 * np.log10(abs(ratio)).values.ravel()
    np.testing.assert_allclose(found, [7.1, 6.6, 8.3], atol=0.1)
    assert isolated.rigid_body_frequency() == pytest.approx(10.0, rel=1e-4)
    # With the dashpot of the soil the spring and the mass meet where Z = ωm = K/ω.
    fine = xr.DataArray(np.arange(5.0, 15.0, 0.001), dims="frequency")
    z = 1 / SOIL_EXAMPLE.driving_point_mobility(fine) + 2j * np.pi * fine * 1e5
    assert float(fine[int(np.argmin(abs(z.imag.values)))]) == pytest.approx(9.19, rel=5e-3)


def test_ten_storeys_dip_below_the_endless_column() -> None:
    """A chain of the same 100 t over ten storeys, η = 0.02, loses far less at its own modes than
    the endless column's 3.6 dB at 31.5 Hz and 5.4 dB at 63 Hz [derived]."""
    storey = Storey(
        floor=1,
        height=3.6,
        area=0.36,
        youngs_modulus=33e9,
        density=2400.0,
        loss_factor=0.02,
        slab=RigidMass(mass=1e4 - 0.36 * 3.6 * 2400),
    )
    isolated = ColumnLine(
        storeys=tuple(replace(storey, floor=i) for i in range(1, 11)),
        foundation=SOIL_EXAMPLE,
        isolation=IsolationPlane(
            mount=LinearMount.tuned(natural_frequency=10.0, mass=1e5, loss_factor=0.1), on="base"
        ),
    )
    assert isolated.mass_above == pytest.approx(1e5)
    f = xr.DataArray(np.arange(20.0, 70.0, 0.05), dims="frequency")
    ratio = isolated.without_isolation().velocity_ratio(f) / isolated.velocity_ratio(f)
    loss = 20 * np.log10(abs(ratio)).isel(floor=-1)
    assert loss.min() < 0
    assert loss.max() > 8


# ---- results -----------------------------------------------------------------------------------


def test_names_dims_and_masses() -> None:
    column = xr.DataArray([1.0, 2.0], dims="column", coords={"column": ["A1", "B1"]})
    isolated = line(
        isolation=IsolationPlane(
            mount=LinearMount(stiffness=2e8 * column, loss_factor=0.08), under=1
        )
    )
    f = bands.third_octaves(8, 80)
    loss = isolated.insertion_loss(f)
    assert loss.dims == ("floor", "column", "frequency")
    assert loss["floor"].values.tolist() == [0, 1, 2, 3]
    assert loss["column"].values.tolist() == ["A1", "B1"]
    assert loss.attrs["units"] == "dB"
    assert "longitudinal rods" in loss.attrs["citations"]
    slab, segment = 60 * (0.28 * 2400 + 150), 0.25 * 3.6 * 2450
    assert isolated.mass_above == pytest.approx(3 * slab + 2 * segment)
    assert isolated.total_mass == pytest.approx(3 * slab + 3 * segment + 8e4)
    standing = replace(isolated, isolation=IsolationPlane(mount=MOUNT, on=0))
    assert standing.mass_above == pytest.approx(3 * slab + 3 * segment)
    raised = replace(isolated, isolation=IsolationPlane(mount=MOUNT, under=0))
    assert raised.mass_above == pytest.approx(raised.total_mass)


def test_rooms_below_the_mounts_gain_nothing() -> None:
    """From 31.5 Hz every floor above gains; the base below gains or loses 2 dB at most, half a
    decibel in the mean."""
    loss = line().insertion_loss(bands.third_octaves(31.5, 250))
    assert (loss.sel(floor=[1, 2, 3]).mean("frequency") > 5).all()
    assert (abs(loss.sel(floor=0)) < 2).all()
    assert abs(loss.sel(floor=0).mean()) < 0.5


def test_slab_values_are_the_product_of_column_and_panel() -> None:
    isolated = line(isolation=None)
    f = bands.third_octaves(10, 20)
    lines = bands.single_frequencies(f, loss_factor=isolated.loss_factor_floor)
    column = abs(isolated.velocity_ratio(lines)) ** 2
    mid = abs(flat().mid_panel_ratio(lines)) ** 2
    expected = (column * mid).mean("single_frequency").sel(floor=[1, 2, 3])
    found = isolated.mid_panel_mean_square(f)
    np.testing.assert_allclose(found.sel(floor=[1, 2, 3]), expected, rtol=1e-9)
    assert found.dims == ("floor", "frequency")
    np.testing.assert_allclose(
        found.sel(floor=0), column.mean("single_frequency").sel(floor=0), rtol=1e-9
    )


def test_floating_floor_is_read_on_request() -> None:
    floor = FloatingFloor(
        mass_per_area=250.0, stiffness_per_area=250 * (2 * np.pi * 9) ** 2, loss_factor=0.1
    )
    isolated = line()
    top = replace(isolated.storeys[2], slab=flat(floating_floor=floor))
    isolated = replace(isolated, storeys=(*isolated.storeys[:2], top))
    f = bands.third_octaves(40, 80)
    slab = isolated.surface_mean_square(f)
    above = isolated.surface_mean_square(f, on_floating_floor=True)
    np.testing.assert_allclose(slab.sel(floor=[1, 2]), above.sel(floor=[1, 2]), rtol=1e-12)
    assert (10 * np.log10(slab / above).sel(floor=3) > 15).all()


def test_power_and_velocity_losses_agree_at_one_frequency() -> None:
    """Above one plane all that is linear is driven by one motion, so at a single frequency every
    floor above and the power lose the same."""
    isolated = line()
    f = xr.DataArray([12.0, 40.0, 90.0], dims="frequency")
    power = isolated.transmitted_power(f)
    below, above = isolated.mobilities_at_plane(f)
    plain = abs(1 / (below + above)) ** 2 * above.real
    # The free velocity at the plane is not that of the ground: compare ratios of two mounts.
    stiffer = replace(
        isolated,
        isolation=IsolationPlane(mount=LinearMount(stiffness=4e8, loss_factor=0.08), under=1),
    )
    ratio = stiffer.velocity_ratio(f) / isolated.velocity_ratio(f)
    expected = (abs(ratio) ** 2).sel(floor=3)
    np.testing.assert_allclose(stiffer.transmitted_power(f) / power, expected, rtol=1e-9)
    assert (power > 0).all()
    assert (plain > 0).all()


def test_mobilities_at_the_plane_give_the_same_insertion_loss() -> None:
    isolated = line()
    f = xr.DataArray(np.geomspace(2, 250, 60), dims="frequency")
    below, above = isolated.mobilities_at_plane(f)
    port = MOUNT.two_port(f)
    expected = port.velocity_ratio(source_mobility=below, receiver_mobility=above) * (
        (above + below) / above
    )
    found = isolated.velocity_ratio(f) / isolated.without_isolation().velocity_ratio(f)
    for floor in (1, 2, 3):
        np.testing.assert_allclose(found.sel(floor=floor), expected, rtol=1e-9)


def test_equal_parts_are_evaluated_once(monkeypatch: pytest.MonkeyPatch) -> None:
    counted = {"rods": 0, "slabs": 0}
    real_rod, real_slab = ladder.rod, FlatSlab.impedance

    def rod(*args: object, **kwargs: object) -> ladder.Rod:
        counted["rods"] += 1
        return real_rod(*args, **kwargs)  # type: ignore[arg-type]

    def impedance(self: FlatSlab, frequency: xr.DataArray) -> xr.DataArray:
        counted["slabs"] += 1
        return real_slab(self, frequency)

    monkeypatch.setattr(ladder, "rod", rod)
    monkeypatch.setattr(FlatSlab, "impedance", impedance)
    modulus = xr.DataArray([33e9, 36e9], dims="sample")
    storeys = tuple(
        Storey(
            floor=i,
            slab=flat(youngs_modulus=modulus.copy()),
            **{**COLUMN, "area": 0.36 if i < 12 else 0.25, "youngs_modulus": modulus.copy()},
        )
        for i in range(24)
    )
    tall = ColumnLine(storeys=storeys, foundation=SOIL)
    tall.velocity_ratio(xr.DataArray([10.0, 20.0], dims="frequency"))
    assert counted == {"rods": 2, "slabs": 1}


def test_chunked_samples_stay_lazy_and_give_the_same() -> None:
    modulus = xr.DataArray(np.linspace(30e9, 40e9, 8), dims="sample")
    f = bands.third_octaves(12.5, 31.5)

    def mean_square(e: xr.DataArray) -> xr.DataArray:
        storeys = tuple(
            Storey(floor=i, slab=flat(youngs_modulus=e), **{**COLUMN, "youngs_modulus": e})
            for i in (1, 2)
        )
        built = ColumnLine(
            storeys=storeys, foundation=SOIL, isolation=IsolationPlane(mount=MOUNT, under=1)
        )
        return built.mid_panel_mean_square(f)

    lazy = mean_square(modulus.chunk(sample=3))
    assert lazy.chunks is not None
    np.testing.assert_allclose(
        lazy.compute().transpose("floor", "sample", "frequency"),
        mean_square(modulus).transpose("floor", "sample", "frequency"),
        rtol=1e-6,
    )


def test_a_tall_lossy_line_at_high_frequency_does_not_overflow() -> None:
    storeys = tuple(
        Storey(floor=i, slab=flat(), **{**COLUMN, "loss_factor": 1.0, "height": 200.0})
        for i in range(60)
    )
    tall = ColumnLine(storeys=storeys, foundation=SOIL)
    ratio = tall.velocity_ratio(xr.DataArray([1.0, 20e3], dims="frequency"))
    assert np.isfinite(ratio.values.view(float)).all()


# ---- refusals ----------------------------------------------------------------------------------


def test_storey_refusals() -> None:
    good = {"floor": 1, "slab": RigidMass(mass=1e4), **COLUMN}
    for argument in ("height", "area", "youngs_modulus", "density"):
        for value in (0.0, -1.0):
            with pytest.raises(ValueError, match=f"Storey 1: {argument} is {value:g}; .* above 0"):
                Storey(**{**good, argument: value})  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"Storey: slab is None; a Slab .* or a Mobility"):
        Storey(**{**good, "slab": None})  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"Storey: slab is 20000.0; a Slab \(it has .*impedance"):
        Storey(**{**good, "slab": 2e4})  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"floor is 1\.5; a word or a whole number"):
        Storey(**{**good, "floor": 1.5})  # type: ignore[arg-type]
    bad = xr.DataArray([35e9, -1.0], dims="column", coords={"column": ["A", "B"]})
    with pytest.raises(ValueError, match="youngs_modulus is -1 at column=B"):
        Storey(**{**good, "youngs_modulus": bad})  # type: ignore[arg-type]


def test_plane_refusals() -> None:
    with pytest.raises(ValueError, match="give exactly one of them"):
        IsolationPlane(mount=MOUNT)
    with pytest.raises(ValueError, match="give exactly one of them"):
        IsolationPlane(mount=MOUNT, under=1, on=2)
    with pytest.raises(ValueError, match=r"floor 9, which is not in the building; .* 0, 1, 2, 3"):
        line(isolation=IsolationPlane(mount=MOUNT, under=9))
    with pytest.raises(ValueError, match="stands on 3, the topmost floor; nothing rests on"):
        line(isolation=IsolationPlane(mount=MOUNT, on=3))
    with pytest.raises(ValueError, match="under 0, where there is no slab; give base_slab"):
        line(isolation=IsolationPlane(mount=MOUNT, under=0), base_slab=None)


def test_line_refusals() -> None:
    with pytest.raises(ValueError, match="storeys must be at least one Storey"):
        line(storeys=())
    with pytest.raises(ValueError, match="the floor 1 is given twice"):
        line(storeys=(line().storeys[0], line().storeys[0]))
    with pytest.raises(ValueError, match="floors mix names and numbers"):
        line(base_floor="ground", isolation=None)
    with pytest.raises(
        ValueError, match=r"foundation is 900000000.0; a Mobility \(it has .*driving_point_mobility"
    ):
        line(foundation=9e8)
    with pytest.raises(ValueError, match=r"base_slab is 80000.0; a Slab"):
        line(base_slab=8e4)


def test_results_that_need_mounts_or_panels_say_so() -> None:
    bare = line(isolation=None)
    f = bands.third_octaves(50, 63)
    calls = {
        "insertion_loss": f,
        "power_insertion_loss": f,
        "transmitted_power": f,
        "mobilities_at_plane": f,
        "rigid_body_frequency": None,
    }
    for name, argument in calls.items():
        with pytest.raises(ValueError, match=f"ColumnLine.{name}: the line has no isolation"):
            getattr(bare, name)(*([] if argument is None else [argument]))
    with pytest.raises(ValueError, match=r"ColumnLine.mass_above: the line has no isolation"):
        _ = bare.mass_above
    plate = InfinitePlate(bending_stiffness=5e7, mass_per_area=700.0)
    storey = replace(bare.storeys[0], floor=4, slab=plate)
    endless = replace(bare, storeys=(*bare.storeys, storey))
    assert endless.column_mean_square(f).sizes["floor"] == 5
    with pytest.raises(ValueError, match="floor 4 is InfinitePlate, which has no mid-panel"):
        endless.mid_panel_mean_square(f)
    with pytest.raises(ValueError, match="floor 4 is InfinitePlate, which has no finite mass"):
        _ = endless.total_mass


def test_an_undamped_line_is_refused_for_bands() -> None:
    storey = Storey(floor=1, slab=RigidMass(mass=1e4), **{**COLUMN, "loss_factor": 0.0})
    undamped = ColumnLine(storeys=(storey,), foundation=SOIL)
    with pytest.raises(ValueError, match="smallest loss factor is 0"):
        undamped.column_mean_square(bands.third_octaves(50, 63))
