"""The default model of column lines against means of many buildings.

E DIN 45672-3:2023, Annex A [seen second-hand], by ten generic buildings: see
``generic_buildings.py`` for what this shows and what not. The loss factor of the balance of power
in the slabs was fitted to the same tables, so that some of the agreement (0.1 to 0.3 dB of rms)
is fit and no evidence; phases and their window were not.
"""

from __future__ import annotations

import generic_buildings as generic
import pytest

from groundborne.structure import ColumnPhases

DEFAULT = ColumnPhases(points=3)  # as studies take it


@pytest.fixture(scope="module")
def rows():
    return [row for _, row in generic.buildings().iterrows()]


def compared(rows, phases):
    return [generic.compared(row, generic.line(row, phases=phases)) for row in rows]


@pytest.fixture(scope="module")
def default(rows):
    return compared(rows, DEFAULT)


def test_top_floors_of_all_generic_buildings_are_ordinary(default):
    """Of the model before phases, pooled: 9.8 dB; the deviations of the statistics: 4 to 7 dB."""
    top = generic.pooled(default)["top floor"]
    assert top.rms <= 5.5
    assert top.largest <= 16.0
    assert abs(top.bias) < 3.0
    assert top.share_inside > 0.75
    for row, found in zip(generic.buildings().index, default, strict=True):
        assert found["top floor"].rms <= 6.5, row


def test_columns_in_phase_fail_with_height(rows):
    """Why phases are in: identical slabs in phase make the upper storeys silent."""
    found = compared(rows, ColumnPhases(kind="in phase"))
    assert generic.pooled(found)["top floor"].rms > 9.0
    assert found[-1]["top floor"].largest > 40.0  # 24 storeys
    assert generic.pooled(found[:5])["top floor"].rms < 9.0


def test_more_phases_change_nothing(rows, default):
    """What studies take against 25 phases: 0.2 dB of any pooled rms."""
    more = generic.pooled(compared(rows, ColumnPhases(points=5)))
    for what, few in generic.pooled(default).items():
        assert few.rms == pytest.approx(more[what].rms, abs=0.25)
        assert few.bias == pytest.approx(more[what].bias, abs=0.25)
