"""What a key of a study file, or a column of a table beside it, is: one row says all of it.

Reader, sentences of errors, the guide and the commented starter study come from these rows. Those
of the CSV tables stand in :mod:`groundborne.csv_columns`, those of the study file in
:mod:`groundborne.study.keys`. A name may have several rows in one table, told apart by `when`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from groundborne.usual_ranges import PRACTICE, Quantity

Kind = Literal[
    "number", "numbers", "text", "texts", "choice", "flag", "file", "table", "tables", "named",
    "value", "date",
]  # fmt: skip

WANTED: Mapping[Kind, str] = {
    "number": "a number",
    "numbers": "a list of numbers",
    "text": "a text",
    "texts": "a list of texts",
    "choice": "a text",
    "flag": "true or false",
    "file": "a text",
    "table": "a table",
    "tables": "a list of tables",
    "named": "a table",
    "value": "a value",
    "date": "a date such as 2026-03-31",
}
"""What a key of each kind needs, in words."""

NEEDED: Any = object()
"""Stands where a default would, of a key that has to be given."""

ABSENT: None = None
GIVEN = "*"
"""Values of :class:`When`: the other key is not there, or is there whatever it says."""

RENAMED: Mapping[str, str] = {"levels": "storeys", "level_loads": "floor_loads"}
"""What keys that had another name are called now, for the sentence that says so."""

Range = tuple[float, float, float, float]
"""Least possible, least usual, largest usual, largest possible."""


@dataclass(frozen=True, kw_only=True)
class When:
    """A condition on another key.

    Parameters
    ----------
    key : str
        In the same table, or a table at the top of the study file where it begins with ``/``.
    values : tuple of str or None
        What it has to be: one of these words, ``ABSENT`` or ``GIVEN``.
    """

    key: str
    values: tuple[str | None, ...]

    @property
    def words(self) -> str:
        """The condition as it is printed.

        Examples
        --------
        >>> When(key="model", values=("given",)).words, When(key="/structure", values=(None,)).words
        ('model = "given"', 'without [structure]')
        """
        name = f"[{self.key[1:]}]" if self.key.startswith("/") else f"`{self.key}`"
        if self.values == (ABSENT,):
            return f"without {name}"
        if self.values == (GIVEN,):
            return f"with {name}"
        return f"{self.key} = " + " or ".join(f'"{v}"' for v in self.values if v is not None)


@dataclass(frozen=True, kw_only=True)
class Key:
    """One key or column.

    Parameters
    ----------
    name : str
        As in the file; the unit is part of it.
    kind : str
        One of ``WANTED``. ``file`` names a CSV table, ``table`` and ``tables`` hold keys of their
        own, ``named`` is a table of which the user chooses the keys, ``value`` is for another key
        and is checked where it is put there, ``date`` is a day (ISO 8601), quoted or not.
    meaning : str
        In plain words.
    argument : str
        What it stands for in the object that is built from its table; empty where the reader takes
        it by name.
    quantity : Quantity, optional
        Unit, possible and usual range of a number, with the source of the usual one.
    free : str
        Why a number has no range.
    needed : bool
        Whether it has to be given.
    default : object
        Value where it is not given; None where there is none.
    when : tuple of When
        Where it applies; everywhere if empty.
    choices : tuple of str
        Words of a choice.
    scale : float
        SI over the unit of the file.
    uncertain : bool
        Whether it is a number of physics, which may carry any dim.
    inner : KeyTable, Key or None
        Keys of a table; of ``named`` what each of its entries is.
    """

    name: str
    kind: Kind
    meaning: str
    argument: str = ""
    quantity: Quantity | None = None
    free: str = ""
    needed: bool = True
    default: Any = None
    when: tuple[When, ...] = ()
    choices: tuple[str, ...] = ()
    scale: float = 1.0
    uncertain: bool = False
    inner: KeyTable | Key | None = None

    def __post_init__(self) -> None:
        numeric = self.kind in ("number", "numbers")
        if numeric and (self.quantity is None) == (not self.free):
            raise ValueError(f"Key {self.name!r}: a number has a range, or a reason why not")

    @property
    def usual(self) -> str:
        """What is usual, in words for the end of a sentence; empty without a range."""
        return "" if self.quantity is None else f"; {self.quantity.usual_words}"


@dataclass(frozen=True)
class KeyTable:
    """Keys of a table of the study file, or columns of a CSV table.

    Parameters
    ----------
    keys : tuple of Key
        In the order of the guide.
    label : str
        Key by whose value an entry of a list, or a row, is named; empty where it has none.
    bands : Key, optional
        What a column named like a band (``31.5 Hz``) is, of a CSV table that has one for each band;
        one of `keys`, its first column, is then its label.
    """

    keys: tuple[Key, ...]
    label: str = ""
    bands: Key | None = None

    def rows(self, name: str) -> tuple[Key, ...]:
        """All rows of one name."""
        return tuple(key for key in self.keys if key.name == name)

    @property
    def names(self) -> list[str]:
        """All names, once each."""
        return list(dict.fromkeys(key.name for key in self.keys))

    @property
    def conditions(self) -> list[str]:
        """Keys that decide which others apply."""
        return list(dict.fromkeys(w.key for key in self.keys for w in key.when))


def renamed(key: str) -> str:
    """How to mend a key that has another name now.

    Examples
    --------
    >>> renamed("levels")
    "'levels' is called 'storeys' now; rename the key"
    """
    return f"{key!r} is called {RENAMED[key]!r} now; rename the key"


def number(
    name: str,
    argument: str,
    unit: str,
    bounds: Range,
    meaning: str,
    *,
    default: Any = NEEDED,
    zero: bool = False,
    slips: str | None = None,
    mark: str = PRACTICE,
    scale: float = 1.0,
    uncertain: bool = True,
    kind: Literal["number", "numbers"] = "number",
) -> Key:
    """Row of a number, or of a list of numbers.

    Parameters
    ----------
    name, argument, meaning, scale, uncertain, kind
        See :class:`Key`.
    unit, zero, slips, mark
        See :class:`~groundborne.usual_ranges.Quantity`.
    bounds : tuple of float
        See :data:`Range`.
    default : object
        ``NEEDED``, None where it may be left out, or the value it then has.
    """
    least, low, high, most = bounds
    quantity = Quantity(
        unit=unit, usual=(low, high), possible=(least, most), zero=zero, slips=slips, mark=mark
    )
    given = _default(default)
    return Key(
        name=name, kind=kind, meaning=meaning, argument=argument, quantity=quantity, scale=scale,
        uncertain=uncertain, **given,
    )  # fmt: skip


def free_number(
    name: str,
    argument: str,
    why: str,
    meaning: str,
    *,
    kind: Literal["number", "numbers"],
    default: Any = NEEDED,
) -> Key:
    """Row of a number without a range, with the reason."""
    return Key(
        name=name, kind=kind, meaning=meaning, argument=argument, free=why, **_default(default)
    )


def bands_row(meaning: str = "third-octave bands", *, default: Any = NEEDED) -> Key:
    """Row of the bands that lists in the same table are on."""
    why = "labels of bands, nominal or refused"
    return free_number("frequency_hz", "", why, meaning, kind="numbers", default=default)


def text(
    name: str, argument: str, meaning: str, *, default: Any = NEEDED, kind: Kind = "text"
) -> Key:
    """Row of a text, a list of texts, a flag or the name of a file."""
    return Key(name=name, kind=kind, meaning=meaning, argument=argument, **_default(default))


def date(name: str, argument: str, meaning: str, *, default: Any = NEEDED) -> Key:
    """Row of a day."""
    return Key(name=name, kind="date", meaning=meaning, argument=argument, **_default(default))


def choice(
    name: str, argument: str, choices: Iterable[str], meaning: str, *, default: Any = NEEDED
) -> Key:
    """Row of a word out of a list."""
    return Key(
        name=name, kind="choice", meaning=meaning, argument=argument, choices=tuple(choices),
        **_default(default),
    )  # fmt: skip


def table(
    name: str,
    inner: KeyTable | Key,
    meaning: str,
    *,
    kind: Literal["table", "tables", "named", "file"] = "table",
    optional: bool = False,
) -> Key:
    """Row of a table, a list of tables, a table of names of the user's, or a CSV file."""
    return Key(name=name, kind=kind, meaning=meaning, inner=inner, needed=not optional)


def where(key: str, values: str | Sequence[str | None] | None, *keys: Key) -> Iterator[Key]:
    """Rows that apply only where another key has one of some values.

    Examples
    --------
    >>> (row,) = where("model", "given", text("source", "", "where from"))
    >>> row.when[0].words
    'model = "given"'
    """
    allowed = (values,) if values is None or isinstance(values, str) else tuple(values)
    condition = When(key=key, values=allowed)
    return (replace(row, when=(*row.when, condition)) for row in keys)


def _default(default: Any) -> dict[str, Any]:
    if default is NEEDED:
        return {"needed": True}
    return {"needed": False, "default": default}
