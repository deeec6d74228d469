"""Other models of single stages of a study file: read, and held against the file they change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from groundborne._checks import Faults, StudyError
from groundborne.study.description import Difference
from groundborne.study.given import entries_of
from groundborne.study.keys import STUDY
from groundborne.uncertainty import Alternative, require_stages

_FREE = (
    "structure", "slabs", "parts", "path", "isolation", "track", "options", "rooms", "floors",
    "storeys", "columns",
)  # fmt: skip
"""Tables that levels follow from."""


def alternatives_of(
    data: dict[str, Any], file: str, more: Sequence[Alternative], faults: Faults
) -> tuple[Alternative, ...]:
    """Alternatives of a study file, and those of a script, by stage, that of the file first.

    Parameters
    ----------
    data : dict
        The study file. What is wrong with its rows themselves is told when all of it is held
        against them.
    file : str
        Its name.
    more : sequence of Alternative
        Of a script; those of a stage take the place of the file's.
    faults : Faults
        Collects what is no alternative.
    """
    found: list[Alternative] = []
    for one in entries_of(data, "alternatives", file):
        with faults.gathered(), one.naming():
            arguments = one.arguments()
            found.append(Alternative(**arguments, changes=one["changes"] or {}))
    stages = {one.stage for one in more}
    found = [one for one in found if one.stage not in stages] + list(more)
    for alternative in found:
        for address in alternative.changes:
            top = address.partition(".")[0].partition(" of ")[0]
            if top not in _FREE and top in STUDY.names:
                faults.add(
                    f"{_named(alternative)} changes {address!r}; levels follow from "
                    f"{', '.join(_FREE)}, and of these alternatives are"
                )
    with faults.gathered():
        try:
            by_stage = require_stages(found)
        except ValueError as error:
            raise StudyError(f"{file}: {error}") from None
        _require_apart(by_stage, file)
        return tuple(one for own in by_stage.values() for one in own)
    return ()


def _named(one: Alternative) -> str:
    return f"alternative {one.name!r} of {one.stage!r}"


def _require_apart(by_stage: Mapping[str, Sequence[Alternative]], file: str) -> None:
    """Refuse two stages that change the same key: they would be one."""
    of: dict[str, str] = {}
    for stage, own in by_stage.items():
        for address in dict.fromkeys(a for one in own for a in one.changes):
            if address in of:
                raise StudyError(
                    f"{file}: alternatives of {of[address]!r} and of {stage!r} both change "
                    f"{address!r}; stages are apart, or one"
                )
            of[address] = stage


def with_changes(asked: Mapping[str, Any], chosen: Sequence[Alternative]) -> dict[str, Any]:
    """Changes of a script, and those of alternatives beside them.

    Parameters
    ----------
    asked : mapping
        Of the script, by address.
    chosen : sequence of Alternative
        One of each stage.
    """
    found = dict(asked)
    for one in chosen:
        for address, value in one.changes.items():
            if address in asked:
                raise StudyError(
                    f"changes: {address!r} is also changed by the {_named(one)}; one of both may"
                )
            found[address] = value
    return found


def require_other(one: Alternative, made: Sequence[Difference]) -> None:
    """Refuse an alternative that is the file as it is.

    Parameters
    ----------
    one : Alternative
        With changes.
    made : sequence of Difference
        What they changed.
    """
    if all(d.read == d.now for d in made if d.key in one.changes):
        raise StudyError(
            f"{_named(one)} is what the file holds already; leave it out, or change something"
        )
