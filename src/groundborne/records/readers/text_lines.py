"""Lines of a text recording: decoding, finding the header, and cells as numbers, all strict."""

from __future__ import annotations

import gzip
import io
import re
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pandas as pd

from groundborne._checks import RecordingError
from groundborne.files import MEGABYTE, read_plain, size_text

DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs", " ": "blanks"}
"""Accepted delimiters; ``" "`` stands for any run of blanks and tabs."""

_GZIP = b"\x1f\x8b"
_SEARCHED = 1000
_LARGEST = 2048 * MEGABYTE
"""Largest text that is read: cells as text take ten times as much memory."""


@dataclass(frozen=True, kw_only=True)
class Lines:
    """Header and data lines of one file.

    Parameters
    ----------
    file : str
        Name for messages.
    delimiter, decimal : str
        As given.
    header : tuple of str
        Column names.
    units : tuple of str
        Cells of the units row; empty without one.
    head : tuple of str
        Lines before the header.
    lines : tuple of str
        Data lines, without line ends.
    first : int
        Number of the first data line in the file, from 1.
    """

    file: str
    delimiter: str
    decimal: str
    header: tuple[str, ...]
    units: tuple[str, ...]
    head: tuple[str, ...]
    lines: tuple[str, ...]
    first: int

    def column(self, name: str) -> int:
        """Place of a column."""
        return self.header.index(name)

    def frame(self) -> pd.DataFrame:
        """Data cells, every column as text."""
        try:
            frame = pd.read_csv(
                io.StringIO("\n".join(self.lines)),
                sep=r"\s+" if self.delimiter == " " else self.delimiter,
                header=None,
                names=range(len(self.header)),
                index_col=False,
                dtype=str,
                keep_default_na=False,
                na_filter=False,
                skip_blank_lines=False,
                quoting=3,
                engine="c",
            )
        except (ValueError, OverflowError) as error:
            why = " ".join(str(error).split())
            raise RecordingError(f"{self.file}: cannot be read ({why})") from None
        if len(frame) != len(self.lines):
            raise RecordingError(f"{self.file}: the rows cannot be told apart")
        return frame

    def numbers(self, frame: pd.DataFrame, name: str) -> np.ndarray[Any, Any]:
        """A column as floats; the first cell that is none is named with its row."""
        cells = frame[self.column(name)].str.strip()
        if self.decimal == ",":
            pointed = cells.str.contains(".", regex=False)
            self._refuse(name, cells, pointed.to_numpy(), "has a decimal point, not a comma")
            cells = cells.str.replace(",", ".", regex=False)
        plain = cells.tolist()
        # What holds only these characters and converts is a number; the rest is looked at closely.
        if not re.search(r"[^0-9eE+\-.\n]", "\n".join(plain)):
            try:
                quick = np.array(plain, dtype=float)
            except ValueError:
                quick = np.array([np.inf])
            if np.isfinite(quick).all():
                return quick
        good = cells.str.fullmatch(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
        self._refuse(name, frame[self.column(name)], ~good.to_numpy(dtype=bool), "is not a number")
        values = cells.to_numpy(dtype=object).astype(float)
        self._refuse(name, cells, ~np.isfinite(values), "is too large for a number")
        return values

    def _refuse(
        self, name: str, cells: pd.Series[str], bad: np.ndarray[Any, Any], why: str
    ) -> None:
        if not bad.any():
            return
        at = int(np.argmax(bad))
        text = str(cells.iloc[at]).strip()
        hint = ""
        if text == "":
            why = "is empty; a missing sample cannot be used"
        elif why == "is not a number" and re.fullmatch(r"[+-]?\d+,\d+(e[+-]?\d+)?", text.lower()):
            hint = "; say decimal=','"
        elif at == 0 and why == "is not a number":
            hint = "; if this row holds units, say units_row=True"
        row = self.first + int(cells.index[at])
        raise RecordingError(f"{self.file}, row {row}, column {name!r}: {text[:60]!r} {why}{hint}")


def read_lines(
    path: str | FilePath,
    *,
    needed: Sequence[str],
    columns: Sequence[str] | None,
    skip_lines: int,
    delimiter: str,
    decimal: str,
    units_row: bool,
    encoding: str,
) -> Lines:
    """Read a text file, plain or gzip, and find where its data begin.

    Parameters
    ----------
    path : str or Path
        File.
    needed : sequence of str
        Columns that the header must hold.
    columns : sequence of str, optional
        Names of all columns, for a file without header.
    skip_lines : int
        Lines before the header is looked for, or before the data without header.
    delimiter, decimal, encoding : str
        As the file has them.
    units_row : bool
        Whether the line below the header holds units.

    Returns
    -------
    Lines
        Data lines, every one with as many cells as the header.

    Raises
    ------
    RecordingError
        The file is missing, not text, empty, ragged, or has no such header.
    """
    file = FilePath(path)
    if delimiter not in DELIMITERS or decimal not in (".", ",") or delimiter == decimal:
        raise RecordingError(
            f"{file.name}: delimiter is {delimiter!r} and decimal {decimal!r}; the delimiter "
            f"must be one of {', '.join(map(repr, DELIMITERS))}, decimal '.' "
            "or ',', and they must differ"
        )
    # Only these end a line: str.splitlines would also break at form feeds and the like.
    every = re.split(r"\r\n|\r|\n", _text(file, encoding))
    while every and not every[-1].strip():
        every.pop()
    if not every:
        raise RecordingError(f"{file.name}: the file is empty")
    if columns is None:
        at = _find_header(file.name, every, skip_lines, needed, delimiter)
        header = _cells(every[at], delimiter)
        first = at + 1
    else:
        header, first = list(columns), skip_lines
    for place, name in enumerate(header):
        if header.index(name) != place:
            raise RecordingError(f"{file.name}: the column {name!r} is given twice")
    for name in needed:
        if name not in header:
            raise RecordingError(
                f"{file.name}: the column {name!r} is missing; there are "
                f"{', '.join(map(repr, header))}"
            )
    units: list[str] = []
    if units_row:
        units = _cells(every[first], delimiter) if first < len(every) else []
        if len(units) != len(header):
            raise RecordingError(
                f"{file.name}, row {first + 1}: {len(units)} units where the header has "
                f"{len(header)} columns"
            )
        first += 1
    lines = every[first:]
    if not lines:
        raise RecordingError(f"{file.name}: there is no row of data")
    _require_even(file.name, lines, first + 1, len(header), delimiter)
    return Lines(
        file=file.name,
        delimiter=delimiter,
        decimal=decimal,
        header=tuple(header),
        units=tuple(units),
        head=tuple(every[: first - 1 - bool(units_row)] if columns is None else every[:skip_lines]),
        lines=tuple(lines),
        first=first + 1,
    )


def _text(file: FilePath, encoding: str) -> str:
    raw = read_plain(file, error=RecordingError, wanted="a text file", most=_LARGEST)
    try:
        if raw[:2] == _GZIP:
            with gzip.open(io.BytesIO(raw)) as stream:
                raw = stream.read(_LARGEST + 1)
        if len(raw) > _LARGEST:
            raise RecordingError(
                f"{file.name}: unpacked it holds more than {size_text(_LARGEST)}, which is the "
                "most that is read; split the file"
            )
        text = raw.decode("utf-8-sig" if encoding.lower() in ("utf-8", "utf8") else encoding)
    except RecordingError:
        raise
    except UnicodeDecodeError as error:
        raise RecordingError(
            f"{file.name}: the file is not {encoding} text ({error.reason} at byte {error.start})"
        ) from None
    except LookupError:
        raise RecordingError(f"{file.name}: the encoding {encoding!r} is unknown") from None
    except (EOFError, OSError, zlib.error, ValueError) as error:
        raise RecordingError(f"{file}: cannot be read ({error})") from None
    if "\x00" in text:
        raise RecordingError(f"{file.name}: the file holds a zero byte; it is not a text file")
    return text


def _cells(line: str, delimiter: str) -> list[str]:
    parts = line.split() if delimiter == " " else line.split(delimiter)
    return [part.strip().strip('"').strip() for part in parts]


def _find_header(
    file: str, every: list[str], skip_lines: int, needed: Sequence[str], delimiter: str
) -> int:
    searched = range(min(skip_lines, len(every)), min(len(every), skip_lines + _SEARCHED))
    for at in searched:
        if set(needed) <= set(_cells(every[at], delimiter)):
            return at
    for other, word in DELIMITERS.items():
        if any(set(needed) <= set(_cells(every[at], other)) for at in searched):
            raise RecordingError(f"{file}: the columns are separated by {word}; say so")
    near = max(
        searched, key=lambda at: len(set(needed) & set(_cells(every[at], delimiter))), default=0
    )
    missing = [n for n in needed if n not in _cells(every[near], delimiter)] if searched else needed
    raise RecordingError(
        f"{file}: no line holds the columns {', '.join(map(repr, needed))}; row {near + 1} comes "
        f"nearest and lacks {', '.join(map(repr, missing))}"
    )


def _require_even(file: str, lines: list[str], first: int, width: int, delimiter: str) -> None:
    if delimiter == " ":
        found = np.array([len(line.split()) for line in lines])
    else:
        found = np.array([line.count(delimiter) for line in lines]) + 1
        # A blank line in a file of one column still counts as a cell.
        found[[not line.strip() for line in lines]] = 0
    if (found != width).any():
        at = int(np.argmax(found != width))
        raise RecordingError(
            f"{file}, row {first + at}: {found[at]} cells where the header has {width}; a decimal "
            "comma, a cut-off line or a trailing delimiter is the usual cause"
        )
