"""Odd inputs of every kind, from a seed: ``python tests/fuzz/run.py --inputs 10000 --seed 1``.

Each input must lead to an answer in finite numbers, or to one sentence of ours that names what was
changed. Every input can be drawn again by itself: ``--only tables:137``. Exit code 1 tells of a
defect.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parent))

import argument_inputs
import command_inputs
import recording_inputs
import study_inputs
from outcomes import DEFECTS, GOOD, Outcome, Trial, judge, own_folder

KINDS: dict[str, tuple[float, Callable[[Random, Path], Trial]]] = {
    "study files": (0.25, study_inputs.study_file),
    "tables": (0.22, study_inputs.table),
    "recordings": (0.20, recording_inputs.recording),
    "command line": (0.05, command_inputs.command),
    "arguments": (0.28, argument_inputs.arguments),
}
"""Share of the inputs, and how one is drawn."""


def prepare(*kinds: str) -> None:
    """The examples are run where their files lie."""
    if "arguments" in kinds:
        with contextlib.chdir(Path(__file__).parents[2]):
            argument_inputs.calls()


def draw(kind: str, number: int, seed: int, place: Path) -> Trial:
    """One input, always the same for the same kind, number and seed."""
    return KINDS[kind][1](Random(f"{seed}/{kind}/{number}"), place)


def run(inputs: int, seed: int) -> Iterator[tuple[str, int, str, Outcome]]:
    """Kind, number, what was changed and what came of it, of every input."""
    prepare(*KINDS)
    with own_folder() as place:
        for kind, (share, _) in KINDS.items():
            for number in range(round(share * inputs)):
                trial = draw(kind, number, seed, place)
                yield kind, number, trial.what, judge(trial)


def _one_line(text: str, most: int = 400) -> str:
    return repr(text)[1:-1][:most]


def _main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", metavar="KIND:NUMBER", help="draw one input again, and show it")
    parser.add_argument("--kind", choices=KINDS, help="inputs of one kind only")
    given = parser.parse_args()
    if given.only:
        kind, _, number = given.only.rpartition(":")
        prepare(kind)
        with own_folder() as place:
            trial = draw(kind, int(number), given.seed, place)
            print(trial.what, trial.words, judge(trial), sep="\n")
        return 0
    if given.kind:
        for kind in list(KINDS):
            if kind != given.kind:
                del KINDS[kind]
    counts: Counter[tuple[str, str]] = Counter()
    for kind, number, what, outcome in run(given.inputs, given.seed):
        counts[kind, outcome.name] += 1
        if outcome.name in DEFECTS:
            said = _one_line(outcome.said)
            print(f"{outcome.name} | {kind}:{number} | {_one_line(what)} | {said}", flush=True)
    names = (*GOOD, *DEFECTS)
    print(f"{'':14}" + "".join(f"{n:>10}" for n in ("inputs", *names)))
    for kind in (*KINDS, "all"):
        row = [sum(counts[k, n] for k in KINDS if kind in (k, "all")) for n in names]
        print(f"{kind:14}" + "".join(f"{n:>10}" for n in (sum(row), *row)))
    return int(any(counts[k, o] for k in KINDS for o in DEFECTS))


if __name__ == "__main__":
    sys.exit(_main())
