"""What crosses the isolation plane: against published examples and direct sums."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from groundborne._checks import LabelError
from groundborne.isolation import (
    CrossedMount,
    Crossing,
    Dashpot,
    DistributedMount,
    IdealIsolation,
    InParallel,
    LinearMount,
)

F = xr.DataArray([3.0, 10.0, 31.5, 80.0, 200.0], dims="frequency")
ONE = xr.DataArray(1.0)
COLUMNS = xr.DataArray([0.5, 0.3, 0.2], coords={"column": ["A1", "A2", "B1"]})


def test_beside_is_parallel_of_massless_elements_and_of_coils_with_mass() -> None:
    coil = DistributedMount(stiffness=4e6, mass=60.0, loss_factor=0.01)
    crossing = Crossing(name="stair", stiffness=2e6, loss_factor=0.2, damping=3e3)
    crossed = CrossedMount(mount=coil, crossings=[crossing], weights=ONE).two_port(F)
    other = InParallel(
        InParallel(coil, LinearMount(stiffness=2e6, loss_factor=0.2)), Dashpot(damping=3e3)
    ).two_port(F)
    for name in "abcd":
        np.testing.assert_allclose(getattr(crossed, name), getattr(other, name), rtol=1e-9)
    np.testing.assert_allclose(crossed.determinant, 1.0, atol=1e-9)


def test_what_each_column_gets() -> None:
    riser = Crossing(name="riser", stiffness=1e6, columns=["A1", "B1"])
    soil = Crossing(name="backfill", damping=2e5)
    mount = LinearMount(stiffness=xr.full_like(COLUMNS, 5e6), loss_factor=0.05)
    crossed = CrossedMount(mount=mount, crossings=[riser, soil], weights=COLUMNS)
    omega = 2 * np.pi * F.values
    for column, part in (("A1", 0.5), ("A2", 0.0), ("B1", 0.5)):
        weight = float(COLUMNS.sel(column=column))
        by_hand = 5e6 * (1 + 0.05j) + part * 1e6 * (1 + 0.1j) + 1j * omega * 2e5 * weight
        found = crossed.dynamic_stiffness(F).sel(column=column)
        np.testing.assert_allclose(found.values, by_hand, rtol=1e-12)
    assert float(crossed.static_deflection(5e4).max()) == pytest.approx(0.01)


def test_every_crossing_takes_some_isolation_well_above_resonance() -> None:
    mount = LinearMount.tuned(natural_frequency=4.0, mass=1e5, loss_factor=0.02)
    bands = xr.DataArray([31.5, 63.0], coords={"frequency": [31.5, 63.0]})
    before = IdealIsolation(mount, 1e5).level_change(bands)
    for crossing in (
        Crossing(name="pipe", stiffness=1e6),
        Crossing(name="soil", damping=1e5),
        Crossing(name="stop that touches", stiffness=1e9),
    ):
        crossed = CrossedMount(mount=mount, crossings=[crossing], weights=ONE)
        assert bool((IdealIsolation(crossed, 1e5).level_change(bands) > before).all())


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"name": " "}, "name is empty"),
        ({"name": "x"}, "neither stiffness nor damping"),
        ({"name": "x", "stiffness": -1.0}, "stiffness"),
        ({"name": "x", "stiffness": 1.0, "loss_factor": 2.0}, "loss_factor"),
        ({"name": "x", "stiffness": 1.0, "columns": ["A1", "A1"]}, "named twice"),
    ],
)
def test_bad_crossings(given, said) -> None:
    with pytest.raises(ValueError, match=said):
        Crossing(**given)


def test_unknown_columns_are_named() -> None:
    riser = Crossing(name="riser", stiffness=1e6, columns=["A1", "Z9"])
    with pytest.raises(LabelError, match=r"riser.*'Z9'"):
        riser.shares(COLUMNS)
    with pytest.raises(LabelError, match="one line without columns"):
        riser.shares(ONE)
    with pytest.raises(ValueError, match="no crossing"):
        CrossedMount(mount=LinearMount(stiffness=1.0, loss_factor=0.1), crossings=[], weights=ONE)
