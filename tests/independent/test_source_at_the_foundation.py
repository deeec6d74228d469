"""A column line from its loaded foundation, against a system of equations written out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from groundborne.isolation import LinearMount
from groundborne.propagation import LineStoreys
from groundborne.structure import ColumnLine, IsolationPlane, RigidMass, SpringFoundation, Storey

K_SOIL, C_SOIL, ETA_SOIL = 9e8, 6e6, 0.06
HEIGHT, AREA, MODULUS, DENSITY, ETA = 3.6, 0.25, 35e9, 2450.0, 0.02
MASSES = (60e3, 45e3)
STIFFNESS, ETA_MOUNT = 4e7, 0.1


def _line(mounts: bool) -> ColumnLine:
    first = Storey(
        floor="1", height=HEIGHT, area=AREA, youngs_modulus=MODULUS, density=DENSITY,
        loss_factor=ETA, slab=RigidMass(mass=MASSES[0]),
    )  # fmt: skip
    second = replace(first, floor="2", slab=RigidMass(mass=MASSES[1]))
    foundation = SpringFoundation(stiffness=K_SOIL, damping=C_SOIL, loss_factor=ETA_SOIL)
    mount = LinearMount(stiffness=STIFFNESS, loss_factor=ETA_MOUNT)
    plane = IsolationPlane(mount=mount, under="1") if mounts else None
    return ColumnLine(storeys=(first, second), foundation=foundation, isolation=plane)


def _velocities(f: np.ndarray, mounts: bool) -> np.ndarray:
    """Foundation, head of the first column, slab 1, slab 2, over the free velocity.

    Node equations: the sum of the forces that rods, springs and masses ask of each node is that of
    the soil. A rod of impedance Z and length L asks ``Z/(j tan kL) v1 − Z/(j sin kL) v2`` at its
    first end [Cremer and Heckl, from memory]. Without mounts the head and slab 1 are tied by a
    spring of 10^15 N/m.
    """
    found = np.empty((f.size, 4), complex)
    for i, frequency in enumerate(f):
        w = 2 * np.pi * frequency
        modulus = MODULUS * (1 + 1j * ETA)
        z, kl = AREA * np.sqrt(modulus * DENSITY), w * HEIGHT * np.sqrt(DENSITY / modulus)
        own, across = z / (1j * np.tan(kl)), -z / (1j * np.sin(kl))
        tie = (STIFFNESS * (1 + 1j * ETA_MOUNT) if mounts else 1e15) / (1j * w)
        soil = K_SOIL * (1 + 1j * ETA_SOIL) / (1j * w) + C_SOIL
        matrix = np.array(
            [
                [soil + own, across, 0, 0],
                [across, own + tie, -tie, 0],
                [0, -tie, tie + own + 1j * w * MASSES[0], across],
                [0, 0, across, own + 1j * w * MASSES[1]],
            ]
        )
        found[i] = np.linalg.solve(matrix, [soil, 0, 0, 0])
    return found


@pytest.mark.parametrize("mounts", [False, True])
@pytest.mark.parametrize("level", ["1", "2"])
def test_from_the_loaded_foundation(mounts: bool, level: str) -> None:
    """With mounts too, the source is the foundation as it stood without them; 0.02 dB."""
    bands = [8.0, 16.0, 31.5, 63.0]
    step = LineStoreys(line=_line(mounts), floor=level, loaded=True)
    asked = xr.DataArray(bands, dims="frequency", coords={"frequency": bands})
    for n, label in zip((9, 12, 15, 18), bands, strict=True):
        f = np.linspace(10 ** (n / 10 - 0.05), 10 ** (n / 10 + 0.05), 3001)
        above = np.abs(_velocities(f, mounts)[:, 1 + int(level)]) ** 2
        standing = np.abs(_velocities(f, mounts=False)[:, 0]) ** 2
        wanted = 10 * np.log10(above.mean() / standing.mean())
        one = asked.sel(frequency=[label])
        assert step.level_change(one).item() == pytest.approx(wanted, abs=0.02)
        free = LineStoreys(line=_line(mounts), floor=level).level_change(one).item()
        assert free == pytest.approx(10 * np.log10(above.mean()), abs=0.02)


def test_the_two_starts_differ() -> None:
    """A heavy building holds its soil down or lifts it near resonance: no small matter."""
    at = xr.DataArray([63.0], dims="frequency", coords={"frequency": [63.0]})
    free, loaded = (
        LineStoreys(line=_line(mounts=False), floor="1", loaded=on).level_change(at).item()
        for on in (False, True)
    )
    assert abs(free - loaded) > 5.0
