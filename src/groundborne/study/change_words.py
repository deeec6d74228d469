"""What an option changes of a building, in words, by the address of a key."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from groundborne.csv_columns import FLOORS, STOREYS
from groundborne.key import Key, KeyTable
from groundborne.study.description import Difference
from groundborne.study.isolation_words import grouped
from groundborne.study.keys import STUDY


def in_words(address: str) -> tuple[str, str]:
    """What stands at an address and where, and its unit; an unknown key by its address.

    Parameters
    ----------
    address : str
        As of :mod:`groundborne.study.changes`.

    Examples
    --------
    >>> in_words("storeys.2.slab_thickness_m")
    ('slab thickness of floor 2', 'm')
    >>> in_words("parts.hall.structure.foundation.stiffness_n_m")
    ("stiffness of the foundation of part 'hall'", 'N/m')
    """
    first, *places = address.split(".")
    if not places:
        return address, ""
    name = places.pop()
    if name not in _keys():
        return address, ""
    part = ""
    if first == "parts" and len(places) > 1:
        part, first, places = f" of part {places[0]!r}", places[1], places[2:]
    elif " of " in first:  # the table of one part
        first, _, of = first.partition(" of ")
        part = f" of part {of!r}"
    unit = _unit(name, first)
    words = name.removesuffix(f"_{_spelt(unit)}" if unit else "").replace("_", " ")
    words = f"{words} mass" if words == "superimposed" else words
    return f"{words}{_where(first, places)}{part}", unit


def keys_in_words(text: str) -> str:
    """A text with the addresses of keys in it told in words.

    Parameters
    ----------
    text : str
        Such as the name of a source of error.

    Examples
    --------
    >>> keys_in_words("structure.column_loss_factor")
    'loss factor of columns'
    >>> keys_in_words("weight 0.4; path.coupling.model = none")
    "weight 0.4; model of the step 'coupling' of the path: none"
    """

    def told(found: re.Match[str]) -> str:
        words = _SAID.get(found[1]) or in_words(found[1])[0]
        return words + (": " if found[2] else "")

    return _ADDRESS.sub(told, text)


_ADDRESS = re.compile(
    r"(?<![\w.])((?:structure|path|isolation|storeys|floors|slabs|columns|rooms|options|source|"
    r"parts|building|site|loads)\.[a-z]\S*?\w)( = |(?![\w.]))"
)
_SAID = {
    "structure.column_loss_factor": "loss factor of columns",
    "structure.slab_loss_factor": "loss factor of slabs",
    "structure.column_modulus_pa": "modulus of columns",
    "structure.column_density_kg_m3": "density of columns",
    "structure.slab_density_kg_m3": "density of slabs",
    "structure.foundation.shear_wave_speed_m_s": "shear-wave speed under the foundation",
    "structure.foundation.loss_factor": "loss factor of the soil",
    "structure.foundation.density_kg_m3": "density of the soil",
    "structure.foundation.poisson": "Poisson's ratio of the soil",
}
"""What is said of keys whose names turned into words would not be the trade's."""


def change_in_words(of: Difference) -> str:
    """One value in place of another, with its unit.

    Parameters
    ----------
    of : Difference
        By the address of a key.

    Examples
    --------
    >>> change_in_words(Difference(key="storeys.2.slab_thickness_m", read="0.25", now="0.3"))
    'slab thickness of floor 2: 0.3 m in place of 0.25 m'
    """
    what, unit = in_words(of.key)
    now, before = (f"{grouped(value)} {unit}".rstrip() for value in (of.now, of.read))
    return f"{what}: {now} in place of {before}"


def _where(first: str, places: list[str]) -> str:
    inside = ".".join(places)
    if first in ("storeys", "floors"):
        return f" of floor {inside}" if inside else " of every floor"
    if first == "slabs":
        return f" of slab {inside!r}"
    if first == "structure":
        inner = places[-1].replace("_", " ") if places else "structure"
        return f" of the {inner}"
    if first == "path":
        return f" of the step {inside!r} of the path"
    if first == "isolation":
        return f" of {inside!r} of the isolation plane" if inside else " of the isolation plane"
    return f" of {'.'.join((first, *places))}"


def _unit(name: str, first: str) -> str:
    """That of a key; of several of one name that of the table it stands in, where they differ."""
    units = _keys()[name]
    if len(units) == 1:
        return next(iter(units))
    own = {
        "storeys": STOREYS, "floors": FLOORS, "slabs": _inside("slabs"), "path": _inside("path"),
        "structure": _inside("structure"),
    }.get(first)  # fmt: skip
    here = {_of(row) for row in _rows(own) if row.name == name} if own else set()
    return here.pop() if len(here) == 1 else ""


def _inside(name: str) -> KeyTable | None:
    inner = STUDY.rows(name)[0].inner
    inner = inner.inner if isinstance(inner, Key) else inner
    return inner if isinstance(inner, KeyTable) else None


@cache
def _keys() -> dict[str, frozenset[str]]:
    """Units of all keys of a study by name; empty of what has none."""
    found: dict[str, set[str]] = {}
    for row in (*_rows(STUDY), *_rows(STOREYS), *_rows(FLOORS)):
        found.setdefault(row.name, set()).add(_of(row))
    return {name: frozenset(units) for name, units in found.items()}


def _of(row: Key) -> str:
    return "" if row.quantity is None else row.quantity.unit


def _rows(table: KeyTable) -> Iterator[Key]:
    for row in table.keys:
        yield row
        inner = row.inner
        while isinstance(inner, Key):
            yield inner
            inner = inner.inner
        if isinstance(inner, KeyTable):
            yield from _rows(inner)


def _spelt(unit: str) -> str:
    """A unit as names of keys end with it."""
    return unit.translate(str.maketrans("²³/ ", "23__")).lower()
