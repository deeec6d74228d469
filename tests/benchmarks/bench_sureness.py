"""How sure a tower is: time, memory and scaling of samples of its errors.

The demonstration tower with 240 rooms on its 24 storeys, 60 columns, 60 trains and 6 options. The
baselines are numpy by hand on the same numbers, with the same errors drawn for it (it knows
nothing of studies and metrics), and a loop over scalars of which a part is timed. Times are of the
clock, and of the processor in brackets. ``--million`` adds a run of 1,000,000 samples of 40 rooms.
"""

from __future__ import annotations

import argparse
import csv
import math
import resource
import shutil
import tempfile
import time
import warnings
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import xarray as xr

import groundborne as gb
from groundborne.study.sample_blocks import Kernel
from groundborne.study.spreads import study_spreads
from groundborne.study.sureness import Sampler, how_sure
from groundborne.uncertainty import BLOCK, Tally

DATA = Path(__file__).resolve().parents[2] / "data" / "tower"
ROOMS = 240
SAMPLES = 10_000


def tower(folder: Path, rooms: int) -> gb.Study:
    """The tower with rooms on all of its storeys above the podium, in turn."""
    shutil.copytree(DATA, folder, dirs_exist_ok=True)
    lines = (DATA / "rooms.csv").read_text(encoding="utf-8").splitlines()
    head, *rows = [line for line in lines if line and not line.startswith("#")]
    found = [row for row in csv.reader(rows) if row[0] != "N1"]
    more = [row for row in csv.reader(rows) if row[0] == "N1"]
    for number in range(rooms - len(found) - 1):
        like = found[number % len(found)]
        more.append([f"X{number + 1}", *like[1:]])
    with (folder / "rooms.csv").open("w", encoding="utf-8", newline="") as file:
        file.write(f"{head}\n")
        csv.writer(file, lineterminator="\n").writerows([*more, *found][:rooms])
    study = gb.read_study(folder / "study.toml")
    assert len(study.rooms) == rooms
    return study


def by_hand(kernel: Kernel, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Deviations and what meets its limit, of one block: arrays as a user would write them."""
    normals = kernel.draws.normals(number)
    options, rooms, criteria = kernel.margin.shape
    off = np.empty((options, rooms, criteria, BLOCK), np.float32)
    for quantity, errors in kernel.errors.items():
        here = [(k, rated) for k, (q, rated) in enumerate(kernel.rated) if q == quantity]
        for option in range(options):
            for room in range(rooms):
                total = 0.0
                for size, (values, place) in zip(errors.sizes, normals, strict=True):
                    one = size[min(option, len(size) - 1), room]
                    if one.any():
                        total = total + one * values[0 if place is None else place[room]]
                power = np.exp(np.float32(np.log(10) / 10) * total)
                for k, rated in here:
                    sums = power @ rated.weights[room, 0, :, option]
                    off[option, room, k] = 10 * np.log10(sums.max(axis=-1))
    generator = np.random.default_rng([kernel.draws.seed, 2, 0, number])
    trains = generator.standard_normal(BLOCK, dtype=np.float32)
    off += kernel.trains_spread[..., None] * trains
    return off, off <= kernel.margin[..., None]


def scalars(kernel: Kernel, count: int) -> float:
    """Time of one rating of one sample in a loop over scalars [s], from `count` of them."""
    (_, rated), *_ = kernel.rated
    weights = [float(w) for w in rated.weights[0, 0, :, 0, 0]]
    sizes = [float(s[0, 0, 0]) for s in next(iter(kernel.errors.values())).sizes]
    generator = np.random.default_rng(1)
    drawn = generator.standard_normal((count, len(weights), len(sizes))).tolist()
    start = time.perf_counter()
    met = 0
    for sample in drawn:
        energy = 0.0
        for weight, each in zip(weights, sample, strict=True):
            error = 0.0
            for size, normal in zip(sizes, each, strict=True):
                error += size * normal
            energy += weight * 10 ** (error / 10)
        met += 10 * math.log10(energy) <= 0.0
    return (time.perf_counter() - start) / count


def peak() -> float:
    """Largest memory of this process so far [GiB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def timed(function: Callable[[], object]) -> tuple[float, str]:
    """Time of the clock [s], and both times in words."""
    start, busy = time.perf_counter(), time.process_time()
    function()
    took = time.perf_counter() - start
    return took, f"{took:.1f} s ({time.process_time() - busy:.1f} s)"


def baselines(study: gb.Study, result: xr.Dataset) -> None:
    """Against numpy by hand and a loop of scalars, in processor time of one run."""
    sampler = Sampler(study=study, result=result, spreads=tuple(study_spreads(study)), seed=1)
    kernel = sampler.kernel
    kernel.deviations(0)
    start = time.process_time()
    kernel.block(1)
    ours = time.process_time() - start
    start = time.process_time()
    off, met = by_hand(kernel, 1)
    Tally.of(np.moveaxis(off, -1, 0)), Tally.of(np.moveaxis(off[1:] - off[:1], -1, 0))
    met.sum(axis=-1), met.all(axis=2).sum(axis=-1), met.all(axis=(1, 2)).sum(axis=-1)
    hand = time.process_time() - start
    largest = abs(off - kernel.deviations(1)).max()
    print(f"  largest difference to numpy {largest:.1e} dB")
    print(f"  one block {ours:.3f} s, {ours / hand:.2f} times numpy by hand (aim 1.5)")
    loop = scalars(kernel, 2000) * off.size
    print(f"  a loop of scalars {loop:.0f} s, {loop / ours:.0f} times as long (aim 50)")


def main(*, million: bool = False) -> None:
    """Print times, memory and ratios of one run."""
    warnings.simplefilter("ignore")
    print("how sure: time of the clock (of the processor)")
    with tempfile.TemporaryDirectory() as folder:
        studies: list[gb.Study] = []
        found: list[xr.Dataset] = []
        read, words = timed(lambda: studies.append(tower(Path(folder), ROOMS)))
        (study,) = studies
        rated, more = timed(lambda: found.append(study.evaluate(band_levels=False)))
        (result,) = found
        print(f"  {ROOMS} rooms: read in {words}, evaluated in {more}; {peak():.2f} GiB")
        answered, words = timed(lambda: how_sure(study, result, samples=SAMPLES))
        print(f"  {SAMPLES} samples {words}, {peak():.2f} GiB (aim 2 GiB)")
        whole = read + rated + answered
        print(f"  from the study file to the answers {whole:.1f} s (aim 10 s)", flush=True)
        baselines(study, result)
        many = 10 * SAMPLES
        first, _ = timed(lambda: how_sure(study, result, samples=SAMPLES, mapper=map))
        ten, words = timed(lambda: how_sure(study, result, samples=many, mapper=map))
        print(
            f"  {many} samples one after another {words}, {peak():.2f} GiB; each "
            f"{first / SAMPLES * 1e3:.2f} ms of {SAMPLES}, {ten / many * 1e3:.2f} ms of {many}",
            flush=True,
        )
        with ProcessPoolExecutor(2) as pool:
            list(pool.map(abs, range(2)))
            two, words = timed(lambda: how_sure(study, result, samples=many, mapper=pool.map))
        print(f"  two workers {words}, {ten / two:.2f} times as fast (aim 1.6)", flush=True)
        if million:
            few = result.isel(room=slice(0, 40))
            _, words = timed(lambda: how_sure(study, few, samples=100 * SAMPLES))
            print(f"  1,000,000 samples of 40 rooms {words}, {peak():.2f} GiB")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--million", action="store_true")
    main(million=parser.parse_args().million)
