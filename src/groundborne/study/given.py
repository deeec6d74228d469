"""Reading a study file against the table of keys: all that is wrong, then checked values.

A table of the file becomes a :class:`Given`: values by key, within bounds, with defaults filled in.
What is built from them asks for keys by name, or takes all arguments at once; a key that no row
declares is a defect and raises ``LookupError``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Faults, StudyError, finite, known, labels_at, meant
from groundborne.bands import require_labels
from groundborne.citation import Citation
from groundborne.files import read_plain
from groundborne.key import GIVEN, RENAMED, WANTED, Key, KeyTable, renamed
from groundborne.study.keys import FORMAT, STUDY
from groundborne.usual_ranges import judge

_UNREAD: Any = object()
"""Stands for a value that was refused, and of which nothing more is said."""


@dataclass(frozen=True, eq=False)
class Change:
    """A value that a script gives in place of one in the files.

    Parameters
    ----------
    address : str
        Of the key.
    value : object
        Number, DataArray, text or flag.
    """

    address: str
    value: Any


@dataclass(frozen=True, eq=False)
class Given:
    """Checked values of one table.

    Parameters
    ----------
    where : str
        File and table, for messages.
    of : KeyTable
        What its keys are.
    values : mapping
        By key: numbers, texts, :class:`Given` of tables; None where nothing was given.
    rows : mapping of str to Key
        The rows of keys that apply.
    """

    where: str
    of: KeyTable
    values: Mapping[str, Any]
    rows: Mapping[str, Key] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Any:
        """Value of a key; None where it is not given, or does not apply here.

        Raises
        ------
        LookupError
            No row declares it: a defect.
        """
        if name not in self.of.names:
            raise LookupError(f"{self.where}: {name!r} is read and no row declares it")
        return self.values.get(name)

    def has(self, name: str) -> bool:
        """Whether a key is given or has a default."""
        return self[name] is not None

    def arguments(self, *names: str) -> dict[str, Any]:
        """Arguments that the keys stand for, in SI: of all keys that have one, or of some.

        Parameters
        ----------
        *names : str
            Keys; all by default.
        """
        found = {}
        for name in names or self.of.names:
            row = self.rows.get(name)
            if row is None or not row.argument:
                continue
            value = self[name]
            if value is not None:
                found[row.argument] = value if row.scale == 1 else row.scale * value
        return found

    def citations(self) -> tuple[Citation, ...]:
        """Where numbers of this table come from, as the user words it; none if not given."""
        words = self["source"]
        if words is None:
            return ()
        return (Citation(key="input", author=words, mark="input", status="assumed"),)

    def on_bands(self, name: str) -> xr.DataArray:
        """A list of values on the bands that stand beside it in ``frequency_hz``.

        Raises
        ------
        StudyError
            They are not as many, or bands are none.
        """
        frequency, values = self["frequency_hz"], self[name]
        labels = require_labels(list(frequency), self.where)
        if isinstance(values, xr.DataArray):
            if "frequency" not in values.coords:
                raise StudyError(f"{self.where}: {name!r} needs its bands on the dim 'frequency'")
            return values
        if len(frequency) != len(values):
            raise StudyError(
                f"{self.where}: 'frequency_hz' has {len(frequency)} entries and {name!r} has "
                f"{len(values)}; they must be as many"
            )
        return xr.DataArray(values, coords={"frequency": labels})

    @contextmanager
    def naming(self) -> Iterator[None]:
        """Let errors of what is built from this table say where it stands.

        Raises
        ------
        StudyError
            In place of any ValueError inside, with the file and table in front.
        """
        try:
            yield
        except ValueError as error:
            errors = getattr(error, "errors", (str(error),))
            # What names a file, a row or a table of its own stays as it is.
            file = self.where.split(",")[0]
            if all(e.startswith(file) or ".csv" in e.split(":")[0] for e in errors):
                raise
            raise StudyError(*(f"{self.where}: {e}" for e in errors)) from None


class Checker:
    """Holds the tables of a study file against their rows.

    Parameters
    ----------
    top : dict
        The whole file.
    faults : Faults
        Collects what is wrong.
    """

    def __init__(self, top: dict[str, Any], faults: Faults) -> None:
        self._top = top
        self._faults = faults

    def table(self, data: dict[str, Any], of: KeyTable, where: str) -> Given:
        """Check one table and those below it."""
        rows = {name: self._row(of, name, data) for name in of.names}
        known_here = [name for name, row in rows.items() if row is not None]
        unknown = [key for key in data if key not in known_here]
        old = {RENAMED[key]: key for key in unknown if RENAMED.get(key) in known_here}
        values: dict[str, Any] = {}
        for name, row in rows.items():
            if row is None or row is _UNREAD:
                continue
            if name in data:
                values[name] = self._value(row, data[name], where)
            elif name in old:
                unknown.remove(old[name])
                self._faults.add(f"{where}: {renamed(old[name])}")
            elif row.needed:
                hint = meant(name, unknown)
                unknown = [key for key in unknown if repr(key) not in hint]  # named already
                needed = f"{where}: {name!r} is missing; {WANTED[row.kind]} is needed"
                self._faults.add(f"{needed}{hint}{row.usual}")
            else:
                values[name] = row.default
        values = {name: value for name, value in values.items() if value is not _UNREAD}
        for key in unknown:
            self._unknown(key, of, sorted(known_here), where)
        read = {name: row for name, row in rows.items() if row is not None and row is not _UNREAD}
        return Given(where, of, values, read)

    def applies(self, of: KeyTable, name: str, data: dict[str, Any]) -> bool:
        """Whether a key may stand in a table, by the others in it, as far as they can be told."""
        return self._row(of, name, data) is not None

    def _row(self, of: KeyTable, name: str, data: dict[str, Any]) -> Any:
        """The row of a name that applies here; None if none does, ``_UNREAD`` if nobody can say."""
        open_rows = False
        for row in of.rows(name):
            applies = [self._met(w.key, w.values, of, data) for w in row.when]
            if all(a is True for a in applies):
                return row
            open_rows = open_rows or False not in applies
        return _UNREAD if open_rows else None

    def _met(
        self, key: str, values: tuple[str | None, ...], of: KeyTable, data: dict[str, Any]
    ) -> bool | None:
        """Whether a condition is met; None where the key it rests on is wrong itself."""
        inside, name = (self._top, key[1:]) if key.startswith("/") else (data, key)
        if name not in inside:
            default = next((r.default for r in of.rows(name)), None)
            needed = any(r.needed for r in of.rows(name))
            return None if needed else default in values
        if values in ((None,), (GIVEN,)):
            return values == (GIVEN,)
        value = inside[name]
        value = value.value if isinstance(value, Change) else value
        choices = [c for r in of.rows(name) for c in r.choices]
        if not isinstance(value, str) or value not in choices:
            return None
        return value in values

    def _unknown(self, key: str, of: KeyTable, names: list[str], where: str) -> None:
        try:
            known(where, "key", key, names, StudyError)
        except StudyError as error:
            elsewhere = dict.fromkeys(" and ".join(w.words for w in r.when) for r in of.rows(key))
            goes = f" {key!r} goes with {', or '.join(elsewhere)}." if elsewhere else ""
            self._faults.add(f"{error}{goes}")

    def _value(self, row: Key, value: Any, where: str) -> Any:
        subject = f"{where}: {row.name!r}"
        if isinstance(value, Change):
            subject, value = f"changes: {value.address!r}", value.value
        try:
            return self._of_kind(row, value, where, subject)
        except ValueError as error:
            self._faults.add(*getattr(error, "errors", (str(error),)))
            return _UNREAD

    def _of_kind(self, row: Key, value: Any, where: str, subject: str) -> Any:
        if row.kind in ("table", "tables", "named"):
            return self._tables(row, value, where, subject)
        if row.kind in ("number", "numbers"):
            return number(row, value, subject)
        if row.kind == "value":
            return value
        if row.kind == "flag":
            if not isinstance(value, bool):
                raise StudyError(f"{subject} is {value!r}; true or false is needed")
            return value
        if row.kind == "texts":
            if not isinstance(value, list) or not all(isinstance(v, str) and v for v in value):
                raise StudyError(f"{subject} is {value!r}; a list of texts is needed")
            return list(value)
        if row.kind == "date":
            return _day(value, subject)
        if not isinstance(value, str):
            quoted = ""
            if isinstance(value, (int, float)) and not isinstance(value, bool):
                quoted = f', in quotation marks: "{value}"'
            raise StudyError(f"{subject} is {value!r}; a text is needed{quoted}")
        if value == "" and row.default != "":
            raise StudyError(f"{subject} is empty; a text is needed")
        if row.kind == "choice":
            place, _, name = subject.rpartition(": ")
            return known(place, name, value, row.choices, StudyError)
        return value

    def _tables(self, row: Key, value: Any, where: str, subject: str) -> Any:
        if row.kind == "tables":
            if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
                raise StudyError(f"{subject} is {shortened(value)}; a list of tables is needed")
            assert isinstance(row.inner, KeyTable)
            return [
                self.table(v, row.inner, f"{where}, {row.name} {n}")
                for n, v in enumerate(value, start=1)
            ]
        if not isinstance(value, dict):
            raise StudyError(f"{subject} is {shortened(value)}; a table is needed")
        here = f"{where}, [{row.name}]"
        if isinstance(row.inner, KeyTable):
            return self.table(value, row.inner, here)
        assert row.inner is not None
        read = {k: self._value(replace(row.inner, name=k), v, here) for k, v in value.items()}
        # The name of a refused entry stays, so that nobody is told that there is none.
        return {name: None if part is _UNREAD else part for name, part in read.items()}


def _day(value: Any, subject: str) -> str:
    """A day as ISO 8601 writes it, from such a text or from a date of TOML."""
    # A date of TOML has no hour; one with a time of day is told apart by that.
    plain = isinstance(value, str) or not hasattr(value, "isoformat") or hasattr(value, "hour")
    text = value if plain else value.isoformat()
    if isinstance(text, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
        with suppress(ValueError):  # the 30th of February
            return str(np.datetime64(text, "D"))
    raise StudyError(f"{subject} is {shortened(value)}; {WANTED['date']} is needed")


def shortened(value: Any) -> str:
    """A value of a file in a few words."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def number(row: Key, value: Any, subject: str) -> Any:
    """A number or a list of them, within the bounds of its row.

    Parameters
    ----------
    row : Key
        Of kind ``number`` or ``numbers``.
    value : object
        As given; a DataArray of any dims where the row may be uncertain, and for a list one with
        the dim ``frequency``.
    subject : str
        File and key, for messages.

    Returns
    -------
    float, numpy array or DataArray
        Unchanged where it is a DataArray.

    Raises
    ------
    StudyError
        It is of another kind, not finite or out of bounds.

    Warns
    -----
    UnusualValueWarning
        Outside the usual range.
    """
    several = row.kind == "numbers"
    if isinstance(value, xr.DataArray):
        if not row.uncertain:
            raise StudyError(
                f"{subject} is a DataArray; it takes no samples, {WANTED[row.kind]} is "
                f"needed{row.usual}"
            )
        if value.dtype.kind not in "iuf":
            raise StudyError(f"{subject} holds {value.dtype}; real numbers are needed")
    elif several:
        if isinstance(value, tuple | np.ndarray):
            value = list(value)
        if not isinstance(value, list) or not value or not all(map(_is_number, value)):
            raise StudyError(f"{subject} is {shortened(value)}; a list of numbers is needed")
    elif not _is_number(value):
        raise StudyError(f"{subject} is {shortened(value)}; a number is needed{row.usual}")
    place, _, name = subject.rpartition(": ")
    try:
        for one in value if isinstance(value, list) else [value]:
            finite(place, name, one)
    except ValueError as error:
        raise StudyError(f"{error}{row.usual}") from None
    found = np.array([float(v) for v in value]) if isinstance(value, list) else value
    if not isinstance(found, np.ndarray | xr.DataArray):
        found = float(found)

    def at(index: int) -> str:
        if isinstance(found, xr.DataArray):
            labels = labels_at(found, index)
            return f"{subject} at {labels}" if labels else subject
        return f"{subject}, entry {index + 1}," if several and len(value) > 1 else subject

    judge(row.quantity, found, subject=at, error=StudyError)
    return found


