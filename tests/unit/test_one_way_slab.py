"""Floors that span one way: a finite-element strip, series and limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne.structure import ColumnLine, FloatingFloor, OneWaySlab, SpringFoundation, Storey

F = xr.DataArray([3.0, 8.0, 14.0, 17.5, 25.0, 40.0, 70.0, 120.0, 250.0], dims="frequency")
JOISTS = OneWaySlab(
    span_x=4.2, span_y=5.0, bending_stiffness=1.740e6, cross_stiffness=2662.0, own_mass=45.0,
    loss_factor=0.06,
)  # fmt: skip


def test_point_impedance_has_its_closed_forms() -> None:
    """``H = √(D_x D_y)``: ``8 √m″ (D_x D_y)^¼``; isotropic: ``8 √(B m″)`` (Vigran 2008)."""
    torsion = np.sqrt(1.740e6 * 2662.0)
    wanted = 8 * np.sqrt(45.0) * (1.740e6 * 2662.0) ** 0.25
    found = 1 / JOISTS.point_mobility(torsional_stiffness=torsion)
    assert found == pytest.approx(wanted, rel=1e-6)
    plate = replace(JOISTS, cross_stiffness=1.740e6)
    assert 1 / plate.point_mobility() == pytest.approx(8 * np.sqrt(1.740e6 * 45.0), rel=1e-9)


def strip(floor: OneWaySlab, frequency: float, elements: int = 120) -> np.ndarray:
    """Velocities along a Hermite beam of unit width whose ends move by 1 and are free to turn."""
    length = float(floor.span_x) / elements
    stiffness = complex(floor.bending_stiffness) * (1 + 1j * float(floor.loss_factor))
    mass = float(floor.mass_per_area)
    if floor.floating_floor is not None:
        squared = (frequency / float(floor.floating_floor.natural_frequency)) ** 2
        lossy = 1 - squared / (1 + 1j * float(floor.floating_floor.loss_factor))
        mass = mass + float(floor.floating_floor.mass_per_area) / lossy
    l1, l2 = length, length**2
    k = np.array([[12, 6 * l1, -12, 6 * l1], [6 * l1, 4 * l2, -6 * l1, 2 * l2],
                  [-12, -6 * l1, 12, -6 * l1], [6 * l1, 2 * l2, -6 * l1, 4 * l2]])  # fmt: skip
    m = np.array([[156, 22 * l1, 54, -13 * l1], [22 * l1, 4 * l2, 13 * l1, -3 * l2],
                  [54, 13 * l1, 156, -22 * l1], [-13 * l1, -3 * l2, -22 * l1, 4 * l2]])  # fmt: skip
    size = 2 * (elements + 1)
    dynamic = np.zeros((size, size), complex)
    for e in range(elements):
        at = slice(2 * e, 2 * e + 4)
        dynamic[at, at] += stiffness * k / length**3
        dynamic[at, at] -= (2 * np.pi * frequency) ** 2 * mass * length / 420 * m
    ends = [0, size - 2]
    free = [i for i in range(size) if i not in ends]
    moved = np.ones(2)
    inside = -np.linalg.solve(dynamic[np.ix_(free, free)], dynamic[np.ix_(free, ends)] @ moved)
    all_of = np.zeros(size, complex)
    all_of[free], all_of[ends] = inside, moved
    force = (dynamic[ends] @ all_of).sum()
    return np.array([*all_of[0::2], force])


@pytest.mark.parametrize(
    "layer",
    [
        None,
        FloatingFloor(
            mass_per_area=60.0, stiffness_per_area=60.0 * (2 * np.pi * 12.0) ** 2, loss_factor=0.1
        ),
    ],
)
def test_against_finite_elements(layer) -> None:
    """Hermite elements, 120 to a span: 1e-5 of the ratio up to 250 Hz, four waves to the span."""
    floor = replace(JOISTS, superimposed_mass=30.0, floating_floor=layer)
    mid, surface, load = (
        floor.mid_panel_ratio(F), floor.surface_mean_square_ratio(F), floor.impedance(F)
    )  # fmt: skip
    for at, frequency in enumerate(F.values.tolist()):
        *velocity, force = strip(floor, frequency)
        squares = abs(np.array(velocity)) ** 2
        # Simpson's rule over the nodes.
        weights = np.ones(len(squares))
        weights[1:-1:2], weights[2:-1:2] = 4, 2
        mean = (weights * squares).sum() / weights.sum()
        assert complex(mid[at]) == pytest.approx(velocity[60], rel=1e-4)
        assert float(surface[at]) == pytest.approx(mean, rel=1e-4)
        impedance = force * float(floor.span_y) / (2j * np.pi * frequency)
        assert complex(load[at]) == pytest.approx(impedance, rel=1e-4)


def test_modal_series_is_the_closed_form() -> None:
    """``1 + Σ (4/πp) (−1)^((p−1)/2) [p⁴(1+jη)/(p⁴(1+jη) − (f/f11)²) − 1]`` of odd p."""
    first = float(JOISTS.first_resonance)
    lossy = 1 + 0.06j
    series = 1 + sum(
        4 / (np.pi * p) * (-1) ** ((p - 1) // 2)
        * (p**4 * lossy / (p**4 * lossy - (F.values / first) ** 2) - 1)
        for p in range(1, 4001, 2)
    )  # fmt: skip
    np.testing.assert_allclose(JOISTS.mid_panel_ratio(F).values, series, rtol=1e-6)


def test_low_and_lossless_limits() -> None:
    low = xr.DataArray([0.01], dims="frequency")
    floor = replace(JOISTS, superimposed_mass=55.0, panel_share=0.5)
    whole = 100.0 * 4.2 * 5.0 * 0.5
    assert float(floor.mass) == pytest.approx(whole)
    assert complex(floor.impedance(low)[0]).imag == pytest.approx(2 * np.pi * 0.01 * whole)
    assert abs(complex(floor.mid_panel_ratio(low)[0])) == pytest.approx(1.0, abs=1e-5)
    assert bool((floor.impedance(F).real > 0).all())


def test_it_stands_in_a_line_and_samples() -> None:
    modulus = xr.DataArray([1.0e6, 1.740e6, 2.5e6], dims="sample")
    floor = replace(JOISTS, bending_stiffness=modulus, superimposed_mass=30.0)

    def line(slab: OneWaySlab) -> ColumnLine:
        storey = Storey(
            floor="1", height=3.0, area=0.24 * 5.0, youngs_modulus=5e9, density=1800.0,
            loss_factor=0.02, slab=slab,
        )  # fmt: skip
        return ColumnLine(
            storeys=(storey,), foundation=SpringFoundation(stiffness=1e9, damping=1e6)
        )

    bands = gb.bands.third_octaves(8, 80)
    found = line(floor).mid_panel_mean_square(bands)
    for at, value in enumerate(modulus.values.tolist()):
        one = line(replace(floor, bending_stiffness=value)).mid_panel_mean_square(bands)
        np.testing.assert_allclose(
            found.isel(sample=at).transpose(*one.dims).values, one.values, rtol=1e-12
        )


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"cross_stiffness": 2e6}, "Turn span_x and span_y"),
        ({"own_mass": 0.0}, "own_mass"),
        ({"loss_factor": 2.0}, "loss_factor"),
        ({"span_x": 4200.0}, "span_x"),
    ],
)  # fmt: skip
def test_bad_floors_are_refused(changes, said) -> None:
    with pytest.raises(ValueError, match=said):
        replace(JOISTS, **changes)


def test_joists_do_not_overlap() -> None:
    sizes = {
        "depth": 0.2, "youngs_modulus": 11e9, "density": 450.0, "board_thickness": 0.022,
        "board_modulus": 3e9, "board_density": 650.0, "span_x": 4.0, "span_y": 5.0,
        "loss_factor": 0.05,
    }  # fmt: skip
    with pytest.raises(ValueError, match="overlap"):
        OneWaySlab.of_joists(breadth=0.5, spacing=0.4, **sizes)


def test_a_layer_that_bends_turns_into_a_limp_one_and_into_one_slab() -> None:
    """Without stiffness of its own it is limp; glued on by a very stiff bed, both bend as one."""
    f = xr.DataArray([2.0, 9.0, 16.0, 25.0, 50.0], dims="frequency")
    layer = FloatingFloor(mass_per_area=60.0, stiffness_per_area=60.0 * (2 * np.pi * 12.0) ** 2,
                          loss_factor=0.1, bending_stiffness=1e-2)  # fmt: skip
    bent, limp = (replace(JOISTS, floating_floor=x) for x in (layer, layer.limp()))
    stiff = replace(layer, stiffness_per_area=1e13, bending_stiffness=0.4e6,
                    bending_loss_factor=JOISTS.loss_factor)  # fmt: skip
    glued = replace(JOISTS, floating_floor=stiff)
    whole = replace(
        JOISTS, bending_stiffness=JOISTS.bending_stiffness + 0.4e6, superimposed_mass=60.0
    )
    for one, other, top in ((bent, limp, True), (glued, whole, False)):
        for name in ("mid_panel_ratio", "surface_mean_square_ratio"):
            found = getattr(one, name)(f, on_floating_floor=True).values
            assert found == pytest.approx(getattr(other, name)(f, on_floating_floor=top).values,
                                          rel=5e-3)  # fmt: skip
        assert one.impedance(f).values == pytest.approx(other.impedance(f).values, rel=5e-3)


def test_a_layer_that_bends_takes_samples_and_chunks() -> None:
    f = xr.DataArray([8.0, 16.0], dims="frequency")
    bed = xr.DataArray([1e5, 3e5], dims="sample")
    layer = FloatingFloor(mass_per_area=60.0, stiffness_per_area=bed, loss_factor=0.1,
                          bending_stiffness=1e4, span_bending_stiffness=3e4)  # fmt: skip
    loaded = replace(JOISTS, floating_floor=layer)
    both = loaded.surface_mean_square_ratio(f, on_floating_floor=True)
    lazy = replace(layer, stiffness_per_area=bed.chunk(sample=1))
    chunked = replace(JOISTS, floating_floor=lazy)
    chunked = chunked.surface_mean_square_ratio(f, on_floating_floor=True)
    assert chunked.chunks is not None
    np.testing.assert_allclose(chunked.compute(), both, rtol=1e-12)
    for i in range(2):
        one = replace(layer, stiffness_per_area=float(bed[i]))
        alone = replace(JOISTS, floating_floor=one)
        alone = alone.surface_mean_square_ratio(f, on_floating_floor=True)
        np.testing.assert_allclose(both.isel(sample=i), alone, rtol=1e-9)
