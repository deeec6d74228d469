"""A part of the inputs of ``python tests/fuzz/run.py``: nothing raw, no NaN, no vague sentence."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random

import pytest
import recording_inputs
import run
from outcomes import DEFECTS, judge, own_folder
from study_inputs import SMALL, evaluated, wrong_result

import groundborne as gb

SHARES = {
    "study files": 40,
    "tables": 60,
    "recordings": 500,
    "command line": 10,
    "arguments": 120,
}
"""Number of inputs; fewer of what is evaluated, which takes longest."""


@pytest.mark.parametrize("kind", SHARES)
@pytest.mark.filterwarnings("default")
def test_odd_inputs_give_an_answer_or_a_sentence(kind: str) -> None:
    run.prepare(kind)
    bad = []
    counts: Counter[str] = Counter()
    with own_folder() as place:
        for number in range(SHARES[kind]):
            trial = run.draw(kind, number, 1, place)
            outcome = judge(trial)
            counts[outcome.name] += 1
            if outcome.name in DEFECTS:
                bad.append((f"{kind}:{number}", trial.what, outcome.name, outcome.said))
    assert not bad, "\n".join(map(str, bad))
    # Neither refuses everything nor takes everything.
    assert counts["answer"] > 0.04 * SHARES[kind]
    assert counts["sentence"] > 0.25 * SHARES[kind]


def test_inputs_are_the_same_for_the_same_seed() -> None:
    run.prepare("arguments")
    with own_folder() as place:
        for kind in SHARES:
            first, again, other = (
                run.draw(kind, number, seed, place).what.replace(str(place), "")
                for number, seed in ((3, 1), (3, 1), (3, 2))
            )
            assert first == again
            assert first != other


@pytest.mark.parametrize("study", ["lines", "tables"])
@pytest.mark.filterwarnings("ignore::UserWarning")
def test_the_studies_are_evaluated_as_they_stand(study: str) -> None:
    """What is changed starts from what is right."""
    found = evaluated(gb.read_study(SMALL / study / "study.toml"))
    assert wrong_result(found) == ""
    assert found["rating"].size > 0


@pytest.mark.parametrize("kind", recording_inputs.KINDS)
@pytest.mark.filterwarnings("ignore::UserWarning")
def test_the_recordings_are_read_as_they_stand(kind: str, tmp_path: Path) -> None:
    whole, name, read = recording_inputs.KINDS[kind]
    for raw in whole():
        file = tmp_path / name
        file.write_bytes(raw)
        assert recording_inputs.wrong(read(Random(1))(file)) == ""
