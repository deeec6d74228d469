"""Strict access to the tables of a study file: types, bounds, and no unknown keys."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path as FilePath
from typing import Any

from groundborne._checks import StudyError, TableError, finite, known, meant, not_negative, positive
from groundborne.citation import Citation
from groundborne.files import read_plain
from groundborne.usual_ranges import Quantity, judge
from groundborne.usual_values import find

_MISSING: Any = object()
# No quantity of a building in SI units lies outside; past them arithmetic itself overflows.
_SMALLEST, _LARGEST = 1e-15, 1e15


Check = Callable[[str, str, Any], Any]
"""A check of :mod:`groundborne._checks`, with its unit filled in."""


def above_zero(unit: str) -> Check:
    """Check for numbers above 0 in a unit."""
    return lambda where, name, value: positive(where, name, value, unit)


def zero_or_more(unit: str) -> Check:
    """Check for numbers of 0 or more in a unit."""
    return lambda where, name, value: not_negative(where, name, value, unit)


class Section:
    """One table of a TOML file that remembers which keys were read.

    Parameters
    ----------
    data : dict
        The table.
    where : str
        File and table name, for messages.
    place : str
        Names of the tables it stands in, joined by dots: by it and a key a number finds its range
        in :mod:`groundborne.usual_values`.
    """

    def __init__(self, data: dict[str, Any], where: str, place: str = "") -> None:
        self._data = data
        self.where = where
        self.place = place
        self._asked: list[str] = []

    def _get(self, key: str, kind: type | tuple[type, ...], wanted: str, default: Any) -> Any:
        self._asked.append(key)
        if key not in self._data:
            if default is _MISSING:
                unknown = meant(key, [k for k in self._data if not self._may_be_known(k)])
                raise StudyError(f"{self.where}: {key!r} is missing; {wanted} is needed{unknown}")
            return default
        value = self._data[key]
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            if kind is str and isinstance(value, (int, float)) and not isinstance(value, bool):
                wanted = f'{wanted} is needed, in quotation marks: "{value}"'
                raise StudyError(f"{self.where}: {key!r} is {value!r}; {wanted}")
            raise StudyError(f"{self.where}: {key!r} is {value!r}; {wanted} is needed")
        return value

    def _may_be_known(self, key: str) -> bool:
        """Whether a key was read already, or stands for a number that some reader takes here."""
        if key in self._asked:
            return True
        try:
            find(self.place, key)
        except LookupError:
            return False
        return True

    def has(self, key: str) -> bool:
        """Whether a key is there."""
        return key in self._data

    def text(self, key: str, default: Any = _MISSING) -> str:
        """Text, not empty."""
        value = self._get(key, str, "a text", default)
        if value == "" and default != "":
            raise StudyError(f"{self.where}: {key!r} is empty; a text is needed")
        return str(value)

    def source(self) -> tuple[Citation, ...]:
        """Where numbers of this table come from, as the user words it; none if not given."""
        if not self.has("source"):
            return ()
        given = Citation(key="input", author=self.text("source"), mark="input", status="assumed")
        return (given,)

    def choice(self, key: str, allowed: Any, default: Any = _MISSING) -> str:
        """Text out of a list."""
        return known(self.where, repr(key), self.text(key, default), allowed, StudyError)

    def flag(self, key: str, default: Any = _MISSING) -> bool:
        """``true`` or ``false``."""
        return bool(self._get(key, bool, "true or false", default))

    def number(
        self,
        key: str,
        check: Check = finite,
        default: Any = _MISSING,
        *,
        of: Quantity | None = None,
    ) -> float:
        """Finite number, passed through a check and held against its usual range.

        `of` is the quantity where that is not the one of the key, such as the limit of a metric.
        """
        value = self._get(key, (int, float), "a number", default)
        number = self._checked(key, value, check)
        if self.has(key):
            self._judge(key, [number], of)
        return number

    def _judge(self, key: str, values: list[float], of: Quantity | None = None) -> None:
        quantity = of or find(self.place, key)
        where = f"{self.where}: {key!r}"
        judge(
            quantity,
            values,
            subject=lambda at: where if len(values) == 1 else f"{where}, entry {at + 1},",
            error=StudyError,
        )

    def numbers(self, key: str, check: Check = finite) -> list[float]:
        """List of finite numbers, not empty."""
        values = self._get(key, list, "a list of numbers", _MISSING)
        if not values or not all(
            isinstance(v, (int, float)) and not isinstance(v, bool) for v in values
        ):
            raise StudyError(f"{self.where}: {key!r} is {values!r}; a list of numbers is needed")
        numbers = [self._checked(key, v, check) for v in values]
        self._judge(key, numbers)
        return numbers

    def _checked(self, key: str, value: Any, check: Check) -> float:
        try:
            number = float(value)
            check(self.where, repr(key), number)
            if number != 0 and not _SMALLEST < abs(number) < _LARGEST:
                raise ValueError(
                    f"{self.where}: {key!r} is {number:g}, which is beyond all measure"
                )
        except (ValueError, OverflowError) as error:
            text = str(error)
            raise StudyError(
                text if text.startswith(self.where) else f"{self.where}: {text}"
            ) from None
        return number

    def texts(self, key: str, default: Any = _MISSING) -> list[str]:
        """List of texts."""
        values = self._get(key, list, "a list of texts", default)
        if not all(isinstance(v, str) and v for v in values):
            raise StudyError(f"{self.where}: {key!r} is {values!r}; a list of texts is needed")
        return list(values)

    def names(self) -> list[str]:
        """All keys, counted as read."""
        self._asked.extend(self._data)
        return list(self._data)

    def section(self, key: str, *, optional: bool = False) -> Section:
        """Table below this one; an empty one if it is optional and missing."""
        value = self._get(key, dict, "a table", {} if optional else _MISSING)
        return Section(value, f"{self.where}, [{key}]", self._below(key))

    def sections(self, key: str, *, optional: bool = False) -> list[Section]:
        """List of tables."""
        values = self._get(key, list, "a list of tables", [] if optional else _MISSING)
        if not all(isinstance(v, dict) for v in values):
            raise StudyError(f"{self.where}: {key!r} must be a list of tables")
        return [
            Section(v, f"{self.where}, {key} {n}", self._below(key))
            for n, v in enumerate(values, start=1)
        ]

    def _below(self, key: str) -> str:
        return f"{self.place}.{key}" if self.place else key

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
        except TableError:
            raise
        except ValueError as error:
            text = str(error)
            if text.startswith(self.where.split(",")[0]):
                raise
            raise StudyError(f"{self.where}: {text}") from None

    def known(self, keys: Iterable[str]) -> None:
        """Count keys as read, whether they are there or not."""
        self._asked.extend(keys)

    def done(self) -> None:
        """Refuse keys nobody asked for."""
        for key in self._data:
            if key not in self._asked:
                known(self.where, "key", key, sorted(set(self._asked)), StudyError)


def read_toml(path: FilePath) -> tuple[Section, str]:
    """Read a TOML file into its top section and its text.

    Raises
    ------
    StudyError
        The file is missing, no plain file, above 64 MB, not text or not TOML.
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
    return Section(data, path.name), text
