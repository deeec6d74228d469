"""Values of a study file that a script gives in place of those in the files.

An address is the way to a key through the names of the tables, joined by dots:
``structure.foundation.shear_wave_speed_m_s``; entries of lists by their name or their number,
``options.springs 4.5 Hz.base.natural_frequency_hz``, ``criteria.hall.1.limit``; cells of a table by
row and column, ``rooms.R0.1.rt_s``, or a whole column, ``rooms.rt_s``.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import xarray as xr

from groundborne._checks import Faults, LabelError, StudyError
from groundborne.cells import Cells
from groundborne.key import Key, KeyTable
from groundborne.study.description import Difference, describe
from groundborne.study.given import Change, number
from groundborne.study.keys import STUDY

Slot = tuple[str, dict[str, Any], Key]
"""Address, the table that holds the key, and its row."""


class Changes:
    """Changes that wait for the place they belong to.

    Parameters
    ----------
    asked : mapping
        Values by address.
    faults : Faults
        Collects what is wrong with them.
    """

    def __init__(self, asked: Mapping[str, Any], faults: Faults) -> None:
        self._left = dict(asked)
        self._faults = faults
        self._known: list[str] = []
        self.made: list[Difference] = []

    def into_file(self, data: dict[str, Any]) -> None:
        """Put them into the tables of the study file, where they are then checked."""
        if not self._left:
            return
        taken: dict[tuple[int, str], str] = {}
        for address, holder, row in _slots(data, STUDY, ""):
            self._known.append(address)
            if address not in self._left:
                continue
            slot = (id(holder), row.name)
            if slot in taken:
                self._faults.add(f"changes: {address!r} is the same key as {taken[slot]!r}")
            taken[slot] = address
            value = self._left.pop(address)
            self._note(address, holder.get(row.name, row.default), value)
            holder[row.name] = Change(address, value)

    def into_table(self, place: str, cells: Cells) -> Cells:
        """The cells of a table with its changes, within the bounds of the columns."""
        if not any(address.startswith(f"{place}.") for address in self._left):
            return cells
        for row in cells.of.keys:
            if row.kind != "number" or not cells.has(row.name):
                continue
            for label in ("", *cells.labels):
                address = ".".join(filter(None, (place, label, row.name)))
                self._known.append(address)
                if address in self._left:
                    value = self._left.pop(address)
                    with self._faults.gathered():
                        cells = self._with(cells, row, label, address, value)
        return cells

    def _with(self, cells: Cells, row: Key, label: str, address: str, value: Any) -> Cells:
        subject, dim = f"changes: {address!r}", cells.of.label
        given = xr.DataArray(number(row, value, subject))
        old = cells[row.name]
        if not label:
            self._note(address, old, value)
            return cells.changed(row.name, _on_rows(given, old, dim, subject))
        if dim in given.dims:
            raise StudyError(
                f"{subject} carries the dim {dim!r} of the rows themselves; change the column "
                f"{address.replace(f'.{label}.', '.')!r} whole"
            )
        here = old[dim] == label
        self._note(address, old.sel({dim: label}), value)
        changed = xr.where(here, given, old).transpose(dim, ...)
        return cells.changed(row.name, changed)

    def _note(self, address: str, before: Any, now: Any) -> None:
        read, changed = (describe({"value": v})["value"] for v in (_bare(before), _bare(now)))
        self.made.append(Difference(key=address, read=read, now=changed))

    def settle(self) -> None:
        """Refuse addresses that lead nowhere, with the nearest that leads somewhere."""
        for address in self._left:
            near = difflib.get_close_matches(address, self._known, n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            self._faults.add(
                f"changes: there is no key {address!r}; an address is the way to a key or cell "
                "of this study, such as 'bands.low_hz', 'options.NAME.base.loss_factor' or "
                f"'rooms.ROOM.length_m'.{hint}"
            )


def _bare(value: Any) -> Any:
    """A value as it is described: arrays without coordinates that are no dims."""
    if isinstance(value, Change):
        return _bare(value.value)
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


def _slots(data: dict[str, Any], of: KeyTable, at: str) -> Iterator[Slot]:
    for name in of.names:
        yield from _slots_of(of.rows(name)[0], f"{at}{name}", data)


def _slots_of(row: Key, here: str, holder: dict[str, Any]) -> Iterator[Slot]:
    """Addresses at and below one key, as far as the file has its tables."""
    value, inner = holder.get(row.name), row.inner
    if row.kind == "table" and isinstance(value, dict) and isinstance(inner, KeyTable):
        yield from _slots(value, inner, f"{here}.")
    elif row.kind == "tables" and isinstance(value, list) and isinstance(inner, KeyTable):
        entries = [entry for entry in value if isinstance(entry, dict)]
        labels = [str(entry.get(inner.label, "")) for entry in entries]
        for number_, (label, entry) in enumerate(zip(labels, entries, strict=True), start=1):
            own = [label] if label and labels.count(label) == 1 else []
            for name in dict.fromkeys((*own, str(number_))):
                yield from _slots(entry, inner, f"{here}.{name}.")
    elif row.kind == "named" and isinstance(value, dict) and isinstance(inner, Key):
        for name in value:
            yield from _slots_of(replace(inner, name=name), f"{here}.{name}", value)
    elif row.kind not in ("table", "tables", "named", "file"):
        yield here, holder, row
