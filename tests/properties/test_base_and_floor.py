"""Base isolation and floating floors in one column line, against the sum of two separate losses.

An invented building of three storeys on four kinds of mounts. The coupled line itself is held
against finite elements in ``tests/independent/test_finite_elements.py``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from groundborne import bands
from groundborne.isolation import LinearMount
from groundborne.levels import decibel
from groundborne.structure import (
    ColumnLine,
    FlatSlab,
    FloatingFloor,
    IsolationPlane,
    SpringFoundation,
    Storey,
)

F = bands.third_octaves(5, 200)
COLUMN = {"area": 0.25, "youngs_modulus": 35e9, "density": 2450.0, "loss_factor": 0.02}
SLAB = FlatSlab(
    span_x=8.0, span_y=7.5, thickness=0.28, youngs_modulus=38e9, density=2400.0, poisson=0.2,
    loss_factor=0.05, superimposed_mass=150.0,
)  # fmt: skip
LINE = ColumnLine(
    storeys=tuple(
        Storey(floor=level, height=height, slab=SLAB, **COLUMN)
        for level, height in (("0", 0.9), ("1", 4.2), ("2", 3.6), ("3", 3.6))
    ),
    foundation=SpringFoundation(stiffness=2e9, damping=1e7, loss_factor=0.06),
    base_floor="foundation",
)
FLOOR = FloatingFloor(
    mass_per_area=240.0, stiffness_per_area=240.0 * (2 * np.pi * 12) ** 2, loss_factor=0.1,
    bending_stiffness=2.6e6,
)  # fmt: skip


def isolated(line: ColumnLine, hertz: float) -> ColumnLine:
    stiffness = 240e3 * (2 * np.pi * hertz) ** 2
    mount = LinearMount(stiffness=stiffness, loss_factor=0.05)
    return replace(line, isolation=IsolationPlane(mount=mount, under="0"))


def floored(line: ColumnLine, floor: FloatingFloor, levels: tuple[str, ...]) -> ColumnLine:
    storeys = tuple(
        replace(s, slab=replace(s.slab, floating_floor=floor)) if s.floor in levels else s
        for s in line.storeys
    )
    return replace(line, storeys=storeys)


def top(line: ColumnLine) -> xr.DataArray:
    """Surface level of level 1, of the floating floor where there is one [dB]."""
    return decibel(line.surface_mean_square(F, on_floating_floor=True)).sel(floor="1")


def off(floor: FloatingFloor, hertz: float, levels: tuple[str, ...] = ("1",)) -> xr.DataArray:
    """Coupled change minus the sum of both changes taken apart [dB]."""
    bare, base = top(LINE), top(isolated(LINE, hertz))
    alone = top(floored(LINE, floor, levels))
    both = top(isolated(floored(LINE, floor, levels), hertz))
    return (both - bare) - (base - bare) - (alone - bare)


@pytest.mark.parametrize("hertz", [4.5, 9.0])
@pytest.mark.parametrize("levels", [("1",), ("0", "1", "2", "3")])
def test_where_they_differ(hertz: float, levels: tuple[str, ...]) -> None:
    """Below 25 Hz, where mounts, floor and slabs resonate, single bands stray by 3 dB and more
    either way: up to 15 dB where floors on every level make the building heavier and its mounts
    resonate lower. From 25 Hz up, twice the floor's own frequency, the sum is right within 4 dB."""
    difference = off(FLOOR, hertz, levels)
    low = np.abs(difference.sel(frequency=slice(None, 20)).values)
    high = np.abs(difference.sel(frequency=slice(25, None)).values)
    assert 3.0 < low.max() < (16.0 if len(levels) > 1 else 12.0)
    assert high.max() < 4.0


def test_a_floor_without_weight_leaves_only_the_band_means() -> None:
    """A hundredth of the mass at the same frequency hardly loads the slab. What is left, up to 2 dB
    where both resonate within one band, is that the band mean of a product is not the product of
    band means; away from there, from 80 Hz up, less than 1 dB."""
    light = replace(
        FLOOR, mass_per_area=2.4, stiffness_per_area=FLOOR.stiffness_per_area / 100,
        bending_stiffness=0.0,
    )  # fmt: skip
    left = np.abs(off(light, 9.0))
    assert float(left.max()) < 2.2
    assert float(left.sel(frequency=slice(80, None)).max()) < 1.0


def test_stiff_mounts_leave_the_floor_alone() -> None:
    """Mounts that give nothing change nothing: the difference vanishes within 0.05 dB."""
    assert np.abs(off(FLOOR, 400.0).values).max() < 0.05
