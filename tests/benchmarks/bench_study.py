"""Studies from their files to answers, against the plain arithmetic that stands in them.

The music school evaluated whole and with one option more, and the tower whole, in processor time.
The baseline is numpy by hand on arrays of the same sizes: level changes of all stages added, levels
of every passby in every room and option, and their A-weighted sums. It knows nothing of buildings,
so that the ratio says what paths, column lines, ratings and notes cost over the least there is.
Both studies again with their columns in phase: what phases cost.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np

import groundborne as gb

DATA = Path(__file__).resolve().parents[2] / "data"
REPEATS = 3


def timed(function: Callable[[], object]) -> float:
    """Least processor time of several runs [s]."""
    times = []
    for _ in range(REPEATS):
        start = time.process_time()
        function()
        times.append(time.process_time() - start)
    return min(times)


def by_hand(change: np.ndarray, source: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """A-weighted level of every passby: option, room, passby."""
    total = change.sum(axis=1)[:, :, None, :] + source + weights
    return np.asarray(10 * np.log10((10 ** (total / 10)).sum(axis=-1)))


def plain(study: gb.Study) -> float:
    """Time of the baseline on arrays of a study [s]."""
    result = study.evaluate(band_levels=False)
    change = result["level_change"].transpose("option", "stage", "room", "frequency").values
    source = result["source_level"].transpose("passby", "frequency").values
    weights = gb.weighting.a(study.frequency).values
    found = by_hand(change, source, weights)
    level = result["sound_level"].transpose("option", "room", "passby").values
    print(f"  largest difference of levels to numpy {abs(found - level).max():.1e} dB")
    return timed(lambda: by_hand(change, source, weights))


def report(name: str, found: float, hand: float, aim: float) -> None:
    """One line."""
    print(f"  {name:<24} {found:6.3f} s (aim {aim:g} s), {found / hand:6.0f} times numpy")


def phases(name: str, study: gb.Study) -> None:
    """What the phases of columns cost over columns in phase, at most three times."""
    file = DATA / name / "study.toml"
    in_phase = gb.read_study(file, changes={"structure.phases.model": "in phase"})
    ratio = timed(study.evaluate) / timed(in_phase.evaluate)
    print(f"  {name}, with phases      {ratio:6.2f} times columns in phase (aim 3)")


def main() -> None:
    """Print times and ratios of one run."""
    warnings.simplefilter("ignore")
    print("studies, processor time")
    school = gb.read_study(DATA / "music_school" / "study.toml")
    hand = plain(school)
    number = len(school.options)
    report(f"school, {number} options", timed(school.evaluate), hand, 1.5)
    mount = school.mount(natural_frequency=5.3, loss_factor=0.02)
    few = school.with_options(school.options[:1])
    two = school.with_options([*few.options, gb.Option(name="springs 5.3 Hz", base=mount)])
    report("school, one option more", timed(two.evaluate) - timed(few.evaluate), hand, 0.3)
    tower = gb.read_study(DATA / "tower" / "study.toml")
    report(f"tower, {len(tower.options)} options", timed(tower.evaluate), plain(tower), 2.0)
    phases("music_school", school)
    phases("tower", tower)


if __name__ == "__main__":
    main()
