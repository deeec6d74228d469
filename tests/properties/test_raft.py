"""Rafts that bend on their soil: worked values, closed forms, limits, and what is refused.

Values with a table are of the project's worked tables [derived]: raft of 0.5 m, 33 GPa, ν 0.2,
2450 kg/m³, η 0.05 on a grid of 6.5 x 5.85 m and a bed of 4e7 (1 + 0.06j) + jω 1.2e6 N/m³.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, strategies as st
from scipy.integrate import quad

from groundborne.bands import third_octaves
from groundborne.structure import (
    ColumnLine,
    ColumnPhases,
    FlatSlab,
    Pile,
    PileGroup,
    Raft,
    RectangularFooting,
    SharedFoundation,
    SpringFoundation,
    Storey,
    basement_wall_stiffness,
)
from groundborne.structure.phases import IN_PHASE

AREA = 455.0
SOIL = SpringFoundation(stiffness=4e7 * AREA, loss_factor=0.06, damping=1.2e6 * AREA)
PLATE = {
    "span_x": 6.5, "span_y": 5.85, "thickness": 0.5, "youngs_modulus": 33e9, "density": 2450.0,
    "poisson": 0.2, "loss_factor": 0.05,
}  # fmt: skip
RAFT = Raft(soil=SOIL, area=AREA, **PLATE)
F = xr.DataArray([5.0, 20.0, 50.0], dims="frequency")
SHARE = 6.5 * 5.85


def stiffness(mobility: xr.DataArray, f: xr.DataArray = F) -> np.ndarray:
    return (2j * np.pi * f / mobility).values


def digits(found: np.ndarray, real: list[str], imag: list[str]) -> None:
    assert [f"{v:.3e}" for v in np.real(found)] == real
    assert [f"{v:.3e}" for v in np.imag(found)] == imag


def test_worked_values_of_one_column_and_of_a_grid() -> None:
    digits(
        stiffness(RAFT.driving_point_mobility(F)),
        ["1.030e+09", "1.386e+09", "1.818e+09"],
        ["4.675e+08", "1.275e+09", "2.365e+09"],
    )
    digits(
        stiffness(RAFT.lattice_mobility(F, IN_PHASE)),
        ["1.091e+09", "1.711e+09", "1.938e+09"],
        ["5.888e+08", "1.267e+09", "2.042e+09"],
    )
    digits(
        RAFT.bed_stiffness(F).values * SHARE,
        ["1.475e+09", "7.854e+08", "-3.076e+09"],
        ["1.525e+09", "5.825e+09", "1.443e+10"],
    )
    assert RAFT.reach(F).values.round(3).tolist() == [1.592, 1.234, 0.98]


def test_one_column_is_the_integral_over_all_waves() -> None:
    bent = RAFT.bending_stiffness * (1 + 0.05j)
    for f, found in zip(F.values, stiffness(RAFT.driving_point_mobility(F)), strict=True):
        bed = RAFT.bed_stiffness(xr.DataArray([f], dims="frequency")).item()

        def wave(k: float, part: str, bed: complex = bed) -> float:
            return float(getattr(k / (2 * np.pi) / (bed + bent * k**4), part))

        total = sum(
            unit * quad(wave, 0, np.inf, args=(part,), limit=400)[0]
            for unit, part in ((1, "real"), (1j, "imag"))
        )
        assert found * total == pytest.approx(1.0, abs=2e-4)


def double_sum(raft: Raft, f: float, tx: float, ty: float, count: int = 500) -> complex:
    p, q = np.meshgrid(np.arange(-count, count + 1), np.arange(-count, count + 1))
    k4 = (((tx + 2 * np.pi * p) / 6.5) ** 2 + ((ty + 2 * np.pi * q) / 5.85) ** 2) ** 2
    bed = raft.bed_stiffness(xr.DataArray([f], dims="frequency")).item()
    total = (1 / (bed + raft.bending_stiffness * (1 + 1j * raft.loss_factor) * k4)).sum()
    return complex(SHARE / total)


@pytest.mark.parametrize("kind", ["as it is", "no damping", "where soil and mass cancel"])
def test_grid_is_the_double_sum_for_all_phases(kind: str) -> None:
    """Where ``s′`` is positive, negative or next to nothing, with losses and without."""
    raft, f = RAFT, 20.0
    if kind == "no damping":
        soil = SpringFoundation(stiffness=4e7 * AREA, loss_factor=1e-9)
        raft, f = replace(RAFT, soil=soil, loss_factor=0.0), 43.0
    if kind == "where soil and mass cancel":
        f = float(np.sqrt(4e7 / 1225.0) / (2 * np.pi))
        soil = SpringFoundation(stiffness=4e7 * AREA, loss_factor=1e-6)
        raft = replace(RAFT, soil=soil)
        assert abs(raft.bed_stiffness(xr.DataArray([f], dims="frequency")).item()) < 50.0
    at = xr.DataArray([f], dims="frequency")
    phases = ColumnPhases(points=3)
    x, y = phases.theta(at, span_x=6.5, span_y=5.85)
    mobility = raft.lattice_mobility(at, phases)
    assert mobility.dims == ("phase_x", "phase_y", "frequency")
    found = 2j * np.pi * f / mobility
    for i in range(3):
        for j in range(3):
            expected = double_sum(raft, f, x.values[i, 0], y.values[j, 0])
            assert found.values[i, j, 0] == pytest.approx(expected, rel=2e-5)


def test_mean_over_all_phases_is_one_column_alone() -> None:
    """The mean of the mobility over the Brillouin zone turns the sum into the integral."""
    phases = ColumnPhases(kind="uniform", points=24)
    mean = RAFT.lattice_mobility(F, phases).mean(["phase_x", "phase_y"])
    assert mean.values == pytest.approx(RAFT.driving_point_mobility(F).values, rel=1e-4)


@pytest.mark.parametrize(
    ("factor", "least", "most"), [(1e4, "9e-05", "6e-04"), (1e6, "9e-07", "6e-06")]
)
def test_a_stiff_raft_is_shared_out_rigidly(factor: float, least: str, most: str) -> None:
    stiff = replace(RAFT, youngs_modulus=33e9 * factor)
    off = abs(
        stiffness(stiff.lattice_mobility(F, IN_PHASE)) / (RAFT.bed_stiffness(F).values * SHARE) - 1
    )
    assert (f"{off.min():.0e}", f"{off.max():.0e}") == (least, most)
    for under in ("columns", "walls"):
        found = stiffness(replace(stiff, under=under).lattice_mobility(F, IN_PHASE))
        whole = RAFT.density * 0.5 * AREA
        shared = SharedFoundation(foundation=replace(SOIL, mass=whole), share=SHARE / AREA)
        rigid = stiffness(shared.driving_point_mobility(F))
        assert found == pytest.approx(rigid, rel=1.1 * float(most))


def test_without_soil_it_is_an_endless_plate() -> None:
    soft = replace(RAFT, soil=SpringFoundation(stiffness=1.0, loss_factor=0.1), loss_factor=0.0)
    z = 1 / soft.driving_point_mobility(F).values
    assert z == pytest.approx(8 * np.sqrt(RAFT.bending_stiffness * 1225.0), rel=1e-5)


def test_walls_far_apart_move_strips_of_the_raft() -> None:
    """A hinged half plate on a bed: ``w = e^(−λx) cos λx``, ``2 B λ³`` a metre, by hand."""
    wide = replace(RAFT, span_x=400.0, span_y=300.0, under="walls")
    bent, bed = RAFT.bending_stiffness * (1 + 0.05j), RAFT.bed_stiffness(F).values
    line = 2 * bent * (bed / (4 * bent)) ** 0.75
    found = stiffness(wide.driving_point_mobility(F)) / (2 * 700.0)
    assert found == pytest.approx(line, rel=5e-3)
    assert wide.lattice_mobility(F, ColumnPhases()).dims == ("frequency",)


@given(
    f=st.floats(2.0, 200.0),
    thickness=st.floats(0.2, 2.0),
    speed=st.floats(80.0, 600.0),
    phase=st.sampled_from(["window", "uniform", "in phase"]),
)
def test_rafts_take_power_and_give_none(f, thickness, speed, phase) -> None:
    soil = RectangularFooting(
        length=26.0, width=17.5, shear_wave_speed=speed, density=1900.0, poisson=0.35,
        loss_factor=0.06, embedment=2.0,
    )  # fmt: skip
    raft = Raft(soil=soil, area=AREA, **(PLATE | {"thickness": thickness}))
    at = xr.DataArray([f], dims="frequency")
    assert (raft.lattice_mobility(at, ColumnPhases(kind=phase, points=3)).real >= 0).all()
    for under in ("columns", "walls"):
        assert (replace(raft, under=under).driving_point_mobility(at).real >= 0).all()


def test_a_column_line_asks_the_raft_with_its_phases() -> None:
    slab = FlatSlab.tuned(
        first_resonance=12.5, span_x=6.5, span_y=5.85, thickness=0.22, density=2400.0, poisson=0.2,
        loss_factor=0.06,
    )  # fmt: skip
    storey = Storey(
        floor="1", height=3.0, area=0.16, youngs_modulus=33e9, density=2450.0, loss_factor=0.02,
        slab=slab,
    )  # fmt: skip
    bands = third_octaves(5, 80)

    def feet(foundation, phases) -> np.ndarray:
        line = ColumnLine(storeys=(storey,), foundation=foundation, phases=phases)
        return 10 * np.log10(line.foundation_mean_square(bands).values)

    stiff = replace(RAFT, youngs_modulus=33e14)
    shared = SharedFoundation(
        foundation=replace(SOIL, mass=RAFT.density * 0.5 * AREA), share=SHARE / AREA
    )
    alike = (feet(stiff, IN_PHASE), feet(shared, IN_PHASE))
    assert alike[0] == pytest.approx(alike[1], abs=1e-3)
    phased = feet(RAFT, ColumnPhases())
    assert abs(phased - feet(RAFT, IN_PHASE)).max() > 0.5
    assert abs(phased - feet(shared, ColumnPhases())).max() > 0.5


def test_basement_walls_as_t_sections() -> None:
    """Wall 2.5 x 0.25 m on a strip of 6.5 x 0.5 m: 0.3255 + 0.625·3.25/3.875·1.5² m⁴, by hand."""
    found = basement_wall_stiffness(
        height=2.5, thickness=0.25, spacing=6.5, raft_thickness=0.5, youngs_modulus=33e9
    )
    assert found == pytest.approx(33e9 * (0.25 * 2.5**3 / 12 + 0.625 * 3.25 / 3.875 * 2.25) / 6.5)
    stiffened = replace(RAFT, wall_stiffness=found)
    assert stiffened.bending_stiffness == pytest.approx(RAFT.bending_stiffness + found)
    assert (stiffened.reach(F) > 2 * RAFT.reach(F)).all()


def test_edges_and_corners_carry_their_share() -> None:
    half = replace(RAFT, panel_share=0.5)
    for ask in (
        lambda r: r.driving_point_mobility(F),
        lambda r: r.lattice_mobility(F, ColumnPhases()),
        lambda r: replace(r, under="walls").driving_point_mobility(F),
    ):
        assert ask(half).values == pytest.approx(2 * ask(RAFT).values)


PILE = Pile(
    diameter=0.9, length=24.0, youngs_modulus=33e9, density=2450.0, soil_shear_wave_speed=150.0,
    soil_density=1900.0, soil_poisson=0.45, soil_loss_factor=0.06,
)  # fmt: skip


@pytest.mark.parametrize(
    "soil", [replace(SOIL, mass=1e5), PileGroup(pile=PILE, count=12.0, cap_mass=1e5)]
)
def test_a_soil_with_a_mass_is_refused(soil) -> None:
    with pytest.raises(ValueError, match=r"soil holds a mass .* the raft has its own"):
        Raft(soil=soil, area=AREA, **PLATE)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"area": 0.0}, "area"),
        ({"poisson": 0.5}, "poisson"),
        ({"loss_factor": 1.2}, "loss_factor"),
        ({"wall_stiffness": -1.0}, "wall_stiffness"),
        ({"under": "piles"}, "under is 'piles'; known are"),
    ],
)
def test_what_a_raft_refuses(change, says) -> None:
    with pytest.raises(ValueError, match=says):
        replace(RAFT, **change)
