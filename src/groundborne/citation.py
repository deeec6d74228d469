"""Where a number comes from, and how far that has been checked."""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Mark = Literal["seen", "seen second-hand", "from memory", "common practice", "derived", "input"]
Status = Literal["verified", "transcribed", "practice", "assumed", "measured"]


@dataclass(frozen=True, kw_only=True)
class Citation:
    """The source of a formula, table or value.

    Parameters
    ----------
    key : str
        Short name, used by the files in ``tests/published/``.
    author, year, title, locator : str
        What a reviewer needs to find it: author or standard, year, title, table or equation.
    mark : str
        How it reached us: ``seen`` (read in the document), ``seen second-hand`` (read in somebody
        else's transcription), ``from memory``, ``common practice``, ``derived`` (worked out from a
        stated formula) or ``input`` (given by the user).
    status : str
        ``verified`` only when a file in ``tests/published/`` holds a value that this source prints
        and our implementation works out; ``transcribed`` where numbers or formulas were copied and
        no such value is known; else ``practice``, ``assumed`` or ``measured``.

    Examples
    --------
    >>> Citation(key="iso266", author="ISO 266", year="1997", title="Preferred frequencies",
    ...          locator="Table 1", mark="seen second-hand", status="transcribed").text
    'ISO 266 (1997), Preferred frequencies, Table 1 [seen second-hand; transcribed]'
    """

    key: str
    author: str
    year: str = ""
    title: str = ""
    locator: str = ""
    mark: Mark
    status: Status = "transcribed"

    @property
    def text(self) -> str:
        """One line for a report: source, place, and both marks."""
        head = f"{self.author} ({self.year})" if self.year else self.author
        body = ", ".join(part for part in (head, self.title, self.locator) if part)
        return f"{body} [{self.mark}; {self.status}]"


def citation_texts(citations: Iterable[Citation]) -> str:
    """Join citations into the one string an attribute can hold, without repeats."""
    return "; ".join(dict.fromkeys(c.text for c in citations))


class ValidityWarning(UserWarning):
    """A result was computed outside the range its source covers.

    The result is returned, and marked: see ``valid`` in the dataset of an evaluation.
    """


def warn_validity(message: str) -> None:
    """Warn from the caller's caller."""
    warnings.warn(message, ValidityWarning, stacklevel=3)


DERIVED = Citation(
    key="derived",
    author="groundborne",
    title="worked out from the stated formulas",
    mark="derived",
    status="transcribed",
)
