"""Boards on battens on rubber elements, as an endless periodic plate: where they move as one.

Plain double sums over the lattice of elements in numpy: plate, beams along x, point springs, air
as a spring to the mean of the boards, a base that moves as one. No formula of the library is used.
"""

from __future__ import annotations

import numpy as np
import pytest

from groundborne import bands
from groundborne.isolation import Board, LightFloor

PLY = Board(thickness=0.018, density=700.0, youngs_modulus=6e9)
GYPSUM = Board(thickness=0.015, density=1000.0, youngs_modulus=3e9)
BATTEN = 10e9 * 0.05 * 0.05**3 / 12  # E I of 50 x 50 mm softwood [N m²], common practice
LOSS = 0.03
ORDER = np.arange(-24, 25)


def mean_square(floor: LightFloor, f: float) -> float:
    """Of the boards for a unit displacement of the base."""
    a, b = float(floor.element_spacing), float(floor.batten_spacing)
    boards = sum(board.mass_per_area for board in floor.boards) + float(floor.superimposed_mass)
    rigidity = floor.bending_stiffness * (1 + 1j * LOSS)
    square = (2 * np.pi * f) ** 2
    gx, gy = (2 * np.pi * ORDER[:, None] / a, 2 * np.pi * ORDER[None, :] / b)
    plate = rigidity * (gx**2 + gy**2) ** 2 - square * boards + 0j
    air = float(floor.air_stiffness_per_area) * (1 + 0.05j)
    here = ORDER.size // 2
    plate[here, here] += air
    free = np.zeros_like(plate)  # what air alone makes of the boards
    free[here, here] = air / plate[here, here]
    line = (1 / plate).sum(1) / b  # displacement of a batten's line for a force along it
    beam = BATTEN * (1 + 1j * LOSS) * gx[:, 0] ** 4 - square * float(floor.batten_mass)
    moved = free.sum(1) / line / (beam + 1 / line)
    given = 1 / (a * (beam + 1 / line))
    spring = float(floor.element_stiffness) * (1 + 1j * float(floor.element_loss_factor))
    force = spring * (1 - moved.sum()) / (1 + spring * given.sum())
    batten = moved + force * given
    pull = (batten - free.sum(1)) / line
    boards_move = free + pull[:, None] / (b * plate)
    return float((np.abs(boards_move) ** 2).sum())


def off(floor: LightFloor, labels: np.ndarray) -> np.ndarray:
    """By how much less the boards lose than a mass on springs [dB]."""
    found = []
    for centre in bands.exact(labels):
        lines = centre * 10 ** ((np.arange(24) + 0.5) / 240 - 0.05)
        found.append(10 * np.log10(np.mean([mean_square(floor, f) for f in lines])))
    said = floor.isolation(largest_loss=60.0).level_change(bands.coordinate(labels)).values
    return np.array(found) - said


def light(boards, spacing: float, along: float, state: str) -> LightFloor:
    return LightFloor(
        boards=boards, batten_mass=1.5, batten_height=0.05, batten_spacing=spacing,
        element_spacing=along, element_stiffness=60e3, element_loss_factor=0.15, air_gap=0.06,
        element_height=0.025, air_state=state,
    )  # fmt: skip


FLOORS = [
    light((PLY, GYPSUM, PLY), 0.6, 0.6, "vented"),
    light((PLY,), 0.6, 0.9, "sealed"),
    light((PLY,), 0.6, 0.9, "vented"),
    light((PLY,), 0.4, 0.6, "sealed"),
]


@pytest.mark.parametrize("floor", FLOORS)
def test_boards_and_battens_move_as_one_up_to_three_quarters_of_their_limit(floor) -> None:
    labels = bands.third_octaves(8, 250).values
    below = labels[bands.exact(labels) * 10**0.05 <= 0.75 * float(floor.stiff_up_to)]
    assert np.abs(off(floor, below)).max() < 1.05
    assert below.size > 8


def test_beyond_they_do_not() -> None:
    """18 mm of plywood on 600 mm, sealed: 8 dB at 250 Hz."""
    assert off(FLOORS[1], np.array([250.0]))[0] == pytest.approx(8.3, abs=0.5)
