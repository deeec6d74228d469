"""Slabs, plates, floating floors and piles: worked values, limits and refusals."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy.special import kve

from groundborne import bands
from groundborne.structure import (
    EdgeSupportedSlab,
    FlatSlab,
    FloatingFloor,
    InfiniteBeam,
    InfinitePlate,
    Pile,
    PileGroup,
    plate_bending_stiffness,
    simply_supported_frequency,
)

CONCRETE = {"youngs_modulus": 30e9, "density": 2400.0, "poisson": 0.2}
PANEL = {"span_x": 8.0, "span_y": 7.5, "thickness": 0.28, "loss_factor": 0.05, **CONCRETE}
PILE = {
    "diameter": 0.9,
    "length": 24.0,
    "youngs_modulus": 33e9,
    "density": 2450.0,
    "soil_shear_wave_speed": 150.0,
    "soil_density": 1900.0,
    "soil_poisson": 0.45,
    "soil_loss_factor": 0.06,
}


def at(*frequency: float) -> xr.DataArray:
    return xr.DataArray(list(frequency), dims="frequency")


# ---- plates ------------------------------------------------------------------------------------


def test_worked_plate_frequencies() -> None:
    """180 mm slab of 6 x 4 m, E = 26 GPa, 2300 kg/m³: 25.3, 48.6, 77.8 Hz [derived], 0.3 %."""
    b = plate_bending_stiffness(youngs_modulus=26e9, thickness=0.18, poisson=0.2)
    for modes, expected in (((1, 1), 25.3), ((2, 1), 48.6), ((1, 2), 77.8)):
        found = simply_supported_frequency(
            length=6.0, width=4.0, bending_stiffness=b, mass_per_area=0.18 * 2300, modes=modes
        )
        assert found == pytest.approx(expected, rel=3e-3)


@pytest.mark.parametrize(("thickness", "mobility"), [(0.1, 5.0e-6), (0.2, 1.25e-6), (0.3, 5.6e-7)])
def test_worked_plate_mobilities(thickness: float, mobility: float) -> None:
    """E = 30 GPa, 2400 kg/m³, ν = 0.2 [derived]; the tolerance is the last printed digit."""
    b = plate_bending_stiffness(youngs_modulus=30e9, thickness=thickness, poisson=0.2)
    plate = InfinitePlate(bending_stiffness=b, mass_per_area=2400 * thickness)
    assert plate.driving_point_mobility(at(50.0)).real[0] == pytest.approx(mobility, rel=1e-2)
    edge = InfinitePlate(bending_stiffness=b, mass_per_area=2400 * thickness, position="edge")
    ratio = edge.driving_point_mobility(at(50.0)) / plate.driving_point_mobility(at(50.0))
    assert complex(ratio[0]) == pytest.approx(8 / 3.5)


def test_beam_impedance_follows_the_phase_speed() -> None:
    """``Z = 2 m′ c_B (1 + j)`` with the phase speed (Cremer and Heckl, from memory)."""
    stiffness, mass, f = 2.5e8, 600.0, 40.0
    speed = (stiffness / mass) ** 0.25 * np.sqrt(2 * np.pi * f)
    beam = InfiniteBeam(bending_stiffness=stiffness, mass_per_length=mass)
    assert complex(beam.impedance(at(f))[0]) == pytest.approx(2 * mass * speed * (1 + 1j))


def test_plate_refusals() -> None:
    with pytest.raises(ValueError, match=r"position is 'middle'; known are 'interior', 'edge'"):
        InfinitePlate(bending_stiffness=1e7, mass_per_area=500.0, position="middle")
    with pytest.raises(ValueError, match=r"InfiniteBeam: bending_stiffness is 0; .* above 0 N m²"):
        InfiniteBeam(bending_stiffness=0.0, mass_per_length=500.0)
    with pytest.raises(ValueError, match=r"modes is \(0, 1\); each number of half-waves"):
        simply_supported_frequency(
            length=1.0, width=1.0, bending_stiffness=1.0, mass_per_area=1.0, modes=(0, 1)
        )
    with pytest.raises(ValueError, match=r"poisson is 0\.5"):
        plate_bending_stiffness(youngs_modulus=1e9, thickness=0.1, poisson=0.5)


# ---- slabs -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spans", "thickness", "modulus", "superimposed", "expected"),
    [
        ((8.0, 7.5), 0.28, 38e9, 150.0, 12.0),
        ((8.0, 7.5), 0.40, 38e9, 150.0, 17.5),
        ((8.0, 7.5), 0.28, 38e9, 300.0, 11.0),
        ((6.0, 6.0), 0.22, 22.5e9, 180.0, 11.5),
    ],
)
def test_first_resonances_of_the_invented_buildings(
    spans: tuple[float, float],
    thickness: float,
    modulus: float,
    superimposed: float,
    expected: float,
) -> None:
    """Floor frequencies worked out beforehand by a double modal sum, to 2 % [derived]."""
    slab = FlatSlab(
        span_x=spans[0],
        span_y=spans[1],
        thickness=thickness,
        youngs_modulus=modulus,
        density=2400.0,
        poisson=0.2,
        loss_factor=0.05,
        superimposed_mass=superimposed,
    )
    assert slab.first_resonance == pytest.approx(expected, rel=0.02)


def test_first_resonance_is_the_zero_of_the_mobility() -> None:
    slab = FlatSlab(**{**PANEL, "loss_factor": 1e-6})
    f1 = float(slab.first_resonance)
    near = slab.driving_point_mobility(at(0.999 * f1, f1, 1.001 * f1)).imag.values
    assert near[0] < 0 < near[2]
    assert abs(near[1]) < 1e-3 * abs(near[0])


@pytest.mark.parametrize("kind", [FlatSlab, EdgeSupportedSlab])
def test_tuned_slab_has_the_frequency_asked_for(kind: type) -> None:
    rest = {k: v for k, v in PANEL.items() if k != "youngs_modulus"}
    wanted = xr.DataArray([7.5, 11.5], dims="option")
    slab = kind.tuned(first_resonance=wanted, **rest)
    np.testing.assert_allclose(slab.first_resonance, wanted, rtol=1e-9)
    with pytest.raises(ValueError, match="youngs_modulus is given as well"):
        kind.tuned(first_resonance=9.0, **PANEL)
    with pytest.raises(ValueError, match="first_resonance is -1"):
        kind.tuned(first_resonance=-1.0, **rest)


def test_amplification_of_the_worked_flat_slab() -> None:
    """280 mm on 8.0 x 7.5 m, η = 0.05, 12.5 Hz band: about 23 dB at mid-panel and 20 dB over the
    surface [derived beforehand by a double modal sum]; rounded to whole dB, hence 1 dB."""
    slab = FlatSlab(**PANEL)
    f = bands.single_frequencies(bands.third_octaves(12.5, 12.5), loss_factor=0.05)
    mid = 10 * np.log10((abs(slab.mid_panel_ratio(f)) ** 2).mean())
    surface = 10 * np.log10(slab.surface_mean_square_ratio(f).mean())
    assert mid == pytest.approx(23, abs=1)
    assert surface == pytest.approx(20, abs=1)


@pytest.mark.parametrize("kind", [FlatSlab, EdgeSupportedSlab])
def test_a_slab_at_very_low_frequency_is_its_mass(kind: type) -> None:
    floor = FloatingFloor(mass_per_area=250.0, stiffness_per_area=1e6, loss_factor=0.1)
    slab = kind(**PANEL, superimposed_mass=100.0, floating_floor=floor, panel_share=0.5)
    expected = 0.5 * 60.0 * (0.28 * 2400 + 100 + 250)
    assert slab.mass == pytest.approx(expected)
    f = at(0.02)
    assert complex((slab.impedance(f) / (2j * np.pi * f))[0]) == pytest.approx(expected, rel=1e-4)
    assert abs(complex(slab.mid_panel_ratio(f)[0])) == pytest.approx(1, rel=1e-4)
    assert float(slab.surface_mean_square_ratio(f)[0]) == pytest.approx(1, rel=1e-4)


@pytest.mark.parametrize("kind", [FlatSlab, EdgeSupportedSlab])
def test_spans_may_be_swapped_and_arrays(kind: type) -> None:
    f = at(5.0, 14.0, 47.0, 160.0)
    one = kind(**PANEL)
    other = kind(**{**PANEL, "span_x": 7.5, "span_y": 8.0})
    np.testing.assert_allclose(one.impedance(f), other.impedance(f), rtol=1e-9)
    many = kind(**{**PANEL, "span_x": xr.DataArray([8.0, 6.0], dims="column")})
    both = many.surface_mean_square_ratio(f)
    assert set(both.dims) == {"column", "frequency"}
    alone = one.surface_mean_square_ratio(f)
    np.testing.assert_allclose(both.isel(column=0), alone, rtol=1e-6)


@pytest.mark.parametrize("kind", [FlatSlab, EdgeSupportedSlab])
@pytest.mark.parametrize(
    ("argument", "value", "words"),
    [
        ("youngs_modulus", 0.0, "youngs_modulus is 0; it must be above 0 Pa"),
        ("youngs_modulus", -1e9, "youngs_modulus is -1e"),
        ("thickness", 0.0, "thickness is 0"),
        ("span_x", -8.0, "span_x is -8"),
        ("loss_factor", 0.0, "loss_factor is 0"),
        ("loss_factor", 1.2, "loss_factor is 1.2; it must lie between 0 and 1"),
        ("superimposed_mass", -1.0, "superimposed_mass is -1"),
        ("panel_share", 0.0, "panel_share is 0"),
        ("density", float("nan"), "density is nan"),
        ("floating_floor", 250.0, "floating_floor is 250.0; a FloatingFloor or None is needed"),
    ],
)
def test_slab_refusals(kind: type, argument: str, value: object, words: str) -> None:
    with pytest.raises(ValueError, match=f"{kind.__name__}: {words}"):
        kind(**{**PANEL, argument: value})


def test_floating_floor_refusals() -> None:
    good = {"mass_per_area": 250.0, "stiffness_per_area": 1e6, "loss_factor": 0.1}
    for argument in good:
        with pytest.raises(ValueError, match=f"FloatingFloor: {argument} is 0"):
            FloatingFloor(**{**good, argument: 0.0})


# ---- piles -------------------------------------------------------------------------------------


def test_pile_stiffness_is_that_of_its_own_bar_on_springs() -> None:
    """The factor under the root is πδ/4: the bar solved with 4000 springs, to 0.1 % [derived]."""
    pile = Pile(**PILE)
    n = 4000
    h, es = pile.length / n, pile.soil_modulus
    axial = pile.youngs_modulus * pile.area
    main = np.full(n + 1, 2 * axial / h + 0.6 * es * h)
    main[[0, -1]] = axial / h + 0.3 * es * h
    main[-1] += es * pile.diameter / (1 - pile.soil_poisson**2)
    stiffness = main[-1]  # eliminated from the tip upwards
    for i in range(n - 1, -1, -1):
        stiffness = main[i] - (axial / h) ** 2 / stiffness
    assert pile.static_stiffness == pytest.approx(stiffness, rel=1e-3)


def test_pile_with_the_printed_factor_would_be_41_percent_stiffer() -> None:
    """Formula of the source as transcribed, factor πδ/2 [seen second-hand] against πδ/4."""
    pile = Pile(**PILE)
    ratio, es, delta = pile.youngs_modulus / pile.soil_modulus, pile.soil_modulus, 0.6
    lam = np.sqrt(4 * delta / np.pi) * ratio**-0.5 * pile.length / pile.diameter
    om = 2 / (np.sqrt(np.pi * delta) * (1 - pile.soil_poisson**2)) * ratio**-0.5
    shape = ratio**0.5 * (om + np.tanh(lam)) / (1 + om * np.tanh(lam)) * es * pile.diameter
    assert pile.static_stiffness == pytest.approx(np.sqrt(np.pi * delta / 4) * shape, rel=1e-12)
    assert np.sqrt(np.pi * delta / 2) * shape / pile.static_stiffness == pytest.approx(1.414, 1e-3)


@pytest.mark.parametrize("a0", [0.2, 0.5, 1.0, 2.0])
def test_shaft_against_the_plane_strain_cylinder(a0: float) -> None:
    """Stiffness per length of a rigid cylinder moving along its axis in an elastic full space,
    ``2πG s K1(s)/K0(s)``, s = jωr/Vs [derived]; the formulas are fits, hence 11 % (the spring is
    compared with ν = 0.4, for which 0.6 Es = 1.68 G)."""
    pile = Pile(**{**PILE, "soil_poisson": 0.4, "soil_loss_factor": 1e-9})
    f = a0 * pile.soil_shear_wave_speed / (2 * np.pi * pile.diameter)
    shear = pile.soil_density * pile.soil_shear_wave_speed**2
    s = 1j * a0 / 2
    exact = 2 * np.pi * shear * s * kve(1, s) / kve(0, s)
    found = complex(pile.shaft_stiffness(at(f))[0])
    assert found.real == pytest.approx(exact.real, rel=0.11)
    assert found.imag == pytest.approx(exact.imag, rel=0.10)


def test_pile_limits() -> None:
    """Static limit, passivity, and a long pile that no longer feels its tip."""
    pile = Pile(**PILE)
    slow = complex(pile.dynamic_stiffness(at(1e-4))[0])
    assert slow.real == pytest.approx(pile.static_stiffness, rel=0.01)
    assert (pile.driving_point_mobility(at(*np.geomspace(0.5, 400, 60))).real > 0).all()
    long = Pile(**{**PILE, "length": 300.0})
    bar = np.sqrt(0.6 * long.soil_modulus * long.youngs_modulus * long.area)
    assert long.static_stiffness == pytest.approx(bar, rel=1e-6)


def test_pile_group() -> None:
    pile = Pile(**PILE)
    f = at(4.0, 40.0)
    group = PileGroup(pile=pile, count=3, efficiency=0.7)
    expected = pile.driving_point_mobility(f) / (3 * 0.7)
    np.testing.assert_allclose(group.driving_point_mobility(f), expected, rtol=1e-12)
    heavy = PileGroup(pile=pile, count=3, cap_mass=2e4)
    added = 1 / heavy.driving_point_mobility(f) - 3 / pile.driving_point_mobility(f)
    np.testing.assert_allclose(added.imag, 2 * np.pi * f * 2e4, rtol=1e-9)


def test_pile_refusals() -> None:
    with pytest.raises(ValueError, match="Pile: diameter is 0"):
        Pile(**{**PILE, "diameter": 0.0})
    with pytest.raises(ValueError, match=r"Pile: soil_poisson is 0\.5"):
        Pile(**{**PILE, "soil_poisson": 0.5})
    with pytest.raises(ValueError, match="PileGroup: count is below 1"):
        PileGroup(pile=Pile(**PILE), count=0.5)
    with pytest.raises(ValueError, match="PileGroup: efficiency is 0"):
        PileGroup(pile=Pile(**PILE), count=2, efficiency=0.0)
    with pytest.raises(ValueError, match="PileGroup: pile is 'pile'; a Pile is needed"):
        PileGroup(pile="pile", count=2)  # type: ignore[arg-type]
