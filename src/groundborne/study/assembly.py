"""A study built from the checked values of its files."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from contextlib import suppress

import xarray as xr

from groundborne._checks import Faults, StudyError
from groundborne.receiver import Equipment
from groundborne.study.building_parts import building_of, part_of
from groundborne.study.constructions import Slabs
from groundborne.study.criteria_file import criteria_of
from groundborne.study.cross_checks import check_floors, check_rooms
from groundborne.study.description import describe
from groundborne.study.details_file import details_of
from groundborne.study.equipment_file import equipment_of
from groundborne.study.frame import Frame
from groundborne.study.given import Given
from groundborne.study.inputs import Inputs
from groundborne.study.option_changes import ChangedFile, named
from groundborne.study.option_checks import check_options, check_periods, check_weightings
from groundborne.study.option_file import Standing, options_of
from groundborne.study.part import Part
from groundborne.study.parts_file import in_part, parts_given
from groundborne.study.period import Period
from groundborne.study.room_places import check_places
from groundborne.study.study import Study
from groundborne.study.table_files import TableFiles
from groundborne.usual_ranges import UnusualValueWarning, collected, overheard


def assembled(
    given: Given,
    inputs: Inputs,
    files: TableFiles,
    others: Mapping[int, ChangedFile],
    faults: Faults,
) -> Study:
    """Build a study.

    Parameters
    ----------
    given : Given
        The study file.
    inputs : Inputs
        Bands, passbys and tables.
    files : TableFiles
        Their names and texts.
    others : mapping of int to ChangedFile
        The file as options have it that change the building, by their place.
    faults : Faults
        Collects what is wrong, over parts that do not rest on each other.

    Raises
    ------
    StudyFileError
        With all that does not fit together.
    """
    frequency, passbys, tables = inputs.frequency, inputs.passbys, inputs.tables
    assert frequency is not None
    assert passbys is not None
    periods: dict[str, Period] = {}
    for name, part in (given["periods"] or {}).items():
        with faults.gathered(), part.naming():
            periods[name] = Period(name=name, trains=part["trains"], **part.arguments())
    criteria = criteria_of(given, faults, frequency)
    equipment: dict[str, Equipment] = {}
    for part in given["equipment"] or []:
        with faults.gathered(), part.naming():
            equipment[part["name"]] = equipment_of(part)
    parts_of = parts_given(given)
    building = building_of(tables, frequency, parts_of, faults)
    faults.settle()
    names = files.names
    built: dict[str, Part] = {}
    frames: dict[str, Frame | None] = {}
    with overheard() as unusual:
        with faults.gathered():
            check_rooms(building, names)
        for one in parts_of:
            with faults.gathered():
                check_floors(one.of(building), names, own=len(parts_of) > 1)
        with faults.gathered():
            check_places({one.name: one.of(building) for one in parts_of}, tables["rooms"])
        for one in parts_of:
            with faults.gathered():
                built[one.name], frames[one.name] = part_of(one, building, frequency, tables, names)
    if len(built) < len(parts_of):
        faults.settle()
    buildings = [Standing(built) for _ in given["options"]]
    for at, other in others.items():
        with named(other.where, faults, unusual) as own:
            buildings[at] = _changed(other, built, frames, frequency, own)

    def slabs_of(standing: Standing, rooms: Sequence[str]) -> Slabs:
        frame = standing.parts[in_part(parts_of, building, rooms)].frame
        return frame.room_slabs(rooms) if frame else {}

    options = options_of(
        given["options"], faults, buildings=buildings, slabs_of=slabs_of, equipment=equipment
    )
    faults.settle()
    said = details_of(given, inputs, files.inputs, building, built, faults)
    faults.settle()
    study = None
    with faults.gathered():
        study = Study(
            name=given["name"],
            **said,
            description=given["description"],
            invented=given["invented"],
            frequency=frequency,
            passbys=passbys,
            building=building,
            parts=tuple(built.values()),
            options=options,
            equipment=tuple(equipment.values()),
            criteria=criteria,
            periods=periods,
            inputs=files.inputs,
        )
        with faults.gathered():
            check_periods(study, names["study"], passbys=names["passbys"])
        with faults.gathered():
            check_weightings(study, names["study"], passbys=names["passbys"])
        check_options(
            study.options, names["study"], own_slabs=None in [part.frame for part in built.values()]
        )
    faults.settle()
    assert study is not None
    return study


def _changed(
    other: ChangedFile,
    built: Mapping[str, Part],
    frames: Mapping[str, Frame | None],
    frequency: xr.DataArray,
    faults: Faults,
) -> Standing:
    """The building as an option has it: parts that it leaves as they are stay the same objects."""
    parts = _parts_of(other, built, frames, frequency, faults)
    changed = tuple(part for name, part in parts.items() if part is not built[name])
    if not changed and not faults.found:
        keys = ", ".join(repr(difference.key) for difference in other.made)
        faults.add(
            f"changes: no level follows from {keys}: the path, the slabs of rooms and the column "
            "lines do not use what is changed"
        )
    # Slabs that rooms name and storeys of lines are used whole; what else is may rest on a model.
    doubted = [a for a in other.asked if not a.startswith(("slabs.", "storeys"))]
    if changed and doubted and len(other.asked) > 1 and not faults.found:
        described = describe(parts)
        for address in doubted:
            without = _without(other, address, built, frames, frequency)
            if without is not None and describe(without) == described:
                warnings.warn(
                    f"changes: {address!r} changes nothing beside the others: no level "
                    "follows from it",
                    UnusualValueWarning,
                    stacklevel=2,
                )
    return Standing(parts, changed, other.made if changed else ())


def _parts_of(
    other: ChangedFile,
    built: Mapping[str, Part],
    frames: Mapping[str, Frame | None],
    frequency: xr.DataArray,
    faults: Faults,
) -> dict[str, Part]:
    """Parts of a changed file, those that stay as they are as the same objects."""
    parts_of = parts_given(other.given)
    building = building_of(other.tables, frequency, parts_of, faults)
    with faults.gathered():
        check_rooms(building, other.names)
    parts = dict(built)
    for one in parts_of:
        with faults.gathered():
            check_floors(one.of(building), other.names, own=len(parts_of) > 1)
        old = built[one.name]
        with faults.gathered():
            new, _ = part_of(
                one, building, frequency, other.tables, other.names, before=frames[one.name]
            )
            if describe(new) != describe(old):
                parts[one.name] = new
    return parts


def _without(
    other: ChangedFile,
    address: str,
    built: Mapping[str, Part],
    frames: Mapping[str, Frame | None],
    frequency: xr.DataArray,
) -> dict[str, Part] | None:
    """Parts with one change less; none where the others do not stand without it."""
    faults = Faults()
    with collected(), suppress(StudyError):
        found = _parts_of(other.without(address), built, frames, frequency, faults)
        return None if faults.found else found
    return None
