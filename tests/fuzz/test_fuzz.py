"""A tenth of the inputs of ``python tests/fuzz/run.py``: nothing raw, no NaN, no vague sentence."""

from __future__ import annotations

from collections import Counter

import pytest
import run
from outcomes import DEFECTS, judge, own_folder

SHARES = {
    "study files": 130,
    "tables": 170,
    "recordings": 330,
    "command line": 20,
    "arguments": 350,
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
