"""A tower of 24 storeys with uncertain columns, slabs and soil, under four options of mounts.

24 storeys x 336 lines (21 bands) x samples x 4 options, mean square per band at every floor, in
chunks of samples. Baselines, from the same arrays in the same run: the recursion written out by
hand in numpy with the same sharing (equal segments once, options only from the mounts on), the
same with all axes stacked from the start, and a loop of scalars.
"""

from __future__ import annotations

import cmath
import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr
from scipy import stats

import groundborne as gb
from groundborne.isolation import LinearMount
from groundborne.structure import (
    ColumnLine,
    FlatSlab,
    IsolationPlane,
    SpringFoundation,
    Storey,
    panel,
)

BANDS = gb.bands.third_octaves(2.5, 250)
STOREYS, CHUNK = 24, 100
SIDES = (0.75,) * 9 + (0.6,) * 8 + (0.45,) * 7


class Inputs:
    """The numbers both sides start from."""

    def __init__(self, samples: int) -> None:
        self.columns = gb.sample(stats.norm(36e9, 2e9), size=samples, seed=1)
        self.slabs = gb.sample(stats.norm(22.5e9, 2e9), size=samples, seed=2)
        self.soil = gb.sample(stats.lognorm(0.25, scale=1.8e9), size=samples, seed=3)
        self.mounts = xr.DataArray(
            np.array([3.5, 4.5, 6.0, 9.0]) ** 2 * (2 * np.pi) ** 2 * 8.3e5, dims="option"
        )

    def cut(self, start: int) -> Inputs:
        """One chunk of samples."""
        part = object.__new__(Inputs)
        part.mounts = self.mounts
        for name in ("columns", "slabs", "soil"):
            setattr(part, name, getattr(self, name)[start : start + CHUNK])
        return part


def building(inputs: Inputs) -> ColumnLine:
    """The tower, mounts at its foot."""
    slab = FlatSlab(
        span_x=6.0,
        span_y=6.0,
        thickness=0.22,
        youngs_modulus=inputs.slabs,
        density=2400.0,
        poisson=0.2,
        loss_factor=0.06,
        superimposed_mass=180.0,
    )
    typical = Storey(
        floor=0,
        height=3.15,
        area=1.0,
        youngs_modulus=inputs.columns,
        density=2450.0,
        loss_factor=0.05,
        slab=slab,
    )
    return ColumnLine(
        storeys=tuple(replace(typical, floor=i + 1, area=s**2) for i, s in enumerate(SIDES)),
        foundation=SpringFoundation(stiffness=inputs.soil, damping=1.2e7, loss_factor=0.08),
        isolation=IsolationPlane(
            mount=LinearMount(stiffness=inputs.mounts, loss_factor=0.1), on="base"
        ),
    )


def ours(inputs: Inputs) -> np.ndarray:
    """The library."""
    result = building(inputs).column_mean_square(BANDS)
    return result.transpose("floor", "option", "sample", "frequency").values


def by_hand(inputs: Inputs, *, stacked: bool) -> np.ndarray:
    """The same in numpy, axes (option, sample, line)."""
    f = gb.bands.single_frequencies(BANDS, loss_factor=0.05).values.ravel()
    w = 2 * np.pi * f
    e, eslab, soil = (x.values[:, None] for x in (inputs.columns, inputs.slabs, inputs.soil))
    k = inputs.mounts.values[:, None, None] * (1 + 0.1j)
    whole = (k.shape[0], e.shape[0], f.size)

    def full(x: np.ndarray) -> np.ndarray:
        return np.ascontiguousarray(np.broadcast_to(x, whole)) if stacked else x

    bending = eslab * 0.22**3 / (12 * (1 - 0.2**2)) * (1 + 0.06j)
    mass = 2400.0 * 0.22 + 180.0
    six = np.array(6.0)
    mobility = 1j * w / (bending * 36.0) * panel.columns_sum(w**2 * mass / bending, six, six)
    slab = full(1 / mobility)
    modulus = e * (1 + 0.05j)
    angle = w * 3.15 * np.sqrt(2450.0 / modulus)
    tan, sec = np.tan(angle), 1 / np.cos(angle)
    terms = {}
    for side in set(SIDES):
        z = side**2 * np.sqrt(modulus * 2450.0)
        terms[side] = (full(1j * z * tan), full(1j * tan / z), full(sec + 0 * z))
    ratios: list[Any] = []
    z = 0.0
    for side in reversed(SIDES):
        q, p, s = terms[side]
        z = z + slab
        inverse = 1 / (1 + p * z)
        ratios.append(s * inverse)
        z = (z + q) * inverse
    through = 1 / (1j * w / k * z + 1)
    ground = 1j * w / (soil * (1 + 0.08j) + 1j * w * 1.2e7)
    v = through / (1 + ground * (z * through))
    velocities = np.empty((STOREYS, *whole), complex)
    for i in range(STOREYS):
        v = np.multiply(v, ratios[STOREYS - 1 - i], out=velocities[i])
    squared = velocities.real**2 + velocities.imag**2
    return squared.reshape(*squared.shape[:-1], BANDS.size, -1).mean(axis=-1)


