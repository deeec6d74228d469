"""Reading of the published files: rows of printed values with their source."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path as FilePath
from typing import Any

FOLDER = FilePath(__file__).parent
MARKS = ("seen", "seen second-hand", "from memory", "common practice", "derived")
PRINTED_MARKS = ("seen", "seen second-hand")
"""Of files from a print, read itself or through somebody else's transcription."""
BASES = ("printed", "transcribed", "worked out")
"""How a row of such a file knows what to expect: ``printed`` is the print of what the library works
out; ``transcribed`` is the print of a number that the library holds as well, so that only a slip in
copying would show; ``worked out`` follows by hand from what is printed, and is printed nowhere."""
KINDS = ("function", "method", "property", "constant", "limit")
LARGEST_DB = 0.5
"""Largest tolerance of a level or level change [dB]; a fifth of a value near 0 dB says nothing."""
LARGEST_SHARE = 0.2
"""Largest tolerance of any other value as a share of it."""
EXACT = 1e-9
"""Tolerance of a row that copies a printed number without arithmetic."""


@dataclass(frozen=True)
class Source:
    """Head of one file."""

    file: str
    source: str
    locator: str
    mark: str
    obtained: str
    basis: str = ""
    keys: tuple[str, ...] = ()
    exercises: tuple[str, ...] = ()


@dataclass(frozen=True)
class Row:
    """One call and what is printed for it."""

    origin: Source
    name: str
    call: str
    expected: tuple[str, ...]
    unit: str
    kind: str = "function"
    inputs: dict[str, Any] = field(default_factory=dict)
    args: tuple[Any, ...] = ()
    member: str = ""
    at: tuple[Any, ...] = ()
    member_inputs: dict[str, Any] = field(default_factory=dict)
    item: int | str | None = None
    convert: str = ""
    per: float = 1.0
    tolerance: float | None = None
    exact: bool = False
    reason: str = ""
    basis: str = ""
    key: str = ""

    @property
    def identity(self) -> str:
        """Name of the test."""
        return f"{self.origin.file}: {self.name}"

    @property
    def evidence(self) -> str:
        """How far the row speaks for the library: one of the bases, or the mark of its file."""
        if self.origin.mark not in PRINTED_MARKS:
            return self.origin.mark
        copied = self.exact or self.kind in ("constant", "limit")
        return self.basis or self.origin.basis or ("transcribed" if copied else "printed")

    @property
    def backs(self) -> str:
        """Key of the citation that a printed value stands for; none where the file backs none."""
        return self.key or (self.origin.keys[0] if len(self.origin.keys) == 1 else "")

    def tolerances(self) -> list[float]:
        """One for each value: half a unit in the last printed digit unless the row says more."""
        if self.exact:
            return [EXACT] * len(self.expected)
        if self.tolerance is not None:
            return [self.tolerance] * len(self.expected)
        return [last_digit(text) / 2 for text in self.expected]

    def require_meaning(self) -> None:
        """Refuse a row that could hardly fail, or that loosens its tolerance without a reason."""
        for text, tolerance in zip(self.expected, self.tolerances(), strict=True):
            value = abs(float(text))
            limit = LARGEST_DB if self.unit == "dB" else max(LARGEST_SHARE * value, EXACT)
            if tolerance > limit:
                raise ValueError(
                    f"{self.identity}: tolerance {tolerance:g} for {text} {self.unit} is vacuous; "
                    f"at most {limit:g}"
                )
            if self.tolerance is not None and tolerance > last_digit(text) / 2 and not self.reason:
                raise ValueError(f"{self.identity}: tolerance {tolerance:g} has no reason")


def last_digit(text: str) -> float:
    """Unit of the last printed digit.

    >>> last_digit("-39.4"), last_digit("6"), last_digit("1.50e3")
    (0.1, 1.0, 10.0)
    """
    exponent = Decimal(text).as_tuple().exponent
    return float(Decimal(1).scaleb(int(exponent)))


def read_file(path: FilePath) -> tuple[Source, list[Row]]:
    """Head and rows of one file; unknown keys are refused."""
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    rows = data.pop("rows")
    for key in ("keys", "exercises"):
        data[key] = tuple(data.get(key, ()))
    origin = Source(file=path.stem, **data)
    if origin.mark not in MARKS:
        raise ValueError(f"{path.name}: mark is {origin.mark!r}; known are {MARKS}")
    if origin.basis not in ("", *BASES):
        raise ValueError(f"{path.name}: basis is {origin.basis!r}; known are {BASES}")
    return origin, [_row(origin, row) for row in rows]


def _row(origin: Source, row: dict[str, Any]) -> Row:
    expected = row.pop("expected")
    texts = tuple(expected) if isinstance(expected, list) else (expected,)
    if not texts or not all(isinstance(text, str) for text in texts):
        raise ValueError(f"{origin.file}: {row.get('name')}: expected must be printed strings")
    for key in ("args", "at"):
        row[key] = tuple(row.get(key, ()))
    read = Row(origin=origin, expected=texts, **row)
    if read.basis not in ("", *BASES) or (read.basis and origin.mark not in PRINTED_MARKS):
        raise ValueError(f"{read.identity}: basis is {read.basis!r}, of a file {origin.mark!r}")
    if read.key and read.key not in origin.keys:
        raise ValueError(f"{read.identity}: key is {read.key!r}; the file has {origin.keys}")
    if read.kind not in KINDS:
        raise ValueError(f"{read.identity}: kind is {read.kind!r}; known are {KINDS}")
    return read


def read_all() -> list[tuple[Source, list[Row]]]:
    """All files, by name."""
    return [read_file(path) for path in sorted(FOLDER.glob("*.toml"))]
