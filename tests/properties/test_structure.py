"""Column lines and slabs: identities and limits that hold for any building."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne import bands
from groundborne.isolation import LinearMount
from groundborne.structure import (
    ColumnLine,
    EdgeSupportedSlab,
    FlatSlab,
    FloatingFloor,
    IsolationPlane,
    Pile,
    RectangularFooting,
    RigidMass,
    SpringFoundation,
    Storey,
)
from groundborne.twoport import TwoPort

F = xr.DataArray(np.geomspace(1.0, 250.0, 60), dims="frequency")


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


floating_floors = st.builds(
    FloatingFloor,
    mass_per_area=between(40, 400),
    stiffness_per_area=between(2e5, 2e7),
    loss_factor=between(0.02, 0.3),
)
panels = {
    "span_x": between(3, 10),
    "span_y": between(3, 10),
    "thickness": between(0.15, 0.4),
    "youngs_modulus": between(15e9, 40e9),
    "density": between(1800, 2500),
    "poisson": between(0, 0.3),
    "loss_factor": between(0.01, 0.1),
    "superimposed_mass": between(0, 400),
    "floating_floor": st.none() | floating_floors,
}
bending_floors = st.builds(
    replace, floating_floors, bending_stiffness=st.sampled_from([1e2, 1e4, 1e6, 2e7])
)
flat_slabs = st.builds(
    FlatSlab, **{**panels, "floating_floor": st.none() | floating_floors | bending_floors}
)
edge_slabs = st.builds(EdgeSupportedSlab, **panels)
slabs = flat_slabs | edge_slabs | st.builds(RigidMass, mass=between(5e3, 1e5))


@st.composite
def storey_rows(draw: st.DrawFn) -> tuple[Storey, ...]:
    count = draw(st.integers(1, 6))
    return tuple(
        Storey(
            floor=i + 1,
            height=draw(between(2.4, 6)),
            area=draw(between(0.05, 1)),
            youngs_modulus=draw(between(20e9, 210e9)),
            density=draw(between(2000, 7850)),
            loss_factor=draw(between(0.005, 0.1)),
            slab=draw(slabs),
        )
        for i in range(count)
    )


foundations = st.builds(
    SpringFoundation,
    stiffness=between(1e8, 1e10),
    damping=between(1e5, 1e8),
    loss_factor=between(0, 0.2),
    mass=between(0, 1e5),
) | st.builds(
    RectangularFooting,
    length=between(2, 20),
    width=between(1, 2),
    shear_wave_speed=between(80, 400),
    density=between(1500, 2200),
    poisson=between(0.2, 0.49),
    loss_factor=between(0.02, 0.1),
)


@st.composite
def buildings(draw: st.DrawFn) -> ColumnLine:
    storeys = draw(storey_rows())
    level = draw(st.integers(0, len(storeys)))
    on = level < len(storeys) and draw(st.booleans())
    mount = LinearMount(stiffness=draw(between(1e7, 2e9)), loss_factor=draw(between(0.01, 0.2)))
    return ColumnLine(
        storeys=storeys,
        foundation=draw(foundations),
        base_slab=draw(slabs),
        base_floor=0,
        isolation=IsolationPlane(mount=mount, **({"on": level} if on else {"under": level})),
    )


def shunt(impedance: xr.DataArray) -> TwoPort:
    one = xr.ones_like(impedance)
    return TwoPort(a=one, b=impedance, c=0 * one, d=one)


def impedance(slab: object, f: xr.DataArray) -> xr.DataArray:
    return 1 / slab.driving_point_mobility(f)  # type: ignore[attr-defined, no-any-return]


def chain(line: ColumnLine, f: xr.DataArray) -> tuple[TwoPort, float]:
    """The line as a product of two-ports, and how far its determinant may stray from rounding."""
    plane = line.isolation
    assert plane is not None
    mount = plane.mount.two_port(f)
    slab = shunt(impedance(line.base_slab, f))
    whole = mount @ slab if plane.under == 0 else slab @ mount if plane.on == 0 else slab
    for storey in line.storeys:
        rod = TwoPort.line(
            f,
            stiffness=storey.youngs_modulus * storey.area / storey.height,
            mass=storey.column_mass,
            loss_factor=storey.loss_factor,
        )
        slab = shunt(impedance(storey.slab, f))
        if plane.under == storey.floor:
            slab = mount @ slab
        if plane.on == storey.floor:
            slab = slab @ mount
        whole = whole @ rod @ slab
    size = float((abs(whole.a * whole.d) + abs(whole.b * whole.c)).max())
    return whole, 1e-13 * size


@settings(max_examples=40)
@given(buildings())
def test_the_recursion_equals_the_product_of_two_ports(line: ColumnLine) -> None:
    whole, rounding = chain(line, F)
    assert float(abs(whole.determinant - 1).max()) <= 1e-9 + rounding  # reciprocity
    ys = line.foundation.driving_point_mobility(F)
    # Nothing rests on the roof: F2 = 0, so v1 = d v2 and F1 = b v2.
    roof = 1 / (whole.d + ys * whole.b)
    np.testing.assert_allclose(line.velocity_ratio(F).isel(floor=-1), roof, rtol=1e-7)
    np.testing.assert_allclose(line.driving_point_mobility(F), whole.d / whole.b, rtol=1e-7)


@settings(max_examples=40)
@given(buildings())
def test_reciprocity_upside_down(line: ColumnLine) -> None:
    """Force at the base and motion of the roof, or the other way round: the same mobility."""
    plane, rows = line.isolation, line.storeys
    assert plane is not None
    nodes = len(rows)
    carried = [line.base_slab, *(s.slab for s in rows)][::-1]
    turned = ColumnLine(
        storeys=tuple(
            replace(segment, floor=i + 1, slab=carried[i + 1])
            for i, segment in enumerate(reversed(rows))
        ),
        foundation=line.foundation,
        base_slab=carried[0],
        base_floor=0,
        isolation=None,
    )
    level = plane.floor
    assert isinstance(level, int)
    if plane.under is not None:
        if level == 0:
            return  # mounts outside the two ends
        turned = replace(turned, isolation=IsolationPlane(mount=plane.mount, on=nodes - level))
    else:
        turned = replace(turned, isolation=IsolationPlane(mount=plane.mount, under=nodes - level))
    transfer = []
    for built in (line, turned):
        ratio = built.velocity_ratio(F)
        transfer.append(
            (ratio.isel(floor=-1) / ratio.isel(floor=0)) * built.driving_point_mobility(F)
        )
    np.testing.assert_allclose(transfer[0], transfer[1], rtol=1e-7)


@settings(max_examples=60)
@given(buildings())
def test_passivity(line: ColumnLine) -> None:
    """No element gives energy: Re Y is 0 or more, and no power flows down through the mounts."""
    for y in (
        line.driving_point_mobility(F),
        *line.mobilities_at_plane(F),
        *(s.slab.driving_point_mobility(F) for s in line.storeys),
    ):
        assert (y.real >= -1e-9 * abs(y)).all()
    power = line.transmitted_power(F)
    assert (power >= -1e-9 * power.max()).all()


@given(
    st.builds(
        Pile,
        diameter=between(0.3, 2),
        length=between(3, 60),
        youngs_modulus=between(20e9, 210e9),
        density=between(2000, 7850),
        soil_shear_wave_speed=between(60, 400),
        soil_density=between(1500, 2200),
        soil_poisson=between(0.2, 0.49),
        soil_loss_factor=between(0.01, 0.2),
    )
)
def test_piles_are_passive(pile: Pile) -> None:
    assert (pile.driving_point_mobility(F).real > 0).all()


@settings(max_examples=25)
@given(storey_rows(), between(0.15, 0.35), between(0.02, 0.1))
def test_low_frequency_limit_is_the_total_mass_on_the_mounts(
    storeys: tuple[Storey, ...], wanted: float, loss_factor: float
) -> None:
    """Mounts far softer than columns, slabs and soil: the resonance is that of all the mass on
    their stiffness, to 0.1 %. A floor of f1 adds (f0/f1)² or so to its mass; floors drawn below
    11 Hz are stiffened for that reason, and floating floors left out."""
    rigid = []
    for s in storeys:
        slab = s.slab
        if isinstance(slab, (FlatSlab, EdgeSupportedSlab)):
            slab = replace(slab, floating_floor=None)
            slower = 11.0 / float(slab.first_resonance)
            if slower > 1:
                slab = replace(slab, youngs_modulus=slab.youngs_modulus * slower**2)
        rigid.append(replace(s, slab=slab, area=max(float(s.area), 0.25)))
    hard = SpringFoundation(stiffness=1e13, loss_factor=0.05)
    bare = ColumnLine(storeys=tuple(rigid), foundation=hard, base_floor=0)
    stiffness = (2 * np.pi * wanted) ** 2 * bare.total_mass
    mount = LinearMount(stiffness=stiffness, loss_factor=loss_factor)
    line = replace(bare, isolation=IsolationPlane(mount=mount, on=0))
    assert line.rigid_body_frequency() == pytest.approx(wanted, rel=1e-6)
    f = xr.DataArray(wanted * np.linspace(0.99, 1.01, 4001), dims="frequency")
    # Free vibration of mass and hysteretic mount: the impedance of both in a row vanishes at f0.
    below, above = line.mobilities_at_plane(f)
    reactance = (below + above + 1 / (stiffness / (2j * np.pi * f))).imag
    found = float(f[int(np.argmin(abs(reactance.values)))])
    assert found == pytest.approx(wanted, rel=1e-3)


@pytest.mark.parametrize("spans", [(8.0, 7.5), (6.0, 6.0), (9.0, 5.0)])
@pytest.mark.parametrize("thickness", [0.2, 0.3])
def test_flat_slab_at_high_frequency_is_an_infinite_plate(
    spans: tuple[float, float], thickness: float
) -> None:
    """Mean of Re Y over the octave of 500 to 1000 Hz against 1/(8√(B′m″)), η = 0.1: 1 dB."""
    slab = FlatSlab(
        span_x=spans[0],
        span_y=spans[1],
        thickness=thickness,
        youngs_modulus=30e9,
        density=2400.0,
        poisson=0.2,
        loss_factor=0.1,
    )
    f = xr.DataArray(np.linspace(500, 1000, 2000), dims="frequency")
    limit = 1 / (8 * np.sqrt(slab.bending_stiffness * slab.mass_per_area))
    found = float(slab.driving_point_mobility(f).real.mean())
    assert 10 * np.log10(found / limit) == pytest.approx(0, abs=1.0)


@pytest.mark.parametrize("spans", [(8.0, 7.5), (6.0, 4.0)])
def test_edge_supported_slab_at_high_frequency_is_driven_along_its_edges(
    spans: tuple[float, float],
) -> None:
    """Octave mean of Z against perimeter × m″ c_B (1 + j)/2, η = 0.3: 1 dB."""
    slab = EdgeSupportedSlab(
        span_x=spans[0],
        span_y=spans[1],
        thickness=0.28,
        youngs_modulus=30e9,
        density=2400.0,
        poisson=0.2,
        loss_factor=0.3,
    )
    f = xr.DataArray(np.linspace(707, 1414, 3000), dims="frequency")
    speed = (slab.bending_stiffness / slab.mass_per_area) ** 0.25 * np.sqrt(2 * np.pi * f)
    limit = (2 * sum(spans) * slab.mass_per_area * speed / 2).mean()
    z = slab.impedance(f).mean()
    assert 10 * np.log10(float(z.real / limit)) == pytest.approx(0, abs=1.0)
    assert 10 * np.log10(float(z.imag / limit)) == pytest.approx(0, abs=1.0)


@settings(max_examples=15)
@given(flat_slabs, st.sampled_from([7.0, 23.0, 61.0, 160.0, 250.0]))
def test_closed_forms_equal_double_modal_sums_on_columns(slab: FlatSlab, hertz: float) -> None:
    """400 x 400 cosine modes. The double sum's own rest falls as 1/modes, so its part of the
    static stiffness is added; 1e-4 covers what is left of it."""
    m = np.arange(401)
    k2 = ((2 * np.pi * m / slab.span_x) ** 2)[:, None] + (2 * np.pi * m / slab.span_y) ** 2
    weight = np.where(m == 0, 1.0, 2.0)
    weight = weight[:, None] * weight
    sign = (-1.0) ** (m[:, None] + m)
    w, f = 2 * np.pi * hertz, xr.DataArray([hertz], dims="frequency")
    floor = slab.floating_floor
    b = float(slab.bending_stiffness) * (1 + 1j * slab.loss_factor)
    answer = b * k2**2 - w**2 * slab.mass_per_area
    top: Any = 1.0
    if floor is not None:
        bed = floor.stiffness_per_area * (1 + 1j * floor.loss_factor)
        bent = floor.bending_stiffness * (1 + 1j * floor.bending_loss_factor)
        top = bed / (bed + bent * k2**2 - w**2 * floor.mass_per_area)
        answer = answer + bed * (1 - top)
    term = weight / answer
    area = slab.span_x * slab.span_y
    column = 1j * w / area * term.sum()
    scale = abs(1j * w / area * abs(term).sum())
    assert abs(complex(slab.driving_point_mobility(f)[0]) - column) < 1e-4 * scale
    mid = complex((slab.mid_panel_ratio(f) * slab.driving_point_mobility(f))[0])
    assert abs(mid - 1j * w / area * (sign * term).sum()) < 1e-4 * scale
    mean = (abs(term) ** 2 / weight).sum()
    found = float((slab.surface_mean_square_ratio(f) * abs(slab.driving_point_mobility(f)) ** 2)[0])
    assert found == pytest.approx((w / area) ** 2 * mean, rel=1e-4)
    on_top = slab.surface_mean_square_ratio(f, on_floating_floor=True)
    found = float((on_top * abs(slab.driving_point_mobility(f)) ** 2)[0])
    assert found == pytest.approx((w / area) ** 2 * (abs(term * top) ** 2 / weight).sum(), rel=1e-4)


@settings(max_examples=15)
@given(edge_slabs, st.sampled_from([7.0, 23.0, 61.0, 160.0, 250.0]))
def test_closed_forms_equal_double_modal_sums_on_edges(
    slab: EdgeSupportedSlab, hertz: float
) -> None:
    """150 x 150 odd modes; their rest is below 1e-6, tolerance 1e-5."""
    m = np.arange(1, 300, 2)
    k2 = ((np.pi * m / slab.span_x) ** 2)[:, None] + (np.pi * m / slab.span_y) ** 2
    share = 64 / np.pi**4 / (m[:, None] * m) ** 2
    sign = (-1.0) ** ((m - 1) // 2)
    shape = 16 / np.pi**2 / (m[:, None] * m) * sign[:, None] * sign
    w, f = 2 * np.pi * hertz, xr.DataArray([hertz], dims="frequency")
    mass = complex(slab.mass_per_area)
    if slab.floating_floor is not None:
        mass += complex(slab.floating_floor.effective_mass(f)[0])
    b = float(slab.bending_stiffness) * (1 + 1j * slab.loss_factor)
    term = w**2 * mass / (b * k2**2 - w**2 * mass)
    area = slab.span_x * slab.span_y
    z = 1j * w * mass * area * (1 + (share * term).sum())
    scale = w * abs(mass) * area * (1 + abs(share * term).sum())
    assert abs(complex(slab.impedance(f)[0]) - z) < 1e-5 * scale
    mid = complex(slab.mid_panel_ratio(f)[0])
    assert abs(mid - 1 - (shape * term).sum()) < 1e-5 * (1 + abs(shape * term).sum())
    mean = 1 + 2 * (share * term).sum().real + (share * abs(term) ** 2).sum()
    assert float(slab.surface_mean_square_ratio(f)[0]) == pytest.approx(mean, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize("kind", [FlatSlab, EdgeSupportedSlab])
def test_mean_squares_where_a_floating_floor_turns_the_mass_negative(kind: type) -> None:
    """A heavy floating floor at its resonance: the wave number crosses the negative real axis,
    where the quotient for the mean square has no value; compared with the modal sum, 1e-4."""
    floor = FloatingFloor(
        mass_per_area=2000.0, stiffness_per_area=2000 * (2 * np.pi * 10) ** 2, loss_factor=0.01
    )
    slab = kind(
        span_x=6.0,
        span_y=5.0,
        thickness=0.2,
        youngs_modulus=30e9,
        density=2400.0,
        poisson=0.2,
        loss_factor=0.05,
        floating_floor=floor,
    )
    f = xr.DataArray(np.linspace(10.0, 30.0, 4001), dims="frequency")
    w = 2 * np.pi * f
    stiffness = slab.bending_stiffness * (1 + 0.05j)
    z = (w**2 * (slab.mass_per_area + floor.effective_mass(f)) / stiffness).values
    crossing = np.flatnonzero((np.diff(np.sign(z.imag)) != 0) & (z.real[1:] < 0))
    assert crossing.size
    m = np.arange(120) if kind is FlatSlab else np.arange(1, 240, 2)
    step = 2 * np.pi if kind is FlatSlab else np.pi
    k4 = (((step * m / 6.0) ** 2)[:, None] + (step * m / 5.0) ** 2) ** 2
    for i in crossing.tolist():
        if kind is FlatSlab:
            weight = np.where(m == 0, 1.0, 2.0)[:, None] * np.where(m == 0, 1.0, 2.0)
            expected = (weight / abs(k4 - z[i]) ** 2).sum() / abs((weight / (k4 - z[i])).sum()) ** 2
        else:
            share = 64 / np.pi**4 / (m[:, None] * m) ** 2
            part = z[i] / (k4 - z[i])
            expected = 1 + 2 * (share * part).sum().real + (share * abs(part) ** 2).sum()
        found = float(slab.surface_mean_square_ratio(f[i : i + 1])[0])
        assert found == pytest.approx(expected, rel=1e-4)


@settings(max_examples=15)
@given(buildings(), st.permutations(range(4)))
def test_parallel_columns_do_not_know_their_order(line: ColumnLine, order: list[int]) -> None:
    names = np.array(["A", "B", "C", "D"])
    scale = xr.DataArray([0.6, 0.9, 1.1, 1.7], dims="column", coords={"column": names})

    def build(scale: xr.DataArray) -> ColumnLine:
        rows = tuple(replace(s, area=s.area * scale) for s in line.storeys)
        return replace(line, storeys=rows)

    straight = build(scale).velocity_ratio(F)
    shuffled = build(scale.isel(column=list(order))).velocity_ratio(F)
    np.testing.assert_allclose(
        shuffled.sel(column=names).transpose(*straight.dims), straight, rtol=1e-9
    )
    alone = build(scale.sel(column="C")).velocity_ratio(F)
    np.testing.assert_allclose(
        alone.transpose("floor", "frequency"),
        straight.sel(column="C").transpose("floor", "frequency"),
        rtol=1e-6,
    )


@settings(max_examples=15)
@given(buildings())
def test_doubling_the_lines_moves_no_band_by_a_tenth_of_a_decibel(line: ColumnLine) -> None:
    labels = bands.third_octaves(1, 250)
    loss = line.loss_factor_floor
    once = bands.single_frequencies(labels, loss_factor=loss)
    # Lines follow the damping: half of it gives twice as many, once past the least number.
    low, high = bands.edges(labels)
    count = 2 * once.sizes["single_frequency"]
    twice = low + (high - low) * xr.DataArray(
        (np.arange(count) + 0.5) / count, dims="single_frequency"
    )
    for built in (line, line.without_isolation()):
        means = [
            (abs(built.velocity_ratio(f)) ** 2)
            .mean("single_frequency")
            .transpose("floor", "frequency")
            for f in (once, twice)
        ]
        assert float(abs(10 * np.log10(means[0] / means[1])).max()) < 0.1


@settings(max_examples=25)
@given(buildings())
def test_very_stiff_mounts_change_nothing(line: ColumnLine) -> None:
    """The two-stage limit of a building without mounts: k = 1e16 N/m, 1e-4."""
    assert line.isolation is not None
    stiff = LinearMount(stiffness=1e16, loss_factor=0.05)
    same = replace(line, isolation=replace(line.isolation, mount=stiff))
    np.testing.assert_allclose(
        same.velocity_ratio(F), line.without_isolation().velocity_ratio(F), rtol=1e-4
    )
