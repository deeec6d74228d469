"""Title block, and what has to be seen before anything else."""

from __future__ import annotations

from typing import Any

import groundborne
from groundborne.report.facts import Facts
from groundborne.report.legend import without_marks
from groundborne.report.notes import warning_sentences
from groundborne.report.title_block import FIELDS
from groundborne.report.tree import Box, Bullets, Code, Part, Runs, Terms, say
from groundborne.report.words import Evaluated
from groundborne.study.belonging import CHECKSUM

NOT_STATED = "not stated in the study"


def front_parts(facts: Facts, evaluated: Evaluated | None) -> tuple[Part, ...]:
    """Title block and boxes, with the banner of a demonstration and what is unusual."""
    parts: list[Part] = []
    study = facts.study
    if study.invented:
        text = "Invented for demonstration. No real place, building, people or measurement."
        parts.append(Box(kind="invented", title="", parts=(say(text),)))
    parts.append(_block(facts))
    if evaluated and evaluated.parts:
        parts.append(
            Box(
                kind="caution",
                title="Changed after the files were read",
                parts=(
                    say(
                        "A script changed: " + "; ".join(evaluated.parts) + ". The numbers are of "
                        "the changed study; see the annex “What was evaluated”."
                    ),
                ),
            )
        )
    unusual = warning_sentences(facts.result)
    if unusual:
        items = Bullets(items=tuple((without_marks(text),) for text in unusual))
        parts.append(Box(kind="caution", title="Unusual; check before reading on", parts=(items,)))
    return tuple(parts)


def _block(facts: Facts) -> Terms:
    details: Any = getattr(facts.study, "details", None)
    rows: list[tuple[str, Runs]] = []
    missing = []
    for name, words in FIELDS:
        value = getattr(details, name, None) if details is not None else None
        if value:
            rows.append((words, (str(value),)))
        elif name != "note":
            missing.append(words.lower())
    if missing:
        rows.append((", ".join(missing).capitalize(), (NOT_STATED,)))
    checksum = str(facts.result.attrs.get(CHECKSUM, ""))
    computed = f"groundborne {groundborne.__version__}"
    if facts.sure:
        computed += (
            f"; {facts.result.attrs['samples_of_errors']} samples of errors, seed "
            f"{facts.result.attrs['seed']}"
        )
    rows.append(("Computed with", (computed,)))
    if checksum:
        rows.append(("State of the study", ("SHA-256 ", Code(text=checksum[:16]), " …")))
    return Terms(items=tuple(rows))
