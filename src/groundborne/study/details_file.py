"""What a study file says beside its numbers, held against what its other keys say already."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np

from groundborne._checks import Faults, StudyError, TableError, known
from groundborne.cells import Cells
from groundborne.study.building import Building
from groundborne.study.details import (
    GAP,
    Details,
    Inspection,
    Instrument,
    Measurement,
    RegisteredCrossing,
    Site,
)
from groundborne.study.given import Given
from groundborne.study.inputs import Inputs
from groundborne.study.part import Part
from groundborne.usual_ranges import UnusualValueWarning

CALIBRATION_YEARS = 2
"""Years from a calibration to a measurement beyond which it is told; common practice."""


def details_of(
    given: Given,
    inputs: Inputs,
    files: Mapping[str, str],
    building: Building,
    parts: Mapping[str, Part],
    faults: Faults,
) -> dict[str, Any]:
    """Fields of the study for what its file says beside its numbers.

    Parameters
    ----------
    given : Given
        The study file.
    inputs : Inputs
        Passbys and tables.
    files : mapping of str to str
        Texts of all files that were read, by the name in the study file.
    building : Building
        Its floors and its track.
    parts : mapping of str to Part
        Of the building, as built.
    faults : Faults
        Collects what is wrong.
    """
    found: dict[str, Any] = {"currency": given["currency"]}
    for key, cls in (("details", Details), ("inspection", Inspection), ("site", Site)):
        with faults.gathered():
            if given[key] is not None:
                with given[key].naming():
                    found[key] = cls(**given[key].arguments())
    site = given["site"]
    if site is not None and site.has("track_side") and building.track is not None:
        faults.add(
            f"{site.where}: 'track_side' and the table [track] both say where the track lies; "
            "leave 'track_side' and 'track_offset_m' out"
        )
    measurements: list[Measurement] = []
    for one in given["measurements"] or []:
        with faults.gathered(), one.naming():
            measurements.append(_measurement(one, given, inputs, files))
    if len(measurements) == len(given["measurements"] or []):
        with faults.gathered():
            _check_kept(measurements, given, inputs)
        found["measurements"] = tuple(measurements)
    if "register" in inputs.tables:
        with faults.gathered():
            found["register"] = _register(inputs.tables["register"], building, parts)
    return found


def _measurement(one: Given, given: Given, inputs: Inputs, files: Mapping[str, str]) -> Measurement:
    source = given["source"]
    arguments = one.arguments()
    arguments["instruments"] = tuple(
        Instrument(**each.arguments()) for each in one["instruments"] or []
    )
    tables = [name for name in files if name.endswith(".csv")]
    if arguments["table"]:
        known(one.where, "table", arguments["table"], tables, StudyError)
    counts: dict[str, Any] = {
        name: _whole(one, name) for name in ("events_recorded", "events_kept")
    }
    left_out = {reason: _of(one, f"left_out, {reason!r}", number)
                for reason, number in (one["left_out"] or {}).items()}  # fmt: skip
    if arguments["table"] == source["passbys"]:
        _agree(one, source, "quantity")
        arguments.setdefault("quantity", source["quantity"])
        arguments.setdefault("position", source["description"])
        others = [m for m in given["measurements"] if m["table"] == source["passbys"]]
        if counts["events_kept"] is None and len(others) == 1:
            assert inputs.passbys is not None
            counts["events_kept"] = inputs.passbys.level.sizes["passby"]
    kept = counts["events_kept"]
    if counts["events_recorded"] is None and kept is not None and left_out:
        counts["events_recorded"] = kept + sum(left_out.values())
    _check_days(one, given)
    return Measurement(**arguments, **counts, left_out=left_out)


def _whole(one: Given, name: str) -> int | None:
    return None if one[name] is None else _of(one, repr(name), one[name])


def _of(one: Given, what: str, number: float) -> int:
    if number != int(number):
        raise StudyError(f"{one.where}: {what} is {number:g}; a whole number is needed")
    return int(number)


def _agree(one: Given, source: Given, name: str) -> None:
    if one[name] is not None and one[name] != source[name]:
        raise StudyError(
            f"{one.where}: {name!r} is {one[name]!r}, and that of its table is {source[name]!r} by "
            "[source]; leave it out, or mend one of them"
        )


def _check_kept(measurements: list[Measurement], given: Given, inputs: Inputs) -> None:
    """Hold the events that measurements keep against the rows of the table they came to."""
    source = given["source"]
    own = [m for m in measurements if m.table == source["passbys"]]
    kept = [m.events_kept for m in own if m.events_kept is not None]
    assert inputs.passbys is not None
    rows = inputs.passbys.level.sizes["passby"]
    if kept and (sum(kept) > rows or (len(kept) == len(own) and sum(kept) != rows)):
        raise StudyError(
            f"{given.where}: by [[measurements]] {sum(kept)} events are kept in "
            f"{source['passbys']!r}, which holds {rows} passbys; they must be as many"
        )


def _check_days(one: Given, given: Given) -> None:
    """Days that cannot follow each other, and calibrations that are long ago."""
    first, last = one["date"], one["until"] or one["date"]
    if last < first:
        raise StudyError(f"{one.where}: 'until' is {last}, before its 'date' {first}")
    details = given["details"]
    stated = None if details is None else details["date"]
    if stated is not None and last > stated:
        raise StudyError(
            f"{one.where}: it was measured on {last}, after the date {stated} of this revision in "
            "[details]; mend one of them"
        )
    for each in one["instruments"] or []:
        day = each["calibrated"]
        if day is not None and _years(day, first) > CALIBRATION_YEARS:
            warnings.warn(
                f"{each.where}: 'calibrated' is {day}, more than {CALIBRATION_YEARS} years before "
                f"the measurement on {first} (common practice)",
                UnusualValueWarning,
                stacklevel=2,
            )


def _years(first: str, last: str) -> float:
    days = np.datetime64(last, "D") - np.datetime64(first, "D")
    return float(days / np.timedelta64(1, "D")) / 365.25


def _register(
    cells: Cells, building: Building, parts: Mapping[str, Part]
) -> tuple[RegisteredCrossing, ...]:
    """Rows of the register, each held against the calculation."""
    planes = {name: part.plane for name, part in parts.items() if part.plane is not None}
    if not planes:
        raise TableError(
            f"{cells.file}: it registers what crosses the isolation plane, and the study has no "
            "[isolation]; give it, or leave the register out"
        )
    if cells.has("floor"):
        floors = ["", *map(str, building.floors["floor"].values)]
        cells.require_known("floor", floors, "floor")
    if cells.has("part"):
        cells.require_known("part", ["", *planes], "part with an isolation plane")
    columns = {key.argument: key.name for key in cells.of.keys}
    rows, errors = [], []
    for at in range(len(cells.labels)):
        row = {a: cells[name].values[at].item() for a, name in columns.items() if cells.has(name)}
        given = row.pop("stiffness", np.inf)  # infinite where the cell is empty
        stiffness = None if np.isinf(given) else given
        own = [planes[row["part"]]] if row.get("part") else list(planes.values())
        held = [c for plane in own for c in plane.crossings if c.name == row["name"]]
        where = cells.where(at, "stiffness_n_m")
        if held and stiffness is not None:
            errors.append(
                f"{where}: {row['name']!r} is a crossing of [isolation] too, which holds its "
                "stiffness; leave this cell empty"
            )
        elif held and row["treatment"] == GAP:
            errors.append(
                f"{cells.where(at, 'treatment')}: {row['name']!r} is {GAP!r}, and [isolation] "
                "counts it as a crossing with a stiffness; mend one of them"
            )
        elif stiffness and row["treatment"] == GAP:
            errors.append(f"{where}: {row['name']!r} is {GAP!r}, and has a stiffness; mend one")
        try:
            rows.append(RegisteredCrossing(**row, stiffness=stiffness, counted=bool(held)))
        except ValueError as error:
            errors.append(f"{cells.where(at)}: {error}")
    if errors:
        raise TableError(*errors)
    return tuple(rows)