def _is_number(value: Any) -> bool:
    """Whether it is a plain number, as a file or a script gives it."""
    return isinstance(value, (int, float, np.integer, np.floating)) and not isinstance(value, bool)


def entries_of(data: dict[str, Any], key: str, file: str) -> list[Given]:
    """Entries of a list of tables at the top of a study file, read before the rest of it.

    Parameters
    ----------
    data : dict
        The study file.
    key : str
        Of the list.
    file : str
        Its name, for messages.

    Returns
    -------
    list of Given
        None of them where one is wrong in itself: that is told when all of the file is held
        against its rows.
    """
    rows = Faults()
    own = {name: data[name] for name in (key,) if name in data}
    given = Checker(data, rows).table(own, KeyTable(STUDY.rows(key)), file)
    return [] if rows.found else given[key] or []


def read_toml(path: FilePath) -> tuple[dict[str, Any], str]:
    """Read a TOML file into its top table and its text.

    Raises
    ------
    StudyError
        The file is missing, no plain file, above 64 MB, not text, not TOML, or of another format.
    """
    content = read_plain(path, error=StudyError, wanted="the study file")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise StudyError(f"{path.name}: the file is not UTF-8 text ({error.reason})") from None
    try:
        data = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise StudyError(f"{path.name}: not valid TOML: {error}") from None
    except (ValueError, RecursionError) as error:
        raise StudyError(f"{path.name}: not valid TOML: {type(error).__name__}: {error}") from None
    if data.get("format") != FORMAT:
        # Keys of another format may mean something else: nothing more is said of them.
        faults = Faults()
        only = KeyTable(STUDY.rows("format"))
        Checker(data, faults).table({k: data[k] for k in ("format",) if k in data}, only, path.name)
        faults.settle()
    return data, text
