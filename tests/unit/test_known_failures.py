"""Bands in which an idealisation that was asked for is marked as outside its range."""

from __future__ import annotations

from dataclasses import replace

import xarray as xr

from groundborne import bands
from groundborne.isolation import LinearMount
from groundborne.structure import (
    ColumnLine,
    ColumnPhases,
    FlatSlab,
    IsolationPlane,
    SpringFoundation,
    Storey,
    known_failures,
)

BANDS = bands.third_octaves(4, 80)
SLAB = FlatSlab(
    span_x=6.5, span_y=5.85, thickness=0.22, youngs_modulus=30e9, density=2400.0, poisson=0.2,
    loss_factor=0.06, superimposed_mass=150.0,
)  # fmt: skip


def line(count: int, slab: FlatSlab = SLAB, **more: object) -> ColumnLine:
    storeys = tuple(
        Storey(
            floor=n, height=3.0, area=0.16, youngs_modulus=33e9, density=2450.0, loss_factor=0.02,
            slab=slab,
        )
        for n in range(1, count + 1)
    )  # fmt: skip
    ground = SpringFoundation(stiffness=1e9, damping=6e6)
    return ColumnLine(storeys=storeys, foundation=ground, **more)  # type: ignore[arg-type]


def failing(of: ColumnLine) -> list[float]:
    found = known_failures(BANDS, line=of)
    return [f for f, bad in zip(BANDS.values.tolist(), found.values.tolist(), strict=True) if bad]


def test_columns_in_phase_fail_where_equal_slabs_block() -> None:
    """Between 1.0 and 1.6 times 12.6 Hz, from three slabs on, and nowhere with a window."""
    assert failing(line(3)) == [12.5, 16.0, 20.0]
    assert failing(line(2)) == []
    assert failing(line(24, phases=ColumnPhases())) == []


def test_bands_of_a_column_dim_are_those_of_any_column() -> None:
    """Panels of two sizes: the bands of both."""
    spans = xr.DataArray([6.5, 4.0], dims="column", coords={"column": ["A", "B"]})
    two = failing(line(3, replace(SLAB, span_x=spans, span_y=spans)))
    alone = [failing(line(3, replace(SLAB, span_x=s, span_y=s))) for s in (6.5, 4.0)]
    assert set(two) >= {*alone[0], *alone[1]}


def test_endless_plates_fail_above_eight_storeys() -> None:
    plate = replace(SLAB, load="endless plate")
    assert failing(line(8, plate)) == []
    assert failing(line(9, plate)) == BANDS.values.tolist()


def test_uniform_phases_fail_on_mounts_near_their_frequency() -> None:
    """Up to twice 4.5 Hz, the edges of bands counted; without mounts nowhere."""
    uniform = line(8, phases=ColumnPhases(kind="uniform"))
    assert failing(uniform) == []
    mount = LinearMount.tuned(mass=uniform.total_mass, natural_frequency=4.5, loss_factor=0.05)
    isolated = replace(uniform, isolation=IsolationPlane(mount=mount, under=1))
    assert failing(isolated) == [4.0, 5.0, 6.3, 8.0, 10.0]