def by_scalars(inputs: Inputs, samples: int, lines: int) -> tuple[np.ndarray, int]:
    """A loop of scalars over a few samples and lines, and the number of storeys it passed."""
    f = gb.bands.single_frequencies(BANDS, loss_factor=0.05).values.ravel()[:lines]
    found = np.empty((STOREYS, inputs.mounts.size, samples, lines))
    for i in range(samples):
        e, soil = float(inputs.columns[i]), float(inputs.soil[i])
        bending = float(inputs.slabs[i]) * 0.22**3 / (12 * (1 - 0.2**2)) * (1 + 0.06j)
        modulus = e * (1 + 0.05j)
        for j, hertz in enumerate(f.tolist()):
            w = 2 * cmath.pi * hertz
            # The slab in the same closed form, with as many terms as it needs up to 250 Hz.
            root = cmath.sqrt(w**2 * 708.0 / bending)
            total = 0j
            for m in range(60):
                alpha = (2 * cmath.pi * m / 6.0) ** 2
                low, high = cmath.sqrt(alpha - root), cmath.sqrt(alpha + root)
                term = 1 / (low * cmath.tanh(3.0 * low)) - 1 / (high * cmath.tanh(3.0 * high))
                total += term if m == 0 else 2 * term
            slab = 1 / (1j * w / (bending * 36.0) * 3.0 / (2 * root) * total)
            angle = w * 3.15 * cmath.sqrt(2450.0 / modulus)
            tan, sec = cmath.tan(angle), 1 / cmath.cos(angle)
            for o, stiffness in enumerate(inputs.mounts.values.tolist()):
                z, ratios = 0j, []
                for side in reversed(SIDES):
                    zc = side**2 * cmath.sqrt(modulus * 2450.0)
                    z = z + slab
                    inverse = 1 / (1 + 1j * tan / zc * z)
                    ratios.append(sec * inverse)
                    z = (z + 1j * zc * tan) * inverse
                through = 1 / (1j * w / (stiffness * (1 + 0.1j)) * z + 1)
                ground = 1j * w / (soil * (1 + 0.08j) + 1j * w * 1.2e7)
                v = through / (1 + ground * z * through)
                for n in range(STOREYS):
                    v = v * ratios[STOREYS - 1 - n]
                    found[n, o, i, j] = abs(v) ** 2
    return found, found.size


def run(inputs: Inputs, function: Callable[[Inputs], np.ndarray]) -> np.ndarray:
    """All samples in chunks."""
    parts = [function(inputs.cut(s)) for s in range(0, inputs.columns.size, CHUNK)]
    return np.concatenate(parts, axis=2)


def timed(function: Callable[[], object], repeats: int) -> float:
    """Least time of several runs [s]."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def main(samples: int = 1000) -> None:
    """Print times, peaks and ratios of one run."""
    inputs = Inputs(samples)
    small = inputs.cut(0)
    reference, mine = by_hand(small, stacked=False), ours(small)
    difference = float(abs(10 * np.log10(mine / reference)).max())
    scalars, passed = by_scalars(small, 2, 16)
    check = scalars.mean(axis=-1) / reference[:, :, :2, 0]
    t_scalar = timed(lambda: by_scalars(small, 2, 16), 1) / passed

    hand = timed(lambda: run(inputs, lambda x: by_hand(x, stacked=False)), 3)
    stacked = timed(lambda: run(inputs, lambda x: by_hand(x, stacked=True)), 1)
    library = timed(lambda: run(inputs, ours), 3)
    tenth = inputs.cut(0)
    for name in ("columns", "slabs", "soil"):
        setattr(tenth, name, getattr(inputs, name)[: samples // 10])
    few = timed(lambda: run(tenth, ours), 3)
    tracemalloc.start()
    run(inputs, ours)
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()

    each = library / (STOREYS * inputs.mounts.size * samples * BANDS.size * 16)
    print(f"24 storeys x 336 lines x {samples} samples x 4 options, chunks of {CHUNK}")
    print(f"library            {library:7.2f} s, peak {peak:.0f} MiB")
    print(f"numpy by hand      {hand:7.2f} s, ratio {library / hand:.2f} (aim 1.5 at most)")
    print(f"numpy, all stacked {stacked:7.2f} s, ratio {library / stacked:.2f}")
    print(f"loop of scalars    {t_scalar / each:7.0f} times slower per value (aim 50 at least)")
    print(
        f"per sample with {samples // 10} and {samples}: {1e3 * few / (samples // 10):.2f} and "
        f"{1e3 * library / samples:.2f} ms"
    )
    print(f"largest difference to numpy {difference:.1e} dB, ", end="")
    print(f"of the scalars {abs(10 * np.log10(check)).max():.1e} dB")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
