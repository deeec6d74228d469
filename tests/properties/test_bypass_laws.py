"""What crosses beside springs, against worked values of a rigid mass on them [derived].

A single frequency, transmissibility of a mass on a complex stiffness; worked by another hand from
the stated formulas.
"""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from groundborne.isolation import CrossedMount, Crossing, LinearMount, Mount

ONE = xr.DataArray(1.0)
MASS = 2.4e6
MOUNT = LinearMount(stiffness=MASS * (2 * np.pi * 4.5) ** 2, loss_factor=0.02)
AT = xr.DataArray([31.5], dims="frequency")


def natural(mount: Mount) -> float:
    slow = xr.DataArray([0.01], dims="frequency")
    return float(np.sqrt(mount.dynamic_stiffness(slow).real[0] / MASS)) / (2 * np.pi)


def loss(mount: Mount) -> float:
    k = complex(mount.dynamic_stiffness(AT)[0])
    return float(-20 * np.log10(abs(k / (k - MASS * (2 * np.pi * 31.5) ** 2))))


@pytest.mark.parametrize(
    ("ratio", "frequency", "lost"),
    [(0.01, 4.522, 0.088), (0.05, 4.611, 0.434), (0.1, 4.720, 0.848), (0.25, 5.031, 1.987),
     (0.5, 5.511, 3.62), (1.0, 6.364, 6.22)],
)  # fmt: skip
def test_bridges_beside_springs(ratio: float, frequency: float, lost: float) -> None:
    """Rigid mass on 4.5 Hz (η 0.02), bridges of η 0.1: frequency and loss at 31.5 Hz."""
    bridge = Crossing(name="bridge", stiffness=ratio * MOUNT.stiffness, loss_factor=0.1)
    crossed = CrossedMount(mount=MOUNT, crossings=[bridge], weights=ONE)
    assert natural(crossed) == pytest.approx(frequency, abs=6e-4)
    assert loss(MOUNT) - loss(crossed) == pytest.approx(lost, abs=5e-3)


def test_sealed_air_in_the_void() -> None:
    """450 m², 0.2 m, 2400 t on 4.5 Hz: 3.19e8 beside 1.92e9 N/m make it 4.860 Hz."""
    air = Crossing.void_air(area=450.0, depth=0.2, state="sealed")
    assert f"{air.stiffness:.2e}" == "3.19e+08"
    assert f"{MOUNT.stiffness:.2e}" == "1.92e+09"
    assert air.loss_factor == 0.05
    crossed = CrossedMount(mount=MOUNT, crossings=[air], weights=ONE)
    assert natural(crossed) == pytest.approx(4.860, abs=5e-4)
    with pytest.raises(ValueError, match="air that is vented carries nothing"):
        Crossing.void_air(area=450.0, depth=0.2, state="vented")


def test_soil_above_the_plane_removes_the_isolation() -> None:
    """78 x 3 m, 200 m/s, 1900 kg/m³: 8.9e7 N s/m, nine times |k/ω| = 9.7e6 at 31.5 Hz."""
    soil = Crossing.soil(area=78 * 3.0, density=1900.0, shear_wave_speed=200.0)
    omega = 2 * np.pi * 31.5
    springs = abs(complex(MOUNT.dynamic_stiffness(AT)[0])) / omega
    beside = abs(complex(soil.dynamic_stiffness(AT)[0])) / omega
    assert f"{beside:.1e}" == "8.9e+07"
    assert f"{springs:.1e}" == "9.7e+06"
    assert beside / springs == pytest.approx(9.2, abs=0.1)
    crossed = CrossedMount(mount=MOUNT, crossings=[soil], weights=ONE)
    assert loss(crossed) < loss(MOUNT) - 15.0
