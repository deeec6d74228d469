"""A report as a tree of parts that says what stands where, and nothing of how it is drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

Align = Literal["left", "right"]
BoxKind = Literal["caution", "invented", "finding"]


class Picture(Protocol):
    """What draws a figure."""

    def svg(self) -> bytes:
        """As vectors."""
        ...

    def png(self, dpi: int) -> bytes:
        """As dots, so many to an inch."""
        ...


@dataclass(frozen=True, kw_only=True)
class Strong:
    """Words that carry weight."""

    text: str


@dataclass(frozen=True, kw_only=True)
class Code:
    """A name as a machine reads it: a file, a column, a digest."""

    text: str


@dataclass(frozen=True, kw_only=True)
class Ref:
    """Reference to a section, listing, figure or box by its key; the writer words its number."""

    key: str


@dataclass(frozen=True, kw_only=True)
class Number:
    """A number with the cell of a table of the report that it was printed from.

    Parameters
    ----------
    text : str
        As printed, with sign, marks and without unit.
    value : float
        Of the cell.
    unit : str
        Of the value; empty where it has none.
    table, row, column : str
        Name of the CSV table, key of the row in its column ``key``, and name of the column.
    answer : str
        Where the number is a rating or a margin: what may be said of it.
    """

    text: str
    value: float
    unit: str
    table: str
    row: str
    column: str
    answer: str = ""

    @property
    def key(self) -> str:
        """Short name, the same for the same cell wherever it is printed."""
        return f"{self.table}:{self.row}.{self.column}"


Run: TypeAlias = str | Strong | Code | Ref | Number
Runs: TypeAlias = tuple[Run, ...]


@dataclass(frozen=True, kw_only=True)
class Paragraph:
    """Words in one flow."""

    runs: Runs
    small: bool = False


@dataclass(frozen=True, kw_only=True)
class Bullets:
    """A list, each entry one flow of words."""

    items: tuple[Runs, ...]
    numbered: bool = False


@dataclass(frozen=True, kw_only=True)
class Column:
    """Column of a listing.

    Parameters
    ----------
    name, unit : str
        As printed in its header.
    align : str
        ``left`` of words, ``right`` of numbers.
    wide : bool
        Whether it takes the room that others leave.
    """

    name: str
    unit: str = ""
    align: Align = "left"
    wide: bool = False


@dataclass(frozen=True, kw_only=True)
class Cell:
    """What stands in one cell, with what may be said of it where it is an answer.

    Parameters
    ----------
    runs : tuple
        Words and numbers.
    answer : str
        Of ``rating.Answer``; empty where the cell holds none.
    """

    runs: Runs
    answer: str = ""


@dataclass(frozen=True, kw_only=True)
class Listing:
    """A table; the first column names the rows.

    Parameters
    ----------
    key : str
        Unique in the document.
    caption : str
        What is listed.
    columns : tuple of Column
        Headers.
    rows : tuple of tuple of Cell
        As many cells as columns.
    table : str
        The CSV table that its numbers were printed from; empty where it holds words.
    invented : bool
        Whether its numbers are made up for demonstration.
    """

    key: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    table: str = ""
    invented: bool = False

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(
                    f"Listing {self.key!r}: a row has {len(row)} cells for {len(self.columns)} "
                    "columns"
                )


@dataclass(frozen=True, kw_only=True, eq=False)
class Figure:
    """A figure.

    Parameters
    ----------
    key : str
        Unique in the document, and the name of its file.
    caption : str
        What is drawn, with statistic, reference and where it comes from.
    alt : str
        The finding, for who does not see it.
    picture : Picture
        Draws it.
    half : bool
        Whether two of its kind stand beside each other on a page.
    """

    key: str
    caption: str
    alt: str
    picture: Picture
    half: bool = False


@dataclass(frozen=True, kw_only=True)
class Box:
    """What has to be seen before reading on."""

    kind: BoxKind
    title: str
    parts: tuple[Paragraph | Bullets, ...]


@dataclass(frozen=True, kw_only=True)
class Terms:
    """Names and what they mean, or are."""

    items: tuple[tuple[str, Runs], ...]


@dataclass(frozen=True, kw_only=True)
class Verbatim:
    """Text as it was read, line by line."""

    text: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Section:
    """A section with what it holds, sections among it.

    Parameters
    ----------
    key : str
        Unique in the document.
    title : str
        In words.
    parts : tuple
        In order.
    new_page : bool
        Whether it begins a page in print.
    """

    key: str
    title: str
    parts: tuple[Part, ...]
    new_page: bool = False


Part: TypeAlias = Paragraph | Bullets | Listing | Figure | Box | Terms | Verbatim | Section


@dataclass(frozen=True, kw_only=True, eq=False)
class Document:
    """A whole report.

    Parameters
    ----------
    title, subtitle : str
        On its first page.
    front : tuple
        What stands before the contents.
    body, annexes : tuple of Section
        Numbered 1, 2, ... and A, B, ...
    foot : tuple
        What stands at the end.
    running : str
        Line at the head of every printed page.
    """

    title: str
    subtitle: str
    front: tuple[Part, ...]
    body: tuple[Section, ...]
    annexes: tuple[Section, ...]
    foot: Runs = ()
    running: str = ""

    def __post_init__(self) -> None:
        seen: set[str] = set()
        for part in self.parts():
            key = getattr(part, "key", "")
            if key in seen:
                raise ValueError(f"Document: the key {key!r} stands twice")
            if key:
                seen.add(key)
        for run in self.runs():
            if isinstance(run, Ref) and run.key not in seen:
                raise ValueError(f"Document: a reference leads to {run.key!r}, which is not there")

    def parts(self) -> Iterator[Part]:
        """Every part, sections before what they hold."""
        for part in (*self.front, *self.body, *self.annexes):
            yield from _within(part)

    def runs(self) -> Iterator[Run]:
        """Every run of words, numbers and references, in order."""
        for part in self.parts():
            yield from _runs(part)
        yield from self.foot

    @property
    def figures(self) -> list[Figure]:
        """In order."""
        return [p for p in self.parts() if isinstance(p, Figure)]

    @property
    def listings(self) -> list[Listing]:
        """In order."""
        return [p for p in self.parts() if isinstance(p, Listing)]

    @property
    def numbers(self) -> dict[str, Number]:
        """Numbers by key; of one printed in several places, the first."""
        found: dict[str, Number] = {}
        for run in self.runs():
            if isinstance(run, Number):
                found.setdefault(run.key, run)
        return found

    def labels(self) -> dict[str, str]:
        """By key of a section, listing or figure its number in words, such as ``Table 3``."""
        found: dict[str, str] = {}
        for at, section in enumerate(self.body, start=1):
            _number(section, str(at), "Section", found)
        for at, section in enumerate(self.annexes):
            _number(section, letters(at), "Annex", found)
        for word, kind in (("Table", Listing), ("Figure", Figure)):
            here = [p for p in self.parts() if isinstance(p, kind)]
            found |= {p.key: f"{word} {n}" for n, p in enumerate(here, start=1)}
        return found


def letters(at: int) -> str:
    """The letter of an annex.

    Examples
    --------
    >>> letters(0), letters(26)
    ('A', 'AA')
    """
    return (letters(at // 26 - 1) if at > 25 else "") + chr(ord("A") + at % 26)


def _number(section: Section, number: str, word: str, found: dict[str, str]) -> None:
    found[section.key] = f"{word} {number}"
    inner = [p for p in section.parts if isinstance(p, Section)]
    for at, part in enumerate(inner, start=1):
        _number(part, f"{number}.{at}", word, found)


def _within(part: Part) -> Iterator[Part]:
    yield part
    if isinstance(part, (Section, Box)):
        for inner in part.parts:
            yield from _within(inner)


def _runs(part: Part) -> Iterator[Run]:
    if isinstance(part, Paragraph):
        yield from part.runs
    elif isinstance(part, Bullets):
        for item in part.items:
            yield from item
    elif isinstance(part, Listing):
        for row in part.rows:
            for cell in row:
                yield from cell.runs
    elif isinstance(part, Terms):
        for _, runs in part.items:
            yield from runs


# ---------------------------------------------------------------- short ways to write a tree


def say(*runs: Run, small: bool = False) -> Paragraph:
    """A paragraph of runs."""
    return Paragraph(runs=runs, small=small)


def cells(*each: Run | Cell) -> tuple[Cell, ...]:
    """A row of cells, one run each."""
    return tuple(c if isinstance(c, Cell) else Cell(runs=(c,)) for c in each)


def words_listing(
    key: str,
    caption: str,
    columns: tuple[str | Column, ...],
    rows: Sequence[tuple[Run | Cell, ...]],
) -> Listing:
    """A table of words."""
    return Listing(
        key=key,
        caption=caption,
        columns=tuple(c if isinstance(c, Column) else Column(name=c) for c in columns),
        rows=tuple(cells(*row) for row in rows),
    )
