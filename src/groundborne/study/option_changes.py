"""What options of a study file change of the building: the file as each of them has it.

An option gives values in place of those of the building, by the addresses of
:mod:`groundborne.study.changes`. The file with these values is held against the same rows and the
same tables as the file itself, and the same assembly builds the parts from it.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from groundborne._checks import Faults
from groundborne.cells import Cells
from groundborne.study.changes import Changes
from groundborne.study.cross_checks import Files
from groundborne.study.description import Difference
from groundborne.study.given import Checker, Given
from groundborne.study.inputs import Inputs
from groundborne.study.keys import STUDY
from groundborne.study.table_files import TableFiles
from groundborne.usual_ranges import UnusualValueWarning, collected

_FREE = ("structure", "slabs", "parts", "path", "floors", "storeys")
_FREE_INSIDE = (
    "building.floors",
    "isolation.crossings",
    "isolation.all_crossings_listed",
    "isolation.unlisted_share",
    "isolation.bypass",
    "isolation.bypass_db",
    "isolation.bypass_source",
    "isolation.below",
    "isolation.above",
    "isolation.load.mass_kg",
)
_HELD = ("lowest_isolated_floor", "imposed_share")
"""Of a part: how it is isolated, not what it is."""

_OTHERS = {
    "rooms": "the table of rooms",
    "columns": "the table of columns, whose loads follow the structure",
    "source": "[source]",
}


@dataclass(frozen=True, eq=False)
class ChangedFile:
    """The study file as an option has it.

    Parameters
    ----------
    where : str
        File and option, for messages.
    given : Given
        Its tables.
    tables : mapping of str to Cells
        Floors, rooms, columns and storeys.
    names : mapping of str to str
        Names of its files.
    made : tuple of Difference
        What is not as in the file itself, by address.
    asked : tuple of str
        Addresses that the option itself changes; others follow, as keys of another model.
    without : callable
        The same with one change less, by its address.
    """

    where: str
    given: Given
    tables: Mapping[str, Cells]
    names: Files
    made: tuple[Difference, ...]
    asked: tuple[str, ...]
    without: Callable[[str], ChangedFile]


def spread(data: dict[str, Any], file: str, faults: Faults) -> None:
    """Write changes that are given as tables inside each other by their addresses, in place."""
    for key in ("options", "alternatives"):
        entries = data.get(key)
        for number, entry in enumerate(entries if isinstance(entries, list) else [], start=1):
            if not isinstance(entry, dict) or not isinstance(entry.get("changes"), dict):
                continue
            where = _named(file, entry.get("name"), number, key)
            found: dict[str, Any] = {}
            for address, value in _leaves(entry["changes"], ""):
                if address in found:
                    faults.add(f"{where}, changes: {address!r} is given twice")
                found[address] = value
            entry["changes"] = found


def _leaves(table: dict[str, Any], at: str) -> Iterator[tuple[str, Any]]:
    for key, value in table.items():
        if isinstance(value, dict) and value:
            yield from _leaves(value, f"{at}{key}.")
        else:
            yield f"{at}{key}", value


def _named(file: str, name: Any, number: int, key: str = "options") -> str:
    """File and option, or alternative, for messages."""
    given = isinstance(name, str) and name
    said = f"{key.removesuffix('s')} {name!r}" if given else f"{key} {number}"
    return f"{file}, {said}"


def changed_files(
    data: dict[str, Any],
    given: Given,
    inputs: Inputs,
    files: TableFiles,
    script: Changes,
    faults: Faults,
    known: Sequence[str],
) -> dict[int, ChangedFile]:
    """The file as each option has it that changes the building, by the place of the option.

    Parameters
    ----------
    data : dict
        The study file, with what a script changed in it.
    given, inputs : Given, Inputs
        Of the file itself.
    files : TableFiles
        Finds tables that options name.
    script : Changes
        That were made.
    faults : Faults
        Collects what is wrong, option by option.
    known : sequence of str
        What is unusual in the file itself.
    """
    found: dict[int, ChangedFile] = {}
    for at, one in enumerate(given["options"] or []):
        if one["changes"]:
            where = _named(files.names["study"], one["name"], at + 1)
            with named(where, faults, known) as own:
                found[at] = _changed(where, data, one["changes"], inputs, files, script, own)
    return found


def _changed(
    where: str,
    data: dict[str, Any],
    asked: Mapping[str, Any],
    inputs: Inputs,
    files: TableFiles,
    script: Changes,
    faults: Faults,
) -> ChangedFile:
    """The file with the changes of one option."""
    allowed = {k: v for k, v in asked.items() if not _refused(k, faults)}
    changes = Changes(
        allowed, faults, whole=True,
        such="of the building, such as 'structure.span_x_m', 'slabs.NAME.thickness_m', "
        "'storeys.FLOOR.superimposed_kg_m2' or 'path.floor.gain_db'",
    )  # fmt: skip
    copied = _copy(data)
    copied["options"] = [{"name": "as changed"}]  # they were held against their rows before
    changes.into_file(copied)
    given = Checker(copied, faults).table(copied, STUDY, files.names["study"])
    own = files.aside()
    changed = inputs.changed(given, own, changes, faults)
    changes.settle()
    for name in changed.other_than(inputs):
        made = [d.key for d in script.made if d.key.startswith(f"{name}.")]
        if made:
            faults.add(
                f"changes: the table of {name} is another file, and the script changes {made[0]!r} "
                "in the first; change that file, or let the option change cells in place of files"
            )
    for difference in changes.made:
        if difference.read == difference.now:
            faults.add(
                f"changes: {difference.key!r} is {difference.now} without the option too; leave it "
                "out"
            )
    used = _slabs_of_rooms(changed)
    for difference in changes.made:
        top, *more = difference.key.split(".")
        if top == "slabs" and not any(".".join(more).startswith(f"{name}.") for name in used):
            faults.add(
                f"changes: no level follows from {difference.key!r}: no room names this slab"
            )
    if "floors" in changed.tables and "floors" in inputs.tables:
        names, as_built = changed.tables["floors"].labels, inputs.tables["floors"].labels
        if names != as_built:
            faults.add(
                f"changes: 'building.floors' names the floors {', '.join(map(repr, names))}, and "
                f"those of the study are {', '.join(map(repr, as_built))}; an option may change "
                "what floors are, not which there are"
            )

    def without(address: str) -> ChangedFile:
        left = {key: value for key, value in asked.items() if key != address}
        faults = Faults()
        found = _changed(where, data, left, inputs, files, script, faults)
        faults.settle()
        return found

    return ChangedFile(
        where, given, changed.tables, own.names, tuple(changes.made), tuple(allowed), without
    )


def _slabs_of_rooms(inputs: Inputs) -> set[str]:
    """Slabs under and over rooms that differ from those of their storey."""
    rooms = inputs.tables.get("rooms")
    columns = ("slab", "ceiling_slab") if rooms is not None else ()
    return {
        str(name) for c in columns if rooms and rooms.has(c) for name in rooms[c].values if name
    }


_MODELS = {
    "structure.phases": "how columns are taken to move against each other",
    "path.coupling.apparent_speed_m_s": "how waves are taken to arrive",
    "path.coupling.coherent_share": "how waves are taken to arrive",
    "path.radiation.field": "how the sound in rooms is worked out",
    "path.radiation.ceiling": "how floor and ceiling are taken to move together",
    "path.radiation.position": "where in rooms the sound is meant",
}
"""Keys that are no property of a building, with what they are of."""


def _refused(address: str, faults: Faults) -> bool:
    """Whether a key is of what an option leaves as it is."""
    top, *more = address.split(".")
    for model, words in _MODELS.items():
        if f".{model}." in f".{address}.":
            faults.add(
                f"changes: {address!r} is of {words}, which an option leaves as it is: what it "
                "gains would be the difference of two models; change it in the study, or by a "
                "script, for all options alike"
            )
            return True
    free = any(top == name or top.startswith(f"{name} of ") for name in _FREE)
    free |= any(f"{address}.".startswith(f"{name}.") for name in _FREE_INSIDE)
    if free and not (top == "parts" and more[-1:] and more[-1] in _HELD):
        return False
    place = _OTHERS.get(top, f"[{top}]")
    if top in _OTHERS or top in STUDY.names:
        faults.add(
            f"changes: {address!r} is of {place if not free else 'how a part is isolated'}, which "
            "an option leaves as it is; it may change the building: [structure], [slabs], [parts], "
            "[path], what crosses the isolation plane or bounds it, and the tables of floors and "
            "storeys"
        )
        return True
    return False  # told with the nearest that leads somewhere


def _copy(value: Any) -> Any:
    """Tables and lists of their own; values are shared."""
    if isinstance(value, dict):
        return {key: _copy(part) for key, part in value.items()}
    return [_copy(part) for part in value] if isinstance(value, list) else value


@contextmanager
def named(where: str, faults: Faults, known: Sequence[str]) -> Iterator[Faults]:
    """Tell what is wrong or unusual with an option, and not without it, with its name in front.

    Parameters
    ----------
    where : str
        File and option.
    faults : Faults
        Of the file, which takes what is wrong.
    known : sequence of str
        What is unusual without the option.
    """
    own = Faults()
    with collected() as unusual, own.gathered():
        yield own

    def said(text: str) -> str:
        return f"{where}, {text}" if text.startswith("changes: ") else f"{where}: {text}"

    faults.add(*(said(text) for text in own.found if text not in faults.found))
    for text in unusual:
        if text not in known:
            warnings.warn(said(text), UnusualValueWarning, stacklevel=2)
