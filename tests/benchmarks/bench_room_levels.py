"""Room levels of an uncertain option study, against plain vectorised numpy.

6 options x 40 rooms x 60 passbys x 200 samples x 21 bands. The baseline adds all levels and
raises every band of every passby to a power. Both start from the same arrays.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable

import numpy as np
import xarray as xr
from scipy import stats

import groundborne as gb
from groundborne.isolation import LinearMount
from groundborne.path import FLOOR_AVERAGE, FOUNDATION, GROUND, GivenChange, TransmissionPath
from groundborne.propagation import FixedAmplification, StoreyAttenuation
from groundborne.receiver import FixedOffset
from groundborne.structure import RigidMass, SpringFoundation
from groundborne.study import evaluate, room_levels, stage_changes

OPTIONS, ROOMS, PASSBYS, SAMPLES = 6, 40, 60, 200


def _study() -> tuple[dict[str, TransmissionPath], xr.DataArray]:
    rng = np.random.default_rng(5)
    f = gb.bands.third_octaves(2.5, 250)
    spectrum = 70 + 25 * np.exp(-(((np.arange(f.size) - 14) / 5) ** 2))
    source = gb.levels.stamp(
        xr.DataArray(
            spectrum + rng.normal(0, 3, (PASSBYS, f.size)),
            dims=("passby", "frequency"),
            coords={"passby": np.arange(PASSBYS).astype(str), "frequency": f.values},
        ),
        quantity="velocity",
        reference="1 nm/s",
        long_name="velocity level",
        time_weighting="S max",
    )
    spread = gb.sample(stats.norm(0.0, 3.0), size=SAMPLES, seed=1)
    rooms = xr.DataArray(np.arange(ROOMS) % 12, dims="room", coords={"room": np.arange(ROOMS)})
    as_built = TransmissionPath(
        coupling=GivenChange(
            xr.DataArray(np.linspace(0, -12, f.size), coords={"frequency": f.values}) + spread,
            quantity_in=GROUND,
            quantity_out=FOUNDATION,
        ),
        storeys=StoreyAttenuation(per_storey=1.0, storeys=rooms),
        floor=FixedAmplification(gain=3.0),
        radiation=FixedOffset(offset=-27.0 + 0.3 * spread, velocity=FLOOR_AVERAGE, low=2.5),
    )
    soil = SpringFoundation(stiffness=3.3e8, damping=1.7e6, loss_factor=0.05)
    paths = {"as built": as_built}
    for f0 in (3.5, 4.5, 6.0, 8.0, 10.0):
        mount = LinearMount.tuned(natural_frequency=f0, mass=1e5, loss_factor=0.1)
        base = gb.isolation.BaseIsolation(mount, below=soil, above=RigidMass(mass=1e5))
        paths[f"{f0:g} Hz"] = as_built.insert(after="coupling", isolation=base)
    assert len(paths) == OPTIONS
    return paths, source


def _best(run: Callable[[], object], repeats: int) -> tuple[float, float]:
    """Least time of several runs [s], and the peak memory of one [MiB]."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    tracemalloc.start()
    run()
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    return min(times), peak


def main() -> None:
    """Print times, peaks and ratios of one run."""
    paths, source = _study()
    change = stage_changes(paths, source["frequency"]).sum("stage")
    weights = gb.weighting.a(change["frequency"]).values
    gain = change.transpose("option", "room", "sample", "frequency").values
    levels = source.values

    def plain() -> np.ndarray:
        total = gain[:, :, None, :, :] + levels[:, None, :] + weights
        return 10 * np.log10((10 ** (total / 10)).sum(axis=-1))

    ours = room_levels(change, source).transpose("option", "room", "passby", "sample").values
    difference = float(np.abs(ours - plain()).max())
    t_plain, m_plain = _best(plain, 3)
    t_ours, m_ours = _best(lambda: room_levels(change, source), 5)
    t_all, m_all = _best(lambda: evaluate(paths, source, band_levels=False), 3)
    shape = f"{OPTIONS} options x {ROOMS} rooms x {PASSBYS} passbys x {SAMPLES} samples"
    print(f"room levels, {shape} x {levels.shape[1]} bands")
    print(f"  plain numpy, every band to a power   {t_plain:7.3f} s  peak {m_plain:7.0f} MiB")
    print(f"  room_levels, from the level change   {t_ours:7.3f} s  peak {m_ours:7.0f} MiB")
    print(f"  evaluate, paths to levels            {t_all:7.3f} s  peak {m_all:7.0f} MiB")
    print(f"  room_levels is {t_plain / t_ours:.1f} times faster (wanted 8)")
    print(f"  evaluate with all stages is {t_plain / t_all:.1f} times faster")
    print(f"  largest difference {difference:.1e} dB (allowed 1e-9)")


if __name__ == "__main__":
    main()
