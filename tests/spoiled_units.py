"""Demonstration studies with a number multiplied, as a unit slip or a moved decimal point does."""

from __future__ import annotations

import copy
import csv
import io
import tomllib
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any
from unittest.mock import patch

import groundborne as gb
from groundborne.csv_columns import CSV_TABLES, find_column
from groundborne.study import keys
from groundborne.usual_ranges import Quantity, UnusualValueWarning


def quantity_of(place: str, name: str) -> Quantity | None:
    """Range of a key of the study file or of a column; None of what has none, with its reason."""
    if place in CSV_TABLES:
        return find_column(place, name)
    for pattern, row in keys.rows():
        numeric = row.kind in ("number", "numbers")
        if numeric and fnmatchcase(f"{place}.{name}", pattern):
            return row.quantity
    raise LookupError(f"{place}.{name} has no range")


ROOT = Path(__file__).resolve().parents[1]
STUDY = "study.toml"


def toml(value: Any) -> str:
    """A value of a TOML file, tables inline."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{k}" = {toml(v)}' for k, v in value.items()) + "}"
    return value.isoformat() if hasattr(value, "isoformat") else repr(value)


class _Seen(Exception):  # noqa: N818 - nothing is wrong
    """Raised where a value is first said to be unusual."""


@dataclass
class Files:
    """A study whose numbers can be changed; `read` writes it and reads it back."""

    folder: Path
    toml: dict[str, Any]
    tables: dict[str, list[list[str]]]
    written: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, name: str, folder: Path) -> Files:
        """A demonstration study; with "_plain", the same without its column lines."""
        source = ROOT / "data" / name.removesuffix("_plain")
        plain = ROOT / "tests" / "studies" / f"{name}.toml"
        study = plain if name.endswith("_plain") else source / STUDY
        data = tomllib.loads(study.read_text(encoding="utf-8"))
        tables = {}
        for file in sorted(source.glob("*.csv")):
            lines = [x for x in file.read_text(encoding="utf-8").splitlines() if x[:1] != "#"]
            tables[file.name] = list(csv.reader(lines))
        return cls(folder, data, tables)

    def read(self) -> gb.Study:
        texts = {STUDY: "".join(f'"{k}" = {toml(v)}\n' for k, v in self.toml.items())}
        for name, rows in self.tables.items():
            buffer = io.StringIO()
            csv.writer(buffer, lineterminator="\n").writerows(rows)
            texts[name] = buffer.getvalue()
        for name, text in texts.items():
            if self.written.get(name) != text:
                (self.folder / name).write_text(text, encoding="utf-8")
        self.written.update(texts)  # shared by all that were made from one
        return gb.read_study(self.folder / STUDY)

    def keys(self) -> Iterator[tuple[Any, ...]]:
        """Paths of all numbers of the study file; lists of numbers count as one."""
        yield from _numbers(self.toml, ())

    def columns(self) -> Iterator[tuple[str, str]]:
        """File and name of every column that holds numbers only."""
        for file, (header, *rows) in self.tables.items():
            for at, column in enumerate(header):
                cells = [row[at] for row in rows if row[at]]
                if column not in ("floor", "ceiling_floor", "track") and all(map(_is, cells)):
                    yield file, column

    def times(self, place: tuple[Any, ...], factor: float) -> Files:
        """The same with a number, or a list of numbers, multiplied."""
        data = copy.deepcopy(self.toml)
        inside: Any = data
        for key in place[:-1]:
            inside = inside[key]
        value = inside[place[-1]]
        scaled = [v * factor for v in value] if isinstance(value, list) else value * factor
        inside[place[-1]] = scaled
        return Files(self.folder, data, self.tables, self.written)

    def column_times(self, file: str, column: str, factor: float, *, row: int = -1) -> Files:
        """The same with a column multiplied, or one cell of it."""
        tables = dict(self.tables)
        header, *rows = copy.deepcopy(tables[file])
        at = header.index(column)
        for number, cells in enumerate(rows):
            if cells[at] and row in (-1, number):
                cells[at] = repr(float(cells[at]) * factor)
        tables[file] = [header, *rows]
        return Files(self.folder, self.toml, tables, self.written)

    def verdict(self) -> tuple[str, str]:
        """``error`` or ``warning`` with its sentences, or ``nothing``."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UnusualValueWarning)
            try:
                study = self.read()
            except ValueError as error:
                return "error", "\n".join([str(error), *getattr(error, "__notes__", ())])
        return ("warning", "\n".join(study.unusual)) if study.unusual else ("nothing", "")

    def first_word(self) -> tuple[str, str]:
        """The same up to the first warning: reading stops there, most often near its beginning."""
        warn = warnings.warn

        def stop(text: str, category: type[Warning], **more: Any) -> None:
            if category is UnusualValueWarning:
                raise _Seen(text)
            warn(text, category, **more)

        try:
            with patch.object(warnings, "warn", stop):
                return self.verdict()
        except _Seen as seen:
            return "warning", str(seen)


def _numbers(value: Any, path: tuple[Any, ...]) -> Iterator[tuple[Any, ...]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _numbers(inner, (*path, key))
    elif isinstance(value, list) and value and all(map(_is_number, value)):
        yield path
    elif isinstance(value, list):
        for at, inner in enumerate(value):
            yield from _numbers(inner, (*path, at))
    elif _is_number(value):
        yield path


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _is(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
