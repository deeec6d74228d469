"""The default model of column lines against means of many buildings.

E DIN 45672-3:2023, Annex A [seen second-hand], by ten generic buildings: see
``generic_buildings.py`` for what this shows and what not. The loss factor of the balance of power
in the slabs was fitted to the same tables, so that some of the agreement (0.1 to 0.3 dB of rms)
is fit and no evidence. The 200 m/s of the window was chosen in view of the same tables; phases
themselves have nothing to fit.
"""

from __future__ import annotations

from dataclasses import replace

import generic_buildings as generic
import numpy as np
import pytest

from groundborne.isolation import LinearMount
from groundborne.structure import ColumnPhases, InfinitePlate, IsolationPlane

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


def test_eight_storeys_on_springs_by_three_models(rows):
    """Insertion loss, mean square over floors, 5 to 80 Hz, worked by another hand [derived].

    Springs of 4.5 Hz under all columns. Which mass they are tuned to and what they lose is not
    stated there: 1 dB at 6.3 and 12.5 Hz, elsewhere 0.7 dB. No model is right by this; the three
    differ by up to 9 dB in one band.
    """
    worked = {
        "in phase": [1.9, 12.4, 17.3, 10.6, 14.9, 14.1, 11.7, 4.1, 10.6, 14.3, 16.1, 10.7, 19.6],
        "window": [1.7, 12.3, 17.0, 11.2, 5.5, 8.4, 9.6, 12.8, 11.7, 13.4, 12.9, 13.8, 15.9],
        "endless plate": [4.9, 6.0, 7.2, 8.5, 9.8, 11.0, 12.1, 13.0, 13.7, 14.2, 14.6, 15.3, 16.5],
    }
    row = next(r for r in rows if r.name == "flat 8st raft 12.5")
    found = {}
    for name, values in worked.items():
        kind = "window" if name == "window" else "in phase"
        line = generic.line(row, phases=ColumnPhases(kind=kind, points=5))
        rigid = IsolationPlane(mount=LinearMount(stiffness=1e12, loss_factor=0.02), on="base")
        mass = float(replace(line, isolation=rigid).mass_above)
        if name == "endless plate":
            slab = line.storeys[0].slab
            plate = InfinitePlate(
                bending_stiffness=slab.bending_stiffness, mass_per_area=slab.mass_per_area
            )
            line = replace(line, storeys=tuple(replace(s, slab=plate) for s in line.storeys))
        mount = LinearMount(stiffness=mass * (2 * np.pi * 4.5) ** 2, loss_factor=0.02)
        mounted = replace(line, isolation=IsolationPlane(mount=mount, on="base"))
        before, after = (x.column_mean_square(generic.BANDS).mean("floor") for x in (line, mounted))
        found[name] = 10 * np.log10(before / after).values
        limit = 0.3 if name == "endless plate" else 1.1
        assert found[name] == pytest.approx(values, abs=limit), name
    assert 8.5 < abs(found["in phase"] - found["window"]).max() < 10.0
