"""Where values of a study stand in its files: lines of the study file, rows of its tables."""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from groundborne.report.words import plain_text

Way = tuple[str | int, ...]
"""Keys from the outside in; entries of lists by their number, the first being 1."""

_BARE = r"[A-Za-z0-9_-]+"
_KEY = rf"""(?:{_BARE}|"(?:[^"\\]|\\.)*"|'[^']*')"""
_HEADER = re.compile(rf"\s*\[(\[?)\s*({_KEY}(?:\s*\.\s*{_KEY})*)\s*\](\]?)\s*(?:#.*)?$")
_ASSIGNED = re.compile(rf"\s*({_KEY})\s*(?:\.[^=]*)?=")
_LONG = re.compile(r'"""|\'\'\'')


@dataclass(frozen=True, kw_only=True)
class Place:
    """Lines of one file.

    Parameters
    ----------
    file, key : str
        Name of the file, and what stands there: the way to a key, or the label of a row.
    first, last : int
        Lines, counted from 1.
    """

    file: str
    key: str
    first: int
    last: int

    @property
    def address(self) -> str:
        """Name of the place."""
        return f"{self.file}#{self.key}"


@dataclass(frozen=True, eq=False)
class Origins:
    """Places in the files of a study.

    Parameters
    ----------
    texts : mapping of str to str
        Of the files by name, the study file first.
    """

    texts: Mapping[str, str]

    @property
    def file(self) -> str:
        """Name of the study file."""
        return next(iter(self.texts))

    @cached_property
    def data(self) -> dict[str, Any]:
        """The study file as it is read."""
        return tomllib.loads(plain_text(self.texts[self.file]))

    @cached_property
    def _lines(self) -> list[str]:
        return plain_text(self.texts[self.file]).split("\n")

    @cached_property
    def _headers(self) -> list[tuple[Way, int, int]]:
        """Tables with their first and last line, in order; the first is what has no header."""
        found: list[tuple[Way, int]] = [((), 1)]
        counts: dict[Way, int] = {}
        inside = False
        for number, line in enumerate(self._lines, start=1):
            was_inside, inside = inside, inside != bool(len(_LONG.findall(line)) % 2)
            header = None if was_inside else _HEADER.fullmatch(line)
            if header is None or len(header[1]) != len(header[3]):
                continue
            way: Way = ()
            names = [_plain(k) for k in re.findall(_KEY, header[2])]
            for at, name in enumerate(names, start=1):
                way = (*way, name)
                if header[1] and at == len(names):
                    counts[way] = counts.get(way, 0) + 1
                way = (*way, counts[way]) if way in counts else way
            if self.holds(way):
                found.append((way, number))
        ends = [number - 1 for _, number in found[1:]] + [len(self._lines)]
        return [(way, first, last) for (way, first), last in zip(found, ends, strict=True)]

    def holds(self, way: Way) -> bool:
        """Whether there is something at the end of a way."""
        here: Any = self.data
        for step in way:
            if isinstance(step, int):
                if not isinstance(here, list) or not 0 < step <= len(here):
                    return False
                here = here[step - 1]
            elif not isinstance(here, dict) or step not in here:
                return False
            else:
                here = here[step]
        return True

    def key(self, *way: str | int) -> Place | None:
        """Where something stands in the study file; None where nothing does.

        Of what is written inside a line, the line of the key around it.
        """
        if not self.holds(way):
            return None
        own = [(first, last) for w, first, last in self._headers if w[: len(way)] == way]
        if own and way:
            return Place(file=self.file, key=_dotted(way), first=own[0][0], last=_content_end(
                self._lines, own[0][0], own[-1][1]))  # fmt: skip
        around, first, last = max(
            (h for h in self._headers if h[0] == way[: len(h[0])]), key=lambda h: len(h[0])
        )
        wanted = way[len(around)] if len(way) > len(around) else None
        for number in range(first, last + 1):
            assigned = _ASSIGNED.match(self._lines[number - 1])
            if assigned is not None and _plain(assigned[1]) == wanted:
                return Place(file=self.file, key=_dotted(way), first=number, last=number)
        return Place(file=self.file, key=_dotted(way), first=first, last=first)

    def entry(self, name: str, label: str) -> Way:
        """Way to an entry of a list of tables by its name."""
        entries = self.data.get(name, [])
        return next(
            ((name, n) for n, one in enumerate(entries, start=1) if one.get("name") == label), ()
        )

    @cached_property
    def tables(self) -> dict[Way, str]:
        """Files that the study file names, by the way to the key that names them."""
        return {way: text for way, text in _strings(self.data, ()) if text in self.texts}

    @cached_property
    def _rows(self) -> dict[str, list[tuple[int, int, list[str]]]]:
        """Rows of every table with their first and last line, the header first."""
        found = {}
        for file in dict.fromkeys(self.tables.values()):
            reader = csv.reader(plain_text(self.texts[file]).splitlines(keepends=True))
            rows, before = [], 0
            for cells in reader:
                text = "".join(cells).strip()
                if text and not cells[0].lstrip().startswith("#"):
                    rows.append((before + 1, reader.line_num, [c.strip() for c in cells]))
                before = reader.line_num
            found[file] = rows
        return found

    def row(self, file: str, column: str, label: str) -> Place | None:
        """The row of a table that has a label in a column; None where there is none."""
        rows = self._rows.get(file, [])
        if not rows or column not in rows[0][2]:
            return None
        at = rows[0][2].index(column)
        for first, last, cells in rows[1:]:
            if len(cells) > at and cells[at] == label:
                return Place(file=file, key=label, first=first, last=last)
        return None

    def rows(self, file: str) -> Place | None:
        """All rows of a table below its header; None of an empty one."""
        rows = self._rows.get(file, [])[1:]
        if not rows:
            return None
        return Place(file=file, key=f"{len(rows)} rows", first=rows[0][0], last=rows[-1][1])


def _plain(key: str) -> str:
    """A key as it is meant, without quotes."""
    if key[:1] not in "\"'":
        return key
    return str(next(iter(tomllib.loads(f"{key} = 0"))))


def _dotted(way: Way) -> str:
    return ".".join(map(str, way))


def _content_end(lines: list[str], first: int, last: int) -> int:
    """The last line that is neither blank nor a comment."""
    while last > first and (not lines[last - 1].strip() or lines[last - 1].lstrip()[:1] == "#"):
        last -= 1
    return last


def _strings(thing: Any, way: Way) -> Iterator[tuple[Way, str]]:
    if isinstance(thing, str):
        yield way, thing
    elif isinstance(thing, dict):
        for name, inner in thing.items():
            yield from _strings(inner, (*way, name))
    elif isinstance(thing, list):
        for number, inner in enumerate(thing, start=1):
            yield from _strings(inner, (*way, number))
