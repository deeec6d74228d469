"""Small CSV tables: strict reading, every complaint with file, row and column; safe cells.

Comma-separated, UTF-8, decimal points, one header row; lines that begin with ``#`` before the
header are notes. Nothing is guessed, filled or skipped. What is written holds no cell that a
spreadsheet would take for a formula.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pandas as pd

from groundborne._checks import TableError, meant
from groundborne.csv_columns import find_column
from groundborne.files import read_plain
from groundborne.usual_ranges import Quantity, judge

_SHOWN_CELLS = 8
FARTHEST = 1e7  # m; beyond it no national grid reaches
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_REVISION = "revision:"
_THOUSANDS = r"[+-]?\d{1,3}(?:([,' \u00a0\u2009\u202f])\d{3})(?:\1\d{3})*(\.\d+)?"
"""Digits in groups of three."""


@dataclass(frozen=True, eq=False)
class Table:
    """Text cells of one file, with the line each row stood on.

    Parameters
    ----------
    file : str
        Name for messages.
    header : tuple of str
        Column names.
    cells : numpy array of str
        Shape (rows, columns).
    rows : numpy array of int
        Line number of each row in the file, counted from 1.
    notes : tuple of str
        The ``#`` lines before the header, without the mark.
    place : str
        Kind of table in :mod:`groundborne.csv_columns`; every number that is read is then held
        against its usual range. Empty for tables that are not judged here.
    """

    file: str
    header: tuple[str, ...]
    cells: np.ndarray[Any, Any]
    rows: np.ndarray[Any, Any]
    notes: tuple[str, ...] = ()
    place: str = ""

    @property
    def revision(self) -> str:
        """Label of the line ``# revision: ...``; empty without.

        Raises
        ------
        TableError
            There are two.
        """
        found = [n[len(_REVISION) :].strip() for n in self.notes if n.lower().startswith(_REVISION)]
        if len(found) > 1:
            raise TableError(
                f"{self.file}: the revision is noted twice: {found[0]!r}, {found[1]!r}"
            )
        return found[0] if found else ""

    def has(self, column: str) -> bool:
        """Whether the column is there."""
        return column in self.header

    def require(self, required: Sequence[str], optional: Sequence[str] = ()) -> None:
        """Refuse missing and unknown columns, all of them together."""
        unknown = [n for n in self.header if n not in required and n not in optional]
        errors = []
        for name in required:
            if name not in self.header:
                hint = meant(name, unknown)
                unknown = [n for n in unknown if repr(n) not in hint]  # named already
                errors.append(
                    f"{self.file}: column {name!r} is missing; the header holds "
                    f"{_listed(self.header)}{hint}"
                )
        errors.extend(
            f"{self.file}: column {name!r} is unknown; known are {_listed([*required, *optional])}"
            for name in unknown
        )
        if errors:
            raise TableError(*errors)

    @contextmanager
    def naming(self) -> Iterator[None]:
        """Put the file in front of what is said of the objects made of its cells.

        Raises
        ------
        TableError
            In place of any ValueError inside that does not name the file.
        """
        try:
            yield
        except ValueError as error:
            if self.file in str(error):
                raise
            raise TableError(f"{self.file}: {error}") from None

    def text(self, column: str, *, empty: bool = False) -> np.ndarray[Any, Any]:
        """Cells of a column, stripped; an empty one is refused unless allowed."""
        values = self.cells[:, self.header.index(column)]
        blank = values == ""
        if not empty and blank.any():
            self._complain(values[:, None], [column], blank, lambda _: "the cell is empty")
        return values

    def words(
        self, column: str, choices: Sequence[str], *, empty: bool = False
    ) -> np.ndarray[Any, Any]:
        """Cells of a column that must be one of some words; empty ones where allowed."""
        values = self.text(column, empty=empty)
        allowed = [*choices, *([""] if empty else [])]
        bad = ~np.isin(values.astype(str), allowed)
        if bad.any():
            self._complain(
                values[:, None], [column], bad,
                lambda cell: f"{cell!r} is none of {_listed(list(choices))}",
            )  # fmt: skip
        return values

    def positions(self) -> np.ndarray[Any, Any]:
        """Cells of the columns ``x_m`` and ``y_m``, shape (rows, 2) [m]; national grids fit."""
        return self.numbers(["x_m", "y_m"], low=-FARTHEST, high=FARTHEST, unit="m")

    def numbers(
        self,
        columns: Sequence[str],
        *,
        low: float = -np.inf,
        high: float = np.inf,
        above: float = -np.inf,
        unit: str = "",
    ) -> np.ndarray[Any, Any]:
        """Cells of several columns as floats, shape (rows, columns), each within bounds."""
        index = [self.header.index(c) for c in columns]
        block = self.cells[:, index]
        flat = pd.Series(block.ravel(), dtype=object)
        good = flat.str.fullmatch(_NUMBER).to_numpy(dtype=bool)
        if not good.all():
            self._complain(block, columns, ~good, _why_not_a_number)
        values = flat.to_numpy().astype(float)
        bad = ~np.isfinite(values) | (values < low) | (values > high) | (values <= above)
        if bad.any():
            bounds = _bounds(low, high, above, unit)
            self._complain(block, columns, bad, lambda text: f"{text} is out of bounds; {bounds}")
        numbers = values.reshape(block.shape)
        if self.place:
            for column, found in zip(columns, numbers.T, strict=True):
                self.judge(column, found)
        return numbers

    def judge(self, column: str, values: Any, quantity: Quantity | None = None) -> None:
        """Hold the numbers of a column against the range of its place, or one that is given."""
        if self.place:
            quantity = find_column(self.place, column)
        judge(
            quantity,
            values,
            subject=lambda at: f"{self.file}, row {self.rows[at]}, column {column!r}",
            error=TableError,
        )

    def only(self, keep: np.ndarray[Any, Any]) -> Table:
        """Rows where `keep` is true."""
        return replace(self, cells=self.cells[keep], rows=self.rows[keep])

    def _complain(
        self,
        block: np.ndarray[Any, Any],
        columns: Sequence[str],
        bad: np.ndarray[Any, Any],
        why: Any,
    ) -> None:
        """Refuse bad cells, each with its own sentence as far as anybody would read them."""
        places = [divmod(int(at), len(columns)) for at in np.flatnonzero(bad)]
        errors = [
            f"{self.file}, row {self.rows[row]}, column {columns[column]!r}: "
            f"{why(str(block[row, column]))}"
            for row, column in places[:_SHOWN_CELLS]
        ]
        if len(places) > _SHOWN_CELLS:
            errors[-1] += f". So are {len(places) - _SHOWN_CELLS} more cells"
        raise TableError(*errors)

    def unique(self, *columns: str) -> np.ndarray[Any, Any]:
        """Cells of a column that must not repeat, or of the first of several that must not."""
        values = [self.text(column) for column in columns]
        seen: dict[tuple[str, ...], int] = {}
        errors = []
        for value, row in zip(zip(*values, strict=True), self.rows.tolist(), strict=True):
            if value in seen:
                named = f"column{'s' * (len(columns) > 1)} {_listed(columns)}"
                errors.append(
                    f"{self.file}, row {row}, {named}: {_listed(value)} was given in row "
                    f"{seen[value]} already"
                )
            seen.setdefault(value, row)
        if errors:
            raise TableError(*errors)
        return values[0]


def _listed(names: Sequence[str]) -> str:
    return ", ".join(repr(n) for n in names)


def _bounds(low: float, high: float, above: float, unit: str) -> str:
    parts = []
    if np.isfinite(above):
        parts.append(f"above {above:g}")
    if np.isfinite(low):
        parts.append(f"at least {low:g}")
    if np.isfinite(high):
        parts.append(f"at most {high:g}")
    return f"it must be {' and '.join(parts) or 'finite'} {unit}".rstrip()


def _why_not_a_number(text: str) -> str:
    if text == "":
        return "the cell is empty; a number is needed"
    if grouped := re.fullmatch(_THOUSANDS, text):
        plain = text.replace(grouped[1], "")
        one = f"{text!r} has a mark of thousands; write {plain} without one"
        if text.count(",") == 1 and grouped[2] is None:  # it may be a decimal comma as well
            return f"{one}, or {text.replace(',', '.')} if it is a decimal comma"
        return one
    if "," in text and text.replace(",", ".", 1).replace(".", "", 1).lstrip("+-").isdigit():
        return f"{text!r} has a decimal comma; write a decimal point"
    if text.lower() in {"nan", "na", "n/a", "null", "none", "-", "inf", "+inf", "-inf", "infinity"}:
        return f"{text!r} is not a number; a missing value cannot be used"
    return f"{text!r} is not a number"


def read_table(path: str | FilePath, *, place: str = "") -> Table:
    r"""Read a CSV file into text cells.

    Parameters
    ----------
    path : str or Path
        UTF-8 file, comma-separated, with a header row.
    place : str
        See :class:`Table`.

    Returns
    -------
    Table
        Cells as text, stripped of surrounding blanks.

    Raises
    ------
    TableError
        The file is missing, no plain file, above 64 MB, not text, empty, separated by something
        else, or ragged; a column is unnamed or named twice.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "floors.csv"
    >>> _ = file.write_text("floor,height_m\n0,4.2\n1,3,6\n")
    >>> read_table(file)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    groundborne._checks.TableError: floors.csv, row 3: 3 cells where the header has 2...
    """
    file = FilePath(path)
    name = file.name
    content = read_plain(file, error=TableError, wanted="a CSV file")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise TableError(
            f"{name}: the file is not UTF-8 text ({error.reason} at byte {error.start})"
        ) from None
    if "\x00" in text:
        raise TableError(f"{name}: the file holds a zero byte; it is not a text file")
    # Only these end a line: str.splitlines would also break at form feeds and the like.
    lines = re.findall(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+$", text)
    skipped, notes = 0, []
    while skipped < len(lines) and (lines[skipped].startswith("#") or not lines[skipped].strip()):
        if lines[skipped].startswith("#"):
            notes.append(lines[skipped].lstrip("#").strip())
        skipped += 1
    reader = csv.reader(io.StringIO("".join(lines[skipped:])), strict=True)
    records: list[tuple[int, list[str]]] = []
    try:
        records.extend(
            (skipped + reader.line_num, [cell.strip() for cell in record])
            for record in reader
            if any(cell.strip() for cell in record)
        )
    except csv.Error as error:
        raise TableError(f"{name}, row {skipped + reader.line_num}: {error}") from None
    if not records:
        raise TableError(f"{name}: the file is empty; a header row is needed")
    header = records[0][1]
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        mark = "semicolons" if ";" in header[0] else "tabs"
        raise TableError(f"{name}: columns are separated by {mark}; commas are needed")
    _check_header(name, header)
    if len(records) == 1:
        raise TableError(f"{name}: there is a header and no row below it")
    for line, record in records[1:]:
        if len(record) != len(header):
            raise TableError(
                f"{name}, row {line}: {len(record)} cells where the header has {len(header)}; "
                "a decimal comma, a comma between thousands or a missing quote is the usual cause"
            )
    cells = np.array([record for _, record in records[1:]], dtype=object)
    rows = np.array([line for line, _ in records[1:]])
    return Table(name, tuple(header), cells, rows, tuple(notes), place)


def _check_header(name: str, header: list[str]) -> None:
    for position, column in enumerate(header, start=1):
        if column == "":
            raise TableError(f"{name}: column {position} has no name")
        if header.index(column) != position - 1:
            raise TableError(f"{name}: the column {column!r} is given twice")


def like_a_formula(text: str) -> bool:
    """Whether a spreadsheet could take a text for a formula.

    Parameters
    ----------
    text : str
        A cell. Blanks, control characters and what has no width (byte order mark, zero-width
        space) before the first sign do not count, and a wide or small form of a sign is the sign.

    Examples
    --------
    >>> [like_a_formula(t) for t in ("=1", "\N{FULLWIDTH EQUALS SIGN}1", "\ufeff =1", "1=1", "−1")]
    [True, True, True, False, False]
    """
    if text[:1] in ("\t", "\r", "\n"):
        return True
    for sign in text:
        # Blanks, separators, controls, formats (of no width), marks that combine.
        if unicodedata.category(sign)[0] not in "ZCM":
            return unicodedata.normalize("NFKC", sign)[:1] in ("=", "+", "-", "@")
    return False


def safe_cell(cell: object) -> object:
    """Text that could be taken for a formula, marked as text; anything else as it is.

    Examples
    --------
    >>> safe_cell("=1+1"), safe_cell(-1.5)
    ("'=1+1", -1.5)
    """
    return f"'{cell}" if isinstance(cell, str) and like_a_formula(cell) else cell


def safe_line(text: str) -> str:
    """Line of remarks in which no piece between separators could be taken for a formula.

    Examples
    --------
    >>> safe_line("read twice,=1+1; -3 dB")
    "read twice,'=1+1;' -3 dB"
    """
    first, *rest = re.split(r"([,;\t])", " ".join(text.split()))
    return first + "".join(str(safe_cell(piece)) for piece in rest)
