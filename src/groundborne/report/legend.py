"""How far the sources of a report carry, counted."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import get_args

from groundborne.citation import Mark

WORDS = {
    "seen": "read in the original",
    "seen second-hand": "read through another's transcription",
    "from memory": "recalled and not looked up",
    "common practice": "common practice without a source",
    "derived": "worked out from stated formulas",
    "input": "given with the study",
}
"""Marks of sources, as a reader of a report is told them."""


_MARKED = re.compile(rf" \[(?:{'|'.join(sorted(WORDS, key=len, reverse=True))})(?:; \w+)?\]")


_TABLE = re.compile(r"\[(path|structure|isolation)\.(\w+)\]")
_TABLES = {
    "path.coupling": "the step from ground to foundation",
    "path.storeys": "the step up the storeys",
    "path.floor": "the step to the floors",
    "path.horizontal": "the horizontal motion",
    "structure.phases": "the phases between columns",
}
"""Tables of the study file that sentences name, in words."""
_MINUS = re.compile(r"(?<![\w.,-])-(?=\d)")


def without_marks(text: str) -> str:
    """A sentence of the body: how its sources were known stands in the annex, in words.

    Tables of the study file are named in words, and numbers below zero have the sign for it.

    Examples
    --------
    >>> without_marks("at most 25 dB (Walker and Mathers 1989 [seen]).")
    'at most 25 dB (Walker and Mathers 1989).'
    >>> without_marks("-3.6 dB; take the model 'window' of [structure.phases].")
    "−3.6 dB; take the model 'window' of the phases between columns."
    """
    text = _TABLE.sub(_in_words, _MARKED.sub("", text))
    return _MINUS.sub("−", text)


def _in_words(found: re.Match[str]) -> str:
    first, name = found.groups()
    return _TABLES.get(f"{first}.{name}", f"{name.replace('_', ' ')} of the {first}")


def legend(rows: Sequence[Sequence[str]]) -> str:
    """What the marks of the table of sources come to.

    Parameters
    ----------
    rows : sequence of sequence of str
        Rows of that table; the last two cells are mark and status.

    Returns
    -------
    str
        Sentences with the number of sources for each mark, and how many are verified.

    Examples
    --------
    >>> legend([("A", "1", "seen", "verified"), ("B", "2", "derived", "transcribed")]).split(".")[0]
    'Of 2 sources 1 was read in the original and 1 worked out from stated formulas'
    """
    marks = Counter(row[-2] for row in rows)
    counted = [f"{marks[m]} {WORDS[m]}" for m in get_args(Mark) if marks[m]]
    if not counted:
        return "No source is named."
    first, _, rest = counted[0].partition(" ")
    verb = "was" if first == "1" else "were"
    listed = ", ".join([f"{first} {verb} {rest}", *counted[1:-1]])
    listed += f" and {counted[-1]}" if len(counted) > 1 else ""
    verified = sum(row[-1] == "verified" for row in rows)
    return (
        f"Of {len(rows)} sources {listed}. {verified} of them {'is' if verified == 1 else 'are'} "
        "verified: at least one value that it prints is worked out by the library in a test, and "
        "agrees. The numbers of the others were copied or recalled, and no printed result stands "
        "against them."
    )
