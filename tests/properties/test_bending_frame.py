"""Frames in bending: limits, sums over columns, and what mounts and soil do to them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from groundborne.structure import (
    BendingFrame,
    FrameStorey,
    LateralFoundation,
    RectangularFooting,
    SlabStrip,
    SpringFoundation,
)
from groundborne.structure.bending_beam import beam_stiffness

STOREY = FrameStorey(floor="1", height=3.0, bending_stiffness=6e7, mass_per_length=1e-6,
                     loss_factor=0.01, floor_mass=25e3)  # fmt: skip
STRIP = SlabStrip(span=6.0, bending_stiffness=7e7, mass_per_length=1500.0, loss_factor=0.05)
HEAVY = replace(STOREY, mass_per_length=400.0)


def at(*frequencies):
    return xr.DataArray(list(frequencies), dims="frequency")


class Springs:
    citations = ()
    loss_factor_floor = 0.1

    def __init__(self, stiffness):
        self.stiffness = stiffness

    def lateral_stiffness(self, frequency):
        return xr.ones_like(frequency, dtype=complex) * self.stiffness


def resonance(frame, low, high):
    """Frequency at which the top moves most [Hz]."""
    f = xr.DataArray(np.linspace(low, high, 40001), dims="frequency")
    moved = abs(frame.velocity_ratio(f)).isel(floor=-1)
    return float(f[int(np.argmax(moved.values))])


@pytest.mark.parametrize(("joint", "times"), [(None, 12.0), ("soft", 3.0)])
def test_one_storey_is_a_mass_on_the_stiffness_of_handbooks(joint, times):
    """12 E I/h³ of a column held at both ends, 3 E I/h³ of a cantilever: structural handbooks."""
    soft = SlabStrip(span=6.0, bending_stiffness=1e-2, mass_per_length=1e-9, loss_factor=0.0)
    frame = BendingFrame(storeys=(replace(STOREY, joint=soft if joint else None),))
    natural = np.sqrt(times * 6e7 / 27.0 / 25e3) / (2 * np.pi)
    assert resonance(frame, 0.8 * natural, 1.2 * natural) == pytest.approx(natural, rel=1e-3)
    # On it the top moves by 1/η, and far above by (f0/f)² of the base.
    assert float(abs(frame.velocity_ratio(at(natural)))[0, 0]) == pytest.approx(100, rel=5e-3)
    assert float(abs(frame.velocity_ratio(at(20 * natural)))[0, 0]) == pytest.approx(
        1 / 399, rel=1e-3
    )


def test_stiff_slabs_hold_the_joints_and_a_portal_lies_between():
    """A column of a portal with fixed feet: 12 (1 + 6γ)/(4 + 6γ) E I/h³, γ = (I_b/l)/(I_c/h).

    Handbooks of frames [from memory]. A joint of a regular frame has a beam on both sides: 2γ.
    """
    for ratio in (0.05, 1.0, 30.0):
        beam = SlabStrip(span=6.0, bending_stiffness=ratio * 6.0 / 3.0 * 6e7, mass_per_length=1e-9,
                         loss_factor=0.0)  # fmt: skip
        frame = BendingFrame(storeys=(replace(STOREY, joint=beam),))
        stiffness = 12 * 6e7 / 27.0 * (1 + 6 * 2 * ratio) / (4 + 6 * 2 * ratio)
        natural = np.sqrt(stiffness / 25e3) / (2 * np.pi)
        found = resonance(frame, 0.9 * natural, 1.1 * natural)
        assert found == pytest.approx(natural, rel=1e-3), ratio
    stiff = replace(STRIP, bending_stiffness=1e15)
    f = at(1.0, 10.0, 40.0)
    held = BendingFrame(storeys=(HEAVY, replace(HEAVY, floor="2")))
    turned = BendingFrame(storeys=tuple(replace(s, joint=stiff) for s in held.storeys))
    np.testing.assert_allclose(turned.velocity_ratio(f), held.velocity_ratio(f), rtol=1e-5)


def test_a_shear_building_has_its_known_frequencies():
    """n equal masses on equal springs: 2 sin[π/(2(2n+1))] of the first; textbook."""
    frame = BendingFrame(storeys=tuple(replace(STOREY, floor=str(i)) for i in range(5)))
    first = 2 * np.sin(np.pi / 22) * np.sqrt(12 * 6e7 / 27.0 / 25e3) / (2 * np.pi)
    assert resonance(frame, 0.7 * first, 1.3 * first) == pytest.approx(first, rel=1e-3)


@pytest.mark.parametrize("joint", [None, STRIP])
def test_slow_motion_moves_all_alike_whatever_stands_where(joint):
    piles = LateralFoundation(
        soil=SpringFoundation(stiffness=2e9, damping=1e7), mass=4e4, ratio=0.4
    )
    frame = BendingFrame(
        storeys=(replace(HEAVY, joint=joint), replace(HEAVY, floor="2", joint=joint)),
        foundation=piles,
    )
    for one in (frame, frame.on_mounts(Springs(1e7 + 1e6j), under="1")):
        assert abs(one.velocity_ratio(at(0.01)) - 1).max() < 1e-3
        assert abs(one.foundation_ratio(at(0.01)) - 1).max() < 1e-3


def test_on_rock_the_foundation_is_imposed():
    f = at(2.0, 8.0, 30.0)
    rock = LateralFoundation(
        soil=SpringFoundation(stiffness=1e17, loss_factor=0.1), mass=4e4, ratio=1.0
    )
    frame = BendingFrame(storeys=(HEAVY, replace(HEAVY, floor="2")))
    on_rock = replace(frame, foundation=rock)
    np.testing.assert_allclose(on_rock.velocity_ratio(f), frame.velocity_ratio(f), rtol=1e-5)
    assert abs(on_rock.foundation_ratio(f) - 1).max() < 1e-5


@pytest.mark.parametrize("under", ["1", "2"])
def test_stiff_mounts_are_no_mounts_where_joints_are_held(under):
    f = at(2.0, 8.0, 30.0, 90.0)
    frame = BendingFrame(storeys=(HEAVY, replace(HEAVY, floor="2")))
    mounted = frame.on_mounts(Springs(1e16 + 0j), under=under)
    np.testing.assert_allclose(mounted.velocity_ratio(f), frame.velocity_ratio(f), rtol=1e-5)


def test_a_stiff_frame_on_mounts_is_a_mass_on_a_spring():
    stiff = replace(STOREY, bending_stiffness=1e14)
    frame = BendingFrame(storeys=(stiff, replace(stiff, floor="2")))
    found = frame.on_mounts(Springs(3e7 * (1 + 0.1j)), under="1").velocity_ratio(at(3.0, 9.0, 25.0))
    spring = 3e7 * (1 + 0.1j)
    exact = spring / (spring - (2 * np.pi * np.array([3.0, 9.0, 25.0])) ** 2 * 50e3)
    np.testing.assert_allclose(found.isel(floor=-1), exact, rtol=1e-5)


def test_columns_are_added_up_and_equal_ones_are_one():
    f = at(3.0, 12.0, 45.0)
    one = BendingFrame(
        storeys=(replace(HEAVY, joint=STRIP), replace(HEAVY, floor="2", joint=STRIP)),
        foundation=LateralFoundation(
            soil=SpringFoundation(stiffness=1e9, damping=1e7), mass=3e4, ratio=0.5
        ),
    )
    masses = xr.DataArray([25e3, 25e3, 25e3], coords={"column": ["a", "b", "c"]})
    storeys = (replace(one.storeys[0], floor_mass=masses), one.storeys[1])
    three = replace(one, storeys=storeys)
    np.testing.assert_allclose(three.velocity_ratio(f), one.velocity_ratio(f), rtol=1e-12)
    # Unequal ones: two kinds of column make the stiffness of both together.
    mixed = xr.DataArray([9e7, 3e7], coords={"column": ["a", "b"]})
    base = BendingFrame(storeys=(STOREY,))
    both = BendingFrame(storeys=(replace(STOREY, bending_stiffness=mixed),))
    np.testing.assert_allclose(both.velocity_ratio(f), base.velocity_ratio(f), rtol=1e-6)


def test_samples_pass_through():
    f = at(3.0, 12.0)
    height = xr.DataArray([2.8, 3.0, 3.4], dims="sample")
    found = BendingFrame(storeys=(replace(HEAVY, height=height),)).velocity_ratio(f)
    alone = BendingFrame(storeys=(replace(HEAVY, height=3.4),)).velocity_ratio(f)
    assert found.sizes == {"floor": 1, "frequency": 2, "sample": 3}
    np.testing.assert_allclose(found.isel(sample=2), alone, rtol=1e-12)


@pytest.mark.parametrize("wave", [0.02, 0.049, 0.051, 0.3, 2.0, 9.0])
def test_a_beam_is_balanced_and_reciprocal(wave):
    """Two halves joined are the whole; series and closed form meet at a twentieth."""
    stiffness, mass, length = 5e7 * (1 + 0.02j), 400.0, 3.0
    f = at(float(np.real(np.sqrt(5e7 / mass)) * (wave / length) ** 2 / (2 * np.pi)))

    def matrix(of):
        s = {n: complex(x[0]) for n, x in beam_stiffness(
            f, bending_stiffness=stiffness, mass_per_length=mass, length=of).items()}  # fmt: skip
        return np.array([
            [s["own"], s["turn"], s["other"], s["over"]],
            [s["turn"], s["moment"], -s["over"], s["carried"]],
            [s["other"], -s["over"], s["own"], -s["turn"]],
            [s["over"], s["carried"], -s["turn"], s["moment"]],
        ])  # fmt: skip

    half = matrix(length / 2)
    joined = np.zeros((6, 6), dtype=complex)
    joined[:4, :4] += half
    joined[2:, 2:] += half
    ends, middle = [0, 1, 4, 5], [2, 3]
    whole = joined[np.ix_(ends, ends)] - joined[np.ix_(ends, middle)] @ np.linalg.solve(
        joined[np.ix_(middle, middle)], joined[np.ix_(middle, ends)]
    )
    np.testing.assert_allclose(matrix(length), whole, rtol=2e-5, atol=2e-7 * abs(whole).max())


def test_what_is_refused():
    with pytest.raises(ValueError, match="at least one FrameStorey"):
        BendingFrame(storeys=())
    with pytest.raises(ValueError, match="floor '1' is given twice"):
        BendingFrame(storeys=(STOREY, STOREY))
    with pytest.raises(ValueError, match="joints of floor '1' do not turn and others do"):
        BendingFrame(storeys=(STOREY, replace(STOREY, floor="2", joint=STRIP)))
    with pytest.raises(ValueError, match="under and mounts are given together"):
        BendingFrame(storeys=(STOREY,), under="1")
    with pytest.raises(ValueError, match="'3'"):
        BendingFrame(storeys=(STOREY,)).on_mounts(Springs(1e7), under="3")
    piles = SpringFoundation(stiffness=1e9, damping=1e6)
    with pytest.raises(ValueError, match="give the ratio of its horizontal to its vertical"):
        LateralFoundation(soil=piles, mass=0.0)
    with pytest.raises(ValueError, match="ratio"):
        LateralFoundation(soil=piles, mass=0.0, ratio=0.0)


def test_a_footing_is_softer_along_the_ground_than_pressed_into_it():
    """Horizontal over vertical stiffness of a square on the surface, 2 (1 − ν)/(2 − ν) nearly."""
    for poisson in (0.0, 0.25, 0.4):
        pad = RectangularFooting(length=3.0, width=3.0, shear_wave_speed=200.0, density=1900.0,
                                 poisson=poisson, loss_factor=0.05)  # fmt: skip
        ratio = pad.lateral_stiffness / pad.static_stiffness
        assert ratio == pytest.approx(9.2 / 4.7 * (1 - poisson) / (2 - poisson), rel=1e-12)
        # A disc of equal area (Richart, Hall and Woods [from memory]) within a tenth.
        radius = 3.0 / np.sqrt(np.pi)
        disc = 8 * 1900.0 * 200.0**2 * radius / (2 - poisson)
        assert pad.lateral_stiffness == pytest.approx(disc, rel=0.1)
