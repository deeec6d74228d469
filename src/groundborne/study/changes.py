"""Values of a study file in place of those in the files: of a script, or of an option.

An address is the way to a key through the names of the tables, joined by dots:
``structure.foundation.shear_wave_speed_m_s``; entries of lists by their name or their number,
``options.springs 4.5 Hz.base.natural_frequency_hz``, ``criteria.hall.1.limit``; cells of a table by
row and column, ``rooms.R0.1.rt_s``, or a whole column, ``rooms.rt_s``. Another model takes the keys
of the one before with it.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Hashable, Iterator, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from groundborne._checks import Faults, LabelError, StudyError
from groundborne.cells import Cells
from groundborne.key import RENAMED, Key, KeyTable, renamed
from groundborne.study.description import Difference, describe
from groundborne.study.given import Change, Checker, number
from groundborne.study.keys import STUDY

_BARE = re.compile(r"[A-Za-z0-9_.-]+")
BY_LOADS = "superimposed_kg_m2"
"""The column of storeys that follows from their loads where the table has none: an option may say
it of some storeys, and of the others no value is known."""


KEPT: Any = object()
"""Stands for a value that is looked at and not changed."""

_ROWS = ("floor", "room", "column", "level")
"""Dims of rows, of which tables hold as many as they do."""


class Slot(NamedTuple):
    """A key of the file: its address, the table that holds it, its row, and the keys beside it."""

    address: str
    holder: dict[str, Any]
    row: Key
    of: KeyTable


class Changes:
    """Changes that wait for the place they belong to.

    Parameters
    ----------
    asked : mapping
        Values by address.
    faults : Faults
        Collects what is wrong with them.
    whole : bool
        Whether files and lists of tables may be changed, each as a whole.
    such : str
        Addresses for the sentence on one that leads nowhere.
    """

    _what, _begins = "changes", True

    def __init__(
        self,
        asked: Mapping[str, Any],
        faults: Faults,
        *,
        whole: bool = False,
        such: str = "of this study, such as 'bands.low_hz', 'options.NAME.base.loss_factor' or "
        "'rooms.ROOM.length_m'",
    ) -> None:
        self._whole = set(asked) if whole else None
        self._such = such
        self._left = dict(asked)
        self._faults = faults
        self._require_one_length(asked)
        self._known: dict[str, list[str]] = {}  # addresses as they are written, by what is near
        self.made: list[Difference] = []

    def _require_one_length(self, asked: Mapping[str, Any]) -> None:
        """Refuse values with more samples than others, by the addresses of both."""
        lengths: dict[Hashable, tuple[str, int]] = {}
        for address, value in asked.items():
            sizes = value.sizes if isinstance(value, xr.DataArray) else {}
            for dim, length in sizes.items():
                first, other = lengths.setdefault(dim, (address, length))
                # Rows are of their own table: columns of a part, the floors of a structure.
                if length != other and dim not in _ROWS:
                    self._faults.add(
                        f"changes: {first!r} has {other} along {dim!r}, and {address!r} has "
                        f"{length}; both must be of the same"
                    )

    def into_file(self, data: dict[str, Any]) -> None:
        """Put them into the tables of the study file, where they are then checked."""
        if not self._left:
            return
        taken: dict[tuple[int, str], str] = {}
        changed: list[Slot] = []
        if self._begins:
            _begin_tables(data, STUDY, "", self._left)
        for found in _slots(data, STUDY, "", self._whole):
            address, holder, row, _ = found
            if not address.startswith(("uncertain.", "alternatives.")):
                self._known[address] = [repr(address)]
            if address not in self._left:
                continue
            slot = (id(holder), row.name)
            if slot in taken:
                self._faults.add(f"changes: {address!r} is the same key as {taken[slot]!r}")
            taken[slot] = address
            before = holder.get(row.name, row.default)
            asked, value = self._left.pop(address), KEPT
            with self._faults.gathered():
                value = self._taken(address, row, before, asked)
            if value is KEPT:
                continue
            self._note(address, before, value)
            holder[row.name] = Change(address, value)
            changed.append(found)
        for found in changed:
            self._drop_others(data, found)

    def _taken(self, address: str, row: Key, before: Any, value: Any) -> Any:
        """What is put in place of `before`; ``KEPT`` where that stays."""
        del self, address, row, before
        return value

    def _drop_others(self, data: dict[str, Any], changed: Slot) -> None:
        """Take out what goes with another model than the one that was changed to."""
        address, holder, row, of = changed
        if row.name not in of.conditions:
            return
        checker, at = Checker(data, Faults()), address.removesuffix(row.name)
        for name in [name for name in of.names if name in holder]:
            if not isinstance(holder[name], Change) and not checker.applies(of, name, holder):
                self._note(f"{at}{name}", holder.pop(name), None)

    def into_table(self, place: str, cells: Cells) -> Cells:
        """The cells of a table with its changes, within the bounds of the columns."""
        whole = place.partition(" of ")[0] if place.startswith("storeys of ") else place
        if not any(address.startswith((f"{place}.", f"{whole}.")) for address in self._left):
            return cells
        if self._whole is not None and BY_LOADS in cells.of.names and not cells.has(BY_LOADS):
            unsaid = xr.full_like(cells[cells.of.label], np.nan, dtype=float)
            cells = cells.changed(BY_LOADS, unsaid)
        for row in cells.of.keys:
            if row.kind != "number" or not cells.has(row.name):
                continue
            for label in ("", *cells.labels):
                address = ".".join(filter(None, (place, label, row.name)))
                written = repr(address) if self._whole is None else _quoted(place, label, row.name)
                self._known[address] = [written]
                if whole != place:  # of a part, and asked for as of a building without parts
                    asked = address.replace(place, whole, 1)
                    self._known.setdefault(asked, []).append(written)
                if address in self._left:
                    value = self._left.pop(address)
                    with self._faults.gathered():
                        cells = self._with(cells, row, label, address, value)
        return cells

    def _with(self, cells: Cells, row: Key, label: str, address: str, value: Any) -> Cells:
        subject, dim = f"{self._what}: {address!r}", cells.of.label
        old = cells[row.name]
        value = self._taken(address, row, old.sel({dim: label}) if label else old, value)
        if value is KEPT:
            return cells
        given = xr.DataArray(number(row, value, subject))
        if not label:
            self._note(address, _said(row, old), value)
            return cells.changed(row.name, _on_rows(given, old, dim, subject))
        if dim in given.dims:
            raise StudyError(
                f"{subject} carries the dim {dim!r} of the rows themselves; change the column "
                f"{address.replace(f'.{label}.', '.')!r} whole"
            )
        here = old[dim] == label
        self._note(address, _said(row, old.sel({dim: label})), value)
        changed = xr.where(here, given, old).transpose(dim, ...)
        return cells.changed(row.name, changed)

    def _note(self, address: str, before: Any, now: Any) -> None:
        read, changed = (describe({"value": v})["value"] for v in (_bare(before), _bare(now)))
        self.made.append(Difference(key=address, read=read, now=changed))

    def _is_table(self, address: str) -> bool:
        """Whether an address that was not found is a table, and that was told."""
        del self, address
        return False

    def settle(self) -> None:
        """Refuse addresses that lead nowhere, with the nearest that leads somewhere."""
        for address in self._left:
            old = next((name for name in address.split(".") if name in RENAMED), None)
            if old is not None:
                self._faults.add(f"{self._what}, {address!r}: {renamed(old)}")
                continue
            if self._is_table(address):
                continue
            near = difflib.get_close_matches(address, self._known, n=1)
            hint = f" Did you mean {' or '.join(self._known[near[0]])}?" if near else ""
            self._faults.add(
                f"{self._what}: there is no key {address!r}; an address is the way to a key or "
                f"cell {self._such}.{hint}"
            )


def _quoted(place: str, *inside: str) -> str:
    """An address as a study file has it: what is no bare key of TOML stands in quotes."""
    address = ".".join(filter(None, (place, *inside)))
    if _BARE.fullmatch(address):
        return repr(address)
    keys = (place, *filter(None, inside))
    return ".".join(key if _BARE.fullmatch(key) else f'"{key}"' for key in keys)


def _said(row: Key, before: xr.DataArray) -> Any:
    """What a column held; where it held nothing, from what its values follow."""
    unsaid = row.name == BY_LOADS and bool(before.isnull().any())
    return "by the loads of its floor" if unsaid else before


def _bare(value: Any) -> Any:
    """A value as it is described: arrays without coordinates that are no dims, tables as texts."""
    if isinstance(value, Change):
        return _bare(value.value)
    if isinstance(value, list) and any(isinstance(entry, dict) for entry in value):
        return [_bare(entry) for entry in value]
    if isinstance(value, dict):
        inner = describe({key: _bare(entry) for key, entry in value.items()})
        return f"({', '.join(f'{key} = {entry}' for key, entry in inner.items())})"
    if isinstance(value, xr.DataArray):
        return value.reset_coords(drop=True)
    return value


def _on_rows(given: xr.DataArray, old: xr.DataArray, dim: str, subject: str) -> xr.DataArray:
    """A whole column: one value for all rows, or one for each by its label."""
    if dim not in given.dims:
        return given.expand_dims({dim: old[dim].values}).transpose(dim, ...)
    labels = old[dim].values.tolist()
    if dim not in given.coords or sorted(given[dim].values.tolist()) != sorted(labels):
        raise LabelError(
            f"{subject} has other labels on {dim!r} than the table, which holds "
            f"{', '.join(map(repr, labels))}; give a value for each"
        )
    return given.sel({dim: labels}).transpose(dim, ...)


def _begin_tables(data: dict[str, Any], of: KeyTable, at: str, asked: Collection[str]) -> None:
    """Begin the tables that a file may leave out, where a key of theirs is asked for."""
    for row in of.keys:
        here, inner = f"{at}{row.name}.", row.inner
        if not any(address.startswith(here) for address in asked):
            continue
        value = data.get(row.name)
        if row.kind == "table" and isinstance(inner, KeyTable):
            if value is None and not row.needed:
                value = data[row.name] = {}
            if isinstance(value, dict):
                _begin_tables(value, inner, here, asked)
        elif row.kind == "named" and isinstance(inner, Key) and isinstance(value, dict):
            for name in value:
                each = KeyTable(keys=(replace(inner, name=name, needed=True),))
                _begin_tables(value, each, here, asked)


def _slots(
    data: dict[str, Any], of: KeyTable, at: str, whole: Collection[str] | None
) -> Iterator[Slot]:
    for name in of.names:
        yield from _slots_of(Slot(f"{at}{name}", data, of.rows(name)[0], of), whole)


def _slots_of(slot: Slot, whole: Collection[str] | None) -> Iterator[Slot]:
    """Addresses at and below one key, as far as the file has its tables.

    `whole` holds what is changed, where a list of tables may be changed as one, and is then not
    gone into.
    """
    here, holder, row, of = slot
    value, inner = holder.get(row.name), row.inner
    if row.kind == "table" and isinstance(value, dict) and isinstance(inner, KeyTable):
        yield from _slots(value, inner, f"{here}.", whole)
    elif row.kind == "tables" and isinstance(inner, KeyTable):
        if whole is not None:
            yield slot
        left = whole is None or here not in whole
        inside: list[Any] = value if left and isinstance(value, list) else []
        entries = [entry for entry in inside if isinstance(entry, dict)]
        labels = [str(entry.get(inner.label, "")) for entry in entries]
        for number_, (label, entry) in enumerate(zip(labels, entries, strict=True), start=1):
            own = [label] if label and labels.count(label) == 1 else []
            for name in dict.fromkeys((*own, str(number_))):
                yield from _slots(entry, inner, f"{here}.{name}.", whole)
    elif row.kind == "named" and isinstance(value, dict) and isinstance(inner, Key):
        for name in value:
            below = Slot(f"{here}.{name}", value, replace(inner, name=name), of)
            yield from _slots_of(below, whole)
    elif row.kind not in ("table", "tables", "named") and (whole is not None or row.kind != "file"):
        yield slot
